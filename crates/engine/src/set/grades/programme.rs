//! Dynamic programming over classes of size: the best runs of classes of bores and pistons for a
//! number of grades.
//!
//! A state is a pair of places: all bores below the one and all pistons below the other are dealt
//! with. Three steps lead on: leave the next class of bores in no grade, leave the next class of
//! pistons in none, or make the next grade. Places more than a grade's reach apart lead nowhere
//! worth going, because a pair so far apart cannot fit.

use std::ops::Range;

use super::CLASSES;

/// The classes of bores and of pistons that make a grade.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Run {
    pub(super) bores: Range<usize>,
    pub(super) pistons: Range<usize>,
}

/// Grades of which every pair fits: the classes of both together are no wider than the window, and
/// neither end reaches farther than the window allows.
pub(super) fn always(bores: &[f64], pistons: &[f64], grades: usize) -> Vec<Run> {
    let half = CLASSES / 2;
    let (below_bores, below_pistons) = (sums(bores), sums(pistons));
    let gain = |run: &Run| {
        // A bore at its upper limit with a piston at its lower one, and the other way about.
        if run.pistons.start + half < run.bores.end || run.bores.start + half < run.pistons.end {
            return 0.0;
        }
        let share = |below: &[f64], run: &Range<usize>| below[run.end] - below[run.start];
        share(&below_bores, &run.bores).min(share(&below_pistons, &run.pistons))
    };
    best(bores.len(), grades, CLASSES, CLASSES, &gain)
}

/// Grades of which as many blind pairs as can be fit.
pub(super) fn most(bores: &[f64], pistons: &[f64], grades: usize) -> Vec<Run> {
    let (below_bores, below_pistons) = (sums(bores), sums(pistons));
    let fits = fitting(bores, pistons);
    let width = bores.len() + 1;
    let gain = |run: &Run| {
        let b = below_bores[run.bores.end] - below_bores[run.bores.start];
        let p = below_pistons[run.pistons.end] - below_pistons[run.pistons.start];
        let at = |i: usize, j: usize| fits[i * width + j];
        let both = at(run.bores.end, run.pistons.end)
            - at(run.bores.start, run.pistons.end)
            - at(run.bores.end, run.pistons.start)
            + at(run.bores.start, run.pistons.start);
        // b·p underflows only where hardly any piece lies.
        if b * p < 1e-12 { 0.0 } else { b.min(p) * both / (b * p) }
    };
    best(bores.len(), grades, 2 * CLASSES, CLASSES, &gain)
}

/// Sums of the shares below each place.
fn sums(shares: &[f64]) -> Vec<f64> {
    let mut below = vec![0.0];
    for share in shares {
        below.push(below[below.len() - 1] + share);
    }
    below
}

/// For every two places, the probability that a random bore below the one and a random piston below
/// the other fit each other.
fn fitting(bores: &[f64], pistons: &[f64]) -> Vec<f64> {
    let (n, half) = (bores.len(), CLASSES / 2);
    let mut below = vec![0.0; (n + 1) * (n + 1)];
    for i in 0..n {
        let mut row = 0.0;
        for j in 0..n {
            // At the limit itself half of the pairs of the two classes fit.
            let fit = match i.abs_diff(j) {
                apart if apart < half => 1.0,
                apart if apart == half => 0.5,
                _ => 0.0,
            };
            row += bores[i] * pistons[j] * fit;
            below[(i + 1) * (n + 1) + j + 1] = below[i * (n + 1) + j + 1] + row;
        }
    }
    below
}

/// What was done last on the best way to a state.
#[derive(Debug, Clone, Copy)]
enum Step {
    Begin,
    LeaveBore,
    LeavePiston,
    Grade { bores: usize, pistons: usize },
}

/// The best runs, rising. `together` is the widest sum of both widths, `apart` the farthest the two
/// places may lie from each other.
fn best(
    n: usize,
    grades: usize,
    together: usize,
    apart: usize,
    gain: &dyn Fn(&Run) -> f64,
) -> Vec<Run> {
    let at = |i: usize, j: usize| i * (n + 1) + j;
    let worthless = f64::NEG_INFINITY;
    let mut values: Vec<Vec<f64>> = Vec::with_capacity(grades + 1);
    let mut steps: Vec<Vec<Step>> = Vec::with_capacity(grades + 1);
    for made in 0..=grades {
        let mut value = vec![worthless; (n + 1) * (n + 1)];
        let mut step = vec![Step::Begin; (n + 1) * (n + 1)];
        if made == 0 {
            value[0] = 0.0;
        }
        if let Some(before) = made.checked_sub(1).map(|k| &values[k]) {
            make_grades(n, together, apart, gain, before, (&mut value, &mut step));
        }
        for i in 0..=n {
            for j in i.saturating_sub(apart)..=n.min(i + apart) {
                if 0 < i && value[at(i, j)] < value[at(i - 1, j)] {
                    value[at(i, j)] = value[at(i - 1, j)];
                    step[at(i, j)] = Step::LeaveBore;
                }
                if 0 < j && value[at(i, j)] < value[at(i, j - 1)] {
                    value[at(i, j)] = value[at(i, j - 1)];
                    step[at(i, j)] = Step::LeavePiston;
                }
            }
        }
        values.push(value);
        steps.push(step);
    }
    let end = at(n, n);
    let value = |k: &usize| values[*k][end];
    // The fewest grades among equals.
    let made = (0..=grades).rev().max_by(|a, b| value(a).total_cmp(&value(b))).unwrap_or(0);
    trace(n, made, &steps)
}

/// Every grade that may follow the states of one grade fewer.
fn make_grades(
    n: usize,
    together: usize,
    apart: usize,
    gain: &dyn Fn(&Run) -> f64,
    before: &[f64],
    (value, step): (&mut [f64], &mut [Step]),
) {
    let at = |i: usize, j: usize| i * (n + 1) + j;
    for i in 0..n {
        for j in i.saturating_sub(apart)..=(n - 1).min(i + apart) {
            let from = before[at(i, j)];
            if from == f64::NEG_INFINITY {
                continue;
            }
            for bores in 1..together.min(n - i + 1) {
                for pistons in 1..=(together - bores).min(n - j) {
                    let (end_i, end_j) = (i + bores, j + pistons);
                    if apart < end_i.abs_diff(end_j) {
                        continue;
                    }
                    let more = gain(&Run { bores: i..end_i, pistons: j..end_j });
                    if value[at(end_i, end_j)] < from + more && 0.0 < more {
                        value[at(end_i, end_j)] = from + more;
                        step[at(end_i, end_j)] = Step::Grade { bores, pistons };
                    }
                }
            }
        }
    }
}

fn trace(n: usize, made: usize, steps: &[Vec<Step>]) -> Vec<Run> {
    let (mut i, mut j, mut made) = (n, n, made);
    let mut runs = Vec::with_capacity(made);
    loop {
        match steps[made][i * (n + 1) + j] {
            Step::Begin => break,
            Step::LeaveBore => i -= 1,
            Step::LeavePiston => j -= 1,
            Step::Grade { bores, pistons } => {
                runs.push(Run { bores: i - bores..i, pistons: j - pistons..j });
                i -= bores;
                j -= pistons;
                made -= 1;
            }
        }
    }
    runs.reverse();
    runs
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every choice of up to two grades, tried one by one.
    fn exhaustive(n: usize, together: usize, gain: &dyn Fn(&Run) -> f64) -> f64 {
        let mut runs = vec![];
        for i in 0..n {
            for bores in 1..=n - i {
                for j in 0..n {
                    for pistons in 1..=n - j {
                        if bores + pistons <= together {
                            runs.push(Run { bores: i..i + bores, pistons: j..j + pistons });
                        }
                    }
                }
            }
        }
        let mut most: f64 = 0.0;
        for a in &runs {
            most = most.max(gain(a));
            for b in &runs {
                if a.bores.end <= b.bores.start && a.pistons.end <= b.pistons.start {
                    most = most.max(gain(a) + gain(b));
                }
            }
        }
        most
    }

    #[test]
    fn two_grades_are_the_best_of_all_pairs_of_grades() {
        let bores = [0.05, 0.2, 0.3, 0.25, 0.15, 0.05];
        let pistons = [0.1, 0.1, 0.2, 0.1, 0.4, 0.1];
        let fits = |i: usize, j: usize| i.abs_diff(j) < 2;
        let gain = |run: &Run| {
            let b: f64 = run.bores.clone().map(|i| bores[i]).sum();
            let p: f64 = run.pistons.clone().map(|j| pistons[j]).sum();
            let pairs = run.bores.clone().flat_map(|i| run.pistons.clone().map(move |j| (i, j)));
            let both: f64 =
                pairs.filter(|&(i, j)| fits(i, j)).map(|(i, j)| bores[i] * pistons[j]).sum();
            b.min(p) * both / (b * p)
        };
        let found = best(6, 2, 12, 6, &gain);
        let worth: f64 = found.iter().map(gain).sum();
        assert!((worth - exhaustive(6, 12, &gain)).abs() < 1e-12, "{worth} by {found:?}");
        assert!(found.len() <= 2);
    }
}
