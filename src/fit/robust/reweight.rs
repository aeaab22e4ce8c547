//! Iteratively reweighted least squares.

use super::loss::Loss;
use super::offsets::{Medians, median_scale, offsets, ratio};
use crate::fit::fitting::fit;
use crate::fit::least_squares::LeastSquares;
use crate::fit::model::Model;
use crate::fit::options::{FitError, Options};
use crate::fit::solution::Solution;
use crate::fit::tuned::{MOST_ROUNDS_OF_REWEIGHTING, ROUNDS_OF_SCALE, WEIGHTS_SETTLED};

/// A fit with weights by each observation's offset.
#[derive(Clone, Debug)]
pub struct Reweighted {
    /// The weighted least-squares fit. Its covariance takes the weights for exact, which
    /// they are not.
    pub solution: Solution,
    /// The final weight of each observation, its own weight included.
    pub weights: Vec<f64>,
    /// Noise of one row in units of the logged sigma, from the median absolute deviation of
    /// the offsets, corrected for the parameters fitted.
    pub scale: f64,
    /// Whether the weights settled.
    pub settled: bool,
}

/// Fits `model` from `start` with radial weights by `loss`, the scale coming from the median
/// absolute deviation of the offsets. Good against a few bad observations; for many, or many
/// alike, use [`super::robust_fit`].
///
/// # Errors
/// As [`crate::fit::fit`].
pub fn reweighted_fit<M: Model + ?Sized>(
    model: &M,
    start: &[f64],
    loss: Loss,
    options: &Options,
) -> Result<Reweighted, FitError> {
    let medians = Medians::new();
    let mut inner = options.clone();
    let own = |i: usize| options.weights.as_ref().map_or(1.0, |w| w[i]);
    // A bounded loss must begin where it is; a convex one may begin with plain least squares.
    let mut parameters = start.to_vec();
    let mut weights: Vec<f64> = (0..model.observations()).map(own).collect();
    if loss != Loss::Tukey {
        parameters = fit(model, start, &inner)?.parameters;
    }
    let mut scale = 0.0;
    let mut round = 0;
    loop {
        let problem = LeastSquares::new(model, usize::MAX).with_weights(options.weights.as_deref());
        let Ok(offsets) = offsets(&problem, &parameters) else {
            // The last accepted parameters were finite, so only the start can end here.
            return Err(match fit(model, start, options) {
                Err(error) => error,
                Ok(_) => FitError::Misfit("a model that changes between calls"),
            });
        };
        let rows: usize = offsets.iter().map(|o| o.rows).sum();
        if round < ROUNDS_OF_SCALE {
            scale = median_scale(&offsets, &medians) * correction(rows, model.parameters());
        }
        let mut change: f64 = 0.0;
        for o in &offsets {
            let weight = own(o.observation)
                * loss
                    .weight(ratio(o.radius(), scale), o.rows)
                    .max(LEAST_WEIGHT);
            change = change.max((weight - weights[o.observation]).abs());
            weights[o.observation] = weight;
        }
        round += 1;
        inner.weights = Some(weights.clone());
        let solution = fit(model, &parameters, &inner)?;
        if change <= WEIGHTS_SETTLED || round == MOST_ROUNDS_OF_REWEIGHTING {
            return Ok(Reweighted {
                solution,
                weights,
                scale,
                settled: change <= WEIGHTS_SETTLED,
            });
        }
        parameters = solution.parameters;
    }
}

/// Weights do not fall to zero, so that the problem keeps its rank.
const LEAST_WEIGHT: f64 = 1e-12;

/// By how much the scale of residuals must be raised because `unknowns` were fitted to them.
pub(super) fn correction(rows: usize, unknowns: usize) -> f64 {
    let (rows, unknowns) = (rows as f64, unknowns as f64);
    if rows > unknowns {
        (rows / (rows - unknowns)).sqrt()
    } else {
        f64::INFINITY
    }
}
