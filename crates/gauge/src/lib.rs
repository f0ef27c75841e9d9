//! The gauge room: what a measurement is and what it proves.
//!
//! Pure calculations. This crate knows nothing of files, the time of day, a random source, a
//! database, the web or engines. Start reading at [`quantity`] (figures with units as they were
//! received), then [`judge`] (reading, limits and uncertainty to a judgement). [`uncertainty`],
//! [`masters`] and [`study`] say how far a gauge can be wrong; [`form`], [`bore`] and [`cam`] how
//! far a piece is from its shape; [`chart`], [`trend`] and [`capability`] what the readings say of
//! the process that made the pieces.
//!
//! [`calculation`] holds the shape in which every public calculation of the program is declared;
//! each crate that owns a formula declares it beside the function, the handbook gathers them.

pub mod bore;
pub mod calculation;
pub mod cam;
pub mod capability;
pub mod chart;
pub mod distribution;
pub mod drift;
pub mod factor;
pub mod form;
pub mod hardness;
mod integral;
pub mod iso286;
pub mod judge;
pub mod least_squares;
pub mod limits;
pub mod masters;
pub mod quantity;
pub mod rings;
pub mod risk;
pub mod run_length;
pub mod run_rules;
pub mod study;
pub mod summary;
pub mod trend;
pub mod uncertainty;
pub mod unit;
pub mod variance;

use calculation::Calculation;

/// Every calculation of the gauge room, in the order of its modules.
pub static CALCULATIONS: &[&Calculation] = &[
    &bore::BORE_FORM,
    &cam::errors::CAM_LIFT,
    &capability::CAPABILITY,
    &chart::INDIVIDUALS_CHART,
    &chart::GROUP_CHART,
    &chart::COUNT_CHART,
    &distribution::NORMAL_SHARE,
    &distribution::QUANTILE,
    &drift::EWMA_CHART,
    &drift::CUSUM_CHART,
    &factor::CHART_FACTORS,
    &form::circle::ROUNDNESS,
    &form::roundness::ROUNDNESS_TRACE,
    &form::filter::ROUNDNESS_FILTER,
    &hardness::VICKERS,
    &hardness::BRINELL,
    &hardness::ROCKWELL,
    &iso286::TOLERANCE_CLASS,
    &iso286::FIT,
    &judge::JUDGE,
    &least_squares::POLYNOMIAL,
    &masters::TWO_MASTERS,
    &rings::RING_GAP,
    &rings::TAPER_RING,
    &rings::TAPER_RING_GAP,
    &risk::RISK,
    &run_length::RUN_LENGTH,
    &study::GAUGE_STUDY,
    &summary::SUMMARY,
    &trend::LINE,
    &trend::RESET_ADVICE,
    &uncertainty::UNCERTAINTY_BUDGET,
    &uncertainty::AT_REFERENCE,
    &variance::ONE_WAY,
];
