//! Choosing sets: which piston goes into which cylinder of which block.
//!
//! Every engine that is handed out is complete: each cylinder holds one piston whose clearance lies
//! in the window, both limits included, and the masses of its pistons lie within the allowed
//! spread. All of that is decided in whole nanometres and milligrams. First come as many complete
//! engines as can be found, then the least loss. [`bound::most_engines`] says beside it how many
//! no matching at all can exceed, and [`check::check_matching`] goes through an answer by a way of
//! its own.
//!
//! The same pieces, rules and seed give the same answer, in whatever order the pieces come and on
//! however many cores: the search is limited by a count of moves, never by the clock.
//!
//! This module knows nothing of files, of who gauged a piece, or whether a reading can be trusted;
//! [`clearance::probability_all_inside`] says what the gauges' uncertainty leaves of a set.
//!
//! Start reading at [`match_sets`]. The search behind it is `search.rs`; it sees only the rack
//! (`rack.rs`) and hands back trays (`tray.rs`), so another search can take its place.

pub mod aim;
pub mod bound;
pub mod check;
pub mod clearance;
pub mod grades;
pub mod live;
pub mod mass;
pub mod practice;
pub mod shortage;
pub mod size;
pub mod table;
pub mod wishes;

mod bay;
mod chain;
mod exchange;
mod loss_bound;
mod price;
mod programme;
mod rack;
mod search;
mod shelf;
mod small;
mod start;
mod store;
mod tray;

use bedplate_gauge::calculation::Calculation;

use rack::Rack;
use shortage::Shortage;
use size::{Milligram, Nanometre};
use tray::{NONE, Trays};
use wishes::Wishes;

/// Every calculation of this module.
pub static CALCULATIONS: &[&Calculation] = &[
    &clearance::PISTON_CLEARANCE,
    &clearance::CLEARANCE_DISTRIBUTION,
    &clearance::CLEARANCE_PROBABILITY,
    &mass::MASS_SPREAD,
    &table::MATCH_SETS,
    &grades::GRADE_LIMITS,
];

/// Most cylinders of one block.
pub const CYLINDERS_MAX: usize = 16;

/// An engine block as it stands on the rack: its id and the measured bore of each cylinder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Block {
    id: String,
    bores: Vec<Nanometre>,
}

/// A piston: its id, measured diameter and mass.
///
/// What goes with the piston (pin, rings, rod already joined to it) is weighed with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Piston {
    id: String,
    diameter: Nanometre,
    mass: Milligram,
}

/// The clearance window of bore less piston, diametral.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// Least clearance, itself allowed.
    pub min: Nanometre,
    /// The clearance aimed at.
    pub target: Nanometre,
    /// Greatest clearance, itself allowed.
    pub max: Nanometre,
}

/// What a legal engine is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rules {
    window: Window,
    mass_spread_max: Milligram,
}

/// How long to search, and which draws of chance to use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Search {
    /// Seed of the draws of chance. The same seed gives the same answer.
    pub seed: u64,
    /// Moves for each block. More moves take longer in proportion and rarely do worse.
    pub moves: u32,
}

impl Search {
    /// Moves for each block unless told otherwise: about 1 ms of each of two cores.
    pub const MOVES: u32 = 8_000;

    /// Moves for each block in one round, after which a caller is asked whether to go on.
    pub const ROUND_MOVES: u32 = 500;

    /// A search with the usual number of moves.
    #[must_use]
    pub const fn with_seed(seed: u64) -> Self {
        Self { seed, moves: Self::MOVES }
    }
}

impl Default for Search {
    fn default() -> Self {
        Self::with_seed(1)
    }
}

/// One piston in its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// Cylinder, counted from 1 in the order of the block's bores.
    pub cylinder: usize,
    /// Id of the piston.
    pub piston: String,
    /// Bore less piston.
    pub clearance: Nanometre,
}

/// One complete engine's set.
#[derive(Debug, Clone, PartialEq)]
pub struct Set {
    /// Id of the block.
    pub block: String,
    /// One place for each cylinder, in order of cylinder.
    pub places: Vec<Place>,
    /// Heaviest piston less lightest.
    pub mass_spread: Milligram,
    /// Sum over the cylinders of the squared distance from target, as a share of the larger
    /// distance from target to limit, plus the share of the allowed spread of mass that is used.
    pub loss: f64,
}

/// Why a block is left over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// No piston of the whole store lies in this cylinder's clearance window.
    NoPistonFits {
        /// Cylinder, counted from 1.
        cylinder: usize,
    },
    /// Every cylinder has pistons that fit, but no set of them keeps the spread of mass, even with
    /// the whole store to choose from.
    NoSetKeepsMass,
    /// Sets exist, but their pistons serve other engines in this answer.
    PistonsServeOthers,
}

/// A block without a set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftBlock {
    /// Id of the block.
    pub block: String,
    /// Why.
    pub reason: Reason,
}

/// What is left on the rack.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct LeftOver {
    /// Blocks without a set, by id.
    pub blocks: Vec<LeftBlock>,
    /// Ids of pistons in no set, sorted.
    pub pistons: Vec<String>,
}

/// The answer of [`match_sets`].
#[derive(Debug, Clone, PartialEq)]
pub struct Matching {
    /// Complete engines, by id of the block.
    pub engines: Vec<Set>,
    /// No matching at all completes more engines than this.
    pub bound: usize,
    /// Sum of the engines' losses.
    pub loss: f64,
    /// No matching with at least as many engines has a loss below this.
    pub loss_bound: f64,
    /// What is left.
    pub left_over: LeftOver,
    /// Which pistons, if turned, would complete more engines; the first helps most, each counts
    /// on those before it. Empty if no block is left or no more pistons would help.
    pub blocking: Vec<Shortage>,
    /// Rounds that the search took.
    pub rounds: u32,
    /// Moves that the search took, over all blocks.
    pub moves: u64,
}

/// How far a search is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress {
    /// Rounds done; 0 after the first filling.
    pub round: u32,
    /// Moves done, over all blocks.
    pub moves: u64,
    /// Complete engines so far.
    pub engines: usize,
    /// No matching at all completes more engines than this.
    pub bound: usize,
    /// Sum of the engines' losses so far.
    pub loss: f64,
    /// No matching with at least as many engines has a loss below this; 0 before the first round.
    pub loss_bound: f64,
}

/// Why pieces or rules are refused. Nothing is assigned then.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SetError {
    /// The clearance limits cross.
    #[error("the least clearance {min} lies above the greatest {max}; it must not")]
    LimitsCross {
        /// Least clearance as given.
        min: Nanometre,
        /// Greatest clearance as given.
        max: Nanometre,
    },
    /// The target lies outside the limits.
    #[error("the target clearance {target} lies outside its limits {min} to {max}")]
    TargetOutside {
        /// Target as given.
        target: Nanometre,
        /// Least clearance.
        min: Nanometre,
        /// Greatest clearance.
        max: Nanometre,
    },
    /// A clearance limit of many metres.
    #[error("the clearance {clearance} is out of reach; at most 10 m either way is taken")]
    ClearanceOutOfReach {
        /// The limit as given.
        clearance: Nanometre,
    },
    /// The allowed spread of mass is negative or of many tonnes.
    #[error("the allowed spread of mass {spread} is not between 0 g and 10 t")]
    SpreadOutOfReach {
        /// Spread as given.
        spread: Milligram,
    },
    /// A piece without a name.
    #[error("a block or piston has no id; every piece needs one")]
    NoId,
    /// A block without a cylinder.
    #[error("block {block} has no bore; it needs 1 to 16")]
    NoBores {
        /// Id of the block.
        block: String,
    },
    /// A block with too many cylinders.
    #[error("block {block} has {bores} bores; at most 16 are taken")]
    TooManyBores {
        /// Id of the block.
        block: String,
        /// How many were given.
        bores: usize,
    },
    /// A bore that is no diameter.
    #[error("cylinder {cylinder} of block {block} has a bore of {bore}; more than 0, at most 10 m")]
    BoreOutOfReach {
        /// Id of the block.
        block: String,
        /// Cylinder, counted from 1.
        cylinder: usize,
        /// Bore as given.
        bore: Nanometre,
    },
    /// A piston diameter that is none.
    #[error("piston {piston} has a diameter of {diameter}; more than 0, at most 10 m")]
    DiameterOutOfReach {
        /// Id of the piston.
        piston: String,
        /// Diameter as given.
        diameter: Nanometre,
    },
    /// A piston mass that is none.
    #[error("piston {piston} has a mass of {mass}; more than 0, at most 10 t")]
    MassOutOfReach {
        /// Id of the piston.
        piston: String,
        /// Mass as given.
        mass: Milligram,
    },
    /// No block at all.
    #[error("there is no block to build on; at least one is needed")]
    NoBlocks,
    /// No piston at all.
    #[error("there is no piston to choose from; at least one is needed")]
    NoPistons,
    /// One block twice.
    #[error("block {block} is given twice; each block once")]
    BlockTwice {
        /// Its id.
        block: String,
    },
    /// A wish for a block that is not there.
    #[error("a wish names block {block}, which was not given; only blocks of this lot can be")]
    WishForUnknownBlock {
        /// The id in the wish.
        block: String,
    },
    /// A wish for a piston that is not there.
    #[error("a wish names piston {piston}, which was not given; only pistons of this lot can be")]
    WishForUnknownPiston {
        /// The id in the wish.
        piston: String,
    },
    /// A pin into a cylinder that the block has not.
    #[error(
        "block {block} has no cylinder {cylinder} to pin a piston into; it has 1 to {cylinders}"
    )]
    NoSuchCylinder {
        /// The block.
        block: String,
        /// The cylinder in the wish.
        cylinder: usize,
        /// Cylinders it has.
        cylinders: usize,
    },
    /// One block with two ranks.
    #[error("block {block} is given two ranks; one at most")]
    RankedTwice {
        /// The block.
        block: String,
    },
    /// One piston pinned into two places.
    #[error("piston {piston} is pinned into two places; one at most")]
    PinnedTwice {
        /// The piston.
        piston: String,
    },
    /// Two pistons pinned into one place.
    #[error(
        "pistons {piston} and {other} are both pinned into cylinder {cylinder} of block {block}"
    )]
    PlaceTaken {
        /// The block.
        block: String,
        /// Cylinder, counted from 1.
        cylinder: usize,
        /// The one piston.
        piston: String,
        /// The other.
        other: String,
    },
    /// A pin that breaks the clearance limits.
    #[error(
        "piston {piston} is pinned into cylinder {cylinder} of block {block}, but its clearance \
         there would be {clearance}, outside the limits"
    )]
    PinOutside {
        /// The piston.
        piston: String,
        /// The block.
        block: String,
        /// Cylinder, counted from 1.
        cylinder: usize,
        /// Bore less piston.
        clearance: Nanometre,
    },
    /// Pins that break the spread of mass.
    #[error("the pistons pinned into block {block} spread by {spread}, more than the rules allow")]
    PinsTooWide {
        /// The block.
        block: String,
        /// Heaviest less lightest of the pinned pistons.
        spread: Milligram,
    },
    /// A piston kept for two blocks.
    #[error("piston {piston} is pinned into or reserved for two blocks; one at most")]
    ReservedTwice {
        /// The piston.
        piston: String,
    },
    /// Two pieces wished together and apart.
    #[error("{one} and {other} are wished together and apart; one of the two at most")]
    TogetherAndApart {
        /// The one piece.
        one: String,
        /// The other.
        other: String,
    },
    /// A piston apart from itself.
    #[error("piston {piston} is wished apart from itself; two pistons are needed")]
    ApartFromItself {
        /// The piston.
        piston: String,
    },
    /// One piston twice.
    #[error("piston {piston} is given twice; each piston once")]
    PistonTwice {
        /// Its id.
        piston: String,
    },
}

impl Block {
    /// A block with 1 to 16 bores, in order of cylinder.
    ///
    /// # Errors
    /// [`SetError::NoId`], [`SetError::NoBores`], [`SetError::TooManyBores`],
    /// [`SetError::BoreOutOfReach`] for a bore that is not above 0 and at most 10 m.
    pub fn new(id: impl Into<String>, bores: Vec<Nanometre>) -> Result<Self, SetError> {
        let block = id.into();
        if block.is_empty() {
            return Err(SetError::NoId);
        }
        if bores.is_empty() {
            return Err(SetError::NoBores { block });
        }
        if bores.len() > CYLINDERS_MAX {
            return Err(SetError::TooManyBores { block, bores: bores.len() });
        }
        let wrong = bores.iter().position(|bore| bore.0 <= 0 || !bore.within_reach());
        if let Some(at) = wrong {
            return Err(SetError::BoreOutOfReach { block, cylinder: at + 1, bore: bores[at] });
        }
        Ok(Self { id: block, bores })
    }

    /// Its id.
    #[must_use]
    pub fn id(&self) -> &str {
        &self.id
    }

    /// Its bores in order of cylinder.
    #[must_use]
    pub fn bores(&self) -> &[Nanometre] {
        &self.bores
    }
}

impl Piston {
    /// A piston.
    ///
    /// # Errors
    /// [`SetError::NoId`], [`SetError::DiameterOutOfReach`], [`SetError::MassOutOfReach`] for a
    /// figure that is not above 0 and at most 10 m or 10 t.
    pub fn new(
        id: impl Into<String>,
        diameter: Nanometre,
        mass: Milligram,
    ) -> Result<Self, SetError> {
        let piston = id.into();
        if piston.is_empty() {
            return Err(SetError::NoId);
        }
        if diameter.0 <= 0 || !diameter.within_reach() {
            return Err(SetError::DiameterOutOfReach { piston, diameter });
        }
        if mass.0 <= 0 || !mass.within_reach() {
            return Err(SetError::MassOutOfReach { piston, mass });
        }
        Ok(Self { id: piston, diameter, mass })
    }

    /// Its id.
    #[must_use]
    pub fn id(&self) -> &str {
        &self.id
    }

    /// Its measured diameter.
    #[must_use]
    pub fn diameter(&self) -> Nanometre {
        self.diameter
    }

    /// Its measured mass.
    #[must_use]
    pub fn mass(&self) -> Milligram {
        self.mass
    }
}

impl Rules {
    /// Rules that do not contradict themselves: min ≤ target ≤ max, spread ≥ 0.
    ///
    /// # Errors
    /// [`SetError::LimitsCross`], [`SetError::TargetOutside`], [`SetError::ClearanceOutOfReach`],
    /// [`SetError::SpreadOutOfReach`].
    pub fn new(window: Window, mass_spread_max: Milligram) -> Result<Self, SetError> {
        let Window { min, target, max } = window;
        for clearance in [min, target, max] {
            if !clearance.within_reach() {
                return Err(SetError::ClearanceOutOfReach { clearance });
            }
        }
        if min > max {
            return Err(SetError::LimitsCross { min, max });
        }
        if target < min || max < target {
            return Err(SetError::TargetOutside { target, min, max });
        }
        if mass_spread_max.0 < 0 || !mass_spread_max.within_reach() {
            return Err(SetError::SpreadOutOfReach { spread: mass_spread_max });
        }
        Ok(Self { window, mass_spread_max })
    }

    /// Least clearance, itself allowed.
    #[must_use]
    pub fn clearance_min(&self) -> Nanometre {
        self.window.min
    }

    /// Greatest clearance, itself allowed.
    #[must_use]
    pub fn clearance_max(&self) -> Nanometre {
        self.window.max
    }

    /// The clearance aimed at.
    #[must_use]
    pub fn clearance_target(&self) -> Nanometre {
        self.window.target
    }

    /// Widest spread of mass in one engine, itself allowed.
    #[must_use]
    pub fn mass_spread_max(&self) -> Milligram {
        self.mass_spread_max
    }
}

/// Chooses sets of pistons for blocks: as many complete engines as can be found, and among those
/// the least loss that can be found.
///
/// # Formula
/// Most `Σ_b z_b`, then least `Σ_built [Σ_c ((D_bc − d_p − t)/h)² + (m_max − m_min)/w]` with bores
/// `D`, diameters `d`, target `t`, `h` the larger distance from target to limit, allowed spread
/// `w`; every clearance `D − d` within its limits, every spread at most `w`, every piston in one
/// place at most.
/// # Given
/// Blocks of 1 to 16 cylinders (each its own number), pistons, rules, and how long to search. The
/// order of the pieces does not matter.
/// # Returns
/// The [`Matching`]. Never fewer engines than taking blocks and pistons in order of id, first in
/// first out, among pistons that really fit ([`practice::first_in_first_out`]).
/// # Errors
/// [`SetError`] for no pieces at all or one id twice; nothing is assigned then.
/// # Validity
/// The rules are kept exactly. The count is the best found, not always the most there is: the
/// problem is hard in general. [`Matching::bound`] says how far off it can be at most.
/// # Source
/// Derived here: mass classes with earliest fit, chains of exchanges, simulated annealing; see the
/// module's files.
pub fn match_sets(
    blocks: &[Block],
    pistons: &[Piston],
    rules: &Rules,
    search: Search,
) -> Result<Matching, SetError> {
    match_sets_while(blocks, pistons, rules, &Wishes::default(), search, &mut |_| true)
}

/// [`match_sets`] with wishes, told after each round how far it is.
///
/// # Given
/// Besides the pieces, rules and search: wishes, and whether to `go_on` after each round. It is
/// first asked before the first round, with the first filling of the trays. The answer depends on
/// the pieces, the rules, the wishes, the seed and the number of rounds only; so a caller that
/// stops by the clock gets the answer that the same number of moves would have given.
/// # Returns
/// The [`Matching`]; its bounds hold without the wishes too.
/// # Errors
/// [`SetError`] as for [`match_sets`], and for wishes that contradict each other, the pieces or the
/// rules; nothing is assigned then.
/// # Validity
/// As for [`match_sets`]. Wishes are kept exactly, but for ranks: more of the higher rank is what
/// was found, not always the most there is.
/// # Source
/// As for [`match_sets`].
pub fn match_sets_while(
    blocks: &[Block],
    pistons: &[Piston],
    rules: &Rules,
    wishes: &Wishes,
    search: Search,
    go_on: &mut dyn FnMut(&Progress) -> bool,
) -> Result<Matching, SetError> {
    let mut rack = Rack::lay(blocks, pistons, rules)?;
    rack.wish(wishes)?;
    let found = search::search(&rack, search, go_on);
    let (relaxed, trays) = (&found.relaxed, &found.trays);
    let blocking = shortage::shortages(&rack, trays, search);
    let engines = sets(&rack, trays);
    // Begun at +0: the sum of nothing would be −0.
    let loss = engines.iter().fold(0.0, |sum, set| sum + set.loss);
    let left_over = left_over(&rack, relaxed, trays);
    Ok(Matching {
        engines,
        bound: relaxed.bound,
        loss,
        loss_bound: found.loss_bound,
        left_over,
        blocking,
        rounds: found.rounds,
        moves: found.moves,
    })
}

/// The filled trays as sets, by id of the block.
fn sets(rack: &Rack<'_>, trays: &Trays) -> Vec<Set> {
    let filled = (0..rack.blocks.len()).filter(|&b| trays.filled[b]);
    filled
        .map(|b| {
            let place = |(i, slot): (usize, usize)| {
                let piston = rack.pistons[trays.piston_in[slot]];
                Place {
                    cylinder: i + 1,
                    piston: piston.id.clone(),
                    clearance: rack.blocks[b].bores[i] - piston.diameter,
                }
            };
            Set {
                block: rack.blocks[b].id.clone(),
                places: rack.slots(b).enumerate().map(place).collect(),
                mass_spread: Milligram(trays.spread_with(rack, b, NONE, NONE)),
                loss: trays.block_loss(rack, b),
            }
        })
        .collect()
}

fn left_over(rack: &Rack<'_>, relaxed: &bound::Relaxed, trays: &Trays) -> LeftOver {
    let reason = |b: usize| {
        let empty = rack.slots(b).position(|slot| rack.run[slot].is_empty());
        match empty {
            Some(at) => Reason::NoPistonFits { cylinder: at + 1 },
            None if relaxed.possible[b] => Reason::PistonsServeOthers,
            None => Reason::NoSetKeepsMass,
        }
    };
    let left = |b: usize| LeftBlock { block: rack.blocks[b].id.clone(), reason: reason(b) };
    let spare = (0..rack.pistons.len()).filter(|&p| trays.slot_of[p] == NONE);
    let mut pistons: Vec<String> = spare.map(|p| rack.pistons[p].id.clone()).collect();
    pistons.sort();
    LeftOver { blocks: trays.idle().into_iter().map(left).collect(), pistons }
}
