//! The columns of `peaks.csv`.

use super::axes::Axes;
use super::axis_reading::Places;

/// Number of columns that are written; those after them are only read.
pub(super) const WRITTEN: usize = 12;

// Indices into the columns.
pub(super) const TIME: usize = 0;
pub(super) const EMITTER: usize = 1;
/// Reading of the first axis (the one fixed to the ground).
pub(super) const FIRST: usize = 2;
/// Reading of the second axis.
pub(super) const SECOND: usize = 3;
pub(super) const FIRST_SIGMA: usize = 4;
pub(super) const SECOND_SIGMA: usize = 5;
pub(super) const FIRST_APPROACH: usize = 6;
pub(super) const SECOND_APPROACH: usize = 7;
pub(super) const PEAK_DB: usize = 8;
pub(super) const TEMPERATURE: usize = 9;
pub(super) const USE: usize = 10;
pub(super) const NOTE: usize = 11;
/// Raw sensor reading of the first axis, in place of degrees.
pub(super) const FIRST_SENSOR: usize = 12;
/// Raw sensor reading of the second axis.
pub(super) const SECOND_SENSOR: usize = 13;
/// Name of the feed.
pub(super) const FEED: usize = 14;
/// Change of the first reading for one standard deviation of the lag of its log.
pub(super) const FIRST_BY_LAG: usize = 15;
pub(super) const SECOND_BY_LAG: usize = 16;
/// First reading in hours in place of degrees; polar mounts only.
const FIRST_IN_HOURS: usize = 17;

/// Columns of the readings of the two axes.
pub(super) const PLACES: [Places; 2] = [
    Places {
        degrees: FIRST,
        sensor: FIRST_SENSOR,
        hours: Some(FIRST_IN_HOURS),
    },
    Places {
        degrees: SECOND,
        sensor: SECOND_SENSOR,
        hours: None,
    },
];

const AZIMUTH_ELEVATION: [&str; 17] = [
    "time_utc",
    "emitter",
    "azimuth_deg",
    "elevation_deg",
    "azimuth_sigma_deg",
    "elevation_sigma_deg",
    "azimuth_approach",
    "elevation_approach",
    "peak_db",
    "temperature_c",
    "use",
    "note",
    "azimuth_sensor",
    "elevation_sensor",
    "feed",
    "azimuth_by_lag_deg",
    "elevation_by_lag_deg",
];
const HOUR_ANGLE_DECLINATION: [&str; 18] = [
    "time_utc",
    "emitter",
    "hour_angle_deg",
    "declination_deg",
    "hour_angle_sigma_deg",
    "declination_sigma_deg",
    "hour_angle_approach",
    "declination_approach",
    "peak_db",
    "temperature_c",
    "use",
    "note",
    "hour_angle_sensor",
    "declination_sensor",
    "feed",
    "hour_angle_by_lag_deg",
    "declination_by_lag_deg",
    "hour_angle_hours",
];
const XY: [&str; 17] = [
    "time_utc",
    "emitter",
    "x_deg",
    "y_deg",
    "x_sigma_deg",
    "y_sigma_deg",
    "x_approach",
    "y_approach",
    "peak_db",
    "temperature_c",
    "use",
    "note",
    "x_sensor",
    "y_sensor",
    "feed",
    "x_by_lag_deg",
    "y_by_lag_deg",
];

/// The columns for every kind of mount.
pub(super) const ALL_COLUMNS: [&[&str]; 3] = [&AZIMUTH_ELEVATION, &HOUR_ANGLE_DECLINATION, &XY];

/// The columns for a mount with these axes.
pub(super) fn columns_of(axes: Axes) -> &'static [&'static str] {
    axes.pick(ALL_COLUMNS)
}
