//! Facing at constant surface speed, held by the spindle's limit.

use std::f64::consts::PI;

use bedplate_gauge::calculation::{Answer, Calculation, Input, Output, Stage};

use super::{CuttingError, FEED, SPEED, TIME, not_negative, positive};

/// Facing inward at constant surface speed, with a limit to the spindle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Facing {
    /// Outer radius, mm.
    pub from_mm: f64,
    /// Inner radius, mm; 0 for a full face.
    pub to_mm: f64,
    /// Surface speed, m/min.
    pub speed_m_min: f64,
    /// Feed, mm/rev.
    pub feed_mm: f64,
    /// Fastest the spindle may turn, rev/min.
    pub spindle_rpm_max: f64,
}

/// What facing asks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FacingTime {
    /// Radius inside which the spindle is at its limit, mm.
    pub limit_radius_mm: f64,
    /// Time, s.
    pub time_s: f64,
}

/// Time of facing at constant surface speed.
///
/// # Formula
/// `t = ∫ dr/(f n(r))` with `n = min(v/(2π r), n_max)`: outside `r_l = v/(2π n_max)`
/// `π (r₁² − r₂²)/(v f)`, inside it `(r₁ − r₂)/(f n_max)`.
/// # Given
/// See [`Facing`]; radii in mm, the outer above the inner, the inner 0 or more.
/// # Returns
/// The radius at which the spindle reaches its limit, and the time in s.
/// # Errors
/// [`CuttingError::NotPositive`], [`CuttingError::Negative`], [`CuttingError::NotInward`].
/// # Validity
/// The spindle follows without delay.
/// # Source
/// Integral of the time; closed form derived here.
/// # Example
/// ```
/// use bedplate_shop::cutting::facing::{Facing, facing};
/// let face = facing(&Facing {
///     from_mm: 60.0, to_mm: 20.0, speed_m_min: 200.0, feed_mm: 0.2, spindle_rpm_max: 3000.0,
/// })?;
/// // Closed form of the integral.
/// assert_eq!(format!("{:.6} s", face.time_s), "15.079645 s");
/// # Ok::<(), bedplate_shop::cutting::CuttingError>(())
/// ```
pub fn facing(face: &Facing) -> Result<FacingTime, CuttingError> {
    let Facing { from_mm, to_mm, speed_m_min, feed_mm, spindle_rpm_max } = *face;
    positive(&[
        ("from", from_mm),
        ("speed", speed_m_min),
        ("feed", feed_mm),
        ("spindle_max", spindle_rpm_max),
    ])?;
    not_negative(&[("to", to_mm)])?;
    if to_mm >= from_mm {
        return Err(CuttingError::NotInward { from_mm, to_mm });
    }
    let speed_mm_min = speed_m_min * 1e3;
    let limit_radius_mm = speed_mm_min / (2.0 * PI * spindle_rpm_max);
    let turn = limit_radius_mm.clamp(to_mm, from_mm);
    let outside_min = PI * (from_mm * from_mm - turn * turn) / (speed_mm_min * feed_mm);
    let inside_min = (turn - to_mm) / (feed_mm * spindle_rpm_max);
    Ok(FacingTime { limit_radius_mm, time_s: (outside_min + inside_min) * 60.0 })
}

/// Declaration of [`facing`].
pub const FACING: Calculation = Calculation {
    name: "facing",
    title: "Facing at constant surface speed",
    stage: Stage::Plan,
    question: "How long does facing take, and where does the spindle reach its limit?",
    inputs: &[
        Input::quantity("from", "mm", "outer radius").over(0.0),
        Input::quantity("to", "mm", "inner radius; 0 for a full face").at_least(0.0).or("0 mm"),
        SPEED,
        FEED,
        Input::quantity("spindle_max", "rev/min", "fastest the spindle may turn").over(0.0),
    ],
    outputs: &[
        Output::figure("limit_radius", "mm", "radius inside which the spindle is at its limit"),
        TIME,
    ],
    formula: "t = ∫ dr/(f n(r)), n = min(v/(2π r), n_max)",
    source: "integral of the time; closed form derived here",
    validity: "The spindle follows without delay.",
    example: &[
        ("from", "60 mm"),
        ("to", "20 mm"),
        ("speed", "200 m/min"),
        ("feed", "0.2 mm/rev"),
        ("spindle_max", "3000 rev/min"),
    ],
    expected: &[("limit_radius", "10.6103295"), ("time", "15.0796447")],
    run: |given| {
        let face = facing(&Facing {
            from_mm: given.number("from"),
            to_mm: given.number("to"),
            speed_m_min: given.number("speed"),
            feed_mm: given.number("feed"),
            spindle_rpm_max: given.number("spindle_max"),
        })?;
        Ok(Answer::new().figure("limit_radius", face.limit_radius_mm).figure("time", face.time_s))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cutting::{SurfaceSpeed, spindle_speed_rpm};

    #[test]
    fn facing_agrees_with_adding_up_thin_rings() {
        let face = Facing {
            from_mm: 60.0,
            to_mm: 4.0,
            speed_m_min: 200.0,
            feed_mm: 0.2,
            spindle_rpm_max: 3000.0,
        };
        let n_rings = 200_000;
        let step = 56.0 / f64::from(n_rings);
        let minutes: f64 = (0..n_rings)
            .map(|i| {
                let radius_mm = 4.0 + (f64::from(i) + 0.5) * step;
                let surface = SurfaceSpeed { speed_m_min: 200.0, diameter_mm: 2.0 * radius_mm };
                step / (0.2 * spindle_speed_rpm(surface).min(3000.0))
            })
            .sum();
        assert!((facing(&face).unwrap().time_s / (minutes * 60.0) - 1.0).abs() < 1e-8);
    }

    #[test]
    fn a_facing_cut_must_run_inward() {
        let face = Facing {
            from_mm: 20.0,
            to_mm: 20.0,
            speed_m_min: 200.0,
            feed_mm: 0.2,
            spindle_rpm_max: 3000.0,
        };
        assert!(matches!(facing(&face), Err(CuttingError::NotInward { .. })));
    }
}
