//! The first filling of the trays.
//!
//! Pistons are cut by mass into classes no wider than the allowed spread; inside one class the mass
//! rule is kept by any set, and a [`Shelf`] tells exactly whether some blocks can all be served.
//! Blocks are dealt to the classes, each class takes the blocks its own linear programme would
//! build most of, and the blocks that were turned away are offered to the other classes. Several
//! places of the class edges are tried. Pieces that someone has a wish for are left to the chains.

use rayon::prelude::*;

use super::bound::{Classes, Relaxed};
use super::practice;
use super::price::{Wants, prices};
use super::rack::Rack;
use super::shelf::Shelf;
use super::tray::Trays;
use crate::draw::Draw;

/// Worth below which a block is not dealt in the first round: others use its pistons better.
const WORTH_DEALT: f64 = -0.3;
/// Classes of diameter in one width of the clearance window, for the linear programmes.
const CLASSES_IN_WINDOW: i64 = 12;
/// Passes of dealing; two if there are so many blocks that chance evens itself out.
const PASSES: usize = 4;
const BLOCKS_MANY: usize = 30_000;
/// One part in this many blocks left over is few enough for the chains.
const FEW_LEFT: usize = 100;
/// How much a block that takes scarce pistons is favoured, of an engine for each engine that its
/// pistons are worth.
const HARD_FAVOUR: f64 = 0.01;
/// Blocks in one class's linear programme; of more, an even sample sets the prices.
const BLOCKS_PRICED: usize = 2_000;
/// How much a step of rank weighs against an engine in the linear programmes: a tie-break.
const RANK_FAVOUR: f64 = 1e-4;

/// One class of mass.
struct Class {
    /// Its pistons in order of diameter.
    pistons: Vec<usize>,
    /// How many of its pistons lie before each piston of the rack.
    before: Vec<u32>,
    /// Place on the shelf of each slot of the rack, in order of bore.
    place: Vec<u32>,
    shelf: Shelf,
    /// Blocks it serves.
    blocks: Vec<usize>,
}

/// The best of several first fillings, among them first-in-first-out by id.
pub(super) fn fill(rack: &Rack<'_>, relaxed: &Relaxed, draw: &mut Draw) -> Trays {
    let mut best = practice::fifo_by_id(rack);
    let offsets = match rack.blocks.len() {
        0..=200 => 8,
        201..=3_000 => 4,
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
    let mut groups = mass_groups(rack, k, offsets);
    let (mut hands, mut left) = deal(rack, relaxed, draw, &groups);
    let mut classes: Vec<Class> = std::mem::take(&mut groups)
        .into_par_iter()
        .map(|pistons| Class::new(rack, pistons))
        .collect();
    let passes = if rack.blocks.len() > BLOCKS_MANY { 2 } else { PASSES };
    for pass in 1..=passes {
        let refused: Vec<Vec<usize>> = classes
            .par_iter_mut()
            .zip(&hands)
            .map(|(class, hand)| keep(rack, relaxed, class, hand))
            .collect();
        left.extend(refused.into_iter().flatten());
        left = offer(rack, relaxed, draw, &mut classes, left);
        if left.len() <= rack.blocks.len() / FEW_LEFT || pass == passes {
            break;
        }
        // What is left is dealt anew, each class keeping its own in hand.
        hands = deal_again(draw, &classes, &mut left);
    }
    let mut trays = Trays::empty(rack);
    for class in &classes {
        class.lay(rack, &mut trays);
    }
    trays
}

/// Offers blocks to all classes, the likelier ones first; returns those that none can serve.
fn offer(
    rack: &Rack<'_>,
    relaxed: &Relaxed,
    draw: &mut Draw,
    classes: &mut [Class],
    mut left: Vec<usize>,
) -> Vec<usize> {
    draw.shuffle(&mut left);
    // Those first that the whole rack's prices find most worth building.
    let worth = |b: usize| std::cmp::Reverse(in_steps(relaxed.worth[b]));
    left.sort_by_key(|&b| (std::cmp::Reverse(rack.rank(b)), worth(b)));
    let n = classes.len();
    left.retain(|&block| {
        let begin = draw.below(n);
        !(0..n).any(|i| classes[(begin + i) % n].try_add(rack, block))
    });
    left
}

/// Deals the blocks that are left to the classes, in proportion to their pistons.
fn deal_again(draw: &mut Draw, classes: &[Class], left: &mut Vec<usize>) -> Vec<Vec<usize>> {
    let upto: Vec<usize> = classes
        .iter()
        .scan(0, |all, class| {
            *all += class.pistons.len();
            Some(*all)
        })
        .collect();
    let mut hands: Vec<Vec<usize>> = classes.iter().map(|class| class.blocks.clone()).collect();
    let all = upto.last().copied().unwrap_or(0);
    for block in left.drain(..) {
        hands[upto.partition_point(|&n| n <= draw.below(all)).min(classes.len() - 1)].push(block);
    }
    hands
}

/// A worth in coarse steps, so that chance decides among near equals.
#[expect(clippy::cast_possible_truncation, reason = "a worth lies within ±16")]
fn in_steps(worth: f64) -> i64 {
    (worth * 20.0).floor() as i64
}

/// Pistons by classes of mass, each exactly as wide as the allowed spread, the first one begun
/// early by `k` parts in `offsets`; each class in order of diameter.
fn mass_groups(rack: &Rack<'_>, k: i64, offsets: i64) -> Vec<Vec<usize>> {
    let width = rack.spread_max() + 1;
    let lightest = rack.mass[rack.by_mass[0]];
    // Exact in 64 bits: width is at most 1e10 and k at most 8.
    let edge = lightest - width * k / offsets;
    let mut groups: Vec<Vec<usize>> = Vec::new();
    let mut last = i64::MIN;
    for &p in &rack.by_mass {
        let number = (rack.mass[p] - edge) / width;
        if number != last {
            groups.push(Vec::new());
            last = number;
        }
        if let (Some(group), false) = (groups.last_mut(), rack.is_wished(p)) {
            group.push(p);
        }
    }
    for group in &mut groups {
        group.sort_unstable();
    }
    groups
}

/// Deals the worthwhile blocks to the classes in proportion to their pistons; also returns the
/// possible blocks that were not dealt.
fn deal(
    rack: &Rack<'_>,
    relaxed: &Relaxed,
    draw: &mut Draw,
    groups: &[Vec<usize>],
) -> (Vec<Vec<usize>>, Vec<usize>) {
    let may_be = |&b: &usize| relaxed.possible[b] && !rack.has_pins(b);
    let mut blocks: Vec<usize> = (0..rack.blocks.len()).filter(may_be).collect();
    draw.shuffle(&mut blocks);
    let mut hands: Vec<Vec<usize>> = vec![Vec::new(); groups.len()];
    let mut left = Vec::new();
    let mut upto = Vec::with_capacity(groups.len());
    let mut all = 0;
    for group in groups {
        all += group.len();
        upto.push(all);
    }
    for block in blocks {
        if relaxed.worth[block] < WORTH_DEALT || all == 0 {
            left.push(block);
            continue;
        }
        // A class is hit as often as it holds pistons.
        let hit = draw.below(all);
        hands[upto.partition_point(|&n| n <= hit)].push(block);
    }
    (hands, left)
}

/// Lets a class take, of the blocks in its hand, as many as it can serve, those of which its linear
/// programme builds most first; what it holds already if that is no fewer. Returns the rest.
fn keep(rack: &Rack<'_>, relaxed: &Relaxed, class: &mut Class, hand: &[usize]) -> Vec<usize> {
    let width = rack.rules.clearance_max().0 - rack.rules.clearance_min().0;
    let diameter: Vec<i64> = class.pistons.iter().map(|&p| rack.diameter[p]).collect();
    let sizes = Classes::cut(&diameter, width / CLASSES_IN_WINDOW, 0);
    let (mut refused, mut servable) = (Vec::new(), Vec::new());
    let mut wants: Vec<(Wants, f64)> = Vec::new();
    for &block in hand {
        let own: Wants =
            rack.slots(block).map(|slot| sizes.touched(&class.own_run(rack, slot))).collect();
        if own.iter().any(std::ops::Range::is_empty) {
            refused.push(block);
        } else {
            servable.push(block);
            wants.push((own, favour(rack, relaxed, block)));
        }
    }
    let share = shares(&sizes.count, &wants);
    let mut order: Vec<usize> = (0..servable.len()).collect();
    order.sort_by(|&a, &b| share[b].total_cmp(&share[a]).then(a.cmp(&b)));
    let before = (class.shelf.clone(), class.blocks.clone());
    class.clear(rack);
    for &i in &order {
        class.try_add(rack, servable[i]);
    }
    if class.blocks.len() < before.1.len() {
        (class.shelf, class.blocks) = before;
    }
    let mut held = class.blocks.clone();
    held.sort_unstable();
    refused.extend(servable.into_iter().filter(|b| held.binary_search(b).is_err()));
    refused
}

/// The share of each block that a class's linear programme builds. Of many blocks it looks at an
/// even sample; the others are whole if they are worth more than their pistons' prices, nothing if
/// less.
fn shares(supply: &[usize], wants: &[(Wants, f64)]) -> Vec<f64> {
    let every = wants.len().div_ceil(BLOCKS_PRICED).max(1);
    if every == 1 {
        return prices(supply, wants, 1.0).share;
    }
    let sample: Vec<(Wants, f64)> = wants.iter().step_by(every).cloned().collect();
    let weight = wants.len() as f64 / sample.len() as f64;
    let price = prices(supply, &sample, weight).price;
    let least = |run: &std::ops::Range<usize>| {
        price[run.clone()].iter().copied().fold(f64::INFINITY, f64::min)
    };
    let worth = |(own, favour): &(Wants, f64)| favour - own.iter().map(least).sum::<f64>();
    // Between the two the order of worth decides.
    wants.iter().map(|w| 0.5 + worth(w)).collect()
}

/// What building a block counts in a class's linear programme: one engine, a little more if its
/// rank is high, or if it is hard to serve (other classes will find easier ones).
fn favour(rack: &Rack<'_>, relaxed: &Relaxed, block: usize) -> f64 {
    let hard = -relaxed.worth[block].clamp(-2.0, 1.0);
    1.0 + RANK_FAVOUR * f64::from(rack.rank(block).clamp(-99, 99)) + HARD_FAVOUR * hard
}

impl Class {
    fn new(rack: &Rack<'_>, pistons: Vec<usize>) -> Self {
        let mut before = vec![0_u32; rack.mass.len() + 1];
        for &p in &pistons {
            before[p + 1] = 1;
        }
        for p in 0..rack.mass.len() {
            before[p + 1] += before[p];
        }
        let mut place = vec![0_u32; rack.bore.len()];
        let mut runs: Vec<(i32, i32)> = Vec::new();
        for &slot in &rack.by_bore {
            let run = &rack.run[slot];
            let own = (before[run.start].cast_signed(), before[run.end].cast_signed());
            if runs.last() != Some(&own) {
                runs.push(own);
            }
            place[slot] = u32::try_from(runs.len() - 1).expect("no more runs than slots");
        }
        let shelf = Shelf::new(&runs);
        Self { pistons, before, place, shelf, blocks: Vec::new() }
    }

    /// Serves nobody any more.
    fn clear(&mut self, rack: &Rack<'_>) {
        for block in std::mem::take(&mut self.blocks) {
            for slot in rack.slots(block) {
                self.shelf.remove(self.place[slot] as usize);
            }
        }
    }

    /// The run of its own pistons that a slot allows.
    fn own_run(&self, rack: &Rack<'_>, slot: usize) -> std::ops::Range<usize> {
        let run = &rack.run[slot];
        self.before[run.start] as usize..self.before[run.end] as usize
    }

    /// Takes a block if all its cylinders and those it serves can be served together.
    fn try_add(&mut self, rack: &Rack<'_>, block: usize) -> bool {
        let places: Vec<usize> = rack.slots(block).map(|s| self.place[s] as usize).collect();
        let fits = self.shelf.try_add(&places);
        if fits {
            self.blocks.push(block);
        }
        fits
    }

    /// Serves its blocks by the earliest fit: in order of bore, each slot the smallest unused
    /// piston it allows.
    fn lay(&self, rack: &Rack<'_>, trays: &mut Trays) {
        let mut slots: Vec<usize> = self.blocks.iter().flat_map(|&b| rack.slots(b)).collect();
        slots.sort_by_key(|&s| (rack.bore[s], s));
        let mut pistons = self.pistons.iter().copied();
        for slot in slots {
            let first = pistons.find(|&p| rack.run[slot].start <= p);
            trays.put(slot, first.expect("the shelf took only blocks that are all served"));
        }
        for &block in &self.blocks {
            trays.close(block);
        }
    }
}
