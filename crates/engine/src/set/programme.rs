//! Linear programmes: variables with a cost, rows `Σ a·x ≤ b`, and an interior-point library
//! behind them.
//!
//! What comes back is only advice: every figure that must hold is evaluated afterwards from
//! whatever prices came out, in whole units, by whoever asked.

use clarabel::algebra::CscMatrix;
use clarabel::solver::{
    DefaultSettingsBuilder, DefaultSolver, IPSolver as _, NonnegativeConeT, SupportedConeT,
};

/// Steps of the interior-point method at most; a few dozen are usual.
const STEPS_MAX: u32 = 100;

/// A programme to make `Σ cost·x` as small as it can be.
#[derive(Debug, Default)]
pub(super) struct Programme {
    cost: Vec<f64>,
    columns: Vec<Vec<(usize, f64)>>,
    right: Vec<f64>,
}

/// What the library found.
#[derive(Debug)]
pub(super) struct Solved {
    /// Value of each variable.
    pub(super) value: Vec<f64>,
    /// Price of each row, 0 or more.
    pub(super) price: Vec<f64>,
}

impl Programme {
    /// A new variable, free in both directions.
    pub(super) fn free(&mut self, cost: f64) -> usize {
        self.cost.push(cost);
        self.columns.push(Vec::new());
        self.cost.len() - 1
    }

    /// A new variable, 0 or more.
    pub(super) fn positive(&mut self, cost: f64) -> usize {
        let x = self.free(cost);
        self.row(&[(x, -1.0)], 0.0);
        x
    }

    /// A new row `Σ a·x ≤ right`; a variable named twice counts twice.
    pub(super) fn row(&mut self, terms: &[(usize, f64)], right: f64) -> usize {
        let row = self.right.len();
        for &(x, a) in terms {
            match self.columns[x].last_mut() {
                Some((last, sum)) if *last == row => *sum += a,
                _ => self.columns[x].push((row, a)),
            }
        }
        self.right.push(right);
        row
    }

    /// Solves it; `None` if the library found no finite answer.
    pub(super) fn solve(&self) -> Option<Solved> {
        let (m, n) = (self.right.len(), self.cost.len());
        let mut starts = vec![0];
        let (mut rows, mut values) = (Vec::new(), Vec::new());
        for column in &self.columns {
            rows.extend(column.iter().map(|&(row, _)| row));
            values.extend(column.iter().map(|&(_, a)| a));
            starts.push(rows.len());
        }
        let matrix = CscMatrix::new(m, n, starts, rows, values);
        let square = CscMatrix::zeros((n, n));
        let settings = DefaultSettingsBuilder::default()
            .verbose(false)
            .max_iter(STEPS_MAX)
            .max_threads(1)
            .direct_solve_method("qdldl".to_owned())
            .presolve_enable(false)
            .build()
            .ok()?;
        let cones: [SupportedConeT<f64>; 1] = [NonnegativeConeT(m)];
        let mut solver =
            DefaultSolver::new(&square, &self.cost, &matrix, &self.right, &cones, settings).ok()?;
        solver.solve();
        let (value, price) = (solver.solution.x.clone(), solver.solution.z.clone());
        let finite = value.iter().chain(&price).all(|v| v.is_finite());
        finite.then_some(Solved { value, price })
    }
}
