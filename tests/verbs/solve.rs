//! The verbs solve, demo, simulate and recheck as whole commands.

use std::io::Write;
use std::process::Stdio;

use crate::command::{TestFolder, text};
use serde_json::Value;

/// The demo's invented station and session.
fn demo() -> TestFolder {
    TestFolder::with_demo(&["station.toml", "satellites.tle", "peaks.csv", "truth.toml"])
}

#[test]
fn solve_writes_a_calibration_and_a_report_of_a_hundred_columns() {
    let bench = demo();
    let output = bench.ends(&["solve", "peaks.csv", "--report", "report"], 0);
    let shown = text(&output.stdout);
    assert!(shown.lines().all(|l| l.chars().count() <= 100), "{shown}");
    for needed in [
        "azimuth zero",
        "axis tilt",
        "droop",
        "backlash",
        "Caution",
        "Sun",
    ] {
        assert!(shown.contains(needed), "{needed:?} is missing in\n{shown}");
    }
    let document: Value = serde_json::from_str(&bench.read("calibration.json")).expect("JSON");
    assert_eq!(document["format"], "plumbeam calibration 1");
    assert_eq!(document["peaks"].as_array().map(Vec::len), Some(60));
    for picture in [
        "sky.png",
        "sky.svg",
        "beam.png",
        "histogram.svg",
        "report.html",
    ] {
        let bytes = std::fs::read(bench.path("report").join(picture)).expect(picture);
        assert!(bytes.len() > 1000, "{picture} is nearly empty");
    }
}

/// The truth of the demo lies within so many sigmas of what is found; see
/// tests/statistics/reference_sessions.rs.
const MOST_SIGMAS: f64 = 4.0;

#[test]
fn the_demo_session_gives_back_its_truth() {
    let bench = demo();
    let output = bench.ends(&["solve", "peaks.csv", "--json", "--quiet"], 0);
    assert!(
        !bench.path("calibration.json").exists(),
        "--json writes only what is asked"
    );
    let document: Value = serde_json::from_slice(&output.stdout).expect("one JSON document");
    let truth: toml_edit::DocumentMut = bench.read("truth.toml").parse().expect("TOML");
    let terms = document["terms"].as_object().expect("terms");
    for (name, value) in truth["terms"].as_table().expect("terms") {
        let truth = value.as_float().expect("a number");
        let found = &terms[name];
        let sigma = found["sigma_deg"].as_f64().expect("a sigma");
        let error = found["value_deg"].as_f64().expect("a value") - truth;
        assert!(
            error.abs() < MOST_SIGMAS * sigma,
            "{name}: {error} off, sigma {sigma}"
        );
    }
    assert_eq!(
        terms.len(),
        9,
        "the true seven, and skew and elevation backlash, of which every mount has a little: \
         {terms:?}"
    );
    let rejected: Vec<u64> = (document["peaks"].as_array().expect("peaks").iter())
        .filter(|p| p["used"] == false)
        .filter_map(|p| p["row"].as_u64())
        .collect();
    assert_eq!(rejected, [17, 33, 41], "the rows spoilt in truth.toml");
    let why = document["peaks"][16]["why"].as_str().expect("a reason");
    assert!(why.contains("digit") && why.contains("+10 deg"), "{why}");
}

/// The promise of the calibration file is what `table` and `point` tell their users.
#[test]
fn table_and_point_say_what_is_expected_of_the_corrected_mount() {
    let folder = demo();
    folder.ends(&["solve", "peaks.csv", "--quiet"], 0);
    let calibration: Value = serde_json::from_str(&folder.read("calibration.json")).unwrap();
    let rms = calibration["expected_pointing_error"]["rms_deg"].as_f64();
    let promise = format!(
        "the corrected mount is expected to point to {:.3} deg rms over the sky",
        rms.expect("a number")
    );
    let given = ["--calibration", "calibration.json"];
    for arguments in [&["table", "--out", "t.csv"][..], &["point", "120", "30"]] {
        let said = folder.said(&[arguments, &given].concat(), 0);
        assert!(said.contains(&promise), "{arguments:?}: {said}");
    }
}

/// The two most likely wrong files: a name mistyped, and one that is not a log at all.
#[test]
fn a_mistyped_name_and_a_text_instead_of_a_log_are_told_with_a_cure() {
    let folder = demo();
    let said = folder.said(&["solve", "peeks.csv"], 3);
    assert!(said.contains("peeks.csv: cannot read: "), "{said}");
    assert!(
        said.contains("\n  help: did you mean peaks.csv?\n"),
        "{said}"
    );
    folder.write(
        "notes.txt",
        "# The mount\n\nThe azimuth was off by a lot, the sun helped; more tomorrow, when the power is not off again\n",
    );
    let said = folder.said(&["solve", "notes.txt"], 3);
    assert!(said.contains("notes.txt:3:1: "), "{said}");
    assert!(said.contains("expected the columns time_utc"), "{said}");
    assert!(!said.contains("if these are meant"), "{said}");
}

#[test]
fn solve_reads_standard_input() {
    let bench = demo();
    let mut child = bench
        .command(&["solve", "-", "--json", "--quiet"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the command runs");
    let log = bench.read("peaks.csv");
    (child
        .stdin
        .take()
        .expect("its input")
        .write_all(log.as_bytes()))
    .expect("it reads");
    let piped = child.wait_with_output().expect("it ends");
    let whole: Value = serde_json::from_slice(&piped.stdout).expect("JSON");
    let named = bench.ends(&["solve", "peaks.csv", "--json", "--quiet"], 0);
    let named: Value = serde_json::from_slice(&named.stdout).expect("JSON");
    assert_eq!(
        whole["terms"], named["terms"],
        "the same log gives the same answer"
    );
}

#[test]
fn wrong_use_bad_input_and_thin_data_have_their_own_exit_codes() {
    let bench = demo();
    let wrong = bench.ends(&["solve", "peaks.csv", "--terms", "drop"], 2);
    assert!(
        text(&wrong.stderr).contains("droop"),
        "{}",
        text(&wrong.stderr)
    );
    bench.ends(&["solve", "peaks.csv", "--hold", "droop"], 2);
    bench.ends(&["solve"], 2);
    let missing = bench.ends(&["solve", "nowhere.csv"], 3);
    assert!(text(&missing.stderr).contains("nowhere.csv"));
    bench.write(
        "bad.csv",
        "time_utc,emitter,azimuth_deg,elevation_deg\n\
         2026-09-12T06:15:15,sun,10,20\n\
         2026-09-12T06:15:15Z,sum,10,400\n",
    );
    let bad = text(&bench.ends(&["solve", "bad.csv"], 3).stderr);
    for needed in ["bad.csv:2:1", "bad.csv:3:", "write sun", "400"] {
        assert!(bad.contains(needed), "{needed:?} is missing in\n{bad}");
    }
    // A mount that cannot be is refused before anything is solved.
    let astray = bench.ends(&["solve", "peaks.csv", "--hold", "collimation=50"], 2);
    let astray = text(&astray.stderr);
    assert!(
        astray.contains("collimation is 50; expected degrees from -45 to 45"),
        "{astray}"
    );
    bench.write(
        "one.csv",
        "time_utc,emitter,azimuth_deg,elevation_deg\n2026-09-12T12:00:00Z,sun,190,40\n",
    );
    let thin = text(&bench.ends(&["solve", "one.csv"], 4).stderr);
    assert!(thin.contains("more peaks"), "{thin}");
    assert!(
        !bench.path("calibration.json").exists(),
        "nothing is half-written"
    );
}

#[test]
fn an_azimuth_that_counts_the_wrong_way_is_said_and_not_fitted_through() {
    let bench = demo();
    let mirrored: String = (bench.read("peaks.csv").lines())
        .map(|line| {
            let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
            if let Some(azimuth) = cells.get(2).and_then(|c| c.parse::<f64>().ok()) {
                cells[2] = (-azimuth).to_string();
            }
            cells.join(",") + "\n"
        })
        .collect();
    bench.write("mirrored.csv", &mirrored);
    let said = text(&bench.ends(&["solve", "mirrored.csv"], 4).stderr);
    assert!(said.contains("wrong way round"), "{said}");
}

#[test]
fn simulate_makes_the_demo_session_again_and_demo_does_the_whole_job() {
    let bench = demo();
    let again = bench.ends(&["simulate", "--truth", "truth.toml", "--seed", "2"], 0);
    assert_eq!(
        text(&again.stdout),
        bench.read("peaks.csv"),
        "demo-data/peaks.csv is seed 2"
    );
    let done = text(&bench.ends(&["demo"], 0).stdout);
    assert!(
        done.contains("invented") && done.contains("plumbeam-demo"),
        "{done}"
    );
    for file in [
        "calibration.json",
        "corrections.csv",
        "report/report.html",
        "report.txt",
    ] {
        assert!(bench.path("plumbeam-demo").join(file).is_file(), "{file}");
    }
    bench.ends(&["demo"], 0);
    assert!(
        bench.path("plumbeam-demo-2").is_dir(),
        "an old demo is never overwritten"
    );
    bench.ends(&["demo", "--into", "plumbeam-demo"], 3);
}

/// A few peaks of the demo's mount with changes to its truth.
fn new_peaks(bench: &TestFolder, changes: &[(&str, &str)], seed: &str, name: &str) {
    let mut truth = bench.read("truth.toml");
    let spoil = truth.find("[[spoil]]").expect("spoilt rows");
    truth.truncate(spoil);
    for (from, to) in changes {
        assert!(truth.contains(from), "{from}");
        truth = truth.replace(from, to);
    }
    let truth = truth.replace("peaks = 60", "peaks = 6");
    bench.write("new-truth.toml", &truth);
    bench.ends(
        &[
            "simulate",
            "--truth",
            "new-truth.toml",
            "--seed",
            seed,
            "--out",
            name,
        ],
        0,
    );
}

#[test]
fn recheck_tells_a_moved_mount_from_an_unmoved_one() {
    let bench = demo();
    bench.ends(&["solve", "peaks.csv", "--quiet"], 0);
    new_peaks(&bench, &[], "11", "same.csv");
    let same = bench.ends(
        &[
            "recheck",
            "--against",
            "calibration.json",
            "same.csv",
            "--json",
        ],
        0,
    );
    let same: Value = serde_json::from_slice(&same.stdout).expect("JSON");
    assert_eq!(same["verdict"], "true", "{same}");
    assert!(same["probability"].as_f64().expect("a probability") < 0.05);

    // A move of two degrees in azimuth and half a degree of tilt on a beam of five.
    let moves = [
        ("azimuth-zero = 3.42", "azimuth-zero = 5.42"),
        ("tilt-north = 0.46", "tilt-north = 0.96"),
    ];
    new_peaks(&bench, &moves, "12", "moved.csv");
    let arguments = [
        "recheck",
        "--against",
        "calibration.json",
        "moved.csv",
        "--json",
    ];
    let moved = bench.ends(&[&arguments[..], &["--out", "joined.json"]].concat(), 1);
    let moved: Value = serde_json::from_slice(&moved.stdout).expect("JSON");
    assert_eq!(moved["verdict"], "moved", "{moved}");
    let terms = moved["moved_terms"].as_array().expect("moved terms");
    let of = |name: &str| terms.iter().find(|t| t["term"] == name);
    for (name, change) in [("azimuth-zero", 2.0), ("tilt-north", 0.5)] {
        let term = of(name).unwrap_or_else(|| panic!("{name} in {moved}"));
        let error = term["change_deg"].as_f64().expect("a change") - change;
        let sigma = term["sigma_deg"].as_f64().expect("a sigma");
        assert!(error.abs() < MOST_SIGMAS * sigma, "{name}: {term}");
    }
    assert!(
        moved["looks_like"]
            .as_str()
            .is_some_and(|l| l.contains("whole mount"))
    );
    // The joined calibration is true for the moved mount.
    let arguments = [
        "recheck",
        "--against",
        "joined.json",
        "moved.csv",
        "--quiet",
    ];
    bench.ends(&arguments, 0);
}

#[test]
fn a_history_tells_real_changes_from_noise() {
    let bench = demo();
    std::fs::create_dir(bench.path("old")).expect("a folder");
    let empty = text(&bench.ends(&["recheck", "--history", "old"], 3).stderr);
    assert!(empty.contains("without calibrations"), "{empty}");
    for (seed, changes) in [
        ("21", vec![]),
        ("22", vec![]),
        ("23", vec![("tilt-east = -0.71", "tilt-east = 0.29")]),
    ] {
        let mut truth = bench.read("truth.toml");
        for (from, to) in changes {
            truth = truth.replace(from, to);
        }
        bench.write("t.toml", &truth);
        bench.ends(
            &[
                "simulate", "--truth", "t.toml", "--seed", seed, "--out", "p.csv",
            ],
            0,
        );
        let out = format!("old/{seed}.json");
        bench.ends(&["solve", "p.csv", "--out", &out, "--quiet"], 0);
    }
    let history = bench.ends(&["recheck", "--history", "old", "--json"], 0);
    let history: Value = serde_json::from_slice(&history.stdout).expect("JSON");
    let terms = history["terms"].as_array().expect("terms");
    let real: Vec<(&str, usize)> = terms
        .iter()
        .flat_map(|t| {
            let points = t["points"].as_array().expect("points");
            let name = t["term"].as_str().expect("a name");
            points
                .iter()
                .enumerate()
                .filter(|(_, p)| p["real"] == true)
                .map(move |(i, _)| (name, i))
        })
        .collect();
    assert_eq!(real, [("tilt-east", 2)], "{history}");
}

/// The spread of some hundred resamplings is known to 5 %; the printed sigmas of terms that
/// no left-out term touches are the same quantity, estimated otherwise.
const RESAMPLED_SHARE: f64 = 0.35;

#[test]
fn the_bootstrap_agrees_with_the_printed_uncertainties() {
    let bench = demo();
    let arguments = [
        "solve",
        "peaks.csv",
        "--json",
        "--quiet",
        "--bootstrap",
        "300",
    ];
    let document: Value =
        serde_json::from_slice(&bench.ends(&arguments, 0).stdout).expect("one JSON document");
    let again: Value =
        serde_json::from_slice(&bench.ends(&arguments, 0).stdout).expect("one JSON document");
    assert_eq!(
        document["warnings"], again["warnings"],
        "the same seed, the same spread"
    );
    let said = (document["warnings"].as_array().expect("warnings").iter())
        .filter_map(Value::as_str)
        .find(|w| w.contains("300 resamplings"))
        .expect("the bootstrap is told");
    let after = said
        .split("axis tilt, east part ")
        .nth(1)
        .expect("the tilt");
    let mut numbers = after
        .split([' ', '(', ')'])
        .filter_map(|w| w.parse::<f64>().ok());
    let (resampled, printed) = (numbers.next().unwrap(), numbers.next().unwrap());
    assert!(
        (resampled / printed - 1.0).abs() < RESAMPLED_SHARE,
        "{said}"
    );
    bench.ends(&["solve", "peaks.csv", "--bootstrap", "5"], 2);
}
