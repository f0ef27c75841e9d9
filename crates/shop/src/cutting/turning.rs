//! Turning and boring: one pass along the work.

use bedplate_gauge::calculation::{Answer, Calculation, Given, Input, Output, Stage};

use super::{
    APPROACH, CuttingError, FEED, FORMULAE, SPEED, SPINDLE, SurfaceSpeed, TIME, not_negative,
    positive, spindle_speed_rpm,
};

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
/// use bedplate_shop::cutting::turning::{Pass, pass};
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
/// use bedplate_shop::cutting::turning::feed_of_revs_per_inch_mm;
/// // Common practice, no source: fine boring at about 400 revolutions to the inch.
/// assert_eq!(feed_of_revs_per_inch_mm(400.0), 0.0635);
/// ```
#[must_use]
pub fn feed_of_revs_per_inch_mm(revs_per_inch: f64) -> f64 {
    25.4 / revs_per_inch
}

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
    Input::quantity("length", "mm", "length").over(0.0),
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

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

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
