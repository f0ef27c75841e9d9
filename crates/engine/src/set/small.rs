//! Small lots: a proof that no matching completes more engines, or a matching that does.
//!
//! A *set* is a block with one legal choice of pistons. With prices `λ_p ≥ 0` no matching completes
//! more engines than `Σ_p λ_p + Σ_b max(0, 1 − m_b)`, as in [`bound`](super::bound), but here `m_b`
//! is the price of the block's cheapest legal set, masses and all, and pistons kept apart. The
//! prices come from a linear programme over the sets known so far; each time the cheapest set of
//! every block is added, until none is worth it. Where the bound still lies above the best
//! matching, the lot is split in two: a block built or not, or a piston kept from a block or for
//! it; the bound is the larger of the two halves' bounds.
//!
//! All is counted in whole steps, and what is not finished when the work is used up counts with
//! the bound it has, so the result holds wherever it stops.

use super::bound::ENGINE;
use super::programme::Programme;
use super::rack::Rack;
use super::tray::Trays;

/// Largest lot that is tried.
const BLOCKS_MAX: usize = 60;
const PISTONS_MAX: usize = 600;
/// Most cylinders of its blocks.
const CYLINDERS_TRIED: usize = 8;
/// Looks at one piston for each move of the round that the proof is made in: a second's worth.
const LOOKS_A_MOVE: u64 = 20_000;
/// What a term of the linear programme takes, in looks.
const LOOKS_A_TERM: u64 = 1_000;
/// Partial sets looked at for one block in one window when its cheapest pistons collide.
const PARTS_MAX: u32 = 2_000;
/// Sets remembered before the unused ones are forgotten.
const CHOICES_KEPT: usize = 400;
/// Rounds of new sets for one half.
const ROUNDS_MAX: u32 = 60;

/// What is known at the end.
pub(super) struct Proof {
    /// No matching completes more engines.
    pub(super) bound: usize,
    /// A matching with more engines than the one given.
    pub(super) better: Option<Trays>,
}

/// One block with a legal choice of pistons, in order of bore.
#[derive(Debug, Clone, PartialEq)]
struct Choice {
    block: usize,
    pistons: Vec<usize>,
}

/// What is settled about a block in one part of the lot.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Fate {
    Open,
    Built,
    LeftOut,
}

/// One part of the lot: what was settled on the way to it.
#[derive(Debug, Clone)]
struct Part {
    fate: Vec<Fate>,
    /// Pairs of block and piston that must not meet.
    never: Vec<(usize, usize)>,
    bound: usize,
}

/// Proves the bound of a small lot as far as `moves` allow; `None` for a lot that is too large.
pub(super) fn prove(
    rack: &Rack<'_>,
    possible: &[bool],
    trays: &Trays,
    bound: usize,
    moves: u64,
) -> Option<Proof> {
    let few = rack.blocks.len() <= BLOCKS_MAX
        && rack.mass.len() <= PISTONS_MAX
        && (0..rack.blocks.len()).all(|b| rack.cylinders(b) <= CYLINDERS_TRIED);
    if !few || rack.any_wish() {
        return None;
    }
    let mut proof = Prover {
        rack,
        choices: known(rack, trays),
        best: trays.engines,
        better: None,
        left: moves.saturating_mul(LOOKS_A_MOVE),
    };
    let fate = possible.iter().map(|&ok| if ok { Fate::Open } else { Fate::LeftOut }).collect();
    let mut parts = vec![Part { fate, never: Vec::new(), bound }];
    let mut open = 0;
    // The part with the highest bound first: it is the one that holds the whole bound up. The next
    // one is settled beside it; always two, so that the number of cores changes nothing.
    while let Some(part) = highest(&mut parts) {
        if part.bound <= proof.best {
            break;
        }
        if proof.left == 0 {
            open = part.bound;
            break;
        }
        let next = highest(&mut parts).filter(|next| next.bound > proof.best);
        parts.extend(proof.settle_both(part, next));
    }
    let better = proof.better.map(|sets| laid(rack, &sets));
    Some(Proof { bound: open.max(proof.best), better })
}

/// Takes out the part with the highest bound.
fn highest(parts: &mut Vec<Part>) -> Option<Part> {
    let at = (0..parts.len()).max_by_key(|&i| (parts[i].bound, i))?;
    Some(parts.swap_remove(at))
}

/// The sets of a matching.
fn known(rack: &Rack<'_>, trays: &Trays) -> Vec<Choice> {
    let set = |b: usize| Choice {
        block: b,
        pistons: rack.rising_slots(b).iter().map(|&s| trays.piston_in[s]).collect(),
    };
    (0..rack.blocks.len()).filter(|&b| trays.filled[b]).map(set).collect()
}

fn laid(rack: &Rack<'_>, sets: &[Choice]) -> Trays {
    let mut trays = Trays::empty(rack);
    for set in sets {
        for (&slot, &piston) in rack.rising_slots(set.block).iter().zip(&set.pistons) {
            trays.put(slot, piston);
        }
        trays.close(set.block);
    }
    trays
}

#[derive(Clone)]
struct Prover<'r, 'a> {
    rack: &'r Rack<'a>,
    choices: Vec<Choice>,
    best: usize,
    better: Option<Vec<Choice>>,
    left: u64,
}

impl Part {
    fn allows(&self, choice: &Choice) -> bool {
        self.fate[choice.block] != Fate::LeftOut
            && choice.pistons.iter().all(|&p| !self.never.contains(&(choice.block, p)))
    }
}

impl Prover<'_, '_> {
    /// Settles one part or two side by side; returns what they are split into.
    fn settle_both(&mut self, part: Part, next: Option<Part>) -> Vec<Part> {
        let Some(next) = next else { return self.settle(part) };
        let before = self.left;
        let mut beside = self.clone();
        let (mut parts, more) = rayon::join(|| self.settle(part), || beside.settle(next));
        parts.extend(more);
        self.left = self.left.saturating_sub(before - beside.left);
        for choice in beside.choices {
            if !self.choices.contains(&choice) {
                self.choices.push(choice);
            }
        }
        if beside.best > self.best {
            (self.best, self.better) = (beside.best, beside.better);
        }
        parts
    }

    /// Bounds a part; returns the parts into which it is split if it may still hold more engines.
    fn settle(&mut self, mut part: Part) -> Vec<Part> {
        let mut usable: Vec<Choice> = Vec::new();
        let mut share: Vec<f64> = Vec::new();
        for _ in 0..ROUNDS_MAX {
            usable = self.choices.iter().filter(|c| part.allows(c)).cloned().collect();
            let Some((price, found)) = self.programme(&part, &usable) else { break };
            share = found;
            let (bound, new) = self.value(&part, &price);
            part.bound = part.bound.min(bound);
            if part.bound <= self.best || new.is_empty() || self.left == 0 {
                break;
            }
            self.choices.extend(new);
        }
        if part.bound <= self.best {
            return Vec::new();
        }
        self.round_up(&usable, &share);
        self.forget(&usable, &share);
        if part.bound <= self.best {
            return Vec::new();
        }
        split(&part, &usable, &share).unwrap_or_else(|| {
            // Decided everywhere and still not closed: only rounding can do that. Stop here.
            self.left = 0;
            vec![part]
        })
    }

    /// Prices of the pistons, in steps, and the share of each usable set.
    fn programme(&mut self, part: &Part, usable: &[Choice]) -> Option<(Vec<u64>, Vec<f64>)> {
        let pistons = self.rack.mass.len();
        let mut programme = Programme::default();
        let price: Vec<usize> = (0..pistons).map(|_| programme.positive(1.0)).collect();
        let unbuilt: Vec<usize> = part
            .fate
            .iter()
            .map(|fate| match fate {
                // A block that must be built gains even where that costs more than an engine.
                Fate::Built => programme.free(1.0),
                Fate::Open | Fate::LeftOut => programme.positive(1.0),
            })
            .collect();
        let rows: Vec<usize> = usable
            .iter()
            .map(|choice| {
                let mut terms = vec![(unbuilt[choice.block], -1.0)];
                terms.extend(choice.pistons.iter().map(|&p| (price[p], -1.0)));
                programme.row(&terms, -1.0)
            })
            .collect();
        // Forced blocks without a set yet would make the programme endless.
        for (&x, fate) in unbuilt.iter().zip(&part.fate) {
            if *fate == Fate::Built {
                programme.row(&[(x, -1.0)], pistons as f64);
            }
        }
        let terms = usable.iter().map(|c| c.pistons.len() as u64 + 1).sum::<u64>();
        self.left = self.left.saturating_sub(LOOKS_A_TERM * (terms + pistons as u64));
        let solved = programme.solve()?;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 64")]
        let steps = |&x: &usize| (solved.value[x].clamp(0.0, 64.0) * ENGINE as f64).round() as u64;
        let share = rows.iter().map(|&r| solved.price[r]).collect();
        Some((price.iter().map(steps).collect(), share))
    }

    /// The bound of a part at given prices, and the sets worth more than they cost.
    fn value(&mut self, part: &Part, price: &[u64]) -> (usize, Vec<Choice>) {
        let mut total: i128 = price.iter().map(|&p| i128::from(p)).sum();
        let mut new = Vec::new();
        for (b, fate) in part.fate.iter().enumerate() {
            if *fate == Fate::LeftOut {
                continue;
            }
            let (least, choice) = self.cheapest(part, b, price);
            let gain = i128::from(ENGINE) - i128::from(least);
            if *fate == Fate::Built {
                if least == u64::MAX {
                    return (0, Vec::new());
                }
                total += gain;
            } else {
                total += gain.max(0);
            }
            if let Some(choice) = choice
                && !self.choices.contains(&choice)
            {
                new.push(choice);
            }
        }
        let whole = total.max(0) / i128::from(ENGINE);
        (usize::try_from(whole).unwrap_or(usize::MAX), new)
    }

    /// The price of a block's cheapest legal set and that set; `u64::MAX` if it has none.
    fn cheapest(&mut self, part: &Part, block: usize, price: &[u64]) -> (u64, Option<Choice>) {
        let rack = self.rack;
        let slots = rack.rising_slots(block);
        let wanted = rack.run[slots[0]].start..rack.run[slots[slots.len() - 1]].end;
        let may = |p: &usize| wanted.contains(p) && !part.never.contains(&(block, *p));
        let own: Vec<usize> = rack.by_mass.iter().copied().filter(may).collect();
        let (mut least, mut best) = (u64::MAX, None);
        let mut end = 0;
        for (begin, &lightest) in own.iter().enumerate() {
            while end < own.len() && rack.mass[own[end]] - rack.mass[lightest] <= rack.spread_max()
            {
                end += 1;
            }
            let window = &own[begin..end];
            self.left = self.left.saturating_sub((window.len() * slots.len()) as u64);
            let Some((sum, distinct)) = cheapest_in(rack, slots, window, price, least) else {
                continue;
            };
            least = sum;
            best = distinct.map(|pistons| Choice { block, pistons });
        }
        (least, best)
    }

    /// Forgets the sets of this part that nothing was built of; they are found again if wanted.
    fn forget(&mut self, usable: &[Choice], share: &[f64]) {
        if self.choices.len() <= CHOICES_KEPT {
            return;
        }
        let idle = |(choice, x): (&Choice, &f64)| (*x < 1e-6).then(|| choice.clone());
        let unused: Vec<Choice> = usable.iter().zip(share).filter_map(idle).collect();
        self.choices.retain(|c| !unused.contains(c));
    }

    /// Takes whole sets by falling share; keeps them if they are more engines than known.
    fn round_up(&mut self, usable: &[Choice], share: &[f64]) {
        let mut order: Vec<usize> = (0..share.len()).collect();
        order.sort_by(|&a, &b| share[b].total_cmp(&share[a]).then(a.cmp(&b)));
        let mut used = vec![false; self.rack.mass.len()];
        let mut built = vec![false; self.rack.blocks.len()];
        let mut sets = Vec::new();
        for choice in order.into_iter().map(|i| &usable[i]) {
            if !built[choice.block] && choice.pistons.iter().all(|&p| !used[p]) {
                built[choice.block] = true;
                choice.pistons.iter().for_each(|&p| used[p] = true);
                sets.push(choice.clone());
            }
        }
        if sets.len() > self.best {
            self.best = sets.len();
            self.better = Some(sets);
        }
    }
}

/// The cheapest set from one window, if it is cheaper than `least`: its price, and its pistons.
/// Without pistons the price is only a lower bound.
fn cheapest_in(
    rack: &Rack<'_>,
    slots: &[usize],
    window: &[usize],
    price: &[u64],
    least: u64,
) -> Option<(u64, Option<Vec<usize>>)> {
    // As many of the cheapest as there are cylinders are enough for each: the others take one
    // fewer.
    let cheapest = |&slot: &usize| {
        let mut own: Vec<(u64, usize)> = Vec::with_capacity(slots.len() + 1);
        for &p in window.iter().filter(|&&p| rack.run[slot].contains(&p)) {
            let at = own.partition_point(|&other| other < (price[p], p));
            if at < slots.len() {
                own.insert(at, (price[p], p));
                own.truncate(slots.len());
            }
        }
        own
    };
    let mut lists = Vec::with_capacity(slots.len());
    let mut floor = 0_u64;
    for slot in slots {
        let own = cheapest(slot);
        floor = floor.saturating_add(own.first()?.0);
        if floor >= least {
            return None;
        }
        lists.push(own);
    }
    let mut state =
        Parts { lists: &lists, taken: Vec::new(), best: (least, None), left: PARTS_MAX };
    state.extend(0);
    if state.left == 0 {
        return Some((floor, None));
    }
    state.best.1.is_some().then_some(state.best)
}

/// A walk through the sets that can be made of short lists.
struct Parts<'l> {
    lists: &'l [Vec<(u64, usize)>],
    taken: Vec<usize>,
    best: (u64, Option<Vec<usize>>),
    left: u32,
}

impl Parts<'_> {
    fn extend(&mut self, sum: u64) {
        let Some(list) = self.lists.get(self.taken.len()) else {
            self.best = (sum, Some(self.taken.clone()));
            return;
        };
        for &(price, piston) in list {
            if self.left == 0 || sum.saturating_add(price) >= self.best.0 {
                return;
            }
            if !self.taken.contains(&piston) {
                self.left -= 1;
                self.taken.push(piston);
                self.extend(sum + price);
                self.taken.pop();
            }
        }
    }
}

/// Splits a part where its programme is least decided; `None` if it is decided everywhere.
fn split(part: &Part, usable: &[Choice], share: &[f64]) -> Option<Vec<Part>> {
    let undecided = |x: f64| (x - x.round()).abs();
    let mut built = vec![0.0; part.fate.len()];
    let mut meets: std::collections::BTreeMap<(usize, usize), f64> = Default::default();
    for (choice, &x) in usable.iter().zip(share) {
        built[choice.block] += x;
        for &p in &choice.pistons {
            *meets.entry((choice.block, p)).or_default() += x;
        }
    }
    let block = (0..built.len())
        .filter(|&b| part.fate[b] == Fate::Open && undecided(built[b]) > 1e-3)
        .max_by(|&a, &b| undecided(built[a]).total_cmp(&undecided(built[b])));
    if let Some(b) = block {
        let with = |fate: Fate| {
            let mut next = part.clone();
            next.fate[b] = fate;
            next
        };
        return Some(vec![with(Fate::LeftOut), with(Fate::Built)]);
    }
    let most = meets.into_iter().max_by(|a, b| undecided(a.1).total_cmp(&undecided(b.1)));
    let ((block, piston), x) = most?;
    if undecided(x) < 1e-3 {
        return None;
    }
    let mut kept_from = part.clone();
    kept_from.never.push((block, piston));
    let mut kept_for = part.clone();
    let others = (0..part.fate.len()).filter(|&b| b != block).map(|b| (b, piston));
    kept_for.never.extend(others);
    Some(vec![kept_from, kept_for])
}
