//! Live kitting: blocks come along the track one at a time and must be told their pistons now.
//!
//! The store of pistons is finite and filled up again as pistons are taken, with whatever comes
//! from the lathes. What nobody takes stays and clogs it, so that a good choice for this block can
//! starve the next hundred. [`decide`] names the pistons for one block, or says that it must be
//! parked, and why; [`simulate`] plays a whole works on paper and tells what a way of choosing
//! comes to.
//!
//! # Why the way called balanced neither starves nor wanders
//! If in the long run every piston is to be used, bores and pistons must be paired by rank: the
//! bore of which a tenth are smaller with the piston of which a tenth are smaller. For a squared
//! loss that pairing is also the one of least total loss. It can be reached choice by choice if
//! each piston carries a price: with the standardised relation `b(d) = μ_b + (σ_b/σ_p)(d − μ_p)`
//! between ranks, the loss `((b − d − t)/h)²` less a credit `u(d)` is least at the pairing by rank
//! exactly if `u′(d) = −2(b(d) − d − t)/h²`. With `δ = μ_b − t − μ_p` and `ρ = σ_b/σ_p` that is
//!
//! `u(d) = −[2δ(d − μ_p) + (ρ − 1)(d − μ_p)²]/h²`.
//!
//! The means and deviations are those of the pieces that came last. What this leaves out (masses,
//! shapes that are not normal, chance) is brought back by two further credits: one for sizes of
//! which more lie in the store than their share of what comes, one for age. Both grow with the
//! number of parked blocks. If no set is found this way, the block is offered what
//! first-in-first-out would give it, so that from the same store no block is parked that
//! first-in-first-out would have completed.
//!
//! No choice helps against a difference of means: if every piston is used, the mean clearance is
//! the mean bore less the mean piston, and its error is at least `|δ|`.
//!
//! This module knows nothing of clocks or files. Start reading at [`decide`].

pub mod simulate;
pub mod store;

mod choice;
mod habit;

use super::{Block, Set};
use store::Store;

/// A way of choosing pistons for the block that has just come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Policy {
    /// Grades of size and classes of mass; pieces of one grade and class only.
    GradeBins,
    /// The fullest class of mass first; in it, for each cylinder the oldest piston that really
    /// fits. The fair baseline.
    FirstInFirstOut,
    /// The least loss for this block, whatever it does to the store.
    BestFitNow,
    /// The least loss less what it is worth to be rid of the pistons; see the module.
    Balanced,
}

impl Policy {
    /// Every way, the baselines first.
    pub const ALL: [Self; 4] =
        [Self::GradeBins, Self::FirstInFirstOut, Self::BestFitNow, Self::Balanced];

    /// The name in the trade's words.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::GradeBins => "grade bins",
            Self::FirstInFirstOut => "first in, first out among pistons that fit",
            Self::BestFitNow => "best fit now",
            Self::Balanced => "balanced",
        }
    }
}

/// What is done with a block.
#[derive(Debug, Clone, PartialEq)]
pub enum Decision {
    /// It is completed with this set.
    Fit {
        /// The set, legal by the store's rules.
        set: Set,
        /// Why this one.
        because: Because,
    },
    /// It is parked, or sent away where no room is left.
    Park(Park),
}

/// Why a set was chosen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Because {
    /// The way of choosing knows one set only: the first that holds.
    FirstThatHolds,
    /// Of the sets looked at, this one has the least loss.
    LeastLoss,
    /// Of the sets looked at, this one has the least loss after credit for what it clears.
    LeastLossAfterCredit {
        /// Loss alone, as in [`Set::loss`].
        loss: f64,
        /// Credit for its pistons. Above zero: the store is better off without them than without
        /// others of the usual size.
        credit: f64,
        /// How old its oldest piston is: pistons received since, as a multiple of the store.
        oldest: f64,
    },
    /// Nothing else was found, and first-in-first-out had a set.
    BaselineHadOne,
}

/// Why a block is parked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Park {
    /// No piston of the store lies in this cylinder's clearance window.
    NoPistonFits {
        /// Cylinder, counted from 1.
        cylinder: usize,
    },
    /// Every cylinder has pistons that fit, but no set was found that keeps the spread of mass and
    /// uses no piston twice.
    NoSetHolds,
    /// No class of mass holds a piston for every cylinder by this way's own rule.
    NoClassHolds,
}

/// Names the pistons for a block from what lies in the store now, or says why it must be parked.
///
/// # Formula
/// [`Policy::Balanced`]: least `Σ_c [((D_c − d_p − t)/h)² − u_p] + (m_max − m_min)/w` over the sets
/// that keep every rule, with the credit `u_p` of the module; the others as named there.
/// # Given
/// The store with what it remembers of the pieces that came; the block; the number of other blocks
/// that are parked, 0 or more; the way of choosing. The block should have been told to the store
/// by [`Store::note_block`] when it came, once, so that its bores count as demand.
/// # Returns
/// A legal set, or the reason for parking. The store is left as it is: [`Store::take`] takes the
/// pistons out.
/// # Validity
/// The rules are kept exactly. Credits are learnt from the last 2 000 bores and pistons; a works
/// that has just begun is treated as centred and grows out of that within some dozen blocks.
/// # Source
/// Derived in the module's comment: the prices of the pairing by rank (Kantorovich's duality, from
/// memory), corrected by what lies in the store.
#[must_use]
pub fn decide(store: &Store, block: &Block, parked: usize, policy: Policy) -> Decision {
    let runs: Vec<_> = block.bores().iter().map(|&bore| store.fitting(bore)).collect();
    if let Some(at) = runs.iter().position(std::ops::Range::is_empty) {
        return Decision::Park(Park::NoPistonFits { cylinder: at + 1 });
    }
    let fit = |chosen: &[usize], because| Decision::Fit { set: store.set(block, chosen), because };
    let or_park = |chosen: Option<Vec<usize>>| match chosen {
        Some(chosen) => fit(&chosen, Because::FirstThatHolds),
        None => Decision::Park(Park::NoClassHolds),
    };
    match policy {
        Policy::GradeBins => or_park(habit::grade_bins(store, block)),
        Policy::FirstInFirstOut => or_park(habit::first_in_first_out(store, block)),
        Policy::BestFitNow => match choice::cheapest(store, block, &runs, &|_| 0.0) {
            Some(chosen) => fit(&chosen, Because::LeastLoss),
            None => Decision::Park(Park::NoSetHolds),
        },
        Policy::Balanced => {
            let credits = store.credits(&runs, parked);
            let credit = |held: usize| credits[held];
            if let Some(chosen) = choice::cheapest(store, block, &runs, &credit) {
                let set = store.set(block, &chosen);
                let because = Because::LeastLossAfterCredit {
                    loss: set.loss,
                    credit: chosen.iter().map(|&held| credit(held)).sum(),
                    oldest: chosen.iter().map(|&held| store.age(held)).fold(0.0, f64::max),
                };
                return Decision::Fit { set, because };
            }
            match habit::first_in_first_out(store, block) {
                Some(chosen) => fit(&chosen, Because::BaselineHadOne),
                None => Decision::Park(Park::NoSetHolds),
            }
        }
    }
}
