//! Made-up readings and entries of the Quarrybeck Engine Works, the same for every test.
#![allow(dead_code, reason = "each test file takes what it needs")]

use std::sync::Arc;

use bedplate_gauge::quantity::Quantity;
use bedplate_record::entry::{Entry, Event, PlaceFilled};
use bedplate_record::reading::{Context, Reading};
use bedplate_record::store::{DeedId, Group, Store, Wanted};

pub(crate) const MORNING: i64 = 1_790_000_000_000;
pub(crate) const CHARACTERISTICS: [&str; 3] = ["block.bore", "piston.diameter", "piston.mass"];

/// A deed id from a small number.
pub(crate) fn deed(number: u64) -> DeedId {
    let mut id = [0xd0; 16];
    id[..8].copy_from_slice(&number.to_le_bytes());
    id
}

pub(crate) fn context(gauge: &str, person: &str) -> Arc<Context> {
    Arc::new(Context {
        gauge: gauge.into(),
        person: person.into(),
        machine: "M3".into(),
        spindle: "2".into(),
        tool: "".into(),
        source: "page".into(),
        edition: "edition-1".into(),
    })
}

/// The `i`-th reading of a day: three characteristics in turn, four positions, a piece for every
/// three readings, one reading a second, two gauges.
pub(crate) fn reading(i: u64) -> Reading {
    let which = usize::try_from(i % 3).unwrap();
    let value = match which {
        0 => format!("68.0{:03} mm", i % 200),
        1 => format!("67.9{:02} mm", i % 90),
        _ => format!("416.{} g", i % 10),
    };
    let gauge = if i.is_multiple_of(2) { "AG-1" } else { "AG-2" };
    Reading {
        at: MORNING + i64::try_from(i).unwrap() * 1000,
        characteristic: CHARACTERISTICS[which].into(),
        piece: format!("B{:04}", i / 3).into(),
        position: ["1", "2", "3", ""][usize::try_from(i % 4).unwrap()].into(),
        value: value.parse::<Quantity>().unwrap(),
        context: context(gauge, "Ilse Brandt"),
    }
}

pub(crate) fn entry(event: Event) -> Entry {
    Entry { at: MORNING, by: "Ilse Brandt".into(), edition: "edition-1".into(), event }
}

pub(crate) fn piece_made(piece: &str, heat: &str) -> Entry {
    let (piece, part, heat) = (piece.into(), "block".into(), heat.into());
    entry(Event::PieceMade { piece, part, heat })
}

pub(crate) fn engine_built(engine: &str, pieces: &[&str]) -> Entry {
    let place = |piece: &&str| PlaceFilled {
        part: "piston".into(),
        position: "1".into(),
        piece: (*piece).into(),
    };
    entry(Event::EngineBuilt {
        engine: engine.into(),
        engine_type: "QB4".into(),
        set: "S12".into(),
        places: pieces.iter().map(place).collect(),
    })
}

/// A group of the day: `entries` pieces made, then `readings` readings, the first of them `from`.
pub(crate) fn group(id: u64, entries: u64, from: u64, readings: u64) -> Group {
    Group {
        deed: deed(id),
        closed_at: MORNING + i64::try_from(from).unwrap() * 1000,
        entries: (0..entries).map(|i| piece_made(&format!("B{id}-{i}"), "H77")).collect(),
        readings: (from..from + readings).map(reading).collect(),
    }
}

/// A morning: 12 groups, 20 entries, 204 readings.
pub(crate) fn morning() -> Vec<Group> {
    let mut groups: Vec<Group> = (0..10).map(|i| group(i, i % 3, i * 20, 20)).collect();
    groups.push(group(10, 1, 200, 4));
    groups.push(Group {
        deed: deed(11),
        closed_at: MORNING,
        entries: (0..10).map(|i| engine_built(&format!("QB4-{i}"), &["B0001", "B0002"])).collect(),
        readings: vec![],
    });
    groups
}

/// Everything a store answers, as one text: two stores that agree in it hold the same.
pub(crate) fn all_answers(store: &dyn Store) -> Result<String, bedplate_record::store::StoreError> {
    let mut text = format!("{:?}\n", store.head()?);
    for entry in store.entries(0, usize::MAX)? {
        text += &format!("{entry:?}\n");
        for subject in entry.entry.event.subjects() {
            let about = store.about(&subject)?;
            text +=
                &format!("{subject:?} {:?}\n", about.iter().map(|e| e.number).collect::<Vec<_>>());
        }
    }
    let every: Vec<u64> = (0..300).collect();
    let (from, to) = (i64::MIN, i64::MAX);
    let pieces: Vec<String> = (0..70).map(|i| format!("B{i:04}")).collect();
    let mut wanted = vec![Wanted::Numbers(&every)];
    wanted.extend(CHARACTERISTICS.map(|name| Wanted::Characteristic { name, from, to }));
    wanted.extend(CHARACTERISTICS.map(|name| Wanted::Newest { name, position: "2", count: 5 }));
    wanted.extend(["AG-1", "AG-2"].map(|gauge| Wanted::Gauge { gauge, from, to }));
    wanted.extend(pieces.iter().map(|piece| Wanted::Piece(piece)));
    for wanted in &wanted {
        text += &format!("{:?}\n", store.readings(wanted)?);
    }
    for number in 0..300 {
        text += &format!("{:?}\n", store.seal_of(number)?);
    }
    Ok(text)
}
