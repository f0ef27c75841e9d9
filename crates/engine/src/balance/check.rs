//! A plan of holes proved by a way of its own: the drilled solid is integrated numerically and
//! every rule is looked at afresh. Shares no formula with the search.

use std::f64::consts::PI;

use super::plan::{HolePlan, PlanError, check_unbalance, profile_of};
use super::planes::{Plane, Planes};
use super::rotor::{Rotor, Site};
use super::vector::{Phasor, Unbalance};

/// A rule that a plan breaks. Holes are named by their place in the plan's list, from 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Breach {
    /// A hole's axis outside every window.
    Window {
        /// The hole.
        hole_idx: usize,
        /// Its angle.
        angle_deg: f64,
    },
    /// A depth under the least or over the greatest of its drill.
    Depth {
        /// The hole.
        hole_idx: usize,
        /// Its depth.
        depth_mm: f64,
    },
    /// A depth or angle that the machine cannot set.
    Step {
        /// The hole.
        hole_idx: usize,
    },
    /// Too little metal between two new holes.
    Web {
        /// One hole.
        first_idx: usize,
        /// The other.
        second_idx: usize,
        /// Metal left, mm.
        left_mm: f64,
    },
    /// Too little metal between a new hole and one already there.
    WebToExisting {
        /// The new hole.
        hole_idx: usize,
        /// Place of the other in the site's list, from 0.
        existing_idx: usize,
        /// Metal left, mm.
        left_mm: f64,
    },
    /// More holes than the rotor or a site may have.
    TooMany {
        /// How many are planned there.
        n_holes: usize,
        /// How many are allowed.
        most: usize,
    },
    /// The plan states another residual than the integration finds.
    Residual {
        /// At which plane.
        plane: Plane,
        /// Difference, g·mm.
        off_gmm: f64,
    },
    /// The plan states another mass than the integration finds.
    Mass {
        /// Difference, g.
        off_g: f64,
    },
    /// The outcome stated does not follow from the residual.
    Outcome {
        /// Worst share of the limits by the integration.
        share: f64,
    },
}

/// What the proof of a plan found.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanCheck {
    /// Residual at each plane by the integration.
    pub left: Planes<Unbalance>,
    /// The worse share of its limit.
    pub share_of_limit: f64,
    /// Mass removed by the integration, g.
    pub mass_g: f64,
    /// Every rule broken; none in a good plan.
    pub breaches: Vec<Breach>,
}

/// Accuracy asked of a stated residual, g·mm.
const RESIDUAL_GMM: f64 = 1e-4;
/// Accuracy asked of a stated mass, as a share: the closed form's mouth is itself a little off.
const MASS_SHARE: f64 = 1e-3;

/// Proves a plan of holes independently of the search that made it.
///
/// # Formula
/// Over the mouth of each hole `∫∫ ρ (top² − bottom²)/2 dA`, `top = √(R² − y²)` the round surface,
/// `bottom` the hole's floor with its point, on a polar grid by Simpson's rule; webs as distances
/// of the holes' outlines in the plane of rotation.
/// # Given
/// The rotor, the unbalance found and a plan for it.
/// # Returns
/// [`PlanCheck`] with every rule that is broken.
/// # Errors
/// [`PlanError`] when the rotor or the unbalance makes no sense, or a hole is at no site.
/// # Validity
/// Radial holes from a round surface; solid metal.
/// # Source
/// Definition of the first moment of mass.
/// # Example
/// ```
/// # use bedplate_engine::balance::{check::check_plan, plan::plan_holes, planes::Planes};
/// # use bedplate_engine::balance::rotor::{Drill, Machine, Rotor, Site, Window};
/// # use bedplate_engine::balance::vector::Unbalance;
/// # let rotor = Rotor {
/// #     plane_z_mm: Planes { a: 0.0, b: 400.0 },
/// #     limit_gmm: Planes { a: 114.0, b: 114.0 },
/// #     sites: vec![Site {
/// #         z_mm: 20.0, radius_mm: 58.0, density_g_cm3: 7.85, web_mm: 4.0, holes_max: 2,
/// #         windows: vec![Window { from_deg: 24.0, to_deg: 118.0 }],
/// #         drills: vec![Drill {
/// #             diameter_mm: 12.0, point_deg: 118.0, depth_mm_min: 2.0, depth_mm_max: 14.0,
/// #         }],
/// #         existing: vec![],
/// #     }],
/// #     machine: Machine { depth_step_mm: 0.5, angle_step_deg: 1.0 },
/// #     holes_max: 4,
/// # };
/// # let found = Planes {
/// #     a: Unbalance { amount_gmm: 412.0, angle_deg: 68.0 },
/// #     b: Unbalance { amount_gmm: 30.0, angle_deg: 221.0 },
/// # };
/// // `rotor` and `found` as in the example of `plan_holes`.
/// let plan = plan_holes(&rotor, &found)?;
/// assert!(check_plan(&rotor, &found, &plan)?.breaches.is_empty());
/// # Ok::<(), bedplate_engine::balance::plan::PlanError>(())
/// ```
pub fn check_plan(
    rotor: &Rotor,
    unbalance: &Planes<Unbalance>,
    plan: &HolePlan,
) -> Result<PlanCheck, PlanError> {
    rotor.check()?;
    check_unbalance(unbalance)?;
    for (hole_idx, planned) in plan.holes.iter().enumerate() {
        profile_of(rotor, hole_idx, &planned.hole)?;
    }
    let mut breaches = Vec::new();
    check_numbers(rotor, plan, &mut breaches);
    for hole_idx in 0..plan.holes.len() {
        check_place(rotor, plan, hole_idx, &mut breaches);
        check_webs(rotor, plan, hole_idx, &mut breaches);
    }
    let (left, mass_g) = integrated(rotor, unbalance, plan);
    for plane in [Plane::A, Plane::B] {
        let off_gmm = (left.at(plane).phasor() - plan.left.at(plane).phasor()).size();
        if off_gmm > RESIDUAL_GMM {
            breaches.push(Breach::Residual { plane, off_gmm });
        }
    }
    let off_g = plan.mass_g - mass_g;
    if off_g.abs() > MASS_SHARE * mass_g {
        breaches.push(Breach::Mass { off_g });
    }
    let share = (left.a.amount_gmm / rotor.limit_gmm.a).max(left.b.amount_gmm / rotor.limit_gmm.b);
    let stated_inside = plan.outcome != super::plan::Outcome::OutOfReach;
    let near = (share - 1.0).abs() < 1e-6;
    if (stated_inside != (share <= 1.0) && !near) || (plan.share_of_limit - share).abs() > 1e-4 {
        breaches.push(Breach::Outcome { share });
    }
    Ok(PlanCheck { left, share_of_limit: share, mass_g, breaches })
}

fn check_numbers(rotor: &Rotor, plan: &HolePlan, breaches: &mut Vec<Breach>) {
    let n_holes = plan.holes.len();
    if n_holes > rotor.holes_max {
        breaches.push(Breach::TooMany { n_holes, most: rotor.holes_max });
    }
    for (site_idx, site) in rotor.sites.iter().enumerate() {
        let n_holes = plan.holes.iter().filter(|h| h.hole.site_idx == site_idx).count();
        if n_holes > site.holes_max {
            breaches.push(Breach::TooMany { n_holes, most: site.holes_max });
        }
    }
}

fn check_place(rotor: &Rotor, plan: &HolePlan, hole_idx: usize, breaches: &mut Vec<Breach>) {
    let hole = plan.holes[hole_idx].hole;
    let site = &rotor.sites[hole.site_idx];
    let drill = site.drills[hole.drill_idx];
    let (angle_deg, depth_mm) = (hole.angle_deg, hole.depth_mm);
    if !site.windows.iter().any(|window| window.holds(angle_deg)) {
        breaches.push(Breach::Window { hole_idx, angle_deg });
    }
    let allowed = drill.depth_mm_min - 1e-9 <= depth_mm && depth_mm <= drill.depth_mm_max + 1e-9;
    // A mouth whose rim is not cut all round is no full-diameter hole.
    let half_mm = drill.diameter_mm / 2.0;
    let rim_mm = site.radius_mm - (site.radius_mm.powi(2) - half_mm.powi(2)).sqrt();
    if !allowed || depth_mm < rim_mm - 1e-9 {
        breaches.push(Breach::Depth { hole_idx, depth_mm });
    }
    let whole = |value: f64, step: f64| {
        let steps = value / step;
        (steps - steps.round()).abs() < 1e-6
    };
    let set = whole(angle_deg, rotor.machine.angle_step_deg)
        && whole(depth_mm, rotor.machine.depth_step_mm);
    if !set {
        breaches.push(Breach::Step { hole_idx });
    }
}

fn check_webs(rotor: &Rotor, plan: &HolePlan, hole_idx: usize, breaches: &mut Vec<Breach>) {
    let outline_of = |idx: usize| {
        let hole = plan.holes[idx].hole;
        let site = &rotor.sites[hole.site_idx];
        let drill = site.drills[hole.drill_idx];
        outline(site, hole.angle_deg, [drill.diameter_mm, drill.point_deg, hole.depth_mm])
    };
    let site_idx = plan.holes[hole_idx].hole.site_idx;
    let site = &rotor.sites[site_idx];
    let mine = outline_of(hole_idx);
    for second_idx in hole_idx + 1..plan.holes.len() {
        if plan.holes[second_idx].hole.site_idx == site_idx {
            let left_mm = apart(&mine, &outline_of(second_idx));
            if left_mm < site.web_mm - 1e-9 || left_mm == 0.0 {
                breaches.push(Breach::Web { first_idx: hole_idx, second_idx, left_mm });
            }
        }
    }
    for (existing_idx, there) in site.existing.iter().enumerate() {
        let other =
            outline(site, there.angle_deg, [there.diameter_mm, there.point_deg, there.depth_mm]);
        let left_mm = apart(&mine, &other);
        if left_mm < site.web_mm - 1e-9 || left_mm == 0.0 {
            breaches.push(Breach::WebToExisting { hole_idx, existing_idx, left_mm });
        }
    }
}

/// A point of the plane of rotation, mm.
type Point = [f64; 2];

/// A hole's outline in the plane of rotation, out to the touched surface.
fn outline(site: &Site, angle_deg: f64, [diameter, point_deg, depth]: [f64; 3]) -> [Point; 5] {
    let half = diameter / 2.0;
    let tip = half / (point_deg * PI / 360.0).tan();
    let (sin, cos) = (angle_deg * PI / 180.0).sin_cos();
    let at = |radial: f64, aside: f64| [radial * cos - aside * sin, radial * sin + aside * cos];
    let (surface, floor) = (site.radius_mm, site.radius_mm - depth);
    [at(surface, half), at(surface, -half), at(floor, -half), at(floor - tip, 0.0), at(floor, half)]
}

/// Least distance of two convex outlines, 0 when they meet.
fn apart(first: &[Point; 5], second: &[Point; 5]) -> f64 {
    if !separable(first, second) && !separable(second, first) {
        return 0.0;
    }
    let mut least = f64::INFINITY;
    for i in 0..5 {
        for j in 0..5 {
            least = least.min(to_edge(first[i], second[j], second[(j + 1) % 5]));
            least = least.min(to_edge(second[j], first[i], first[(i + 1) % 5]));
        }
    }
    least
}

/// Whether some edge of `of` has all of `other` on its outer side.
fn separable(of: &[Point; 5], other: &[Point; 5]) -> bool {
    (0..5).any(|i| {
        let (a, b) = (of[i], of[(i + 1) % 5]);
        let side = |p: Point| (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]);
        let inner: f64 = of.iter().map(|p| side(*p)).sum();
        other.iter().all(|p| side(*p) * inner < 0.0)
    })
}

fn to_edge(point: Point, from: Point, to: Point) -> f64 {
    let edge = [to[0] - from[0], to[1] - from[1]];
    let off = [point[0] - from[0], point[1] - from[1]];
    let length = edge[0] * edge[0] + edge[1] * edge[1];
    let part = ((off[0] * edge[0] + off[1] * edge[1]) / length).clamp(0.0, 1.0);
    (off[0] - part * edge[0]).hypot(off[1] - part * edge[1])
}

/// Residual and mass by integrating every hole.
fn integrated(
    rotor: &Rotor,
    unbalance: &Planes<Unbalance>,
    plan: &HolePlan,
) -> (Planes<Unbalance>, f64) {
    let mut left = unbalance.map(Unbalance::phasor);
    let mut mass_g = 0.0;
    let apart_mm = rotor.plane_z_mm.b - rotor.plane_z_mm.a;
    for planned in &plan.holes {
        let hole = planned.hole;
        let site = &rotor.sites[hole.site_idx];
        let drill = site.drills[hole.drill_idx];
        let (mass, moment) =
            integrate_hole(site, [drill.diameter_mm, drill.point_deg, hole.depth_mm]);
        mass_g += mass;
        // Equilibrium of moments about either plane.
        let at_b = moment * (site.z_mm - rotor.plane_z_mm.a) / apart_mm;
        left.a = left.a - Phasor::polar(moment - at_b, hole.angle_deg);
        left.b = left.b - Phasor::polar(at_b, hole.angle_deg);
    }
    (left.map(Unbalance::from_phasor), mass_g)
}

/// Mass (g) and moment along the hole's axis (g·mm) of the drilled solid.
fn integrate_hole(site: &Site, [diameter, point_deg, depth]: [f64; 3]) -> (f64, f64) {
    const RINGS: u32 = 64;
    const SPOKES: u32 = 48;
    let half = diameter / 2.0;
    let tip = half / (point_deg * PI / 360.0).tan();
    let (mut volume, mut moment) = (0.0, 0.0);
    for ring in 0..=RINGS {
        let r = half * f64::from(ring) / f64::from(RINGS);
        let simpson = match ring {
            0 | RINGS => 1.0,
            odd if odd % 2 == 1 => 4.0,
            _ => 2.0,
        };
        let bottom = site.radius_mm - depth - tip * (1.0 - r / half);
        for spoke in 0..SPOKES {
            let y = r * (2.0 * PI * f64::from(spoke) / f64::from(SPOKES)).sin();
            let top = (site.radius_mm * site.radius_mm - y * y).sqrt();
            volume += simpson * r * (top - bottom);
            moment += simpson * r * (top * top - bottom * bottom) / 2.0;
        }
    }
    let cell = half / f64::from(RINGS) / 3.0 * 2.0 * PI / f64::from(SPOKES);
    let density_g_mm3 = site.density_g_cm3 * 1e-3;
    (density_g_mm3 * cell * volume, density_g_mm3 * cell * moment)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::balance::holes::drilled_hole;
    use proptest::prelude::*;

    fn site(radius_mm: f64, density_g_cm3: f64) -> Site {
        Site {
            z_mm: 0.0,
            radius_mm,
            density_g_cm3,
            windows: vec![],
            drills: vec![],
            holes_max: 0,
            web_mm: 0.0,
            existing: vec![],
        }
    }

    #[test]
    fn outlines_that_meet_are_no_distance_apart() {
        let site = site(60.0, 7.85);
        let hole = |angle| outline(&site, angle, [10.0, 118.0, 20.0]);
        assert_eq!(apart(&hole(0.0), &hole(0.0)), 0.0);
        assert_eq!(apart(&hole(0.0), &hole(10.0)), 0.0);
        assert!(apart(&hole(0.0), &hole(40.0)) > 5.0);
    }

    proptest! {
        #[test]
        fn the_integrated_solid_agrees_with_the_closed_form(
            diameter_mm in 4.0..18.0f64, point_deg in 90.0..=180.0f64, radius_mm in 40.0..120.0f64,
            depth_mm in 2.0..20.0f64, density_g_cm3 in 2.0..9.0f64,
        ) {
            let site = site(radius_mm, density_g_cm3);
            let closed = drilled_hole(&site.drilling(diameter_mm, point_deg), depth_mm).unwrap();
            let (mass, moment) = integrate_hole(&site, [diameter_mm, point_deg, depth_mm]);
            prop_assert!((moment / closed.unbalance_gmm - 1.0).abs() < 1e-9, "{moment} {closed:?}");
            // The closed form's mouth leaves out ρ π d⁶/(4096 R³) of mass and smaller terms.
            let next = density_g_cm3 * 1e-3 * PI * diameter_mm.powi(6) / 4096.0 / radius_mm.powi(3);
            prop_assert!((mass - closed.mass_g).abs() < 1.1 * next + 1e-9, "{mass} {closed:?}");
        }

        // The search's own measure of the web never promises more metal than there is.
        #[test]
        fn the_web_is_never_less_than_the_search_reckons(
            apart_deg in 5.0..175.0f64, depths in prop::array::uniform2(1.0..25.0f64),
            diameters in prop::array::uniform2(4.0..16.0f64), point_deg in 90.0..=180.0f64,
        ) {
            use crate::balance::web::{Bore, web_left_mm};
            let site = site(60.0, 7.85);
            let bore = |i: usize| Bore {
                diameter_mm: diameters[i], point_deg, depth_mm: depths[i],
            };
            let reckoned = web_left_mm(60.0, apart_deg, [bore(0), bore(1)]);
            let shape = |i: usize, angle_deg| {
                outline(&site, angle_deg, [diameters[i], point_deg, depths[i]])
            };
            let real = apart(&shape(0, 0.0), &shape(1, apart_deg));
            prop_assert!(reckoned <= real + 1e-9, "{reckoned} {real}");
        }
    }
}
