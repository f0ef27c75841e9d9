//! Limits of size: what a characteristic may be.
//!
//! Knows nothing of gauges or of judging; [`crate::judge`] brings both together. All figures of one
//! [`Limits`] are in one unit, which is the caller's.

use crate::calculation::{Given, Input, Refused};

/// A lower limit, an upper limit, or both, in one unit of the caller's. Both limits are inclusive:
/// a piece exactly on a limit is good.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    lower: Option<f64>,
    upper: Option<f64>,
}

/// One of the two limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Side {
    /// The lower limit.
    Lower,
    /// The upper limit.
    Upper,
}

impl Side {
    /// The side in the trade's words: "lower" or "upper".
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Lower => "lower",
            Self::Upper => "upper",
        }
    }
}

/// Why two figures are no limits.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum LimitsError {
    /// Neither limit was given.
    #[error("neither limit is given; at least one is needed")]
    NoLimit,
    /// A limit is not a finite number.
    #[error("the {} limit is {value}; a limit must be a finite number", .side.word())]
    NotFinite {
        /// Which limit.
        side: Side,
        /// What was given.
        value: f64,
    },
    /// The lower limit does not lie below the upper.
    #[error("the lower limit {lower} is not below the upper limit {upper}")]
    Crossed {
        /// The lower limit as given.
        lower: f64,
        /// The upper limit as given.
        upper: f64,
    },
}

/// Two figures that differ by no more than this many units in the last place of the larger are the
/// same figure: `68 + 0.012` and `68.012` must not be judged apart by the rounding of binary
/// arithmetic. It is a ten-thousandth of a nanometre on a metre, far below any reading's step.
const SAME_FIGURE_ULPS: f64 = 4.0;

/// The width of binary rounding about figures as large as `a` and `b`.
pub(crate) fn rounding_width(a: f64, b: f64) -> f64 {
    SAME_FIGURE_ULPS * f64::EPSILON * a.abs().max(b.abs())
}

impl Limits {
    /// Limits from a lower and an upper figure, either of which may be missing.
    ///
    /// # Errors
    /// [`LimitsError::NoLimit`] if both are missing, [`LimitsError::NotFinite`] if one is NaN or
    /// infinite, [`LimitsError::Crossed`] unless lower < upper.
    ///
    /// # Example
    /// ```
    /// use bedplate_gauge::limits::Limits;
    /// let bore_mm = Limits::new(Some(68.000), Some(68.012)).unwrap();
    /// assert!(bore_mm.contains(68.012));
    /// assert!(!bore_mm.contains(68.0121));
    /// ```
    pub fn new(lower: Option<f64>, upper: Option<f64>) -> Result<Self, LimitsError> {
        for (side, value) in [(Side::Lower, lower), (Side::Upper, upper)] {
            if let Some(value) = value
                && !value.is_finite()
            {
                return Err(LimitsError::NotFinite { side, value });
            }
        }
        match (lower, upper) {
            (None, None) => Err(LimitsError::NoLimit),
            (Some(lower), Some(upper)) if lower >= upper => {
                Err(LimitsError::Crossed { lower, upper })
            }
            _ => Ok(Self { lower, upper }),
        }
    }

    /// Limits on both sides.
    ///
    /// # Errors
    /// As [`Limits::new`].
    pub fn between(lower: f64, upper: f64) -> Result<Self, LimitsError> {
        Self::new(Some(lower), Some(upper))
    }

    /// An upper limit alone, as for roundness.
    ///
    /// # Errors
    /// As [`Limits::new`].
    pub fn at_most(upper: f64) -> Result<Self, LimitsError> {
        Self::new(None, Some(upper))
    }

    /// A lower limit alone, as for hardness.
    ///
    /// # Errors
    /// As [`Limits::new`].
    pub fn at_least(lower: f64) -> Result<Self, LimitsError> {
        Self::new(Some(lower), None)
    }

    /// The lower limit.
    #[must_use]
    pub const fn lower(&self) -> Option<f64> {
        self.lower
    }

    /// The upper limit.
    #[must_use]
    pub const fn upper(&self) -> Option<f64> {
        self.upper
    }

    /// The middle of the limits; `None` if there is one limit alone.
    #[must_use]
    pub fn middle(&self) -> Option<f64> {
        // Halved before adding, so that limits near the largest double do not overflow.
        Some(self.lower? / 2.0 + self.upper? / 2.0)
    }

    /// The width from limit to limit, which is the tolerance; `None` if there is one limit alone.
    #[must_use]
    pub fn width(&self) -> Option<f64> {
        Some(self.upper? - self.lower?)
    }

    /// The limit nearest to `value` and how far inside it the value stands: positive inside,
    /// negative beyond, exactly zero on the limit. Of two equally near ones the lower. NaN for NaN.
    #[must_use]
    pub fn nearest(&self, value: f64) -> (Side, f64) {
        let on_limit = |distance: f64, limit: f64| {
            if distance.abs() <= rounding_width(value, limit) { 0.0 } else { distance }
        };
        let above_lower = self.lower.map(|lower| on_limit(value - lower, lower));
        let below_upper = self.upper.map(|upper| on_limit(upper - value, upper));
        match (above_lower, below_upper) {
            (Some(a), Some(b)) if b < a => (Side::Upper, b),
            (Some(a), _) => (Side::Lower, a),
            (None, Some(b)) => (Side::Upper, b),
            (None, None) => unreachable!("limits hold at least one limit"),
        }
    }

    /// How far inside the nearest limit `value` stands; negative beyond it.
    #[must_use]
    pub fn margin(&self, value: f64) -> f64 {
        self.nearest(value).1
    }

    /// Whether `value` lies between the limits or on one of them. False for NaN and infinity.
    #[must_use]
    pub fn contains(&self, value: f64) -> bool {
        value.is_finite() && self.margin(value) >= 0.0
    }
}

/// A length that is no limit of anything, and so stands for a limit left out, in millimetres.
const NO_LIMIT_MM: f64 = 1e12;

/// The input `lower` of a calculation of lengths.
pub(crate) const LOWER_INPUT: Input =
    Input::quantity("lower", "mm", "lower limit, inclusive; leave out where there is none")
        .or("-1e12 mm");

/// The input `upper` of a calculation of lengths.
pub(crate) const UPPER_INPUT: Input =
    Input::quantity("upper", "mm", "upper limit, inclusive; leave out where there is none")
        .or("1e12 mm");

/// The limits given as [`LOWER_INPUT`] and [`UPPER_INPUT`].
pub(crate) fn limits_given(given: &Given) -> Result<Limits, Refused> {
    let (lower, upper) = (given.number("lower"), given.number("upper"));
    let lower = (lower > -NO_LIMIT_MM).then_some(lower);
    let upper = (upper < NO_LIMIT_MM).then_some(upper);
    Limits::new(lower, upper).map_err(|e| Refused::because("upper", e.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn both_limits_are_inclusive() {
        let bore_mm = Limits::between(68.0, 68.012).unwrap();
        assert!(bore_mm.contains(68.0) && bore_mm.contains(68.012));
        assert!(!bore_mm.contains(67.999_999) && !bore_mm.contains(68.012_001));
        assert_eq!(bore_mm.nearest(68.012), (Side::Upper, 0.0));
    }

    #[test]
    fn a_sum_and_the_same_figure_written_out_are_judged_alike() {
        // 0.1 + 0.2 is not 0.3 in binary: the piece is on the limit all the same.
        assert_ne!(0.1 + 0.2, 0.3);
        assert!(Limits::at_most(0.3).unwrap().contains(0.1 + 0.2));
        assert!(Limits::at_most(0.1 + 0.2).unwrap().contains(0.3));
    }

    #[test]
    fn one_limit_alone_has_no_middle_and_no_width() {
        let roundness_um = Limits::at_most(5.0).unwrap();
        assert_eq!((roundness_um.middle(), roundness_um.width()), (None, None));
        assert!(roundness_um.contains(-1e300) && !roundness_um.contains(5.1));
        let hardness_hv = Limits::at_least(640.0).unwrap();
        assert!(hardness_hv.contains(700.0) && !hardness_hv.contains(639.0));
    }

    #[test]
    fn what_is_no_limits_is_refused_in_words() {
        let words = |l, u| Limits::new(l, u).unwrap_err().to_string();
        assert_eq!(words(None, None), "neither limit is given; at least one is needed");
        assert_eq!(words(Some(2.0), Some(1.0)), "the lower limit 2 is not below the upper limit 1");
        assert_eq!(words(Some(1.0), Some(1.0)), "the lower limit 1 is not below the upper limit 1");
        assert!(words(Some(f64::NAN), Some(1.0)).contains("lower limit is NaN"));
        assert!(words(None, Some(f64::INFINITY)).contains("upper limit is inf"));
    }

    #[test]
    fn what_is_no_number_is_not_inside() {
        let limits = Limits::at_most(5.0).unwrap();
        for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(!limits.contains(value));
        }
    }

    proptest! {
        #[test]
        fn middle_lies_inside_and_mirrors_the_margin(
            lower in -1e3f64..1e3, width in 1e-3f64..10.0, share in -0.5f64..1.5
        ) {
            let limits = Limits::between(lower, lower + width).unwrap();
            let middle = limits.middle().unwrap();
            prop_assert!(limits.contains(middle));
            let offset = (share - 0.5) * width;
            let (a, b) = (limits.margin(middle + offset), limits.margin(middle - offset));
            prop_assert!((a - b).abs() < 1e-11, "{} {}", a, b);
        }

        #[test]
        fn any_figures_are_limits_or_refused(
            l in any::<f64>(), u in any::<f64>(), x in any::<f64>()
        ) {
            if let Ok(limits) = Limits::new(Some(l), Some(u)) {
                prop_assert!(l < u);
                prop_assert_eq!(limits.contains(x), x.is_finite() && limits.margin(x) >= 0.0);
            }
        }
    }
}
