//! Wear: the line along which a characteristic runs with the piece count, and when to reset.
//!
//! [`line()`] fits it, [`reset_advice`] says after how many pieces the chance of a bad or doubtful
//! piece reaches the plan's figure and how far to move the tool.

use crate::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage, Value};
use crate::distribution::{t_beyond, t_quantile};
use crate::limits::{LOWER_INPUT, Limits, UPPER_INPUT, limits_given};
use crate::summary::{SummaryError, sum, summary};

/// A straight line through readings, with what is not known about it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Readings behind it.
    pub n: usize,
    /// Value at x = 0.
    pub intercept: f64,
    /// Change per unit of x.
    pub slope: f64,
    /// Standard error of the intercept.
    pub intercept_error: f64,
    /// Standard error of the slope.
    pub slope_error: f64,
    /// Standard deviation of the readings about the line, n − 2 in the denominator.
    pub residual_deviation: f64,
    mean_x: f64,
    mean_y: f64,
    squares_x: f64,
}

/// Why no line can be fitted.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum LineError {
    /// The figures could not be summed up.
    #[error(transparent)]
    Figures(#[from] SummaryError),
    /// Not as many x as y.
    #[error("{x} places and {y} readings; each reading needs its place")]
    Unequal {
        /// How many x.
        x: usize,
        /// How many y.
        y: usize,
    },
    /// Too few points.
    #[error("{got} readings; at least 3 are needed for a line with its uncertainty")]
    TooFew {
        /// How many there were.
        got: usize,
    },
    /// All x are the same.
    #[error("all readings were taken at {x}; a line needs different places")]
    SamePlace {
        /// The place.
        x: f64,
    },
}

impl Line {
    /// Degrees of freedom: n − 2.
    #[must_use]
    pub fn dof(&self) -> f64 {
        self.n as f64 - 2.0
    }

    /// The line's height at `x`.
    #[must_use]
    pub fn at(&self, x: f64) -> f64 {
        self.mean_y + self.slope * (x - self.mean_x)
    }

    /// Standard error of the line's height at `x`.
    #[must_use]
    pub fn error_at(&self, x: f64) -> f64 {
        let reach = (x - self.mean_x).powi(2) / self.squares_x;
        self.residual_deviation * (1.0 / self.n as f64 + reach).sqrt()
    }

    /// Standard deviation of one further reading at `x` about the line: scatter and error together.
    #[must_use]
    pub fn deviation_at(&self, x: f64) -> f64 {
        self.residual_deviation.hypot(self.error_at(x))
    }

    /// The slope's interval with this coverage; `None` unless 0 < coverage < 1.
    #[must_use]
    pub fn slope_interval(&self, coverage: f64) -> Option<(f64, f64)> {
        let half = t_quantile(0.5 * (1.0 + coverage), self.dof()).ok()? * self.slope_error;
        (coverage > 0.0).then_some((self.slope - half, self.slope + half))
    }

    /// The probability, were there no slope, of one at least this steep either way: small when the
    /// climb is real.
    #[must_use]
    pub fn chance_of_no_slope(&self) -> f64 {
        if self.slope_error > 0.0 {
            let t = (self.slope / self.slope_error).abs();
            2.0 * t_beyond(t, self.dof()).expect("three readings or more")
        } else if self.slope == 0.0 {
            1.0
        } else {
            0.0
        }
    }
}

/// The straight line through readings by least squares.
///
/// # Formula
/// b = Σ(x − x̄)(y − ȳ)/Σ(x − x̄)², a = ȳ − b·x̄, s² = Σ(y − a − b·x)²/(n − 2),
/// s_b = s/√Σ(x − x̄)², s_a = s·√(1/n + x̄²/Σ(x − x̄)²).
///
/// # Given
/// `x`: places (piece count, hours); `y`: readings; as many of each, three or more, not all x the
/// same.
///
/// # Returns
/// In the units of x and y.
///
/// # Errors
/// [`LineError`] for too few points, unequal numbers of them, or figures that are no numbers.
///
/// # Validity
/// Scatter of the same size everywhere, x known exactly.
///
/// # Source
/// Textbook least squares; checked against NIST StRD Norris.
///
/// # Example
/// ```
/// let line = bedplate_gauge::trend::line(&[1.0, 2.0, 3.0], &[2.0, 4.0, 6.0]).unwrap();
/// assert_eq!((line.intercept, line.slope), (0.0, 2.0));
/// ```
pub fn line(x: &[f64], y: &[f64]) -> Result<Line, LineError> {
    if x.len() != y.len() {
        return Err(LineError::Unequal { x: x.len(), y: y.len() });
    }
    if x.len() < 3 {
        return Err(LineError::TooFew { got: x.len() });
    }
    let (sx, sy) = (summary(x)?, summary(y)?);
    if sx.min >= sx.max {
        return Err(LineError::SamePlace { x: sx.min });
    }
    let n = x.len() as f64;
    let pairs = || x.iter().zip(y).map(|(&x, &y)| (x - sx.mean, y - sy.mean));
    let squares_x = sum(pairs().map(|(u, _)| u * u));
    let slope = sum(pairs().map(|(u, v)| u * v)) / squares_x;
    let left = sum(pairs().map(|(u, v)| (v - slope * u).powi(2)));
    let residual_deviation = (left / (n - 2.0)).sqrt();
    let slope_error = residual_deviation / squares_x.sqrt();
    let intercept_error = residual_deviation * (1.0 / n + sx.mean * sx.mean / squares_x).sqrt();
    let intercept = sy.mean - slope * sx.mean;
    let figures = [slope, slope_error, intercept, intercept_error];
    if figures.iter().any(|f| !f.is_finite()) {
        return Err(SummaryError::TooFarApart { min: sy.min, max: sy.max }.into());
    }
    Ok(Line {
        n: x.len(),
        intercept,
        slope,
        intercept_error,
        slope_error,
        residual_deviation,
        mean_x: sx.mean,
        mean_y: sy.mean,
        squares_x,
    })
}

/// What the plan asks of a reset.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ResetPlan {
    /// Limits of the characteristic.
    pub limits: Limits,
    /// Width of the band inside each limit in which a piece is doubtful; 0 to count bad ones alone.
    pub guard: f64,
    /// Greatest chance of a bad or doubtful piece the plan allows, between 0 and 1.
    pub chance: f64,
    /// Size the tool is brought back to.
    pub aim: f64,
    /// Standard uncertainty of the gauge that all readings share; 0 where there is none. No move is
    /// advised inside the noise of line and gauge together.
    pub gauge_uncertainty: f64,
    /// Smallest step the setting can be moved by (a collar's division); 0 if it has none.
    pub step: f64,
}

/// When to reset a tool and by how much, in the unit of the characteristic.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ResetAdvice {
    /// Pieces that may still be made before the chance of a bad or doubtful one passes the plan's
    /// figure; `None` if it never does within [`HORIZON_PIECES`].
    pub pieces_left: Option<u64>,
    /// Pieces until the line itself enters the doubtful band: by then every second one is
    /// doubtful. `None` if it does not within [`HORIZON_PIECES`].
    pub pieces_to_doubt: Option<u64>,
    /// The line's height at the next piece.
    pub level: f64,
    /// How far to move: positive makes pieces larger. Zero when the move is lost in the noise or
    /// smaller than half a step.
    pub shift: f64,
    /// Whole steps of the setting in that shift; 0 where there are no steps.
    pub steps: i64,
    /// Twice the standard deviation of the level with the gauge's uncertainty: no move inside it.
    pub noise: f64,
}

/// Why no advice can be given.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ResetError {
    /// The allowed chance is no probability.
    #[error("the allowed chance is {chance}; it must lie between 0 and 1")]
    Chance {
        /// What was given.
        chance: f64,
    },
    /// A width that is negative or no number.
    #[error("the {what} is {value}; it must be a number of 0 or more")]
    Width {
        /// Which one.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// The place or the aim is no finite number.
    #[error("the {what} is {value}; a finite number is needed")]
    Place {
        /// Which one.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// The aim does not lie inside the limits.
    #[error("the aim {aim} does not lie inside the limits by more than the guard band")]
    Aim {
        /// What was given.
        aim: f64,
    },
}

/// How many pieces ahead a forecast looks.
pub const HORIZON_PIECES: u64 = 1_000_000;

/// When to reset a tool that wears along `line`, and by how much.
///
/// # Formula
/// At k pieces on, a reading is distributed as t with n − 2 degrees of freedom about the line with
/// deviation √(s² + s_line²); its chance beyond T_U − g or below T_L + g is compared with the
/// plan's. Shift = aim − level, unless |shift| ≤ 2·√(s_line² + u²).
///
/// # Given
/// `line` over the piece count; `last`: count of the last piece made; `plan`.
///
/// # Returns
/// See [`ResetAdvice`].
///
/// # Errors
/// [`ResetError`] says which figure of the plan is out of its range.
///
/// # Validity
/// Wear that goes on as it went, normal scatter about the line. Far beyond the readings the line
/// is only a guess.
///
/// # Source
/// Derived here: prediction of a further observation in linear regression (textbook), with the
/// guard band of [`crate::judge`].
///
/// # Example
/// ```
/// use bedplate_gauge::{limits::Limits, trend::{ResetPlan, line, reset_advice}};
/// let count: Vec<f64> = (1..=20).map(f64::from).collect();
/// let size_um: Vec<f64> = count.iter().map(|i| 6.0 + 0.16 * i).collect();
/// let plan = ResetPlan { limits: Limits::between(0.0, 12.0).unwrap(), guard: 1.6, chance: 0.01,
///     aim: 6.0, gauge_uncertainty: 0.0, step: 1.0 };
/// let advice = reset_advice(&line(&count, &size_um).unwrap(), 20.0, &plan).unwrap();
/// // Without scatter: 9.2 + 0.16 k reaches 10.4 at k = 7.5.
/// assert_eq!(advice.pieces_left, Some(7));
/// assert_eq!(advice.steps, -3);
/// ```
pub fn reset_advice(line: &Line, last: f64, plan: &ResetPlan) -> Result<ResetAdvice, ResetError> {
    check(last, plan)?;
    let chance = |k: u64| chance_of_doubt(line, last + k as f64, plan);
    let allowed = |k: u64| chance(k) <= plan.chance;
    let entered = |k: u64| plan.limits.margin(line.at(last + k as f64)) <= plan.guard;
    let level = line.at(last + 1.0);
    let noise = 2.0 * line.error_at(last + 1.0).hypot(plan.gauge_uncertainty);
    let wanted = plan.aim - level;
    let (shift, steps) = if wanted.abs() <= noise {
        (0.0, 0)
    } else if plan.step > 0.0 {
        let steps = (wanted / plan.step).round();
        #[expect(
            clippy::cast_possible_truncation,
            reason = "saturates, and is a count of divisions"
        )]
        (steps * plan.step, steps as i64)
    } else {
        (wanted, 0)
    };
    Ok(ResetAdvice {
        pieces_left: first_not(allowed).map(|k| k - 1),
        pieces_to_doubt: first_not(|k| !entered(k)),
        level,
        shift,
        steps,
        noise,
    })
}

/// The first k from 1 for which `holds` no longer holds, within the horizon. Along a straight line
/// the margin first grows, then shrinks, so that once broken it stays broken.
fn first_not(holds: impl Fn(u64) -> bool) -> Option<u64> {
    if !holds(1) {
        return Some(1);
    }
    let (mut good, mut bad) = (1, 2);
    while holds(bad) {
        if bad >= HORIZON_PIECES {
            return None;
        }
        good = bad;
        bad = (bad * 2).min(HORIZON_PIECES);
    }
    while bad - good > 1 {
        let middle = good + (bad - good) / 2;
        if holds(middle) { good = middle } else { bad = middle }
    }
    Some(bad)
}

/// The chance that a piece made at `x` reads bad or doubtful, as [`reset_advice`] takes it.
#[must_use]
pub fn chance_of_doubt(line: &Line, x: f64, plan: &ResetPlan) -> f64 {
    let (level, deviation) = (line.at(x), line.deviation_at(x));
    let beyond = |room: f64| {
        if deviation > 0.0 {
            t_beyond(room / deviation, line.dof()).expect("three readings or more")
        } else if room < 0.0 {
            1.0
        } else {
            0.0
        }
    };
    let over = plan.limits.upper().map_or(0.0, |upper| beyond(upper - plan.guard - level));
    let under = plan.limits.lower().map_or(0.0, |lower| beyond(level - lower - plan.guard));
    (over + under).min(1.0)
}

fn check(last: f64, plan: &ResetPlan) -> Result<(), ResetError> {
    if !(0.0 < plan.chance && plan.chance < 1.0) {
        return Err(ResetError::Chance { chance: plan.chance });
    }
    let widths = [
        ("guard band", plan.guard),
        ("gauge's uncertainty", plan.gauge_uncertainty),
        ("step", plan.step),
    ];
    for (what, value) in widths {
        if !(value.is_finite() && value >= 0.0) {
            return Err(ResetError::Width { what, value });
        }
    }
    for (what, value) in [("last piece", last), ("aim", plan.aim)] {
        if !value.is_finite() {
            return Err(ResetError::Place { what, value });
        }
    }
    if plan.limits.margin(plan.aim) <= plan.guard {
        return Err(ResetError::Aim { aim: plan.aim });
    }
    Ok(())
}

/// A straight line through readings.
pub const LINE: Calculation = Calculation {
    name: "line-fit",
    title: "Straight line through readings",
    stage: Stage::Control,
    question: "How fast does this characteristic run, and how sure is that?",
    inputs: &[
        Input::list("x", "", "piece count or other place of each reading"),
        Input::list("y", "mm", "readings"),
        Input::quantity("coverage", "", "coverage of the slope's interval")
            .over(0.0)
            .under(1.0)
            .or("0.95"),
    ],
    outputs: &[
        Output::figure("intercept", "mm", "value at x = 0"),
        Output::figure("slope", "mm", "change per unit of x"),
        Output::figure("intercept_error", "mm", "standard error of the intercept"),
        Output::figure("slope_error", "mm", "standard error of the slope"),
        Output::figure("slope_lower", "mm", "lower end of the slope's interval"),
        Output::figure("slope_upper", "mm", "upper end of the slope's interval"),
        Output::figure("residual_sd", "mm", "standard deviation about the line"),
        Output::figure("no_slope", "", "probability of such a slope by chance alone"),
    ],
    formula: "b = Σ(x − x̄)(y − ȳ)/Σ(x − x̄)², a = ȳ − b·x̄, s² = Σ(y − a − b·x)²/(n − 2)",
    source: "textbook least squares; data of NIST StRD Norris",
    validity: "Scatter of one size everywhere, x known exactly.",
    // NIST StRD Norris (certified values).
    example: &[
        (
            "x",
            "0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, \
             775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, \
             339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5",
        ),
        (
            "y",
            "0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, \
             778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, \
             339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2 mm",
        ),
    ],
    expected: &[
        ("intercept", "-0.262323073774"),
        ("slope", "1.002116818020"),
        ("intercept_error", "0.232818234"),
        ("slope_error", "0.000429796848"),
        ("residual_sd", "0.884796396"),
    ],
    run: run_line,
};

fn run_line(given: &Given) -> Result<Answer, Refused> {
    let fit =
        line(given.list("x"), given.list("y")).map_err(|e| Refused::because("y", e.to_string()))?;
    let (lower, upper) = fit
        .slope_interval(given.number("coverage"))
        .ok_or_else(|| Refused::because("coverage", "it must lie between 0 and 1"))?;
    Ok(Answer::new()
        .figure("intercept", fit.intercept)
        .figure("slope", fit.slope)
        .figure("intercept_error", fit.intercept_error)
        .figure("slope_error", fit.slope_error)
        .figure("slope_lower", lower)
        .figure("slope_upper", upper)
        .figure("residual_sd", fit.residual_deviation)
        .figure("no_slope", fit.chance_of_no_slope()))
}

/// When to reset a tool that wears.
pub const RESET_ADVICE: Calculation = Calculation {
    name: "reset-advice",
    title: "When to reset a worn tool",
    stage: Stage::Control,
    question: "After how many pieces must the tool be reset, and by how much?",
    inputs: &[
        Input::list("count", "", "piece count of each reading, in order"),
        Input::list("readings", "mm", "readings since the last reset"),
        LOWER_INPUT,
        UPPER_INPUT,
        Input::quantity("guard", "mm", "band inside each limit in which a piece is doubtful")
            .at_least(0.0)
            .or("0 mm"),
        Input::quantity("chance", "", "greatest chance of a bad or doubtful piece allowed")
            .over(0.0)
            .under(1.0)
            .or("0.01"),
        Input::quantity("aim", "mm", "size the tool is brought back to"),
        Input::quantity("gauge_uncertainty", "mm", "standard uncertainty shared by all readings")
            .at_least(0.0)
            .or("0 mm"),
        Input::quantity("step", "mm", "smallest step of the setting; 0 for none")
            .at_least(0.0)
            .or("0 mm"),
    ],
    outputs: &[
        Output::figure("pieces_left", "", "pieces before the chance passes the plan's"),
        Output::figure("pieces_to_doubt", "", "pieces until the line itself is doubtful"),
        Output::figure("level", "mm", "size expected of the next piece"),
        Output::figure("shift", "µm", "how far to move; positive makes pieces larger"),
        Output::figure("steps", "", "the same in steps of the setting"),
        Output::figure("noise", "µm", "no move is advised inside this"),
        Output::figure("slope", "µm", "change per piece"),
    ],
    formula: "P(y > T_U − g) + P(y < T_L + g) with y about a + b·x as t with n − 2 degrees",
    source: "derived here: prediction in linear regression, with the guard band of the judgement",
    validity: "Wear that goes on as it went; normal scatter about the line.",
    // Arithmetic, without scatter: 68.0092 mm + 0.16 µm a piece enters at 68.0104 mm after 7.5.
    example: &[
        ("count", "1, 2, 3, 4, 5, 6, 7, 8, 9, 10"),
        (
            "readings",
            "68.00776, 68.00792, 68.00808, 68.00824, 68.00840, 68.00856, 68.00872, 68.00888, \
             68.00904, 68.00920 mm",
        ),
        ("lower", "68.000 mm"),
        ("upper", "68.012 mm"),
        ("guard", "0.0016 mm"),
        ("aim", "68.006 mm"),
        ("step", "0.001 mm"),
    ],
    expected: &[("pieces_left", "7"), ("shift", "-3.0"), ("steps", "-3"), ("slope", "0.16")],
    run: run_reset,
};

fn run_reset(given: &Given) -> Result<Answer, Refused> {
    let limits = limits_given(given)?;
    let count = given.list("count");
    let fit = line(count, given.list("readings"))
        .map_err(|e| Refused::because("readings", e.to_string()))?;
    let last = count.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let plan = ResetPlan {
        limits,
        guard: given.number("guard"),
        chance: given.number("chance"),
        aim: given.number("aim"),
        gauge_uncertainty: given.number("gauge_uncertainty"),
        step: given.number("step"),
    };
    let advice =
        reset_advice(&fit, last, &plan).map_err(|e| Refused::because("aim", e.to_string()))?;
    let pieces = |answer: Answer, name, k: Option<u64>| match k {
        Some(k) => answer.with(name, Value::Count(k)),
        None => answer.word(name, "not within a million pieces"),
    };
    let answer = pieces(Answer::new(), "pieces_left", advice.pieces_left);
    Ok(pieces(answer, "pieces_to_doubt", advice.pieces_to_doubt)
        .figure("level", advice.level)
        .figure("shift", advice.shift * 1e3)
        .figure("steps", advice.steps as f64)
        .figure("noise", advice.noise * 1e3)
        .figure("slope", fit.slope * 1e3))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Pieces that climb 0.16 µm each from `start`, with a scatter of ±0.4 µm in turn.
    fn climb(start: f64, n: u32, scatter: f64) -> Line {
        let x: Vec<f64> = (1..=n).map(f64::from).collect();
        let y: Vec<f64> = (1..=n)
            .map(|i| start + 0.16 * f64::from(i) + if i % 2 == 0 { scatter } else { -scatter })
            .collect();
        line(&x, &y).unwrap()
    }

    fn plan() -> ResetPlan {
        ResetPlan {
            limits: Limits::between(0.0, 12.0).unwrap(),
            guard: 1.6,
            chance: 0.01,
            aim: 6.0,
            gauge_uncertainty: 0.0,
            step: 0.0,
        }
    }

    #[test]
    fn advice_comes_sooner_the_more_the_pieces_scatter() {
        let sure = reset_advice(&climb(6.0, 20, 0.0), 20.0, &plan()).unwrap();
        let loose = reset_advice(&climb(6.0, 20, 0.4), 20.0, &plan()).unwrap();
        assert_eq!(sure.pieces_left, Some(7));
        assert!(loose.pieces_left < sure.pieces_left);
        assert_eq!(sure.pieces_to_doubt, Some(8));
        assert!((sure.shift - (6.0 - 9.36)).abs() < 1e-9);
    }

    #[test]
    fn chance_at_the_advised_piece_is_just_allowed() {
        let fit = climb(5.0, 20, 0.4);
        let left = reset_advice(&fit, 20.0, &plan()).unwrap().pieces_left.unwrap() as f64;
        assert!(chance_of_doubt(&fit, 20.0 + left, &plan()) <= 0.01);
        assert!(chance_of_doubt(&fit, 21.0 + left, &plan()) > 0.01);
    }

    #[test]
    fn no_move_inside_the_noise() {
        let fit = climb(2.5, 20, 0.4); // next piece expected near 5.9, aim 6.0
        let advice = reset_advice(&fit, 20.0, &plan()).unwrap();
        assert_eq!((advice.shift, advice.steps), (0.0, 0));
        let far = ResetPlan { aim: 3.0, ..plan() };
        assert!(reset_advice(&fit, 20.0, &far).unwrap().shift < -2.0);
        let unsure = ResetPlan { gauge_uncertainty: 5.0, ..far };
        assert_eq!(reset_advice(&fit, 20.0, &unsure).unwrap().shift, 0.0);
    }

    #[test]
    fn a_tool_already_past_must_be_reset_now() {
        let advice = reset_advice(&climb(10.0, 20, 0.1), 20.0, &plan()).unwrap();
        assert_eq!((advice.pieces_left, advice.pieces_to_doubt), (Some(0), Some(1)));
    }

    #[test]
    fn a_tool_that_does_not_wear_need_not_be_reset() {
        let x: Vec<f64> = (1..=10).map(f64::from).collect();
        let fit = line(&x, &[6.0; 10]).unwrap();
        assert_eq!(fit.chance_of_no_slope(), 1.0);
        let advice = reset_advice(&fit, 10.0, &plan()).unwrap();
        assert_eq!((advice.pieces_left, advice.pieces_to_doubt), (None, None));
    }

    #[test]
    fn plans_out_of_range_are_refused_in_words() {
        let fit = climb(6.0, 20, 0.1);
        let words = |p: ResetPlan| reset_advice(&fit, 20.0, &p).unwrap_err().to_string();
        assert!(words(ResetPlan { chance: 0.0, ..plan() }).contains("allowed chance is 0"));
        assert!(words(ResetPlan { guard: -1.0, ..plan() }).contains("guard band is -1"));
        assert!(words(ResetPlan { aim: 13.0, ..plan() }).contains("aim 13"));
        assert!(words(ResetPlan { aim: f64::NAN, ..plan() }).contains("aim is NaN"));
    }

    #[test]
    fn what_makes_no_line_is_refused_in_words() {
        let words = |x: &[f64], y: &[f64]| line(x, y).unwrap_err().to_string();
        assert!(words(&[1.0, 2.0], &[1.0, 2.0]).contains("at least 3"));
        assert!(words(&[1.0; 3], &[1.0, 2.0, 3.0]).contains("taken at 1"));
        assert!(words(&[1.0], &[1.0, 2.0]).contains("1 places and 2 readings"));
        assert!(words(&[1.0, 2.0, f64::NAN], &[1.0; 3]).contains("reading 3 is NaN"));
    }

    proptest! {
        #[test]
        fn a_straight_line_is_found_exactly(
            a in -10.0f64..10.0, b in -1.0f64..1.0, n in 3u32..50
        ) {
            let x: Vec<f64> = (0..n).map(f64::from).collect();
            let y: Vec<f64> = x.iter().map(|x| a + b * x).collect();
            let fit = line(&x, &y).unwrap();
            prop_assert!((fit.slope - b).abs() < 1e-12 && (fit.intercept - a).abs() < 1e-11);
            prop_assert!(fit.residual_deviation < 1e-12);
        }

        #[test]
        fn residuals_sum_to_nothing_and_lean_to_no_side(
            y in prop::collection::vec(-10.0f64..10.0, 3..40)
        ) {
            let x: Vec<f64> = (0..y.len()).map(|i| i as f64).collect();
            let fit = line(&x, &y).unwrap();
            let r: Vec<f64> = x.iter().zip(&y).map(|(&x, y)| y - fit.at(x)).collect();
            prop_assert!(r.iter().sum::<f64>().abs() < 1e-9);
            prop_assert!(r.iter().zip(&x).map(|(r, x)| r * x).sum::<f64>().abs() < 1e-8);
            let (low, high) = fit.slope_interval(0.95).unwrap();
            prop_assert!(low <= fit.slope && fit.slope <= high);
        }

        #[test]
        fn any_readings_give_a_line_or_a_refusal(
            x in prop::collection::vec(any::<f64>(), 0..8),
            y in prop::collection::vec(any::<f64>(), 0..8),
            last in any::<f64>(), aim in any::<f64>()
        ) {
            let n = x.len().min(y.len());
            let _ = line(&x, &y);
            if let Ok(fit) = line(&x[..n], &y[..n]) {
                let _ = reset_advice(&fit, last, &ResetPlan { aim, ..plan() });
                let _ = fit.chance_of_no_slope();
            }
        }
    }
}
