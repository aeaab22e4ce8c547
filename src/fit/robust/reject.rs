//! Rejection of what cannot belong, by what the fit of the others predicts.

use super::loss::Loss;
use super::offsets::{Offset, offsets, ratio};
use super::reweight::correction;
use super::search::Found;
use super::{MOST_SEARCHED, REJECTION_TAIL, Rejected, cut_off};
use crate::fit::fitting::fit;
use crate::fit::influence::{Deviation, deviations};
use crate::fit::least_squares::LeastSquares;
use crate::fit::model::Model;
use crate::fit::options::{FitError, Options};
use crate::fit::quantile;
use crate::fit::solution::Solution;
use crate::fit::tuned::{MOST_ROUNDS_OF_REJECTION, POWER_OF_CAUTION};

/// Noise below this fraction of the offsets from a plain fit is rounding: the other observations
/// are fitted exactly.
const EXACT: f64 = 1e-10;

/// A fit in which no observation is out of place, and those left out of it.
pub(super) struct Settled {
    pub solution: Solution,
    pub weights: Vec<f64>,
    pub rejected: Vec<Rejected>,
}

/// What stays the same while observations come and go.
pub(super) struct Rejection<'a, M: Model + ?Sized> {
    model: &'a M,
    start: &'a [f64],
    options: &'a Options,
    /// Each observation's own weight.
    own: Vec<f64>,
    /// Noise below this is rounding.
    floor: f64,
    /// By number of rows: the cut-off when the scale is exact.
    cut_offs: Vec<f64>,
}

impl<'a, M: Model + ?Sized> Rejection<'a, M> {
    /// `plain` is the fit of everything.
    pub fn new(model: &'a M, start: &'a [f64], options: &'a Options, plain: &Solution) -> Self {
        let ones = || vec![1.0; model.observations()];
        Rejection {
            model,
            start,
            options,
            own: options.weights.clone().unwrap_or_else(ones),
            floor: EXACT * (plain.chi_square / plain.rows.max(1) as f64).sqrt(),
            cut_offs: (0..=model.most_rows()).map(cut_off).collect(),
        }
    }

    /// The best settled fit from any of the candidates found, and from everything kept: the
    /// one with the least bounded loss at their common scale. Several are tried because where
    /// few observations stand apart from all others, taking back the wrong one first would
    /// keep the right ones out.
    pub fn settle(&self, found: &Found, unknowns: usize) -> Result<Settled, FitError> {
        let rows = |offsets: &[Offset]| offsets.iter().map(|o| o.rows).sum();
        let mut begun = vec![self.own.clone()];
        let mut scale = found.scale;
        for (i, parameters) in found.candidates.iter().enumerate() {
            let Some(offsets) = self.offsets(parameters) else {
                continue;
            };
            scale = found.scale.max(self.floor) * correction(rows(&offsets), unknowns);
            let mut weights = self.own.clone();
            for o in &offsets {
                if ratio(o.radius(), scale) > self.cut_off(o.rows) {
                    weights[o.observation] = 0.0;
                }
            }
            if self.own.len() > MOST_SEARCHED && i == 0 {
                // This many observations leave no such doubt, and each attempt takes time.
                return self.iterate(weights);
            }
            if !begun.contains(&weights) {
                begun.push(weights);
            }
        }
        let loss = |o: &Offset| Loss::Tukey.loss(ratio(o.radius(), scale), o.rows);
        let mut best: Option<(f64, Settled)> = None;
        for weights in begun {
            let settled = self.iterate(weights)?;
            let goodness = match self.offsets(&settled.solution.parameters) {
                Some(offsets) => offsets.iter().map(loss).sum(),
                None => f64::INFINITY,
            };
            if best.as_ref().is_none_or(|(least, _)| goodness < *least) {
                best = Some((goodness, settled));
            }
        }
        match best {
            Some((_, settled)) => Ok(settled),
            None => self.iterate(self.own.clone()),
        }
    }

    fn cut_off(&self, rows: usize) -> f64 {
        let known = self.cut_offs.get(rows).copied();
        known.unwrap_or_else(|| cut_off(rows))
    }

    fn offsets(&self, parameters: &[f64]) -> Option<Vec<Offset>> {
        let problem = LeastSquares::new(self.model, usize::MAX).with_weights(Some(&self.own));
        offsets(&problem, parameters).ok()
    }

    /// Rejects and takes back until nothing changes.
    fn iterate(&self, mut weights: Vec<f64>) -> Result<Settled, FitError> {
        let mut inner = self.options.clone();
        let mut round = 0;
        loop {
            inner.weights = Some(weights.clone());
            let solution = fit(self.model, self.start, &inner)?;
            let rejected = self.judge(&solution, &weights);
            let mut next = self.own.clone();
            for r in &rejected {
                next[r.observation] = 0.0;
            }
            round += 1;
            if next == weights || round == MOST_ROUNDS_OF_REJECTION {
                return Ok(Settled {
                    solution,
                    weights,
                    rejected,
                });
            }
            weights = next;
        }
    }

    /// Those that the fit of the others does not allow.
    fn judge(&self, solution: &Solution, weights: &[f64]) -> Vec<Rejected> {
        let freedom = solution.degrees_of_freedom;
        let chi_square = solution.chi_square;
        let Ok(deviations) = deviations(self.model, solution, Some(&self.own), weights) else {
            return Vec::new();
        };
        let exact = self.floor * self.floor;
        let judge = |d: &Deviation| -> Option<Rejected> {
            let rows = d.rows as f64;
            // The noise from all others; for those rejected that is from all in the fit.
            let (rest, left) = if d.in_fit {
                ((chi_square - d.square).max(0.0), freedom - rows)
            } else {
                (chi_square, freedom)
            };
            if left <= 0.0 || d.square <= rows * exact {
                return None;
            }
            let variance = (rest / left).max(exact);
            // F has a heavier tail than chi-square, whose cut-off is at hand.
            if d.square <= variance * self.cut_off(d.rows).powi(2) {
                return None;
            }
            let probability = quantile::f_exceeds(d.square / rows / variance, rows, left);
            (probability < REJECTION_TAIL * caution(d)).then(|| Rejected {
                observation: d.observation,
                deviations: (d.square / variance).sqrt(),
                probability,
            })
        };
        deviations.iter().filter_map(judge).collect()
    }
}

/// By how much less probable an offset must be before an observation is rejected on which the
/// answer hangs: losing a good one of leverage h multiplies the variance of what it tells by
/// up to 1/(1 - h), so chance losses would cost most where they are worst.
fn caution(d: &Deviation) -> f64 {
    let each = d.leverage / d.rows.max(1) as f64;
    let share = if d.in_fit { each } else { each / (1.0 + each) };
    (1.0 - share.clamp(0.0, 0.999)).powi(POWER_OF_CAUTION)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_chi_square_allows_f_allows() {
        for rows in 1..=8 {
            for freedom in [1.0, 2.0, 5.0, 20.0, 300.0, 1e5] {
                let k = rows as f64;
                let there = cut_off(rows).powi(2) / k;
                assert!(quantile::f_exceeds(there, k, freedom) > REJECTION_TAIL);
            }
        }
    }
}
