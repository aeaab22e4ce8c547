//! Weather assumed if the station file gives none.

/// Temperature at sea level, degrees Celsius.
const SEA_LEVEL_C: f64 = 15.0;
/// Pressure at sea level, hectopascal.
const SEA_LEVEL_HPA: f64 = 1013.25;
/// Fall of temperature with height, kelvin per metre.
const LAPSE: f64 = 0.0065;
/// g M / (R x lapse rate).
const EXPONENT: f64 = 5.255_88;
/// Relative humidity if none is given. Common practice, no source.
pub(super) const HUMIDITY: f64 = 0.5;

/// Pressure (hectopascal) of the ICAO standard atmosphere at a height in metres, valid to
/// 11 km (ICAO Doc 7488, Manual of the ICAO Standard Atmosphere; constants from memory).
pub(super) fn standard_pressure_hpa(height_m: f64) -> f64 {
    SEA_LEVEL_HPA * (1.0 - LAPSE * height_m / (SEA_LEVEL_C + 273.15)).powf(EXPONENT)
}

/// Temperature (degrees Celsius) of the same atmosphere at a height in metres.
pub(super) fn standard_temperature_c(height_m: f64) -> f64 {
    SEA_LEVEL_C - LAPSE * height_m
}
