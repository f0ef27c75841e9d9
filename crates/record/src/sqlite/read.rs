//! Reading back: every entry and reading is compared with its kept hash before it is shown.
//!
//! The outer error is SQLite's; the inner one names the member that is damaged.

use std::collections::HashSet;

use rusqlite::{Connection, OptionalExtension as _, Params, params};

use super::names::{COLUMNS, KeptRow, Names, bytes, integer, name_id};
use super::{BLOCK_BITS, read_seal};
use crate::chain::entry_digest;
use crate::entry::{Entry, KeptEntry, Subject};
use crate::reading::{KeptReading, Millis, Name};
use crate::store::{Seal, StoreError, Wanted};

/// Rows, or the first that is damaged.
type Found<T> = rusqlite::Result<Result<Vec<T>, StoreError>>;

pub(super) fn entries(conn: &Connection, from: u64, limit: usize) -> Found<KeptEntry> {
    let Ok(from) = i64::try_from(from) else { return Ok(Ok(vec![])) };
    let limit = i64::try_from(limit).unwrap_or(i64::MAX);
    collect_entries(
        conn,
        "SELECT number, bytes, hash FROM entry WHERE number >= ?1 ORDER BY number LIMIT ?2",
        params![from, limit],
    )
}

pub(super) fn about(conn: &Connection, subject: &Subject) -> Found<KeptEntry> {
    let found = collect_entries(
        conn,
        "SELECT entry.number, bytes, hash FROM about CROSS JOIN entry USING (number) \
         WHERE subject = ?1 ORDER BY about.number",
        params![subject.key()],
    )?;
    // The look-up is not sealed; what it points to must be about the subject by its own words.
    Ok(found.map(|mut entries| {
        entries.retain(|kept| kept.entry.event.subjects().contains(subject));
        entries
    }))
}

fn collect_entries(conn: &Connection, sql: &str, given: impl Params) -> Found<KeptEntry> {
    let mut statement = conn.prepare_cached(sql)?;
    let mut rows = statement.query(given)?;
    let mut entries = vec![];
    while let Some(row) = rows.next()? {
        let number = integer(row, 0).and_then(|n| u64::try_from(n).ok()).unwrap_or(0);
        match open_entry(number, bytes(row, 1), bytes(row, 2)) {
            Ok(entry) => entries.push(KeptEntry { number, entry }),
            Err(finding) => return Ok(Err(StoreError::Damaged { number, finding })),
        }
    }
    Ok(Ok(entries))
}

fn open_entry(number: u64, kept: Option<&[u8]>, hash: Option<&[u8]>) -> Result<Entry, String> {
    let (Some(kept), Some(hash)) = (kept, hash) else {
        return Err("the entry or its hash is not readable".to_owned());
    };
    if entry_digest(number, kept).0 != hash {
        return Err("the entry does not agree with its hash".to_owned());
    }
    serde_json::from_slice(kept).map_err(|e| {
        format!("the entry agrees with its hash, but this program cannot read it: {e}")
    })
}

pub(super) fn readings(
    conn: &Connection,
    names: &Names,
    wanted: &Wanted<'_>,
) -> Found<KeptReading> {
    match *wanted {
        Wanted::Characteristic { name, from, to } => {
            let Some(id) = name_id(conn, name)? else { return Ok(Ok(vec![])) };
            let runs = runs(conn, "characteristic = ?1", id, from, to)?;
            in_runs(conn, names, &runs, from, to, |_| true)
        }
        Wanted::Newest { name, position, count } => newest(conn, names, name, position, count),
        Wanted::Piece(piece) => {
            let sql = format!("SELECT {COLUMNS} FROM reading WHERE piece = ?1");
            Ok(collect(conn, names, &sql, params![piece], |_| true)?.map(by_number))
        }
        Wanted::Gauge { gauge, from, to } => {
            let Some(id) = name_id(conn, gauge)? else { return Ok(Ok(vec![])) };
            let runs = runs(conn, "gauge = ?1", id, from, to)?;
            let with_gauge =
                |row: &KeptRow<'_>| names.context(row.context).is_none_or(|kept| kept.gauge == id);
            Ok(in_runs(conn, names, &runs, from, to, with_gauge)?.map(by_number))
        }
        Wanted::Numbers(numbers) => by_numbers(conn, names, numbers),
    }
}

fn by_number(mut readings: Vec<KeptReading>) -> Vec<KeptReading> {
    readings.sort_unstable_by_key(|kept| kept.number);
    readings
}

fn newest(
    conn: &Connection,
    names: &Names,
    name: &str,
    position: &str,
    count: usize,
) -> Found<KeptReading> {
    let Some(id) = name_id(conn, name)? else { return Ok(Ok(vec![])) };
    let count = i64::try_from(count).unwrap_or(i64::MAX);
    let found = if position.is_empty() {
        let sql = format!(
            "SELECT {COLUMNS} FROM reading WHERE characteristic = ?1 ORDER BY number DESC LIMIT ?2"
        );
        collect(conn, names, &sql, params![id, count], |_| true)?
    } else {
        let Some(position) = name_id(conn, position)? else { return Ok(Ok(vec![])) };
        let sql = format!(
            "SELECT {COLUMNS} FROM reading WHERE characteristic = ?1 AND position = ?3 \
             ORDER BY number DESC LIMIT ?2"
        );
        collect(conn, names, &sql, params![id, count, position], |_| true)?
    };
    Ok(found.map(by_number))
}

/// Numbers of one characteristic that lie together in the file.
struct Run {
    characteristic: i64,
    first: i64,
    last: i64,
}

/// Where readings taken in `from..=to` can be, by the look-up of times; neighbouring blocks joined.
fn runs(
    conn: &Connection,
    which: &str,
    id: i64,
    from: Millis,
    to: Millis,
) -> rusqlite::Result<Vec<Run>> {
    let mut statement = conn.prepare_cached(&format!(
        "SELECT DISTINCT characteristic, block FROM stretch \
         WHERE {which} AND latest >= ?2 AND earliest <= ?3 ORDER BY characteristic, block"
    ))?;
    let mut rows = statement.query(params![id, from, to])?;
    let mut runs: Vec<Run> = vec![];
    while let Some(row) = rows.next()? {
        let (characteristic, block): (i64, i64) = (row.get(0)?, row.get(1)?);
        let first = block.saturating_mul(1 << BLOCK_BITS);
        let last = first.saturating_add((1 << BLOCK_BITS) - 1);
        match runs.last_mut() {
            Some(run) if run.characteristic == characteristic && run.last + 1 == first => {
                run.last = last;
            }
            _ => runs.push(Run { characteristic, first, last }),
        }
    }
    Ok(runs)
}

fn in_runs(
    conn: &Connection,
    names: &Names,
    runs: &[Run],
    from: Millis,
    to: Millis,
    takes: impl Fn(&KeptRow<'_>) -> bool,
) -> Found<KeptReading> {
    let sql = format!(
        "SELECT {COLUMNS} FROM reading WHERE characteristic = ?1 AND number BETWEEN ?2 AND ?3 \
         ORDER BY number"
    );
    let mut readings = vec![];
    for Run { characteristic, first, last } in runs {
        let in_time = |row: &KeptRow<'_>| (from..=to).contains(&row.at) && takes(row);
        match collect(conn, names, &sql, params![characteristic, first, last], in_time)? {
            Ok(more) if readings.is_empty() => readings = more,
            Ok(more) => readings.extend(more),
            Err(damaged) => return Ok(Err(damaged)),
        }
    }
    Ok(Ok(readings))
}

/// A number does not say its characteristic; the look-up of blocks says which can have it.
fn by_numbers(conn: &Connection, names: &Names, numbers: &[u64]) -> Found<KeptReading> {
    let mut wanted: Vec<i64> = numbers.iter().filter_map(|n| i64::try_from(*n).ok()).collect();
    wanted.sort_unstable();
    wanted.dedup();
    let mut measured = conn.prepare_cached(
        "SELECT DISTINCT characteristic FROM stretch WHERE block = ?1 ORDER BY characteristic",
    )?;
    let sql = format!("SELECT {COLUMNS} FROM reading WHERE characteristic = ?1 AND number = ?2");
    let mut readings = vec![];
    for block in wanted.chunk_by(|a, b| a >> BLOCK_BITS == b >> BLOCK_BITS) {
        let mut missing: HashSet<i64> = block.iter().copied().collect();
        let candidates: Vec<i64> = measured
            .query_map([block[0] >> BLOCK_BITS], |row| row.get(0))?
            .collect::<rusqlite::Result<_>>()?;
        for characteristic in candidates {
            for number in block {
                if !missing.contains(number) {
                    continue;
                }
                match collect(conn, names, &sql, params![characteristic, number], |_| true)? {
                    Ok(found) if found.is_empty() => {}
                    Ok(found) => {
                        missing.remove(number);
                        readings.extend(found);
                    }
                    Err(damaged) => return Ok(Err(damaged)),
                }
            }
        }
    }
    Ok(Ok(by_number(readings)))
}

fn collect(
    conn: &Connection,
    names: &Names,
    sql: &str,
    given: impl Params,
    takes: impl Fn(&KeptRow<'_>) -> bool,
) -> Found<KeptReading> {
    let mut statement = conn.prepare_cached(sql)?;
    let mut rows = statement.query(given)?;
    let mut readings = vec![];
    let mut piece = Name::from("");
    while let Some(row) = rows.next()? {
        let Some(kept) = KeptRow::read(row) else {
            let number = integer(row, 0).and_then(|n| u64::try_from(n).ok()).unwrap_or(0);
            let finding = "the reading is not readable".to_owned();
            return Ok(Err(StoreError::Damaged { number, finding }));
        };
        match kept.open(names) {
            Ok(opened) => {
                if takes(&kept) {
                    // Neighbouring readings are often of one piece.
                    if *piece != *kept.piece {
                        piece = kept.piece.into();
                    }
                    readings.push(opened.reading(&kept, piece.clone()));
                }
            }
            Err(finding) => {
                let number = u64::try_from(kept.number).unwrap_or(0);
                return Ok(Err(StoreError::Damaged { number, finding }));
            }
        }
    }
    Ok(Ok(readings))
}

pub(super) fn seal_of(conn: &Connection, number: u64) -> rusqlite::Result<Option<(u64, Seal)>> {
    let Ok(number) = i64::try_from(number) else { return Ok(None) };
    conn.prepare_cached(
        "SELECT number, seal FROM (SELECT * FROM \"group\" WHERE first_number <= ?1 \
         ORDER BY first_number DESC LIMIT 1) WHERE ?1 < first_number + entries + readings",
    )?
    .query_row([number], |row| Ok((row.get(0)?, read_seal(row, 1)?)))
    .optional()
}
