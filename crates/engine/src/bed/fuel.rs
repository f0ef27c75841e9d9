//! Fuel: rate from a burette or a balance and a watch, specific consumption, thermal efficiency.

use bedplate_gauge::calculation::{Answer, Calculation, Input, Output, Stage};

/// A measured amount of fuel and the time the engine took for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FuelReading {
    /// By burette.
    Volume {
        /// Volume burnt, cm³.
        volume_cm3: f64,
        /// Time it took, s; greater than zero.
        time_s: f64,
        /// Density of the fuel at the burette's temperature, kg/l.
        density_kg_l: f64,
    },
    /// By balance.
    Mass {
        /// Mass burnt, g.
        mass_g: f64,
        /// Time it took, s; greater than zero.
        time_s: f64,
    },
}

/// Fuel burnt in a time, and the power given meanwhile.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FuelForPower {
    /// Fuel rate, kg/h.
    pub rate_kg_h: f64,
    /// Brake power, kW; not zero.
    pub power_kw: f64,
}

/// Fuel rate by mass.
///
/// # Formula
/// `m = V ρ / t` by burette, `m = Δm / t` by balance.
/// # Given
/// Volume in cm³ and density in kg/l, or mass in g; time in s, greater than zero.
/// # Returns
/// Fuel rate in kg/h.
/// # Validity
/// Steady running over the whole time; density at the temperature of the burette.
/// # Source
/// Definition.
/// # Example
/// ```
/// use bedplate_engine::bed::fuel::{FuelReading, fuel_rate_kg_h};
/// // Arithmetic from the definition: 100 cm³ of 0.745 kg/l in 21.4 s.
/// let reading = FuelReading::Volume { volume_cm3: 100.0, time_s: 21.4, density_kg_l: 0.745 };
/// assert_eq!(format!("{:.6}", fuel_rate_kg_h(reading)), "12.532710");
/// ```
#[must_use]
pub fn fuel_rate_kg_h(reading: FuelReading) -> f64 {
    match reading {
        // cm³ · kg/l is g; g/s · 3.6 is kg/h.
        FuelReading::Volume { volume_cm3, time_s, density_kg_l } => {
            volume_cm3 * density_kg_l / time_s * 3.6
        }
        FuelReading::Mass { mass_g, time_s } => mass_g / time_s * 3.6,
    }
}

/// Brake specific fuel consumption: fuel for each kilowatt-hour at the coupling.
///
/// # Formula
/// `b = m / P`.
/// # Given
/// Fuel rate in kg/h; brake power in kW, not zero.
/// # Returns
/// Specific consumption in g/kWh.
/// # Validity
/// Steady running; rate and power of the same minutes.
/// # Source
/// Definition.
/// # Example
/// T. D. Eastop and A. McConkey, Applied Thermodynamics for Engineering Technologists, chapter on
/// reciprocating engines, first example (from memory): 6.74 l/h of 0.735 kg/l for 16.18 kW are
/// 0.306 kg/kWh.
/// ```
/// use bedplate_engine::bed::fuel::{FuelForPower, specific_consumption_g_kwh};
/// let fuel = FuelForPower { rate_kg_h: 6.74 * 0.735, power_kw: 16.18 };
/// assert_eq!(format!("{:.0}", specific_consumption_g_kwh(fuel)), "306");
/// ```
#[must_use]
pub fn specific_consumption_g_kwh(fuel: FuelForPower) -> f64 {
    fuel.rate_kg_h / fuel.power_kw * 1e3
}

/// Brake thermal efficiency: the share of the fuel's heat that reaches the coupling.
///
/// # Formula
/// `η = P / (m H)`, `H` the lower heating value.
/// # Given
/// Fuel rate in kg/h and power in kW; heating value in MJ/kg, greater than zero.
/// # Returns
/// Efficiency as a share, 0 to 1 for an engine that drives.
/// # Validity
/// With the lower heating value of the fuel in use; about 42 to 45 MJ/kg for petrol and gas oil.
/// # Source
/// Definition.
/// # Example
/// T. D. Eastop and A. McConkey, Applied Thermodynamics for Engineering Technologists, chapter on
/// reciprocating engines, first example (from memory): 16.18 kW from 6.74 l/h of 0.735 kg/l with
/// 44 200 kJ/kg are 26.6 %.
/// ```
/// use bedplate_engine::bed::fuel::{FuelForPower, thermal_efficiency};
/// let fuel = FuelForPower { rate_kg_h: 6.74 * 0.735, power_kw: 16.18 };
/// assert_eq!(format!("{:.3}", thermal_efficiency(fuel, 44.2)), "0.266");
/// ```
#[must_use]
pub fn thermal_efficiency(fuel: FuelForPower, heating_value_mj_kg: f64) -> f64 {
    // kg/h · MJ/kg over 3.6 is kW.
    fuel.power_kw / (fuel.rate_kg_h * heating_value_mj_kg / 3.6)
}

/// Declaration of [`fuel_rate_kg_h`] by burette.
pub const FUEL_RATE_BY_VOLUME: Calculation = Calculation {
    name: "fuel-rate-by-volume",
    title: "Fuel rate by burette",
    stage: Stage::Bed,
    question: "How much fuel does the engine burn, by burette and watch?",
    inputs: &[
        Input::quantity("volume", "cm³", "volume burnt").at_least(0.0),
        Input::quantity("time", "s", "time it took").over(0.0),
        Input::quantity("density", "kg/l", "density at the burette's temperature").over(0.0),
    ],
    outputs: &[
        Output::figure("rate", "kg/h", "fuel rate by mass"),
        Output::figure("volume_rate", "l/h", "fuel rate by volume"),
    ],
    formula: "m = V ρ / t",
    source: "definition",
    validity: "Steady running over the whole time.",
    example: &[("volume", "100 cm³"), ("time", "21.4 s"), ("density", "0.745 kg/l")],
    expected: &[("rate", "12.53271028"), ("volume_rate", "16.82242991")],
    run: |given| {
        let (volume_cm3, time_s) = (given.number("volume"), given.number("time"));
        let density_kg_l = given.number("density");
        let rate = fuel_rate_kg_h(FuelReading::Volume { volume_cm3, time_s, density_kg_l });
        Ok(Answer::new().figure("rate", rate).figure("volume_rate", rate / density_kg_l))
    },
};

/// Declaration of [`fuel_rate_kg_h`] by balance.
pub const FUEL_RATE_BY_MASS: Calculation = Calculation {
    name: "fuel-rate-by-mass",
    title: "Fuel rate by balance",
    stage: Stage::Bed,
    question: "How much fuel does the engine burn, by balance and watch?",
    inputs: &[
        Input::quantity("mass", "g", "mass burnt").at_least(0.0),
        Input::quantity("time", "s", "time it took").over(0.0),
    ],
    outputs: &[Output::figure("rate", "kg/h", "fuel rate by mass")],
    formula: "m = Δm / t",
    source: "definition",
    validity: "Steady running over the whole time.",
    example: &[("mass", "74.5 g"), ("time", "21.4 s")],
    expected: &[("rate", "12.53271028")],
    run: |given| {
        let reading =
            FuelReading::Mass { mass_g: given.number("mass"), time_s: given.number("time") };
        Ok(Answer::new().figure("rate", fuel_rate_kg_h(reading)))
    },
};

/// Declaration of [`specific_consumption_g_kwh`] and [`thermal_efficiency`].
pub const SPECIFIC_CONSUMPTION: Calculation = Calculation {
    name: "specific-consumption",
    title: "Specific fuel consumption and thermal efficiency",
    stage: Stage::Bed,
    question: "How much fuel does each kilowatt-hour cost, and what share of its heat is work?",
    inputs: &[
        Input::quantity("rate", "kg/h", "fuel rate by mass").over(0.0),
        Input::quantity("power", "kW", "brake power").over(0.0),
        Input::quantity("heating_value", "MJ/kg", "lower heating value of the fuel")
            .over(0.0)
            .or("43 MJ/kg"),
    ],
    outputs: &[
        Output::figure("bsfc", "g/kWh", "brake specific fuel consumption"),
        Output::figure("efficiency", "", "brake thermal efficiency, share of the heat"),
    ],
    formula: "b = m / P; η = P / (m H)",
    source: "definitions",
    validity: "Rate and power of the same minutes; lower heating value.",
    example: &[
        ("rate", "18.9 kg/h"),
        ("power", "72.8849495632832 kW"),
        ("heating_value", "43 MJ/kg"),
    ],
    expected: &[("bsfc", "259.3127952"), ("efficiency", "0.3228569194")],
    run: |given| {
        let fuel =
            FuelForPower { rate_kg_h: given.number("rate"), power_kw: given.number("power") };
        Ok(Answer::new()
            .figure("bsfc", specific_consumption_g_kwh(fuel))
            .figure("efficiency", thermal_efficiency(fuel, given.number("heating_value"))))
    },
};
