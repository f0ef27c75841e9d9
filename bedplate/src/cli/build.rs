//! `bedplate build`

use bedplate_works::build::{BuildSheet, NewEngine};
use bedplate_works::works::PlaceFilled;
use clap::Args;
use serde_json::json;

use super::{Answer, By, InWorks, say};
use crate::exit::{Exit, Trouble};

#[derive(Debug, Args)]
pub(super) struct Build {
    /// The engine; with --begin its new number, the next one if left out.
    engine: Option<String>,
    #[command(flatten)]
    works: InWorks,
    /// Begins an engine.
    #[arg(long, conflicts_with_all = ["step", "waive"])]
    begin: bool,
    /// The set it takes.
    #[arg(long, requires = "begin")]
    set: Option<String>,
    /// Engine type; the only one of the works if left out.
    #[arg(long, requires = "begin")]
    engine_type: Option<String>,
    /// A piece in its place: PART=NUMBER or PART.POSITION=NUMBER; may be given again.
    #[arg(long, requires = "begin", value_name = "PLACE=PIECE")]
    piece: Vec<String>,
    /// Leaves places empty that neither set nor --piece fills, instead of taking the oldest good
    /// piece; the engine is then refused if one is needed.
    #[arg(long, requires = "begin")]
    no_fill: bool,
    /// Marks a step done.
    #[arg(long, requires = "engine")]
    step: Option<String>,
    /// Waives a step, with --reason.
    #[arg(long, requires_all = ["engine", "reason"], conflicts_with = "step")]
    waive: Option<String>,
    /// Why it is waived.
    #[arg(long)]
    reason: Option<String>,
    #[command(flatten)]
    by: By,
}

impl Build {
    pub(super) fn run(&self) -> Result<Answer, Trouble> {
        if self.begin {
            return self.begin();
        }
        let Some(engine) = &self.engine else { return self.on_track() };
        if let Some(step) = &self.step {
            let works = self.works.open()?;
            works.step_done(&self.by.deed()?, engine, step)?;
            let done = json!({ "engine": engine, "step": step, "state": "done" });
            return Answer::new(
                format!("Step {step} of engine {engine} is done."),
                &done,
                Exit::Done,
            );
        }
        if let Some(step) = &self.waive {
            let works = self.works.open()?;
            let reason = self.reason.as_deref().unwrap_or_default();
            works.step_waived(&self.by.deed()?, engine, step, reason)?;
            let done = json!({ "engine": engine, "step": step, "state": "waived" });
            return Answer::new(
                format!("Step {step} of engine {engine} is waived."),
                &done,
                Exit::Done,
            );
        }
        let sheet = self.works.look()?.build(engine)?;
        Answer::new(sheet_text(&sheet), &sheet, Exit::Done)
    }

    fn on_track(&self) -> Result<Answer, Trouble> {
        let works = self.works.look()?;
        let (engines, sets) = (works.on_track(), works.sets_waiting());
        let text = format!(
            "On the track: {}\nSets in their trays: {}",
            if engines.is_empty() { "none".to_owned() } else { engines.join(", ") },
            if sets.is_empty() { "none".to_owned() } else { sets.join(", ") }
        );
        Answer::new(text, &json!({ "engines": engines, "sets": sets }), Exit::Done)
    }

    fn begin(&self) -> Result<Answer, Trouble> {
        let works = self.works.open()?;
        let engine_type = match &self.engine_type {
            Some(named) => named.clone(),
            None => match works.plan().engines.keys().collect::<Vec<_>>().as_slice() {
                [only] => (*only).clone(),
                _ => return Err(Trouble::usage("name the engine type with --engine-type", "")),
            },
        };
        let new = NewEngine {
            engine_type,
            engine: self.engine.clone().unwrap_or_default(),
            set: self.set.clone().unwrap_or_default(),
            pieces: self.piece.iter().map(|p| place(p)).collect::<Result<_, _>>()?,
            fill: !self.no_fill,
        };
        let engine = works.begin_engine(&self.by.deed()?, &new)?;
        let text = format!("Engine {engine} is begun.\n{}", sheet_text(&works.build(&engine)?));
        Answer::new(text, &json!({ "engine": engine }), Exit::Done)
    }
}

fn place(text: &str) -> Result<PlaceFilled, Trouble> {
    let Some((place, piece)) = text.split_once('=') else {
        let what = format!("\"{text}\" is no piece in a place");
        return Err(Trouble::usage(what, "write it like crankshaft=C02642 or piston.1=P10026"));
    };
    let (part, position) = place.split_once('.').unwrap_or((place, ""));
    Ok(PlaceFilled {
        part: part.trim().to_owned(),
        position: position.trim().to_owned(),
        piece: piece.trim().to_owned(),
    })
}

fn sheet_text(sheet: &BuildSheet) -> String {
    let steps: Vec<Vec<String>> = sheet
        .steps
        .iter()
        .map(|s| vec![s.id.clone(), s.state.to_owned(), s.by.clone(), s.title.clone()])
        .collect();
    let places: Vec<Vec<String>> = sheet
        .places
        .iter()
        .map(|p| {
            vec![
                format!("{} {}", p.part, p.position).trim_end().to_owned(),
                p.piece.clone(),
                p.heat.clone(),
            ]
        })
        .collect();
    let ratios: Vec<String> = sheet
        .compression
        .iter()
        .map(|c| format!("{}: {}", c.cylinder, say::figure(c.ratio.as_ref())))
        .collect();
    format!(
        "{}\n{}\n\n{}\n\nCompression ratio {}",
        sheet.finding,
        say::table(&["step", "state", "by", "what"], &steps),
        say::table(&["place", "piece", "heat"], &places),
        ratios.join("  ")
    )
}
