//! What a mount's two readings are called in logs.

use crate::quantity::Quantity;
use crate::station::limits::{ENCODER_AZIMUTH, ENCODER_ELEVATION};
use crate::station::{MountKind, Station};

/// What an axis turns about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AxisKind {
    /// Clockwise from north.
    Azimuth,
    /// Up from the horizon.
    Elevation,
    /// Westward from the meridian.
    HourAngle,
    /// Northward from the equator.
    Declination,
    /// Of an x-y mount.
    X,
    /// Of an x-y mount.
    Y,
}

impl AxisKind {
    /// As messages and columns call it.
    pub fn name(self) -> &'static str {
        match self {
            AxisKind::Azimuth => "azimuth",
            AxisKind::Elevation => "elevation",
            AxisKind::HourAngle => "hour_angle",
            AxisKind::Declination => "declination",
            AxisKind::X => "x",
            AxisKind::Y => "y",
        }
    }
    /// What its readings may be.
    pub fn reading(self) -> Quantity {
        match self {
            AxisKind::Azimuth | AxisKind::HourAngle => AZIMUTH_READING,
            AxisKind::Elevation => ELEVATION_READING,
            AxisKind::Declination | AxisKind::X | AxisKind::Y => OTHER_READING,
        }
    }
}

/// An azimuth reading may have any number of turns in it, but not any number of digits.
pub const AZIMUTH_READING: Quantity = ENCODER_AZIMUTH.hint(slipped);
/// An elevation reading; above 90 degrees the dish is over the top.
pub const ELEVATION_READING: Quantity = ENCODER_ELEVATION.hint(slipped);
fn slipped(_: f64) -> Option<String> {
    Some("look for a slipped digit or exchanged columns".to_owned())
}
/// A reading of an axis that makes less than a turn either way.
const OTHER_READING: Quantity =
    Quantity::new(-270.0, 270.0, "degrees from -270 to 270").hint(slipped);

/// The two readings of a mount.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Axes {
    /// Azimuth and elevation, about a vertical or a slanting axis.
    #[default]
    AzimuthElevation,
    /// Hour angle and declination.
    HourAngleDeclination,
    /// X and y.
    Xy,
}

impl Axes {
    /// Of a station's mount.
    pub fn of(station: &Station) -> Axes {
        match station.mount.kind {
            MountKind::AzEl => Axes::AzimuthElevation,
        }
    }
    /// The first and the second axis.
    pub fn kinds(self) -> [AxisKind; 2] {
        match self {
            Axes::AzimuthElevation => [AxisKind::Azimuth, AxisKind::Elevation],
            Axes::HourAngleDeclination => [AxisKind::HourAngle, AxisKind::Declination],
            Axes::Xy => [AxisKind::X, AxisKind::Y],
        }
    }
}
