//! The first filling of the trays.
//!
//! Pistons are cut by mass into classes no wider than the allowed spread; inside one class the mass
//! rule is kept by any set, and the earliest fit tells exactly whether some blocks can all be
//! served. Blocks are dealt to the classes, each class keeps what its own linear programme builds
//! whole, and the blocks that were turned away are offered to the other classes. Several places of
//! the class edges are tried.

use super::bound::Relaxed;
use super::draw::Draw;
use super::practice;
use super::price::{Want, prices};
use super::rack::Rack;
use super::tray::Trays;

/// Limit of work of one class's linear programme, in multiplications.
const CLASS_WORK: u64 = 20_000_000;
/// Worth below which a block is not dealt in the first round: others use its pistons better.
const WORTH_DEALT: f64 = -0.3;

/// One class of mass.
struct Class {
    /// Its pistons in order of diameter.
    pistons: Vec<usize>,
    /// Slots of the blocks it serves, in order of bore.
    slots: Vec<usize>,
}

/// The best of several first fillings, among them first-in-first-out by id.
pub(super) fn fill(rack: &Rack<'_>, relaxed: &Relaxed, draw: &mut Draw) -> Trays {
    let mut best = practice::fifo_by_id(rack);
    let offsets = match rack.blocks.len() {
        0..=200 => 8,
        201..=2_000 => 4,
        _ => 1,
    };
    for k in 0..offsets {
        if best.engines >= relaxed.bound {
            break;
        }
        let trays = fill_classes(rack, relaxed, draw, (k, offsets));
        if trays.engines > best.engines {
            best = trays;
        }
    }
    best
}

/// One filling with the class edges shifted by `k` parts in `offsets`.
fn fill_classes(
    rack: &Rack<'_>,
    relaxed: &Relaxed,
    draw: &mut Draw,
    (k, offsets): (i64, i64),
) -> Trays {
    let mut classes = classes(rack, k, offsets);
    let mut refused = deal(rack, relaxed, draw, &mut classes);
    for _ in 0..3 {
        draw.shuffle(&mut refused);
        refused.retain(|&block| {
            let begin = draw.below(classes.len());
            !(0..classes.len()).any(|i| {
                let at = (begin + i) % classes.len();
                try_add(rack, &mut classes[at], block)
            })
        });
    }
    let mut trays = Trays::empty(rack);
    for class in &classes {
        let pistons = earliest_fit(rack, class, &class.slots).expect("every kept slot is served");
        for (&slot, piston) in class.slots.iter().zip(pistons) {
            trays.put(slot, piston);
        }
        for &slot in &class.slots {
            let block = rack.block_of[slot];
            if !trays.filled[block] {
                trays.close(block);
            }
        }
    }
    trays
}

/// Classes of mass, each exactly as wide as the allowed spread, the first one begun early by `k`
/// parts in `offsets`.
fn classes(rack: &Rack<'_>, k: i64, offsets: i64) -> Vec<Class> {
    let width = rack.spread_max() + 1;
    let lightest = rack.mass[rack.by_mass[0]];
    // Exact in 64 bits: width is at most 1e10 and k at most 8.
    let edge = lightest - width * k / offsets;
    let mut classes: Vec<Class> = Vec::new();
    let mut last = i64::MIN;
    for &p in &rack.by_mass {
        let number = (rack.mass[p] - edge) / width;
        if number != last {
            classes.push(Class { pistons: Vec::new(), slots: Vec::new() });
            last = number;
        }
        if let Some(class) = classes.last_mut() {
            class.pistons.push(p);
        }
    }
    for class in &mut classes {
        class.pistons.sort_unstable();
    }
    classes
}

/// Deals the worthwhile blocks to the classes in proportion to their pistons, lets each class keep
/// what it can serve, and returns the possible blocks that no class holds.
fn deal(rack: &Rack<'_>, relaxed: &Relaxed, draw: &mut Draw, classes: &mut [Class]) -> Vec<usize> {
    let mut blocks: Vec<usize> = (0..rack.blocks.len()).filter(|&b| relaxed.possible[b]).collect();
    draw.shuffle(&mut blocks);
    let mut hands: Vec<Vec<usize>> = vec![Vec::new(); classes.len()];
    let mut refused = Vec::new();
    for block in blocks {
        if relaxed.worth[block] < WORTH_DEALT {
            refused.push(block);
            continue;
        }
        // A class is hit as often as it holds pistons.
        let hit = rack.mass[rack.by_mass[draw.below(rack.by_mass.len())]];
        let at = classes.partition_point(|c| rack.mass[heaviest(rack, c)] < hit);
        hands[at.min(classes.len() - 1)].push(block);
    }
    for (class, hand) in classes.iter_mut().zip(hands) {
        refused.extend(keep(rack, class, &hand));
    }
    refused
}

/// Heaviest piston of a class.
fn heaviest(rack: &Rack<'_>, class: &Class) -> usize {
    let most = class.pistons.iter().copied().max_by_key(|&p| rack.mass_place[p]);
    most.expect("a class is made for its first piston")
}

/// Lets a class keep, of the blocks dealt to it, those its linear programme builds whole, then the
/// others by falling share as long as all can be served. Returns the rest.
fn keep(rack: &Rack<'_>, class: &mut Class, hand: &[usize]) -> Vec<usize> {
    let mut slots: Vec<(usize, usize)> =
        hand.iter().enumerate().flat_map(|(i, &b)| rack.slots(b).map(move |s| (s, i))).collect();
    slots.sort_by_key(|&(s, _)| (rack.bore[s], s));
    let own_run = |slot: usize| {
        let run = &rack.run[slot];
        let start = class.pistons.partition_point(|&p| p < run.start);
        start..class.pistons.partition_point(|&p| p < run.end)
    };
    let mut servable = vec![true; hand.len()];
    for &(slot, i) in &slots {
        servable[i] &= !own_run(slot).is_empty();
    }
    let wants: Vec<Want> = slots
        .iter()
        .filter(|&&(_, i)| servable[i])
        .map(|&(slot, block)| Want { block, run: own_run(slot) })
        .collect();
    let share = prices(hand.len(), &wants, CLASS_WORK).share;
    let mut order: Vec<usize> = (0..hand.len()).filter(|&i| servable[i]).collect();
    order.sort_by(|&a, &b| share[b].total_cmp(&share[a]).then(a.cmp(&b)));
    let whole = order.partition_point(|&i| share[i] > 0.9999);
    let mut sure: Vec<usize> = order[..whole].iter().flat_map(|&i| rack.slots(hand[i])).collect();
    sure.sort_by_key(|&s| (rack.bore[s], s));
    let together = earliest_fit(rack, class, &sure).is_some();
    if together {
        class.slots = sure;
    }
    let mut refused: Vec<usize> =
        (0..hand.len()).filter(|&i| !servable[i]).map(|i| hand[i]).collect();
    for &i in &order[if together { whole } else { 0 }..] {
        if !try_add(rack, class, hand[i]) {
            refused.push(hand[i]);
        }
    }
    refused
}

/// Adds a block to a class if all its slots and the new ones can be served together.
fn try_add(rack: &Rack<'_>, class: &mut Class, block: usize) -> bool {
    if class.pistons.len() < class.slots.len() + rack.cylinders(block) {
        return false;
    }
    let mut slots = class.slots.clone();
    slots.extend(rack.slots(block));
    slots.sort_by_key(|&s| (rack.bore[s], s));
    let fits = earliest_fit(rack, class, &slots).is_some();
    if fits {
        class.slots = slots;
    }
    fits
}

/// Serves slots (in order of bore) from a class: each the smallest unused piston it allows. `None`
/// if one cannot be served; then no other choice serves them all either.
fn earliest_fit(rack: &Rack<'_>, class: &Class, slots: &[usize]) -> Option<Vec<usize>> {
    let mut pistons = class.pistons.iter().copied();
    slots
        .iter()
        .map(|&slot| {
            let run = &rack.run[slot];
            pistons.find(|&p| run.start <= p).filter(|&p| p < run.end)
        })
        .collect()
}
