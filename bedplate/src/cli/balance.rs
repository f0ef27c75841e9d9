//! `bedplate balance`

use std::path::PathBuf;

use bedplate_works::balance::{BalancePlan, BalanceState};
use bedplate_works::plain;
use bedplate_works::receive::NewReading;
use clap::Args;
use serde_json::json;

use super::{Answer, By, InWorks, files, say};
use crate::exit::{Exit, Trouble};

#[derive(Debug, Args)]
pub(super) struct Balance {
    /// TOML file with [unbalance] and one [rotor.NAME].
    #[arg(conflicts_with = "piece")]
    file: Option<PathBuf>,
    /// A piece of the works; the first that waits if left out.
    #[arg(long)]
    piece: Option<String>,
    #[command(flatten)]
    works: InWorks,
    /// Enters what was measured at plane A: "412 g·mm at 68°".
    #[arg(long, value_name = "AMOUNT at ANGLE", requires_all = ["piece", "found_b"])]
    found_a: Option<String>,
    /// Enters what was measured at plane B.
    #[arg(long, value_name = "AMOUNT at ANGLE", requires = "found_a")]
    found_b: Option<String>,
    /// Enters the planned holes as drilled.
    #[arg(long, requires = "piece", conflicts_with = "found_a")]
    drilled: bool,
    #[command(flatten)]
    by: By,
}

impl Balance {
    pub(super) fn run(&self) -> Result<Answer, Trouble> {
        if let Some(file) = &self.file {
            return self.of_file(file);
        }
        match (&self.piece, &self.found_a, &self.found_b) {
            (Some(piece), Some(a), Some(b)) => self.measured(piece, a, b),
            (Some(piece), _, _) if self.drilled => {
                let works = self.works.open()?;
                let holes = works.drill(&self.by.deed()?, piece, None)?;
                let text = format!(
                    "{} holes of {piece} entered as drilled. Measure it again.",
                    holes.len()
                );
                Answer::new(text, &json!({ "piece": piece, "holes": holes }), Exit::Done)
            }
            _ => self.of_works(&self.works.look()?),
        }
    }

    fn of_file(&self, file: &std::path::Path) -> Result<Answer, Trouble> {
        let text = files::text(file)?;
        let answer =
            plain::balance::balance(&files::name(file), &text).map_err(|f| files::refused(&f))?;
        let exit = if answer.plan.outcome == "out of reach" { Exit::No } else { Exit::Done };
        let said = format!("{} {}\n{}", answer.plan.rotor, answer.piece, plan_text(&answer.plan));
        Answer::new(said, &answer, exit)
    }

    fn measured(&self, piece: &str, a: &str, b: &str) -> Result<Answer, Trouble> {
        let works = self.works.open()?;
        let sheet = works.balance(Some(piece))?;
        let mut rows = vec![];
        for (plane, text) in [("A", a), ("B", b)] {
            let Some((amount, angle)) = text.split_once(" at ") else {
                let what = format!("\"{text}\" does not say amount and angle");
                return Err(Trouble::usage(what, "write it like \"412 g·mm at 68°\""));
            };
            for (characteristic, value) in [(&sheet.amount, amount), (&sheet.angle, angle)] {
                rows.push(NewReading {
                    characteristic: characteristic.clone(),
                    piece: piece.to_owned(),
                    position: plane.to_owned(),
                    value: value.trim().to_owned(),
                    at: None,
                    gauge: None,
                    machine: None,
                    spindle: None,
                    tool: None,
                });
            }
        }
        let receipt = works.receive(&self.by.deed()?, rows, "command line")?;
        if let Some(refused) = receipt.refused.first() {
            return Err(Trouble::new(
                Exit::Refused,
                refused.reason.clone(),
                "nothing was recorded",
            ));
        }
        self.of_works(&works)
    }

    fn of_works(&self, works: &bedplate_works::works::Works) -> Result<Answer, Trouble> {
        let sheet = works.balance(self.piece.as_deref())?;
        let mut text = sheet.finding.clone();
        match &sheet.plan {
            Some(plan) => text += &format!("\n{}", plan_text(plan)),
            None => text += &say::cautions(&sheet.cautions),
        }
        let exit = match sheet.state {
            BalanceState::Inside => Exit::Done,
            _ => Exit::No,
        };
        Answer::new(text, &sheet, exit)
    }
}

fn plan_text(plan: &BalancePlan) -> String {
    let planes: Vec<Vec<String>> = plan
        .planes
        .iter()
        .map(|p| {
            vec![
                p.plane.to_owned(),
                format!("{} at {}", p.found.with_unit(), p.angle.with_unit()),
                p.allowed.with_unit(),
                format!("{} ± {}", p.expected.text, p.plus_minus.with_unit()),
                p.expected_word.text().to_lowercase(),
            ]
        })
        .collect();
    let holes: Vec<Vec<String>> = plan
        .holes
        .iter()
        .map(|h| {
            vec![
                h.letter.clone(),
                h.site.clone(),
                h.angle.with_unit(),
                h.drill.with_unit(),
                h.depth.with_unit(),
                h.takes.with_unit(),
            ]
        })
        .collect();
    let mut text = say::table(&["plane", "found", "allowed", "left", "judged"], &planes);
    if holes.is_empty() {
        text += &format!("\n{}.", plan.outcome);
    } else {
        let table = say::table(&["hole", "site", "angle", "drill", "depth", "takes"], &holes);
        text += &format!("\n\n{table}");
    }
    if plan.outcome == "out of reach" {
        text += &format!(
            "\nThis cannot be brought inside: the best plan leaves {:.2} times the limit.",
            plan.share_of_limit
        );
    }
    text + &say::cautions(&plan.cautions)
}
