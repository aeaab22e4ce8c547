//! The verb `new` as a whole command, and what the other verbs make of its folder.

use std::path::Path;
use std::process::Output;

use crate::command::{command, text};
use serde_json::Value;

fn run(folder: &Path, arguments: &[&str]) -> Output {
    command(folder, arguments).output().unwrap()
}

/// Runs what must succeed.
#[track_caller]
fn good(folder: &Path, arguments: &[&str]) -> String {
    let output = run(folder, arguments);
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{arguments:?}: {said}");
    text(&output.stdout)
}

const BACKYARD: [&str; 8] = [
    "new",
    "backyard",
    "--at",
    "52.41,7.33,21",
    "--dish",
    "3",
    "--frequency",
    "1420",
];

#[test]
fn every_kind_of_mount_gets_its_own_section_and_its_own_log() {
    for (kind, name, header) in [
        (
            "polar",
            "polar",
            "hour_angle_deg,declination_deg,hour_angle_approach,declination_approach",
        ),
        (
            "polar-one-motor",
            "polar",
            "hour_angle_deg,hour_angle_approach",
        ),
        ("x-y", "x-y", "x_deg,y_deg,x_approach,y_approach"),
        (
            "slant",
            "slant",
            "azimuth_deg,elevation_deg,azimuth_approach,elevation_approach",
        ),
    ] {
        for at in ["52.41,7.33,21", "-33.9,18.4"] {
            let folder = tempfile::tempdir().unwrap();
            let new = [
                "new",
                "made",
                "--at",
                at,
                "--dish",
                "3",
                "--frequency",
                "1420",
                "--mount",
                kind,
            ];
            good(folder.path(), &new);
            let folder = folder.path().join("made");
            let station = std::fs::read_to_string(folder.join("station.toml")).unwrap();
            assert!(
                station.contains(&format!("kind = \"{name}\"\n")),
                "{station}"
            );
            let log = std::fs::read_to_string(folder.join("peaks.csv")).unwrap();
            assert_eq!(
                log,
                format!("# readings = encoder\ntime_utc,emitter,{header},note\n")
            );
            // What stands behind # is right too when the # goes.
            let free: String = (station.lines())
                .map(|line| match line.strip_prefix("# ") {
                    Some(rest) if rest.contains(" = ") && !rest.contains(". ") => {
                        format!("{rest}\n")
                    }
                    Some(rest) if rest.starts_with("[mount.") => format!("{rest}\n"),
                    _ => format!("{line}\n"),
                })
                .collect();
            let mount = free.split("[dish]").next().unwrap();
            let dish = station.split("[dish]").nth(1).unwrap();
            std::fs::write(folder.join("station.toml"), format!("{mount}[dish]{dish}")).unwrap();
            good(&folder, &["sky", "--at", "2026-06-21T11:30:00Z"]);
        }
    }
    let folder = tempfile::tempdir().unwrap();
    let new = [
        "new",
        "made",
        "--at",
        "52,7",
        "--dish",
        "3",
        "--frequency",
        "1420",
        "--mount",
        "equatorial",
    ];
    let refused = run(folder.path(), &new);
    assert_eq!(refused.status.code(), Some(2));
    assert!(text(&refused.stderr).contains("az-el, polar, polar-one-motor, x-y, slant"));
}

#[test]
fn the_folder_is_written_and_the_next_three_commands_work_in_it() {
    let folder = tempfile::tempdir().unwrap();
    let said = good(folder.path(), &BACKYARD);
    for words in [
        "WHAT THIS DISH CAN HEAR: 3 m at 1420 MHz, beam 4.93 deg",
        "Never look along the dish",
        "       cd backyard\n",
        "       plumbeam sky\n",
        "       plumbeam plan --for 12h --sheet peaks.csv\n",
        "       plumbeam solve peaks.csv --report report\n",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    for line in said.lines() {
        assert!(line.chars().count() <= 100, "{line}");
    }
    let folder = folder.path().join("backyard");
    let mut names: Vec<String> = (std::fs::read_dir(&folder).unwrap())
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    assert_eq!(names, ["peaks.csv", "station.toml"]);

    let noon = good(&folder, &["sky", "--at", "2026-06-21T11:30:00Z"]);
    assert!(noon.contains("sun ") && noon.contains("  yes\n"), "{noon}");
    // A log without rows is told what it lacks.
    let empty = run(&folder, &["solve", "peaks.csv"]);
    assert_eq!(empty.status.code(), Some(3));
    assert!(text(&empty.stderr).contains("a header but no rows"));
    let plan = good(
        &folder,
        &[
            "plan",
            "--from",
            "2026-06-21T06:00:00Z",
            "--for",
            "12h",
            "--sheet",
            "sheet.csv",
        ],
    );
    assert!(plan.contains("WHEN TO COME BACK"), "{plan}");
    let sheet = std::fs::read_to_string(folder.join("sheet.csv")).unwrap();
    assert!(sheet.lines().filter(|l| l.contains(",sun,")).count() >= 15);
}

#[test]
fn what_is_listed_is_what_sky_shows_within_reach() {
    let folder = tempfile::tempdir().unwrap();
    let mut arguments = BACKYARD;
    arguments[5] = "12";
    let document = good(folder.path(), &[&arguments[..], &["--json"]].concat());
    let document: Value = serde_json::from_str(&document).unwrap();
    let emitters = document["emitters"].as_array().unwrap();
    let of = |becomes: &str| -> Vec<&Value> {
        emitters
            .iter()
            .filter(|e| e["becomes"] == becomes)
            .collect()
    };
    let listed = of("listed");
    assert!(listed.len() >= 4, "{listed:?}");
    let folder = folder.path().join("backyard");
    // A whole day around the spring equinox.
    let span = [
        "sky",
        "--from",
        "2027-03-20T00:00:00Z",
        "--to",
        "2027-03-21T00:00:00Z",
        "--every",
        "10m",
        "--json",
    ];
    let sky: Value = serde_json::from_str(&good(&folder, &span)).unwrap();
    let rows = sky["rows"].as_array().unwrap();
    for one in &listed {
        let own = || rows.iter().filter(|r| r["emitter"] == one["emitter"]);
        let highest = own()
            .map(|r| r["apparent_elevation_deg"].as_f64().unwrap())
            .fold(f64::NEG_INFINITY, f64::max);
        let (low, high) = (
            one["highest_deg"][0].as_f64().unwrap(),
            one["highest_deg"][1].as_f64().unwrap(),
        );
        // Ten minutes beside the meridian, refraction and precession.
        assert!(
            (low - 0.6..=high + 0.6).contains(&highest),
            "{one}: {highest}"
        );
        assert!(own().any(|r| r["reachable"] == true), "{one}");
        assert!(one["strength_db"].as_f64().unwrap() >= 0.3);
    }
    let names: Vec<&Value> = listed.iter().map(|e| &e["emitter"]).collect();
    assert!(rows.iter().all(|r| names.contains(&&r["emitter"])));
    assert!(
        of("left out")
            .iter()
            .any(|e| e["why"] == "never rises at this latitude")
    );
    assert_eq!(document["next"][1], "plumbeam sky");
}

#[test]
fn nothing_that_exists_is_written_over() {
    let folder = tempfile::tempdir().unwrap();
    good(folder.path(), &BACKYARD);
    let station = folder.path().join("backyard/station.toml");
    std::fs::write(&station, "mine").unwrap();
    let again = run(folder.path(), &BACKYARD);
    assert_eq!(again.status.code(), Some(2));
    assert!(text(&again.stderr).contains("backyard holds files already"));
    assert!(again.stdout.is_empty());
    assert_eq!(std::fs::read_to_string(&station).unwrap(), "mine");
}

#[test]
fn wrong_use_is_told_what_was_expected_and_writes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let with = |changes: &[(usize, &'static str)]| {
        let mut arguments = BACKYARD.to_vec();
        for (i, word) in changes {
            arguments[*i] = word;
        }
        arguments
    };
    for (arguments, said) in [
        (with(&[(3, "151.2,-33.9")]), "write -33.9,151.2"),
        (with(&[(3, "52.41")]), "such as 52.41,7.33,21"),
        (with(&[(3, "52.41,7.33,12000")]), "if that is feet"),
        (with(&[(5, "-3")]), "metres from 0.1 to 110"),
        (with(&[(5, "300")]), "centimetres"),
        (with(&[(7, "1.42")]), "if that is gigahertz, write 1420"),
        (with(&[(5, "0.2"), (7, "300")]), "has no beam"),
        ([&BACKYARD[..], &["--out", "x"]].concat(), "leave --out out"),
        (
            [&BACKYARD[..], &["--name", " "]].concat(),
            "not a name for a station",
        ),
        (BACKYARD[..6].to_vec(), "--frequency"),
    ] {
        let output = run(folder.path(), &arguments);
        let told = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {told}");
        assert!(told.contains(said), "{arguments:?}: {told}");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    }
}

#[test]
fn a_missing_station_file_names_this_command() {
    let folder = tempfile::tempdir().unwrap();
    for arguments in [
        &["sky"][..],
        &["plan"],
        &["sky", "--station", "elsewhere.toml"],
        &["solve", "peaks.csv"],
        &["point", "--table", "t.csv", "sun"],
    ] {
        let output = run(folder.path(), arguments);
        let said = text(&output.stderr);
        assert_eq!(output.status.code(), Some(3), "{arguments:?}: {said}");
        assert!(
            said.contains("help: plumbeam new FOLDER --at LAT,LON --dish METRES --frequency MHZ"),
            "{arguments:?}: {said}"
        );
    }
}

#[test]
fn a_southern_place_a_name_and_no_height() {
    let folder = tempfile::tempdir().unwrap();
    let document = good(
        folder.path(),
        &[
            "new",
            "a/new one",
            "--at",
            "-33.92,18.42",
            "--dish",
            "12",
            "--frequency",
            "1420",
            "--name",
            "The \"roof\" = here",
            "--json",
        ],
    );
    let document: Value = serde_json::from_str(&document).unwrap();
    let assumed = document["assumed"].to_string();
    assert!(assumed.contains("no height given"), "{assumed}");
    assert_eq!(document["next"][0], "cd \"a/new one\"");
    let folder = folder.path().join("a/new one");
    let file = std::fs::read_to_string(folder.join("station.toml")).unwrap();
    assert!(file.contains("latitude_deg = -33.92\n") && file.contains("CHECK: height above"));
    good(&folder, &["sky", "--at", "2026-06-21T11:30:00Z"]);
    let plan = good(
        &folder,
        &["plan", "--from", "2026-06-21T08:00:00Z", "--for", "1h"],
    );
    assert!(plan.contains("Plan for The \"roof\" = here"));
}
