//! Making sets: from accepted pieces in the store to trays with tickets.

use std::collections::BTreeMap;

use bedplate_engine::set::clearance::{GaugedClearance, probability_all_inside};
use bedplate_engine::set::size::{Milligram, Nanometre};
use bedplate_engine::set::{
    Block, LeftBlock, Matching, Piston, Reason, Rules, Search, Set as Chosen, Window, match_sets,
};
use bedplate_gauge::judge::judge as judge_value;
use bedplate_gauge::limits::Limits;
use bedplate_record::entry::{Event, PlaceFilled};
use bedplate_record::reading::KeptReading;
use serde::Serialize;

use crate::floor::SetState;
use crate::instant;
use crate::judge::newest;
use crate::plan::{Characteristic, Fit, Plan};
use crate::tell;
use crate::trace::counted;
use crate::who::{Doing, allowed, nearest};
use crate::wire::{Figure, Word};
use crate::works::{Deed, Works, WorksError};

/// One piston in its place.
#[derive(Debug, Clone, Serialize)]
pub struct SetPlace {
    /// Position on the block: `1`.
    pub position: String,
    /// The piston's number.
    pub piston: String,
    /// Bore.
    pub bore: Figure,
    /// Piston's size.
    pub size: Figure,
    /// Clearance.
    pub clearance: Figure,
    /// Its judgement against the fit's window.
    pub word: Word,
    /// Probability that it lies in the window.
    pub probability: f64,
    /// Mass.
    pub mass: Figure,
}

/// A set, proposed or made.
#[derive(Debug, Clone, Serialize)]
pub struct SetView {
    /// Its number, or empty for a proposal.
    pub set: String,
    /// The block.
    pub block: String,
    /// The pistons in their places.
    pub places: Vec<SetPlace>,
    /// Heaviest less lightest.
    pub mass_spread: Figure,
    /// Greatest spread allowed.
    pub mass_spread_allowed: Figure,
    /// Whether the spread is allowed.
    pub mass_word: Word,
    /// Probability that every clearance lies in its window.
    pub probability: f64,
    /// When it was made, or empty.
    pub made: String,
    /// By whom, or empty.
    pub by: String,
    /// In its tray, in an engine, broken, or proposed.
    pub state: String,
    /// The engine it is in, or empty.
    pub engine: String,
    /// Why these.
    pub reason: String,
}

/// A block without a set, and why.
#[derive(Debug, Clone, Serialize)]
pub struct LeftBlockLine {
    /// Its number.
    pub block: String,
    /// Why, in words.
    pub reason: String,
}

/// What is left over in one band of size.
#[derive(Debug, Clone, Serialize)]
pub struct Band {
    /// The piston size at which a bore of this band is at target, from.
    pub from: Figure,
    /// To.
    pub to: Figure,
    /// Bores left without a piston.
    pub bores: usize,
    /// Pistons left without a bore.
    pub pistons: usize,
}

/// Pistons that would complete more engines.
#[derive(Debug, Clone, Serialize)]
pub struct Advice {
    /// How many pistons.
    pub pistons: usize,
    /// Their least diameter.
    pub from: Figure,
    /// Their greatest diameter.
    pub to: Figure,
    /// How many more engines they complete.
    pub engines: usize,
    /// In words a machine setter can use.
    pub words: String,
}

/// The matching sheet.
#[derive(Debug, Clone, Serialize)]
pub struct MatchingSheet {
    /// Instant of the figures.
    pub as_of: String,
    /// Engine type.
    pub engine_type: String,
    /// The fit's title.
    pub fit: String,
    /// Least, aimed at, greatest clearance, in the deviation unit.
    pub clearance: [Figure; 3],
    /// Width of the band inside each limit where the clearance cannot be told.
    pub guard: Figure,
    /// Greatest spread of mass.
    pub mass_spread: Figure,
    /// Engines that can be built from the store.
    pub found: usize,
    /// No pairing gives more than this.
    pub bound: usize,
    /// Loss of the proposal.
    pub loss: f64,
    /// Blocks in the store that are accepted.
    pub blocks: usize,
    /// Pistons in the store that are accepted.
    pub pistons: usize,
    /// Blocks and pistons that wait for a judgement that can be told.
    pub undecided: usize,
    /// Proposed sets.
    pub proposed: Vec<SetView>,
    /// Sets made and waiting in their trays.
    pub in_tray: Vec<SetView>,
    /// Blocks without a set.
    pub left_blocks: Vec<LeftBlockLine>,
    /// Pistons without a set.
    pub left_pistons: usize,
    /// What is left over, by band of size.
    pub bands: Vec<Band>,
    /// What turning could do about it.
    pub advice: Vec<Advice>,
    /// Seed and moves of the search: the same give the same answer.
    pub seed: u64,
    /// Moves for each block.
    pub moves: u32,
}

/// The rule by which one engine type's pistons are matched: the fit, and the mass that may spread.
struct Rule<'p> {
    plan: &'p Plan,
    engine_type: &'p str,
    fit: &'p Fit,
    outer: &'p Characteristic,
    inner: &'p Characteristic,
    mass: &'p Characteristic,
    spread_g: f64,
}

impl<'p> Rule<'p> {
    fn of(plan: &'p Plan, engine_type: &'p str) -> Result<Self, WorksError> {
        let missing = |what: &str| {
            WorksError::refused(
                format!("matching {engine_type}"),
                format!(
                    "the works file has no {what}; add [set.{engine_type}] with a fit and a spread"
                ),
            )
        };
        let rule = plan.sets.get(engine_type).ok_or_else(|| missing("set rule"))?;
        let fit_name = rule.fits.first().ok_or_else(|| missing("fit in its set rule"))?;
        let fit = plan.fits.get(fit_name).ok_or_else(|| missing("such fit"))?;
        let find = |id: &str| plan.characteristics.get(id).ok_or_else(|| missing(id));
        let (outer, inner) = (find(&fit.outer)?, find(&fit.inner)?);
        let (mass, spread) = rule
            .spreads
            .iter()
            .filter_map(|(id, spread)| plan.characteristics.get(id).map(|c| (c, spread)))
            .find(|(c, _)| c.part == inner.part)
            .ok_or_else(|| missing("spread of mass for the inner part"))?;
        let spread_g = spread.to("g");
        Ok(Self { plan, engine_type, fit, outer, inner, mass, spread_g })
    }

    fn rules(&self) -> Result<Rules, WorksError> {
        let what = || format!("fit {}", self.fit.name);
        let nm = |q: &bedplate_gauge::quantity::Quantity| {
            Nanometre::from_um(q.to("µm")).map_err(|e| WorksError::refused(what(), e.to_string()))
        };
        let window = Window {
            min: nm(&self.fit.lower)?,
            target: nm(&self.fit.target)?,
            max: nm(&self.fit.upper)?,
        };
        let spread = Milligram::from_g(self.spread_g)
            .map_err(|e| WorksError::refused(what(), e.to_string()))?;
        Rules::new(window, spread).map_err(|e| WorksError::refused(what(), e.to_string()))
    }

    /// Standard uncertainty of one clearance in µm: bore's and piston's gauges, independent.
    fn clearance_uncertainty_um(&self) -> f64 {
        let um = |c: &Characteristic| self.plan.standard_uncertainty(c) * c.unit.factor() * 1e6;
        um(self.outer).hypot(um(self.inner))
    }

    fn window_um(&self) -> (f64, f64, f64) {
        (self.fit.lower.to("µm"), self.fit.target.to("µm"), self.fit.upper.to("µm"))
    }
}

/// A piece of the store with the readings that matter for matching.
#[derive(Debug, Clone)]
struct Candidate {
    /// Position → (reading number, value in SI).
    sizes: BTreeMap<String, (u64, f64)>,
    mass: Option<(u64, f64)>,
}

struct Store {
    blocks: BTreeMap<String, Candidate>,
    pistons: BTreeMap<String, Candidate>,
    undecided: usize,
}

impl Works {
    fn candidates(&self, rule: &Rule<'_>) -> Result<Store, WorksError> {
        let mut store = Store { blocks: BTreeMap::new(), pistons: BTreeMap::new(), undecided: 0 };
        for (part, of_blocks) in [(&rule.outer.part, true), (&rule.inner.part, false)] {
            let free: Vec<String> =
                self.floor(|f| f.free(part).into_iter().map(str::to_owned).collect());
            for piece in free {
                match self.candidate(rule, &piece, of_blocks)? {
                    Standing::Ready(c) if of_blocks => _ = store.blocks.insert(piece, c),
                    Standing::Ready(c) => _ = store.pistons.insert(piece, c),
                    Standing::Undecided => store.undecided += 1,
                    Standing::NotReady => {}
                }
            }
        }
        Ok(store)
    }

    /// Ready when every size that matters is accepted and nothing else about the piece is rejected
    /// by its newest reading.
    fn candidate(&self, rule: &Rule<'_>, piece: &str, block: bool) -> Result<Standing, WorksError> {
        let readings = self.readings_of_piece(piece)?;
        let characteristic = if block { rule.outer } else { rule.inner };
        let mut candidate = Candidate { sizes: BTreeMap::new(), mass: None };
        let one = [String::new()];
        let positions =
            if characteristic.positions.is_empty() { &one[..] } else { &characteristic.positions };
        let mut undecided = false;
        for position in positions {
            let Some(kept) = newest(&readings, &characteristic.id, position) else {
                return Ok(Standing::NotReady);
            };
            match self.judged(kept).word {
                Word::Reject => return Ok(Standing::NotReady),
                Word::CannotTell => undecided = true,
                Word::Accept | Word::NotJudged => {}
            }
            candidate.sizes.insert(position.clone(), (kept.number, kept.reading.value.si()));
        }
        if !block {
            let Some(kept) = newest(&readings, &rule.mass.id, "") else {
                return Ok(Standing::NotReady);
            };
            candidate.mass = Some((kept.number, kept.reading.value.si()));
        }
        if self.rejected_by(&readings).is_some() {
            return Ok(Standing::NotReady);
        }
        Ok(if undecided { Standing::Undecided } else { Standing::Ready(candidate) })
    }

    /// Matches what lies in the store and shows it beside the sets already made.
    ///
    /// # Errors
    /// [`WorksError::Refused`] if the works file has no set rule for the type; [`WorksError::Store`].
    pub fn matching(&self, engine_type: &str, search: Search) -> Result<MatchingSheet, WorksError> {
        let key = format!("matching/{engine_type}/{}/{}", search.seed, search.moves);
        self.remembered(&key, || self.matching_now(engine_type, search))
            .map(|sheet| (*sheet).clone())
    }

    fn matching_now(&self, engine_type: &str, search: Search) -> Result<MatchingSheet, WorksError> {
        let plan = self.plan();
        let rule = Rule::of(&plan, engine_type)?;
        let store = self.candidates(&rule)?;
        let matching = solve(&rule, &store, search)?;
        let (lower, target, upper) = rule.window_um();
        let shown_um = |x: f64| Figure::new(x, "µm", 0);
        let guard = 2.0 * rule.clearance_uncertainty_um();
        let mut sheet = MatchingSheet {
            as_of: instant::iso(self.as_of(), &instant::zone(&plan.works.time_zone)),
            engine_type: engine_type.to_owned(),
            fit: rule.fit.title.clone(),
            clearance: [shown_um(lower), shown_um(target), shown_um(upper)],
            guard: Figure::new(guard, "µm", 1),
            mass_spread: Figure::new(rule.spread_g, "g", 1),
            found: 0,
            bound: 0,
            loss: 0.0,
            blocks: store.blocks.len(),
            pistons: store.pistons.len(),
            undecided: store.undecided,
            proposed: vec![],
            in_tray: self.sets_in_tray(&rule)?,
            left_blocks: vec![],
            left_pistons: store.pistons.len(),
            bands: vec![],
            advice: vec![],
            seed: search.seed,
            moves: search.moves,
        };
        if let Some(matching) = matching {
            fill(&mut sheet, &rule, &store, &matching);
        }
        Ok(sheet)
    }

    fn sets_in_tray(&self, rule: &Rule<'_>) -> Result<Vec<SetView>, WorksError> {
        let waiting: Vec<String> = self.floor(|f| {
            f.sets
                .iter()
                .filter(|(_, s)| s.state == SetState::InTray && s.engine_type == rule.engine_type)
                .map(|(number, _)| number.clone())
                .collect()
        });
        waiting.iter().map(|set| self.set(set)).collect()
    }

    /// A set that was made: its pieces, clearances and where it is.
    ///
    /// # Errors
    /// [`WorksError::Unknown`] if there is none of this number; [`WorksError::Store`].
    pub fn set(&self, set: &str) -> Result<SetView, WorksError> {
        let Some(known) = self.floor(|f| f.sets.get(set).cloned()) else {
            let nearest = self.floor(|f| nearest(set, f.sets.keys().map(String::as_str)));
            return Err(WorksError::Unknown { kind: "set", name: set.to_owned(), nearest });
        };
        let plan = self.plan();
        let rule = Rule::of(&plan, &known.engine_type)?;
        let mut pieces = BTreeMap::new();
        for place in &known.places {
            pieces.insert(place.piece.clone(), self.readings_of_piece(&place.piece)?);
        }
        let mut view = set_view(&rule, set, &known.places, &pieces);
        let zone = instant::zone(&plan.works.time_zone);
        view.made = instant::iso(known.made_at, &zone);
        view.by = tell::signed(&plan, &known.made_by);
        view.reason = known.reason;
        (view.state, view.engine) = match known.state {
            SetState::InTray => ("in its tray".to_owned(), String::new()),
            SetState::Built(engine) => (format!("in engine {engine}"), engine),
            SetState::Broken => ("taken apart".to_owned(), String::new()),
        };
        Ok(view)
    }

    /// Makes sets of the proposal: all of them, or those of the blocks named. Gives their numbers.
    ///
    /// # Errors
    /// [`WorksError::NotAllowed`], [`WorksError::Refused`] if a named block is in no proposed set,
    /// [`WorksError::Store`].
    pub fn make_sets(
        &self,
        deed: &Deed,
        engine_type: &str,
        search: Search,
        blocks: Option<&[String]>,
    ) -> Result<Vec<String>, WorksError> {
        allowed(&self.plan(), &deed.by, Doing::Fitting)?;
        self.alone(|| {
            let sheet = self.matching(engine_type, search)?;
            let chosen = chosen_blocks(&sheet, blocks)?;
            let newest = self.floor(newest_set);
            let mut numbers: Vec<String> = vec![];
            let mut events = vec![];
            for view in chosen {
                let mut set = number_after(numbers.last().or(newest.as_ref()));
                while self.floor(|f| f.sets.contains_key(&set)) {
                    set = number_after(Some(&set));
                }
                events.push(set_made(&self.plan(), &set, &sheet, view));
                numbers.push(set);
            }
            if !events.is_empty() {
                self.write(deed, events, vec![])?;
            }
            Ok(numbers)
        })
    }

    /// Takes a set apart: its pieces are free again.
    ///
    /// # Errors
    /// [`WorksError::NotAllowed`], [`WorksError::Unknown`], [`WorksError::Refused`] if it is built
    /// into an engine or was taken apart before, or without a reason.
    pub fn break_set(&self, deed: &Deed, set: &str, reason: &str) -> Result<(), WorksError> {
        allowed(&self.plan(), &deed.by, Doing::Fitting)?;
        let what = || format!("taking set {set} apart");
        if reason.trim().is_empty() {
            return Err(WorksError::refused(what(), "a reason is needed; say why"));
        }
        self.alone(|| {
            let view = self.set(set)?;
            if view.state != "in its tray" {
                let why =
                    format!("it is {}; only a set in its tray can be taken apart", view.state);
                return Err(WorksError::refused(what(), why));
            }
            let event = Event::SetBroken { set: set.to_owned(), reason: reason.trim().to_owned() };
            self.write(deed, vec![event], vec![]).map(|_| ())
        })
    }
}

enum Standing {
    Ready(Candidate),
    Undecided,
    NotReady,
}

fn chosen_blocks<'s>(
    sheet: &'s MatchingSheet,
    blocks: Option<&[String]>,
) -> Result<Vec<&'s SetView>, WorksError> {
    let Some(blocks) = blocks else { return Ok(sheet.proposed.iter().collect()) };
    blocks
        .iter()
        .map(|wanted| {
            sheet.proposed.iter().find(|s| s.block == *wanted).ok_or_else(|| {
                let why = "no proposed set has this block; look at the matching sheet again";
                WorksError::refused(format!("making a set for {wanted}"), why)
            })
        })
        .collect()
}

/// The number of the set that was made last.
fn newest_set(floor: &crate::floor::Floor) -> Option<String> {
    floor.sets.iter().max_by_key(|(number, s)| (s.made_at, *number)).map(|(n, _)| n.clone())
}

/// The number after `newest`: its letters kept, its digits counted on at the same width; `00001`
/// without one.
fn number_after(newest: Option<&String>) -> String {
    let newest = newest.map_or("", String::as_str);
    let letters = newest.trim_end_matches(|c: char| c.is_ascii_digit());
    let digits = &newest[letters.len()..];
    match digits.parse::<u64>().ok().and_then(|n| n.checked_add(1)) {
        Some(next) => format!("{letters}{next:0width$}", width = digits.len()),
        None => format!("{newest}00001"),
    }
}

fn set_made(plan: &Plan, set: &str, sheet: &MatchingSheet, view: &SetView) -> Event {
    let fit = plan.sets.get(&sheet.engine_type).and_then(|r| plan.fits.get(r.fits.first()?));
    let part = |id: Option<&String>| {
        id.and_then(|id| plan.characteristics.get(id)).map_or_else(String::new, |c| c.part.clone())
    };
    let (outer, inner) = (part(fit.map(|f| &f.outer)), part(fit.map(|f| &f.inner)));
    let block = PlaceFilled { part: outer, position: String::new(), piece: view.block.clone() };
    let pistons = view.places.iter().map(|p| PlaceFilled {
        part: inner.clone(),
        position: p.position.clone(),
        piece: p.piston.clone(),
    });
    Event::SetMade {
        set: set.to_owned(),
        engine_type: sheet.engine_type.clone(),
        places: std::iter::once(block).chain(pistons).collect(),
        reason: format!(
            "matched from {} blocks and {} pistons: {} engines of at most {} (seed {}, {} moves)",
            sheet.blocks, sheet.pistons, sheet.found, sheet.bound, sheet.seed, sheet.moves
        ),
    }
}

fn solve(rule: &Rule<'_>, store: &Store, search: Search) -> Result<Option<Matching>, WorksError> {
    if store.blocks.is_empty() || store.pistons.is_empty() {
        return Ok(None);
    }
    let refused = |e: &dyn std::fmt::Display| WorksError::refused("matching", e.to_string());
    let mut blocks = vec![];
    for (number, candidate) in &store.blocks {
        let bores = candidate
            .sizes
            .values()
            .map(|(_, si)| Nanometre::from_mm(si * 1e3).map_err(|e| refused(&e)))
            .collect::<Result<_, _>>()?;
        blocks.push(Block::new(number.clone(), bores).map_err(|e| refused(&e))?);
    }
    let mut pistons = vec![];
    for (number, candidate) in &store.pistons {
        let size = candidate.sizes.values().next().map_or(0.0, |(_, si)| *si);
        let mass = candidate.mass.map_or(0.0, |(_, si)| si);
        let diameter = Nanometre::from_mm(size * 1e3).map_err(|e| refused(&e))?;
        let mass = Milligram::from_g(mass * 1e3).map_err(|e| refused(&e))?;
        pistons.push(Piston::new(number.clone(), diameter, mass).map_err(|e| refused(&e))?);
    }
    match_sets(&blocks, &pistons, &rule.rules()?, search).map(Some).map_err(|e| refused(&e))
}

fn fill(sheet: &mut MatchingSheet, rule: &Rule<'_>, store: &Store, matching: &Matching) {
    sheet.found = matching.engines.len();
    sheet.bound = matching.bound;
    sheet.loss = matching.loss;
    sheet.left_pistons = matching.left_over.pistons.len();
    sheet.proposed = matching.engines.iter().map(|s| proposal(rule, store, s)).collect();
    sheet.left_blocks = matching.left_over.blocks.iter().map(left_line).collect();
    sheet.bands = bands(rule, store, matching);
    sheet.advice = matching
        .blocking
        .iter()
        .map(|s| Advice {
            pistons: s.pistons,
            from: Figure::new(s.from.mm(), "mm", 4),
            to: Figure::new(s.to.mm(), "mm", 4),
            engines: s.engines,
            words: format!(
                "{} more {} of {:.3}–{:.3} mm would complete {}",
                s.pistons,
                if s.pistons == 1 { "piston" } else { "pistons" },
                s.from.mm(),
                s.to.mm(),
                counted(s.engines, "more engine")
            ),
        })
        .collect();
}

fn left_line(left: &LeftBlock) -> LeftBlockLine {
    let reason = match left.reason {
        Reason::NoPistonFits { cylinder } => format!("no piston in the store fits bore {cylinder}"),
        Reason::NoSetKeepsMass => "no set that fits keeps the spread of mass".to_owned(),
        Reason::PistonsServeOthers => "the pistons that fit serve other engines".to_owned(),
    };
    LeftBlockLine { block: left.block.clone(), reason }
}

fn places_of(rule: &Rule<'_>, store: &Store, set: &Chosen) -> Vec<PlaceFilled> {
    let positions: Vec<&String> =
        store.blocks.get(&set.block).map_or_else(Vec::new, |b| b.sizes.keys().collect());
    let block = PlaceFilled {
        part: rule.outer.part.clone(),
        position: String::new(),
        piece: set.block.clone(),
    };
    let pistons = set.places.iter().map(|p| PlaceFilled {
        part: rule.inner.part.clone(),
        position: positions.get(p.cylinder - 1).map_or_else(String::new, |s| (*s).clone()),
        piece: p.piston.clone(),
    });
    std::iter::once(block).chain(pistons).collect()
}

fn proposal(rule: &Rule<'_>, store: &Store, set: &Chosen) -> SetView {
    let places = places_of(rule, store, set);
    let bores = store.blocks.get(&set.block);
    let lines = places[1..]
        .iter()
        .filter_map(|p| {
            let bore = *bores?.sizes.get(&p.position)?;
            let piston = store.pistons.get(&p.piece)?;
            Some(place_line(rule, p, bore, *piston.sizes.values().next()?, piston.mass))
        })
        .collect();
    view_of(rule, "", &set.block, lines)
}

fn set_view(
    rule: &Rule<'_>,
    set: &str,
    places: &[PlaceFilled],
    pieces: &BTreeMap<String, Vec<KeptReading>>,
) -> SetView {
    let value = |piece: &str, characteristic: &str, position: &str| {
        let kept = newest(pieces.get(piece)?, characteristic, position)?;
        Some((kept.number, kept.reading.value.si()))
    };
    let block = places.first().map_or("", |p| p.piece.as_str());
    let lines = places
        .iter()
        .filter(|p| p.part == rule.inner.part)
        .filter_map(|p| {
            let bore = value(block, &rule.outer.id, &p.position)?;
            let size = value(&p.piece, &rule.inner.id, "")?;
            Some(place_line(rule, p, bore, size, value(&p.piece, &rule.mass.id, "")))
        })
        .collect();
    view_of(rule, set, block, lines)
}

fn place_line(
    rule: &Rule<'_>,
    place: &PlaceFilled,
    bore: (u64, f64),
    size: (u64, f64),
    mass: Option<(u64, f64)>,
) -> SetPlace {
    let (lower, _, upper) = rule.window_um();
    let clearance_um = ((bore.1 - size.1) * 1e9).round() / 1e3;
    let u = rule.clearance_uncertainty_um();
    // The window was taken as it stands when the set was chosen: the rule of a fit is exact, what
    // the gauges leave open is shown beside it.
    let limits = Limits::new(Some(lower), Some(upper)).ok();
    let verdict = limits.map(|l| judge_value(clearance_um, &l, u, rule.plan.works.decision));
    let mm = |si: f64| Figure::new(si * 1e3, "mm", rule.outer.decimals);
    let inputs = [("bore", mm(bore.1).with_unit()), ("piston", mm(size.1).with_unit())];
    SetPlace {
        position: place.position.clone(),
        piston: place.piece.clone(),
        bore: mm(bore.1).from_readings([bore.0]),
        size: mm(size.1).from_readings([size.0]),
        clearance: Figure::new(clearance_um, "µm", 1)
            .from_readings([bore.0, size.0])
            .by("piston-clearance", inputs),
        word: verdict.as_ref().map_or(Word::NotJudged, |v| v.judgement.into()),
        probability: verdict.map_or(0.0, |v| v.probability_of_conformity),
        mass: mass.map_or_else(
            || Figure::new(0.0, "g", 1),
            |(number, kg)| Figure::new(kg * 1e3, "g", rule.mass.decimals).from_readings([number]),
        ),
    }
}

fn view_of(rule: &Rule<'_>, set: &str, block: &str, places: Vec<SetPlace>) -> SetView {
    let masses = || places.iter().map(|p| p.mass.value);
    let spread = masses().fold(f64::MIN, f64::max) - masses().fold(f64::MAX, f64::min);
    let spread = if places.is_empty() { 0.0 } else { (spread * 1e6).round() / 1e6 };
    let (lower, _, upper) = rule.window_um();
    let u = rule.clearance_uncertainty_um();
    let clearances: Vec<f64> = places.iter().map(|p| p.clearance.value).collect();
    let listed: Vec<String> = places.iter().map(|p| p.mass.with_unit()).collect();
    SetView {
        set: set.to_owned(),
        block: block.to_owned(),
        mass_spread: Figure::new(spread, "g", rule.mass.decimals)
            .by("mass-spread", [("masses", listed.join("; "))]),
        mass_spread_allowed: Figure::new(rule.spread_g, "g", 1),
        mass_word: if spread <= rule.spread_g { Word::Accept } else { Word::Reject },
        probability: probability_of_all(&clearances, lower, upper, u),
        places,
        made: String::new(),
        by: String::new(),
        state: "proposed".to_owned(),
        engine: String::new(),
        reason: String::new(),
    }
}

fn probability_of_all(clearances_um: &[f64], lower: f64, upper: f64, u: f64) -> f64 {
    let Ok(limits) = Limits::new(Some(lower), Some(upper)) else { return 0.0 };
    let gauged: Vec<GaugedClearance> = clearances_um
        .iter()
        .map(|c| GaugedClearance { clearance_um: *c, uncertainty_um: u })
        .collect();
    probability_all_inside(&gauged, &limits).unwrap_or(0.0)
}

/// How wide a band of size is, in µm: about the width of a size grade.
const BAND_UM: f64 = 4.0;

/// What is left over by the piston size wanted: a bore counts where a piston at target would lie.
fn bands(rule: &Rule<'_>, store: &Store, matching: &Matching) -> Vec<Band> {
    let (_, target, _) = rule.window_um();
    let band_of = |um: f64| (um / BAND_UM).floor();
    let mut counts: BTreeMap<i64, (usize, usize)> = BTreeMap::new();
    #[expect(clippy::cast_possible_truncation, reason = "sizes are within metres: below 2^53")]
    let key = |um: f64| band_of(um) as i64;
    for left in &matching.left_over.blocks {
        let Some(block) = store.blocks.get(&left.block) else { continue };
        for (_, si) in block.sizes.values() {
            counts.entry(key(si * 1e6 - target)).or_default().0 += 1;
        }
    }
    for piston in &matching.left_over.pistons {
        let Some(size) = store.pistons.get(piston).and_then(|p| p.sizes.values().next()) else {
            continue;
        };
        counts.entry(key(size.1 * 1e6)).or_default().1 += 1;
    }
    counts
        .into_iter()
        .map(|(k, (bores, pistons))| {
            #[expect(clippy::cast_precision_loss, reason = "bands are small integers")]
            let from = k as f64 * BAND_UM / 1e3;
            Band {
                from: Figure::new(from, "mm", 3),
                to: Figure::new(from + BAND_UM / 1e3, "mm", 3),
                bores,
                pistons,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn after(newest: &str) -> String {
        number_after(Some(&newest.to_owned()))
    }

    #[test]
    fn set_numbers_keep_their_letters_and_their_width() {
        assert_eq!(number_after(None), "00001");
        assert_eq!(after("00041"), "00042");
        assert_eq!(after("K02524"), "K02525");
        assert_eq!(after("K99999"), "K100000");
        assert_eq!(after("2026-K-009"), "2026-K-010");
    }

    #[test]
    fn a_number_that_cannot_be_counted_on_begins_anew_behind_it() {
        assert_eq!(after("TRAY"), "TRAY00001");
        assert_eq!(after("K18446744073709551615"), "K1844674407370955161500001");
    }
}
