//! Trust travels with the numbers: what a calibration says of itself, and of which station it is,
//! is obeyed by every verb that uses it.

use std::io::{BufRead, BufReader, Read, Write};
use std::process::{Child, Stdio};

use crate::command::TestFolder;
use serde_json::{Value, json};

/// With the demo's station and peaks, and a calibration of them.
fn solved_demo() -> TestFolder {
    let folder = TestFolder::with_demo(&["station.toml", "satellites.tle", "peaks.csv"]);
    folder.ends(&["solve", "peaks.csv", "--quiet"], 0);
    folder
}

impl TestFolder {
    /// Changes the calibration, as a new file that takes the old one's place.
    fn edit(&self, edit: impl FnOnce(&mut Value)) {
        let mut calibration = serde_json::from_str(&self.read("calibration.json")).unwrap();
        edit(&mut calibration);
        self.replace("calibration.json", &calibration.to_string());
    }
    fn trust(&self, trust: &str, reasons: &[&str]) {
        self.edit(|c| {
            c["trust"] = json!(trust);
            c["reasons"] = json!(reasons);
        });
    }
}

/// Every verb that uses a calibration, and its exit code when all is well.
const VERBS: [(&[&str], i32); 5] = [
    (&["table", "--calibration", "calibration.json"], 0),
    (
        &["point", "--calibration", "calibration.json", "180", "35"],
        0,
    ),
    (
        &[
            "plan",
            "--from",
            "2026-09-12T06:00:00Z",
            "--for",
            "1h",
            "--calibration",
            "calibration.json",
        ],
        0,
    ),
    (
        &["recheck", "--against", "calibration.json", "peaks.csv"],
        0,
    ),
    (
        &["faults", "peaks.csv", "--calibration", "calibration.json"],
        0,
    ),
];

#[test]
fn a_calibration_that_means_nothing_is_refused_unless_told_anyway() {
    let folder = solved_demo();
    folder.trust("none", &["the time zone is wrong", "few peaks"]);
    for (verb, code) in VERBS {
        if verb[0] == "faults" {
            // It is asked why.
            folder.said(verb, code);
            continue;
        }
        let said = folder.said(verb, 4);
        let wanted = "calibration.json: the calibration states that its numbers mean \
                      nothing: the time zone is wrong; few peaks";
        assert!(said.contains(wanted), "{said}");
        assert!(said.contains("--anyway"), "{said}");
        assert!(folder.run(verb).stdout.is_empty());
        let said = folder.said(&[verb, &["--anyway", "--quiet"]].concat(), code);
        assert!(
            said.contains("warning: the calibration states that its numbers"),
            "{said}"
        );
    }
}

#[test]
fn a_calibration_of_another_station_is_refused_unless_told_anyway() {
    let folder = solved_demo();
    folder.edit(|c| c["station"] = json!("Elsewhere"));
    for (verb, code) in VERBS {
        let said = folder.said(verb, 4);
        let wanted = "the calibration is of the station \"Elsewhere\", the station file of \
                      \"Reedmere\"";
        assert!(said.contains(wanted), "{said}");
        let said = folder.said(&[verb, &["--anyway", "--quiet"]].concat(), code);
        assert!(said.contains(&format!("warning: {wanted}")), "{said}");
    }
}

#[test]
fn limits_are_said_with_their_numbers_though_quiet() {
    let folder = solved_demo();
    let quiet = |verb: &[&str]| folder.said(&[verb, &["--quiet"]].concat(), 0);
    folder.trust("good", &[]);
    for (verb, _) in VERBS {
        assert!(!quiet(verb).contains("trust"), "{verb:?}");
    }
    folder.trust("limited", &["one half of the sky was not seen"]);
    folder.edit(|c| {
        c["expected_pointing_error"] = json!({
            "rms_deg": 0.21, "rms_95_deg": 0.33, "largest_deg": 1.4,
            "at": {"azimuth_deg": 20.0, "elevation_deg": 80.0}, "loss_db": 0.02
        });
        c["causes"] = json!([
            {"fault": "base-knock", "row": 40, "size": 0.5, "size_unit": "deg", "sigma": 0.1}
        ]);
    });
    for (verb, _) in VERBS.iter().filter(|(verb, _)| verb[0] != "faults") {
        let said = quiet(verb);
        for wanted in [
            "of limited use: one half of the sky was not seen",
            "0.21 deg rms (0.33 deg in 95 % of cases), at worst 1.4 deg, at azimuth 20",
            "base-knock of 0.50 deg from row 40 on",
        ] {
            assert!(said.contains(wanted), "{verb:?}: {said}");
        }
    }
    // A file of before, which says nothing.
    folder.edit(|c| {
        for key in ["trust", "reasons", "causes", "expected_pointing_error"] {
            c.as_object_mut().unwrap().remove(key);
        }
    });
    let said = quiet(VERBS[0].0);
    assert!(
        said.contains("does not say how far it can be trusted"),
        "{said}"
    );
    // And machines hear it in the document.
    let point = [VERBS[1].0, &["--json", "--quiet"]].concat();
    let found: Value = serde_json::from_slice(&folder.run(&point).stdout).unwrap();
    assert!(
        found["assumed"][0]
            .as_str()
            .unwrap()
            .contains("how far it can be trusted")
    );
}

#[test]
fn a_table_says_how_far_its_calibration_can_be_trusted() {
    let folder = solved_demo();
    folder.trust("none", &["the site is wrong"]);
    let table = ["table", "--calibration", "calibration.json", "--anyway"];
    folder.said(&[&table[..], &["--out", "t.csv"]].concat(), 0);
    folder.said(
        &[&table[..], &["--format", "json", "--out", "t.json"]].concat(),
        0,
    );
    folder.said(
        &[&table[..], &["--format", "c-header", "--out", "t.h"]].concat(),
        0,
    );
    for name in ["t.csv", "t.json", "t.h"] {
        let text = std::fs::read_to_string(folder.path(name)).unwrap();
        assert!(text.contains("the site is wrong"), "{name}");
    }
    for name in ["t.csv", "t.json"] {
        let point = ["point", "--table", name, "180", "35"];
        let said = folder.said(&point, 4);
        assert!(said.contains("mean nothing: the site is wrong"), "{said}");
        let said = folder.said(&[&point[..], &["--anyway", "--quiet"]].concat(), 0);
        assert!(said.contains("the site is wrong"), "{said}");
    }
    folder.trust("good", &[]);
    folder.said(
        &[
            "table",
            "--calibration",
            "calibration.json",
            "--out",
            "good.csv",
        ],
        0,
    );
    let said = folder.said(&["point", "--table", "good.csv", "180", "35", "--quiet"], 0);
    assert!(said.is_empty(), "{said}");
}

#[test]
fn solve_says_of_itself_when_its_numbers_mean_nothing() {
    let folder = solved_demo();
    let calibration = |name: &str| -> Value {
        serde_json::from_slice(&std::fs::read(folder.path(name)).unwrap()).unwrap()
    };
    assert_ne!(calibration("calibration.json")["trust"], "none");
    // A site given with its longitude's sign wrong.
    let station = std::fs::read_to_string(folder.path("station.toml")).unwrap();
    let wrong = station.replace("longitude_deg = 7.33", "longitude_deg = -7.33");
    assert_ne!(wrong, station);
    std::fs::write(folder.path("wrong.toml"), wrong).unwrap();
    let solve = [
        "solve",
        "peaks.csv",
        "--station",
        "wrong.toml",
        "--out",
        "wrong.json",
    ];
    let said = folder.said(&solve, 0);
    assert!(said.contains("refuse it unless told --anyway"), "{said}");
    let found = calibration("wrong.json");
    assert_eq!(found["trust"], "none", "{:?}", found["reasons"]);
    assert!(!found["reasons"].as_array().unwrap().is_empty());
    folder.said(&["point", "--calibration", "wrong.json", "180", "35"], 4);
    // A machine that asks for the document alone is told the same.
    let output = folder.run(&["solve", "peaks.csv", "--station", "wrong.toml", "--json"]);
    let found: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(found["trust"], "none");
}

/// A live stream with its ends.
struct Live {
    child: Child,
    input: std::process::ChildStdin,
    output: BufReader<std::process::ChildStdout>,
}

impl Live {
    fn new(folder: &TestFolder, arguments: &[&str]) -> Live {
        let mut child = folder
            .command(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        Live {
            input: child.stdin.take().unwrap(),
            output: BufReader::new(child.stdout.take().unwrap()),
            child,
        }
    }
    fn ask(&mut self, line: &str) -> String {
        writeln!(self.input, "{line}").unwrap();
        let mut answer = String::new();
        self.output.read_line(&mut answer).unwrap();
        answer.trim_end().to_owned()
    }
    fn azimuth(&mut self) -> f64 {
        let answer = self.ask("180 35");
        let first = answer.split(' ').next().unwrap();
        first.parse().unwrap_or_else(|_| panic!("{answer}"))
    }
    /// Ends it, and gives what it said.
    fn end(mut self) -> String {
        drop(self.input);
        let mut said = String::new();
        let mut stderr = self.child.stderr.take().unwrap();
        stderr.read_to_string(&mut said).unwrap();
        assert!(self.child.wait().unwrap().success());
        said
    }
}

const STREAM: [&str; 4] = ["point", "--stream", "--calibration", "calibration.json"];

fn turn(calibration: &mut Value, degrees: f64) {
    let zero = &mut calibration["terms"]["azimuth-zero"]["value_deg"];
    *zero = json!(zero.as_f64().unwrap() + degrees);
}

#[test]
fn a_live_stream_has_no_anyway_and_takes_no_calibration_that_is_not_its_own() {
    let folder = solved_demo();
    let said = folder.said(&[&STREAM[..], &["--anyway"]].concat(), 2);
    assert!(said.contains("a live stream has no --anyway"), "{said}");
    let mut live = Live::new(&folder, &STREAM);
    let before = live.azimuth();
    for (key, value, wanted) in [
        ("station", "Elsewhere", "of the station \"Elsewhere\""),
        ("trust", "none", "its numbers mean nothing"),
    ] {
        folder.edit(|c| {
            c[key] = json!(value);
            turn(c, 43.0);
        });
        let answer = live.ask("reload");
        assert!(answer.starts_with("error line"), "{answer}");
        assert!(
            answer.contains("the old calibration stays in use"),
            "{answer}"
        );
        assert!(answer.contains(wanted), "{answer}");
        // Such a one cannot be confirmed either.
        let answer = live.ask("confirm");
        assert!(answer.contains("nothing waits to be confirmed"), "{answer}");
        assert_eq!(live.azimuth(), before);
        folder.edit(|c| {
            c["station"] = json!("Reedmere");
            c["trust"] = json!("limited");
            turn(c, -43.0);
        });
    }
    live.end();
}

#[test]
fn a_jump_by_more_than_a_beamwidth_waits_until_it_is_confirmed() {
    /// Printed with six decimals.
    const PRINTED: f64 = 2e-6;
    let folder = solved_demo();
    let mut live = Live::new(&folder, &STREAM);
    let before = live.azimuth();
    // Less than the beamwidth of 5.15 degrees is taken.
    folder.edit(|c| turn(c, 4.0));
    assert_eq!(live.ask("reload"), "reloaded");
    assert!((live.azimuth() - (before - 4.0)).abs() < 0.1);
    // More is not, neither when asked for ...
    let before = live.azimuth();
    folder.edit(|c| turn(c, 43.0));
    let answer = live.ask("reload");
    assert!(
        answer.contains("moves the readings by up to 43"),
        "{answer}"
    );
    assert!(
        answer.contains("more than the beamwidth of 5.1"),
        "{answer}"
    );
    assert!((live.azimuth() - before).abs() < PRINTED);
    // ... nor by itself.
    folder.edit(|c| turn(c, 1.0));
    std::thread::sleep(std::time::Duration::from_millis(300));
    assert!((live.azimuth() - before).abs() < PRINTED);
    // What was confirmed is what was told: a file that has changed since is judged anew.
    std::thread::sleep(std::time::Duration::from_millis(20));
    folder.edit(|c| turn(c, 2.0));
    let answer = live.ask("confirm");
    assert!(
        answer.contains("moves the readings by up to 46"),
        "{answer}"
    );
    assert!((live.azimuth() - before).abs() < PRINTED);
    assert_eq!(live.ask("confirm"), "reloaded");
    assert!((live.azimuth() - (before - 46.0)).abs() < 1.0);
    let said = live.end();
    assert!(
        said.contains("a line `confirm` accepts it anyway"),
        "{said}"
    );
}

#[test]
fn a_table_in_a_live_stream_is_judged_alike() {
    let folder = solved_demo();
    let table = |more: &[&str]| {
        let table = [
            "table",
            "--calibration",
            "calibration.json",
            "--out",
            "t.csv",
        ];
        folder.said(&[&table[..], more].concat(), 0);
    };
    table(&[]);
    let mut live = Live::new(&folder, &["point", "--stream", "--table", "t.csv"]);
    let before = live.azimuth();
    folder.edit(|c| turn(c, 43.0));
    table(&[]);
    let answer = live.ask("reload");
    assert!(
        answer.contains("moves the readings by up to 43"),
        "{answer}"
    );
    assert_eq!(live.azimuth(), before);
    folder.trust("none", &["wrong"]);
    table(&["--anyway"]);
    let answer = live.ask("reload");
    assert!(answer.contains("mean nothing: wrong"), "{answer}");
    assert_eq!(live.azimuth(), before);
    live.end();
}

#[test]
fn a_new_connection_has_what_the_file_holds_now() {
    use std::net::TcpStream;
    let folder = solved_demo();
    let listen = [
        "point",
        "--calibration",
        "calibration.json",
        "--listen",
        "127.0.0.1:0",
    ];
    let mut child = folder
        .command(&listen)
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut said = BufReader::new(child.stderr.take().unwrap());
    let address = loop {
        let mut line = String::new();
        assert!(said.read_line(&mut line).unwrap() > 0, "it never began");
        if let Some((_, address)) = line.trim().split_once("listening on ") {
            break address.to_owned();
        }
    };
    std::thread::spawn(move || std::io::copy(&mut said, &mut std::io::sink()));
    let ask = || {
        let mut stream = TcpStream::connect(&address).unwrap();
        writeln!(stream, "180 35").unwrap();
        let mut answer = String::new();
        BufReader::new(stream).read_line(&mut answer).unwrap();
        let first = answer.split(' ').next().unwrap();
        first.parse::<f64>().unwrap_or_else(|_| panic!("{answer}"))
    };
    let before = ask();
    folder.edit(|c| turn(c, 2.0));
    let after = ask();
    let _ = child.kill();
    let _ = child.wait();
    assert!((after - (before - 2.0)).abs() < 0.1, "{before} {after}");
}
