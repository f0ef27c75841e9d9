//! One radial hole: the mass and the unbalance it takes away, and how deep it must be for either.
//!
//! Depth is the full-diameter depth, without the point, measured from the flat face or from the
//! plane that touches the round surface at the hole's axis.

use std::f64::consts::PI;

use bedplate_gauge::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};

/// The surface a hole is drilled into.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Face {
    /// A flat, square to the hole's axis.
    Flat,
    /// The round surface about the rotor's axis: the metal falls away from the hole's middle, so
    /// its mouth takes less than from a flat.
    Round,
}

impl Face {
    const WORDS: &'static [&'static str] = &["flat", "round"];

    fn named(word: &str) -> Self {
        if word == "round" { Self::Round } else { Self::Flat }
    }
}

/// A drill set to a place: everything about a hole but its depth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drilling {
    /// Diameter of the drill, mm; over zero.
    pub diameter_mm: f64,
    /// Angle of its point, degrees; over 0, at most 180 (flat-ended).
    pub point_deg: f64,
    /// Density of the metal, g/cm³; over zero.
    pub density_g_cm3: f64,
    /// Distance of the face from the rotor's axis, mm; not used for a mass from a flat.
    pub radius_mm: f64,
    /// Flat or round.
    pub face: Face,
}

/// What a hole takes away.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Removed {
    /// Volume of the full-diameter part under a flat, mm³.
    pub cylinder_mm3: f64,
    /// Height of the point, mm.
    pub cone_height_mm: f64,
    /// Volume of the point, mm³.
    pub cone_mm3: f64,
    /// Volume missing at the mouth because the face is round, mm³; 0 on a flat.
    pub mouth_mm3: f64,
    /// Mass removed, g.
    pub mass_g: f64,
    /// Unbalance removed at the hole's angle, g·mm.
    pub unbalance_gmm: f64,
}

/// Why a hole cannot be reckoned.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum HoleError {
    /// A figure that must be over zero is not, or is no finite number.
    #[error("{what} is {value}; it must be over zero")]
    NotPositive {
        /// Which figure.
        what: &'static str,
        /// Its value.
        value: f64,
    },
    /// The point's angle is none of a drill.
    #[error("the point angle is {point_deg}°; it must be over 0° and at most 180°")]
    Point {
        /// The angle given.
        point_deg: f64,
    },
    /// The drill is as wide as the round it should enter.
    #[error("a drill of {diameter_mm} mm does not enter a round of radius {radius_mm} mm")]
    WiderThanRound {
        /// The drill.
        diameter_mm: f64,
        /// The round.
        radius_mm: f64,
    },
    /// The depth is outside what the formulas hold for.
    #[error("a depth of {depth_mm} mm is outside {least_mm:.3} to {most_mm:.3} mm here")]
    Depth {
        /// The depth.
        depth_mm: f64,
        /// Least depth: the whole rim of the mouth cut.
        least_mm: f64,
        /// Greatest depth: the point at the rotor's axis.
        most_mm: f64,
    },
    /// No depth takes away what is wanted.
    #[error("one such hole takes away {least:.3} to {most:.3} {unit}, not {wanted}")]
    OutOfReach {
        /// What is wanted.
        wanted: f64,
        /// Least it takes.
        least: f64,
        /// Most it takes.
        most: f64,
        /// Unit of the three.
        unit: &'static str,
    },
}

/// The figures of a drilling from which mass, unbalance and depth follow in closed form.
#[derive(Debug, Clone, Copy)]
pub(super) struct Profile {
    /// Mass per mm of full-diameter depth, g.
    mass_per_mm: f64,
    radius_mm: f64,
    point_mm: f64,
    /// Depth that the round mouth lacks, by mass.
    mouth_mm: f64,
    /// Moment that the round mouth lacks, per `mass_per_mm`, mm². Exact, unlike `mouth_mm`.
    mouth_moment_mm2: f64,
    /// Depth at which the whole rim of the mouth is cut.
    pub(super) least_mm: f64,
    /// Depth at which the point reaches the axis.
    pub(super) most_mm: f64,
}

impl Profile {
    pub(super) fn of(drilling: &Drilling) -> Result<Self, HoleError> {
        let flat_of_mass = Self::by_mass(drilling)?;
        let Drilling { diameter_mm, radius_mm, .. } = *drilling;
        over_zero("radius", radius_mm)?;
        if diameter_mm >= 2.0 * radius_mm {
            return Err(HoleError::WiderThanRound { diameter_mm, radius_mm });
        }
        Ok(flat_of_mass)
    }

    /// As [`Profile::of`], but the radius may be anything on a flat, where mass does not need it.
    fn by_mass(drilling: &Drilling) -> Result<Self, HoleError> {
        let Drilling { diameter_mm, point_deg, density_g_cm3, radius_mm, face } = *drilling;
        over_zero("diameter", diameter_mm)?;
        over_zero("density", density_g_cm3)?;
        if !(0.0 < point_deg && point_deg <= 180.0) {
            return Err(HoleError::Point { point_deg });
        }
        let half_mm = diameter_mm / 2.0;
        let point_mm = half_mm / libm::tan(point_deg * PI / 360.0);
        let square = diameter_mm * diameter_mm;
        let (mouth_mm, mouth_moment_mm2, least_mm) = match face {
            Face::Flat => (0.0, 0.0, 0.0),
            Face::Round => {
                let rim_mm = libm::sqrt(radius_mm * radius_mm - half_mm * half_mm);
                (square / (32.0 * radius_mm), square / 32.0, radius_mm - rim_mm)
            }
        };
        Ok(Self {
            mass_per_mm: density_g_cm3 * 1e-3 * PI * square / 4.0,
            radius_mm,
            point_mm,
            mouth_mm,
            mouth_moment_mm2,
            least_mm,
            most_mm: radius_mm - point_mm,
        })
    }

    pub(super) fn mass_g(&self, depth_mm: f64) -> f64 {
        self.mass_per_mm * (depth_mm + self.point_mm / 3.0 - self.mouth_mm)
    }

    pub(super) fn unbalance_gmm(&self, depth_mm: f64) -> f64 {
        let cylinder = depth_mm * (self.radius_mm - depth_mm / 2.0);
        let cone = self.point_mm / 3.0 * (self.radius_mm - depth_mm - self.point_mm / 4.0);
        self.mass_per_mm * (cylinder + cone - self.mouth_moment_mm2)
    }

    /// Unbalance more per mm deeper, g.
    pub(super) fn slope_g(&self, depth_mm: f64) -> f64 {
        self.mass_per_mm * (self.radius_mm - depth_mm - self.point_mm / 3.0)
    }

    /// The depth that takes `unbalance_gmm`: the smaller root of the quadratic, NaN beyond the most
    /// that any depth takes.
    pub(super) fn depth_mm(&self, unbalance_gmm: f64) -> f64 {
        let middle = self.radius_mm - self.point_mm / 3.0;
        let start = self.point_mm / 3.0 * (self.radius_mm - self.point_mm / 4.0);
        let short = unbalance_gmm / self.mass_per_mm - start + self.mouth_moment_mm2;
        // short / (middle + root) · 2 is middle − root without the loss of digits at small depths.
        2.0 * short / (middle + libm::sqrt(middle * middle - 2.0 * short))
    }
}

fn over_zero(what: &'static str, value: f64) -> Result<(), HoleError> {
    if value.is_finite() && value > 0.0 {
        Ok(())
    } else {
        Err(HoleError::NotPositive { what, value })
    }
}

/// Mass and unbalance that a radial hole takes away.
///
/// # Formula
/// With `k = ρ π d² / 4`, `h = (d/2) / tan(point/2)`, `R` distance of the face from the axis, `t`
/// full-diameter depth: mass `k (t + h/3 − q)`, unbalance `k (R t − t²/2) + k (h/3)(R − t − h/4) −
/// k d²/32`, with `q = d²/(32 R)` and the last term on a round face only, both absent on a flat.
/// # Given
/// A [`Drilling`]; `depth_mm` such that the mouth's whole rim is cut and the point stays short of
/// the rotor's axis.
/// # Returns
/// [`Removed`]: volumes in mm³, mass in g, unbalance in g·mm at the hole's angle.
/// # Errors
/// [`HoleError`] names the figure that is out of range.
/// # Validity
/// Solid metal all around. The unbalance is exact; the mass from a round face leaves out terms of
/// the size `k d⁴/(1024 R³)`, below a milligram for a 12 mm drill at 70 mm.
/// # Source
/// Solid geometry; the mouth of a round face derived here: a cylinder's slice at distance `y` from
/// the hole's axis begins at `√(R² − y²)`, so its moment lacks `y²/2` per area, over the mouth
/// `ρ π d⁴/128 = k d²/32`.
/// # Example
/// Arithmetic from the formula: 10 mm drill, 118° point, 20 mm deep into a flat at 60 mm, steel.
/// ```
/// use bedplate_engine::balance::holes::{Drilling, Face, drilled_hole};
/// let drilling = Drilling {
///     diameter_mm: 10.0, point_deg: 118.0, density_g_cm3: 7.85, radius_mm: 60.0, face: Face::Flat,
/// };
/// let removed = drilled_hole(&drilling, 20.0)?;
/// assert_eq!(format!("{:.5} g, {:.4} g·mm", removed.mass_g, removed.unbalance_gmm),
///     "12.94817 g, 640.7707 g·mm");
/// # Ok::<(), bedplate_engine::balance::holes::HoleError>(())
/// ```
pub fn drilled_hole(drilling: &Drilling, depth_mm: f64) -> Result<Removed, HoleError> {
    let profile = Profile::of(drilling)?;
    let (least_mm, most_mm) = (profile.least_mm, profile.most_mm);
    if !(least_mm <= depth_mm && depth_mm <= most_mm) {
        return Err(HoleError::Depth { depth_mm, least_mm, most_mm });
    }
    let area_mm2 = PI * drilling.diameter_mm * drilling.diameter_mm / 4.0;
    Ok(Removed {
        cylinder_mm3: area_mm2 * depth_mm,
        cone_height_mm: profile.point_mm,
        cone_mm3: area_mm2 * profile.point_mm / 3.0,
        mouth_mm3: area_mm2 * profile.mouth_mm,
        mass_g: profile.mass_g(depth_mm),
        unbalance_gmm: profile.unbalance_gmm(depth_mm),
    })
}

/// Full-diameter depth of the hole that takes away a wanted unbalance.
///
/// # Formula
/// The formula of [`drilled_hole`] solved for `t`, the smaller root of its quadratic.
/// # Given
/// A [`Drilling`]; the unbalance wanted, g·mm.
/// # Returns
/// Depth, mm.
/// # Errors
/// [`HoleError::OutOfReach`] when no depth takes it; the other variants for senseless figures.
/// # Validity
/// As [`drilled_hole`].
/// # Source
/// Derived here from the formula of [`drilled_hole`].
/// # Example
/// ```
/// use bedplate_engine::balance::holes::{Drilling, Face, depth_for_unbalance};
/// let drilling = Drilling {
///     diameter_mm: 10.0, point_deg: 118.0, density_g_cm3: 7.85, radius_mm: 60.0, face: Face::Flat,
/// };
/// assert!((depth_for_unbalance(&drilling, 640.770703564)? - 20.0).abs() < 1e-8);
/// # Ok::<(), bedplate_engine::balance::holes::HoleError>(())
/// ```
pub fn depth_for_unbalance(drilling: &Drilling, unbalance_gmm: f64) -> Result<f64, HoleError> {
    let profile = Profile::of(drilling)?;
    if profile.most_mm < profile.least_mm {
        return Err(HoleError::Depth {
            depth_mm: profile.least_mm,
            least_mm: profile.least_mm,
            most_mm: profile.most_mm,
        });
    }
    let least = profile.unbalance_gmm(profile.least_mm);
    let most = profile.unbalance_gmm(profile.most_mm);
    if least <= unbalance_gmm && unbalance_gmm <= most {
        Ok(profile.depth_mm(unbalance_gmm).clamp(profile.least_mm, profile.most_mm))
    } else {
        Err(HoleError::OutOfReach { wanted: unbalance_gmm, least, most, unit: "g·mm" })
    }
}

/// Full-diameter depth of the hole that takes away a wanted mass.
///
/// # Formula
/// `t = m / k − h/3 + q`, symbols as in [`drilled_hole`].
/// # Given
/// A [`Drilling`], whose radius is not used on a flat; the mass wanted, g.
/// # Returns
/// Depth, mm.
/// # Errors
/// [`HoleError::OutOfReach`] when the point alone takes more; the other variants.
/// # Validity
/// As [`drilled_hole`]; from a flat no greatest depth is known.
/// # Source
/// Derived here from the formula of [`drilled_hole`].
/// # Example
/// Arithmetic: 7.768903838 g with a 10 mm drill, 118° point, from a flat in steel.
/// ```
/// use bedplate_engine::balance::holes::{Drilling, Face, depth_for_mass};
/// let drilling = Drilling {
///     diameter_mm: 10.0, point_deg: 118.0, density_g_cm3: 7.85, radius_mm: 0.0, face: Face::Flat,
/// };
/// assert_eq!(format!("{:.6}", depth_for_mass(&drilling, 7.768903838118)?), "11.599426");
/// # Ok::<(), bedplate_engine::balance::holes::HoleError>(())
/// ```
pub fn depth_for_mass(drilling: &Drilling, mass_g: f64) -> Result<f64, HoleError> {
    let profile = match drilling.face {
        Face::Flat => Profile::by_mass(drilling)?,
        Face::Round => Profile::of(drilling)?,
    };
    let most_mm = match drilling.face {
        Face::Flat => f64::MAX,
        Face::Round => profile.most_mm,
    };
    let depth_mm = mass_g / profile.mass_per_mm - profile.point_mm / 3.0 + profile.mouth_mm;
    if profile.least_mm <= depth_mm && depth_mm <= most_mm {
        return Ok(depth_mm);
    }
    let least = profile.mass_g(profile.least_mm);
    Err(HoleError::OutOfReach { wanted: mass_g, least, most: profile.mass_g(most_mm), unit: "g" })
}

const DIAMETER: Input = Input::quantity("diameter", "mm", "diameter of the drill").over(0.0);
const POINT: Input =
    Input::quantity("point", "°", "angle of the drill's point").over(0.0).at_most(180.0).or("118°");
const DENSITY: Input =
    Input::quantity("density", "g/cm³", "density of the metal").over(0.0).or("7.85 g/cm³");
const FACE: Input =
    Input::choice("face", Face::WORDS, "surface drilled into: a flat or the round itself")
        .or("flat");

/// Handbook entry of [`drilled_hole`].
pub const DRILLED_HOLE: Calculation = Calculation {
    name: "drilled-hole",
    title: "Drilled hole",
    stage: Stage::Balance,
    question: "How much mass and unbalance does this hole take away?",
    inputs: &[
        DIAMETER,
        Input::quantity("depth", "mm", "full-diameter depth, without the point").at_least(0.0),
        Input::quantity("radius", "mm", "distance of the face from the rotor's axis").over(0.0),
        DENSITY,
        POINT,
        FACE,
    ],
    outputs: &[
        Output::figure("cylinder", "mm³", "volume of the full-diameter part"),
        Output::figure("cone_height", "mm", "height of the point"),
        Output::figure("cone", "mm³", "volume of the point"),
        Output::figure("mouth", "mm³", "volume missing at the mouth of a round face"),
        Output::figure("mass", "g", "mass taken away"),
        Output::figure("unbalance", "g·mm", "unbalance taken away at the hole's angle"),
    ],
    formula: "k = ρ π d²/4;  h = (d/2) / tan(point/2);  m = k (t + h/3 − q);  \
              U = k (R t − t²/2) + k (h/3)(R − t − h/4) − k q R;  \
              q = d²/(32 R) on a round, 0 on a flat",
    source: "solid geometry; mouth of the round face derived in the project",
    validity: "Solid metal all around; the point short of the axis. Keep the maker's minimum wall.",
    example: &[
        ("diameter", "10 mm"),
        ("depth", "20 mm"),
        ("radius", "60 mm"),
        ("density", "7.85 g/cm³"),
        ("point", "118°"),
        ("face", "flat"),
    ],
    expected: &[
        ("cylinder", "1570.7963268"),
        ("cone_height", "3.0043030951"),
        ("cone", "78.652471107"),
        ("mouth", "0"),
        ("mass", "12.9481730635"),
        ("unbalance", "640.770703565"),
    ],
    run: |given| {
        let removed = drilled_hole(&drilling(given), given.number("depth"))
            .map_err(|error| Refused::because(at_fault(error), error.to_string()))?;
        Ok(Answer::new()
            .figure("cylinder", removed.cylinder_mm3)
            .figure("cone_height", removed.cone_height_mm)
            .figure("cone", removed.cone_mm3)
            .figure("mouth", removed.mouth_mm3)
            .figure("mass", removed.mass_g)
            .figure("unbalance", removed.unbalance_gmm))
    },
};

fn drilling(given: &Given) -> Drilling {
    Drilling {
        diameter_mm: given.number("diameter"),
        point_deg: given.number("point"),
        density_g_cm3: given.number("density"),
        radius_mm: given.number("radius"),
        face: Face::named(given.word("face")),
    }
}

const fn at_fault(error: HoleError) -> &'static str {
    match error {
        HoleError::NotPositive { what, .. } => what,
        HoleError::Point { .. } => "point",
        HoleError::WiderThanRound { .. } => "diameter",
        HoleError::Depth { .. } => "depth",
        HoleError::OutOfReach { unit, .. } => {
            if unit.len() == 1 {
                "mass"
            } else {
                "unbalance"
            }
        }
    }
}

/// Handbook entry of [`depth_for_mass`] and [`depth_for_unbalance`].
pub const HOLE_DEPTH: Calculation = Calculation {
    name: "hole-depth",
    title: "Depth of a hole",
    stage: Stage::Balance,
    question: "How deep must this hole be?",
    inputs: &[
        DIAMETER,
        Input::quantity("mass", "g", "mass to take away; or give the unbalance")
            .at_least(0.0)
            .or("0 g"),
        Input::quantity("unbalance", "g·mm", "unbalance to take away; or give the mass")
            .at_least(0.0)
            .or("0 g·mm"),
        Input::quantity(
            "radius",
            "mm",
            "distance of the face from the axis; not for a mass from a flat",
        )
        .at_least(0.0)
        .or("0 mm"),
        DENSITY,
        POINT,
        FACE,
    ],
    outputs: &[Output::figure("depth", "mm", "full-diameter depth, without the point")],
    formula: "t = m / k − h/3 + q for a mass; for an unbalance the smaller root of the quadratic \
              of drilled-hole",
    source: "solid geometry, inverse of drilled-hole",
    validity: "As drilled-hole. Exactly one of mass and unbalance is given.",
    example: &[
        ("diameter", "10 mm"),
        ("mass", "7.768903838118011 g"),
        ("density", "7.85 g/cm³"),
        ("point", "118°"),
        ("face", "flat"),
    ],
    expected: &[("depth", "11.5994262540")],
    run: run_hole_depth,
};

fn run_hole_depth(given: &Given) -> Result<Answer, Refused> {
    let (mass_g, unbalance_gmm) = (given.number("mass"), given.number("unbalance"));
    let drilling = drilling(given);
    let depth_mm = match (mass_g > 0.0, unbalance_gmm > 0.0) {
        (true, false) => depth_for_mass(&drilling, mass_g),
        (false, true) => depth_for_unbalance(&drilling, unbalance_gmm),
        _ => {
            let reason = "give either the mass or the unbalance to take away, over zero";
            return Err(Refused::because("mass", reason));
        }
    };
    let depth_mm =
        depth_mm.map_err(|error| Refused::because(at_fault(error), error.to_string()))?;
    Ok(Answer::new().figure("depth", depth_mm))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const STEEL: Drilling = Drilling {
        diameter_mm: 12.0,
        point_deg: 118.0,
        density_g_cm3: 7.85,
        radius_mm: 70.0,
        face: Face::Round,
    };

    #[test]
    fn depths_at_both_ends_are_taken_and_beyond_refused() {
        let profile = Profile::of(&STEEL).unwrap();
        for depth_mm in [profile.least_mm, profile.most_mm] {
            assert!(drilled_hole(&STEEL, depth_mm).is_ok());
        }
        for depth_mm in [profile.least_mm - 1e-9, profile.most_mm + 1e-9, f64::NAN, f64::INFINITY] {
            assert!(matches!(drilled_hole(&STEEL, depth_mm), Err(HoleError::Depth { .. })));
        }
    }

    #[test]
    fn senseless_figures_are_refused_by_name() {
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            let drillings = [
                ("diameter", Drilling { diameter_mm: bad, ..STEEL }),
                ("density", Drilling { density_g_cm3: bad, ..STEEL }),
                ("radius", Drilling { radius_mm: bad, ..STEEL }),
                ("point", Drilling { point_deg: bad, ..STEEL }),
            ];
            for (what, drilling) in drillings {
                let error = drilled_hole(&drilling, 5.0).unwrap_err();
                assert_eq!(at_fault(error), what, "{error}");
            }
        }
        let wide = Drilling { diameter_mm: 140.0, ..STEEL };
        assert!(matches!(drilled_hole(&wide, 5.0), Err(HoleError::WiderThanRound { .. })));
    }

    #[test]
    fn a_wish_smaller_than_the_point_takes_is_refused() {
        let flat = Drilling { face: Face::Flat, ..STEEL };
        assert!(matches!(depth_for_mass(&flat, 0.1), Err(HoleError::OutOfReach { .. })));
        assert!(matches!(depth_for_unbalance(&flat, 1.0), Err(HoleError::OutOfReach { .. })));
        assert!(matches!(depth_for_unbalance(&flat, f64::NAN), Err(HoleError::OutOfReach { .. })));
        assert!(matches!(depth_for_unbalance(&flat, 1e9), Err(HoleError::OutOfReach { .. })));
    }

    proptest! {
        #[test]
        fn depth_and_what_it_takes_are_inverse(
            diameter_mm in 4.0..20.0f64, point_deg in 60.0..=180.0f64, radius_mm in 40.0..120.0f64,
            depth_mm in 4.0..25.0f64, density_g_cm3 in 2.0..9.0f64, round in any::<bool>(),
        ) {
            let face = if round { Face::Round } else { Face::Flat };
            let drilling = Drilling { diameter_mm, point_deg, density_g_cm3, radius_mm, face };
            prop_assume!(depth_mm <= Profile::of(&drilling).unwrap().most_mm);
            let removed = drilled_hole(&drilling, depth_mm).unwrap();
            let by_mass = depth_for_mass(&drilling, removed.mass_g).unwrap();
            let by_unbalance = depth_for_unbalance(&drilling, removed.unbalance_gmm).unwrap();
            prop_assert!((by_mass - depth_mm).abs() < 1e-9);
            prop_assert!((by_unbalance - depth_mm).abs() < 1e-7, "{by_unbalance}");
        }

        #[test]
        fn deeper_takes_more(depth_mm in 1.0..40.0f64, more_mm in 0.01..5.0f64) {
            let shallow = drilled_hole(&STEEL, depth_mm).unwrap();
            let deep = drilled_hole(&STEEL, depth_mm + more_mm).unwrap();
            prop_assert!(shallow.mass_g < deep.mass_g);
            prop_assert!(shallow.unbalance_gmm < deep.unbalance_gmm);
            let slope = Profile::of(&STEEL).unwrap().slope_g(depth_mm + more_mm / 2.0);
            let rise = deep.unbalance_gmm - shallow.unbalance_gmm;
            prop_assert!((rise - slope * more_mm).abs() < 1e-9 * rise + 1e-9);
        }
    }
}
