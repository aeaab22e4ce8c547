//! What the numbers in the header of a table may be: a table that came from elsewhere is believed
//! no more than any other file.

use super::header::Header;
use crate::problem::Wrong;
use crate::quantity::Quantity;
use crate::station::limits::{
    AZIMUTH, BEAMWIDTH, CLOCK, ELEVATION, ENCODER_AZIMUTH, ENCODER_ELEVATION, ENCODER_OTHER,
    HUMIDITY, OFFSET, PRESSURE, SHIFT, TEMPERATURE,
};

/// A half width of backlash.
const PLAY: Quantity = Quantity::new(-180.0, 180.0, "degrees from -180 to 180");
/// A step between two nodes.
const STEP: Quantity = Quantity::new(1e-6, 180.0, "degrees above 0, at most 180");

/// What is wrong with the first number that can be none, if there is one.
pub(super) fn fault(header: &Header) -> Option<Wrong> {
    let h = header;
    let second = match h.geometry().kind().has_track() {
        true => ENCODER_ELEVATION,
        false => ENCODER_OTHER,
    };
    let always: [(&str, f64, Quantity); 25] = [
        ("azimuth_first_deg", h.azimuth_first_deg, ENCODER_AZIMUTH),
        ("azimuth_last_deg", h.azimuth_last_deg, ENCODER_AZIMUTH),
        ("azimuth_step_deg", h.azimuth_step_deg, STEP),
        ("elevation_first_deg", h.elevation_first_deg, ELEVATION),
        ("elevation_last_deg", h.elevation_last_deg, ELEVATION),
        ("elevation_step_deg", h.elevation_step_deg, STEP),
        (
            "encoder_azimuth_lowest_deg",
            h.encoder_azimuth_lowest_deg,
            ENCODER_AZIMUTH,
        ),
        (
            "encoder_azimuth_highest_deg",
            h.encoder_azimuth_highest_deg,
            ENCODER_AZIMUTH,
        ),
        (
            "encoder_elevation_lowest_deg",
            h.encoder_elevation_lowest_deg,
            second,
        ),
        (
            "encoder_elevation_highest_deg",
            h.encoder_elevation_highest_deg,
            second,
        ),
        ("largest_error_deg", h.largest_error_deg, OFFSET),
        (
            "largest_error_at_azimuth_deg",
            h.largest_error_at_azimuth_deg,
            ENCODER_AZIMUTH,
        ),
        (
            "largest_error_at_elevation_deg",
            h.largest_error_at_elevation_deg,
            ELEVATION,
        ),
        (
            "largest_azimuth_error_deg",
            h.largest_azimuth_error_deg,
            SHIFT,
        ),
        (
            "largest_elevation_error_deg",
            h.largest_elevation_error_deg,
            SHIFT,
        ),
        ("tolerance_deg", h.tolerance_deg, SHIFT),
        ("keyhole_half_angle_deg", h.keyhole_half_angle_deg, OFFSET),
        (
            "azimuth_axis_points_to_azimuth_deg",
            h.azimuth_axis_points_to_azimuth_deg,
            AZIMUTH,
        ),
        (
            "azimuth_axis_points_to_elevation_deg",
            h.azimuth_axis_points_to_elevation_deg,
            ELEVATION,
        ),
        (
            "azimuth_backlash_half_width_deg",
            h.azimuth_backlash_half_width_deg,
            PLAY,
        ),
        (
            "elevation_backlash_half_width_deg",
            h.elevation_backlash_half_width_deg,
            PLAY,
        ),
        ("clock_offset_s", h.clock_offset_s, CLOCK),
        (
            "calibration_rms_deg",
            h.calibration_rms_deg.unwrap_or(0.0),
            OFFSET,
        ),
        ("beamwidth_deg", h.beamwidth_deg.unwrap_or(1.0), BEAMWIDTH),
        (
            "relative_humidity",
            h.relative_humidity.unwrap_or(0.0),
            HUMIDITY,
        ),
    ];
    let now_and_then = [
        ("pressure_hpa", h.pressure_hpa, PRESSURE),
        ("temperature_c", h.temperature_c, TEMPERATURE),
        (
            "calibration_expected_rms_deg",
            h.calibration_expected_rms_deg,
            OFFSET,
        ),
        (
            "calibration_expected_rms_95_deg",
            h.calibration_expected_rms_95_deg,
            OFFSET,
        ),
        (
            "calibration_expected_largest_deg",
            h.calibration_expected_largest_deg,
            OFFSET,
        ),
        (
            "calibration_expected_largest_at_azimuth_deg",
            h.calibration_expected_largest_at_azimuth_deg,
            AZIMUTH,
        ),
        (
            "calibration_expected_largest_at_elevation_deg",
            h.calibration_expected_largest_at_elevation_deg,
            ELEVATION,
        ),
    ];
    let given = now_and_then
        .into_iter()
        .filter_map(|(key, value, quantity)| Some((key, value?, quantity)));
    let ordered = [
        (
            "encoder_azimuth_highest_deg",
            h.encoder_azimuth_lowest_deg < h.encoder_azimuth_highest_deg,
        ),
        (
            "encoder_elevation_highest_deg",
            h.encoder_elevation_lowest_deg < h.encoder_elevation_highest_deg,
        ),
    ];
    always
        .into_iter()
        .chain(given)
        .find_map(|(key, value, quantity)| quantity.check(key, &value.to_string(), value).err())
        .or_else(|| {
            let (key, _) = ordered.into_iter().find(|(_, sound)| !sound)?;
            Some(Wrong::new(
                format!("{key} is not above the lowest"),
                "a range from a lower reading to a higher one",
            ))
        })
}
