//! The range an input must lie in, and how it is said.

use std::fmt;

use bedplate_gauge::calculation::Input;
use bedplate_gauge::unit::Unit;

use crate::figure::{DIGITS_GIVEN, number_text, with_unit};

/// The bounds an input declares, in its declared unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// Smallest value, and whether it is itself allowed.
    pub lower: Option<(f64, bool)>,
    /// Largest value, and whether it is itself allowed.
    pub upper: Option<(f64, bool)>,
    /// Unit of both.
    pub unit: &'static str,
}

impl Range {
    /// The range `input` declares.
    #[must_use]
    pub const fn of(input: &Input) -> Self {
        Self { lower: input.lower, upper: input.upper, unit: input.unit }
    }

    /// No bound on either side.
    #[must_use]
    pub const fn open(unit: &'static str) -> Self {
        Self { lower: None, upper: None, unit }
    }

    /// Whether there is no bound on either side.
    #[must_use]
    pub const fn is_open(&self) -> bool {
        self.lower.is_none() && self.upper.is_none()
    }

    /// Whether `value`, in the range's unit, lies inside. NaN lies in no range, not in an open one.
    #[must_use]
    pub fn holds(&self, value: f64) -> bool {
        let above = self.lower.is_none_or(
            |(bound, itself)| {
                if itself { bound <= value } else { bound < value }
            },
        );
        let below = self.upper.is_none_or(
            |(bound, itself)| {
                if itself { value <= bound } else { value < bound }
            },
        );
        above && below && !value.is_nan()
    }

    /// The same bounds in the SI-coherent unit.
    pub(crate) fn in_si(self, unit: &Unit) -> Self {
        let si = |(bound, itself): (f64, bool)| ((bound + unit.offset) * unit.factor(), itself);
        Self { lower: self.lower.map(si), upper: self.upper.map(si), unit: self.unit }
    }
}

impl fmt::Display for Range {
    /// The range in words: "more than 0 mm", "from 0 to 1", "more than 0 and up to 90°".
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let written = |bound: f64| with_unit(&number_text(bound, DIGITS_GIVEN), self.unit);
        match (self.lower, self.upper) {
            (None, None) => f.write_str("any number"),
            (Some((low, true)), None) => write!(f, "{} or more", written(low)),
            (Some((low, false)), None) => write!(f, "more than {}", written(low)),
            (None, Some((high, true))) => write!(f, "{} or less", written(high)),
            (None, Some((high, false))) => write!(f, "less than {}", written(high)),
            (Some((low, true)), Some((high, true))) => {
                write!(f, "from {} to {}", number_text(low, DIGITS_GIVEN), written(high))
            }
            (Some((low, low_itself)), Some((high, high_itself))) => {
                let low_words = if low_itself { "at least" } else { "more than" };
                let high_words = if high_itself { "up to" } else { "less than" };
                write!(
                    f,
                    "{low_words} {} and {high_words} {}",
                    number_text(low, DIGITS_GIVEN),
                    written(high)
                )
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bound_that_is_not_itself_allowed_is_refused() {
        let range = Range::of(&Input::quantity("x", "mm", "").over(0.0).at_most(5.0));
        assert!(!range.holds(0.0) && range.holds(1e-9) && range.holds(5.0) && !range.holds(5.1));
        assert!(!range.holds(f64::NAN) && !Range::open("mm").holds(f64::NAN));
        assert_eq!(range.to_string(), "more than 0 and up to 5 mm");
    }

    #[test]
    fn every_kind_of_range_is_said_in_words() {
        let x = Input::quantity("x", "%", "");
        assert_eq!(Range::of(&x.at_least(0.0)).to_string(), "0 % or more");
        assert_eq!(Range::of(&x.over(0.0)).to_string(), "more than 0 %");
        assert_eq!(Range::of(&x.at_most(0.5)).to_string(), "0.5 % or less");
        assert_eq!(Range::of(&x.under(0.5)).to_string(), "less than 0.5 %");
        assert_eq!(Range::of(&x.at_least(0.0).at_most(100.0)).to_string(), "from 0 to 100 %");
        assert_eq!(
            Range::of(&x.at_least(-1.0).under(1.0)).to_string(),
            "at least -1 and less than 1 %"
        );
        assert_eq!(Range::of(&x).to_string(), "any number");
    }
}
