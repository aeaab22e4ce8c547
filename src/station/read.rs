//! `station.toml`, read strictly: every fault with its line and column, all in one go.

use std::path::Path;

use toml_edit::{Document, Item};

use super::emitters::read_emitters;
use super::limits;
use super::section::{Section, Source, kind_of, value_item};
use super::{Dish, GearTeeth, Horizon, Mount, MountKind, Site, Station, Weather, air};
use crate::angle::Angle;
use crate::files;
use crate::problem::{Error, Problem, Problems, Wrong, nearest_name};
use crate::quantity::Quantity;
use crate::text::{self, quoted};

const SECTIONS: [&str; 5] = ["site", "mount", "dish", "horizon", "emitter"];
const SITE_KEYS: [&str; 8] = [
    "name",
    "latitude_deg",
    "longitude_deg",
    "height_m",
    "pressure_hpa",
    "temperature_c",
    "relative_humidity",
    "ut1_minus_utc_s",
];
const MOUNT_KEYS: [&str; 9] = [
    "kind",
    "azimuth_range_deg",
    "elevation_range_deg",
    "azimuth_gear_teeth",
    "azimuth_pinion_teeth",
    "elevation_gear_teeth",
    "elevation_pinion_teeth",
    "base_radius_m",
    "base_feet_azimuth_deg",
];
const DISH_KEYS: [&str; 3] = ["diameter_m", "frequency_mhz", "beamwidth_deg"];
const HORIZON_KEYS: [&str; 1] = ["mask"];

/// Speed of light, metres a second (exact, SI Brochure, 9th edition).
const SPEED_OF_LIGHT: f64 = 299_792_458.0;
/// Half-power width in degrees of a beam, times diameter over wavelength: common practice for
/// a round dish lit less at its rim, no source.
const BEAMWIDTH_FACTOR_DEG: f64 = 70.0;
/// A beamwidth so many times off the usual one is told.
const ODD_BEAMWIDTH_RATIO: f64 = 3.0;
/// A pressure so far below the standard atmosphere's has never been measured (the lowest at
/// sea level lie about 14 % below; from memory).
const IMPOSSIBLE_PRESSURE_RATIO: f64 = 0.82;
/// A pressure so far above it is usually one reduced to sea level.
const REDUCED_PRESSURE_RATIO: f64 = 1.06;

impl Station {
    /// Reads a station file.
    ///
    /// # Errors
    /// When it cannot be read, and all that is wrong with it.
    pub fn read(path: &Path) -> Result<Station, Error> {
        let (name, bytes) = files::read_bytes(path)?;
        Station::parse(&name, path.parent().unwrap_or(Path::new("")), &bytes)
    }

    /// Reads a station file from its bytes; messages call it `file`, and the paths in it are
    /// relative to `folder`.
    ///
    /// # Errors
    /// All that is wrong with it.
    pub fn parse(file: &str, folder: &Path, bytes: &[u8]) -> Result<Station, Error> {
        let text = text::decode(file, bytes)?;
        let document = Document::parse(text).map_err(|e| syntax_problem(file, text, &e))?;
        let mut source = Source::new(file, text);
        let root = Section::new("the file", 0, document.as_table());
        unknown_sections(&mut source, &root);
        let site = section(
            &mut source,
            &root,
            "site",
            "[site]",
            "name, latitude_deg, longitude_deg and height_m under it",
        )
        .map(|s| site(&mut source, &s));
        let mount = section(
            &mut source,
            &root,
            "mount",
            "[mount]",
            "kind, azimuth_range_deg and elevation_range_deg under it",
        )
        .map(|s| mount(&mut source, &s));
        let mut assumptions = Vec::new();
        let dish = section(
            &mut source,
            &root,
            "dish",
            "[dish]",
            "diameter_m and frequency_mhz under it",
        )
        .map(|s| dish(&mut source, &s, &mut assumptions));
        let horizon = match root.has("horizon") {
            true => section(&mut source, &root, "horizon", "[horizon]", "")
                .map(|s| horizon(&mut source, &s))
                .unwrap_or_default(),
            false => Horizon::default(),
        };
        let emitters = read_emitters(&mut source, root.get("emitter"), folder, &mut assumptions);
        match (site.flatten(), mount.flatten(), dish.flatten()) {
            (Some(mut site), Some(mount), Some(dish)) if source.problems.is_empty() => {
                site.assumptions.append(&mut assumptions);
                Ok(Station {
                    site,
                    mount,
                    dish,
                    horizon,
                    emitters,
                })
            }
            _ => Err(in_file_order(source.problems)),
        }
    }
}

fn in_file_order(mut found: Vec<Problem>) -> Error {
    found.sort_by_key(|p| (p.line, p.column));
    let mut problems = Problems::new();
    problems.extend(found);
    problems.into()
}

/// The TOML itself is broken: the parser can say where, but nothing about what follows.
fn syntax_problem(file: &str, text: &str, error: &toml_edit::TomlError) -> Error {
    let at = error.span().map_or(0, |s| s.start);
    let (line, column) = text::place(text.as_bytes(), at);
    let (found, expected) = match error.message().split_once(", expected ") {
        Some((found, expected)) => (found, expected),
        None => (error.message(), ""),
    };
    let written = text.lines().nth(line - 1).unwrap_or_default();
    let value = written.split_once('=').map_or("", |(_, v)| v.trim());
    let number = value.split('#').next().unwrap_or_default().trim();
    let numeric = number.starts_with(|c: char| c.is_ascii_digit() || "+-.\u{2212}".contains(c));
    let any_number = Quantity::new(f64::MIN, f64::MAX, "");
    let remedy = any_number.read("", number).map_err(|told| told.remedy);
    let remedy = if let (true, Err(remedy)) = (numeric, remedy) {
        remedy
    } else if found.contains("must be quoted") && !value.contains(['\u{201c}', '\u{201d}']) {
        format!("put text in double quotes: \"{number}\"")
    } else if written.contains(['\u{201c}', '\u{201d}', '\u{201e}']) {
        "use plain double quotes (\") around text".to_owned()
    } else if found.contains("duplicate key") {
        "delete one of the two; the heading of every emitter has double brackets: [[emitter]]"
            .to_owned()
    } else {
        "once this is mended, the rest of the file can be checked".to_owned()
    };
    Wrong::new(format!("this is not TOML: {found}"), expected)
        .mend(remedy)
        .at(file, line, column)
        .into()
}

/// The section of that name, which must be there as a table.
fn section<'a>(
    source: &mut Source<'_>,
    root: &Section<'a>,
    name: &str,
    heading: &str,
    keys: &str,
) -> Option<Section<'a>> {
    let Some(item) = root.get(name) else {
        if !source.was_meant(root, name) {
            let wrong = Wrong::new(format!("the file has no section {heading}"), keys);
            source.problems.push(wrong.of_file(source.file));
        }
        return None;
    };
    let start = item.span().map_or(0, |s| s.start);
    match item.as_table_like() {
        Some(table) => Some(Section::new(heading, start, table)),
        None => {
            let found = format!("{name} is {}", kind_of(item));
            source.wrong_at(start, Wrong::new(found, format!("one section {heading}")));
            None
        }
    }
}

fn unknown_sections(source: &mut Source<'_>, root: &Section<'_>) {
    source.unknown_keys(root, &SECTIONS, elsewhere);
}

/// The section to which a key belongs.
pub(super) fn home_of(key: &str) -> Option<&'static str> {
    let homes: [(&str, &[&str]); 4] = [
        ("[site]", &SITE_KEYS),
        ("[mount]", &MOUNT_KEYS),
        ("[dish]", &DISH_KEYS),
        ("[horizon]", &HORIZON_KEYS),
    ];
    homes
        .into_iter()
        .find(|(_, keys)| keys.contains(&key))
        .map(|(home, _)| home)
}

fn elsewhere(key: &str) -> Option<String> {
    home_of(key).map(str::to_owned)
}

fn site(source: &mut Source<'_>, section: &Section<'_>) -> Option<Site> {
    source.unknown_keys(section, &SITE_KEYS, elsewhere);
    let name = source.text(section, "name", "the site's name in quotes");
    let latitude = source.number(section, "latitude_deg", &limits::LATITUDE);
    let longitude = source.number(section, "longitude_deg", &limits::LONGITUDE);
    let height = source.number(section, "height_m", &limits::HEIGHT);
    let mut assumptions = Vec::new();
    let weather = weather(source, section, height, &mut assumptions);
    let ut1 = source.optional_number(section, "ut1_minus_utc_s", &limits::UT1_MINUS_UTC);
    Some(Site {
        name: name?.to_owned(),
        latitude: Angle::from_degrees(latitude?),
        longitude: Angle::from_degrees(longitude?),
        height_m: height?,
        weather: weather?,
        ut1_minus_utc_s: ut1.unwrap_or(0.0),
        assumptions,
    })
}

/// The weather as given, the rest by the standard atmosphere and said so.
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

fn mount(source: &mut Source<'_>, section: &Section<'_>) -> Option<Mount> {
    source.unknown_keys(section, &MOUNT_KEYS, elsewhere);
    let kind = mount_kind(source, section);
    let azimuth_range = range(
        source,
        section,
        "azimuth_range_deg",
        &limits::ENCODER_AZIMUTH,
        "lowest and highest azimuth reading in degrees, such as [-180.0, 540.0]",
    );
    let elevation_range = range(
        source,
        section,
        "elevation_range_deg",
        &limits::ENCODER_ELEVATION,
        "lowest and highest elevation reading in degrees, such as [0.0, 90.0]",
    );
    let azimuth_teeth = teeth(
        source,
        section,
        "azimuth_gear_teeth",
        "azimuth_pinion_teeth",
    );
    let elevation_teeth = teeth(
        source,
        section,
        "elevation_gear_teeth",
        "elevation_pinion_teeth",
    );
    let base_radius_m = source
        .optional_number(section, "base_radius_m", &limits::BASE_RADIUS)
        .filter(|radius| *radius > 0.0);
    let base_feet_azimuth = feet(source, section);
    Some(Mount {
        kind: kind?,
        azimuth_range: azimuth_range?,
        elevation_range: elevation_range?,
        azimuth_teeth,
        elevation_teeth,
        base_radius_m,
        base_feet_azimuth,
    })
}

fn mount_kind(source: &mut Source<'_>, section: &Section<'_>) -> Option<MountKind> {
    const KINDS: [&str; 3] = ["az-el", "x-y", "polar"];
    let kind = source.text(section, "kind", "\"az-el\"")?;
    let wrong = match kind {
        "az-el" => return Some(MountKind::AzEl),
        "x-y" | "polar" => Wrong::new(
            format!("this version does not know {kind} mounts yet"),
            "\"az-el\"",
        ),
        _ => {
            let near = match kind
                .to_lowercase()
                .replace(['-', '_', '/', ' '], "")
                .as_str()
            {
                "azel" | "altaz" | "azalt" | "elaz" | "elevationoverazimuth" => Some("az-el"),
                _ => nearest_name(kind, KINDS).filter(|near| *near == "az-el"),
            };
            let wrong = Wrong::new(
                format!("no kind of mount is called {}", quoted(kind)),
                "\"az-el\"",
            );
            match near {
                Some(near) => wrong.mend(format!("write kind = \"{near}\"")),
                None => wrong,
            }
        }
    };
    source.wrong_item(section.get("kind")?, wrong);
    None
}

/// A lowest and a highest reading.
fn range(
    source: &mut Source<'_>,
    section: &Section<'_>,
    key: &str,
    degrees: &Quantity,
    expected: &str,
) -> Option<(Angle, Angle)> {
    let item = source.required(section, key, expected)?;
    let [low, high] = source.pair(item, key, expected, [degrees, degrees])?;
    if low < high {
        return Some((Angle::from_degrees(low), Angle::from_degrees(high)));
    }
    let wrong = Wrong::new(
        format!("{key} runs from {low} to {high}"),
        "the lower end first, and a range that is not empty",
    );
    source.wrong_item(
        item,
        if low > high {
            wrong.mend(format!(
                "write [{high:?}, {low:?}]; readings do not jump at 360, so a range across north is written like [-90.0, 270.0]"
            ))
        } else {
            wrong
        },
    );
    None
}

fn teeth(
    source: &mut Source<'_>,
    section: &Section<'_>,
    gear_key: &str,
    pinion_key: &str,
) -> Option<GearTeeth> {
    let mut count = |key| {
        source
            .optional_whole(section, key, &limits::TEETH)
            .filter(|teeth| *teeth > 0)
    };
    let (gear, pinion) = (count(gear_key), count(pinion_key));
    let wrong = match (gear, pinion) {
        (Some(gear), Some(pinion)) if pinion > gear => Wrong::new(
            format!("{pinion_key} is {pinion}, more than {gear_key} with {gear}"),
            "the smaller gear, on the motor's side",
        )
        .mend("exchange the two numbers"),
        (None, Some(pinion)) if !section.has(gear_key) => Wrong::new(
            format!("{pinion_key} is {pinion} but {gear_key} is missing"),
            "both",
        )
        .mend(format!(
            "add {gear_key}, the teeth of the big gear on the axis"
        )),
        _ => return gear.map(|gear| GearTeeth { gear, pinion }),
    };
    source.wrong_item(section.get(pinion_key)?, wrong);
    None
}

fn feet(source: &mut Source<'_>, section: &Section<'_>) -> Vec<Angle> {
    const KEY: &str = "base_feet_azimuth_deg";
    let mut feet: Vec<Angle> = Vec::new();
    let expected = "a list of azimuths in degrees, such as [0.0, 120.0, 240.0]";
    for value in source
        .optional_list(section, KEY, expected)
        .into_iter()
        .flatten()
    {
        let item = value_item(value);
        let Some(degrees) = source.as_number(&item, KEY, &limits::AZIMUTH) else {
            continue;
        };
        let foot = Angle::from_degrees(degrees).wrapped_positive();
        if feet.contains(&foot) {
            let wrong = Wrong::new(
                format!("a foot stands at {degrees} already"),
                "each foot once",
            );
            source.wrong_item(&item, wrong);
        }
        feet.push(foot);
    }
    feet
}

fn dish(
    source: &mut Source<'_>,
    section: &Section<'_>,
    assumptions: &mut Vec<String>,
) -> Option<Dish> {
    source.unknown_keys(section, &DISH_KEYS, elsewhere);
    let diameter = source.number(section, "diameter_m", &limits::DIAMETER);
    let frequency = source.number(section, "frequency_mhz", &limits::FREQUENCY);
    let given = source
        .optional_number(section, "beamwidth_deg", &limits::BEAMWIDTH)
        .filter(|width| *width > 0.0);
    let (diameter_m, frequency_mhz) = (diameter?, frequency?);
    let wavelength_m = SPEED_OF_LIGHT / (frequency_mhz * 1e6);
    let usual = BEAMWIDTH_FACTOR_DEG * wavelength_m / diameter_m;
    if given.is_none() && usual > limits::BEAMWIDTH.high {
        let wrong = Wrong::new(
            format!(
                "a dish of {diameter_m} m at {frequency_mhz} MHz has no beam: it measures {:.1} wavelengths",
                diameter_m / wavelength_m
            ),
            "a dish wider than the wave is long",
        )
        .mend("check diameter_m and frequency_mhz, or give beamwidth_deg");
        source.wrong_at(section.start, wrong);
        return None;
    }
    match given {
        None => assumptions.push(format!(
            "no beamwidth_deg: {usual:.3} degrees assumed, 70 x wavelength / diameter"
        )),
        Some(width) => {
            let ratio = width / usual;
            if !(1.0 / ODD_BEAMWIDTH_RATIO..=ODD_BEAMWIDTH_RATIO).contains(&ratio) {
                assumptions.push(format!(
                    "beamwidth_deg {width} is taken as given, though a dish of {diameter_m} m at {frequency_mhz} MHz usually has about {usual:.3} degrees"
                ));
            }
        }
    }
    Some(Dish {
        diameter_m,
        frequency_mhz,
        beamwidth: Angle::from_degrees(given.unwrap_or(usual)),
        beamwidth_assumed: given.is_none(),
    })
}

fn horizon(source: &mut Source<'_>, section: &Section<'_>) -> Horizon {
    const EXPECTED: &str =
        "pairs of azimuth and lowest usable elevation, such as [[0.0, 5.0], [90.0, 12.0]]";
    source.unknown_keys(section, &HORIZON_KEYS, elsewhere);
    let mut mask: Vec<(Angle, Angle)> = Vec::new();
    for value in source
        .optional_list(section, "mask", EXPECTED)
        .into_iter()
        .flatten()
    {
        let item: Item = value_item(value);
        let pair = source.pair(
            &item,
            "mask",
            EXPECTED,
            [&limits::AZIMUTH, &limits::ELEVATION],
        );
        let Some([azimuth, lowest]) = pair else {
            // A flat list would give the same message for each of its numbers.
            if !item.is_array() {
                break;
            }
            continue;
        };
        let point = (
            Angle::from_degrees(azimuth).wrapped_positive(),
            Angle::from_degrees(lowest),
        );
        match mask.iter().find(|(a, _)| *a == point.0) {
            // 0 and 360 with one elevation close the circle.
            Some(earlier) if *earlier == point => {}
            Some((_, other)) => {
                let wrong = Wrong::new(
                    format!(
                        "azimuth {azimuth} has two lowest elevations, {} and {lowest}",
                        (other.degrees() * 1e6).round() / 1e6
                    ),
                    "one for each azimuth",
                )
                .mend("for a wall write two azimuths close together");
                source.wrong_item(&item, wrong);
            }
            None => mask.push(point),
        }
    }
    mask.sort_by(|a, b| a.0.radians().total_cmp(&b.0.radians()));
    Horizon { mask }
}
