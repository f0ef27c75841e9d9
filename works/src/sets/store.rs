//! What lies in the store: pieces with the readings that their sets need.

use std::collections::BTreeMap;

use bedplate_record::reading::KeptReading;

use super::rule::{Role, Rule};
use crate::judge::newest;
use crate::plan::Plan;
use crate::wire::Word;
use crate::works::{Works, WorksError};

/// A piece with what was gauged on it, or a grade with the sizes of its pieces.
#[derive(Debug, Clone, Default)]
pub(super) struct Candidate {
    /// Characteristic → for each position in order the reading's number (0 for a grade) and the
    /// value in SI.
    pub(super) values: BTreeMap<String, Vec<(u64, f64)>>,
}

/// What lies there of one part.
#[derive(Debug, Default)]
pub(super) struct Pile {
    /// Pieces or grades by number or name.
    pub(super) pieces: BTreeMap<String, Candidate>,
    /// Of grades, how many of each.
    pub(super) stock: BTreeMap<String, i64>,
    /// Pieces whose sizes cannot be told from a limit.
    pub(super) undecided: usize,
    /// Pieces of which something is not gauged yet.
    pub(super) not_gauged: usize,
    /// Pieces that are held.
    pub(super) held: usize,
}

/// The store of one engine type, by part.
#[derive(Debug, Default)]
pub(super) struct Store {
    pub(super) piles: BTreeMap<String, Pile>,
}

enum Standing {
    Ready(Candidate),
    Undecided,
    NotGauged,
    Rejected,
}

impl Store {
    pub(super) fn pile(&self, part: &str) -> Option<&Pile> {
        self.piles.get(part)
    }

    pub(super) fn candidate(&self, part: &str, piece: &str) -> Option<&Candidate> {
        self.piles.get(part)?.pieces.get(piece)
    }

    pub(super) fn count(&self, part: &str) -> usize {
        self.piles.get(part).map_or(0, |p| p.pieces.len())
    }
}

impl Works {
    /// The store for one engine type's sets. `also` are pieces that are in a set now and count as
    /// free, by part.
    pub(super) fn store_of(
        &self,
        rule: &Rule<'_>,
        also: &[(String, String)],
    ) -> Result<Store, WorksError> {
        let mut store = Store::default();
        for role in &rule.roles {
            let pile = if role.is_graded {
                self.grades_of(rule.plan, role.part)
            } else {
                let own = also.iter().filter(|(part, _)| part == role.part);
                let extra: Vec<&String> = own.map(|(_, piece)| piece).collect();
                self.pile_of(role, &extra)?
            };
            store.piles.insert(role.part.to_owned(), pile);
        }
        for (part, piece) in also {
            if let Some(left) = store.piles.get_mut(part).and_then(|p| p.stock.get_mut(piece)) {
                *left += 1;
            }
        }
        Ok(store)
    }

    fn pile_of(&self, role: &Role<'_>, also: &[&String]) -> Result<Pile, WorksError> {
        let mut free: Vec<String> =
            self.floor(|f| f.free(role.part).into_iter().map(str::to_owned).collect());
        free.extend(also.iter().map(|p| (*p).clone()));
        let mut pile = Pile::default();
        for piece in free {
            if self.floor(|f| f.wishes.held.contains_key(&piece)) {
                pile.held += 1;
                continue;
            }
            match self.standing(role, &piece)? {
                Standing::Ready(candidate) => _ = pile.pieces.insert(piece, candidate),
                Standing::Undecided => pile.undecided += 1,
                Standing::NotGauged => pile.not_gauged += 1,
                Standing::Rejected => {}
            }
        }
        Ok(pile)
    }

    /// Ready when every size that matters is there, none of them rejected or in doubt, and nothing
    /// else about the piece is rejected by its newest reading.
    fn standing(&self, role: &Role<'_>, piece: &str) -> Result<Standing, WorksError> {
        let readings = self.readings_of_piece(piece)?;
        let Some(candidate) = candidate_of(role, &readings) else { return Ok(Standing::NotGauged) };
        let mut undecided = false;
        for (id, position) in places_of(role) {
            let Some(kept) = newest(&readings, id, position) else { continue };
            match self.judged(kept).word {
                Word::Reject => return Ok(Standing::Rejected),
                Word::CannotTell => undecided = true,
                Word::Accept | Word::NotJudged => {}
            }
        }
        if self.rejected_by(&readings).is_some() {
            return Ok(Standing::Rejected);
        }
        Ok(if undecided { Standing::Undecided } else { Standing::Ready(candidate) })
    }

    fn grades_of(&self, plan: &Plan, part: &str) -> Pile {
        let mut pile = Pile::default();
        for grade in plan.grades.get(part).into_iter().flatten() {
            let key = (part.to_owned(), grade.name.clone());
            let left = self.floor(|f| f.stock.get(&key).copied()).unwrap_or(0);
            pile.pieces.insert(grade.name.clone(), grade_candidate(plan, grade));
            pile.stock.insert(grade.name.clone(), left.max(0));
        }
        pile
    }

    /// A piece or grade as it is, whatever its judgement: for sets that are made already.
    pub(super) fn as_it_is(
        &self,
        rule: &Rule<'_>,
        part: &str,
        piece: &str,
    ) -> Result<Option<Candidate>, WorksError> {
        let Some(role) = rule.role(part) else { return Ok(None) };
        if role.is_graded {
            let grades = rule.plan.grades.get(part).into_iter().flatten();
            let grade = grades.into_iter().find(|g| g.name == piece);
            return Ok(grade.map(|g| grade_candidate(rule.plan, g)));
        }
        Ok(Some(whatever_of(role, &self.readings_of_piece(piece)?)))
    }
}

fn grade_candidate(plan: &Plan, grade: &crate::plan::Grade) -> Candidate {
    let values = grade.sizes.iter().map(|(id, size)| {
        let positions = plan.characteristics.get(id).map_or(1, |c| c.positions.len().max(1));
        (id.clone(), vec![(0, size.si()); positions])
    });
    Candidate { values: values.collect() }
}

/// Every characteristic and position that matters for a role.
fn places_of<'r>(role: &'r Role<'_>) -> Vec<(&'r str, &'r str)> {
    let mut places = vec![];
    for size in &role.sizes {
        if size.c.positions.is_empty() {
            places.push((size.c.id.as_str(), ""));
        }
        places.extend(size.c.positions.iter().map(|p| (size.c.id.as_str(), p.as_str())));
    }
    places
}

/// The piece with all that its role needs; `None` if something is not gauged.
fn candidate_of(role: &Role<'_>, readings: &[KeptReading]) -> Option<Candidate> {
    let mut candidate = Candidate::default();
    for (id, position) in places_of(role) {
        let kept = newest(readings, id, position)?;
        let value = (kept.number, kept.reading.value.si());
        push_once(&mut candidate, role, id, value);
    }
    Some(candidate)
}

/// The piece with what was gauged of it; what is missing is not a number.
fn whatever_of(role: &Role<'_>, readings: &[KeptReading]) -> Candidate {
    let mut candidate = Candidate::default();
    for (id, position) in places_of(role) {
        let value = newest(readings, id, position)
            .map_or((0, f64::NAN), |kept| (kept.number, kept.reading.value.si()));
        push_once(&mut candidate, role, id, value);
    }
    candidate
}

/// A characteristic that stands in two fits at two temperatures is one reading all the same.
fn push_once(candidate: &mut Candidate, role: &Role<'_>, id: &str, value: (u64, f64)) {
    let positions = role.sizes.iter().find(|s| s.c.id == id);
    let wanted = positions.map_or(1, |s| s.c.positions.len().max(1));
    let values = candidate.values.entry(id.to_owned()).or_default();
    if values.len() < wanted {
        values.push(value);
    }
}
