//! The most engines that any matching at all could complete.
//!
//! # Why the bound holds
//! Give every piston a price `λ_p ≥ 0`, any price. Look at a matching that keeps every rule and
//! completes `K` blocks. Each completed block `b` pays at least `m_b = Σ_c min{λ_p : p allowed by
//! cylinder c}`, since each cylinder holds one piston that its bore allows. No piston is paid for
//! twice, so all payments together are at most `Σ λ_p`. Therefore
//!
//! `K = Σ_built 1 = Σ_built m_b + Σ_built (1 − m_b) ≤ Σ_p λ_p + Σ_b max(0, 1 − m_b)`.
//!
//! Blocks that cannot be completed even with the whole rack to themselves are never built and are
//! left out of the last sum. The right side is added up in whole units of 2⁻³⁰ engine, so no
//! rounding can spoil it; `K` is whole, so the sum may be rounded down. How the prices were found
//! does not matter to the proof, only to how close the bound comes.
//!
//! The mass rule enters only through "cannot be completed even alone". Where masses are what is
//! scarce, the bound lies above what can be built.

use std::ops::Range;

use rayon::prelude::*;

use super::price::{Wants, prices};
use super::rack::Rack;
use super::{Block, Piston, Rules, SetError};

/// One engine in whole steps of the price.
pub(super) const ENGINE: u64 = 1 << 30;
/// The most engines that any matching of these pieces could complete: a number proven not to be
/// exceeded, which need not be reached.
///
/// # Formula
/// `⌊Σ_p λ_p + Σ_b max(0, 1 − Σ_c min λ)⌋` for prices `λ` from a linear programme; see the module.
/// # Given
/// Blocks, pistons and rules as for [`match_sets`](super::match_sets).
/// # Returns
/// A count of engines.
/// # Errors
/// [`SetError`] for no pieces at all or one id twice.
/// # Validity
/// Always an upper bound. The clearance windows are in it exactly; the mass spread only for blocks
/// that it rules out by itself. One more piston never lowers it, up to 400 sizes of pistons and
/// 20 000 blocks; beyond that, prices of classes of sizes may raise it by a few in ten thousand.
/// # Source
/// Derived here: weak duality of linear programming.
pub fn most_engines(
    blocks: &[Block],
    pistons: &[Piston],
    rules: &Rules,
) -> Result<usize, SetError> {
    Ok(relax(&Rack::lay(blocks, pistons, rules)?).bound)
}

/// The most cylinders that could be given a piston at once if neither mass nor complete engines
/// mattered.
///
/// # Formula
/// Slots in order of bore, each given the smallest unused piston that it allows: for windows of one
/// width this earliest fit serves as many as any matching.
/// # Given
/// Blocks, pistons and rules as for [`match_sets`](super::match_sets).
/// # Returns
/// A count of cylinders.
/// # Errors
/// [`SetError`] for no pieces at all or one id twice.
/// # Validity
/// Exact.
/// # Source
/// Derived here: of two slots the one with the smaller bore allows no larger pistons and drops out
/// first, so giving it the smallest it allows can be exchanged into any best matching.
pub fn most_cylinders(
    blocks: &[Block],
    pistons: &[Piston],
    rules: &Rules,
) -> Result<usize, SetError> {
    let rack = Rack::lay(blocks, pistons, rules)?;
    Ok(served(rack.by_bore.iter().map(|&slot| rack.run[slot].clone())))
}

fn served(runs: impl Iterator<Item = Range<usize>>) -> usize {
    let (mut next, mut served) = (0, 0);
    for run in runs {
        let piston = run.start.max(next);
        if piston < run.end {
            served += 1;
            next = piston + 1;
        }
    }
    served
}

/// The bound, and what the linear programme says about the blocks.
#[derive(Debug)]
pub(super) struct Relaxed {
    /// Most engines.
    pub(super) bound: usize,
    /// Whether each block could be completed with the whole rack to itself.
    pub(super) possible: Vec<bool>,
    /// One less the price of each block's cheapest pistons: below zero, others use them better.
    pub(super) worth: Vec<f64>,
}

/// How closely the sizes of pistons are priced.
#[derive(Debug, Clone, Copy)]
struct Care {
    /// Blocks in the linear programme; of more, an even sample sets the prices.
    blocks: usize,
    /// Up to this many sizes of pistons each is a class of its own.
    sizes_exact: usize,
    /// Classes in one width of the clearance window otherwise.
    classes_in_window: i64,
}

/// Good enough to begin a search with, in a few hundredths of a second.
const ROUGH: Care = Care { blocks: 1_500, sizes_exact: 300, classes_in_window: 12 };
/// What is printed.
const CLOSE: Care = Care { blocks: 20_000, sizes_exact: 400, classes_in_window: 30 };

/// Bounds the count for a rack as closely as it is done here.
pub(super) fn relax(rack: &Rack<'_>) -> Relaxed {
    let rough = relax_roughly(rack);
    let bound = tighten(rack, &rough);
    Relaxed { bound, ..rough }
}

/// Bounds the count quickly, and finds which blocks are possible and what they are worth.
pub(super) fn relax_roughly(rack: &Rack<'_>) -> Relaxed {
    let possible: Vec<bool> =
        (0..rack.blocks.len()).into_par_iter().map(|b| possible_alone(rack, b)).collect();
    let price = piston_prices(rack, &possible, ROUGH);
    let (priced, pays) = value(rack, &possible, &price);
    // The bound at prices of zero, and at one price for all pistons, cost nothing to add.
    let alone = possible.iter().filter(|p| **p).count();
    let bound = priced.min(alone).min(engines_of_cylinders(rack, &possible));
    let worth = pays.iter().map(|&m| 1.0 - m as f64 / ENGINE as f64).collect();
    Relaxed { bound, possible, worth }
}

/// The closer bound.
pub(super) fn tighten(rack: &Rack<'_>, rough: &Relaxed) -> usize {
    let price = piston_prices(rack, &rough.possible, CLOSE);
    value(rack, &rough.possible, &price).0.min(rough.bound)
}

/// Evaluates the bound at given prices, in whole steps; also what each block pays at least.
fn value(rack: &Rack<'_>, possible: &[bool], price: &[u64]) -> (usize, Vec<u64>) {
    let mut pays = vec![0_u64; rack.blocks.len()];
    let mut window = std::collections::VecDeque::new();
    let mut next = 0;
    for &slot in &rack.by_bore {
        let run = &rack.run[slot];
        while next < run.end {
            while window.back().is_some_and(|&p: &usize| price[p] >= price[next]) {
                window.pop_back();
            }
            window.push_back(next);
            next += 1;
        }
        while window.front().is_some_and(|&p| p < run.start) {
            window.pop_front();
        }
        let least = window.front().map_or(0, |&p| price[p]);
        let block = rack.block_of[slot];
        pays[block] = pays[block].saturating_add(least);
    }
    let gains =
        pays.iter().zip(possible).map(|(&m, &ok)| if ok { ENGINE.saturating_sub(m) } else { 0 });
    let total: u128 =
        price.iter().map(|&p| u128::from(p)).sum::<u128>() + gains.map(u128::from).sum::<u128>();
    let whole = total / u128::from(ENGINE);
    (usize::try_from(whole).unwrap_or(usize::MAX), pays)
}

/// Classes of diameter of a rack's pistons: the class of each piston, and how many each holds.
pub(super) struct Classes {
    /// Class of each piston.
    pub(super) of: Vec<usize>,
    /// Pistons in each class.
    pub(super) count: Vec<usize>,
}

impl Classes {
    /// Classes `step` nm wide, empty ones left out; each size its own if there are few sizes.
    pub(super) fn cut(diameter: &[i64], step: i64, sizes_exact: usize) -> Self {
        let sizes = 1 + diameter.windows(2).filter(|w| w[0] != w[1]).count();
        let step = if sizes <= sizes_exact { 1 } else { step.max(1) };
        let mut classes = Self { of: Vec::with_capacity(diameter.len()), count: Vec::new() };
        let mut last = i64::MIN;
        for d in diameter {
            let number = d.div_euclid(step);
            if number != last {
                classes.count.push(0);
                last = number;
            }
            classes.of.push(classes.count.len() - 1);
            classes.count[classes.of[classes.of.len() - 1]] += 1;
        }
        classes
    }

    /// The classes that a run of pistons touches.
    pub(super) fn touched(&self, run: &Range<usize>) -> Range<usize> {
        if run.is_empty() { 0..0 } else { self.of[run.start]..self.of[run.end - 1] + 1 }
    }
}

/// Prices of all pistons from the linear programme over the possible blocks, in steps.
fn piston_prices(rack: &Rack<'_>, possible: &[bool], care: Care) -> Vec<u64> {
    let width = rack.rules.clearance_max().0 - rack.rules.clearance_min().0;
    let classes = Classes::cut(&rack.diameter, width / care.classes_in_window, care.sizes_exact);
    let blocks: Vec<usize> = (0..possible.len()).filter(|&b| possible[b]).collect();
    let k = blocks.len().div_ceil(care.blocks).max(1);
    let wants = |&b: &usize| -> (Wants, f64) {
        (rack.slots(b).map(|slot| classes.touched(&rack.run[slot])).collect(), 1.0)
    };
    let sample: Vec<(Wants, f64)> = blocks.iter().step_by(k).map(wants).collect();
    let weight = blocks.len() as f64 / sample.len().max(1) as f64;
    let answer = prices(&classes.count, &sample, weight);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a price is 0 to 1 engine"
    )]
    let steps = |price: &f64| (price * ENGINE as f64).round() as u64;
    let of_class: Vec<u64> = answer.price.iter().map(steps).collect();
    classes.of.iter().map(|&class| of_class[class]).collect()
}

/// Engines from the cylinders that can be served at once, smallest blocks first.
fn engines_of_cylinders(rack: &Rack<'_>, possible: &[bool]) -> usize {
    let own = rack.by_bore.iter().filter(|&&slot| possible[rack.block_of[slot]]);
    let mut cylinders = served(own.map(|&slot| rack.run[slot].clone()));
    let mut sizes: Vec<usize> =
        (0..possible.len()).filter(|&b| possible[b]).map(|b| rack.cylinders(b)).collect();
    sizes.sort_unstable();
    let mut engines = 0;
    for size in sizes {
        if cylinders < size {
            break;
        }
        cylinders -= size;
        engines += 1;
    }
    engines
}

/// Pistons of a block's scarcest cylinder with which the quick way is tried.
const TRIED_QUICKLY: usize = 32;

/// Whether a block could be completed if it had the whole rack to itself.
fn possible_alone(rack: &Rack<'_>, block: usize) -> bool {
    let runs: Vec<Range<usize>> =
        rack.rising_slots(block).iter().map(|&slot| rack.run[slot].clone()).collect();
    let Some(scarcest) = runs.iter().min_by_key(|run| run.len()).cloned() else { return false };
    if scarcest.is_empty() {
        return false;
    }
    // Most blocks succeed at once around the middle mass or that of a piston that must be used.
    let spread = rack.spread_max();
    let middle = rack.mass[rack.by_mass[rack.by_mass.len() / 2]];
    let step = scarcest.len().div_ceil(TRIED_QUICKLY);
    let own = scarcest.clone().step_by(step).map(|p| rack.mass[p]);
    let quickly = |mass: i64| serves_within(rack, &runs, mass - spread / 2);
    if std::iter::once(middle).chain(own).any(quickly) {
        return true;
    }
    let wanted = runs[0].start..runs[runs.len() - 1].end;
    if scarcest.len() <= 4 {
        // One of the few is in every set, so all the others lie within the spread of it.
        return scarcest.into_iter().any(|p| {
            let from = rack.by_mass.partition_point(|&q| rack.mass[q] < rack.mass[p] - spread);
            let to = rack.by_mass.partition_point(|&q| rack.mass[q] <= rack.mass[p] + spread);
            let near = rack.by_mass[from..to].iter().copied();
            let own: Vec<usize> = near.filter(|q| wanted.contains(q)).collect();
            possible_sliding(rack, &runs, &own)
        });
    }
    let own: Vec<usize> = rack.by_mass.iter().copied().filter(|p| wanted.contains(p)).collect();
    possible_sliding(rack, &runs, &own)
}

/// Whether the pistons of one mass window, from `lightest` on, serve runs in order of bore.
fn serves_within(rack: &Rack<'_>, runs: &[Range<usize>], lightest: i64) -> bool {
    let window = lightest..=lightest + rack.spread_max();
    let mut next = 0;
    runs.iter().all(|run| {
        let first = (run.start.max(next)..run.end).find(|&p| window.contains(&rack.mass[p]));
        next = first.map_or(next, |p| p + 1);
        first.is_some()
    })
}

/// Whether pistons in order of diameter serve runs in order of bore: the earliest fit.
fn serves(runs: &[Range<usize>], mut pistons: impl Iterator<Item = usize>) -> bool {
    runs.iter().all(|run| pistons.find(|p| run.start <= *p).is_some_and(|p| p < run.end))
}

/// Slides the mass window over the pistons `own` (in order of mass): a legal set's lightest piston
/// is one of them, so the windows that begin at each of them are all that need be tried.
fn possible_sliding(rack: &Rack<'_>, runs: &[Range<usize>], own: &[usize]) -> bool {
    let mut allowed = vec![0_usize; runs.len()];
    let mut end = 0;
    for (begin, &lightest) in own.iter().enumerate() {
        while end < own.len() && rack.mass[own[end]] - rack.mass[lightest] <= rack.spread_max() {
            for (n, run) in allowed.iter_mut().zip(runs) {
                *n += usize::from(run.contains(&own[end]));
            }
            end += 1;
        }
        if allowed.iter().all(|&n| n > 0) {
            let mut window = own[begin..end].to_vec();
            window.sort_unstable();
            if serves(runs, window.into_iter()) {
                return true;
            }
        }
        for (n, run) in allowed.iter_mut().zip(runs) {
            *n -= usize::from(run.contains(&lightest));
        }
    }
    false
}
