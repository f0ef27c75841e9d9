//! A store fit for tomorrow: of pistons that serve equally well, those are used of which the store
//! keeps most for the demand that is usual.
//!
//! The demand is taken to be that of this lot's bores: tomorrow's blocks come from the same line.
//! An exchange may cost no more than a thousandth of the mean loss of a place, so all of them
//! together no more than a thousandth of the loss.

use std::collections::BTreeMap;

use super::rack::Rack;
use super::tray::{NONE, Trays};

/// Share of the mean loss of a place that an exchange may cost.
const SHARE: f64 = 1e-3;
/// Classes of size in one width of the clearance window.
const CLASSES_IN_WINDOW: i64 = 12;
/// Spare pistons looked at on either side of one in use.
const NEIGHBOURS: usize = 8;

/// How many of each class of size are spare, and how many cylinders want that class.
struct Plenty {
    step: i64,
    spare: BTreeMap<i64, i64>,
    wanted: BTreeMap<i64, i64>,
}

impl Plenty {
    fn of(rack: &Rack<'_>, spare: &[usize]) -> Self {
        let width = rack.rules.clearance_max().0 - rack.rules.clearance_min().0;
        let step = (width / CLASSES_IN_WINDOW).max(1);
        let target = rack.rules.clearance_target().0;
        let mut plenty = Self { step, spare: BTreeMap::new(), wanted: BTreeMap::new() };
        for &p in spare {
            plenty.change(rack.diameter[p], 1);
        }
        for bore in &rack.bore {
            *plenty.wanted.entry((bore - target).div_euclid(step)).or_default() += 1;
        }
        plenty
    }

    fn change(&mut self, diameter: i64, by: i64) {
        *self.spare.entry(diameter.div_euclid(self.step)).or_default() += by;
    }

    /// Spare pistons about a size for each cylinder that wants it.
    fn at(&self, diameter: i64) -> f64 {
        let class = diameter.div_euclid(self.step);
        let about = |map: &BTreeMap<i64, i64>| -> i64 {
            map.range(class - 1..=class + 1).map(|(_, n)| *n).sum()
        };
        about(&self.spare) as f64 / (about(&self.wanted) + 1) as f64
    }
}

/// Exchanges pistons in use for spare ones of more plentiful sizes where that costs next to nothing.
pub(super) fn even_out(rack: &Rack<'_>, trays: &mut Trays) {
    let spare: Vec<usize> = (0..rack.mass.len()).filter(|&p| trays.slot_of[p] == NONE).collect();
    let places = rack.mass.len() - spare.len();
    if spare.is_empty() || places == 0 {
        return;
    }
    let mut plenty = Plenty::of(rack, &spare);
    let dear = SHARE * trays.loss(rack) / places as f64;
    for slot in 0..rack.bore.len() {
        let piston = trays.piston_in[slot];
        if piston == NONE {
            continue;
        }
        // Equal loss lies at the same distance on either side of the ideal size.
        let ideal = rack.bore[slot] - rack.rules.clearance_target().0;
        let now = plenty.at(rack.diameter[piston]);
        let mut best: Option<(f64, usize)> = None;
        for size in [rack.diameter[piston], 2 * ideal - rack.diameter[piston]] {
            let middle = spare.partition_point(|&p| rack.diameter[p] < size);
            let near = middle.saturating_sub(NEIGHBOURS)..(middle + NEIGHBOURS).min(spare.len());
            for at in near {
                let score = plenty.at(rack.diameter[spare[at]]);
                let free = trays.slot_of[spare[at]] == NONE;
                let better = free && score > now && best.is_none_or(|(most, _)| score > most);
                if better && cost(rack, trays, slot, spare[at]).is_some_and(|c| c <= dear) {
                    best = Some((score, at));
                }
            }
        }
        if let Some((_, at)) = best {
            let coming = spare[at];
            trays.take(slot);
            trays.put(slot, coming);
            plenty.change(rack.diameter[coming], -1);
            plenty.change(rack.diameter[piston], 1);
        }
    }
}

/// What it costs in loss to put `piston` into `slot` in place of what lies there; `None` if it may
/// not go there.
fn cost(rack: &Rack<'_>, trays: &Trays, slot: usize, piston: usize) -> Option<f64> {
    if !trays.may_take(rack, slot, piston) {
        return None;
    }
    let block = rack.block_of[slot];
    let now = trays.spread_with(rack, block, NONE, NONE);
    let next = trays.spread_with(rack, block, slot, piston);
    let places = rack.place_loss(slot, piston) - rack.place_loss(slot, trays.piston_in[slot]);
    Some(places + rack.spread_loss(next) - rack.spread_loss(now))
}
