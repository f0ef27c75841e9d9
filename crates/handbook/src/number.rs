//! Reading one number: text with a unit, or a JSON number in SI, into the declared unit.

use bedplate_gauge::calculation::{Column, Input, Shape};
use bedplate_gauge::quantity::{Quantity, QuantityError};
use bedplate_gauge::unit::{Dimension, UNITS, Unit};
use serde_json::Value as Json;

use crate::figure::heading;
use crate::problem::{Place, Problem, Row, shortened};
use crate::range::Range;

/// Longest text read as one value, in bytes; the longest honest one is far shorter.
pub(crate) const LONGEST: usize = 200;

/// How a number without a unit is taken.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Bare {
    /// As a fault, unless the input is a plain number.
    Refused,
    /// As being in this unit.
    In(&'static Unit),
}

/// Where a number is wanted: the declaration it must answer to and its place in the input.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Wanted {
    pub(crate) input: &'static str,
    pub(crate) place: Place,
    unit: &'static Unit,
    meaning: &'static str,
    range: Range,
}

impl Wanted {
    /// A number of `input` itself, or of its list.
    pub(crate) fn of(input: &Input, place: Place) -> Self {
        let unit = declared(input.unit);
        let range = Range::of(input);
        Self { input: input.name, place, unit, meaning: input.meaning, range }
    }

    /// A cell of the table `input`.
    pub(crate) fn cell(input: &Input, row: Row, column: &Column) -> Self {
        Self {
            input: input.name,
            place: Place::Cell { row, column: column.name },
            unit: declared(column.unit),
            meaning: column.meaning,
            range: Range::open(column.unit),
        }
    }

    pub(crate) const fn unit(&self) -> &'static Unit {
        self.unit
    }

    fn expected(&self) -> String {
        number_expected(self.meaning, self.unit, &self.range)
    }

    /// `text` in the declared unit, checked against the range.
    pub(crate) fn text(&self, text: &str, bare: Bare) -> Result<f64, Box<Problem>> {
        if text.len() > LONGEST {
            return Err(Box::new(Problem::TooLong {
                input: self.input,
                place: self.place,
                length: text.chars().count(),
                expected: self.expected(),
            }));
        }
        let read = match bare {
            Bare::Refused => Quantity::parse(text, self.unit.dimension),
            Bare::In(unit) => Quantity::parse_in(text, unit),
        };
        let quantity = read.map_err(|fault| self.no_quantity(fault))?;
        self.quantity(&quantity, text)
    }

    /// A number of the SI-coherent unit, in the declared unit, checked against the range.
    pub(crate) fn si(&self, value: f64) -> Result<f64, Box<Problem>> {
        let exact = si_unit(self.unit.dimension)
            .and_then(|si| Quantity::parse_in(&format!("{value:e}"), si).ok())
            .and_then(|quantity| quantity.in_unit(self.unit));
        self.checked(exact.unwrap_or_else(|| value / self.unit.factor() - self.unit.offset), value)
    }

    /// A JSON number in `unit`, in the declared unit, checked against the range.
    pub(crate) fn number_in(&self, value: f64, unit: &'static Unit) -> Result<f64, Box<Problem>> {
        if unit == self.unit {
            return self.checked(value, value);
        }
        match Quantity::parse_in(&format!("{value:e}"), unit) {
            Ok(quantity) => self.quantity(&quantity, &quantity.to_string()),
            // Too many digits for a decimal as received; the unit was already found to fit.
            Err(_) => {
                let si = (value + unit.offset) * unit.factor();
                self.checked(si / self.unit.factor() - self.unit.offset, value)
            }
        }
    }

    /// A unit written apart from its numbers, such as in a heading.
    pub(crate) fn unit_named(&self, text: &str) -> Result<&'static Unit, Box<Problem>> {
        let symbol = shortened(text);
        let probe = if symbol.trim().is_empty() { "1".to_owned() } else { format!("1 {symbol}") };
        Quantity::parse(&probe, self.unit.dimension)
            .map(|quantity| quantity.unit())
            .map_err(|fault| self.no_quantity(fault))
    }

    /// A JSON value: a number in SI, text with a unit, or `{"value", "unit"}`.
    pub(crate) fn json(&self, value: &Json) -> Result<f64, Box<Problem>> {
        match value {
            Json::Number(number) => self.si(number.as_f64().unwrap_or(f64::INFINITY)),
            Json::String(text) => self.text(text, Bare::Refused),
            Json::Object(object) => match (object.get("value"), object.get("unit")) {
                (Some(Json::Number(number)), Some(Json::String(unit))) if object.len() == 2 => {
                    let unit = self.unit_named(unit)?;
                    self.number_in(number.as_f64().unwrap_or(f64::INFINITY), unit)
                }
                _ => Err(self.misshapen("an object other than {\"value\", \"unit\"}")),
            },
            other => Err(self.misshapen(kind(other))),
        }
    }

    fn quantity(&self, quantity: &Quantity, text: &str) -> Result<f64, Box<Problem>> {
        let unit = quantity.unit();
        // Hardness scales share a dimension but no conversion: 52 HRC is not 52 HV.
        if unit.dimension == Dimension::Hardness && unit != self.unit {
            return Err(Box::new(Problem::OtherScale {
                input: self.input,
                place: self.place,
                text: shortened(text),
                got: unit.symbol,
                wanted: self.unit.symbol,
                expected: self.expected(),
            }));
        }
        let value = quantity.in_unit(self.unit).unwrap_or(f64::NAN);
        self.checked(value, quantity.number())
    }

    fn checked(&self, value: f64, received: f64) -> Result<f64, Box<Problem>> {
        if !value.is_finite() {
            return Err(Box::new(Problem::NotFinite {
                input: self.input,
                place: self.place,
                value: received,
                expected: self.expected(),
            }));
        }
        if !self.range.holds(value) {
            return Err(Box::new(Problem::OutOfRange {
                input: self.input,
                place: self.place,
                value,
                range: self.range,
                meaning: self.meaning,
            }));
        }
        Ok(value)
    }

    fn no_quantity(&self, fault: QuantityError) -> Box<Problem> {
        Box::new(Problem::NotAQuantity {
            input: self.input,
            place: self.place,
            fault: without_long_text(fault),
            expected: self.expected(),
        })
    }

    fn misshapen(&self, got: &'static str) -> Box<Problem> {
        let (input, place) = (self.input, self.place);
        Box::new(Problem::WrongShape { input, place, got, expected: self.expected() })
    }
}

fn without_long_text(fault: QuantityError) -> QuantityError {
    use QuantityError as Q;
    match fault {
        Q::NotANumber { text, expected } => Q::NotANumber { text: shortened(&text), expected },
        Q::UnitMissing { text, expected } => Q::UnitMissing { text: shortened(&text), expected },
        Q::UnitUnknown { text, unit, nearest } => {
            Q::UnitUnknown { text: shortened(&text), unit: shortened(&unit), nearest }
        }
        Q::OutOfRange { text } => Q::OutOfRange { text: shortened(&text) },
        Q::TwoDecimalSigns { text } => Q::TwoDecimalSigns { text: shortened(&text) },
        other @ (Q::Empty { .. } | Q::WrongDimension { .. }) => other,
    }
}

/// The unit of a declaration.
pub(crate) fn declared(symbol: &str) -> &'static Unit {
    Unit::named(symbol).expect("a declared unit exists; a test walks every declaration")
}

/// The SI-coherent unit of `dimension`, if the table of units has it.
fn si_unit(dimension: Dimension) -> Option<&'static Unit> {
    UNITS.iter().find(|u| {
        u.dimension == dimension
            && (u.numerator, u.denominator, u.power) == (1, 1, 0)
            && !u.times_pi
            && u.offset == 0.0
    })
}

/// Symbol of the unit in which a bare JSON number is taken where `unit` is declared.
pub(crate) fn si_symbol(unit: &'static Unit) -> &'static str {
    match unit.dimension {
        Dimension::SpecificConsumption => "kg/J",
        Dimension::HeatingValue => "J/kg",
        // A scale of hardness converts to nothing, so it is its own.
        Dimension::Hardness => unit.symbol,
        dimension => si_unit(dimension).map_or("SI", |si| si.symbol),
    }
}

/// What a value of JSON is, for messages.
pub(crate) const fn kind(value: &Json) -> &'static str {
    match value {
        Json::Null => "null",
        Json::Bool(_) => "true or false",
        Json::Number(_) => "a number",
        Json::String(_) => "a text",
        Json::Array(_) => "an array",
        Json::Object(_) => "an object",
    }
}

fn number_expected(meaning: &str, unit: &Unit, range: &Range) -> String {
    let in_unit = if unit.symbol.is_empty() {
        "a plain number".to_owned()
    } else {
        format!("{} ({})", unit.dimension.words(), unit.symbol)
    };
    if range.is_open() {
        format!("{meaning}, {in_unit}")
    } else {
        format!("{meaning}, {in_unit}, {range}")
    }
}

/// What an input is, in one sentence: meaning, shape, unit, range.
pub(crate) fn expected(input: &Input) -> String {
    let range = Range::of(input);
    let meaning = input.meaning;
    match input.shape {
        Shape::Quantity => number_expected(meaning, declared(input.unit), &range),
        Shape::Count if range.is_open() => format!("{meaning}, a whole number"),
        Shape::Count => format!("{meaning}, a whole number, {range}"),
        Shape::Choice(words) => format!("{meaning}, one of {}", words.join(", ")),
        Shape::List => {
            let each = number_expected("each", declared(input.unit), &range);
            format!("{meaning}: a list, {}", each.replacen("each,", "each", 1))
        }
        Shape::Table(columns) => {
            let headings = columns.iter().map(heading).collect::<Vec<_>>().join(", ");
            format!("{meaning}, a table with the columns {headings}")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wanted(unit: &'static str) -> Wanted {
        Wanted::of(&Input::quantity("x", unit, "a test"), Place::Whole)
    }

    #[test]
    fn a_json_number_is_si() {
        assert_eq!(wanted("mm").si(0.068_008_7).unwrap(), 68.008_7);
        assert_eq!(wanted("°C").si(293.15).unwrap(), 20.0);
        assert_eq!(wanted("kPa").si(99e3).unwrap(), 99.0);
        assert_eq!(wanted("%").si(0.05).unwrap(), 5.0);
        assert_eq!(wanted("ppm/K").si(11.5e-6).unwrap(), 11.5);
        // 1 g/kWh = 1e-3 kg / 3.6e6 J by definition of the kilowatt hour.
        assert!((wanted("g/kWh").si(290e-3 / 3.6e6).unwrap() - 290.0).abs() < 1e-10);
        assert_eq!(wanted("HRC").si(52.0).unwrap(), 52.0);
        let rpm = wanted("rev/min").si(120.0 * std::f64::consts::PI).unwrap();
        assert!((rpm - 3600.0).abs() < 1e-9);
    }

    #[test]
    fn a_number_too_large_for_its_unit_is_refused() {
        let too_large = wanted("nm").si(1e300).unwrap_err();
        assert!(matches!(*too_large, Problem::NotFinite { .. }), "{too_large}");
        assert!(wanted("nm").si(1e200).is_ok());
    }

    #[test]
    fn hardness_scales_do_not_convert() {
        let text = wanted("HV").text("52 HRC", Bare::Refused).unwrap_err().to_string();
        assert!(text.contains("does not convert to HV"), "{text}");
        assert!(wanted("HV").json(&serde_json::json!({"value": 52, "unit": "HRC"})).is_err());
    }

    #[test]
    fn a_difference_of_temperature_is_taken_in_kelvin_and_degrees() {
        for text in ["2 K", "2 °C", "2 ΔK"] {
            assert_eq!(wanted("ΔK").text(text, Bare::Refused).unwrap(), 2.0, "{text}");
        }
    }

    #[test]
    fn every_dimension_names_its_si_unit() {
        for unit in UNITS {
            assert_ne!(si_symbol(unit), "SI", "{}", unit.symbol);
        }
    }

    #[test]
    fn a_number_in_another_unit_of_json_is_converted_exactly() {
        let inch = serde_json::json!({"value": 2.6772, "unit": "in"});
        assert_eq!(wanted("mm").json(&inch).unwrap(), 68.000_88);
        let wrong = serde_json::json!({"value": 2.6772, "unit": "kg"});
        let message = wanted("mm").json(&wrong).unwrap_err().to_string();
        assert!(message.contains("a mass, but a length is wanted"), "{message}");
    }
}
