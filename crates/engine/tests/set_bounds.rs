//! The bounds against searches of the tests' own that look at everything, the proof of small lots,
//! and the same answer from the same rounds.
#![allow(clippy::unwrap_used, reason = "a lot that cannot be laid must fail the test")]

use bedplate_engine::set::check::{check_engines, check_matching};
use bedplate_engine::set::practice::{best_fit_now, first_in_first_out};
use bedplate_engine::set::size::{Milligram, Nanometre};
use bedplate_engine::set::wishes::Wishes;
use bedplate_engine::set::{
    Block, Matching, Piston, Rules, Search, Window, match_sets, match_sets_while,
};
use proptest::prelude::*;

mod set_exact;
mod set_lots;

use set_lots::{Family, Width, lot};

/// Least loss of a matching with at least `wanted` engines, by trying every assignment.
fn least_loss(blocks: &[Block], pistons: &[Piston], rules: &Rules, wanted: usize) -> f64 {
    let mut best = f64::INFINITY;
    let mut used = vec![false; pistons.len()];
    built_from(blocks, pistons, rules, wanted, &mut used, 0.0, &mut best);
    best
}

fn built_from(
    blocks: &[Block],
    pistons: &[Piston],
    rules: &Rules,
    wanted: usize,
    used: &mut Vec<bool>,
    loss: f64,
    best: &mut f64,
) {
    let Some((block, rest)) = blocks.split_first() else {
        if wanted == 0 {
            *best = best.min(loss);
        }
        return;
    };
    if rest.len() >= wanted {
        built_from(rest, pistons, rules, wanted, used, loss, best);
    }
    let mut sets = Vec::new();
    sets_of(block, pistons, rules, used, &mut Vec::new(), &mut sets);
    for (set, own) in sets {
        set.iter().for_each(|&p| used[p] = true);
        let still = wanted.saturating_sub(1);
        built_from(rest, pistons, rules, still, used, loss + own, best);
        set.iter().for_each(|&p| used[p] = false);
    }
}

fn sets_of(
    block: &Block,
    pistons: &[Piston],
    rules: &Rules,
    used: &[bool],
    chosen: &mut Vec<usize>,
    sets: &mut Vec<(Vec<usize>, f64)>,
) {
    let Some(bore) = block.bores().get(chosen.len()) else {
        let masses = || chosen.iter().map(|&p| pistons[p].mass());
        let spread = masses().max().unwrap() - masses().min().unwrap();
        if spread <= rules.mass_spread_max() {
            let target = rules.clearance_target();
            let half = (target - rules.clearance_min()).max(rules.clearance_max() - target).0;
            let off = |(bore, p): (&Nanometre, &usize)| {
                let off = (*bore - pistons[*p].diameter() - target).0 as f64 / half as f64;
                if half == 0 { 0.0 } else { off * off }
            };
            let places: f64 = block.bores().iter().zip(chosen.iter()).map(off).sum();
            let allowed = rules.mass_spread_max().0;
            let share = if allowed == 0 { 0.0 } else { spread.0 as f64 / allowed as f64 };
            sets.push((chosen.clone(), places + share));
        }
        return;
    };
    for (p, piston) in pistons.iter().enumerate() {
        let clearance = *bore - piston.diameter();
        let fits = rules.clearance_min() <= clearance && clearance <= rules.clearance_max();
        if fits && !used[p] && !chosen.contains(&p) {
            chosen.push(p);
            sets_of(block, pistons, rules, used, chosen, sets);
            chosen.pop();
        }
    }
}

fn small_lots() -> impl Strategy<Value = (Vec<Block>, Vec<Piston>, Rules)> {
    let bores = prop::collection::vec(prop::collection::vec(0_i64..80, 1..=3), 1..=3);
    let sizes = prop::collection::vec((0_i64..80, 0_i64..30), 1..=9);
    (bores, sizes, 2_i64..80, 0_i64..=100, 0_i64..30).prop_map(|(bores, sizes, width, aim, dg)| {
        let block = |(i, b): (usize, Vec<i64>)| {
            let bore = |x: i64| Nanometre(68_000_000 + x * 100);
            Block::new(format!("B{i}"), b.into_iter().map(bore).collect()).unwrap()
        };
        let piston = |(i, (x, m)): (usize, (i64, i64))| {
            let diameter = Nanometre(67_964_000 + x * 100);
            Piston::new(format!("P{i}"), diameter, Milligram(414_000 + m * 100)).unwrap()
        };
        let (min, max) = (36_000 - width * 50, 36_000 + width * 50);
        let target = Nanometre(min + (max - min) * aim / 100);
        let window = Window { min: Nanometre(min), target, max: Nanometre(max) };
        (
            bores.into_iter().enumerate().map(block).collect(),
            sizes.into_iter().enumerate().map(piston).collect(),
            Rules::new(window, Milligram(dg * 100)).unwrap(),
        )
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn the_loss_bound_is_never_above_the_least_loss((blocks, pistons, rules) in small_lots()) {
        let found =
            match_sets(&blocks, &pistons, &rules, Search { seed: 1, moves: 100 }).unwrap();
        let exact = least_loss(&blocks, &pistons, &rules, found.engines.len());
        prop_assert!(found.loss_bound <= exact, "{} above {exact}", found.loss_bound);
        prop_assert!(exact <= found.loss + 1e-9);
    }

    #[test]
    fn bound_and_answer_meet_on_small_lots((blocks, pistons, rules) in small_lots()) {
        let most = set_exact::most_engines(&blocks, &pistons, &rules);
        let found =
            match_sets(&blocks, &pistons, &rules, Search { seed: 1, moves: 500 }).unwrap();
        prop_assert_eq!((found.engines.len(), found.bound), (most, most));
    }

    #[test]
    fn best_fit_now_keeps_every_rule((blocks, pistons, rules) in small_lots()) {
        let found = best_fit_now(&blocks, &pistons, &rules).unwrap();
        prop_assert!(check_engines(&blocks, &pistons, &rules, &found).is_ok());
    }
}

#[test]
fn best_fit_now_takes_the_nearest_piston() {
    let lot = lot(Family::Centred, Width::Wide, 200, 4, 3);
    let sets = best_fit_now(&lot.blocks, &lot.pistons, &lot.rules).unwrap();
    let fifo = first_in_first_out(&lot.blocks, &lot.pistons, &lot.rules).unwrap();
    check_engines(&lot.blocks, &lot.pistons, &lot.rules, &sets).unwrap();
    // The first block has the whole store to choose from.
    let mean = |sets: &[bedplate_engine::set::Set]| {
        sets.iter().map(|s| s.loss).sum::<f64>() / sets.len() as f64
    };
    assert!(sets[0].loss < fifo[0].loss);
    assert!(mean(&sets) < mean(&fifo));
}

fn after_rounds(rounds: u32, seed: u64, moves: u32) -> (Matching, Vec<(u32, u64, usize)>) {
    let lot = lot(Family::Drifted, Width::Wide, 700, 4, 5);
    let mut seen = Vec::new();
    let found = match_sets_while(
        &lot.blocks,
        &lot.pistons,
        &lot.rules,
        &Wishes::default(),
        Search { seed, moves },
        &mut |p| {
            seen.push((p.round, p.moves, p.engines));
            p.round < rounds
        },
    );
    let found = found.unwrap();
    check_matching(&lot.blocks, &lot.pistons, &lot.rules, &found).unwrap();
    (found, seen)
}

#[test]
fn rounds_decide_and_nothing_else() {
    let (stopped, seen) = after_rounds(2, 4, 100_000);
    let (whole, all) = after_rounds(u32::MAX, 4, 1_000);
    assert_eq!(stopped, whole);
    assert_eq!(seen, all);
    assert_eq!((whole.rounds, seen.len()), (2, 3));
    assert!(seen.windows(2).all(|w| w[0].2 <= w[1].2), "{seen:?}");
    let one_core = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    assert_eq!(one_core.install(|| after_rounds(2, 4, 100_000).0), whole);
}

#[test]
fn a_search_may_stop_before_its_first_round() {
    let (found, seen) = after_rounds(0, 4, 1_000);
    assert_eq!((found.rounds, found.moves, seen.len()), (0, 0, 1));
    assert!(!found.engines.is_empty());
}

#[test]
fn thirty_scarce_blocks_are_proven() {
    let mut proven = 0;
    for seed in 1..=4 {
        let lot = lot(Family::Drifted, Width::Narrow, 20, 4, seed);
        let found =
            match_sets(&lot.blocks, &lot.pistons, &lot.rules, Search::with_seed(1)).unwrap();
        check_matching(&lot.blocks, &lot.pistons, &lot.rules, &found).unwrap();
        proven += usize::from(found.engines.len() == found.bound);
    }
    assert!(proven >= 3, "{proven} of 4");
}

#[test]
fn of_pistons_that_serve_equally_well_the_plentiful_are_used() {
    // One cylinder, 1 µm off target either way; five spare pistons of one size, one of the other.
    let blocks = [Block::new("B", vec![Nanometre(68_000_000)]).unwrap()];
    let window =
        Window { min: Nanometre(30_000), target: Nanometre(36_000), max: Nanometre(42_000) };
    let rules = Rules::new(window, Milligram(2_000)).unwrap();
    for many in [67_961_000, 67_967_000] {
        let size = |i: i64| if i == 3 { 2 * 67_964_000 - many } else { many };
        let piston =
            |i: i64| Piston::new(format!("P{i}"), Nanometre(size(i)), Milligram(416_000)).unwrap();
        let pistons: Vec<Piston> = (0..6).map(piston).collect();
        let found = match_sets(&blocks, &pistons, &rules, Search::with_seed(1)).unwrap();
        assert_eq!(found.engines.len(), 1);
        assert_ne!(found.engines[0].places[0].piston, "P3");
    }
}
