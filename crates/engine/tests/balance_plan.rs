//! Laws that every plan of holes keeps: it passes an independent proof, turns with the rotor, is
//! never worse for having more room, and no search of every hole on a coarse grid beats it.

use bedplate_engine::balance::check::{Breach, check_plan};
use bedplate_engine::balance::plan::{
    Extent, Hole, HolePlan, Outcome, PlanError, left_after, plan_holes,
};
use bedplate_engine::balance::planes::Planes;
use bedplate_engine::balance::residual::{Scatter, expected_residual};
use bedplate_engine::balance::rotor::{
    Drill, ExistingHole, Machine, Rotor, RotorError, Site, Window,
};
use bedplate_engine::balance::vector::Unbalance;
use proptest::prelude::*;

fn drill(diameter_mm: f64, depth_mm_max: f64) -> Drill {
    Drill { diameter_mm, point_deg: 118.0, depth_mm_min: 2.0, depth_mm_max }
}

fn site(z_mm: f64, windows: &[(f64, f64)]) -> Site {
    let window = |(from_deg, to_deg): &(f64, f64)| Window { from_deg: *from_deg, to_deg: *to_deg };
    Site {
        z_mm,
        radius_mm: 58.0,
        density_g_cm3: 7.85,
        windows: windows.iter().map(window).collect(),
        drills: vec![drill(12.0, 14.0)],
        holes_max: 3,
        web_mm: 4.0,
        existing: vec![],
    }
}

/// A made-up crankshaft: two counterweights, each with two windows.
fn crank() -> Rotor {
    Rotor {
        plane_z_mm: Planes { a: 0.0, b: 400.0 },
        limit_gmm: Planes { a: 114.0, b: 114.0 },
        sites: vec![
            site(40.0, &[(24.0, 61.0), (82.0, 118.0)]),
            site(360.0, &[(196.0, 216.0), (232.0, 262.0)]),
        ],
        machine: Machine { depth_step_mm: 0.5, angle_step_deg: 1.0 },
        holes_max: 4,
    }
}

fn at(amount_gmm: f64, angle_deg: f64) -> Unbalance {
    Unbalance { amount_gmm, angle_deg }
}

fn key(plan: &HolePlan) -> (usize, f64) {
    // Outside the limits only the residual counts, whatever the number of holes.
    let n_holes = if plan.outcome == Outcome::OutOfReach { usize::MAX } else { plan.holes.len() };
    (n_holes, plan.share_of_limit)
}

fn proved(rotor: &Rotor, found: &Planes<Unbalance>) -> HolePlan {
    let plan = plan_holes(rotor, found).expect("a rotor that makes sense");
    let check = check_plan(rotor, found, &plan).expect("a rotor that makes sense");
    assert!(check.breaches.is_empty(), "{:?} {plan:?}", check.breaches);
    plan
}

#[test]
fn a_rotor_inside_its_limits_is_left_alone() {
    let plan = proved(&crank(), &Planes { a: at(114.0, 10.0), b: at(0.0, 0.0) });
    assert_eq!((plan.outcome, plan.holes.len()), (Outcome::NoHoleNeeded, 0));
    assert!(plan.finding().starts_with("no hole is needed"));
}

#[test]
fn holes_bring_a_crankshaft_inside() {
    let plan = proved(&crank(), &Planes { a: at(412.0, 68.0), b: at(305.0, 221.0) });
    assert_eq!((plan.outcome, plan.extent), (Outcome::Inside, Extent::Whole));
    assert_eq!(plan.holes.len(), 2);
    assert!(plan.finding().starts_with("2 holes bring both planes inside, plane "));
}

#[test]
fn an_unbalance_out_of_reach_gets_the_nearest_plan_and_a_plain_word() {
    let found = Planes { a: at(3000.0, 68.0), b: at(305.0, 40.0) };
    let plan = proved(&crank(), &found);
    assert_eq!(plan.outcome, Outcome::OutOfReach);
    assert!(plan.share_of_limit < 3000.0 / 114.0);
    assert!(plan.finding().starts_with("no plan found brings both planes inside"));
    assert!(plan.finding().contains("times the limit at plane"));
    // A rotor that may not be drilled at all still gets its answer.
    for rotor in [
        Rotor { sites: vec![], ..crank() },
        Rotor { holes_max: 0, ..crank() },
        Rotor { sites: vec![site(40.0, &[])], ..crank() },
    ] {
        let plan = proved(&rotor, &found);
        assert_eq!((plan.outcome, plan.holes.len()), (Outcome::OutOfReach, 0));
        assert!(plan.finding().starts_with("no hole that is allowed helps"));
    }
}

#[test]
fn a_small_unbalance_is_not_made_worse_by_the_smallest_hole() {
    // The smallest hole takes over 100 g·mm: at a limit of 30 it overshoots an unbalance of 40.
    let mut rotor = crank();
    rotor.limit_gmm = Planes { a: 30.0, b: 30.0 };
    let plan = proved(&rotor, &Planes { a: at(40.0, 50.0), b: at(0.0, 0.0) });
    assert!(plan.share_of_limit <= 40.0 / 30.0 + 1e-12);
}

#[test]
fn more_than_four_holes_are_planned_when_four_are_not_enough() {
    let mut rotor = crank();
    rotor.holes_max = 8;
    rotor.sites[0].windows.push(Window { from_deg: 61.0, to_deg: 82.0 });
    for site in &mut rotor.sites {
        site.holes_max = 6;
        site.drills = vec![drill(10.0, 10.0)];
    }
    let plan = proved(&rotor, &Planes { a: at(1300.0, 71.0), b: at(100.0, 221.0) });
    assert_eq!(plan.outcome, Outcome::Inside, "{plan:?}");
    assert!(plan.holes.len() > 4);
}

/// Puts a figure where it makes no sense.
type Spoil = fn(&mut Rotor, f64);

#[test]
fn senseless_input_is_refused_and_never_panics() {
    let found = Planes { a: at(412.0, 68.0), b: at(305.0, 221.0) };
    for bad in [f64::NAN, f64::INFINITY, -1.0, f64::MAX] {
        let spoilt: Vec<(&str, Spoil)> = vec![
            ("limit", |r, x| r.limit_gmm.a = -x.abs()),
            ("radius", |r, x| r.sites[0].radius_mm = x),
            ("density", |r, x| r.sites[0].density_g_cm3 = if x > 1.0 { f64::NAN } else { x }),
            ("web", |r, x| r.sites[1].web_mm = if x > 1.0 { f64::INFINITY } else { x }),
            ("diameter", |r, x| r.sites[0].drills[0].diameter_mm = x),
            ("point", |r, x| r.sites[0].drills[0].point_deg = x),
            ("depth", |r, x| r.sites[0].drills[0].depth_mm_max = x),
            ("step", |r, x| r.machine.depth_step_mm = x),
            ("angle step", |r, x| r.machine.angle_step_deg = x),
        ];
        for (what, spoil) in spoilt {
            let mut rotor = crank();
            spoil(&mut rotor, bad);
            // A radius beyond all measure is still a radius; everything else is refused.
            let refused = plan_holes(&rotor, &found).is_err();
            assert!(refused || (what == "radius" && bad == f64::MAX), "{what} {bad}");
        }
    }
    for bad in [at(f64::NAN, 0.0), at(1e300, 0.0), at(1.0, f64::INFINITY)] {
        let spoilt = Planes { a: found.a, b: bad };
        assert!(matches!(plan_holes(&crank(), &spoilt), Err(PlanError::Unbalance { .. })));
    }
    let apart = Rotor { plane_z_mm: Planes { a: 3.0, b: 3.0 }, ..crank() };
    let error = plan_holes(&apart, &found).unwrap_err();
    assert!(matches!(error, PlanError::Rotor(RotorError::Planes(_))));
    let nowhere = Hole { site_idx: 9, drill_idx: 0, angle_deg: 0.0, depth_mm: 5.0 };
    assert!(matches!(
        left_after(&crank(), &found, &[nowhere]),
        Err(PlanError::NoSuchHole { hole_idx: 0 })
    ));
}

#[test]
fn the_proof_finds_every_kind_of_breach() {
    let (rotor, found) = (crank(), Planes { a: at(412.0, 68.0), b: at(305.0, 221.0) });
    let plan = proved(&rotor, &found);
    let spoilt = |spoil: fn(&mut HolePlan, &mut Rotor)| {
        let (mut plan, mut rotor) = (plan.clone(), rotor.clone());
        spoil(&mut plan, &mut rotor);
        check_plan(&rotor, &found, &plan).expect("a rotor that makes sense").breaches
    };
    let has = |breaches: &[Breach], is: fn(&Breach) -> bool| breaches.iter().any(is);
    let moved = spoilt(|plan, _| plan.holes[0].hole.angle_deg = 70.0);
    assert!(has(&moved, |b| matches!(b, Breach::Window { hole_idx: 0, .. })));
    assert!(has(&moved, |b| matches!(b, Breach::Residual { .. })));
    let deep = spoilt(|plan, _| plan.holes[0].hole.depth_mm = 20.0);
    assert!(has(&deep, |b| matches!(b, Breach::Depth { hole_idx: 0, .. })));
    assert!(has(&deep, |b| matches!(b, Breach::Mass { .. })));
    let off = spoilt(|plan, _| plan.holes[0].hole.depth_mm += 0.1);
    assert!(has(&off, |b| matches!(b, Breach::Step { hole_idx: 0 })));
    let twice = spoilt(|plan, _| plan.holes[1] = plan.holes[0]);
    assert!(has(&twice, |b| matches!(b, Breach::Web { .. })));
    let few = spoilt(|_, rotor| rotor.holes_max = 1);
    assert!(has(&few, |b| matches!(b, Breach::TooMany { n_holes: 2, most: 1 })));
    let stated = spoilt(|plan, _| plan.outcome = Outcome::OutOfReach);
    assert!(has(&stated, |b| matches!(b, Breach::Outcome { .. })));
    let beside = spoilt(|plan, rotor| {
        let hole = plan.holes[0].hole;
        rotor.sites[hole.site_idx].existing.push(ExistingHole {
            angle_deg: hole.angle_deg + 12.0,
            diameter_mm: 12.0,
            point_deg: 118.0,
            depth_mm: 10.0,
        });
    });
    assert!(has(&beside, |b| matches!(b, Breach::WebToExisting { .. })));
}

/// A hole of a coarse grid: where it is, and what it takes at both planes as shares of the limits.
#[derive(Clone, Copy)]
struct Tried {
    place: (usize, u32),
    takes: [f64; 4],
}

/// Everything that can be drilled on a coarse grid.
fn every_hole(rotor: &Rotor) -> Vec<Tried> {
    let none = Planes { a: Unbalance::NONE, b: Unbalance::NONE };
    let mut holes = Vec::new();
    for (site_idx, site) in rotor.sites.iter().enumerate() {
        for (drill_idx, drill) in site.drills.iter().enumerate() {
            for step in 0..72 {
                let angle_deg = f64::from(step) * rotor.machine.angle_step_deg;
                let inside = site.windows.iter().any(|window| window.holds(angle_deg));
                let mut depth_mm = drill.depth_mm_min;
                while inside && angle_deg < 360.0 && depth_mm <= drill.depth_mm_max {
                    let hole = Hole { site_idx, drill_idx, angle_deg, depth_mm };
                    let left = left_after(rotor, &none, &[hole]).expect("a hole that is allowed");
                    holes.push(Tried { place: (site_idx, step), takes: shares(rotor, &left) });
                    depth_mm += rotor.machine.depth_step_mm;
                }
            }
        }
    }
    holes
}

fn shares(rotor: &Rotor, left: &Planes<Unbalance>) -> [f64; 4] {
    let (a, b) = (left.a.components(), left.b.components());
    [
        a.along_gmm / rotor.limit_gmm.a,
        a.across_gmm / rotor.limit_gmm.a,
        b.along_gmm / rotor.limit_gmm.b,
        b.across_gmm / rotor.limit_gmm.b,
    ]
}

/// Least worst share that exactly `n` more holes leave, by trying every one.
fn by_every_hole(left: [f64; 4], holes: &[Tried], n: usize, taken: &mut Vec<(usize, u32)>) -> f64 {
    if n == 0 {
        return left[0].hypot(left[1]).max(left[2].hypot(left[3]));
    }
    let mut least = f64::INFINITY;
    for (i, hole) in holes.iter().enumerate() {
        if !taken.contains(&hole.place) {
            taken.push(hole.place);
            let rest = [0, 1, 2, 3].map(|k| left[k] + hole.takes[k]);
            least = least.min(by_every_hole(rest, &holes[..i], n - 1, taken));
            taken.pop();
        }
    }
    least
}

fn unbalance(amount: std::ops::Range<f64>) -> impl Strategy<Value = Planes<Unbalance>> {
    let one = (amount, 0.0..360.0f64);
    (one.clone(), one).prop_map(|(a, b)| Planes { a: at(a.0, a.1), b: at(b.0, b.1) })
}

prop_compose! {
    fn any_site()(
        z_mm in -100.0..500.0f64, radius_mm in 40.0..110.0f64, density_g_cm3 in 2.5..8.0f64,
        windows in prop::collection::vec((0.0..360.0f64, 0.0..360.0f64), 0..3),
        drills in prop::collection::vec(
            (5.0..16.0f64, 90.0..=180.0f64, 0.0..5.0f64, 0.0..15.0f64), 1..3,
        ),
        holes_max in 0usize..4, web_mm in 0.0..8.0f64,
        existing in prop::collection::vec((0.0..360.0f64, 5.0..14.0f64, 0.0..15.0f64), 0..3),
    ) -> Site {
        Site {
            z_mm, radius_mm, density_g_cm3, holes_max, web_mm,
            windows: windows.into_iter()
                .map(|(from_deg, width)| Window { from_deg, to_deg: from_deg + width }).collect(),
            drills: drills.into_iter().map(|(diameter_mm, point_deg, least, more)| Drill {
                diameter_mm, point_deg, depth_mm_min: least, depth_mm_max: least + more,
            }).collect(),
            existing: existing.into_iter().map(|(angle_deg, diameter_mm, depth_mm)| ExistingHole {
                angle_deg, diameter_mm, point_deg: 118.0, depth_mm,
            }).collect(),
        }
    }
}

prop_compose! {
    fn any_rotor()(
        sites in prop::collection::vec(any_site(), 0..4),
        limit in prop::array::uniform2(20.0..400.0f64),
        depth_step_mm in prop::sample::select(vec![0.05, 0.1, 0.25, 0.5, 1.0]),
        angle_step_deg in prop::sample::select(vec![0.5, 1.0, 2.0, 7.0, 15.0]),
        holes_max in 0usize..5,
    ) -> Rotor {
        Rotor {
            plane_z_mm: Planes { a: 0.0, b: 400.0 },
            limit_gmm: Planes { a: limit[0], b: limit[1] },
            sites,
            machine: Machine { depth_step_mm, angle_step_deg },
            holes_max,
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn every_plan_passes_the_proof(rotor in any_rotor(), found in unbalance(0.0..1500.0)) {
        let plan = plan_holes(&rotor, &found).unwrap();
        let check = check_plan(&rotor, &found, &plan).unwrap();
        prop_assert!(check.breaches.is_empty(), "{:?} {plan:?}", check.breaches);
        let before = (found.a.amount_gmm / rotor.limit_gmm.a)
            .max(found.b.amount_gmm / rotor.limit_gmm.b);
        prop_assert!(plan.share_of_limit <= before.max(1.0) + 1e-9);
        prop_assert_eq!(plan.outcome == Outcome::OutOfReach, plan.share_of_limit > 1.0);
    }

    #[test]
    fn a_turned_rotor_has_the_turned_plan(
        found in unbalance(0.0..900.0), steps in 0i32..360,
    ) {
        let turn = f64::from(steps);
        let mut turned = crank();
        for site in &mut turned.sites {
            for window in &mut site.windows {
                window.from_deg += turn;
                window.to_deg += turn;
            }
        }
        let found_turned = found.map(|u| at(u.amount_gmm, u.angle_deg + turn));
        let (here, there) = (proved(&crank(), &found), proved(&turned, &found_turned));
        prop_assert_eq!(here.holes.len(), there.holes.len());
        prop_assert!((here.share_of_limit - there.share_of_limit).abs() < 1e-9);
        for hole in &here.holes {
            let angle = (hole.hole.angle_deg + turn).rem_euclid(360.0);
            let same = there.holes.iter().any(|other| {
                (other.hole.angle_deg - angle).abs() < 1e-6
                    && Hole { angle_deg: 0.0, ..other.hole } == Hole { angle_deg: 0.0, ..hole.hole }
            });
            prop_assert!(same, "{here:?} {there:?}");
        }
    }

    #[test]
    fn a_window_more_never_makes_a_plan_worse(
        found in unbalance(0.0..1200.0), site in 0usize..2,
        from_deg in 0.0..360.0f64, width in 0.0..100.0f64,
    ) {
        let mut roomier = crank();
        roomier.sites[site].windows.push(Window { from_deg, to_deg: from_deg + width });
        let (before, after) = (proved(&crank(), &found), proved(&roomier, &found));
        prop_assume!(before.extent == Extent::Whole && after.extent == Extent::Whole);
        let ((n_before, share_before), (n_after, share_after)) = (key(&before), key(&after));
        prop_assert!(n_after <= n_before, "{before:?} {after:?}");
        if n_after == n_before {
            prop_assert!(share_after <= share_before + 1e-8, "{before:?} {after:?}");
        }
    }

    #[test]
    fn the_expected_residual_is_the_plans_and_its_doubt_grows_with_the_scatter(
        found in unbalance(0.0..900.0), depth_mm in 0.0..0.2f64, measuring_gmm in 0.0..8.0f64,
    ) {
        let plan = proved(&crank(), &found);
        let holes: Vec<Hole> = plan.holes.iter().map(|planned| planned.hole).collect();
        let expect = |scatter| expected_residual(&crank(), &found, &holes, scatter).unwrap();
        let scatter = Scatter { depth_mm, angle_deg: 0.3, measuring_gmm };
        let (small, large) = (
            expect(scatter),
            expect(Scatter { depth_mm: depth_mm + 0.1, ..scatter }),
        );
        prop_assert_eq!(small.a.left, plan.left.a);
        prop_assert!(small.a.plus_minus_gmm >= 2.0 * measuring_gmm - 1e-9);
        prop_assert!(large.a.plus_minus_gmm >= small.a.plus_minus_gmm);
        prop_assert!(large.b.plus_minus_gmm >= small.b.plus_minus_gmm);
    }
}

/// A rotor so coarse that every plan can be tried, its angles far enough apart that webs, never
/// under 5 mm, do not matter.
fn coarse(depth_step_mm: f64) -> Rotor {
    let mut rotor = crank();
    rotor.machine = Machine { depth_step_mm, angle_step_deg: 20.0 };
    let windows = [[20.0, 100.0], [180.0, 260.0]];
    for (site, starts) in rotor.sites.iter_mut().zip(windows) {
        site.drills = vec![drill(10.0, 18.0)];
        site.windows = starts.map(|from_deg| Window { from_deg, to_deg: from_deg + 40.0 }).to_vec();
        site.holes_max = 4;
    }
    rotor
}

/// Holds a plan against the best that trying every hole finds.
fn against_every_hole(rotor: &Rotor, found: &Planes<Unbalance>, most: usize) {
    let plan = proved(rotor, found);
    let holes = every_hole(rotor);
    for n in 0..=most {
        let least = by_every_hole(shares(rotor, found), &holes, n, &mut Vec::new());
        // The best rounding of all depths at once may lie steps away from the best depths: a plan
        // that comes inside only by such luck, under 2 % of the limit, may be passed over.
        if least <= 0.98 {
            assert!(plan.holes.len() <= n, "{n} holes leave {least}: {plan:?}");
        }
        if plan.outcome == Outcome::Inside && plan.holes.len() == n {
            assert!(plan.share_of_limit <= least + 0.02, "{n} holes leave {least}: {plan:?}");
        }
        if least <= 1.0 {
            return;
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn no_plan_of_one_or_two_holes_beats_it(found in unbalance(0.0..700.0)) {
        against_every_hole(&coarse(0.5), &found, 2);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn no_plan_of_three_or_four_holes_beats_it(found in unbalance(300.0..900.0)) {
        against_every_hole(&coarse(2.0), &found, 4);
    }
}
