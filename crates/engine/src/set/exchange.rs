//! Exchanges between trays that keep every rule.
//!
//! A move swaps the piston of one place with another of a sister's mass, spare or in use, or swaps
//! the whole sets of two blocks. The other piston is of about the ideal diameter, or lies on the
//! way to it: where pistons of the ideal diameter are scarce, many small steps get further than the
//! same few pistons asked for again and again.
//!
//! To look for more engines every legal move is made: wandering at will opened more chains in
//! trials than wandering with an eye on the loss. To lower the loss, a move that lowers it is made;
//! one that raises it by `d` is made with probability `exp(−d/T)`, and the temperature `T` falls
//! (S. Kirkpatrick, C. Gelatt and M. Vecchi, "Optimization by simulated annealing", Science 220,
//! 1983, from memory).

use super::CYLINDERS_MAX;
use super::rack::Rack;
use super::tray::{NONE, Trays};
use crate::draw::Draw;

/// Pistons in strips of about equal mass, each in order of diameter.
#[derive(Debug)]
pub(super) struct Strips {
    strips: Vec<Vec<usize>>,
    length: usize,
}

impl Strips {
    /// Strips of a length that grows with the square root of the store: about six
    /// times as many pistons in a strip as there are strips lowered the loss fastest in trials.
    pub(super) fn cut(rack: &Rack<'_>) -> Self {
        let length = (rack.mass.len().isqrt() * 5 / 2).max(16);
        let cut = |chunk: &[usize]| {
            let mut strip = chunk.to_vec();
            strip.sort_unstable();
            strip
        };
        Self { strips: rack.by_mass.chunks(length).map(cut).collect(), length }
    }

    /// A piston that `piston` may well take the place of: of about its mass and diameter.
    pub(super) fn exchangeable(&self, rack: &Rack<'_>, piston: usize, draw: &mut Draw) -> usize {
        let spread = rack.spread_max();
        let first = rack.by_mass.partition_point(|&p| rack.mass[p] < rack.mass[piston] - spread);
        let end = rack.by_mass.partition_point(|&p| rack.mass[p] <= rack.mass[piston] + spread);
        let (first, last) = (first / self.length, (end - 1) / self.length);
        let strip = &self.strips[first + draw.below(last - first + 1)];
        let window = rack.rules.clearance_max().0 - rack.rules.clearance_min().0;
        let shift = (draw.unit() - 0.5) * window as f64;
        #[expect(clippy::cast_possible_truncation, reason = "at most half a window")]
        let wanted = rack.diameter[piston] + shift as i64;
        let place = strip.partition_point(|&p| rack.diameter[p] < wanted);
        strip[place.min(strip.len() - 1)]
    }

    /// A piston of about the mass of `sister` and the diameter `wanted`.
    fn near(&self, rack: &Rack<'_>, sister: usize, wanted: i64, draw: &mut Draw) -> usize {
        let bits = draw.bits();
        let home = rack.mass_place[sister] / self.length;
        let at = match bits & 7 {
            0 | 1 => home.saturating_sub(1),
            2 | 3 => (home + 1).min(self.strips.len() - 1),
            _ => home,
        };
        let strip = &self.strips[at];
        let middle = strip.partition_point(|&p| rack.diameter[p] < wanted);
        // Steps of 0, 1, 2, 3 … with halving frequency, to either side.
        let step = (bits >> 8).trailing_zeros() as usize;
        let place = if bits & 8 == 0 { middle + step } else { middle.saturating_sub(step + 1) };
        strip[place.min(strip.len() - 1)]
    }
}

/// Which legal moves are made.
#[derive(Debug, Clone, Copy)]
enum Made {
    /// All.
    Every,
    /// Those that lower the loss, and by chance at this temperature some that raise it.
    Cooling(f64),
}

impl Made {
    fn takes(self, change: f64, draw: &mut Draw) -> bool {
        match self {
            Self::Every => true,
            // Beyond 20 T the chance is below 3e-9: not worth the exponential. libm gives the same
            // digits on every machine.
            Self::Cooling(temperature) => {
                change <= 0.0
                    || (change < 20.0 * temperature
                        && draw.unit() < libm::exp(-change / temperature))
            }
        }
    }
}

/// Makes `moves` moves at will among legal states.
pub(super) fn wander(
    rack: &Rack<'_>,
    strips: &Strips,
    trays: &mut Trays,
    moves: u64,
    draw: &mut Draw,
) {
    for _ in 0..moves {
        one_move(rack, strips, trays, Made::Every, draw);
    }
}

/// Tries `moves` moves that lower the loss, cooling all the while from the temperature `hot`.
pub(super) fn cool(
    rack: &Rack<'_>,
    strips: &Strips,
    trays: &mut Trays,
    moves: u64,
    hot: f64,
    draw: &mut Draw,
) {
    // Where nothing but betterment passes.
    const COLD: f64 = 0.0004;
    const STRETCH: u64 = 256;
    for begin in (0..moves).step_by(256) {
        let temperature = hot * libm::pow(COLD / hot, begin as f64 / moves as f64);
        for _ in 0..STRETCH.min(moves - begin) {
            one_move(rack, strips, trays, Made::Cooling(temperature), draw);
        }
    }
}

fn one_move(rack: &Rack<'_>, strips: &Strips, trays: &mut Trays, made: Made, draw: &mut Draw) {
    let slot = draw.below(rack.bore.len());
    let block = rack.block_of[slot];
    let bits = draw.bits();
    if !trays.filled[block] || bits & 15 == 0 {
        let other = draw.below(rack.blocks.len());
        exchange_sets(rack, trays, (block, other), made, draw);
        return;
    }
    let slots = rack.slots(block);
    let sister = trays.piston_in[slots.start + draw.below(slots.len())];
    let ideal = rack.bore[slot] - rack.rules.clearance_target().0;
    let wanted = if (bits >> 4) & 7 == 0 {
        ideal
    } else {
        let now = rack.diameter[trays.piston_in[slot]];
        let part = (ideal - now) as f64 * draw.unit();
        #[expect(clippy::cast_possible_truncation, reason = "no further than the ideal size")]
        let wanted = now + part as i64;
        wanted
    };
    let piston = strips.near(rack, sister, wanted, draw);
    exchange_pistons(rack, trays, (slot, piston), made, draw);
}

/// Puts `piston` into `slot`; what lay there goes where `piston` came from.
fn exchange_pistons(
    rack: &Rack<'_>,
    trays: &mut Trays,
    (slot, piston): (usize, usize),
    made: Made,
    draw: &mut Draw,
) {
    let leaving = trays.piston_in[slot];
    let other = trays.slot_of[piston];
    if piston == leaving || !rack.allows(slot, piston) {
        return;
    }
    let block = rack.block_of[slot];
    let mut change = rack.place_loss(slot, piston) - rack.place_loss(slot, leaving);
    if other != NONE {
        if !rack.allows(other, leaving) {
            return;
        }
        change += rack.place_loss(other, leaving) - rack.place_loss(other, piston);
    }
    if other == NONE || rack.block_of[other] != block {
        let places = [(slot, piston), (other, leaving)];
        for (s, p) in places.into_iter().filter(|&(s, _)| s != NONE) {
            let b = rack.block_of[s];
            let next = trays.spread_with(rack, b, s, p);
            if next > rack.spread_max() {
                return;
            }
            let now = trays.spread_with(rack, b, NONE, NONE);
            change += rack.spread_loss(next) - rack.spread_loss(now);
        }
    }
    if made.takes(change, draw) {
        trays.take(slot);
        if other != NONE {
            trays.take(other);
            trays.put(other, leaving);
        }
        trays.put(slot, piston);
    }
}

/// Hands the set of `from` over to the idle block `to` if it fits there.
pub(super) fn hand_over(
    rack: &Rack<'_>,
    trays: &mut Trays,
    from: usize,
    to: usize,
    draw: &mut Draw,
) -> bool {
    exchange_sets(rack, trays, (from, to), Made::Every, draw);
    trays.filled[to]
}

/// Exchanges the whole sets of two blocks of as many cylinders, the smallest bore getting the
/// smallest piston; one of the two may be idle.
fn exchange_sets(
    rack: &Rack<'_>,
    trays: &mut Trays,
    (a, b): (usize, usize),
    made: Made,
    draw: &mut Draw,
) {
    let idle_both = !trays.filled[a] && !trays.filled[b];
    if a == b || idle_both || rack.cylinders(a) != rack.cylinders(b) {
        return;
    }
    if trays.filled[a] != trays.filled[b] {
        let (filled, idle) = if trays.filled[a] { (a, b) } else { (b, a) };
        if rack.rank(idle) < rack.rank(filled) {
            return;
        }
    }
    // On the stack: this runs in the innermost loop.
    let set_of = |block: usize| {
        let mut set = [NONE; CYLINDERS_MAX];
        let slots = rack.slots(block);
        let n = slots.len();
        set[..n].copy_from_slice(&trays.piston_in[slots]);
        set[..n].sort_unstable();
        set
    };
    let (from_a, from_b) = (set_of(a), set_of(b));
    let mut change = 0.0;
    for (block, set) in [(a, &from_b), (b, &from_a)] {
        for (&slot, &piston) in rack.rising_slots(block).iter().zip(set.iter()) {
            if piston != NONE {
                if !rack.allows(slot, piston) {
                    return;
                }
                change += rack.place_loss(slot, piston);
            }
            if trays.piston_in[slot] != NONE {
                change -= rack.place_loss(slot, trays.piston_in[slot]);
            }
        }
    }
    if !made.takes(change, draw) {
        return;
    }
    for block in [a, b] {
        trays.release(rack, block);
    }
    for (block, set) in [(a, from_b), (b, from_a)] {
        if set[0] != NONE {
            for (&slot, piston) in rack.rising_slots(block).iter().zip(set) {
                trays.put(slot, piston);
            }
            trays.close(block);
        }
    }
}
