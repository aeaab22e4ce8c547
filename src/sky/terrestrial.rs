//! Fixed transmitters: geometry on the ellipsoid, and the bend of the path inside the air.

use super::earth::Place;
use super::refraction::Refraction;
use crate::angle::{Angle, Apparent, Direction, Geometric};

/// How many Earth radii the effective Earth has, on which rays near the ground run straight: 4/3
/// (common textbook value; Schelling, Burrows and Ferrell, Proceedings of the IRE 21 (1933)
/// 427; ITU-R P.453; both from memory).
const EFFECTIVE_EARTH: f64 = 4.0 / 3.0;
/// Mean radius of the Earth, metres (IUGG, from memory).
const EARTH_RADIUS_M: f64 = 6_371_000.0;

/// Both directions of a beacon.
#[derive(Clone, Copy, Debug)]
pub(super) struct BeaconDirections {
    pub geometric: Direction<Geometric>,
    pub apparent: Direction<Apparent>,
}

/// Where the beacon stands as seen from `site`.
///
/// On the effective Earth a level ray's curvature is (1 - 1/k)/r, which raises a transmitter at
/// distance d by half of d (1 - 1/k)/r; a ray that climbs crosses the layers at a slant and bends
/// by the cosine of its elevation less. It never bends more than a ray through the whole air.
pub(super) fn beacon(site: &Place, beacon: &Place, air: &Refraction) -> BeaconDirections {
    let path = site.towards(&beacon.position);
    let geometric = Direction::<Geometric>::from_east_north_up(&path);
    let curvature = (1.0 - 1.0 / EFFECTIVE_EARTH) / EARTH_RADIUS_M;
    let bend = 0.5 * path.norm() * curvature * geometric.elevation().cos();
    let whole_air = air.refract(&geometric).elevation() - geometric.elevation();
    let apparent = Direction::apparent(
        geometric.azimuth(),
        geometric.elevation() + Angle::from_radians(bend).min(whole_air),
    );
    BeaconDirections {
        geometric,
        apparent,
    }
}
