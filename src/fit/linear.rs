//! Small linear least squares: the parameters that enter a model linearly.

use super::block::Block;
use super::spectrum::{Hold, Spectrum};
use super::step;
use super::triangle::Triangle;
use super::tuned::ROWS_GATHERED;
use nalgebra::{DMatrix, DVector};

/// A weighted linear problem fed row by row: y = regressors . coefficients + noise.
///
/// # Example
/// ```
/// use plumbeam::fit::Linear;
/// let mut line = Linear::new(2);
/// for (x, y) in [(0.0, 1.0), (1.0, 3.0), (2.0, 5.0)] {
///     line.add(y, &[1.0, x], 1.0);
/// }
/// let found = line.solve();
/// assert!((found.coefficients[1] - 2.0).abs() < 1e-12);
/// assert_eq!(found.rank, 2);
/// ```
#[derive(Clone, Debug)]
pub struct Linear {
    triangle: Triangle,
    block: Block,
}

/// What [`Linear::solve`] found, for n coefficients.
#[derive(Clone, Debug)]
pub struct LinearSolution {
    /// The coefficients, n; the shortest in units of the columns' lengths when the rows do
    /// not tell all.
    pub coefficients: Vec<f64>,
    /// Weighted residual sum of squares.
    pub sum_of_squares: f64,
    /// Number of directions told by the rows.
    pub rank: usize,
    /// Condition number, columns scaled to unit length.
    pub condition: f64,
    /// Rows less rank, zero at least.
    pub degrees_of_freedom: usize,
    /// Covariance of the coefficients for noise of variance one over the weight, n by n.
    pub covariance: DMatrix<f64>,
}

impl Linear {
    /// Of n coefficients and no rows yet.
    pub fn new(coefficients: usize) -> Linear {
        Linear {
            triangle: Triangle::new(coefficients),
            block: Block::new(coefficients, ROWS_GATHERED),
        }
    }
    /// Adds a row: the value, its n regressors, its weight (one over the variance), zero or
    /// more.
    ///
    /// # Panics
    /// When the regressors are not n in number.
    pub fn add(&mut self, y: f64, regressors: &[f64], weight: f64) {
        let root = weight.sqrt();
        self.block.push(0, -y, regressors);
        if root != 1.0 {
            self.block.scale_last_row(root);
        }
        if self.block.rows() == ROWS_GATHERED {
            self.triangle.absorb_or_spoil(&mut self.block);
        }
    }
    /// The least-squares solution of all rows so far, by QR; by singular values when near
    /// deficient.
    pub fn solve(&mut self) -> LinearSolution {
        self.triangle.absorb_or_spoil(&mut self.block);
        let triangle = &self.triangle;
        let spectrum = Spectrum::of(triangle, &Hold::default());
        let (coefficients, sum_of_squares) = match spectrum.basis() {
            None => (solved(triangle), triangle.least_squares()),
            Some(basis) => {
                let free = triangle.restricted(&basis);
                (basis * solved(&free), free.least_squares())
            }
        };
        LinearSolution {
            coefficients: coefficients.iter().copied().collect(),
            sum_of_squares,
            rank: spectrum.rank(),
            condition: spectrum.condition(),
            degrees_of_freedom: triangle.rows().saturating_sub(spectrum.rank()),
            covariance: spectrum.covariance(),
        }
    }
}

fn solved(triangle: &Triangle) -> DVector<f64> {
    let scale = super::triangle::positive(triangle.column_norms());
    step::full(triangle, &scale).change
}
