//! A calculation with every shape of input and output, for the tests alone.

use bedplate_gauge::calculation::{
    Answer, Argument, Calculation, Column, Given, Input, Output, Refused, Stage,
};

/// Holes of the sample.
pub(crate) const HOLES: &[Column] = &[
    Column { name: "radius", unit: "mm", meaning: "distance of the hole from the axis" },
    Column { name: "angle", unit: "°", meaning: "its angle from the mark" },
];

/// Repeats what it was given, and divides by the spread of the readings.
pub(crate) const SAMPLE: Calculation = Calculation {
    name: "sample",
    title: "Sample",
    stage: Stage::Gauge,
    question: "Is every shape read?",
    inputs: &[
        Input::quantity("bore", "mm", "bore diameter").over(0.0).at_most(500.0),
        Input::quantity("air", "°C", "temperature of the air").or("20 °C"),
        Input::count("cylinders", "number of cylinders").at_least(1.0).at_most(16.0).or("4"),
        Input::choice("rule", &["guarded", "simple"], "decision rule").or("guarded"),
        Input::list("readings", "µm", "repeated readings").at_least(-1e3),
        Input::table("holes", HOLES, "holes that are already drilled").or(""),
    ],
    outputs: &[
        Output::figure("share", "%", "share of the bore in the spread of the readings"),
        Output::figure("cylinders", "", "number of cylinders"),
        Output::figure("rule", "", "decision rule"),
        Output::figure("sorted", "µm", "the readings in order"),
        Output::figure("drilled", "", "the holes"),
    ],
    formula: "s = d / R",
    source: "invented for the tests",
    validity: "The tests.",
    example: &[("bore", "68 mm"), ("readings", "1.2, 0.2 µm"), ("holes", "30, 0; 30, 180")],
    expected: &[("share", "6800000"), ("rule", "guarded"), ("sorted", "0.2, 1.2")],
    run,
};

fn run(given: &Given) -> Result<Answer, Refused> {
    let readings = given.list("readings");
    let mut sorted = readings.to_vec();
    sorted.sort_by(f64::total_cmp);
    if sorted.len() > 100 {
        return Err(Refused::because("readings", "at most 100 are taken"));
    }
    let spread = sorted[sorted.len() - 1] - sorted[0];
    Ok(Answer::new()
        .figure("share", given.number("bore") * 1e3 / spread * 100.0)
        .count("cylinders", given.count("cylinders"))
        .word("rule", given.word("rule"))
        .list("sorted", sorted)
        .table("drilled", HOLES, given.table("holes").to_vec()))
}

/// What was given as `name`.
#[allow(dead_code)]
pub(crate) fn argument<'a>(given: &'a Given, name: &str) -> &'a Argument {
    &given.0[name]
}
