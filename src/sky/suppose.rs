//! What the sky would be if something were otherwise: the same emitters from another site, a
//! satellite that runs ahead of its elements, the other satellites of an elements file. For
//! finding out what went wrong with a log.

use nalgebra::Vector3;

use super::arc;
use super::earth::EarthPlace;
use super::refraction::Refraction;
use super::satellite::{Orbit, nearest_orbit};
use super::terrestrial::{self, Seat};
use super::{EmitterError, EmitterId, KnownEmitter, Moment, Motion, Sky};
use crate::angle::{Apparent, Direction};
use crate::station::{EmitterKind, Station};

/// A satellite that the element files hold in addition to the station's emitters.
#[derive(Clone, Debug)]
pub(super) struct Catalogued {
    pub norad_id: u64,
    /// Ascending in epoch; never empty.
    pub orbits: Vec<Orbit>,
}

impl Sky {
    /// The same emitters as seen by `station`, which differs from the one this sky was made for
    /// in its site only. Reads no file.
    pub fn seen_from(&self, station: &Station) -> Sky {
        let place = EarthPlace::of_site(&station.site);
        let refraction = Refraction::new(&station.site.weather);
        let emitters = self.emitters.iter().map(|known| {
            let motion = match station.emitter(&known.name).map(|e| &e.kind) {
                Some(EmitterKind::Beacon {
                    latitude,
                    longitude,
                    height_m,
                }) => {
                    let there =
                        EarthPlace::geodetic(longitude.radians(), latitude.radians(), *height_m);
                    let seat = Seat::of(station);
                    Motion::Beacon(terrestrial::beacon(&place, &there, &refraction, &seat))
                }
                Some(EmitterKind::Geostationary { longitude }) => {
                    Motion::Geostationary(arc::towards(&place, *longitude))
                }
                _ => known.motion.clone(),
            };
            KnownEmitter {
                name: known.name.clone(),
                motion,
            }
        });
        Sky {
            emitters: emitters.collect(),
            place,
            refraction,
            ut1_minus_utc_s: station.site.ut1_minus_utc_s,
            ..self.clone()
        }
    }

    /// Catalogue numbers of the satellites that the element files hold in addition to the station's
    /// own, in the order of [`Moment::catalogued`].
    pub fn catalogue(&self) -> impl ExactSizeIterator<Item = u64> + '_ {
        self.catalogue.iter().map(|c| c.norad_id)
    }
}

impl Moment<'_> {
    /// Where the beam must point for a satellite that is now where its elements put it
    /// `seconds` later on its orbit, in a frame that does not turn with the Earth: so for a
    /// geostationary one, too, seconds move it along the belt. None for what is not a satellite.
    ///
    /// # Errors
    /// A decayed orbit.
    pub fn ahead(
        &self,
        id: EmitterId,
        seconds: f64,
    ) -> Result<Option<Direction<Apparent>>, EmitterError> {
        let known = self.sky().known(id);
        let Motion::Satellite(orbits) = &known.motion else {
            return Ok(None);
        };
        let there = nearest_orbit(orbits, self.time())
            .earth_fixed_ahead(self.time(), self.sky().ut1_minus_utc_s, seconds)
            .map_err(|why| EmitterError::NoOrbit {
                emitter: known.name.clone(),
                time: self.time(),
                why,
            })?;
        Ok(Some(self.refracted(&there)))
    }

    /// Where the beam must point for each satellite of [`Sky::catalogue`]; none for one whose
    /// orbit has decayed.
    pub fn catalogued(&self) -> impl Iterator<Item = Option<Direction<Apparent>>> + '_ {
        let (sky, time) = (self.sky(), self.time());
        sky.catalogue.iter().map(move |c| {
            let orbit = nearest_orbit(&c.orbits, time);
            let there = orbit.earth_fixed(time, sky.ut1_minus_utc_s).ok()?;
            Some(self.refracted(&there))
        })
    }

    /// The apparent direction of an Earth-fixed place, metres, beyond the air.
    fn refracted(&self, there: &Vector3<f64>) -> Direction<Apparent> {
        let towards = self.sky().place.towards(there);
        self.sky().through_the_air(&towards)
    }
}
