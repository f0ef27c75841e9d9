//! How fast the record takes readings, how much room they need, how fast they come back.
//!
//! `cargo bench -p bedplate-record` prints one figure a line; a number as argument sets how many
//! readings (300000 if none). Plain `std` timing; on Linux also the processor's own seconds, which
//! stay the same when the machine has other work.
#![allow(missing_docs, clippy::unwrap_used, clippy::print_stdout)]

use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::Unit;
use bedplate_record::reading::{Context, Name, Reading};
use bedplate_record::sqlite::SqliteStore;
use bedplate_record::store::{Group, Store, Wanted};

const GROUP: usize = 5_000;
const CHARACTERISTICS: usize = 80;

fn main() {
    let count = std::env::args().find_map(|arg| arg.parse().ok()).unwrap_or(300_000);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("record.db");
    let (store, _) = SqliteStore::open(&path).unwrap();

    let groups = groups(count);
    let began = Watch::start();
    for group in &groups {
        store.append(group, None).unwrap();
    }
    report("append, groups of 5000, each flushed", count, &began);
    room(&store, folder.path(), count);

    let (bulk, _) = SqliteStore::open(&folder.path().join("bulk.db")).unwrap();
    let began = Watch::start();
    bulk.append_all(groups.clone()).unwrap();
    report("append_all, one transaction", count, &began);
    drop((bulk, groups));

    for appenders in [1, 8, 64] {
        single(&store, appenders);
    }

    let began = Watch::start();
    let wanted = Wanted::Characteristic { name: "part.feature-07", from: 0, to: i64::MAX };
    let found = store.readings(&wanted).unwrap().len();
    report("one characteristic, all", found, &began);
    let began = Watch::start();
    let found = store.readings(&Wanted::Piece("P0000007")).unwrap().len();
    report("one piece", found, &began);
    let began = Watch::start();
    let numbers: Vec<u64> = (1..=1000).map(|n| n * count as u64 / 1001).collect();
    let found = store.readings(&Wanted::Numbers(&numbers)).unwrap().len();
    report("a thousand numbers", found, &began);
    let began = Watch::start();
    let verified = store.verify(&mut |_, _| {}).unwrap();
    assert_eq!(verified.broken, None);
    report("verify", usize::try_from(verified.readings).unwrap(), &began);
}

fn report(what: &str, count: usize, began: &Watch) {
    let (seconds, busy) = (began.at.elapsed().as_secs_f64(), busy_seconds() - began.busy);
    let rate = count as f64 / seconds;
    println!("{what:40} {count:>9} in {seconds:7.3} s ({busy:6.2} s busy) {rate:>9.0} /s");
}

struct Watch {
    at: Instant,
    busy: f64,
}

impl Watch {
    fn start() -> Self {
        Self { busy: busy_seconds(), at: Instant::now() }
    }
}

/// Processor seconds of this process, in steps of 10 ms; 0 where the system does not tell.
fn busy_seconds() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after_name = stat.rsplit(')').next().unwrap_or_default();
    let ticks =
        after_name.split_whitespace().skip(11).take(2).filter_map(|t| t.parse::<f64>().ok());
    ticks.sum::<f64>() / 100.0
}

/// Bytes a reading, by copying the record and asking the copy how its pages are used.
fn room(store: &SqliteStore, folder: &Path, count: usize) {
    let copy = folder.join("copy.db");
    store.backup(&copy).unwrap();
    let file = std::fs::metadata(&copy).unwrap().len();
    println!("file                                     {:.1} bytes a reading", per(file, count));
    let conn = rusqlite::Connection::open(&copy).unwrap();
    let mut pages =
        conn.prepare("SELECT name, sum(pgsize) FROM dbstat GROUP BY name ORDER BY 2 DESC").unwrap();
    let mut rows = pages.query([]).unwrap();
    while let Some(row) = rows.next().unwrap() {
        let (name, bytes): (String, u64) = (row.get(0).unwrap(), row.get(1).unwrap());
        if per(bytes, count) > 0.005 {
            println!("  {name:38} {:.2}", per(bytes, count));
        }
    }
}

fn per(bytes: u64, count: usize) -> f64 {
    bytes as f64 / count as f64
}

/// Readings one by one, each acknowledged, from several gauges at once.
fn single(store: &SqliteStore, appenders: usize) {
    let each = 4_000 / appenders;
    let began = Watch::start();
    std::thread::scope(|scope| {
        for appender in 0..appenders {
            scope.spawn(move || {
                let context = context(appender);
                for i in 0..each {
                    let mut deed = [0xff; 16];
                    deed[..8]
                        .copy_from_slice(&((appenders * 1000 + appender) as u64).to_le_bytes());
                    deed[8..12].copy_from_slice(&u32::try_from(i).unwrap().to_le_bytes());
                    let readings = vec![reading(i, 1 + appender % 7, &context)];
                    let group = Group { deed, closed_at: 0, entries: vec![], readings };
                    store.append(&group, None).unwrap();
                }
            });
        }
    });
    report(&format!("single readings, {appenders} at once"), each * appenders, &began);
}

fn groups(count: usize) -> Vec<Group> {
    let contexts: Vec<_> = (0..CHARACTERISTICS).map(context).collect();
    let readings: Vec<Reading> = (0..count)
        .map(|i| reading(i, i % CHARACTERISTICS, &contexts[i % CHARACTERISTICS]))
        .collect();
    let numbered = readings.chunks(GROUP).enumerate();
    numbered
        .map(|(i, readings)| {
            let mut deed = [0; 16];
            deed[..8].copy_from_slice(&(i as u64).to_le_bytes());
            Group { deed, closed_at: 0, entries: vec![], readings: readings.to_vec() }
        })
        .collect()
}

fn reading(i: usize, characteristic: usize, context: &Arc<Context>) -> Reading {
    let spread = i64::try_from(i.wrapping_mul(2_654_435_761) % 200).unwrap();
    Reading {
        at: 1_790_000_000_000 + i64::try_from(i).unwrap() * 700,
        characteristic: format!("part.feature-{characteristic:02}").into(),
        piece: format!("P{:07}", i / 20).into(),
        position: (1 + i % 4).to_string().into(),
        value: Quantity::new(680_000 + spread, -4, Unit::named("mm").unwrap()),
        context: context.clone(),
    }
}

fn context(which: usize) -> Arc<Context> {
    let name = |text: String| -> Name { text.into() };
    Arc::new(Context {
        gauge: name(format!("AG-{}", which % 12)),
        person: name(format!("person {}", which % 9)),
        machine: name(format!("M{}", which % 5)),
        spindle: name((1 + which % 2).to_string()),
        tool: name(String::new()),
        source: name("http".to_owned()),
        edition: name("e1".to_owned()),
    })
}
