//! A series of readings in a few figures: mean, scatter, extremes, dependence of neighbours.
//!
//! Sums are taken about the first reading and compensated, so that readings such as
//! 10 000 000.2 mm keep the digits in which they differ.

use crate::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage, Value};

/// A series of readings in a few figures, in the readings' unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Summary {
    /// How many readings.
    pub n: usize,
    /// Arithmetic mean.
    pub mean: f64,
    /// Standard deviation of the readings about their mean, n − 1 in the denominator; `None` for
    /// one reading.
    pub standard_deviation: Option<f64>,
    /// Smallest reading.
    pub min: f64,
    /// Largest reading.
    pub max: f64,
    /// Correlation of each reading with the next, −1 to 1; `None` where nothing scatters.
    pub lag1: Option<f64>,
}

impl Summary {
    /// Standard deviation of the mean, s/√n; `None` for one reading.
    #[must_use]
    pub fn mean_uncertainty(&self) -> Option<f64> {
        Some(self.standard_deviation? / (self.n as f64).sqrt())
    }

    /// Largest less smallest reading.
    #[must_use]
    pub fn range(&self) -> f64 {
        self.max - self.min
    }
}

/// Why a series has no summary.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum SummaryError {
    /// No readings.
    #[error("there are no readings; at least one is needed")]
    Empty,
    /// A reading is not a finite number.
    #[error("reading {position} is {value}; every reading must be a finite number")]
    NotFinite {
        /// Place in the series, counted from 1.
        position: usize,
        /// What stood there.
        value: f64,
    },
    /// The readings lie so far apart that their squares overflow.
    #[error("the readings range from {min} to {max}, too far apart to be summed")]
    TooFarApart {
        /// Smallest reading.
        min: f64,
        /// Largest reading.
        max: f64,
    },
}

/// The summary of a series of readings.
///
/// # Formula
/// x̄ = Σx/n; s² = Σ(x − x̄)²/(n − 1); r₁ = Σ(xᵢ − x̄)(xᵢ₊₁ − x̄)/Σ(x − x̄)².
///
/// # Given
/// One or more finite readings in one unit, in the order they were taken.
///
/// # Returns
/// [`Summary`], in the unit of the readings.
///
/// # Errors
/// [`SummaryError`] for no readings, or for one that is no finite number.
///
/// # Source
/// Definitions as in the NIST StRD univariate data sets, against which it is checked.
///
/// # Example
/// ```
/// // NIST StRD NumAcc1: mean 10000002, standard deviation 1, lag-1 autocorrelation −0.5.
/// let s = bedplate_gauge::summary::summary(&[10000001.0, 10000003.0, 10000002.0]).unwrap();
/// assert_eq!((s.mean, s.standard_deviation, s.lag1), (10000002.0, Some(1.0), Some(-0.5)));
/// ```
pub fn summary(readings: &[f64]) -> Result<Summary, SummaryError> {
    let &first = readings.first().ok_or(SummaryError::Empty)?;
    if let Some((i, &value)) = readings.iter().enumerate().find(|(_, x)| !x.is_finite()) {
        return Err(SummaryError::NotFinite { position: i + 1, value });
    }
    let n = readings.len() as f64;
    let min = readings.iter().copied().fold(first, f64::min);
    let max = readings.iter().copied().fold(first, f64::max);
    let shift = sum(readings.iter().map(|x| x - first)) / n;
    let deviation = |x: f64| (x - first) - shift;
    // What rounding left in the mean is taken off the squares (the corrected two-pass sum).
    let left = sum(readings.iter().map(|&x| deviation(x)));
    let squares = sum(readings.iter().map(|&x| deviation(x).powi(2))) - left * left / n;
    if !squares.is_finite() || !shift.is_finite() {
        return Err(SummaryError::TooFarApart { min, max });
    }
    let squares = squares.max(0.0);
    let products = sum(readings.windows(2).map(|w| deviation(w[0]) * deviation(w[1])));
    Ok(Summary {
        n: readings.len(),
        mean: (first + shift).clamp(min, max),
        standard_deviation: (readings.len() > 1).then(|| (squares / (n - 1.0)).sqrt()),
        min,
        max,
        lag1: (squares > 0.0).then(|| products / squares),
    })
}

/// Compensated sum: what each addition rounds away is carried along (Neumaier 1974).
pub(crate) fn sum(terms: impl IntoIterator<Item = f64>) -> f64 {
    let (mut total, mut lost) = (0.0_f64, 0.0_f64);
    for x in terms {
        let next = total + x;
        lost += if total.abs() >= x.abs() { (total - next) + x } else { (x - next) + total };
        total = next;
    }
    total + lost
}

/// Mean and scatter of a series.
pub const SUMMARY: Calculation = Calculation {
    name: "summary",
    title: "Mean and scatter of a series",
    stage: Stage::Control,
    question: "What do these readings come to, and how do they scatter?",
    inputs: &[Input::list("readings", "mm", "the readings in the order they were taken")],
    outputs: &[
        Output::figure("n", "", "how many readings"),
        Output::figure("mean", "mm", "arithmetic mean"),
        Output::figure("sd", "mm", "standard deviation, n − 1"),
        Output::figure("min", "mm", "smallest reading"),
        Output::figure("max", "mm", "largest reading"),
        Output::figure("lag1", "", "correlation of each reading with the next"),
    ],
    formula: "x̄ = Σx/n, s² = Σ(x − x̄)²/(n − 1), r₁ = Σ(xᵢ − x̄)(xᵢ₊₁ − x̄)/Σ(x − x̄)²",
    source: "definitions as in the NIST StRD univariate data sets",
    validity: "Any finite readings.",
    // NIST StRD, NumAcc1 (certified values).
    example: &[("readings", "10000001, 10000003, 10000002 mm")],
    expected: &[("mean", "10000002"), ("sd", "1"), ("lag1", "-0.5")],
    run: run_summary,
};

fn run_summary(given: &Given) -> Result<Answer, Refused> {
    let s =
        summary(given.list("readings")).map_err(|e| Refused::because("readings", e.to_string()))?;
    let or_word = |figure: Option<f64>, word: &str| {
        figure.map_or_else(|| Value::Word(word.to_owned()), Value::Figure)
    };
    Ok(Answer::new()
        .count("n", s.n)
        .figure("mean", s.mean)
        .with("sd", or_word(s.standard_deviation, "one reading alone does not scatter"))
        .figure("min", s.min)
        .figure("max", s.max)
        .with("lag1", or_word(s.lag1, "the readings do not scatter")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn none_one_and_equal_readings() {
        assert_eq!(summary(&[]), Err(SummaryError::Empty));
        let one = summary(&[68.0087]).unwrap();
        assert_eq!((one.mean, one.standard_deviation, one.lag1), (68.0087, None, None));
        assert_eq!(one.mean_uncertainty(), None);
        let equal = summary(&[0.1; 7]).unwrap();
        assert_eq!((equal.mean, equal.standard_deviation, equal.lag1), (0.1, Some(0.0), None));
    }

    #[test]
    fn what_is_no_number_is_named_with_its_place() {
        let e = summary(&[1.0, f64::NAN]).unwrap_err();
        assert_eq!(e.to_string(), "reading 2 is NaN; every reading must be a finite number");
        assert!(matches!(summary(&[1e300, -1e300]), Err(SummaryError::TooFarApart { .. })));
        assert!(matches!(summary(&[f64::MAX, f64::MIN]), Err(SummaryError::TooFarApart { .. })));
    }

    #[test]
    fn compensated_sum_keeps_what_plain_addition_loses() {
        assert_eq!(sum([1.0, 1e100, 1.0, -1e100]), 2.0);
    }

    proptest! {
        #[test]
        fn shifting_shifts_the_mean_and_nothing_else(
            xs in prop::collection::vec(-1.0f64..1.0, 2..50), shift in -1e6f64..1e6
        ) {
            let a = summary(&xs).unwrap();
            let moved: Vec<f64> = xs.iter().map(|x| x + shift).collect();
            let b = summary(&moved).unwrap();
            // Each shifted reading is rounded to 1e-10 or better.
            prop_assert!((b.mean - a.mean - shift).abs() < 1e-9);
            let (sa, sb) = (a.standard_deviation.unwrap(), b.standard_deviation.unwrap());
            prop_assert!((sa - sb).abs() < 1e-9);
        }

        #[test]
        fn scaling_scales(xs in prop::collection::vec(-1.0f64..1.0, 3..50)) {
            let scaled: Vec<f64> = xs.iter().map(|x| x * 1024.0).collect();
            let (a, b) = (summary(&xs).unwrap(), summary(&scaled).unwrap());
            prop_assert_eq!(a.mean * 1024.0, b.mean);
            prop_assert_eq!(a.standard_deviation.unwrap() * 1024.0, b.standard_deviation.unwrap());
            prop_assert_eq!(a.lag1, b.lag1);
        }

        #[test]
        fn any_readings_are_summed_or_refused(xs in prop::collection::vec(any::<f64>(), 0..20)) {
            if let Ok(s) = summary(&xs) {
                prop_assert!(s.min <= s.mean && s.mean <= s.max);
                prop_assert!(s.standard_deviation.unwrap_or(0.0) >= 0.0);
                prop_assert!(s.lag1.unwrap_or(0.0).abs() <= 1.0 + 1e-9);
            }
        }
    }
}
