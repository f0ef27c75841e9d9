//! Readings into the record: typed, posted and from files; nothing twice, nothing half.

use std::fmt::Write as _;
use std::path::Path;

use bedplate_record::memory::MemoryStore;
use bedplate_record::reading::Millis;
use bedplate_record::store::{Store, Wanted};
use bedplate_works::plan::SMALL_WORKS;
use bedplate_works::plan::read::parse;
use bedplate_works::receive::{NewReading, Receipt};
use bedplate_works::works::{Deed, Event, SqliteStore, TroubleKind, Works};
use bedplate_works::worksheet::Defaults;
use bedplate_works::worksheet::mapping::{Column, Mapping, Meaning};

/// 2026-11-24 12:00 UTC.
const NOON: Millis = 1_795_521_600_000;

fn deed(n: u8) -> Deed {
    Deed { id: [n; 16], by: "me".to_owned(), at: NOON }
}

fn works(folder: &Path, store: Box<dyn Store>) -> Works {
    let plan = parse("works.toml", SMALL_WORKS).unwrap_or_else(|fault| panic!("{fault}"));
    Works::open(folder, plan, store, &deed(0)).expect("an empty store opens")
}

fn import(works: &Works, n: u8, text: &str) -> Receipt {
    works
        .import(&deed(n), "bores.csv", text.as_bytes(), None, &Defaults::default())
        .unwrap_or_else(|error| panic!("{error}"))
}

fn typed(piece: &str, value: &str) -> NewReading {
    NewReading {
        characteristic: "block.bore".to_owned(),
        piece: piece.to_owned(),
        position: "1".to_owned(),
        value: value.to_owned(),
        ..NewReading::default()
    }
}

fn last_number(works: &Works) -> u64 {
    works.store().head().expect("the store is sound").last_number
}

#[test]
fn typed_readings_are_taken_judged_and_enter_their_pieces() {
    let folder = tempfile::tempdir().unwrap();
    let works = works(folder.path(), Box::new(MemoryStore::new()));
    let rows = vec![typed("B1", "68.006 mm"), typed("B2", "68.050"), typed("B3", "x")];
    let receipt = works.receive(&deed(1), rows.clone(), "page").unwrap();
    assert_eq!((receipt.taken, receipt.readings, receipt.already), (2, 2, 0));
    assert_eq!((receipt.accepted, receipt.rejected, receipt.cannot_tell), (1, 1, 0));
    assert_eq!((receipt.refused.len(), receipt.refused[0].line), (1, 3));
    assert_eq!(receipt.judged.len(), 2);
    // The plan's own entry is number 1, the two pieces 2 and 3.
    assert_eq!(receipt.first_number, Some(4));
    assert_eq!(works.reading(4).unwrap().received, "68.006 mm");
    assert_eq!(works.floor(|f| f.pieces["B2"].part.clone()), "block");
    assert!(works.floor(|f| !f.pieces.contains_key("B3")));
    let again = works.receive(&deed(2), rows, "page").unwrap();
    assert_eq!((again.taken, again.already, again.first_number), (0, 2, None));
    // Withdrawn, the same value can be found anew.
    works.withdraw(&deed(3), 4, "on the wrong master").unwrap();
    let anew = works.receive(&deed(4), vec![typed("B1", "68.0060 mm")], "page").unwrap();
    assert_eq!((anew.taken, anew.already), (1, 0));
}

#[test]
fn the_same_post_twice_is_one() {
    let folder = tempfile::tempdir().unwrap();
    let works = works(folder.path(), Box::new(MemoryStore::new()));
    works.receive(&deed(1), vec![typed("B1", "68.006")], "http").unwrap();
    let before = last_number(&works);
    let again = works.receive(&deed(1), vec![typed("B1", "68.007")], "http").unwrap();
    assert_eq!((again.taken, again.already, again.readings), (0, 1, 0));
    assert_eq!(last_number(&works), before);
}

#[test]
fn a_stranger_brings_nothing_in() {
    let folder = tempfile::tempdir().unwrap();
    let works = works(folder.path(), Box::new(MemoryStore::new()));
    let stranger = Deed { by: "mee".to_owned(), ..deed(1) };
    let error = works.receive(&stranger, vec![typed("B1", "68.006")], "page").unwrap_err();
    assert_eq!(error.kind(), TroubleKind::Usage);
    assert!(error.to_string().contains("did you mean \"me\"?"), "{error}");
}

#[test]
fn a_file_read_again_adds_nothing_and_a_longer_one_adds_the_rest() {
    let folder = tempfile::tempdir().unwrap();
    let (store, _) = SqliteStore::open(&folder.path().join("record.sqlite")).unwrap();
    let works = works(folder.path(), Box::new(store));
    let text = "piece,bore1,bore2\nB1,68.001,68.002\nB2,68.003,\nB3,sixty,68.001\n";
    let first = import(&works, 1, text);
    assert_eq!((first.taken, first.readings, first.already, first.refused.len()), (2, 3, 0, 1));
    let entries = works.store().entries(1, 100).unwrap();
    let read = entries.iter().find_map(|k| match &k.entry.event {
        Event::FileRead { name, content, taken, already, refused } => {
            Some((name.as_str(), content.clone(), (*taken, *already, *refused)))
        }
        _ => None,
    });
    let content = blake3::hash(text.as_bytes()).to_hex().to_string();
    assert_eq!(read, Some(("bores.csv", content, (2, 0, 1))));
    let before = last_number(&works);
    let again = import(&works, 2, text);
    assert_eq!((again.taken, again.already, again.refused.len()), (0, 2, 1));
    assert_eq!(last_number(&works), before);
    let kept = works.store().readings(&Wanted::Piece("B1")).unwrap();
    assert_eq!(kept.len(), 2);
    // Withdrawn, it stays withdrawn when its file is read again.
    works.withdraw(&deed(3), kept[0].number, "dirt").unwrap();
    let longer = import(&works, 4, &format!("{text}B4,68.004,\n").replace("68.003", "68.0030"));
    assert_eq!((longer.taken, longer.already), (1, 2));
    assert!(works.verify(&mut |_, _| {}).unwrap().broken.is_none());
}

#[test]
fn what_columns_mean_is_remembered_by_their_headings() {
    let folder = tempfile::tempdir().unwrap();
    let works = works(folder.path(), Box::new(MemoryStore::new()));
    let text = "Teil;Bohrung 1\nB1;68,001\n";
    let d = Defaults::default();
    let refused = works.import(&deed(1), "a.csv", text.as_bytes(), None, &d).unwrap_err();
    assert_eq!(refused.kind(), TroubleKind::Refused);
    assert!(refused.to_string().starts_with("a.csv: line 1: column 1 \"Teil\" is not known"));
    let column = |heading: &str, meaning| Column { heading: heading.to_owned(), meaning };
    let measured =
        Meaning::Measured { characteristic: "block.bore".into(), position: "1".into(), unit: None };
    let columns = vec![column("Teil", Meaning::Piece), column("Bohrung 1", measured)];
    let mapping = Mapping { separator: ',', columns };
    let receipt = works.import(&deed(2), "a.csv", text.as_bytes(), Some(&mapping), &d).unwrap();
    assert_eq!(receipt.taken, 1);
    let next = import(&works, 3, "Teil;Bohrung 1\nB2;68,002\n");
    assert_eq!((next.taken, next.mapping.map(|m| m.separator)), (1, Some(';')));
    std::fs::write(folder.path().join("mappings.json"), "{").unwrap();
    let broken = works.import(&deed(4), "a.csv", text.as_bytes(), None, &d).unwrap_err();
    assert!(broken.to_string().contains("mend or remove it"), "{broken}");
}

#[test]
fn a_large_file_goes_in_by_groups_and_a_second_time_not_at_all() {
    let folder = tempfile::tempdir().unwrap();
    let works = works(folder.path(), Box::new(MemoryStore::new()));
    let mut text = "time,piece,characteristic,position,value\n".to_owned();
    for i in 0..12_000 {
        let (piece, position) = (i / 4, i % 4 + 1);
        let (minute, second) = (i / 60 % 60, i % 60);
        let at = format!("2026-11-24T0{}:{minute:02}:{second:02}Z", i / 3_600);
        writeln!(text, "{at},B{piece},block.bore,{position},68.00{:02}", i % 90).unwrap();
    }
    let receipt = import(&works, 1, &text);
    assert_eq!((receipt.taken, receipt.refused.len(), receipt.judged.len()), (12_000, 0, 50));
    assert_eq!(receipt.accepted + receipt.rejected + receipt.cannot_tell, 12_000);
    // The plan's entry, then three groups: 5000, 5000 and 2000 readings.
    assert_eq!(works.store().head().unwrap().groups, 4);
    let before = last_number(&works);
    let again = import(&works, 1, &text);
    assert_eq!((again.taken, again.already), (0, 12_000));
    assert_eq!(last_number(&works), before);
    // A second deed of the same id, after only some rows went in, adds the others.
    let more = format!("{text}2026-11-24T09:00:00Z,B9,block.bore,1,68.005\n");
    assert_eq!(import(&works, 1, &more).taken, 1);
}
