//! How long an edge lasts, and the speed that makes the most pieces or the cheapest.

use bedplate_gauge::calculation::{Answer, Calculation, Input, Output, Refused, Stage};

/// A cutting test: the life an edge had at a speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LifeTest {
    /// Cutting speed, m/min.
    pub speed_m_min: f64,
    /// Life of the edge, min.
    pub life_min: f64,
}

/// F. W. Taylor's line `V T^n = C`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TaylorLine {
    /// Exponent n, between 0 and 1.
    n: f64,
    /// Speed for a life of one minute, m/min.
    c_m_min: f64,
}

/// Why a tool life cannot be computed.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ToolLifeError {
    /// An exponent or a constant that cannot be.
    #[error("no line with n = {n} and C = {c_m_min} m/min: n lies between 0 and 1, C above 0")]
    Line {
        /// Exponent.
        n: f64,
        /// Constant, m/min.
        c_m_min: f64,
    },
    /// Two tests that give no line.
    #[error("the tests give no line: the faster one must have the shorter life, both above 0")]
    Tests,
    /// A time, speed or cost that cannot be.
    #[error("{what} of {value} cannot be; it must be {wanted}")]
    Figure {
        /// Which figure.
        what: &'static str,
        /// What was given.
        value: f64,
        /// What would have been right.
        wanted: &'static str,
    },
}

impl From<ToolLifeError> for Refused {
    fn from(error: ToolLifeError) -> Self {
        let input = match error {
            ToolLifeError::Line { .. } => "n",
            ToolLifeError::Tests => "speed_2",
            ToolLifeError::Figure { what, .. } => what,
        };
        Self::because(input, error.to_string())
    }
}

impl TaylorLine {
    /// A line from its exponent and constant.
    ///
    /// # Errors
    /// [`ToolLifeError::Line`] unless `0 < n < 1` and `C > 0`.
    pub fn new(n: f64, c_m_min: f64) -> Result<Self, ToolLifeError> {
        if 0.0 < n && n < 1.0 && 0.0 < c_m_min && c_m_min.is_finite() {
            Ok(Self { n, c_m_min })
        } else {
            Err(ToolLifeError::Line { n, c_m_min })
        }
    }

    /// The line through two tests.
    ///
    /// # Formula
    /// `n = ln(v₂/v₁)/ln(T₁/T₂)`, `C = v₁ T₁^n`.
    /// # Given
    /// Two tests of one tool, work, feed and depth, with different speeds.
    /// # Returns
    /// The line.
    /// # Errors
    /// [`ToolLifeError::Tests`] where the faster test does not have the shorter life;
    /// [`ToolLifeError::Line`] where the exponent is 1 or more.
    /// # Validity
    /// Between and near the two speeds; both tests to the same wear.
    /// # Source
    /// F. W. Taylor 1907; the example's figures are a much-printed textbook example (from memory).
    /// # Example
    /// ```
    /// use bedplate_shop::tool_life::{LifeTest, TaylorLine};
    /// let line = TaylorLine::through(
    ///     LifeTest { speed_m_min: 100.0, life_min: 41.0 },
    ///     LifeTest { speed_m_min: 160.0, life_min: 5.0 },
    /// )?;
    /// assert_eq!(format!("{:.3} {:.0}", line.n(), line.c_m_min()), "0.223 229");
    /// # Ok::<(), bedplate_shop::tool_life::ToolLifeError>(())
    /// ```
    pub fn through(one: LifeTest, other: LifeTest) -> Result<Self, ToolLifeError> {
        let sound = |t: LifeTest| {
            0.0 < t.speed_m_min
                && t.speed_m_min.is_finite()
                && 0.0 < t.life_min
                && t.life_min.is_finite()
        };
        let n = (other.speed_m_min / one.speed_m_min).ln() / (one.life_min / other.life_min).ln();
        if sound(one) && sound(other) && 0.0 < n && n.is_finite() {
            Self::new(n, one.speed_m_min * one.life_min.powf(n))
        } else {
            Err(ToolLifeError::Tests)
        }
    }

    /// The exponent.
    #[must_use]
    pub const fn n(&self) -> f64 {
        self.n
    }

    /// The constant: the speed for a life of one minute, m/min.
    #[must_use]
    pub const fn c_m_min(&self) -> f64 {
        self.c_m_min
    }

    /// Life of an edge at a speed, min: `T = (C/v)^(1/n)`. The speed must be above zero.
    #[must_use]
    pub fn life_min(&self, speed_m_min: f64) -> f64 {
        (self.c_m_min / speed_m_min).powf(1.0 / self.n)
    }

    /// Speed that gives a life, m/min: `v = C/T^n`. The life must be above zero.
    #[must_use]
    pub fn speed_m_min(&self, life_min: f64) -> f64 {
        self.c_m_min / life_min.powf(self.n)
    }
}

/// What changing an edge costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgeCost {
    /// Time to change the edge, min; above zero.
    pub change_min: f64,
    /// Cost of a minute of machine and setter, money.
    pub minute_cost: f64,
    /// Cost of one edge, money; 0 or more.
    pub edge_cost: f64,
}

/// Lives and speeds that are best.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BestSpeed {
    /// For most pieces.
    pub most_pieces: LifeTest,
    /// For least cost.
    pub least_cost: LifeTest,
}

/// Speeds for most pieces and for least cost.
///
/// # Formula
/// Most pieces `T = (1/n − 1) t_c`; least cost `T = (1/n − 1)(t_c + C_t/C_o)`; `v = C/T^n`.
/// # Given
/// The tool's line; time to change an edge in min above zero; cost of a minute above zero; cost of
/// an edge, 0 or more.
/// # Returns
/// Life and speed for each aim. Between them lies every reasonable choice.
/// # Errors
/// [`ToolLifeError::Figure`].
/// # Validity
/// Taylor's line holds at those speeds; the machine can run them.
/// # Source
/// W. W. Gilbert 1950 (from memory).
/// # Example
/// ```
/// use bedplate_shop::tool_life::{EdgeCost, TaylorLine, best_speed};
/// let line = TaylorLine::new(0.125, 70.0)?;
/// let cost = EdgeCost { change_min: 2.0, minute_cost: 0.5, edge_cost: 1.5 };
/// let best = best_speed(line, cost)?;
/// // Closed form.
/// assert_eq!(format!("{:.4}", best.least_cost.speed_m_min), "44.8838");
/// # Ok::<(), bedplate_shop::tool_life::ToolLifeError>(())
/// ```
pub fn best_speed(line: TaylorLine, cost: EdgeCost) -> Result<BestSpeed, ToolLifeError> {
    for (what, value) in [("change", cost.change_min), ("hour_cost", cost.minute_cost)] {
        if !(0.0 < value && value.is_finite()) {
            return Err(ToolLifeError::Figure { what, value, wanted: "a number above 0" });
        }
    }
    let value = cost.edge_cost;
    if !(0.0 <= value && value.is_finite()) {
        return Err(ToolLifeError::Figure { what: "edge_cost", value, wanted: "0 or more" });
    }
    let lever = 1.0 / line.n - 1.0;
    let at = |life_min: f64| LifeTest { speed_m_min: line.speed_m_min(life_min), life_min };
    Ok(BestSpeed {
        most_pieces: at(lever * cost.change_min),
        least_cost: at(lever * (cost.change_min + cost.edge_cost / cost.minute_cost)),
    })
}

/// Declaration of [`TaylorLine::through`].
pub const TOOL_LIFE: Calculation = Calculation {
    name: "tool-life",
    title: "Tool life from two tests",
    stage: Stage::Plan,
    question: "How long does the edge last at this speed, and at what speed does it last so long?",
    inputs: &[
        Input::quantity("speed_1", "m/min", "speed of the first test").over(0.0),
        Input::quantity("life_1", "min", "life of the edge there").over(0.0),
        Input::quantity("speed_2", "m/min", "speed of the second test").over(0.0),
        Input::quantity("life_2", "min", "life of the edge there").over(0.0),
        Input::quantity("speed", "m/min", "speed at which the life is wanted").over(0.0),
        Input::quantity("life", "min", "life at which the speed is wanted").over(0.0),
    ],
    outputs: &[
        Output::figure("n", "", "exponent"),
        Output::figure("c", "m/min", "speed for a life of one minute"),
        Output::figure("life_at_speed", "min", "life at the speed asked for"),
        Output::figure("speed_at_life", "m/min", "speed for the life asked for"),
    ],
    formula: "V T^n = C; n = ln(v₂/v₁)/ln(T₁/T₂)",
    source: "F. W. Taylor 1907; example a much-printed textbook one (from memory)",
    validity: "Between and near the two speeds; both tests to the same wear.",
    example: &[
        ("speed_1", "100 m/min"),
        ("life_1", "41 min"),
        ("speed_2", "160 m/min"),
        ("life_2", "5 min"),
        ("speed", "130 m/min"),
        ("life", "60 min"),
    ],
    expected: &[
        ("n", "0.223371513"),
        ("c", "229.218660"),
        ("life_at_speed", "12.6670926"),
        ("speed_at_life", "91.8462936"),
    ],
    run: |given| {
        let test = |speed, life| LifeTest {
            speed_m_min: given.number(speed),
            life_min: given.number(life),
        };
        let line = TaylorLine::through(test("speed_1", "life_1"), test("speed_2", "life_2"))?;
        Ok(Answer::new()
            .figure("n", line.n())
            .figure("c", line.c_m_min())
            .figure("life_at_speed", line.life_min(given.number("speed")))
            .figure("speed_at_life", line.speed_m_min(given.number("life"))))
    },
};

/// Declaration of [`best_speed`].
pub const BEST_SPEED: Calculation = Calculation {
    name: "best-cutting-speed",
    title: "Speed for most pieces and for least cost",
    stage: Stage::Plan,
    question: "At what speed does this tool make the most pieces, and at what the cheapest?",
    inputs: &[
        Input::quantity("n", "", "exponent of the tool's line").over(0.0).under(1.0),
        Input::quantity("c", "m/min", "speed for a life of one minute").over(0.0),
        Input::quantity("change", "min", "time to change the edge").over(0.0),
        Input::quantity("hour_cost", "money", "cost of an hour of machine and setter").over(0.0),
        Input::quantity("edge_cost", "money", "cost of one edge").at_least(0.0).or("0 money"),
    ],
    outputs: &[
        Output::figure("life_most_pieces", "min", "life for most pieces"),
        Output::figure("speed_most_pieces", "m/min", "speed for most pieces"),
        Output::figure("life_least_cost", "min", "life for least cost"),
        Output::figure("speed_least_cost", "m/min", "speed for least cost"),
    ],
    formula: "T = (1/n − 1) t_c; T = (1/n − 1)(t_c + C_t/C_o); v = C/T^n",
    source: "W. W. Gilbert 1950 (from memory); example closed form",
    validity: "The line holds at those speeds and the machine can run them.",
    example: &[
        ("n", "0.125"),
        ("c", "70 m/min"),
        ("change", "2 min"),
        ("hour_cost", "30 money"),
        ("edge_cost", "1.5 money"),
    ],
    expected: &[
        ("life_most_pieces", "14.0"),
        ("speed_most_pieces", "50.3305916"),
        ("life_least_cost", "35.0"),
        ("speed_least_cost", "44.8837913"),
    ],
    run: |given| {
        let line = TaylorLine::new(given.number("n"), given.number("c"))?;
        let best = best_speed(
            line,
            EdgeCost {
                change_min: given.number("change"),
                minute_cost: given.number("hour_cost") / 60.0,
                edge_cost: given.number("edge_cost"),
            },
        )?;
        Ok(Answer::new()
            .figure("life_most_pieces", best.most_pieces.life_min)
            .figure("speed_most_pieces", best.most_pieces.speed_m_min)
            .figure("life_least_cost", best.least_cost.life_min)
            .figure("speed_least_cost", best.least_cost.speed_m_min))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn lines_that_cannot_be_are_refused() {
        assert!(TaylorLine::new(0.0, 100.0).is_err());
        assert!(TaylorLine::new(1.0, 100.0).is_err());
        assert!(TaylorLine::new(f64::NAN, 100.0).is_err());
        let at = |speed_m_min, life_min| LifeTest { speed_m_min, life_min };
        let slower_dies_first = TaylorLine::through(at(100.0, 5.0), at(160.0, 41.0));
        assert_eq!(slower_dies_first, Err(ToolLifeError::Tests));
        assert_eq!(TaylorLine::through(at(100.0, 5.0), at(100.0, 5.0)), Err(ToolLifeError::Tests));
        assert!(TaylorLine::through(at(f64::NAN, 5.0), at(100.0, 4.0)).is_err());
        let line = TaylorLine::new(0.2, 200.0).unwrap();
        let free = EdgeCost { change_min: 1.0, minute_cost: 0.0, edge_cost: 1.0 };
        assert!(matches!(best_speed(line, free), Err(ToolLifeError::Figure { .. })));
    }

    proptest! {
        #[test]
        fn speed_and_life_undo_each_other(
            n in 0.1..0.6f64, c in 50.0..900.0f64, v in 20.0..400.0f64,
        ) {
            let line = TaylorLine::new(n, c).unwrap();
            let there_and_back = line.speed_m_min(line.life_min(v));
            prop_assert!((there_and_back / v - 1.0).abs() < 1e-9);
        }

        #[test]
        fn no_other_life_is_cheaper(
            n in 0.1..0.6f64, change_min in 0.5..10.0f64, edge_cost in 0.0..20.0f64,
            off in 0.5..2.0f64,
        ) {
            let line = TaylorLine::new(n, 200.0).unwrap();
            let minute_cost = 0.5;
            let best = best_speed(line, EdgeCost { change_min, minute_cost, edge_cost }).unwrap();
            // Cost of one metre of cut: machine time plus the share of a change and an edge.
            let cost = |life_min: f64| {
                let each_min = 1.0 / line.speed_m_min(life_min);
                each_min * (minute_cost + (change_min * minute_cost + edge_cost) / life_min)
            };
            let least = best.least_cost.life_min;
            prop_assert!(cost(least) <= cost(least * off) * (1.0 + 1e-12));
            prop_assert!(best.most_pieces.speed_m_min >= best.least_cost.speed_m_min);
        }
    }
}
