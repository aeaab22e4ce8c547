//! One peak of a session.

use std::sync::Arc;

use nalgebra::Vector3;

use crate::angle::Angle;
use crate::time::Utc;

use super::observe::Sighting;

/// One peak with everything that a hypothesis's effect on it may depend on.
#[derive(Clone, Debug)]
pub struct SessionPeak {
    /// Readings and emitter.
    pub sighting: Sighting,
    /// From which of the logs that were read together, counted from 0.
    pub log: usize,
    /// With which feed, by its place among the station's.
    pub feed: usize,
    /// Data row, counted from 1 through all logs.
    pub row: usize,
    /// Line in the log, counted from 1.
    pub line: usize,
    /// When, as logged (and put right, when the times were misread).
    pub time: Utc,
    /// Its emitter as logged.
    pub emitter_name: Arc<str>,
    /// Number of its emitter in the station file.
    pub emitter: usize,
    /// Hours since the first peak of the log.
    pub hours: f64,
    /// Local mean solar time as an angle, zero at midnight.
    pub day_angle: Angle,
    /// What one standard deviation of the lag taken off the log's scans moves the readings by, with
    /// its sign.
    pub by_lag: [Angle; 2],
    /// Logged temperature, degrees Celsius.
    pub temperature_c: Option<f64>,
    /// How well the place of its emitter is known, one standard deviation an axis: no peak counts for
    /// more. Zero where it is known as well as needed.
    pub place_sigma: Angle,
    /// How the target moves for each second that the satellite runs ahead of its elements;
    /// zero for what is not a satellite.
    pub along_orbit: Vector3<f64>,
    /// By how much the air raises the target, as a step of its unit vector; zero for what
    /// stands inside the air.
    pub bend: Vector3<f64>,
}

impl SessionPeak {
    /// How far the dish is raised for the target: its elevation, or for an over-the-top reading
    /// what that axis angle is.
    pub fn raised(&self) -> Angle {
        let elevation = self.sighting.direction().elevation();
        match self.sighting.elevation {
            Some(reading) if reading > Angle::RIGHT => Angle::HALF_TURN - elevation,
            _ => elevation,
        }
    }
}
