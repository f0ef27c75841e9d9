//! Bays: parts of the rack that are worked on side by side.
//!
//! A rack is cut by mass, since pistons far apart in mass never meet in one engine. A filled block
//! stands in the bay of its lightest piston, and spare pistons in the bay of their mass; idle
//! blocks are dealt at random. The cuts lie elsewhere each time, so that what one cut keeps apart
//! the next one brings together. How many cores there are does not matter: each bay has draws of
//! chance of its own.

use super::rack::Rack;
use super::tray::{NONE, Trays};
use crate::draw::Draw;

/// A part of the rack with its trays.
pub(super) struct Bay<'a> {
    blocks: Vec<usize>,
    pistons: Vec<usize>,
    pub(super) rack: Rack<'a>,
    pub(super) trays: Trays,
}

/// Cuts a rack into bays of about `size` blocks; a rack of few more is one bay.
pub(super) fn cut<'a>(
    rack: &Rack<'a>,
    trays: &Trays,
    size: usize,
    draw: &mut Draw,
) -> Vec<Bay<'a>> {
    let (blocks, pistons) = (rack.blocks.len(), rack.mass.len());
    let bays = if blocks <= size + size / 4 { 1 } else { blocks.div_ceil(size) };
    let (inner, shift) = if bays == 1 { (0, 0) } else { (bays, draw.below(pistons)) };
    // Where each bay but the first begins in the order of mass.
    let edges: Vec<usize> = (0..inner).map(|i| (i * pistons + shift) / bays).collect();
    let bay_of = |p: usize| edges.partition_point(|&edge| edge <= rack.mass_place[p]);
    let mut own: Vec<(Vec<usize>, Vec<usize>)> = vec![Default::default(); inner + 1];
    let mut wanted_home: Vec<(usize, usize)> = Vec::new();
    if rack.any_wish() {
        let kept = |p: usize| rack.kept_for(p).map(|b| (b, p));
        wanted_home = (0..pistons).filter_map(kept).collect();
        wanted_home.sort_unstable();
    }
    let mut bay_of_block = vec![0; blocks];
    for (b, bay_here) in bay_of_block.iter_mut().enumerate() {
        let bay = if trays.filled[b] {
            let lightest = rack.slots(b).map(|s| rack.mass_place[trays.piston_in[s]]).min();
            edges.partition_point(|&edge| Some(edge) <= lightest)
        } else {
            // An idle block goes where a piston kept for it lies, so that the two meet.
            let at = wanted_home.partition_point(|&(home, _)| home < b);
            match wanted_home.get(at) {
                Some(&(home, p)) if home == b => bay_of(p),
                _ => draw.below(inner + 1),
            }
        };
        *bay_here = bay;
        own[bay].0.push(b);
    }
    for p in 0..pistons {
        let slot = trays.slot_of[p];
        let bay = if slot == NONE { bay_of(p) } else { bay_of_block[rack.block_of[slot]] };
        own[bay].1.push(p);
    }
    own.retain(|(blocks, pistons)| !blocks.is_empty() && !pistons.is_empty());
    own.into_iter().map(|(blocks, pistons)| Bay::of(rack, trays, blocks, pistons)).collect()
}

impl<'a> Bay<'a> {
    /// A bay of some blocks and pistons (rising lists), with what lies in their trays.
    pub(super) fn of(
        rack: &Rack<'a>,
        trays: &Trays,
        blocks: Vec<usize>,
        pistons: Vec<usize>,
    ) -> Self {
        let part = rack.part(&blocks, &pistons);
        let mut own = Trays::empty(&part);
        for (i, &b) in blocks.iter().enumerate().filter(|&(_, &b)| trays.filled[b]) {
            for (mine, slot) in part.slots(i).zip(rack.slots(b)) {
                let piston = pistons.binary_search(&trays.piston_in[slot]);
                own.put(mine, piston.expect("a filled block's pistons are in its bay"));
            }
            own.close(i);
        }
        Self { blocks, pistons, rack: part, trays: own }
    }

    /// Puts what lies in this bay's trays back into those of the whole rack, which must have been
    /// emptied.
    pub(super) fn put_back(&self, rack: &Rack<'_>, trays: &mut Trays) {
        for (i, &b) in self.blocks.iter().enumerate().filter(|&(i, _)| self.trays.filled[i]) {
            for (mine, slot) in self.rack.slots(i).zip(rack.slots(b)) {
                trays.put(slot, self.pistons[self.trays.piston_in[mine]]);
            }
            trays.close(b);
        }
    }
}
