//! Columns of a log of samples, for every kind of mount, and their order.

use super::Axes;
use super::axis_reading::Places;
use super::scan::PowerUnit;
use crate::quantity::Quantity;
pub(super) use crate::station::limits::DECIBELS;

/// The columns for a mount with azimuth and elevation.
pub(super) const AZIMUTH_ELEVATION: [&str; 10] = [
    "scan",
    "time_utc",
    "emitter",
    "azimuth_deg",
    "elevation_deg",
    "power_db",
    "power_linear",
    "counts",
    "azimuth_sensor",
    "elevation_sensor",
];
const HOUR_ANGLE_DECLINATION: [&str; 11] = [
    "scan",
    "time_utc",
    "emitter",
    "hour_angle_deg",
    "declination_deg",
    "power_db",
    "power_linear",
    "counts",
    "hour_angle_sensor",
    "declination_sensor",
    "hour_angle_hours",
];
const XY: [&str; 10] = [
    "scan",
    "time_utc",
    "emitter",
    "x_deg",
    "y_deg",
    "power_db",
    "power_linear",
    "counts",
    "x_sensor",
    "y_sensor",
];

/// The columns for every kind of mount.
pub(super) const ALL_COLUMNS: [&[&str]; 3] = [&AZIMUTH_ELEVATION, &HOUR_ANGLE_DECLINATION, &XY];

/// The columns for a mount with these axes.
pub(super) fn columns_of(axes: Axes) -> &'static [&'static str] {
    axes.pick(ALL_COLUMNS)
}

/// Indices into the columns.
pub(super) const SCAN: usize = 0;
pub(super) const TIME: usize = 1;
pub(super) const EMITTER: usize = 2;
pub(super) const FIRST: usize = 3;
pub(super) const SECOND: usize = 4;
/// The columns of power; a file has exactly one of them.
pub(super) const POWERS: [(usize, PowerUnit); 3] = [
    (5, PowerUnit::Decibels),
    (6, PowerUnit::Linear),
    (7, PowerUnit::Counts),
];
/// Columns of the readings of the two axes: degrees, raw sensor reading, hours.
pub(super) const PLACES: [Places; 2] = [
    Places {
        degrees: FIRST,
        sensor: 8,
        hours: Some(10),
    },
    Places {
        degrees: SECOND,
        sensor: 9,
        hours: None,
    },
];

pub(super) const LINEAR: Quantity = Quantity::new(-1e30, 1e30, "a power from -1e30 to 1e30");
