//! Lots drawn by chance, built by grades and by measurement.

use std::collections::VecDeque;

use super::super::aim::lot::{all_served, merged};
use super::super::clearance::Scatter;
use super::super::live::simulate::normal;
use super::super::size::Nanometre;
use super::{Grade, GradeError, GradeQuestion, check};
use crate::draw::Draw;

/// Most pieces of one kind in a lot.
pub const PIECES_MAX: usize = 100_000;
/// Most runs.
pub const RUNS_MAX: usize = 10_000;

/// A lot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct GradedLot {
    /// Blocks.
    pub blocks: usize,
    /// Cylinders of each, 1 to 16.
    pub cylinders: usize,
    /// Pistons.
    pub pistons: usize,
    /// Runs, 2 or more.
    pub runs: usize,
    /// Seed of the draws of chance.
    pub seed: u64,
}

/// A mean over the runs, with its standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanEngines {
    /// Mean engines of a lot.
    pub engines: f64,
    /// Standard error of the mean.
    pub standard_error: f64,
}

/// What a lot comes to either way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GradesOrMeasurement {
    /// By grades.
    pub by_grades: MeanEngines,
    /// By measurement.
    pub by_measurement: MeanEngines,
    /// By measurement less by grades, from the paired runs.
    pub gain: MeanEngines,
}

/// Why no lot is drawn.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TrialError {
    /// The productions or the window.
    #[error(transparent)]
    Question(#[from] GradeError),
    /// A count out of range.
    #[error("{value} {what} are asked for; {least} to {most} are taken")]
    Count {
        /// Of what.
        what: &'static str,
        /// As given.
        value: usize,
        /// The fewest taken.
        least: usize,
        /// The most taken.
        most: usize,
    },
    /// A size out of reach.
    #[error("a size of {size_mm} mm was drawn; sizes lie within 10 m")]
    OutOfReach {
        /// The size.
        size_mm: f64,
    },
}

/// Engines of lots built by grades against the same lots built by measurement, masses left out.
///
/// # Formula
/// By grades: blocks in order; a block takes the first piston of each bore's grade, blindly, if
/// every grade holds one; the engine counts if every clearance lies in the window, and otherwise
/// the pistons are used up for nothing. By measurement: blocks in order, each taken if earliest
/// fit can still serve every bore taken so far.
/// # Given
/// The productions and the window as for [`best_grades`](super::best_grades) (its number of grades
/// is not used), the grades, the lot.
/// # Returns
/// Means over the runs and the paired difference, with standard errors.
/// # Errors
/// [`TrialError`] for figures and counts out of range.
/// # Validity
/// Normal sizes, every bore by itself, no gauging error. Measurement could do better still than in
/// order.
/// # Source
/// Derived here.
pub fn grades_or_measurement(
    asked: &GradeQuestion,
    grades: &[Grade],
    lot: GradedLot,
) -> Result<GradesOrMeasurement, TrialError> {
    // Any number of grades may be given here.
    check(&GradeQuestion { grades: 1, ..*asked })?;
    for (what, value, least, most) in [
        ("blocks", lot.blocks, 1, PIECES_MAX),
        ("cylinders", lot.cylinders, 1, super::super::CYLINDERS_MAX),
        ("pistons", lot.pistons, 1, PIECES_MAX),
        ("runs", lot.runs, 2, RUNS_MAX),
    ] {
        if value < least || most < value {
            return Err(TrialError::Count { what, value, least, most });
        }
    }
    let (mut graded, mut measured) = (Vec::new(), Vec::new());
    for run in 0..lot.runs as u64 {
        let mut draw = Draw::new(lot.seed, 2_000_000 + run);
        let mut sizes = |n: usize, of: Scatter| -> Result<Vec<i64>, TrialError> {
            (0..n).map(|_| drawn(of, &mut draw)).collect()
        };
        let pistons = sizes(lot.pistons, asked.piston)?;
        let bores = sizes(lot.blocks * lot.cylinders, asked.bore)?;
        let blocks: Vec<&[i64]> = bores.chunks(lot.cylinders).collect();
        graded.push(by_grades(asked, grades, &blocks, &pistons) as f64);
        measured.push(by_measurement(asked, &blocks, pistons) as f64);
    }
    let gains: Vec<f64> = measured.iter().zip(&graded).map(|(m, g)| m - g).collect();
    Ok(GradesOrMeasurement {
        by_grades: mean(&graded),
        by_measurement: mean(&measured),
        gain: mean(&gains),
    })
}

fn drawn(of: Scatter, draw: &mut Draw) -> Result<i64, TrialError> {
    let size_mm = of.mean_mm + of.sd_mm * normal(draw);
    match Nanometre::from_mm(size_mm) {
        Ok(size) => Ok(size.0),
        Err(_) => Err(TrialError::OutOfReach { size_mm }),
    }
}

/// Clearance limits, nm; beyond reach they stand at its ends.
fn window(asked: &GradeQuestion) -> (i64, i64) {
    let reach = Nanometre::REACH.0;
    let nm = |um: f64, beyond: i64| Nanometre::from_um(um).map_or(beyond, |c| c.0);
    (nm(asked.clearance_um_min, -reach), nm(asked.clearance_um_max, reach))
}

fn by_grades(asked: &GradeQuestion, grades: &[Grade], blocks: &[&[i64]], pistons: &[i64]) -> usize {
    let (min, max) = window(asked);
    let within = |size: i64, from: f64, to: f64| {
        let mm = Nanometre(size).mm();
        from <= mm && mm < to
    };
    let mut bins: Vec<VecDeque<i64>> = vec![VecDeque::new(); grades.len()];
    for &piston in pistons {
        let grade = grades.iter().position(|g| within(piston, g.piston_mm_min, g.piston_mm_max));
        if let Some(grade) = grade {
            bins[grade].push_back(piston);
        }
    }
    let mut engines = 0;
    for bores in blocks {
        let grade =
            |&bore: &i64| grades.iter().position(|g| within(bore, g.bore_mm_min, g.bore_mm_max));
        let Some(wanted) = bores.iter().map(grade).collect::<Option<Vec<usize>>>() else {
            continue;
        };
        let enough =
            |&k: &usize| wanted.iter().filter(|&&other| other == k).count() <= bins[k].len();
        if wanted.iter().all(enough) {
            // Every piston is taken, whether or not those before it fit.
            let fits = bores.iter().zip(&wanted).map(|(bore, &k)| {
                let piston = bins[k].pop_front().expect("the bin was counted");
                (min..=max).contains(&(bore - piston))
            });
            engines += usize::from(fits.filter(|fit| !fit).count() == 0);
        }
    }
    engines
}

fn by_measurement(asked: &GradeQuestion, blocks: &[&[i64]], mut pistons: Vec<i64>) -> usize {
    let (min, max) = window(asked);
    pistons.sort_unstable();
    let mut kept: Vec<i64> = Vec::new();
    let mut engines = 0;
    for bores in blocks {
        let mut bores = bores.to_vec();
        bores.sort_unstable();
        let with = merged(&kept, &bores);
        if all_served(&with, &pistons, min, max) {
            kept = with;
            engines += 1;
        }
    }
    engines
}

fn mean(values: &[f64]) -> MeanEngines {
    let n = values.len() as f64;
    let engines = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|v| (v - engines) * (v - engines)).sum();
    MeanEngines { engines, standard_error: (squares / (n - 1.0) / n).sqrt() }
}
