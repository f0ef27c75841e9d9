//! The search: first as many engines as possible, then the least loss.
//!
//! Two lanes with draws of their own run side by side and the better answer is kept, so that the
//! answer does not depend on how many cores there are.

use super::Search;
use super::bound::Relaxed;
use super::chain::{self, Effort};
use super::draw::Draw;
use super::exchange::{Strips, cool, wander};
use super::rack::Rack;
use super::start;
use super::tray::{NONE, Trays};

/// Moves between two attempts at chains, for each slot.
const WANDER: u64 = 10;
/// Every so many attempts some rivals of an idle block are released.
const RELEASE_EVERY: u64 = 4;
/// Idle blocks tried in one attempt. Where many are idle, most of them are hopeless for now.
const TRIES: usize = 32;
/// Small lots are searched as long as this many blocks would be: they are cheap.
const BLOCKS_AT_LEAST: u64 = 50;

/// Fills the trays of a rack.
pub(super) fn search(rack: &Rack<'_>, relaxed: &Relaxed, search: Search) -> Trays {
    let strips = Strips::cut(rack);
    let moves = u64::from(search.moves) * (rack.blocks.len() as u64).max(BLOCKS_AT_LEAST);
    let lane = |stream| {
        let mut draw = Draw::new(search.seed, stream);
        let mut trays = start::fill(rack, relaxed, &mut draw);
        let used = gather(rack, &strips, &mut trays, relaxed, moves / 2, &mut draw);
        cool(rack, &strips, &mut trays, moves.saturating_sub(used), &mut draw);
        // Cooling moves pistons about; a chain may have opened meanwhile.
        gather(rack, &strips, &mut trays, relaxed, 0, &mut draw);
        let loss = trays.loss(rack);
        (trays, loss)
    };
    let (first, second) = rayon::join(|| lane(0), || lane(1));
    let second_is_better = second.0.engines > first.0.engines
        || (second.0.engines == first.0.engines && second.1 < first.1);
    if second_is_better { second.0 } else { first.0 }
}

/// Completes more engines: chains, then again and again a walk among legal states and chains,
/// keeping what is not worse. Stops at the bound. Returns the moves used.
fn gather(
    rack: &Rack<'_>,
    strips: &Strips,
    trays: &mut Trays,
    relaxed: &Relaxed,
    moves: u64,
    draw: &mut Draw,
) -> u64 {
    let mut used = 0;
    let all = Effort { wanted: &relaxed.possible, tries: usize::MAX, passes: usize::MAX };
    chain::complete(rack, trays, all, draw, &mut used);
    let walk = WANDER * rack.bore.len() as u64;
    let mut round = 0;
    while used < moves && trays.engines < relaxed.bound {
        let mut idle = trays.idle();
        idle.retain(|&b| relaxed.possible[b]);
        if idle.is_empty() {
            break;
        }
        let saved = trays.clone();
        wander(rack, strips, trays, walk, draw);
        used += walk;
        round += 1;
        if round % RELEASE_EVERY == 0 {
            release_rivals(rack, trays, &idle, draw);
        }
        chain::complete(rack, trays, Effort { tries: TRIES, ..all }, draw, &mut used);
        if trays.engines < saved.engines {
            *trays = saved;
        }
    }
    used
}

/// Empties one to three blocks that hold a piston which an idle block could use.
fn release_rivals(rack: &Rack<'_>, trays: &mut Trays, idle: &[usize], draw: &mut Draw) {
    for _ in 0..=draw.below(3) {
        let block = idle[draw.below(idle.len())];
        let slots = rack.slots(block);
        let run = rack.run[slots.start + draw.below(slots.len())].clone();
        let slot = trays.slot_of[run.start + draw.below(run.len())];
        if slot != NONE {
            trays.release(rack, rack.block_of[slot]);
        }
    }
}
