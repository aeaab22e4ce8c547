//! A polar mount with one motor through the verbs: its log has no declination, its answers say how far
//! the beam passes beside, and what must be set by hand.

use serde_json::Value;

use super::command::{TestFolder, text};

const FOLDER: &str = "tests/data/reference/mounts/polar-north";
const OFFSET_DEG: f64 = -7.3;

/// A mount with one motor that looks at the arc from 54 degrees north, 8 degrees east.
fn folder() -> TestFolder {
    let folder = TestFolder::with(FOLDER, &["station.toml", "satellites.tle"]);
    let station = folder.read("station.toml").replace(
        "declination_range_deg = [-60.0, 85.0]",
        &format!("declination_offset_deg = {OFFSET_DEG}\npolar_bolt_pitch_mm = 1.5\npolar_bolt_distance_mm = 300.0"),
    );
    let (mount, _) = station.split_once("[[emitter]]").expect("emitters");
    let emitters: String = [-40, -25, -10, 5, 20, 35, 50]
        .map(|longitude| {
            format!("[[emitter]]\nname = \"at {longitude}\"\nkind = \"geostationary\"\nlongitude_deg = {longitude}.0\n")
        })
        .concat();
    folder.write("station.toml", &format!("{mount}{emitters}"));
    folder
}

const TRUTH: &str = "[terms]\nhour-angle-zero = 2.0\ndeclination-zero = 0.3\npolar-axis-high = 1.5\npolar-axis-east = -0.3\n\
    [noise]\ncross_elevation_deg = 0.03\nelevation_deg = 0.03\n[session]\nfrom = \"2026-05-04T10:00:00Z\"\n\
    to = \"2026-05-04T14:00:00Z\"\npeaks = 21\n";

#[test]
fn its_log_needs_no_declination() {
    let folder = folder();
    folder.write("truth.toml", TRUTH);
    folder.ends(
        &["simulate", "--truth", "truth.toml", "--out", "made.csv"],
        0,
    );
    let made = folder.read("made.csv");
    for row in made.lines().filter(|l| l.starts_with("2026")) {
        assert_eq!(row.split(',').nth(3), Some(""), "{row}");
    }
    // Nor its column.
    let bare: String = (made.lines().filter(|l| !l.starts_with('#')))
        .map(|l| l.split(',').take(3).collect::<Vec<_>>().join(",") + "\n")
        .collect();
    folder.write("bare.csv", &bare);
    let said = text(&folder.ends(&["solve", "bare.csv"], 0).stdout);
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains("the peaks do not tell in declination"),
        "{said}"
    );
    let point = [
        "point",
        "--calibration",
        "calibration.json",
        "at 5",
        "--json",
        "--anyway",
    ];
    let answer: Value = serde_json::from_slice(&folder.ends(&point, 0).stdout).expect("a document");
    assert_eq!(
        answer["declination_deg"].as_f64(),
        Some(OFFSET_DEG),
        "{answer}"
    );
    assert!(
        answer["declination_miss_deg"]
            .as_f64()
            .expect("a number")
            .abs()
            < 2.0
    );
    assert!((answer["hour_angle_deg"].as_f64().expect("a number")).abs() < 10.0);
}

/// Peaks found by hand on the declination bolt too.
fn by_hand(folder: &TestFolder) -> String {
    // Two motors make the log; the readings of the second are what a level says.
    let station = folder.read("station.toml");
    let two = station.replace(
        &format!("declination_offset_deg = {OFFSET_DEG}"),
        "declination_range_deg = [-60.0, 85.0]",
    );
    folder.write("two.toml", &two);
    folder.write("truth.toml", TRUTH);
    folder.ends(
        &[
            "simulate",
            "--station",
            "two.toml",
            "--truth",
            "truth.toml",
            "--out",
            "hand.csv",
        ],
        0,
    );
    folder.read("hand.csv")
}

#[test]
fn peaks_by_hand_tell_each_bolt_its_number() {
    let folder = folder();
    by_hand(&folder);
    let said = text(&folder.ends(&["solve", "hand.csv"], 0).stdout);
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "With its one motor the mount passes the arc of geostationary satellites",
        "Declination bolt: set the dish",
        "Altitude bolt: lower the polar axis's north end",
        // It points 0.3 degrees too far west.
        "Azimuth bolt: turn the polar axis's north end east",
        "turns of its bolt",
        "a dish at one declination follows the arc no better",
    ] {
        assert!(said.contains(words), "{words}\n{said}");
    }
    let warned = text(
        &folder
            .ends(
                &[
                    "table",
                    "--calibration",
                    "calibration.json",
                    "--out",
                    "t.csv",
                ],
                0,
            )
            .stderr,
    );
    assert!(
        warned.contains("the declination axis has no motor"),
        "{warned}"
    );
    folder.ends(&["faults", "hand.csv"], 0);
    folder.ends(&["recheck", "--against", "calibration.json", "hand.csv"], 0);
    let plan = [
        "plan",
        "--from",
        "2026-05-04T10:00:00Z",
        "--for",
        "1h",
        "--peaks",
        "5",
    ];
    let planned = text(&folder.ends(&plan, 0).stdout);
    assert!(planned.contains("has no motor"), "{planned}");
    let sky = text(
        &folder
            .ends(&["sky", "--at", "2026-05-04T10:00:00Z"], 0)
            .stdout,
    );
    assert!(sky.contains("at 20"), "{sky}");
}

#[test]
fn a_second_motor_beside_the_bolt_is_told() {
    let folder = folder();
    let station = folder.read("station.toml").replace(
        "declination_offset_deg",
        "declination_range_deg = [-60.0, 85.0]\ndeclination_offset_deg",
    );
    folder.write("station.toml", &station);
    let told = text(&folder.ends(&["sky"], 3).stderr);
    assert!(
        told.contains(
            "declination_offset_deg beside declination_range_deg; expected one of the two"
        ),
        "{told}"
    );
    assert_eq!(told.matches("expected").count(), 1, "{told}");
}
