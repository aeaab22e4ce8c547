//! What the terms do: to a peak, and to the pointing over the sky.

use nalgebra::{DMatrix, DVector};

use super::Candidate;
use crate::explain::sky_weights;
use crate::mount::{ApproachSigns, MountModel, Term};
use crate::sky::EARTH_ROTATION;
use crate::station::Station;

/// What backlash does when the side of arrival is ignored: half of it either way.
const HALF: f64 = 0.5;

/// The sides of arrival to choose from: both of an axis whose backlash is to be found.
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

/// Derivatives of emitter minus beam by the terms, cross-elevation above elevation.
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

/// What an uncertain term does over the reachable sky; for what no direction shows, the clock and
/// backlash, what they do in use.
pub fn weights(station: &Station, model: &MountModel, terms: &[Term]) -> DMatrix<f64> {
    let mut mean = sky_weights(station, model, terms);
    for (i, term) in terms.iter().enumerate() {
        match term {
            // A clock that is off by a second displaces an emitter that turns with the sky by
            // what the Earth turns in it.
            Term::ClockOffset => mean[(i, i)] = EARTH_ROTATION * EARTH_ROTATION,
            Term::AzimuthBacklash | Term::ElevationBacklash => mean[(i, i)] = HALF * HALF,
            _ => {}
        }
    }
    mean
}
