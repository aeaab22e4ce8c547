//! Fixed transmitters: geometry on the ellipsoid, and the bend of the path inside the air.

use nalgebra::Vector3;

use super::air::EARTH_RADIUS_M;
use super::earth::EarthPlace;
use super::refraction::Refraction;
use crate::angle::{Angle, Apparent, Direction, Geometric};
use crate::station::Station;

/// How many Earth radii the effective Earth has, on which rays near the ground run straight: 4/3
/// (common textbook value; Schelling, Burrows and Ferrell, Proceedings of the IRE 21 (1933)
/// 427; ITU-R P.453; both from memory).
const EFFECTIVE_EARTH: f64 = 4.0 / 3.0;

/// Both directions of a beacon.
#[derive(Clone, Copy, Debug)]
pub(super) struct BeaconDirections {
    pub geometric: Direction<Geometric>,
    pub apparent: Direction<Apparent>,
    /// Metres.
    pub distance_m: f64,
}

/// How the beam sits on the mount.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seat {
    /// Where the first axis's outer end points (east, north, up).
    outer: Vector3<f64>,
    /// How far the beam passes to the right of the crossing of the axes and above it, seen along
    /// the beam with that end up; metres.
    beside_m: [f64; 2],
}

impl Seat {
    pub fn of(station: &Station) -> Seat {
        Seat {
            outer: station.mount.geometry.axis_1(),
            beside_m: station.mount.axis_offset_m,
        }
    }

    /// Where a beam beside the crossing must point for what the crossing sees in that direction, so
    /// far away: turned back by the angle under which the offset is seen from there.
    fn parallax(&self, direction: &Direction<Apparent>, distance_m: f64) -> Direction<Apparent> {
        let [right_m, up_m] = self.beside_m;
        let towards = direction.east_north_up();
        let across = towards.cross(&self.outer);
        // Along the axis itself there is no right and left.
        if (right_m == 0.0 && up_m == 0.0) || across.norm() < 1e-9 {
            return *direction;
        }
        let right = across.normalize();
        let up = right.cross(&towards);
        Direction::from_east_north_up(&(towards * distance_m - right * right_m - up * up_m))
    }
}

/// Where the beacon stands as seen from `site`.
///
/// On the effective Earth a level ray's curvature is (1 - 1/k)/r, which raises a transmitter at
/// distance d by half of d (1 - 1/k)/r; a ray that climbs crosses the layers at a slant and bends
/// by the cosine of its elevation less. It never bends more than a ray through the whole air.
pub(super) fn beacon(
    site: &EarthPlace,
    beacon: &EarthPlace,
    air: &Refraction,
    seat: &Seat,
) -> BeaconDirections {
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
        apparent: seat.parallax(&apparent, path.norm()),
        distance_m: path.norm(),
    }
}
