//! The one writer: a thread that takes what waits, writes it in one transaction, and answers.
//!
//! Many appenders share one flush of the disk that way. Each deed still has its own sealed group.

use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel};
use std::thread::JoinHandle;

use rusqlite::{
    CachedStatement, Connection, OptionalExtension as _, Transaction, TransactionBehavior, params,
};

use super::names::{Names, mark, pack_form};
use super::{BLOCK_BITS, outside, read_head, read_seal, refused};
use crate::chain::{Closing, Digest, context_digest, entry_digest, reading_digest, seal};
use crate::packed::Packed;
use crate::reading::{Context, Millis, Name, Reading};
use crate::store::{Appended, Head, Seal, StoreError};

/// How many members are gathered into one transaction before it is closed, so that the first in
/// line does not wait for ever.
const ROUND_MEMBERS: usize = 20_000;

type Answer = Result<Vec<Appended>, StoreError>;

/// Groups of one appender, to be kept all or none.
struct Job {
    groups: Vec<Packed>,
    believed: Option<Seal>,
    answer: SyncSender<Answer>,
}

/// The way to the writer's thread. Dropping it lets the thread finish and waits for it.
pub(super) struct Writing {
    jobs: Option<Sender<Job>>,
    thread: Option<JoinHandle<()>>,
    path: PathBuf,
}

impl Writing {
    pub(super) fn start(conn: Connection, path: &Path) -> Result<Self, StoreError> {
        let (jobs, waiting) = channel();
        let mut writer = Writer { conn, path: path.to_owned(), known: None };
        let thread = std::thread::Builder::new()
            .name("record writer".to_owned())
            .spawn(move || writer.serve(&waiting))
            .map_err(|e| outside(path, &e.to_string()))?;
        Ok(Self { jobs: Some(jobs), thread: Some(thread), path: path.to_owned() })
    }

    /// Hands the groups over and waits until they are on disk or refused.
    pub(super) fn append(&self, groups: Vec<Packed>, believed: Option<Seal>) -> Answer {
        let gone = || outside(&self.path, "the writer has stopped; open the record again");
        let (answer, answered) = sync_channel(1);
        let jobs = self.jobs.as_ref().ok_or_else(gone)?;
        jobs.send(Job { groups, believed, answer }).map_err(|_| gone())?;
        answered.recv().map_err(|_| gone())?
    }
}

impl Drop for Writing {
    fn drop(&mut self) {
        drop(self.jobs.take());
        if let Some(thread) = self.thread.take() {
            // A thread that panicked has nothing left to finish.
            let _ = thread.join();
        }
    }
}

struct Writer {
    conn: Connection,
    path: PathBuf,
    /// What the writer remembers of the file; forgotten after any refusal, since it may hold what
    /// was rolled back.
    known: Option<Known>,
}

struct Known {
    head: Head,
    names: HashMap<Name, i64>,
    contexts: HashMap<Arc<Context>, (i64, Digest)>,
}

impl Writer {
    fn serve(&mut self, waiting: &Receiver<Job>) {
        while let Ok(first) = waiting.recv() {
            let mut members = first.members();
            let mut round = vec![first];
            while members < ROUND_MEMBERS
                && let Ok(next) = waiting.try_recv()
            {
                members += next.members();
                round.push(next);
            }
            self.answer(round);
        }
    }

    /// Writes the round and answers each. If the whole is refused each is tried by itself: one that
    /// finds no room must not take the others with it.
    fn answer(&mut self, round: Vec<Job>) {
        match self.keep(&round) {
            Ok(answers) => {
                for (job, answer) in round.into_iter().zip(answers) {
                    job.reply(answer);
                }
            }
            Err(_) if round.len() > 1 => {
                for job in round {
                    self.answer(vec![job]);
                }
            }
            Err(refusal) => {
                if let Some(alone) = round.into_iter().next() {
                    alone.reply(Err(refusal));
                }
            }
        }
    }

    fn keep(&mut self, round: &[Job]) -> Result<Vec<Answer>, StoreError> {
        let mut known = match self.known.take() {
            Some(known) => known,
            None => Known::load(&self.conn).map_err(|e| refused(&self.path, e))?,
        };
        let kept = keep_round(&mut self.conn, &mut known, round);
        let answers = kept.map_err(|e| refused(&self.path, e))?;
        self.known = Some(known);
        Ok(answers)
    }
}

impl Job {
    fn members(&self) -> usize {
        self.groups.iter().map(Packed::members).sum()
    }

    fn reply(self, answer: Answer) {
        // An appender that no longer waits is no fault of the record.
        let _ = self.answer.send(answer);
    }
}

impl Known {
    fn load(conn: &Connection) -> rusqlite::Result<Self> {
        let names = Names::load(conn)?;
        Ok(Self {
            head: read_head(conn)?,
            names: names.texts().map(|(id, text)| (text.clone(), id)).collect(),
            contexts: names
                .contexts()
                .map(|(id, kept)| (kept.context.clone(), (id, kept.digest)))
                .collect(),
        })
    }
}

/// Everything of the round in one transaction; when this returns well it is on disk.
fn keep_round(
    conn: &mut Connection,
    known: &mut Known,
    round: &[Job],
) -> rusqlite::Result<Vec<Answer>> {
    // A refusal can come in the midst of beginning or rolling back, and leave a transaction open.
    if !conn.is_autocommit() {
        conn.execute_batch("ROLLBACK")?;
    }
    let tx = conn.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let answers = round
        .iter()
        .map(|job| keep_job(&tx, known, job))
        .collect::<rusqlite::Result<Vec<Answer>>>()?;
    tx.commit()?;
    Ok(answers)
}

/// From how many members on an empty record is laid in bulk.
const BULK_MEMBERS: usize = 20_000;

/// A first large job, such as a whole works laid at once, makes its look-ups when all is in: sorted
/// once they take a fraction of the time that they take one by one. All in the job's transaction.
fn keep_job(tx: &Transaction<'_>, known: &mut Known, job: &Job) -> rusqlite::Result<Answer> {
    let members: usize = job.groups.iter().map(Packed::members).sum();
    if known.head.last_number > 0 || members < BULK_MEMBERS {
        return keep_groups(tx, known, job, &mut About::AtOnce);
    }
    tx.execute_batch("DROP INDEX reading_by_piece")?;
    let mut about = About::Later(Vec::new());
    let answer = keep_groups(tx, known, job, &mut about)?;
    if let About::Later(mut rows) = about {
        rows.sort_unstable();
        let mut insert = insert_about(tx)?;
        for (subject, number) in rows {
            one(insert.execute(params![subject, number])?)?;
        }
    }
    tx.execute_batch("CREATE INDEX reading_by_piece ON reading (piece)")?;
    Ok(answer)
}

/// When the look-up rows of entries are written.
enum About<'a> {
    /// With each entry.
    AtOnce,
    /// All together, in order, when every group is in.
    Later(Vec<(&'a str, u64)>),
}

fn insert_about<'t>(tx: &'t Transaction<'_>) -> rusqlite::Result<CachedStatement<'t>> {
    tx.prepare_cached("INSERT INTO about (subject, number) VALUES (?1, ?2)")
}

fn keep_groups<'j>(
    tx: &Transaction<'_>,
    known: &mut Known,
    job: &'j Job,
    about: &mut About<'j>,
) -> rusqlite::Result<Answer> {
    let mut done = Vec::with_capacity(job.groups.len());
    for group in &job.groups {
        if let Some(first) = first_answer(tx, group)? {
            done.push(first);
            continue;
        }
        let found = known.head.seal;
        if let Some(believed) = job.believed
            && believed != found
        {
            return Ok(Err(StoreError::HeadMoved { believed, found }));
        }
        done.push(keep_group(tx, known, group, about)?);
    }
    Ok(Ok(done))
}

/// The answer given when the deed was first kept, if it was.
fn first_answer(tx: &Transaction<'_>, group: &Packed) -> rusqlite::Result<Option<Appended>> {
    tx.prepare_cached(
        "SELECT first_number, number, first_number + entries + readings - 1, seal \
         FROM \"group\" WHERE deed = ?1",
    )?
    .query_row([group.deed], |row| {
        let (groups, last_number) = (row.get(1)?, row.get(2)?);
        let head = Head { groups, last_number, seal: read_seal(row, 3)? };
        Ok(Appended { first_number: row.get(0)?, head, already_done: true })
    })
    .optional()
}

fn keep_group<'j>(
    tx: &Transaction<'_>,
    known: &mut Known,
    group: &'j Packed,
    about: &mut About<'j>,
) -> rusqlite::Result<Appended> {
    let before = known.head;
    let first_number = before.last_number + 1;
    let mut members = keep_entries(tx, first_number, group, about)?;
    let first_reading = first_number + members.len() as u64;
    keep_readings(tx, known, first_reading, &group.readings, &mut members)?;
    let short = |n: usize| u32::try_from(n).expect("a packed group has at most a million members");
    let closing = Closing {
        group: before.groups + 1,
        previous: before.seal,
        deed: group.deed,
        closed_at: group.closed_at,
        first_number,
        entries: short(group.entries.len()),
        readings: short(group.readings.len()),
    };
    let seal = seal(&closing, &members);
    close_group(tx, &closing, &seal)?;
    let last_number = before.last_number + members.len() as u64;
    known.head = Head { groups: closing.group, last_number, seal };
    Ok(Appended { first_number, head: known.head, already_done: false })
}

fn close_group(tx: &Transaction<'_>, closing: &Closing, seal: &Seal) -> rusqlite::Result<()> {
    let kept = tx
        .prepare_cached(
            "INSERT INTO \"group\" (first_number, number, deed, closed_at, entries, readings, \
             previous, seal) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
        )?
        .execute(params![
            closing.first_number,
            closing.group,
            closing.deed,
            closing.closed_at,
            closing.entries,
            closing.readings,
            closing.previous.0,
            seal.0
        ])?;
    one(kept)
}

fn keep_entries<'j>(
    tx: &Transaction<'_>,
    first_number: u64,
    group: &'j Packed,
    about: &mut About<'j>,
) -> rusqlite::Result<Vec<Digest>> {
    let mut insert =
        tx.prepare_cached("INSERT INTO entry (number, bytes, hash) VALUES (?1, ?2, ?3)")?;
    let mut look_up = insert_about(tx)?;
    let mut digests = Vec::with_capacity(group.members());
    for (number, entry) in (first_number..).zip(&group.entries) {
        let digest = entry_digest(number, &entry.bytes);
        one(insert.execute(params![number, entry.bytes, digest.0])?)?;
        match about {
            About::AtOnce => {
                for subject in &entry.subjects {
                    one(look_up.execute(params![subject, number])?)?;
                }
            }
            About::Later(rows) => {
                rows.extend(entry.subjects.iter().map(|s| (s.as_str(), number)));
            }
        }
        digests.push(digest);
    }
    Ok(digests)
}

/// A reading with the ids of its names.
struct Row<'a> {
    number: u64,
    position: i64,
    context: i64,
    mark: i64,
    reading: &'a Reading,
}

/// The rows of each characteristic, in order of their numbers: they go to neighbouring places, and
/// kept together they are cheaper.
type Runs<'a> = BTreeMap<i64, Vec<Row<'a>>>;
/// Earliest and latest time by characteristic, block and gauge.
type Stretches = HashMap<(i64, u64, i64), (Millis, Millis)>;

/// A context as it is met in a group: its id, its digest, the id of its gauge.
#[derive(Clone, Copy)]
struct Met {
    id: i64,
    digest: Digest,
    gauge: i64,
}

fn keep_readings(
    tx: &Transaction<'_>,
    known: &mut Known,
    first_number: u64,
    readings: &[Reading],
    digests: &mut Vec<Digest>,
) -> rusqlite::Result<()> {
    let mut runs = Runs::new();
    let mut stretches = Stretches::new();
    // Readings of one run share a context; to compare where it lies is cheaper than its names.
    let mut met: HashMap<*const Context, Met> = HashMap::new();
    for (number, reading) in (first_number..).zip(readings) {
        let characteristic = name_id(tx, known, &reading.characteristic)?;
        let position = name_id(tx, known, &reading.position)?;
        let context = match met.get(&Arc::as_ptr(&reading.context)) {
            Some(context) => *context,
            None => {
                let context = meet(tx, known, &reading.context)?;
                met.insert(Arc::as_ptr(&reading.context), context);
                context
            }
        };
        let digest = reading_digest(number, reading, &context.digest);
        digests.push(digest);
        let row = Row { number, position, context: context.id, mark: mark(&digest), reading };
        runs.entry(characteristic).or_default().push(row);
        let (earliest, latest) = stretches
            .entry((characteristic, number >> BLOCK_BITS, context.gauge))
            .or_insert((reading.at, reading.at));
        *earliest = reading.at.min(*earliest);
        *latest = reading.at.max(*latest);
    }
    insert_runs(tx, &runs)?;
    widen_stretches(tx, &stretches)
}

fn insert_runs(tx: &Transaction<'_>, runs: &Runs<'_>) -> rusqlite::Result<()> {
    let mut insert = tx.prepare_cached(
        "INSERT INTO reading (characteristic, number, at, piece, position, mantissa, form, \
         context, mark) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
    )?;
    for (characteristic, rows) in runs {
        for row in rows {
            let Reading { at, piece, value, .. } = row.reading;
            let kept = insert.execute(params![
                characteristic,
                row.number,
                at,
                piece,
                row.position,
                value.mantissa(),
                pack_form(value),
                row.context,
                row.mark
            ])?;
            one(kept)?;
        }
    }
    Ok(())
}

fn widen_stretches(tx: &Transaction<'_>, stretches: &Stretches) -> rusqlite::Result<()> {
    let mut widen = tx.prepare_cached(
        "INSERT INTO stretch (characteristic, block, gauge, earliest, latest) \
         VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT DO UPDATE SET \
         earliest = min(earliest, excluded.earliest), latest = max(latest, excluded.latest)",
    )?;
    for ((characteristic, block, gauge), (earliest, latest)) in stretches {
        one(widen.execute(params![characteristic, block, gauge, earliest, latest])?)?;
    }
    Ok(())
}

fn name_id(tx: &Transaction<'_>, known: &mut Known, name: &Name) -> rusqlite::Result<i64> {
    if let Some(id) = known.names.get(name) {
        return Ok(*id);
    }
    one(tx.prepare_cached("INSERT INTO name (text) VALUES (?1)")?.execute(params![name])?)?;
    let id = tx.last_insert_rowid();
    known.names.insert(name.clone(), id);
    Ok(id)
}

fn meet(tx: &Transaction<'_>, known: &mut Known, context: &Arc<Context>) -> rusqlite::Result<Met> {
    let Context { gauge, person, machine, spindle, tool, source, edition } = &**context;
    let gauge_id = name_id(tx, known, gauge)?;
    if let Some((id, digest)) = known.contexts.get(context) {
        return Ok(Met { id: *id, digest: *digest, gauge: gauge_id });
    }
    let mut ids = [0; 7];
    let names = [gauge, person, machine, spindle, tool, source, edition];
    for (id, name) in ids.iter_mut().zip(names) {
        *id = name_id(tx, known, name)?;
    }
    let mut insert = tx.prepare_cached(
        "INSERT INTO context (gauge, person, machine, spindle, tool, source, edition) \
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )?;
    one(insert.execute(ids)?)?;
    let (id, digest) = (tx.last_insert_rowid(), context_digest(context));
    known.contexts.insert(context.clone(), (id, digest));
    Ok(Met { id, digest, gauge: gauge_id })
}

/// Each insert must have kept exactly one row.
fn one(changed: usize) -> rusqlite::Result<()> {
    if changed == 1 { Ok(()) } else { Err(rusqlite::Error::StatementChangedRows(changed)) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::{Entry, Event};
    use crate::sqlite::{lay, verify};
    use crate::store::Group;

    /// A writer on this thread, without the queue.
    fn writer(folder: &Path) -> Writer {
        let path = folder.join("record.db");
        Writer { conn: lay::writer(&path).unwrap(), path, known: None }
    }

    fn group(id: u8, readings: usize) -> Packed {
        let context = Arc::new(Context {
            gauge: format!("AG-{id}").into(),
            person: "Ilse Brandt".into(),
            machine: "M3".into(),
            spindle: "".into(),
            tool: "".into(),
            source: format!("bore-{id}.csv").into(),
            edition: "e1".into(),
        });
        let reading = |i: usize| Reading {
            at: 1_790_000_000_000,
            characteristic: "block.bore".into(),
            piece: format!("B{id}-{i}").into(),
            position: "1".into(),
            value: "68.012 mm".parse().unwrap(),
            context: context.clone(),
        };
        let event = Event::PieceScrapped { piece: format!("B{id}"), reason: "blow hole".into() };
        let entry = Entry { at: 0, by: "Ilse Brandt".into(), edition: "e1".into(), event };
        Packed::of(Group {
            deed: [id; 16],
            closed_at: 0,
            entries: vec![entry],
            readings: (0..readings).map(reading).collect(),
        })
        .unwrap()
    }

    fn job(groups: Vec<Packed>) -> (Job, Receiver<Answer>) {
        let (answer, answered) = sync_channel(1);
        (Job { groups, believed: None, answer }, answered)
    }

    /// As another connection sees the record, which must be nothing of what was refused.
    fn groups_verified(writer: &Writer) -> u64 {
        let mut reader = lay::reader(&writer.path).unwrap();
        let verified = verify::verify(&mut reader, &mut |_, _| {}).unwrap();
        assert_eq!(verified.broken, None);
        assert_eq!(verified.groups, verified.head.groups);
        verified.groups
    }

    #[test]
    fn a_fault_at_any_step_keeps_nothing_and_the_next_append_works() {
        let folder = tempfile::tempdir().unwrap();
        let mut writer = writer(folder.path());
        let round =
            |id| [job(vec![group(id, 3), group(id + 1, 2)]).0, job(vec![group(id + 2, 1)]).0];
        let mut step = 1;
        // The steps are those of SQLite's own machine, which stops at each in turn; close to each
        // other at first, since there lie the beginnings.
        loop {
            let mut passed = 0;
            let stop = move || {
                passed += 1;
                passed == step
            };
            writer.conn.progress_handler(1, Some(stop)).unwrap();
            let kept = writer.keep(&round(1));
            writer.conn.progress_handler(0, None::<fn() -> bool>).unwrap();
            match kept {
                Ok(_) => break,
                Err(StoreError::Outside { .. }) => assert!(writer.known.is_none()),
                Err(other) => panic!("step {step}: {other}"),
            }
            if step % 16 == 1 {
                assert_eq!(groups_verified(&writer), 0, "step {step}");
            }
            step += if step < 200 { 1 } else { 7 };
        }
        assert!(step > 300, "only {step} steps");
        assert_eq!(groups_verified(&writer), 3);
        writer.keep(&round(11)).unwrap();
        assert_eq!(groups_verified(&writer), 6);
    }

    #[test]
    fn one_that_finds_no_room_does_not_take_the_others_with_it() {
        let folder = tempfile::tempdir().unwrap();
        let mut writer = writer(folder.path());
        let pages: i64 =
            writer.conn.pragma_query_value(None, "page_count", |row| row.get(0)).unwrap();
        writer.conn.pragma_update(None, "max_page_count", pages + 2).unwrap();
        let (jobs, answers): (Vec<_>, Vec<_>) =
            [group(1, 2), group(2, 5_000), group(3, 2)].map(|g| job(vec![g])).into_iter().unzip();
        writer.answer(jobs);
        let answers: Vec<Answer> = answers.iter().map(|a| a.recv().unwrap()).collect();
        assert!(answers[0].is_ok() && answers[2].is_ok());
        match &answers[1] {
            Err(StoreError::Outside { cause, .. }) => assert!(cause.contains("full"), "{cause}"),
            other => panic!("not refused: {other:?}"),
        }
        assert_eq!(groups_verified(&writer), 2);
        // Room again, and the same deed is taken.
        writer.conn.pragma_update(None, "max_page_count", 1_000_000).unwrap();
        let (again, answer) = job(vec![group(2, 5_000)]);
        writer.answer(vec![again]);
        assert!(!answer.recv().unwrap().unwrap()[0].already_done);
        assert_eq!(groups_verified(&writer), 3);
    }

    #[test]
    fn groups_of_one_job_are_kept_all_or_none() {
        let folder = tempfile::tempdir().unwrap();
        let mut writer = writer(folder.path());
        let pages: i64 =
            writer.conn.pragma_query_value(None, "page_count", |row| row.get(0)).unwrap();
        writer.conn.pragma_update(None, "max_page_count", pages + 2).unwrap();
        let (bulk, answer) = job(vec![group(1, 2), group(2, 5_000)]);
        writer.answer(vec![bulk]);
        assert!(answer.recv().unwrap().is_err());
        assert_eq!(groups_verified(&writer), 0);
    }
}
