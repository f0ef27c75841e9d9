//! The demo works: Quarrybeck Engine Works and its engine QB4, all invented.
//!
//! [`generate`] simulates thirty working days of the works from a seed: spindles that wear and are
//! reset, an air gauge that goes out of calibration, a heat of soft tappets, a drifting crank
//! grinder, pistons cut a grade small. It gives the record as it would have been written, and apart
//! from it the [`truth::Truth`], so that a test can ask whether the tool finds what is there. Knows
//! nothing of how the record is kept or what is made of it.
//!
//! Start reading at `floor.rs` (the whole works, turn by turn), then `line.rs` (how a piece is
//! made and gauged).

use bedplate_record::store::Group;

mod balance;
mod bed;
mod block;
mod build;
mod calendar;
mod crankshaft;
mod daybook;
mod drawing;
pub mod examples;
mod floor;
mod gauging;
mod kitting;
mod line;
mod parts;
mod piston;
mod power;
mod stream;
pub mod truth;

use truth::Truth;

/// The works file of the demo works, fully commented.
pub const WORKS_TOML: &str = include_str!("../works.toml");

/// The seed of the demo that a newcomer sees.
pub const SEED: u64 = 68_76;

/// A works with thirty days behind it.
#[derive(Debug, Clone, PartialEq)]
pub struct Demo {
    /// Its works file.
    pub works_toml: &'static str,
    /// Its record, in order of time, one group an hour; the first takes the plan. To be appended
    /// to an empty store in this order.
    pub groups: Vec<Group>,
    /// What the record does not say.
    pub truth: Truth,
}

/// Simulates the demo works: the same seed gives the same bytes on every machine.
///
/// The record runs from Wednesday, 14 October 2026, 06:00, to Tuesday, 24 November 2026, 14:10, by
/// the clock of Europe/London.
///
/// # Example
/// ```
/// let demo = bedplate_demo::generate(bedplate_demo::SEED);
/// assert!(demo.groups.iter().map(|g| g.readings.len()).sum::<usize>() > 120_000);
/// ```
#[must_use]
pub fn generate(seed: u64) -> Demo {
    let (groups, truth) = floor::run(seed, WORKS_TOML);
    Demo { works_toml: WORKS_TOML, groups, truth }
}
