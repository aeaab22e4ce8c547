//! The columns of `peaks.csv`.

use super::axes::Axes;

/// Columns that are written; what stands behind them is only read.
pub(super) const WRITTEN: usize = 14;

// Places in the columns.
pub(super) const TIME: usize = 0;
pub(super) const EMITTER: usize = 1;
/// The reading of the first axis, on the ground.
pub(super) const FIRST: usize = 2;
/// The reading of the second.
pub(super) const SECOND: usize = 3;
pub(super) const FIRST_SIGMA: usize = 4;
pub(super) const SECOND_SIGMA: usize = 5;
pub(super) const FIRST_APPROACH: usize = 6;
pub(super) const SECOND_APPROACH: usize = 7;
pub(super) const PEAK_DB: usize = 8;
pub(super) const TEMPERATURE: usize = 9;
pub(super) const USE: usize = 10;
pub(super) const NOTE: usize = 11;
pub(super) const FIRST_BY_LAG: usize = 12;
pub(super) const SECOND_BY_LAG: usize = 13;
/// The first reading in hours in place of degrees; polar mounts only.
pub(super) const FIRST_IN_HOURS: usize = 14;

const AZIMUTH_ELEVATION: [&str; 14] = [
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
    "azimuth_by_lag_deg",
    "elevation_by_lag_deg",
];
const HOUR_ANGLE_DECLINATION: [&str; 15] = [
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
    "hour_angle_by_lag_deg",
    "declination_by_lag_deg",
    "hour_angle_hours",
];
const XY: [&str; 14] = [
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
    "x_by_lag_deg",
    "y_by_lag_deg",
];

/// The columns for every kind of mount.
pub(super) const ALL_COLUMNS: [&[&str]; 3] = [&AZIMUTH_ELEVATION, &HOUR_ANGLE_DECLINATION, &XY];

/// The columns for a mount with these axes.
pub(super) fn columns_of(axes: Axes) -> &'static [&'static str] {
    match axes {
        Axes::AzimuthElevation => &AZIMUTH_ELEVATION,
        Axes::HourAngleDeclination => &HOUR_ANGLE_DECLINATION,
        Axes::Xy => &XY,
    }
}
