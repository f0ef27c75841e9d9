//! Sheets of readings: CSV files read row by row against the plan, each row taken whole or refused
//! whole with its line, its column and the reason.
//!
//! It knows nothing of the record and of files: it reads a stream and gives back rows. Never more
//! than one line is held, and sixteen bytes a reading to find a row that stands there twice.

pub(crate) mod cells;
pub mod check;
pub mod mapping;
pub mod refused;
mod text;

use std::borrow::Cow;
use std::collections::HashMap;
use std::io::{self, Read};

use bedplate_gauge::unit::Unit;
use bedplate_record::reading::{Millis, Reading};
use serde::Serialize;

use crate::plan::Plan;
use check::{Field, Intake, Raw, Refusal};
use mapping::{Mapping, MappingFault, Meaning, guess, unit_for};
use text::{Line, Lines, fields, separator_of};

/// How much of a refused row's text is kept, in characters.
const TEXT_CHARS_MAX: usize = 16_384;

/// What holds for a row where it says nothing itself.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Defaults {
    /// When the readings were taken; `now` if `None`.
    pub at: Option<Millis>,
    /// Gauge; each characteristic's own if `None`.
    pub gauge: Option<String>,
    /// Person.
    pub person: Option<String>,
    /// Machine.
    pub machine: Option<String>,
    /// Spindle.
    pub spindle: Option<String>,
    /// Tool.
    pub tool: Option<String>,
    /// Where the readings come from: the file's name, `page`, `http`.
    pub source: String,
    /// The plan's edition.
    pub edition: String,
    /// Now: a reading more than a day later is refused.
    pub now: Millis,
}

/// A row that was not taken.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RefusedRow {
    /// Its line in the file, from 1.
    pub line: u64,
    /// The column that is wrong, from 1, and its heading; `None` if it is the row as a whole.
    pub column: Option<(usize, String)>,
    /// Why, and what would be right.
    pub reason: String,
    /// The row as it stands in the file; the beginning of a very long one.
    pub text: String,
}

/// One row of a sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Row {
    /// Taken.
    Taken {
        /// Its line in the file, from 1.
        line: u64,
        /// Its readings, one at least.
        readings: Vec<Reading>,
        /// Whether the row itself says when they were taken.
        timed: bool,
    },
    /// Refused.
    Refused(RefusedRow),
}

/// A sheet that was read to its end.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetEnd {
    /// What the columns meant.
    pub mapping: Mapping,
    /// Rows that were taken or refused; empty ones are not counted.
    pub rows_read: u64,
}

/// A sheet with all its rows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sheet {
    /// What the columns meant.
    pub mapping: Mapping,
    /// Rows that were taken or refused; empty ones are not counted.
    pub rows_read: u64,
    /// The readings taken, each with its line.
    pub taken: Vec<(u64, Reading)>,
    /// The rows refused.
    pub refused: Vec<RefusedRow>,
}

/// Why a sheet was not read.
#[derive(Debug, thiserror::Error)]
pub enum SheetFault {
    /// The stream broke.
    #[error("line {line} could not be read: {cause}")]
    Broken {
        /// The line that was being read.
        line: u64,
        /// What the system said.
        cause: io::Error,
    },
    /// There is nothing in it.
    #[error("the file is empty; its first line names the columns")]
    Empty,
    /// UTF-16.
    #[error(
        "the file is in UTF-16; save it as UTF-8: in a spreadsheet choose the file type \"CSV \
         UTF-8\", in a text editor the encoding UTF-8"
    )]
    Utf16,
    /// A spreadsheet's own format, or another archive.
    #[error(
        "the file is a spreadsheet's own format, not CSV; save it with the file type \"CSV UTF-8\""
    )]
    Workbook,
    /// The heading is not UTF-8.
    #[error(
        "line {line}: the heading is not UTF-8 but Latin-1 or the like; save the file with the \
         file type \"CSV UTF-8\""
    )]
    HeadingNotUtf8 {
        /// Its line.
        line: u64,
    },
    /// The heading holds NUL bytes.
    #[error("line {line}: the heading holds NUL bytes; this is not a text file")]
    HeadingNul {
        /// Its line.
        line: u64,
    },
    /// The heading is too long.
    #[error(
        "line {line}: the heading is {length} bytes long; a line is at most 1 MiB (1048576 bytes)"
    )]
    HeadingTooLong {
        /// Its line.
        line: u64,
        /// Its length in bytes.
        length: u64,
    },
    /// The heading's quotes are wrong.
    #[error("line {line}, column {column} of the heading: {reason}")]
    HeadingQuotes {
        /// Its line.
        line: u64,
        /// The column, from 1.
        column: usize,
        /// What is wrong.
        reason: &'static str,
    },
    /// The columns are not understood.
    #[error("line {line}: {fault}")]
    Columns {
        /// The heading's line.
        line: u64,
        /// Why.
        fault: MappingFault,
    },
}

/// Reads a sheet and gives its rows to `each` as they come.
///
/// # Errors
/// [`SheetFault`]. Only [`SheetFault::Broken`] can come after rows were given.
pub fn read_sheet_into(
    input: impl Read,
    plan: &Plan,
    mapping: Option<&Mapping>,
    defaults: &Defaults,
    each: &mut dyn FnMut(Row),
) -> Result<SheetEnd, SheetFault> {
    read_choosing(input, plan, &mut |_| mapping.cloned(), defaults, each)
}

/// As [`read_sheet_into`], the mapping chosen when the headings are known.
///
/// # Errors
/// [`SheetFault`].
pub fn read_choosing(
    input: impl Read,
    plan: &Plan,
    choose: &mut dyn FnMut(&[String]) -> Option<Mapping>,
    defaults: &Defaults,
    each: &mut dyn FnMut(Row),
) -> Result<SheetEnd, SheetFault> {
    let mut lines = Lines::of(input);
    let heading = heading(&mut lines)?;
    let fault = |fault| SheetFault::Columns { line: heading.line, fault };
    let mapping = match choose(&heading.fields) {
        Some(mut chosen) => {
            chosen.fits(plan, &heading.fields).map_err(fault)?;
            chosen.separator = heading.separator;
            chosen
        }
        None => guess(plan, &heading.fields, heading.separator).map_err(fault)?,
    };
    let mut reader = RowReader::new(plan, &mapping, defaults);
    let mut rows_read = 0;
    let mut last = heading.line;
    loop {
        let line = match lines.next_line() {
            Ok(Some(line)) => line,
            Ok(None) => break,
            Err(cause) => return Err(SheetFault::Broken { line: last + 1, cause }),
        };
        last = line.number;
        if let Some(row) = reader.row(&line) {
            rows_read += 1;
            each(row);
        }
    }
    Ok(SheetEnd { mapping, rows_read })
}

/// Reads a whole sheet.
///
/// # Errors
/// [`SheetFault`].
pub fn read_sheet(
    input: impl Read,
    plan: &Plan,
    mapping: Option<&Mapping>,
    defaults: &Defaults,
) -> Result<Sheet, SheetFault> {
    let (mut taken, mut refused) = (Vec::new(), Vec::new());
    let end = read_sheet_into(input, plan, mapping, defaults, &mut |row| match row {
        Row::Taken { line, readings, .. } => taken.extend(readings.into_iter().map(|r| (line, r))),
        Row::Refused(row) => refused.push(row),
    })?;
    Ok(Sheet { mapping: end.mapping, rows_read: end.rows_read, taken, refused })
}

struct Heading {
    line: u64,
    separator: char,
    fields: Vec<String>,
}

fn heading<R: Read>(lines: &mut Lines<R>) -> Result<Heading, SheetFault> {
    let mut separator = None;
    let mut number = 0;
    loop {
        let broken = |cause| SheetFault::Broken { line: number + 1, cause };
        let Some(line) = lines.next_line().map_err(broken)? else {
            return Err(SheetFault::Empty);
        };
        number = line.number;
        let text = heading_text(&line)?;
        // Some spreadsheets write the separator in a line of its own first.
        if let Some(said) = text.trim().strip_prefix("sep=")
            && let Some(said @ (',' | ';' | '\t')) = said.chars().next()
        {
            separator = Some(said);
            continue;
        }
        if text.trim().is_empty() {
            continue;
        }
        let separator = separator.unwrap_or_else(|| separator_of(text));
        let (parted, fault) = fields(text, separator);
        if let Some(fault) = fault {
            let (column, reason) = (fault.field() + 1, fault.reason());
            return Err(SheetFault::HeadingQuotes { line: number, column, reason });
        }
        let fields = parted.into_iter().map(Cow::into_owned).collect();
        return Ok(Heading { line: number, separator, fields });
    }
}

fn heading_text<'l>(line: &'l Line<'_>) -> Result<&'l str, SheetFault> {
    let (number, length) = (line.number, line.length);
    let first = number == 1;
    let bytes = line.bytes;
    if first && (bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff])) {
        return Err(SheetFault::Utf16);
    }
    if first && bytes.starts_with(b"PK\x03\x04") {
        return Err(SheetFault::Workbook);
    }
    let n_nul = bytes.iter().filter(|b| **b == 0).count();
    // UTF-16 without its mark: every other byte of plain letters is NUL.
    if n_nul * 3 > bytes.len() {
        return Err(SheetFault::Utf16);
    }
    if n_nul > 0 {
        return Err(SheetFault::HeadingNul { line: number });
    }
    if line.too_long() {
        return Err(SheetFault::HeadingTooLong { line: number, length });
    }
    let bytes = if first { bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes) } else { bytes };
    std::str::from_utf8(bytes).map_err(|_| SheetFault::HeadingNotUtf8 { line: number })
}

/// Where each thing stands in a row.
#[derive(Default)]
struct Places {
    of_field: HashMap<Field, usize>,
    value_unit: Option<&'static Unit>,
    measured: Vec<Measured>,
}

struct Measured {
    column: usize,
    characteristic: String,
    position: String,
    unit: Option<&'static Unit>,
}

impl Places {
    fn of(plan: &Plan, mapping: &Mapping) -> Self {
        let mut places = Self::default();
        for (i, column) in mapping.columns.iter().enumerate() {
            let field = match &column.meaning {
                Meaning::Time => Field::Time,
                Meaning::Piece => Field::Piece,
                Meaning::Characteristic => Field::Characteristic,
                Meaning::Position => Field::Position,
                Meaning::Value { unit } => {
                    places.value_unit = unit.as_deref().and_then(Unit::named);
                    Field::Value
                }
                Meaning::Unit => Field::Unit,
                Meaning::Gauge => Field::Gauge,
                Meaning::Person => Field::Person,
                Meaning::Machine => Field::Machine,
                Meaning::Spindle => Field::Spindle,
                Meaning::Tool => Field::Tool,
                Meaning::Measured { characteristic, position, unit } => {
                    let dimension =
                        plan.characteristics.get(characteristic).map(|c| c.unit.dimension);
                    let unit = unit.as_deref().zip(dimension).and_then(|(u, d)| unit_for(d, u));
                    let (characteristic, position) = (characteristic.clone(), position.clone());
                    places.measured.push(Measured { column: i, characteristic, position, unit });
                    continue;
                }
                Meaning::Ignored => continue,
            };
            places.of_field.insert(field, i);
        }
        places
    }
}

struct RowReader<'p> {
    mapping: &'p Mapping,
    headings: Vec<&'p str>,
    places: Places,
    intake: Intake<'p>,
    /// The line of each reading taken, by a digest of what makes it the same reading.
    seen: HashMap<u128, u64>,
}

/// What is wrong with a row: where, and why.
type Wrong = (Option<usize>, String);

impl<'p> RowReader<'p> {
    fn new(plan: &'p Plan, mapping: &'p Mapping, defaults: &'p Defaults) -> Self {
        let headings = mapping.columns.iter().map(|c| c.heading.as_str()).collect();
        let places = Places::of(plan, mapping);
        let intake = Intake::new(plan, defaults);
        Self { mapping, headings, places, intake, seen: HashMap::new() }
    }

    /// The row of a line; `None` for an empty one.
    fn row(&mut self, line: &Line<'_>) -> Option<Row> {
        let text = match row_text(line) {
            Ok(text) => text,
            Err(reason) => return Some(self.refused(line, (None, reason))),
        };
        let (cells, fault) = fields(text, self.mapping.separator);
        if cells.iter().all(|c| c.is_empty()) && fault.is_none() {
            return None;
        }
        let taken = match fault {
            Some(fault) => Err((Some(fault.field()), fault.reason().to_owned())),
            None => self.readings(line.number, &cells),
        };
        Some(match taken {
            Ok((readings, timed)) => Row::Taken { line: line.number, readings, timed },
            Err(wrong) => self.refused(line, wrong),
        })
    }

    fn refused(&self, line: &Line<'_>, (column, reason): Wrong) -> Row {
        let heading = |i: usize| self.mapping.columns.get(i).map_or("", |c| c.heading.as_str());
        let mut text = line.shown();
        if let Some((at, _)) = text.char_indices().nth(TEXT_CHARS_MAX) {
            text.truncate(at);
            text.push('…');
        }
        let column = column.map(|i| (i + 1, heading(i).to_owned()));
        Row::Refused(RefusedRow { line: line.number, column, reason, text })
    }

    fn readings(
        &mut self,
        line: u64,
        cells: &[Cow<'_, str>],
    ) -> Result<(Vec<Reading>, bool), Wrong> {
        self.right_number_of_fields(cells)?;
        let of_field = &self.places.of_field;
        let cell =
            |field| of_field.get(&field).and_then(|i| cells.get(*i)).map_or("", |c| c.as_ref());
        let raw = Raw {
            characteristic: cell(Field::Characteristic),
            piece: cell(Field::Piece),
            position: cell(Field::Position),
            value: cell(Field::Value),
            unit: cell(Field::Unit),
            unit_default: None,
            at: cell(Field::Time),
            gauge: cell(Field::Gauge),
            person: cell(Field::Person),
            machine: cell(Field::Machine),
            spindle: cell(Field::Spindle),
            tool: cell(Field::Tool),
        };
        let timed = !raw.at.is_empty();
        let readings = if self.places.measured.is_empty() {
            vec![self.one_reading(raw)?]
        } else {
            self.one_piece(&raw, cells)?
        };
        self.not_there_twice(line, &readings, timed)?;
        Ok((readings, timed))
    }

    fn right_number_of_fields(&self, cells: &[Cow<'_, str>]) -> Result<(), Wrong> {
        right_number_of_fields(cells, &self.headings, self.mapping.separator)
    }

    fn one_reading(&mut self, mut raw: Raw<'_>) -> Result<Reading, Wrong> {
        raw.unit_default = self.places.value_unit;
        let place = |r: Refusal| (self.places.of_field.get(&r.field).copied(), r.reason);
        self.intake.check(&raw).map_err(place)
    }

    fn one_piece(&mut self, raw: &Raw<'_>, cells: &[Cow<'_, str>]) -> Result<Vec<Reading>, Wrong> {
        let mut readings = Vec::new();
        for m in &self.places.measured {
            let value = cells.get(m.column).map_or("", |c| c.as_ref());
            if value.is_empty() {
                continue;
            }
            let raw = Raw {
                characteristic: &m.characteristic,
                position: &m.position,
                value,
                unit_default: m.unit,
                ..raw.clone()
            };
            let of_field = &self.places.of_field;
            let place = |r: Refusal| {
                let column = of_field.get(&r.field).copied().unwrap_or(m.column);
                (Some(column), r.reason)
            };
            readings.push(self.intake.check(&raw).map_err(place)?);
        }
        if readings.is_empty() {
            return Err((None, "nothing is measured in this row".to_owned()));
        }
        Ok(readings)
    }

    fn not_there_twice(
        &mut self,
        line: u64,
        readings: &[Reading],
        timed: bool,
    ) -> Result<(), Wrong> {
        let digests: Vec<u128> = readings.iter().map(|r| digest(r, timed)).collect();
        for (reading, digest) in readings.iter().zip(&digests) {
            if let Some(first) = self.seen.get(digest) {
                let what = format!("{} {}", reading.characteristic, reading.position);
                let mend = if timed { "" } else { "; give the times if it was measured twice" };
                let reason = format!(
                    "{} of piece {} stands in line {first} already{mend}",
                    what.trim_end(),
                    reading.piece
                );
                return Err((self.places.of_field.get(&Field::Piece).copied(), reason));
            }
        }
        self.seen.extend(digests.into_iter().map(|d| (d, line)));
        Ok(())
    }
}

/// What makes two rows the same reading: with its time and value if the row has a time, else the
/// piece, characteristic and position alone.
fn digest(reading: &Reading, timed: bool) -> u128 {
    let mut hasher = blake3::Hasher::new();
    for text in [&reading.piece, &reading.characteristic, &reading.position] {
        hasher.update(&(text.len() as u64).to_le_bytes());
        hasher.update(text.as_bytes());
    }
    if timed {
        hasher.update(&reading.at.to_le_bytes());
        hasher.update(reading.value.to_string().as_bytes());
    }
    let mut first = [0; 16];
    first.copy_from_slice(&hasher.finalize().as_bytes()[..16]);
    u128::from_le_bytes(first)
}

fn right_number_of_fields(
    cells: &[Cow<'_, str>],
    headings: &[&str],
    separator: char,
) -> Result<(), Wrong> {
    let (found, wanted) = (cells.len(), headings.len());
    if found < wanted {
        let lacking = headings[found];
        let reason = format!(
            "the row has {found} fields, the heading {wanted}; it ends before \"{lacking}\""
        );
        return Err((Some(found), reason));
    }
    if found == wanted {
        return Ok(());
    }
    // Not even a spare separator at the end: under decimal commas "68,001," would be 68 and 1.
    let comma = if separator == ',' {
        "; if commas are decimal signs, part the fields by semicolons"
    } else {
        ""
    };
    Err((None, format!("the row has {found} fields, the heading {wanted}{comma}")))
}

fn row_text<'l>(line: &'l Line<'_>) -> Result<&'l str, String> {
    if line.too_long() {
        let length = line.length;
        return Err(format!(
            "the line is {length} bytes long; a line is at most 1 MiB (1048576 bytes)"
        ));
    }
    if line.bytes.contains(&0) {
        return Err("the row holds a NUL byte; it is not text".to_owned());
    }
    std::str::from_utf8(line.bytes).map_err(|e| {
        let at = e.valid_up_to() + 1;
        format!(
            "the row is not UTF-8 at its byte {at} (it looks like Latin-1); save the file with the \
             file type \"CSV UTF-8\""
        )
    })
}
