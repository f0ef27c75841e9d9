//! A reading as it is kept: what was measured, on which piece, with which gauge, by whom.

use std::sync::Arc;

use bedplate_gauge::quantity::Quantity;

/// A short text that occurs again and again (a characteristic, a gauge, a person); shared in
/// memory, kept once in the store.
pub type Name = Arc<str>;

/// Milliseconds since 1970-01-01T00:00:00 UTC.
pub type Millis = i64;

/// What the readings of one bench in one run share.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Context {
    /// The gauge.
    pub gauge: Name,
    /// The person or device that took the reading.
    pub person: Name,
    /// The machine that made the feature, or empty.
    pub machine: Name,
    /// The spindle of that machine, or empty.
    pub spindle: Name,
    /// The tool, or empty.
    pub tool: Name,
    /// Where the reading came from: a file's name, `page`, `http`, `serial:…`.
    pub source: Name,
    /// The edition of the plan in force.
    pub edition: Name,
}

/// One value from one gauge.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reading {
    /// When it was taken.
    pub at: Millis,
    /// The characteristic: `block.bore`.
    pub characteristic: Name,
    /// The piece's number, or an engine's.
    pub piece: Name,
    /// The position on the piece: `1`, `A`, or empty.
    pub position: Name,
    /// The value as received, digits and unit.
    pub value: Quantity,
    /// Gauge, person and the rest.
    pub context: Arc<Context>,
}

/// A reading that is in the record, with its number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptReading {
    /// Its number in the record; readings and entries share one sequence, from 1.
    pub number: u64,
    /// The reading.
    pub reading: Reading,
}
