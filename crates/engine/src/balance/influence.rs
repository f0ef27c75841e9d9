//! From a machine's readings with and without trial masses to the masses that balance the rotor.
//!
//! Readings are in whatever unit the machine shows (volt, µm, mm/s), the same in every run.

use bedplate_gauge::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};

use super::planes::{Plane, Planes};
use super::vector::{Phasor, Unbalance, sin_cos_deg};

/// One reading of a machine's sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Amplitude, in the machine's own unit.
    pub amplitude: f64,
    /// Phase, degrees.
    pub phase_deg: f64,
}

/// A mass at the balancing radius.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MassAt {
    /// Mass, g.
    pub mass_g: f64,
    /// Angle from pin 1, degrees.
    pub angle_deg: f64,
}

/// How far a sensor answers a mass: its influence coefficient.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Influence {
    /// Reading per gram at the balancing radius.
    pub per_g: f64,
    /// Angle by which the reading runs ahead of the mass, degrees in `[0, 360)`.
    pub angle_deg: f64,
}

impl Reading {
    fn phasor(self) -> Phasor {
        Phasor::polar(self.amplitude, self.phase_deg)
    }
}

impl MassAt {
    fn phasor(self) -> Phasor {
        Phasor::polar(self.mass_g, self.angle_deg)
    }

    fn from_phasor(phasor: Phasor) -> Self {
        Self { mass_g: phasor.size(), angle_deg: phasor.angle_deg() }
    }

    /// The same mass as an unbalance, put at `radius_mm`.
    #[must_use]
    pub const fn at_radius(self, radius_mm: f64) -> Unbalance {
        Unbalance { amount_gmm: self.mass_g * radius_mm, angle_deg: self.angle_deg }
    }
}

impl Influence {
    fn from_phasor(phasor: Phasor) -> Self {
        Self { per_g: phasor.size(), angle_deg: phasor.angle_deg() }
    }
}

/// Why readings give no correction.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum InfluenceError {
    /// A figure is no finite number, or negative where an amount is meant.
    #[error("{what} is {value}; a finite amount, zero or more, is needed")]
    NotAnAmount {
        /// Which figure.
        what: &'static str,
        /// Its value.
        value: f64,
    },
    /// A trial mass of nothing.
    #[error("the trial mass is zero; one that changes the reading clearly is needed")]
    NoTrialMass,
    /// The trial mass did not change the readings.
    #[error("the readings do not change with the trial mass; use a larger one or another angle")]
    NoEffect,
    /// The two planes cannot be told apart by these readings.
    #[error(
        "both planes act on the sensors alike; trial masses in planes farther apart are needed"
    )]
    PlanesAlike,
    /// Three angles that do not fix a direction.
    #[error("trial angles {first}°, {second}° and {third}° must differ from each other")]
    AnglesAlike {
        /// First angle.
        first: f64,
        /// Second angle.
        second: f64,
        /// Third angle.
        third: f64,
    },
}

fn amount(what: &'static str, value: f64) -> Result<(), InfluenceError> {
    if value.is_finite() && value >= 0.0 {
        Ok(())
    } else {
        Err(InfluenceError::NotAnAmount { what, value })
    }
}

fn reading(what: &'static str, reading: Reading) -> Result<Phasor, InfluenceError> {
    amount(what, reading.amplitude)?;
    if !reading.phase_deg.is_finite() {
        return Err(InfluenceError::NotAnAmount { what: "phase", value: reading.phase_deg });
    }
    Ok(reading.phasor())
}

fn trial_mass(trial: MassAt) -> Result<Phasor, InfluenceError> {
    amount("trial mass", trial.mass_g)?;
    if !trial.angle_deg.is_finite() {
        return Err(InfluenceError::NotAnAmount { what: "angle", value: trial.angle_deg });
    }
    if trial.mass_g == 0.0 {
        return Err(InfluenceError::NoTrialMass);
    }
    Ok(trial.phasor())
}

/// Two runs of a rotor with one plane and one sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnePlaneRuns {
    /// Reading of the rotor as it is.
    pub initial: Reading,
    /// Reading with the trial mass on.
    pub with_trial: Reading,
    /// The trial mass.
    pub trial: MassAt,
}

/// What two runs in one plane tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnePlane {
    /// How the sensor answers a mass.
    pub influence: Influence,
    /// The mass to add, trial mass taken off, that brings the reading to zero.
    pub correction: MassAt,
}

/// Correction in one plane from a run with and a run without a trial mass.
///
/// # Formula
/// As vectors: `α = (V1 − V0) / T`, correction `u = −V0 / α`; `V0`, `V1` readings without and with
/// the trial mass `T`.
/// # Given
/// Amplitudes in one unit, phases in degrees; trial mass in g at its angle.
/// # Returns
/// Influence, and the mass to add at the trial mass's radius. Take metal off at the opposite angle.
/// # Errors
/// [`InfluenceError`] when the trial mass does nothing or a figure is no amount.
/// # Validity
/// Linear machine at one speed; the trial mass is taken off again. The change of the reading must
/// be well over its scatter.
/// # Source
/// Vector method, common practice; ISO 21940 series.
/// # Example
/// Computed with Python's complex arithmetic: 8.5 at 60°, with 10 g at 0° then 6.0 at 125°.
/// ```
/// use bedplate_engine::balance::influence::{MassAt, OnePlaneRuns, Reading, trial_mass_one_plane};
/// let told = trial_mass_one_plane(&OnePlaneRuns {
///     initial: Reading { amplitude: 8.5, phase_deg: 60.0 },
///     with_trial: Reading { amplitude: 6.0, phase_deg: 125.0 },
///     trial: MassAt { mass_g: 10.0, angle_deg: 0.0 },
/// })?;
/// let correction = told.correction;
/// assert_eq!(format!("{:.3} g at {:.2}°", correction.mass_g, correction.angle_deg),
///     "10.531 g at 42.36°");
/// # Ok::<(), bedplate_engine::balance::influence::InfluenceError>(())
/// ```
pub fn trial_mass_one_plane(runs: &OnePlaneRuns) -> Result<OnePlane, InfluenceError> {
    let initial = reading("initial amplitude", runs.initial)?;
    let with_trial = reading("amplitude with the trial mass", runs.with_trial)?;
    let trial = trial_mass(runs.trial)?;
    let influence = (with_trial - initial) / trial;
    let correction = -initial / influence;
    if !correction.is_finite() {
        return Err(InfluenceError::NoEffect);
    }
    Ok(OnePlane {
        influence: Influence::from_phasor(influence),
        correction: MassAt::from_phasor(correction),
    })
}

/// Four runs read by amplitude alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FourRuns {
    /// Amplitude of the rotor as it is.
    pub initial: f64,
    /// Amplitudes with the same trial mass at each of the three angles.
    pub with_trial: [f64; 3],
    /// The three angles, degrees from pin 1.
    pub angles_deg: [f64; 3],
    /// The trial mass, g.
    pub trial_g: f64,
}

/// What four runs tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FourRun {
    /// The mass to add that brings the amplitude to zero.
    pub correction: MassAt,
    /// Effect of the trial mass found from the change with its angle, over the effect found from
    /// the mean of the squares: 1 when the four amplitudes agree with each other.
    pub agreement: f64,
}

/// Correction in one plane from four runs without a phase reading.
///
/// # Formula
/// `A_k² = A_0² + w² + 2 A_0 w cos(θ_k + ψ)` for the three trial angles `θ_k`, linear in `w²`,
/// `w cos ψ`, `w sin ψ`: `A_0` the initial amplitude, `w` the trial mass's effect, `ψ` its phase
/// against the initial reading. Correction `T A_0 / w` at `180° − ψ`.
/// # Given
/// Four amplitudes in one unit; three angles that differ; trial mass in g.
/// # Returns
/// The mass to add at the trial mass's radius, its angle, and how well the readings agree.
/// # Errors
/// [`InfluenceError`] when the angles do not differ or the trial mass does nothing.
/// # Validity
/// Linear machine at one speed. With angles of 0°, 120° and 240° `w² = ΣA_k²/3 − A_0²`. An
/// agreement far from 1 says that the readings scatter too much.
/// # Source
/// Four-run method, common practice; derived here for any three angles.
/// # Example
/// Made from a known unbalance (12 g at 253° balances it), trial mass 8 g:
/// ```
/// use bedplate_engine::balance::influence::{FourRuns, four_run};
/// let told = four_run(&FourRuns {
///     initial: 3.72,
///     with_trial: [5.038194994, 5.707231215, 1.417922093],
///     angles_deg: [0.0, 120.0, 240.0],
///     trial_g: 8.0,
/// })?;
/// let correction = told.correction;
/// assert_eq!(format!("{:.4} g at {:.3}°", correction.mass_g, correction.angle_deg),
///     "12.0000 g at 253.000°");
/// # Ok::<(), bedplate_engine::balance::influence::InfluenceError>(())
/// ```
pub fn four_run(runs: &FourRuns) -> Result<FourRun, InfluenceError> {
    amount("initial amplitude", runs.initial)?;
    amount("trial mass", runs.trial_g)?;
    if runs.trial_g == 0.0 {
        return Err(InfluenceError::NoTrialMass);
    }
    for (amplitude, angle_deg) in runs.with_trial.into_iter().zip(runs.angles_deg) {
        amount("amplitude with the trial mass", amplitude)?;
        if !angle_deg.is_finite() {
            return Err(InfluenceError::NotAnAmount { what: "angle", value: angle_deg });
        }
    }
    let [mean, cos_part, sin_part] = angle_fit(runs)?;
    let effect = libm::sqrt(mean);
    let swing = libm::hypot(cos_part, sin_part);
    let ratio = runs.initial / effect;
    if !(ratio.is_finite() && effect > 0.0) {
        return Err(InfluenceError::NoEffect);
    }
    // cos(θ + ψ) = cos θ cos ψ − sin θ sin ψ, so the fit's sine part is −2 A_0 w sin ψ.
    let phase_deg = Phasor { re: cos_part, im: -sin_part }.angle_deg();
    let correction = Phasor::polar(runs.trial_g * ratio, 180.0 - phase_deg);
    let agreement = if runs.initial == 0.0 { 1.0 } else { swing / (2.0 * runs.initial * effect) };
    Ok(FourRun { correction: MassAt::from_phasor(correction), agreement })
}

/// `A_k² − A_0² = m + c cos θ_k + s sin θ_k` solved for `[m, c, s]` by Cramer's rule.
fn angle_fit(runs: &FourRuns) -> Result<[f64; 3], InfluenceError> {
    let rows = runs.angles_deg.map(|angle_deg| {
        let (sin, cos) = sin_cos_deg(angle_deg);
        [1.0, cos, sin]
    });
    let rise = runs.with_trial.map(|a| a * a - runs.initial * runs.initial);
    let whole = determinant(&rows);
    if whole.abs() < 1e-9 {
        let [first, second, third] = runs.angles_deg;
        return Err(InfluenceError::AnglesAlike { first, second, third });
    }
    let mut solution = [0.0; 3];
    for (column, part) in solution.iter_mut().enumerate() {
        let mut replaced = rows;
        for (row, value) in replaced.iter_mut().zip(rise) {
            row[column] = value;
        }
        *part = determinant(&replaced) / whole;
    }
    Ok(solution)
}

fn determinant(m: &[[f64; 3]; 3]) -> f64 {
    m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1])
        - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
        + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
}

/// Three runs of a rotor with two planes and two sensors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoPlaneRuns {
    /// Readings of both sensors with the rotor as it is.
    pub initial: Planes<Reading>,
    /// Readings of both sensors with the trial mass in plane A.
    pub with_trial_a: Planes<Reading>,
    /// Readings of both sensors with the trial mass in plane B, that in A taken off.
    pub with_trial_b: Planes<Reading>,
    /// The trial mass in plane A and the one in plane B.
    pub trial: Planes<MassAt>,
}

/// What three runs in two planes tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoPlane {
    /// How sensor A answers a mass in plane A and in plane B.
    pub sensor_a: Planes<Influence>,
    /// How sensor B answers a mass in plane A and in plane B.
    pub sensor_b: Planes<Influence>,
    /// The masses to add, trial masses taken off, that bring both readings to zero.
    pub correction: Planes<MassAt>,
    /// The unbalance in each plane as a mass on the heavy side: the correction turned by 180°.
    pub unbalance: Planes<MassAt>,
}

/// Corrections in two planes from three runs.
///
/// # Formula
/// As vectors: `α_ij = (V_ij − V_i0) / T_j`; corrections from `α u = −V_0`. `V_i0` reading of
/// sensor `i` as found, `V_ij` with trial mass `T_j` in plane `j`.
/// # Given
/// Six readings in one unit, two trial masses in g.
/// # Returns
/// The four influence coefficients, the masses to add in each plane at the trial masses' radius,
/// and the unbalances they answer.
/// # Errors
/// [`InfluenceError::PlanesAlike`] when the influences cannot be told apart; the other variants.
/// # Validity
/// Linear machine at one speed; each trial mass taken off before the next run. For a rotor of a
/// known type the coefficients may be kept and used again at the same speed and bearings.
/// # Source
/// Influence-coefficient method (T. P. Goodman, 1964, in its two-plane, one-speed form); ISO 21940
/// series.
/// # Example
/// Made from 22 g at 130° in A and 15 g at 310° in B:
/// ```
/// use bedplate_engine::balance::influence::{MassAt, Reading, TwoPlaneRuns, two_plane_influence};
/// use bedplate_engine::balance::planes::Planes;
/// let at = |amplitude, phase_deg| Reading { amplitude, phase_deg };
/// let told = two_plane_influence(&TwoPlaneRuns {
///     initial: Planes { a: at(8.684911930, 145.948761414), b: at(7.43, 290.0) },
///     with_trial_a: Planes { a: at(7.01706556, 125.80124139), b: at(6.61757860, 280.67336079) },
///     with_trial_b: Planes { a: at(7.65563671, 151.75832216), b: at(5.26317365, 315.15128973) },
///     trial: Planes {
///         a: MassAt { mass_g: 10.0, angle_deg: 0.0 },
///         b: MassAt { mass_g: 12.0, angle_deg: 90.0 },
///     },
/// })?;
/// let heavy = told.unbalance.a;
/// assert_eq!(format!("{:.4} g, {:.3}°", heavy.mass_g, heavy.angle_deg), "22.0000 g, 130.000°");
/// # Ok::<(), bedplate_engine::balance::influence::InfluenceError>(())
/// ```
pub fn two_plane_influence(runs: &TwoPlaneRuns) -> Result<TwoPlane, InfluenceError> {
    let v0 = both(&runs.initial)?;
    let with = Planes { a: both(&runs.with_trial_a)?, b: both(&runs.with_trial_b)? };
    let trial = Planes { a: trial_mass(runs.trial.a)?, b: trial_mass(runs.trial.b)? };
    let answer = |sensor: Plane| Planes {
        a: (with.a.at(sensor) - v0.at(sensor)) / trial.a,
        b: (with.b.at(sensor) - v0.at(sensor)) / trial.b,
    };
    let (of_a, of_b) = (answer(Plane::A), answer(Plane::B));
    let whole = of_a.a * of_b.b - of_a.b * of_b.a;
    // Of the size of rounding against the products it is the difference of: nothing is known.
    let size = (of_a.a * of_b.b).size() + (of_a.b * of_b.a).size();
    if size == 0.0 {
        return Err(InfluenceError::NoEffect);
    }
    if whole.size() <= 1e-9 * size {
        return Err(InfluenceError::PlanesAlike);
    }
    let heavy = Planes {
        a: (v0.a * of_b.b - v0.b * of_a.b) / whole,
        b: (of_a.a * v0.b - of_b.a * v0.a) / whole,
    };
    if !(heavy.a.is_finite() && heavy.b.is_finite()) {
        return Err(InfluenceError::NoEffect);
    }
    Ok(TwoPlane {
        sensor_a: of_a.map(Influence::from_phasor),
        sensor_b: of_b.map(Influence::from_phasor),
        correction: heavy.map(|unbalance| MassAt::from_phasor(-unbalance)),
        unbalance: heavy.map(MassAt::from_phasor),
    })
}

fn both(readings: &Planes<Reading>) -> Result<Planes<Phasor>, InfluenceError> {
    Ok(Planes {
        a: reading("amplitude of sensor A", readings.a)?,
        b: reading("amplitude of sensor B", readings.b)?,
    })
}

const PHASE: &str = "its phase";
const ANGLE: &str = "its angle from pin 1";

/// Handbook entry of [`trial_mass_one_plane`].
pub const TRIAL_MASS_ONE_PLANE: Calculation = Calculation {
    name: "trial-mass-one-plane",
    title: "Trial mass in one plane",
    stage: Stage::Balance,
    question: "Which mass, where, balances this rotor in one plane?",
    inputs: &[
        Input::quantity("initial", "", "reading as found, in the machine's unit").at_least(0.0),
        Input::quantity("initial_phase", "°", PHASE),
        Input::quantity("with_trial", "", "reading with the trial mass on").at_least(0.0),
        Input::quantity("with_trial_phase", "°", PHASE),
        Input::quantity("trial", "g", "trial mass").over(0.0),
        Input::quantity("trial_angle", "°", ANGLE).or("0°"),
    ],
    outputs: &[
        Output::figure("influence", "", "reading per gram"),
        Output::figure("influence_angle", "°", "angle by which the reading runs ahead of the mass"),
        Output::figure("correction", "g", "mass to add at the same radius, trial mass off"),
        Output::figure("correction_angle", "°", ANGLE),
    ],
    formula: "α = (V1 − V0) / T;  u = −V0 / α, as vectors",
    source: "vector method, common practice; ISO 21940 series",
    validity: "Linear machine at one speed, trial mass taken off again. To take metal off, turn \
               the angle by 180°.",
    example: &[
        ("initial", "8.5"),
        ("initial_phase", "60°"),
        ("with_trial", "6.0"),
        ("with_trial_phase", "125°"),
        ("trial", "10 g"),
        ("trial_angle", "0°"),
    ],
    expected: &[
        ("influence", "0.807111747545"),
        ("influence_angle", "197.643504149"),
        ("correction", "10.5313793609"),
        ("correction_angle", "42.3564958509"),
    ],
    run: run_one_plane,
};

fn run_one_plane(given: &Given) -> Result<Answer, Refused> {
    let at = |amplitude, phase| Reading {
        amplitude: given.number(amplitude),
        phase_deg: given.number(phase),
    };
    let runs = OnePlaneRuns {
        initial: at("initial", "initial_phase"),
        with_trial: at("with_trial", "with_trial_phase"),
        trial: MassAt { mass_g: given.number("trial"), angle_deg: given.number("trial_angle") },
    };
    let told = trial_mass_one_plane(&runs)
        .map_err(|error| Refused::because("with_trial", error.to_string()))?;
    Ok(Answer::new()
        .figure("influence", told.influence.per_g)
        .figure("influence_angle", told.influence.angle_deg)
        .figure("correction", told.correction.mass_g)
        .figure("correction_angle", told.correction.angle_deg))
}

/// Handbook entry of [`four_run`].
pub const FOUR_RUN: Calculation = Calculation {
    name: "four-run",
    title: "Four runs without phase",
    stage: Stage::Balance,
    question: "Which mass balances this rotor when only amplitudes can be read?",
    inputs: &[
        Input::quantity("initial", "", "amplitude as found, in the machine's unit").at_least(0.0),
        Input::list("with_trial", "", "three amplitudes, trial mass at each angle in turn")
            .at_least(0.0),
        Input::list("angles", "°", "the three angles from pin 1").or("0, 120, 240 °"),
        Input::quantity("trial", "g", "trial mass").over(0.0),
    ],
    outputs: &[
        Output::figure("correction", "g", "mass to add at the same radius, trial mass off"),
        Output::figure("correction_angle", "°", ANGLE),
        Output::figure("agreement", "", "1 when the four amplitudes agree with each other"),
    ],
    formula: "A_k² = A_0² + w² + 2 A_0 w cos(θ_k + ψ);  correction T A_0 / w at 180° − ψ",
    source: "four-run method, common practice; derived here for any three angles",
    validity: "Linear machine at one speed. An agreement far from 1 tells of scattering readings.",
    example: &[
        ("initial", "3.72"),
        ("with_trial", "5.038194994060885, 5.707231214975013, 1.4179220925828997"),
        ("angles", "0, 120, 240 °"),
        ("trial", "8 g"),
    ],
    expected: &[
        ("correction", "12.0000000"),
        ("correction_angle", "253.000000"),
        ("agreement", "1.00000"),
    ],
    run: run_four_run,
};

fn run_four_run(given: &Given) -> Result<Answer, Refused> {
    let three = |name: &'static str| {
        <[f64; 3]>::try_from(given.list(name)).map_err(|_| {
            let got = given.list(name).len();
            Refused::because(name, format!("{got} numbers given; three are needed"))
        })
    };
    let runs = FourRuns {
        initial: given.number("initial"),
        with_trial: three("with_trial")?,
        angles_deg: three("angles")?,
        trial_g: given.number("trial"),
    };
    let told = four_run(&runs).map_err(|error| {
        let at_fault = match error {
            InfluenceError::AnglesAlike { .. } => "angles",
            _ => "with_trial",
        };
        Refused::because(at_fault, error.to_string())
    })?;
    Ok(Answer::new()
        .figure("correction", told.correction.mass_g)
        .figure("correction_angle", told.correction.angle_deg)
        .figure("agreement", told.agreement))
}

/// Handbook entry of [`two_plane_influence`].
pub const TWO_PLANE_INFLUENCE: Calculation = Calculation {
    name: "two-plane-influence",
    title: "Influence coefficients of two planes",
    stage: Stage::Balance,
    question: "Which masses in two planes balance this rotor?",
    inputs: &[
        Input::list("initial", "", "amplitudes of sensors A and B as found").at_least(0.0),
        Input::list("initial_phase", "°", "their phases"),
        Input::list("with_trial_a", "", "amplitudes with the trial mass in plane A").at_least(0.0),
        Input::list("with_trial_a_phase", "°", "their phases"),
        Input::list("with_trial_b", "", "amplitudes with the trial mass in plane B").at_least(0.0),
        Input::list("with_trial_b_phase", "°", "their phases"),
        Input::list("trial", "g", "trial mass in plane A, trial mass in plane B").over(0.0),
        Input::list("trial_angle", "°", "their angles from pin 1"),
    ],
    outputs: &[
        Output::figure(
            "influence",
            "",
            "reading per gram: sensor A of planes A, B; sensor B of A, B",
        ),
        Output::figure("influence_angle", "°", "their angles, reading ahead of mass"),
        Output::figure("correction", "g", "masses to add in planes A and B, trial masses off"),
        Output::figure("correction_angle", "°", "their angles from pin 1"),
        Output::figure("unbalance", "g", "heavy masses in planes A and B"),
        Output::figure("unbalance_angle", "°", "their angles from pin 1"),
    ],
    formula: "α_ij = (V_ij − V_i0) / T_j;  α u = −V_0, as vectors",
    source: "influence-coefficient method (T. P. Goodman, 1964); ISO 21940 series",
    validity: "Linear machine at one speed; each trial mass taken off before the next run.",
    example: &[
        ("initial", "8.684911929666727, 7.43"),
        ("initial_phase", "145.94876141395318, 290 °"),
        ("with_trial_a", "7.017065560097096, 6.617578603090501"),
        ("with_trial_a_phase", "125.80124139214828, 280.67336079158974 °"),
        ("with_trial_b", "7.6556367075184335, 5.263173654923131"),
        ("with_trial_b_phase", "151.75832215953943, 315.1512897264422 °"),
        ("trial", "10, 12 g"),
        ("trial_angle", "0, 90 °"),
    ],
    expected: &[
        ("influence", "0.320000, 0.110000, 0.140000, 0.290000"),
        ("influence_angle", "15.0000, 200.0000, 160.0000, 340.0000"),
        ("correction", "22.0000, 15.0000"),
        ("correction_angle", "310.0000, 130.0000"),
        ("unbalance", "22.0000, 15.0000"),
        ("unbalance_angle", "130.0000, 310.0000"),
    ],
    run: run_two_plane,
};

fn pair(given: &Given, name: &'static str) -> Result<Planes<f64>, Refused> {
    match given.list(name) {
        [a, b] => Ok(Planes { a: *a, b: *b }),
        other => {
            let got = other.len();
            Err(Refused::because(name, format!("{got} numbers given; two are needed, A and B")))
        }
    }
}

fn run_two_plane(given: &Given) -> Result<Answer, Refused> {
    let readings = |amplitude, phase| -> Result<Planes<Reading>, Refused> {
        let (amplitude, phase) = (pair(given, amplitude)?, pair(given, phase)?);
        let at = |plane| Reading { amplitude: amplitude.at(plane), phase_deg: phase.at(plane) };
        Ok(Planes { a: at(Plane::A), b: at(Plane::B) })
    };
    let (mass, angle) = (pair(given, "trial")?, pair(given, "trial_angle")?);
    let runs = TwoPlaneRuns {
        initial: readings("initial", "initial_phase")?,
        with_trial_a: readings("with_trial_a", "with_trial_a_phase")?,
        with_trial_b: readings("with_trial_b", "with_trial_b_phase")?,
        trial: Planes {
            a: MassAt { mass_g: mass.a, angle_deg: angle.a },
            b: MassAt { mass_g: mass.b, angle_deg: angle.b },
        },
    };
    let told = two_plane_influence(&runs)
        .map_err(|error| Refused::because("with_trial_a", error.to_string()))?;
    let four = [told.sensor_a.a, told.sensor_a.b, told.sensor_b.a, told.sensor_b.b];
    let two = |masses: Planes<MassAt>| [masses.a, masses.b];
    let grams = |masses| two(masses).map(|mass| mass.mass_g).to_vec();
    let angles = |masses| two(masses).map(|mass| mass.angle_deg).to_vec();
    Ok(Answer::new()
        .list("influence", four.map(|influence| influence.per_g).to_vec())
        .list("influence_angle", four.map(|influence| influence.angle_deg).to_vec())
        .list("correction", grams(told.correction))
        .list("correction_angle", angles(told.correction))
        .list("unbalance", grams(told.unbalance))
        .list("unbalance_angle", angles(told.unbalance)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(amplitude: f64, phase_deg: f64) -> Reading {
        Reading { amplitude, phase_deg }
    }

    fn mass(mass_g: f64, angle_deg: f64) -> MassAt {
        MassAt { mass_g, angle_deg }
    }

    #[test]
    fn a_trial_mass_without_effect_is_refused() {
        let same = at(3.0, 40.0);
        let runs = OnePlaneRuns { initial: same, with_trial: same, trial: mass(5.0, 0.0) };
        assert_eq!(trial_mass_one_plane(&runs), Err(InfluenceError::NoEffect));
        let runs = OnePlaneRuns { trial: mass(0.0, 0.0), ..runs };
        assert_eq!(trial_mass_one_plane(&runs), Err(InfluenceError::NoTrialMass));
        let runs = OnePlaneRuns { initial: at(f64::NAN, 0.0), ..runs };
        assert!(trial_mass_one_plane(&runs).is_err());
    }

    #[test]
    fn two_equal_angles_fix_no_direction() {
        let runs = FourRuns {
            initial: 1.0,
            with_trial: [1.0, 2.0, 3.0],
            angles_deg: [0.0, 120.0, 480.0],
            trial_g: 1.0,
        };
        assert!(matches!(four_run(&runs), Err(InfluenceError::AnglesAlike { .. })));
    }

    #[test]
    fn four_equal_amplitudes_say_nothing() {
        let runs = FourRuns {
            initial: 2.0,
            with_trial: [2.0; 3],
            angles_deg: [0.0, 120.0, 240.0],
            trial_g: 1.0,
        };
        assert_eq!(four_run(&runs), Err(InfluenceError::NoEffect));
    }

    #[test]
    fn a_balanced_rotor_needs_no_mass() {
        let runs = FourRuns {
            initial: 0.0,
            with_trial: [2.0; 3],
            angles_deg: [0.0, 120.0, 240.0],
            trial_g: 1.0,
        };
        let told = four_run(&runs).unwrap();
        assert_eq!((told.correction.mass_g, told.agreement), (0.0, 1.0));
    }

    #[test]
    fn planes_that_act_alike_are_refused() {
        let runs = TwoPlaneRuns {
            initial: Planes { a: at(1.0, 0.0), b: at(1.0, 0.0) },
            with_trial_a: Planes { a: at(2.0, 0.0), b: at(3.0, 0.0) },
            with_trial_b: Planes { a: at(2.0, 0.0), b: at(3.0, 0.0) },
            trial: Planes { a: mass(1.0, 0.0), b: mass(1.0, 0.0) },
        };
        assert_eq!(two_plane_influence(&runs), Err(InfluenceError::PlanesAlike));
        let still = TwoPlaneRuns { with_trial_a: runs.initial, with_trial_b: runs.initial, ..runs };
        assert_eq!(two_plane_influence(&still), Err(InfluenceError::NoEffect));
    }

    proptest! {
        // A machine made up from known coefficients and a known unbalance must be seen through.
        #[test]
        fn four_runs_find_a_known_unbalance(
            heavy in 0.5..50.0f64, heavy_deg in 0.0..360.0f64,
            per_g in 0.05..2.0f64, lag_deg in 0.0..360.0f64, trial_g in 1.0..20.0f64,
            start_deg in 0.0..360.0f64, second in 40.0..140.0f64, third in 180.0..320.0f64,
        ) {
            let alpha = Phasor::polar(per_g, lag_deg);
            let initial = alpha * Phasor::polar(heavy, heavy_deg);
            let angles_deg = [start_deg, start_deg + second, start_deg + third];
            let with_trial =
                angles_deg.map(|t| (initial + alpha * Phasor::polar(trial_g, t)).size());
            let runs = FourRuns { initial: initial.size(), with_trial, angles_deg, trial_g };
            let told = four_run(&runs).unwrap();
            let left = told.correction.phasor() + Phasor::polar(heavy, heavy_deg);
            prop_assert!(left.size() < 1e-5 * heavy, "{told:?}");
            prop_assert!((told.agreement - 1.0).abs() < 1e-5);
        }

        #[test]
        fn three_runs_find_known_unbalances(
            heavy in prop::array::uniform2((0.5..50.0f64, 0.0..360.0f64)),
            trial in prop::array::uniform2((1.0..20.0f64, 0.0..360.0f64)),
            own in prop::array::uniform2((0.2..1.0f64, 0.0..360.0f64)),
            cross in prop::array::uniform2((0.0..0.15f64, 0.0..360.0f64)),
        ) {
            let p = |(size, angle): (f64, f64)| Phasor::polar(size, angle);
            let (ua, ub, ta, tb) = (p(heavy[0]), p(heavy[1]), p(trial[0]), p(trial[1]));
            let shown = |a: Phasor, b: Phasor| {
                let at_a = p(own[0]) * a + p(cross[0]) * b;
                let at_b = p(cross[1]) * a + p(own[1]) * b;
                Planes { a: at_a, b: at_b }.map(|v| at(v.size(), v.angle_deg()))
            };
            let runs = TwoPlaneRuns {
                initial: shown(ua, ub),
                with_trial_a: shown(ua + ta, ub),
                with_trial_b: shown(ua, ub + tb),
                trial: Planes { a: MassAt::from_phasor(ta), b: MassAt::from_phasor(tb) },
            };
            let told = two_plane_influence(&runs).unwrap();
            prop_assert!((told.unbalance.a.phasor() - ua).size() < 1e-8);
            prop_assert!((told.correction.b.phasor() + ub).size() < 1e-8);
        }
    }
}
