//! Two planes along a rotor, and how an unbalance at one place is felt at another.

use bedplate_gauge::calculation::{Answer, Calculation, Input, Output, Refused, Stage};

use super::vector::{Phasor, Unbalance};

/// One of the two planes of a rotor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Plane {
    /// Plane A, the one nearer the front.
    A,
    /// Plane B, the one nearer the rear.
    B,
}

impl Plane {
    /// The plane's letter.
    #[must_use]
    pub const fn letter(self) -> &'static str {
        match self {
            Self::A => "A",
            Self::B => "B",
        }
    }
}

/// Something for each of the two planes of a rotor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Planes<T> {
    /// For plane A, the one nearer the front.
    pub a: T,
    /// For plane B, the one nearer the rear.
    pub b: T,
}

impl<T: Copy> Planes<T> {
    /// What stands for `plane`.
    pub const fn at(&self, plane: Plane) -> T {
        match plane {
            Plane::A => self.a,
            Plane::B => self.b,
        }
    }

    /// The same done for each plane.
    pub fn map<U>(&self, mut deed: impl FnMut(T) -> U) -> Planes<U> {
        Planes { a: deed(self.a), b: deed(self.b) }
    }
}

/// Why unbalances cannot be carried from plane to plane.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum PlanesError {
    /// Both planes stand at the same place along the axis.
    #[error("both planes are at z = {z_mm} mm; they must be apart")]
    Together {
        /// Where they stand.
        z_mm: f64,
    },
    /// Something is not a finite number.
    #[error("{what} is {value}; a finite number is needed")]
    NotFinite {
        /// What.
        what: &'static str,
        /// Its value.
        value: f64,
    },
}

/// How much of an unbalance at `z_mm` is felt in each of two planes.
///
/// # Formula
/// Lever law: `a = (z_B − z) / (z_B − z_A)`, `b = (z − z_A) / (z_B − z_A)`.
/// # Given
/// Places along the axis in mm; the two planes apart.
/// # Returns
/// Shares, without unit; they add to 1. Negative, or over 1, where `z_mm` lies outside the planes.
/// # Errors
/// [`PlanesError::Together`], [`PlanesError::NotFinite`].
/// # Validity
/// Rigid rotor.
/// # Source
/// Statics: equilibrium of forces and of moments.
/// # Example
/// ```
/// use bedplate_engine::balance::planes::{Planes, lever};
/// let share = lever(Planes { a: 0.0, b: 200.0 }, 50.0)?;
/// assert_eq!((share.a, share.b), (0.75, 0.25));
/// # Ok::<(), bedplate_engine::balance::planes::PlanesError>(())
/// ```
pub fn lever(plane_z_mm: Planes<f64>, z_mm: f64) -> Result<Planes<f64>, PlanesError> {
    let named = [("plane A", plane_z_mm.a), ("plane B", plane_z_mm.b), ("the place", z_mm)];
    if let Some((what, value)) = named.into_iter().find(|(_, value)| !value.is_finite()) {
        return Err(PlanesError::NotFinite { what, value });
    }
    let apart = plane_z_mm.b - plane_z_mm.a;
    if apart == 0.0 {
        return Err(PlanesError::Together { z_mm });
    }
    Ok(Planes { a: (plane_z_mm.b - z_mm) / apart, b: (z_mm - plane_z_mm.a) / apart })
}

/// The same unbalance, given in one pair of planes, in another pair.
///
/// # Formula
/// `U_to,A + U_to,B = U_A + U_B` and the same moment about any point of the axis; by [`lever`].
/// # Given
/// Unbalances in g·mm and degrees at the planes `from_z_mm`; places in mm.
/// # Returns
/// Unbalances at the planes `to_z_mm`.
/// # Errors
/// [`PlanesError`] when the wanted planes stand together or something is not finite.
/// # Validity
/// Rigid rotor. Planes near each other give large unbalances that nearly cancel, and enlarge the
/// readings' errors by the same factor.
/// # Source
/// Statics.
/// # Example
/// Bearing planes at 0 and 410 mm, correction planes at 60 and 360 mm (computed with NumPy's
/// `linalg.solve`): 120 g·mm at 20° and 80 g·mm at 200° become 157.333 and 117.333 g·mm.
/// ```
/// use bedplate_engine::balance::planes::{Planes, separate_planes};
/// use bedplate_engine::balance::vector::Unbalance;
/// let found = Planes {
///     a: Unbalance { amount_gmm: 120.0, angle_deg: 20.0 },
///     b: Unbalance { amount_gmm: 80.0, angle_deg: 200.0 },
/// };
/// let at = separate_planes(&found, Planes { a: 0.0, b: 410.0 }, Planes { a: 60.0, b: 360.0 })?;
/// assert_eq!(format!("{:.3} {:.3}", at.a.amount_gmm, at.b.amount_gmm), "157.333 117.333");
/// # Ok::<(), bedplate_engine::balance::planes::PlanesError>(())
/// ```
pub fn separate_planes(
    found: &Planes<Unbalance>,
    from_z_mm: Planes<f64>,
    to_z_mm: Planes<f64>,
) -> Result<Planes<Unbalance>, PlanesError> {
    for (what, unbalance) in [("unbalance A", found.a), ("unbalance B", found.b)] {
        if !unbalance.is_finite() {
            return Err(PlanesError::NotFinite { what, value: unbalance.amount_gmm });
        }
    }
    let (of_a, of_b) = (lever(to_z_mm, from_z_mm.a)?, lever(to_z_mm, from_z_mm.b)?);
    let (a, b) = (found.a.phasor(), found.b.phasor());
    let felt = |share_a: f64, share_b: f64| -> Phasor { a * share_a + b * share_b };
    Ok(Planes { a: felt(of_a.a, of_b.a), b: felt(of_a.b, of_b.b) }.map(Unbalance::from_phasor))
}

/// Handbook entry of [`separate_planes`].
pub const PLANE_SEPARATION: Calculation = Calculation {
    name: "plane-separation",
    title: "Plane separation by statics",
    stage: Stage::Balance,
    question: "What unbalance in the two correction planes explains what the bearings feel?",
    inputs: &[
        Input::quantity("bearing_1", "g·mm", "unbalance found in the plane of bearing 1")
            .at_least(0.0),
        Input::quantity("bearing_1_angle", "°", "its angle from pin 1"),
        Input::quantity("bearing_2", "g·mm", "unbalance found in the plane of bearing 2")
            .at_least(0.0),
        Input::quantity("bearing_2_angle", "°", "its angle from pin 1"),
        Input::quantity("a", "mm", "bearing 1 to correction plane 1; negative where overhung"),
        Input::quantity("b", "mm", "correction plane 1 to correction plane 2").over(0.0),
        Input::quantity("c", "mm", "correction plane 2 to bearing 2; negative where overhung"),
    ],
    outputs: &[
        Output::figure("plane_1", "g·mm", "unbalance in correction plane 1"),
        Output::figure("plane_1_angle", "°", "its angle from pin 1"),
        Output::figure("plane_2", "g·mm", "unbalance in correction plane 2"),
        Output::figure("plane_2_angle", "°", "its angle from pin 1"),
    ],
    formula: "U1 + U2 = B1 + B2;  U1 a + U2 (a + b) = B2 (a + b + c), as vectors",
    source: "statics: equilibrium of forces and moments",
    validity: "Rigid rotor. Planes near each other enlarge the readings' errors.",
    example: &[
        ("bearing_1", "120 g·mm"),
        ("bearing_1_angle", "20°"),
        ("bearing_2", "80 g·mm"),
        ("bearing_2_angle", "200°"),
        ("a", "60 mm"),
        ("b", "300 mm"),
        ("c", "50 mm"),
    ],
    expected: &[
        ("plane_1", "157.333333"),
        ("plane_1_angle", "20.000000"),
        ("plane_2", "117.333333"),
        ("plane_2_angle", "200.000000"),
    ],
    run: |given| {
        let at = |amount, angle| Unbalance {
            amount_gmm: given.number(amount),
            angle_deg: given.number(angle),
        };
        let found =
            Planes { a: at("bearing_1", "bearing_1_angle"), b: at("bearing_2", "bearing_2_angle") };
        let (a, b, c) = (given.number("a"), given.number("b"), given.number("c"));
        let from = Planes { a: 0.0, b: a + b + c };
        let planes = separate_planes(&found, from, Planes { a, b: a + b })
            .map_err(|error| Refused::because("b", error.to_string()))?;
        Ok(Answer::new()
            .figure("plane_1", planes.a.amount_gmm)
            .figure("plane_1_angle", planes.a.angle_deg)
            .figure("plane_2", planes.b.amount_gmm)
            .figure("plane_2_angle", planes.b.angle_deg))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn planes_that_stand_together_are_refused() {
        let together = Planes { a: 5.0, b: 5.0 };
        assert_eq!(lever(together, 5.0), Err(PlanesError::Together { z_mm: 5.0 }));
        assert!(matches!(
            lever(Planes { a: f64::NAN, b: 0.0 }, 1.0),
            Err(PlanesError::NotFinite { what: "plane A", .. })
        ));
    }

    #[test]
    fn the_same_planes_give_the_same_unbalance() {
        let found =
            Planes { a: Unbalance { amount_gmm: 12.0, angle_deg: 340.0 }, b: Unbalance::NONE };
        let z = Planes { a: -3.0, b: 77.0 };
        let same = separate_planes(&found, z, z).unwrap();
        assert!((same.a.amount_gmm - 12.0).abs() < 1e-12 && same.b.amount_gmm < 1e-12);
    }

    proptest! {
        #[test]
        fn there_and_back_is_the_same(
            amount in prop::array::uniform2(0.1..1e4f64),
            angle in prop::array::uniform2(0.0..360.0f64),
            z in -300.0..300.0f64,
            apart in 20.0..500.0f64,
        ) {
            let found = Planes {
                a: Unbalance { amount_gmm: amount[0], angle_deg: angle[0] },
                b: Unbalance { amount_gmm: amount[1], angle_deg: angle[1] },
            };
            let (from, to) = (Planes { a: 0.0, b: 200.0 }, Planes { a: z, b: z + apart });
            let there = separate_planes(&found, from, to).unwrap();
            let back = separate_planes(&there, to, from).unwrap();
            for plane in [Plane::A, Plane::B] {
                let left = back.at(plane).phasor() - found.at(plane).phasor();
                prop_assert!(left.size() < 1e-7, "{}", left.size());
            }
            // The resultant is the same whatever the planes.
            let sum = |p: &Planes<Unbalance>| p.a.phasor() + p.b.phasor();
            prop_assert!((sum(&there) - sum(&found)).size() < 1e-7);
        }
    }
}
