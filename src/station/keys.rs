//! The keys of a station file, section by section.

/// Keys of `[site]`.
pub(super) const SITE: [&str; 8] = [
    "name",
    "latitude_deg",
    "longitude_deg",
    "height_m",
    "pressure_hpa",
    "temperature_c",
    "relative_humidity",
    "ut1_minus_utc_s",
];
/// Keys of `[mount]`.
pub(super) const MOUNT: [&str; 10] = [
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
];
/// Keys of `[dish]`.
pub(super) const DISH: [&str; 3] = ["diameter_m", "frequency_mhz", "beamwidth_deg"];
/// Keys of `[horizon]`.
pub(super) const HORIZON: [&str; 1] = ["mask"];
/// Kinds of emitter and their keys beside `name` and `kind`.
pub(super) const KINDS: [(&str, &[&str]); 6] = [
    ("sun", &[]),
    ("moon", &[]),
    ("satellite", &["elements", "norad_id"]),
    ("radio-source", &["right_ascension_deg", "declination_deg"]),
    ("beacon", &["latitude_deg", "longitude_deg", "height_m"]),
    ("mark", &["azimuth_deg", "elevation_deg"]),
];

/// The section to which a key belongs.
pub(super) fn home_of(key: &str) -> Option<&'static str> {
    let homes: [(&str, &[&str]); 4] = [
        ("[site]", &SITE),
        ("[mount]", &MOUNT),
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
