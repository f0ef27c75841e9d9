//! Drilling: speed, feed, point and time of one hole.

use bedplate_gauge::calculation::{Answer, Calculation, Input, Output, Stage};

use super::{
    APPROACH, CuttingError, DEPTH, DIAMETER, FEED, FORMULAE, SPEED, SPINDLE, SurfaceSpeed, TIME,
    not_negative, positive, spindle_speed_rpm,
};

/// A hole to drill.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drilling {
    /// Diameter, mm.
    pub diameter_mm: f64,
    /// Cutting speed, m/min.
    pub speed_m_min: f64,
    /// Feed, mm/rev.
    pub feed_mm: f64,
    /// Depth of the full diameter, mm.
    pub depth_mm: f64,
    /// Approach before the point touches, mm.
    pub approach_mm: f64,
    /// Overrun behind the hole, mm.
    pub overrun_mm: f64,
    /// Point angle, degrees; 180 for a flat end.
    pub point_deg: f64,
}

/// What drilling asks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrillingTime {
    /// Spindle speed, rev/min.
    pub spindle_rpm: f64,
    /// Feed rate, mm/min.
    pub feed_rate_mm_min: f64,
    /// Length of the point, mm.
    pub point_mm: f64,
    /// Time, s.
    pub time_s: f64,
    /// Removal rate at full diameter, cm³/min.
    pub removal_cm3_min: f64,
}

/// Speed, feed rate and time of a drilled hole.
///
/// # Formula
/// `n = 1000 v/(π d)`, `v_f = f n`, point `(d/2)/tan(σ/2)`, travel depth + approach + point +
/// overrun, `t = travel/v_f`, removal `v f d/4`.
/// # Given
/// See [`Drilling`]; diameter, speed, feed above zero.
/// # Returns
/// Spindle speed, feed rate, point length, time in s, removal rate in cm³/min.
/// # Errors
/// [`CuttingError::NotPositive`], [`CuttingError::Negative`], [`CuttingError::PointAngle`].
/// # Validity
/// From the solid, without pecking.
/// # Source
/// Standard machining formulae (from memory).
/// # Example
/// ```
/// use bedplate_shop::cutting::drilling::{Drilling, drilling};
/// let hole = drilling(&Drilling {
///     diameter_mm: 8.5, speed_m_min: 90.0, feed_mm: 0.2, depth_mm: 32.0,
///     approach_mm: 2.0, overrun_mm: 0.0, point_deg: 118.0,
/// })?;
/// // Arithmetic from the formulae.
/// assert_eq!(format!("{:.6} s", hole.time_s), "3.253707 s");
/// # Ok::<(), bedplate_shop::cutting::CuttingError>(())
/// ```
pub fn drilling(hole: &Drilling) -> Result<DrillingTime, CuttingError> {
    let Drilling { diameter_mm, speed_m_min, feed_mm, .. } = *hole;
    positive(&[("diameter", diameter_mm), ("speed", speed_m_min), ("feed", feed_mm)])?;
    not_negative(&[
        ("depth", hole.depth_mm),
        ("approach", hole.approach_mm),
        ("overrun", hole.overrun_mm),
    ])?;
    let point_deg = hole.point_deg;
    if !(0.0 < point_deg && point_deg <= 180.0) {
        return Err(CuttingError::PointAngle { point_deg });
    }
    // The tangent of 90° is not quite infinite in binary; a flat end has no point.
    let half_angle = (point_deg / 2.0).to_radians();
    let point_mm = if point_deg == 180.0 { 0.0 } else { diameter_mm / 2.0 / half_angle.tan() };
    let spindle_rpm = spindle_speed_rpm(SurfaceSpeed { speed_m_min, diameter_mm });
    let feed_rate_mm_min = feed_mm * spindle_rpm;
    let travel_mm = hole.depth_mm + hole.approach_mm + point_mm + hole.overrun_mm;
    Ok(DrillingTime {
        spindle_rpm,
        feed_rate_mm_min,
        point_mm,
        time_s: travel_mm / feed_rate_mm_min * 60.0,
        removal_cm3_min: speed_m_min * feed_mm * diameter_mm / 4.0,
    })
}

/// Declaration of [`drilling`].
pub const DRILLING: Calculation = Calculation {
    name: "drilling",
    title: "Drilling a hole",
    stage: Stage::Plan,
    question: "At what speed and feed is this hole drilled, and how long does it take?",
    inputs: &[
        DIAMETER,
        SPEED,
        FEED,
        DEPTH,
        APPROACH,
        Input::quantity("overrun", "mm", "behind the hole").at_least(0.0).or("0 mm"),
        Input::quantity("point_angle", "°", "of the drill; 180° for a flat end")
            .over(0.0)
            .at_most(180.0)
            .or("118°"),
    ],
    outputs: &[
        SPINDLE,
        Output::figure("feed_rate", "mm/min", "feed rate"),
        Output::figure("point", "mm", "length of the point"),
        TIME,
        Output::figure("removal", "cm³/min", "removal rate at full diameter"),
    ],
    formula: "n = 1000 v/(π d); v_f = f n; t = (l + a + (d/2)/tan(σ/2) + o)/v_f; Q = v f d/4",
    source: FORMULAE,
    validity: "From the solid, without pecking.",
    example: &[
        ("diameter", "8.5 mm"),
        ("speed", "90 m/min"),
        ("feed", "0.2 mm/rev"),
        ("depth", "32 mm"),
        ("approach", "2 mm"),
        ("point_angle", "118°"),
    ],
    expected: &[
        ("spindle", "3370.33997"),
        ("feed_rate", "674.067994"),
        ("point", "2.55365763"),
        ("time", "3.25370656"),
        ("removal", "38.25"),
    ],
    run: |given| {
        let hole = drilling(&Drilling {
            diameter_mm: given.number("diameter"),
            speed_m_min: given.number("speed"),
            feed_mm: given.number("feed"),
            depth_mm: given.number("depth"),
            approach_mm: given.number("approach"),
            overrun_mm: given.number("overrun"),
            point_deg: given.number("point_angle"),
        })?;
        Ok(Answer::new()
            .figure("spindle", hole.spindle_rpm)
            .figure("feed_rate", hole.feed_rate_mm_min)
            .figure("point", hole.point_mm)
            .figure("time", hole.time_s)
            .figure("removal", hole.removal_cm3_min))
    },
};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn holes_that_cannot_be_are_refused() {
        let hole = Drilling {
            diameter_mm: 8.5,
            speed_m_min: 90.0,
            feed_mm: 0.2,
            depth_mm: 32.0,
            approach_mm: 2.0,
            overrun_mm: 0.0,
            point_deg: 118.0,
        };
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert!(drilling(&Drilling { diameter_mm: bad, ..hole }).is_err());
            assert!(drilling(&Drilling { feed_mm: bad, ..hole }).is_err());
        }
        assert!(drilling(&Drilling { point_deg: 181.0, ..hole }).is_err());
        assert_eq!(drilling(&Drilling { point_deg: 180.0, ..hole }).unwrap().point_mm, 0.0);
    }
}
