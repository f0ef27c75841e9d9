//! Friction: cylinders cut out in turn, the fuel line drawn back to no fuel, or motoring.
//!
//! # Caution
//! Cutting out a cylinder sends unburnt mixture into the exhaust of a spark-ignition engine: the
//! usual care against fire and hot catalysts applies, and the maker's instructions go before.

use bedplate_gauge::calculation::{
    Answer, Calculation, Column, Input, Output, Refused, Stage, Value,
};

/// Why friction cannot be told from these readings.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum FrictionError {
    /// Fewer than two cylinders.
    #[error("{n_cylinders} cylinder cut out; an engine needs two or more, to run on the others")]
    TooFewCylinders {
        /// How many were given.
        n_cylinders: usize,
    },
    /// A power that cannot be.
    #[error("a power of {power_kw} kW with all firing is none to compare with; it must be above 0")]
    NoPower {
        /// Power with all cylinders firing, kW.
        power_kw: f64,
    },
    /// A cylinder that gives nothing, or readings that are not numbers.
    #[error(
        "cylinder {cylinder} cut out left {left_kw} kW of {all_kw} kW: it would give nothing of \
         its own; find why before counting friction"
    )]
    DeadCylinder {
        /// Which cylinder, counted from 1.
        cylinder: usize,
        /// Power with it cut out, kW.
        left_kw: f64,
        /// Power with all firing, kW.
        all_kw: f64,
    },
    /// Fewer than three points, or all at one power.
    #[error(
        "{n_points} points at {n_powers} different powers; a fuel line needs three or more of each"
    )]
    TooFewPoints {
        /// How many points were given.
        n_points: usize,
        /// How many different powers they are at.
        n_powers: usize,
    },
    /// The fuel line does not cut the axis on the side of friction.
    #[error(
        "the fuel line has a slope of {slope} kg/h for each kW and {idle} kg/h at no power; both \
         must be above 0"
    )]
    NotAFuelLine {
        /// Slope, kg/h for each kW.
        slope: f64,
        /// Fuel at no power, kg/h.
        idle: f64,
    },
}

impl From<FrictionError> for Refused {
    fn from(error: FrictionError) -> Self {
        let input = match error {
            FrictionError::TooFewCylinders { .. } | FrictionError::DeadCylinder { .. } => "cut_out",
            FrictionError::NoPower { .. } => "power",
            FrictionError::TooFewPoints { .. } | FrictionError::NotAFuelLine { .. } => "points",
        };
        Self::because(input, error.to_string())
    }
}

/// Result of a cut-out test.
#[derive(Debug, Clone, PartialEq)]
pub struct CutOut {
    /// Indicated power of each cylinder, kW, in the order given.
    pub indicated_kw: Vec<f64>,
    /// Indicated power of the engine, kW.
    pub total_indicated_kw: f64,
    /// Friction power, kW.
    pub friction_kw: f64,
    /// Mechanical efficiency, a share.
    pub mechanical_efficiency: f64,
    /// Weakest cylinder, counted from 1.
    pub weakest: usize,
}

/// Indicated power and mechanical efficiency from cutting out each cylinder in turn.
///
/// # Formula
/// `P_i,k = P − P_k`, `P_k` the power with cylinder `k` cut out at the same speed;
/// `η_m = P / Σ P_i,k`; friction `Σ P_i,k − P`.
/// # Given
/// Power with all firing and, for each cylinder, with it cut out, kW (or brake loads, for the
/// efficiency and the comparison alone).
/// # Returns
/// Indicated power of each cylinder, their sum, friction and mechanical efficiency.
/// # Errors
/// [`FrictionError::NoPower`], [`FrictionError::TooFewCylinders`], [`FrictionError::DeadCylinder`].
/// # Validity
/// Same speed throughout, and friction and filling of the others unchanged by the dead cylinder;
/// good to a few per cent. Spark or compression ignition, two cylinders or more.
/// # Source
/// W. Morse's method in its usual form (common practice).
/// # Example
/// T. D. Eastop and A. McConkey, Applied Thermodynamics for Engineering Technologists, chapter on
/// reciprocating engines, first example (from memory): net brake load 155 N, and 111, 106.5, 104.2
/// and 111 N with cylinders 1 to 4 cut out; mechanical efficiency 82.8 %.
/// ```
/// use bedplate_engine::bed::friction::cut_out;
/// let test = cut_out(155.0, &[111.0, 106.5, 104.2, 111.0])?;
/// assert_eq!(format!("{:.3}", test.mechanical_efficiency), "0.828");
/// # Ok::<(), bedplate_engine::bed::friction::FrictionError>(())
/// ```
pub fn cut_out(all_firing_kw: f64, cut_out_kw: &[f64]) -> Result<CutOut, FrictionError> {
    if !(all_firing_kw > 0.0 && all_firing_kw.is_finite()) {
        return Err(FrictionError::NoPower { power_kw: all_firing_kw });
    }
    if cut_out_kw.len() < 2 {
        return Err(FrictionError::TooFewCylinders { n_cylinders: cut_out_kw.len() });
    }
    let mut indicated_kw = Vec::with_capacity(cut_out_kw.len());
    let mut weakest = 0;
    for (k, &left_kw) in cut_out_kw.iter().enumerate() {
        let own_kw = all_firing_kw - left_kw;
        if !(own_kw > 0.0 && own_kw.is_finite()) {
            let (cylinder, all_kw) = (k + 1, all_firing_kw);
            return Err(FrictionError::DeadCylinder { cylinder, left_kw, all_kw });
        }
        indicated_kw.push(own_kw);
        if own_kw < indicated_kw[weakest] {
            weakest = k;
        }
    }
    let total_indicated_kw: f64 = indicated_kw.iter().sum();
    Ok(CutOut {
        total_indicated_kw,
        friction_kw: total_indicated_kw - all_firing_kw,
        mechanical_efficiency: all_firing_kw / total_indicated_kw,
        weakest: weakest + 1,
        indicated_kw,
    })
}

/// Fuel rate at a power.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FuelPoint {
    /// Brake power, kW.
    pub power_kw: f64,
    /// Fuel rate, kg/h.
    pub rate_kg_h: f64,
}

/// The fuel line and the friction it shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FuelLine {
    /// Slope, kg/h for each kW.
    pub slope_kg_kwh: f64,
    /// Fuel at no power, kg/h.
    pub idle_kg_h: f64,
    /// Friction power, kW.
    pub friction_kw: f64,
    /// Standard deviation of the points about the line, kg/h.
    pub scatter_kg_h: f64,
}

/// Friction by drawing the fuel line back to no fuel (compression ignition only).
///
/// # Formula
/// Least squares `m = a + b P`; friction power is `a/b`, where the line would need no fuel.
/// # Given
/// Three or more points at one speed, brake power in kW and fuel rate in kg/h, in the straight
/// part of the line (up to about three quarters of full load).
/// # Returns
/// Slope, fuel at no power, friction power and scatter about the line.
/// # Errors
/// [`FrictionError::TooFewPoints`], [`FrictionError::NotAFuelLine`].
/// # Validity
/// Compression ignition at constant speed: a throttled engine has no straight fuel line.
/// # Source
/// P. W. Willans's line in its usual form (common practice); least squares.
/// # Example
/// ```
/// use bedplate_engine::bed::friction::{FuelPoint, fuel_line};
/// // Made up: exactly 1.2 kg/h at no power and 0.2 kg/h for each kW.
/// let points = [5.0, 10.0, 20.0]
///     .map(|power_kw| FuelPoint { power_kw, rate_kg_h: 1.2 + 0.2 * power_kw });
/// assert!((fuel_line(&points)?.friction_kw - 6.0).abs() < 1e-12);
/// # Ok::<(), bedplate_engine::bed::friction::FrictionError>(())
/// ```
pub fn fuel_line(points: &[FuelPoint]) -> Result<FuelLine, FrictionError> {
    let mut powers: Vec<f64> = points.iter().map(|p| p.power_kw).collect();
    powers.sort_by(f64::total_cmp);
    powers.dedup();
    if powers.len() < 3 {
        let (n_points, n_powers) = (points.len(), powers.len());
        return Err(FrictionError::TooFewPoints { n_points, n_powers });
    }
    #[expect(clippy::cast_precision_loss, reason = "a count of test points")]
    let n = points.len() as f64;
    let mean_power = points.iter().map(|p| p.power_kw).sum::<f64>() / n;
    let mean_rate = points.iter().map(|p| p.rate_kg_h).sum::<f64>() / n;
    let square: f64 = points.iter().map(|p| (p.power_kw - mean_power).powi(2)).sum();
    let product: f64 =
        points.iter().map(|p| (p.power_kw - mean_power) * (p.rate_kg_h - mean_rate)).sum();
    let slope = product / square;
    let idle = mean_rate - slope * mean_power;
    if !(slope > 0.0 && idle > 0.0 && slope.is_finite() && idle.is_finite()) {
        return Err(FrictionError::NotAFuelLine { slope, idle });
    }
    let off: f64 = points.iter().map(|p| (p.rate_kg_h - idle - slope * p.power_kw).powi(2)).sum();
    Ok(FuelLine {
        slope_kg_kwh: slope,
        idle_kg_h: idle,
        friction_kw: idle / slope,
        scatter_kg_h: (off / (n - 2.0)).sqrt(),
    })
}

/// Mechanical efficiency from the power it takes to motor the engine.
///
/// # Formula
/// `η_m = P / (P + P_f)`.
/// # Given
/// Brake power and motoring power at the same speed and oil temperature, kW, both above zero.
/// # Returns
/// Mechanical efficiency, a share.
/// # Validity
/// Motored hot at once after firing: pumping and cooler walls make it an upper bound of friction.
/// # Source
/// Definition.
/// # Example
/// ```
/// use bedplate_engine::bed::friction::{Motored, motored_efficiency};
/// // 16.18 kW at the brake, 3.37 kW of friction: 82.8 %.
/// let motored = Motored { power_kw: 16.18, friction_kw: 3.37 };
/// assert_eq!(format!("{:.3}", motored_efficiency(motored)), "0.828");
/// ```
#[must_use]
pub fn motored_efficiency(motored: Motored) -> f64 {
    motored.power_kw / (motored.power_kw + motored.friction_kw)
}

/// Power firing and power to motor, at one speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Motored {
    /// Brake power firing, kW.
    pub power_kw: f64,
    /// Power to motor the engine, kW, counted positive.
    pub friction_kw: f64,
}

const CYLINDERS: &[Column] = &[
    Column { name: "cylinder", unit: "", meaning: "cylinder, in the order given" },
    Column { name: "indicated", unit: "kW", meaning: "its indicated power" },
];

/// Declaration of [`cut_out`].
pub const CUT_OUT: Calculation = Calculation {
    name: "cut-out-test",
    title: "Cylinders cut out in turn",
    stage: Stage::Bed,
    question: "What does each cylinder give, and how much goes in friction?",
    inputs: &[
        Input::quantity("power", "kW", "brake power with all cylinders firing").over(0.0),
        Input::list("cut_out", "kW", "brake power with each cylinder cut out, same speed"),
    ],
    outputs: &[
        Output::figure("cylinders", "", "indicated power of each cylinder"),
        Output::figure("indicated", "kW", "indicated power of the engine"),
        Output::figure("friction", "kW", "friction power"),
        Output::figure("efficiency", "", "mechanical efficiency, a share"),
        Output::figure("weakest", "", "weakest cylinder"),
    ],
    formula: "P_i,k = P − P_k; η_m = P / Σ P_i,k",
    source: "common practice (W. Morse); example from Eastop and McConkey, Applied \
             Thermodynamics for Engineering Technologists (from memory), its loads times 0.104386",
    validity: "Constant speed, two cylinders or more; good to a few per cent.",
    example: &[("power", "16.180 kW"), ("cut_out", "11.587 kW, 11.117 kW, 10.877 kW, 11.587 kW")],
    expected: &[("efficiency", "0.828"), ("weakest", "1")],
    run: |given| {
        let test = cut_out(given.number("power"), given.list("cut_out"))?;
        #[expect(clippy::cast_precision_loss, reason = "a count of cylinders")]
        let rows =
            test.indicated_kw.iter().enumerate().map(|(k, p)| vec![(k + 1) as f64, *p]).collect();
        Ok(Answer::new()
            .with("cylinders", Value::Table(CYLINDERS, rows))
            .figure("indicated", test.total_indicated_kw)
            .figure("friction", test.friction_kw)
            .figure("efficiency", test.mechanical_efficiency)
            .count("weakest", test.weakest))
    },
};

const FUEL_POINTS: &[Column] = &[
    Column { name: "power", unit: "kW", meaning: "brake power" },
    Column { name: "rate", unit: "kg/h", meaning: "fuel rate" },
];

/// Declaration of [`fuel_line`].
pub const FUEL_LINE: Calculation = Calculation {
    name: "fuel-line",
    title: "Friction from the fuel line",
    stage: Stage::Bed,
    question: "How much friction does the fuel line show when drawn back to no fuel?",
    inputs: &[Input::table("points", FUEL_POINTS, "points at one speed, straight part only")],
    outputs: &[
        Output::figure("friction", "kW", "friction power"),
        Output::figure("idle", "kg/h", "fuel at no power"),
        Output::figure("slope", "g/kWh", "fuel for each further kilowatt-hour"),
        Output::figure("scatter", "kg/h", "standard deviation about the line"),
    ],
    formula: "m = a + b P by least squares; P_f = a/b",
    source: "common practice (P. W. Willans); example made up to lie on a line",
    validity: "Compression ignition at constant speed, up to about three quarters load.",
    example: &[("points", "5 kW, 2.2 kg/h; 10 kW, 3.2 kg/h; 20 kW, 5.2 kg/h")],
    expected: &[("friction", "6.0"), ("idle", "1.2"), ("slope", "200")],
    run: |given| {
        let points: Vec<FuelPoint> = given
            .table("points")
            .iter()
            .map(|row| FuelPoint { power_kw: row[0], rate_kg_h: row[1] })
            .collect();
        let line = fuel_line(&points)?;
        Ok(Answer::new()
            .figure("friction", line.friction_kw)
            .figure("idle", line.idle_kg_h)
            .figure("slope", line.slope_kg_kwh * 1e3)
            .figure("scatter", line.scatter_kg_h))
    },
};

/// Declaration of [`motored_efficiency`].
pub const MOTORED_FRICTION: Calculation = Calculation {
    name: "motored-friction",
    title: "Mechanical efficiency from motoring",
    stage: Stage::Bed,
    question: "What share of the indicated power reaches the coupling, by motoring?",
    inputs: &[
        Input::quantity("power", "kW", "brake power firing").over(0.0),
        Input::quantity("motoring_power", "kW", "power to motor at the same speed").at_least(0.0),
    ],
    outputs: &[
        Output::figure("indicated", "kW", "indicated power"),
        Output::figure("efficiency", "", "mechanical efficiency, a share"),
    ],
    formula: "η_m = P / (P + P_f)",
    source: "definition",
    validity: "Motored hot at once after firing; an upper bound of friction.",
    example: &[("power", "8 kW"), ("motoring_power", "2 kW")],
    expected: &[("indicated", "10"), ("efficiency", "0.8")],
    run: |given| {
        let motored = Motored {
            power_kw: given.number("power"),
            friction_kw: given.number("motoring_power"),
        };
        Ok(Answer::new()
            .figure("indicated", motored.power_kw + motored.friction_kw)
            .figure("efficiency", motored_efficiency(motored)))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_dead_cylinder_and_readings_that_are_none_are_refused() {
        assert!(matches!(cut_out(20.0, &[15.0]), Err(FrictionError::TooFewCylinders { .. })));
        assert!(matches!(cut_out(f64::NAN, &[1.0, 2.0]), Err(FrictionError::NoPower { .. })));
        let dead = cut_out(20.0, &[14.0, 20.0, 14.0]);
        assert!(matches!(dead, Err(FrictionError::DeadCylinder { cylinder: 2, .. })));
        assert!(cut_out(20.0, &[14.0, f64::NAN]).is_err());
    }

    #[test]
    fn a_fuel_line_needs_three_powers() {
        let at = |power_kw, rate_kg_h| FuelPoint { power_kw, rate_kg_h };
        let two = [at(5.0, 2.0), at(5.0, 2.1), at(10.0, 3.0)];
        assert!(matches!(fuel_line(&two), Err(FrictionError::TooFewPoints { .. })));
        assert!(fuel_line(&[]).is_err());
        let falling = [at(5.0, 3.0), at(10.0, 2.0), at(15.0, 1.0)];
        assert!(matches!(fuel_line(&falling), Err(FrictionError::NotAFuelLine { .. })));
        let bad = [at(f64::NAN, 3.0), at(10.0, 2.0), at(15.0, 1.0)];
        assert!(fuel_line(&bad).is_err());
    }

    proptest! {
        #[test]
        fn indicated_less_friction_is_brake_power(
            own in proptest::collection::vec(4.0..6.0f64, 2..9), share in 0.6..0.95f64,
        ) {
            let indicated: f64 = own.iter().sum();
            let brake = indicated * share;
            let left: Vec<f64> = own.iter().map(|p| brake - p).collect();
            let test = cut_out(brake, &left).unwrap();
            prop_assert!((test.total_indicated_kw - test.friction_kw - brake).abs() < 1e-9);
            prop_assert!((test.mechanical_efficiency - share).abs() < 1e-9);
        }
    }
}
