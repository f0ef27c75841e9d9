//! Clearances: scatter over a production, certainty of a set.

use bedplate_engine::set::Window;
use bedplate_engine::set::clearance::{
    ClearanceError, GaugedClearance, Scatter, clearance_distribution, probability_all_inside,
    sure_window,
};
use bedplate_engine::set::size::Nanometre;
use bedplate_gauge::limits::Limits;
use proptest::prelude::*;

/// Not further from `wanted` than a share of it.
fn near(got: f64, wanted: f64, share: f64) {
    assert!((got - wanted).abs() <= share * wanted.abs(), "{got} is not {wanted}");
}

fn gauged(rows: &[(f64, f64)]) -> Vec<GaugedClearance> {
    let row = |&(clearance_um, uncertainty_um)| GaugedClearance { clearance_um, uncertainty_um };
    rows.iter().map(row).collect()
}

#[test]
fn clearance_of_two_normal_sizes_agrees_with_a_statistics_library() {
    // Source: textbook; computed with scipy.stats.norm (status: computed).
    let bore = Scatter { mean_mm: 81.01, sd_mm: 0.0045 };
    let piston = Scatter { mean_mm: 80.968, sd_mm: 0.0038 };
    let window_mm = Limits::between(0.03, 0.056).unwrap();
    let found = clearance_distribution(bore, piston, &window_mm).unwrap();
    assert!((found.mean_mm - 0.042).abs() <= 1e-12);
    near(found.sd_mm, 0.005889821729050888, 1e-10);
    near(found.too_tight + found.too_loose, 0.02953180152582697, 1e-7);
    // Computed with mpmath 1.4.1 at 30 digits, the two sides apart. A part in 1e11 is what the
    // rounding of the means to doubles leaves.
    near(found.too_tight, 0.02080433065076594, 1e-10);
    near(found.too_loose, 0.008727470875061073, 1e-10);
}

#[test]
fn sizes_that_do_not_scatter_are_inside_on_the_limit_and_outside_beyond() {
    let exact = |mean_mm| Scatter { mean_mm, sd_mm: 0.0 };
    let window_mm = Limits::between(0.25, 0.5).unwrap();
    let of = |bore_mm| clearance_distribution(exact(bore_mm), exact(64.0), &window_mm).unwrap();
    assert_eq!((of(64.25).too_tight, of(64.5).too_loose), (0.0, 0.0));
    assert_eq!((of(64.125).too_tight, of(64.125).too_loose), (1.0, 0.0));
    assert_eq!((of(64.75).too_tight, of(64.75).too_loose), (0.0, 1.0));
}

#[test]
fn certainty_of_a_set_agrees_with_thirty_digits() {
    // Computed with mpmath 1.4.1 at 30 digits: product of differences of ncdf.
    let limits_um = Limits::between(30.0, 42.0).unwrap();
    let near_limits = gauged(&[(30.6, 0.5), (37.4, 0.5), (41.1, 0.6), (36.0, 0.5)]);
    let found = probability_all_inside(&near_limits, &limits_um).unwrap();
    near(found, 0.8258106111278765, 1e-12);
    let inside = gauged(&[(35.2, 0.6), (37.4, 0.6), (33.6, 0.6), (38.1, 0.6)]);
    let found = probability_all_inside(&inside, &limits_um).unwrap();
    near(found, 0.9999999989732435, 1e-15);
}

#[test]
fn figures_that_are_none_are_refused_by_name() {
    let limits_um = Limits::between(30.0, 42.0).unwrap();
    let all = |rows: &[(f64, f64)]| probability_all_inside(&gauged(rows), &limits_um);
    assert_eq!(all(&[]), Err(ClearanceError::NoClearance));
    assert!(matches!(all(&[(36.0, 1.0), (f64::NAN, 1.0)]), Err(ClearanceError::NotFinite { .. })));
    let negative = all(&[(36.0, -1.0)]).unwrap_err();
    assert_eq!(negative.to_string(), "the standard uncertainty is -1; it must be 0 or more");
    let endless = Scatter { mean_mm: f64::INFINITY, sd_mm: 0.1 };
    let sound = Scatter { mean_mm: 68.0, sd_mm: 0.1 };
    assert!(clearance_distribution(endless, sound, &limits_um).is_err());
    let crossed = Scatter { mean_mm: 68.0, sd_mm: -0.1 };
    assert!(clearance_distribution(sound, crossed, &limits_um).is_err());
}

fn window_um(min: i64, target: i64, max: i64) -> Window {
    let nm = |um: i64| Nanometre(um * 1_000);
    Window { min: nm(min), target: nm(target), max: nm(max) }
}

#[test]
fn a_sure_window_keeps_the_quantile_of_the_normal_table_from_each_limit() {
    // Φ(1.644854) = 0.95 and Φ(2.326348) = 0.99: tables of the standard normal distribution. The
    // other limit lies twelve uncertainties off and takes nothing.
    for (sure, quantile_nm) in [(0.95, 1_645), (0.99, 2_327)] {
        let kept = sure_window(window_um(30, 31, 42), 1.0, sure, 1).unwrap();
        assert_eq!((kept.min.0, kept.max.0), (30_000 + quantile_nm, 42_000 - quantile_nm));
        assert_eq!(kept.target, kept.min, "the target comes to the nearest that is left");
    }
    // Two places of 0.9025 together are each as sure as one of 0.95.
    let two = sure_window(window_um(30, 36, 42), 1.0, 0.9025, 2).unwrap();
    assert_eq!((two.min.0, two.target.0), (31_645, 36_000));
    assert_eq!(sure_window(window_um(30, 36, 42), 4.0, 0.95, 4), None);
    assert_eq!(sure_window(window_um(30, 36, 42), 0.0, 0.99, 4), Some(window_um(30, 36, 42)));
}

proptest! {
    #[test]
    fn a_set_inside_the_sure_window_is_as_sure_as_was_asked(
        u_um in 0.0_f64..1.5,
        sure in 0.5_f64..0.99,
        at in prop::collection::vec(0.0_f64..=1.0, 1..8),
    ) {
        let limits_um = Limits::between(30.0, 42.0).unwrap();
        let Some(kept) = sure_window(window_um(30, 36, 42), u_um, sure, at.len()) else {
            return Ok(());
        };
        let place = |share: &f64| (kept.min.um() + share * (kept.max - kept.min).um(), u_um);
        let rows: Vec<(f64, f64)> = at.iter().map(place).collect();
        let all = probability_all_inside(&gauged(&rows), &limits_um).unwrap();
        prop_assert!(sure - 1e-9 <= all, "{all} of {sure}");
    }

    #[test]
    fn one_more_uncertain_clearance_never_makes_a_set_more_certain(
        rows in prop::collection::vec((28.0_f64..44.0, 0.0_f64..2.0), 1..8),
        more in (28.0_f64..44.0, 0.0_f64..2.0),
    ) {
        let limits_um = Limits::between(30.0, 42.0).unwrap();
        let before = probability_all_inside(&gauged(&rows), &limits_um).unwrap();
        let with = [rows, vec![more]].concat();
        let after = probability_all_inside(&gauged(&with), &limits_um).unwrap();
        prop_assert!((0.0..=1.0).contains(&before) && after <= before);
    }

    #[test]
    fn mirrored_sizes_swap_tight_and_loose(
        off in -0.01_f64..0.01, sd_bore in 0.0005_f64..0.01, sd_piston in 0.0005_f64..0.01,
    ) {
        let window_mm = Limits::between(-0.0078125, 0.0078125).unwrap();
        let scatter = |mean_mm, sd_mm| Scatter { mean_mm, sd_mm };
        let of = |bore_mm, piston_mm| {
            let (bore, piston) = (scatter(bore_mm, sd_bore), scatter(piston_mm, sd_piston));
            clearance_distribution(bore, piston, &window_mm).unwrap()
        };
        let (one, other) = (of(off, 0.0), of(0.0, off));
        prop_assert_eq!((one.too_tight, one.too_loose), (other.too_loose, other.too_tight));
    }
}
