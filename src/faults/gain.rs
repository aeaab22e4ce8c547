//! What speaks for a cause: how much better the peaks are explained with its columns than without.

use crate::fit::quantile;

use super::look::{Look, LookFit};

/// What speaks for the larger of two sets of columns.
#[derive(Clone, Debug)]
pub struct Gain {
    /// Fall of the bounded sum of squares at the larger set's noise.
    pub fall: f64,
    /// The largest share of it that one peak alone has.
    pub by_one_peak: f64,
    /// Columns more.
    pub more: f64,
    /// Degrees of freedom of the larger set's noise.
    pub freedom: f64,
    /// Rows explained by the larger set.
    pub rows: f64,
    /// Variance of the noise about the smaller set, over the same rows.
    pub variance_without: f64,
    /// Whether the logged standard deviations have a say.
    trust_logged: bool,
}

impl Gain {
    /// The probability of so large a fall by chance in one trial: by F, and where standard
    /// deviations were logged not less than by chi-square.
    pub fn probability(&self) -> f64 {
        self.probability_of(self.fall)
    }

    /// The same without the peak that speaks loudest.
    pub fn probability_without_one(&self) -> f64 {
        self.probability_of(self.fall - self.by_one_peak)
    }

    fn probability_of(&self, fall: f64) -> f64 {
        let fall = fall.max(0.0);
        let by_scatter = quantile::f_exceeds(fall / self.more, self.more, self.freedom);
        if self.trust_logged {
            by_scatter.max(quantile::chi_square_exceeds(fall, self.more))
        } else {
            by_scatter
        }
    }

    /// Fall of the information criterion (Schwarz 1978) for `parameters` more.
    pub fn criterion(&self, parameters: f64) -> f64 {
        let ratio = 1.0 + self.fall.max(0.0) / self.freedom;
        self.rows * ratio.ln() - parameters * self.rows.ln()
    }
}

impl Look {
    /// What speaks for `large` over the smaller set of columns `small`, at the noise of the
    /// larger; the smaller is fitted anew for that noise. Columns of the explanation that are
    /// in the larger only are taken out of it for the smaller.
    pub fn gain(&self, small: &[usize], large: &LookFit) -> Option<Gain> {
        let dropped: Vec<usize> = (large.chosen.iter().copied())
            .filter(|j| !small.contains(j) && self.known[*j][0] != 0.0)
            .collect();
        let less = self.without(&dropped);
        let variance = large.variance;
        let bounded = |i: usize, s: f64| (s / variance).min(self.cost_of_bad(i, variance));
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
                let weights: Vec<f64> = kept.iter().map(|k| f64::from(u8::from(*k))).collect();
                let solved = less.solve(small, &weights, variance)?;
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
        let by_one_peak = (0..self.peaks())
            .map(|i| bounded(i, squares[i]) - bounded(i, large.squares[i]))
            .fold(0.0, f64::max);
        let rows = (0..self.peaks())
            .filter(|i| large.kept[*i])
            .map(|i| self.rows[i].1)
            .sum::<usize>();
        let about_small: f64 = (0..self.peaks())
            .filter(|i| large.kept[*i])
            .map(|i| squares[i])
            .sum();
        Some(Gain {
            variance_without: about_small / (rows as f64 - small.len() as f64).max(1.0),
            fall,
            by_one_peak,
            more: (large.chosen.len() - small.len()).max(1) as f64,
            freedom: large.freedom,
            rows: rows as f64,
            trust_logged: self.trust_logged,
        })
    }
}
