//! Waiting before a machine, in closed form: single and several machines, general times.
//!
//! Times stand for rates: a piece comes every so many seconds on average, and takes so many. Any
//! unit will do, as long as both have the same; waits come out in it.

use bedplate_gauge::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};

/// Pieces that come, and machines that take them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arrivals {
    /// Mean time from one arrival to the next; above zero.
    pub interval: f64,
    /// Mean time a piece takes on the machine; above zero.
    pub service: f64,
}

/// What waits before a machine, on average over a long time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Waiting {
    /// Share of the time each machine is busy.
    pub busy: f64,
    /// Pieces waiting.
    pub waiting: f64,
    /// Pieces waiting or on a machine.
    pub present: f64,
    /// Time a piece waits.
    pub wait: f64,
    /// Time from arrival to departure.
    pub stay: f64,
}

/// Why a queue has no steady state.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum QueueError {
    /// A figure that must be above zero is not.
    #[error("{what} of {value} cannot be; it must be a number above 0")]
    NotPositive {
        /// Which figure.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// A squared coefficient of variation that cannot be.
    #[error("{what} of {value} cannot be; it must be 0 (regular) or more (1 is exponential)")]
    Variation {
        /// Which figure.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// More comes than can be taken.
    #[error(
        "the machines would have to be busy {busy:.4} of the time: the queue grows without end \
         unless it is below 1"
    )]
    Overloaded {
        /// Load as a share of the machines' time.
        busy: f64,
    },
    /// No machines.
    #[error("no machines; at least one is needed")]
    NoMachines,
}

impl From<QueueError> for Refused {
    fn from(error: QueueError) -> Self {
        let input = match error {
            QueueError::NotPositive { what, .. } | QueueError::Variation { what, .. } => what,
            QueueError::Overloaded { .. } => "service",
            QueueError::NoMachines => "machines",
        };
        Self::because(input, error.to_string())
    }
}

fn load(arrivals: Arrivals, n_machines: u32) -> Result<f64, QueueError> {
    for (what, value) in [("interval", arrivals.interval), ("service", arrivals.service)] {
        if !(0.0 < value && value.is_finite()) {
            return Err(QueueError::NotPositive { what, value });
        }
    }
    if n_machines == 0 {
        return Err(QueueError::NoMachines);
    }
    let busy = arrivals.service / arrivals.interval / f64::from(n_machines);
    if busy < 1.0 { Ok(busy) } else { Err(QueueError::Overloaded { busy }) }
}

fn variation(what: &'static str, value: f64) -> Result<(), QueueError> {
    if 0.0 <= value && value.is_finite() {
        Ok(())
    } else {
        Err(QueueError::Variation { what, value })
    }
}

/// All means from the time a piece waits, by Little's law.
fn from_wait(arrivals: Arrivals, busy: f64, wait: f64) -> Waiting {
    let stay = wait + arrivals.service;
    Waiting {
        busy,
        waiting: wait / arrivals.interval,
        present: stay / arrivals.interval,
        wait,
        stay,
    }
}

/// One machine, arrivals at random, any spread of the service time (M/G/1).
///
/// # Formula
/// `W_q = ρ/(1 − ρ) · (1 + c²)/2 · s`, `ρ = s/a`; the rest by Little's law.
/// # Given
/// Mean interval and service; squared coefficient of variation of the service: 1 exponential
/// (M/M/1), 0 regular (M/D/1).
/// # Returns
/// See [`Waiting`]; times in the unit given.
/// # Errors
/// [`QueueError`].
/// # Validity
/// Arrivals at random (Poisson), unlimited room, first come first served, steady state.
/// # Source
/// F. Pollaczek 1930, A. Khinchine 1932; L. Kleinrock, Queueing Systems (from memory).
/// # Example
/// ```
/// use bedplate_shop::queue::{Arrivals, single_machine};
/// // Textbook M/M/1: 4 an hour come, 5 an hour can be done; 4 are present, each stays one hour.
/// let queue = single_machine(Arrivals { interval: 0.25, service: 0.2 }, 1.0)?;
/// assert!((queue.present - 4.0).abs() < 1e-12 && (queue.stay - 1.0).abs() < 1e-12);
/// # Ok::<(), bedplate_shop::queue::QueueError>(())
/// ```
pub fn single_machine(arrivals: Arrivals, service_variation: f64) -> Result<Waiting, QueueError> {
    variation("service_variation", service_variation)?;
    let busy = load(arrivals, 1)?;
    let wait = busy / (1.0 - busy) * (1.0 + service_variation) / 2.0 * arrivals.service;
    Ok(from_wait(arrivals, busy, wait))
}

/// Probability that so many pieces or more are at a machine (M/M/1).
///
/// # Formula
/// `P(n ≥ k) = ρ^k`.
/// # Given
/// Mean interval and service; the number `k`.
/// # Returns
/// Probability, 0 to 1.
/// # Errors
/// [`QueueError`].
/// # Validity
/// Arrivals and service both exponential.
/// # Source
/// L. Kleinrock, Queueing Systems (from memory).
pub fn at_least_present(arrivals: Arrivals, k: u32) -> Result<f64, QueueError> {
    Ok(load(arrivals, 1)?.powf(f64::from(k)))
}

/// Several like machines with one queue (M/M/c).
///
/// # Formula
/// Erlang's loss `B_0 = 1`, `B_k = A B_{k−1}/(k + A B_{k−1})` with `A = s/a`; probability to wait
/// `C = B_c/(1 − ρ(1 − B_c))`; `W_q = C s/(c − A)`.
/// # Given
/// Mean interval and service; machines, one or more.
/// # Returns
/// Probability that a piece has to wait, and the means.
/// # Errors
/// [`QueueError`].
/// # Validity
/// Arrivals and service both exponential, unlimited room.
/// # Source
/// A. K. Erlang 1917 (from memory); recursion in the usual form.
/// # Example
/// ```
/// use bedplate_shop::queue::{Arrivals, several_machines};
/// // Closed form: 10 come in the time in which each of 3 machines can do 4.
/// let (p_wait, queue) = several_machines(Arrivals { interval: 0.1, service: 0.25 }, 3)?;
/// assert_eq!(format!("{p_wait:.6} {:.6}", queue.waiting), "0.702247 3.511236");
/// # Ok::<(), bedplate_shop::queue::QueueError>(())
/// ```
pub fn several_machines(arrivals: Arrivals, n_machines: u32) -> Result<(f64, Waiting), QueueError> {
    let busy = load(arrivals, n_machines)?;
    let offered = arrivals.service / arrivals.interval;
    let loss =
        (1..=n_machines).fold(1.0, |loss, k| offered * loss / (f64::from(k) + offered * loss));
    let p_wait = loss / (1.0 - busy * (1.0 - loss));
    let wait = p_wait * arrivals.service / (f64::from(n_machines) - offered);
    Ok((p_wait, from_wait(arrivals, busy, wait)))
}

/// Squared coefficients of variation: variance over the square of the mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Variations {
    /// Of the time between arrivals.
    pub arrivals: f64,
    /// Of the service time.
    pub service: f64,
}

/// One machine, any spread of arrivals and service (GI/G/1), approximately.
///
/// # Formula
/// `W_q ≈ ρ/(1 − ρ) · (c_a² + c_s²)/2 · s`.
/// # Given
/// Mean interval and service; squared coefficients of variation.
/// # Returns
/// See [`Waiting`].
/// # Errors
/// [`QueueError`].
/// # Validity
/// An approximation for heavy load; exact for M/G/1. Poor for regular arrivals at light load.
/// # Source
/// J. F. C. Kingman 1961.
/// # Example
/// ```
/// use bedplate_shop::queue::{Arrivals, Variations, heavy_traffic};
/// // Arithmetic from the formula: ρ = 0.9, mean service 2.
/// let arrivals = Arrivals { interval: 2.0 / 0.9, service: 2.0 };
/// let queue = heavy_traffic(arrivals, Variations { arrivals: 0.6, service: 0.4 })?;
/// assert_eq!(format!("{:.6}", queue.wait), "9.000000");
/// # Ok::<(), bedplate_shop::queue::QueueError>(())
/// ```
pub fn heavy_traffic(arrivals: Arrivals, spread: Variations) -> Result<Waiting, QueueError> {
    variation("arrival_variation", spread.arrivals)?;
    variation("service_variation", spread.service)?;
    let busy = load(arrivals, 1)?;
    let mean_variation = f64::midpoint(spread.arrivals, spread.service);
    Ok(from_wait(arrivals, busy, busy / (1.0 - busy) * mean_variation * arrivals.service))
}

/// Pieces in a line from its output and the time a piece spends in it.
///
/// # Formula
/// `L = λ W`.
/// # Given
/// Output in pieces a unit of time, and the mean time in the line in that unit.
/// # Returns
/// Pieces.
/// # Validity
/// Any system in steady state.
/// # Source
/// J. D. C. Little 1961.
/// # Example
/// ```
/// // Arithmetic: 180 an hour, 14.5 min.
/// assert_eq!(bedplate_shop::queue::pieces_in_line(180.0, 14.5 / 60.0), 43.5);
/// ```
#[must_use]
pub fn pieces_in_line(output: f64, time_in_line: f64) -> f64 {
    output * time_in_line
}

const INTERVAL: Input =
    Input::quantity("interval", "s", "mean time from one arrival to the next").over(0.0);
const SERVICE: Input =
    Input::quantity("service", "s", "mean time a piece takes on the machine").over(0.0);
const SERVICE_VARIATION: Input = Input::quantity(
    "service_variation",
    "",
    "squared coefficient of variation of the service: 1 exponential, 0 regular",
)
.at_least(0.0);
const BUSY: Output = Output::figure("busy", "", "share of the time each machine is busy");
const WAITING: Output = Output::figure("waiting", "", "pieces waiting");
const PRESENT: Output = Output::figure("present", "", "pieces waiting or on a machine");
const WAIT: Output = Output::figure("wait", "s", "time a piece waits");
const STAY: Output = Output::figure("stay", "s", "from arrival to departure");

fn arrivals_of(given: &Given) -> Arrivals {
    Arrivals { interval: given.number("interval"), service: given.number("service") }
}

fn with_means(answer: Answer, queue: &Waiting) -> Answer {
    answer
        .figure("busy", queue.busy)
        .figure("waiting", queue.waiting)
        .figure("present", queue.present)
        .figure("wait", queue.wait)
        .figure("stay", queue.stay)
}

/// Declaration of [`single_machine`] and [`at_least_present`].
pub const QUEUE_ONE: Calculation = Calculation {
    name: "queue-one-machine",
    title: "Queue before one machine, exponential times (M/M/1)",
    stage: Stage::Flow,
    question: "How many pieces wait before this machine, and how long?",
    inputs: &[
        INTERVAL,
        SERVICE,
        Input::count("places", "how often are so many or more present?").at_most(1e6).or("5"),
    ],
    outputs: &[
        BUSY,
        WAITING,
        PRESENT,
        WAIT,
        STAY,
        Output::figure("at_least_places", "", "probability that so many or more are present"),
    ],
    formula: "ρ = s/a; L = ρ/(1 − ρ); W = s/(1 − ρ); P(n ≥ k) = ρ^k",
    source: "L. Kleinrock, Queueing Systems (from memory)",
    validity: "Arrivals and service at random, unlimited room, steady state.",
    example: &[("interval", "0.25 h"), ("service", "0.2 h"), ("places", "5")],
    expected: &[
        ("busy", "0.8"),
        ("waiting", "3.2"),
        ("present", "4.0"),
        ("wait", "2880"),
        ("stay", "3600"),
        ("at_least_places", "0.32768"),
    ],
    run: |given| {
        let arrivals = arrivals_of(given);
        let queue = single_machine(arrivals, 1.0)?;
        let k = u32::try_from(given.count("places")).unwrap_or(u32::MAX);
        Ok(with_means(Answer::new(), &queue)
            .figure("at_least_places", at_least_present(arrivals, k)?))
    },
};

/// Declaration of [`single_machine`] with any service time.
pub const QUEUE_GENERAL: Calculation = Calculation {
    name: "queue-general-service",
    title: "Queue before one machine, any service time (M/G/1)",
    stage: Stage::Flow,
    question: "How long do pieces wait before a machine whose time is more or less regular?",
    inputs: &[INTERVAL, SERVICE, SERVICE_VARIATION.or("1")],
    outputs: &[BUSY, WAITING, PRESENT, WAIT, STAY],
    formula: "W_q = ρ/(1 − ρ) (1 + c²)/2 s; L = W/a",
    source: "F. Pollaczek 1930, A. Khinchine 1932",
    validity: "Arrivals at random, unlimited room, steady state.",
    example: &[("interval", "20 s"), ("service", "16 s"), ("service_variation", "0.25")],
    expected: &[
        ("busy", "0.8"),
        ("waiting", "2.0"),
        ("present", "2.8"),
        ("wait", "40.0"),
        ("stay", "56.0"),
    ],
    run: |given| {
        let queue = single_machine(arrivals_of(given), given.number("service_variation"))?;
        Ok(with_means(Answer::new(), &queue))
    },
};

/// Declaration of [`several_machines`].
pub const QUEUE_SEVERAL: Calculation = Calculation {
    name: "queue-several-machines",
    title: "Queue before several machines (M/M/c)",
    stage: Stage::Flow,
    question: "How often and how long do pieces wait for one of several like machines?",
    inputs: &[
        INTERVAL,
        SERVICE,
        Input::count("machines", "like machines with one queue").at_least(1.0).at_most(100_000.0),
    ],
    outputs: &[
        Output::figure("p_wait", "", "probability that a piece has to wait"),
        BUSY,
        WAITING,
        PRESENT,
        WAIT,
        STAY,
    ],
    formula: "B_k = A B_{k−1}/(k + A B_{k−1}); C = B/(1 − ρ(1 − B)); W_q = C s/(c − A)",
    source: "A. K. Erlang 1917 (from memory)",
    validity: "Arrivals and service at random, unlimited room, steady state.",
    example: &[("interval", "0.1 s"), ("service", "0.25 s"), ("machines", "3")],
    expected: &[("p_wait", "0.702247191"), ("waiting", "3.51123596"), ("wait", "0.351123596")],
    run: |given| {
        let n_machines = u32::try_from(given.count("machines")).unwrap_or(u32::MAX);
        let (p_wait, queue) = several_machines(arrivals_of(given), n_machines)?;
        Ok(with_means(Answer::new().figure("p_wait", p_wait), &queue))
    },
};

/// Declaration of [`heavy_traffic`].
pub const QUEUE_HEAVY: Calculation = Calculation {
    name: "queue-heavy-traffic",
    title: "Queue before one machine, any times (GI/G/1, approximate)",
    stage: Stage::Flow,
    question: "About how long do pieces wait before a busy machine?",
    inputs: &[
        INTERVAL,
        SERVICE,
        Input::quantity(
            "arrival_variation",
            "",
            "squared coefficient of variation of the time between arrivals",
        )
        .at_least(0.0),
        SERVICE_VARIATION,
    ],
    outputs: &[BUSY, WAITING, PRESENT, WAIT, STAY],
    formula: "W_q ≈ ρ/(1 − ρ) (c_a² + c_s²)/2 s",
    source: "J. F. C. Kingman 1961; example arithmetic from the formula",
    validity: "An approximation for heavy load; poor for regular arrivals at light load.",
    example: &[
        ("interval", "2.2222222222 s"),
        ("service", "2 s"),
        ("arrival_variation", "0.6"),
        ("service_variation", "0.4"),
    ],
    expected: &[("busy", "0.9"), ("wait", "9.0000")],
    run: |given| {
        let spread = Variations {
            arrivals: given.number("arrival_variation"),
            service: given.number("service_variation"),
        };
        Ok(with_means(Answer::new(), &heavy_traffic(arrivals_of(given), spread)?))
    },
};

/// Declaration of [`pieces_in_line`].
pub const PIECES_IN_LINE: Calculation = Calculation {
    name: "pieces-in-line",
    title: "Pieces in a line",
    stage: Stage::Flow,
    question: "How many pieces are in the line, and how long is a piece in it?",
    inputs: &[
        Input::quantity("output", "pieces/h", "pieces an hour").at_least(0.0),
        Input::quantity("time_in_line", "min", "mean time a piece spends in the line")
            .at_least(0.0),
    ],
    outputs: &[Output::figure("pieces", "", "pieces in the line")],
    formula: "L = λ W",
    source: "J. D. C. Little 1961",
    validity: "Any system in steady state.",
    example: &[("output", "180 pieces/h"), ("time_in_line", "14.5 min")],
    expected: &[("pieces", "43.5")],
    run: |given| {
        let hours = given.number("time_in_line") / 60.0;
        Ok(Answer::new().figure("pieces", pieces_in_line(given.number("output"), hours)))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_full_machine_has_no_steady_state() {
        let full = Arrivals { interval: 1.0, service: 1.0 };
        assert!(matches!(single_machine(full, 1.0), Err(QueueError::Overloaded { .. })));
        assert!(single_machine(Arrivals { service: 0.999_999, ..full }, 1.0).is_ok());
        assert!(single_machine(Arrivals { interval: f64::NAN, ..full }, 1.0).is_err());
        assert!(matches!(several_machines(full, 0), Err(QueueError::NoMachines)));
        let half = Arrivals { service: 0.5, ..full };
        assert!(matches!(single_machine(half, -0.1), Err(QueueError::Variation { .. })));
    }

    #[test]
    fn a_thousand_machines_do_not_overflow() {
        let (p_wait, queue) =
            several_machines(Arrivals { interval: 0.001, service: 0.95 }, 1000).unwrap();
        assert!(0.0 < p_wait && p_wait < 1.0 && queue.wait.is_finite());
    }

    proptest! {
        #[test]
        fn one_of_several_is_the_single_machine(a in 1.0..10.0f64, share in 0.05..0.95f64) {
            let arrivals = Arrivals { interval: a, service: a * share };
            let (p_wait, several) = several_machines(arrivals, 1).unwrap();
            let single = single_machine(arrivals, 1.0).unwrap();
            prop_assert!((p_wait - share).abs() < 1e-9);
            prop_assert!((several.wait / single.wait - 1.0).abs() < 1e-9);
        }

        #[test]
        fn the_unit_of_time_does_not_matter_and_random_arrivals_are_exact(
            a in 1.0..10.0f64, share in 0.05..0.95f64, c in 0.0..3.0f64, scale in 0.1..10.0f64,
        ) {
            let arrivals = Arrivals { interval: a, service: a * share };
            let scaled = Arrivals { interval: a * scale, service: a * share * scale };
            let queue = single_machine(arrivals, c).unwrap();
            let other = single_machine(scaled, c).unwrap();
            prop_assert!((other.present - queue.present).abs() < 1e-9 * queue.present);
            prop_assert!((other.wait - scale * queue.wait).abs() <= 1e-9 * other.wait);
            let spread = Variations { arrivals: 1.0, service: c };
            let heavy = heavy_traffic(arrivals, spread).unwrap();
            prop_assert!((heavy.wait - queue.wait).abs() <= 1e-12 * queue.wait);
        }
    }
}
