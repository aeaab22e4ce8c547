//! What a fit says about parameters and their uncertainty.

use super::marquardt::Ending;
use super::options::Noise;
use super::quantile;
use super::spectrum::{Hold, ParameterDirection, Spectrum};
use super::triangle::Triangle;
use nalgebra::{DMatrix, DVector};

/// What a fit found. Shapes: n parameters.
#[derive(Clone, Debug)]
pub struct Solution {
    /// The parameters, n.
    pub parameters: Vec<f64>,
    /// Why the iteration ended.
    pub ending: Ending,
    /// Steps tried, refused ones included.
    pub iterations: usize,
    /// Passes over the data.
    pub evaluations: usize,
    /// Sum of the squared whitened (and weighted) residuals of the data, without priors.
    pub chi_square: f64,
    /// Sum of the squared prior rows.
    pub prior_chi_square: f64,
    /// Rows of data used.
    pub rows: usize,
    /// Rows of data less the parameters that the data had to pay for: `rows` minus the rank
    /// without priors, a little more with them.
    pub degrees_of_freedom: f64,
    /// Noise in units of the logged sigma, root of chi-square over degrees of freedom; none
    /// without degrees of freedom.
    pub scatter: Option<f64>,
    /// The largest cosine between residuals and the effect of a parameter that may move.
    pub largest_cosine: f64,
    /// Rank and directions, columns scaled as [`super::Options::hold`] says.
    pub spectrum: Spectrum,
    /// The reduced problem at the solution, priors included.
    pub triangle: Triangle,
    pub(crate) noise: Noise,
    /// Factor on the covariance of `spectrum`.
    pub(crate) variance: f64,
    /// Standard deviation of the data rows by which the triangle was divided.
    pub(crate) divided_by: f64,
}

impl Solution {
    /// Number of directions that the data (and priors) tell.
    pub fn rank(&self) -> usize {
        self.spectrum.rank()
    }
    /// The condition number with columns of unit length, whatever `hold` says.
    pub fn condition(&self) -> f64 {
        Spectrum::of(&self.triangle, &Hold::default()).condition()
    }
    /// The directions that they do not tell: left where the fit started.
    pub fn undetermined(&self) -> Vec<ParameterDirection> {
        self.spectrum.undetermined()
    }
    /// Covariance of the parameters, n by n, the untold directions counting as known;
    /// infinite when the noise should come from the scatter and there is none.
    pub fn covariance(&self) -> DMatrix<f64> {
        let scale = |c: f64| if c == 0.0 { 0.0 } else { c * self.variance };
        self.spectrum.covariance().map(scale)
    }
    /// Columns that span the determined directions; none when all are.
    pub(crate) fn basis(&self) -> Option<DMatrix<f64>> {
        self.spectrum.basis()
    }
    /// n by rank; times its own transpose it is the covariance for data rows of variance one
    /// (in units of the logged sigma).
    pub(crate) fn half_covariance(&self) -> DMatrix<f64> {
        self.spectrum.half_covariance() / self.divided_by
    }
    /// Standard deviation of each parameter; infinite where untold directions dominate it.
    pub fn sigmas(&self) -> Vec<f64> {
        let covariance = self.covariance();
        (0..self.parameters.len())
            .map(|j| {
                let mut unit = vec![0.0; self.parameters.len()];
                unit[j] = 1.0;
                if self.spectrum.is_vague(&unit) {
                    f64::INFINITY
                } else {
                    covariance[(j, j)].sqrt()
                }
            })
            .collect()
    }
    /// Standard deviation of a linear combination of the parameters (n coefficients);
    /// infinite where untold directions dominate it.
    pub fn sigma_of(&self, combination: &[f64]) -> f64 {
        if self.spectrum.is_vague(combination) {
            return f64::INFINITY;
        }
        let c = DVector::from_column_slice(combination);
        (self.covariance() * &c).dot(&c).sqrt()
    }
    /// Correlations, n by n, ones on the diagonal; the untold directions counting as known.
    pub fn correlations(&self) -> DMatrix<f64> {
        let covariance = self.spectrum.covariance();
        let n = covariance.nrows();
        DMatrix::from_fn(n, n, |i, j| {
            let product = covariance[(i, i)] * covariance[(j, j)];
            if i == j {
                1.0
            } else if product > 0.0 {
                (covariance[(i, j)] / product.sqrt()).clamp(-1.0, 1.0)
            } else {
                0.0
            }
        })
    }
    /// By how many sigmas an interval of probability `level` (0.95, say) reaches to each
    /// side: Student's t when the noise comes from the scatter, else the normal law.
    pub fn interval_factor(&self, level: f64) -> f64 {
        match self.noise {
            Noise::Logged => quantile::normal_two_sided(level),
            Noise::Scatter => quantile::student_two_sided(level, self.degrees_of_freedom),
        }
    }
    /// The noise by which uncertainties are scaled, in units of the logged sigma: one when
    /// the logged sigmas are trusted.
    pub fn noise_factor(&self) -> f64 {
        self.variance.sqrt() * self.divided_by
    }
}
