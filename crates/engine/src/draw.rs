//! Draws of chance for the searches: one stream a seed, the same on every machine.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

/// A reproducible stream of draws.
#[derive(Debug, Clone)]
pub(crate) struct Draw(Xoshiro256PlusPlus);

impl Draw {
    /// The stream of one purpose (`stream`) under one seed.
    pub(crate) fn new(seed: u64, stream: u64) -> Self {
        // An odd multiplier keeps the streams of neighbouring seeds apart before the generator's
        // own mixing of the seed.
        Self(Xoshiro256PlusPlus::seed_from_u64(
            seed ^ stream.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15),
        ))
    }

    /// A whole number from 0 up to, not including, `n`; 0 if `n` is 0.
    pub(crate) fn below(&mut self, n: usize) -> usize {
        let wide = u128::from(self.0.next_u64()) * n as u128;
        usize::try_from(wide >> 64).expect("the upper half of the product is less than n")
    }

    /// A number from 0 up to, not including, 1.
    pub(crate) fn unit(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// 64 fair bits.
    pub(crate) fn bits(&mut self) -> u64 {
        self.0.next_u64()
    }

    /// Puts a list in random order.
    pub(crate) fn shuffle<T>(&mut self, list: &mut [T]) {
        for i in (1..list.len()).rev() {
            list.swap(i, self.below(i + 1));
        }
    }
}
