//! Completing a block by a chain of exchanges: a spare piston takes the place of another, which
//! takes the place of a third, until one comes free that the block wants.

use super::exchange::Strips;
use super::rack::Rack;
use super::tray::{NONE, Trays};
use crate::draw::Draw;

/// Longest chain.
const DEPTH: u8 = 6;
/// Longest chain drawn by chance.
const DEPTH_FAR: u8 = 9;
/// Mass windows tried for one block.
const WINDOWS: usize = 10;
/// Pistons tried for one slot in one window.
const CHOICES: usize = 12;

/// Which pistons can be set free: `successor` would take the place of each, and at the end of its
/// chain the spare piston `root` comes into use.
struct Reach {
    successor: Vec<usize>,
    root: Vec<usize>,
    depth: Vec<u8>,
}

impl Reach {
    /// Exchanges needed to set `piston` free; [`FAR`] if it cannot be, or not any more because its
    /// root has been used since.
    fn exchanges(&self, trays: &Trays, piston: usize) -> u8 {
        let root = self.root[piston];
        if root == NONE || trays.slot_of[root] != NONE { FAR } else { self.depth[piston] }
    }
}

const FAR: u8 = u8::MAX;
/// Cost of a slot that no piston can be had for; above the sum of any real costs.
const HOPELESS: u32 = 1_000_000;

/// How much is tried.
#[derive(Debug, Clone, Copy)]
pub(super) struct Effort {
    /// Idle blocks tried in one pass, drawn by chance.
    pub(super) tries: usize,
    /// Passes at most; each pass but the last completes at least one block.
    pub(super) passes: usize,
}

/// Pistons that each one tries to set free, where there are too many to look at all.
const CLAIMS: usize = 8;
/// Pistons at the end of one chain tried for one slot in one window.
const SAME_ROOT: usize = 4;
/// Places tried for one block in one window before it is given up.
const PLACES: u32 = 160;

/// Tries a few idle blocks on a large rack, with long chains drawn by chance. Worth while when the
/// trays are settled: masses and clearances drawn together leave room for exchanges.
pub(super) fn complete_far(
    rack: &Rack<'_>,
    strips: &Strips,
    trays: &mut Trays,
    passes: usize,
    draw: &mut Draw,
) {
    for _ in 0..passes {
        let idle = in_turn(rack, trays, draw);
        if idle.is_empty() {
            return;
        }
        let reach = reach_far(rack, strips, trays, draw);
        for block in idle {
            complete_block(rack, trays, &reach, block, &mut 0);
        }
    }
}

/// Idle blocks that some piston fits everywhere: those of the highest rank first, else by chance.
fn in_turn(rack: &Rack<'_>, trays: &Trays, draw: &mut Draw) -> Vec<usize> {
    let mut idle = trays.idle();
    idle.retain(|&b| rack.slots(b).all(|slot| !rack.run[slot].is_empty()));
    draw.shuffle(&mut idle);
    idle.sort_by_key(|&b| std::cmp::Reverse(rack.rank(b)));
    idle
}

/// Tries to complete one idle block.
pub(super) fn complete_one(rack: &Rack<'_>, trays: &mut Trays, block: usize, draw: &mut Draw) {
    let reach = reach(rack, trays, draw, &mut 0);
    complete_block(rack, trays, &reach, block, &mut 0);
}

/// Spreads out from the spare pistons by draws of chance.
fn reach_far(rack: &Rack<'_>, strips: &Strips, trays: &Trays, draw: &mut Draw) -> Reach {
    let n = rack.mass.len();
    let mut reach = Reach { successor: vec![NONE; n], root: vec![NONE; n], depth: vec![FAR; n] };
    let mut layer: Vec<usize> = (0..n).filter(|&p| trays.slot_of[p] == NONE).collect();
    for &p in &layer {
        (reach.root[p], reach.depth[p]) = (p, 0);
    }
    for depth in 1..=DEPTH_FAR {
        draw.shuffle(&mut layer);
        let mut next_layer = Vec::new();
        for _ in 0..CLAIMS {
            for &q in &layer {
                let p = strips.exchangeable(rack, q, draw);
                let slot = trays.slot_of[p];
                let open = slot != NONE && reach.depth[p] == FAR && trays.may_take(rack, slot, q);
                if open {
                    (reach.successor[p], reach.root[p]) = (q, reach.root[q]);
                    reach.depth[p] = depth;
                    next_layer.push(p);
                }
            }
        }
        layer = next_layer;
    }
    reach
}

/// Completes idle blocks until no chain completes another. `work` counts what was looked at, in
/// units of one exchange.
pub(super) fn complete(
    rack: &Rack<'_>,
    trays: &mut Trays,
    effort: Effort,
    draw: &mut Draw,
    work: &mut u64,
) {
    for _ in 0..effort.passes {
        let idle = in_turn(rack, trays, draw);
        if idle.is_empty() {
            return;
        }
        let reach = reach(rack, trays, draw, work);
        let before = trays.engines;
        for block in idle.into_iter().take(effort.tries) {
            complete_block(rack, trays, &reach, block, work);
        }
        if trays.engines == before {
            return;
        }
    }
}

/// Spreads out from the spare pistons, nearest first.
fn reach(rack: &Rack<'_>, trays: &Trays, draw: &mut Draw, work: &mut u64) -> Reach {
    let n = rack.mass.len();
    let mut reach = Reach { successor: vec![NONE; n], root: vec![NONE; n], depth: vec![FAR; n] };
    let mut layer: Vec<usize> = (0..n).filter(|&p| trays.slot_of[p] == NONE).collect();
    draw.shuffle(&mut layer);
    for &p in &layer {
        (reach.root[p], reach.depth[p]) = (p, 0);
    }
    let mut ahead = Ahead::new(rack, trays);
    for depth in 1..=DEPTH {
        let mut next_layer = Vec::new();
        // Each claims one piston in its turn: if the first took all it can, every chain would end
        // at the same few spare pistons, and only the first of them could be made.
        let mut turn: Vec<(usize, usize)> =
            layer.into_iter().map(|q| (q, rack.allowed_by[q].start)).collect();
        while !turn.is_empty() {
            turn.retain_mut(|(q, at)| {
                loop {
                    *at = ahead.next(*at);
                    if *at >= rack.allowed_by[*q].end {
                        break false;
                    }
                    *work += 1;
                    let slot = rack.by_bore[*at];
                    if trays.may_take(rack, slot, *q) {
                        let p = trays.piston_in[slot];
                        (reach.successor[p], reach.root[p]) = (*q, reach.root[*q]);
                        reach.depth[p] = depth;
                        next_layer.push(p);
                        ahead.strike(*at);
                        break true;
                    }
                    *at += 1;
                }
            });
        }
        layer = next_layer;
    }
    reach
}

/// Slots in order of bore that still hold an unreached piston; struck ones are skipped over.
struct Ahead(Vec<usize>);

impl Ahead {
    fn new(rack: &Rack<'_>, trays: &Trays) -> Self {
        let n = rack.by_bore.len();
        let mut ahead = Self((0..=n).collect());
        for at in 0..n {
            if trays.piston_in[rack.by_bore[at]] == NONE {
                ahead.strike(at);
            }
        }
        ahead
    }

    fn strike(&mut self, at: usize) {
        self.0[at] = at + 1;
    }

    /// The first place from `at` on that is not struck; the length if there is none.
    fn next(&mut self, mut at: usize) -> usize {
        while self.0[at] != at {
            let further = self.0[self.0[at]];
            self.0[at] = further;
            at = further;
        }
        at
    }
}

/// Tries to complete one idle block.
fn complete_block(
    rack: &Rack<'_>,
    trays: &mut Trays,
    reach: &Reach,
    block: usize,
    work: &mut u64,
) -> bool {
    for lightest in windows(rack, trays, reach, block, work) {
        if complete_in(rack, trays, reach, block, lightest, work) {
            return true;
        }
    }
    false
}

/// The most promising lower ends of the mass window: those in which the nearest pistons for all
/// slots need the fewest exchanges in all.
fn windows(
    rack: &Rack<'_>,
    trays: &Trays,
    reach: &Reach,
    block: usize,
    work: &mut u64,
) -> Vec<i64> {
    let scale = &rack.mass_scale;
    let mut cost = vec![0_u32; scale.steps.len()];
    let mut nearest = vec![FAR; scale.steps.len()];
    for slot in rack.slots(block) {
        *work += (rack.run[slot].len() + scale.steps.len()) as u64 / 16;
        nearest.fill(FAR);
        for p in rack.run[slot].clone() {
            let depth = &mut nearest[scale.step_of[p]];
            *depth = (*depth).min(reach.exchanges(trays, p));
        }
        for (begin, (total, end)) in cost.iter_mut().zip(&scale.window_end).enumerate() {
            let least = nearest[begin..*end].iter().copied().min().unwrap_or(FAR);
            *total += if least == FAR { HOPELESS } else { u32::from(least) };
        }
    }
    let mut found: Vec<(u32, usize)> =
        cost.into_iter().zip(0..).filter(|&(total, _)| total < HOPELESS).collect();
    found.sort_unstable();
    found.into_iter().take(WINDOWS).map(|(_, begin)| scale.steps[begin]).collect()
}

/// Tries to complete a block with masses from `lightest` on; undoes everything if it fails.
fn complete_in(
    rack: &Rack<'_>,
    trays: &mut Trays,
    reach: &Reach,
    block: usize,
    lightest: i64,
    work: &mut u64,
) -> bool {
    let heaviest = lightest + rack.spread_max();
    let target = rack.rules.clearance_target().0;
    let begin = rack.by_mass.partition_point(|&p| rack.mass[p] < lightest);
    let within = &rack.by_mass[begin..];
    let within = &within[..within.partition_point(|&p| rack.mass[p] <= heaviest)];
    let mut lists: Vec<(usize, Vec<usize>)> = Vec::new();
    for slot in rack.slots(block) {
        *work += within.len() as u64 / 16;
        let usable = |&p: &usize| reach.exchanges(trays, p) != FAR && rack.allows(slot, p);
        let list: Vec<usize> = within.iter().copied().filter(usable).collect();
        if list.is_empty() {
            return false;
        }
        lists.push((slot, list));
    }
    lists.sort_by_key(|(slot, list)| (list.len(), *slot));
    for (slot, list) in &mut lists {
        let ideal = rack.bore[*slot] - target;
        let key = |&p: &usize| (reach.depth[p], (rack.diameter[p] - ideal).abs(), p);
        // A few of each chain's end, so that the slots do not all wait for the same spare piston.
        if list.len() > 8 * CHOICES {
            list.select_nth_unstable_by_key(8 * CHOICES, key);
            list.truncate(8 * CHOICES);
        }
        list.sort_unstable_by_key(key);
        let mut roots: Vec<usize> = Vec::new();
        list.retain(|&p| {
            let root = reach.root[p];
            let same = roots.iter().filter(|&&r| r == root).count();
            let kept = same < SAME_ROOT && roots.len() < CHOICES;
            if kept {
                roots.push(root);
            }
            kept
        });
    }
    let mut tries = PLACES;
    let done = fill(rack, trays, reach, block, &lists, &mut tries);
    *work += u64::from(PLACES - tries);
    if done {
        trays.close(block);
    }
    done
}

/// Fills the listed slots of a block one after the other, going back on a choice that leaves a
/// later slot without; undoes everything if it fails.
fn fill(
    rack: &Rack<'_>,
    trays: &mut Trays,
    reach: &Reach,
    block: usize,
    lists: &[(usize, Vec<usize>)],
    tries: &mut u32,
) -> bool {
    let Some(((slot, list), rest)) = lists.split_first() else { return true };
    for &p in list {
        if *tries == 0 {
            return false;
        }
        *tries -= 1;
        let mut log = Vec::new();
        if !trays.has_apart(rack, block, *slot, p)
            && set_free(rack, trays, reach, (block, p), &mut log)
        {
            trays.put(*slot, p);
            log.push((*slot, NONE));
            if fill(rack, trays, reach, block, rest, tries) {
                return true;
            }
            undo(trays, &mut log, 0);
        }
    }
    false
}

/// Frees `piston` for `block` by its chain, begun at the spare end, every step tested. Undoes its
/// own steps if one is no longer allowed.
fn set_free(
    rack: &Rack<'_>,
    trays: &mut Trays,
    reach: &Reach,
    (block, piston): (usize, usize),
    log: &mut Vec<(usize, usize)>,
) -> bool {
    let mut chain = vec![piston];
    let mut last = piston;
    while reach.successor[last] != NONE && trays.slot_of[last] != NONE {
        last = reach.successor[last];
        chain.push(last);
    }
    let mark = log.len();
    if trays.slot_of[last] != NONE {
        return false;
    }
    for pair in chain.windows(2).rev() {
        let (leaving, coming) = (pair[0], pair[1]);
        let slot = trays.slot_of[leaving];
        let allowed = slot != NONE
            && rack.block_of[slot] != block
            && trays.slot_of[coming] == NONE
            && trays.may_take(rack, slot, coming);
        if !allowed {
            undo(trays, log, mark);
            return false;
        }
        log.push((slot, trays.take(slot)));
        trays.put(slot, coming);
    }
    true
}

/// Takes back the logged changes (slot, what lay there before) down to `mark`.
fn undo(trays: &mut Trays, log: &mut Vec<(usize, usize)>, mark: usize) {
    for (slot, before) in log.drain(mark..).rev() {
        trays.take(slot);
        if before != NONE {
            trays.put(slot, before);
        }
    }
}
