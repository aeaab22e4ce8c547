//! `plumbeam recheck` as a whole command: a before and an after from the same invented truth,
//! moved and unmoved, made by `simulate` and solved by `solve`.

use crate::command::{TestFolder, text};
use serde_json::Value;

/// The invented mount before anything happens; beam 5.15 degrees, so the usual limit is 0.515.
const BEFORE: [(&str, f64); 7] = [
    ("azimuth-zero", 3.42),
    ("elevation-zero", -0.87),
    ("tilt-north", 0.46),
    ("tilt-east", -0.71),
    ("collimation", 0.55),
    ("droop", 0.42),
    ("azimuth-backlash", 0.64),
];
/// A change is the truth's within so many of its standard deviations: by chance wrong once in
/// 16,000 looks, of which there are a few dozen here.
const FAR: f64 = 4.0;

/// With the demo's station, and a calibration of the mount as it was.
fn calibrated_demo() -> TestFolder {
    let folder = TestFolder::with_demo(&["station.toml", "satellites.tle"]);
    folder.calibrate("calibration.json", &[], "2026-09-12", 1);
    folder
}

impl TestFolder {
    /// Peaks of the mount after `changes`, which are added to the truth.
    fn observe(&self, log: &str, changes: &[(&str, f64)], day: &str, peaks: usize, seed: u64) {
        let mut truth = "[terms]\n".to_owned();
        for (term, before) in BEFORE {
            let by: f64 = (changes.iter())
                .filter(|(name, _)| *name == term)
                .map(|(_, by)| by)
                .sum();
            truth.push_str(&format!("{term} = {}\n", before + by));
        }
        truth.push_str(&format!(
            "[noise]\ncross_elevation_deg = 0.07\nelevation_deg = 0.07\nresolution_deg = 0.01\n\
             [session]\nfrom = \"{day}T06:10:00Z\"\nto = \"{day}T16:40:00Z\"\npeaks = {peaks}\n\
             approach_logged = true\n"
        ));
        std::fs::write(self.path("truth.toml"), truth).unwrap();
        let seed = seed.to_string();
        self.ends(
            &[
                "simulate",
                "--truth",
                "truth.toml",
                "--seed",
                &seed,
                "--out",
                log,
            ],
            0,
        );
    }
    fn calibrate(&self, file: &str, changes: &[(&str, f64)], day: &str, seed: u64) {
        self.observe("before.csv", changes, day, 60, seed);
        self.ends(&["solve", "before.csv", "--out", file], 0);
    }
    /// Rechecks new peaks: exit code and the machine-readable answer.
    fn recheck(&self, more: &[&str]) -> (i32, Value) {
        let mut arguments = vec!["recheck", "--against", "calibration.json", "after.csv"];
        arguments.extend(["--json"]);
        arguments.extend(more);
        let output = self.run(&arguments);
        let found = serde_json::from_slice(&output.stdout)
            .unwrap_or_else(|e| panic!("{e}: {}", text(&output.stderr)));
        (output.status.code().unwrap(), found)
    }
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is none"))
}

fn moved<'a>(found: &'a Value, term: &str) -> Option<&'a Value> {
    let all = found["moved_terms"].as_array().unwrap();
    all.iter().find(|m| m["term"] == term)
}

/// Whether the term is named as moved, by what it did move.
#[track_caller]
fn assert_moved(found: &Value, term: &str, by: f64) {
    let moved = moved(found, term).unwrap_or_else(|| panic!("{term} is not named: {found}"));
    let (change, sigma) = (number(&moved["change_deg"]), number(&moved["sigma_deg"]));
    assert!((change - by).abs() < FAR * sigma, "{moved}");
    let (before, now) = (number(&moved["before_deg"]), number(&moved["now_deg"]));
    assert!((now - before - change).abs() < 1e-9, "{moved}");
}

#[test]
fn an_unmoved_mount_is_true_with_any_number_of_peaks() {
    let folder = calibrated_demo();
    for (peaks, seed) in [(3, 11), (3, 12), (5, 13), (8, 14), (20, 15)] {
        folder.observe("after.csv", &[], "2026-09-13", peaks, seed);
        let (code, found) = folder.recheck(&[]);
        assert_eq!((code, &found["verdict"]), (0, &Value::from("true")));
        assert!(number(&found["probability"]) < 0.05, "{found}");
        assert!(
            found["moved_terms"].as_array().unwrap().is_empty(),
            "{found}"
        );
        assert_eq!(found["looks_like"], "no change");
        // Well under the limit, and its cost with it.
        assert!(number(&found["loss_db"]) < 0.05, "{found}");
        assert_eq!(found["distances"].as_array().unwrap().len(), peaks);
    }
}

#[test]
fn a_mount_set_down_anew_is_moved_and_the_turn_and_lean_are_told() {
    let folder = calibrated_demo();
    let change = [
        ("azimuth-zero", -2.5),
        ("tilt-north", 1.1),
        ("tilt-east", 0.9),
    ];
    for (peaks, seed) in [(4, 21), (6, 22), (12, 23)] {
        folder.observe("after.csv", &change, "2026-09-13", peaks, seed);
        let (code, found) = folder.recheck(&["--out", "joined.json"]);
        assert_eq!((code, &found["verdict"]), (1, &Value::from("moved")));
        assert!(number(&found["probability"]) > 0.95, "{found}");
        assert_eq!(found["looks_like"], "a move of the whole mount");
        for (term, by) in change {
            assert_moved(&found, term, by);
        }
        assert!(moved(&found, "elevation-zero").is_none(), "{found}");
        // 1.4 degrees of lean and 2.5 of turn over the sky: about 2 degrees of 5, rms.
        assert!((1.0..3.0).contains(&number(&found["error_deg"])), "{found}");
        assert!(number(&found["loss_db"]) > 0.4, "{found}");
    }
    // The joined calibration holds for what comes next; the old one does not.
    folder.observe("after.csv", &change, "2026-09-14", 6, 24);
    assert_eq!(folder.recheck(&[]).0, 1);
    std::fs::rename(folder.path("joined.json"), folder.path("calibration.json")).unwrap();
    assert_eq!(folder.recheck(&[]).0, 0);
    folder.ends(
        &["point", "--calibration", "calibration.json", "180", "35"],
        0,
    );
}

#[test]
fn a_move_comes_with_what_to_mend_and_the_next_command() {
    let folder = calibrated_demo();
    // The azimuth encoder slipped by 2.0, from 3.42 to 5.42.
    folder.observe("after.csv", &[("azimuth-zero", 2.0)], "2026-09-13", 6, 25);
    let report = |more: &[&str]| {
        let bare = ["recheck", "--against", "calibration.json", "after.csv"];
        let output = folder.run(&[&bare[..], more].concat());
        assert_eq!(output.status.code(), Some(1), "{}", text(&output.stderr));
        text(&output.stdout)
    };
    let said = report(&[]);
    let flat = said.split_whitespace().collect::<Vec<_>>().join(" ");
    // What is to be entered is the whole zero as it is now, not the change.
    let entered = flat.split("Enter +").nth(1).expect("an offset to enter");
    let offset: f64 = entered.split(' ').next().unwrap().parse().unwrap();
    assert!((offset - 5.42).abs() < 0.6, "{said}");
    assert!(
        flat.contains("WHAT CAN BE DONE BY HAND, about what moved"),
        "{said}"
    );
    assert!(flat.contains("Isolate the drive's power first"), "{said}");
    // What did not move is no matter of a recheck.
    assert!(!flat.contains("axis's top leans"), "{said}");
    assert!(
        flat.contains("plumbeam plan --calibration calibration.json --for 2h"),
        "{said}"
    );
    assert!(
        flat.contains("plumbeam recheck --against calibration.json after.csv --out joined.json"),
        "{said}"
    );
    assert!(
        flat.contains("plumbeam table --calibration joined.json"),
        "{said}"
    );
    for line in said.lines() {
        assert!(line.chars().count() <= 100, "{line}");
    }
    // With the joined calibration written it is the one to go on with.
    let written = report(&["--out", "after.json"]);
    assert!(
        written.contains("plumbeam table --calibration after.json"),
        "{written}"
    );
    assert!(!written.contains("--out joined.json"), "{written}");

    let (_, found) = folder.recheck(&[]);
    let remedies = found["remedies"].as_array().unwrap();
    assert_eq!(remedies.len(), 1, "{found}");
    assert_eq!(remedies[0]["term"], "azimuth-zero");
    assert!(
        found["next"][0]
            .as_str()
            .unwrap()
            .starts_with("plumbeam plan ")
    );

    // A lean: how to raise which foot, by the station file's feet.
    let lean = [("tilt-north", 1.2), ("tilt-east", -1.0)];
    folder.observe("after.csv", &lean, "2026-09-13", 8, 26);
    let said = report(&[]);
    let flat = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains("Foot at azimuth 30 deg, 450 mm from the axis:"),
        "{said}"
    );
    // The top now leans 1.66 north and 1.71 west: toward azimuth 314.
    assert!(flat.contains("(north-west)"), "{said}");

    // What has not moved needs nothing.
    folder.observe("after.csv", &[], "2026-09-13", 6, 27);
    let (code, found) = folder.recheck(&[]);
    assert_eq!(code, 0);
    assert!(found["remedies"].as_array().unwrap().is_empty());
    assert!(found["next"].as_array().unwrap().is_empty());
}

#[test]
fn a_move_is_told_from_slips_leans_and_a_knocked_dish() {
    let folder = calibrated_demo();
    type Case<'a> = (&'a str, &'a [(&'a str, f64)]);
    let cases: [Case; 4] = [
        (
            "a slip of the azimuth axis or its encoder",
            &[("azimuth-zero", 2.0)],
        ),
        (
            "a slip of the elevation axis or its encoder",
            &[("elevation-zero", -1.5)],
        ),
        (
            "a mount that leans differently: settled ground, or a foot that gave way",
            &[("tilt-north", 1.2), ("tilt-east", -1.0)],
        ),
        (
            "a change in the dish or its feed",
            &[("elevation-zero", 1.2), ("collimation", -1.6)],
        ),
    ];
    for (seed, (looks_like, changes)) in (31..).zip(cases) {
        folder.observe("after.csv", changes, "2026-09-13", 6, seed);
        let (code, found) = folder.recheck(&[]);
        assert_eq!(code, 1, "{looks_like}: {found}");
        assert_eq!(found["looks_like"], looks_like, "{found}");
        for (term, by) in changes {
            assert_moved(&found, term, *by);
        }
        let named = found["moved_terms"].as_array().unwrap().len();
        assert_eq!(named, changes.len(), "{found}");
    }
}

#[test]
fn a_limit_finer_than_the_peaks_can_tell_ends_with_four_and_says_what_to_observe() {
    let folder = calibrated_demo();
    folder.observe("after.csv", &[], "2026-09-13", 3, 41);
    let (code, found) = folder.recheck(&["--limit", "0.05"]);
    assert_eq!((code, &found["verdict"]), (4, &Value::from("cannot tell")));
    let advice = found["advice"].as_str().unwrap();
    assert!(
        advice.contains("azimuth") && advice.contains("elevation"),
        "{advice}"
    );
    let said = folder.run(&[
        "recheck",
        "--against",
        "calibration.json",
        "after.csv",
        "--limit",
        "0.05",
    ]);
    let said = text(&said.stdout);
    assert!(said.starts_with("CANNOT TELL: "), "{said}");
    assert!(said.contains("What to observe: "), "{said}");
    // Two numbers for what is not known, and what each of them is.
    let flat = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains("leave possible, rms, would fall from"),
        "{said}"
    );
    assert!(flat.contains("the +/- above is something else"), "{said}");
}

#[test]
fn one_bad_peak_among_new_ones_is_left_out_and_named() {
    let folder = calibrated_demo();
    folder.observe("after.csv", &[], "2026-09-13", 8, 51);
    let log = std::fs::read_to_string(folder.path("after.csv")).unwrap();
    // The fourth peak: its elevation three degrees too high.
    let mut row = 0;
    let spoilt: Vec<String> = (log.lines())
        .map(|line| {
            if !line.starts_with("20") {
                return line.to_owned();
            }
            row += 1;
            let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
            if row == 4 {
                cells[3] = format!("{:.2}", cells[3].parse::<f64>().unwrap() + 3.0);
            }
            cells.join(",")
        })
        .collect();
    std::fs::write(folder.path("after.csv"), spoilt.join("\n") + "\n").unwrap();
    let (code, found) = folder.recheck(&[]);
    assert_eq!(code, 0, "{found}");
    assert_eq!(found["odd_rows"], serde_json::json!([4]));
}

#[test]
fn words_and_numbers_say_the_same() {
    let folder = calibrated_demo();
    let change = [("azimuth-zero", 2.0)];
    folder.observe("after.csv", &change, "2026-09-13", 5, 61);
    let output = folder.run(&["recheck", "--against", "calibration.json", "after.csv"]);
    assert_eq!(output.status.code(), Some(1));
    let said = text(&output.stdout);
    assert!(said.starts_with("MOVED: the probability that"), "{said}");
    let flat = said.split_whitespace().collect::<Vec<_>>().join(" ");
    for wanted in [
        "deg; it costs 1.",
        "dB on this beam of 5.15 deg.",
        "It looks like a slip of the azimuth axis",
        "WHAT MOVED",
        "azimuth zero",
        "NEW PEAKS",
    ] {
        assert!(flat.contains(wanted), "{wanted}: {said}");
    }
    assert!(said.lines().all(|l| l.chars().count() <= 100), "{said}");
    // Far beyond the beam there is no sensible loss.
    folder.observe("after.csv", &[("azimuth-zero", 90.0)], "2026-09-13", 4, 62);
    let (code, found) = folder.recheck(&[]);
    assert_eq!(code, 1);
    assert_moved(&found, "azimuth-zero", 90.0);
    assert!(found["loss_db"].is_null(), "{found}");
    let output = folder.run(&["recheck", "--against", "calibration.json", "after.csv"]);
    let said = text(&output.stdout);
    let flat = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains("deg; the signal is lost, beyond the main lobe, on this beam of 5.15 deg."),
        "{said}"
    );
    let with_page = ["recheck", "--against", "calibration.json", "after.csv"];
    let output = folder.run(&[&with_page[..], &["--report", "r"]].concat());
    assert_eq!(output.status.code(), Some(1));
    let page = std::fs::read_to_string(folder.path("r/recheck.html")).unwrap();
    assert!(page.contains("the signal is lost, beyond the main lobe"));
}

#[test]
fn a_history_tells_which_changes_are_real() {
    let folder = calibrated_demo();
    std::fs::create_dir(folder.path("old")).unwrap();
    let lean = [("tilt-north", 0.0), ("tilt-east", 0.6)];
    for (month, changes, seed) in [
        ("05", &[][..], 71),
        ("06", &[][..], 72),
        ("07", &lean[..], 73),
        ("08", &lean[..], 74),
    ] {
        let file = format!("old/2026-{month}.json");
        folder.calibrate(&file, changes, "2026-09-12", seed);
        // Calibrations are dated by when they are made.
        let made = std::fs::read_to_string(folder.path(&file)).unwrap();
        let mut document: Value = serde_json::from_str(&made).unwrap();
        document["created_utc"] = Value::from(format!("2026-{month}-03T10:00:00Z"));
        std::fs::write(folder.path(&file), document.to_string()).unwrap();
    }
    let output = folder.ends(&["recheck", "--history", "old", "--json"], 0);
    let found: Value = serde_json::from_slice(&output.stdout).unwrap();
    let mut real = Vec::new();
    for term in found["terms"].as_array().unwrap() {
        for point in term["points"].as_array().unwrap() {
            if point["real"] == true {
                real.push((term["term"].as_str().unwrap(), point["file"].clone()));
                let (by, sigma) = (number(&point["change"]), number(&point["change_sigma"]));
                assert!((by - 0.6).abs() < FAR * sigma, "{point}");
            }
        }
    }
    assert_eq!(real, [("tilt-east", Value::from("2026-07.json"))]);
    let output = folder.ends(&["recheck", "--history", "old", "--report", "pictures"], 0);
    let said = text(&output.stdout);
    assert!(said.contains("Real changes:"), "{said}");
    assert!(
        said.contains("axis tilt, east part changed by +0."),
        "the size is not told: {said}"
    );
    let page = std::fs::read_to_string(folder.path("pictures/history.html")).unwrap();
    // More terms than fit one picture stand in two.
    assert!(page.contains("<figure id=\"history-1\""), "no picture");
    let png = std::fs::read(folder.path("pictures/history-1.png")).unwrap();
    assert!(png.starts_with(b"\x89PNG"));
    assert!(folder.path("pictures/history-1.svg").exists());
    // An unfinished file that a crash has left is not a calibration and in nobody's way.
    std::fs::write(folder.path("old/.plumbeam-1234.part"), "{\"form").unwrap();
    folder.ends(&["recheck", "--history", "old"], 0);
    // A damaged one is left out and named; the others are shown as before.
    std::fs::write(folder.path("old/2026-09.json"), "{\"form").unwrap();
    let rest = folder.ends(&["recheck", "--history", "old"], 0);
    let warned = text(&rest.stderr);
    assert!(warned.contains("left out: old/2026-09.json:1:"), "{warned}");
    let shown = text(&rest.stdout);
    assert!(shown.contains("2026-09.json is left out"), "{shown}");
    assert!(shown.contains("Real changes:"), "{shown}");
    // Only where none is left the folder is refused.
    std::fs::create_dir(folder.path("bad")).unwrap();
    std::fs::write(folder.path("bad/2026-09.json"), "{\"form").unwrap();
    let refused = folder.run(&["recheck", "--history", "bad"]);
    assert_eq!(refused.status.code(), Some(3));
    assert!(text(&refused.stderr).contains("2026-09.json"));
    // And a folder without any is told.
    std::fs::create_dir(folder.path("empty")).unwrap();
    assert_eq!(
        folder.run(&["recheck", "--history", "empty"]).status.code(),
        Some(3)
    );
    // One with more files than any history has is not read at all.
    for k in 0..=2000 {
        std::fs::write(folder.path(&format!("empty/{k}.json")), "").unwrap();
    }
    let refused = folder.run(&["recheck", "--history", "empty"]);
    assert_eq!(refused.status.code(), Some(3));
    assert!(text(&refused.stderr).contains("more than 2000 files"));
}

#[test]
fn without_a_sky_nothing_is_true() {
    let folder = calibrated_demo();
    folder.observe("after.csv", &[], "2026-09-13", 3, 81);
    // A station that leaves no sky between the lowest elevation and 80 degrees: an error over
    // nothing is none, and says nothing.
    let station = std::fs::read_to_string(folder.path("station.toml")).unwrap();
    let narrow = station.replace(
        "elevation_range_deg = [0.0, 90.0]",
        "elevation_range_deg = [81.0, 90.0]",
    );
    assert_ne!(narrow, station);
    std::fs::write(folder.path("station.toml"), narrow).unwrap();
    let output = folder.run(&["recheck", "--against", "calibration.json", "after.csv"]);
    assert_eq!(output.status.code(), Some(4), "{}", text(&output.stdout));
    assert!(output.stdout.is_empty());
    assert!(
        text(&output.stderr).contains("there is no sky"),
        "{}",
        text(&output.stderr)
    );
}

/// The standard deviations of a calibration's terms in degrees, by name.
fn sigmas(folder: &TestFolder, file: &str) -> Vec<(String, f64)> {
    let written = std::fs::read(folder.path(file)).unwrap();
    let calibration: Value = serde_json::from_slice(&written).unwrap();
    (calibration["terms"].as_object().unwrap().iter())
        .filter_map(|(name, record)| Some((name.clone(), record["sigma_deg"].as_f64()?)))
        .collect()
}

#[test]
fn joining_peaks_of_an_unmoved_mount_makes_no_term_worse_known() {
    let folder = calibrated_demo();
    folder.observe("after.csv", &[], "2026-09-13", 3, 11);
    let (code, found) = folder.recheck(&["--out", "joined.json"]);
    assert_eq!((code, &found["looks_like"]), (0, &Value::from("no change")));
    let before = sigmas(&folder, "calibration.json");
    let after = sigmas(&folder, "joined.json");
    assert!(before.len() >= 6, "{before:?}");
    for ((name, before), (same, after)) in before.iter().zip(&after) {
        assert_eq!(name, same);
        // A part in a million guards the covariance against rounding.
        assert!(
            *after <= before * (1.0 + 1e-5),
            "{name}: {before} to {after}"
        );
    }
    // Cannot tell: what may have moved is set free, and both the file and the terminal say so.
    let arguments = ["--limit", "0.05", "--out", "open.json", "--json"];
    let base = ["recheck", "--against", "calibration.json", "after.csv"];
    let output = folder.run(&[&base[..], &arguments[..]].concat());
    assert_eq!(output.status.code(), Some(4));
    assert!(text(&output.stderr).contains("leaves open whether the mount moved"));
    let open = std::fs::read_to_string(folder.path("open.json")).unwrap();
    assert!(
        open.contains("could not tell whether the mount moved: azimuth-zero"),
        "{open}"
    );
}

#[test]
fn a_change_seen_but_near_the_limit_is_joined_as_seen() {
    let folder = calibrated_demo();
    folder.observe("after.csv", &[("azimuth-zero", 0.7)], "2026-09-13", 6, 95);
    let output = folder.run(&[
        "recheck",
        "--against",
        "calibration.json",
        "after.csv",
        "--limit",
        // About what 0.7 degrees of azimuth are over the sky.
        "0.53",
        "--out",
        "joined.json",
    ]);
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(4), "{}", text(&output.stdout));
    assert!(
        said.contains("takes the change that the peaks show"),
        "{said}"
    );
    let joined = std::fs::read_to_string(folder.path("joined.json")).unwrap();
    assert!(
        joined.contains("set free: a slip of the azimuth axis"),
        "{joined}"
    );
    assert!(!joined.contains("could not tell whether"), "{joined}");
}

#[test]
fn a_history_agrees_with_the_recheck_that_joined_it() {
    let folder = calibrated_demo();
    // About as much as is told by a recheck, but would drown in what both calibrations do not
    // know of azimuth zero if they were independent.
    let change = [("azimuth-zero", 0.6)];
    folder.observe("after.csv", &change, "2026-09-13", 6, 91);
    std::fs::create_dir(folder.path("old")).unwrap();
    std::fs::copy(folder.path("calibration.json"), folder.path("old/1.json")).unwrap();
    let (_, found) = folder.recheck(&["--limit", "0.3", "--out", "old/2.json"]);
    assert_eq!(found["verdict"], "moved", "{found}");
    let told = found["moved_terms"].as_array().unwrap();
    assert!(moved(&found, "azimuth-zero").is_some(), "{found}");
    let output = folder.ends(&["recheck", "--history", "old", "--json"], 0);
    let history: Value = serde_json::from_slice(&output.stdout).unwrap();
    let mut real = 0;
    for term in history["terms"].as_array().unwrap() {
        let name = term["term"].as_str().unwrap();
        for point in term["points"].as_array().unwrap().iter().skip(1) {
            let named = told.iter().find(|m| m["term"] == name);
            assert_eq!(point["real"] == true, named.is_some(), "{name}: {point}");
            let Some(named) = named else { continue };
            real += 1;
            // What goes through the file is rounded once more than what is reported.
            for (one, other) in [("change", "change_deg"), ("change_sigma", "sigma_deg")] {
                let off = number(&point[one]) - number(&named[other]);
                assert!(off.abs() < 1e-4, "{name}: {point} and {named}");
            }
        }
    }
    assert_eq!(real, told.len());
    let said = text(&folder.ends(&["recheck", "--history", "old"], 0).stdout);
    assert!(
        said.contains("azimuth zero changed by +0.") && said.contains("2.json was joined"),
        "{said}"
    );
}

#[test]
fn peaks_far_off_are_not_true_for_a_small_error_over_the_sky() {
    let folder = calibrated_demo();
    folder.observe("after.csv", &[("azimuth-zero", 10.0)], "2026-09-13", 8, 101);
    // Near the zenith, the only sky that this station says it has, ten degrees of azimuth are two
    // on the sky; where the peaks lie they are eight.
    let station = std::fs::read_to_string(folder.path("station.toml")).unwrap();
    let narrow = station.replace(
        "elevation_range_deg = [0.0, 90.0]",
        "elevation_range_deg = [75.0, 90.0]",
    );
    assert_ne!(narrow, station);
    std::fs::write(folder.path("station.toml"), narrow).unwrap();
    let (code, found) = folder.recheck(&["--limit", "3", "--out", "joined.json"]);
    assert!(number(&found["error_deg"]) < 3.0, "{found}");
    assert!(number(&found["probability"]) < 0.05, "{found}");
    assert_eq!((code, &found["verdict"]), (4, &Value::from("cannot tell")));
    assert!(!folder.path("joined.json").exists());
}
