//! What a line of machines with exponential times and small stores gives when the first machine
//! never waits for work and the last never for room: every state, solved exactly.
//!
//! For the output of a line with other times, breakdowns and large stores a simulation is needed;
//! this is the case it must agree with.

use std::collections::HashMap;

use bedplate_gauge::calculation::{Answer, Calculation, Column, Input, Output, Refused, Stage};

/// A line of single machines with a store between each two.
#[derive(Debug, Clone, PartialEq)]
pub struct SaturatedLine {
    /// Mean time of each machine for a piece, any unit; each above zero.
    pub times: Vec<f64>,
    /// Places between each machine and the next: one fewer than machines.
    pub places: Vec<u32>,
}

/// What the line gives.
#[derive(Debug, Clone, PartialEq)]
pub struct LineOutput {
    /// Pieces a unit of time.
    pub output: f64,
    /// Pieces in the line, on average.
    pub pieces: f64,
    /// Share of the time each machine works.
    pub working: Vec<f64>,
    /// Share of the time each machine has a finished piece it cannot pass on.
    pub blocked: Vec<f64>,
    /// Share of the time each machine waits for work.
    pub starved: Vec<f64>,
    /// How many states were solved.
    pub n_states: usize,
}

/// Most states solved; beyond it the exact answer takes too long.
pub const MOST_STATES: usize = 1000;

/// Why a line cannot be solved.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum SaturatedError {
    /// No machines, or stores that do not stand between them.
    #[error(
        "{n_machines} machines and {n_stores} stores; there must be one store fewer than machines"
    )]
    Shape {
        /// Machines.
        n_machines: usize,
        /// Stores.
        n_stores: usize,
    },
    /// A time that cannot be.
    #[error("machine {machine} takes {time}, which cannot be; it must be above 0")]
    Time {
        /// Which machine, counted from 1.
        machine: usize,
        /// Its time.
        time: f64,
    },
    /// Too many states.
    #[error("the line has more than {most} states; simulate it instead", most = MOST_STATES)]
    TooMany,
}

impl From<SaturatedError> for Refused {
    fn from(error: SaturatedError) -> Self {
        let input = match error {
            SaturatedError::Time { .. } => "times",
            SaturatedError::Shape { .. } | SaturatedError::TooMany => "places",
        };
        Self::because(input, error.to_string())
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum Machine {
    Starved,
    Working,
    Blocked,
}

/// What every machine does and how many pieces lie in every store.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
struct State {
    machines: Vec<Machine>,
    stored: Vec<u32>,
}

impl State {
    /// Moves pieces on until nothing more can move: from the end of the line, so that room made
    /// there is felt before.
    fn settle(&mut self, places: &[u32]) {
        let last = self.machines.len() - 1;
        let mut moved = true;
        while moved {
            moved = false;
            for i in (0..=last).rev() {
                if i < last && self.machines[i] == Machine::Blocked && self.stored[i] < places[i] {
                    self.stored[i] += 1;
                    self.machines[i] = Machine::Starved;
                    moved = true;
                }
                if self.machines[i] == Machine::Starved && self.take(i) {
                    self.machines[i] = Machine::Working;
                    moved = true;
                }
            }
        }
    }

    /// Whether a piece could be taken for machine `i`: the first always finds one.
    fn take(&mut self, i: usize) -> bool {
        if i == 0 {
            return true;
        }
        if self.stored[i - 1] > 0 {
            self.stored[i - 1] -= 1;
            return true;
        }
        if self.machines[i - 1] == Machine::Blocked {
            self.machines[i - 1] = Machine::Starved;
            return true;
        }
        false
    }

    /// The state after machine `i` has finished its piece.
    fn after(&self, i: usize, places: &[u32]) -> Self {
        let mut next = self.clone();
        let last = self.machines.len() - 1;
        next.machines[i] = if i == last { Machine::Starved } else { Machine::Blocked };
        next.settle(places);
        next
    }

    fn pieces(&self) -> f64 {
        let held = self.machines.iter().filter(|m| **m != Machine::Starved).count();
        #[expect(clippy::cast_precision_loss, reason = "a count of machines")]
        let held = held as f64;
        held + self.stored.iter().map(|n| f64::from(*n)).sum::<f64>()
    }
}

/// Output and mean contents of a saturated line.
///
/// # Formula
/// All states of machines (starved, working, blocked) and stores; `π Q = 0`, `Σ π = 1`; output
/// `Σ π μ_m [last works]`.
/// # Given
/// See [`SaturatedLine`].
/// # Returns
/// Output in pieces a unit of time, pieces in the line, shares of the time.
/// # Errors
/// [`SaturatedError`].
/// # Validity
/// Exponential times, blocking after service, no breakdowns.
/// # Source
/// G. C. Hunt 1956; stationary probabilities without subtraction after W. K. Grassmann, M. I.
/// Taksar and D. P. Heyman 1985 (from memory).
/// # Example
/// ```
/// use bedplate_shop::saturated::{SaturatedLine, solve_line};
/// // G. C. Hunt 1956 (from memory): three like machines without stores give 22/39.
/// let line = SaturatedLine { times: vec![1.0; 3], places: vec![0; 2] };
/// assert!((solve_line(&line)?.output - 22.0 / 39.0).abs() < 1e-12);
/// # Ok::<(), bedplate_shop::saturated::SaturatedError>(())
/// ```
pub fn solve_line(line: &SaturatedLine) -> Result<LineOutput, SaturatedError> {
    let SaturatedLine { times, places } = line;
    let (n_machines, n_stores) = (times.len(), places.len());
    if n_machines == 0 || n_stores != n_machines - 1 {
        return Err(SaturatedError::Shape { n_machines, n_stores });
    }
    if let Some(i) = times.iter().position(|t| !(0.0 < *t && t.is_finite())) {
        return Err(SaturatedError::Time { machine: i + 1, time: times[i] });
    }
    let (states, steps) = walk(line)?;
    let chance = stationary(states.len(), &steps);
    let share = |i: usize, wanted: Machine| -> f64 {
        states.iter().zip(&chance).filter(|(s, _)| s.machines[i] == wanted).map(|(_, p)| p).sum()
    };
    let shares = |wanted| (0..n_machines).map(|i| share(i, wanted)).collect::<Vec<f64>>();
    let working = shares(Machine::Working);
    Ok(LineOutput {
        output: working[n_machines - 1] / times[n_machines - 1],
        pieces: states.iter().zip(&chance).map(|(s, p)| s.pieces() * p).sum(),
        working,
        blocked: shares(Machine::Blocked),
        starved: shares(Machine::Starved),
        n_states: states.len(),
    })
}

/// A step from one state to another, by their places, and how often it is taken.
type Step = (usize, usize, f64);

/// Every state the line can come to, and the steps from one to another.
fn walk(line: &SaturatedLine) -> Result<(Vec<State>, Vec<Step>), SaturatedError> {
    let mut first = State {
        machines: vec![Machine::Starved; line.times.len()],
        stored: vec![0; line.places.len()],
    };
    first.settle(&line.places);
    let mut place_of = HashMap::from([(first.clone(), 0)]);
    let mut states = vec![first];
    let mut steps = Vec::new();
    let mut from = 0;
    while from < states.len() {
        for (i, time) in line.times.iter().enumerate() {
            if states[from].machines[i] != Machine::Working {
                continue;
            }
            let next = states[from].after(i, &line.places);
            let to = *place_of.entry(next).or_insert_with_key(|next| {
                states.push(next.clone());
                states.len() - 1
            });
            steps.push((from, to, 1.0 / time));
        }
        if states.len() > MOST_STATES {
            return Err(SaturatedError::TooMany);
        }
        from += 1;
    }
    Ok((states, steps))
}

/// Stationary probabilities by taking out one state after another; only sums, products and
/// quotients of positive numbers, so that no digits are lost.
fn stationary(n: usize, steps: &[Step]) -> Vec<f64> {
    let mut rate = vec![vec![0.0; n]; n];
    for &(from, to, r) in steps {
        if from != to {
            rate[from][to] += r;
        }
    }
    for out in (1..n).rev() {
        let (kept, rest) = rate.split_at_mut(out);
        let leaving = &rest[0][..out];
        let total: f64 = leaving.iter().sum();
        for (i, row) in kept.iter_mut().enumerate() {
            let share = row[out] / total;
            row[out] = share;
            if share > 0.0 {
                for (j, r) in leaving.iter().enumerate() {
                    if i != j {
                        row[j] += share * r;
                    }
                }
            }
        }
    }
    let mut chance = vec![1.0];
    while chance.len() < n {
        let next = chance.len();
        chance.push(chance.iter().zip(&rate).map(|(p, row)| p * row[next]).sum());
    }
    let whole: f64 = chance.iter().sum();
    chance.iter_mut().for_each(|p| *p /= whole);
    chance
}

const SHARES: &[Column] = &[
    Column { name: "machine", unit: "", meaning: "machine, counted from 1" },
    Column { name: "working", unit: "%", meaning: "share of the time it works" },
    Column { name: "blocked", unit: "%", meaning: "share of the time it cannot pass its piece on" },
    Column { name: "starved", unit: "%", meaning: "share of the time it waits for work" },
];

/// Declaration of [`solve_line`].
pub const SATURATED_LINE: Calculation = Calculation {
    name: "saturated-line",
    title: "Output of a short line with small stores, exactly",
    stage: Stage::Flow,
    question: "How much does a line lose because its machines wait for each other?",
    inputs: &[
        Input::list("times", "s", "mean time of each machine for a piece").over(0.0),
        Input::list("places", "", "places between each machine and the next").at_least(0.0),
    ],
    outputs: &[
        Output::figure("output", "pieces/h", "pieces an hour"),
        Output::figure("against_slowest", "%", "output against the slowest machine alone"),
        Output::figure("pieces", "", "pieces in the line, on average"),
        Output::figure("shares", "", "what each machine does with its time"),
        Output::figure("states", "", "states solved"),
    ],
    formula: "π Q = 0, Σ π = 1 over all states; output Σ π/t [last works]",
    source: "G. C. Hunt 1956: three machines without stores 22/39 (from memory); W. K. Grassmann, \
             M. I. Taksar and D. P. Heyman 1985",
    validity: "Exponential times, blocking after service, no breakdowns; up to 1000 states.",
    example: &[("times", "3600, 3600, 3600 s"), ("places", "0, 0")],
    expected: &[("output", "0.5641025641"), ("states", "8")],
    run: |given| {
        let mut places = Vec::new();
        for place in given.list("places") {
            if place.fract() != 0.0 || *place > 1e6 {
                let reason = format!("{place} places cannot be; it must be a whole number");
                return Err(Refused::because("places", reason));
            }
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked")]
            places.push(*place as u32);
        }
        let times = given.list("times").to_vec();
        let slowest = times.iter().copied().fold(0.0, f64::max);
        let line = solve_line(&SaturatedLine { times, places })?;
        #[expect(clippy::cast_precision_loss, reason = "a count of machines")]
        let rows = (0..line.working.len())
            .map(|i| {
                let [w, b, s] = [&line.working, &line.blocked, &line.starved].map(|x| x[i] * 100.0);
                vec![(i + 1) as f64, w, b, s]
            })
            .collect();
        Ok(Answer::new()
            .figure("output", line.output * 3600.0)
            .figure("against_slowest", line.output * slowest * 100.0)
            .figure("pieces", line.pieces)
            .table("shares", SHARES, rows)
            .count("states", line.n_states))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn lines_that_cannot_be_are_refused() {
        let shape = SaturatedLine { times: vec![1.0, 1.0], places: vec![] };
        assert!(matches!(solve_line(&shape), Err(SaturatedError::Shape { .. })));
        let none = SaturatedLine { times: vec![], places: vec![] };
        assert!(matches!(solve_line(&none), Err(SaturatedError::Shape { .. })));
        let nan = SaturatedLine { times: vec![1.0, f64::NAN], places: vec![1] };
        assert!(matches!(solve_line(&nan), Err(SaturatedError::Time { machine: 2, .. })));
        let long = SaturatedLine { times: vec![1.0; 20], places: vec![9; 19] };
        assert_eq!(solve_line(&long), Err(SaturatedError::TooMany));
        let one = solve_line(&SaturatedLine { times: vec![4.0], places: vec![] }).unwrap();
        assert_eq!((one.output, one.pieces), (0.25, 1.0));
    }

    proptest! {
        #[test]
        fn every_machine_passes_the_same_output(
            times in proptest::collection::vec(0.5..2.0f64, 2..5),
            drawn in proptest::collection::vec(0..3u32, 4),
        ) {
            let places = drawn[..times.len() - 1].to_vec();
            let line = solve_line(&SaturatedLine { times: times.clone(), places }).unwrap();
            for (i, time) in times.iter().enumerate() {
                prop_assert!((line.working[i] / time / line.output - 1.0).abs() < 1e-9);
                let all = line.working[i] + line.blocked[i] + line.starved[i];
                prop_assert!((all - 1.0).abs() < 1e-12);
            }
        }

        #[test]
        fn the_line_turned_round_gives_the_same(
            times in proptest::collection::vec(0.5..2.0f64, 3),
            places in proptest::collection::vec(0..4u32, 2),
        ) {
            // G. Yamazaki and H. Sakasegawa 1975: reversibility of tandem lines.
            let turned = SaturatedLine {
                times: times.iter().rev().copied().collect(),
                places: places.iter().rev().copied().collect(),
            };
            let output = solve_line(&SaturatedLine { times, places }).unwrap().output;
            prop_assert!((solve_line(&turned).unwrap().output / output - 1.0).abs() < 1e-9);
        }
    }
}
