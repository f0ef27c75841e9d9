//! Made-up lots for tests and the bench: blocks and pistons in steps of 0.1 µm and 0.01 g, with
//! normal spreads that are assumed, not measured on any plant.
//!
//! *Planted*: pistons made to a hidden assignment that uses every one of them, so that every block
//! can be built. *Centred*: four pistons a cylinder set, bores and pistons aimed at each other.
//! *Drifted*: the bores 6 µm too large, 10 % more pistons than cylinders.
#![allow(clippy::unwrap_used, reason = "a lot that cannot be laid must fail the test")]
#![allow(dead_code, reason = "each user takes what it needs")]

use bedplate_engine::set::size::{Milligram, Nanometre};
use bedplate_engine::set::{Block, Piston, Rules, Window};
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

const NOMINAL_NM: i64 = 68_000_000;
const TARGET_NM: i64 = 38_000;
const MIDDLE_MG: i64 = 415_000;
/// Standard deviation of bores and pistons, nm, and of masses, mg.
const BORE_NM: f64 = 4_000.0;
const PISTON_NM: f64 = 5_000.0;
const MASS_MG: f64 = 2_500.0;

/// How the pieces come about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Family {
    /// A hidden assignment uses every piston.
    Planted,
    /// Bores and pistons aimed at each other, no piston to spare.
    Centred,
    /// Bores 6 µm too large, 10 % more pistons than cylinders.
    Drifted,
}

/// Clearance window and spread of mass.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Width {
    /// 6 µm and 1 g.
    Narrow,
    /// 10 µm and 2 g.
    Wide,
}

/// Pieces and rules.
pub(crate) struct Lot {
    /// Engine blocks.
    pub(crate) blocks: Vec<Block>,
    /// Pistons.
    pub(crate) pistons: Vec<Piston>,
    /// Rules.
    pub(crate) rules: Rules,
}

struct Chance(Xoshiro256PlusPlus);

impl Chance {
    /// Between 0 and 1, neither included.
    fn unit(&mut self) -> f64 {
        ((self.0.next_u64() >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    /// Standard normal (G. Box and M. Muller 1958, from memory).
    fn normal(&mut self) -> f64 {
        let (radius, turn) = (libm::sqrt(-2.0 * libm::log(self.unit())), self.unit());
        radius * libm::cos(std::f64::consts::TAU * turn)
    }

    /// A normal deviation in whole steps.
    fn deviation(&mut self, sd: f64, step: i64) -> i64 {
        (self.normal() * sd / step as f64).round() as i64 * step
    }

    /// A whole number of steps from 0 to `most`, both included.
    fn up_to(&mut self, most: i64, step: i64) -> i64 {
        (self.unit() * (most / step + 1) as f64).floor() as i64 * step
    }
}

/// A lot of `blocks` blocks of `cylinders` cylinders each.
pub(crate) fn lot(family: Family, width: Width, blocks: usize, cylinders: usize, seed: u64) -> Lot {
    let mut chance = Chance(Xoshiro256PlusPlus::seed_from_u64(seed));
    let (spread, window) = match width {
        Width::Narrow => (1_000, 6_000),
        Width::Wide => (2_000, 10_000),
    };
    let drift = if family == Family::Drifted { 6_000 } else { 0 };
    let mut bores: Vec<Vec<i64>> = Vec::new();
    let mut pistons: Vec<(i64, i64)> = Vec::new();
    for _ in 0..blocks {
        let own = |_| NOMINAL_NM + drift + chance.deviation(BORE_NM, 100);
        bores.push((0..cylinders).map(own).collect());
    }
    if family == Family::Planted {
        for own in &bores {
            let lightest = MIDDLE_MG + chance.deviation(MASS_MG, 10);
            for bore in own {
                let clearance = TARGET_NM - window / 2 + chance.up_to(window, 100);
                pistons.push((bore - clearance, lightest + chance.up_to(spread, 10)));
            }
        }
    } else {
        let places = blocks * cylinders;
        let count = if family == Family::Drifted { places * 11 / 10 } else { places };
        for _ in 0..count {
            let diameter = NOMINAL_NM - TARGET_NM + chance.deviation(PISTON_NM, 100);
            pistons.push((diameter, MIDDLE_MG + chance.deviation(MASS_MG, 10)));
        }
    }
    for i in (1..pistons.len()).rev() {
        pistons.swap(i, (chance.unit() * (i + 1) as f64) as usize);
    }
    let block = |(i, own): (usize, Vec<i64>)| {
        Block::new(format!("B{i:06}"), own.into_iter().map(Nanometre).collect()).unwrap()
    };
    let piston = |(i, (diameter, mass)): (usize, (i64, i64))| {
        Piston::new(format!("P{i:06}"), Nanometre(diameter), Milligram(mass)).unwrap()
    };
    let window = Window {
        min: Nanometre(TARGET_NM - window / 2),
        target: Nanometre(TARGET_NM),
        max: Nanometre(TARGET_NM + window / 2),
    };
    Lot {
        blocks: bores.into_iter().enumerate().map(block).collect(),
        pistons: pistons.into_iter().enumerate().map(piston).collect(),
        rules: Rules::new(window, Milligram(spread)).unwrap(),
    }
}
