//! `bedplate match`

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use bedplate_engine::set::{Progress, Search};
use bedplate_works::plain;
use bedplate_works::plain::fit::FitAnswer;
use bedplate_works::sets::made::Change;
use bedplate_works::sets::{MatchingSheet, SetView};
use bedplate_works::works::Works;
use clap::Args;
use indicatif::{ProgressBar, ProgressStyle};
use serde_json::json;

use super::{Answer, By, InWorks, files, say};
use crate::exit::{Exit, Trouble};

#[derive(Debug, Args)]
pub(super) struct Match {
    /// Blocks: block_id,bore1,…,boreN in mm.
    #[arg(long, value_name = "FILE", requires_all = ["pistons", "rules"])]
    blocks: Option<PathBuf>,
    /// Pistons: piston_id,diameter_mm,mass_g.
    #[arg(long, value_name = "FILE", requires = "blocks")]
    pistons: Option<PathBuf>,
    /// Rules: [clearance] min, max, target and [mass] spread; also what is held, due, kept, apart.
    #[arg(long, value_name = "FILE", requires = "blocks")]
    rules: Option<PathBuf>,
    /// Writes the complete engines: block_id,cylinder,piston_id,clearance_um.
    #[arg(long, value_name = "FILE", requires = "blocks")]
    out: Option<PathBuf>,
    #[command(flatten)]
    effort: Effort,
    /// Shows the bounds alone: what no pairing can pass.
    #[arg(long, conflicts_with_all = ["make", "take_apart", "set"])]
    bound_only: bool,
    /// Says of every block left why, and what every rule and figure is.
    #[arg(long)]
    explain: bool,
    #[command(flatten)]
    advice: advice::Advice,
    #[command(flatten)]
    works: InWorks,
    /// Engine type of the works; the only one if left out.
    #[arg(long)]
    engine_type: Option<String>,
    #[command(flatten)]
    deeds: Deeds,
    #[command(flatten)]
    by: By,
}

mod advice;

/// How long to search.
#[derive(Debug, Args)]
struct Effort {
    /// Seed of the search: the same seed and moves give the same answer.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Moves of the search for each block.
    #[arg(long)]
    moves: Option<u32>,
    /// Seconds after which no further round is begun; without --moves it looks as long as that.
    #[arg(long, value_name = "SECONDS", value_parser = seconds)]
    time_limit: Option<f64>,
}

/// What is done with sets.
#[derive(Debug, Args)]
struct Deeds {
    /// Makes the proposed sets, or those of the blocks named with --block.
    #[arg(long, conflicts_with_all = ["blocks", "take_apart", "set"])]
    make: bool,
    /// A block whose proposed set is made; may be given again.
    #[arg(long, requires = "make", value_name = "BLOCK")]
    block: Vec<String>,
    /// A block that stands on the track: makes the set that it gets now.
    #[arg(long, value_name = "BLOCK", conflicts_with_all = ["blocks", "make", "set"])]
    kit: Option<String>,
    /// A set to be taken apart.
    #[arg(long, requires = "reason", value_name = "SET")]
    take_apart: Option<String>,
    /// A set in its tray that is changed: with --replace or --fitted.
    #[arg(long, value_name = "SET", conflicts_with = "blocks")]
    set: Option<String>,
    /// Places whose pieces come out, such as 2 or rod/3; the best that goes there comes in.
    #[arg(long, requires = "set", value_name = "PLACE", value_delimiter = ',')]
    replace: Vec<String>,
    /// The piece that goes in at the one place replaced.
    #[arg(long, requires = "replace", value_name = "PIECE")]
    with: Option<String>,
    /// Places whose pieces are fitted and stay; the rest is matched anew around them.
    #[arg(long, requires = "set", value_name = "PLACE", value_delimiter = ',')]
    fitted: Vec<String>,
    /// What comes out is scrapped.
    #[arg(long, requires = "set")]
    scrap: bool,
    /// Shows what the set would be, and changes nothing.
    #[arg(long, requires = "set")]
    try_only: bool,
    /// Why it is taken apart or changed.
    #[arg(long)]
    reason: Option<String>,
}

fn seconds(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(s) if s.is_finite() && (0.0..=86_400.0).contains(&s) => Ok(s),
        _ => Err("give seconds from 0 to 86400, such as 2.5".to_owned()),
    }
}

/// Shows how far a search is, and ends it in time.
struct Watch {
    began: Instant,
    limit: Option<Duration>,
    bound_only: bool,
    bar: ProgressBar,
}

impl Watch {
    fn new(effort: &Effort, bound_only: bool) -> Self {
        let bar = ProgressBar::new_spinner();
        if let Ok(style) = ProgressStyle::with_template("{spinner} {msg}") {
            bar.set_style(style);
        }
        let limit = effort.time_limit.map(Duration::from_secs_f64);
        Self { began: Instant::now(), limit, bound_only, bar }
    }

    fn goes_on(&self, p: &Progress) -> bool {
        self.bar.set_message(format!(
            "round {}: {} engines of at most {}, loss {:.1}, at least {:.1}",
            p.round, p.engines, p.bound, p.loss, p.loss_bound
        ));
        self.bar.tick();
        // Nothing is left to gain where answer and bounds have met; but the bounds know nothing of
        // ranks, which the usual effort is given to.
        let met = p.engines == p.bound && p.loss <= p.loss_bound * 1.000_001;
        let met = met && Search::MOVES <= p.round.saturating_mul(Search::ROUND_MOVES);
        !self.bound_only && !met && self.limit.is_none_or(|l| self.began.elapsed() < l)
    }

    fn seconds(&self) -> f64 {
        self.bar.finish_and_clear();
        (self.began.elapsed().as_secs_f64() * 1e3).round() / 1e3
    }
}

impl Match {
    pub(super) fn run(&self) -> Result<Answer, Trouble> {
        let moves = match (self.effort.moves, self.effort.time_limit) {
            (Some(moves), _) => moves,
            (None, Some(_)) => u32::MAX,
            (None, None) => Search::MOVES,
        };
        let search = Search { seed: self.effort.seed, moves };
        match (&self.blocks, &self.pistons, &self.rules) {
            (Some(b), Some(p), Some(r)) => self.of_files(b, p, r, search),
            _ => self.of_works(search),
        }
    }

    fn of_files(
        &self,
        blocks: &Path,
        pistons: &Path,
        rules: &Path,
        search: Search,
    ) -> Result<Answer, Trouble> {
        let texts = (files::bytes(blocks)?, files::bytes(pistons)?, files::text(rules)?);
        let names = (files::name(blocks), files::name(pistons), files::name(rules));
        if self.advice.is_aim() {
            let sheet = plain::fit::next_aim(
                (&names.0, &texts.0),
                (&names.1, &texts.1),
                (&names.2, &texts.2),
                self.advice.asked(search.seed),
            )
            .map_err(|f| files::refused(&f))?;
            return advice::Advice::aim_answer(&sheet);
        }
        let watch = Watch::new(&self.effort, self.bound_only);
        let fit = plain::fit::fit_while(
            (&names.0, &texts.0),
            (&names.1, &texts.1),
            (&names.2, &texts.2),
            search,
            &mut |p| watch.goes_on(p),
        )
        .map_err(|f| files::refused(&f))?;
        let seconds = watch.seconds();
        if self.bound_only {
            return bounds(fit.bound, fit.loss_bound, (fit.blocks, fit.pistons), seconds);
        }
        if let Some(out) = &self.out {
            files::write(out, &fit.fit_csv())?;
        }
        let mut figures = serde_json::to_value(&fit).unwrap_or_default();
        figures["seconds"] = json!(seconds);
        let exit = if fit.found < fit.blocks { Exit::No } else { Exit::Done };
        Answer::new(self.fit_text(&fit, seconds), &figures, exit)
    }

    fn fit_text(&self, fit: &FitAnswer, seconds: f64) -> String {
        let mut lines = vec![
            format!(
                "{} engines can be built from {} blocks and {} pistons; no pairing at all gives more than {}.",
                fit.found, fit.blocks, fit.pistons, fit.bound
            ),
            format!(
                "Clearances lie {:.2} µm from target on average; masses spread {:.1} g at the most.",
                fit.mean_deviation_um, fit.largest_mass_spread_g
            ),
            format!(
                "Loss {:.1}; no pairing with as many engines has less than {:.1}.",
                fit.loss, fit.loss_bound
            ),
            format!(
                "By hand: {} engines first in, first out among pistons that fit; {} by grades.",
                fit.by_hand.first_in_first_out, fit.by_hand.grade_bins
            ),
        ];
        let sure = fit.engines.iter().filter_map(|e| e.probability).reduce(f64::min);
        if let Some(least) = sure {
            lines.push(format!(
                "Every clearance of an engine lies inside with {:.1} % at least.",
                least * 100.0
            ));
        }
        lines.extend(fit.missing.iter().map(|m| format!("Missing: {}.", m.words)));
        let most = if self.explain { usize::MAX } else { 12 };
        let left = fit.left_blocks.iter().take(most);
        lines.extend(left.map(|l| format!("Left: {}, {}.", l.block, l.reason)));
        if fit.left_blocks.len() > most {
            let more = fit.left_blocks.len() - most;
            lines.push(format!("      and {more} blocks more; --explain lists them all."));
        }
        if self.explain {
            lines.push(EXPLAINED.to_owned());
            lines.push(format!("Seed {}, {} rounds, {} moves.", fit.seed, fit.rounds, fit.moves));
        }
        match &self.out {
            Some(out) => lines.push(format!("Written to {} in {seconds:.2} s.", out.display())),
            None => lines.push(fit.fit_csv()),
        }
        lines.join("\n")
    }

    fn of_works(&self, search: Search) -> Result<Answer, Trouble> {
        let reason = self.deeds.reason.as_deref().unwrap_or_default();
        if let Some(set) = &self.deeds.take_apart {
            let works = self.works.open()?;
            works.break_set(&self.by.deed()?, set, reason)?;
            let said = format!("Set {set} is taken apart.");
            return Answer::new(said, &json!({ "set": set }), Exit::Done);
        }
        if let Some(set) = &self.deeds.set {
            return self.of_set(set, reason);
        }
        if self.deeds.make {
            let works = self.works.open()?;
            let engine_type = self.engine_type(&works)?;
            let named = &self.deeds.block;
            let blocks = (!named.is_empty()).then_some(named.as_slice());
            let sets = works.make_sets(&self.by.deed()?, &engine_type, search, blocks)?;
            let text = match sets.as_slice() {
                [] => "No set can be made.".to_owned(),
                sets => format!("{} sets made: {}", sets.len(), sets.join(", ")),
            };
            return Answer::new(text, &json!({ "sets": sets }), Exit::Done);
        }
        if self.advice.is_asked() {
            let works = self.works.look()?;
            return self.advice.answer(&works, &self.engine_type(&works)?, self.effort.seed);
        }
        if let Some(block) = &self.deeds.kit {
            let works = self.works.open()?;
            let engine_type = self.engine_type(&works)?;
            let set = works.kit_block(&self.by.deed()?, &engine_type, block)?;
            let view = works.set(&set)?;
            return Answer::new(set_text(&view), &view, Exit::Done);
        }
        let works = self.works.look()?;
        let engine_type = self.engine_type(&works)?;
        let watch = Watch::new(&self.effort, self.bound_only);
        let sheet = works.matching_while(&engine_type, search, &mut |p| watch.goes_on(p))?;
        let seconds = watch.seconds();
        if self.bound_only {
            let counts = (sheet.blocks, sheet.pistons);
            return bounds(sheet.bound, sheet.loss_bound, counts, seconds);
        }
        let mut figures = serde_json::to_value(&sheet).unwrap_or_default();
        figures["seconds"] = json!(seconds);
        let exit = if sheet.left_blocks.is_empty() { Exit::Done } else { Exit::No };
        Answer::new(sheet_text(&sheet, self.explain), &figures, exit)
    }

    fn of_set(&self, set: &str, reason: &str) -> Result<Answer, Trouble> {
        let change = Change {
            out: self.deeds.replace.clone(),
            fitted: self.deeds.fitted.clone(),
            with: self.deeds.with.clone().unwrap_or_default(),
            scrap: self.deeds.scrap,
            reason: reason.to_owned(),
        };
        let changes = !change.out.is_empty() || !change.fitted.is_empty();
        let view = match (changes, self.deeds.try_only) {
            (false, _) => self.works.look()?.set(set)?,
            (true, true) => self.works.look()?.changed_set(set, &change)?,
            (true, false) => self.works.open()?.change_set(&self.by.deed()?, set, &change)?,
        };
        Answer::new(set_text(&view), &view, Exit::Done)
    }

    fn engine_type(&self, works: &Works) -> Result<String, Trouble> {
        if let Some(named) = &self.engine_type {
            return Ok(named.clone());
        }
        let plan = works.plan();
        match plan.sets.keys().collect::<Vec<_>>().as_slice() {
            [only] => Ok((*only).clone()),
            _ => Err(Trouble::usage("name the engine type with --engine-type", "")),
        }
    }
}

const EXPLAINED: &str = "\
How the figures are meant:
  engines  each complete: every fit inside its window, every spread kept, no piece twice
  bound    prices of scarce pistons, added up: no pairing at all can build more (weak duality)
  loss     squared distance from target in each fit's own scale, plus shares of the spreads
  left     no piece fits at all; or no set keeps the spread; or the pieces serve other engines";

fn bounds(
    bound: usize,
    loss_bound: f64,
    (blocks, pistons): (usize, usize),
    seconds: f64,
) -> Result<Answer, Trouble> {
    let text = format!(
        "From {blocks} blocks and {pistons} pistons no pairing at all gives more than {bound} engines."
    );
    let figures = json!({
        "bound": bound, "loss_bound": loss_bound, "blocks": blocks, "pistons": pistons,
        "seconds": seconds,
    });
    Answer::new(text, &figures, Exit::Done)
}

fn sheet_text(sheet: &MatchingSheet, explain: bool) -> String {
    let rows: Vec<Vec<String>> = sheet
        .proposed
        .iter()
        .map(|s| {
            let places: Vec<String> =
                s.places.iter().map(|p| format!("{} {}", p.piston, p.clearance.text)).collect();
            let sure = format!("{:.1} %", s.probability * 100.0);
            vec![s.block.clone(), places.join(", "), s.mass_spread.with_unit(), sure]
        })
        .collect();
    let mut lines = vec![
        format!(
            "{} engines can be built from {} blocks and {} pistons; no pairing gives more than {}. {} sets wait in their trays.",
            sheet.found,
            sheet.blocks,
            sheet.pistons,
            sheet.bound,
            sheet.in_tray.len()
        ),
        say::table(&["block", "pistons and clearances µm", "mass spread", "all inside"], &rows),
    ];
    if let Some(by_hand) = sheet.by_hand {
        lines.push(format!("First in, first out among pistons that fit would give {by_hand}."));
    }
    lines.extend(sheet.advice.iter().map(|a| format!("Missing: {}.", a.words)));
    if explain {
        lines.extend(sheet.rules.iter().map(|r| format!("Rule: {r}.")));
        let said = sheet.wishes.iter();
        lines.extend(said.map(|w| format!("Said: {} {} ({}).", w.piece, w.said, w.reason)));
        let left = sheet.left_blocks.iter();
        lines.extend(left.map(|l| format!("Left: {}, {}.", l.block, l.reason)));
        lines.push(EXPLAINED.to_owned());
    }
    lines.push("Make them: bedplate match --make --by PERSON".to_owned());
    lines.join("\n")
}

fn set_text(view: &SetView) -> String {
    let mut rows: Vec<Vec<String>> = view
        .places
        .iter()
        .map(|p| {
            let title = "main fit".to_owned();
            let clearance = p.clearance.with_unit();
            vec![p.position.clone(), p.piston.clone(), title, clearance, p.word.text().to_owned()]
        })
        .collect();
    rows.extend(view.fits.iter().map(|f| {
        let clearance = f.clearance.with_unit();
        let word = f.word.text().to_owned();
        vec![f.position.clone(), String::new(), f.title.clone(), clearance, word]
    }));
    let pieces: Vec<Vec<String>> = view
        .pieces
        .iter()
        .map(|p| vec![p.title.clone(), p.position.clone(), p.piece.clone()])
        .collect();
    let mut lines = vec![
        format!("Set {} on block {}: {}.", view.set, view.block, view.state),
        say::table(&["place", "piston", "fit", "clearance", "judged"], &rows),
    ];
    if !pieces.is_empty() {
        lines.push(say::table(&["part", "place", "piece"], &pieces));
    }
    let spreads = view.spreads.iter();
    lines.extend(spreads.map(|s| {
        format!("{}: {} of {} allowed.", s.title, s.spread.with_unit(), s.allowed.with_unit())
    }));
    lines.push(format!("All inside with {:.1} %.", view.probability * 100.0));
    lines.join("\n")
}
