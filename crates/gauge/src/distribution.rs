//! Probabilities and quantiles of the distributions the gauge room uses.
//!
//! The normal probability comes straight from the complementary error function; quantiles start
//! from an approximation and are polished by Newton's method on the probability, always on the
//! smaller tail, so that they keep their digits far out. Knows nothing of readings.

use std::f64::consts::{FRAC_1_SQRT_2, PI, SQRT_2};

/// Why there is no such quantile or probability.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum DistributionError {
    /// A probability must lie strictly between 0 and 1.
    #[error("{probability} is not a probability between 0 and 1, both excluded")]
    NotAProbability {
        /// What was given.
        probability: f64,
    },
    /// Degrees of freedom must be positive.
    #[error("{dof} degrees of freedom; a positive number is needed")]
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
