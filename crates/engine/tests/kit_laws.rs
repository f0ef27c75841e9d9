//! Laws of kits on drawn stores of engines of 1 to 16 cylinders.

#![allow(clippy::unwrap_used, reason = "a store that cannot be laid must fail the test")]

#[expect(dead_code, reason = "each test file uses a part of the shop")]
mod kit_shop;

use bedplate_engine::kit::check::check_kits;
use bedplate_engine::kit::plan::{Certainty, Errors, Plan};
use bedplate_engine::kit::shortage::piece_for;
use bedplate_engine::kit::stock::{Measured, Named, Piece, Placed, Wish};
use bedplate_engine::kit::{Kits, Reason, Search, match_kits};
use proptest::prelude::*;

use kit_shop::{Dice, Lot, QB4, Shape, plan, store};

const SHAPES: [Shape; 6] = [
    Shape { cylinders: 1, crank_pins: 1, mains: 2 },
    Shape { cylinders: 2, crank_pins: 1, mains: 2 },
    Shape { cylinders: 3, crank_pins: 3, mains: 4 },
    QB4,
    // V engines: two rods on one crank pin.
    Shape { cylinders: 8, crank_pins: 4, mains: 5 },
    Shape { cylinders: 16, crank_pins: 8, mains: 9 },
];

/// A short search, since laws hold for any.
fn search(seed: u64) -> Search {
    Search { seed, moves: 4 }
}

fn solve(plan: &Plan, store: &[Piece], wishes: &[Wish], start: &[Placed]) -> Kits {
    let kits = match_kits(plan, store, wishes, start, search(3)).unwrap();
    check_kits(plan, store, wishes, &kits).unwrap();
    kits
}

fn placed(kits: &Kits) -> Vec<Placed> {
    let parts = kits.engines.iter().flat_map(|k| k.parts.iter().map(move |p| (k, p)));
    parts
        .map(|(k, p)| Placed {
            host: k.host.clone(),
            role: p.role.clone(),
            place: p.place,
            piece: p.piece.clone(),
        })
        .collect()
}

fn shuffle<T>(list: &mut [T], seed: u64) {
    let mut dice = Dice::new(seed);
    for i in (1..list.len()).rev() {
        list.swap(i, usize::try_from(dice.below(i as u64 + 1)).unwrap());
    }
}

fn named(role: &str, id: &str) -> Named {
    Named { role: role.to_owned(), id: id.to_owned() }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(18))]

    #[test]
    fn every_rule_is_kept_and_no_piece_serves_twice(
        shape in 0..SHAPES.len(), engines in 1_usize..5, short in 0_usize..40, seed in 0_u64..1_000
    ) {
        let (plan, lot) = (plan(SHAPES[shape], None), Lot { engines, surplus: 10, seed });
        let mut store = store(SHAPES[shape], lot);
        // Some pieces are missing, so that not every engine can be built.
        let mut dice = Dice::new(seed + 1);
        store.retain(|p| p.role == "block" || p.stock > 1 || dice.below(100) >= short as u64);
        let roles = plan.roles().iter();
        if roles.clone().any(|r| store.iter().all(|p| p.role != r.name)) {
            return Ok(());
        }
        let kits = solve(&plan, &store, &[], &[]);
        prop_assert_eq!(kits.engines.len() + kits.left.len(), engines);
    }

    #[test]
    fn the_order_of_pieces_wishes_and_start_changes_nothing(
        shape in 0..SHAPES.len(), seed in 0_u64..1_000
    ) {
        let plan = plan(SHAPES[shape], None);
        let mut store = store(SHAPES[shape], Lot { engines: 3, surplus: 0, seed });
        let mut wishes = vec![
            Wish::Rank { host: "B0001".to_owned(), rank: 2 },
            Wish::Held(named("pin", "G00000")),
            Wish::Apart(named("block", "B0000"), named("crankshaft", "C0001")),
        ];
        let mut start = placed(&solve(&plan, &store, &[], &[]));
        start.retain(|p| p.role == "piston");
        let first = solve(&plan, &store, &wishes, &start);
        shuffle(&mut store, seed);
        shuffle(&mut wishes, seed);
        shuffle(&mut start, seed);
        store.iter_mut().for_each(|p| p.measured.reverse());
        prop_assert_eq!(first, solve(&plan, &store, &wishes, &start));
    }

    #[test]
    fn no_numbers_make_it_panic(
        values in prop::collection::vec(any::<i64>(), 8), u in any::<f64>()
    ) {
        let plan = plan(SHAPES[0], None);
        let mut store = store(SHAPES[0], Lot { engines: 2, surplus: 50, seed: 1 });
        for (i, &value) in values.iter().enumerate() {
            let n = store.len();
            let piece = &mut store[i * 7 % n];
            piece.measured[0].values[0] = value % 20_000_000_000;
            piece.measured[0].uncertainty = u;
            piece.stock = if i % 3 == 0 { value } else { piece.stock };
        }
        let _ = match_kits(&plan, &store, &[], &[], search(1));
    }
}

#[test]
fn a_start_is_never_made_fewer() {
    for seed in 0..6 {
        let plan = plan(QB4, None);
        let store = store(QB4, Lot { engines: 5, surplus: 0, seed });
        let long = match_kits(&plan, &store, &[], &[], Search::with_seed(seed)).unwrap();
        let none = Search { seed, moves: 0 };
        let again = match_kits(&plan, &store, &[], &placed(&long), none).unwrap();
        check_kits(&plan, &store, &[], &again).unwrap();
        assert!(again.engines.len() >= long.engines.len(), "seed {seed}");
    }
}

#[test]
fn one_piece_more_never_lowers_the_bound() {
    for seed in 0..30 {
        let plan = plan(QB4, None);
        let mut all = store(QB4, Lot { engines: 6, surplus: 30, seed });
        let mut dice = Dice::new(seed);
        all.retain(|p| p.role == "block" || p.stock > 1 || dice.below(100) < 70);
        let more = all.iter().rposition(|p| p.role == "piston").unwrap();
        let mut fewer = all.clone();
        fewer.remove(more);
        let none = Search { seed: 1, moves: 0 };
        let bound =
            |store: &[Piece]| match_kits(&plan, store, &[], &[], none).unwrap().bound.engines;
        assert!(bound(&fewer) <= bound(&all), "seed {seed}");
    }
}

#[test]
fn what_is_fitted_stays_and_the_rest_is_matched_around_it() {
    let plan = plan(QB4, None);
    let store = store(QB4, Lot { engines: 4, surplus: 40, seed: 5 });
    let free = solve(&plan, &store, &[], &[]);
    assert_eq!(free.engines.len(), 4);
    let pistons = placed(&free).into_iter().filter(|p| p.host == "B0002" && p.role == "piston");
    let mut wishes: Vec<Wish> = pistons.map(Wish::Fitted).collect();
    let crank = free.engines[0].parts.iter().find(|p| p.role == "crankshaft").unwrap();
    wishes.push(Wish::Held(named("crankshaft", &crank.piece)));
    wishes.push(Wish::Reserved { piece: named("rod", "R00003"), host: "B0001".to_owned() });
    wishes.push(Wish::Held(named("block", "B0003")));
    let kits = solve(&plan, &store, &wishes, &[]);
    assert_eq!(kits.engines.len(), 3);
    assert_eq!(kits.left[0].reason, Reason::Held);
}

#[test]
fn pieces_fitted_to_a_host_that_is_left_stay_there() {
    let plan = plan(QB4, None);
    let store = store(QB4, Lot { engines: 3, surplus: 40, seed: 5 });
    let wishes = [
        Wish::Held(named("block", "B0001")),
        Wish::Fitted(Placed {
            host: "B0001".to_owned(),
            role: "piston".to_owned(),
            place: 2,
            piece: "P00001".to_owned(),
        }),
    ];
    let kits = solve(&plan, &store, &wishes, &[]);
    assert_eq!(kits.still_fitted.len(), 1);
    assert_eq!(kits.still_fitted[0].piece, "P00001");
}

#[test]
fn the_highest_ranks_come_first_among_equally_many() {
    let plan = plan(QB4, None);
    let mut store = store(QB4, Lot { engines: 5, surplus: 60, seed: 9 });
    // Two crankshafts: two engines.
    let mut cranks = 0;
    store.retain(|p| {
        p.role != "crankshaft" || {
            cranks += 1;
            cranks <= 2
        }
    });
    let wishes: Vec<Wish> = (0..5)
        .map(|i| Wish::Rank { host: format!("B{i:04}"), rank: if i < 3 { 1 } else { 7 } })
        .collect();
    let kits = solve(&plan, &store, &wishes, &[]);
    assert_eq!(kits.bound.engines, 2);
    let built: Vec<&str> = kits.engines.iter().map(|k| k.host.as_str()).collect();
    assert_eq!(built, ["B0003", "B0004"]);
    let stop = kits.left.iter().all(
        |l| matches!(&l.reason, Reason::PiecesServeOthers { role, .. } if role == "crankshaft"),
    );
    assert!(stop, "{:?}", kits.left);
}

/// The pieces of every shortage, added to the store, complete the hosts it names.
#[test]
fn what_is_said_to_be_missing_completes_the_engines() {
    let plan = plan(QB4, None);
    for seed in 0..6 {
        let mut store = store(QB4, Lot { engines: 8, surplus: 20, seed });
        let mut pins = 0;
        store.retain(|p| {
            p.role != "pin" || {
                pins += 1;
                pins <= 24
            }
        });
        for shell in store.iter_mut().filter(|p| p.role == "rod shell") {
            shell.stock = 10;
        }
        let kits = solve(&plan, &store, &[], &[]);
        assert!(kits.engines.len() < 8 && !kits.shortages.is_empty(), "seed {seed}");
        for shortage in &kits.shortages {
            let mut more = store.clone();
            for (w, wanted) in shortage.wanted.iter().enumerate() {
                let like = store.iter().find(|p| p.role == wanted.role).unwrap();
                match &wanted.grade {
                    Some(grade) => {
                        let is = |p: &&mut Piece| p.role == wanted.role && p.id == *grade;
                        let stock = &mut more.iter_mut().find(is).unwrap().stock;
                        *stock += i64::try_from(wanted.n).unwrap();
                    }
                    None => more.extend(
                        (0..wanted.n).map(|i| piece_for(wanted, &format!("N{w}.{i}"), like)),
                    ),
                }
            }
            let search = Search { seed: 1, moves: 40 };
            let now = match_kits(&plan, &more, &[], &placed(&kits), search).unwrap();
            check_kits(&plan, &more, &[], &now).unwrap();
            let promised = kits.engines.len() + shortage.hosts.len();
            assert!(now.engines.len() >= promised, "seed {seed}: {shortage}");
        }
    }
}

#[test]
fn a_bore_that_no_piston_fits_is_told_with_the_piston_it_needs() {
    let plan = plan(QB4, None);
    let mut store = store(QB4, Lot { engines: 2, surplus: 60, seed: 2 });
    let block = store.iter_mut().find(|p| p.id == "B0001").unwrap();
    block.measured[0].values[2] = 81_035_000;
    let kits = solve(&plan, &store, &[], &[]);
    let reason = &kits.left[0].reason;
    assert!(
        matches!(reason, Reason::NothingFits { role, place: 3 } if role == "piston"),
        "{reason:?}"
    );
    // 81.035 mm less 46 and 30 µm of clearance.
    let told = kits.shortages.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n");
    assert!(told.contains("1 more piston with skirt 80.989 mm to 81.005 mm"), "{told}");
}

#[test]
fn a_probability_asked_for_is_kept_whatever_the_rule_of_errors() {
    for errors in [Errors::Independent, Errors::Unknown] {
        let plan = plan(QB4, Some(Certainty { probability: 0.95, errors }));
        let mut store = store(QB4, Lot { engines: 4, surplus: 50, seed: 4 });
        let each = |m: &mut Measured| m.uncertainty = 400.0;
        store.iter_mut().for_each(|p| p.measured.iter_mut().for_each(each));
        let kits = solve(&plan, &store, &[], &[]);
        assert!(!kits.engines.is_empty());
        assert!(kits.engines.iter().all(|k| k.probability >= 0.95));
    }
}

/// Two halves of grade 0 and 2 are as thick as two of grade 1; what is taken leaves the stock even.
#[test]
fn grades_are_taken_from_where_most_are_left() {
    use bedplate_engine::kit::plan::Supply;
    use kit_shop::{fit, length, piece, role};
    let roles = vec![
        role("block", 1, Supply::Numbered, vec![length("housing", 1)]),
        role("shell", 2, Supply::Graded, vec![length("wall", 1)]),
    ];
    let oil = [("block", "housing", 1.0), ("shell", "wall", -1.0)];
    let fits = vec![fit("oil", 1, &oil, 0, [0, 2, 4])];
    let plan = Plan::new("block", roles, fits, Vec::new(), None).unwrap();
    let mut store = vec![piece("block", "B", &[("housing", &[42])], 1)];
    for (wall, stock) in [(19, 9), (20, 4), (21, 9)] {
        store.push(piece("shell", &format!("{wall}"), &[("wall", &[wall])], stock));
    }
    let kits = solve(&plan, &store, &[], &[]);
    let mut taken: Vec<&str> = kits.engines[0].parts.iter().map(|p| p.piece.as_str()).collect();
    taken.sort_unstable();
    assert_eq!(taken, ["19", "21"]);
}
