//! The engine shop: parts into engines, engines onto the bed.
//!
//! Pure calculations. This crate knows nothing of files, the time of day, a database, the web or
//! the machine shop; a random source comes in as an argument. Start reading at [`bed`] for an
//! engine on test, at [`build`] for what a set of pieces gives.

pub mod balance;
pub mod bed;
pub mod build;
pub mod grade;
pub mod kit;
pub mod set;

mod draw;

use bedplate_gauge::calculation::Calculation;

/// Every calculation of the engine shop, module by module.
pub fn calculations() -> impl Iterator<Item = &'static Calculation> {
    [
        balance::CALCULATIONS,
        bed::CALCULATIONS,
        build::CALCULATIONS,
        grade::CALCULATIONS,
        set::CALCULATIONS,
    ]
    .into_iter()
    .flatten()
    .copied()
}
