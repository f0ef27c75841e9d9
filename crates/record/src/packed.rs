//! A group made ready for keeping: entries as the exact bytes that are kept and sealed, and every
//! limit checked, so that a store refuses nothing after it began to write.

use bedplate_gauge::unit::UNITS;

use crate::entry::Entry;
use crate::reading::{Millis, Reading};
use crate::store::{DeedId, Group, StoreError};

/// The most members a group may have; a verification holds one group's digests in memory.
pub(crate) const MEMBERS_MAX: usize = 1_000_000;
/// The longest name or piece number, in bytes: well above any file's name.
pub(crate) const NAME_BYTES_MAX: usize = 1_000;
/// The longest entry, in bytes: an edition of the plan is kept whole in one.
pub(crate) const ENTRY_BYTES_MAX: usize = 16 << 20;

/// A group as it will be kept.
#[derive(Debug)]
pub(crate) struct Packed {
    pub(crate) deed: DeedId,
    pub(crate) closed_at: Millis,
    pub(crate) entries: Vec<PackedEntry>,
    pub(crate) readings: Vec<Reading>,
}

/// An entry's kept bytes and what it is about.
#[derive(Debug, Clone)]
pub(crate) struct PackedEntry {
    pub(crate) bytes: Vec<u8>,
    pub(crate) subjects: Vec<String>,
}

impl Packed {
    pub(crate) fn of(group: Group) -> Result<Self, StoreError> {
        let Group { deed, closed_at, entries, readings } = group;
        let members = entries.len().saturating_add(readings.len());
        if members == 0 {
            return Err(unkeepable("the group is empty; it needs an entry or a reading"));
        }
        if members > MEMBERS_MAX {
            return Err(unkeepable(&format!(
                "the group has {members} entries and readings; at most {MEMBERS_MAX} go into one"
            )));
        }
        readings.iter().try_for_each(keepable)?;
        let entries = entries.iter().map(pack_entry).collect::<Result<_, _>>()?;
        Ok(Self { deed, closed_at, entries, readings })
    }

    /// Many groups, in order; on two cores, since a whole works may be laid at once.
    pub(crate) fn all(mut groups: Vec<Group>) -> Result<Vec<Self>, StoreError> {
        let second = groups.split_off(groups.len() / 2);
        let pack = |groups: Vec<Group>| groups.into_iter().map(Self::of).collect();
        std::thread::scope(|scope| {
            let other = scope.spawn(move || -> Result<Vec<Self>, StoreError> { pack(second) });
            let mut packed: Vec<Self> = pack(groups)?;
            match other.join() {
                Ok(rest) => packed.extend(rest?),
                Err(fault) => std::panic::resume_unwind(fault),
            }
            Ok(packed)
        })
    }

    pub(crate) fn members(&self) -> usize {
        self.entries.len() + self.readings.len()
    }
}

/// What an entry is about, as look-up words, each once.
pub(crate) fn subjects(entry: &Entry) -> Vec<String> {
    let mut keys: Vec<String> = entry.event.subjects().iter().map(|s| s.key()).collect();
    keys.sort_unstable();
    keys.dedup();
    keys
}

fn pack_entry(entry: &Entry) -> Result<PackedEntry, StoreError> {
    let bytes = serde_json::to_vec(entry)
        .map_err(|e| unkeepable(&format!("an entry cannot be written as JSON: {e}")))?;
    if bytes.len() > ENTRY_BYTES_MAX {
        let length = bytes.len();
        return Err(unkeepable(&format!(
            "an entry is {length} bytes long; at most {ENTRY_BYTES_MAX} can be kept"
        )));
    }
    Ok(PackedEntry { bytes, subjects: subjects(entry) })
}

fn keepable(reading: &Reading) -> Result<(), StoreError> {
    let c = &reading.context;
    let names = [
        ("characteristic", &reading.characteristic),
        ("piece", &reading.piece),
        ("position", &reading.position),
        ("gauge", &c.gauge),
        ("person", &c.person),
        ("machine", &c.machine),
        ("spindle", &c.spindle),
        ("tool", &c.tool),
        ("source", &c.source),
        ("edition", &c.edition),
    ];
    for (what, name) in names {
        if name.len() > NAME_BYTES_MAX {
            return Err(unkeepable(&format!(
                "the {what} of a reading is {} bytes long; at most {NAME_BYTES_MAX} can be kept",
                name.len()
            )));
        }
    }
    let unit = reading.value.unit();
    // A unit is kept by its place in the table of units; one from elsewhere has none.
    if !UNITS.iter().any(|u| std::ptr::eq(u, unit)) && !UNITS.contains(unit) {
        return Err(unkeepable(&format!("the unit \"{}\" is not in the table", unit.symbol)));
    }
    Ok(())
}

fn unkeepable(reason: &str) -> StoreError {
    StoreError::Unkeepable { reason: reason.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_group_takes_a_million_members_and_no_more() {
        let entry = Entry {
            at: 0,
            by: String::new(),
            edition: String::new(),
            event: crate::entry::Event::StepDone { engine: String::new(), step: String::new() },
        };
        let group = |n| Group { entries: vec![entry.clone(); n], ..Group::default() };
        assert_eq!(Packed::of(group(MEMBERS_MAX)).unwrap().members(), MEMBERS_MAX);
        match Packed::of(group(MEMBERS_MAX + 1)) {
            Err(StoreError::Unkeepable { reason }) => {
                assert!(reason.contains("1000001"), "{reason}");
            }
            other => panic!("not refused: {:?}", other.map(|packed| packed.members())),
        }
    }
}
