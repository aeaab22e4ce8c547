//! Several made-up nights of one mount whose encoders may be zeroed anew between them.

use std::process::Output;

use crate::command::TestFolder;
use serde_json::Value;

/// A term is within so many of its standard deviations of the truth: by chance wrong once in
/// 16,000 looks, of which there are some thirty here.
const FAR: f64 = 4.0;
/// Tells a value from one of the other night.
const CLOSE_DEG: f64 = 0.3;

/// The zeros of a night, degrees.
#[derive(Clone, Copy)]
struct Zeros {
    azimuth: f64,
    elevation: f64,
}

const FIRST: Zeros = Zeros {
    azimuth: 3.42,
    elevation: -0.87,
};
/// What else the mount has in both nights.
const REST: [(&str, f64); 4] = [
    ("tilt-north", 0.46),
    ("tilt-east", -0.71),
    ("collimation", 0.55),
    ("droop", 0.42),
];
/// Rows of each night.
const ROWS: usize = 30;

/// The demo's invented station with two nights, `a.csv` and `b.csv`, a day apart.
fn two_nights(second: Zeros) -> TestFolder {
    let folder = TestFolder::with_demo(&["station.toml", "satellites.tle"]);
    folder.night("a.csv", 12, FIRST, "1");
    folder.night("b.csv", 13, second, "2");
    folder
}

impl TestFolder {
    fn night(&self, name: &str, day: u8, zeros: Zeros, seed: &str) {
        let mut truth = format!(
            "[terms]\nazimuth-zero = {}\nelevation-zero = {}\n",
            zeros.azimuth, zeros.elevation
        );
        for (term, value) in REST {
            truth.push_str(&format!("{term} = {value}\n"));
        }
        truth.push_str(&format!(
            "[session]\nfrom = \"2026-09-{day}T06:10:00Z\"\nto = \"2026-09-{day}T16:40:00Z\"\n\
             peaks = {ROWS}\n"
        ));
        self.write("truth.toml", &truth);
        let made = self.run(&["simulate", "--truth", "truth.toml", "--seed", seed]);
        assert_eq!(made.status.code(), Some(0), "{}", said(&made));
        self.write(name, &made.stdout);
    }
    #[track_caller]
    fn json(&self, arguments: &[&str]) -> Value {
        let output = self.run(&[arguments, &["--json"]].concat());
        assert_eq!(output.status.code(), Some(0), "{}", said(&output));
        serde_json::from_slice(&output.stdout).unwrap()
    }
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// The calibration has the zeros of that night, and the rest of the mount.
#[track_caller]
fn assert_zeros(calibration: &Value, zeros: Zeros) {
    let truth = [
        ("azimuth-zero", zeros.azimuth),
        ("elevation-zero", zeros.elevation),
    ];
    for (name, truth) in truth.into_iter().chain(REST) {
        let term = &calibration["terms"][name];
        let (value, sigma) = (term["value_deg"].as_f64(), term["sigma_deg"].as_f64());
        let (Some(value), Some(sigma)) = (value, sigma) else {
            panic!("{name} is not fitted: {term}");
        };
        assert!((value - truth).abs() < FAR * sigma, "{name}: {term}");
        assert!(sigma < CLOSE_DEG, "{name}: {term}");
    }
}

/// What was found beside the mount errors.
fn causes(calibration: &Value) -> Vec<Value> {
    calibration["causes"]
        .as_array()
        .cloned()
        .unwrap_or_default()
}

/// The one warning that says something of the logs' zeros.
#[track_caller]
fn warning_of_zeros(calibration: &Value) -> &str {
    let warnings = calibration["warnings"].as_array().unwrap();
    let of_zeros: Vec<&str> = (warnings.iter())
        .filter_map(Value::as_str)
        .filter(|w| w.contains("encoder zeros"))
        .collect();
    assert_eq!(of_zeros.len(), 1, "{warnings:?}");
    of_zeros[0]
}

#[test]
fn nights_with_the_same_zeros_are_one_session_and_that_is_said() {
    let folder = two_nights(FIRST);
    let solved = folder.json(&["solve", "a.csv", "b.csv"]);
    assert_zeros(&solved, FIRST);
    assert_eq!(
        warning_of_zeros(&solved),
        "the 2 logs are taken with the same encoder zeros: the data call for no others"
    );
    assert_eq!(causes(&solved).len(), 0);
    let output = folder.run(&["faults", "a.csv", "b.csv"]);
    assert!(
        said(&output)
            .contains("row numbers continue through the logs: 1 to 30 in a.csv, 31 to 60 in b.csv"),
        "{}",
        said(&output)
    );
}

#[test]
fn zeros_that_are_asked_for_are_those_of_the_last_night() {
    let second = Zeros {
        azimuth: -141.0,
        elevation: 12.3,
    };
    let folder = two_nights(second);
    let solved = folder.json(&["solve", "a.csv", "b.csv", "--zeros-per-log"]);
    assert_zeros(&solved, second);
    let warning = warning_of_zeros(&solved);
    assert!(
        warning.starts_with(
            "each log has its own encoder zeros, as requested; for the same direction there \
             changes, from a.csv to b.csv the azimuth reading by +144.4"
        ),
        "{warning}"
    );
    assert!(
        warning.ends_with("The zeros of the calibration are those of the last log, b.csv"),
        "{warning}"
    );
    // What was asked for is not a fault.
    assert_eq!(causes(&solved).len(), 0);
    let found = folder.json(&["faults", "a.csv", "b.csv", "--zeros-per-log"]);
    assert_eq!(found["findings"].as_array().unwrap().len(), 0, "{found}");

    // The last is the one that was taken last, whatever the order of the names.
    let swapped = folder.json(&["solve", "b.csv", "a.csv", "--zeros-per-log"]);
    assert_zeros(&swapped, second);

    // Pasted into one file with its header again it is the same.
    let read = |name: &str| folder.read(name);
    let pasted = read("a.csv") + &read("b.csv");
    folder.write("both.csv", &pasted);
    let pasted = folder.json(&["solve", "both.csv", "--zeros-per-log"]);
    assert_eq!(pasted["terms"], solved["terms"]);
}

#[test]
fn a_night_without_zeros_of_its_own_cannot_be_asked_for() {
    let folder = two_nights(FIRST);
    let output = folder.run(&["solve", "a.csv", "--zeros-per-log", "--json"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    assert!(
        said(&output).contains("--zeros-per-log changes nothing: there is one log only"),
        "{}",
        said(&output)
    );
}

#[test]
fn zeros_that_the_data_demand_are_found_and_said() {
    for second in [
        Zeros {
            azimuth: FIRST.azimuth + 1.3,
            elevation: FIRST.elevation - 0.9,
        },
        Zeros {
            azimuth: -141.0,
            elevation: 12.3,
        },
    ] {
        let folder = two_nights(second);
        let solved = folder.json(&["solve", "a.csv", "b.csv"]);
        assert_zeros(&solved, second);
        let warning = warning_of_zeros(&solved);
        assert!(
            warning.starts_with(
                "the data call for encoder zeros that differ between the logs; for the same \
                 direction there changes, from a.csv to b.csv the azimuth reading by "
            ),
            "{warning}"
        );
        // An encoder zero is added to the reading: where it has grown, the reading for the same
        // direction has become less.
        let causes = causes(&solved);
        for (axis, before, after) in [
            ("azimuth", FIRST.azimuth, second.azimuth),
            ("elevation", FIRST.elevation, second.elevation),
        ] {
            let cause = (causes.iter())
                .find(|c| c["fault"] == format!("{axis}-slip"))
                .unwrap_or_else(|| panic!("{axis}: {causes:?}"));
            let size = cause["size"].as_f64().unwrap();
            let expected = before - after;
            assert!((size - expected).abs() < CLOSE_DEG, "{cause}");
            assert_eq!(cause["row"], ROWS + 1);
        }
        assert_eq!(causes.len(), 2, "{causes:?}");
        // The other view says the same.
        let found = folder.json(&["faults", "a.csv", "b.csv"]);
        let named: Vec<&str> = (found["findings"].as_array().unwrap().iter())
            .filter_map(|f| f["fault"].as_str())
            .collect();
        assert_eq!(named.len(), 2, "{named:?}");
        let text = folder.run(&["faults", "a.csv", "b.csv"]);
        let text = String::from_utf8_lossy(&text.stdout).replace(['\n', ' '], "");
        assert!(text.contains("fromonelogtothenext"), "{text}");
    }
}

/// Three peaks of another evening are few, but their zeros are plainly others.
#[test]
fn a_short_log_with_other_zeros_is_not_taken_for_bad_peaks() {
    let folder = two_nights(FIRST);
    let second = Zeros {
        azimuth: -141.0,
        elevation: 12.3,
    };
    folder.night("b.csv", 13, second, "4");
    let file = folder.path("b.csv");
    let all = std::fs::read_to_string(&file).unwrap();
    let lines: Vec<&str> = all.lines().collect();
    let header = lines
        .iter()
        .position(|l| l.starts_with("time_utc"))
        .unwrap();
    let kept: Vec<&str> = (lines.iter().enumerate())
        .filter(|(i, _)| *i <= header || (i - header) % 10 == 1)
        .map(|(_, line)| *line)
        .collect();
    assert_eq!(kept.len(), header + 1 + 3);
    std::fs::write(&file, kept.join("\n") + "\n").unwrap();
    let solved = folder.json(&["solve", "a.csv", "b.csv"]);
    assert_zeros(&solved, second);
    assert_eq!(causes(&solved).len(), 2, "{:?}", causes(&solved));
}
