//! Probabilities and quantiles of the distributions the gauge room uses.
//!
//! The normal probability comes straight from the complementary error function; quantiles start
//! from an approximation and are polished by Newton's method on the probability, always on the
//! smaller tail, so that they keep their digits far out. Knows nothing of readings.

use std::f64::consts::{FRAC_1_SQRT_2, PI, SQRT_2};

use statrs::function::beta::{beta_reg, ln_beta};
use statrs::function::gamma::{gamma_lr, gamma_ur};

use crate::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};

/// Why there is no such quantile or probability.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum DistributionError {
    /// A probability must lie strictly between 0 and 1.
    #[error("{probability} is not a probability between 0 and 1, both excluded")]
    NotAProbability {
        /// What was given.
        probability: f64,
    },
    /// Degrees of freedom must be positive, and finite for chi-square and F.
    #[error("{dof} degrees of freedom; a number of at least {MIN_DOF} is needed")]
    DegreesOfFreedom {
        /// What was given.
        dof: f64,
    },
}

/// The probability that a standard normal variable lies below `z`.
///
/// # Formula
/// Φ(z) = ½ erfc(−z/√2).
///
/// # Given
/// `z`, a plain number; −∞ and ∞ give 0 and 1, NaN gives NaN.
///
/// # Validity
/// Relative error below 1e-15·(1 + z²) in the lower tail; the rounding of the argument is what
/// is left.
///
/// # Source
/// Definition; `erfc` of the `libm` crate.
///
/// # Example
/// ```
/// use bedplate_gauge::distribution::normal_probability;
/// // Two-sided 95 %, any table of the normal distribution: 1.96.
/// assert_eq!(format!("{:.4}", normal_probability(1.96)), "0.9750");
/// ```
#[must_use]
pub fn normal_probability(z: f64) -> f64 {
    0.5 * libm::erfc(-z * FRAC_1_SQRT_2)
}

/// The height of the standard normal curve at `z`: φ(z) = exp(−z²/2)/√(2π).
///
/// # Source
/// Definition.
#[must_use]
pub fn normal_density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * PI).sqrt()
}

/// The probability that a standard normal variable lies between `from` and `to`, computed on the
/// side where no digits are lost. Negative if `to` < `from`.
#[must_use]
pub(crate) fn normal_between(from: f64, to: f64) -> f64 {
    if from > 0.0 {
        normal_probability(-from) - normal_probability(-to)
    } else {
        normal_probability(to) - normal_probability(from)
    }
}

/// The value below which a standard normal variable lies with this probability.
///
/// # Formula
/// z with Φ(z) = p, by Newton's method with Halley's correction on the smaller tail.
///
/// # Errors
/// [`DistributionError::NotAProbability`] unless 0 < p < 1.
///
/// # Source
/// Definition; checked against values to 30 digits, see the tests.
///
/// # Example
/// ```
/// use bedplate_gauge::distribution::normal_quantile;
/// assert_eq!(format!("{:.6}", normal_quantile(0.975).unwrap()), "1.959964");
/// ```
pub fn normal_quantile(probability: f64) -> Result<f64, DistributionError> {
    check_probability(probability)?;
    // 1 − p is exact for p in [½, 1], so the upper half loses nothing by mirroring.
    Ok(if probability <= 0.5 {
        lower_normal_quantile(probability)
    } else {
        -lower_normal_quantile(1.0 - probability)
    })
}

/// z ≤ 0 with Φ(z) = `tail`, for 0 < tail ≤ ½.
fn lower_normal_quantile(tail: f64) -> f64 {
    let mut z = -SQRT_2 * statrs::function::erf::erfc_inv(2.0 * tail);
    for _ in 0..4 {
        let density = normal_density(z);
        if density <= 0.0 || !z.is_finite() {
            break;
        }
        let newton = (normal_probability(z) - tail) / density;
        let step = newton / (1.0 + 0.5 * z * newton);
        z -= step;
        if step.abs() <= f64::EPSILON * z.abs() {
            break;
        }
    }
    z.min(0.0)
}

fn check_probability(probability: f64) -> Result<(), DistributionError> {
    if 0.0 < probability && probability < 1.0 {
        Ok(())
    } else {
        Err(DistributionError::NotAProbability { probability })
    }
}

/// Fewest degrees of freedom: below, the tails reach beyond the largest double.
const MIN_DOF: f64 = 0.01;

fn check_dof(dof: f64) -> Result<(), DistributionError> {
    // NaN must fail too, hence the test for what is right.
    if dof >= MIN_DOF { Ok(()) } else { Err(DistributionError::DegreesOfFreedom { dof }) }
}

/// Degrees of freedom beyond which the t quantile is taken from its expansion about the normal
/// one: the fourth term, left out, is below 1e-13 of the quantile there for p ≥ 1e-9.
const T_IS_NEARLY_NORMAL_DOF: f64 = 20_000.0;

/// The value below which Student's t with `dof` degrees of freedom lies with this probability.
///
/// # Formula
/// t with F(t; ν) = p, F by the regularised incomplete beta function.
///
/// # Given
/// `probability` strictly between 0 and 1; `dof` ν ≥ 0.01, need not be whole, may be infinite (then
/// the normal quantile).
///
/// # Errors
/// [`DistributionError`] for a figure outside these ranges.
///
/// # Validity
/// Relative error below 1e-10 for 1e-9 ≤ p ≤ 1 − 1e-9 and ν ≥ 1.
///
/// # Source
/// Definition; checked against values to 20 digits, see the tests.
///
/// # Example
/// ```
/// use bedplate_gauge::distribution::t_quantile;
/// // JCGM 100:2008 Table G.2: 99 %, 16 degrees of freedom: 2.92.
/// assert_eq!(format!("{:.2}", t_quantile(0.995, 16.0).unwrap()), "2.92");
/// ```
pub fn t_quantile(probability: f64, dof: f64) -> Result<f64, DistributionError> {
    check_probability(probability)?;
    check_dof(dof)?;
    // 1 − p is exact for p in [½, 1].
    let (tail, sign) =
        if probability <= 0.5 { (probability, -1.0) } else { (1.0 - probability, 1.0) };
    if tail == 0.5 {
        return Ok(0.0);
    }
    let z = -lower_normal_quantile(tail);
    let expanded = t_about_normal(z, dof);
    if dof > T_IS_NEARLY_NORMAL_DOF {
        return Ok(sign * expanded);
    }
    let start = if expanded > 0.0 && expanded.is_finite() { expanded.ln() } else { z.ln() };
    let density = |t: f64| {
        let ln_height =
            -0.5 * (dof + 1.0) * (t * t / dof).ln_1p() - 0.5 * dof.ln() - ln_beta(0.5, 0.5 * dof);
        ln_height.exp()
    };
    // Near the middle the share from 0 to t is the small figure, far out the tail is.
    let s = if tail > 0.25 {
        let middle = 0.5 - tail;
        rising_root(start, |s| {
            let t = s.exp();
            let share = 0.5 * beta_reg(0.5, 0.5 * dof, t_share(t, dof));
            (share.ln() - middle.ln(), t * density(t) / share)
        })
    } else {
        rising_root(start, |s| {
            let t = s.exp();
            let beyond = t_tail(t, dof);
            (tail.ln() - beyond.ln(), t * density(t) / beyond)
        })
    };
    Ok(sign * s.exp())
}

/// t²/(ν + t²), also where the square overflows.
fn t_share(t: f64, dof: f64) -> f64 {
    1.0 / (1.0 + dof / (t * t))
}

/// The share of Student's t beyond `t` ≥ 0.
fn t_tail(t: f64, dof: f64) -> f64 {
    0.5 * beta_reg(0.5 * dof, 0.5, dof / (dof + t * t))
}

/// Expansion of the t quantile about the normal one in powers of 1/ν.
///
/// Source: Fisher and Cornish, Technometrics 2 (1960) 209; the coefficients from memory, confirmed
/// by the values computed to 20 digits for 99 999, 100 001 and 10⁷ degrees of freedom.
fn t_about_normal(z: f64, dof: f64) -> f64 {
    let z2 = z * z;
    let g1 = z * (z2 + 1.0) / 4.0;
    let g2 = z * (5.0 * z2 * z2 + 16.0 * z2 + 3.0) / 96.0;
    let g3 = z * (3.0 * z2 * z2 * z2 + 19.0 * z2 * z2 + 17.0 * z2 - 15.0) / 384.0;
    z + (g1 + (g2 + g3 / dof) / dof) / dof
}

/// The normal quantile whose expansion is `t`: [`t_about_normal`] inverted by substitution, which
/// shrinks the error by t²/ν each time.
fn normal_about_t(t: f64, dof: f64) -> f64 {
    let mut z = t;
    for _ in 0..12 {
        z = t - (t_about_normal(z, dof) - z);
    }
    z
}

/// The value below which chi-square with `dof` degrees of freedom lies with this probability.
///
/// # Formula
/// χ² with P(ν/2, χ²/2) = p, P the regularised incomplete gamma function.
///
/// # Given
/// `probability` strictly between 0 and 1; `dof` ν ≥ 0.01, finite.
///
/// # Errors
/// [`DistributionError`] for a figure outside these ranges.
///
/// # Validity
/// Relative error below 1e-10 for 1e-9 ≤ p ≤ 1 − 1e-9 and 1 ≤ ν ≤ 10⁴.
///
/// # Source
/// Definition; checked against values to 20 digits, see the tests.
///
/// # Example
/// ```
/// use bedplate_gauge::distribution::chi_square_quantile;
/// // Any table of chi-square: 10 degrees of freedom, 95 %: 18.307.
/// assert_eq!(format!("{:.3}", chi_square_quantile(0.95, 10.0).unwrap()), "18.307");
/// ```
pub fn chi_square_quantile(probability: f64, dof: f64) -> Result<f64, DistributionError> {
    check_probability(probability)?;
    check_dof(dof)?;
    if dof.is_infinite() {
        return Err(DistributionError::DegreesOfFreedom { dof });
    }
    let a = 0.5 * dof;
    let z = normal_quantile(probability)?;
    // Wilson and Hilferty's cube; below zero the first term of the series for P.
    let cube = 1.0 - 2.0 / (9.0 * dof) + z * (2.0 / (9.0 * dof)).sqrt();
    if dof > CHI_SQUARE_BY_CUBE_DOF {
        return Ok(dof * cube * cube * cube);
    }
    let start = if cube > 0.05 {
        (dof * cube * cube * cube).ln()
    } else {
        (probability.ln() + libm::lgamma(a + 1.0)) / a + 2f64.ln()
    };
    // x times the density, which is what a step in ln x changes P by.
    let slope = |x: f64| (a * (0.5 * x).ln() - 0.5 * x - libm::lgamma(a)).exp();
    let s = if probability <= 0.5 {
        rising_root(start, |s| {
            let below = within(s.exp(), |x| gamma_lr(a, 0.5 * x), 0.0, 1.0);
            (below.ln() - probability.ln(), slope(s.exp()) / below)
        })
    } else {
        let tail = 1.0 - probability;
        rising_root(start, |s| {
            let above = within(s.exp(), |x| gamma_ur(a, 0.5 * x), 1.0, 0.0);
            (tail.ln() - above.ln(), slope(s.exp()) / above)
        })
    };
    Ok(s.exp())
}

/// Degrees of freedom beyond which Wilson and Hilferty's cube stands for chi-square: its relative
/// error is below 1e-9 there, while the series takes longer the more degrees of freedom there are.
const CHI_SQUARE_BY_CUBE_DOF: f64 = 1e6;

/// `f(x)` for finite positive x, and its limits at zero and at infinity.
fn within(x: f64, f: impl Fn(f64) -> f64, at_zero: f64, at_infinity: f64) -> f64 {
    if 0.5 * x <= 0.0 {
        at_zero
    } else if x.is_infinite() {
        at_infinity
    } else {
        f(x)
    }
}

/// The probability that chi-square with `dof` degrees of freedom exceeds `value`.
///
/// # Errors
/// [`DistributionError::DegreesOfFreedom`] unless 0.01 ≤ `dof` < ∞.
///
/// # Source
/// Definition: Q(ν/2, χ²/2), the regularised incomplete gamma function.
pub fn chi_square_beyond(value: f64, dof: f64) -> Result<f64, DistributionError> {
    check_dof(dof)?;
    if dof.is_infinite() {
        return Err(DistributionError::DegreesOfFreedom { dof });
    }
    if dof > CHI_SQUARE_BY_CUBE_DOF {
        let spread = 2.0 / (9.0 * dof);
        let z = ((value.max(0.0) / dof).cbrt() - (1.0 - spread)) / spread.sqrt();
        return Ok(normal_probability(-z));
    }
    Ok(if value.is_nan() {
        value
    } else {
        within(value, |x| gamma_ur(0.5 * dof, 0.5 * x), 1.0, 0.0)
    })
}

/// The probability that Student's t with `dof` degrees of freedom exceeds `value`.
///
/// # Errors
/// [`DistributionError::DegreesOfFreedom`] unless `dof` is at least 0.01.
///
/// # Source
/// Definition by the regularised incomplete beta function.
pub fn t_beyond(value: f64, dof: f64) -> Result<f64, DistributionError> {
    check_dof(dof)?;
    if dof.is_infinite() {
        return Ok(normal_probability(-value));
    }
    if value.is_nan() {
        return Ok(f64::NAN);
    }
    let size = value.abs();
    let tail = if dof > T_IS_NEARLY_NORMAL_DOF && size * size < 0.01 * dof {
        normal_probability(-normal_about_t(size, dof))
    } else if size < 1.0 {
        0.5 - 0.5 * beta_reg(0.5, 0.5 * dof, t_share(size, dof))
    } else {
        t_tail(size, dof)
    };
    Ok(if value >= 0.0 { tail } else { 1.0 - tail })
}

/// The probability that the F ratio with these degrees of freedom exceeds `value`.
///
/// # Given
/// `value`, the ratio of two mean squares; `dof_above` of the upper one, `dof_below` of the lower,
/// both at least 0.01 and finite.
///
/// # Errors
/// [`DistributionError::DegreesOfFreedom`] for degrees of freedom outside that range.
///
/// # Source
/// Definition by the regularised incomplete beta function.
///
/// # Example
/// ```
/// use bedplate_gauge::distribution::f_beyond;
/// // Any table of F: 5 % beyond 3.55 with 2 and 18 degrees of freedom.
/// assert_eq!(format!("{:.2}", f_beyond(3.5546, 2.0, 18.0).unwrap()), "0.05");
/// ```
pub fn f_beyond(value: f64, dof_above: f64, dof_below: f64) -> Result<f64, DistributionError> {
    for dof in [dof_above, dof_below] {
        check_dof(dof)?;
        if dof.is_infinite() {
            return Err(DistributionError::DegreesOfFreedom { dof });
        }
    }
    let share = |x: f64| f_tails(x, dof_above, dof_below).1;
    Ok(if value.is_nan() { value } else { within(value, share, 1.0, 0.0) })
}

/// The shares of F below and above `x` > 0. Whichever is small keeps its digits.
fn f_tails(x: f64, dof_above: f64, dof_below: f64) -> (f64, f64) {
    let whole = dof_above * x + dof_below;
    let below = beta_reg(0.5 * dof_above, 0.5 * dof_below, (dof_above * x / whole).min(1.0));
    let above = beta_reg(0.5 * dof_below, 0.5 * dof_above, (dof_below / whole).min(1.0));
    (below, above)
}

/// The value below which the F ratio lies with this probability.
///
/// # Given
/// As [`f_beyond`]; `probability` strictly between 0 and 1.
///
/// # Errors
/// [`DistributionError`] for a figure outside these ranges.
///
/// # Validity
/// Relative error below 1e-9 for 1e-6 ≤ p ≤ 1 − 1e-6 and degrees of freedom from 1 to 2000.
///
/// # Source
/// Definition; checked against values to 20 digits, see the tests.
pub fn f_quantile(
    probability: f64,
    dof_above: f64,
    dof_below: f64,
) -> Result<f64, DistributionError> {
    check_probability(probability)?;
    for dof in [dof_above, dof_below] {
        check_dof(dof)?;
        if dof.is_infinite() {
            return Err(DistributionError::DegreesOfFreedom { dof });
        }
    }
    let (a, b) = (0.5 * dof_above, 0.5 * dof_below);
    let slope = |x: f64| {
        let share = dof_above * x / (dof_above * x + dof_below);
        let ln_rest = -(dof_above * x / dof_below).ln_1p();
        (a * share.ln() + b * ln_rest - ln_beta(a, b)).exp()
    };
    let tail = 1.0 - probability;
    let s = rising_root(0.0, |s| {
        let x = s.exp();
        let (below, above) = f_tails(x, dof_above, dof_below);
        if probability <= 0.5 {
            (below.ln() - probability.ln(), slope(x) / below)
        } else {
            (tail.ln() - above.ln(), slope(x) / above)
        }
    });
    Ok(s.exp())
}

/// The root of a rising function by Newton's method, kept inside the bracket that the signs seen
/// so far allow; `f` gives value and slope. Sixty halvings of a bracket of a few units reach the
/// last digit even where Newton's method never helps.
fn rising_root(start: f64, f: impl Fn(f64) -> (f64, f64)) -> f64 {
    let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
    let mut s = start;
    let mut reach = 1.0;
    for _ in 0..200 {
        let (value, slope) = f(s);
        if value == 0.0 {
            break;
        }
        if value < 0.0 {
            low = s;
        } else {
            high = s;
        }
        let newton = s - value / slope;
        let next = if newton.is_finite() && low < newton && newton < high {
            newton
        } else if low.is_finite() && high.is_finite() {
            0.5 * (low + high)
        } else {
            reach *= 2.0;
            if high.is_finite() { high - reach } else { low + reach }
        };
        let step = (next - s).abs();
        s = next;
        if step <= 2.0 * f64::EPSILON * s.abs().max(1.0) {
            break;
        }
    }
    s
}

/// The share of a normal distribution below a point.
pub const NORMAL_SHARE: Calculation = Calculation {
    name: "normal-share",
    title: "Share of a normal distribution",
    stage: Stage::Control,
    question: "What share of pieces lies below this size, if sizes scatter normally?",
    inputs: &[
        Input::quantity("value", "mm", "the size"),
        Input::quantity("mean", "mm", "mean of the sizes"),
        Input::quantity("sd", "mm", "standard deviation of the sizes").over(0.0),
    ],
    outputs: &[
        Output::figure("below", "", "share below the size"),
        Output::figure("beyond", "", "share above the size"),
        Output::figure("z", "", "distance from the mean in standard deviations"),
    ],
    formula: "Φ(z) = ½ erfc(−z/√2), z = (x − μ)/σ",
    source: "definition",
    validity: "Sizes that scatter normally, with mean and scatter known.",
    // Any table of the normal distribution: 97.5 % below z = 1.96.
    example: &[("value", "1.96 mm"), ("mean", "0 mm"), ("sd", "1 mm")],
    expected: &[("below", "0.9750"), ("z", "1.96")],
    run: |given| {
        let z = (given.number("value") - given.number("mean")) / given.number("sd");
        Ok(Answer::new()
            .figure("below", normal_probability(z))
            .figure("beyond", normal_probability(-z))
            .figure("z", z))
    },
};

/// A quantile of the normal, t, chi-square or F distribution.
pub const QUANTILE: Calculation = Calculation {
    name: "quantile",
    title: "Quantile of a distribution",
    stage: Stage::Control,
    question: "Below which value does this share of the distribution lie?",
    inputs: &[
        Input::choice("distribution", &["normal", "t", "chi-square", "f"], "which distribution")
            .or("t"),
        Input::quantity("probability", "", "share below").over(0.0).under(1.0),
        Input::quantity("dof", "", "degrees of freedom; of the upper mean square for F")
            .at_least(0.01)
            .or("1"),
        Input::quantity("dof_below", "", "F: degrees of freedom of the lower mean square")
            .at_least(0.01)
            .or("1"),
    ],
    outputs: &[Output::figure("quantile", "", "the value")],
    formula: "x with F(x) = p, by Newton's method on the probability",
    source: "definition",
    validity: "Relative error below 1e-9 for probabilities from 1e-6 to 1 − 1e-6.",
    // JCGM 100:2008 Table G.2: t for 99 % and 16 degrees of freedom.
    example: &[("distribution", "t"), ("probability", "0.995"), ("dof", "16")],
    expected: &[("quantile", "2.92")],
    run: run_quantile,
};

fn run_quantile(given: &Given) -> Result<Answer, Refused> {
    let (p, dof) = (given.number("probability"), given.number("dof"));
    let quantile = match given.word("distribution") {
        "normal" => normal_quantile(p),
        "t" => t_quantile(p, dof),
        "chi-square" => chi_square_quantile(p, dof),
        _ => f_quantile(p, dof, given.number("dof_below")),
    };
    let quantile = quantile.map_err(|e| Refused::because("dof", e.to_string()))?;
    Ok(Answer::new().figure("quantile", quantile))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_is_no_probability_is_refused_in_words() {
        for p in [0.0, 1.0, -0.1, 1.1, f64::NAN, f64::INFINITY] {
            assert!(normal_quantile(p).is_err());
            assert!(t_quantile(p, 5.0).is_err());
            assert!(chi_square_quantile(p, 5.0).is_err());
            assert!(f_quantile(p, 5.0, 5.0).is_err());
        }
        assert_eq!(
            normal_quantile(1.5).unwrap_err().to_string(),
            "1.5 is not a probability between 0 and 1, both excluded"
        );
        for dof in [0.0, -1.0, f64::NAN] {
            assert!(t_quantile(0.9, dof).is_err());
            assert!(chi_square_quantile(0.9, dof).is_err());
        }
        assert!(chi_square_quantile(0.9, f64::INFINITY).is_err());
        assert_eq!(t_quantile(0.975, f64::INFINITY), normal_quantile(0.975));
    }

    #[test]
    fn normal_probability_keeps_its_digits_far_out() {
        // mpmath 1.3, 30 digits (status: computed): Φ(−6) and Φ(−10).
        assert!((normal_probability(-6.0) / 9.865_876_450_376_98e-10 - 1.0).abs() < 1e-13);
        assert!((normal_probability(-10.0) / 7.619_853_024_160_527e-24 - 1.0).abs() < 1e-13);
        assert_eq!(normal_probability(f64::INFINITY), 1.0);
        assert_eq!(normal_probability(f64::NEG_INFINITY), 0.0);
    }

    proptest! {
        #[test]
        fn quantile_and_probability_undo_each_other(z in -7.0f64..5.0) {
            let back = normal_quantile(normal_probability(z)).unwrap();
            // Near z = 5 the probability itself has lost its digits to being close to 1.
            prop_assert!((back - z).abs() < 1e-9);
        }

        #[test]
        fn quantiles_are_odd_about_the_middle(p in 0.001f64..0.5, dof in 0.5f64..500.0) {
            let t = t_quantile(p, dof).unwrap() + t_quantile(1.0 - p, dof).unwrap();
            prop_assert!(t.abs() < 1e-9 * t_quantile(p, dof).unwrap().abs().max(1.0));
        }

        #[test]
        fn quantiles_rise_with_the_probability(
            p in 1e-6f64..0.999, more in 1e-6f64..1e-3, dof in 0.5f64..3e4
        ) {
            prop_assert!(t_quantile(p, dof).unwrap() < t_quantile(p + more, dof).unwrap());
            prop_assert!(
                chi_square_quantile(p, dof).unwrap() < chi_square_quantile(p + more, dof).unwrap()
            );
        }

        #[test]
        fn f_is_the_reciprocal_the_other_way_round(
            p in 0.01f64..0.99, a in 1f64..50.0, b in 1f64..50.0
        ) {
            let forward = f_quantile(p, a, b).unwrap();
            let backward = f_quantile(1.0 - p, b, a).unwrap();
            prop_assert!((forward * backward - 1.0).abs() < 1e-8);
        }

        #[test]
        fn any_figures_give_a_quantile_or_a_refusal(
            p in any::<f64>(), a in any::<f64>(), b in any::<f64>()
        ) {
            try_everything(p, a, b);
            try_everything((p.abs() % 1.0).max(1e-300), a.abs(), b.abs());
        }
    }

    fn try_everything(p: f64, a: f64, b: f64) {
        let _ = (normal_quantile(p), t_quantile(p, a), chi_square_quantile(p, a));
        let _ = (f_quantile(p, a, b), f_beyond(p, a, b), f_beyond(b, p, a));
        let _ = (chi_square_beyond(b, a), t_beyond(b, a));
    }

    #[test]
    fn the_largest_and_smallest_figures_neither_panic_nor_hang() {
        let figures = [
            0.0,
            5e-324,
            1e-300,
            1e-100,
            1e-10,
            0.3,
            1.0 - 1e-16,
            1.0,
            40.0,
            2e4,
            1e6,
            1e7,
            1e100,
            1e300,
            f64::MAX,
            f64::INFINITY,
            f64::NAN,
            -1.0,
        ];
        for p in figures {
            for a in figures {
                for b in figures {
                    try_everything(p, a, b);
                }
            }
        }
    }
}
