//! `bedplate match --aim` and `--live`

use bedplate_works::sets::aim::{AimAsked, AimSheet, GainView};
use bedplate_works::sets::kitting::KittingSheet;
use bedplate_works::works::Works;
use clap::Args;

use crate::cli::{Answer, say};
use crate::exit::{Exit, Trouble};

/// What is asked beside the sets themselves.
#[derive(Debug, Args)]
pub(super) struct Advice {
    /// Says where piston turning (and boring) should aim next, and what it gains.
    #[arg(long, conflicts_with_all = ["make", "set", "take_apart", "live", "bound_only"])]
    aim: bool,
    /// Blocks that come before the next setting; a day's rate if left out.
    #[arg(long, value_name = "BLOCKS", requires = "aim")]
    coming_blocks: Option<usize>,
    /// Pistons that are turned before the next setting; one for each cylinder if left out.
    #[arg(long, value_name = "PISTONS", requires = "aim")]
    coming_pistons: Option<usize>,
    /// Boring may be set anew too.
    #[arg(long, requires = "aim")]
    bores_too: bool,
    /// Grades, for a works that sorts.
    #[arg(long, value_name = "NUMBER", requires = "aim")]
    grades: Option<usize>,
    /// Shows what each waiting block gets now, one after another, and compares ways of choosing.
    #[arg(long, conflicts_with_all = ["blocks", "make", "set", "take_apart", "bound_only"])]
    live: bool,
}

impl Advice {
    pub(super) fn is_asked(&self) -> bool {
        self.aim || self.live
    }

    pub(super) fn answer(
        &self,
        works: &Works,
        engine_type: &str,
        seed: u64,
    ) -> Result<Answer, Trouble> {
        if self.live {
            let sheet = works.kitting(engine_type)?;
            return Answer::new(kitting_text(&sheet), &sheet, Exit::Done);
        }
        Self::aim_answer(&works.aim(engine_type, self.asked(seed))?)
    }

    /// Whether the next aim is asked for.
    pub(super) fn is_aim(&self) -> bool {
        self.aim
    }

    /// The question.
    pub(super) fn asked(&self, seed: u64) -> AimAsked {
        AimAsked {
            blocks: self.coming_blocks,
            pistons: self.coming_pistons,
            bores_too: self.bores_too,
            grades: self.grades,
            seed: Some(seed),
        }
    }

    /// The answer to it.
    pub(super) fn aim_answer(sheet: &AimSheet) -> Result<Answer, Trouble> {
        Answer::new(aim_text(sheet), sheet, Exit::Done)
    }
}

fn gain(g: &GainView) -> String {
    format!("{} ({} to {})", g.engines.text, g.lower.text, g.upper.text)
}

fn aim_text(sheet: &AimSheet) -> String {
    let curve: Vec<Vec<String>> = sheet
        .curve
        .iter()
        .map(|p| {
            let figures = [&p.piston, &p.engines].map(|f| f.text.clone());
            [&figures[..], &[gain(&p.gain), p.pistons_outside.with_unit()]].concat()
        })
        .collect();
    let mut lines = vec![sheet.finding.clone()];
    lines.extend(sheet.machines.iter().map(|m| format!("{m}.")));
    lines.push(say::table(&["aim mm", "engines", "gain, 95 %", "outside the drawing"], &curve));
    lines.extend(sheet.campaigns.iter().map(|c| {
        format!("{} pistons at the best aim: {} engines more.", c.pistons, gain(&c.gain))
    }));
    lines.push(format!(
        "Kept once the store is used up, clearances lie {} off target on the mean; the coming lot \
         alone: {} engines.",
        sheet.kept_off.with_unit(),
        gain(&sheet.kept_gain)
    ));
    let gradings: Vec<Vec<String>> = sheet
        .gradings
        .iter()
        .map(|g| vec![g.way.clone(), g.paired.with_unit(), g.fitting.with_unit()])
        .collect();
    lines.push(say::table(&["if the works sorts by grade", "find a partner", "fit"], &gradings));
    let best = sheet.gradings.first().into_iter().flat_map(|g| &g.grades);
    lines.extend(best.enumerate().map(|(i, g)| {
        format!(
            "Grade {}: bores {} to {} mm, pistons {} to {} mm.",
            i + 1,
            g.bore_from.text,
            g.bore_to.text,
            g.piston_from.text,
            g.piston_to.text
        )
    }));
    lines.join("\n")
}

fn kitting_text(sheet: &KittingSheet) -> String {
    let waiting: Vec<Vec<String>> = sheet
        .waiting
        .iter()
        .map(|w| {
            let pistons = w.set.as_ref().map_or_else(
                || "waits".to_owned(),
                |s| {
                    let each = s.places.iter();
                    let each = each.map(|p| format!("{} {}", p.piston, p.clearance.text));
                    each.collect::<Vec<_>>().join(", ")
                },
            );
            vec![w.block.clone(), pistons, w.why.clone()]
        })
        .collect();
    let ways: Vec<Vec<String>> = sheet
        .ways
        .iter()
        .map(|w| {
            let figures = [&w.completed, &w.off_target, &w.mass_spread];
            [vec![w.way.clone()], figures.map(|f| f.with_unit()).to_vec()].concat()
        })
        .collect();
    let mut lines = vec![say::table(&["block", "pistons and clearances µm", "why"], &waiting)];
    lines.push(format!(
        "Played on this works' own scatter, {} blocks and {} seeds:",
        sheet.played, sheet.seeds
    ));
    lines.push(say::table(&["way", "completed", "off target", "mass spread"], &ways));
    lines.push("Make the set a block gets now: bedplate match --kit BLOCK --by PERSON".to_owned());
    lines.join("\n")
}
