//! Effects of the terms: on a peak, and on the pointing over the sky.

use nalgebra::{DMatrix, DVector};

use super::Candidate;
use crate::explain::sky_weights;
use crate::mount::{ApproachSigns, MountModel, Term};
use crate::sky::EARTH_ROTATION;
use crate::station::Station;

/// Effect of backlash when the side of arrival is ignored: half of it either way.
const HALF: f64 = 0.5;

/// The sides of arrival to choose from: both sides for an axis whose backlash is requested.
pub fn sides(terms: &[Term]) -> Vec<ApproachSigns> {
    let of = |term: Term| match terms.contains(&term) {
        true => vec![1.0, -1.0],
        false => vec![0.0],
    };
    (of(Term::AzimuthBacklash).into_iter())
        .flat_map(|azimuth| {
            of(Term::ElevationBacklash)
                .into_iter()
                .map(move |elevation| ApproachSigns { azimuth, elevation })
        })
        .collect()
}

/// Derivatives of emitter minus beam by the terms, with cross-elevation in the first row and
/// elevation in the second.
pub fn rows(
    model: &MountModel,
    terms: &[Term],
    candidate: &Candidate,
    approach: ApproachSigns,
) -> Option<DMatrix<f64>> {
    let reading = model.readings(&candidate.direction, approach).ok()?.direct;
    let beam = model.beam_with_derivatives(reading, approach);
    let basis = model.geometry().basis_at(&beam.vector);
    let columns: Vec<DVector<f64>> = (terms.iter())
        .map(|term| {
            let change = match term {
                Term::ClockOffset => candidate.rate,
                _ => -beam.by_term[*term as usize],
            };
            DVector::from_vec(vec![
                basis.rightward.dot(&change),
                basis.upward.dot(&change),
            ])
        })
        .collect();
    Some(DMatrix::from_columns(&columns))
}

/// Effect of an uncertain term over the reachable sky; for the clock and backlash, which no
/// direction shows, their effect in use.
pub fn weights(station: &Station, model: &MountModel, terms: &[Term]) -> DMatrix<f64> {
    let mut mean = sky_weights(station, model, terms);
    for (i, term) in terms.iter().enumerate() {
        match term {
            // A clock error of one second displaces an emitter that moves with the sky by the
            // Earth's rotation in that time.
            Term::ClockOffset => mean[(i, i)] = EARTH_ROTATION * EARTH_ROTATION,
            Term::AzimuthBacklash | Term::ElevationBacklash => mean[(i, i)] = HALF * HALF,
            _ => {}
        }
    }
    mean
}
