//! The floor: where every piece, set and engine stands, folded from the entries.
//!
//! Derived, never stored: the same entries always give the same floor.

use std::collections::{BTreeMap, HashMap, HashSet};

use bedplate_record::entry::{Event, KeptEntry, PlaceFilled};
use bedplate_record::reading::Millis;

/// Where a piece stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Whereabouts {
    /// In a line or a store, free.
    Free,
    /// Chosen into a set.
    InSet(String),
    /// Built into an engine.
    InEngine(String),
    /// Scrapped.
    Scrapped(String),
}

/// One piece.
#[derive(Debug, Clone)]
pub struct Piece {
    /// The kind of part.
    pub part: String,
    /// Heat or lot, or empty.
    pub heat: String,
    /// When it was made or received.
    pub made_at: Millis,
    /// Where it stands.
    pub whereabouts: Whereabouts,
}

/// What became of a set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SetState {
    /// Waiting in its tray.
    InTray,
    /// In this engine.
    Built(String),
    /// Taken apart.
    Broken,
}

/// One set.
#[derive(Debug, Clone)]
pub struct Set {
    /// The engine type.
    pub engine_type: String,
    /// The pieces, the block first.
    pub places: Vec<PlaceFilled>,
    /// Why these.
    pub reason: String,
    /// When it was made.
    pub made_at: Millis,
    /// By whom.
    pub made_by: String,
    /// What became of it.
    pub state: SetState,
}

/// A build step that is behind an engine.
#[derive(Debug, Clone)]
pub struct StepMark {
    /// When.
    pub at: Millis,
    /// Who.
    pub by: String,
    /// The reason, if it was waived.
    pub waived: Option<String>,
    /// The entry's number.
    pub number: u64,
}

/// How far an engine has come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum EngineState {
    /// On the track.
    Building,
    /// Ran its schedule, not decided.
    Tested,
    /// Passed.
    Passed,
    /// Held, for this reason.
    Held(String),
}

/// One engine.
#[derive(Debug, Clone)]
pub struct Engine {
    /// Its type.
    pub engine_type: String,
    /// Its set, or empty.
    pub set: String,
    /// Every piece in its place.
    pub places: Vec<PlaceFilled>,
    /// When it was built.
    pub built_at: Millis,
    /// By whom.
    pub built_by: String,
    /// Steps behind it.
    pub steps: BTreeMap<String, StepMark>,
    /// Bed it ran on, when, and who ran it.
    pub tested: Option<(String, Millis, String)>,
    /// When, by whom and with what note it was passed or held.
    pub decided: Option<(Millis, String, String)>,
    /// State.
    pub state: EngineState,
}

/// A change made to a process: a triangle on its chart.
#[derive(Debug, Clone)]
pub struct Revision {
    /// The entry's number.
    pub number: u64,
    /// When.
    pub at: Millis,
    /// By whom.
    pub by: String,
    /// Machine.
    pub machine: String,
    /// Spindle, or empty.
    pub spindle: String,
    /// Characteristic it answers for, or empty for a tool change.
    pub characteristic: String,
    /// What was done, in words.
    pub what: String,
}

/// A check of a gauge on its master.
#[derive(Debug, Clone)]
pub struct Calibration {
    /// The entry's number.
    pub number: u64,
    /// When.
    pub at: Millis,
    /// By whom.
    pub by: String,
    /// Master.
    pub master: String,
    /// What it showed too much.
    pub error: String,
    /// Whether it may judge.
    pub in_order: bool,
    /// Note.
    pub note: String,
}

/// What was said of pieces that matching must heed.
#[derive(Debug, Clone, Default)]
pub struct Wishes {
    /// Pieces kept out of every set, with the reason.
    pub held: BTreeMap<String, String>,
    /// Pieces kept for a block: the block, the place (or empty), and the reason.
    pub kept: BTreeMap<String, (String, String, String)>,
    /// Pairs that may not go into one engine, with the reason.
    pub parted: BTreeMap<(String, String), String>,
    /// Blocks whose engines are due: rank and reason.
    pub due: BTreeMap<String, (u8, String)>,
}

impl Wishes {
    fn fold(&mut self, event: &Event) {
        match event {
            Event::PieceHeld { piece, reason } => {
                self.held.insert(piece.clone(), reason.clone());
            }
            Event::PieceKept { piece, block, position, reason } => {
                let kept = (block.clone(), position.clone(), reason.clone());
                self.kept.insert(piece.clone(), kept);
            }
            Event::PiecesParted { piece, other, reason } => {
                self.parted.insert((piece.clone(), other.clone()), reason.clone());
            }
            Event::BlockDue { block, rank, reason } => {
                self.due.insert(block.clone(), (*rank, reason.clone()));
            }
            Event::PieceFreed { piece, .. } => {
                self.held.remove(piece);
                self.kept.remove(piece);
                self.parted.retain(|(one, other), _| one != piece && other != piece);
                self.due.remove(piece);
            }
            _ => {}
        }
    }
}

/// The whole floor.
#[derive(Debug, Clone, Default)]
pub struct Floor {
    /// Pieces by number.
    pub pieces: HashMap<String, Piece>,
    /// Sets by number.
    pub sets: BTreeMap<String, Set>,
    /// Engines by number.
    pub engines: BTreeMap<String, Engine>,
    /// Numbers of readings that were withdrawn, with the reason.
    pub withdrawn: HashMap<u64, String>,
    /// Changes to processes, in order.
    pub revisions: Vec<Revision>,
    /// Calibrations by gauge, in order.
    pub calibrations: HashMap<String, Vec<Calibration>>,
    /// Concessions: piece, characteristic, position.
    pub concessions: HashSet<(String, String, String)>,
    /// Holes drilled, by piece.
    pub drilled: HashMap<String, Vec<u64>>,
    /// What was said of pieces for matching.
    pub wishes: Wishes,
    /// Pieces without numbers: how many of a part and grade are left.
    pub stock: BTreeMap<(String, String), i64>,
    /// Files that were read, by the hash of their content.
    pub files: HashSet<String>,
    /// Editions of the plan, in order.
    pub editions: Vec<String>,
    /// The newest instant of any entry or reading.
    pub latest: Millis,
    /// The number of the last entry folded in.
    pub last_number: u64,
}

impl Floor {
    /// Folds one entry in. Entries must come in order of their number.
    pub fn fold(&mut self, kept: &KeptEntry) {
        let (number, at, by) = (kept.number, kept.entry.at, &kept.entry.by);
        self.latest = self.latest.max(at);
        self.last_number = number;
        match &kept.entry.event {
            Event::PlanTaken { edition, .. } => self.editions.push(edition.clone()),
            Event::FileRead { content, .. } => {
                self.files.insert(content.clone());
            }
            Event::PieceMade { piece, part, heat } => {
                let whereabouts = Whereabouts::Free;
                let made =
                    Piece { part: part.clone(), heat: heat.clone(), made_at: at, whereabouts };
                self.pieces.insert(piece.clone(), made);
            }
            Event::PieceScrapped { piece, reason } => {
                self.place(piece, Whereabouts::Scrapped(reason.clone()));
            }
            Event::PieceReworked { piece, .. } => self.place(piece, Whereabouts::Free),
            Event::ReadingWithdrawn { reading, reason } => {
                self.withdrawn.insert(*reading, reason.clone());
            }
            Event::SetMade { .. } | Event::SetBroken { .. } | Event::SetChanged { .. } => {
                self.fold_set(kept);
            }
            Event::PieceHeld { .. }
            | Event::PieceKept { .. }
            | Event::PiecesParted { .. }
            | Event::BlockDue { .. }
            | Event::PieceFreed { .. } => self.wishes.fold(&kept.entry.event),
            Event::StockCounted { part, grade, pieces } => {
                let key = (part.clone(), grade.clone());
                self.stock.insert(key, i64::try_from(*pieces).unwrap_or(i64::MAX));
            }
            Event::HolesDrilled { piece, .. } => {
                self.drilled.entry(piece.clone()).or_default().push(number);
            }
            Event::EngineBuilt { .. }
            | Event::StepDone { .. }
            | Event::StepWaived { .. }
            | Event::TestRun { .. }
            | Event::EnginePassed { .. }
            | Event::EngineHeld { .. } => self.fold_engine(kept),
            Event::GaugeCalibrated { gauge, master, error, in_order, note } => {
                self.calibrations.entry(gauge.clone()).or_default().push(Calibration {
                    number,
                    at,
                    by: by.clone(),
                    master: master.clone(),
                    error: error.clone(),
                    in_order: *in_order,
                    note: note.clone(),
                });
            }
            Event::ToolChanged { .. } | Event::OffsetMade { .. } => self.fold_revision(kept),
            Event::ConcessionGranted { piece, characteristic, position, .. } => {
                let about = (piece.clone(), characteristic.clone(), position.clone());
                self.concessions.insert(about);
            }
        }
    }

    fn place(&mut self, piece: &str, whereabouts: Whereabouts) {
        if let Some(p) = self.pieces.get_mut(piece) {
            p.whereabouts = whereabouts;
        }
    }

    fn fold_set(&mut self, kept: &KeptEntry) {
        match &kept.entry.event {
            Event::SetMade { set, engine_type, places, reason } => {
                for filled in places {
                    self.place(&filled.piece, Whereabouts::InSet(set.clone()));
                    self.draw_from_stock(filled, 1);
                }
                let made = Set {
                    engine_type: engine_type.clone(),
                    places: places.clone(),
                    reason: reason.clone(),
                    made_at: kept.entry.at,
                    made_by: kept.entry.by.clone(),
                    state: SetState::InTray,
                };
                self.sets.insert(set.clone(), made);
            }
            Event::SetBroken { set, .. } => {
                let Some(broken) = self.sets.get_mut(set) else { return };
                broken.state = SetState::Broken;
                for filled in broken.places.clone() {
                    self.place(&filled.piece, Whereabouts::Free);
                    self.draw_from_stock(&filled, -1);
                }
            }
            Event::SetChanged { set, places, .. } => {
                let Some(changed) = self.sets.get_mut(set) else { return };
                let before = std::mem::replace(&mut changed.places, places.clone());
                for filled in before {
                    self.place(&filled.piece, Whereabouts::Free);
                    self.draw_from_stock(&filled, -1);
                }
                for filled in places {
                    self.place(&filled.piece, Whereabouts::InSet(set.clone()));
                    self.draw_from_stock(filled, 1);
                }
            }
            _ => {}
        }
    }

    /// Takes `pieces` of a counted grade out of stock; a numbered piece has no stock.
    fn draw_from_stock(&mut self, filled: &PlaceFilled, pieces: i64) {
        let key = (filled.part.clone(), filled.piece.clone());
        if let Some(left) = self.stock.get_mut(&key) {
            *left -= pieces;
        }
    }

    fn fold_engine(&mut self, kept: &KeptEntry) {
        let (at, by) = (kept.entry.at, kept.entry.by.clone());
        match &kept.entry.event {
            Event::EngineBuilt { engine, engine_type, set, places } => {
                // What the set holds was drawn from stock when it was made.
                let in_set = self.sets.get(set).map_or_else(Vec::new, |s| s.places.clone());
                for filled in places {
                    self.place(&filled.piece, Whereabouts::InEngine(engine.clone()));
                    if !in_set.contains(filled) {
                        self.draw_from_stock(filled, 1);
                    }
                }
                if let Some(used) = self.sets.get_mut(set) {
                    used.state = SetState::Built(engine.clone());
                }
                let built = Engine {
                    engine_type: engine_type.clone(),
                    set: set.clone(),
                    places: places.clone(),
                    built_at: at,
                    built_by: by,
                    steps: BTreeMap::new(),
                    tested: None,
                    decided: None,
                    state: EngineState::Building,
                };
                self.engines.insert(engine.clone(), built);
            }
            Event::StepDone { engine, step } => {
                self.mark_step(
                    engine,
                    step,
                    StepMark { at, by, waived: None, number: kept.number },
                );
            }
            Event::StepWaived { engine, step, reason } => {
                let waived = Some(reason.clone());
                self.mark_step(engine, step, StepMark { at, by, waived, number: kept.number });
            }
            Event::TestRun { engine, bed } => {
                if let Some(e) = self.engines.get_mut(engine) {
                    e.tested = Some((bed.clone(), at, by));
                    e.state = EngineState::Tested;
                }
            }
            Event::EnginePassed { engine, note } => {
                self.decide(engine, EngineState::Passed, (at, by, note.clone()));
            }
            Event::EngineHeld { engine, reason } => {
                let held = EngineState::Held(reason.clone());
                self.decide(engine, held, (at, by, reason.clone()));
            }
            _ => {}
        }
    }

    fn mark_step(&mut self, engine: &str, step: &str, mark: StepMark) {
        if let Some(e) = self.engines.get_mut(engine) {
            e.steps.insert(step.to_owned(), mark);
        }
    }

    fn decide(&mut self, engine: &str, state: EngineState, decided: (Millis, String, String)) {
        if let Some(e) = self.engines.get_mut(engine) {
            e.state = state;
            e.decided = Some(decided);
        }
    }

    fn fold_revision(&mut self, kept: &KeptEntry) {
        let note = |note: &String| {
            if note.is_empty() { String::new() } else { format!(", {note}") }
        };
        let (machine, spindle, characteristic, what) = match &kept.entry.event {
            Event::ToolChanged { machine, spindle, tool, note: n } => {
                (machine, spindle, "", format!("new tool {tool}{}", note(n)))
            }
            Event::OffsetMade { machine, spindle, characteristic, moved, note: n } => {
                (machine, spindle, characteristic.as_str(), format!("moved {moved}{}", note(n)))
            }
            _ => return,
        };
        self.revisions.push(Revision {
            number: kept.number,
            at: kept.entry.at,
            by: kept.entry.by.clone(),
            machine: machine.clone(),
            spindle: spindle.clone(),
            characteristic: characteristic.to_owned(),
            what,
        });
    }

    /// Free pieces of a part, in order of their numbers.
    #[must_use]
    pub fn free(&self, part: &str) -> Vec<&str> {
        let mut free: Vec<&str> = self
            .pieces
            .iter()
            .filter(|(_, p)| p.part == part && p.whereabouts == Whereabouts::Free)
            .map(|(number, _)| number.as_str())
            .collect();
        free.sort_unstable();
        free
    }

    /// The engine a piece is built into.
    #[must_use]
    pub fn engine_of(&self, piece: &str) -> Option<&str> {
        match &self.pieces.get(piece)?.whereabouts {
            Whereabouts::InEngine(engine) => Some(engine),
            _ => None,
        }
    }
}
