//! A mount's own coordinates: what its encoders would read for a direction without any error. Hour
//! angle and declination, x and y; of an az-el mount azimuth and elevation themselves. The grid of
//! a table stands in them.

use crate::angle::{Angle, Apparent, Direction, EncoderReading};
use crate::mount::{ApproachSigns, Geometry, MountModel};

use super::demand::Demand;

/// The own coordinates of a mount that stands so.
#[derive(Clone, Copy, Debug)]
pub struct Coordinates {
    ideal: MountModel,
}

impl Coordinates {
    /// Of a mount that stands so.
    pub fn of(geometry: Geometry) -> Coordinates {
        Coordinates {
            ideal: MountModel::ideal(geometry),
        }
    }

    fn are_the_sky_s(&self) -> bool {
        self.ideal.kind().is_az_el()
    }

    /// The azimuth and elevation that stand at these coordinates.
    pub fn demand(&self, first: Angle, second: Angle) -> Demand {
        if self.are_the_sky_s() {
            return Demand {
                azimuth: first,
                elevation: second,
            };
        }
        let at = EncoderReading {
            azimuth: first,
            elevation: second,
        };
        let there = self.ideal.beam(at, ApproachSigns::UNKNOWN);
        Demand {
            azimuth: there.azimuth(),
            elevation: there.elevation(),
        }
    }

    /// The coordinates of an azimuth and elevation, on the near side of the first axis.
    pub fn of_demand(&self, demand: Demand) -> (Angle, Angle) {
        if self.are_the_sky_s() {
            return (demand.azimuth, demand.elevation);
        }
        let there = Direction::<Apparent>::apparent(demand.azimuth, demand.elevation);
        match self.ideal.readings(&there, ApproachSigns::UNKNOWN) {
            Ok(both) => (both.direct.azimuth, both.direct.elevation),
            // A mount without errors has no keyhole; on the axis itself any first one will do.
            Err(_) => (Angle::ZERO, Angle::RIGHT),
        }
    }
}
