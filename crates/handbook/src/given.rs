//! Reading the inputs of a calculation from texts or from JSON.
//!
//! **Units.** A text carries its unit: `68.0087 mm`, `2.6772 in`, `68012 µm`; without one it is
//! refused, unless the input is a plain number. **A bare JSON number is in the SI-coherent unit**:
//! metres for a length, kilograms for a mass, pascals, kelvins, radians per second; `68.0087` for a
//! bore would be 68 metres. Only a table or list out of CSV text takes bare numbers in the unit of
//! its heading (`radius [mm]`, `radius_mm`) or, without one, in the declared unit of the column.
//!
//! **Shapes.** Lists: `1.2, 1.3, 1.4 mm`, `1,2; 1,3; 1,4 mm`, `@readings.csv`, a JSON array, or
//! `{"value": [1.2, 1.3], "unit": "mm"}`. Tables: `radius, angle; 30 mm, 0°; 30 mm, 180°`, pasted
//! CSV, `@holes.csv`, a JSON array of objects or of arrays, an object of columns, or
//! `{"columns", "rows"}` as answers give them. Files are read by the closure handed in.

use std::collections::BTreeMap;

use bedplate_gauge::calculation::{Argument, Calculation, Column, Given, Input, Shape, Value};
use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::Dimension;
use serde_json::Value as Json;

use crate::figure::{exact_text, value_text};
use crate::grid::{file_rows, text_rows};
use crate::list::nearest;
use crate::number::{LONGEST, expected, kind};
use crate::problem::{Place, Problem, Problems, shortened};
use crate::range::Range;
use crate::series;
use crate::table::TableReader;

/// How inputs are read, for help texts and the list of calculations.
pub const HOW_INPUTS_ARE_READ: &str = "\
Text carries its unit: bore=\"68.0087 mm\", \"2.6772 in\", \"68012 µm\"; point or comma decimal.
Lists: readings=\"1.2, 1.3, 1.4 mm\", or \"1,2; 1,3; 1,4 mm\", or @readings.csv.
Tables: holes=@holes.csv, or \"radius, angle; 30 mm, 0°; 30 mm, 180°\".
CSV numbers without a unit are in the unit of their heading (radius_mm, radius [mm]), else in the
unit the calculation declares.
ATTENTION, JSON: a bare number is in SI, so a length is in METRES and a temperature in KELVIN.
These three are the same: {\"bore\": \"68.0087 mm\"}, {\"bore\": 0.0680087},
{\"bore\": {\"value\": 68.0087, \"unit\": \"mm\"}}.";

/// Reads a file that an input names after `@`. The caller decides what may be read; the reason for
/// a refusal stands in the message.
pub type Files<'a> = dyn Fn(&str) -> Result<Vec<u8>, String> + 'a;

/// An input as received.
#[derive(Debug, Clone, Copy)]
enum Received<'a> {
    Text(&'a str),
    Json(&'a Json),
}

/// Reads `name=value` texts of a command line.
///
/// # Errors
/// Everything that is wrong, not only the first: [`Problems`].
pub fn from_arguments(
    calculation: &Calculation,
    arguments: &[impl AsRef<str>],
    files: &Files<'_>,
) -> Result<Given, Problems> {
    let mut problems = Problems::default();
    let mut pairs = Vec::with_capacity(arguments.len());
    for argument in arguments {
        match argument.as_ref().split_once('=') {
            Some((name, value)) => pairs.push((name.trim(), Received::Text(value))),
            None => problems.push(Problem::NotNameAndValue {
                text: shortened(argument.as_ref()),
                example: example_argument(calculation),
            }),
        }
    }
    Reader { calculation, files, problems }.read(&pairs)
}

/// Reads pairs of name and text, as of a form. An empty text counts as not given.
///
/// # Errors
/// Everything that is wrong, not only the first: [`Problems`].
pub fn from_texts(
    calculation: &Calculation,
    pairs: &[(impl AsRef<str>, impl AsRef<str>)],
    files: &Files<'_>,
) -> Result<Given, Problems> {
    let pairs: Vec<(&str, Received<'_>)> =
        pairs.iter().map(|(n, text)| (n.as_ref(), Received::Text(text.as_ref()))).collect();
    Reader { calculation, files, problems: Problems::default() }.read(&pairs)
}

/// Reads an object of JSON: bare numbers are SI, texts carry units. `null` counts as not given.
///
/// # Errors
/// Everything that is wrong, not only the first: [`Problems`].
pub fn from_json(
    calculation: &Calculation,
    value: &Json,
    files: &Files<'_>,
) -> Result<Given, Problems> {
    let mut problems = Problems::default();
    let Json::Object(object) = value else {
        let example = crate::describe::example_json(calculation);
        problems.push(Problem::NotAnObject { got: kind(value), example });
        return Err(problems);
    };
    let pairs: Vec<(&str, Received<'_>)> =
        object.iter().map(|(name, value)| (name.as_str(), received(value))).collect();
    Reader { calculation, files, problems }.read(&pairs)
}

/// Inputs written out so that [`from_texts`] reads the same numbers again, in the declared order:
/// to open a calculation's page filled with the figures used.
#[must_use]
pub fn to_texts(calculation: &Calculation, given: &Given) -> Vec<(&'static str, String)> {
    let text = |input: &Input| {
        let argument = given.0.get(input.name)?;
        Some((input.name, value_text(&shown(input, argument), input.unit, exact_text)))
    };
    calculation.inputs.iter().filter_map(text).collect()
}

/// For callers that read no files, such as the web: refuses every one.
///
/// # Errors
/// Always, with the reason in words.
pub fn no_files(_path: &str) -> Result<Vec<u8>, String> {
    Err("files are read on the command line only; give the rows themselves".to_owned())
}

/// An argument as a value, for writing.
pub(crate) fn shown(input: &Input, argument: &Argument) -> Value {
    match (argument, input.shape) {
        (Argument::Number(x), _) => Value::Figure(*x),
        (Argument::Count(n), _) => Value::Count(*n),
        (Argument::Word(word), _) => Value::Word((*word).to_owned()),
        (Argument::List(numbers), _) => Value::List(numbers.clone()),
        (Argument::Table(rows), Shape::Table(columns)) => Value::Table(columns, rows.clone()),
        (Argument::Table(rows), _) => Value::Table(&[], rows.clone()),
    }
}

/// How `input` is written in the worked example, or its default, or a quantity of its kind.
pub(crate) fn example_text(calculation: &Calculation, input: &Input) -> &'static str {
    let written = calculation.example.iter().find(|(name, _)| *name == input.name);
    match (written, input.default, input.shape) {
        (Some((_, text)), _, _) => text,
        (None, Some(text), _) if !text.is_empty() => text,
        (None, _, Shape::Choice(words)) => words.first().copied().unwrap_or_default(),
        (None, _, Shape::Count) => "1",
        _ => input.dimension().example(),
    }
}

fn example_argument(calculation: &Calculation) -> String {
    calculation.inputs.first().map_or_else(
        || "name=\"value\"".to_owned(),
        |input| format!("{}=\"{}\"", input.name, example_text(calculation, input)),
    )
}

struct Reader<'a> {
    calculation: &'a Calculation,
    files: &'a Files<'a>,
    problems: Problems,
}

impl Reader<'_> {
    fn read(mut self, pairs: &[(&str, Received<'_>)]) -> Result<Given, Problems> {
        let mut given = BTreeMap::new();
        for input in self.calculation.inputs {
            let mut received = pairs.iter().filter(|(name, _)| *name == input.name);
            let first = received.next().map(|(_, received)| *received).filter(is_written);
            if received.next().is_some() {
                self.problems.push(Problem::GivenTwice { input: input.name });
            }
            let Some(received) = first.or_else(|| input.default.map(Received::Text)) else {
                self.problems.push(Problem::Missing {
                    input: input.name,
                    expected: expected(input),
                    example: example_text(self.calculation, input),
                });
                continue;
            };
            let argument = self.argument(input, received);
            given.extend(argument.map(|argument| (input.name, argument)));
        }
        self.note_unknown(pairs);
        if self.problems.count() == 0 { Ok(Given(given)) } else { Err(self.problems) }
    }

    fn note_unknown(&mut self, pairs: &[(&str, Received<'_>)]) {
        let known: Vec<&'static str> = self.calculation.inputs.iter().map(|i| i.name).collect();
        for (name, _) in pairs.iter().filter(|(name, _)| !known.contains(name)) {
            self.problems.push(Problem::UnknownInput {
                name: shortened(name),
                nearest: nearest(name, known.iter().copied()),
                known: known.clone(),
            });
        }
    }

    fn argument(&mut self, input: &Input, received: Received<'_>) -> Option<Argument> {
        let before = self.problems.count();
        let argument = match input.shape {
            Shape::Quantity => {
                let wanted = crate::number::Wanted::of(input, Place::Whole);
                let read = match received {
                    Received::Text(text) => wanted.text(text, crate::number::Bare::Refused),
                    Received::Json(value) => wanted.json(value),
                };
                Argument::Number(self.problems.note(read)?)
            }
            Shape::Count => Argument::Count(self.problems.note(count(input, received))?),
            Shape::Choice(words) => {
                Argument::Word(self.problems.note(word(input, words, received))?)
            }
            Shape::List => Argument::List(self.list(input, received)),
            Shape::Table(columns) => Argument::Table(self.table(input, columns, received)),
        };
        if self.problems.count() > before {
            return None;
        }
        let empty = match &argument {
            Argument::List(numbers) => numbers.is_empty(),
            Argument::Table(rows) => rows.is_empty(),
            Argument::Number(_) | Argument::Count(_) | Argument::Word(_) => false,
        };
        if empty && input.default != Some("") {
            self.problems.push(Problem::Empty { input: input.name, expected: expected(input) });
            return None;
        }
        Some(argument)
    }

    fn list(&mut self, input: &Input, received: Received<'_>) -> Vec<f64> {
        let text = match received {
            Received::Text(text) => text,
            Received::Json(value) => return series::json(input, value, &mut self.problems),
        };
        if !text.trim_start().starts_with('@') {
            return series::text(input, text, &mut self.problems);
        }
        match self.problems.note(file_rows(input.name, text, self.files)) {
            Some(rows) => series::rows(input, &rows, &mut self.problems),
            None => Vec::new(),
        }
    }

    fn table(
        &mut self,
        input: &Input,
        columns: &'static [Column],
        received: Received<'_>,
    ) -> Vec<Vec<f64>> {
        let text = match received {
            Received::Text(text) => text,
            Received::Json(value) => {
                return TableReader { input, columns, problems: &mut self.problems }.json(value);
            }
        };
        let rows = if text.trim_start().starts_with('@') {
            self.problems.note(file_rows(input.name, text, self.files)).unwrap_or_default()
        } else {
            text_rows(text)
        };
        TableReader { input, columns, problems: &mut self.problems }.text(&rows)
    }
}

/// A text in JSON is read like any other text.
fn received(value: &Json) -> Received<'_> {
    match value {
        Json::String(text) => Received::Text(text),
        value => Received::Json(value),
    }
}

fn is_written(received: &Received<'_>) -> bool {
    match received {
        Received::Text(text) => !text.trim().is_empty(),
        Received::Json(value) => !value.is_null(),
    }
}

/// Largest count: beyond it a whole number is no longer exact in JSON.
const LARGEST_COUNT: f64 = 9_007_199_254_740_991.0;

fn count(input: &Input, received: Received<'_>) -> Result<u64, Box<Problem>> {
    let no_count = |text: &str| {
        let (input, expected) = (input.name, expected(input));
        Box::new(Problem::NotAWholeNumber { input, text: shortened(text), expected })
    };
    let value = match received {
        Received::Text(text) => {
            if text.len() > LONGEST {
                return Err(no_count(text));
            }
            let read = Quantity::parse(text, Dimension::Number).ok();
            let plain = read.filter(|quantity| quantity.unit().symbol.is_empty());
            plain.ok_or_else(|| no_count(text))?.number()
        }
        Received::Json(Json::Number(number)) => number.as_f64().unwrap_or(f64::INFINITY),
        Received::Json(other) => {
            return Err(Box::new(Problem::WrongShape {
                input: input.name,
                place: Place::Whole,
                got: kind(other),
                expected: expected(input),
            }));
        }
    };
    let range = Range { lower: input.lower.or(Some((0.0, true))), ..Range::of(input) };
    let largest = Range { lower: None, upper: Some((LARGEST_COUNT, true)), unit: "" };
    for range in [range, largest] {
        if !range.holds(value) {
            let (input, meaning) = (input.name, input.meaning);
            return Err(Box::new(Problem::OutOfRange {
                input,
                place: Place::Whole,
                value,
                range,
                meaning,
            }));
        }
    }
    if value.fract() != 0.0 || value < 0.0 {
        return Err(no_count(&exact_text(value)));
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked above")]
    Ok(value as u64)
}

fn word(
    input: &Input,
    words: &'static [&'static str],
    received: Received<'_>,
) -> Result<&'static str, Box<Problem>> {
    let text = match received {
        Received::Text(text) => text.trim(),
        Received::Json(other) => {
            return Err(Box::new(Problem::WrongShape {
                input: input.name,
                place: Place::Whole,
                got: kind(other),
                expected: expected(input),
            }));
        }
    };
    let exact = words.iter().find(|word| **word == text);
    let loose = || words.iter().find(|word| word.to_lowercase() == text.to_lowercase());
    exact.or_else(loose).copied().ok_or_else(|| {
        let nearest = nearest(text, words.iter().copied());
        let (input, meaning, text) = (input.name, input.meaning, shortened(text));
        Box::new(Problem::UnknownWord { input, text, words, nearest, meaning })
    })
}
