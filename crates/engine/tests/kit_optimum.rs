//! Kits against an exhaustive solver: on tiny stores the answer has as many engines as there can
//! be, and both bounds hold.

#![allow(clippy::unwrap_used, reason = "a store that cannot be laid must fail the test")]

mod kit_exact;
#[expect(dead_code, reason = "each test file uses a part of the shop")]
mod kit_shop;

use bedplate_engine::kit::check::check_kits;
use bedplate_engine::kit::plan::{Plan, Supply};
use bedplate_engine::kit::stock::Piece;
use bedplate_engine::kit::{Search, match_kits};

use kit_shop::{Dice, fit, length, mass, piece, role, spread};

/// A two-cylinder engine: a piston for each bore, a pin for each piston, two shells on the one
/// journal, a spread of the mass of piston and pin together.
fn twin() -> Plan {
    let roles = vec![
        role("block", 1, Supply::Numbered, vec![length("bore", 2), length("housing", 1)]),
        role("piston", 2, Supply::Numbered, vec![length("skirt", 1), mass("mass")]),
        role("pin", 2, Supply::Numbered, vec![length("diameter", 1), mass("mass")]),
        role("shell", 2, Supply::Graded, vec![length("wall", 1)]),
    ];
    let fits = vec![
        fit("piston", 2, &[("block", "bore", 1.0), ("piston", "skirt", -1.0)], 0, [2, 5, 8]),
        fit("pin", 2, &[("piston", "skirt", 1.0), ("pin", "diameter", -1.0)], 0, [0, 4, 8]),
        fit("oil", 1, &[("block", "housing", 1.0), ("shell", "wall", -1.0)], 0, [1, 2, 4]),
    ];
    let together = [("piston", "mass", 1.0), ("pin", "mass", 1.0)];
    let spreads =
        vec![spread("piston mass", 2, &together[..1], 4), spread("together", 2, &together, 5)];
    Plan::new("block", roles, fits, spreads, None).unwrap()
}

fn tiny_store(seed: u64) -> Vec<Piece> {
    let mut dice = Dice::new(seed);
    let mut all = Vec::new();
    for i in 0..3 {
        let bore = [dice.between(100, 108), dice.between(100, 108)];
        let housing = [dice.between(20, 24)];
        all.push(piece("block", &format!("B{i}"), &[("bore", &bore), ("housing", &housing)], 1));
    }
    for i in 0..6 {
        let skirt = [dice.between(95, 103)];
        let grams = [dice.between(50, 55)];
        all.push(piece("piston", &format!("P{i}"), &[("skirt", &skirt), ("mass", &grams)], 1));
        let pin = [dice.between(91, 99)];
        let grams = [dice.between(10, 14)];
        all.push(piece("pin", &format!("G{i}"), &[("diameter", &pin), ("mass", &grams)], 1));
    }
    for wall in 9..=11 {
        let stock = dice.between(0, 3);
        all.push(piece("shell", &format!("{wall}"), &[("wall", &[wall])], stock));
    }
    all
}

#[test]
fn tiny_stores_give_the_most_engines_there_are() {
    let plan = twin();
    let (mut exact_loss, mut bound_met, mut by_count) = (0, 0, [0; 4]);
    const N: u64 = 80;
    for seed in 0..N {
        let store = tiny_store(seed);
        let best = kit_exact::best(&plan, &store);
        let kits = match_kits(&plan, &store, &[], &[], Search::with_seed(seed)).unwrap();
        check_kits(&plan, &store, &[], &kits).unwrap();
        assert_eq!(kits.engines.len(), best.engines, "seed {seed}: {kits:?}");
        assert!(best.engines <= kits.bound.engines, "seed {seed}");
        assert!(kits.bound.loss <= best.loss + 1e-9, "seed {seed}");
        assert!(kits.loss >= best.loss - 1e-9, "seed {seed}");
        exact_loss += u64::from(kits.loss <= best.loss + 1e-9);
        bound_met += u64::from(kits.bound.engines == best.engines);
        by_count[best.engines] += 1;
    }
    println!("least loss met {exact_loss}, bound met {bound_met} of {N}; engines {by_count:?}");
    assert!(by_count.iter().filter(|&&n| n > 4).count() >= 3, "too uniform: {by_count:?}");
    assert!(exact_loss * 10 >= N * 9, "the least loss was met {exact_loss} of {N} times");
}

/// A V twin: two rods share the one crank pin, and the crankshaft is chosen too.
#[test]
fn rods_that_share_a_pin_give_the_most_engines_there_are() {
    let roles = vec![
        role("block", 1, Supply::Numbered, vec![length("bore", 2)]),
        role("crankshaft", 1, Supply::Numbered, vec![length("pin", 1)]),
        role("rod", 2, Supply::Numbered, vec![length("big end", 1), length("reach", 1)]),
        role("shell", 4, Supply::Graded, vec![length("wall", 1)]),
    ];
    let oil = [("rod", "big end", 1.0), ("crankshaft", "pin", -1.0), ("shell", "wall", -1.0)];
    let fits = vec![
        fit("oil", 2, &oil, 0, [2, 4, 5]),
        fit("reach", 2, &[("block", "bore", 1.0), ("rod", "reach", -1.0)], 0, [0, 3, 6]),
    ];
    let plan = Plan::new("block", roles, fits, Vec::new(), None).unwrap();
    for seed in 0..40 {
        let mut dice = Dice::new(1_000 + seed);
        let mut store = Vec::new();
        for i in 0..3 {
            let bore = [dice.between(50, 56), dice.between(50, 56)];
            store.push(piece("block", &format!("B{i}"), &[("bore", &bore)], 1));
            let pin = [dice.between(100, 104)];
            store.push(piece("crankshaft", &format!("C{i}"), &[("pin", &pin)], 1));
        }
        for i in 0..5 {
            let own: [(&str, &[i64]); 2] =
                [("big end", &[dice.between(112, 116)]), ("reach", &[dice.between(47, 53)])];
            store.push(piece("rod", &format!("R{i}"), &own, 1));
        }
        for wall in 4..=5 {
            let stock = dice.between(1, 7);
            store.push(piece("shell", &format!("{wall}"), &[("wall", &[wall])], stock));
        }
        let best = kit_exact::best(&plan, &store);
        let kits = match_kits(&plan, &store, &[], &[], Search::with_seed(seed)).unwrap();
        check_kits(&plan, &store, &[], &kits).unwrap();
        assert_eq!(kits.engines.len(), best.engines, "seed {seed}");
        assert!(best.engines <= kits.bound.engines, "seed {seed}");
        assert!(kits.bound.loss <= best.loss + 1e-9, "seed {seed}");
    }
}
