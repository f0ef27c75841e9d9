//! Small deeds: withdrawing a reading, scrapping a piece, a gauge's check, a tool change, an offset.

use bedplate_gauge::quantity::Quantity;
use bedplate_record::entry::Event;

use crate::floor::Whereabouts;
use crate::who::{Doing, allowed, nearest};
use crate::works::{Deed, Works, WorksError};

fn reasoned(what: &str, reason: &str) -> Result<String, WorksError> {
    let reason = reason.trim();
    if reason.is_empty() {
        return Err(WorksError::refused(what, "a reason is needed; say why"));
    }
    Ok(reason.to_owned())
}

/// What was found when a gauge was set against its master.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GaugeCheck {
    /// The gauge.
    pub gauge: String,
    /// The master.
    pub master: String,
    /// What the gauge showed too much, with its unit.
    pub error: String,
    /// Whether it may judge again.
    pub in_order: bool,
    /// A note, or empty.
    pub note: String,
}

/// A machine moved towards its centre.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Offset {
    /// The machine.
    pub machine: String,
    /// The spindle, or empty.
    pub spindle: String,
    /// The characteristic it answers for.
    pub characteristic: String,
    /// How far the size was moved, with sign and unit.
    pub moved: String,
    /// A note, or empty.
    pub note: String,
}

/// A tool changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToolChange {
    /// The machine.
    pub machine: String,
    /// The spindle, or empty.
    pub spindle: String,
    /// The new tool.
    pub tool: String,
    /// A note, or empty.
    pub note: String,
}

impl Works {
    /// Withdraws a reading: it stays visible, struck through, and no longer counts.
    ///
    /// # Errors
    /// [`WorksError::NotAllowed`], [`WorksError::Unknown`], [`WorksError::Refused`] without a
    /// reason or if it is withdrawn already.
    pub fn withdraw(&self, deed: &Deed, reading: u64, reason: &str) -> Result<(), WorksError> {
        allowed(&self.plan(), &deed.by, Doing::Gauging)?;
        let what = format!("withdrawing reading {reading}");
        let reason = reasoned(&what, reason)?;
        self.alone(|| {
            if self.reading(reading)?.withdrawn.is_some() {
                return Err(WorksError::refused(what, "it is withdrawn already"));
            }
            self.write(deed, vec![Event::ReadingWithdrawn { reading, reason }], vec![]).map(|_| ())
        })
    }

    /// Enters a piece that was made or received.
    ///
    /// # Errors
    /// [`WorksError::NotAllowed`], [`WorksError::Unknown`] for the part, [`WorksError::Refused`] if
    /// the number is taken or does not begin with the part's prefix.
    pub fn enter_piece(
        &self,
        deed: &Deed,
        part: &str,
        piece: &str,
        heat: &str,
    ) -> Result<(), WorksError> {
        let plan = self.plan();
        allowed(&plan, &deed.by, Doing::Gauging)?;
        let what = || format!("entering {piece}");
        if !plan.parts.contains_key(part) {
            let nearest = nearest(part, plan.parts.keys().map(String::as_str));
            return Err(WorksError::Unknown { kind: "part", name: part.to_owned(), nearest });
        }
        if plan.part_of(piece).is_none_or(|p| p.name != part) {
            let prefix = plan.parts.get(part).map_or("", |p| p.prefix.as_str());
            let why = format!("a {part}'s number is \"{prefix}\" and digits");
            return Err(WorksError::refused(what(), why));
        }
        self.alone(|| {
            if self.floor(|f| f.pieces.contains_key(piece)) {
                return Err(WorksError::refused(what(), "this number is entered already"));
            }
            let event = Event::PieceMade {
                piece: piece.to_owned(),
                part: part.to_owned(),
                heat: heat.trim().to_owned(),
            };
            self.write(deed, vec![event], vec![]).map(|_| ())
        })
    }

    /// Scraps a piece that is free.
    ///
    /// # Errors
    /// [`WorksError::NotAllowed`], [`WorksError::Unknown`], [`WorksError::Refused`].
    pub fn scrap(&self, deed: &Deed, piece: &str, reason: &str) -> Result<(), WorksError> {
        allowed(&self.plan(), &deed.by, Doing::Deciding)?;
        let what = format!("scrapping {piece}");
        let reason = reasoned(&what, reason)?;
        self.alone(|| {
            let whereabouts = self.floor(|f| f.pieces.get(piece).map(|p| p.whereabouts.clone()));
            match whereabouts {
                None => {
                    let nearest =
                        self.floor(|f| nearest(piece, f.pieces.keys().map(String::as_str)));
                    Err(WorksError::Unknown { kind: "piece", name: piece.to_owned(), nearest })
                }
                Some(Whereabouts::Free) => {
                    let piece = piece.to_owned();
                    self.write(deed, vec![Event::PieceScrapped { piece, reason }], vec![])
                        .map(|_| ())
                }
                Some(other) => {
                    let why = format!("it is {}; free it first", crate::trace::whereabouts(&other));
                    Err(WorksError::refused(what, why))
                }
            }
        })
    }

    /// Records a gauge's check on its master.
    ///
    /// # Errors
    /// [`WorksError::NotAllowed`], [`WorksError::Unknown`], [`WorksError::Refused`] if the error is
    /// no quantity.
    pub fn check_gauge(&self, deed: &Deed, check: &GaugeCheck) -> Result<(), WorksError> {
        let plan = self.plan();
        allowed(&plan, &deed.by, Doing::Deciding)?;
        let Some(gauge) = plan.gauges.get(&check.gauge) else {
            let nearest = nearest(&check.gauge, plan.gauges.keys().map(String::as_str));
            let name = check.gauge.clone();
            return Err(WorksError::Unknown { kind: "gauge", name, nearest });
        };
        let error =
            Quantity::parse(&check.error, gauge.uncertainty.unit().dimension).map_err(|e| {
                WorksError::refused(format!("the check of {}", check.gauge), e.to_string())
            })?;
        let event = Event::GaugeCalibrated {
            gauge: check.gauge.clone(),
            master: check.master.trim().to_owned(),
            error: error.to_string(),
            in_order: check.in_order,
            note: check.note.trim().to_owned(),
        };
        self.write(deed, vec![event], vec![]).map(|_| ())
    }

    /// Records that a machine was moved: a triangle on the chart of the characteristic.
    ///
    /// # Errors
    /// [`WorksError::NotAllowed`], [`WorksError::Unknown`], [`WorksError::Refused`] if the move is
    /// no quantity of the characteristic's dimension.
    pub fn offset(&self, deed: &Deed, offset: &Offset) -> Result<(), WorksError> {
        let plan = self.plan();
        allowed(&plan, &deed.by, Doing::Deciding)?;
        let Some(c) = plan.characteristics.get(&offset.characteristic) else {
            let known = plan.characteristics.keys().map(String::as_str);
            let nearest = nearest(&offset.characteristic, known);
            let name = offset.characteristic.clone();
            return Err(WorksError::Unknown { kind: "characteristic", name, nearest });
        };
        let what = || format!("moving {}", offset.machine);
        if offset.machine.trim().is_empty() {
            return Err(WorksError::refused(what(), "say which machine"));
        }
        let moved = Quantity::parse(&offset.moved, c.unit.dimension)
            .map_err(|e| WorksError::refused(what(), e.to_string()))?;
        let event = Event::OffsetMade {
            machine: offset.machine.trim().to_owned(),
            spindle: offset.spindle.trim().to_owned(),
            characteristic: offset.characteristic.clone(),
            moved: moved.to_string(),
            note: offset.note.trim().to_owned(),
        };
        self.write(deed, vec![event], vec![]).map(|_| ())
    }

    /// Records a tool change.
    ///
    /// # Errors
    /// [`WorksError::NotAllowed`], [`WorksError::Refused`] without a machine or tool.
    pub fn change_tool(&self, deed: &Deed, change: &ToolChange) -> Result<(), WorksError> {
        allowed(&self.plan(), &deed.by, Doing::Deciding)?;
        if change.machine.trim().is_empty() || change.tool.trim().is_empty() {
            let why = "say which machine and which tool";
            return Err(WorksError::refused("changing a tool", why));
        }
        let event = Event::ToolChanged {
            machine: change.machine.trim().to_owned(),
            spindle: change.spindle.trim().to_owned(),
            tool: change.tool.trim().to_owned(),
            note: change.note.trim().to_owned(),
        };
        self.write(deed, vec![event], vec![]).map(|_| ())
    }
}
