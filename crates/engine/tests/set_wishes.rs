//! Wishes: kept exactly, refused when they contradict, ranks among answers with equally many.
#![allow(clippy::unwrap_used, reason = "a lot that cannot be laid must fail the test")]

use bedplate_engine::set::check::{check_matching, check_wishes};
use bedplate_engine::set::size::{Milligram, Nanometre};
use bedplate_engine::set::wishes::{Apart, Pin, Rank, Reserved, Wishes};
use bedplate_engine::set::{
    Block, Matching, Piston, Rules, Search, SetError, Window, match_sets_while,
};
use proptest::prelude::*;

mod set_lots;

use set_lots::{Family, Lot, Width, lot};

fn pin(piston: &str, block: &str, cylinder: usize) -> Pin {
    Pin { piston: piston.into(), block: block.into(), cylinder }
}

fn reserved(piston: &str, block: &str) -> Reserved {
    Reserved { piston: piston.into(), block: block.into() }
}

fn never(piston: &str, block: &str) -> Apart {
    Apart::PistonAndBlock { piston: piston.into(), block: block.into() }
}

fn never_both(one: &str, other: &str) -> Apart {
    Apart::Pistons { one: one.into(), other: other.into() }
}

fn rank(block: &str, rank: i32) -> Rank {
    Rank { block: block.into(), rank }
}

fn matched(lot: &Lot, wishes: &Wishes, moves: u32) -> Result<Matching, SetError> {
    let search = Search { seed: 1, moves };
    let found =
        match_sets_while(&lot.blocks, &lot.pistons, &lot.rules, wishes, search, &mut |_| true)?;
    check_matching(&lot.blocks, &lot.pistons, &lot.rules, &found).unwrap();
    check_wishes(wishes, &found.engines).unwrap();
    Ok(found)
}

/// Two two-cylinder blocks alike and four pistons alike, but for 1 g between P1, P2 and P3, P4.
fn twins() -> Lot {
    let bores = || vec![Nanometre(68_000_000); 2];
    let piston = |id: &str, mg: i64| Piston::new(id, Nanometre(67_964_000), Milligram(mg)).unwrap();
    let window =
        Window { min: Nanometre(30_000), target: Nanometre(36_000), max: Nanometre(42_000) };
    Lot {
        blocks: vec![Block::new("B1", bores()).unwrap(), Block::new("B2", bores()).unwrap()],
        pistons: vec![
            piston("P1", 416_000),
            piston("P2", 416_000),
            piston("P3", 417_000),
            piston("P4", 417_000),
        ],
        rules: Rules::new(window, Milligram(2_000)).unwrap(),
    }
}

fn engine_of(found: &Matching, block: &str) -> Vec<String> {
    let set = found.engines.iter().find(|set| set.block == block).unwrap();
    set.places.iter().map(|place| place.piston.clone()).collect()
}

#[test]
fn a_pinned_piston_lies_in_its_cylinder_and_a_reserved_one_in_its_block() {
    let pins = vec![pin("P3", "B1", 2)];
    let wishes = Wishes { pins, reserved: vec![reserved("P1", "B1")], ..Wishes::default() };
    let found = matched(&twins(), &wishes, 500).unwrap();
    assert_eq!(found.engines.len(), 2);
    assert_eq!(engine_of(&found, "B1"), ["P1", "P3"]);
}

#[test]
fn pistons_kept_apart_are_in_different_engines_though_it_costs_loss() {
    let apart = vec![never_both("P1", "P2"), never("P3", "B2")];
    let wishes = Wishes { apart, ..Wishes::default() };
    let found = matched(&twins(), &wishes, 500).unwrap();
    assert_eq!(found.engines.len(), 2);
    assert!(engine_of(&found, "B1").contains(&"P3".to_owned()));
    // By hand: each engine uses 1 g of the 2 g allowed, all clearances are on target.
    assert_eq!(found.loss, 1.0);
}

#[test]
fn wishes_that_leave_one_engine_give_one() {
    let apart = ["P1", "P2", "P3"].map(|p| never(p, "B2")).to_vec();
    let wishes = Wishes { apart, ..Wishes::default() };
    let found = matched(&twins(), &wishes, 500).unwrap();
    assert_eq!(found.engines.len(), 1);
    assert_eq!(found.engines[0].block, "B1");
}

#[test]
fn the_block_of_higher_rank_comes_first() {
    let mut lot = twins();
    lot.pistons.truncate(2);
    for due in ["B1", "B2"] {
        let wishes = Wishes { ranks: vec![rank(due, 1)], ..Wishes::default() };
        let found = matched(&lot, &wishes, 500).unwrap();
        assert_eq!(found.engines.len(), 1);
        assert_eq!(found.engines[0].block, due);
    }
}

#[test]
fn more_of_the_higher_rank_are_built_and_no_fewer_engines() {
    let lot = lot(Family::Drifted, Width::Wide, 60, 4, 11);
    let plain = matched(&lot, &Wishes::default(), 2_000).unwrap();
    // Every block that is left over without wishes becomes due.
    let left = plain.left_over.blocks.iter();
    let due: Vec<Rank> = left.map(|left| rank(&left.block, 5)).collect();
    let urgent = |found: &Matching| {
        found.engines.iter().filter(|set| due.iter().any(|d| d.block == set.block)).count()
    };
    let wishes = Wishes { ranks: due.clone(), ..Wishes::default() };
    let ranked = matched(&lot, &wishes, 2_000).unwrap();
    assert_eq!(urgent(&plain), 0);
    assert!(urgent(&ranked) > 0);
    assert!(ranked.engines.len() + 1 >= plain.engines.len());
}

#[test]
fn wishes_that_contradict_are_refused_by_name() {
    let lot = twins();
    let refused = |wishes: Wishes| matched(&lot, &wishes, 10).unwrap_err().to_string();
    let pins = |pins: &[Pin]| Wishes { pins: pins.to_vec(), ..Wishes::default() };
    assert_eq!(
        refused(pins(&[pin("P1", "B1", 1), pin("P2", "B1", 1)])),
        "pistons P2 and P1 are both pinned into cylinder 1 of block B1"
    );
    assert_eq!(
        refused(pins(&[pin("P1", "B1", 1), pin("P1", "B2", 1)])),
        "piston P1 is pinned into two places; one at most"
    );
    assert_eq!(
        refused(pins(&[pin("P1", "B1", 3)])),
        "block B1 has no cylinder 3 to pin a piston into; it has 1 to 2"
    );
    assert!(refused(pins(&[pin("P9", "B1", 1)])).contains("P9"));
    assert!(refused(pins(&[pin("P1", "B9", 1)])).contains("B9"));
    let forbidden = Wishes { apart: vec![never("P1", "B1")], ..pins(&[pin("P1", "B1", 1)]) };
    assert_eq!(
        refused(forbidden),
        "P1 and B1 are wished together and apart; one of the two at most"
    );
    let both = pins(&[pin("P1", "B1", 1), pin("P2", "B1", 2)]);
    assert!(refused(Wishes { apart: vec![never_both("P1", "P2")], ..both }).contains("apart"));
    let twice = vec![reserved("P1", "B1"), reserved("P1", "B2")];
    assert!(refused(Wishes { reserved: twice, ..Wishes::default() }).contains("two blocks"));
    let elsewhere = Wishes { reserved: vec![reserved("P1", "B2")], ..pins(&[pin("P1", "B1", 1)]) };
    assert!(refused(elsewhere).contains("two blocks"));
    let alone = Wishes { apart: vec![never_both("P1", "P1")], ..Wishes::default() };
    assert!(refused(alone).contains("apart from itself"));
    let ranks = Wishes { ranks: vec![rank("B1", 1), rank("B1", 2)], ..Wishes::default() };
    assert_eq!(refused(ranks), "block B1 is given two ranks; one at most");
}

#[test]
fn pins_that_break_a_rule_are_refused_with_the_figure() {
    let mut lot = twins();
    lot.pistons.push(Piston::new("P5", Nanometre(67_950_000), Milligram(416_000)).unwrap());
    lot.pistons.push(Piston::new("P6", Nanometre(67_964_000), Milligram(419_000)).unwrap());
    let refused = |pins: &[Pin]| {
        let wishes = Wishes { pins: pins.to_vec(), ..Wishes::default() };
        matched(&lot, &wishes, 10).unwrap_err()
    };
    let outside = refused(&[pin("P5", "B1", 1)]);
    assert!(matches!(outside, SetError::PinOutside { clearance: Nanometre(50_000), .. }));
    let wide = refused(&[pin("P1", "B1", 1), pin("P6", "B1", 2)]);
    assert_eq!(wide, SetError::PinsTooWide { block: "B1".into(), spread: Milligram(3_000) });
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn every_wish_is_kept(
        seed: u64,
        pinned in prop::collection::vec((0_usize..40, 1_usize..=4), 0..4),
        kept in prop::collection::vec((0_usize..160, 0_usize..40), 0..8),
        forbidden in prop::collection::vec((0_usize..160, 0_usize..40), 0..20),
        parted in prop::collection::vec((0_usize..160, 0_usize..160), 0..20),
    ) {
        let lot = lot(Family::Centred, Width::Wide, 40, 4, seed);
        let block = |i: usize| lot.blocks[i].id();
        let piston = |i: usize| lot.pistons[i].id();
        let (min, max) = (lot.rules.clearance_min(), lot.rules.clearance_max());
        let fits = |b: usize, c: usize| {
            let bore = lot.blocks[b].bores()[c - 1];
            let ok = |p: &&Piston| min <= bore - p.diameter() && bore - p.diameter() <= max;
            lot.pistons.iter().find(ok).map(|p| pin(p.id(), block(b), c))
        };
        let wishes = Wishes {
            ranks: vec![rank(block(3), 2), rank(block(5), -1)],
            pins: pinned.iter().filter_map(|&(b, c)| fits(b, c)).collect(),
            reserved: kept.iter().map(|&(p, b)| reserved(piston(p), block(b))).collect(),
            apart: forbidden
                .iter()
                .map(|&(p, b)| never(piston(p), block(b)))
                .chain(parted.iter().map(|&(p, q)| never_both(piston(p), piston(q))))
                .collect(),
        };
        // Contradictory wishes are refused; `matched` checks all others.
        if let Ok(found) = matched(&lot, &wishes, 200) {
            prop_assert!(found.engines.len() > 10);
        }
    }
}
