//! A table of the works file, read key by key.
//!
//! Every key that is asked for is remembered, so that [`Table::finish`] can find those that nobody
//! asked for. A fault is noted where it stands and reading goes on; a value at fault is `None`.

use std::cell::RefCell;
use std::ops::{Range, RangeInclusive};

use bedplate_gauge::quantity::{Quantity, QuantityError};
use bedplate_gauge::unit::{Dimension, UNITS, Unit};
use toml::de::{DeTable, DeValue};

use super::nearest::{mend_name, nearest};
use super::place::Finding;

/// All that has been found wrong so far.
pub(crate) struct Findings<'t> {
    text: &'t str,
    list: RefCell<Vec<Finding>>,
}

impl<'t> Findings<'t> {
    /// None yet, for this text.
    pub(crate) fn of(text: &'t str) -> Self {
        Self { text, list: RefCell::new(Vec::new()) }
    }

    /// One more.
    pub(super) fn add(&self, finding: Finding) {
        self.list.borrow_mut().push(finding);
    }

    /// How many there are.
    fn count(&self) -> usize {
        self.list.borrow().len()
    }

    /// All of them.
    pub(super) fn into_list(self) -> Vec<Finding> {
        self.list.into_inner()
    }

    /// The text of a value as it was written, shortened.
    fn written(&self, span: &Range<usize>) -> String {
        const MOST: usize = 48;
        let text = self.text.get(span.clone()).unwrap_or("");
        let line = text.lines().next().unwrap_or("");
        let short: String = line.chars().take(MOST).collect();
        if short.len() < text.len() { format!("{short}…") } else { short }
    }
}

/// A key with its value, both with their places.
#[derive(Clone)]
pub(crate) struct Entry<'t> {
    /// The key.
    pub(crate) key: &'t str,
    /// Where the key stands.
    pub(crate) key_span: Range<usize>,
    value: &'t DeValue<'t>,
    /// Where the value stands; for a table its heading.
    pub(crate) span: Range<usize>,
}

impl<'t> Entry<'t> {
    /// The key as a word.
    pub(crate) fn key_word(&self) -> Word<'t> {
        Word { text: self.key, span: self.key_span.clone() }
    }
}

/// A text in a list, with its place.
pub(crate) struct Word<'t> {
    /// The text.
    pub(crate) text: &'t str,
    /// Where it stands.
    pub(crate) span: Range<usize>,
}

/// Which figures a quantity or number may be.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Sign {
    /// Any.
    Any,
    /// Zero or more.
    NotNegative,
    /// More than zero.
    Positive,
}

/// One table.
pub(crate) struct Table<'t> {
    findings: &'t Findings<'t>,
    /// Its heading: `[works]`, `[[works.shift]]`; empty for the whole file.
    heading: String,
    /// Its dotted name.
    path: String,
    /// Where its heading stands.
    pub(crate) span: Range<usize>,
    entries: Vec<Entry<'t>>,
    asked: RefCell<Vec<&'static str>>,
}

/// The kind of a value, in plain words.
fn kind_words(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "a yes or no",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

impl<'t> Table<'t> {
    /// The whole file.
    pub(crate) fn root(table: &'t DeTable<'t>, findings: &'t Findings<'t>) -> Self {
        Self::new(table, 0..0, String::new(), String::new(), findings)
    }

    fn new(
        table: &'t DeTable<'t>,
        span: Range<usize>,
        path: String,
        heading: String,
        findings: &'t Findings<'t>,
    ) -> Self {
        let mut entries: Vec<Entry<'t>> = table
            .iter()
            .map(|(key, value)| Entry {
                key: key.get_ref(),
                key_span: key.span(),
                value: value.get_ref(),
                span: value.span(),
            })
            .collect();
        // The reader of TOML hands keys out by the alphabet; the file's own order is wanted.
        entries.sort_by_key(|e| e.key_span.start);
        Self { findings, heading, path, span, entries, asked: RefCell::new(Vec::new()) }
    }

    /// Its heading, for messages: `[works]`.
    pub(crate) fn heading(&self) -> &str {
        &self.heading
    }

    /// Its dotted name: `works`.
    pub(crate) fn path(&self) -> &str {
        &self.path
    }

    /// Its keys with their values, in the order of the file.
    pub(crate) fn entries(&self) -> &[Entry<'t>] {
        &self.entries
    }

    /// Notes a fault.
    pub(crate) fn fault(
        &self,
        span: &Range<usize>,
        what: impl Into<String>,
        mend: impl Into<String>,
    ) {
        self.findings.add(Finding { span: span.clone(), what: what.into(), mend: mend.into() });
    }

    /// Notes a fault of the value of `key`, or of the whole table where the key is missing.
    pub(crate) fn fault_at(&self, key: &str, what: impl Into<String>, mend: impl Into<String>) {
        let span = self.find(key).map_or(&self.span, |e| &e.span);
        self.fault(span, what, mend);
    }

    fn find(&self, key: &str) -> Option<&Entry<'t>> {
        self.entries.iter().find(|e| e.key == key)
    }

    fn ask(&self, key: &'static str) -> Option<&Entry<'t>> {
        let mut asked = self.asked.borrow_mut();
        if !asked.contains(&key) {
            asked.push(key);
        }
        self.find(key)
    }

    /// Declares the keys this table may have, so that a fault in one hides no other and
    /// [`Table::finish`] can name them all.
    pub(crate) fn knows(&self, keys: &[&'static str]) {
        self.asked.borrow_mut().extend_from_slice(keys);
    }

    /// Whether the key is there, sound or not.
    pub(crate) fn has(&self, key: &'static str) -> bool {
        self.ask(key).is_some()
    }

    /// `value`, and a fault if there is none because the key is missing.
    pub(crate) fn need<T>(&self, value: Option<T>, key: &'static str, example: &str) -> Option<T> {
        if value.is_none() && self.find(key).is_none() && !self.is_mistyped(key) {
            let (span, heading) = (&self.span, &self.heading);
            let mend = format!("add it, such as {key} = {example}");
            self.fault(span, format!("{heading} has no \"{key}\""), mend);
        }
        value
    }

    /// Whether an unknown key stands there that must have been meant for this one: it is named as
    /// mistyped already.
    fn is_mistyped(&self, key: &str) -> bool {
        let asked = self.asked.borrow();
        let mut unknown = self.entries.iter().filter(|e| !asked.contains(&e.key));
        unknown.any(|e| nearest(e.key, asked.iter().copied()) == Some(key))
    }

    fn wrong_kind(&self, entry: &Entry<'t>, wanted: &str, example: &str) {
        let (key, written) = (entry.key, self.findings.written(&entry.span));
        let kind = kind_words(entry.value);
        let what = match entry.value {
            DeValue::Table(_) => format!("{key} is a table, but {wanted} is wanted"),
            _ => format!("{key} = {written} is {kind}, but {wanted} is wanted"),
        };
        self.fault(&entry.span, what, format!("write it like {key} = {example}"));
    }

    /// A text; one that is there must not be empty.
    pub(crate) fn text(&self, key: &'static str, example: &str) -> Option<&'t str> {
        let entry = self.ask(key)?;
        let DeValue::String(text) = entry.value else {
            self.wrong_kind(entry, "a text", example);
            return None;
        };
        if text.trim().is_empty() {
            self.fault(
                &entry.span,
                format!("{key} is empty"),
                format!("write it like {key} = {example}"),
            );
            return None;
        }
        Some(text)
    }

    /// A text that may be empty, which is the same as leaving it out.
    pub(crate) fn remark(&self, key: &'static str, example: &str) -> String {
        match self.ask(key).map(|e| e.value) {
            Some(DeValue::String(text)) if text.trim().is_empty() => String::new(),
            _ => self.text(key, example).unwrap_or_default().to_owned(),
        }
    }

    /// A whole number within a range.
    pub(crate) fn whole(
        &self,
        key: &'static str,
        range: RangeInclusive<u32>,
        example: u32,
    ) -> Option<u32> {
        let entry = self.ask(key)?;
        self.whole_of(entry, range, example)
    }

    /// The whole number that stands in `entry`.
    pub(crate) fn whole_of(
        &self,
        entry: &Entry<'t>,
        range: RangeInclusive<u32>,
        example: u32,
    ) -> Option<u32> {
        let DeValue::Integer(integer) = entry.value else {
            self.wrong_kind(entry, "a whole number", &example.to_string());
            return None;
        };
        let value = i128::from_str_radix(integer.as_str(), integer.radix()).ok();
        let value = value.and_then(|v| u32::try_from(v).ok()).filter(|v| range.contains(v));
        if value.is_none() {
            let (key, written) = (entry.key, self.findings.written(&entry.span));
            let (least, most) = (range.start(), range.end());
            self.fault(
                &entry.span,
                format!("{key} = {written} is out of range"),
                format!("write a whole number from {least} to {most}"),
            );
        }
        value
    }

    /// True or false.
    pub(crate) fn flag(&self, key: &'static str) -> Option<bool> {
        let entry = self.ask(key)?;
        let DeValue::Boolean(flag) = entry.value else {
            self.wrong_kind(entry, "true or false", "true");
            return None;
        };
        Some(*flag)
    }

    /// A plain number or share, written as a number or as text with `%`.
    pub(crate) fn number(&self, key: &'static str, example: &str) -> Option<f64> {
        let entry = self.ask(key)?;
        self.number_of(entry, example)
    }

    /// The number or share that stands in `entry`.
    pub(crate) fn number_of(&self, entry: &Entry<'t>, example: &str) -> Option<f64> {
        let key = entry.key;
        let value = match entry.value {
            DeValue::Integer(n) => i64::from_str_radix(n.as_str(), n.radix()).ok().map(as_number),
            DeValue::Float(n) => n.as_str().parse::<f64>().ok(),
            DeValue::String(text) => {
                return match Quantity::parse(text, Dimension::Number) {
                    Ok(share) => Some(share.si()),
                    Err(error) => {
                        let number = Some(Dimension::Number);
                        self.quantity_fault(entry.key, &entry.span, &error, number);
                        None
                    }
                };
            }
            _ => {
                self.wrong_kind(entry, "a number", example);
                return None;
            }
        };
        let value = value.filter(|v| v.is_finite());
        if value.is_none() {
            let written = self.findings.written(&entry.span);
            let what = format!("{key} = {written} is no number that can be reckoned with");
            self.fault(&entry.span, what, format!("write it like {key} = {example}"));
        }
        value
    }

    /// A number or share from `least` to `most`, both allowed.
    pub(crate) fn number_within(
        &self,
        key: &'static str,
        range: RangeInclusive<f64>,
        example: &str,
    ) -> Option<f64> {
        let value = self.number(key, example)?;
        if range.contains(&value) {
            return Some(value);
        }
        let written = self.written(key);
        let (least, most) = (range.start(), range.end());
        self.fault_at(
            key,
            format!("{key} = {written} is out of range"),
            format!("write a number from {least} to {most}"),
        );
        None
    }

    /// Where the value of a key stands; the table's heading where there is none.
    pub(crate) fn span_of(&self, key: &str) -> Range<usize> {
        self.find(key).map_or(&self.span, |e| &e.span).clone()
    }

    /// A share within a range, both ends allowed.
    pub(crate) fn share(
        &self,
        key: &'static str,
        range: RangeInclusive<f64>,
        example: &str,
    ) -> Option<f64> {
        let value = self.number(key, example)?;
        if range.contains(&value) {
            return Some(value);
        }
        let written = self.written(key);
        let (least, most) = (range.start() * 100.0, range.end() * 100.0);
        let what = format!("{key} = {written} is out of range");
        self.fault_at(key, what, format!("write a share from {least} % to {most} %"));
        None
    }

    /// The value of a key as it was written.
    pub(crate) fn written(&self, key: &str) -> String {
        self.find(key).map_or_else(String::new, |e| self.findings.written(&e.span))
    }

    /// A quantity.
    pub(crate) fn quantity(
        &self,
        key: &'static str,
        dimension: Dimension,
        sign: Sign,
    ) -> Option<Quantity> {
        let entry = self.ask(key)?;
        self.quantity_of(entry, dimension, sign)
    }

    /// The quantity that stands in `entry`.
    pub(crate) fn quantity_of(
        &self,
        entry: &Entry<'t>,
        dimension: Dimension,
        sign: Sign,
    ) -> Option<Quantity> {
        let text = self.quantity_text(entry, dimension.example())?;
        let word = Word { text, span: entry.span.clone() };
        self.quantity_in(entry.key, &word, dimension, sign)
    }

    /// A quantity of whatever its unit measures.
    pub(crate) fn any_quantity(&self, key: &'static str, example: &str) -> Option<Quantity> {
        let entry = self.ask(key)?;
        let text = self.quantity_text(entry, example)?;
        match text.parse::<Quantity>() {
            Ok(quantity) => Some(quantity),
            Err(error) => {
                self.quantity_fault(key, &entry.span, &error, None);
                None
            }
        }
    }

    fn quantity_text(&self, entry: &Entry<'t>, example: &str) -> Option<&'t str> {
        match entry.value {
            DeValue::String(text) => Some(text),
            DeValue::Integer(_) | DeValue::Float(_) => {
                let (key, written) = (entry.key, self.findings.written(&entry.span));
                self.fault(
                    &entry.span,
                    format!("{key} = {written} has no unit"),
                    format!(
                        "write it as text with its unit, such as {key} = \"{}\"",
                        with_unit(&written, example)
                    ),
                );
                None
            }
            _ => {
                let example = format!("\"{example}\"");
                self.wrong_kind(entry, "a quantity with its unit", &example);
                None
            }
        }
    }

    /// The quantity in a word of a list; `key` is the list's.
    pub(crate) fn quantity_in(
        &self,
        key: &str,
        word: &Word<'t>,
        dimension: Dimension,
        sign: Sign,
    ) -> Option<Quantity> {
        let quantity = match Quantity::parse(word.text, dimension) {
            Ok(quantity) => quantity,
            Err(error) => {
                self.quantity_fault(key, &word.span, &error, Some(dimension));
                return None;
            }
        };
        let (bad, words) = match sign {
            Sign::Any => (false, ""),
            Sign::NotNegative => (quantity.mantissa() < 0, "negative"),
            Sign::Positive if quantity.mantissa() < 0 => (true, "negative"),
            Sign::Positive => (quantity.mantissa() == 0, "zero"),
        };
        if bad {
            let mend =
                if sign == Sign::Positive { "write one above zero" } else { "write zero or more" };
            let what = format!(
                "{key} = \"{}\" is {words}, which {} cannot be",
                word.text,
                dimension.words()
            );
            self.fault(&word.span, what, format!("{mend}, such as \"{}\"", dimension.example()));
            return None;
        }
        Some(quantity)
    }

    fn quantity_fault(
        &self,
        key: &str,
        span: &Range<usize>,
        error: &QuantityError,
        wanted: Option<Dimension>,
    ) {
        let like = |d: &Dimension| format!("write it like {key} = \"{}\"", d.example());
        let (what, mend) = match error {
            QuantityError::Empty { expected } => (format!("{key} is empty"), like(expected)),
            QuantityError::NotANumber { text, expected } => {
                (format!("{key} = \"{text}\" is not a number with a unit"), like(expected))
            }
            QuantityError::UnitMissing { text, expected } => (
                format!("{key} = \"{text}\" has no unit"),
                format!("write it like {key} = \"{}\"", with_unit(text, expected.example())),
            ),
            QuantityError::UnitUnknown { text, unit, .. } => (
                format!("\"{unit}\" in {key} = \"{text}\" is not a unit known here"),
                mend_unit(unit, wanted),
            ),
            QuantityError::WrongDimension { text, got, expected } => (
                format!(
                    "{key} = \"{text}\" is {}, but {} is wanted",
                    got.words(),
                    expected.words()
                ),
                like(expected),
            ),
            QuantityError::OutOfRange { text } => (
                format!("{key} = \"{text}\" is larger, smaller or longer than can be kept"),
                "write no more than 18 digits".to_owned(),
            ),
            QuantityError::TwoDecimalSigns { text } => (
                format!("{key} = \"{text}\" has both a point and a comma"),
                "write one decimal sign and no thousands sign".to_owned(),
            ),
        };
        self.fault(span, what, mend);
    }

    /// A unit's symbol.
    pub(crate) fn unit(&self, key: &'static str, example: &str) -> Option<&'static Unit> {
        let text = self.text(key, example)?;
        let unit = Unit::named(text);
        if unit.is_none() {
            let what = format!("{key} = \"{text}\" is not a unit known here");
            self.fault_at(key, what, mend_unit(text, None));
        }
        unit
    }

    /// One of some words.
    pub(crate) fn choice<T: Copy>(&self, key: &'static str, words: &[(&str, T)]) -> Option<T> {
        let text = self.text(key, &format!("\"{}\"", words[0].0))?;
        let found = words.iter().find(|(word, _)| *word == text).map(|(_, value)| *value);
        if found.is_none() {
            let known = words.iter().map(|(word, _)| *word);
            let mend = nearest(text, known.clone()).map_or_else(
                || format!("write one of {}", quoted_list(known)),
                |n| format!("did you mean \"{n}\"?"),
            );
            self.fault_at(key, format!("{key} = \"{text}\" is not known here"), mend);
        }
        found
    }

    /// A list of texts.
    pub(crate) fn words(&self, key: &'static str, example: &str) -> Option<Vec<Word<'t>>> {
        let entry = self.ask(key)?;
        let DeValue::Array(array) = entry.value else {
            self.wrong_kind(entry, "a list", example);
            return None;
        };
        let mut words = Vec::with_capacity(array.len());
        for value in array.iter() {
            match value.get_ref() {
                DeValue::String(text) if !text.trim().is_empty() => {
                    words.push(Word { text, span: value.span() });
                }
                other => {
                    let kind = match other {
                        DeValue::String(_) => "an empty text",
                        other => kind_words(other),
                    };
                    self.fault(
                        &value.span(),
                        format!("{key} is a list of texts, but this is {kind}"),
                        format!("write it like {key} = {example}"),
                    );
                }
            }
        }
        (words.len() == array.len()).then_some(words)
    }

    /// A list of texts of which none stands twice.
    pub(crate) fn different_words(
        &self,
        key: &'static str,
        example: &str,
    ) -> Option<Vec<Word<'t>>> {
        let words = self.words(key, example)?;
        for (i, word) in words.iter().enumerate() {
            if words[..i].iter().any(|w| w.text == word.text) {
                let what = format!("\"{}\" stands twice in {key}", word.text);
                self.fault(&word.span, what, "keep one of the two");
                return None;
            }
        }
        Some(words)
    }

    /// A list of remarks; none where the key is missing.
    pub(crate) fn remarks(&self, key: &'static str, example: &str) -> Vec<String> {
        let words = self.different_words(key, example);
        words.into_iter().flatten().map(|word| word.text.to_owned()).collect()
    }

    /// The values of a list, each as an entry under the list's key.
    pub(crate) fn items(&self, key: &'static str, example: &str) -> Option<Vec<Entry<'t>>> {
        let entry = self.ask(key)?;
        let DeValue::Array(array) = entry.value else {
            self.wrong_kind(entry, "a list", example);
            return None;
        };
        let item = |value: &'t toml::Spanned<DeValue<'t>>| Entry {
            key: entry.key,
            key_span: entry.key_span.clone(),
            value: value.get_ref(),
            span: value.span(),
        };
        Some(array.iter().map(item).collect())
    }

    /// The words of a list that is itself an item of a list.
    pub(crate) fn words_of(&self, entry: &Entry<'t>, example: &str) -> Option<Vec<Word<'t>>> {
        let texts = |array: &'t toml::de::DeArray<'t>| {
            array
                .iter()
                .map(|v| match v.get_ref() {
                    DeValue::String(text) => Some(Word { text: text.as_ref(), span: v.span() }),
                    _ => None,
                })
                .collect::<Option<Vec<_>>>()
        };
        let words = match entry.value {
            DeValue::Array(array) => texts(array),
            _ => None,
        };
        if words.is_none() {
            self.wrong_kind(entry, "a list of texts", example);
        }
        words
    }

    /// Whether the value of a key is a text.
    pub(crate) fn is_text(&self, key: &'static str) -> bool {
        self.ask(key).is_some_and(|e| matches!(e.value, DeValue::String(_)))
    }

    /// Whether the value of a key is a whole number.
    pub(crate) fn is_whole(&self, key: &'static str) -> bool {
        self.ask(key).is_some_and(|e| matches!(e.value, DeValue::Integer(_)))
    }

    /// A time of the day in minutes after midnight: `"06:00"`, or the same as a TOML time.
    pub(crate) fn minute_of_day(&self, key: &'static str) -> Option<u16> {
        let entry = self.ask(key)?;
        let minute = match entry.value {
            DeValue::String(text) => text.split_once(':').and_then(|(hour, minute)| {
                let two = |s: &str| {
                    let digits = s.len() == 2 && s.bytes().all(|b| b.is_ascii_digit());
                    digits.then(|| s.parse::<u16>().ok()).flatten()
                };
                let (hour, minute) = (two(hour)?, two(minute)?);
                (hour < 24 && minute < 60).then_some(hour * 60 + minute)
            }),
            DeValue::Datetime(when) if when.date.is_none() && when.offset.is_none() => {
                when.time.map(|t| u16::from(t.hour) * 60 + u16::from(t.minute))
            }
            _ => None,
        };
        if minute.is_none() {
            let written = self.findings.written(&entry.span);
            self.fault(
                &entry.span,
                format!("{key} = {written} is not a time of the day"),
                format!("write hours and minutes, such as {key} = \"06:00\""),
            );
        }
        minute
    }

    fn child(&self, entry: &Entry<'t>) -> Option<Table<'t>> {
        let DeValue::Table(table) = entry.value else { return None };
        let path = self.path_of(entry.key);
        let heading = format!("[{path}]");
        Some(Self::new(table, entry.span.clone(), path, heading, self.findings))
    }

    fn path_of(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) }
    }

    /// A table under this one.
    pub(crate) fn table(&self, key: &'static str, example: &str) -> Option<Table<'t>> {
        self.ask(key).and_then(|entry| self.table_of(entry, example))
    }

    /// The table that stands in `entry`.
    pub(crate) fn table_of(&self, entry: &Entry<'t>, example: &str) -> Option<Table<'t>> {
        let child = self.child(entry);
        if child.is_none() {
            self.not_a_table(entry, &format!("[{}]", self.path_of(entry.key)), example);
        }
        child
    }

    fn not_a_table(&self, entry: &Entry<'t>, heading: &str, example: &str) {
        let (key, kind) = (entry.key, kind_words(entry.value));
        self.fault(
            &entry.span,
            format!("\"{key}\" is {kind}, but a table {heading} is wanted"),
            format!("write it like {example}"),
        );
    }

    /// The tables of an array of tables under this one: `[[works.shift]]`.
    pub(crate) fn tables(&self, key: &'static str, example: &str) -> Vec<Table<'t>> {
        self.ask(key).map_or_else(Vec::new, |entry| self.tables_of(entry, example))
    }

    /// The tables of the array of tables that stands in `entry`.
    pub(crate) fn tables_of(&self, entry: &Entry<'t>, example: &str) -> Vec<Table<'t>> {
        let path = self.path_of(entry.key);
        let heading = format!("[[{path}]]");
        let DeValue::Array(array) = entry.value else {
            if matches!(entry.value, DeValue::Table(_)) {
                let what = format!("[{path}] is one table, but there may be several");
                self.fault(&entry.span, what, format!("write the heading as {heading}"));
            } else {
                self.not_a_table(entry, &heading, example);
            }
            return Vec::new();
        };
        let mut tables = Vec::with_capacity(array.len());
        for value in array.iter() {
            let DeValue::Table(table) = value.get_ref() else {
                let kind = kind_words(value.get_ref());
                let what = format!("{heading} holds tables, but this is {kind}");
                self.fault(&value.span(), what, format!("write it like {example}"));
                continue;
            };
            let (path, heading) = (path.clone(), heading.clone());
            tables.push(Self::new(table, value.span(), path, heading, self.findings));
        }
        tables
    }

    /// The tables under this one whose names the author chooses: `[gauge.NAME]`. `example` is one
    /// such heading.
    pub(crate) fn named_tables(&self, example: &str) -> Vec<(&'t str, Table<'t>)> {
        let mut named = Vec::with_capacity(self.entries.len());
        for entry in &self.entries {
            if !self.name_is_sound(entry, example) {
                continue;
            }
            match self.child(entry) {
                Some(table) => named.push((entry.key, table)),
                None => {
                    let (heading, key) = (&self.heading, entry.key);
                    let what = format!(
                        "{heading} holds tables, but \"{key}\" is {}",
                        kind_words(entry.value)
                    );
                    self.fault(
                        &entry.key_span,
                        what,
                        format!("put it under one, such as {example}"),
                    );
                }
            }
        }
        named
    }

    /// Whether a name that the author chose can be one: letters, digits, hyphens, underscores, and
    /// in people's names a point.
    pub(crate) fn name_is_sound(&self, entry: &Entry<'t>, example: &str) -> bool {
        let points = self.path == "person";
        let sound = is_name(entry.key, points);
        if !sound {
            self.fault(
                &entry.key_span,
                format!("\"{}\" cannot be a name", entry.key),
                format!(
                    "use at most {LONGEST_NAME} letters, digits, \"-\" and \"_\", as in {example}"
                ),
            );
        }
        sound
    }

    /// What `read` makes of this table, unless it found a fault in it: then nothing, so that what
    /// refers to it is not called wrong for the same slip.
    pub(crate) fn sound<T>(&self, read: impl FnOnce(&Self) -> Option<T>) -> Option<T> {
        let before = self.findings.count();
        let thing = read(self);
        self.finish();
        thing.filter(|_| self.findings.count() == before)
    }

    /// Notes every key that nobody asked for.
    pub(crate) fn finish(&self) {
        self.finish_of("the works file");
    }

    /// As [`Table::finish`], the whole file being called so.
    pub(crate) fn finish_of(&self, file: &str) {
        let asked = self.asked.borrow();
        for entry in self.entries.iter().filter(|e| !asked.contains(&e.key)) {
            let (key, heading) = (entry.key, &self.heading);
            let (what, mend) = match (heading.is_empty(), key) {
                (true, "include") => (
                    "a text by itself cannot include files".to_owned(),
                    "read the file from its folder".to_owned(),
                ),
                (true, _) => (
                    format!("[{key}] is not a table of {file}"),
                    mend_name(key, asked.iter().copied(), "tables"),
                ),
                (false, "include") => (
                    format!("\"{key}\" is not a key of {heading}"),
                    "it stands at the very top, before the first table".to_owned(),
                ),
                (false, _) => (
                    format!("\"{key}\" is not a key of {heading}"),
                    mend_name(key, asked.iter().copied(), "keys"),
                ),
            };
            self.fault(&entry.key_span, what, mend);
        }
    }
}

#[expect(
    clippy::cast_precision_loss,
    reason = "a works file's numbers are small; a huge one rounds"
)]
fn as_number(n: i64) -> f64 {
    n as f64
}

/// `number` with the unit of the example: what was probably meant.
fn with_unit(number: &str, example: &str) -> String {
    let digits = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '+' | '−');
    format!("{number}{}", example.trim_start_matches(digits))
}

/// What to do about a unit that is not known.
fn mend_unit(unit: &str, wanted: Option<Dimension>) -> String {
    let of_kind = |u: &&Unit| wanted.is_none_or(|d| d == u.dimension) && !u.symbol.is_empty();
    let symbols = UNITS.iter().filter(of_kind).map(|u| u.symbol);
    match (nearest(unit, symbols), wanted) {
        (Some(near), _) => format!("did you mean \"{near}\"?"),
        (None, Some(wanted)) => format!("write it like \"{}\"", wanted.example()),
        (None, None) => "write a unit of the trade, such as mm, µm, g, N·m or kW".to_owned(),
    }
}

/// Longest name an author may choose.
const LONGEST_NAME: usize = 40;

/// Whether `name` can name a thing of the plan.
pub(crate) fn is_name(name: &str, points: bool) -> bool {
    let sound = |c: char| c.is_alphanumeric() || c == '-' || c == '_' || (points && c == '.');
    !name.is_empty() && name.chars().count() <= LONGEST_NAME && name.chars().all(sound)
}

/// `"a", "b" or "c"`.
pub(crate) fn quoted_list<'n>(words: impl Iterator<Item = &'n str>) -> String {
    let words: Vec<String> = words.map(|w| format!("\"{w}\"")).collect();
    match words.split_last() {
        None => String::new(),
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} or {last}", rest.join(", ")),
    }
}
