//! The cheapest legal set for one block: a window slid over the masses, and in the best windows the
//! best assignment of pistons to cylinders.

use std::collections::VecDeque;
use std::ops::Range;

use super::super::{Block, CYLINDERS_MAX};
use super::store::Store;

/// Widths of the mass window, as shares of the allowed spread in 1/16: narrow ones find sets of
/// little spread, the full one finds any.
const WIDTHS: [i64; 4] = [16, 8, 4, 2];
/// Windows in which an assignment is made, at most, where none has succeeded yet.
const TRIED: usize = 400;
/// Windows in which an assignment is made, at most, where one has succeeded.
const IMPROVED: usize = 30;

/// A piston that some cylinder allows.
struct Candidate {
    held: usize,
    mass: i64,
    /// Cost in each cylinder; infinite where it does not fit.
    cost: [f64; CYLINDERS_MAX],
}

/// A run of candidates whose masses keep the spread, and what a set from it would cost if each
/// cylinder could have its cheapest piston and the spread were the window's width.
struct MassWindow {
    hoped: f64,
    run: Range<usize>,
}

/// The set of least loss less credit that is found; `None` if none is.
pub(super) fn cheapest(
    store: &Store,
    block: &Block,
    runs: &[Range<usize>],
    credit: &dyn Fn(usize) -> f64,
) -> Option<Vec<usize>> {
    let candidates = candidates(store, block, runs, credit);
    let windows = most_hopeful(windows(store, &candidates, runs.len()));
    let mut best: Option<(f64, Vec<usize>)> = None;
    for (tried, window) in windows.iter().enumerate() {
        if (IMPROVED <= tried && best.is_some())
            || best.as_ref().is_some_and(|(cost, _)| *cost <= window.hoped)
        {
            break;
        }
        let Some(chosen) = assign(&candidates[window.run.clone()], runs.len()) else { continue };
        let chosen: Vec<&Candidate> =
            chosen.into_iter().map(|i| &candidates[window.run.start + i]).collect();
        let places: f64 = chosen.iter().enumerate().map(|(slot, c)| c.cost[slot]).sum();
        let masses = || chosen.iter().map(|c| c.mass);
        let spread = masses().max().unwrap_or(0) - masses().min().unwrap_or(0);
        let cost = places + store.spread_loss(spread);
        if best.as_ref().is_none_or(|(least, _)| cost < *least) {
            best = Some((cost, chosen.iter().map(|c| c.held).collect()));
        }
    }
    best.map(|(_, chosen)| chosen)
}

/// The windows that will be looked at, the most hopeful first.
fn most_hopeful(mut windows: Vec<MassWindow>) -> Vec<MassWindow> {
    let order = |a: &MassWindow, b: &MassWindow| {
        let by_hope = a.hoped.total_cmp(&b.hoped);
        by_hope.then(a.run.start.cmp(&b.run.start)).then(a.run.end.cmp(&b.run.end))
    };
    if TRIED < windows.len() {
        windows.select_nth_unstable_by(TRIED, order);
        windows.truncate(TRIED);
    }
    windows.sort_unstable_by(order);
    windows
}

/// The pistons that any cylinder allows, in order of mass.
fn candidates(
    store: &Store,
    block: &Block,
    runs: &[Range<usize>],
    credit: &dyn Fn(usize) -> f64,
) -> Vec<Candidate> {
    let start = runs.iter().map(|run| run.start).min().unwrap_or(0);
    let end = runs.iter().map(|run| run.end).max().unwrap_or(0);
    let allowed = (start..end).filter(|held| runs.iter().any(|run| run.contains(held)));
    let mut found: Vec<Candidate> = allowed
        .map(|held| {
            let mut cost = [f64::INFINITY; CYLINDERS_MAX];
            for (slot, (run, &bore)) in runs.iter().zip(block.bores()).enumerate() {
                if run.contains(&held) {
                    cost[slot] = store.place_loss(bore, held) - credit(held);
                }
            }
            let mass = store.held()[held].piston.mass().0;
            Candidate { held, mass, cost }
        })
        .collect();
    // The age breaks ties, so that two pistons alike leave in the order in which they came.
    found.sort_by_key(|c| (c.mass, store.held()[c.held].arrival));
    found
}

/// Every window of each width that holds a piston for each cylinder, begun at a candidate.
fn windows(store: &Store, candidates: &[Candidate], cylinders: usize) -> Vec<MassWindow> {
    let allowed = store.rules().mass_spread_max().0;
    let mut found = Vec::new();
    for (i, sixteenths) in WIDTHS.into_iter().enumerate() {
        let width = (i128::from(allowed) * i128::from(sixteenths) / 16) as i64;
        if i > 0 && width == 0 {
            break;
        }
        let mut least: Vec<VecDeque<usize>> = vec![VecDeque::new(); cylinders];
        let mut end = 0;
        for start in 0..candidates.len() {
            while end < candidates.len() && candidates[end].mass <= candidates[start].mass + width {
                for (slot, queue) in least.iter_mut().enumerate() {
                    let cost = candidates[end].cost[slot];
                    if cost.is_finite() {
                        while queue.back().is_some_and(|&q| cost <= candidates[q].cost[slot]) {
                            queue.pop_back();
                        }
                        queue.push_back(end);
                    }
                }
                end += 1;
            }
            let mut hoped = store.spread_loss(width);
            for (slot, queue) in least.iter_mut().enumerate() {
                while queue.front().is_some_and(|&q| q < start) {
                    queue.pop_front();
                }
                hoped += queue.front().map_or(f64::INFINITY, |&q| candidates[q].cost[slot]);
            }
            if hoped.is_finite() && cylinders <= end - start {
                found.push(MassWindow { hoped, run: start..end });
            }
        }
    }
    found
}

/// For each cylinder one candidate, no candidate twice, of least total cost; `None` if there are
/// not enough that fit.
///
/// With `n` cylinders the `n` cheapest candidates of each suffice: of `n` cheaper ones at most
/// `n − 1` are taken by the others.
fn assign(candidates: &[Candidate], cylinders: usize) -> Option<Vec<usize>> {
    // As a rule each cylinder can have its cheapest.
    let cheapest = |slot: usize| {
        let cost = |i: &usize| candidates[*i].cost[slot];
        (0..candidates.len()).min_by(|a, b| cost(a).total_cmp(&cost(b)))
    };
    let first: Vec<usize> = (0..cylinders).map(cheapest).collect::<Option<_>>()?;
    if (1..cylinders).all(|slot| !first[..slot].contains(&first[slot])) {
        return Some(first);
    }
    let mut columns: Vec<usize> = Vec::new();
    for slot in 0..cylinders {
        let mut fit: Vec<usize> =
            (0..candidates.len()).filter(|&i| candidates[i].cost[slot].is_finite()).collect();
        let by_cost = |&a: &usize, &b: &usize| {
            candidates[a].cost[slot].total_cmp(&candidates[b].cost[slot]).then(a.cmp(&b))
        };
        if cylinders < fit.len() {
            fit.select_nth_unstable_by(cylinders - 1, by_cost);
            fit.truncate(cylinders);
        }
        columns.extend(fit);
    }
    columns.sort_unstable();
    columns.dedup();
    if columns.len() < cylinders {
        return None;
    }
    let cost = |slot: usize, column: usize| candidates[columns[column]].cost[slot];
    let chosen = least_assignment(cylinders, columns.len(), &cost)?;
    Some(chosen.into_iter().map(|column| columns[column]).collect())
}

/// Rows to columns, each row one column, no column twice, of least total cost: shortest
/// augmenting paths with potentials (Kuhn and Munkres, from memory). `None` if some row can have
/// none at a finite cost.
fn least_assignment(
    rows: usize,
    columns: usize,
    cost: &dyn Fn(usize, usize) -> f64,
) -> Option<Vec<usize>> {
    // Column 0 and row 0 stand for none; real ones are counted from 1.
    let (mut row_price, mut column_price) = (vec![0.0; rows + 1], vec![0.0; columns + 1]);
    let mut row_of = vec![0; columns + 1];
    for row in 1..=rows {
        row_of[0] = row;
        let mut column = 0;
        let mut distance = vec![f64::INFINITY; columns + 1];
        let mut before = vec![0; columns + 1];
        let mut done = vec![false; columns + 1];
        while row_of[column] != 0 {
            done[column] = true;
            let from = row_of[column];
            let (mut step, mut next) = (f64::INFINITY, 0);
            for j in (1..=columns).filter(|&j| !done[j]) {
                let over = cost(from - 1, j - 1) - row_price[from] - column_price[j];
                if over < distance[j] {
                    distance[j] = over;
                    before[j] = column;
                }
                if distance[j] < step {
                    step = distance[j];
                    next = j;
                }
            }
            if !step.is_finite() {
                return None;
            }
            for j in 0..=columns {
                if done[j] {
                    row_price[row_of[j]] += step;
                    column_price[j] -= step;
                } else {
                    distance[j] -= step;
                }
            }
            column = next;
        }
        while column != 0 {
            row_of[column] = row_of[before[column]];
            column = before[column];
        }
    }
    let mut chosen = vec![0; rows];
    for column in 1..=columns {
        if row_of[column] != 0 {
            chosen[row_of[column] - 1] = column - 1;
        }
    }
    Some(chosen)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_assignment_is_the_best_of_all() {
        // Hand-made: taking each row's least would use column 0 twice.
        let cost = [[1.0, 2.0, 9.0], [1.0, 5.0, 9.0]];
        let chosen = least_assignment(2, 3, &|r, c| cost[r][c]);
        assert_eq!(chosen, Some(vec![1, 0]));
    }

    #[test]
    fn two_cylinders_that_share_their_only_piston_have_no_assignment() {
        let cost = [[1.0, f64::INFINITY], [1.0, f64::INFINITY]];
        assert_eq!(least_assignment(2, 2, &|r, c| cost[r][c]), None);
    }
}
