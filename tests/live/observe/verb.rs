//! The whole command, on its pretended dish and over sockets.

use std::path::Path;

use crate::command::plumbeam;

use crate::dish::pretended_dish;

/// A folder with a station of six marks.
pub fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let rig = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/rig");
    std::fs::copy(
        rig.join("station-plain.toml"),
        folder.path().join("station.toml"),
    )
    .unwrap();
    folder
}

const AT: [&str; 3] = ["observe", "--practice", "--at=2026-09-12T10:00:00Z"];

#[test]
fn a_practice_ends_with_logs_a_calibration_and_a_report() {
    let folder = folder();
    let mut arguments = AT.to_vec();
    arguments.extend(["--report", "report"]);
    let output = plumbeam(folder.path(), &arguments, 0);
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(said.contains("practice: everything is pretended"), "{said}");
    assert!(
        said.contains("the pointing error that was asked for is reached"),
        "{said}"
    );
    assert!(
        said.contains("the same once more at half the speed"),
        "{said}"
    );
    let found = String::from_utf8_lossy(&output.stdout);
    assert!(found.contains("azimuth zero"), "{found}");
    for file in [
        "scans.csv",
        "peaks.csv",
        "calibration.json",
        "report/report.html",
    ] {
        assert!(folder.path().join(file).is_file(), "{file}");
    }
    // The same log gives the same peaks to reduce, and the same calibration to solve.
    let peaks = std::fs::read_to_string(folder.path().join("peaks.csv")).unwrap();
    let again = plumbeam(folder.path(), &["reduce", "scans.csv", "--quiet"], 0);
    let again = String::from_utf8_lossy(&again.stdout).into_owned();
    let rows = |text: &str| {
        text.lines()
            .filter(|line| !line.starts_with('#'))
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    let (one, other) = (rows(&peaks), rows(&again));
    assert_eq!(one.len(), other.len());
    assert_eq!(one[0], other[0]);
}

#[test]
fn machines_get_a_line_for_each_thing_and_a_stop_has_its_exit_code() {
    let folder = folder();
    let mut arguments = AT.to_vec();
    arguments.extend(["--json", "--fault", "stuck-axis-1@300"]);
    let output = plumbeam(folder.path(), &arguments, 1);
    let out = String::from_utf8_lossy(&output.stdout);
    let lines: Vec<serde_json::Value> = (out.lines())
        .map_while(|line| serde_json::from_str(line).ok())
        .collect();
    assert!(lines.iter().any(|line| line["verdict"] == "good"), "{out}");
    let alarm = (lines.iter())
        .find(|line| line["told"] == "alarm")
        .expect("an alarm");
    let text = alarm["text"].as_str().unwrap();
    assert!(
        text.contains("axis 1 has not moved toward its target"),
        "{text}"
    );
}

#[test]
fn what_is_wrong_is_refused_before_anything_moves() {
    let folder = folder();
    let refused = |arguments: &[&str], words: &str| {
        let output = plumbeam(folder.path(), arguments, 2);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(said.contains(words), "{arguments:?}: {said}");
    };
    refused(&["observe", "--rotator", "127.0.0.1:1"], "--power");
    refused(
        &["observe", "--practice", "--fault", "stuk-axis-1@3"],
        "did you mean stuck-axis-1",
    );
    refused(
        &["observe", "--rotator", "127.0.0.1:1", "--power", "-"],
        "nobody could stop it",
    );
    refused(
        &["observe", "--rotator", "here", "--power", "tcp:127.0.0.1:1"],
        "has no port",
    );
    std::fs::write(folder.path().join("mine.csv"), "scan,time_utc\n1,2\n").unwrap();
    refused(
        &["observe", "--practice", "--out", "mine.csv"],
        "is not a log of observe",
    );
    std::fs::write(folder.path().join("stop"), "").unwrap();
    refused(
        &[
            "observe",
            "--rotator",
            "127.0.0.1:1",
            "--power",
            "tcp:127.0.0.1:1",
            "--stop-file",
            "stop",
        ],
        "stop file is there already",
    );
}

#[test]
fn over_sockets_it_rehearses_against_a_pretended_dish_of_simulate() {
    let folder = folder();
    let truth = "[terms]\nazimuth-zero = 1.4\n[session]\nfrom = \"2026-09-12T06:00:00Z\"\nto = \
                 \"2026-09-12T16:00:00Z\"\npeaks = 1\n";
    std::fs::write(folder.path().join("truth.toml"), truth).unwrap();
    let (_dish, ports) = pretended_dish(folder.path());
    let rotator = format!("127.0.0.1:{}", ports["rotator"]);
    let power = format!("tcp:127.0.0.1:{}", ports["power"]);
    let output = plumbeam(
        folder.path(),
        &[
            "observe",
            "--rotator",
            &rotator,
            "--power",
            &power,
            "--rehearse",
        ],
        0,
    );
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(
        said.contains("that was the rehearsal: nothing was moved"),
        "{said}"
    );
    assert!(said.contains("no emergency stop"), "{said}");
}
