//! Refused rows as a file that can be mended and read again.

use super::RefusedRow;
use super::mapping::{Mapping, Meaning};
use super::text::{fields, is_formula};

/// The refused rows under the heading of their file, each followed by its line and why it was
/// refused; both are ignored when the file is read again. A field that a spreadsheet would take for
/// a formula is guarded by an apostrophe, which is taken off again on reading.
#[must_use]
pub fn refused_csv(mapping: &Mapping, refused: &[RefusedRow]) -> String {
    let separator = mapping.separator;
    // A file that was mended before has these columns already.
    let is_kept = |i: usize| {
        mapping.columns.get(i).is_none_or(|c| {
            c.meaning != Meaning::Ignored || !matches!(c.heading.trim(), "line" | "why")
        })
    };
    let mut csv = String::new();
    for (_, column) in mapping.columns.iter().enumerate().filter(|(i, _)| is_kept(*i)) {
        push_field(&mut csv, &column.heading, separator);
    }
    csv.push_str("line");
    csv.push(separator);
    csv.push_str("why\n");
    for row in refused {
        let (cells, _) = fields(&row.text, separator);
        // A row with too few fields stays too short, or it would be taken unmended.
        for (_, cell) in cells.iter().enumerate().filter(|(i, _)| is_kept(*i)) {
            push_field(&mut csv, cell, separator);
        }
        csv.push_str(&row.line.to_string());
        csv.push(separator);
        push_field(&mut csv, &reason_with_place(row), separator);
        csv.pop();
        csv.push('\n');
    }
    csv
}

fn reason_with_place(row: &RefusedRow) -> String {
    match &row.column {
        Some((number, heading)) => format!("column {number} {heading}: {}", row.reason),
        None => row.reason.clone(),
    }
}

/// A field and the separator after it.
pub(super) fn push_field(csv: &mut String, field: &str, separator: char) {
    let is_number = field.strip_prefix(['+', '-']).is_some_and(|digits| {
        digits.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'.' | b','))
    });
    let guard = if is_formula(field) && !is_number { "'" } else { "" };
    // NUL and line breaks cannot be in a field that is read again.
    let plain = field.replace(['\0', '\n', '\r'], " ");
    if plain.contains([separator, '"']) {
        csv.push_str(&format!("\"{guard}{}\"", plain.replace('"', "\"\"")));
    } else {
        csv.push_str(guard);
        csv.push_str(&plain);
    }
    csv.push(separator);
}
