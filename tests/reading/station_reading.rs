//! What a station file that is not wrong is read as, and what is assumed where it is silent.

use std::path::Path;

use insta::assert_snapshot;
use plumbeam::station::{EmitterKind, Station};

const STATION: &str = include_str!("../data/invented/station.toml");

/// A good file after some edits.
fn edited(edits: &[(&str, &str)]) -> String {
    edits.iter().fold(STATION.to_owned(), |toml, (from, to)| {
        assert!(toml.contains(from), "{from}");
        toml.replacen(from, to, 1)
    })
}

fn read_after(edits: &[(&str, &str)]) -> Station {
    Station::parse("station.toml", Path::new("field"), edited(edits).as_bytes())
        .unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn whole_numbers_will_do_and_zero_means_not_given() {
    let station = read_after(&[
        ("50.5", "50"),
        ("1700.0", "1700"),
        ("5.1", "0.0"),
        ("144", "0"),
        ("= 12\n", "= 0\n"),
        ("0.8", "0.0"),
        ("[0.0, 120.0, 240.0]", "[]"),
    ]);
    assert_eq!(station.site.latitude.degrees(), 50.0);
    assert!(station.dish.beamwidth_assumed);
    assert_eq!(station.mount.azimuth_teeth, None);
    assert_eq!(station.mount.bearings.base_radius_m, None);
    assert!(station.mount.bearings.base_feet_azimuth.is_empty());
}

#[test]
fn the_good_file_is_read_whole() {
    let station = read_after(&[]);
    assert_eq!(station.site.name, "Mill meadow");
    assert_eq!(station.site.ut1_minus_utc_s, 0.05);
    assert_eq!(station.site.weather.relative_humidity, 0.6);
    assert_eq!(station.site.assumptions, Vec::<String>::new());
    assert_eq!(station.mount.azimuth_range.1.degrees(), 540.0);
    let teeth = station.mount.azimuth_teeth.unwrap();
    assert_eq!((teeth.gear, teeth.pinion), (144, Some(12)));
    assert_eq!(station.mount.bearings.base_feet_azimuth.len(), 3);
    assert!((station.dish.beamwidth.degrees() - 5.1).abs() < 1e-12);
    assert_eq!(station.horizon.mask.len(), 2);
    let names: Vec<&str> = station.emitters.iter().map(|e| e.name.as_str()).collect();
    assert_eq!(
        names,
        [
            "sun",
            "moon",
            "pigeon-1",
            "Swan source",
            "ridge-beacon",
            "church-spire"
        ]
    );
    let EmitterKind::Satellite { elements, norad_id } = &station.emitters[2].kind else {
        panic!("{:?}", station.emitters[2]);
    };
    // The path is relative to the station file's folder.
    assert_eq!(elements, Path::new("field/satellites.tle"));
    assert_eq!(*norad_id, 99_001);
}

#[test]
fn what_is_missing_is_assumed_and_said() {
    let station = read_after(&[
        ("pressure_hpa = 975.0", ""),
        ("temperature_c = 12.0", ""),
        ("relative_humidity = 0.6", ""),
        ("beamwidth_deg = 5.1", ""),
        ("right_ascension_deg = 299.868", ""),
        ("declination_deg = 40.734", ""),
        ("Swan source", "Cyg A"),
    ]);
    assert_snapshot!(station.site.assumptions.join("\n"), @r#"
    no pressure_hpa: 976.6 hPa assumed, the ICAO standard atmosphere at 310 m
    no temperature_c: 13.0 degrees Celsius assumed, the ICAO standard atmosphere at 310 m
    no relative_humidity: 0.5 assumed
    no beamwidth_deg: 5.143 degrees assumed, 70 x wavelength / diameter
    the emitter "Cyg A" has no place: right ascension 299.868, declination 40.734 degrees taken from the built-in catalogue
    "#);
    // 70 x (299.792458 / 1700) / 2.4.
    assert!((station.dish.beamwidth.degrees() - 5.143_498).abs() < 1e-6);
}

#[test]
fn what_looks_odd_is_taken_and_said() {
    let station = read_after(&[
        ("975.0", "1040"),
        ("5.1", "0.09"),
        ("299.868", "19.99"),
        ("Swan source", "Cyg A"),
    ]);
    assert_snapshot!(station.site.assumptions.join("\n"), @r"
    pressure_hpa 1040 is taken as measured at the station, though the standard atmosphere has 977 hPa at 310 m; if it is reduced to sea level, refraction comes out 6 % too large
    beamwidth_deg 0.09 is taken as given, though a dish of 2.4 m at 1700 MHz usually has about 5.143 degrees
    the place of Cyg A is taken as given, though the built-in catalogue has right ascension 299.868, declination 40.734 degrees, 60.7 degrees away
    ");
}

#[test]
fn a_mask_may_close_its_circle_and_come_in_any_order() {
    let station = read_after(&[(
        "[[0.0, 5.0], [90.0, 12.0]]",
        "[[90, 12], [-90, 8], [0, 5], [360, 5]]",
    )]);
    let mask: Vec<(f64, f64)> = station
        .horizon
        .mask
        .iter()
        .map(|(a, e)| (a.degrees().round(), e.degrees().round()))
        .collect();
    assert_eq!(mask, [(0.0, 5.0), (90.0, 12.0), (270.0, 8.0)]);
}
