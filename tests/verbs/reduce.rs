//! The verb reduce as a whole command, on nights of scans whose truth is known: made by code
//! that shares nothing with this package (see `tests/data/reference/SOURCE.md`).

use std::path::{Path, PathBuf};
use std::process::Stdio;

use crate::command::{command, plumbeam, text};
use serde_json::Value;

/// Errors beyond so many of their own standard deviations are called wrong: of the 150 or so
/// compared here, honest ones pass it once in a hundred runs over other nights.
const SIGMAS: f64 = 4.0;

fn night(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/reference/scans")
        .join(name)
}

const NIGHTS: [&str; 4] = [
    "clean-crosses",
    "clipped-and-sidelobes",
    "lagging-both-ways",
    "noisy-rasters",
];

fn truth(name: &str) -> Value {
    let text = std::fs::read_to_string(night(name).join("truth.json")).expect("a truth file");
    serde_json::from_str(&text).expect("JSON")
}

fn reduced(name: &str) -> Value {
    let output = plumbeam(&night(name), &["reduce", "scans.csv", "--json"], 0);
    serde_json::from_slice(&output.stdout).expect("one JSON document")
}

fn list(value: &Value) -> &[Value] {
    value.as_array().expect("a list")
}

/// Each scan of a night with its truth.
fn scans(name: &str) -> Vec<(Value, Value)> {
    let (found, truth) = (reduced(name), truth(name));
    let (found, truth) = (list(&found["scans"]), list(&truth["scans"]));
    assert_eq!(found.len(), truth.len(), "{name}");
    found.iter().cloned().zip(truth.iter().cloned()).collect()
}

/// What a spoilt scan must be called, by what was done to it.
fn called(spoilt: &str) -> &'static str {
    match spoilt {
        "clipped" => "flat top",
        "sidelobe" => "sidelobe",
        "flank" => "only one flank",
        "nothing" => "no signal",
        "drift" => "baseline drifts",
        other => panic!("a new kind of spoilt scan, {other}: say how it must be called"),
    }
}

#[test]
fn peaks_are_where_the_truth_has_them() {
    let mut compared = 0;
    for name in NIGHTS {
        for (found, truth) in scans(name) {
            let elevation = truth["elevation_deg"].as_f64().expect("a number");
            let on_sky = elevation.to_radians().cos();
            for (axis, on_sky) in [("azimuth", on_sky), ("elevation", 1.0)] {
                let (value, sigma) = (format!("{axis}_deg"), format!("{axis}_sigma_deg"));
                let Some(reading) = found[&value].as_f64() else {
                    assert!(found[&sigma].is_null(), "{name} {found}");
                    continue;
                };
                let sigma = found[&sigma].as_f64().expect("a sigma with each reading");
                let error = (reading - truth[&value].as_f64().expect("a number")) * on_sky;
                assert!(
                    error.abs() < SIGMAS * sigma,
                    "{name}: {axis} is off by {error:.4} deg, {:.1} sigma: {found}",
                    error / sigma
                );
                compared += 1;
            }
            assert_eq!(found["time_utc"], truth["mid_time_utc"], "{name}");
            assert_eq!(found["emitter"], truth["emitter"], "{name}");
            assert_eq!(found["scan"], truth["scan"], "{name}");
            assert_eq!(found["shape"], truth["shape"], "{name}");
        }
    }
    assert!(compared > 100, "only {compared} readings were compared");
}

#[test]
fn a_cut_measures_its_own_axis_and_other_shapes_both() {
    for name in NIGHTS {
        for (found, truth) in scans(name) {
            if found["verdict"] == "refused" {
                continue;
            }
            let measured = [&found["azimuth_deg"], &found["elevation_deg"]].map(|v| !v.is_null());
            let expected = match truth["shape"].as_str() {
                Some("azimuth") => [true, false],
                Some("elevation") => [false, true],
                _ => [true, true],
            };
            assert_eq!(measured, expected, "{name} {found}");
        }
    }
}

#[test]
fn every_spoilt_scan_is_named_and_no_good_one_is_blamed() {
    let (mut spoilt, mut good) = (0, 0);
    for name in NIGHTS {
        for (found, truth) in scans(name) {
            let (verdict, why) = (&found["verdict"], found["why"].as_str().expect("words"));
            match truth["poor"].as_str().expect("words") {
                "" => {
                    assert_eq!(verdict, "good", "{name} {found}");
                    good += 1;
                }
                kind => {
                    assert_ne!(verdict, "good", "{name} {found}");
                    assert!(why.contains(called(kind)), "{name} {kind}: {why}");
                    spoilt += 1;
                }
            }
            if truth["made"] == "spikes" {
                assert!(why.contains("spike"), "{name}: {why}");
                assert!(!found["azimuth_deg"].is_null(), "{name} {found}");
            }
        }
    }
    assert_eq!((spoilt, good), (20, 74), "of all four nights");
}

#[test]
fn lag_and_backlash_are_told_apart() {
    let name = "lagging-both-ways";
    let (found, truth) = (reduced(name), truth(name));
    let truth = &truth["scans"][0];
    for (i, axis) in ["azimuth", "elevation"].into_iter().enumerate() {
        for (value, sigma, truth) in [
            ("lag_s", "lag_sigma_s", &truth["lag_s"]),
            (
                "backlash_deg",
                "backlash_sigma_deg",
                &truth["backlash_deg"][i],
            ),
        ] {
            let number = |key: &str| found[axis][key].as_f64().expect("it can be told");
            let off = number(value) - truth.as_f64().expect("a number");
            assert!(
                off.abs() < SIGMAS * number(sigma),
                "{axis} {value}: {}",
                found[axis]
            );
            // And is known: zero lies far outside.
            assert!(number(value) > SIGMAS * number(sigma), "{axis} {value}");
        }
        assert!(found[axis]["why"].is_null());
    }
}

#[test]
fn what_cannot_be_told_is_said_with_the_scan_that_would_tell() {
    for name in ["clean-crosses", "noisy-rasters"] {
        let found = reduced(name);
        for axis in ["azimuth", "elevation"] {
            let timing = &found[axis];
            for key in ["lag_s", "lag_sigma_s", "backlash_deg", "backlash_sigma_deg"] {
                assert!(timing[key].is_null(), "{name} {axis} {key}: {timing}");
            }
            let why = timing["why"].as_str().expect("words");
            assert!(why.contains("scan"), "{why}");
            assert!(
                why.contains("determined") || why.contains("may be"),
                "{why}"
            );
        }
    }
}

#[test]
fn the_document_has_the_keys_of_the_contract() {
    for name in NIGHTS {
        let document = reduced(name);
        for axis in ["azimuth", "elevation"] {
            let keys: Vec<&String> = document[axis].as_object().expect("a map").keys().collect();
            assert_eq!(
                keys,
                [
                    "lag_s",
                    "lag_sigma_s",
                    "backlash_deg",
                    "backlash_sigma_deg",
                    "why"
                ]
            );
        }
        for scan in list(&document["scans"]) {
            for key in [
                "scan",
                "emitter",
                "time_utc",
                "verdict",
                "why",
                "azimuth_deg",
                "elevation_deg",
                "azimuth_sigma_deg",
                "elevation_sigma_deg",
                "width_deg",
                "signal_to_noise",
                "direction",
            ] {
                assert!(scan.get(key).is_some(), "{key} is missing in {scan}");
            }
            let direction = &scan["direction"];
            for axis in ["azimuth", "elevation"] {
                let way = &direction[axis];
                assert!(
                    way.is_null() || ["+", "-", "both"].iter().any(|w| way == w),
                    "{scan}"
                );
            }
            if scan["verdict"] == "refused" {
                assert!(scan["azimuth_deg"].is_null() && scan["elevation_deg"].is_null());
                assert_ne!(scan["why"], "");
            }
        }
    }
}

#[test]
fn directions_are_those_of_the_passes() {
    for (found, truth) in scans("lagging-both-ways") {
        let axis = truth["shape"].as_str().expect("words");
        let way = if truth["reverse"] == true { "-" } else { "+" };
        assert_eq!(found["direction"][axis], way, "{found}");
    }
    for (found, _) in scans("noisy-rasters") {
        assert_eq!(found["direction"]["azimuth"], "both", "{found}");
    }
}

#[test]
fn the_peaks_file_holds_a_row_for_each_peak_and_a_comment_for_each_refusal() {
    let name = "clipped-and-sidelobes";
    let output = text(&plumbeam(&night(name), &["reduce", "scans.csv"], 0).stdout);
    let (comments, rows): (Vec<&str>, Vec<&str>) =
        output.lines().partition(|line| line.starts_with('#'));
    assert_eq!(comments[0], "# readings = encoder");
    let refused = scans(name)
        .iter()
        .filter(|(found, _)| found["verdict"] == "refused")
        .count();
    assert_eq!(comments.len(), 1 + refused);
    assert_eq!(rows.len(), 1 + 28 - refused);
    assert!(
        rows[0].starts_with("time_utc,emitter,azimuth_deg,elevation_deg"),
        "{output}"
    );
    assert!(output.contains("poor: flat top"), "{output}");
}

/// Approach signs are handed on, so that the solve finds the backlash that was put in.
#[test]
fn a_night_runs_through_reduce_and_solve_in_one_pipe() {
    let name = "lagging-both-ways";
    let folder = tempfile::tempdir().expect("a folder for the test");
    let station = night(name).join("station.toml");
    let station = station.to_str().expect("a plain path");
    let scans = night(name).join("scans.csv");
    let mut first = command(
        folder.path(),
        &[
            "reduce",
            scans.to_str().expect("a plain path"),
            "--station",
            station,
        ],
    );
    let mut first = first
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the command runs");
    let peaks = first.stdout.take().expect("its output");
    let output = command(
        folder.path(),
        &[
            "solve",
            "-",
            "--station",
            station,
            "--json",
            "--terms",
            "azimuth-zero,elevation-zero,tilt-north,tilt-east,collimation,azimuth-backlash,elevation-backlash",
        ],
    )
    .stdin(peaks)
    .output()
    .expect("the command runs");
    assert!(first.wait().expect("it ends").success());
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let calibration: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let truth = truth(name);
    let backlash = &truth["scans"][0]["backlash_deg"];
    for (term, truth) in [
        ("azimuth-zero", &truth["mount_terms"]["azimuth-zero"]),
        ("elevation-zero", &truth["mount_terms"]["elevation-zero"]),
        ("tilt-north", &truth["mount_terms"]["tilt-north"]),
        ("tilt-east", &truth["mount_terms"]["tilt-east"]),
        ("collimation", &truth["mount_terms"]["collimation"]),
        ("azimuth-backlash", &backlash[0]),
        ("elevation-backlash", &backlash[1]),
    ] {
        let found = &calibration["terms"][term];
        let number = |key: &str| {
            found[key]
                .as_f64()
                .unwrap_or_else(|| panic!("{term}: {found}"))
        };
        let off = number("value_deg") - truth.as_f64().expect("a number");
        assert!(
            off.abs() < SIGMAS * number("sigma_deg"),
            "{term} is off by {off:.4}: {found}"
        );
    }
}

#[test]
fn pictures_of_every_scan_and_one_sheet_are_drawn() {
    let folder = tempfile::tempdir().expect("a folder for the test");
    let report = folder.path().join("report");
    for (name, count) in [("clipped-and-sidelobes", 28), ("noisy-rasters", 10)] {
        let arguments = [
            "reduce",
            "scans.csv",
            "--report",
            report.to_str().expect("a plain path"),
        ];
        plumbeam(&night(name), &arguments, 0);
        let files = |end: &str| {
            std::fs::read_dir(&report)
                .expect("the folder")
                .filter_map(|f| f.ok()?.file_name().into_string().ok())
                .filter(|f| f.ends_with(end))
                .count()
        };
        assert_eq!(files(".png"), 1 + count, "{name}");
        std::fs::remove_dir_all(&report).expect("the folder");
    }
}
