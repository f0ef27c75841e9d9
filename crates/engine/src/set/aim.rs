//! Where boring and piston turning should aim next, so that what comes goes with what lies in the
//! store.
//!
//! Blocks are left over because pistons of their size are missing. Turning the next pistons a few
//! micrometres larger completes them, at the price of pistons that suit the usual blocks less and
//! perhaps of some outside the drawing. [`next_aim`] plays the coming lot on paper for every aim
//! within the drawing, on the same draws of chance, and gives the gain in engines with its
//! standard error; the best aim is then played anew on other draws, because the best of many looks
//! better than it is, and a few lots are matched with the real search.
//!
//! An aim is a place on the drawing where the machine is set, not a promise: sizes scatter about
//! it. This module knows nothing of how fast a tool wears or how exactly a setter hits the aim.
//!
//! Start reading at [`next_aim`].

use bedplate_gauge::limits::Limits;

use sizes::SizeBand;

use super::size::Nanometre;
use super::{Block, Piston, Rules, SetError};

pub(super) mod lot;
mod play;
pub mod sizes;

/// Most blocks, left and coming together.
pub const BLOCKS_MAX: usize = 2_000;
/// Most pistons, left and coming together.
pub const PISTONS_MAX: usize = 20_000;
/// Most runs.
pub const RUNS_MAX: usize = 10_000;

/// How the boring machines scatter about their aim.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Boring {
    /// Standard deviation of what all bores of a block have in common, µm.
    pub block_sd_um: f64,
    /// Standard deviation of the bores within a block, µm.
    pub within_sd_um: f64,
    /// The drawing's limits, mm. A block with a bore outside is not built on.
    pub limits_mm: Limits,
}

/// How piston turning scatters about its aim.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turning {
    /// Standard deviation of the diameters, µm.
    pub sd_um: f64,
    /// The drawing's limits, mm. A piston outside is scrap.
    pub limits_mm: Limits,
    /// Mean mass, g.
    pub mass_g: f64,
    /// Standard deviation of the masses, g.
    pub mass_sd_g: f64,
}

/// What comes before the next setting.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Coming {
    /// Blocks to be bored.
    pub blocks: usize,
    /// Cylinders of each, 1 to 16.
    pub cylinders: usize,
    /// Pistons to be turned, good or scrap.
    pub pistons: usize,
}

/// Where the machines are set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Aim {
    /// Aim of boring, mm.
    pub bore_mm: f64,
    /// Aim of piston turning, mm.
    pub piston_mm: f64,
}

/// Which machines may be set anew.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MayMove {
    /// Piston turning alone.
    Pistons,
    /// Boring too.
    PistonsAndBores,
}

/// The question.
#[derive(Debug, Clone, Copy)]
pub struct AimQuestion<'a> {
    /// Blocks that lie in the store; they are served before those that come.
    pub blocks: &'a [Block],
    /// Pistons that lie in the store.
    pub pistons: &'a [Piston],
    /// The rules of the fit.
    pub rules: &'a Rules,
    /// The boring machines.
    pub boring: Boring,
    /// Piston turning.
    pub turning: Turning,
    /// What comes.
    pub coming: Coming,
    /// Where the machines are set now.
    pub now: Aim,
    /// What may be moved.
    pub may_move: MayMove,
}

/// How much is played.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Effort {
    /// Seed of the draws of chance.
    pub seed: u64,
    /// Runs for each aim, 2 to 10 000; an odd number is raised by one, since runs come in mirrored
    /// pairs.
    pub runs: usize,
    /// Runs that are also matched by the real search, 0 for none. Each takes two searches.
    pub searched_runs: usize,
    /// Moves for each block of such a search.
    pub moves: u32,
}

impl Default for Effort {
    /// 60 runs, 8 of them searched.
    fn default() -> Self {
        Self { seed: 1, runs: 60, searched_runs: 8, moves: 200 }
    }
}

/// A gain in engines against carrying on as now, from paired runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gain {
    /// Mean gain in engines.
    pub engines: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Lower end of its 95 % interval.
    pub lower: f64,
    /// Upper end of its 95 % interval.
    pub upper: f64,
    /// Runs it was made of.
    pub runs: usize,
}

/// One aim and what it comes to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AimPoint {
    /// The aim.
    pub aim: Aim,
    /// Mean engines of the lot, blocks served in order.
    pub engines: f64,
    /// Gain against the aim of now.
    pub gain: Gain,
    /// Share of the pistons turned that fall outside the drawing.
    pub pistons_outside: f64,
    /// Share of the bores that fall outside the drawing.
    pub bores_outside: f64,
}

/// What a part of the coming pistons at the best aim gains, the others being turned as now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Campaign {
    /// Pistons turned at the best aim.
    pub pistons: usize,
    /// Gain against turning all of them as now.
    pub gain: Gain,
}

/// What the best aim comes to once the pieces now in the store are used up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kept {
    /// Aim of boring less aim of turning, less the target clearance, µm. If every piston is used,
    /// the clearance lies off its target by this on the mean: kept for long, the aims should
    /// differ by the target clearance.
    pub clearance_off_um: f64,
    /// Gain of the coming lot alone, without the store; as a rule below zero.
    pub gain: Gain,
}

/// The answer of [`next_aim`].
#[derive(Debug, Clone, PartialEq)]
pub struct Advice {
    /// The gain of every aim of turning that was tried, rising, boring as now.
    pub curve: Vec<AimPoint>,
    /// The best aim, its figures from draws other than those that chose it.
    pub best: AimPoint,
    /// The best aim on lots matched by the real search; `None` if no run was to be
    /// searched.
    pub searched: Option<Gain>,
    /// Fewer pistons at the best aim: a quarter, half, three quarters, all.
    pub campaigns: Vec<Campaign>,
    /// Which sizes of piston the store is short of.
    pub sizes: Vec<SizeBand>,
    /// What happens if the aim is kept.
    pub kept: Kept,
}

/// Why no aim is advised.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AimError {
    /// NaN, an infinity, or below zero.
    #[error("the {what} is {value}; it must be a finite number of 0 or more")]
    NotTaken {
        /// Which figure.
        what: &'static str,
        /// As given.
        value: f64,
    },
    /// An aim outside the drawing.
    #[error("the {what} of {aim_mm} mm lies outside the drawing; it must lie within its limits")]
    OutsideDrawing {
        /// Which aim.
        what: &'static str,
        /// As given.
        aim_mm: f64,
    },
    /// Nothing comes whose aim could be chosen.
    #[error("no piston is to be turned; an aim needs at least one")]
    NoPistonsComing,
    /// A number of cylinders that no block has.
    #[error("{cylinders} cylinders are given; a block has 1 to 16")]
    Cylinders {
        /// As given.
        cylinders: usize,
    },
    /// More than is played.
    #[error("{value} {what} are too many; at most {limit} are taken")]
    TooMany {
        /// Of what.
        what: &'static str,
        /// As given.
        value: usize,
        /// The most taken.
        limit: usize,
    },
    /// Fewer than two runs give no standard error.
    #[error("{runs} runs give no standard error; at least 2 are needed")]
    TooFewRuns {
        /// As given.
        runs: usize,
    },
    /// The pieces or drawn pieces were refused by the search.
    #[error("the pieces were refused: {0}")]
    Set(#[from] SetError),
}

/// Where piston turning, and boring if it may be moved, should aim next.
///
/// # Formula
/// Engines of a lot: blocks in order, those of the store first, each promised to the class of mass
/// with the most free pistons in which earliest fit can still serve every cylinder promised so far
/// (exact for clearance windows of one width); classes as wide as the allowed spread. Gain of an aim: mean over mirrored pairs of runs of the engines at that aim less those at
/// the aim of now, on the same draws; standard error `s/√n` over the `n` pairs, 95 % interval
/// `±t₀.₉₇₅,ₙ₋₁` standard errors.
/// # Given
/// The store, the rules, the machines' scatter and drawing limits, what comes, the aims of now, and
/// how much to play. Aims are tried in steps of a tenth of the window (a fifth, and boring by
/// quarters, if boring may be moved), up to two windows from now, within the drawing.
/// # Returns
/// The [`Advice`]. Of the aims whose gain comes within one standard error of the most, the best is
/// the aim of now if it is one of them (with a gain of 0), else the one at which bore less piston
/// is nearest to the target clearance: it serves best once the store is used up, and stands
/// farthest from the edges of what serves.
/// # Errors
/// [`AimError`].
/// # Validity
/// Normal scatter, the setter hits the aim, gauging without error. Every engine counted is legal,
/// but more could be made: the gains are those of serving blocks in order, except in the searched
/// runs.
/// # Source
/// Derived here; common random numbers and mirrored (antithetic) draws after any textbook of
/// simulation.
pub fn next_aim(asked: &AimQuestion<'_>, effort: Effort) -> Result<Advice, AimError> {
    check(asked, effort)?;
    let draws = lot::draws(asked, effort.seed, effort.runs);
    let field = play::field(asked);
    let found = play::gains(asked, &draws, &field);
    let mut curve: Vec<AimPoint> =
        found.iter().filter(|point| play::bores_as_now(asked, point.aim)).copied().collect();
    curve.sort_by(|a, b| a.aim.piston_mm.total_cmp(&b.aim.piston_mm));
    let chosen = play::best(asked, &found);
    // The next seed's draws have nothing in common with those that chose.
    let fresh = lot::draws(asked, effort.seed.wrapping_add(1), effort.runs);
    let best = play::point(asked, &fresh, chosen);
    let searched = play::searched(asked, &fresh, chosen, effort)?;
    let campaigns = play::campaigns(asked, &fresh, chosen);
    let kept = play::kept(asked, &fresh, chosen);
    Ok(Advice { curve, best, searched, campaigns, sizes: sizes::bands(asked), kept })
}

fn check(asked: &AimQuestion<'_>, effort: Effort) -> Result<(), AimError> {
    let figures = [
        ("standard deviation between blocks", asked.boring.block_sd_um),
        ("standard deviation within a block", asked.boring.within_sd_um),
        ("standard deviation of the pistons", asked.turning.sd_um),
        ("mean mass", asked.turning.mass_g),
        ("standard deviation of the masses", asked.turning.mass_sd_g),
        ("aim of boring", asked.now.bore_mm),
        ("aim of turning", asked.now.piston_mm),
    ];
    if let Some((what, value)) = figures.into_iter().find(|(_, v)| !v.is_finite() || *v < 0.0) {
        return Err(AimError::NotTaken { what, value });
    }
    for (what, aim_mm, limits) in [
        ("aim of boring", asked.now.bore_mm, asked.boring.limits_mm),
        ("aim of turning", asked.now.piston_mm, asked.turning.limits_mm),
    ] {
        if Nanometre::from_mm(aim_mm).is_err() {
            return Err(AimError::NotTaken { what, value: aim_mm });
        }
        if !limits.contains(aim_mm) {
            return Err(AimError::OutsideDrawing { what, aim_mm });
        }
    }
    let Coming { blocks, cylinders, pistons } = asked.coming;
    if pistons == 0 {
        return Err(AimError::NoPistonsComing);
    }
    if cylinders == 0 || super::CYLINDERS_MAX < cylinders {
        return Err(AimError::Cylinders { cylinders });
    }
    if effort.runs < 2 {
        return Err(AimError::TooFewRuns { runs: effort.runs });
    }
    let counts = [
        ("blocks", blocks.saturating_add(asked.blocks.len()), BLOCKS_MAX),
        ("pistons", pistons.saturating_add(asked.pistons.len()), PISTONS_MAX),
        ("runs", effort.runs, RUNS_MAX),
        ("searched runs", effort.searched_runs, effort.runs),
    ];
    match counts.into_iter().find(|(_, value, limit)| limit < value) {
        Some((what, value, limit)) => Err(AimError::TooMany { what, value, limit }),
        None => Ok(()),
    }
}
