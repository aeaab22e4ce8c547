//! Fits to the peaks that a fit can explain: which peaks are good, how large their noise is and the
//! cost of the fit, iterated together.

use nalgebra::DMatrix;

use super::{Linearised, Weighted};
use crate::explain::tuned::{
    BAD_SHARE_TO_BEGIN_ROBUSTLY, LEAST_COST_OF_A_BAD_PEAK, MOST_BAD_PEAKS,
    MOST_ROUNDS_OF_LINEARISED_PEAKS,
};
use crate::fit::robust::Loss;

/// With fewer degrees of freedom nothing can be tested: one is used up by the noise.
const LEAST_FREEDOM: f64 = 2.0;

/// A fit of some columns to those peaks that it can explain.
#[derive(Clone, Debug)]
pub(crate) struct LinearFit {
    /// The columns fitted.
    pub chosen: Vec<usize>,
    /// Their values, those of the joint fit included.
    pub values: Vec<f64>,
    /// Standard deviation of each.
    pub sigmas: Vec<f64>,
    /// This times its own transpose is the covariance at unit noise.
    inverse: DMatrix<f64>,
    /// By peak, whether it is explained.
    pub kept: Vec<bool>,
    /// Sum of squares of each peak's residuals, in units of the logged sigmas.
    pub squares: Vec<f64>,
    /// Variance of the noise in the same units.
    pub variance: f64,
    /// Rows explained minus the effective number of parameters.
    pub freedom: f64,
    /// Cost of the columns' deviation from their priors.
    pub prior: f64,
}

impl LinearFit {
    /// Covariance of two of its values.
    pub fn covariance(&self, i: usize, j: usize) -> f64 {
        self.variance * self.inverse.row(i).dot(&self.inverse.row(j))
    }
}

impl Linearised {
    /// Fits `chosen` to the peaks `start` and then to those that it explains, until they settle;
    /// `None` when no degrees of freedom are left to estimate the noise.
    fn settle(&self, chosen: &[usize], start: &[bool], variance: f64) -> Option<LinearFit> {
        let mut kept = start.to_vec();
        let mut variance = variance;
        for round in 0.. {
            let solved = self.solve(chosen, &Weighted::Kept(&kept), variance)?;
            if solved.freedom < LEAST_FREEDOM {
                return None;
            }
            let squares = self.squares(chosen, &solved.step);
            let sum: f64 = (squares.iter().zip(&kept))
                .filter(|(_, k)| **k)
                .map(|(s, _)| s)
                .sum();
            let before = variance;
            variance = self.noise_of(sum / solved.freedom);
            let next = self.explained(&squares, variance);
            let settled = next == kept && (variance / before - 1.0).abs() < 0.1;
            if settled || round == MOST_ROUNDS_OF_LINEARISED_PEAKS {
                let values = self.values(chosen, &solved.step);
                let sigmas = (0..chosen.len())
                    .map(|c| (variance * solved.inverse.row(c).norm_squared()).sqrt())
                    .collect();
                return Some(LinearFit {
                    prior: self.prior_cost(chosen, &values),
                    chosen: chosen.to_vec(),
                    values,
                    sigmas,
                    inverse: solved.inverse,
                    kept,
                    squares,
                    variance,
                    freedom: solved.freedom,
                });
            }
            kept = next;
        }
        None
    }

    /// The noise used: the scatter, but at least the logged sigmas.
    fn noise_of(&self, scatter: f64) -> f64 {
        if self.trust.logged {
            scatter.max(1.0)
        } else {
            scatter.max(1e-300)
        }
    }

    /// Which peaks are explained. At most the share [`MOST_BAD_PEAKS`], the worst, is called bad.
    /// explained.
    pub fn explained(&self, squares: &[f64], variance: f64) -> Vec<bool> {
        let cost = self.costs_of_bad(variance);
        let mut bad: Vec<(f64, usize)> = (squares.iter().enumerate())
            .map(|(i, s)| (s / variance - cost(i, *s), i))
            .filter(|(excess, _)| *excess > 0.0)
            .collect();
        let most = (squares.len() as f64 * MOST_BAD_PEAKS) as usize;
        if bad.len() > most {
            bad.sort_by(|a, b| b.0.total_cmp(&a.0));
            bad.truncate(most);
        }
        let mut kept = vec![true; squares.len()];
        for (_, i) in bad {
            kept[i] = false;
        }
        kept
    }

    /// The cost of calling a peak bad, by its number and its sum of squares, in units of that sum
    /// over the variance.
    pub fn costs_of_bad(&self, variance: f64) -> impl Fn(usize, f64) -> f64 {
        let log = variance.ln();
        move |peak, square| match self.trust.all {
            true => f64::INFINITY,
            false => {
                let cost = self.bad_cost[peak].at(square) - self.count_of(peak) * log;
                cost.max(LEAST_COST_OF_A_BAD_PEAK)
            }
        }
    }

    /// -2 ln of the prior density of some values, up to a constant of the columns' plausible sizes:
    /// a column with a larger size than plausible is charged for the width.
    pub fn prior_cost(&self, chosen: &[usize], values: &[f64]) -> f64 {
        (chosen.iter().zip(values))
            .map(|(j, value)| {
                let known = &self.known[*j];
                ((value - known.expected) / known.spread).powi(2)
                    + 2.0 * (known.spread / known.base_spread).ln()
            })
            .sum()
    }

    /// -2 ln likelihood of a fit, up to a constant: each peak is either Gaussian or anywhere.
    pub fn cost(&self, fit: &LinearFit) -> f64 {
        let log = fit.variance.ln();
        let each = (0..self.peaks()).map(|i| {
            if fit.kept[i] {
                self.count_of(i) * log + fit.squares[i] / fit.variance
            } else {
                self.bad_cost[i].at(fit.squares[i])
            }
        });
        each.sum::<f64>() + fit.prior
    }

    /// The best fit of `chosen` from several starts: the peaks `kept` now, all of them, and those
    /// close to a fit with a slowly growing loss.
    pub fn fit(&self, chosen: &[usize], kept: &[bool], variance: f64) -> Option<LinearFit> {
        let all = vec![true; self.peaks()];
        let mut found: Vec<LinearFit> = self.settle(chosen, kept, variance).into_iter().collect();
        let clean = kept == all.as_slice() && found.iter().all(|f| f.kept == all);
        if !clean {
            found.extend(self.settle(chosen, &all, variance));
            let bad = kept.iter().filter(|k| !**k).count();
            if bad as f64 > BAD_SHARE_TO_BEGIN_ROBUSTLY * kept.len() as f64 {
                let near = self.near_by_slow_loss(chosen);
                found.extend(near.and_then(|(near, noise)| self.settle(chosen, &near, noise)));
            }
        }
        found
            .into_iter()
            .min_by(|a, b| self.cost(a).total_cmp(&self.cost(b)))
    }

    /// The peaks close to the fit with Cauchy's loss, and its noise.
    pub fn near_by_slow_loss(&self, chosen: &[usize]) -> Option<(Vec<bool>, f64)> {
        /// Median radius of two-dimensional unit noise: the square root of 2 ln 2, from the
        /// Rayleigh distribution.
        const MEDIAN_RADIUS: f64 = 1.1774;
        let mut weights = vec![1.0; self.peaks()];
        let mut variance = 1.0;
        let mut squares = Vec::new();
        for _ in 0..MOST_ROUNDS_OF_LINEARISED_PEAKS {
            let solved = self.solve(chosen, &Weighted::By(&weights), variance)?;
            squares = self.squares(chosen, &solved.step);
            let mut radii: Vec<f64> = squares.iter().map(|s| s.sqrt()).collect();
            let middle = radii.len() / 2;
            let (_, median, _) = radii.select_nth_unstable_by(middle, f64::total_cmp);
            let scale = *median / MEDIAN_RADIUS;
            variance = self.noise_of(scale * scale);
            for (i, weight) in weights.iter_mut().enumerate() {
                let u = squares[i].sqrt() / variance.sqrt();
                *weight = Loss::Cauchy.weight(u, (self.count_of(i) as usize).max(1));
            }
        }
        Some((self.explained(&squares, variance), variance))
    }
}
