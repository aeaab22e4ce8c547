//! The rows, what is said with them, and how they look.

use std::path::Path;

use super::*;
use crate::angle::Direction;
use crate::mount::{Geometry, MountModel, Term, TermValues};

const STATION: &str = r#"
[site]
name = "Invented"
latitude_deg = 48.0
longitude_deg = 11.0
height_m = 300.0
pressure_hpa = 980.0
temperature_c = 15.0
relative_humidity = 0.5
ut1_minus_utc_s = 0.1
[mount]
kind = "az-el"
azimuth_range_deg = [-10.0, 200.0]
elevation_range_deg = [5.0, 80.0]
[dish]
diameter_m = 3.0
frequency_mhz = 10000.0
beamwidth_deg = 0.7
[horizon]
mask = [[0.0, 8.0]]
[[emitter]]
name = "a name that is longer than its column"
kind = "mark"
azimuth_deg = 90.0
elevation_deg = 20.0
[[emitter]]
name = "Cas A"
kind = "radio-source"
[[emitter]]
name = "low"
kind = "satellite"
elements = "satellites.tle"
norad_id = 99171
"#;

fn station() -> Station {
    Station::parse(
        "station.toml",
        Path::new("tests/data/reference"),
        STATION.as_bytes(),
    )
    .unwrap()
}

fn utc(text: &str) -> Utc {
    Utc::parse(text).unwrap()
}

fn made(station: &Station, times: Times) -> Result<Ephemeris, Error> {
    let sky = Sky::new(station).unwrap();
    let ids: Vec<EmitterId> = sky.emitters().collect();
    let reach = Reach::new(station, MountModel::ideal(Geometry::AZ_EL));
    ephemeris(station, &sky, &reach, &ids, times)
}

#[test]
fn a_span_agrees_with_its_instants() {
    let station = station();
    let from = utc("2026-03-18T09:00:00Z");
    let span = Times::Span {
        from,
        to: from.plus_seconds(1800.0),
        every_s: 600.0,
    };
    let all = made(&station, span).unwrap();
    assert_eq!(all.rows.len(), 3 * 4);
    for row in &all.rows {
        let one = made(&station, Times::At(row.time_utc)).unwrap();
        let same = one.rows.iter().find(|r| r.emitter == row.emitter).unwrap();
        // A thousandth of an arcsecond; the azimuth of a satellite near the zenith is worse.
        const ARCSECOND_DEG: f64 = 1.0 / 3600.0;
        for (a, b) in [
            (row.apparent_elevation_deg, same.apparent_elevation_deg),
            (row.geometric_elevation_deg, same.geometric_elevation_deg),
            (row.apparent_azimuth_deg, same.apparent_azimuth_deg),
            (row.rate_deg_per_min, same.rate_deg_per_min),
            (row.sun_distance_deg, same.sun_distance_deg),
        ] {
            assert!((a - b).abs() < 1e-3 * ARCSECOND_DEG, "{row:?} {same:?}");
        }
    }
}

#[test]
fn every_obstacle_has_its_name() {
    let station = station();
    let at = |azimuth: f64, elevation: f64| {
        Direction::apparent(Angle::from_degrees(azimuth), Angle::from_degrees(elevation))
    };
    let ideal = Reach::new(&station, MountModel::ideal(Geometry::AZ_EL));
    assert_eq!(ideal.obstacle(&at(90.0, 30.0)), None);
    assert_eq!(ideal.obstacle(&at(355.0, 30.0)), None);
    assert_eq!(
        ideal.obstacle(&at(90.0, -1.0)),
        Some(Obstacle::BelowHorizon)
    );
    assert_eq!(ideal.obstacle(&at(90.0, 7.0)), Some(Obstacle::BelowMask));
    assert_eq!(
        ideal.obstacle(&at(270.0, 30.0)),
        Some(Obstacle::AzimuthRange)
    );
    assert_eq!(
        ideal.obstacle(&at(90.0, 85.0)),
        Some(Obstacle::ElevationRange)
    );
    let leaning = MountModel::az_el(TermValues::ZERO.with_shown(Term::Collimation, 2.0));
    let real = Reach::new(&station, leaning);
    assert_eq!(real.obstacle(&at(90.0, 89.0)), Some(Obstacle::Keyhole));
}

#[test]
fn rows_have_their_keys_and_the_reason() {
    let json = made(&station(), Times::At(utc("2026-03-18T09:00:00Z")))
        .unwrap()
        .to_json();
    let value: serde_json::Value = serde_json::from_str(&json).unwrap();
    let keys: Vec<&String> = value["rows"][0].as_object().unwrap().keys().collect();
    assert_eq!(
        keys,
        [
            "emitter",
            "time_utc",
            "geometric_azimuth_deg",
            "geometric_elevation_deg",
            "apparent_azimuth_deg",
            "apparent_elevation_deg",
            "rate_deg_per_min",
            "sun_distance_deg",
            "reachable",
            "why"
        ]
    );
}

#[test]
fn tables_fit_a_hundred_columns() {
    let station = station();
    let from = utc("2026-03-18T09:00:00.25Z");
    let one = table(&made(&station, Times::At(from)).unwrap(), None);
    insta::assert_snapshot!(one, @r#"
        2026-03-18T09:00:00.250Z
        emitter                    azimuth  elevation   airless  deg/min from Sun  reachable
        a name that is longer t…   90.0000    20.0000   20.0000    0.000    42.81  yes
        Cas A                      46.5000    69.7116   69.7052    0.129    60.08  yes
        low                       195.1917   -67.6145  -67.6145    1.926   108.89  no: below the horizon

        Degrees. The beam must point at azimuth and elevation; airless is the elevation without the
        air's bend. deg/min is the motion on the sky.
        "#);
    let span = Times::Span {
        from,
        to: from.plus_seconds(600.0),
        every_s: 600.0,
    };
    let several = table(&made(&station, span).unwrap(), None);
    insta::assert_snapshot!(several, @r#"
        a name that is longer t…
        time (UTC)                 azimuth  elevation   airless  deg/min from Sun  reachable
        2026-03-18T09:00:00.250Z   90.0000    20.0000   20.0000    0.000    42.81  yes
        2026-03-18T09:10:00.250Z   90.0000    20.0000   20.0000    0.000    45.12  yes

        Cas A
        time (UTC)                 azimuth  elevation   airless  deg/min from Sun  reachable
        2026-03-18T09:00:00.250Z   46.5000    69.7116   69.7052    0.129    60.08  yes
        2026-03-18T09:10:00.250Z   45.0951    70.9142   70.9082    0.129    60.08  yes

        low
        time (UTC)                 azimuth  elevation   airless  deg/min from Sun  reachable
        2026-03-18T09:00:00.250Z  195.1917   -67.6145  -67.6145    1.926   108.89  no: below the horizon
        2026-03-18T09:10:00.250Z  136.5590   -80.7080  -80.7080    1.914   113.83  no: below the horizon

        Degrees. The beam must point at azimuth and elevation; airless is the elevation without the
        air's bend. deg/min is the motion on the sky.
        "#);
    for line in one.lines().chain(several.lines()) {
        assert!(line.chars().count() <= 100, "{line}");
    }
}

#[test]
fn the_sun_is_spoken_of_once_and_only_by_day() {
    let mut station = station();
    let sun = crate::station::Emitter {
        name: "sun".to_owned(),
        kind: crate::station::EmitterKind::Sun,
    };
    station.emitters = vec![sun];
    let span = |from: &str| Times::Span {
        from: utc(from),
        to: utc(from).plus_seconds(3600.0),
        every_s: 600.0,
    };
    let day = made(&station, span("2026-03-18T09:00:00Z")).unwrap();
    insta::assert_snapshot!(day.warnings.join("\n"), @"sun: a dish on the Sun gathers its heat at the feed, a shiny one enough to burn, and the Sun's noise hides weak signals: do not leave it pointed there, and never look along the dish or through a sight at the Sun");
    let night = made(&station, span("2026-03-18T21:00:00Z")).unwrap();
    assert!(night.warnings.is_empty());
}

#[test]
fn an_old_orbit_is_spoken_of_once() {
    let span = Times::Span {
        from: utc("2026-06-18T09:00:00Z"),
        to: utc("2026-06-18T19:00:00Z"),
        every_s: 3600.0,
    };
    let found = made(&station(), span).unwrap();
    assert_eq!(found.warnings.len(), 1);
    assert!(found.warnings[0].starts_with("low: its orbit elements are 93.1 days older"));
}

#[test]
fn spans_that_make_no_sense_are_refused() {
    let station = station();
    let (from, to) = (utc("2026-03-18T09:00:00Z"), utc("2026-03-19T09:00:00Z"));
    let refused = |from, to, every_s| {
        made(&station, Times::Span { from, to, every_s })
            .unwrap_err()
            .to_string()
    };
    insta::assert_snapshot!(refused(to, from, 60.0), @"the span ends (2026-03-18T09:00:00.000Z) before it begins (2026-03-19T09:00:00.000Z): exchange --from and --to");
    insta::assert_snapshot!(refused(from, to, 0.0), @"--every is too short: a millisecond is the least");
    insta::assert_snapshot!(refused(from, to, 0.01), @"that would be 25920003 rows, more than 1000000: choose a longer --every, a shorter span or fewer emitters");
    insta::assert_snapshot!(refused(from, to, f64::NAN), @"--every is too short: a millisecond is the least");
    let mut empty = station.clone();
    empty.emitters.clear();
    insta::assert_snapshot!(made(&empty, Times::At(from)).unwrap_err().to_string(), @r#"the station file has no emitter: add an [[emitter]] section, for example name = "sun", kind = "sun""#);
}

#[test]
fn when_nothing_has_a_direction_it_says_why() {
    let mut station = station();
    station.emitters.remove(0);
    station.emitters.pop();
    let error = made(&station, Times::At(utc("1812-03-18T09:00:00Z"))).unwrap_err();
    assert_eq!(error.exit_code(), 4);
    assert!(error.to_string().contains("1900 to 2100"));
}
