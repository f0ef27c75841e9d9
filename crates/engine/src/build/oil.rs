//! The oil pump and its oil: delivery, orifice flow, viscosity at a temperature, viscosity index.

use std::f64::consts::FRAC_PI_4;

use bedplate_gauge::calculation::{Answer, Calculation, Input, Output, Refused, Stage};

use crate::bed::air::ZERO_CELSIUS_K;

/// A pump at one station of its test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PumpReading {
    /// Displacement, cm³ a revolution; above zero.
    pub displacement_cm3: f64,
    /// Speed, rev/min; above zero.
    pub speed_rpm: f64,
    /// Delivery, l/min.
    pub flow_l_min: f64,
    /// Pressure at the outlet over that at the inlet, bar.
    pub pressure_bar: f64,
}

/// What a pump gives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PumpDelivery {
    /// Delivery without any leak, l/min.
    pub theoretical_l_min: f64,
    /// Volumetric efficiency, a share.
    pub volumetric_efficiency: f64,
    /// Hydraulic power, kW.
    pub hydraulic_kw: f64,
}

/// Volumetric efficiency and hydraulic power of an oil pump.
///
/// # Formula
/// `Q_th = V n`, `η_v = Q/Q_th`, `P = p Q`.
/// # Given
/// Displacement in cm³/rev and speed in rev/min above zero; flow in l/min; pressure in bar.
/// # Returns
/// Theoretical delivery in l/min, efficiency as a share, hydraulic power in kW.
/// # Validity
/// Relief valve shut; at the oil and temperature of the test.
/// # Source
/// Definitions.
/// # Example
/// ```
/// use bedplate_engine::build::oil::{PumpReading, pump_delivery};
/// let pump = pump_delivery(PumpReading {
///     displacement_cm3: 18.5, speed_rpm: 2000.0, flow_l_min: 33.1, pressure_bar: 4.5,
/// });
/// // Arithmetic from the definitions.
/// assert_eq!(format!("{:.4} {:.5}", pump.volumetric_efficiency, pump.hydraulic_kw),
///     "0.8946 0.24825");
/// ```
#[must_use]
pub fn pump_delivery(pump: PumpReading) -> PumpDelivery {
    let theoretical_l_min = pump.displacement_cm3 * pump.speed_rpm / 1e3;
    PumpDelivery {
        theoretical_l_min,
        volumetric_efficiency: pump.flow_l_min / theoretical_l_min,
        // bar · l/min is 1/600 kW.
        hydraulic_kw: pump.pressure_bar * pump.flow_l_min / 600.0,
    }
}

/// A sharp-edged orifice and what drives oil through it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Orifice {
    /// Diameter, mm.
    pub diameter_mm: f64,
    /// Pressure difference, kPa; 0 or more.
    pub pressure_kpa: f64,
    /// Density of the fluid, kg/m³; above zero.
    pub density_kg_m3: f64,
    /// Discharge coefficient.
    pub discharge_coefficient: f64,
}

/// Flow through a sharp-edged orifice.
///
/// # Formula
/// `Q = C_d A √(2 Δp/ρ)`.
/// # Given
/// Diameter in mm, pressure difference in kPa, density in kg/m³, discharge coefficient.
/// # Returns
/// Flow in l/min.
/// # Validity
/// Turbulent flow, orifice small against the pipe; thick oil falls below it.
/// # Source
/// Textbook (E. Torricelli's law with a discharge coefficient).
/// # Example
/// ```
/// use bedplate_engine::build::oil::{Orifice, orifice_flow_l_min};
/// let flow = orifice_flow_l_min(Orifice {
///     diameter_mm: 3.0, pressure_kpa: 400.0, density_kg_m3: 850.0, discharge_coefficient: 0.62,
/// });
/// // Arithmetic from the formula.
/// assert_eq!(format!("{flow:.7}"), "8.0669778");
/// ```
#[must_use]
pub fn orifice_flow_l_min(orifice: Orifice) -> f64 {
    let area_m2 = FRAC_PI_4 * (orifice.diameter_mm / 1e3).powi(2);
    let speed_m_s = (2.0 * orifice.pressure_kpa * 1e3 / orifice.density_kg_m3).sqrt();
    orifice.discharge_coefficient * area_m2 * speed_m_s * 6e4
}

/// Kinematic viscosity at a temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ViscosityPoint {
    /// Temperature, °C.
    pub temperature_c: f64,
    /// Kinematic viscosity, mm²/s.
    pub viscosity_mm2_s: f64,
}

/// The straight line of an oil on the viscosity chart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ViscosityLine {
    /// Height A of the line.
    pub a: f64,
    /// Slope B of the line.
    pub b: f64,
}

/// Why a viscosity or an index cannot be computed.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ViscosityError {
    /// Two readings that give no line.
    #[error("two different temperatures above −273.15 °C are needed to draw the line")]
    Temperatures,
    /// Thinner than the formula reaches.
    #[error("{viscosity_mm2_s} mm²/s is outside the line, which holds above 2 mm²/s")]
    TooThin {
        /// The viscosity, mm²/s.
        viscosity_mm2_s: f64,
    },
    /// L not above H.
    #[error("L of {l} mm²/s must be above H of {h} mm²/s")]
    References {
        /// Viscosity at 40 °C of the oil of index 0, mm²/s.
        l: f64,
        /// Viscosity at 40 °C of the oil of index 100, mm²/s.
        h: f64,
    },
    /// Not a positive finite viscosity.
    #[error("a viscosity of {viscosity_mm2_s} mm²/s cannot be; it must be above 0")]
    NotPositive {
        /// The viscosity, mm²/s.
        viscosity_mm2_s: f64,
    },
}

impl From<ViscosityError> for Refused {
    fn from(error: ViscosityError) -> Self {
        let input = match error {
            ViscosityError::Temperatures => "temperature_2",
            ViscosityError::TooThin { .. } | ViscosityError::NotPositive { .. } => "viscosity",
            ViscosityError::References { .. } => "l",
        };
        Self::because(input, error.to_string())
    }
}

/// Least viscosity for which the short form of the line holds, mm²/s.
const LEAST_MM2_S: f64 = 2.0;

impl ViscosityLine {
    /// The line through two readings.
    ///
    /// # Formula
    /// `log₁₀ log₁₀(ν + 0.7) = A − B log₁₀ T`, `T` in K.
    /// # Given
    /// Two readings at different temperatures, each above 2 mm²/s.
    /// # Returns
    /// The line.
    /// # Errors
    /// [`ViscosityError::Temperatures`], [`ViscosityError::TooThin`].
    /// # Validity
    /// Mineral oils above 2 mm²/s, between about −20 °C and 150 °C, where no wax falls out.
    /// # Source
    /// ASTM D341, after C. Walther (from memory).
    /// # Example
    /// ```
    /// use bedplate_engine::build::oil::{ViscosityLine, ViscosityPoint};
    /// let at = |temperature_c, viscosity_mm2_s| ViscosityPoint { temperature_c, viscosity_mm2_s };
    /// let line = ViscosityLine::through(at(40.0, 100.0), at(100.0, 11.2))?;
    /// // Arithmetic from the formula.
    /// assert_eq!(format!("{:.4}", line.viscosity_mm2_s(60.0)?), "39.8592");
    /// # Ok::<(), bedplate_engine::build::oil::ViscosityError>(())
    /// ```
    pub fn through(one: ViscosityPoint, other: ViscosityPoint) -> Result<Self, ViscosityError> {
        let place = |point: ViscosityPoint| {
            let viscosity_mm2_s = point.viscosity_mm2_s;
            if !(LEAST_MM2_S < viscosity_mm2_s && viscosity_mm2_s.is_finite()) {
                return Err(ViscosityError::TooThin { viscosity_mm2_s });
            }
            Ok((
                (point.temperature_c + ZERO_CELSIUS_K).log10(),
                (viscosity_mm2_s + 0.7).log10().log10(),
            ))
        };
        let ((x1, y1), (x2, y2)) = (place(one)?, place(other)?);
        let b = (y1 - y2) / (x2 - x1);
        if !(b.is_finite() && x1 != x2) {
            return Err(ViscosityError::Temperatures);
        }
        Ok(Self { a: y1 + b * x1, b })
    }

    /// Kinematic viscosity at a temperature, by the line.
    ///
    /// # Returns
    /// Viscosity in mm²/s.
    /// # Errors
    /// [`ViscosityError::TooThin`] where the line leaves its range,
    /// [`ViscosityError::Temperatures`] below absolute zero.
    /// # Source
    /// As [`ViscosityLine::through`].
    pub fn viscosity_mm2_s(&self, temperature_c: f64) -> Result<f64, ViscosityError> {
        let temperature_k = temperature_c + ZERO_CELSIUS_K;
        if !(0.0 < temperature_k && temperature_k.is_finite()) {
            return Err(ViscosityError::Temperatures);
        }
        let double_log = self.a - self.b * temperature_k.log10();
        let viscosity_mm2_s = 10f64.powf(10f64.powf(double_log)) - 0.7;
        if LEAST_MM2_S < viscosity_mm2_s && viscosity_mm2_s.is_finite() {
            Ok(viscosity_mm2_s)
        } else {
            Err(ViscosityError::TooThin { viscosity_mm2_s })
        }
    }
}

/// What the index is computed from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IndexViscosities {
    /// Viscosity of the oil at 40 °C, mm²/s.
    pub u: f64,
    /// Viscosity of the oil at 100 °C, mm²/s; counts only above index 100.
    pub y: f64,
    /// From the standard's table at `y`: viscosity at 40 °C of the oil of index 0, mm²/s.
    pub l: f64,
    /// From the standard's table at `y`: viscosity at 40 °C of the oil of index 100, mm²/s.
    pub h: f64,
}

/// Viscosity index of an oil.
///
/// # Formula
/// `U ≥ H`: `VI = 100 (L − U)/(L − H)`. `U < H`: `N = (log H − log U)/log Y`,
/// `VI = (10^N − 1)/0.00715 + 100`.
/// # Given
/// Viscosities in mm²/s; `L` and `H` from the standard's table at the oil's `Y`.
/// # Returns
/// The index, not rounded; the standard rounds it to a whole number.
/// # Errors
/// [`ViscosityError::References`], [`ViscosityError::NotPositive`].
/// # Validity
/// `Y` of 2 mm²/s to 70 mm²/s.
/// # Source
/// ISO 2909 / ASTM D2270, procedures A and B (from memory).
/// # Example
/// The standard's own examples (from memory): `U` 73.30, `L` 119.94, `H` 69.48 give 92; `U` 22.83,
/// `Y` 5.05, `H` 28.97 give 156.
/// ```
/// use bedplate_engine::build::oil::{IndexViscosities, viscosity_index};
/// let a = IndexViscosities { u: 73.30, y: 8.86, l: 119.94, h: 69.48 };
/// assert_eq!(format!("{:.0}", viscosity_index(a)?), "92");
/// let b = IndexViscosities { u: 22.83, y: 5.05, l: 40.23, h: 28.97 };
/// assert_eq!(format!("{:.0}", viscosity_index(b)?), "156");
/// # Ok::<(), bedplate_engine::build::oil::ViscosityError>(())
/// ```
pub fn viscosity_index(oil: IndexViscosities) -> Result<f64, ViscosityError> {
    let IndexViscosities { u, y, l, h } = oil;
    for viscosity_mm2_s in [u, l, h] {
        if !(0.0 < viscosity_mm2_s && viscosity_mm2_s.is_finite()) {
            return Err(ViscosityError::NotPositive { viscosity_mm2_s });
        }
    }
    if l <= h {
        return Err(ViscosityError::References { l, h });
    }
    if u >= h {
        return Ok(100.0 * (l - u) / (l - h));
    }
    if !(1.0 < y && y.is_finite()) {
        return Err(ViscosityError::NotPositive { viscosity_mm2_s: y });
    }
    let n = (h.log10() - u.log10()) / y.log10();
    Ok((10f64.powf(n) - 1.0) / 0.007_15 + 100.0)
}

/// Declaration of [`pump_delivery`].
pub const OIL_PUMP: Calculation = Calculation {
    name: "oil-pump",
    title: "Delivery of an oil pump",
    stage: Stage::Build,
    question: "How much of what it sweeps does this pump deliver?",
    inputs: &[
        Input::quantity("displacement", "cm³", "swept each revolution").over(0.0),
        Input::quantity("speed", "rev/min", "speed of the pump").over(0.0),
        Input::quantity("flow", "l/min", "delivery").at_least(0.0),
        Input::quantity("pressure", "bar", "outlet over inlet").at_least(0.0),
    ],
    outputs: &[
        Output::figure("theoretical_flow", "l/min", "delivery without any leak"),
        Output::figure("efficiency", "", "volumetric efficiency, a share"),
        Output::figure("hydraulic_power", "kW", "pressure times flow"),
    ],
    formula: "Q_th = V n; η_v = Q/Q_th; P = p Q",
    source: "definitions",
    validity: "Relief valve shut; at the oil and temperature of the test.",
    example: &[
        ("displacement", "18.5 cm³"),
        ("speed", "2000 rev/min"),
        ("flow", "33.1 l/min"),
        ("pressure", "4.5 bar"),
    ],
    expected: &[
        ("theoretical_flow", "37.0"),
        ("efficiency", "0.894594594595"),
        ("hydraulic_power", "0.24825"),
    ],
    run: |given| {
        let pump = pump_delivery(PumpReading {
            displacement_cm3: given.number("displacement"),
            speed_rpm: given.number("speed"),
            flow_l_min: given.number("flow"),
            pressure_bar: given.number("pressure"),
        });
        Ok(Answer::new()
            .figure("theoretical_flow", pump.theoretical_l_min)
            .figure("efficiency", pump.volumetric_efficiency)
            .figure("hydraulic_power", pump.hydraulic_kw))
    },
};

/// Declaration of [`orifice_flow_l_min`].
pub const ORIFICE: Calculation = Calculation {
    name: "orifice",
    title: "Flow through an orifice",
    stage: Stage::Build,
    question: "How much oil does this hole pass?",
    inputs: &[
        Input::quantity("diameter", "mm", "diameter of the hole").over(0.0),
        Input::quantity("pressure", "kPa", "pressure difference").at_least(0.0),
        Input::quantity("density", "kg/m³", "density of the oil").over(0.0).or("850 kg/m³"),
        Input::quantity("coefficient", "", "discharge coefficient")
            .over(0.0)
            .at_most(1.0)
            .or("0.62"),
    ],
    outputs: &[Output::figure("flow", "l/min", "flow")],
    formula: "Q = C_d A √(2 Δp/ρ)",
    source: "textbook (E. Torricelli, with a discharge coefficient)",
    validity: "Sharp edge, turbulent flow, hole small against the pipe.",
    example: &[("diameter", "3 mm"), ("pressure", "4 bar"), ("density", "850 kg/m³")],
    expected: &[("flow", "8.06697779")],
    run: |given| {
        let flow = orifice_flow_l_min(Orifice {
            diameter_mm: given.number("diameter"),
            pressure_kpa: given.number("pressure"),
            density_kg_m3: given.number("density"),
            discharge_coefficient: given.number("coefficient"),
        });
        Ok(Answer::new().figure("flow", flow))
    },
};

/// Declaration of [`ViscosityLine`].
pub const OIL_VISCOSITY: Calculation = Calculation {
    name: "oil-viscosity",
    title: "Viscosity of an oil at a temperature",
    stage: Stage::Build,
    question: "How thick is this oil at another temperature?",
    inputs: &[
        Input::quantity("temperature_1", "°C", "temperature of the first reading").or("40 °C"),
        Input::quantity("viscosity_1", "mm²/s", "viscosity there").over(2.0),
        Input::quantity("temperature_2", "°C", "temperature of the second reading").or("100 °C"),
        Input::quantity("viscosity_2", "mm²/s", "viscosity there").over(2.0),
        Input::list("temperatures", "°C", "where it is wanted"),
    ],
    outputs: &[
        Output::figure("a", "", "height A of the line"),
        Output::figure("b", "", "slope B of the line"),
        Output::figure("viscosities", "mm²/s", "viscosity at each temperature wanted"),
    ],
    formula: "log₁₀ log₁₀(ν + 0.7) = A − B log₁₀ T",
    source: "ASTM D341, after C. Walther (from memory)",
    validity: "Mineral oils above 2 mm²/s, where no wax falls out.",
    example: &[
        ("viscosity_1", "100 mm²/s"),
        ("viscosity_2", "11.2 mm²/s"),
        ("temperatures", "20, 60, 80, 120 °C"),
    ],
    expected: &[
        ("a", "9.15481609"),
        ("b", "3.54727845"),
        ("viscosities", "339.2405, 39.85922, 19.60773, 7.129023"),
    ],
    run: |given| {
        let at = |temperature, viscosity| ViscosityPoint {
            temperature_c: given.number(temperature),
            viscosity_mm2_s: given.number(viscosity),
        };
        let line = ViscosityLine::through(
            at("temperature_1", "viscosity_1"),
            at("temperature_2", "viscosity_2"),
        )?;
        let viscosities = given
            .list("temperatures")
            .iter()
            .map(|t| {
                let refused = |e: ViscosityError| Refused::because("temperatures", e.to_string());
                line.viscosity_mm2_s(*t).map_err(refused)
            })
            .collect::<Result<Vec<f64>, Refused>>()?;
        Ok(Answer::new().figure("a", line.a).figure("b", line.b).list("viscosities", viscosities))
    },
};

/// Declaration of [`viscosity_index`].
pub const VISCOSITY_INDEX: Calculation = Calculation {
    name: "viscosity-index",
    title: "Viscosity index",
    stage: Stage::Build,
    question: "How little does this oil thin as it warms?",
    inputs: &[
        Input::quantity("u", "mm²/s", "viscosity of the oil at 40 °C").over(0.0),
        Input::quantity("y", "mm²/s", "viscosity at 100 °C; counts above index 100")
            .over(1.0)
            .or("10 mm²/s"),
        Input::quantity("l", "mm²/s", "L of the standard's table").over(0.0),
        Input::quantity("h", "mm²/s", "H of the standard's table").over(0.0),
    ],
    outputs: &[
        Output::figure("index", "", "viscosity index, not rounded"),
        Output::figure("index_rounded", "", "viscosity index as the standard states it"),
    ],
    formula: "U ≥ H: VI = 100 (L − U)/(L − H); U < H: N = log(H/U)/log Y, \
              VI = (10^N − 1)/0.00715 + 100",
    source: "ISO 2909 / ASTM D2270, procedures A and B, example of the standard (from memory)",
    validity: "Viscosity at 100 °C of 2 mm²/s to 70 mm²/s.",
    example: &[("u", "73.3 mm²/s"), ("l", "119.94 mm²/s"), ("h", "69.48 mm²/s")],
    expected: &[("index", "92.4296472"), ("index_rounded", "92")],
    run: |given| {
        let [u, y, l, h] = ["u", "y", "l", "h"].map(|name| given.number(name));
        let index = viscosity_index(IndexViscosities { u, y, l, h })?;
        Ok(Answer::new().figure("index", index).figure("index_rounded", index.round_ties_even()))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn oils_that_cannot_be_are_refused() {
        let at = |temperature_c, viscosity_mm2_s| ViscosityPoint { temperature_c, viscosity_mm2_s };
        let same = ViscosityLine::through(at(40.0, 100.0), at(40.0, 90.0));
        assert_eq!(same, Err(ViscosityError::Temperatures));
        let thin = ViscosityLine::through(at(40.0, 2.0), at(100.0, 1.0));
        assert!(matches!(thin, Err(ViscosityError::TooThin { .. })));
        assert!(ViscosityLine::through(at(f64::NAN, 100.0), at(100.0, 10.0)).is_err());
        let line = ViscosityLine::through(at(40.0, 20.0), at(100.0, 4.0)).unwrap();
        assert!(matches!(line.viscosity_mm2_s(200.0), Err(ViscosityError::TooThin { .. })));
        assert!(line.viscosity_mm2_s(-300.0).is_err());
        let crossed = IndexViscosities { u: 50.0, y: 8.0, l: 60.0, h: 60.0 };
        assert!(matches!(viscosity_index(crossed), Err(ViscosityError::References { .. })));
        let nan = IndexViscosities { u: f64::NAN, y: 8.0, l: 120.0, h: 60.0 };
        assert!(matches!(viscosity_index(nan), Err(ViscosityError::NotPositive { .. })));
    }

    #[test]
    fn the_index_is_nought_at_l_and_a_hundred_at_h() {
        // By definition; the two procedures meet at 100.
        let at = |u| viscosity_index(IndexViscosities { u, y: 8.86, l: 119.94, h: 69.48 }).unwrap();
        assert_eq!(at(119.94), 0.0);
        assert_eq!(at(69.48), 100.0);
        assert!((at(69.479_999) - 100.0).abs() < 1e-3);
    }

    proptest! {
        #[test]
        fn the_line_goes_through_its_readings_and_falls(
            v40 in 20.0..400.0f64, share in 0.05..0.3f64,
        ) {
            let at = |temperature_c, viscosity_mm2_s| {
                ViscosityPoint { temperature_c, viscosity_mm2_s }
            };
            prop_assume!(v40 * share > 2.5);
            let line = ViscosityLine::through(at(40.0, v40), at(100.0, v40 * share)).unwrap();
            prop_assert!((line.viscosity_mm2_s(40.0).unwrap() / v40 - 1.0).abs() < 1e-9);
            prop_assert!((line.viscosity_mm2_s(100.0).unwrap() / (v40 * share) - 1.0).abs() < 1e-9);
            prop_assert!(line.viscosity_mm2_s(70.0).unwrap() < v40);
        }

        #[test]
        fn twice_the_flow_needs_four_times_the_pressure(p in 1.0..1000.0f64) {
            let at = |pressure_kpa| orifice_flow_l_min(Orifice {
                diameter_mm: 3.0, pressure_kpa, density_kg_m3: 850.0, discharge_coefficient: 0.62,
            });
            prop_assert!((at(4.0 * p) / at(p) - 2.0).abs() < 1e-12);
        }
    }
}
