//! Rejection of what cannot belong, by what the fit of the others predicts.

use super::offsets::offsets;
use super::reweight::correction;
use super::search::ratio;
use super::{Breakdown, REJECTION_TAIL, Rejected, RobustSolution, cut_off};
use crate::fit::influence::{Deviation, deviations};
use crate::fit::least_squares::LeastSquares;
use crate::fit::model::Model;
use crate::fit::quantile;
use crate::fit::solution::{FitError, Options, Solution, fit};

/// Most rounds of rejecting and taking back.
const MOST_ROUNDS: usize = 20;
/// Noise below this fraction of the offsets from a plain fit is taken for rounding: the rest
/// is fitted exactly.
const EXACT: f64 = 1e-10;

/// From parameters and scale of the search to the final fit.
pub(super) fn reject<M: Model + ?Sized>(
    model: &M,
    start: &[f64],
    options: &Options,
    parameters: &[f64],
    scale: f64,
    plain: Solution,
    breakdown: Breakdown,
) -> Result<RobustSolution, FitError> {
    let floor = EXACT * (plain.chi_square / plain.rows.max(1) as f64).sqrt();
    let scale = scale.max(floor);
    let own = |i: usize| options.weights.as_ref().map_or(1.0, |w| w[i]);
    let keep_all: Vec<f64> = (0..model.observations()).map(own).collect();
    let mut weights = keep_all.clone();
    let problem = LeastSquares::new(model, usize::MAX).with_weights(options.weights.as_deref());
    if let Ok(offsets) = offsets(&problem, parameters) {
        let rows = offsets.iter().map(|o| o.rows).sum();
        let scale = scale * correction(rows, plain.rank());
        for o in &offsets {
            if ratio(o.radius(), scale) > cut_off(o.rows) {
                weights[o.observation] = 0.0;
            }
        }
    }
    let mut inner = options.clone();
    let mut solution = plain;
    let mut rejected = Vec::new();
    for _ in 0..MOST_ROUNDS {
        inner.weights = Some(weights.clone());
        solution = fit(model, start, &inner)?;
        rejected = judge(
            model,
            &solution,
            options.weights.as_deref(),
            &weights,
            floor,
        );
        let mut next = keep_all.clone();
        for r in &rejected {
            next[r.observation] = 0.0;
        }
        if next == weights {
            break;
        }
        weights = next;
    }
    Ok(RobustSolution {
        scale: solution.scatter.unwrap_or(0.0),
        solution,
        weights,
        rejected,
        breakdown,
    })
}

/// Those that the fit of the others does not allow.
fn judge<M: Model + ?Sized>(
    model: &M,
    solution: &Solution,
    own: Option<&[f64]>,
    weights: &[f64],
    floor: f64,
) -> Vec<Rejected> {
    let freedom = solution.degrees_of_freedom;
    let chi_square = solution.chi_square;
    let Ok(deviations) = deviations(model, solution, own, weights) else {
        return Vec::new();
    };
    let judge = |d: &Deviation| -> Option<Rejected> {
        let rows = d.rows as f64;
        // The noise from all others; for those rejected that is from all in the fit.
        let (rest, left) = if d.in_fit {
            ((chi_square - d.square).max(0.0), freedom - rows)
        } else {
            (chi_square, freedom)
        };
        if left <= 0.0 || d.square <= rows * floor * floor {
            return None;
        }
        let variance = (rest / left).max(floor * floor);
        let probability = quantile::f_exceeds(d.square / rows / variance, rows, left);
        (probability < REJECTION_TAIL).then(|| Rejected {
            observation: d.observation,
            deviations: (d.square / variance).sqrt(),
            probability,
        })
    };
    deviations.iter().filter_map(judge).collect()
}
