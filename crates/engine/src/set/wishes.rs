//! What people want beside the rules: who comes first, and which pieces go together or never.
//!
//! A pinned piston goes into its cylinder or nowhere, and nothing else goes there; a reserved one
//! goes into its block or nowhere; pieces kept apart are never together in one engine. A block of
//! higher rank comes first among answers with equally many engines.

use std::collections::{HashMap, HashSet};

use super::SetError;
use super::rack::Rack;
use super::size::{Milligram, Nanometre};

/// Wishes for one matching. None at all is the default.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Wishes {
    /// Blocks that come before others, or after them.
    pub ranks: Vec<Rank>,
    /// Pistons that belong into one cylinder.
    pub pins: Vec<Pin>,
    /// Pistons kept for one block.
    pub reserved: Vec<Reserved>,
    /// Pieces never in one engine.
    pub apart: Vec<Apart>,
}

/// The rank of a block; blocks not named have rank 0.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rank {
    /// Id of the block.
    pub block: String,
    /// Its rank; the higher comes first, for a delivery that is due or a block that waited long.
    pub rank: i32,
}

/// A piston that belongs into one cylinder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pin {
    /// Id of the piston.
    pub piston: String,
    /// Id of the block.
    pub block: String,
    /// Cylinder, counted from 1.
    pub cylinder: usize,
}

/// A piston kept for one block.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reserved {
    /// Id of the piston.
    pub piston: String,
    /// Id of the block.
    pub block: String,
}

/// Pieces never in one engine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Apart {
    /// A piston that must not go into a block.
    PistonAndBlock {
        /// Id of the piston.
        piston: String,
        /// Id of the block.
        block: String,
    },
    /// Two pistons that must not go into one engine.
    Pistons {
        /// Id of the one.
        one: String,
        /// Id of the other.
        other: String,
    },
}

impl Wishes {
    /// Whether nothing is wished for.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

/// Wishes by the places of the pieces on the rack.
#[derive(Debug, Default)]
pub(super) struct Held {
    pub(super) rank: Vec<i32>,
    /// Block and cylinder (from 0) of each pinned piston, and the piston of each such place.
    place_of: HashMap<usize, (usize, usize)>,
    pinned_in: HashMap<(usize, usize), usize>,
    block_of: HashMap<usize, usize>,
    never_in: HashSet<(usize, usize)>,
    never_with: HashMap<usize, Vec<usize>>,
    /// Whether anything but rank is wished of a piston, or pinned into a block.
    pub(super) piston: Vec<bool>,
    pub(super) block: Vec<bool>,
}

impl Held {
    /// Finds the pieces and refuses what contradicts itself.
    pub(super) fn of(rack: &Rack<'_>, wishes: &Wishes) -> Result<Self, SetError> {
        let names = Names::of(rack);
        let mut held = Self {
            rank: vec![0; rack.blocks.len()],
            piston: vec![false; rack.pistons.len()],
            block: vec![false; rack.blocks.len()],
            ..Self::default()
        };
        let mut ranked = HashSet::new();
        for rank in &wishes.ranks {
            let b = names.block(&rank.block)?;
            if !ranked.insert(b) && held.rank[b] != rank.rank {
                return Err(SetError::RankedTwice { block: rank.block.clone() });
            }
            held.rank[b] = rank.rank;
        }
        for pin in &wishes.pins {
            held.pin(rack, &names, pin)?;
        }
        for Reserved { piston, block } in &wishes.reserved {
            let (p, b) = (names.piston(piston)?, names.block(block)?);
            let pinned = held.place_of.get(&p).is_some_and(|&(other, _)| other != b);
            if held.block_of.insert(p, b).is_some_and(|other| other != b) || pinned {
                return Err(SetError::ReservedTwice { piston: piston.clone() });
            }
            held.piston[p] = true;
        }
        for apart in &wishes.apart {
            held.keep_apart(&names, apart)?;
        }
        held.check_pinned_sets(rack)?;
        Ok(held)
    }

    fn pin(&mut self, rack: &Rack<'_>, names: &Names<'_>, pin: &Pin) -> Result<(), SetError> {
        let (p, b) = (names.piston(&pin.piston)?, names.block(&pin.block)?);
        let Pin { piston, block, cylinder } = pin.clone();
        let cylinders = rack.cylinders(b);
        if !(1..=cylinders).contains(&cylinder) {
            return Err(SetError::NoSuchCylinder { block, cylinder, cylinders });
        }
        let place = (b, cylinder - 1);
        if self.place_of.insert(p, place).is_some_and(|other| other != place) {
            return Err(SetError::PinnedTwice { piston });
        }
        if let Some(other) = self.pinned_in.insert(place, p).filter(|&other| other != p) {
            let other = rack.pistons[other].id().to_owned();
            return Err(SetError::PlaceTaken { block, cylinder, piston, other });
        }
        let slot = rack.first_slot[b] + cylinder - 1;
        if !rack.run[slot].contains(&p) {
            let clearance = Nanometre(rack.bore[slot] - rack.diameter[p]);
            return Err(SetError::PinOutside { piston, block, cylinder, clearance });
        }
        self.piston[p] = true;
        self.block[b] = true;
        Ok(())
    }

    fn keep_apart(&mut self, names: &Names<'_>, apart: &Apart) -> Result<(), SetError> {
        match apart {
            Apart::PistonAndBlock { piston, block } => {
                let (p, b) = (names.piston(piston)?, names.block(block)?);
                let pinned = self.place_of.get(&p).is_some_and(|&(own, _)| own == b);
                if pinned || self.block_of.get(&p) == Some(&b) {
                    let (one, other) = (piston.clone(), block.clone());
                    return Err(SetError::TogetherAndApart { one, other });
                }
                self.never_in.insert((p, b));
                self.piston[p] = true;
            }
            Apart::Pistons { one, other } => {
                let (p, q) = (names.piston(one)?, names.piston(other)?);
                if p == q {
                    return Err(SetError::ApartFromItself { piston: one.clone() });
                }
                for (p, q) in [(p, q), (q, p)] {
                    self.never_with.entry(p).or_default().push(q);
                    self.piston[p] = true;
                }
            }
        }
        Ok(())
    }

    /// Pinned pistons of one block must be allowed together.
    fn check_pinned_sets(&self, rack: &Rack<'_>) -> Result<(), SetError> {
        for b in (0..rack.blocks.len()).filter(|&b| self.block[b]) {
            let own: Vec<usize> = (0..rack.cylinders(b))
                .filter_map(|c| self.pinned_in.get(&(b, c)).copied())
                .collect();
            let masses = || own.iter().map(|&p| rack.mass[p]);
            let spread = masses().max().unwrap_or(0) - masses().min().unwrap_or(0);
            if spread > rack.spread_max() {
                let block = rack.blocks[b].id().to_owned();
                return Err(SetError::PinsTooWide { block, spread: Milligram(spread) });
            }
            for (i, &p) in own.iter().enumerate() {
                if let Some(&q) = own[..i].iter().find(|&&q| self.apart(p, q)) {
                    let id = |p: usize| rack.pistons[p].id().to_owned();
                    return Err(SetError::TogetherAndApart { one: id(p), other: id(q) });
                }
            }
        }
        Ok(())
    }

    /// Whether a piston may go into a cylinder (from 0) of a block.
    pub(super) fn allows(&self, block: usize, cylinder: usize, piston: usize) -> bool {
        if self.block[block]
            && let Some(&own) = self.pinned_in.get(&(block, cylinder))
        {
            return own == piston;
        }
        // A piston that was only thought of has no wishes.
        if !self.piston.get(piston).is_some_and(|w| *w) {
            return true;
        }
        !self.place_of.contains_key(&piston)
            && self.block_of.get(&piston).is_none_or(|&own| own == block)
            && !self.never_in.contains(&(piston, block))
    }

    /// Whether two pistons must not be in one engine.
    pub(super) fn apart(&self, p: usize, q: usize) -> bool {
        self.never_with.get(&p).is_some_and(|others| others.contains(&q))
    }

    /// Block that a piston is pinned into or reserved for.
    pub(super) fn home(&self, piston: usize) -> Option<usize> {
        let pinned = self.place_of.get(&piston).map(|&(block, _)| block);
        pinned.or_else(|| self.block_of.get(&piston).copied())
    }
}

/// Places of the pieces by id.
struct Names<'r> {
    blocks: HashMap<&'r str, usize>,
    pistons: HashMap<&'r str, usize>,
}

impl<'r> Names<'r> {
    fn of(rack: &'r Rack<'_>) -> Self {
        Self {
            blocks: rack.blocks.iter().enumerate().map(|(i, b)| (b.id(), i)).collect(),
            pistons: rack.pistons.iter().enumerate().map(|(i, p)| (p.id(), i)).collect(),
        }
    }

    fn block(&self, id: &str) -> Result<usize, SetError> {
        let found = self.blocks.get(id).copied();
        found.ok_or_else(|| SetError::WishForUnknownBlock { block: id.to_owned() })
    }

    fn piston(&self, id: &str) -> Result<usize, SetError> {
        let found = self.pistons.get(id).copied();
        found.ok_or_else(|| SetError::WishForUnknownPiston { piston: id.to_owned() })
    }
}
