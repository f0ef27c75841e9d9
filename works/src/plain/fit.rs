//! Sets of pistons for blocks, from two sheets and a file of rules.

mod rules;
mod sheets;

use bedplate_engine::set::clearance::{GaugedClearance, probability_all_inside};
use bedplate_engine::set::practice::{first_in_first_out, grade_bins};
use bedplate_engine::set::size::Nanometre;
use bedplate_engine::set::{
    Block, LeftBlock, Matching, Piston, Progress, Reason, Rules, Search, Set, match_sets_while,
};
use bedplate_gauge::limits::Limits;
use serde::Serialize;

use super::{Faults, PlainFault};
use crate::plan::read::parse_as;
use crate::sets::aim::{AimAsked, AimSheet, Gauged, Lot, advise};
use crate::trace::counted;
use crate::worksheet::cells::push_row;
use rules::{ClearanceDoubt, FileRules, rules_of};
use sheets::{read_blocks, read_pistons};

/// One piston in its cylinder.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FitPlace {
    /// Cylinder, from 1.
    pub cylinder: usize,
    /// The piston.
    pub piston: String,
    /// Bore less piston, µm.
    pub clearance_um: f64,
    /// The same in whole nanometres.
    #[serde(skip)]
    clearance: Nanometre,
}

/// One complete engine.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FitEngine {
    /// The block.
    pub block: String,
    /// Its pistons, in order of cylinder.
    pub places: Vec<FitPlace>,
    /// Heaviest piston less lightest, g.
    pub mass_spread_g: f64,
    /// Probability that every clearance lies in the window, if the rules say how sure sizes are.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub probability: Option<f64>,
}

/// A block without a set, and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FitLeft {
    /// The block.
    pub block: String,
    /// Why, in words.
    pub reason: String,
}

/// Pistons that would complete more engines; each line counts on those before it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Missing {
    /// How many pistons.
    pub pistons: usize,
    /// Their least diameter, mm.
    pub from_mm: f64,
    /// Their greatest diameter, mm.
    pub to_mm: f64,
    /// How many more engines they complete.
    pub engines: usize,
    /// In words.
    pub words: String,
}

/// What the two usual ways of choosing by hand would complete from the same pieces.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct ByHand {
    /// Engines, by sorting bores and pistons into grades and masses into classes.
    pub grade_bins: usize,
    /// Engines, by taking for each block in the order of its file the first pistons that fit.
    pub first_in_first_out: usize,
}

/// The sets found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FitAnswer {
    /// Blocks in the file.
    pub blocks: usize,
    /// Pistons in the file.
    pub pistons: usize,
    /// Least, aimed at and greatest clearance, µm.
    pub clearance_um: [f64; 3],
    /// Greatest spread of mass allowed, g.
    pub mass_spread_g: f64,
    /// Complete engines, by block.
    pub engines: Vec<FitEngine>,
    /// How many they are.
    pub found: usize,
    /// No pairing completes more than this.
    pub bound: usize,
    /// Sum of the engines' losses.
    pub loss: f64,
    /// No pairing with as many engines has a loss below this.
    pub loss_bound: f64,
    /// Mean distance of a clearance from target, µm; 0 if there is no engine.
    pub mean_deviation_um: f64,
    /// Largest spread of mass in one engine, g; 0 if there is no engine.
    pub largest_mass_spread_g: f64,
    /// What choosing by hand would complete.
    pub by_hand: ByHand,
    /// Pistons that would complete more engines.
    pub missing: Vec<Missing>,
    /// Blocks without a set.
    pub left_blocks: Vec<FitLeft>,
    /// Pistons in no set.
    pub left_pistons: Vec<String>,
    /// Moves that were made, over all blocks.
    pub moves: u64,
    /// Moves for each block that were asked for.
    pub moves_asked: u32,
    /// Rounds of the search: the same files, seed and rounds give the same answer.
    pub rounds: u32,
    /// Seed of the search.
    pub seed: u64,
}

impl FitAnswer {
    /// The sets as a sheet `block_id,cylinder,piston_id,clearance_um`: complete engines only, by
    /// block and then by cylinder; a clearance in the digits that it needs.
    #[must_use]
    pub fn fit_csv(&self) -> String {
        let mut csv = "block_id,cylinder,piston_id,clearance_um\n".to_owned();
        for engine in &self.engines {
            for place in &engine.places {
                let (cylinder, um) = (place.cylinder.to_string(), um_text(place.clearance));
                push_row(&mut csv, &[&engine.block, &cylinder, &place.piston, &um]);
            }
        }
        csv
    }
}

/// Micrometres in the digits that are needed: 36, 35.4, 0.125.
fn um_text(length: Nanometre) -> String {
    let sign = if length.0 < 0 { "-" } else { "" };
    let (whole, rest) = (length.0.unsigned_abs() / 1000, length.0.unsigned_abs() % 1000);
    let text = format!("{sign}{whole}.{rest:03}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Chooses sets of pistons for blocks.
///
/// `blocks` is a sheet `block_id,bore1,…,boreN`, `pistons` a sheet
/// `piston_id,diameter_mm,mass_g`; each is given with the name that faults call it by. A figure
/// without a unit is in mm or g, or in the unit that its heading says, as in `bore1_in`. `rules` is
/// a TOML text with `min`, `max` and perhaps `target` under `[clearance]` (without it the middle)
/// and `spread` under `[mass]`. Sizes are taken to the nearest nanometre and milligram from their
/// own digits.
///
/// # Errors
/// [`PlainFault`] with every row that is refused and every fault of the rules; then nothing is
/// assigned.
///
/// # Example
/// ```
/// use bedplate_engine::set::Search;
/// let blocks = ("blocks.csv", b"block_id,bore1\nB1,68.0060\n".as_slice());
/// let pistons = ("pistons.csv", b"piston_id,diameter_mm,mass_g\nP1,67.9702,418\n".as_slice());
/// let rules = "[clearance]\nmin = \"30 µm\"\nmax = \"42 µm\"\n[mass]\nspread = \"4 g\"\n";
/// let fit = bedplate_works::plain::fit::fit(
///     blocks, pistons, ("rules.toml", rules), Search::default(),
/// )?;
/// assert_eq!(fit.fit_csv(), "block_id,cylinder,piston_id,clearance_um\nB1,1,P1,35.8\n");
/// # Ok::<(), bedplate_works::plain::PlainFault>(())
/// ```
pub fn fit(
    blocks: (&str, &[u8]),
    pistons: (&str, &[u8]),
    rules: (&str, &str),
    search: Search,
) -> Result<FitAnswer, PlainFault> {
    fit_while(blocks, pistons, rules, search, &mut |_| true)
}

/// Where piston turning (and boring) should aim next, from the same files: how the machines scatter
/// is taken from the pieces in the order of their rows. `[drawing]` in the rules may give the limits
/// `bore` and `piston`, each a list of two sizes; without them aims are tried within ten standard
/// deviations.
///
/// # Errors
/// As [`fit`]; and if there are too few pieces to say how they scatter.
pub fn next_aim(
    blocks: (&str, &[u8]),
    pistons: (&str, &[u8]),
    rules: (&str, &str),
    asked: AimAsked,
) -> Result<AimSheet, PlainFault> {
    let (all_blocks, all_pistons, read) = read_files(blocks, pistons, rules)?;
    let narrowed = read.narrowed(&all_blocks);
    let FileRules { said, drawing, .. } = read;
    let (all_blocks, all_pistons, _) = said.settle(all_blocks, all_pistons);
    let gauged = Gauged {
        bores: all_blocks
            .iter()
            .map(|b| (b.id().to_owned(), b.bores().iter().map(|d| d.mm()).collect()))
            .collect(),
        pistons_mm: all_pistons.iter().map(|p| p.diameter().mm()).collect(),
        masses_g: all_pistons.iter().map(|p| p.mass().g()).collect(),
        bore_limits_mm: drawing.bore_mm,
        piston_limits_mm: drawing.piston_mm,
        titles: ["Bore".to_owned(), "Piston".to_owned()],
    };
    let cylinders = all_blocks.iter().map(|b| b.bores().len()).max().unwrap_or(1);
    let advised = narrowed.and_then(|rules| {
        let lot = Lot { blocks: &all_blocks, pistons: &all_pistons, rules: &rules };
        advise(&lot, gauged.machines()?, cylinders, asked)
    });
    advised
        .map(|mut sheet| {
            "Piston in bore".clone_into(&mut sheet.fit);
            "Piston".clone_into(&mut sheet.inner);
            "Bore".clone_into(&mut sheet.outer);
            sheet
        })
        .map_err(|why| {
            let mut file = Faults::of(rules.0);
            file.add(1, 0, why);
            PlainFault { faults: file.list }
        })
}

/// Reads the three files, every fault of all of them at once.
fn read_files(
    blocks: (&str, &[u8]),
    pistons: (&str, &[u8]),
    rules: (&str, &str),
) -> Result<(Vec<Block>, Vec<Piston>, FileRules), PlainFault> {
    let mut faults = Vec::new();
    let mut sound = |faulty: Result<(), PlainFault>| {
        faulty.unwrap_or_else(|fault| faults.extend(fault.faults));
    };
    let mut sheet = Faults::of(blocks.0);
    let all_blocks = read_blocks(blocks.1, &mut sheet);
    sound(sheet.none_or_fault());
    let mut sheet = Faults::of(pistons.0);
    let all_pistons = read_pistons(pistons.1, &mut sheet);
    sound(sheet.none_or_fault());
    let read = parse_as(rules.0, rules.1, rules_of);
    let read = read.map_err(|fault| sound(Err(fault.into()))).ok();
    match read.filter(|_| faults.is_empty()) {
        Some(read) => Ok((all_blocks, all_pistons, read)),
        None => Err(PlainFault { faults }),
    }
}

/// As [`fit`], told after each round of the search how far it is; `go_on` says whether to look
/// further.
///
/// # Errors
/// As [`fit`].
pub fn fit_while(
    blocks: (&str, &[u8]),
    pistons: (&str, &[u8]),
    rules: (&str, &str),
    search: Search,
    go_on: &mut dyn FnMut(&Progress) -> bool,
) -> Result<FitAnswer, PlainFault> {
    let (all_blocks, all_pistons, read) = read_files(blocks, pistons, rules)?;
    let narrowed = read.narrowed(&all_blocks);
    let FileRules { doubt, said, .. } = read;
    let (all_blocks, all_pistons, wishes) = said.settle(all_blocks, all_pistons);
    let rule = narrowed.map_err(|why| {
        let mut file = Faults::of(rules.0);
        file.add(1, 0, why);
        PlainFault { faults: file.list }
    })?;
    let matched = match_sets_while(&all_blocks, &all_pistons, &rule, &wishes, search, go_on)
        .and_then(|m| Ok((m, by_hand(&all_blocks, &all_pistons, &rule)?)));
    match matched {
        Ok((matching, by_hand)) => {
            let counts = (all_blocks.len(), all_pistons.len());
            let mut answer = answer(counts, &rule, &matching, by_hand, search);
            if let Some(u) = doubt {
                answer.engines.iter_mut().for_each(|e| e.probability = probability(e, &u));
            }
            Ok(answer)
        }
        Err(error) => {
            // The readers above have looked for all that is refused here.
            let mut sheet = Faults::of(blocks.0);
            sheet.add(1, 0, error.to_string());
            Err(PlainFault { faults: sheet.list })
        }
    }
}

fn by_hand(
    blocks: &[Block],
    pistons: &[Piston],
    rules: &Rules,
) -> Result<ByHand, bedplate_engine::set::SetError> {
    Ok(ByHand {
        grade_bins: grade_bins(blocks, pistons, rules)?.len(),
        first_in_first_out: first_in_first_out(blocks, pistons, rules)?.len(),
    })
}

#[expect(clippy::cast_precision_loss, reason = "nanometres of a shop and counts are below 2^53")]
fn answer(
    (blocks, pistons): (usize, usize),
    rules: &Rules,
    matching: &Matching,
    by_hand: ByHand,
    search: Search,
) -> FitAnswer {
    let target = rules.clearance_target();
    let away = |set: &Set| {
        set.places.iter().map(|p| (p.clearance.0 - target.0).unsigned_abs()).sum::<u64>()
    };
    let all_away: u64 = matching.engines.iter().map(away).sum();
    let n_places: usize = matching.engines.iter().map(|s| s.places.len()).sum();
    let largest = matching.engines.iter().map(|s| s.mass_spread).max().unwrap_or_default();
    FitAnswer {
        blocks,
        pistons,
        clearance_um: [rules.clearance_min().um(), target.um(), rules.clearance_max().um()],
        mass_spread_g: rules.mass_spread_max().g(),
        engines: matching.engines.iter().map(engine).collect(),
        found: matching.engines.len(),
        bound: matching.bound,
        loss: matching.loss,
        loss_bound: matching.loss_bound,
        mean_deviation_um: all_away as f64 / n_places.max(1) as f64 / 1e3,
        largest_mass_spread_g: largest.g(),
        by_hand,
        missing: matching
            .blocking
            .iter()
            .map(|s| Missing {
                pistons: s.pistons,
                from_mm: s.from.mm(),
                to_mm: s.to.mm(),
                engines: s.engines,
                words: format!(
                    "{} of {:.3} to {:.3} mm would complete {}",
                    counted(s.pistons, "more piston"),
                    s.from.mm(),
                    s.to.mm(),
                    counted(s.engines, "more engine")
                ),
            })
            .collect(),
        left_blocks: matching.left_over.blocks.iter().map(left).collect(),
        left_pistons: matching.left_over.pistons.clone(),
        moves: matching.moves,
        moves_asked: search.moves,
        rounds: matching.rounds,
        seed: search.seed,
    }
}

fn engine(set: &Set) -> FitEngine {
    let place = |p: &bedplate_engine::set::Place| FitPlace {
        cylinder: p.cylinder,
        piston: p.piston.clone(),
        clearance_um: p.clearance.um(),
        clearance: p.clearance,
    };
    FitEngine {
        block: set.block.clone(),
        places: set.places.iter().map(place).collect(),
        mass_spread_g: set.mass_spread.g(),
        probability: None,
    }
}

/// Probability that every clearance of an engine lies in the fit's own window.
fn probability(engine: &FitEngine, u: &ClearanceDoubt) -> Option<f64> {
    let limits = Limits::new(Some(u.window.min.um()), Some(u.window.max.um())).ok()?;
    let gauged: Vec<GaugedClearance> = engine
        .places
        .iter()
        .map(|p| GaugedClearance { clearance_um: p.clearance_um, uncertainty_um: u.standard_um })
        .collect();
    probability_all_inside(&gauged, &limits).ok()
}

fn left(left: &LeftBlock) -> FitLeft {
    let reason = match left.reason {
        Reason::NoPistonFits { cylinder } => format!("no piston of the file fits bore {cylinder}"),
        Reason::NoSetKeepsMass => "no set that fits keeps the spread of mass".to_owned(),
        Reason::PistonsServeOthers => "the pistons that fit serve other engines".to_owned(),
    };
    FitLeft { block: left.block.clone(), reason }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clearance_is_written_in_the_digits_it_needs() {
        let texts = [36_000, 35_400, 125, -1_500, 0].map(|nm| um_text(Nanometre(nm)));
        assert_eq!(texts, ["36", "35.4", "0.125", "-1.5", "0"]);
    }
}
