//! The build: an engine number takes its set and its other pieces; steps with their checks.

use std::collections::BTreeMap;

use bedplate_record::entry::{Event, PlaceFilled};
use bedplate_record::reading::KeptReading;
use serde::Serialize;

use crate::compression::{self, CylinderRatio};
use crate::floor::{Engine as OnFloor, EngineState, SetState, Whereabouts};
use crate::instant;
use crate::judge::{Judged, newest};
use crate::plan::{Plan, Step};
use crate::tell;
use crate::trace::engine_state;
use crate::who::{Doing, allowed, nearest};
use crate::wire::Word;
use crate::works::{Deed, Works, WorksError};

/// One piece in its place.
#[derive(Debug, Clone, Serialize)]
pub struct PlaceLine {
    /// Kind of part.
    pub part: String,
    /// Its title.
    pub title: String,
    /// Position, or empty.
    pub position: String,
    /// Piece, or empty while nothing is in the place.
    pub piece: String,
    /// Heat or lot, or empty.
    pub heat: String,
}

/// One check of a step at one position.
#[derive(Debug, Clone, Serialize)]
pub struct Check {
    /// Characteristic.
    pub characteristic: String,
    /// Its title.
    pub title: String,
    /// Position, or empty.
    pub position: String,
    /// Limits in words: `58 to 66 N·m`.
    pub limits: String,
    /// Unit for typing.
    pub unit: &'static str,
    /// Gauge the plan names for it.
    pub gauge: String,
    /// Newest reading.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub judged: Option<Judged>,
}

/// One build step.
#[derive(Debug, Clone, Serialize)]
pub struct StepLine {
    /// Short name.
    pub id: String,
    /// What is done.
    pub title: String,
    /// Caution, or empty.
    pub caution: String,
    /// `open`, `done` or `waived`.
    pub state: &'static str,
    /// By whom, or empty.
    pub by: String,
    /// When, or empty.
    pub at: String,
    /// Reason of a waiver, or empty.
    pub reason: String,
    /// Its checks.
    pub checks: Vec<Check>,
    /// The graver of its checks; accept if it has none.
    pub word: Word,
    /// Whether it is the next to be done.
    pub is_next: bool,
}

/// The build sheet of one engine.
#[derive(Debug, Clone, Serialize)]
pub struct BuildSheet {
    /// Instant of the figures.
    pub as_of: String,
    /// Engine.
    pub engine: String,
    /// Type.
    pub engine_type: String,
    /// State in words.
    pub state: String,
    /// Set, or empty.
    pub set: String,
    /// When it was begun.
    pub built: String,
    /// By whom.
    pub built_by: String,
    /// Pieces.
    pub places: Vec<PlaceLine>,
    /// Steps in order.
    pub steps: Vec<StepLine>,
    /// Compression ratio of each cylinder.
    pub compression: Vec<CylinderRatio>,
    /// In one sentence.
    pub finding: String,
    /// Engines on the track.
    pub on_track: Vec<String>,
    /// Sets waiting in their trays.
    pub sets_waiting: Vec<String>,
}

/// What a new engine is made of, as asked.
#[derive(Debug, Clone, Default)]
pub struct NewEngine {
    /// Engine type.
    pub engine_type: String,
    /// Engine number; the next one if empty.
    pub engine: String,
    /// Set.
    pub set: String,
    /// Other pieces by part and position.
    pub pieces: Vec<PlaceFilled>,
    /// Whether places that are still empty take the oldest free piece that is not rejected.
    pub fill: bool,
}

impl Works {
    /// The build sheet of an engine.
    ///
    /// # Errors
    /// [`WorksError::Unknown`]; [`WorksError::Store`].
    pub fn build(&self, engine: &str) -> Result<BuildSheet, WorksError> {
        let Some(on_floor) = self.floor(|f| f.engines.get(engine).cloned()) else {
            let nearest = self.floor(|f| nearest(engine, f.engines.keys().map(String::as_str)));
            return Err(WorksError::Unknown { kind: "engine", name: engine.to_owned(), nearest });
        };
        let plan = self.plan();
        let zone = instant::zone(&plan.works.time_zone);
        let readings = self.readings_of_piece(engine)?;
        let steps = self.step_lines(&plan, &on_floor, &readings);
        let next = steps.iter().find(|s| s.is_next).map(|s| s.title.clone());
        Ok(BuildSheet {
            as_of: instant::iso(self.as_of(), &zone),
            engine: engine.to_owned(),
            engine_type: on_floor.engine_type.clone(),
            state: engine_state(&on_floor.state),
            set: on_floor.set.clone(),
            built: instant::iso(on_floor.built_at, &zone),
            built_by: tell::signed(&plan, &on_floor.built_by),
            places: self.place_lines(&plan, &on_floor),
            compression: self.compression(&plan, &on_floor)?,
            finding: next.map_or_else(
                || format!("Engine {engine} has every build step behind it."),
                |title| format!("Engine {engine}: next, {}.", lower_first(&title)),
            ),
            steps,
            on_track: self.on_track(),
            sets_waiting: self.sets_waiting(),
        })
    }

    /// Engines on the track, in order of their numbers.
    #[must_use]
    pub fn on_track(&self) -> Vec<String> {
        self.floor(|f| {
            let building = f.engines.iter().filter(|(_, e)| e.state == EngineState::Building);
            building.map(|(number, _)| number.clone()).collect()
        })
    }

    /// Sets waiting in their trays, in order of their numbers.
    #[must_use]
    pub fn sets_waiting(&self) -> Vec<String> {
        self.floor(|f| {
            let waiting = f.sets.iter().filter(|(_, s)| s.state == SetState::InTray);
            waiting.map(|(number, _)| number.clone()).collect()
        })
    }

    fn place_lines(&self, plan: &Plan, on_floor: &OnFloor) -> Vec<PlaceLine> {
        self.floor(|f| {
            on_floor
                .places
                .iter()
                .map(|p| PlaceLine {
                    part: p.part.clone(),
                    title: plan
                        .parts
                        .get(&p.part)
                        .map_or_else(|| p.part.clone(), |x| x.title.clone()),
                    position: p.position.clone(),
                    piece: p.piece.clone(),
                    heat: f.pieces.get(&p.piece).map_or_else(String::new, |x| x.heat.clone()),
                })
                .collect()
        })
    }

    fn step_lines(
        &self,
        plan: &Plan,
        on_floor: &OnFloor,
        readings: &[KeptReading],
    ) -> Vec<StepLine> {
        let zone = instant::zone(&plan.works.time_zone);
        let mut next_found = false;
        let steps = plan.steps.get(&on_floor.engine_type);
        steps
            .into_iter()
            .flatten()
            .map(|step| {
                let mark = on_floor.steps.get(&step.id);
                let checks = self.checks(plan, step, readings);
                let is_next = mark.is_none() && !next_found;
                next_found |= is_next;
                let waived = mark.and_then(|m| m.waived.clone());
                StepLine {
                    id: step.id.clone(),
                    title: step.title.clone(),
                    caution: step.caution.clone(),
                    state: match (mark, &waived) {
                        (None, _) => "open",
                        (Some(_), None) => "done",
                        (Some(_), Some(_)) => "waived",
                    },
                    by: mark.map_or_else(String::new, |m| tell::signed(plan, &m.by)),
                    at: mark.map_or_else(String::new, |m| instant::iso(m.at, &zone)),
                    reason: waived.unwrap_or_default(),
                    word: checks.iter().fold(Word::Accept, |w, c| {
                        w.worse(c.judged.as_ref().map_or(Word::NotJudged, |j| j.word))
                    }),
                    checks,
                    is_next,
                }
            })
            .collect()
    }

    fn checks(&self, plan: &Plan, step: &Step, readings: &[KeptReading]) -> Vec<Check> {
        let mut checks = vec![];
        for id in &step.checks {
            let Some(c) = plan.characteristics.get(id) else { continue };
            let one = [String::new()];
            let positions = if c.positions.is_empty() { &one[..] } else { &c.positions };
            for position in positions {
                checks.push(Check {
                    characteristic: id.clone(),
                    title: c.title.clone(),
                    position: position.clone(),
                    limits: limits_words(c),
                    unit: c.unit.symbol,
                    gauge: c.gauge.clone(),
                    judged: newest(readings, id, position).map(|r| self.judged(r)),
                });
            }
        }
        checks
    }

    fn compression(
        &self,
        plan: &Plan,
        on_floor: &OnFloor,
    ) -> Result<Vec<CylinderRatio>, WorksError> {
        let mut readings = BTreeMap::new();
        for place in &on_floor.places {
            readings.insert(place.piece.clone(), self.readings_of_piece(&place.piece)?);
        }
        Ok(compression::ratios(plan, &on_floor.engine_type, &on_floor.places, &readings))
    }

    /// Begins an engine: its number takes the set and the other pieces. Gives the number.
    ///
    /// # Errors
    /// [`WorksError::NotAllowed`], [`WorksError::Unknown`], [`WorksError::Refused`] with every
    /// place that is empty, filled twice, or filled with a piece that is not free or is rejected.
    pub fn begin_engine(&self, deed: &Deed, new: &NewEngine) -> Result<String, WorksError> {
        let plan = self.plan();
        allowed(&plan, &deed.by, Doing::Fitting)?;
        let Some(engine_plan) = plan.engines.get(&new.engine_type) else {
            let nearest = nearest(&new.engine_type, plan.engines.keys().map(String::as_str));
            let name = new.engine_type.clone();
            return Err(WorksError::Unknown { kind: "engine type", name, nearest });
        };
        self.alone(|| {
            let engine = self.engine_number(&new.engine)?;
            let what = || format!("engine {engine}");
            let mut places = self.set_places(&new.set, &new.engine_type)?;
            places.extend(new.pieces.iter().cloned());
            if new.fill {
                self.fill_places(&plan, &engine_plan.parts, &mut places)?;
            }
            let mut faults = place_faults(&engine_plan.parts, &places);
            let (graded, numbered): (Vec<_>, Vec<_>) =
                places.iter().partition(|p| plan.grades.contains_key(&p.part));
            faults.extend(twice(&numbered));
            for place in numbered {
                faults.extend(self.piece_fault(&plan, place, &new.set)?);
            }
            faults.extend(self.grade_faults(&plan, &graded, new));
            if !faults.is_empty() {
                return Err(WorksError::refused(what(), faults.join("; ")));
            }
            let event = Event::EngineBuilt {
                engine: engine.clone(),
                engine_type: new.engine_type.clone(),
                set: new.set.clone(),
                places,
            };
            self.write(deed, vec![event], vec![])?;
            Ok(engine)
        })
    }

    /// Grades that the plan does not know, and those of which too few are in stock. What the set
    /// holds was drawn from stock when it was made.
    fn grade_faults(&self, plan: &Plan, graded: &[&PlaceFilled], new: &NewEngine) -> Vec<String> {
        let mut faults = vec![];
        let mut wanted: BTreeMap<(String, String), i64> = BTreeMap::new();
        for place in graded {
            let grades = plan.grades.get(&place.part).into_iter().flatten();
            let names: Vec<&str> = grades.map(|g| g.name.as_str()).collect();
            if !names.contains(&place.piece.as_str()) {
                let (part, piece) = (&place.part, &place.piece);
                faults.push(format!("{piece} is no grade of {part}; {}", names.join(", ")));
            } else if new.pieces.contains(place) {
                *wanted.entry((place.part.clone(), place.piece.clone())).or_default() += 1;
            }
        }
        for ((part, grade), n) in wanted {
            let key = (part.clone(), grade.clone());
            let left = self.floor(|f| f.stock.get(&key).copied()).unwrap_or(0);
            if left < n {
                faults.push(format!("{n} {part} of grade {grade} are wanted, {left} are in stock"));
            }
        }
        faults
    }

    fn engine_number(&self, asked: &str) -> Result<String, WorksError> {
        self.floor(|f| {
            if asked.is_empty() {
                let last = f.engines.keys().filter_map(|n| n.parse::<u64>().ok()).max();
                return Ok(format!("{:05}", last.unwrap_or(0) + 1));
            }
            if f.engines.contains_key(asked) {
                let why = "this number is taken; leave it out to take the next";
                return Err(WorksError::refused(format!("engine {asked}"), why));
            }
            Ok(asked.to_owned())
        })
    }

    fn set_places(&self, set: &str, engine_type: &str) -> Result<Vec<PlaceFilled>, WorksError> {
        if set.is_empty() {
            return Ok(vec![]);
        }
        let Some(known) = self.floor(|f| f.sets.get(set).cloned()) else {
            let nearest = self.floor(|f| nearest(set, f.sets.keys().map(String::as_str)));
            return Err(WorksError::Unknown { kind: "set", name: set.to_owned(), nearest });
        };
        let what = || format!("set {set}");
        if known.engine_type != engine_type {
            return Err(WorksError::refused(what(), format!("it is for {}", known.engine_type)));
        }
        match known.state {
            SetState::InTray => Ok(known.places),
            SetState::Built(engine) => {
                Err(WorksError::refused(what(), format!("it is in engine {engine} already")))
            }
            SetState::Broken => Err(WorksError::refused(what(), "it was taken apart")),
        }
    }

    fn fill_places(
        &self,
        plan: &Plan,
        parts: &indexmap::IndexMap<String, u32>,
        places: &mut Vec<PlaceFilled>,
    ) -> Result<(), WorksError> {
        for (part, count) in parts {
            let mut free = self.floor(|f| {
                let mut free: Vec<(i64, String)> = f
                    .free(part)
                    .into_iter()
                    // What is held, or kept for a block's set, is not for whoever comes first.
                    .filter(|n| !f.wishes.held.contains_key(*n) && !f.wishes.kept.contains_key(*n))
                    .map(|n| (f.pieces.get(n).map_or(0, |p| p.made_at), n.to_owned()))
                    .collect();
                free.sort();
                free.into_iter()
            });
            for position in positions_of(*count) {
                if places.iter().any(|p| p.part == *part && p.position == position) {
                    continue;
                }
                for (_, piece) in free.by_ref() {
                    let place =
                        PlaceFilled { part: part.clone(), position: position.clone(), piece };
                    let fault = self.piece_fault(plan, &place, "")?;
                    if fault.is_none() && self.is_gauged(plan, &place)? {
                        places.push(place);
                        break;
                    }
                }
            }
        }
        Ok(())
    }

    /// Every characteristic that the plan wants of every piece of this part has been read.
    fn is_gauged(&self, plan: &Plan, place: &PlaceFilled) -> Result<bool, WorksError> {
        let readings = self.readings_of_piece(&place.piece)?;
        Ok(plan
            .characteristics
            .values()
            .filter(|c| c.part == place.part && c.sampling == crate::plan::Sampling::Every)
            .all(|c| readings.iter().any(|r| *r.reading.characteristic == *c.id)))
    }

    fn piece_fault(
        &self,
        plan: &Plan,
        place: &PlaceFilled,
        set: &str,
    ) -> Result<Option<String>, WorksError> {
        let piece = &place.piece;
        let standing =
            self.floor(|f| f.pieces.get(piece).map(|p| (p.part.clone(), p.whereabouts.clone())));
        let Some((part, whereabouts)) = standing else {
            return Ok(Some(format!("{piece} is not entered as a piece")));
        };
        if part != place.part {
            let title =
                |p: &str| plan.parts.get(p).map_or_else(|| p.to_owned(), |x| x.title.clone());
            return Ok(Some(format!(
                "{piece} is a {}, not a {}",
                title(&part),
                title(&place.part)
            )));
        }
        let fault = match whereabouts {
            Whereabouts::Free => None,
            Whereabouts::InSet(own) if own == set => None,
            Whereabouts::InSet(other) => Some(format!("{piece} is in set {other}")),
            Whereabouts::InEngine(engine) => Some(format!("{piece} is in engine {engine}")),
            Whereabouts::Scrapped(_) => Some(format!("{piece} is scrapped")),
        };
        if fault.is_some() {
            return Ok(fault);
        }
        let readings = self.readings_of_piece(piece)?;
        Ok(self.rejected_by(&readings).map(|title| format!("{piece} is rejected on {title}")))
    }

    /// Marks a build step done: the steps before it are behind, its checks are accepted.
    ///
    /// # Errors
    /// [`WorksError::NotAllowed`], [`WorksError::Unknown`], [`WorksError::Refused`].
    pub fn step_done(&self, deed: &Deed, engine: &str, step: &str) -> Result<(), WorksError> {
        allowed(&self.plan(), &deed.by, Doing::Fitting)?;
        self.alone(|| {
            let line = self.open_step(engine, step)?;
            let open: Vec<String> = line
                .checks
                .iter()
                .filter(|c| c.judged.as_ref().is_none_or(|j| j.word != Word::Accept))
                .map(|c| {
                    let word = c.judged.as_ref().map_or("not measured", |j| j.word.text());
                    format!("{} {} ({word})", c.title, c.position).replace("  ", " ")
                })
                .collect();
            if !open.is_empty() {
                let why = format!("these checks are not accepted: {}; measure them, or an engineer waives the step with a reason", open.join(", "));
                return Err(WorksError::refused(format!("step {step}"), why));
            }
            let event = Event::StepDone { engine: engine.to_owned(), step: step.to_owned() };
            self.write(deed, vec![event], vec![]).map(|_| ())
        })
    }

    /// Waives a build step by name, with a reason.
    ///
    /// # Errors
    /// [`WorksError::NotAllowed`], [`WorksError::Unknown`], [`WorksError::Refused`].
    pub fn step_waived(
        &self,
        deed: &Deed,
        engine: &str,
        step: &str,
        reason: &str,
    ) -> Result<(), WorksError> {
        allowed(&self.plan(), &deed.by, Doing::Deciding)?;
        if reason.trim().is_empty() {
            let what = format!("waiving step {step}");
            return Err(WorksError::refused(what, "a reason is needed; say why"));
        }
        self.alone(|| {
            self.open_step(engine, step)?;
            let event = Event::StepWaived {
                engine: engine.to_owned(),
                step: step.to_owned(),
                reason: reason.trim().to_owned(),
            };
            self.write(deed, vec![event], vec![]).map(|_| ())
        })
    }

    fn open_step(&self, engine: &str, step: &str) -> Result<StepLine, WorksError> {
        let sheet = self.build(engine)?;
        let Some(line) = sheet.steps.iter().find(|s| s.id == step) else {
            let nearest = nearest(step, sheet.steps.iter().map(|s| s.id.as_str()));
            return Err(WorksError::Unknown { kind: "build step", name: step.to_owned(), nearest });
        };
        let what = || format!("step {step}");
        if line.state != "open" {
            return Err(WorksError::refused(what(), format!("it is {} already", line.state)));
        }
        if !line.is_next {
            let next = sheet.steps.iter().find(|s| s.is_next).map_or("", |s| s.id.as_str());
            let why = format!("the step before it is open: do or waive {next} first");
            return Err(WorksError::refused(what(), why));
        }
        Ok(line.clone())
    }
}

/// The limits of a characteristic in words, in its own unit.
#[must_use]
pub fn limits_words(c: &crate::plan::Characteristic) -> String {
    let text = |q: &bedplate_gauge::quantity::Quantity| {
        q.in_unit(c.unit).map_or_else(|| q.to_string(), |v| crate::wire::shown(v, c.decimals))
    };
    let unit = c.unit.symbol;
    match (&c.lower, &c.upper) {
        (Some(l), Some(u)) => format!("{} to {} {unit}", text(l), text(u)),
        (Some(l), None) => format!("{} {unit} or more", text(l)),
        (None, Some(u)) => format!("{} {unit} or less", text(u)),
        (None, None) => "no limits".to_owned(),
    }
}

/// The positions of `count` pieces of one part: one has no position, more are numbered from 1.
#[must_use]
pub fn positions_of(count: u32) -> Vec<String> {
    if count == 1 { vec![String::new()] } else { (1..=count).map(|n| n.to_string()).collect() }
}

fn place_faults(parts: &indexmap::IndexMap<String, u32>, places: &[PlaceFilled]) -> Vec<String> {
    let mut faults = vec![];
    for (part, count) in parts {
        for position in positions_of(*count) {
            let filled =
                places.iter().filter(|p| p.part == *part && p.position == position).count();
            let name = format!("{part} {position}").trim_end().to_owned();
            match filled {
                1 => {}
                0 => faults.push(format!("no {name}")),
                _ => faults.push(format!("{name} is filled twice")),
            }
        }
    }
    for place in places {
        let known =
            parts.get(&place.part).is_some_and(|n| positions_of(*n).contains(&place.position));
        if !known {
            faults.push(format!("the engine has no place {} {}", place.part, place.position));
        }
    }
    faults
}

/// Numbered pieces that stand in two places.
fn twice(places: &[&PlaceFilled]) -> Vec<String> {
    let mut pieces: Vec<&str> = places.iter().map(|p| p.piece.as_str()).collect();
    pieces.sort_unstable();
    let pairs = pieces.windows(2).filter(|w| w[0] == w[1]);
    pairs.map(|pair| format!("{} is in two places", pair[0])).collect()
}

fn lower_first(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_lowercase().collect::<String>() + chars.as_str())
}
