//! Tasks into stations in an order that must be kept: the least stations for a cycle, or the least
//! cycle for so many stations, proven by going through every state that can matter.

use std::collections::HashMap;

use bedplate_gauge::calculation::{
    Answer, Calculation, Column, Given, Input, Output, Refused, Stage,
};

use crate::line::next_whole;

/// Tasks with their times, and which must be done before which.
#[derive(Debug, Clone, PartialEq)]
pub struct Tasks {
    times_s: Vec<f64>,
    /// For each task the bits of those that must be done before it.
    before: Vec<u64>,
}

/// Tasks put into stations.
#[derive(Debug, Clone, PartialEq)]
pub struct Stations {
    /// Station of each task, counted from 0, in the order of the tasks.
    pub station_of: Vec<usize>,
    /// Work in each station, s.
    pub loads_s: Vec<f64>,
    /// A bound that no plan can beat: stations for [`fewest_stations`], cycle in s for
    /// [`shortest_cycle`].
    pub lower_bound: f64,
}

impl Stations {
    /// The longest load, which is the shortest cycle the stations can keep, s.
    #[must_use]
    pub fn cycle_s(&self) -> f64 {
        self.loads_s.iter().copied().fold(0.0, f64::max)
    }

    /// Share of the stations' time that is work, 0 to 1.
    #[must_use]
    pub fn balance(&self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "a count of stations")]
        let n = self.loads_s.len() as f64;
        self.loads_s.iter().sum::<f64>() / (n * self.cycle_s())
    }
}

/// Most tasks taken.
pub const MOST_TASKS: usize = 64;
/// Most states gone through before giving up with [`StationsError::TooMany`].
pub const MOST_STATES: usize = 500_000;

/// Most states gone through over all cycles that [`shortest_cycle`] tries.
const MOST_STATES_OF_ALL: usize = 10 * MOST_STATES;

/// Why tasks cannot be put into stations.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum StationsError {
    /// No tasks, or more than are taken.
    #[error("{n_tasks} tasks; from 1 to {most} are taken", most = MOST_TASKS)]
    Count {
        /// How many were given.
        n_tasks: usize,
    },
    /// A task's time that cannot be.
    #[error("task {task} takes {time_s} s, which cannot be; it must be above 0 s")]
    Time {
        /// Which task, counted from 1.
        task: usize,
        /// Its time, s.
        time_s: f64,
    },
    /// An order that names a task that is not there, or a task before itself.
    #[error(
        "{before} before {after} cannot be: tasks count from 1 to {n_tasks}, none before itself"
    )]
    Order {
        /// The earlier task, counted from 1.
        before: usize,
        /// The later task, counted from 1.
        after: usize,
        /// How many tasks there are.
        n_tasks: usize,
    },
    /// Tasks that wait for each other.
    #[error("task {task} would have to wait for itself: the order goes in a circle")]
    Circle {
        /// A task of the circle, counted from 1.
        task: usize,
    },
    /// A task longer than the cycle.
    #[error("task {task} takes {time_s} s, more than the cycle of {cycle_s} s")]
    Longer {
        /// Which task, counted from 1.
        task: usize,
        /// Its time, s.
        time_s: f64,
        /// The cycle, s.
        cycle_s: f64,
    },
    /// A cycle or a number of stations that cannot be.
    #[error("{value} {what} cannot be; it must be above 0")]
    Wanted {
        /// Seconds of cycle, or stations.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// Too many states for a proof.
    #[error(
        "more than {most} states would have to be gone through for a proof; give the order more \
         fully, or part the line",
        most = MOST_STATES
    )]
    TooMany,
}

impl From<StationsError> for Refused {
    fn from(error: StationsError) -> Self {
        let input = match error {
            StationsError::Order { .. } | StationsError::Circle { .. } => "order",
            StationsError::Wanted { what: "stations", .. } => "stations",
            StationsError::Longer { .. } | StationsError::Wanted { .. } => "cycle",
            _ => "times",
        };
        Self::because(input, error.to_string())
    }
}

impl Tasks {
    /// Tasks from their times and their order.
    ///
    /// # Given
    /// Times in s, each above zero, 1 to 64 of them; pairs (earlier, later), counted from 0.
    /// # Errors
    /// [`StationsError::Count`], [`StationsError::Time`], [`StationsError::Order`],
    /// [`StationsError::Circle`].
    pub fn new(times_s: &[f64], order: &[(usize, usize)]) -> Result<Self, StationsError> {
        let n_tasks = times_s.len();
        if n_tasks == 0 || n_tasks > MOST_TASKS {
            return Err(StationsError::Count { n_tasks });
        }
        if let Some(i) = times_s.iter().position(|t| !(0.0 < *t && t.is_finite())) {
            return Err(StationsError::Time { task: i + 1, time_s: times_s[i] });
        }
        let mut before = vec![0_u64; n_tasks];
        for &(earlier, later) in order {
            if earlier >= n_tasks || later >= n_tasks || earlier == later {
                let (before, after) = (earlier.saturating_add(1), later.saturating_add(1));
                return Err(StationsError::Order { before, after, n_tasks });
            }
            before[later] |= 1 << earlier;
        }
        let tasks = Self { times_s: times_s.to_vec(), before };
        let mut done = 0_u64;
        while let Some(next) = (0..n_tasks).find(|i| tasks.can_follow(done, *i)) {
            done |= 1 << next;
        }
        match (0..n_tasks).find(|i| done >> i & 1 == 0) {
            Some(task) => Err(StationsError::Circle { task: task + 1 }),
            None => Ok(tasks),
        }
    }

    fn can_follow(&self, done: u64, task: usize) -> bool {
        done >> task & 1 == 0 && self.before[task] & !done == 0
    }

    /// Work content, s.
    #[must_use]
    pub fn content_s(&self) -> f64 {
        self.times_s.iter().sum()
    }

    fn longest_s(&self) -> f64 {
        self.times_s.iter().copied().fold(0.0, f64::max)
    }
}

/// What two loads may differ by and still be the same, relative: binary rounding of sums.
const SAME: f64 = 1e-9;

/// How a set of tasks was reached: stations begun, work in the last one, and the last task.
#[derive(Clone, Copy)]
struct Reached {
    n_stations: u32,
    load_s: f64,
    last: usize,
}

/// The best way to have done every set of tasks that the order allows.
///
/// Doing the tasks of a set in fewer stations, or in as many with less in the last, is never worse
/// for what follows; so one way for each set is enough, and the last one is proven best.
struct Search {
    reached: HashMap<u64, Reached>,
    /// The least load above the cycle that was refused, s.
    next_load_s: f64,
}

fn search(tasks: &Tasks, cycle_s: f64) -> Result<Search, StationsError> {
    let limit_s = cycle_s * (1.0 + SAME);
    let mut reached = HashMap::new();
    reached.insert(0, Reached { n_stations: 0, load_s: f64::INFINITY, last: 0 });
    let mut next_load_s = f64::INFINITY;
    let mut level = vec![0_u64];
    while !level.is_empty() {
        let mut further = Vec::new();
        for done in level {
            if reached.len() > MOST_STATES {
                return Err(StationsError::TooMany);
            }
            let from = reached[&done];
            for task in (0..tasks.times_s.len()).filter(|i| tasks.can_follow(done, *i)) {
                let time_s = tasks.times_s[task];
                let together = from.load_s + time_s;
                let way = if together <= limit_s {
                    Reached { load_s: together, last: task, ..from }
                } else {
                    next_load_s = next_load_s.min(together);
                    Reached { n_stations: from.n_stations + 1, load_s: time_s, last: task }
                };
                let set = done | 1 << task;
                let known = reached.entry(set).or_insert_with(|| {
                    further.push(set);
                    way
                });
                if (way.n_stations, way.load_s) < (known.n_stations, known.load_s) {
                    *known = way;
                }
            }
        }
        level = further;
    }
    Ok(Search { reached, next_load_s })
}

fn all(tasks: &Tasks) -> u64 {
    u64::MAX >> (64 - tasks.times_s.len())
}

fn stations(tasks: &Tasks, found: &Search, lower_bound: f64) -> Stations {
    let mut done = all(tasks);
    let n_stations = found.reached[&done].n_stations as usize;
    let mut station_of = vec![0; tasks.times_s.len()];
    let mut loads_s = vec![0.0; n_stations];
    while done != 0 {
        let way = found.reached[&done];
        let station = way.n_stations as usize - 1;
        station_of[way.last] = station;
        loads_s[station] += tasks.times_s[way.last];
        done &= !(1 << way.last);
    }
    Stations { station_of, loads_s, lower_bound }
}

/// The fewest stations that can keep a cycle.
///
/// # Formula
/// Over every set of tasks closed under the order: the least (stations, load of the last) by
/// adding one task at a time; the bound is `⌈Σ t/c⌉`.
/// # Given
/// Tasks; cycle in s, no task longer than it.
/// # Returns
/// A proven best plan, its loads, and the lower bound.
/// # Errors
/// [`StationsError::Wanted`], [`StationsError::Longer`]; [`StationsError::TooMany`] where the order
/// is so loose that a proof would take too long (from about 19 tasks without any order).
/// # Validity
/// One worker or machine a station, fixed times, tasks not parted.
/// # Source
/// The problem known as SALBP-1; dynamic programming over sets after M. Held, R. M. Karp and R.
/// Shareshian 1963 (from memory).
/// # Example
/// ```
/// use bedplate_shop::stations::{Tasks, fewest_stations};
/// // A. Scholl's collection, instance of E. Bowman (data and optimum from memory): 5 stations.
/// let order = [(0, 1), (1, 2), (1, 3), (2, 4), (2, 5), (3, 5), (4, 6), (5, 7)];
/// let tasks = Tasks::new(&[11.0, 17.0, 9.0, 5.0, 8.0, 12.0, 10.0, 3.0], &order)?;
/// assert_eq!(fewest_stations(&tasks, 20.0)?.loads_s.len(), 5);
/// # Ok::<(), bedplate_shop::stations::StationsError>(())
/// ```
pub fn fewest_stations(tasks: &Tasks, cycle_s: f64) -> Result<Stations, StationsError> {
    if !(0.0 < cycle_s && cycle_s.is_finite()) {
        return Err(StationsError::Wanted { what: "s of cycle", value: cycle_s });
    }
    let limit_s = cycle_s * (1.0 + SAME);
    if let Some(i) = tasks.times_s.iter().position(|t| *t > limit_s) {
        return Err(StationsError::Longer { task: i + 1, time_s: tasks.times_s[i], cycle_s });
    }
    let bound = f64::from(next_whole(tasks.content_s() / cycle_s));
    Ok(stations(tasks, &search(tasks, cycle_s)?, bound))
}

/// The shortest cycle that so many stations can keep.
///
/// # Formula
/// The least `c` for which [`fewest_stations`] needs no more; between a cycle that is too short and
/// one that is kept, halving, and stepping only to loads that can occur; the bound is
/// `max(t_max, Σ t/m)`.
/// # Given
/// Tasks; stations, one or more.
/// # Returns
/// A proven best plan; its longest load is the cycle.
/// # Errors
/// [`StationsError::Wanted`], [`StationsError::TooMany`].
/// # Validity
/// As [`fewest_stations`].
/// # Source
/// The problem known as SALBP-2; stepping between loads: derived here.
pub fn shortest_cycle(tasks: &Tasks, n_stations: usize) -> Result<Stations, StationsError> {
    if n_stations == 0 {
        return Err(StationsError::Wanted { what: "stations", value: 0.0 });
    }
    #[expect(clippy::cast_precision_loss, reason = "a count of stations")]
    let bound = tasks.longest_s().max(tasks.content_s() / n_stations as f64);
    let mut n_states = 0;
    let mut at = |cycle_s| -> Result<(Search, bool), StationsError> {
        let found = search(tasks, cycle_s)?;
        n_states += found.reached.len();
        if n_states > MOST_STATES_OF_ALL {
            return Err(StationsError::TooMany);
        }
        let kept = found.reached[&all(tasks)].n_stations as usize <= n_stations;
        Ok((found, kept))
    };
    let (mut low_s, mut best) = (bound, None);
    let mut high_s = tasks.content_s();
    // `low_s` may yet be the answer; `high_s` is kept by a plan in `best`, or by one station.
    while best.is_none() || low_s < high_s * (1.0 - SAME) {
        let middle_s = if best.is_none() { high_s } else { f64::midpoint(low_s, high_s) };
        let (found, kept) = at(middle_s)?;
        if kept {
            let plan = stations(tasks, &found, bound);
            high_s = plan.cycle_s().min(middle_s);
            best = Some(plan);
            let (found, kept) = at(low_s)?;
            if kept {
                best = Some(stations(tasks, &found, bound));
                break;
            }
            low_s = found.next_load_s.max(low_s);
        } else {
            // Nothing changes until the least refused load fits.
            low_s = found.next_load_s;
        }
    }
    best.ok_or(StationsError::Wanted { what: "stations", value: 0.0 })
}

const ORDER: &[Column] = &[
    Column { name: "before", unit: "", meaning: "task that must be done first, counted from 1" },
    Column { name: "after", unit: "", meaning: "task that must wait for it" },
];
const PLAN: &[Column] = &[
    Column { name: "task", unit: "", meaning: "task, counted from 1" },
    Column { name: "station", unit: "", meaning: "its station, counted from 1" },
    Column { name: "time", unit: "s", meaning: "its time" },
];
const TIMES: Input = Input::list("times", "s", "time of each task").over(0.0);
const PAIRS: Input = Input::table("order", ORDER, "which task must be done before which");

fn tasks_of(given: &Given) -> Result<Tasks, Refused> {
    let mut order = Vec::new();
    for row in given.table("order") {
        let [before, after] = [row[0], row[1]];
        let whole = |x: f64| (1.0..=1e6).contains(&x) && x.fract() == 0.0;
        if !whole(before) || !whole(after) {
            let reason = format!("{before} before {after}: tasks are whole numbers from 1");
            return Err(Refused::because("order", reason));
        }
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked")]
        order.push((before as usize - 1, after as usize - 1));
    }
    Ok(Tasks::new(given.list("times"), &order)?)
}

fn plan_answer(answer: Answer, tasks: &Tasks, plan: &Stations) -> Answer {
    #[expect(clippy::cast_precision_loss, reason = "counts of tasks and stations")]
    let rows = (0..tasks.times_s.len())
        .map(|i| vec![(i + 1) as f64, (plan.station_of[i] + 1) as f64, tasks.times_s[i]])
        .collect();
    answer
        .figure("balance", plan.balance() * 100.0)
        .list("loads", plan.loads_s.clone())
        .table("plan", PLAN, rows)
}

const BOWMAN_TIMES: &str = "11, 17, 9, 5, 8, 12, 10, 3 s";
const BOWMAN_ORDER: &str = "1, 2; 2, 3; 2, 4; 3, 5; 3, 6; 4, 6; 5, 7; 6, 8";
const BALANCE: Output = Output::figure("balance", "%", "share of the stations' time that is work");
const LOADS: Output = Output::figure("loads", "s", "work in each station");
const ASSIGNED: Output = Output::figure("plan", "", "station of each task");
const LOOSE: &str =
    "Fixed times, tasks not parted; up to 64 tasks, fewer where the order is loose.";

/// Declaration of [`fewest_stations`].
pub const FEWEST_STATIONS: Calculation = Calculation {
    name: "fewest-stations",
    title: "Fewest stations for a cycle",
    stage: Stage::Flow,
    question: "How few stations can keep this cycle, and which task goes where?",
    inputs: &[TIMES, PAIRS, Input::quantity("cycle", "s", "cycle to keep").over(0.0)],
    outputs: &[
        Output::figure("stations", "", "fewest stations, proven"),
        Output::figure("lower_bound", "", "stations by work content alone"),
        BALANCE,
        LOADS,
        ASSIGNED,
    ],
    formula: "least (stations, load of the last) over every set of tasks the order allows; \
              bound ⌈Σ t/c⌉",
    source: "SALBP-1 by dynamic programming after Held, Karp and Shareshian 1963; example E. \
             Bowman's instance of A. Scholl's collection (from memory)",
    validity: LOOSE,
    example: &[("times", BOWMAN_TIMES), ("order", BOWMAN_ORDER), ("cycle", "20 s")],
    expected: &[("stations", "5"), ("lower_bound", "4")],
    run: |given| {
        let tasks = tasks_of(given)?;
        let plan = fewest_stations(&tasks, given.number("cycle"))?;
        let answer = Answer::new()
            .count("stations", plan.loads_s.len())
            .figure("lower_bound", plan.lower_bound);
        Ok(plan_answer(answer, &tasks, &plan))
    },
};

/// Declaration of [`shortest_cycle`].
pub const SHORTEST_CYCLE: Calculation = Calculation {
    name: "shortest-cycle",
    title: "Shortest cycle for so many stations",
    stage: Stage::Flow,
    question: "What is the shortest cycle these stations can keep, and which task goes where?",
    inputs: &[TIMES, PAIRS, Input::count("stations", "stations").at_least(1.0).at_most(64.0)],
    outputs: &[
        Output::figure("cycle", "s", "shortest cycle, proven"),
        Output::figure("lower_bound", "s", "cycle by longest task and work content"),
        BALANCE,
        LOADS,
        ASSIGNED,
    ],
    formula: "least c whose fewest stations are no more than given; bound max(t_max, Σ t/m)",
    source: "SALBP-2 by steps between loads: derived here; example arithmetic: two stations of \
             E. Bowman's instance, in order 11 + 17 + 9 and 5 + 8 + 12 + 10 + 3 s",
    validity: LOOSE,
    example: &[("times", BOWMAN_TIMES), ("order", BOWMAN_ORDER), ("stations", "2")],
    expected: &[("cycle", "38"), ("lower_bound", "37.5")],
    run: |given| {
        let tasks = tasks_of(given)?;
        let plan = shortest_cycle(&tasks, given.count("stations"))?;
        let answer =
            Answer::new().figure("cycle", plan.cycle_s()).figure("lower_bound", plan.lower_bound);
        Ok(plan_answer(answer, &tasks, &plan))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn tasks_that_cannot_be_are_refused() {
        assert!(matches!(Tasks::new(&[], &[]), Err(StationsError::Count { .. })));
        assert!(matches!(Tasks::new(&[1.0; 65], &[]), Err(StationsError::Count { .. })));
        assert!(matches!(
            Tasks::new(&[1.0, f64::NAN], &[]),
            Err(StationsError::Time { task: 2, .. })
        ));
        assert!(matches!(Tasks::new(&[1.0], &[(0, 1)]), Err(StationsError::Order { .. })));
        assert!(matches!(Tasks::new(&[1.0], &[(0, 0)]), Err(StationsError::Order { .. })));
        let circle = Tasks::new(&[1.0; 3], &[(0, 1), (1, 2), (2, 1)]);
        assert_eq!(circle, Err(StationsError::Circle { task: 2 }));
        let tasks = Tasks::new(&[5.0, 6.0], &[]).unwrap();
        assert!(matches!(fewest_stations(&tasks, 5.5), Err(StationsError::Longer { task: 2, .. })));
        assert!(fewest_stations(&tasks, f64::NAN).is_err());
        assert!(shortest_cycle(&tasks, 0).is_err());
        let loose = Tasks::new(&[1.0; 40], &[]).unwrap();
        assert_eq!(fewest_stations(&loose, 10.0), Err(StationsError::TooMany));
    }

    #[test]
    fn one_task_and_a_chain_of_sixty_four() {
        let one = Tasks::new(&[3.0], &[]).unwrap();
        assert_eq!(fewest_stations(&one, 3.0).unwrap().loads_s, [3.0]);
        let order: Vec<_> = (1..64).map(|i| (i - 1, i)).collect();
        let chain = Tasks::new(&[1.0; 64], &order).unwrap();
        assert_eq!(fewest_stations(&chain, 10.0).unwrap().loads_s.len(), 7);
        assert_eq!(shortest_cycle(&chain, 7).unwrap().cycle_s(), 10.0);
    }

    /// Every order of the tasks, cut greedily: slow, but it shares nothing with the search.
    fn by_every_order(tasks: &Tasks, cycle_s: f64) -> usize {
        fn go(tasks: &Tasks, cycle_s: f64, done: u64, n: usize, load_s: f64, best: &mut usize) {
            if done == all(tasks) {
                *best = (*best).min(n);
                return;
            }
            for task in 0..tasks.times_s.len() {
                if !tasks.can_follow(done, task) {
                    continue;
                }
                let together = load_s + tasks.times_s[task];
                let (n, load_s) = if n > 0 && together <= cycle_s {
                    (n, together)
                } else {
                    (n + 1, tasks.times_s[task])
                };
                go(tasks, cycle_s, done | 1 << task, n, load_s, best);
            }
        }
        let mut best = usize::MAX;
        go(tasks, cycle_s, 0, 0, 0.0, &mut best);
        best
    }

    fn small() -> impl Strategy<Value = Tasks> {
        proptest::collection::vec(1..20u32, 1..7).prop_flat_map(|times| {
            let n = times.len();
            proptest::collection::vec(any::<bool>(), n * n).prop_map(move |drawn| {
                let pair = |i: usize, j: usize| drawn[i * n + j].then_some((i, j));
                let order: Vec<_> =
                    (0..n).flat_map(|i| (i + 1..n).filter_map(move |j| pair(i, j))).collect();
                let times: Vec<f64> = times.iter().map(|t| f64::from(*t)).collect();
                Tasks::new(&times, &order).expect("pairs go forward")
            })
        })
    }

    proptest! {
        #[test]
        fn the_proof_agrees_with_every_order(tasks in small(), extra in 0..20u32) {
            let cycle_s = tasks.longest_s() + f64::from(extra);
            let plan = fewest_stations(&tasks, cycle_s).unwrap();
            prop_assert_eq!(plan.loads_s.len(), by_every_order(&tasks, cycle_s));
            prop_assert!(plan.cycle_s() <= cycle_s);
            for (task, before) in tasks.before.iter().enumerate() {
                for earlier in (0..64).filter(|i| before >> i & 1 == 1) {
                    prop_assert!(plan.station_of[earlier] <= plan.station_of[task]);
                }
            }
        }

        #[test]
        fn a_shorter_cycle_than_the_shortest_cannot_be_kept(tasks in small(), m in 1..5usize) {
            let plan = shortest_cycle(&tasks, m).unwrap();
            prop_assert!(plan.loads_s.len() <= m);
            let cycle_s = plan.cycle_s();
            prop_assert!(cycle_s >= plan.lower_bound * (1.0 - 1e-12));
            // Times are whole: the next shorter cycle is one second less.
            if cycle_s > tasks.longest_s() {
                let shorter = fewest_stations(&tasks, cycle_s - 1.0).unwrap();
                prop_assert!(shorter.loads_s.len() > m);
            }
        }
    }
}
