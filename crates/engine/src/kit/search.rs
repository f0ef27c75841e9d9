//! The search: fill the engines one by one, repair, exchange.
//!
//! 1. What is chosen already is taken up; then every engine is filled from what lies free, those of
//!    the lowest rank and with the least choice first.
//! 2. Rounds of repair: the engines are shaken, idle ones filled with chains of exchanges, now and
//!    then an engine is released to let others have its pieces; a round that loses engines is
//!    undone.
//! 3. Annealing towards the least loss, one more try for idle engines, grades left even.
//!
//! Two searches run side by side and the better one is kept: one takes what fits best, the other
//! first what fewest could use, which completes more where sizes have drifted apart. They are
//! always two, so that the answer does not depend on the machine.

use super::Search;
use super::bench::{Bench, Idx};
use super::bound::can_be_built as possible;
use super::exchange::{Cooling, anneal, even_out};
use super::fill::{Manner, fill};
use super::tray::{NONE, Trays};
use crate::draw::Draw;

/// Pieces chosen already: host, slot, piece.
pub(super) type Start = [(usize, usize, Idx)];

/// The best trays found; no choice completes more than `most` engines.
pub(super) fn search<'b, 'a>(
    bench: &'b Bench<'a>,
    start: &Start,
    search: Search,
    most: usize,
) -> Trays<'b, 'a> {
    let (one, other) = rayon::join(
        || search_once(bench, start, (search, most), 0),
        || search_once(bench, start, (search, most), 1),
    );
    if worth(&other).better_than(&worth(&one)) { other } else { one }
}

/// What an answer is worth: more engines, then lower ranks, then less loss.
#[derive(Debug, Clone)]
struct Worth {
    engines: usize,
    ranks: Vec<u32>,
    loss: f64,
}

impl Worth {
    /// Whether the engines alone are more, or of lower ranks.
    fn more_than(&self, other: &Self) -> bool {
        self.engines > other.engines || self.engines == other.engines && self.ranks < other.ranks
    }

    fn better_than(&self, other: &Self) -> bool {
        self.more_than(other) || !other.more_than(self) && self.loss < other.loss
    }
}

fn worth(trays: &Trays<'_, '_>) -> Worth {
    let all: Vec<usize> = (0..trays.bench.n_hosts).collect();
    worth_of(trays, &all)
}

/// What some hosts are worth.
fn worth_of(trays: &Trays<'_, '_>, hosts: &[usize]) -> Worth {
    let built = || hosts.iter().copied().filter(|&h| trays.built[h]);
    let mut ranks: Vec<u32> = built().map(|h| trays.bench.rank[h]).collect();
    ranks.sort_unstable();
    let loss = built().fold(0.0, |sum, h| sum + trays.loss(h));
    Worth { engines: ranks.len(), ranks, loss }
}

fn search_once<'b, 'a>(
    bench: &'b Bench<'a>,
    start: &Start,
    (search, most): (Search, usize),
    stream: u64,
) -> Trays<'b, 'a> {
    let mut draw = Draw::new(search.seed, stream);
    let mut trays = Trays::new(bench);
    for &(host, slot, piece) in start {
        trays.take_up(host, slot, piece);
    }
    for host in 0..bench.n_hosts {
        if bench.held[bench.host_piece(host)] || !possible(&trays, host) {
            trays.release(host);
        }
    }
    trays.thrifty = stream == 1;
    first_fill(&mut trays, stream, &mut draw);
    repair(&mut trays, search, most, &mut draw);
    trays.thrifty = false;
    let moves = search.moves as usize * trays.n_built().max(1) * bench.n_slots;
    // Small lots are searched to the bottom at no great cost.
    let moves = if search.moves > 0 { moves.max(20_000) } else { 0 };
    anneal(&mut trays, Cooling { from: 0.3, to: 3e-4, moves }, &mut draw);
    for host in idle(&trays).into_iter().take(40) {
        let _ = fill(&mut trays, host, Manner { noise: 0.0, retreats: 4, chain: 200 }, &mut draw);
    }
    refit(&mut trays, search.moves as usize * 900 / bench.n_slots, &mut draw);
    anneal(&mut trays, Cooling { from: 0.01, to: 3e-4, moves: moves / 4 }, &mut draw);
    even_out(&mut trays);
    trays
}

/// Takes two engines apart and fills them anew, or one of them and an idle host; keeps what is
/// better. It finds what no exchange of single pieces reaches, as another crankshaft with other
/// shells.
fn refit(trays: &mut Trays<'_, '_>, rounds: usize, draw: &mut Draw) {
    let bench = trays.bench;
    let hosts: Vec<usize> = (0..bench.n_hosts)
        .filter(|&h| trays.built[h] || !bench.held[bench.host_piece(h)] && possible(trays, h))
        .collect();
    for _ in 0..rounds {
        if trays.n_built() == 0 {
            return;
        }
        let mut pair: Vec<usize> =
            vec![hosts[draw.below(hosts.len())], hosts[draw.below(hosts.len())]];
        pair.dedup();
        if !pair.iter().any(|&h| trays.built[h]) {
            continue;
        }
        let before = worth_of(trays, &pair);
        let kept: Vec<(bool, Vec<Idx>)> =
            pair.iter().map(|&h| (trays.built[h], trays.pieces_in(h).to_vec())).collect();
        pair.iter().for_each(|&h| trays.release(h));
        let noise = [0.0, 0.03, 0.1, 0.5][draw.below(4)];
        for &host in pair.iter().rev() {
            let _ = fill(trays, host, Manner { noise, retreats: 3, chain: 0 }, draw);
        }
        if !worth_of(trays, &pair).better_than(&before) {
            pair.iter().for_each(|&h| trays.release(h));
            for (&host, (built, pieces)) in pair.iter().zip(kept) {
                put_back(trays, host, &pieces);
                trays.built[host] = built;
            }
        }
    }
}

/// Puts into a host what it held before.
fn put_back(trays: &mut Trays<'_, '_>, host: usize, pieces: &[Idx]) {
    for (slot, &piece) in pieces.iter().enumerate() {
        if piece != NONE && trays.piece_in(host, slot) == NONE {
            trays.put(host, slot, piece);
        }
    }
}

/// Hosts that may be built but are not, lowest rank first.
fn idle(trays: &Trays<'_, '_>) -> Vec<usize> {
    let bench = trays.bench;
    let mut idle: Vec<usize> = (0..bench.n_hosts)
        .filter(|&h| !trays.built[h] && !bench.held[bench.host_piece(h)])
        .filter(|&h| possible(trays, h))
        .collect();
    idle.sort_by_key(|&h| (bench.rank[h], h));
    idle
}

/// Engines begun by the start first, then all others from the least choice to the greatest.
fn first_fill(trays: &mut Trays<'_, '_>, stream: u64, draw: &mut Draw) {
    let bench = trays.bench;
    let choice = |trays: &Trays<'_, '_>, host: usize| {
        let open = (0..bench.n_slots).filter(|&slot| trays.piece_in(host, slot) == NONE);
        open.map(|slot| trays.choice(host, slot)).min().unwrap_or(0)
    };
    let mut order: Vec<(u32, usize, usize)> =
        idle(trays).into_iter().map(|h| (bench.rank[h], choice(trays, h), h)).collect();
    order.sort_unstable();
    let noise = if stream == 0 { 0.02 } else { 0.0 };
    let mut again = Vec::new();
    for (.., host) in order {
        if fill(trays, host, Manner { noise, retreats: 6, chain: 0 }, draw).is_err() {
            again.push(host);
        }
    }
    for host in again {
        // What was begun may be what cannot be completed.
        trays.release(host);
        let _ = fill(trays, host, Manner { noise: 0.1, retreats: 2, chain: 60 }, draw);
    }
}

/// Rounds of repair until no host is idle, or the rounds are used up.
fn repair(trays: &mut Trays<'_, '_>, search: Search, most: usize, draw: &mut Draw) {
    /// Hosts tried in one round; with as many engines or fewer each is tried harder.
    const TRIED: usize = 40;
    let rounds = (search.moves / 4).clamp(2, 60);
    let small = trays.bench.n_hosts <= TRIED;
    let (retreats, chain) = if small { (8, 300) } else { (4, 120) };
    let mut best = worth(trays);
    let mut kept = trays.clone();
    for round in 0..rounds {
        let mut idle = idle(trays);
        if idle.is_empty() || trays.n_built() >= most && !could_be_promoted(trays, &idle) {
            return;
        }
        // Every idle host has its turn, those of the lowest rank in every round.
        let lowest = idle.iter().take(TRIED / 2).copied().collect::<Vec<_>>();
        let turn = round as usize * TRIED / 2 % idle.len();
        idle.rotate_left(turn);
        idle.retain(|h| !lowest.contains(h));
        let idle: Vec<usize> = lowest.into_iter().chain(idle).take(TRIED).collect();
        let moves = trays.n_built() * trays.bench.n_slots / 4;
        // A cold engine clings to the pieces nearest its targets, which others may need; a hot one
        // takes any that is legal.
        let warmth = if trays.thrifty { [1.0, 10.0, 100.0] } else { [0.02, 0.1, 0.3] };
        let warmth = warmth[round as usize % 3];
        anneal(trays, Cooling { from: warmth, to: warmth, moves }, draw);
        let mut released = Vec::new();
        if round % 2 == 1 {
            released = release_some(trays, idle[draw.below(idle.len())], draw);
        }
        for host in idle.into_iter().chain(released) {
            let noise = [0.0, 0.1, 0.5][draw.below(3)];
            let _ = fill(trays, host, Manner { noise, retreats, chain }, draw);
        }
        promote(trays, draw);
        let now = worth(trays);
        if best.more_than(&now) {
            trays.clone_from(&kept);
        } else {
            best = now;
            kept.clone_from(trays);
        }
    }
}

/// Whether an idle host has a lower rank than an engine.
fn could_be_promoted(trays: &Trays<'_, '_>, idle: &[usize]) -> bool {
    let rank = &trays.bench.rank;
    let built = (0..trays.bench.n_hosts).filter(|&h| trays.built[h]);
    let highest = built.map(|h| rank[h]).max().unwrap_or(0);
    idle.iter().any(|&h| rank[h] < highest)
}

/// Releases one to three engines, of no lower rank than an idle one.
fn release_some(trays: &mut Trays<'_, '_>, idle: usize, draw: &mut Draw) -> Vec<usize> {
    let bench = trays.bench;
    let mut built: Vec<usize> = (0..bench.n_hosts)
        .filter(|&h| trays.built[h] && bench.rank[h] >= bench.rank[idle])
        .collect();
    draw.shuffle(&mut built);
    built.truncate(1 + draw.below(3));
    built.iter().for_each(|&h| trays.release(h));
    built
}

/// Lets an idle host of a lower rank take the place of an engine of a higher one.
fn promote(trays: &mut Trays<'_, '_>, draw: &mut Draw) {
    let bench = trays.bench;
    for host in idle(trays).into_iter().take(20) {
        let mut higher: Vec<usize> = (0..bench.n_hosts)
            .filter(|&h| trays.built[h] && bench.rank[h] > bench.rank[host])
            .collect();
        higher.sort_by_key(|&h| (std::cmp::Reverse(bench.rank[h]), h));
        for other in higher.into_iter().take(4) {
            let kept = trays.clone();
            trays.release(other);
            let manner = Manner { noise: 0.0, retreats: 4, chain: 50 };
            if fill(trays, host, manner, draw).is_ok() {
                let _ = fill(trays, other, manner, draw);
                break;
            }
            *trays = kept;
        }
    }
}
