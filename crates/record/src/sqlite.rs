//! The record in one SQLite file: the default store.
//!
//! One thread writes, many connections read. The file is in write-ahead mode with every commit
//! flushed to the disk; a second process that wants to write is refused by a lock beside the file.
//! Start at [`SqliteStore::open`]. The tables are in `migrations/sqlite/`.
//!
//! Keep the file on a disk of the same machine: neither the lock nor write-ahead mode holds on a
//! network share. Copy it with [`crate::store::Store::backup`], never while it is in use with a
//! copying program.

mod lay;
mod names;
mod read;
mod verify;
mod write;

use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError, RwLock};

use rusqlite::{Connection, ErrorCode, Row};

use self::names::Names;
use self::write::Writing;
use crate::entry::{KeptEntry, Subject};
use crate::packed::Packed;
use crate::reading::KeptReading;
use crate::store::{Appended, Broken, Group, Head, Seal, Store, StoreError, Verified, Wanted};

/// A stretch of look-up covers 2^14 numbers.
const BLOCK_BITS: u32 = 14;
/// Connections kept for reading; more are opened when needed and closed after.
const READERS_KEPT: usize = 4;

/// A record kept in an SQLite file.
pub struct SqliteStore {
    // Dropped in this order: the writer closes last and so can empty the write-ahead log; the lock
    // goes only after it.
    readers: Mutex<Vec<Connection>>,
    names: RwLock<Arc<Names>>,
    writing: Option<Writing>,
    path: PathBuf,
    _lock: Option<File>,
}

/// What was found on opening; a start-up says it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Opened {
    /// Groups, last number and last seal.
    pub head: Head,
    /// True if there was no record and an empty one was laid.
    pub new: bool,
    /// True if the process before did not close the record; nothing acknowledged was lost.
    pub ended_suddenly: bool,
    /// What is wrong with the last group, if anything. Only the last one is looked at here;
    /// [`Store::verify`] looks at all.
    pub broken: Option<Broken>,
}

impl SqliteStore {
    /// Opens the record at `path` for reading and writing; lays an empty one if there is none.
    ///
    /// A damaged last group is told in [`Opened`], not refused: what is there can still be read,
    /// and it is for the caller to append no more.
    ///
    /// # Errors
    /// [`StoreError::InUse`] if another process, or another store in this one, writes to it;
    /// [`StoreError::Newer`]; [`StoreError::Damaged`] if it is no longer a database or its tables
    /// were altered; [`StoreError::Outside`] for another program's database and what the disk
    /// refuses.
    pub fn open(path: &Path) -> Result<(Self, Opened), StoreError> {
        let lock = lay::lock(path)?;
        let new = !path.exists();
        let ended_suddenly =
            !new && lay::beside(path, "-wal").metadata().is_ok_and(|wal| wal.len() > 0);
        let conn = lay::writer(path)?;
        let writing = Writing::start(conn, path)?;
        let store = Self::over(path, Some(writing), Some(lock));
        let opened = store.found_on_opening(new, ended_suddenly)?;
        Ok((store, opened))
    }

    /// Opens the record at `path` for reading only, also while another process serves it.
    ///
    /// # Errors
    /// As [`SqliteStore::open`], but never [`StoreError::InUse`]; [`StoreError::Outside`] if there
    /// is no such file.
    pub fn open_read_only(path: &Path) -> Result<(Self, Opened), StoreError> {
        let conn = lay::reader(path)?;
        lay::check(&conn, path)?;
        let store = Self::over(path, None, None);
        store.give_back(conn);
        let opened = store.found_on_opening(false, false)?;
        Ok((store, opened))
    }

    fn over(path: &Path, writing: Option<Writing>, lock: Option<File>) -> Self {
        Self {
            readers: Mutex::default(),
            names: RwLock::default(),
            writing,
            path: path.to_owned(),
            _lock: lock,
        }
    }

    fn found_on_opening(&self, new: bool, ended_suddenly: bool) -> Result<Opened, StoreError> {
        let head = self.head()?;
        let broken = self.reading(verify::last_group)?;
        Ok(Opened { head, new, ended_suddenly, broken })
    }

    /// Lends a read-only connection to `read`.
    fn reading<T>(
        &self,
        read: impl FnOnce(&mut Connection) -> rusqlite::Result<T>,
    ) -> Result<T, StoreError> {
        let idle = self.readers.lock().unwrap_or_else(PoisonError::into_inner).pop();
        let mut conn = idle.map_or_else(|| lay::reader(&self.path), Ok)?;
        let answer = read(&mut conn).map_err(|e| refused(&self.path, e));
        self.give_back(conn);
        answer
    }

    fn give_back(&self, conn: Connection) {
        let mut idle = self.readers.lock().unwrap_or_else(PoisonError::into_inner);
        if idle.len() < READERS_KEPT {
            idle.push(conn);
        }
    }

    /// Hands groups to the writer.
    fn write(
        &self,
        groups: Vec<Packed>,
        believed: Option<Seal>,
    ) -> Result<Vec<Appended>, StoreError> {
        match &self.writing {
            Some(writing) => writing.append(groups, believed),
            None => Err(outside(&self.path, "it was opened for reading only")),
        }
    }

    /// Names as far as the file has them, seen through `conn`.
    fn names(&self, conn: &Connection) -> rusqlite::Result<Arc<Names>> {
        let known = self.names.read().unwrap_or_else(PoisonError::into_inner).clone();
        if !known.is_behind(conn)? {
            return Ok(known);
        }
        let mut more = Names::clone(&known);
        more.extend(conn)?;
        let more = Arc::new(more);
        *self.names.write().unwrap_or_else(PoisonError::into_inner) = more.clone();
        Ok(more)
    }
}

impl std::fmt::Debug for SqliteStore {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("SqliteStore").field("path", &self.path).finish_non_exhaustive()
    }
}

impl std::fmt::Display for Opened {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.new {
            return f.write_str("an empty record was laid");
        }
        let Head { groups, last_number, .. } = self.head;
        write!(f, "the record holds {groups} groups, the last number is {last_number}; ")?;
        if self.ended_suddenly {
            f.write_str("the program before ended suddenly, nothing acknowledged is lost; ")?;
        }
        match &self.broken {
            None => f.write_str("the last seal agrees"),
            Some(broken) => write!(f, "damaged at number {}: {}", broken.number, broken.finding),
        }
    }
}

impl Store for SqliteStore {
    fn head(&self) -> Result<Head, StoreError> {
        self.reading(|conn| read_head(conn))
    }

    fn append(&self, group: &Group, believed: Option<Seal>) -> Result<Appended, StoreError> {
        let mut answers = self.write(vec![Packed::of(group.clone())?], believed)?;
        Ok(answers.pop().expect("one answer a group"))
    }

    fn append_all(&self, groups: Vec<Group>) -> Result<Vec<Appended>, StoreError> {
        self.write(Packed::all(groups)?, None)
    }

    fn entries(&self, from: u64, limit: usize) -> Result<Vec<KeptEntry>, StoreError> {
        self.reading(|conn| read::entries(conn, from, limit))?
    }

    fn about(&self, subject: &Subject) -> Result<Vec<KeptEntry>, StoreError> {
        self.reading(|conn| read::about(conn, subject))?
    }

    fn readings(&self, wanted: &Wanted<'_>) -> Result<Vec<KeptReading>, StoreError> {
        self.reading(|conn| {
            let tx = conn.transaction()?;
            let names = self.names(&tx)?;
            read::readings(&tx, &names, wanted)
        })?
    }

    fn seal_of(&self, number: u64) -> Result<Option<(u64, Seal)>, StoreError> {
        self.reading(|conn| read::seal_of(conn, number))
    }

    fn verify(&self, progress: &mut dyn FnMut(u64, u64)) -> Result<Verified, StoreError> {
        self.reading(|conn| verify::verify(conn, progress))
    }

    fn backup(&self, to: &Path) -> Result<Head, StoreError> {
        if to.exists() {
            return Err(outside(to, "there is a file already; name one that does not exist"));
        }
        // Under another name until it is whole, so that half a copy is never taken for one.
        let partial = lay::beside(to, ".partial");
        let copied = self.copy(&partial).and_then(|head| {
            std::fs::rename(&partial, to).map_err(|e| outside(to, &e.to_string()))?;
            lay::make_name_durable(to)?;
            Ok(head)
        });
        if copied.is_err() {
            // What is left of the attempt; the refusal itself matters more than this one.
            let _ = std::fs::remove_file(&partial);
        }
        copied
    }
}

impl SqliteStore {
    /// One step, so that it is one moment of the record; writers go on beside it.
    fn copy(&self, partial: &Path) -> Result<Head, StoreError> {
        let _ = std::fs::remove_file(partial);
        let mut copy = Connection::open(partial).map_err(|e| refused(partial, e))?;
        self.reading(|conn| {
            let backup = rusqlite::backup::Backup::new(conn, &mut copy)?;
            match backup.step(-1)? {
                rusqlite::backup::StepResult::Done => Ok(()),
                _ => Err(rusqlite::Error::SqliteFailure(
                    rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_BUSY),
                    Some("the record was locked while it was being copied".to_owned()),
                )),
            }
        })?;
        // Without a write-ahead log the copy is one file, readable from a disk that is read-only.
        copy.pragma_update(None, "journal_mode", "DELETE")
            .and_then(|()| read_head(&copy))
            .map_err(|e| refused(partial, e))
    }
}

/// The end of the chain as it is kept.
fn read_head(conn: &Connection) -> rusqlite::Result<Head> {
    let mut last = conn.prepare_cached(
        "SELECT number, first_number + entries + readings - 1, seal FROM \"group\" \
         ORDER BY first_number DESC LIMIT 1",
    )?;
    let mut rows = last.query([])?;
    match rows.next()? {
        None => Ok(Head { groups: 0, last_number: 0, seal: Seal::FIRST }),
        Some(row) => {
            Ok(Head { groups: row.get(0)?, last_number: row.get(1)?, seal: read_seal(row, 2)? })
        }
    }
}

fn read_seal(row: &Row<'_>, place: usize) -> rusqlite::Result<Seal> {
    row.get(place).map(Seal)
}

/// The file or the disk said no.
fn outside(path: &Path, cause: &str) -> StoreError {
    StoreError::Outside { path: path.display().to_string(), cause: cause.to_owned() }
}

/// What SQLite said, sorted into what lies outside and what is damage to the file.
fn refused(path: &Path, error: rusqlite::Error) -> StoreError {
    if is_damage(&error) {
        StoreError::Damaged { number: 0, finding: error.to_string() }
    } else {
        outside(path, &error.to_string())
    }
}

/// Whether the error speaks of what is in the file, not of the disk, the memory or a lock.
fn is_damage(error: &rusqlite::Error) -> bool {
    match error {
        rusqlite::Error::SqliteFailure(e, _) => matches!(
            e.code,
            ErrorCode::DatabaseCorrupt
                | ErrorCode::NotADatabase
                | ErrorCode::Unknown
                | ErrorCode::ConstraintViolation
        ),
        rusqlite::Error::InvalidPath(_) => false,
        _ => true,
    }
}
