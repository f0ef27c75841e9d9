//! Units of the trade: their spellings, dimension and exact factor to the SI-coherent unit.

/// What kind of quantity a unit measures. Two units convert into each other only inside one
/// dimension.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Dimension {
    /// Plain number or share: `1`, `%`, `ppm`.
    Number,
    /// Length, metre.
    Length,
    /// Area, square metre.
    Area,
    /// Volume, cubic metre.
    Volume,
    /// Mass, kilogram.
    Mass,
    /// Density, kilogram per cubic metre.
    Density,
    /// Time, second.
    Time,
    /// Thermodynamic temperature, kelvin (with offsets for °C and °F).
    Temperature,
    /// Difference of temperature or expansion per kelvin is handled by [`Dimension::PerTemperature`].
    TemperatureDifference,
    /// Linear expansion, one per kelvin.
    PerTemperature,
    /// Plane angle, radian.
    Angle,
    /// Rotational speed, radian per second.
    RotationalSpeed,
    /// Velocity, metre per second (also feed per minute and the balance grade G in mm/s).
    Velocity,
    /// Force, newton.
    Force,
    /// Torque, newton metre.
    Torque,
    /// Pressure and stress, pascal.
    Pressure,
    /// Power, watt.
    Power,
    /// Energy, joule.
    Energy,
    /// Unbalance, kilogram metre.
    Unbalance,
    /// Volume flow, cubic metre per second.
    VolumeFlow,
    /// Mass flow, kilogram per second.
    MassFlow,
    /// Specific fuel consumption, kilogram per joule.
    SpecificConsumption,
    /// Kinematic viscosity, square metre per second.
    KinematicViscosity,
    /// Hardness on a named scale, which converts to nothing else.
    Hardness,
    /// Rate of removal of metal, cubic metre per second, is [`Dimension::VolumeFlow`]; money has no SI unit.
    Money,
    /// Signal of an instrument, volt.
    Signal,
    /// Pieces in a time, one per second.
    PieceRate,
    /// Heating value of a fuel, joule per kilogram.
    HeatingValue,
}

impl Dimension {
    /// The dimension in the trade's words, for messages: "a length", "a mass".
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Number => "a plain number",
            Self::Length => "a length",
            Self::Area => "an area",
            Self::Volume => "a volume",
            Self::Mass => "a mass",
            Self::Density => "a density",
            Self::Time => "a time",
            Self::Temperature => "a temperature",
            Self::TemperatureDifference => "a difference of temperature",
            Self::PerTemperature => "an expansion per kelvin",
            Self::Angle => "an angle",
            Self::RotationalSpeed => "a rotational speed",
            Self::Velocity => "a velocity",
            Self::Force => "a force",
            Self::Torque => "a torque",
            Self::Pressure => "a pressure",
            Self::Power => "a power",
            Self::Energy => "an energy",
            Self::Unbalance => "an unbalance",
            Self::VolumeFlow => "a volume flow",
            Self::MassFlow => "a mass flow",
            Self::SpecificConsumption => "a specific fuel consumption",
            Self::KinematicViscosity => "a kinematic viscosity",
            Self::Hardness => "a hardness",
            Self::Money => "a sum of money",
            Self::Signal => "a signal",
            Self::PieceRate => "a rate of pieces",
            Self::HeatingValue => "a heating value",
        }
    }

    /// A quantity of this dimension as it would be written, for messages.
    #[must_use]
    pub const fn example(self) -> &'static str {
        match self {
            Self::Number => "0.5",
            Self::Length => "68.000 mm",
            Self::Area => "36.3 cm²",
            Self::Volume => "276 cm³",
            Self::Mass => "416.1 g",
            Self::Density => "7.85 g/cm³",
            Self::Time => "1.8 s",
            Self::Temperature => "20 °C",
            Self::TemperatureDifference => "2 K",
            Self::PerTemperature => "11.5 ppm/K",
            Self::Angle => "30°",
            Self::RotationalSpeed => "3600 rev/min",
            Self::Velocity => "120 m/min",
            Self::Force => "250 N",
            Self::Torque => "62 N·m",
            Self::Pressure => "99 kPa",
            Self::Power => "22 kW",
            Self::Energy => "3.6 MJ",
            Self::Unbalance => "114 g·mm",
            Self::VolumeFlow => "11.8 l/min",
            Self::MassFlow => "6.2 kg/h",
            Self::SpecificConsumption => "290 g/kWh",
            Self::KinematicViscosity => "12 mm²/s",
            Self::Hardness => "52 HRC",
            Self::Money => "12.50 money",
            Self::Signal => "1.2 V",
            Self::PieceRate => "180 pieces/h",
            Self::HeatingValue => "43 MJ/kg",
        }
    }
}

/// One unit: how it is printed, how else it may be typed, and its exact factor to SI.
#[derive(Debug)]
pub struct Unit {
    /// Printed symbol.
    pub symbol: &'static str,
    /// Other spellings that are read. Compared after spaces are dropped; case counts.
    pub spellings: &'static [&'static str],
    /// What it measures.
    pub dimension: Dimension,
    /// SI value of one unit is `numerator / denominator × 10^power`.
    pub numerator: u64,
    /// See `numerator`.
    pub denominator: u64,
    /// See `numerator`.
    pub power: i8,
    /// Multiplied by π (angles in degrees, revolutions).
    pub times_pi: bool,
    /// Added in the unit's own degrees before the factor: 273.15 for °C, 459.67 for °F.
    pub offset: f64,
}

impl PartialEq for Unit {
    fn eq(&self, other: &Self) -> bool {
        self.symbol == other.symbol
    }
}
impl Eq for Unit {}

impl Unit {
    /// The factor to SI as a double.
    #[must_use]
    pub fn factor(&self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "unit factors are below 2^53")]
        let ratio = self.numerator as f64 / self.denominator as f64;
        let pi = if self.times_pi { std::f64::consts::PI } else { 1.0 };
        scale_by_power_of_ten(ratio, i32::from(self.power)) * pi
    }

    /// The unit with this spelling, white space ignored.
    #[must_use]
    pub fn named(text: &str) -> Option<&'static Self> {
        let squeezed: String = text.chars().filter(|c| !c.is_whitespace()).collect();
        UNITS.iter().find(|u| u.symbol == squeezed || u.spellings.contains(&squeezed.as_str()))
    }

    /// The unit's place in [`UNITS`], which is stable: the ledger stores it.
    #[must_use]
    pub fn code(&self) -> u16 {
        let place = UNITS.iter().position(|u| u.symbol == self.symbol);
        u16::try_from(place.expect("a unit stands in its own table")).expect("a short table")
    }

    /// The unit with this code.
    #[must_use]
    pub fn with_code(code: u16) -> Option<&'static Self> {
        UNITS.get(usize::from(code))
    }
}

/// `x × 10^power`, correctly rounded while `x` is an integer below 2^53 and `|power| ≤ 22`.
pub(crate) fn scale_by_power_of_ten(x: f64, power: i32) -> f64 {
    if power.abs() <= 22 {
        let ten = 10f64.powi(power.abs());
        if power < 0 { x / ten } else { x * ten }
    } else {
        x * 10f64.powi(power)
    }
}

const fn unit(
    symbol: &'static str,
    spellings: &'static [&'static str],
    dimension: Dimension,
    numerator: u64,
    denominator: u64,
    power: i8,
) -> Unit {
    Unit {
        symbol,
        spellings,
        dimension,
        numerator,
        denominator,
        power,
        times_pi: false,
        offset: 0.0,
    }
}

const fn pi_unit(
    symbol: &'static str,
    spellings: &'static [&'static str],
    dimension: Dimension,
    numerator: u64,
    denominator: u64,
) -> Unit {
    Unit {
        symbol,
        spellings,
        dimension,
        numerator,
        denominator,
        power: 0,
        times_pi: true,
        offset: 0.0,
    }
}

const fn degree(
    symbol: &'static str,
    spellings: &'static [&'static str],
    numerator: u64,
    denominator: u64,
    offset: f64,
) -> Unit {
    Unit {
        symbol,
        spellings,
        dimension: Dimension::Temperature,
        numerator,
        denominator,
        power: 0,
        times_pi: false,
        offset,
    }
}

use Dimension as D;

/// Every unit that is read and printed. Append only: the place in this table is stored.
///
/// Source: the metric prefixes and the inch, pound and horsepower are exact by definition (SI
/// Brochure, 9th edition; international yard and pound agreement of 1959: 1 in = 25.4 mm,
/// 1 lb = 0.45359237 kg; standard gravity 9.80665 m/s²).
pub static UNITS: &[Unit] = &[
    unit("", &["1"], D::Number, 1, 1, 0),
    unit("%", &["percent", "pct"], D::Number, 1, 1, -2),
    unit("ppm", &[], D::Number, 1, 1, -6),
    unit("m", &["metre", "meter"], D::Length, 1, 1, 0),
    unit("cm", &[], D::Length, 1, 1, -2),
    unit("mm", &["millimetre", "millimeter"], D::Length, 1, 1, -3),
    unit("µm", &["um", "μm", "micron", "microns", "mu"], D::Length, 1, 1, -6),
    unit("nm", &[], D::Length, 1, 1, -9),
    unit("in", &["inch", "inches", "\"", "″"], D::Length, 254, 1, -4),
    unit("thou", &["mil", "thousandth"], D::Length, 254, 1, -7),
    unit("ft", &["foot", "feet"], D::Length, 3048, 1, -4),
    unit("mm/rev", &["mm/U", "mm/turn"], D::Length, 1, 1, -3),
    unit("in/rev", &["ipr"], D::Length, 254, 1, -4),
    unit("m²", &["m2", "m^2"], D::Area, 1, 1, 0),
    unit("cm²", &["cm2", "cm^2"], D::Area, 1, 1, -4),
    unit("mm²", &["mm2", "mm^2"], D::Area, 1, 1, -6),
    unit("m³", &["m3", "m^3"], D::Volume, 1, 1, 0),
    unit("l", &["L", "litre", "liter", "dm³", "dm3"], D::Volume, 1, 1, -3),
    unit("cm³", &["cm3", "cm^3", "cc", "ml", "mL"], D::Volume, 1, 1, -6),
    unit("mm³", &["mm3", "mm^3"], D::Volume, 1, 1, -9),
    unit("kg", &[], D::Mass, 1, 1, 0),
    unit("g", &["gram", "grams"], D::Mass, 1, 1, -3),
    unit("mg", &[], D::Mass, 1, 1, -6),
    unit("lb", &["lbs", "pound"], D::Mass, 45_359_237, 1, -8),
    unit("oz", &["ounce"], D::Mass, 45_359_237, 16, -8),
    unit("kg/m³", &["kg/m3", "kg/m^3"], D::Density, 1, 1, 0),
    unit("g/cm³", &["g/cm3", "g/cm^3", "kg/l", "kg/dm³", "g/ml"], D::Density, 1, 1, 3),
    unit("s", &["sec", "second", "seconds"], D::Time, 1, 1, 0),
    unit("ms", &[], D::Time, 1, 1, -3),
    unit("min", &["minute", "minutes"], D::Time, 60, 1, 0),
    unit("h", &["hr", "hour", "hours"], D::Time, 3600, 1, 0),
    unit("day", &["days", "d"], D::Time, 86_400, 1, 0),
    degree("K", &["kelvin"], 1, 1, 0.0),
    degree("°C", &["degC", "C", "℃"], 1, 1, 273.15),
    degree("°F", &["degF", "F", "℉"], 5, 9, 459.67),
    unit("ΔK", &["dK", "Δ°C"], D::TemperatureDifference, 1, 1, 0),
    unit("1/K", &["/K", "K⁻¹", "K^-1"], D::PerTemperature, 1, 1, 0),
    unit(
        "ppm/K",
        &["µm/(m·K)", "um/(m.K)", "µm/m/K", "um/m/K", "ppm/°C"],
        D::PerTemperature,
        1,
        1,
        -6,
    ),
    unit("rad", &[], D::Angle, 1, 1, 0),
    pi_unit("°", &["deg", "degree", "degrees", "º"], D::Angle, 1, 180),
    pi_unit("′", &["arcmin"], D::Angle, 1, 10_800),
    unit("rad/s", &[], D::RotationalSpeed, 1, 1, 0),
    pi_unit(
        "rev/min",
        &["rpm", "r/min", "/min", "min⁻¹", "min^-1", "1/min", "U/min"],
        D::RotationalSpeed,
        1,
        30,
    ),
    pi_unit("rev/s", &["Hz", "1/s"], D::RotationalSpeed, 2, 1),
    unit("m/s", &[], D::Velocity, 1, 1, 0),
    unit("mm/s", &[], D::Velocity, 1, 1, -3),
    unit("m/min", &[], D::Velocity, 1, 60, 0),
    unit("mm/min", &[], D::Velocity, 1, 60, -3),
    unit("ft/min", &["sfm", "fpm"], D::Velocity, 3048, 60, -4),
    unit("in/min", &["ipm"], D::Velocity, 254, 60, -4),
    unit("N", &["newton"], D::Force, 1, 1, 0),
    unit("kN", &[], D::Force, 1, 1, 3),
    unit("kgf", &["kp"], D::Force, 980_665, 1, -5),
    unit("lbf", &[], D::Force, 44_482_216_152_605, 1, -13),
    unit("N·m", &["Nm", "N.m", "N*m", "Nxm", "N⋅m"], D::Torque, 1, 1, 0),
    unit("kgf·m", &["kgfm", "kgf.m", "kpm"], D::Torque, 980_665, 1, -5),
    unit(
        "lbf·ft",
        &["lbf.ft", "lbfft", "lb-ft", "lb·ft", "ft-lb", "ftlb"],
        D::Torque,
        13_558_179_483_314,
        1,
        -13,
    ),
    unit("Pa", &[], D::Pressure, 1, 1, 0),
    unit("kPa", &[], D::Pressure, 1, 1, 3),
    unit("MPa", &["N/mm²", "N/mm2"], D::Pressure, 1, 1, 6),
    unit("bar", &[], D::Pressure, 1, 1, 5),
    unit("mbar", &["hPa"], D::Pressure, 1, 1, 2),
    unit("mmHg", &["torr"], D::Pressure, 133_322_387_415, 1, -9),
    unit("psi", &["lbf/in²", "lbf/in2"], D::Pressure, 6_894_757_293_168, 1, -9),
    unit("W", &[], D::Power, 1, 1, 0),
    unit("kW", &[], D::Power, 1, 1, 3),
    unit("PS", &["metric hp"], D::Power, 73_549_875, 1, -5),
    unit("hp", &["bhp", "HP"], D::Power, 74_569_987_158_227, 1, -11),
    unit("J", &[], D::Energy, 1, 1, 0),
    unit("kJ", &[], D::Energy, 1, 1, 3),
    unit("MJ", &[], D::Energy, 1, 1, 6),
    unit("kWh", &["kW·h"], D::Energy, 36, 1, 5),
    unit("kg·m", &["kgm", "kg.m"], D::Unbalance, 1, 1, 0),
    unit("g·mm", &["gmm", "g.mm", "g*mm", "gxmm", "g⋅mm"], D::Unbalance, 1, 1, -6),
    unit("kg·mm", &["kg.mm", "kgmm"], D::Unbalance, 1, 1, -3),
    unit("oz·in", &["oz.in", "ozin", "oz-in"], D::Unbalance, 45_359_237 * 254, 16, -12),
    unit("m³/s", &["m3/s"], D::VolumeFlow, 1, 1, 0),
    unit("l/min", &["L/min", "lpm", "litre/min"], D::VolumeFlow, 1, 60, -3),
    unit("l/h", &["L/h"], D::VolumeFlow, 1, 3600, -3),
    unit("cm³/min", &["cm3/min", "cc/min", "ml/min"], D::VolumeFlow, 1, 60, -6),
    unit("cm³/s", &["cm3/s", "cc/s"], D::VolumeFlow, 1, 1, -6),
    unit("kg/s", &[], D::MassFlow, 1, 1, 0),
    unit("kg/h", &[], D::MassFlow, 1, 3600, 0),
    unit("g/s", &[], D::MassFlow, 1, 1, -3),
    unit("g/min", &[], D::MassFlow, 1, 60, -3),
    unit("g/kWh", &["g/(kW·h)", "g/kW/h", "g/kW·h"], D::SpecificConsumption, 1, 36, -8),
    unit("m²/s", &["m2/s"], D::KinematicViscosity, 1, 1, 0),
    unit("mm²/s", &["mm2/s", "cSt"], D::KinematicViscosity, 1, 1, -6),
    unit("HV", &[], D::Hardness, 1, 1, 0),
    unit("HBW", &["HB"], D::Hardness, 1, 1, 0),
    unit("HRC", &[], D::Hardness, 1, 1, 0),
    unit("HRB", &[], D::Hardness, 1, 1, 0),
    unit("money", &[], D::Money, 1, 1, 0),
    unit("V", &["volt"], D::Signal, 1, 1, 0),
    unit("mV", &[], D::Signal, 1, 1, -3),
    unit("mm³/mm", &["mm3/mm"], D::Area, 1, 1, -6),
    unit("mg/l", &["mg/L"], D::Density, 1, 1, -3),
    unit("mm³/s", &["mm3/s"], D::VolumeFlow, 1, 1, -9),
    unit("pieces/h", &["piece/h", "1/h", "/h", "perhour"], D::PieceRate, 1, 3600, 0),
    unit("pieces/min", &["piece/min"], D::PieceRate, 1, 60, 0),
    unit("pieces/s", &["piece/s"], D::PieceRate, 1, 1, 0),
    unit("pieces/day", &["piece/day", "1/day"], D::PieceRate, 1, 86_400, 0),
    unit("MJ/kg", &[], D::HeatingValue, 1, 1, 6),
    unit("kJ/kg", &[], D::HeatingValue, 1, 1, 3),
    unit(
        "mm³/(mm·s)",
        &["mm3/(mm.s)", "mm3/(mm*s)", "mm3/(mms)", "mm3/mm/s", "mm³/mm/s"],
        D::KinematicViscosity,
        1,
        1,
        -6,
    ),
    unit("mm/rad", &[], D::Length, 1, 1, -3),
    unit("mm/rad²", &["mm/rad2", "mm/rad^2"], D::Length, 1, 1, -3),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_spelling_names_two_units() {
        let mut seen = std::collections::BTreeMap::new();
        for u in UNITS {
            for s in u.spellings.iter().chain([&u.symbol]) {
                assert!(seen.insert(*s, u.symbol).is_none(), "{s} names two units");
            }
        }
    }

    #[test]
    fn derived_factors_agree_with_their_definitions() {
        // International yard and pound agreement, 1959; standard gravity 9.80665 m/s².
        let lbf = 0.453_592_37 * 9.806_65;
        assert!((Unit::named("lbf").unwrap().factor() / lbf - 1.0).abs() < 1e-13);
        assert!((Unit::named("lbf·ft").unwrap().factor() / (lbf * 0.3048) - 1.0).abs() < 1e-13);
        assert!(
            (Unit::named("psi").unwrap().factor() / (lbf / 0.0254_f64.powi(2)) - 1.0).abs() < 1e-12
        );
        let hp = 550.0 * 0.3048 * lbf;
        assert!((Unit::named("hp").unwrap().factor() / hp - 1.0).abs() < 1e-13);
        let ps = 75.0 * 9.806_65;
        assert!((Unit::named("PS").unwrap().factor() / ps - 1.0).abs() < 1e-14);
        let oz_in = 0.453_592_37 / 16.0 * 0.0254;
        assert!((Unit::named("oz·in").unwrap().factor() / oz_in - 1.0).abs() < 1e-14);
        assert!((Unit::named("g/kWh").unwrap().factor() / (1e-3 / 3.6e6) - 1.0).abs() < 1e-14);
    }
}
