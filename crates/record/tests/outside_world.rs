//! What comes from outside: another process, another format, a disk that refuses.
#![allow(clippy::unwrap_used, reason = "a test may fail by a panic")]

mod samples;

use std::path::Path;
use std::process::Command;

use bedplate_record::sqlite::SqliteStore;
use bedplate_record::store::{Store, StoreError, Wanted};
use rusqlite::Connection;
use samples::{all_answers, group, morning};

const ROLE: &str = "BEDPLATE_OUTSIDE_TEST_RECORD";

/// Runs one test of this file again in a process of its own, behind `before` (a shell's words).
fn in_another_process(test: &str, path: &Path, before: &str) -> String {
    let output = Command::new("sh")
        .args(["-c", &format!("{before} exec \"$0\" \"$@\"")])
        .arg(std::env::current_exe().unwrap())
        .args([test, "--exact", "--nocapture"])
        .env(ROLE, path)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{said}{}", String::from_utf8_lossy(&output.stderr));
    said
}

#[test]
#[cfg(unix)]
fn a_second_process_is_refused_while_one_writes() {
    if let Ok(path) = std::env::var(ROLE) {
        let path = Path::new(&path);
        match SqliteStore::open(path) {
            Err(StoreError::InUse { path: named }) => assert_eq!(Path::new(&named), path),
            other => panic!("not refused: {other:?}"),
        }
        let (store, opened) = SqliteStore::open_read_only(path).unwrap();
        assert_eq!((opened.broken, opened.head.groups), (None, 12));
        assert_eq!(store.verify(&mut |_, _| {}).unwrap().broken, None);
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    let (store, _) = SqliteStore::open(&path).unwrap();
    store.append_all(morning()).unwrap();
    in_another_process("a_second_process_is_refused_while_one_writes", &path, "");
    assert!(matches!(SqliteStore::open(&path), Err(StoreError::InUse { .. })));
    drop(store);
    let (_, opened) = SqliteStore::open(&path).unwrap();
    assert_eq!((opened.new, opened.ended_suddenly), (false, false));
    let groups = "the record holds 12 groups, the last number is 224; the last seal agrees";
    assert_eq!(opened.to_string(), groups);
}

#[test]
fn a_reader_beside_the_writer_sees_what_is_appended() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    let (writer, opened) = SqliteStore::open(&path).unwrap();
    assert!(opened.new);
    let (reader, _) = SqliteStore::open_read_only(&path).unwrap();
    for group in morning() {
        writer.append(&group, None).unwrap();
        assert_eq!(all_answers(&reader).unwrap(), all_answers(&writer).unwrap());
    }
    match reader.append(&group(99, 1, 0, 1), None) {
        Err(StoreError::Outside { cause, .. }) => assert!(cause.contains("reading only")),
        other => panic!("not refused: {other:?}"),
    }
}

#[test]
fn a_newer_format_is_refused_and_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    drop(SqliteStore::open(&path).unwrap());
    Connection::open(&path).unwrap().pragma_update(None, "user_version", 2).unwrap();
    let before = std::fs::read(&path).unwrap();
    for opened in [SqliteStore::open(&path), SqliteStore::open_read_only(&path)] {
        match opened {
            Err(StoreError::Newer { found, known }) => assert_eq!((found, known), (2, 1)),
            other => panic!("not refused: {other:?}"),
        }
    }
    assert_eq!(std::fs::read(&path).unwrap(), before);
    Connection::open(&path).unwrap().pragma_update(None, "user_version", 1).unwrap();
    SqliteStore::open(&path).unwrap();
}

#[test]
fn what_is_no_record_is_refused_and_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let other = folder.path().join("other.db");
    Connection::open(&other).unwrap().execute_batch("CREATE TABLE mine (x)").unwrap();
    let text = folder.path().join("text.db");
    std::fs::write(&text, "piece,bore\nB0001,68.012 mm\n".repeat(100)).unwrap();
    let before = [&other, &text].map(|path| std::fs::read(path).unwrap());
    for open in [SqliteStore::open, SqliteStore::open_read_only] {
        assert!(matches!(open(&other), Err(StoreError::Outside { .. })));
        assert!(matches!(open(&text), Err(StoreError::Damaged { number: 0, .. })));
        let inner = folder.path().join("folder");
        std::fs::create_dir_all(&inner).unwrap();
        assert!(matches!(open(&inner), Err(StoreError::Outside { .. })));
        assert!(!folder.path().join("folder.lock").exists());
        let nowhere = folder.path().join("no such folder").join("record.db");
        assert!(matches!(open(&nowhere), Err(StoreError::Outside { .. })));
    }
    let missing = folder.path().join("missing.db");
    assert!(matches!(SqliteStore::open_read_only(&missing), Err(StoreError::Outside { .. })));
    assert!(!missing.exists());
    assert_eq!([&other, &text].map(|path| std::fs::read(path).unwrap()), before);
}

#[test]
fn an_empty_file_becomes_a_record() {
    // What is left if the process ends between making the file and laying the tables.
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    std::fs::write(&path, "").unwrap();
    let (store, opened) = SqliteStore::open(&path).unwrap();
    assert_eq!((opened.head.groups, opened.broken), (0, None));
    store.append(&group(1, 1, 0, 1), None).unwrap();
}

#[test]
#[cfg(unix)]
fn a_disk_that_refuses_keeps_nothing_of_the_group() {
    if let Ok(path) = std::env::var(ROLE) {
        return append_until_refused(Path::new(&path));
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    // No file may grow beyond some hundred kilobytes; the signal for it is ignored, so that the
    // write itself fails as it does on a full disk.
    let name = "a_disk_that_refuses_keeps_nothing_of_the_group";
    let said = in_another_process(name, &path, "trap '' XFSZ; ulimit -f 600;");
    let kept = said.lines().filter(|line| *line == "kept").count();
    assert!(kept > 0 && said.contains("refused"), "{said}");
    let (store, opened) = SqliteStore::open(&path).unwrap();
    assert_eq!((opened.head.groups, opened.broken), (kept as u64, None));
    let verified = store.verify(&mut |_, _| {}).unwrap();
    assert_eq!((verified.groups, verified.broken), (kept as u64, None));
    // With room again the same deed is taken.
    let next = store.append(&group(kept as u64, 1, 0, 200), None).unwrap();
    assert!(!next.already_done);
    assert_eq!(next.head.groups, kept as u64 + 1);
}

#[cfg(unix)]
fn append_until_refused(path: &Path) {
    use std::io::Write as _;
    let (store, _) = SqliteStore::open(path).unwrap();
    let mut out = std::io::stdout();
    for id in 0..2000 {
        let before = store.head().unwrap();
        match store.append(&group(id, 1, 0, 200), None) {
            Ok(_) => out.write_all(b"\nkept\n").unwrap(),
            Err(StoreError::Outside { path: named, cause }) => {
                assert_eq!(Path::new(&named), path);
                assert!(!cause.is_empty());
                assert_eq!(store.head().unwrap(), before);
                let wanted = Wanted::Numbers(&[before.last_number + 2]);
                assert_eq!(store.readings(&wanted).unwrap(), vec![]);
                return out.write_all(b"\nrefused\n").unwrap();
            }
            Err(other) => panic!("{other}"),
        }
    }
}
