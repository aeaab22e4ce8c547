//! The full model: from a demand to the readings to command, without a table.

use crate::angle::{Angle, Apparent, Direction, EncoderReading};
use crate::mount::{ApproachSigns, Keyhole, MountModel, Term, Wrap};

use super::coordinates::Coordinates;
use super::demand::Air;
use super::demand::Demand;

/// What is ADDED to a demanded direction to get the encoder reading to command.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correction {
    /// Added to the azimuth.
    pub azimuth: Angle,
    /// Added to the elevation.
    pub elevation: Angle,
}

/// Lowest and highest reading of each encoder.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EncoderRange {
    /// Of the azimuth encoder.
    pub azimuth: (Angle, Angle),
    /// Of the elevation encoder.
    pub elevation: (Angle, Angle),
}

impl EncoderRange {
    /// As the mount's inverse wants it.
    pub fn wrap(&self, present: Option<EncoderReading>) -> Wrap {
        Wrap {
            azimuth_range: self.azimuth,
            elevation_range: self.elevation,
            present,
        }
    }

    /// Its middle.
    pub fn middle(&self) -> EncoderReading {
        EncoderReading {
            azimuth: (self.azimuth.0 + self.azimuth.1) / 2.0,
            elevation: (self.elevation.0 + self.elevation.1) / 2.0,
        }
    }

    /// How far beyond its ends a reading still counts as within: less than any encoder counts.
    const SLACK: Angle = Angle::from_degrees(1e-7);

    /// Whether a reading lies within it, to a ten-millionth of a degree.
    #[inline]
    pub fn holds(&self, reading: EncoderReading) -> bool {
        let within = |v: Angle, (low, high): (Angle, Angle)| {
            v >= low - Self::SLACK && v <= high + Self::SLACK
        };
        within(reading.azimuth, self.azimuth) && within(reading.elevation, self.elevation)
    }

    /// Of a reading and those whole turns of the azimuth from it the one within the range that is
    /// nearest to an azimuth, of two equally near the smaller; none when no turn is within it.
    #[inline]
    pub fn nearest_turn(&self, reading: EncoderReading, to: Angle) -> Option<EncoderReading> {
        // As it is nearly always: no other turn can be as near.
        if (reading.azimuth - to).abs() < Angle::HALF_TURN && self.holds(reading) {
            return Some(reading);
        }
        let (low, high) = (self.azimuth.0 - Self::SLACK, self.azimuth.1 + Self::SLACK);
        let first = -(reading.azimuth - low).whole_turns();
        let last = (high - reading.azimuth).whole_turns();
        // Beyond an end of the range the nearest is the one nearest to that end.
        let to = to.max(low).min(high);
        let nearest = -(reading.azimuth - to + Angle::HALF_TURN).whole_turns();
        let turn = nearest.max(first).min(last);
        let turned = EncoderReading {
            azimuth: reading.azimuth + Angle::TURN * turn as f64,
            ..reading
        };
        self.holds(turned).then_some(turned)
    }
}

/// The mount, the air and the encoders' ranges.
#[derive(Clone, Debug)]
pub struct FullModel {
    /// The mount.
    pub mount: MountModel,
    /// What lies between a demand and the apparent direction.
    pub air: Air,
    /// What the encoders can read.
    pub range: EncoderRange,
}

impl FullModel {
    /// The mount's own coordinates, in which the grid of a table stands. The two angles that a
    /// correction is asked for are these.
    pub fn coordinates(&self) -> Coordinates {
        Coordinates::of(*self.mount.geometry())
    }

    /// Where the beam must point for a demand in the mount's own coordinates.
    fn apparent(&self, first: Angle, second: Angle) -> Direction<Apparent> {
        let demand = self.coordinates().demand(first, second);
        self.air.apparent(demand.azimuth, demand.elevation)
    }

    /// The demand, in the mount's own coordinates, whose apparent direction this is.
    pub(super) fn own_demand_of(&self, direction: &Direction<Apparent>) -> (Angle, Angle) {
        let (azimuth, elevation) = self.air.demand_of(direction);
        self.coordinates().of_demand(Demand { azimuth, elevation })
    }

    /// Whether a whole turn of demanded azimuth comes back to the same correction: so unless the
    /// azimuth encoder has a scale error.
    pub fn repeats_every_turn(&self) -> bool {
        self.mount.terms().inside(Term::AzimuthScale) == 0.0
    }

    /// About where the encoders would read for a demand: zeros and scales undone, everything else
    /// left out. It fixes the whole turns of the correction.
    fn rough_reading(&self, azimuth: Angle, elevation: Angle) -> EncoderReading {
        let terms = self.mount.terms();
        let zero = terms.angle(Term::AzimuthZero).wrapped_signed();
        let elevation_of = |elevation: Angle| {
            (elevation - terms.angle(Term::ElevationZero))
                / (1.0 + terms.inside(Term::ElevationScale))
        };
        // One whole turn for all elevations: that which suits the middle of the sky.
        let half_up = elevation_of(Angle::from_degrees(45.0));
        let turns = half_up.nearest_turn_to(self.range.middle().elevation) - half_up;
        EncoderReading {
            azimuth: (azimuth - zero) / (1.0 + terms.inside(Term::AzimuthScale)),
            elevation: elevation_of(elevation) + turns,
        }
    }

    /// The demanded azimuth, unwrapped, that roughly belongs to an azimuth reading.
    pub fn rough_demand_azimuth(&self, reading: Angle) -> Angle {
        let terms = self.mount.terms();
        reading * (1.0 + terms.inside(Term::AzimuthScale))
            + terms.angle(Term::AzimuthZero).wrapped_signed()
    }

    /// The reading for a demand, dish below the zenith, approach not known. The azimuth is
    /// unwrapped: demands a turn apart give readings about a turn apart.
    ///
    /// # Errors
    /// [`Keyhole`] when no reading puts the beam there.
    pub fn reading(&self, azimuth: Angle, elevation: Angle) -> Result<EncoderReading, Keyhole> {
        self.mount.direct_reading_near(
            &self.apparent(azimuth, elevation),
            ApproachSigns::UNKNOWN,
            self.rough_reading(azimuth, elevation),
        )
    }

    /// The correction at a demand, for [`FullModel::reading`].
    ///
    /// # Errors
    /// [`Keyhole`] when no reading puts the beam there.
    pub fn correction(&self, azimuth: Angle, elevation: Angle) -> Result<Correction, Keyhole> {
        let reading = self.reading(azimuth, elevation)?;
        Ok(Correction {
            azimuth: reading.azimuth - azimuth,
            elevation: reading.elevation - elevation,
        })
    }

    /// How far on the sky the beam misses a demand with this correction.
    pub fn miss(&self, azimuth: Angle, elevation: Angle, correction: Correction) -> Angle {
        let reading = EncoderReading {
            azimuth: azimuth + correction.azimuth,
            elevation: elevation + correction.elevation,
        };
        let beam = self.mount.beam_vector(reading, ApproachSigns::UNKNOWN);
        let target = self.apparent(azimuth, elevation).east_north_up();
        crate::angle::angle_between(&beam, &target)
    }

    /// Where the outer end of the first axis points.
    pub fn axis(&self) -> Direction<Apparent> {
        if !self.mount.kind().is_az_el() {
            return Direction::from_east_north_up(&self.mount.axis_1());
        }
        let north = self.mount.terms().angle(Term::TiltNorth);
        let east = self.mount.terms().angle(Term::TiltEast);
        let lean = Angle::from_radians(north.radians().hypot(east.radians()));
        Direction::apparent(
            Angle::from_radians(east.radians().atan2(north.radians())).wrapped_positive(),
            Angle::RIGHT - lean,
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reading_is_turned_into_the_range_toward_where_the_mount_stands() {
        let d = Angle::from_degrees;
        let range = EncoderRange {
            azimuth: (d(-180.0), d(540.0)),
            elevation: (d(0.0), d(90.0)),
        };
        let turned = |azimuth: f64, to: f64| {
            let reading = EncoderReading::from_degrees(azimuth, 45.0);
            let turned = range.nearest_turn(reading, d(to))?;
            Some(turned.azimuth.degrees().round())
        };
        assert_eq!(turned(10.0, 20.0), Some(10.0));
        assert_eq!(turned(10.0, 200.0), Some(370.0));
        // Of two equally near the smaller.
        assert_eq!(turned(0.0, 180.0), Some(0.0));
        assert_eq!(turned(360.0, 180.0), Some(0.0));
        // The nearest of all would lie outside; both ends belong to the range.
        assert_eq!(turned(190.0, 530.0), Some(190.0));
        assert_eq!(turned(180.0, 1000.0), Some(540.0));
        assert_eq!(turned(180.0, -1e300), Some(-180.0));
        let narrow = EncoderRange {
            azimuth: (d(100.0), d(200.0)),
            ..range
        };
        let beside = EncoderReading::from_degrees(210.0, 45.0);
        assert_eq!(narrow.nearest_turn(beside, d(150.0)), None);
        let too_high = EncoderReading::from_degrees(150.0, 91.0);
        assert_eq!(narrow.nearest_turn(too_high, d(150.0)), None);
    }
}
