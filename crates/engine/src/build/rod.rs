//! Bend and twist of a connecting rod, from an arbor in its small end read at two places.

use std::f64::consts::PI;

use bedplate_gauge::calculation::{Answer, Calculation, Input, Output, Refused, Stage};

/// Readings at the two ends of the arbor, the big end held square.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ArborReadings {
    /// Height at the left end, along the rod, mm.
    pub height_left_mm: f64,
    /// Height at the right end, mm.
    pub height_right_mm: f64,
    /// Offset at the left end, across the rod, mm.
    pub side_left_mm: f64,
    /// Offset at the right end, mm.
    pub side_right_mm: f64,
    /// Distance between the two places, mm; above zero.
    pub span_mm: f64,
}

/// Bend and twist, over a length the drawing names.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RodAlignment {
    /// Bend over the length, mm; positive where the left end is higher.
    pub bend_mm: f64,
    /// Twist over the length, mm; positive where the left end stands forward.
    pub twist_mm: f64,
    /// Both together, mm.
    pub resultant_mm: f64,
    /// Bend as an angle, minutes of arc.
    pub bend_arcmin: f64,
    /// Twist as an angle, minutes of arc.
    pub twist_arcmin: f64,
}

/// A span that gives no angle.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("a span of {span_mm} mm gives no angle; it must be above 0")]
pub struct NoSpan {
    /// What was given, mm.
    pub span_mm: f64,
}

impl From<NoSpan> for Refused {
    fn from(error: NoSpan) -> Self {
        Self::because("span", error.to_string())
    }
}

/// Bend and twist of a connecting rod.
///
/// # Formula
/// `bend = (h_l − h_r)/s · L`, `twist = (o_l − o_r)/s · L`, resultant their root sum of squares,
/// angles `arctan` of the slopes.
/// # Given
/// Readings in mm with a span above zero; the length over which the drawing states its limit, mm
/// (100 unless it says otherwise).
/// # Returns
/// See [`RodAlignment`].
/// # Errors
/// [`NoSpan`].
/// # Validity
/// Arbor straight and tight in the small end, big end held square.
/// # Source
/// Geometry.
/// # Example
/// ```
/// use bedplate_engine::build::rod::{ArborReadings, rod_alignment};
/// let readings = ArborReadings {
///     height_left_mm: 0.018, height_right_mm: -0.006,
///     side_left_mm: 0.012, side_right_mm: -0.010, span_mm: 100.0,
/// };
/// let rod = rod_alignment(readings, 100.0)?;
/// // Arithmetic from the geometry.
/// assert_eq!(format!("{:.3} {:.3} {:.4}", rod.bend_mm, rod.twist_mm, rod.resultant_mm),
///     "0.024 0.022 0.0326");
/// # Ok::<(), bedplate_engine::build::rod::NoSpan>(())
/// ```
pub fn rod_alignment(readings: ArborReadings, length_mm: f64) -> Result<RodAlignment, NoSpan> {
    let span_mm = readings.span_mm;
    if !(0.0 < span_mm && span_mm.is_finite()) {
        return Err(NoSpan { span_mm });
    }
    let bend = (readings.height_left_mm - readings.height_right_mm) / span_mm;
    let twist = (readings.side_left_mm - readings.side_right_mm) / span_mm;
    let arcmin = |slope: f64| slope.atan() * 180.0 * 60.0 / PI;
    Ok(RodAlignment {
        bend_mm: bend * length_mm,
        twist_mm: twist * length_mm,
        resultant_mm: bend.hypot(twist) * length_mm,
        bend_arcmin: arcmin(bend),
        twist_arcmin: arcmin(twist),
    })
}

/// Declaration of [`rod_alignment`].
pub const ROD_ALIGNMENT: Calculation = Calculation {
    name: "rod-alignment",
    title: "Bend and twist of a rod",
    stage: Stage::Build,
    question: "How far is this rod bent and twisted?",
    inputs: &[
        Input::quantity("height_left", "mm", "height of the arbor's left end, along the rod"),
        Input::quantity("height_right", "mm", "height of its right end"),
        Input::quantity("side_left", "mm", "offset of its left end, across the rod"),
        Input::quantity("side_right", "mm", "offset of its right end"),
        Input::quantity("span", "mm", "between the two places").over(0.0),
        Input::quantity("length", "mm", "over which the drawing states its limit")
            .over(0.0)
            .or("100 mm"),
    ],
    outputs: &[
        Output::figure("bend", "mm", "bend over the length; positive with the left end higher"),
        Output::figure("twist", "mm", "twist over the length; positive with the left end forward"),
        Output::figure("resultant", "mm", "both together"),
        Output::figure("bend_angle", "′", "bend as an angle"),
        Output::figure("twist_angle", "′", "twist as an angle"),
    ],
    formula: "bend = (h_l − h_r)/s · L; twist = (o_l − o_r)/s · L",
    source: "geometry",
    validity: "Arbor straight and tight in the small end, big end held square.",
    example: &[
        ("height_left", "0.018 mm"),
        ("height_right", "-0.006 mm"),
        ("side_left", "0.012 mm"),
        ("side_right", "-0.010 mm"),
        ("span", "100 mm"),
    ],
    expected: &[
        ("bend", "0.024"),
        ("twist", "0.022"),
        ("resultant", "0.03255764119"),
        ("bend_angle", "0.825059209"),
    ],
    run: |given| {
        let readings = ArborReadings {
            height_left_mm: given.number("height_left"),
            height_right_mm: given.number("height_right"),
            side_left_mm: given.number("side_left"),
            side_right_mm: given.number("side_right"),
            span_mm: given.number("span"),
        };
        let rod = rod_alignment(readings, given.number("length"))?;
        Ok(Answer::new()
            .figure("bend", rod.bend_mm)
            .figure("twist", rod.twist_mm)
            .figure("resultant", rod.resultant_mm)
            .figure("bend_angle", rod.bend_arcmin)
            .figure("twist_angle", rod.twist_arcmin))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn turning_the_rod_about_turns_the_signs(
            left in -0.1..0.1f64, right in -0.1..0.1f64, span_mm in 20.0..200.0f64,
        ) {
            let readings = ArborReadings {
                height_left_mm: left,
                height_right_mm: right,
                side_left_mm: right,
                side_right_mm: left,
                span_mm,
            };
            let turned = ArborReadings {
                height_left_mm: right,
                height_right_mm: left,
                side_left_mm: left,
                side_right_mm: right,
                span_mm,
            };
            let one = rod_alignment(readings, 100.0).unwrap();
            let other = rod_alignment(turned, 100.0).unwrap();
            prop_assert_eq!(one.bend_mm, -other.bend_mm);
            prop_assert!((one.resultant_mm - other.resultant_mm).abs() < 1e-15);
        }
    }

    #[test]
    fn no_span_is_refused() {
        for span_mm in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            let readings = ArborReadings {
                height_left_mm: 0.0,
                height_right_mm: 0.0,
                side_left_mm: 0.0,
                side_right_mm: 0.0,
                span_mm,
            };
            assert!(rod_alignment(readings, 100.0).is_err());
        }
    }
}
