//! Which sizes of piston the store is short of.

use std::collections::BTreeMap;

use super::super::size::Nanometre;
use super::AimQuestion;

/// A band of diameters: what the blocks in the store want there at the target clearance, and what
/// lies there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SizeBand {
    /// Smallest diameter of the band.
    pub from: Nanometre,
    /// The band ends before this diameter.
    pub to: Nanometre,
    /// Cylinders of the blocks in the store whose ideal piston lies in the band.
    pub wanted: usize,
    /// Pistons of the store in the band.
    pub lying: usize,
}

impl SizeBand {
    /// Pistons to be turned in this band before every cylinder could have one near its ideal.
    #[must_use]
    pub fn short(&self) -> usize {
        self.wanted.saturating_sub(self.lying)
    }
}

/// Bands a quarter of the window wide, whole micrometres where that is possible, those in which
/// anything is wanted or lies, rising.
pub(super) fn bands(asked: &AimQuestion<'_>) -> Vec<SizeBand> {
    let quarter = (asked.rules.clearance_max() - asked.rules.clearance_min()).0 / 4;
    let step = if quarter < 1_000 { quarter.max(1) } else { quarter / 1_000 * 1_000 };
    let mut counts: BTreeMap<i64, (usize, usize)> = BTreeMap::new();
    let target = asked.rules.clearance_target();
    for bore in asked.blocks.iter().flat_map(|block| block.bores()) {
        counts.entry((*bore - target).0.div_euclid(step)).or_default().0 += 1;
    }
    for piston in asked.pistons {
        counts.entry(piston.diameter().0.div_euclid(step)).or_default().1 += 1;
    }
    let band = |(k, (wanted, lying)): (i64, (usize, usize))| SizeBand {
        from: Nanometre(k * step),
        to: Nanometre((k + 1) * step),
        wanted,
        lying,
    };
    counts.into_iter().map(band).collect()
}
