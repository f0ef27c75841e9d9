//! The Gaussian filter of a closed profile, by undulations per revolution.

use super::fourier::{profile, waves};
use crate::calculation::{Answer, Calculation, Input, Output, Refused, Stage};

/// Which waves are let through.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Filter {
    /// All of them.
    Open,
    /// The long ones: fewer undulations per revolution than the cut-off, at which half the
    /// amplitude is left.
    Below {
        /// Cut-off, undulations per revolution.
        cutoff_upr: f64,
    },
    /// Those between two cut-offs, at each of which half the amplitude is left. Takes the mean
    /// away.
    Between {
        /// Lower cut-off, undulations per revolution.
        from_upr: f64,
        /// Upper cut-off, undulations per revolution.
        to_upr: f64,
    },
}

/// Why a profile cannot be filtered.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum FilterError {
    /// A cut-off is no positive number.
    #[error("a cut-off of {cutoff_upr} undulations per revolution; it must be above 0")]
    Cutoff {
        /// What was given.
        cutoff_upr: f64,
    },
    /// The cut-offs are crossed.
    #[error("from {from_upr} to {to_upr} undulations per revolution lets nothing through")]
    Crossed {
        /// Lower cut-off.
        from_upr: f64,
        /// Upper cut-off.
        to_upr: f64,
    },
    /// Too few readings for the cut-off.
    #[error(
        "{readings} readings cannot show {cutoff_upr} undulations per revolution; \
         more than two a wave are needed"
    )]
    TooFew {
        /// How many readings.
        readings: usize,
        /// The cut-off.
        cutoff_upr: f64,
    },
    /// A reading is no finite number.
    #[error("reading {position} is {value}; it must be a finite number")]
    NotFinite {
        /// Place, counted from 1.
        position: usize,
        /// What stood there.
        value: f64,
    },
}

fn long_wave(cutoff_upr: f64, upr: f64) -> f64 {
    // exp(−π·(α·k/k_c)²) with α² = ln 2/π.
    (-std::f64::consts::LN_2 * (upr / cutoff_upr).powi(2)).exp()
}

impl Filter {
    /// The filter by its two cut-offs, 0 for none.
    ///
    /// # Errors
    /// [`FilterError`] for a cut-off that is negative or no number, or crossed ones.
    pub fn between(from_upr: f64, to_upr: f64) -> Result<Self, FilterError> {
        let filter = match (from_upr == 0.0, to_upr == 0.0) {
            (true, true) => Self::Open,
            (true, false) => Self::Below { cutoff_upr: to_upr },
            (false, false) => Self::Between { from_upr, to_upr },
            (false, true) => return Err(FilterError::Crossed { from_upr, to_upr }),
        };
        filter.check(usize::MAX).map(|()| filter)
    }

    /// The share of a wave's amplitude that is let through.
    ///
    /// # Formula
    /// exp(−π·(α·k/k_c)²), α = √(ln 2/π) = 0.4697, for waves below k_c; for a band that of the
    /// upper cut-off times what the lower one would keep back.
    ///
    /// # Given
    /// `upr`: undulations per revolution, 0 or more.
    ///
    /// # Returns
    /// 0 to 1; 1/2 at a cut-off that is alone.
    ///
    /// # Source
    /// ISO 16610-21 and ISO 12181-2, from memory.
    ///
    /// # Example
    /// ```
    /// use bedplate_gauge::form::filter::Filter;
    /// let filter = Filter::Below { cutoff_upr: 15.0 };
    /// // Computed from the formula.
    /// assert_eq!(format!("{:.4} {:.4}", filter.transmission(5.0), filter.transmission(30.0)),
    ///     "0.9259 0.0625");
    /// ```
    #[must_use]
    pub fn transmission(&self, upr: f64) -> f64 {
        match *self {
            Self::Open => 1.0,
            Self::Below { cutoff_upr } => long_wave(cutoff_upr, upr),
            Self::Between { from_upr, to_upr } => {
                let kept_back = -libm::expm1(-std::f64::consts::LN_2 * (upr / from_upr).powi(2));
                long_wave(to_upr, upr) * kept_back
            }
        }
    }

    fn check(&self, readings: usize) -> Result<(), FilterError> {
        let cutoffs = match *self {
            Self::Open => return Ok(()),
            Self::Below { cutoff_upr } => [cutoff_upr, cutoff_upr],
            Self::Between { from_upr, to_upr } => [from_upr, to_upr],
        };
        for cutoff_upr in cutoffs {
            if !(cutoff_upr.is_finite() && cutoff_upr > 0.0) {
                return Err(FilterError::Cutoff { cutoff_upr });
            }
            if 2.0 * cutoff_upr > readings as f64 {
                return Err(FilterError::TooFew { readings, cutoff_upr });
            }
        }
        match *self {
            Self::Between { from_upr, to_upr } if from_upr >= to_upr => {
                Err(FilterError::Crossed { from_upr, to_upr })
            }
            _ => Ok(()),
        }
    }
}

/// A closed profile after the filter.
///
/// # Formula
/// Each wave times [`Filter::transmission`]: the profile laid round with the Gaussian weight of
/// ISO 16610-21, exactly, without ends.
///
/// # Given
/// `values`: readings at equal steps once round, in any unit.
///
/// # Returns
/// As many values, in the unit given.
///
/// # Errors
/// [`FilterError`].
///
/// # Validity
/// A whole turn; waves shorter than two readings are not seen and fold into longer ones, so take
/// seven readings or more for each wave of the cut-off (common practice).
///
/// # Source
/// ISO 16610-21, from memory; checked against numpy.
///
/// # Example
/// ```
/// use bedplate_gauge::form::filter::{Filter, filtered};
/// // Six undulations at a cut-off of six: half is left.
/// let wave: Vec<f64> = (0..24).map(|i| (f64::from(i) * 1.5708).cos()).collect();
/// let left = filtered(&wave, Filter::Below { cutoff_upr: 6.0 }).unwrap();
/// assert!((left[0] - 0.5).abs() < 1e-4);
/// ```
pub fn filtered(values: &[f64], filter: Filter) -> Result<Vec<f64>, FilterError> {
    filter.check(values.len())?;
    if let Some(i) = values.iter().position(|x| !x.is_finite()) {
        return Err(FilterError::NotFinite { position: i + 1, value: values[i] });
    }
    if filter == Filter::Open {
        return Ok(values.to_vec());
    }
    let mut kept = waves(values);
    for (k, wave) in kept.iter_mut().enumerate() {
        let share = filter.transmission(k as f64);
        *wave = [wave[0] * share, wave[1] * share];
    }
    Ok(profile(&kept, values.len()))
}

/// What the filter lets through.
pub const ROUNDNESS_FILTER: Calculation = Calculation {
    name: "roundness-filter",
    title: "What the roundness filter lets through",
    stage: Stage::Gauge,
    question: "How much of a wave is left after the filter?",
    inputs: &[
        Input::quantity("to", "", "upper cut-off, undulations per revolution; 0 for none")
            .at_least(0.0),
        Input::quantity("from", "", "lower cut-off, undulations per revolution; 0 for none")
            .at_least(0.0)
            .or("0"),
        Input::list("upr", "", "waves asked about, undulations per revolution"),
    ],
    outputs: &[Output::figure("transmission", "", "share of the amplitude that is left")],
    formula: "exp(−π·(α·k/k_c)²), α = √(ln 2/π)",
    source: "ISO 16610-21, ISO 12181-2, from memory",
    validity: "Gaussian filter, closed profile.",
    // Computed from the formula.
    example: &[("to", "15"), ("upr", "1, 2, 5, 10, 15, 20, 30")],
    expected: &[(
        "transmission",
        "0.9969240862, 0.9877529960, 0.9258747123, 0.7348672461, 0.5, 0.2916322599, 0.0625",
    )],
    run: |given| {
        let filter = Filter::between(given.number("from"), given.number("to"))
            .map_err(|e| Refused::because("to", e.to_string()))?;
        let shares = given.list("upr").iter().map(|&k| filter.transmission(k)).collect();
        Ok(Answer::new().list("transmission", shares))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::f64::consts::TAU;

    #[test]
    fn cutoffs_that_filter_nothing_are_refused_in_words() {
        let words = |from, to| Filter::between(from, to).unwrap_err().to_string();
        assert!(words(0.0, -1.0).contains("above 0"));
        assert!(words(15.0, 15.0).contains("lets nothing through"));
        assert!(words(15.0, 0.0).contains("lets nothing through"));
        assert!(words(f64::NAN, 15.0).contains("above 0"));
        let few = filtered(&[0.0; 20], Filter::Below { cutoff_upr: 15.0 }).unwrap_err();
        assert!(few.to_string().contains("20 readings cannot show 15"));
        let lost = filtered(&[0.0, f64::NAN, 0.0, 0.0], Filter::Open).unwrap_err();
        assert!(lost.to_string().contains("reading 2"));
    }

    #[test]
    fn a_weighted_mean_by_the_gaussian_weight_is_the_same() {
        // The second, slower way: the weight of the standard itself, wrapped round.
        let (n, cutoff) = (360_usize, 15.0);
        let values: Vec<f64> = (0..n).map(|i| f64::from((i * i % 17) as u32)).collect();
        let alpha = (std::f64::consts::LN_2 / std::f64::consts::PI).sqrt();
        let weight = |steps: f64| {
            let part = steps * cutoff / (n as f64 * alpha);
            cutoff / (n as f64 * alpha) * (-std::f64::consts::PI * part * part).exp()
        };
        let fast = filtered(&values, Filter::Below { cutoff_upr: cutoff }).unwrap();
        for i in [0, 77, 359] {
            let near = -120_i32..=120;
            let at = |d: i32| (i + d).rem_euclid(360) as usize;
            let slow: f64 = near.map(|d| weight(f64::from(d)) * values[at(d)]).sum();
            assert!((slow - fast[usize::try_from(i).unwrap()]).abs() < 1e-9, "{i}");
        }
    }

    proptest! {
        #[test]
        fn a_wave_keeps_its_place_and_its_share(
            k in 1_i32..30, phase in 0.0f64..TAU, from in 1.0f64..8.0, to in 9.0f64..60.0
        ) {
            let wave: Vec<f64> =
                (0..120).map(|i| (TAU * f64::from(k * i) / 120.0 + phase).cos()).collect();
            let filter = Filter::Between { from_upr: from, to_upr: to };
            let left = filtered(&wave, filter).unwrap();
            let share = filter.transmission(f64::from(k));
            prop_assert!((0.0..=1.0).contains(&share));
            prop_assert!(wave.iter().zip(&left).all(|(a, b)| (a * share - b).abs() < 1e-13));
        }

        #[test]
        fn a_level_is_left_as_it_is(level in -1e3f64..1e3, to in 1.0f64..10.0) {
            let left = filtered(&[level; 25], Filter::Below { cutoff_upr: to }).unwrap();
            prop_assert!(left.iter().all(|x| (x - level).abs() < 1e-11));
        }
    }
}
