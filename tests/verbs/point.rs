//! `plumbeam point` as a whole command: one demand, streams, live streams, reloading.

use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;
use std::process::{Child, Output, Stdio};

use crate::command::{TestFolder, text};
use crate::hill::{PRINTED, calibrated, calibration};
use serde_json::Value;

/// First-order words for terms of a degree or less.
const SECOND_ORDER: f64 = 0.02;

impl TestFolder {
    fn feed(&self, arguments: &[&str], input: &str) -> Output {
        let mut child = self.spawn(arguments);
        let mut stdin = child.stdin.take().unwrap();
        let input = input.to_owned();
        let feeder = std::thread::spawn(move || stdin.write_all(input.as_bytes()));
        let output = child.wait_with_output().unwrap();
        feeder.join().unwrap().unwrap();
        output
    }
    fn spawn(&self, arguments: &[&str]) -> Child {
        self.command(&[&["point"], arguments].concat())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap()
    }
}

const USUAL: [(&str, f64); 5] = [
    ("azimuth-zero", 3.0),
    ("elevation-zero", -1.0),
    ("tilt-north", 0.4),
    ("collimation", 0.3),
    ("droop", 0.2),
];
const CALIBRATED: [&str; 2] = ["--calibration", "calibration.json"];

fn with<'a>(more: &[&'a str]) -> Vec<&'a str> {
    [&CALIBRATED, more].concat()
}

#[track_caller]
fn pair(line: &str) -> (f64, f64) {
    let numbers: Vec<f64> = line
        .split_whitespace()
        .map(|n| n.parse().unwrap_or_else(|_| panic!("no answer: {line}")))
        .collect();
    assert_eq!(numbers.len(), 2, "{line}");
    (numbers[0], numbers[1])
}

#[track_caller]
fn assert_near(found: (f64, f64), expected: (f64, f64), within: f64) {
    assert!(
        (found.0 - expected.0).abs() <= within && (found.1 - expected.1).abs() <= within,
        "{found:?} is not {expected:?}"
    );
}

#[test]
fn one_demand_has_the_signs_of_the_mount_model() {
    let folder = calibrated(&[("azimuth-zero", 1.0), ("elevation-zero", -2.0)]);
    let output = folder.point(&with(&["135.2", "41.8"]));
    assert!(output.status.success());
    assert_near(pair(&text(&output.stdout)), (134.2, 43.8), PRINTED);
    // What was assumed goes to standard error.
    let said = text(&output.stderr);
    assert!(
        said.contains("apparent") && said.contains("--present"),
        "{said}"
    );
    let quiet = folder.point(&with(&["135.2", "41.8", "--quiet"]));
    assert!(quiet.stderr.is_empty(), "{}", text(&quiet.stderr));
    // Negative azimuths and readings are numbers, not options.
    let output = folder.point(&with(&["-20", "41.8", "--present", "-30,40"]));
    assert_near(pair(&text(&output.stdout)), (-21.0, 43.8), PRINTED);
}

#[test]
fn json_holds_the_reading_the_demand_and_what_was_assumed() {
    let folder = calibrated(&USUAL);
    let output = folder.point(&with(&["--json", "--demand", "geometric", "200", "30"]));
    let json: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(json["demand"], "geometric");
    assert_eq!(json["demand_azimuth_deg"], 200.0);
    assert_eq!(json["demand_elevation_deg"], 30.0);
    let assumed = json["assumed"].as_array().unwrap();
    assert!(
        assumed
            .iter()
            .any(|s| s.as_str().unwrap().contains("955.0 hPa")),
        "{json}"
    );
    // There and back.
    let (azimuth, elevation) = (
        json["azimuth_deg"].as_f64().unwrap().to_string(),
        json["elevation_deg"].as_f64().unwrap().to_string(),
    );
    let back = folder.point(&with(&[
        "--json",
        "--inverse",
        "--demand",
        "geometric",
        &azimuth,
        &elevation,
    ]));
    let back: Value = serde_json::from_slice(&back.stdout).unwrap();
    assert_near(
        (
            back["demand_azimuth_deg"].as_f64().unwrap(),
            back["demand_elevation_deg"].as_f64().unwrap(),
        ),
        (200.0, 30.0),
        1e-9,
    );
}

#[test]
fn geometric_demands_are_lifted_by_the_air() {
    let folder = calibrated(&[]);
    let apparent = pair(&text(&folder.point(&with(&["50", "10", "-q"])).stdout));
    let geometric = folder.point(&with(&["50", "10", "-q", "--demand", "geometric"]));
    let geometric = pair(&text(&geometric.stdout));
    assert_near(apparent, (50.0, 10.0), PRINTED);
    // 5 to 6 minutes of arc at 10 degrees.
    let lift = geometric.1 - 10.0;
    assert!((0.07..0.12).contains(&lift), "{lift}");
}

#[test]
fn backlash_follows_the_approach() {
    let folder = calibrated(&[("azimuth-backlash", 0.4), ("elevation-backlash", 0.2)]);
    let at = |approach: &str| {
        let output = folder.point(&with(&["50", "30", "--approach", approach]));
        (pair(&text(&output.stdout)), text(&output.stderr))
    };
    assert_near(at("+,-").0, (49.8, 30.1), PRINTED);
    assert_near(at("-,+").0, (50.2, 29.9), PRINTED);
    let (unknown, said) = at("0,0");
    assert_near(unknown, (50.0, 30.0), PRINTED);
    assert!(said.contains("half its backlash, 0.2 deg"), "{said}");
    // Told from the way: from 40,35 the azimuth rises and the elevation falls.
    let output = folder.point(&with(&[
        "50",
        "30",
        "--approach",
        "auto",
        "--present",
        "40,35",
    ]));
    assert_near(pair(&text(&output.stdout)), (49.8, 30.1), PRINTED);
}

#[test]
fn what_cannot_be_pointed_at_ends_with_four_and_says_why() {
    let folder = calibrated(&[("collimation", 1.0)]);
    let refused = |arguments: &[&str]| {
        let output = folder.point(&with(arguments));
        assert_eq!(output.status.code(), Some(4), "{output:?}");
        assert!(output.stdout.is_empty());
        text(&output.stderr)
    };
    let keyhole = refused(&["10", "89.5"]);
    assert!(
        keyhole.contains("inside the keyhole of 1.0000 deg"),
        "{keyhole}"
    );
    let below = refused(&["10", "-3"]);
    assert!(below.contains("elevation reading of -3.00"), "{below}");
    assert!(below.contains("0 to 90"), "{below}");
    refused(&["10", "91"]);
}

#[test]
fn wrong_use_ends_with_two() {
    let folder = calibrated(&USUAL);
    for arguments in [
        with(&["10"]),
        with(&["10", "20", "30"]),
        with(&["ten", "20"]),
        with(&["10", "nan"]),
        with(&["10", "20", "--present", "5"]),
        with(&["10", "20", "--approach", "up"]),
        with(&["10", "20", "--stream"]),
        with(&["--stream", "--out", "answers.txt"]),
        with(&["--listen", "0.0.0.0:0"]),
        with(&["--listen", "192.168.0.9:4700"]),
        vec!["10", "20"],
        vec!["--calibration", "-"],
        with(&["--table", "t.csv", "10", "20"]),
    ] {
        let output = folder.point(&arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {output:?}");
    }
    let missing = folder.point(&["--calibration", "none.json", "10", "20"]);
    assert_eq!(missing.status.code(), Some(3));
}

#[test]
fn a_table_stands_in_for_the_model_within_its_stated_error() {
    let folder = calibrated(&USUAL);
    for (file, format) in [("t.csv", "csv"), ("t.json", "json")] {
        let made = folder
            .command(&[&["table"], &with(&["--format", format, "--out", file])[..]].concat())
            .output()
            .unwrap();
        assert!(made.status.success(), "{made:?}");
        for demand in [["10", "20"], ["-50.5", "47.3"], ["359.999", "80"]] {
            let exact = pair(&text(&folder.point(&with(&demand)).stdout));
            let arguments = [&["--table", file], demand.as_slice()].concat();
            let found = pair(&text(&folder.point(&arguments).stdout));
            // The beam is 8.2 degrees: 0.082 on the sky, and more in azimuth by 1 / cos(80).
            assert_near(found, exact, 0.082 / 80f64.to_radians().cos());
            // And back to the demand, exactly.
            let (azimuth, elevation) = (found.0.to_string(), found.1.to_string());
            let back = folder.point(&["--table", file, "--inverse", &azimuth, &elevation]);
            let back = pair(&text(&back.stdout));
            let wanted: f64 = demand[0].parse().unwrap();
            assert_near(
                back,
                (wanted.rem_euclid(360.0), demand[1].parse().unwrap()),
                1e-5,
            );
        }
    }
    let above = folder.point(&["--table", "t.csv", "10", "89.9"]);
    assert_eq!(above.status.code(), Some(4));
    assert!(text(&above.stderr).contains("cut at elevation"));
    let other = folder.point(&["--table", "t.csv", "--demand", "geometric", "10", "20"]);
    assert_eq!(other.status.code(), Some(2));
}

#[test]
fn the_table_verb_writes_to_standard_output_or_a_whole_file() {
    let folder = calibrated(&USUAL);
    let table = |arguments: &[&str]| {
        folder
            .command(&[&["table"], &with(arguments)[..]].concat())
            .output()
            .unwrap()
    };
    let csv = table(&[]);
    assert!(text(&csv.stdout).starts_with("# format: plumbeam correction table 1\n"));
    assert!(text(&csv.stderr).contains("largest error against the full model"));
    let json: Value = serde_json::from_slice(&table(&["--json"]).stdout).unwrap();
    assert_eq!(json["demand"], "apparent");
    assert!(json["rows"].as_array().unwrap().len() > 10);
    let c = table(&[
        "--format",
        "c-header",
        "--max-bytes",
        "700",
        "--demand",
        "geometric",
    ]);
    assert!(text(&c.stdout).contains("PLUMBEAM_TABLE_H"));
    assert_eq!(table(&["--json", "--format", "csv"]).status.code(), Some(2));
    assert_eq!(table(&["--max-bytes", "700"]).status.code(), Some(2));
    assert_eq!(table(&["--tolerance", "0"]).status.code(), Some(2));
    assert_eq!(table(&["--tolerance", "nan"]).status.code(), Some(2));
    let absurd = table(&["--tolerance", "1e-9"]);
    assert_eq!(absurd.status.code(), Some(4));
    assert!(text(&absurd.stderr).contains("--tolerance"));
    std::fs::write(folder.path("calibration.json"), "{}").unwrap();
    assert_eq!(table(&["--out", "never.csv"]).status.code(), Some(3));
    assert!(!folder.path("never.csv").exists());
}

#[test]
fn every_line_with_a_demand_gets_one_line_back_in_order() {
    let folder = calibrated(&[("azimuth-zero", 1.0)]);
    let input = "# demands\n10 20\n\n30,40\r\nnonsense\n10 -5\n 50\t60 # by hand\n12,5 30,5\n1 2 3\n\
                 inf 20\nreload\n70 80";
    let output = folder.feed(&with(&["--quiet"]), input);
    let found = text(&output.stdout);
    let lines: Vec<&str> = found.lines().collect();
    assert_eq!(lines.len(), 10, "{found}");
    assert_near(pair(lines[0]), (9.0, 20.0), PRINTED);
    assert_near(pair(lines[1]), (29.0, 40.0), PRINTED);
    assert!(
        lines[2].starts_with("error line 5: 1 number found"),
        "{found}"
    );
    assert!(
        lines[3].starts_with("error line 6: out of reach"),
        "{found}"
    );
    assert_near(pair(lines[4]), (49.0, 60.0), PRINTED);
    assert!(lines[5].starts_with("error line 8: 4 numbers") && lines[5].contains("point"));
    assert!(lines[6].starts_with("error line 9: 3 numbers"));
    assert!(lines[7].starts_with("error line 10: \"inf\""));
    assert!(lines[8].starts_with("error line 11: reload"));
    assert_near(pair(lines[9]), (69.0, 80.0), PRINTED);
    // What could not be read shows in the exit code, and what could not be met in another.
    assert_eq!(output.status.code(), Some(3));
    let output = folder.feed(&with(&["-q", "-"]), "10 20\n10 -5\n");
    assert_eq!(output.status.code(), Some(4));
    let output = folder.feed(&with(&["-q"]), "10 20\n");
    assert_eq!(output.status.code(), Some(0));
    // A live stream is not a failure for a bad line.
    let output = folder.feed(&with(&["-q", "--stream"]), "nonsense\n10 20\n");
    assert_eq!(output.status.code(), Some(0));
    // No bytes that are no text, and no endless line, stop it.
    let mut child = folder.spawn(&with(&["-q"]));
    let mut stdin = child.stdin.take().unwrap();
    stdin.write_all(b"\xff\xfe 10\n").unwrap();
    for _ in 0..1000 {
        stdin.write_all(&[b'7'; 1000]).unwrap();
    }
    stdin.write_all(b"\n10 20\n").unwrap();
    drop(stdin);
    let output = child.wait_with_output().unwrap();
    let found = text(&output.stdout);
    let lines: Vec<&str> = found.lines().collect();
    assert!(lines[0].starts_with("error line 1: no UTF-8"), "{found}");
    assert!(lines[1].starts_with("error line 2: more than"), "{found}");
    assert_near(pair(lines[2]), (9.0, 20.0), PRINTED);
}

#[test]
fn a_stream_as_json_is_one_document_and_live_one_object_a_line() {
    let folder = calibrated(&USUAL);
    let input = "10 20\nbad\n10 -60\n";
    let output = folder.feed(&with(&["-q", "--json"]), input);
    let json: Value = serde_json::from_slice(&output.stdout).unwrap();
    let rows = json["rows"].as_array().unwrap();
    assert_eq!(rows.len(), 3);
    assert_eq!(rows[0]["line"], 1);
    assert!(rows[0]["azimuth_deg"].is_f64());
    assert!(rows[1]["error"].is_string() && rows[2]["error"].is_string());
    assert!(!json["assumed"].as_array().unwrap().is_empty());
    let empty = folder.feed(&with(&["-q", "--json"]), "");
    let json: Value = serde_json::from_slice(&empty.stdout).unwrap();
    assert_eq!(json["rows"], serde_json::json!([]));
    let live = folder.feed(&with(&["-q", "--json", "--stream"]), input);
    let lines: Vec<Value> = text(&live.stdout)
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert_eq!(lines.len(), 3);
    assert_eq!(lines[2]["line"], 3);
}

#[test]
fn in_a_stream_the_last_answer_is_the_present_position() {
    let folder = calibrated(&[]);
    // Round and round clockwise: the reading goes on past 360 instead of turning back.
    let input: String = (0..=52)
        .map(|i| format!("{} 30\n", (i * 10) % 360))
        .collect();
    let output = folder.feed(&with(&["-q", "--present", "0,30"]), &input);
    let found = text(&output.stdout);
    for (i, line) in found.lines().enumerate() {
        assert_near(pair(line), (10.0 * i as f64, 30.0), PRINTED);
    }
    // At the end of the cable it must turn back.
    let output = folder.feed(&with(&["-q", "--present", "535,30"]), "178 30\n182 30\n");
    let found = text(&output.stdout);
    let lines: Vec<_> = found.lines().map(pair).collect();
    assert_near(lines[0], (538.0, 30.0), PRINTED);
    assert_near(lines[1], (182.0, 30.0), PRINTED);
}

#[test]
fn the_inverse_of_a_stream_of_readings_is_the_stream_of_demands() {
    let folder = calibrated(&USUAL);
    let demands: Vec<(f64, f64)> = (0..500)
        .map(|i| (f64::from(i) * 0.719, 5.0 + f64::from(i % 80)))
        .collect();
    let input: String = demands.iter().map(|(a, e)| format!("{a} {e}\n")).collect();
    let readings = folder.feed(&with(&["-q"]), &input);
    assert!(readings.status.success());
    let back = folder.feed(&with(&["-q", "--inverse"]), &text(&readings.stdout));
    for (line, demand) in text(&back.stdout).lines().zip(demands) {
        // Readings were printed to a millionth of a degree.
        assert_near(pair(line), demand, 2.0 * PRINTED);
    }
}

/// A live stream with its ends.
struct Live {
    child: Child,
    input: std::process::ChildStdin,
    output: BufReader<std::process::ChildStdout>,
}

impl Live {
    fn ask(&mut self, line: &str) -> String {
        writeln!(self.input, "{line}").unwrap();
        let mut answer = String::new();
        self.output.read_line(&mut answer).unwrap();
        answer.trim_end().to_owned()
    }
}

fn live(folder: &TestFolder, arguments: &[&str]) -> Live {
    let mut child = folder.spawn(arguments);
    Live {
        input: child.stdin.take().unwrap(),
        output: BufReader::new(child.stdout.take().unwrap()),
        child,
    }
}

#[test]
fn a_live_stream_answers_each_line_before_the_next_is_written() {
    let folder = calibrated(&[("elevation-zero", 1.0)]);
    // An answer held back in a buffer would leave this test waiting for ever.
    let mut live = live(&folder, &with(&["--stream", "-q"]));
    for i in 0..20 {
        let answer = live.ask(&format!("{i} 30"));
        assert_near(pair(&answer), (f64::from(i), 29.0), PRINTED);
    }
    assert!(live.ask("what").starts_with("error line 21"));
    drop(live.input);
    assert!(live.child.wait().unwrap().success());
}

#[test]
fn a_new_calibration_is_taken_without_a_restart_and_a_bad_one_is_not() {
    let folder = calibrated(&[("azimuth-zero", 1.0)]);
    let mut live = live(&folder, &with(&["--stream"]));
    assert_near(pair(&live.ask("50 30")), (49.0, 30.0), PRINTED);
    folder.put_calibration(&[("azimuth-zero", 2.0)]);
    assert_eq!(live.ask("reload"), "reloaded");
    assert_near(pair(&live.ask("50 30")), (48.0, 30.0), PRINTED);
    // Cut short, as by a full disk.
    let good = calibration(&[("azimuth-zero", 3.0)]);
    std::fs::write(folder.path("calibration.json"), &good[..good.len() / 2]).unwrap();
    let answer = live.ask("reload");
    assert!(
        answer.starts_with("error line 4: the old calibration stays in use"),
        "{answer}"
    );
    assert_near(pair(&live.ask("50 30")), (48.0, 30.0), PRINTED);
    // By itself, when the file changes; it looks a few times a second.
    folder.put_calibration(&[("azimuth-zero", 4.0)]);
    let changed = (0..1000).any(|_| {
        std::thread::sleep(std::time::Duration::from_millis(20));
        (pair(&live.ask("50 30")).0 - 46.0).abs() < PRINTED
    });
    assert!(changed, "the new calibration was never taken");
    drop(live.input);
    let mut said = String::new();
    live.child
        .stderr
        .take()
        .unwrap()
        .read_to_string(&mut said)
        .unwrap();
    assert!(said.contains("calibration.json was read again"), "{said}");
    assert!(live.child.wait().unwrap().success());
}

#[test]
fn a_table_for_other_demands_does_not_slip_into_a_running_stream() {
    let folder = calibrated(&USUAL);
    let table = |kind: &str| {
        let made = folder
            .command(&[&["table"], &with(&["--demand", kind, "--out", "t.csv"])[..]].concat())
            .output()
            .unwrap();
        assert!(made.status.success(), "{made:?}");
    };
    table("apparent");
    let mut live = live(&folder, &["--table", "t.csv", "--stream", "-q"]);
    let before = live.ask("50 10");
    table("geometric");
    let answer = live.ask("reload");
    assert!(answer.contains("takes geometric demands"), "{answer}");
    assert_eq!(live.ask("50 10"), before);
    drop(live.input);
    assert!(live.child.wait().unwrap().success());
}

/// A process that serves until it is ended, also by a failing test.
struct Server(Child);

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// A stream that has said that it is ready, and what it said behind `sign`.
fn serving(folder: &TestFolder, arguments: &[&str], sign: &str) -> (Server, String) {
    let mut server = Server(folder.spawn(&with(arguments)));
    let mut said = BufReader::new(server.0.stderr.take().unwrap());
    loop {
        let mut line = String::new();
        assert!(said.read_line(&mut line).unwrap() > 0, "it never began");
        if let Some((_, rest)) = line.trim().split_once(sign) {
            let rest = rest.to_owned();
            // Keep its standard error open, or it could not speak any more.
            std::thread::spawn(move || std::io::copy(&mut said, &mut std::io::sink()));
            return (server, rest);
        }
    }
}

#[test]
fn a_tcp_port_serves_several_at_once_each_with_its_own_position() {
    use std::net::TcpStream;
    let folder = calibrated(&[("azimuth-zero", 1.0)]);
    let (_server, address) = serving(&folder, &["--listen", "127.0.0.1:0"], "listening on ");
    let connect = || {
        let stream = TcpStream::connect(&address).unwrap();
        (stream.try_clone().unwrap(), BufReader::new(stream))
    };
    let ask = |(write, read): &mut (TcpStream, BufReader<TcpStream>), line: &str| {
        writeln!(write, "{line}").unwrap();
        let mut answer = String::new();
        read.read_line(&mut answer).unwrap();
        answer.trim_end().to_owned()
    };
    let (mut one, mut two) = (connect(), connect());
    for azimuth in [350, 0, 10, 100, 170] {
        ask(&mut one, &format!("{azimuth} 30"));
    }
    assert_near(
        pair(&ask(&mut one, "190 30")),
        (549.0 - 360.0, 30.0),
        PRINTED,
    );
    ask(&mut two, "355 30");
    assert_near(pair(&ask(&mut two, "10 30")), (369.0, 30.0), PRINTED);
    assert!(ask(&mut two, "x").starts_with("error line 3"));
    folder.put_calibration(&[("azimuth-zero", 2.0)]);
    assert_eq!(ask(&mut two, "reload"), "reloaded");
    assert_near(pair(&ask(&mut two, "10 30")), (368.0, 30.0), PRINTED);
    // One that goes away harms nobody.
    drop(one);
    assert_near(pair(&ask(&mut two, "20 30")), (378.0, 30.0), PRINTED);
}

#[test]
fn a_web_page_cannot_speak_to_the_port() {
    use std::net::TcpStream;
    let folder = calibrated(&[("azimuth-zero", 1.0)]);
    let (_server, address) = serving(&folder, &["--listen", "127.0.0.1:0"], "listening on ");
    let speak = |text: &str| {
        let mut stream = TcpStream::connect(&address).unwrap();
        // It may be closed before all is written.
        let _ = stream.write_all(text.as_bytes());
        let mut said = String::new();
        let _ = stream.read_to_string(&mut said);
        said
    };
    folder.put_calibration(&[("azimuth-zero", 2.0)]);
    let long = "a".repeat(5000);
    for request in [
        "POST / HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 7\r\n\r\nreload\n",
        "GET / HTTP/1.1\r\n\r\n10 20\nreload\n",
        "PRI * HTTP/2.0\r\n\r\nreload\n",
        "FETCH /reload HTTP/1.1\r\n\r\nreload\n",
        // Of an encrypted one there are bytes only.
        "\u{16}\u{3}\u{1}\u{2}\n\r\nreload\n",
        &format!("POST /{long} HTTP/1.1\r\nreload\n10 20\n"),
    ] {
        let said = speak(request);
        assert!(!said.contains("reloaded"), "{said}");
        assert!(said.lines().count() <= 1, "{said}");
        assert!(
            said.is_empty() || said.contains("not a web server"),
            "{said}"
        );
    }
    // And who speaks as it should is answered as before.
    let mut stream = TcpStream::connect(&address).unwrap();
    writeln!(stream, "10 20").unwrap();
    let mut answer = String::new();
    BufReader::new(stream).read_line(&mut answer).unwrap();
    assert_near(pair(answer.trim()), (8.0, 20.0), PRINTED);
}

#[cfg(unix)]
#[test]
fn a_serial_line_is_a_live_stream_too() {
    use serialport::{SerialPort, TTYPort};
    let folder = calibrated(&[("azimuth-zero", 1.0)]);
    let (mut near, far) = TTYPort::pair().unwrap();
    near.set_timeout(std::time::Duration::from_secs(60))
        .unwrap();
    let device = far.name().unwrap();
    drop(far);
    let arguments = ["--serial", device.as_str(), "--baud", "19200"];
    // Before the other end is open, reading here would find nobody.
    let (_server, said) = serving(&folder, &arguments, "answering on ");
    assert!(said.ends_with("at 19200 baud"), "{said}");
    let mut read = BufReader::new(near.try_clone_native().unwrap());
    let mut ask = |line: &str| {
        writeln!(near, "{line}").unwrap();
        let mut answer = String::new();
        read.read_line(&mut answer).unwrap();
        answer.trim_end().to_owned()
    };
    assert_near(pair(&ask("50 30")), (49.0, 30.0), PRINTED);
    assert!(ask("fifty thirty").starts_with("error line 2"));
    assert_near(pair(&ask("60 30")), (59.0, 30.0), PRINTED);
    let none = folder.point(&with(&["--serial", "/nowhere/tty", "-q"]));
    assert_eq!(none.status.code(), Some(3));
}

#[cfg(target_os = "linux")]
#[test]
fn a_million_lines_need_no_more_memory_than_a_few() {
    /// More than the allocator's own wandering, kibibytes; a million kept lines would be 30,000.
    const WANDERING: u64 = 1024;
    fn peak(child: &Child) -> u64 {
        let path = format!("/proc/{}/status", child.id());
        let status = std::fs::read_to_string(Path::new(&path)).unwrap();
        let line = status.lines().find(|l| l.starts_with("VmHWM:")).unwrap();
        line.split_whitespace().nth(1).unwrap().parse().unwrap()
    }
    let folder = calibrated(&USUAL);
    let mut child = folder.spawn(&with(&["-q"]));
    let mut input = child.stdin.take().unwrap();
    let mut output = BufReader::new(child.stdout.take().unwrap());
    let (told, tell) = std::sync::mpsc::channel::<()>();
    let feeder = std::thread::spawn(move || {
        let lines = |range: std::ops::Range<u32>| -> String {
            range
                .map(|i| format!("{}.5 {}\n", i % 360, 5 + i % 80))
                .collect()
        };
        input.write_all(lines(0..20_000).as_bytes()).unwrap();
        tell.recv().unwrap();
        for part in 0..98 {
            let from = 20_000 + part * 10_000;
            input
                .write_all(lines(from..from + 10_000).as_bytes())
                .unwrap();
        }
        input // kept open until the peak is read
    });
    let mut line = String::new();
    let mut read = |count: usize| {
        for _ in 0..count {
            line.clear();
            output.read_line(&mut line).unwrap();
            pair(&line);
        }
    };
    read(20_000);
    let before = peak(&child);
    told.send(()).unwrap();
    read(980_000);
    let after = peak(&child);
    drop(feeder.join().unwrap());
    assert!(child.wait().unwrap().success());
    assert!(after <= before + WANDERING, "{before} KiB grew to {after}");
}

#[test]
fn without_the_station_file_the_full_model_is_refused_but_a_table_is_not() {
    let folder = calibrated(&USUAL);
    let made = folder
        .command(&[&["table"], &with(&["--out", "t.csv"])[..]].concat())
        .output()
        .unwrap();
    assert!(made.status.success());
    std::fs::remove_file(folder.path("station.toml")).unwrap();
    let output = folder.point(&with(&["10", "20"]));
    assert_eq!(output.status.code(), Some(3));
    assert!(text(&output.stderr).contains("station.toml"));
    let output = folder.point(&["--table", "t.csv", "10", "20"]);
    assert!(output.status.success());
    let found = pair(&text(&output.stdout));
    // Azimuth zero 3 and collimation 0.3 / cos(20); the elevation 1 higher, with droop and tilt.
    assert_near(
        found,
        (10.0 - 3.0 - 0.32, 20.0 + 1.0 + 0.19 + 0.4),
        0.1 + SECOND_ORDER,
    );
}
