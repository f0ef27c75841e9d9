//! What is refused: each refusal names what was wrong, and nothing is assigned.

#![allow(clippy::unwrap_used, reason = "a store that cannot be laid must fail the test")]

#[expect(dead_code, reason = "each test file uses a part of the shop")]
mod kit_shop;

use bedplate_engine::kit::plan::{Certainty, Errors, Fit, Plan, Role, Spread, Supply};
use bedplate_engine::kit::stock::{Named, Piece, Placed, Wish};
use bedplate_engine::kit::{KitError, Search, match_kits};

use kit_shop::{fit, length, mass, piece, role, spread};

fn roles() -> Vec<Role> {
    vec![
        role("block", 1, Supply::Numbered, vec![length("bore", 4)]),
        role("piston", 4, Supply::Numbered, vec![length("skirt", 1), mass("mass")]),
        role("shell", 2, Supply::Graded, vec![length("wall", 1)]),
    ]
}

const TERMS: [(&str, &str, f64); 2] = [("block", "bore", 1.0), ("piston", "skirt", -1.0)];

fn clearance() -> Fit {
    fit("clearance", 4, &TERMS, 0, [1, 2, 3])
}

fn told(roles: Vec<Role>, fits: Vec<Fit>, spreads: Vec<Spread>) -> String {
    Plan::new("block", roles, fits, spreads, None).unwrap_err().to_string()
}

#[test]
fn plans_that_contradict_themselves_are_refused() {
    let with = |change: fn(&mut Fit)| {
        let mut fit = clearance();
        change(&mut fit);
        told(roles(), vec![fit], Vec::new())
    };
    let cases = [
        (with(|f| f.terms[1].factor = f64::NAN), "skirt in rule clearance is NaN; a finite"),
        (with(|f| f.terms[1].factor = 0.0), "is 0; a finite number that is not 0"),
        (with(|f| f.terms[0].factor = 1e9), "sum to 1000000001; at most 1000"),
        (with(|f| f.window.min = 9), "limits that cross: least 9, greatest 3"),
        (with(|f| f.window.target = 7), "aims at 7, outside its limits 1 to 3"),
        (with(|f| f.window.max = 1 << 60), "at most 10^10"),
        (with(|f| f.places = 3), "4 values of bore of block do not go into the 3 places"),
        (with(|f| f.places = 0), "has 0 places; 1 to 128"),
        (with(|f| f.terms.clear()), "has no term"),
        (with(|f| f.terms[0].role = "head".to_owned()), "there is no role head"),
        (with(|f| f.terms[0].feature = "deck".to_owned()), "block has no feature deck"),
        (with(|f| f.terms[1].feature = "mass".to_owned()), "adds lengths and masses"),
        (with(|f| f.terms[0].at = vec![0, 1, 2, 4]), "must name for each of 4 places"),
        (
            told(roles(), vec![clearance(), clearance()], Vec::new()),
            "rule clearance is given twice",
        ),
        (
            told(roles(), Vec::new(), vec![spread("mass", 4, &[("piston", "mass", 1.0)], -1)]),
            "allows a spread of -1 steps",
        ),
    ];
    for (told, wanted) in cases {
        assert!(told.contains(wanted), "{told:?} does not say {wanted:?}");
    }
    let mut none = roles();
    none[1].per_engine = 0;
    assert!(told(none, Vec::new(), Vec::new()).contains("piston has 0 per engine; 1 to 128"));
    let host = Plan::new("shell", roles(), Vec::new(), Vec::new(), None);
    assert!(matches!(host, Err(KitError::HostNotSingle { per_engine: 2, .. })));
    for probability in [1.0, -0.1, f64::NAN] {
        let certainty = Some(Certainty { probability, errors: Errors::Independent });
        let refused = Plan::new("block", roles(), Vec::new(), Vec::new(), certainty);
        assert!(matches!(refused, Err(KitError::ProbabilityOutOfRange { .. })));
    }
}

fn store() -> Vec<Piece> {
    let mut all = vec![piece("block", "B", &[("bore", &[100; 4])], 1)];
    for i in 0..5 {
        all.push(piece("piston", &format!("P{i}"), &[("skirt", &[98]), ("mass", &[50])], 1));
    }
    all.push(piece("shell", "1", &[("wall", &[2])], 4));
    all
}

fn refused(store: &[Piece], wishes: &[Wish], start: &[Placed]) -> KitError {
    let plan = Plan::new("block", roles(), vec![clearance()], Vec::new(), None).unwrap();
    match_kits(&plan, store, wishes, start, Search::default()).unwrap_err()
}

#[test]
fn stores_that_cannot_be_are_refused() {
    let with = |change: fn(&mut Vec<Piece>)| {
        let mut store = store();
        change(&mut store);
        refused(&store, &[], &[]).to_string()
    };
    let cases = [
        (with(|s| s[6].stock = -1), "shell 1 has a stock of -1"),
        (with(|s| s[1].stock = 2), "piston P0 has a stock of 2; 0 to 10^9 of a grade, 1 of"),
        (with(|s| s[2].id = "P0".to_owned()), "piece P0 is given twice"),
        (with(|s| s[1].role = "valve".to_owned()), "there is no role valve"),
        (with(|s| s[1].measured[0].values[0] = i64::MAX), "at most 10^10 from zero"),
        (with(|s| s[1].measured[0].values.clear()), "P0 has 0 values of skirt; 1 are needed"),
        (with(|s| s[1].measured.truncate(1)), "P0 gives feature mass 0 times; once"),
        (with(|s| s[1].measured[0].uncertainty = f64::NAN), "an uncertainty of NaN"),
        (with(|s| s.truncate(6)), "there is no shell to choose from"),
        (with(|s| s[1].id.clear()), "a piece has no name"),
    ];
    for (told, wanted) in cases {
        assert!(told.contains(wanted), "{told:?} does not say {wanted:?}");
    }
}

fn at(place: usize, piston: &str) -> Placed {
    let (host, role, piece) = ("B".to_owned(), "piston".to_owned(), piston.to_owned());
    Placed { host, role, place, piece }
}

#[test]
fn wishes_that_contradict_each_other_are_refused() {
    let named = |id: &str| Named { role: "piston".to_owned(), id: id.to_owned() };
    let fitted = |place, id| Wish::Fitted(at(place, id));
    let cases: [(&[Wish], &str); 6] = [
        (&[fitted(1, "P0"), fitted(1, "P1")], "place 1 of piston in B is given to P0 and to P1"),
        (&[fitted(1, "P0"), fitted(2, "P0")], "more places than its stock of 1"),
        (&[fitted(5, "P0")], "piston has no place 5; 1 to 4"),
        (&[fitted(1, "P9")], "there is no piston P9"),
        (&[fitted(1, "P0"), Wish::Held(named("P0"))], "contradict each other: fitted, and held"),
        (
            &[fitted(1, "P0"), fitted(2, "P1"), Wish::Apart(named("P0"), named("P1"))],
            "never in one engine",
        ),
    ];
    for (wishes, wanted) in cases {
        let told = refused(&store(), wishes, &[]).to_string();
        assert!(told.contains(wanted), "{told:?} does not say {wanted:?}");
    }
    let twice = refused(&store(), &[], &[at(1, "P0"), at(1, "P1")]);
    assert!(matches!(twice, KitError::PlaceTwice { place: 1, .. }));
}

#[test]
fn a_gauge_too_coarse_for_the_probability_asked_for_is_refused() {
    let certainty = Some(Certainty { probability: 0.99, errors: Errors::Independent });
    let plan = Plan::new("block", roles(), vec![clearance()], Vec::new(), certainty).unwrap();
    let mut store = store();
    store[0].measured[0].uncertainty = 5.0;
    let told = match_kits(&plan, &store, &[], &[], Search::default()).unwrap_err();
    assert!(matches!(told, KitError::CertaintyOutOfReach { uncertainty: 5.0, .. }), "{told}");
}
