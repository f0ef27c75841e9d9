//! Control charts: limits from a base period, and the signals of what follows.
//!
//! First take limits from a base period ([`individuals_limits`], [`group_limits`],
//! [`count_limits`]), keep them, then lay readings on them ([`individuals_chart`],
//! [`group_chart`], [`count_chart`]): limits that move with the readings would hide what they are
//! to show. Patterns are found by [`crate::run_rules`]. A [`Track`] holds what is drawn.

use crate::calculation::{
    Answer, Calculation, Column, Given, Input, Output, Refused, Stage, Value,
};
use crate::factor::{Factors, LARGEST_GROUP, SMALLEST_GROUP};
use crate::run_rules::{RunRules, Signal, signals};
use crate::summary::{SummaryError, sum, summary};

/// Centre line and control limits of one track.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ControlLimits {
    /// Lower control limit.
    pub lower: f64,
    /// Centre line.
    pub centre: f64,
    /// Upper control limit.
    pub upper: f64,
}

impl ControlLimits {
    /// How far `value` lies from the centre, in thirds of the distance to the limit on its side.
    /// With nothing between centre and limit, any value off the centre lies endlessly far.
    #[must_use]
    pub fn sigmas(&self, value: f64) -> f64 {
        let offset = value - self.centre;
        let reach = if offset > 0.0 { self.upper - self.centre } else { self.centre - self.lower };
        if offset == 0.0 { 0.0 } else { 3.0 * offset / reach }
    }
}

/// A point of a track and the reading or group it belongs to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Index of the reading or group, from 0.
    pub index: usize,
    /// What is plotted.
    pub value: f64,
}

/// One line of a chart, ready to be drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Track {
    /// Centre line and limits.
    pub limits: ControlLimits,
    /// The points in order.
    pub points: Vec<Point>,
    /// Patterns found; their places count points of this track.
    pub signals: Vec<Signal>,
}

impl Track {
    fn new(limits: ControlLimits, points: Vec<Point>, rules: &RunRules) -> Self {
        let z: Vec<f64> = points.iter().map(|p| limits.sigmas(p.value)).collect();
        let signals = signals(&z, rules);
        Self { limits, points, signals }
    }

    /// Whether any pattern ends at this point of the track.
    #[must_use]
    pub fn signals_at(&self, point: usize) -> bool {
        self.signals.iter().any(|s| s.last == point)
    }
}

/// Why there is no chart.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ChartError {
    /// The readings could not be summed up.
    #[error(transparent)]
    Readings(#[from] SummaryError),
    /// Too few readings or groups for limits.
    #[error("{got} readings or groups in the base period; at least 2 are needed for limits")]
    TooFew {
        /// How many there were.
        got: usize,
    },
    /// A group's size is not tabulated.
    #[error("group {group} holds {got} pieces; groups of 2 to 25 can be charted")]
    GroupSize {
        /// Which group, counted from 1.
        group: usize,
        /// How many pieces it holds.
        got: usize,
    },
    /// Groups of different sizes.
    #[error("group {group} holds {got} pieces, the first one {first}; all must hold the same")]
    GroupsDiffer {
        /// Which group, counted from 1.
        group: usize,
        /// How many pieces it holds.
        got: usize,
        /// How many the first holds.
        first: usize,
    },
    /// The base period does not scatter at all.
    #[error("no reading of the base period differs from the next; limits need some scatter")]
    NoScatter,
    /// A count below zero.
    #[error("count {position} is {value}; a count is 0 or more")]
    NegativeCount {
        /// Place in the series, counted from 1.
        position: usize,
        /// What stood there.
        value: f64,
    },
}

/// Limits of a chart of single readings and of the change from each to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IndividualsLimits {
    /// Of the readings.
    pub individuals: ControlLimits,
    /// Of the moving range of two.
    pub moving_range: ControlLimits,
    /// Standard deviation from piece to piece, from the mean moving range.
    pub deviation: f64,
    /// About how many degrees of freedom that deviation has.
    pub dof: f64,
}

/// A chart of single readings and of the change from each to the next.
#[derive(Debug, Clone, PartialEq)]
pub struct IndividualsChart {
    /// The readings.
    pub individuals: Track,
    /// The moving range of two; a point belongs to the later reading.
    pub moving_range: Track,
}

/// Degrees of freedom of a mean moving range, per range: the variance of the mean moving range of
/// normal readings is (d₃² + 2c)/d₂² = 0.8265 per range, c = (4/π)(√3/2 + π/12) − 4/π being the
/// covariance of neighbouring ranges, and that of a standard deviation with ν degrees is 1/(2ν).
const DOF_PER_MOVING_RANGE: f64 = 0.605;

/// Limits from a base period of single readings.
///
/// # Formula
/// x̄ ± 3·(mR̄/d₂), d₂ = 1.128; moving range from 0 to D₄·mR̄, D₄ = 3.267.
///
/// # Given
/// `base`: readings in order; `new_starts`: indices of readings before which something was changed
/// (a tool reset): no range is taken across them. Starts outside the readings are ignored.
///
/// # Returns
/// Limits in the unit of the readings.
///
/// # Errors
/// [`ChartError`] for fewer than two readings, none that differ, or no numbers.
///
/// # Validity
/// Readings that scatter about one mean in the base period; normal scatter for the limits to mean
/// three sigma.
///
/// # Source
/// ISO 7870-2 (chart of individuals); checked against the NIST/SEMATECH e-Handbook 6.3.2.2, which
/// rounds d₂ to 1.128.
///
/// # Example
/// ```
/// let base = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
/// let limits = bedplate_gauge::chart::individuals_limits(&base, &[]).unwrap();
/// assert_eq!(format!("{:.2} {:.4}", limits.individuals.centre, limits.moving_range.centre),
///     "50.81 1.8778");
/// ```
pub fn individuals_limits(
    base: &[f64],
    new_starts: &[usize],
) -> Result<IndividualsLimits, ChartError> {
    let series = summary(base)?;
    let ranges = moving_ranges(base, new_starts);
    if base.len() < 2 || ranges.is_empty() {
        return Err(ChartError::TooFew { got: base.len() });
    }
    let n = ranges.len() as f64;
    let mean_range = sum(ranges.iter().map(|p| p.value)) / n;
    if mean_range <= 0.0 {
        return Err(ChartError::NoScatter);
    }
    let factors = Factors::of_groups(2).expect("two is tabulated");
    let deviation = mean_range / factors.d2;
    let centre = series.mean;
    Ok(IndividualsLimits {
        individuals: ControlLimits {
            lower: centre - 3.0 * deviation,
            centre,
            upper: centre + 3.0 * deviation,
        },
        moving_range: ControlLimits {
            lower: 0.0,
            centre: mean_range,
            upper: factors.upper_d4() * mean_range,
        },
        deviation,
        dof: (DOF_PER_MOVING_RANGE * n).max(1.0),
    })
}

fn moving_ranges(readings: &[f64], new_starts: &[usize]) -> Vec<Point> {
    (1..readings.len())
        .filter(|i| !new_starts.contains(i))
        .map(|index| Point { index, value: (readings[index] - readings[index - 1]).abs() })
        .collect()
}

/// Lays readings on limits taken before.
///
/// # Given
/// As [`individuals_limits`]; `rules`: the run rules watched on the readings. The moving range is
/// watched for points over its limit alone.
///
/// # Errors
/// [`ChartError::Readings`] for none, or for one that is no finite number.
pub fn individuals_chart(
    readings: &[f64],
    new_starts: &[usize],
    limits: &IndividualsLimits,
    rules: &RunRules,
) -> Result<IndividualsChart, ChartError> {
    summary(readings)?;
    let points = readings.iter().enumerate().map(|(index, &value)| Point { index, value });
    let ranges = moving_ranges(readings, new_starts);
    Ok(IndividualsChart {
        individuals: Track::new(limits.individuals, points.collect(), rules),
        moving_range: Track::new(limits.moving_range, ranges, &RunRules::beyond_alone()),
    })
}

/// By what the scatter within groups is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Within {
    /// The range, largest less smallest.
    Range,
    /// The standard deviation.
    StandardDeviation,
}

/// Limits of a chart of group means and of the scatter within groups.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GroupLimits {
    /// Of the group means.
    pub mean: ControlLimits,
    /// Of the range or standard deviation within groups.
    pub scatter: ControlLimits,
    /// By what the scatter is measured.
    pub within: Within,
    /// Pieces in a group.
    pub group_size: usize,
    /// Standard deviation within groups.
    pub deviation: f64,
}

/// A chart of group means and of the scatter within groups.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupChart {
    /// The means.
    pub mean: Track,
    /// The ranges or standard deviations.
    pub scatter: Track,
}

/// Limits from a base period of groups.
///
/// # Formula
/// x̿ ± A₂·R̄ and D₃·R̄ … D₄·R̄ by the range; x̿ ± A₃·s̄ and B₃·s̄ … B₄·s̄ by the standard
/// deviation.
///
/// # Given
/// Two groups or more, all of the same 2 to 25 pieces, in order.
///
/// # Returns
/// Limits in the unit of the readings.
///
/// # Errors
/// [`ChartError`] for groups too few, too small, too large or unlike, or without scatter.
///
/// # Validity
/// Pieces of a group made close together, so that the scatter within it is that of the process
/// alone.
///
/// # Source
/// ISO 7870-2, factors of [`crate::factor`].
///
/// # Example
/// ```
/// use bedplate_gauge::chart::{Within, group_limits};
/// let groups = vec![vec![1.0, 3.0], vec![2.0, 2.5]];
/// let limits = group_limits(&groups, Within::Range).unwrap();
/// assert_eq!((limits.mean.centre, limits.scatter.centre), (2.125, 1.25));
/// ```
pub fn group_limits(groups: &[Vec<f64>], within: Within) -> Result<GroupLimits, ChartError> {
    let figures = group_figures(groups, within)?;
    if groups.len() < 2 {
        return Err(ChartError::TooFew { got: groups.len() });
    }
    let n = groups.len() as f64;
    let centre = sum(figures.iter().map(|f| f.0)) / n;
    let scatter = sum(figures.iter().map(|f| f.1)) / n;
    if scatter <= 0.0 {
        return Err(ChartError::NoScatter);
    }
    let group_size = groups[0].len();
    let f = Factors::of_groups(group_size).expect("the size of the groups is checked");
    let (reach, lower, upper, unbias) = match within {
        Within::Range => (f.a2(), f.lower_d3(), f.upper_d4(), f.d2),
        Within::StandardDeviation => (f.a3(), f.lower_b3(), f.upper_b4(), f.c4),
    };
    Ok(GroupLimits {
        mean: ControlLimits {
            lower: centre - reach * scatter,
            centre,
            upper: centre + reach * scatter,
        },
        scatter: ControlLimits { lower: lower * scatter, centre: scatter, upper: upper * scatter },
        within,
        group_size,
        deviation: scatter / unbias,
    })
}

/// Mean and scatter of each group.
fn group_figures(groups: &[Vec<f64>], within: Within) -> Result<Vec<(f64, f64)>, ChartError> {
    let first = groups.first().ok_or(ChartError::TooFew { got: 0 })?.len();
    let mut figures = Vec::with_capacity(groups.len());
    for (i, group) in groups.iter().enumerate() {
        let (group_number, got) = (i + 1, group.len());
        if !(SMALLEST_GROUP..=LARGEST_GROUP).contains(&got) {
            return Err(ChartError::GroupSize { group: group_number, got });
        }
        if got != first {
            return Err(ChartError::GroupsDiffer { group: group_number, got, first });
        }
        let s = summary(group)?;
        let scatter = match within {
            Within::Range => s.range(),
            Within::StandardDeviation => s.standard_deviation.unwrap_or(0.0),
        };
        figures.push((s.mean, scatter));
    }
    Ok(figures)
}

/// Lays groups on limits taken before; the scatter is watched for points beyond its limits alone.
///
/// # Errors
/// [`ChartError`] if the groups are not of the size the limits are for, or hold no numbers.
pub fn group_chart(
    groups: &[Vec<f64>],
    limits: &GroupLimits,
    rules: &RunRules,
) -> Result<GroupChart, ChartError> {
    let figures = group_figures(groups, limits.within)?;
    if groups[0].len() != limits.group_size {
        let (got, first) = (groups[0].len(), limits.group_size);
        return Err(ChartError::GroupsDiffer { group: 1, got, first });
    }
    let points = |pick: fn(&(f64, f64)) -> f64| -> Vec<Point> {
        figures.iter().enumerate().map(|(index, f)| Point { index, value: pick(f) }).collect()
    };
    Ok(GroupChart {
        mean: Track::new(limits.mean, points(|f| f.0), rules),
        scatter: Track::new(limits.scatter, points(|f| f.1), &RunRules::beyond_alone()),
    })
}

/// Limits of a chart of counts (defects a piece, a day), from a base period.
///
/// # Formula
/// c̄ ± 3√c̄, the lower limit not below 0.
///
/// # Given
/// Two counts or more from equal lots, each 0 or more.
///
/// # Errors
/// [`ChartError`] for fewer than two, a negative one, or none but zeros.
///
/// # Validity
/// Defects that come independently and seldom (Poisson); c̄ of about 5 or more for the limits to
/// mean three sigma.
///
/// # Source
/// ISO 7870-2 (c chart).
///
/// # Example
/// ```
/// let limits = bedplate_gauge::chart::count_limits(&[16.0, 14.0, 18.0, 16.0]).unwrap();
/// assert_eq!((limits.lower, limits.centre, limits.upper), (4.0, 16.0, 28.0));
/// ```
pub fn count_limits(base: &[f64]) -> Result<ControlLimits, ChartError> {
    check_counts(base)?;
    if base.len() < 2 {
        return Err(ChartError::TooFew { got: base.len() });
    }
    let centre = summary(base)?.mean;
    if centre <= 0.0 {
        return Err(ChartError::NoScatter);
    }
    let reach = 3.0 * centre.sqrt();
    Ok(ControlLimits { lower: (centre - reach).max(0.0), centre, upper: centre + reach })
}

/// Lays counts on limits taken before.
///
/// # Errors
/// [`ChartError`] for a negative count or what is no number.
pub fn count_chart(
    counts: &[f64],
    limits: &ControlLimits,
    rules: &RunRules,
) -> Result<Track, ChartError> {
    check_counts(counts)?;
    let points = counts.iter().enumerate().map(|(index, &value)| Point { index, value });
    Ok(Track::new(*limits, points.collect(), rules))
}

fn check_counts(counts: &[f64]) -> Result<(), ChartError> {
    summary(counts)?;
    match counts.iter().position(|&c| c < 0.0) {
        Some(i) => Err(ChartError::NegativeCount { position: i + 1, value: counts[i] }),
        None => Ok(()),
    }
}

const SIGNAL_COLUMNS: &[Column] = &[
    Column { name: "point", unit: "", meaning: "completing point, counted from 1" },
    Column { name: "rule", unit: "", meaning: "number of the rule" },
    Column { name: "first", unit: "", meaning: "first point of the pattern, counted from 1" },
];

fn signal_table(track: &Track) -> Value {
    let row =
        |s: &Signal| vec![(s.last + 1) as f64, f64::from(s.rule.number()), (s.first + 1) as f64];
    Value::Table(SIGNAL_COLUMNS, track.signals.iter().map(row).collect())
}

const RULES_INPUT: Input = Input::choice(
    "rules",
    &["ISO 7870-2", "ISO 8258"],
    "run rules watched: three with runs of seven, or all eight",
);

fn rules_of(given: &Given) -> RunRules {
    if given.word("rules") == "ISO 8258" { RunRules::iso_8258() } else { RunRules::iso_7870_2() }
}

/// The chart of individuals and moving range.
pub const INDIVIDUALS_CHART: Calculation = Calculation {
    name: "individuals-chart",
    title: "Chart of individuals and moving range",
    stage: Stage::Control,
    question: "Is the process still where it was, piece by piece?",
    inputs: &[
        Input::list("readings", "mm", "readings in order"),
        Input::count("base", "how many of the first readings the limits are taken from; 0 for all")
            .or("0"),
        RULES_INPUT.or("ISO 7870-2"),
    ],
    outputs: &[
        Output::figure("centre", "mm", "centre line"),
        Output::figure("lower", "mm", "lower control limit"),
        Output::figure("upper", "mm", "upper control limit"),
        Output::figure("mean_range", "mm", "mean moving range"),
        Output::figure("upper_range", "mm", "upper limit of the moving range"),
        Output::figure("sd", "mm", "standard deviation from piece to piece"),
        Output::figure("signals", "", "patterns found"),
    ],
    formula: "x̄ ± 3·mR̄/d₂, d₂ = 1.128; D₄·mR̄",
    source: "ISO 7870-2; NIST/SEMATECH e-Handbook 6.3.2.2",
    validity: "A base period without shifts; normal scatter for three sigma.",
    // NIST/SEMATECH e-Handbook 6.3.2.2 for centre and mean range; limits with unrounded d₂.
    example: &[("readings", "49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1 mm")],
    expected: &[
        ("centre", "50.81"),
        ("mean_range", "1.8778"),
        ("upper", "55.80241"),
        ("lower", "45.81759"),
    ],
    run: run_individuals,
};

fn run_individuals(given: &Given) -> Result<Answer, Refused> {
    let readings = given.list("readings");
    let base = match given.count("base") {
        0 => readings,
        n => readings
            .get(..n)
            .ok_or_else(|| Refused::because("base", "there are fewer readings than that"))?,
    };
    let refuse = |e: ChartError| Refused::because("readings", e.to_string());
    let limits = individuals_limits(base, &[]).map_err(refuse)?;
    let chart = individuals_chart(readings, &[], &limits, &rules_of(given)).map_err(refuse)?;
    Ok(Answer::new()
        .figure("centre", limits.individuals.centre)
        .figure("lower", limits.individuals.lower)
        .figure("upper", limits.individuals.upper)
        .figure("mean_range", limits.moving_range.centre)
        .figure("upper_range", limits.moving_range.upper)
        .figure("sd", limits.deviation)
        .with("signals", signal_table(&chart.individuals)))
}

/// The chart of means and of ranges or standard deviations.
pub const GROUP_CHART: Calculation = Calculation {
    name: "mean-and-range-chart",
    title: "Chart of means and ranges",
    stage: Stage::Control,
    question: "Is the process still where it was, group by group?",
    inputs: &[
        Input::list("readings", "mm", "readings in order, group after group"),
        Input::count("group_size", "pieces in a group").at_least(2.0).at_most(25.0),
        Input::choice("within", &["range", "standard deviation"], "scatter within groups by")
            .or("range"),
        RULES_INPUT.or("ISO 7870-2"),
    ],
    outputs: &[
        Output::figure("centre", "mm", "mean of the means"),
        Output::figure("lower", "mm", "lower control limit of the means"),
        Output::figure("upper", "mm", "upper control limit of the means"),
        Output::figure("scatter", "mm", "mean range or standard deviation"),
        Output::figure("lower_scatter", "mm", "its lower control limit"),
        Output::figure("upper_scatter", "mm", "its upper control limit"),
        Output::figure("sd", "mm", "standard deviation within groups"),
        Output::figure("signals", "", "patterns found among the means"),
    ],
    formula: "x̿ ± A₂·R̄, D₃·R̄ … D₄·R̄; or x̿ ± A₃·s̄, B₃·s̄ … B₄·s̄",
    source: "ISO 7870-2",
    validity: "Groups of pieces made close together.",
    // Arithmetic with A₂ = 1.880 and D₄ = 3.267 of printed tables for groups of two.
    example: &[("readings", "1, 3, 2, 2.5 mm"), ("group_size", "2")],
    expected: &[("centre", "2.125"), ("scatter", "1.25"), ("upper", "4.475")],
    run: run_groups,
};

fn run_groups(given: &Given) -> Result<Answer, Refused> {
    let (readings, size) = (given.list("readings"), given.count("group_size"));
    if size == 0 || readings.len() % size != 0 {
        let reason = format!("{} readings do not make whole groups of {size}", readings.len());
        return Err(Refused::because("readings", reason));
    }
    let groups: Vec<Vec<f64>> = readings.chunks(size).map(<[f64]>::to_vec).collect();
    let within =
        if given.word("within") == "range" { Within::Range } else { Within::StandardDeviation };
    let refuse = |e: ChartError| Refused::because("readings", e.to_string());
    let limits = group_limits(&groups, within).map_err(refuse)?;
    let chart = group_chart(&groups, &limits, &rules_of(given)).map_err(refuse)?;
    Ok(Answer::new()
        .figure("centre", limits.mean.centre)
        .figure("lower", limits.mean.lower)
        .figure("upper", limits.mean.upper)
        .figure("scatter", limits.scatter.centre)
        .figure("lower_scatter", limits.scatter.lower)
        .figure("upper_scatter", limits.scatter.upper)
        .figure("sd", limits.deviation)
        .with("signals", signal_table(&chart.mean)))
}

/// The chart of counts.
pub const COUNT_CHART: Calculation = Calculation {
    name: "count-chart",
    title: "Chart of counts",
    stage: Stage::Control,
    question: "Are there more defects than chance makes?",
    inputs: &[
        Input::list("counts", "", "defects in equal lots, in order"),
        RULES_INPUT.or("ISO 7870-2"),
    ],
    outputs: &[
        Output::figure("centre", "", "mean count"),
        Output::figure("lower", "", "lower control limit"),
        Output::figure("upper", "", "upper control limit"),
        Output::figure("signals", "", "patterns found"),
    ],
    formula: "c̄ ± 3√c̄",
    source: "ISO 7870-2 (c chart); data of the NIST/SEMATECH e-Handbook 6.3.3.1",
    validity: "Defects that come independently (Poisson), five or more a lot.",
    // NIST/SEMATECH e-Handbook 6.3.3.1.
    example: &[(
        "counts",
        "16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14, 16, 15, 13, 14, 16, 11, 20, 11, 19, \
         16, 31, 13",
    )],
    expected: &[("centre", "16"), ("lower", "4"), ("upper", "28")],
    run: run_counts,
};

fn run_counts(given: &Given) -> Result<Answer, Refused> {
    let refuse = |e: ChartError| Refused::because("counts", e.to_string());
    let counts = given.list("counts");
    let limits = count_limits(counts).map_err(refuse)?;
    let track = count_chart(counts, &limits, &rules_of(given)).map_err(refuse)?;
    Ok(Answer::new()
        .figure("centre", limits.centre)
        .figure("lower", limits.lower)
        .figure("upper", limits.upper)
        .with("signals", signal_table(&track)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_reset_takes_no_range_across_it() {
        let climb = [1.0, 2.0, 3.0, 1.0, 2.0, 3.0];
        let blind = individuals_limits(&climb, &[]).unwrap();
        let told = individuals_limits(&climb, &[3]).unwrap();
        assert_eq!(told.moving_range.centre, 1.0);
        assert!(blind.moving_range.centre > 1.0);
        let rules = RunRules::iso_7870_2();
        let chart = individuals_chart(&climb, &[3], &told, &rules).unwrap();
        let indices: Vec<_> = chart.moving_range.points.iter().map(|p| p.index).collect();
        assert_eq!(indices, [1, 2, 4, 5]);
    }

    #[test]
    fn what_gives_no_limits_is_refused_in_words() {
        let words = |base: &[f64]| individuals_limits(base, &[]).unwrap_err().to_string();
        assert!(words(&[]).contains("there are no readings"));
        assert!(words(&[1.0]).contains("1 readings or groups"));
        assert!(words(&[1.0, 1.0]).contains("some scatter"));
        assert!(words(&[1.0, f64::NAN]).contains("reading 2 is NaN"));
        let groups = |g: &[&[f64]]| {
            let g: Vec<Vec<f64>> = g.iter().map(|x| x.to_vec()).collect();
            group_limits(&g, Within::Range).unwrap_err().to_string()
        };
        assert!(groups(&[&[1.0], &[2.0]]).contains("group 1 holds 1 pieces"));
        assert!(groups(&[&[1.0, 2.0], &[2.0, 3.0, 4.0]]).contains("the first one 2"));
        assert!(groups(&[&[1.0, 2.0]]).contains("at least 2"));
        assert!(groups(&[&[1.0, 1.0], &[2.0, 2.0]]).contains("some scatter"));
        assert!(count_limits(&[1.0, -1.0]).unwrap_err().to_string().contains("count 2 is -1"));
    }

    #[test]
    fn centre_and_limits_stand_at_nought_and_three_sigma() {
        let limits = ControlLimits { lower: 0.0, centre: 1.0, upper: 4.0 };
        let z: Vec<f64> = [0.0, 1.0, 4.0, 2.0].map(|x| limits.sigmas(x)).to_vec();
        assert_eq!(z, [-3.0, 0.0, 3.0, 1.0]);
        let point = ControlLimits { lower: 1.0, centre: 1.0, upper: 1.0 };
        assert_eq!(point.sigmas(1.0), 0.0);
        assert!(point.sigmas(1.1) > 1e100 && point.sigmas(0.9) < -1e100);
    }

    #[test]
    fn moving_ranges_have_the_degrees_of_freedom_derived() {
        let pi = std::f64::consts::PI;
        let covariance = 4.0 / pi * (3f64.sqrt() / 2.0 + pi / 12.0) - 4.0 / pi;
        let f = Factors::of_groups(2).unwrap();
        let variance = (f.d3 * f.d3 + 2.0 * covariance) / (f.d2 * f.d2);
        assert!((0.5 / variance - DOF_PER_MOVING_RANGE).abs() < 5e-4);
    }

    proptest! {
        #[test]
        fn shift_and_scale_carry_the_limits_along(
            xs in prop::collection::vec(-1.0f64..1.0, 3..40), a in -100.0f64..100.0
        ) {
            let moved: Vec<f64> = xs.iter().map(|x| 2.0 * x + a).collect();
            let of = |xs: &[f64]| individuals_limits(xs, &[]).unwrap();
            let (p, q) = (of(&xs), of(&moved));
            prop_assert!((2.0 * p.individuals.upper + a - q.individuals.upper).abs() < 1e-10);
            prop_assert!((2.0 * p.deviation - q.deviation).abs() < 1e-10);
        }

        #[test]
        fn any_readings_make_a_chart_or_a_refusal(
            xs in prop::collection::vec(any::<f64>(), 0..20), size in 0usize..6
        ) {
            if let Ok(limits) = individuals_limits(&xs, &[1, 99]) {
                let _ = individuals_chart(&xs, &[], &limits, &RunRules::iso_8258());
            }
            let groups: Vec<Vec<f64>> = xs.chunks(size.max(1)).map(<[f64]>::to_vec).collect();
            if let Ok(limits) = group_limits(&groups, Within::StandardDeviation) {
                let _ = group_chart(&groups, &limits, &RunRules::iso_8258());
            }
            let _ = count_limits(&xs);
        }
    }
}
