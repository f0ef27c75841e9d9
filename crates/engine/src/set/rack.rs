//! Blocks and pistons laid out on the rack: sorted, numbered, and for each cylinder the run of
//! pistons that its bore allows.
//!
//! Every clearance window is equally wide, so with the pistons in order of diameter a cylinder
//! allows one unbroken run of them, and both ends of that run rise with the bore. Everything else
//! in the search leans on this.

use std::ops::Range;
use std::sync::Arc;

use super::wishes::{Held, Wishes};
use super::{Block, Piston, Rules, SetError};

/// The rack: blocks by id, pistons by diameter (then mass, then id).
///
/// A *slot* is one cylinder of one block; the slots of a block follow each other.
#[derive(Debug)]
pub(super) struct Rack<'a> {
    pub(super) blocks: Vec<&'a Block>,
    pub(super) pistons: Vec<&'a Piston>,
    pub(super) rules: &'a Rules,
    /// First slot of each block, and one past the last.
    pub(super) first_slot: Vec<usize>,
    /// Block of each slot.
    pub(super) block_of: Vec<usize>,
    /// Bore of each slot, nm.
    pub(super) bore: Vec<i64>,
    /// Diameter of each piston, nm, rising.
    pub(super) diameter: Vec<i64>,
    /// Mass of each piston, mg.
    pub(super) mass: Vec<i64>,
    /// The pistons that each slot's bore allows.
    pub(super) run: Vec<Range<usize>>,
    /// Slots in order of bore.
    pub(super) by_bore: Vec<usize>,
    /// For each piston, the places in `by_bore` of the slots that allow it.
    pub(super) allowed_by: Vec<Range<usize>>,
    /// Slots of each block in order of bore, block after block.
    pub(super) rising: Vec<usize>,
    /// Pistons in order of mass, and the place of each piston in that order.
    pub(super) by_mass: Vec<usize>,
    pub(super) mass_place: Vec<usize>,
    pub(super) mass_scale: MassScale,
    /// Larger of the distances from the target clearance to its limits, nm.
    half_width: f64,
    /// What is wished for, by the places on the whole rack; `None` if nothing is.
    held: Option<Arc<Held>>,
    /// Places on the whole rack of a part's blocks and pistons; empty on the whole rack itself.
    home_block: Vec<usize>,
    home_piston: Vec<usize>,
}

impl<'a> Rack<'a> {
    /// Lays out the pieces; refuses none at all, and one id twice.
    pub(super) fn lay(
        blocks: &'a [Block],
        pistons: &'a [Piston],
        rules: &'a Rules,
    ) -> Result<Self, SetError> {
        if blocks.is_empty() {
            return Err(SetError::NoBlocks);
        }
        if pistons.is_empty() {
            return Err(SetError::NoPistons);
        }
        let mut blocks: Vec<&Block> = blocks.iter().collect();
        blocks.sort_by(|a, b| a.id().cmp(b.id()));
        if let Some(twice) = blocks.windows(2).find(|w| w[0].id() == w[1].id()) {
            return Err(SetError::BlockTwice { block: twice[0].id().to_owned() });
        }
        let mut pistons: Vec<&Piston> = pistons.iter().collect();
        pistons.sort_by(|a, b| a.id().cmp(b.id()));
        if let Some(twice) = pistons.windows(2).find(|w| w[0].id() == w[1].id()) {
            return Err(SetError::PistonTwice { piston: twice[0].id().to_owned() });
        }
        pistons.sort_by_key(|p| (p.diameter(), p.mass()));
        Ok(Self::lay_sorted(blocks, pistons, rules))
    }

    fn lay_sorted(blocks: Vec<&'a Block>, pistons: Vec<&'a Piston>, rules: &'a Rules) -> Self {
        let mut first_slot = vec![0];
        let (mut block_of, mut bore) = (Vec::new(), Vec::new());
        for (b, block) in blocks.iter().enumerate() {
            bore.extend(block.bores().iter().map(|d| d.0));
            block_of.resize(bore.len(), b);
            first_slot.push(bore.len());
        }
        let diameter: Vec<i64> = pistons.iter().map(|p| p.diameter().0).collect();
        let mass: Vec<i64> = pistons.iter().map(|p| p.mass().0).collect();
        let (min, max) = (rules.clearance_min().0, rules.clearance_max().0);
        let run = bore.iter().map(|d| run_between(&diameter, d - max, d - min)).collect();
        let mut by_bore: Vec<usize> = (0..bore.len()).collect();
        by_bore.sort_by_key(|&s| (bore[s], s));
        let sorted: Vec<i64> = by_bore.iter().map(|&s| bore[s]).collect();
        let allowed_by = diameter.iter().map(|d| run_between(&sorted, d + min, d + max)).collect();
        let mut rising: Vec<usize> = (0..bore.len()).collect();
        rising.sort_by_key(|&s| (block_of[s], bore[s], s));
        let mut by_mass: Vec<usize> = (0..mass.len()).collect();
        by_mass.sort_by_key(|&p| (mass[p], p));
        let mut mass_place = vec![0; mass.len()];
        for (place, &p) in by_mass.iter().enumerate() {
            mass_place[p] = place;
        }
        let mass_scale = MassScale::of(&mass, &by_mass, rules.mass_spread_max().0);
        let target = rules.clearance_target().0;
        let half_width = (target - min).max(max - target) as f64;
        Self {
            blocks,
            pistons,
            rules,
            first_slot,
            block_of,
            bore,
            diameter,
            mass,
            run,
            by_bore,
            allowed_by,
            rising,
            by_mass,
            mass_place,
            mass_scale,
            half_width,
            held: None,
            home_block: Vec::new(),
            home_piston: Vec::new(),
        }
    }

    /// Hangs what is wished for on the whole rack.
    pub(super) fn wish(&mut self, wishes: &Wishes) -> Result<(), SetError> {
        if !wishes.is_empty() {
            self.held = Some(Arc::new(Held::of(self, wishes)?));
        }
        Ok(())
    }

    /// A part of the whole rack: some of its blocks and pistons, each list rising.
    pub(super) fn part(&self, blocks: &[usize], pistons: &[usize]) -> Self {
        let part = Self::lay_sorted(
            blocks.iter().map(|&b| self.blocks[b]).collect(),
            pistons.iter().map(|&p| self.pistons[p]).collect(),
            self.rules,
        );
        Self {
            held: self.held.clone(),
            home_block: blocks.to_vec(),
            home_piston: pistons.to_vec(),
            ..part
        }
    }

    /// The same rack with more pistons on it, and the new place of each old piston.
    pub(super) fn with_more<'b>(&self, extra: &'b [Piston]) -> (Rack<'b>, Vec<usize>)
    where
        'a: 'b,
    {
        let old = self.pistons.iter().enumerate().map(|(i, &p)| (p, Some(i)));
        let mut all: Vec<(&'b Piston, Option<usize>)> =
            old.chain(extra.iter().map(|p| (p, None))).collect();
        all.sort_by_key(|(p, _)| (p.diameter(), p.mass()));
        let mut place = vec![0; self.pistons.len()];
        for (new, (_, old)) in all.iter().enumerate() {
            if let Some(old) = old {
                place[*old] = new;
            }
        }
        let home = |old: Option<usize>| old.map_or(usize::MAX, |p| self.home_piston(p));
        let home_piston = all.iter().map(|&(_, old)| home(old)).collect();
        let home_block = (0..self.blocks.len()).map(|b| self.home_block(b)).collect();
        let pistons = all.into_iter().map(|(p, _)| p).collect();
        let rack = Rack::lay_sorted(self.blocks.clone(), pistons, self.rules);
        (Rack { held: self.held.clone(), home_block, home_piston, ..rack }, place)
    }

    /// The slots of a block.
    pub(super) fn slots(&self, block: usize) -> Range<usize> {
        self.first_slot[block]..self.first_slot[block + 1]
    }

    /// The slots of a block in order of bore.
    pub(super) fn rising_slots(&self, block: usize) -> &[usize] {
        &self.rising[self.slots(block)]
    }

    /// Number of cylinders of a block.
    pub(super) fn cylinders(&self, block: usize) -> usize {
        self.slots(block).len()
    }

    /// Widest allowed spread of mass, mg.
    pub(super) fn spread_max(&self) -> i64 {
        self.rules.mass_spread_max().0
    }

    /// Whether `slot` may take `piston`: its bore allows it, and nobody wishes otherwise.
    pub(super) fn allows(&self, slot: usize, piston: usize) -> bool {
        self.run[slot].contains(&piston)
            && self.held.as_deref().is_none_or(|held| {
                let block = self.block_of[slot];
                let cylinder = slot - self.first_slot[block];
                held.allows(self.home_block(block), cylinder, self.home_piston(piston))
            })
    }

    /// Whether two pistons must not be in one engine.
    pub(super) fn apart(&self, p: usize, q: usize) -> bool {
        let held = self.held.as_deref();
        held.is_some_and(|held| held.apart(self.home_piston(p), self.home_piston(q)))
    }

    /// Whether anything is wished for.
    pub(super) fn any_wish(&self) -> bool {
        self.held.is_some()
    }

    /// Rank of a block.
    pub(super) fn rank(&self, block: usize) -> i32 {
        self.held.as_deref().map_or(0, |held| held.rank[self.home_block(block)])
    }

    /// Whether anything is wished of a piston.
    pub(super) fn is_wished(&self, piston: usize) -> bool {
        let held = self.held.as_deref();
        held.is_some_and(|held| {
            held.piston.get(self.home_piston(piston)).is_some_and(|wished| *wished)
        })
    }

    /// Whether a piston is pinned into a block.
    pub(super) fn has_pins(&self, block: usize) -> bool {
        self.held.as_deref().is_some_and(|held| held.block[self.home_block(block)])
    }

    /// The block that a piston is pinned into or reserved for, on the whole rack.
    pub(super) fn kept_for(&self, piston: usize) -> Option<usize> {
        self.held.as_deref().and_then(|held| held.home(self.home_piston(piston)))
    }

    fn home_block(&self, block: usize) -> usize {
        self.home_block.get(block).copied().unwrap_or(block)
    }

    fn home_piston(&self, piston: usize) -> usize {
        self.home_piston.get(piston).copied().unwrap_or(piston)
    }

    /// Larger of the distances from the target clearance to its limits, nm.
    pub(super) fn half_width(&self) -> f64 {
        self.half_width
    }

    /// A distance in nm as a share of the half width; 0 if that is 0.
    pub(super) fn share_of_half(&self, distance_nm: i64) -> f64 {
        if self.half_width == 0.0 { 0.0 } else { distance_nm as f64 / self.half_width }
    }

    /// Loss of one place: the square of its distance from the target clearance, as a share of the
    /// larger distance from target to limit.
    pub(super) fn place_loss(&self, slot: usize, piston: usize) -> f64 {
        if self.half_width == 0.0 {
            return 0.0;
        }
        let clearance = self.bore[slot] - self.diameter[piston];
        let off = (clearance - self.rules.clearance_target().0) as f64 / self.half_width;
        off * off
    }

    /// Loss of a spread of mass: its share of the allowed spread.
    pub(super) fn spread_loss(&self, spread_mg: i64) -> f64 {
        // No spread allowed means that every legal set has none.
        if self.spread_max() == 0 { 0.0 } else { spread_mg as f64 / self.spread_max() as f64 }
    }
}

/// The masses in steps of an eighth of the allowed spread (1 mg at least), empty steps left out.
#[derive(Debug)]
pub(super) struct MassScale {
    /// Lower end of each step that holds a piston, mg, rising.
    pub(super) steps: Vec<i64>,
    /// Step of each piston.
    pub(super) step_of: Vec<usize>,
    /// For each step, one past the last step that lies wholly in a mass window begun at its lower
    /// end.
    pub(super) window_end: Vec<usize>,
}

impl MassScale {
    fn of(mass: &[i64], by_mass: &[usize], spread_max: i64) -> Self {
        let step = (spread_max / 8).max(1);
        let mut steps: Vec<i64> = Vec::new();
        let mut step_of = vec![0; mass.len()];
        for &p in by_mass {
            let lower = mass[p].div_euclid(step) * step;
            if steps.last() != Some(&lower) {
                steps.push(lower);
            }
            step_of[p] = steps.len() - 1;
        }
        let end = |lower: &i64| steps.partition_point(|s| s + step - 1 <= lower + spread_max);
        let window_end = steps.iter().map(end).collect();
        Self { steps, step_of, window_end }
    }
}

/// Places of the values from `lower` to `upper`, both included, in a rising list.
fn run_between(rising: &[i64], lower: i64, upper: i64) -> Range<usize> {
    let start = rising.partition_point(|&v| v < lower);
    start..rising.partition_point(|&v| v <= upper).max(start)
}
