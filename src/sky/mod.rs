//! Where emitters are: time scales, frames, refraction.
//!
//! A [`Sky`] is made once from a station and then gives directions. [`Geometric`] ones are
//! without air; [`Apparent`] ones are where the beam must point (docs/files.md). Light time and
//! aberration are in the directions of the Sun, the Moon and radio sources; satellites are where
//! SGP4 (WGS 72 constants) puts them at the instant itself, turned to the Earth by the sidereal
//! time of 1982 on UT1, without polar motion or light time.
//!
//! The astronomy is that of the SOFA collection of the International Astronomical Union's Standards
//! of Fundamental Astronomy, through its port to Rust; it is used here with calculations of our own
//! and is not endorsed by SOFA. SGP4 likewise comes from a crate.

mod air;
mod arc;
mod earth;
mod elements;
mod error;
mod ionosphere;
mod moment;
mod notice;
mod prepare;
mod refraction;
mod satellite;
mod suppose;
mod terrestrial;
#[cfg(test)]
mod tests;
mod timescale;
mod track;
mod tuned;

use std::collections::HashMap;

use nalgebra::Vector3;

use crate::angle::{Angle, Apparent, Direction, Geometric};
use crate::problem::{Error, nearest_name};
use crate::station::{Horizon, Station};
use crate::time::Utc;

pub(crate) use earth::EARTH_ROTATION;
use earth::EarthPlace;
use ionosphere::Ionosphere;
use satellite::Orbit;
use suppose::Catalogued;
use terrestrial::{BeaconDirections, Seat};

pub use arc::geostationary_arc;
pub use elements::satellites_in;
pub use error::EmitterError;
pub use moment::Moment;
pub use notice::{IONOSPHERE_BELOW_MHZ, Notice, Notices, OLD_ORBIT_DAYS};
pub use refraction::Refraction;
pub use timescale::LeapSeconds;
pub use track::Track;

/// The emitters of a station, ready to be asked where they are.
#[derive(Clone, Debug)]
pub struct Sky {
    place: EarthPlace,
    ut1_minus_utc_s: f64,
    refraction: Refraction,
    /// Where the free electrons are known.
    ionosphere: Option<Ionosphere>,
    diameter_m: f64,
    frequency_mhz: f64,
    horizon: Horizon,
    /// Those of the station file, and behind them the Sun if it is not among them.
    emitters: Vec<KnownEmitter>,
    /// How many of them the station file has.
    listed: usize,
    sun: EmitterId,
    by_name: HashMap<String, EmitterId>,
    catalogue: Vec<Catalogued>,
}

/// One emitter of a [`Sky`], found once by [`Sky::emitter`] and then used without further search.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct EmitterId(usize);

#[derive(Clone, Debug)]
struct KnownEmitter {
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
    /// Over the equator, turning with the Earth: (east, north, up) from here, metres.
    Geostationary(Vector3<f64>),
    Beacon(BeaconDirections),
    Mark(Direction<Apparent>),
}

impl Motion {
    /// Beacons and marks: their light does not pass the whole air.
    fn is_inside_the_air(&self) -> bool {
        matches!(self, Motion::Beacon(_) | Motion::Mark(_))
    }
}

/// The free electrons above a station, when it tells of them.
fn ionosphere_of(station: &Station) -> Option<Ionosphere> {
    let content = station.site.electron_content_tecu?;
    Some(Ionosphere::new(content, station.dish.frequency_mhz))
}

impl Sky {
    /// Where the beam must point for what is that far in that direction (east, north, up; metres,
    /// or a unit vector for what is among the stars) beyond the air.
    fn through_the_air(&self, towards: &Vector3<f64>) -> Direction<Apparent> {
        /// Nearer than any satellite.
        const NO_DISTANCE_M: f64 = 1e4;
        let there = Direction::from_east_north_up(towards);
        let raised = match &self.ionosphere {
            None => there,
            Some(ionosphere) => {
                let distance = towards.norm();
                let among_the_stars = distance < NO_DISTANCE_M;
                let distance = if among_the_stars {
                    f64::INFINITY
                } else {
                    distance
                };
                ionosphere.raised(&there, distance)
            }
        };
        self.refraction.refract(&raised)
    }

    /// Prepares all emitters of a station; reads the element files of its satellites, each once.
    ///
    /// # Errors
    /// All faults of all element files: a file that cannot be read, faulty elements, a satellite
    /// that is in none of them.
    pub fn new(station: &Station) -> Result<Sky, Error> {
        let place = EarthPlace::of_site(&station.site);
        let refraction = Refraction::new(&station.site.weather);
        let (mut emitters, catalogue, problems) =
            prepare::emitters(&station.emitters, &place, &refraction, &Seat::of(station));
        let listed = emitters.len();
        let by_name = emitters
            .iter()
            .enumerate()
            .map(|(i, e)| (e.name.clone(), EmitterId(i)))
            .collect();
        let sun = emitters
            .iter()
            .position(|e| matches!(e.motion, Motion::Sun))
            .unwrap_or_else(|| {
                emitters.push(KnownEmitter {
                    name: "the Sun".to_owned(),
                    motion: Motion::Sun,
                });
                listed
            });
        problems.or_value(Sky {
            place,
            ut1_minus_utc_s: station.site.ut1_minus_utc_s,
            refraction,
            ionosphere: ionosphere_of(station),
            diameter_m: station.dish.diameter_m,
            frequency_mhz: station.dish.frequency_mhz,
            horizon: station.horizon.clone(),
            emitters,
            listed,
            sun: EmitterId(sun),
            by_name,
            catalogue,
        })
    }

    /// The emitter of that name.
    pub fn emitter(&self, name: &str) -> Option<EmitterId> {
        self.by_name.get(name).copied()
    }

    /// The emitter that a person calls so: of exactly that name, else in other capitals (a station
    /// file has no two names that differ in them only).
    ///
    /// # Errors
    /// When there is none, with the names that there are.
    pub fn emitter_named(&self, name: &str) -> Result<EmitterId, EmitterError> {
        let in_other_capitals = || {
            let folded = name.to_lowercase();
            self.emitters()
                .find(|id| self.name(*id).to_lowercase() == folded)
        };
        (self.emitter(name).or_else(in_other_capitals)).ok_or_else(|| {
            EmitterError::UnknownEmitter {
                name: name.to_owned(),
                nearest: nearest_name(name, self.emitters().map(|id| self.name(id)))
                    .map(str::to_owned),
                known: (self.emitters().map(|id| self.name(id).to_owned())).collect(),
            }
        })
    }

    /// All emitters, in the station file's order.
    pub fn emitters(&self) -> impl Iterator<Item = EmitterId> {
        (0..self.listed).map(EmitterId)
    }

    /// The Sun, whether or not the station file lists it.
    pub fn sun(&self) -> EmitterId {
        self.sun
    }

    /// What the station file calls an emitter.
    pub fn name(&self, id: EmitterId) -> &str {
        &self.known(id).name
    }

    fn known(&self, id: EmitterId) -> &KnownEmitter {
        &self.emitters[id.0]
    }

    /// Where an emitter is without air. The Sun, the Moon and sources cost some 100 microseconds,
    /// satellites some two, the rest nothing; for many emitters at one instant use [`Sky::at`], for
    /// many instants of one emitter [`Sky::track`].
    ///
    /// # Errors
    /// An unknown name, a decayed orbit, or a time outside the ephemerides (1900 to 2100).
    pub fn geometric(
        &self,
        emitter: &str,
        time: Utc,
    ) -> Result<Direction<Geometric>, EmitterError> {
        self.at(time).geometric(self.emitter_named(emitter)?)
    }

    /// Where the beam must point for an emitter: with refraction; for a beacon with the small
    /// bend of its path in the air; for a mark as given.
    ///
    /// # Errors
    /// As [`Sky::geometric`].
    pub fn apparent(&self, emitter: &str, time: Utc) -> Result<Direction<Apparent>, EmitterError> {
        self.at(time).apparent(self.emitter_named(emitter)?)
    }

    /// As [`Sky::geometric`], without the search for the name.
    ///
    /// # Errors
    /// A decayed orbit, or a time outside the ephemerides.
    pub fn geometric_of(
        &self,
        id: EmitterId,
        time: Utc,
    ) -> Result<Direction<Geometric>, EmitterError> {
        self.at(time).geometric(id)
    }

    /// As [`Sky::apparent`], without the search for the name.
    ///
    /// # Errors
    /// A decayed orbit, or a time outside the ephemerides.
    pub fn apparent_of(
        &self,
        id: EmitterId,
        time: Utc,
    ) -> Result<Direction<Apparent>, EmitterError> {
        self.at(time).apparent(id)
    }

    /// The bend of the air at the station's weather.
    pub fn refraction(&self) -> &Refraction {
        &self.refraction
    }

    /// The sky at one instant; work that several emitters share is done once, when first needed.
    pub fn at(&self, time: Utc) -> Moment<'_> {
        Moment::new(self, time)
    }

    /// The angle between an emitter and the Sun, both without air.
    ///
    /// # Errors
    /// As [`Sky::geometric`].
    pub fn sun_distance(&self, emitter: &str, time: Utc) -> Result<Angle, EmitterError> {
        self.at(time).sun_distance(self.emitter_named(emitter)?)
    }

    /// How fast the beam must move on the sky, in degrees per minute.
    ///
    /// # Errors
    /// As [`Sky::geometric`].
    pub fn rate(&self, emitter: &str, time: Utc) -> Result<f64, EmitterError> {
        self.rate_of(self.emitter_named(emitter)?, time)
    }

    /// As [`Sky::rate`], without the search for the name.
    ///
    /// # Errors
    /// As [`Sky::geometric_of`].
    pub fn rate_of(&self, id: EmitterId, time: Utc) -> Result<f64, EmitterError> {
        self.rate_by(id, time, |time| self.apparent_of(id, time))
    }

    fn rate_by(
        &self,
        id: EmitterId,
        time: Utc,
        apparent: impl Fn(Utc) -> Result<Direction<Apparent>, EmitterError>,
    ) -> Result<f64, EmitterError> {
        // Short against the passage of the lowest satellite, long against rounding.
        let half_step_s = match self.known(id).motion {
            Motion::Beacon(_) | Motion::Mark(_) | Motion::Geostationary(_) => return Ok(0.0),
            Motion::Satellite(_) => 0.5,
            Motion::Sun | Motion::Moon | Motion::Source(_) => 10.0,
        };
        let before = apparent(time.plus_seconds(-half_step_s))?;
        let after = apparent(time.plus_seconds(half_step_s))?;
        Ok(before.separation(&after).degrees() / (2.0 * half_step_s) * 60.0)
    }

    /// Directions of one emitter at any number of times from `from` to `to`, fast: see [`Track`].
    ///
    /// # Errors
    /// An unknown name.
    pub fn track(&self, emitter: &str, from: Utc, to: Utc) -> Result<Track<'_>, EmitterError> {
        Ok(self.track_of(self.emitter_named(emitter)?, from, to))
    }

    /// As [`Sky::track`], without the search for the name.
    pub fn track_of(&self, id: EmitterId, from: Utc, to: Utc) -> Track<'_> {
        Track::new(self, id, from, to)
    }

    /// What a user should know about an emitter at a time: see [`Notice`]. Empty when all is
    /// well, or when the emitter has no direction then (the error of [`Sky::apparent`] says why).
    pub fn notices(&self, emitter: &str, time: Utc) -> Vec<Notice> {
        self.emitter(emitter)
            .map_or_else(Vec::new, |id| self.at(time).notices(id))
    }
}
