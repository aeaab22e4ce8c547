//! From a log of peaks to observations: the emitter's position at each peak.

use nalgebra::Vector3;

use crate::angle::{Angle, Apparent, Direction};
use crate::logbook::{Peak, PeakLog};
use crate::mount::ApproachSigns;
use crate::sky::{EARTH_ROTATION, Sky};
use crate::station::{EmitterKind, Station};

/// One peak and its emitter's position: all that the mount problem needs.
#[derive(Clone, Debug)]
pub struct Observation {
    /// The peak as logged.
    pub peak: Peak,
    /// Unit vector (east, north, up) of the emitter's apparent direction at the logged time
    /// plus [`Observation::clock_offset_s`].
    pub target: Vector3<f64>,
    /// Its rate of change per second.
    pub target_rate: Vector3<f64>,
    /// Seconds added to the logged time for `target`.
    pub clock_offset_s: f64,
}

/// The readings of one peak and its emitter's position: all that its misfit depends on.
#[derive(Clone, Copy, Debug)]
pub struct Sighting {
    /// Azimuth encoder reading, unwrapped; `None` when not measured.
    pub azimuth: Option<Angle>,
    /// Elevation encoder reading; `None` when not measured.
    pub elevation: Option<Angle>,
    /// From which side each axis arrived.
    pub approach: ApproachSigns,
    /// Unit vector (east, north, up) of the emitter's apparent direction at the logged time
    /// plus [`Sighting::clock_offset_s`].
    pub target: Vector3<f64>,
    /// Its rate of change per second.
    pub target_rate: Vector3<f64>,
    /// Seconds added to the logged time for `target`.
    pub clock_offset_s: f64,
}

impl Sighting {
    /// The emitter's apparent direction.
    pub fn direction(&self) -> Direction<Apparent> {
        Direction::from_east_north_up(&self.target)
    }
    /// The emitter's unit vector when `clock_offset_s` seconds are added to the logged time; a
    /// linear extrapolation, so valid only for offsets close to the one it was computed for.
    pub fn target_at(&self, clock_offset_s: f64) -> Vector3<f64> {
        let ahead = clock_offset_s - self.clock_offset_s;
        if ahead == 0.0 {
            return self.target;
        }
        (self.target + self.target_rate * ahead).normalize()
    }
    /// Number of its measured coordinates.
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
    /// Number of its measured coordinates.
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

/// A peak that cannot be used, and why.
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
    /// Marked `no` in the log, or with an emitter of unknown position.
    pub unusable: Vec<Unusable>,
    /// Doubts about the positions: old orbits, emitters below the horizon, times outside the
    /// tables.
    pub notices: Vec<SkyNotice>,
    /// Names of the logs.
    pub logs: Vec<String>,
}

/// A doubt about positions on the sky, and the rows it applies to.
#[derive(Clone, Debug, PartialEq)]
pub struct SkyNotice {
    /// In words.
    pub text: String,
    /// Rows of the log.
    pub rows: Vec<usize>,
}

/// Half the time step over which a satellite's motion is taken: short compared with the minutes of
/// a pass, long enough to avoid rounding errors.
const RATE_STEP_S: f64 = 0.5;

/// Looks up the emitter position of every peak, `clock_offset_s` seconds after the logged times.
pub fn observe(station: &Station, sky: &Sky, log: &PeakLog, clock_offset_s: f64) -> Observations {
    looked_up(station, sky, log, clock_offset_s, true)
}

/// The same without rates and notices: emitter positions only.
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
                // The sky turns relative to the Earth; the Sun's own motion is 0.3 % of that, the
                // Moon's 4 %. This is only a derivative: for a clock offset the position is looked
                // up again.
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

/// Rate of change per second of a direction fixed among the stars: -(Earth's rotation) x direction.
fn diurnal_rate(station: &Station, target: &Vector3<f64>) -> Vector3<f64> {
    let (s, c) = station.site.latitude.sin_cos();
    Vector3::new(0.0, c, s).cross(target) * -EARTH_ROTATION
}

/// Adds a notice, each different text once, with the rows it applies to.
fn note(notices: &mut Vec<SkyNotice>, text: String, row: usize) {
    match notices.iter_mut().find(|known| known.text == text) {
        Some(known) => known.rows.push(row),
        None => notices.push(SkyNotice {
            text,
            rows: vec![row],
        }),
    }
}
