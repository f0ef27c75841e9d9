//! A calculation described: for `/api/calc`, and as help on a terminal.

use bedplate_gauge::calculation::{Calculation, Column, Input, Shape, Stage};
use serde_json::{Map, Value as Json, json};

use crate::figure::{column_json, heading};
use crate::given::{HOW_INPUTS_ARE_READ, example_text};
use crate::list::all;
use crate::number::{declared, expected, si_symbol};
use crate::range::Range;

/// Everything of the declaration as JSON: name, title, stage, question, inputs, outputs, formula,
/// source, validity, the example as an object that can be sent back, and what it gives.
#[must_use]
pub fn describe(calculation: &Calculation) -> Json {
    let c = calculation;
    let outputs = c.outputs.iter().map(
        |output| json!({ "name": output.name, "unit": output.unit, "meaning": output.meaning }),
    );
    json!({
        "name": c.name,
        "title": c.title,
        "stage": c.stage.name(),
        "question": c.question,
        "inputs": c.inputs.iter().map(|input| input_json(c, input)).collect::<Vec<_>>(),
        "outputs": outputs.collect::<Vec<_>>(),
        "formula": c.formula,
        "source": c.source,
        "validity": c.validity,
        "example": example_json(c),
        "expected": texts_json(c.expected),
    })
}

fn input_json(calculation: &Calculation, input: &Input) -> Json {
    let bound = |bound: Option<(f64, bool)>| {
        bound.map(|(value, itself)| json!({ "value": value, "included": itself }))
    };
    let (words, columns): (&[&str], &[Column]) = match input.shape {
        Shape::Choice(words) => (words, &[]),
        Shape::Table(columns) => (&[], columns),
        Shape::Quantity | Shape::Count | Shape::List => (&[], &[]),
    };
    json!({
        "name": input.name,
        "meaning": input.meaning,
        "shape": shape_name(input.shape),
        "unit": input.unit,
        "json_number_unit": json_number_unit(input),
        "lower": bound(input.lower),
        "upper": bound(input.upper),
        "words": words,
        "columns": columns.iter().map(column_json).collect::<Vec<_>>(),
        "default": input.default,
        "expected": expected(input),
        "example": example_text(calculation, input),
    })
}

/// The unit of a bare JSON number for this input; empty for a plain number and other shapes.
fn json_number_unit(input: &Input) -> &'static str {
    match input.shape {
        Shape::Quantity | Shape::List => si_symbol(declared(input.unit)),
        Shape::Count | Shape::Choice(_) | Shape::Table(_) => "",
    }
}

/// The shape's name in JSON and in tables.
pub(crate) const fn shape_name(shape: Shape) -> &'static str {
    match shape {
        Shape::Quantity => "quantity",
        Shape::Count => "count",
        Shape::Choice(_) => "choice",
        Shape::List => "list",
        Shape::Table(_) => "table",
    }
}

/// The worked example as an object of texts, which can be sent as it is.
pub(crate) fn example_json(calculation: &Calculation) -> Json {
    texts_json(calculation.example)
}

fn texts_json(pairs: &[(&str, &str)]) -> Json {
    let map: Map<String, Json> =
        pairs.iter().map(|(name, text)| ((*name).to_owned(), json!(text))).collect();
    Json::Object(map)
}

/// The list of calculations for a terminal, by stage, with the way inputs are read at its end.
#[must_use]
pub fn list_text() -> String {
    let width = all().iter().map(|c| c.name.chars().count()).max().unwrap_or_default();
    let mut text = String::new();
    for stage in Stage::ALL {
        let of_stage: Vec<_> = all().iter().filter(|c| c.stage == stage).collect();
        if of_stage.is_empty() {
            continue;
        }
        text.push_str(&format!("{}\n", stage.name()));
        for c in of_stage {
            text.push_str(&format!("  {:<width$}  {}\n", c.name, c.question));
        }
        text.push('\n');
    }
    text + HOW_INPUTS_ARE_READ + "\n"
}

/// One calculation for a terminal: what it needs, what it gives, and its example as a command.
#[must_use]
pub fn help_text(calculation: &Calculation) -> String {
    let c = calculation;
    let mut text = format!("{} ({})\n{}\n\nInputs\n", c.title, c.name, c.question);
    let width = c
        .inputs
        .iter()
        .map(|input| input.name)
        .chain(c.outputs.iter().map(|output| output.name))
        .map(|name| name.chars().count())
        .max()
        .unwrap_or_default();
    for input in c.inputs {
        let default = match input.default {
            Some("") => "; may be left out".to_owned(),
            Some(default) => format!("; {default} if left out"),
            None => String::new(),
        };
        text.push_str(&format!("  {:<width$}  {}{default}\n", input.name, expected(input)));
    }
    text.push_str("\nOutputs\n");
    for output in c.outputs {
        let column = Column { name: output.name, unit: output.unit, meaning: output.meaning };
        let unit = heading(&column).replacen(output.name, "", 1);
        text.push_str(&format!("  {:<width$}  {}{unit}\n", output.name, output.meaning));
    }
    text.push_str(&format!("\nFormula  {}\n", c.formula.trim().replace('\n', "\n         ")));
    text.push_str(&format!("Source   {}\nHolds    {}\n", c.source, c.validity));
    text.push_str(&format!("\nExample\n  {}\n", command_line(c)));
    text
}

/// The range of an input in words, for tables; empty where there is none.
pub(crate) fn range_words(input: &Input) -> String {
    let range = Range::of(input);
    if range.is_open() { String::new() } else { range.to_string() }
}

/// The worked example as a command that can be typed.
#[must_use]
pub fn command_line(calculation: &Calculation) -> String {
    let start = format!("bedplate calc {}", calculation.name);
    calculation
        .example
        .iter()
        .fold(start, |line, (name, text)| format!("{line} {name}={}", quoted_for_a_shell(text)))
}

/// Left bare where no shell would touch it, otherwise in the quotes that keep every character.
fn quoted_for_a_shell(text: &str) -> String {
    let harmless = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | '_' | '@' | '/');
    if !text.is_empty() && text.chars().all(harmless) {
        text.to_owned()
    } else if text.contains(['"', '$', '`', '\\', '!']) {
        format!("'{}'", text.replace('\'', "'\\''"))
    } else {
        format!("\"{text}\"")
    }
}
