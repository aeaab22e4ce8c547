//! Directions spread evenly over the part of the sky that a mount reaches.

use nalgebra::DMatrix;

use super::separability::rows_at;
use crate::angle::{Angle, Apparent, Direction};
use crate::mount::{ApproachSigns, MountModel, Term};
use crate::station::{Horizon, Mount, Station};

/// Nearer the zenith an azimuth error hardly moves the beam and an az-el mount cannot follow;
/// common practice, no source.
const HIGHEST_DEG: i32 = 80;
/// Degrees between the rings: every term of the model changes slowly over five degrees.
const STEP_DEG: usize = 5;
/// Directions around the horizon, one every 15 degrees, so that the shortest wave of the model
/// (three per turn) gets eight.
const ROUND: f64 = 24.0;

/// Directions from 5 to 80 degrees of elevation within the range of the mount's second axis and
/// above the horizon mask, if one is given, with about equal density on every part of the sky. For
/// a mount whose first axis is not vertical: up to the zenith, within both ranges and not near that
/// axis.
pub fn even_sky(mount: &Mount, horizon: Option<&Horizon>) -> Vec<Direction<Apparent>> {
    let mut found = Vec::new();
    let highest = if mount.kind().is_az_el() {
        HIGHEST_DEG
    } else {
        90
    };
    for elevation in (5..=highest).step_by(STEP_DEG) {
        let elevation = Angle::from_degrees(f64::from(elevation));
        // The number of azimuths is proportional to the circle at this elevation, for an even
        // spread.
        let count = (ROUND * elevation.cos()).round().max(1.0) as usize;
        for i in 0..count {
            let azimuth = Angle::TURN * (i as f64 / count as f64);
            let above = horizon.is_none_or(|h| elevation >= h.lowest(azimuth));
            let direction = Direction::apparent(azimuth, elevation);
            if above && reaches(mount, &direction) {
                found.push(direction);
            }
        }
    }
    found
}

/// Whether a mount without errors reaches a direction on the near side of its first axis, and not
/// so close to that axis that its first reading hardly matters on the sky.
fn reaches(mount: &Mount, direction: &Direction<Apparent>) -> bool {
    let within = |value: Angle, (low, high): (Angle, Angle)| value >= low && value <= high;
    if mount.kind().is_az_el() {
        return within(direction.elevation(), mount.elevation_range);
    }
    let ideal = MountModel::ideal(mount.geometry);
    let Ok(both) = ideal.readings(direction, ApproachSigns::UNKNOWN) else {
        return false;
    };
    let (low, high) = mount.azimuth_range;
    let middle = (low + high) / 2.0;
    within(
        both.direct.azimuth.nearest_turn_to(middle),
        mount.azimuth_range,
    ) && within(both.direct.elevation, mount.elevation_range)
        && both.direct.elevation.abs() <= Angle::from_degrees(f64::from(HIGHEST_DEG))
}

/// The mean of J'J over the sky that the mount reaches, n by n for n terms: the mean square of the
/// pointing error caused by a change d of the terms (internal units) is d' W d, radians squared.
pub fn sky_weights(station: &Station, model: &MountModel, terms: &[Term]) -> DMatrix<f64> {
    let n = terms.len();
    let mut sum = DMatrix::zeros(n, n);
    let mut count: f64 = 0.0;
    for direction in even_sky(&station.mount, Some(&station.horizon)) {
        if let Some(rows) = rows_at(model, terms, &direction) {
            sum += rows.transpose() * rows;
            count += 1.0;
        }
    }
    sum / count.max(1.0)
}
