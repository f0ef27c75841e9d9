//! `bedplate match`

use std::path::PathBuf;
use std::time::Instant;

use bedplate_engine::set::Search;
use bedplate_works::plain;
use bedplate_works::plain::fit::FitAnswer;
use bedplate_works::sets::MatchingSheet;
use clap::Args;
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
    /// Rules: [clearance] min, max, target and [mass] spread.
    #[arg(long, value_name = "FILE", requires = "blocks")]
    rules: Option<PathBuf>,
    /// Writes the complete engines: block_id,cylinder,piston_id,clearance_um.
    #[arg(long, value_name = "FILE", requires = "blocks")]
    out: Option<PathBuf>,
    /// Seed of the search: the same seed gives the same answer.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Moves of the search for each block.
    #[arg(long, default_value_t = Search::MOVES)]
    moves: u32,
    #[command(flatten)]
    works: InWorks,
    /// Engine type of the works; the only one if left out.
    #[arg(long)]
    engine_type: Option<String>,
    /// Makes the proposed sets, or those of the blocks named with --block.
    #[arg(long, conflicts_with_all = ["blocks", "take_apart"])]
    make: bool,
    /// A block whose proposed set is made; may be given again.
    #[arg(long, requires = "make", value_name = "BLOCK")]
    block: Vec<String>,
    /// A set to be taken apart.
    #[arg(long, requires = "reason", value_name = "SET")]
    take_apart: Option<String>,
    /// Why it is taken apart.
    #[arg(long)]
    reason: Option<String>,
    #[command(flatten)]
    by: By,
}

impl Match {
    pub(super) fn run(&self) -> Result<Answer, Trouble> {
        let search = Search { seed: self.seed, moves: self.moves };
        match (&self.blocks, &self.pistons, &self.rules) {
            (Some(b), Some(p), Some(r)) => self.of_files(b, p, r, search),
            _ => self.of_works(search),
        }
    }

    fn of_files(
        &self,
        blocks: &std::path::Path,
        pistons: &std::path::Path,
        rules: &std::path::Path,
        search: Search,
    ) -> Result<Answer, Trouble> {
        let began = Instant::now();
        let texts = (files::bytes(blocks)?, files::bytes(pistons)?, files::text(rules)?);
        let names = (files::name(blocks), files::name(pistons), files::name(rules));
        let fit = plain::fit::fit(
            (&names.0, &texts.0),
            (&names.1, &texts.1),
            (&names.2, &texts.2),
            search,
        )
        .map_err(|f| files::refused(&f))?;
        if let Some(out) = &self.out {
            files::write(out, &fit.fit_csv())?;
        }
        let seconds = began.elapsed().as_secs_f64();
        let mut figures = serde_json::to_value(&fit).unwrap_or_default();
        figures["seconds"] = json!((seconds * 1e3).round() / 1e3);
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
                "By hand: {} engines first in, first out among pistons that fit; {} by grades.",
                fit.by_hand.first_in_first_out, fit.by_hand.grade_bins
            ),
        ];
        lines.extend(fit.missing.iter().map(|m| format!("Missing: {}.", m.words)));
        let left = fit.left_blocks.iter().take(12);
        lines.extend(left.map(|l| format!("Left: {}, {}.", l.block, l.reason)));
        if fit.left_blocks.len() > 12 {
            lines.push(format!("      and {} blocks more.", fit.left_blocks.len() - 12));
        }
        match &self.out {
            Some(out) => lines.push(format!("Written to {} in {seconds:.2} s.", out.display())),
            None => lines.push(fit.fit_csv()),
        }
        lines.join("\n")
    }

    fn of_works(&self, search: Search) -> Result<Answer, Trouble> {
        if let Some(set) = &self.take_apart {
            let works = self.works.open()?;
            works.break_set(&self.by.deed()?, set, self.reason.as_deref().unwrap_or_default())?;
            return Answer::new(
                format!("Set {set} is taken apart."),
                &json!({ "set": set }),
                Exit::Done,
            );
        }
        if self.make {
            let works = self.works.open()?;
            let engine_type = self.engine_type(&works)?;
            let blocks = (!self.block.is_empty()).then_some(self.block.as_slice());
            let sets = works.make_sets(&self.by.deed()?, &engine_type, search, blocks)?;
            let text = match sets.as_slice() {
                [] => "No set can be made.".to_owned(),
                sets => format!("{} sets made: {}", sets.len(), sets.join(", ")),
            };
            return Answer::new(text, &json!({ "sets": sets }), Exit::Done);
        }
        let works = self.works.look()?;
        let engine_type = self.engine_type(&works)?;
        let sheet = works.matching(&engine_type, search)?;
        let exit = if sheet.left_blocks.is_empty() { Exit::Done } else { Exit::No };
        Answer::new(sheet_text(&sheet), &sheet, exit)
    }

    fn engine_type(&self, works: &bedplate_works::works::Works) -> Result<String, Trouble> {
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

fn sheet_text(sheet: &MatchingSheet) -> String {
    let rows: Vec<Vec<String>> = sheet
        .proposed
        .iter()
        .map(|s| {
            let places: Vec<String> =
                s.places.iter().map(|p| format!("{} {}", p.piston, p.clearance.text)).collect();
            vec![s.block.clone(), places.join(", "), s.mass_spread.with_unit()]
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
        say::table(&["block", "pistons and clearances µm", "mass spread"], &rows),
    ];
    lines.extend(sheet.advice.iter().map(|a| format!("To turning: {}.", a.words)));
    lines.push("Make them: bedplate match --make --by PERSON".to_owned());
    lines.join("\n")
}
