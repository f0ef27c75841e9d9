//! One story, told to every store: what the record promises whichever way it is kept.
#![allow(clippy::unwrap_used, reason = "a test may fail by a panic")]

mod samples;

use std::collections::HashSet;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use bedplate_gauge::quantity::Quantity;
use bedplate_gauge::unit::UNITS;
use bedplate_record::entry::{Event, Subject};
use bedplate_record::memory::{Fault, MemoryStore};
use bedplate_record::reading::{KeptReading, Reading};
use bedplate_record::sqlite::SqliteStore;
use bedplate_record::store::{Group, Head, Seal, Store, StoreError, Wanted};
use proptest::prelude::*;
use samples::{
    MORNING, all_answers, context, deed, engine_built, entry, group, morning, piece_made, reading,
};

/// A store under test, with a folder of its own.
struct Rig {
    store: Option<Box<dyn Store>>,
    folder: tempfile::TempDir,
    reopen: Reopen,
}

/// Closes what was open at the path and opens it again.
type Reopen = fn(&Path, Option<Box<dyn Store>>) -> Box<dyn Store>;

impl Rig {
    fn memory() -> Self {
        Self::new(|_, before| before.unwrap_or_else(|| Box::new(MemoryStore::new())))
    }

    fn sqlite() -> Self {
        Self::new(|path, before| {
            drop(before);
            Box::new(SqliteStore::open(path).unwrap().0)
        })
    }

    fn new(reopen: Reopen) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mut rig = Self { store: None, folder, reopen };
        rig.reopen();
        rig
    }

    fn reopen(&mut self) {
        self.store = Some((self.reopen)(&self.path("record.db"), self.store.take()));
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn store(&self) -> &dyn Store {
        self.store.as_deref().unwrap()
    }

    fn with(self, groups: Vec<Group>) -> Self {
        self.store().append_all(groups).unwrap();
        self
    }
}

fn verified_to(store: &dyn Store, head: Head) {
    let verified = store.verify(&mut |_, _| {}).unwrap();
    assert_eq!(verified.broken, None);
    assert_eq!((verified.head, verified.groups), (head, head.groups));
    assert_eq!(verified.entries + verified.readings, head.last_number);
}

fn numbers(readings: &[KeptReading]) -> Vec<u64> {
    readings.iter().map(|kept| kept.number).collect()
}

fn an_empty_record_answers(rig: Rig) {
    let head = Head { groups: 0, last_number: 0, seal: Seal::FIRST };
    assert_eq!(rig.store().head().unwrap(), head);
    assert_eq!(rig.store().entries(1, 10).unwrap(), vec![]);
    assert_eq!(rig.store().readings(&Wanted::Piece("B1")).unwrap(), vec![]);
    assert_eq!(rig.store().seal_of(1).unwrap(), None);
    verified_to(rig.store(), head);
}

fn numbers_follow_each_other_entries_first(rig: Rig) {
    let first = rig.store().append(&group(1, 2, 0, 3), None).unwrap();
    assert_eq!((first.first_number, first.head.groups, first.head.last_number), (1, 1, 5));
    let second = rig.store().append(&group(2, 1, 3, 1), None).unwrap();
    assert_eq!((second.first_number, second.head.groups, second.head.last_number), (6, 2, 7));
    assert!(!second.already_done);
    assert_eq!(rig.store().head().unwrap(), second.head);
    let entries = rig.store().entries(0, 10).unwrap();
    assert_eq!(entries.iter().map(|e| e.number).collect::<Vec<_>>(), [1, 2, 6]);
    let all = rig.store().readings(&Wanted::Numbers(&[7, 5, 4, 3, 2, 1, 99])).unwrap();
    assert_eq!(numbers(&all), [3, 4, 5, 7]);
    verified_to(rig.store(), second.head);
}

fn what_comes_back_is_what_went_in(rig: Rig) {
    let odd = |i: u64, text: &str, value: Quantity| Reading {
        piece: text.into(),
        position: text.into(),
        value,
        ..reading(i)
    };
    let mm = &UNITS[5];
    let went_in = Group {
        deed: deed(1),
        closed_at: i64::MIN,
        entries: vec![
            entry(Event::PlanTaken {
                edition: "e1".into(),
                text: "ø 68\n\t\"µ\"\u{0}𝛑".repeat(9000),
            }),
            engine_built("QB4-1", &["B0001", "B0001"]),
        ],
        readings: vec![
            odd(0, "", Quantity::new(0, 0, mm)),
            odd(0, "", Quantity::new(i64::MIN, i8::MIN, mm)),
            odd(0, "\u{0}ü", Quantity::new(i64::MAX, i8::MAX, UNITS.last().unwrap())),
            odd(0, "1", "68.0090 mm".parse().unwrap()),
            odd(0, "1", "68.009 mm".parse().unwrap()),
            Reading { at: i64::MAX, characteristic: "".into(), ..reading(0) },
            Reading { at: i64::MIN, ..reading(0) },
        ],
    };
    let head = rig.store().append(&went_in, None).unwrap().head;
    let entries = rig.store().entries(1, usize::MAX).unwrap();
    let json = |e| serde_json::to_string(e).unwrap();
    let came_back: Vec<String> = entries.iter().map(|kept| json(&kept.entry)).collect();
    assert_eq!(came_back, went_in.entries.iter().map(json).collect::<Vec<_>>());
    let all: Vec<u64> = (1..=head.last_number).collect();
    let readings = rig.store().readings(&Wanted::Numbers(&all)).unwrap();
    let came_back: Vec<Reading> = readings.iter().map(|kept| kept.reading.clone()).collect();
    assert_eq!(came_back, went_in.readings);
    assert_eq!(came_back[3].value.to_string(), "68.0090 mm");
    assert_eq!(came_back[4].value.to_string(), "68.009 mm");
    verified_to(rig.store(), head);
}

fn the_same_deed_twice_is_done_once(rig: Rig) {
    let first = rig.store().append(&group(1, 1, 0, 3), None).unwrap();
    rig.store().append(&group(2, 0, 3, 3), None).unwrap();
    // Also if the head has moved on, and whatever the repeated group says.
    for again in [group(1, 1, 0, 3), group(1, 5, 0, 9)] {
        let answer = rig.store().append(&again, Some(Seal::FIRST)).unwrap();
        assert!(answer.already_done);
        assert_eq!((answer.first_number, answer.head), (first.first_number, first.head));
    }
    let both = rig.store().append_all(vec![group(3, 0, 6, 2), group(3, 0, 6, 2)]).unwrap();
    assert_eq!((both[0].already_done, both[1].already_done), (false, true));
    assert_eq!(both[0].head, both[1].head);
    assert_eq!(rig.store().head().unwrap().last_number, 9);
    verified_to(rig.store(), both[0].head);
}

fn the_same_deed_in_parallel_is_done_once(rig: Rig) {
    let answers: Vec<_> = std::thread::scope(|scope| {
        let appender = || scope.spawn(|| rig.store().append(&group(7, 1, 0, 5), None).unwrap());
        let appenders: Vec<_> = (0..8).map(|_| appender()).collect();
        appenders.into_iter().map(|a| a.join().unwrap()).collect()
    });
    assert_eq!(answers.iter().filter(|a| !a.already_done).count(), 1);
    assert!(answers.iter().all(|a| a.head == answers[0].head && a.first_number == 1));
    verified_to(rig.store(), answers[0].head);
}

fn a_head_that_moved_is_refused(rig: Rig) {
    let first = rig.store().append(&group(1, 1, 0, 1), Some(Seal::FIRST)).unwrap();
    let second = rig.store().append(&group(2, 0, 1, 1), Some(first.head.seal)).unwrap();
    match rig.store().append(&group(3, 0, 2, 1), Some(first.head.seal)) {
        Err(StoreError::HeadMoved { believed, found }) => {
            assert_eq!((believed, found), (first.head.seal, second.head.seal));
        }
        other => panic!("not refused: {other:?}"),
    }
    assert_eq!(rig.store().head().unwrap(), second.head);
    rig.store().append(&group(3, 0, 2, 1), Some(second.head.seal)).unwrap();
}

fn every_question_about_readings_is_answered(rig: Rig) {
    let rig = rig.with(vec![group(1, 2, 0, 60), group(2, 1, 60, 60)]);
    let ask = |wanted| rig.store().readings(&wanted).unwrap();
    let second = |i: i64| MORNING + i * 1000;
    let (name, from, to) = ("block.bore", second(30), second(90));
    let bores = ask(Wanted::Characteristic { name, from, to });
    // The i-th reading is a bore if three divides i; both ends of the time belong to it.
    assert_eq!(bores.len(), 21);
    assert_eq!((bores[0].reading.at, bores[20].reading.at), (second(30), second(90)));
    assert!(bores.is_sorted_by_key(|kept| kept.number));
    let none = ask(Wanted::Characteristic { name, from: to, to: from });
    assert!(none.is_empty());
    assert!(ask(Wanted::Characteristic { name: "block.bor", from, to }).is_empty());

    let newest = ask(Wanted::Newest { name, position: "", count: 3 });
    assert_eq!(
        newest.iter().map(|k| k.reading.at).collect::<Vec<_>>(),
        [111, 114, 117].map(second)
    );
    let newest = ask(Wanted::Newest { name, position: "3", count: 2 });
    assert_eq!(newest.iter().map(|k| k.reading.at).collect::<Vec<_>>(), [102, 114].map(second));
    assert!(ask(Wanted::Newest { name, position: "9", count: 2 }).is_empty());
    assert!(ask(Wanted::Newest { name, position: "", count: 0 }).is_empty());
    assert_eq!(ask(Wanted::Newest { name, position: "", count: usize::MAX }).len(), 40);

    let piece = ask(Wanted::Piece("B0021"));
    assert_eq!(numbers(&piece), [67, 68, 69]);
    assert_eq!(piece[1].reading, reading(64));
    assert!(ask(Wanted::Piece("B")).is_empty());

    let gauge = ask(Wanted::Gauge { gauge: "AG-2", from, to });
    assert_eq!(gauge.len(), 30);
    assert!(gauge.is_sorted_by_key(|kept| kept.number));
    assert!(gauge.iter().all(|kept| &*kept.reading.context.gauge == "AG-2"));
    assert!(ask(Wanted::Gauge { gauge: "block.bore", from, to }).is_empty());

    assert_eq!(numbers(&ask(Wanted::Numbers(&[70, 3, 70, 1, 0, 900, u64::MAX]))), [3, 70]);
    assert!(ask(Wanted::Numbers(&[])).is_empty());
}

fn old_readings_brought_in_later_are_found_by_their_time(rig: Rig) {
    let old = |id, shift: i64| {
        let mut group = group(id, 0, 0, 30);
        group.readings.iter_mut().for_each(|r| r.at -= shift);
        group
    };
    let rig = rig.with(vec![old(1, 0), old(2, 86_400_000), old(3, 10 * 86_400_000)]);
    let day_before = MORNING - 86_400_000;
    let (name, from, to) = ("block.bore", day_before, day_before + 15_000);
    let found = rig.store().readings(&Wanted::Characteristic { name, from, to }).unwrap();
    assert_eq!(numbers(&found), [31, 34, 37, 40, 43, 46]);
}

fn entries_are_found_by_what_they_are_about(rig: Rig) {
    let rig = rig.with(vec![Group {
        deed: deed(1),
        closed_at: MORNING,
        entries: vec![
            piece_made("B0001", "H77"),
            piece_made("B0002", ""),
            engine_built("QB4-1", &["B0001", "B0002", "B0001"]),
            entry(Event::ReadingWithdrawn { reading: 5, reason: "dirt".into() }),
        ],
        readings: vec![reading(0)],
    }]);
    let about = |subject| -> Vec<u64> {
        rig.store().about(&subject).unwrap().iter().map(|kept| kept.number).collect()
    };
    assert_eq!(about(Subject::Piece("B0001".into())), [1, 3]);
    assert_eq!(about(Subject::Piece("B0002".into())), [2, 3]);
    assert_eq!(about(Subject::Heat("H77".into())), [1]);
    assert!(about(Subject::Heat(String::new())).is_empty());
    assert_eq!(about(Subject::Engine("QB4-1".into())), [3]);
    assert_eq!(about(Subject::Set("S12".into())), [3]);
    assert_eq!(about(Subject::Reading(5)), [4]);
    assert!(about(Subject::Piece("QB4-1".into())).is_empty());
}

fn entries_come_page_by_page(rig: Rig) {
    let rig = rig.with((0..5).map(|i| group(i, 3, i, 1)).collect());
    let mut from = 1;
    let mut seen = vec![];
    loop {
        let page = rig.store().entries(from, 4).unwrap();
        assert!(page.len() <= 4);
        let Some(last) = page.last() else { break };
        from = last.number + 1;
        seen.extend(page.iter().map(|kept| kept.number));
    }
    assert_eq!(seen, [1, 2, 3, 5, 6, 7, 9, 10, 11, 13, 14, 15, 17, 18, 19]);
    assert_eq!(rig.store().entries(u64::MAX, 1).unwrap(), vec![]);
    assert_eq!(rig.store().entries(1, 0).unwrap(), vec![]);
}

fn what_cannot_be_kept_is_refused_whole(rig: Rig) {
    let long = "x".repeat(1001);
    let with = |change: fn(&mut Group, &str)| {
        let mut group = group(9, 1, 0, 3);
        change(&mut group, &long);
        group
    };
    let refused = [
        Group { deed: deed(9), ..Group::default() },
        with(|group, long| group.readings[1].piece = long.into()),
        with(|group, long| group.readings[1].characteristic = long.into()),
        with(|group, long| group.readings[2].position = long.into()),
        with(|group, long| group.readings[2].context = context("AG-1", long)),
        with(|group, long| group.entries[0].by = long.repeat(17_000)),
    ];
    let head = rig.store().append(&group(1, 1, 0, 1), None).unwrap().head;
    for group in refused {
        match rig.store().append(&group, None) {
            Err(StoreError::Unkeepable { reason }) => assert!(!reason.is_empty()),
            other => panic!("not refused: {other:?}"),
        }
        let all = rig.store().append_all(vec![self::group(2, 0, 0, 1), group]);
        assert!(matches!(all, Err(StoreError::Unkeepable { .. })));
        assert_eq!(rig.store().head().unwrap(), head);
    }
    let mut longest = group(9, 0, 0, 1);
    longest.readings[0].piece = long[1..].into();
    rig.store().append(&longest, None).unwrap();
}

fn many_groups_at_once_each_have_their_seal(rig: Rig) {
    let one_by_one = MemoryStore::new();
    let singly: Vec<_> = morning().iter().map(|g| one_by_one.append(g, None).unwrap()).collect();
    let at_once = rig.store().append_all(morning()).unwrap();
    assert_eq!(at_once, singly);
    let seals: HashSet<_> = at_once.iter().map(|a| a.head.seal.to_string()).collect();
    assert_eq!(seals.len(), at_once.len());
    for (group, answer) in (1..).zip(&at_once) {
        for number in answer.first_number..=answer.head.last_number {
            assert_eq!(rig.store().seal_of(number).unwrap(), Some((group, answer.head.seal)));
        }
    }
    let head = rig.store().head().unwrap();
    assert_eq!(rig.store().seal_of(0).unwrap(), None);
    assert_eq!(rig.store().seal_of(head.last_number + 1).unwrap(), None);
    assert_eq!(rig.store().seal_of(u64::MAX).unwrap(), None);
    verified_to(rig.store(), head);
}

fn sixteen_appenders_make_one_order(rig: Rig) {
    const EACH: u64 = 12;
    let acknowledged: Vec<(u64, u64, u64)> = std::thread::scope(|scope| {
        let appender = |who: u64| {
            let store = rig.store();
            scope.spawn(move || {
                let append = |turn: u64| {
                    let id = who * 1000 + turn;
                    let answer =
                        store.append(&group(id, turn % 2, id, 1 + turn % 4), None).unwrap();
                    assert!(!answer.already_done);
                    (id, answer.first_number, answer.head.last_number)
                };
                (0..EACH).map(append).collect::<Vec<_>>()
            })
        };
        let appenders: Vec<_> = (0..16).map(appender).collect();
        appenders.into_iter().flat_map(|a| a.join().unwrap()).collect()
    });
    let head = rig.store().head().unwrap();
    assert_eq!(head.groups, 16 * EACH);
    // Every acknowledged group has its own numbers, and together they leave no gap.
    let mut spans: Vec<(u64, u64)> = acknowledged.iter().map(|(_, a, b)| (*a, *b)).collect();
    spans.sort_unstable();
    let mut next = 1;
    for (first, last) in spans {
        assert_eq!(first, next);
        next = last + 1;
    }
    assert_eq!(next, head.last_number + 1);
    // Within an appender the order is its own.
    for one in acknowledged.chunks(usize::try_from(EACH).unwrap()) {
        assert!(one.is_sorted_by_key(|(_, first, _)| *first));
    }
    for (id, first, last) in &acknowledged {
        let last_reading = rig.store().readings(&Wanted::Numbers(&[*last])).unwrap();
        let turn = id % 1000;
        assert_eq!(last_reading[0].reading, reading(id + turn % 4));
        assert_eq!(last - first, turn % 2 + turn % 4);
    }
    verified_to(rig.store(), head);
}

fn a_backup_while_writing_verifies_to_its_head(rig: Rig) {
    let rig = rig.with(morning());
    let done = AtomicBool::new(false);
    std::thread::scope(|scope| {
        let writer = scope.spawn(|| {
            let mut id = 100;
            while !done.load(Ordering::Relaxed) {
                rig.store().append(&group(id, 1, id, 2), None).unwrap();
                id += 1;
            }
        });
        for copy in ["first.db", "second.db"] {
            let before = rig.store().head().unwrap();
            let head = rig.store().backup(&rig.path(copy)).unwrap();
            assert!(before.groups <= head.groups);
            assert_eq!(
                rig.store().seal_of(head.last_number).unwrap(),
                Some((head.groups, head.seal))
            );
            let (copied, opened) = SqliteStore::open_read_only(&rig.path(copy)).unwrap();
            assert_eq!((opened.head, opened.broken), (head, None));
            verified_to(&copied, head);
        }
        done.store(true, Ordering::Relaxed);
        writer.join().unwrap();
    });
    assert!(matches!(rig.store().backup(&rig.path("first.db")), Err(StoreError::Outside { .. })));
    let nowhere = rig.path("no such folder").join("copy.db");
    assert!(matches!(rig.store().backup(&nowhere), Err(StoreError::Outside { .. })));
    // A copy can be taken up and written on.
    let (copied, opened) = SqliteStore::open(&rig.path("second.db")).unwrap();
    let head = copied.append(&group(9999, 1, 0, 1), Some(opened.head.seal)).unwrap().head;
    verified_to(&copied, head);
}

fn reopening_finds_everything(mut rig: Rig) {
    rig.store().append_all(morning()).unwrap();
    let before = all_answers(rig.store()).unwrap();
    rig.reopen();
    assert_eq!(all_answers(rig.store()).unwrap(), before);
    let head = rig.store().head().unwrap();
    let first = rig.store().append(&morning()[3], None).unwrap();
    assert!(first.already_done);
    let next = rig.store().append(&group(99, 1, 300, 2), Some(head.seal)).unwrap();
    assert_eq!(next.first_number, head.last_number + 1);
    verified_to(rig.store(), next.head);
}

fn a_head_kept_outside_finds_what_the_chain_cannot(rig: Rig) {
    let rig = rig.with(morning());
    let check = |head: &Head| rig.store().verify_against(head, &mut |_, _| {}).unwrap().broken;
    let head = rig.store().head().unwrap();
    assert_eq!(check(&head), None);
    assert_eq!(check(&Head { groups: 0, last_number: 0, seal: Seal::FIRST }), None);
    let (group_of_30, seal) = rig.store().seal_of(30).unwrap().unwrap();
    let mid = Head { groups: group_of_30, last_number: 30, seal };
    assert_eq!(check(&mid), None);

    let other = Seal([9; 32]);
    let rewritten = check(&Head { seal: other, ..mid }).unwrap();
    assert_eq!((rewritten.group, rewritten.number), (mid.groups, 30));
    assert!(rewritten.finding.contains("written anew"));
    let longer = Head { groups: head.groups + 1, last_number: head.last_number + 5, seal: other };
    let cut = check(&longer).unwrap();
    assert_eq!((cut.group, cut.number), (head.groups + 1, head.last_number + 1));
    assert!(cut.finding.contains("cut off"));
}

macro_rules! told_to_every_store {
    ($($story:ident)*) => {
        mod memory {
            $(#[test] fn $story() { super::$story(super::Rig::memory()); })*
        }
        mod sqlite {
            $(#[test] fn $story() { super::$story(super::Rig::sqlite()); })*
        }
    };
}

told_to_every_store! {
    an_empty_record_answers
    numbers_follow_each_other_entries_first
    what_comes_back_is_what_went_in
    the_same_deed_twice_is_done_once
    the_same_deed_in_parallel_is_done_once
    a_head_that_moved_is_refused
    every_question_about_readings_is_answered
    old_readings_brought_in_later_are_found_by_their_time
    entries_are_found_by_what_they_are_about
    entries_come_page_by_page
    what_cannot_be_kept_is_refused_whole
    many_groups_at_once_each_have_their_seal
    sixteen_appenders_make_one_order
    a_backup_while_writing_verifies_to_its_head
    reopening_finds_everything
    a_head_kept_outside_finds_what_the_chain_cannot
}

#[test]
fn both_stores_answer_alike() {
    let (memory, sqlite) = (Rig::memory().with(morning()), Rig::sqlite().with(morning()));
    assert_eq!(all_answers(memory.store()).unwrap(), all_answers(sqlite.store()).unwrap());
}

#[test]
fn a_planned_fault_keeps_nothing() {
    let store = MemoryStore::new();
    let refused =
        |id| matches!(store.append(&group(id, 1, 0, 2), None), Err(StoreError::Outside { .. }));
    store.append(&group(1, 1, 0, 2), None).unwrap();
    let head = store.head().unwrap();
    store.fail_append(2, Fault::Once);
    let after_one = store.append(&group(2, 1, 0, 2), None).unwrap().head;
    assert!(refused(3));
    assert_eq!(store.head().unwrap(), after_one);
    store.append(&group(3, 1, 0, 2), None).unwrap();
    let before = store.head().unwrap();
    assert_eq!(before.groups, head.groups + 2);
    store.fail_append(1, Fault::EverAfter);
    assert!(refused(4) && refused(4));
    assert!(store.append_all(vec![group(5, 1, 0, 1)]).is_err());
    assert_eq!(store.head().unwrap(), before);
    verified_to(&store, before);
}

/// A group of few members out of few names, so that names, pieces, gauges and times recur.
fn any_group() -> impl Strategy<Value = (u64, Vec<(u64, i64)>)> {
    (0u64..8, prop::collection::vec((0u64..40, -3i64..3), 0..8))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    #[test]
    fn whatever_is_appended_both_stores_answer_alike(
        groups in prop::collection::vec(any_group(), 1..8),
        from in -3i64..3, length in 0i64..4,
    ) {
        let (memory, sqlite) = (Rig::memory(), Rig::sqlite());
        for (id, members) in groups {
            let readings = members.iter().map(|(i, day)| {
                let plain = reading(*i);
                Reading { at: plain.at + day * 86_400_000, ..plain }
            });
            let group = Group {
                deed: deed(id),
                closed_at: MORNING,
                entries: members
                    .iter()
                    .take(2)
                    .map(|(i, _)| piece_made(&format!("B{i}"), ""))
                    .collect(),
                readings: readings.collect(),
            };
            let answer = format!("{:?}", memory.store().append(&group, None));
            prop_assert_eq!(answer, format!("{:?}", sqlite.store().append(&group, None)));
        }
        let (memory, sqlite) = (memory.store(), sqlite.store());
        let from = MORNING + from * 86_400_000;
        let to = from + length * 86_400_000;
        for wanted in [
            Wanted::Characteristic { name: "block.bore", from, to },
            Wanted::Gauge { gauge: "AG-2", from, to },
        ] {
            prop_assert_eq!(memory.readings(&wanted).unwrap(), sqlite.readings(&wanted).unwrap());
        }
        prop_assert_eq!(all_answers(memory).unwrap(), all_answers(sqlite).unwrap());
        let verified = sqlite.verify(&mut |_, _| {}).unwrap();
        prop_assert_eq!(&memory.verify(&mut |_, _| {}).unwrap(), &verified);
        prop_assert_eq!(verified.broken, None);
    }
}
