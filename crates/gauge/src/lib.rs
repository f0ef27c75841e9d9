//! The gauge room: what a measurement is and what it proves.
//!
//! Pure calculations. This crate knows nothing of files, the time of day, a random source, a
//! database, the web or engines. Start reading at [`quantity`] (figures with units as they were
//! received), then [`judge`] (reading, limits and uncertainty to a judgement).
//!
//! [`calculation`] holds the shape in which every public calculation of the program is declared;
//! each crate that owns a formula declares it beside the function, the handbook gathers them.

pub mod calculation;
pub mod chart;
pub mod distribution;
pub mod factor;
mod integral;
pub mod judge;
pub mod limits;
pub mod masters;
pub mod quantity;
pub mod risk;
pub mod run_rules;
pub mod summary;
pub mod uncertainty;
pub mod unit;

use calculation::Calculation;

/// Every calculation of the gauge room, in the order of its modules.
pub static CALCULATIONS: &[&Calculation] = &[
    &chart::INDIVIDUALS_CHART,
    &chart::GROUP_CHART,
    &chart::COUNT_CHART,
    &distribution::NORMAL_SHARE,
    &distribution::QUANTILE,
    &factor::CHART_FACTORS,
    &judge::JUDGE,
    &masters::TWO_MASTERS,
    &risk::RISK,
    &summary::SUMMARY,
    &uncertainty::UNCERTAINTY_BUDGET,
    &uncertainty::AT_REFERENCE,
];
