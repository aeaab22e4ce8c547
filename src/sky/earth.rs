//! The observer on the rotating Earth, and the directions of celestial bodies from there.

use nalgebra::{Matrix3, Vector3};

use super::timescale::{JulianDate, tt, ut1};
use crate::station::{SPEED_OF_LIGHT, Site};
use crate::time::{DAY_S, Utc};

/// Metres in an astronomical unit, exact (IAU 2012 Resolution B2).
const METRES_PER_AU: f64 = 149_597_870_700.0;
/// Days that light takes for one astronomical unit.
const LIGHT_TIME_DAYS_PER_AU: f64 = METRES_PER_AU / SPEED_OF_LIGHT / DAY_S;
/// The Earth's rotation, radians a second of UT1 (Capitaine and others 2000, as
/// in SOFA `pvtob`).
pub const EARTH_ROTATION: f64 = 1.002_737_811_911_354_6 * std::f64::consts::TAU / DAY_S;
/// SOFA's number for the WGS 84 ellipsoid.
const WGS84: i32 = 1;

/// A place on the Earth: its position and its horizon.
#[derive(Clone, Copy, Debug)]
pub(super) struct EarthPlace {
    /// Earth-fixed, metres from the Earth's centre.
    pub position: Vector3<f64>,
    /// Takes Earth-fixed vectors to (east, north, up).
    pub to_horizon: Matrix3<f64>,
}

impl EarthPlace {
    /// From geodetic coordinates (WGS 84): radians, east positive, metres above the ellipsoid.
    pub fn geodetic(longitude: f64, latitude: f64, height_m: f64) -> EarthPlace {
        // The conversion refuses only ellipsoids that it does not know.
        let position = sofars::coords::gd2gc(WGS84, longitude, latitude, height_m)
            .map_or(Vector3::zeros(), Vector3::from);
        let (sl, cl) = longitude.sin_cos();
        let (sp, cp) = latitude.sin_cos();
        EarthPlace {
            position,
            to_horizon: Matrix3::new(
                -sl,
                cl,
                0.0, //
                -sp * cl,
                -sp * sl,
                cp, //
                cp * cl,
                cp * sl,
                sp,
            ),
        }
    }

    /// The site of a station.
    pub fn of_site(site: &Site) -> EarthPlace {
        EarthPlace::geodetic(
            site.longitude.radians(),
            site.latitude.radians(),
            site.height_m,
        )
    }

    /// The vector from here to an Earth-fixed position in metres, in (east, north, up).
    pub fn towards(&self, position: &Vector3<f64>) -> Vector3<f64> {
        self.to_horizon * (position - self.position)
    }
}

/// Rotates by `angle` about the pole, from axes that do not turn with the Earth to axes that do.
pub(super) fn turn_with_earth(angle: f64, v: &Vector3<f64>) -> Vector3<f64> {
    let (s, c) = angle.sin_cos();
    Vector3::new(c * v.x + s * v.y, c * v.y - s * v.x, v.z)
}

/// Everything about an instant that does not depend on the emitter: where the observer is
/// among the planets, how fast, and how the sky stands to the horizon. Polar motion is left out
/// (0.3 arcsec). Making one costs some 100 microseconds.
#[derive(Clone, Debug)]
pub(super) struct Observer {
    tt: JulianDate,
    /// Takes celestial (GCRS) vectors to (east, north, up).
    to_horizon: Matrix3<f64>,
    /// Barycentric position, au, of the Earth's centre, and its velocity, au per day.
    earth: [Vector3<f64>; 2],
    /// Barycentric position, au, of the Sun's centre, and its velocity, au per day.
    sun: [Vector3<f64>; 2],
    /// Barycentric position of the observer, au.
    position: Vector3<f64>,
    /// Barycentric velocity of the observer in units of that of light.
    velocity: [f64; 3],
}

impl Observer {
    /// The observer at `place` at `time`, with UT1 minus UTC in seconds; `None` outside the
    /// years 1900 to 2100, where the ephemeris of the Earth holds.
    pub fn at(place: &EarthPlace, time: Utc, ut1_minus_utc_s: f64) -> Option<Observer> {
        let year = time.calendar().0;
        if !(1900..2100).contains(&year) {
            return None;
        }
        let tt = tt(time);
        let (heliocentric, barycentric) = sofars::eph::epv00(tt.0, tt.1)?;
        let earth = barycentric.map(Vector3::from);
        let sun = [
            earth[0] - Vector3::from(heliocentric[0]),
            earth[1] - Vector3::from(heliocentric[1]),
        ];
        let celestial_to_intermediate = from_rows(&sofars::pnp::c2i06a(tt.0, tt.1));
        let ut1 = ut1(time, ut1_minus_utc_s);
        let turn = rotation_with_earth(sofars::erst::era00(ut1.0, ut1.1));
        let to_earth_fixed = turn * celestial_to_intermediate;
        let to_celestial = to_earth_fixed.transpose();
        let spin = Vector3::new(0.0, 0.0, EARTH_ROTATION).cross(&place.position);
        let velocity = earth[1] * LIGHT_TIME_DAYS_PER_AU + to_celestial * spin / SPEED_OF_LIGHT;
        Some(Observer {
            tt,
            to_horizon: place.to_horizon * to_earth_fixed,
            earth,
            sun,
            position: earth[0] + to_celestial * place.position / METRES_PER_AU,
            velocity: velocity.into(),
        })
    }

    /// The Sun as unit vector (east, north, up).
    pub fn sun(&self) -> Vector3<f64> {
        let travel_days = (self.sun[0] - self.position).norm() * LIGHT_TIME_DAYS_PER_AU;
        let then = self.sun[0] - self.sun[1] * travel_days;
        self.as_seen(&(then - self.position))
    }

    /// The Moon as unit vector (east, north, up), by the abridged theory of Meeus (1998), good
    /// to some 10 arcsec.
    pub fn moon(&self) -> Vector3<f64> {
        let moon = sofars::eph::moon98(self.tt.0, self.tt.1).map(Vector3::from);
        let (position, velocity) = (self.earth[0] + moon[0], self.earth[1] + moon[1]);
        let travel_days = (position - self.position).norm() * LIGHT_TIME_DAYS_PER_AU;
        self.as_seen(&(position - velocity * travel_days - self.position))
    }

    /// A source at an infinite distance in the given ICRS direction, as unit vector (east,
    /// north, up). The bending of its light by the Sun's gravity is included.
    pub fn source(&self, icrs: &Vector3<f64>) -> Vector3<f64> {
        let from_sun = self.position - self.sun[0];
        let bent =
            sofars::astro::ldsun((*icrs).into(), from_sun.normalize().into(), from_sun.norm());
        self.as_seen(&Vector3::from(bent))
    }

    /// Aberration (SOFA `ab`), then the turn to the horizon, for the true direction of light.
    fn as_seen(&self, celestial: &Vector3<f64>) -> Vector3<f64> {
        let sun_distance = (self.position - self.sun[0]).norm();
        let speed_squared = Vector3::from(self.velocity).norm_squared();
        let seen = sofars::astro::ab(
            &celestial.normalize().into(),
            &self.velocity,
            sun_distance,
            (1.0 - speed_squared).sqrt(),
        );
        self.to_horizon * Vector3::from(seen)
    }
}

fn from_rows(rows: &[[f64; 3]; 3]) -> Matrix3<f64> {
    Matrix3::from_fn(|i, j| rows[i][j])
}

fn rotation_with_earth(angle: f64) -> Matrix3<f64> {
    let (s, c) = angle.sin_cos();
    Matrix3::new(c, s, 0.0, -s, c, 0.0, 0.0, 0.0, 1.0)
}
