//! Running a calculation, and its answer for people and for programs.

use bedplate_gauge::calculation::{
    Answer, Argument, Calculation, Column, Given, Input, Refused, Shape, Value,
};
use serde_json::{Value as Json, json};

use crate::figure::{DIGITS, DIGITS_GIVEN, heading, number_text, value_json, value_text};
use crate::given::shown;

/// Why a calculation gives no answer though its inputs were read.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RunError {
    /// An input is not among the given, or has another shape than declared: the inputs were put
    /// together otherwise than by [`crate::given`].
    #[error("{input} is not given in the shape that is declared")]
    NotGiven {
        /// The input.
        input: &'static str,
    },
    /// The inputs contradict each other, or the formula does not hold there.
    #[error(transparent)]
    Refused(#[from] Refused),
    /// An output is no finite number.
    #[error("the formula has no finite answer here: {output} came out as {value}")]
    NoFiniteAnswer {
        /// The output.
        output: &'static str,
        /// NaN or an infinity.
        value: f64,
    },
}

impl RunError {
    /// For a JSON answer, in the form of [`crate::problem::Problems::to_json`].
    #[must_use]
    pub fn to_json(&self) -> Json {
        let input = match self {
            Self::NotGiven { input } => Some(*input),
            Self::Refused(refused) => Some(refused.input),
            Self::NoFiniteAnswer { .. } => None,
        };
        json!({ "problems": [{ "input": input, "message": self.to_string() }], "more": 0 })
    }
}

/// One value that was given or found, with what it is.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// Its name.
    pub name: &'static str,
    /// Its unit; empty for a plain number, a word, or a table, whose columns have their own.
    pub unit: &'static str,
    /// What it is.
    pub meaning: &'static str,
    /// The value, every digit of it.
    pub value: Value,
    digits: usize,
}

impl Figure {
    /// The value on one line with its unit: 7 significant digits of what was computed, 12 of what
    /// was given.
    #[must_use]
    pub fn text(&self) -> String {
        value_text(&self.value, self.unit, |x| number_text(x, self.digits))
    }

    /// `{"name", "value", "unit", "text", "meaning"}`.
    #[must_use]
    pub fn to_json(&self) -> Json {
        json!({
            "name": self.name,
            "value": value_json(&self.value),
            "unit": self.unit,
            "text": self.text(),
            "meaning": self.meaning,
        })
    }
}

/// What a calculation was given and what it found. Every number in it is finite.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// Name of the calculation.
    pub name: &'static str,
    /// Its title.
    pub title: &'static str,
    /// The inputs used, in the declared order, defaults among them.
    pub inputs: Vec<Figure>,
    /// What was found, in the declared order; an output that does not apply is left out.
    pub outputs: Vec<Figure>,
    /// The formula.
    pub formula: &'static str,
    /// Where it comes from.
    pub source: &'static str,
    /// Where it holds, and what it leaves out.
    pub validity: &'static str,
}

impl Outcome {
    /// For programs; numbers in full, in the unit beside them.
    #[must_use]
    pub fn to_json(&self) -> Json {
        json!({
            "calculation": self.name,
            "title": self.title,
            "inputs": self.inputs.iter().map(Figure::to_json).collect::<Vec<_>>(),
            "outputs": self.outputs.iter().map(Figure::to_json).collect::<Vec<_>>(),
            "formula": self.formula,
            "source": self.source,
            "validity": self.validity,
        })
    }

    /// For a terminal: title, inputs, outputs, formula, source and validity; tables in full.
    #[must_use]
    pub fn to_text(&self) -> String {
        let mut text = format!("{}\n\nGiven\n", self.title);
        text.push_str(&block(&self.inputs));
        text.push_str("\nFound\n");
        text.push_str(&block(&self.outputs));
        for (name, words) in
            [("Formula", self.formula), ("Source", self.source), ("Holds", self.validity)]
        {
            let indented = words.trim().replace('\n', "\n         ");
            text.push_str(&format!("\n{name:<7}  {indented}"));
        }
        text.push('\n');
        text
    }

    /// The output called `name`.
    #[must_use]
    pub fn output(&self, name: &str) -> Option<&Figure> {
        self.outputs.iter().find(|figure| figure.name == name)
    }
}

/// Figures one a line, names and values in columns; a table on lines of its own.
pub(crate) fn block(figures: &[Figure]) -> String {
    let wide = |text: &str| text.chars().count();
    let texts: Vec<String> = figures
        .iter()
        .map(|f| if matches!(f.value, Value::Table(..)) { String::new() } else { f.text() })
        .collect();
    let name_width = figures.iter().map(|f| wide(f.name)).max().unwrap_or_default();
    let text_width = texts.iter().map(|t| wide(t)).filter(|w| *w <= 24).max().unwrap_or_default();
    let mut block = String::new();
    for (figure, text) in figures.iter().zip(&texts) {
        let line =
            format!("  {:<name_width$}  {text:<text_width$}  {}", figure.name, figure.meaning);
        block.push_str(line.trim_end());
        block.push('\n');
        if let Value::Table(columns, rows) = &figure.value {
            block.push_str(&ruled(columns, rows, figure.digits));
        }
    }
    block
}

/// A table with its headings, every column set to the right.
fn ruled(columns: &[Column], rows: &[Vec<f64>], digits: usize) -> String {
    let mut lines: Vec<Vec<String>> = vec![columns.iter().map(heading).collect()];
    lines.extend(rows.iter().map(|row| row.iter().map(|x| number_text(*x, digits)).collect()));
    let width = |i: usize| {
        lines.iter().filter_map(|line| line.get(i)).map(|c| c.chars().count()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..columns.len()).map(width).collect();
    lines.iter().fold(String::new(), |text, line| {
        let cells = line.iter().zip(&widths).map(|(cell, width)| format!("{cell:>width$}"));
        format!("{text}      {}\n", cells.collect::<Vec<_>>().join("  "))
    })
}

/// Runs `calculation` on inputs that [`crate::given`] read.
///
/// # Errors
/// [`RunError`]: inputs that contradict each other, or an output that is no finite number.
pub fn run(calculation: &Calculation, given: &Given) -> Result<Outcome, RunError> {
    let mut inputs = Vec::with_capacity(calculation.inputs.len());
    for input in calculation.inputs {
        let argument = given.0.get(input.name).filter(|argument| fits(input, argument));
        let argument = argument.ok_or(RunError::NotGiven { input: input.name })?;
        inputs.push(Figure {
            name: input.name,
            unit: input.unit,
            meaning: input.meaning,
            value: shown(input, argument),
            digits: DIGITS_GIVEN,
        });
    }
    let outputs = figures(calculation, (calculation.run)(given)?)?;
    Ok(Outcome {
        name: calculation.name,
        title: calculation.title,
        inputs,
        outputs,
        formula: calculation.formula,
        source: calculation.source,
        validity: calculation.validity,
    })
}

fn figures(calculation: &Calculation, answer: Answer) -> Result<Vec<Figure>, RunError> {
    let mut figures = Vec::with_capacity(answer.0.len());
    for (name, value) in answer.0 {
        if let Some(value) = not_finite(&value) {
            return Err(RunError::NoFiniteAnswer { output: name, value });
        }
        let declared = calculation.outputs.iter().find(|output| output.name == name);
        let (unit, meaning) = declared.map_or(("", ""), |output| (output.unit, output.meaning));
        // A word in place of a number, such as why there is none, has no unit.
        let unit = if matches!(value, Value::Word(_)) { "" } else { unit };
        figures.push(Figure { name, unit, meaning, value, digits: DIGITS });
    }
    let place = |f: &Figure| calculation.outputs.iter().position(|output| output.name == f.name);
    figures.sort_by_key(|figure| place(figure).unwrap_or(usize::MAX));
    Ok(figures)
}

fn not_finite(value: &Value) -> Option<f64> {
    let astray = |x: &&f64| !x.is_finite();
    match value {
        Value::Figure(x) => Some(x).filter(astray).copied(),
        Value::List(numbers) => numbers.iter().find(astray).copied(),
        Value::Table(_, rows) => rows.iter().flatten().find(astray).copied(),
        Value::Count(_) | Value::Word(_) => None,
    }
}

fn fits(input: &Input, argument: &Argument) -> bool {
    match (input.shape, argument) {
        (Shape::Quantity, Argument::Number(x)) => x.is_finite(),
        (Shape::Count, Argument::Count(n)) => usize::try_from(*n).is_ok(),
        (Shape::Choice(words), Argument::Word(word)) => words.contains(word),
        (Shape::List, Argument::List(numbers)) => numbers.iter().all(|x| x.is_finite()),
        (Shape::Table(columns), Argument::Table(rows)) => {
            rows.iter().all(|row| row.len() == columns.len() && row.iter().all(|x| x.is_finite()))
        }
        _ => false,
    }
}
