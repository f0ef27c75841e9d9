//! Form: how far a section is from a true circle, and of what waves its error is made.
//!
//! [`circle`] holds points, circles and the four reference circles by name; [`least`], [`zone`],
//! [`circumscribed`] and [`inscribed`] fit them, the last three with a [`proof`] that no better
//! circle exists. [`trace`] is what a roundness instrument gives; [`filter`] and [`harmonic`] work
//! on it by undulations per revolution; [`roundness`] gives the figures a drawing limits. Knows
//! nothing of instruments, cylinders or limits.

pub mod circle;
pub mod circumscribed;
mod exchange;
pub mod filter;
pub(crate) mod fourier;
pub mod harmonic;
pub mod inscribed;
pub mod least;
pub mod proof;
pub mod roundness;
mod scaled;
pub mod trace;
pub mod zone;
