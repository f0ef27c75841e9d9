//! From the air of the day to the standard's reference air: the factor by which observed torque
//! and power are multiplied.
//!
//! The factor functions give the plain figure whatever the air; [`allowed`] holds it against the
//! ranges in which the standard lets it be used. A report may state a factor that is out of range
//! together with the air it was taken in, but nothing here corrects by it.

use bedplate_gauge::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};

use super::torque::EngineSize;

/// The air at the inlet, as the factors want it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DryAir {
    /// Pressure without the vapour, kPa.
    pub dry_pressure_kpa: f64,
    /// Temperature, K.
    pub temperature_k: f64,
}

/// How a compression-ignition engine is charged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Charging {
    /// Naturally aspirated or charged by a mechanically driven blower.
    Natural,
    /// Turbocharged, with or without cooling of the charge.
    Turbo,
}

impl Charging {
    /// The words by which it is chosen, as in [`Charging::named`].
    pub const WORDS: &'static [&'static str] = &["natural", "turbo"];

    /// The charging of this word, `None` if it is none of [`Charging::WORDS`].
    #[must_use]
    pub fn named(word: &str) -> Option<Self> {
        match word {
            "natural" => Some(Self::Natural),
            "turbo" => Some(Self::Turbo),
            _ => None,
        }
    }
}

/// Fuel delivery and charging of a compression-ignition engine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Charge {
    /// Natural or turbo.
    pub charging: Charging,
    /// Fuel delivered for each litre swept and cycle, mg/l.
    pub delivery_mg_l: f64,
    /// Absolute pressure after the compressor over that before it; 1 without one. Above zero.
    pub boost_ratio: f64,
}

/// The compression-ignition factor with its parts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CompressionFactor {
    /// Atmospheric factor.
    pub atmospheric: f64,
    /// Corrected fuel delivery, mg/l.
    pub corrected_delivery_mg_l: f64,
    /// Engine factor, the exponent.
    pub engine: f64,
    /// The correction factor.
    pub factor: f64,
}

/// A rule of correction, by the standard's number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rule {
    /// ISO 1585 for positive (spark) ignition.
    Iso1585Spark,
    /// ISO 1585 for compression ignition.
    Iso1585Compression,
    /// J1349 in its revisions from 2004.
    J1349,
    /// The older DIN 70020.
    Din70020,
}

/// What a rule allows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Allowed {
    /// Least and greatest temperature of the inlet air, K.
    pub temperature_k: Option<[f64; 2]>,
    /// Least and greatest dry pressure, kPa.
    pub dry_pressure_kpa: Option<[f64; 2]>,
    /// Least and greatest factor.
    pub factor: Option<[f64; 2]>,
}

impl Rule {
    /// The standard's number as it is printed.
    #[must_use]
    pub const fn number(self) -> &'static str {
        match self {
            Self::Iso1585Spark => "ISO 1585 (spark ignition)",
            Self::Iso1585Compression => "ISO 1585 (compression ignition)",
            Self::J1349 => "J1349",
            Self::Din70020 => "DIN 70020",
        }
    }

    /// The ranges of air and factor in which the rule may be used.
    ///
    /// # Source
    /// ISO 1585:1992 (from memory); the compression-ignition range 0.9 to 1.1 and 80 to 110 kPa as
    /// printed in an engine maker's published workshop manual. DIN 70020 states none.
    #[must_use]
    pub const fn allowed(self) -> Allowed {
        match self {
            Self::Iso1585Spark => Allowed {
                temperature_k: Some([288.0, 308.0]),
                dry_pressure_kpa: Some([80.0, 110.0]),
                factor: Some([0.93, 1.07]),
            },
            Self::Iso1585Compression => Allowed {
                temperature_k: Some([283.0, 313.0]),
                dry_pressure_kpa: Some([80.0, 110.0]),
                factor: Some([0.9, 1.1]),
            },
            Self::J1349 => {
                Allowed { temperature_k: None, dry_pressure_kpa: None, factor: Some([0.93, 1.07]) }
            }
            Self::Din70020 => Allowed { temperature_k: None, dry_pressure_kpa: None, factor: None },
        }
    }
}

/// Why an observed figure is not corrected.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum CorrectionError {
    /// The factor lies outside the range of the rule.
    #[error(
        "not corrected: the factor {factor:.4} is outside the {lower} to {upper} that {} allows; \
         test again in air nearer the reference",
        .rule.number()
    )]
    Factor {
        /// The rule.
        rule: Rule,
        /// The factor.
        factor: f64,
        /// Least factor allowed.
        lower: f64,
        /// Greatest factor allowed.
        upper: f64,
    },
    /// The air is too cold or too warm for the rule.
    #[error(
        "not corrected: inlet air of {temperature_k:.2} K is outside the {lower_k} to {upper_k} K \
         that {} allows",
        .rule.number()
    )]
    Temperature {
        /// The rule.
        rule: Rule,
        /// Temperature of the inlet air, K.
        temperature_k: f64,
        /// Least temperature allowed, K.
        lower_k: f64,
        /// Greatest temperature allowed, K.
        upper_k: f64,
    },
    /// The dry pressure is too low or too high for the rule.
    #[error(
        "not corrected: a dry pressure of {dry_pressure_kpa:.2} kPa is outside the {lower_kpa} kPa \
         to {upper_kpa} kPa that {} allows",
        .rule.number()
    )]
    Pressure {
        /// The rule.
        rule: Rule,
        /// Dry pressure, kPa.
        dry_pressure_kpa: f64,
        /// Least pressure allowed, kPa.
        lower_kpa: f64,
        /// Greatest pressure allowed, kPa.
        upper_kpa: f64,
    },
}

/// Fuel delivered for each litre of swept volume and working cycle.
///
/// # Formula
/// `q = m i / (n V)`, `i` the revolutions of one cycle.
/// # Given
/// Fuel rate in kg/h; speed in rev/min, above zero; size of the engine.
/// # Returns
/// Delivery in mg/l.
/// # Validity
/// Steady running.
/// # Source
/// Definition; equals ISO 1585's 120 000 (four-stroke) or 60 000 (two-stroke) times g/s over
/// litres and rev/min.
/// # Example
/// ```
/// use bedplate_engine::bed::correction::delivery_mg_l;
/// use bedplate_engine::bed::torque::{Cycle, EngineSize};
/// let size = EngineSize { displacement_l: 2.0, cycle: Cycle::FourStroke };
/// // 1 g/s at 1200 rev/min in 2 l: 120 000 · 1 / (2 · 1200).
/// assert_eq!(format!("{:.3}", delivery_mg_l(3.6, 1200.0, size)), "50.000");
/// ```
#[must_use]
pub fn delivery_mg_l(fuel_rate_kg_h: f64, speed_rpm: f64, size: EngineSize) -> f64 {
    let cycles_per_hour = speed_rpm * 60.0 / size.cycle.revolutions();
    fuel_rate_kg_h * 1e6 / cycles_per_hour / size.displacement_l
}

/// Factor for spark ignition by ISO 1585.
///
/// # Formula
/// `α = (99/p_s)^1.2 (T/298)^0.6`, `p_s` the dry pressure in kPa, `T` in K.
/// # Given
/// Dry pressure and temperature of the inlet air, both above zero.
/// # Returns
/// The factor, above 1 in air thinner than the reference air (99 kPa dry, 298 K).
/// # Validity
/// Full load at a set mixture. Use with [`allowed`]: 0.93 to 1.07, 288 K to 308 K, 80 kPa to
/// 110 kPa.
/// # Source
/// ISO 1585:1992, likewise ISO 15550 and UN Regulation 85 (from memory).
/// # Example
/// ```
/// use bedplate_engine::bed::correction::{DryAir, iso_1585_spark};
/// // By definition 1 in the reference air.
/// let reference = DryAir { dry_pressure_kpa: 99.0, temperature_k: 298.0 };
/// assert_eq!(iso_1585_spark(reference), 1.0);
/// ```
#[must_use]
pub fn iso_1585_spark(air: DryAir) -> f64 {
    (99.0 / air.dry_pressure_kpa).powf(1.2) * (air.temperature_k / 298.0).powf(0.6)
}

/// Factor for compression ignition by ISO 1585.
///
/// # Formula
/// `α = f_a^f_m`; natural `f_a = (99/p_s)(T/298)^0.7`, turbo `f_a = (99/p_s)^0.7 (T/298)^1.5`;
/// `q_c = q/r`; `f_m = 0.036 q_c − 1.14`, held at 0.3 below 40 mg/l and at 1.2 above 65 mg/l.
/// # Given
/// Air as in [`iso_1585_spark`]; fuel delivery in mg/l and cycle; boost ratio above zero.
/// # Returns
/// The factor with its parts.
/// # Validity
/// Full load at a set fuel delivery. Use with [`allowed`]: 0.9 to 1.1, 283 K to 313 K, 80 kPa to
/// 110 kPa. Editions differ at the lower end: another begins the sloped part at 37.2 mg/l with 0.2.
/// # Source
/// ISO 1585:1992, likewise UN Regulation 85: slope, 65 mg/l and reference air as read in an engine
/// maker's published workshop manual; exponents and the 40 mg/l from memory.
/// # Example
/// ```
/// use bedplate_engine::bed::correction::{Charge, Charging, DryAir, iso_1585_compression};
/// let air = DryAir { dry_pressure_kpa: 96.4, temperature_k: 306.0 };
/// let charge =
///     Charge { charging: Charging::Natural, delivery_mg_l: 52.0, boost_ratio: 1.0 };
/// // Arithmetic from the formula.
/// assert_eq!(format!("{:.9}", iso_1585_compression(air, charge).factor), "1.033607897");
/// ```
#[must_use]
pub fn iso_1585_compression(air: DryAir, charge: Charge) -> CompressionFactor {
    let pressure = 99.0 / air.dry_pressure_kpa;
    let temperature = air.temperature_k / 298.0;
    let atmospheric = match charge.charging {
        Charging::Natural => pressure * temperature.powf(0.7),
        Charging::Turbo => pressure.powf(0.7) * temperature.powf(1.5),
    };
    let corrected_delivery_mg_l = charge.delivery_mg_l / charge.boost_ratio;
    let engine = if corrected_delivery_mg_l < 40.0 {
        0.3
    } else if corrected_delivery_mg_l > 65.0 {
        1.2
    } else {
        0.036 * corrected_delivery_mg_l - 1.14
    };
    let factor = atmospheric.powf(engine);
    CompressionFactor { atmospheric, corrected_delivery_mg_l, engine, factor }
}

/// Factor by J1349 with a mechanical efficiency of 85 % taken for granted.
///
/// # Formula
/// `c = 1.180 (99/p_d) ((t + 273)/298)^0.5 − 0.18`.
/// # Given
/// Dry pressure in kPa above zero; temperature in K (`t + 273` is taken as `T − 0.15`).
/// # Returns
/// The factor.
/// # Validity
/// Spark ignition, naturally aspirated, full load.
/// # Source
/// J1349, revisions from 2004 (from memory).
/// # Example
/// ```
/// use bedplate_engine::bed::correction::{DryAir, j1349};
/// // Arithmetic from the formula at 97 kPa dry and 32 °C.
/// let air = DryAir { dry_pressure_kpa: 97.0, temperature_k: 305.15 };
/// assert_eq!(format!("{:.9}", j1349(air)), "1.038392607");
/// ```
#[must_use]
pub fn j1349(air: DryAir) -> f64 {
    let temperature = (air.temperature_k - 0.15) / 298.0;
    1.180 * (99.0 / air.dry_pressure_kpa) * temperature.sqrt() - 0.18
}

/// Factor by the older DIN 70020, on the whole pressure of the barometer.
///
/// # Formula
/// `c = (101.3/p) ((t + 273)/293)^0.5`, `p` in kPa, vapour included.
/// # Given
/// Total pressure in kPa above zero; temperature in °C above −273.
/// # Returns
/// The factor.
/// # Validity
/// For comparison with figures of its time; it leaves humidity out.
/// # Source
/// DIN 70020, older rule (from memory).
/// # Example
/// ```
/// use bedplate_engine::bed::correction::din_70020;
/// // Arithmetic from the formula at 970 mbar and 32 °C.
/// assert_eq!(format!("{:.9}", din_70020(97.0, 32.0)), "1.065500899");
/// ```
#[must_use]
pub fn din_70020(pressure_kpa: f64, temperature_c: f64) -> f64 {
    101.3 / pressure_kpa * ((temperature_c + 273.0) / 293.0).sqrt()
}

/// The factor if the rule allows its use in this air.
///
/// # Given
/// The rule, the air and the factor computed for it.
/// # Returns
/// The factor unchanged; both ends of every range belong to it.
/// # Errors
/// [`CorrectionError::Temperature`], [`CorrectionError::Pressure`] or [`CorrectionError::Factor`],
/// in this order; a figure that is not a number is outside every range.
/// # Source
/// The ranges of [`Rule::allowed`].
pub fn allowed(rule: Rule, air: DryAir, factor: f64) -> Result<f64, CorrectionError> {
    let range = rule.allowed();
    let DryAir { dry_pressure_kpa, temperature_k } = air;
    match range.temperature_k {
        Some([lower_k, upper_k]) if !(lower_k <= temperature_k && temperature_k <= upper_k) => {
            return Err(CorrectionError::Temperature { rule, temperature_k, lower_k, upper_k });
        }
        _ => {}
    }
    match range.dry_pressure_kpa {
        Some([lower_kpa, upper_kpa])
            if !(lower_kpa <= dry_pressure_kpa && dry_pressure_kpa <= upper_kpa) =>
        {
            return Err(CorrectionError::Pressure { rule, dry_pressure_kpa, lower_kpa, upper_kpa });
        }
        _ => {}
    }
    let [lower, upper] = range.factor.unwrap_or([0.0, f64::MAX]);
    if lower <= factor && factor <= upper {
        Ok(factor)
    } else {
        Err(CorrectionError::Factor { rule, factor, lower, upper })
    }
}

const PRESSURE: Input = Input::quantity(
    "pressure",
    "kPa",
    "total pressure of the inlet air; the dry pressure if the vapour is 0",
)
.over(0.0);
const VAPOUR: Input =
    Input::quantity("vapour", "kPa", "vapour pressure of the inlet air").at_least(0.0).or("0 kPa");
const TEMPERATURE: Input =
    Input::quantity("temperature", "K", "temperature of the inlet air").over(0.0);
const OBSERVED: Input =
    Input::quantity("power", "kW", "observed power; left out, only the factor is given").or("0 kW");

const DRY: Output = Output::figure("dry_pressure", "kPa", "pressure of the dry air");
const FACTOR: Output = Output::figure("factor", "", "correction factor");
const IN_RANGE: Output = Output::figure("in_range", "", "yes if the standard allows it, else no");
const CORRECTED: Output =
    Output::figure("corrected_power", "kW", "power in the reference air, or why it is not given");

fn dry_air(given: &Given) -> Result<DryAir, Refused> {
    let dry_pressure_kpa = given.number("pressure") - given.number("vapour");
    if dry_pressure_kpa <= 0.0 {
        return Err(Refused::because("vapour", "the vapour must be less than the pressure"));
    }
    Ok(DryAir { dry_pressure_kpa, temperature_k: given.number("temperature") })
}

fn with_verdict(answer: Answer, rule: Rule, air: DryAir, factor: f64, given: &Given) -> Answer {
    let verdict = allowed(rule, air, factor);
    let answer = answer.word("in_range", if verdict.is_ok() { "yes" } else { "no" });
    let power_kw = given.number("power");
    match verdict {
        Ok(_) if power_kw == 0.0 => answer,
        Ok(factor) => answer.figure("corrected_power", power_kw * factor),
        Err(why) => answer.word("corrected_power", why.to_string()),
    }
}

/// Declaration of [`iso_1585_spark`].
pub const ISO_1585_SPARK: Calculation = Calculation {
    name: "iso-1585-spark",
    title: "Correction to reference air, spark ignition (ISO 1585)",
    stage: Stage::Bed,
    question: "What power would this petrol engine have made in reference air?",
    inputs: &[PRESSURE, VAPOUR, TEMPERATURE, OBSERVED],
    outputs: &[DRY, FACTOR, IN_RANGE, CORRECTED],
    formula: "α = (99/p_s)^1.2 (T/298)^0.6, p_s dry pressure in kPa",
    source: "ISO 1585:1992, likewise ISO 15550 and UN Regulation 85 (from memory)",
    validity: "Full load; factor 0.93 to 1.07, 288 K to 308 K, 80 kPa to 110 kPa dry.",
    example: &[
        ("pressure", "97.2 kPa"),
        ("vapour", "1.9 kPa"),
        ("temperature", "303 K"),
        ("power", "60 kW"),
    ],
    expected: &[
        ("dry_pressure", "95.3"),
        ("factor", "1.057271612"),
        ("in_range", "yes"),
        ("corrected_power", "63.43629671"),
    ],
    run: |given| {
        let air = dry_air(given)?;
        let factor = iso_1585_spark(air);
        let answer =
            Answer::new().figure("dry_pressure", air.dry_pressure_kpa).figure("factor", factor);
        Ok(with_verdict(answer, Rule::Iso1585Spark, air, factor, given))
    },
};

/// Declaration of [`iso_1585_compression`].
pub const ISO_1585_COMPRESSION: Calculation = Calculation {
    name: "iso-1585-compression",
    title: "Correction to reference air, compression ignition (ISO 1585)",
    stage: Stage::Bed,
    question: "What power would this oil engine have made in reference air?",
    inputs: &[
        PRESSURE,
        VAPOUR,
        TEMPERATURE,
        Input::choice("charging", Charging::WORDS, "natural (or mechanically charged) or turbo")
            .or("natural"),
        Input::quantity("delivery", "mg/l", "fuel for each litre swept and cycle").at_least(0.0),
        Input::quantity("boost_ratio", "", "absolute pressure after over before the compressor")
            .over(0.0)
            .or("1"),
        OBSERVED,
    ],
    outputs: &[
        Output::figure("atmospheric_factor", "", "f_a"),
        Output::figure("corrected_delivery", "mg/l", "q_c"),
        Output::figure("engine_factor", "", "f_m"),
        FACTOR,
        IN_RANGE,
        CORRECTED,
    ],
    formula: "α = f_a^f_m; f_a = (99/p_s)(T/298)^0.7 natural, (99/p_s)^0.7 (T/298)^1.5 turbo; \
              f_m = 0.036 q/r − 1.14, 0.3 below 40 mg/l, 1.2 above 65 mg/l",
    source: "ISO 1585:1992, likewise UN Regulation 85 (partly from memory)",
    validity: "Full load; factor 0.9 to 1.1, 283 K to 313 K, 80 kPa to 110 kPa dry. Editions \
               differ between 37.2 mg/l and 40 mg/l.",
    example: &[
        ("pressure", "97.5 kPa"),
        ("temperature", "301 K"),
        ("charging", "turbo"),
        ("delivery", "96 mg/l"),
        ("boost_ratio", "1.9"),
    ],
    expected: &[
        ("atmospheric_factor", "1.026045813"),
        ("corrected_delivery", "50.52631579"),
        ("engine_factor", "0.6789473684"),
        ("factor", "1.017610635"),
        ("in_range", "yes"),
    ],
    run: |given| {
        let air = dry_air(given)?;
        let charge = Charge {
            charging: Charging::named(given.word("charging")).expect("one of the declared words"),
            delivery_mg_l: given.number("delivery"),
            boost_ratio: given.number("boost_ratio"),
        };
        let parts = iso_1585_compression(air, charge);
        let answer = Answer::new()
            .figure("atmospheric_factor", parts.atmospheric)
            .figure("corrected_delivery", parts.corrected_delivery_mg_l)
            .figure("engine_factor", parts.engine)
            .figure("factor", parts.factor);
        Ok(with_verdict(answer, Rule::Iso1585Compression, air, parts.factor, given))
    },
};

/// Declaration of [`j1349`].
pub const J1349: Calculation = Calculation {
    name: "j1349-factor",
    title: "Correction factor by J1349",
    stage: Stage::Bed,
    question: "What factor does J1349 put on the observed power?",
    inputs: &[PRESSURE, VAPOUR, TEMPERATURE, OBSERVED],
    outputs: &[DRY, FACTOR, IN_RANGE, CORRECTED],
    formula: "c = 1.180 (99/p_d) ((t + 273)/298)^0.5 − 0.18",
    source: "J1349, revisions from 2004 (from memory)",
    validity: "Spark ignition, naturally aspirated, full load; 85 % mechanical efficiency taken \
               for granted; factor 0.93 to 1.07.",
    example: &[("pressure", "97 kPa"), ("temperature", "32 °C")],
    expected: &[("dry_pressure", "97"), ("factor", "1.038392607"), ("in_range", "yes")],
    run: |given| {
        let air = dry_air(given)?;
        let factor = j1349(air);
        let answer =
            Answer::new().figure("dry_pressure", air.dry_pressure_kpa).figure("factor", factor);
        Ok(with_verdict(answer, Rule::J1349, air, factor, given))
    },
};

/// Declaration of [`din_70020`].
pub const DIN_70020: Calculation = Calculation {
    name: "din-70020-factor",
    title: "Correction factor by the older DIN 70020",
    stage: Stage::Bed,
    question: "What factor did DIN 70020 put on the observed power?",
    inputs: &[
        Input::quantity("pressure", "kPa", "total pressure, vapour included").over(0.0),
        Input::quantity("temperature", "°C", "temperature of the inlet air").over(-273.0),
    ],
    outputs: &[FACTOR],
    formula: "c = (101.3/p) ((t + 273)/293)^0.5",
    source: "DIN 70020, older rule (from memory)",
    validity: "For comparison with figures of its time; humidity is left out.",
    example: &[("pressure", "97 kPa"), ("temperature", "32 °C")],
    expected: &[("factor", "1.065500899")],
    run: |given| {
        let factor = din_70020(given.number("pressure"), given.number("temperature"));
        Ok(Answer::new().figure("factor", factor))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const REFERENCE: DryAir = DryAir { dry_pressure_kpa: 99.0, temperature_k: 298.0 };

    #[test]
    fn ends_of_the_ranges_are_inside_and_beyond_them_is_refused() {
        let spark = |p, t, f| {
            allowed(Rule::Iso1585Spark, DryAir { dry_pressure_kpa: p, temperature_k: t }, f)
        };
        assert!(spark(80.0, 288.0, 0.93).is_ok());
        assert!(spark(110.0, 308.0, 1.07).is_ok());
        assert!(matches!(spark(99.0, 298.0, 1.0701), Err(CorrectionError::Factor { .. })));
        assert!(matches!(spark(99.0, 287.9, 1.0), Err(CorrectionError::Temperature { .. })));
        assert!(matches!(spark(79.9, 298.0, 1.0), Err(CorrectionError::Pressure { .. })));
        for x in [f64::NAN, f64::INFINITY] {
            assert!(spark(x, 298.0, 1.0).is_err());
            assert!(spark(99.0, x, 1.0).is_err());
            assert!(spark(99.0, 298.0, x).is_err());
            assert!(allowed(Rule::Din70020, REFERENCE, x).is_err());
        }
    }

    #[test]
    fn the_refusal_says_what_would_have_been_right() {
        let why = allowed(Rule::Iso1585Spark, REFERENCE, 1.0912).unwrap_err().to_string();
        assert!(why.contains("1.0912") && why.contains("0.93 to 1.07"), "{why}");
    }

    #[test]
    fn the_engine_factor_has_no_step_at_its_ends() {
        let at = |delivery_mg_l| {
            let charge = Charge { charging: Charging::Natural, delivery_mg_l, boost_ratio: 1.0 };
            iso_1585_compression(REFERENCE, charge).engine
        };
        // ISO 1585: 0.3 at 40 mg/l and 1.2 at 65 mg/l.
        assert!((at(40.0) - 0.3).abs() < 1e-12 && (at(39.999_999) - 0.3).abs() < 1e-12);
        assert!((at(65.0) - 1.2).abs() < 1e-12 && (at(65.000_001) - 1.2).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn every_factor_is_one_in_the_reference_air_and_falls_with_pressure(
            p in 85.0..105.0f64, t in 285.0..310.0f64, q in 0.0..120.0f64, r in 1.0..3.0f64,
        ) {
            let air = DryAir { dry_pressure_kpa: p, temperature_k: t };
            let denser = DryAir { dry_pressure_kpa: p + 1.0, ..air };
            let warmer = DryAir { temperature_k: t + 1.0, ..air };
            for charging in [Charging::Natural, Charging::Turbo] {
                let charge = Charge { charging, delivery_mg_l: q, boost_ratio: r };
                let at = |air| iso_1585_compression(air, charge).factor;
                prop_assert!((at(REFERENCE) - 1.0).abs() < 1e-14);
                prop_assert!(at(denser) < at(air));
                prop_assert!(at(warmer) > at(air));
            }
            prop_assert!(iso_1585_spark(denser) < iso_1585_spark(air));
            prop_assert!(j1349(denser) < j1349(air));
        }
    }
}
