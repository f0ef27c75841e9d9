//! The air an engine breathes: saturation pressure of water by two named formulas, vapour pressure
//! from relative humidity or a wet bulb, dry pressure, density and volumetric efficiency.

use bedplate_gauge::calculation::{Answer, Calculation, Input, Output, Refused, Stage};

use super::torque::{Cycle, EngineSize};

/// 0 °C in kelvin (exact by definition of the Celsius scale).
pub const ZERO_CELSIUS_K: f64 = 273.15;

/// Range of IAPWS-IF97 region 4: from 273.15 K to the critical temperature, K.
const IF97_RANGE_K: [f64; 2] = [273.15, 647.096];
/// Range in which the WMO gives its Magnus form over water, °C.
const MAGNUS_RANGE_C: [f64; 2] = [-45.0, 60.0];

/// Gas constant of dry air, J/(kg·K) (ISO 2533:1975, clause 2, from memory).
const R_DRY_AIR: f64 = 287.052_87;
/// Gas constant of water vapour, J/(kg·K) (IAPWS-IF97, clause 3).
const R_VAPOUR: f64 = 461.526;

/// Coefficients n1 to n10 of IAPWS-IF97 equations 29 to 31.
const IF97_N: [f64; 10] = [
    0.116_705_214_527_67e4,
    -0.724_213_167_032_06e6,
    -0.170_738_469_400_92e2,
    0.120_208_247_024_70e5,
    -0.323_255_503_223_33e7,
    0.149_151_086_135_30e2,
    -0.482_326_573_615_91e4,
    0.405_113_405_420_57e6,
    -0.238_555_575_678_49,
    0.650_175_348_447_98e3,
];

/// Which formula gives the saturation pressure of water.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HumidityFormula {
    /// IAPWS-IF97, region 4.
    If97,
    /// The Magnus form with the coefficients of WMO-No. 8.
    Magnus,
}

impl HumidityFormula {
    /// The words by which a formula is chosen, as in [`HumidityFormula::named`].
    pub const WORDS: &'static [&'static str] = &["if97", "magnus"];

    /// The formula of this word, `None` if it is none of [`HumidityFormula::WORDS`].
    #[must_use]
    pub fn named(word: &str) -> Option<Self> {
        match word {
            "if97" => Some(Self::If97),
            "magnus" => Some(Self::Magnus),
            _ => None,
        }
    }
}

/// Why the state of the air cannot be computed.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum AirError {
    /// Outside the range in which the saturation formula holds.
    #[error(
        "a temperature of {temperature_k:.2} K is outside the {lower_k:.2} to {upper_k:.2} K in \
         which the saturation formula holds"
    )]
    OutsideFormula {
        /// The temperature asked for, K.
        temperature_k: f64,
        /// Lower end of the formula's range, K.
        lower_k: f64,
        /// Upper end of the formula's range, K.
        upper_k: f64,
    },
    /// A relative humidity that cannot be.
    #[error("a relative humidity of {share} is outside 0 to 1 (0 % to 100 %)")]
    Humidity {
        /// The relative humidity as a share.
        share: f64,
    },
    /// The wet bulb reads above the dry bulb.
    #[error("the wet bulb at {wet_bulb_c} °C is above the dry bulb at {dry_bulb_c} °C")]
    WetAboveDry {
        /// Dry bulb, °C.
        dry_bulb_c: f64,
        /// Wet bulb, °C.
        wet_bulb_c: f64,
    },
    /// So dry that the psychrometer's formula gives a negative vapour pressure: one bulb is wrong.
    #[error(
        "a wet bulb at {wet_bulb_c} °C beside a dry bulb at {dry_bulb_c} °C would need less than \
         no vapour; one of the two readings is wrong"
    )]
    DrierThanDry {
        /// Dry bulb, °C.
        dry_bulb_c: f64,
        /// Wet bulb, °C.
        wet_bulb_c: f64,
    },
    /// A pressure that is not a positive number.
    #[error("a barometer of {pressure_kpa} kPa is no air pressure; it must be above 0 kPa")]
    Pressure {
        /// The pressure, kPa.
        pressure_kpa: f64,
    },
}

impl AirError {
    /// The declared input at fault.
    const fn input(&self) -> &'static str {
        match self {
            Self::OutsideFormula { .. } => "temperature",
            Self::Humidity { .. } => "humidity",
            Self::WetAboveDry { .. } | Self::DrierThanDry { .. } => "wet_bulb",
            Self::Pressure { .. } => "barometer",
        }
    }
}

impl From<AirError> for Refused {
    fn from(error: AirError) -> Self {
        Self::because(error.input(), error.to_string())
    }
}

/// Saturation pressure of water by IAPWS-IF97.
///
/// # Formula
/// `θ = T + n9/(T − n10)`, `A = θ² + n1 θ + n2`, `B = n3 θ² + n4 θ + n5`,
/// `C = n6 θ² + n7 θ + n8`, `p = (2C / (−B + √(B² − 4AC)))⁴` in MPa.
/// # Given
/// Temperature in K, 273.15 to 647.096.
/// # Returns
/// Saturation pressure in kPa.
/// # Errors
/// [`AirError::OutsideFormula`] outside that range, or if it is not a number.
/// # Validity
/// Over liquid water; within 0.025 % of the reference formulation there.
/// # Source
/// IAPWS R7-97(2012), region 4, equations 29 to 31 (coefficients from memory; they reproduce the
/// release's verification values to every printed digit).
/// # Example
/// Table 35 of the release: 300 K give 0.353658941e-2 MPa.
/// ```
/// use bedplate_engine::bed::air::saturation_pressure_if97_kpa;
/// assert_eq!(format!("{:.8}", saturation_pressure_if97_kpa(300.0)?), "3.53658941");
/// # Ok::<(), bedplate_engine::bed::air::AirError>(())
/// ```
pub fn saturation_pressure_if97_kpa(temperature_k: f64) -> Result<f64, AirError> {
    let [lower_k, upper_k] = IF97_RANGE_K;
    if !(lower_k <= temperature_k && temperature_k <= upper_k) {
        return Err(AirError::OutsideFormula { temperature_k, lower_k, upper_k });
    }
    let [n1, n2, n3, n4, n5, n6, n7, n8, n9, n10] = IF97_N;
    let theta = temperature_k + n9 / (temperature_k - n10);
    let a = (theta + n1) * theta + n2;
    let b = (n3 * theta + n4) * theta + n5;
    let c = (n6 * theta + n7) * theta + n8;
    let root = 2.0 * c / (-b + (b * b - 4.0 * a * c).sqrt());
    Ok(root.powi(4) * 1e3)
}

/// Saturation pressure of water by the Magnus form.
///
/// # Formula
/// `p = 0.6112 exp(17.62 t / (243.12 + t))` in kPa.
/// # Given
/// Temperature in °C, −45 to 60.
/// # Returns
/// Saturation pressure over water in kPa.
/// # Errors
/// [`AirError::OutsideFormula`] outside that range, or if it is not a number.
/// # Validity
/// Over water; within 0.35 % of IAPWS-IF97 from 0 to 60 °C (0.31 % below it at 25 °C).
/// # Source
/// WMO-No. 8, annex 4.B (coefficients from memory).
/// # Example
/// ```
/// use bedplate_engine::bed::air::saturation_pressure_magnus_kpa;
/// // Computed from the printed formula at 20 °C.
/// assert_eq!(format!("{:.9}", saturation_pressure_magnus_kpa(20.0)?), "2.332596022");
/// # Ok::<(), bedplate_engine::bed::air::AirError>(())
/// ```
pub fn saturation_pressure_magnus_kpa(temperature_c: f64) -> Result<f64, AirError> {
    let [lower_c, upper_c] = MAGNUS_RANGE_C;
    if !(lower_c <= temperature_c && temperature_c <= upper_c) {
        return Err(AirError::OutsideFormula {
            temperature_k: temperature_c + ZERO_CELSIUS_K,
            lower_k: lower_c + ZERO_CELSIUS_K,
            upper_k: upper_c + ZERO_CELSIUS_K,
        });
    }
    Ok(0.6112 * (17.62 * temperature_c / (243.12 + temperature_c)).exp())
}

/// Saturation pressure of water in kPa by the named formula.
///
/// # Given
/// Temperature in °C, in the range of the formula.
/// # Returns
/// Saturation pressure in kPa.
/// # Errors
/// [`AirError::OutsideFormula`] outside the formula's range.
/// # Source
/// [`saturation_pressure_if97_kpa`] or [`saturation_pressure_magnus_kpa`].
pub fn saturation_pressure_kpa(
    temperature_c: f64,
    formula: HumidityFormula,
) -> Result<f64, AirError> {
    match formula {
        HumidityFormula::If97 => saturation_pressure_if97_kpa(temperature_c + ZERO_CELSIUS_K),
        HumidityFormula::Magnus => saturation_pressure_magnus_kpa(temperature_c),
    }
}

/// Air of a known temperature and relative humidity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HumidAir {
    /// Temperature, °C.
    pub temperature_c: f64,
    /// Relative humidity as a share, 0 to 1.
    pub relative_humidity: f64,
}

/// A pair of thermometers, one with a wetted and aspirated bulb, beside a barometer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Psychrometer {
    /// Dry bulb, °C.
    pub dry_bulb_c: f64,
    /// Wet bulb, °C; not above the dry bulb.
    pub wet_bulb_c: f64,
    /// Barometer, kPa.
    pub barometer_kpa: f64,
}

/// The air at the inlet as the correction standards want it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InletAir {
    /// Total pressure, kPa.
    pub pressure_kpa: f64,
    /// Share of it that is water vapour, kPa.
    pub vapour_kpa: f64,
    /// Temperature, °C.
    pub temperature_c: f64,
}

impl InletAir {
    /// Pressure of the dry air alone, kPa: the barometer less the vapour.
    #[must_use]
    pub fn dry_pressure_kpa(&self) -> f64 {
        self.pressure_kpa - self.vapour_kpa
    }

    /// Temperature in kelvin.
    #[must_use]
    pub fn temperature_k(&self) -> f64 {
        self.temperature_c + ZERO_CELSIUS_K
    }
}

/// Vapour pressure from relative humidity.
///
/// # Formula
/// `e = φ p_sat(t)`.
/// # Given
/// Temperature in °C in the formula's range; relative humidity as a share, 0 to 1.
/// # Returns
/// Vapour pressure in kPa.
/// # Errors
/// [`AirError::Humidity`] outside 0 to 1, [`AirError::OutsideFormula`] for the temperature.
/// # Validity
/// Ordinary bed temperatures; the enhancement by the air's presence (under 0.5 %) is left out, as
/// the engine standards do.
/// # Source
/// Definition of relative humidity; saturation by the named formula.
/// # Example
/// ```
/// use bedplate_engine::bed::air::{HumidAir, HumidityFormula, vapour_pressure_kpa};
/// let air = HumidAir { temperature_c: 25.0, relative_humidity: 0.3 };
/// // ISO 3046-1: 25 °C at 30 % is its reference air; saturation 3.1697 kPa by IAPWS-IF97.
/// assert_eq!(format!("{:.3}", vapour_pressure_kpa(air, HumidityFormula::If97)?), "0.951");
/// # Ok::<(), bedplate_engine::bed::air::AirError>(())
/// ```
pub fn vapour_pressure_kpa(air: HumidAir, formula: HumidityFormula) -> Result<f64, AirError> {
    let share = air.relative_humidity;
    if !(0.0..=1.0).contains(&share) {
        return Err(AirError::Humidity { share });
    }
    Ok(share * saturation_pressure_kpa(air.temperature_c, formula)?)
}

/// Vapour pressure from dry and wet bulb of an aspirated psychrometer.
///
/// # Formula
/// `e = p_sat(t_w) − 6.53·10⁻⁴ (1 + 0.000944 t_w) p (t − t_w)`, pressures in one unit, °C.
/// # Given
/// Dry and wet bulb in °C, the wet one not above the dry one; barometer in kPa above zero.
/// # Returns
/// Vapour pressure in kPa, zero or more.
/// # Errors
/// [`AirError::WetAboveDry`], [`AirError::DrierThanDry`], [`AirError::Pressure`], and
/// [`AirError::OutsideFormula`] for the wet bulb.
/// # Validity
/// Bulb wetted with water, not ice, in a stream of at least about 3 m/s.
/// # Source
/// WMO-No. 8, annex 4.B, for the aspirated psychrometer (from memory).
/// # Example
/// FAO Irrigation and Drainage Paper 56, example 4 (from memory; its own coefficient is
/// 6.62·10⁻⁴): 25.6 °C dry, 19.5 °C wet, 87.9 kPa give 1.91 kPa.
/// ```
/// use bedplate_engine::bed::air::{HumidityFormula, Psychrometer, vapour_pressure_wet_bulb_kpa};
/// let bulbs = Psychrometer { dry_bulb_c: 25.6, wet_bulb_c: 19.5, barometer_kpa: 87.9 };
/// let vapour_kpa = vapour_pressure_wet_bulb_kpa(bulbs, HumidityFormula::If97)?;
/// assert_eq!(format!("{vapour_kpa:.2}"), "1.91");
/// # Ok::<(), bedplate_engine::bed::air::AirError>(())
/// ```
pub fn vapour_pressure_wet_bulb_kpa(
    bulbs: Psychrometer,
    formula: HumidityFormula,
) -> Result<f64, AirError> {
    let Psychrometer { dry_bulb_c, wet_bulb_c, barometer_kpa } = bulbs;
    if !(barometer_kpa > 0.0 && barometer_kpa.is_finite()) {
        return Err(AirError::Pressure { pressure_kpa: barometer_kpa });
    }
    let saturated_kpa = saturation_pressure_kpa(wet_bulb_c, formula)?;
    let in_order = wet_bulb_c <= dry_bulb_c;
    if !in_order {
        return Err(AirError::WetAboveDry { dry_bulb_c, wet_bulb_c });
    }
    let coefficient = 6.53e-4 * (1.0 + 0.000_944 * wet_bulb_c);
    let vapour_kpa = saturated_kpa - coefficient * barometer_kpa * (dry_bulb_c - wet_bulb_c);
    let possible = vapour_kpa >= 0.0;
    if !possible {
        return Err(AirError::DrierThanDry { dry_bulb_c, wet_bulb_c });
    }
    Ok(vapour_kpa)
}

/// Density of moist air.
///
/// # Formula
/// `ρ = (p − e)/(R_a T) + e/(R_v T)`, `R_a` = 287.05287 and `R_v` = 461.526 J/(kg·K).
/// # Given
/// Total and vapour pressure in kPa, temperature in °C.
/// # Returns
/// Density in kg/m³.
/// # Validity
/// Both as perfect gases: within 0.1 % at bed conditions.
/// # Source
/// Law of Dalton and the perfect gas; gas constants of ISO 2533 and IAPWS-IF97.
/// # Example
/// ISO 2533: the standard atmosphere, 101.325 kPa and 15 °C dry, has 1.225 kg/m³.
/// ```
/// use bedplate_engine::bed::air::{InletAir, density_kg_m3};
/// let air = InletAir { pressure_kpa: 101.325, vapour_kpa: 0.0, temperature_c: 15.0 };
/// assert_eq!(format!("{:.3}", density_kg_m3(air)), "1.225");
/// ```
#[must_use]
pub fn density_kg_m3(air: InletAir) -> f64 {
    let per_kelvin = air.dry_pressure_kpa() / R_DRY_AIR + air.vapour_kpa / R_VAPOUR;
    per_kelvin * 1e3 / air.temperature_k()
}

/// Air drawn by an engine at a speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirDrawn {
    /// Air taken in, kg/h.
    pub rate_kg_h: f64,
    /// Speed, rev/min; greater than zero.
    pub speed_rpm: f64,
}

/// Volumetric efficiency: the air taken in over the air that would fill the swept volume at the
/// state of the inlet.
///
/// # Formula
/// `η_v = m i / (ρ V n)`, `i` the revolutions of one cycle, `n` in revolutions a second.
/// # Given
/// Air rate in kg/h, speed in rev/min, displacement in l, inlet air.
/// # Returns
/// Volumetric efficiency as a share; above 1 when charged.
/// # Validity
/// Referred to the inlet's state, which must be named with the figure.
/// # Source
/// Definition.
/// # Example
/// ```
/// use bedplate_engine::bed::air::{AirDrawn, InletAir, volumetric_efficiency};
/// use bedplate_engine::bed::torque::{Cycle, EngineSize};
/// // 1 l, four-stroke, 3600 rev/min sweeps 1.8 m³/min; at 1.225 kg/m³ that is 132.3 kg/h.
/// let drawn = AirDrawn { rate_kg_h: 105.84, speed_rpm: 3600.0 };
/// let size = EngineSize { displacement_l: 1.0, cycle: Cycle::FourStroke };
/// let air = InletAir { pressure_kpa: 101.325, vapour_kpa: 0.0, temperature_c: 15.0 };
/// assert_eq!(format!("{:.3}", volumetric_efficiency(drawn, size, air)), "0.800");
/// ```
#[must_use]
pub fn volumetric_efficiency(drawn: AirDrawn, size: EngineSize, air: InletAir) -> f64 {
    let cycles_per_hour = drawn.speed_rpm * 60.0 / size.cycle.revolutions();
    let filling_kg_h = density_kg_m3(air) * size.displacement_l * 1e-3 * cycles_per_hour;
    drawn.rate_kg_h / filling_kg_h
}

const FORMULA: Input = Input::choice(
    "formula",
    HumidityFormula::WORDS,
    "saturation pressure by IAPWS-IF97 region 4 or by the Magnus form of WMO-No. 8",
)
.or("if97");

/// Declaration of [`saturation_pressure_kpa`].
pub const SATURATION_PRESSURE: Calculation = Calculation {
    name: "saturation-pressure",
    title: "Saturation pressure of water",
    stage: Stage::Bed,
    question: "How much vapour can air of this temperature hold?",
    inputs: &[Input::quantity("temperature", "K", "temperature of the air"), FORMULA],
    outputs: &[Output::figure("pressure", "kPa", "saturation pressure over water")],
    formula: "IF97: p = (2C/(−B + √(B² − 4AC)))⁴; Magnus: p = 0.6112 exp(17.62 t/(243.12 + t)) kPa",
    source: "IAPWS R7-97(2012) region 4, example its table 35; WMO-No. 8 annex 4.B (from memory)",
    validity: "IF97: 273.15 K to 647.096 K; Magnus: −45 °C to 60 °C.",
    example: &[("temperature", "300 K")],
    expected: &[("pressure", "3.53658941")],
    run: |given| {
        let temperature_k = given.number("temperature");
        let pressure_kpa = match formula_of(given.word("formula")) {
            HumidityFormula::If97 => saturation_pressure_if97_kpa(temperature_k)?,
            HumidityFormula::Magnus => {
                saturation_pressure_magnus_kpa(temperature_k - ZERO_CELSIUS_K)?
            }
        };
        Ok(Answer::new().figure("pressure", pressure_kpa))
    },
};

/// Declaration of [`vapour_pressure_kpa`].
pub const VAPOUR_PRESSURE: Calculation = Calculation {
    name: "vapour-pressure",
    title: "Vapour pressure from relative humidity",
    stage: Stage::Bed,
    question: "How much of the barometer's pressure is water vapour?",
    inputs: &[
        Input::quantity("temperature", "°C", "temperature of the air"),
        Input::quantity("humidity", "%", "relative humidity").at_least(0.0).at_most(100.0),
        FORMULA,
    ],
    outputs: &[Output::figure("vapour", "kPa", "vapour pressure")],
    formula: "e = φ p_sat(t)",
    source: "definition of relative humidity; saturation by IAPWS-IF97 or WMO-No. 8 (from memory)",
    validity: "Over water, in the temperature range of the formula.",
    example: &[("temperature", "20 °C"), ("humidity", "100 %"), ("formula", "magnus")],
    expected: &[("vapour", "2.332596022")],
    run: |given| {
        let air = HumidAir {
            temperature_c: given.number("temperature"),
            relative_humidity: given.number("humidity") / 100.0,
        };
        let vapour = vapour_pressure_kpa(air, formula_of(given.word("formula")))?;
        Ok(Answer::new().figure("vapour", vapour))
    },
};

/// Declaration of [`vapour_pressure_wet_bulb_kpa`].
pub const VAPOUR_PRESSURE_WET_BULB: Calculation = Calculation {
    name: "vapour-pressure-wet-bulb",
    title: "Vapour pressure from a wet bulb",
    stage: Stage::Bed,
    question: "How much of the barometer's pressure is water vapour, by wet and dry bulb?",
    inputs: &[
        Input::quantity("temperature", "°C", "dry bulb"),
        Input::quantity("wet_bulb", "°C", "wet bulb, aspirated"),
        Input::quantity("barometer", "kPa", "total pressure").over(0.0),
        FORMULA,
    ],
    outputs: &[
        Output::figure("vapour", "kPa", "vapour pressure"),
        Output::figure("humidity", "%", "relative humidity"),
    ],
    formula: "e = p_sat(t_w) − 6.53·10⁻⁴ (1 + 0.000944 t_w) p (t − t_w)",
    source: "WMO-No. 8 annex 4.B (from memory); example FAO Irrigation and Drainage Paper 56, \
             example 4 (from memory)",
    validity: "Bulb wetted with water, not ice, aspirated at about 3 m/s or more.",
    example: &[("temperature", "25.6 °C"), ("wet_bulb", "19.5 °C"), ("barometer", "87.9 kPa")],
    expected: &[("vapour", "1.91")],
    run: |given| {
        let formula = formula_of(given.word("formula"));
        let dry_bulb_c = given.number("temperature");
        let vapour = vapour_pressure_wet_bulb_kpa(
            Psychrometer {
                dry_bulb_c,
                wet_bulb_c: given.number("wet_bulb"),
                barometer_kpa: given.number("barometer"),
            },
            formula,
        )?;
        let saturated = saturation_pressure_kpa(dry_bulb_c, formula)?;
        Ok(Answer::new().figure("vapour", vapour).figure("humidity", vapour / saturated * 100.0))
    },
};

/// Declaration of [`volumetric_efficiency`].
pub const VOLUMETRIC_EFFICIENCY: Calculation = Calculation {
    name: "volumetric-efficiency",
    title: "Volumetric efficiency",
    stage: Stage::Bed,
    question: "How well do the cylinders fill?",
    inputs: &[
        Input::quantity("air_rate", "kg/h", "air taken in").at_least(0.0),
        Input::quantity("speed", "rev/min", "speed").over(0.0),
        Input::quantity("displacement", "l", "swept volume of all cylinders").over(0.0),
        Input::choice("cycle", Cycle::WORDS, "strokes of a working cycle").or("four-stroke"),
        Input::quantity("pressure", "kPa", "total pressure at the inlet").over(0.0),
        Input::quantity("temperature", "°C", "temperature at the inlet").over(-273.15),
        Input::quantity("vapour", "kPa", "vapour pressure at the inlet").at_least(0.0).or("0 kPa"),
    ],
    outputs: &[
        Output::figure("efficiency", "", "volumetric efficiency, referred to the inlet"),
        Output::figure("density", "kg/m³", "density of the air at the inlet"),
    ],
    formula: "η_v = m i / (ρ V n); ρ = (p − e)/(R_a T) + e/(R_v T)",
    source: "definition; density example ISO 2533 standard atmosphere",
    validity: "Perfect gases; referred to the state named.",
    example: &[
        ("air_rate", "105.84 kg/h"),
        ("speed", "3600 rev/min"),
        ("displacement", "1 l"),
        ("pressure", "101.325 kPa"),
        ("temperature", "15 °C"),
    ],
    expected: &[("efficiency", "0.800"), ("density", "1.225")],
    run: |given| {
        let air = InletAir {
            pressure_kpa: given.number("pressure"),
            vapour_kpa: given.number("vapour"),
            temperature_c: given.number("temperature"),
        };
        if air.vapour_kpa >= air.pressure_kpa {
            return Err(Refused::because("vapour", "the vapour must be less than the pressure"));
        }
        let cycle = Cycle::named(given.word("cycle")).expect("one of the declared words");
        let size = EngineSize { displacement_l: given.number("displacement"), cycle };
        let drawn =
            AirDrawn { rate_kg_h: given.number("air_rate"), speed_rpm: given.number("speed") };
        Ok(Answer::new()
            .figure("efficiency", volumetric_efficiency(drawn, size, air))
            .figure("density", density_kg_m3(air)))
    },
};

fn formula_of(word: &str) -> HumidityFormula {
    HumidityFormula::named(word).expect("one of the declared words")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn both_ends_of_each_range_are_taken_and_beyond_is_refused() {
        assert!(saturation_pressure_if97_kpa(273.15).is_ok());
        assert!(saturation_pressure_if97_kpa(273.149).is_err());
        // Critical pressure of water, IAPWS-IF97 clause 2: 22.064 MPa.
        let critical = saturation_pressure_if97_kpa(647.096).unwrap();
        assert!((critical - 22_064.0).abs() < 0.5, "{critical}");
        assert!(saturation_pressure_if97_kpa(647.097).is_err());
        assert!(saturation_pressure_magnus_kpa(-45.0).is_ok());
        assert!(saturation_pressure_magnus_kpa(60.01).is_err());
        for x in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(saturation_pressure_if97_kpa(x).is_err());
            assert!(saturation_pressure_magnus_kpa(x).is_err());
            let air = HumidAir { temperature_c: 20.0, relative_humidity: x };
            assert!(vapour_pressure_kpa(air, HumidityFormula::If97).is_err());
        }
    }

    #[test]
    fn a_wet_bulb_that_cannot_be_is_refused() {
        let at = |dry_bulb_c, wet_bulb_c| {
            let bulbs = Psychrometer { dry_bulb_c, wet_bulb_c, barometer_kpa: 100.0 };
            vapour_pressure_wet_bulb_kpa(bulbs, HumidityFormula::If97)
        };
        assert!(matches!(at(20.0, 20.1), Err(AirError::WetAboveDry { .. })));
        assert!(matches!(at(40.0, 10.0), Err(AirError::DrierThanDry { .. })));
        assert!(matches!(at(f64::NAN, 10.0), Err(AirError::WetAboveDry { .. })));
        let saturated = at(20.0, 20.0).unwrap();
        assert!((saturated - saturation_pressure_if97_kpa(293.15).unwrap()).abs() < 1e-12);
    }

    #[test]
    fn moist_air_is_as_dense_as_the_metrologists_say() {
        // CIPM-2007 density of moist air at 20 °C, 101.325 kPa, 50 %: 1.1992 kg/m³ (from memory);
        // it counts the carbon dioxide and the compressibility, which this does not: 0.1 %.
        let formula = HumidityFormula::If97;
        let humid = HumidAir { temperature_c: 20.0, relative_humidity: 0.5 };
        let air = InletAir {
            pressure_kpa: 101.325,
            vapour_kpa: vapour_pressure_kpa(humid, formula).unwrap(),
            temperature_c: 20.0,
        };
        assert!((density_kg_m3(air) / 1.1992 - 1.0).abs() < 1e-3);
    }

    proptest! {
        #[test]
        fn saturation_rises_with_temperature_and_the_two_formulas_agree(t in 0.0..59.0f64) {
            let if97 = saturation_pressure_kpa(t, HumidityFormula::If97).unwrap();
            let magnus = saturation_pressure_kpa(t, HumidityFormula::Magnus).unwrap();
            // The outside values of both at 25 °C already differ by 0.31 %.
            prop_assert!((magnus / if97 - 1.0).abs() < 0.0035);
            prop_assert!(saturation_pressure_kpa(t + 0.5, HumidityFormula::If97).unwrap() > if97);
            let warmer = saturation_pressure_kpa(t + 0.5, HumidityFormula::Magnus).unwrap();
            prop_assert!(warmer > magnus);
        }

        #[test]
        fn moist_air_is_lighter_than_dry_air(
            p in 85.0..105.0f64, e in 0.1..4.0f64, t in 0.0..45.0f64,
        ) {
            let dry = InletAir { pressure_kpa: p, vapour_kpa: 0.0, temperature_c: t };
            let moist = InletAir { vapour_kpa: e, ..dry };
            prop_assert!(density_kg_m3(moist) < density_kg_m3(dry));
        }
    }
}
