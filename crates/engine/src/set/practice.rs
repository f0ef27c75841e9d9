//! Usual ways of choosing sets without looking at the whole lot, to compare with.
//!
//! Grade bins are what is done where a shop only sorts into classes. First-in-first-out among
//! pistons that really fit is what a patient fitter with every reading at hand would do; a gain
//! should be stated against that one. Best-fit-now is what a careful program does that looks at
//! one block at a time: it spends the common pistons first, and pays for that later.

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

/// Takes the blocks in the order given; for each, the set of least loss that can be made now.
///
/// # Formula
/// Mass windows as wide as the allowed spread, begun at each eighth of it; in a window each
/// cylinder, in order of bore, takes the piston nearest to its target; the window of least
/// `Σ_c ((D_c − d_c − t)/h)² + (m_max − m_min)/w` is taken.
/// # Given
/// Blocks in order of arrival, the whole store of pistons, and the rules.
/// # Returns
/// The complete engines, by id of the block.
/// # Errors
/// [`SetError`] for no pieces at all or one id twice.
/// # Validity
/// Keeps every rule. Greedy twice over: block by block, and cylinder by cylinder.
/// # Source
/// Common practice, no source.
pub fn best_fit_now(
    blocks: &[Block],
    pistons: &[Piston],
    rules: &Rules,
) -> Result<Vec<Set>, SetError> {
    let rack = Rack::lay(blocks, pistons, rules)?;
    let arrival = Arrival::of(&rack, blocks, pistons);
    Ok(sets(&rack, &best_fits(&rack, &arrival)))
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
    let mut place = vec![0; rack.mass.len()];
    for (i, &p) in arrival.pistons.iter().enumerate() {
        place[p] = i;
    }
    let mut by_class: BTreeMap<i64, Vec<usize>> = BTreeMap::new();
    for p in 0..rack.mass.len() {
        by_class.entry(mass_class(rack, p)).or_default().push(p);
    }
    let mut classes: Vec<Line> =
        by_class.into_values().map(|pistons| Line::of(pistons, &place)).collect();
    let mut trays = Trays::empty(rack);
    for &block in &arrival.blocks {
        // Stable, so that equal classes keep their order of mass.
        classes.sort_by_key(|class| std::cmp::Reverse(class.waiting));
        let cylinders = rack.cylinders(block);
        let enough = classes.partition_point(|class| cylinders <= class.waiting);
        classes[..enough].iter_mut().any(|class| take_first_fits(rack, class, block, &mut trays));
    }
    trays
}

/// Pistons of one class that wait in line: a tree over their diameters, each node holding the first
/// to arrive below it.
struct Line {
    /// In order of diameter.
    pistons: Vec<usize>,
    /// Place in order of arrival and place in `pistons`; [`Line::GONE`] where one has left.
    first: Vec<(usize, usize)>,
    waiting: usize,
}

impl Line {
    const GONE: (usize, usize) = (usize::MAX, usize::MAX);

    fn of(pistons: Vec<usize>, place: &[usize]) -> Self {
        let n = pistons.len();
        let mut first = vec![Self::GONE; 2 * n];
        for (i, &p) in pistons.iter().enumerate() {
            first[n + i] = (place[p], i);
        }
        for at in (1..n).rev() {
            first[at] = first[2 * at].min(first[2 * at + 1]);
        }
        Self { pistons, first, waiting: n }
    }

    fn set(&mut self, at: usize, value: (usize, usize)) {
        let mut node = self.pistons.len() + at;
        self.first[node] = value;
        while node > 1 {
            node /= 2;
            self.first[node] = self.first[2 * node].min(self.first[2 * node + 1]);
        }
    }

    /// The first to arrive of a run of the rack's pistons, taken out of the line.
    fn take_first(&mut self, run: &std::ops::Range<usize>) -> Option<(usize, usize)> {
        let n = self.pistons.len();
        let mut left = n + self.pistons.partition_point(|&p| p < run.start);
        let mut right = n + self.pistons.partition_point(|&p| p < run.end);
        let mut first = Self::GONE;
        while left < right {
            if left % 2 == 1 {
                first = first.min(self.first[left]);
                left += 1;
            }
            if right % 2 == 1 {
                right -= 1;
                first = first.min(self.first[right]);
            }
            (left, right) = (left / 2, right / 2);
        }
        if first == Self::GONE {
            return None;
        }
        self.set(first.1, Self::GONE);
        self.waiting -= 1;
        Some(first)
    }

    fn put_back(&mut self, first: (usize, usize)) {
        self.set(first.1, first);
        self.waiting += 1;
    }
}

/// Fills a block from one class, first fit for each cylinder; leaves all as it was if one has none.
fn take_first_fits(rack: &Rack<'_>, class: &mut Line, block: usize, trays: &mut Trays) -> bool {
    let mut chosen: Vec<(usize, usize)> = Vec::new();
    let mut passed_over: Vec<(usize, usize)> = Vec::new();
    for slot in rack.slots(block) {
        let found = loop {
            let Some(first) = class.take_first(&rack.run[slot]) else { break None };
            let piston = class.pistons[first.1];
            let apart = |&(_, at): &(usize, usize)| rack.apart(piston, class.pistons[at]);
            if rack.allows(slot, piston) && !chosen.iter().any(apart) {
                break Some(first);
            }
            passed_over.push(first);
        };
        // Passed over for one cylinder is not passed over for the next.
        passed_over.drain(..).for_each(|first| class.put_back(first));
        let Some(first) = found else {
            chosen.into_iter().for_each(|first| class.put_back(first));
            return false;
        };
        chosen.push(first);
    }
    for (slot, (_, at)) in rack.slots(block).zip(chosen) {
        trays.put(slot, class.pistons[at]);
    }
    trays.close(block);
    true
}

fn best_fits(rack: &Rack<'_>, arrival: &Arrival) -> Trays {
    let mut trays = Trays::empty(rack);
    // Spare pistons by step of mass, each in order of diameter.
    let mut spare: Vec<Vec<usize>> = vec![Vec::new(); rack.mass_scale.steps.len()];
    for p in 0..rack.mass.len() {
        spare[rack.mass_scale.step_of[p]].push(p);
    }
    for &block in &arrival.blocks {
        let windows = 0..spare.len();
        let set = windows.filter_map(|begin| best_in_window(rack, &spare, block, begin));
        let Some((_, set)) = set.min_by(|a, b| a.0.total_cmp(&b.0)) else { continue };
        for (&slot, piston) in rack.rising_slots(block).iter().zip(set) {
            trays.put(slot, piston);
            spare[rack.mass_scale.step_of[piston]].retain(|&p| p != piston);
        }
        trays.close(block);
    }
    trays
}

/// The set that a block gets from the mass window begun at step `begin`: in order of bore, each
/// cylinder the spare piston nearest to its target.
fn best_in_window(
    rack: &Rack<'_>,
    spare: &[Vec<usize>],
    block: usize,
    begin: usize,
) -> Option<(f64, Vec<usize>)> {
    let window = &spare[begin..rack.mass_scale.window_end[begin].max(begin + 1)];
    let mut set: Vec<usize> = Vec::new();
    let mut loss = 0.0;
    for &slot in rack.rising_slots(block) {
        let ideal = rack.bore[slot] - rack.rules.clearance_target().0;
        let nearest = |step: &Vec<usize>| {
            let at = step.partition_point(|&p| rack.diameter[p] < ideal);
            let free = |p: &&usize| !set.contains(p);
            let below = step[..at].iter().rev().find(free).copied();
            below.into_iter().chain(step[at..].iter().find(free).copied()).collect::<Vec<_>>()
        };
        let off = |p: &usize| ((rack.diameter[*p] - ideal).abs(), *p);
        let piston = window.iter().flat_map(nearest).min_by_key(off)?;
        if !rack.allows(slot, piston) {
            return None;
        }
        loss += rack.place_loss(slot, piston);
        set.push(piston);
    }
    let masses = || set.iter().map(|&p| rack.mass[p]);
    let spread = masses().max()? - masses().min()?;
    (spread <= rack.spread_max()).then(|| (loss + rack.spread_loss(spread), set))
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
