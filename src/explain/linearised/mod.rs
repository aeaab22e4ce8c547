//! The peaks linearised about a joint fit, with the columns of all hypotheses at once: built in one
//! pass over the peaks, then used many times without going back to the sky or the mount.
//!
//! With residuals r, columns J (both over the logged standard deviations), steps s and a noise of
//! variance v, a fit of some columns minimises
//!
//! ```text
//! |r + J s|^2 + v sum_j ((value_j - expected_j) / spread_j)^2
//! ```
//!
//! A peak is either good, with Gaussian noise, or bad, and then either near the beam and its side
//! lobes or anywhere on the sky, with the density g. With n_i rows of peak i, standard deviations
//! s_i and the probability q that a peak is bad, the cost of a fit is, up to a constant of the
//! peaks,
//!
//! ```text
//! -2 ln L = sum over good peaks (|r_i|^2 / v + n_i ln v)
//!         + sum over bad peaks -2 ln( q / (1 - q) g 2 pi s_i,across s_i,along )
//! ```

mod bad_cost;
mod settle;
mod solve;

use std::cell::OnceCell;
use std::ops::Range;
use std::sync::Arc;

use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

use super::peak::SessionPeak;
use super::problem::JointProblem;
use super::shape::{Lever, ShapeColumn};
use crate::angle::Angle;

use super::tuned::{PEAKS_AT_A_TIME, ROWS_AT_A_TIME};
pub use bad_cost::{BadCost, OF_BAD};
pub(crate) use settle::LinearFit;
pub use solve::sum_of_products;

/// The peaks to first order about a joint fit.
#[derive(Clone, Debug)]
pub(crate) struct Linearised {
    width: usize,
    /// Row by row: the change of each whitened coordinate for a unit of each column.
    columns: Arc<Vec<f64>>,
    /// Whitened residuals.
    residuals: Vec<f64>,
    /// By row: the standard deviation by which it was divided, radians.
    sigmas: Arc<Vec<f64>>,
    /// Each column's value, and its prior: mean and spread.
    known: Vec<KnownBefore>,
    /// By peak: the first of its rows; at the end: the number of rows.
    first_row: Arc<Vec<usize>>,
    /// By peak: the cost of calling it bad at unit noise.
    bad_cost: Arc<Vec<BadCost>>,
    trust: Trust,
    /// Sums over the peaks that the joint fit explains; those of other selections differ little.
    reference: Arc<Vec<bool>>,
    normal: OnceCell<Normal>,
}

/// What the fit trusts without checking.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Trust {
    /// The logged standard deviations, unless the scatter is larger.
    pub logged: bool,
    /// Every peak.
    pub all: bool,
    /// Width of the beam, which separates near from far bad peaks.
    pub beamwidth: Angle,
}

/// A column's value at the joint fit, and its prior.
#[derive(Clone, Copy, Debug)]
struct KnownBefore {
    value: f64,
    expected: f64,
    spread: f64,
    /// The plausible size without the data; the spread is larger where the value is.
    base_spread: f64,
}

impl KnownBefore {
    /// For a column that is not in the joint fit.
    fn of(column: &ShapeColumn) -> KnownBefore {
        KnownBefore {
            value: 0.0,
            expected: column.expected,
            spread: column.spread,
            base_spread: column.spread,
        }
    }
}

/// A column that is another one times a factor by peak.
#[derive(Clone, Debug)]
pub(crate) struct Pulled {
    /// The number of the other column.
    pub from: usize,
    /// By peak.
    pub pull: Vec<f64>,
    /// The resulting column.
    pub column: ShapeColumn,
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

/// Which peaks count, and with what weight.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Weighted<'a> {
    /// These, with weight one.
    Kept(&'a [bool]),
    /// Each with its own weight.
    By(&'a [f64]),
}

impl Linearised {
    /// Linearises about `parameters` of `problem`, with `more` columns after its own. `kept` tells
    /// which peaks the joint fit explains.
    pub fn at(
        problem: &JointProblem<'_>,
        (peaks, sigmas): (&[SessionPeak], &[[Angle; 2]]),
        parameters: &[f64],
        more: &[ShapeColumn],
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
            // Another target is not a small step: its column is the exact difference.
            for (k, column) in problem.columns().iter().chain(more).enumerate() {
                if let Lever::Retarget(steps) = &column.lever
                    && steps[i].norm_squared() > 0.0
                {
                    // A step already in the fit is reversed.
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
            .map(|((column, value), base)| KnownBefore {
                value: *value,
                expected: column.expected,
                spread: column.spread,
                base_spread: *base,
            });
        let known = own_known.chain(more.iter().map(KnownBefore::of)).collect();
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

    /// The same with other prior spreads for the joint fit's own columns.
    pub fn with_spreads(&self, spreads: &[f64]) -> Linearised {
        let mut other = self.clone();
        for (known, spread) in other.known.iter_mut().zip(spreads) {
            known.spread = *spread;
            known.base_spread = *spread;
        }
        other
    }

    /// The same peaks with the joint fit's own columns, the first `own`, followed by columns that
    /// are each one of these times a factor by peak.
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
        let known = others.iter().map(|other| KnownBefore::of(&other.column));
        Linearised {
            width,
            columns: Arc::new(columns),
            known: self.known[..own].iter().copied().chain(known).collect(),
            normal: OnceCell::new(),
            ..self.clone()
        }
    }

    /// The same with some columns of the joint fit removed from it.
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
    /// A selection close to the reference differs from its sums by a few rows.
    fn sums(&self, chosen: &[usize], weights: &Weighted<'_>) -> (DMatrix<f64>, DVector<f64>, f64) {
        let p = chosen.len();
        let mut matrix = DMatrix::zeros(p, p);
        let mut right = DVector::zeros(p);
        let mut count = 0.0;
        // Each peak that counts, with its weight.
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

    /// J'J of some columns, for unit noise and without priors; `None` when it is not finite.
    pub fn information(&self, chosen: &[usize], weights: &Weighted<'_>) -> Option<DMatrix<f64>> {
        let (matrix, _, _) = self.sums(chosen, weights);
        matrix.iter().all(|v| v.is_finite()).then_some(matrix)
    }

    /// J'r of some columns.
    pub fn gradient(&self, chosen: &[usize], weights: &Weighted<'_>) -> DVector<f64> {
        self.sums(chosen, weights).1
    }

    /// Whether a column is in the joint fit.
    pub fn is_set(&self, column: usize) -> bool {
        self.known[column].value != 0.0
    }
}

/// The axes that were measured at a peak, by number.
fn measured_axes(peak: &SessionPeak) -> impl Iterator<Item = usize> {
    let measured = peak.sighting.measured();
    (0..2).filter(move |axis| measured[*axis])
}
