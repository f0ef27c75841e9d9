//! Laws of matching: rules kept, no piece twice, order of no matter, never below the baseline.
#![allow(clippy::unwrap_used, reason = "a lot that cannot be laid must fail the test")]

use bedplate_engine::set::bound::{most_cylinders, most_engines};
use bedplate_engine::set::check::{Fault, check_engines, check_matching};
use bedplate_engine::set::practice::{first_in_first_out, grade_bins};
use bedplate_engine::set::size::{Milligram, Nanometre};
use bedplate_engine::set::{Block, Piston, Reason, Rules, Search, SetError, Window, match_sets};
use proptest::prelude::*;

mod set_exact;

/// A quick search: laws must hold however short it is.
fn quick(seed: u64) -> Search {
    Search { seed, moves: 60 }
}

fn rules_of(min: i64, target: i64, max: i64, spread: i64) -> Rules {
    let window = Window { min: Nanometre(min), target: Nanometre(target), max: Nanometre(max) };
    Rules::new(window, Milligram(spread)).unwrap()
}

/// Blocks of 1 to 5 cylinders and pistons about them, in steps of 1 µm and 0.1 g.
fn lots(blocks: usize, pistons: usize) -> impl Strategy<Value = (Vec<Block>, Vec<Piston>, Rules)> {
    let bores = prop::collection::vec(prop::collection::vec(0_i64..16, 1..=5), 1..=blocks);
    let sizes = prop::collection::vec((0_i64..16, 0_i64..60), 1..=pistons);
    let limits = (0_i64..12, 0_i64..=100, 0_i64..40);
    (bores, sizes, limits).prop_map(|(bores, sizes, (width, aim, spread))| {
        let bore = |um: i64| Nanometre(68_000_000 + um * 1_000);
        let block = |(i, b): (usize, Vec<i64>)| {
            Block::new(format!("B{i:02}"), b.into_iter().map(bore).collect()).unwrap()
        };
        let piston = |(i, (um, dg)): (usize, (i64, i64))| {
            let diameter = Nanometre(67_964_000 + um * 1_000);
            Piston::new(format!("P{i:02}"), diameter, Milligram(414_000 + dg * 100)).unwrap()
        };
        let min = 36_000 - width * 500;
        let max = min + width * 1_000;
        let target = min + (max - min) * aim / 100;
        (
            bores.into_iter().enumerate().map(block).collect(),
            sizes.into_iter().enumerate().map(piston).collect(),
            rules_of(min, target, max, spread * 100),
        )
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn every_rule_is_kept_and_every_piece_accounted_for(
        (blocks, pistons, rules) in lots(12, 40), seed: u64,
    ) {
        let found = match_sets(&blocks, &pistons, &rules, quick(seed)).unwrap();
        prop_assert_eq!(check_matching(&blocks, &pistons, &rules, &found), Ok(()));
    }

    #[test]
    fn never_fewer_engines_than_first_in_first_out_by_id(
        (blocks, pistons, rules) in lots(12, 40), seed: u64,
    ) {
        let fifo = first_in_first_out(&blocks, &pistons, &rules).unwrap();
        prop_assert!(check_engines(&blocks, &pistons, &rules, &fifo).is_ok());
        let found = match_sets(&blocks, &pistons, &rules, quick(seed)).unwrap();
        prop_assert!(fifo.len() <= found.engines.len());
    }

    #[test]
    fn grade_bins_keep_every_rule((blocks, pistons, rules) in lots(12, 40)) {
        let bins = grade_bins(&blocks, &pistons, &rules).unwrap();
        prop_assert!(check_engines(&blocks, &pistons, &rules, &bins).is_ok());
    }

    #[test]
    fn the_order_of_the_pieces_does_not_matter(
        (blocks, pistons, rules) in lots(12, 40),
        seed: u64,
        by in 1_usize..40,
    ) {
        let found = match_sets(&blocks, &pistons, &rules, quick(seed)).unwrap();
        let (mut other_blocks, mut other_pistons) = (blocks, pistons);
        other_blocks.reverse();
        let turn = by % other_pistons.len();
        other_pistons.rotate_left(turn);
        let again = match_sets(&other_blocks, &other_pistons, &rules, quick(seed)).unwrap();
        prop_assert_eq!(found, again);
    }

    #[test]
    fn one_piston_more_never_lowers_the_bound(
        (blocks, mut pistons, rules) in lots(12, 40), um in 0_i64..16, dg in 0_i64..60,
    ) {
        let before = most_engines(&blocks, &pistons, &rules).unwrap();
        let cylinders = most_cylinders(&blocks, &pistons, &rules).unwrap();
        let diameter = Nanometre(67_964_000 + um * 1_000);
        pistons.push(Piston::new("more", diameter, Milligram(414_000 + dg * 100)).unwrap());
        prop_assert!(before <= most_engines(&blocks, &pistons, &rules).unwrap());
        prop_assert!(cylinders <= most_cylinders(&blocks, &pistons, &rules).unwrap());
    }

    #[test]
    fn the_bound_is_never_below_the_exact_optimum((blocks, pistons, rules) in lots(5, 16)) {
        let most = set_exact::most_engines(&blocks, &pistons, &rules);
        let found = match_sets(&blocks, &pistons, &rules, quick(1)).unwrap();
        prop_assert!(found.engines.len() <= most);
        prop_assert!(most <= found.bound);
    }

    #[test]
    fn pistons_said_to_be_short_really_complete_that_many_more(
        (blocks, mut pistons, rules) in lots(6, 16),
    ) {
        let found = match_sets(&blocks, &pistons, &rules, quick(1)).unwrap();
        let mut masses: Vec<i64> = pistons.iter().map(|p| p.mass().0).collect();
        masses.sort_unstable();
        let mut engines = found.engines.len();
        for (round, short) in found.blocking.iter().enumerate() {
            prop_assert!(short.from <= short.to && short.pistons > 0 && short.engines > 0);
            let n = i64::try_from(short.pistons).unwrap();
            // The middle mass of everything on the rack, earlier additions among it.
            let middle = Milligram(masses[masses.len() / 2]);
            for i in 0..n {
                let along = (short.to - short.from).0 * (2 * i + 1) / (2 * n);
                let diameter = Nanometre(short.from.0 + along);
                pistons.push(Piston::new(format!("N{round}-{i}"), diameter, middle).unwrap());
                masses.push(middle.0);
            }
            masses.sort_unstable();
            engines += short.engines;
            if pistons.len() <= 64 {
                let most = set_exact::most_engines(&blocks, &pistons, &rules);
                prop_assert!(engines <= most, "{engines} of {most}");
            }
        }
    }
}

fn sample() -> (Vec<Block>, Vec<Piston>, Rules) {
    let bores = vec![Nanometre(68_000_000), Nanometre(68_024_000)];
    let blocks = vec![Block::new("B1", bores).unwrap()];
    let piston =
        |id: &str, nm: i64, mg: i64| Piston::new(id, Nanometre(nm), Milligram(mg)).unwrap();
    let pistons = vec![piston("P1", 67_970_000, 416_000), piston("P2", 67_982_000, 418_000)];
    (blocks, pistons, rules_of(30_000, 36_000, 42_000, 2_000))
}

#[test]
fn clearances_and_spread_on_their_limits_are_accepted_and_one_step_beyond_is_not() {
    // Clearances 30.000 and 42.000 µm, spread 2.000 g: every one on its limit, and no other way.
    let (blocks, pistons, rules) = sample();
    let engines =
        |rules: &Rules| match_sets(&blocks, &pistons, rules, quick(1)).unwrap().engines.len();
    assert_eq!(engines(&rules), 1);
    assert_eq!(engines(&rules_of(30_001, 36_000, 42_000, 2_000)), 0);
    assert_eq!(engines(&rules_of(30_000, 36_000, 41_999, 2_000)), 0);
    assert_eq!(engines(&rules_of(30_000, 36_000, 42_000, 1_999)), 0);
}

#[test]
fn loss_is_the_sum_of_squared_shares_and_the_share_of_spread() {
    let (blocks, pistons, rules) = sample();
    let found = match_sets(&blocks, &pistons, &rules, quick(1)).unwrap();
    // By hand: both clearances are one half-width from target, the whole spread is used.
    assert_eq!(found.loss, 3.0);
    assert_eq!(found.engines[0].mass_spread, Milligram(2_000));
    let um: Vec<f64> = found.engines[0].places.iter().map(|p| p.clearance.um()).collect();
    assert_eq!(um, [30.0, 42.0]);
}

#[test]
fn a_block_left_over_says_why() {
    let (mut blocks, mut pistons, rules) = sample();
    blocks.push(Block::new("B2", vec![Nanometre(68_000_000), Nanometre(69_000_000)]).unwrap());
    blocks.push(Block::new("B3", vec![Nanometre(68_000_000)]).unwrap());
    blocks.push(Block::new("B4", vec![Nanometre(67_000_000), Nanometre(67_001_000)]).unwrap());
    for (id, mg) in [("P3", 410_000), ("P4", 420_000)] {
        pistons.push(Piston::new(id, Nanometre(66_964_000), Milligram(mg)).unwrap());
    }
    let found = match_sets(&blocks, &pistons, &rules, Search::default()).unwrap();
    let reason = |id: &str| {
        found.left_over.blocks.iter().find(|left| left.block == id).map(|left| left.reason)
    };
    assert_eq!(found.engines.len(), 1);
    assert_eq!(reason("B2"), Some(Reason::NoPistonFits { cylinder: 2 }));
    assert!(reason("B1").or(reason("B3")) == Some(Reason::PistonsServeOthers));
    assert_eq!(reason("B4"), Some(Reason::NoSetKeepsMass));
}

#[test]
fn a_shortage_names_the_sizes_that_are_missing() {
    // Ten single-cylinder blocks of 68.000 mm and only pistons far too small.
    let block = |i: i32| Block::new(format!("B{i:02}"), vec![Nanometre(68_000_000)]).unwrap();
    let blocks: Vec<Block> = (0..10).map(block).collect();
    let pistons = vec![Piston::new("P", Nanometre(67_900_000), Milligram(416_000)).unwrap()];
    let rules = rules_of(30_000, 36_000, 42_000, 4_000);
    let found = match_sets(&blocks, &pistons, &rules, Search::default()).unwrap();
    assert!(found.engines.is_empty());
    let short = found.blocking[0];
    assert_eq!((short.pistons, short.engines), (10, 10));
    // Any piston of the interval fits: 68.000 − 0.042 ≤ from, to ≤ 68.000 − 0.030.
    assert!(Nanometre(67_958_000) <= short.from && short.to <= Nanometre(67_970_000));
    assert_eq!(short.to - short.from, Nanometre(3_000));
    assert_eq!(found.blocking.len(), 1);
}

#[test]
fn bad_pieces_and_rules_are_refused_by_name_and_nothing_is_assigned() {
    let (blocks, pistons, rules) = sample();
    let tried = |b: &[Block], p: &[Piston]| match_sets(b, p, &rules, quick(1)).unwrap_err();
    assert_eq!(tried(&[], &pistons), SetError::NoBlocks);
    assert_eq!(tried(&blocks, &[]), SetError::NoPistons);
    let twice = [blocks.clone(), blocks.clone()].concat();
    assert_eq!(tried(&twice, &pistons), SetError::BlockTwice { block: "B1".into() });
    let twice = [pistons.clone(), pistons[1..].to_vec()].concat();
    assert_eq!(tried(&blocks, &twice), SetError::PistonTwice { piston: "P2".into() });
    assert!(first_in_first_out(&[], &pistons, &rules).is_err());
    assert!(grade_bins(&blocks, &twice, &rules).is_err());
    assert!(most_engines(&blocks, &[], &rules).is_err());
}

#[test]
fn pieces_that_are_none_are_refused() {
    let bore = Nanometre(68_000_000);
    assert_eq!(Block::new("", vec![bore]), Err(SetError::NoId));
    assert_eq!(Block::new("B", vec![]), Err(SetError::NoBores { block: "B".into() }));
    let many = Block::new("B", vec![bore; 17]);
    assert_eq!(many, Err(SetError::TooManyBores { block: "B".into(), bores: 17 }));
    assert!(Block::new("B", vec![bore; 16]).is_ok());
    let zero = Block::new("B", vec![bore, Nanometre(0)]).unwrap_err();
    assert_eq!(
        zero.to_string(),
        "cylinder 2 of block B has a bore of 0 mm; more than 0, at most 10 m"
    );
    let far = Piston::new("P", Nanometre(i64::MAX), Milligram(1));
    assert!(matches!(far, Err(SetError::DiameterOutOfReach { .. })));
    let light = Piston::new("P", bore, Milligram(-1));
    assert!(matches!(light, Err(SetError::MassOutOfReach { .. })));
}

#[test]
fn rules_that_contradict_themselves_are_refused() {
    let rules = |min, target, max, spread| {
        let window = Window { min: Nanometre(min), target: Nanometre(target), max: Nanometre(max) };
        Rules::new(window, Milligram(spread))
    };
    assert!(matches!(rules(42, 36, 30, 1), Err(SetError::LimitsCross { .. })));
    assert!(matches!(rules(30, 43, 42, 1), Err(SetError::TargetOutside { .. })));
    assert!(matches!(rules(30, 29, 42, 1), Err(SetError::TargetOutside { .. })));
    assert!(matches!(rules(30, 36, 42, -1), Err(SetError::SpreadOutOfReach { .. })));
    assert!(matches!(rules(i64::MIN, 36, 42, 1), Err(SetError::ClearanceOutOfReach { .. })));
    assert!(rules(36, 36, 36, 0).is_ok());
    assert!(rules(-5, 0, 5, 0).is_ok());
}

#[test]
fn the_checker_finds_what_is_wrong() {
    let (blocks, pistons, rules) = sample();
    let good = match_sets(&blocks, &pistons, &rules, quick(1)).unwrap();
    let fault = |change: &dyn Fn(&mut bedplate_engine::set::Matching)| {
        let mut bad = good.clone();
        change(&mut bad);
        check_matching(&blocks, &pistons, &rules, &bad).unwrap_err()
    };
    let same = fault(&|m| m.engines[0].places[1].piston = "P1".into());
    assert_eq!(same, Fault::PistonTwice { piston: "P1".into() });
    let gone = fault(&|m| m.engines.clear());
    assert!(matches!(gone, Fault::NotAccountedFor { .. }));
    let few = fault(&|m| drop(m.engines[0].places.pop()));
    assert_eq!(few, Fault::NotComplete { block: "B1".into(), cylinders: 2 });
    let stated = fault(&|m| m.engines[0].places[0].clearance = Nanometre(31_000));
    assert!(matches!(stated, Fault::WrongFigure { figure: "clearance", .. }));
    assert!(matches!(fault(&|m| m.bound = 0), Fault::AboveBound { engines: 1, bound: 0 }));
    assert!(matches!(fault(&|m| m.loss = f64::NAN), Fault::WrongFigure { figure: "loss", .. }));
    let tight = rules_of(31_000, 36_000, 42_000, 2_000);
    let outside = check_matching(&blocks, &pistons, &tight, &good).unwrap_err();
    assert!(matches!(outside, Fault::ClearanceOutside { cylinder: 1, .. }));
}

#[test]
fn a_lot_that_cannot_be_built_is_answered_not_refused() {
    let (blocks, pistons, rules) = sample();
    let found = match_sets(&blocks, &pistons[..1], &rules, quick(1)).unwrap();
    assert_eq!((found.engines.len(), found.bound), (0, 0));
    assert_eq!(found.loss.to_bits(), 0.0_f64.to_bits());
    assert_eq!(found.left_over.pistons, ["P1"]);
}
