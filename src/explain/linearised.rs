//! The peaks to first order about a joint fit, with the columns of all hypotheses at once: made
//! in one pass over the peaks, then asked many times, without going back to the sky or the mount.
//!
//! With residuals r, columns J (both over the logged standard deviations), steps s and a noise of
//! variance v, a fit of some columns minimises |r + J s|^2 + v sum ((value - expected) / spread)^2.
//! A peak is either good, with Gaussian noise, or bad, and then within reach of the beam's side
//! lobes or anywhere on the sky: the cost of a fit is -2 ln of that likelihood, up to a constant of
//! the peaks.

use std::cell::OnceCell;
use std::ops::Range;
use std::sync::Arc;

use nalgebra::{DMatrix, DVector, Matrix2};
use rayon::prelude::*;

use super::peak::SessionPeak;
use super::problem::JointProblem;
use super::shape::{Column, Lever};
use crate::angle::Angle;
use crate::fit::robust::Loss;

/// Chance that a peak is bad, before the data; common practice, no source.
const BAD_CHANCE: f64 = 0.05;
/// The odds against it.
pub const OF_BAD: f64 = (1.0 - BAD_CHANCE) / BAD_CHANCE;
/// Solid angle of the sky, over which a bad peak may lie.
const SKY: f64 = 4.0 * std::f64::consts::PI;
/// A bad peak is as likely a side lobe or a peak given up on the flank of the beam, within so many
/// beamwidths, as anything else anywhere on the sky; common practice, no source.
const NEAR_BEAMS: f64 = 10.0;
const NEAR_SHARE: f64 = 0.5;
/// Never more than this share of the peaks is taken for bad.
const MOST_BAD: f64 = 0.4;
/// Rounds in which the set of good peaks must settle.
const MOST_ROUNDS: usize = 12;
/// With more than this share of bad peaks a fit is also begun from those near by a slow loss.
const MANY_BAD: f64 = 0.1;
/// With fewer degrees of freedom nothing can be judged.
const LEAST_FREEDOM: f64 = 2.0;
/// Peaks worked out in one go; more are shared among threads.
const PEAKS_AT_A_TIME: usize = 512;
/// Rows multiplied with each other at a time: they stay in the fast cache.
const ROWS_AT_A_TIME: usize = 256;
/// A peak within 3.5 sigmas of a fit is never called bad, however coarse the noise.
const LEAST_BAD_COST: f64 = 12.0;

/// The peaks to first order about a joint fit.
#[derive(Clone, Debug)]
pub struct Linearised {
    width: usize,
    /// Row by row: the change of each whitened coordinate for a unit of each column.
    columns: Arc<Vec<f64>>,
    /// Whitened residuals.
    residuals: Vec<f64>,
    /// By row: the standard deviation by which it was divided, radians.
    sigmas: Arc<Vec<f64>>,
    /// Each column's value, and what is known of it: mean and spread.
    known: Vec<Known>,
    /// By peak the first of its rows, and at the end the number of rows.
    first_row: Arc<Vec<usize>>,
    /// By peak: what it costs to call it bad when the noise is one.
    bad_cost: Arc<Vec<BadCost>>,
    trust: Trust,
    /// Sums over the peaks that the joint fit explains, from which those of other choices
    /// differ little.
    reference: Arc<Vec<bool>>,
    normal: OnceCell<Normal>,
}

/// What is taken at its word.
#[derive(Clone, Copy, Debug)]
pub struct Trust {
    /// The logged standard deviations, unless the scatter is larger.
    pub logged: bool,
    /// Every peak.
    pub all: bool,
    /// Width of the beam, by which bad peaks are near or far.
    pub beamwidth: Angle,
}

/// What it costs to call a peak bad when the noise is one: -2 ln of the ratio of the density of bad
/// peaks to the top of the Gaussian with the logged sigmas.
#[derive(Clone, Copy, Debug)]
pub struct BadCost {
    near: f64,
    far: f64,
    /// Squared residuals, in units of the logged sigmas, up to which it is near.
    near_square: f64,
}

impl BadCost {
    /// For a peak with these standard deviations, radians, and so many rows.
    pub fn new(sigma: [f64; 2], rows: usize, beamwidth: Angle) -> BadCost {
        let radius = (beamwidth * NEAR_BEAMS).radians().min(std::f64::consts::PI);
        let cap = std::f64::consts::TAU * (1.0 - radius.cos());
        let anywhere = (1.0 - NEAR_SHARE) / SKY;
        let top = 1.0 / (std::f64::consts::TAU * sigma[0] * sigma[1]);
        let chance = 2.0 * OF_BAD.ln();
        // Of one measured coordinate half as much.
        let cost = |density: f64| rows as f64 * (top / density).ln() + chance;
        BadCost {
            near: cost(anywhere + NEAR_SHARE / cap),
            far: cost(anywhere),
            near_square: radius * radius / (sigma[0] * sigma[1]),
        }
    }

    /// For one with this sum of squares of its whitened residuals.
    pub fn at(&self, square: f64) -> f64 {
        if square <= self.near_square {
            self.near
        } else {
            self.far
        }
    }
}

/// A column's value at the joint fit, and what is known of it.
#[derive(Clone, Copy, Debug)]
struct Known {
    value: f64,
    expected: f64,
    spread: f64,
    /// What counts as plausible without the data; the spread is larger where the value is.
    base_spread: f64,
}

impl Known {
    /// Of a column that is not in the joint fit.
    fn of(column: &Column) -> Known {
        Known {
            value: 0.0,
            expected: column.expected,
            spread: column.spread,
            base_spread: column.spread,
        }
    }
}

/// A column that is another one times a pull.
#[derive(Clone, Debug)]
pub struct Pulled {
    /// The number of that other one.
    pub from: usize,
    /// By peak.
    pub pull: Vec<f64>,
    /// The column that it becomes.
    pub column: Column,
}

/// Sums over the reference peaks.
#[derive(Clone, Debug)]
struct Normal {
    /// J'J of all columns.
    squares: Arc<DMatrix<f64>>,
    /// J'r of all columns.
    gradient: DVector<f64>,
    /// How many rows.
    count: f64,
}

/// Which peaks count, and how much.
#[derive(Clone, Copy, Debug)]
pub enum Weighted<'a> {
    /// These, each once.
    Kept(&'a [bool]),
    /// Each by its weight.
    By(&'a [f64]),
}

/// A weighted least-squares step.
#[derive(Clone, Debug)]
pub struct Step {
    /// By chosen column.
    pub step: DVector<f64>,
    /// Times its own transpose it is the covariance for noise one.
    pub inverse: DMatrix<f64>,
    /// Rows less the parameters paid for.
    pub freedom: f64,
    /// By how much the sum of squares, the priors' included, falls.
    pub fall: f64,
}

/// A fit of some columns to those peaks that it can explain.
#[derive(Clone, Debug)]
pub struct LinearFit {
    /// The columns fitted.
    pub chosen: Vec<usize>,
    /// Their values, those of the joint fit included.
    pub values: Vec<f64>,
    /// Standard deviation of each.
    pub sigmas: Vec<f64>,
    /// Times its own transpose it is the covariance for noise one.
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

impl LinearFit {
    /// Covariance of two of its values.
    pub fn covariance(&self, i: usize, j: usize) -> f64 {
        self.variance * self.inverse.row(i).dot(&self.inverse.row(j))
    }
}

impl Linearised {
    /// About `parameters` of `problem`, with `more` columns beside its own, which come first.
    /// `kept` says which peaks the joint fit explains.
    pub fn at(
        problem: &JointProblem<'_>,
        (peaks, sigmas): (&[SessionPeak], &[[Angle; 2]]),
        parameters: &[f64],
        more: &[Column],
        (kept, trust): (&[bool], Trust),
        base_spreads: &[f64],
    ) -> Linearised {
        let own = problem.columns().len();
        let width = own + more.len();
        let mut first_row = Vec::with_capacity(peaks.len() + 1);
        first_row.push(0);
        let mut count = 0;
        first_row.extend(peaks.iter().map(|peak| {
            count += peak.sighting.coordinates();
            count
        }));
        let mut columns = vec![0.0; count * width];
        let mut residuals = vec![0.0; count];
        let bare = problem.mount(parameters);
        // The rows of one peak, into their places.
        let fill = |i: usize, changes: &mut [[f64; 2]], rows: &mut [f64], left: &mut [f64]| {
            let here = problem.at_about(&bare, i, parameters);
            problem.derivatives_where_expected(i, &here, more, |j, c| changes[j] = c);
            let offset = here.misfit_at_encoders();
            // Another target is no small step: its column is the exact difference.
            for (k, column) in problem.columns().iter().chain(more).enumerate() {
                if let Lever::Retarget(steps) = &column.lever
                    && steps[i].norm_squared() > 0.0
                {
                    // One that is in the fit has been made: it is taken back.
                    let way = if k < own { -1.0 } else { 1.0 };
                    let target = (here.target() + steps[i] * way).normalize();
                    let other = here.misfit_to(target);
                    changes[k] = [
                        (other.cross_elevation - offset.cross_elevation).radians() * way,
                        (other.elevation - offset.elevation).radians() * way,
                    ];
                }
            }
            let sigma = sigmas[i].map(Angle::radians);
            let parts = [offset.cross_elevation, offset.elevation];
            for (k, axis) in measured_axes(&peaks[i]).enumerate() {
                left[k] = parts[axis].radians() / sigma[axis];
                let row = &mut rows[k * width..(k + 1) * width];
                for (value, change) in row.iter_mut().zip(changes.iter()) {
                    *value = change[axis] / sigma[axis];
                }
            }
        };
        let mut parts = Vec::new();
        let (mut rows, mut left) = (columns.as_mut_slice(), residuals.as_mut_slice());
        for some in (0..peaks.len()).step_by(PEAKS_AT_A_TIME) {
            let some = some..peaks.len().min(some + PEAKS_AT_A_TIME);
            let count = first_row[some.end] - first_row[some.start];
            let of_part = (
                some,
                rows.split_off_mut(..count * width).unwrap_or_default(),
                left.split_off_mut(..count).unwrap_or_default(),
            );
            parts.push(of_part);
        }
        let fill_part = |(some, rows, left): (Range<usize>, &mut [f64], &mut [f64])| {
            let mut changes = vec![[0.0; 2]; width];
            let begin = first_row[some.start];
            for i in some {
                let own = first_row[i] - begin..first_row[i + 1] - begin;
                let values = own.start * width..own.end * width;
                fill(i, &mut changes, &mut rows[values], &mut left[own]);
            }
        };
        match parts.len() {
            0 | 1 => parts.into_iter().for_each(fill_part),
            _ => parts.into_par_iter().for_each(fill_part),
        }
        let row_sigmas = (peaks.iter().zip(sigmas))
            .flat_map(|(peak, s)| measured_axes(peak).map(move |axis| s[axis].radians()))
            .collect();
        let bad_cost = (peaks.iter().zip(sigmas))
            .map(|(peak, s)| {
                let rows = peak.sighting.coordinates();
                BadCost::new(s.map(Angle::radians), rows, trust.beamwidth)
            })
            .collect();
        let own_known = (problem.columns().iter().zip(parameters))
            .zip(base_spreads)
            .map(|((column, value), base)| Known {
                value: *value,
                expected: column.expected,
                spread: column.spread,
                base_spread: *base,
            });
        let known = own_known.chain(more.iter().map(Known::of)).collect();
        Linearised {
            width,
            columns: Arc::new(columns),
            residuals,
            sigmas: Arc::new(row_sigmas),
            known,
            first_row: Arc::new(first_row),
            bad_cost: Arc::new(bad_cost),
            trust,
            reference: Arc::new(kept.to_vec()),
            normal: OnceCell::new(),
        }
    }

    /// Number of peaks.
    pub fn peaks(&self) -> usize {
        self.bad_cost.len()
    }
    /// The rows of a peak.
    pub fn rows_of(&self, peak: usize) -> std::ops::Range<usize> {
        self.first_row[peak]..self.first_row[peak + 1]
    }
    /// How many rows a peak has.
    fn count_of(&self, peak: usize) -> f64 {
        (self.first_row[peak + 1] - self.first_row[peak]) as f64
    }
    /// The change of a row for a unit of a column.
    pub fn value(&self, row: usize, column: usize) -> f64 {
        self.columns[row * self.width + column]
    }
    fn row(&self, row: usize) -> &[f64] {
        &self.columns[row * self.width..(row + 1) * self.width]
    }
    /// The standard deviation by which a row was divided, radians.
    pub fn sigma_of(&self, row: usize) -> f64 {
        self.sigmas[row]
    }
    /// Number of columns.
    pub fn width(&self) -> usize {
        self.width
    }
    /// The whitened residual of a row.
    pub fn residual(&self, row: usize) -> f64 {
        self.residuals[row]
    }
    /// Sum of squares of a peak's residuals.
    pub fn square_of(&self, peak: usize) -> f64 {
        self.rows_of(peak).map(|r| self.residuals[r].powi(2)).sum()
    }
    /// Whether the logged standard deviations count.
    pub fn trusts_logged(&self) -> bool {
        self.trust.logged
    }

    /// The same with other spreads of the joint fit's own columns.
    pub fn with_spreads(&self, spreads: &[f64]) -> Linearised {
        let mut other = self.clone();
        for (known, spread) in other.known.iter_mut().zip(spreads) {
            known.spread = *spread;
            known.base_spread = *spread;
        }
        other
    }

    /// The same peaks with the joint fit's own columns, the first `own`, and beside them others
    /// that are columns of these times a pull, by peak.
    pub fn pulled(&self, own: usize, others: &[Pulled]) -> Linearised {
        let width = own + others.len();
        let mut columns = Vec::with_capacity(self.residuals.len() * width);
        for peak in 0..self.peaks() {
            for number in self.rows_of(peak) {
                let row = self.row(number);
                columns.extend_from_slice(&row[..own]);
                columns.extend(others.iter().map(|o| row[o.from] * o.pull[peak]));
            }
        }
        let known = others.iter().map(|other| Known::of(&other.column));
        Linearised {
            width,
            columns: Arc::new(columns),
            known: self.known[..own].iter().copied().chain(known).collect(),
            normal: OnceCell::new(),
            ..self.clone()
        }
    }

    /// The same with some columns of the joint fit taken out of it altogether.
    pub fn without(&self, dropped: &[usize]) -> Linearised {
        let mut other = self.clone();
        for j in dropped {
            let value = other.known[*j].value;
            if value != 0.0 {
                for row in 0..other.residuals.len() {
                    other.residuals[row] -= value * self.value(row, *j);
                }
                other.known[*j].value = 0.0;
                if let Some(normal) = other.normal.get_mut() {
                    let column = normal.squares.column(*j).into_owned();
                    normal.gradient.axpy(-value, &column, 1.0);
                }
            }
        }
        other
    }

    /// Sums over the reference peaks.
    fn normal(&self) -> &Normal {
        self.normal.get_or_init(|| {
            let n = self.width;
            let peaks = (0..self.peaks()).filter(|i| self.reference[*i]);
            let rows: Vec<usize> = peaks.flat_map(|peak| self.rows_of(peak)).collect();
            let mut squares = DMatrix::zeros(n, n);
            let mut gradient = DVector::zeros(n);
            for some in rows.chunks(ROWS_AT_A_TIME) {
                // One column a row of the peaks.
                let mut across = DMatrix::zeros(n, some.len());
                for (number, mut column) in some.iter().zip(across.column_iter_mut()) {
                    column.copy_from_slice(self.row(*number));
                    gradient.axpy(self.residuals[*number], &column, 1.0);
                }
                squares.gemm(1.0, &across, &across.transpose(), 1.0);
            }
            Normal {
                squares: Arc::new(squares),
                gradient,
                count: rows.len() as f64,
            }
        })
    }

    /// J'J and J'r of some columns, and how many rows count.
    ///
    /// A choice of peaks that is nearly the reference's differs from its sums by a few rows.
    fn sums(&self, chosen: &[usize], weights: &Weighted<'_>) -> (DMatrix<f64>, DVector<f64>, f64) {
        let p = chosen.len();
        let mut matrix = DMatrix::zeros(p, p);
        let mut right = DVector::zeros(p);
        let mut count = 0.0;
        // Each peak that counts, and how much.
        let mut counting: Vec<(usize, f64)> = Vec::new();
        match weights {
            Weighted::By(weights) => {
                counting.extend(
                    weights
                        .iter()
                        .copied()
                        .enumerate()
                        .filter(|(_, w)| *w != 0.0),
                );
            }
            Weighted::Kept(kept) => {
                let differ = kept.iter().zip(self.reference.iter()).enumerate();
                let sign = |kept: bool| if kept { 1.0 } else { -1.0 };
                counting.extend(
                    differ
                        .filter(|(_, (a, b))| a != b)
                        .map(|(i, (kept, _))| (i, sign(*kept))),
                );
                if 3 * counting.len() < self.peaks() {
                    let normal = self.normal();
                    for (a, from) in chosen.iter().enumerate() {
                        let column = normal.squares.column(*from);
                        for (sum, b) in matrix.column_mut(a).iter_mut().zip(chosen).skip(a) {
                            *sum = column[*b];
                        }
                        right[a] = normal.gradient[*from];
                    }
                    count = normal.count;
                } else {
                    counting.clear();
                    let kept = kept.iter().enumerate().filter(|(_, kept)| **kept);
                    counting.extend(kept.map(|(i, _)| (i, 1.0)));
                }
            }
        }
        let mut values = vec![0.0; p];
        for (peak, weight) in counting {
            count += weight * self.count_of(peak);
            for number in self.rows_of(peak) {
                let row = self.row(number);
                for (value, j) in values.iter_mut().zip(chosen) {
                    *value = row[*j];
                }
                let residual = weight * self.residuals[number];
                for (sum, value) in right.iter_mut().zip(&values) {
                    *sum += value * residual;
                }
                for (a, column) in matrix.as_mut_slice().chunks_exact_mut(p).enumerate() {
                    let scaled = weight * values[a];
                    for (sum, b) in column[a..].iter_mut().zip(&values[a..]) {
                        *sum += scaled * b;
                    }
                }
            }
        }
        for a in 0..p {
            for b in 0..a {
                matrix[(b, a)] = matrix[(a, b)];
            }
        }
        (matrix, right, count)
    }

    /// J'J of some columns, for noise one and without priors; none when it is not finite.
    pub fn information(&self, chosen: &[usize], weights: &Weighted<'_>) -> Option<DMatrix<f64>> {
        let (matrix, _, _) = self.sums(chosen, weights);
        matrix.iter().all(|v| v.is_finite()).then_some(matrix)
    }

    /// J'r of some columns.
    pub fn gradient(&self, chosen: &[usize], weights: &Weighted<'_>) -> DVector<f64> {
        self.sums(chosen, weights).1
    }

    /// Weighted least squares in `chosen` columns, with the noise's variance for the priors.
    pub fn solve(&self, chosen: &[usize], weights: &Weighted<'_>, variance: f64) -> Option<Step> {
        let p = chosen.len();
        let (mut matrix, mut right, count) = self.sums(chosen, weights);
        for (a, j) in chosen.iter().enumerate() {
            let known = &self.known[*j];
            let held = variance / known.spread.powi(2);
            matrix[(a, a)] += held;
            right[a] += (known.value - known.expected) * held;
        }
        // Columns of very different size: scaled to a unit diagonal first.
        let scale = DVector::from_fn(p, |a, _| 1.0 / matrix[(a, a)].max(1e-300).sqrt());
        for (b, mut column) in matrix.column_iter_mut().enumerate() {
            for (value, a) in column.iter_mut().zip(&scale) {
                *value *= a * scale[b];
            }
        }
        // inverse = D L^-T, so that inverse times its transpose is the inverse of the matrix.
        let mut inverse = inverse_of_root(matrix.cholesky()?.unpack_dirty())?;
        for mut column in inverse.column_iter_mut() {
            column.component_mul_assign(&scale);
        }
        let step = -(&inverse * inverse.tr_mul(&right));
        // The priors pay for their share of the parameters.
        let by_priors: f64 = (chosen.iter().enumerate())
            .map(|(a, j)| inverse.row(a).norm_squared() * variance / self.known[*j].spread.powi(2))
            .sum();
        Some(Step {
            freedom: count - (p as f64 - by_priors),
            fall: -right.dot(&step),
            inverse,
            step,
        })
    }

    /// Sum of squares of each peak's residuals after a step.
    pub fn squares(&self, chosen: &[usize], step: &DVector<f64>) -> Vec<f64> {
        // Those of the joint fit itself come first and stand side by side.
        let lead = (chosen.iter().enumerate()).take_while(|(a, j)| a == *j);
        let (own, more) = step.as_slice().split_at(lead.count());
        let more: Vec<(usize, f64)> = (chosen[own.len()..].iter().copied())
            .zip(more.iter().copied())
            .collect();
        let after = |row: usize| -> f64 {
            let values = self.row(row);
            let own = sum_of_products(own, &values[..own.len()]);
            let more: f64 = more.iter().map(|(j, s)| s * values[*j]).sum();
            self.residuals[row] + own + more
        };
        (0..self.peaks())
            .map(|peak| self.rows_of(peak).map(|row| after(row).powi(2)).sum())
            .collect()
    }

    /// Fits `chosen` to the peaks `start` and then to those that it explains, until they settle;
    /// none when nothing is left to judge the noise by.
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
            if settled || round == MOST_ROUNDS {
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

    /// The noise that counts: the scatter, but not less than logged sigmas say.
    fn noise_of(&self, scatter: f64) -> f64 {
        if self.trust.logged {
            scatter.max(1.0)
        } else {
            scatter.max(1e-300)
        }
    }

    /// Which peaks are explained; the worst beyond [`MOST_BAD`] count as explained after all.
    pub fn explained(&self, squares: &[f64], variance: f64) -> Vec<bool> {
        let cost = self.costs_of_bad(variance);
        let mut bad: Vec<(f64, usize)> = (squares.iter().enumerate())
            .map(|(i, s)| (s / variance - cost(i, *s), i))
            .filter(|(excess, _)| *excess > 0.0)
            .collect();
        let most = (squares.len() as f64 * MOST_BAD) as usize;
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

    /// What it costs to call a peak bad, by its number and its sum of squares, in units of that sum
    /// over the variance.
    pub fn costs_of_bad(&self, variance: f64) -> impl Fn(usize, f64) -> f64 {
        let log = variance.ln();
        move |peak, square| match self.trust.all {
            true => f64::INFINITY,
            false => {
                let cost = self.bad_cost[peak].at(square) - self.count_of(peak) * log;
                cost.max(LEAST_BAD_COST)
            }
        }
    }

    /// The values of some columns after a step.
    pub fn values(&self, chosen: &[usize], step: &DVector<f64>) -> Vec<f64> {
        (chosen.iter().enumerate())
            .map(|(c, j)| self.known[*j].value + step[c])
            .collect()
    }

    /// Whether a column counts in the joint fit.
    pub fn is_set(&self, column: usize) -> bool {
        self.known[column].value != 0.0
    }

    /// -2 ln of the prior density of some values, up to a constant of the columns' plausible
    /// sizes: a column that claims a larger size than plausible pays for the width.
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
    /// that a slowly growing loss leaves near.
    pub fn fit(&self, chosen: &[usize], kept: &[bool], variance: f64) -> Option<LinearFit> {
        let all = vec![true; self.peaks()];
        let mut found: Vec<LinearFit> = self.settle(chosen, kept, variance).into_iter().collect();
        let clean = kept == all.as_slice() && found.iter().all(|f| f.kept == all);
        if !clean {
            found.extend(self.settle(chosen, &all, variance));
            let bad = kept.iter().filter(|k| !**k).count();
            if bad as f64 > MANY_BAD * kept.len() as f64 {
                let near = self.near_by_slow_loss(chosen);
                found.extend(near.and_then(|(near, noise)| self.settle(chosen, &near, noise)));
            }
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

    /// For each peak of a fit of `chosen` to `kept` at a noise of `variance`, what the fit's own
    /// uncertainty adds there: J C J' of its rows for noise one; zeros for a row that it has not.
    /// And the freedom of the fit.
    pub fn leverages(
        &self,
        chosen: &[usize],
        kept: &[bool],
        variance: f64,
    ) -> Option<(Vec<Matrix2<f64>>, f64)> {
        let solved = self.solve(chosen, &Weighted::Kept(kept), variance)?;
        let p = chosen.len();
        let mut values = vec![0.0; p];
        let mut half = [vec![0.0; p], vec![0.0; p]];
        let each = (0..self.peaks())
            .map(|i| {
                let rows = self.rows_of(i);
                for (row, half) in rows.clone().zip(&mut half) {
                    let full = self.row(row);
                    for (value, j) in values.iter_mut().zip(chosen) {
                        *value = full[*j];
                    }
                    // The inverse is an upper triangle.
                    for (c, (sum, column)) in (half.iter_mut())
                        .zip(solved.inverse.as_slice().chunks_exact(p))
                        .enumerate()
                    {
                        *sum = sum_of_products(&values[..=c], &column[..=c]);
                    }
                }
                let product = |r: usize, c: usize| match r.max(c) < rows.len() {
                    true => sum_of_products(&half[r], &half[c]),
                    false => 0.0,
                };
                Matrix2::from_fn(product)
            })
            .collect();
        Some((each, solved.freedom))
    }
}

/// The axes that were measured at a peak, by number.
fn measured_axes(peak: &SessionPeak) -> impl Iterator<Item = usize> {
    let measured = peak.sighting.measured();
    (0..2).filter(move |axis| measured[*axis])
}

/// Of two slices of one length.
pub fn sum_of_products(a: &[f64], b: &[f64]) -> f64 {
    /// Sums kept apart, so that none waits for the one before it.
    const APART: usize = 4;
    let (a_parts, b_parts) = (a.chunks_exact(APART), b.chunks_exact(APART));
    let rest = a_parts.remainder().iter().zip(b_parts.remainder());
    let rest: f64 = rest.map(|(x, y)| x * y).sum();
    let mut sums = [0.0; APART];
    for (x, y) in a_parts.zip(b_parts) {
        for (sum, (x, y)) in sums.iter_mut().zip(x.iter().zip(y)) {
            *sum += x * y;
        }
    }
    (sums[0] + sums[2]) + (sums[1] + sums[3]) + rest
}

/// The transpose of the inverse of a lower triangle: an upper one. What stands above the diagonal
/// of `root` is not looked at.
fn inverse_of_root(root: DMatrix<f64>) -> Option<DMatrix<f64>> {
    let p = root.nrows();
    let mut inverse = DMatrix::zeros(p, p);
    // Row by row of the inverse of L, which is column by column here: from L X = 1.
    for i in 0..p {
        let (before, here) = inverse.as_mut_slice().split_at_mut(i * p);
        for (k, column) in before.chunks_exact(p).enumerate() {
            let factor = root[(i, k)];
            for (sum, x) in here.iter_mut().zip(&column[..=k]) {
                *sum -= factor * x;
            }
        }
        here[i] = 1.0;
        let pivot = 1.0 / root[(i, i)];
        pivot.is_finite().then_some(())?;
        for x in &mut here[..=i] {
            *x *= pivot;
        }
    }
    Some(inverse)
}
