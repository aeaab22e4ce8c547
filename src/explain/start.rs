//! Where to start: no initial guess is needed, north may be anywhere.
//!
//! For a mount without other faults, each peak by itself gives the two zeros: once with the dish
//! below the zenith and once over the top. Each such pair is tried on all peaks, and the one with
//! the smallest distances for the best-fitting two thirds of them wins. So up to a third of the
//! peaks may be wild.

use crate::angle::Angle;
use crate::mount::{MountModel, Term};

use super::misfit::{filled_reading, misfit};
use super::observe::Sighting;
use super::session::Session;
use super::tuned::{
    MOST_PEAKS_ASKED_FOR_ZEROS, MOST_PEAKS_THE_START_IS_TRIED_ON, SHARE_THAT_THE_START_FITS,
};

/// The two zeros to start from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StartingZeros {
    /// Azimuth zero, in (-180, 180] degrees.
    pub azimuth_zero: Angle,
    /// Elevation zero.
    pub elevation_zero: Angle,
    /// Median distance on the sky for the best-fitting two thirds.
    pub left: Angle,
}

/// Returns the zeros with the smallest distances for the best-fitting share of the peaks.
///
/// A held zero is kept.
pub fn start(session: &Session) -> StartingZeros {
    let stride = session
        .peaks
        .len()
        .div_ceil(MOST_PEAKS_THE_START_IS_TRIED_ON)
        .max(1);
    let some = session.peaks.iter().step_by(stride);
    let sightings: Vec<Sighting> = some.map(|p| p.sighting).collect();
    start_of(&sightings, &session.mount(), &session.base_terms())
}

/// The same for some peaks; `held` is the mount model with the terms that are fixed beforehand.
pub fn start_of(observations: &[Sighting], held: &MountModel, free: &[Term]) -> StartingZeros {
    let azimuth_free = free.contains(&Term::AzimuthZero);
    let elevation_free = free.contains(&Term::ElevationZero);
    let held_start = |left| StartingZeros {
        azimuth_zero: held.terms().angle(Term::AzimuthZero),
        elevation_zero: held.terms().angle(Term::ElevationZero),
        left,
    };
    let as_held = [(
        held.terms().angle(Term::AzimuthZero),
        held.terms().angle(Term::ElevationZero),
    )];
    let stride = observations
        .len()
        .div_ceil(MOST_PEAKS_ASKED_FOR_ZEROS)
        .max(1);
    let says = observations
        .iter()
        .step_by(stride)
        .flat_map(|o| says_of(o, held))
        .map(|(a, e)| {
            (
                if azimuth_free { a } else { as_held[0].0 },
                if elevation_free { e } else { as_held[0].1 },
            )
        });
    let mut tried: Vec<StartingZeros> = as_held
        .into_iter()
        .chain(says)
        .map(|(azimuth_zero, elevation_zero)| StartingZeros {
            azimuth_zero,
            elevation_zero,
            left: left_by(observations, held, azimuth_zero, elevation_zero),
        })
        .collect();
    tried.sort_by(|p, q| p.left.radians().total_cmp(&q.left.radians()));
    let Some(best) = tried.first().copied() else {
        return held_start(Angle::ZERO);
    };
    // Peaks all at one elevation fit as well over the top with an absurd elevation zero: of starts
    // about as good, the one with the smallest elevation zero is chosen.
    let about = best.left * 2.0 + Angle::from_degrees(0.5);
    tried
        .into_iter()
        .filter(|s| s.left <= about)
        .min_by(|p, q| {
            let key = |s: &StartingZeros| {
                // By steps of 45 degrees first, then by the misfit.
                let absurd = (s.elevation_zero.abs().degrees() / 45.0).floor();
                (absurd, s.left.radians())
            };
            key(p)
                .partial_cmp(&key(q))
                .unwrap_or(std::cmp::Ordering::Equal)
        })
        .unwrap_or(best)
}

/// The zeros that one peak requires, direct and over the top.
fn says_of(observation: &Sighting, held: &MountModel) -> Vec<(Angle, Angle)> {
    let mut bare = *held.terms();
    bare.set_inside(Term::AzimuthZero, 0.0);
    bare.set_inside(Term::ElevationZero, 0.0);
    let model = held.with_terms(bare);
    let reading = filled_reading(&model, observation);
    match model.readings(&observation.direction(), observation.approach) {
        Ok(both) => [both.direct, both.over_the_top]
            .into_iter()
            .map(|wanted| {
                (
                    (wanted.azimuth - reading.azimuth).wrapped_signed(),
                    wanted.elevation - reading.elevation,
                )
            })
            .collect(),
        Err(_) => Vec::new(),
    }
}

/// RMS distance on the sky for the best-fitting share.
fn left_by(
    observations: &[Sighting],
    held: &MountModel,
    azimuth_zero: Angle,
    elevation_zero: Angle,
) -> Angle {
    let mut terms = *held.terms();
    terms.set_inside(Term::AzimuthZero, azimuth_zero.radians());
    terms.set_inside(Term::ElevationZero, elevation_zero.radians());
    let model = held.with_terms(terms);
    let mut distances: Vec<f64> = observations
        .iter()
        .map(|o| misfit(&model, o).offset.size().radians())
        .collect();
    if distances.is_empty() {
        return Angle::ZERO;
    }
    let keep = ((distances.len() as f64 * SHARE_THAT_THE_START_FITS).ceil() as usize)
        .clamp(1, distances.len());
    distances.select_nth_unstable_by(keep - 1, f64::total_cmp);
    let sum: f64 = distances[..keep].iter().map(|d| d * d).sum();
    Angle::from_radians((sum / keep as f64).sqrt())
}
