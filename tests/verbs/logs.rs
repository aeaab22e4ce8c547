//! Logs of many habits, all invented (see `tests/data/logs/SOURCE.md`): what is asked first, with
//! which options each gets in, what was understood, and that it is the same session as in
//! `plain-26-september.csv`.

use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::process::Output;

use crate::command::{command, text};
use insta::assert_snapshot;
use plumbeam::logbook::{
    Approach, ColumnNames, CompassMeaning, LogOptions, Peak, PeakLog, Readings,
};
use plumbeam::station::Station;
use plumbeam::time::{DateOrder, ZoneOffset};
use serde_json::Value;

/// A log with the options that it needs.
struct Habit {
    file: &'static str,
    options: &'static [&'static str],
    /// Rows of the session that it holds.
    rows: Rows,
    /// Whether it says from which side the axes arrived.
    approaches: bool,
}

#[derive(Clone, Copy, PartialEq)]
enum Rows {
    All,
    /// The plain log of another day.
    TwelfthOfSeptember,
    /// Three of four.
    Measured,
    Sun,
}

const fn habit(file: &'static str, options: &'static [&'static str]) -> Habit {
    Habit {
        file,
        options,
        rows: Rows::All,
        approaches: false,
    }
}

const HABITS: [Habit; 29] = [
    habit(
        "german-sheet.csv",
        &[
            "--zone",
            "+02:00",
            "--columns",
            "time_utc=Datum Uhrzeit,emitter=Quelle,azimuth_deg=Azimut,elevation_deg=Höhe,temperature_c=Temperatur,note=Bemerkung",
        ],
    ),
    habit(
        "own-headers-local-time.csv",
        &[
            "--zone",
            "+11:00",
            "--columns",
            "time_utc=When,emitter=What,azimuth_deg=Az reading,elevation_deg=El reading,note=Remarks",
        ],
    ),
    habit(
        "french-sheet.csv",
        &[
            "--zone",
            "+02:00",
            "--columns",
            "time_utc=Date+Heure,emitter=Satellite,azimuth_deg=Azimut (°),elevation_deg=Hauteur (°),note=Remarques",
        ],
    ),
    habit(
        "spanish-sheet.csv",
        &[
            "--zone",
            "+02:00",
            "--columns",
            "time_utc=Fecha y hora,emitter=Fuente,azimuth_deg=Acimut,elevation_deg=Elevación,note=Observaciones",
        ],
    ),
    habit(
        "italian-sheet.csv",
        &[
            "--zone",
            "+02:00",
            "--columns",
            "time_utc=Data e ora,emitter=Sorgente,azimuth_deg=Azimut,elevation_deg=Elevazione",
        ],
    ),
    habit(
        "dutch-sheet.tsv",
        &[
            "--zone",
            "+02:00",
            "--columns",
            "time_utc=Datum en tijd,emitter=Bron,azimuth_deg=Azimut,elevation_deg=Elevatie,note=Opmerking",
        ],
    ),
    habit(
        "zone-in-letters.csv",
        &[
            "--zone",
            "+02:00",
            "--columns",
            "time_utc=Tid,emitter=Kilde,azimuth_deg=Azimut,elevation_deg=Elevasjon",
        ],
    ),
    habit(
        "american-sheet.csv",
        &[
            "--zone",
            "-04:00",
            "--columns",
            "time_utc=Date Time,emitter=Target,azimuth_deg=AZ,elevation_deg=EL,note=Comment",
        ],
    ),
    Habit {
        rows: Rows::TwelfthOfSeptember,
        ..habit(
            "ambiguous-dates.csv",
            &["--zone", "-4", "--dates", "month-day-year"],
        )
    },
    habit("year-first.csv", &["--zone", "+09:00"]),
    habit("month-in-letters.csv", &[]),
    habit("unix-seconds.tsv", &[]),
    habit("unix-milliseconds.csv", &[]),
    habit("degrees-minutes-seconds.csv", &[]),
    habit("degrees-with-blanks.csv", &[]),
    habit("colons-with-unit.csv", &[]),
    habit("units-and-dashes.csv", &[]),
    habit("quoted-commas.csv", &[]),
    habit("old-mac.csv", &[]),
    habit("trailing-cells.csv", &[]),
    Habit {
        approaches: true,
        ..habit("capitals.csv", &[])
    },
    Habit {
        approaches: true,
        ..habit("clockwise.csv", &[])
    },
    Habit {
        approaches: true,
        ..habit("compass-approach.csv", &[])
    },
    Habit {
        approaches: true,
        ..habit("compass-points.csv", &["--approach", "from"])
    },
    habit(
        "no-header.csv",
        &[
            "--columns",
            "time_utc=1,emitter=2,azimuth_deg=3,elevation_deg=4",
        ],
    ),
    Habit {
        rows: Rows::Sun,
        ..habit("one-emitter.csv", &["--emitter", "sun"])
    },
    Habit {
        rows: Rows::Measured,
        approaches: true,
        ..habit("half-filled-sheet.csv", &[])
    },
    Habit {
        approaches: true,
        ..habit("corrected-readings.csv", &[])
    },
    Habit {
        approaches: true,
        ..habit("plain-26-september.csv", &[])
    },
];

fn logs() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/logs")
}

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("demo-data")
        .join(name)
}

fn plumbeam(arguments: &[&str]) -> Output {
    command(&logs(), arguments)
        .output()
        .expect("the command runs")
}

fn solve(files: &[&str], options: &[&str]) -> Output {
    let station = demo("station.toml");
    let station = station.to_str().expect("a plain path");
    let fixed = ["--json", "--station", station];
    plumbeam(&[&["solve"], files, options, &fixed].concat())
}

fn station() -> Station {
    Station::read(&demo("station.toml")).expect("the demo's station")
}

/// What the command line says, for the library.
fn options_of(arguments: &[&str]) -> LogOptions {
    let mut options = LogOptions::default();
    for pair in arguments.chunks(2) {
        match pair[0] {
            "--zone" => options.zone = Some(ZoneOffset::parse(pair[1]).expect("an offset")),
            "--dates" => {
                options.dates = DateOrder::ALL.into_iter().find(|o| o.name() == pair[1]);
            }
            "--columns" => options.columns = ColumnNames::parse(pair[1]).expect("columns"),
            "--emitter" => options.emitter = Some(pair[1].to_owned()),
            "--approach" => options.approach = Some(CompassMeaning::From),
            other => panic!("{other}"),
        }
    }
    options
}

fn read(file: &str, options: &LogOptions) -> PeakLog {
    let bytes = std::fs::read(logs().join(file)).expect("the log");
    PeakLog::parse_with(file, &bytes, &station(), options).unwrap_or_else(|e| panic!("{e}"))
}

fn plain(rows: Rows) -> Vec<Peak> {
    let file = match rows {
        Rows::TwelfthOfSeptember => "plain-12-september.csv",
        _ => "plain-26-september.csv",
    };
    let all = read(file, &LogOptions::default()).peaks;
    let kept = |i: usize, p: &Peak| match rows {
        Rows::All | Rows::TwelfthOfSeptember => true,
        Rows::Measured => i % 4 != 3,
        Rows::Sun => p.emitter == "sun",
    };
    let numbered = all.into_iter().enumerate();
    numbered
        .filter(|(i, p)| kept(*i, p))
        .map(|(_, p)| p)
        .collect()
}

/// The files write hundredths of a degree exactly; adding up degrees, minutes and seconds rounds.
const ROUNDING_DEG: f64 = 1e-9;

#[test]
fn every_habit_gives_the_same_session() {
    for Habit {
        file,
        options,
        rows,
        approaches,
    } in HABITS
    {
        let found = read(file, &options_of(options)).peaks;
        let expected = plain(rows);
        assert_eq!(found.len(), expected.len(), "{file}");
        for (found, expected) in found.iter().zip(&expected) {
            assert_eq!(found.time, expected.time, "{file}:{}", found.line);
            assert_eq!(found.emitter, expected.emitter, "{file}:{}", found.line);
            let off = |a: Option<plumbeam::angle::Angle>, b: Option<plumbeam::angle::Angle>| {
                (a.expect("a reading") - b.expect("a reading"))
                    .abs()
                    .degrees()
            };
            let most =
                off(found.azimuth, expected.azimuth).max(off(found.elevation, expected.elevation));
            assert!(most < ROUNDING_DEG, "{file}:{}: {most}", found.line);
            let sides = [found.azimuth_approach, found.elevation_approach];
            let expected = match approaches {
                true => [expected.azimuth_approach, expected.elevation_approach],
                false => [Approach::Unknown; 2],
            };
            assert_eq!(sides, expected, "{file}:{}", found.line);
        }
    }
}

/// What the command says to each, without options and with those that it asks for.
#[test]
fn every_habit_gets_in_with_what_the_first_message_names() {
    let mut said = String::new();
    for Habit {
        file,
        options,
        rows,
        ..
    } in HABITS
    {
        let named: Vec<&str> = options.iter().step_by(2).copied().collect();
        assert!(named.len() <= 2, "{file}");
        writeln!(said, "== {file}").unwrap();
        if !options.is_empty() {
            let asked = solve(&[file], &[]);
            let message = text(&asked.stderr);
            assert_eq!(asked.status.code(), Some(3), "{file}: {message}");
            for option in &named {
                assert!(
                    message.contains(option),
                    "{file} does not ask for {option}: {message}"
                );
            }
            // What is suggested for the columns is what gets it in.
            if let Some(i) = options.iter().position(|o| *o == "--columns") {
                let suggested = message
                    .split("add --columns ")
                    .nth(1)
                    .expect("a suggestion");
                let line = suggested.lines().next().expect("a line");
                let line = line.split(';').next().expect("an option");
                assert_eq!(
                    ColumnNames::parse(line),
                    ColumnNames::parse(options[i + 1]),
                    "{file}"
                );
            }
            said.push_str(&message);
            writeln!(said, "-- {}", options.join(" ")).unwrap();
        }
        let output = solve(&[file], options);
        let message = text(&output.stderr);
        said.push_str(&message);
        // Three peaks of one emitter are too few to solve by; they were read all the same.
        if rows == Rows::Sun {
            assert_ne!(output.status.code(), Some(3), "{message}");
            continue;
        }
        // Directions in the place of readings are turned back by a calibration only.
        if file == "corrected-readings.csv" {
            assert_eq!(output.status.code(), Some(4), "{message}");
            continue;
        }
        assert_eq!(output.status.code(), Some(0), "{file}: {message}");
        let solved: Value = serde_json::from_slice(&output.stdout).expect("JSON");
        let peaks = solved["peaks"].as_array().expect("peaks");
        assert_eq!(peaks.len(), plain(rows).len(), "{file}");
    }
    assert_snapshot!("every_habit", said);
}

#[test]
fn several_nights_are_read_together() {
    let station = station();
    let paths = ["plain-12-september.csv", "unix-seconds.tsv"].map(|f| logs().join(f));
    let log = PeakLog::read_all(&paths, &station, &LogOptions::default()).expect("two logs");
    assert_eq!(log.peaks.len(), 40);
    assert_eq!(log.files.len(), 2);
    assert_eq!(log.readings, [Readings::Encoder, Readings::Unsaid]);
    let last = log.peaks.last().expect("a peak");
    // Rows are counted on through all logs, lines are those of the file.
    assert_eq!((last.log, last.row, last.line), (1, 40, 21));
    let counted = log.taken.last().expect("what was understood");
    assert!(
        counted.starts_with("row numbers continue through the logs: 1 to 20 in ")
            && counted.ends_with("unix-seconds.tsv"),
        "{counted}"
    );

    // Whole: both in one solve.
    let output = solve(&["plain-12-september.csv", "unix-seconds.tsv"], &[]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let solved: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(solved["peaks"].as_array().map(Vec::len), Some(40));
    for verb in ["faults", "recheck"] {
        assert!(
            text(&plumbeam(&[verb, "--help"]).stdout).contains("--zone"),
            "{verb} takes what decides"
        );
    }
}

#[test]
fn what_several_logs_ask_for_is_asked_at_once() {
    let output = solve(
        &[
            "american-sheet.csv",
            "compass-points.csv",
            "german-sheet.csv",
        ],
        &[],
    );
    assert_eq!(output.status.code(), Some(3));
    let said = text(&output.stderr);
    let first = said.lines().nth(1).expect("a help");
    for option in [
        "--zone",
        "--approach from",
        "azimuth_deg=AZ",
        "azimuth_deg=Azimut",
    ] {
        assert!(first.contains(option), "{option}: {said}");
    }
}

#[test]
fn a_file_pasted_together_is_several_logs() {
    let log = read("pasted-nights.csv", &LogOptions::default());
    assert_eq!(
        log.files,
        ["pasted-nights.csv", "pasted-nights.csv from line 23"]
    );
    assert_eq!(log.peaks.len(), 40);
    let places: Vec<(usize, usize, usize)> = [0, 19, 20, 39]
        .map(|i| (log.peaks[i].log, log.peaks[i].row, log.peaks[i].line))
        .into();
    assert_eq!(places, [(0, 1, 2), (0, 20, 21), (1, 21, 24), (1, 40, 43)]);
    // The second header has columns that the first has not.
    assert_eq!(log.peaks[19].azimuth_approach, Approach::Unknown);
    assert_eq!(log.peaks[20].azimuth_approach, Approach::Decreasing);
    assert_snapshot!(log.taken.join("\n"), @"pasted-nights.csv: the header appears again: what is below it is read as a separate log, in line 23");
}

#[test]
fn one_row_in_two_logs_is_told_with_its_file() {
    let output = solve(&["plain-26-september.csv", "old-mac.csv"], &[]);
    assert_eq!(output.status.code(), Some(3));
    let said = text(&output.stderr);
    assert!(
        said.starts_with(
            "plumbeam: old-mac.csv:2:1: this row repeats plain-26-september.csv line 3: the same time, emitter and readings"
        ),
        "{said}"
    );
}

#[test]
fn one_log_named_twice_is_told_at_once() {
    let output = solve(&["old-mac.csv", "unix-seconds.tsv", "old-mac.csv"], &[]);
    assert_eq!(output.status.code(), Some(2));
    assert_eq!(
        text(&output.stderr),
        "plumbeam: old-mac.csv is named twice\n  help: name each log once\n"
    );
}

#[test]
fn what_readings_are_is_kept_and_checked() {
    let log = read("corrected-readings.csv", &LogOptions::default());
    assert_eq!(log.readings, [Readings::Corrected("5f3a9c01".to_owned())]);
    assert!(
        log.to_csv()
            .starts_with("# readings = corrected:5f3a9c01\ntime_utc,")
    );
    let output = solve(&["corrected-readings.csv"], &["--readings", "encoder"]);
    assert_eq!(output.status.code(), Some(3));
    let said = text(&output.stderr);
    assert!(said.contains("corrected-readings.csv:1:1: readings = corrected:5f3a9c01, but --readings says otherwise"), "{said}");
    // The option serves logs that say nothing.
    let said = LogOptions {
        readings: Some(Readings::Encoder),
        ..LogOptions::default()
    };
    assert_eq!(
        read("unix-seconds.tsv", &said).readings,
        [Readings::Encoder]
    );
}

/// The same session is solved to the same mount, whatever the habit.
#[test]
fn a_sheet_of_a_spreadsheet_solves_as_the_plain_log_does() {
    /// Degrees; the readings differ in the last bit only.
    const SAME_DEG: f64 = 1e-6;
    let solved = |file: &str, options: &[&str]| -> Value {
        let output = solve(&[file], options);
        serde_json::from_slice(&output.stdout).expect("JSON")
    };
    let zero = |v: &Value| {
        v["terms"]["azimuth-zero"]["value_deg"]
            .as_f64()
            .expect("a value")
    };
    let german = HABITS
        .iter()
        .find(|h| h.file == "german-sheet.csv")
        .expect("the sheet");
    let sheet = solved(german.file, german.options);
    let plain = solved("unix-seconds.tsv", &[]);
    assert!((zero(&sheet) - zero(&plain)).abs() < SAME_DEG);
}

fn reduce(arguments: &[&str], station: &Path) -> Output {
    let station = station.to_str().expect("a plain path");
    plumbeam(&[&["reduce"], arguments, &["--json", "--station", station]].concat())
}

/// Scans of the reference night by their names.
fn night(scans: &[&str]) -> Vec<Value> {
    let night =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/reference/scans/clean-crosses");
    let log = night.join("scans.csv");
    let output = reduce(
        &[log.to_str().expect("a plain path")],
        &night.join("station.toml"),
    );
    let all: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let named = |s: &&Value| scans.contains(&s["scan"].to_string().trim_matches('"'));
    all["scans"]
        .as_array()
        .expect("scans")
        .iter()
        .filter(named)
        .cloned()
        .collect()
}

/// Peaks are those of the night within so much of their sigma.
#[track_caller]
fn same_peaks(output: &Output, expected: &[Value], sigmas: f64) {
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let found: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let found = found["scans"].as_array().expect("scans");
    assert_eq!(found.len(), expected.len(), "{}", text(&output.stderr));
    for (found, expected) in found.iter().zip(expected) {
        assert_eq!(found["emitter"], expected["emitter"]);
        assert_eq!(found["time_utc"], expected["time_utc"]);
        assert_eq!(found["verdict"], "good", "{found}");
        for axis in ["azimuth", "elevation"] {
            let number = |v: &Value, key: &str| v[format!("{axis}_{key}")].as_f64();
            let off =
                number(found, "deg").expect("a peak") - number(expected, "deg").expect("a peak");
            let sigma = number(expected, "sigma_deg").expect("a sigma");
            assert!(
                off.abs() < sigmas * sigma,
                "{axis} is off by {off}: {found}"
            );
        }
    }
}

fn night_station() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/reference/scans/clean-crosses/station.toml")
}

/// Lag and backlash are told from all scans of a night, so that a few alone give peaks that differ
/// by a little.
const FEWER_SCANS: f64 = 1.0;
/// The angles are interpolated, the bins of a sweep rounded, and one is missing.
const SWEEPS: f64 = 1.5;

#[test]
fn a_log_of_power_with_angles_becomes_scans() {
    let expected = night(&["2", "3", "6", "7"]);
    let columns = "time_utc=Zeit,azimuth_deg=Az,elevation_deg=El,power_db=Pegel dBm";
    let by_number = "time_utc=1,azimuth_deg=2,elevation_deg=3,power_db=4";
    let mut said = String::new();
    for (file, options) in [
        ("power-log.csv", vec!["--emitter", "halte-1"]),
        (
            "power-log.tsv",
            vec!["--emitter", "halte-1", "--columns", columns],
        ),
        (
            "power-log-no-header.csv",
            vec![
                "--emitter",
                "halte-1",
                "--columns",
                by_number,
                "--zone",
                "+02:00",
            ],
        ),
    ] {
        let asked = reduce(&[file], &night_station());
        assert_eq!(asked.status.code(), Some(3));
        let message = text(&asked.stderr);
        for option in options.iter().step_by(2) {
            assert!(message.contains(option), "{option}: {message}");
        }
        writeln!(said, "== {file}\n{message}-- {}", options.join(" ")).unwrap();
        let output = reduce(&[&[file], &options[..]].concat(), &night_station());
        same_peaks(&output, &expected, FEWER_SCANS);
        let message = text(&output.stderr);
        let read = message.lines().filter(|l| l.starts_with("plumbeam: read"));
        said.push_str(&read.fold(String::new(), |all, line| all + line + "\n"));
    }
    assert_snapshot!("logs_of_power", said);
}

#[test]
fn a_log_of_sweeps_becomes_scans_with_the_angles_of_another_file() {
    let expected = night(&["1", "5", "8"]);
    let first = reduce(&["sweeps.csv"], &night_station());
    assert_eq!(first.status.code(), Some(3));
    let mut said = text(&first.stderr);
    // The file of angles has headers of its own: asked together with the rest.
    let second = reduce(&["sweeps.csv", "--angles", "angles.csv"], &night_station());
    assert_eq!(second.status.code(), Some(3));
    writeln!(said, "-- --angles angles.csv\n{}", text(&second.stderr)).unwrap();
    let options = [
        "sweeps.csv",
        "--angles",
        "angles.csv",
        "--zone",
        "+02:00",
        "--emitter",
        "sun",
        "--columns",
        "time_utc=Time,azimuth_deg=Azimuth,elevation_deg=Elevation",
    ];
    let with_band = [&options[..], &["--band", "1699..1701"]].concat();
    let output = reduce(&with_band, &night_station());
    same_peaks(&output, &expected, SWEEPS);
    let read = text(&output.stderr);
    let read = read.lines().filter(|l| l.starts_with("plumbeam: read"));
    said.push_str(&read.fold(String::new(), |all, line| all + line + "\n"));
    assert_snapshot!("logs_of_sweeps", said);

    let beyond = reduce(
        &[&options[..], &["--band", "1500..1510"]].concat(),
        &night_station(),
    );
    assert_eq!(beyond.status.code(), Some(3));
    assert!(text(&beyond.stderr).contains("the requested band over 1500 to 1510 MHz"));
    // An hour off: nothing is carried on beyond the angles.
    let mut late = with_band.clone();
    late[4] = "-04:00";
    let late = reduce(&late, &night_station());
    assert_eq!(late.status.code(), Some(3));
    let message = text(&late.stderr);
    assert!(
        message.contains("6 h apart: is the zone of one of the two another?"),
        "{message}"
    );
}

#[test]
fn angles_beside_angles_are_refused() {
    let both = reduce(
        &[
            "power-log.csv",
            "--emitter",
            "halte-1",
            "--angles",
            "angles-plain.csv",
        ],
        &night_station(),
    );
    assert_eq!(both.status.code(), Some(3));
    assert!(text(&both.stderr).contains("has its own columns of angles"));
}

#[test]
fn an_option_that_is_wrong_is_told_at_once() {
    for (options, words) in [
        (vec!["--zone", "11:00"], "+11:00 east"),
        (vec!["--columns", "azimut=AZ"], "is it azimuth_deg?"),
        (vec!["--emitter", "sum"], "is it sun?"),
        (vec!["--readings", "raw"], "expected encoder"),
        (vec!["--dates", "ymd"], "day-month-year"),
    ] {
        let output = solve(&["plain-26-september.csv"], &options);
        assert_eq!(output.status.code(), Some(2), "{options:?}");
        assert!(
            text(&output.stderr).contains(words),
            "{}",
            text(&output.stderr)
        );
    }
}
