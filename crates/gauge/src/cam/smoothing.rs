//! Smoothing of a closed curve and of its derivatives, with what it does to waves and to noise.

use crate::form::fourier::{profile, waves};

/// A smoothing spline of a closed curve, by its cut-off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Smoothing {
    readings: usize,
    cutoff_upr: f64,
}

/// How the cut-off is chosen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cutoff {
    /// This many undulations per revolution.
    At {
        /// Undulations per revolution.
        cutoff_upr: f64,
    },
    /// By the readings themselves: generalised cross-validation.
    ByReadings,
}

/// A cut-off that readings cannot bear.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error(
    "a cut-off of {cutoff_upr} undulations per revolution; with {readings} readings it must lie \
     between 1 and {}", .readings / 2
)]
pub struct CutoffError {
    /// What was given.
    pub cutoff_upr: f64,
    /// How many readings.
    pub readings: usize,
}

impl Smoothing {
    /// The smoothing of so many readings a turn at a cut-off.
    ///
    /// # Formula
    /// The curve s that minimises Σ(y − s)² + λ·∫(s‴)²: a wave of k undulations keeps the share
    /// H(k) = 1/(1 + (k/k_c)⁶) of its amplitude and its place; λ follows from k_c.
    ///
    /// # Given
    /// `cutoff_upr`: k_c, at which half is kept, from 1 to half the number of readings.
    ///
    /// # Errors
    /// [`CutoffError`].
    ///
    /// # Source
    /// Smoothing spline with the third derivative penalised; its share is derived here for a closed
    /// curve of equal steps, wave by wave: (1 + λ′·k⁶)·S = Y.
    pub fn new(readings: usize, cutoff_upr: f64) -> Result<Self, CutoffError> {
        if 1.0 <= cutoff_upr && 2.0 * cutoff_upr <= readings as f64 {
            Ok(Self { readings, cutoff_upr })
        } else {
            Err(CutoffError { cutoff_upr, readings })
        }
    }

    /// The smoothing whose curve would predict each reading best from all the others.
    ///
    /// # Formula
    /// Minimises n·Σ(y − s)²/(n − Σ H)² over whole cut-offs from 3 to a third of the
    /// readings.
    ///
    /// # Errors
    /// [`CutoffError`] for fewer than nine readings.
    ///
    /// # Validity
    /// Noise of one size, each reading's its own. Best for the lift; for accelerations a cut-off
    /// somewhat lower is quieter.
    ///
    /// # Source
    /// Craven and Wahba, Numerische Mathematik 31 (1979) 377, from memory.
    pub fn by_readings(values: &[f64]) -> Result<Self, CutoffError> {
        let n = values.len();
        let squares: Vec<f64> = waves(values).iter().map(|w| w[0] * w[0] + w[1] * w[1]).collect();
        let score = |smoothing: &Self| {
            let left = |k: usize| smoothing.twice(k) * (1.0 - smoothing.share(k as f64));
            let over: f64 = squares
                .iter()
                .enumerate()
                .map(|(k, s)| left(k) * (1.0 - smoothing.share(k as f64)) * s)
                .sum();
            over / (0..squares.len()).map(left).sum::<f64>().powi(2)
        };
        // Whole cut-offs, from sixty on a twentieth apart: finer ones say nothing more.
        std::iter::successors(Some(3), |cutoff| Some(cutoff + (cutoff / 20).max(1)))
            .take_while(|cutoff| *cutoff <= n / 3)
            .filter_map(|cutoff| Self::new(n, cutoff as f64).ok())
            .min_by(|a, b| score(a).total_cmp(&score(b)))
            .ok_or(CutoffError { cutoff_upr: 3.0, readings: n })
    }

    /// The cut-off, undulations per revolution: half of such a wave's amplitude is kept.
    #[must_use]
    pub const fn cutoff_upr(&self) -> f64 {
        self.cutoff_upr
    }

    /// The share of a wave's amplitude that is kept, in lift, velocity and acceleration alike.
    #[must_use]
    pub fn share(&self, upr: f64) -> f64 {
        1.0 / (1.0 + (upr / self.cutoff_upr).powi(6))
    }

    /// Waves up to this many undulations per revolution keep 99 % of their amplitude or more.
    #[must_use]
    pub fn faithful_to_upr(&self) -> f64 {
        self.cutoff_upr * (1.0_f64 / 99.0).powf(1.0 / 6.0)
    }

    /// A wave stands twice in the full transform, but for the first and, of an even number, the
    /// last.
    fn twice(&self, k: usize) -> f64 {
        if k == 0 || 2 * k == self.readings { 1.0 } else { 2.0 }
    }

    /// Standard deviation of the smoothed curve's derivative for a noise of one in each reading:
    /// order 0 the curve itself, 1 its slope for each radian, 2 its bend for each radian squared.
    ///
    /// # Formula
    /// √(Σ (kᵒʳᵈᵉʳ·H(k))²/n) over all n waves.
    #[must_use]
    pub fn noise(&self, order: u8) -> f64 {
        let part = |k: usize| {
            let share = self.share(k as f64) * (k as f64).powi(i32::from(order));
            self.twice(k) * share * share
        };
        // The last wave of an even number has no slope of its own.
        ((0..=self.last(order)).map(part).sum::<f64>() / self.readings as f64).sqrt()
    }

    fn last(&self, order: u8) -> usize {
        let half = self.readings / 2;
        if order % 2 == 1 && 2 * half == self.readings { half - 1 } else { half }
    }

    /// The smoothed curve, its slope and its bend at the readings, for each radian.
    pub(super) fn curve(&self, values: &[f64]) -> [Vec<f64>; 3] {
        let n = values.len();
        let mut kept = waves(values);
        for (k, wave) in kept.iter_mut().enumerate() {
            let share = self.share(k as f64);
            *wave = [wave[0] * share, wave[1] * share];
        }
        let slope = |waves: &[[f64; 2]]| -> Vec<[f64; 2]> {
            let turned = |(k, w): (usize, &[f64; 2])| {
                let k = if 2 * k == n { 0.0 } else { k as f64 };
                [-k * w[1], k * w[0]]
            };
            waves.iter().enumerate().map(turned).collect()
        };
        let bend = |(k, w): (usize, &[f64; 2])| {
            let square = (k as f64).powi(2);
            [-square * w[0], -square * w[1]]
        };
        let bent: Vec<[f64; 2]> = kept.iter().enumerate().map(bend).collect();
        [profile(&kept, n), profile(&slope(&kept), n), profile(&bent, n)]
    }

    /// The noise of each reading, by what the smoothing took away.
    pub(super) fn noise_of(&self, values: &[f64], smoothed: &[f64]) -> f64 {
        let over: f64 = values.iter().zip(smoothed).map(|(y, s)| (y - s).powi(2)).sum();
        let left = |k: usize| self.twice(k) * (1.0 - self.share(k as f64)).powi(2);
        let expected: f64 = (0..=self.readings / 2).map(left).sum();
        if expected > 0.0 { (over / expected).sqrt() } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::f64::consts::TAU;

    #[test]
    fn cutoffs_out_of_range_are_refused() {
        for cutoff in [0.0, -3.0, 37.0, f64::NAN, f64::INFINITY] {
            let refused = Smoothing::new(72, cutoff).unwrap_err().to_string();
            assert!(refused.contains("between 1 and 36"), "{refused}");
        }
        assert!(Smoothing::by_readings(&[1.0; 5]).is_err());
    }

    #[test]
    fn smoothing_minimises_misfit_and_jerk() {
        // The second, slower way: any other curve of the same waves has a larger sum. λ from the
        // cut-off: each wave's part of the sum is |Y − S|² + (k/k_c)⁶·|S|².
        let values: Vec<f64> = (0..40_u32).map(|i| f64::from(i * i % 23)).collect();
        let smoothing = Smoothing::new(40, 6.0).unwrap();
        let [curve, ..] = smoothing.curve(&values);
        let sum = |curve: &[f64]| -> f64 {
            let misfit: f64 = values.iter().zip(curve).map(|(y, s)| (y - s).powi(2)).sum();
            let jerk = waves(curve).into_iter().enumerate().map(|(k, w)| {
                let size = w[0] * w[0] + w[1] * w[1];
                smoothing.twice(k) * (k as f64 / 6.0).powi(6) * size / 40.0
            });
            misfit + jerk.sum::<f64>()
        };
        let least = sum(&curve);
        for (i, step) in [(0, 1e-3), (7, -1e-3), (39, 0.1), (20, -0.5)] {
            let mut other = curve.clone();
            other[i] += step;
            assert!(sum(&other) > least);
        }
    }

    proptest! {
        #[test]
        fn a_wave_keeps_its_share_in_all_three(k in 1_i32..20, cutoff in 2.0f64..30.0) {
            let angle = |i: i32| TAU * f64::from(i) / 90.0;
            let wave: Vec<f64> = (0..90).map(|i| (f64::from(k) * angle(i)).sin()).collect();
            let smoothing = Smoothing::new(90, cutoff).unwrap();
            let (share, kf) = (smoothing.share(f64::from(k)), f64::from(k));
            let [lift, slope, bend] = smoothing.curve(&wave);
            for (i, sine) in wave.iter().enumerate() {
                let cosine = (kf * angle(i32::try_from(i).unwrap())).cos();
                prop_assert!((lift[i] - share * sine).abs() < 1e-12);
                prop_assert!((slope[i] - share * kf * cosine).abs() < 1e-10);
                prop_assert!((bend[i] + share * kf * kf * sine).abs() < 1e-9);
            }
        }

        #[test]
        fn noise_is_that_of_the_weights(n in 12_usize..40, cutoff in 2.0f64..6.0) {
            // The smoothed value is a weighted sum of readings: the weights are the answer to one.
            let smoothing = Smoothing::new(n, cutoff).unwrap();
            let mut one = vec![0.0; n];
            one[0] = 1.0;
            for (order, weights) in smoothing.curve(&one).iter().enumerate() {
                let sum: f64 = weights.iter().map(|w| w * w).sum();
                let noise = smoothing.noise(u8::try_from(order).unwrap());
                prop_assert!((noise - sum.sqrt()).abs() < 1e-9 * (1.0 + noise));
            }
        }
    }
}
