//! `bedplate bed`

use std::path::PathBuf;

use bedplate_works::bed::PointLine;
use bedplate_works::plain;
use clap::Args;
use serde_json::json;

use super::{Answer, By, InWorks, files, say};
use crate::exit::{Exit, Trouble};

#[derive(Debug, Args)]
pub(super) struct Bed {
    /// CSV file of one run: point,torque,speed,…
    #[arg(requires = "engine", conflicts_with = "of")]
    file: Option<PathBuf>,
    /// What is expected of it: [engine.NAME] and [bed.NAME], as in a works file.
    #[arg(long, value_name = "FILE")]
    engine: Option<PathBuf>,
    /// An engine of the works.
    #[arg(long, value_name = "ENGINE", required_unless_present = "file")]
    of: Option<String>,
    #[command(flatten)]
    works: InWorks,
    /// Enters that it ran its schedule on this bed; its readings must be in the record.
    #[arg(long, value_name = "BED", requires = "of")]
    ran: Option<String>,
    /// Passes it.
    #[arg(long, requires = "of", conflicts_with_all = ["ran", "hold"])]
    pass: bool,
    /// Holds it, with --note.
    #[arg(long, requires_all = ["of", "note"])]
    hold: bool,
    /// A note with the pass, or the reason of the hold.
    #[arg(long)]
    note: Option<String>,
    #[command(flatten)]
    by: By,
}

impl Bed {
    pub(super) fn run(&self) -> Result<Answer, Trouble> {
        if let (Some(file), Some(engine)) = (&self.file, &self.engine) {
            return self.of_file(file, engine);
        }
        let Some(engine) = &self.of else {
            return Err(Trouble::usage("name a file with --engine, or an engine with --of", ""));
        };
        let note = self.note.as_deref().unwrap_or_default();
        let deed = |what: &str| json!({ "engine": engine, "state": what });
        if let Some(bed) = &self.ran {
            self.works.open()?.test_run(&self.by.deed()?, engine, bed)?;
            return Answer::new(
                format!("Engine {engine} ran on {bed}."),
                &deed("tested"),
                Exit::Done,
            );
        }
        if self.pass {
            self.works.open()?.pass_engine(&self.by.deed()?, engine, note)?;
            return Answer::new(format!("Engine {engine} is passed."), &deed("passed"), Exit::Done);
        }
        if self.hold {
            self.works.open()?.hold_engine(&self.by.deed()?, engine, note)?;
            return Answer::new(format!("Engine {engine} is held."), &deed("held"), Exit::Done);
        }
        let sheet = self.works.look()?.bed(engine)?;
        let text = format!(
            "{}\n{}{}",
            sheet.finding,
            points_table(&sheet.points),
            say::cautions(&sheet.cautions)
        );
        Answer::new(text, &sheet, say::exit_of(sheet.word))
    }

    fn of_file(&self, file: &std::path::Path, engine: &std::path::Path) -> Result<Answer, Trouble> {
        let (rows, expected) = (files::bytes(file)?, files::text(engine)?);
        let (file_name, engine_name) = (files::name(file), files::name(engine));
        let answer = plain::bed::bed((&file_name, &rows), (&engine_name, &expected))
            .map_err(|f| files::refused(&f))?;
        let mut text = format!("{}\n{}", answer.finding, points_table(&answer.points));
        if !answer.exact.is_empty() {
            text += &format!(
                "\nTaken as exact, since no gauge is stated: {}.",
                answer.exact.join(", ")
            );
        }
        text += &say::cautions(&answer.cautions);
        Answer::new(text, &answer, say::exit_of(answer.word))
    }
}

fn points_table(points: &[PointLine]) -> String {
    let rows: Vec<Vec<String>> = points
        .iter()
        .map(|p| {
            vec![
                p.name.clone(),
                say::figure(p.observed_torque.as_ref()),
                p.factor.as_ref().map_or_else(String::new, |f| f.text.clone()),
                say::figure(p.torque.as_ref()),
                format!("{} to {}", p.lower.text, p.upper.text),
                say::figure(p.power.as_ref()),
                say::figure(p.mean_pressure.as_ref()),
                say::figure(p.consumption.as_ref()),
                p.word.text().to_lowercase(),
                p.reason.clone(),
            ]
        })
        .collect();
    let headings = [
        "point",
        "observed",
        "factor",
        "corrected",
        "band",
        "power",
        "pressure",
        "fuel",
        "judged",
        "why",
    ];
    say::table(&headings, &rows)
}
