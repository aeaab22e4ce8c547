//! Rank and near-rank: what the data tell, direction by direction.

use super::marquardt::positive;
use super::step;
use super::triangle::Triangle;
use nalgebra::{DMatrix, SVD};

/// When a direction in the parameters counts as not told by the data. Such directions stay
/// where they started; the fit goes on in the others, which gives the answer nearest to the
/// start in scaled parameters.
#[derive(Clone, Debug, PartialEq)]
pub enum Hold {
    /// When its singular value, columns scaled to unit length, is at most this fraction of
    /// the largest. Needs no knowledge of the problem; the scaled condition number is then
    /// at most one over it.
    BelowRatio(f64),
    /// When its standard deviation exceeds one plausible size, with the parameters measured
    /// in these plausible sizes (n of them, above zero): the data then tell less than common
    /// sense does. Needs residuals whitened by their true noise.
    VaguerThan(Vec<f64>),
}

/// Scaled condition number above which nothing is left of the answer but a few digits: the
/// default limit when nothing is known about plausible sizes.
pub const NEAR_RANK: f64 = 1e-10;

impl Default for Hold {
    fn default() -> Hold {
        Hold::BelowRatio(NEAR_RANK)
    }
}

impl Hold {
    fn scale(&self, triangle: &Triangle) -> Vec<f64> {
        match self {
            Hold::BelowRatio(_) => positive(triangle.column_norms()),
            Hold::VaguerThan(sizes) => sizes.iter().map(|size| 1.0 / size).collect(),
        }
    }
    fn floor(&self, largest: f64) -> f64 {
        match self {
            Hold::BelowRatio(ratio) => ratio * largest,
            Hold::VaguerThan(_) => 1.0,
        }
        .max(step::NO_DIGIT * largest)
    }
}

/// One direction in the parameters and how well the data tell it.
#[derive(Clone, Debug, PartialEq)]
pub struct Direction {
    /// A change of the parameters along it, in their own units: of unit length in scaled
    /// parameters. Its sign is so that the largest share is positive.
    pub change: Vec<f64>,
    /// The share of each parameter: the same in scaled parameters, of unit length. Those
    /// with a large share are the ones that cannot be told apart.
    pub shares: Vec<f64>,
    /// The singular value: by how much `change` moves the whitened residual vector. One over
    /// it is the standard deviation in units of `change`.
    pub strength: f64,
    /// The singular value over the largest of all directions.
    pub relative: f64,
}

/// The singular values and vectors of a scaled triangle.
#[derive(Clone, Debug)]
pub struct Spectrum {
    scale: Vec<f64>,
    /// Descending.
    values: Vec<f64>,
    /// Column i belongs to value i; orthonormal, in scaled parameters.
    vectors: DMatrix<f64>,
    rank: usize,
}

impl Spectrum {
    /// Of the triangle, scaled and judged as `hold` says.
    pub fn of(triangle: &Triangle, hold: &Hold) -> Spectrum {
        let n = triangle.parameters();
        let scale = hold.scale(triangle);
        let (values, vectors) = if n == 0 {
            (Vec::new(), DMatrix::zeros(0, 0))
        } else {
            let svd = SVD::new(step::scaled_triangle(triangle, &scale), false, true);
            let vt = svd.v_t.unwrap_or_else(|| DMatrix::identity(n, n));
            (
                svd.singular_values.iter().copied().collect(),
                vt.transpose(),
            )
        };
        let floor = hold.floor(values.first().copied().unwrap_or(0.0));
        let rank = values.iter().filter(|value| **value > floor).count();
        Spectrum {
            scale,
            values,
            vectors,
            rank,
        }
    }
    /// Columns that span the told directions; none when the data tell all. Without singular
    /// values where a cheaper bound of the condition number is good enough.
    pub(crate) fn basis_of(triangle: &Triangle, hold: &Hold) -> Option<DMatrix<f64>> {
        if let Hold::BelowRatio(ratio) = hold {
            let scaled = step::scaled_triangle(triangle, &hold.scale(triangle));
            let inverse = step::safe_inverse(&scaled);
            if inverse.is_some_and(|inverse| scaled.norm() * inverse.norm() * ratio < 1.0) {
                return None;
            }
        }
        Spectrum::of(triangle, hold).basis()
    }
    /// Number of directions that the data tell.
    pub fn rank(&self) -> usize {
        self.rank
    }
    /// The largest singular value over the smallest; infinite when that is zero, one when
    /// there are no parameters.
    pub fn condition(&self) -> f64 {
        match (self.values.first(), self.values.last()) {
            (Some(largest), Some(smallest)) if *smallest > 0.0 => largest / smallest,
            (Some(_), _) => f64::INFINITY,
            _ => 1.0,
        }
    }
    /// All directions, best told first.
    pub fn directions(&self) -> Vec<Direction> {
        (0..self.values.len()).map(|i| self.direction(i)).collect()
    }
    /// The directions that the data do not tell.
    pub fn undetermined(&self) -> Vec<Direction> {
        (self.rank..self.values.len())
            .map(|i| self.direction(i))
            .collect()
    }
    fn direction(&self, i: usize) -> Direction {
        let column = self.vectors.column(i);
        let leading = column.iter().fold(0.0_f64, |a, b| {
            // A later share must be clearly larger, so that ties do not hang on roundings.
            if b.abs() > a.abs() * (1.0 + 1e-6) {
                *b
            } else {
                a
            }
        });
        let sign = if leading < 0.0 { -1.0 } else { 1.0 };
        let shares: Vec<f64> = column.iter().map(|v| sign * v).collect();
        Direction {
            change: shares.iter().zip(&self.scale).map(|(v, d)| v / d).collect(),
            shares,
            strength: self.values[i],
            relative: if self.values[0] > 0.0 {
                self.values[i] / self.values[0]
            } else {
                0.0
            },
        }
    }
    /// Columns that span the told directions, in the parameters' own units; none when the
    /// data tell all.
    pub(crate) fn basis(&self) -> Option<DMatrix<f64>> {
        let n = self.values.len();
        (self.rank < n)
            .then(|| DMatrix::from_fn(n, self.rank, |j, i| self.vectors[(j, i)] / self.scale[j]))
    }
    /// The covariance of the parameters along the told directions, n by n, of rank
    /// [`Spectrum::rank`]: V S^-2 V' unscaled. The others count as known.
    pub fn covariance(&self) -> DMatrix<f64> {
        let half = self.half_covariance();
        &half * half.transpose()
    }
    /// n by rank; times its own transpose it is the covariance.
    pub(crate) fn half_covariance(&self) -> DMatrix<f64> {
        DMatrix::from_fn(self.values.len(), self.rank, |j, i| {
            self.vectors[(j, i)] / self.scale[j] / self.values[i]
        })
    }
    /// Whether the variance of a combination of the parameters comes mostly from directions
    /// that the data do not tell.
    pub fn is_vague(&self, combination: &[f64]) -> bool {
        let n = self.values.len();
        let floor = VAGUE_FLOOR * self.values.first().copied().unwrap_or(0.0);
        let variance = |i: usize| {
            let along: f64 = (0..n)
                .map(|j| combination[j] * self.vectors[(j, i)] / self.scale[j])
                .sum();
            let value = self.values[i].max(floor);
            if along == 0.0 {
                0.0
            } else {
                (along / value).powi(2)
            }
        };
        let told: f64 = (0..self.rank).map(variance).sum();
        let untold: f64 = (self.rank..n).map(variance).sum();
        untold > told
    }
    /// A choice of parameters, as many as there are untold directions, that makes all others
    /// told once these are held: the untold directions' largest shares by elimination with
    /// column pivoting (subset selection; Golub and Van Loan, Matrix Computations, chapter
    /// 5). Among equals the parameter with the higher number is held, so list those that one
    /// would rather keep first.
    pub fn parameters_to_hold(&self) -> Vec<usize> {
        let n = self.values.len();
        let mut rows = self.vectors.columns(self.rank, n - self.rank).transpose();
        let mut held = Vec::new();
        for step in 0..rows.nrows() {
            let left = rows.rows(step, rows.nrows() - step);
            let norms: Vec<f64> = left.column_iter().map(|c| c.norm()).collect();
            let best = norms.iter().copied().fold(0.0, f64::max);
            let Some(pivot) = norms.iter().rposition(|norm| *norm >= TIE * best) else {
                break;
            };
            held.push(pivot);
            // A reflection brings the pivot column into row `step`; it is then zero below.
            let mut v = rows
                .view((step, pivot), (rows.nrows() - step, 1))
                .clone_owned();
            v[0] += if v[0] < 0.0 { -best } else { best };
            let length = v.norm_squared();
            if length > 0.0 {
                let mut below = rows.rows_mut(step, v.nrows());
                let products = v.tr_mul(&below) * (2.0 / length);
                below -= &v * products;
            }
        }
        held.sort_unstable();
        held
    }
}

/// Relative singular values are not taken for smaller than this when a vague direction's
/// part in a combination is judged: singular vectors carry roundings of about this size over
/// the gap to the next value.
const VAGUE_FLOOR: f64 = 1e-10;
/// Shares within this factor count as equal.
const TIE: f64 = 0.999;
