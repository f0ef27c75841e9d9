//! The ledger as it is read: entries in words, the newest first.

use bedplate_record::entry::{KeptEntry, Subject};
use serde::Serialize;

use crate::engine_record::Whole;
use crate::instant;
use crate::tell::{self, EventLine};
use crate::works::{Works, WorksError};

/// The most entries shown at once.
pub const ENTRIES_SHOWN_MAX: usize = 500;

/// One entry, and what it is about.
#[derive(Debug, Clone, Serialize)]
pub struct LedgerLine {
    /// Number, instant, person and what happened.
    #[serde(flatten)]
    pub line: EventLine,
    /// What it is about: `piece/B0417`, `engine/04388`.
    pub about: Vec<String>,
    /// Edition of the plan in force, its first twelve digits.
    pub edition: String,
}

/// One page of the ledger.
#[derive(Debug, Clone, Serialize)]
pub struct LedgerSheet {
    /// Instant of the figures.
    pub as_of: String,
    /// Entries, the newest first.
    pub entries: Vec<LedgerLine>,
    /// The number from which older ones follow, if there are any.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub older: Option<u64>,
    /// The number from which newer ones are read, if there are any.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub newer: Option<u64>,
    /// The last number of the record.
    pub last_number: u64,
    /// Whether the record is whole.
    pub whole: Whole,
}

impl Works {
    /// Entries down from number `from` (the newest without one), `count` of them at the most.
    ///
    /// # Errors
    /// [`WorksError::Store`].
    pub fn ledger(&self, from: Option<u64>, count: usize) -> Result<LedgerSheet, WorksError> {
        let count = count.clamp(1, ENTRIES_SHOWN_MAX);
        let last_number = self.store().head()?.last_number;
        let from = from.unwrap_or(last_number).min(last_number);
        // One more than shown tells whether older ones follow.
        let mut down = self.entries_down(from, count + 1)?;
        let older = (down.len() > count).then(|| down[count].number);
        down.truncate(count);
        let newest = down.first().map_or(from, |k| k.number);
        let after = self.store().entries(newest + 1, count)?;
        let plan = self.plan();
        let zone = instant::zone(&plan.works.time_zone);
        Ok(LedgerSheet {
            as_of: instant::iso(self.as_of(), &zone),
            entries: down
                .iter()
                .map(|kept| LedgerLine {
                    line: tell::line(&plan, &zone, kept),
                    about: kept.entry.event.subjects().iter().map(Subject::key).collect(),
                    edition: tell::first_twelve(&kept.entry.edition),
                })
                .collect(),
            older,
            newer: after.last().map(|k| k.number),
            last_number,
            whole: self.whole()?,
        })
    }

    /// The last `count` entries with numbers up to `from`, the newest first. Readings share the
    /// sequence of numbers, so the span looked at widens until it holds enough.
    fn entries_down(&self, from: u64, count: usize) -> Result<Vec<KeptEntry>, WorksError> {
        let mut span = (count as u64).saturating_mul(8).max(64);
        loop {
            let first = from.saturating_sub(span).max(1);
            let limit = usize::try_from(from + 1 - first.min(from + 1)).unwrap_or(usize::MAX);
            let mut entries = self.store().entries(first, limit)?;
            entries.retain(|k| k.number <= from);
            if entries.len() >= count || first == 1 {
                let surplus = entries.len().saturating_sub(count);
                entries.drain(..surplus);
                entries.reverse();
                return Ok(entries);
            }
            span = span.saturating_mul(4);
        }
    }
}
