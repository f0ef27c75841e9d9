//! Of what waves a closed profile is made.

use super::fourier::waves;
use crate::calculation::Column;

/// One wave of a profile: amplitude·cos(k·θ − phase).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Harmonic {
    /// Undulations per revolution, k.
    pub upr: usize,
    /// Amplitude, half of crest to trough, in the unit of the profile.
    pub amplitude: f64,
    /// Phase within the wave, 0 to 360 degrees.
    pub phase_deg: f64,
}

impl Harmonic {
    /// Angle of its first crest, degrees from the first reading on.
    #[must_use]
    pub fn crest_deg(&self) -> f64 {
        self.phase_deg / self.upr.max(1) as f64
    }
}

/// Why a profile has no such waves.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum HarmonicError {
    /// Too few readings.
    #[error("{readings} readings show at most {shown} undulations, not {asked}")]
    TooFew {
        /// How many readings.
        readings: usize,
        /// The shortest wave they show.
        shown: usize,
        /// What was asked for.
        asked: usize,
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

/// The waves of a closed profile from one undulation per revolution on.
///
/// # Formula
/// v(θ) = v̄ + Σ aₖ·cos(k·θ − φₖ); aₖ and φₖ by the discrete Fourier series.
///
/// # Given
/// `values`: readings at equal steps once round; `up_to`: the last k wanted, at most half the
/// number of readings.
///
/// # Returns
/// `up_to` waves in order. One undulation is eccentricity, two an oval, three and more lobes.
///
/// # Errors
/// [`HarmonicError`].
///
/// # Validity
/// A whole turn. Waves shorter than two readings fold into longer ones.
///
/// # Source
/// Fourier series; checked against numpy.
///
/// # Example
/// ```
/// use bedplate_gauge::form::harmonic::harmonics;
/// // An oval of 3 µm with its crest at 45°.
/// let oval: Vec<f64> = (0..36).map(|i| 3.0 * (f64::from(2 * i * 10 - 90).to_radians()).cos())
///     .collect();
/// let table = harmonics(&oval, 3).unwrap();
/// assert_eq!(format!("{:.3} {:.2}", table[1].amplitude, table[1].crest_deg()), "3.000 45.00");
/// ```
pub fn harmonics(values: &[f64], up_to: usize) -> Result<Vec<Harmonic>, HarmonicError> {
    let (readings, shown) = (values.len(), values.len() / 2);
    if up_to > shown {
        return Err(HarmonicError::TooFew { readings, shown, asked: up_to });
    }
    if let Some(i) = values.iter().position(|x| !x.is_finite()) {
        return Err(HarmonicError::NotFinite { position: i + 1, value: values[i] });
    }
    let harmonic = |(upr, wave): (usize, [f64; 2])| {
        // A wave of two readings meets itself mirrored and stands once only.
        let parts = if 2 * upr == readings { 1.0 } else { 2.0 };
        let amplitude = parts * wave[0].hypot(wave[1]) / readings as f64;
        let phase_deg = (-wave[1]).atan2(wave[0]).to_degrees().rem_euclid(360.0);
        Harmonic { upr, amplitude, phase_deg }
    };
    Ok(waves(values).into_iter().enumerate().skip(1).take(up_to).map(harmonic).collect())
}

/// Columns of a table of harmonics in micrometres.
pub(super) const HARMONIC_COLUMNS: &[Column] = &[
    Column { name: "upr", unit: "", meaning: "undulations per revolution" },
    Column { name: "amplitude", unit: "µm", meaning: "half of crest to trough" },
    Column { name: "crest", unit: "°", meaning: "angle of the first crest" },
];

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::f64::consts::TAU;

    #[test]
    fn more_waves_than_readings_show_are_refused() {
        assert!(harmonics(&[0.0; 8], 5).unwrap_err().to_string().contains("at most 4"));
        assert!(harmonics(&[], 1).is_err() && harmonics(&[f64::NAN; 8], 2).is_err());
        assert_eq!(harmonics(&[], 0), Ok(vec![]));
        // The wave of two readings: up and down by one.
        let last = harmonics(&[1.0, -1.0, 1.0, -1.0], 2).unwrap()[1];
        assert!((last.amplitude - 1.0).abs() < 1e-15);
    }

    proptest! {
        #[test]
        fn waves_laid_together_give_the_profile(
            values in prop::collection::vec(-5.0f64..5.0, 3..60)
        ) {
            let n = values.len();
            let table = harmonics(&values, n / 2).unwrap();
            let mean = values.iter().sum::<f64>() / n as f64;
            for (j, value) in values.iter().enumerate() {
                let angle = TAU * j as f64 / n as f64;
                let wave = |h: &Harmonic| {
                    h.amplitude * (h.upr as f64 * angle - h.phase_deg.to_radians()).cos()
                };
                let sum: f64 = mean + table.iter().map(wave).sum::<f64>();
                prop_assert!((sum - value).abs() < 1e-11);
            }
        }
    }
}
