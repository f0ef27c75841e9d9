//! A section of the works file: the things of one kind, by name.
//!
//! A thing that is declared but at fault stays in its section, so that what refers to it is not
//! called unknown as well.

use indexmap::IndexMap;

use super::nearest::nearest;
use super::table::{Table, Word};

/// What a kind of thing is called in messages.
#[derive(Clone, Copy)]
pub(super) struct Called {
    /// `gauge`.
    pub(super) one: &'static str,
    /// `gauges`.
    pub(super) many: &'static str,
    /// `[gauge.air-bore]`.
    pub(super) heading: &'static str,
}

/// The things of one kind.
pub(super) struct Section<T> {
    called: Called,
    things: IndexMap<String, Option<T>>,
}

/// A thing referred to by name.
pub(super) struct Referred<'s, T> {
    /// Its name.
    pub(super) name: &'s str,
    /// The thing, if it is sound.
    pub(super) thing: Option<&'s T>,
}

impl<T> Section<T> {
    /// Nothing of this kind yet.
    pub(super) fn of(called: Called) -> Self {
        Self { called, things: IndexMap::new() }
    }

    /// Reads every `[kind.NAME]`.
    pub(super) fn read<'t>(
        root: &Table<'t>,
        key: &'static str,
        called: Called,
        mut one: impl FnMut(&str, &Table<'t>) -> Option<T>,
    ) -> Self {
        let mut section = Self::of(called);
        let all = root.table(key, called.heading);
        for (name, table) in all.iter().flat_map(|t| t.named_tables(called.heading)) {
            section.add(name.to_owned(), table.sound(|table| one(name, table)));
        }
        section
    }

    /// One more, or `None` for one at fault.
    pub(super) fn add(&mut self, name: String, thing: Option<T>) {
        self.things.insert(name, thing);
    }

    /// The sound ones.
    pub(super) fn sound(&self) -> impl Iterator<Item = (&str, &T)> {
        self.things.iter().filter_map(|(name, thing)| Some((name.as_str(), thing.as_ref()?)))
    }

    /// All of them, or `None` if one is at fault.
    pub(super) fn into_sound(self) -> Option<IndexMap<String, T>> {
        self.things.into_iter().map(|(name, thing)| Some((name, thing?))).collect()
    }

    /// The thing that the text under `key` names.
    pub(super) fn named_by(
        &self,
        table: &Table<'_>,
        key: &'static str,
        example: &str,
    ) -> Option<Referred<'_, T>> {
        let text = table.text(key, example)?;
        let span = table.span_of(key);
        self.named(table, &Word { text, span })
    }

    /// The thing that a word names.
    pub(super) fn named(&self, table: &Table<'_>, word: &Word<'_>) -> Option<Referred<'_, T>> {
        if let Some((_, name, thing)) = self.things.get_full(word.text) {
            return Some(Referred { name, thing: thing.as_ref() });
        }
        let Called { one, many, heading } = self.called;
        let names = self.things.keys().map(String::as_str);
        let mend = match (nearest(word.text, names.clone()), names.len()) {
            (Some(name), _) => format!("did you mean \"{name}\"?"),
            (None, 0) => format!("declare it, such as {heading}"),
            (None, 1..=12) => format!("the {many} are {}", names.collect::<Vec<_>>().join(", ")),
            (None, n) => format!("name one of the {n} {many} of this file, or declare it"),
        };
        table.fault(&word.span, format!("there is no {one} \"{}\"", word.text), mend);
        None
    }
}
