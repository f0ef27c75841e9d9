//! Matching against lots whose most engines are known from outside, and against a small exact
//! search of the tests' own.
#![allow(clippy::unwrap_used, reason = "a lot that cannot be laid must fail the test")]

use bedplate_engine::set::bound::{most_cylinders, most_engines};
use bedplate_engine::set::check::{check_engines, check_matching};
use bedplate_engine::set::practice::{first_in_first_out, grade_bins};
use bedplate_engine::set::size::{Milligram, Nanometre};
use bedplate_engine::set::{Block, Piston, Rules, Search, Window, match_sets};
use serde_json::Value;

mod set_exact;

/// Pieces and rules.
struct Lot {
    blocks: Vec<Block>,
    pistons: Vec<Piston>,
    rules: Rules,
}

const NOMINAL_UM: i64 = 81_000;

fn block(id: usize, bores_um: &[i64]) -> Block {
    let bores = bores_um.iter().map(|um| Nanometre((NOMINAL_UM + um) * 1_000)).collect();
    Block::new(format!("B{id:03}"), bores).unwrap()
}

fn piston(id: usize, diameter_um: i64, mass_0p1g: i64) -> Piston {
    let diameter = Nanometre((NOMINAL_UM + diameter_um) * 1_000);
    Piston::new(format!("P{id:03}"), diameter, Milligram(mass_0p1g * 100)).unwrap()
}

fn rules(clearance_um: [i64; 2], mass_spread_0p1g: i64) -> Rules {
    let [min, max] = clearance_um.map(|um| um * 1_000);
    let window =
        Window { min: Nanometre(min), target: Nanometre((min + max) / 2), max: Nanometre(max) };
    Rules::new(window, Milligram(mass_spread_0p1g * 100)).unwrap()
}

fn whole(value: &Value) -> i64 {
    value.as_i64().unwrap()
}

fn rows(value: &Value) -> Vec<Vec<i64>> {
    let row = |r: &Value| r.as_array().unwrap().iter().map(whole).collect();
    value.as_array().unwrap().iter().map(row).collect()
}

/// The small lots: name, lot, most engines, most cylinders.
fn small_lots() -> Vec<(String, Lot, usize, usize)> {
    let text = include_str!("reference/set_small_lots.json");
    let json: Value = serde_json::from_str(text).unwrap();
    let lot = |case: &Value| {
        let clearance = rows(&Value::Array(vec![case["clearance_um"].clone()]))[0].clone();
        let blocks = rows(&case["bores_um"]);
        let pistons = rows(&case["pistons_um_and_0p1g"]);
        let lot = Lot {
            blocks: blocks.iter().enumerate().map(|(i, b)| block(i + 1, b)).collect(),
            pistons: pistons.iter().enumerate().map(|(i, p)| piston(i + 1, p[0], p[1])).collect(),
            rules: rules([clearance[0], clearance[1]], whole(&case["mass_spread_0p1g"])),
        };
        let count = |name: &str| usize::try_from(whole(&case[name])).unwrap();
        let name = case["id"].as_str().unwrap().to_owned();
        (name, lot, count("max_engines"), count("max_cylinders"))
    };
    json["cases"].as_array().unwrap().iter().map(lot).collect()
}

fn csv_rows(text: &str) -> Vec<Vec<i64>> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    reader.deserialize().map(Result::unwrap).collect()
}

/// 200 blocks and 800 pistons with a hidden assignment that uses every piston.
fn planted() -> Lot {
    let blocks = csv_rows(include_str!("reference/set_planted200a_blocks.csv"));
    let pistons = csv_rows(include_str!("reference/set_planted200a_pistons.csv"));
    let id = |row: &[i64]| usize::try_from(row[0]).unwrap();
    Lot {
        blocks: blocks.iter().map(|r| block(id(r), &r[1..])).collect(),
        pistons: pistons.iter().map(|r| piston(id(r), r[1], r[2])).collect(),
        rules: rules([30, 50], 40),
    }
}

// Source: synthetic lots; most engines proven by OR-Tools 9.15.6755 CP-SAT (status: computed).
#[test]
fn small_lots_give_as_many_engines_as_an_exact_solver_proved_possible() {
    for (name, lot, most, _) in small_lots() {
        for seed in 1..=5 {
            let search = Search::with_seed(seed);
            let found = match_sets(&lot.blocks, &lot.pistons, &lot.rules, search).unwrap();
            check_matching(&lot.blocks, &lot.pistons, &lot.rules, &found).unwrap();
            assert_eq!(found.engines.len(), most, "{name}, seed {seed}");
        }
    }
}

#[test]
fn the_exact_search_of_the_tests_agrees_with_the_outside_solver() {
    for (name, lot, most, _) in small_lots() {
        assert_eq!(set_exact::most_engines(&lot.blocks, &lot.pistons, &lot.rules), most, "{name}");
    }
}

#[test]
fn the_bound_is_never_below_what_an_exact_solver_proved_possible() {
    for (name, lot, most, _) in small_lots() {
        let bound = most_engines(&lot.blocks, &lot.pistons, &lot.rules).unwrap();
        assert!(most <= bound && bound <= lot.blocks.len(), "{name}: {most} {bound}");
    }
}

// Source: the same lots, largest matching by networkx 3.6.1 (status: computed).
#[test]
fn cylinders_that_can_be_served_at_once_agree_with_a_general_matching() {
    for (name, lot, _, cylinders) in small_lots() {
        let found = most_cylinders(&lot.blocks, &lot.pistons, &lot.rules).unwrap();
        assert_eq!(found, cylinders, "{name}");
    }
}

// Source: constructed with a planted assignment of every piston, so the optimum is 200 (status:
// computed, known by construction).
#[test]
fn a_lot_with_a_hidden_perfect_assignment_is_solved_within_two_engines_of_it() {
    let lot = planted();
    let fifo = first_in_first_out(&lot.blocks, &lot.pistons, &lot.rules).unwrap();
    check_engines(&lot.blocks, &lot.pistons, &lot.rules, &fifo).unwrap();
    let bins = grade_bins(&lot.blocks, &lot.pistons, &lot.rules).unwrap();
    check_engines(&lot.blocks, &lot.pistons, &lot.rules, &bins).unwrap();
    let found = match_sets(&lot.blocks, &lot.pistons, &lot.rules, Search::with_seed(1)).unwrap();
    check_matching(&lot.blocks, &lot.pistons, &lot.rules, &found).unwrap();
    assert_eq!(found.bound, 200);
    println!("planted: bins {}, fifo {}, found {}", bins.len(), fifo.len(), found.engines.len());
    assert!(bins.len() < fifo.len() && fifo.len() < found.engines.len());
    assert!(found.engines.len() >= 198, "{} of 200", found.engines.len());
}
