//! One point of a test schedule: from what the bed's instruments show to observed and corrected
//! torque, power, mean effective pressure and fuel consumption, with the uncertainty that the
//! instruments leave in the corrected figures.

use bedplate_gauge::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};

use super::air::{AirError, HumidityFormula, InletAir, ZERO_CELSIUS_K, saturation_pressure_kpa};
use super::correction::{
    Charge, Charging, CorrectionError, DryAir, Rule, allowed, delivery_mg_l, din_70020,
    iso_1585_compression, iso_1585_spark, j1349,
};
use super::fuel::{FuelForPower, FuelReading, fuel_rate_kg_h, specific_consumption_g_kwh};
use super::site::{SiteAir, SiteError, SiteExponents, adjust_to_site, reference_air};
use super::torque::{
    BrakeLoad, Cycle, EngineSize, Turning, brake_torque_nm, mean_effective_pressure_bar, power_kw,
};

/// How the brake shows its torque.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Load {
    /// A force on an arm.
    Brake(BrakeLoad),
    /// Torque directly, N·m.
    Torque {
        /// Torque, N·m.
        torque_nm: f64,
    },
}

impl Load {
    fn torque_nm(self) -> f64 {
        match self {
            Self::Brake(brake) => brake_torque_nm(brake),
            Self::Torque { torque_nm } => torque_nm,
        }
    }
}

/// The standard the plan names for reference air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Standard {
    /// ISO 1585, spark ignition.
    Iso1585Spark,
    /// ISO 1585, compression ignition; needs the fuel channel.
    Iso1585Compression {
        /// Natural or turbo.
        charging: Charging,
        /// Absolute pressure after over before the compressor; 1 without one.
        boost_ratio: f64,
    },
    /// ISO 3046-1, from the site of the bed to its reference conditions.
    Iso3046 {
        /// The engine's exponents.
        exponents: SiteExponents,
        /// Mechanical efficiency as a share.
        mechanical_efficiency: f64,
        /// Temperature of the charge coolant, °C.
        coolant_c: f64,
    },
    /// J1349 in its revisions from 2004.
    J1349,
    /// The older DIN 70020.
    Din70020,
}

/// Standard uncertainties of the instruments, each in the unit of its reading; 0 where it is
/// negligible.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PointUncertainty {
    /// Of the brake's force, N (with [`Load::Brake`]).
    pub load_n: f64,
    /// Of the arm, m (with [`Load::Brake`]).
    pub arm_m: f64,
    /// Of the torque, N·m (with [`Load::Torque`]).
    pub torque_nm: f64,
    /// Of the speed, rev/min.
    pub speed_rpm: f64,
    /// Of the air temperature, K.
    pub air_temperature_k: f64,
    /// Of the barometer, kPa.
    pub barometer_kpa: f64,
    /// Of the relative humidity, a share.
    pub relative_humidity: f64,
    /// Of the fuel rate, relative to it; counts only where the factor depends on fuel.
    pub fuel_rate_relative: f64,
}

/// What the instruments show at one point. Missing channels are `None`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PointReadings {
    /// Torque, or force and arm.
    pub load: Load,
    /// Speed, rev/min; above zero.
    pub speed_rpm: f64,
    /// Fuel and the time it took.
    pub fuel: Option<FuelReading>,
    /// Temperature of the inlet air, °C.
    pub air_temperature_c: f64,
    /// Barometer, kPa; above zero.
    pub barometer_kpa: f64,
    /// Relative humidity as a share, 0 to 1.
    pub relative_humidity: Option<f64>,
    /// Displacement and cycle.
    pub size: EngineSize,
    /// The standard to correct by.
    pub standard: Standard,
    /// Which formula turns humidity into vapour pressure.
    pub humidity_formula: HumidityFormula,
    /// Standard uncertainties of the instruments, if known.
    pub uncertainty: Option<PointUncertainty>,
}

/// Torque, power, mean effective pressure and consumption of one state.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figures {
    /// Torque, N·m.
    pub torque_nm: f64,
    /// Brake power, kW.
    pub power_kw: f64,
    /// Brake mean effective pressure, bar.
    pub bmep_bar: f64,
    /// Brake specific fuel consumption, g/kWh; `None` without a fuel reading or without power.
    pub bsfc_g_kwh: Option<f64>,
}

/// An instrument of the bed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Channel {
    /// Force at the brake's arm.
    Load,
    /// Length of the arm.
    Arm,
    /// Torque.
    Torque,
    /// Speed.
    Speed,
    /// Temperature of the inlet air.
    AirTemperature,
    /// Barometer.
    Barometer,
    /// Relative humidity.
    Humidity,
    /// Fuel rate.
    Fuel,
    /// Displacement of the engine.
    Displacement,
    /// Boost ratio.
    Boost,
}

impl Channel {
    /// The channel in the trade's words.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Load => "brake load",
            Self::Arm => "brake arm",
            Self::Torque => "torque",
            Self::Speed => "speed",
            Self::AirTemperature => "air temperature",
            Self::Barometer => "barometer",
            Self::Humidity => "humidity",
            Self::Fuel => "fuel",
            Self::Displacement => "displacement",
            Self::Boost => "boost ratio",
        }
    }

    /// The declared input that carries it.
    const fn input(self) -> &'static str {
        match self {
            Self::Load => "load",
            Self::Arm => "arm",
            Self::Torque => "torque",
            Self::Speed => "speed",
            Self::AirTemperature => "temperature",
            Self::Barometer => "barometer",
            Self::Humidity => "humidity",
            Self::Fuel => "fuel_mass",
            Self::Displacement => "displacement",
            Self::Boost => "boost_ratio",
        }
    }
}

/// What one instrument leaves open in the corrected power.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contribution {
    /// The instrument.
    pub channel: Channel,
    /// Its standard uncertainty, in the unit of its reading.
    pub standard_uncertainty: f64,
    /// Change of corrected power for this uncertainty, kW, with its sign.
    pub power_kw: f64,
}

/// One point reduced.
#[derive(Debug, Clone, PartialEq)]
pub struct PointResult {
    /// As the engine ran.
    pub observed: Figures,
    /// Fuel rate, kg/h.
    pub fuel_rate_kg_h: Option<f64>,
    /// Vapour pressure, kPa.
    pub vapour_kpa: Option<f64>,
    /// Pressure of the dry air, kPa.
    pub dry_pressure_kpa: Option<f64>,
    /// The factor from observed to corrected power, also where it may not be used.
    pub factor: Option<f64>,
    /// In the reference air; `None` where [`PointResult::not_corrected`] says why.
    pub corrected: Option<Figures>,
    /// Why there is nothing corrected.
    pub not_corrected: Option<NotCorrected>,
    /// Standard uncertainty of the corrected power, kW.
    pub corrected_power_uncertainty_kw: Option<f64>,
    /// Standard uncertainty of the corrected torque, N·m.
    pub corrected_torque_uncertainty_nm: Option<f64>,
    /// What each instrument leaves open, in the order of the channels.
    pub contributions: Vec<Contribution>,
}

/// Why a point has no corrected figures.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum NotCorrected {
    /// The standard corrects to dry air and the humidity was not measured.
    #[error("not corrected: the standard needs the humidity of the inlet air")]
    NoHumidity,
    /// The compression-ignition factor depends on the fuel delivery, which was not measured.
    #[error("not corrected: the compression-ignition factor needs the fuel reading")]
    NoFuel,
    /// The state of the air cannot be computed.
    #[error("not corrected: {0}")]
    Air(#[from] AirError),
    /// The standard does not allow it.
    #[error(transparent)]
    Range(#[from] CorrectionError),
    /// The adjustment of ISO 3046-1 does not hold.
    #[error("not corrected: {0}")]
    Site(#[from] SiteError),
}

/// Why a point cannot be reduced at all.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum PointError {
    /// A reading is not a number, or has a sign or size it cannot have.
    #[error("the {} of {value} cannot be; it must be {wanted}", .channel.word())]
    Reading {
        /// The instrument.
        channel: Channel,
        /// What it gave.
        value: f64,
        /// What would have been right.
        wanted: &'static str,
    },
    /// A standard uncertainty is negative or not a number.
    #[error("the standard uncertainty of {value} for the {} must be 0 or more", .channel.word())]
    Uncertainty {
        /// The instrument.
        channel: Channel,
        /// What was given.
        value: f64,
    },
}

impl From<PointError> for Refused {
    fn from(error: PointError) -> Self {
        let (PointError::Reading { channel, .. } | PointError::Uncertainty { channel, .. }) = error;
        Self::because(channel.input(), error.to_string())
    }
}

/// Reduces one point.
///
/// # Formula
/// Torque, power, mean effective pressure and consumption as in [`super::torque`] and
/// [`super::fuel`]; vapour pressure `e = φ p_sat(t)`; factor `α` of the standard;
/// `P_c = α P`, `T_c = α T`. Uncertainty `u² = Σ (½ [f(x + u_i) − f(x − u_i)])²`.
/// # Given
/// The readings of one steady point; see [`PointReadings`] for the unit of each.
/// # Returns
/// Observed figures, and corrected ones where standard and channels allow. Corrected consumption:
/// with compression ignition the same fuel over the corrected power; with spark ignition the
/// observed value, because the fuel follows the air; by ISO 3046-1 the observed value over `β`.
/// # Errors
/// [`PointError`] for readings that cannot be. A refusal of the standard is no error but
/// [`PointResult::not_corrected`].
/// # Validity
/// Uncertainties uncorrelated; a factor that is near a straight line over one uncertainty.
/// ISO 1585 counts 25 °C as 298 K; temperatures are taken here as t + 273.15, which moves the
/// factor by 0.03 %.
/// # Source
/// The standards as named at their factors; JCGM 100:2008, 5.1.2 and 5.1.4 note 2, for the
/// uncertainty; corrected consumption: derived here.
/// # Example
/// ```
/// use bedplate_engine::bed::air::HumidityFormula;
/// use bedplate_engine::bed::point::{Load, PointReadings, Standard, reduce_point};
/// use bedplate_engine::bed::torque::{Cycle, EngineSize};
/// let point = reduce_point(&PointReadings {
///     load: Load::Torque { torque_nm: 145.0 },
///     speed_rpm: 4800.0,
///     fuel: None,
///     air_temperature_c: 25.0,
///     barometer_kpa: 100.0,
///     relative_humidity: None,
///     size: EngineSize { displacement_l: 1.998, cycle: Cycle::FourStroke },
///     standard: Standard::Iso1585Spark,
///     humidity_formula: HumidityFormula::If97,
///     uncertainty: None,
/// })?;
/// // Arithmetic from the definitions.
/// assert_eq!(format!("{:.6}", point.observed.power_kw), "72.884950");
/// assert!(point.corrected.is_none() && point.not_corrected.is_some());
/// # Ok::<(), bedplate_engine::bed::point::PointError>(())
/// ```
pub fn reduce_point(readings: &PointReadings) -> Result<PointResult, PointError> {
    check(readings)?;
    let torque_nm = readings.load.torque_nm();
    let power = power_kw(Turning { torque_nm, speed_rpm: readings.speed_rpm });
    let fuel_rate = readings.fuel.map(fuel_rate_kg_h);
    let observed = Figures {
        torque_nm,
        power_kw: power,
        bmep_bar: mean_effective_pressure_bar(torque_nm, readings.size),
        bsfc_g_kwh: fuel_rate.filter(|_| power > 0.0).map(|rate_kg_h| {
            specific_consumption_g_kwh(FuelForPower { rate_kg_h, power_kw: power })
        }),
    };
    let vapour_kpa = vapour(readings).transpose();
    let dry_pressure_kpa = vapour_kpa.ok().flatten().map(|vapour| readings.barometer_kpa - vapour);
    let (factor, corrected) = match plain_factor(readings) {
        Ok(plain) => (Some(plain.factor), in_reference_air(readings, observed, plain)),
        Err(why) => (None, Err(why)),
    };
    let (power_u, torque_u, contributions) = match (&corrected, readings.uncertainty) {
        (Ok(_), Some(uncertainty)) => spread(readings, uncertainty),
        _ => (None, None, Vec::new()),
    };
    Ok(PointResult {
        observed,
        fuel_rate_kg_h: fuel_rate,
        vapour_kpa: vapour_kpa.ok().flatten(),
        dry_pressure_kpa,
        factor,
        not_corrected: corrected.err(),
        corrected: corrected.ok(),
        corrected_power_uncertainty_kw: power_u,
        corrected_torque_uncertainty_nm: torque_u,
        contributions,
    })
}

fn check(readings: &PointReadings) -> Result<(), PointError> {
    const ABOVE_ZERO: &str = "a number above 0";
    let above_zero = |channel, value: f64| {
        if value > 0.0 && value.is_finite() {
            Ok(())
        } else {
            Err(PointError::Reading { channel, value, wanted: ABOVE_ZERO })
        }
    };
    let finite = |channel, value: f64| {
        let wanted = "a finite number";
        if value.is_finite() { Ok(()) } else { Err(PointError::Reading { channel, value, wanted }) }
    };
    match readings.load {
        Load::Brake(brake) => {
            finite(Channel::Load, brake.load_n)?;
            above_zero(Channel::Arm, brake.arm_m)?;
        }
        Load::Torque { torque_nm } => finite(Channel::Torque, torque_nm)?,
    }
    above_zero(Channel::Speed, readings.speed_rpm)?;
    above_zero(Channel::Barometer, readings.barometer_kpa)?;
    above_zero(Channel::Displacement, readings.size.displacement_l)?;
    finite(Channel::AirTemperature, readings.air_temperature_c)?;
    if readings.air_temperature_c <= -ZERO_CELSIUS_K {
        let (channel, value) = (Channel::AirTemperature, readings.air_temperature_c);
        return Err(PointError::Reading { channel, value, wanted: "above −273.15 °C" });
    }
    if let Standard::Iso1585Compression { boost_ratio, .. } = readings.standard {
        above_zero(Channel::Boost, boost_ratio)?;
    }
    if let Some(rate_kg_h) = readings.fuel.map(fuel_rate_kg_h)
        && !(rate_kg_h >= 0.0 && rate_kg_h.is_finite())
    {
        let (channel, value) = (Channel::Fuel, rate_kg_h);
        return Err(PointError::Reading {
            channel,
            value,
            wanted: "0 or more in a time above 0 s",
        });
    }
    match readings.relative_humidity {
        Some(value) if !(0.0..=1.0).contains(&value) => {
            let (channel, wanted) = (Channel::Humidity, "a share from 0 to 1");
            Err(PointError::Reading { channel, value, wanted })
        }
        _ => check_uncertainty(readings.uncertainty.unwrap_or_default()),
    }
}

fn check_uncertainty(uncertainty: PointUncertainty) -> Result<(), PointError> {
    for (channel, value) in by_channel(uncertainty) {
        if !(value >= 0.0 && value.is_finite()) {
            return Err(PointError::Uncertainty { channel, value });
        }
    }
    Ok(())
}

const fn by_channel(uncertainty: PointUncertainty) -> [(Channel, f64); 8] {
    [
        (Channel::Load, uncertainty.load_n),
        (Channel::Arm, uncertainty.arm_m),
        (Channel::Torque, uncertainty.torque_nm),
        (Channel::Speed, uncertainty.speed_rpm),
        (Channel::AirTemperature, uncertainty.air_temperature_k),
        (Channel::Barometer, uncertainty.barometer_kpa),
        (Channel::Humidity, uncertainty.relative_humidity),
        (Channel::Fuel, uncertainty.fuel_rate_relative),
    ]
}

/// Vapour pressure; the share is not held inside 0 to 1 here, so that it may be moved by its
/// uncertainty at either end.
fn vapour(readings: &PointReadings) -> Option<Result<f64, AirError>> {
    let share = readings.relative_humidity?;
    let saturated = saturation_pressure_kpa(readings.air_temperature_c, readings.humidity_formula);
    Some(saturated.map(|pressure_kpa| share * pressure_kpa))
}

/// A factor on torque and power, the divisor of consumption, and the rule that limits it.
#[derive(Clone, Copy)]
struct PlainFactor {
    factor: f64,
    consumption_divisor: f64,
    rule: Option<(Rule, DryAir)>,
}

fn dry_air(readings: &PointReadings) -> Result<DryAir, NotCorrected> {
    let vapour_kpa = vapour(readings).ok_or(NotCorrected::NoHumidity)??;
    let air = InletAir {
        pressure_kpa: readings.barometer_kpa,
        vapour_kpa,
        temperature_c: readings.air_temperature_c,
    };
    let dry_pressure_kpa = air.dry_pressure_kpa();
    if dry_pressure_kpa <= 0.0 {
        let pressure_kpa = readings.barometer_kpa;
        return Err(NotCorrected::Air(AirError::Pressure { pressure_kpa }));
    }
    Ok(DryAir { dry_pressure_kpa, temperature_k: air.temperature_k() })
}

fn plain_factor(readings: &PointReadings) -> Result<PlainFactor, NotCorrected> {
    match readings.standard {
        Standard::Iso1585Spark => {
            let air = dry_air(readings)?;
            Ok(on_dry_air(Rule::Iso1585Spark, air, iso_1585_spark(air)))
        }
        Standard::J1349 => {
            let air = dry_air(readings)?;
            Ok(on_dry_air(Rule::J1349, air, j1349(air)))
        }
        Standard::Din70020 => {
            let factor = din_70020(readings.barometer_kpa, readings.air_temperature_c);
            Ok(PlainFactor { factor, consumption_divisor: 1.0, rule: None })
        }
        Standard::Iso1585Compression { charging, boost_ratio } => {
            let rate_kg_h = readings.fuel.map(fuel_rate_kg_h).ok_or(NotCorrected::NoFuel)?;
            let air = dry_air(readings)?;
            let delivery_mg_l = delivery_mg_l(rate_kg_h, readings.speed_rpm, readings.size);
            let charge = Charge { charging, delivery_mg_l, boost_ratio };
            let factor = iso_1585_compression(air, charge).factor;
            let rule = Some((Rule::Iso1585Compression, air));
            Ok(PlainFactor { factor, consumption_divisor: factor, rule })
        }
        Standard::Iso3046 { exponents, mechanical_efficiency, coolant_c } => {
            let vapour_kpa = match vapour(readings) {
                Some(vapour_kpa) => vapour_kpa?,
                // Without the humidity factor the vapour does not enter.
                None if exponents.humidity == 0.0 => 0.0,
                None => return Err(NotCorrected::NoHumidity),
            };
            let site = SiteAir {
                pressure_kpa: readings.barometer_kpa,
                vapour_kpa,
                temperature_k: readings.air_temperature_c + ZERO_CELSIUS_K,
                coolant_k: coolant_c + ZERO_CELSIUS_K,
            };
            let reference = reference_air(readings.humidity_formula)?;
            let moved = adjust_to_site(site, reference, exponents, mechanical_efficiency)?;
            let factor = 1.0 / moved.power;
            Ok(PlainFactor { factor, consumption_divisor: moved.fuel, rule: None })
        }
    }
}

/// The fuel of a spark-ignition engine follows its air, so its consumption is left as observed.
fn on_dry_air(rule: Rule, air: DryAir, factor: f64) -> PlainFactor {
    PlainFactor { factor, consumption_divisor: 1.0, rule: Some((rule, air)) }
}

fn in_reference_air(
    readings: &PointReadings,
    observed: Figures,
    plain: PlainFactor,
) -> Result<Figures, NotCorrected> {
    let rule = match plain.rule {
        Some((rule, air)) => Some(allowed(rule, air, plain.factor)?),
        None => None,
    };
    let factor = rule.unwrap_or(plain.factor);
    let torque_nm = observed.torque_nm * factor;
    Ok(Figures {
        torque_nm,
        power_kw: observed.power_kw * factor,
        bmep_bar: mean_effective_pressure_bar(torque_nm, readings.size),
        bsfc_g_kwh: observed.bsfc_g_kwh.map(|observed| observed / plain.consumption_divisor),
    })
}

/// Corrected power and torque whatever the ranges say: the model that uncertainties go through.
fn corrected_model(readings: &PointReadings) -> Option<[f64; 2]> {
    let factor = plain_factor(readings).ok()?.factor;
    let torque_nm = readings.load.torque_nm() * factor;
    Some([power_kw(Turning { torque_nm, speed_rpm: readings.speed_rpm }), torque_nm])
}

/// The readings with one channel moved.
fn moved(readings: &PointReadings, channel: Channel, by: f64) -> PointReadings {
    let mut there = *readings;
    match (channel, &mut there.load) {
        (Channel::Load, Load::Brake(brake)) => brake.load_n += by,
        (Channel::Arm, Load::Brake(brake)) => brake.arm_m += by,
        (Channel::Torque, Load::Torque { torque_nm }) => *torque_nm += by,
        _ => {}
    }
    match channel {
        Channel::Speed => there.speed_rpm += by,
        Channel::AirTemperature => there.air_temperature_c += by,
        Channel::Barometer => there.barometer_kpa += by,
        Channel::Humidity => {
            there.relative_humidity = there.relative_humidity.map(|share| share + by);
        }
        Channel::Fuel => {
            there.fuel = there.fuel.map(|fuel| FuelReading::Mass {
                mass_g: fuel_rate_kg_h(fuel) / 3.6 * (1.0 + by),
                time_s: 1.0,
            });
        }
        _ => {}
    }
    there
}

/// Standard uncertainties of corrected power and torque, and what each instrument leaves open.
/// `None` where a reading stands so near the edge of a formula that it cannot be moved.
fn spread(
    readings: &PointReadings,
    uncertainty: PointUncertainty,
) -> (Option<f64>, Option<f64>, Vec<Contribution>) {
    let mut contributions = Vec::new();
    let mut squares = Some([0.0, 0.0]);
    for (channel, standard_uncertainty) in by_channel(uncertainty) {
        if standard_uncertainty == 0.0 {
            continue;
        }
        let up = corrected_model(&moved(readings, channel, standard_uncertainty));
        let down = corrected_model(&moved(readings, channel, -standard_uncertainty));
        let (Some(up), Some(down)) = (up, down) else {
            squares = None;
            continue;
        };
        let [power_kw, torque_nm] = [(up[0] - down[0]) / 2.0, (up[1] - down[1]) / 2.0];
        contributions.push(Contribution { channel, standard_uncertainty, power_kw });
        squares = squares.map(|[p, t]| [p + power_kw * power_kw, t + torque_nm * torque_nm]);
    }
    let root = |i: usize| squares.map(|s| s[i].sqrt()).filter(|u| u.is_finite());
    (root(0), root(1), contributions)
}

const STANDARDS: &[&str] =
    &["iso-1585-spark", "iso-1585-compression", "iso-3046", "j1349", "din-70020"];

const INPUTS: &[Input] = &[
    Input::quantity("load", "N", "net force at the brake's arm; or give torque").or("0 N"),
    Input::quantity("arm", "m", "length of the brake's arm").over(0.0).or("1 m"),
    Input::quantity("torque", "N·m", "torque; or give load and arm").or("0 N·m"),
    Input::quantity("speed", "rev/min", "speed").over(0.0),
    Input::quantity("fuel_mass", "g", "fuel burnt; 0 if not measured").at_least(0.0).or("0 g"),
    Input::quantity("fuel_time", "s", "time it took").over(0.0).or("1 s"),
    Input::quantity("temperature", "°C", "inlet air").over(-273.15),
    Input::quantity("barometer", "kPa", "total pressure").over(0.0),
    Input::quantity("humidity", "%", "relative humidity").at_least(0.0).at_most(100.0),
    Input::quantity("displacement", "l", "swept volume of all cylinders").over(0.0),
    Input::choice("cycle", Cycle::WORDS, "strokes of a working cycle").or("four-stroke"),
    Input::choice("standard", STANDARDS, "standard of the reference air").or("iso-1585-spark"),
    Input::choice("charging", Charging::WORDS, "for compression ignition").or("natural"),
    Input::quantity("boost_ratio", "", "for ISO 1585 turbo").over(0.0).or("1"),
    Input::quantity("mechanical_efficiency", "", "for ISO 3046-1, a share")
        .over(0.0)
        .at_most(1.0)
        .or("0.8"),
    Input::quantity("u_load", "N", "standard uncertainty of the load").at_least(0.0).or("0 N"),
    Input::quantity("u_arm", "m", "of the arm").at_least(0.0).or("0 m"),
    Input::quantity("u_torque", "N·m", "of the torque").at_least(0.0).or("0 N·m"),
    Input::quantity("u_speed", "rev/min", "of the speed").at_least(0.0).or("0 rev/min"),
    Input::quantity("u_temperature", "ΔK", "of the air temperature").at_least(0.0).or("0 K"),
    Input::quantity("u_barometer", "kPa", "of the barometer").at_least(0.0).or("0 kPa"),
    Input::quantity("u_humidity", "%", "of the humidity").at_least(0.0).or("0 %"),
    Input::quantity("u_fuel", "%", "of the fuel rate, relative").at_least(0.0).or("0 %"),
];

fn readings_of(given: &Given) -> Result<PointReadings, Refused> {
    let load = match (given.number("load"), given.number("torque")) {
        (load_n, torque_nm) if load_n != 0.0 && torque_nm != 0.0 => {
            return Err(Refused::because("torque", "give load and arm, or torque, not both"));
        }
        (0.0, torque_nm) => Load::Torque { torque_nm },
        (load_n, _) => Load::Brake(BrakeLoad { load_n, arm_m: given.number("arm") }),
    };
    let charging = Charging::named(given.word("charging")).expect("one of the declared words");
    let standard = match given.word("standard") {
        "iso-1585-compression" => {
            let boost_ratio = given.number("boost_ratio");
            Standard::Iso1585Compression { charging, boost_ratio }
        }
        "iso-3046" => Standard::Iso3046 {
            exponents: match charging {
                Charging::Natural => SiteExponents::NATURAL,
                Charging::Turbo => SiteExponents::TURBO,
            },
            mechanical_efficiency: given.number("mechanical_efficiency"),
            // 298 K as the standard writes it: the exponent of the coolant is zero here.
            coolant_c: 24.85,
        },
        "j1349" => Standard::J1349,
        "din-70020" => Standard::Din70020,
        _ => Standard::Iso1585Spark,
    };
    let mass_g = given.number("fuel_mass");
    let time_s = given.number("fuel_time");
    let cycle = Cycle::named(given.word("cycle")).expect("one of the declared words");
    Ok(PointReadings {
        load,
        speed_rpm: given.number("speed"),
        fuel: (mass_g > 0.0).then_some(FuelReading::Mass { mass_g, time_s }),
        air_temperature_c: given.number("temperature"),
        barometer_kpa: given.number("barometer"),
        relative_humidity: Some(given.number("humidity") / 100.0),
        size: EngineSize { displacement_l: given.number("displacement"), cycle },
        standard,
        humidity_formula: HumidityFormula::If97,
        uncertainty: Some(PointUncertainty {
            load_n: given.number("u_load"),
            arm_m: given.number("u_arm"),
            torque_nm: given.number("u_torque"),
            speed_rpm: given.number("u_speed"),
            air_temperature_k: given.number("u_temperature"),
            barometer_kpa: given.number("u_barometer"),
            relative_humidity: given.number("u_humidity") / 100.0,
            fuel_rate_relative: given.number("u_fuel") / 100.0,
        }),
    })
}

fn answer_of(point: &PointResult) -> Answer {
    let mut answer = Answer::new()
        .figure("torque", point.observed.torque_nm)
        .figure("power", point.observed.power_kw)
        .figure("bmep", point.observed.bmep_bar);
    if let Some(bsfc) = point.observed.bsfc_g_kwh {
        answer = answer.figure("bsfc", bsfc);
    }
    if let Some(dry_pressure_kpa) = point.dry_pressure_kpa {
        answer = answer.figure("dry_pressure", dry_pressure_kpa);
    }
    if let Some(factor) = point.factor {
        answer = answer.figure("factor", factor);
    }
    if let Some(corrected) = &point.corrected {
        answer = answer
            .figure("corrected_torque", corrected.torque_nm)
            .figure("corrected_power", corrected.power_kw)
            .figure("corrected_bmep", corrected.bmep_bar);
        if let Some(bsfc) = corrected.bsfc_g_kwh {
            answer = answer.figure("corrected_bsfc", bsfc);
        }
    }
    if let Some(u) = point.corrected_power_uncertainty_kw {
        answer = answer.figure("u_corrected_power", u);
    }
    match &point.not_corrected {
        Some(why) => answer.word("note", why.to_string()),
        None => answer,
    }
}

/// Declaration of [`reduce_point`].
pub const BED_POINT: Calculation = Calculation {
    name: "bed-point",
    title: "One point of a test, reduced and corrected",
    stage: Stage::Bed,
    question: "What did the engine give at this point, and what would it give in reference air?",
    inputs: INPUTS,
    outputs: &[
        Output::figure("torque", "N·m", "observed torque"),
        Output::figure("power", "kW", "observed power"),
        Output::figure("bmep", "bar", "observed brake mean effective pressure"),
        Output::figure("bsfc", "g/kWh", "observed consumption, if fuel was measured"),
        Output::figure("dry_pressure", "kPa", "pressure of the dry air"),
        Output::figure("factor", "", "correction factor, also where it may not be used"),
        Output::figure("corrected_torque", "N·m", "torque in reference air"),
        Output::figure("corrected_power", "kW", "power in reference air"),
        Output::figure("corrected_bmep", "bar", "mean effective pressure in reference air"),
        Output::figure("corrected_bsfc", "g/kWh", "consumption in reference air"),
        Output::figure("u_corrected_power", "kW", "standard uncertainty of the corrected power"),
        Output::figure("note", "", "why nothing is corrected, if so"),
    ],
    formula: "P = T 2π n; e = φ p_sat(t); P_c = α P; u² = Σ (½[f(x+u_i) − f(x−u_i)])²",
    source: "definitions; factor as at the standard's own entry; JCGM 100:2008, 5.1.4 note 2",
    validity: "A steady point at full load, uncorrelated uncertainties, ranges of the standard.",
    example: &[
        ("torque", "145 N·m"),
        ("speed", "4800 rev/min"),
        ("fuel_mass", "5.25 g"),
        ("temperature", "25 °C"),
        ("barometer", "100 kPa"),
        ("humidity", "30 %"),
        ("displacement", "1.998 l"),
    ],
    expected: &[("power", "72.88494956"), ("bmep", "9.119738434"), ("bsfc", "259.3127952")],
    run: |given| Ok(answer_of(&reduce_point(&readings_of(given)?)?)),
};
