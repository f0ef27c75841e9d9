//! Grade limits against closed forms, against the habits, and their laws.
#![allow(clippy::unwrap_used, reason = "a question that cannot be asked must fail the test")]

use bedplate_engine::set::clearance::Scatter;
use bedplate_engine::set::grades::trial::{GradedLot, TrialError, grades_or_measurement};
use bedplate_engine::set::grades::{
    GRADE_LIMITS, Grade, GradeError, GradeQuestion, GradeRule, best_grades, equal_count_grades,
    equal_width_grades, judge_grades,
};
use bedplate_gauge::calculation::{Argument, Given, Value};
use bedplate_gauge::distribution::normal_probability;
use proptest::prelude::*;

fn asked(bore_sd_um: f64, piston_sd_um: f64, off_um: f64, grades: usize) -> GradeQuestion {
    GradeQuestion {
        bore: Scatter { mean_mm: 68.0 + off_um / 1e3, sd_mm: bore_sd_um / 1e3 },
        piston: Scatter { mean_mm: 67.962, sd_mm: piston_sd_um / 1e3 },
        clearance_um_min: 33.0,
        clearance_um_max: 43.0,
        grades,
    }
}

fn fitting(asked: &GradeQuestion, grades: &[Grade]) -> f64 {
    judge_grades(asked, grades).unwrap().fitting
}

/// Each pair of a grade fits, so a grade and its mate are together at most a window wide; the best
/// g grades of two equal productions then cover the middle g half windows.
#[test]
fn equal_productions_reach_the_closed_form() {
    for grades in 1..=6 {
        let asked = asked(4.0, 4.0, 0.0, grades);
        let found = best_grades(&asked, GradeRule::AlwaysFits).unwrap();
        let expected = 2.0 * normal_probability(grades as f64 * 10.0 / (4.0 * 4.0)) - 1.0;
        let worth = judge_grades(&asked, &found).unwrap();
        assert!((worth.paired - expected).abs() < 1e-9, "{grades}: {worth:?}, {expected}");
        assert!((worth.fitting - worth.paired).abs() < 1e-4, "{worth:?}");
    }
}

/// Two grades with the limit at the mean of equal productions, in a window so wide that only pairs
/// within a grade matter: half of all pairs are made in each, all fit.
#[test]
fn grades_in_a_wide_window_lose_nothing() {
    let wide = GradeQuestion {
        clearance_um_min: -62.0,
        clearance_um_max: 138.0,
        ..asked(4.0, 5.0, 0.0, 2)
    };
    let found = equal_count_grades(&wide).unwrap();
    assert!(fitting(&wide, &found) > 0.999_98);
}

/// A single grade over everything is pairing at random: Φ(c/2σ) of the difference of two normals.
#[test]
fn one_grade_of_equal_count_is_pairing_at_random() {
    let asked = asked(4.0, 5.0, 1.5, 1);
    let found = equal_count_grades(&asked).unwrap();
    let sd = 4.0_f64.hypot(5.0);
    let expected = normal_probability((5.0 - 1.5) / sd) - normal_probability((-5.0 - 1.5) / sd);
    assert!((fitting(&asked, &found) - expected).abs() < 1e-4);
}

#[test]
fn no_habit_beats_the_best_limits() {
    for (b, p, off, g) in [(4.0, 5.0, 0.0, 3), (4.0, 5.0, 4.0, 4), (3.0, 8.0, -2.0, 2)] {
        let asked = asked(b, p, off, g);
        let best = fitting(&asked, &best_grades(&asked, GradeRule::MostFit).unwrap());
        let always = fitting(&asked, &best_grades(&asked, GradeRule::AlwaysFits).unwrap());
        let width = fitting(&asked, &equal_width_grades(&asked).unwrap());
        let count = fitting(&asked, &equal_count_grades(&asked).unwrap());
        // Limits on a grid give away a little against those that need not lie on it.
        assert!(width <= best + 0.004 && count <= best + 0.004, "{width} {count} {best}");
        assert!(always <= best + 1e-3, "{always} {best}");
        assert!(width <= always + 0.004, "{width} {always}");
    }
}

/// The example of the calculation, whose figures are 2Φ(2.5) − 1.
#[test]
fn the_worked_example_gives_its_figures() {
    let mut given = Given::default();
    for (name, value) in [
        ("bore", 68.0),
        ("bore_sd", 0.004),
        ("piston", 67.962),
        ("piston_sd", 0.004),
        ("clearance_min", 33.0),
        ("clearance_max", 43.0),
    ] {
        given.0.insert(name, Argument::Number(value));
    }
    given.0.insert("grades", Argument::Count(4));
    given.0.insert("rule", Argument::Word("always"));
    let answer = (GRADE_LIMITS.run)(&given).unwrap();
    for (name, expected) in GRADE_LIMITS.expected {
        let found = answer.0.iter().find(|(n, _)| n == name).map(|(_, value)| value.clone());
        let Some(Value::Figure(found)) = found else { panic!("{name} is a figure") };
        assert_eq!(format!("{found:.5}"), *expected, "{name}");
    }
}

/// Measuring and serving in order never loses to taking pistons of a grade blindly, by more than
/// chance: what grades pair, measurement could pair too.
#[test]
fn measurement_completes_more_than_grades() {
    let asked = asked(4.0, 5.0, 0.0, 4);
    let lot = GradedLot { blocks: 60, cylinders: 4, pistons: 300, runs: 30, seed: 2 };
    let trial = |grades: &[Grade]| grades_or_measurement(&asked, grades, lot).unwrap();
    let best = trial(&best_grades(&asked, GradeRule::AlwaysFits).unwrap());
    let width = trial(&equal_width_grades(&asked).unwrap());
    for found in [best, width] {
        assert!(2.0 * found.gain.standard_error < found.gain.engines, "{found:?}");
        let difference = found.by_measurement.engines - found.by_grades.engines;
        assert!((difference - found.gain.engines).abs() < 1e-9);
        assert!(found.by_measurement.engines <= 60.0);
    }
    assert_eq!(best.by_measurement, width.by_measurement, "the same lots");
    assert_eq!(best, trial(&best_grades(&asked, GradeRule::AlwaysFits).unwrap()));
    let none = trial(&[]);
    assert_eq!(none.by_grades.engines, 0.0);
    let twice = GradedLot { runs: 1, ..lot };
    assert!(matches!(
        grades_or_measurement(&asked, &[], twice),
        Err(TrialError::Count { what: "runs", .. })
    ));
}

#[test]
fn figures_that_cannot_be_are_refused() {
    let good = asked(4.0, 5.0, 0.0, 3);
    let refused = |asked: GradeQuestion| best_grades(&asked, GradeRule::AlwaysFits).unwrap_err();
    assert!(matches!(refused(GradeQuestion { grades: 0, ..good }), GradeError::Grades { .. }));
    assert!(matches!(refused(GradeQuestion { grades: 25, ..good }), GradeError::Grades { .. }));
    let crossed = GradeQuestion { clearance_um_max: 33.0, ..good };
    assert!(matches!(refused(crossed), GradeError::NoWindow { .. }));
    let nan = GradeQuestion { clearance_um_min: f64::NAN, ..good };
    assert!(matches!(refused(nan), GradeError::NotFinite { .. }));
    assert!(matches!(refused(asked(4000.0, 5.0, 0.0, 3)), GradeError::TooWide { .. }));
    assert!(matches!(refused(asked(0.0, 5.0, 0.0, 3)), GradeError::NoScatter { .. }));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn every_pair_of_a_grade_fits_and_one_grade_more_never_costs(
        b in 1.0_f64..6.0, p in 1.0_f64..6.0, off in -6.0_f64..6.0, g in 1_usize..4,
    ) {
        let question = asked(b, p, off, g);
        let found = best_grades(&question, GradeRule::AlwaysFits).unwrap();
        for grade in &found {
            let loosest = (grade.bore_mm_max - grade.piston_mm_min) * 1e3;
            let tightest = (grade.bore_mm_min - grade.piston_mm_max) * 1e3;
            prop_assert!(33.0 - 1e-6 <= tightest && loosest <= 43.0 + 1e-6, "{:?}", grade);
        }
        for pair in found.windows(2) {
            prop_assert!(pair[0].bore_mm_max <= pair[1].bore_mm_min + 1e-9);
            prop_assert!(pair[0].piston_mm_max <= pair[1].piston_mm_min + 1e-9);
        }
        let more = GradeQuestion { grades: g + 1, ..question };
        let more_found = best_grades(&more, GradeRule::AlwaysFits).unwrap();
        let paired = |q, f: &[Grade]| judge_grades(q, f).unwrap().paired;
        prop_assert!(paired(&question, &found) <= paired(&more, &more_found) + 1e-9);
    }

    #[test]
    fn mirrored_productions_have_mirrored_worth(
        b in 1.0_f64..6.0, p in 1.0_f64..6.0, off in 0.0_f64..6.0,
    ) {
        let worth = |off| {
            let asked = asked(b, p, off, 3);
            fitting(&asked, &best_grades(&asked, GradeRule::AlwaysFits).unwrap())
        };
        prop_assert!((worth(off) - worth(-off)).abs() < 1e-6);
    }
}
