//! Names and contexts by the ids under which this file keeps them.

use std::collections::HashMap;
use std::sync::Arc;

use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::Unit;
use rusqlite::types::ValueRef;
use rusqlite::{Connection, Row, params};

use crate::chain::{Digest, Sealed, context_digest, sealed_digest};
use crate::reading::{Context, KeptReading, Name, Reading};

/// Names and contexts as far as they are loaded; both are only ever added to.
#[derive(Debug, Clone, Default)]
pub(super) struct Names {
    texts: HashMap<i64, Name>,
    contexts: HashMap<i64, KeptContext>,
    last_name: i64,
    last_context: i64,
    /// The first thing that cannot be as it is found.
    pub(super) finding: Option<String>,
}

/// A context with what is needed of it for each reading.
#[derive(Debug, Clone)]
pub(super) struct KeptContext {
    pub(super) context: Arc<Context>,
    pub(super) digest: Digest,
    pub(super) gauge: i64,
}

impl Names {
    pub(super) fn load(conn: &Connection) -> rusqlite::Result<Self> {
        let mut names = Self::default();
        names.extend(conn)?;
        Ok(names)
    }

    /// Whether names or contexts were added to the file since.
    pub(super) fn is_behind(&self, conn: &Connection) -> rusqlite::Result<bool> {
        let mut newest = conn.prepare_cached(
            "SELECT coalesce((SELECT max(id) FROM name), 0), \
                    coalesce((SELECT max(id) FROM context), 0)",
        )?;
        let (name, context): (i64, i64) =
            newest.query_row([], |row| Ok((row.get(0)?, row.get(1)?)))?;
        Ok(name > self.last_name || context > self.last_context)
    }

    /// Loads what was added.
    pub(super) fn extend(&mut self, conn: &Connection) -> rusqlite::Result<()> {
        let mut statement =
            conn.prepare_cached("SELECT id, text FROM name WHERE id > ?1 ORDER BY id")?;
        let mut rows = statement.query([self.last_name])?;
        while let Some(row) = rows.next()? {
            self.last_name = row.get(0)?;
            match text(row, 1) {
                Some(name) => drop(self.texts.insert(self.last_name, name.into())),
                None => self.found(format!("the name with id {} is no text", self.last_name)),
            }
        }
        let mut statement = conn.prepare_cached(
            "SELECT id, gauge, person, machine, spindle, tool, source, edition \
             FROM context WHERE id > ?1 ORDER BY id",
        )?;
        let mut rows = statement.query([self.last_context])?;
        while let Some(row) = rows.next()? {
            self.last_context = row.get(0)?;
            match self.read_context(row) {
                Some(kept) => drop(self.contexts.insert(self.last_context, kept)),
                None => self.found(format!(
                    "the context with id {} names something that is not there",
                    self.last_context
                )),
            }
        }
        Ok(())
    }

    /// Two ids with one text would split a characteristic's readings in two.
    pub(super) fn twice(&self) -> Option<String> {
        let mut seen = HashMap::with_capacity(self.texts.len());
        let twice = self.texts.iter().find(|(id, text)| seen.insert(*text, *id).is_some());
        twice.map(|(_, text)| format!("the name \"{text}\" is in the table of names twice"))
    }

    pub(super) fn text(&self, id: i64) -> Option<&Name> {
        self.texts.get(&id)
    }

    pub(super) fn context(&self, id: i64) -> Option<&KeptContext> {
        self.contexts.get(&id)
    }

    pub(super) fn texts(&self) -> impl Iterator<Item = (i64, &Name)> {
        self.texts.iter().map(|(id, text)| (*id, text))
    }

    pub(super) fn contexts(&self) -> impl Iterator<Item = (i64, &KeptContext)> {
        self.contexts.iter().map(|(id, kept)| (*id, kept))
    }

    fn found(&mut self, finding: String) {
        self.finding.get_or_insert(finding);
    }

    fn read_context(&self, row: &Row<'_>) -> Option<KeptContext> {
        let name = |place| integer(row, place).and_then(|id| self.text(id)).cloned();
        let context = Context {
            gauge: name(1)?,
            person: name(2)?,
            machine: name(3)?,
            spindle: name(4)?,
            tool: name(5)?,
            source: name(6)?,
            edition: name(7)?,
        };
        let digest = context_digest(&context);
        Some(KeptContext { context: Arc::new(context), digest, gauge: integer(row, 1)? })
    }
}

/// The id of a name, if it was ever kept.
pub(super) fn name_id(conn: &Connection, text: &str) -> rusqlite::Result<Option<i64>> {
    use rusqlite::OptionalExtension as _;
    conn.prepare_cached("SELECT id FROM name WHERE text = ?1")?
        .query_row(params![text], |row| row.get(0))
        .optional()
}

/// The columns of a reading in the order in which [`KeptRow::read`] takes them.
pub(super) const COLUMNS: &str =
    "number, characteristic, at, piece, position, mantissa, form, context, mark";

/// A reading's row as it lies in the file.
pub(super) struct KeptRow<'a> {
    pub(super) number: i64,
    pub(super) characteristic: i64,
    pub(super) at: i64,
    pub(super) piece: &'a str,
    pub(super) position: i64,
    pub(super) mantissa: i64,
    pub(super) form: i64,
    pub(super) context: i64,
    pub(super) mark: i64,
}

/// A reading's row with its names, its digest agreeing with its check word.
pub(super) struct OpenedRow<'a> {
    characteristic: &'a Name,
    position: &'a Name,
    value: Quantity,
    pub(super) context: &'a KeptContext,
    pub(super) digest: Digest,
}

impl<'a> KeptRow<'a> {
    /// `None` if a column is not of its kind.
    pub(super) fn read(row: &'a Row<'_>) -> Option<Self> {
        Some(Self {
            number: integer(row, 0)?,
            characteristic: integer(row, 1)?,
            at: integer(row, 2)?,
            piece: text(row, 3)?,
            position: integer(row, 4)?,
            mantissa: integer(row, 5)?,
            form: integer(row, 6)?,
            context: integer(row, 7)?,
            mark: integer(row, 8)?,
        })
    }

    /// Puts names to ids and compares with the check word.
    pub(super) fn open<'n>(&self, names: &'n Names) -> Result<OpenedRow<'n>, String> {
        let name = |id, what| {
            names.text(id).ok_or_else(|| format!("the name of the reading's {what} is not there"))
        };
        let characteristic = name(self.characteristic, "characteristic")?;
        let position = name(self.position, "position")?;
        let context = names
            .context(self.context)
            .ok_or_else(|| "the reading's gauge, person and source are not there".to_owned())?;
        let (unit, exponent) =
            unpack_form(self.form).ok_or_else(|| "the reading's unit is not known".to_owned())?;
        let sealed = Sealed {
            at: self.at,
            characteristic,
            piece: self.piece,
            position,
            mantissa: self.mantissa,
            exponent,
            unit: unit.symbol,
            context: &context.digest,
        };
        let number = u64::try_from(self.number).map_err(|_| "its number is negative".to_owned())?;
        let digest = sealed_digest(number, &sealed);
        if mark(&digest) != self.mark {
            return Err("the reading does not agree with its check word".to_owned());
        }
        let value = Quantity::new(self.mantissa, exponent, unit);
        Ok(OpenedRow { characteristic, position, value, context, digest })
    }
}

impl OpenedRow<'_> {
    pub(super) fn reading(&self, row: &KeptRow<'_>, piece: Name) -> KeptReading {
        KeptReading {
            number: u64::try_from(row.number).expect("a row with a negative number is not opened"),
            reading: Reading {
                at: row.at,
                characteristic: self.characteristic.clone(),
                piece,
                position: self.position.clone(),
                value: self.value,
                context: self.context.context.clone(),
            },
        }
    }
}

/// The check word as it is kept: signed, since SQLite then needs four bytes for it and not six.
pub(super) fn mark(digest: &Digest) -> i64 {
    i64::from(digest.check_word().cast_signed())
}

/// Unit and exponent in one small integer.
pub(super) fn pack_form(value: &Quantity) -> i64 {
    i64::from(value.unit().code()) << 8 | i64::from(value.exponent().cast_unsigned())
}

fn unpack_form(form: i64) -> Option<(&'static Unit, i8)> {
    let [exponent, ..] = form.to_le_bytes();
    let unit = Unit::with_code(u16::try_from(form >> 8).ok()?)?;
    Some((unit, exponent.cast_signed()))
}

/// The integer in a column, or `None` if something else is there.
pub(super) fn integer(row: &Row<'_>, place: usize) -> Option<i64> {
    match row.get_ref(place) {
        Ok(ValueRef::Integer(value)) => Some(value),
        _ => None,
    }
}

/// The text in a column, or `None` if something else is there.
pub(super) fn text<'r>(row: &'r Row<'_>, place: usize) -> Option<&'r str> {
    row.get_ref(place).ok()?.as_str().ok()
}

/// The bytes in a column, or `None` if something else is there.
pub(super) fn bytes<'r>(row: &'r Row<'_>, place: usize) -> Option<&'r [u8]> {
    match row.get_ref(place) {
        Ok(ValueRef::Blob(value)) => Some(value),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn unit_and_exponent_come_back(code in 0u16..90, exponent: i8) {
            let unit = Unit::with_code(code).unwrap();
            let form = pack_form(&Quantity::new(1, exponent, unit));
            prop_assert_eq!(unpack_form(form), Some((unit, exponent)));
        }

        #[test]
        fn any_form_is_read_without_a_panic(form: i64) {
            let _ = unpack_form(form);
        }
    }
}
