//! The sky at one instant.

use std::cell::OnceCell;

use nalgebra::Vector3;

use super::earth::Observer;
use super::notice::{IONOSPHERE_BELOW_MHZ, Notice, OLD_ORBIT_DAYS};
use super::satellite::nearest_orbit;
use super::timescale::{LeapSeconds, tai_minus_utc_s};
use super::{EmitterError, EmitterId, Motion, Sky};
use crate::angle::{Angle, Apparent, Direction, Geometric, angle_between};
use crate::station::SPEED_OF_LIGHT;
use crate::time::{DAY_S, Utc};

/// The sky at one instant.
#[derive(Clone, Debug)]
pub struct Moment<'a> {
    sky: &'a Sky,
    time: Utc,
    /// Made when first needed; none when the time is outside the ephemerides.
    observer: OnceCell<Option<Observer>>,
}

impl Sky {
    /// That a transmitter stands in the near field of the dish.
    fn notice_of_near(&self, emitter: &str, distance_m: f64) -> Option<Notice> {
        let wavelength_m = SPEED_OF_LIGHT / (self.frequency_mhz * 1e6);
        let far_m = 2.0 * self.diameter_m.powi(2) / wavelength_m;
        (distance_m < far_m).then(|| Notice::NearField {
            emitter: emitter.to_owned(),
            distance_m,
            far_m,
            // Half the diameter squared over twice the distance.
            late_waves: self.diameter_m.powi(2) / (8.0 * distance_m) / wavelength_m,
        })
    }
}

impl<'a> Moment<'a> {
    pub(super) fn new(sky: &'a Sky, time: Utc) -> Moment<'a> {
        Moment {
            sky,
            time,
            observer: OnceCell::new(),
        }
    }

    pub(super) fn sky(&self) -> &'a Sky {
        self.sky
    }

    /// The instant.
    pub fn time(&self) -> Utc {
        self.time
    }

    /// As [`Sky::geometric_of`].
    ///
    /// # Errors
    /// A decayed orbit, or a time outside the ephemerides.
    pub fn geometric(&self, id: EmitterId) -> Result<Direction<Geometric>, EmitterError> {
        Ok(match &self.sky.known(id).motion {
            Motion::Beacon(beacon) => beacon.geometric,
            // The path to a mark is computed without air.
            Motion::Mark(given) => Direction::geometric(given.azimuth(), given.elevation()),
            _ => Direction::from_east_north_up(&self.towards(id)?),
        })
    }

    /// As [`Sky::apparent_of`].
    ///
    /// # Errors
    /// A decayed orbit, or a time outside the ephemerides.
    pub fn apparent(&self, id: EmitterId) -> Result<Direction<Apparent>, EmitterError> {
        match &self.sky.known(id).motion {
            Motion::Beacon(beacon) => Ok(beacon.apparent),
            Motion::Mark(given) => Ok(*given),
            _ => Ok(self.sky.through_the_air(&self.towards(id)?)),
        }
    }

    /// The angle between an emitter and the Sun, both without air.
    ///
    /// # Errors
    /// As [`Moment::geometric`].
    pub fn sun_distance(&self, id: EmitterId) -> Result<Angle, EmitterError> {
        let sun = self.observer()?.sun();
        Ok(angle_between(&sun, &self.geometric(id)?.east_north_up()))
    }

    /// Geometric vector (east, north, up) to an emitter: a unit vector for one among the stars,
    /// metres for a satellite.
    pub(super) fn towards(&self, id: EmitterId) -> Result<Vector3<f64>, EmitterError> {
        let known = self.sky.known(id);
        match &known.motion {
            Motion::Sun => Ok(self.observer()?.sun()),
            Motion::Moon => Ok(self.observer()?.moon()),
            Motion::Source(icrs) => Ok(self.observer()?.source(icrs)),
            Motion::Satellite(orbits) => nearest_orbit(orbits, self.time)
                .earth_fixed(self.time, self.sky.ut1_minus_utc_s)
                .map(|there| self.sky.place.towards(&there))
                .map_err(|why| EmitterError::NoOrbit {
                    emitter: known.name.clone(),
                    time: self.time,
                    why,
                }),
            Motion::Geostationary(towards) => Ok(*towards),
            Motion::Beacon(beacon) => Ok(beacon.geometric.east_north_up()),
            Motion::Mark(given) => Ok(given.east_north_up()),
        }
    }

    fn observer(&self) -> Result<&Observer, EmitterError> {
        self.observer
            .get_or_init(|| Observer::at(&self.sky.place, self.time, self.sky.ut1_minus_utc_s))
            .as_ref()
            .ok_or(EmitterError::OutsideEphemeris { time: self.time })
    }

    /// As [`Sky::notices`].
    pub fn notices(&self, id: EmitterId) -> Vec<Notice> {
        let mut notices = self.notices_on_data(id);
        notices.extend(self.notice_on_place(id));
        notices
    }

    /// Those of [`Sky::notices`] that do not depend on where the emitter is: on the age of its
    /// orbit, on leap seconds and on the ionosphere. They cost next to nothing.
    pub fn notices_on_data(&self, id: EmitterId) -> Vec<Notice> {
        let (sky, time) = (self.sky, self.time);
        let known = sky.known(id);
        let mut notices = Vec::new();
        if let Motion::Satellite(orbits) = &known.motion {
            let days = time.seconds_since(nearest_orbit(orbits, time).epoch) / DAY_S;
            if days.abs() > OLD_ORBIT_DAYS {
                notices.push(Notice::OldOrbit {
                    emitter: known.name.clone(),
                    days,
                });
            }
        }
        if let Motion::Beacon(beacon) = &known.motion {
            notices.extend(sky.notice_of_near(&known.name, beacon.distance_m));
        }
        if known.motion.is_inside_the_air() {
            return notices;
        }
        if LeapSeconds::at(time) != LeapSeconds::Known {
            notices.push(Notice::OutsideLeapSecondTable {
                time,
                knowledge: LeapSeconds::at(time),
                assumed_s: tai_minus_utc_s(time),
            });
        }
        if sky.frequency_mhz < IONOSPHERE_BELOW_MHZ && sky.ionosphere.is_none() {
            notices.push(Notice::IonosphereLeftOut {
                frequency_mhz: sky.frequency_mhz,
            });
        }
        notices
    }

    /// That the emitter stands below the horizon or its mask. Not said of beacons and marks, which
    /// someone has seen there.
    fn notice_on_place(&self, id: EmitterId) -> Option<Notice> {
        let (sky, time) = (self.sky, self.time);
        let known = sky.known(id);
        if known.motion.is_inside_the_air() {
            return None;
        }
        let apparent = self.apparent(id).ok()?;
        let lowest = sky.horizon.lowest(apparent.azimuth());
        let elevation_deg = apparent.elevation().degrees();
        let emitter = known.name.clone();
        if apparent.elevation() < Angle::ZERO {
            Some(Notice::BelowHorizon {
                emitter,
                time,
                elevation_deg,
            })
        } else if apparent.elevation() < lowest {
            Some(Notice::BelowMask {
                emitter,
                time,
                elevation_deg,
                lowest_deg: lowest.degrees(),
            })
        } else {
            None
        }
    }
}
