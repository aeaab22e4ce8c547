//! Made-up scans go through `reduce` and `solve` and give back the truth that they were made from.

use std::process::Stdio;

use crate::command::TestFolder;
use serde_json::Value;

/// A term is within so many of its standard deviations of the truth: by chance wrong once in
/// 16,000 looks, of which there are two dozen here.
const FAR: f64 = 4.0;

const TRUTH: [(&str, f64); 6] = [
    ("azimuth-zero", 3.42),
    ("elevation-zero", -0.87),
    ("tilt-north", 0.46),
    ("tilt-east", -0.71),
    ("collimation", 0.55),
    ("droop", 0.42),
];

/// The demo's invented station, and a truth file with `more` at its end.
fn demo_with_truth(more: &str) -> TestFolder {
    let folder = TestFolder::with_demo(&["station.toml", "satellites.tle"]);
    let mut truth = "[terms]\n".to_owned();
    for (term, value) in TRUTH {
        truth.push_str(&format!("{term} = {value}\n"));
    }
    truth.push_str(
        "[session]\nfrom = \"2026-09-12T06:10:00Z\"\nto = \"2026-09-12T16:40:00Z\"\npeaks = 40\n",
    );
    truth.push_str(more);
    folder.write("truth.toml", &truth);
    folder
}

impl TestFolder {
    #[track_caller]
    fn simulate(&self, seed: &str) -> String {
        let made = [
            "simulate",
            "--truth",
            "truth.toml",
            "--kind",
            "scans",
            "--seed",
            seed,
        ];
        self.gives(&made)
    }
}

#[track_caller]
fn assert_true(calibration: &Value) {
    for (name, truth) in TRUTH {
        let term = &calibration["terms"][name];
        let (value, sigma) = (term["value_deg"].as_f64(), term["sigma_deg"].as_f64());
        let (Some(value), Some(sigma)) = (value, sigma) else {
            panic!("{name} is not fitted: {term}");
        };
        assert!((value - truth).abs() < FAR * sigma, "{name}: {term}");
        assert!(sigma < 0.3, "{name}: {term}");
    }
    assert_eq!(
        TRUTH
            .map(|(name, _)| plumbeam::mount::Kind::AzEl.term_by_name(name))
            .iter()
            .flatten()
            .count(),
        6
    );
}

#[test]
fn scans_reduced_and_solved_give_back_the_truth() {
    for (more, seed) in [
        ("", "1"),
        (
            "[scans]\nway = \"raster\"\nsamples = 41\nsignal_to_noise = 50.0\n",
            "2",
        ),
        (
            "[scans]\nsignal_to_noise = 15.0\nhalf_length = 2.0\nbeside = 0.3\n",
            "3",
        ),
    ] {
        let folder = demo_with_truth(more);
        let scans = folder.simulate(seed);
        assert!(scans.starts_with("# An invented session, made by plumbeam simulate with seed"));
        folder.write("scans.csv", &scans);
        let peaks = folder.gives(&["reduce", "scans.csv", "--out", "peaks.csv", "--json"]);
        let reduced: Value = serde_json::from_str(&peaks).unwrap();
        let verdicts = reduced["scans"].as_array().unwrap();
        assert!(verdicts.len() >= 35);
        let good = verdicts.iter().filter(|s| s["verdict"] == "good").count();
        assert!(
            good * 10 >= verdicts.len() * 9,
            "{good} of {}",
            verdicts.len()
        );
        let solved = folder.gives(&["solve", "peaks.csv", "--json", "--terms", "+droop"]);
        assert_true(&serde_json::from_str(&solved).unwrap());
    }
}

#[test]
fn a_lag_and_a_backlash_are_found_apart() {
    let folder = demo_with_truth("[scans]\nlag_s = 0.4\n");
    let truth = folder.path("truth.toml");
    let text = std::fs::read_to_string(&truth).unwrap();
    let text = text.replacen("[terms]\n", "[terms]\nazimuth-backlash = 0.5\n", 1);
    std::fs::write(&truth, text).unwrap();
    let scans = folder.path("scans.csv");
    std::fs::write(&scans, folder.simulate("6")).unwrap();
    let reduced: Value =
        serde_json::from_str(&folder.gives(&["reduce", "scans.csv", "--json"])).unwrap();
    for (axis, backlash) in [("azimuth", 0.5), ("elevation", 0.0)] {
        let found = &reduced[axis];
        for (value, sigma, truth) in [
            ("lag_s", "lag_sigma_s", 0.4),
            ("backlash_deg", "backlash_sigma_deg", backlash),
        ] {
            let number = |key: &str| found[key].as_f64().unwrap_or_else(|| panic!("{found}"));
            let off = (number(value) - truth).abs();
            assert!(off < FAR * number(sigma), "{axis} {value}: {found}");
        }
    }
}

#[test]
fn the_example_of_the_help_works_in_a_pipe() {
    let folder = demo_with_truth("");
    let help = folder.gives(&["simulate", "--help"]);
    assert!(help.contains("--kind scans | plumbeam reduce - | plumbeam solve -"));
    assert!(help.contains("[scans]"));
    let scans = folder.simulate("5");
    let piped = |arguments: &[&str], input: String| {
        let mut child = folder
            .command(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut stdin = child.stdin.take().unwrap();
        let writer = std::thread::spawn(move || {
            std::io::Write::write_all(&mut stdin, input.as_bytes()).unwrap();
        });
        let output = child.wait_with_output().unwrap();
        writer.join().unwrap();
        assert_eq!(output.status.code(), Some(0), "{arguments:?}");
        String::from_utf8(output.stdout).unwrap()
    };
    let peaks = piped(&["reduce", "-"], scans);
    let solved = piped(&["solve", "-", "--json", "--terms", "+droop"], peaks);
    assert_true(&serde_json::from_str(&solved).unwrap());
}

#[test]
fn the_same_seed_makes_the_same_scans_and_peaks_stay_as_they_are() {
    let folder = demo_with_truth("[scans]\nlag_s = 0.2\n");
    assert_eq!(folder.simulate("7"), folder.simulate("7"));
    assert_ne!(folder.simulate("7"), folder.simulate("8"));
    let peaks = folder.gives(&["simulate", "--truth", "truth.toml", "--seed", "7"]);
    let named = folder.gives(&[
        "simulate",
        "--truth",
        "truth.toml",
        "--seed",
        "7",
        "--kind",
        "peaks",
    ]);
    assert_eq!(peaks, named);
    assert!(peaks.contains("time_utc,emitter,azimuth_deg"));
}

#[test]
fn wrong_scans_are_told_what_was_expected() {
    for (more, code, said) in [
        ("[scans]\nsamples = 2\n", 3, "samples in [scans]"),
        ("[scans]\nway = \"spiral\"\n", 3, "unknown variant"),
        ("[scans]\nsamplez = 9\n", 3, "samplez"),
        ("[scans]\nseconds_a_pass = 900.0\n", 2, "one takes 7206 s"),
    ] {
        let folder = demo_with_truth(more);
        let output = folder.run(&["simulate", "--truth", "truth.toml", "--kind", "scans"]);
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(code), "{more}: {told}");
        assert!(told.contains(said), "{more}: {told}");
        assert!(output.stdout.is_empty());
    }
}
