//! Causes on a session by other code: the readings, times and station of a clean reference session,
//! altered here by what each fault means in the words of docs/faults.md, without the program's own
//! maker of sessions.

use serde_json::Value;

use super::{assert_size, findings, json, reference};
use plumbeam::time::Utc;

/// A peak of the session: time, emitter, readings in degrees, the air's temperature where it is
/// logged.
#[derive(Clone)]
struct Row {
    time: Utc,
    emitter: String,
    azimuth: f64,
    elevation: f64,
    temperature_c: Option<f64>,
}

impl Row {
    /// Azimuth and elevation of the beam by the session's encoder zeros, in radians: within a
    /// degree, so that what follows from them holds to a fiftieth.
    fn beam(&self) -> (f64, f64) {
        const ZEROS: (f64, f64) = (7.31, -1.42);
        (
            (self.azimuth + ZEROS.0).to_radians(),
            (self.elevation + ZEROS.1).to_radians(),
        )
    }
}

/// The clean session: 48 peaks of emitters all over a southern sky.
const CLEAN: &str = "southern";

fn rows() -> Vec<Row> {
    let text = std::fs::read_to_string(reference(CLEAN).join("peaks.csv")).expect("a log");
    let row = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        Row {
            time: Utc::parse(cells[0]).expect("a time"),
            emitter: cells[1].to_owned(),
            azimuth: cells[2].parse().expect("a number"),
            elevation: cells[3].parse().expect("a number"),
            temperature_c: None,
        }
    };
    text.lines().skip(1).map(row).collect()
}

/// The findings when the peaks stand so in the log and the station's text is changed so.
fn found(rows: &[Row], station: impl Fn(String) -> String) -> Vec<Value> {
    let folder = tempfile::tempdir().expect("a folder");
    let from = reference(CLEAN);
    for entry in std::fs::read_dir(&from).expect("the session") {
        let path = entry.expect("an entry").path();
        let name = path.file_name().expect("a name");
        std::fs::copy(&path, folder.path().join(name)).expect("a copy");
    }
    let written = std::fs::read_to_string(from.join("station.toml")).expect("a station");
    std::fs::write(folder.path().join("station.toml"), station(written)).expect("a file");
    let mut log = "time_utc,emitter,azimuth_deg,elevation_deg,temperature_c\n".to_owned();
    for row in rows {
        log += &format!(
            "{},{},{:.5},{:.5},{}\n",
            row.time,
            row.emitter,
            row.azimuth,
            row.elevation,
            row.temperature_c
                .map_or(String::new(), |t| format!("{t:.2}"))
        );
    }
    std::fs::write(folder.path().join("peaks.csv"), log).expect("a file");
    let document = json(folder.path(), &["faults", "peaks.csv", "--json"]);
    findings(&document).to_vec()
}

/// The one finding, by its name, axis and size, of the session with every row altered.
#[track_caller]
fn expect(
    alter: impl Fn(usize, &mut Row),
    (fault, axis): (&str, &str),
    size: impl Into<Option<f64>>,
) {
    let mut rows = rows();
    for (i, row) in rows.iter_mut().enumerate() {
        alter(i, row);
    }
    let found = found(&rows, |station| station);
    assert_eq!(found.len(), 1, "{found:#?}");
    assert_eq!(found[0]["fault"], fault, "{found:#?}");
    assert_eq!(found[0]["axis"], axis, "{found:#?}");
    if let Some(size) = size.into() {
        assert_size(&found[0], size);
    }
}

fn hours_since(first: Utc, time: Utc) -> f64 {
    time.seconds_since(first) / 3600.0
}

#[test]
fn the_session_as_it_is_has_no_fault() {
    assert!(found(&rows(), |station| station).is_empty());
}

#[test]
fn from_one_row_on_a_slipped_axis_reads_more_or_less() {
    let azimuth = |i: usize, row: &mut Row| row.azimuth += if i >= 20 { 1.3 } else { 0.0 };
    expect(azimuth, ("azimuth-slip", "azimuth"), 1.3);
    let elevation = |i: usize, row: &mut Row| row.elevation -= if i >= 25 { 0.9 } else { 0.0 };
    expect(elevation, ("elevation-slip", "elevation"), -0.9);
}

#[test]
fn an_axis_that_creeps_reads_more_with_every_hour() {
    let first = rows()[0].time;
    let azimuth = |_: usize, row: &mut Row| row.azimuth += 0.15 * hours_since(first, row.time);
    expect(azimuth, ("creep", "azimuth"), 0.15);
    let elevation = |_: usize, row: &mut Row| row.elevation += 0.12 * hours_since(first, row.time);
    expect(elevation, ("creep", "elevation"), 0.12);
}

/// An axis drifts with the temperature: what it reads follows it and comes back.
#[test]
fn a_reading_that_follows_the_temperature_is_told_by_the_kelvin() {
    let first = rows()[0].time;
    // A cold night and the morning after it.
    let air =
        move |time| 15.0 - 9.0 * (std::f64::consts::TAU * hours_since(first, time) / 9.0).sin();
    let azimuth = |_: usize, row: &mut Row| {
        row.temperature_c = Some(air(row.time));
        row.azimuth += 0.06 * (air(row.time) - 15.0);
    };
    expect(azimuth, ("thermal-drift", "azimuth"), 0.06);
    let elevation = |_: usize, row: &mut Row| {
        row.temperature_c = Some(air(row.time));
        row.elevation -= 0.05 * (air(row.time) - 15.0);
    };
    expect(elevation, ("thermal-drift", "elevation"), -0.05);
}

/// A pier that leans more to the north by the hour: toward the north the horizon of the mount
/// sinks, and the elevation reads more; to the east and west the azimuth does, by the tangent of
/// the elevation (first-order formulas of a theodolite's standing axis, from memory).
#[test]
fn a_pier_that_settles_leans_more_by_the_hour() {
    let first = rows()[0].time;
    let north = |_: usize, row: &mut Row| {
        let lean = 0.1 * hours_since(first, row.time);
        let (azimuth, elevation) = row.beam();
        row.elevation += lean * azimuth.cos();
        row.azimuth += lean * azimuth.sin() * elevation.tan();
    };
    expect(north, ("settling", "both"), 0.1);
}

/// On its loose side the joint gives by chance, here by five times the noise: evenly spread
/// normal deviates, which need no generator.
#[test]
fn a_joint_that_is_loose_on_one_side_scatters_there() {
    use statrs::distribution::{ContinuousCDF, Normal};
    const GIVES_DEG: f64 = 0.25;
    let normal = Normal::standard();
    // The digits of a row's number mirrored at the point (van der Corput, from memory).
    let spread = |row: usize, base: usize| {
        let (mut left, mut share, mut digit) = (row + 1, 0.0, 1.0 / base as f64);
        while left > 0 {
            share += (left % base) as f64 * digit;
            left /= base;
            digit /= base as f64;
        }
        normal.inverse_cdf(share)
    };
    let loose = |i: usize, row: &mut Row| {
        let (azimuth, elevation) = row.beam();
        if azimuth.sin() > 0.0 {
            row.elevation += GIVES_DEG * spread(i, 2);
            row.azimuth += GIVES_DEG * spread(i, 3) / elevation.cos();
        }
    };
    expect(loose, ("loose-joint", "both"), None);
}

/// Above an elevation the beam points to the right of where it did, so that the azimuth reads less
/// by that over the cosine of the elevation.
#[test]
fn a_dish_that_shifts_on_its_axis_points_aside_from_an_elevation_on() {
    let shifted = |_: usize, row: &mut Row| {
        let (_, elevation) = row.beam();
        if elevation > 40f64.to_radians() {
            row.azimuth -= 0.5 / elevation.cos();
        }
    };
    expect(shifted, ("loose-dish", "azimuth"), 0.5);
}

#[test]
fn a_ripple_of_many_periods_to_the_turn_is_of_the_teeth() {
    let teeth = |_: usize, row: &mut Row| {
        row.azimuth -= 0.3 * (40.0 * row.azimuth.to_radians()).sin();
    };
    expect(teeth, ("tooth-error", "azimuth"), 0.3);
}

/// The axis moves further than the encoder says: an angle of the axis is read as less.
#[test]
fn a_wrong_gear_ratio_is_a_share_of_the_unwrapped_reading() {
    let scaled = |_: usize, row: &mut Row| row.azimuth /= 1.004;
    expect(scaled, ("wrong-scale", "azimuth"), 0.004);
}

/// The axis stands by the periodic error beyond the reading, so the reading is less by as much.
#[test]
fn what_repeats_with_the_turn_of_an_axis_is_taken_from_its_reading() {
    let runout = |_: usize, row: &mut Row| row.azimuth -= 0.6 * row.azimuth.to_radians().cos();
    expect(runout, ("azimuth-runout", "azimuth"), 0.6);
    let runout = |_: usize, row: &mut Row| row.elevation -= 0.8 * row.elevation.to_radians().sin();
    expect(runout, ("elevation-runout", "elevation"), 0.8);
    let warp =
        |_: usize, row: &mut Row| row.elevation -= 0.5 * (2.0 * row.azimuth.to_radians()).cos();
    expect(warp, ("warped-track", "elevation"), 0.5);
    let four = |_: usize, row: &mut Row| {
        row.azimuth -= 0.5 * (4.0 * row.azimuth.to_radians()).sin();
    };
    expect(four, ("unexplained", "azimuth"), 0.5);
}

/// Sizes are what is to be added to the logged times.
#[test]
fn a_clock_that_is_ahead_and_a_time_of_another_zone_are_told_apart() {
    let ahead = |_: usize, row: &mut Row| row.time = row.time.plus_seconds(40.0);
    expect(ahead, ("clock", "both"), -40.0);
    let zone = |_: usize, row: &mut Row| row.time = row.time.plus_seconds(7200.0);
    expect(zone, ("time-zone", "both"), -2.0);
}

#[test]
fn readings_in_another_habit_are_put_right() {
    let reversed = |_: usize, row: &mut Row| row.azimuth = -row.azimuth;
    expect(reversed, ("azimuth-reversed", "azimuth"), None);
    let exchanged = |_: usize, row: &mut Row| std::mem::swap(&mut row.azimuth, &mut row.elevation);
    expect(exchanged, ("columns-exchanged", "both"), None);
    let radians = |_: usize, row: &mut Row| {
        row.azimuth = row.azimuth.to_radians();
        row.elevation = row.elevation.to_radians();
    };
    expect(radians, ("wrong-unit", "both"), 1f64.to_degrees());
}

#[test]
fn one_wrong_digit_is_named_by_what_it_added() {
    let digit = |i: usize, row: &mut Row| row.azimuth += if i == 13 { 10.0 } else { 0.0 };
    let mut rows = rows();
    for (i, row) in rows.iter_mut().enumerate() {
        digit(i, row);
    }
    let found = found(&rows, |station| station);
    assert_eq!(found.len(), 1, "{found:#?}");
    assert_eq!(found[0]["fault"], "digit-slip", "{found:#?}");
    assert!((found[0]["size"].as_f64().expect("a size") - 10.0).abs() < 1e-9);
}

#[test]
fn a_longitude_west_of_greenwich_that_is_east_of_it_is_found() {
    let found = found(&rows(), |station| {
        assert!(station.contains("longitude_deg = 133.3617"));
        station.replace("longitude_deg = 133.3617", "longitude_deg = -133.3617")
    });
    assert_eq!(found.len(), 1, "{found:#?}");
    assert_eq!(found[0]["fault"], "longitude-sign", "{found:#?}");
}
