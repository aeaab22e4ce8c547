//! The reference sessions, and what the command promises whatever the session.

use serde_json::Value;

use super::{assert_size, findings, json, names, package, plumbeam, reference};

fn diagnosed(name: &str) -> Value {
    json(&reference(name), &["faults", "peaks.csv", "--json"])
}

fn truth(name: &str) -> Value {
    let text = std::fs::read_to_string(reference(name).join("truth.json")).expect("a truth");
    serde_json::from_str(&text).expect("JSON")
}

#[test]
fn sloppy_gears_are_backlash_in_both_axes_and_nothing_else() {
    let found = diagnosed("sloppy-gears");
    assert_eq!(names(&found), ["azimuth-backlash", "elevation-backlash"]);
    let truth = truth("sloppy-gears");
    for finding in findings(&found) {
        let term = finding["fault"].as_str().expect("a name");
        let width = truth["terms"][term].as_f64().expect("in the truth");
        assert_size(finding, width);
    }
}

#[test]
fn bad_points_are_named_row_by_row() {
    let found = diagnosed("bad-points");
    let truth = truth("bad-points");
    let bad = truth["bad_rows"].as_object().expect("bad rows");
    let mut told = 0;
    for finding in findings(&found) {
        let spoken_of = match finding["fault"].as_str() {
            Some("wrong-emitter") => "wrong emitter",
            Some("digit-slip") => "digit",
            Some("sidelobe") => "sidelobe",
            other => panic!("{other:?} is not among the truth's"),
        };
        for row in finding["rows"].as_array().expect("rows") {
            assert_eq!(bad[&row.to_string()], spoken_of, "row {row}");
            told += 1;
        }
    }
    assert_eq!(told, bad.len());
}

#[test]
fn an_unknown_north_is_no_fault_and_neither_are_small_healthy_errors() {
    let healthy = [
        "unknown-north",
        "arc-only",
        "barn-roof",
        "one-corner",
        "over-the-top",
        "southern",
    ];
    for name in healthy {
        assert_eq!(names(&diagnosed(name)), Vec::<String>::new(), "{name}");
        plumbeam(&reference(name), &["faults", "peaks.csv", "--strict"], 0);
    }
}

#[test]
fn a_large_mounts_runout_and_warp_are_told_apart() {
    let found = diagnosed("hill-array");
    let mut told = names(&found);
    told.sort();
    assert_eq!(told, ["azimuth-runout", "warped-track"]);
    let truth = truth("hill-array");
    for finding in findings(&found) {
        let term = match finding["fault"].as_str() {
            Some("azimuth-runout") => "azimuth-runout",
            _ => "track-warp",
        };
        let part = |which: &str| truth["terms"][format!("{term}-{which}")].as_f64();
        let [cos, sin] = ["cos", "sin"].map(|w| part(w).expect("in the truth"));
        assert_size(finding, cos.hypot(sin));
    }
}

#[test]
fn strict_fails_with_a_finding_and_the_document_has_its_keys() {
    let folder = reference("sloppy-gears");
    plumbeam(&folder, &["faults", "peaks.csv", "--strict"], 1);
    plumbeam(&folder, &["faults", "peaks.csv", "--strict", "--json"], 1);
    let found = json(&folder, &["faults", "peaks.csv", "--json"]);
    for finding in findings(&found) {
        for key in [
            "fault",
            "axis",
            "size",
            "size_unit",
            "sigma",
            "false_alarm_probability",
            "evidence",
            "confirm",
            "mend",
            "otherwise",
            "in_words",
            "rows",
            "rivals",
        ] {
            assert!(!finding[key].is_null(), "{key}: {finding}");
        }
        let chance = finding["false_alarm_probability"].as_f64();
        assert!(chance.is_some_and(|p| (0.0..=0.01).contains(&p)));
        // Gears and counterweights hurt.
        let mend = finding["mend"].as_str().expect("a remedy");
        assert!(mend.contains("power") && mend.contains("counterweight"));
    }
}

#[test]
fn solve_shows_the_first_findings_and_a_calibration_may_be_given() {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["station.toml", "satellites.tle", "peaks.csv"] {
        let from = reference("sloppy-gears").join(name);
        std::fs::copy(from, folder.path().join(name)).expect("a copy");
    }
    let solved = plumbeam(folder.path(), &["solve", "peaks.csv"], 0);
    let text = String::from_utf8(solved.stdout).expect("UTF-8");
    assert!(text.contains("- The azimuth axis has 0.84"), "{text}");
    assert!(text.contains("- The elevation axis has 0.3"), "{text}");
    // The calibration holds the backlash that was fitted: it is a beginning only.
    let again = [
        "faults",
        "peaks.csv",
        "--calibration",
        "calibration.json",
        "--json",
        "--report",
        "report",
        "--out",
        "findings.json",
    ];
    let found = json(folder.path(), &again);
    assert_eq!(names(&found), ["azimuth-backlash", "elevation-backlash"]);
    let page = std::fs::read_to_string(folder.path().join("report/faults.html")).expect("a page");
    assert_eq!(page.matches("<svg").count(), 2);
    for stem in ["fault-1-azimuth-backlash", "fault-2-elevation-backlash"] {
        for ending in ["svg", "png"] {
            let file = folder.path().join(format!("report/{stem}.{ending}"));
            assert!(file.is_file(), "{}", file.display());
        }
    }
    let filed = std::fs::read_to_string(folder.path().join("findings.json")).expect("findings");
    assert_eq!(serde_json::from_str::<Value>(&filed).expect("JSON"), found);
}

/// A session with a knock or a pattern, made by independent code.
fn knocked(name: &str) -> Value {
    let folder = package().join("tests/data/reference/knocks").join(name);
    json(&folder, &["faults", "peaks.csv", "--json"])
}

#[test]
fn a_knock_is_named_for_what_it_moved_and_between_its_rows() {
    for (name, size) in [
        ("base-knock", 0.5_f64.hypot(0.35)),
        ("dish-knock", 0.55_f64.hypot(0.4)),
    ] {
        let found = knocked(name);
        assert_eq!(names(&found), [name]);
        assert_size(&findings(&found)[0], size);
        assert_eq!(findings(&found)[0]["rows"], serde_json::json!([32, 33]));
    }
}

#[test]
fn a_pattern_without_a_name_is_called_unexplained() {
    let found = knocked("three-per-turn");
    assert_eq!(names(&found), ["unexplained"]);
    assert_size(&findings(&found)[0], 0.4);
    let evidence = findings(&found)[0]["evidence"].as_str().expect("evidence");
    assert!(evidence.contains("3 times per turn"), "{evidence}");
}

#[test]
fn heavy_tails_are_no_fault() {
    assert_eq!(names(&knocked("heavy-tails")), Vec::<String>::new());
}
