//! What each observation does to the fit, and how well the fit of the others predicts it.

use super::block::Block;
use super::least_squares::LeastSquares;
use super::model::Model;
use super::pass::PassError;
use super::solution::Solution;
use nalgebra::{DMatrix, DVector};

/// How an observation lies against the fit of the others.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Deviation {
    /// Its number, counted from 0.
    pub observation: usize,
    /// Its number of rows, k.
    pub rows: usize,
    /// Whether it takes part in the fit.
    pub in_fit: bool,
    /// Trace of its k by k block of the hat matrix: its leverage, the share of a parameter
    /// that it pays for alone, 0 to k.
    pub leverage: f64,
    /// Sum of the squares of its residuals at the fit.
    pub residual_square: f64,
    /// The square of its deviation from the fit of the others, in units of the covariance of
    /// that deviation for noise one: r'(I - H)^-1 r when it is in the fit, r'(I + H)^-1 r
    /// when it is not. Over k and the variance of the noise it follows F.
    pub square: f64,
    /// Sum of the squares of its residuals from the fit of the others.
    pub press: f64,
}

/// An observation in the fit that alone pays for a parameter (leverage of a direction within
/// this of one) cannot be predicted from the others: its deviation is zero.
const ALONE: f64 = 1e-10;

/// The deviations of all observations that have rows and a weight of their own, in order,
/// for a fit made with `weights` (zero for those left out of it); linearised at the solution.
///
/// Belsley, Kuh and Welsch, Regression Diagnostics (1980), for single rows; here in blocks
/// of the rows that stand or fall together (from memory).
///
/// # Errors
/// When the model is not finite at the solution.
pub fn deviations<M: Model + ?Sized>(
    model: &M,
    solution: &Solution,
    own: Option<&[f64]>,
    weights: &[f64],
) -> Result<Vec<Deviation>, PassError> {
    let half = solution.half_covariance();
    let problem = LeastSquares::new(model, usize::MAX).with_weights(own);
    let mut found = Vec::new();
    problem.pass(&solution.parameters, true, |block| {
        let owners = block.observation_of_rows();
        let mut rows: Vec<usize> = (0..owners.len()).collect();
        rows.sort_by_key(|row| owners[*row]);
        for rows in rows.chunk_by(|a, b| owners[*a] == owners[*b]) {
            let observation = owners[rows[0]];
            let in_fit = weights[observation] > 0.0;
            found.push(deviation(block, rows, &half, observation, in_fit));
        }
    })?;
    Ok(found)
}

fn deviation(
    block: &Block,
    rows: &[usize],
    half: &DMatrix<f64>,
    observation: usize,
    in_fit: bool,
) -> Deviation {
    let (n, k) = half.shape();
    let a = DMatrix::from_fn(rows.len(), k, |i, l| {
        let products = (0..n).map(|j| block.derivative(rows[i], j) * half[(j, l)]);
        products.sum::<f64>()
    });
    let residual = DVector::from_fn(rows.len(), |i, _| block.residual(rows[i]));
    let hat = &a * a.transpose();
    let sign = if in_fit { -1.0 } else { 1.0 };
    let spread = DMatrix::identity(rows.len(), rows.len()) + &hat * sign;
    // The deletion formula: residuals from the fit of the others are (I - H)^-1 r.
    let (square, press) = match spread.cholesky() {
        Some(cholesky) if cholesky.determinant() > ALONE => {
            let solved = cholesky.solve(&residual);
            let from_others = if in_fit {
                solved.norm_squared()
            } else {
                residual.norm_squared()
            };
            (residual.dot(&solved), from_others)
        }
        _ => (0.0, 0.0),
    };
    Deviation {
        observation,
        rows: rows.len(),
        in_fit,
        leverage: hat.trace(),
        residual_square: residual.norm_squared(),
        square,
        press,
    }
}
