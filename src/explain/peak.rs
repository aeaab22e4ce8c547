//! One peak of a session.

use std::sync::Arc;

use nalgebra::Vector3;

use crate::angle::Angle;
use crate::time::Utc;

use super::observe::Sighting;

/// One peak with everything on which the effect of a hypothesis may depend.
#[derive(Clone, Debug)]
pub struct SessionPeak {
    /// Readings and emitter.
    pub sighting: Sighting,
    /// Its log among those that were read together, counted from 0.
    pub log: usize,
    /// Its feed, by its place in the station's list.
    pub feed: usize,
    /// Data row, counted from 1 through all logs.
    pub row: usize,
    /// Line in the log, counted from 1.
    pub line: usize,
    /// Time as logged (corrected when the times were misread).
    pub time: Utc,
    /// Name of its emitter as logged.
    pub emitter_name: Arc<str>,
    /// Number of its emitter in the station file.
    pub emitter: usize,
    /// Hours since the first peak of the log.
    pub hours: f64,
    /// Local mean solar time as an angle, zero at midnight.
    pub day_angle: Angle,
    /// Change of the readings for one standard deviation of the lag removed from the log's scans,
    /// with its sign.
    pub by_lag: [Angle; 2],
    /// Logged temperature, degrees Celsius.
    pub temperature_c: Option<f64>,
    /// Uncertainty of its emitter's position, one standard deviation per axis: no peak is weighted
    /// more than this allows. Zero where the position is known well enough.
    pub place_sigma: Angle,
    /// Motion of the target for each second that the satellite runs ahead of its elements; zero for
    /// anything but a satellite.
    pub along_orbit: Vector3<f64>,
    /// Change of the target's unit vector by refraction; zero for anything inside the atmosphere.
    pub bend: Vector3<f64>,
}

impl SessionPeak {
    /// How far the dish is raised for the target: its elevation, or the axis angle for an
    /// over-the-top reading.
    pub fn raised(&self) -> Angle {
        let elevation = self.sighting.direction().elevation();
        match self.sighting.elevation {
            Some(reading) if reading > Angle::RIGHT => Angle::HALF_TURN - elevation,
            _ => elevation,
        }
    }
}
