//! `plumbeam point` on an emitter of the station file: once, at an instant and followed.

use crate::command::{TestFolder, text};
use crate::hill::{self, PRINTED, STATION};
use serde_json::Value;

/// What the station has to point at.
const EMITTERS: &str = r#"[horizon]
mask = [[0.0, 12.0]]
[[emitter]]
name = "sun"
kind = "sun"
[[emitter]]
name = "the hill"
kind = "mark"
azimuth_deg = 200.0
elevation_deg = 3.0
"#;

/// The hill with emitters, and a calibration of these terms, in degrees.
fn calibrated(terms: &[(&str, f64)]) -> TestFolder {
    let folder = hill::calibrated(terms);
    folder.write("station.toml", &format!("{STATION}{EMITTERS}"));
    folder
}

const BY_MODEL: [&str; 2] = ["--calibration", "calibration.json"];
const NOON: &str = "2026-06-21T11:30:00Z";

fn pair(line: &str) -> (f64, f64) {
    let mut words = line.split_whitespace().map(|w| w.parse().unwrap());
    (words.next().unwrap(), words.next().unwrap())
}

#[test]
fn an_emitter_gets_the_readings_of_its_apparent_direction() {
    let folder = calibrated(&[("azimuth-zero", 3.0), ("elevation-zero", -1.0)]);
    let found = folder.point(&[&BY_MODEL[..], &["sun", "--at", NOON]].concat());
    assert_eq!(found.status.code(), Some(0), "{}", text(&found.stderr));
    let (azimuth, elevation) = pair(&text(&found.stdout));
    let said = text(&found.stderr);
    // Never without its caution.
    assert!(said.contains("never look along the dish"), "{said}");
    let sky = folder
        .command(&["sky", "--at", NOON, "sun", "--json"])
        .output()
        .unwrap();
    let sky: Value = serde_json::from_slice(&sky.stdout).unwrap();
    let of = |key: &str| sky["rows"][0][key].as_f64().unwrap();
    // The axes stand 3 degrees further clockwise and 1 degree lower than their encoders say.
    assert!((azimuth + 3.0 - of("apparent_azimuth_deg")).abs() < 2.0 * PRINTED);
    assert!((elevation - 1.0 - of("apparent_elevation_deg")).abs() < 2.0 * PRINTED);
    // The same through --demand geometric, where refraction is taken off and put on again; and in
    // other capitals.
    let again = [
        &BY_MODEL[..],
        &["Sun", "--at", NOON, "--demand", "geometric", "--json"],
    ]
    .concat();
    let again: Value = serde_json::from_slice(&folder.point(&again).stdout).unwrap();
    assert!((again["azimuth_deg"].as_f64().unwrap() - azimuth).abs() < 2.0 * PRINTED);
    assert!((again["elevation_deg"].as_f64().unwrap() - elevation).abs() < 2.0 * PRINTED);
    assert_eq!(again["emitter"], "sun");
    assert_eq!(again["demand"], "geometric");
    let airless = again["demand_elevation_deg"].as_f64().unwrap();
    assert!((airless - of("geometric_elevation_deg")).abs() < 1e-4);
    // By the clock of a zone.
    let local = ["sun", "--at", "2026-06-21T13:30", "--zone", "+02:00"];
    let local = folder.point(&[&BY_MODEL[..], &local].concat());
    assert_eq!(local.stdout, found.stdout);
}

#[test]
fn a_table_serves_an_emitter_as_the_model_does() {
    let folder = calibrated(&[("azimuth-zero", 3.0), ("tilt-north", 0.5)]);
    for demand in ["geometric", "apparent"] {
        let made = ["--demand", demand, "--out", "table.csv"];
        let made = folder
            .command(&[&["table"], &BY_MODEL[..], &made].concat())
            .output()
            .unwrap();
        assert!(made.status.success(), "{}", text(&made.stderr));
        for emitter in ["sun", "the hill"] {
            let at = [emitter, "--at", NOON];
            let by_model = folder.point(&[&BY_MODEL[..], &at].concat());
            let by_table = folder.point(&[&["--table", "table.csv"][..], &at].concat());
            let said = text(&by_table.stderr);
            assert_eq!(
                by_table.status.code(),
                Some(0),
                "{demand} {emitter}: {said}"
            );
            let (model, table) = (pair(&text(&by_model.stdout)), pair(&text(&by_table.stdout)));
            // A table is good to a hundredth of a beam of 8 degrees.
            assert!((model.0 - table.0).abs() < 0.1 && (model.1 - table.1).abs() < 0.1);
        }
    }
}

#[test]
fn an_emitter_is_followed_from_an_instant_all_at_once() {
    let folder = calibrated(&[("azimuth-zero", 3.0)]);
    let follow = ["sun", "--at", NOON, "--every", "1m", "--for", "1h"];
    let found = folder.point(&[&BY_MODEL[..], &follow].concat());
    assert_eq!(found.status.code(), Some(0), "{}", text(&found.stderr));
    let lines: Vec<String> = text(&found.stdout).lines().map(str::to_owned).collect();
    assert_eq!(lines.len(), 61);
    assert!(lines[0].starts_with("2026-06-21T11:30:00.000Z ") && lines[60].contains("T12:30:00"));
    let azimuths: Vec<f64> = (lines.iter())
        .map(|l| pair(l.split_once(' ').unwrap().1).0)
        .collect();
    // About noon in June the Sun goes by some 0.6 degrees of azimuth a minute.
    assert!(
        azimuths
            .windows(2)
            .all(|p| (0.2..1.0).contains(&(p[1] - p[0])))
    );
    // One warning about the Sun, not one a line.
    assert_eq!(text(&found.stderr).matches("never look along").count(), 1);

    // Through sunset: lines with the reason, and exit code 4.
    let evening = [
        "sun",
        "--at",
        "2026-06-21T18:00:00Z",
        "--every",
        "30m",
        "--for",
        "3h",
        "--json",
    ];
    let found = folder.point(&[&BY_MODEL[..], &evening].concat());
    assert_eq!(found.status.code(), Some(4));
    let rows: Vec<Value> = (text(&found.stdout).lines())
        .map(|l| serde_json::from_str(l).unwrap())
        .collect();
    assert_eq!(rows.len(), 7);
    assert!(rows[0]["azimuth_deg"].is_f64() && rows[0]["error"].is_null());
    assert!(rows[6]["azimuth_deg"].is_null());
    let error = rows[6]["error"].as_str().unwrap();
    assert!(
        error.starts_with("sun is below the horizon (elevation -"),
        "{error}"
    );
    assert!(text(&found.stderr).contains("below the station's horizon mask"));
}

#[test]
fn an_emitter_is_followed_by_the_clock_until_the_time_is_over() {
    let folder = calibrated(&[("azimuth-zero", 3.0)]);
    // The mark stands still, whatever the clock shows.
    let follow = ["the hill", "--every", "50ms", "--for", "200ms"];
    let found = folder.point(&[&BY_MODEL[..], &follow].concat());
    assert_eq!(found.status.code(), Some(0), "{}", text(&found.stderr));
    let lines: Vec<String> = text(&found.stdout).lines().map(str::to_owned).collect();
    // A busy machine may miss some.
    assert!((1..=5).contains(&lines.len()), "{lines:?}");
    for line in &lines {
        assert!(line.ends_with("Z 197.000000 3.000000"), "{line}");
    }
    assert!(text(&found.stderr).contains("the time is this machine's"));
}

#[test]
fn an_emitter_that_cannot_be_pointed_at_is_said() {
    let folder = calibrated(&[("azimuth-zero", 3.0)]);
    let night = ["sun", "--at", "2026-06-21T23:00:00Z"];
    let below = folder.point(&[&BY_MODEL[..], &night].concat());
    assert_eq!(below.status.code(), Some(4));
    let said = text(&below.stderr);
    assert!(
        said.contains("sun at 2026-06-21T23:00:00.000Z: sun is below the horizon"),
        "{said}"
    );
    assert!(below.stdout.is_empty());
    for (arguments, said) in [
        (
            &["sunn"][..],
            "did you mean \"sun\"?\n  help: it has sun, the hill",
        ),
        (&["the", "hill"], "\"the\" is not a number of degrees"),
        (&["135.2"], "a demand is two numbers: AZ EL"),
        (
            &["135.2", "41.8", "--at", NOON],
            "go with the name of an emitter",
        ),
        (
            &["sun", "--at", NOON, "--every", "1s"],
            "give its length with --for",
        ),
        (
            &["sun", "--every", "1s", "--for", "1s", "--out", "x"],
            "leave --out out",
        ),
        (&["sun", "--inverse"], "--inverse takes two readings"),
        (&["sun", "--at", "2026-06-21T11:30"], "--zone +02:00"),
        (&["sun", "--every", "0s"], "above zero"),
        (&["sun", "--for", "1m"], "--every"),
    ] {
        let output = folder.point(&[&BY_MODEL[..], arguments].concat());
        let told = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {told}");
        assert!(told.contains(said), "{arguments:?}: {told}");
        assert!(output.stdout.is_empty(), "{arguments:?}");
    }
}
