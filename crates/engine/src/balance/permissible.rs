//! How much unbalance may stay in a rotor, at each of its two planes, and against which figure a
//! balancing machine with an error of its own should judge.

use bedplate_gauge::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};

use super::planes::{Plane, Planes};

/// What a balance grade is applied to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Duty {
    /// Balance quality grade G, mm/s: permissible eccentricity times angular speed; over zero.
    pub grade_mm_s: f64,
    /// Highest service speed, rev/min; over zero.
    pub speed_rpm: f64,
    /// Mass of the rotor, kg; over zero.
    pub mass_kg: f64,
}

/// Permissible residual unbalance of a whole rotor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Permissible {
    /// Angular speed in service, rad/s.
    pub angular_speed_rad_s: f64,
    /// Permissible unbalance per mass, g·mm/kg, the same number as µm of eccentricity.
    pub specific_um: f64,
    /// Permissible residual unbalance of the rotor, g·mm.
    pub total_gmm: f64,
}

/// Where the mass centre stands between the two planes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MassCentre {
    /// Distance from plane A towards plane B, mm; negative where the mass centre lies before A.
    pub from_a_mm: f64,
    /// Distance from plane B towards plane A, mm; negative where the mass centre lies beyond B.
    pub from_b_mm: f64,
}

/// Why a permissible unbalance cannot be given.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum PermissibleError {
    /// A figure that must be over zero is not, or is no finite number.
    #[error("{what} is {value}; it must be over zero")]
    NotPositive {
        /// Which figure.
        what: &'static str,
        /// Its value.
        value: f64,
    },
    /// A figure is no finite number, or negative where that has no meaning.
    #[error("{what} is {value}; it must be zero or more")]
    Negative {
        /// Which figure.
        what: &'static str,
        /// Its value.
        value: f64,
    },
    /// The machine's own error leaves nothing of the permissible unbalance.
    #[error(
        "the guard of {guard_gmm} g·mm leaves nothing of the {permissible_gmm} g·mm permissible \
         at plane {}; a machine with a smaller error is needed", .plane.letter()
    )]
    GuardTooWide {
        /// At which plane.
        plane: Plane,
        /// The guard.
        guard_gmm: f64,
        /// What is permissible there.
        permissible_gmm: f64,
    },
}

fn over_zero(what: &'static str, value: f64) -> Result<f64, PermissibleError> {
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(PermissibleError::NotPositive { what, value })
    }
}

/// Permissible residual unbalance of a rotor by its balance quality grade.
///
/// # Formula
/// `e_per = G / Ω`, `U_per = 1000 G m / Ω`: `G` grade in mm/s, `m` mass in kg, `Ω = 2π n / 60`
/// angular speed in rad/s at `n` rev/min; `e_per` in mm (given here in µm), `U_per` in g·mm.
/// # Given
/// A [`Duty`]; every figure over zero.
/// # Returns
/// [`Permissible`], for the whole rotor; [`plane_shares`] divides it.
/// # Errors
/// [`PermissibleError::NotPositive`].
/// # Validity
/// Rigid rotors up to the highest service speed. Which grade suits which rotor is the maker's to
/// say. Grades for crankshafts are for the crank drive, with the ring masses the maker prescribes.
/// # Source
/// ISO 21940-11:2016 (before: ISO 1940-1:2003), clause on permissible residual unbalance; formula
/// from memory.
/// # Example
/// Arithmetic from the formula: G 6.3, 3000 rev/min, 25 kg.
/// ```
/// use bedplate_engine::balance::permissible::{Duty, permissible_unbalance};
/// let duty = Duty { grade_mm_s: 6.3, speed_rpm: 3000.0, mass_kg: 25.0 };
/// let permissible = permissible_unbalance(duty)?;
/// assert_eq!(format!("{:.3} g·mm", permissible.total_gmm), "501.338 g·mm");
/// # Ok::<(), bedplate_engine::balance::permissible::PermissibleError>(())
/// ```
pub fn permissible_unbalance(duty: Duty) -> Result<Permissible, PermissibleError> {
    let grade_mm_s = over_zero("balance grade", duty.grade_mm_s)?;
    let speed_rpm = over_zero("speed", duty.speed_rpm)?;
    let mass_kg = over_zero("mass", duty.mass_kg)?;
    let angular_speed_rad_s = speed_rpm * std::f64::consts::PI / 30.0;
    let specific_um = 1e3 * grade_mm_s / angular_speed_rad_s;
    Ok(Permissible { angular_speed_rad_s, specific_um, total_gmm: specific_um * mass_kg })
}

/// Smallest share of the permissible unbalance given to a plane.
const SHARE_MIN: f64 = 0.3;
/// Largest share given to a plane with the mass centre between the planes.
const SHARE_MAX_BETWEEN: f64 = 0.7;
/// Largest share given to a plane with the mass centre outside the planes.
const SHARE_MAX_OUTSIDE: f64 = 1.3;

/// The permissible unbalance divided between the two planes by where the mass centre stands.
///
/// # Formula
/// `U_A = U_per L_B / L`, `U_B = U_per L_A / L`, `L = L_A + L_B`: `L_A`, `L_B` distances of the
/// mass centre from the planes (their amounts, where it lies outside). Each share is then kept from
/// 0.3 to 0.7 of `U_per` with the mass centre between the planes, from 0.3 to 1.3 with it outside.
/// # Given
/// `total_gmm` over zero; a [`MassCentre`] whose planes are apart, A before B.
/// # Returns
/// Permissible unbalance at each plane, g·mm.
/// # Errors
/// [`PermissibleError::NotPositive`] for the total or for the distance of the planes.
/// # Validity
/// The planes are those in which the tolerance is judged, usually the bearing planes.
/// # Source
/// ISO 21940-11:2016, clauses on allocation to two tolerance planes and its limitations for rotors
/// with the mass centre between and outside the bearings; from memory.
/// # Example
/// Arithmetic: 500 g·mm, mass centre 150 mm from A and 250 mm from B.
/// ```
/// use bedplate_engine::balance::permissible::{MassCentre, plane_shares};
/// let share = plane_shares(500.0, MassCentre { from_a_mm: 150.0, from_b_mm: 250.0 })?;
/// assert_eq!((share.a, share.b), (312.5, 187.5));
/// # Ok::<(), bedplate_engine::balance::permissible::PermissibleError>(())
/// ```
pub fn plane_shares(total_gmm: f64, centre: MassCentre) -> Result<Planes<f64>, PermissibleError> {
    let total_gmm = over_zero("permissible unbalance", total_gmm)?;
    let apart_mm = over_zero("distance of the planes", centre.from_a_mm + centre.from_b_mm)?;
    let between = centre.from_a_mm >= 0.0 && centre.from_b_mm >= 0.0;
    let most = if between { SHARE_MAX_BETWEEN } else { SHARE_MAX_OUTSIDE };
    let share = |from_other_mm: f64| {
        (total_gmm * from_other_mm.abs() / apart_mm).clamp(SHARE_MIN * total_gmm, most * total_gmm)
    };
    Ok(Planes { a: share(centre.from_b_mm), b: share(centre.from_a_mm) })
}

/// What a machine must show so that the true unbalance is surely within the permissible one.
///
/// # Formula
/// `limit = U − ΔU`, `ΔU` the machine's expanded uncertainty at that plane.
/// # Given
/// Permissible unbalance at each plane, g·mm, over zero; `guard_gmm`, zero or more.
/// # Returns
/// The limit for the reading at each plane, g·mm.
/// # Errors
/// [`PermissibleError::GuardTooWide`] when nothing is left; the other variants for senseless input.
/// # Validity
/// For accepting. A reading between limit and permissible proves nothing either way.
/// # Source
/// ISO 21940-14, assessment of balance errors, acceptance with the error taken off; from memory.
/// # Example
/// ```
/// use bedplate_engine::balance::permissible::guarded_limits;
/// use bedplate_engine::balance::planes::Planes;
/// let limit = guarded_limits(Planes { a: 114.0, b: 120.0 }, 12.0)?;
/// assert_eq!((limit.a, limit.b), (102.0, 108.0));
/// # Ok::<(), bedplate_engine::balance::permissible::PermissibleError>(())
/// ```
pub fn guarded_limits(
    permissible_gmm: Planes<f64>,
    guard_gmm: f64,
) -> Result<Planes<f64>, PermissibleError> {
    if !(guard_gmm.is_finite() && guard_gmm >= 0.0) {
        return Err(PermissibleError::Negative { what: "guard", value: guard_gmm });
    }
    let limit = |plane: Plane| {
        let permissible_gmm = over_zero("permissible unbalance", permissible_gmm.at(plane))?;
        if guard_gmm < permissible_gmm {
            Ok(permissible_gmm - guard_gmm)
        } else {
            Err(PermissibleError::GuardTooWide { plane, guard_gmm, permissible_gmm })
        }
    };
    Ok(Planes { a: limit(Plane::A)?, b: limit(Plane::B)? })
}

/// Handbook entry of [`permissible_unbalance`].
pub const PERMISSIBLE_UNBALANCE: Calculation = Calculation {
    name: "permissible-unbalance",
    title: "Permissible residual unbalance",
    stage: Stage::Balance,
    question: "How much unbalance may stay in this rotor?",
    inputs: &[
        Input::quantity("grade", "mm/s", "balance quality grade G").over(0.0),
        Input::quantity("speed", "rev/min", "highest service speed").over(0.0),
        Input::quantity("mass", "kg", "mass of the rotor").over(0.0),
    ],
    outputs: &[
        Output::figure("angular_speed", "rad/s", "angular speed in service"),
        Output::figure("specific", "µm", "permissible eccentricity, the same number in g·mm/kg"),
        Output::figure("permissible", "g·mm", "permissible residual unbalance of the rotor"),
    ],
    formula: "Ω = 2π n / 60;  e_per = G / Ω;  U_per = 1000 G m / Ω",
    source: "ISO 21940-11:2016 (before: ISO 1940-1:2003); formula from memory",
    validity: "Rigid rotors up to the highest service speed; the maker says which grade.",
    example: &[("grade", "6.3 mm/s"), ("speed", "3000 rev/min"), ("mass", "25 kg")],
    expected: &[
        ("angular_speed", "314.15926536"),
        ("specific", "20.0535228296"),
        ("permissible", "501.338070739"),
    ],
    run: |given| {
        let duty = Duty {
            grade_mm_s: given.number("grade"),
            speed_rpm: given.number("speed"),
            mass_kg: given.number("mass"),
        };
        let permissible = permissible_unbalance(duty)
            .map_err(|error| Refused::because("grade", error.to_string()))?;
        Ok(Answer::new()
            .figure("angular_speed", permissible.angular_speed_rad_s)
            .figure("specific", permissible.specific_um)
            .figure("permissible", permissible.total_gmm))
    },
};

/// Handbook entry of [`plane_shares`] and [`guarded_limits`].
pub const PLANE_SHARES: Calculation = Calculation {
    name: "plane-shares",
    title: "Permissible unbalance at each plane",
    stage: Stage::Balance,
    question: "How much of the permissible unbalance falls to each plane?",
    inputs: &[
        Input::quantity("permissible", "g·mm", "permissible residual unbalance of the rotor")
            .over(0.0),
        Input::quantity("from_a", "mm", "mass centre from plane A, towards B"),
        Input::quantity("from_b", "mm", "mass centre from plane B, towards A"),
        Input::quantity("guard", "g·mm", "expanded uncertainty of the machine at a plane")
            .at_least(0.0)
            .or("0 g·mm"),
    ],
    outputs: &[
        Output::figure("plane_a", "g·mm", "permissible at plane A"),
        Output::figure("plane_b", "g·mm", "permissible at plane B"),
        Output::figure("limit_a", "g·mm", "most the machine may show at plane A: less the guard"),
        Output::figure("limit_b", "g·mm", "most the machine may show at plane B: less the guard"),
    ],
    formula: "U_A = U_per L_B / L;  U_B = U_per L_A / L;  each kept from 0.3 to 0.7 U_per \
              (to 1.3 with the mass centre outside the planes);  limit = U − guard",
    source: "ISO 21940-11:2016, allocation to tolerance planes; ISO 21940-14; from memory",
    validity: "Planes in which the tolerance is judged, usually the bearing planes.",
    example: &[("permissible", "500 g·mm"), ("from_a", "150 mm"), ("from_b", "250 mm")],
    expected: &[
        ("plane_a", "312.5"),
        ("plane_b", "187.5"),
        ("limit_a", "312.5"),
        ("limit_b", "187.5"),
    ],
    run: run_plane_shares,
};

fn run_plane_shares(given: &Given) -> Result<Answer, Refused> {
    let centre =
        MassCentre { from_a_mm: given.number("from_a"), from_b_mm: given.number("from_b") };
    let share = plane_shares(given.number("permissible"), centre)
        .map_err(|error| Refused::because("from_a", error.to_string()))?;
    let limit = guarded_limits(share, given.number("guard"))
        .map_err(|error| Refused::because("guard", error.to_string()))?;
    Ok(Answer::new()
        .figure("plane_a", share.a)
        .figure("plane_b", share.b)
        .figure("limit_a", limit.a)
        .figure("limit_b", limit.b))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_mass_centre_near_a_plane_is_held_to_seven_tenths() {
        // Limits of ISO 21940-11 for inboard rotors, from memory.
        let share = plane_shares(100.0, MassCentre { from_a_mm: 10.0, from_b_mm: 390.0 }).unwrap();
        assert_eq!((share.a, share.b), (70.0, 30.0));
        let exactly = plane_shares(100.0, MassCentre { from_a_mm: 3.0, from_b_mm: 7.0 }).unwrap();
        assert_eq!((exactly.a, exactly.b), (70.0, 30.0));
    }

    #[test]
    fn a_mass_centre_outside_is_held_to_thirteen_tenths() {
        // Limits of ISO 21940-11 for outboard rotors, from memory.
        let share = plane_shares(100.0, MassCentre { from_a_mm: -10.0, from_b_mm: 60.0 }).unwrap();
        assert_eq!((share.a, share.b), (120.0, 30.0));
        let far = plane_shares(100.0, MassCentre { from_a_mm: 100.0, from_b_mm: -50.0 }).unwrap();
        assert_eq!((far.a, far.b), (100.0, 130.0));
    }

    #[test]
    fn a_guard_as_wide_as_the_permissible_is_refused() {
        let refused = guarded_limits(Planes { a: 20.0, b: 12.0 }, 12.0).unwrap_err();
        assert!(matches!(refused, PermissibleError::GuardTooWide { plane: Plane::B, .. }));
        assert!(refused.to_string().contains("at plane B; a machine with a smaller error"));
    }

    #[test]
    fn senseless_figures_are_refused_by_name() {
        for value in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            let duty = Duty { grade_mm_s: 6.3, speed_rpm: value, mass_kg: 10.0 };
            assert!(permissible_unbalance(duty).unwrap_err().to_string().starts_with("speed is"));
            assert!(guarded_limits(Planes { a: 1.0, b: value }, 0.0).is_err());
        }
        let folded = MassCentre { from_a_mm: 5.0, from_b_mm: -5.0 };
        assert!(plane_shares(1.0, folded).is_err());
        assert!(guarded_limits(Planes { a: 1.0, b: 1.0 }, -1.0).is_err());
    }

    proptest! {
        #[test]
        fn shares_between_the_planes_add_to_the_whole(
            total in 1.0..1e5f64, from_a_mm in 0.0..500.0f64, from_b_mm in 1.0..500.0f64,
        ) {
            let share = plane_shares(total, MassCentre { from_a_mm, from_b_mm }).unwrap();
            prop_assert!((share.a + share.b - total).abs() < 1e-9 * total);
            prop_assert!(0.299_999 * total <= share.a && share.a <= 0.700_001 * total);
        }

        #[test]
        fn permissible_grows_with_mass_and_falls_with_speed(
            grade_mm_s in 0.4..4000.0f64, speed_rpm in 100.0..2e4f64, mass_kg in 0.1..1e4f64,
        ) {
            let at = |speed_rpm, mass_kg| {
                permissible_unbalance(Duty { grade_mm_s, speed_rpm, mass_kg }).unwrap().total_gmm
            };
            let one = at(speed_rpm, mass_kg);
            prop_assert!((at(speed_rpm, 2.0 * mass_kg) / one - 2.0).abs() < 1e-12);
            prop_assert!((at(2.0 * speed_rpm, mass_kg) / one - 0.5).abs() < 1e-12);
        }
    }
}
