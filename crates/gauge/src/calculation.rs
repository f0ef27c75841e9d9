//! The shape in which every public calculation is declared, once, beside its function.
//!
//! A [`Calculation`] tells its name in the trade's words, the question it answers, what it is given
//! and what it returns, the formula, the source, where it holds, one worked example, and the
//! function that runs it. The handbook crate gathers the declarations; the command line, the JSON
//! API, the Handbook sheet and the book's reference are all made from that one list.
//!
//! To declare one, write a `pub const` beside the function, add it to the module's list, and let
//! `run` unpack the [`Given`], call the function and pack an [`Answer`]:
//!
//! ```
//! use bedplate_gauge::calculation::*;
//!
//! /// Diametral clearance of a piston in its bore, in micrometres.
//! fn clearance_um(bore_mm: f64, piston_mm: f64) -> f64 { (bore_mm - piston_mm) * 1e3 }
//!
//! pub const CLEARANCE: Calculation = Calculation {
//!     name: "piston-clearance",
//!     title: "Piston clearance",
//!     stage: Stage::Match,
//!     question: "How much room has this piston in this bore?",
//!     inputs: &[
//!         Input::quantity("bore", "mm", "bore diameter at 20 °C").over(0.0),
//!         Input::quantity("piston", "mm", "piston diameter at 20 °C").over(0.0),
//!     ],
//!     outputs: &[Output::figure("clearance", "µm", "diametral clearance; negative is interference")],
//!     formula: "c = D − d",
//!     source: "definition",
//!     validity: "Both at the same temperature.",
//!     example: &[("bore", "68.0087 mm"), ("piston", "67.9702 mm")],
//!     expected: &[("clearance", "38.5")],
//!     run: |given| Ok(Answer::new().figure("clearance", clearance_um(given.number("bore"), given.number("piston")))),
//! };
//! ```

use std::collections::BTreeMap;

use crate::unit::{Dimension, Unit};

/// The stage of the works a calculation serves; the handbook is ordered by it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Stage {
    /// Operations, cutting, cycle times.
    Plan,
    /// Lines and stores.
    Flow,
    /// From signal to value to judgement.
    Gauge,
    /// Charts and capability.
    Control,
    /// Parts into sets.
    Match,
    /// Rotors.
    Balance,
    /// Sets into engines.
    Build,
    /// Engines on the test bed.
    Bed,
}

impl Stage {
    /// Every stage in the order of the works.
    pub const ALL: [Self; 8] = [
        Self::Plan,
        Self::Flow,
        Self::Gauge,
        Self::Control,
        Self::Match,
        Self::Balance,
        Self::Build,
        Self::Bed,
    ];

    /// The stage's name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Plan => "Plan",
            Self::Flow => "Flow",
            Self::Gauge => "Gauge",
            Self::Control => "Control",
            Self::Match => "Match",
            Self::Balance => "Balance",
            Self::Build => "Build",
            Self::Bed => "Bed",
        }
    }
}

/// What shape an input has.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// One number with a unit, handed to the function in [`Input::unit`].
    Quantity,
    /// A whole number, such as a count.
    Count,
    /// One of a few words.
    Choice(&'static [&'static str]),
    /// A list of numbers, all in [`Input::unit`].
    List,
    /// A table: each column has a name and a unit; rows are pieces, points or holes.
    Table(&'static [Column]),
}

/// One column of a table input or output.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Column {
    /// Name, also the heading in a CSV file.
    pub name: &'static str,
    /// Unit in which its numbers are.
    pub unit: &'static str,
    /// What it is.
    pub meaning: &'static str,
}

/// One input of a calculation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Input {
    /// Name, as typed on the command line.
    pub name: &'static str,
    /// Unit in which the function takes it; empty for a plain number.
    pub unit: &'static str,
    /// What it is.
    pub meaning: &'static str,
    /// One value, a list, a table, a choice.
    pub shape: Shape,
    /// Smallest allowed value, in `unit`, and whether it is itself allowed.
    pub lower: Option<(f64, bool)>,
    /// Largest allowed value, in `unit`, and whether it is itself allowed.
    pub upper: Option<(f64, bool)>,
    /// Text used when nothing is given; `None` means it must be given.
    pub default: Option<&'static str>,
}

impl Input {
    const fn with_shape(
        name: &'static str,
        unit: &'static str,
        meaning: &'static str,
        shape: Shape,
    ) -> Self {
        Self { name, unit, meaning, shape, lower: None, upper: None, default: None }
    }

    /// One number with a unit.
    #[must_use]
    pub const fn quantity(name: &'static str, unit: &'static str, meaning: &'static str) -> Self {
        Self::with_shape(name, unit, meaning, Shape::Quantity)
    }

    /// A whole number.
    #[must_use]
    pub const fn count(name: &'static str, meaning: &'static str) -> Self {
        Self::with_shape(name, "", meaning, Shape::Count)
    }

    /// One of a few words.
    #[must_use]
    pub const fn choice(
        name: &'static str,
        words: &'static [&'static str],
        meaning: &'static str,
    ) -> Self {
        Self::with_shape(name, "", meaning, Shape::Choice(words))
    }

    /// A list of numbers in one unit.
    #[must_use]
    pub const fn list(name: &'static str, unit: &'static str, meaning: &'static str) -> Self {
        Self::with_shape(name, unit, meaning, Shape::List)
    }

    /// A table.
    #[must_use]
    pub const fn table(
        name: &'static str,
        columns: &'static [Column],
        meaning: &'static str,
    ) -> Self {
        Self::with_shape(name, "", meaning, Shape::Table(columns))
    }

    /// Must be greater than `bound`.
    #[must_use]
    pub const fn over(mut self, bound: f64) -> Self {
        self.lower = Some((bound, false));
        self
    }

    /// Must be `bound` or more.
    #[must_use]
    pub const fn at_least(mut self, bound: f64) -> Self {
        self.lower = Some((bound, true));
        self
    }

    /// Must be less than `bound`.
    #[must_use]
    pub const fn under(mut self, bound: f64) -> Self {
        self.upper = Some((bound, false));
        self
    }

    /// Must be `bound` or less.
    #[must_use]
    pub const fn at_most(mut self, bound: f64) -> Self {
        self.upper = Some((bound, true));
        self
    }

    /// May be left out; then `text` is read in its place.
    #[must_use]
    pub const fn or(mut self, text: &'static str) -> Self {
        self.default = Some(text);
        self
    }

    /// The dimension of the unit.
    ///
    /// # Panics
    /// If the declaration names a unit that does not exist; a test walks every declaration.
    #[must_use]
    pub fn dimension(&self) -> Dimension {
        Unit::named(self.unit).expect("a declared unit exists").dimension
    }
}

/// One output of a calculation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Output {
    /// Name, the key in JSON.
    pub name: &'static str,
    /// Unit; empty for a plain number or a word.
    pub unit: &'static str,
    /// What it is, with its sign convention.
    pub meaning: &'static str,
}

impl Output {
    /// An output.
    #[must_use]
    pub const fn figure(name: &'static str, unit: &'static str, meaning: &'static str) -> Self {
        Self { name, unit, meaning }
    }
}

/// An input after it was read and checked against its declaration.
#[derive(Debug, Clone, PartialEq)]
pub enum Argument {
    /// One number, in the declared unit.
    Number(f64),
    /// A whole number.
    Count(u64),
    /// A word of the declared choice.
    Word(&'static str),
    /// Numbers, in the declared unit.
    List(Vec<f64>),
    /// Rows of numbers in the declared columns' units.
    Table(Vec<Vec<f64>>),
}

/// The checked inputs of one run. Every declared input is present (given or by default), so the
/// look-ups cannot fail unless the declaration and the function disagree, which a test would show.
#[derive(Debug, Clone, Default)]
pub struct Given(pub BTreeMap<&'static str, Argument>);

impl Given {
    fn argument(&self, name: &str) -> &Argument {
        self.0.get(name).unwrap_or_else(|| panic!("input {name} is declared"))
    }

    /// The number given as `name`, in its declared unit.
    ///
    /// # Panics
    /// If `name` is not declared as a quantity.
    #[must_use]
    pub fn number(&self, name: &str) -> f64 {
        match self.argument(name) {
            Argument::Number(x) => *x,
            other => panic!("input {name} is a quantity, got {other:?}"),
        }
    }

    /// The whole number given as `name`.
    ///
    /// # Panics
    /// If `name` is not declared as a count.
    #[must_use]
    pub fn count(&self, name: &str) -> usize {
        match self.argument(name) {
            Argument::Count(n) => usize::try_from(*n).expect("a count fits in memory"),
            other => panic!("input {name} is a count, got {other:?}"),
        }
    }

    /// The word given as `name`.
    ///
    /// # Panics
    /// If `name` is not declared as a choice.
    #[must_use]
    pub fn word(&self, name: &str) -> &'static str {
        match self.argument(name) {
            Argument::Word(w) => w,
            other => panic!("input {name} is a choice, got {other:?}"),
        }
    }

    /// The numbers given as `name`.
    ///
    /// # Panics
    /// If `name` is not declared as a list.
    #[must_use]
    pub fn list(&self, name: &str) -> &[f64] {
        match self.argument(name) {
            Argument::List(xs) => xs,
            other => panic!("input {name} is a list, got {other:?}"),
        }
    }

    /// The rows given as `name`; each has as many numbers as the table has columns.
    ///
    /// # Panics
    /// If `name` is not declared as a table.
    #[must_use]
    pub fn table(&self, name: &str) -> &[Vec<f64>] {
        match self.argument(name) {
            Argument::Table(rows) => rows,
            other => panic!("input {name} is a table, got {other:?}"),
        }
    }
}

/// One value of an answer.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A number in the output's unit.
    Figure(f64),
    /// A whole number.
    Count(u64),
    /// A word or sentence.
    Word(String),
    /// Numbers in the output's unit.
    List(Vec<f64>),
    /// A table: headings with units, and rows.
    Table(&'static [Column], Vec<Vec<f64>>),
}

/// What a calculation returns: named values in the order of the declared outputs.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Answer(pub Vec<(&'static str, Value)>);

impl Answer {
    /// An answer with nothing in it yet.
    #[must_use]
    pub const fn new() -> Self {
        Self(Vec::new())
    }

    /// Adds a number.
    #[must_use]
    pub fn figure(self, name: &'static str, value: f64) -> Self {
        self.with(name, Value::Figure(value))
    }

    /// Adds a whole number.
    #[must_use]
    pub fn count(self, name: &'static str, value: usize) -> Self {
        self.with(name, Value::Count(value as u64))
    }

    /// Adds a word.
    #[must_use]
    pub fn word(self, name: &'static str, value: impl Into<String>) -> Self {
        self.with(name, Value::Word(value.into()))
    }

    /// Adds a list.
    #[must_use]
    pub fn list(self, name: &'static str, values: Vec<f64>) -> Self {
        self.with(name, Value::List(values))
    }

    /// Adds a table.
    #[must_use]
    pub fn table(
        self,
        name: &'static str,
        columns: &'static [Column],
        rows: Vec<Vec<f64>>,
    ) -> Self {
        self.with(name, Value::Table(columns, rows))
    }

    /// Adds any value.
    #[must_use]
    pub fn with(mut self, name: &'static str, value: Value) -> Self {
        self.0.push((name, value));
        self
    }
}

/// Why a calculation refuses inputs that were each in their own range: they contradict each other,
/// or the formula does not hold there. Says which input, what is wrong and what would be right.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{input}: {reason}")]
pub struct Refused {
    /// The input at fault.
    pub input: &'static str,
    /// What is wrong and what would be right, in words.
    pub reason: String,
}

impl Refused {
    /// A refusal that names `input` and says why.
    #[must_use]
    pub fn because(input: &'static str, reason: impl Into<String>) -> Self {
        Self { input, reason: reason.into() }
    }
}

/// One public calculation.
#[derive(Debug, Clone, Copy)]
pub struct Calculation {
    /// Name on the command line and in addresses: words with hyphens.
    pub name: &'static str,
    /// Title in the trade's words.
    pub title: &'static str,
    /// Where in the works it serves.
    pub stage: Stage,
    /// The question it answers, as a person would ask it.
    pub question: &'static str,
    /// What it is given.
    pub inputs: &'static [Input],
    /// What it returns.
    pub outputs: &'static [Output],
    /// The formula, symbols as in the source and explained by the inputs' meanings.
    pub formula: &'static str,
    /// Author or standard, edition, clause; "from memory" or "common practice, no source" where so.
    pub source: &'static str,
    /// Where it holds, and what it leaves out.
    pub validity: &'static str,
    /// A worked example: each input as text. Run as a test.
    pub example: &'static [(&'static str, &'static str)],
    /// What the example gives, to the digits printed: a computed number must round to it. Lists are
    /// written with commas.
    pub expected: &'static [(&'static str, &'static str)],
    /// Runs it.
    pub run: fn(&Given) -> Result<Answer, Refused>,
}
