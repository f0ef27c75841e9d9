//! The commands that run on plain files alone, with no works folder: match, judge, balance, bed.
//!
//! Each takes texts and gives a view that can be sent as it is. A file is taken whole or not at
//! all: where anything in it is at fault, every fault is named with its place and nothing else
//! happens. They use the works' own calculations and its own reader of works files.

pub mod balance;
pub mod bed;
pub mod fit;
pub mod judge;
mod wishes;

use std::fmt::Write as _;

use serde::Serialize;

use crate::plan::read::PlanFault;
use crate::worksheet::mapping::MappingFault;
use crate::worksheet::{RefusedRow, SheetFault};

/// One fault of a plain file: where, what, and how to mend it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Fault {
    /// The file, as it was named to the command.
    pub file: String,
    /// Line, from 1.
    pub line: u64,
    /// Column, from 1: of a CSV file the field, of a TOML file the character.
    pub column: usize,
    /// What is wrong.
    pub what: String,
    /// How to mend it; empty where what is wrong says so.
    pub mend: String,
}

impl std::fmt::Display for Fault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { file, line, column, what, mend } = self;
        write!(f, "{file}:{line}:{column}: {what}")?;
        if mend.is_empty() { Ok(()) } else { write!(f, "; {mend}") }
    }
}

/// Why plain files were not taken: every fault found in them. Displayed one a line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, thiserror::Error)]
#[error("{}", one_a_line(.faults))]
pub struct PlainFault {
    /// The faults, file by file in the order in which they stand; at least one.
    pub faults: Vec<Fault>,
}

fn one_a_line(faults: &[Fault]) -> String {
    faults.iter().enumerate().fold(String::new(), |mut all, (i, fault)| {
        let _ = write!(all, "{}{fault}", if i == 0 { "" } else { "\n" });
        all
    })
}

impl From<PlanFault> for PlainFault {
    fn from(fault: PlanFault) -> Self {
        let faults = fault.faults.into_iter().map(|f| Fault {
            file: f.file,
            line: f.line as u64,
            column: f.column,
            what: f.what,
            mend: f.mend,
        });
        Self { faults: faults.collect() }
    }
}

/// The faults of one file while it is read.
struct Faults<'n> {
    file: &'n str,
    list: Vec<Fault>,
}

impl<'n> Faults<'n> {
    fn of(file: &'n str) -> Self {
        Self { file, list: Vec::new() }
    }

    /// Notes a fault; `column_idx` is counted from 0.
    fn add(&mut self, line: u64, column_idx: usize, what: impl Into<String>) {
        let (file, what) = (self.file.to_owned(), what.into());
        let column = column_idx + 1;
        self.list.push(Fault { file, line, column, what, mend: String::new() });
    }

    fn add_refused(&mut self, row: &RefusedRow) {
        match &row.column {
            Some((column, heading)) => {
                self.add(row.line, column.saturating_sub(1), format!("{heading}: {}", row.reason));
            }
            None => self.add(row.line, 0, row.reason.as_str()),
        }
    }

    fn add_sheet_fault(&mut self, fault: &SheetFault) {
        let (line, column) = match fault {
            SheetFault::Broken { line, .. }
            | SheetFault::HeadingNotUtf8 { line }
            | SheetFault::HeadingNul { line }
            | SheetFault::HeadingTooLong { line, .. } => (*line, 1),
            SheetFault::HeadingQuotes { line, column, .. } => (*line, *column),
            SheetFault::Columns { line, fault } => {
                if let MappingFault::Unclear { unclear, n_unclear, .. } = fault {
                    for one in unclear {
                        let what = format!("\"{}\": {}", one.heading, one.reason);
                        self.add(*line, one.column.saturating_sub(1), what);
                    }
                    let more = n_unclear.saturating_sub(unclear.len());
                    if more > 0 {
                        self.add(*line, 0, format!("{more} more columns are unclear"));
                    }
                    return;
                }
                (*line, 1)
            }
            SheetFault::Empty | SheetFault::Utf16 | SheetFault::Workbook => (1, 1),
        };
        let words = fault.to_string();
        // The place stands before the words already.
        let place = format!("line {line}: ");
        let what = words.strip_prefix(place.as_str()).unwrap_or(&words);
        self.add(line, column.saturating_sub(1), what);
    }

    fn none_or_fault(self) -> Result<(), PlainFault> {
        if self.list.is_empty() { Ok(()) } else { Err(PlainFault { faults: self.list }) }
    }
}

/// What stands behind `stem` in a heading: `in` in `bore1_in`, `mm` in `diameter (mm)`, nothing in
/// `mass`; `None` if the heading does not begin with it.
fn unit_behind<'h>(heading: &'h str, stem: &str) -> Option<&'h str> {
    let heading = heading.trim();
    let begins = heading.get(..stem.len())?.eq_ignore_ascii_case(stem);
    let rest = &heading[stem.len()..];
    let parted = rest.is_empty() || rest.starts_with(['_', ' ', '(', '[', '-']);
    let between = |c: char| matches!(c, '_' | ' ' | '(' | ')' | '[' | ']');
    (begins && parted).then(|| rest.trim_start_matches('-').trim_matches(between))
}
