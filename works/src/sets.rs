//! Making sets: from accepted pieces in the store to trays with tickets.

pub mod aim;
pub mod kitting;
pub mod made;
pub mod wishes;

mod left;
mod rule;
mod solve;
mod store;
mod view;

use std::collections::BTreeMap;

use bedplate_engine::set::{Progress, Search};
use bedplate_record::entry::PlaceFilled;
use serde::Serialize;

use crate::floor::SetState;
use crate::instant;
use crate::plan::Plan;
use crate::tell;
use crate::who::nearest;
use crate::wire::{Figure, Word};
use crate::works::{Works, WorksError};
use rule::Rule;
use solve::{Found, Heed};
use store::{Candidate, Store};
use view::Tray;
use wishes::WishLine;

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

/// One place of a fit beside the main one.
#[derive(Debug, Clone, Serialize)]
pub struct FitLine {
    /// The fit.
    pub fit: String,
    /// Its title: `Main bearing`.
    pub title: String,
    /// Place, or empty where there is one.
    pub position: String,
    /// Clearance.
    pub clearance: Figure,
    /// Least, aimed at, greatest.
    pub limits: [Figure; 3],
    /// Width of the band inside each limit where it cannot be told.
    pub guard: Figure,
    /// Its judgement.
    pub word: Word,
    /// Probability that it lies in the window.
    pub probability: f64,
}

/// Something that must be alike over the cylinders.
#[derive(Debug, Clone, Serialize)]
pub struct SpreadLine {
    /// What: `Mass`, `Moving mass`.
    pub title: String,
    /// Greatest less least.
    pub spread: Figure,
    /// What is allowed.
    pub allowed: Figure,
    /// Whether it is kept.
    pub word: Word,
}

/// A piece of a set that is neither its block nor a piston.
#[derive(Debug, Clone, Serialize)]
pub struct PieceLine {
    /// Kind of part.
    pub part: String,
    /// Its title.
    pub title: String,
    /// Place, or empty.
    pub position: String,
    /// The piece, or the grade.
    pub piece: String,
    /// Whether it is a grade from stock, not a numbered piece.
    pub is_graded: bool,
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
    /// The other fits, place by place.
    pub fits: Vec<FitLine>,
    /// The other pieces.
    pub pieces: Vec<PieceLine>,
    /// Everything that must be alike over the cylinders.
    pub spreads: Vec<SpreadLine>,
    /// The first of them: heaviest piston less lightest.
    pub mass_spread: Figure,
    /// Greatest spread allowed.
    pub mass_spread_allowed: Figure,
    /// Whether the spread is allowed.
    pub mass_word: Word,
    /// Probability that every fit lies in its window.
    pub probability: f64,
    /// Squared distances from target in each fit's own scale, plus shares of the spreads.
    pub loss: f64,
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

/// Pieces that would complete more engines.
#[derive(Debug, Clone, Serialize)]
pub struct Advice {
    /// The kind of part.
    pub part: String,
    /// Who is told: `turning`, `the machine shop`, `the stores`.
    pub tell: &'static str,
    /// The grade, where it is kept by grade.
    pub grade: String,
    /// How many pieces.
    pub pieces: usize,
    /// Their least size.
    pub from: Figure,
    /// Their greatest size.
    pub to: Figure,
    /// How many more engines they complete.
    pub engines: usize,
    /// In words a machine setter can use.
    pub words: String,
}

/// What lies in the store of one kind of part.
#[derive(Debug, Clone, Serialize)]
pub struct PileLine {
    /// Kind of part.
    pub part: String,
    /// Its title.
    pub title: String,
    /// Pieces that can be used; of grades, how many there are in all.
    pub ready: i64,
    /// Pieces that cannot be told from a limit.
    pub undecided: usize,
    /// Pieces of which something is not gauged yet.
    pub not_gauged: usize,
    /// Pieces that are held.
    pub held: usize,
}

/// The matching sheet.
#[derive(Debug, Clone, Serialize)]
pub struct MatchingSheet {
    /// Instant of the figures.
    pub as_of: String,
    /// Engine type.
    pub engine_type: String,
    /// The main fit's title.
    pub fit: String,
    /// Least, aimed at, greatest clearance, in the deviation unit.
    pub clearance: [Figure; 3],
    /// Width of the band inside each limit where the clearance cannot be told.
    pub guard: Figure,
    /// Greatest spread of mass.
    pub mass_spread: Figure,
    /// Every fit and spread that a set must keep, in words.
    pub rules: Vec<String>,
    /// Engines that can be built from the store.
    pub found: usize,
    /// No pairing gives more than this.
    pub bound: usize,
    /// Engines that first in, first out among pistons that fit would give.
    pub by_hand: Option<usize>,
    /// Loss of the proposal.
    pub loss: f64,
    /// No pairing with as many engines has a loss below this.
    pub loss_bound: f64,
    /// Blocks in the store that are accepted.
    pub blocks: usize,
    /// Pistons in the store that are accepted.
    pub pistons: usize,
    /// Pieces that wait for a judgement that can be told.
    pub undecided: usize,
    /// The store, part by part.
    pub store: Vec<PileLine>,
    /// What was said of pieces and is heeded.
    pub wishes: Vec<WishLine>,
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
    /// What turning or buying could do about it.
    pub advice: Vec<Advice>,
    /// Seed and moves of the search: the same give the same answer.
    pub seed: u64,
    /// Moves for each block that were asked for.
    pub moves: u32,
    /// Rounds of the search that were run.
    pub rounds: u32,
    /// Moves that were made in all.
    pub moves_made: u64,
}

impl Works {
    /// Matches what lies in the store and shows it beside the sets already made.
    ///
    /// # Errors
    /// [`WorksError::Refused`] if the works file has no set rule for the type or what was said of
    /// pieces contradicts itself; [`WorksError::Store`].
    pub fn matching(&self, engine_type: &str, search: Search) -> Result<MatchingSheet, WorksError> {
        let key = format!("matching/{engine_type}/{}/{}", search.seed, search.moves);
        self.remembered(&key, || self.matching_while(engine_type, search, &mut |_| true))
            .map(|sheet| (*sheet).clone())
    }

    /// As [`Works::matching`], told after each round how far it is; `go_on` says whether to look
    /// further. The answer depends on the number of rounds, never on the clock.
    ///
    /// # Errors
    /// As [`Works::matching`].
    pub fn matching_while(
        &self,
        engine_type: &str,
        search: Search,
        go_on: &mut dyn FnMut(&Progress) -> bool,
    ) -> Result<MatchingSheet, WorksError> {
        let plan = self.plan();
        let rule = Rule::of(&plan, engine_type)?;
        let store = self.store_of(&rule, &[])?;
        let heed = self.heed(&rule, &store);
        let found = solve::solve(&rule, &store, &heed, search, go_on)?;
        self.sheet(&rule, &store, &found, search)
    }

    fn sheet(
        &self,
        rule: &Rule<'_>,
        store: &Store,
        found: &Found,
        search: Search,
    ) -> Result<MatchingSheet, WorksError> {
        let plan = rule.plan;
        let fit = &rule.fits[0];
        let shown_um = |q: &bedplate_gauge::quantity::Quantity| Figure::new(q.to("µm"), "µm", 0);
        let spread = rule.spreads.first();
        let proposed = found.sets.iter().map(|chosen| {
            let tray = Tray::of(rule, &chosen.places, |part, piece| store.candidate(part, piece));
            let mut view = view::view(rule, "", &chosen.places, &tray);
            view.loss = chosen.loss;
            view.probability = chosen.probability.unwrap_or(view.probability);
            view
        });
        Ok(MatchingSheet {
            as_of: instant::iso(self.as_of(), &instant::zone(&plan.works.time_zone)),
            engine_type: rule.engine.name.clone(),
            fit: fit.fit.title.clone(),
            clearance: [&fit.fit.lower, &fit.fit.target, &fit.fit.upper].map(shown_um),
            guard: Figure::new(2.0 * rule.uncertainty(fit.places, &fit.terms) * 1e6, "µm", 1),
            mass_spread: Figure::new(spread.map_or(0.0, |s| s.allowed * 1e3), "g", 1),
            rules: rules_in_words(rule),
            found: found.sets.len(),
            bound: found.bound,
            by_hand: found.by_hand,
            loss: found.loss,
            loss_bound: found.loss_bound,
            blocks: store.count(rule.host().part),
            pistons: store.count(rule.filler()),
            undecided: store.piles.values().map(|p| p.undecided).sum(),
            store: piles(rule, store),
            wishes: self.wishes(),
            proposed: proposed.collect(),
            in_tray: self.sets_in_tray(rule)?,
            left_blocks: found.left.clone(),
            left_pistons: found.left_fillers.len(),
            bands: left::bands(rule, store, found),
            advice: found.advice.clone(),
            seed: search.seed,
            moves: search.moves,
            rounds: found.rounds,
            moves_made: found.moves,
        })
    }

    /// What lies in the store for one engine type's sets, part by part; nothing is matched.
    ///
    /// # Errors
    /// [`WorksError::Refused`] if the works file has no set rule for the type;
    /// [`WorksError::Store`].
    pub fn piles(&self, engine_type: &str) -> Result<Vec<PileLine>, WorksError> {
        let plan = self.plan();
        let rule = Rule::of(&plan, engine_type)?;
        Ok(piles(&rule, &self.store_of(&rule, &[])?))
    }

    /// What was said of pieces, and which blocks have waited too long.
    fn heed(&self, rule: &Rule<'_>, store: &Store) -> Heed {
        let waited_ms = rule.set.waited.as_ref().map(|q| rule::whole(q.si() * 1e3));
        let now = self.as_of();
        self.floor(|f| {
            let blocks = store.pile(rule.host().part).into_iter().flat_map(|p| p.pieces.keys());
            let waited = blocks.filter(|block| {
                let made = f.pieces.get(*block).map_or(now, |p| p.made_at);
                waited_ms.is_some_and(|most| now.saturating_sub(made) > most)
            });
            Heed {
                waited: waited.map(|b| (b.clone(), 1)).collect(),
                wishes: f.wishes.clone(),
                fitted: vec![],
            }
        })
    }

    fn sets_in_tray(&self, rule: &Rule<'_>) -> Result<Vec<SetView>, WorksError> {
        let waiting: Vec<String> = self.floor(|f| {
            f.sets
                .iter()
                .filter(|(_, s)| s.state == SetState::InTray && s.engine_type == rule.engine.name)
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
        let mut view = self.view_as_it_is(&rule, set, &known.places)?;
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

    /// A set of these pieces as they are, whatever their judgement.
    fn view_as_it_is(
        &self,
        rule: &Rule<'_>,
        set: &str,
        places: &[PlaceFilled],
    ) -> Result<SetView, WorksError> {
        let mut candidates: BTreeMap<(String, String), Candidate> = BTreeMap::new();
        for place in places {
            if let Some(c) = self.as_it_is(rule, &place.part, &place.piece)? {
                candidates.insert((place.part.clone(), place.piece.clone()), c);
            }
        }
        let tray = Tray::of(rule, places, |part, piece| {
            candidates.get(&(part.to_owned(), piece.to_owned()))
        });
        Ok(view::view(rule, set, places, &tray))
    }
}

fn rules_in_words(rule: &Rule<'_>) -> Vec<String> {
    let fits = rule.fits.iter().map(|f| {
        let at = f.fit.at.as_ref().map_or_else(String::new, |t| format!(" at {t}"));
        format!("{}: {} to {}, aim {}{at}", f.fit.title, f.fit.lower, f.fit.upper, f.fit.target)
    });
    let spreads = rule.spreads.iter().map(|s| {
        let is_mass = s
            .terms
            .iter()
            .any(|t| t.size.c.unit.dimension == bedplate_gauge::unit::Dimension::Mass);
        let (value, unit) = if is_mass { (s.allowed * 1e3, "g") } else { (s.allowed * 1e6, "µm") };
        format!("{}: alike within {} {unit}", s.title, crate::wire::shown(value, 1))
    });
    let sure = rule
        .set
        .sure
        .map(|p| format!("all fits inside with at least {} %", crate::wire::shown(p * 100.0, 1)));
    fits.chain(spreads).chain(sure).collect()
}

fn piles(rule: &Rule<'_>, store: &Store) -> Vec<PileLine> {
    let line = |part: &str| {
        let pile = store.pile(part)?;
        let graded = rule.role(part).is_some_and(|r| r.is_graded);
        let pieces = i64::try_from(pile.pieces.len()).unwrap_or(i64::MAX);
        Some(PileLine {
            part: part.to_owned(),
            title: rule.plan.parts.get(part).map_or_else(|| part.to_owned(), |p| p.title.clone()),
            ready: if graded { pile.stock.values().sum() } else { pieces },
            undecided: pile.undecided,
            not_gauged: pile.not_gauged,
            held: pile.held,
        })
    };
    rule.roles.iter().filter_map(|r| line(r.part)).collect()
}

/// The engine type that the plan names first with a rule for its sets.
#[must_use]
pub fn first_type(plan: &Plan) -> Option<String> {
    plan.engines.keys().find(|t| plan.sets.contains_key(*t)).cloned()
}
