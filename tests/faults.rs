//! The verb faults as a whole command: the reference sessions, and one made-up session for each
//! fault that can be named.

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use serde_json::Value;

fn package() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

#[track_caller]
fn plumbeam(folder: &Path, arguments: &[&str], code: i32) -> Output {
    let output = Command::new(env!("CARGO_BIN_EXE_plumbeam"))
        .args(arguments)
        .current_dir(folder)
        .env_clear()
        .stdin(Stdio::null())
        .output()
        .expect("the command runs");
    assert_eq!(
        output.status.code(),
        Some(code),
        "plumbeam {}\n--- out\n{}--- err\n{}",
        arguments.join(" "),
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    output
}

#[track_caller]
fn json(folder: &Path, arguments: &[&str]) -> Value {
    let output = plumbeam(folder, arguments, 0);
    serde_json::from_slice(&output.stdout).expect("one JSON document")
}

fn names(document: &Value) -> Vec<String> {
    findings(document)
        .iter()
        .map(|f| f["fault"].as_str().expect("a name").to_owned())
        .collect()
}

fn findings(document: &Value) -> &[Value] {
    document["findings"].as_array().expect("a list")
}

fn reference(name: &str) -> PathBuf {
    package().join("tests/data/reference/sessions").join(name)
}

fn diagnosed(name: &str) -> Value {
    json(&reference(name), &["faults", "peaks.csv", "--json"])
}

/// A size may lie so many of its own sigmas from the truth.
const MOST_SIGMAS: f64 = 4.0;

#[track_caller]
fn assert_size(finding: &Value, truth: f64) {
    let (size, sigma) = (finding["size"].as_f64(), finding["sigma"].as_f64());
    let (size, sigma) = (size.expect("a size"), sigma.expect("a sigma"));
    assert!(
        (size - truth).abs() <= MOST_SIGMAS * sigma + 1e-9,
        "{} +/- {sigma} is not {truth}: {finding}",
        size
    );
}

fn truth(name: &str) -> Value {
    let text = std::fs::read_to_string(reference(name).join("truth.json")).expect("a truth");
    serde_json::from_str(&text).expect("JSON")
}

#[test]
fn sloppy_gears_are_backlash_in_both_axes_and_nothing_else() {
    let found = diagnosed("sloppy-gears");
    assert_eq!(names(&found), ["azimuth-backlash", "elevation-backlash"]);
    let truth = truth("sloppy-gears");
    for finding in findings(&found) {
        let term = finding["fault"].as_str().expect("a name");
        let width = truth["terms"][term].as_f64().expect("in the truth");
        assert_size(finding, width);
    }
}

#[test]
fn bad_points_are_named_row_by_row() {
    let found = diagnosed("bad-points");
    let truth = truth("bad-points");
    let bad = truth["bad_rows"].as_object().expect("bad rows");
    let mut told = 0;
    for finding in findings(&found) {
        let spoken_of = match finding["fault"].as_str() {
            Some("wrong-emitter") => "wrong emitter",
            Some("digit-slip") => "digit",
            Some("sidelobe") => "sidelobe",
            other => panic!("{other:?} is not among the truth's"),
        };
        for row in finding["rows"].as_array().expect("rows") {
            assert_eq!(bad[&row.to_string()], spoken_of, "row {row}");
            told += 1;
        }
    }
    assert_eq!(told, bad.len());
}

#[test]
fn an_unknown_north_is_no_fault_and_neither_are_small_healthy_errors() {
    let healthy = [
        "unknown-north",
        "arc-only",
        "barn-roof",
        "one-corner",
        "over-the-top",
        "southern",
    ];
    for name in healthy {
        assert_eq!(names(&diagnosed(name)), Vec::<String>::new(), "{name}");
        plumbeam(&reference(name), &["faults", "peaks.csv", "--strict"], 0);
    }
}

#[test]
fn a_large_mounts_runout_and_warp_are_told_apart() {
    let found = diagnosed("hill-array");
    let mut told = names(&found);
    told.sort();
    assert_eq!(told, ["azimuth-runout", "warped-track"]);
    let truth = truth("hill-array");
    for finding in findings(&found) {
        let term = match finding["fault"].as_str() {
            Some("azimuth-runout") => "azimuth-runout",
            _ => "track-warp",
        };
        let part = |which: &str| truth["terms"][format!("{term}-{which}")].as_f64();
        let [cos, sin] = ["cos", "sin"].map(|w| part(w).expect("in the truth"));
        assert_size(finding, cos.hypot(sin));
    }
}

#[test]
fn strict_fails_with_a_finding_and_the_document_has_its_keys() {
    let folder = reference("sloppy-gears");
    plumbeam(&folder, &["faults", "peaks.csv", "--strict"], 1);
    plumbeam(&folder, &["faults", "peaks.csv", "--strict", "--json"], 1);
    let found = json(&folder, &["faults", "peaks.csv", "--json"]);
    for finding in findings(&found) {
        for key in [
            "fault",
            "axis",
            "size",
            "size_unit",
            "sigma",
            "false_alarm_probability",
            "evidence",
            "confirm",
            "mend",
            "otherwise",
            "in_words",
            "rows",
            "rivals",
        ] {
            assert!(!finding[key].is_null(), "{key}: {finding}");
        }
        let chance = finding["false_alarm_probability"].as_f64();
        assert!(chance.is_some_and(|p| (0.0..=0.01).contains(&p)));
        // Gears and counterweights hurt.
        let mend = finding["mend"].as_str().expect("a remedy");
        assert!(mend.contains("power") && mend.contains("counterweight"));
    }
}

#[test]
fn solve_shows_the_first_findings_and_a_calibration_may_be_given() {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["station.toml", "satellites.tle", "peaks.csv"] {
        let from = reference("sloppy-gears").join(name);
        std::fs::copy(from, folder.path().join(name)).expect("a copy");
    }
    let solved = plumbeam(folder.path(), &["solve", "peaks.csv"], 0);
    let text = String::from_utf8(solved.stdout).expect("UTF-8");
    assert!(text.contains("- azimuth-backlash 0.84"), "{text}");
    assert!(text.contains("- elevation-backlash 0.3"), "{text}");
    // The calibration holds the backlash that was fitted: it is a beginning only.
    let again = [
        "faults",
        "peaks.csv",
        "--calibration",
        "calibration.json",
        "--json",
        "--report",
        "report",
        "--out",
        "findings.json",
    ];
    let found = json(folder.path(), &again);
    assert_eq!(names(&found), ["azimuth-backlash", "elevation-backlash"]);
    let page = std::fs::read_to_string(folder.path().join("report/faults.html")).expect("a page");
    assert_eq!(page.matches("<svg").count(), 2);
    for stem in ["fault-1-azimuth-backlash", "fault-2-elevation-backlash"] {
        for ending in ["svg", "png"] {
            let file = folder.path().join(format!("report/{stem}.{ending}"));
            assert!(file.is_file(), "{}", file.display());
        }
    }
    let filed = std::fs::read_to_string(folder.path().join("findings.json")).expect("findings");
    assert_eq!(serde_json::from_str::<Value>(&filed).expect("JSON"), found);
}

/// A made-up session: what is wrong with it, and what must be found.
#[derive(Default)]
struct Practice {
    /// Lines of the truth's table of terms beside the healthy ones.
    terms: &'static str,
    /// The spoil tables.
    spoil: &'static str,
    /// The station's folder; the demo's when empty.
    station: &'static str,
    /// Lines for the station's mount.
    mount: &'static str,
    peaks: Option<usize>,
    hours: Option<u32>,
    noise: Option<f64>,
    lowest: Option<f64>,
    /// Readings as they are, and not rounded to 0.01 deg.
    unrounded: bool,
}

impl Practice {
    /// Makes the session in `folder` and diagnoses it.
    fn diagnose(&self, folder: &Path) -> Value {
        self.make(folder);
        json(folder, &["faults", "peaks.csv", "--json"])
    }

    fn make(&self, folder: &Path) {
        let from = match self.station {
            "" => package().join("demo-data"),
            name => reference(name),
        };
        std::fs::copy(from.join("satellites.tle"), folder.join("satellites.tle")).expect("a copy");
        let station = std::fs::read_to_string(from.join("station.toml")).expect("a station");
        let station = station.replacen("[dish]", &format!("{}\n[dish]", self.mount), 1);
        std::fs::write(folder.join("station.toml"), station).expect("a file");
        let day = if self.station.is_empty() {
            "2026-09-12T06:10:00Z"
        } else {
            "2026-08-26T05:00:00Z"
        };
        let begin = plumbeam::time::Utc::parse(day).expect("a time");
        let end = begin.plus_seconds(3600.0 * f64::from(self.hours.unwrap_or(10)));
        let truth = format!(
            "[terms]\nazimuth-zero = 137.2\nelevation-zero = -0.87\ntilt-north = 0.3\n\
             tilt-east = -0.5\ncollimation = 0.4\ndroop = 0.2\n{}\n\
             [noise]\ncross_elevation_deg = {noise}\nelevation_deg = {noise}\nresolution_deg = {}\n\
             [session]\nfrom = \"{begin}\"\nto = \"{end}\"\npeaks = {}\n\
             lowest_elevation_deg = {}\napproach_logged = true\n{}",
            self.terms,
            if self.unrounded { 0.0 } else { 0.01 },
            self.peaks.unwrap_or(60),
            self.lowest.unwrap_or(10.0),
            self.spoil,
            noise = self.noise.unwrap_or(0.07),
        );
        std::fs::write(folder.join("truth.toml"), truth).expect("a file");
        let simulate = [
            "simulate",
            "--truth",
            "truth.toml",
            "--seed",
            "7",
            "--out",
            "peaks.csv",
        ];
        plumbeam(folder, &simulate, 0);
    }
}

/// Diagnoses a practice session and checks the first finding's name, and its size if one is
/// given.
#[track_caller]
fn expect(practice: &Practice, fault: &str, size: Option<f64>) -> Value {
    let folder = tempfile::tempdir().expect("a folder");
    let found = practice.diagnose(folder.path());
    let first = findings(&found).first().cloned();
    let first = first.unwrap_or_else(|| panic!("{fault} is not found"));
    assert_eq!(first["fault"], fault, "{found:#}");
    assert_eq!(findings(&found).len(), 1, "{found:#}");
    if let Some(size) = size {
        assert_size(&first, size);
    }
    first
}

fn spoilt(spoil: &'static str) -> Practice {
    Practice {
        spoil,
        ..Practice::default()
    }
}

fn with_terms(terms: &'static str) -> Practice {
    Practice {
        terms,
        ..Practice::default()
    }
}

#[test]
fn a_healthy_session_is_left_in_peace() {
    let folder = tempfile::tempdir().expect("a folder");
    let found = Practice::default().diagnose(folder.path());
    assert_eq!(names(&found), Vec::<String>::new());
    plumbeam(folder.path(), &["faults", "peaks.csv", "--strict"], 0);
}

#[test]
fn play_is_found_by_the_side_of_arrival_and_by_its_flip_at_the_balance() {
    let azimuth = with_terms("azimuth-backlash = 0.4");
    expect(&azimuth, "azimuth-backlash", Some(0.4));
    let elevation = with_terms("elevation-backlash = 0.3");
    expect(&elevation, "elevation-backlash", Some(0.3));
    let flip = spoilt("[[spoil]]\nkind=\"balance-flip\"\nat_deg=35.0\nsize_deg=0.5");
    let found = expect(&flip, "elevation-backlash", Some(0.5));
    assert!(
        found["evidence"]
            .as_str()
            .is_some_and(|e| e.contains("balance"))
    );
}

#[test]
fn slips_are_found_between_their_rows() {
    let one = spoilt("[[spoil]]\nkind=\"azimuth-slip\"\nfrom_row=30\nsize_deg=0.6");
    let found = expect(&one, "azimuth-slip", Some(0.6));
    assert_eq!(found["rows"], serde_json::json!([29, 30]));
    let several = spoilt(
        "[[spoil]]\nkind=\"elevation-slip\"\nfrom_row=20\nsize_deg=0.6\n\
         [[spoil]]\nkind=\"elevation-slip\"\nfrom_row=33\nsize_deg=0.7\n\
         [[spoil]]\nkind=\"elevation-slip\"\nfrom_row=45\nsize_deg=0.8",
    );
    let folder = tempfile::tempdir().expect("a folder");
    let found = several.diagnose(folder.path());
    assert_eq!(names(&found), ["elevation-slip"; 3]);
    let mut rows: Vec<u64> = (findings(&found).iter())
        .filter_map(|f| f["rows"][1].as_u64())
        .collect();
    rows.sort_unstable();
    assert_eq!(rows, [20, 33, 45]);
}

#[test]
fn slow_changes_are_told_apart() {
    let creep = spoilt("[[spoil]]\nkind=\"creep\"\naxis=\"azimuth\"\ndeg_per_hour=0.06");
    expect(&creep, "creep", Some(0.06));
    let settling =
        spoilt("[[spoil]]\nkind=\"settling\"\nnorth_deg_per_hour=0.03\neast_deg_per_hour=0.03");
    expect(&settling, "settling", Some(0.03_f64.hypot(0.03)));
    let logged = Practice {
        hours: Some(24),
        ..spoilt("[[spoil]]\nkind=\"thermal-drift\"\naxis=\"elevation\"\ndeg_per_kelvin=0.04")
    };
    expect(&logged, "thermal-drift", Some(0.04));
    let unlogged = Practice {
        hours: Some(24),
        ..spoilt(
            "[[spoil]]\nkind=\"thermal-drift\"\naxis=\"elevation\"\ndeg_per_kelvin=0.05\n\
             logged=false",
        )
    };
    // 8 kelvin up and down.
    expect(&unlogged, "thermal-drift", Some(0.4));
}

#[test]
fn what_repeats_with_the_turn_is_named_by_how_often() {
    let runout = with_terms("azimuth-runout-cos = 0.2\nazimuth-runout-sin = -0.25");
    expect(&runout, "azimuth-runout", Some(0.2_f64.hypot(0.25)));
    let twice = spoilt("[[spoil]]\nkind=\"warped-track\"\ntimes=2\nsize_deg=0.2\nhigh_at_deg=40.0");
    expect(&twice, "warped-track", Some(0.2));
    let thrice =
        spoilt("[[spoil]]\nkind=\"warped-track\"\ntimes=3\nsize_deg=0.2\nhigh_at_deg=40.0");
    expect(&thrice, "warped-track", Some(0.2));
    for per_turn in ["180.0", "9.0"] {
        let spoil = format!(
            "[[spoil]]\nkind=\"tooth-error\"\naxis=\"azimuth\"\nper_turn={per_turn}\nsize_deg=0.3"
        );
        let teeth = Practice {
            mount: "azimuth_gear_teeth = 180\nazimuth_pinion_teeth = 20",
            spoil: Box::leak(spoil.into_boxed_str()),
            ..Practice::default()
        };
        expect(&teeth, "tooth-error", Some(0.3));
    }
    let scale = with_terms("azimuth-scale = 0.004");
    expect(&scale, "wrong-scale", Some(0.004));
}

#[test]
fn elevation_runout_and_scale_look_alike_below_the_zenith_and_are_shown_together() {
    let runout = with_terms("elevation-runout-sin = 1.0");
    let folder = tempfile::tempdir().expect("a folder");
    let found = runout.diagnose(folder.path());
    assert_eq!(findings(&found).len(), 1);
    let first = &findings(&found)[0];
    let rivals = first["rivals"].as_array().expect("a list");
    let alike: Vec<&Value> = std::iter::once(&first["fault"])
        .chain(rivals.iter().map(|r| &r["fault"]))
        .collect();
    for fault in ["wrong-scale", "elevation-runout"] {
        assert!(alike.iter().any(|f| **f == fault), "{fault} in {alike:?}");
    }
    assert!(
        rivals
            .iter()
            .all(|r| r["tell"].as_str().is_some_and(|t| !t.is_empty()))
    );
}

#[test]
fn what_rattles_or_flops_is_found() {
    let joint = Practice {
        peaks: Some(120),
        ..spoilt("[[spoil]]\nkind=\"loose-joint\"\naxis=\"both\"\ntoward_deg=180.0\ntimes=5.0")
    };
    expect(&joint, "loose-joint", None);
    let dish = Practice {
        peaks: Some(120),
        ..spoilt("[[spoil]]\nkind=\"flop\"\nat_deg=35.0\nsize_deg=0.6")
    };
    expect(&dish, "loose-dish", Some(0.6));
}

#[test]
fn clocks_zones_and_sites_are_put_right() {
    expect(&with_terms("clock-offset = 20.0"), "clock", Some(20.0));
    expect(&with_terms("clock-offset = -150.0"), "clock", Some(-150.0));
    let zone = spoilt("[[spoil]]\nkind=\"time-zone\"\nhours=-2.0");
    expect(&zone, "time-zone", Some(-2.0));
    let sign = spoilt("[[spoil]]\nkind=\"longitude-sign\"");
    expect(&sign, "longitude-sign", Some(-7.33));
    expect(
        &spoilt("[[spoil]]\nkind=\"site-swapped\""),
        "site-swapped",
        None,
    );
    let reversed = spoilt("[[spoil]]\nkind=\"azimuth-reversed\"");
    expect(&reversed, "azimuth-reversed", None);
}

#[test]
fn faults_that_come_together_are_all_named() {
    let folder = tempfile::tempdir().expect("a folder");
    let several = Practice {
        terms: "azimuth-backlash = 0.6",
        ..spoilt(
            "[[spoil]]\nkind=\"azimuth-reversed\"\n\
             [[spoil]]\nkind=\"sidelobe\"\nrows=[3, 22, 51]",
        )
    };
    let found = several.diagnose(folder.path());
    let told = names(&found);
    assert_eq!(told[0], "azimuth-reversed");
    for name in ["azimuth-backlash", "sidelobe"] {
        assert!(told.iter().any(|t| t == name), "{told:?}");
    }
    assert_eq!(told.len(), 3, "{found:#}");
    let play = findings(&found)
        .iter()
        .find(|f| f["fault"] == "azimuth-backlash");
    assert_size(play.expect("found"), 0.6);
}

#[test]
fn units_and_columns_are_told_however_absurd_the_readings() {
    for (axis, unit, degrees) in [
        ("both", "mils", 360.0 / 6400.0),
        ("both", "minutes", 1.0 / 60.0),
        ("azimuth", "radians", 180.0 / std::f64::consts::PI),
        ("elevation", "grads", 0.9),
    ] {
        let spoil = format!("[[spoil]]\nkind=\"wrong-unit\"\naxis=\"{axis}\"\nunit=\"{unit}\"");
        let practice = Practice {
            unrounded: true,
            spoil: Box::leak(spoil.into_boxed_str()),
            ..Practice::default()
        };
        let found = expect(&practice, "wrong-unit", Some(degrees));
        assert_eq!(found["axis"], axis);
        assert_eq!(found["size_unit"], "deg per unit");
    }
    let whole = spoilt("[[spoil]]\nkind=\"columns-exchanged\"");
    expect(&whole, "columns-exchanged", None);
    let some = spoilt("[[spoil]]\nkind=\"columns-exchanged\"\nrows=[20, 44]");
    let found = expect(&some, "columns-exchanged", None);
    assert_eq!(found["rows"], serde_json::json!([20, 44]));
    let sky = spoilt("[[spoil]]\nkind=\"sky-for-encoder\"");
    expect(&sky, "columns-exchanged", None);
    // For other commands the same log is faulty.
    let folder = tempfile::tempdir().expect("a folder");
    whole.make(folder.path());
    plumbeam(folder.path(), &["solve", "peaks.csv"], 3);
}

#[test]
fn single_bad_rows_are_named() {
    let other = spoilt("[[spoil]]\nkind=\"wrong-emitter\"\nrows=[9, 31]\nreally=\"fenlight-2\"");
    let found = expect(&other, "wrong-emitter", None);
    assert_eq!(found["rows"], serde_json::json!([9, 31]));
    assert!(
        found["evidence"]
            .as_str()
            .is_some_and(|e| e.contains("fenlight-2"))
    );
    let side = spoilt("[[spoil]]\nkind=\"sidelobe\"\nrows=[12, 40]");
    let found = expect(&side, "sidelobe", None);
    assert_eq!(found["rows"], serde_json::json!([12, 40]));
    let digit =
        spoilt("[[spoil]]\nkind=\"digit-slip\"\nrows=[17]\naxis=\"elevation\"\nby_deg=-10.0");
    let found = expect(&digit, "digit-slip", None);
    assert_eq!(found["rows"], serde_json::json!([17]));
    assert_eq!(found["size"], 10.0);
    // Two beamwidths off it could be a sidelobe as well.
    assert_eq!(found["rivals"][0]["fault"], "sidelobe");
}

#[test]
fn a_satellite_under_anothers_name_is_recognised_even_when_only_the_elements_file_has_it() {
    let folder = tempfile::tempdir().expect("a folder");
    Practice::default().make(folder.path());
    let log = folder.path().join("peaks.csv");
    let text = std::fs::read_to_string(&log).expect("a log");
    // Only peaks of hightide-4 stay beside the others, and they bear the name of hightide-5.
    let lines = text.lines().filter(|l| !l.contains("hightide-5"));
    let renamed: Vec<String> = lines
        .map(|l| l.replace("hightide-4", "hightide-5"))
        .collect();
    std::fs::write(&log, renamed.join("\n") + "\n").expect("a log");
    let found = json(folder.path(), &["faults", "peaks.csv", "--json"]);
    assert_eq!(names(&found), ["wrong-emitter"]);
    let evidence = findings(&found)[0]["evidence"].as_str().expect("evidence");
    assert!(evidence.contains("lie on hightide-4"), "{evidence}");
    // Without hightide-4 in the station file its elements are still in the elements file.
    let file = folder.path().join("station.toml");
    let station = std::fs::read_to_string(&file).expect("a station");
    let table = "[[emitter]]\nname = \"hightide-4\"\nkind = \"satellite\"\n\
                 elements = \"satellites.tle\"\nnorad_id = 99824\n";
    assert!(station.contains(table));
    std::fs::write(&file, station.replace(table, "")).expect("a station");
    let found = json(folder.path(), &["faults", "peaks.csv", "--json"]);
    assert_eq!(names(&found), ["wrong-emitter"]);
    let evidence = findings(&found)[0]["evidence"].as_str().expect("evidence");
    assert!(evidence.contains("99824"), "{evidence}");
}

#[test]
fn stale_elements_and_refraction_are_told() {
    let stale = spoilt("[[spoil]]\nkind=\"stale-elements\"\nemitter=\"hightide-3\"\nseconds=150.0");
    expect(&stale, "stale-elements", Some(150.0));
    for times in ["0.0", "2.0"] {
        let spoil = format!("[[spoil]]\nkind=\"refraction\"\ntimes={times}");
        let bent = Practice {
            station: "hill-array",
            peaks: Some(120),
            noise: Some(0.004),
            lowest: Some(5.0),
            unrounded: true,
            spoil: Box::leak(spoil.into_boxed_str()),
            ..Practice::default()
        };
        let found = expect(&bent, "refraction", times.parse().ok());
        assert_eq!(found["size_unit"], "times");
    }
}

#[test]
fn a_zero_along_the_needle_is_a_hint_of_a_compass() {
    let folder = tempfile::tempdir().expect("a folder");
    let station = Practice {
        station: "hill-array",
        peaks: Some(120),
        noise: Some(0.01),
        ..Practice::default()
    };
    station.make(folder.path());
    // On the west coast of North America needles point 15 degrees east of north.
    let file = folder.path().join("station.toml");
    let text = std::fs::read_to_string(&file).expect("a station");
    let moved: Vec<&str> = (text.lines())
        .map(|l| {
            if l.starts_with("longitude_deg") {
                "longitude_deg = -122.3"
            } else {
                l
            }
        })
        .collect();
    std::fs::write(&file, moved.join("\n")).expect("a station");
    let station = plumbeam::station::Station::read(&file).expect("a station");
    let time = plumbeam::time::Utc::parse("2026-08-26T05:00:00Z").expect("a time");
    let declination = plumbeam::faults::declination(&station.site, time).expect("a model");
    let truth = folder.path().join("truth.toml");
    let text = std::fs::read_to_string(&truth).expect("a truth");
    let zero = format!("azimuth-zero = {:.2}", declination.value.degrees());
    std::fs::write(&truth, text.replace("azimuth-zero = 137.2", &zero)).expect("a truth");
    let simulate = ["simulate", "--truth", "truth.toml", "--out", "peaks.csv"];
    plumbeam(folder.path(), &simulate, 0);
    let found = json(folder.path(), &["faults", "peaks.csv", "--json"]);
    assert_eq!(names(&found), ["magnetic-north"]);
    let evidence = findings(&found)[0]["evidence"].as_str().expect("evidence");
    assert!(evidence.contains("hint"), "{evidence}");
}
