//! Values of fits and probabilities against definitions and figures from outside.

#![allow(clippy::unwrap_used, reason = "a store that cannot be laid must fail the test")]

#[expect(dead_code, reason = "each test file uses a part of the shop")]
mod kit_shop;

use bedplate_engine::kit::check::check_kits;
use bedplate_engine::kit::plan::{Plan, Supply, Term};
use bedplate_engine::kit::stock::{Piece, Placed, Wish};
use bedplate_engine::kit::{FitValue, Search, match_kits};

use kit_shop::{fit, length, piece, role};

fn values(plan: &Plan, store: &[Piece]) -> Vec<FitValue> {
    let kits = match_kits(plan, store, &[], &[], Search::default()).unwrap();
    check_kits(plan, store, &[], &kits).unwrap();
    assert_eq!(kits.engines.len(), 1, "{kits:?}");
    kits.engines[0].fits.clone()
}

/// Geometry, a ring's arc being of constant length: the gap grows by π times the bore. A ring with
/// 0.4 mm in a gauge of 100 mm has 0.494 247 779 6 mm in a bore of 100.03 mm (computed).
#[test]
fn a_ring_gap_grows_by_pi_times_the_bore() {
    let roles = vec![
        role("block", 1, Supply::Numbered, vec![length("bore", 1)]),
        role("ring", 1, Supply::Graded, vec![length("gap in gauge", 1)]),
    ];
    let pi = std::f64::consts::PI;
    let terms = [("ring", "gap in gauge", 1.0), ("block", "bore", pi)];
    // −π · 100 mm = −314.159 265 mm.
    let fits = vec![fit("gap", 1, &terms, -314_159_265, [200_000, 300_000, 500_000])];
    let plan = Plan::new("block", roles, fits, Vec::new(), None).unwrap();
    let store = [
        piece("block", "B", &[("bore", &[100_030_000])], 1),
        piece("ring", "a", &[("gap in gauge", &[400_000])], 5),
    ];
    assert_eq!(values(&plan, &store)[0].value, 494_248);
}

/// Definition: oil clearance = housing − journal − both walls; each of two journals has its own two
/// halves.
#[test]
fn a_main_bearing_has_what_two_walls_leave() {
    let roles = vec![
        role("block", 1, Supply::Numbered, vec![length("housing", 2)]),
        role("crankshaft", 1, Supply::Numbered, vec![length("journal", 2)]),
        role("shell", 4, Supply::Graded, vec![length("wall", 1)]),
    ];
    let terms =
        [("block", "housing", 1.0), ("crankshaft", "journal", -1.0), ("shell", "wall", -1.0)];
    let fits = vec![fit("oil", 2, &terms, 0, [20_000, 30_000, 40_000])];
    let plan = Plan::new("block", roles, fits, Vec::new(), None).unwrap();
    let store = [
        piece("block", "B", &[("housing", &[54_010_000, 54_016_000])], 1),
        piece("crankshaft", "C", &[("journal", &[50_000_000, 49_994_000])], 1),
        piece("shell", "thin", &[("wall", &[1_990_000])], 2),
        piece("shell", "thick", &[("wall", &[1_996_000])], 2),
    ];
    // 54.010 − 50.000 − 2 · 1.990 = 0.030 mm; 54.016 − 49.994 − 2 · 1.996 = 0.030 mm.
    let values: Vec<i64> = values(&plan, &store).iter().map(|f| f.value).collect();
    assert_eq!(values, [30_000, 30_000]);
}

/// A V twin-four: rods 1 and 2 on the first pin, 3 and 4 on the second; the bores are numbered
/// along the banks, so that the reach of place 2 belongs to the third bore.
#[test]
fn two_rods_share_a_pin_and_an_order_of_places_is_followed() {
    let roles = vec![
        role("block", 1, Supply::Numbered, vec![length("deck", 4)]),
        role("crankshaft", 1, Supply::Numbered, vec![length("pin", 2)]),
        role("rod", 4, Supply::Numbered, vec![length("big end", 1)]),
    ];
    let oil = [("rod", "big end", 1.0), ("crankshaft", "pin", -1.0)];
    let mut reach = fit("reach", 4, &[("rod", "big end", 1.0)], 0, [0, 1_000, 2_000]);
    let deck = Term { at: vec![0, 2, 1, 3], ..Term::new("block", "deck", 1.0) };
    reach.terms.push(deck);
    let fits = vec![fit("oil", 4, &oil, 0, [40, 50, 60]), reach];
    let plan = Plan::new("block", roles, fits, Vec::new(), None).unwrap();
    let mut store = vec![
        piece("block", "B", &[("deck", &[100, 200, 300, 400])], 1),
        piece("crankshaft", "C", &[("pin", &[500, 600])], 1),
    ];
    for (id, big_end) in [("a", 549), ("b", 551), ("c", 649), ("d", 651)] {
        store.push(piece("rod", id, &[("big end", &[big_end])], 1));
    }
    let place = |i: usize, id: &str| {
        let (host, role, piece) = ("B".to_owned(), "rod".to_owned(), id.to_owned());
        Wish::Fitted(Placed { host, role, place: i, piece })
    };
    let wishes = [place(1, "a"), place(2, "b"), place(3, "c"), place(4, "d")];
    let kits = match_kits(&plan, &store, &wishes, &[], Search::default()).unwrap();
    check_kits(&plan, &store, &wishes, &kits).unwrap();
    let values: Vec<i64> = kits.engines[0].fits.iter().map(|f| f.value).collect();
    assert_eq!(values, [49, 51, 49, 51, 649, 851, 849, 1_051]);
}

/// Π [Φ((c_max − c)/u) − Φ((c_min − c)/u)] for 30.6, 37.4, 41.1, 36.0 µm with u = 0.5, 0.5, 0.6,
/// 0.5 µm between 30 and 42 µm: 0.825 810 611, computed with mpmath 1.4.1 at 30 digits.
#[test]
fn the_probability_of_an_engine_is_the_product_over_its_places() {
    let roles = vec![
        role("block", 1, Supply::Numbered, vec![length("bore", 4)]),
        role("piston", 4, Supply::Numbered, vec![length("skirt", 1)]),
    ];
    let terms = [("block", "bore", 1.0), ("piston", "skirt", -1.0)];
    let fits = vec![fit("clearance", 4, &terms, 0, [30_000, 36_000, 42_000])];
    let plan = Plan::new("block", roles, fits, Vec::new(), None).unwrap();
    let mut store = vec![piece("block", "B", &[("bore", &[81_000_000; 4])], 1)];
    let given = [(30_600, 500.0), (37_400, 500.0), (41_100, 600.0), (36_000, 500.0)];
    for (i, (clearance, u)) in given.into_iter().enumerate() {
        let mut own = piece("piston", &format!("P{i}"), &[("skirt", &[81_000_000 - clearance])], 1);
        own.measured[0].uncertainty = u;
        store.push(own);
    }
    let kits = match_kits(&plan, &store, &[], &[], Search::default()).unwrap();
    check_kits(&plan, &store, &[], &kits).unwrap();
    assert!((kits.engines[0].probability - 0.825_810_611).abs() < 5e-10);
}

/// The loss of one place is the square of its share of the larger distance to a limit: 3 steps off
/// with 6 to the farther limit is a quarter.
#[test]
fn the_loss_counts_in_the_larger_distance_to_a_limit() {
    let roles = vec![
        role("block", 1, Supply::Numbered, vec![length("bore", 1)]),
        role("piston", 1, Supply::Numbered, vec![length("skirt", 1)]),
    ];
    let terms = [("block", "bore", 1.0), ("piston", "skirt", -1.0)];
    let fits = vec![fit("clearance", 1, &terms, 0, [8, 10, 16])];
    let plan = Plan::new("block", roles, fits, Vec::new(), None).unwrap();
    let store =
        [piece("block", "B", &[("bore", &[100])], 1), piece("piston", "P", &[("skirt", &[87])], 1)];
    let kits = match_kits(&plan, &store, &[], &[], Search::default()).unwrap();
    assert_eq!(kits.loss, 0.25);
    assert!((kits.bound.loss - 0.25).abs() < 0.05, "{:?}", kits.bound);
}
