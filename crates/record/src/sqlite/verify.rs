//! Recomputing the chain from the file, in spans of groups, in bounded memory.
//!
//! Readings lie by characteristic and not by number, so a span of numbers is gathered from each
//! characteristic's run in turn; a span holds about 65,000 members, or one group if that is larger.
//! After the chain comes what no seal covers but every question goes through: rows outside any
//! group, look-ups and indexes.

use std::collections::HashMap;

use rusqlite::{Connection, OptionalExtension as _, Row, params};

use super::names::{COLUMNS, KeptRow, Names, bytes, integer};
use super::{BLOCK_BITS, is_damage, lay, read_head, read_seal};
use crate::chain::{Closing, Digest, entry_digest, seal};
use crate::entry::Entry;
use crate::packed::{MEMBERS_MAX, subjects};
use crate::store::{Broken, Head, Seal, Verified};

/// Members gathered before their groups are sealed again.
const SPAN_MEMBERS: u64 = 65_536;

/// Verifies one moment of the record, whatever is appended meanwhile.
pub(super) fn verify(
    conn: &mut Connection,
    progress: &mut dyn FnMut(u64, u64),
) -> rusqlite::Result<Verified> {
    let tx = conn.transaction()?;
    let mut walk = Walk::default();
    let head = match read_head(&tx) {
        // The walk comes to the same place and can name it.
        Err(e) if is_damage(&e) => Head { groups: 0, last_number: 0, seal: Seal::FIRST },
        read => read?,
    };
    let found = walk.whole(&tx, &head, progress);
    let broken = walk.as_finding(found)?;
    let Walk { groups, entries, readings, .. } = walk;
    Ok(Verified { groups, entries, readings, head, broken })
}

/// Looks at the last group alone: a second's work on any record, for start-up.
pub(super) fn last_group(conn: &mut Connection) -> rusqlite::Result<Option<Broken>> {
    let tx = conn.transaction()?;
    let mut walk = Walk::default();
    let mut before = tx.prepare(
        "SELECT number, first_number + entries + readings - 1, seal FROM \"group\" \
         ORDER BY first_number DESC LIMIT 1 OFFSET 1",
    )?;
    let before =
        before.query_row([], |row| Ok((row.get(0)?, row.get(1)?, read_seal(row, 2)?))).optional();
    let found = before.and_then(|before| {
        if let Some((groups, last_number, seal)) = before {
            walk = Walk { groups, last_number, seal, ..Walk::default() };
        }
        let ground = Ground::survey(&tx)?;
        walk.span(&ground)
    });
    walk.as_finding(found)
}

/// How far the chain agrees.
struct Walk {
    groups: u64,
    last_number: u64,
    seal: Seal,
    entries: u64,
    readings: u64,
    /// Rows that the look-up of subjects must have; `None` if an entry's kind is not known here.
    subjects: Option<u64>,
}

impl Default for Walk {
    fn default() -> Self {
        let (groups, last_number, entries, readings) = (0, 0, 0, 0);
        Self { groups, last_number, seal: Seal::FIRST, entries, readings, subjects: Some(0) }
    }
}

/// What is read once for the whole walk.
struct Ground<'c> {
    conn: &'c Connection,
    names: Names,
    characteristics: Vec<i64>,
}

/// A group's row.
struct KeptGroup {
    closing: Closing,
    seal: Seal,
}

/// What lies under one number.
#[derive(Clone)]
enum Slot {
    Missing,
    Entry(Digest),
    Reading(Digest),
    Damaged(String),
}

impl Walk {
    fn whole(
        &mut self,
        conn: &Connection,
        head: &Head,
        progress: &mut dyn FnMut(u64, u64),
    ) -> rusqlite::Result<Option<Broken>> {
        if let Some(finding) = lay::tables_differ(conn)? {
            return Ok(Some(beside_the_chain(finding)));
        }
        let ground = Ground::survey(conn)?;
        loop {
            let before = self.groups;
            if let Some(broken) = self.span(&ground)? {
                return Ok(Some(broken));
            }
            if self.groups == before {
                break;
            }
            progress(self.groups, head.groups);
        }
        if let Some(broken) = self.after_the_end(&ground)? {
            return Ok(Some(broken));
        }
        let end = Head { groups: self.groups, last_number: self.last_number, seal: self.seal };
        if end != *head {
            let (group, number) = (self.groups + 1, self.last_number + 1);
            let finding = format!("asked for its last group, the file shows group {}", head.groups);
            return Ok(Some(Broken { group, number, finding }));
        }
        Ok(self.look_ups(&ground)?.map(beside_the_chain))
    }

    /// Verifies the next groups; none are left if `groups` stays as it was.
    fn span(&mut self, ground: &Ground<'_>) -> rusqlite::Result<Option<Broken>> {
        let (groups, out_of_line) = self.next_groups(ground.conn)?;
        let subjects = self.subjects;
        let broken = match self.seal_again(ground, &groups) {
            // To name the group the unreadable part is in, each is tried by itself.
            Err(e) if is_damage(&e) && groups.len() > 1 => {
                let mut broken = None;
                self.subjects = subjects;
                for group in groups.chunks(1) {
                    broken = self.seal_again(ground, group)?;
                    if broken.is_some() {
                        break;
                    }
                }
                broken
            }
            sealed => sealed?,
        };
        Ok(broken.or(out_of_line))
    }

    /// The rows of the next groups, as far as each follows from the one before, and the first that
    /// does not.
    fn next_groups(&self, conn: &Connection) -> rusqlite::Result<(Vec<KeptGroup>, Option<Broken>)> {
        let mut statement = conn.prepare_cached(
            "SELECT first_number, number, deed, closed_at, entries, readings, previous, seal \
             FROM \"group\" WHERE first_number >= ?1 ORDER BY first_number",
        )?;
        // At the start also what was slipped in before it.
        let from = if self.groups == 0 { i64::MIN } else { as_kept(self.last_number + 1) };
        let mut rows = statement.query([from])?;
        let mut groups: Vec<KeptGroup> = vec![];
        let (mut group, mut number, mut previous) =
            (self.groups + 1, self.last_number + 1, self.seal);
        while number <= self.last_number + SPAN_MEMBERS
            && let Some(row) = rows.next()?
        {
            let kept = match read_group(row) {
                None => Err("the group's row is not readable".to_owned()),
                Some(kept) => kept.follows(group, number, &previous).map(|()| kept),
            };
            match kept {
                Ok(kept) => {
                    group += 1;
                    number += kept.members();
                    previous = kept.seal;
                    groups.push(kept);
                }
                Err(finding) => return Ok((groups, Some(Broken { group, number, finding }))),
            }
        }
        Ok((groups, None))
    }

    /// Gathers the members of `groups` and seals each again.
    fn seal_again(
        &mut self,
        ground: &Ground<'_>,
        groups: &[KeptGroup],
    ) -> rusqlite::Result<Option<Broken>> {
        let (Some(first), Some(last)) = (groups.first(), groups.last()) else { return Ok(None) };
        let (first, last) = (first.closing.first_number, last.last_number());
        let mut slots = Slots::new(first, last);
        slots.gather_entries(ground, &mut self.subjects)?;
        slots.gather_readings(ground)?;
        for group in groups {
            if let Some((number, finding)) = slots.disagreement(group) {
                let group = group.closing.group;
                return Ok(Some(Broken { group, number, finding }));
            }
            self.groups = group.closing.group;
            self.last_number = group.last_number();
            self.seal = group.seal;
            self.entries += u64::from(group.closing.entries);
            self.readings += u64::from(group.closing.readings);
        }
        Ok(None)
    }

    /// Rows that no group counts.
    fn after_the_end(&self, ground: &Ground<'_>) -> rusqlite::Result<Option<Broken>> {
        let mut beyond = ground.conn.prepare_cached(
            "SELECT min(number) FROM (\
             SELECT min(number) AS number FROM entry WHERE number > ?1 UNION ALL \
             SELECT max(number) FROM entry WHERE number < 1)",
        )?;
        let last = self.last_number;
        let mut stray: Option<i64> = beyond.query_row([last], |row| row.get(0))?;
        let mut beyond = ground.conn.prepare_cached(
            "SELECT min(number) FROM (\
             SELECT min(number) AS number FROM reading WHERE characteristic = ?2 AND number > ?1 \
             UNION ALL SELECT max(number) FROM reading WHERE characteristic = ?2 AND number < 1)",
        )?;
        for characteristic in &ground.characteristics {
            let more: Option<i64> =
                beyond.query_row(params![last, characteristic], |row| row.get(0))?;
            stray = [stray, more].into_iter().flatten().min();
        }
        Ok(stray.map(|number| Broken {
            group: self.groups + 1,
            number: u64::try_from(number).unwrap_or(0),
            finding: format!("number {number} is there, but no group counts it"),
        }))
    }

    fn look_ups(&self, ground: &Ground<'_>) -> rusqlite::Result<Option<String>> {
        if let Some(finding) = ground.names.finding.clone().or_else(|| ground.names.twice()) {
            return Ok(Some(finding));
        }
        let about: u64 =
            ground.conn.query_row("SELECT count(*) FROM about", [], |row| row.get(0))?;
        if self.subjects.is_some_and(|subjects| subjects != about) {
            return Ok(Some("the look-up of what entries are about has rows too many".to_owned()));
        }
        let said: String =
            ground.conn.query_row("PRAGMA integrity_check(1)", [], |row| row.get(0))?;
        Ok((said != "ok").then(|| format!("the look-ups do not agree with the rows: {said}")))
    }

    /// Turns what SQLite says about a damaged file into a finding at the next group.
    fn as_finding(
        &self,
        found: rusqlite::Result<Option<Broken>>,
    ) -> rusqlite::Result<Option<Broken>> {
        match found {
            Err(e) if is_damage(&e) => Ok(Some(Broken {
                group: self.groups + 1,
                number: self.last_number + 1,
                finding: format!("the file is not readable here: {e}"),
            })),
            other => other,
        }
    }
}

fn as_kept(number: u64) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

fn beside_the_chain(finding: String) -> Broken {
    Broken { group: 0, number: 0, finding }
}

impl<'c> Ground<'c> {
    fn survey(conn: &'c Connection) -> rusqlite::Result<Self> {
        // From one to the next; to list them by a scan would read every row.
        let mut next =
            conn.prepare("SELECT min(characteristic) FROM reading WHERE characteristic >= ?1")?;
        let mut characteristics = vec![];
        let mut from = Some(i64::MIN);
        while let Some(least) = from
            && let Some(id) = next.query_row([least], |row| row.get::<_, Option<i64>>(0))?
        {
            characteristics.push(id);
            from = id.checked_add(1);
        }
        Ok(Self { conn, names: Names::load(conn)?, characteristics })
    }
}

fn read_group(row: &Row<'_>) -> Option<KeptGroup> {
    let count = |place| integer(row, place).and_then(|n| u32::try_from(n).ok());
    let number = |place| integer(row, place).and_then(|n| u64::try_from(n).ok());
    let hash = |place| bytes(row, place).and_then(|b| <[u8; 32]>::try_from(b).ok()).map(Seal);
    Some(KeptGroup {
        closing: Closing {
            first_number: number(0)?,
            group: number(1)?,
            deed: bytes(row, 2)?.try_into().ok()?,
            closed_at: integer(row, 3)?,
            entries: count(4)?,
            readings: count(5)?,
            previous: hash(6)?,
        },
        seal: hash(7)?,
    })
}

impl KeptGroup {
    fn members(&self) -> u64 {
        u64::from(self.closing.entries) + u64::from(self.closing.readings)
    }

    fn last_number(&self) -> u64 {
        self.closing.first_number + self.members() - 1
    }

    /// Whether it can come after what was before it.
    fn follows(&self, group: u64, number: u64, previous: &Seal) -> Result<(), String> {
        let Closing { group: own, first_number, .. } = self.closing;
        if own > group {
            return Err(format!("group {group} is missing: the next one is {own}"));
        }
        if own < group {
            return Err(format!("group {own} stands where group {group} should"));
        }
        if first_number != number {
            return Err(format!("the group begins at {first_number}, not at {number}"));
        }
        if self.members() == 0 || self.members() > MEMBERS_MAX as u64 {
            return Err(format!("the group says it has {} members", self.members()));
        }
        if self.closing.previous != *previous {
            return Err("the seal it was built on is not the seal of the group before it: one of \
                        the two was replaced"
                .to_owned());
        }
        Ok(())
    }
}

/// What lies under each number of a span.
struct Slots {
    first: u64,
    last: u64,
    slots: Vec<Slot>,
}

impl Slots {
    fn new(first: u64, last: u64) -> Self {
        let length = usize::try_from(last - first + 1).expect("a span is counted in thousands");
        Self { first, last, slots: vec![Slot::Missing; length] }
    }

    fn put(&mut self, number: i64, found: Slot) {
        let place = u64::try_from(number).ok().and_then(|n| n.checked_sub(self.first));
        let slot = place.and_then(|p| usize::try_from(p).ok()).and_then(|p| self.slots.get_mut(p));
        // The query asked for this span's numbers only; anything else is no member of it.
        let Some(slot) = slot else { return };
        *slot = match slot {
            Slot::Missing => found,
            _ => Slot::Damaged("there are two entries or readings under this number".to_owned()),
        };
    }

    fn gather_entries(
        &mut self,
        ground: &Ground<'_>,
        counted: &mut Option<u64>,
    ) -> rusqlite::Result<()> {
        let mut statement = ground.conn.prepare_cached(
            "SELECT number, bytes, hash FROM entry WHERE number BETWEEN ?1 AND ?2 ORDER BY number",
        )?;
        let mut about = ground
            .conn
            .prepare_cached("SELECT count(*) FROM about WHERE subject = ?1 AND number = ?2")?;
        let mut rows = statement.query([self.first, self.last])?;
        while let Some(row) = rows.next()? {
            let number: i64 = row.get(0)?;
            let mut slot = match (bytes(row, 1), bytes(row, 2)) {
                (Some(kept), Some(hash)) => check_entry(number, kept, hash),
                _ => Slot::Damaged("the entry or its hash is not readable".to_owned()),
            };
            match bytes(row, 1).map(serde_json::from_slice::<Entry>) {
                Some(Ok(entry)) => {
                    for subject in subjects(&entry) {
                        *counted = counted.map(|n| n + 1);
                        let led: u64 =
                            about.query_row(params![subject, number], |row| row.get(0))?;
                        if led == 0 && matches!(slot, Slot::Entry(_)) {
                            slot = Slot::Damaged(format!("the look-up of {subject} misses it"));
                        }
                    }
                }
                _ => *counted = None,
            }
            self.put(number, slot);
        }
        Ok(())
    }

    fn gather_readings(&mut self, ground: &Ground<'_>) -> rusqlite::Result<()> {
        let stretches = self.stretches(ground.conn)?;
        let mut statement = ground.conn.prepare_cached(&format!(
            "SELECT {COLUMNS} FROM reading \
             WHERE characteristic = ?1 AND number BETWEEN ?2 AND ?3 ORDER BY number"
        ))?;
        for characteristic in &ground.characteristics {
            let mut rows = statement.query(params![characteristic, self.first, self.last])?;
            while let Some(row) = rows.next()? {
                let number: i64 = row.get(0)?;
                let slot = match KeptRow::read(row) {
                    Some(kept) => check_reading(&kept, ground, &stretches),
                    None => Slot::Damaged("the reading is not readable".to_owned()),
                };
                self.put(number, slot);
            }
        }
        Ok(())
    }

    fn stretches(&self, conn: &Connection) -> rusqlite::Result<Stretches> {
        conn.prepare_cached(
            "SELECT characteristic, block, gauge, earliest, latest FROM stretch \
             WHERE block BETWEEN ?1 AND ?2",
        )?
        .query_map([self.first >> BLOCK_BITS, self.last >> BLOCK_BITS], |row| {
            let which = (row.get(0)?, row.get(1)?, row.get(2)?);
            Ok((which, (row.get(3)?, row.get(4)?)))
        })?
        .collect()
    }

    /// The first number of the group that is not as it must be, or the group's seal.
    fn disagreement(&self, group: &KeptGroup) -> Option<(u64, String)> {
        let Closing { first_number, entries, .. } = group.closing;
        let mut digests = Vec::with_capacity(self.slots.len());
        for number in first_number..=group.last_number() {
            let is_entry = number < first_number + u64::from(entries);
            let place = usize::try_from(number - self.first).expect("inside the span");
            match (&self.slots[place], is_entry) {
                (Slot::Entry(digest), true) | (Slot::Reading(digest), false) => {
                    digests.push(digest);
                }
                (Slot::Damaged(finding), _) => return Some((number, finding.clone())),
                (Slot::Missing, true) => return Some((number, "the entry is missing".to_owned())),
                (Slot::Missing, false) => {
                    return Some((number, "the reading is missing".to_owned()));
                }
                (Slot::Reading(_), true) => {
                    return Some((number, "a reading stands where an entry should".to_owned()));
                }
                (Slot::Entry(_), false) => {
                    return Some((number, "an entry stands where a reading should".to_owned()));
                }
            }
        }
        let again = seal(&group.closing, digests);
        (again != group.seal).then(|| {
            let finding = "the group's seal does not agree with what is in it".to_owned();
            (first_number, finding)
        })
    }
}

/// Earliest and latest time by characteristic, block and gauge.
type Stretches = HashMap<(i64, i64, i64), (i64, i64)>;

fn check_entry(number: i64, kept: &[u8], hash: &[u8]) -> Slot {
    let digest = entry_digest(u64::try_from(number).unwrap_or(0), kept);
    if digest.0 == hash {
        Slot::Entry(digest)
    } else {
        Slot::Damaged("the entry does not agree with its hash".to_owned())
    }
}

fn check_reading(kept: &KeptRow<'_>, ground: &Ground<'_>, stretches: &Stretches) -> Slot {
    let opened = match kept.open(&ground.names) {
        Ok(opened) => opened,
        Err(finding) => return Slot::Damaged(finding),
    };
    let which = (kept.characteristic, kept.number >> BLOCK_BITS, opened.context.gauge);
    let shown = stretches
        .get(&which)
        .is_some_and(|(earliest, latest)| (*earliest..=*latest).contains(&kept.at));
    if shown {
        Slot::Reading(opened.digest)
    } else {
        Slot::Damaged("the look-up of times and gauges misses it".to_owned())
    }
}
