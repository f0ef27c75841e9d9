//! The errors of a measured cam against its nominal lift.

use super::lift::{LiftError, LiftTable};
use super::smoothing::{Cutoff, CutoffError, Smoothing};
use super::zone::{Zone, ZoneError, ZoneStarts};
use crate::calculation::{Answer, Calculation, Column, Given, Input, Output, Refused, Stage};
use crate::form::fourier::{profile, waves};
use crate::least_squares::least_squares;

/// Errors of a cam, with what was taken off before and how far they are known.
#[derive(Debug, Clone, PartialEq)]
pub struct CamErrors {
    /// How far the cam stands late against its table, degrees of cam; negative for early.
    pub phase_deg: f64,
    /// Standard uncertainty of that, degrees.
    pub phase_uncertainty_deg: f64,
    /// What the gauge reads on the mean base circle, mm.
    pub zero_mm: f64,
    /// Run-out of the base circle, mm: twice its eccentricity.
    pub runout_mm: f64,
    /// Angle of the readings at which it stands highest, degrees.
    pub runout_at_deg: f64,
    /// Noise of one reading, standard deviation, mm.
    pub noise_mm: f64,
    /// How the errors were smoothed.
    pub smoothing: Smoothing,
    /// Standard uncertainties of a smoothed error from that noise: lift in mm, velocity in mm/rad,
    /// acceleration in mm/rad².
    pub uncertainty: [f64; 3],
    /// One row a reading.
    pub rows: Vec<CamRow>,
    /// One entry a zone that has readings, in the order in which they pass.
    pub zones: Vec<ZoneErrors>,
}

/// The cam at one reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CamRow {
    /// Angle of the lift table, degrees from 0 to 360.
    pub angle_deg: f64,
    /// Nominal lift there, mm.
    pub nominal_mm: f64,
    /// Lift read, run-out and zero taken off, less nominal, mm.
    pub raw_mm: f64,
    /// The same smoothed, mm.
    pub lift_mm: f64,
    /// Error of velocity, mm/rad.
    pub velocity_mm_rad: f64,
    /// Error of acceleration, mm/rad².
    pub acceleration_mm_rad2: f64,
}

/// Errors within a zone, of the smoothed curves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ZoneErrors {
    /// Which zone.
    pub zone: Zone,
    /// How many readings fall in it.
    pub n: usize,
    /// Least error of lift, mm.
    pub lift_mm_min: f64,
    /// Greatest error of lift, mm.
    pub lift_mm_max: f64,
    /// Error of velocity farthest from 0, with its sign, mm/rad.
    pub velocity_mm_rad: f64,
    /// Error of acceleration farthest from 0, with its sign, mm/rad².
    pub acceleration_mm_rad2: f64,
    /// Angle at which lift errs farthest from 0, degrees of the table.
    pub worst_at_deg: f64,
}

/// Why a cam cannot be compared.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum CamError {
    /// The nominal lift is none.
    #[error(transparent)]
    Lift(#[from] LiftError),
    /// The zones are none.
    #[error(transparent)]
    Zone(#[from] ZoneError),
    /// The cut-off cannot be had.
    #[error(transparent)]
    Cutoff(#[from] CutoffError),
    /// Too few readings.
    #[error("{got} readings; at least 24 at equal steps once round are needed")]
    TooFew {
        /// How many there were.
        got: usize,
    },
    /// A reading is no number of a sensible size.
    #[error("reading {position} is {lift_mm} mm; it must be a finite number below a kilometre")]
    NotFinite {
        /// Place, counted from 1.
        position: usize,
        /// What stood there, mm.
        lift_mm: f64,
    },
    /// The base circle is too short for its run-out.
    #[error("{readings} readings on the base circle; at least 6 over a sixth of a turn are needed")]
    ShortBase {
        /// How many there are.
        readings: usize,
    },
}

/// Compares a measured cam with its nominal lift.
///
/// # Formula
/// y(θ) = s(θ − φ) + c + a·cos θ + b·sin θ + e(θ): c, a, b by least squares over the base circle,
/// the phase φ by least squares over the turn, in turn until both stand. The velocity error is e′
/// and the acceleration error e″ of the smoothing spline through e ([`Smoothing`]), so that the
/// nominal curve itself is not smoothed.
///
/// # Given
/// `readings_mm`: lifts at equal steps once round, from angle 0 on in the direction of the table,
/// 24 or more; the nominal lift; the zones; the cut-off.
///
/// # Returns
/// [`CamErrors`]. Positive errors stand high of nominal.
///
/// # Errors
/// [`CamError`].
///
/// # Validity
/// Readings with the follower of the table. Run-out is one undulation a turn, as a flat follower
/// reads an eccentric base circle. An error of k undulations keeps `smoothing.share(k)` of its
/// size; a jump of acceleration is spread over about a wave of the cut-off. An error that is the
/// nominal slope over the whole lift cannot be told from phase.
///
/// # Source
/// Derived here; least squares and spline as in the modules named; checked against polynomial
/// 3-4-5 motion, whose derivatives are known.
///
/// # Example
/// ```
/// use bedplate_gauge::cam::{errors::cam_errors, lift::LiftTable, smoothing::Cutoff};
/// use bedplate_gauge::cam::zone::ZoneStarts;
/// // Harmonic lift of 8 mm from 100° to 260°, read 10° late.
/// let lift = |a: f64| if (100.0..260.0).contains(&a) {
///     4.0 - 4.0 * ((a - 100.0) * 2.25).to_radians().cos() } else { 0.0 };
/// let rows: Vec<(f64, f64)> = (0..36).map(|i| f64::from(10 * i)).map(|a| (a, lift(a))).collect();
/// let nominal = LiftTable::new(&rows).unwrap();
/// let readings: Vec<f64> = (0..36).map(|i| lift(f64::from(10 * i - 10))).collect();
/// let zones = ZoneStarts::new([260.0, 100.0, 115.0, 165.0, 195.0, 245.0]).unwrap();
/// let found = cam_errors(&readings, &nominal, &zones, Cutoff::At { cutoff_upr: 12.0 }).unwrap();
/// assert!((found.phase_deg - 10.0).abs() < 1e-9 && found.runout_mm < 1e-12);
/// ```
pub fn cam_errors(
    readings_mm: &[f64],
    nominal: &LiftTable,
    zones: &ZoneStarts,
    cutoff: Cutoff,
) -> Result<CamErrors, CamError> {
    check(readings_mm)?;
    let n = readings_mm.len();
    let stood = Stood::of(readings_mm, nominal, zones)?;
    let smoothing = match cutoff {
        Cutoff::At { cutoff_upr } => Smoothing::new(n, cutoff_upr)?,
        Cutoff::ByReadings => Smoothing::by_readings(&stood.left)?,
    };
    let [lift, velocity, acceleration] = smoothing.curve(&stood.left);
    let noise_mm = smoothing.noise_of(&stood.left, &lift);
    let row = |i: usize| {
        let angle_deg = (reading_deg(i, n) - stood.phase_deg).rem_euclid(360.0);
        CamRow {
            angle_deg,
            nominal_mm: nominal.at(angle_deg).lift_mm,
            raw_mm: stood.left[i],
            lift_mm: lift[i],
            velocity_mm_rad: velocity[i],
            acceleration_mm_rad2: acceleration[i],
        }
    };
    let rows: Vec<CamRow> = (0..n).map(row).collect();
    let [zero_mm, a, b] = stood.runout;
    Ok(CamErrors {
        phase_deg: (stood.phase_deg + 180.0).rem_euclid(360.0) - 180.0,
        phase_uncertainty_deg: (noise_mm / stood.slope_length).to_degrees(),
        zero_mm,
        runout_mm: 2.0 * a.hypot(b),
        runout_at_deg: b.atan2(a).to_degrees().rem_euclid(360.0),
        noise_mm,
        smoothing,
        uncertainty: [0, 1, 2].map(|order| noise_mm * smoothing.noise(order)),
        zones: Zone::ALL.into_iter().filter_map(|z| of_zone(z, &rows, zones)).collect(),
        rows,
    })
}

fn check(readings_mm: &[f64]) -> Result<(), CamError> {
    if readings_mm.len() < 24 {
        return Err(CamError::TooFew { got: readings_mm.len() });
    }
    match readings_mm.iter().position(|x| x.is_nan() || x.abs() >= 1e6) {
        Some(i) => Err(CamError::NotFinite { position: i + 1, lift_mm: readings_mm[i] }),
        None => Ok(()),
    }
}

fn reading_deg(i: usize, n: usize) -> f64 {
    360.0 * i as f64 / n as f64
}

fn of_zone(zone: Zone, rows: &[CamRow], zones: &ZoneStarts) -> Option<ZoneErrors> {
    let inside: Vec<&CamRow> = rows.iter().filter(|r| zones.zone(r.angle_deg) == zone).collect();
    let farthest = |pick: fn(&CamRow) -> f64| {
        inside.iter().copied().max_by(|a, b| pick(a).abs().total_cmp(&pick(b).abs()))
    };
    let lifts = || inside.iter().map(|r| r.lift_mm);
    Some(ZoneErrors {
        zone,
        n: inside.len(),
        lift_mm_min: lifts().fold(f64::INFINITY, f64::min),
        lift_mm_max: lifts().fold(f64::NEG_INFINITY, f64::max),
        velocity_mm_rad: farthest(|r| r.velocity_mm_rad)?.velocity_mm_rad,
        acceleration_mm_rad2: farthest(|r| r.acceleration_mm_rad2)?.acceleration_mm_rad2,
        worst_at_deg: farthest(|r| r.lift_mm)?.angle_deg,
    })
}

/// A cam with its phase and run-out found.
struct Stood {
    phase_deg: f64,
    /// Zero, and the parts of the run-out along cosine and sine, mm.
    runout: [f64; 3],
    /// What is left of each reading, mm.
    left: Vec<f64>,
    /// Root of the sum of squares of the nominal slope, mm/rad.
    slope_length: f64,
}

/// Turns of phase and run-out taken at most.
const TURNS_MAX: usize = 100;
/// After this many turns the readings that count as base circle stay the same, so that one on the
/// edge does not go to and fro.
const TURNS_FREE: usize = 20;

impl Stood {
    fn of(readings_mm: &[f64], nominal: &LiftTable, zones: &ZoneStarts) -> Result<Self, CamError> {
        let n = readings_mm.len();
        let mut phase_deg = first_phase_deg(readings_mm, nominal);
        let mut base: Vec<usize> = vec![];
        for turn in 0..TURNS_MAX {
            let at = |i: usize| nominal.at(reading_deg(i, n) - phase_deg);
            if turn < TURNS_FREE {
                let on_base =
                    |i: &usize| zones.zone(reading_deg(*i, n) - phase_deg) == Zone::BaseCircle;
                base = (0..n).filter(on_base).collect();
            }
            let nominals: Vec<_> = (0..n).map(at).collect();
            let over = |i: usize| readings_mm[i] - nominals[i].lift_mm;
            let runout = runout(&base, n, over)?;
            let left: Vec<f64> = (0..n).map(|i| over(i) - round(&runout, i, n)).collect();
            let slopes = nominals.iter().map(|lift| lift.velocity_mm_rad);
            let square: f64 = slopes.clone().map(|v| v * v).sum();
            // A cam that stands late by dφ reads less by slope·dφ.
            let late = -left.iter().zip(slopes).map(|(e, v)| e * v).sum::<f64>() / square;
            if late.abs() < 1e-13 || turn + 1 == TURNS_MAX {
                return Ok(Self { phase_deg, runout, left, slope_length: square.sqrt() });
            }
            phase_deg += late.to_degrees();
        }
        Err(CamError::ShortBase { readings: base.len() })
    }
}

fn round(runout: &[f64; 3], i: usize, n: usize) -> f64 {
    let (sine, cosine) = reading_deg(i, n).to_radians().sin_cos();
    runout[0] + runout[1] * cosine + runout[2] * sine
}

/// Zero and run-out by least squares over the base circle.
fn runout(base: &[usize], n: usize, over: impl Fn(usize) -> f64) -> Result<[f64; 3], CamError> {
    let short = CamError::ShortBase { readings: base.len() };
    if base.len() < 6 || base.len() * 6 < n {
        return Err(short);
    }
    let column = |f: fn(f64) -> f64| -> Vec<f64> {
        base.iter().map(|&i| f(reading_deg(i, n).to_radians())).collect()
    };
    let columns = [vec![1.0; base.len()], column(f64::cos), column(f64::sin)];
    let over: Vec<f64> = base.iter().map(|&i| over(i)).collect();
    let fit = least_squares(&columns, &over).map_err(|_| short)?;
    fit.coefficients.try_into().map_err(|_| short)
}

/// The phase to a step of the readings: where nominal and readings run most alike.
fn first_phase_deg(readings_mm: &[f64], nominal: &LiftTable) -> f64 {
    let n = readings_mm.len();
    let table: Vec<f64> = (0..n).map(|i| nominal.at(reading_deg(i, n)).lift_mm).collect();
    let alike =
        |(y, s): (&[f64; 2], &[f64; 2])| [y[0] * s[0] + y[1] * s[1], y[1] * s[0] - y[0] * s[1]];
    let mut joint: Vec<[f64; 2]> =
        waves(readings_mm).iter().zip(&waves(&table)).map(alike).collect();
    // The mean says nothing of phase, and the first wave may be run-out.
    joint[..2].fill([0.0; 2]);
    let likeness = profile(&joint, n);
    let best = (0..n).max_by(|&a, &b| likeness[a].total_cmp(&likeness[b]));
    reading_deg(best.unwrap_or(0), n)
}

const LIFT_COLUMNS: &[Column] = &[
    Column { name: "angle", unit: "°", meaning: "cam angle, rising with rotation" },
    Column { name: "lift", unit: "mm", meaning: "nominal lift" },
];

const ERROR_COLUMNS: &[Column] = &[
    Column { name: "angle", unit: "°", meaning: "angle of the lift table" },
    Column { name: "nominal", unit: "mm", meaning: "nominal lift" },
    Column { name: "raw", unit: "µm", meaning: "error of lift as read" },
    Column { name: "lift", unit: "µm", meaning: "error of lift, smoothed" },
    Column { name: "velocity", unit: "mm/rad", meaning: "error of velocity" },
    Column { name: "acceleration", unit: "mm/rad²", meaning: "error of acceleration" },
];

const ZONE_COLUMNS: &[Column] = &[
    Column {
        name: "zone",
        unit: "",
        meaning: "1 base circle, 2 opening ramp, 3 opening flank, 4 nose, 5 closing flank, 6 \
                  closing ramp",
    },
    Column { name: "lift_min", unit: "µm", meaning: "least error of lift" },
    Column { name: "lift_max", unit: "µm", meaning: "greatest error of lift" },
    Column { name: "velocity", unit: "mm/rad", meaning: "worst error of velocity" },
    Column { name: "acceleration", unit: "mm/rad²", meaning: "worst error of acceleration" },
    Column { name: "worst_at", unit: "°", meaning: "where lift errs most" },
];

/// A cam against its lift table.
pub const CAM_LIFT: Calculation = Calculation {
    name: "cam-lift",
    title: "Cam lift against its table",
    stage: Stage::Gauge,
    question: "Where and how far is this cam off its nominal lift, velocity and acceleration?",
    inputs: &[
        Input::list("readings", "mm", "lifts at equal steps once round, from angle 0 on"),
        Input::table("nominal", LIFT_COLUMNS, "lift table; base circle where it has no rows"),
        Input::list(
            "zones",
            "°",
            "where base circle, opening ramp, opening flank, nose, closing flank and closing ramp \
             start",
        ),
        Input::quantity("cutoff", "", "cut-off, undulations per revolution; 0: by the readings")
            .at_least(0.0)
            .or("0"),
    ],
    outputs: &[
        Output::figure("phase", "°", "how far the cam stands late; negative for early"),
        Output::figure("phase_uncertainty", "°", "standard uncertainty of the phase"),
        Output::figure("runout", "µm", "run-out of the base circle, twice its eccentricity"),
        Output::figure("runout_at", "°", "angle of the readings at which it stands highest"),
        Output::figure("noise", "µm", "standard deviation of one reading"),
        Output::figure("cutoff_used", "", "half of a wave with so many undulations is kept"),
        Output::figure("faithful_to", "", "99 % of a wave with so many undulations is kept"),
        Output::figure("lift_uncertainty", "µm", "standard uncertainty of a smoothed error"),
        Output::figure("velocity_uncertainty", "mm/rad", "likewise of velocity"),
        Output::figure("acceleration_uncertainty", "mm/rad²", "likewise of acceleration"),
        Output::figure("by_zone", "", "errors of each zone"),
        Output::figure("errors", "", "errors at each reading"),
    ],
    formula: "y(θ) = s(θ − φ) + c + a·cos θ + b·sin θ + e(θ); e smoothed by 1/(1 + (k/k_c)⁶)",
    source: "derived here: least squares, smoothing spline",
    validity: "Readings with the table's follower; errors slower than the cut-off.",
    // Arithmetic: the table read 15° late with a run-out of 20 µm, highest at 90°.
    example: EXAMPLE,
    expected: &[("phase", "15.000"), ("runout", "20.00"), ("runout_at", "90.00"), ("noise", "0.0")],
    run: run_cam_lift,
};

const EXAMPLE: &[(&str, &str)] = &[
    (
        "readings",
        "0.00000, 0.00259, 0.00500, 0.00707, 0.00866, 0.00966, 0.01000, 0.00966, 0.00866, 0.77097, \
         2.76890, 5.23869, 7.23610, 7.99741, 7.23110, 5.22903, 2.75524, 0.75424, -0.01000, \
         -0.00966, -0.00866, -0.00707, -0.00500, -0.00259 mm",
    ),
    (
        "nominal",
        "angle, lift; 105, 0; 120, 0.7639; 135, 2.7639; 150, 5.2361; 165, 7.2361; 180, 8; 195, \
         7.2361; 210, 5.2361; 225, 2.7639; 240, 0.7639; 255, 0",
    ),
    ("zones", "255, 105, 120, 165, 195, 240 °"),
];

fn run_cam_lift(given: &Given) -> Result<Answer, Refused> {
    let refused = |input: &'static str| move |e: CamError| Refused::because(input, e.to_string());
    let rows: Vec<(f64, f64)> = given.table("nominal").iter().map(|r| (r[0], r[1])).collect();
    let nominal = LiftTable::new(&rows).map_err(|e| refused("nominal")(e.into()))?;
    let starts: [f64; 6] = given.list("zones").try_into().map_err(|_| {
        let got = given.list("zones").len();
        Refused::because("zones", format!("{got} angles; six starts are needed, base circle first"))
    })?;
    let zones = ZoneStarts::new(starts).map_err(|e| refused("zones")(e.into()))?;
    let cutoff = match given.number("cutoff") {
        0.0 => Cutoff::ByReadings,
        cutoff_upr => Cutoff::At { cutoff_upr },
    };
    let found = cam_errors(given.list("readings"), &nominal, &zones, cutoff)
        .map_err(refused("readings"))?;
    let row = |r: &CamRow| {
        let (raw, lift) = (r.raw_mm * 1e3, r.lift_mm * 1e3);
        vec![r.angle_deg, r.nominal_mm, raw, lift, r.velocity_mm_rad, r.acceleration_mm_rad2]
    };
    let zone_row = |z: &ZoneErrors| {
        let place = Zone::ALL.iter().position(|of| *of == z.zone).unwrap_or(0) + 1;
        let (least, most) = (z.lift_mm_min * 1e3, z.lift_mm_max * 1e3);
        vec![place as f64, least, most, z.velocity_mm_rad, z.acceleration_mm_rad2, z.worst_at_deg]
    };
    let [lift, velocity, acceleration] = found.uncertainty;
    Ok(Answer::new()
        .figure("phase", found.phase_deg)
        .figure("phase_uncertainty", found.phase_uncertainty_deg)
        .figure("runout", found.runout_mm * 1e3)
        .figure("runout_at", found.runout_at_deg)
        .figure("noise", found.noise_mm * 1e3)
        .figure("cutoff_used", found.smoothing.cutoff_upr())
        .figure("faithful_to", found.smoothing.faithful_to_upr())
        .figure("lift_uncertainty", lift * 1e3)
        .figure("velocity_uncertainty", velocity)
        .figure("acceleration_uncertainty", acceleration)
        .table("by_zone", ZONE_COLUMNS, found.zones.iter().map(zone_row).collect())
        .table("errors", ERROR_COLUMNS, found.rows.iter().map(row).collect()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::f64::consts::TAU;

    /// Polynomial 3-4-5 motion of 8 mm, up from 110° to 180° and down to 250°: lift, velocity and
    /// acceleration as the textbook has them (10x³ − 15x⁴ + 6x⁵).
    fn motion(angle_deg: f64) -> [f64; 3] {
        let angle = angle_deg.rem_euclid(360.0);
        let (x, sign) = if (110.0..=180.0).contains(&angle) {
            ((angle - 110.0) / 70.0, 1.0)
        } else if (180.0..250.0).contains(&angle) {
            ((250.0 - angle) / 70.0, -1.0)
        } else {
            return [0.0; 3];
        };
        let rise = 70_f64.to_radians();
        [
            8.0 * x.powi(3) * (10.0 - 15.0 * x + 6.0 * x * x),
            sign * 8.0 * 30.0 * x * x * (1.0 - x).powi(2) / rise,
            8.0 * 60.0 * x * (1.0 - x) * (1.0 - 2.0 * x) / (rise * rise),
        ]
    }

    fn nominal() -> LiftTable {
        let rows: Vec<(f64, f64)> =
            (0..720).map(|i| 0.5 * f64::from(i)).map(|a| (a, motion(a)[0])).collect();
        LiftTable::new(&rows).unwrap()
    }

    fn zones() -> ZoneStarts {
        ZoneStarts::new([250.0, 110.0, 125.0, 165.0, 195.0, 235.0]).unwrap()
    }

    /// Normal noise of standard deviation 1 from a seed.
    fn noise(n: usize, seed: u64) -> Vec<f64> {
        let mut state = seed;
        let mut draw = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040);
            // The middle of one of 2^53 equal steps.
            ((state >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
        };
        (0..n).map(|_| (-2.0 * draw().ln()).sqrt() * (TAU * draw()).cos()).collect()
    }

    /// A cam that stands late by 0.37°, with 16 µm of run-out and waves of 4 and 9 undulations; its
    /// lift, velocity and acceleration at an angle.
    fn truth(angle_deg: f64) -> [f64; 3] {
        let a = angle_deg.to_radians();
        let plain = motion(angle_deg - 0.37);
        let wave = |k: f64, size: f64, phase: f64| {
            let (sine, cosine) = (k * a + phase).sin_cos();
            [size * cosine, -size * k * sine, -size * k * k * cosine]
        };
        let parts = [plain, wave(1.0, 0.008, -0.6), wave(4.0, 0.003, 0.3), wave(9.0, 0.002, 1.1)];
        let sum = |d: usize| parts.iter().map(|p| p[d]).sum::<f64>();
        [sum(0) + 0.012, sum(1), sum(2)]
    }

    /// Greatest difference of the found from the true lift, velocity and acceleration: errors,
    /// phase and run-out laid together again, for an error can be told either way.
    fn off(found: &CamErrors, n: usize) -> [f64; 3] {
        let mut worst = [0.0_f64; 3];
        let eccentric = 0.5 * found.runout_mm;
        for (i, row) in found.rows.iter().enumerate() {
            let angle = reading_deg(i, n);
            let plain = motion(angle - found.phase_deg);
            let (sine, cosine) = (angle - found.runout_at_deg).to_radians().sin_cos();
            let got = [
                plain[0] + row.lift_mm + found.zero_mm + eccentric * cosine,
                plain[1] + row.velocity_mm_rad - eccentric * sine,
                plain[2] + row.acceleration_mm_rad2 - eccentric * cosine,
            ];
            let wanted = truth(angle);
            (0..3).for_each(|d| worst[d] = worst[d].max((got[d] - wanted[d]).abs()));
        }
        worst
    }

    #[test]
    fn a_known_cam_is_found_without_noise() {
        let n = 720;
        let readings: Vec<f64> = (0..n).map(|i| truth(reading_deg(i, n))[0]).collect();
        let cutoff = Cutoff::At { cutoff_upr: 45.0 };
        let found = cam_errors(&readings, &nominal(), &zones(), cutoff).unwrap();
        // The wave of 9 loses 1/(1 + 5⁶) = 6.4e-5 of itself. Where the nominal jerk jumps, by up to
        // 2·60·8 mm/(70°)³ = 526 mm/rad³, a phase told wrong by δ leaves a jump of acceleration
        // 526·δ, which the smoothing spreads: at most half of it is missing on either side.
        let late = (found.phase_deg - 0.37).to_radians().abs();
        let off = off(&found, n);
        for (d, spread) in [45.0 * 45.0, 45.0, 1.0].into_iter().enumerate() {
            let lost = 6.4e-5 * 0.002 * 9_f64.powi(i32::try_from(d).unwrap());
            assert!(off[d] < lost + 0.5 * 526.0 * late / spread, "{d} {off:?} {late}");
        }
        // The phase is told but for what the waves add along the nominal slope.
        assert!((found.phase_deg - 0.37).abs() < 0.02);
    }

    #[test]
    fn noise_is_not_amplified_and_errors_are_found_within_it() {
        let n = 720;
        for seed in 1..=20 {
            let noise = noise(n, seed);
            let readings: Vec<f64> =
                (0..n).map(|i| truth(reading_deg(i, n))[0] + 0.001 * noise[i]).collect();
            let cutoff = Cutoff::At { cutoff_upr: 20.0 };
            let found = cam_errors(&readings, &nominal(), &zones(), cutoff).unwrap();
            // 1 µm, known to 1/√(2·700): four standard deviations.
            assert!((found.noise_mm / 0.001 - 1.0).abs() < 4.0 / 1400_f64.sqrt(), "{seed}");
            let off = off(&found, n);
            // What the smoothing takes of the wave of 9, and 4.5 standard uncertainties.
            let lost = 0.002 * (1.0 - found.smoothing.share(9.0));
            for d in 0..3 {
                let allowed = lost * 9_f64.powi(i32::try_from(d).unwrap());
                assert!(off[d] < allowed + 4.5 * found.uncertainty[d], "{seed} {d} {off:?}");
            }
            // Differences of neighbours would scatter √6/(0.5°)² each microns: 32 mm/rad².
            let plain = 0.001 * 6_f64.sqrt() / 0.5_f64.to_radians().powi(2);
            assert!(found.uncertainty[2] < 0.003 * plain, "{} {plain}", found.uncertainty[2]);
        }
    }

    #[test]
    fn a_true_cam_shows_no_errors_beyond_its_uncertainties() {
        let n = 360;
        let (mut phases, mut worst_runout) = (0.0, 0.0_f64);
        for seed in 1..=40 {
            let noise = noise(n, 1000 + seed);
            let readings: Vec<f64> =
                (0..n).map(|i| motion(reading_deg(i, n) + 3.25)[0] + 0.0005 * noise[i]).collect();
            let found =
                cam_errors(&readings, &nominal(), &zones(), Cutoff::At { cutoff_upr: 25.0 })
                    .unwrap();
            phases += ((found.phase_deg + 3.25) / found.phase_uncertainty_deg).powi(2);
            worst_runout = worst_runout.max(found.runout_mm);
            for zone in &found.zones {
                assert!(
                    zone.lift_mm_max.max(-zone.lift_mm_min) < 5.0 * found.uncertainty[0] + 5e-4
                );
            }
        }
        // The sum of 40 squares: 40 ± 4·√80.
        assert!((phases - 40.0).abs() < 36.0, "{phases}");
        // A run-out of 0.5 µm of noise over 220 readings: six standard deviations.
        assert!(worst_runout < 2.0 * 6.0 * 0.0005 / 110_f64.sqrt() * 1.5);
    }

    #[test]
    fn the_cutoff_by_readings_lets_true_waves_through_and_little_noise() {
        let n = 720;
        let noise = noise(n, 7);
        let readings: Vec<f64> =
            (0..n).map(|i| truth(reading_deg(i, n))[0] + 0.0003 * noise[i]).collect();
        let found = cam_errors(&readings, &nominal(), &zones(), Cutoff::ByReadings).unwrap();
        let cutoff = found.smoothing.cutoff_upr();
        assert!(9.0 < cutoff && cutoff < 40.0, "{cutoff}");
    }

    #[test]
    fn what_cannot_be_compared_is_refused_in_words() {
        let words = |readings: &[f64], cutoff_upr| {
            let cutoff = Cutoff::At { cutoff_upr };
            cam_errors(readings, &nominal(), &zones(), cutoff).unwrap_err().to_string()
        };
        let readings: Vec<f64> = (0..72).map(|i| motion(f64::from(i) * 5.0)[0]).collect();
        assert!(words(&readings[..20], 10.0).contains("20 readings"));
        assert!(words(&readings, 40.0).contains("between 1 and 36"));
        let mut lost = readings.clone();
        lost[5] = f64::NAN;
        assert!(words(&lost, 10.0).contains("reading 6 is NaN"));
        let narrow = ZoneStarts::new([100.0, 110.0, 125.0, 165.0, 195.0, 235.0]).unwrap();
        let cutoff = Cutoff::ByReadings;
        let refused = cam_errors(&readings, &nominal(), &narrow, cutoff).unwrap_err();
        assert!(refused.to_string().contains("on the base circle"));
    }

    proptest! {
        #[test]
        fn turning_the_readings_turns_the_phase_alone(steps in 0_usize..180, seed in any::<u64>()) {
            let n = 180;
            let noise = noise(n, seed);
            let readings: Vec<f64> = (0..n)
                .map(|i| motion(reading_deg(i, n))[0] + 0.001 * noise[i])
                .collect();
            let mut turned = readings.clone();
            turned.rotate_right(steps);
            let cutoff = Cutoff::At { cutoff_upr: 20.0 };
            let (table, zones) = (nominal(), zones());
            let one = cam_errors(&readings, &table, &zones, cutoff).unwrap();
            let other = cam_errors(&turned, &table, &zones, cutoff).unwrap();
            let turn = (other.phase_deg - one.phase_deg - reading_deg(steps, n)).rem_euclid(360.0);
            prop_assert!(turn.min(360.0 - turn) < 1e-6);
            prop_assert!((one.runout_mm - other.runout_mm).abs() < 1e-8);
            prop_assert!((one.rows[0].lift_mm - other.rows[steps].lift_mm).abs() < 1e-8);
        }

        #[test]
        fn eccentricity_is_taken_off_and_nothing_else(size in 0.0f64..0.1, towards in 0.0f64..TAU) {
            let n = 180;
            let noise = noise(n, 3);
            let plain: Vec<f64> = (0..n)
                .map(|i| motion(reading_deg(i, n))[0] + 0.001 * noise[i])
                .collect();
            let off: Vec<f64> = plain
                .iter()
                .enumerate()
                .map(|(i, y)| y + size * (reading_deg(i, n).to_radians() - towards).cos())
                .collect();
            let cutoff = Cutoff::At { cutoff_upr: 20.0 };
            let one = cam_errors(&plain, &nominal(), &zones(), cutoff).unwrap();
            let other = cam_errors(&off, &nominal(), &zones(), cutoff).unwrap();
            prop_assert!((one.phase_deg - other.phase_deg).abs() < 1e-6);
            for (a, b) in one.rows.iter().zip(&other.rows) {
                prop_assert!((a.raw_mm - b.raw_mm).abs() < 1e-8);
            }
            prop_assert!((other.runout_mm - 2.0 * size).abs() <= one.runout_mm + 1e-8);
        }

        #[test]
        fn any_readings_are_compared_or_refused(
            readings in prop::collection::vec(any::<f64>(), 20..40), cutoff_upr in any::<f64>()
        ) {
            let _ = cam_errors(&readings, &nominal(), &zones(), Cutoff::At { cutoff_upr });
            let few: Vec<f64> = readings.iter().map(|x| x % 1e3).collect();
            let _ = cam_errors(&few, &nominal(), &zones(), Cutoff::ByReadings);
        }
    }
}
