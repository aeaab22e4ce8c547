//! The sky against directions and bendings computed by other code (see
//! tests/data/reference/SOURCE.md), each within the tolerance of its row.

#![allow(clippy::print_stdout)] // the digits of agreement, shown by --nocapture

use std::path::PathBuf;

use plumbeam::angle::{Angle, Direction, Geometric};
use plumbeam::mount::Geometry;
use plumbeam::sky::{Refraction, Sky};
use plumbeam::station::{
    Bearings, Dish, Emitter, EmitterKind, Horizon, Mount, Site, Station, Weather,
};
use plumbeam::time::Utc;

const FOLDER: &str = "tests/data/reference";

fn rows(file: &str) -> Vec<std::collections::HashMap<String, String>> {
    let mut reader = csv::Reader::from_path(format!("{FOLDER}/{file}")).unwrap();
    reader.deserialize().collect::<Result<_, _>>().unwrap()
}

fn station(row: &std::collections::HashMap<String, String>, kind: EmitterKind) -> Station {
    let degrees = |key: &str| Angle::from_degrees(row[key].parse().unwrap());
    Station {
        site: Site {
            name: "reference".to_owned(),
            latitude: degrees("latitude_deg"),
            longitude: degrees("longitude_deg"),
            height_m: row["height_m"].parse().unwrap(),
            weather: Weather {
                pressure_hpa: 1013.25,
                temperature_c: 15.0,
                relative_humidity: 0.5,
            },
            ut1_minus_utc_s: row["ut1_minus_utc_s"].parse().unwrap(),
            electron_content_tecu: None,
            assumptions: Vec::new(),
        },
        mount: Mount {
            geometry: Geometry::AZ_EL,
            azimuth_range: (Angle::from_degrees(-180.0), Angle::from_degrees(540.0)),
            elevation_range: (Angle::ZERO, Angle::RIGHT),
            azimuth_teeth: None,
            elevation_teeth: None,
            bearings: Bearings::default(),
            park: None,
            sensors: [None, None],
            fixed_declination: None,
            axis_offset_m: [0.0; 2],
        },
        dish: Dish {
            diameter_m: 1.2,
            frequency_mhz: 1700.0,
            beamwidth: Angle::from_degrees(10.0),
            beamwidth_assumed: true,
        },
        feeds: Vec::new(),
        horizon: Horizon::default(),
        emitters: vec![Emitter {
            name: "emitter".to_owned(),
            kind,
        }],
    }
}

/// The catalogue number in line 1 behind a title.
fn norad_id(title: &str) -> u64 {
    let text = std::fs::read_to_string(format!("{FOLDER}/satellites.tle")).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    let at = lines.iter().position(|l| l.trim() == title).unwrap();
    lines[at + 1][2..7].trim().parse().unwrap()
}

#[test]
fn geometric_directions() {
    let mut checked = 0;
    let mut worst = std::collections::BTreeMap::<String, f64>::new();
    for row in rows("sky.csv") {
        let number = |key: &str| row[key].parse::<f64>().unwrap();
        let degrees = |key: &str| Angle::from_degrees(number(key));
        let kind = match row["kind"].as_str() {
            "sun" => EmitterKind::Sun,
            "moon" => EmitterKind::Moon,
            "radio-source" => EmitterKind::RadioSource {
                right_ascension: degrees("emitter_ra_or_longitude_deg"),
                declination: degrees("emitter_dec_or_latitude_deg"),
            },
            "beacon" => EmitterKind::Beacon {
                longitude: degrees("emitter_ra_or_longitude_deg"),
                latitude: degrees("emitter_dec_or_latitude_deg"),
                height_m: number("emitter_height_m"),
            },
            "satellite" => EmitterKind::Satellite {
                elements: PathBuf::from(FOLDER).join("satellites.tle"),
                norad_id: norad_id(&row["name"]),
            },
            other => panic!("a kind that this test does not know: {other}"),
        };
        let sky = Sky::new(&station(&row, kind)).unwrap();
        let time = Utc::parse(&row["time_utc"]).unwrap();
        let found = sky.geometric("emitter", time).unwrap();
        let expected: Direction<Geometric> = Direction::geometric(
            degrees("geometric_azimuth_deg"),
            degrees("geometric_elevation_deg"),
        );
        let off = found.separation(&expected).arcseconds();
        assert!(
            off <= number("tolerance_arcsec"),
            "case {} ({}): {off} arcsec off, {found:?} for {expected:?}",
            row["case"],
            row["kind"]
        );
        let worst = worst.entry(row["kind"].clone()).or_default();
        *worst = worst.max(off);
        checked += 1;
    }
    assert_eq!(checked, 396, "rows of sky.csv");
    println!("largest differences in arcsec: {worst:?}");
}

#[test]
fn apparent_elevations() {
    let mut checked = 0;
    let mut worst = [0.0_f64; 2];
    for row in rows("refraction.csv") {
        let number = |key: &str| row[key].parse::<f64>().unwrap();
        let air = Refraction::new(&Weather {
            pressure_hpa: number("pressure_hpa"),
            temperature_c: number("temperature_c"),
            relative_humidity: number("relative_humidity"),
        });
        let geometric = Angle::from_degrees(number("geometric_elevation_deg"));
        let found = air.refract(&Direction::geometric(Angle::ZERO, geometric));
        for (i, key) in [
            "ray_trace_apparent_elevation_deg",
            "erfa_refco_apparent_elevation_deg",
        ]
        .into_iter()
        .enumerate()
        {
            if row[key].is_empty() {
                continue;
            }
            let off = (found.elevation().degrees() - number(key)).abs() * 3600.0;
            let tolerance = number("tolerance_arcsec");
            assert!(
                off <= tolerance,
                "case {} {key}: {off} arcsec off, tolerance {tolerance}",
                row["case"]
            );
            worst[i] = worst[i].max(off / tolerance);
            checked += 1;
        }
    }
    assert_eq!(checked, 140, "values in refraction.csv");
    println!("largest shares of the tolerance (ray trace, refco): {worst:?}");
}
