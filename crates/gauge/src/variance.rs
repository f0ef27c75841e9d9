//! Whether groups differ: analysis of variance by one way, and tests of equal scatter.
//!
//! Readings are taken about the first one, so that 10¹² + 0.4 keeps the digits in which it
//! differs.

use crate::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};
use crate::distribution::{chi_square_beyond, f_beyond};
use crate::summary::{SummaryError, sum, summary};

/// Analysis of variance by one way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneWay {
    /// Sum of squares between groups, in the square of the readings' unit.
    pub squares_between: f64,
    /// Degrees of freedom between groups.
    pub dof_between: f64,
    /// Sum of squares within groups.
    pub squares_within: f64,
    /// Degrees of freedom within groups.
    pub dof_within: f64,
    /// Mean square between over mean square within.
    pub ratio: f64,
    /// Probability of such a ratio by chance alone, were the groups alike.
    pub chance: f64,
}

/// A test of equal scatter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScatterTest {
    /// The statistic of the test.
    pub statistic: f64,
    /// Probability of such a statistic by chance alone, were the scatters alike.
    pub chance: f64,
}

/// Why groups cannot be compared.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum VarianceError {
    /// A group could not be summed up.
    #[error(transparent)]
    Readings(#[from] SummaryError),
    /// Too few groups.
    #[error("{got} groups; at least 2 are needed")]
    TooFewGroups {
        /// How many there were.
        got: usize,
    },
    /// Too few readings.
    #[error("{wanted} readings or more are needed in {place}")]
    TooFew {
        /// How many are needed.
        wanted: usize,
        /// Where.
        place: &'static str,
    },
    /// A group, or all of them, do not scatter.
    #[error("the readings within the groups do not scatter; nothing can be compared with it")]
    NoScatter,
}

/// Groups taken about one reading near them all.
fn near_nought(groups: &[Vec<f64>]) -> Result<Vec<Vec<f64>>, VarianceError> {
    if groups.len() < 2 {
        return Err(VarianceError::TooFewGroups { got: groups.len() });
    }
    for group in groups {
        summary(group)?;
    }
    let origin = groups[0][0];
    Ok(groups.iter().map(|g| g.iter().map(|x| x - origin).collect()).collect())
}

/// Analysis of variance by one way: do the means of the groups differ?
///
/// # Formula
/// SS_b = Σ nᵢ·(x̄ᵢ − x̄)², SS_w = ΣΣ(x − x̄ᵢ)², F = (SS_b/(g − 1))/(SS_w/(n − g)).
///
/// # Given
/// Two groups or more of one reading or more each, at least one group of two.
///
/// # Returns
/// [`OneWay`].
///
/// # Errors
/// [`VarianceError`].
///
/// # Validity
/// Normal scatter of the same size in all groups.
///
/// # Source
/// Textbook analysis of variance; checked against the NIST StRD data sets.
///
/// # Example
/// ```
/// let groups = vec![vec![1.0, 2.0, 3.0], vec![2.0, 3.0, 4.0]];
/// let v = bedplate_gauge::variance::one_way(&groups).unwrap();
/// assert_eq!((v.squares_between, v.squares_within, v.ratio), (1.5, 4.0, 1.5));
/// ```
pub fn one_way(groups: &[Vec<f64>]) -> Result<OneWay, VarianceError> {
    let groups = near_nought(groups)?;
    let n: usize = groups.iter().map(Vec::len).sum();
    if n <= groups.len() {
        return Err(VarianceError::TooFew { wanted: 2, place: "one of the groups" });
    }
    let total = sum(groups.iter().flatten().copied()) / n as f64;
    let means: Vec<f64> = groups.iter().map(|g| sum(g.iter().copied()) / g.len() as f64).collect();
    let pairs = || groups.iter().zip(&means);
    let squares_between = sum(pairs().map(|(g, m)| g.len() as f64 * (m - total).powi(2)));
    let squares_within = sum(pairs().map(|(g, m)| {
        let left = sum(g.iter().map(|x| x - m));
        sum(g.iter().map(|x| (x - m).powi(2))) - left * left / g.len() as f64
    }));
    if squares_within <= 0.0 {
        return Err(VarianceError::NoScatter);
    }
    let (dof_between, dof_within) = ((groups.len() - 1) as f64, (n - groups.len()) as f64);
    let ratio = (squares_between / dof_between) / (squares_within / dof_within);
    let chance = f_beyond(ratio, dof_between, dof_within).expect("both are whole and positive");
    Ok(OneWay { squares_between, dof_between, squares_within, dof_within, ratio, chance })
}

/// Bartlett's test of equal scatter, for readings known to be normal.
///
/// # Formula
/// T = ((n − g)·ln s_p² − Σ(nᵢ − 1)·ln sᵢ²)/(1 + (Σ 1/(nᵢ − 1) − 1/(n − g))/(3(g − 1))), as
/// chi-square with g − 1 degrees.
///
/// # Given
/// Two groups or more of two readings or more each, each with some scatter.
///
/// # Errors
/// [`VarianceError`].
///
/// # Validity
/// Normal readings; the test takes a lack of normality for a difference of scatter.
///
/// # Source
/// NIST/SEMATECH e-Handbook 1.3.5.7.
///
/// # Example
/// ```
/// let alike = vec![vec![1.0, 2.0, 3.0], vec![7.0, 8.0, 9.0]];
/// assert_eq!(bedplate_gauge::variance::bartlett(&alike).unwrap().statistic, 0.0);
/// ```
pub fn bartlett(groups: &[Vec<f64>]) -> Result<ScatterTest, VarianceError> {
    let groups = near_nought(groups)?;
    let mut parts = Vec::with_capacity(groups.len());
    for group in &groups {
        let s = summary(group)?;
        let missing = VarianceError::TooFew { wanted: 2, place: "every group" };
        let deviation = s.standard_deviation.ok_or(missing)?;
        if deviation <= 0.0 {
            return Err(VarianceError::NoScatter);
        }
        parts.push(((s.n - 1) as f64, deviation * deviation));
    }
    let dof: f64 = parts.iter().map(|p| p.0).sum();
    let pooled = parts.iter().map(|p| p.0 * p.1).sum::<f64>() / dof;
    // As logarithms of ratios, which lose nothing when the scatters are alike.
    let apart = -sum(parts.iter().map(|p| p.0 * (p.1 / pooled).ln()));
    let steps = (groups.len() - 1) as f64;
    let inverse: f64 = parts.iter().map(|p| 1.0 / p.0).sum();
    let statistic = apart / (1.0 + (inverse - 1.0 / dof) / (3.0 * steps));
    let chance = chi_square_beyond(statistic.max(0.0), steps).expect("one degree or more");
    Ok(ScatterTest { statistic, chance })
}

/// Levene's test of equal scatter about the medians, for readings that need not be normal.
///
/// # Formula
/// F of the analysis of variance by one way of |x − median of its group|.
///
/// # Given
/// As [`one_way`].
///
/// # Errors
/// [`VarianceError`].
///
/// # Source
/// NIST/SEMATECH e-Handbook 1.3.5.10, form with the median (Brown and Forsythe).
///
/// # Example
/// ```
/// let alike = vec![vec![1.0, 2.0, 3.0], vec![7.0, 8.0, 9.0]];
/// assert_eq!(bedplate_gauge::variance::levene(&alike).unwrap().statistic, 0.0);
/// ```
pub fn levene(groups: &[Vec<f64>]) -> Result<ScatterTest, VarianceError> {
    let groups = near_nought(groups)?;
    let about_median = |group: &Vec<f64>| -> Vec<f64> {
        let middle = median(group);
        group.iter().map(|x| (x - middle).abs()).collect()
    };
    let away: Vec<Vec<f64>> = groups.iter().map(about_median).collect();
    let v = one_way(&away)?;
    Ok(ScatterTest { statistic: v.ratio, chance: v.chance })
}

/// The middle of a group that is not empty.
fn median(group: &[f64]) -> f64 {
    let mut sorted = group.to_vec();
    sorted.sort_by(f64::total_cmp);
    let half = sorted.len() / 2;
    if sorted.len() % 2 == 1 { sorted[half] } else { 0.5 * (sorted[half - 1] + sorted[half]) }
}

/// One standard deviation out of several with their degrees of freedom.
///
/// # Formula
/// s_p² = Σ νᵢ·sᵢ²/Σ νᵢ.
///
/// # Given
/// Pairs of a standard deviation and its degrees of freedom, at least one with a positive number
/// of these; what is no number or negative makes none.
///
/// # Returns
/// Pooled deviation and its degrees of freedom; `None` where there is nothing to pool.
///
/// # Source
/// NIST/SEMATECH e-Handbook 2.4 (pooling repeatability over days and pieces).
///
/// # Example
/// ```
/// let (s, dof) = bedplate_gauge::variance::pooled(&[(3.0, 5.0), (4.0, 5.0)]).unwrap();
/// assert!((s * s - 12.5).abs() < 1e-12 && dof == 10.0);
/// ```
#[must_use]
pub fn pooled(deviations: &[(f64, f64)]) -> Option<(f64, f64)> {
    let sound = |x: f64| x.is_finite() && x >= 0.0;
    let all_sound = deviations.iter().all(|&(s, dof)| sound(s) && sound(dof));
    let dof = sum(deviations.iter().map(|d| d.1));
    let variance = sum(deviations.iter().map(|&(s, dof)| dof * s * s)) / dof;
    (all_sound && dof > 0.0 && variance.is_finite()).then(|| (variance.sqrt(), dof))
}

/// Groups of one size out of a list.
fn groups_of(given: &Given) -> Result<Vec<Vec<f64>>, Refused> {
    let (readings, size) = (given.list("readings"), given.count("group_size"));
    if size == 0 || readings.len() % size != 0 {
        let reason = format!("{} readings do not make whole groups of {size}", readings.len());
        return Err(Refused::because("readings", reason));
    }
    Ok(readings.chunks(size).map(<[f64]>::to_vec).collect())
}

/// Whether groups differ.
pub const ONE_WAY: Calculation = Calculation {
    name: "group-comparison",
    title: "Do the groups differ?",
    stage: Stage::Control,
    question: "Do these spindles, shifts or gauges differ in size, and in scatter?",
    inputs: &[
        Input::list("readings", "mm", "readings, group after group"),
        Input::count("group_size", "readings in a group").at_least(3.0),
    ],
    outputs: &[
        Output::figure("F", "", "mean square between groups over that within"),
        Output::figure("chance", "", "probability of such an F were the means alike"),
        Output::figure("sd_within", "mm", "standard deviation within groups"),
        Output::figure("bartlett", "", "Bartlett's statistic of equal scatter"),
        Output::figure("bartlett_chance", "", "probability of it were the scatters alike"),
        Output::figure("levene", "", "Levene's statistic about the medians"),
        Output::figure("levene_chance", "", "probability of it were the scatters alike"),
    ],
    formula: "F = (SS_b/(g − 1))/(SS_w/(n − g))",
    source: "NIST/SEMATECH e-Handbook 1.3.5.4, 1.3.5.7, 1.3.5.10",
    validity: "Normal scatter of one size; Levene's test needs no normality.",
    // Arithmetic: SS_b = 1.5, SS_w = 4 with 1 and 4 degrees.
    example: &[("readings", "1, 2, 3, 2, 3, 4 mm"), ("group_size", "3")],
    expected: &[("F", "1.5"), ("sd_within", "1"), ("bartlett", "0"), ("levene", "0")],
    run: run_groups,
};

fn run_groups(given: &Given) -> Result<Answer, Refused> {
    let groups = groups_of(given)?;
    let refuse = |e: VarianceError| Refused::because("readings", e.to_string());
    let v = one_way(&groups).map_err(refuse)?;
    let (b, l) = (bartlett(&groups).map_err(refuse)?, levene(&groups).map_err(refuse)?);
    Ok(Answer::new()
        .figure("F", v.ratio)
        .figure("chance", v.chance)
        .figure("sd_within", (v.squares_within / v.dof_within).sqrt())
        .figure("bartlett", b.statistic)
        .figure("bartlett_chance", b.chance)
        .figure("levene", l.statistic)
        .figure("levene_chance", l.chance))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn groups_that_cannot_be_compared_are_refused_in_words() {
        let words = |g: &[Vec<f64>]| one_way(g).unwrap_err().to_string();
        assert!(words(&[vec![1.0, 2.0]]).contains("1 groups"));
        assert!(words(&[vec![1.0], vec![2.0]]).contains("2 readings or more"));
        assert!(words(&[vec![1.0, 1.0], vec![2.0, 2.0]]).contains("do not scatter"));
        assert!(words(&[vec![1.0, 1.0], vec![]]).contains("no readings"));
        assert!(words(&[vec![1.0, f64::NAN], vec![1.0]]).contains("reading 2 is NaN"));
        assert!(bartlett(&[vec![1.0, 2.0], vec![2.0, 2.0]]).is_err());
        assert_eq!(pooled(&[]), None);
        assert_eq!(pooled(&[(f64::NAN, 1.0)]), None);
    }

    proptest! {
        #[test]
        fn sums_of_squares_add_up_to_the_whole(
            groups in prop::collection::vec(prop::collection::vec(-1.0f64..1.0, 2..8), 2..6)
        ) {
            let v = one_way(&groups).unwrap();
            let all: Vec<f64> = groups.concat();
            let s = summary(&all).unwrap().standard_deviation.unwrap();
            let whole = s * s * (all.len() as f64 - 1.0);
            let parts = v.squares_between + v.squares_within;
            prop_assert!((parts - whole).abs() < 1e-12 * whole.max(1.0));
            prop_assert!((0.0..=1.0).contains(&v.chance));
        }

        #[test]
        fn shift_and_scale_change_no_ratio(
            groups in prop::collection::vec(prop::collection::vec(-1.0f64..1.0, 3..8), 2..6)
        ) {
            let moved: Vec<Vec<f64>> =
                groups.iter().map(|g| g.iter().map(|x| 2.0 * x + 100.0).collect()).collect();
            let same = |a: f64, b: f64| (a - b).abs() < 1e-7 * a.abs().max(1.0);
            let figures = |g: &[Vec<f64>]| {
                let (b, l) = (bartlett(g).unwrap(), levene(g).unwrap());
                [one_way(g).unwrap().ratio, b.statistic, l.statistic]
            };
            for (a, b) in figures(&groups).into_iter().zip(figures(&moved)) {
                prop_assert!(same(a, b));
            }
        }

        #[test]
        fn any_groups_are_compared_or_refused(
            groups in prop::collection::vec(prop::collection::vec(any::<f64>(), 0..5), 0..5)
        ) {
            let _ = (one_way(&groups), bartlett(&groups), levene(&groups));
        }
    }
}
