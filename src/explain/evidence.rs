//! The evidence for a hypothesis: how much better the peaks are explained with its columns than
//! without.

use nalgebra::{Matrix2, Vector2};

use crate::fit::quantile;

use super::linearised::{LinearFit, Linearised, Weighted};

/// Of two explanations, or readings of a log, the one whose information criterion is worse by less
/// than this is about as good and cannot be ruled out: a Bayes factor of twenty, above which Kass
/// and Raftery (*Bayes factors*, 1995; from memory) call evidence strong.
pub const STRONG_EVIDENCE: f64 = 6.0;

/// The evidence for the larger of two sets of columns.
#[derive(Clone, Debug)]
pub struct Evidence {
    /// Fall of the bounded sum of squares at the larger set's noise: no peak counts for more than
    /// the cost of calling it bad.
    pub fall: f64,
    /// The largest share of it that comes from a single peak.
    pub by_one_peak: f64,
    /// The share of it from the tenth of the peaks that contribute most.
    pub by_a_tenth: f64,
    /// Additional columns.
    pub more: f64,
    /// Degrees of freedom of the larger set's noise.
    pub freedom: f64,
    /// Rows explained by the larger set.
    pub rows: f64,
    /// Variance of the noise about the smaller set, over the same rows.
    pub variance_without: f64,
    /// RMS error of each peak predicted from the others, with the hypothesis over without it: below
    /// one, it predicts better (Allen, The relationship between variable selection and data
    /// augmentation, 1974: PRESS).
    pub cross_validation: Option<f64>,
    /// Whether the logged standard deviations count.
    trusts_logged: bool,
}

impl Evidence {
    /// The p-value in one trial: by F, and where standard deviations were logged at least that by
    /// chi-square.
    pub fn p_value(&self) -> f64 {
        self.p_value_of(self.fall)
    }

    /// The same without the peak that contributes most.
    pub fn p_value_without_one(&self) -> f64 {
        self.p_value_of(self.fall - self.by_one_peak)
    }

    /// The same without the tenth of the peaks that contribute most: where very many rates are
    /// searched, some rate fits the few largest errors of any session.
    pub fn p_value_without_a_tenth(&self) -> f64 {
        self.p_value_of(self.fall - self.by_a_tenth)
    }

    fn p_value_of(&self, fall: f64) -> f64 {
        let fall = fall.max(0.0);
        let by_scatter = quantile::f_exceeds(fall / self.more, self.more, self.freedom);
        if self.trusts_logged {
            by_scatter.max(quantile::chi_square_exceeds(fall, self.more))
        } else {
            by_scatter
        }
    }

    /// Fall of the Bayesian information criterion (Schwarz 1978) for `parameters` more; positive
    /// favours the hypothesis.
    pub fn bic_fall(&self, parameters: f64) -> f64 {
        let ratio = 1.0 + self.fall.max(0.0) / self.freedom;
        self.rows * ratio.ln() - parameters * self.rows.ln()
    }
}

impl Linearised {
    /// The evidence for `large` over the smaller set of columns `small`, at the noise of the
    /// larger; the smaller is refitted at that noise. Columns of the joint fit that only the larger
    /// set has are removed from it for the smaller.
    pub fn evidence(&self, small: &[usize], large: &LinearFit) -> Option<Evidence> {
        let dropped: Vec<usize> = (large.chosen.iter().copied())
            .filter(|j| !small.contains(j) && self.is_set(*j))
            .collect();
        let without;
        let less = if dropped.is_empty() {
            self
        } else {
            without = self.without(&dropped);
            &without
        };
        let variance = large.variance;
        let cost = self.costs_of_bad(variance);
        let bounded = |i: usize, s: f64| (s / variance).min(cost(i, s));
        let total = |squares: &[f64], prior: f64| -> f64 {
            let each = squares.iter().enumerate().map(|(i, s)| bounded(i, *s));
            each.sum::<f64>() + prior
        };
        let all = vec![true; self.peaks()];
        let mut starts = vec![large.kept.clone()];
        if large.kept != all {
            starts.push(all);
        }
        let mut best: Option<(f64, Vec<f64>)> = None;
        for start in starts {
            let mut kept = start;
            for _ in 0..4 {
                let solved = less.solve(small, &Weighted::Kept(&kept), variance)?;
                let squares = less.squares(small, &solved.step);
                let values = less.values(small, &solved.step);
                let sum = total(&squares, less.prior_cost(small, &values));
                if best.as_ref().is_none_or(|(least, _)| sum < *least) {
                    best = Some((sum, squares.clone()));
                }
                let next = self.explained(&squares, variance);
                if next == kept {
                    break;
                }
                kept = next;
            }
        }
        let (least, squares) = best?;
        let fall = least - total(&large.squares, large.prior);
        let mut by_peak: Vec<f64> = (0..self.peaks())
            .map(|i| bounded(i, squares[i]) - bounded(i, large.squares[i]))
            .collect();
        let tenth = self.peaks().div_ceil(10);
        if tenth < by_peak.len() {
            by_peak.select_nth_unstable_by(tenth, |a, b| b.total_cmp(a));
            by_peak.truncate(tenth);
        }
        let by_one_peak = by_peak.iter().copied().fold(0.0, f64::max);
        let by_a_tenth = by_peak.iter().filter(|b| **b > 0.0).sum();
        let kept = || (0..self.peaks()).filter(|i| large.kept[*i]);
        let rows = kept().map(|i| self.rows_of(i).len()).sum::<usize>();
        let about_small: f64 = kept().map(|i| squares[i]).sum();
        Some(Evidence {
            variance_without: about_small / (rows as f64 - small.len() as f64).max(1.0),
            fall,
            by_one_peak,
            by_a_tenth,
            more: (large.chosen.len() - small.len()).max(1) as f64,
            freedom: large.freedom,
            rows: rows as f64,
            cross_validation: None,
            trusts_logged: self.trusts_logged(),
        })
    }

    /// Sum of squares of each kept peak's residual when it is predicted from the others.
    fn predicted_from_others(&self, chosen: &[usize], kept: &[bool], variance: f64) -> Option<f64> {
        let solved = self.solve(chosen, &Weighted::Kept(kept), variance)?;
        let (leverages, _) = self.leverages(chosen, kept, variance)?;
        let mut sum = 0.0;
        for (i, hat) in leverages.iter().enumerate().filter(|(i, _)| kept[*i]) {
            let mut residual = Vector2::zeros();
            for (left, row) in residual.iter_mut().zip(self.rows_of(i)) {
                let change: f64 = (chosen.iter().zip(solved.step.iter()))
                    .map(|(j, s)| s * self.value(row, *j))
                    .sum();
                *left = self.residual(row) + change;
            }
            let left = Matrix2::identity() - hat;
            sum += (left.try_inverse()? * residual).norm_squared();
        }
        Some(sum)
    }

    /// [`Evidence::cross_validation`] of the columns of `large` over those of `small`.
    pub fn cross_validation(&self, small: &[usize], large: &LinearFit) -> Option<f64> {
        let dropped: Vec<usize> = (large.chosen.iter().copied())
            .filter(|j| !small.contains(j) && self.is_set(*j))
            .collect();
        let less = self.without(&dropped);
        let with = self.predicted_from_others(&large.chosen, &large.kept, large.variance)?;
        let without = less.predicted_from_others(small, &large.kept, large.variance)?;
        (without > 0.0).then(|| (with / without).sqrt())
    }
}
