//! The error of the old calibration over the sky that the mount reaches.

use nalgebra::{DMatrix, DVector};
use rand::SeedableRng;
use rand_chacha::ChaCha12Rng;
use rand_distr::{ChiSquared, Distribution, StandardNormal};

use super::RecheckRequest;
use super::old::Old;
use super::peaks::Peaks;
use super::tuned::SAMPLES_OF_TERMS;
use crate::angle::Angle;
use crate::explain::sky_weights;
use crate::fit::Solution;
use crate::mount::Term;
use crate::problem::Error;
use crate::station::Station;

/// Error of the old calibration, rms over the reachable sky.
#[derive(Clone, Copy, Debug)]
pub struct OldSkyError {
    /// Its most likely value.
    pub rms: Angle,
    /// One standard deviation.
    pub sigma: Angle,
    /// Probability that it exceeds the limit.
    pub beyond: f64,
}

impl OldSkyError {
    /// Error of `old` when the terms are now those of `now`, from these peaks: multivariate
    /// Student's t in as many dimensions as there are terms, with the degrees of freedom of the
    /// noise estimate, and wider when the peaks scatter more than that.
    ///
    /// # Errors
    /// When the mount that `old` describes reaches no part of its sky: there is then no error to
    /// compute.
    pub fn of(
        station: &Station,
        old: &Old,
        now: &Solution,
        peaks: &Peaks,
        request: &RecheckRequest,
    ) -> Result<OldSkyError, Error> {
        let freedom = peaks.freedom;
        let excess = peaks.excess(now).sqrt();
        let weights = sky_weights(station, &old.model, &old.terms);
        if weights.trace() <= 0.0 || !weights.trace().is_finite() {
            return Err(Error::Unsupported(
                "a mount with the old calibration's terms reaches no direction from 5 to 80 deg of \
                 elevation within the station's elevation range and above its horizon: there is no \
                 sky over which its error could be computed. Check its collimation and axis-skew, and the \
                 station's elevation_range_deg and horizon"
                    .to_owned(),
            ));
        }
        let change = DVector::from_fn(old.terms.len(), |i, _| {
            let change = now.parameters[i] - old.model.terms().inside(old.terms[i]);
            if old.terms[i] == Term::AzimuthZero {
                Angle::from_radians(change).wrapped_signed().radians()
            } else {
                change
            }
        });
        let rms = |d: &DVector<f64>| (&weights * d).dot(d).max(0.0).sqrt();
        let spread = now.covariance().cholesky().map_or_else(
            || DMatrix::zeros(old.terms.len(), old.terms.len()),
            |c| c.l(),
        );
        let mut rng = ChaCha12Rng::seed_from_u64(request.seed);
        let size_of_noise = ChiSquared::new(freedom)
            .ok()
            .filter(|_| freedom.is_finite());
        let (mut beyond, mut sum, mut squares) = (0usize, 0.0, 0.0);
        for _ in 0..SAMPLES_OF_TERMS {
            let bell = DVector::from_fn(old.terms.len(), |_, _| StandardNormal.sample(&mut rng));
            let noise = size_of_noise.map_or(1.0, |law| {
                (freedom / law.sample(&mut rng).max(1e-300)).sqrt()
            });
            let error = rms(&(&change + &spread * bell * noise * excess));
            beyond += usize::from(error > request.limit.radians());
            sum += error;
            squares += error * error;
        }
        let mean = sum / SAMPLES_OF_TERMS as f64;
        Ok(OldSkyError {
            rms: Angle::from_radians(rms(&change)),
            sigma: Angle::from_radians(
                (squares / SAMPLES_OF_TERMS as f64 - mean * mean)
                    .max(0.0)
                    .sqrt(),
            ),
            // Never exactly 0 or 1: this number of samples cannot show that.
            beyond: (beyond as f64 + 0.5) / (SAMPLES_OF_TERMS as f64 + 1.0),
        })
    }
}
