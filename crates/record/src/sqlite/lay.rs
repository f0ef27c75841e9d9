//! Opening the file: the lock, the format, the tables as this program lays them.

use std::fs::{File, OpenOptions, TryLockError};
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags};

use super::{outside, refused};
use crate::store::StoreError;

/// The newest format of the tables this program knows; kept in the file's `user_version`.
pub(super) const FORMAT: u32 = 1;
/// "Bedp" in ASCII: tells a record from any other SQLite file.
const APPLICATION_ID: i32 = 0x4265_6470;
const MIGRATIONS: [&str; FORMAT as usize] = [include_str!("../../migrations/sqlite/0001.sql")];
/// How long to wait for a lock inside the database: recovery after a sudden end takes moments.
const PATIENCE: Duration = Duration::from_secs(10);

/// Takes the advisory lock of the record at `path`, held until the file is dropped.
pub(super) fn lock(path: &Path) -> Result<File, StoreError> {
    // Before a lock is left beside something that can be no record.
    if path.is_dir() {
        return Err(outside(path, "this is a folder; name a file in it"));
    }
    let beside = beside(path, ".lock");
    let refuse = |e: std::io::Error| outside(&beside, &e.to_string());
    let file = OpenOptions::new()
        .create(true)
        .write(true)
        .truncate(false)
        .open(&beside)
        .map_err(refuse)?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => {
            Err(StoreError::InUse { path: path.display().to_string() })
        }
        Err(TryLockError::Error(e)) => Err(refuse(e)),
    }
}

/// `path` with `ending` added to the file's name.
pub(super) fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    PathBuf::from(name)
}

/// Opens the record for writing; lays the tables if the file is new.
pub(super) fn writer(path: &Path) -> Result<Connection, StoreError> {
    let fresh = !path.exists();
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
        | OpenFlags::SQLITE_OPEN_CREATE
        | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut conn = Connection::open_with_flags(path, flags).map_err(|e| refused(path, e))?;
    let laid = (|| {
        conn.busy_timeout(PATIENCE)?;
        // A page size holds only if it is set before the first table; 8 kB keeps a characteristic's
        // run of readings in few pages.
        conn.pragma_update(None, "page_size", 8192)?;
        conn.pragma_update(None, "cache_size", -65_536)?;
        conn.pragma_update(None, "trusted_schema", false)?;
        conn.pragma_update(None, "cell_size_check", true)
    })();
    laid.map_err(|e| refused(path, e))?;
    if is_blank(&conn).map_err(|e| refused(path, e))? {
        lay_tables(&mut conn).map_err(|e| refused(path, e))?;
    }
    check(&conn, path)?;
    // FULL, since an acknowledged reading must outlive a power cut, not only a crash. The longer
    // log spares writing the same pages again and again in bulk.
    let mode: String = (|| {
        conn.pragma_update(None, "synchronous", "FULL")?;
        conn.pragma_update(None, "wal_autocheckpoint", 4096)?;
        conn.pragma_update_and_check(None, "journal_mode", "WAL", |row| row.get(0))
    })()
    .map_err(|e| refused(path, e))?;
    if mode != "wal" {
        return Err(outside(path, "this disk does not take a write-ahead log; use a local one"));
    }
    conn.set_prepared_statement_cache_capacity(32);
    if fresh {
        make_name_durable(path)?;
    }
    Ok(conn)
}

/// Opens a read-only connection without looking at the format.
pub(super) fn reader(path: &Path) -> Result<Connection, StoreError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let conn = Connection::open_with_flags(path, flags).map_err(|e| refused(path, e))?;
    (|| {
        conn.busy_timeout(PATIENCE)?;
        conn.pragma_update(None, "cache_size", -16_384)?;
        conn.pragma_update(None, "trusted_schema", false)?;
        conn.pragma_update(None, "cell_size_check", true)
    })()
    .map_err(|e| refused(path, e))?;
    conn.set_prepared_statement_cache_capacity(32);
    Ok(conn)
}

/// Refuses a file of a newer format, of another program, or with other tables.
pub(super) fn check(conn: &Connection, path: &Path) -> Result<(), StoreError> {
    let (id, format) = marks(conn).map_err(|e| refused(path, e))?;
    if id != APPLICATION_ID {
        return Err(outside(path, "this is a database, but no record of this program"));
    }
    let found = u32::try_from(format).unwrap_or(0);
    if found > FORMAT {
        return Err(StoreError::Newer { found, known: FORMAT });
    }
    match tables_differ(conn).map_err(|e| refused(path, e))? {
        None if found == FORMAT => Ok(()),
        None => Err(damaged(format!("its format is given as {format}"))),
        Some(finding) => Err(damaged(finding)),
    }
}

/// How the tables differ from those this program lays, if they do: a trigger or a view slipped in
/// could change what is read while every row agrees with its seal.
pub(super) fn tables_differ(conn: &Connection) -> rusqlite::Result<Option<String>> {
    let plain = Connection::open_in_memory()?;
    for sql in MIGRATIONS {
        plain.execute_batch(sql)?;
    }
    let (wanted, found) = (tables(&plain)?, tables(conn)?);
    let odd = |a: &[(String, String)], b: &[(String, String)]| {
        a.iter().find(|row| !b.contains(row)).map(|(name, _)| name.clone())
    };
    Ok(odd(&found, &wanted)
        .map(|name| format!("the table or index \"{name}\" is not as this program lays it"))
        .or_else(|| odd(&wanted, &found).map(|name| format!("\"{name}\" is missing"))))
}

/// Name and text of every table, index, view and trigger. The statistics that SQLite's ANALYZE
/// leaves are no part of the record.
fn tables(conn: &Connection) -> rusqlite::Result<Vec<(String, String)>> {
    conn.prepare(
        "SELECT name, sql FROM sqlite_schema \
         WHERE sql IS NOT NULL AND name NOT IN ('sqlite_stat1', 'sqlite_stat4') ORDER BY name",
    )?
    .query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?
    .collect()
}

fn marks(conn: &Connection) -> rusqlite::Result<(i32, i32)> {
    let id = conn.pragma_query_value(None, "application_id", |row| row.get(0))?;
    Ok((id, conn.pragma_query_value(None, "user_version", |row| row.get(0))?))
}

fn is_blank(conn: &Connection) -> rusqlite::Result<bool> {
    let tables: i64 = conn.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    Ok(tables == 0 && marks(conn)? == (0, 0))
}

fn lay_tables(conn: &mut Connection) -> rusqlite::Result<()> {
    let tx = conn.transaction()?;
    for sql in MIGRATIONS {
        tx.execute_batch(sql)?;
    }
    tx.pragma_update(None, "application_id", APPLICATION_ID)?;
    tx.pragma_update(None, "user_version", FORMAT)?;
    tx.commit()
}

/// A new file's name is durable only once its folder is.
pub(super) fn make_name_durable(path: &Path) -> Result<(), StoreError> {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    // Other systems cannot open a folder as a file, and need not.
    if cfg!(unix) {
        File::open(folder)
            .and_then(|folder| folder.sync_all())
            .map_err(|e| outside(folder, &e.to_string()))?;
    }
    Ok(())
}

fn damaged(finding: String) -> StoreError {
    StoreError::Damaged { number: 0, finding }
}
