//! Satellites: SGP4 as tracking practice has it.

use nalgebra::Vector3;

use super::earth::turn_with_earth;
use super::timescale::ut1;
use crate::time::Utc;

const METRES_PER_KM: f64 = 1000.0;
const SECONDS_PER_MINUTE: f64 = 60.0;

/// Mean elements of one satellite at one epoch, ready to be propagated.
#[derive(Clone, Debug)]
pub(super) struct Orbit {
    pub epoch: Utc,
    constants: sgp4::Constants,
}

/// The mean elements as element sets give them.
#[derive(Clone, Copy, Debug)]
pub(super) struct MeanElements {
    pub epoch: Utc,
    /// Radians.
    pub inclination: f64,
    /// Radians.
    pub right_ascension: f64,
    pub eccentricity: f64,
    /// Radians.
    pub argument_of_perigee: f64,
    /// Radians.
    pub mean_anomaly: f64,
    /// Kozai's, radians per minute.
    pub mean_motion: f64,
    /// Per Earth radius.
    pub drag_term: f64,
}

impl Orbit {
    /// Prepares the elements, with WGS 72 constants and the IAU sidereal time: with them SGP4
    /// reproduces the published verification vectors (Vallado and others 2006, "Revisiting
    /// Spacetrack Report #3").
    ///
    /// # Errors
    /// In words, when no orbit has such elements.
    pub fn new(elements: &MeanElements) -> Result<Orbit, String> {
        let orbit = sgp4::Orbit::from_kozai_elements(
            &sgp4::WGS72,
            elements.inclination,
            elements.right_ascension,
            elements.eccentricity,
            elements.argument_of_perigee,
            elements.mean_anomaly,
            elements.mean_motion,
        )
        .map_err(|e| e.to_string())?;
        let constants = sgp4::Constants::new(
            sgp4::WGS72,
            sgp4::iau_epoch_to_sidereal_time,
            julian_years_since_j2000(elements.epoch),
            elements.drag_term,
            orbit,
        )
        .map_err(|e| e.to_string())?;
        Ok(Orbit {
            epoch: elements.epoch,
            constants,
        })
    }

    /// Position in the true-equator mean-equinox frame of date, km, so many minutes after the epoch.
    ///
    /// # Errors
    /// In words, when the orbit no longer exists then.
    pub fn position_km(&self, minutes: f64) -> Result<Vector3<f64>, String> {
        let state = self
            .constants
            .propagate(sgp4::MinutesSinceEpoch(minutes))
            .map_err(|e| e.to_string())?;
        let position = Vector3::from(state.position);
        // Not-a-number must fail here too.
        if position.norm() >= sgp4::WGS72.ae {
            Ok(position)
        } else {
            Err("it would be inside the Earth: the orbit has decayed".to_owned())
        }
    }

    /// Earth-fixed position, metres: turned by the sidereal time of 1982 on UT1, without polar
    /// motion.
    ///
    /// # Errors
    /// In words, when the orbit no longer exists then.
    pub fn earth_fixed(&self, time: Utc, ut1_minus_utc_s: f64) -> Result<Vector3<f64>, String> {
        let minutes = time.seconds_since(self.epoch) / SECONDS_PER_MINUTE;
        let position = self.position_km(minutes)? * METRES_PER_KM;
        let ut1 = ut1(time, ut1_minus_utc_s);
        Ok(turn_with_earth(
            sofars::erst::gmst82(ut1.0, ut1.1),
            &position,
        ))
    }
}

fn julian_years_since_j2000(time: Utc) -> f64 {
    // 2000-01-01T12:00 is day 10,957.5 since 1970.
    (time.unix_day() as f64 - 10_957.5 + time.seconds_of_day() / 86_400.0) / 365.25
}
