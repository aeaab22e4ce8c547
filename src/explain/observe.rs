//! From a log of peaks to observations: for each peak, where the emitter stood.

use nalgebra::Vector3;

use crate::angle::{Angle, Apparent, Direction};
use crate::logbook::{Peak, PeakLog};
use crate::mount::ApproachSigns;
use crate::sky::{EARTH_ROTATION, Sky};
use crate::station::{EmitterKind, Station};

/// One peak and where its emitter stood: all that the mount problem needs.
#[derive(Clone, Debug)]
pub struct Observation {
    /// The peak as logged.
    pub peak: Peak,
    /// Unit vector (east, north, up) of the emitter's apparent direction at the logged time
    /// plus [`Observation::clock_offset_s`].
    pub target: Vector3<f64>,
    /// Its change a second.
    pub target_rate: Vector3<f64>,
    /// Seconds that had been added to the logged time for `target`.
    pub clock_offset_s: f64,
}

/// Where one peak was read and where its emitter stood: all that its misfit depends on.
#[derive(Clone, Copy, Debug)]
pub struct Sighting {
    /// Azimuth encoder reading, unwrapped; none when not measured.
    pub azimuth: Option<Angle>,
    /// Elevation encoder reading; none when not measured.
    pub elevation: Option<Angle>,
    /// From which side each axis arrived.
    pub approach: ApproachSigns,
    /// Unit vector (east, north, up) of the emitter's apparent direction at the logged time
    /// plus [`Sighting::clock_offset_s`].
    pub target: Vector3<f64>,
    /// Its change a second.
    pub target_rate: Vector3<f64>,
    /// Seconds that had been added to the logged time for `target`.
    pub clock_offset_s: f64,
}

impl Sighting {
    /// The emitter's apparent direction.
    pub fn direction(&self) -> Direction<Apparent> {
        Direction::from_east_north_up(&self.target)
    }
    /// The emitter's unit vector when `clock_offset_s` seconds are added to the logged time;
    /// a straight line from where it was computed, so close to that only.
    pub fn target_at(&self, clock_offset_s: f64) -> Vector3<f64> {
        let ahead = clock_offset_s - self.clock_offset_s;
        if ahead == 0.0 {
            return self.target;
        }
        (self.target + self.target_rate * ahead).normalize()
    }
    /// How many of its coordinates were measured.
    pub fn coordinates(&self) -> usize {
        usize::from(self.azimuth.is_some()) + usize::from(self.elevation.is_some())
    }
    /// Whether azimuth and elevation were measured.
    pub fn measured(&self) -> [bool; 2] {
        [self.azimuth.is_some(), self.elevation.is_some()]
    }
}

impl Observation {
    /// Readings and emitter without the rest of the log's row.
    pub fn sighting(&self) -> Sighting {
        Sighting {
            azimuth: self.peak.azimuth,
            elevation: self.peak.elevation,
            approach: self.approach(),
            target: self.target,
            target_rate: self.target_rate,
            clock_offset_s: self.clock_offset_s,
        }
    }
    /// The emitter's apparent direction.
    pub fn direction(&self) -> Direction<Apparent> {
        Direction::from_east_north_up(&self.target)
    }
    /// From which side each axis arrived.
    pub fn approach(&self) -> ApproachSigns {
        ApproachSigns {
            azimuth: self.peak.azimuth_approach.sign(),
            elevation: self.peak.elevation_approach.sign(),
        }
    }
    /// How many of its coordinates were measured.
    pub fn coordinates(&self) -> usize {
        usize::from(self.peak.azimuth.is_some()) + usize::from(self.peak.elevation.is_some())
    }
    /// Logged standard deviations in cross-elevation and elevation, if all measured axes
    /// have one.
    pub fn logged_sigma(&self) -> Option<[Angle; 2]> {
        let one = |measured: bool, sigma: Option<Angle>| match (measured, sigma) {
            (_, Some(s)) => Some(s),
            (false, None) => Some(Angle::ZERO),
            (true, None) => None,
        };
        Some([
            one(self.peak.azimuth.is_some(), self.peak.azimuth_sigma)?,
            one(self.peak.elevation.is_some(), self.peak.elevation_sigma)?,
        ])
    }
}

/// A peak that cannot serve, and why.
#[derive(Clone, Debug)]
pub struct Unusable {
    /// The peak as logged.
    pub peak: Peak,
    /// In words.
    pub why: String,
}

/// The observations of a log.
#[derive(Clone, Debug, Default)]
pub struct Observations {
    /// In file order.
    pub usable: Vec<Observation>,
    /// Marked `no` in the log, or without a place for their emitter.
    pub unusable: Vec<Unusable>,
    /// What the sky could not vouch for: old orbits, emitters below the horizon, times outside
    /// the tables.
    pub notices: Vec<SkyNotice>,
    /// What the logs are called.
    pub logs: Vec<String>,
}

/// What the sky could not vouch for, and for which rows.
#[derive(Clone, Debug, PartialEq)]
pub struct SkyNotice {
    /// In words.
    pub text: String,
    /// Rows of the log.
    pub rows: Vec<usize>,
}

/// Half the time step over which a satellite's motion is taken: short against the minutes of a
/// pass, long against rounding.
const RATE_STEP_S: f64 = 0.5;

/// Looks up where the emitter of every peak stood, `clock_offset_s` seconds after the logged
/// times.
pub fn observe(station: &Station, sky: &Sky, log: &PeakLog, clock_offset_s: f64) -> Observations {
    looked_up(station, sky, log, clock_offset_s, true)
}

/// The same without rates and notices: where the emitters stood, and no more.
pub fn observe_places(
    station: &Station,
    sky: &Sky,
    log: &PeakLog,
    clock_offset_s: f64,
) -> Observations {
    looked_up(station, sky, log, clock_offset_s, false)
}

fn looked_up(
    station: &Station,
    sky: &Sky,
    log: &PeakLog,
    clock_offset_s: f64,
    whole: bool,
) -> Observations {
    let mut found = Observations {
        logs: log.files.clone(),
        ..Observations::default()
    };
    for peak in &log.peaks {
        if !peak.use_it {
            found.unusable.push(Unusable {
                peak: peak.clone(),
                why: "the log says use: no".to_owned(),
            });
            continue;
        }
        let moment = sky.at(peak.time.plus_seconds(clock_offset_s));
        let looked_up = sky.emitter_named(&peak.emitter).and_then(|id| {
            if whole {
                for notice in moment.notices(id) {
                    note(&mut found.notices, notice.to_string(), peak.row);
                }
            }
            let target = moment.apparent(id)?.east_north_up();
            if !whole {
                return Ok((target, Vector3::zeros()));
            }
            let target_rate = match station.emitter(&peak.emitter).map(|e| &e.kind) {
                Some(EmitterKind::Satellite { .. }) => {
                    let at = |step: f64| {
                        let moment = sky.at(moment.time().plus_seconds(step));
                        Ok(moment.apparent(id)?.east_north_up())
                    };
                    (at(RATE_STEP_S)? - at(-RATE_STEP_S)?) / (2.0 * RATE_STEP_S)
                }
                Some(
                    EmitterKind::Beacon { .. }
                    | EmitterKind::Mark { .. }
                    | EmitterKind::Geostationary { .. },
                ) => Vector3::zeros(),
                // The sky turns against the Earth; the Sun's own motion is 0.3 % of that, the
                // Moon's 4 %. A derivative only: a clock offset is found by looking again.
                _ => diurnal_rate(station, &target),
            };
            Ok((target, target_rate))
        });
        match looked_up {
            Ok((target, target_rate)) => found.usable.push(Observation {
                peak: peak.clone(),
                target,
                target_rate,
                clock_offset_s,
            }),
            Err(why) => found.unusable.push(Unusable {
                peak: peak.clone(),
                why: why.to_string(),
            }),
        }
    }
    found
}

/// Change a second of a direction fixed among the stars: -(Earth's rotation) x direction.
fn diurnal_rate(station: &Station, target: &Vector3<f64>) -> Vector3<f64> {
    let (s, c) = station.site.latitude.sin_cos();
    Vector3::new(0.0, c, s).cross(target) * -EARTH_ROTATION
}

/// Each different notice once, with the rows it holds for.
fn note(notices: &mut Vec<SkyNotice>, text: String, row: usize) {
    match notices.iter_mut().find(|known| known.text == text) {
        Some(known) => known.rows.push(row),
        None => notices.push(SkyNotice {
            text,
            rows: vec![row],
        }),
    }
}
