//! The error of the old calibration over the sky that the mount reaches.

use nalgebra::{DMatrix, DVector};
use rand::SeedableRng;
use rand_chacha::ChaCha12Rng;
use rand_distr::{ChiSquared, Distribution, StandardNormal};

use super::Request;
use super::old::Old;
use super::peaks::Peaks;
use crate::angle::{Angle, Apparent, Direction};
use crate::fit::Solution;
use crate::mount::Term;
use crate::solve::rows_at;
use crate::station::Station;

/// Error of the old calibration, rms over the reachable sky.
#[derive(Clone, Copy, Debug)]
pub struct SkyError {
    /// Its most likely value.
    pub rms: Angle,
    /// One standard deviation.
    pub sigma: Angle,
    /// Probability that it exceeds the limit.
    pub beyond: f64,
}

/// Samples of the terms' present values.
const SAMPLES: usize = 4000;
/// The sky above is all that the horizon allows and up to here; nearer the zenith an azimuth
/// error hardly matters on the sky, and the mount goes slowly there.
const HIGHEST_DEG: f64 = 80.0;

impl SkyError {
    /// Of `old` when the terms are now what `now` says, from these peaks: Student's law in as many
    /// dimensions as there are terms, with the degrees of freedom with which the noise is known,
    /// and wider when the peaks scatter more than that.
    pub fn of(
        station: &Station,
        old: &Old,
        now: &Solution,
        peaks: &Peaks,
        request: &Request,
    ) -> SkyError {
        let freedom = peaks.freedom;
        let excess = peaks.excess(now).sqrt();
        let weights = sky_weights(station, old);
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
        for _ in 0..SAMPLES {
            let bell = DVector::from_fn(old.terms.len(), |_, _| StandardNormal.sample(&mut rng));
            let noise = size_of_noise.map_or(1.0, |law| {
                (freedom / law.sample(&mut rng).max(1e-300)).sqrt()
            });
            let error = rms(&(&change + &spread * bell * noise * excess));
            beyond += usize::from(error > request.limit.radians());
            sum += error;
            squares += error * error;
        }
        let mean = sum / SAMPLES as f64;
        SkyError {
            rms: Angle::from_radians(rms(&change)),
            sigma: Angle::from_radians((squares / SAMPLES as f64 - mean * mean).max(0.0).sqrt()),
            // Never quite 0 or 1: so few samples cannot tell that.
            beyond: (beyond as f64 + 0.5) / (SAMPLES as f64 + 1.0),
        }
    }
}

/// Directions spread evenly over the sky that the mount reaches.
pub fn sky(station: &Station) -> Vec<Direction<Apparent>> {
    let (low, high) = station.mount.elevation_range;
    let mut found = Vec::new();
    for elevation in (5..=HIGHEST_DEG as i32).step_by(5) {
        let elevation = Angle::from_degrees(f64::from(elevation));
        // As many azimuths as the circle at this elevation is long, for an even spread.
        let count = (24.0 * elevation.cos()).round().max(1.0) as usize;
        for i in 0..count {
            let azimuth = Angle::TURN * (i as f64 / count as f64);
            let above = elevation >= station.horizon.lowest(azimuth);
            if above && elevation >= low && elevation <= high {
                found.push(Direction::new(azimuth, elevation));
            }
        }
    }
    found
}

/// The mean of J'J over the reachable sky, n by n: the squared error of terms d is d' W d.
pub fn sky_weights(station: &Station, old: &Old) -> DMatrix<f64> {
    let n = old.terms.len();
    let mut sum = DMatrix::zeros(n, n);
    let mut count = 0.0;
    for direction in sky(station) {
        if let Some(rows) = rows_at(&old.model, &old.terms, &direction) {
            sum += rows.transpose() * rows;
            count += 1.0;
        }
    }
    if count > 0.0 { sum / count } else { sum }
}
