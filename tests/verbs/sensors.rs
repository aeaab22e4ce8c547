//! Axes whose sensors count pulses or volts: logged as they are, read by every reader of logs, told
//! where a reading goes out.

use serde_json::Value;

use super::command::{TestFolder, text};

const FOLDER: &str = "tests/data/reference/mounts/polar-north";
const FILES: [&str; 3] = ["station.toml", "peaks.csv", "satellites.tle"];
/// Pulses that rise with the hour angle, volts that fall as the declination rises.
const SENSORS: &str = "
[mount.axis_1.sensor]
counts_per_degree = 12.5
count_at_zero = 2000.0
unit = \"pulses\"
[mount.axis_2.sensor]
knots = [[9.5, -90.0], [7.0, -40.0], [5.0, 0.0], [2.5, 50.0], [0.5, 90.0]]
unit = \"V\"
";
/// Those knots lie on a line.
fn volts(declination_deg: f64) -> f64 {
    5.0 - declination_deg / 20.0
}

/// What rounding to whole pulses may move a term: a third of a hundredth of a degree is far below.
const ROUNDING_DEG: f64 = 0.02;

fn folder() -> TestFolder {
    let folder = TestFolder::with(FOLDER, &FILES);
    let station = folder.read("station.toml");
    folder.write("station.toml", &format!("{station}{SENSORS}"));
    folder
}

/// The log of the reference session with what the sensors would show.
fn sensor_log(folder: &TestFolder) -> String {
    let log = folder.read("peaks.csv");
    let mut rows = log.lines();
    let header = rows.next().expect("a header");
    let mut out = header
        .replace("hour_angle_deg", "hour_angle_sensor")
        .replace("declination_deg", "declination_sensor");
    for row in rows {
        let mut cells: Vec<String> = row.split(',').map(str::to_owned).collect();
        let number = |cell: &str| cell.parse::<f64>().expect("a reading");
        cells[2] = format!("{}", number(&cells[2]) * 12.5 + 2000.0);
        cells[3] = format!("{:.6}", volts(number(&cells[3])));
        out = format!("{out}\n{}", cells.join(","));
    }
    out + "\n"
}

fn terms(folder: &TestFolder, log: &str) -> Value {
    let out = folder.ends(&["solve", log, "--json", "--quiet"], 0).stdout;
    serde_json::from_slice::<Value>(&out).expect("a document")["terms"].clone()
}

#[test]
fn what_the_sensors_show_is_solved_like_degrees() {
    let folder = folder();
    folder.write("sensors.csv", &sensor_log(&folder));
    let (degrees, sensors) = (terms(&folder, "peaks.csv"), terms(&folder, "sensors.csv"));
    let degrees = degrees.as_object().expect("terms");
    assert!(degrees.len() >= 5);
    for (name, record) in degrees {
        let value = |record: &Value| record["value_deg"].as_f64();
        let (Some(one), Some(two)) = (value(record), value(&sensors[name.as_str()])) else {
            continue;
        };
        assert!((one - two).abs() < 1e-4, "{name}: {one} {two}");
    }
    let said = text(
        &folder
            .ends(&["solve", "sensors.csv", "--out", "x.json"], 0)
            .stderr,
    );
    assert!(
        said.contains("what the sensor shows turned into degrees"),
        "{said}"
    );
}

#[test]
fn point_and_plan_give_what_the_sensors_show() {
    let folder = folder();
    folder.ends(&["solve", "peaks.csv", "--quiet"], 0);
    let point = ["point", "--calibration", "calibration.json", "150", "30"];
    let out = folder.ends(&[&point[..], &["--json"]].concat(), 0).stdout;
    let answer: Value = serde_json::from_slice(&out).expect("a document");
    let number = |key: &str| answer[key].as_f64().expect(key);
    let pulses = number("hour_angle_deg") * 12.5 + 2000.0;
    assert!(
        (number("hour_angle_sensor") - pulses).abs() <= 0.005,
        "{answer}"
    );
    let shown = volts(number("declination_deg"));
    assert!(
        (number("declination_sensor") - shown).abs() <= 1e-5,
        "{answer}"
    );
    let plain = text(&folder.ends(&point, 0).stdout);
    assert_eq!(plain.split_whitespace().count(), 4, "{plain}");
    let plan = [
        "plan",
        "--from",
        "2026-05-04T18:00:00Z",
        "--for",
        "2h",
        "--peaks",
        "6",
        "--sheet",
        "sheet.csv",
    ];
    let page = text(&folder.ends(&plan, 0).stdout);
    assert!(
        page.contains("the sensors show: hour angle") && page.contains(" V"),
        "{page}"
    );
    let sheet = folder.read("sheet.csv");
    assert!(
        sheet.contains("time_utc,emitter,hour_angle_sensor,declination_sensor"),
        "{sheet}"
    );
    assert!(sheet.contains("the sensor shows"), "{sheet}");
}

#[test]
fn a_made_up_session_is_written_as_the_sensors_show_it_and_solved() {
    let folder = folder();
    folder.write(
        "truth.toml",
        "[terms]\nhour-angle-zero = 1.2\ndeclination-zero = -0.7\npolar-axis-high = 0.3\n\
         polar-axis-east = -0.4\ndeclination-backlash = 0.4\n[noise]\ncross_elevation_deg = 0.02\n\
         elevation_deg = 0.02\n[session]\nfrom = \"2026-05-04T00:00:00Z\"\nto = \
         \"2026-05-05T00:00:00Z\"\npeaks = 40\napproach_logged = true\n",
    );
    folder.ends(
        &[
            "simulate",
            "--truth",
            "truth.toml",
            "--seed",
            "5",
            "--out",
            "made.csv",
        ],
        0,
    );
    let log = folder.read("made.csv");
    let header = log
        .lines()
        .find(|line| line.starts_with("time_utc"))
        .expect("a header");
    assert!(header.starts_with("time_utc,emitter,hour_angle_sensor,declination_sensor"));
    let row = log.lines().rfind(|l| l.starts_with("2026")).expect("a row");
    let pulses: f64 = row.split(',').nth(2).unwrap().parse().unwrap();
    assert_eq!(pulses.fract(), 0.0, "{row}");
    let found = terms(&folder, "made.csv");
    for (name, truth) in [("hour-angle-zero", 1.2), ("declination-backlash", 0.4)] {
        let value = found[name]["value_deg"]
            .as_f64()
            .unwrap_or_else(|| panic!("{found}"));
        let sigma = found[name]["sigma_deg"].as_f64().unwrap();
        // The volts fall as the declination rises, and so does the sense of + and -.
        assert!(
            (value - truth).abs() < 5.0 * sigma + ROUNDING_DEG,
            "{name} {value} {sigma}"
        );
    }
}

#[test]
fn scans_and_files_of_angles_are_read_by_the_sensors_too() {
    let folder = folder();
    folder.write(
        "truth.toml",
        "[terms]\nhour-angle-zero = 0.4\n[session]\nfrom = \"2026-05-04T18:00:00Z\"\nto = \
         \"2026-05-04T20:00:00Z\"\npeaks = 3\n",
    );
    folder.ends(
        &[
            "simulate",
            "--truth",
            "truth.toml",
            "--kind",
            "scans",
            "--seed",
            "3",
            "--out",
            "scans.csv",
        ],
        0,
    );
    let plain = text(&folder.ends(&["reduce", "scans.csv", "--quiet"], 0).stdout);
    let scans = folder.read("scans.csv");
    let (mut own, mut angles, mut powers) = (String::new(), String::new(), String::new());
    for (i, row) in scans.lines().filter(|l| !l.starts_with('#')).enumerate() {
        let cells: Vec<&str> = row.split(',').collect();
        let (one, two) = match i {
            0 => (
                "hour_angle_sensor".to_owned(),
                "declination_sensor".to_owned(),
            ),
            _ => {
                let number = |cell: &str| cell.parse::<f64>().expect("a reading");
                let pulses = number(cells[3]) * 12.5 + 2000.0;
                (
                    format!("{pulses:.7}"),
                    format!("{:.9}", volts(number(cells[4]))),
                )
            }
        };
        own += &format!("{},{one},{two},{}\n", cells[..3].join(","), cells[5]);
        angles += &format!("{},{one},{two}\n", cells[1]);
        powers += &format!("{},{}\n", cells[..3].join(","), cells[5]);
    }
    folder.write("own.csv", &own);
    folder.write("angles.csv", &angles);
    folder.write("powers.csv", &powers);
    let by_sensor = text(&folder.ends(&["reduce", "own.csv", "--quiet"], 0).stdout);
    let aside = ["reduce", "powers.csv", "--angles", "angles.csv", "--quiet"];
    let by_angles = text(&folder.ends(&aside, 0).stdout);
    assert!(plain.lines().count() >= 4, "{plain}");
    for other in [by_sensor, by_angles] {
        assert_eq!(plain.lines().count(), other.lines().count());
        for (one, two) in plain.lines().zip(other.lines()).skip(2) {
            let reading = |row: &str, i: usize| row.split(',').nth(i)?.parse::<f64>().ok();
            for i in [2, 3] {
                let (Some(one), Some(two)) = (reading(one, i), reading(two, i)) else {
                    continue;
                };
                assert!((one - two).abs() < 2e-4, "{one} {two}");
            }
        }
    }
}

#[test]
fn what_cannot_be_read_is_told_once_with_its_place() {
    let folder = folder();
    let log = "time_utc,emitter,hour_angle_sensor,declination_sensor\n\
               2026-05-04T18:00:00Z,sun,2100,12.5\n";
    folder.write("far.csv", log);
    let told = text(&folder.ends(&["solve", "far.csv"], 3).stderr);
    assert!(told.contains(
        "far.csv:2:31: declination_sensor: 12.5 lies beyond the knots of this axis's sensor; expected a \
         reading from 9.5 to 0.5, which are -90 to 90 degrees"
    ), "{told}");
    assert_eq!(told.matches("expected").count(), 1, "{told}");
    // Without a sensor in the station file.
    let bare = TestFolder::with(FOLDER, &FILES);
    bare.write(
        "pulses.csv",
        "time_utc,emitter,hour_angle_sensor,declination_deg\n2026-05-04T18:00:00Z,sun,2100,1.5\n",
    );
    let told = text(&bare.ends(&["solve", "pulses.csv"], 3).stderr);
    assert!(told.contains(
        "pulses.csv:1:1: the column hour_angle_sensor, and the station file gives that axis no sensor; \
         expected [mount.axis_1.sensor] in the station file"
    ), "{told}");
    assert_eq!(told.matches("expected").count(), 1, "{told}");
}
