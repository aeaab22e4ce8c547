//! Names of a mount's two readings in logs.

use serde_json::Value;

use crate::mount::{AxisKind, Kind};
use crate::quantity::Quantity;
use crate::station::Station;
use crate::station::limits::{ENCODER_AZIMUTH, ENCODER_ELEVATION};

/// Permitted readings of an axis.
pub fn reading_of(axis: AxisKind) -> Quantity {
    match axis {
        AxisKind::Azimuth | AxisKind::HourAngle => AZIMUTH_READING,
        AxisKind::Elevation => ELEVATION_READING,
        AxisKind::Declination | AxisKind::X | AxisKind::Y => OTHER_READING,
    }
}

/// An azimuth reading may include several turns, but not an unlimited number of digits.
pub const AZIMUTH_READING: Quantity = ENCODER_AZIMUTH.hint(slipped);
/// An elevation reading; above 90 degrees the dish points past the zenith.
pub const ELEVATION_READING: Quantity = ENCODER_ELEVATION.hint(slipped);
fn slipped(_: f64) -> Option<String> {
    Some("look for a slipped digit or exchanged columns".to_owned())
}
/// A reading of an axis that turns less than a full turn either way.
const OTHER_READING: Quantity =
    Quantity::new(-270.0, 270.0, "degrees from -270 to 270").hint(slipped);

/// Renames the reading keys of a machine-readable result for a kind of mount: [`Kind::key_of`].
pub fn keyed(kind: Kind, value: Value) -> Value {
    match value {
        Value::Object(map) => Value::Object(
            map.into_iter()
                .map(|(key, value)| (kind.key_of(&key), keyed(kind, value)))
                .collect(),
        ),
        Value::Array(list) => Value::Array(list.into_iter().map(|v| keyed(kind, v)).collect()),
        other => other,
    }
}

/// The two readings of a mount.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Axes {
    /// Azimuth and elevation, about a vertical or a tilted axis.
    #[default]
    AzimuthElevation,
    /// Hour angle and declination.
    HourAngleDeclination,
    /// X and y.
    Xy,
}

impl Axes {
    /// Axes of a station's mount.
    pub fn of(station: &Station) -> Axes {
        Axes::of_kind(station.mount.kind())
    }
    /// Axes of a kind of mount.
    pub fn of_kind(kind: Kind) -> Axes {
        match kind {
            Kind::AzEl | Kind::Slant => Axes::AzimuthElevation,
            Kind::Polar(_) => Axes::HourAngleDeclination,
            Kind::XY(_) => Axes::Xy,
        }
    }
    /// Picks the entry for these axes from a list with one entry per variant, in the order above.
    pub(super) fn pick<T: Copy>(self, of_each: [T; 3]) -> T {
        of_each[self as usize]
    }
    /// Kinds of the first and second axis.
    pub fn kinds(self) -> [AxisKind; 2] {
        match self {
            Axes::AzimuthElevation => [AxisKind::Azimuth, AxisKind::Elevation],
            Axes::HourAngleDeclination => [AxisKind::HourAngle, AxisKind::Declination],
            Axes::Xy => [AxisKind::X, AxisKind::Y],
        }
    }
}
