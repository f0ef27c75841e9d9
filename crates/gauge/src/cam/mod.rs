//! The cam: its measured lift against the drawing's.
//!
//! [`lift`] holds the nominal lift, [`zone`] what part of the cam an angle belongs to,
//! [`smoothing`] how errors are smoothed and what that does to them, [`errors`] the comparison.
//! Knows nothing of valves, springs or speed: multiply a velocity in mm/rad by the camshaft's speed
//! in rad/s.

pub mod errors;
pub mod lift;
pub mod smoothing;
pub mod zone;
