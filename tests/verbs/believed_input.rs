//! No input is believed: numbers are within ranges, files are regular and of sensible size, and
//! nothing that stands in one is obeyed by a terminal or run by a spreadsheet.

use crate::command::TestFolder;
use std::io::Read;
use std::process::{Command, Stdio};

fn solved_demo() -> TestFolder {
    let folder =
        TestFolder::with_demo(&["station.toml", "satellites.tle", "peaks.csv", "truth.toml"]);
    folder.ends(&["solve", "peaks.csv", "--quiet"], 0);
    folder
}

impl TestFolder {
    #[track_caller]
    fn bad_input(&self, arguments: &[&str]) -> String {
        self.said(arguments, 3)
    }
}

/// A table with another value of an entry of its header, and its checksum right again.
fn with_entry(table: &str, key: &str, value: &str) -> String {
    let lines: Vec<String> = table
        .lines()
        .filter(|l| !l.starts_with("# crc32:"))
        .map(|l| match l.starts_with(&format!("# {key}:")) {
            true => format!("# {key}: {value}\n"),
            false => format!("{l}\n"),
        })
        .collect();
    let crc = crc32fast::hash(lines.concat().as_bytes());
    let names = lines.iter().position(|l| !l.starts_with('#')).unwrap();
    let (header, rows) = lines.split_at(names);
    format!("{}# crc32: {crc:08x}\n{}", header.concat(), rows.concat())
}

#[test]
fn numbers_of_a_table_s_header_are_within_ranges() {
    let folder = solved_demo();
    let table = [
        "table",
        "--calibration",
        "calibration.json",
        "--out",
        "t.csv",
    ];
    assert!(folder.run(&table).status.success());
    let good = folder.read("t.csv");
    let point = ["point", "--table", "t.csv", "180", "35"];
    folder.write("t.csv", &with_entry(&good, "station", "Reedmere"));
    assert!(folder.run(&point).status.success(), "the check is no check");
    for (key, value) in [
        // Once 444 GB were asked for.
        ("encoder_azimuth_lowest_deg", "-1e13"),
        ("encoder_azimuth_highest_deg", "1e300"),
        ("encoder_azimuth_highest_deg", "-181.0"),
        ("encoder_elevation_lowest_deg", "-1e4"),
        ("azimuth_first_deg", "-1e9"),
        ("azimuth_step_deg", "0.0"),
        ("elevation_last_deg", "900.0"),
        ("azimuth_backlash_half_width_deg", "1e6"),
        ("clock_offset_s", "1e12"),
        ("beamwidth_deg", "-1.0"),
        ("calibration_rms_deg", "1e9"),
        ("azimuth_count", "18446744073709551615"),
    ] {
        folder.write("t.csv", &with_entry(&good, key, value));
        let said = folder.bad_input(&point);
        assert!(said.starts_with("plumbeam: t.csv"), "{key} {value}: {said}");
        let tells = said.contains(key) || said.contains("do not fit together");
        assert!(tells, "{key} {value}: {said}");
    }
    // A correction beyond all sense.
    let row = good.lines().last().unwrap();
    let (start, _) = row.rsplit_once(',').unwrap();
    folder.write(
        "t.csv",
        &with_entry(
            &good.replace(row, &format!("{start},1500.0")),
            "station",
            "R",
        ),
    );
    let said = folder.bad_input(&point);
    assert!(said.contains("finite corrections"), "{said}");
}

#[test]
fn numbers_of_a_truth_file_are_within_ranges() {
    let folder = solved_demo();
    let good = folder.read("truth.toml");
    let simulate = ["simulate", "--truth", "truth.toml"];
    assert!(
        folder.run(&simulate).status.success(),
        "the check is no check"
    );
    for (from, to, wanted) in [
        // Once these were NaN in every row, or ran for ever.
        (
            "azimuth-zero",
            "azimuth-zero = nan #",
            "azimuth-zero is nan, which is not a number",
        ),
        (
            "azimuth-zero",
            "azimuth-zero = inf #",
            "azimuth-zero is inf, which is not finite",
        ),
        (
            "azimuth-zero",
            "azimuth-zero = -1e30 #",
            "degrees from -360 to 360",
        ),
        (
            "collimation",
            "collimation = 80.0 #",
            "degrees from -45 to 45",
        ),
        (
            "peaks",
            "peaks = 1000000000000000000 #",
            "a number of peaks, 1 to 100000",
        ),
        ("peaks", "peaks = 0 #", "a number of peaks, 1 to 100000"),
        ("peaks", "peaks = 1e18 #", "a number of peaks, 1 to 100000"),
        ("peaks", "peaks = 4.0 #", "a whole number"),
        (
            "cross_elevation_deg",
            "cross_elevation_deg = nan #",
            "degrees from 0 to 90",
        ),
        (
            "elevation_deg",
            "elevation_deg = -0.1 #",
            "degrees from 0 to 90",
        ),
    ] {
        let mut found = false;
        let lines: Vec<String> = good
            .lines()
            .map(|line| {
                let is = line.split('=').next().is_some_and(|key| key.trim() == from);
                found |= is;
                if is { to.to_owned() } else { line.to_owned() }
            })
            .collect();
        assert!(found, "{from}");
        folder.write("truth.toml", &lines.join("\n"));
        let said = folder.bad_input(&simulate);
        assert!(said.contains(wanted), "{to}: {said}");
        // With line and column.
        let line = 1 + lines.iter().position(|l| l == to).unwrap();
        assert!(
            said.contains(&format!("truth.toml:{line}:")),
            "{to}: {said}"
        );
    }
    let spoilt =
        format!("{good}\n[[spoil]]\nkind = \"creep\"\naxis = \"azimuth\"\ndeg_per_hour = inf\n");
    folder.write("truth.toml", &spoilt);
    assert!(folder.bad_input(&simulate).contains("deg_per_hour is inf"));
}

#[test]
fn numbers_of_options_and_elements_are_within_ranges() {
    let folder = solved_demo();
    let table = ["table", "--calibration", "calibration.json"];
    let point = ["point", "--calibration", "calibration.json", "180", "35"];
    for (verb, more, code) in [
        (&table[..], &["--lowest", "1e300"][..], 2),
        (&table, &["--tolerance", "inf"], 2),
        (&table, &["--step", "1e300,1"], 2),
        (&point, &["--present", "1e18,0"], 2),
        (
            &["solve", "peaks.csv"],
            &["--bootstrap", "18446744073709551615"],
            2,
        ),
    ] {
        let output = folder.run(&[verb, more].concat());
        assert_eq!(output.status.code(), Some(code), "{more:?}: {output:?}");
    }
    // As much room as there may be is no reason to fail.
    let much = [
        "--format",
        "c-header",
        "--max-bytes",
        "18446744073709551615",
    ];
    assert!(folder.run(&[&table[..], &much].concat()).status.success());

    let message = |key: &str, value: &str| {
        let mut message = serde_json::json!({
            "NORAD_CAT_ID": 99001, "EPOCH": "2026-09-12T00:00:00Z", "INCLINATION": 98.0,
            "RA_OF_ASC_NODE": 10.0, "ECCENTRICITY": 0.001, "ARG_OF_PERICENTER": 20.0,
            "MEAN_ANOMALY": 30.0, "MEAN_MOTION": 14.2, "BSTAR": 0.0001
        });
        message[key] = serde_json::from_str(value).unwrap();
        folder.write("elements.json", &message.to_string());
    };
    let station = "[site]\nname = \"A\"\nlatitude_deg = 50.0\nlongitude_deg = 7.0\nheight_m = 0.0\n\
         [mount]\nkind = \"az-el\"\nazimuth_range_deg = [-180.0, 540.0]\n\
         elevation_range_deg = [0.0, 90.0]\n[dish]\ndiameter_m = 2.0\nfrequency_mhz = 1700.0\n\
         [[emitter]]\nname = \"s\"\nkind = \"satellite\"\nelements = \"elements.json\"\n\
         norad_id = 99001\n";
    folder.write("orbit.toml", station);
    let sky = [
        "sky",
        "--station",
        "orbit.toml",
        "--at",
        "2026-09-12T12:00:00Z",
    ];
    message("MEAN_MOTION", "14.2");
    let output = folder.run(&sky);
    assert!(output.status.success(), "the check is no check: {output:?}");
    for (key, value) in [
        ("MEAN_MOTION", "1e300"),
        ("MEAN_MOTION", "-1.0"),
        ("ECCENTRICITY", "1.5"),
        ("INCLINATION", "1e9"),
        ("BSTAR", "1e30"),
        ("NORAD_CAT_ID", "1e30"),
    ] {
        message(key, value);
        let said = folder.bad_input(&sky);
        assert!(said.contains(key), "{key} {value}: {said}");
    }
}

#[test]
fn a_file_that_never_ends_or_is_too_large_is_refused() {
    let folder = solved_demo();
    let large = std::fs::File::create(folder.path("large")).unwrap();
    // Without taking any room on the disk.
    large.set_len(300 << 20).unwrap();
    let station = folder.read("station.toml");
    folder.write("large.toml", &station.replace("satellites.tle", "large"));
    let sky = ["sky", "--station", "large.toml"];
    for arguments in [
        &sky[..],
        &["sky", "--station", "large"],
        &["simulate", "--truth", "large"],
        &["point", "--calibration", "large", "1", "2"],
        &["point", "--table", "large", "1", "2"],
        &["recheck", "--against", "large", "peaks.csv"],
    ] {
        let said = folder.bad_input(arguments);
        assert!(
            said.contains("this holds more than"),
            "{arguments:?}: {said}"
        );
        assert!(said.contains("megabytes"), "{arguments:?}: {said}");
    }
}

#[cfg(unix)]
mod unix {
    use super::*;

    #[test]
    fn a_pipe_or_a_device_in_a_file_s_place_is_refused_at_once() {
        let folder = solved_demo();
        let made = Command::new("mkfifo").arg(folder.path("pipe")).status();
        assert!(made.unwrap().success());
        let station = folder.read("station.toml");
        for not_a_file in ["pipe", "/dev/zero", "."] {
            folder.write("odd.toml", &station.replace("satellites.tle", not_a_file));
            for arguments in [
                &["sky", "--station", "odd.toml"][..],
                &["sky", "--station", not_a_file],
                &["simulate", "--truth", not_a_file],
                &["point", "--calibration", not_a_file, "1", "2"],
                &["point", "--stream", "--calibration", not_a_file],
                &["point", "--table", not_a_file, "1", "2"],
                &["table", "--calibration", not_a_file],
                &["recheck", "--against", not_a_file, "peaks.csv"],
                &["plan", "--for", "1h", "--calibration", not_a_file],
            ] {
                let output = folder.run(arguments);
                let said = String::from_utf8(output.stderr).unwrap();
                assert_eq!(output.status.code(), Some(3), "{arguments:?}: {said}");
                assert!(said.contains(": this is a "), "{arguments:?}: {said}");
            }
        }
        for not_a_log in ["/dev/zero", "."] {
            folder.bad_input(&["solve", not_a_log]);
            folder.bad_input(&["reduce", not_a_log]);
        }
        // A log may come through a pipe, as every stream may.
        let peaks = folder.read("peaks.csv");
        let pipe = folder.path("pipe");
        let feeder = std::thread::spawn(move || std::fs::write(pipe, peaks));
        assert!(folder.run(&["solve", "pipe", "--json"]).status.success());
        feeder.join().unwrap().unwrap();
    }

    #[test]
    fn a_stream_whose_calibration_becomes_a_pipe_goes_on() {
        use std::io::{BufRead, BufReader, Write};
        let folder = solved_demo();
        let mut command = folder.command(&[
            "point",
            "--stream",
            "--calibration",
            "calibration.json",
            "-q",
        ]);
        let mut child = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut input = child.stdin.take().unwrap();
        let mut output = BufReader::new(child.stdout.take().unwrap());
        let mut ask = |line: &str| {
            writeln!(input, "{line}").unwrap();
            let mut answer = String::new();
            output.read_line(&mut answer).unwrap();
            answer
        };
        let before = ask("180 35");
        std::fs::remove_file(folder.path("calibration.json")).unwrap();
        let made = Command::new("mkfifo")
            .arg(folder.path("calibration.json"))
            .status();
        assert!(made.unwrap().success());
        assert!(ask("reload").contains("this is a pipe"));
        assert_eq!(ask("180 35"), before);
        drop(input);
        assert!(child.wait().unwrap().success());
    }

    /// A text that a terminal would obey, with a line of its own in it.
    const NASTY: &str = "x\\u001B[31m\\u202Egnp\\u2066\\u009B1m\\nSPOOF\\rz";
    /// A name that a station file may hold, which knows no control characters: it changes the
    /// direction of what follows.
    const TURNED: &str = "x\\u202Egnp\\u2066\\u2028SPOOFz";

    #[test]
    fn nothing_of_a_file_or_an_argument_is_obeyed_by_a_terminal() {
        let folder = solved_demo();
        let station = folder.read("station.toml");
        let nasty = station
            .replace("name = \"Reedmere\"", &format!("name = \"{TURNED}\""))
            .replace("name = \"sun\"", &format!("name = \"{TURNED}\""));
        assert!(nasty.matches("SPOOF").count() >= 2, "{nasty}");
        folder.write("nasty.toml", &nasty);
        let name: String = serde_json::from_str(&format!("\"{NASTY}\"")).unwrap();
        let peaks = folder.read("peaks.csv");
        let turned: String = serde_json::from_str(&format!("\"{TURNED}\"")).unwrap();
        folder.write("nasty.csv", &peaks.replace(",sun,", &format!(",{turned},")));
        // Whoever it is, the station does not know it.
        folder.write(
            "unknown.csv",
            &peaks.replace(",sun,", &format!(",\"{name}\",")),
        );
        folder.write("control.toml", &nasty.replace(TURNED, NASTY));
        let calibration = folder.read("calibration.json");
        let mut document: serde_json::Value = serde_json::from_str(&calibration).unwrap();
        document["station"] = serde_json::json!(turned);
        document["trust"] = serde_json::json!("limited");
        document["reasons"] = serde_json::json!([name]);
        document["warnings"] = serde_json::json!([name]);
        document["peaks"][0]["emitter"] = serde_json::json!(name);
        document["causes"] = serde_json::json!([{"fault": name, "row": 3, "size_unit": name}]);
        folder.write("nasty.json", &document.to_string());
        std::fs::create_dir(folder.path("old")).unwrap();
        folder.write("old/one.json", &document.to_string());
        folder.write("old/two.json", &calibration);
        folder.write("old/three.json", "{");
        let from = ["--from", "2026-09-12T06:00:00Z", "--for", "2h"];
        let verbs: Vec<Vec<&str>> = vec![
            vec!["sky", "--at", "2026-09-12T12:00:00Z"],
            vec!["sky", "--at", "2026-09-12T12:00:00Z", "--json"],
            vec!["sky", "--at", "2026-09-12T12:00:00Z", &name],
            vec![
                "sky",
                "--at",
                "2026-09-12T12:00:00Z",
                "nobody\u{1b}[1m\nSPOOF",
            ],
            [&["plan"], &from[..]].concat(),
            [&["plan"], &from[..], &["--json"]].concat(),
            vec!["plan", "--for", "1h", "--calibration", "calibration.json"],
            vec!["solve", "nasty.csv", "--out", "made.json"],
            vec!["solve", "nasty.csv", "--json"],
            vec!["solve", "unknown.csv"],
            vec!["faults", "unknown.csv", "--json"],
            vec![
                "point",
                "--calibration",
                "nasty.json",
                "180",
                "35",
                "--anyway",
            ],
            vec!["table", "--calibration", "nasty.json", "--anyway"],
            vec!["solve", "peaks.csv", "--out", "made.json"],
            vec!["faults", "nasty.csv"],
            vec!["faults", "nasty.csv", "--json"],
            vec!["recheck", "--against", "nasty.json", "nasty.csv"],
            vec!["recheck", "--against", "calibration.json", "nasty.csv"],
            vec!["recheck", "--history", "old"],
            vec!["recheck", "--history", "old", "--json"],
            vec!["table", "--calibration", "nasty.json"],
            vec!["table", "--calibration", "nasty.json", "--json"],
            vec![
                "table",
                "--calibration",
                "nasty.json",
                "--format",
                "c-header",
            ],
            vec!["table", "--calibration", "calibration.json"],
            vec!["point", "--calibration", "nasty.json", "180", "35"],
            vec![
                "point",
                "--calibration",
                "nasty.json",
                "180",
                "35",
                "--json",
            ],
            vec![
                "point",
                "--calibration",
                "nasty.json",
                "a\u{1b}[31m\nSPOOF",
                "35",
            ],
            vec!["point", "--calibration", &name, "180", "35"],
            vec!["solve", "nobody\u{202e}\nSPOOF.csv"],
            vec!["solve", "peaks.csv", "--out", "no\nSPOOF\u{1b}/c.json"],
            vec![
                "solve",
                "peaks.csv",
                "--report",
                "r\nSPOOF\u{1b}",
                "--out",
                "o\nSPOOF\u{9b}",
            ],
            vec!["solve", "peaks.csv", "--hold", "x\u{1b}\nSPOOF=1"],
            vec!["--\u{1b}[31m\nSPOOF"],
            vec!["\u{202e}\nSPOOF"],
            vec!["sky", "--at", "2026\u{1b}\nSPOOF"],
        ];
        let mut printed = 0;
        let here = verbs.into_iter().map(|verb| (verb, "nasty.toml"));
        let control = [vec!["sky"], vec!["solve", "peaks.csv"]].map(|verb| (verb, "control.toml"));
        for (verb, station) in here.chain(control) {
            let output = folder.run(&[&verb[..], &["--station", station]].concat());
            for bytes in [output.stdout, output.stderr] {
                let said = String::from_utf8(bytes).unwrap();
                let obeyed = |c: char| c != '\n' && plumbeam::problem::is_obeyed(c);
                assert!(!said.contains(obeyed), "{verb:?}: {said:?}");
                let own_line = said.lines().any(|l| l.trim_start().starts_with("SPOOF"));
                assert!(!own_line, "{verb:?}: {said}");
                printed += said.matches("SPOOF").count();
            }
        }
        assert!(printed > 30, "the names are shown, only {printed} times");
    }

    #[test]
    fn a_log_on_a_terminal_is_shown_and_not_obeyed() {
        use serialport::{SerialPort, TTYPort};
        let folder = solved_demo();
        let station = folder.read("station.toml");
        let nasty = station.replace("name = \"sun\"", &format!("name = \"{TURNED}\""));
        folder.write("nasty.toml", &nasty);
        let (mut near, far) = TTYPort::pair().unwrap();
        near.set_timeout(std::time::Duration::from_secs(1)).unwrap();
        let terminal = std::fs::OpenOptions::new()
            .read(true)
            .write(true)
            .open(far.name().unwrap())
            .unwrap();
        let mut command = folder.command(&[
            "simulate",
            "--truth",
            "truth.toml",
            "--station",
            "nasty.toml",
        ]);
        command.stdout(terminal).stderr(Stdio::null());
        let mut child = command.spawn().unwrap();
        let (mut said, mut piece) = (Vec::new(), [0; 4096]);
        loop {
            match near.read(&mut piece) {
                Ok(count) if count > 0 => said.extend_from_slice(&piece[..count]),
                // Nothing yet: that is not a fault while somebody writes.
                Err(e) if e.kind() == std::io::ErrorKind::TimedOut => {
                    if child.try_wait().unwrap().is_some() {
                        break;
                    }
                }
                // The writer hung up.
                _ => break,
            }
        }
        let said = String::from_utf8_lossy(&said).into_owned();
        assert!(child.wait().unwrap().success());
        assert!(said.contains("time_utc,emitter"), "{said}");
        assert!(said.contains("x\\u{202e}gnp"), "{said}");
        assert!(!said.contains('\u{202e}'), "{said:?}");
    }
}

#[test]
fn no_cell_of_a_log_runs_in_a_spreadsheet_and_the_log_reads_back() {
    let folder = solved_demo();
    let station = folder.read("station.toml");
    let named = station.replace("name = \"sun\"", "name = \"=SUM(1+1)\"");
    assert_ne!(named, station);
    folder.write("named.toml", &named);
    let here = ["--station", "named.toml"];
    let simulate = ["simulate", "--truth", "truth.toml", "--out", "made.csv"];
    assert!(
        folder
            .run(&[&simulate[..], &here].concat())
            .status
            .success()
    );
    let plan = [
        "plan",
        "--from",
        "2026-09-12T10:00:00Z",
        "--for",
        "2h",
        "--sheet",
        "sheet.csv",
    ];
    assert!(folder.run(&[&plan[..], &here].concat()).status.success());
    for name in ["made.csv", "sheet.csv"] {
        let text = folder.read(name);
        assert!(text.contains(",'=SUM(1+1),"), "{name}: {text}");
        let mut rows = csv::ReaderBuilder::new();
        let rows = rows.comment(Some(b'#')).from_reader(text.as_bytes());
        for row in rows.into_records() {
            let emitter = row.unwrap()[1].to_owned();
            assert!(
                !emitter.starts_with(['=', '+', '-', '@']),
                "{name}: {emitter}"
            );
        }
    }
    let solved = folder.run(&[&["solve", "made.csv", "--json"], &here[..]].concat());
    assert!(solved.status.success(), "{solved:?}");
    let solved: serde_json::Value = serde_json::from_slice(&solved.stdout).unwrap();
    let peaks = solved["peaks"].as_array().unwrap();
    assert!(peaks.iter().any(|p| p["emitter"] == "=SUM(1+1)"));
}
