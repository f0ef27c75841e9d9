//! The usual ways of choosing by hand, for the store on the track.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use super::super::Block;
use super::store::Store;

/// Held pistons by class of mass as wide as the allowed spread, the oldest first in each.
fn classes(store: &Store) -> Vec<Vec<usize>> {
    let step = store.rules().mass_spread_max().0 + 1;
    let mut order: Vec<usize> = (0..store.len()).collect();
    order.sort_by_key(|&i| store.held()[i].arrival);
    let mut by_class: BTreeMap<i64, Vec<usize>> = BTreeMap::new();
    for i in order {
        let class = store.held()[i].piston.mass().0.div_euclid(step);
        by_class.entry(class).or_default().push(i);
    }
    by_class.into_values().collect()
}

/// The fullest class first; in it, for each cylinder the oldest piston that fits.
pub(super) fn first_in_first_out(store: &Store, block: &Block) -> Option<Vec<usize>> {
    let mut classes = classes(store);
    // Stable, so that equal classes keep their order of mass.
    classes.sort_by_key(|class| Reverse(class.len()));
    let runs: Vec<_> = block.bores().iter().map(|&bore| store.fitting(bore)).collect();
    classes.iter().find_map(|class| {
        let mut chosen: Vec<usize> = Vec::with_capacity(runs.len());
        for run in &runs {
            let first = class.iter().find(|i| run.contains(i) && !chosen.contains(i))?;
            chosen.push(*first);
        }
        Some(chosen)
    })
}

/// Pieces of one grade and one class of mass only; the grade step is the smaller distance from the
/// target to a limit.
pub(super) fn grade_bins(store: &Store, block: &Block) -> Option<Vec<usize>> {
    let rules = store.rules();
    let target = rules.clearance_target().0;
    let (below, above) = (target - rules.clearance_min().0, rules.clearance_max().0 - target);
    // A step of one nanometre holds one size only, which is then the target exactly.
    let step = below.min(above).max(1);
    let grade = |i: usize| (store.held()[i].piston.diameter().0 + target).div_euclid(step);
    classes(store).iter().find_map(|class| {
        let mut chosen: Vec<usize> = Vec::with_capacity(block.bores().len());
        for bore in block.bores() {
            let wanted = bore.0.div_euclid(step);
            let first = class.iter().find(|&&i| grade(i) == wanted && !chosen.contains(&i))?;
            chosen.push(*first);
        }
        Some(chosen)
    })
}
