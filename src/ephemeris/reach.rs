//! Whether the mount can point its beam in a direction.

use crate::angle::{Angle, Apparent, Direction, EncoderReading};
use crate::mount::{ApproachSigns, AxisKind, Kind, MountModel, Wrap};
use crate::station::{Horizon, Station};

/// Reason why the mount cannot point in a direction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Obstacle {
    /// It is below the horizontal.
    BelowHorizon,
    /// It is behind the station's horizon mask.
    BelowMask,
    /// It is in the cone about the first axis that the beam cannot enter.
    Keyhole,
    /// It is beyond the ends of the first encoder's range.
    AzimuthRange,
    /// It is beyond the ends of the second encoder's range.
    ElevationRange,
}

impl Obstacle {
    /// Describes the obstacle in words for a kind of mount.
    pub fn words_on(self, mount: Kind) -> String {
        let [one, two] = mount.axes().map(AxisKind::words);
        match self {
            Obstacle::BelowHorizon => "below the horizon".to_owned(),
            Obstacle::BelowMask => "below the mask".to_owned(),
            Obstacle::Keyhole => "in the keyhole".to_owned(),
            Obstacle::AzimuthRange => format!("{one} range"),
            Obstacle::ElevationRange => format!("{two} range"),
        }
    }
}

/// A mount with its ranges and its horizon.
#[derive(Clone, Copy, Debug)]
pub struct Reach<'a> {
    model: MountModel,
    wrap: Wrap,
    horizon: &'a Horizon,
}

impl<'a> Reach<'a> {
    /// The mount of a station with given terms; the default model has no errors.
    pub fn new(station: &'a Station, model: MountModel) -> Reach<'a> {
        Reach {
            model,
            wrap: Wrap {
                azimuth_range: station.mount.azimuth_range,
                elevation_range: station.mount.elevation_range,
                present: None,
            },
            horizon: &station.horizon,
        }
    }

    /// The kind of mount.
    pub fn mount(&self) -> Kind {
        self.model.kind()
    }

    /// Returns the readings that point the beam in a direction, within the ranges if possible.
    pub fn readings(&self, direction: &Direction<Apparent>) -> Option<EncoderReading> {
        let unknown = ApproachSigns::UNKNOWN;
        let within = self
            .model
            .reading_to_command(direction, unknown, &self.wrap);
        within.ok().flatten().or_else(|| {
            let both = self.model.readings(direction, unknown).ok()?;
            Some(both.direct)
        })
    }

    /// Returns the obstacle to a direction; `None` if it can be reached.
    pub fn obstacle(&self, direction: &Direction<Apparent>) -> Option<Obstacle> {
        if direction.elevation() < Angle::ZERO {
            return Some(Obstacle::BelowHorizon);
        }
        if direction.elevation() < self.horizon.lowest(direction.azimuth()) {
            return Some(Obstacle::BelowMask);
        }
        self.obstacle_in_mount(direction)
    }

    /// The same for an emitter known to be in sight, such as a beacon on the horizon: checks only
    /// the mount's own limits.
    pub fn obstacle_in_mount(&self, direction: &Direction<Apparent>) -> Option<Obstacle> {
        match self.reading_exists(direction, &self.wrap) {
            Err(obstacle) => Some(obstacle),
            Ok(true) => None,
            // To find which axis it is, free the elevation, short of going over the top.
            Ok(false) => {
                let free = Wrap {
                    elevation_range: (-Angle::RIGHT, Angle::RIGHT),
                    ..self.wrap
                };
                match self.reading_exists(direction, &free) {
                    Ok(true) => Some(Obstacle::ElevationRange),
                    _ => Some(Obstacle::AzimuthRange),
                }
            }
        }
    }

    fn reading_exists(
        &self,
        direction: &Direction<Apparent>,
        wrap: &Wrap,
    ) -> Result<bool, Obstacle> {
        self.model
            .reading_to_command(direction, ApproachSigns::UNKNOWN, wrap)
            .map(|reading| reading.is_some())
            .map_err(|_| Obstacle::Keyhole)
    }
}
