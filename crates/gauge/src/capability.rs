//! Can the process hold its limits? Cp, Cpk, Pp, Ppk, each with its interval.
//!
//! Cp and Cpk are taken with the scatter from piece to piece (within groups, or from moving
//! ranges), Pp and Ppk with that of all readings together: the formulas are the same, the scatter
//! is not. Ask [`crate::chart`] first whether the process is steady; a figure from an unsteady one
//! says nothing of tomorrow.

use crate::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};
use crate::distribution::{chi_square_quantile, normal_probability, normal_quantile};
use crate::limits::{LOWER_INPUT, Limits, UPPER_INPUT, limits_given};
use crate::summary::{Summary, SummaryError, summary};

/// Where the pieces lie and how they scatter, in the unit of the limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    /// Mean of the pieces.
    pub mean: f64,
    /// Their standard deviation, positive.
    pub deviation: f64,
    /// Degrees of freedom of the deviation: n − 1 for that of n readings.
    pub dof: f64,
    /// Readings behind the mean.
    pub n: f64,
}

/// A figure with the interval that holds its true value with the coverage asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The figure.
    pub value: f64,
    /// Lower end of the interval.
    pub lower: f64,
    /// Upper end of the interval.
    pub upper: f64,
}

/// What a process can hold, by one scatter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Capability {
    /// Width of the limits over six deviations: Cp or Pp; `None` with one limit alone.
    pub spread: Option<Estimate>,
    /// Distance of the mean to its nearer limit over three deviations: Cpk or Ppk.
    pub position: Estimate,
    /// Distance to the lower limit over three deviations.
    pub lower: Option<f64>,
    /// Distance to the upper limit over three deviations.
    pub upper: Option<f64>,
    /// How far the mean lies off the middle, in half widths (k of the handbook); `None` with one
    /// limit alone.
    pub off_middle: Option<f64>,
    /// Share of pieces expected under the lower limit.
    pub share_under: f64,
    /// Share of pieces expected over the upper limit.
    pub share_over: f64,
}

impl Capability {
    /// Share of pieces expected beyond the limits, both sides together.
    #[must_use]
    pub fn share_beyond(&self) -> f64 {
        self.share_under + self.share_over
    }
}

/// Why there is no capability.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum CapabilityError {
    /// The readings could not be summed up.
    #[error(transparent)]
    Readings(#[from] SummaryError),
    /// Too few readings.
    #[error("{got} readings; at least 2 are needed for a scatter")]
    TooFew {
        /// How many there were.
        got: usize,
    },
    /// No scatter at all.
    #[error("the scatter is {deviation}; it must be positive (do all readings agree?)")]
    NoScatter {
        /// What was given.
        deviation: f64,
    },
    /// The mean is not a finite number.
    #[error("the mean is {mean}; a finite number is needed")]
    Mean {
        /// What was given.
        mean: f64,
    },
    /// Too few degrees of freedom or readings behind the figures.
    #[error("{dof} degrees of freedom from {n} readings; at least 1 and 2 are needed")]
    Dof {
        /// Degrees of freedom given.
        dof: f64,
        /// Readings given.
        n: f64,
    },
    /// The coverage of the intervals is no probability.
    #[error("the coverage is {coverage}; it must lie between 0 and 1")]
    Coverage {
        /// What was given.
        coverage: f64,
    },
}

impl Scatter {
    /// Of all readings together, for Pp and Ppk.
    ///
    /// # Errors
    /// [`CapabilityError`] for fewer than two readings, or none that differ.
    pub fn of_all(readings: &[f64]) -> Result<Self, CapabilityError> {
        let s = summary(readings)?;
        let deviation = s.standard_deviation.ok_or(CapabilityError::TooFew { got: s.n })?;
        Self::checked(s, deviation, s.n as f64 - 1.0)
    }

    /// Of all readings for the mean, and from piece to piece for the scatter, for Cp and Cpk:
    /// `deviation` and `dof` as a chart's limits give them.
    ///
    /// # Errors
    /// As [`Scatter::of_all`].
    pub fn within(readings: &[f64], deviation: f64, dof: f64) -> Result<Self, CapabilityError> {
        Self::checked(summary(readings)?, deviation, dof)
    }

    fn checked(s: Summary, deviation: f64, dof: f64) -> Result<Self, CapabilityError> {
        if s.n < 2 {
            return Err(CapabilityError::TooFew { got: s.n });
        }
        if !(deviation.is_finite() && deviation > 0.0) {
            return Err(CapabilityError::NoScatter { deviation });
        }
        Ok(Self { mean: s.mean, deviation, dof, n: s.n as f64 })
    }
}

/// What a process with this mean and scatter can hold.
///
/// # Formula
/// Cp = (T_U − T_L)/(6s), with interval Cp·√(χ²(α/2; ν)/ν) … Cp·√(χ²(1 − α/2; ν)/ν);
/// Cpk = min(x̄ − T_L, T_U − x̄)/(3s) ± z·√(1/(9n) + Cpk²/(2ν)); share beyond by Φ.
///
/// # Given
/// `limits` and `scatter` in one unit; `coverage` of the two-sided intervals, 0 to 1, commonly
/// 0.95.
///
/// # Returns
/// Plain numbers; shares between 0 and 1.
///
/// # Errors
/// [`CapabilityError`] for no scatter, too few readings, or a coverage that is no probability.
///
/// # Validity
/// Normal scatter and a steady process. The interval of Cpk is an approximation, good from about
/// 25 readings on.
///
/// # Source
/// NIST/SEMATECH e-Handbook 6.1.6; the interval of Cpk after Bissell, Applied Statistics 39 (1990)
/// 331, from memory, as the handbook gives it.
///
/// # Example
/// ```
/// use bedplate_gauge::capability::{Scatter, capability};
/// use bedplate_gauge::limits::Limits;
/// let scatter = Scatter { mean: 16.0, deviation: 2.0, dof: 49.0, n: 50.0 };
/// let c = capability(&Limits::between(8.0, 20.0).unwrap(), &scatter, 0.95).unwrap();
/// assert_eq!(c.spread.unwrap().value, 1.0);
/// assert_eq!(format!("{:.4}", c.position.value), "0.6667");
/// ```
pub fn capability(
    limits: &Limits,
    scatter: &Scatter,
    coverage: f64,
) -> Result<Capability, CapabilityError> {
    let Scatter { mean, deviation: s, dof, n } = *scatter;
    if !mean.is_finite() {
        return Err(CapabilityError::Mean { mean });
    }
    if !(s.is_finite() && s > 0.0) {
        return Err(CapabilityError::NoScatter { deviation: s });
    }
    if !(dof.is_finite() && n.is_finite() && dof >= 1.0 && n >= 2.0) {
        return Err(CapabilityError::Dof { dof, n });
    }
    if !(0.0 < coverage && coverage < 1.0) {
        return Err(CapabilityError::Coverage { coverage });
    }
    let lower = limits.lower().map(|limit| (mean - limit) / (3.0 * s));
    let upper = limits.upper().map(|limit| (limit - mean) / (3.0 * s));
    let nearer = lower.into_iter().chain(upper).fold(f64::INFINITY, f64::min);
    let share = |distance: Option<f64>| distance.map_or(0.0, |c| normal_probability(-3.0 * c));
    let off_middle = limits.middle().zip(limits.width());
    Ok(Capability {
        spread: limits.width().map(|width| spread(width / (6.0 * s), dof, coverage)),
        position: position(nearer, n, dof, coverage),
        lower,
        upper,
        off_middle: off_middle.map(|(middle, width)| (mean - middle).abs() / (0.5 * width)),
        share_under: share(lower),
        share_over: share(upper),
    })
}

fn spread(value: f64, dof: f64, coverage: f64) -> Estimate {
    let end = |p: f64| {
        let chi_square = chi_square_quantile(p, dof).expect("coverage and dof are checked");
        value * (chi_square / dof).sqrt()
    };
    let below = 0.5 * (1.0 - coverage);
    Estimate { value, lower: end(below), upper: end(1.0 - below) }
}

fn position(value: f64, n: f64, dof: f64, coverage: f64) -> Estimate {
    let z = normal_quantile(0.5 * (1.0 + coverage)).expect("coverage is checked");
    let half = z * (1.0 / (9.0 * n) + value * value / (2.0 * dof)).sqrt();
    Estimate { value, lower: value - half, upper: value + half }
}

/// Capability from mean and scatter.
pub const CAPABILITY: Calculation = Calculation {
    name: "capability",
    title: "Capability",
    stage: Stage::Control,
    question: "Can the process hold its limits, and how sure is that?",
    inputs: &[
        Input::quantity("mean", "mm", "mean of the pieces"),
        Input::quantity("sd", "mm", "standard deviation: within groups for Cp, of all for Pp")
            .over(0.0),
        Input::count("n", "readings behind them").at_least(2.0),
        LOWER_INPUT,
        UPPER_INPUT,
        Input::quantity("coverage", "", "coverage of the two-sided intervals")
            .over(0.0)
            .under(1.0)
            .or("0.95"),
    ],
    outputs: &[
        Output::figure("Cp", "", "width of the limits over six deviations"),
        Output::figure("Cp_lower", "", "lower end of its interval"),
        Output::figure("Cp_upper", "", "upper end of its interval"),
        Output::figure("Cpk", "", "distance to the nearer limit over three deviations"),
        Output::figure("Cpk_lower", "", "lower end of its interval"),
        Output::figure("Cpk_upper", "", "upper end of its interval"),
        Output::figure("beyond", "ppm", "pieces expected beyond the limits"),
        Output::figure("under", "ppm", "of these, under the lower limit"),
        Output::figure("over", "ppm", "of these, over the upper limit"),
    ],
    formula: "Cp = (T_U − T_L)/(6s), interval by χ²; \
              Cpk = min(x̄ − T_L, T_U − x̄)/(3s) ± z·√(1/(9n) + Cpk²/(2(n − 1)))",
    source: "NIST/SEMATECH e-Handbook 6.1.6",
    validity: "Normal scatter, steady process; the interval of Cpk from about 25 readings on.",
    // NIST/SEMATECH e-Handbook 6.1.6; intervals computed with scipy 1.17.1.
    example: &[
        ("mean", "16 mm"),
        ("sd", "2 mm"),
        ("n", "50"),
        ("lower", "8 mm"),
        ("upper", "20 mm"),
    ],
    expected: &[
        ("Cp", "1.0"),
        ("Cp_lower", "0.80248"),
        ("Cp_upper", "1.19713"),
        ("Cpk", "0.6667"),
        ("Cpk_lower", "0.50555"),
        ("Cpk_upper", "0.82778"),
    ],
    run: run_capability,
};

fn run_capability(given: &Given) -> Result<Answer, Refused> {
    let limits = limits_given(given)?;
    let n = given.count("n") as f64;
    let (mean, deviation) = (given.number("mean"), given.number("sd"));
    let scatter = Scatter { mean, deviation, dof: n - 1.0, n };
    let c = capability(&limits, &scatter, given.number("coverage"))
        .map_err(|e| Refused::because("sd", e.to_string()))?;
    let two_sided = |name, answer: Answer, pick: fn(&Estimate) -> f64| match &c.spread {
        Some(cp) => answer.figure(name, pick(cp)),
        None => answer.word(name, "none with one limit alone"),
    };
    let answer = two_sided("Cp", Answer::new(), |cp| cp.value);
    let answer = two_sided("Cp_lower", answer, |cp| cp.lower);
    let answer = two_sided("Cp_upper", answer, |cp| cp.upper);
    Ok(answer
        .figure("Cpk", c.position.value)
        .figure("Cpk_lower", c.position.lower)
        .figure("Cpk_upper", c.position.upper)
        .figure("beyond", c.share_beyond() * 1e6)
        .figure("under", c.share_under * 1e6)
        .figure("over", c.share_over * 1e6))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn scatter(mean: f64, deviation: f64) -> Scatter {
        Scatter { mean, deviation, dof: 49.0, n: 50.0 }
    }

    #[test]
    fn one_limit_alone_has_no_spread() {
        let c = capability(&Limits::at_most(5.0).unwrap(), &scatter(2.0, 1.0), 0.95).unwrap();
        assert_eq!((c.spread, c.lower, c.upper, c.off_middle), (None, None, Some(1.0), None));
        assert_eq!((c.position.value, c.share_under), (1.0, 0.0));
        // 3 sigma, one side: 1350 ppm (any table of the normal distribution: 0.99865).
        assert!((c.share_over - 0.001_35).abs() < 5e-6);
    }

    #[test]
    fn what_gives_no_capability_is_refused_in_words() {
        let limits = Limits::between(0.0, 1.0).unwrap();
        let words = |s: Scatter, p| capability(&limits, &s, p).unwrap_err().to_string();
        assert!(words(scatter(0.5, 0.0), 0.95).contains("must be positive"));
        assert!(words(scatter(f64::NAN, 0.1), 0.95).contains("mean is NaN"));
        assert!(words(scatter(0.5, 0.1), 1.0).contains("coverage is 1"));
        assert!(words(Scatter { n: 1.0, ..scatter(0.5, 0.1) }, 0.95).contains("1 readings"));
        assert!(Scatter::of_all(&[1.0]).unwrap_err().to_string().contains("at least 2"));
        assert!(Scatter::of_all(&[1.0, 1.0]).unwrap_err().to_string().contains("agree"));
        assert!(Scatter::of_all(&[]).is_err());
    }

    #[test]
    fn all_readings_and_within_differ_in_scatter_alone() {
        let readings = [1.0, 2.0, 3.0, 4.0];
        let all = Scatter::of_all(&readings).unwrap();
        let within = Scatter::within(&readings, 0.9, 2.0).unwrap();
        assert_eq!((all.mean, all.dof), (within.mean, 3.0));
        assert!((all.deviation - (5.0f64 / 3.0).sqrt()).abs() < 1e-15);
    }

    proptest! {
        #[test]
        fn position_never_exceeds_spread_and_meets_it_in_the_middle(
            mean in -2.0f64..2.0, s in 0.01f64..2.0
        ) {
            let limits = Limits::between(-1.0, 1.0).unwrap();
            let c = capability(&limits, &scatter(mean, s), 0.95).unwrap();
            let cp = c.spread.unwrap();
            prop_assert!(c.position.value <= cp.value + 1e-12);
            let by_middle = (1.0 - c.off_middle.unwrap()) * cp.value;
            prop_assert!((c.position.value - by_middle).abs() < 1e-9);
            prop_assert!(cp.lower < cp.value && cp.value < cp.upper);
            let centred = capability(&limits, &scatter(0.0, s), 0.95).unwrap();
            prop_assert!((centred.position.value - cp.value).abs() < 1e-12);
            prop_assert!(centred.share_beyond() <= c.share_beyond() + 1e-12);
        }

        #[test]
        fn unit_does_not_matter(mean in -1.0f64..1.0, s in 0.01f64..1.0, k in 0.001f64..1000.0) {
            let of = |k: f64| {
                let limits = Limits::between(-k, k).unwrap();
                capability(&limits, &scatter(mean * k, s * k), 0.9).unwrap()
            };
            let (a, b) = (of(1.0), of(k));
            prop_assert!((a.position.lower - b.position.lower).abs() < 1e-9);
            prop_assert!((a.share_beyond() - b.share_beyond()).abs() < 1e-9);
        }

        #[test]
        fn any_figures_give_a_capability_or_a_refusal(
            mean in any::<f64>(),
            s in any::<f64>(),
            dof in any::<f64>(),
            n in any::<f64>(),
            p in any::<f64>(),
        ) {
            let scatter = Scatter { mean, deviation: s, dof, n };
            let _ = capability(&Limits::between(-1.0, 1.0).unwrap(), &scatter, p);
            let _ = capability(&Limits::at_least(0.0).unwrap(), &scatter, p.abs() % 1.0);
        }
    }
}
