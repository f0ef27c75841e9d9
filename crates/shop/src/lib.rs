//! The machine shop: how the part is cut and how the line is fed.
//!
//! Pure calculations. This crate knows nothing of files, the time of day, a random source, a
//! database, the web or engines. Start reading at [`cutting`] for one operation and at [`line`]
//! for a line of them.

pub mod cutting;
pub mod cycle;
pub mod force;
pub mod line;
pub mod queue;
pub mod saturated;
pub mod stations;
pub mod tool_life;

use bedplate_gauge::calculation::Calculation;

/// Every calculation of the machine shop: first the cutting, then the line.
pub static CALCULATIONS: &[&Calculation] = &[
    &cutting::drilling::DRILLING,
    &cutting::milling::FACE_MILLING,
    &cutting::turning::BORING,
    &cutting::turning::FINE_BORING_FEED,
    &cutting::turning::TURNING,
    &cutting::facing::FACING,
    &cutting::tapping::TAPPING,
    &cutting::grinding::PLUNGE_GRINDING,
    &cutting::broaching::BROACHING,
    &tool_life::TOOL_LIFE,
    &tool_life::BEST_SPEED,
    &force::CUTTING_FORCE,
    &force::DRILL_FORCE,
    &force::MILLING_POWER,
    &cycle::OPERATION_CYCLE,
    &cycle::PIECE_TIME,
    &cycle::HOLE_TIME,
    &line::TAKT,
    &line::LINE_LOAD,
    &queue::QUEUE_ONE,
    &queue::QUEUE_GENERAL,
    &queue::QUEUE_SEVERAL,
    &queue::QUEUE_HEAVY,
    &queue::PIECES_IN_LINE,
    &saturated::SATURATED_LINE,
    &stations::FEWEST_STATIONS,
    &stations::SHORTEST_CYCLE,
];

/// Every calculation of the machine shop.
pub fn calculations() -> impl Iterator<Item = &'static Calculation> {
    CALCULATIONS.iter().copied()
}
