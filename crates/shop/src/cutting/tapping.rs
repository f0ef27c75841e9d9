//! Tapping: in and out with the pitch.

use std::f64::consts::PI;

use bedplate_gauge::calculation::{Answer, Calculation, Input, Output, Stage};

use super::{CuttingError, DEPTH, DIAMETER, FORMULAE, not_negative, positive};

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
/// use bedplate_shop::cutting::tapping::{Tapping, tapping};
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
