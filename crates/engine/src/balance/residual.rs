//! What is left after drilling: what to expect, with how much doubt, and how the re-measured rotor
//! stands to its limit.

use bedplate_gauge::calculation::{
    Answer, Calculation, Column, Given, Input, Output, Refused, Stage,
};
use bedplate_gauge::judge::Judgement;

use super::holes::{Drilling, Face, Profile};
use super::plan::{Hole, PlanError, left_after, profile_of};
use super::planes::{Plane, Planes, lever};
use super::rotor::{Rotor, RotorError};
use super::vector::{Phasor, Unbalance};

/// Coverage factor of every ± given here (about 95 %).
pub const COVERAGE_FACTOR: f64 = 2.0;

/// Unbalance found at a plane, held against its limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Residual {
    /// Unbalance found, g·mm.
    pub found_gmm: f64,
    /// Most the machine may show, g·mm, its guard already taken off; over zero.
    pub limit_gmm: f64,
}

impl Residual {
    /// Share of the limit: 1 or less is inside. The limit itself is inside.
    #[must_use]
    pub fn share(self) -> f64 {
        self.found_gmm.abs() / self.limit_gmm
    }

    /// Whether the plane is inside its limit. What is no number is not.
    #[must_use]
    pub fn is_inside(self) -> bool {
        self.share() <= 1.0
    }
}

/// How the work scatters, each as a standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    /// Of a drilled depth, mm.
    pub depth_mm: f64,
    /// Of a drilled angle, degrees.
    pub angle_deg: f64,
    /// Of the machine's reading at a plane, in any direction, g·mm.
    pub measuring_gmm: f64,
}

/// The residual to expect at a plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// Unbalance that stays if all goes as planned.
    pub left: Unbalance,
    /// Expanded uncertainty of it in its worst direction, g·mm, at [`COVERAGE_FACTOR`].
    pub plus_minus_gmm: f64,
}

impl Expected {
    /// Accept when the limit holds with the whole uncertainty added, reject when it is broken with
    /// the whole uncertainty taken off, else cannot tell.
    #[must_use]
    pub fn against(self, limit_gmm: f64) -> Judgement {
        let amount_gmm = self.left.amount_gmm.abs();
        if amount_gmm + self.plus_minus_gmm <= limit_gmm {
            Judgement::Accept
        } else if amount_gmm - self.plus_minus_gmm > limit_gmm {
            Judgement::Reject
        } else {
            Judgement::CannotTell
        }
    }
}

/// Why no residual can be expected.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ResidualError {
    /// Rotor, unbalance or holes make no sense.
    #[error(transparent)]
    Plan(#[from] PlanError),
    /// A scatter that is none.
    #[error("the scatter of {what} is {value}; it must be zero or more")]
    Scatter {
        /// Of what.
        what: &'static str,
        /// Its value.
        value: f64,
    },
}

impl Scatter {
    fn check(self) -> Result<(), ResidualError> {
        let named = [
            ("depth", self.depth_mm),
            ("angle", self.angle_deg),
            ("measuring", self.measuring_gmm),
        ];
        match named.into_iter().find(|(_, value)| !(value.is_finite() && *value >= 0.0)) {
            Some((what, value)) => Err(ResidualError::Scatter { what, value }),
            None => Ok(()),
        }
    }
}

/// Variances of a vector: along pin 1, across it, and between both.
#[derive(Debug, Clone, Copy)]
struct Spread {
    along: f64,
    across: f64,
    both: f64,
}

impl Spread {
    fn add(&mut self, deviation: Phasor) {
        self.along += deviation.re * deviation.re;
        self.across += deviation.im * deviation.im;
        self.both += deviation.re * deviation.im;
    }

    /// Adds what scatter of depth and angle does to a hole's pull `lever × unbalance`.
    fn add_hole(&mut self, direction: Phasor, pull: f64, pull_per_mm: f64, scatter: Scatter) {
        self.add(direction * (pull_per_mm * scatter.depth_mm));
        let square_to = Phasor { re: -direction.im, im: direction.re };
        self.add(square_to * (pull * scatter.angle_deg.to_radians()));
    }

    /// Standard deviation in the direction where it is greatest: root of the greater eigenvalue.
    fn greatest(self) -> f64 {
        let half = 0.5 * (self.along - self.across);
        let mean = 0.5 * (self.along + self.across);
        libm::sqrt(mean + libm::hypot(half, self.both))
    }

    const fn of_measuring(scatter: Scatter) -> Self {
        let square = scatter.measuring_gmm * scatter.measuring_gmm;
        Self { along: square, across: square, both: 0.0 }
    }
}

/// The residual to expect at both planes after drilling, with its uncertainty.
///
/// # Formula
/// First order: the covariance of `U_p − Σ l_p U_hole e^{iφ}` is the measuring variance in every
/// direction, plus for each hole `(l_p dU/dt σ_t)²` along it and `(l_p U σ_φ)²` square to it; the ±
/// is twice the root of the greater eigenvalue.
/// # Given
/// The rotor, the unbalance found, the holes, and the [`Scatter`] of the work.
/// # Returns
/// [`Expected`] at each plane.
/// # Errors
/// [`ResidualError`].
/// # Validity
/// Independent scatter, small against depth and radius; measured once, before drilling. The ± is
/// that of the vector; near zero the amount itself can only be larger than expected, by up to the
/// ±.
/// # Source
/// JCGM 100:2008, law of propagation of uncertainty; its use on two components derived here.
/// # Example
/// One hole square to nothing: 400 g·mm found with 5 g·mm of scatter, no hole drilled, is 400 ± 10.
/// ```
/// use bedplate_engine::balance::planes::Planes;
/// use bedplate_engine::balance::residual::{Scatter, expected_residual};
/// use bedplate_engine::balance::rotor::{Machine, Rotor};
/// use bedplate_engine::balance::vector::Unbalance;
/// let rotor = Rotor {
///     plane_z_mm: Planes { a: 0.0, b: 400.0 },
///     limit_gmm: Planes { a: 114.0, b: 114.0 },
///     sites: vec![],
///     machine: Machine { depth_step_mm: 0.1, angle_step_deg: 1.0 },
///     holes_max: 4,
/// };
/// let found = Planes {
///     a: Unbalance { amount_gmm: 400.0, angle_deg: 68.0 },
///     b: Unbalance { amount_gmm: 30.0, angle_deg: 221.0 },
/// };
/// let scatter = Scatter { depth_mm: 0.05, angle_deg: 0.3, measuring_gmm: 5.0 };
/// let expected = expected_residual(&rotor, &found, &[], scatter)?;
/// assert!((expected.a.left.amount_gmm - 400.0).abs() < 1e-9);
/// assert_eq!(expected.a.plus_minus_gmm, 10.0);
/// # Ok::<(), bedplate_engine::balance::residual::ResidualError>(())
/// ```
pub fn expected_residual(
    rotor: &Rotor,
    unbalance: &Planes<Unbalance>,
    holes: &[Hole],
    scatter: Scatter,
) -> Result<Planes<Expected>, ResidualError> {
    scatter.check()?;
    let left = left_after(rotor, unbalance, holes)?;
    let mut spread = Planes { a: Spread::of_measuring(scatter), b: Spread::of_measuring(scatter) };
    for (hole_idx, hole) in holes.iter().enumerate() {
        let profile = profile_of(rotor, hole_idx, hole)?;
        let share = lever(rotor.plane_z_mm, rotor.sites[hole.site_idx].z_mm)
            .map_err(|error| PlanError::Rotor(RotorError::Planes(error)))?;
        let direction = Phasor::polar(1.0, hole.angle_deg);
        let (pull, per_mm) = (profile.unbalance_gmm(hole.depth_mm), profile.slope_g(hole.depth_mm));
        spread.a.add_hole(direction, share.a * pull, share.a * per_mm, scatter);
        spread.b.add_hole(direction, share.b * pull, share.b * per_mm, scatter);
    }
    let at = |plane: Plane| Expected {
        left: left.at(plane),
        plus_minus_gmm: COVERAGE_FACTOR * spread.at(plane).greatest(),
    };
    Ok(Planes { a: at(Plane::A), b: at(Plane::B) })
}

const HOLES: &[Column] = &[
    Column { name: "angle", unit: "°", meaning: "angle of its axis from pin 1" },
    Column { name: "diameter", unit: "mm", meaning: "drill" },
    Column { name: "depth", unit: "mm", meaning: "full-diameter depth from the touched surface" },
    Column { name: "lever", unit: "", meaning: "share of its pull that this plane feels" },
];

/// Handbook entry of [`expected_residual`] for one plane.
pub const UNBALANCE_LEFT: Calculation = Calculation {
    name: "unbalance-left",
    title: "Unbalance left after drilling",
    stage: Stage::Balance,
    question: "What will be left at this plane, and is that surely inside?",
    inputs: &[
        Input::quantity("unbalance", "g·mm", "unbalance found before drilling").at_least(0.0),
        Input::quantity("angle", "°", "its angle from pin 1"),
        Input::table("holes", HOLES, "the holes drilled").or(""),
        Input::quantity("radius", "mm", "radius of the round surface").over(0.0),
        Input::quantity("density", "g/cm³", "density of the metal").over(0.0).or("7.85 g/cm³"),
        Input::quantity("point", "°", "angle of the drills' points")
            .at_least(90.0)
            .at_most(180.0)
            .or("118°"),
        Input::quantity("limit", "g·mm", "most allowed at this plane").over(0.0),
        Input::quantity("depth_scatter", "mm", "standard deviation of a drilled depth")
            .at_least(0.0)
            .or("0.05 mm"),
        Input::quantity("angle_scatter", "°", "standard deviation of a drilled angle")
            .at_least(0.0)
            .or("0.3°"),
        Input::quantity("measuring_scatter", "g·mm", "standard deviation of the machine's reading")
            .at_least(0.0)
            .or("5 g·mm"),
    ],
    outputs: &[
        Output::figure("left", "g·mm", "unbalance that stays if all goes as planned"),
        Output::figure("left_angle", "°", "its angle from pin 1"),
        Output::figure("plus_minus", "g·mm", "expanded uncertainty of it, k = 2"),
        Output::figure("share", "", "share of the limit; 1 or less is inside"),
        Output::figure(
            "judgement",
            "",
            "accept, reject or cannot tell, the uncertainty counted in",
        ),
    ],
    formula: "r = U − Σ l U_hole e^{iφ};  covariance: measuring variance, (l dU/dt σ_t)² along and \
              (l U σ_φ)² square to each hole;  ± = 2 √(greater eigenvalue)",
    source: "JCGM 100:2008, propagation of uncertainty; hole as in drilled-hole on a round",
    validity: "Independent small scatter. Near zero the amount can only be larger than expected.",
    // 12 mm, 118°, 8.0 mm deep in a round of 58 mm of steel: 0.887814 g/mm × (464 − 32 + 1.201721 ×
    // (50 − 0.901291) − 4.5) mm² takes 431.9242 g·mm by hand; two scatters of 5 g·mm are 10.
    example: &[
        ("unbalance", "412 g·mm"),
        ("angle", "68°"),
        ("holes", "angle [°], diameter [mm], depth [mm], lever; 68, 12, 8, 1"),
        ("radius", "58 mm"),
        ("limit", "114 g·mm"),
        ("depth_scatter", "0 mm"),
        ("angle_scatter", "0°"),
        ("measuring_scatter", "5 g·mm"),
    ],
    expected: &[
        ("left", "19.9242"),
        ("left_angle", "248.00"),
        ("plus_minus", "10.000"),
        ("share", "0.17477"),
        ("judgement", "accept"),
    ],
    run: run_left,
};

fn run_left(given: &Given) -> Result<Answer, Refused> {
    let scatter = Scatter {
        depth_mm: given.number("depth_scatter"),
        angle_deg: given.number("angle_scatter"),
        measuring_gmm: given.number("measuring_scatter"),
    };
    let mut left = Phasor::polar(given.number("unbalance"), given.number("angle"));
    let mut spread = Spread::of_measuring(scatter);
    for row in given.table("holes") {
        let [angle_deg, diameter_mm, depth_mm, lever] = row[..] else {
            return Err(Refused::because("holes", "a hole needs angle, diameter, depth and lever"));
        };
        let drilling = Drilling {
            diameter_mm,
            point_deg: given.number("point"),
            density_g_cm3: given.number("density"),
            radius_mm: given.number("radius"),
            face: Face::Round,
        };
        super::holes::drilled_hole(&drilling, depth_mm)
            .map_err(|error| Refused::because("holes", error.to_string()))?;
        let profile =
            Profile::of(&drilling).map_err(|error| Refused::because("holes", error.to_string()))?;
        let direction = Phasor::polar(1.0, angle_deg);
        let pull = lever * profile.unbalance_gmm(depth_mm);
        left = left - direction * pull;
        spread.add_hole(direction, pull, lever * profile.slope_g(depth_mm), scatter);
    }
    let limit_gmm = given.number("limit");
    let expected = Expected {
        left: Unbalance::from_phasor(left),
        plus_minus_gmm: COVERAGE_FACTOR * spread.greatest(),
    };
    let residual = Residual { found_gmm: expected.left.amount_gmm, limit_gmm };
    Ok(Answer::new()
        .figure("left", expected.left.amount_gmm)
        .figure("left_angle", expected.left.angle_deg)
        .figure("plus_minus", expected.plus_minus_gmm)
        .figure("share", residual.share())
        .word("judgement", expected.against(limit_gmm).word()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_limit_itself_is_inside_and_nothing_known_is_not() {
        let at = |found_gmm| Residual { found_gmm, limit_gmm: 114.0 };
        assert!(at(114.0).is_inside() && at(0.0).is_inside());
        assert!(!at(114.000_1).is_inside() && !at(f64::NAN).is_inside());
    }

    #[test]
    fn the_judgement_counts_the_uncertainty_in() {
        let expected = |amount_gmm| Expected {
            left: Unbalance { amount_gmm, angle_deg: 0.0 },
            plus_minus_gmm: 12.0,
        };
        assert_eq!(expected(102.0).against(114.0), Judgement::Accept);
        assert_eq!(expected(103.0).against(114.0), Judgement::CannotTell);
        assert_eq!(expected(126.0).against(114.0), Judgement::CannotTell);
        assert_eq!(expected(127.0).against(114.0), Judgement::Reject);
        assert_eq!(expected(f64::NAN).against(114.0), Judgement::CannotTell);
    }

    #[test]
    fn the_worst_direction_of_a_spread_is_found() {
        // Deviations of 3 at 30° and of 4 at 120°, square to each other: the worst is 4.
        let mut spread = Spread { along: 0.0, across: 0.0, both: 0.0 };
        spread.add(Phasor::polar(3.0, 30.0));
        spread.add(Phasor::polar(4.0, 120.0));
        assert!((spread.greatest() - 4.0).abs() < 1e-12);
    }

    #[test]
    fn a_negative_scatter_is_refused() {
        let scatter = Scatter { depth_mm: -0.1, angle_deg: 0.0, measuring_gmm: 0.0 };
        assert!(matches!(scatter.check(), Err(ResidualError::Scatter { what: "depth", .. })));
    }
}
