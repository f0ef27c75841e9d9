//! Where to aim next: laws, and lots small enough to see the answer.
#![allow(clippy::unwrap_used, reason = "a question that cannot be asked must fail the test")]

use bedplate_engine::set::aim::{
    Aim, AimError, AimQuestion, Boring, Coming, Effort, MayMove, Turning, next_aim,
};
use bedplate_engine::set::size::{Milligram, Nanometre};
use bedplate_engine::set::{Block, Piston, Rules, Window};
use bedplate_gauge::limits::Limits;

fn rules() -> Rules {
    let nm = |um: i64| Nanometre(um * 1_000);
    Rules::new(Window { min: nm(33), target: nm(38), max: nm(43) }, Milligram(4_000)).unwrap()
}

/// Blocks of four bores alike, so many µm from 68 mm.
fn blocks(offs_um: &[i64]) -> Vec<Block> {
    let block = |(i, &um): (usize, &i64)| {
        Block::new(format!("B{i}"), vec![Nanometre(68_000_000 + um * 1_000); 4]).unwrap()
    };
    offs_um.iter().enumerate().map(block).collect()
}

/// Pistons so many µm from 67.962 mm.
fn pistons(offs_um: &[i64]) -> Vec<Piston> {
    let piston = |(i, &um): (usize, &i64)| {
        let diameter = Nanometre(67_962_000 + um * 1_000);
        Piston::new(format!("P{i}"), diameter, Milligram(415_000)).unwrap()
    };
    offs_um.iter().enumerate().map(piston).collect()
}

fn asked<'a>(
    blocks: &'a [Block],
    pistons: &'a [Piston],
    rules: &'a Rules,
    sd_um: f64,
) -> AimQuestion<'a> {
    AimQuestion {
        blocks,
        pistons,
        rules,
        boring: Boring {
            block_sd_um: sd_um / 2.0,
            within_sd_um: sd_um,
            limits_mm: Limits::between(67.98, 68.02).unwrap(),
        },
        turning: Turning {
            sd_um,
            limits_mm: Limits::between(67.942, 67.982).unwrap(),
            mass_g: 415.0,
            mass_sd_g: 0.1,
        },
        coming: Coming { blocks: 5, cylinders: 4, pistons: 44 },
        now: Aim { bore_mm: 68.0, piston_mm: 67.962 },
        may_move: MayMove::Pistons,
    }
}

fn played() -> Effort {
    Effort { seed: 3, runs: 40, searched_runs: 2, moves: 60 }
}

/// Six blocks lie there with bores 8 µm large; nothing that is turned at the aim of now fits them
/// if nothing scatters, and all of it does from 3 µm (8 − 5) to 5 µm (the coming bores' limit)
/// higher.
#[test]
fn left_over_large_bores_ask_for_larger_pistons() {
    let (left, rules) = (blocks(&[8; 6]), rules());
    let mut question = asked(&left, &[], &rules, 0.0);
    question.coming = Coming { blocks: 5, cylinders: 4, pistons: 44 };
    let advice = next_aim(&question, played()).unwrap();
    let off_um = (advice.best.aim.piston_mm - 67.962) * 1e3;
    assert!((off_um - 3.0).abs() < 1e-6, "{off_um}: the nearest aim that serves all");
    // 44 pistons serve 11 blocks; now they serve the 5 that come.
    assert_eq!((advice.best.engines, advice.best.gain.engines), (11.0, 6.0));
    assert_eq!((advice.best.gain.lower, advice.best.gain.upper), (6.0, 6.0));
    assert_eq!(advice.searched.unwrap().engines, 6.0);
    // 11 pistons at 3 µm serve two of the blocks that lie there.
    assert_eq!(advice.campaigns[0].pistons, 11);
    assert_eq!(advice.campaigns[0].gain.engines, 2.0);
    let wanted: Vec<_> = advice.sizes.iter().filter(|band| 0 < band.short()).collect();
    assert_eq!((wanted.len(), wanted[0].short()), (1, 24));
    assert_eq!((wanted[0].from.0, wanted[0].to.0), (67_970_000, 67_972_000));
    assert!((advice.kept.clearance_off_um + 3.0).abs() < 1e-6);
    assert_eq!(advice.kept.gain.engines, 0.0);
}

#[test]
fn what_is_symmetric_is_answered_symmetrically() {
    let (left, rules) = (blocks(&[-7, 7, -9, 9]), rules());
    let lying = pistons(&[-12, 12, -3, 3]);
    let advice = next_aim(&asked(&left, &lying, &rules, 4.0), played()).unwrap();
    let n = advice.curve.len();
    assert_eq!(n, 41);
    // The blocks come in pairs but are served in order, so that an engine may change hands.
    for (low, high) in advice.curve.iter().zip(advice.curve.iter().rev()).take(n / 2) {
        assert!((low.gain.engines - high.gain.engines).abs() <= 0.5, "{low:?} {high:?}");
        assert!((low.pistons_outside - high.pistons_outside).abs() < 1e-9);
    }
    let mirrored = blocks(&[7, -7, 9, -9]);
    let other = next_aim(&asked(&mirrored, &lying, &rules, 4.0), played()).unwrap();
    for (low, high) in advice.curve.iter().zip(other.curve.iter().rev()) {
        assert_eq!(low.engines, high.engines, "the mirrored question has the mirrored curve");
    }
}

#[test]
fn nothing_to_gain_is_answered_by_the_aim_of_now() {
    let rules = rules();
    let advice = next_aim(&asked(&[], &[], &rules, 0.0), played()).unwrap();
    assert_eq!(advice.best.aim, Aim { bore_mm: 68.0, piston_mm: 67.962 });
    assert_eq!(advice.best.gain.engines, 0.0);
}

#[test]
fn more_scatter_never_gains() {
    let (left, rules) = (blocks(&[0; 4]), rules());
    let engines =
        |sd_um: f64| next_aim(&asked(&left, &[], &rules, sd_um), played()).unwrap().best.engines;
    let (none, some, much) = (engines(0.0), engines(4.0), engines(12.0));
    assert!(none >= some && some >= much, "{none} {some} {much}");
    assert_eq!(none, 9.0);
}

#[test]
fn an_aim_near_the_limit_counts_its_scrap() {
    let rules = rules();
    let mut question = asked(&[], &[], &rules, 4.0);
    question.turning.limits_mm = Limits::between(67.960, 67.982).unwrap();
    question.coming.pistons = 20;
    let advice = next_aim(&question, played()).unwrap();
    // Aim of now 2 µm above the limit, deviation 4 µm: Φ(−0.5) = 0.3085 (any table), and next to
    // nothing above.
    let now = advice.curve.iter().find(|p| (p.aim.piston_mm - 67.962).abs() < 1e-9).unwrap();
    assert!((now.pistons_outside - 0.3085).abs() < 5e-5, "{}", now.pistons_outside);
    let aims = advice.curve.iter().map(|point| point.aim.piston_mm);
    assert!(aims.clone().all(|aim| (67.960..=67.982).contains(&aim)));
    // With no piston to spare, half of them scrap costs engines: the lowest aim is on the limit.
    let lowest = &advice.curve[0];
    assert!(lowest.gain.upper < 0.0, "{lowest:?} {now:?}");
}

#[test]
fn boring_is_moved_only_if_it_may_be() {
    let (lying, rules) = (pistons(&[12; 44]), rules());
    let mut question = asked(&[], &lying, &rules, 0.5);
    question.coming = Coming { blocks: 11, cylinders: 4, pistons: 1 };
    let fixed = next_aim(&question, played()).unwrap();
    assert_eq!(fixed.best.aim.bore_mm, 68.0);
    question.may_move = MayMove::PistonsAndBores;
    let free = next_aim(&question, played()).unwrap();
    assert!(68.005 < free.best.aim.bore_mm, "{:?}", free.best);
    assert_eq!(free.best.engines, 11.0);
    assert!(free.curve.iter().all(|point| point.aim.bore_mm == 68.0));
}

#[test]
fn one_seed_gives_one_answer() {
    let (left, rules) = (blocks(&[8, 8, 5]), rules());
    let advice = || next_aim(&asked(&left, &[], &rules, 3.0), played()).unwrap();
    assert_eq!(format!("{:?}", advice()), format!("{:?}", advice()));
}

#[test]
fn questions_that_cannot_be_asked_are_refused() {
    let rules = rules();
    let good = asked(&[], &[], &rules, 3.0);
    let refused = |question: AimQuestion<'_>| next_aim(&question, played()).unwrap_err();
    let nan = Boring { block_sd_um: f64::NAN, ..good.boring };
    assert!(matches!(refused(AimQuestion { boring: nan, ..good }), AimError::NotTaken { .. }));
    let off = Aim { piston_mm: 67.9, ..good.now };
    assert!(matches!(refused(AimQuestion { now: off, ..good }), AimError::OutsideDrawing { .. }));
    let none = Coming { pistons: 0, ..good.coming };
    assert!(matches!(refused(AimQuestion { coming: none, ..good }), AimError::NoPistonsComing));
    let many = Coming { blocks: usize::MAX, ..good.coming };
    assert!(matches!(refused(AimQuestion { coming: many, ..good }), AimError::TooMany { .. }));
    let wide = Coming { cylinders: 17, ..good.coming };
    assert!(matches!(refused(AimQuestion { coming: wide, ..good }), AimError::Cylinders { .. }));
    let once = Effort { runs: 1, ..played() };
    assert!(matches!(next_aim(&good, once), Err(AimError::TooFewRuns { .. })));
}
