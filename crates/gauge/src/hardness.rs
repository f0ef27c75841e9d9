//! Hardness from an indentation: Vickers, Brinell, Rockwell.
//!
//! Caution: the scales do not convert into each other. No conversion is a drawing value; measure
//! on the scale the drawing names.

use std::f64::consts::PI;

use crate::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};

/// One over the standard acceleration of gravity, 1/9.80665: hardness numbers are still those of
/// kilogram-force.
const PER_NEWTON: f64 = 0.102;

/// Why an indentation gives no hardness.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum HardnessError {
    /// A force or length is not positive.
    #[error("the {what} is {value}; it must be positive")]
    NotPositive {
        /// Which one.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// The indentation is wider than the ball.
    #[error("the indentation is {indentation_mm} mm wide, the ball {ball_mm} mm; it must be less")]
    WiderThanBall {
        /// Diameter of the indentation.
        indentation_mm: f64,
        /// Diameter of the ball.
        ball_mm: f64,
    },
    /// The depth lies outside the scale.
    #[error("a depth of {depth_mm} mm lies outside the scale, which ends at {deepest_mm} mm")]
    Depth {
        /// Depth as read.
        depth_mm: f64,
        /// Depth at which the scale reads 0.
        deepest_mm: f64,
    },
}

fn positive(what: &'static str, value: f64) -> Result<f64, HardnessError> {
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(HardnessError::NotPositive { what, value })
    }
}

/// Vickers hardness from the test force and the mean diagonal of the indentation.
///
/// # Formula
/// HV = 0.1891·F/d², F in newtons, d the mean of both diagonals in millimetres.
///
/// # Given
/// `force_n` and `diagonal_mm`, positive.
///
/// # Returns
/// Vickers hardness, a plain number.
///
/// # Errors
/// [`HardnessError::NotPositive`].
///
/// # Validity
/// Flat surface; for round ones the standard's correction factors apply. The test piece at least
/// 1.5 diagonals thick.
///
/// # Source
/// ISO 6507-1, formula from memory; ISO 6507-4 prints 297 HV 10 for d = 0.250 mm.
///
/// # Example
/// ```
/// let hv = bedplate_gauge::hardness::vickers(98.07, 0.250).unwrap();
/// assert_eq!(format!("{hv:.0}"), "297");
/// ```
pub fn vickers(force_n: f64, diagonal_mm: f64) -> Result<f64, HardnessError> {
    let force = positive("force", force_n)?;
    let diagonal = positive("diagonal", diagonal_mm)?;
    Ok(0.1891 * force / (diagonal * diagonal))
}

/// Brinell hardness from the test force, the ball and the mean diameter of the indentation.
///
/// # Formula
/// HBW = 0.102·2F/(π·D·(D − √(D² − d²))), F in newtons, D and d in millimetres.
///
/// # Given
/// `force_n`, `ball_mm`, `indentation_mm`, positive, the indentation less wide than the ball.
///
/// # Returns
/// Brinell hardness, a plain number; the standard rounds it to three figures.
///
/// # Errors
/// [`HardnessError`].
///
/// # Validity
/// The standard wants 0.24·D ≤ d ≤ 0.6·D.
///
/// # Source
/// ISO 6506-1; ISO 6506-4 prints 229 for 29 420 N, 10 mm, d = 4.00 mm (from memory).
///
/// # Example
/// ```
/// let hbw = bedplate_gauge::hardness::brinell(29420.0, 10.0, 4.0).unwrap();
/// assert_eq!(format!("{hbw:.0}"), "229");
/// ```
pub fn brinell(force_n: f64, ball_mm: f64, indentation_mm: f64) -> Result<f64, HardnessError> {
    let force = positive("force", force_n)?;
    let ball = positive("ball", ball_mm)?;
    let indentation = positive("indentation", indentation_mm)?;
    if indentation >= ball {
        return Err(HardnessError::WiderThanBall { indentation_mm, ball_mm });
    }
    // D − √(D² − d²) written without its cancellation for small d.
    let root = ((ball - indentation) * (ball + indentation)).sqrt();
    let depth = indentation * indentation / (ball + root);
    Ok(PER_NEWTON * 2.0 * force / (PI * ball * depth))
}

/// A Rockwell scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum RockwellScale {
    /// A, C and D: cone, 100 less one a 2 µm.
    Cone,
    /// B, E, F, G, H, K: ball, 130 less one a 2 µm.
    Ball,
    /// 15N to 45T, superficial: 100 less one a 1 µm.
    Superficial,
}

impl RockwellScale {
    /// The scale of this name: "C", "B", "30N".
    ///
    /// Source: ISO 6508-1 Table 1, from memory.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        match name {
            "A" | "C" | "D" => Some(Self::Cone),
            "B" | "E" | "F" | "G" | "H" | "K" => Some(Self::Ball),
            "15N" | "30N" | "45N" | "15T" | "30T" | "45T" => Some(Self::Superficial),
            _ => None,
        }
    }

    /// The number at no depth, and the depth of one point in millimetres.
    const fn numbers(self) -> (f64, f64) {
        match self {
            Self::Cone => (100.0, 0.002),
            Self::Ball => (130.0, 0.002),
            Self::Superficial => (100.0, 0.001),
        }
    }
}

/// Rockwell hardness from the permanent depth under the preliminary force.
///
/// # Formula
/// HR = N − h/S: N = 100, S = 0.002 mm for A, C, D; N = 130 for B, E, F, G, H, K; N = 100,
/// S = 0.001 mm for the superficial scales N and T.
///
/// # Given
/// `depth_mm`: h, 0 or more, not beyond the end of the scale.
///
/// # Returns
/// Rockwell hardness, a plain number.
///
/// # Errors
/// [`HardnessError::Depth`] if the number would be negative or h is.
///
/// # Validity
/// The range of each scale is narrower than its ends (C: 20 to 70).
///
/// # Source
/// ISO 6508-1, from memory.
///
/// # Example
/// ```
/// use bedplate_gauge::hardness::{RockwellScale, rockwell};
/// assert_eq!(rockwell(RockwellScale::Cone, 0.084).unwrap().round(), 58.0);
/// ```
pub fn rockwell(scale: RockwellScale, depth_mm: f64) -> Result<f64, HardnessError> {
    let (top, point_mm) = scale.numbers();
    let deepest_mm = top * point_mm;
    if 0.0 <= depth_mm && depth_mm <= deepest_mm {
        Ok(top - depth_mm / point_mm)
    } else {
        Err(HardnessError::Depth { depth_mm, deepest_mm })
    }
}

const CAUTION: &str = "Flat surface, thick enough. No conversion to another scale is a drawing \
                       value: measure on the scale the drawing names.";

/// Vickers hardness.
pub const VICKERS: Calculation = Calculation {
    name: "vickers",
    title: "Vickers hardness",
    stage: Stage::Gauge,
    question: "How hard is it, by the diagonals of the indentation?",
    inputs: &[
        Input::quantity("force", "N", "test force").over(0.0),
        Input::quantity("diagonal", "mm", "mean of both diagonals").over(0.0),
    ],
    outputs: &[Output::figure("hardness", "HV", "Vickers hardness")],
    formula: "HV = 0.1891·F/d²",
    source: "ISO 6507-1 (formula from memory)",
    validity: CAUTION,
    // ISO 6507-4 prints 297 (from memory).
    example: &[("force", "98.07 N"), ("diagonal", "0.250 mm")],
    expected: &[("hardness", "297")],
    run: |given| {
        let hv = vickers(given.number("force"), given.number("diagonal"))
            .map_err(|e| Refused::because("diagonal", e.to_string()))?;
        Ok(Answer::new().figure("hardness", hv))
    },
};

/// Brinell hardness.
pub const BRINELL: Calculation = Calculation {
    name: "brinell",
    title: "Brinell hardness",
    stage: Stage::Gauge,
    question: "How hard is it, by the diameter of the ball's indentation?",
    inputs: &[
        Input::quantity("force", "N", "test force").over(0.0),
        Input::quantity("ball", "mm", "diameter of the ball").over(0.0),
        Input::quantity("indentation", "mm", "mean diameter of the indentation").over(0.0),
    ],
    outputs: &[Output::figure("hardness", "HBW", "Brinell hardness")],
    formula: "HBW = 0.102·2F/(π·D·(D − √(D² − d²)))",
    source: "ISO 6506-1",
    validity: CAUTION,
    // ISO 6506-4 prints 229 (from memory).
    example: &[("force", "29420 N"), ("ball", "10 mm"), ("indentation", "4.00 mm")],
    expected: &[("hardness", "229")],
    run: |given| {
        let (force, ball) = (given.number("force"), given.number("ball"));
        let hbw = brinell(force, ball, given.number("indentation"))
            .map_err(|e| Refused::because("indentation", e.to_string()))?;
        Ok(Answer::new().figure("hardness", hbw))
    },
};

/// Rockwell hardness.
pub const ROCKWELL: Calculation = Calculation {
    name: "rockwell",
    title: "Rockwell hardness",
    stage: Stage::Gauge,
    question: "How hard is it, by the depth of the indentation?",
    inputs: &[
        Input::choice(
            "scale",
            &[
                "C", "A", "D", "B", "E", "F", "G", "H", "K", "15N", "30N", "45N", "15T", "30T",
                "45T",
            ],
            "Rockwell scale",
        )
        .or("C"),
        Input::quantity("depth", "mm", "permanent depth under the preliminary force").at_least(0.0),
    ],
    outputs: &[Output::figure("hardness", "", "Rockwell hardness on that scale")],
    formula: "HR = N − h/S",
    source: "ISO 6508-1 (from memory)",
    validity: CAUTION,
    // Arithmetic.
    example: &[("scale", "C"), ("depth", "0.084 mm")],
    expected: &[("hardness", "58.0")],
    run: run_rockwell,
};

fn run_rockwell(given: &Given) -> Result<Answer, Refused> {
    let scale = RockwellScale::named(given.word("scale"))
        .ok_or_else(|| Refused::because("scale", "no such scale"))?;
    let hr = rockwell(scale, given.number("depth"))
        .map_err(|e| Refused::because("depth", e.to_string()))?;
    Ok(Answer::new().figure("hardness", hr))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_is_no_indentation_is_refused_in_words() {
        assert!(vickers(98.07, 0.0).unwrap_err().to_string().contains("diagonal is 0"));
        assert!(vickers(f64::NAN, 0.2).unwrap_err().to_string().contains("force is NaN"));
        assert!(brinell(29420.0, 10.0, 10.0).unwrap_err().to_string().contains("the ball 10 mm"));
        let deep = rockwell(RockwellScale::Cone, 0.21).unwrap_err().to_string();
        assert!(deep.contains("ends at 0.2 mm"));
        assert!(rockwell(RockwellScale::Ball, -0.001).is_err());
        assert!(rockwell(RockwellScale::Superficial, f64::NAN).is_err());
        assert_eq!(RockwellScale::named("Z"), None);
    }

    #[test]
    fn both_ends_of_a_rockwell_scale_are_on_it() {
        assert_eq!(rockwell(RockwellScale::Ball, 0.0), Ok(130.0));
        assert_eq!(rockwell(RockwellScale::Ball, 0.26), Ok(0.0));
    }

    proptest! {
        #[test]
        fn four_times_the_force_at_twice_the_size_is_the_same_hardness(
            f in 1.0f64..3000.0, d in 0.01f64..1.0, ball in 1.5f64..10.0
        ) {
            let (a, b) = (vickers(f, d).unwrap(), vickers(4.0 * f, 2.0 * d).unwrap());
            prop_assert!((a / b - 1.0).abs() < 1e-12);
            let a = brinell(f, ball, d).unwrap();
            let b = brinell(4.0 * f, 2.0 * ball, 2.0 * d).unwrap();
            prop_assert!((a / b - 1.0).abs() < 1e-12);
        }

        #[test]
        fn a_shallow_ball_is_force_over_projected_area(f in 1.0f64..3000.0, d in 1e-6f64..1e-4) {
            let projected = 0.102 * f / (PI * d * d / 4.0);
            prop_assert!((brinell(f, 10.0, d).unwrap() / projected - 1.0).abs() < 1e-9);
        }
    }
}
