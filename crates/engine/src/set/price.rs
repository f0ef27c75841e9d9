//! What a piston of each size is worth: prices of runs of pistons that cannot serve all who want
//! them, and the share of each block that could be built if blocks could be built in parts.
//!
//! The linear programme behind it, with masses left aside: build the share `x_b ∈ [0, 1]` of each
//! block, as much as possible in all. Pistons lie in order of diameter and every slot allows a run
//! of them; both ends of the run rise with the bore. By Hall's theorem on such nested-free runs the
//! shares can be served exactly if, for every unbroken row of slots in order of bore,
//!
//! Σ over its slots of `x` ≤ number of pistons from the first slot's run to the last slot's run.
//!
//! Those conditions are far too many to write down, so they are added where they are broken (the
//! worst is found in one sweep), and the dual simplex method mends the answer each time. It keeps
//! all prices ≥ 0 at every step, so stopping early gives weaker prices, never wrong ones.

use std::ops::Range;

/// One cylinder that wants a piston.
#[derive(Debug, Clone)]
pub(super) struct Want {
    /// Whose cylinder.
    pub(super) block: usize,
    /// The pistons it allows, as places in the order of diameter.
    pub(super) run: Range<usize>,
}

/// A run of pistons in short supply, and what each of them is worth in engines.
#[derive(Debug, Clone)]
pub(super) struct Scarcity {
    /// The first and last slot (places in the list of wants) whose demand makes it scarce.
    pub(super) wants: (usize, usize),
    /// Engines gained for one piston more; several scarcities over one piston add up.
    pub(super) price: f64,
}

/// Answer of the linear programme.
#[derive(Debug, Clone)]
pub(super) struct Prices {
    /// Share of each block that is built.
    pub(super) share: Vec<f64>,
    /// What is scarce.
    pub(super) scarce: Vec<Scarcity>,
}

const TINY: f64 = 1e-9;
/// Runs added in one round; a few dozen keep both the rounds and the table small.
const NEW_RUNS: usize = 24;

/// Prices for `blocks` blocks whose `wants` stand in order of bore (both ends of the runs rising,
/// no run empty). `work` limits the number of multiplications.
pub(super) fn prices(blocks: usize, wants: &[Want], work: u64) -> Prices {
    let mut table = Table::new(blocks);
    let mut left = work;
    loop {
        let share = table.share();
        let broken = broken_runs(wants, &share);
        if broken.is_empty() || left == 0 {
            return Prices { share, scarce: table.scarce() };
        }
        table.drop_idle_rows();
        for (first, last) in broken {
            table.add(wants, first, last);
        }
        table.mend(&mut left);
    }
}

/// Rows of slots whose demand exceeds their pistons, the worst first, no two overlapping.
fn broken_runs(wants: &[Want], share: &[f64]) -> Vec<(usize, usize)> {
    let (mut demand, mut least, mut first) = (0.0_f64, f64::INFINITY, 0);
    let mut ending_here: Vec<(f64, usize, usize)> = Vec::new();
    for (i, want) in wants.iter().enumerate() {
        // Excess of row f..=i is (demand up to i − end of i) − (demand before f − start of f).
        let before = demand - want.run.start as f64;
        if before < least {
            (least, first) = (before, i);
        }
        demand += share[want.block];
        let excess = demand - want.run.end as f64 - least;
        if excess > 1e-7 {
            ending_here.push((excess, first, i));
        }
    }
    ending_here.sort_by(|a, b| b.0.total_cmp(&a.0).then((a.1, a.2).cmp(&(b.1, b.2))));
    let mut taken: Vec<(usize, usize)> = Vec::new();
    for (_, f, l) in ending_here {
        if taken.len() < NEW_RUNS && taken.iter().all(|&(tf, tl)| l < tf || tl < f) {
            taken.push((f, l));
        }
    }
    taken
}

/// What a row or column of the table stands for.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Part {
    /// The share of a block.
    Built(usize),
    /// One less the share of a block.
    Unbuilt(usize),
    /// Pistons to spare in a run.
    Spare(usize),
}

/// Condensed simplex table: row i says `row part = level − Σ coefficient · column part`, every
/// column part is 0 at the moment, and the count of engines is `constant − Σ cost · column part`
/// with every cost ≥ 0.
#[derive(Debug)]
struct Table {
    columns: Vec<Part>,
    cost: Vec<f64>,
    rows: Vec<Part>,
    level: Vec<f64>,
    coefficient: Vec<Vec<f64>>,
    runs: Vec<Scarcity>,
    /// Where each block's part stands: a row or a column.
    row_of: Vec<Option<usize>>,
    column_of: Vec<Option<usize>>,
}

impl Table {
    fn new(blocks: usize) -> Self {
        Self {
            columns: (0..blocks).map(Part::Unbuilt).collect(),
            cost: vec![1.0; blocks],
            rows: Vec::new(),
            level: Vec::new(),
            coefficient: Vec::new(),
            runs: Vec::new(),
            row_of: vec![None; blocks],
            column_of: (0..blocks).map(Some).collect(),
        }
    }

    fn share(&self) -> Vec<f64> {
        let mut share = vec![0.0; self.row_of.len()];
        for part in &self.columns {
            if let Part::Unbuilt(b) = part {
                share[*b] = 1.0;
            }
        }
        for (part, level) in self.rows.iter().zip(&self.level) {
            match part {
                Part::Built(b) => share[*b] = level.clamp(0.0, 1.0),
                Part::Unbuilt(b) => share[*b] = (1.0 - level).clamp(0.0, 1.0),
                Part::Spare(_) => {}
            }
        }
        share
    }

    fn scarce(&self) -> Vec<Scarcity> {
        let priced = self.columns.iter().zip(&self.cost).filter_map(|(part, &cost)| match part {
            Part::Spare(r) if cost > TINY => {
                Some(Scarcity { price: cost, ..self.runs[*r].clone() })
            }
            _ => None,
        });
        priced.collect()
    }

    /// Forgets the conditions that bind nobody now; if one is broken again it is added again.
    fn drop_idle_rows(&mut self) {
        let mut i = 0;
        while i < self.rows.len() {
            if matches!(self.rows[i], Part::Spare(_)) && self.level[i] > 1.0 {
                self.rows.swap_remove(i);
                self.level.swap_remove(i);
                self.coefficient.swap_remove(i);
            } else {
                i += 1;
            }
        }
        for (i, part) in self.rows.iter().enumerate() {
            if let Part::Built(b) | Part::Unbuilt(b) = part {
                self.row_of[*b] = Some(i);
            }
        }
    }

    /// Adds the condition of one row of slots, written in the present column parts.
    fn add(&mut self, wants: &[Want], first: usize, last: usize) {
        let mut level = (wants[last].run.end - wants[first].run.start) as f64;
        let mut row = vec![0.0; self.columns.len()];
        for want in &wants[first..=last] {
            let b = want.block;
            if let Some(c) = self.column_of[b] {
                if self.columns[c] == Part::Built(b) {
                    row[c] += 1.0;
                } else {
                    level -= 1.0;
                    row[c] -= 1.0;
                }
            } else if let Some(r) = self.row_of[b] {
                let built = self.rows[r] == Part::Built(b);
                let (sign, constant) = if built { (1.0, 0.0) } else { (-1.0, 1.0) };
                level -= constant + sign * self.level[r];
                for (to, from) in row.iter_mut().zip(&self.coefficient[r]) {
                    *to -= sign * from;
                }
            }
        }
        self.rows.push(Part::Spare(self.runs.len()));
        self.level.push(level);
        self.coefficient.push(row);
        self.runs.push(Scarcity { wants: (first, last), price: 0.0 });
    }

    /// Dual simplex steps until every row keeps its limits, or the work is used up.
    fn mend(&mut self, left: &mut u64) {
        while let Some(row) = self.worst_row() {
            let used = (self.rows.len() as u64 + 1) * self.columns.len() as u64;
            *left = left.saturating_sub(used);
            let Some(column) = self.entering(row) else {
                // x = 0 keeps every condition, so this can only be rounding: let the row go.
                self.level[row] = self.level[row].max(0.0);
                continue;
            };
            if *left == 0 {
                return;
            }
            self.pivot(row, column);
        }
    }

    /// The row farthest outside its limits, turned so that it lies below its lower one.
    fn worst_row(&mut self) -> Option<usize> {
        let (mut worst, mut at) = (1e-8, None);
        for (i, part) in self.rows.iter().enumerate() {
            let over = if matches!(part, Part::Spare(_)) { 0.0 } else { self.level[i] - 1.0 };
            let outside = over.max(-self.level[i]);
            if outside > worst {
                (worst, at) = (outside, Some(i));
            }
        }
        let row = at?;
        if self.level[row] > 0.0 {
            // Above its upper limit: look at the complement, which lies below zero.
            self.rows[row] = match self.rows[row] {
                Part::Built(b) => Part::Unbuilt(b),
                Part::Unbuilt(b) => Part::Built(b),
                spare @ Part::Spare(_) => spare,
            };
            self.level[row] = 1.0 - self.level[row];
            self.coefficient[row].iter_mut().for_each(|a| *a = -*a);
        }
        Some(row)
    }

    fn entering(&self, row: usize) -> Option<usize> {
        let (mut best, mut at) = ((f64::INFINITY, 0.0), None);
        for (j, &a) in self.coefficient[row].iter().enumerate() {
            if a < -TINY {
                let ratio = self.cost[j].max(0.0) / -a;
                let nearer = ratio < best.0 - TINY;
                if nearer || (ratio <= best.0 + TINY && -a > best.1) {
                    (best, at) = ((ratio.min(best.0), -a), Some(j));
                }
            }
        }
        at
    }

    fn pivot(&mut self, row: usize, column: usize) {
        let mut pivot_row = std::mem::take(&mut self.coefficient[row]);
        let inverse = 1.0 / pivot_row[column];
        pivot_row.iter_mut().for_each(|a| *a *= inverse);
        pivot_row[column] = inverse;
        let pivot_level = self.level[row] * inverse;
        for i in (0..self.rows.len()).filter(|&i| i != row) {
            let factor = self.coefficient[i][column];
            if factor != 0.0 {
                subtract(&mut self.coefficient[i], &pivot_row, factor, column);
                self.level[i] -= factor * pivot_level;
            }
        }
        let factor = self.cost[column];
        subtract(&mut self.cost, &pivot_row, factor, column);
        self.level[row] = pivot_level;
        self.coefficient[row] = pivot_row;
        std::mem::swap(&mut self.rows[row], &mut self.columns[column]);
        if let Part::Built(b) | Part::Unbuilt(b) = self.rows[row] {
            (self.row_of[b], self.column_of[b]) = (Some(row), None);
        }
        if let Part::Built(b) | Part::Unbuilt(b) = self.columns[column] {
            (self.row_of[b], self.column_of[b]) = (None, Some(column));
        }
    }
}

/// `target -= factor × pivot row`, with the pivot column replaced, not reduced.
fn subtract(target: &mut [f64], pivot_row: &[f64], factor: f64, column: usize) {
    for (t, p) in target.iter_mut().zip(pivot_row) {
        let next = *t - factor * p;
        // Rounding dust would make the table look fuller than it is.
        *t = if next.abs() < 1e-12 { 0.0 } else { next };
    }
    target[column] = -factor * pivot_row[column];
}

#[cfg(test)]
mod tests {
    use super::*;

    fn want(block: usize, run: Range<usize>) -> Want {
        Want { block, run }
    }

    fn engines(prices: &Prices) -> f64 {
        prices.share.iter().sum()
    }

    #[test]
    fn enough_pistons_make_every_block_whole_and_cost_nothing() {
        let wants = [want(0, 0..3), want(1, 0..4), want(0, 1..4)];
        let answer = prices(2, &wants, 1_000_000);
        assert_eq!(answer.share, [1.0, 1.0]);
        assert!(answer.scarce.is_empty());
    }

    #[test]
    fn three_pairs_on_three_pistons_build_one_and_a_half() {
        // Three two-cylinder blocks, all six slots allow the same three pistons: LP value 3/2.
        let wants: Vec<Want> = (0..6).map(|i| want(i / 2, 0..3)).collect();
        let answer = prices(3, &wants, 1_000_000);
        assert!((engines(&answer) - 1.5).abs() < 1e-9);
        assert!((answer.scarce.iter().map(|s| s.price).sum::<f64>() - 0.5).abs() < 1e-9);
    }

    #[test]
    fn prices_and_shares_agree() {
        // Strong duality on a made-up case: value of prices equals engines built.
        let runs = [0..2, 0..3, 1..3, 1..4, 2..5, 3..5, 4..6, 4..6, 5..7];
        let wants: Vec<Want> =
            runs.iter().enumerate().map(|(i, r)| want((i * 2) % 3, r.clone())).collect();
        let answer = prices(3, &wants, 1_000_000);
        let price = |p: usize| -> f64 {
            let run = |s: &Scarcity| wants[s.wants.0].run.start..wants[s.wants.1].run.end;
            answer.scarce.iter().filter(|s| run(s).contains(&p)).map(|s| s.price).sum()
        };
        let mut value: f64 = (0..7).map(price).sum();
        for b in 0..3 {
            let own = wants.iter().filter(|w| w.block == b);
            let cheapest = own.map(|w| w.run.clone().map(price).fold(f64::INFINITY, f64::min));
            value += (1.0 - cheapest.sum::<f64>()).max(0.0);
        }
        assert!((value - engines(&answer)).abs() < 1e-7, "{value} {answer:?}");
    }
}
