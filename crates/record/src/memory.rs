//! The record in memory, for tests: the same behaviour and the same seals as a file, and faults
//! that are planned.

use std::collections::HashMap;
use std::path::Path;
use std::sync::{Mutex, MutexGuard, PoisonError};

use crate::chain::{Closing, Digest, context_digest, entry_digest, reading_digest, seal};
use crate::entry::{Entry, KeptEntry, Subject};
use crate::packed::{Packed, PackedEntry};
use crate::reading::{KeptReading, Reading};
use crate::sqlite::SqliteStore;
use crate::store::{
    Appended, Broken, DeedId, Group, Head, Seal, Store, StoreError, Verified, Wanted,
};

/// How often a planned fault strikes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// The planned append fails; the next one works again.
    Once,
    /// The planned append and every one after it fail.
    EverAfter,
}

/// A record kept in memory, for tests; gone when it is dropped.
#[derive(Debug, Default)]
pub struct MemoryStore {
    kept: Mutex<Kept>,
}

#[derive(Debug, Default)]
struct Kept {
    groups: Vec<KeptGroup>,
    deeds: HashMap<DeedId, usize>,
    appends: u64,
    fault: Option<(u64, Fault)>,
}

#[derive(Debug)]
struct KeptGroup {
    closing: Closing,
    seal: Seal,
    entries: Vec<PackedEntry>,
    readings: Vec<Reading>,
}

impl MemoryStore {
    /// An empty record.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Plans a fault: the `nth` append from now on (1 is the next one; an `append_all` counts as
    /// one) is refused with [`StoreError::Outside`] and keeps nothing.
    pub fn fail_append(&self, nth: u64, fault: Fault) {
        let mut kept = self.kept();
        kept.fault = Some((kept.appends.saturating_add(nth.max(1)), fault));
    }

    fn kept(&self) -> MutexGuard<'_, Kept> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Kept {
    fn head(&self) -> Head {
        match self.groups.last() {
            None => Head { groups: 0, last_number: 0, seal: Seal::FIRST },
            Some(group) => group.head(),
        }
    }

    fn strike(&mut self) -> Result<(), StoreError> {
        self.appends += 1;
        let strikes = match self.fault {
            Some((at, Fault::Once)) => self.appends == at,
            Some((at, Fault::EverAfter)) => self.appends >= at,
            None => false,
        };
        if strikes { Err(outside("a planned fault")) } else { Ok(()) }
    }

    fn keep(&mut self, group: Packed, believed: Option<Seal>) -> Result<Appended, StoreError> {
        if let Some(first) = self.deeds.get(&group.deed) {
            let first = &self.groups[*first];
            let (first_number, head) = (first.closing.first_number, first.head());
            return Ok(Appended { first_number, head, already_done: true });
        }
        let before = self.head();
        if let Some(believed) = believed
            && believed != before.seal
        {
            return Err(StoreError::HeadMoved { believed, found: before.seal });
        }
        let short = |n: usize| u32::try_from(n).expect("a packed group has at most a million");
        let closing = Closing {
            group: before.groups + 1,
            previous: before.seal,
            deed: group.deed,
            closed_at: group.closed_at,
            first_number: before.last_number + 1,
            entries: short(group.entries.len()),
            readings: short(group.readings.len()),
        };
        let Packed { deed, entries, readings, .. } = group;
        let mut kept = KeptGroup { closing, seal: Seal::FIRST, entries, readings };
        kept.seal = seal(&closing, &kept.digests());
        self.deeds.insert(deed, self.groups.len());
        self.groups.push(kept);
        Ok(Appended { first_number: closing.first_number, head: self.head(), already_done: false })
    }

    fn entries(&self) -> impl Iterator<Item = (u64, &PackedEntry)> {
        self.groups.iter().flat_map(|g| (g.closing.first_number..).zip(&g.entries))
    }

    fn readings(&self) -> impl Iterator<Item = (u64, &Reading)> {
        self.groups.iter().flat_map(|g| (g.first_reading()..).zip(&g.readings))
    }
}

impl KeptGroup {
    fn first_reading(&self) -> u64 {
        self.closing.first_number + u64::from(self.closing.entries)
    }

    fn head(&self) -> Head {
        let members = (self.entries.len() + self.readings.len()) as u64;
        let last_number = self.closing.first_number + members - 1;
        Head { groups: self.closing.group, last_number, seal: self.seal }
    }

    fn digests(&self) -> Vec<Digest> {
        let entries = (self.closing.first_number..).zip(&self.entries);
        let readings = (self.first_reading()..).zip(&self.readings);
        entries
            .map(|(number, entry)| entry_digest(number, &entry.bytes))
            .chain(readings.map(|(number, reading)| {
                reading_digest(number, reading, &context_digest(&reading.context))
            }))
            .collect()
    }
}

impl Store for MemoryStore {
    fn head(&self) -> Result<Head, StoreError> {
        Ok(self.kept().head())
    }

    fn append(&self, group: &Group, believed: Option<Seal>) -> Result<Appended, StoreError> {
        let group = Packed::of(group.clone())?;
        let mut kept = self.kept();
        kept.strike()?;
        kept.keep(group, believed)
    }

    fn append_all(&self, groups: Vec<Group>) -> Result<Vec<Appended>, StoreError> {
        let groups = groups.into_iter().map(Packed::of).collect::<Result<Vec<_>, _>>()?;
        let mut kept = self.kept();
        kept.strike()?;
        groups.into_iter().map(|group| kept.keep(group, None)).collect()
    }

    fn entries(&self, from: u64, limit: usize) -> Result<Vec<KeptEntry>, StoreError> {
        let kept = self.kept();
        let after = kept.entries().filter(|(number, _)| *number >= from).take(limit);
        after.map(|(number, entry)| open(number, entry)).collect()
    }

    fn about(&self, subject: &Subject) -> Result<Vec<KeptEntry>, StoreError> {
        let (kept, key) = (self.kept(), subject.key());
        let about = kept.entries().filter(|(_, entry)| entry.subjects.contains(&key));
        about.map(|(number, entry)| open(number, entry)).collect()
    }

    fn readings(&self, wanted: &Wanted<'_>) -> Result<Vec<KeptReading>, StoreError> {
        let kept = self.kept();
        let mut found: Vec<KeptReading> = kept
            .readings()
            .filter(|(number, reading)| takes(wanted, *number, reading))
            .map(|(number, reading)| KeptReading { number, reading: reading.clone() })
            .collect();
        if let Wanted::Newest { count, .. } = wanted {
            found.drain(..found.len().saturating_sub(*count));
        }
        Ok(found)
    }

    fn seal_of(&self, number: u64) -> Result<Option<(u64, Seal)>, StoreError> {
        let kept = self.kept();
        let holds =
            |g: &&KeptGroup| (g.closing.first_number..=g.head().last_number).contains(&number);
        Ok(kept.groups.iter().find(holds).map(|group| (group.closing.group, group.seal)))
    }

    fn verify(&self, progress: &mut dyn FnMut(u64, u64)) -> Result<Verified, StoreError> {
        let kept = self.kept();
        let head = kept.head();
        let mut found = Verified { groups: 0, entries: 0, readings: 0, head, broken: None };
        let mut previous = Seal::FIRST;
        for group in &kept.groups {
            let closing = Closing { previous, ..group.closing };
            if seal(&closing, &group.digests()) != group.seal {
                found.broken = Some(Broken {
                    group: closing.group,
                    number: closing.first_number,
                    finding: "the group's seal does not agree with what is in it".to_owned(),
                });
                break;
            }
            previous = group.seal;
            found.groups += 1;
            found.entries += u64::from(closing.entries);
            found.readings += u64::from(closing.readings);
            progress(found.groups, head.groups);
        }
        Ok(found)
    }

    /// The copy is an SQLite file with the same seals.
    fn backup(&self, to: &Path) -> Result<Head, StoreError> {
        if to.exists() {
            let path = to.display().to_string();
            let cause = "there is a file already; name one that does not exist".to_owned();
            return Err(StoreError::Outside { path, cause });
        }
        let kept = self.kept();
        let groups: Vec<Group> =
            kept.groups.iter().map(KeptGroup::group).collect::<Result<_, _>>()?;
        let (file, _) = SqliteStore::open(to)?;
        file.append_all(groups)?;
        file.head()
    }
}

impl KeptGroup {
    fn group(&self) -> Result<Group, StoreError> {
        let Closing { deed, closed_at, first_number, .. } = self.closing;
        let entries = (first_number..).zip(&self.entries);
        let entries = entries
            .map(|(number, entry)| open(number, entry).map(|kept| kept.entry))
            .collect::<Result<_, _>>()?;
        Ok(Group { deed, closed_at, entries, readings: self.readings.clone() })
    }
}

fn takes(wanted: &Wanted<'_>, number: u64, reading: &Reading) -> bool {
    match *wanted {
        Wanted::Characteristic { name, from, to } => {
            *reading.characteristic == *name && from <= reading.at && reading.at <= to
        }
        Wanted::Newest { name, position, .. } => {
            *reading.characteristic == *name
                && (position.is_empty() || *reading.position == *position)
        }
        Wanted::Piece(piece) => *reading.piece == *piece,
        Wanted::Gauge { gauge, from, to } => {
            *reading.context.gauge == *gauge && from <= reading.at && reading.at <= to
        }
        Wanted::Numbers(numbers) => numbers.contains(&number),
    }
}

fn open(number: u64, entry: &PackedEntry) -> Result<KeptEntry, StoreError> {
    let entry: Entry = serde_json::from_slice(&entry.bytes)
        .map_err(|e| StoreError::Damaged { number, finding: e.to_string() })?;
    Ok(KeptEntry { number, entry })
}

fn outside(cause: &str) -> StoreError {
    StoreError::Outside { path: "memory".to_owned(), cause: cause.to_owned() }
}
