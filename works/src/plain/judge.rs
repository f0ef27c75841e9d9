//! Readings judged, from a sheet and a file of limits.

use serde::Serialize;

use super::{Faults, PlainFault};
use crate::judge::{Judged, judged};
use crate::plan::partial::parse_partial;
use crate::plan::{Person, Plan};
use crate::wire::Word;
use crate::worksheet::cells::push_row;
use crate::worksheet::mapping::{Mapping, Meaning, guess};
use crate::worksheet::{Defaults, Row, read_choosing};

/// Who took a reading of a plain file: the file need not say, and no list says who may.
const NOBODY: &str = "not stated";

/// The last instant that is taken: 9999-12-31. A plain file is read whenever it is read.
const LAST_MS: i64 = 253_402_214_400_000;

/// One row with its judgement.
#[derive(Debug, Clone, Serialize)]
pub struct JudgedRow {
    /// Its line in the file.
    pub line: u64,
    /// The judgement; its time is empty where the row has none.
    pub judged: Judged,
}

/// How many rows came to each word.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct Counts {
    /// Inside, surely enough.
    pub accept: usize,
    /// Outside, surely enough.
    pub reject: usize,
    /// Too close to call.
    pub cannot_tell: usize,
    /// Nothing to judge by.
    pub not_judged: usize,
}

/// The judged rows.
#[derive(Debug, Clone, Serialize)]
pub struct JudgeAnswer {
    /// How many of each.
    pub counts: Counts,
    /// The rows, worst first: by word, then by probability of conformity, then as in the file.
    pub rows: Vec<JudgedRow>,
}

impl JudgeAnswer {
    /// The rows as a sheet, worst first.
    #[must_use]
    pub fn csv(&self) -> String {
        let mut csv =
            "piece,characteristic,position,value,judgement,probability,reason\n".to_owned();
        for JudgedRow { judged: j, .. } in &self.rows {
            let probability = j.probability.map_or_else(String::new, |p| format!("{p:.4}"));
            let word = j.word.text().to_lowercase();
            let texts = [
                j.piece.as_str(),
                &j.characteristic,
                &j.position,
                &j.received,
                &word,
                &probability,
                &j.reason,
            ];
            push_row(&mut csv, &texts);
        }
        csv
    }
}

/// Judges every row of a sheet by the characteristics, gauges and decision rule of `limits`, a part
/// of a works file. The sheet is as for importing, in either form; it need not say who or when.
/// Each file is given with the name that faults call it by.
///
/// # Errors
/// [`PlainFault`] with every row that is refused, or every fault of the limits; then nothing is
/// judged.
pub fn judge(csv: (&str, &[u8]), limits: (&str, &str)) -> Result<JudgeAnswer, PlainFault> {
    let (mut plan, ()) = parse_partial(limits.0, limits.1, &[], |_, _| Some(()))?;
    let nobody = Person { id: NOBODY.to_owned(), name: NOBODY.to_owned(), roles: Vec::new() };
    plan.people.insert(NOBODY.to_owned(), nobody);
    let defaults = Defaults {
        at: Some(0),
        person: Some(NOBODY.to_owned()),
        source: csv.0.to_owned(),
        now: LAST_MS,
        ..Defaults::default()
    };
    let mut faults = Faults::of(csv.0);
    let mut rows = Vec::new();
    let mut each = |row| match row {
        Row::Taken { line, readings, timed } => {
            rows.extend(readings.iter().map(|reading| {
                let mut judged = judged(&plan, 0, reading);
                if !timed {
                    (judged.at, judged.at_ms) = (String::new(), 0);
                }
                judged.person = String::new();
                JudgedRow { line, judged }
            }));
        }
        Row::Refused(row) => faults.add_refused(&row),
    };
    let mut choose = |headings: &[String]| without_people(&plan, headings);
    let read = read_choosing(csv.1, &plan, &mut choose, &defaults, &mut each);
    if let Err(fault) = read {
        faults.add_sheet_fault(&fault);
    } else if rows.is_empty() && faults.list.is_empty() {
        faults.add(1, 0, "there is no reading in the file; at least one is needed");
    }
    faults.none_or_fault()?;
    rows.sort_by(|a, b| worst_first(a).total_cmp(&worst_first(b)).then(a.line.cmp(&b.line)));
    let count = |word| rows.iter().filter(|r| r.judged.word == word).count();
    let counts = Counts {
        accept: count(Word::Accept),
        reject: count(Word::Reject),
        cannot_tell: count(Word::CannotTell),
        not_judged: count(Word::NotJudged),
    };
    Ok(JudgeAnswer { counts, rows })
}

/// Rank of the word, and within it the probability of conformity, which is at most 1.
fn worst_first(row: &JudgedRow) -> f64 {
    let rank = match row.judged.word {
        Word::Reject => 0.0,
        Word::CannotTell => 2.0,
        Word::NotJudged => 4.0,
        Word::Accept => 6.0,
    };
    rank + row.judged.probability.unwrap_or(1.0)
}

/// What the columns mean, a column of people being passed over.
fn without_people(plan: &Plan, headings: &[String]) -> Option<Mapping> {
    let mut mapping = guess(plan, headings, ',').ok()?;
    for column in mapping.columns.iter_mut().filter(|c| c.meaning == Meaning::Person) {
        column.meaning = Meaning::Ignored;
    }
    Some(mapping)
}
