//! The keys of a station file, section by section.

/// Keys of `[site]`.
pub(super) const SITE: [&str; 9] = [
    "name",
    "latitude_deg",
    "longitude_deg",
    "height_m",
    "pressure_hpa",
    "temperature_c",
    "relative_humidity",
    "ut1_minus_utc_s",
    "total_electron_content_tecu",
];
/// Keys of `[mount]` of an az-el mount.
pub(super) const AZ_EL: [&str; 11] = [
    "kind",
    "azimuth_range_deg",
    "elevation_range_deg",
    "azimuth_gear_teeth",
    "azimuth_pinion_teeth",
    "elevation_gear_teeth",
    "elevation_pinion_teeth",
    "base_radius_m",
    "base_feet_azimuth_deg",
    "park",
    "axis_offset_m",
];
/// Keys of `[mount]` of a mount on a deliberately tilted base.
pub(super) const SLANT: [&str; 13] = [
    "kind",
    "axis_tilt_deg",
    "axis_tilt_azimuth_deg",
    "azimuth_range_deg",
    "elevation_range_deg",
    "azimuth_gear_teeth",
    "azimuth_pinion_teeth",
    "elevation_gear_teeth",
    "elevation_pinion_teeth",
    "base_radius_m",
    "base_feet_azimuth_deg",
    "park",
    "axis_offset_m",
];
/// Keys of `[mount]` of a polar mount.
pub(super) const POLAR: [&str; 12] = [
    "kind",
    "hour_angle_range_deg",
    "declination_range_deg",
    "declination_offset_deg",
    "hour_angle_gear_teeth",
    "hour_angle_pinion_teeth",
    "declination_gear_teeth",
    "declination_pinion_teeth",
    "polar_bolt_pitch_mm",
    "polar_bolt_distance_mm",
    "park",
    "axis_offset_m",
];
/// Keys of `[mount]` of an x-y mount.
pub(super) const XY: [&str; 11] = [
    "kind",
    "lower_axis",
    "x_range_deg",
    "y_range_deg",
    "x_gear_teeth",
    "x_pinion_teeth",
    "y_gear_teeth",
    "y_pinion_teeth",
    "lower_bearing_distance_m",
    "park",
    "axis_offset_m",
];
/// Kinds of mount and their keys.
pub(super) const MOUNTS: [(&str, &[&str]); 4] = [
    ("az-el", &AZ_EL),
    ("polar", &POLAR),
    ("x-y", &XY),
    ("slant", &SLANT),
];
/// Keys of `[mount.axis_1.sensor]` and `[mount.axis_2.sensor]`.
pub(super) const SENSOR: [&str; 4] = ["counts_per_degree", "count_at_zero", "knots", "unit"];
/// Keys of `[dish]`.
pub(super) const DISH: [&str; 3] = ["diameter_m", "frequency_mhz", "beamwidth_deg"];
/// Keys of `[[feed]]`.
pub(super) const FEED: [&str; 2] = ["name", "frequency_mhz"];
/// Keys of `[horizon]`.
pub(super) const HORIZON: [&str; 1] = ["mask"];
/// Kinds of emitter and their keys in addition to `name` and `kind`.
pub(super) const KINDS: [(&str, &[&str]); 7] = [
    ("sun", &[]),
    ("moon", &[]),
    ("satellite", &["elements", "norad_id"]),
    ("radio-source", &["right_ascension_deg", "declination_deg"]),
    ("beacon", &["latitude_deg", "longitude_deg", "height_m"]),
    ("geostationary", &["longitude_deg"]),
    ("mark", &["azimuth_deg", "elevation_deg"]),
];

/// Section to which a key belongs.
pub(super) fn home_of(key: &str) -> Option<&'static str> {
    let homes: [(&str, &[&str]); 7] = [
        ("[site]", &SITE),
        ("[mount]", &AZ_EL),
        ("[mount]", &SLANT),
        ("[mount]", &POLAR),
        ("[mount]", &XY),
        ("[dish]", &DISH),
        ("[horizon]", &HORIZON),
    ];
    homes
        .into_iter()
        .find(|(_, keys)| keys.contains(&key))
        .map(|(home, _)| home)
}

/// The same in words.
pub(super) fn elsewhere(key: &str) -> Option<String> {
    home_of(key).map(str::to_owned)
}
