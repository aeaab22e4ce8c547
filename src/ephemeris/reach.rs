//! Whether the mount can put its beam on a direction.

use crate::angle::{Angle, Apparent, Direction, EncoderReading};
use crate::mount::{ApproachSigns, AxisKind, Kind, MountModel, Wrap};
use crate::station::{Horizon, Station};

/// What stands between the mount and a direction.
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
    /// In words, for a kind of mount.
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

/// A mount among its surroundings.
#[derive(Clone, Copy, Debug)]
pub struct Reach<'a> {
    model: MountModel,
    wrap: Wrap,
    horizon: &'a Horizon,
}

impl<'a> Reach<'a> {
    /// The mount of a station with given terms; the default model is a faultless mount.
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

    /// The readings that put the beam on a direction: within the ranges, if any does.
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

    /// What keeps the beam from a direction; none when it can be reached.
    pub fn obstacle(&self, direction: &Direction<Apparent>) -> Option<Obstacle> {
        if direction.elevation() < Angle::ZERO {
            return Some(Obstacle::BelowHorizon);
        }
        if direction.elevation() < self.horizon.lowest(direction.azimuth()) {
            return Some(Obstacle::BelowMask);
        }
        self.obstacle_in_mount(direction)
    }

    /// The same for something known to be in sight, such as a beacon on the horizon: the mount's
    /// own limits only.
    pub fn obstacle_in_mount(&self, direction: &Direction<Apparent>) -> Option<Obstacle> {
        match self.reading_exists(direction, &self.wrap) {
            Err(obstacle) => Some(obstacle),
            Ok(true) => None,
            // Which axis is it? Free the elevation, though not to go over the top, and see.
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
