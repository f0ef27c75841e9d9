//! Torque from the brake, power from torque and speed, mean effective pressure from torque and
//! displacement.

use std::f64::consts::PI;

use bedplate_gauge::calculation::{Answer, Calculation, Input, Output, Stage};

/// What the brake shows: a force at the end of its arm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BrakeLoad {
    /// Net force at the end of the arm, N; the dead weight of the arm already taken off.
    pub load_n: f64,
    /// Length of the arm from the shaft's centre, square to the force, m.
    pub arm_m: f64,
}

/// Torque and the speed at which it was given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turning {
    /// Torque, N·m; positive where the engine drives the brake.
    pub torque_nm: f64,
    /// Speed, rev/min.
    pub speed_rpm: f64,
}

/// Power and the speed at which it is given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerAtSpeed {
    /// Power, kW.
    pub power_kw: f64,
    /// Speed, rev/min; not zero.
    pub speed_rpm: f64,
}

/// How many strokes make one working cycle.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cycle {
    /// A working stroke every revolution.
    TwoStroke,
    /// A working stroke every second revolution.
    FourStroke,
}

impl Cycle {
    /// The words by which a cycle is chosen, as in [`Cycle::named`].
    pub const WORDS: &'static [&'static str] = &["four-stroke", "two-stroke"];

    /// Revolutions of the crank for one working cycle.
    #[must_use]
    pub const fn revolutions(self) -> f64 {
        match self {
            Self::TwoStroke => 1.0,
            Self::FourStroke => 2.0,
        }
    }

    /// The cycle of this word, `None` if it is none of [`Cycle::WORDS`].
    #[must_use]
    pub fn named(word: &str) -> Option<Self> {
        match word {
            "four-stroke" => Some(Self::FourStroke),
            "two-stroke" => Some(Self::TwoStroke),
            _ => None,
        }
    }
}

/// The size of an engine and its cycle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EngineSize {
    /// Swept volume of all cylinders, l; greater than zero.
    pub displacement_l: f64,
    /// Two- or four-stroke.
    pub cycle: Cycle,
}

/// Torque shown by a brake with an arm.
///
/// # Formula
/// `T = F r`, `F` the net force at the arm's end, `r` the arm.
/// # Given
/// `load_n` in N, any sign; `arm_m` in m, greater than zero.
/// # Returns
/// Torque in N·m, of the sign of the load.
/// # Validity
/// The force square to the arm, the arm balanced or its dead weight taken off beforehand.
/// # Source
/// Definition of the moment of a force.
/// # Example
/// T. D. Eastop and A. McConkey, Applied Thermodynamics for Engineering Technologists, chapter on
/// reciprocating engines, first example (from memory): 155 N on 0.356 m give 55.2 N·m.
/// ```
/// use bedplate_engine::bed::torque::{BrakeLoad, brake_torque_nm};
/// let torque_nm = brake_torque_nm(BrakeLoad { load_n: 155.0, arm_m: 0.356 });
/// assert_eq!(format!("{torque_nm:.1}"), "55.2");
/// ```
#[must_use]
pub fn brake_torque_nm(brake: BrakeLoad) -> f64 {
    brake.load_n * brake.arm_m
}

/// Power given at a torque and speed.
///
/// # Formula
/// `P = T 2π n`, `n` in revolutions a second.
/// # Given
/// Torque in N·m, speed in rev/min.
/// # Returns
/// Power in kW, positive where the engine drives the brake.
/// # Validity
/// Steady speed; the mean torque.
/// # Source
/// Definition of power.
/// # Example
/// ```
/// use bedplate_engine::bed::torque::{Turning, power_kw};
/// // Arithmetic from the definition: 145 N·m at 4800 rev/min.
/// let power = power_kw(Turning { torque_nm: 145.0, speed_rpm: 4800.0 });
/// assert_eq!(format!("{power:.6}"), "72.884950");
/// ```
#[must_use]
pub fn power_kw(turning: Turning) -> f64 {
    turning.torque_nm * turning.speed_rpm * PI / 30.0 / 1e3
}

/// Torque at which an engine gives a power.
///
/// # Formula
/// `T = P / (2π n)`.
/// # Given
/// Power in kW; speed in rev/min, not zero.
/// # Returns
/// Torque in N·m; infinite or not a number at no speed, where no torque gives power.
/// # Validity
/// Steady speed; the mean torque.
/// # Source
/// Definition of power.
/// # Example
/// Common practice, no source: 25 brake horsepower at 4000 rev/min are 44.5 N·m.
/// ```
/// use bedplate_engine::bed::torque::{PowerAtSpeed, torque_nm};
/// let power_kw = 25.0 * 0.745_699_871_6;
/// let torque = torque_nm(PowerAtSpeed { power_kw, speed_rpm: 4000.0 });
/// assert_eq!(format!("{torque:.1}"), "44.5");
/// ```
#[must_use]
pub fn torque_nm(output: PowerAtSpeed) -> f64 {
    output.power_kw * 1e3 * 30.0 / (PI * output.speed_rpm)
}

/// Brake mean effective pressure: the steady pressure on the pistons that would give this torque.
///
/// # Formula
/// `p = 2π i T / V`, `i` the revolutions of one cycle (1 two-stroke, 2 four-stroke), `V` the swept
/// volume of all cylinders. For a four-stroke engine `p = 4π T / V`.
/// # Given
/// Torque in N·m; displacement in l, greater than zero.
/// # Returns
/// Mean effective pressure in bar, of the sign of the torque.
/// # Validity
/// Every cylinder fires once a cycle.
/// # Source
/// Definition: the work of one cycle over the swept volume.
/// # Example
/// T. D. Eastop and A. McConkey, Applied Thermodynamics for Engineering Technologists, chapter on
/// reciprocating engines, first example (from memory): four cylinders 57 mm × 90 mm at 55.2 N·m
/// give 7.55 bar.
/// ```
/// use bedplate_engine::bed::torque::{Cycle, EngineSize, mean_effective_pressure_bar};
/// let displacement_l = 4.0 * std::f64::consts::FRAC_PI_4 * 57f64.powi(2) * 90.0 / 1e6;
/// let size = EngineSize { displacement_l, cycle: Cycle::FourStroke };
/// assert_eq!(format!("{:.2}", mean_effective_pressure_bar(55.18, size)), "7.55");
/// ```
#[must_use]
pub fn mean_effective_pressure_bar(torque_nm: f64, size: EngineSize) -> f64 {
    // N·m over litre is kPa; 100 kPa are 1 bar.
    2.0 * PI * size.cycle.revolutions() * torque_nm / size.displacement_l / 100.0
}

/// Kilowatts in a metric horsepower: 75 kgf·m/s with the standard gravity 9.80665 m/s².
const KW_PER_PS: f64 = 0.735_498_75;
/// Kilowatts in a horsepower: 550 ft·lbf/s.
const KW_PER_HP: f64 = 0.745_699_871_582_270_2;
/// Newton metres in a pound-force foot.
const NM_PER_LBF_FT: f64 = 1.355_817_948_331_400_4;

/// Declaration of [`brake_torque_nm`].
pub const BRAKE_TORQUE: Calculation = Calculation {
    name: "brake-torque",
    title: "Torque from brake load and arm",
    stage: Stage::Bed,
    question: "What torque does the brake hold?",
    inputs: &[
        Input::quantity("load", "N", "net force at the end of the arm"),
        Input::quantity("arm", "m", "length of the arm, square to the force").over(0.0),
    ],
    outputs: &[Output::figure("torque", "N·m", "torque, of the sign of the load")],
    formula: "T = F r",
    source: "definition; example from Eastop and McConkey, Applied Thermodynamics for \
             Engineering Technologists (from memory)",
    validity: "Force square to the arm; the arm's own weight balanced or taken off.",
    example: &[("load", "155 N"), ("arm", "0.356 m")],
    expected: &[("torque", "55.2")],
    run: |given| {
        let brake = BrakeLoad { load_n: given.number("load"), arm_m: given.number("arm") };
        Ok(Answer::new().figure("torque", brake_torque_nm(brake)))
    },
};

/// Declaration of [`power_kw`] and [`mean_effective_pressure_bar`].
pub const ENGINE_OUTPUT: Calculation = Calculation {
    name: "engine-output",
    title: "Power and mean effective pressure",
    stage: Stage::Bed,
    question: "What power is this torque at this speed, and how hard do the cylinders work?",
    inputs: &[
        Input::quantity("torque", "N·m", "torque at the brake"),
        Input::quantity("speed", "rev/min", "speed").at_least(0.0),
        Input::quantity("displacement", "l", "swept volume of all cylinders").over(0.0),
        Input::choice("cycle", Cycle::WORDS, "strokes of a working cycle").or("four-stroke"),
    ],
    outputs: &[
        Output::figure("power", "kW", "brake power"),
        Output::figure("power_ps", "PS", "brake power in metric horsepower"),
        Output::figure("power_hp", "hp", "brake power in horsepower of 550 ft·lbf/s"),
        Output::figure("bmep", "bar", "brake mean effective pressure"),
    ],
    formula: "P = T 2π n; p = 2π i T / V, i = 1 two-stroke, 2 four-stroke",
    source: "definitions",
    validity: "Steady speed; every cylinder fires once a cycle.",
    example: &[("torque", "145 N·m"), ("speed", "4800 rev/min"), ("displacement", "1.998 l")],
    expected: &[
        ("power", "72.88494956"),
        ("power_ps", "99.0959530"),
        ("power_hp", "97.7403274"),
        ("bmep", "9.119738434"),
    ],
    run: |given| {
        let turning =
            Turning { torque_nm: given.number("torque"), speed_rpm: given.number("speed") };
        let cycle = Cycle::named(given.word("cycle")).expect("one of the declared words");
        let size = EngineSize { displacement_l: given.number("displacement"), cycle };
        let power = power_kw(turning);
        Ok(Answer::new()
            .figure("power", power)
            .figure("power_ps", power / KW_PER_PS)
            .figure("power_hp", power / KW_PER_HP)
            .figure("bmep", mean_effective_pressure_bar(turning.torque_nm, size)))
    },
};

/// Declaration of [`torque_nm`].
pub const TORQUE_FROM_POWER: Calculation = Calculation {
    name: "torque-from-power",
    title: "Torque from power and speed",
    stage: Stage::Bed,
    question: "What torque must the brake hold for this power at this speed?",
    inputs: &[
        Input::quantity("power", "kW", "brake power"),
        Input::quantity("speed", "rev/min", "speed").over(0.0),
    ],
    outputs: &[
        Output::figure("torque", "N·m", "torque"),
        Output::figure("torque_lbf_ft", "lbf·ft", "the same torque in pound-force feet"),
    ],
    formula: "T = P / (2π n)",
    source: "definition; example common practice, no source",
    validity: "Steady speed; the mean torque.",
    example: &[("power", "25 hp"), ("speed", "4000 rev/min")],
    expected: &[("torque", "44.5"), ("torque_lbf_ft", "32.8")],
    run: |given| {
        let output =
            PowerAtSpeed { power_kw: given.number("power"), speed_rpm: given.number("speed") };
        let torque = torque_nm(output);
        Ok(Answer::new().figure("torque", torque).figure("torque_lbf_ft", torque / NM_PER_LBF_FT))
    },
};
