//! Every declared calculation runs its own example and gives what is printed.

use std::collections::BTreeMap;

use bedplate_gauge::CALCULATIONS;
use bedplate_gauge::calculation::{Argument, Calculation, Column, Given, Input, Shape, Value};
use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::Unit;

#[test]
fn names_are_unique_and_units_exist() {
    let mut names: Vec<&str> = CALCULATIONS.iter().map(|c| c.name).collect();
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), CALCULATIONS.len());
    for calculation in CALCULATIONS {
        let words = [calculation.title, calculation.question, calculation.formula];
        assert!(words.iter().chain([&calculation.source]).all(|w| !w.is_empty()));
        for input in calculation.inputs {
            let _ = input.dimension();
            if let Shape::Table(columns) = input.shape {
                assert!(columns.iter().all(|c| Unit::named(c.unit).is_some()));
            }
        }
        for output in calculation.outputs {
            assert!(Unit::named(output.unit).is_some(), "{}: {}", calculation.name, output.name);
        }
    }
}

#[test]
fn every_example_gives_what_is_printed() {
    for calculation in CALCULATIONS {
        let answer = (calculation.run)(&given(calculation))
            .unwrap_or_else(|e| panic!("{}: {e}", calculation.name));
        let outputs: Vec<&str> = calculation.outputs.iter().map(|o| o.name).collect();
        let got: Vec<&str> = answer.0.iter().map(|(name, _)| *name).collect();
        assert_eq!(outputs, got, "{}: outputs as declared", calculation.name);
        assert!(!calculation.expected.is_empty(), "{}", calculation.name);
        for (name, printed) in calculation.expected {
            let (_, value) = answer.0.iter().find(|(n, _)| n == name).expect("a declared output");
            compare(calculation.name, name, printed, value);
        }
    }
}

fn given(calculation: &Calculation) -> Given {
    for (name, _) in calculation.example {
        assert!(calculation.inputs.iter().any(|i| i.name == *name), "{}", calculation.name);
    }
    let argument = |input: &Input| {
        let written = calculation.example.iter().find(|(name, _)| *name == input.name);
        let text = written.map(|(_, text)| *text).or(input.default);
        read(input, text.unwrap_or_else(|| panic!("{}: {}", calculation.name, input.name)))
    };
    let arguments = calculation.inputs.iter().map(|input| (input.name, argument(input)));
    Given(arguments.collect::<BTreeMap<_, _>>())
}

fn read(input: &Input, text: &str) -> Argument {
    let unit = Unit::named(input.unit).expect("a declared unit");
    match input.shape {
        Shape::Quantity => {
            let quantity = Quantity::parse(text, unit.dimension);
            Argument::Number(quantity.unwrap_or_else(|e| panic!("{e}")).to(unit.symbol))
        }
        Shape::Count => Argument::Count(text.parse().expect("a count")),
        Shape::Choice(words) => {
            Argument::Word(words.iter().find(|w| **w == text).expect("a word of the choice"))
        }
        Shape::List => {
            // The unit stands once, after the last number.
            let given = text.trim_end_matches(|c: char| !c.is_ascii_digit()).len();
            let shared = Unit::named(&text[given..]).unwrap_or(unit);
            let items = text[..given].split(',');
            let number = |t: &str| Quantity::parse_in(t, shared).expect("a number").to(unit.symbol);
            Argument::List(items.map(number).collect())
        }
        Shape::Table(columns) => Argument::Table(table(columns, text)),
    }
}

fn table(columns: &'static [Column], text: &str) -> Vec<Vec<f64>> {
    let mut rows = text.split(';').map(|row| row.split(',').map(str::trim).collect::<Vec<_>>());
    let headings: Vec<&str> = columns.iter().map(|c| c.name).collect();
    assert_eq!(rows.next(), Some(headings));
    let number = |(column, cell): (&Column, &str)| {
        let unit = Unit::named(column.unit).expect("a declared unit");
        Quantity::parse_in(cell, unit).expect("a number").to(unit.symbol)
    };
    rows.map(|row| columns.iter().zip(row).map(number).collect()).collect()
}

/// A computed number must round to the digits printed.
fn compare(calculation: &str, name: &str, printed: &str, value: &Value) {
    let rounds = |printed: &str, got: f64| {
        let decimals = printed.split_once('.').map_or(0, |(_, d)| d.len());
        let half = 0.5 * 10f64.powi(-i32::try_from(decimals).expect("few"));
        let wanted: f64 = printed.trim().parse().expect("a printed number");
        // A hair for figures that lie exactly between.
        let close = (got - wanted).abs() <= half * (1.0 + 1e-9);
        assert!(close, "{calculation}: {name} is {got}, printed {printed}");
    };
    match value {
        Value::Figure(got) => rounds(printed, *got),
        Value::Count(got) => rounds(printed, *got as f64),
        Value::Word(got) => assert_eq!(got, printed, "{calculation}: {name}"),
        Value::List(got) => {
            let wanted: Vec<&str> = printed.split(',').map(str::trim).collect();
            assert_eq!(wanted.len(), got.len(), "{calculation}: {name}");
            wanted.iter().zip(got).for_each(|(w, g)| rounds(w, *g));
        }
        Value::Table(..) => panic!("{calculation}: {name}: tables are not printed"),
    }
}

#[test]
fn a_limit_left_out_is_none_and_both_left_out_are_refused() {
    let judge = CALCULATIONS.iter().find(|c| c.name == "judge").expect("it is declared");
    let run = |lower: f64, upper: f64| {
        let mut given = given(judge);
        given.0.insert("lower", Argument::Number(lower));
        given.0.insert("upper", Argument::Number(upper));
        (judge.run)(&given)
    };
    let reason = run(-1e12, 25.0).expect("one limit is enough");
    let (_, said) = &reason.0[4];
    let Value::Word(said) = said else { panic!("a reason is a sentence") };
    assert!(said.contains("over the upper limit"), "{said}");
    let refused = run(-1e12, 1e12).expect_err("no limit is none").to_string();
    assert!(refused.contains("neither limit is given"), "{refused}");
}
