//! Putting the store through the searches: blocks and pistons first, then whole kits around them.

use std::collections::BTreeMap;

use bedplate_engine::kit::stock::{Measured, Named, Piece, Placed, Wish};
use bedplate_engine::kit::{self, Kits, match_kits};
use bedplate_engine::set::clearance::sure_window;
use bedplate_engine::set::practice::first_in_first_out;
use bedplate_engine::set::size::{Milligram, Nanometre};
use bedplate_engine::set::wishes::{Apart, Pin, Rank, Reserved, Wishes as SetWishes};
use bedplate_engine::set::{
    Block, Matching, Piston, Progress, Rules, Search, Window, match_sets_while,
};
use bedplate_record::entry::PlaceFilled;

use super::left;
use super::rule::{Main, Rule, steps, whole};
use super::store::Store;
use super::{Advice, LeftBlockLine};
use crate::floor::Wishes;
use crate::plan::Fit;
use crate::works::WorksError;

/// A set as found: its pieces in their places, the host first.
#[derive(Debug, Clone)]
pub(super) struct Chosen {
    pub(super) places: Vec<PlaceFilled>,
    pub(super) loss: f64,
    /// Probability that all its fits lie in their windows.
    pub(super) probability: Option<f64>,
}

/// What the searches came to.
#[derive(Debug, Default)]
pub(super) struct Found {
    pub(super) sets: Vec<Chosen>,
    pub(super) bound: usize,
    pub(super) loss: f64,
    pub(super) loss_bound: f64,
    pub(super) rounds: u32,
    pub(super) moves: u64,
    pub(super) left: Vec<LeftBlockLine>,
    /// Pieces of the main fit's filler in no set.
    pub(super) left_fillers: Vec<String>,
    pub(super) advice: Vec<Advice>,
    /// Engines that first in, first out among pistons that fit would complete; `None` where the
    /// rules are more than that.
    pub(super) by_hand: Option<usize>,
}

/// What matching must heed beside the rules.
#[derive(Debug, Clone, Default)]
pub(super) struct Heed {
    pub(super) wishes: Wishes,
    /// Ranks of blocks that have waited too long, where nothing else is said of them.
    pub(super) waited: BTreeMap<String, u8>,
    /// Pieces that stay where they are, for a set that is matched around them.
    pub(super) fitted: Vec<(String, PlaceFilled)>,
}

impl Heed {
    fn ranks(&self) -> BTreeMap<&str, u8> {
        let mut ranks: BTreeMap<&str, u8> =
            self.waited.iter().map(|(b, r)| (b.as_str(), *r)).collect();
        ranks.extend(self.wishes.due.iter().map(|(b, (r, _))| (b.as_str(), *r)));
        ranks
    }
}

fn refused(rule: &Rule<'_>, e: &dyn std::fmt::Display) -> WorksError {
    WorksError::refused(format!("matching {}", rule.engine.name), e.to_string())
}

/// Finds sets. After each round `go_on` says whether to look further.
pub(super) fn solve(
    rule: &Rule<'_>,
    store: &Store,
    heed: &Heed,
    search: Search,
    go_on: &mut dyn FnMut(&Progress) -> bool,
) -> Result<Found, WorksError> {
    if let Some(lacking) = rule.roles.iter().find(|r| store.count(r.part) == 0) {
        return Ok(left::nothing_to_choose(rule, store, lacking.part));
    }
    let pistons = match rule.main().filter(|_| heed.fitted.is_empty()) {
        Some(main) => Some(match_pistons(rule, &main, store, heed, search, go_on)?),
        None => None,
    };
    match pistons {
        Some(found) if rule.is_main_alone() => Ok(found),
        start => match_kit(rule, store, heed, search, start),
    }
}

fn match_pistons(
    rule: &Rule<'_>,
    main: &Main<'_>,
    store: &Store,
    heed: &Heed,
    search: Search,
    go_on: &mut dyn FnMut(&Progress) -> bool,
) -> Result<Found, WorksError> {
    let blocks = blocks(rule, main, store)?;
    let pistons = pistons(rule, main, store)?;
    let rules = rules(rule, main)?;
    let wishes = set_wishes(rule, store, heed);
    let matching = match_sets_while(&blocks, &pistons, &rules, &wishes, search, go_on)
        .map_err(|e| refused(rule, &e))?;
    let by_hand = first_in_first_out(&blocks, &pistons, &rules).map_err(|e| refused(rule, &e))?;
    Ok(found_of(rule, &matching, by_hand.len()))
}

pub(super) fn blocks(
    rule: &Rule<'_>,
    main: &Main<'_>,
    store: &Store,
) -> Result<Vec<Block>, WorksError> {
    let pieces = store.pile(rule.host().part).into_iter().flat_map(|p| &p.pieces);
    let block = |(number, candidate): (&String, &super::store::Candidate)| {
        let bores = candidate.values.get(&main.outer.c.id).into_iter().flatten();
        let bores = bores.map(|(_, si)| Nanometre(whole(steps(&main.outer, *si)))).collect();
        Block::new(number.clone(), bores).map_err(|e| refused(rule, &e))
    };
    pieces.map(block).collect()
}

pub(super) fn pistons(
    rule: &Rule<'_>,
    main: &Main<'_>,
    store: &Store,
) -> Result<Vec<Piston>, WorksError> {
    let pieces = store.pile(rule.filler()).into_iter().flat_map(|p| &p.pieces);
    let first = |c: &super::store::Candidate, id: &str| {
        c.values.get(id).and_then(|v| v.first()).map(|(_, si)| *si)
    };
    let piston = |(number, candidate): (&String, &super::store::Candidate)| {
        let size = first(candidate, &main.inner.c.id).unwrap_or(f64::NAN);
        let diameter = Nanometre(whole(steps(&main.inner, size)));
        let mass = main.mass.and_then(|(mass, _)| {
            Some(Milligram(whole(steps(&mass, first(candidate, &mass.c.id)?))))
        });
        // Without a rule on mass every piston may have the same one.
        Piston::new(number.clone(), diameter, mass.unwrap_or(Milligram(1)))
            .map_err(|e| refused(rule, &e))
    };
    pieces.map(piston).collect()
}

pub(super) fn rules(rule: &Rule<'_>, main: &Main<'_>) -> Result<Rules, WorksError> {
    let nm = |q: &bedplate_gauge::quantity::Quantity| Nanometre(whole(q.si() * 1e9));
    let Fit { lower, target, upper, .. } = main.fit;
    let window = Window { min: nm(lower), target: nm(target), max: nm(upper) };
    let window = narrowed(rule, main, window)?;
    let spread = main.mass.map_or(Milligram::REACH, |(_, kg)| Milligram(whole(kg * 1e6)));
    Rules::new(window, spread).map_err(|e| refused(rule, &e))
}

/// The window narrowed as far as the plan's least probability asks.
fn narrowed(rule: &Rule<'_>, main: &Main<'_>, window: Window) -> Result<Window, WorksError> {
    let Some(sure) = rule.set.sure else { return Ok(window) };
    let fit = &rule.fits[0];
    let u_um = rule.uncertainty(fit.places, &fit.terms) * 1e6;
    sure_window(window, u_um, sure, fit.places).ok_or_else(|| {
        let why = format!(
            "the gauges' standard uncertainty of {u_um:.2} µm leaves no clearance by which all {} \
             places lie in {} to {} with {:.2} %; widen the window, gauge better, or ask for less",
            fit.places,
            main.fit.lower,
            main.fit.upper,
            sure * 100.0
        );
        WorksError::refused(format!("fit {}", main.fit.name), why)
    })
}

fn set_wishes(rule: &Rule<'_>, store: &Store, heed: &Heed) -> SetWishes {
    let (host, filler) = (rule.host().part, rule.filler());
    let is_block = |piece: &str| store.candidate(host, piece).is_some();
    let is_piston = |piece: &str| store.candidate(filler, piece).is_some();
    let mut wishes = SetWishes::default();
    for (block, rank) in heed.ranks().into_iter().filter(|(b, _)| is_block(b)) {
        wishes.ranks.push(Rank { block: block.to_owned(), rank: i32::from(rank) });
    }
    for (piston, (block, position, _)) in &heed.wishes.kept {
        if !is_piston(piston) || !is_block(block) {
            continue;
        }
        let (piston, block) = (piston.clone(), block.clone());
        match position.parse::<usize>() {
            Ok(cylinder) => wishes.pins.push(Pin { piston, block, cylinder }),
            Err(_) => wishes.reserved.push(Reserved { piston, block }),
        }
    }
    for (one, other) in heed.wishes.parted.keys() {
        match (is_piston(one), is_piston(other)) {
            (true, true) => {
                wishes.apart.push(Apart::Pistons { one: one.clone(), other: other.clone() });
            }
            (true, false) if is_block(other) => wishes
                .apart
                .push(Apart::PistonAndBlock { piston: one.clone(), block: other.clone() }),
            (false, true) if is_block(one) => wishes
                .apart
                .push(Apart::PistonAndBlock { piston: other.clone(), block: one.clone() }),
            _ => {}
        }
    }
    wishes
}

fn found_of(rule: &Rule<'_>, matching: &Matching, by_hand: usize) -> Found {
    let sets = matching.engines.iter().map(|set| Chosen {
        places: rule.places_of(set),
        loss: set.loss,
        probability: None,
    });
    Found {
        sets: sets.collect(),
        bound: matching.bound,
        loss: matching.loss,
        loss_bound: matching.loss_bound,
        rounds: matching.rounds,
        moves: matching.moves,
        left: matching.left_over.blocks.iter().map(|l| left::block_line(rule, l)).collect(),
        left_fillers: matching.left_over.pistons.clone(),
        advice: matching.blocking.iter().map(|s| left::piston_advice(rule, s)).collect(),
        by_hand: Some(by_hand),
    }
}

/// Moves for each block of the pistons' search for one move for each place of the kits'.
const KIT_SHARE: u32 = 200;
/// Most moves for each place: a search that only the clock ends must not run on in the kits.
const KIT_MOVES_MAX: u32 = 10 * kit::Search::MOVES;

/// Whole kits, begun from the main fit matched by itself where that is possible.
fn match_kit(
    rule: &Rule<'_>,
    store: &Store,
    heed: &Heed,
    search: Search,
    start: Option<Found>,
) -> Result<Found, WorksError> {
    let plan = rule.kit_plan()?;
    let pieces = kit_pieces(rule, store);
    let wishes = kit_wishes(rule, store, heed);
    let start = start.unwrap_or_default();
    let begun: Vec<Placed> = start.sets.iter().flat_map(|s| placed(rule, s)).collect();
    let moves = (search.moves / KIT_SHARE).clamp(1, KIT_MOVES_MAX);
    let search = kit::Search { seed: search.seed, moves };
    let kits =
        match_kits(&plan, &pieces, &wishes, &begun, search).map_err(|e| refused(rule, &e))?;
    let (rounds, moves) = (start.rounds, start.moves);
    Ok(Found { rounds, moves, ..found_of_kits(rule, &kits) })
}

fn placed(rule: &Rule<'_>, set: &Chosen) -> Vec<Placed> {
    let Some((host, rest)) = set.places.split_first() else { return vec![] };
    let place = |p: &PlaceFilled| Placed {
        host: host.piece.clone(),
        role: p.part.clone(),
        place: place_number(rule, p),
        piece: p.piece.clone(),
    };
    rest.iter().map(place).collect()
}

/// The place of a piece within its part, from 1.
pub(super) fn place_number(rule: &Rule<'_>, filled: &PlaceFilled) -> usize {
    let n = rule.per_engine(&filled.part);
    let at = (0..n).find(|i| rule.place_name(&filled.part, *i) == filled.position);
    at.map_or(1, |i| i + 1)
}

fn kit_pieces(rule: &Rule<'_>, store: &Store) -> Vec<Piece> {
    let mut pieces = vec![];
    for role in &rule.roles {
        let Some(pile) = store.pile(role.part) else { continue };
        for (id, candidate) in &pile.pieces {
            let measured = role.sizes.iter().map(|size| {
                let values = candidate.values.get(&size.c.id).into_iter().flatten();
                let per_si = steps(size, 1.0) / size.swell;
                let gauge = rule.plan.standard_uncertainty(size.c) * size.c.unit.factor();
                Measured {
                    feature: size.name(),
                    values: values.map(|(_, si)| whole(steps(size, *si))).collect(),
                    uncertainty: if role.is_graded { 0.0 } else { gauge * per_si },
                }
            });
            pieces.push(Piece {
                role: role.part.to_owned(),
                id: id.clone(),
                measured: measured.collect(),
                stock: pile.stock.get(id).copied().unwrap_or(1),
            });
        }
    }
    pieces
}

fn kit_wishes(rule: &Rule<'_>, store: &Store, heed: &Heed) -> Vec<Wish> {
    let named = |piece: &str| {
        let role = rule.roles.iter().find(|r| store.candidate(r.part, piece).is_some())?;
        Some(Named { role: role.part.to_owned(), id: piece.to_owned() })
    };
    let mut wishes = vec![];
    for (host, filled) in &heed.fitted {
        wishes.push(Wish::Fitted(Placed {
            host: host.clone(),
            role: filled.part.clone(),
            place: place_number(rule, filled),
            piece: filled.piece.clone(),
        }));
    }
    for (piece, (block, position, _)) in &heed.wishes.kept {
        let host = store.candidate(rule.host().part, block).is_some();
        let Some(piece) = named(piece).filter(|_| host) else { continue };
        let place = position.parse::<usize>().ok();
        wishes.push(match place {
            Some(place) => Wish::Fitted(Placed {
                host: block.clone(),
                role: piece.role,
                place,
                piece: piece.id,
            }),
            None => Wish::Reserved { piece, host: block.clone() },
        });
    }
    for (one, other) in heed.wishes.parted.keys() {
        if let (Some(one), Some(other)) = (named(one), named(other)) {
            wishes.push(Wish::Apart(one, other));
        }
    }
    for (block, rank) in heed.ranks() {
        if store.candidate(rule.host().part, block).is_some() {
            wishes.push(Wish::Rank { host: block.to_owned(), rank: u32::from(rank) });
        }
    }
    wishes
}

fn found_of_kits(rule: &Rule<'_>, kits: &Kits) -> Found {
    let sets = kits.engines.iter().map(|k| {
        let parts = k.parts.iter().map(|p| PlaceFilled {
            part: p.role.clone(),
            position: rule.place_name(&p.role, p.place - 1),
            piece: p.piece.clone(),
        });
        Chosen {
            places: std::iter::once(rule.block_place(&k.host)).chain(parts).collect(),
            loss: k.loss,
            probability: Some(k.probability),
        }
    });
    let spare = kits.spare.iter().filter(|s| s.piece.role == rule.filler());
    Found {
        sets: sets.collect(),
        bound: kits.bound.engines,
        loss: kits.loss,
        loss_bound: kits.bound.loss,
        rounds: 0,
        moves: 0,
        left: kits.left.iter().map(|l| left::host_line(rule, l)).collect(),
        left_fillers: spare.map(|s| s.piece.id.clone()).collect(),
        advice: kits.shortages.iter().map(|s| left::kit_advice(rule, s)).collect(),
        by_hand: None,
    }
}
