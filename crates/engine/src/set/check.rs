//! Going through a matching by a way of its own: it trusts nothing of the search, only the pieces
//! and the rules.

use std::collections::{HashMap, HashSet};

use super::size::{Milligram, Nanometre};
use super::wishes::{Apart, Pin, Wishes};
use super::{Block, Matching, Piston, Rules, Set};

/// The first fault found in a matching.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Fault {
    /// A set for a block that was not given.
    #[error("block {block} has a set but was not given")]
    UnknownBlock {
        /// Its id.
        block: String,
    },
    /// A piston that was not given.
    #[error("piston {piston} in block {block} was not given")]
    UnknownPiston {
        /// Its id.
        piston: String,
        /// The block it is assigned to.
        block: String,
    },
    /// A block with two sets.
    #[error("block {block} has two sets; one at most")]
    BlockTwice {
        /// Its id.
        block: String,
    },
    /// A piston in two places.
    #[error("piston {piston} lies in two places; one at most")]
    PistonTwice {
        /// Its id.
        piston: String,
    },
    /// A set that does not fill its block.
    #[error(
        "block {block} has {cylinders} cylinders but its set does not name each once, in order"
    )]
    NotComplete {
        /// Its id.
        block: String,
        /// How many cylinders the block has.
        cylinders: usize,
    },
    /// A clearance outside its limits.
    #[error(
        "cylinder {cylinder} of block {block} has a clearance of {clearance}, outside the rules"
    )]
    ClearanceOutside {
        /// The block.
        block: String,
        /// Cylinder, counted from 1.
        cylinder: usize,
        /// Bore less piston.
        clearance: Nanometre,
    },
    /// A spread of mass that is too wide.
    #[error("the masses in block {block} spread by {spread}, more than the rules allow")]
    SpreadTooWide {
        /// The block.
        block: String,
        /// Heaviest less lightest.
        spread: Milligram,
    },
    /// A figure of the answer that the pieces do not bear out.
    #[error("the {figure} stated for {what} is {stated}, but it is {found}")]
    WrongFigure {
        /// Which figure.
        figure: &'static str,
        /// Of which block, or of the whole.
        what: String,
        /// As stated.
        stated: f64,
        /// As found from the pieces.
        found: f64,
    },
    /// Less loss than the bound allows: the bound is wrong.
    #[error("a loss of {loss} is less than the bound of {loss_bound}")]
    BelowLossBound {
        /// Loss of the answer.
        loss: f64,
        /// The bound in the answer.
        loss_bound: f64,
    },
    /// More engines than the bound allows: the bound is wrong.
    #[error("{engines} engines are more than the bound of {bound}")]
    AboveBound {
        /// Engines in the answer.
        engines: usize,
        /// The bound in the answer.
        bound: usize,
    },
    /// A wish that is not kept.
    #[error("piston {piston} in block {block} is against a wish")]
    AgainstWish {
        /// The piston.
        piston: String,
        /// The block it is assigned to.
        block: String,
    },
    /// A piece both used and left over, or neither.
    #[error("{piece} is not accounted for exactly once, in a set or left over")]
    NotAccountedFor {
        /// Id of the block or piston.
        piece: String,
    },
}

/// Checks every rule on every engine of a matching, every figure stated with it, and that each
/// piece is accounted for once.
///
/// # Given
/// The pieces and rules as they were given to the search, and its answer.
/// # Returns
/// Nothing; the matching is legal.
/// # Errors
/// The first [`Fault`] found.
/// # Source
/// Derived here, from the definition of a legal engine.
pub fn check_matching(
    blocks: &[Block],
    pistons: &[Piston],
    rules: &Rules,
    matching: &Matching,
) -> Result<(), Fault> {
    let used = check_engines(blocks, pistons, rules, &matching.engines)?;
    let left: Vec<&str> = matching.left_over.pistons.iter().map(String::as_str).collect();
    let all = pistons.iter().map(Piston::id);
    accounted(all, used.iter().copied().chain(left))?;
    let built = matching.engines.iter().map(|set| set.block.as_str());
    let idle = matching.left_over.blocks.iter().map(|left| left.block.as_str());
    accounted(blocks.iter().map(Block::id), built.chain(idle))?;
    let loss: f64 = matching.engines.iter().map(|set| set.loss).sum();
    same("loss", "all engines", matching.loss, loss)?;
    let (engines, bound) = (matching.engines.len(), matching.bound);
    if engines > bound {
        return Err(Fault::AboveBound { engines, bound });
    }
    let loss_bound = matching.loss_bound;
    if loss_bound <= loss { Ok(()) } else { Err(Fault::BelowLossBound { loss, loss_bound }) }
}

/// Checks that sets keep every wish but the ranks, which only order answers.
///
/// # Errors
/// The first [`Fault::AgainstWish`] found.
pub fn check_wishes(wishes: &Wishes, engines: &[Set]) -> Result<(), Fault> {
    for set in engines {
        let against = |piston: &str| {
            let (piston, block) = (piston.to_owned(), set.block.clone());
            Err(Fault::AgainstWish { piston, block })
        };
        for place in &set.places {
            let id = place.piston.as_str();
            let here = |pin: &&Pin| pin.block == set.block && pin.cylinder == place.cylinder;
            let pinned_away = wishes.pins.iter().any(|pin| pin.piston == id && !here(&pin));
            let other_pinned_here = wishes.pins.iter().any(|pin| here(&pin) && pin.piston != id);
            let reserved_away =
                wishes.reserved.iter().any(|r| r.piston == id && r.block != set.block);
            let with = |other: &str| set.places.iter().any(|p| p.piston == other);
            let apart = wishes.apart.iter().any(|apart| match apart {
                Apart::PistonAndBlock { piston, block } => piston == id && *block == set.block,
                Apart::Pistons { one, other } => one == id && with(other),
            });
            if pinned_away || other_pinned_here || reserved_away || apart {
                return against(id);
            }
        }
    }
    Ok(())
}

/// Checks every rule on sets alone, as the ways of [`practice`](super::practice) give them, and
/// returns the ids of the pistons used.
///
/// # Errors
/// The first [`Fault`] found.
pub fn check_engines<'m>(
    blocks: &[Block],
    pistons: &[Piston],
    rules: &Rules,
    engines: &'m [Set],
) -> Result<Vec<&'m str>, Fault> {
    let block_named: HashMap<&str, &Block> = blocks.iter().map(|b| (b.id(), b)).collect();
    let piston_named: HashMap<&str, &Piston> = pistons.iter().map(|p| (p.id(), p)).collect();
    let mut built = HashSet::new();
    let mut used = Vec::new();
    let mut seen = HashSet::new();
    for set in engines {
        let Some(block) = block_named.get(set.block.as_str()) else {
            return Err(Fault::UnknownBlock { block: set.block.clone() });
        };
        if !built.insert(block.id()) {
            return Err(Fault::BlockTwice { block: set.block.clone() });
        }
        let mut own = Vec::new();
        for place in &set.places {
            let Some(piston) = piston_named.get(place.piston.as_str()) else {
                let (piston, block) = (place.piston.clone(), set.block.clone());
                return Err(Fault::UnknownPiston { piston, block });
            };
            if !seen.insert(piston.id()) {
                return Err(Fault::PistonTwice { piston: place.piston.clone() });
            }
            used.push(place.piston.as_str());
            own.push(*piston);
        }
        check_set(block, &own, rules, set)?;
    }
    Ok(used)
}

/// One set: complete, every clearance and the spread within the rules, every figure right.
fn check_set(block: &Block, own: &[&Piston], rules: &Rules, set: &Set) -> Result<(), Fault> {
    let name = || set.block.clone();
    let cylinders = block.bores().len();
    let numbered = set.places.iter().enumerate().all(|(i, place)| place.cylinder == i + 1);
    if own.len() != cylinders || !numbered {
        return Err(Fault::NotComplete { block: name(), cylinders });
    }
    let (min, max) = (rules.clearance_min(), rules.clearance_max());
    let target = rules.clearance_target();
    let half_width = (target - min).max(max - target).0 as f64;
    let mut loss = 0.0;
    for ((bore, piston), place) in block.bores().iter().zip(own).zip(&set.places) {
        let clearance = *bore - piston.diameter();
        let cylinder = place.cylinder;
        if clearance < min || max < clearance {
            return Err(Fault::ClearanceOutside { block: name(), cylinder, clearance });
        }
        same("clearance", &set.block, place.clearance.um(), clearance.um())?;
        if half_width > 0.0 {
            loss += ((clearance - target).0 as f64 / half_width).powi(2);
        }
    }
    let masses = || own.iter().map(|p| p.mass());
    let spread = masses().max().unwrap_or_default() - masses().min().unwrap_or_default();
    if spread > rules.mass_spread_max() {
        return Err(Fault::SpreadTooWide { block: name(), spread });
    }
    same("spread of mass", &set.block, set.mass_spread.g(), spread.g())?;
    if spread.0 > 0 {
        loss += spread.0 as f64 / rules.mass_spread_max().0 as f64;
    }
    same("loss", &set.block, set.loss, loss)
}

fn same(figure: &'static str, what: &str, stated: f64, found: f64) -> Result<(), Fault> {
    // Losses are sums of a few hundred thousand terms at most; the rest is exact.
    if (stated - found).abs() <= 1e-9 * found.abs().max(1.0) {
        Ok(())
    } else {
        Err(Fault::WrongFigure { figure, what: what.to_owned(), stated, found })
    }
}

/// Each of `all` once in `listed`, and nothing else.
fn accounted<'a>(
    all: impl Iterator<Item = &'a str>,
    listed: impl Iterator<Item = &'a str>,
) -> Result<(), Fault> {
    let mut count: HashMap<&str, i64> = HashMap::new();
    for id in all {
        *count.entry(id).or_default() += 1;
    }
    for id in listed {
        *count.entry(id).or_default() -= 1;
    }
    let wrong = count.into_iter().filter(|(_, n)| *n != 0).map(|(id, _)| id).min();
    wrong.map_or(Ok(()), |id| Err(Fault::NotAccountedFor { piece: id.to_owned() }))
}
