//! The two sheets: blocks with their bores, pistons with diameter and mass.

use std::collections::HashMap;

use bedplate_engine::set::size::{Milligram, Nanometre};
use bedplate_engine::set::{Block, CYLINDERS_MAX, Piston};
use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::{Dimension, Unit};

use crate::plain::{Faults, unit_behind};
use crate::who::nearest;
use crate::worksheet::cells::{CellRow, Cells, figure, read_cells, sound_name};

/// A column of figures.
struct Figures {
    column: usize,
    unit: &'static Unit,
}

/// The unit that a heading says, or `default` if it says none.
fn unit_of(
    text: &str,
    default: &'static str,
    place: (u64, usize),
    faults: &mut Faults<'_>,
) -> Option<&'static Unit> {
    let default = Unit::named(default)?;
    if text.is_empty() {
        return Some(default);
    }
    let unit = Unit::named(text).filter(|u| u.dimension == default.dimension);
    if unit.is_none() {
        let (shown, wanted) = (shortened(text), default.dimension.words());
        let what = format!(
            "\"{shown}\" in the heading is no unit of {wanted}; write one such as {}",
            default.symbol
        );
        faults.add(place.0, place.1, what);
    }
    unit
}

fn shortened(text: &str) -> String {
    text.chars().take(64).collect()
}

/// The sheet, unless it is none.
fn cells(bytes: &[u8], faults: &mut Faults<'_>) -> Option<Cells> {
    read_cells(bytes).map_err(|fault| faults.add_sheet_fault(&fault)).ok()
}

fn unknown_heading(heading: &str, known: &[&str]) -> String {
    let shown = shortened(heading);
    match nearest(&shown, known.iter().copied()) {
        Some(near) => format!("there is no column \"{shown}\" here; did you mean \"{near}\"?"),
        None => {
            format!("there is no column \"{shown}\" here; the columns are {}", known.join(", "))
        }
    }
}

/// The cylinder and the unit of a heading such as `bore1`, `bore 12 (mm)` or `bore3_in`.
fn bore_heading(heading: &str) -> Option<(usize, &str)> {
    let heading = heading.trim();
    let begins = heading.get(..4)?.eq_ignore_ascii_case("bore");
    let rest = heading[4..].trim_start_matches(['_', ' ']);
    let n_digits = rest.bytes().take_while(u8::is_ascii_digit).count();
    let number = rest[..n_digits].parse().ok().filter(|_| begins)?;
    Some((number, unit_behind(rest, &rest[..n_digits])?))
}

fn block_columns(sheet: &Cells, faults: &mut Faults<'_>) -> Option<(usize, Vec<Figures>)> {
    const KNOWN: [&str; 5] = ["block_id", "bore1", "bore2", "bore3", "bore4"];
    let before = faults.list.len();
    let (mut id, mut bores) = (None, HashMap::new());
    for (column, heading) in sheet.headings.iter().enumerate() {
        let place = (sheet.heading_line, column);
        let is_id = ["block_id", "block"].iter().any(|h| heading.trim().eq_ignore_ascii_case(h));
        let twice = if is_id {
            id.replace(column).is_some()
        } else if let Some((number, unit)) = bore_heading(heading) {
            let Some(unit) = unit_of(unit, "mm", place, faults) else { continue };
            bores.insert(number, Figures { column, unit }).is_some()
        } else {
            // Spare separators at the end of the heading do no harm.
            let spare = sheet.headings[column..].iter().all(|h| h.trim().is_empty());
            if !spare {
                faults.add(place.0, place.1, unknown_heading(heading, &KNOWN));
            }
            false
        };
        if twice {
            faults.add(
                place.0,
                column,
                format!("the column \"{}\" is here twice", shortened(heading)),
            );
        }
    }
    if faults.list.len() > before {
        return None;
    }
    if id.is_none() {
        faults.add(sheet.heading_line, 0, "the heading has no column \"block_id\"");
    }
    let n_bores = bores.len();
    let lacking = (1..=n_bores.max(1)).find(|n| !bores.contains_key(n));
    if let Some(lacking) = lacking {
        faults.add(sheet.heading_line, 0, format!("the heading has no column \"bore{lacking}\""));
    } else if n_bores > CYLINDERS_MAX {
        let what = format!("the heading has {n_bores} bores; at most {CYLINDERS_MAX} are taken");
        faults.add(sheet.heading_line, 0, what);
    } else {
        let ordered = (1..=n_bores).filter_map(|n| bores.remove(&n)).collect();
        return id.map(|id| (id, ordered));
    }
    None
}

/// The fields of a row; notes why there are none.
fn fields_of<'r>(row: &'r CellRow, sheet: &Cells, faults: &mut Faults<'_>) -> Option<&'r [String]> {
    match &row.fields {
        Ok(fields) => Some(fields),
        Err((column, reason)) => {
            let heading = column.and_then(|c| sheet.headings.get(c));
            let what =
                heading.map_or_else(|| reason.clone(), |h| format!("{}: {reason}", shortened(h)));
            faults.add(row.line, column.unwrap_or(0), what);
            None
        }
    }
}

/// The pieces of a file, each once.
struct Names<'k> {
    kind: &'k str,
    seen: HashMap<String, u64>,
}

impl<'k> Names<'k> {
    fn of(kind: &'k str) -> Self {
        Self { kind, seen: HashMap::new() }
    }

    fn take(&mut self, id: &str, line: u64, column: usize, faults: &mut Faults<'_>) -> Option<()> {
        let kind = self.kind;
        if id.is_empty() {
            faults.add(line, column, format!("the {kind} has no id; every {kind} needs one"));
            return None;
        }
        if let Err(reason) = sound_name(id) {
            faults.add(line, column, format!("{kind}_id: {reason}"));
            return None;
        }
        if let Some(first) = self.seen.get(id) {
            let what =
                format!("{kind} {id} stands in line {first} already; each {kind} may stand once");
            faults.add(line, column, what);
            return None;
        }
        self.seen.insert(id.to_owned(), line);
        Some(())
    }
}

/// The figure of a column in whole steps.
fn steps(
    fields: &[String],
    column: &Figures,
    line: u64,
    heading: &str,
    faults: &mut Faults<'_>,
) -> Option<i64> {
    let text = fields.get(column.column).map_or("", String::as_str);
    let heading = shortened(heading);
    let read = figure(text, column.unit).and_then(|q| {
        if q.mantissa() <= 0 {
            return Err(format!("\"{text}\" is not above zero"));
        }
        let (limit, whole) = match q.unit().dimension {
            Dimension::Length => (Nanometre::REACH.0, "10 m"),
            _ => (Milligram::REACH.0, "10 t"),
        };
        let steps = millionths(&q).filter(|s| *s <= limit);
        match steps {
            None => Err(format!("\"{text}\" is out of reach; at most {whole} is taken")),
            Some(0) => Err(format!("\"{text}\" is too small to be told from zero")),
            Some(steps) => Ok(steps),
        }
    });
    read.map_err(|why| faults.add(line, column.column, format!("{heading}: {why}"))).ok()
}

/// Reads the blocks.
pub(super) fn read_blocks(bytes: &[u8], faults: &mut Faults<'_>) -> Vec<Block> {
    let Some(sheet) = cells(bytes, faults) else { return Vec::new() };
    let Some((id_column, columns)) = block_columns(&sheet, faults) else { return Vec::new() };
    let mut names = Names::of("block");
    let mut blocks = Vec::new();
    for row in &sheet.rows {
        let Some(fields) = fields_of(row, &sheet, faults) else { continue };
        let id = fields.get(id_column).map_or("", String::as_str);
        let named = names.take(id, row.line, id_column, faults);
        let bores: Vec<Option<i64>> = columns
            .iter()
            .map(|c| steps(fields, c, row.line, &sheet.headings[c.column], faults))
            .collect();
        let bores: Option<Vec<Nanometre>> = bores.into_iter().map(|b| b.map(Nanometre)).collect();
        let (Some(()), Some(bores)) = (named, bores) else { continue };
        match Block::new(id, bores) {
            Ok(block) => blocks.push(block),
            Err(error) => faults.add(row.line, id_column, error.to_string()),
        }
    }
    if sheet.rows.is_empty() {
        faults.add(sheet.heading_line, 0, "there is no block in the file; at least one is needed");
    }
    blocks
}

struct PistonColumns {
    id: usize,
    diameter: Figures,
    mass: Figures,
}

fn piston_columns(sheet: &Cells, faults: &mut Faults<'_>) -> Option<PistonColumns> {
    const KNOWN: [&str; 3] = ["piston_id", "diameter_mm", "mass_g"];
    let before = faults.list.len();
    let (mut id, mut diameter, mut mass) = (None, None, None);
    for (column, heading) in sheet.headings.iter().enumerate() {
        let place = (sheet.heading_line, column);
        let is_id = ["piston_id", "piston"].iter().any(|h| heading.trim().eq_ignore_ascii_case(h));
        let twice = if is_id {
            id.replace(column).is_some()
        } else if let Some(unit) = unit_behind(heading, "diameter") {
            let Some(unit) = unit_of(unit, "mm", place, faults) else { continue };
            diameter.replace(Figures { column, unit }).is_some()
        } else if let Some(unit) = unit_behind(heading, "mass") {
            let Some(unit) = unit_of(unit, "g", place, faults) else { continue };
            mass.replace(Figures { column, unit }).is_some()
        } else {
            let spare = sheet.headings[column..].iter().all(|h| h.trim().is_empty());
            if !spare {
                faults.add(place.0, place.1, unknown_heading(heading, &KNOWN));
            }
            false
        };
        if twice {
            faults.add(
                place.0,
                column,
                format!("the column \"{}\" is here twice", shortened(heading)),
            );
        }
    }
    let lacking = [id.is_none(), diameter.is_none(), mass.is_none()];
    if faults.list.len() == before {
        for (name, _) in KNOWN.iter().zip(lacking).filter(|(_, lacking)| *lacking) {
            faults.add(sheet.heading_line, 0, format!("the heading has no column \"{name}\""));
        }
    }
    let columns = PistonColumns { id: id?, diameter: diameter?, mass: mass? };
    (faults.list.len() == before).then_some(columns)
}

/// Reads the pistons.
pub(super) fn read_pistons(bytes: &[u8], faults: &mut Faults<'_>) -> Vec<Piston> {
    let Some(sheet) = cells(bytes, faults) else { return Vec::new() };
    let Some(columns) = piston_columns(&sheet, faults) else { return Vec::new() };
    let mut names = Names::of("piston");
    let mut pistons = Vec::new();
    for row in &sheet.rows {
        let Some(fields) = fields_of(row, &sheet, faults) else { continue };
        let id = fields.get(columns.id).map_or("", String::as_str);
        let named = names.take(id, row.line, columns.id, faults);
        let mut read = |c: &Figures| steps(fields, c, row.line, &sheet.headings[c.column], faults);
        let (diameter, mass) = (read(&columns.diameter), read(&columns.mass));
        let (Some(()), Some(diameter), Some(mass)) = (named, diameter, mass) else { continue };
        match Piston::new(id, Nanometre(diameter), Milligram(mass)) {
            Ok(piston) => pistons.push(piston),
            Err(error) => faults.add(row.line, columns.id, error.to_string()),
        }
    }
    if sheet.rows.is_empty() {
        faults.add(sheet.heading_line, 0, "there is no piston in the file; at least one is needed");
    }
    pistons
}

/// A length in nanometres or a mass in milligrams, from its digits by whole numbers alone, rounded
/// half away from zero; `None` if that is too large to be written so.
pub(super) fn millionths(quantity: &Quantity) -> Option<i64> {
    let unit = quantity.unit();
    // A metre has 10^9 nanometres, a kilogram 10^6 milligrams.
    let steps = if unit.dimension == Dimension::Length { 9 } else { 6 };
    let power = i32::from(quantity.exponent()) + i32::from(unit.power) + steps;
    let ten = |power: i32| 10_i128.checked_pow(power.unsigned_abs());
    let up = i128::from(quantity.mantissa()).checked_mul(i128::from(unit.numerator))?;
    let (up, below) = if power < 0 {
        // Past 10^38 nothing of 64 bits is left of it.
        let Some(below) = ten(power) else { return Some(0) };
        (up, i128::from(unit.denominator).checked_mul(below)?)
    } else {
        (up.checked_mul(ten(power)?)?, i128::from(unit.denominator))
    };
    let (whole, rest) = (up / below, up % below);
    let away = if below - rest.abs() <= rest.abs() { up.signum() } else { 0 };
    i64::try_from(whole + away).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_come_from_their_digits() {
        let steps = |text: &str| millionths(&text.parse().unwrap());
        assert_eq!(steps("68.0087 mm"), Some(68_008_700));
        // 1 in = 25.4 mm exactly.
        assert_eq!(steps("2.67750 in"), Some(68_008_500));
        assert_eq!(steps("36 µm"), Some(36_000));
        assert_eq!(steps("-0.5 µm"), Some(-500));
        assert_eq!(steps("418.25 g"), Some(418_250));
        assert_eq!(steps("68.00000050 mm"), Some(68_000_001));
        assert_eq!(steps("68.00000049 mm"), Some(68_000_000));
        assert_eq!(steps("999999999999999999 m"), None);
    }

    #[test]
    fn headings_may_name_another_unit() {
        assert_eq!(bore_heading("bore1"), Some((1, "")));
        assert_eq!(bore_heading("Bore 12 (mm)"), Some((12, "mm")));
        assert_eq!(bore_heading("bore3_in"), Some((3, "in")));
        assert_eq!(bore_heading("bore"), None);
        assert_eq!(bore_heading("bore1x"), None);
        assert_eq!(unit_behind("diameter_mm", "diameter"), Some("mm"));
        assert_eq!(unit_behind("massive", "mass"), None);
    }
}
