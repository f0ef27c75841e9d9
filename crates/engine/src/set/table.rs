//! [`match_sets`] on plain tables of numbers.

use std::collections::BTreeMap;

use bedplate_gauge::calculation::{
    Answer, Calculation, Column, Given, Input, Output, Refused, Stage,
};

use super::size::{Milligram, Nanometre, SizeError};
use super::{Block, Matching, Piston, Rules, Search, Window, match_sets};

const BLOCKS: &[Column] = &[
    Column { name: "block", unit: "", meaning: "number of the block" },
    Column { name: "cylinder", unit: "", meaning: "cylinder, counted from 1" },
    Column { name: "bore", unit: "mm", meaning: "measured bore" },
];

const PISTONS: &[Column] = &[
    Column { name: "piston", unit: "", meaning: "number of the piston" },
    Column { name: "diameter", unit: "mm", meaning: "measured diameter" },
    Column { name: "mass", unit: "g", meaning: "measured mass" },
];

const SETS: &[Column] = &[
    Column { name: "block", unit: "", meaning: "number of the block" },
    Column { name: "cylinder", unit: "", meaning: "cylinder, counted from 1" },
    Column { name: "piston", unit: "", meaning: "number of the piston" },
    Column { name: "clearance", unit: "µm", meaning: "bore less piston" },
];

const SHORTAGES: &[Column] = &[
    Column { name: "from", unit: "mm", meaning: "smallest diameter that helps" },
    Column { name: "to", unit: "mm", meaning: "largest diameter that helps" },
    Column { name: "pistons", unit: "", meaning: "how many more of them" },
    Column { name: "engines", unit: "", meaning: "engines they would complete" },
];

/// [`match_sets`] as a calculation.
pub const MATCH_SETS: Calculation = Calculation {
    name: "match-sets",
    title: "Pistons into blocks",
    stage: Stage::Match,
    question: "Which piston goes into which cylinder, so that the most engines are complete?",
    inputs: &[
        Input::table("blocks", BLOCKS, "one row a cylinder; 1 to 16 cylinders a block"),
        Input::table("pistons", PISTONS, "one row a piston"),
        Input::quantity("clearance_min", "µm", "least clearance, itself allowed"),
        Input::quantity("clearance_target", "µm", "clearance aimed at"),
        Input::quantity("clearance_max", "µm", "greatest clearance, itself allowed"),
        Input::quantity("mass_spread", "g", "widest spread of mass in one engine").at_least(0.0),
        Input::count("seed", "seed of the draws of chance; the same seed, the same answer").or("1"),
        Input::count("moves", "how long to search: moves for each block").at_most(1e6).or("8000"),
    ],
    outputs: &[
        Output::figure("engines", "", "complete engines found"),
        Output::figure("bound", "", "no matching at all completes more"),
        Output::figure("loss", "", "distance from target and spread of mass, in shares, summed"),
        Output::figure("loss_bound", "", "no matching with as many engines has less loss"),
        Output::figure("sets", "", "the complete engines, one row a cylinder"),
        Output::figure("blocks_left", "", "numbers of the blocks without a set"),
        Output::figure("pistons_left", "", "numbers of the pistons in no set"),
        Output::figure("short", "", "pistons that would complete more engines"),
    ],
    formula: "most engines, each clearance in c_min … c_max and each spread of mass ≤ w; \
        then least Σ ((c − t)/h)² + spread/w, h = max(t − c_min, c_max − t)",
    source: "derived here; bound by weak duality of linear programming",
    validity: "The rules are kept exactly, to 1 nm and 1 mg. The count is the best found; the \
        bound says how far off it can be at most.",
    // Engines: computed with an exact solver (OR-Tools 9.15 CP-SAT) and by exhaustive recursion;
    // the clearances of this case are allowed from 30 to 46 µm, the target in the middle is ours.
    example: &[
        (
            "blocks",
            "1,1,81.024; 1,2,80.992; 1,3,81.013; 1,4,81.006; \
             2,1,81.007; 2,2,81.008; 2,3,80.996; 2,4,81.008; \
             3,1,81.004; 3,2,81.033; 3,3,81.012; 3,4,81.008; \
             4,1,81.008; 4,2,81.005; 4,3,81.003; 4,4,81.007",
        ),
        (
            "pistons",
            "1,80.973,311.5; 2,80.969,310.2; 3,80.976,311.7; 4,80.969,302.9; 5,80.970,312.6; \
             6,80.979,307.6; 7,80.973,305.8; 8,80.967,310.7; 9,80.969,311.8; 10,80.973,308.9; \
             11,80.982,307.3; 12,80.968,310.1; 13,80.969,309.9; 14,80.976,313.5; \
             15,80.965,311.9; 16,80.968,310.5; 17,80.975,312.8",
        ),
        ("clearance_min", "30 µm"),
        ("clearance_target", "38 µm"),
        ("clearance_max", "46 µm"),
        ("mass_spread", "3.0 g"),
    ],
    expected: &[("engines", "2")],
    run,
};

fn run(given: &Given) -> Result<Answer, Refused> {
    let blocks = blocks(given.table("blocks"))?;
    let pistons = pistons(given.table("pistons"))?;
    let rules = rules(given)?;
    let search = Search {
        seed: given.count("seed") as u64,
        moves: u32::try_from(given.count("moves")).unwrap_or(u32::MAX),
    };
    let matching = match_sets(&blocks, &pistons, &rules, search)
        .map_err(|e| Refused::because("pistons", e.to_string()))?;
    Ok(answer(&matching))
}

fn answer(matching: &Matching) -> Answer {
    let mut rows = Vec::new();
    for set in &matching.engines {
        let place = |p: &super::Place| {
            vec![number(&set.block), p.cylinder as f64, number(&p.piston), p.clearance.um()]
        };
        rows.extend(set.places.iter().map(place));
    }
    rows.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    let sorted = |ids: &mut dyn Iterator<Item = &String>| {
        let mut numbers: Vec<f64> = ids.map(|id| number(id)).collect();
        numbers.sort_by(f64::total_cmp);
        numbers
    };
    let left = &matching.left_over;
    let short = |s: &super::shortage::Shortage| {
        vec![s.from.mm(), s.to.mm(), s.pistons as f64, s.engines as f64]
    };
    Answer::new()
        .count("engines", matching.engines.len())
        .count("bound", matching.bound)
        .figure("loss", matching.loss)
        .figure("loss_bound", matching.loss_bound)
        .table("sets", SETS, rows)
        .list("blocks_left", sorted(&mut left.blocks.iter().map(|b| &b.block)))
        .list("pistons_left", sorted(&mut left.pistons.iter()))
        .table("short", SHORTAGES, matching.blocking.iter().map(short).collect())
}

/// The id of a piece that has a number; `number` reads it back to the same number.
fn id(number: f64) -> String {
    number.to_string()
}

fn number(id: &str) -> f64 {
    id.parse().expect("every id was written from a number")
}

fn blocks(rows: &[Vec<f64>]) -> Result<Vec<Block>, Refused> {
    let refused = |reason: String| Refused::because("blocks", reason);
    // Keyed by the written number, so that 7 and 7.0 are one block.
    let mut by_block: BTreeMap<String, BTreeMap<usize, Nanometre>> = BTreeMap::new();
    for (i, row) in rows.iter().enumerate() {
        let in_row = |reason: String| refused(format!("row {}: {reason}", i + 1));
        let cylinder = (1..=super::CYLINDERS_MAX).find(|&c| c as f64 == row[1]);
        let cylinder = cylinder.ok_or_else(|| {
            in_row(format!("{} is no cylinder; a whole number from 1 to 16 is", row[1]))
        })?;
        let bore = Nanometre::from_mm(row[2]).map_err(|e| in_row(e.to_string()))?;
        let block = by_block.entry(id(row[0])).or_default();
        if block.insert(cylinder, bore).is_some() {
            return Err(in_row(format!("cylinder {cylinder} of block {} is given twice", row[0])));
        }
    }
    let block = |(id, bores): (String, BTreeMap<usize, Nanometre>)| {
        let n = bores.len();
        if bores.keys().next_back() != Some(&n) {
            let missing = (1..).find(|c| !bores.contains_key(c)).unwrap_or(1);
            return Err(refused(format!("block {id} has no row for cylinder {missing}")));
        }
        Block::new(id, bores.into_values().collect()).map_err(|e| refused(e.to_string()))
    };
    by_block.into_iter().map(block).collect()
}

fn pistons(rows: &[Vec<f64>]) -> Result<Vec<Piston>, Refused> {
    let piston = |(i, row): (usize, &Vec<f64>)| {
        let in_row =
            |reason: String| Refused::because("pistons", format!("row {}: {reason}", i + 1));
        let size = |e: SizeError| in_row(e.to_string());
        let diameter = Nanometre::from_mm(row[1]).map_err(size)?;
        let mass = Milligram::from_g(row[2]).map_err(size)?;
        Piston::new(id(row[0]), diameter, mass).map_err(|e| in_row(e.to_string()))
    };
    rows.iter().enumerate().map(piston).collect()
}

fn rules(given: &Given) -> Result<Rules, Refused> {
    let clearance = |name| {
        Nanometre::from_um(given.number(name)).map_err(|e| Refused::because(name, e.to_string()))
    };
    let window = Window {
        min: clearance("clearance_min")?,
        target: clearance("clearance_target")?,
        max: clearance("clearance_max")?,
    };
    let spread = Milligram::from_g(given.number("mass_spread"))
        .map_err(|e| Refused::because("mass_spread", e.to_string()))?;
    Rules::new(window, spread).map_err(|e| Refused::because("clearance_target", e.to_string()))
}

#[cfg(test)]
mod tests {
    use bedplate_gauge::calculation::{Argument, Value};

    use super::*;

    /// Two single-cylinder blocks and two pistons that fit.
    fn given(blocks: &[[f64; 3]], pistons: &[[f64; 3]]) -> Given {
        let table = |rows: &[[f64; 3]]| Argument::Table(rows.iter().map(|r| r.to_vec()).collect());
        Given(BTreeMap::from([
            ("blocks", table(blocks)),
            ("pistons", table(pistons)),
            ("clearance_min", Argument::Number(30.0)),
            ("clearance_target", Argument::Number(36.0)),
            ("clearance_max", Argument::Number(42.0)),
            ("mass_spread", Argument::Number(4.0)),
            ("seed", Argument::Count(1)),
            ("moves", Argument::Count(100)),
        ]))
    }

    #[test]
    fn sets_are_listed_by_number_of_block() {
        let blocks = [[10.0, 1.0, 68.0], [2.0, 1.0, 68.01]];
        let answer = run(&given(&blocks, &[[7.0, 67.964, 416.0], [8.0, 67.974, 417.0]])).unwrap();
        assert_eq!(answer.0[0], ("engines", Value::Count(2)));
        let rows = vec![vec![2.0, 1.0, 8.0, 36.0], vec![10.0, 1.0, 7.0, 36.0]];
        assert_eq!(answer.0[3], ("loss_bound", Value::Figure(0.0)));
        assert_eq!(answer.0[4], ("sets", Value::Table(SETS, rows)));
    }

    #[test]
    fn tables_that_contradict_themselves_are_refused_by_row() {
        let piston = [[7.0, 67.964, 416.0]];
        let refused = |blocks: &[[f64; 3]], pistons: &[[f64; 3]]| {
            run(&given(blocks, pistons)).unwrap_err().to_string()
        };
        let twice = refused(&[[1.0, 1.0, 68.0], [1.0, 1.0, 68.1]], &piston);
        assert_eq!(twice, "blocks: row 2: cylinder 1 of block 1 is given twice");
        let gap = refused(&[[1.0, 1.0, 68.0], [1.0, 3.0, 68.1]], &piston);
        assert_eq!(gap, "blocks: block 1 has no row for cylinder 2");
        let broken = refused(&[[1.0, 1.5, 68.0]], &piston);
        assert_eq!(broken, "blocks: row 1: 1.5 is no cylinder; a whole number from 1 to 16 is");
        let light = refused(&[[1.0, 1.0, 68.0]], &[[7.0, 67.964, 0.0]]);
        assert!(light.starts_with("pistons: row 1: piston 7 has a mass of 0 g"), "{light}");
        let same = refused(&[[1.0, 1.0, 68.0]], &[piston[0], piston[0]]);
        assert_eq!(same, "pistons: piston 7 is given twice; each piston once");
        assert!(refused(&[], &piston).contains("at least one is needed"));
    }
}
