//! The arc of geostationary satellites over a site.

use nalgebra::Vector3;

use super::earth::EarthPlace;
use super::refraction::Refraction;
use crate::angle::{Angle, Apparent, Direction};
use crate::station::Station;

/// Radius of the geostationary orbit, on which a turn takes a sidereal day, from the Earth's
/// gravitational constant of WGS 72, 398600.8 km^3/s^2, and 86164.1 s (from memory).
pub(super) const GEOSTATIONARY_RADIUS_M: f64 = 42_164_170.0;

/// Vector from a place to a geostationary satellite over that longitude: east, north, up, metres.
pub(super) fn towards(place: &EarthPlace, longitude: Angle) -> Vector3<f64> {
    let (sin, cos) = longitude.sin_cos();
    place.towards(&(Vector3::new(cos, sin, 0.0) * GEOSTATIONARY_RADIUS_M))
}

/// Returns the points of the arc, one for each degree of longitude, that are above the horizon of a
/// station and `lowest`: longitude, and the direction in which the beam must point.
pub fn geostationary_arc(station: &Station, lowest: Angle) -> Vec<(Angle, Direction<Apparent>)> {
    let place = EarthPlace::of_site(&station.site);
    let air = Refraction::new(&station.site.weather);
    (0..360)
        .map(|degree| Angle::from_degrees(f64::from(degree) - 180.0))
        .map(|longitude| {
            let there = Direction::from_east_north_up(&towards(&place, longitude));
            (longitude, air.refract(&there))
        })
        .filter(|(_, there)| {
            let floor = station.horizon.lowest(there.azimuth()).max(lowest);
            there.elevation() > floor
        })
        .collect()
}
