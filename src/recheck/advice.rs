//! What to observe when there are too few peaks for an answer.

use nalgebra::DMatrix;

use super::old::Old;
use crate::angle::{Angle, Apparent, Direction};
use crate::explain::{even_sky, rows_at, sky_weights};
use crate::fit::Solution;
use crate::number;
use crate::station::Station;

/// Largest number of peaks named: what can be done in a few minutes.
const MORE_PEAKS: usize = 3;

/// Where a few more peaks, each where it helps most, would reduce the error over the sky, in words:
/// as many as bring the rms error that the uncertainties of the terms allow below half the limit,
/// but at most [`MORE_PEAKS`].
pub fn advice(station: &Station, old: &Old, now: &Solution, noise: Angle, limit: Angle) -> String {
    let weights = sky_weights(station, &old.model, &old.terms);
    let noise = noise.radians().max(1e-9);
    let unknown = |covariance: &DMatrix<f64>| {
        Angle::from_radians((&weights * covariance).trace().max(0.0).sqrt())
    };
    let mut covariance = now.covariance();
    let before = unknown(&covariance);
    let candidates: Vec<(Direction<Apparent>, DMatrix<f64>)> =
        (even_sky(&station.mount, Some(&station.horizon)).iter())
            .filter_map(|d| Some((*d, rows_at(&old.model, &old.terms, d)?)))
            .collect();
    let mut places = Vec::new();
    while places.len() < MORE_PEAKS && unknown(&covariance) > limit / 2.0 {
        let with = |rows: &DMatrix<f64>| {
            let information =
                covariance.clone().try_inverse()? + rows.transpose() * rows / (noise * noise);
            information.try_inverse()
        };
        let best = (candidates.iter())
            .filter_map(|(direction, rows)| Some((direction, with(rows)?)))
            .min_by(|p, q| unknown(&p.1).degrees().total_cmp(&unknown(&q.1).degrees()));
        let Some((direction, narrowed)) = best else {
            break;
        };
        places.push(format!(
            "azimuth {:.0} deg, elevation {:.0} deg",
            direction.azimuth().degrees(),
            direction.elevation().degrees()
        ));
        covariance = narrowed;
    }
    let Some(last) = places.pop() else {
        return String::new();
    };
    let (count, near) = match places.len() {
        0 => ("one more peak", last),
        1 => (
            "two more peaks",
            format!("{} and {last}", places.join("; ")),
        ),
        _ => (
            "three more peaks",
            format!("{}; and {last}", places.join("; ")),
        ),
    };
    let after = unknown(&covariance);
    let still = if after > limit {
        format!(
            ": still more than the limit, so that more peaks than these, better ones, or a \
             wider --limit are needed (the noise of a peak is {} deg)",
            figures(Angle::from_radians(noise))
        )
    } else {
        String::new()
    };
    format!(
        "{count} near {near} would help most: the error over the sky that the terms' uncertainties \
         alone leave possible, rms, would fall from {} to {} deg{still} (the +/- above is something else: \
         the uncertainty of the error's size)",
        figures(before),
        figures(after),
    )
}

/// Degrees with two significant figures.
fn figures(angle: Angle) -> String {
    number::significant(angle.degrees(), 2)
}
