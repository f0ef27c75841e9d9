//! Readings in: typed, posted, or from a file. Each row is taken or refused with its reason; what
//! is in the record already is not added again.

use std::collections::{BTreeMap, HashMap, HashSet, VecDeque};
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use bedplate_record::entry::Event;
use bedplate_record::reading::{KeptReading, Millis, Name, Reading};
use bedplate_record::store::{DeedId, Wanted};
use serde::{Deserialize, Serialize};

use crate::judge::{Judged, judged};
use crate::plan::Plan;
use crate::who::{Doing, allowed};
use crate::wire::Word;
use crate::works::{Deed, Works, WorksError};
use crate::worksheet::check::{Intake, Raw};
use crate::worksheet::mapping::Mapping;
use crate::worksheet::{Defaults, RefusedRow, Row, read_choosing};

/// How many readings go into one group.
const GROUP_READINGS_MAX: usize = 5_000;

/// How many of the readings taken are given back judged.
const JUDGED_MAX: usize = 50;

/// The longest name of a source, in characters; of a longer one the end is kept.
const SOURCE_CHARS_MAX: usize = 120;

/// Where mappings are remembered, in the works' folder.
const MAPPINGS_FILE: &str = "mappings.json";

/// A reading as it is typed or posted.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NewReading {
    /// Characteristic: `block.bore`.
    pub characteristic: String,
    /// The piece's number.
    pub piece: String,
    /// Position, or empty.
    #[serde(default)]
    pub position: String,
    /// Value: `68.0087 mm`; without a unit it is in the characteristic's.
    pub value: String,
    /// When, ISO 8601; now if not given.
    #[serde(default)]
    pub at: Option<String>,
    /// Gauge; the characteristic's own if not given.
    #[serde(default)]
    pub gauge: Option<String>,
    /// Machine.
    #[serde(default)]
    pub machine: Option<String>,
    /// Spindle.
    #[serde(default)]
    pub spindle: Option<String>,
    /// Tool.
    #[serde(default)]
    pub tool: Option<String>,
}

/// What became of the rows.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Receipt {
    /// Rows taken.
    pub taken: usize,
    /// Rows that were in the record already.
    pub already: usize,
    /// Readings added; a row of a sheet with one piece a row holds several.
    pub readings: usize,
    /// Rows refused; for typed and posted readings, lines count from 1 in their order.
    pub refused: Vec<RefusedRow>,
    /// The number of the first reading added, if any was.
    pub first_number: Option<u64>,
    /// The last readings added, 50 at the most, judged.
    pub judged: Vec<Judged>,
    /// How many of the readings added were accepted.
    pub accepted: usize,
    /// How many were rejected.
    pub rejected: usize,
    /// How many were too close to call.
    pub cannot_tell: usize,
    /// How many have nothing to be judged by.
    pub not_judged: usize,
    /// What the columns of the file meant.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mapping: Option<Mapping>,
}

impl Works {
    /// Takes readings that were typed or posted, in the name of the deed's person.
    ///
    /// A reading that is in the record already is not added again: the same piece, characteristic,
    /// position and value, and the same time if the row gives one. Without a time, a withdrawn
    /// reading does not count: whoever measures anew may find the same value.
    ///
    /// # Errors
    /// [`WorksError::UnknownPerson`], [`WorksError::NotAllowed`], [`WorksError::Store`].
    pub fn receive(
        &self,
        deed: &Deed,
        rows: Vec<NewReading>,
        source: &str,
    ) -> Result<Receipt, WorksError> {
        let plan = self.plan();
        allowed(&plan, &deed.by, Doing::Gauging)?;
        let defaults = settled(&Defaults::default(), &plan, deed, source);
        let mut intake = Intake::new(&plan, &defaults);
        let withdrawn = Withdrawn::MayComeAgain;
        let mut receiver = Receiver::new(self, &plan, deed, withdrawn, rows.len());
        for (line, row) in (1..).zip(&rows) {
            let row = match intake.check(&raw_of(row)) {
                Ok(reading) => {
                    let timed = row.at.as_ref().is_some_and(|at| !at.trim().is_empty());
                    Row::Taken { line, readings: vec![reading], timed }
                }
                Err(refusal) => Row::Refused(RefusedRow {
                    line,
                    column: None,
                    reason: refusal.reason,
                    text: text_of(row),
                }),
            };
            receiver.take(row)?;
        }
        receiver.flush(None)?;
        Ok(receiver.receipt)
    }

    /// Reads a CSV file of readings into the record. The same file read again adds nothing. What
    /// its columns mean is remembered by their headings, and used when such a file comes again.
    ///
    /// `defaults` holds where a row is silent; its source, edition and present time are set here,
    /// and its person, if there is none, is the deed's.
    ///
    /// # Errors
    /// [`WorksError::UnknownPerson`], [`WorksError::NotAllowed`], [`WorksError::Store`];
    /// [`WorksError::Refused`] if the file as a whole cannot be read, with the reason;
    /// [`WorksError::File`] if the remembered mappings cannot be read or written. If the stream
    /// breaks, what was read before is in the record, and reading it again adds the rest.
    pub fn import(
        &self,
        deed: &Deed,
        name: &str,
        input: impl Read,
        mapping: Option<&Mapping>,
        defaults: &Defaults,
    ) -> Result<Receipt, WorksError> {
        let plan = self.plan();
        allowed(&plan, &deed.by, Doing::Gauging)?;
        let defaults = settled(defaults, &plan, deed, name);
        let mut remembered = Mappings::read(self.folder())?;
        let mut hashed = Hashed { input, hasher: blake3::Hasher::new() };
        let mut receiver = Receiver::new(self, &plan, deed, Withdrawn::StaysWithdrawn, usize::MAX);
        let mut failed = None;
        let read = read_choosing(
            &mut hashed,
            &plan,
            &mut |headings| mapping.cloned().or_else(|| remembered.mapping(&plan, headings)),
            &defaults,
            &mut |row| {
                if failed.is_none() {
                    failed = receiver.take(row).err();
                }
            },
        );
        if let Some(error) = failed {
            return Err(error);
        }
        let end = read.map_err(|fault| WorksError::refused(name, fault.to_string()))?;
        let content = hashed.hasher.finalize().to_hex().to_string();
        receiver.flush(Some((defaults.source, content)))?;
        remembered.remember(&end.mapping)?;
        receiver.receipt.mapping = Some(end.mapping);
        Ok(receiver.receipt)
    }
}

fn settled(defaults: &Defaults, plan: &Plan, deed: &Deed, source: &str) -> Defaults {
    let n_chars = source.chars().count();
    let source: String = source
        .chars()
        .skip(n_chars.saturating_sub(SOURCE_CHARS_MAX))
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    Defaults {
        person: defaults.person.clone().or_else(|| Some(deed.by.clone())),
        source,
        edition: plan.edition.clone(),
        now: deed.at,
        ..defaults.clone()
    }
}

fn raw_of(row: &NewReading) -> Raw<'_> {
    Raw {
        characteristic: &row.characteristic,
        piece: &row.piece,
        position: &row.position,
        value: &row.value,
        at: row.at.as_deref().unwrap_or(""),
        gauge: row.gauge.as_deref().unwrap_or(""),
        machine: row.machine.as_deref().unwrap_or(""),
        spindle: row.spindle.as_deref().unwrap_or(""),
        tool: row.tool.as_deref().unwrap_or(""),
        ..Raw::default()
    }
}

fn text_of(row: &NewReading) -> String {
    let text = format!("{} {} {} {}", row.piece, row.characteristic, row.position, row.value);
    text.chars().take(200).collect()
}

/// A stream whose bytes are hashed as they pass.
struct Hashed<R> {
    input: R,
    hasher: blake3::Hasher,
}

impl<R: Read> Read for Hashed<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let n = self.input.read(buffer)?;
        self.hasher.update(&buffer[..n]);
        Ok(n)
    }
}

/// Whether a withdrawn reading that comes again without a time is taken.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Withdrawn {
    /// Typed anew, it was measured anew.
    MayComeAgain,
    /// Read from the same file again, it is the same wrong reading.
    StaysWithdrawn,
}

/// What makes two readings the same but for their time: characteristic, position, and the value
/// without the zeros at its end.
type Same = (Name, Name, i64, i8, u16);

fn same(reading: &Reading) -> Same {
    let value = &reading.value;
    let (mut mantissa, mut exponent) = (value.mantissa(), value.exponent());
    while mantissa != 0 && mantissa % 10 == 0 && exponent < i8::MAX {
        mantissa /= 10;
        exponent += 1;
    }
    let exponent = if mantissa == 0 { 0 } else { exponent };
    let names = (Arc::clone(&reading.characteristic), Arc::clone(&reading.position));
    (names.0, names.1, mantissa, exponent, value.unit().code())
}

/// What the record holds of one piece: each reading's times, and whether one of them counts for a
/// row without a time.
#[derive(Default)]
struct OfPiece {
    times: HashSet<(Same, Millis)>,
    untimed: HashSet<Same>,
}

struct PendingRow {
    readings: Vec<Reading>,
    timed: bool,
}

/// Rows on their way into the record, a group at a time.
struct Receiver<'w> {
    works: &'w Works,
    plan: &'w Plan,
    deed: &'w Deed,
    withdrawn: Withdrawn,
    /// Whether all rows go into one group, which then bears the deed's own id.
    one_group: bool,
    pending: Vec<PendingRow>,
    n_pending: usize,
    n_groups: u64,
    last_judged: VecDeque<(u64, Reading)>,
    receipt: Receipt,
}

impl<'w> Receiver<'w> {
    fn new(
        works: &'w Works,
        plan: &'w Plan,
        deed: &'w Deed,
        withdrawn: Withdrawn,
        n_rows: usize,
    ) -> Self {
        Self {
            works,
            plan,
            deed,
            withdrawn,
            one_group: n_rows <= GROUP_READINGS_MAX,
            pending: Vec::new(),
            n_pending: 0,
            n_groups: 0,
            last_judged: VecDeque::new(),
            receipt: Receipt::default(),
        }
    }

    fn take(&mut self, row: Row) -> Result<(), WorksError> {
        match row {
            Row::Refused(row) => self.receipt.refused.push(row),
            Row::Taken { readings, timed, .. } => {
                self.n_pending += readings.len();
                self.pending.push(PendingRow { readings, timed });
                if self.n_pending >= GROUP_READINGS_MAX && !self.one_group {
                    self.write(None)?;
                }
            }
        }
        Ok(())
    }

    /// Writes what is left, and with `file` (name and content) that the file was read, unless it
    /// added nothing.
    fn flush(&mut self, file: Option<(String, String)>) -> Result<(), WorksError> {
        self.write(file)?;
        let plan = self.plan;
        self.receipt.judged =
            self.last_judged.iter().map(|(number, r)| judged(plan, *number, r)).collect();
        Ok(())
    }

    fn write(&mut self, file: Option<(String, String)>) -> Result<(), WorksError> {
        let rows = std::mem::take(&mut self.pending);
        self.n_pending = 0;
        let works = self.works;
        works.alone(|| {
            let (n_taken, fresh) = self.fresh(rows)?;
            self.receipt.taken += n_taken;
            self.receipt.readings += fresh.len();
            let mut events = self.pieces_met(&fresh);
            if let Some((name, content)) = file.filter(|_| self.receipt.taken > 0) {
                events.push(Event::FileRead {
                    name,
                    content,
                    taken: self.receipt.taken as u64,
                    already: self.receipt.already as u64,
                    refused: self.receipt.refused.len() as u64,
                });
            }
            if events.is_empty() && fresh.is_empty() {
                return Ok(());
            }
            self.append(n_taken, events, fresh)
        })
    }

    fn append(
        &mut self,
        n_taken: usize,
        events: Vec<Event>,
        fresh: Vec<Reading>,
    ) -> Result<(), WorksError> {
        let deed = Deed { id: self.group_id(&fresh), ..self.deed.clone() };
        let n_events = events.len() as u64;
        let appended = self.works.write(&deed, events, fresh.clone())?;
        self.n_groups += 1;
        if appended.already_done {
            // The same deed was done before: nothing was added now.
            self.receipt.taken -= n_taken;
            self.receipt.already += n_taken;
            self.receipt.readings -= fresh.len();
            return Ok(());
        }
        let first = appended.first_number + n_events;
        if !fresh.is_empty() {
            self.receipt.first_number.get_or_insert(first);
        }
        for (number, reading) in (first..).zip(fresh) {
            self.count(&judged(self.plan, number, &reading).word);
            self.last_judged.push_back((number, reading));
            if self.last_judged.len() > JUDGED_MAX {
                self.last_judged.pop_front();
            }
        }
        Ok(())
    }

    fn count(&mut self, word: &Word) {
        let of_word = match word {
            Word::Accept => &mut self.receipt.accepted,
            Word::Reject => &mut self.receipt.rejected,
            Word::CannotTell => &mut self.receipt.cannot_tell,
            Word::NotJudged => &mut self.receipt.not_judged,
        };
        *of_word += 1;
    }

    /// The deed's own id if all is one group; else one from it, the group's place and its content,
    /// so that a deed begun again after it was cut off never takes other rows for done.
    fn group_id(&self, fresh: &[Reading]) -> DeedId {
        if self.one_group {
            return self.deed.id;
        }
        let mut hasher = blake3::Hasher::new();
        hasher.update(&self.deed.id).update(&self.n_groups.to_le_bytes());
        for r in fresh {
            hasher.update(&r.at.to_le_bytes());
            for text in [r.characteristic.as_ref(), &r.piece, &r.position, &r.value.to_string()] {
                hasher.update(&(text.len() as u64).to_le_bytes()).update(text.as_bytes());
            }
        }
        let mut id = DeedId::default();
        let n = id.len();
        id.copy_from_slice(&hasher.finalize().as_bytes()[..n]);
        id
    }

    /// How many rows add something, and the readings that are not in the record yet.
    fn fresh(&mut self, rows: Vec<PendingRow>) -> Result<(usize, Vec<Reading>), WorksError> {
        let mut pieces: HashMap<Name, OfPiece> = HashMap::new();
        let (mut n_taken, mut fresh) = (0, Vec::new());
        for row in rows {
            let n_before = fresh.len();
            for reading in row.readings {
                if !pieces.contains_key(&reading.piece) {
                    let kept = self.of_piece(&reading.piece)?;
                    pieces.insert(Arc::clone(&reading.piece), kept);
                }
                let known = pieces.entry(Arc::clone(&reading.piece)).or_default();
                let key = same(&reading);
                let is_known = if row.timed {
                    known.times.contains(&(key.clone(), reading.at))
                } else {
                    known.untimed.contains(&key)
                };
                if !is_known {
                    known.times.insert((key.clone(), reading.at));
                    known.untimed.insert(key);
                    fresh.push(reading);
                }
            }
            if fresh.len() > n_before {
                n_taken += 1;
            } else {
                self.receipt.already += 1;
            }
        }
        Ok((n_taken, fresh))
    }

    fn of_piece(&self, piece: &str) -> Result<OfPiece, WorksError> {
        let kept: Vec<KeptReading> = self.works.store().readings(&Wanted::Piece(piece))?;
        let mut of_piece = OfPiece::default();
        self.works.floor(|floor| {
            for k in &kept {
                let key = same(&k.reading);
                of_piece.times.insert((key.clone(), k.reading.at));
                let counts = self.withdrawn == Withdrawn::StaysWithdrawn
                    || !floor.withdrawn.contains_key(&k.number);
                if counts {
                    of_piece.untimed.insert(key);
                }
            }
        });
        Ok(of_piece)
    }

    /// An entry for each piece that was never entered, except engines, which are built.
    fn pieces_met(&self, fresh: &[Reading]) -> Vec<Event> {
        let mut met = HashSet::new();
        self.works.floor(|floor| {
            fresh
                .iter()
                .filter(|r| !floor.pieces.contains_key(r.piece.as_ref()))
                .filter(|r| !r.characteristic.starts_with("engine."))
                .filter(|r| met.insert(Arc::clone(&r.piece)))
                .filter_map(|r| {
                    let part = self.plan.part_of(&r.piece)?.name.clone();
                    let piece = r.piece.to_string();
                    Some(Event::PieceMade { piece, part, heat: String::new() })
                })
                .collect()
        })
    }
}

/// Mappings remembered in the works' folder, by the headings they are for.
struct Mappings {
    path: PathBuf,
    of_headings: BTreeMap<String, Mapping>,
}

fn headings_key<'a>(headings: impl Iterator<Item = &'a str>) -> String {
    let mut hasher = blake3::Hasher::new();
    for heading in headings {
        hasher.update(&(heading.len() as u64).to_le_bytes()).update(heading.as_bytes());
    }
    hasher.finalize().to_hex().to_string()
}

impl Mappings {
    fn read(folder: &Path) -> Result<Self, WorksError> {
        let path = folder.join(MAPPINGS_FILE);
        let of_headings = match std::fs::read(&path) {
            Ok(bytes) => serde_json::from_slice(&bytes).map_err(|e| {
                let cause = format!("{e}; mend or remove it, what columns mean is then asked anew");
                file_error(&path, &cause)
            })?,
            Err(e) if e.kind() == io::ErrorKind::NotFound => BTreeMap::new(),
            Err(e) => return Err(file_error(&path, &e)),
        };
        Ok(Self { path, of_headings })
    }

    /// The mapping for these headings, if one is remembered that still fits the plan.
    fn mapping(&self, plan: &Plan, headings: &[String]) -> Option<Mapping> {
        let key = headings_key(headings.iter().map(String::as_str));
        self.of_headings.get(&key).filter(|m| m.fits(plan, headings).is_ok()).cloned()
    }

    fn remember(&mut self, mapping: &Mapping) -> Result<(), WorksError> {
        let key = headings_key(mapping.columns.iter().map(|c| c.heading.as_str()));
        if self.of_headings.get(&key) == Some(mapping) {
            return Ok(());
        }
        self.of_headings.insert(key, mapping.clone());
        let text =
            serde_json::to_vec_pretty(&self.of_headings).map_err(|e| file_error(&self.path, &e))?;
        // Written beside and then put in its place, so that it is never half there.
        let beside = self.path.with_extension(format!("json.{}", std::process::id()));
        let written =
            std::fs::write(&beside, text).and_then(|()| std::fs::rename(&beside, &self.path));
        written.map_err(|e| file_error(&self.path, &e))
    }
}

fn file_error(path: &Path, cause: &dyn std::fmt::Display) -> WorksError {
    WorksError::File { path: path.display().to_string(), cause: cause.to_string() }
}
