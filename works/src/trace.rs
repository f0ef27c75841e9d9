//! Forward and backward: from a piece, a gauge, a heat, a set or a reading to the engines, and from
//! an engine to everything behind it.

use std::collections::BTreeSet;

use bedplate_record::entry::{Event, Subject};
use bedplate_record::reading::{KeptReading, Millis};
use bedplate_record::store::Wanted;
use serde::Serialize;

use crate::floor::{EngineState, Floor, Whereabouts};
use crate::instant;
use crate::judge::Judged;
use crate::tell::{self, EventLine};
use crate::who::nearest;
use crate::works::{Works, WorksError};

/// What is traced.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Asked {
    /// A piece's number.
    Piece(String),
    /// An engine's number.
    Engine(String),
    /// A set's number.
    Set(String),
    /// A heat of metal or lot.
    Heat(String),
    /// A gauge, in a span of time; without one, since its last check that found it in order.
    Gauge {
        /// The gauge.
        gauge: String,
        /// From, if given.
        from: Option<Millis>,
        /// To, if given.
        to: Option<Millis>,
    },
    /// Readings by their numbers.
    Readings(Vec<u64>),
}

/// A piece as a line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PieceLine {
    /// Number.
    pub piece: String,
    /// Kind of part.
    pub part: String,
    /// Place in its engine or set, or empty.
    pub position: String,
    /// Heat or lot, or empty.
    pub heat: String,
    /// Where it is, in words.
    pub whereabouts: String,
    /// Engine it is in, or empty.
    pub engine: String,
}

/// An engine as a line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct EngineLine {
    /// Number.
    pub engine: String,
    /// State in words.
    pub state: String,
    /// When it was built.
    pub built: String,
    /// Through which of its pieces it is reached.
    pub through: Vec<String>,
}

/// What a trace found.
#[derive(Debug, Clone, Serialize)]
pub struct Trace {
    /// Kind of subject: `piece`.
    pub kind: &'static str,
    /// Its name.
    pub name: String,
    /// The finding in one sentence.
    pub finding: String,
    /// Span of time, if one was meant.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub span: Option<(String, String)>,
    /// Engines reached, in order of number.
    pub engines: Vec<EngineLine>,
    /// Pieces reached.
    pub pieces: Vec<PieceLine>,
    /// Entries about the subject.
    pub events: Vec<EventLine>,
    /// Readings, newest last; `readings_in_all` may be more.
    pub readings: Vec<Judged>,
    /// How many readings there are.
    pub readings_in_all: usize,
    /// Gauges behind the readings.
    pub gauges: Vec<String>,
    /// People behind the readings.
    pub people: Vec<String>,
}

/// How many readings a trace shows in full.
const READINGS_SHOWN: usize = 500;

/// Where a piece is, in words.
#[must_use]
pub fn whereabouts(whereabouts: &Whereabouts) -> String {
    match whereabouts {
        Whereabouts::Free => "free".to_owned(),
        Whereabouts::InSet(set) => format!("in set {set}"),
        Whereabouts::InEngine(engine) => format!("in engine {engine}"),
        Whereabouts::Scrapped(reason) => format!("scrapped: {reason}"),
    }
}

/// An engine's state in words.
#[must_use]
pub fn engine_state(state: &EngineState) -> String {
    match state {
        EngineState::Building => "on the track".to_owned(),
        EngineState::Tested => "tested, not decided".to_owned(),
        EngineState::Passed => "passed".to_owned(),
        EngineState::Held(reason) => format!("held: {reason}"),
    }
}

fn piece_line(floor: &Floor, piece: &str, position: &str) -> PieceLine {
    let known = floor.pieces.get(piece);
    PieceLine {
        piece: piece.to_owned(),
        part: known.map_or_else(String::new, |p| p.part.clone()),
        position: position.to_owned(),
        heat: known.map_or_else(String::new, |p| p.heat.clone()),
        whereabouts: known
            .map_or_else(|| "not entered".to_owned(), |p| whereabouts(&p.whereabouts)),
        engine: floor.engine_of(piece).unwrap_or_default().to_owned(),
    }
}

impl Works {
    /// Traces whatever is asked.
    ///
    /// # Errors
    /// [`WorksError::Unknown`] if there is no such thing, with the nearest name;
    /// [`WorksError::Store`].
    pub fn trace(&self, asked: &Asked) -> Result<Trace, WorksError> {
        match asked {
            Asked::Piece(piece) => self.trace_piece(piece),
            Asked::Engine(engine) => self.trace_engine(engine),
            Asked::Set(set) => self.trace_set(set),
            Asked::Heat(heat) => self.trace_heat(heat),
            Asked::Gauge { gauge, from, to } => self.trace_gauge(gauge, *from, *to),
            Asked::Readings(numbers) => self.trace_readings(numbers),
        }
    }

    /// What a person probably means by a bare name: an engine, a piece, a set, a gauge or a heat.
    #[must_use]
    pub fn meant_by(&self, name: &str) -> Option<Asked> {
        let name = name.to_owned();
        self.floor(|f| {
            if f.engines.contains_key(&name) {
                Some(Asked::Engine(name.clone()))
            } else if f.pieces.contains_key(&name) {
                Some(Asked::Piece(name.clone()))
            } else if f.sets.contains_key(&name) {
                Some(Asked::Set(name.clone()))
            } else {
                None
            }
        })
        .or_else(|| {
            let gauge = name.clone();
            self.plan().gauges.contains_key(&name).then_some(Asked::Gauge {
                gauge,
                from: None,
                to: None,
            })
        })
        .or_else(|| {
            let about = self.store().about(&Subject::Heat(name.clone())).ok()?;
            (!about.is_empty()).then_some(Asked::Heat(name))
        })
    }

    fn begin(&self, kind: &'static str, name: &str, readings: &[KeptReading]) -> Trace {
        let gauges: BTreeSet<_> =
            readings.iter().map(|r| r.reading.context.gauge.to_string()).collect();
        let plan = self.plan();
        let people: BTreeSet<_> =
            readings.iter().map(|r| tell::signed(&plan, &r.reading.context.person)).collect();
        let shown = readings.len().saturating_sub(READINGS_SHOWN);
        Trace {
            kind,
            name: name.to_owned(),
            finding: String::new(),
            span: None,
            engines: vec![],
            pieces: vec![],
            events: vec![],
            readings: readings[shown..].iter().map(|r| self.judged(r)).collect(),
            readings_in_all: readings.len(),
            gauges: gauges.into_iter().collect(),
            people: people.into_iter().collect(),
        }
    }

    pub(crate) fn events_about(&self, subject: &Subject) -> Result<Vec<EventLine>, WorksError> {
        let plan = self.plan();
        let zone = instant::zone(&plan.works.time_zone);
        let kept = self.store().about(subject)?;
        Ok(kept.iter().map(|k| tell::line(&plan, &zone, k)).collect())
    }

    fn engine_lines<'a>(&self, pieces: impl Iterator<Item = &'a str>) -> Vec<EngineLine> {
        let plan = self.plan();
        let zone = instant::zone(&plan.works.time_zone);
        self.floor(|f| {
            let mut lines: Vec<EngineLine> = vec![];
            let mut reached: Vec<(&str, &str)> =
                pieces.filter_map(|p| f.engine_of(p).map(|e| (e, p))).collect();
            reached.sort_unstable();
            for (engine, piece) in reached {
                if let Some(last) = lines.last_mut().filter(|l| l.engine == engine) {
                    last.through.push(piece.to_owned());
                    continue;
                }
                let Some(known) = f.engines.get(engine) else { continue };
                lines.push(EngineLine {
                    engine: engine.to_owned(),
                    state: engine_state(&known.state),
                    built: instant::short(known.built_at, &zone),
                    through: vec![piece.to_owned()],
                });
            }
            lines
        })
    }

    fn unknown(&self, kind: &'static str, name: &str, known: &BTreeSet<String>) -> WorksError {
        let nearest = nearest(name, known.iter().map(String::as_str));
        WorksError::Unknown { kind, name: name.to_owned(), nearest }
    }

    fn trace_piece(&self, piece: &str) -> Result<Trace, WorksError> {
        let readings = self.store().readings(&Wanted::Piece(piece))?;
        let events = self.events_about(&Subject::Piece(piece.to_owned()))?;
        if readings.is_empty() && events.is_empty() {
            let known = self.floor(|f| f.pieces.keys().cloned().collect());
            return Err(self.unknown("piece", piece, &known));
        }
        let mut trace = self.begin("piece", piece, &readings);
        trace.events = events;
        trace.engines = self.engine_lines(std::iter::once(piece));
        trace.pieces = vec![self.floor(|f| piece_line(f, piece, ""))];
        let line = &trace.pieces[0];
        let plan = self.plan();
        let heat =
            if line.heat.is_empty() { String::new() } else { format!(", from {}", line.heat) };
        trace.finding = format!(
            "{} {piece} is {}{heat}; {} stand behind it.",
            plan.parts.get(&line.part).map_or("Piece", |p| p.title.as_str()),
            line.whereabouts,
            counted(readings.len(), "reading"),
        );
        Ok(trace)
    }

    fn trace_engine(&self, engine: &str) -> Result<Trace, WorksError> {
        let Some(known) = self.floor(|f| f.engines.get(engine).cloned()) else {
            let names = self.floor(|f| f.engines.keys().cloned().collect());
            return Err(self.unknown("engine", engine, &names));
        };
        let mut readings = self.store().readings(&Wanted::Piece(engine))?;
        for place in &known.places {
            readings.extend(self.store().readings(&Wanted::Piece(&place.piece))?);
        }
        readings.sort_by_key(|r| r.number);
        let mut trace = self.begin("engine", engine, &readings);
        trace.events = self.events_about(&Subject::Engine(engine.to_owned()))?;
        trace.engines = self.engine_lines(known.places.iter().take(1).map(|p| p.piece.as_str()));
        trace.pieces = self
            .floor(|f| known.places.iter().map(|p| piece_line(f, &p.piece, &p.position)).collect());
        trace.finding = format!(
            "Engine {engine} holds {} and {} stand behind it; it is {}.",
            counted(known.places.len(), "numbered piece"),
            counted(readings.len(), "reading"),
            engine_state(&known.state),
        );
        Ok(trace)
    }

    fn trace_set(&self, set: &str) -> Result<Trace, WorksError> {
        let Some(known) = self.floor(|f| f.sets.get(set).cloned()) else {
            let names = self.floor(|f| f.sets.keys().cloned().collect());
            return Err(self.unknown("set", set, &names));
        };
        let mut readings = vec![];
        for place in &known.places {
            readings.extend(self.store().readings(&Wanted::Piece(&place.piece))?);
        }
        let mut trace = self.begin("set", set, &readings);
        trace.events = self.events_about(&Subject::Set(set.to_owned()))?;
        trace.engines = self.engine_lines(known.places.iter().take(1).map(|p| p.piece.as_str()));
        trace.pieces = self
            .floor(|f| known.places.iter().map(|p| piece_line(f, &p.piece, &p.position)).collect());
        trace.finding = format!("Set {set} has {}.", counted(known.places.len(), "piece"));
        Ok(trace)
    }

    fn trace_heat(&self, heat: &str) -> Result<Trace, WorksError> {
        let kept = self.store().about(&Subject::Heat(heat.to_owned()))?;
        let pieces: Vec<String> = kept
            .iter()
            .filter_map(|k| match &k.entry.event {
                Event::PieceMade { piece, .. } => Some(piece.clone()),
                _ => None,
            })
            .collect();
        if pieces.is_empty() {
            let known = self.floor(|f| f.pieces.values().map(|p| p.heat.clone()).collect());
            return Err(self.unknown("heat or lot", heat, &known));
        }
        let mut readings = vec![];
        for piece in &pieces {
            readings.extend(self.store().readings(&Wanted::Piece(piece))?);
        }
        readings.sort_by_key(|r| r.number);
        let mut trace = self.begin("heat", heat, &readings);
        trace.engines = self.engine_lines(pieces.iter().map(String::as_str));
        trace.pieces = self.floor(|f| pieces.iter().map(|p| piece_line(f, p, "")).collect());
        trace.finding = format!(
            "{} came from {heat}; they are in {}.",
            counted(pieces.len(), "piece"),
            counted(trace.engines.len(), "engine"),
        );
        Ok(trace)
    }

    fn trace_gauge(
        &self,
        gauge: &str,
        from: Option<Millis>,
        to: Option<Millis>,
    ) -> Result<Trace, WorksError> {
        let plan = self.plan();
        if !plan.gauges.contains_key(gauge) {
            let known = plan.gauges.keys().cloned().collect();
            return Err(self.unknown("gauge", gauge, &known));
        }
        let to = to.unwrap_or_else(|| self.as_of());
        let from = from.unwrap_or_else(|| self.last_good_check(gauge, to));
        let mut readings = self.store().readings(&Wanted::Gauge { gauge, from, to })?;
        readings.sort_by_key(|r| r.number);
        let pieces: BTreeSet<&str> = readings.iter().map(|r| r.reading.piece.as_ref()).collect();
        let zone = instant::zone(&plan.works.time_zone);
        let mut trace = self.begin("gauge", gauge, &readings);
        trace.span = Some((instant::iso(from, &zone), instant::iso(to, &zone)));
        trace.events = self.events_about(&Subject::Gauge(gauge.to_owned()))?;
        trace.engines = self.engine_lines(pieces.iter().copied());
        trace.pieces = self.floor(|f| pieces.iter().map(|p| piece_line(f, p, "")).collect());
        trace.finding = format!(
            "{gauge} took {} on {} from {} to {}; they are in {}.",
            counted(readings.len(), "reading"),
            counted(pieces.len(), "piece"),
            instant::short(from, &zone),
            instant::short(to, &zone),
            counted(trace.engines.len(), "engine"),
        );
        Ok(trace)
    }

    /// The last check before `to` that found the gauge in order; the beginning if there was none.
    fn last_good_check(&self, gauge: &str, to: Millis) -> Millis {
        self.floor(|f| {
            let checks = f.calibrations.get(gauge)?;
            checks.iter().rev().find(|c| c.in_order && c.at < to).map(|c| c.at)
        })
        .unwrap_or(i64::MIN)
    }

    fn trace_readings(&self, numbers: &[u64]) -> Result<Trace, WorksError> {
        let readings = self.store().readings(&Wanted::Numbers(numbers))?;
        if readings.is_empty() {
            let name = numbers.first().map_or_else(String::new, u64::to_string);
            return Err(WorksError::Unknown { kind: "reading", name, nearest: None });
        }
        let pieces: BTreeSet<&str> = readings.iter().map(|r| r.reading.piece.as_ref()).collect();
        let name = if numbers.len() == 1 {
            numbers[0].to_string()
        } else {
            counted(numbers.len(), "reading")
        };
        let mut trace = self.begin("reading", &name, &readings);
        trace.engines = self.engine_lines(pieces.iter().copied());
        trace.pieces = self.floor(|f| pieces.iter().map(|p| piece_line(f, p, "")).collect());
        trace.finding = format!(
            "{} on {}.",
            counted(readings.len(), "reading"),
            pieces.into_iter().collect::<Vec<_>>().join(", ")
        );
        Ok(trace)
    }
}

/// `1 reading`, `2 readings`.
#[must_use]
pub fn counted(count: usize, noun: &str) -> String {
    if count == 1 { format!("1 {noun}") } else { format!("{count} {noun}s") }
}
