//! Charts that remember, for slow drifts: EWMA and CUSUM, and how long each takes to signal.
//!
//! A chart of single readings sees a shift of one standard deviation after 44 pieces on average;
//! these see it after about ten. [`crate::run_length`] computes such figures.

use crate::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};
use crate::chart::ControlLimits;
use crate::summary::{SummaryError, summary};

/// Why there is no such chart.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum DriftError {
    /// The readings could not be summed up.
    #[error(transparent)]
    Readings(#[from] SummaryError),
    /// The weight of the newest reading.
    #[error("the weight of the newest reading is {weight}; it must be over 0, up to 1")]
    Weight {
        /// What was given.
        weight: f64,
    },
    /// A figure that must be positive.
    #[error("the {what} is {value}; it must be positive")]
    NotPositive {
        /// Which one.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// A figure that must be 0 or more.
    #[error("the {what} is {value}; it must be a number of 0 or more")]
    Negative {
        /// Which one.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// The target is no finite number.
    #[error("the target is {target}; a finite number is needed")]
    Target {
        /// What was given.
        target: f64,
    },
}

/// A chart of the exponentially weighted moving average.
#[derive(Debug, Clone, PartialEq)]
pub struct EwmaChart {
    /// The average after each reading.
    pub averages: Vec<f64>,
    /// Centre and limits once the chart has settled.
    pub limits: ControlLimits,
    /// Points beyond the settled limits, counted from 0.
    pub signals: Vec<usize>,
}

/// What an EWMA chart is drawn with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EwmaPlan {
    /// Target, where the average starts; in the unit of the readings.
    pub target: f64,
    /// Standard deviation of single readings, in the same unit.
    pub deviation: f64,
    /// Weight λ of the newest reading, over 0 up to 1; 0.1 to 0.3 are usual.
    pub weight: f64,
    /// Half width of the limits in standard deviations of the average, usually 2.7 to 3.
    pub width: f64,
}

/// The exponentially weighted moving average of readings.
///
/// # Formula
/// zᵢ = λ·xᵢ + (1 − λ)·zᵢ₋₁, z₀ = target; limits target ± L·σ·√(λ/(2 − λ)).
///
/// # Given
/// `readings` in order; `plan`.
///
/// # Returns
/// In the unit of the readings. The limits are those of a settled chart; at its start they are
/// somewhat wide.
///
/// # Errors
/// [`DriftError`] names the figure that is out of range.
///
/// # Validity
/// Independent readings about the target.
///
/// # Source
/// NIST/SEMATECH e-Handbook 6.3.2.4.
///
/// # Example
/// ```
/// use bedplate_gauge::drift::{EwmaPlan, ewma_chart};
/// let plan = EwmaPlan { target: 50.0, deviation: 2.0539, weight: 0.3, width: 3.0 };
/// let chart = ewma_chart(&[52.0, 47.0, 53.0], &plan).unwrap();
/// assert_eq!(format!("{:.2} {:.2}", chart.averages[0], chart.averages[2]), "50.60 50.56");
/// assert_eq!(format!("{:.4}", chart.limits.upper), "52.5884");
/// ```
pub fn ewma_chart(readings: &[f64], plan: &EwmaPlan) -> Result<EwmaChart, DriftError> {
    let EwmaPlan { target, deviation, weight, width } = *plan;
    summary(readings)?;
    check_target(target)?;
    positive("standard deviation", deviation)?;
    positive("width of the limits", width)?;
    if !(0.0 < weight && weight <= 1.0) {
        return Err(DriftError::Weight { weight });
    }
    let reach = width * deviation * (weight / (2.0 - weight)).sqrt();
    let limits = ControlLimits { lower: target - reach, centre: target, upper: target + reach };
    // Carried as the distance to the target, so that far targets cost no digits.
    let mut off = 0.0;
    let averages: Vec<f64> = readings
        .iter()
        .map(|x| {
            off += weight * ((x - target) - off);
            target + off
        })
        .collect();
    let beyond = |z: f64| z < limits.lower || z > limits.upper;
    let signals = (0..averages.len()).filter(|&i| beyond(averages[i])).collect();
    Ok(EwmaChart { averages, limits, signals })
}

/// A chart of cumulative sums.
#[derive(Debug, Clone, PartialEq)]
pub struct CusumChart {
    /// Sum of what lies above the target and its allowance, after each reading; never negative.
    pub above: Vec<f64>,
    /// The same below the target.
    pub below: Vec<f64>,
    /// Points at which either sum lies over the decision interval, counted from 0.
    pub signals: Vec<usize>,
}

/// What a CUSUM chart is drawn with, all in the unit of the readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CusumPlan {
    /// Target.
    pub target: f64,
    /// Allowance k: half the shift to be found.
    pub allowance: f64,
    /// Decision interval h: a sum beyond it signals.
    pub interval: f64,
}

/// The cumulative sums of readings above and below a target.
///
/// # Formula
/// S⁺ᵢ = max(0, S⁺ᵢ₋₁ + xᵢ − target − k), S⁻ᵢ = max(0, S⁻ᵢ₋₁ + target − k − xᵢ); signal over h.
///
/// # Given
/// `readings` in order; `plan`: k 0 or more, h positive, commonly ½ and 4 to 5 standard
/// deviations.
///
/// # Returns
/// In the unit of the readings. The sums run on after a signal.
///
/// # Errors
/// [`DriftError`] names the figure that is out of range.
///
/// # Validity
/// Independent readings about the target.
///
/// # Source
/// NIST/SEMATECH e-Handbook 6.3.2.3 (tabular form).
///
/// # Example
/// ```
/// use bedplate_gauge::drift::{CusumPlan, cusum_chart};
/// let plan = CusumPlan { target: 325.0, allowance: 0.3175, interval: 4.1959 };
/// let chart = cusum_chart(&[324.925, 324.675], &plan).unwrap();
/// assert_eq!(format!("{:.4}", chart.below[1]), "0.0075");
/// ```
pub fn cusum_chart(readings: &[f64], plan: &CusumPlan) -> Result<CusumChart, DriftError> {
    let CusumPlan { target, allowance, interval } = *plan;
    summary(readings)?;
    check_target(target)?;
    positive("decision interval", interval)?;
    if !(allowance.is_finite() && allowance >= 0.0) {
        return Err(DriftError::Negative { what: "allowance", value: allowance });
    }
    let run = |sign: f64| -> Vec<f64> {
        let mut total = 0.0_f64;
        let step = |x: &f64| {
            total = (total + sign * (x - target) - allowance).max(0.0);
            total
        };
        readings.iter().map(step).collect()
    };
    let (above, below) = (run(1.0), run(-1.0));
    let over = |i: &usize| above[*i] > interval || below[*i] > interval;
    let signals = (0..readings.len()).filter(over).collect();
    Ok(CusumChart { above, below, signals })
}

fn check_target(target: f64) -> Result<(), DriftError> {
    if target.is_finite() { Ok(()) } else { Err(DriftError::Target { target }) }
}

fn positive(what: &'static str, value: f64) -> Result<(), DriftError> {
    if value.is_finite() && value > 0.0 {
        Ok(())
    } else {
        Err(DriftError::NotPositive { what, value })
    }
}

fn counted_from_one(signals: &[usize]) -> Vec<f64> {
    signals.iter().map(|&i| (i + 1) as f64).collect()
}

/// The EWMA chart.
pub const EWMA_CHART: Calculation = Calculation {
    name: "ewma-chart",
    title: "EWMA chart",
    stage: Stage::Control,
    question: "Does the process drift slowly off its target?",
    inputs: &[
        Input::list("readings", "mm", "readings in order"),
        Input::quantity("target", "mm", "target"),
        Input::quantity("sd", "mm", "standard deviation of single readings").over(0.0),
        Input::quantity("weight", "", "weight λ of the newest reading")
            .over(0.0)
            .at_most(1.0)
            .or("0.2"),
        Input::quantity("width", "", "half width of the limits in deviations of the average")
            .over(0.0)
            .or("3"),
    ],
    outputs: &[
        Output::figure("averages", "mm", "the average after each reading"),
        Output::figure("lower", "mm", "lower limit of the settled chart"),
        Output::figure("upper", "mm", "upper limit of the settled chart"),
        Output::figure("signals", "", "points beyond, counted from 1"),
    ],
    formula: "zᵢ = λ·xᵢ + (1 − λ)·zᵢ₋₁; target ± L·σ·√(λ/(2 − λ))",
    source: "NIST/SEMATECH e-Handbook 6.3.2.4",
    validity: "Independent readings about the target.",
    // NIST/SEMATECH e-Handbook 6.3.2.4, its first readings.
    example: &[
        ("readings", "52.0, 47.0, 53.0, 49.3, 50.1 mm"),
        ("target", "50 mm"),
        ("sd", "2.0539 mm"),
        ("weight", "0.3"),
    ],
    expected: &[
        ("averages", "50.60, 49.52, 50.56, 50.18, 50.16"),
        ("upper", "52.5884317381"),
        ("lower", "47.4115682619"),
    ],
    run: run_ewma,
};

fn run_ewma(given: &Given) -> Result<Answer, Refused> {
    let plan = EwmaPlan {
        target: given.number("target"),
        deviation: given.number("sd"),
        weight: given.number("weight"),
        width: given.number("width"),
    };
    let chart = ewma_chart(given.list("readings"), &plan)
        .map_err(|e| Refused::because("readings", e.to_string()))?;
    Ok(Answer::new()
        .list("averages", chart.averages)
        .figure("lower", chart.limits.lower)
        .figure("upper", chart.limits.upper)
        .list("signals", counted_from_one(&chart.signals)))
}

/// The CUSUM chart.
pub const CUSUM_CHART: Calculation = Calculation {
    name: "cusum-chart",
    title: "CUSUM chart",
    stage: Stage::Control,
    question: "Has the process shifted off its target, and since when?",
    inputs: &[
        Input::list("readings", "mm", "readings in order"),
        Input::quantity("target", "mm", "target"),
        Input::quantity("allowance", "mm", "half the shift to be found, k").at_least(0.0),
        Input::quantity("interval", "mm", "decision interval, h").over(0.0),
    ],
    outputs: &[
        Output::figure("above", "mm", "sum above the target"),
        Output::figure("below", "mm", "sum below the target"),
        Output::figure("signals", "", "points over the interval, counted from 1"),
    ],
    formula: "S⁺ᵢ = max(0, S⁺ᵢ₋₁ + xᵢ − target − k), S⁻ᵢ = max(0, S⁻ᵢ₋₁ + target − k − xᵢ)",
    source: "NIST/SEMATECH e-Handbook 6.3.2.3 (data, h and k from memory)",
    validity: "Independent readings about the target.",
    // Sums of the first readings of the handbook's series.
    example: &[
        ("readings", "324.925, 324.675, 324.725, 324.350, 325.350 mm"),
        ("target", "325 mm"),
        ("allowance", "0.3175 mm"),
        ("interval", "4.1959 mm"),
    ],
    expected: &[("above", "0, 0, 0, 0, 0.0325"), ("below", "0, 0.0075, 0, 0.3325, 0")],
    run: run_cusum,
};

fn run_cusum(given: &Given) -> Result<Answer, Refused> {
    let plan = CusumPlan {
        target: given.number("target"),
        allowance: given.number("allowance"),
        interval: given.number("interval"),
    };
    let chart = cusum_chart(given.list("readings"), &plan)
        .map_err(|e| Refused::because("readings", e.to_string()))?;
    Ok(Answer::new()
        .list("above", chart.above)
        .list("below", chart.below)
        .list("signals", counted_from_one(&chart.signals)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn plans_out_of_range_are_refused_in_words() {
        let plan = EwmaPlan { target: 0.0, deviation: 1.0, weight: 0.2, width: 3.0 };
        let words = |p: EwmaPlan| ewma_chart(&[1.0], &p).unwrap_err().to_string();
        assert!(words(EwmaPlan { weight: 0.0, ..plan }).contains("newest reading is 0"));
        assert!(words(EwmaPlan { deviation: -1.0, ..plan }).contains("deviation is -1"));
        assert!(words(EwmaPlan { target: f64::NAN, ..plan }).contains("target is NaN"));
        assert!(ewma_chart(&[], &plan).is_err());
        let plan = CusumPlan { target: 0.0, allowance: 0.5, interval: 4.0 };
        let words = |p: CusumPlan| cusum_chart(&[1.0], &p).unwrap_err().to_string();
        assert!(words(CusumPlan { interval: 0.0, ..plan }).contains("interval is 0"));
        assert!(words(CusumPlan { allowance: -0.5, ..plan }).contains("allowance is -0.5"));
    }

    proptest! {
        #[test]
        fn full_weight_is_the_chart_of_single_readings(
            xs in prop::collection::vec(-5.0f64..5.0, 1..30)
        ) {
            let plan = EwmaPlan { target: 0.0, deviation: 1.0, weight: 1.0, width: 3.0 };
            let chart = ewma_chart(&xs, &plan).unwrap();
            prop_assert_eq!(chart.limits.upper, 3.0);
            for (z, x) in chart.averages.iter().zip(&xs) {
                prop_assert!((z - x).abs() < 1e-12);
            }
        }

        #[test]
        fn mirrored_readings_swap_the_sums(xs in prop::collection::vec(-5.0f64..5.0, 1..30)) {
            let plan = CusumPlan { target: 0.0, allowance: 0.5, interval: 4.0 };
            let mirrored: Vec<f64> = xs.iter().map(|x| -x).collect();
            let (a, b) = (cusum_chart(&xs, &plan).unwrap(), cusum_chart(&mirrored, &plan).unwrap());
            prop_assert_eq!(a.above, b.below);
            prop_assert_eq!(a.signals, b.signals);
        }
    }
}
