//! Fits that bad observations cannot spoil.
//!
//! [`robust_fit`] finds what most observations agree on, rejects those that then cannot
//! belong, and fits the rest by least squares; [`reweighted_fit`] only lowers weights.

mod loss;
mod offsets;
mod reject;
mod relax;
mod reweight;
mod search;

pub use loss::Loss;
pub use reweight::{Reweighted, reweighted_fit};

pub use super::tuned::{BAD_SHARE, LEAST_OBSERVATIONS, MOST_SEARCHED, REJECTION_TAIL};

use super::least_squares::LeastSquares;
use super::model::Model;
use super::options::{FitError, Options};
use super::quantile;
use super::solution::Solution;
use offsets::offsets;
use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;
use reject::Rejection;
use relax::Relax;
use search::Found;
use std::fmt;

/// An observation that cannot belong to the fit of the others.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rejected {
    /// Its number, counted from 0.
    pub observation: usize,
    /// How far it lies from the fit without it, in its own standard deviations (noise and
    /// the uncertainty of the fit there), as the length of its whole offset.
    pub deviations: f64,
    /// The probability that a good one lies as far out.
    pub probability: f64,
}

/// How much the rejection can be trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Breakdown {
    /// Observations with rows and weight.
    pub observations: usize,
    /// Bad ones that the method is meant to survive, wherever they lie.
    pub tolerated: usize,
    /// Whether bad ones can be identified reliably at all.
    pub reliable: bool,
}

impl fmt::Display for Breakdown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.reliable {
            write!(
                f,
                "up to {} bad ones among {} can be found",
                self.tolerated, self.observations
            )
        } else {
            write!(
                f,
                "among {} only, bad ones cannot be told reliably",
                self.observations
            )
        }
    }
}

/// A fit of the observations that belong together.
#[derive(Clone, Debug)]
pub struct RobustSolution {
    /// The least-squares fit of those kept.
    pub solution: Solution,
    /// The weight of each observation in that fit: its own, or zero when rejected.
    pub weights: Vec<f64>,
    /// Those rejected, in order.
    pub rejected: Vec<Rejected>,
    /// Noise of one row in units of the logged sigma, from the scatter of those kept;
    /// corrected for the parameters fitted. Zero when all are fitted exactly.
    pub scale: f64,
    /// How much the rejection can be trusted.
    pub breakdown: Breakdown,
}

/// Fits `model` from `start` while up to 40 % of the observations may be grossly wrong,
/// scattered or all alike, or alone in their part of the data.
///
/// Least trimmed squares and a bounded loss find the fit that most agree on; observations
/// are then rejected, and taken back, by what the fit of the others predicts for them (an F
/// test at [`REJECTION_TAIL`] with the fit's own uncertainty there, so that a good one far
/// from all others is not lost); the rest is fitted by least squares. The same `seed` gives
/// the same answer.
///
/// # Errors
/// As [`super::fit`].
pub fn robust_fit<M: Model + ?Sized>(
    model: &M,
    start: &[f64],
    options: &Options,
    seed: u64,
) -> Result<RobustSolution, FitError> {
    let plain = super::fit(model, start, options)?;
    let used = used_observations(model, options, &plain);
    let unknowns = plain.rank();
    let rows_each = (plain.rows as f64 / used.len().max(1) as f64).max(1.0);
    let needed = (unknowns as f64 / rows_each).ceil() as usize;
    let spare = used.len().saturating_sub(needed + 1);
    let breakdown = Breakdown {
        observations: used.len(),
        tolerated: (spare / 2).min((BAD_SHARE * used.len() as f64) as usize),
        reliable: used.len() >= LEAST_OBSERVATIONS && spare >= needed,
    };
    let relax = Relax::new(model, options, start, sample(&used, seed));
    let found = match search::search(&relax, start, &plain.parameters, seed) {
        Some(found) => found,
        // Hardly more observations than parameters: nothing to draw subsets from.
        None => {
            let cauchy = reweighted_fit(model, start, Loss::Cauchy, options)?;
            let from = &cauchy.solution.parameters;
            let tukey = reweighted_fit(model, from, Loss::Tukey, options)?;
            Found {
                candidates: vec![tukey.solution.parameters],
                scale: tukey.scale,
            }
        }
    };
    let settled = Rejection::new(model, start, options, &plain).settle(&found, unknowns)?;
    Ok(RobustSolution {
        scale: settled.solution.scatter.unwrap_or(0.0),
        solution: settled.solution,
        weights: settled.weights,
        rejected: settled.rejected,
        breakdown,
    })
}

/// The observations that have rows and a weight above zero.
fn used_observations<M: Model + ?Sized>(
    model: &M,
    options: &Options,
    plain: &Solution,
) -> Vec<usize> {
    let problem = LeastSquares::new(model, 1).with_weights(options.weights.as_deref());
    match offsets(&problem, &plain.parameters) {
        Ok(offsets) => offsets.iter().map(|o| o.observation).collect(),
        Err(_) => Vec::new(),
    }
}

/// At most [`MOST_SEARCHED`] of them at random, ascending.
fn sample(used: &[usize], seed: u64) -> Vec<usize> {
    if used.len() <= MOST_SEARCHED {
        return used.to_vec();
    }
    let mut all = used.to_vec();
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let (chosen, _) = all.partial_shuffle(&mut random, MOST_SEARCHED);
    let mut chosen = chosen.to_vec();
    chosen.sort_unstable();
    chosen
}

/// The cut-off in scales for observations of `rows` rows when the scale is exact.
pub fn cut_off(rows: usize) -> f64 {
    quantile::chi_square_tail(REJECTION_TAIL, rows as f64).sqrt()
}
