//! Balance: from the unbalance a machine found in a rotor to where and how deep to drill, and what
//! is left afterwards.
//!
//! Knows nothing of how the readings came in, who drills or what the page looks like. Start reading
//! at [`vector`] (how an unbalance is written) and [`plan::plan_holes`] (what to drill);
//! [`permissible`] says how much may stay, [`influence`] and [`planes`] how a machine's readings
//! become unbalances, [`check::check_plan`] proves a plan by a way of its own.
//!
//! Everywhere: unbalance in g·mm; angles in degrees from crank pin 1, all counted in one and the
//! same sense, which the works states (see [`vector::Sense`]); z along the axis in mm from any one
//! datum; an unbalance points to the heavy side, and a hole there takes it away.

use bedplate_gauge::calculation::Calculation;

pub mod check;
pub mod choice;
pub mod holes;
pub mod influence;
mod layout;
pub mod permissible;
pub mod plan;
pub mod planes;
pub mod residual;
pub mod rotor;
mod share;
pub mod split;
pub mod vector;
mod web;

/// The trade's usual caution for balancing, one sentence each. They never stand in the way of a
/// calculation and are never left out where its result is acted upon.
pub const CAUTIONS: &[&str] = &[
    "Guard shut and interlocked before the spindle turns; nobody in the plane of a turning rotor.",
    "Drive key, coupling and trial masses secured, cradle clamped, before every run.",
    "Never above the machine's rated speed, nor above the rotor's.",
    "Keep the maker's minimum wall and the forbidden zones; set the depth stop before drilling.",
    "The makers' instructions for machine and rotor, local codes and licensed practice go first.",
];

/// Every calculation of balancing, in the order in which a rotor meets them.
pub static CALCULATIONS: &[&Calculation] = &[
    &permissible::PERMISSIBLE_UNBALANCE,
    &permissible::PLANE_SHARES,
    &influence::TRIAL_MASS_ONE_PLANE,
    &influence::FOUR_RUN,
    &influence::TWO_PLANE_INFLUENCE,
    &planes::PLANE_SEPARATION,
    &holes::DRILLED_HOLE,
    &holes::HOLE_DEPTH,
    &split::SPLIT_CORRECTION,
    &choice::HOLE_CHOICE,
    &plan::HOLE_PLAN,
    &residual::UNBALANCE_LEFT,
];
