//! Streams of chance: one for each purpose under one seed, the same on every machine.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

/// What a stream of chance is drawn for. A purpose of its own keeps one part of the works from
/// changing because another was given one more draw.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Purpose {
    /// The sizes that machines make.
    Making,
    /// The errors of gauges.
    Gauging,
    /// When things happen.
    Pace,
    /// The setters' and engineers' choices.
    People,
    /// Unbalance of crankshafts and where the drill really went.
    Balance,
    /// Building.
    Build,
    /// Engines and air on the bed.
    Bed,
}

/// A reproducible stream of draws.
#[derive(Debug, Clone)]
pub(crate) struct Stream {
    source: Xoshiro256PlusPlus,
    spare: Option<f64>,
}

impl Stream {
    /// The stream of `purpose` under `seed`; streams of one seed never overlap.
    pub(crate) fn new(seed: u64, purpose: Purpose) -> Self {
        let mut source = Xoshiro256PlusPlus::seed_from_u64(seed);
        for _ in 0..purpose as usize {
            source.long_jump();
        }
        Self { source, spare: None }
    }

    /// A number from 0 up to, not including, 1.
    pub(crate) fn unit(&mut self) -> f64 {
        (self.source.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// True with this chance.
    pub(crate) fn happens(&mut self, chance: f64) -> bool {
        self.unit() < chance
    }

    /// A number from `low` to `high`.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// A normal deviate with this mean and standard deviation.
    ///
    /// By the polar method of Marsaglia and Bray (1964), which needs only a logarithm and a root,
    /// so that every machine draws the same digits.
    pub(crate) fn normal(&mut self, mean: f64, deviation: f64) -> f64 {
        if let Some(spare) = self.spare.take() {
            return mean + deviation * spare;
        }
        loop {
            let (u, v) = (2.0 * self.unit() - 1.0, 2.0 * self.unit() - 1.0);
            let square = u * u + v * v;
            if 0.0 < square && square < 1.0 {
                let scale = libm::sqrt(-2.0 * libm::log(square) / square);
                self.spare = Some(v * scale);
                return mean + deviation * u * scale;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_seed_gives_one_stream_and_purposes_differ() {
        let draw = |purpose| Stream::new(7, purpose).unit();
        assert_eq!(draw(Purpose::Making), draw(Purpose::Making));
        assert_ne!(draw(Purpose::Making), draw(Purpose::Gauging));
    }

    #[test]
    fn normal_deviates_have_their_mean_and_deviation() {
        let mut stream = Stream::new(1, Purpose::Making);
        let n = 40_000;
        let draws: Vec<f64> = (0..n).map(|_| stream.normal(5.0, 2.0)).collect();
        let mean = draws.iter().sum::<f64>() / f64::from(n);
        let variance = draws.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / f64::from(n - 1);
        // Four standard errors of a mean and of a standard deviation.
        assert!((mean - 5.0).abs() < 4.0 * 2.0 / 200.0, "{mean}");
        assert!((variance.sqrt() - 2.0).abs() < 4.0 * 2.0 / 283.0, "{variance}");
    }
}
