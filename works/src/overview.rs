//! The works at a glance: what waits for a decision, where work waits, how the day stands.

use std::collections::BTreeMap;

use bedplate_engine::set::Search;
use bedplate_record::reading::Millis;
use bedplate_record::store::Wanted;
use serde::Serialize;

use crate::bench::GaugeStanding;
use crate::floor::EngineState;
use crate::instant;
use crate::plan::{Line, Plan};
use crate::trace::counted;
use crate::wire::{Figure, Word};
use crate::works::{Works, WorksError};

/// One decision that waits for a person.
#[derive(Debug, Clone, Serialize)]
pub struct Decision {
    /// Its letter.
    pub letter: String,
    /// What to decide.
    pub title: String,
    /// What waiting costs.
    pub cost: String,
    /// Why.
    pub why: String,
    /// What is proposed, or empty.
    pub proposed: String,
    /// Address of the sheet where it is decided.
    pub sheet: String,
    /// What that sheet is called.
    pub sheet_title: String,
    /// The station it stands on: line and operation, or empty.
    pub at: (String, String),
    /// Engines it concerns: the order of the list.
    pub engines: f64,
}

/// How a station stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum StationState {
    /// Read from within the last hour of the record.
    Working,
    /// Nothing waits before it.
    Starved,
    /// More waits behind it than planned.
    Blocked,
    /// Work waits, yet nothing came through.
    Standing,
}

/// A station on a shaft: an operation that is gauged.
#[derive(Debug, Clone, Serialize)]
pub struct Station {
    /// Operation.
    pub operation: String,
    /// Its title.
    pub title: String,
    /// State.
    pub state: StationState,
    /// Pieces waiting before it.
    pub waiting: usize,
    /// The most that should wait: two hours of the day's rate.
    pub planned_most: usize,
}

/// One line drawn as a stepped shaft: a section is as thick as its queue.
#[derive(Debug, Clone, Serialize)]
pub struct Shaft {
    /// Line.
    pub line: String,
    /// Its title.
    pub title: String,
    /// Material, in words.
    pub material: String,
    /// Family of the material.
    pub family: String,
    /// Stations in order.
    pub stations: Vec<Station>,
    /// Pieces done and free in the store at the end.
    pub store: usize,
    /// The most that should lie there.
    pub store_planned_most: usize,
}

/// How the day stands against its plan.
#[derive(Debug, Clone, Serialize)]
pub struct Day {
    /// Engines passed today.
    pub passed: usize,
    /// Engines planned for the day.
    pub planned: u32,
    /// Engines that should have been passed by now, in even steps over the working time.
    pub planned_by_now: usize,
    /// Likely at the day's end: passed, and what the last ten working days passed after this hour.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub likely: Option<Forecast>,
    /// Engines passed on each of the last working days, oldest first.
    pub before: Vec<(String, usize)>,
}

/// A forecast with its interval.
#[derive(Debug, Clone, Serialize)]
pub struct Forecast {
    /// Likely.
    pub value: f64,
    /// Low end of the 95 % interval.
    pub low: f64,
    /// High end.
    pub high: f64,
    /// Working days it rests on.
    pub days: usize,
}

/// After the kitting bench.
#[derive(Debug, Clone, Serialize)]
pub struct Track {
    /// Sets waiting in their trays.
    pub in_tray: usize,
    /// Engines being built.
    pub building: usize,
    /// Engines built and waiting for the bed.
    pub at_bed: usize,
    /// Engines tested and not decided.
    pub undecided: usize,
    /// Engines held.
    pub held: usize,
}

/// The works sheet.
#[derive(Debug, Clone, Serialize)]
pub struct WorksSheet {
    /// Name of the works.
    pub works: String,
    /// Engine types.
    pub engine_types: Vec<String>,
    /// Instant of the figures.
    pub as_of: String,
    /// The same, short.
    pub as_of_short: String,
    /// Shift.
    pub shift: String,
    /// Decisions, dearest first.
    pub decisions: Vec<Decision>,
    /// The day.
    pub day: Day,
    /// Lines.
    pub shafts: Vec<Shaft>,
    /// After kitting.
    pub track: Track,
    /// How long the last engines took from block to pass: mean, of it worked, of it waiting.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time_in_works: Option<[Figure; 3]>,
    /// The newest engines passed, newest first.
    pub newest: Vec<String>,
    /// Where the works is held back: line title, station title and how many wait.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub held_by: Option<(String, String, usize)>,
}

const HOUR_MS: Millis = 3_600_000;
const DAY_MS: Millis = 24 * HOUR_MS;
/// A queue is planned to be worked off within this many hours of the day's rate.
const QUEUE_HOURS: f64 = 2.0;
/// Working days a forecast rests on at the most.
const FORECAST_DAYS: usize = 10;

impl Works {
    /// The works sheet.
    ///
    /// # Errors
    /// [`WorksError::Store`].
    pub fn overview(&self) -> Result<WorksSheet, WorksError> {
        let sheet = self.remembered("overview", || self.overview_now())?;
        Ok((*sheet).clone())
    }

    fn overview_now(&self) -> Result<WorksSheet, WorksError> {
        let plan = self.plan();
        let at = self.as_of();
        let zone = instant::zone(&plan.works.time_zone);
        let shafts = self.shafts(&plan, at)?;
        let mut decisions = self.decisions(&plan, &shafts)?;
        decisions.sort_by(|a, b| b.engines.total_cmp(&a.engines));
        decisions.truncate(8);
        for (letter, decision) in ('A'..='Z').zip(&mut decisions) {
            decision.letter = letter.to_string();
        }
        let held_by = shafts
            .iter()
            .flat_map(|s| s.stations.iter().map(move |t| (s, t)))
            .filter(|(_, t)| t.waiting > t.planned_most)
            .max_by_key(|(_, t)| t.waiting - t.planned_most)
            .map(|(s, t)| (s.title.clone(), t.title.clone(), t.waiting));
        Ok(WorksSheet {
            works: plan.works.name.clone(),
            engine_types: plan.engines.keys().cloned().collect(),
            as_of: instant::iso(at, &zone),
            as_of_short: instant::short(at, &zone),
            shift: shift(&plan, at),
            decisions,
            day: self.day(&plan, at),
            shafts,
            track: self.track(),
            time_in_works: self.time_in_works(&plan),
            newest: self.newest_passed(),
            held_by,
        })
    }

    fn shafts(&self, plan: &Plan, at: Millis) -> Result<Vec<Shaft>, WorksError> {
        let lines = plan.lines.values().filter(|l| plan.parts.contains_key(&l.part));
        lines.map(|line| self.shaft(plan, line, at)).collect()
    }

    fn shaft(&self, plan: &Plan, line: &Line, at: Millis) -> Result<Shaft, WorksError> {
        // Only operations whose work is gauged can be seen; the others belong to the next one.
        let gauged: Vec<&String> = line
            .operations
            .iter()
            .filter(|op| plan.characteristics.values().any(|c| c.operation == **op))
            .collect();
        let stage_of: BTreeMap<&str, usize> = plan
            .characteristics
            .values()
            .filter_map(|c| {
                Some((c.id.as_str(), gauged.iter().position(|op| **op == c.operation)?))
            })
            .collect();
        let free: Vec<String> =
            self.floor(|f| f.free(&line.part).into_iter().map(str::to_owned).collect());
        let mut waiting = vec![0usize; gauged.len() + 1];
        for piece in &free {
            let readings = self.store().readings(&Wanted::Piece(piece))?;
            let last = readings
                .iter()
                .filter_map(|r| stage_of.get(r.reading.characteristic.as_ref()))
                .max();
            waiting[last.map_or(0, |stage| stage + 1)] += 1;
        }
        let most = planned_most(plan, &line.part);
        let mut stations = vec![];
        for (i, op) in gauged.iter().enumerate() {
            let seen = self.seen_since(plan, op, at - HOUR_MS)?;
            let state = match (seen, waiting[i], waiting[i + 1]) {
                (true, ..) => StationState::Working,
                (false, _, behind) if behind > most => StationState::Blocked,
                (false, 0, _) => StationState::Starved,
                _ => StationState::Standing,
            };
            stations.push(Station {
                operation: (*op).clone(),
                title: plan.operations.get(*op).map_or_else(|| (*op).clone(), |o| o.title.clone()),
                state,
                waiting: waiting[i],
                planned_most: most,
            });
        }
        let part = plan.parts.get(&line.part);
        Ok(Shaft {
            line: line.name.clone(),
            title: line.title.clone(),
            material: part.map_or_else(String::new, |p| p.material.clone()),
            family: part.map_or_else(String::new, |p| p.family.clone()),
            stations,
            store: waiting[gauged.len()],
            store_planned_most: most * 2,
        })
    }

    fn seen_since(&self, plan: &Plan, operation: &str, since: Millis) -> Result<bool, WorksError> {
        for c in plan.characteristics.values().filter(|c| c.operation == operation) {
            let newest = Wanted::Newest { name: &c.id, position: "", count: 1 };
            if self.store().readings(&newest)?.last().is_some_and(|r| r.reading.at >= since) {
                return Ok(true);
            }
        }
        Ok(false)
    }

    fn day(&self, plan: &Plan, at: Millis) -> Day {
        let zone = instant::zone(&plan.works.time_zone);
        let start = instant::start_of_day(at, &zone);
        let passed_at: Vec<Millis> = self.floor(|f| {
            f.engines
                .values()
                .filter(|e| e.state == EngineState::Passed)
                .filter_map(|e| e.decided.as_ref().map(|d| d.0))
                .collect()
        });
        let passed = passed_at.iter().filter(|t| **t >= start).count();
        let mut by_day: BTreeMap<Millis, (usize, usize)> = BTreeMap::new();
        let into_day = at - start;
        for t in passed_at.iter().filter(|t| **t < start) {
            let day = instant::start_of_day(*t, &zone);
            let counts = by_day.entry(day).or_default();
            counts.0 += 1;
            counts.1 += usize::from(*t - day > into_day);
        }
        let rests: Vec<f64> =
            by_day.values().rev().take(FORECAST_DAYS).map(|(_, rest)| as_f64(*rest)).collect();
        let shift_start =
            plan.works.shifts.first().map_or(0, |s| Millis::from(s.start_minute) * 60_000);
        #[expect(clippy::cast_precision_loss, reason = "milliseconds of one day")]
        let share = ((into_day - shift_start) as f64 / 1e3 / plan.works.working_time.to("s"))
            .clamp(0.0, 1.0);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0…planned")]
        let planned_by_now = (share * f64::from(plan.works.day_rate)).round() as usize;
        Day {
            passed,
            planned: plan.works.day_rate,
            planned_by_now,
            likely: forecast(as_f64(passed), &rests),
            before: by_day
                .iter()
                .map(|(day, (count, _))| (instant::day(*day, &zone), *count))
                .collect(),
        }
    }

    fn track(&self) -> Track {
        let plan = self.plan();
        let in_tray = self.sets_waiting().len();
        self.floor(|f| {
            let mut track = Track { in_tray, building: 0, at_bed: 0, undecided: 0, held: 0 };
            for e in f.engines.values() {
                let steps = plan.steps.get(&e.engine_type).map_or(0, Vec::len);
                match &e.state {
                    EngineState::Building if e.steps.len() >= steps => track.at_bed += 1,
                    EngineState::Building => track.building += 1,
                    EngineState::Tested => track.undecided += 1,
                    EngineState::Held(_) => track.held += 1,
                    EngineState::Passed => {}
                }
            }
            track
        })
    }

    fn newest_passed(&self) -> Vec<String> {
        self.floor(|f| {
            let mut passed: Vec<(Millis, &String)> = f
                .engines
                .iter()
                .filter(|(_, e)| e.state == EngineState::Passed)
                .filter_map(|(n, e)| e.decided.as_ref().map(|d| (d.0, n)))
                .collect();
            passed.sort_unstable_by(|a, b| b.cmp(a));
            passed.into_iter().take(12).map(|(_, n)| n.clone()).collect()
        })
    }

    fn time_in_works(&self, plan: &Plan) -> Option<[Figure; 3]> {
        let newest = self.newest_passed();
        let spans: Vec<f64> = self.floor(|f| {
            newest
                .iter()
                .filter_map(|n| {
                    let e = f.engines.get(n)?;
                    let block = f.pieces.get(&e.places.first()?.piece)?;
                    #[expect(clippy::cast_precision_loss, reason = "a span of days")]
                    Some((e.decided.as_ref()?.0 - block.made_at) as f64 / 3.6e6)
                })
                .collect()
        });
        if spans.is_empty() {
            return None;
        }
        let total = spans.iter().sum::<f64>() / as_f64(spans.len());
        let first_part = plan.lines.values().next().map(|l| l.part.clone())?;
        let worked: f64 = plan
            .operations
            .values()
            .filter(|o| o.part == first_part || o.part == "engine")
            .map(|o| o.cycle.to("h"))
            .sum();
        let hours = |x: f64| Figure::new(x, "h", 1);
        Some([hours(total), hours(worked), hours((total - worked).max(0.0))])
    }

    fn decisions(&self, plan: &Plan, shafts: &[Shaft]) -> Result<Vec<Decision>, WorksError> {
        let mut decisions = queue_decisions(plan, shafts);
        decisions.extend(self.reset_decisions(plan)?);
        for engine_type in plan.sets.keys() {
            decisions.extend(self.matching_decision(engine_type)?);
        }
        decisions.extend(self.engine_decisions()?);
        decisions.extend(self.gauge_decisions(plan));
        Ok(decisions)
    }

    fn reset_decisions(&self, plan: &Plan) -> Result<Vec<Decision>, WorksError> {
        let mut decisions = vec![];
        for c in plan.characteristics.values().filter(|c| c.adjustment.is_some()) {
            for stream in self.streams(c)? {
                let Some(advice) = self.advice(c, &stream)?.filter(|a| a.is_due) else { continue };
                let line = plan.lines.values().find(|l| l.operations.contains(&c.operation));
                decisions.push(Decision {
                    letter: String::new(),
                    title: advice.title.clone(),
                    cost: advice.cost.clone(),
                    why: advice.why.clone(),
                    proposed: advice.proposed.clone(),
                    sheet: format!("/characteristic?id={}&position={}", c.id, stream.position),
                    sheet_title: "sheet 3".to_owned(),
                    at: (line.map_or_else(String::new, |l| l.name.clone()), c.operation.clone()),
                    engines: advice.pieces_at_risk,
                });
            }
        }
        Ok(decisions)
    }

    fn matching_decision(&self, engine_type: &str) -> Result<Option<Decision>, WorksError> {
        let sheet = self.matching(engine_type, Search::default())?;
        let Some(advice) = sheet.advice.first() else { return Ok(None) };
        let title = if advice.tell == "turning" {
            let pieces = counted(advice.pieces, &advice.part);
            format!("Turn {pieces} at {} to {} mm", advice.from.text, advice.to.text)
        } else {
            let wanted = advice.words.split_once(" would").map_or("", |(wanted, _)| wanted);
            format!("Tell {}: {wanted}", advice.tell)
        };
        Ok(Some(Decision {
            letter: String::new(),
            title,
            cost: format!("{} cannot be kitted", counted(sheet.left_blocks.len(), "block")),
            why: format!(
                "{} of at most {} from the racks.",
                counted(sheet.found, "engine"),
                sheet.bound
            ),
            proposed: advice.words.clone(),
            sheet: "/matching".to_owned(),
            sheet_title: "sheet 4".to_owned(),
            at: ("piston".to_owned(), String::new()),
            engines: as_f64(advice.engines),
        }))
    }

    fn engine_decisions(&self) -> Result<Vec<Decision>, WorksError> {
        let waiting: Vec<(String, EngineState)> = self.floor(|f| {
            f.engines
                .iter()
                .filter(|(_, e)| matches!(e.state, EngineState::Tested | EngineState::Held(_)))
                .map(|(n, e)| (n.clone(), e.state.clone()))
                .collect()
        });
        let mut decisions = vec![];
        for (engine, state) in waiting {
            let sheet = self.bed(&engine)?;
            if sheet.word == Word::Accept && state == EngineState::Tested {
                continue;
            }
            let (title, cost) = match state {
                EngineState::Held(reason) => {
                    (format!("Engine {engine} is held: strip or pass"), reason)
                }
                _ => (
                    format!("Engine {engine}: pass, run again or hold"),
                    sheet.word.text().to_owned(),
                ),
            };
            decisions.push(Decision {
                letter: String::new(),
                title,
                cost,
                why: sheet.finding.clone(),
                proposed: String::new(),
                sheet: format!("/bed?engine={engine}"),
                sheet_title: "sheet 7".to_owned(),
                at: (String::new(), "bed".to_owned()),
                engines: 1.0,
            });
        }
        Ok(decisions)
    }

    fn gauge_decisions(&self, plan: &Plan) -> Vec<Decision> {
        plan.gauges
            .values()
            .filter_map(|g| {
                let (cost, why) = match self.gauge_standing(&g.name) {
                    GaugeStanding::Out { since, error } => (
                        "Its readings may be wrong".to_owned(),
                        format!("Found {error} out on {since}."),
                    ),
                    GaugeStanding::Overdue { since, days } => (
                        "Its readings prove nothing".to_owned(),
                        format!("Last set on {since}, {days} days past its time."),
                    ),
                    GaugeStanding::InOrder { .. } | GaugeStanding::NeverSet => return None,
                };
                Some(Decision {
                    letter: String::new(),
                    title: format!("Set {} on its master", g.title.to_lowercase()),
                    cost,
                    why,
                    proposed: String::new(),
                    sheet: format!("/trace?gauge={}", g.name),
                    sheet_title: "sheet 8.1".to_owned(),
                    at: (String::new(), String::new()),
                    engines: 2.0,
                })
            })
            .collect()
    }
}

/// What two hours of the day's rate are, in pieces of a part.
fn planned_most(plan: &Plan, part: &str) -> usize {
    let per_engine =
        plan.engines.values().filter_map(|e| e.parts.get(part)).max().copied().unwrap_or(1);
    let hours = plan.works.working_time.to("h").max(0.1);
    let most = f64::from(plan.works.day_rate) * f64::from(per_engine) * QUEUE_HOURS / hours;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small count")]
    let most = most.ceil().clamp(1.0, 1e6) as usize;
    most
}

fn queue_decisions(plan: &Plan, shafts: &[Shaft]) -> Vec<Decision> {
    let mut decisions = vec![];
    for shaft in shafts {
        let part = plan.lines.get(&shaft.line).map_or("", |l| l.part.as_str());
        let per_engine =
            plan.engines.values().filter_map(|e| e.parts.get(part)).max().copied().unwrap_or(1);
        for station in shaft.stations.iter().filter(|s| s.waiting > s.planned_most) {
            let over = as_f64(station.waiting - station.planned_most) / f64::from(per_engine);
            decisions.push(Decision {
                letter: String::new(),
                title: format!("Put a second hand on {}", station.title.to_lowercase()),
                cost: format!(
                    "{:.0} engines' {}s wait beyond plan",
                    over.ceil(),
                    shaft.title.to_lowercase()
                ),
                why: format!(
                    "{} wait; the planned most is {}.",
                    station.waiting, station.planned_most
                ),
                proposed: String::new(),
                sheet: "/line".to_owned(),
                sheet_title: "sheet 6".to_owned(),
                at: (shaft.line.clone(), station.operation.clone()),
                engines: over,
            });
        }
    }
    decisions
}

/// The shift that runs at an instant.
#[must_use]
pub fn shift(plan: &Plan, at: Millis) -> String {
    let zone = instant::zone(&plan.works.time_zone);
    let into_day = (at - instant::start_of_day(at, &zone)).rem_euclid(DAY_MS);
    let minute = into_day / 60_000;
    plan.works
        .shifts
        .iter()
        .rev()
        .find(|s| i64::from(s.start_minute) <= minute)
        .or_else(|| plan.works.shifts.last())
        .map_or_else(String::new, |s| format!("Shift {}", s.name))
}

fn as_f64(n: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "counts of a works are below 2^53")]
    let x = n as f64;
    x
}

/// Passed so far and the mean of what earlier days passed after this hour; the interval from the
/// scatter of those days.
fn forecast(passed: f64, rests: &[f64]) -> Option<Forecast> {
    if rests.len() < 3 {
        return None;
    }
    let n = as_f64(rests.len());
    let mean = rests.iter().sum::<f64>() / n;
    let variance = rests.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / (n - 1.0);
    let t = bedplate_gauge::distribution::t_quantile(0.975, n - 1.0).unwrap_or(2.0);
    let reach = t * (variance * (1.0 + 1.0 / n)).sqrt();
    let value = passed + mean;
    Some(Forecast {
        value,
        low: (value - reach).max(passed),
        high: value + reach,
        days: rests.len(),
    })
}
