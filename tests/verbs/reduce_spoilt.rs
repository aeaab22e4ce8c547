//! The verb reduce on logs that are spoilt in the common ways: each is told, and what is usable
//! is used.

use std::path::Path;

use crate::command::{TestFolder, text};
use serde_json::Value;

const NIGHT: &str = "tests/data/reference/scans/clean-crosses";
/// Readings may move by so much of their sigma when a few samples off the peak are missing.
const LITTLE: f64 = 1.5;
/// Errors beyond so many standard deviations are wrong.
const SIGMAS: f64 = 4.0;

/// The whole log of the clean night, without comments: a header and rows.
fn log() -> Vec<String> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join(NIGHT)
        .join("scans.csv");
    let text = std::fs::read_to_string(path).expect("the reference night");
    text.lines().map(str::to_owned).collect()
}

/// Lines of the first scan, which is a cross: azimuth first.
fn first_scan(log: &[String]) -> usize {
    log.iter().filter(|l| l.starts_with("1,")).count()
}

struct Told {
    document: Value,
    messages: String,
}

fn reduce_bytes(bytes: &[u8], code: i32) -> Told {
    let folder = TestFolder::with(NIGHT, &["station.toml", "satellites.tle"]);
    folder.write("night.csv", bytes);
    let output = folder.ends(&["reduce", "night.csv", "--json"], code);
    let messages = text(&output.stderr);
    Told {
        document: serde_json::from_slice(&output.stdout).unwrap_or(Value::Null),
        messages,
    }
}

fn reduce(lines: &[String]) -> Told {
    reduce_bytes((lines.join("\n") + "\n").as_bytes(), 0)
}

impl Told {
    fn scan(&self, i: usize) -> &Value {
        &self.document["scans"][i]
    }
    fn why(&self, i: usize) -> &str {
        self.scan(i)["why"].as_str().expect("words")
    }
    #[track_caller]
    fn says(&self, words: &str) {
        assert!(
            self.messages.contains(words),
            "{words:?} in\n{}",
            self.messages
        );
    }
    /// The first scan's peak lies as near to that of the sound log.
    #[track_caller]
    fn is_near(&self, sound: &Told) {
        for axis in ["azimuth", "elevation"] {
            let number = |told: &Told, key: &str| {
                told.scan(0)[format!("{axis}_{key}")]
                    .as_f64()
                    .unwrap_or_else(|| panic!("{axis}: {}", told.scan(0)))
            };
            let moved = number(self, "deg") - number(sound, "deg");
            assert!(
                moved.abs() < LITTLE * number(self, "sigma_deg"),
                "{axis} moved by {moved}: {}",
                self.scan(0)
            );
        }
    }
}

#[test]
fn a_header_again_and_a_last_line_cut_short_change_nothing() {
    let sound = reduce(&log());
    let mut lines = log();
    lines.insert(500, lines[0].clone());
    lines.insert(50, lines[0].clone());
    let mut text = lines.join("\n");
    text.push_str("\n24,2026-04-07T13:4");
    let told = reduce_bytes(text.as_bytes(), 0);
    assert_eq!(told.document["scans"], sound.document["scans"]);
    told.says("night.csv:51: the header appears again, and in line 502");
    told.says("the last line is cut short; it was left out");
    assert_eq!(list(&told.document["warnings"]).len(), 2);
}

#[test]
fn a_last_number_cut_short_is_left_out() {
    let without = reduce(&log()[..log().len() - 1]);
    let text = log().join("\n");
    let told = reduce_bytes(&text.as_bytes()[..text.len() - 2], 0);
    assert_eq!(told.document["scans"], without.document["scans"]);
    let line = log().len();
    told.says(&format!(
        "night.csv:{line}: the last line has no line end, so that its last field may be cut short; it was left out"
    ));
}

#[test]
fn readings_outside_the_encoder_range_are_told_once_a_scan() {
    let mut lines = log();
    let n = first_scan(&lines);
    for line in &mut lines[1..=n] {
        let azimuth = line.split(',').nth(3).map(str::to_owned).expect("columns");
        let degrees: f64 = azimuth.parse().expect("a number");
        *line = line.replacen(&azimuth, &format!("{:.4}", degrees + 720.0), 1);
    }
    let told = reduce(&lines);
    let warnings = list(&told.document["warnings"]);
    assert_eq!(warnings.len(), 1, "{warnings:?}");
    told.says("night.csv:2: scan 1: azimuth reading 835.2422 is outside the encoder range of the station file, -180 to 540 degrees");
    told.says(&format!("and so in {} more rows of this scan", n - 1));
    assert_eq!(told.scan(0)["verdict"], "good");
}

#[test]
fn mixed_scans_are_told_in_a_few_lines() {
    let lines = log();
    let n = first_scan(&lines);
    let mixed: Vec<String> = std::iter::once(lines[0].clone())
        .chain((1..=n).flat_map(|i| [lines[i].clone(), lines[n + i].clone()]))
        .collect();
    let told = reduce_bytes((mixed.join("\n") + "\n").as_bytes(), 4);
    assert_eq!(list(&told.document["warnings"]).len(), 6);
    told.says("more like it: are rows of several scans or emitters mixed?");
    told.says(&format!(
        "and {} more like it: refused: only 1 usable sample",
        2 * n - 5
    ));
    assert!(told.messages.lines().count() < 20, "{}", told.messages);
}

fn list(value: &Value) -> &[Value] {
    value.as_array().expect("a list")
}

#[test]
fn line_ends_a_mark_comments_and_decibels_change_nothing() {
    let sound = reduce(&log());
    let mut lines = log();
    lines.insert(7, "# a remark".to_owned());
    let text = format!("\u{feff}{}\r\n", lines.join("\r\n"));
    let told = reduce_bytes(text.as_bytes(), 0);
    assert_eq!(told.document, sound.document);
    // The same power in linear units, from any zero.
    let mut lines = log();
    lines[0] = lines[0].replace("power_db", "power_linear");
    for line in &mut lines[1..] {
        let (head, decibels) = line.rsplit_once(',').expect("columns");
        let decibels: f64 = decibels.parse().expect("a number");
        *line = format!("{head},{}", 7.0 * 10f64.powf(0.1 * decibels));
    }
    let told = reduce(&lines);
    for i in 0..24 {
        for key in ["azimuth_deg", "elevation_deg", "azimuth_sigma_deg"] {
            let number = |t: &Told| t.scan(i)[key].as_f64().expect("a number");
            assert!((number(&told) - number(&sound)).abs() < 3e-6, "{key}");
        }
    }
}

#[test]
fn rows_out_of_order_are_put_in_order() {
    let sound = reduce(&log());
    let mut lines = log();
    lines.swap(10, 11);
    lines.swap(30, 35);
    let told = reduce(&lines);
    assert!(
        told.why(0)
            .contains("rows out of time order in 3 places: put in order")
    );
    told.says("scan 1 (sun): good: rows out of time order in 3 places: put in order");
    assert_eq!(told.scan(0)["azimuth_deg"], sound.scan(0)["azimuth_deg"]);
    // And rows that stand there twice count once.
    let mut lines = log();
    let again: Vec<String> = lines[20..26].to_vec();
    lines.splice(26..26, again);
    let told = reduce(&lines);
    assert!(
        told.why(0).contains("6 samples logged twice"),
        "{}",
        told.why(0)
    );
    assert_eq!(told.scan(0)["azimuth_deg"], sound.scan(0)["azimuth_deg"]);
    assert_eq!(
        told.scan(0)["azimuth_sigma_deg"],
        sound.scan(0)["azimuth_sigma_deg"]
    );
}

#[test]
fn a_stuck_encoder_is_told_and_left_out() {
    let sound = reduce(&log());
    // The azimuth encoder hangs for a while on the way and jumps to where the mount is by then.
    for from in [8, 40] {
        let mut lines = log();
        let azimuth = |line: &str| line.split(',').nth(3).map(str::to_owned).expect("columns");
        let hung = azimuth(&lines[from]);
        for line in &mut lines[from..from + 9] {
            let here = azimuth(line);
            *line = line.replacen(&here, &hung, 1);
        }
        let told = reduce(&lines);
        assert!(
            told.why(0)
                .contains("the encoders stood still for 8 samples"),
            "{}",
            told.why(0)
        );
        told.is_near(&sound);
        assert_eq!(told.scan(0)["verdict"], "good");
    }
}

#[test]
fn a_mount_that_never_moves_is_told_whatever_the_emitter_does() {
    // Both encoders hang for the whole of the first scan.
    let stuck = |lines: &mut [String], seconds: i64| {
        for (i, line) in lines.iter_mut().enumerate() {
            let fields: Vec<&str> = line.split(',').collect();
            let time: jiff::Timestamp = "2026-04-07T08:00:00Z".parse().expect("a time");
            let time = time + jiff::SignedDuration::from_secs(seconds * i as i64);
            let power = fields[5];
            *line = format!("1,{time},sun,115.2422,39.9995,{power}");
        }
    };
    // A minute: the Sun hardly moves; two hours: it drifts through many beamwidths.
    for seconds in [1, 60] {
        let mut lines = log();
        let n = first_scan(&lines);
        stuck(&mut lines[1..=n], seconds);
        lines.truncate(n + 1);
        let told = reduce_bytes((lines.join("\n") + "\n").as_bytes(), 4);
        assert_eq!(told.scan(0)["verdict"], "refused");
        let why = told.why(0);
        let words = "the encoder readings never changed: a stuck encoder or a parked dish";
        assert!(why.contains(words), "{why}");
        assert!(!why.contains("both axes"), "{why}");
    }
}

#[test]
fn times_that_do_not_advance_are_told() {
    let lines = log();
    let n = first_scan(&lines);
    // All samples at one time, and all of each pass.
    for same in [n, n / 2] {
        let mut lines = log();
        for first in (1..=n).step_by(same) {
            let time = lines[first].split(',').nth(1).map(str::to_owned);
            let time = time.expect("columns");
            for line in &mut lines[first..(first + same).min(n + 1)] {
                let own = line.split(',').nth(1).map(str::to_owned);
                *line = line.replacen(&own.expect("columns"), &time, 1);
            }
        }
        let told = reduce(&lines);
        assert_eq!(told.scan(0)["verdict"], "poor");
        assert!(
            told.why(0).contains("the times do not advance"),
            "{}",
            told.why(0)
        );
        assert_eq!(told.scan(1)["verdict"], "good");
    }
}

#[test]
fn gaps_are_told_and_matter_where_the_peak_is() {
    let sound = reduce(&log());
    let half = first_scan(&log()) / 2;
    let without = |from: usize, to: usize| {
        let mut lines = log();
        lines.drain(from..to);
        reduce(&lines)
    };
    let beside = without(5, 17);
    assert!(beside.why(0).contains("off the peak"), "{}", beside.why(0));
    assert_eq!(beside.scan(0)["verdict"], "good");
    beside.is_near(&sound);
    let on_it = without(half / 2 - 8, half / 2 + 12);
    assert!(
        on_it
            .why(0)
            .contains("a gap in the log where the peak stands along azimuth"),
        "{}",
        on_it.scan(0)
    );
    assert_ne!(on_it.scan(0)["verdict"], "good");
    if let (Some(reading), Some(sigma)) = (
        on_it.scan(0)["azimuth_deg"].as_f64(),
        on_it.scan(0)["azimuth_sigma_deg"].as_f64(),
    ) {
        let cos = sound.scan(0)["elevation_deg"]
            .as_f64()
            .expect("a number")
            .to_radians()
            .cos();
        let off = (reading - sound.scan(0)["azimuth_deg"].as_f64().expect("a number")) * cos;
        assert!(off.abs() < SIGMAS * sigma, "{off} {sigma}");
    }
}

#[test]
fn a_few_damaged_rows_are_left_out_and_a_faulty_log_is_refused() {
    let mut lines = log();
    lines[12] = lines[12].replace(",sun,", ",sum,");
    lines[14].push_str(",extra");
    let told = reduce(&lines);
    told.says("row left out: night.csv:13:");
    told.says("\"sum\"");
    told.says("row left out: night.csv:15:");
    assert_eq!(told.scan(0)["verdict"], "good");

    let mut lines = log();
    for line in lines.iter_mut().skip(1) {
        *line = line.replacen('Z', "", 1);
    }
    let told = reduce_bytes((lines.join("\n") + "\n").as_bytes(), 3);
    told.says("night.csv:2:");
    told.says("without a zone");
}

#[test]
fn a_night_without_a_single_peak_says_so_by_its_exit_code() {
    // One scan's rows far from its emitter: the header and a quarter of the first pass.
    let lines: Vec<String> = log()[..14].to_vec();
    let told = reduce_bytes((lines.join("\n") + "\n").as_bytes(), 4);
    assert_eq!(told.scan(0)["verdict"], "refused");
    told.says("1 scan: 0 good, 0 poor, 1 refused");
}
