//! Directions spread evenly over the sky that a mount reaches.

use nalgebra::DMatrix;

use super::separability::rows_at;
use crate::angle::{Angle, Apparent, Direction};
use crate::mount::{MountModel, Term};
use crate::station::{Horizon, Mount, Station};

/// Nearer the zenith an azimuth error hardly matters on the sky, and the mount goes slowly.
const HIGHEST_DEG: i32 = 80;
const STEP_DEG: usize = 5;
/// Directions round the horizon.
const ROUND: f64 = 24.0;

/// Directions from 5 to 80 degrees of elevation within the elevation range of the mount and above
/// the horizon mask, if one is given; about as many on every part of the sky.
pub fn even_sky(mount: &Mount, horizon: Option<&Horizon>) -> Vec<Direction<Apparent>> {
    let (low, high) = mount.elevation_range;
    let mut found = Vec::new();
    for elevation in (5..=HIGHEST_DEG).step_by(STEP_DEG) {
        let elevation = Angle::from_degrees(f64::from(elevation));
        // As many azimuths as the circle at this elevation is long, for an even spread.
        let count = (ROUND * elevation.cos()).round().max(1.0) as usize;
        for i in 0..count {
            let azimuth = Angle::TURN * (i as f64 / count as f64);
            let above = horizon.is_none_or(|h| elevation >= h.lowest(azimuth));
            if above && elevation >= low && elevation <= high {
                found.push(Direction::apparent(azimuth, elevation));
            }
        }
    }
    found
}

/// The mean of J'J over the sky that the mount reaches, n by n for n terms: the mean square of the
/// pointing error that a change d of the terms (inside units) makes is d' W d, radians squared.
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
