//! A line of operations against the day's number: takt, machines needed, loads, and which
//! operation sets the pace.

use bedplate_gauge::calculation::{Answer, Calculation, Column, Input, Output, Refused, Stage};

/// What a shift asks and gives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShiftDemand {
    /// Good pieces wanted in the shift.
    pub demand: f64,
    /// Length of the shift, s.
    pub shift_s: f64,
    /// Planned stops in it, s.
    pub stops_s: f64,
    /// Share of the remaining time that a line really runs, above 0, at most 1.
    pub efficiency: f64,
}

/// The pace of a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Takt {
    /// Time for each piece from the clock alone, s.
    pub takt_s: f64,
    /// Time for each piece once the efficiency is taken off, s: what stations are balanced to.
    pub takt_net_s: f64,
}

/// Why a line cannot be planned.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum LineError {
    /// A figure that must be above zero is not.
    #[error("{what} of {value} cannot be; it must be a number above 0")]
    NotPositive {
        /// Which figure.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// A share outside its range.
    #[error("{what} of {value} cannot be; it must be a share {wanted}")]
    Share {
        /// Which share.
        what: &'static str,
        /// What was given.
        value: f64,
        /// What would have been right.
        wanted: &'static str,
    },
    /// The stops leave no time.
    #[error("{stops_s} s of stops leave nothing of a shift of {shift_s} s")]
    NoTime {
        /// Stops, s.
        stops_s: f64,
        /// Shift, s.
        shift_s: f64,
    },
    /// No operations.
    #[error("the line has no operations; at least one is needed")]
    NoOperations,
}

impl From<LineError> for Refused {
    fn from(error: LineError) -> Self {
        let input = match error {
            LineError::NotPositive { what, .. } | LineError::Share { what, .. } => what,
            LineError::NoTime { .. } => "stops",
            LineError::NoOperations => "operations",
        };
        Self::because(input, error.to_string())
    }
}

fn positive(figures: &[(&'static str, f64)]) -> Result<(), LineError> {
    match figures.iter().find(|(_, value)| !(0.0 < *value && value.is_finite())) {
        Some(&(what, value)) => Err(LineError::NotPositive { what, value }),
        None => Ok(()),
    }
}

fn above_zero_share(what: &'static str, value: f64) -> Result<(), LineError> {
    let wanted = "above 0, at most 1";
    if 0.0 < value && value <= 1.0 { Ok(()) } else { Err(LineError::Share { what, value, wanted }) }
}

/// Takt of a line.
///
/// # Formula
/// `takt = (shift − stops)/demand`; net of the efficiency `takt · η`.
/// # Given
/// See [`ShiftDemand`].
/// # Returns
/// Takt and net takt in s.
/// # Errors
/// [`LineError::NotPositive`], [`LineError::Share`], [`LineError::NoTime`].
/// # Validity
/// Even demand through the shift.
/// # Source
/// Definition.
/// # Example
/// ```
/// use bedplate_shop::line::{ShiftDemand, takt};
/// let pace = takt(ShiftDemand {
///     demand: 640.0, shift_s: 28_800.0, stops_s: 2400.0, efficiency: 0.9,
/// })?;
/// // Arithmetic from the definition.
/// assert_eq!((pace.takt_s, pace.takt_net_s), (41.25, 37.125));
/// # Ok::<(), bedplate_shop::line::LineError>(())
/// ```
pub fn takt(shift: ShiftDemand) -> Result<Takt, LineError> {
    let ShiftDemand { demand, shift_s, stops_s, efficiency } = shift;
    positive(&[("demand", demand), ("shift", shift_s)])?;
    above_zero_share("efficiency", efficiency)?;
    if !(0.0 <= stops_s && stops_s < shift_s) {
        return Err(LineError::NoTime { stops_s, shift_s });
    }
    let takt_s = (shift_s - stops_s) / demand;
    Ok(Takt { takt_s, takt_net_s: takt_s * efficiency })
}

/// Least number of stations that can hold a work content at a takt.
///
/// # Formula
/// `⌈content/takt⌉`.
/// # Given
/// Work content and takt in s, above zero.
/// # Returns
/// Stations; a whole ratio needs no further one.
/// # Errors
/// [`LineError::NotPositive`].
/// # Validity
/// A lower bound: tasks that cannot be parted and their order may need more (see
/// [`crate::stations`]).
/// # Source
/// Definition.
/// # Example
/// ```
/// // Arithmetic from the definition: 612 s at 37.125 s.
/// assert_eq!(bedplate_shop::line::stations_at_least(612.0, 37.125)?, 17);
/// # Ok::<(), bedplate_shop::line::LineError>(())
/// ```
pub fn stations_at_least(content_s: f64, takt_s: f64) -> Result<u32, LineError> {
    positive(&[("content", content_s), ("takt", takt_s)])?;
    Ok(next_whole(content_s / takt_s))
}

/// The next whole number; a ratio that is whole but for binary rounding stays.
pub(crate) fn next_whole(ratio: f64) -> u32 {
    let nearest = ratio.round();
    let whole = if (ratio - nearest).abs() <= 1e-9 * ratio.abs() { nearest } else { ratio.ceil() };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped")]
    let n = whole.clamp(0.0, f64::from(u32::MAX)) as u32;
    n
}

/// One operation of a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Operation {
    /// Machine time for each piece, s; above zero.
    pub piece_s: f64,
    /// Share of the planned time in which the machine is fit to run, above 0, at most 1.
    pub availability: f64,
    /// Share of the pieces it spoils, 0 to below 1.
    pub scrap: f64,
    /// Machines there are; 0 if they are to be counted.
    pub n_machines: u32,
}

/// An operation against the demand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OperationLoad {
    /// Pieces it must take in so that enough good ones leave the line.
    pub pieces_in: f64,
    /// Machines needed, not rounded.
    pub machines_exact: f64,
    /// Machines needed, whole.
    pub n_machines_needed: u32,
    /// Machines counted with: those there are, or those needed.
    pub n_machines: u32,
    /// Load of each machine as a share of the time it is fit to run; above 1 it cannot keep up.
    pub load: f64,
    /// Good pieces an hour that the operation can pass on to the line's end.
    pub pieces_per_h: f64,
}

/// A line against the demand.
#[derive(Debug, Clone, PartialEq)]
pub struct LineLoad {
    /// Each operation, in the order of the line.
    pub operations: Vec<OperationLoad>,
    /// The operation that sets the pace, counted from 0.
    pub pace_idx: usize,
    /// Good pieces an hour the line can give without stores running empty.
    pub pieces_per_h: f64,
    /// Whether the demand can be met.
    pub meets_demand: bool,
}

/// Machines needed, load of each, and which operation sets the pace.
///
/// # Formula
/// Pieces into operation `i`: `N_i = N/Π_{j≥i}(1 − s_j)`; machines `N_i t_i/(T a_i)`; load that
/// over the machines; output `m_i a_i Π_{j≥i}(1 − s_j)/t_i`, the least of all sets the pace.
/// # Given
/// Operations in the order of the line; good pieces wanted and planned time in s, above zero.
/// # Returns
/// See [`LineLoad`].
/// # Errors
/// [`LineError`].
/// # Validity
/// Mean figures: with stores large enough that no operation waits for another. What small stores
/// cost is the business of the line's simulation.
/// # Source
/// Definition; counting scrap back from the end: derived here.
/// # Example
/// ```
/// use bedplate_shop::line::{Operation, load_line};
/// let operation = |piece_s, n_machines| {
///     Operation { piece_s, availability: 0.9, scrap: 0.0, n_machines }
/// };
/// // Made up: 90 engines in 8 h, the second operation twice as slow as the first.
/// let line = load_line(&[operation(120.0, 1), operation(240.0, 1)], 90.0, 28_800.0)?;
/// assert_eq!(line.pace_idx, 1);
/// assert!((line.pieces_per_h - 13.5).abs() < 1e-12 && line.meets_demand);
/// # Ok::<(), bedplate_shop::line::LineError>(())
/// ```
pub fn load_line(
    operations: &[Operation],
    demand: f64,
    planned_s: f64,
) -> Result<LineLoad, LineError> {
    positive(&[("demand", demand), ("planned_time", planned_s)])?;
    if operations.is_empty() {
        return Err(LineError::NoOperations);
    }
    let mut loads = Vec::with_capacity(operations.len());
    let mut yield_to_end = 1.0;
    for operation in operations.iter().rev() {
        let Operation { piece_s, availability, scrap, .. } = *operation;
        positive(&[("operations", piece_s)])?;
        above_zero_share("operations", availability)?;
        if !(0.0..1.0).contains(&scrap) {
            let wanted = "from 0 to below 1";
            return Err(LineError::Share { what: "operations", value: scrap, wanted });
        }
        yield_to_end *= 1.0 - scrap;
        let pieces_in = demand / yield_to_end;
        let machines_exact = pieces_in * piece_s / (planned_s * availability);
        let n_machines_needed = next_whole(machines_exact).max(1);
        let n_machines =
            if operation.n_machines == 0 { n_machines_needed } else { operation.n_machines };
        let rate = f64::from(n_machines) * availability * yield_to_end / piece_s;
        loads.push(OperationLoad {
            pieces_in,
            machines_exact,
            n_machines_needed,
            n_machines,
            load: machines_exact / f64::from(n_machines),
            pieces_per_h: rate * 3600.0,
        });
    }
    loads.reverse();
    let by_rate = |a: &usize, b: &usize| loads[*a].pieces_per_h.total_cmp(&loads[*b].pieces_per_h);
    let pace_idx = (0..loads.len()).min_by(by_rate).unwrap_or(0);
    let pieces_per_h = loads[pace_idx].pieces_per_h;
    let wanted_per_h = demand / planned_s * 3600.0;
    let meets_demand = pieces_per_h >= wanted_per_h * (1.0 - 1e-12);
    Ok(LineLoad { operations: loads, pace_idx, pieces_per_h, meets_demand })
}

/// Declaration of [`takt`] and [`stations_at_least`].
pub const TAKT: Calculation = Calculation {
    name: "takt",
    title: "Takt of a line",
    stage: Stage::Flow,
    question: "How often must a piece come off the line, and how many stations is that at least?",
    inputs: &[
        Input::quantity("demand", "", "good pieces wanted in the shift").over(0.0),
        Input::quantity("shift", "h", "length of the shift").over(0.0),
        Input::quantity("stops", "min", "planned stops in it").at_least(0.0).or("0 min"),
        Input::quantity("efficiency", "", "share of the rest that the line runs")
            .over(0.0)
            .at_most(1.0)
            .or("1"),
        Input::quantity("content", "s", "work content of a piece").over(0.0),
    ],
    outputs: &[
        Output::figure("takt", "s", "for each piece, from the clock alone"),
        Output::figure("takt_net", "s", "for each piece, efficiency taken off"),
        Output::figure("stations_at_least", "", "least number of stations at the net takt"),
    ],
    formula: "takt = (shift − stops)/demand; net = takt · η; stations ≥ ⌈content/net⌉",
    source: "definition",
    validity: "Even demand; a lower bound of stations.",
    example: &[
        ("demand", "640"),
        ("shift", "8 h"),
        ("stops", "40 min"),
        ("efficiency", "0.9"),
        ("content", "612 s"),
    ],
    expected: &[("takt", "41.25"), ("takt_net", "37.125"), ("stations_at_least", "17")],
    run: |given| {
        let pace = takt(ShiftDemand {
            demand: given.number("demand"),
            shift_s: given.number("shift") * 3600.0,
            stops_s: given.number("stops") * 60.0,
            efficiency: given.number("efficiency"),
        })?;
        let stations = stations_at_least(given.number("content"), pace.takt_net_s)?;
        Ok(Answer::new()
            .figure("takt", pace.takt_s)
            .figure("takt_net", pace.takt_net_s)
            .count("stations_at_least", stations as usize))
    },
};

const OPERATIONS: &[Column] = &[
    Column { name: "time", unit: "s", meaning: "machine time for each piece" },
    Column { name: "availability", unit: "%", meaning: "share of the time it is fit to run" },
    Column { name: "scrap", unit: "%", meaning: "share of the pieces it spoils" },
    Column { name: "machines", unit: "", meaning: "machines there are; 0 to count them" },
];
const LOADS: &[Column] = &[
    Column { name: "operation", unit: "", meaning: "operation, in the order of the line" },
    Column { name: "pieces_in", unit: "", meaning: "pieces it must take in" },
    Column { name: "needed", unit: "", meaning: "machines needed, not rounded" },
    Column { name: "machines", unit: "", meaning: "machines counted with" },
    Column { name: "load", unit: "%", meaning: "load of each machine; above 100 it falls behind" },
    Column { name: "rate", unit: "pieces/h", meaning: "good pieces it can pass to the end" },
];

/// Declaration of [`load_line`].
pub const LINE_LOAD: Calculation = Calculation {
    name: "line-load",
    title: "Machines and loads of a line",
    stage: Stage::Flow,
    question: "How many machines does each operation need, and which one sets the pace?",
    inputs: &[
        Input::table("operations", OPERATIONS, "the operations in the order of the line"),
        Input::quantity("demand", "", "good pieces wanted in the planned time").over(0.0),
        Input::quantity("planned_time", "h", "planned running time").over(0.0),
    ],
    outputs: &[
        Output::figure("loads", "", "each operation"),
        Output::figure("pace_operation", "", "the operation that sets the pace, counted from 1"),
        Output::figure("rate", "pieces/h", "good pieces the line can give"),
        Output::figure("meets_demand", "", "yes or no"),
    ],
    formula: "N_i = N/Π(1 − s_j), j ≥ i; machines N_i t_i/(T a_i); rate m_i a_i Π(1 − s_j)/t_i",
    source: "definition; scrap counted back from the end: derived here; example made up",
    validity: "Mean figures, stores large enough that no operation waits for another.",
    example: &[
        ("operations", "120 s, 90 %, 0 %, 1; 240 s, 90 %, 0 %, 1"),
        ("demand", "90"),
        ("planned_time", "8 h"),
    ],
    expected: &[("pace_operation", "2"), ("rate", "13.5"), ("meets_demand", "yes")],
    run: |given| {
        let mut operations = Vec::new();
        for row in given.table("operations") {
            let n = row[3];
            if !(0.0..=1e6).contains(&n) || n.fract() != 0.0 {
                let reason = format!("{n} machines cannot be; it must be a whole number");
                return Err(Refused::because("operations", reason));
            }
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked")]
            let n_machines = n as u32;
            let (availability, scrap) = (row[1] / 100.0, row[2] / 100.0);
            operations.push(Operation { piece_s: row[0], availability, scrap, n_machines });
        }
        let planned_s = given.number("planned_time") * 3600.0;
        let line = load_line(&operations, given.number("demand"), planned_s)?;
        let row = |(i, o): (usize, &OperationLoad)| {
            #[expect(clippy::cast_precision_loss, reason = "a count of operations")]
            let operation = (i + 1) as f64;
            let machines = f64::from(o.n_machines);
            let load = o.load * 100.0;
            vec![operation, o.pieces_in, o.machines_exact, machines, load, o.pieces_per_h]
        };
        Ok(Answer::new()
            .table("loads", LOADS, line.operations.iter().enumerate().map(row).collect())
            .count("pace_operation", line.pace_idx + 1)
            .figure("rate", line.pieces_per_h)
            .word("meets_demand", if line.meets_demand { "yes" } else { "no" }))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const OPERATION: Operation =
        Operation { piece_s: 60.0, availability: 0.9, scrap: 0.02, n_machines: 0 };

    #[test]
    fn a_whole_ratio_needs_no_further_station() {
        assert_eq!(stations_at_least(0.3, 0.1), Ok(3));
        assert_eq!(stations_at_least(0.31, 0.1), Ok(4));
        assert!(stations_at_least(0.0, 0.1).is_err());
        assert!(stations_at_least(1.0, f64::NAN).is_err());
    }

    #[test]
    fn lines_that_cannot_be_are_refused() {
        assert_eq!(load_line(&[], 10.0, 3600.0), Err(LineError::NoOperations));
        let spoils_all = Operation { scrap: 1.0, ..OPERATION };
        assert!(matches!(load_line(&[spoils_all], 10.0, 3600.0), Err(LineError::Share { .. })));
        let stands = Operation { availability: 0.0, ..OPERATION };
        assert!(load_line(&[stands], 10.0, 3600.0).is_err());
        assert!(load_line(&[OPERATION], f64::INFINITY, 3600.0).is_err());
        let shift = ShiftDemand { demand: 1.0, shift_s: 60.0, stops_s: 60.0, efficiency: 1.0 };
        assert!(matches!(takt(shift), Err(LineError::NoTime { .. })));
    }

    #[test]
    fn scrap_at_the_end_loads_every_operation_before_it() {
        let last = Operation { scrap: 0.5, ..OPERATION };
        let first = Operation { scrap: 0.0, ..OPERATION };
        let line = load_line(&[first, last], 10.0, 3600.0).unwrap();
        assert_eq!(line.operations[0].pieces_in, 20.0);
        assert_eq!(line.operations[1].pieces_in, 20.0);
    }

    proptest! {
        #[test]
        fn counted_machines_always_meet_the_demand(
            times in proptest::collection::vec((5.0..600.0f64, 0.5..1.0f64, 0.0..0.2f64), 1..12),
            demand in 1.0..2000.0f64,
        ) {
            let operations: Vec<Operation> = times
                .iter()
                .map(|&(piece_s, availability, scrap)| {
                    Operation { piece_s, availability, scrap, n_machines: 0 }
                })
                .collect();
            let line = load_line(&operations, demand, 28_800.0).unwrap();
            prop_assert!(line.meets_demand);
            for o in &line.operations {
                prop_assert!(o.load <= 1.0 + 1e-9);
            }
        }
    }
}
