//! Power of an industrial engine where it will stand: adjustment of power and fuel between the
//! standard reference conditions and another site.

use bedplate_gauge::calculation::{Answer, Calculation, Input, Output, Refused, Stage};

use super::air::{AirError, HumidAir, HumidityFormula, ZERO_CELSIUS_K, vapour_pressure_kpa};

/// Exponents and humidity factor by which an engine answers to the air, as ISO 3046-1 tabulates
/// them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SiteExponents {
    /// Humidity factor a: 1 where dry air limits the power, 0 where it does not.
    pub humidity: f64,
    /// Exponent m of the pressure.
    pub pressure: f64,
    /// Exponent n of the air temperature.
    pub temperature: f64,
    /// Exponent q of the charge coolant's temperature.
    pub coolant: f64,
}

impl SiteExponents {
    /// Compression ignition, not turbocharged, power limited by excess air.
    ///
    /// # Source
    /// ISO 3046-1:2002, table of a, m, n, q (from memory).
    pub const NATURAL: Self =
        Self { humidity: 1.0, pressure: 1.0, temperature: 0.75, coolant: 0.0 };
    /// Compression ignition, turbocharged without charge cooling.
    ///
    /// # Source
    /// ISO 3046-1:2002, table of a, m, n, q (from memory).
    pub const TURBO: Self = Self { humidity: 0.0, pressure: 0.7, temperature: 2.0, coolant: 0.0 };
    /// Compression ignition, turbocharged with charge cooling.
    ///
    /// # Source
    /// ISO 3046-1:2002, table of a, m, n, q (from memory).
    pub const TURBO_COOLED: Self =
        Self { humidity: 0.0, pressure: 0.7, temperature: 1.2, coolant: 1.0 };

    /// The words by which an engine's kind is chosen, as in [`SiteExponents::named`].
    pub const WORDS: &'static [&'static str] = &["natural", "turbo", "turbo-cooled"];

    /// The exponents of this word, `None` if it is none of [`SiteExponents::WORDS`].
    #[must_use]
    pub fn named(word: &str) -> Option<Self> {
        match word {
            "natural" => Some(Self::NATURAL),
            "turbo" => Some(Self::TURBO),
            "turbo-cooled" => Some(Self::TURBO_COOLED),
            _ => None,
        }
    }
}

/// The air of a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SiteAir {
    /// Total barometric pressure, kPa.
    pub pressure_kpa: f64,
    /// Vapour pressure, kPa.
    pub vapour_kpa: f64,
    /// Temperature of the air, K.
    pub temperature_k: f64,
    /// Temperature of the charge coolant, K; counts only with charge cooling.
    pub coolant_k: f64,
}

/// Standard reference conditions of ISO 3046-1: 100 kPa, 298 K, 30 %, coolant 298 K.
pub const REFERENCE_PRESSURE_KPA: f64 = 100.0;
/// Temperature of the reference conditions, K.
pub const REFERENCE_TEMPERATURE_K: f64 = 298.0;
/// Relative humidity of the reference conditions, a share.
pub const REFERENCE_HUMIDITY: f64 = 0.3;

/// What becomes of power and fuel at another site.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Adjustment {
    /// Ratio of indicated power, site over reference.
    pub indicated: f64,
    /// Ratio of brake power, site over reference.
    pub power: f64,
    /// Ratio of specific fuel consumption, site over reference.
    pub fuel: f64,
}

/// Why a site's adjustment cannot be computed.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum SiteError {
    /// No dry air is left at the site or in the reference.
    #[error("a vapour pressure of {vapour_kpa} kPa leaves no dry air of {pressure_kpa} kPa")]
    NoDryAir {
        /// Total pressure, kPa.
        pressure_kpa: f64,
        /// Vapour pressure, kPa.
        vapour_kpa: f64,
    },
    /// A temperature that is not above absolute zero.
    #[error("a temperature of {temperature_k} K is not above absolute zero")]
    Temperature {
        /// The temperature, K.
        temperature_k: f64,
    },
    /// A mechanical efficiency that cannot be.
    #[error("a mechanical efficiency of {share} is outside 0 to 1; 0.8 is usual")]
    Efficiency {
        /// The efficiency as a share.
        share: f64,
    },
    /// So thin that the engine could not turn itself.
    #[error("the air is so thin that friction takes all power; the formula does not hold there")]
    NoPower,
}

impl From<SiteError> for Refused {
    fn from(error: SiteError) -> Self {
        let input = match error {
            SiteError::NoDryAir { .. } | SiteError::NoPower => "pressure",
            SiteError::Temperature { .. } => "temperature",
            SiteError::Efficiency { .. } => "mechanical_efficiency",
        };
        Self::because(input, error.to_string())
    }
}

/// Adjustment of power and specific fuel consumption from reference conditions to a site.
///
/// # Formula
/// `k = ((p_x − a e_x)/(p_r − a e_r))^m (T_r/T_x)^n (T_cr/T_cx)^q`,
/// `α = k − 0.7 (1 − k)(1/η_m − 1)`, `β = k/α`; `e = φ p_sat`.
/// # Given
/// Air of the site and of the reference; the engine's exponents; mechanical efficiency as a share
/// above 0, at most 1.
/// # Returns
/// Ratios site over reference: of indicated power `k`, brake power `α`, fuel consumption `β`.
/// A power measured at the site becomes the reference power by dividing by `α`.
/// # Errors
/// [`SiteError`] for air that cannot be, an efficiency that cannot be, or no power left.
/// # Validity
/// Engines whose power the air limits; friction does not change with the air beyond the factor 0.7.
/// # Source
/// ISO 3046-1:2002 (formulae and exponents from memory).
/// # Example
/// ```
/// use bedplate_engine::bed::site::{SiteAir, SiteExponents, adjust_to_site};
/// // Vapour pressures by IAPWS-IF97: 50 % at 300 K, 30 % at 25 °C.
/// let site = SiteAir {
///     pressure_kpa: 70.0, vapour_kpa: 0.5 * 3.536_589_41, temperature_k: 300.0, coolant_k: 298.0,
/// };
/// let reference = SiteAir {
///     pressure_kpa: 100.0, vapour_kpa: 0.3 * 3.169_746_85, temperature_k: 298.0, coolant_k: 298.0,
/// };
/// let adjusted = adjust_to_site(site, reference, SiteExponents::NATURAL, 0.8)?;
/// assert_eq!(format!("{:.6}", adjusted.power), "0.630369");
/// # Ok::<(), bedplate_engine::bed::site::SiteError>(())
/// ```
pub fn adjust_to_site(
    site: SiteAir,
    reference: SiteAir,
    exponents: SiteExponents,
    mechanical_efficiency: f64,
) -> Result<Adjustment, SiteError> {
    let share = mechanical_efficiency;
    if !(0.0 < share && share <= 1.0) {
        return Err(SiteError::Efficiency { share });
    }
    for temperature_k in
        [site.temperature_k, site.coolant_k, reference.temperature_k, reference.coolant_k]
    {
        if !(temperature_k > 0.0 && temperature_k.is_finite()) {
            return Err(SiteError::Temperature { temperature_k });
        }
    }
    let limiting = |air: SiteAir| {
        let pressure = air.pressure_kpa - exponents.humidity * air.vapour_kpa;
        if pressure > 0.0 && pressure.is_finite() {
            Ok(pressure)
        } else {
            let SiteAir { pressure_kpa, vapour_kpa, .. } = air;
            Err(SiteError::NoDryAir { pressure_kpa, vapour_kpa })
        }
    };
    let indicated = (limiting(site)? / limiting(reference)?).powf(exponents.pressure)
        * (reference.temperature_k / site.temperature_k).powf(exponents.temperature)
        * (reference.coolant_k / site.coolant_k).powf(exponents.coolant);
    let power = indicated - 0.7 * (1.0 - indicated) * (1.0 / share - 1.0);
    let drives = power > 0.0;
    if !drives {
        return Err(SiteError::NoPower);
    }
    Ok(Adjustment { indicated, power, fuel: indicated / power })
}

/// The reference air of ISO 3046-1.
///
/// # Errors
/// None in practice: the reference lies inside both humidity formulas.
pub fn reference_air(formula: HumidityFormula) -> Result<SiteAir, AirError> {
    // The standard writes 298 K for 25 °C; the vapour is that of 25 °C.
    let air = HumidAir { temperature_c: 25.0, relative_humidity: REFERENCE_HUMIDITY };
    Ok(SiteAir {
        pressure_kpa: REFERENCE_PRESSURE_KPA,
        vapour_kpa: vapour_pressure_kpa(air, formula)?,
        temperature_k: REFERENCE_TEMPERATURE_K,
        coolant_k: REFERENCE_TEMPERATURE_K,
    })
}

/// Declaration of [`adjust_to_site`].
pub const ISO_3046: Calculation = Calculation {
    name: "iso-3046-site",
    title: "Power at another site (ISO 3046-1)",
    stage: Stage::Bed,
    question: "What power and fuel consumption will this engine have where it will stand?",
    inputs: &[
        Input::choice("engine", SiteExponents::WORDS, "kind of engine").or("natural"),
        Input::quantity("pressure", "kPa", "total pressure at the site").over(0.0),
        Input::quantity("temperature", "K", "air temperature at the site").over(0.0),
        Input::quantity("humidity", "%", "relative humidity at the site")
            .at_least(0.0)
            .at_most(100.0),
        Input::quantity("coolant", "K", "charge coolant at the site; counts with charge cooling")
            .over(0.0)
            .or("298 K"),
        Input::quantity("mechanical_efficiency", "", "mechanical efficiency, a share")
            .over(0.0)
            .at_most(1.0)
            .or("0.8"),
    ],
    outputs: &[
        Output::figure("k", "", "ratio of indicated power, site over reference"),
        Output::figure("alpha", "", "ratio of brake power, site over reference"),
        Output::figure("beta", "", "ratio of specific fuel consumption, site over reference"),
    ],
    formula: "k = ((p_x − a e_x)/(p_r − a e_r))^m (T_r/T_x)^n (T_cr/T_cx)^q; \
              α = k − 0.7 (1 − k)(1/η_m − 1); β = k/α",
    source: "ISO 3046-1:2002 (from memory); vapour pressure by IAPWS-IF97",
    validity: "Against 100 kPa, 298 K, 30 %, coolant 298 K; engines whose power the air limits.",
    example: &[
        ("engine", "natural"),
        ("pressure", "70 kPa"),
        ("temperature", "300 K"),
        ("humidity", "50 %"),
        ("mechanical_efficiency", "0.8"),
    ],
    expected: &[("k", "0.68542044"), ("alpha", "0.63036902"), ("beta", "1.0873321")],
    run: |given| {
        let formula = HumidityFormula::If97;
        let temperature_k = given.number("temperature");
        let air = HumidAir {
            temperature_c: temperature_k - ZERO_CELSIUS_K,
            relative_humidity: given.number("humidity") / 100.0,
        };
        let site = SiteAir {
            pressure_kpa: given.number("pressure"),
            vapour_kpa: vapour_pressure_kpa(air, formula)?,
            temperature_k,
            coolant_k: given.number("coolant"),
        };
        let exponents =
            SiteExponents::named(given.word("engine")).expect("one of the declared words");
        let reference = reference_air(formula)?;
        let efficiency = given.number("mechanical_efficiency");
        let adjusted = adjust_to_site(site, reference, exponents, efficiency)?;
        Ok(Answer::new()
            .figure("k", adjusted.indicated)
            .figure("alpha", adjusted.power)
            .figure("beta", adjusted.fuel))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn air_that_cannot_be_is_refused() {
        let reference = reference_air(HumidityFormula::If97).unwrap();
        let at =
            |site, efficiency| adjust_to_site(site, reference, SiteExponents::NATURAL, efficiency);
        assert!(matches!(at(reference, 0.0), Err(SiteError::Efficiency { .. })));
        assert!(matches!(at(reference, f64::NAN), Err(SiteError::Efficiency { .. })));
        let vapour = SiteAir { pressure_kpa: 0.9, ..reference };
        assert!(matches!(at(vapour, 0.8), Err(SiteError::NoDryAir { .. })));
        let cold = SiteAir { temperature_k: f64::NAN, ..reference };
        assert!(matches!(at(cold, 0.8), Err(SiteError::Temperature { .. })));
        let thin = SiteAir { pressure_kpa: 10.0, ..reference };
        assert!(matches!(at(thin, 0.8), Err(SiteError::NoPower)));
    }

    proptest! {
        #[test]
        fn nothing_changes_at_the_reference_and_thin_air_costs_power(
            p in 60.0..99.0f64, eta in 0.5..1.0f64,
        ) {
            let reference = reference_air(HumidityFormula::If97).unwrap();
            for word in SiteExponents::WORDS {
                let exponents = SiteExponents::named(word).unwrap();
                let same = adjust_to_site(reference, reference, exponents, eta).unwrap();
                prop_assert!((same.power - 1.0).abs() < 1e-14 && (same.fuel - 1.0).abs() < 1e-14);
                let site = SiteAir { pressure_kpa: p, ..reference };
                let thin = adjust_to_site(site, reference, exponents, eta).unwrap();
                prop_assert!(thin.power < 1.0 && thin.power <= thin.indicated && thin.fuel >= 1.0);
            }
        }
    }
}
