//! Where emitters are: time scales, frames, refraction.
//!
//! A [`Sky`] is made once from a station and then asked for directions. [`Geometric`] ones are
//! without air; [`Apparent`] ones are where the beam must point. Conventions are those of the
//! design page: light time and aberration are in the directions of the Sun, the Moon and radio
//! sources; satellites are where SGP4 (WGS 72 constants) puts them at the instant itself, turned
//! to the Earth by the sidereal time of 1982 on UT1, without polar motion or light time.
//!
//! The astronomy is that of the SOFA collection of the International Astronomical Union, through
//! its port to Rust; SGP4 likewise comes from a crate.

mod earth;
mod elements;
mod error;
mod notice;
mod refraction;
mod satellite;
mod terrestrial;
mod timescale;

use std::cell::OnceCell;
use std::collections::HashMap;
use std::path::PathBuf;

use nalgebra::Vector3;

use crate::angle::{Angle, Apparent, Direction, Geometric, angle_between};
use crate::problem::{Error, Problem, Problems, nearest_name};
use crate::station::{EmitterKind, Horizon, Station};
use crate::time::Utc;

use earth::{Observer, Place};
use elements::ElementFile;
use satellite::Orbit;
use terrestrial::BeaconDirections;

pub use error::SkyError;
pub use notice::{IONOSPHERE_BELOW_MHZ, Notice, OLD_ORBIT_DAYS};
pub use refraction::Refraction;
pub use timescale::LeapSeconds;

/// The emitters of a station, ready to be asked where they are.
#[derive(Clone, Debug)]
pub struct Sky {
    place: Place,
    ut1_minus_utc_s: f64,
    refraction: Refraction,
    frequency_mhz: f64,
    horizon: Horizon,
    emitters: Vec<Known>,
    by_name: HashMap<String, EmitterId>,
}

/// One emitter of a [`Sky`], found once by [`Sky::emitter`] and then used without further search.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct EmitterId(usize);

#[derive(Clone, Debug)]
struct Known {
    name: String,
    motion: Motion,
}

/// How an emitter moves.
#[derive(Clone, Debug)]
enum Motion {
    Sun,
    Moon,
    /// ICRS unit vector.
    Source(Vector3<f64>),
    /// Element sets, ascending in epoch; never empty.
    Satellite(Vec<Orbit>),
    Beacon(BeaconDirections),
    Mark(Direction<Apparent>),
}

impl Sky {
    /// Prepares all emitters of a station; reads the element files of its satellites, each once.
    ///
    /// # Errors
    /// All faults of all element files: a file that cannot be read, faulty elements, a satellite
    /// that is in none of them.
    pub fn new(station: &Station) -> Result<Sky, Error> {
        let place = Place::of_site(&station.site);
        let refraction = Refraction::new(&station.site.weather);
        let mut files = ElementFiles::default();
        let mut emitters = Vec::with_capacity(station.emitters.len());
        for emitter in &station.emitters {
            let motion = match &emitter.kind {
                EmitterKind::Sun => Motion::Sun,
                EmitterKind::Moon => Motion::Moon,
                EmitterKind::RadioSource {
                    right_ascension,
                    declination,
                } => Motion::Source(celestial_vector(*right_ascension, *declination)),
                EmitterKind::Satellite { elements, norad_id } => {
                    match files.orbits_of(&emitter.name, elements, *norad_id) {
                        Some(orbits) => Motion::Satellite(orbits),
                        None => continue,
                    }
                }
                EmitterKind::Beacon {
                    latitude,
                    longitude,
                    height_m,
                } => {
                    let there = Place::geodetic(longitude.radians(), latitude.radians(), *height_m);
                    Motion::Beacon(terrestrial::beacon(&place, &there, &refraction))
                }
                EmitterKind::Mark { azimuth, elevation } => {
                    Motion::Mark(Direction::new(*azimuth, *elevation))
                }
            };
            emitters.push(Known {
                name: emitter.name.clone(),
                motion,
            });
        }
        let by_name = emitters
            .iter()
            .enumerate()
            .map(|(i, e)| (e.name.clone(), EmitterId(i)))
            .collect();
        files.problems.or_value(Sky {
            place,
            ut1_minus_utc_s: station.site.ut1_minus_utc_s,
            refraction,
            frequency_mhz: station.dish.frequency_mhz,
            horizon: station.horizon.clone(),
            emitters,
            by_name,
        })
    }

    /// The emitter of that name.
    pub fn emitter(&self, name: &str) -> Option<EmitterId> {
        self.by_name.get(name).copied()
    }

    /// The emitter of that name.
    ///
    /// # Errors
    /// When there is none, with the nearest name that there is.
    pub fn emitter_named(&self, name: &str) -> Result<EmitterId, SkyError> {
        self.emitter(name).ok_or_else(|| SkyError::UnknownEmitter {
            name: name.to_owned(),
            nearest: nearest_name(name, self.emitters.iter().map(|e| e.name.as_str()))
                .map(str::to_owned),
        })
    }

    /// All emitters, in the station file's order.
    pub fn emitters(&self) -> impl Iterator<Item = EmitterId> {
        (0..self.emitters.len()).map(EmitterId)
    }

    /// What the station file calls an emitter.
    pub fn name(&self, id: EmitterId) -> &str {
        &self.known(id).name
    }

    fn known(&self, id: EmitterId) -> &Known {
        &self.emitters[id.0]
    }

    /// Where an emitter is without air. The Sun, the Moon and sources cost some 100 microseconds,
    /// satellites some two, the rest nothing; for many emitters at one instant use [`Sky::at`], for
    /// many instants of one emitter [`Sky::track`].
    ///
    /// # Errors
    /// An unknown name, a decayed orbit, or a time outside the ephemerides (1900 to 2100).
    pub fn geometric(&self, emitter: &str, time: Utc) -> Result<Direction<Geometric>, SkyError> {
        self.at(time).geometric(self.emitter_named(emitter)?)
    }

    /// Where the beam must point for an emitter: with refraction; for a beacon with the small
    /// bend of its path in the air; for a mark as given.
    ///
    /// # Errors
    /// As [`Sky::geometric`].
    pub fn apparent(&self, emitter: &str, time: Utc) -> Result<Direction<Apparent>, SkyError> {
        self.at(time).apparent(self.emitter_named(emitter)?)
    }

    /// As [`Sky::geometric`], without the search for the name.
    ///
    /// # Errors
    /// A decayed orbit, or a time outside the ephemerides.
    pub fn geometric_of(&self, id: EmitterId, time: Utc) -> Result<Direction<Geometric>, SkyError> {
        self.at(time).geometric(id)
    }

    /// As [`Sky::apparent`], without the search for the name.
    ///
    /// # Errors
    /// A decayed orbit, or a time outside the ephemerides.
    pub fn apparent_of(&self, id: EmitterId, time: Utc) -> Result<Direction<Apparent>, SkyError> {
        self.at(time).apparent(id)
    }

    /// The bend of the air at the station's weather.
    pub fn refraction(&self) -> &Refraction {
        &self.refraction
    }

    /// The sky at one instant; work that several emitters share is done once, when first needed.
    pub fn at(&self, time: Utc) -> Moment<'_> {
        Moment {
            sky: self,
            time,
            observer: OnceCell::new(),
        }
    }

    /// The angle between an emitter and the Sun, both without air.
    ///
    /// # Errors
    /// As [`Sky::geometric`].
    pub fn sun_distance(&self, emitter: &str, time: Utc) -> Result<Angle, SkyError> {
        self.at(time).sun_distance(self.emitter_named(emitter)?)
    }

    /// How fast the beam must move on the sky, in degrees per minute.
    ///
    /// # Errors
    /// As [`Sky::geometric`].
    pub fn rate(&self, emitter: &str, time: Utc) -> Result<f64, SkyError> {
        self.rate_of(self.emitter_named(emitter)?, time)
    }

    /// As [`Sky::rate`], without the search for the name.
    ///
    /// # Errors
    /// As [`Sky::geometric_of`].
    pub fn rate_of(&self, id: EmitterId, time: Utc) -> Result<f64, SkyError> {
        // Short against the passage of the lowest satellite, long against rounding.
        let half_step_s = match self.known(id).motion {
            Motion::Beacon(_) | Motion::Mark(_) => return Ok(0.0),
            Motion::Satellite(_) => 0.5,
            Motion::Sun | Motion::Moon | Motion::Source(_) => 10.0,
        };
        let before = self.apparent_of(id, time.plus_seconds(-half_step_s))?;
        let after = self.apparent_of(id, time.plus_seconds(half_step_s))?;
        Ok(before.separation(&after).degrees() / (2.0 * half_step_s) * 60.0)
    }
}

/// The sky at one instant.
#[derive(Clone, Debug)]
pub struct Moment<'a> {
    sky: &'a Sky,
    time: Utc,
    observer: OnceCell<Option<Observer>>,
}

impl Moment<'_> {
    /// The instant.
    pub fn time(&self) -> Utc {
        self.time
    }

    /// As [`Sky::geometric_of`].
    ///
    /// # Errors
    /// A decayed orbit, or a time outside the ephemerides.
    pub fn geometric(&self, id: EmitterId) -> Result<Direction<Geometric>, SkyError> {
        Ok(match &self.sky.known(id).motion {
            Motion::Beacon(beacon) => beacon.geometric,
            // No air is reckoned with on the way to a mark.
            Motion::Mark(given) => Direction::new(given.azimuth(), given.elevation()),
            _ => Direction::from_east_north_up(&self.towards(id)?),
        })
    }

    /// As [`Sky::apparent_of`].
    ///
    /// # Errors
    /// A decayed orbit, or a time outside the ephemerides.
    pub fn apparent(&self, id: EmitterId) -> Result<Direction<Apparent>, SkyError> {
        match &self.sky.known(id).motion {
            Motion::Beacon(beacon) => Ok(beacon.apparent),
            Motion::Mark(given) => Ok(*given),
            _ => Ok(self.sky.refraction.refract(&self.geometric(id)?)),
        }
    }

    /// The angle between an emitter and the Sun, both without air.
    ///
    /// # Errors
    /// As [`Moment::geometric`].
    pub fn sun_distance(&self, id: EmitterId) -> Result<Angle, SkyError> {
        let sun = self.observer()?.sun();
        Ok(angle_between(&sun, &self.geometric(id)?.east_north_up()))
    }

    /// Geometric vector (east, north, up) to an emitter: a unit vector for one among the stars,
    /// metres for a satellite.
    fn towards(&self, id: EmitterId) -> Result<Vector3<f64>, SkyError> {
        let known = self.sky.known(id);
        match &known.motion {
            Motion::Sun => Ok(self.observer()?.sun()),
            Motion::Moon => Ok(self.observer()?.moon()),
            Motion::Source(icrs) => Ok(self.observer()?.source(icrs)),
            Motion::Satellite(orbits) => nearest_orbit(orbits, self.time)
                .earth_fixed(self.time, self.sky.ut1_minus_utc_s)
                .map(|there| self.sky.place.towards(&there))
                .map_err(|why| SkyError::NoOrbit {
                    emitter: known.name.clone(),
                    time: self.time,
                    why,
                }),
            Motion::Beacon(beacon) => Ok(beacon.geometric.east_north_up()),
            Motion::Mark(given) => Ok(given.east_north_up()),
        }
    }

    fn observer(&self) -> Result<&Observer, SkyError> {
        self.observer
            .get_or_init(|| Observer::at(&self.sky.place, self.time, self.sky.ut1_minus_utc_s))
            .as_ref()
            .ok_or(SkyError::OutsideEphemeris { time: self.time })
    }
}

/// The element set whose epoch is nearest to `time`.
fn nearest_orbit(orbits: &[Orbit], time: Utc) -> &Orbit {
    let after = orbits.partition_point(|o| o.epoch <= time);
    match (after.checked_sub(1).map(|i| &orbits[i]), orbits.get(after)) {
        (Some(before), Some(next)) => {
            if time.seconds_since(before.epoch) <= next.epoch.seconds_since(time) {
                before
            } else {
                next
            }
        }
        (Some(only), None) => only,
        (None, _) => &orbits[0],
    }
}

fn celestial_vector(right_ascension: Angle, declination: Angle) -> Vector3<f64> {
    let (sa, ca) = right_ascension.sin_cos();
    let (sd, cd) = declination.sin_cos();
    Vector3::new(ca * cd, sa * cd, sd)
}

/// Element files, each read once, with all their faults.
#[derive(Default)]
struct ElementFiles {
    read: HashMap<PathBuf, Option<ElementFile>>,
    problems: Problems,
}

impl ElementFiles {
    /// The element sets of one satellite; none, with the fault noted, when there are none.
    fn orbits_of(&mut self, emitter: &str, path: &PathBuf, norad_id: u64) -> Option<Vec<Orbit>> {
        if !self.read.contains_key(path) {
            let file = match elements::read(path) {
                Ok(file) => Some(file),
                Err(found) => {
                    self.problems.extend(found.as_slice().iter().cloned());
                    None
                }
            };
            self.read.insert(path.clone(), file);
        }
        // A file that could not be read has been complained about already.
        let file = self.read.get(path)?.as_ref()?;
        let orbits = file.orbits.get(&norad_id).cloned();
        if orbits.is_none() {
            self.problems.push(
                Problem::of_file(
                    &file.name,
                    format!("no elements of number {norad_id}, which emitter {emitter:?} needs"),
                    format!("one of {}", listed(file.orbits.keys())),
                )
                .mend("correct norad_id in the station file, or fetch that satellite's elements"),
            );
        }
        orbits
    }
}

/// Some numbers in a row, cut short when there are many.
fn listed<'a>(numbers: impl ExactSizeIterator<Item = &'a u64>) -> String {
    const MOST: usize = 8;
    let more = numbers.len().saturating_sub(MOST);
    let mut text = numbers
        .take(MOST)
        .map(u64::to_string)
        .collect::<Vec<_>>()
        .join(", ");
    if more > 0 {
        text.push_str(&format!(" and {more} more"));
    }
    text
}

impl Sky {
    /// What a user should know about an emitter at a time: see [`Notice`]. Empty when all is
    /// well, or when the emitter has no direction then (the error of [`Sky::apparent`] says why).
    pub fn notices(&self, emitter: &str, time: Utc) -> Vec<Notice> {
        self.emitter(emitter)
            .map_or_else(Vec::new, |id| self.at(time).notices(id))
    }
}

impl Moment<'_> {
    /// As [`Sky::notices`].
    pub fn notices(&self, id: EmitterId) -> Vec<Notice> {
        let (sky, time) = (self.sky, self.time);
        let known = sky.known(id);
        let emitter = || known.name.clone();
        let mut notices = Vec::new();
        let beyond_the_air = !matches!(known.motion, Motion::Beacon(_) | Motion::Mark(_));
        if let Motion::Satellite(orbits) = &known.motion {
            let days = time.seconds_since(nearest_orbit(orbits, time).epoch) / 86_400.0;
            if days.abs() > OLD_ORBIT_DAYS {
                notices.push(Notice::OldOrbit {
                    emitter: emitter(),
                    days,
                });
            }
        }
        if beyond_the_air && LeapSeconds::at(time) != LeapSeconds::Known {
            notices.push(Notice::OutsideLeapSecondTable {
                time,
                knowledge: LeapSeconds::at(time),
                assumed_s: timescale::tai_minus_utc_s(time),
            });
        }
        if let Ok(apparent) = self.apparent(id) {
            let lowest = sky.horizon.lowest(apparent.azimuth());
            if apparent.elevation() < Angle::ZERO && beyond_the_air {
                notices.push(Notice::BelowHorizon {
                    emitter: emitter(),
                    time,
                    elevation_deg: apparent.elevation().degrees(),
                });
            } else if apparent.elevation() < lowest && beyond_the_air {
                notices.push(Notice::BelowMask {
                    emitter: emitter(),
                    time,
                    elevation_deg: apparent.elevation().degrees(),
                    lowest_deg: lowest.degrees(),
                });
            }
        }
        if beyond_the_air && sky.frequency_mhz < IONOSPHERE_BELOW_MHZ {
            notices.push(Notice::IonosphereLeftOut {
                frequency_mhz: sky.frequency_mhz,
            });
        }
        notices
    }
}
