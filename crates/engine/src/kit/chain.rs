//! Chains of exchanges: a piece that serves another engine is freed by giving that engine another
//! piece, which may itself have to be freed.

use std::collections::HashSet;

use super::bench::Idx;
use super::tray::{Trays, Which};

/// One exchange: `piece` leaves this place for the place of the step before it.
#[derive(Debug, Clone, Copy)]
struct Step {
    host: usize,
    slot: usize,
    piece: Idx,
    before: Option<usize>,
    depth: usize,
}

/// Longest chain.
const DEPTH: usize = 4;
/// Pieces followed from one place.
const BREADTH: usize = 12;
/// Places followed that hold one grade.
const HOLDERS: usize = 4;

/// Fills an empty slot by a chain of exchanges through other engines, looking at no more than
/// `most` places; every engine of the chain stays legal.
pub(super) fn fill_by_chain(
    trays: &mut Trays<'_, '_>,
    host: usize,
    slot: usize,
    most: usize,
) -> bool {
    let mut steps: Vec<Step> = Vec::new();
    let mut seen: HashSet<(usize, usize)> = HashSet::new();
    follow(trays, (host, slot), None, &mut steps, &mut seen);
    let mut next = 0;
    while next < steps.len() && next < most {
        let step = steps[next];
        if is_among(&steps, step.before, step.host) || step.host == host {
            next += 1;
            continue;
        }
        // The place is looked at without its piece; the piece comes back before anything else.
        let piece = trays.take(step.host, step.slot);
        let free = trays.candidates(step.host, step.slot, Which::Free, BREADTH);
        let free = free.into_iter().filter(|f| f.1 != piece);
        let useful = &trays.bench.useful;
        let cost = |f: &(f64, Idx)| if trays.thrifty { useful[f.1 as usize] } else { f.0 };
        let best = free.min_by(|a, b| cost(a).total_cmp(&cost(b)).then(a.1.cmp(&b.1)));
        if best.is_none() && step.depth < DEPTH {
            follow(trays, (step.host, step.slot), Some(next), &mut steps, &mut seen);
        }
        trays.put(step.host, step.slot, piece);
        if let Some((_, free)) = best {
            carry_out(trays, &steps, next, free, (host, slot));
            return true;
        }
        next += 1;
    }
    false
}

/// Whether a host is in a chain already: what was tested of it would no longer hold.
fn is_among(steps: &[Step], mut at: Option<usize>, host: usize) -> bool {
    while let Some(i) = at {
        if steps[i].host == host {
            return true;
        }
        at = steps[i].before;
    }
    false
}

/// Adds the places that hold a piece which the empty place could take.
fn follow(
    trays: &mut Trays<'_, '_>,
    (host, slot): (usize, usize),
    before: Option<usize>,
    steps: &mut Vec<Step>,
    seen: &mut HashSet<(usize, usize)>,
) {
    let depth = before.map_or(0, |i| steps[i].depth) + 1;
    for (_, piece) in trays.candidates(host, slot, Which::Used, BREADTH) {
        let holders: Vec<(usize, usize)> = trays.held_by(piece).take(HOLDERS).collect();
        for (h, s) in holders {
            let movable = trays.built[h] && h != host && !trays.is_fitted(h, s);
            if movable && seen.insert((h, s)) {
                steps.push(Step { host: h, slot: s, piece, before, depth });
            }
        }
    }
}

/// Moves the pieces of a chain, from its free end.
fn carry_out(
    trays: &mut Trays<'_, '_>,
    steps: &[Step],
    last: usize,
    free: Idx,
    (host, slot): (usize, usize),
) {
    let (mut at, mut piece) = (Some(last), free);
    while let Some(i) = at {
        let step = steps[i];
        let out = trays.take(step.host, step.slot);
        debug_assert_eq!(out, step.piece);
        trays.put(step.host, step.slot, piece);
        debug_assert!(trays.legal_at(step.host, step.slot));
        piece = out;
        at = step.before;
    }
    trays.put(host, slot, piece);
}
