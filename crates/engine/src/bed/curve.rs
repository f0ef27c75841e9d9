//! A full-load curve held against its acceptance band.
//!
//! Every point has an expected figure, the limits of its band, the corrected figure and its
//! standard uncertainty, all in one unit (torque in N·m or power in kW: the caller's choice).

use bedplate_gauge::calculation::{
    Answer, Calculation, Column, Given, Input, Output, Refused, Stage,
};
use bedplate_gauge::judge::{DecisionRule, Judgement, Verdict, judge};
use bedplate_gauge::limits::{Limits, LimitsError};

/// What is expected at a speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExpectedPoint {
    /// Speed, rev/min.
    pub speed_rpm: f64,
    /// Expected figure.
    pub expected: f64,
}

/// One point of a run, ready to be judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Speed, rev/min.
    pub speed_rpm: f64,
    /// Expected figure.
    pub expected: f64,
    /// Limits of the band.
    pub band: Limits,
    /// Corrected figure.
    pub corrected: f64,
    /// Its standard uncertainty, 0 or more.
    pub standard_uncertainty: f64,
}

/// One point judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PointJudgement {
    /// Speed, rev/min.
    pub speed_rpm: f64,
    /// Corrected over expected, less one: −0.03 is 3 % down.
    pub against_expected: f64,
    /// The verdict with its probability of conformity and margin.
    pub verdict: Verdict,
}

/// A whole curve judged.
#[derive(Debug, Clone, PartialEq)]
pub struct CurveJudgement {
    /// Each point, in the order given.
    pub points: Vec<PointJudgement>,
    /// Reject if any point is rejected, else cannot tell if any cannot be told, else accept.
    pub judgement: Judgement,
    /// Place of the point with the least probability of conformity.
    pub worst_idx: usize,
}

/// Why a curve cannot be judged or read.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum CurveError {
    /// No points.
    #[error("the curve has no points; at least one is needed")]
    NoPoints,
    /// A curve whose speeds do not rise.
    #[error(
        "the expected curve goes from {before_rpm} to {after_rpm} rev/min; its speeds must rise"
    )]
    NotRising {
        /// Speed before, rev/min.
        before_rpm: f64,
        /// Speed after, rev/min.
        after_rpm: f64,
    },
    /// A speed outside the curve.
    #[error(
        "{speed_rpm} rev/min is outside the expected curve, {lowest_rpm} to {highest_rpm} rev/min"
    )]
    OutsideCurve {
        /// The speed asked for, rev/min.
        speed_rpm: f64,
        /// Lowest speed of the curve, rev/min.
        lowest_rpm: f64,
        /// Highest speed of the curve, rev/min.
        highest_rpm: f64,
    },
    /// A band that is none.
    #[error("the band is none: {0}")]
    Band(#[from] LimitsError),
}

impl From<CurveError> for Refused {
    fn from(error: CurveError) -> Self {
        Self::because("points", error.to_string())
    }
}

/// The limits of a band of so many per cent about an expected figure.
///
/// # Formula
/// `E (1 − q)` to `E (1 + q)`.
/// # Given
/// Expected figure above zero and the share `q` above zero (0.04 for 4 %).
/// # Returns
/// Limits, both ends inside.
/// # Errors
/// [`LimitsError`] if either is not a positive number.
/// # Source
/// Definition.
pub fn percent_band(expected: f64, share: f64) -> Result<Limits, LimitsError> {
    Limits::between(expected * (1.0 - share), expected * (1.0 + share))
}

/// The expected figure at a speed between two points of the expected curve, by a straight line.
///
/// # Formula
/// `E = E_1 + (E_2 − E_1)(n − n_1)/(n_2 − n_1)`.
/// # Given
/// The curve with rising speeds, and a speed inside it.
/// # Returns
/// The expected figure, in the curve's unit.
/// # Errors
/// [`CurveError::NoPoints`], [`CurveError::NotRising`], [`CurveError::OutsideCurve`].
/// # Validity
/// For the small difference between the planned and the run speed; the curve bends little there.
/// # Source
/// Linear interpolation.
/// # Example
/// ```
/// use bedplate_engine::bed::curve::{ExpectedPoint, expected_at};
/// let curve = [(2400.0, 67.1), (2700.0, 65.0)]
///     .map(|(speed_rpm, expected)| ExpectedPoint { speed_rpm, expected });
/// assert!((expected_at(&curve, 2500.0)? - 66.4).abs() < 1e-12);
/// # Ok::<(), bedplate_engine::bed::curve::CurveError>(())
/// ```
pub fn expected_at(curve: &[ExpectedPoint], speed_rpm: f64) -> Result<f64, CurveError> {
    let (Some(first), Some(last)) = (curve.first(), curve.last()) else {
        return Err(CurveError::NoPoints);
    };
    for pair in curve.windows(2) {
        let (before_rpm, after_rpm) = (pair[0].speed_rpm, pair[1].speed_rpm);
        let rising = before_rpm < after_rpm;
        if !rising {
            return Err(CurveError::NotRising { before_rpm, after_rpm });
        }
    }
    let (lowest_rpm, highest_rpm) = (first.speed_rpm, last.speed_rpm);
    if !(lowest_rpm <= speed_rpm && speed_rpm <= highest_rpm) {
        return Err(CurveError::OutsideCurve { speed_rpm, lowest_rpm, highest_rpm });
    }
    let above = curve.iter().position(|p| speed_rpm <= p.speed_rpm).unwrap_or(0);
    let right = curve[above];
    if above == 0 {
        return Ok(right.expected);
    }
    let left = curve[above - 1];
    let along = (speed_rpm - left.speed_rpm) / (right.speed_rpm - left.speed_rpm);
    Ok(left.expected + (right.expected - left.expected) * along)
}

/// Judges a curve point by point and as a whole.
///
/// # Formula
/// Each point by the plan's decision rule with its uncertainty; the whole by its worst point.
/// # Given
/// Points as in [`CurvePoint`]; the decision rule.
/// # Returns
/// A verdict for each point, the judgement of the whole, and which point is the worst.
/// # Errors
/// [`CurveError::NoPoints`].
/// # Validity
/// No probability is given for the whole curve: its points share instruments and air, so their
/// errors go together and their probabilities must not be multiplied.
/// # Source
/// As at `bedplate_gauge::judge`; the whole by its worst point: derived here.
pub fn judge_curve(
    points: &[CurvePoint],
    rule: DecisionRule,
) -> Result<CurveJudgement, CurveError> {
    if points.is_empty() {
        return Err(CurveError::NoPoints);
    }
    let judged: Vec<PointJudgement> = points
        .iter()
        .map(|point| PointJudgement {
            speed_rpm: point.speed_rpm,
            against_expected: point.corrected / point.expected - 1.0,
            verdict: judge(point.corrected, &point.band, point.standard_uncertainty, rule),
        })
        .collect();
    // What cannot be computed counts as certain not to conform.
    let conformity = |p: &PointJudgement| match p.verdict.probability_of_conformity {
        p if p.is_nan() => -1.0,
        p => p,
    };
    let worst_idx = (0..judged.len())
        .min_by(|&a, &b| conformity(&judged[a]).total_cmp(&conformity(&judged[b])))
        .unwrap_or(0);
    let any = |wanted| judged.iter().any(|p| p.verdict.judgement == wanted);
    let judgement = if any(Judgement::Reject) {
        Judgement::Reject
    } else if any(Judgement::CannotTell) {
        Judgement::CannotTell
    } else {
        Judgement::Accept
    };
    Ok(CurveJudgement { points: judged, judgement, worst_idx })
}

const POINTS: &[Column] = &[
    Column { name: "speed", unit: "rev/min", meaning: "speed" },
    Column { name: "expected", unit: "N·m", meaning: "expected torque" },
    Column { name: "band", unit: "%", meaning: "half the band, in per cent of the expected" },
    Column { name: "corrected", unit: "N·m", meaning: "corrected torque" },
    Column { name: "u", unit: "N·m", meaning: "its standard uncertainty" },
];

const JUDGED: &[Column] = &[
    Column { name: "speed", unit: "rev/min", meaning: "speed" },
    Column { name: "corrected", unit: "N·m", meaning: "corrected torque" },
    Column {
        name: "against_expected", unit: "%", meaning: "above (+) or below (−) the expected"
    },
    Column { name: "margin", unit: "N·m", meaning: "inside (+) or beyond (−) the nearer limit" },
    Column { name: "probability", unit: "", meaning: "probability of conformity" },
];

fn points_of(given: &Given) -> Result<Vec<CurvePoint>, Refused> {
    given
        .table("points")
        .iter()
        .map(|row| {
            let band = percent_band(row[1], row[2] / 100.0).map_err(CurveError::from)?;
            Ok(CurvePoint {
                speed_rpm: row[0],
                expected: row[1],
                band,
                corrected: row[3],
                standard_uncertainty: row[4],
            })
        })
        .collect()
}

/// Declaration of [`judge_curve`] for torque.
pub const BED_CURVE: Calculation = Calculation {
    name: "bed-curve",
    title: "Full-load curve against its band",
    stage: Stage::Bed,
    question: "Does the engine make its torque at every point?",
    inputs: &[
        Input::table("points", POINTS, "the points of the run, corrected"),
        Input::quantity("guard_factor", "", "guard band in units of U = 2u; 0 for none")
            .at_least(0.0)
            .or("1"),
    ],
    outputs: &[
        Output::figure("judgement", "", "of the whole curve, by its worst point"),
        Output::figure("worst_speed", "rev/min", "where it is nearest to failing"),
        Output::figure("points", "", "each point"),
    ],
    formula: "accept if m ≥ g at every point, reject if m ≤ −g at any, else cannot tell; \
              m the distance to the nearer limit, g = factor × 2u",
    source: "ISO 14253-1 (from memory); probability by JCGM 106:2012, clause 7; example made up",
    validity: "Points share instruments and air: no probability is given for the whole curve.",
    example: &[(
        "points",
        "2100 rev/min, 68.1 N·m, 4 %, 66.8 N·m, 0.3 N·m; \
         2400 rev/min, 67.1 N·m, 4 %, 65.1 N·m, 0.3 N·m",
    )],
    expected: &[("judgement", "accept"), ("worst_speed", "2400")],
    run: |given| {
        let rule = DecisionRule::Guarded { factor: given.number("guard_factor") };
        let points = points_of(given)?;
        let curve = judge_curve(&points, rule)?;
        let rows = curve
            .points
            .iter()
            .zip(&points)
            .map(|(judged, point)| {
                vec![
                    judged.speed_rpm,
                    point.corrected,
                    judged.against_expected * 100.0,
                    judged.verdict.margin,
                    judged.verdict.probability_of_conformity,
                ]
            })
            .collect();
        Ok(Answer::new()
            .word("judgement", curve.judgement.word())
            .figure("worst_speed", curve.points[curve.worst_idx].speed_rpm)
            .table("points", JUDGED, rows))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(corrected: f64, standard_uncertainty: f64) -> CurvePoint {
        let band = percent_band(100.0, 0.04).unwrap();
        CurvePoint { speed_rpm: 2400.0, expected: 100.0, band, corrected, standard_uncertainty }
    }

    #[test]
    fn the_whole_is_as_good_as_its_worst_point() {
        let rule = DecisionRule::Guarded { factor: 1.0 };
        let whole = |points: &[CurvePoint]| judge_curve(points, rule).unwrap();
        assert_eq!(whole(&[at(100.0, 0.5), at(97.5, 0.5)]).judgement, Judgement::Accept);
        let near = whole(&[at(100.0, 0.5), at(96.5, 0.5), at(101.0, 0.5)]);
        assert_eq!((near.judgement, near.worst_idx), (Judgement::CannotTell, 1));
        assert_eq!(whole(&[at(96.5, 0.5), at(94.0, 0.5)]).judgement, Judgement::Reject);
        let not_a_number = whole(&[at(100.0, 0.5), at(f64::NAN, 0.5)]);
        assert_eq!((not_a_number.judgement, not_a_number.worst_idx), (Judgement::CannotTell, 1));
        assert_eq!(judge_curve(&[], rule), Err(CurveError::NoPoints));
    }

    #[test]
    fn the_expected_curve_is_read_only_where_it_is_drawn() {
        let curve = [(1200.0, 61.4), (2100.0, 68.1), (3200.0, 59.3)]
            .map(|(speed_rpm, expected)| ExpectedPoint { speed_rpm, expected });
        assert_eq!(expected_at(&curve, 1200.0), Ok(61.4));
        assert_eq!(expected_at(&curve, 2100.0), Ok(68.1));
        assert_eq!(expected_at(&curve, 3200.0), Ok(59.3));
        assert!(matches!(expected_at(&curve, 3200.1), Err(CurveError::OutsideCurve { .. })));
        assert!(expected_at(&curve, f64::NAN).is_err());
        assert_eq!(expected_at(&[], 1.0), Err(CurveError::NoPoints));
        let back = [curve[1], curve[0]];
        assert!(matches!(expected_at(&back, 1500.0), Err(CurveError::NotRising { .. })));
        assert!(percent_band(0.0, 0.04).is_err() && percent_band(f64::NAN, 0.04).is_err());
    }

    proptest! {
        #[test]
        fn more_power_towards_the_middle_never_lowers_the_chance(
            x in 90.0..99.0f64, u in 0.1..1.0f64,
        ) {
            let p = |x| {
                let curve = judge_curve(&[at(x, u)], DecisionRule::default()).unwrap();
                curve.points[0].verdict.probability_of_conformity
            };
            prop_assert!(p(x + 0.5) >= p(x));
        }
    }
}
