//! The guard of the whole list: every declaration is sound, every example runs, every expected
//! figure is what comes out.

use bedplate_gauge::calculation::{Calculation, Column, Shape, Value};
use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::Unit;
use bedplate_handbook::answer::{Figure, Outcome, run};
use bedplate_handbook::given::{from_json, from_texts, no_files};
use bedplate_handbook::list::all;
use bedplate_handbook::reference::reference;
use bedplate_handbook::{describe, schema};
use serde_json::Value as Json;

/// What is wrong with one calculation, as lines to print.
type Faults = Vec<String>;

fn report(check: impl Fn(&Calculation, &mut Faults)) {
    let mut faults = Faults::new();
    for calculation in all() {
        let mut own = Faults::new();
        check(calculation, &mut own);
        faults.extend(own.into_iter().map(|fault| format!("{}: {fault}", calculation.name)));
    }
    assert!(faults.is_empty(), "\n{}", faults.join("\n"));
}

fn check_unit(what: &str, symbol: &str, faults: &mut Faults) {
    if Unit::named(symbol).is_none() {
        faults.push(format!("the unit \"{symbol}\" of {what} does not exist"));
    }
}

fn check_columns(what: &str, columns: &[Column], faults: &mut Faults) {
    for column in columns {
        check_unit(&format!("{what}, column {}", column.name), column.unit, faults);
    }
}

fn check_name(what: &str, name: &str, faults: &mut Faults) {
    let fits = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    if name.is_empty() || !name.chars().all(fits) {
        faults.push(format!("{what} \"{name}\" is not letters, digits, - and _"));
    }
}

fn check_once<'n>(what: &str, names: impl Iterator<Item = &'n str>, faults: &mut Faults) {
    let mut names: Vec<&str> = names.collect();
    names.sort_unstable();
    for pair in names.windows(2).filter(|pair| pair[0] == pair[1]) {
        faults.push(format!("{what} {} stands twice", pair[0]));
    }
}

#[test]
fn every_declaration_is_sound() {
    report(|c, faults| {
        check_name("name", c.name, faults);
        check_once("input", c.inputs.iter().map(|i| i.name), faults);
        check_once("output", c.outputs.iter().map(|o| o.name), faults);
        for (what, words) in [
            ("title", c.title),
            ("question", c.question),
            ("formula", c.formula),
            ("source", c.source),
            ("validity", c.validity),
        ] {
            if words.trim().is_empty() {
                faults.push(format!("{what} is empty"));
            }
        }
        for input in c.inputs {
            check_name("input", input.name, faults);
            check_unit(input.name, input.unit, faults);
            if let Shape::Table(columns) = input.shape {
                check_columns(input.name, columns, faults);
                check_once("column", columns.iter().map(|column| column.name), faults);
            }
            let bounded = input.lower.is_some() || input.upper.is_some();
            if bounded && matches!(input.shape, Shape::Table(_) | Shape::Choice(_)) {
                faults.push(format!("{} has bounds, which mean nothing there", input.name));
            }
        }
        for output in c.outputs {
            check_name("output", output.name, faults);
            check_unit(output.name, output.unit, faults);
        }
        if c.outputs.is_empty() || c.expected.is_empty() {
            faults.push("there is no output, or none in its example".to_owned());
        }
    });
}

#[test]
fn every_default_can_be_read() {
    report(|c, faults| {
        for input in c.inputs.iter().filter(|input| input.default.is_some()) {
            let pairs: Vec<_> =
                c.example.iter().filter(|(name, _)| *name != input.name).copied().collect();
            let Err(problems) = from_texts(c, &pairs, &no_files) else { continue };
            for problem in problems.list().iter().filter(|p| p.input() == Some(input.name)) {
                faults.push(format!("default: {problem}"));
            }
        }
    });
}

#[test]
fn every_example_gives_what_it_says() {
    report(|c, faults| {
        let given = match from_texts(c, c.example, &no_files) {
            Ok(given) => given,
            Err(problems) => return faults.push(format!("example: {problems}")),
        };
        match from_json(c, &describe::describe(c)["example"], &no_files) {
            Ok(again) if again.0 == given.0 => {}
            _ => faults.push("the example as JSON is read otherwise than as text".to_owned()),
        }
        let outcome = match run(c, &given) {
            Ok(outcome) => outcome,
            Err(error) => return faults.push(format!("example: {error}")),
        };
        check_returned(c, &outcome, faults);
        for figure in &outcome.outputs {
            check_kind(figure, faults);
        }
        for (name, expected) in c.expected {
            match outcome.output(name) {
                None => faults.push(format!("{name} is expected but not returned")),
                Some(figure) if agrees(figure, expected) => {}
                Some(figure) => {
                    let got = figure.to_json()["value"].clone();
                    faults.push(format!("{name}: got {got} {}, expected {expected}", figure.unit));
                }
            }
        }
    });
}

/// Everything returned is declared; what is declared is returned, unless its meaning says when.
fn check_returned(c: &Calculation, outcome: &Outcome, faults: &mut Faults) {
    check_once("returned output", outcome.outputs.iter().map(|figure| figure.name), faults);
    for figure in &outcome.outputs {
        if !c.outputs.iter().any(|output| output.name == figure.name) {
            faults.push(format!("{} is returned but not declared", figure.name));
        }
    }
    for output in c.outputs.iter().filter(|output| outcome.output(output.name).is_none()) {
        let says_when = [" if ", " where ", " when ", " or why "];
        if !says_when.iter().any(|words| output.meaning.contains(words)) {
            let name = output.name;
            faults.push(format!(
                "{name} is declared but not returned by the example, and its meaning says nothing \
                 of when it is (if, where, when, or why)"
            ));
        }
    }
}

fn check_kind(figure: &Figure, faults: &mut Faults) {
    match &figure.value {
        Value::Table(..) if !figure.unit.is_empty() => {
            faults.push(format!("{} has a unit, but its columns have their own", figure.name));
        }
        Value::Table(columns, rows) => {
            check_columns(figure.name, columns, faults);
            if rows.iter().any(|row| row.len() != columns.len()) {
                faults.push(format!("{} has rows that do not fit its columns", figure.name));
            }
        }
        Value::Figure(_) | Value::Count(_) | Value::Word(_) | Value::List(_) => {}
    }
}

fn agrees(figure: &Figure, expected: &str) -> bool {
    let numbers_agree = |numbers: &[f64], expected: &str| {
        let texts: Vec<&str> = expected.split([',', ';']).map(str::trim).collect();
        let pairs = numbers.iter().zip(&texts);
        texts.len() == numbers.len() && pairs.into_iter().all(|(x, text)| rounds_to(*x, text))
    };
    match &figure.value {
        Value::Figure(x) => rounds_to(*x, expected),
        Value::Count(n) => n.to_string() == expected,
        Value::Word(word) => word == expected,
        Value::List(numbers) if numbers.is_empty() => expected.is_empty(),
        Value::List(numbers) => numbers_agree(numbers, expected),
        Value::Table(columns, rows) => {
            // A heading row may stand before the numbers.
            let first = columns.first().map_or("", |column| column.name);
            let body = if expected.trim().starts_with(first) && !first.is_empty() {
                expected.split_once(';').map_or("", |(_, body)| body)
            } else {
                expected
            };
            numbers_agree(&rows.concat(), body)
        }
    }
}

/// Whether `x` rounds to the digits of `printed`; a number just on the half may round either way.
fn rounds_to(x: f64, printed: &str) -> bool {
    let plain = Unit::named("").expect("plain numbers have a unit");
    let Ok(quantity) = Quantity::parse_in(printed, plain) else { return false };
    let half_step = 0.5 * 10_f64.powi(i32::from(quantity.exponent()));
    (x - quantity.number()).abs() <= half_step * (1.0 + 1e-9)
}

#[test]
fn rounding_is_by_the_printed_digits() {
    assert!(rounds_to(38.549, "38.5") && !rounds_to(38.551, "38.5"));
    assert!(rounds_to(38.4996, "38.500") && !rounds_to(38.4994, "38.500"));
    assert!(rounds_to(-1.234e-5, "-1.23e-5") && !rounds_to(1.236e-5, "1.23e-5"));
    assert!(rounds_to(7.2, "7") && !rounds_to(7.6, "7") && !rounds_to(f64::NAN, "7"));
}

#[test]
fn the_reference_shows_every_calculation_with_its_answer() {
    let pages = reference();
    assert_eq!(pages[0].0, "index.md");
    let whole: String = pages.iter().map(|(_, text)| text.as_str()).collect();
    for c in all() {
        let page = format!("{}.md", c.stage.name().to_lowercase());
        assert!(pages[0].1.contains(&format!("({page}#{})", c.name)), "{}", c.name);
        let entry = whole.split(&format!("<a id=\"{}\"></a>", c.name)).nth(1);
        let entry = entry.unwrap_or_else(|| panic!("{} has no entry", c.name));
        let entry = entry.split("<a id=").next().unwrap_or_default();
        assert!(entry.contains(&describe::command_line(c)), "{}", c.name);
        // An example that does not run is told by the guard above; its page shows the command.
        let runs = from_texts(c, c.example, &no_files).is_ok_and(|given| run(c, &given).is_ok());
        assert_eq!(entry.matches("```text").count(), if runs { 2 } else { 1 }, "{}", c.name);
    }
}

#[test]
fn the_list_for_a_terminal_names_every_calculation_and_the_units_of_json() {
    let text = describe::list_text();
    for c in all() {
        assert!(text.contains(&format!("  {}", c.name)) && text.contains(c.question), "{}", c.name);
    }
    assert!(text.contains("a bare number is in SI, so a length is in METRES"));
}

#[test]
fn the_schema_of_every_calculation_fits_its_answer() {
    report(|c, faults| {
        let schema = schema::schema(c);
        let Ok(given) = from_texts(c, c.example, &no_files) else { return };
        let Ok(outcome) = run(c, &given) else { return };
        let answer = outcome.to_json();
        let response = &schema["response"]["properties"];
        let names = |list: &Json, key: &str| -> Vec<String> {
            let items = list.as_array().into_iter().flatten();
            items.filter_map(|item| item.pointer(key)?.as_str().map(str::to_owned)).collect()
        };
        let inputs = names(&response["inputs"]["prefixItems"], "/properties/name/const");
        let outputs = names(&response["outputs"]["items"]["oneOf"], "/properties/name/const");
        let returned = names(&answer["outputs"], "/name");
        if inputs != names(&answer["inputs"], "/name")
            || !returned.iter().all(|name| outputs.contains(name))
        {
            faults.push("the schema differs from the answer".to_owned());
        }
    });
}
