//! The two usual ways of choosing sets by hand, to compare with.
//!
//! Grade bins are what is done where a shop only sorts into classes. First-in-first-out among
//! pistons that really fit is what a patient fitter with every reading at hand would do; a gain
//! should be stated against that one.

use std::collections::{BTreeMap, HashMap, VecDeque};

use super::rack::Rack;
use super::tray::Trays;
use super::{Block, Piston, Rules, Set, SetError, sets};

/// Takes the blocks in the order given; for each, the mass classes with the most pistons left
/// first; in a class, for each cylinder the first piston in the order given that really fits.
///
/// # Formula
/// Mass classes as wide as the allowed spread, from the lightest piston on; clearance checked
/// piece by piece.
/// # Given
/// Blocks and pistons in order of arrival, and the rules.
/// # Returns
/// The complete engines, by id of the block.
/// # Errors
/// [`SetError`] for no pieces at all or one id twice.
/// # Validity
/// Keeps every rule. Makes no attempt at many engines or little loss.
/// # Source
/// Common practice, no source.
pub fn first_in_first_out(
    blocks: &[Block],
    pistons: &[Piston],
    rules: &Rules,
) -> Result<Vec<Set>, SetError> {
    let rack = Rack::lay(blocks, pistons, rules)?;
    let arrival = Arrival::of(&rack, blocks, pistons);
    Ok(sets(&rack, &fifo(&rack, &arrival)))
}

/// Sorts bores and pistons into grades and masses into classes, and joins pieces of one grade and
/// class only, blocks in the order given.
///
/// # Formula
/// Grade step `s = min(t − c_min, c_max − t)`; the bore grade begins at the smallest bore, the
/// piston grade lies one target clearance below, so that a pair of one grade has a clearance
/// within `t ± s`. Mass classes as wide as the allowed spread.
/// # Given
/// Blocks and pistons in order of arrival, and the rules.
/// # Returns
/// The complete engines, by id of the block.
/// # Errors
/// [`SetError`] for no pieces at all or one id twice.
/// # Validity
/// Keeps every rule. A target on a limit leaves no grade but the exact size.
/// # Source
/// Common practice, no source.
pub fn grade_bins(
    blocks: &[Block],
    pistons: &[Piston],
    rules: &Rules,
) -> Result<Vec<Set>, SetError> {
    let rack = Rack::lay(blocks, pistons, rules)?;
    let arrival = Arrival::of(&rack, blocks, pistons);
    Ok(sets(&rack, &bins(&rack, &arrival)))
}

/// Blocks and pistons of a rack in order of arrival.
struct Arrival {
    blocks: Vec<usize>,
    pistons: Vec<usize>,
}

impl Arrival {
    fn of(rack: &Rack<'_>, blocks: &[Block], pistons: &[Piston]) -> Self {
        let block_at: HashMap<&str, usize> =
            rack.blocks.iter().enumerate().map(|(i, b)| (b.id(), i)).collect();
        let piston_at: HashMap<&str, usize> =
            rack.pistons.iter().enumerate().map(|(i, p)| (p.id(), i)).collect();
        Self {
            blocks: blocks.iter().map(|b| block_at[b.id()]).collect(),
            pistons: pistons.iter().map(|p| piston_at[p.id()]).collect(),
        }
    }
}

/// First-in-first-out with the pieces in order of id.
pub(super) fn fifo_by_id(rack: &Rack<'_>) -> Trays {
    let mut pistons: Vec<usize> = (0..rack.pistons.len()).collect();
    pistons.sort_by_key(|&p| rack.pistons[p].id());
    fifo(rack, &Arrival { blocks: (0..rack.blocks.len()).collect(), pistons })
}

/// Class of mass of a piston, counted from the lightest.
fn mass_class(rack: &Rack<'_>, piston: usize) -> i64 {
    let lightest = rack.mass[rack.by_mass[0]];
    (rack.mass[piston] - lightest) / (rack.spread_max() + 1)
}

fn fifo(rack: &Rack<'_>, arrival: &Arrival) -> Trays {
    let mut by_class: BTreeMap<i64, Vec<usize>> = BTreeMap::new();
    for &p in &arrival.pistons {
        by_class.entry(mass_class(rack, p)).or_default().push(p);
    }
    let mut classes: Vec<Vec<usize>> = by_class.into_values().collect();
    let mut trays = Trays::empty(rack);
    for &block in &arrival.blocks {
        // Stable, so that equal classes keep their order of mass.
        classes.sort_by_key(|class| std::cmp::Reverse(class.len()));
        let cylinders = rack.cylinders(block);
        let enough = classes.partition_point(|class| cylinders <= class.len());
        classes[..enough].iter_mut().any(|class| take_first_fits(rack, class, block, &mut trays));
    }
    trays
}

/// Fills a block from one class, first fit for each cylinder; leaves all as it was if one has none.
fn take_first_fits(
    rack: &Rack<'_>,
    class: &mut Vec<usize>,
    block: usize,
    trays: &mut Trays,
) -> bool {
    let mut chosen: Vec<usize> = Vec::new();
    for slot in rack.slots(block) {
        let first = class.iter().find(|&&p| rack.allows(slot, p) && !chosen.contains(&p));
        let Some(&piston) = first else { return false };
        chosen.push(piston);
    }
    class.retain(|p| !chosen.contains(p));
    for (slot, piston) in rack.slots(block).zip(chosen) {
        trays.put(slot, piston);
    }
    trays.close(block);
    true
}

fn bins(rack: &Rack<'_>, arrival: &Arrival) -> Trays {
    let (target, base) = (rack.rules.clearance_target().0, rack.bore[rack.by_bore[0]]);
    let (below, above) =
        (target - rack.rules.clearance_min().0, rack.rules.clearance_max().0 - target);
    // A step of one nanometre holds one size only, which is then the target exactly.
    let step = below.min(above).max(1);
    let mut bins: BTreeMap<i64, BTreeMap<i64, VecDeque<usize>>> = BTreeMap::new();
    for &p in &arrival.pistons {
        let grade = (rack.diameter[p] - (base - target)).div_euclid(step);
        let class = bins.entry(mass_class(rack, p)).or_default();
        class.entry(grade).or_default().push_back(p);
    }
    let mut classes: Vec<BTreeMap<i64, VecDeque<usize>>> = bins.into_values().collect();
    let mut trays = Trays::empty(rack);
    for &block in &arrival.blocks {
        let grades: Vec<i64> =
            rack.slots(block).map(|slot| (rack.bore[slot] - base).div_euclid(step)).collect();
        let enough = |class: &&mut BTreeMap<i64, VecDeque<usize>>| {
            grades.iter().all(|g| {
                let wanted = grades.iter().filter(|other| *other == g).count();
                class.get(g).is_some_and(|bin| bin.len() >= wanted)
            })
        };
        if let Some(class) = classes.iter_mut().find(enough) {
            for (slot, grade) in rack.slots(block).zip(&grades) {
                let bin = class.get_mut(grade).and_then(VecDeque::pop_front);
                trays.put(slot, bin.expect("the bin was counted"));
            }
            trays.close(block);
        }
    }
    trays
}
