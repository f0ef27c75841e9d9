//! The truth behind the demo's record: what no gauge shows and no entry says.
//!
//! Kept apart from the record, so that a test can ask whether the tool finds it.

use std::collections::{BTreeMap, HashMap};

use bedplate_record::reading::{Millis, Name};

/// The air gauge that went out of calibration until its next check found it.
#[derive(Debug, Clone, PartialEq)]
pub struct GaugeOut {
    /// The gauge.
    pub gauge: String,
    /// What it showed too much, in micrometres.
    pub error_um: f64,
    /// From when.
    pub from: Millis,
    /// Until when.
    pub until: Millis,
}

/// A boring spindle whose bores grow from block to block.
#[derive(Debug, Clone, PartialEq)]
pub struct SpindleWear {
    /// The spindle of the machine that bores blocks: `3`.
    pub spindle: String,
    /// How much wider each bore is than the one before, in micrometres.
    pub per_block_um: f64,
}

/// The heat of soft tappets.
#[derive(Debug, Clone, PartialEq)]
pub struct SoftHeat {
    /// The heat.
    pub heat: String,
    /// Mean hardness of its tappets, in HRC.
    pub mean_hrc: f64,
    /// Mean hardness of sound heats, in HRC.
    pub sound_hrc: f64,
    /// Its boxes.
    pub boxes: Vec<String>,
}

/// The days on which pistons were cut too small.
#[derive(Debug, Clone, PartialEq)]
pub struct SmallPistons {
    /// From when.
    pub from: Millis,
    /// By how much, in micrometres.
    pub by_um: f64,
    /// The first piston of them; all later ones are small too.
    pub first: String,
}

/// The crank grinder that drifts and is not reset.
#[derive(Debug, Clone, PartialEq)]
pub struct GrinderDrift {
    /// From when.
    pub from: Millis,
    /// How much each crankshaft's journals are thicker than the one before, in micrometres.
    pub per_crankshaft_um: f64,
}

/// What an engine really gives, and what takes it away. Losses are shares of the torque of a
/// middling engine; a negative loss is a gain.
#[derive(Debug, Clone, PartialEq)]
pub struct EngineTruth {
    /// Torque in reference air at each point of the schedule, in N·m.
    pub torque_nm: [f64; 3],
    /// Lost at rated speed by valve lift.
    pub lift_loss: f64,
    /// Lost by compression ratio and displacement.
    pub compression_loss: f64,
    /// Lost by ring gaps and piston clearance.
    pub blow_by_loss: f64,
    /// Lost by friction of tight fits.
    pub friction_loss: f64,
    /// Lost by a faulty jet, which no part's reading explains.
    pub jet_loss: f64,
}

/// One true value of a piece.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct TrueValue {
    pub(crate) characteristic: Name,
    pub(crate) position: Name,
    pub(crate) value: f64,
}

/// Everything the record does not say.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// The last instant of the record.
    pub ends: Millis,
    /// The gauge that was out.
    pub gauge_out: GaugeOut,
    /// The spindles.
    pub spindles: Vec<SpindleWear>,
    /// The soft tappets.
    pub soft_heat: SoftHeat,
    /// The small pistons.
    pub small_pistons: SmallPistons,
    /// The grinder.
    pub grinder_drift: GrinderDrift,
    /// The engine that was tested weak and is held at the end.
    pub weak_engine: String,
    /// Engines that ran on a bed, by number.
    pub engines: BTreeMap<String, EngineTruth>,
    pub(crate) pieces: HashMap<Name, Vec<TrueValue>>,
}

impl Truth {
    /// The true value of a characteristic of a piece at a position (empty where there is only
    /// one), in the unit that the works file gives it; `None` where the works made no such thing
    /// or never looked at it.
    #[must_use]
    pub fn value(&self, piece: &str, characteristic: &str, position: &str) -> Option<f64> {
        let values = self.pieces.get(piece)?;
        let found = values
            .iter()
            .find(|v| &*v.characteristic == characteristic && &*v.position == position)?;
        Some(found.value)
    }

    /// The pieces of which true values are known, in no order.
    pub fn pieces(&self) -> impl Iterator<Item = &str> {
        self.pieces.keys().map(AsRef::as_ref)
    }
}
