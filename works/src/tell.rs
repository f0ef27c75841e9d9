//! Entries in words, as they are read on pages and printed on records.

use bedplate_record::entry::{Event, KeptEntry, PlaceFilled};
use jiff::tz::TimeZone;
use serde::Serialize;

use crate::instant;
use crate::plan::Plan;

/// One entry as a line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct EventLine {
    /// Number in the record.
    pub number: u64,
    /// When, ISO 8601.
    pub at: String,
    /// When, short: `24 Nov 14:10`.
    pub when: String,
    /// Name of the person or device as signed.
    pub by: String,
    /// What happened, in one sentence.
    pub what: String,
}

/// The line of an entry.
#[must_use]
pub fn line(plan: &Plan, zone: &TimeZone, kept: &KeptEntry) -> EventLine {
    EventLine {
        number: kept.number,
        at: instant::iso(kept.entry.at, zone),
        when: instant::short(kept.entry.at, zone),
        by: signed(plan, &kept.entry.by),
        what: what(&kept.entry.event),
    }
}

/// The name a person signs with, or the short name if the plan does not know them.
#[must_use]
pub fn signed(plan: &Plan, person: &str) -> String {
    plan.people.get(person).map_or_else(|| person.to_owned(), |p| p.name.clone())
}

fn with_note(note: &str) -> String {
    if note.is_empty() { ".".to_owned() } else { format!(": {note}.") }
}

fn spindle_of(machine: &str, spindle: &str) -> String {
    if spindle.is_empty() { machine.to_owned() } else { format!("{machine} spindle {spindle}") }
}

fn block_of(places: &[PlaceFilled]) -> String {
    places.first().map_or_else(String::new, |f| format!(" on {} {}", f.part, f.piece))
}

/// What happened, in one sentence.
#[must_use]
pub fn what(event: &Event) -> String {
    match event {
        Event::PlanTaken { edition, .. } => {
            format!("Edition {} of the works file came into force.", first_twelve(edition))
        }
        Event::PieceMade { piece, part, heat } if heat.is_empty() => {
            format!("{part} {piece} made.")
        }
        Event::PieceMade { piece, part, heat } => format!("{part} {piece} made from {heat}."),
        Event::PieceScrapped { piece, reason } => {
            format!("{piece} scrapped{}", with_note(reason))
        }
        Event::PieceReworked { piece, reason } => {
            format!("{piece} sent back to be worked again{}", with_note(reason))
        }
        Event::ReadingWithdrawn { reading, reason } => {
            format!("Reading {reading} withdrawn{}", with_note(reason))
        }
        Event::FileRead { name, taken, already, refused, .. } => {
            format!("{name} read: {taken} taken, {already} there already, {refused} refused.")
        }
        Event::SetMade { set, places, .. } => format!("Set {set} made{}.", block_of(places)),
        Event::SetBroken { set, reason } => {
            format!("Set {set} taken apart{}", with_note(reason))
        }
        Event::SetChanged { set, reason, .. } => format!("Set {set} changed{}", with_note(reason)),
        Event::PieceHeld { piece, reason } => {
            format!("{piece} held back from every set{}", with_note(reason))
        }
        Event::PieceKept { piece, block, position, reason } if position.is_empty() => {
            format!("{piece} kept for block {block}{}", with_note(reason))
        }
        Event::PieceKept { piece, block, position, reason } => {
            format!("{piece} kept for place {position} of block {block}{}", with_note(reason))
        }
        Event::PiecesParted { piece, other, reason } => {
            format!("{piece} and {other} not in one engine{}", with_note(reason))
        }
        Event::BlockDue { block, rank, reason } => {
            format!("Block {block} due, rank {rank}{}", with_note(reason))
        }
        Event::PieceFreed { piece, reason } => format!("{piece} free again{}", with_note(reason)),
        Event::StockCounted { part, grade, pieces } => {
            format!("{pieces} {part} of grade {grade} counted.")
        }
        Event::HolesDrilled { piece, holes } => {
            let said: Vec<String> = holes
                .iter()
                .map(|h| format!("{} at {}, {} deep", h.site, h.angle, h.depth))
                .collect();
            format!("{piece} drilled: {}.", said.join("; "))
        }
        _ => engine_or_machine(event),
    }
}

fn engine_or_machine(event: &Event) -> String {
    match event {
        Event::EngineBuilt { engine, set, .. } if set.is_empty() => {
            format!("Engine {engine} begun.")
        }
        Event::EngineBuilt { engine, set, .. } => {
            format!("Engine {engine} begun with set {set}.")
        }
        Event::StepDone { step, .. } => format!("Step {step} done."),
        Event::StepWaived { step, reason, .. } => {
            format!("Step {step} waived{}", with_note(reason))
        }
        Event::TestRun { engine, bed } => format!("Engine {engine} ran its schedule on {bed}."),
        Event::EnginePassed { engine, note } => {
            format!("Engine {engine} passed{}", with_note(note))
        }
        Event::EngineHeld { engine, reason } => {
            format!("Engine {engine} held{}", with_note(reason))
        }
        Event::GaugeCalibrated { gauge, master, error, in_order, note } => {
            let state = if *in_order { "in order" } else { "out of calibration" };
            format!(
                "{gauge} set against {master}: shows {error} too much, {state}{}",
                with_note(note)
            )
        }
        Event::ToolChanged { machine, spindle, tool, note } => {
            format!("{}: new tool {tool}{}", spindle_of(machine, spindle), with_note(note))
        }
        Event::OffsetMade { machine, spindle, characteristic, moved, note } => {
            let at = spindle_of(machine, spindle);
            format!("{at}: {characteristic} moved {moved}{}", with_note(note))
        }
        Event::ConcessionGranted { piece, characteristic, position, reason } => {
            format!("Concession for {piece} {characteristic} {position}{}", with_note(reason))
        }
        _ => String::new(),
    }
}

/// The first twelve digits of a hash: enough to tell editions apart on paper.
#[must_use]
pub fn first_twelve(hash: &str) -> String {
    hash.chars().take(12).collect()
}
