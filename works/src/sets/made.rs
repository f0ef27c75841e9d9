//! Sets made, changed and taken apart.

use bedplate_engine::set::Search;
use bedplate_record::entry::{Event, PlaceFilled};

use super::rule::Rule;
use super::solve::{self, Heed};
use super::{MatchingSheet, SetView};
use crate::floor::{Floor, Set, SetState};
use crate::plan::Plan;
use crate::who::{Doing, allowed, nearest};
use crate::works::{Deed, Works, WorksError};

/// Which pieces of a set are to be changed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Change {
    /// Places whose pieces come out, such as `2` (a piston's) or `rod/3`; empty: all that are not
    /// fitted.
    pub out: Vec<String>,
    /// Places whose pieces are fitted already and stay; empty: all but those that come out.
    pub fitted: Vec<String>,
    /// The piece that goes into the one place of `out`; empty: the best that is found.
    pub with: String,
    /// Whether the pieces of `out` are scrapped; else they are free again.
    pub scrap: bool,
    /// Why.
    pub reason: String,
}

impl Works {
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
            let mut numbers: Vec<String> = vec![];
            let mut events = vec![];
            for view in chosen {
                let set = self.floor(|f| next_number(f, numbers.last()));
                events.push(set_made(&self.plan(), &set, &sheet, view)?);
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
        let what = format!("taking set {set} apart");
        let reason = reasoned(&what, reason)?;
        self.alone(|| {
            self.set_in_tray(set, &what)?;
            let event = Event::SetBroken { set: set.to_owned(), reason };
            self.write(deed, vec![event], vec![]).map(|_| ())
        })
    }

    /// What a set would be after a change: nothing is recorded.
    ///
    /// # Errors
    /// As [`Works::change_set`], without the reason.
    pub fn changed_set(&self, set: &str, change: &Change) -> Result<SetView, WorksError> {
        let what = format!("changing set {set}");
        let known = self.set_in_tray(set, &what)?;
        let places = self.places_after(set, &known, change)?;
        let plan = self.plan();
        let rule = Rule::of(&plan, &known.engine_type)?;
        let mut view = self.view_as_it_is(&rule, set, &places)?;
        "as it would be".clone_into(&mut view.state);
        Ok(view)
    }

    /// Changes a set that waits in its tray: pieces come out, and the rest is matched anew around
    /// what is fitted already. Gives the set as it is then.
    ///
    /// # Errors
    /// [`WorksError::NotAllowed`], [`WorksError::Unknown`]; [`WorksError::Refused`] if it is not
    /// in its tray, without a reason, for a place it does not have, or if no pieces in the store
    /// go with what is fitted; [`WorksError::Store`].
    pub fn change_set(
        &self,
        deed: &Deed,
        set: &str,
        change: &Change,
    ) -> Result<SetView, WorksError> {
        allowed(&self.plan(), &deed.by, Doing::Fitting)?;
        let what = format!("changing set {set}");
        let reason = reasoned(&what, &change.reason)?;
        self.alone(|| {
            let known = self.set_in_tray(set, &what)?;
            let places = self.places_after(set, &known, change)?;
            let mut events = vec![Event::SetChanged {
                set: set.to_owned(),
                places: places.clone(),
                reason: reason.clone(),
            }];
            if change.scrap {
                let plan = self.plan();
                let rule = Rule::of(&plan, &known.engine_type)?;
                // Only what was named comes out for good; the rest was exchanged and is sound.
                let named = change.out.iter().map(|t| named_place(&rule, set, &known, t.trim()));
                let named = named.collect::<Result<Vec<_>, _>>()?;
                let numbered = named.iter().filter(|p| !plan.grades.contains_key(&p.part));
                events.extend(numbered.filter(|p| !holds(&places, p)).map(|p| {
                    Event::PieceScrapped { piece: p.piece.clone(), reason: reason.clone() }
                }));
            }
            self.write(deed, events, vec![])?;
            self.set(set)
        })
    }

    fn set_in_tray(&self, set: &str, what: &str) -> Result<Set, WorksError> {
        let Some(known) = self.floor(|f| f.sets.get(set).cloned()) else {
            let nearest = self.floor(|f| nearest(set, f.sets.keys().map(String::as_str)));
            return Err(WorksError::Unknown { kind: "set", name: set.to_owned(), nearest });
        };
        let state = match &known.state {
            SetState::InTray => return Ok(known),
            SetState::Built(engine) => format!("in engine {engine}"),
            SetState::Broken => "taken apart".to_owned(),
        };
        let why = format!("it is {state}; only a set in its tray can be changed or taken apart");
        Err(WorksError::refused(what, why))
    }

    /// The places of a set after a change.
    fn places_after(
        &self,
        set: &str,
        known: &Set,
        change: &Change,
    ) -> Result<Vec<PlaceFilled>, WorksError> {
        let plan = self.plan();
        let rule = Rule::of(&plan, &known.engine_type)?;
        let what = || format!("changing set {set}");
        let fitted = fitted_places(&rule, set, known, change)?;
        let host = known.places.first().map_or(String::new(), |p| p.piece.clone());
        let also: Vec<(String, String)> =
            known.places.iter().map(|p| (p.part.clone(), p.piece.clone())).collect();
        let mut store = self.store_of(&rule, &also)?;
        // The block and what is fitted are there, whatever a new reading of them may say.
        for place in &fitted {
            if let Some(c) = self.as_it_is(&rule, &place.part, &place.piece)?
                && let Some(pile) = store.piles.get_mut(&place.part)
            {
                pile.pieces.insert(place.piece.clone(), c);
            }
        }
        if let Some(pile) = store.piles.get_mut(rule.host().part) {
            pile.pieces.retain(|block, _| *block == host);
        }
        let out = known.places.iter().filter(|p| !fitted.contains(p));
        for place in out.filter(|p| rule.role(&p.part).is_some_and(|r| !r.is_graded)) {
            // What comes out of a named place does not go back into the set.
            if !change.out.is_empty()
                && let Some(pile) = store.piles.get_mut(&place.part)
            {
                pile.pieces.remove(&place.piece);
            }
        }
        let mut heed = Heed { wishes: self.floor(|f| f.wishes.clone()), ..Heed::default() };
        heed.fitted = fitted.iter().skip(1).map(|p| (host.clone(), p.clone())).collect();
        if !change.with.is_empty() {
            let place = wanted_place(&rule, set, known, change)?;
            let piece = change.with.clone();
            if store.candidate(&place.part, &piece).is_none() {
                let why = format!("{piece} is not a {} that is free and accepted", place.part);
                return Err(WorksError::refused(what(), why));
            }
            heed.fitted.push((host, PlaceFilled { piece, ..place }));
        }
        // Places that the set never had (made under an older plan) are filled too.
        let found = solve::solve(&rule, &store, &heed, Search::default(), &mut |_| true)?;
        let Some(chosen) = found.sets.into_iter().next() else {
            let why = found.left.first().map_or_else(String::new, |l| l.reason.clone());
            let why = format!("no set can be made around what is fitted: {why}");
            return Err(WorksError::refused(what(), why));
        };
        Ok(chosen.places)
    }
}

/// Whether a piece is still in the set, at whatever place.
fn holds(places: &[PlaceFilled], gone: &PlaceFilled) -> bool {
    places.iter().any(|p| p.part == gone.part && p.piece == gone.piece)
}

fn reasoned(what: &str, reason: &str) -> Result<String, WorksError> {
    match reason.trim() {
        "" => Err(WorksError::refused(what, "a reason is needed; say why")),
        reason => Ok(reason.to_owned()),
    }
}

/// The place that a text names: `2` is the main fit's filler at place 2, `rod/3` a rod at 3.
fn named_place(
    rule: &Rule<'_>,
    set: &str,
    known: &Set,
    text: &str,
) -> Result<PlaceFilled, WorksError> {
    let (part, position) = text.split_once('/').unwrap_or((rule.filler(), text));
    let is_it = |p: &&PlaceFilled| p.part == part && p.position == position;
    known.places.iter().skip(1).find(is_it).cloned().ok_or_else(|| {
        let all = known.places.iter().skip(1).map(|p| match p.position.as_str() {
            position if p.part == rule.filler() => position.to_owned(),
            position => format!("{}/{position}", p.part),
        });
        let why = format!(
            "it has no place \"{text}\"; its places are {}",
            all.collect::<Vec<_>>().join(", ")
        );
        WorksError::refused(format!("changing set {set}"), why)
    })
}

/// The pieces that stay: the block, and those named as fitted, or all but those that come out.
fn fitted_places(
    rule: &Rule<'_>,
    set: &str,
    known: &Set,
    change: &Change,
) -> Result<Vec<PlaceFilled>, WorksError> {
    let named = |texts: &[String]| {
        texts.iter().map(|t| named_place(rule, set, known, t.trim())).collect::<Result<Vec<_>, _>>()
    };
    let (out, fitted) = (named(&change.out)?, named(&change.fitted)?);
    if let Some(both) = out.iter().find(|p| fitted.contains(p)) {
        let why = format!("{} is said to come out and to stay", both.piece);
        return Err(WorksError::refused(format!("changing set {set}"), why));
    }
    if !change.with.is_empty() && out.len() != 1 {
        let why =
            format!("{} can go into one place only; name the one that comes out", change.with);
        return Err(WorksError::refused(format!("changing set {set}"), why));
    }
    let stays = |p: &&PlaceFilled| {
        if change.fitted.is_empty() && !change.out.is_empty() {
            !out.contains(p)
        } else {
            fitted.contains(p)
        }
    };
    let (block, rest) = known.places.split_at(known.places.len().min(1));
    Ok(block.iter().chain(rest.iter().filter(stays)).cloned().collect())
}

fn wanted_place(
    rule: &Rule<'_>,
    set: &str,
    known: &Set,
    change: &Change,
) -> Result<PlaceFilled, WorksError> {
    let text = change.out.first().map_or("", String::as_str);
    named_place(rule, set, known, text)
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
fn newest_set(floor: &Floor) -> Option<String> {
    floor.sets.iter().max_by_key(|(number, s)| (s.made_at, *number)).map(|(n, _)| n.clone())
}

/// The number that the next set gets after the one made last, or after `last` of this deed.
pub(super) fn next_number(floor: &Floor, last: Option<&String>) -> String {
    let mut set = match last {
        Some(last) => number_after(Some(last)),
        None => number_after(newest_set(floor).as_ref()),
    };
    while floor.sets.contains_key(&set) {
        set = number_after(Some(&set));
    }
    set
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

fn set_made(
    plan: &Plan,
    set: &str,
    sheet: &MatchingSheet,
    view: &SetView,
) -> Result<Event, WorksError> {
    let rule = Rule::of(plan, &sheet.engine_type)?;
    let pistons = rule.filler_places(view.places.iter().map(|p| p.piston.as_str()));
    let others = view.pieces.iter().map(|p| PlaceFilled {
        part: p.part.clone(),
        position: p.position.clone(),
        piece: p.piece.clone(),
    });
    Ok(Event::SetMade {
        set: set.to_owned(),
        engine_type: sheet.engine_type.clone(),
        places: std::iter::once(rule.block_place(&view.block))
            .chain(pistons)
            .chain(others)
            .collect(),
        reason: format!(
            "matched from {} blocks and {} pistons: {} engines of at most {} (seed {}, {} moves)",
            sheet.blocks, sheet.pistons, sheet.found, sheet.bound, sheet.seed, sheet.moves
        ),
    })
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
