//! Speeds, feeds and cutting times of single operations.
//!
//! One struct an operation; times from the beginning of the approach to the end of the cut, without
//! handling (see [`crate::cycle`]).
//!
//! # Caution
//! The figures advise; the machine's and the tool's makers set the limits. A grinding wheel must
//! never run above the speed marked on it: check the mark, ring-test the wheel, keep the guards
//! closed and let it run free behind them before use.

use std::f64::consts::PI;

use bedplate_gauge::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};

/// What must be said with every grinding figure.
pub const GRINDING_CAUTION: &str = "Never run a wheel above the speed marked on it. Ring-test it, \
     close the guards, and let it run free behind them before use. The maker's instructions go \
     before this figure.";

/// Why an operation cannot be computed.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum CuttingError {
    /// A figure that must be above zero is not.
    #[error("{what} of {value} cannot be; it must be a number above 0")]
    NotPositive {
        /// Which figure.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// A figure that must be zero or more is not.
    #[error("{what} of {value} cannot be; it must be 0 or more")]
    Negative {
        /// Which figure.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// A cut wider than the cutter.
    #[error("a cut {width_mm} mm wide is wider than the cutter of {diameter_mm} mm")]
    WiderThanCutter {
        /// Width of the cut, mm.
        width_mm: f64,
        /// Diameter of the cutter, mm.
        diameter_mm: f64,
    },
    /// A point angle that is none.
    #[error("a point angle of {point_deg}° cannot be; it must be above 0° and at most 180°")]
    PointAngle {
        /// Point angle, degrees.
        point_deg: f64,
    },
    /// Facing that does not go inward.
    #[error("facing from a radius of {from_mm} mm to {to_mm} mm does not go inward")]
    NotInward {
        /// Outer radius, mm.
        from_mm: f64,
        /// Inner radius, mm.
        to_mm: f64,
    },
}

impl CuttingError {
    const fn input(&self) -> &'static str {
        match self {
            Self::NotPositive { what, .. } | Self::Negative { what, .. } => what,
            Self::WiderThanCutter { .. } => "width",
            Self::PointAngle { .. } => "point_angle",
            Self::NotInward { .. } => "to",
        }
    }
}

impl From<CuttingError> for Refused {
    fn from(error: CuttingError) -> Self {
        Self::because(error.input(), error.to_string())
    }
}

fn positive(figures: &[(&'static str, f64)]) -> Result<(), CuttingError> {
    match figures.iter().find(|(_, value)| !(0.0 < *value && value.is_finite())) {
        Some(&(what, value)) => Err(CuttingError::NotPositive { what, value }),
        None => Ok(()),
    }
}

fn not_negative(figures: &[(&'static str, f64)]) -> Result<(), CuttingError> {
    match figures.iter().find(|(_, value)| !(0.0 <= *value && value.is_finite())) {
        Some(&(what, value)) => Err(CuttingError::Negative { what, value }),
        None => Ok(()),
    }
}

/// A cutting speed at a diameter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurfaceSpeed {
    /// Cutting speed, m/min.
    pub speed_m_min: f64,
    /// Diameter that turns, mm; above zero.
    pub diameter_mm: f64,
}

/// Spindle speed that gives a cutting speed at a diameter.
///
/// # Formula
/// `n = 1000 v/(π D)`.
/// # Given
/// Cutting speed in m/min; diameter in mm, above zero.
/// # Returns
/// Spindle speed in rev/min.
/// # Validity
/// At the diameter named; elsewhere on the tool it is slower.
/// # Source
/// Definition.
/// # Example
/// ```
/// use bedplate_shop::cutting::{SurfaceSpeed, spindle_speed_rpm};
/// // Arithmetic from the definition: 90 m/min on 8.5 mm.
/// let speed = spindle_speed_rpm(SurfaceSpeed { speed_m_min: 90.0, diameter_mm: 8.5 });
/// assert_eq!(format!("{speed:.4}"), "3370.3400");
/// ```
#[must_use]
pub fn spindle_speed_rpm(surface: SurfaceSpeed) -> f64 {
    surface.speed_m_min * 1e3 / (PI * surface.diameter_mm)
}

/// Feed that gives so many revolutions to the inch.
///
/// # Formula
/// `f = 25.4/r`.
/// # Given
/// Revolutions for an inch of travel, above zero.
/// # Returns
/// Feed in mm/rev.
/// # Validity
/// The inch of 25.4 mm.
/// # Source
/// Definition; common practice in fine boring, no source.
/// # Example
/// ```
/// use bedplate_shop::cutting::feed_of_revs_per_inch_mm;
/// // Common practice, no source: fine boring at about 400 revolutions to the inch.
/// assert_eq!(feed_of_revs_per_inch_mm(400.0), 0.0635);
/// ```
#[must_use]
pub fn feed_of_revs_per_inch_mm(revs_per_inch: f64) -> f64 {
    25.4 / revs_per_inch
}

/// A hole to drill.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drilling {
    /// Diameter, mm.
    pub diameter_mm: f64,
    /// Cutting speed, m/min.
    pub speed_m_min: f64,
    /// Feed, mm/rev.
    pub feed_mm: f64,
    /// Depth of the full diameter, mm.
    pub depth_mm: f64,
    /// Approach before the point touches, mm.
    pub approach_mm: f64,
    /// Overrun behind the hole, mm.
    pub overrun_mm: f64,
    /// Point angle, degrees; 180 for a flat end.
    pub point_deg: f64,
}

/// What drilling asks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrillingTime {
    /// Spindle speed, rev/min.
    pub spindle_rpm: f64,
    /// Feed rate, mm/min.
    pub feed_rate_mm_min: f64,
    /// Length of the point, mm.
    pub point_mm: f64,
    /// Time, s.
    pub time_s: f64,
    /// Removal rate at full diameter, cm³/min.
    pub removal_cm3_min: f64,
}

/// Speed, feed rate and time of a drilled hole.
///
/// # Formula
/// `n = 1000 v/(π d)`, `v_f = f n`, point `(d/2)/tan(σ/2)`, travel depth + approach + point +
/// overrun, `t = travel/v_f`, removal `v f d/4`.
/// # Given
/// See [`Drilling`]; diameter, speed, feed above zero.
/// # Returns
/// Spindle speed, feed rate, point length, time in s, removal rate in cm³/min.
/// # Errors
/// [`CuttingError::NotPositive`], [`CuttingError::Negative`], [`CuttingError::PointAngle`].
/// # Validity
/// From the solid, without pecking.
/// # Source
/// Standard machining formulae (from memory).
/// # Example
/// ```
/// use bedplate_shop::cutting::{Drilling, drilling};
/// let hole = drilling(&Drilling {
///     diameter_mm: 8.5, speed_m_min: 90.0, feed_mm: 0.2, depth_mm: 32.0,
///     approach_mm: 2.0, overrun_mm: 0.0, point_deg: 118.0,
/// })?;
/// // Arithmetic from the formulae.
/// assert_eq!(format!("{:.6} s", hole.time_s), "3.253707 s");
/// # Ok::<(), bedplate_shop::cutting::CuttingError>(())
/// ```
pub fn drilling(hole: &Drilling) -> Result<DrillingTime, CuttingError> {
    let Drilling { diameter_mm, speed_m_min, feed_mm, .. } = *hole;
    positive(&[("diameter", diameter_mm), ("speed", speed_m_min), ("feed", feed_mm)])?;
    not_negative(&[
        ("depth", hole.depth_mm),
        ("approach", hole.approach_mm),
        ("overrun", hole.overrun_mm),
    ])?;
    let point_deg = hole.point_deg;
    if !(0.0 < point_deg && point_deg <= 180.0) {
        return Err(CuttingError::PointAngle { point_deg });
    }
    // The tangent of 90° is not quite infinite in binary; a flat end has no point.
    let half_angle = (point_deg / 2.0).to_radians();
    let point_mm = if point_deg == 180.0 { 0.0 } else { diameter_mm / 2.0 / half_angle.tan() };
    let spindle_rpm = spindle_speed_rpm(SurfaceSpeed { speed_m_min, diameter_mm });
    let feed_rate_mm_min = feed_mm * spindle_rpm;
    let travel_mm = hole.depth_mm + hole.approach_mm + point_mm + hole.overrun_mm;
    Ok(DrillingTime {
        spindle_rpm,
        feed_rate_mm_min,
        point_mm,
        time_s: travel_mm / feed_rate_mm_min * 60.0,
        removal_cm3_min: speed_m_min * feed_mm * diameter_mm / 4.0,
    })
}

/// How far a face mill goes over the far edge.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MillingTravel {
    /// The whole cutter leaves the face, so that its back teeth mark it alike.
    Finish,
    /// Only until the full width has been cut.
    Rough,
}

/// A face to mill, cutter in the middle of the width.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FaceMilling {
    /// Diameter of the cutter, mm.
    pub diameter_mm: f64,
    /// Teeth.
    pub n_teeth: u32,
    /// Cutting speed, m/min.
    pub speed_m_min: f64,
    /// Feed of each tooth, mm.
    pub tooth_feed_mm: f64,
    /// Length of the face, mm.
    pub length_mm: f64,
    /// Width of the cut, mm.
    pub width_mm: f64,
    /// Clearance before and behind, mm each.
    pub clearance_mm: f64,
    /// Finish or rough.
    pub travel: MillingTravel,
}

/// What face milling asks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FaceMillingTime {
    /// Spindle speed, rev/min.
    pub spindle_rpm: f64,
    /// Table feed, mm/min.
    pub table_feed_mm_min: f64,
    /// Run-in until the full width is cut, mm.
    pub run_in_mm: f64,
    /// Time, s.
    pub time_s: f64,
}

/// Speed, table feed and time of a milled face.
///
/// # Formula
/// `v_f = f_z z n`; run-in `x = D/2 − √(D²/4 − a²/4)`; travel `L + D + 2c` to finish,
/// `L + x + 2c` to rough; `t = travel/v_f`.
/// # Given
/// See [`FaceMilling`]; all but the clearance above zero, the cut no wider than the cutter.
/// # Returns
/// Spindle speed, table feed, run-in, time in s.
/// # Errors
/// [`CuttingError::NotPositive`], [`CuttingError::Negative`], [`CuttingError::WiderThanCutter`].
/// # Validity
/// Cutter in the middle of the width.
/// # Source
/// Standard machining formulae (from memory).
/// # Example
/// ```
/// use bedplate_shop::cutting::{FaceMilling, MillingTravel, face_milling};
/// let face = face_milling(&FaceMilling {
///     diameter_mm: 125.0, n_teeth: 8, speed_m_min: 180.0, tooth_feed_mm: 0.15,
///     length_mm: 420.0, width_mm: 90.0, clearance_mm: 5.0, travel: MillingTravel::Finish,
/// })?;
/// // Arithmetic from the formulae.
/// assert_eq!(format!("{:.5} s", face.time_s), "60.54111 s");
/// # Ok::<(), bedplate_shop::cutting::CuttingError>(())
/// ```
pub fn face_milling(face: &FaceMilling) -> Result<FaceMillingTime, CuttingError> {
    let FaceMilling { diameter_mm, speed_m_min, width_mm, clearance_mm, .. } = *face;
    positive(&[
        ("diameter", diameter_mm),
        ("teeth", f64::from(face.n_teeth)),
        ("speed", speed_m_min),
        ("tooth_feed", face.tooth_feed_mm),
        ("length", face.length_mm),
        ("width", width_mm),
    ])?;
    not_negative(&[("clearance", clearance_mm)])?;
    if width_mm > diameter_mm {
        return Err(CuttingError::WiderThanCutter { width_mm, diameter_mm });
    }
    let spindle_rpm = spindle_speed_rpm(SurfaceSpeed { speed_m_min, diameter_mm });
    let table_feed_mm_min = face.tooth_feed_mm * f64::from(face.n_teeth) * spindle_rpm;
    let half = diameter_mm / 2.0;
    let run_in_mm = half - (half * half - width_mm * width_mm / 4.0).sqrt();
    let beyond_mm = match face.travel {
        MillingTravel::Finish => diameter_mm,
        MillingTravel::Rough => run_in_mm,
    };
    let travel_mm = face.length_mm + beyond_mm + 2.0 * clearance_mm;
    let time_s = travel_mm / table_feed_mm_min * 60.0;
    Ok(FaceMillingTime { spindle_rpm, table_feed_mm_min, run_in_mm, time_s })
}

/// A diameter to turn or bore with one pass along its length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pass {
    /// Largest diameter cut, mm: the stock's when turning, the finished one's when boring.
    pub diameter_mm: f64,
    /// Length, mm.
    pub length_mm: f64,
    /// Cutting speed at that diameter, m/min.
    pub speed_m_min: f64,
    /// Feed, mm/rev.
    pub feed_mm: f64,
    /// Depth of cut on the radius, mm; 0 if only the time is wanted.
    pub depth_mm: f64,
    /// Approach and overrun together, mm.
    pub approach_mm: f64,
}

/// What a pass asks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PassTime {
    /// Spindle speed, rev/min.
    pub spindle_rpm: f64,
    /// Time, s.
    pub time_s: f64,
    /// Removal rate, cm³/min.
    pub removal_cm3_min: f64,
    /// Revolutions for an inch of travel.
    pub revs_per_inch: f64,
}

/// Speed, time and removal rate of one pass of turning or boring.
///
/// # Formula
/// `n = 1000 v/(π D)`, `t = (L + a)/(f n)`, removal `v f a_p`, revolutions to the inch `25.4/f`.
/// # Given
/// See [`Pass`]; diameter, length, speed and feed above zero.
/// # Returns
/// Spindle speed, time in s, removal rate in cm³/min, revolutions to the inch.
/// # Errors
/// [`CuttingError::NotPositive`], [`CuttingError::Negative`].
/// # Validity
/// Constant spindle speed; the depth small against the diameter for the removal rate.
/// # Source
/// Standard machining formulae (from memory).
/// # Example
/// ```
/// use bedplate_shop::cutting::{Pass, pass};
/// let bore = pass(&Pass {
///     diameter_mm: 81.0, length_mm: 145.0, speed_m_min: 120.0, feed_mm: 0.0635,
///     depth_mm: 0.15, approach_mm: 3.0,
/// })?;
/// // Arithmetic from the formulae.
/// assert_eq!(format!("{:.4} s", bore.time_s), "296.5466 s");
/// # Ok::<(), bedplate_shop::cutting::CuttingError>(())
/// ```
pub fn pass(cut: &Pass) -> Result<PassTime, CuttingError> {
    let Pass { diameter_mm, length_mm, speed_m_min, feed_mm, depth_mm, approach_mm } = *cut;
    positive(&[
        ("diameter", diameter_mm),
        ("length", length_mm),
        ("speed", speed_m_min),
        ("feed", feed_mm),
    ])?;
    not_negative(&[("depth", depth_mm), ("approach", approach_mm)])?;
    let spindle_rpm = spindle_speed_rpm(SurfaceSpeed { speed_m_min, diameter_mm });
    Ok(PassTime {
        spindle_rpm,
        time_s: (length_mm + approach_mm) / (feed_mm * spindle_rpm) * 60.0,
        removal_cm3_min: speed_m_min * feed_mm * depth_mm,
        revs_per_inch: 25.4 / feed_mm,
    })
}

/// Facing inward at constant surface speed, with a limit to the spindle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Facing {
    /// Outer radius, mm.
    pub from_mm: f64,
    /// Inner radius, mm; 0 for a full face.
    pub to_mm: f64,
    /// Surface speed, m/min.
    pub speed_m_min: f64,
    /// Feed, mm/rev.
    pub feed_mm: f64,
    /// Fastest the spindle may turn, rev/min.
    pub spindle_rpm_max: f64,
}

/// What facing asks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FacingTime {
    /// Radius inside which the spindle is at its limit, mm.
    pub limit_radius_mm: f64,
    /// Time, s.
    pub time_s: f64,
}

/// Time of facing at constant surface speed.
///
/// # Formula
/// `t = ∫ dr/(f n(r))` with `n = min(v/(2π r), n_max)`: outside `r_l = v/(2π n_max)`
/// `π (r₁² − r₂²)/(v f)`, inside it `(r₁ − r₂)/(f n_max)`.
/// # Given
/// See [`Facing`]; radii in mm, the outer above the inner, the inner 0 or more.
/// # Returns
/// The radius at which the spindle reaches its limit, and the time in s.
/// # Errors
/// [`CuttingError::NotPositive`], [`CuttingError::Negative`], [`CuttingError::NotInward`].
/// # Validity
/// The spindle follows without delay.
/// # Source
/// Integral of the time; closed form derived here.
/// # Example
/// ```
/// use bedplate_shop::cutting::{Facing, facing};
/// let face = facing(&Facing {
///     from_mm: 60.0, to_mm: 20.0, speed_m_min: 200.0, feed_mm: 0.2, spindle_rpm_max: 3000.0,
/// })?;
/// // Closed form of the integral.
/// assert_eq!(format!("{:.6} s", face.time_s), "15.079645 s");
/// # Ok::<(), bedplate_shop::cutting::CuttingError>(())
/// ```
pub fn facing(face: &Facing) -> Result<FacingTime, CuttingError> {
    let Facing { from_mm, to_mm, speed_m_min, feed_mm, spindle_rpm_max } = *face;
    positive(&[
        ("from", from_mm),
        ("speed", speed_m_min),
        ("feed", feed_mm),
        ("spindle_max", spindle_rpm_max),
    ])?;
    not_negative(&[("to", to_mm)])?;
    if to_mm >= from_mm {
        return Err(CuttingError::NotInward { from_mm, to_mm });
    }
    let speed_mm_min = speed_m_min * 1e3;
    let limit_radius_mm = speed_mm_min / (2.0 * PI * spindle_rpm_max);
    let turn = limit_radius_mm.clamp(to_mm, from_mm);
    let outside_min = PI * (from_mm * from_mm - turn * turn) / (speed_mm_min * feed_mm);
    let inside_min = (turn - to_mm) / (feed_mm * spindle_rpm_max);
    Ok(FacingTime { limit_radius_mm, time_s: (outside_min + inside_min) * 60.0 })
}

/// A thread to tap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tapping {
    /// Nominal diameter, mm.
    pub diameter_mm: f64,
    /// Pitch, mm.
    pub pitch_mm: f64,
    /// Depth of thread, mm.
    pub depth_mm: f64,
    /// Spindle speed in, rev/min.
    pub spindle_rpm: f64,
    /// How many times faster it comes out.
    pub return_ratio: f64,
    /// Approach, in threads.
    pub approach_threads: f64,
    /// Time to stop and turn round, s; 0 for an instant reversal.
    pub reversal_s: f64,
}

/// What tapping asks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TappingTime {
    /// Cutting speed, m/min.
    pub speed_m_min: f64,
    /// Feed rate: the pitch times the speed, mm/min.
    pub feed_rate_mm_min: f64,
    /// Time in and out, s.
    pub time_s: f64,
}

/// Cutting speed, feed rate and time of a tapped thread.
///
/// # Formula
/// `v = π d n`, `v_f = P n`, `t = (l + k P)/v_f · (1 + 1/r) + t_r`.
/// # Given
/// See [`Tapping`]; diameter, pitch, spindle speed and return ratio above zero.
/// # Returns
/// Cutting speed in m/min, feed rate in mm/min, time in s.
/// # Errors
/// [`CuttingError::NotPositive`], [`CuttingError::Negative`].
/// # Validity
/// Feed locked to the pitch, or a floating holder that takes the difference.
/// # Source
/// Standard machining formulae (from memory).
/// # Example
/// ```
/// use bedplate_shop::cutting::{Tapping, tapping};
/// let thread = tapping(&Tapping {
///     diameter_mm: 10.0, pitch_mm: 1.5, depth_mm: 22.0, spindle_rpm: 500.0,
///     return_ratio: 2.0, approach_threads: 3.0, reversal_s: 0.0,
/// })?;
/// // Arithmetic from the formulae.
/// assert_eq!(format!("{:.2} s", thread.time_s), "3.18 s");
/// # Ok::<(), bedplate_shop::cutting::CuttingError>(())
/// ```
pub fn tapping(thread: &Tapping) -> Result<TappingTime, CuttingError> {
    let Tapping { diameter_mm, pitch_mm, spindle_rpm, return_ratio, .. } = *thread;
    positive(&[
        ("diameter", diameter_mm),
        ("pitch", pitch_mm),
        ("spindle", spindle_rpm),
        ("return_ratio", return_ratio),
    ])?;
    not_negative(&[
        ("depth", thread.depth_mm),
        ("approach_threads", thread.approach_threads),
        ("reversal", thread.reversal_s),
    ])?;
    let feed_rate_mm_min = pitch_mm * spindle_rpm;
    let travel_mm = thread.depth_mm + thread.approach_threads * pitch_mm;
    let in_and_out_min = travel_mm / feed_rate_mm_min * (1.0 + 1.0 / return_ratio);
    Ok(TappingTime {
        speed_m_min: PI * diameter_mm * spindle_rpm / 1e3,
        feed_rate_mm_min,
        time_s: in_and_out_min * 60.0 + thread.reversal_s,
    })
}

/// A diameter to grind by plunging.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlungeGrinding {
    /// Diameter of the wheel as it is now, mm.
    pub wheel_mm: f64,
    /// Speed of the wheel, rev/min.
    pub wheel_rpm: f64,
    /// Greatest speed marked on the wheel, m/s; `None` if the mark was not read.
    pub marked_m_s: Option<f64>,
    /// Diameter of the work, mm.
    pub work_mm: f64,
    /// Stock on the diameter, mm.
    pub stock_mm: f64,
    /// Infeed on the radius, mm/min.
    pub infeed_mm_min: f64,
    /// Spark-out, s.
    pub spark_out_s: f64,
}

/// How the wheel's speed stands to its mark.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum WheelMark {
    /// At or below the marked speed.
    Within,
    /// Above it: it must not be run.
    Above,
    /// The mark was not read: it must be, before the wheel is run.
    NotRead,
}

impl WheelMark {
    /// What the mark says, in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Within => "within the marked speed",
            Self::Above => "ABOVE THE MARKED SPEED: do not run this wheel at this speed",
            Self::NotRead => "the mark was not read: read it before the wheel is run",
        }
    }
}

/// What plunge grinding asks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GrindingTime {
    /// Peripheral speed of the wheel, m/s.
    pub wheel_m_s: f64,
    /// How it stands to the wheel's mark.
    pub mark: WheelMark,
    /// Fastest the wheel may turn by its mark, rev/min.
    pub wheel_rpm_max: Option<f64>,
    /// Time, s.
    pub time_s: f64,
    /// Specific removal rate, mm³ a second for each mm of width.
    pub specific_removal_mm2_s: f64,
}

/// Wheel speed against its mark, time and specific removal rate of plunge grinding.
///
/// # Formula
/// `v = π D n`, `t = (s/2)/v_r + t_s`, `Q' = π d v_r`.
/// # Given
/// See [`PlungeGrinding`]; wheel, work and infeed above zero.
/// # Returns
/// Wheel speed in m/s and how it stands to the mark; time in s; specific removal rate.
/// # Errors
/// [`CuttingError::NotPositive`], [`CuttingError::Negative`].
/// # Validity
/// One infeed rate; deflection and wheel wear left out.
/// # Source
/// Standard machining formulae (from memory). Caution: [`GRINDING_CAUTION`].
/// # Example
/// ```
/// use bedplate_shop::cutting::{PlungeGrinding, WheelMark, plunge_grinding};
/// let journal = plunge_grinding(&PlungeGrinding {
///     wheel_mm: 500.0, wheel_rpm: 1146.0, marked_m_s: Some(32.0), work_mm: 55.0,
///     stock_mm: 0.25, infeed_mm_min: 0.6, spark_out_s: 3.0,
/// })?;
/// // Arithmetic from the formulae.
/// assert_eq!(format!("{:.3} {:.1}", journal.wheel_m_s, journal.time_s), "30.002 15.5");
/// assert_eq!(journal.mark, WheelMark::Within);
/// # Ok::<(), bedplate_shop::cutting::CuttingError>(())
/// ```
pub fn plunge_grinding(cut: &PlungeGrinding) -> Result<GrindingTime, CuttingError> {
    positive(&[
        ("wheel", cut.wheel_mm),
        ("wheel_speed", cut.wheel_rpm),
        ("work", cut.work_mm),
        ("infeed", cut.infeed_mm_min),
    ])?;
    not_negative(&[("stock", cut.stock_mm), ("spark_out", cut.spark_out_s)])?;
    let metre_a_turn = PI * cut.wheel_mm / 1e3;
    let wheel_m_s = metre_a_turn * cut.wheel_rpm / 60.0;
    let (mark, wheel_rpm_max) = match cut.marked_m_s {
        None => (WheelMark::NotRead, None),
        Some(marked) => {
            positive(&[("marked_speed", marked)])?;
            let mark = if wheel_m_s <= marked { WheelMark::Within } else { WheelMark::Above };
            (mark, Some(marked * 60.0 / metre_a_turn))
        }
    };
    Ok(GrindingTime {
        wheel_m_s,
        mark,
        wheel_rpm_max,
        time_s: cut.stock_mm / 2.0 / cut.infeed_mm_min * 60.0 + cut.spark_out_s,
        specific_removal_mm2_s: PI * cut.work_mm * cut.infeed_mm_min / 60.0,
    })
}

/// A surface broach and its stroke.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Broaching {
    /// Stock to take, mm.
    pub stock_mm: f64,
    /// Rise of each roughing tooth over the one before, mm.
    pub rise_mm: f64,
    /// Semi-finishing teeth.
    pub n_semi_finish: u32,
    /// Finishing teeth.
    pub n_finish: u32,
    /// Pitch of the teeth, mm.
    pub pitch_mm: f64,
    /// Length of the part along the stroke, mm.
    pub part_mm: f64,
    /// Cutting speed, m/min.
    pub speed_m_min: f64,
}

/// What a broach asks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BroachingTime {
    /// Teeth in all.
    pub n_teeth: u32,
    /// Toothed length, mm.
    pub toothed_mm: f64,
    /// Most teeth in the cut at once.
    pub n_teeth_in_cut: u32,
    /// Time of the cutting stroke, s.
    pub time_s: f64,
}

/// Teeth, length and stroke time of a surface broach.
///
/// # Formula
/// Roughing teeth `⌈s/r⌉`; length `z p`; teeth in the cut `⌈L/p⌉`; `t = (z p + L)/v`.
/// # Given
/// See [`Broaching`]; stock, rise, pitch, part and speed above zero.
/// # Returns
/// Teeth, toothed length, most teeth in the cut, time of the stroke in s.
/// # Errors
/// [`CuttingError::NotPositive`].
/// # Validity
/// Semi-finishing and finishing teeth take what is left inside the last rise.
/// # Source
/// Standard machining formulae (from memory).
/// # Example
/// ```
/// use bedplate_shop::cutting::{Broaching, broaching};
/// let broach = broaching(&Broaching {
///     stock_mm: 2.4, rise_mm: 0.05, n_semi_finish: 4, n_finish: 6,
///     pitch_mm: 14.0, part_mm: 45.0, speed_m_min: 6.0,
/// })?;
/// // Arithmetic from the formulae.
/// assert_eq!((broach.n_teeth, broach.n_teeth_in_cut), (58, 4));
/// # Ok::<(), bedplate_shop::cutting::CuttingError>(())
/// ```
pub fn broaching(cut: &Broaching) -> Result<BroachingTime, CuttingError> {
    let Broaching { stock_mm, rise_mm, pitch_mm, part_mm, speed_m_min, .. } = *cut;
    positive(&[
        ("stock", stock_mm),
        ("rise", rise_mm),
        ("pitch", pitch_mm),
        ("part", part_mm),
        ("speed", speed_m_min),
    ])?;
    let roughing = whole_steps(stock_mm / rise_mm);
    let n_teeth = roughing.saturating_add(cut.n_semi_finish).saturating_add(cut.n_finish);
    let toothed_mm = f64::from(n_teeth) * pitch_mm;
    Ok(BroachingTime {
        n_teeth,
        toothed_mm,
        n_teeth_in_cut: whole_steps(part_mm / pitch_mm),
        time_s: (toothed_mm + part_mm) / (speed_m_min * 1e3) * 60.0,
    })
}

/// The next whole number, where 2.4/0.05 is 48 whatever binary arithmetic makes of it.
fn whole_steps(ratio: f64) -> u32 {
    let nearest = ratio.round();
    let whole = if (ratio - nearest).abs() <= 1e-9 * ratio { nearest } else { ratio.ceil() };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped")]
    let n = whole.clamp(0.0, f64::from(u32::MAX)) as u32;
    n
}

const SPEED: Input = Input::quantity("speed", "m/min", "cutting speed").over(0.0);
const FEED: Input = Input::quantity("feed", "mm/rev", "feed").over(0.0);
const DIAMETER: Input = Input::quantity("diameter", "mm", "diameter").over(0.0);
const DEPTH: Input = Input::quantity("depth", "mm", "depth").at_least(0.0);
const APPROACH: Input = Input::quantity("approach", "mm", "approach").at_least(0.0).or("0 mm");
const SPINDLE: Output = Output::figure("spindle", "rev/min", "spindle speed");
const TIME: Output = Output::figure("time", "s", "time");
const FORMULAE: &str = "standard machining formulae (from memory); example arithmetic from them";

/// Declaration of [`drilling`].
pub const DRILLING: Calculation = Calculation {
    name: "drilling",
    title: "Drilling a hole",
    stage: Stage::Plan,
    question: "At what speed and feed is this hole drilled, and how long does it take?",
    inputs: &[
        DIAMETER,
        SPEED,
        FEED,
        DEPTH,
        APPROACH,
        Input::quantity("overrun", "mm", "behind the hole").at_least(0.0).or("0 mm"),
        Input::quantity("point_angle", "°", "of the drill; 180° for a flat end")
            .over(0.0)
            .at_most(180.0)
            .or("118°"),
    ],
    outputs: &[
        SPINDLE,
        Output::figure("feed_rate", "mm/min", "feed rate"),
        Output::figure("point", "mm", "length of the point"),
        TIME,
        Output::figure("removal", "cm³/min", "removal rate at full diameter"),
    ],
    formula: "n = 1000 v/(π d); v_f = f n; t = (l + a + (d/2)/tan(σ/2) + o)/v_f; Q = v f d/4",
    source: FORMULAE,
    validity: "From the solid, without pecking.",
    example: &[
        ("diameter", "8.5 mm"),
        ("speed", "90 m/min"),
        ("feed", "0.2 mm/rev"),
        ("depth", "32 mm"),
        ("approach", "2 mm"),
        ("point_angle", "118°"),
    ],
    expected: &[
        ("spindle", "3370.33997"),
        ("feed_rate", "674.067994"),
        ("point", "2.55365763"),
        ("time", "3.25370656"),
        ("removal", "38.25"),
    ],
    run: |given| {
        let hole = drilling(&Drilling {
            diameter_mm: given.number("diameter"),
            speed_m_min: given.number("speed"),
            feed_mm: given.number("feed"),
            depth_mm: given.number("depth"),
            approach_mm: given.number("approach"),
            overrun_mm: given.number("overrun"),
            point_deg: given.number("point_angle"),
        })?;
        Ok(Answer::new()
            .figure("spindle", hole.spindle_rpm)
            .figure("feed_rate", hole.feed_rate_mm_min)
            .figure("point", hole.point_mm)
            .figure("time", hole.time_s)
            .figure("removal", hole.removal_cm3_min))
    },
};

/// Declaration of [`face_milling`].
pub const FACE_MILLING: Calculation = Calculation {
    name: "face-milling",
    title: "Milling a face",
    stage: Stage::Plan,
    question: "At what speed and table feed is this face milled, and how long does it take?",
    inputs: &[
        DIAMETER,
        Input::count("teeth", "teeth of the cutter").at_least(1.0).at_most(1000.0),
        SPEED,
        Input::quantity("tooth_feed", "mm", "feed of each tooth").over(0.0),
        Input::quantity("length", "mm", "length of the face").over(0.0),
        Input::quantity("width", "mm", "width of the cut").over(0.0),
        Input::quantity("clearance", "mm", "before and behind, each").at_least(0.0).or("0 mm"),
    ],
    outputs: &[
        SPINDLE,
        Output::figure("table_feed", "mm/min", "table feed"),
        Output::figure("run_in", "mm", "until the full width is cut"),
        Output::figure("time_finish", "s", "until the whole cutter has left the face"),
        Output::figure("time_rough", "s", "until the full width has been cut"),
    ],
    formula: "v_f = f_z z n; x = D/2 − √(D²/4 − a²/4); t = (L + D + 2c)/v_f to finish, \
              (L + x + 2c)/v_f to rough",
    source: FORMULAE,
    validity: "Cutter in the middle of the width.",
    example: &[
        ("diameter", "125 mm"),
        ("teeth", "8"),
        ("speed", "180 m/min"),
        ("tooth_feed", "0.15 mm"),
        ("length", "420 mm"),
        ("width", "90 mm"),
        ("clearance", "5 mm"),
    ],
    expected: &[
        ("spindle", "458.366236"),
        ("table_feed", "550.039483"),
        ("run_in", "19.1266211"),
        ("time_finish", "60.5411084"),
        ("time_rough", "48.9921143"),
    ],
    run: |given| {
        let at = |travel| {
            face_milling(&FaceMilling {
                diameter_mm: given.number("diameter"),
                n_teeth: u32::try_from(given.count("teeth")).unwrap_or(u32::MAX),
                speed_m_min: given.number("speed"),
                tooth_feed_mm: given.number("tooth_feed"),
                length_mm: given.number("length"),
                width_mm: given.number("width"),
                clearance_mm: given.number("clearance"),
                travel,
            })
        };
        let (finish, rough) = (at(MillingTravel::Finish)?, at(MillingTravel::Rough)?);
        Ok(Answer::new()
            .figure("spindle", finish.spindle_rpm)
            .figure("table_feed", finish.table_feed_mm_min)
            .figure("run_in", finish.run_in_mm)
            .figure("time_finish", finish.time_s)
            .figure("time_rough", rough.time_s))
    },
};

const LENGTH: Input = Input::quantity("length", "mm", "length").over(0.0);

fn pass_of(given: &Given) -> Pass {
    Pass {
        diameter_mm: given.number("diameter"),
        length_mm: given.number("length"),
        speed_m_min: given.number("speed"),
        feed_mm: given.number("feed"),
        depth_mm: given.number("depth"),
        approach_mm: given.number("approach"),
    }
}

fn pass_answer(time: PassTime) -> Answer {
    Answer::new()
        .figure("spindle", time.spindle_rpm)
        .figure("time", time.time_s)
        .figure("removal", time.removal_cm3_min)
        .figure("revs_per_inch", time.revs_per_inch)
}

const PASS_INPUTS: &[Input] = &[
    Input::quantity("diameter", "mm", "largest diameter cut: stock if turned, finished if bored")
        .over(0.0),
    LENGTH,
    SPEED,
    FEED,
    Input::quantity("depth", "mm", "depth of cut on the radius").at_least(0.0).or("0 mm"),
    APPROACH,
];
const PASS_OUTPUTS: &[Output] = &[
    SPINDLE,
    TIME,
    Output::figure("removal", "cm³/min", "removal rate"),
    Output::figure("revs_per_inch", "", "revolutions for an inch of travel"),
];
const PASS_FORMULA: &str =
    "n = 1000 v/(π D); t = (L + a)/(f n); Q = v f a_p; 25.4/f rev to the inch";

/// Declaration of [`pass`] for boring.
pub const BORING: Calculation = Calculation {
    name: "boring",
    title: "Boring a bore",
    stage: Stage::Plan,
    question: "At what speed is this bore bored, and how long does one pass take?",
    inputs: PASS_INPUTS,
    outputs: PASS_OUTPUTS,
    formula: PASS_FORMULA,
    source: FORMULAE,
    validity: "Constant spindle speed; depth small against the diameter.",
    example: &[
        ("diameter", "81 mm"),
        ("length", "145 mm"),
        ("speed", "120 m/min"),
        ("feed", "0.0635 mm/rev"),
        ("depth", "0.15 mm"),
        ("approach", "3 mm"),
    ],
    expected: &[
        ("spindle", "471.570202"),
        ("time", "296.546557"),
        ("removal", "1.143"),
        ("revs_per_inch", "400.0"),
    ],
    run: |given| Ok(pass_answer(pass(&pass_of(given))?)),
};

/// Declaration of [`pass`] for turning.
pub const TURNING: Calculation = Calculation {
    name: "turning",
    title: "Turning a diameter",
    stage: Stage::Plan,
    question: "At what speed is this diameter turned, and how long does one pass take?",
    inputs: PASS_INPUTS,
    outputs: PASS_OUTPUTS,
    formula: PASS_FORMULA,
    source: FORMULAE,
    validity: "Constant spindle speed, set by the largest diameter.",
    example: &[
        ("diameter", "60 mm"),
        ("length", "40 mm"),
        ("speed", "160 m/min"),
        ("feed", "0.25 mm/rev"),
        ("approach", "2 mm"),
    ],
    expected: &[("spindle", "848.826363"), ("time", "11.8752202")],
    run: |given| Ok(pass_answer(pass(&pass_of(given))?)),
};

/// Declaration of [`feed_of_revs_per_inch_mm`].
pub const FINE_BORING_FEED: Calculation = Calculation {
    name: "fine-boring-feed",
    title: "Feed from revolutions to the inch",
    stage: Stage::Plan,
    question: "What feed is so many revolutions to the inch?",
    inputs: &[Input::quantity("revs_per_inch", "", "revolutions for an inch of travel").over(0.0)],
    outputs: &[
        Output::figure("feed", "mm/rev", "feed"),
        Output::figure("feed_in", "in/rev", "the same feed in inches"),
    ],
    formula: "f = 25.4/r",
    source: "definition; example common practice in fine boring, no source",
    validity: "The inch of 25.4 mm.",
    example: &[("revs_per_inch", "400")],
    expected: &[("feed", "0.0635"), ("feed_in", "0.0025")],
    run: |given| {
        let feed = feed_of_revs_per_inch_mm(given.number("revs_per_inch"));
        Ok(Answer::new().figure("feed", feed).figure("feed_in", feed / 25.4))
    },
};

/// Declaration of [`facing`].
pub const FACING: Calculation = Calculation {
    name: "facing",
    title: "Facing at constant surface speed",
    stage: Stage::Plan,
    question: "How long does facing take, and where does the spindle reach its limit?",
    inputs: &[
        Input::quantity("from", "mm", "outer radius").over(0.0),
        Input::quantity("to", "mm", "inner radius; 0 for a full face").at_least(0.0).or("0 mm"),
        SPEED,
        FEED,
        Input::quantity("spindle_max", "rev/min", "fastest the spindle may turn").over(0.0),
    ],
    outputs: &[
        Output::figure("limit_radius", "mm", "radius inside which the spindle is at its limit"),
        TIME,
    ],
    formula: "t = ∫ dr/(f n(r)), n = min(v/(2π r), n_max)",
    source: "integral of the time; closed form derived here",
    validity: "The spindle follows without delay.",
    example: &[
        ("from", "60 mm"),
        ("to", "20 mm"),
        ("speed", "200 m/min"),
        ("feed", "0.2 mm/rev"),
        ("spindle_max", "3000 rev/min"),
    ],
    expected: &[("limit_radius", "10.6103295"), ("time", "15.0796447")],
    run: |given| {
        let face = facing(&Facing {
            from_mm: given.number("from"),
            to_mm: given.number("to"),
            speed_m_min: given.number("speed"),
            feed_mm: given.number("feed"),
            spindle_rpm_max: given.number("spindle_max"),
        })?;
        Ok(Answer::new().figure("limit_radius", face.limit_radius_mm).figure("time", face.time_s))
    },
};

/// Declaration of [`tapping`].
pub const TAPPING: Calculation = Calculation {
    name: "tapping",
    title: "Tapping a thread",
    stage: Stage::Plan,
    question: "How fast is this thread cut, and how long does it take in and out?",
    inputs: &[
        DIAMETER,
        Input::quantity("pitch", "mm", "pitch").over(0.0),
        DEPTH,
        Input::quantity("spindle", "rev/min", "spindle speed in").over(0.0),
        Input::quantity("return_ratio", "", "how many times faster it comes out").over(0.0).or("1"),
        Input::quantity("approach_threads", "", "approach in threads").at_least(0.0).or("2"),
        Input::quantity("reversal", "s", "to stop and turn round").at_least(0.0).or("0 s"),
    ],
    outputs: &[
        Output::figure("speed", "m/min", "cutting speed"),
        Output::figure("feed_rate", "mm/min", "pitch times spindle speed"),
        Output::figure("time", "s", "in and out"),
    ],
    formula: "v = π d n; v_f = P n; t = (l + k P)/v_f · (1 + 1/r) + t_r",
    source: FORMULAE,
    validity: "Feed locked to the pitch, or a floating holder.",
    example: &[
        ("diameter", "10 mm"),
        ("pitch", "1.5 mm"),
        ("depth", "22 mm"),
        ("spindle", "500 rev/min"),
        ("return_ratio", "2"),
        ("approach_threads", "3"),
    ],
    expected: &[("speed", "15.7079633"), ("feed_rate", "750.0"), ("time", "3.18")],
    run: |given| {
        let thread = tapping(&Tapping {
            diameter_mm: given.number("diameter"),
            pitch_mm: given.number("pitch"),
            depth_mm: given.number("depth"),
            spindle_rpm: given.number("spindle"),
            return_ratio: given.number("return_ratio"),
            approach_threads: given.number("approach_threads"),
            reversal_s: given.number("reversal"),
        })?;
        Ok(Answer::new()
            .figure("speed", thread.speed_m_min)
            .figure("feed_rate", thread.feed_rate_mm_min)
            .figure("time", thread.time_s))
    },
};

/// Declaration of [`plunge_grinding`].
pub const PLUNGE_GRINDING: Calculation = Calculation {
    name: "plunge-grinding",
    title: "Plunge grinding",
    stage: Stage::Plan,
    question: "Is the wheel within its marked speed, and how long does grinding take?",
    inputs: &[
        Input::quantity("wheel", "mm", "diameter of the wheel as it is now").over(0.0),
        Input::quantity("wheel_speed", "rev/min", "speed of the wheel").over(0.0),
        Input::quantity("marked_speed", "m/s", "greatest speed marked on the wheel; 0 if not read")
            .at_least(0.0)
            .or("0 m/s"),
        Input::quantity("work", "mm", "diameter of the work").over(0.0),
        Input::quantity("stock", "mm", "stock on the diameter").at_least(0.0),
        Input::quantity("infeed", "mm/min", "infeed on the radius").over(0.0),
        Input::quantity("spark_out", "s", "spark-out").at_least(0.0).or("0 s"),
    ],
    outputs: &[
        Output::figure("peripheral_speed", "m/s", "peripheral speed of the wheel"),
        Output::figure("mark", "", "how it stands to the mark"),
        Output::figure("time", "s", "infeed and spark-out"),
        Output::figure("specific_removal", "mm³/(mm·s)", "removal for each mm of width"),
        Output::figure("caution", "", "what must be said with it"),
    ],
    formula: "v = π D n; t = (s/2)/v_r + t_s; Q' = π d v_r",
    source: FORMULAE,
    validity: "One infeed rate; deflection and wheel wear left out. Never above the speed marked \
               on the wheel.",
    example: &[
        ("wheel", "500 mm"),
        ("wheel_speed", "1146 rev/min"),
        ("marked_speed", "32 m/s"),
        ("work", "55 mm"),
        ("stock", "0.25 mm"),
        ("infeed", "0.6 mm/min"),
        ("spark_out", "3 s"),
    ],
    expected: &[
        ("peripheral_speed", "30.0022098"),
        ("mark", "within the marked speed"),
        ("time", "15.5"),
        ("specific_removal", "1.72787596"),
    ],
    run: |given| {
        let marked = given.number("marked_speed");
        let cut = plunge_grinding(&PlungeGrinding {
            wheel_mm: given.number("wheel"),
            wheel_rpm: given.number("wheel_speed"),
            marked_m_s: (marked > 0.0).then_some(marked),
            work_mm: given.number("work"),
            stock_mm: given.number("stock"),
            infeed_mm_min: given.number("infeed"),
            spark_out_s: given.number("spark_out"),
        })?;
        Ok(Answer::new()
            .figure("peripheral_speed", cut.wheel_m_s)
            .word("mark", cut.mark.words())
            .figure("time", cut.time_s)
            .figure("specific_removal", cut.specific_removal_mm2_s)
            .word("caution", GRINDING_CAUTION))
    },
};

/// Declaration of [`broaching`].
pub const BROACHING: Calculation = Calculation {
    name: "broaching",
    title: "Surface broaching",
    stage: Stage::Plan,
    question: "How long a broach does this stock need, and how long is its stroke?",
    inputs: &[
        Input::quantity("stock", "mm", "stock to take").over(0.0),
        Input::quantity("rise", "mm", "rise of each roughing tooth").over(0.0),
        Input::count("semi_finish", "semi-finishing teeth").at_most(10_000.0).or("0"),
        Input::count("finish", "finishing teeth").at_most(10_000.0).or("0"),
        Input::quantity("pitch", "mm", "pitch of the teeth").over(0.0),
        Input::quantity("part", "mm", "length of the part along the stroke").over(0.0),
        SPEED,
    ],
    outputs: &[
        Output::figure("teeth", "", "teeth in all"),
        Output::figure("toothed_length", "mm", "toothed length"),
        Output::figure("teeth_in_cut", "", "most teeth in the cut at once"),
        Output::figure("time", "s", "time of the cutting stroke"),
    ],
    formula: "z = ⌈s/r⌉ + semi-finishing + finishing; ⌈L/p⌉ in the cut; t = (z p + L)/v",
    source: FORMULAE,
    validity: "Semi-finishing and finishing teeth take what is left inside the last rise.",
    example: &[
        ("stock", "2.4 mm"),
        ("rise", "0.05 mm"),
        ("semi_finish", "4"),
        ("finish", "6"),
        ("pitch", "14 mm"),
        ("part", "45 mm"),
        ("speed", "6 m/min"),
    ],
    expected: &[
        ("teeth", "58"),
        ("toothed_length", "812"),
        ("teeth_in_cut", "4"),
        ("time", "8.57"),
    ],
    run: |given| {
        let teeth = |name| u32::try_from(given.count(name)).unwrap_or(u32::MAX);
        let broach = broaching(&Broaching {
            stock_mm: given.number("stock"),
            rise_mm: given.number("rise"),
            n_semi_finish: teeth("semi_finish"),
            n_finish: teeth("finish"),
            pitch_mm: given.number("pitch"),
            part_mm: given.number("part"),
            speed_m_min: given.number("speed"),
        })?;
        Ok(Answer::new()
            .count("teeth", broach.n_teeth as usize)
            .figure("toothed_length", broach.toothed_mm)
            .count("teeth_in_cut", broach.n_teeth_in_cut as usize)
            .figure("time", broach.time_s))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_wheel_exactly_at_its_mark_is_within_and_above_it_is_not() {
        let at = |marked_m_s| {
            plunge_grinding(&PlungeGrinding {
                wheel_mm: 500.0,
                wheel_rpm: 1200.0,
                marked_m_s,
                work_mm: 55.0,
                stock_mm: 0.2,
                infeed_mm_min: 0.5,
                spark_out_s: 0.0,
            })
            .unwrap()
        };
        let exact = PI * 0.5 * 1200.0 / 60.0;
        assert_eq!(at(Some(exact)).mark, WheelMark::Within);
        assert_eq!(at(Some(exact - 1e-9)).mark, WheelMark::Above);
        assert_eq!(at(None).mark, WheelMark::NotRead);
        assert!((at(Some(exact)).wheel_rpm_max.unwrap() - 1200.0).abs() < 1e-9);
    }

    #[test]
    fn cuts_that_cannot_be_are_refused() {
        let hole = Drilling {
            diameter_mm: 8.5,
            speed_m_min: 90.0,
            feed_mm: 0.2,
            depth_mm: 32.0,
            approach_mm: 2.0,
            overrun_mm: 0.0,
            point_deg: 118.0,
        };
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert!(drilling(&Drilling { diameter_mm: bad, ..hole }).is_err());
            assert!(drilling(&Drilling { feed_mm: bad, ..hole }).is_err());
        }
        assert!(drilling(&Drilling { point_deg: 181.0, ..hole }).is_err());
        assert_eq!(drilling(&Drilling { point_deg: 180.0, ..hole }).unwrap().point_mm, 0.0);
        let face = Facing {
            from_mm: 20.0,
            to_mm: 20.0,
            speed_m_min: 200.0,
            feed_mm: 0.2,
            spindle_rpm_max: 3000.0,
        };
        assert!(matches!(facing(&face), Err(CuttingError::NotInward { .. })));
    }

    #[test]
    fn a_full_width_cut_runs_in_by_half_the_cutter() {
        let face = FaceMilling {
            diameter_mm: 100.0,
            n_teeth: 6,
            speed_m_min: 150.0,
            tooth_feed_mm: 0.1,
            length_mm: 200.0,
            width_mm: 100.0,
            clearance_mm: 0.0,
            travel: MillingTravel::Rough,
        };
        // Geometry: the widest chord is reached when the centre stands on the edge.
        assert_eq!(face_milling(&face).unwrap().run_in_mm, 50.0);
        let wider = FaceMilling { width_mm: 100.1, ..face };
        assert!(matches!(face_milling(&wider), Err(CuttingError::WiderThanCutter { .. })));
    }

    #[test]
    fn facing_agrees_with_adding_up_thin_rings() {
        let face = Facing {
            from_mm: 60.0,
            to_mm: 4.0,
            speed_m_min: 200.0,
            feed_mm: 0.2,
            spindle_rpm_max: 3000.0,
        };
        let n_rings = 200_000;
        let step = 56.0 / f64::from(n_rings);
        let minutes: f64 = (0..n_rings)
            .map(|i| {
                let radius_mm = 4.0 + (f64::from(i) + 0.5) * step;
                let surface = SurfaceSpeed { speed_m_min: 200.0, diameter_mm: 2.0 * radius_mm };
                step / (0.2 * spindle_speed_rpm(surface).min(3000.0))
            })
            .sum();
        assert!((facing(&face).unwrap().time_s / (minutes * 60.0) - 1.0).abs() < 1e-8);
    }

    proptest! {
        #[test]
        fn twice_the_speed_halves_the_time(
            v in 10.0..300.0f64, f in 0.02..0.6f64, l in 5.0..500.0f64,
        ) {
            let cut = Pass {
                diameter_mm: 60.0, length_mm: l, speed_m_min: v, feed_mm: f,
                depth_mm: 1.0, approach_mm: 2.0,
            };
            let once = pass(&cut).unwrap();
            let twice = pass(&Pass { speed_m_min: 2.0 * v, ..cut }).unwrap();
            prop_assert!((once.time_s / twice.time_s - 2.0).abs() < 1e-12);
            // What is removed in the cut is the same ring.
            let removed = once.removal_cm3_min * once.time_s;
            prop_assert!((removed / (twice.removal_cm3_min * twice.time_s) - 1.0).abs() < 1e-12);
        }
    }
}
