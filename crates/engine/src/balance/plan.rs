//! Where to drill and how deep, so that a rotor comes inside its limit at both planes.

use bedplate_gauge::calculation::{
    Answer, Calculation, Column, Given, Input, Output, Refused, Stage,
};

use super::holes::{HoleError, Profile};
use super::layout::{Bench, Cost, HOLES_SEARCHED, Trial};
use super::planes::{Plane, Planes, lever};
use super::rotor::{Drill, ExistingHole, Machine, Rotor, RotorError, Site, Window};
use super::vector::{Phasor, Unbalance};

/// A hole at a site of a rotor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hole {
    /// Place of the site in the rotor's list, from 0.
    pub site_idx: usize,
    /// Place of the drill in the site's list, from 0.
    pub drill_idx: usize,
    /// Angle of its axis from pin 1, degrees.
    pub angle_deg: f64,
    /// Full-diameter depth from the touched surface, mm.
    pub depth_mm: f64,
}

/// A hole of a plan with what it takes away.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlannedHole {
    /// The hole.
    pub hole: Hole,
    /// Unbalance it takes away at its site, g·mm.
    pub unbalance_gmm: f64,
    /// Mass it takes away, g.
    pub mass_g: f64,
}

/// Whether a plan does what it should.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// The rotor is inside both limits as it is.
    NoHoleNeeded,
    /// The holes bring it inside both limits.
    Inside,
    /// No plan found brings it inside; this is the one that comes nearest.
    OutOfReach,
}

/// How far the search went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Extent {
    /// Every combination of windows and drills was looked into, up to four holes.
    Whole,
    /// There were too many; the most promising ones were looked into.
    MostPromising,
}

/// The holes to drill and what they leave.
#[derive(Debug, Clone, PartialEq)]
pub struct HolePlan {
    /// The holes in drilling order: by site, then by angle.
    pub holes: Vec<PlannedHole>,
    /// Unbalance left at each plane, reckoned from the rounded depths.
    pub left: Planes<Unbalance>,
    /// The worse of the two planes' shares of its limit: 1 or less is inside.
    pub share_of_limit: f64,
    /// The plane with that share.
    pub worse: Plane,
    /// Mass taken away, g.
    pub mass_g: f64,
    /// Whether it does what it should.
    pub outcome: Outcome,
    /// How far the search went.
    pub extent: Extent,
}

impl HolePlan {
    /// The plan in one sentence.
    #[must_use]
    pub fn finding(&self) -> String {
        let share = self.share_of_limit;
        let times = if share < 10.0 { format!("{share:.2}") } else { format!("{share:.0}") };
        let at = format!("plane {}", self.worse.letter());
        let percent = 100.0 * share;
        match (self.outcome, self.holes.len()) {
            (Outcome::NoHoleNeeded, _) => {
                format!(
                    "no hole is needed: {at}, the worse one, stands at {percent:.0} % of its limit"
                )
            }
            (Outcome::Inside, 1) => {
                format!("one hole brings both planes inside, {at} to {percent:.0} % of its limit")
            }
            (Outcome::Inside, n) => {
                format!("{n} holes bring both planes inside, {at} to {percent:.0} % of its limit")
            }
            (Outcome::OutOfReach, 0) => {
                format!("no hole that is allowed helps: {at} stays at {times} times its limit")
            }
            (Outcome::OutOfReach, n) => format!(
                "no plan found brings both planes inside: the best, with {n} holes, leaves {times} \
                 times the limit at {at}"
            ),
        }
    }
}

/// Why no plan can be made or checked.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum PlanError {
    /// The rotor's description makes no sense.
    #[error(transparent)]
    Rotor(#[from] RotorError),
    /// The unbalance found is no finite number, or beyond all measure.
    #[error("the unbalance at plane {} is {amount_gmm} g·mm at {angle_deg}°; finite figures up to \
             1e12 g·mm are needed", .plane.letter())]
    Unbalance {
        /// At which plane.
        plane: Plane,
        /// Amount given.
        amount_gmm: f64,
        /// Angle given.
        angle_deg: f64,
    },
    /// A hole names a site or a drill that the rotor does not have, or has no finite angle.
    #[error("hole {}: the rotor has no such site, drill or angle", .hole_idx + 1)]
    NoSuchHole {
        /// Place of the hole in the list, from 0.
        hole_idx: usize,
    },
    /// A hole that cannot be reckoned.
    #[error("hole {}: {hole}", .hole_idx + 1)]
    Hole {
        /// Place of the hole in the list, from 0.
        hole_idx: usize,
        /// What is wrong.
        hole: HoleError,
    },
}

/// Greatest unbalance taken as an input, g·mm: a tonne at a metre.
const UNBALANCE_MOST_GMM: f64 = 1e12;

pub(super) fn check_unbalance(unbalance: &Planes<Unbalance>) -> Result<(), PlanError> {
    for plane in [Plane::A, Plane::B] {
        let Unbalance { amount_gmm, angle_deg } = unbalance.at(plane);
        let in_range = amount_gmm.abs() <= UNBALANCE_MOST_GMM && angle_deg.is_finite();
        if !in_range {
            return Err(PlanError::Unbalance { plane, amount_gmm, angle_deg });
        }
    }
    Ok(())
}

/// The holes that bring a rotor inside its limits: fewest holes, then least residual, then least
/// metal.
///
/// # Formula
/// Each plane keeps `U_p − Σ l_p(z) U_hole e^{iφ}`: `U_p` the unbalance found, `l_p` the lever of
/// the hole's site (see [`lever`]), `U_hole` by the closed form of [`super::holes::drilled_hole`]
/// on the round surface, `φ` its angle. The residual of a plan is the worse of both planes' shares
/// of its limit, reckoned with the depths rounded to the machine's step.
/// # Given
/// A [`Rotor`] and the unbalance found at its two tolerance planes.
/// # Returns
/// A [`HolePlan`], always: when the limits cannot be met, the plan that comes nearest and the
/// multiple of the limit it leaves. Holes stand on the machine's steps of angle and depth, within
/// their windows and depths, and keep the web to each other and to existing holes.
/// # Errors
/// [`PlanError::Rotor`], [`PlanError::Unbalance`] for descriptions that make no sense.
/// # Validity
/// Rigid rotor, solid metal under every window. One hole is chosen exactly. With two to four holes
/// every combination of windows and drills is looked into from a spread of angles, refined step by
/// step: a plan with fewer holes, or less residual, may exist where windows meet it only by a
/// hair's breadth. From five holes on, holes are added one by one to the best plan found.
/// # Source
/// Derived here.
/// # Example
/// One hole takes what one hole can:
/// ```
/// use bedplate_engine::balance::plan::{Outcome, plan_holes};
/// use bedplate_engine::balance::planes::Planes;
/// use bedplate_engine::balance::rotor::{Drill, Machine, Rotor, Site, Window};
/// use bedplate_engine::balance::vector::Unbalance;
/// let rotor = Rotor {
///     plane_z_mm: Planes { a: 0.0, b: 400.0 },
///     limit_gmm: Planes { a: 114.0, b: 114.0 },
///     sites: vec![Site {
///         z_mm: 20.0, radius_mm: 58.0, density_g_cm3: 7.85, web_mm: 4.0, holes_max: 2,
///         windows: vec![Window { from_deg: 24.0, to_deg: 118.0 }],
///         drills: vec![Drill {
///             diameter_mm: 12.0, point_deg: 118.0, depth_mm_min: 2.0, depth_mm_max: 14.0,
///         }],
///         existing: vec![],
///     }],
///     machine: Machine { depth_step_mm: 0.5, angle_step_deg: 1.0 },
///     holes_max: 4,
/// };
/// let found = Planes {
///     a: Unbalance { amount_gmm: 412.0, angle_deg: 68.0 },
///     b: Unbalance { amount_gmm: 30.0, angle_deg: 221.0 },
/// };
/// let plan = plan_holes(&rotor, &found)?;
/// assert_eq!((plan.outcome, plan.holes.len()), (Outcome::Inside, 1));
/// assert!(plan.finding().starts_with("one hole brings both planes inside, plane A to 42 %"));
/// # Ok::<(), bedplate_engine::balance::plan::PlanError>(())
/// ```
pub fn plan_holes(rotor: &Rotor, unbalance: &Planes<Unbalance>) -> Result<HolePlan, PlanError> {
    rotor.check()?;
    check_unbalance(unbalance)?;
    let mut bench = Bench::new(rotor, unbalance);
    let trial = best_trial(&mut bench, rotor.holes_max);
    let holes: Vec<Hole> = bench
        .drilled(&trial)
        .into_iter()
        .map(|hole| Hole {
            site_idx: hole.site,
            drill_idx: hole.drill,
            angle_deg: hole.angle_deg,
            depth_mm: hole.depth_mm,
        })
        .collect();
    let left = left_after(rotor, unbalance, &holes)?;
    let shares = Planes {
        a: left.a.amount_gmm.abs() / rotor.limit_gmm.a,
        b: left.b.amount_gmm.abs() / rotor.limit_gmm.b,
    };
    let worse = if shares.a >= shares.b { Plane::A } else { Plane::B };
    let share_of_limit = shares.at(worse);
    let outcome = match (share_of_limit <= 1.0, holes.is_empty()) {
        (true, true) => Outcome::NoHoleNeeded,
        (true, false) => Outcome::Inside,
        (false, _) => Outcome::OutOfReach,
    };
    let holes = holes
        .into_iter()
        .enumerate()
        .map(|(hole_idx, hole)| {
            let profile = profile_of(rotor, hole_idx, &hole)?;
            let unbalance_gmm = profile.unbalance_gmm(hole.depth_mm);
            Ok(PlannedHole { hole, unbalance_gmm, mass_g: profile.mass_g(hole.depth_mm) })
        })
        .collect::<Result<Vec<_>, PlanError>>()?;
    let mass_g = holes.iter().map(|hole| hole.mass_g).sum();
    let extent = if bench.complete { Extent::Whole } else { Extent::MostPromising };
    Ok(HolePlan { holes, left, share_of_limit, worse, mass_g, outcome, extent })
}

/// Plans carried along when holes are added one by one.
const CARRIED: usize = 6;

/// Fewest holes first; when no number brings the rotor inside, the least share of all.
fn best_trial(bench: &mut Bench<'_>, holes_max: usize) -> Trial {
    let nothing = bench.nothing();
    let inside = Cost { share: 1.0, mass_g: f64::INFINITY };
    if nothing.cost.share <= inside.share {
        return nothing;
    }
    let searched = holes_max.min(HOLES_SEARCHED);
    for n in 1..=searched {
        if let Some(trial) = bench.search(n, inside, 1).into_iter().next() {
            return trial;
        }
    }
    let mut best = nothing;
    let mut carried = Vec::new();
    for n in (1..=searched).rev() {
        let most = if n == HOLES_SEARCHED && n < holes_max { CARRIED } else { 1 };
        let found = bench.search(n, best.cost, most);
        if let Some(trial) = found.first()
            && trial.cost.share < best.cost.share
        {
            best = trial.clone();
        }
        if n == HOLES_SEARCHED {
            carried = found;
        }
    }
    for _ in HOLES_SEARCHED..holes_max {
        if carried.is_empty() || best.cost.share <= inside.share {
            break;
        }
        carried = bench.grown(&carried, CARRIED);
        for trial in &carried {
            if trial.cost.share < best.cost.share {
                best = trial.clone();
            }
        }
    }
    best
}

pub(super) fn profile_of(
    rotor: &Rotor,
    hole_idx: usize,
    hole: &Hole,
) -> Result<Profile, PlanError> {
    let missing = PlanError::NoSuchHole { hole_idx };
    let site = rotor.sites.get(hole.site_idx).ok_or(missing)?;
    let drill = site.drills.get(hole.drill_idx).ok_or(missing)?;
    if !hole.angle_deg.is_finite() {
        return Err(missing);
    }
    let wrong = |hole| PlanError::Hole { hole_idx, hole };
    let profile = Profile::of(&site.drilling(drill.diameter_mm, drill.point_deg)).map_err(wrong)?;
    let (depth_mm, most_mm) = (hole.depth_mm, profile.most_mm);
    if 0.0 <= depth_mm && depth_mm <= most_mm {
        Ok(profile)
    } else {
        Err(wrong(HoleError::Depth { depth_mm, least_mm: 0.0, most_mm }))
    }
}

/// What is left at both planes after holes are drilled.
///
/// # Formula
/// As [`plan_holes`].
/// # Given
/// A [`Rotor`], the unbalance found before drilling, the holes drilled since.
/// # Returns
/// The unbalance expected at each plane, g·mm and degrees.
/// # Errors
/// [`PlanError`] when the rotor, the unbalance or a hole makes no sense.
/// # Validity
/// As [`plan_holes`]; it does not ask whether the holes were allowed, [`super::check`] does.
/// # Source
/// Statics; hole by [`super::holes::drilled_hole`].
/// # Example
/// See [`plan_holes`], whose `left` is this.
pub fn left_after(
    rotor: &Rotor,
    unbalance: &Planes<Unbalance>,
    holes: &[Hole],
) -> Result<Planes<Unbalance>, PlanError> {
    rotor.check()?;
    check_unbalance(unbalance)?;
    let mut left = unbalance.map(Unbalance::phasor);
    for (hole_idx, hole) in holes.iter().enumerate() {
        let profile = profile_of(rotor, hole_idx, hole)?;
        let share =
            lever(rotor.plane_z_mm, rotor.sites[hole.site_idx].z_mm).map_err(RotorError::Planes)?;
        let taken = Phasor::polar(profile.unbalance_gmm(hole.depth_mm), hole.angle_deg);
        left.a = left.a - taken * share.a;
        left.b = left.b - taken * share.b;
    }
    Ok(left.map(Unbalance::from_phasor))
}

const fn column(name: &'static str, unit: &'static str, meaning: &'static str) -> Column {
    Column { name, unit, meaning }
}

const SITES: &[Column] = &[
    column("z", "mm", "place along the axis"),
    column("radius", "mm", "radius of the round surface"),
    column("density", "g/cm³", "density of the metal"),
    column("web", "mm", "least metal between two holes"),
    column("max_holes", "", "most new holes here"),
];
const WINDOWS: &[Column] = &[
    column("site", "", "number of the site, from 1"),
    column("from", "°", "first edge, from pin 1"),
    column("to", "°", "last edge, in the sense of counting"),
];
const DRILLS: &[Column] = &[
    column("site", "", "number of the site, from 1"),
    column("diameter", "mm", "diameter"),
    column("point", "°", "angle of the point, 90° to 180°"),
    column("min_depth", "mm", "least full-diameter depth"),
    column("max_depth", "mm", "greatest full-diameter depth"),
];
const EXISTING: &[Column] = &[
    column("site", "", "number of the site, from 1"),
    column("angle", "°", "angle of its axis from pin 1"),
    column("diameter", "mm", "diameter"),
    column("point", "°", "angle of the point"),
    column("depth", "mm", "full-diameter depth"),
];
const HOLES: &[Column] = &[
    column("site", "", "number of the site, from 1"),
    column("angle", "°", "angle of its axis from pin 1"),
    column("diameter", "mm", "drill"),
    column("depth", "mm", "full-diameter depth to set"),
    column("takes", "g·mm", "unbalance it takes away"),
    column("mass", "g", "mass it takes away"),
];

/// Handbook entry of [`plan_holes`].
pub const HOLE_PLAN: Calculation = Calculation {
    name: "hole-plan",
    title: "Plan of holes over two planes",
    stage: Stage::Balance,
    question: "Where, with which drill and how deep, so that both planes come inside?",
    inputs: &[
        Input::quantity("unbalance_a", "g·mm", "unbalance found at plane A").at_least(0.0),
        Input::quantity("angle_a", "°", "its angle from pin 1"),
        Input::quantity("unbalance_b", "g·mm", "unbalance found at plane B").at_least(0.0),
        Input::quantity("angle_b", "°", "its angle from pin 1"),
        Input::quantity("limit_a", "g·mm", "most allowed at plane A").over(0.0),
        Input::quantity("limit_b", "g·mm", "most allowed at plane B").over(0.0),
        Input::quantity("plane_a", "mm", "place of plane A along the axis"),
        Input::quantity("plane_b", "mm", "place of plane B along the axis"),
        Input::table("sites", SITES, "what may be drilled, numbered from 1"),
        Input::table("windows", WINDOWS, "where the axis of a hole may stand"),
        Input::table("drills", DRILLS, "what may be drilled with, and how deep"),
        Input::table("existing", EXISTING, "holes already there").or(""),
        Input::quantity("depth_step", "mm", "step of the depth stop")
            .at_least(0.001)
            .at_most(10.0)
            .or("0.1 mm"),
        Input::quantity("angle_step", "°", "step of the angle")
            .at_least(0.1)
            .at_most(90.0)
            .or("1°"),
        Input::count("max_holes", "most new holes, up to 8").at_most(8.0).or("4"),
    ],
    outputs: &[
        Output::figure("finding", "", "the plan in one sentence"),
        Output::figure("holes", "", "the holes in drilling order"),
        Output::figure("left_a", "g·mm", "left at plane A"),
        Output::figure("left_a_angle", "°", "its angle"),
        Output::figure("left_b", "g·mm", "left at plane B"),
        Output::figure("left_b_angle", "°", "its angle"),
        Output::figure("share", "", "the worse plane's share of its limit; 1 or less is inside"),
        Output::figure("mass", "g", "mass taken away"),
        Output::figure("n_holes", "", "number of holes"),
    ],
    formula: "left_p = U_p − Σ l_p U_hole e^{iφ}, l by lever, U_hole by drilled-hole, round; \
              fewest holes, then least worst share of the limits, then least mass",
    source: "derived in the project: search over windows, drills, angles and rounded depths",
    validity: "Rigid rotor, solid metal under the windows. One hole exact; more by refined search. \
               Keep the maker's minimum wall and forbidden zones.",
    example: &[
        ("unbalance_a", "412 g·mm"),
        ("angle_a", "68°"),
        ("unbalance_b", "0 g·mm"),
        ("angle_b", "0°"),
        ("limit_a", "114 g·mm"),
        ("limit_b", "114 g·mm"),
        ("plane_a", "0 mm"),
        ("plane_b", "400 mm"),
        (
            "sites",
            "z [mm], radius [mm], density [g/cm³], web [mm], max_holes; 0, 58, 7.85, 4, 2; \
             400, 58, 7.85, 4, 2",
        ),
        ("windows", "site, from [°], to [°]; 1, 24, 118; 2, 196, 262"),
        (
            "drills",
            "site, diameter [mm], point [°], min_depth [mm], max_depth [mm]; 1, 12, 118, 2, 14; \
             2, 12, 118, 2, 14",
        ),
        ("depth_step", "0.5 mm"),
        ("max_holes", "4"),
    ],
    // By hand with the formula of drilled-hole: at the unbalance's own angle a depth of 7.5 mm
    // takes 410.1513 g·mm, 8.0 mm takes 431.9242; no other step leaves less than 412 − 410.1513.
    expected: &[("n_holes", "1"), ("left_a", "1.8487"), ("left_b", "0"), ("mass", "7.65663")],
    run: run_plan,
};

fn run_plan(given: &Given) -> Result<Answer, Refused> {
    let pair = |a, b| Planes { a: given.number(a), b: given.number(b) };
    let rotor = Rotor {
        plane_z_mm: pair("plane_a", "plane_b"),
        limit_gmm: pair("limit_a", "limit_b"),
        sites: sites(given)?,
        machine: Machine {
            depth_step_mm: given.number("depth_step"),
            angle_step_deg: given.number("angle_step"),
        },
        holes_max: given.count("max_holes"),
    };
    let at = |amount, angle| Unbalance {
        amount_gmm: given.number(amount),
        angle_deg: given.number(angle),
    };
    let found = Planes { a: at("unbalance_a", "angle_a"), b: at("unbalance_b", "angle_b") };
    let plan = plan_holes(&rotor, &found)
        .map_err(|error| Refused::because(at_fault(error), error.to_string()))?;
    Ok(answer(&rotor, &plan))
}

fn answer(rotor: &Rotor, plan: &HolePlan) -> Answer {
    let row = |planned: &PlannedHole| {
        let hole = planned.hole;
        #[expect(clippy::cast_precision_loss, reason = "a rotor has few sites")]
        let site = (hole.site_idx + 1) as f64;
        let diameter_mm = rotor.sites[hole.site_idx].drills[hole.drill_idx].diameter_mm;
        vec![
            site,
            hole.angle_deg,
            diameter_mm,
            hole.depth_mm,
            planned.unbalance_gmm,
            planned.mass_g,
        ]
    };
    Answer::new()
        .word("finding", plan.finding())
        .table("holes", HOLES, plan.holes.iter().map(row).collect())
        .figure("left_a", plan.left.a.amount_gmm)
        .figure("left_a_angle", plan.left.a.angle_deg)
        .figure("left_b", plan.left.b.amount_gmm)
        .figure("left_b_angle", plan.left.b.angle_deg)
        .figure("share", plan.share_of_limit)
        .figure("mass", plan.mass_g)
        .count("n_holes", plan.holes.len())
}

const fn at_fault(error: PlanError) -> &'static str {
    match error {
        PlanError::Unbalance { plane: Plane::A, .. } => "unbalance_a",
        PlanError::Unbalance { plane: Plane::B, .. } => "unbalance_b",
        PlanError::Rotor(RotorError::Planes(_) | RotorError::PlanesApart { .. }) => "plane_b",
        PlanError::Rotor(RotorError::Limit { plane: Plane::A, .. }) => "limit_a",
        PlanError::Rotor(RotorError::Limit { plane: Plane::B, .. }) => "limit_b",
        PlanError::Rotor(RotorError::DepthStep { .. }) => "depth_step",
        PlanError::Rotor(RotorError::AngleStep { .. }) => "angle_step",
        PlanError::Rotor(RotorError::Holes { .. }) => "max_holes",
        PlanError::Rotor(_) | PlanError::NoSuchHole { .. } | PlanError::Hole { .. } => "sites",
    }
}

/// The sites of the tables, each with its windows, drills and holes.
fn sites(given: &Given) -> Result<Vec<Site>, Refused> {
    let mut sites = given
        .table("sites")
        .iter()
        .map(|row| match row.as_slice() {
            [z_mm, radius_mm, density_g_cm3, web_mm, holes_max] => Ok(Site {
                z_mm: *z_mm,
                radius_mm: *radius_mm,
                density_g_cm3: *density_g_cm3,
                windows: vec![],
                drills: vec![],
                holes_max: whole("sites", "max_holes", *holes_max)?,
                web_mm: *web_mm,
                existing: vec![],
            }),
            other => Err(wrong_row("sites", other)),
        })
        .collect::<Result<Vec<_>, _>>()?;
    for row in given.table("windows") {
        let [site, from_deg, to_deg] = row[..] else { return Err(wrong_row("windows", row)) };
        let window = Window { from_deg, to_deg };
        site_at(&mut sites, "windows", site)?.windows.push(window);
    }
    for row in given.table("drills") {
        let [site, diameter_mm, point_deg, depth_mm_min, depth_mm_max] = row[..] else {
            return Err(wrong_row("drills", row));
        };
        let drill = Drill { diameter_mm, point_deg, depth_mm_min, depth_mm_max };
        site_at(&mut sites, "drills", site)?.drills.push(drill);
    }
    for row in given.table("existing") {
        let [site, angle_deg, diameter_mm, point_deg, depth_mm] = row[..] else {
            return Err(wrong_row("existing", row));
        };
        let hole = ExistingHole { angle_deg, diameter_mm, point_deg, depth_mm };
        site_at(&mut sites, "existing", site)?.existing.push(hole);
    }
    Ok(sites)
}

fn wrong_row(table: &'static str, row: &[f64]) -> Refused {
    Refused::because(
        table,
        format!("a row has {} numbers, which are too few or too many", row.len()),
    )
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole and in range")]
fn whole(table: &'static str, name: &str, value: f64) -> Result<usize, Refused> {
    if value.fract() == 0.0 && (0.0..=1e6).contains(&value) {
        Ok(value as usize)
    } else {
        Err(Refused::because(table, format!("{name} is {value}; a whole number is needed")))
    }
}

fn site_at<'a>(
    sites: &'a mut [Site],
    table: &'static str,
    number: f64,
) -> Result<&'a mut Site, Refused> {
    let n = sites.len();
    let idx = whole(table, "site", number)?.checked_sub(1);
    idx.and_then(|idx| sites.get_mut(idx)).ok_or_else(|| {
        Refused::because(table, format!("there is no site {number}; sites are numbered 1 to {n}"))
    })
}
