//! The build: what a set of measured pieces gives once it is bolted together.
//!
//! Compression ratio, clearances and end float of one engine from its own pieces; stacks of limits
//! for an engine of the drawing; fasteners; rods; the oil pump and its oil. Knows nothing of which
//! piece goes where or of who builds. Start reading at [`stack`] and [`compression`].

use bedplate_gauge::calculation::Calculation;

pub mod clearances;
pub mod compression;
pub mod fastener;
pub mod oil;
pub mod rod;
pub mod stack;

/// Every calculation of the build.
pub static CALCULATIONS: &[&Calculation] = &[
    &compression::COMPRESSION_RATIO,
    &compression::COMPRESSION_RATIOS,
    &clearances::PISTON_TO_HEAD,
    &clearances::END_FLOAT,
    &clearances::BEARING_CLEARANCE,
    &stack::STACK,
    &stack::UNIFORM_SUM,
    &stack::STACK_DRAWN,
    &fastener::TIGHTENING,
    &rod::ROD_ALIGNMENT,
    &oil::OIL_PUMP,
    &oil::ORIFICE,
    &oil::OIL_VISCOSITY,
    &oil::VISCOSITY_INDEX,
];
