//! The record of an engine: everything that stands behind its number, on one sheet.

use std::collections::{BTreeMap, BTreeSet};

use bedplate_record::entry::{PlaceFilled, Subject};
use bedplate_record::reading::KeptReading;
use bedplate_record::store::Wanted;
use serde::Serialize;

use crate::bed::{self, PointLine};
use crate::build::limits_words;
use crate::compression::{self, CylinderRatio};
use crate::floor::{Engine as OnFloor, EngineState};
use crate::instant;
use crate::judge::{Judged, newest};
use crate::plan::{Characteristic, Engine, Plan};
use crate::tell::{self, EventLine};
use crate::trace::{counted, engine_state};
use crate::who::nearest;
use crate::wire::{Figure, Word};
use crate::works::{Works, WorksError};

/// A heading of the cylinders' table.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Heading {
    /// Title: `Bore`.
    pub title: String,
    /// Unit.
    pub unit: String,
}

/// One cell: a figure and its judgement.
#[derive(Debug, Clone, Serialize)]
pub struct Cell {
    /// The figure, if measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub figure: Option<Figure>,
    /// Its judgement.
    pub word: Word,
}

/// One cylinder.
#[derive(Debug, Clone, Serialize)]
pub struct CylinderLine {
    /// Its number.
    pub cylinder: String,
    /// A cell for each heading.
    pub cells: Vec<Cell>,
    /// The graver of them.
    pub word: Word,
}

/// One piece and the reading that came nearest to a limit.
#[derive(Debug, Clone, Serialize)]
pub struct PartLine {
    /// Kind of part, titled.
    pub title: String,
    /// Position, or empty.
    pub position: String,
    /// Piece.
    pub piece: String,
    /// Heat or lot, or empty.
    pub heat: String,
    /// What mattered: the characteristic nearest to a limit.
    pub mattered: String,
    /// Its reading.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reading: Option<Figure>,
    /// Its limits in words.
    pub limits: String,
    /// The graver of all the piece's readings.
    pub word: Word,
    /// How many readings the piece has.
    pub readings: usize,
}

/// Unbalance as left in one plane.
#[derive(Debug, Clone, Serialize)]
pub struct LeftInPlane {
    /// Rotor's piece.
    pub piece: String,
    /// `A` or `B`.
    pub plane: String,
    /// Amount.
    pub amount: Figure,
    /// Angle.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub angle: Option<Figure>,
    /// Most allowed.
    pub allowed: Figure,
    /// Judgement.
    pub word: Word,
}

/// Where an engine has been: one stop of its route.
#[derive(Debug, Clone, Serialize)]
pub struct RouteStop {
    /// `Gauged`, `Kitted`, `Built`, `Tested`, `Passed`.
    pub title: String,
    /// By whom, as signed.
    pub by: String,
    /// When, short.
    pub when: String,
    /// Whether it is behind the engine.
    pub done: bool,
}

/// Whether the record is whole.
#[derive(Debug, Clone, Serialize)]
pub struct Whole {
    /// True when every seal agrees.
    pub whole: bool,
    /// In one sentence.
    pub finding: String,
    /// Groups whose seals agree.
    pub groups: u64,
    /// Readings in them.
    pub readings: u64,
    /// Entries in them.
    pub entries: u64,
    /// The head's seal.
    pub head: String,
}

/// The stamp: passed or held.
#[derive(Debug, Clone, Serialize)]
pub struct Stamp {
    /// `Passed`, `Held`, or empty while not decided.
    pub word: String,
    /// Bed, time.
    pub line: String,
    /// The note.
    pub note: String,
}

/// The record of one engine.
#[derive(Debug, Clone, Serialize)]
pub struct EngineRecord {
    /// Instant of the figures.
    pub as_of: String,
    /// Works.
    pub works: String,
    /// Engine.
    pub engine: String,
    /// Type.
    pub engine_type: String,
    /// `QB4 four-cylinder, 68 mm × 76 mm, 1.104 l. For pump and lighting sets.`
    pub title: String,
    /// State in words.
    pub state: String,
    /// Stamp.
    pub stamp: Stamp,
    /// Headings of the cylinders' table.
    pub headings: Vec<Heading>,
    /// Cylinders.
    pub cylinders: Vec<CylinderLine>,
    /// Pieces.
    pub parts: Vec<PartLine>,
    /// Points of the bed.
    pub points: Vec<PointLine>,
    /// Unbalance as left.
    pub balance: Vec<LeftInPlane>,
    /// Assembled checks.
    pub checks: Vec<Judged>,
    /// Route.
    pub route: Vec<RouteStop>,
    /// What happened to it.
    pub events: Vec<EventLine>,
    /// Every reading behind it, in order of number.
    pub readings: Vec<Judged>,
    /// Seal of the group that closed its last entry.
    pub seal: String,
    /// The number of that group.
    pub seal_group: u64,
    /// Edition of the plan under which it was decided or last touched.
    pub edition: String,
    /// Whether the record is whole.
    pub whole: Whole,
    /// In one sentence.
    pub finding: String,
}

/// All that is known of one engine while its sheet is made.
struct Behind<'w> {
    works: &'w Works,
    plan: &'w Plan,
    on_floor: &'w OnFloor,
    by_piece: BTreeMap<String, Vec<KeptReading>>,
}

impl Behind<'_> {
    fn readings(&self, piece: &str) -> &[KeptReading] {
        self.by_piece.get(piece).map_or(&[], Vec::as_slice)
    }

    fn at(&self, c: &Characteristic, cylinder: &str) -> Option<Judged> {
        let (piece, position) = self.source(c, cylinder)?;
        newest(self.readings(piece), &c.id, position).map(|r| self.works.judged(r))
    }

    /// The piece and position that a cylinder's reading of `c` stands on: the cylinder's own piece
    /// where each cylinder has one, else the position of the one piece.
    fn source<'s>(&'s self, c: &Characteristic, cylinder: &'s str) -> Option<(&'s str, &'s str)> {
        let own = self.on_floor.places.iter().find(|p| p.part == c.part && p.position == cylinder);
        if let Some(own) = own {
            return Some((&own.piece, ""));
        }
        let one =
            self.on_floor.places.iter().find(|p| p.part == c.part && p.position.is_empty())?;
        c.positions.iter().any(|p| p == cylinder).then_some((one.piece.as_str(), cylinder))
    }
}

impl Works {
    /// The record of an engine.
    ///
    /// # Errors
    /// [`WorksError::Unknown`]; [`WorksError::Store`].
    pub fn engine_record(&self, engine: &str) -> Result<EngineRecord, WorksError> {
        let Some(on_floor) = self.floor(|f| f.engines.get(engine).cloned()) else {
            let nearest = self.floor(|f| nearest(engine, f.engines.keys().map(String::as_str)));
            return Err(WorksError::Unknown { kind: "engine", name: engine.to_owned(), nearest });
        };
        let plan = self.plan();
        let mut by_piece = BTreeMap::new();
        let pieces = on_floor.places.iter().map(|p| p.piece.as_str()).chain([engine]);
        for piece in pieces {
            by_piece.insert(piece.to_owned(), self.store().readings(&Wanted::Piece(piece))?);
        }
        self.floor(|f| {
            for readings in by_piece.values_mut() {
                readings.retain(|r| !f.withdrawn.contains_key(&r.number));
            }
        });
        let behind = Behind { works: self, plan: &plan, on_floor: &on_floor, by_piece };
        self.record_of(engine, &behind)
    }

    /// The finding of an engine's record when its wholeness was checked anew.
    #[must_use]
    pub fn record_finding(record: &EngineRecord) -> String {
        finding(&record.engine, record.readings.len(), &record.whole)
    }

    fn record_of(&self, engine: &str, behind: &Behind<'_>) -> Result<EngineRecord, WorksError> {
        let (plan, on_floor) = (behind.plan, behind.on_floor);
        let zone = instant::zone(&plan.works.time_zone);
        let ratios =
            compression::ratios(plan, &on_floor.engine_type, &on_floor.places, &behind.by_piece);
        let (headings, cylinders) = cylinders(behind, &ratios);
        let mut all: Vec<&KeptReading> = behind.by_piece.values().flatten().collect();
        all.sort_by_key(|r| r.number);
        let readings: Vec<Judged> = all.iter().map(|r| self.judged(r)).collect();
        let kept = self.store().about(&Subject::Engine(engine.to_owned()))?;
        let last = kept.last().map_or(0, |k| k.number).max(all.last().map_or(0, |r| r.number));
        let seal = self.store().seal_of(last)?;
        let whole = self.whole()?;
        let stamp = stamp(plan, on_floor);
        Ok(EngineRecord {
            as_of: instant::iso(self.as_of(), &zone),
            works: plan.works.name.clone(),
            engine: engine.to_owned(),
            engine_type: on_floor.engine_type.clone(),
            title: title(plan, on_floor),
            state: engine_state(&on_floor.state),
            headings,
            cylinders,
            parts: parts(behind),
            points: points(behind, engine),
            balance: balance_left(behind),
            checks: checks(behind, engine),
            route: route(behind),
            events: kept.iter().map(|k| tell::line(plan, &zone, k)).collect(),
            finding: finding(engine, readings.len(), &whole),
            readings,
            seal: seal.map_or_else(String::new, |(_, s)| s.to_string()),
            seal_group: seal.map_or(0, |(group, _)| group),
            edition: kept.last().map_or_else(String::new, |k| k.entry.edition.clone()),
            whole,
            stamp,
        })
    }

    /// Whether the whole record agrees with its seals; computed anew when anything was added.
    ///
    /// # Errors
    /// [`WorksError::Store`].
    pub fn whole(&self) -> Result<Whole, WorksError> {
        let whole = self.remembered("whole", || self.whole_anew())?;
        Ok((*whole).clone())
    }

    /// As [`Works::whole`], every seal computed anew whatever is remembered: for whoever doubts.
    ///
    /// # Errors
    /// [`WorksError::Store`].
    pub fn whole_anew(&self) -> Result<Whole, WorksError> {
        let v = self.verify(&mut |_, _| {})?;
        let finding = v.broken.as_ref().map_or_else(
            || match v.groups {
                1 => "The one seal agrees.".to_owned(),
                n => format!("All {n} seals agree."),
            },
            |b| {
                format!(
                    "The record breaks at number {}, in group {}: {}.",
                    b.number, b.group, b.finding
                )
            },
        );
        Ok(Whole {
            whole: v.broken.is_none(),
            finding,
            groups: v.groups,
            readings: v.readings,
            entries: v.entries,
            head: v.head.seal.to_string(),
        })
    }
}

fn finding(engine: &str, readings: usize, whole: &Whole) -> String {
    if whole.whole {
        format!(
            "Engine {engine} has all {} behind its number, unbroken.",
            counted(readings, "reading")
        )
    } else {
        format!("Engine {engine}: {}", whole.finding)
    }
}

fn title(plan: &Plan, on_floor: &OnFloor) -> String {
    plan.engines.get(&on_floor.engine_type).map_or_else(String::new, |e| {
        format!(
            "{}, {} × {}, {:.3} l. {}.",
            e.name,
            e.bore,
            e.stroke,
            bed::displacement_l(e),
            e.title
        )
    })
}

fn stamp(plan: &Plan, on_floor: &OnFloor) -> Stamp {
    let zone = instant::zone(&plan.works.time_zone);
    let bed = on_floor.tested.as_ref().map_or_else(String::new, |(bed, ..)| format!("{bed}, "));
    let (word, decided) = match (&on_floor.state, &on_floor.decided) {
        (EngineState::Passed, Some(decided)) => ("Passed", Some(decided)),
        (EngineState::Held(_), Some(decided)) => ("Held", Some(decided)),
        _ => ("", None),
    };
    Stamp {
        word: word.to_owned(),
        line: decided.map_or_else(String::new, |(at, ..)| {
            let at = instant::zoned(*at, &zone).strftime("%-d %b %Y %H:%M").to_string();
            format!("{bed}{at}")
        }),
        note: decided.map_or_else(String::new, |(_, _, note)| note.clone()),
    }
}

/// The cylinders' table: for each fit its two sizes and the clearance, then whatever else is
/// measured once a cylinder on the parts of the set, then the compression ratio.
fn cylinders(behind: &Behind<'_>, ratios: &[CylinderRatio]) -> (Vec<Heading>, Vec<CylinderLine>) {
    let plan = behind.plan;
    let Some(engine) = plan.engines.get(&behind.on_floor.engine_type) else {
        return (vec![], vec![]);
    };
    let Some(rule) = plan.sets.get(&engine.name) else { return (vec![], vec![]) };
    let fits: Vec<_> = rule
        .fits
        .iter()
        .filter_map(|f| plan.fits.get(f))
        .filter(|f| f.terms.iter().all(|t| is_by_cylinder(plan, engine, &t.characteristic)))
        .collect();
    let spreads: Vec<_> =
        rule.spreads.keys().filter_map(|id| plan.characteristics.get(id)).collect();
    let form: Vec<_> = fits
        .iter()
        .filter_map(|f| plan.characteristics.get(f.outer()))
        .flat_map(|outer| {
            let prefix = format!("{}_", outer.id);
            plan.characteristics.values().filter(move |c| c.id.starts_with(&prefix))
        })
        .collect();
    let heading =
        |c: &Characteristic| Heading { title: c.title.clone(), unit: c.unit.symbol.to_owned() };
    let mut headings = vec![];
    for fit in &fits {
        headings.extend(
            fit.terms
                .iter()
                .filter_map(|t| plan.characteristics.get(&t.characteristic))
                .map(heading),
        );
        headings.push(Heading { title: "Clearance".to_owned(), unit: "µm".to_owned() });
    }
    headings.extend(spreads.iter().chain(&form).map(|c| heading(c)));
    if !ratios.is_empty() {
        headings.push(Heading { title: "Compression".to_owned(), unit: String::new() });
    }
    let lines = (1..=engine.cylinders)
        .map(|n| {
            let cylinder = n.to_string();
            let cell = |c: &Characteristic| Cell::of(behind.at(c, &cylinder));
            let mut cells = vec![];
            for fit in &fits {
                cells.extend(fit_cells(behind, fit, &cylinder));
            }
            cells.extend(spreads.iter().chain(&form).map(|c| cell(c)));
            if let Some(ratio) = ratios.iter().find(|r| r.cylinder == cylinder) {
                cells.push(Cell { figure: ratio.ratio.clone(), word: ratio.word });
            }
            // What is measured on one piece in so many is judged where it was measured.
            let measured = || cells.iter().filter(|c| c.figure.is_some());
            let word = measured().map(|c| c.word).reduce(Word::worse).unwrap_or(Word::NotJudged);
            CylinderLine { cylinder, cells, word }
        })
        .collect();
    (headings, lines)
}

impl Cell {
    fn of(judged: Option<Judged>) -> Self {
        judged.map_or(Self { figure: None, word: Word::NotJudged }, |j| Self {
            word: if j.lower.is_none() && j.upper.is_none() { Word::Accept } else { j.word },
            figure: Some(j.value),
        })
    }
}

/// Whether an engine holds one value of a characteristic for each of its cylinders.
fn is_by_cylinder(plan: &Plan, engine: &Engine, characteristic: &str) -> bool {
    let Some(c) = plan.characteristics.get(characteristic) else { return false };
    let pieces = engine.parts.get(&c.part).copied().unwrap_or(0);
    u32::try_from(c.positions.len().max(1)).is_ok_and(|n| pieces * n == engine.cylinders)
}

/// The sizes of a fit at one cylinder, then their clearance.
fn fit_cells(behind: &Behind<'_>, fit: &crate::plan::Fit, cylinder: &str) -> Vec<Cell> {
    let um = |j: &Judged| {
        let unit = bedplate_gauge::unit::Unit::named(j.value.unit);
        unit.map_or(0.0, |u| j.value.value * u.factor() * 1e6)
    };
    let sizes: Vec<Option<Judged>> = fit
        .terms
        .iter()
        .map(|t| {
            let c = behind.plan.characteristics.get(&t.characteristic);
            c.and_then(|c| behind.at(c, cylinder))
        })
        .collect();
    let clearance = sizes.iter().cloned().collect::<Option<Vec<Judged>>>().map(|all| {
        let sum: f64 = fit.terms.iter().zip(&all).map(|(t, j)| t.factor * um(j)).sum();
        let clearance = ((sum - fit.less * 1e6) * 1e3).round() / 1e3;
        let inside = fit.lower.to("µm") <= clearance && clearance <= fit.upper.to("µm");
        let figure = Figure::new(clearance, "µm", 1).from_readings(all.iter().map(|j| j.number));
        let figure = match all.as_slice() {
            [outer, inner] if fit.less == 0.0 => {
                let inputs =
                    [("bore", outer.value.with_unit()), ("piston", inner.value.with_unit())];
                figure.by("piston-clearance", inputs)
            }
            _ => figure,
        };
        Cell { figure: Some(figure), word: if inside { Word::Accept } else { Word::Reject } }
    });
    let none = Cell { figure: None, word: Word::NotJudged };
    sizes.into_iter().map(Cell::of).chain([clearance.unwrap_or(none)]).collect()
}

/// Share of the way from the middle to the nearest limit: what is nearest to a limit mattered most.
fn nearness(j: &Judged) -> f64 {
    match (&j.lower, &j.upper) {
        (Some(l), Some(u)) if u.value > l.value => {
            ((j.value.value - (l.value + u.value) / 2.0) / ((u.value - l.value) / 2.0)).abs()
        }
        (None, Some(u)) if u.value != 0.0 => j.value.value / u.value,
        (Some(l), None) if j.value.value != 0.0 => l.value / j.value.value,
        _ => -1.0,
    }
}

fn parts(behind: &Behind<'_>) -> Vec<PartLine> {
    behind.on_floor.places.iter().map(|p| part_line(behind, p)).collect()
}

fn part_line(behind: &Behind<'_>, place: &PlaceFilled) -> PartLine {
    let plan = behind.plan;
    let mut newest_of: BTreeMap<(&str, &str), &KeptReading> = BTreeMap::new();
    for r in behind.readings(&place.piece) {
        newest_of.insert((&r.reading.characteristic, &r.reading.position), r);
    }
    let judged: Vec<Judged> = newest_of.values().map(|r| behind.works.judged(r)).collect();
    let mattered = judged.iter().max_by(|a, b| nearness(a).total_cmp(&nearness(b)));
    let limits = mattered
        .and_then(|j| plan.characteristics.get(&j.characteristic))
        .map_or_else(String::new, limits_words);
    let judged_words = judged.iter().map(|j| j.word).filter(|w| *w != Word::NotJudged);
    PartLine {
        title: plan.parts.get(&place.part).map_or_else(|| place.part.clone(), |p| p.title.clone()),
        position: place.position.clone(),
        piece: place.piece.clone(),
        heat: behind
            .works
            .floor(|f| f.pieces.get(&place.piece).map(|p| p.heat.clone()))
            .unwrap_or_default(),
        mattered: mattered.map_or_else(String::new, |j| {
            format!("{} {}", j.title, j.position).trim_end().to_owned()
        }),
        reading: mattered.map(|j| j.value.clone()),
        limits,
        word: if judged.is_empty() {
            Word::NotJudged
        } else {
            judged_words.fold(Word::Accept, Word::worse)
        },
        readings: behind.readings(&place.piece).len(),
    }
}

fn points(behind: &Behind<'_>, engine: &str) -> Vec<PointLine> {
    let plan = behind.plan;
    let engine_type = &behind.on_floor.engine_type;
    let Some((engine_plan, bed)) = plan.engines.get(engine_type).zip(plan.beds.get(engine_type))
    else {
        return vec![];
    };
    let readings = behind.readings(engine);
    let judge = |kept: &KeptReading| behind.works.judged(kept);
    bed.points
        .iter()
        .map(|p| bed::point_line(plan, engine_plan, bed, p, readings, &judge))
        .collect()
}

fn balance_left(behind: &Behind<'_>) -> Vec<LeftInPlane> {
    let mut left = vec![];
    for rotor in behind.plan.rotors.values() {
        let Some(place) = behind.on_floor.places.iter().find(|p| p.part == rotor.part) else {
            continue;
        };
        let Ok(allowed) = crate::balance::allowed_gmm(rotor) else { continue };
        let readings = behind.readings(&place.piece);
        for (plane, allowed_gmm) in [("A", allowed.a), ("B", allowed.b)] {
            let Some(amount) = newest(readings, &rotor.amount, plane) else { continue };
            let gmm = amount.reading.value.si() * 1e6;
            left.push(LeftInPlane {
                piece: place.piece.clone(),
                plane: plane.to_owned(),
                amount: Figure::new(gmm, "g·mm", 0).from_readings([amount.number]),
                angle: newest(readings, &rotor.angle, plane)
                    .map(|a| Figure::of(&a.reading.value).from_readings([a.number])),
                allowed: Figure::new(allowed_gmm, "g·mm", 0),
                word: if gmm <= allowed_gmm { Word::Accept } else { Word::Reject },
            });
        }
    }
    left
}

/// Newest reading of every check of every build step.
fn checks(behind: &Behind<'_>, engine: &str) -> Vec<Judged> {
    let ids: BTreeSet<&String> = behind
        .plan
        .steps
        .get(&behind.on_floor.engine_type)
        .into_iter()
        .flatten()
        .flat_map(|s| &s.checks)
        .collect();
    let mut newest_of: BTreeMap<(&str, &str), &KeptReading> = BTreeMap::new();
    for r in behind.readings(engine) {
        if ids.iter().any(|id| **id == *r.reading.characteristic) {
            newest_of.insert((&r.reading.characteristic, &r.reading.position), r);
        }
    }
    newest_of.values().map(|r| behind.works.judged(r)).collect()
}

fn route(behind: &Behind<'_>) -> Vec<RouteStop> {
    let (plan, on_floor) = (behind.plan, behind.on_floor);
    let zone = instant::zone(&plan.works.time_zone);
    let block = on_floor.places.first().map_or("", |p| p.piece.as_str());
    let stop = |title: &str, mark: Option<(&str, i64)>| RouteStop {
        title: title.to_owned(),
        by: mark.map_or_else(String::new, |(by, _)| tell::signed(plan, by)),
        when: mark.map_or_else(String::new, |(_, at)| instant::short(at, &zone)),
        done: mark.is_some(),
    };
    let made = behind.works.floor(|f| f.pieces.get(block).map(|p| p.made_at));
    let gauged =
        behind.readings(block).last().map(|r| (r.reading.context.person.to_string(), r.reading.at));
    let kitted =
        behind.works.floor(|f| f.sets.get(&on_floor.set).map(|s| (s.made_by.clone(), s.made_at)));
    let stepped = on_floor.steps.values().max_by_key(|s| s.at).map(|s| (s.by.clone(), s.at));
    let passed = on_floor.decided.as_ref().map(|(at, by, _)| (by.clone(), *at));
    let tested = on_floor.tested.as_ref().map(|(_, at, by)| (by.clone(), *at));
    let as_signed = |title: &str, m: &Option<(String, i64)>| {
        stop(title, m.as_ref().map(|(by, at)| (by.as_str(), *at)))
    };
    let decided = if matches!(on_floor.state, EngineState::Held(_)) { "Held" } else { "Passed" };
    vec![
        stop("Block machined", made.map(|at| ("", at))),
        as_signed("Gauged", &gauged),
        as_signed(&format!("Kitted, set {}", on_floor.set), &kitted),
        stop("Begun", Some((on_floor.built_by.as_str(), on_floor.built_at))),
        as_signed("Built", &stepped),
        as_signed("Tested", &tested),
        as_signed(decided, &passed),
    ]
}
