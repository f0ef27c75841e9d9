//! How many pieces a chart takes on average until it signals: when nothing is wrong (rarely, one
//! hopes) and after a shift (soon).

use crate::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};
use crate::distribution::{normal_density, normal_probability};
use crate::integral::nodes;

/// Why there is no run length.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum RunLengthError {
    /// A figure of the chart lies outside the range that is computed.
    #[error("the {what} is {value}; {from} to {to} can be computed")]
    OutOfRange {
        /// Which one.
        what: &'static str,
        /// What was given.
        value: f64,
        /// Smallest value.
        from: f64,
        /// Largest value.
        to: f64,
    },
}

fn between(what: &'static str, value: f64, from: f64, to: f64) -> Result<f64, RunLengthError> {
    if from <= value && value <= to {
        Ok(value)
    } else {
        Err(RunLengthError::OutOfRange { what, value, from, to })
    }
}

/// Average run length of a chart of single readings or means with three-sigma limits.
///
/// # Formula
/// 1/(Φ(−3 − δ) + Φ(−3 + δ)).
///
/// # Given
/// `shift`: δ, the shift of the mean in standard deviations of what is plotted, −10 to 10.
///
/// # Returns
/// Points until the first one beyond the limits, on average.
///
/// # Errors
/// [`RunLengthError`].
///
/// # Source
/// Definition: a geometric distribution.
///
/// # Example
/// ```
/// use bedplate_gauge::run_length::three_sigma_run_length;
/// assert_eq!(three_sigma_run_length(0.0).unwrap().round(), 370.0);
/// ```
pub fn three_sigma_run_length(shift: f64) -> Result<f64, RunLengthError> {
    let shift = between("shift", shift, -10.0, 10.0)?;
    Ok(1.0 / (normal_probability(-3.0 - shift) + normal_probability(shift - 3.0)))
}

/// Average run length of a CUSUM chart with both sums.
///
/// # Formula
/// For one sum L(u) = 1 + L(0)·Φ(k − u − δ) + ∫₀ʰ L(y)·φ(y + k − u − δ) dy; for both
/// 1/L = 1/L⁺ + 1/L⁻.
///
/// # Given
/// In standard deviations of a reading: `allowance` k 0 to 5, `interval` h 0.1 to 20, `shift` δ
/// −10 to 10.
///
/// # Returns
/// Readings until the first signal, on average, from sums of nought.
///
/// # Errors
/// [`RunLengthError`].
///
/// # Validity
/// Independent normal readings.
///
/// # Source
/// Integral equation of Page, Biometrika 41 (1954) 100; both sums after Kemp (from memory).
///
/// # Example
/// ```
/// // Published tables print 168 and 8.38 (from memory).
/// let length = |shift| bedplate_gauge::run_length::cusum_run_length(0.5, 4.0, shift).unwrap();
/// assert_eq!(format!("{:.0} {:.2}", length(0.0), length(1.0)), "168 8.38");
/// ```
pub fn cusum_run_length(allowance: f64, interval: f64, shift: f64) -> Result<f64, RunLengthError> {
    let k = between("allowance", allowance, 0.0, 5.0)?;
    let h = between("decision interval", interval, 0.1, 20.0)?;
    let shift = between("shift", shift, -10.0, 10.0)?;
    let one = |shift: f64| {
        // The place u = 0 has a weight of its own: all sums that fell below nought.
        let mut places = nodes(0.0, h, 1.0);
        places.push((0.0, 0.0));
        let zero = places.len() - 1;
        let lengths = solve(&places, |from, to, weight, is_zero| {
            let step = to + k - from - shift;
            let fell = if is_zero { normal_probability(k - from - shift) } else { 0.0 };
            weight * normal_density(step) + fell
        });
        lengths[zero]
    };
    Ok(1.0 / (1.0 / one(shift) + 1.0 / one(-shift)))
}

/// Average run length of an EWMA chart with settled limits.
///
/// # Formula
/// L(u) = 1 + (1/λ)·∫ L(y)·φ((y − (1 − λ)u)/λ − δ) dy over ±w·√(λ/(2 − λ)).
///
/// # Given
/// `weight` λ 0.01 to 1; `width` w 0.5 to 5, in standard deviations of the average; `shift` δ −10
/// to 10, in those of a reading.
///
/// # Returns
/// Readings until the first signal, on average, from the target.
///
/// # Errors
/// [`RunLengthError`].
///
/// # Validity
/// Independent normal readings.
///
/// # Source
/// Integral equation of Crowder, Technometrics 29 (1987) 401, from memory.
///
/// # Example
/// ```
/// // Published tables print 500 and 10.3 (from memory).
/// let length = |shift| bedplate_gauge::run_length::ewma_run_length(0.1, 2.814, shift).unwrap();
/// assert_eq!(format!("{:.0} {:.1}", length(0.0), length(1.0)), "500 10.3");
/// ```
pub fn ewma_run_length(weight: f64, width: f64, shift: f64) -> Result<f64, RunLengthError> {
    let weight = between("weight", weight, 0.01, 1.0)?;
    let width = between("width of the limits", width, 0.5, 5.0)?;
    let shift = between("shift", shift, -10.0, 10.0)?;
    let h = width * (weight / (2.0 - weight)).sqrt();
    let mut places = nodes(-h, h, 2.0 * weight);
    places.push((0.0, 0.0));
    let lengths = solve(&places, |from, to, w, _| {
        w / weight * normal_density((to - (1.0 - weight) * from) / weight - shift)
    });
    Ok(lengths[places.len() - 1])
}

/// Solves L(uᵢ) = 1 + Σⱼ K(uᵢ, uⱼ)·L(uⱼ) at the given places with their weights; `kernel` takes
/// from, to, the weight of to, and whether to is the last place.
fn solve(places: &[(f64, f64)], kernel: impl Fn(f64, f64, f64, bool) -> f64) -> Vec<f64> {
    let n = places.len();
    let mut rows: Vec<Vec<f64>> = (0..n)
        .map(|i| {
            let cell = |j: usize| {
                let (to, weight) = places[j];
                let k = kernel(places[i].0, to, weight, j == n - 1);
                if i == j { 1.0 - k } else { -k }
            };
            (0..n).map(cell).chain([1.0]).collect()
        })
        .collect();
    eliminate(&mut rows);
    rows.iter().map(|row| row[n]).collect()
}

/// Gauss and Jordan's elimination with the largest pivot of each column; the right side stands in
/// the last column and becomes the answer.
fn eliminate(rows: &mut [Vec<f64>]) {
    let n = rows.len();
    for column in 0..n {
        let best = (column..n)
            .max_by(|&a, &b| rows[a][column].abs().total_cmp(&rows[b][column].abs()))
            .unwrap_or(column);
        rows.swap(column, best);
        let pivot = rows[column].clone();
        for (i, row) in rows.iter_mut().enumerate() {
            let factor =
                if i == column { 1.0 - 1.0 / pivot[column] } else { row[column] / pivot[column] };
            for j in column..=n {
                row[j] -= factor * pivot[j];
            }
        }
    }
}

/// How long charts take to signal.
pub const RUN_LENGTH: Calculation = Calculation {
    name: "average-run-length",
    title: "Average run length of a chart",
    stage: Stage::Control,
    question: "How many pieces pass before this chart signals such a shift?",
    inputs: &[
        Input::choice("chart", &["three sigma", "cusum", "ewma"], "which chart").or("three sigma"),
        Input::quantity("shift", "", "shift of the mean in standard deviations")
            .at_least(-10.0)
            .at_most(10.0)
            .or("0"),
        Input::quantity("allowance", "", "CUSUM: k in standard deviations")
            .at_least(0.0)
            .at_most(5.0)
            .or("0.5"),
        Input::quantity("interval", "", "CUSUM: h in standard deviations")
            .at_least(0.1)
            .at_most(20.0)
            .or("4"),
        Input::quantity("weight", "", "EWMA: weight of the newest reading")
            .at_least(0.01)
            .at_most(1.0)
            .or("0.1"),
        Input::quantity("width", "", "EWMA: half width of the limits in its own deviations")
            .at_least(0.5)
            .at_most(5.0)
            .or("2.814"),
    ],
    outputs: &[Output::figure("length", "", "pieces until the first signal, on average")],
    formula: "1/(Φ(−3 − δ) + Φ(−3 + δ)); integral equations for CUSUM and EWMA",
    source: "Page, Biometrika 41 (1954) 100; Crowder, Technometrics 29 (1987) 401 (from memory)",
    validity: "Independent normal readings, limits known.",
    // Published tables print 8.38 for k = 0.5, h = 4 and a shift of one (from memory).
    example: &[("chart", "cusum"), ("shift", "1")],
    expected: &[("length", "8.38")],
    run: run_length,
};

fn run_length(given: &Given) -> Result<Answer, Refused> {
    let shift = given.number("shift");
    let length = match given.word("chart") {
        "cusum" => cusum_run_length(given.number("allowance"), given.number("interval"), shift),
        "ewma" => ewma_run_length(given.number("weight"), given.number("width"), shift),
        _ => three_sigma_run_length(shift),
    };
    let length = length.map_err(|e| Refused::because("shift", e.to_string()))?;
    Ok(Answer::new().figure("length", length))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn full_weight_and_three_sigma_is_the_plain_chart() {
        for shift in [0.0, 0.5, 1.0, 2.0] {
            let ewma = ewma_run_length(1.0, 3.0, shift).unwrap();
            let plain = three_sigma_run_length(shift).unwrap();
            assert!((ewma / plain - 1.0).abs() < 1e-9, "{shift}: {ewma} {plain}");
        }
    }

    #[test]
    fn shifts_either_way_take_as_long() {
        for f in [
            |s| cusum_run_length(0.5, 5.0, s),
            |s| ewma_run_length(0.2, 2.9, s),
            three_sigma_run_length,
        ] {
            let (up, down): (f64, f64) = (f(0.7).unwrap(), f(-0.7).unwrap());
            assert!((up / down - 1.0).abs() < 1e-9);
            assert!(up < f(0.0).unwrap());
        }
    }

    #[test]
    fn figures_out_of_range_are_refused_in_words() {
        let words = cusum_run_length(0.5, 0.0, 0.0).unwrap_err().to_string();
        assert_eq!(words, "the decision interval is 0; 0.1 to 20 can be computed");
        assert!(ewma_run_length(f64::NAN, 3.0, 0.0).is_err());
        assert!(three_sigma_run_length(f64::INFINITY).is_err());
    }
}
