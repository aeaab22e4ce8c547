//! What `solve` says when the log or the station file is not what it seems, by the built binary
//! on the demo's invented session, spoilt on the way.

use std::path::Path;
use std::process::Output;

use crate::command::command;
use serde_json::Value;
use tempfile::TempDir;

/// The demo's files in a folder of their own, its log and station changed line by line.
fn spoilt(peak: impl Fn(Vec<String>) -> Vec<String>, station: impl Fn(&str) -> String) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    let demo = Path::new("demo-data");
    let read = |name: &str| std::fs::read_to_string(demo.join(name)).unwrap();
    let log: Vec<String> = (read("peaks.csv").lines())
        .map(|line| match line.starts_with("20") {
            true => peak(line.split(',').map(str::to_owned).collect()).join(","),
            false => line.to_owned(),
        })
        .collect();
    let put = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
    put("peaks.csv", &(log.join("\n") + "\n"));
    put("station.toml", &station(&read("station.toml")));
    put("satellites.tle", &read("satellites.tle"));
    folder
}

fn as_it_is(text: &str) -> String {
    text.to_owned()
}

fn solve(folder: &TempDir, more: &[&str]) -> Output {
    command(folder.path(), &["solve", "peaks.csv", "--quiet"])
        .args(more)
        .output()
        .unwrap()
}

fn out(output: &Output) -> String {
    let joined: String = String::from_utf8_lossy(&output.stdout).into_owned();
    // Lines are broken where they happen to be full.
    joined.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn err(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[test]
fn azimuths_alone_leave_the_elevation_zero_untold() {
    /// In standard deviations.
    const FAR_OFF: f64 = 4.0;
    let folder = spoilt(
        |mut cells| {
            cells[3].clear();
            cells
        },
        as_it_is,
    );
    let output = solve(&folder, &["--json"]);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    let found: Value = serde_json::from_slice(&output.stdout).unwrap();
    let terms = &found["terms"];
    assert_eq!(terms["elevation-zero"]["state"], "not separable");
    assert_eq!(terms["elevation-zero"]["value_deg"], 0.0);
    let truth = [
        ("azimuth-zero", 3.42),
        ("tilt-north", 0.46),
        ("tilt-east", -0.71),
    ];
    for (name, truth) in truth {
        let number = |key: &str| terms[name][key].as_f64().unwrap();
        let off = (number("value_deg") - truth) / number("sigma_deg");
        assert!(off.abs() < FAR_OFF, "{name}: {off}");
    }
}

#[test]
fn nobody_is_sent_to_the_bolts_by_a_wrong_longitude() {
    let folder = spoilt(
        |cells| cells,
        |text| text.replace("longitude_deg = 7.3300", "longitude_deg = -7.3300"),
    );
    let output = solve(&folder, &[]);
    let said = out(&output);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert!(
        said.contains("The log fits only with a longitude of"),
        "{said}"
    );
    assert!(said.contains("Correct that first"), "{said}");
    for word in ["WHAT CAN BE DONE BY HAND", "raise", "plumbeam table"] {
        assert!(!said.contains(word), "{word}");
    }
    let written = std::fs::read_to_string(folder.path().join("calibration.json")).unwrap();
    assert!(written.contains("\"trust\": \"none\""), "{written}");
}

#[test]
fn a_log_in_another_time_zone_is_called_so_and_nobody_is_sent_out() {
    let folder = spoilt(
        |mut cells| {
            // Two hours late: local time written down as if it were universal.
            let hour: u32 = cells[0][11..13].parse().unwrap();
            cells[0].replace_range(11..13, &format!("{:02}", hour + 2));
            cells
        },
        as_it_is,
    );
    for more in [&[][..], &["--json"][..]] {
        let output = solve(&folder, more);
        assert_eq!(output.status.code(), Some(0), "{}", err(&output));
        let said = out(&output);
        assert!(said.contains("add -2 h"), "{said}");
        assert!(!said.contains("WHAT CAN BE DONE BY HAND"), "{said}");
    }
}

#[test]
fn elevations_from_the_zenith_are_asked_about() {
    let folder = spoilt(
        |mut cells| {
            let elevation: f64 = cells[3].parse().unwrap();
            cells[3] = format!("{:.3}", 90.0 - elevation);
            cells
        },
        as_it_is,
    );
    let said = out(&solve(&folder, &[]));
    assert!(said.contains("counted from the zenith"), "{said}");
    assert!(!said.contains("WHAT CAN BE DONE BY HAND"), "{said}");
}

#[test]
fn a_hold_against_the_peaks_is_said() {
    let folder = spoilt(|cells| cells, as_it_is);
    let against = ["--hold", "tilt-north=2", "--json"];
    let output = solve(&folder, &against);
    let found: Value = serde_json::from_slice(&output.stdout).unwrap();
    let warned = |found: &Value| {
        (found["warnings"].as_array().unwrap().iter()).any(|w| {
            w.as_str()
                .unwrap()
                .contains("tilt-north is held at 2.0 deg, but the peaks call")
        })
    };
    assert!(warned(&found), "{}", found["warnings"]);
    let output = solve(&folder, &["--hold", "tilt-north=0.45", "--json"]);
    let found: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert!(!found["warnings"].to_string().contains("is held at"));
}
