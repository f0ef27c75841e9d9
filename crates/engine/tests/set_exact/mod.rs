//! A small exact search: the most engines of a lot of up to 64 pistons, by trying every mass window
//! for every block.
//!
//! With a mass window chosen for each block that is built, the pistons each slot may take are known
//! and the blocks can all be built exactly if a bipartite matching serves every slot. Windows need
//! only begin at a piston's mass, since some piston is the lightest of its set.

use bedplate_engine::set::{Block, Piston, Rules};

/// Pistons that each slot of one block may take, for one mass window.
type Choice = Vec<u64>;

/// Which slot each piston serves, and which pistons each served slot may take.
#[derive(Clone, Default)]
struct Served {
    slot_of: Vec<Option<usize>>,
    allowed: Vec<u64>,
}

impl Served {
    /// Serves all slots of a choice besides those served, by augmenting paths.
    fn with(&self, choice: &Choice) -> Option<Self> {
        let mut next = self.clone();
        for &mask in choice {
            next.allowed.push(mask);
            if !next.augment(next.allowed.len() - 1, &mut 0) {
                return None;
            }
        }
        Some(next)
    }

    fn augment(&mut self, slot: usize, seen: &mut u64) -> bool {
        loop {
            let open = self.allowed[slot] & !*seen;
            if open == 0 {
                return false;
            }
            let piston = open.trailing_zeros() as usize;
            *seen |= 1 << piston;
            if self.slot_of[piston].is_none_or(|other| self.augment(other, seen)) {
                self.slot_of[piston] = Some(slot);
                return true;
            }
        }
    }
}

/// The most engines of a lot.
pub(crate) fn most_engines(blocks: &[Block], pistons: &[Piston], rules: &Rules) -> usize {
    assert!(pistons.len() <= 64);
    let mut choices: Vec<Vec<Choice>> =
        blocks.iter().map(|block| choices(block, pistons, rules)).collect();
    choices.retain(|c| !c.is_empty());
    choices.sort_by_key(Vec::len);
    let served = Served { slot_of: vec![None; pistons.len()], allowed: Vec::new() };
    let mut best = 0;
    search(&choices, &served, 0, &mut best);
    best
}

fn search(choices: &[Vec<Choice>], served: &Served, built: usize, best: &mut usize) {
    *best = (*best).max(built);
    let Some((first, rest)) = choices.split_first() else { return };
    if built + choices.len() <= *best {
        return;
    }
    for choice in first {
        if let Some(next) = served.with(choice) {
            search(rest, &next, built + 1, best);
        }
    }
    search(rest, served, built, best);
}

/// The choices of one block, without those that another one contains.
fn choices(block: &Block, pistons: &[Piston], rules: &Rules) -> Vec<Choice> {
    let begins_with = |lightest: &Piston| -> Choice {
        let mask = |bore: &bedplate_engine::set::size::Nanometre| {
            let may = |p: &Piston| {
                let clearance = *bore - p.diameter();
                let heavier = p.mass() - lightest.mass();
                rules.clearance_min() <= clearance
                    && clearance <= rules.clearance_max()
                    && 0 <= heavier.0
                    && heavier <= rules.mass_spread_max()
            };
            pistons.iter().enumerate().filter(|(_, p)| may(p)).fold(0, |m, (i, _)| m | 1 << i)
        };
        block.bores().iter().map(mask).collect()
    };
    let mut all: Vec<Choice> = pistons.iter().map(begins_with).collect();
    all.sort();
    all.dedup();
    let alone = Served { slot_of: vec![None; pistons.len()], allowed: Vec::new() };
    all.retain(|choice| alone.with(choice).is_some());
    let within = |a: &Choice, b: &Choice| a != b && a.iter().zip(b).all(|(x, y)| x & !y == 0);
    let kept = |c: &&Choice| !all.iter().any(|other| within(c, other));
    all.iter().filter(kept).cloned().collect()
}
