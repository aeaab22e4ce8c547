//! The `[site]` section: location of the dish, and its weather.

use super::keys::{SITE, elsewhere};
use super::section::{Section, Source};
use super::{Site, Weather, air, limits};
use crate::angle::Angle;
use crate::problem::Wrong;

/// A lower fraction of the standard atmosphere's pressure has never been measured (the lowest at
/// sea level are about 14 % below it; from memory).
const IMPOSSIBLE_PRESSURE_RATIO: f64 = 0.82;
/// A pressure above this fraction of it is usually one reduced to sea level.
const REDUCED_PRESSURE_RATIO: f64 = 1.06;

/// Reads the site; `None` if something is wrong with it, which is reported.
pub(super) fn site(source: &mut Source<'_>, section: &Section<'_>) -> Option<Site> {
    source.unknown_keys(section, &SITE, elsewhere);
    let name = source.text(section, "name", "the site's name in quotes");
    let latitude = source.number(section, "latitude_deg", &limits::LATITUDE);
    let longitude = source.number(section, "longitude_deg", &limits::LONGITUDE);
    let height = source.number(section, "height_m", &limits::HEIGHT);
    let mut assumptions = Vec::new();
    let weather = weather(source, section, height, &mut assumptions);
    let ut1 = source.optional_number(section, "ut1_minus_utc_s", &limits::UT1_MINUS_UTC);
    let content = source.optional_number(
        section,
        "total_electron_content_tecu",
        &limits::ELECTRON_CONTENT,
    );
    Some(Site {
        name: name?.to_owned(),
        latitude: Angle::from_degrees(latitude?),
        longitude: Angle::from_degrees(longitude?),
        height_m: height?,
        weather: weather?,
        ut1_minus_utc_s: ut1.unwrap_or(0.0),
        electron_content_tecu: content,
        assumptions,
    })
}

/// Reads the weather; missing values are filled in from the standard atmosphere and reported.
fn weather(
    source: &mut Source<'_>,
    section: &Section<'_>,
    height: Option<f64>,
    assumptions: &mut Vec<String>,
) -> Option<Weather> {
    let pressure = source.optional_number(section, "pressure_hpa", &limits::PRESSURE);
    let temperature = source.optional_number(section, "temperature_c", &limits::TEMPERATURE);
    let humidity = source.optional_number(section, "relative_humidity", &limits::HUMIDITY);
    let height = height?;
    let standard = air::standard_pressure_hpa(height);
    if let (Some(given), Some(item)) = (pressure, section.get("pressure_hpa")) {
        let ratio = given / standard;
        if ratio < IMPOSSIBLE_PRESSURE_RATIO {
            let wrong = Wrong::new(
                format!("pressure_hpa is {given}, lower than ever measured at {height} m"),
                format!("about {standard:.0} hectopascal there"),
            );
            let mercury = given * limits::HPA_PER_MMHG;
            source.wrong_item(
                item,
                if (IMPOSSIBLE_PRESSURE_RATIO..REDUCED_PRESSURE_RATIO)
                    .contains(&(mercury / standard))
                {
                    wrong.mend(format!(
                        "if that is millimetres of mercury, write {mercury:.1}"
                    ))
                } else {
                    wrong.mend("check pressure_hpa and height_m")
                },
            );
        } else if ratio > REDUCED_PRESSURE_RATIO {
            assumptions.push(format!(
                "pressure_hpa {given} is taken as measured at the station, though the standard atmosphere has {standard:.0} hPa at {height} m; if it is reduced to sea level, refraction comes out {:.0} % too large",
                (ratio - 1.0) * 100.0
            ));
        }
    }
    let mut assume = |given: Option<f64>, value: f64, words: String| {
        given.unwrap_or_else(|| {
            assumptions.push(words);
            value
        })
    };
    let standard_c = air::standard_temperature_c(height);
    Some(Weather {
        pressure_hpa: assume(
            pressure,
            standard,
            format!(
                "no pressure_hpa: {standard:.1} hPa assumed, the ICAO standard atmosphere at {height} m"
            ),
        ),
        temperature_c: assume(
            temperature,
            standard_c,
            format!(
                "no temperature_c: {standard_c:.1} degrees Celsius assumed, the ICAO standard atmosphere at {height} m"
            ),
        ),
        relative_humidity: assume(
            humidity,
            air::HUMIDITY,
            format!("no relative_humidity: {} assumed", air::HUMIDITY),
        ),
    })
}
