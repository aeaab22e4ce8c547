//! Every verb on every kind of mount: solved, pointed, tabulated and told in the mount's own words.

use std::path::{Path, PathBuf};

use serde_json::Value;
use tempfile::TempDir;

use super::command::plumbeam;

const KINDS: [(&str, [&str; 2], [&str; 2]); 4] = [
    (
        "polar-north",
        ["hour_angle", "declination"],
        ["hour angle", "declination"],
    ),
    (
        "polar-south",
        ["hour_angle", "declination"],
        ["hour angle", "declination"],
    ),
    ("x-y-east-west", ["x", "y"], ["X", "Y"]),
    ("slant", ["azimuth", "elevation"], ["azimuth", "elevation"]),
];

fn reference(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/reference/mounts")
        .join(name)
}

/// A folder with the files of a reference session.
fn folder(name: &str) -> TempDir {
    let folder = TempDir::new().unwrap();
    for file in ["station.toml", "peaks.csv", "satellites.tle"] {
        std::fs::copy(reference(name).join(file), folder.path().join(file)).unwrap();
    }
    folder
}

fn said(folder: &Path, arguments: &[&str]) -> (String, String) {
    let output = plumbeam(folder, arguments, 0);
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (text(&output.stdout), text(&output.stderr))
}

fn json(folder: &Path, arguments: &[&str]) -> Value {
    serde_json::from_str(&said(folder, arguments).0).unwrap()
}

/// Words of an az-el mount that an owner of another kind must not read.
fn assert_own_words(kind: &str, text: &str) {
    if kind == "slant" {
        return;
    }
    let small = text.to_lowercase();
    for foreign in [
        "azimuth axis",
        "azimuth encoder",
        "elevation encoder",
        "elevation axis",
        "azimuth reading",
        "elevation reading",
        "azimuth zero",
        "elevation zero",
        "azimuth-",
        "elevation-",
        "azimuth_approach",
        "cross-elevation",
        "axis tilt",
        "tilt-",
        "azimuth track",
        "track warp",
        "a track or",
    ] {
        if let Some(at) = small.find(foreign) {
            let around = &text[at.saturating_sub(80)..(at + 80).min(text.len())];
            panic!("{kind}: {foreign}: {around}");
        }
    }
}

#[test]
fn a_session_is_solved_and_its_findings_told_in_the_words_of_its_mount() {
    for (name, [_, second], _) in KINDS {
        let folder = folder(name);
        let (out, err) = said(folder.path(), &["solve", "peaks.csv", "--report", "report"]);
        assert_own_words(name, &out);
        assert_own_words(name, &err);
        let page = std::fs::read_to_string(folder.path().join("report/report.html"))
            .or_else(|_| std::fs::read_to_string(folder.path().join("report/index.html")))
            .unwrap();
        assert_own_words(name, &strip(&page));
        let text = std::fs::read_to_string(folder.path().join("calibration.json")).unwrap();
        let calibration: Value = serde_json::from_str(&text).unwrap();
        let peak = &calibration["peaks"][0];
        assert!(
            peak[format!("{second}_residual_deg")].is_number(),
            "{name}: {peak}"
        );
        assert!(peak[format!("cross_{second}_residual_deg")].is_number());
        let kind = if name == "slant" {
            "slant"
        } else {
            &name[..name.rfind("-").unwrap()]
        };
        let mount = calibration["mount"]["kind"].as_str().unwrap();
        assert!(
            kind.starts_with(mount) || name.starts_with(mount),
            "{mount}"
        );
        let (out, _) = said(folder.path(), &["faults", "peaks.csv"]);
        assert_own_words(name, &out);
        let (out, _) = said(
            folder.path(),
            &["recheck", "--against", "calibration.json", "peaks.csv"],
        );
        assert_own_words(name, &out);
    }
}

/// A page's text without its tags, scripts and pictures.
fn strip(page: &str) -> String {
    let mut text = String::new();
    let mut inside = false;
    for c in page.chars() {
        match c {
            '<' => inside = true,
            '>' => inside = false,
            c if !inside => text.push(c),
            _ => {}
        }
    }
    text
}

/// The polar axis stands by the latitude: one with the wrong sign is found only when the axis is turned
/// with every latitude that is tried.
#[test]
fn a_latitude_with_the_wrong_sign_is_found_on_a_polar_mount() {
    let folder = folder("polar-north");
    let path = folder.path().join("station.toml");
    let station = std::fs::read_to_string(&path).unwrap();
    let wrong = station.replace("latitude_deg = 54.4822", "latitude_deg = -54.4822");
    assert_ne!(station, wrong);
    std::fs::write(&path, wrong).unwrap();
    let found = json(folder.path(), &["faults", "peaks.csv", "--json"]);
    let first = &found["findings"][0];
    assert_eq!(first["fault"], "site-swapped", "{found}");
    assert!(
        first["evidence"].as_str().unwrap().contains("+54.4822"),
        "{first}"
    );
}

#[test]
fn demands_become_readings_and_come_back_by_model_and_by_table() {
    for (name, [one, two], _) in KINDS {
        let folder = folder(name);
        said(folder.path(), &["solve", "peaks.csv", "--quiet"]);
        let model = ["--calibration", "calibration.json"];
        let point = |more: &[&str]| {
            let arguments: Vec<&str> = ["point", "--json"].iter().chain(more).copied().collect();
            json(folder.path(), &arguments)
        };
        let number =
            |of: &Value, key: String| of[&key].as_f64().unwrap_or_else(|| panic!("{key}: {of}"));
        let there = point(&[model[0], model[1], "150", "40"]);
        let (first, second) = (
            number(&there, format!("{one}_deg")),
            number(&there, format!("{two}_deg")),
        );
        let (first, second) = (first.to_string(), second.to_string());
        let back = point(&[model[0], model[1], "--inverse", &first, &second]);
        assert!(
            (number(&back, "demand_azimuth_deg".to_owned()) - 150.0).abs() < 1e-6,
            "{back}"
        );
        assert!((number(&back, "demand_elevation_deg".to_owned()) - 40.0).abs() < 1e-6);
        // The same by the mount's own coordinates.
        let own = point(&[
            model[0],
            model[1],
            "--demand-as",
            "axes",
            "--inverse",
            &first,
            &second,
        ]);
        let own = [one, two].map(|axis| number(&own, format!("demand_{axis}_deg")).to_string());
        let again = point(&[model[0], model[1], "--demand-as", "axes", &own[0], &own[1]]);
        let off = number(&again, format!("{one}_deg")) - first.parse::<f64>().unwrap();
        assert!(off.abs() < 1e-6, "{name}: {off}");
        // And by a table, whose grid stands in them.
        for form in ["table.csv", "table.json"] {
            said(
                folder.path(),
                &[
                    "table",
                    model[0],
                    model[1],
                    "--tolerance",
                    "0.02",
                    "--out",
                    form,
                ],
            );
            let text = std::fs::read_to_string(folder.path().join(form)).unwrap();
            assert!(
                text.contains(&format!("{one}_correction_deg")),
                "{name} {form}"
            );
            assert_own_words(name, &text);
            let by_table = point(&["--table", form, "150", "40"]);
            let off = number(&by_table, format!("{one}_deg")) - first.parse::<f64>().unwrap();
            assert!(off.abs() < 0.05, "{name}: {off}");
            let back = point(&["--table", form, "--inverse", &first, &second]);
            let off = number(&back, "demand_elevation_deg".to_owned()) - 40.0;
            assert!(off.abs() < 0.05, "{name}: {back}");
        }
    }
}

#[test]
fn the_sky_the_plan_and_a_made_up_session_speak_of_the_mounts_axes() {
    for (name, [one, two], [one_words, two_words]) in KINDS {
        let folder = folder(name);
        let first = std::fs::read_to_string(folder.path().join("peaks.csv")).unwrap();
        let from = first
            .lines()
            .nth(1)
            .unwrap()
            .split(',')
            .next()
            .unwrap()
            .to_owned();
        let day = &from[..10];
        let (from, to) = (format!("{day}T08:00:00Z"), format!("{day}T12:00:00Z"));
        let sky = json(folder.path(), &["sky", "--at", &from, "--json"]);
        assert!(
            sky["rows"][0][format!("{one}_reading_deg")].is_number(),
            "{name}: {}",
            sky["rows"][0]
        );
        let (out, _) = said(folder.path(), &["sky", "--at", &from]);
        assert!(out.contains(one_words) && out.contains(two_words), "{out}");
        for line in out.lines() {
            assert!(line.chars().count() <= 100, "{line}");
        }
        let (out, err) = said(folder.path(), &["plan", "--from", &from, "--to", &to]);
        assert_own_words(name, &out);
        assert_own_words(name, &err);
        let plan = json(
            folder.path(),
            &["plan", "--from", &from, "--to", &to, "--json"],
        );
        assert!(plan["steps"][0][format!("{one}_deg")].is_number(), "{name}");
        assert!(plan["steps"][0]["apparent_azimuth_deg"].is_number());
        let zero = format!("{}-zero = 1.5", one.replace('_', "-"));
        std::fs::write(
            folder.path().join("truth.toml"),
            format!(
                "[terms]\n{zero}\ncollimation = 0.4\n[session]\nfrom = \"{from}\"\nto = \"{to}\"\npeaks = 40\n"
            ),
        )
        .unwrap();
        said(
            folder.path(),
            &["simulate", "--truth", "truth.toml", "--out", "made.csv"],
        );
        let made = std::fs::read_to_string(folder.path().join("made.csv")).unwrap();
        assert!(made.contains(&format!("{one}_deg,{two}_deg")), "{made}");
        let found = json(folder.path(), &["solve", "made.csv", "--json"]);
        let record = &found["terms"][format!("{}-zero", one.replace('_', "-"))];
        let off = record["value_deg"].as_f64().unwrap() - 1.5;
        assert!(
            off.abs() < 6.0 * record["sigma_deg"].as_f64().unwrap() + 0.01,
            "{name}: {record}"
        );
        // Scans of the same mount, reduced to its own readings.
        said(
            folder.path(),
            &[
                "simulate",
                "--truth",
                "truth.toml",
                "--kind",
                "scans",
                "--out",
                "scans.csv",
            ],
        );
        let (reduced, _) = said(folder.path(), &["reduce", "scans.csv"]);
        assert!(
            reduced.contains(&format!("{one}_deg,{two}_deg")),
            "{name}: {reduced}"
        );
        let by_scans = json(folder.path(), &["reduce", "scans.csv", "--json"]);
        assert!(
            by_scans["scans"][0].get(format!("{one}_deg")).is_some(),
            "{name}"
        );
        std::fs::write(folder.path().join("reduced.csv"), reduced).unwrap();
        let found = json(folder.path(), &["solve", "reduced.csv", "--json"]);
        let record = &found["terms"][format!("{}-zero", one.replace('_', "-"))];
        let off = record["value_deg"].as_f64().unwrap() - 1.5;
        assert!(
            off.abs() < 6.0 * record["sigma_deg"].as_f64().unwrap() + 0.05,
            "{name}: {record}"
        );
    }
}

#[test]
fn a_calibration_of_another_kind_of_mount_is_refused_whatever_one_knows_better() {
    let polar = folder("polar-north");
    said(polar.path(), &["solve", "peaks.csv", "--quiet"]);
    let slant = folder("slant");
    std::fs::copy(
        polar.path().join("calibration.json"),
        slant.path().join("calibration.json"),
    )
    .unwrap();
    for more in [&[][..], &["--anyway"][..]] {
        let arguments: Vec<&str> = ["point", "--calibration", "calibration.json", "150", "40"]
            .iter()
            .chain(more)
            .copied()
            .collect();
        let output = plumbeam(slant.path(), &arguments, 4);
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(told.contains("of a mount of kind polar"), "{told}");
    }
    // A term of another kind is not a term of this.
    let output = plumbeam(
        slant.path(),
        &["solve", "peaks.csv", "--terms", "+hour-angle-runout"],
        2,
    );
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(told.contains("hour-angle-runout"), "{told}");
}
