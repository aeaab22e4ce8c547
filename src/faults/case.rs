//! What is known of each peak that a fault may depend on.

use nalgebra::Vector3;

use crate::angle::{Angle, SkyBasis};
use crate::sky::Sky;
use crate::solve::observe::Observation;
use crate::station::{EmitterKind, Station};
use crate::time::Utc;

/// One peak with everything that a fault's effect on it may depend on.
#[derive(Clone, Debug)]
pub struct Case {
    /// The peak and where its emitter stood.
    pub observation: Observation,
    /// Number of its emitter in the station file.
    pub emitter: usize,
    /// Hours since the first peak of the log.
    pub hours: f64,
    /// Local mean solar time as an angle, zero at midnight.
    pub day_angle: Angle,
    /// How the target moves for each second that the satellite runs ahead of its elements;
    /// zero for what is no satellite.
    pub along_orbit: Vector3<f64>,
    /// By how much the air raises the target, as a step of its unit vector; zero for what
    /// stands inside the air.
    pub bend: Vector3<f64>,
}

impl Case {
    /// How far the dish is raised for the target: its elevation, or for an over-the-top reading
    /// what that axis angle is.
    pub fn raised(&self) -> Angle {
        let elevation = self.observation.direction().elevation();
        match self.observation.peak.elevation {
            Some(reading) if reading > Angle::RIGHT => Angle::HALF_TURN - elevation,
            _ => elevation,
        }
    }
}

/// Half the step over which a satellite's way along its orbit is taken, seconds.
const ORBIT_STEP_S: f64 = 1.0;

/// The cases of some observations.
pub fn cases(station: &Station, sky: &Sky, observations: &[Observation]) -> Vec<Case> {
    let first: Option<Utc> = observations.iter().map(|o| o.peak.time).min();
    observations
        .iter()
        .map(|o| {
            let time = o.peak.time;
            let emitter = (station.emitters.iter())
                .position(|e| e.name == o.peak.emitter)
                .unwrap_or(usize::MAX);
            let day = Angle::TURN * (time.seconds_of_day() / 86_400.0) + station.site.longitude;
            Case {
                emitter,
                hours: first.map_or(0.0, |f| time.seconds_since(f) / 3600.0),
                day_angle: day.wrapped_positive(),
                along_orbit: along_orbit(sky, o),
                bend: bend(sky, station, o),
                observation: o.clone(),
            }
        })
        .collect()
}

fn along_orbit(sky: &Sky, observation: &Observation) -> Vector3<f64> {
    let peak = &observation.peak;
    let moment = sky.at(peak.time.plus_seconds(observation.clock_offset_s));
    let at = |seconds: f64| {
        let id = sky.emitter(&peak.emitter)?;
        let direction = moment.ahead(id, seconds).ok()??;
        Some(direction.east_north_up())
    };
    match (at(ORBIT_STEP_S), at(-ORBIT_STEP_S)) {
        (Some(after), Some(before)) => (after - before) / (2.0 * ORBIT_STEP_S),
        _ => Vector3::zeros(),
    }
}

fn bend(sky: &Sky, station: &Station, observation: &Observation) -> Vector3<f64> {
    let kind = station.emitter(&observation.peak.emitter).map(|e| &e.kind);
    if matches!(
        kind,
        Some(EmitterKind::Beacon { .. } | EmitterKind::Mark { .. })
    ) {
        return Vector3::zeros();
    }
    let apparent = observation.direction();
    let airless = sky.refraction().unrefract(&apparent);
    let raised = apparent.elevation() - airless.elevation();
    SkyBasis::at(&observation.target).upward * raised.radians()
}
