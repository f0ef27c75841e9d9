//! Which pistons, if there were more of them, would complete more engines.

use std::cmp::Reverse;
use std::collections::{BTreeMap, HashSet};

use rayon::prelude::*;

use super::bay::Bay;
use super::chain::{self, Effort};
use super::rack::Rack;
use super::size::{Milligram, Nanometre};
use super::tray::{NONE, Trays};
use super::{Piston, Search};
use crate::draw::Draw;

/// Sizes of pistons that are short, as a machine setter can use them: `pistons` more pistons of a
/// diameter `from` to `to` would complete `engines` more engines.
///
/// Found by laying such pistons on the rack, spread evenly over the interval and of the store's
/// middle mass, and completing engines with them: that many more engines were really put together.
/// Of many idle blocks, an even sample of 150 at most is asked for pistons; more would help more.
/// Fewer pistons might do; other intervals might do too.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shortage {
    /// Smallest diameter that helps.
    pub from: Nanometre,
    /// Largest diameter that helps.
    pub to: Nanometre,
    /// How many pistons more.
    pub pistons: usize,
    /// How many engines more.
    pub engines: usize,
}

/// Shortages listed at most.
const LISTED: usize = 3;
/// Intervals tried for each.
const TRIED: usize = 6;
/// Passes of chains in one trial. Most engines come in the first; the count found is still true.
const PASSES: usize = 2;
/// Filled blocks, spare pistons and idle blocks looked at; of more, those nearest to the middle
/// mass and an even sample.
const FILLED_AROUND: usize = 600;
const SPARE_AROUND: usize = 1_000;
const IDLE_AROUND: usize = 150;
/// One micrometre, to which intervals are rounded where they are wide enough.
const MICROMETRE: i64 = 1_000;

/// What laying more pistons of one interval on the rack came to.
struct Trial {
    shortage: Shortage,
    more: Vec<Piston>,
    /// The trays on the rack with them.
    trays: Trays,
}

/// The shortages of an answer, the most helpful first; each counts on those before it.
pub(super) fn shortages(rack: &Rack<'_>, trays: &Trays, search: Search) -> Vec<Shortage> {
    let mut found: Vec<Shortage> = Vec::new();
    let mut added: Vec<Piston> = Vec::new();
    let bay = around_middle(rack, trays);
    let (rack, mut trays) = (&bay.rack, bay.trays.clone());
    let mass = bay.middle;
    while found.len() < LISTED && trays.engines < rack.blocks.len() {
        // Pistons of one size and mass keep their order, so that the trays of the last trial are
        // also trays of this rack.
        let (with_added, _) = rack.with_more(&added);
        let Some(trial) = best(&with_added, &trays, (search, mass), &found) else { break };
        found.push(trial.shortage);
        trays = trial.trays;
        added.extend(trial.more);
    }
    found
}

/// The part of the rack on which pistons of the middle mass can do good at once: what is found
/// there holds for the whole, and looking at all of a large rack would find little more.
struct Around<'a> {
    rack: Rack<'a>,
    trays: Trays,
    /// Mass in the middle of the whole store, mg.
    middle: i64,
}

fn around_middle<'a>(rack: &Rack<'a>, trays: &Trays) -> Around<'a> {
    let middle = rack.mass[rack.by_mass[rack.by_mass.len() / 2]];
    // Those nearest to the middle mass, and an even sample of the idle.
    let lightest = |b: &usize| rack.slots(*b).map(|s| rack.mass[trays.piston_in[s]]).min();
    let off = |b: &usize| lightest(b).map_or(i64::MAX, |mass| (mass - middle).abs());
    let mut blocks: Vec<usize> = (0..rack.blocks.len()).filter(|&b| trays.filled[b]).collect();
    blocks.sort_by_key(|b| (off(b), *b));
    blocks.truncate(FILLED_AROUND);
    let mut pistons: Vec<usize> =
        blocks.iter().flat_map(|&b| rack.slots(b)).map(|s| trays.piston_in[s]).collect();
    let mut spare: Vec<usize> =
        (0..rack.mass.len()).filter(|&p| trays.slot_of[p] == NONE).collect();
    spare.sort_by_key(|&p| ((rack.mass[p] - middle).abs(), p));
    pistons.extend(spare.into_iter().take(SPARE_AROUND));
    let idle = trays.idle();
    let step = idle.len().div_ceil(IDLE_AROUND).max(1);
    blocks.extend(idle.into_iter().step_by(step));
    blocks.sort_unstable();
    pistons.sort_unstable();
    let bay = Bay::of(rack, trays, blocks, pistons);
    Around { rack: bay.rack, trays: bay.trays, middle }
}

/// The interval not yet listed that completes the most engines, with the fewest pistons among
/// equals.
fn best(rack: &Rack<'_>, trays: &Trays, with: (Search, i64), listed: &[Shortage]) -> Option<Trial> {
    let mut intervals = intervals(rack, trays);
    intervals.retain(|&(from, _, _)| listed.iter().all(|s| s.from.0 != from));
    intervals.truncate(TRIED);
    // The trials do not know of each other, so the cores may share them in any order.
    let trials: Vec<Option<Trial>> =
        intervals.into_par_iter().map(|interval| tried(rack, trays, with, interval)).collect();
    let key = |s: &Shortage| (s.engines, Reverse(s.pistons), Reverse(s.from));
    trials.into_iter().flatten().max_by_key(|trial| key(&trial.shortage))
}

/// Intervals of diameter that idle cylinders allow wholly, those of the most cylinders first, with
/// the number of cylinders.
fn intervals(rack: &Rack<'_>, trays: &Trays) -> Vec<(i64, i64, usize)> {
    let (min, max) = (rack.rules.clearance_min().0, rack.rules.clearance_max().0);
    // A quarter of the window is about what a lathe holds when told to aim there.
    let quarter = (max - min) / 4;
    let width = if quarter >= MICROMETRE { quarter / MICROMETRE * MICROMETRE } else { quarter };
    let step = width.max(1);
    let mut wanted: BTreeMap<i64, usize> = BTreeMap::new();
    for block in trays.idle() {
        for slot in rack.slots(block) {
            let (lower, upper) = (rack.bore[slot] - max, rack.bore[slot] - min);
            let first = lower.div_euclid(step) + i64::from(lower.rem_euclid(step) > 0);
            let mut from = first * step;
            while from + width <= upper {
                // A window wider than the bore itself would ask for no piston at all.
                if from > 0 {
                    *wanted.entry(from).or_default() += 1;
                }
                from += step;
            }
        }
    }
    let mut list: Vec<(i64, i64, usize)> =
        wanted.into_iter().map(|(from, n)| (from, from + width, n)).collect();
    list.sort_by_key(|&(from, _, n)| (Reverse(n), from));
    list
}

/// Lays up to `wanted` pistons of an interval on the rack and completes engines; then lays only as
/// many as were used, and keeps what gives more engines for its pistons. `None` if no engine is
/// gained.
fn tried(
    rack: &Rack<'_>,
    trays: &Trays,
    (search, mass): (Search, i64),
    (from, to, wanted): (i64, i64, usize),
) -> Option<Trial> {
    let trial = |n: usize| {
        let more = spread_evenly(mass, from, to, n);
        let (with_rack, place) = rack.with_more(&more);
        let mut with = trays.moved(&with_rack, &place);
        let effort = Effort { tries: usize::MAX, passes: PASSES };
        let mut draw = Draw::new(search.seed, 2);
        chain::complete(&with_rack, &mut with, effort, &mut draw, &mut 0);
        let old: HashSet<usize> = place.into_iter().collect();
        let new = (0..with_rack.mass.len()).filter(|p| !old.contains(p));
        let used = new.filter(|&p| with.slot_of[p] != NONE).count();
        let engines = with.engines - trays.engines;
        let (from, to) = (Nanometre(from), Nanometre(to));
        (used, Trial { shortage: Shortage { from, to, pistons: n, engines }, more, trays: with })
    };
    let (used, first) = trial(wanted);
    if first.shortage.engines == 0 || used == 0 {
        return None;
    }
    let (_, fewer) = trial(used);
    let (a, b) = (&first.shortage, &fewer.shortage);
    let worse = b.engines * a.pistons < a.engines * b.pistons;
    Some(if worse { first } else { fewer })
}

/// `n` pistons in the middles of `n` equal parts of an interval, of the store's middle mass.
fn spread_evenly(mass: i64, from: i64, to: i64, n: usize) -> Vec<Piston> {
    let mass = Milligram(mass);
    let at = |i: usize| {
        let parts = (to - from) as i128 * (2 * i as i128 + 1) / (2 * n as i128);
        let diameter = Nanometre(from + i64::try_from(parts).expect("no longer than the interval"));
        Piston { id: String::new(), diameter, mass }
    };
    (0..n).map(at).collect()
}
