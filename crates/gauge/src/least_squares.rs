//! Least squares with several columns: polynomials and multiple regression.
//!
//! By Householder's reflections on scaled columns; coefficients and residuals are then refined
//! together, from what they leave over, formed to twice the digits. For a straight line alone see
//! [`crate::trend`].

use crate::calculation::{Answer, Calculation, Given, Input, Output, Refused, Stage};
use crate::summary::{SummaryError, sum, summary};

/// Coefficients fitted by least squares.
#[derive(Debug, Clone, PartialEq)]
pub struct LeastSquares {
    /// One coefficient a column, in the columns' order.
    pub coefficients: Vec<f64>,
    /// Standard error of each.
    pub errors: Vec<f64>,
    /// Standard deviation about the fit; 0 if there are no more readings than columns.
    pub residual_deviation: f64,
    /// Degrees of freedom: readings less columns.
    pub dof: f64,
}

/// Why nothing can be fitted.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum LeastSquaresError {
    /// A column could not be summed up.
    #[error(transparent)]
    Figures(#[from] SummaryError),
    /// No columns.
    #[error("there are no columns to fit by; at least one is needed")]
    NoColumns,
    /// A column with another number of rows than there are readings.
    #[error("column {column} has {rows} rows, but there are {readings} readings")]
    Unequal {
        /// Which column, counted from 1.
        column: usize,
        /// How many rows it has.
        rows: usize,
        /// How many readings there are.
        readings: usize,
    },
    /// Fewer readings than columns.
    #[error("{readings} readings cannot settle {columns} coefficients")]
    TooFew {
        /// How many readings.
        readings: usize,
        /// How many columns.
        columns: usize,
    },
    /// A column follows from the others.
    #[error("column {column} follows from those before it; its coefficient cannot be settled")]
    Dependent {
        /// Which column, counted from 1.
        column: usize,
    },
}

/// Fits y = Σ bⱼ·xⱼ by least squares.
///
/// # Formula
/// b minimises Σ(y − X·b)²; s² = Σ(y − X·b)²/(n − p); s_b² = s²·diag((XᵀX)⁻¹).
///
/// # Given
/// `columns`: the xⱼ, each as long as `y`; give a column of ones for a constant.
///
/// # Returns
/// [`LeastSquares`].
///
/// # Errors
/// [`LeastSquaresError`] for too few readings, columns unequal or dependent, or no numbers.
///
/// # Validity
/// Scatter of one size everywhere, columns known exactly.
///
/// # Source
/// Householder, Journal of the ACM 5 (1958) 339; refinement after Björck, BIT 7 (1967) 257, from
/// memory; checked against NIST StRD Norris, Wampler and Longley.
///
/// # Example
/// ```
/// let columns = [vec![1.0, 1.0, 1.0], vec![0.0, 1.0, 2.0]];
/// let fit = bedplate_gauge::least_squares::least_squares(&columns, &[1.0, 3.0, 5.0]).unwrap();
/// assert!((fit.coefficients[0] - 1.0).abs() < 1e-14);
/// assert!((fit.coefficients[1] - 2.0).abs() < 1e-14);
/// ```
pub fn least_squares(columns: &[Vec<f64>], y: &[f64]) -> Result<LeastSquares, LeastSquaresError> {
    let (n, p) = (y.len(), columns.len());
    if p == 0 {
        return Err(LeastSquaresError::NoColumns);
    }
    summary(y)?;
    for (i, column) in columns.iter().enumerate() {
        if column.len() != n {
            let rows = column.len();
            return Err(LeastSquaresError::Unequal { column: i + 1, rows, readings: n });
        }
        summary(column)?;
    }
    if n < p {
        return Err(LeastSquaresError::TooFew { readings: n, columns: p });
    }
    let reflected = Reflected::of(columns)?;
    let (mut coefficients, mut residuals) = (vec![0.0; p], vec![0.0; n]);
    // The first round fits y itself, the next ones what the rounds before left over.
    for _ in 0..4 {
        let over = left_over(columns, y, &coefficients, &residuals);
        let lean = columns.iter().map(|c| -dot(c, &residuals)).collect::<Vec<f64>>();
        let (change, shift) = reflected.fit(&over, &lean);
        coefficients.iter_mut().zip(&change).for_each(|(b, d)| *b += d);
        residuals.iter_mut().zip(&shift).for_each(|(r, d)| *r += d);
    }
    let dof = (n - p) as f64;
    let residual_deviation = if n > p { length(&residuals) / dof.sqrt() } else { 0.0 };
    let errors = reflected.spreads().iter().map(|s| s * residual_deviation).collect();
    Ok(LeastSquares { coefficients, errors, residual_deviation, dof })
}

/// y − r − X·b, with the rounding of products and sums carried along.
fn left_over(columns: &[Vec<f64>], y: &[f64], b: &[f64], r: &[f64]) -> Vec<f64> {
    let row = |i: usize| {
        let products = columns.iter().zip(b).flat_map(|(column, &b)| exact_product(-column[i], b));
        sum([y[i], -r[i]].into_iter().chain(products))
    };
    (0..y.len()).map(row).collect()
}

/// Σ a·b with the rounding of products and sums carried along.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    sum(a.iter().zip(b).flat_map(|(&a, &b)| exact_product(a, b)))
}

/// A product and what rounding took from it.
fn exact_product(a: f64, b: f64) -> [f64; 2] {
    let product = a * b;
    [product, a.mul_add(b, -product)]
}

/// Columns reflected onto an upper triangle.
struct Reflected {
    /// The reflections, each a vector of the full length.
    mirrors: Vec<Vec<f64>>,
    /// The triangle, row by row: `triangle[i][j]` for j ≥ i.
    triangle: Vec<Vec<f64>>,
    /// What each column was divided by.
    scales: Vec<f64>,
}

impl Reflected {
    fn of(columns: &[Vec<f64>]) -> Result<Self, LeastSquaresError> {
        let p = columns.len();
        let scales: Vec<f64> = columns.iter().map(|c| length(c)).collect();
        if let Some(i) = scales.iter().position(|s| !(s.is_normal())) {
            return Err(LeastSquaresError::Dependent { column: i + 1 });
        }
        let mut scaled: Vec<Vec<f64>> =
            columns.iter().zip(&scales).map(|(c, s)| c.iter().map(|x| x / s).collect()).collect();
        let mut mirrors = Vec::with_capacity(p);
        let mut triangle = vec![vec![0.0; p]; p];
        for j in 0..p {
            let mut mirror = scaled[j].clone();
            mirror[..j].fill(0.0);
            let size = length(&mirror);
            // The columns have length 1: what is left of a dependent one is rounding.
            if size < 1e3 * f64::EPSILON {
                return Err(LeastSquaresError::Dependent { column: j + 1 });
            }
            mirror[j] += size.copysign(mirror[j]);
            let size = length(&mirror);
            mirror.iter_mut().for_each(|x| *x /= size);
            for column in &mut scaled[j..] {
                reflect(&mirror, column);
            }
            for (k, column) in scaled.iter().enumerate().skip(j) {
                triangle[j][k] = column[j];
            }
            mirrors.push(mirror);
        }
        Ok(Self { mirrors, triangle, scales })
    }

    /// Changes of coefficients and residuals with residuals + X·coefficients = `over` and
    /// Xᵀ·residuals = `lean`.
    fn fit(&self, over: &[f64], lean: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let p = self.scales.len();
        let mut turned = over.to_vec();
        for mirror in &self.mirrors {
            reflect(mirror, &mut turned);
        }
        let mut along = vec![0.0; p];
        for i in 0..p {
            let known: f64 = (0..i).map(|j| self.triangle[j][i] * along[j]).sum();
            along[i] = (lean[i] / self.scales[i] - known) / self.triangle[i][i];
        }
        let mut b = vec![0.0; p];
        for i in (0..p).rev() {
            let known: f64 = (i + 1..p).map(|j| self.triangle[i][j] * b[j]).sum();
            b[i] = (turned[i] - along[i] - known) / self.triangle[i][i];
        }
        turned[..p].copy_from_slice(&along);
        for mirror in self.mirrors.iter().rev() {
            reflect(mirror, &mut turned);
        }
        (b.iter().zip(&self.scales).map(|(b, s)| b / s).collect(), turned)
    }

    /// √diag((XᵀX)⁻¹): lengths of the rows of the inverted triangle.
    fn spreads(&self) -> Vec<f64> {
        let p = self.scales.len();
        let mut squares = vec![0.0; p];
        for unit in 0..p {
            let mut column = vec![0.0; p];
            for i in (0..=unit).rev() {
                let known: f64 = (i + 1..=unit).map(|j| self.triangle[i][j] * column[j]).sum();
                let right = if i == unit { 1.0 } else { 0.0 };
                column[i] = (right - known) / self.triangle[i][i];
            }
            squares.iter_mut().zip(&column).for_each(|(s, x)| *s += x * x);
        }
        squares.iter().zip(&self.scales).map(|(s, scale)| s.sqrt() / scale).collect()
    }
}

fn length(vector: &[f64]) -> f64 {
    sum(vector.iter().map(|x| x * x)).sqrt()
}

/// Reflects `vector` in the plane square to `mirror`, which has length 1.
fn reflect(mirror: &[f64], vector: &mut [f64]) {
    let along = 2.0 * sum(mirror.iter().zip(vector.iter()).map(|(m, v)| m * v));
    vector.iter_mut().zip(mirror).for_each(|(v, m)| *v -= along * m);
}

/// The columns 1, x, x² … of a polynomial.
///
/// # Example
/// ```
/// let columns = bedplate_gauge::least_squares::powers(&[2.0, 3.0], 2);
/// assert_eq!(columns, [vec![1.0, 1.0], vec![2.0, 3.0], vec![4.0, 9.0]]);
/// ```
#[must_use]
pub fn powers(x: &[f64], degree: u8) -> Vec<Vec<f64>> {
    (0..=i32::from(degree)).map(|k| x.iter().map(|x| x.powi(k)).collect()).collect()
}

/// A polynomial through readings.
pub const POLYNOMIAL: Calculation = Calculation {
    name: "polynomial-fit",
    title: "Polynomial through readings",
    stage: Stage::Control,
    question: "What curve of this degree lies nearest these readings?",
    inputs: &[
        Input::list("x", "", "where each reading was taken"),
        Input::list("y", "", "readings"),
        Input::count("degree", "degree of the polynomial").at_most(12.0),
    ],
    outputs: &[
        Output::figure("coefficients", "", "constant first"),
        Output::figure("errors", "", "standard error of each"),
        Output::figure("residual_sd", "", "standard deviation about the curve"),
    ],
    formula: "b minimises Σ(y − Σ bⱼ·xʲ)²",
    source: "textbook least squares; checked against NIST StRD",
    validity: "Scatter of one size everywhere; inside the range of x.",
    // Arithmetic: the squares.
    example: &[("x", "0, 1, 2, 3, 4"), ("y", "0, 1, 4, 9, 16"), ("degree", "2")],
    expected: &[("coefficients", "0, 0, 1")],
    run: run_polynomial,
};

fn run_polynomial(given: &Given) -> Result<Answer, Refused> {
    let degree = u8::try_from(given.count("degree"))
        .map_err(|_| Refused::because("degree", "a degree of 12 or less is wanted"))?;
    let columns = powers(given.list("x"), degree);
    let fit = least_squares(&columns, given.list("y"))
        .map_err(|e| Refused::because("y", e.to_string()))?;
    Ok(Answer::new()
        .list("coefficients", fit.coefficients)
        .list("errors", fit.errors)
        .figure("residual_sd", fit.residual_deviation))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_cannot_be_fitted_is_refused_in_words() {
        let words = |c: &[Vec<f64>], y: &[f64]| least_squares(c, y).unwrap_err().to_string();
        assert!(words(&[], &[1.0]).contains("no columns"));
        assert!(words(&[vec![1.0]], &[1.0, 2.0]).contains("column 1 has 1 rows"));
        assert!(words(&[vec![1.0], vec![2.0]], &[1.0]).contains("1 readings cannot settle 2"));
        let twice = [vec![1.0, 2.0, 3.0], vec![2.0, 4.0, 6.0]];
        assert!(words(&twice, &[1.0, 2.0, 3.0]).contains("column 2 follows"));
        assert!(words(&[vec![0.0; 3]], &[1.0, 2.0, 3.0]).contains("column 1 follows"));
        assert!(words(&[vec![f64::NAN; 3]], &[1.0; 3]).contains("reading 1 is NaN"));
    }

    proptest! {
        #[test]
        fn two_columns_agree_with_the_straight_line(
            y in prop::collection::vec(-5.0f64..5.0, 3..30)
        ) {
            let x: Vec<f64> = (0..y.len()).map(|i| i as f64).collect();
            let fit = least_squares(&powers(&x, 1), &y).unwrap();
            let line = crate::trend::line(&x, &y).unwrap();
            prop_assert!((fit.coefficients[1] - line.slope).abs() < 1e-11);
            prop_assert!((fit.coefficients[0] - line.intercept).abs() < 1e-10);
            prop_assert!((fit.errors[1] - line.slope_error).abs() < 1e-11);
        }

        #[test]
        fn any_figures_are_fitted_or_refused(
            x in prop::collection::vec(any::<f64>(), 0..8),
            y in prop::collection::vec(any::<f64>(), 0..8)
        ) {
            let n = x.len().min(y.len());
            let _ = least_squares(&powers(&x[..n], 3), &y[..n]);
        }
    }
}
