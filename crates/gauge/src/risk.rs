//! What a decision rule costs over many pieces: bad ones passed, good ones refused.
//!
//! For one reading see [`crate::judge`].

use crate::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};
use crate::distribution::{normal_between, normal_density, normal_probability};
use crate::integral::integral;
use crate::limits::Limits;

/// A process that makes pieces and the gauge that measures them, both normal, in one unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProcessAndGauge {
    /// Mean size of the pieces made.
    pub mean: f64,
    /// Standard deviation of the pieces' true sizes; positive.
    pub process_deviation: f64,
    /// Standard uncertainty of one reading; 0 or more.
    pub standard_uncertainty: f64,
}

/// Shares of all pieces made, each between 0 and 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Risk {
    /// Consumer's risk: bad and yet accepted.
    pub consumer: f64,
    /// Producer's risk: good and yet not accepted.
    pub producer: f64,
    /// Good pieces among all made.
    pub conforming: f64,
    /// Accepted pieces among all made.
    pub accepted: f64,
}

/// Why the risk cannot be computed.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum RiskError {
    /// The mean is not a finite number.
    #[error("the mean of the process is {mean}; a finite number is needed")]
    Mean {
        /// What was given.
        mean: f64,
    },
    /// The scatter of the process is not a positive number.
    #[error("the standard deviation of the process is {deviation}; it must be positive")]
    ProcessDeviation {
        /// What was given.
        deviation: f64,
    },
    /// The uncertainty is negative or no number.
    #[error("the standard uncertainty is {uncertainty}; it must be 0 or more")]
    Uncertainty {
        /// What was given.
        uncertainty: f64,
    },
}

/// Standard deviations beyond which a normal share is below 1e-23 and left out.
const FAR: f64 = 10.0;

/// The consumer's and producer's risk of accepting on and inside `accepted` what is good on and
/// inside `limits`.
///
/// # Formula
/// R_C = ∫ over bad y of g₀(y)·P(accept | y) dy,
/// R_P = ∫ over good y of g₀(y)·(1 − P(accept | y)) dy, with g₀ the normal density of the process
/// and P(accept | y) = Φ((A_U − y)/u) − Φ((A_L − y)/u).
///
/// # Given
/// `limits`: of the characteristic; `accepted`: the readings that are accepted (the limits
/// themselves for simple acceptance, narrower with a guard band); `made`: process and gauge.
///
/// # Returns
/// Shares of all pieces made.
///
/// # Errors
/// [`RiskError`] for a scatter that is not positive or an uncertainty below 0.
///
/// # Validity
/// Normal process and normal error of measurement, independent; whatever is not accepted counts
/// as refused, also what cannot be told.
///
/// # Source
/// JCGM 106:2012 clause 9.5.
///
/// # Example
/// ```
/// use bedplate_gauge::{limits::Limits, risk::{ProcessAndGauge, risk}};
/// let made = ProcessAndGauge { mean: 0.0, process_deviation: 1.0, standard_uncertainty: 0.25 };
/// let limits = Limits::between(-2.0, 2.0).unwrap();
/// let guarded = Limits::between(-1.75, 1.75).unwrap();
/// let risk = risk(&limits, &guarded, &made).unwrap();
/// assert_eq!(format!("{:.6}", risk.consumer), "0.001812");
/// assert_eq!(format!("{:.5}", risk.producer), "0.04587");
/// ```
pub fn risk(limits: &Limits, accepted: &Limits, made: &ProcessAndGauge) -> Result<Risk, RiskError> {
    let ProcessAndGauge { mean, process_deviation: s, standard_uncertainty: u } = *made;
    if !mean.is_finite() {
        return Err(RiskError::Mean { mean });
    }
    if !(s.is_finite() && s > 0.0) {
        return Err(RiskError::ProcessDeviation { deviation: s });
    }
    if !(u.is_finite() && u >= 0.0) {
        return Err(RiskError::Uncertainty { uncertainty: u });
    }
    // In standard deviations of the process about its mean.
    let z = |x: Option<f64>, missing: f64| x.map_or(missing, |x| (x - mean) / s);
    let good = (z(limits.lower(), -1e300), z(limits.upper(), 1e300));
    let pass = (z(accepted.lower(), -1e300), z(accepted.upper(), 1e300));
    let u = u / s;
    let accept = |y: f64| acceptance(y, pass, u);
    let over = |from: f64, to: f64, f: &dyn Fn(f64) -> f64| {
        let mut ends = panels(from.max(-FAR), to.min(FAR), pass, u);
        integral(|y| normal_density(y) * f(y), &mut ends)
    };
    let consumer = over(-FAR, good.0, &accept) + over(good.1, FAR, &accept);
    let producer = over(good.0, good.1, &|y| 1.0 - accept(y));
    let conforming = normal_between(good.0, good.1);
    Ok(Risk { consumer, producer, conforming, accepted: conforming - producer + consumer })
}

/// The probability that a piece of true size `y` is accepted.
fn acceptance(y: f64, (lower, upper): (f64, f64), u: f64) -> f64 {
    if u == 0.0 {
        return if lower <= y && y <= upper { 1.0 } else { 0.0 };
    }
    match (lower <= -1e300, upper >= 1e300) {
        (true, _) => normal_probability((upper - y) / u),
        (_, true) => normal_probability((y - lower) / u),
        _ => normal_between((lower - y) / u, (upper - y) / u),
    }
}

/// Ends of panels from `from` to `to`, close together about the edges of acceptance.
fn panels(from: f64, to: f64, (lower, upper): (f64, f64), u: f64) -> Vec<f64> {
    if from >= to {
        return Vec::new();
    }
    let inside = |x: &f64| from < *x && *x < to;
    let mut ends = vec![from, to];
    let whole = (0..=20).map(|i| f64::from(i) - FAR);
    ends.extend(whole.filter(inside));
    for edge in [lower, upper] {
        ends.extend([edge].iter().filter(|x| inside(x)));
        let near = (-9..=9).map(|i| edge + f64::from(i) * u);
        ends.extend(near.filter(inside));
    }
    ends
}

/// The risks of an acceptance rule.
pub const RISK: Calculation = Calculation {
    name: "acceptance-risk",
    title: "Consumer's and producer's risk",
    stage: Stage::Gauge,
    question: "How many bad pieces does this rule pass, and how many good ones does it refuse?",
    inputs: &[
        Input::quantity("mean", "mm", "mean size of the pieces made"),
        Input::quantity("process_sd", "mm", "standard deviation of the true sizes").over(0.0),
        Input::quantity("uncertainty", "mm", "standard uncertainty of one reading").at_least(0.0),
        Input::quantity("lower", "mm", "lower limit"),
        Input::quantity("upper", "mm", "upper limit"),
        Input::quantity("guard", "mm", "guard band inside each limit").at_least(0.0).or("0 mm"),
    ],
    outputs: &[
        Output::figure("consumer", "", "share of all pieces that is bad and accepted"),
        Output::figure("producer", "", "share of all pieces that is good and not accepted"),
        Output::figure("conforming", "", "share of all pieces that is good"),
        Output::figure("accepted", "", "share of all pieces that is accepted"),
    ],
    formula: "R_C = ∫ bad g₀(y)·P(accept|y) dy, R_P = ∫ good g₀(y)·(1 − P(accept|y)) dy",
    source: "JCGM 106:2012 clause 9.5",
    validity: "Normal process and gauge; whatever is not accepted counts as refused.",
    // Computed with scipy.integrate.quad 1.17.1 after JCGM 106:2012 clause 9.5.
    example: &[
        ("mean", "0 mm"),
        ("process_sd", "1 mm"),
        ("uncertainty", "0.25 mm"),
        ("lower", "-2 mm"),
        ("upper", "2 mm"),
        ("guard", "0.25 mm"),
    ],
    expected: &[("consumer", "0.00181222"), ("producer", "0.0458670"), ("conforming", "0.954500")],
    run: run_risk,
};

fn run_risk(given: &Given) -> Result<Answer, Refused> {
    let (lower, upper) = (given.number("lower"), given.number("upper"));
    let guard = given.number("guard");
    let limits =
        Limits::between(lower, upper).map_err(|e| Refused::because("upper", e.to_string()))?;
    let accepted = Limits::between(lower + guard, upper - guard)
        .map_err(|_| Refused::because("guard", "the guard bands leave nothing to accept"))?;
    let made = ProcessAndGauge {
        mean: given.number("mean"),
        process_deviation: given.number("process_sd"),
        standard_uncertainty: given.number("uncertainty"),
    };
    let risk = risk(&limits, &accepted, &made)
        .map_err(|e| Refused::because("process_sd", e.to_string()))?;
    Ok(Answer::new()
        .figure("consumer", risk.consumer)
        .figure("producer", risk.producer)
        .figure("conforming", risk.conforming)
        .figure("accepted", risk.accepted))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn made(mean: f64, s: f64, u: f64) -> ProcessAndGauge {
        ProcessAndGauge { mean, process_deviation: s, standard_uncertainty: u }
    }

    #[test]
    fn precision_resistors_of_jcgm_106() {
        // JCGM 106:2012 clause 9.5.4, figures of the example from memory; computed with
        // scipy.integrate.quad 1.17.1 (status: computed).
        let limits = Limits::between(1499.8, 1500.2).unwrap();
        let r = risk(&limits, &limits, &made(1500.0, 0.12, 0.04)).unwrap();
        assert!((r.consumer / 0.018_942_206_716_941_75 - 1.0).abs() < 1e-6);
        assert!((r.producer / 0.037_207_800_177_953_596 - 1.0).abs() < 1e-6);
        assert!((r.conforming / 0.904_419_295_454_446_1 - 1.0).abs() < 1e-8);
    }

    #[test]
    fn a_guard_band_trades_one_risk_for_the_other() {
        // JCGM 106:2012 clause 9.5, computed with scipy.integrate.quad 1.17.1 (status: computed).
        let limits = Limits::between(-2.0, 2.0).unwrap();
        let guarded = Limits::between(-1.75, 1.75).unwrap();
        let r = risk(&limits, &guarded, &made(0.0, 1.0, 0.25)).unwrap();
        assert!((r.consumer / 0.001_812_221_235_782_056_8 - 1.0).abs() < 1e-6);
        assert!((r.producer / 0.045_867_031_753_066_24 - 1.0).abs() < 1e-6);
        assert!((r.conforming / 0.954_499_736_103_641_6 - 1.0).abs() < 1e-8);
    }

    #[test]
    fn a_gauge_that_cannot_be_wrong_costs_nothing() {
        let limits = Limits::between(-2.0, 2.0).unwrap();
        let r = risk(&limits, &limits, &made(0.3, 1.0, 0.0)).unwrap();
        assert!(r.consumer.abs() < 1e-15 && r.producer.abs() < 1e-15);
        assert!((r.accepted - r.conforming).abs() < 1e-15);
    }

    #[test]
    fn figures_that_make_no_process_are_refused() {
        let limits = Limits::at_most(2.0).unwrap();
        for bad in [made(f64::NAN, 1.0, 0.1), made(0.0, 0.0, 0.1), made(0.0, 1.0, -0.1)] {
            assert!(risk(&limits, &limits, &bad).is_err());
        }
    }

    proptest! {
        #[test]
        fn accepted_share_is_that_of_the_readings(
            mean in -3.0f64..3.0, s in 0.1f64..2.0, u in 0.001f64..2.0, guard in 0.0f64..1.5
        ) {
            // Second method: readings are normal with both scatters together.
            let limits = Limits::between(-2.0, 2.0).unwrap();
            let accepted = Limits::between(guard - 2.0, 2.0 - guard).unwrap();
            let r = risk(&limits, &accepted, &made(mean, s, u)).unwrap();
            let whole = s.hypot(u);
            let direct = normal_between((guard - 2.0 - mean) / whole, (2.0 - guard - mean) / whole);
            prop_assert!((r.accepted - direct).abs() < 1e-10, "{} {}", r.accepted, direct);
        }

        #[test]
        fn one_limit_is_two_with_the_other_far_away(mean in -3.0f64..3.0, u in 0.0f64..1.0) {
            let one = Limits::at_most(2.0).unwrap();
            let two = Limits::between(-1e6, 2.0).unwrap();
            let a = risk(&one, &one, &made(mean, 1.0, u)).unwrap();
            let b = risk(&two, &two, &made(mean, 1.0, u)).unwrap();
            prop_assert!((a.consumer - b.consumer).abs() < 1e-12);
            prop_assert!((a.producer - b.producer).abs() < 1e-12);
        }
    }
}
