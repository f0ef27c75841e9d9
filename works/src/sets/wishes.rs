//! What a person says of pieces that matching must heed: held, kept for a block, parted, due; and
//! how many pieces of a grade were counted.

use bedplate_record::entry::Event;
use serde::Serialize;

use crate::floor::Whereabouts;
use crate::plan::Plan;
use crate::who::{Doing, allowed, nearest};
use crate::works::{Deed, Works, WorksError};

/// Something said of a piece.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Saying {
    /// Keep it out of every set.
    Hold,
    /// Keep it for a block, at one place if that is named.
    Keep {
        /// The block.
        block: String,
        /// The place, or empty for any.
        position: String,
    },
    /// Not in one engine with another piece.
    Part {
        /// The other piece.
        other: String,
    },
    /// The block's engine is due: higher ranks come first.
    Due {
        /// From 1.
        rank: u8,
    },
    /// Nothing of this holds any longer.
    Free,
}

/// One thing that was said and holds still.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct WishLine {
    /// The piece.
    pub piece: String,
    /// What was said: `held`, `kept for B01234, place 2`, `not with P00012`, `due, rank 1`.
    pub said: String,
    /// Why.
    pub reason: String,
}

/// Pieces of one grade in stock.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct StockLine {
    /// The kind of part.
    pub part: String,
    /// Its title.
    pub title: String,
    /// The grade.
    pub grade: String,
    /// Its sizes in words.
    pub sizes: String,
    /// How many are left; `None` if they were never counted.
    pub left: Option<i64>,
}

impl Works {
    /// Records what was said of a piece.
    ///
    /// # Errors
    /// [`WorksError::NotAllowed`]; [`WorksError::Unknown`] for a piece or block that was never
    /// made; [`WorksError::Refused`] without a reason, for a piece that is in an engine or
    /// scrapped, for a place that the block does not have; [`WorksError::Store`].
    pub fn say_of_piece(
        &self,
        deed: &Deed,
        piece: &str,
        saying: &Saying,
        reason: &str,
    ) -> Result<(), WorksError> {
        allowed(&self.plan(), &deed.by, Doing::Fitting)?;
        let what = || format!("saying of {piece}");
        let reason = reason.trim().to_owned();
        if reason.is_empty() {
            return Err(WorksError::refused(what(), "a reason is needed; say why"));
        }
        let part = self.part_of_free(piece)?;
        let piece = piece.to_owned();
        let event = match saying {
            Saying::Hold => Event::PieceHeld { piece, reason },
            Saying::Keep { block, position } => {
                let host = self.part_of_free(block)?;
                self.check_place(&part, &host, block, position)?;
                let (block, position) = (block.clone(), position.clone());
                Event::PieceKept { piece, block, position, reason }
            }
            Saying::Part { other } if *other == piece => {
                return Err(WorksError::refused(what(), "a piece cannot be parted from itself"));
            }
            Saying::Part { other } => {
                self.part_of_free(other)?;
                Event::PiecesParted { piece, other: other.clone(), reason }
            }
            Saying::Due { rank: 0 } => {
                let why = "rank 0 is that of every block; give 1 or more, or free it";
                return Err(WorksError::refused(what(), why));
            }
            Saying::Due { rank } => {
                if !hosts(&self.plan()).contains(&part) {
                    let why = format!("it is a {part}; only what sets are made for can be due");
                    return Err(WorksError::refused(what(), why));
                }
                Event::BlockDue { block: piece, rank: *rank, reason }
            }
            Saying::Free => Event::PieceFreed { piece, reason },
        };
        self.alone(|| self.write(deed, vec![event], vec![]).map(|_| ()))
    }

    /// The part of a piece that is free or in a set.
    fn part_of_free(&self, piece: &str) -> Result<String, WorksError> {
        let Some(known) = self.floor(|f| f.pieces.get(piece).cloned()) else {
            let nearest = self.floor(|f| nearest(piece, f.pieces.keys().map(String::as_str)));
            return Err(WorksError::Unknown { kind: "piece", name: piece.to_owned(), nearest });
        };
        let why = match known.whereabouts {
            Whereabouts::Free | Whereabouts::InSet(_) => return Ok(known.part),
            Whereabouts::InEngine(engine) => format!("it is in engine {engine}"),
            Whereabouts::Scrapped(_) => "it is scrapped".to_owned(),
        };
        Err(WorksError::refused(format!("saying of {piece}"), why))
    }

    fn check_place(
        &self,
        part: &str,
        host: &str,
        block: &str,
        position: &str,
    ) -> Result<(), WorksError> {
        let plan = self.plan();
        let what = || format!("keeping a {part} for {block}");
        let engine = plan.sets.keys().filter_map(|t| plan.engines.get(t)).find(|e| {
            host_of(&plan, &e.name).is_some_and(|h| h == host) && e.parts.contains_key(part)
        });
        let Some(engine) = engine else {
            let why = format!("no engine has a {part} in a set made for a {host}");
            return Err(WorksError::refused(what(), why));
        };
        let places = engine.parts.get(part).copied().unwrap_or(1);
        let sound =
            position.is_empty() || position.parse::<u32>().is_ok_and(|n| (1..=places).contains(&n));
        if sound {
            return Ok(());
        }
        let why = format!("there is no place \"{position}\"; the places are 1 to {places}");
        Err(WorksError::refused(what(), why))
    }

    /// Records how many pieces of a grade were counted.
    ///
    /// # Errors
    /// [`WorksError::NotAllowed`]; [`WorksError::Unknown`] for a part without grades or a grade it
    /// does not have; [`WorksError::Store`].
    pub fn count_stock(
        &self,
        deed: &Deed,
        part: &str,
        grade: &str,
        pieces: u64,
    ) -> Result<(), WorksError> {
        let plan = self.plan();
        allowed(&plan, &deed.by, Doing::Fitting)?;
        let unknown = |kind: &'static str, name: &str, nearest: Option<String>| {
            WorksError::Unknown { kind, name: name.to_owned(), nearest }
        };
        let Some(grades) = plan.grades.get(part) else {
            let near = nearest(part, plan.grades.keys().map(String::as_str));
            return Err(unknown("part with grades", part, near));
        };
        if grades.iter().all(|g| g.name != grade) {
            let near = nearest(grade, grades.iter().map(|g| g.name.as_str()));
            return Err(unknown("grade", grade, near));
        }
        if pieces > 1_000_000_000 {
            let why = format!("{pieces} pieces cannot be meant; count again");
            return Err(WorksError::refused(format!("counting {part} {grade}"), why));
        }
        let event = Event::StockCounted { part: part.to_owned(), grade: grade.to_owned(), pieces };
        self.alone(|| self.write(deed, vec![event], vec![]).map(|_| ()))
    }

    /// What was said of pieces and holds still, by piece.
    #[must_use]
    pub fn wishes(&self) -> Vec<WishLine> {
        let line = |piece: &String, said: String, reason: &String| WishLine {
            piece: piece.clone(),
            said,
            reason: reason.clone(),
        };
        self.floor(|f| {
            let w = &f.wishes;
            let held = w.held.iter().map(|(p, why)| line(p, "held".to_owned(), why));
            let kept = w.kept.iter().map(|(p, (block, at, why))| {
                let place = if at.is_empty() { String::new() } else { format!(", place {at}") };
                line(p, format!("kept for {block}{place}"), why)
            });
            let parted =
                w.parted.iter().map(|((p, other), why)| line(p, format!("not with {other}"), why));
            let due =
                w.due.iter().map(|(p, (rank, why))| line(p, format!("due, rank {rank}"), why));
            let open = |l: &WishLine| {
                let at = f.pieces.get(&l.piece).map(|p| &p.whereabouts);
                !matches!(at, Some(Whereabouts::InEngine(_) | Whereabouts::Scrapped(_)))
            };
            held.chain(kept).chain(parted).chain(due).filter(open).collect()
        })
    }

    /// What lies in stock of every part that is kept by grade.
    #[must_use]
    pub fn stock(&self) -> Vec<StockLine> {
        let plan = self.plan();
        let mut lines = vec![];
        for (part, grades) in &plan.grades {
            let title = plan.parts.get(part).map_or_else(|| part.clone(), |p| p.title.clone());
            for grade in grades {
                let key = (part.clone(), grade.name.clone());
                let sizes: Vec<String> = grade.sizes.values().map(ToString::to_string).collect();
                lines.push(StockLine {
                    part: part.clone(),
                    title: title.clone(),
                    grade: grade.name.clone(),
                    sizes: sizes.join(", "),
                    left: self.floor(|f| f.stock.get(&key).copied()),
                });
            }
        }
        lines
    }
}

/// The part that sets of an engine type are made for: the hole of its first fit.
pub(crate) fn host_of<'p>(plan: &'p Plan, engine_type: &str) -> Option<&'p str> {
    let rule = plan.sets.get(engine_type)?;
    let fit = plan.fits.get(rule.fits.first()?)?;
    plan.characteristics.get(fit.outer()).map(|c| c.part.as_str())
}

fn hosts(plan: &Plan) -> Vec<String> {
    plan.sets.keys().filter_map(|t| host_of(plan, t)).map(str::to_owned).collect()
}
