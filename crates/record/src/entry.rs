//! Typed events of the works, as they are kept.
//!
//! Figures inside an entry are text with their unit (`"114 g·mm"`), never binary floating point:
//! what is sealed must read the same for ever. The exact bytes of an entry are kept and sealed;
//! the types here only give them meaning.

use serde::{Deserialize, Serialize};

use crate::reading::Millis;

/// One entry: when, by whom, under which edition of the plan, and what happened.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Entry {
    /// When it happened.
    pub at: Millis,
    /// The person or device that bears it.
    pub by: String,
    /// The edition of the plan in force.
    pub edition: String,
    /// What happened.
    pub event: Event,
}

/// An entry that is in the record, with its number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptEntry {
    /// Its number in the record; readings and entries share one sequence, from 1.
    pub number: u64,
    /// The entry.
    pub entry: Entry,
}

/// One piece in its place.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct PlaceFilled {
    /// The kind of part: `piston`.
    pub part: String,
    /// The place: a cylinder, or empty where an engine has one of the part.
    pub position: String,
    /// The piece's number.
    pub piece: String,
}

/// One hole drilled to balance a rotor.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct HoleDrilled {
    /// The site: `web 1`.
    pub site: String,
    /// Angle from pin 1.
    pub angle: String,
    /// Drill diameter.
    pub drill: String,
    /// Depth of full diameter.
    pub depth: String,
}

/// What can happen in a works. Append variants; never change the meaning of one that exists.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum Event {
    /// An edition of the works file came into force; its whole text stays readable.
    PlanTaken {
        /// The edition: the hash of the text.
        edition: String,
        /// The works file as it stood.
        text: String,
    },
    /// A piece was made, or received from outside.
    PieceMade {
        /// Its number.
        piece: String,
        /// The kind of part.
        part: String,
        /// The heat of metal or the lot it came from, or empty.
        heat: String,
    },
    /// A piece was taken out of use.
    PieceScrapped {
        /// Its number.
        piece: String,
        /// Why.
        reason: String,
    },
    /// A piece went back to be worked again.
    PieceReworked {
        /// Its number.
        piece: String,
        /// What is to be done.
        reason: String,
    },
    /// A reading was found to be wrong; it stays visible, struck through.
    ReadingWithdrawn {
        /// The reading's number.
        reading: u64,
        /// Why.
        reason: String,
    },
    /// A file of readings was read.
    FileRead {
        /// Its name.
        name: String,
        /// BLAKE3 of its bytes, in hexadecimal.
        content: String,
        /// Rows taken.
        taken: u64,
        /// Rows that were in the record already.
        already: u64,
        /// Rows refused.
        refused: u64,
    },
    /// Pieces were chosen to go together.
    SetMade {
        /// The set's number, which is its tray and ticket.
        set: String,
        /// The engine type.
        engine_type: String,
        /// The pieces in their places; the first is the block.
        places: Vec<PlaceFilled>,
        /// Why these: the method and its figures, in words.
        reason: String,
    },
    /// A set was taken apart; its pieces are free again.
    SetBroken {
        /// The set's number.
        set: String,
        /// Why.
        reason: String,
    },
    /// A rotor was drilled.
    HolesDrilled {
        /// The piece.
        piece: String,
        /// The holes, in drilling order.
        holes: Vec<HoleDrilled>,
    },
    /// An engine number took its set and its other pieces.
    EngineBuilt {
        /// The engine's number.
        engine: String,
        /// The engine type.
        engine_type: String,
        /// The set, or empty.
        set: String,
        /// Every piece in its place.
        places: Vec<PlaceFilled>,
    },
    /// A build step was done and its check met.
    StepDone {
        /// The engine's number.
        engine: String,
        /// The step.
        step: String,
    },
    /// A build step was waived by name.
    StepWaived {
        /// The engine's number.
        engine: String,
        /// The step.
        step: String,
        /// Why.
        reason: String,
    },
    /// An engine ran its schedule on a bed; its readings are in the record.
    TestRun {
        /// The engine's number.
        engine: String,
        /// The bed.
        bed: String,
    },
    /// An engine was passed.
    EnginePassed {
        /// The engine's number.
        engine: String,
        /// A note, or empty.
        note: String,
    },
    /// An engine was held back.
    EngineHeld {
        /// The engine's number.
        engine: String,
        /// Why.
        reason: String,
    },
    /// A gauge was checked on its master.
    GaugeCalibrated {
        /// The gauge.
        gauge: String,
        /// The master used.
        master: String,
        /// What the gauge showed too much, with its unit: `0.2 µm`.
        error: String,
        /// Whether it may judge again.
        in_order: bool,
        /// A note, or empty.
        note: String,
    },
    /// A tool was changed.
    ToolChanged {
        /// The machine.
        machine: String,
        /// The spindle, or empty.
        spindle: String,
        /// The new tool.
        tool: String,
        /// A note, or empty.
        note: String,
    },
    /// A machine was moved towards its centre.
    OffsetMade {
        /// The machine.
        machine: String,
        /// The spindle, or empty.
        spindle: String,
        /// The characteristic it answers for.
        characteristic: String,
        /// How far the size was moved, with sign and unit.
        moved: String,
        /// A note, or empty.
        note: String,
    },
    /// A piece or engine was allowed outside a limit by name.
    ConcessionGranted {
        /// The piece or engine.
        piece: String,
        /// The characteristic.
        characteristic: String,
        /// The position, or empty.
        position: String,
        /// Why.
        reason: String,
    },
    /// One set's pieces were changed: some taken out, others put in their places.
    SetChanged {
        /// The set's number.
        set: String,
        /// All its pieces in their places from now on; the first is the block.
        places: Vec<PlaceFilled>,
        /// Why.
        reason: String,
    },
    /// A piece is kept out of every set until it is freed.
    PieceHeld {
        /// Its number.
        piece: String,
        /// Why.
        reason: String,
    },
    /// A piece is kept for one block, at one place of it if that is named.
    PieceKept {
        /// Its number.
        piece: String,
        /// The block.
        block: String,
        /// The place, or empty for any.
        position: String,
        /// Why.
        reason: String,
    },
    /// Two pieces may not go into one engine.
    PiecesParted {
        /// The one.
        piece: String,
        /// The other.
        other: String,
        /// Why.
        reason: String,
    },
    /// A block's engine is due: it comes before others.
    BlockDue {
        /// The block.
        block: String,
        /// 1 before 0, 2 before 1, and so on.
        rank: u8,
        /// Why.
        reason: String,
    },
    /// What was said of a piece (held, kept, parted, due) holds no longer.
    PieceFreed {
        /// Its number.
        piece: String,
        /// Why.
        reason: String,
    },
    /// Pieces without numbers were counted.
    StockCounted {
        /// The kind of part.
        part: String,
        /// The grade.
        grade: String,
        /// How many there are.
        pieces: u64,
    },
}

/// What an entry is about; entries can be found by it.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Subject {
    /// A piece.
    Piece(String),
    /// A heat of metal or lot.
    Heat(String),
    /// A set.
    Set(String),
    /// An engine.
    Engine(String),
    /// A gauge.
    Gauge(String),
    /// A machine.
    Machine(String),
    /// A reading, by its number.
    Reading(u64),
}

impl Subject {
    /// The subject as one word for look-up: `piece/B0417`.
    #[must_use]
    pub fn key(&self) -> String {
        match self {
            Self::Piece(x) => format!("piece/{x}"),
            Self::Heat(x) => format!("heat/{x}"),
            Self::Set(x) => format!("set/{x}"),
            Self::Engine(x) => format!("engine/{x}"),
            Self::Gauge(x) => format!("gauge/{x}"),
            Self::Machine(x) => format!("machine/{x}"),
            Self::Reading(x) => format!("reading/{x}"),
        }
    }
}

impl Event {
    /// Everything the event is about.
    #[must_use]
    pub fn subjects(&self) -> Vec<Subject> {
        let piece = |p: &String| Subject::Piece(p.clone());
        match self {
            Self::PlanTaken { .. } | Self::FileRead { .. } => vec![],
            Self::PieceMade { piece: p, heat, .. } => {
                let mut about = vec![piece(p)];
                if !heat.is_empty() {
                    about.push(Subject::Heat(heat.clone()));
                }
                about
            }
            Self::PieceScrapped { piece: p, .. }
            | Self::PieceReworked { piece: p, .. }
            | Self::HolesDrilled { piece: p, .. }
            | Self::ConcessionGranted { piece: p, .. } => vec![piece(p)],
            Self::ReadingWithdrawn { reading, .. } => vec![Subject::Reading(*reading)],
            Self::SetMade { set, places, .. } => {
                let pieces = places.iter().map(|f| piece(&f.piece));
                std::iter::once(Subject::Set(set.clone())).chain(pieces).collect()
            }
            Self::SetBroken { set, .. } => vec![Subject::Set(set.clone())],
            Self::SetChanged { set, places, .. } => {
                let pieces = places.iter().map(|f| piece(&f.piece));
                std::iter::once(Subject::Set(set.clone())).chain(pieces).collect()
            }
            Self::PieceHeld { piece: p, .. } | Self::PieceFreed { piece: p, .. } => vec![piece(p)],
            Self::PieceKept { piece: p, block, .. } => vec![piece(p), piece(block)],
            Self::PiecesParted { piece: p, other, .. } => vec![piece(p), piece(other)],
            Self::BlockDue { block, .. } => vec![piece(block)],
            Self::StockCounted { grade, .. } => vec![piece(grade)],
            Self::EngineBuilt { engine, set, places, .. } => {
                let mut about = vec![Subject::Engine(engine.clone())];
                if !set.is_empty() {
                    about.push(Subject::Set(set.clone()));
                }
                about.extend(places.iter().map(|f| piece(&f.piece)));
                about
            }
            Self::StepDone { engine, .. }
            | Self::StepWaived { engine, .. }
            | Self::TestRun { engine, .. }
            | Self::EnginePassed { engine, .. }
            | Self::EngineHeld { engine, .. } => vec![Subject::Engine(engine.clone())],
            Self::GaugeCalibrated { gauge, .. } => vec![Subject::Gauge(gauge.clone())],
            Self::ToolChanged { machine, .. } | Self::OffsetMade { machine, .. } => {
                vec![Subject::Machine(machine.clone())]
            }
        }
    }
}
