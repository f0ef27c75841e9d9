//! A process that appends is killed at any instant: nothing it acknowledged is lost, nothing half
//! written is shown.
#![cfg(unix)]
#![allow(clippy::unwrap_used, reason = "a test may fail by a panic")]

mod samples;

use std::hash::{BuildHasher as _, RandomState};
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use bedplate_record::sqlite::SqliteStore;
use bedplate_record::store::{Store, Wanted};
use samples::{group, reading};

const RECORD: &str = "BEDPLATE_KILL_TEST_RECORD";
const ROUND: &str = "BEDPLATE_KILL_TEST_ROUND";
const APPENDERS: u64 = 3;

#[test]
fn a_kill_at_any_instant_loses_nothing_acknowledged() {
    // The test runs itself again as the process that is killed.
    if let (Ok(path), Ok(round)) = (std::env::var(RECORD), std::env::var(ROUND)) {
        return append_until_killed(Path::new(&path), round.parse().unwrap());
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    let mut acknowledged = vec![];
    for round in 0..8 {
        let after = Duration::from_micros(RandomState::new().hash_one(round) % 120_000);
        acknowledged.extend(kept_before_the_kill(&path, round, after));
        let (store, opened) = SqliteStore::open(&path).unwrap();
        assert_eq!((opened.ended_suddenly, &opened.broken), (true, &None), "{after:?}");
        let verified = store.verify(&mut |_, _| {}).unwrap();
        assert_eq!(verified.broken, None, "killed after {after:?}");
        for (id, first, last) in &acknowledged {
            // One entry and two readings; the group is there whole, with what was handed over.
            assert_eq!(store.entries(*first, 1).unwrap()[0].number, *first);
            let readings = store.readings(&Wanted::Numbers(&[last - 1, *last])).unwrap();
            let content: Vec<_> = readings.into_iter().map(|kept| kept.reading).collect();
            assert_eq!(content, [reading(*id), reading(id + 1)], "killed after {after:?}");
        }
    }
    assert!(acknowledged.len() >= 8);
}

/// Id, first and last number of every group that was acknowledged before the process was killed.
fn kept_before_the_kill(path: &Path, round: u64, after: Duration) -> Vec<(u64, u64, u64)> {
    let name = "a_kill_at_any_instant_loses_nothing_acknowledged";
    let mut child = Command::new(std::env::current_exe().unwrap())
        .args([name, "--exact", "--nocapture"])
        .env(RECORD, path)
        .env(ROUND, round.to_string())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut kept: Vec<_> =
        lines.by_ref().map_while(Result::ok).find_map(|l| read_line(&l)).into_iter().collect();
    std::thread::sleep(after);
    child.kill().unwrap();
    child.wait().unwrap();
    kept.extend(lines.map_while(Result::ok).filter_map(|line| read_line(&line)));
    assert!(!kept.is_empty(), "the process came to nothing");
    kept
}

/// A whole line ends with a point; one that was cut by the kill is no acknowledgement.
fn read_line(line: &str) -> Option<(u64, u64, u64)> {
    let mut numbers = line.strip_prefix("kept ")?.strip_suffix('.')?.split(' ').map(str::parse);
    let mut next = || numbers.next().and_then(Result::ok);
    Some((next()?, next()?, next()?))
}

fn append_until_killed(path: &Path, round: u64) {
    let (store, _) = SqliteStore::open(path).unwrap();
    std::thread::scope(|scope| {
        for appender in 0..APPENDERS {
            let store = &store;
            scope.spawn(move || {
                for turn in 0.. {
                    let id = (round * APPENDERS + appender) * 10_000_000 + turn;
                    let answer = store.append(&group(id, 1, id, 2), None).unwrap();
                    let (first, last) = (answer.first_number, answer.head.last_number);
                    let mut out = std::io::stdout().lock();
                    out.write_all(format!("kept {id} {first} {last}.\n").as_bytes()).unwrap();
                    out.flush().unwrap();
                }
            });
        }
    });
}
