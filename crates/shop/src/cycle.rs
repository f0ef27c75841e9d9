//! The time of an operation and the pieces it gives in an hour.

use bedplate_gauge::calculation::{Answer, Calculation, Input, Output, Refused, Stage};

/// The parts of an operation's time, s, each 0 or more.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OperationTime {
    /// Tool to the work.
    pub approach_s: f64,
    /// Cutting.
    pub cut_s: f64,
    /// Standing at depth.
    pub dwell_s: f64,
    /// Tool away from the work.
    pub retract_s: f64,
    /// Moving to the next place or tool.
    pub index_s: f64,
    /// Loading and unloading.
    pub load_s: f64,
    /// How much of the loading is done while the machine cuts another piece; at most `load_s`.
    pub load_inside_s: f64,
    /// Pieces finished in one cycle.
    pub n_pieces: u32,
}

/// Cycle and rate of an operation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cycle {
    /// Time from one cycle's beginning to the next, s.
    pub cycle_s: f64,
    /// Time for each piece, s.
    pub piece_s: f64,
    /// Pieces an hour while it runs.
    pub pieces_per_h: f64,
    /// Share of the cycle in which metal is cut.
    pub cutting_share: f64,
}

/// Why a cycle cannot be.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum CycleError {
    /// A time that cannot be.
    #[error("{what} of {value} s cannot be; it must be 0 or more")]
    Time {
        /// Which time.
        what: &'static str,
        /// What was given, s.
        value: f64,
    },
    /// More loading inside the cut than there is loading.
    #[error("{inside_s} s of loading during the cut is more than the {load_s} s it takes")]
    Inside {
        /// Loading during the cut, s.
        inside_s: f64,
        /// Loading in all, s.
        load_s: f64,
    },
    /// Nothing takes time, or nothing is made.
    #[error("a cycle of {cycle_s} s for {n_pieces} pieces is none; both must be above 0")]
    Nothing {
        /// Cycle, s.
        cycle_s: f64,
        /// Pieces.
        n_pieces: u32,
    },
}

impl From<CycleError> for Refused {
    fn from(error: CycleError) -> Self {
        let input = match error {
            CycleError::Time { what, .. } => what,
            CycleError::Inside { .. } => "load_inside",
            CycleError::Nothing { .. } => "pieces",
        };
        Self::because(input, error.to_string())
    }
}

/// Cycle and pieces an hour of an operation.
///
/// # Formula
/// `t = a + c + d + r + i + (l − l_i)`; each piece `t/k`; pieces an hour `3600 k/t`.
/// # Given
/// See [`OperationTime`].
/// # Returns
/// Cycle in s, time for each piece, pieces an hour, share of cutting.
/// # Errors
/// [`CycleError`].
/// # Validity
/// While the machine runs: stops, tool changes and scrap are not in it.
/// # Source
/// Definition.
/// # Example
/// ```
/// use bedplate_shop::cycle::{OperationTime, operation_cycle};
/// let cycle = operation_cycle(&OperationTime {
///     approach_s: 1.0, cut_s: 12.0, dwell_s: 0.5, retract_s: 0.5, index_s: 2.0,
///     load_s: 10.0, load_inside_s: 6.0, n_pieces: 1,
/// })?;
/// // Made up: 16 s and 4 s of loading outside the cut; common practice, no source: 20 s are 180
/// // pieces an hour.
/// assert_eq!((cycle.cycle_s, cycle.pieces_per_h), (20.0, 180.0));
/// # Ok::<(), bedplate_shop::cycle::CycleError>(())
/// ```
pub fn operation_cycle(time: &OperationTime) -> Result<Cycle, CycleError> {
    let parts = [
        ("approach", time.approach_s),
        ("cut", time.cut_s),
        ("dwell", time.dwell_s),
        ("retract", time.retract_s),
        ("index", time.index_s),
        ("load", time.load_s),
        ("load_inside", time.load_inside_s),
    ];
    if let Some(&(what, value)) = parts.iter().find(|(_, t)| !(0.0 <= *t && t.is_finite())) {
        return Err(CycleError::Time { what, value });
    }
    let (inside_s, load_s) = (time.load_inside_s, time.load_s);
    if inside_s > load_s {
        return Err(CycleError::Inside { inside_s, load_s });
    }
    let machine_s: f64 = parts[..5].iter().map(|(_, t)| t).sum();
    // What is loaded during the cut can last longer than the cut itself.
    let cycle_s = machine_s.max(inside_s) + load_s - inside_s;
    let n_pieces = time.n_pieces;
    if n_pieces == 0 || cycle_s <= 0.0 {
        return Err(CycleError::Nothing { cycle_s, n_pieces });
    }
    let piece_s = cycle_s / f64::from(n_pieces);
    let cutting_share = time.cut_s / cycle_s;
    Ok(Cycle { cycle_s, piece_s, pieces_per_h: 3600.0 / piece_s, cutting_share })
}

/// Time for each piece at a rate.
///
/// # Formula
/// `t = 3600/r`.
/// # Given
/// Pieces an hour, above zero.
/// # Returns
/// Seconds a piece.
/// # Validity
/// Even running.
/// # Source
/// Definition; common practice, no source: 180 pieces an hour are one every 20 s.
/// # Example
/// ```
/// assert_eq!(bedplate_shop::cycle::piece_time_s(180.0), 20.0);
/// ```
#[must_use]
pub fn piece_time_s(pieces_per_h: f64) -> f64 {
    3600.0 / pieces_per_h
}

/// Holes to make within a time, on several sides of a piece at once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HolesInTime {
    /// Holes in all.
    pub n_holes: u32,
    /// Sides worked at once, each by its head.
    pub n_sides: u32,
    /// Time allowed for the piece, s.
    pub limit_s: f64,
}

/// What a time for so many holes means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HoleTime {
    /// Time allowed for each hole if they were made one after another, s.
    pub each_s: f64,
    /// Holes a head has to make in one stroke, on average.
    pub holes_per_side: f64,
    /// Pieces an hour at least.
    pub pieces_per_h: f64,
}

/// Mean time for each hole, and the rate, of a piece drilled on several sides at once.
///
/// # Formula
/// Each `t/n`; for each side `n/k`; pieces an hour `3600/t`.
/// # Given
/// Holes and sides above zero; time allowed in s, above zero.
/// # Returns
/// Seconds for each hole, holes for each side, pieces an hour.
/// # Errors
/// [`CycleError::Nothing`].
/// # Validity
/// A bound for planning: the slowest head sets the cycle, not the mean.
/// # Source
/// Definition.
/// # Example
/// ```
/// use bedplate_shop::cycle::{HolesInTime, hole_time};
/// // Common practice, no source: 53 holes on four sides in under two minutes.
/// let time = hole_time(HolesInTime { n_holes: 53, n_sides: 4, limit_s: 120.0 })?;
/// assert_eq!(format!("{:.3} {}", time.each_s, time.pieces_per_h), "2.264 30");
/// # Ok::<(), bedplate_shop::cycle::CycleError>(())
/// ```
pub fn hole_time(holes: HolesInTime) -> Result<HoleTime, CycleError> {
    let HolesInTime { n_holes, n_sides, limit_s } = holes;
    if !(0.0 < limit_s && limit_s.is_finite()) || n_holes == 0 || n_sides == 0 {
        return Err(CycleError::Nothing { cycle_s: limit_s, n_pieces: n_holes.min(n_sides) });
    }
    Ok(HoleTime {
        each_s: limit_s / f64::from(n_holes),
        holes_per_side: f64::from(n_holes) / f64::from(n_sides),
        pieces_per_h: piece_time_s(limit_s),
    })
}

const fn time(name: &'static str, meaning: &'static str) -> Input {
    Input::quantity(name, "s", meaning).at_least(0.0).or("0 s")
}

/// Declaration of [`operation_cycle`].
pub const OPERATION_CYCLE: Calculation = Calculation {
    name: "operation-cycle",
    title: "Cycle of an operation",
    stage: Stage::Plan,
    question: "How long is one cycle of this operation, and how many pieces come in an hour?",
    inputs: &[
        time("approach", "tool to the work"),
        Input::quantity("cut", "s", "cutting").at_least(0.0),
        time("dwell", "standing at depth"),
        time("retract", "tool away from the work"),
        time("index", "to the next place or tool"),
        time("load", "loading and unloading"),
        time("load_inside", "how much of it is done while another piece is cut"),
        Input::count("pieces", "pieces finished in one cycle")
            .at_least(1.0)
            .at_most(100_000.0)
            .or("1"),
    ],
    outputs: &[
        Output::figure("cycle", "s", "one cycle"),
        Output::figure("piece_time", "s", "for each piece"),
        Output::figure("rate", "pieces/h", "while it runs"),
        Output::figure("cutting_share", "%", "share of the cycle in which metal is cut"),
    ],
    formula: "t = max(a + c + d + r + i, l_i) + (l − l_i); rate 3600 k/t",
    source: "definition; example made up for 180 pieces an hour",
    validity: "While the machine runs: stops, tool changes and scrap are not in it.",
    example: &[
        ("approach", "1 s"),
        ("cut", "12 s"),
        ("dwell", "0.5 s"),
        ("retract", "0.5 s"),
        ("index", "2 s"),
        ("load", "10 s"),
        ("load_inside", "6 s"),
    ],
    expected: &[("cycle", "20"), ("rate", "180")],
    run: |given| {
        let cycle = operation_cycle(&OperationTime {
            approach_s: given.number("approach"),
            cut_s: given.number("cut"),
            dwell_s: given.number("dwell"),
            retract_s: given.number("retract"),
            index_s: given.number("index"),
            load_s: given.number("load"),
            load_inside_s: given.number("load_inside"),
            n_pieces: u32::try_from(given.count("pieces")).unwrap_or(u32::MAX),
        })?;
        Ok(Answer::new()
            .figure("cycle", cycle.cycle_s)
            .figure("piece_time", cycle.piece_s)
            .figure("rate", cycle.pieces_per_h)
            .figure("cutting_share", cycle.cutting_share * 100.0))
    },
};

/// Declaration of [`piece_time_s`].
pub const PIECE_TIME: Calculation = Calculation {
    name: "piece-time",
    title: "Time for each piece at a rate",
    stage: Stage::Plan,
    question: "How long may a piece take at this rate?",
    inputs: &[Input::quantity("rate", "pieces/h", "pieces an hour").over(0.0)],
    outputs: &[Output::figure("cycle", "s", "time for each piece")],
    formula: "t = 3600/r",
    source: "definition; example common practice, no source",
    validity: "Even running.",
    example: &[("rate", "180 pieces/h")],
    expected: &[("cycle", "20")],
    run: |given| Ok(Answer::new().figure("cycle", piece_time_s(given.number("rate")))),
};

/// Declaration of [`hole_time`].
pub const HOLE_TIME: Calculation = Calculation {
    name: "hole-time",
    title: "Holes within a time",
    stage: Stage::Plan,
    question: "How little time is there for each hole?",
    inputs: &[
        Input::count("holes", "holes in all").at_least(1.0).at_most(1_000_000.0),
        Input::count("sides", "sides worked at once").at_least(1.0).at_most(1000.0).or("1"),
        Input::quantity("limit", "s", "time allowed for the piece").over(0.0),
    ],
    outputs: &[
        Output::figure("each", "s", "for each hole, one after another"),
        Output::figure("holes_per_side", "", "holes for each head, on average"),
        Output::figure("rate", "pieces/h", "pieces an hour at least"),
    ],
    formula: "t/n; n/k; 3600/t",
    source: "definition; example common practice, no source",
    validity: "A bound for planning: the slowest head sets the cycle.",
    example: &[("holes", "53"), ("sides", "4"), ("limit", "120 s")],
    expected: &[("each", "2.264150943"), ("rate", "30.0")],
    run: |given| {
        let count = |name| u32::try_from(given.count(name)).unwrap_or(u32::MAX);
        let time = hole_time(HolesInTime {
            n_holes: count("holes"),
            n_sides: count("sides"),
            limit_s: given.number("limit"),
        })?;
        Ok(Answer::new()
            .figure("each", time.each_s)
            .figure("holes_per_side", time.holes_per_side)
            .figure("rate", time.pieces_per_h))
    },
};

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const TIME: OperationTime = OperationTime {
        approach_s: 1.0,
        cut_s: 10.0,
        dwell_s: 0.0,
        retract_s: 1.0,
        index_s: 0.0,
        load_s: 20.0,
        load_inside_s: 0.0,
        n_pieces: 2,
    };

    #[test]
    fn loading_longer_than_the_cut_sets_the_cycle() {
        let outside = operation_cycle(&TIME).unwrap();
        assert_eq!((outside.cycle_s, outside.piece_s), (32.0, 16.0));
        let inside = operation_cycle(&OperationTime { load_inside_s: 20.0, ..TIME }).unwrap();
        assert_eq!(inside.cycle_s, 20.0);
    }

    #[test]
    fn times_that_cannot_be_are_refused() {
        let more_inside = OperationTime { load_inside_s: 20.1, ..TIME };
        assert!(matches!(operation_cycle(&more_inside), Err(CycleError::Inside { .. })));
        for bad in [f64::NAN, f64::INFINITY, -0.1] {
            let bad = OperationTime { cut_s: bad, ..TIME };
            assert!(matches!(operation_cycle(&bad), Err(CycleError::Time { what: "cut", .. })));
        }
        let none = OperationTime { n_pieces: 0, ..TIME };
        assert!(matches!(operation_cycle(&none), Err(CycleError::Nothing { .. })));
        assert!(hole_time(HolesInTime { n_holes: 0, n_sides: 1, limit_s: 1.0 }).is_err());
        assert!(hole_time(HolesInTime { n_holes: 1, n_sides: 1, limit_s: f64::NAN }).is_err());
    }

    proptest! {
        #[test]
        fn rate_times_piece_time_is_an_hour(cut_s in 0.1..300.0f64, n_pieces in 1..20u32) {
            let cycle = operation_cycle(&OperationTime { cut_s, n_pieces, ..TIME }).unwrap();
            prop_assert!((cycle.pieces_per_h * cycle.piece_s / 3600.0 - 1.0).abs() < 1e-12);
        }
    }
}
