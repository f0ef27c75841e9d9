//! Trays: which piston lies in which place at the moment, and what may be moved.

use super::rack::Rack;

/// No piston, or no slot.
pub(super) const NONE: usize = usize::MAX;

/// More than any spread of mass that is allowed.
pub(super) const TOO_WIDE: i64 = i64::MAX / 4;

/// The state of all trays. Between the steps of the search every block is either wholly filled
/// and legal or wholly empty; inside a step one block may be half filled.
#[derive(Debug, Clone)]
pub(super) struct Trays {
    /// Piston in each slot.
    pub(super) piston_in: Vec<usize>,
    /// Slot of each piston.
    pub(super) slot_of: Vec<usize>,
    /// Whether each block is filled.
    pub(super) filled: Vec<bool>,
    /// How many blocks are filled.
    pub(super) engines: usize,
}

impl Trays {
    /// All trays empty.
    pub(super) fn empty(rack: &Rack<'_>) -> Self {
        Self {
            piston_in: vec![NONE; rack.bore.len()],
            slot_of: vec![NONE; rack.mass.len()],
            filled: vec![false; rack.blocks.len()],
            engines: 0,
        }
    }

    /// Empties all trays.
    pub(super) fn clear(&mut self) {
        self.piston_in.fill(NONE);
        self.slot_of.fill(NONE);
        self.filled.fill(false);
        self.engines = 0;
    }

    /// The same state on a rack on which piston `p` has moved to `place[p]`.
    pub(super) fn moved(&self, rack: &Rack<'_>, place: &[usize]) -> Self {
        let mut trays = Self::empty(rack);
        for (slot, &p) in self.piston_in.iter().enumerate() {
            if p != NONE {
                trays.put(slot, place[p]);
            }
        }
        Self { filled: self.filled.clone(), engines: self.engines, ..trays }
    }

    /// Lays `piston` into `slot`; both must be free.
    pub(super) fn put(&mut self, slot: usize, piston: usize) {
        debug_assert!(self.piston_in[slot] == NONE && self.slot_of[piston] == NONE);
        self.piston_in[slot] = piston;
        self.slot_of[piston] = slot;
    }

    /// Takes out what lies in `slot` and returns it.
    pub(super) fn take(&mut self, slot: usize) -> usize {
        let piston = std::mem::replace(&mut self.piston_in[slot], NONE);
        if piston != NONE {
            self.slot_of[piston] = NONE;
        }
        piston
    }

    /// Declares a block filled.
    pub(super) fn close(&mut self, block: usize) {
        debug_assert!(!self.filled[block]);
        self.filled[block] = true;
        self.engines += 1;
    }

    /// Empties a block.
    pub(super) fn release(&mut self, rack: &Rack<'_>, block: usize) {
        for slot in rack.slots(block) {
            self.take(slot);
        }
        if std::mem::replace(&mut self.filled[block], false) {
            self.engines -= 1;
        }
    }

    /// Spread of mass of a block, mg, as it would be with `piston` in `slot`. Empty slots do not
    /// count. With `slot` = [`NONE`] nothing is changed. [`TOO_WIDE`] if the pistons must be apart.
    pub(super) fn spread_with(
        &self,
        rack: &Rack<'_>,
        block: usize,
        slot: usize,
        piston: usize,
    ) -> i64 {
        let (mut least, mut most) = (i64::MAX, i64::MIN);
        for s in rack.slots(block) {
            let p = if s == slot { piston } else { self.piston_in[s] };
            if p != NONE {
                least = least.min(rack.mass[p]);
                most = most.max(rack.mass[p]);
            }
        }
        if rack.any_wish() && slot != NONE && self.has_apart(rack, block, slot, piston) {
            return TOO_WIDE;
        }
        if most < least { 0 } else { most - least }
    }

    /// Whether another place of a block holds a piston that must not be with `piston`.
    pub(super) fn has_apart(
        &self,
        rack: &Rack<'_>,
        block: usize,
        slot: usize,
        piston: usize,
    ) -> bool {
        rack.any_wish()
            && rack.slots(block).any(|s| {
                s != slot && self.piston_in[s] != NONE && rack.apart(piston, self.piston_in[s])
            })
    }

    /// Whether `slot` may take `piston` in place of the one it holds.
    pub(super) fn may_take(&self, rack: &Rack<'_>, slot: usize, piston: usize) -> bool {
        rack.allows(slot, piston)
            && self.spread_with(rack, rack.block_of[slot], slot, piston) <= rack.spread_max()
    }

    /// Loss of one block, 0 if it is not filled.
    pub(super) fn block_loss(&self, rack: &Rack<'_>, block: usize) -> f64 {
        if !self.filled[block] {
            return 0.0;
        }
        let places: f64 = rack.slots(block).map(|s| rack.place_loss(s, self.piston_in[s])).sum();
        places + rack.spread_loss(self.spread_with(rack, block, NONE, NONE))
    }

    /// Loss of all filled blocks, summed in order of block.
    pub(super) fn loss(&self, rack: &Rack<'_>) -> f64 {
        (0..self.filled.len()).map(|b| self.block_loss(rack, b)).sum()
    }

    /// The blocks that are not filled.
    pub(super) fn idle(&self) -> Vec<usize> {
        (0..self.filled.len()).filter(|&b| !self.filled[b]).collect()
    }
}
