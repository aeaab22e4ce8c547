//! Rank and near-rank: what the data tell, direction by direction.

use super::step;
use super::triangle::{Triangle, positive};
use nalgebra::{DMatrix, SVD};
use std::sync::OnceLock;

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
    /// Whether norms alone show that no direction is held: one over the norm of the inverse is
    /// no more than the smallest singular value.
    fn leaves_all(&self, scaled: &DMatrix<f64>, inverse: &DMatrix<f64>) -> bool {
        inverse.norm() * self.floor(scaled.norm()) < 1.0
    }
}

/// One direction in the parameters and how well the data tell it.
#[derive(Clone, Debug, PartialEq)]
pub struct ParameterDirection {
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
    /// R D^-1, n by n.
    scaled: DMatrix<f64>,
    rank: usize,
    /// The inverse of `scaled`, when it alone shows that the data tell all directions.
    inverse: Option<DMatrix<f64>>,
    /// Worked out when first needed: they cost as much as a pass over 100 observations.
    singular: OnceLock<Singular>,
}

#[derive(Clone, Debug)]
struct Singular {
    /// Descending.
    values: Vec<f64>,
    /// Column i belongs to value i; orthonormal, in scaled parameters.
    vectors: DMatrix<f64>,
}

impl Singular {
    fn of(scaled: &DMatrix<f64>) -> Singular {
        let n = scaled.ncols();
        if n == 0 {
            return Singular {
                values: Vec::new(),
                vectors: DMatrix::zeros(0, 0),
            };
        }
        let svd = SVD::new(scaled.clone(), false, true);
        let vt = svd.v_t.unwrap_or_else(|| DMatrix::identity(n, n));
        Singular {
            values: svd.singular_values.iter().copied().collect(),
            vectors: vt.transpose(),
        }
    }
}

impl Spectrum {
    /// Of the triangle, scaled and judged as `hold` says.
    pub fn of(triangle: &Triangle, hold: &Hold) -> Spectrum {
        let scale = hold.scale(triangle);
        let scaled = step::scaled_triangle(triangle, &scale);
        let inverse =
            step::safe_inverse(&scaled).filter(|inverse| hold.leaves_all(&scaled, inverse));
        let mut spectrum = Spectrum {
            rank: scale.len(),
            scale,
            scaled,
            inverse,
            singular: OnceLock::new(),
        };
        if spectrum.inverse.is_none() {
            let values = &spectrum.singular().values;
            let floor = hold.floor(values.first().copied().unwrap_or(0.0));
            spectrum.rank = values.iter().filter(|value| **value > floor).count();
        }
        spectrum
    }
    fn singular(&self) -> &Singular {
        self.singular.get_or_init(|| Singular::of(&self.scaled))
    }
    /// Number of directions that the data tell.
    pub fn rank(&self) -> usize {
        self.rank
    }
    /// The largest singular value over the smallest; infinite when that is zero, one when
    /// there are no parameters.
    pub fn condition(&self) -> f64 {
        let values = &self.singular().values;
        match (values.first(), values.last()) {
            (Some(largest), Some(smallest)) if *smallest > 0.0 => largest / smallest,
            (Some(_), _) => f64::INFINITY,
            _ => 1.0,
        }
    }
    /// All directions, best told first.
    pub fn directions(&self) -> Vec<ParameterDirection> {
        (0..self.scale.len()).map(|i| self.direction(i)).collect()
    }
    /// The directions that the data do not tell.
    pub fn undetermined(&self) -> Vec<ParameterDirection> {
        (self.rank..self.scale.len())
            .map(|i| self.direction(i))
            .collect()
    }
    fn direction(&self, i: usize) -> ParameterDirection {
        let Singular { values, vectors } = self.singular();
        let column = vectors.column(i);
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
        ParameterDirection {
            change: shares.iter().zip(&self.scale).map(|(v, d)| v / d).collect(),
            shares,
            strength: values[i],
            relative: if values[0] > 0.0 {
                values[i] / values[0]
            } else {
                0.0
            },
        }
    }
    /// Columns that span the told directions, in the parameters' own units; none when the
    /// data tell all.
    pub(crate) fn basis(&self) -> Option<DMatrix<f64>> {
        let n = self.scale.len();
        (self.rank < n).then(|| {
            let vectors = &self.singular().vectors;
            DMatrix::from_fn(n, self.rank, |j, i| vectors[(j, i)] / self.scale[j])
        })
    }
    /// The covariance of the parameters along the told directions, n by n, of rank
    /// [`Spectrum::rank`]: V S^-2 V' unscaled. The others count as known.
    pub fn covariance(&self) -> DMatrix<f64> {
        let half = self.half_covariance();
        &half * half.transpose()
    }
    /// n by rank; times its own transpose it is the covariance.
    pub(crate) fn half_covariance(&self) -> DMatrix<f64> {
        let n = self.scale.len();
        match &self.inverse {
            Some(inverse) => DMatrix::from_fn(n, n, |j, i| inverse[(j, i)] / self.scale[j]),
            None => {
                let Singular { values, vectors } = self.singular();
                DMatrix::from_fn(n, self.rank, |j, i| {
                    vectors[(j, i)] / self.scale[j] / values[i]
                })
            }
        }
    }
    /// Whether the variance of a combination of the parameters comes mostly from directions
    /// that the data do not tell.
    pub fn is_vague(&self, combination: &[f64]) -> bool {
        let n = self.scale.len();
        if self.rank == n {
            return false;
        }
        let Singular { values, vectors } = self.singular();
        let floor = VAGUE_FLOOR * values.first().copied().unwrap_or(0.0);
        let variance = |i: usize| {
            let along: f64 = (0..n)
                .map(|j| combination[j] * vectors[(j, i)] / self.scale[j])
                .sum();
            let value = values[i].max(floor);
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
        let n = self.scale.len();
        let untold = n - self.rank;
        if untold == 0 {
            return Vec::new();
        }
        let vectors = &self.singular().vectors;
        let mut rows = vectors.columns(self.rank, untold).transpose();
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
/// Shares within this factor count as equal, so that rounding does not choose between them.
const TIE: f64 = 0.999;
