//! What the engine fits: a [`Model`] that fills a [`Block`] with whitened rows.

use std::fmt;
use std::ops::Range;

/// Observations evaluated and reduced together. The rows of one block (at most this many
/// times [`Model::most_rows`]) stay in the fast cache with up to a dozen parameters; larger
/// blocks were measured to be slower, smaller ones to cost more in calls.
pub const BLOCK_OBSERVATIONS: usize = 128;

/// A least-squares problem: observations whose whitened residuals depend on parameters.
///
/// An observation is one row or a few rows that stand or fall together: the cross-elevation
/// and the elevation of one peak. The engine asks for the rows of a range of observations at
/// a time and never keeps them, so memory does not grow with their number.
pub trait Model {
    /// Number of parameters, n.
    fn parameters(&self) -> usize;

    /// Number of observations.
    fn observations(&self) -> usize;

    /// The most rows that one observation can have.
    fn most_rows(&self) -> usize {
        1
    }

    /// Evaluates the observations of [`Block::range`] at `parameters` (length n) and pushes
    /// their rows in order, all rows of an observation one after the other.
    ///
    /// A row is a residual divided by its logged standard deviation, and the n derivatives
    /// **of that residual** (not of the modelled value) with respect to the parameters. The
    /// derivatives may be left empty when [`Block::wants_derivatives`] says no. An
    /// observation may have no row; how many it has must not depend on the parameters.
    ///
    /// # Errors
    /// [`Unevaluable`] where the model is not defined. During a fit this only shortens the
    /// step; at the start it ends the fit. The engine finds non-finite rows by itself.
    fn evaluate(&self, parameters: &[f64], block: &mut Block) -> Result<(), Unevaluable>;
}

/// The model cannot be evaluated at these parameters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unevaluable {
    /// The observation at which it failed, counted from 0.
    pub observation: usize,
}

impl fmt::Display for Unevaluable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "the model has no finite value at observation {}",
            self.observation + 1
        )
    }
}

impl std::error::Error for Unevaluable {}

/// Room for the rows of a few observations, filled by a [`Model`].
#[derive(Clone, Debug)]
pub struct Block {
    range: Range<usize>,
    derivatives: bool,
    parameters: usize,
    /// Distance between columns: not a power of two, so that one row's derivatives do not
    /// all fall into the same cache set.
    stride: usize,
    residuals: Vec<f64>,
    columns: Vec<f64>,
    observations: Vec<usize>,
}

impl Block {
    /// Empty, with room for `observations` of `most_rows` rows each.
    pub(crate) fn new(parameters: usize, observations: usize, most_rows: usize) -> Block {
        let capacity = (observations * most_rows).max(1);
        let stride = capacity.next_multiple_of(8) + 8;
        Block {
            range: 0..0,
            derivatives: true,
            parameters,
            stride,
            residuals: Vec::with_capacity(capacity),
            columns: vec![0.0; stride * parameters],
            observations: Vec::with_capacity(capacity),
        }
    }
    /// Forgets all rows.
    pub(crate) fn clear(&mut self) {
        self.residuals.clear();
        self.observations.clear();
    }
    /// Asks for one more range; rows already there stay.
    pub(crate) fn ask(&mut self, range: Range<usize>, derivatives: bool) {
        self.range = range;
        self.derivatives = derivatives;
    }
    /// The observations wanted.
    pub fn range(&self) -> Range<usize> {
        self.range.clone()
    }
    /// Whether the derivatives are wanted, or the residuals only.
    pub fn wants_derivatives(&self) -> bool {
        self.derivatives
    }
    /// Adds one row of `observation`: its whitened residual and the derivatives of that
    /// residual (length n; ignored when they are not wanted).
    ///
    /// # Panics
    /// When wanted derivatives are not n in number, or a model pushes more rows than it said
    /// it would: faults of the calling code, not of data.
    #[inline]
    pub fn push(&mut self, observation: usize, residual: f64, derivatives: &[f64]) {
        let row = self.residuals.len();
        assert!(row < self.stride, "more rows than Model::most_rows allows");
        if self.derivatives {
            assert_eq!(derivatives.len(), self.parameters, "one derivative each");
            for (column, value) in derivatives.iter().enumerate() {
                self.columns[column * self.stride + row] = *value;
            }
        }
        self.residuals.push(residual);
        self.observations.push(observation);
    }
    /// Number of rows pushed.
    pub(crate) fn rows(&self) -> usize {
        self.residuals.len()
    }
    /// The residuals, a value a row.
    pub(crate) fn residuals(&self) -> &[f64] {
        &self.residuals
    }
    /// Which observation each row belongs to.
    pub(crate) fn observation_of_rows(&self) -> &[usize] {
        &self.observations
    }
    /// One derivative of one row.
    pub(crate) fn derivative(&self, row: usize, column: usize) -> f64 {
        self.columns[column * self.stride + row]
    }
    /// Column `first`, all columns after it, their distance, and the residuals.
    pub(crate) fn split(&mut self, first: usize) -> (&[f64], &mut [f64], usize, &mut [f64]) {
        let rows = self.residuals.len();
        let (head, tail) = self.columns.split_at_mut((first + 1) * self.stride);
        (
            &head[first * self.stride..first * self.stride + rows],
            tail,
            self.stride,
            &mut self.residuals,
        )
    }
    /// Multiplies every row by `factor(observation)`.
    pub(crate) fn scale_rows(&mut self, factor: impl Fn(usize) -> f64) {
        for row in 0..self.residuals.len() {
            self.scale_row(row, factor(self.observations[row]));
        }
    }
    /// Multiplies the row pushed last.
    pub(crate) fn scale_last_row(&mut self, factor: f64) {
        if let Some(row) = self.residuals.len().checked_sub(1) {
            self.scale_row(row, factor);
        }
    }
    fn scale_row(&mut self, row: usize, factor: f64) {
        self.residuals[row] *= factor;
        if self.derivatives {
            for column in 0..self.parameters {
                self.columns[column * self.stride + row] *= factor;
            }
        }
    }
    /// The observation of the first row that is not finite.
    pub(crate) fn first_not_finite(&self) -> Option<usize> {
        // A sum is finite only if its parts are (or they overflow, which is as bad): one
        // cheap pass, and a search only when it fails.
        let mut sum: f64 = self.residuals.iter().map(|r| r.abs()).sum();
        let rows = self.residuals.len();
        if self.derivatives {
            for column in 0..self.parameters {
                let start = column * self.stride;
                sum += lanes(&self.columns[start..start + rows], |a| a.abs());
            }
        }
        if sum.is_finite() {
            return None;
        }
        let bad = (0..rows).find(|&row| {
            !self.residuals[row].is_finite()
                || (self.derivatives
                    && (0..self.parameters).any(|c| !self.derivative(row, c).is_finite()))
        });
        // When each is finite and only the sum is not, the first row stands for all.
        Some(self.observations[bad.unwrap_or(0)])
    }
}

/// Sum of `f` over `a` in eight independent lanes, which the compiler can vectorise.
#[inline]
fn lanes(a: &[f64], f: impl Fn(f64) -> f64) -> f64 {
    let mut sums = [0.0; 8];
    let chunks = a.chunks_exact(8);
    let rest: f64 = chunks.remainder().iter().map(|x| f(*x)).sum();
    for chunk in chunks {
        for (sum, x) in sums.iter_mut().zip(chunk) {
            *sum += f(*x);
        }
    }
    sums.iter().sum::<f64>() + rest
}

/// The inner product of two slices of one length, in eight independent lanes.
#[inline]
pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0; 8];
    let (ca, cb) = (a.chunks_exact(8), b.chunks_exact(8));
    let rest: f64 = (ca.remainder().iter().zip(cb.remainder()))
        .map(|(x, y)| x * y)
        .sum();
    for (x, y) in ca.zip(cb) {
        for i in 0..8 {
            sums[i] += x[i] * y[i];
        }
    }
    sums.iter().sum::<f64>() + rest
}
