//! Sets of pistons for blocks, from two sheets and a file of rules.

use std::collections::HashMap;

use bedplate_engine::set::clearance::{GaugedClearance, probability_all_inside};
use bedplate_engine::set::practice::{first_in_first_out, grade_bins};
use bedplate_engine::set::size::{Milligram, Nanometre};
use bedplate_engine::set::{
    Block, CYLINDERS_MAX, LeftBlock, Matching, Piston, Progress, Reason, Rules, Search, Set,
    Window, match_sets_while,
};
use bedplate_gauge::limits::Limits;
use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::{Dimension, Unit};
use serde::Serialize;

use super::wishes::{Said, said};
use super::{Faults, PlainFault, unit_behind};
use crate::plan::read::parse_as;
use crate::plan::table::{Sign, Table};
use crate::sets::aim::{AimAsked, AimSheet, Gauged, Lot, advise};
use crate::trace::counted;
use crate::who::nearest;
use crate::worksheet::cells::{CellRow, Cells, figure, push_row, read_cells, sound_name};

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

/// What the file of rules says.
struct FileRules {
    rules: Rules,
    doubt: Option<ClearanceDoubt>,
    said: Said,
    drawing: Drawing,
}

/// Limits of the drawing, where they are given.
#[derive(Debug, Clone, Copy, Default)]
struct Drawing {
    bore_mm: [Option<f64>; 2],
    piston_mm: [Option<f64>; 2],
}

/// How sure a clearance is.
#[derive(Clone, Copy)]
struct ClearanceDoubt {
    /// The window before it is narrowed.
    window: Window,
    /// Standard uncertainty of one clearance, µm.
    standard_um: f64,
    /// Least probability that all clearances of an engine lie in the window, if that is a rule.
    sure: Option<f64>,
}

impl FileRules {
    /// The rules with the window narrowed as far as `sure` asks, each cylinder of the largest block
    /// taking its equal share.
    fn narrowed(&self, blocks: &[Block]) -> Result<Rules, String> {
        let Some(ClearanceDoubt { window, standard_um, sure: Some(sure) }) = self.doubt else {
            return Ok(self.rules.clone());
        };
        let most = blocks.iter().map(|b| b.bores().len()).max().unwrap_or(1);
        let each = sure.powf(1.0 / u32::try_from(most).map_or(1.0, f64::from));
        let narrowed = crate::sets::narrowed(window, standard_um * 1e3, each).ok_or_else(|| {
            format!(
                "no clearance lies in the window with {:.1} % for each of {most} cylinders at a \
                 standard uncertainty of {standard_um:.2} µm; widen the window, gauge better, or \
                 ask for less",
                each * 100.0
            )
        })?;
        Rules::new(narrowed, self.rules.mass_spread_max()).map_err(|e| e.to_string())
    }
}

fn rules_of(root: &Table<'_>) -> Option<FileRules> {
    let known = ["clearance", "mass", "uncertainty", "drawing", "held", "due", "keep", "apart"];
    root.knows(&known);
    let window = root.table("clearance", "[clearance]").and_then(|t| t.sound(window_of));
    let mass = root.table("mass", "[mass]");
    let spread = mass.as_ref().and_then(|t| t.sound(spread_of));
    for (key, lacking) in [("clearance", "min and max"), ("mass", "spread")] {
        if !root.has(key) {
            let mend = format!("add it, with {lacking}");
            root.fault(&root.span, format!("the rules have no [{key}]"), mend);
        }
    }
    let doubt =
        root.table("uncertainty", "[uncertainty]").map(|t| t.sound(|t| doubt_of(t, window)));
    let said = said(root);
    let drawing = root.table("drawing", "[drawing]").map(|t| t.sound(drawing_of));
    root.finish_of("the rules");
    let doubt = match doubt {
        None => None,
        Some(doubt) => Some(doubt?),
    };
    let rules = Rules::new(window?, spread?);
    let rules = rules.map_err(|e| root.fault(&root.span, e.to_string(), "mend the rules")).ok()?;
    let drawing = match drawing {
        None => Drawing::default(),
        Some(drawing) => drawing?,
    };
    Some(FileRules { rules, doubt, said: said?, drawing })
}

/// Reads `[drawing]`: the limits of bore and piston.
fn drawing_of(table: &Table<'_>) -> Option<Drawing> {
    table.knows(&["bore", "piston"]);
    let limits = |key, example| -> Option<[Option<f64>; 2]> {
        if !table.has(key) {
            return Some([None, None]);
        }
        let words = table.different_words(key, example)?;
        let read = |word| table.quantity_in(key, word, Dimension::Length, Sign::Positive);
        let [lower, upper] = words.as_slice() else {
            let what = format!("{key} names {}, not two", words.len());
            table.fault_at(key, what, format!("write it like {key} = {example}"));
            return None;
        };
        let (lower, upper) = (read(lower)?.si() * 1e3, read(upper)?.si() * 1e3);
        if upper <= lower {
            table.fault_at(key, format!("the limits of {key} cross"), "swap the two");
            return None;
        }
        Some([Some(lower), Some(upper)])
    };
    let bore_mm = limits("bore", "[\"68.000 mm\", \"68.012 mm\"]");
    let piston_mm = limits("piston", "[\"67.960 mm\", \"67.980 mm\"]");
    Some(Drawing { bore_mm: bore_mm?, piston_mm: piston_mm? })
}

/// Reads `[uncertainty]`: expanded uncertainties of bore and piston, and perhaps how sure an
/// engine's clearances must be.
fn doubt_of(table: &Table<'_>, window: Option<Window>) -> Option<ClearanceDoubt> {
    table.knows(&["bore", "piston", "sure"]);
    let um = |key, example| {
        let q = table.quantity(key, Dimension::Length, Sign::NotNegative);
        table.need(q, key, example).map(|q| q.to("µm"))
    };
    let (bore, piston) = (um("bore", "\"1.6 µm\""), um("piston", "\"1.2 µm\""));
    let sure = table.share("sure", 0.5..=0.9999, "\"99 %\"");
    let window = window?;
    // Expanded uncertainties have a coverage factor of 2.
    let standard_um = (bore? / 2.0).hypot(piston? / 2.0);
    let sure = if table.has("sure") { Some(sure?) } else { None };
    Some(ClearanceDoubt { window, standard_um, sure })
}

fn window_of(table: &Table<'_>) -> Option<Window> {
    table.knows(&["min", "max", "target"]);
    let length = |key| {
        let length = table.quantity(key, Dimension::Length, Sign::Any)?;
        let whole = millionths(&length).map(Nanometre).filter(|n| n.within_reach());
        if whole.is_none() {
            let what = format!("{key} = \"{length}\" is out of reach");
            table.fault_at(key, what, "write a clearance, such as \"36 µm\"");
        }
        whole
    };
    let min = table.need(length("min"), "min", "\"30 µm\"");
    let max = table.need(length("max"), "max", "\"42 µm\"");
    let target = length("target");
    let (min, max) = (min?, max?);
    if max < min {
        let what =
            format!("max = {} lies below min = {}", table.written("max"), table.written("min"));
        table.fault_at("max", what, "swap the two, or mend the figure");
        return None;
    }
    let middle = Nanometre(min.0 + (max.0 - min.0) / 2);
    let target = if table.has("target") { target? } else { middle };
    if target < min || max < target {
        let what = format!("target = {} lies outside min and max", table.written("target"));
        table.fault_at("target", what, "write one between them, or leave it out for the middle");
        return None;
    }
    Some(Window { min, target, max })
}

fn spread_of(table: &Table<'_>) -> Option<Milligram> {
    table.knows(&["spread"]);
    let spread = table.quantity("spread", Dimension::Mass, Sign::NotNegative);
    let spread = table.need(spread, "spread", "\"4 g\"")?;
    let whole = millionths(&spread).map(Milligram).filter(|m| m.within_reach());
    if whole.is_none() {
        let what = format!("spread = \"{spread}\" is out of reach");
        table.fault_at("spread", what, "write a mass, such as \"4 g\"");
    }
    whole
}

/// A length in nanometres or a mass in milligrams, from its digits by whole numbers alone, rounded
/// half away from zero; `None` if that is too large to be written so.
fn millionths(quantity: &Quantity) -> Option<i64> {
    let unit = quantity.unit();
    // A metre has 10^9 nanometres, a kilogram 10^6 milligrams.
    let steps = if unit.dimension == Dimension::Length { 9 } else { 6 };
    let power = i32::from(quantity.exponent()) + i32::from(unit.power) + steps;
    let ten = |power: i32| 10_i128.checked_pow(power.unsigned_abs());
    let up = i128::from(quantity.mantissa()).checked_mul(i128::from(unit.numerator))?;
    let (up, below) = if power < 0 {
        // Past 10^38 nothing of 64 bits is left of it.
        let Some(below) = ten(power) else { return Some(0) };
        (up, i128::from(unit.denominator).checked_mul(below)?)
    } else {
        (up.checked_mul(ten(power)?)?, i128::from(unit.denominator))
    };
    let (whole, rest) = (up / below, up % below);
    let away = if below - rest.abs() <= rest.abs() { up.signum() } else { 0 };
    i64::try_from(whole + away).ok()
}

/// A column of figures.
struct Figures {
    column: usize,
    unit: &'static Unit,
}

/// The unit that a heading says, or `default` if it says none.
fn unit_of(
    text: &str,
    default: &'static str,
    place: (u64, usize),
    faults: &mut Faults<'_>,
) -> Option<&'static Unit> {
    let default = Unit::named(default)?;
    if text.is_empty() {
        return Some(default);
    }
    let unit = Unit::named(text).filter(|u| u.dimension == default.dimension);
    if unit.is_none() {
        let (shown, wanted) = (shortened(text), default.dimension.words());
        let what = format!(
            "\"{shown}\" in the heading is no unit of {wanted}; write one such as {}",
            default.symbol
        );
        faults.add(place.0, place.1, what);
    }
    unit
}

fn shortened(text: &str) -> String {
    text.chars().take(64).collect()
}

/// The sheet, unless it is none.
fn cells(bytes: &[u8], faults: &mut Faults<'_>) -> Option<Cells> {
    read_cells(bytes).map_err(|fault| faults.add_sheet_fault(&fault)).ok()
}

fn unknown_heading(heading: &str, known: &[&str]) -> String {
    let shown = shortened(heading);
    match nearest(&shown, known.iter().copied()) {
        Some(near) => format!("there is no column \"{shown}\" here; did you mean \"{near}\"?"),
        None => {
            format!("there is no column \"{shown}\" here; the columns are {}", known.join(", "))
        }
    }
}

/// The cylinder and the unit of a heading such as `bore1`, `bore 12 (mm)` or `bore3_in`.
fn bore_heading(heading: &str) -> Option<(usize, &str)> {
    let heading = heading.trim();
    let begins = heading.get(..4)?.eq_ignore_ascii_case("bore");
    let rest = heading[4..].trim_start_matches(['_', ' ']);
    let n_digits = rest.bytes().take_while(u8::is_ascii_digit).count();
    let number = rest[..n_digits].parse().ok().filter(|_| begins)?;
    Some((number, unit_behind(rest, &rest[..n_digits])?))
}

fn block_columns(sheet: &Cells, faults: &mut Faults<'_>) -> Option<(usize, Vec<Figures>)> {
    const KNOWN: [&str; 5] = ["block_id", "bore1", "bore2", "bore3", "bore4"];
    let before = faults.list.len();
    let (mut id, mut bores) = (None, HashMap::new());
    for (column, heading) in sheet.headings.iter().enumerate() {
        let place = (sheet.heading_line, column);
        let is_id = ["block_id", "block"].iter().any(|h| heading.trim().eq_ignore_ascii_case(h));
        let twice = if is_id {
            id.replace(column).is_some()
        } else if let Some((number, unit)) = bore_heading(heading) {
            let Some(unit) = unit_of(unit, "mm", place, faults) else { continue };
            bores.insert(number, Figures { column, unit }).is_some()
        } else {
            // Spare separators at the end of the heading do no harm.
            let spare = sheet.headings[column..].iter().all(|h| h.trim().is_empty());
            if !spare {
                faults.add(place.0, place.1, unknown_heading(heading, &KNOWN));
            }
            false
        };
        if twice {
            faults.add(
                place.0,
                column,
                format!("the column \"{}\" is here twice", shortened(heading)),
            );
        }
    }
    if faults.list.len() > before {
        return None;
    }
    if id.is_none() {
        faults.add(sheet.heading_line, 0, "the heading has no column \"block_id\"");
    }
    let n_bores = bores.len();
    let lacking = (1..=n_bores.max(1)).find(|n| !bores.contains_key(n));
    if let Some(lacking) = lacking {
        faults.add(sheet.heading_line, 0, format!("the heading has no column \"bore{lacking}\""));
    } else if n_bores > CYLINDERS_MAX {
        let what = format!("the heading has {n_bores} bores; at most {CYLINDERS_MAX} are taken");
        faults.add(sheet.heading_line, 0, what);
    } else {
        let ordered = (1..=n_bores).filter_map(|n| bores.remove(&n)).collect();
        return id.map(|id| (id, ordered));
    }
    None
}

/// The fields of a row; notes why there are none.
fn fields_of<'r>(row: &'r CellRow, sheet: &Cells, faults: &mut Faults<'_>) -> Option<&'r [String]> {
    match &row.fields {
        Ok(fields) => Some(fields),
        Err((column, reason)) => {
            let heading = column.and_then(|c| sheet.headings.get(c));
            let what =
                heading.map_or_else(|| reason.clone(), |h| format!("{}: {reason}", shortened(h)));
            faults.add(row.line, column.unwrap_or(0), what);
            None
        }
    }
}

/// The pieces of a file, each once.
struct Names<'k> {
    kind: &'k str,
    seen: HashMap<String, u64>,
}

impl<'k> Names<'k> {
    fn of(kind: &'k str) -> Self {
        Self { kind, seen: HashMap::new() }
    }

    fn take(&mut self, id: &str, line: u64, column: usize, faults: &mut Faults<'_>) -> Option<()> {
        let kind = self.kind;
        if id.is_empty() {
            faults.add(line, column, format!("the {kind} has no id; every {kind} needs one"));
            return None;
        }
        if let Err(reason) = sound_name(id) {
            faults.add(line, column, format!("{kind}_id: {reason}"));
            return None;
        }
        if let Some(first) = self.seen.get(id) {
            let what =
                format!("{kind} {id} stands in line {first} already; each {kind} may stand once");
            faults.add(line, column, what);
            return None;
        }
        self.seen.insert(id.to_owned(), line);
        Some(())
    }
}

/// The figure of a column in whole steps.
fn steps(
    fields: &[String],
    column: &Figures,
    line: u64,
    heading: &str,
    faults: &mut Faults<'_>,
) -> Option<i64> {
    let text = fields.get(column.column).map_or("", String::as_str);
    let heading = shortened(heading);
    let read = figure(text, column.unit).and_then(|q| {
        if q.mantissa() <= 0 {
            return Err(format!("\"{text}\" is not above zero"));
        }
        let (limit, whole) = match q.unit().dimension {
            Dimension::Length => (Nanometre::REACH.0, "10 m"),
            _ => (Milligram::REACH.0, "10 t"),
        };
        let steps = millionths(&q).filter(|s| *s <= limit);
        match steps {
            None => Err(format!("\"{text}\" is out of reach; at most {whole} is taken")),
            Some(0) => Err(format!("\"{text}\" is too small to be told from zero")),
            Some(steps) => Ok(steps),
        }
    });
    read.map_err(|why| faults.add(line, column.column, format!("{heading}: {why}"))).ok()
}

fn read_blocks(bytes: &[u8], faults: &mut Faults<'_>) -> Vec<Block> {
    let Some(sheet) = cells(bytes, faults) else { return Vec::new() };
    let Some((id_column, columns)) = block_columns(&sheet, faults) else { return Vec::new() };
    let mut names = Names::of("block");
    let mut blocks = Vec::new();
    for row in &sheet.rows {
        let Some(fields) = fields_of(row, &sheet, faults) else { continue };
        let id = fields.get(id_column).map_or("", String::as_str);
        let named = names.take(id, row.line, id_column, faults);
        let bores: Vec<Option<i64>> = columns
            .iter()
            .map(|c| steps(fields, c, row.line, &sheet.headings[c.column], faults))
            .collect();
        let bores: Option<Vec<Nanometre>> = bores.into_iter().map(|b| b.map(Nanometre)).collect();
        let (Some(()), Some(bores)) = (named, bores) else { continue };
        match Block::new(id, bores) {
            Ok(block) => blocks.push(block),
            Err(error) => faults.add(row.line, id_column, error.to_string()),
        }
    }
    if sheet.rows.is_empty() {
        faults.add(sheet.heading_line, 0, "there is no block in the file; at least one is needed");
    }
    blocks
}

struct PistonColumns {
    id: usize,
    diameter: Figures,
    mass: Figures,
}

fn piston_columns(sheet: &Cells, faults: &mut Faults<'_>) -> Option<PistonColumns> {
    const KNOWN: [&str; 3] = ["piston_id", "diameter_mm", "mass_g"];
    let before = faults.list.len();
    let (mut id, mut diameter, mut mass) = (None, None, None);
    for (column, heading) in sheet.headings.iter().enumerate() {
        let place = (sheet.heading_line, column);
        let is_id = ["piston_id", "piston"].iter().any(|h| heading.trim().eq_ignore_ascii_case(h));
        let twice = if is_id {
            id.replace(column).is_some()
        } else if let Some(unit) = unit_behind(heading, "diameter") {
            let Some(unit) = unit_of(unit, "mm", place, faults) else { continue };
            diameter.replace(Figures { column, unit }).is_some()
        } else if let Some(unit) = unit_behind(heading, "mass") {
            let Some(unit) = unit_of(unit, "g", place, faults) else { continue };
            mass.replace(Figures { column, unit }).is_some()
        } else {
            let spare = sheet.headings[column..].iter().all(|h| h.trim().is_empty());
            if !spare {
                faults.add(place.0, place.1, unknown_heading(heading, &KNOWN));
            }
            false
        };
        if twice {
            faults.add(
                place.0,
                column,
                format!("the column \"{}\" is here twice", shortened(heading)),
            );
        }
    }
    let lacking = [id.is_none(), diameter.is_none(), mass.is_none()];
    if faults.list.len() == before {
        for (name, _) in KNOWN.iter().zip(lacking).filter(|(_, lacking)| *lacking) {
            faults.add(sheet.heading_line, 0, format!("the heading has no column \"{name}\""));
        }
    }
    let columns = PistonColumns { id: id?, diameter: diameter?, mass: mass? };
    (faults.list.len() == before).then_some(columns)
}

fn read_pistons(bytes: &[u8], faults: &mut Faults<'_>) -> Vec<Piston> {
    let Some(sheet) = cells(bytes, faults) else { return Vec::new() };
    let Some(columns) = piston_columns(&sheet, faults) else { return Vec::new() };
    let mut names = Names::of("piston");
    let mut pistons = Vec::new();
    for row in &sheet.rows {
        let Some(fields) = fields_of(row, &sheet, faults) else { continue };
        let id = fields.get(columns.id).map_or("", String::as_str);
        let named = names.take(id, row.line, columns.id, faults);
        let mut read = |c: &Figures| steps(fields, c, row.line, &sheet.headings[c.column], faults);
        let (diameter, mass) = (read(&columns.diameter), read(&columns.mass));
        let (Some(()), Some(diameter), Some(mass)) = (named, diameter, mass) else { continue };
        match Piston::new(id, Nanometre(diameter), Milligram(mass)) {
            Ok(piston) => pistons.push(piston),
            Err(error) => faults.add(row.line, columns.id, error.to_string()),
        }
    }
    if sheet.rows.is_empty() {
        faults.add(sheet.heading_line, 0, "there is no piston in the file; at least one is needed");
    }
    pistons
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_come_from_their_digits() {
        let steps = |text: &str| millionths(&text.parse().unwrap());
        assert_eq!(steps("68.0087 mm"), Some(68_008_700));
        // 1 in = 25.4 mm exactly.
        assert_eq!(steps("2.67750 in"), Some(68_008_500));
        assert_eq!(steps("36 µm"), Some(36_000));
        assert_eq!(steps("-0.5 µm"), Some(-500));
        assert_eq!(steps("418.25 g"), Some(418_250));
        assert_eq!(steps("68.00000050 mm"), Some(68_000_001));
        assert_eq!(steps("68.00000049 mm"), Some(68_000_000));
        assert_eq!(steps("999999999999999999 m"), None);
    }

    #[test]
    fn a_clearance_is_written_in_the_digits_it_needs() {
        let texts = [36_000, 35_400, 125, -1_500, 0].map(|nm| um_text(Nanometre(nm)));
        assert_eq!(texts, ["36", "35.4", "0.125", "-1.5", "0"]);
    }

    #[test]
    fn headings_may_name_another_unit() {
        assert_eq!(bore_heading("bore1"), Some((1, "")));
        assert_eq!(bore_heading("Bore 12 (mm)"), Some((12, "mm")));
        assert_eq!(bore_heading("bore3_in"), Some((3, "in")));
        assert_eq!(bore_heading("bore"), None);
        assert_eq!(bore_heading("bore1x"), None);
        assert_eq!(unit_behind("diameter_mm", "diameter"), Some("mm"));
        assert_eq!(unit_behind("massive", "mass"), None);
    }
}
