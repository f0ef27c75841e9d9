//! Live kitting: pistons for the block that stands on the track now.

use bedplate_engine::set::live::simulate::{Track, simulate};
use bedplate_engine::set::live::store::Store as LiveStore;
use bedplate_engine::set::live::{Because, Decision, Park, Policy, decide};
use bedplate_record::entry::Event;
use serde::Serialize;

use super::aim::main_of;
use super::rule::Rule;
use super::view::{self, Tray};
use super::{SetView, made, solve};
use crate::instant;
use crate::who::{Doing, allowed};
use crate::wire::{Figure, shown};
use crate::works::{Deed, Works, WorksError};

/// What one way of choosing comes to on this works' own scatter.
#[derive(Debug, Clone, Serialize)]
pub struct PolicyLine {
    /// The way.
    pub way: String,
    /// Blocks completed, %.
    pub completed: Figure,
    /// Mean distance of a clearance from target, µm.
    pub off_target: Figure,
    /// Mean spread of mass, g.
    pub mass_spread: Figure,
}

/// A block that waits, and what is decided for it now.
#[derive(Debug, Clone, Serialize)]
pub struct NowLine {
    /// The block.
    pub block: String,
    /// Why this, in words.
    pub why: String,
    /// The set, unless the block must wait.
    pub set: Option<SetView>,
}

/// The kitting sheet.
#[derive(Debug, Clone, Serialize)]
pub struct KittingSheet {
    /// Instant of the figures.
    pub as_of: String,
    /// Engine type.
    pub engine_type: String,
    /// The main fit's title.
    pub fit: String,
    /// Blocks that wait, the oldest first, with what each would get in its turn.
    pub waiting: Vec<NowLine>,
    /// Pistons in the store.
    pub pistons: usize,
    /// The ways of choosing compared on this works' scatter and store.
    pub ways: Vec<PolicyLine>,
    /// Blocks played for each way.
    pub played: usize,
    /// Seeds played, each the same pieces for every way.
    pub seeds: u64,
}

/// Blocks shown in their turn.
const SHOWN: usize = 24;
/// Blocks played on paper for each seed.
const PLAYED: usize = 600;
/// Seeds played.
const SEEDS: u64 = 2;
/// Blocks that may be parked beside the track.
const PARKED: usize = 20;

struct Standing {
    live: LiveStore,
    /// In the order in which they were made.
    blocks: Vec<bedplate_engine::set::Block>,
    store: super::store::Store,
}

impl Works {
    /// What each waiting block would get now, one after another, and what the ways of choosing come
    /// to in the long run.
    ///
    /// # Errors
    /// [`WorksError::Refused`] if the set rule is more than one main fit and a spread of mass;
    /// [`WorksError::Store`].
    pub fn kitting(&self, engine_type: &str) -> Result<KittingSheet, WorksError> {
        let key = format!("kitting/{engine_type}");
        self.remembered(&key, || self.kitting_now(engine_type)).map(|sheet| (*sheet).clone())
    }

    fn kitting_now(&self, engine_type: &str) -> Result<KittingSheet, WorksError> {
        let plan = self.plan();
        let rule = Rule::of(&plan, engine_type)?;
        let Standing { mut live, blocks, store } = self.standing_now(&rule)?;
        let pistons = live.len();
        let mut waiting = vec![];
        for block in blocks.iter().take(SHOWN) {
            let decision = decide(&live, block, PARKED.min(blocks.len()), Policy::Balanced);
            waiting.push(now_line(&rule, &store, block.id(), &decision));
            if let Decision::Fit { set, .. } = &decision {
                live.take(set).map_err(|e| refused(&rule, &e))?;
            }
        }
        Ok(KittingSheet {
            as_of: instant::iso(self.as_of(), &instant::zone(&plan.works.time_zone)),
            engine_type: engine_type.to_owned(),
            fit: rule.fits[0].fit.title.clone(),
            waiting,
            pistons,
            ways: self.ways(&rule, pistons)?,
            played: PLAYED,
            seeds: SEEDS,
        })
    }

    /// The store as the live choice sees it: pistons and blocks in the order in which they came.
    fn standing_now(&self, rule: &Rule<'_>) -> Result<Standing, WorksError> {
        let main = main_of(rule)?;
        if !rule.is_main_alone() {
            let why = "live kitting knows the main fit and one spread of mass alone; match the lot";
            return Err(WorksError::refused(format!("kitting {}", rule.engine.name), why));
        }
        let store = self.store_of(rule, &[])?;
        let mut blocks = solve::blocks(rule, &main, &store)?;
        let mut pistons = solve::pistons(rule, &main, &store)?;
        let kept = self.floor(|f| f.wishes.kept.clone());
        // What is kept for a block is not given away live.
        pistons.retain(|p| !kept.contains_key(p.id()));
        self.floor(|f| {
            let made = |id: &str| f.pieces.get(id).map_or(i64::MAX, |p| p.made_at);
            let due = |id: &str| f.wishes.due.get(id).map_or(0, |(rank, _)| *rank);
            pistons.sort_by_key(|p| (made(p.id()), p.id().to_owned()));
            blocks
                .sort_by_key(|b| (std::cmp::Reverse(due(b.id())), made(b.id()), b.id().to_owned()));
        });
        let mut live = LiveStore::new(solve::rules(rule, &main)?);
        for piston in pistons {
            live.receive(piston).map_err(|e| refused(rule, &e))?;
        }
        blocks.iter().for_each(|b| live.note_block(b));
        Ok(Standing { live, blocks, store })
    }

    fn ways(&self, rule: &Rule<'_>, pistons: usize) -> Result<Vec<PolicyLine>, WorksError> {
        let main = main_of(rule)?;
        let machines = self.machines(&main)?;
        let rules = solve::rules(rule, &main)?;
        let track = Track {
            bore_mm: machines.now.bore_mm,
            bore_sd_um: machines.boring.block_sd_um.hypot(machines.boring.within_sd_um),
            piston_mm: machines.now.piston_mm,
            piston_sd_um: machines.turning.sd_um,
            mass_g: machines.turning.mass_g,
            mass_sd_g: machines.turning.mass_sd_g,
            cylinders: rule.fits[0].places,
            store: pistons.clamp(rule.fits[0].places.max(50), 1_000),
            parked_max: PARKED,
            blocks: PLAYED,
        };
        let mut lines = vec![];
        for policy in Policy::ALL {
            let runs = (1..=SEEDS)
                .map(|seed| simulate(&track, &rules, policy, seed))
                .collect::<Result<Vec<_>, _>>()
                .map_err(|e| refused(rule, &e))?;
            let n = u32::try_from(runs.len()).map_or(1.0, f64::from);
            let count = |n: usize| u32::try_from(n).map_or(f64::NAN, f64::from);
            let share = runs.iter().map(|r| count(r.engines) / count(r.blocks)).sum::<f64>() / n;
            let error = runs.iter().map(|r| r.clearance_error_um).sum::<f64>() / n;
            let spread = runs.iter().map(|r| r.mass_spread_g).sum::<f64>() / n;
            lines.push(PolicyLine {
                way: policy.name().to_owned(),
                completed: Figure::new(share * 100.0, "%", 1),
                off_target: Figure::new(error, "µm", 2),
                mass_spread: Figure::new(spread, "g", 2),
            });
        }
        Ok(lines)
    }

    /// Makes the set that a block gets now, and gives its number.
    ///
    /// # Errors
    /// [`WorksError::NotAllowed`]; [`WorksError::Refused`] if the block is not free and accepted, or
    /// must wait; [`WorksError::Store`].
    pub fn kit_block(
        &self,
        deed: &Deed,
        engine_type: &str,
        block: &str,
    ) -> Result<String, WorksError> {
        let plan = self.plan();
        allowed(&plan, &deed.by, Doing::Fitting)?;
        let rule = Rule::of(&plan, engine_type)?;
        self.alone(|| {
            let Standing { live, blocks, store } = self.standing_now(&rule)?;
            let what = || format!("kitting block {block}");
            let known = blocks.iter().find(|b| b.id() == block).ok_or_else(|| {
                WorksError::refused(what(), "it is not a free block that is accepted")
            })?;
            let parked = PARKED.min(blocks.len() - 1);
            let decision = decide(&live, known, parked, Policy::Balanced);
            let line = now_line(&rule, &store, block, &decision);
            let Decision::Fit { set, .. } = decision else {
                return Err(WorksError::refused(what(), format!("it must wait: {}", line.why)));
            };
            let number = self.floor(|f| made::next_number(f, None));
            let event = Event::SetMade {
                set: number.clone(),
                engine_type: engine_type.to_owned(),
                places: rule.places_of(&set),
                reason: format!("kitted from {} pistons as it came: {}", live.len(), line.why),
            };
            self.write(deed, vec![event], vec![])?;
            Ok(number)
        })
    }
}

fn refused(rule: &Rule<'_>, e: &dyn std::fmt::Display) -> WorksError {
    WorksError::refused(format!("kitting {}", rule.engine.name), e.to_string())
}

fn now_line(
    rule: &Rule<'_>,
    store: &super::store::Store,
    block: &str,
    decision: &Decision,
) -> NowLine {
    let why = match decision {
        Decision::Fit { because, .. } => because_words(because),
        Decision::Park(Park::NoPistonFits { cylinder }) => {
            let place = rule.fit_place(&rule.fits[0], cylinder - 1);
            format!("nothing in the store fits place {place}")
        }
        Decision::Park(Park::NoSetHolds) => "no set that fits keeps the spread of mass".to_owned(),
        Decision::Park(Park::NoClassHolds) => "no class of mass serves every place".to_owned(),
    };
    let set = match decision {
        Decision::Fit { set, .. } => {
            let places = rule.places_of(set);
            let tray = Tray::of(rule, &places, |part, piece| store.candidate(part, piece));
            let mut view = view::view(rule, "", &places, &tray);
            view.loss = set.loss;
            Some(view)
        }
        Decision::Park(_) => None,
    };
    NowLine { block: block.to_owned(), why, set }
}

fn because_words(because: &Because) -> String {
    match because {
        Because::FirstThatHolds => "the first set that holds".to_owned(),
        Because::LeastLoss => "nearest to target".to_owned(),
        Because::LeastLossAfterCredit { loss, credit, .. } => format!(
            "loss {} less a credit of {} for what it clears from the store",
            shown(*loss, 2),
            shown(*credit, 2)
        ),
        Because::BaselineHadOne => {
            "the oldest pistons that fit; no better set was found".to_owned()
        }
    }
}
