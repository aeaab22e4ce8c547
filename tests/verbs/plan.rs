//! The verb `plan` as a whole command on the demo's invented station, and its promise: what it
//! predicts is what a solve of such peaks gives.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Output;

use crate::command::{command, text};
use plumbeam::angle::{Angle, Offset};
use plumbeam::explain::observe::Observations;
use plumbeam::logbook::Approach;
use plumbeam::mount::{MountModel, Term, TermValues};
use plumbeam::plan::{Known, PlanRequest, plan};
use plumbeam::sky::Sky;
use plumbeam::solve::{Options, solve_observed};
use plumbeam::station::Station;
use plumbeam::time::Utc;
use rand::SeedableRng;
use rand_chacha::ChaCha12Rng;
use serde_json::Value;

fn run(arguments: &[&str]) -> Output {
    command(Path::new(env!("CARGO_MANIFEST_DIR")), arguments)
        .args(["--station", "demo-data/station.toml"])
        .output()
        .unwrap()
}

const SPAN: [&str; 5] = [
    "plan",
    "--from",
    "2026-09-12T06:00:00Z",
    "--to",
    "2026-09-12T10:00:00Z",
];

/// The words without the way they are broken into lines and columns.
fn flat(said: &str) -> String {
    said.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn json(output: &Output) -> Value {
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn what_is_predicted_is_what_a_solve_gives() {
    /// 150 sessions of seven terms: the rms of a term's error over its sigma has a standard
    /// deviation of 1/sqrt(300), 6 %; four of those.
    const SCATTER: f64 = 0.23;
    const SESSIONS: u64 = 150;
    let station = Station::read(Path::new("demo-data/station.toml")).unwrap();
    let sky = Sky::new(&station).unwrap();
    let from = Utc::parse(SPAN[2]).unwrap();
    let request = PlanRequest::new(&sky, from, from.plus_seconds(4.0 * 3600.0));
    let plan = plan(&station, &sky, &Known::default(), &request).unwrap();
    let terms: Vec<Term> = plan.predictions.iter().map(|p| p.term).collect();
    // A mount nearly without fault keeps linear what was predicted to first order.
    let model = MountModel::az_el(TermValues::ZERO.with_shown(Term::AzimuthZero, 20.0));
    let mut squares = vec![0.0; terms.len()];
    let mut rng = ChaCha12Rng::seed_from_u64(11);
    for _ in 0..SESSIONS {
        let mut observations = Observations::default();
        for (row, step) in plan.steps.iter().enumerate() {
            let noise = Offset {
                cross_elevation: plan.sigma * crate::study::bell(&mut rng),
                elevation: plan.sigma * crate::study::bell(&mut rng),
            };
            let target = step.candidate.direction;
            let sides = [Approach::Unknown; 2];
            let observed = crate::study::observe(&model, &mut rng, row + 1, target, noise, sides);
            observations.usable.extend(observed);
        }
        let options = Options {
            terms: Some(terms.clone()),
            trust_all: true,
            ..Options::default()
        };
        let outcome = solve_observed(&station, &observations, &options).unwrap();
        for (i, p) in plan.predictions.iter().enumerate() {
            let [found, real] = [&outcome.model, &model].map(|m| m.terms().shown(p.term));
            let value = p.term.unit().inward(found - real);
            squares[i] += (Angle::from_radians(value).wrapped_signed().radians() / p.after).powi(2);
        }
    }
    for (term, sum) in terms.iter().zip(squares) {
        let scatter = (sum / SESSIONS as f64).sqrt();
        assert!((scatter - 1.0).abs() < SCATTER, "{term:?}: {scatter}");
    }
}

#[test]
fn the_document_has_its_keys() {
    let plan = json(&run(&[&SPAN[..], &["--json"]].concat()));
    let steps = plan["steps"].as_array().unwrap();
    assert_eq!(steps.len(), 40);
    for key in [
        "time_utc",
        "emitter",
        "azimuth_deg",
        "elevation_deg",
        "tells",
    ] {
        assert!(!steps[0][key].is_null(), "{key}");
    }
    for term in ["azimuth-zero", "tilt-north", "droop"] {
        assert!(plan["predicted_sigma"][term]["sigma_deg"].as_f64().unwrap() > 0.0);
    }
    assert!(plan["not_separable"].is_array());
    assert!(
        plan["cautions"][0]
            .as_str()
            .unwrap()
            .contains("Never look along the dish")
    );
}

#[test]
fn a_filled_sheet_is_a_log_and_an_empty_one_says_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = folder.path().join("peaks.csv");
    let sheet_name = sheet.to_str().unwrap();
    let plan = json(&run(
        &[&SPAN[..], &["--json", "--sheet", sheet_name]].concat()
    ));
    let empty = run(&["solve", sheet_name, "--json"]);
    assert_eq!(empty.status.code(), Some(3));
    let said = text(&empty.stderr);
    let planned = plan["steps"].as_array().unwrap().len();
    let words = format!("none of its {planned} rows is filled in: all readings are empty");
    // One message, and the header with a mark under it.
    assert!(said.contains(&words) && said.lines().count() == 3, "{said}");

    let mut filled = String::new();
    let mut steps = plan["steps"].as_array().unwrap().iter();
    for line in std::fs::read_to_string(&sheet).unwrap().lines() {
        if line.starts_with('#') || line.starts_with("time_utc") {
            filled += line;
        } else {
            let step = steps.next().unwrap();
            let rest: Vec<&str> = line.splitn(5, ',').collect();
            filled += &format!(
                "{},{},{:.3},{:.3},{}",
                step["time_utc"].as_str().unwrap(),
                rest[1],
                step["azimuth_deg"].as_f64().unwrap(),
                step["elevation_deg"].as_f64().unwrap(),
                rest[4]
            );
        }
        filled.push('\n');
    }
    // Half of the steps were not taken: a sheet half filled is solved with what it has.
    let rows: Vec<&str> = filled.lines().collect();
    let whole = rows
        .iter()
        .position(|line| line.starts_with("time_utc"))
        .unwrap()
        + 1;
    let blank = std::fs::read_to_string(&sheet).unwrap();
    let half: Vec<&str> = (rows.iter().zip(blank.lines()).enumerate())
        .map(|(i, (full, empty))| {
            if i < whole || i % 2 == 0 {
                *full
            } else {
                empty
            }
        })
        .collect();
    std::fs::write(&sheet, half.join("\n") + "\n").unwrap();
    let output = run(&["solve", sheet_name, "--json"]);
    let not_taken = half.iter().filter(|line| line.starts_with(',')).count();
    let told = format!("{not_taken} rows without readings skipped: steps not taken");
    assert!(
        text(&output.stderr).contains(&told),
        "{}",
        text(&output.stderr)
    );
    let solved = json(&output);
    let used = solved["peaks"].as_array().unwrap().len();
    assert_eq!(used, planned - not_taken);

    std::fs::write(&sheet, filled).unwrap();
    let solved = folder.path().join("calibration.json");
    let solve = run(&[
        "solve",
        sheet_name,
        "--out",
        solved.to_str().unwrap(),
        "--quiet",
    ]);
    assert_eq!(solve.status.code(), Some(0), "{}", text(&solve.stderr));

    // What to measure next starts from what is known now.
    let calibration = ["--calibration", solved.to_str().unwrap(), "--json"];
    let next = json(&run(&[&SPAN[..], &calibration].concat()));
    let before = |plan: &Value| plan["predicted_sigma"]["tilt-north"]["before_deg"].as_f64();
    assert!(before(&next).unwrap() < 0.05 * before(&plan).unwrap());
    // The filled-in peaks were as good as exact, and so would the next ones be.
    assert!(next["peak_sigma_deg"].as_f64().unwrap() < 0.01);
}

#[test]
fn local_time_stands_beside_utc() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = folder.path().join("sheet.csv");
    let local = [
        "plan",
        "--from",
        "2026-09-12T17:00",
        "--to",
        "2026-09-12T18:00",
        "--zone",
        "+11:00",
    ];
    let output = run(&[&local[..], &["--sheet", sheet.to_str().unwrap()]].concat());
    assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
    let said = text(&output.stdout);
    assert!(flat(&said).contains("time (UTC) +11:00 "), "{said}");
    assert!(flat(&said).contains(" 09-12 06:02:30 17:02:30 "), "{said}");
    assert!(
        flat(&said).contains("(17:02:30 to 17:57:30 at +11:00)"),
        "{said}"
    );
    let sheet = std::fs::read_to_string(sheet).unwrap();
    assert!(
        sheet.contains("planned 2026-09-12T06:02:30Z (17:02:30 at +11:00);"),
        "{sheet}"
    );
    // The same plan as in UTC, which machines get.
    let utc = [
        "plan",
        "--from",
        "2026-09-12T06:00:00Z",
        "--to",
        "2026-09-12T07:00:00Z",
        "--json",
    ];
    assert_eq!(
        json(&run(&[&local[..], &["--json"]].concat())),
        json(&run(&utc))
    );
    let bare = run(&local[..5]);
    assert_eq!(bare.status.code(), Some(2));
    assert!(text(&bare.stderr).contains("--from 2026-09-12T17:00: the time has neither Z"));
}

#[test]
fn with_the_sun_alone_it_spreads_the_steps_and_says_when_to_come_back() {
    let sun = |more: &[&str]| {
        let span = [
            "plan",
            "--from",
            "2026-09-12T07:00:00Z",
            "--for",
            "3h",
            "sun",
        ];
        run(&[&span[..], more].concat())
    };
    let said = text(&sun(&["--zone", "+02:00"]).stdout);
    let unwrapped = said.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "12 peaks in 4 visits, one every 5.0 minutes",
        "come back for the next ones:",
        "WHEN TO COME BACK\n  In this span only the Sun can be observed.",
        "  - 2026-09-12 1",
        " at +02:00): the Sun near azimuth ",
        "3 peaks there would leave",
        "Even a whole day of the Sun",
        "the Sun of another season",
    ] {
        assert!(
            said.contains(words) || unwrapped.contains(words),
            "{words}: {said}"
        );
    }
    let plan = json(&sun(&["--json"]));
    assert_eq!(plan["visits"], serde_json::json!([1, 4, 7, 10]));
    let come_back = &plan["come_back"];
    let returns = come_back["returns"].as_array().unwrap();
    assert!(!returns.is_empty() && returns.len() <= 3);
    let left = |value: &Value| value.as_f64().unwrap();
    assert!(left(&returns[0]["error_left_deg"]) < left(&plan["error_after_deg"]));
    assert!(
        !come_back["not_told_in_a_day"]
            .as_array()
            .unwrap()
            .is_empty()
    );
    // A plan that takes several emitters says nothing of the kind.
    assert!(json(&run(&[&SPAN[..], &["--json"]].concat()))["come_back"].is_null());
}

#[test]
fn emitters_left_out_for_one_reason_stand_in_one_line() {
    let output = run(&[
        "plan",
        "--from",
        "2026-09-12T06:00:00Z",
        "--for",
        "20m",
        "--peaks",
        "2",
    ]);
    let said = text(&output.stdout);
    assert!(
        flat(&said).contains(" emitters could be observed, but the others tell more: "),
        "{said}"
    );
}

#[test]
fn what_cannot_be_planned_is_said() {
    let short = run(&["plan", "--from", SPAN[2], "--for", "2m"]);
    assert_eq!(short.status.code(), Some(2));
    assert!(text(&short.stderr).contains("shorter than one peak takes"));
    let night = run(&[
        "plan",
        "--from",
        "2026-09-12T22:00:00Z",
        "--for",
        "1h",
        "sun",
    ]);
    assert_eq!(night.status.code(), Some(4));
    let said = text(&night.stderr);
    assert!(said.contains("sun (below the horizon)"), "{said}");
    assert!(
        said.contains("help: can be observed next: sun from 2026-09-13T0"),
        "{said}"
    );
    let unknown = run(&["plan", "--terms", "tilt-nort"]);
    assert_eq!(unknown.status.code(), Some(2));
    assert!(text(&unknown.stderr).contains("did you mean"));
}

#[test]
fn wrong_numbers_are_told_what_was_expected() {
    for (arguments, expected) in [
        (
            &["plan", "--each", "0m"][..],
            "a stretch of time above zero",
        ),
        (&["plan", "--for", "0m"], "a stretch of time above zero"),
        (&["plan", "--for", "-1h"], "a stretch of time above zero"),
        (&["plan", "--sigma", "-1"], "a number above zero"),
        (
            &["plan", "--system-temperature", "-5"],
            "a number above zero",
        ),
        (&["plan", "--lowest", "-5"], "degrees from 0"),
        (&["plan", "--peaks", "-5"], "-5 is not in 1..=2000"),
        (
            &["solve", "peaks.csv", "--bootstrap", "-3"],
            "a whole number, 0 or more",
        ),
        (
            &["solve", "peaks.csv", "--seed", "-1"],
            "a whole number, 0 or more",
        ),
        (
            &["faults", "peaks.csv", "--seed", "-1"],
            "a whole number, 0 or more",
        ),
        (
            &["simulate", "--truth", "t.toml", "--seed", "-1"],
            "a whole number, 0 or more",
        ),
        (&["recheck", "--limit", "-1"], "a number above zero"),
        (&["recheck", "--seed", "x"], "a whole number, 0 or more"),
        (&["table", "--max-bytes", "-1"], "a whole number, 0 or more"),
    ] {
        let output = run(arguments);
        let said = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(said.contains(arguments[arguments.len() - 1]), "{said}");
        assert!(said.contains(expected), "{arguments:?}: {said}");
        assert!(!said.contains("unexpected argument"), "{said}");
    }
    let backward = run(&["plan", "--from", SPAN[4], "--to", SPAN[2]]);
    assert_eq!(backward.status.code(), Some(2));
    assert!(text(&backward.stderr).contains("choose a later --to"));
}

#[test]
fn the_picture_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let report = ["--report", folder.path().to_str().unwrap(), "--json"];
    let output = run(&[&SPAN[..], &report].concat());
    assert_eq!(output.status.code(), Some(0));
    let plan: Value = serde_json::from_slice(&output.stdout).unwrap();
    let steps = plan["steps"].as_array().unwrap().len();
    let drawn = std::fs::read_to_string(folder.path().join("plan.svg")).unwrap();
    // Labels are numbers and ranges, such as 1\u{2013}2, 18.
    let label = |line: &str| -> Option<Vec<usize>> {
        let mut numbers = Vec::new();
        for part in line.split(", ") {
            let (first, last) = part.split_once('\u{2013}').unwrap_or((part, part));
            numbers.extend(first.parse::<usize>().ok()?..=last.parse().ok()?);
        }
        Some(numbers)
    };
    let seen: BTreeSet<usize> = drawn.lines().filter_map(label).flatten().collect();
    for number in 1..=steps {
        assert!(
            seen.contains(&number),
            "step {number} is not in the picture"
        );
    }
    let pixels = std::fs::read(folder.path().join("plan.png")).unwrap();
    let mut reader = png::Decoder::new(std::io::Cursor::new(pixels))
        .read_info()
        .unwrap();
    let mut image = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut image).unwrap();
    let white = image[0];
    let inked = image.iter().filter(|p| **p != white).count();
    assert!(
        info.width > 500 && inked > image.len() / 50,
        "{info:?}, {inked}"
    );
}
