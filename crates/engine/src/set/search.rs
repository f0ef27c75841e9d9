//! The search: first as many engines as possible, then the least loss, round by round.
//!
//! Each round cuts the rack into bays and works on them side by side: chains that complete idle
//! blocks, a walk among legal states that opens new chains, and a cooling that lowers the loss.
//! Small lots have two lanes with draws of their own, and the better one is the answer. All that
//! depends on the seed and the number of rounds only.

use std::cmp::{Ordering, Reverse};

use rayon::prelude::*;

use super::bay::{self, Bay};
use super::bound::{Relaxed, relax_roughly, tighten};
use super::chain::{self, Effort};
use super::exchange::{Strips, cool, hand_over, wander};
use super::loss_bound::{LossPrices, least_loss, price_losses};
use super::rack::Rack;
use super::small::{self, Proof};
use super::start;
use super::store::even_out;
use super::tray::{NONE, Trays};
use super::{Progress, Search};
use crate::draw::Draw;

/// Moves for each block in one round.
const ROUND_MOVES: u64 = Search::ROUND_MOVES as u64;
/// Blocks in one bay.
const BAY: usize = 500;
/// Temperature at which the first cooling begins, a fifth of one worst place's loss; how much
/// cooler each next one begins, and where that ends.
const HOT: f64 = 0.2;
const COOLER: f64 = 0.5;
const COOLEST: f64 = 0.003;
/// The same for a rack of one bay that wants more engines: there is no recutting to bring fresh
/// neighbours together, so warmth must.
const COOLER_SMALL: f64 = 0.8;
const COOLEST_SMALL: f64 = 0.01;
/// Moves between two attempts at chains, for each slot.
const WANDER: u64 = 10;
/// Walks in one round.
const WALKS: u64 = 6;
/// Idle blocks tried after a walk. Where many are idle, most of them are hopeless for now.
const TRIES: usize = 32;
/// Up to this many idle blocks are tried with chains through the whole rack.
const IDLE_FEW: usize = 50;
/// Passes of those in one round.
const PASSES_FAR: usize = 4;
/// Engines taken apart in turn for one block of a higher rank.
const TAKEN_APART: usize = 6;
/// Small lots are searched as long as this many blocks would be: they are cheap.
const BLOCKS_AT_LEAST: u64 = 50;

/// How good the trays are.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Standing {
    pub(super) engines: usize,
    /// Engines of each rank, the highest rank first.
    by_rank: Vec<usize>,
    pub(super) loss: f64,
}

impl Standing {
    pub(super) fn of(rack: &Rack<'_>, trays: &Trays) -> Self {
        let loss = trays.loss(rack);
        Self { engines: trays.engines, by_rank: by_rank(rack, trays), loss }
    }

    /// Whether it is better than another: more engines, or as many and more of a higher rank, or
    /// the same and less loss.
    pub(super) fn beats(&self, other: &Self) -> bool {
        let key = |s: &Self| (s.engines, s.by_rank.clone());
        match key(self).cmp(&key(other)) {
            Ordering::Equal => self.loss < other.loss,
            order => order == Ordering::Greater,
        }
    }
}

/// Filled blocks of each rank there is, the highest rank first; empty if all are of rank 0.
fn by_rank(rack: &Rack<'_>, trays: &Trays) -> Vec<usize> {
    if !rack.any_wish() {
        return Vec::new();
    }
    let mut count: std::collections::BTreeMap<i32, usize> = std::collections::BTreeMap::new();
    for b in 0..rack.blocks.len() {
        *count.entry(rack.rank(b)).or_default() += usize::from(trays.filled[b]);
    }
    count.into_values().rev().collect()
}

/// One run of the search over a whole rack.
struct Lane {
    seed: u64,
    number: u64,
    trays: Trays,
    best: (Trays, Standing),
    /// Strips of the whole rack, cut when first needed.
    strips: Option<Strips>,
}

/// What the search came to.
pub(super) struct Found {
    pub(super) trays: Trays,
    pub(super) relaxed: Relaxed,
    pub(super) loss_bound: f64,
    pub(super) rounds: u32,
    pub(super) moves: u64,
}

/// Fills the trays of a rack. After each round `go_on` is told how far the search is; `false` ends
/// it.
pub(super) fn search(
    rack: &Rack<'_>,
    search: Search,
    go_on: &mut dyn FnMut(&Progress) -> bool,
) -> Found {
    let numbers: &[u64] = if rack.blocks.len() <= BAY + BAY / 4 { &[0, 1] } else { &[0] };
    let rough = relax_roughly(rack);
    // The search begins with the rough bound while the other core works on the closer one.
    let begin = |&number: &u64| Lane::begin(rack, &rough, search.seed, number);
    let (bound, mut lanes) = rayon::join(
        || tighten(rack, &rough),
        || numbers.par_iter().map(begin).collect::<Vec<Lane>>(),
    );
    let mut relaxed = Relaxed { bound, ..rough };
    let each = ROUND_MOVES * (rack.blocks.len() as u64).max(BLOCKS_AT_LEAST);
    let rounds = u32::try_from(u64::from(search.moves).div_ceil(ROUND_MOVES)).unwrap_or(u32::MAX);
    let last = u64::from(search.moves) % ROUND_MOVES;
    let (mut round, mut moves) = (0, 0);
    let mut prices: Option<LossPrices> = None;
    loop {
        let (engines, loss) = (best(&lanes).1.engines, best(&lanes).1.loss);
        let loss_bound = prices.as_ref().map_or(0.0, |p| least_loss(rack, p, engines));
        let bound = relaxed.bound;
        let progress = Progress { round, moves, engines, bound, loss, loss_bound };
        if !go_on(&progress) || round == rounds {
            break;
        }
        let short = round + 1 == rounds && last > 0;
        let now = if short { each * last / ROUND_MOVES } else { each };
        let mut work =
            || lanes.par_iter_mut().for_each(|lane| lane.round(rack, &relaxed, round, now));
        let price = || price_losses(rack, &relaxed.possible, engines);
        if prices.is_none() {
            prices = Some(rayon::join(work, price).1);
        } else {
            work();
        }
        round += 1;
        moves += now;
        if round == 1 {
            prove_small(rack, &mut relaxed, &mut lanes, now);
        }
    }
    let at = best_lane(&lanes);
    let (mut trays, _) = lanes.swap_remove(at).best;
    even_out(rack, &mut trays);
    let engines = trays.engines;
    let prices = prices.unwrap_or_else(|| price_losses(rack, &relaxed.possible, engines));
    let loss_bound = least_loss(rack, &prices, engines);
    Found { trays, relaxed, loss_bound, rounds: round, moves }
}

/// Lowers the bound of a small lot as far as it can be proven, and takes over a better matching.
fn prove_small(rack: &Rack<'_>, relaxed: &mut Relaxed, lanes: &mut [Lane], moves: u64) {
    let at = best_lane(lanes);
    let trays = &lanes[at].best.0;
    if trays.engines >= relaxed.bound {
        return;
    }
    let proof = small::prove(rack, &relaxed.possible, trays, relaxed.bound, moves);
    let Some(Proof { bound, better }) = proof else { return };
    relaxed.bound = relaxed.bound.min(bound);
    if let Some(trays) = better {
        for lane in lanes {
            lane.best = (trays.clone(), Standing::of(rack, &trays));
            lane.trays = trays.clone();
        }
    }
}

fn best_lane(lanes: &[Lane]) -> usize {
    let mut at = 0;
    for (i, lane) in lanes.iter().enumerate() {
        if lane.best.1.beats(&lanes[at].best.1) {
            at = i;
        }
    }
    at
}

fn best(lanes: &[Lane]) -> &(Trays, Standing) {
    &lanes[best_lane(lanes)].best
}

impl Lane {
    fn begin(rack: &Rack<'_>, relaxed: &Relaxed, seed: u64, number: u64) -> Self {
        let mut draw = Draw::new(seed, number);
        let trays = start::fill(rack, relaxed, &mut draw);
        let standing = Standing::of(rack, &trays);
        Self { seed, number, best: (trays.clone(), standing), trays, strips: None }
    }

    fn round(&mut self, rack: &Rack<'_>, relaxed: &Relaxed, round: u32, moves: u64) {
        let stream = (self.number << 60) | (u64::from(round + 1) << 24);
        let mut draw = Draw::new(self.seed, stream);
        let mut bays = bay::cut(rack, &self.trays, BAY, &mut draw);
        let more = self.trays.engines < relaxed.bound;
        let task = Task {
            more,
            moves_a_block: moves / rack.blocks.len() as u64,
            hot: temperature(round, more && bays.len() == 1),
        };
        let seed = self.seed;
        bays.par_iter_mut().enumerate().for_each(|(i, bay)| {
            let mut draw = Draw::new(seed, stream | (i as u64 + 1));
            work(bay, task, &mut draw);
        });
        self.trays.clear();
        for bay in &bays {
            bay.put_back(rack, &mut self.trays);
        }
        if task.more && bays.len() > 1 && self.trays.idle().len() <= IDLE_FEW {
            let strips = self.strips.get_or_insert_with(|| Strips::cut(rack));
            chain::complete_far(rack, strips, &mut self.trays, PASSES_FAR, &mut draw);
        }
        let standing = Standing::of(rack, &self.trays);
        if standing.beats(&self.best.1) {
            self.best = (self.trays.clone(), standing);
        }
    }
}

/// Where the cooling of a round begins: each round cooler than the one before.
fn temperature(round: u32, small: bool) -> f64 {
    let (cooler, coolest) = if small { (COOLER_SMALL, COOLEST_SMALL) } else { (COOLER, COOLEST) };
    (HOT * libm::pow(cooler, f64::from(round))).max(coolest)
}

/// What is to be done in a bay.
#[derive(Debug, Clone, Copy)]
struct Task {
    /// Whether more engines are wanted.
    more: bool,
    moves_a_block: u64,
    hot: f64,
}

fn work(bay: &mut Bay<'_>, task: Task, draw: &mut Draw) {
    let strips = Strips::cut(&bay.rack);
    let mut moves = task.moves_a_block * bay.rack.blocks.len() as u64;
    if task.more {
        let used = gather(bay, &strips, moves / 2, draw);
        moves = moves.saturating_sub(used);
    }
    prefer(&bay.rack, &mut bay.trays, draw);
    cool(&bay.rack, &strips, &mut bay.trays, moves, task.hot, draw);
    if task.more {
        // Cooling draws masses and clearances together, which opens chains.
        let all = Effort { tries: usize::MAX, passes: usize::MAX };
        chain::complete(&bay.rack, &mut bay.trays, all, draw, &mut 0);
    }
}

/// Completes more engines: chains, then a few times a walk among legal states and chains, keeping
/// what is not worse. Returns the moves used.
fn gather(bay: &mut Bay<'_>, strips: &Strips, moves: u64, draw: &mut Draw) -> u64 {
    let (rack, trays) = (&bay.rack, &mut bay.trays);
    let mut used = 0;
    let all = Effort { tries: usize::MAX, passes: usize::MAX };
    chain::complete(rack, trays, all, draw, &mut used);
    let walk = WANDER * rack.bore.len() as u64;
    for walks in 1..=WALKS {
        let idle = trays.idle();
        if idle.is_empty() || used >= moves {
            break;
        }
        let saved = trays.clone();
        let before = by_rank(rack, trays);
        wander(rack, strips, trays, walk, draw);
        used += walk;
        if walks % 2 == 0 {
            release_rivals(rack, trays, &idle, draw);
        }
        chain::complete(rack, trays, Effort { tries: TRIES, ..all }, draw, &mut used);
        if (trays.engines, by_rank(rack, trays)) < (saved.engines, before) {
            *trays = saved;
        }
    }
    used
}

/// Builds idle blocks of a higher rank in place of others: with their sets, or with what comes free
/// when one is taken apart.
fn prefer(rack: &Rack<'_>, trays: &mut Trays, draw: &mut Draw) {
    if !rack.any_wish() {
        return;
    }
    let mut idle = trays.idle();
    draw.shuffle(&mut idle);
    idle.sort_by_key(|&b| Reverse(rack.rank(b)));
    for block in idle.into_iter().take(TRIES) {
        let mut lower: Vec<usize> = (0..rack.blocks.len())
            .filter(|&b| trays.filled[b] && rack.rank(b) < rack.rank(block))
            .collect();
        draw.shuffle(&mut lower);
        lower.sort_by_key(|&b| rack.rank(b));
        if lower.iter().any(|&b| hand_over(rack, trays, b, block, draw)) {
            continue;
        }
        for other in lower.into_iter().take(TAKEN_APART) {
            let saved = trays.clone();
            trays.release(rack, other);
            chain::complete_one(rack, trays, block, draw);
            if trays.filled[block] {
                break;
            }
            *trays = saved;
        }
    }
}

/// Empties one to three blocks that hold a piston which an idle block could use.
fn release_rivals(rack: &Rack<'_>, trays: &mut Trays, idle: &[usize], draw: &mut Draw) {
    for _ in 0..=draw.below(3) {
        let block = idle[draw.below(idle.len())];
        let slots = rack.slots(block);
        let run = rack.run[slots.start + draw.below(slots.len())].clone();
        if run.is_empty() {
            continue;
        }
        let slot = trays.slot_of[run.start + draw.below(run.len())];
        if slot != NONE {
            trays.release(rack, rack.block_of[slot]);
        }
    }
}
