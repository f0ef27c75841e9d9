//! Gauge studies: how much of what is seen is the gauge's own doing.
//!
//! Several operators measure several pieces several times; [`repeatability_and_reproducibility`]
//! parts the scatter into that of the gauge repeating itself, of the operators, and of the pieces.

use crate::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage, Value};
use crate::distribution::f_beyond;
use crate::summary::sum;

/// Readings of a crossed study: every operator measures every piece the same number of times.
#[derive(Debug, Clone, PartialEq)]
pub struct CrossedReadings {
    n_pieces: usize,
    n_operators: usize,
    n_trials: usize,
    readings: Vec<f64>,
}

/// Why readings make no study.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum StudyError {
    /// Too few pieces, operators or trials.
    #[error(
        "{pieces} pieces, {operators} operators, {trials} trials; at least 2 of each are needed"
    )]
    TooFew {
        /// Pieces.
        pieces: usize,
        /// Operators.
        operators: usize,
        /// Trials.
        trials: usize,
    },
    /// Readings missing or too many.
    #[error("{got} readings; pieces × operators × trials make {wanted}")]
    Incomplete {
        /// How many there are.
        got: usize,
        /// How many there should be.
        wanted: usize,
    },
    /// A reading is no finite number.
    #[error("reading {position} is {value}; every reading must be a finite number")]
    NotFinite {
        /// Place, counted from 1.
        position: usize,
        /// What stood there.
        value: f64,
    },
    /// The gauge repeats itself exactly.
    #[error(
        "every trial repeats its reading exactly; the gauge's step is too coarse to show scatter"
    )]
    NoScatter,
}

impl CrossedReadings {
    /// Readings in the order piece by piece, in each operator by operator, in each trial by trial.
    ///
    /// # Errors
    /// [`StudyError`] unless there are two of each or more, and all readings are there.
    pub fn new(
        n_pieces: usize,
        n_operators: usize,
        n_trials: usize,
        readings: Vec<f64>,
    ) -> Result<Self, StudyError> {
        if n_pieces < 2 || n_operators < 2 || n_trials < 2 {
            let (pieces, operators, trials) = (n_pieces, n_operators, n_trials);
            return Err(StudyError::TooFew { pieces, operators, trials });
        }
        let wanted = n_pieces.saturating_mul(n_operators).saturating_mul(n_trials);
        if readings.len() != wanted {
            return Err(StudyError::Incomplete { got: readings.len(), wanted });
        }
        if let Some(i) = readings.iter().position(|x| !x.is_finite()) {
            return Err(StudyError::NotFinite { position: i + 1, value: readings[i] });
        }
        Ok(Self { n_pieces, n_operators, n_trials, readings })
    }
}

/// One line of the analysis of variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Source {
    /// Sum of squares, in the square of the readings' unit.
    pub squares: f64,
    /// Degrees of freedom.
    pub dof: f64,
}

impl Source {
    /// Mean square.
    #[must_use]
    pub fn mean_square(&self) -> f64 {
        self.squares / self.dof
    }
}

/// Variances by where they come from, in the square of the readings' unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Variances {
    /// The gauge repeating itself.
    pub repeatability: f64,
    /// Operator and piece together: some operators read some pieces differently.
    pub interaction: f64,
    /// The operators.
    pub operator: f64,
    /// The pieces.
    pub piece: f64,
}

impl Variances {
    /// Repeatability and reproducibility together: the gauge with its operators.
    #[must_use]
    pub fn gauge(&self) -> f64 {
        self.repeatability + self.interaction + self.operator
    }

    /// Standard deviation of the gauge with its operators, in the readings' unit.
    #[must_use]
    pub fn gauge_deviation(&self) -> f64 {
        self.gauge().sqrt()
    }

    /// The gauge's deviation as a share of that of all readings.
    #[must_use]
    pub fn share_of_total(&self) -> f64 {
        (self.gauge() / (self.gauge() + self.piece)).sqrt()
    }

    /// The gauge's six deviations as a share of a tolerance.
    #[must_use]
    pub fn share_of_tolerance(&self, tolerance: f64) -> f64 {
        6.0 * self.gauge_deviation() / tolerance
    }

    /// How many sizes the gauge can tell apart among these pieces: 1.41 times the pieces' deviation
    /// over the gauge's, not rounded.
    #[must_use]
    pub fn distinct_sizes(&self) -> f64 {
        1.41 * (self.piece / self.gauge()).sqrt()
    }
}

/// A study of repeatability and reproducibility.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Study {
    /// Of the pieces.
    pub piece: Source,
    /// Of the operators.
    pub operator: Source,
    /// Of operator and piece together.
    pub interaction: Source,
    /// Of the trials.
    pub repeatability: Source,
    /// Of all readings.
    pub total: Source,
    /// Mean square of pieces over that of the interaction.
    pub piece_ratio: f64,
    /// Mean square of operators over that of the interaction.
    pub operator_ratio: f64,
    /// Mean square of the interaction over that of the trials.
    pub interaction_ratio: f64,
    /// Probability of such an interaction by chance alone.
    pub interaction_chance: f64,
    /// Variances with the interaction as a source of its own.
    pub variances: Variances,
    /// Variances with the interaction pooled with the trials: for when it is no more than chance.
    pub pooled: Variances,
}

/// Parts the scatter of a crossed study by its sources.
///
/// # Formula
/// Two-way analysis of variance with interaction, all effects random; p pieces, o operators, r
/// trials: σ²_r = MS_e, σ²_i = (MS_i − MS_e)/r, σ²_o = (MS_o − MS_i)/(p·r), σ²_p =
/// (MS_p − MS_i)/(o·r); negative ones are set to 0.
///
/// # Given
/// [`CrossedReadings`].
///
/// # Returns
/// Sums of squares, their ratios, and the variances both ways.
///
/// # Errors
/// [`StudyError::NoScatter`] if all trials agree exactly.
///
/// # Validity
/// Pieces that span what the process makes, measured in random order without sight of earlier
/// readings; operators a sample of those who use the gauge.
///
/// # Source
/// Expected mean squares of the two-way random model (textbook; ISO 5725 in manner), from memory.
///
/// # Example
/// ```
/// use bedplate_gauge::study::{CrossedReadings, repeatability_and_reproducibility};
/// let readings = vec![1.0, 1.2, 1.1, 1.3, 3.0, 3.2, 3.1, 3.3];
/// let readings = CrossedReadings::new(2, 2, 2, readings).unwrap();
/// let study = repeatability_and_reproducibility(&readings).unwrap();
/// assert!((study.repeatability.mean_square() - 0.02).abs() < 1e-12);
/// ```
pub fn repeatability_and_reproducibility(readings: &CrossedReadings) -> Result<Study, StudyError> {
    let (p, o, r) = (readings.n_pieces, readings.n_operators, readings.n_trials);
    let (pieces, operators, trials) = (p as f64, o as f64, r as f64);
    // About the first reading, so that sizes near one another keep their digits.
    let x: Vec<f64> = readings.readings.iter().map(|x| x - readings.readings[0]).collect();
    let mean = |values: &mut dyn Iterator<Item = f64>, n: f64| sum(values) / n;
    let cell = |i: usize, j: usize| &x[(i * o + j) * r..][..r];
    let cell_mean = |i: usize, j: usize| mean(&mut cell(i, j).iter().copied(), trials);
    let piece_mean = |i: usize| mean(&mut (0..o).map(|j| cell_mean(i, j)), operators);
    let operator_mean = |j: usize| mean(&mut (0..p).map(|i| cell_mean(i, j)), pieces);
    let grand = mean(&mut x.iter().copied(), pieces * operators * trials);
    let cells = || (0..p).flat_map(|i| (0..o).map(move |j| (i, j)));
    let piece = Source {
        squares: operators * trials * sum((0..p).map(|i| (piece_mean(i) - grand).powi(2))),
        dof: pieces - 1.0,
    };
    let operator = Source {
        squares: pieces * trials * sum((0..o).map(|j| (operator_mean(j) - grand).powi(2))),
        dof: operators - 1.0,
    };
    let apart = |(i, j): (usize, usize)| {
        (cell_mean(i, j) - piece_mean(i) - operator_mean(j) + grand).powi(2)
    };
    let interaction = Source {
        squares: trials * sum(cells().map(apart)),
        dof: (pieces - 1.0) * (operators - 1.0),
    };
    let within = |(i, j): (usize, usize)| {
        let m = cell_mean(i, j);
        sum(cell(i, j).iter().map(|x| (x - m).powi(2)))
    };
    let repeatability =
        Source { squares: sum(cells().map(within)), dof: pieces * operators * (trials - 1.0) };
    let total = Source {
        squares: sum(x.iter().map(|x| (x - grand).powi(2))),
        dof: pieces * operators * trials - 1.0,
    };
    if repeatability.squares <= 0.0 {
        return Err(StudyError::NoScatter);
    }
    let lines = [piece, operator, interaction, repeatability, total];
    Ok(assemble(lines, (pieces, operators, trials)))
}

fn assemble(lines: [Source; 5], (pieces, operators, trials): (f64, f64, f64)) -> Study {
    let [piece, operator, interaction, repeatability, total] = lines;
    let [ms_p, ms_o, ms_i, ms_e] =
        [piece, operator, interaction, repeatability].map(|s| s.mean_square());
    let interaction_ratio = ms_i / ms_e;
    let variances = Variances {
        repeatability: ms_e,
        interaction: ((ms_i - ms_e) / trials).max(0.0),
        operator: ((ms_o - ms_i) / (pieces * trials)).max(0.0),
        piece: ((ms_p - ms_i) / (operators * trials)).max(0.0),
    };
    let ms_pooled =
        (interaction.squares + repeatability.squares) / (interaction.dof + repeatability.dof);
    let pooled = Variances {
        repeatability: ms_pooled,
        interaction: 0.0,
        operator: ((ms_o - ms_pooled) / (pieces * trials)).max(0.0),
        piece: ((ms_p - ms_pooled) / (operators * trials)).max(0.0),
    };
    Study {
        piece,
        operator,
        interaction,
        repeatability,
        total,
        piece_ratio: ms_p / ms_i,
        operator_ratio: ms_o / ms_i,
        interaction_ratio,
        interaction_chance: f_beyond(interaction_ratio, interaction.dof, repeatability.dof)
            .expect("two of each make one degree or more"),
        variances,
        pooled,
    }
}

/// A gauge study with several operators.
pub const GAUGE_STUDY: Calculation = Calculation {
    name: "gauge-study",
    title: "Repeatability and reproducibility",
    stage: Stage::Gauge,
    question: "How much of the scatter is the gauge's own, and can it tell the pieces apart?",
    inputs: &[
        Input::count("pieces", "how many pieces").at_least(2.0),
        Input::count("operators", "how many operators").at_least(2.0),
        Input::count("trials", "how often each operator measures each piece").at_least(2.0),
        Input::list(
            "readings",
            "mm",
            "piece by piece, in each operator by operator, in each trial by trial",
        ),
        Input::quantity("tolerance", "mm", "width of the limits; 0 if it is not asked for")
            .at_least(0.0)
            .or("0 mm"),
    ],
    outputs: &[
        Output::figure("repeatability", "µm", "standard deviation of the gauge repeating itself"),
        Output::figure("operator", "µm", "standard deviation of the operators"),
        Output::figure("interaction", "µm", "of operator and piece together"),
        Output::figure("piece", "µm", "standard deviation of the pieces"),
        Output::figure("gauge", "µm", "standard deviation of the gauge with its operators"),
        Output::figure("of_total", "%", "gauge's deviation of that of all readings"),
        Output::figure("of_tolerance", "%", "six deviations of the gauge of the tolerance"),
        Output::figure("distinct", "", "sizes the gauge can tell apart among these pieces"),
        Output::figure("interaction_chance", "", "probability of the interaction by chance"),
    ],
    formula: "σ²_r = MS_e, σ²_i = (MS_i − MS_e)/r, σ²_o = (MS_o − MS_i)/(p·r), \
              σ²_p = (MS_p − MS_i)/(o·r)",
    source: "two-way random model, expected mean squares (from memory)",
    validity: "Pieces that span the process, measured in random order and blind.",
    // Computed with numpy, checked against statsmodels 0.15.0.
    example: &[
        ("pieces", "8"),
        ("operators", "2"),
        ("trials", "2"),
        (
            "readings",
            "24.999, 24.998, 25.003, 24.999, 25.010, 25.007, 25.009, 25.008, 25.005, 25.005, \
             25.008, 25.007, 25.006, 25.009, 25.009, 25.007, 25.015, 25.012, 25.016, 25.016, \
             24.989, 24.986, 24.992, 24.993, 24.994, 24.996, 24.999, 24.996, 24.992, 24.992, \
             24.994, 24.994 mm",
        ),
    ],
    expected: &[
        ("gauge", "2.128673"),
        ("of_total", "24.08525"),
        ("distinct", "5.681867"),
        ("interaction_chance", "0.466275"),
    ],
    run: run_study,
};

fn run_study(given: &Given) -> Result<Answer, Refused> {
    let count = |name| given.count(name);
    let readings = CrossedReadings::new(
        count("pieces"),
        count("operators"),
        count("trials"),
        given.list("readings").to_vec(),
    );
    let refuse = |e: StudyError| Refused::because("readings", e.to_string());
    let study = repeatability_and_reproducibility(&readings.map_err(refuse)?).map_err(refuse)?;
    let v = study.variances;
    let tolerance = given.number("tolerance");
    let of_tolerance = if tolerance > 0.0 {
        Value::Figure(100.0 * v.share_of_tolerance(tolerance))
    } else {
        Value::Word("no tolerance given".to_owned())
    };
    Ok(Answer::new()
        .figure("repeatability", v.repeatability.sqrt() * 1e3)
        .figure("operator", v.operator.sqrt() * 1e3)
        .figure("interaction", v.interaction.sqrt() * 1e3)
        .figure("piece", v.piece.sqrt() * 1e3)
        .figure("gauge", v.gauge_deviation() * 1e3)
        .figure("of_total", 100.0 * v.share_of_total())
        .with("of_tolerance", of_tolerance)
        .figure("distinct", v.distinct_sizes())
        .figure("interaction_chance", study.interaction_chance))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn readings_that_make_no_study_are_refused_in_words() {
        let words =
            |p, o, r, x: Vec<f64>| CrossedReadings::new(p, o, r, x).unwrap_err().to_string();
        assert!(words(1, 2, 2, vec![0.0; 4]).contains("1 pieces, 2 operators"));
        assert!(words(2, 2, 2, vec![0.0; 7]).contains("7 readings"));
        assert!(words(2, 2, 2, vec![f64::NAN; 8]).contains("reading 1 is NaN"));
        assert!(words(usize::MAX, 2, 2, vec![]).contains("0 readings"));
        let flat = CrossedReadings::new(2, 2, 2, vec![1.0; 8]).unwrap();
        let e = repeatability_and_reproducibility(&flat).unwrap_err();
        assert!(e.to_string().contains("too coarse"));
    }

    proptest! {
        #[test]
        fn sources_add_up_to_the_whole(x in prop::collection::vec(-1.0f64..1.0, 24)) {
            let readings = CrossedReadings::new(4, 3, 2, x).unwrap();
            let s = repeatability_and_reproducibility(&readings).unwrap();
            let parts = [s.piece, s.operator, s.interaction, s.repeatability];
            let squares: f64 = parts.iter().map(|p| p.squares).sum();
            let dof: f64 = parts.iter().map(|p| p.dof).sum();
            prop_assert!((squares - s.total.squares).abs() < 1e-11);
            prop_assert_eq!(dof, s.total.dof);
        }

        #[test]
        fn shift_changes_nothing_and_scale_scales(x in prop::collection::vec(-1.0f64..1.0, 12)) {
            let of = |x: Vec<f64>| {
                let readings = CrossedReadings::new(3, 2, 2, x).unwrap();
                repeatability_and_reproducibility(&readings).unwrap().variances.gauge_deviation()
            };
            let (a, b) = (of(x.clone()), of(x.iter().map(|x| 4.0 * x + 50.0).collect()));
            prop_assert!((4.0 * a - b).abs() < 1e-9);
        }
    }
}
