//! Reading a table: CSV, rows in a text, or any of the JSON forms, into rows of numbers.

use bedplate_gauge::calculation::{Column, Input};
use bedplate_gauge::unit::Unit;
use serde_json::{Map, Value as Json};

use crate::grid::{TextRow, begins_like_a_number};
use crate::list::nearest;
use crate::number::{Bare, Wanted, declared, expected, kind};
use crate::problem::{Place, Problem, Problems, Row, shortened};

/// Reads one table; what is wrong goes to `problems`, and then the rows are not to be used.
pub(crate) struct TableReader<'a> {
    pub(crate) input: &'a Input,
    pub(crate) columns: &'static [Column],
    pub(crate) problems: &'a mut Problems,
}

/// Which column a place in a row belongs to, and the unit its heading gives.
type Heading = Option<(usize, Option<&'static Unit>)>;

impl TableReader<'_> {
    /// Rows of text cells, with or without a heading row; a number without a unit is in the unit of
    /// its heading, or else in the column's declared unit.
    pub(crate) fn text(&mut self, rows: &[TextRow]) -> Vec<Vec<f64>> {
        let Some(first) = rows.first() else { return Vec::new() };
        let headed = first.cells.iter().any(|cell| self.column_headed(cell).is_some())
            || !first.cells.iter().any(|cell| begins_like_a_number(cell));
        let (headings, body) = if headed {
            (self.headings(first.row, &first.cells), &rows[1..])
        } else {
            ((0..self.columns.len()).map(|i| Some((i, None))).collect(), rows)
        };
        let read = |this: &mut Self, row: &TextRow| {
            this.row(row.row, &headings, &row.cells, |wanted, cell, unit| {
                wanted.text(cell, Bare::In(unit.unwrap_or(wanted.unit())))
            })
        };
        body.iter().filter_map(|row| read(self, row)).collect()
    }

    /// A table of JSON: an array of objects or of arrays, an object of columns, or
    /// `{"columns", "rows"}` as an answer gives it.
    pub(crate) fn json(&mut self, value: &Json) -> Vec<Vec<f64>> {
        match value {
            Json::Array(rows) => self.json_rows(rows),
            Json::Object(object) => match (object.get("columns"), object.get("rows")) {
                (Some(Json::Array(columns)), Some(Json::Array(rows))) if object.len() == 2 => {
                    self.json_answer(columns, rows)
                }
                _ => self.json_columns(object),
            },
            other => {
                self.misshapen(Place::Whole, kind(other));
                Vec::new()
            }
        }
    }

    fn json_rows(&mut self, rows: &[Json]) -> Vec<Vec<f64>> {
        let plain: Vec<Heading> = (0..self.columns.len()).map(|i| Some((i, None))).collect();
        let mut read = Vec::with_capacity(rows.len());
        for (i, value) in rows.iter().enumerate() {
            let row = Row::Nth(i + 1);
            match value {
                Json::Array(cells) => read.extend(self.row(row, &plain, cells, json_cell)),
                Json::Object(object) => read.extend(self.json_object_row(row, object)),
                other => self.misshapen(Place::Row(row), kind(other)),
            }
        }
        read
    }

    fn json_object_row(&mut self, row: Row, object: &Map<String, Json>) -> Option<Vec<f64>> {
        let names: Vec<&str> = object.keys().map(String::as_str).collect();
        let headings = self.headings(row, &names);
        let cells: Vec<&Json> = object.values().collect();
        self.row(row, &headings, &cells, json_cell)
    }

    fn json_answer(&mut self, columns: &[Json], rows: &[Json]) -> Vec<Vec<f64>> {
        let heading_text = |column: &Json| match column {
            Json::String(name) => name.clone(),
            Json::Object(c) => match (c.get("name"), c.get("unit")) {
                (Some(Json::String(name)), Some(Json::String(unit))) => format!("{name} [{unit}]"),
                (Some(Json::String(name)), None) => name.clone(),
                _ => String::new(),
            },
            _ => String::new(),
        };
        let texts: Vec<String> = columns.iter().map(heading_text).collect();
        let headings = self.headings(Row::Heading, &texts);
        let mut read = Vec::with_capacity(rows.len());
        for (i, value) in rows.iter().enumerate() {
            let row = Row::Nth(i + 1);
            match value {
                Json::Array(cells) => read.extend(self.row(row, &headings, cells, json_cell)),
                other => self.misshapen(Place::Row(row), kind(other)),
            }
        }
        read
    }

    fn json_columns(&mut self, object: &Map<String, Json>) -> Vec<Vec<f64>> {
        let names: Vec<&str> = object.keys().map(String::as_str).collect();
        let headings = self.headings(Row::Heading, &names);
        let mut columns: Vec<&[Json]> = Vec::with_capacity(object.len());
        for value in object.values() {
            match value {
                Json::Array(cells) => columns.push(cells),
                other => {
                    self.misshapen(Place::Whole, kind(other));
                    return Vec::new();
                }
            }
        }
        let longest = columns.iter().map(|cells| cells.len()).max().unwrap_or_default();
        let mut read = Vec::with_capacity(longest);
        for i in 0..longest {
            // A column that ends early lacks its cell in every row after.
            let cells: Vec<&Json> = columns.iter().filter_map(|cells| cells.get(i)).collect();
            let row = Row::Nth(i + 1);
            read.extend(self.row(row, &headings, &cells, json_cell));
        }
        read
    }

    /// The column of each heading; unknown, repeated and missing columns are noted.
    fn headings(&mut self, row: Row, cells: &[impl AsRef<str>]) -> Vec<Heading> {
        let mut headings: Vec<Heading> = Vec::with_capacity(cells.len());
        for cell in cells {
            let heading = self.column_headed(cell.as_ref());
            match heading {
                None => self.unknown_column(row, cell.as_ref()),
                Some((i, _)) if headings.iter().flatten().any(|(j, _)| *j == i) => {
                    let (input, column) = (self.input.name, self.columns[i].name);
                    self.problems.push(Problem::ColumnTwice { input, row, column });
                }
                Some(_) => {}
            }
            headings.push(heading.map(|(i, unit)| (i, self.heading_unit(row, i, unit))));
        }
        for (i, column) in self.columns.iter().enumerate() {
            if !headings.iter().flatten().any(|(j, _)| *j == i) {
                self.problems.push(Problem::MissingColumn {
                    input: self.input.name,
                    row,
                    column: column.name,
                    expected: format!("{}, in {}", column.meaning, unit_words(column.unit)),
                });
            }
        }
        headings
    }

    fn heading_unit(&mut self, row: Row, i: usize, unit: Option<&str>) -> Option<&'static Unit> {
        let wanted = Wanted::cell(self.input, row, &self.columns[i]);
        self.problems.note(wanted.unit_named(unit?))
    }

    /// The column a heading names, and the unit written with it: `radius`, `radius [mm]`,
    /// `radius (mm)`, `radius mm`, `radius_mm`.
    fn column_headed<'t>(&self, text: &'t str) -> Option<(usize, Option<&'t str>)> {
        let text = text.trim();
        self.columns.iter().enumerate().find_map(|(i, column)| {
            let rest = strip_prefix_ignoring_case(text, column.name)?;
            let trimmed = rest.trim_start();
            if trimmed.is_empty() {
                return Some((i, None));
            }
            let inside = |open, close| trimmed.strip_prefix(open)?.strip_suffix(close);
            let bracketed = inside('[', ']').or_else(|| inside('(', ')'));
            let unit = bracketed.or_else(|| {
                let apart = rest.strip_prefix('_').or_else(|| rest.strip_prefix(' '))?;
                Unit::named(apart).map(|_| apart)
            })?;
            Some((i, Some(unit.trim())))
        })
    }

    fn row<C>(
        &mut self,
        row: Row,
        headings: &[Heading],
        cells: &[C],
        read: impl Fn(&Wanted, &C, Option<&'static Unit>) -> Result<f64, Box<Problem>>,
    ) -> Option<Vec<f64>> {
        if cells.len() != headings.len() {
            self.problems.push(Problem::WrongCellCount {
                input: self.input.name,
                row,
                got: cells.len(),
                wanted: headings.len(),
                known: self.column_names(),
            });
            return None;
        }
        let mut numbers = vec![None; self.columns.len()];
        for (heading, cell) in headings.iter().zip(cells) {
            if let Some((i, unit)) = heading {
                let wanted = Wanted::cell(self.input, row, &self.columns[*i]);
                numbers[*i] = self.problems.note(read(&wanted, cell, *unit));
            }
        }
        numbers.into_iter().collect()
    }

    fn column_names(&self) -> Vec<&'static str> {
        self.columns.iter().map(|c| c.name).collect()
    }

    fn unknown_column(&mut self, row: Row, text: &str) {
        let known = self.column_names();
        self.problems.push(Problem::UnknownColumn {
            input: self.input.name,
            row,
            column: shortened(text),
            nearest: nearest(text, known.iter().copied()),
            known,
        });
    }

    fn misshapen(&mut self, place: Place, got: &'static str) {
        let (input, expected) = (self.input.name, expected(self.input));
        self.problems.push(Problem::WrongShape { input, place, got, expected });
    }
}

fn json_cell<C: std::borrow::Borrow<Json>>(
    wanted: &Wanted,
    cell: &C,
    unit: Option<&'static Unit>,
) -> Result<f64, Box<Problem>> {
    match (cell.borrow(), unit) {
        (Json::Number(number), Some(unit)) => {
            wanted.number_in(number.as_f64().unwrap_or(f64::INFINITY), unit)
        }
        (Json::String(text), Some(unit)) => wanted.text(text, Bare::In(unit)),
        (cell, _) => wanted.json(cell),
    }
}

fn unit_words(symbol: &'static str) -> &'static str {
    if symbol.is_empty() { "plain numbers" } else { declared(symbol).symbol }
}

fn strip_prefix_ignoring_case<'t>(text: &'t str, prefix: &str) -> Option<&'t str> {
    let head = text.get(..prefix.len())?;
    if head.eq_ignore_ascii_case(prefix) { text.get(prefix.len()..) } else { None }
}
