//! Speeds, feeds and cutting times of single operations.
//!
//! One struct an operation; times from the beginning of the approach to the end of the cut, without
//! handling (see [`crate::cycle`]).
//!
//! # Caution
//! The figures advise; the machine's and the tool's makers set the limits. A grinding wheel must
//! never run above the speed marked on it: check the mark, ring-test the wheel, keep the guards
//! closed and let it run free behind them before use.

pub mod broaching;
pub mod drilling;
pub mod facing;
pub mod grinding;
pub mod milling;
pub mod tapping;
pub mod turning;

use std::f64::consts::PI;

use bedplate_gauge::calculation::{Input, Output, Refused};

/// Why an operation cannot be computed.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum CuttingError {
    /// A figure that must be above zero is not.
    #[error("{what} of {value} cannot be; it must be a number above 0")]
    NotPositive {
        /// Which figure.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// A figure that must be zero or more is not.
    #[error("{what} of {value} cannot be; it must be 0 or more")]
    Negative {
        /// Which figure.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// A cut wider than the cutter.
    #[error("a cut {width_mm} mm wide is wider than the cutter of {diameter_mm} mm")]
    WiderThanCutter {
        /// Width of the cut, mm.
        width_mm: f64,
        /// Diameter of the cutter, mm.
        diameter_mm: f64,
    },
    /// A point angle that is none.
    #[error("a point angle of {point_deg}° cannot be; it must be above 0° and at most 180°")]
    PointAngle {
        /// Point angle, degrees.
        point_deg: f64,
    },
    /// Facing that does not go inward.
    #[error("facing from a radius of {from_mm} mm to {to_mm} mm does not go inward")]
    NotInward {
        /// Outer radius, mm.
        from_mm: f64,
        /// Inner radius, mm.
        to_mm: f64,
    },
}

impl CuttingError {
    const fn input(&self) -> &'static str {
        match self {
            Self::NotPositive { what, .. } | Self::Negative { what, .. } => what,
            Self::WiderThanCutter { .. } => "width",
            Self::PointAngle { .. } => "point_angle",
            Self::NotInward { .. } => "to",
        }
    }
}

impl From<CuttingError> for Refused {
    fn from(error: CuttingError) -> Self {
        Self::because(error.input(), error.to_string())
    }
}

fn positive(figures: &[(&'static str, f64)]) -> Result<(), CuttingError> {
    match figures.iter().find(|(_, value)| !(0.0 < *value && value.is_finite())) {
        Some(&(what, value)) => Err(CuttingError::NotPositive { what, value }),
        None => Ok(()),
    }
}

fn not_negative(figures: &[(&'static str, f64)]) -> Result<(), CuttingError> {
    match figures.iter().find(|(_, value)| !(0.0 <= *value && value.is_finite())) {
        Some(&(what, value)) => Err(CuttingError::Negative { what, value }),
        None => Ok(()),
    }
}

/// A cutting speed at a diameter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurfaceSpeed {
    /// Cutting speed, m/min.
    pub speed_m_min: f64,
    /// Diameter that turns, mm; above zero.
    pub diameter_mm: f64,
}

/// Spindle speed that gives a cutting speed at a diameter.
///
/// # Formula
/// `n = 1000 v/(π D)`.
/// # Given
/// Cutting speed in m/min; diameter in mm, above zero.
/// # Returns
/// Spindle speed in rev/min.
/// # Validity
/// At the diameter named; elsewhere on the tool it is slower.
/// # Source
/// Definition.
/// # Example
/// ```
/// use bedplate_shop::cutting::{SurfaceSpeed, spindle_speed_rpm};
/// // Arithmetic from the definition: 90 m/min on 8.5 mm.
/// let speed = spindle_speed_rpm(SurfaceSpeed { speed_m_min: 90.0, diameter_mm: 8.5 });
/// assert_eq!(format!("{speed:.4}"), "3370.3400");
/// ```
#[must_use]
pub fn spindle_speed_rpm(surface: SurfaceSpeed) -> f64 {
    surface.speed_m_min * 1e3 / (PI * surface.diameter_mm)
}

const SPEED: Input = Input::quantity("speed", "m/min", "cutting speed").over(0.0);
const FEED: Input = Input::quantity("feed", "mm/rev", "feed").over(0.0);
const DIAMETER: Input = Input::quantity("diameter", "mm", "diameter").over(0.0);
const DEPTH: Input = Input::quantity("depth", "mm", "depth").at_least(0.0);
const APPROACH: Input = Input::quantity("approach", "mm", "approach").at_least(0.0).or("0 mm");
const SPINDLE: Output = Output::figure("spindle", "rev/min", "spindle speed");
const TIME: Output = Output::figure("time", "s", "time");
const FORMULAE: &str = "standard machining formulae (from memory); example arithmetic from them";
