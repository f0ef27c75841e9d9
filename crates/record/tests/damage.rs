//! Every way to alter a record behind its back, and what verification says of it.
#![allow(clippy::unwrap_used, reason = "a test may fail by a panic")]

mod samples;

use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use bedplate_record::sqlite::SqliteStore;
use bedplate_record::store::{Broken, Head, Store, StoreError, Wanted};
use proptest::prelude::*;
use rusqlite::Connection;
use samples::{all_answers, group, morning};

/// A closed record of one morning that may be damaged.
struct Record {
    folder: tempfile::TempDir,
    head: Head,
}

impl Record {
    fn of_a_morning() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let (store, _) = SqliteStore::open(&folder.path().join("record.db")).unwrap();
        store.append_all(morning()).unwrap();
        let head = store.head().unwrap();
        Self { folder, head }
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("record.db")
    }

    /// Alters the file with SQL, past every check of the program; each statement must hit.
    fn alter(self, statements: &[&str]) -> Self {
        let conn = Connection::open(self.path()).unwrap();
        for sql in statements {
            assert!(conn.execute(sql, []).unwrap() > 0, "{sql} changed nothing");
        }
        self
    }

    fn broken(&self) -> Option<Broken> {
        let store = SqliteStore::open_read_only(&self.path()).unwrap().0;
        let verified = store.verify(&mut |_, _| {}).unwrap();
        if let Some(broken) = &verified.broken {
            assert!(broken.group == 0 || verified.groups == broken.group - 1, "{verified:?}");
        }
        verified.broken
    }

    fn against(&self, outside: &Head) -> Option<Broken> {
        let store = SqliteStore::open_read_only(&self.path()).unwrap().0;
        store.verify_against(outside, &mut |_, _| {}).unwrap().broken
    }
}

/// The place and words of what is found after the statements.
fn found_after(statements: &[&str]) -> (u64, u64, String) {
    let Broken { group, number, finding } =
        Record::of_a_morning().alter(statements).broken().expect("the damage is found");
    (group, number, finding)
}

#[track_caller]
fn names(statements: &[&str], group: u64, number: u64, words: &str) {
    let found = found_after(statements);
    assert_eq!((found.0, found.1), (group, number), "{}", found.2);
    assert!(found.2.contains(words), "{}", found.2);
}

// In the morning the third group has entries 42 and 43 and readings 44 to 63; the fourth has only
// readings, 64 to 83.

#[test]
fn an_untouched_record_is_whole() {
    assert_eq!(Record::of_a_morning().broken(), None);
}

#[test]
fn each_part_of_a_reading_is_covered() {
    let parts = [
        "mantissa = mantissa + 1",
        "mantissa = -mantissa",
        "form = form - 1",
        "form = form + 256",
        "form = -7",
        "form = 1000000",
        "piece = 'B9999'",
        "piece = piece || ' '",
        "position = position + 1",
        "position = 4711",
        "at = at + 1",
        "context = 3 - context",
        "context = 4711",
        "mark = mark + 1",
    ];
    for part in parts {
        let sql = format!("UPDATE reading SET {part} WHERE number = 50");
        let found = found_after(&[&sql]);
        assert_eq!((found.0, found.1), (3, 50), "{part}: {}", found.2);
    }
}

#[test]
fn a_zero_added_behind_the_value_is_another_reading() {
    let sql = "UPDATE reading SET mantissa = mantissa * 10, form = form - 1 WHERE number = 50";
    names(&[sql], 3, 50, "check word");
}

#[test]
fn a_reading_moved_to_another_characteristic_is_named() {
    let other = "(SELECT min(characteristic) + max(characteristic) FROM reading) - characteristic";
    let sql = format!("UPDATE reading SET characteristic = {other} WHERE number = 50");
    let found = found_after(&[&sql]);
    assert_eq!((found.0, found.1), (3, 50), "{}", found.2);
}

#[test]
fn a_reading_that_is_gone_doubled_or_slipped_in_is_named() {
    names(&["DELETE FROM reading WHERE number = 50"], 3, 50, "reading is missing");
    let columns = "at, piece, position, mantissa, form, context, mark";
    let doubled = format!(
        "INSERT INTO reading SELECT 4711, number, {columns} FROM reading WHERE number = 50"
    );
    names(&[&doubled], 3, 50, "two");
    let beyond = format!(
        "INSERT INTO reading SELECT characteristic, 9000, {columns} FROM reading WHERE number = 50"
    );
    names(&[&beyond], 13, 9000, "no group counts it");
    let before = "UPDATE reading SET number = 0 WHERE number = 50";
    names(&[before], 3, 50, "missing");
    let in_an_entrys_place = format!(
        "INSERT INTO reading SELECT characteristic, 42, {columns} FROM reading WHERE number = 50"
    );
    names(&["DELETE FROM entry WHERE number = 42", &in_an_entrys_place], 3, 42, "");
}

#[test]
fn two_readings_that_change_places_are_named() {
    let sql = [
        "UPDATE reading SET number = 9999 WHERE number = 50",
        "UPDATE reading SET number = 50 WHERE number = 53",
        "UPDATE reading SET number = 53 WHERE number = 9999",
    ];
    names(&sql, 3, 50, "check word");
}

#[test]
fn a_reading_altered_with_its_check_word_breaks_the_seal() {
    // Whoever can compute the check word still cannot make the seal agree.
    let record = Record::of_a_morning();
    let other = tempfile::tempdir().unwrap();
    let path = other.path().join("record.db");
    let (store, _) = SqliteStore::open(&path).unwrap();
    let mut altered = morning();
    altered[2].readings[8].piece = "B9999".into();
    store.append_all(altered).unwrap();
    drop(store);
    let conn = Connection::open(record.path()).unwrap();
    conn.execute("ATTACH ?1 AS other", [path.to_str().unwrap()]).unwrap();
    let sql = "UPDATE reading SET (piece, mark) = \
               (SELECT piece, mark FROM other.reading AS o WHERE o.number = reading.number) \
               WHERE number = 52";
    assert_eq!(conn.execute(sql, []).unwrap(), 1);
    drop(conn);
    let broken = record.broken().unwrap();
    assert_eq!((broken.group, broken.number), (3, 44 - 2), "{}", broken.finding);
    assert!(broken.finding.contains("seal"), "{}", broken.finding);
}

#[test]
fn each_part_of_an_entry_is_covered() {
    let entry = |set: &str| format!("UPDATE entry SET {set} WHERE number = 43");
    let text = "CAST(bytes AS TEXT)";
    let other_piece = entry(&format!("bytes = CAST(replace({text}, 'B2-1', 'B2-7') AS BLOB)"));
    names(&[&other_piece], 3, 43, "hash");
    names(&[&entry(&format!("bytes = CAST({text} || ' ' AS BLOB)"))], 3, 43, "hash");
    names(&[&entry("bytes = x''")], 3, 43, "hash");
    names(&[&entry("hash = zeroblob(32)")], 3, 43, "hash");
    names(&[&entry("hash = x'00'")], 3, 43, "hash");
    names(&["DELETE FROM entry WHERE number = 43"], 3, 43, "entry is missing");
    names(
        &["INSERT INTO entry SELECT 9000, bytes, hash FROM entry WHERE number = 43"],
        13,
        9000,
        "",
    );
    names(&["INSERT INTO entry SELECT 50, bytes, hash FROM entry WHERE number = 43"], 3, 50, "two");
}

#[test]
fn entries_that_change_places_are_named() {
    let sql = [
        "UPDATE entry SET number = 9999 WHERE number = 42",
        "UPDATE entry SET number = 42 WHERE number = 43",
        "UPDATE entry SET number = 43 WHERE number = 9999",
    ];
    names(&sql, 3, 42, "hash");
}

#[test]
fn each_part_of_a_group_is_covered() {
    for part in [
        "deed = zeroblob(16)",
        "deed = x'00'",
        "closed_at = closed_at + 1",
        "entries = entries - 1",
        "entries = -1",
        "entries = entries + 1, readings = readings - 1",
        "readings = readings - 1",
        "readings = 4000000000",
        "readings = 0",
        "number = 4711",
        "number = -1",
        "first_number = first_number + 1",
        "previous = zeroblob(32)",
        "previous = x'00'",
        "seal = zeroblob(32)",
        "seal = x'00'",
    ] {
        let sql = format!("UPDATE \"group\" SET {part} WHERE number = 3");
        let found = found_after(&[&sql]);
        assert_eq!(found.0, 3, "{part}: {}", found.2);
        assert!((42..=63).contains(&found.1), "{part}: {} {}", found.1, found.2);
    }
}

#[test]
fn a_group_that_is_gone_or_slipped_in_is_named() {
    names(&["DELETE FROM \"group\" WHERE number = 3"], 3, 42, "group 3 is missing");
    names(&["DELETE FROM \"group\" WHERE number = 1"], 1, 1, "group 1 is missing");
    let whole = [
        "DELETE FROM \"group\" WHERE number = 3",
        "DELETE FROM entry WHERE number BETWEEN 42 AND 63",
        "DELETE FROM reading WHERE number BETWEEN 42 AND 63",
    ];
    names(&whole, 3, 42, "group 3 is missing");
    // Without its members a last group is not merely cut off.
    names(&["DELETE FROM \"group\" WHERE number = 12"], 12, 215, "no group counts it");
    let slipped_in = "INSERT INTO \"group\" SELECT 10000, 13, zeroblob(16), closed_at, entries, \
                      readings, seal, seal FROM \"group\" WHERE number = 12";
    let found = found_after(&[slipped_in]);
    assert_eq!(found.0, 13, "{}", found.2);
}

#[test]
fn the_text_of_a_name_is_covered() {
    names(&["UPDATE name SET text = 'block.bone' WHERE text = 'block.bore'"], 1, 1, "check word");
    names(&["UPDATE name SET text = 'AG-3' WHERE text = 'AG-2'"], 1, 2, "check word");
    names(&["UPDATE name SET text = 'Rolf Ahlers' WHERE text = 'Ilse Brandt'"], 1, 1, "check word");
    names(&["UPDATE context SET person = gauge WHERE id = 2"], 1, 2, "check word");
    names(&["UPDATE context SET tool = 4711 WHERE id = 2"], 1, 2, "not there");
    names(&["DELETE FROM name WHERE text = 'edition-1'"], 1, 1, "not there");
    names(&["DELETE FROM context WHERE id = 2"], 1, 2, "not there");
}

#[test]
fn what_would_hide_a_reading_from_a_question_is_found() {
    let gone = ["DELETE FROM stretch WHERE gauge = (SELECT id FROM name WHERE text = 'AG-2')"];
    names(&gone, 1, 2, "look-up of times");
    // The first six readings are the earliest of each characteristic with each gauge.
    names(&["UPDATE stretch SET latest = earliest"], 1, 7, "look-up of times");
    let about = ["DELETE FROM about WHERE number = 43 AND subject = 'piece/B2-1'"];
    names(&about, 3, 43, "piece/B2-1");
    names(&["INSERT INTO about VALUES ('piece/B2-1', 42)"], 0, 0, "rows too many");
    // A trigger, a view or another index could change what is read while every row agrees.
    let trigger = "CREATE TRIGGER quiet AFTER INSERT ON reading BEGIN \
                   DELETE FROM reading WHERE number = new.number; END";
    let record = Record::of_a_morning();
    let store = SqliteStore::open_read_only(&record.path()).unwrap().0;
    Connection::open(record.path()).unwrap().execute_batch(trigger).unwrap();
    let broken = store.verify(&mut |_, _| {}).unwrap().broken.unwrap();
    assert_eq!((broken.group, broken.number), (0, 0));
    assert!(broken.finding.contains("\"quiet\""), "{}", broken.finding);
    assert!(matches!(
        SqliteStore::open_read_only(&record.path()),
        Err(StoreError::Damaged { number: 0, .. })
    ));
}

#[test]
fn a_name_kept_twice_is_found() {
    // The second id would take a part of a characteristic's readings out of sight.
    let record = Record::of_a_morning();
    let conn = Connection::open(record.path()).unwrap();
    conn.execute_batch(
        "PRAGMA writable_schema = ON; \
         CREATE TEMP TABLE kept AS SELECT * FROM sqlite_schema WHERE name = 'name'; \
         UPDATE sqlite_schema SET sql = replace(sql, ' UNIQUE', '') WHERE name = 'name'; \
         DELETE FROM sqlite_schema WHERE name = 'sqlite_autoindex_name_1'; \
         PRAGMA writable_schema = RESET; \
         INSERT INTO name (text) VALUES ('block.bore'); \
         UPDATE reading SET characteristic = (SELECT max(id) FROM name) WHERE number = 50;",
    )
    .unwrap();
    drop(conn);
    assert!(matches!(SqliteStore::open_read_only(&record.path()), Err(StoreError::Damaged { .. })));
}

#[test]
fn a_damaged_member_is_never_shown() {
    let record = Record::of_a_morning().alter(&[
        "UPDATE reading SET mantissa = mantissa + 1 WHERE number = 50",
        "UPDATE entry SET bytes = x'7b7d' WHERE number = 43",
    ]);
    let (store, opened) = SqliteStore::open(&record.path()).unwrap();
    assert_eq!(opened.broken, None, "only the last group is looked at on opening");
    let damaged =
        |number| move |e| matches!(e, StoreError::Damaged { number: n, .. } if n == number);
    let (from, to) = (i64::MIN, i64::MAX);
    assert!(store.readings(&Wanted::Numbers(&[49, 50])).is_err_and(damaged(50)));
    assert!(store.readings(&Wanted::Piece("B0015")).is_err_and(damaged(50)));
    assert_eq!(store.readings(&Wanted::Piece("B0016")).unwrap().len(), 3);
    let name = samples::CHARACTERISTICS[usize::try_from((50 - 44 + 40) % 3).unwrap()];
    assert!(store.readings(&Wanted::Characteristic { name, from, to }).is_err_and(damaged(50)));
    assert!(store.entries(1, 100).is_err_and(damaged(43)));
    assert_eq!(store.entries(44, 100).unwrap().len(), 17);
}

#[test]
fn a_damaged_last_group_is_told_on_opening() {
    let record =
        Record::of_a_morning().alter(&["UPDATE entry SET hash = zeroblob(32) WHERE number = 218"]);
    let (_, opened) = SqliteStore::open(&record.path()).unwrap();
    let broken = opened.broken.clone().unwrap();
    assert_eq!((broken.group, broken.number), (12, 218));
    assert!(opened.to_string().contains("damaged at number 218"), "{opened}");
}

#[test]
fn a_replaced_seal_breaks_where_the_next_group_was_built_on_it() {
    // Group 3 is written anew with a seal that agrees; group 4 still holds the old one.
    let record = Record::of_a_morning();
    let mut other_morning = morning();
    other_morning[2].closed_at += 1;
    let other = tempfile::tempdir().unwrap();
    let path = other.path().join("record.db");
    let (store, _) = SqliteStore::open(&path).unwrap();
    store.append_all(other_morning).unwrap();
    drop(store);
    let conn = Connection::open(record.path()).unwrap();
    conn.execute("ATTACH ?1 AS other", [path.to_str().unwrap()]).unwrap();
    let sql = "UPDATE \"group\" SET (closed_at, seal) = (SELECT closed_at, seal FROM \
               other.\"group\" AS o WHERE o.number = 3) WHERE number = 3";
    assert_eq!(conn.execute(sql, []).unwrap(), 1);
    drop(conn);
    let broken = record.broken().unwrap();
    assert_eq!((broken.group, broken.number), (4, 64), "{}", broken.finding);
    assert!(broken.finding.contains("replaced"), "{}", broken.finding);
}

#[test]
fn a_cut_end_is_not_detectable_without_an_outside_head() {
    let record = Record::of_a_morning().alter(&[
        "DELETE FROM \"group\" WHERE number = 12",
        "DELETE FROM about WHERE number >= 215",
        "DELETE FROM entry WHERE number >= 215",
    ]);
    // What is left is a whole, shorter record: nothing in it can say that there was more.
    assert_eq!(record.broken(), None);
    let broken = record.against(&record.head).unwrap();
    assert_eq!((broken.group, broken.number), (12, 215));
    assert!(broken.finding.contains("cut off"), "{}", broken.finding);
}

#[test]
fn a_record_written_anew_is_not_detectable_without_an_outside_head() {
    let record = Record::of_a_morning();
    std::fs::remove_file(record.path()).unwrap();
    let mut forged = morning();
    forged[2].readings[8].piece = "B9999".into();
    let (store, _) = SqliteStore::open(&record.path()).unwrap();
    store.append_all(forged).unwrap();
    drop(store);
    assert_eq!(record.broken(), None);
    let broken = record.against(&record.head).unwrap();
    assert!(broken.finding.contains("written anew"), "{}", broken.finding);
}

#[test]
fn appending_to_a_slipped_in_number_is_refused_as_damage() {
    let record = Record::of_a_morning()
        .alter(&["INSERT INTO entry SELECT 230, bytes, hash FROM entry WHERE number = 43"]);
    let (store, _) = SqliteStore::open(&record.path()).unwrap();
    store.append(&group(50, 1, 0, 0), None).unwrap();
    let head = store.head().unwrap();
    let next = store.append(&group(51, 5, 0, 0), None);
    assert!(matches!(next, Err(StoreError::Damaged { .. })), "{next:?}");
    assert_eq!(store.head().unwrap(), head);
}

/// A record whose verification takes more than one span: 84 groups of 1000 readings.
fn long_record() -> Record {
    let folder = tempfile::tempdir().unwrap();
    let (store, _) = SqliteStore::open(&folder.path().join("record.db")).unwrap();
    store.append_all((0..84).map(|id| group(id, 1, id * 1000, 999)).collect()).unwrap();
    let head = store.head().unwrap();
    Record { folder, head }
}

#[test]
fn damage_far_into_a_long_record_is_named() {
    let record = long_record();
    let store = SqliteStore::open_read_only(&record.path()).unwrap().0;
    let mut told = vec![];
    let verified = store.verify(&mut |done, of| told.push((done, of))).unwrap();
    assert_eq!((verified.broken, verified.groups), (None, 84));
    assert_eq!((verified.entries, verified.readings), (84, 84 * 999));
    assert_eq!(told, [(66, 84), (84, 84)]);
    drop(store);
    let record = record.alter(&["UPDATE reading SET at = at - 1 WHERE number = 80500"]);
    let broken = record.broken().unwrap();
    assert_eq!((broken.group, broken.number), (81, 80_500), "{}", broken.finding);
    let record = record.alter(&["UPDATE reading SET at = at - 1 WHERE number = 41007"]);
    let broken = record.broken().unwrap();
    assert_eq!((broken.group, broken.number), (42, 41_007), "{}", broken.finding);
    let record = record.alter(&["UPDATE name SET text = 'AG-3' WHERE text = 'AG-2'"]);
    assert_eq!(record.broken().map(|b| (b.group, b.number)), Some((1, 3)));
}

#[test]
fn an_unreadable_page_is_traced_to_its_group() {
    let record = long_record();
    let conn = Connection::open(record.path()).unwrap();
    // The page that holds the reading, found by its number as it lies in the row.
    let page: usize = conn
        .query_row(
            "SELECT pageno FROM dbstat WHERE name = 'reading' AND pagetype = 'leaf' \
             ORDER BY path LIMIT 1 OFFSET 100",
            [],
            |row| row.get(0),
        )
        .unwrap();
    drop(conn);
    let mut bytes = std::fs::read(record.path()).unwrap();
    bytes[(page - 1) * PAGE..page * PAGE].fill(0xff);
    std::fs::write(record.path(), bytes).unwrap();
    let broken = record.broken().unwrap();
    assert!(broken.group > 1 && broken.number > 1000, "{broken:?}");
    assert!(broken.finding.contains("not readable here"), "{broken:?}");
}

/// An untouched record: its bytes, the places where something is written, everything it answers.
struct Untouched {
    bytes: Vec<u8>,
    written: Vec<usize>,
    answers: String,
}

const PAGE: usize = 8192;

fn untouched() -> &'static Untouched {
    static UNTOUCHED: OnceLock<Untouched> = OnceLock::new();
    UNTOUCHED.get_or_init(|| {
        let record = Record::of_a_morning();
        let store = SqliteStore::open_read_only(&record.path()).unwrap().0;
        let answers = all_answers(&store).unwrap();
        drop(store);
        let bytes = std::fs::read(record.path()).unwrap();
        // Most of a small file is free room; a change there proves little.
        let near = |place: &usize| bytes[place.saturating_sub(3)..].iter().take(7).any(|b| *b != 0);
        let written = (0..bytes.len()).filter(near).collect();
        Untouched { bytes, written, answers }
    })
}

/// Whether opening or verifying says that something is wrong.
fn is_found(path: &Path) -> bool {
    let Ok((store, opened)) = SqliteStore::open_read_only(path) else { return true };
    let verified = store.verify(&mut |_, _| {});
    opened.broken.is_some() || verified.map_or(true, |verified| verified.broken.is_some())
}

/// Either the damage is found, or nobody reads what changed (free room in a page, a counter of
/// SQLite's own) and every answer is what it was.
fn is_found_or_harmless(altered: &[u8]) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    std::fs::write(&path, altered).unwrap();
    if !is_found(&path) {
        let store = SqliteStore::open_read_only(&path).unwrap().0;
        assert_eq!(all_answers(&store).unwrap(), untouched().answers);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]
    #[test]
    fn no_altered_byte_changes_an_answer_unseen(
        changes in prop::collection::vec((any::<prop::sample::Index>(), 1u8..), 1..4),
    ) {
        let mut altered = untouched().bytes.clone();
        for (place, by) in &changes {
            altered[*place.get(&untouched().written)] ^= by;
        }
        is_found_or_harmless(&altered);
    }

    #[test]
    fn no_misplaced_page_changes_an_answer_unseen(
        from in any::<prop::sample::Index>(), to in any::<prop::sample::Index>(), swapped: bool,
    ) {
        let mut altered = untouched().bytes.clone();
        let pages = altered.len() / PAGE;
        let (from, to) = (from.index(pages) * PAGE, to.index(pages) * PAGE);
        if swapped {
            altered[to..to + PAGE].copy_from_slice(&untouched().bytes[from..from + PAGE]);
        }
        altered[from..from + PAGE].copy_from_slice(&untouched().bytes[to..to + PAGE]);
        is_found_or_harmless(&altered);
    }

    #[test]
    fn no_shortened_file_changes_an_answer_unseen(length in any::<prop::sample::Index>()) {
        let bytes = &untouched().bytes;
        is_found_or_harmless(&bytes[..length.index(bytes.len())]);
    }
}
