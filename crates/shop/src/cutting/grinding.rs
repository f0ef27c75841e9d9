//! Plunge grinding, and what is marked on the wheel.
//!
//! # Caution
//! A grinding wheel must never run above the speed marked on it: check the mark, ring-test the
//! wheel, keep the guards closed and let it run free behind them before use.

use std::f64::consts::PI;

use bedplate_gauge::calculation::{Answer, Calculation, Input, Output, Stage};

use super::{CuttingError, FORMULAE, not_negative, positive};

/// What must be said with every grinding figure.
pub const GRINDING_CAUTION: &str = "Never run a wheel above the speed marked on it. Ring-test it, \
     close the guards, and let it run free behind them before use. The maker's instructions go \
     before this figure.";

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
/// use bedplate_shop::cutting::grinding::{PlungeGrinding, WheelMark, plunge_grinding};
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

#[cfg(test)]
mod tests {
    use super::*;

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
}
