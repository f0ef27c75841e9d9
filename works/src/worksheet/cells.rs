//! A sheet as bare texts: what its columns mean is its caller's affair.

use std::io::Read;

use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::Unit;

use super::check::{Field, NAME_CHARS_MAX, power_of_ten_is_absurd, sound_text};
use super::refused::push_field;
use super::text::{Lines, fields};
use super::{SheetFault, Wrong, heading, right_number_of_fields, row_text};

/// A sheet with all its rows.
pub(crate) struct Cells {
    /// The heading's line, from 1.
    pub(crate) heading_line: u64,
    /// The headings in order.
    pub(crate) headings: Vec<String>,
    /// Its rows; empty ones are left out.
    pub(crate) rows: Vec<CellRow>,
}

/// One row.
pub(crate) struct CellRow {
    /// Its line in the file, from 1.
    pub(crate) line: u64,
    /// Its fields, one for each heading; or the column that is wrong, from 0, and why.
    pub(crate) fields: Result<Vec<String>, Wrong>,
}

/// Reads a sheet: comma, semicolon or tab, any line ends, with or without a byte order mark.
///
/// # Errors
/// [`SheetFault`] if the file is no sheet at all; a row at fault is in its place.
pub(crate) fn read_cells(input: impl Read) -> Result<Cells, SheetFault> {
    let mut lines = Lines::of(input);
    let head = heading(&mut lines)?;
    let names: Vec<&str> = head.fields.iter().map(String::as_str).collect();
    let mut rows = Vec::new();
    let mut last = head.line;
    loop {
        let broken = |cause| SheetFault::Broken { line: last + 1, cause };
        let Some(line) = lines.next_line().map_err(broken)? else { break };
        last = line.number;
        let text = match row_text(&line) {
            Ok(text) => text,
            Err(reason) => {
                rows.push(CellRow { line: line.number, fields: Err((None, reason)) });
                continue;
            }
        };
        let (parted, fault) = fields(text, head.separator);
        if parted.iter().all(|c| c.is_empty()) && fault.is_none() {
            continue;
        }
        let sound = match fault {
            Some(fault) => Err((Some(fault.field()), fault.reason().to_owned())),
            None => right_number_of_fields(&parted, &names, head.separator),
        };
        let texts = parted.iter().take(names.len()).map(|c| c.clone().into_owned());
        rows.push(CellRow { line: line.number, fields: sound.map(|()| texts.collect()) });
    }
    Ok(Cells { heading_line: head.line, headings: head.fields, rows })
}

/// A figure, with or without its unit; `default` is the unit of one without.
///
/// # Errors
/// Why it is none, in words.
pub(crate) fn figure(text: &str, default: &'static Unit) -> Result<Quantity, String> {
    let n_chars = text.chars().count();
    if n_chars > NAME_CHARS_MAX {
        return Err(format!("it is {n_chars} characters long; at most {NAME_CHARS_MAX} are taken"));
    }
    if power_of_ten_is_absurd(text) {
        return Err(format!("\"{text}\" is larger or smaller than a figure can be"));
    }
    Quantity::parse_in(text, default).map_err(|e| e.to_string())
}

/// Whether a text can be the number of a piece.
///
/// # Errors
/// Why not, in words.
pub(crate) fn sound_name(text: &str) -> Result<(), String> {
    sound_text(Field::Piece, text).map_err(|refusal| refusal.reason)
}

/// Adds one row to a sheet that a spreadsheet may open: fields parted by commas, quoted where they
/// must be, guarded where they would be taken for a formula.
pub(crate) fn push_row(csv: &mut String, texts: &[&str]) {
    for text in texts {
        push_field(csv, text, ',');
    }
    csv.pop();
    csv.push('\n');
}
