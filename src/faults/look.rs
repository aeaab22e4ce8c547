//! The problem to first order about a state, with the columns of all hypotheses at once: made in
//! one pass over the peaks, then asked many times, without going back to the sky or the mount.

use nalgebra::{DMatrix, DVector};

use super::explain::{Explained, Explanation};
use super::shape::{Column, Lever};
use crate::angle::{Angle, Apparent, Direction, Offset};

/// Chance that a peak is bad, before the data; common practice, no source.
const BAD_CHANCE: f64 = 0.05;
/// Solid angle of the sky, over which a bad peak may lie.
const SKY: f64 = 4.0 * std::f64::consts::PI;
/// From this misfit on, angles are compared at the encoders and not on the sky: there a slip
/// of any size simply adds,
const FAR: Angle = Angle::from_degrees(6.0);
/// but not near the zenith, where a small step is a large azimuth: cosine of the elevation.
const AWAY_FROM_ZENITH: f64 = 0.3;
/// Never more than this share of the peaks is taken for bad.
const MOST_BAD: f64 = 0.4;
/// Rounds in which the set of good peaks must settle.
const MOST_ROUNDS: usize = 12;

/// The peaks to first order about a state.
#[derive(Clone, Debug)]
pub struct Look {
    /// Whitened residuals at the state, a row a measured coordinate.
    residuals: DVector<f64>,
    /// Change of each for a unit of each column.
    columns: DMatrix<f64>,
    /// Each column's value at the state, and what is known of it: mean and spread.
    pub(super) known: Vec<[f64; 3]>,
    /// By peak: its first row and how many rows it has.
    pub(super) rows: Vec<(usize, usize)>,
    /// By row: the standard deviation by which it was divided, radians.
    sigmas: Vec<f64>,
    /// By peak: what it costs to call it bad when the noise is one.
    bad_cost: Vec<f64>,
    /// Whether the logged standard deviations are to be trusted unless the scatter is larger.
    pub(super) trust_logged: bool,
}

/// A fit of some columns to those peaks that it can explain.
#[derive(Clone, Debug)]
pub struct LookFit {
    /// The columns fitted.
    pub chosen: Vec<usize>,
    /// Their values, state included.
    pub values: Vec<f64>,
    /// Standard deviation of each.
    pub sigmas: Vec<f64>,
    /// R^-1.
    inverse: DMatrix<f64>,
    /// By peak, whether it is explained.
    pub kept: Vec<bool>,
    /// Sum of squares of each peak's residuals, in units of the logged sigmas.
    pub squares: Vec<f64>,
    /// Variance of the noise in the same units.
    pub variance: f64,
    /// Rows explained less parameters paid for.
    pub freedom: f64,
    /// Cost of the columns' deviation from what was known of them.
    pub prior: f64,
}

impl LookFit {
    /// Covariance of two of its values.
    pub fn covariance(&self, i: usize, j: usize) -> f64 {
        self.variance * self.inverse.row(i).dot(&self.inverse.row(j))
    }
}

impl Look {
    /// About `parameters` of `explanation`, with `more` columns beside its own; the columns are
    /// numbered free terms first, then the explanation's, then `more`.
    pub fn at(
        explanation: &Explanation<'_>,
        parameters: &[f64],
        more: &[Column],
        trust_logged: bool,
    ) -> Look {
        let cases = explanation.cases;
        let own = parameters.len();
        let total = own + more.len();
        let most = 2 * cases.len();
        let mut residuals = DVector::zeros(most);
        let mut columns = DMatrix::zeros(most, total);
        let mut rows = Vec::with_capacity(cases.len());
        let mut bad_cost = Vec::with_capacity(cases.len());
        let mut row_sigmas = Vec::with_capacity(most);
        let mut next = 0;
        let mut changes = vec![[0.0; 2]; total];
        let bare = explanation.bare(parameters);
        for (i, case) in cases.iter().enumerate() {
            let here = explanation.at_about(&bare, i, parameters);
            explanation.misfit_with_derivatives(i, &here, more, |j, c| changes[j] = c);
            let offset = generous_misfit(&here, case.observation.approach());
            // Another target is no small step: its column is the exact difference.
            let all = explanation.columns.iter().chain(more);
            for (k, column) in all.enumerate() {
                if let Lever::Retarget(steps) = &column.lever
                    && steps[i].norm_squared() > 0.0
                {
                    // One that is in the explanation has been made: it is taken back.
                    let way = if k < explanation.columns.len() {
                        -1.0
                    } else {
                        1.0
                    };
                    let mut there = here.clone();
                    there.target = (there.target + steps[i] * way).normalize();
                    let other = generous_misfit(&there, case.observation.approach());
                    changes[explanation.free.len() + k] = [
                        (other.cross_elevation - offset.cross_elevation).radians() * way,
                        (other.elevation - offset.elevation).radians() * way,
                    ];
                }
            }
            let sigma = explanation.sigmas[i].map(Angle::radians);
            let peak = &case.observation.peak;
            let first = next;
            let parts = [offset.cross_elevation, offset.elevation];
            for (axis, measured) in [peak.azimuth, peak.elevation].into_iter().enumerate() {
                if measured.is_none() {
                    continue;
                }
                residuals[next] = parts[axis].radians() / sigma[axis];
                row_sigmas.push(sigma[axis]);
                for j in 0..total {
                    columns[(next, j)] = changes[j][axis] / sigma[axis];
                }
                next += 1;
            }
            rows.push((first, next - first));
            bad_cost.push(bad_cost_of(sigma, next - first));
        }
        let own_known = explanation.known().into_iter().zip(parameters);
        let known = own_known
            .map(|((mean, spread), value)| [*value, mean, spread])
            .chain(more.iter().map(|c| [0.0, c.expected, c.spread]))
            .collect();
        Look {
            residuals: residuals.rows(0, next).into_owned(),
            columns: columns.rows(0, next).into_owned(),
            known,
            rows,
            sigmas: row_sigmas,
            bad_cost,
            trust_logged,
        }
    }

    /// Number of peaks.
    pub fn peaks(&self) -> usize {
        self.rows.len()
    }
    /// By peak: its first row and how many rows it has.
    pub fn rows_of(&self, peak: usize) -> std::ops::Range<usize> {
        let (first, count) = self.rows[peak];
        first..first + count
    }
    /// The rows of one column.
    pub fn column(&self, column: usize) -> nalgebra::DVectorView<'_, f64> {
        self.columns.column(column)
    }
    /// The standard deviation by which a row was divided, radians.
    pub fn sigma_of(&self, row: usize) -> f64 {
        self.sigmas[row]
    }
    /// Number of columns.
    pub fn width(&self) -> usize {
        self.known.len()
    }
    /// The whitened residuals at the state.
    pub fn residuals(&self) -> &DVector<f64> {
        &self.residuals
    }

    /// The look with some columns of the explanation taken out of it altogether.
    pub fn without(&self, dropped: &[usize]) -> Look {
        let mut other = self.clone();
        for j in dropped {
            let value = other.known[*j][0];
            other.residuals.axpy(-value, &self.columns.column(*j), 1.0);
            other.known[*j][0] = 0.0;
        }
        other
    }

    /// Weighted least squares in `chosen` columns with the noise's variance for the priors.
    pub(super) fn solve(&self, chosen: &[usize], weights: &[f64], variance: f64) -> Option<Solved> {
        let p = chosen.len();
        let used: Vec<(usize, f64)> = (0..self.peaks())
            .filter(|i| weights[*i] > 0.0)
            .flat_map(|i| self.rows_of(i).map(move |r| (r, i)))
            .map(|(r, i)| (r, weights[i].sqrt()))
            .collect();
        let noise = variance.sqrt();
        let mut matrix = DMatrix::zeros(used.len() + p, p);
        let mut right = DVector::zeros(used.len() + p);
        for (c, j) in chosen.iter().enumerate() {
            let column = self.columns.column(*j);
            let mut target = matrix.column_mut(c);
            for (k, (r, w)) in used.iter().enumerate() {
                target[k] = column[*r] * w;
            }
            let [value, mean, spread] = self.known[*j];
            target[used.len() + c] = noise / spread;
            right[used.len() + c] = -(value - mean) / spread * noise;
        }
        for (k, (r, w)) in used.iter().enumerate() {
            right[k] = -self.residuals[*r] * w;
        }
        let qr = matrix.qr();
        let r = qr.r();
        qr.q_tr_mul(&mut right);
        let step = r.solve_upper_triangular(&right.rows(0, p).into_owned())?;
        let inverse = r.solve_upper_triangular(&DMatrix::identity(p, p))?;
        // The priors pay for their share of the parameters.
        let by_priors: f64 = (chosen.iter().enumerate())
            .map(|(c, j)| inverse.row(c).norm_squared() * (noise / self.known[*j][2]).powi(2))
            .sum();
        let weight: f64 = used.iter().map(|(_, w)| w * w).sum();
        Some(Solved {
            freedom: weight - (p as f64 - by_priors),
            inverse,
            step,
        })
    }

    /// R^-1 of the fit of `chosen` to `kept` (times its own transpose it is the covariance for
    /// noise one) and the degrees of freedom.
    pub fn half_covariance(
        &self,
        chosen: &[usize],
        kept: &[bool],
        variance: f64,
    ) -> Option<(DMatrix<f64>, f64)> {
        let weights: Vec<f64> = kept.iter().map(|k| f64::from(u8::from(*k))).collect();
        let solved = self.solve(chosen, &weights, variance)?;
        Some((solved.inverse, solved.freedom))
    }

    /// Sum of squares of each peak's residuals after a step.
    pub(super) fn squares(&self, chosen: &[usize], step: &DVector<f64>) -> Vec<f64> {
        let mut after = self.residuals.clone();
        for (c, j) in chosen.iter().enumerate() {
            after.axpy(step[c], &self.columns.column(*j), 1.0);
        }
        (0..self.peaks())
            .map(|i| self.rows_of(i).map(|r| after[r] * after[r]).sum())
            .collect()
    }

    /// Fits `chosen` to the peaks `start` and then to those that it explains, until they settle;
    /// none when nothing is left to judge the noise by.
    fn settle(&self, chosen: &[usize], start: &[bool], variance: f64) -> Option<LookFit> {
        let mut kept = start.to_vec();
        let mut variance = variance;
        for round in 0.. {
            let weights: Vec<f64> = kept.iter().map(|k| f64::from(u8::from(*k))).collect();
            let solved = self.solve(chosen, &weights, variance)?;
            if solved.freedom < LEAST_FREEDOM {
                return None;
            }
            let squares = self.squares(chosen, &solved.step);
            let sum: f64 = squares.iter().zip(&weights).map(|(s, w)| s * w).sum();
            let before = variance;
            variance = self.noise_of(sum / solved.freedom);
            let next = self.explained(&squares, variance);
            let settled = next == kept && (variance / before - 1.0).abs() < 0.1;
            if settled || round == MOST_ROUNDS {
                let values = self.values(chosen, &solved.step);
                let sigmas = (0..chosen.len())
                    .map(|c| (variance * solved.inverse.row(c).norm_squared()).sqrt())
                    .collect();
                return Some(LookFit {
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

    /// The noise that counts: the scatter, but not less than logged sigmas say.
    fn noise_of(&self, scatter: f64) -> f64 {
        if self.trust_logged {
            scatter.max(1.0)
        } else {
            scatter.max(1e-300)
        }
    }

    /// Which peaks are explained; the worst beyond [`MOST_BAD`] count as explained after all.
    pub(super) fn explained(&self, squares: &[f64], variance: f64) -> Vec<bool> {
        let excess = |i: usize| squares[i] / variance - self.cost_of_bad(i, variance);
        let mut bad: Vec<usize> = (0..squares.len()).filter(|i| excess(*i) > 0.0).collect();
        let most = (squares.len() as f64 * MOST_BAD) as usize;
        bad.sort_by(|a, b| excess(*b).total_cmp(&excess(*a)));
        bad.truncate(most);
        let mut kept = vec![true; squares.len()];
        for i in bad {
            kept[i] = false;
        }
        kept
    }

    /// What it costs to call a peak bad, in units of the sum of squares over the variance.
    pub fn cost_of_bad(&self, peak: usize, variance: f64) -> f64 {
        (self.bad_cost[peak] - self.rows[peak].1 as f64 * variance.ln()).max(LEAST_BAD_COST)
    }

    pub(super) fn values(&self, chosen: &[usize], step: &DVector<f64>) -> Vec<f64> {
        (chosen.iter().enumerate())
            .map(|(c, j)| self.known[*j][0] + step[c])
            .collect()
    }

    pub(super) fn prior_cost(&self, chosen: &[usize], values: &[f64]) -> f64 {
        (chosen.iter().zip(values))
            .map(|(j, value)| ((value - self.known[*j][1]) / self.known[*j][2]).powi(2))
            .sum()
    }

    /// -2 ln likelihood of a fit, up to a constant: each peak is either Gaussian or anywhere.
    pub fn cost(&self, fit: &LookFit) -> f64 {
        let each = (0..self.peaks()).map(|i| {
            if fit.kept[i] {
                self.rows[i].1 as f64 * fit.variance.ln() + fit.squares[i] / fit.variance
            } else {
                self.bad_cost[i]
            }
        });
        each.sum::<f64>() + fit.prior
    }

    /// The best fit of `chosen` from several starts: the peaks `kept` now, all of them, and those
    /// that a slowly growing loss leaves near.
    pub fn fit(&self, chosen: &[usize], kept: &[bool], variance: f64) -> Option<LookFit> {
        let all = vec![true; self.peaks()];
        let mut found: Vec<LookFit> = self.settle(chosen, kept, variance).into_iter().collect();
        let clean = kept == all.as_slice() && found.iter().all(|f| f.kept == all);
        if !clean {
            found.extend(self.settle(chosen, &all, variance));
            let near = self.near_by_slow_loss(chosen);
            found.extend(near.and_then(|(near, noise)| self.settle(chosen, &near, noise)));
        }
        found
            .into_iter()
            .min_by(|a, b| self.cost(a).total_cmp(&self.cost(b)))
    }

    /// The peaks near the fit by Cauchy's loss, and its noise.
    pub fn near_by_slow_loss(&self, chosen: &[usize]) -> Option<(Vec<bool>, f64)> {
        /// Median of the radius of two-dimensional unit noise.
        const MEDIAN_RADIUS: f64 = 1.1774;
        let mut weights = vec![1.0; self.peaks()];
        let mut variance = 1.0;
        let mut squares = Vec::new();
        for _ in 0..MOST_ROUNDS {
            let solved = self.solve(chosen, &weights, variance)?;
            squares = self.squares(chosen, &solved.step);
            let mut radii: Vec<f64> = squares.iter().map(|s| s.sqrt()).collect();
            radii.sort_by(f64::total_cmp);
            let scale = radii[radii.len() / 2] / MEDIAN_RADIUS;
            variance = self.noise_of(scale * scale);
            let loss = crate::fit::robust::Loss::Cauchy;
            for (i, weight) in weights.iter_mut().enumerate() {
                let u = squares[i].sqrt() / variance.sqrt();
                *weight = loss.weight(u, self.rows[i].1.max(1));
            }
        }
        Some((self.explained(&squares, variance), variance))
    }
}

/// With fewer degrees of freedom nothing can be judged.
const LEAST_FREEDOM: f64 = 2.0;
/// A peak within 3.5 sigmas of a fit is never called bad, however coarse the noise.
const LEAST_BAD_COST: f64 = 12.0;

pub(super) struct Solved {
    pub(super) step: DVector<f64>,
    /// R^-1.
    inverse: DMatrix<f64>,
    freedom: f64,
}

/// -2 ln of the ratio of the densities of "anywhere" and of the top of the Gaussian with the
/// logged sigmas.
fn bad_cost_of(sigma: [f64; 2], rows: usize) -> f64 {
    let each = (SKY / (std::f64::consts::TAU * sigma[0] * sigma[1])).ln();
    rows as f64 * each + 2.0 * ((1.0 - BAD_CHANCE) / BAD_CHANCE).ln()
}

/// The misfit on the sky while it is small; else the step between the encoders' readings and
/// those that would put the beam on the target, the azimuth's times cos(elevation).
pub fn generous_misfit(there: &Explained, approach: crate::mount::ApproachSigns) -> Offset {
    let beam = there.mount.beam_vector(there.reading, approach);
    let offset = crate::angle::SkyBasis::at(&beam).offset_to(&there.target);
    if offset.size() < FAR || there.reading.elevation.cos().abs() < AWAY_FROM_ZENITH {
        return offset;
    }
    let target = Direction::<Apparent>::from_east_north_up(&there.target);
    let Ok(wanted) = there.mount.readings(&target, approach) else {
        return offset;
    };
    let step = |to: crate::angle::EncoderReading| Offset {
        cross_elevation: (to.azimuth - there.reading.azimuth).wrapped_signed()
            * there.reading.elevation.cos(),
        elevation: (to.elevation - there.reading.elevation).wrapped_signed(),
    };
    let (direct, over) = (step(wanted.direct), step(wanted.over_the_top));
    if direct.elevation.abs() <= over.elevation.abs() {
        direct
    } else {
        over
    }
}
