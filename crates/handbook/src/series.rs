//! Reading a list of numbers: text, one column of a file, or a JSON array.

use bedplate_gauge::calculation::Input;
use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::Unit;
use serde_json::Value as Json;

use crate::grid::{TextRow, begins_like_a_number};
use crate::number::{Bare, LONGEST, Wanted, declared, expected, kind};
use crate::problem::{Place, Problem, Problems, shortened};

/// Numbers in a text, parted by commas, or by semicolons or line ends where commas may be decimal
/// signs; a unit after each, or one after the last for all.
pub(crate) fn text(input: &Input, text: &str, problems: &mut Problems) -> Vec<f64> {
    let text = text.trim().trim_end_matches([',', ';']);
    if text.trim().is_empty() {
        return Vec::new();
    }
    let by_other = text.contains([';', '\n', '\r', '\t']);
    if !by_other && comma_is_unclear(text) {
        problems.push(Problem::CommaUnclear { input: input.name, text: shortened(text) });
        return Vec::new();
    }
    let items: Vec<&str> = if by_other {
        text.split(['\n', '\r', '\t', ';']).map(str::trim).filter(|item| !item.is_empty()).collect()
    } else {
        text.split(',').map(str::trim).collect()
    };
    let bare = unit_after(input, &items).map_or(Bare::Refused, Bare::In);
    let mut numbers = Vec::with_capacity(items.len());
    for (i, item) in items.iter().enumerate() {
        let wanted = Wanted::of(input, Place::Nth(i + 1));
        numbers.extend(problems.note(wanted.text(item, bare)));
    }
    numbers
}

/// The unit that stands once, after the last number, for all of them.
fn unit_after(input: &Input, items: &[&str]) -> Option<&'static Unit> {
    let (last, others) = items.split_last()?;
    if is_bare(last) || !others.iter().all(|item| is_bare(item)) || last.len() > LONGEST {
        return None;
    }
    let unit = declared(input.unit);
    // Where the last number is itself at fault, only that is to be told.
    Some(Quantity::parse(last, unit.dimension).map_or(unit, |quantity| quantity.unit()))
}

/// Whether a number stands without a unit.
fn is_bare(item: &str) -> bool {
    !item.is_empty()
        && item.chars().all(|c| {
            c.is_ascii_digit() || matches!(c, '.' | ',' | '+' | '-' | '−' | 'e' | 'E' | ' ')
        })
}

/// `68,012` may be one number or two: so it is where a single comma stands close between digits and
/// no point shows that the points are the decimal signs, or where close and loose commas are mixed.
fn comma_is_unclear(text: &str) -> bool {
    let mut close = 0_usize;
    let mut loose = 0_usize;
    let mut before = ' ';
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        if c == ',' {
            let after = chars.peek().copied().unwrap_or(' ');
            let between_digits = before.is_ascii_digit() && after.is_ascii_digit();
            if between_digits { close += 1 } else { loose += 1 }
        }
        before = c;
    }
    !text.contains('.') && (close == 1 || (close > 0 && loose > 0))
}

/// Numbers of a file: its only column, the column headed with the input's name, or its only row.
/// A number without a unit is in the unit of the heading, or else in the declared unit.
pub(crate) fn rows(input: &Input, rows: &[TextRow], problems: &mut Problems) -> Vec<f64> {
    let Some(first) = rows.first() else { return Vec::new() };
    let headed = !first.cells.iter().any(|cell| begins_like_a_number(cell));
    let body = if headed { &rows[1..] } else { rows };
    let single_column = rows.iter().all(|row| row.cells.len() == 1);
    let named = first.cells.iter().position(|cell| heading_parts(cell).0 == input.name);
    let (column, heading) = match (headed, named) {
        (true, Some(i)) => (i, first.cells[i].as_str()),
        (true, None) if single_column => (0, first.cells[0].as_str()),
        (false, _) if single_column => (0, ""),
        (false, _) if rows.len() == 1 => return cells(input, first, problems),
        _ => {
            let got = "a file with several columns, none of them headed with the input's name,";
            let (input, expected) = (input.name, expected(input));
            problems.push(Problem::WrongShape { input, place: Place::Whole, got, expected });
            return Vec::new();
        }
    };
    let unit = heading_parts(heading).1.map_or(Some(declared(input.unit)), |unit| {
        problems.note(Wanted::of(input, Place::Row(first.row)).unit_named(unit))
    });
    let Some(unit) = unit else { return Vec::new() };
    let mut numbers = Vec::with_capacity(body.len());
    for row in body {
        let cell = row.cells.get(column).map_or("", String::as_str);
        let wanted = Wanted::of(input, Place::Row(row.row));
        numbers.extend(problems.note(wanted.text(cell, Bare::In(unit))));
    }
    numbers
}

fn cells(input: &Input, row: &TextRow, problems: &mut Problems) -> Vec<f64> {
    let unit = declared(input.unit);
    let mut numbers = Vec::with_capacity(row.cells.len());
    for (i, cell) in row.cells.iter().enumerate() {
        let wanted = Wanted::of(input, Place::Nth(i + 1));
        numbers.extend(problems.note(wanted.text(cell, Bare::In(unit))));
    }
    numbers
}

/// The name and unit of `bore`, `bore [mm]` or `bore (mm)`.
fn heading_parts(cell: &str) -> (&str, Option<&str>) {
    match cell.split_once(['[', '(']) {
        Some((name, unit)) => (name.trim(), Some(unit.trim().trim_end_matches([']', ')']).trim())),
        None => (cell.trim(), None),
    }
}

/// A JSON array of numbers in SI or texts with units, or `{"value": [..], "unit"}`.
pub(crate) fn json(input: &Input, value: &Json, problems: &mut Problems) -> Vec<f64> {
    let whole = Wanted::of(input, Place::Whole);
    match value {
        Json::Array(items) => array(input, items, None, problems),
        Json::Object(object) => match (object.get("value"), object.get("unit")) {
            (Some(Json::Array(items)), Some(Json::String(unit))) if object.len() == 2 => {
                match problems.note(whole.unit_named(unit)) {
                    Some(unit) => array(input, items, Some(unit), problems),
                    None => Vec::new(),
                }
            }
            _ => misshapen(input, "an object other than {\"value\": [..], \"unit\"}", problems),
        },
        other => misshapen(input, kind(other), problems),
    }
}

fn array(
    input: &Input,
    items: &[Json],
    unit: Option<&'static Unit>,
    problems: &mut Problems,
) -> Vec<f64> {
    let mut numbers = Vec::with_capacity(items.len());
    for (i, item) in items.iter().enumerate() {
        let wanted = Wanted::of(input, Place::Nth(i + 1));
        let read = match (item, unit) {
            (Json::Number(number), Some(unit)) => {
                wanted.number_in(number.as_f64().unwrap_or(f64::INFINITY), unit)
            }
            _ => wanted.json(item),
        };
        numbers.extend(problems.note(read));
    }
    numbers
}

fn misshapen(input: &Input, got: &'static str, problems: &mut Problems) -> Vec<f64> {
    let (input, expected) = (input.name, expected(input));
    problems.push(Problem::WrongShape { input, place: Place::Whole, got, expected });
    Vec::new()
}
