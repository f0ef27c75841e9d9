//! Sets of a whole engine: every fit the works file names, grades from stock, what people say of
//! pieces, and sets changed around what is fitted.
#![allow(clippy::unwrap_used, reason = "a works that cannot be laid must fail the test")]

use bedplate_engine::set::Search;
use bedplate_record::memory::MemoryStore;
use bedplate_works::build::NewEngine;
use bedplate_works::plan::read::parse;
use bedplate_works::receive::NewReading;
use bedplate_works::sets::made::Change;
use bedplate_works::sets::wishes::Saying;
use bedplate_works::sets::{MatchingSheet, SetView};
use bedplate_works::wire::Word;
use bedplate_works::works::{Deed, PlaceFilled, Works};

const PLAN: &str = include_str!("../../examples/kit/works.toml");

const BLOCK: [(&str, &str, &str); 13] = [
    ("bore", "1", "68.0060"),
    ("bore", "2", "68.0080"),
    ("main_bore", "1", "52.0100"),
    ("main_bore", "2", "52.0110"),
    ("main_bore", "3", "52.0120"),
    ("tappet_bore", "1", "22.0100"),
    ("tappet_bore", "2", "22.0100"),
    ("tappet_bore", "3", "22.0110"),
    ("tappet_bore", "4", "22.0120"),
    ("valve_gap", "1", "2.2000"),
    ("valve_gap", "2", "2.1600"),
    ("valve_gap", "3", "2.2400"),
    ("valve_gap", "4", "2.2100"),
];

struct Shop {
    works: Works,
    deeds: std::cell::Cell<u8>,
    _folder: tempfile::TempDir,
}

impl Shop {
    fn open(plan: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let plan = parse("works.toml", plan).unwrap_or_else(|f| panic!("{f}"));
        let deed = Deed { id: [0; 16], by: "bedplate".to_owned(), at: 1_000 };
        let works = Works::open(folder.path(), plan, Box::new(MemoryStore::new()), &deed).unwrap();
        Self { works, deeds: std::cell::Cell::new(1), _folder: folder }
    }

    fn deed(&self) -> Deed {
        let n = self.deeds.get();
        self.deeds.set(n + 1);
        Deed { id: [n; 16], by: "j-quill".to_owned(), at: 1_000 * i64::from(n) }
    }

    fn piece(&self, part: &str, number: &str, readings: &[(&str, &str, &str)]) {
        self.works.enter_piece(&self.deed(), part, number, "").unwrap();
        let rows = readings.iter().map(|(characteristic, position, value)| NewReading {
            characteristic: format!("{part}.{characteristic}"),
            piece: number.to_owned(),
            position: (*position).to_owned(),
            value: (*value).to_owned(),
            ..NewReading::default()
        });
        let receipt = self.works.receive(&self.deed(), rows.collect(), "test").unwrap();
        assert_eq!(receipt.refused.len(), 0, "{:?}", receipt.refused);
    }

    /// All that one engine needs, and a spare piston.
    fn one_engine() -> Self {
        Self::one_engine_of(PLAN)
    }

    fn one_engine_of(plan: &str) -> Self {
        let shop = Self::open(plan);
        shop.piece("block", "B001", &BLOCK);
        for (number, size, mass) in [
            ("P001", "67.9700", "418.0"),
            ("P002", "67.9720", "419.0"),
            ("P003", "67.9710", "420.5"),
        ] {
            let readings = [("skirt", "", size), ("pin_bore", "", "18.0040"), ("mass", "", mass)];
            shop.piece("piston", number, &readings);
        }
        for number in ["N001", "N002"] {
            shop.piece("pin", number, &[("diameter", "", "17.9980"), ("mass", "", "100.0")]);
        }
        for (number, small) in [("R001", "160.0"), ("R002", "161.0")] {
            shop.piece(
                "rod",
                number,
                &[
                    ("small_end", "", "18.0120"),
                    ("big_end", "", "45.0050"),
                    ("big_end_mass", "", "350.0"),
                    ("small_end_mass", "", small),
                ],
            );
        }
        for number in ["T001", "T002", "T003", "T004"] {
            shop.piece("tappet", number, &[("diameter", "", "21.9850")]);
        }
        for number in ["G001", "G002"] {
            shop.piece("ring", number, &[("gap", "", "0.3000")]);
        }
        shop.piece(
            "crankshaft",
            "C001",
            &[
                ("main", "1", "47.9800"),
                ("main", "2", "47.9810"),
                ("main", "3", "47.9820"),
                ("pin", "1", "41.9900"),
                ("pin", "2", "41.9900"),
            ],
        );
        for (part, grade) in [
            ("main_shell", "M1"),
            ("main_shell", "M2"),
            ("rod_shell", "E1"),
            ("rod_shell", "E2"),
            ("shim", "S1"),
            ("shim", "S2"),
            ("shim", "S3"),
        ] {
            shop.works.count_stock(&shop.deed(), part, grade, 10).unwrap();
        }
        shop
    }

    fn sheet(&self) -> MatchingSheet {
        self.works.matching("QB2", Search::default()).unwrap()
    }

    fn stock(&self, grade: &str) -> Option<i64> {
        self.works.stock().into_iter().find(|s| s.grade == grade)?.left
    }

    fn say(&self, piece: &str, saying: &Saying) {
        self.works.say_of_piece(&self.deed(), piece, saying, "a test").unwrap();
    }
}

fn fit<'v>(set: &'v SetView, name: &str, position: &str) -> &'v str {
    let line = set.fits.iter().find(|f| f.fit == name && f.position == position);
    &line.unwrap_or_else(|| panic!("no {name} {position} in {set:#?}")).clearance.text
}

#[test]
fn every_fit_of_a_set_is_the_sum_that_the_works_file_writes() {
    let shop = Shop::one_engine();
    let sheet = shop.sheet();
    assert_eq!((sheet.found, sheet.bound, sheet.left_blocks.len()), (1, 1, 0), "{sheet:#?}");
    let set = &sheet.proposed[0];
    // Bore less skirt: 68.0060 − 67.9700 mm and 68.0080 − 67.9720 mm, both the target.
    let clearances: Vec<&str> = set.places.iter().map(|p| p.clearance.text.as_str()).collect();
    assert_eq!(clearances, ["36.0", "36.0"]);
    // 18.0040 − 17.9980 mm and 18.0120 − 17.9980 mm.
    assert_eq!(fit(set, "pin-in-piston", "1"), "6.0");
    assert_eq!(fit(set, "pin-in-rod", "2"), "14.0");
    // 0.3000 mm + π · 68.006 mm − 213.6283 mm = 318.85 µm (π · 6 µm more than in the ring gauge).
    let gap = set.fits.iter().find(|f| f.fit == "ring-gap" && f.position == "1").unwrap();
    assert!((gap.clearance.value - 318.850).abs() < 0.001, "{}", gap.clearance.value);
    assert_eq!(fit(set, "ring-gap", "2"), "325.1");
    // 52.010 − 47.980 mm less two walls of 1.998 mm: 34 µm; with 2.004 mm it would be 22 µm.
    assert_eq!(fit(set, "main-bearing", "3"), "34.0");
    // 45.005 − 41.990 mm less two walls of 1.488 mm: 39 µm; with one of each grade 33 µm, which
    // is nearer to the middle of 20 and 50 µm.
    assert_eq!(fit(set, "big-end", "1"), "33.0");
    // 22.012 − 21.985 mm; 2.200 mm less a shim of 2.000 mm, 2.160 mm less one of 1.950 mm.
    assert_eq!(fit(set, "tappet-in-bore", "4"), "27.0");
    assert_eq!(fit(set, "valve-clearance", "1"), "200.0");
    assert_eq!(fit(set, "valve-clearance", "2"), "210.0");
    // 418 + 100 and 419 + 100 g with rods of 160 and 161 g: alike within 0 or 2 g.
    let moving = set.spreads.iter().find(|s| s.title == "Moving mass").unwrap();
    assert_eq!((moving.spread.text.as_str(), moving.word), ("0.0", Word::Accept));
    assert!(set.probability > 0.99, "{}", set.probability);
}

#[test]
fn shells_are_drawn_from_stock_and_go_back_to_it() {
    let shop = Shop::one_engine();
    let sets = shop.works.make_sets(&shop.deed(), "QB2", Search::default(), None).unwrap();
    assert_eq!(sets, ["00001"]);
    assert_eq!((shop.stock("M1"), shop.stock("M2")), (Some(4), Some(10)));
    assert_eq!((shop.stock("E1"), shop.stock("E2")), (Some(8), Some(8)));
    let set = shop.works.set("00001").unwrap();
    assert_eq!(fit(&set, "main-bearing", "1"), "34.0");
    assert_eq!(set.pieces.iter().filter(|p| p.is_graded).count(), 14);
    shop.works.break_set(&shop.deed(), "00001", "a test").unwrap();
    assert_eq!((shop.stock("M1"), shop.stock("E1")), (Some(10), Some(10)));
}

#[test]
fn without_shells_the_sheet_says_which_are_missing() {
    let shop = Shop::one_engine();
    shop.works.count_stock(&shop.deed(), "main_shell", "M1", 2).unwrap();
    shop.works.count_stock(&shop.deed(), "main_shell", "M2", 1).unwrap();
    let sheet = shop.sheet();
    assert_eq!(sheet.found, 0);
    assert!(sheet.left_blocks[0].reason.contains("main shell"), "{:?}", sheet.left_blocks);
    let words = &sheet.advice.first().unwrap().words;
    assert!(words.starts_with("3 more main shells of grade M"), "{words}");
    assert!(words.ends_with("would complete 1 more engine"), "{words}");
}

#[test]
fn what_is_said_of_pieces_is_heeded() {
    let shop = Shop::one_engine();
    let pistons = |sheet: &MatchingSheet| -> Vec<String> {
        sheet.proposed.iter().flat_map(|s| s.places.iter().map(|p| p.piston.clone())).collect()
    };
    shop.say("P001", &Saying::Hold);
    assert_eq!(pistons(&shop.sheet()), ["P003", "P002"]);
    shop.say("P001", &Saying::Free);
    let keep = Saying::Keep { block: "B001".to_owned(), position: "2".to_owned() };
    shop.say("P003", &keep);
    assert_eq!(pistons(&shop.sheet())[1], "P003");
    shop.say("P003", &Saying::Free);
    shop.say("P001", &Saying::Part { other: "P002".to_owned() });
    let both = pistons(&shop.sheet());
    assert!(both.contains(&"P003".to_owned()) && both.len() == 2, "{both:?}");
    let said = shop.works.wishes();
    assert_eq!(said.len(), 1);
    assert_eq!(said[0].said, "not with P002");
}

#[test]
fn what_cannot_be_said_is_refused_in_words() {
    let shop = Shop::one_engine();
    let refused = |piece: &str, saying: Saying, reason: &str| {
        shop.works.say_of_piece(&shop.deed(), piece, &saying, reason).unwrap_err().to_string()
    };
    let keep =
        |position: &str| Saying::Keep { block: "B001".to_owned(), position: position.to_owned() };
    assert!(refused("P001", Saying::Hold, " ").contains("a reason is needed"));
    assert!(refused("P009", Saying::Hold, "x").contains("P009"));
    assert!(refused("P001", keep("3"), "x").contains("the places are 1 to 2"));
    assert!(refused("P001", Saying::Due { rank: 1 }, "x").contains("can be due"));
    assert!(refused("B001", Saying::Due { rank: 0 }, "x").contains("rank 0"));
    let itself = Saying::Part { other: "P001".to_owned() };
    assert!(refused("P001", itself, "x").contains("from itself"));
    let wrong = shop.works.count_stock(&shop.deed(), "main_shell", "M9", 4).unwrap_err();
    assert!(wrong.to_string().contains("M9"), "{wrong}");
}

#[test]
fn one_piece_is_replaced_and_the_rest_stays() {
    let shop = Shop::one_engine();
    shop.works.make_sets(&shop.deed(), "QB2", Search::default(), None).unwrap();
    let before = shop.works.set("00001").unwrap();
    let change = Change {
        out: vec!["1".to_owned()],
        scrap: true,
        reason: "skirt marked in fitting".to_owned(),
        ..Change::default()
    };
    let shown = shop.works.changed_set("00001", &change).unwrap();
    assert_eq!(shown.places[0].piston, "P003");
    assert_eq!(shop.works.set("00001").unwrap().places[0].piston, "P001", "only shown");
    let after = shop.works.change_set(&shop.deed(), "00001", &change).unwrap();
    assert_eq!(after.places[0].piston, "P003");
    assert_eq!(after.places[1].piston, before.places[1].piston);
    assert_eq!(after.pieces.len(), before.pieces.len());
    assert_eq!((shop.stock("M1"), shop.stock("E1")), (Some(4), Some(8)), "stock is as before");
    let gone = shop.works.floor(|f| format!("{:?}", f.pieces["P001"].whereabouts));
    assert!(gone.starts_with("Scrapped"), "{gone}");
}

#[test]
fn the_rest_is_matched_anew_around_what_is_fitted() {
    let shop = Shop::one_engine();
    shop.works.make_sets(&shop.deed(), "QB2", Search::default(), None).unwrap();
    let fitted = ["1", "pin/1", "rod/2", "crankshaft/"].map(str::to_owned).to_vec();
    let change = Change { fitted, reason: "begun".to_owned(), ..Change::default() };
    let after = shop.works.change_set(&shop.deed(), "00001", &change).unwrap();
    assert_eq!(after.places[0].piston, "P001");
    assert_eq!(after.places.len(), 2);
    let wrong = Change { out: vec!["7".to_owned()], reason: "x".to_owned(), ..Change::default() };
    let why = shop.works.changed_set("00001", &wrong).unwrap_err().to_string();
    assert!(why.contains("no place \"7\"") && why.contains("rod/2"), "{why}");
}

#[test]
fn a_set_that_must_be_surer_narrows_its_windows() {
    let plan = PLAN.replace("waited = \"72 h\"", "waited = \"72 h\"\nsure = \"99.99 %\"");
    let shop = Shop::open(&plan);
    shop.piece("block", "B001", &[("bore", "1", "68.0060")]);
    let sheet = shop.sheet();
    assert!(sheet.rules.iter().any(|r| r.contains("99.99") || r.contains("100.0 %")));
    let vague = plan.replace("uncertainty = \"0.6 µm\"", "uncertainty = \"8 µm\"");
    let shop = Shop::one_engine_of(&vague);
    let why = shop.works.matching("QB2", Search::default()).unwrap_err().to_string();
    assert!(why.contains("widen the window"), "{why}");
}

#[test]
fn warm_sizes_are_brought_to_the_temperature_of_the_fit() {
    let warm = PLAN.replace(
        "upper = \"42 µm\"\ntarget = \"36 µm\"",
        "upper = \"42 µm\"\ntarget = \"36 µm\"\nat = \"22 °C\"",
    );
    let shop = Shop::one_engine_of(&warm);
    let set = &shop.sheet().proposed[0];
    // 68.006·(1 + 10.5e-6·2) − 67.970·(1 + 20.5e-6·2) mm = 36 µm + 1.428 µm − 2.787 µm.
    assert_eq!(set.places[0].clearance.text, "34.6");
}

#[test]
fn a_part_that_is_not_there_is_named_and_nothing_is_assigned() {
    let shop = Shop::open(PLAN);
    shop.piece("block", "B001", &BLOCK);
    let sheet = shop.sheet();
    assert_eq!((sheet.found, sheet.bound, sheet.left_blocks.len()), (0, 0, 1));
    assert_eq!(sheet.left_blocks[0].reason, "no piston in the store is accepted");
    let shop = Shop::one_engine();
    for number in ["R001", "R002"] {
        shop.say(number, &Saying::Hold);
    }
    let sheet = shop.sheet();
    assert_eq!(sheet.left_blocks[0].reason, "no rod in the store is accepted");
}

#[test]
fn the_store_is_seen_while_what_was_said_contradicts_itself() {
    let shop = Shop::one_engine();
    for piston in ["P001", "P002"] {
        let keep = Saying::Keep { block: "B001".to_owned(), position: "1".to_owned() };
        shop.say(piston, &keep);
    }
    let why = shop.works.matching("QB2", Search::default()).unwrap_err().to_string();
    assert!(why.contains("P001") && why.contains("P002"), "{why}");
    let piles = shop.works.piles("QB2").unwrap();
    assert_eq!(piles.iter().find(|p| p.part == "piston").unwrap().ready, 3);
    assert_eq!(shop.works.wishes().len(), 2);
}

#[test]
fn an_engine_takes_the_whole_set_with_its_grades() {
    let shop = Shop::one_engine();
    let new = |set: &str| NewEngine {
        engine_type: "QB2".to_owned(),
        set: set.to_owned(),
        ..NewEngine::default()
    };
    shop.works.make_sets(&shop.deed(), "QB2", Search::default(), None).unwrap();
    let engine = shop.works.begin_engine(&shop.deed(), &new("00001")).unwrap();
    let built = shop.works.build(&engine).unwrap();
    assert_eq!(built.places.iter().filter(|p| p.part == "main_shell").count(), 6);
    assert_eq!((shop.stock("M1"), shop.stock("E1")), (Some(4), Some(8)), "drawn once");
    let loose = NewEngine {
        pieces: vec![PlaceFilled {
            part: "shim".to_owned(),
            position: "1".to_owned(),
            piece: "S9".to_owned(),
        }],
        ..new("")
    };
    let why = shop.works.begin_engine(&shop.deed(), &loose).unwrap_err().to_string();
    assert!(why.contains("S9 is no grade of shim; S1, S2, S3"), "{why}");
}
