//! The demo's record: the same from one seed, whole, and as a works would have written it.

use std::collections::{BTreeMap, HashMap, HashSet};
use std::sync::LazyLock;

use bedplate_demo::{Demo, SEED, WORKS_TOML, generate};
use bedplate_record::entry::Event;
use bedplate_record::reading::Reading;

static DEMO: LazyLock<Demo> = LazyLock::new(|| generate(SEED));

fn events() -> impl Iterator<Item = &'static Event> {
    DEMO.groups.iter().flat_map(|group| &group.entries).map(|entry| &entry.event)
}

fn readings() -> impl Iterator<Item = &'static Reading> {
    DEMO.groups.iter().flat_map(|group| &group.readings)
}

#[test]
fn one_seed_gives_one_record() {
    assert!(generate(SEED) == *DEMO, "two runs of one seed differ");
    assert!(generate(SEED + 1).groups != DEMO.groups, "two seeds give one record");
}

#[test]
fn the_record_is_as_large_as_meant_and_in_order() {
    assert!((120_000..=220_000).contains(&readings().count()), "{}", readings().count());
    let first = &DEMO.groups[0].entries[0];
    let edition = blake3::hash(WORKS_TOML.as_bytes()).to_hex().to_string();
    let taken = Event::PlanTaken { edition: edition.clone(), text: WORKS_TOML.to_owned() };
    assert!(first.event == taken, "the plan is not taken first");
    let deeds: HashSet<_> = DEMO.groups.iter().map(|group| group.deed).collect();
    assert_eq!(deeds.len(), DEMO.groups.len(), "two groups have one deed");
    let mut before = 0;
    for group in &DEMO.groups {
        assert!(!group.entries.is_empty() || !group.readings.is_empty());
        assert!(group.entries.is_sorted_by_key(|e| e.at));
        assert!(group.readings.is_sorted_by_key(|r| r.at));
        let times = group.entries.iter().map(|e| e.at).chain(group.readings.iter().map(|r| r.at));
        for at in times {
            assert!(before < at && at <= group.closed_at, "{at} outside its group");
        }
        before = group.closed_at;
        assert!(group.entries.iter().all(|e| e.edition == edition));
        assert!(group.readings.iter().all(|r| *r.context.edition == *edition));
    }
    assert!(DEMO.truth.ends - before < 120_000, "the record ends too early");
}

#[test]
fn about_ninety_engines_come_to_the_beds_a_day() {
    let mut seen = HashSet::new();
    let mut tested: BTreeMap<i64, u32> = BTreeMap::new();
    for entry in DEMO.groups.iter().flat_map(|group| &group.entries) {
        if let Event::TestRun { engine, .. } = &entry.event
            && seen.insert(engine)
        {
            *tested.entry(entry.at.div_euclid(86_400_000)).or_default() += 1;
        }
    }
    assert_eq!(tested.len(), 30);
    let counts: Vec<u32> = tested.into_values().collect();
    // The first day fills the track; the last ends at 14:10. Held engines that come again put
    // others off to the next day.
    assert!(counts[1..29].iter().all(|n| (80..=105).contains(n)), "{counts:?}");
    assert!((35..=50).contains(&counts[29]), "{counts:?}");
    let mean = f64::from(counts[1..29].iter().sum::<u32>()) / 28.0;
    assert!((86.0..=94.0).contains(&mean), "{mean}");
}

#[test]
fn no_piece_is_used_twice_or_unmade_or_scrapped() {
    let mut made = HashSet::new();
    let mut scrapped = HashSet::new();
    let (mut in_set, mut in_engine) = (HashMap::new(), HashMap::new());
    for event in events() {
        match event {
            Event::PieceMade { piece, .. } => assert!(made.insert(piece), "{piece} made twice"),
            Event::PieceScrapped { piece, .. } => {
                assert!(made.contains(piece) && !in_set.contains_key(piece), "{piece}");
                scrapped.insert(piece);
            }
            Event::SetMade { set, places, .. } => {
                assert_eq!((places.len(), places[0].part.as_str()), (5, "block"));
                for place in places {
                    let piece = &place.piece;
                    assert!(made.contains(piece) && !scrapped.contains(piece), "{piece}");
                    assert!(in_set.insert(piece, set).is_none(), "{piece} in two sets");
                }
            }
            Event::EngineBuilt { engine, set, places, .. } => {
                assert_eq!(places.len(), 19, "{engine}");
                for place in places {
                    let piece = &place.piece;
                    assert!(made.contains(piece) && !scrapped.contains(piece), "{piece}");
                    assert!(in_engine.insert(piece, engine).is_none(), "{piece} in two engines");
                    assert!(in_set.get(piece).is_none_or(|s| *s == set), "{piece} of another set");
                }
            }
            _ => {}
        }
    }
}

#[test]
fn every_built_engine_keeps_its_clearances_and_masses() {
    let mut newest: HashMap<(&str, &str, &str), f64> = HashMap::new();
    let mut built = 0;
    for group in &DEMO.groups {
        let mut taken = group.readings.iter().peekable();
        for entry in &group.entries {
            while let Some(r) = taken.next_if(|r| r.at <= entry.at) {
                newest.insert((&r.piece, &r.characteristic, &r.position), r.value.number());
            }
            let Event::EngineBuilt { engine, places, .. } = &entry.event else { continue };
            built += 1;
            let block = places[0].piece.as_str();
            let mut masses = vec![];
            for place in places.iter().filter(|p| p.part == "piston") {
                let bore = newest[&(block, "block.bore", place.position.as_str())];
                let skirt = newest[&(place.piece.as_str(), "piston.skirt", "")];
                let tenths = (bore * 1e4).round() - (skirt * 1e4).round();
                assert!((300.0..=420.0).contains(&tenths), "{engine} {place:?} {tenths}");
                masses.push((newest[&(place.piece.as_str(), "piston.mass", "")] * 10.0).round());
            }
            let most = masses.iter().copied().fold(f64::MIN, f64::max);
            let least = masses.iter().copied().fold(f64::MAX, f64::min);
            assert!(masses.len() == 4 && most - least <= 40.0, "{engine} {masses:?}");
        }
        for r in taken {
            newest.insert((&r.piece, &r.characteristic, &r.position), r.value.number());
        }
    }
    assert!(built > 2_400, "{built}");
}

#[test]
fn steps_follow_the_build_and_the_bed_follows_the_steps() {
    let mut steps: HashMap<&str, Vec<&str>> = HashMap::new();
    let mut waived = 0;
    let mut tested = HashSet::new();
    for event in events() {
        match event {
            Event::EngineBuilt { engine, .. } => {
                assert!(steps.insert(engine, vec![]).is_none(), "{engine} built twice");
            }
            Event::StepDone { engine, step } => steps.get_mut(&**engine).unwrap().push(step),
            Event::StepWaived { engine, step, .. } => {
                waived += 1;
                steps.get_mut(&**engine).unwrap().push(step);
            }
            Event::TestRun { engine, .. } => {
                let all = ["mains", "pistons", "head", "valves", "prime", "finish"];
                assert_eq!(steps[engine.as_str()], all, "{engine}");
                tested.insert(engine);
            }
            Event::EnginePassed { engine, .. } | Event::EngineHeld { engine, .. } => {
                assert!(tested.contains(engine), "{engine} decided untested");
            }
            _ => {}
        }
    }
    assert!((3..=30).contains(&waived), "{waived}");
}

#[test]
fn everyone_named_is_of_the_works_and_every_gauge_is_proved() {
    let works: toml::Table = WORKS_TOML.parse().unwrap();
    let people = works["person"].as_table().unwrap();
    let gauges = works["gauge"].as_table().unwrap();
    let mut checked: HashMap<&str, i64> = HashMap::new();
    for group in &DEMO.groups {
        for entry in &group.entries {
            assert!(people.contains_key(&entry.by), "{}", entry.by);
            if let Event::GaugeCalibrated { gauge, .. } = &entry.event {
                let days = gauges[gauge.as_str()]["proving_days"].as_integer().unwrap();
                if let Some(last) = checked.insert(gauge, entry.at) {
                    assert!(entry.at - last <= days * 86_400_000 + 3_600_000, "{gauge} late");
                }
            }
        }
        for reading in &group.readings {
            let context = &reading.context;
            assert!(people.contains_key(&*context.person), "{}", context.person);
            assert!(gauges.contains_key(&*context.gauge), "{}", context.gauge);
        }
    }
    for (gauge, of) in gauges {
        let days = of["proving_days"].as_integer().unwrap();
        assert!(DEMO.truth.ends - checked[gauge.as_str()] < days * 86_400_000, "{gauge} overdue");
    }
}

/// What stands on the floor at the end.
#[derive(Debug, Default)]
struct Standing {
    free: HashMap<&'static str, HashSet<&'static str>>,
    trays: HashSet<&'static str>,
    engines: HashMap<&'static str, &'static str>,
    drilled: HashSet<&'static str>,
}

fn standing() -> Standing {
    let mut floor = Standing::default();
    let take = |floor: &mut Standing, piece: &'static str| {
        floor.free.values_mut().for_each(|of_part| {
            of_part.remove(piece);
        });
    };
    for event in events() {
        match event {
            Event::PieceMade { piece, part, .. } => {
                floor.free.entry(part).or_default().insert(piece);
            }
            Event::PieceScrapped { piece, .. } => take(&mut floor, piece),
            Event::SetMade { set, places, .. } => {
                places.iter().for_each(|place| take(&mut floor, &place.piece));
                floor.trays.insert(set);
            }
            Event::EngineBuilt { engine, set, places, .. } => {
                places.iter().for_each(|place| take(&mut floor, &place.piece));
                floor.trays.remove(&**set);
                floor.engines.insert(engine, "on the track");
            }
            Event::HolesDrilled { piece, .. } => {
                floor.drilled.insert(piece);
            }
            Event::StepDone { engine, step } if step == "finish" => {
                floor.engines.insert(engine, "waits for a bed");
            }
            Event::TestRun { engine, .. } => {
                floor.engines.insert(engine, "tested");
            }
            Event::EnginePassed { engine, .. } => {
                floor.engines.insert(engine, "passed");
            }
            Event::EngineHeld { engine, .. } => {
                floor.engines.insert(engine, "held");
            }
            _ => {}
        }
    }
    floor
}

#[test]
fn the_floor_holds_work_in_progress_at_the_end() {
    let floor = standing();
    let read: HashSet<(&str, &str)> = readings().map(|r| (&*r.piece, &*r.characteristic)).collect();
    let gauged = |part: &str, of: &'static str| {
        floor.free[part].iter().filter(|piece| read.contains(&(**piece, of))).count()
    };
    assert!((50..=70).contains(&gauged("block", "block.bore")));
    assert!((270..=330).contains(&gauged("piston", "piston.mass")));
    assert!((10..=16).contains(&floor.trays.len()), "{} trays", floor.trays.len());
    let cranks = &floor.free["crankshaft"];
    let undrilled: Vec<_> = cranks.iter().filter(|c| !floor.drilled.contains(**c)).collect();
    let measured =
        undrilled.iter().filter(|c| read.contains(&(***c, "crankshaft.unbalance"))).count();
    assert!((30..=70).contains(&undrilled.len()), "{} cranks wait", undrilled.len());
    assert_eq!(measured, 1, "crankshafts measured and not yet drilled");
    let count = |state: &str| floor.engines.values().filter(|s| **s == state).count();
    assert!(count("on the track") >= 3 && count("waits for a bed") >= 2, "{floor:?}");
    assert_eq!(floor.engines[DEMO.truth.weak_engine.as_str()], "held");
}
