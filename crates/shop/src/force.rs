//! Force, torque, thrust and power of cutting by the specific cutting force.
//!
//! The constants of a material differ from handbook to handbook by ten per cent and more; they are
//! inputs here, not truth. Rake, wear and speed are left out.

use std::f64::consts::PI;

use bedplate_gauge::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};

/// A material's resistance to cutting: `k_c = k_c1.1 h^(−m_c)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpecificForce {
    /// Force on 1 mm × 1 mm of chip, N/mm².
    pub kc11_n_mm2: f64,
    /// Exponent of the chip thickness, 0 to below 1.
    pub mc: f64,
}

impl SpecificForce {
    /// Specific cutting force at a chip thickness.
    ///
    /// # Formula
    /// `k_c = k_c1.1 h^(−m_c)`, `h` in mm.
    /// # Given
    /// Chip thickness in mm, above zero.
    /// # Returns
    /// N/mm².
    /// # Validity
    /// Chips of about 0.05 mm to 2 mm.
    /// # Source
    /// O. Kienzle 1952.
    #[must_use]
    pub fn at_n_mm2(&self, chip_mm: f64) -> f64 {
        self.kc11_n_mm2 * chip_mm.powf(-self.mc)
    }
}

/// A figure that cannot be.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ForceError {
    /// A figure that must be above zero is not.
    #[error("{what} of {value} cannot be; it must be a number above 0")]
    NotPositive {
        /// Which figure.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// An angle outside its range.
    #[error("an angle of {value}° for {what} cannot be; it must be above 0° and at most {most}°")]
    Angle {
        /// Which angle.
        what: &'static str,
        /// What was given, degrees.
        value: f64,
        /// Greatest allowed, degrees.
        most: f64,
    },
    /// A cut wider than the cutter.
    #[error("a cut {width_mm} mm wide is wider than the cutter of {diameter_mm} mm")]
    WiderThanCutter {
        /// Width of the cut, mm.
        width_mm: f64,
        /// Diameter of the cutter, mm.
        diameter_mm: f64,
    },
}

impl From<ForceError> for Refused {
    fn from(error: ForceError) -> Self {
        let input = match error {
            ForceError::NotPositive { what, .. } | ForceError::Angle { what, .. } => what,
            ForceError::WiderThanCutter { .. } => "width",
        };
        Self::because(input, error.to_string())
    }
}

fn positive(figures: &[(&'static str, f64)]) -> Result<(), ForceError> {
    match figures.iter().find(|(_, value)| !(0.0 < *value && value.is_finite())) {
        Some(&(what, value)) => Err(ForceError::NotPositive { what, value }),
        None => Ok(()),
    }
}

/// A single edge that turns or bores.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SingleEdge {
    /// Resistance of the material.
    pub material: SpecificForce,
    /// Feed, mm/rev.
    pub feed_mm: f64,
    /// Depth of cut, mm.
    pub depth_mm: f64,
    /// Angle of the edge to the feed, degrees; above 0, at most 90.
    pub edge_angle_deg: f64,
    /// Cutting speed, m/min.
    pub speed_m_min: f64,
    /// Share of the motor's power that reaches the cut, above 0, at most 1.
    pub efficiency: f64,
}

/// Force and power of a single edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgeForce {
    /// Chip thickness, mm.
    pub chip_mm: f64,
    /// Chip width, mm.
    pub width_mm: f64,
    /// Specific cutting force, N/mm².
    pub kc_n_mm2: f64,
    /// Cutting force, N.
    pub force_n: f64,
    /// Power at the cut, kW.
    pub power_kw: f64,
    /// Power at the motor, kW.
    pub motor_kw: f64,
}

/// Cutting force and power of turning or boring.
///
/// # Formula
/// `h = f sin κ`, `b = a/sin κ`, `F = b h k_c`, `P = F v`, motor `P/η`.
/// # Given
/// See [`SingleEdge`].
/// # Returns
/// Chip, specific force, force in N, power at the cut and at the motor in kW.
/// # Errors
/// [`ForceError::NotPositive`], [`ForceError::Angle`].
/// # Validity
/// No corrections for rake, wear and speed: within about 20 %.
/// # Source
/// O. Kienzle 1952; constants of materials from memory, medium: use your own.
/// # Example
/// ```
/// use bedplate_shop::force::{SingleEdge, SpecificForce, edge_force};
/// let cut = edge_force(&SingleEdge {
///     material: SpecificForce { kc11_n_mm2: 2220.0, mc: 0.14 },
///     feed_mm: 0.3, depth_mm: 3.0, edge_angle_deg: 90.0, speed_m_min: 150.0, efficiency: 0.8,
/// })?;
/// // Arithmetic from the formula.
/// assert_eq!(format!("{:.3} N", cut.force_n), "2364.822 N");
/// # Ok::<(), bedplate_shop::force::ForceError>(())
/// ```
pub fn edge_force(cut: &SingleEdge) -> Result<EdgeForce, ForceError> {
    positive(&[
        ("kc11", cut.material.kc11_n_mm2),
        ("feed", cut.feed_mm),
        ("depth", cut.depth_mm),
        ("speed", cut.speed_m_min),
        ("efficiency", cut.efficiency),
    ])?;
    let sine = sine_of("edge_angle", cut.edge_angle_deg, 90.0)?;
    let chip_mm = cut.feed_mm * sine;
    let width_mm = cut.depth_mm / sine;
    let kc_n_mm2 = cut.material.at_n_mm2(chip_mm);
    let force_n = width_mm * chip_mm * kc_n_mm2;
    let power_kw = force_n * cut.speed_m_min / 6e4;
    let motor_kw = power_kw / cut.efficiency;
    Ok(EdgeForce { chip_mm, width_mm, kc_n_mm2, force_n, power_kw, motor_kw })
}

fn sine_of(what: &'static str, value: f64, most: f64) -> Result<f64, ForceError> {
    if 0.0 < value && value <= most {
        Ok(value.to_radians().sin())
    } else {
        Err(ForceError::Angle { what, value, most })
    }
}

/// A two-lipped drill in the solid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrillCut {
    /// Resistance of the material.
    pub material: SpecificForce,
    /// Diameter, mm.
    pub diameter_mm: f64,
    /// Feed, mm/rev.
    pub feed_mm: f64,
    /// Cutting speed, m/min.
    pub speed_m_min: f64,
    /// Point angle, degrees; above 0, at most 180.
    pub point_deg: f64,
}

/// Torque, power and thrust of a drill.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrillForce {
    /// Specific cutting force, N/mm².
    pub kc_n_mm2: f64,
    /// Torque, N·m.
    pub torque_nm: f64,
    /// Power at the cut, kW.
    pub power_kw: f64,
    /// Thrust, N.
    pub thrust_n: f64,
}

/// Torque, power and thrust of drilling in the solid.
///
/// # Formula
/// `h = (f/2) sin(σ/2)`, `M = k_c f d²/8000`, `P = k_c f d v/240 000`,
/// `F_f = 0.5 k_c (d/2) f sin(σ/2)`.
/// # Given
/// See [`DrillCut`].
/// # Returns
/// Torque in N·m, power in kW, thrust in N.
/// # Errors
/// [`ForceError::NotPositive`], [`ForceError::Angle`].
/// # Validity
/// Two lips, sharp; the chisel edge adds to the thrust, so the factor 0.5 is a rule of thumb.
/// # Source
/// Common handbook forms (from memory; the thrust factor medium).
/// # Example
/// ```
/// use bedplate_shop::force::{DrillCut, SpecificForce, drill_force};
/// let hole = drill_force(&DrillCut {
///     material: SpecificForce { kc11_n_mm2: 2220.0, mc: 0.14 },
///     diameter_mm: 12.0, feed_mm: 0.2, speed_m_min: 80.0, point_deg: 118.0,
/// })?;
/// // Arithmetic from the formula.
/// assert_eq!(format!("{:.3} {:.1}", hole.torque_nm, hole.thrust_n), "11.273 1610.4");
/// # Ok::<(), bedplate_shop::force::ForceError>(())
/// ```
pub fn drill_force(cut: &DrillCut) -> Result<DrillForce, ForceError> {
    let DrillCut { material, diameter_mm, feed_mm, speed_m_min, point_deg } = *cut;
    positive(&[
        ("kc11", material.kc11_n_mm2),
        ("diameter", diameter_mm),
        ("feed", feed_mm),
        ("speed", speed_m_min),
    ])?;
    sine_of("point_angle", point_deg, 180.0)?;
    let sine = (point_deg / 2.0).to_radians().sin();
    let kc_n_mm2 = material.at_n_mm2(feed_mm / 2.0 * sine);
    Ok(DrillForce {
        kc_n_mm2,
        torque_nm: kc_n_mm2 * feed_mm * diameter_mm * diameter_mm / 8e3,
        power_kw: kc_n_mm2 * feed_mm * diameter_mm * speed_m_min / 240e3,
        thrust_n: 0.5 * kc_n_mm2 * (diameter_mm / 2.0) * feed_mm * sine,
    })
}

/// A face mill in the middle of its cut.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MillCut {
    /// Resistance of the material.
    pub material: SpecificForce,
    /// Diameter, mm.
    pub diameter_mm: f64,
    /// Teeth.
    pub n_teeth: u32,
    /// Width of the cut, mm.
    pub width_mm: f64,
    /// Depth of cut, mm.
    pub depth_mm: f64,
    /// Feed of each tooth, mm.
    pub tooth_feed_mm: f64,
    /// Cutting speed, m/min.
    pub speed_m_min: f64,
}

/// Mean chip and power of a face mill.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MillForce {
    /// Angle of engagement, degrees.
    pub engagement_deg: f64,
    /// Mean chip thickness, mm.
    pub mean_chip_mm: f64,
    /// Specific cutting force, N/mm².
    pub kc_n_mm2: f64,
    /// Power at the cut, kW.
    pub power_kw: f64,
}

/// Power of face milling by the mean chip thickness.
///
/// # Formula
/// `φ = 2 arcsin(a_e/D)`, `h_m = 360° f_z a_e/(π D φ)`, `P = a_p a_e v_f k_c(h_m)`.
/// # Given
/// See [`MillCut`]; the cut no wider than the cutter.
/// # Returns
/// Engagement in degrees, mean chip in mm, specific force, power in kW.
/// # Errors
/// [`ForceError::NotPositive`], [`ForceError::WiderThanCutter`].
/// # Validity
/// Cutter in the middle, edges at 90°.
/// # Source
/// Standard machining formulae (from memory).
/// # Example
/// ```
/// use bedplate_shop::force::{MillCut, SpecificForce, mill_force};
/// let face = mill_force(&MillCut {
///     material: SpecificForce { kc11_n_mm2: 1160.0, mc: 0.26 },
///     diameter_mm: 125.0, n_teeth: 8, width_mm: 90.0, depth_mm: 3.0,
///     tooth_feed_mm: 0.2, speed_m_min: 180.0,
/// })?;
/// // Arithmetic from the formulae.
/// assert_eq!(format!("{:.6} {:.4}", face.mean_chip_mm, face.power_kw), "0.179149 5.9864");
/// # Ok::<(), bedplate_shop::force::ForceError>(())
/// ```
pub fn mill_force(cut: &MillCut) -> Result<MillForce, ForceError> {
    let MillCut { diameter_mm, width_mm, depth_mm, tooth_feed_mm, speed_m_min, .. } = *cut;
    let n_teeth = f64::from(cut.n_teeth);
    positive(&[
        ("kc11", cut.material.kc11_n_mm2),
        ("diameter", diameter_mm),
        ("teeth", n_teeth),
        ("width", width_mm),
        ("depth", depth_mm),
        ("tooth_feed", tooth_feed_mm),
        ("speed", speed_m_min),
    ])?;
    if width_mm > diameter_mm {
        return Err(ForceError::WiderThanCutter { width_mm, diameter_mm });
    }
    let engagement_deg = (2.0 * (width_mm / diameter_mm).asin()).to_degrees();
    let mean_chip_mm = 360.0 * tooth_feed_mm * width_mm / (PI * diameter_mm * engagement_deg);
    let kc_n_mm2 = cut.material.at_n_mm2(mean_chip_mm);
    let table_feed_mm_min = tooth_feed_mm * n_teeth * speed_m_min * 1e3 / (PI * diameter_mm);
    let power_kw = depth_mm * width_mm * table_feed_mm_min * kc_n_mm2 / 60e6;
    Ok(MillForce { engagement_deg, mean_chip_mm, kc_n_mm2, power_kw })
}

const KC11: Input =
    Input::quantity("kc11", "N/mm²", "force on 1 mm × 1 mm of chip, of your material").over(0.0);
const MC: Input =
    Input::quantity("mc", "", "exponent of the chip thickness").at_least(0.0).under(1.0);
const SPEED: Input = Input::quantity("speed", "m/min", "cutting speed").over(0.0);
const FEED: Input = Input::quantity("feed", "mm/rev", "feed").over(0.0);
const KC: Output = Output::figure("kc", "N/mm²", "specific cutting force");
const POWER: Output = Output::figure("power", "kW", "power at the cut");
const KIENZLE: &str = "O. Kienzle 1952, further forms from memory; example arithmetic. Constants \
                       differ between handbooks by ten per cent and more";

fn material(given: &Given) -> SpecificForce {
    SpecificForce { kc11_n_mm2: given.number("kc11"), mc: given.number("mc") }
}

/// Declaration of [`edge_force`].
pub const CUTTING_FORCE: Calculation = Calculation {
    name: "cutting-force",
    title: "Force and power of turning or boring",
    stage: Stage::Plan,
    question: "What force and power does this cut take?",
    inputs: &[
        KC11,
        MC,
        FEED,
        Input::quantity("depth", "mm", "depth of cut").over(0.0),
        Input::quantity("edge_angle", "°", "angle of the edge to the feed")
            .over(0.0)
            .at_most(90.0)
            .or("90°"),
        SPEED,
        Input::quantity("efficiency", "", "share of the motor's power that reaches the cut")
            .over(0.0)
            .at_most(1.0)
            .or("0.8"),
    ],
    outputs: &[
        Output::figure("chip", "mm", "chip thickness"),
        Output::figure("chip_width", "mm", "chip width"),
        KC,
        Output::figure("force", "N", "cutting force"),
        POWER,
        Output::figure("motor_power", "kW", "power at the motor"),
    ],
    formula: "h = f sin κ; b = a/sin κ; F = b h k_c1.1 h^(−m_c); P = F v",
    source: KIENZLE,
    validity: "No corrections for rake, wear and speed: within about 20 %.",
    example: &[
        ("kc11", "1160 N/mm²"),
        ("mc", "0.26"),
        ("feed", "0.2 mm/rev"),
        ("depth", "2 mm"),
        ("edge_angle", "75°"),
        ("speed", "120 m/min"),
        ("efficiency", "0.75"),
    ],
    expected: &[
        ("chip", "0.193185165"),
        ("chip_width", "2.07055236"),
        ("kc", "1778.70861"),
        ("force", "711.483445"),
        ("power", "1.42296689"),
        ("motor_power", "1.89728919"),
    ],
    run: |given| {
        let cut = edge_force(&SingleEdge {
            material: material(given),
            feed_mm: given.number("feed"),
            depth_mm: given.number("depth"),
            edge_angle_deg: given.number("edge_angle"),
            speed_m_min: given.number("speed"),
            efficiency: given.number("efficiency"),
        })?;
        Ok(Answer::new()
            .figure("chip", cut.chip_mm)
            .figure("chip_width", cut.width_mm)
            .figure("kc", cut.kc_n_mm2)
            .figure("force", cut.force_n)
            .figure("power", cut.power_kw)
            .figure("motor_power", cut.motor_kw))
    },
};

/// Declaration of [`drill_force`].
pub const DRILL_FORCE: Calculation = Calculation {
    name: "drill-force",
    title: "Torque, power and thrust of a drill",
    stage: Stage::Plan,
    question: "What torque and thrust does this drill need?",
    inputs: &[
        KC11,
        MC,
        Input::quantity("diameter", "mm", "diameter").over(0.0),
        FEED,
        SPEED,
        Input::quantity("point_angle", "°", "of the drill").over(0.0).at_most(180.0).or("118°"),
    ],
    outputs: &[
        KC,
        Output::figure("torque", "N·m", "torque"),
        POWER,
        Output::figure("thrust", "N", "thrust"),
    ],
    formula: "M = k_c f d²/8000; P = k_c f d v/240 000; F = 0.5 k_c (d/2) f sin(σ/2); \
              h = (f/2) sin(σ/2)",
    source: KIENZLE,
    validity: "Two lips, sharp, in the solid; the thrust factor 0.5 is a rule of thumb.",
    example: &[
        ("kc11", "2220 N/mm²"),
        ("mc", "0.14"),
        ("diameter", "12 mm"),
        ("feed", "0.2 mm/rev"),
        ("speed", "80 m/min"),
        ("point_angle", "118°"),
    ],
    expected: &[
        ("kc", "3131.29361"),
        ("torque", "11.2726570"),
        ("power", "2.50503488"),
        ("thrust", "1610.42549"),
    ],
    run: |given| {
        let hole = drill_force(&DrillCut {
            material: material(given),
            diameter_mm: given.number("diameter"),
            feed_mm: given.number("feed"),
            speed_m_min: given.number("speed"),
            point_deg: given.number("point_angle"),
        })?;
        Ok(Answer::new()
            .figure("kc", hole.kc_n_mm2)
            .figure("torque", hole.torque_nm)
            .figure("power", hole.power_kw)
            .figure("thrust", hole.thrust_n))
    },
};

/// Declaration of [`mill_force`].
pub const MILLING_POWER: Calculation = Calculation {
    name: "milling-power",
    title: "Power of face milling",
    stage: Stage::Plan,
    question: "What power does this face mill need?",
    inputs: &[
        KC11,
        MC,
        Input::quantity("diameter", "mm", "diameter of the cutter").over(0.0),
        Input::count("teeth", "teeth of the cutter").at_least(1.0).at_most(1000.0),
        Input::quantity("width", "mm", "width of the cut").over(0.0),
        Input::quantity("depth", "mm", "depth of cut").over(0.0),
        Input::quantity("tooth_feed", "mm", "feed of each tooth").over(0.0),
        SPEED,
    ],
    outputs: &[
        Output::figure("engagement", "°", "angle of engagement"),
        Output::figure("mean_chip", "mm", "mean chip thickness"),
        KC,
        POWER,
    ],
    formula: "φ = 2 arcsin(a_e/D); h_m = 360° f_z a_e/(π D φ); P = a_p a_e v_f k_c(h_m)",
    source: KIENZLE,
    validity: "Cutter in the middle, edges at 90°.",
    example: &[
        ("kc11", "1160 N/mm²"),
        ("mc", "0.26"),
        ("diameter", "125 mm"),
        ("teeth", "8"),
        ("width", "90 mm"),
        ("depth", "3 mm"),
        ("tooth_feed", "0.2 mm"),
        ("speed", "180 m/min"),
    ],
    expected: &[
        ("engagement", "92.1089609"),
        ("mean_chip", "0.179148525"),
        ("kc", "1813.93845"),
        ("power", "5.98642662"),
    ],
    run: |given| {
        let face = mill_force(&MillCut {
            material: material(given),
            diameter_mm: given.number("diameter"),
            n_teeth: u32::try_from(given.count("teeth")).unwrap_or(u32::MAX),
            width_mm: given.number("width"),
            depth_mm: given.number("depth"),
            tooth_feed_mm: given.number("tooth_feed"),
            speed_m_min: given.number("speed"),
        })?;
        Ok(Answer::new()
            .figure("engagement", face.engagement_deg)
            .figure("mean_chip", face.mean_chip_mm)
            .figure("kc", face.kc_n_mm2)
            .figure("power", face.power_kw))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const STEEL: SpecificForce = SpecificForce { kc11_n_mm2: 2000.0, mc: 0.25 };

    #[test]
    fn cuts_that_cannot_be_are_refused() {
        let cut = SingleEdge {
            material: STEEL,
            feed_mm: 0.2,
            depth_mm: 2.0,
            edge_angle_deg: 90.0,
            speed_m_min: 100.0,
            efficiency: 0.8,
        };
        for bad in [0.0, -0.1, f64::NAN, f64::INFINITY] {
            assert!(edge_force(&SingleEdge { feed_mm: bad, ..cut }).is_err());
            assert!(edge_force(&SingleEdge { edge_angle_deg: bad, ..cut }).is_err());
        }
        assert!(edge_force(&SingleEdge { edge_angle_deg: 90.1, ..cut }).is_err());
    }

    #[test]
    fn on_one_square_millimetre_the_force_is_the_constant() {
        // Definition of k_c1.1.
        let cut = SingleEdge {
            material: STEEL,
            feed_mm: 1.0,
            depth_mm: 1.0,
            edge_angle_deg: 90.0,
            speed_m_min: 60.0,
            efficiency: 1.0,
        };
        let force = edge_force(&cut).unwrap();
        assert_eq!((force.force_n, force.power_kw), (2000.0, 2.0));
    }

    proptest! {
        #[test]
        fn drilling_power_is_torque_times_speed(
            d in 2.0..40.0f64, f in 0.05..0.5f64, v in 10.0..150.0f64,
        ) {
            let cut = DrillCut {
                material: STEEL, diameter_mm: d, feed_mm: f, speed_m_min: v, point_deg: 118.0,
            };
            let hole = drill_force(&cut).unwrap();
            let turns_a_second = v * 1e3 / (PI * d) / 60.0;
            let by_torque = hole.torque_nm * 2.0 * PI * turns_a_second / 1e3;
            prop_assert!((hole.power_kw / by_torque - 1.0).abs() < 1e-12);
        }

        #[test]
        fn force_is_in_proportion_to_depth_and_less_than_to_feed(
            f in 0.05..0.5f64, a in 0.5..5.0f64,
        ) {
            let at = |feed_mm, depth_mm| edge_force(&SingleEdge {
                material: STEEL, feed_mm, depth_mm, edge_angle_deg: 75.0, speed_m_min: 100.0,
                efficiency: 0.8,
            }).unwrap().force_n;
            prop_assert!((at(f, 2.0 * a) / at(f, a) - 2.0).abs() < 1e-12);
            prop_assert!((at(2.0 * f, a) / at(f, a) - 2f64.powf(0.75)).abs() < 1e-12);
        }
    }
}
