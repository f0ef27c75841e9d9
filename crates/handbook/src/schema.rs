//! JSON Schema of what a calculation takes and gives, for the OpenAPI description.

use bedplate_gauge::calculation::{Calculation, Column, Input, Shape};
use bedplate_gauge::unit::Unit;
use serde_json::{Map, Value as Json, json};

use crate::describe::example_json;
use crate::given::example_text;
use crate::number::{declared, expected, si_symbol};
use crate::range::Range;

/// `{"request", "response"}`: the schema of the object of inputs and of the answer (JSON Schema
/// 2020-12, which OpenAPI 3.1 uses).
#[must_use]
pub fn schema(calculation: &Calculation) -> Json {
    json!({ "request": request(calculation), "response": response(calculation) })
}

fn request(calculation: &Calculation) -> Json {
    let mut properties = Map::new();
    for input in calculation.inputs {
        properties.insert(input.name.to_owned(), property(calculation, input));
    }
    let needed = calculation.inputs.iter().filter(|input| input.default.is_none());
    json!({
        "type": "object",
        "title": calculation.title,
        "description": calculation.question,
        "properties": properties,
        "required": needed.map(|input| input.name).collect::<Vec<_>>(),
        "additionalProperties": false,
        "examples": [example_json(calculation)],
    })
}

fn property(calculation: &Calculation, input: &Input) -> Json {
    let example = example_text(calculation, input);
    let mut schema = match input.shape {
        Shape::Quantity => quantity(declared(input.unit), Range::of(input), example),
        Shape::Count => count(input),
        Shape::Choice(words) => json!({ "type": "string", "enum": words }),
        Shape::List => list(input, example),
        Shape::Table(columns) => table(columns, example),
    };
    if let Json::Object(schema) = &mut schema {
        schema.insert("description".to_owned(), json!(described(input)));
        if let Some(default) = input.default {
            schema.insert("default".to_owned(), json!(default));
        }
    }
    schema
}

fn described(input: &Input) -> String {
    let si = match input.shape {
        Shape::Quantity | Shape::List if !input.unit.is_empty() => {
            let symbol = si_symbol(declared(input.unit));
            let symbol = if symbol.is_empty() { "1 (so 5 % is 0.05)" } else { symbol };
            format!(". ATTENTION: a number without a unit is in {symbol}")
        }
        _ => String::new(),
    };
    format!("{}{si}", expected(input))
}

/// A bare number in SI, a text with its unit, or a value and its unit.
fn quantity(unit: &'static Unit, range: Range, example: &str) -> Json {
    let mut number = json!({ "type": "number", "description": format!("in {}", si_words(unit)) });
    bound(&mut number, range.in_si(unit));
    json!({ "anyOf": [
        number,
        { "type": "string", "examples": [example] },
        {
            "type": "object",
            "properties": {
                "value": { "type": "number" },
                "unit": { "type": "string", "examples": [unit.symbol] },
            },
            "required": ["value", "unit"],
            "additionalProperties": false,
        },
    ] })
}

fn si_words(unit: &'static Unit) -> &'static str {
    match si_symbol(unit) {
        "" => "1",
        symbol => symbol,
    }
}

fn bound(schema: &mut Json, range: Range) {
    let Json::Object(schema) = schema else { return };
    if let Some((low, itself)) = range.lower {
        schema.insert(if itself { "minimum" } else { "exclusiveMinimum" }.to_owned(), json!(low));
    }
    if let Some((high, itself)) = range.upper {
        schema.insert(if itself { "maximum" } else { "exclusiveMaximum" }.to_owned(), json!(high));
    }
}

fn count(input: &Input) -> Json {
    let mut number = json!({ "type": "integer", "minimum": 0 });
    bound(&mut number, Range::of(input));
    json!({ "anyOf": [number, { "type": "string" }] })
}

fn list(input: &Input, example: &str) -> Json {
    let unit = declared(input.unit);
    json!({ "anyOf": [
        { "type": "array", "items": quantity(unit, Range::of(input), unit.dimension.example()) },
        { "type": "string", "examples": [example] },
        {
            "type": "object",
            "properties": {
                "value": { "type": "array", "items": { "type": "number" } },
                "unit": { "type": "string", "examples": [unit.symbol] },
            },
            "required": ["value", "unit"],
            "additionalProperties": false,
        },
    ] })
}

fn table(columns: &[Column], example: &str) -> Json {
    let cell = |column: &Column| {
        let unit = declared(column.unit);
        let mut cell = quantity(unit, Range::open(column.unit), unit.dimension.example());
        if let Json::Object(cell) = &mut cell {
            cell.insert("description".to_owned(), json!(column.meaning));
        }
        cell
    };
    let names: Vec<&str> = columns.iter().map(|column| column.name).collect();
    let by_name = |value: &dyn Fn(&Column) -> Json| {
        let of = |column: &Column| (column.name.to_owned(), value(column));
        let properties: Map<String, Json> = columns.iter().map(of).collect();
        json!({
            "type": "object",
            "properties": properties,
            "required": names,
            "additionalProperties": false,
        })
    };
    json!({ "anyOf": [
        { "type": "array", "items": by_name(&cell) },
        { "type": "array", "items": {
            "type": "array",
            "prefixItems": columns.iter().map(cell).collect::<Vec<_>>(),
            "minItems": columns.len(),
            "maxItems": columns.len(),
        } },
        by_name(&|column| json!({ "type": "array", "items": cell(column) })),
        { "type": "object", "required": ["columns", "rows"], "properties": {
            "columns": { "type": "array" },
            "rows": { "type": "array", "items": { "type": "array" } },
        } },
        { "type": "string", "examples": [example] },
    ] })
}

fn response(calculation: &Calculation) -> Json {
    let figure = |name: &str, unit: &str, meaning: &str| {
        json!({
            "type": "object",
            "description": meaning,
            "properties": {
                "name": { "const": name },
                "value": { "type": ["number", "string", "array", "object"] },
                // A word in place of a number has no unit.
                "unit": { "enum": if unit.is_empty() { vec![""] } else { vec![unit, ""] } },
                "text": { "type": "string" },
                "meaning": { "type": "string" },
            },
            "required": ["name", "value", "unit", "text", "meaning"],
        })
    };
    let inputs: Vec<Json> =
        calculation.inputs.iter().map(|i| figure(i.name, i.unit, i.meaning)).collect();
    let outputs: Vec<Json> =
        calculation.outputs.iter().map(|o| figure(o.name, o.unit, o.meaning)).collect();
    let text = json!({ "type": "string" });
    json!({
        "type": "object",
        "properties": {
            "calculation": { "const": calculation.name },
            "title": text,
            "inputs": {
                "type": "array",
                "prefixItems": inputs,
                "minItems": inputs.len(),
                "maxItems": inputs.len(),
            },
            // An output that does not apply is left out.
            "outputs": { "type": "array", "items": { "oneOf": outputs } },
            "formula": text,
            "source": text,
            "validity": text,
        },
        "required":
            ["calculation", "title", "inputs", "outputs", "formula", "source", "validity"],
    })
}
