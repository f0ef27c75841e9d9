//! `bedplate record`, `trace` and `verify`

use bedplate_works::engine_record::EngineRecord;
use bedplate_works::instant;
use bedplate_works::trace::{Asked, Trace as Traced};
use bedplate_works::works::{Store, WorksError};
use clap::Args;
use indicatif::ProgressBar;
use serde_json::json;

use super::{Answer, InWorks, judge, say};
use crate::exit::{Exit, Trouble};
use crate::open;

#[derive(Debug, Args)]
pub(super) struct Record {
    /// The engine's number.
    engine: String,
    #[command(flatten)]
    works: InWorks,
}

impl Record {
    pub(super) fn run(&self) -> Result<Answer, Trouble> {
        let record = self.works.look()?.engine_record(&self.engine)?;
        let exit = if record.whole.whole { Exit::Done } else { Exit::Damaged };
        Answer::new(record_text(&record), &record, exit)
    }
}

fn record_text(r: &EngineRecord) -> String {
    let headings: Vec<String> = r
        .headings
        .iter()
        .map(|h| format!("{} {}", h.title.to_lowercase(), h.unit).trim_end().to_owned())
        .collect();
    let mut names: Vec<&str> = vec!["cyl"];
    names.extend(headings.iter().map(String::as_str));
    names.push("judged");
    let cylinders: Vec<Vec<String>> = r
        .cylinders
        .iter()
        .map(|c| {
            let mut row = vec![c.cylinder.clone()];
            row.extend(
                c.cells
                    .iter()
                    .map(|cell| cell.figure.as_ref().map_or_else(String::new, |f| f.text.clone())),
            );
            row.push(c.word.text().to_lowercase());
            row
        })
        .collect();
    let parts: Vec<Vec<String>> = r
        .parts
        .iter()
        .map(|p| {
            vec![
                format!("{} {}", p.title, p.position).trim_end().to_owned(),
                p.piece.clone(),
                p.heat.clone(),
                p.mattered.clone(),
                p.reading.as_ref().map_or_else(String::new, |f| f.with_unit()),
                p.limits.clone(),
                p.word.text().to_lowercase(),
            ]
        })
        .collect();
    let events: Vec<String> =
        r.events.iter().map(|e| format!("  {}  {}: {}", e.when, e.by, e.what)).collect();
    format!(
        "{}\n{}\n{} {}\n\n{}\n\n{}\n\n{}\n\nSeal {} (group {}), {}",
        r.finding,
        r.title,
        r.stamp.word,
        r.stamp.line,
        say::table(&names, &cylinders),
        say::table(
            &["part", "piece", "heat", "nearest a limit", "reading", "limits", "judged"],
            &parts
        ),
        events.join("\n"),
        r.seal,
        r.seal_group,
        r.whole.finding
    )
}

#[derive(Debug, Args)]
pub(super) struct Trace {
    /// A piece, engine, set, gauge, heat, or the number of a reading.
    name: String,
    #[command(flatten)]
    works: InWorks,
    /// For a gauge: from this instant; its last good check if left out.
    #[arg(long)]
    from: Option<String>,
    /// For a gauge: to this instant.
    #[arg(long)]
    to: Option<String>,
}

impl Trace {
    pub(super) fn run(&self) -> Result<Answer, Trouble> {
        let works = self.works.look()?;
        let zone = instant::zone(&works.plan().works.time_zone);
        let when = |text: &Option<String>| match text {
            None => Ok(None),
            Some(t) => instant::parse(t, &zone).map(Some).ok_or_else(|| {
                Trouble::usage(format!("\"{t}\" is no instant"), "write it like 2026-11-24T14:10")
            }),
        };
        let asked = match works.meant_by(&self.name) {
            Some(Asked::Gauge { gauge, .. }) => {
                Asked::Gauge { gauge, from: when(&self.from)?, to: when(&self.to)? }
            }
            Some(asked) => asked,
            None => match self.name.parse() {
                Ok(number) => Asked::Readings(vec![number]),
                Err(_) => Asked::Piece(self.name.clone()),
            },
        };
        let trace = works.trace(&asked)?;
        Answer::new(trace_text(&trace), &trace, Exit::Done)
    }
}

fn trace_text(t: &Traced) -> String {
    let engines: Vec<Vec<String>> = t
        .engines
        .iter()
        .map(|e| vec![e.engine.clone(), e.state.clone(), e.built.clone(), e.through.join(", ")])
        .collect();
    let pieces: Vec<Vec<String>> = t
        .pieces
        .iter()
        .take(60)
        .map(|p| vec![p.piece.clone(), p.part.clone(), p.heat.clone(), p.whereabouts.clone()])
        .collect();
    let events: Vec<String> =
        t.events.iter().map(|e| format!("  {}  {}: {}", e.when, e.by, e.what)).collect();
    let shown: Vec<_> = t.readings.iter().rev().take(60).rev().collect();
    let mut blocks = vec![t.finding.clone()];
    if !engines.is_empty() {
        blocks.push(say::table(&["engine", "state", "built", "through"], &engines));
    }
    if !pieces.is_empty() {
        blocks.push(say::table(&["piece", "part", "heat", "where"], &pieces));
    }
    if !events.is_empty() {
        blocks.push(events.join("\n"));
    }
    if !shown.is_empty() {
        blocks.push(judge::judged_table(&shown));
        blocks.push(format!("Gauges: {}. People: {}.", t.gauges.join(", "), t.people.join(", ")));
    }
    blocks.join("\n\n")
}

#[derive(Debug, Args)]
pub(super) struct Verify {
    #[command(flatten)]
    works: InWorks,
    /// A seal that was written down elsewhere: the head must have it, or the tail was cut off.
    #[arg(long, value_name = "SEAL")]
    head: Option<String>,
}

impl Verify {
    pub(super) fn run(&self, json: bool) -> Result<Answer, Trouble> {
        let record = open::open_record(&self.works.folder())?;
        let bar = if json { ProgressBar::hidden() } else { ProgressBar::new(0) };
        let verified = record
            .verify(&mut |done, of| {
                bar.set_length(of);
                bar.set_position(done);
            })
            .map_err(WorksError::from)?;
        bar.finish_and_clear();
        let head = verified.head.seal.to_string();
        let cut = self.head.as_ref().is_some_and(|h| *h != head);
        let mut text = match &verified.broken {
            None => format!(
                "The record is whole: {} groups, {} entries, {} readings.\nIts head is {head}",
                verified.groups, verified.entries, verified.readings
            ),
            Some(b) => format!(
                "The record breaks at number {}, in group {}: {}",
                b.number, b.group, b.finding
            ),
        };
        if cut {
            text += "\nThe head is not the one named: entries were added since, or the tail was cut off.";
        }
        let figures = json!({
            "whole": verified.broken.is_none() && !cut,
            "groups": verified.groups,
            "entries": verified.entries,
            "readings": verified.readings,
            "head": head,
            "broken": verified.broken.as_ref().map(|b| json!({
                "group": b.group, "number": b.number, "finding": b.finding
            })),
        });
        let exit = if verified.broken.is_some() || cut { Exit::Damaged } else { Exit::Done };
        Answer::new(text, &figures, exit)
    }
}
