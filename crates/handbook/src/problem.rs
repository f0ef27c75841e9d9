//! What can be wrong with the inputs of a calculation, each with its facts and what would be right.

use std::fmt;

use bedplate_gauge::quantity::QuantityError;
use serde_json::{Value as Json, json};

use crate::figure::{DIGITS_GIVEN, number_text, with_unit};
use crate::range::Range;

/// Problems kept in full; what comes after is only counted, for a file with a million bad rows.
const KEPT: usize = 200;

/// A row of a table: by its line in a file, or by its number where there is no file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Row {
    /// Line of a CSV file or of a pasted text, counted from 1.
    Line(u64),
    /// Row of a JSON array or of a text on one line, counted from 1.
    Nth(usize),
    /// The names of the columns, where they stand apart from the rows.
    Heading,
}

impl fmt::Display for Row {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Line(line) => write!(f, "line {line}"),
            Self::Nth(nth) => write!(f, "row {nth}"),
            Self::Heading => f.write_str("heading"),
        }
    }
}

/// Where in an input the fault stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// The input is one value.
    Whole,
    /// This number of a list, counted from 1.
    Nth(usize),
    /// This row of a table.
    Row(Row),
    /// This cell of a table.
    Cell {
        /// Its row.
        row: Row,
        /// Its column.
        column: &'static str,
    },
}

impl fmt::Display for Place {
    /// As it follows the input's name: nothing, ", number 3", ", line 4, radius".
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Whole => Ok(()),
            Self::Nth(nth) => write!(f, ", number {nth}"),
            Self::Row(row) => write!(f, ", {row}"),
            Self::Cell { row, column } => write!(f, ", {row}, {column}"),
        }
    }
}

/// One thing wrong with the inputs. Every message names the input and says what is expected.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Problem {
    /// An input that must be given is not.
    #[error("{input} is missing: {expected}; write it like {input}=\"{example}\"")]
    Missing {
        /// Its name.
        input: &'static str,
        /// What it is, its unit and range.
        expected: String,
        /// How it is written.
        example: &'static str,
    },
    /// A name that the calculation does not take.
    #[error(
        "\"{name}\" is no input of this calculation{} (it takes {})",
        did_you_mean(.nearest),
        .known.join(", ")
    )]
    UnknownInput {
        /// As received.
        name: String,
        /// The nearest input, if one is near.
        nearest: Option<&'static str>,
        /// The inputs.
        known: Vec<&'static str>,
    },
    /// The same input twice.
    #[error("{input} is given twice; give it once")]
    GivenTwice {
        /// Its name.
        input: &'static str,
    },
    /// A command-line text that is not `name=value`.
    #[error("\"{text}\" is not name=value; write it like {example}")]
    NotNameAndValue {
        /// As received.
        text: String,
        /// How an input of this calculation is written.
        example: String,
    },
    /// The JSON is not an object of inputs.
    #[error("{got} is given, but an object of inputs is wanted, such as {example}")]
    NotAnObject {
        /// What it is.
        got: &'static str,
        /// The worked example.
        example: Json,
    },
    /// A text that is no quantity of the kind wanted.
    #[error("{input}{place}: {fault}; expected: {expected}")]
    NotAQuantity {
        /// Input.
        input: &'static str,
        /// Where in it.
        place: Place,
        /// What is wrong with the text.
        fault: QuantityError,
        /// What it is, its unit and range.
        expected: String,
    },
    /// A hardness on another scale, or a unit of its own kind that does not convert.
    #[error(
        "{input}{place}: \"{text}\" is in {got}, which does not convert to {wanted}; \
         expected: {expected}"
    )]
    OtherScale {
        /// Input.
        input: &'static str,
        /// Where in it.
        place: Place,
        /// As received.
        text: String,
        /// Unit received.
        got: &'static str,
        /// Unit wanted.
        wanted: &'static str,
        /// What it is, its unit and range.
        expected: String,
    },
    /// A number too large to be converted into the declared unit.
    #[error("{input}{place}: {value:e} is too large to be worked with; expected: {expected}")]
    NotFinite {
        /// Input.
        input: &'static str,
        /// Where in it.
        place: Place,
        /// As received.
        value: f64,
        /// What it is, its unit and range.
        expected: String,
    },
    /// Outside the declared range.
    #[error(
        "{input}{place}: {} is outside the range; it must be {range} ({meaning})",
        with_unit(&number_text(*.value, DIGITS_GIVEN), .range.unit)
    )]
    OutOfRange {
        /// Input.
        input: &'static str,
        /// Where in it.
        place: Place,
        /// The value in the declared unit.
        value: f64,
        /// The range in the declared unit.
        range: Range,
        /// What it is.
        meaning: &'static str,
    },
    /// A count that is not a whole number.
    #[error("{input}: \"{text}\" is not a whole number; expected: {expected}")]
    NotAWholeNumber {
        /// Input.
        input: &'static str,
        /// As received.
        text: String,
        /// What it is and its range.
        expected: String,
    },
    /// A value of the wrong shape, such as a list where one number is wanted.
    #[error("{input}{place}: {got} is given where it does not fit; expected: {expected}")]
    WrongShape {
        /// Input.
        input: &'static str,
        /// Where in it.
        place: Place,
        /// What was given.
        got: &'static str,
        /// What it is and its shape.
        expected: String,
    },
    /// A word that is none of the choice.
    #[error(
        "{input}: \"{text}\" is none of {}{} ({meaning})",
        .words.join(", "),
        did_you_mean(.nearest)
    )]
    UnknownWord {
        /// Input.
        input: &'static str,
        /// As received.
        text: String,
        /// The words.
        words: &'static [&'static str],
        /// The nearest of them, if one is near.
        nearest: Option<&'static str>,
        /// What it is.
        meaning: &'static str,
    },
    /// A list without numbers or a table without rows.
    #[error("{input} is empty; expected: {expected}")]
    Empty {
        /// Input.
        input: &'static str,
        /// What it is and its shape.
        expected: String,
    },
    /// Commas that may part numbers or be decimal signs.
    #[error(
        "{input}: in \"{text}\" it cannot be told whether a comma parts two numbers or is a \
         decimal sign; part the numbers with a comma and a space, or with semicolons"
    )]
    CommaUnclear {
        /// Input.
        input: &'static str,
        /// As received.
        text: String,
    },
    /// A heading that is no column of the table.
    #[error(
        "{input}, {row}: \"{column}\" is no column of this table{} (it has {})",
        did_you_mean(.nearest),
        .known.join(", ")
    )]
    UnknownColumn {
        /// Input.
        input: &'static str,
        /// Where it stands.
        row: Row,
        /// As received.
        column: String,
        /// The nearest column, if one is near.
        nearest: Option<&'static str>,
        /// The columns.
        known: Vec<&'static str>,
    },
    /// A column that is headed twice.
    #[error("{input}, {row}: the column {column} stands twice; it must stand once")]
    ColumnTwice {
        /// Input.
        input: &'static str,
        /// Where it stands.
        row: Row,
        /// Its name.
        column: &'static str,
    },
    /// A column, or its cell in one row, that is not there.
    #[error("{input}, {row}: the column {column} is missing; expected: {expected}")]
    MissingColumn {
        /// Input.
        input: &'static str,
        /// Where it should stand.
        row: Row,
        /// Its name.
        column: &'static str,
        /// What it is and its unit.
        expected: String,
    },
    /// A row with too few or too many cells.
    #[error(
        "{input}, {row}: {got} cells, but the table has {wanted} columns: {}",
        .known.join(", ")
    )]
    WrongCellCount {
        /// Input.
        input: &'static str,
        /// The row.
        row: Row,
        /// Cells it has.
        got: usize,
        /// Cells it should have.
        wanted: usize,
        /// The columns.
        known: Vec<&'static str>,
    },
    /// A file that could not be read.
    #[error("{input}: the file {path} cannot be read: {reason}")]
    FileUnreadable {
        /// Input.
        input: &'static str,
        /// As received, without the `@`.
        path: String,
        /// Why.
        reason: String,
    },
    /// A file that is not text in UTF-8.
    #[error("{input}: {path} is not UTF-8 text at byte {byte}; save it as UTF-8")]
    NotUtf8 {
        /// Input.
        input: &'static str,
        /// As received, without the `@`.
        path: String,
        /// Place of the first byte that is not, counted from 0.
        byte: usize,
    },
    /// Text far too long to be one value.
    #[error("{input}{place}: {length} characters is too long for one value; expected: {expected}")]
    TooLong {
        /// Input.
        input: &'static str,
        /// Where in it.
        place: Place,
        /// How many characters it has.
        length: usize,
        /// What it is, its unit and range.
        expected: String,
    },
}

fn did_you_mean(nearest: &Option<&'static str>) -> String {
    nearest.map_or_else(String::new, |name| format!("; did you mean {name}?"))
}

impl Problem {
    /// The input at fault, so that a form can show the message beside its field; `None` where the
    /// fault is in no input that exists.
    #[must_use]
    pub const fn input(&self) -> Option<&'static str> {
        match self {
            Self::UnknownInput { .. } | Self::NotNameAndValue { .. } | Self::NotAnObject { .. } => {
                None
            }
            Self::Missing { input, .. }
            | Self::GivenTwice { input }
            | Self::NotAQuantity { input, .. }
            | Self::OtherScale { input, .. }
            | Self::NotFinite { input, .. }
            | Self::OutOfRange { input, .. }
            | Self::NotAWholeNumber { input, .. }
            | Self::WrongShape { input, .. }
            | Self::UnknownWord { input, .. }
            | Self::Empty { input, .. }
            | Self::CommaUnclear { input, .. }
            | Self::UnknownColumn { input, .. }
            | Self::ColumnTwice { input, .. }
            | Self::MissingColumn { input, .. }
            | Self::WrongCellCount { input, .. }
            | Self::FileUnreadable { input, .. }
            | Self::NotUtf8 { input, .. }
            | Self::TooLong { input, .. } => Some(input),
        }
    }
}

/// Everything wrong with the inputs of one run, in the order of the inputs.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Problems {
    list: Vec<Problem>,
    more: usize,
}

impl std::error::Error for Problems {}

impl fmt::Display for Problems {
    /// One problem a line.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, problem) in self.list.iter().enumerate() {
            let separator = if i == 0 { "" } else { "\n" };
            write!(f, "{separator}{problem}")?;
        }
        if self.more > 0 { write!(f, "\nand {} more like these", self.more) } else { Ok(()) }
    }
}

impl Problems {
    /// The problems, at most 200 of them.
    #[must_use]
    pub fn list(&self) -> &[Problem] {
        &self.list
    }

    /// How many more there were.
    #[must_use]
    pub const fn more(&self) -> usize {
        self.more
    }

    /// For a JSON answer: `{"problems": [{"input", "message"}], "more"}`.
    #[must_use]
    pub fn to_json(&self) -> Json {
        let one = |p: &Problem| json!({ "input": p.input(), "message": p.to_string() });
        json!({ "problems": self.list.iter().map(one).collect::<Vec<_>>(), "more": self.more })
    }

    pub(crate) fn push(&mut self, problem: Problem) {
        if self.list.len() < KEPT {
            self.list.push(problem);
        } else {
            self.more += 1;
        }
    }

    /// The value, or `None` with the problem noted.
    pub(crate) fn note<T>(&mut self, result: Result<T, Box<Problem>>) -> Option<T> {
        result.map_err(|problem| self.push(*problem)).ok()
    }

    pub(crate) const fn count(&self) -> usize {
        self.list.len() + self.more
    }
}

/// `text` cut to a length that fits a message.
pub(crate) fn shortened(text: &str) -> String {
    const SHOWN: usize = 60;
    match text.char_indices().nth(SHOWN) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text.to_owned(),
    }
}
