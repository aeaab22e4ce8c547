//! Correction tables: signs from the words of docs/files.md, stated errors against the full
//! model, the files and their faults.

use crate::table_cases::{Case, cases, full_model, provenance};
use plumbeam::angle::Angle;
use plumbeam::mount::Term;
use plumbeam::problem::Error;
use plumbeam::table::{CorrectionTable, Provenance, TableRequest, read_table, table};
use rand::{RngExt, SeedableRng};

/// First-order words hold to second order in the terms, here of a degree at most.
const SECOND_ORDER: f64 = 0.02;
/// Reading a node back: files keep millionths of a degree, rounded.
const FILE_ROUNDING: f64 = 0.6e-6;

fn d(degrees: f64) -> Angle {
    Angle::from_degrees(degrees)
}

/// Azimuth and elevation correction in degrees of a table for one or two terms.
fn correction(terms: &[(Term, f64)], azimuth: f64, elevation: f64) -> (f64, f64) {
    let full = full_model(terms, None, (-180.0, 540.0), (-5.0, 90.0));
    let request = TableRequest {
        // Far less than what is of second order.
        tolerance: d(0.004),
        ..TableRequest::for_beam(d(1.0))
    };
    let table = table(&full, &request, &Provenance::default())
        .unwrap()
        .table;
    let found = table.correction(d(azimuth), d(elevation)).unwrap();
    (found.azimuth.degrees(), found.elevation.degrees())
}

#[track_caller]
fn assert_near(found: (f64, f64), expected: (f64, f64)) {
    assert!(
        (found.0 - expected.0).abs() < SECOND_ORDER && (found.1 - expected.1).abs() < SECOND_ORDER,
        "corrections {found:?}, expected {expected:?}"
    );
}

#[test]
fn corrections_have_the_signs_of_the_mount_model() {
    // "The axis stands further clockwise than the encoder says": command less.
    assert_near(
        correction(&[(Term::AzimuthZero, 1.0)], 77.0, 30.0),
        (-1.0, 0.0),
    );
    // "The axis stands higher than the encoder says": command less.
    assert_near(
        correction(&[(Term::ElevationZero, 1.0)], 77.0, 30.0),
        (0.0, -1.0),
    );
    // "The beam sags by droop x cos(elevation)": command more.
    assert_near(correction(&[(Term::Droop, 0.3)], 77.0, 0.0), (0.0, 0.3));
    assert_near(correction(&[(Term::Droop, 0.3)], 77.0, 60.0), (0.0, 0.15));
    // "The beam points right": command further left, by collimation / cos(el).
    assert_near(
        correction(&[(Term::Collimation, 0.3)], 200.0, 60.0),
        (-0.6, 0.0),
    );
    // "A high right-hand end moves the beam to smaller azimuth by skew x tan(el)".
    assert_near(
        correction(&[(Term::AxisSkew, 0.3)], 200.0, 45.0),
        (0.3, 0.0),
    );
    // "The azimuth axis's top leans north": looking north the beam is low, looking south high.
    assert_near(correction(&[(Term::TiltNorth, 0.5)], 0.0, 40.0), (0.0, 0.5));
    assert_near(
        correction(&[(Term::TiltNorth, 0.5)], 180.0, 40.0),
        (0.0, -0.5),
    );
    // Leaning east: looking east the beam is low.
    assert_near(correction(&[(Term::TiltEast, 0.5)], 90.0, 40.0), (0.0, 0.5));
    // "The axis moves further than the encoder says": at a reading of 100 a degree less.
    assert_near(
        correction(&[(Term::AzimuthScale, 0.01)], 100.0, 20.0),
        (-1.0, 0.0),
    );
    // And on the next turn of the cable 3.6 degrees less again.
    assert_near(
        correction(&[(Term::AzimuthScale, 0.01)], 460.0, 20.0),
        (-4.55, 0.0),
    );
    assert_near(
        correction(&[(Term::ElevationScale, 0.01)], 100.0, 50.0),
        (0.0, -0.5),
    );
    // Runout(A) = cos part x cos(A), added to the axis angle: command less at A = 0.
    assert_near(
        correction(&[(Term::AzimuthRunoutCos, 0.2)], 0.0, 20.0),
        (-0.2, 0.0),
    );
    assert_near(
        correction(&[(Term::AzimuthRunoutSin, 0.2)], 90.0, 20.0),
        (-0.2, 0.0),
    );
    // Warp lifts the elevation axis by cos part x cos(2A).
    assert_near(
        correction(&[(Term::TrackWarpCos, 0.2)], 90.0, 20.0),
        (0.0, 0.2),
    );
    // Backlash is not in a table, which holds for an unknown approach.
    assert_near(
        correction(&[(Term::AzimuthBacklash, 1.0)], 90.0, 20.0),
        (0.0, 0.0),
    );
}

#[test]
fn refraction_is_folded_into_a_table_of_geometric_demands() {
    let geometric = full_model(
        &[(Term::ElevationZero, 1.0)],
        Some((1013.25, 15.0, 0.5)),
        (-180.0, 540.0),
        (-5.0, 90.0),
    );
    let table = table(
        &geometric,
        &TableRequest::for_beam(d(1.0)),
        &Provenance::default(),
    )
    .unwrap()
    .table;
    // The air lifts the emitter by about 0.09 degree at 10 degrees, so the beam must go higher.
    let found = table.correction(d(33.0), d(10.0)).unwrap();
    let lift = found.elevation.degrees() + 1.0;
    assert!((0.07..0.12).contains(&lift), "{lift}");
    assert_eq!(table.header.demand, "geometric");
    assert_eq!(table.header.pressure_hpa, Some(1013.25));
}

#[test]
fn the_error_stays_within_what_the_header_states_and_what_was_allowed() {
    for Case {
        name,
        full,
        request,
    } in cases()
    {
        let table = table(&full, &request, &provenance()).unwrap().table;
        let header = &table.header;
        assert!(
            header.largest_error_deg <= request.tolerance.degrees(),
            "{name}: states {}",
            header.largest_error_deg
        );
        let mut worst: f64 = 0.0;
        for (azimuth, elevation) in crate::table_cases::demands(&table.nodes.grid, 30_000) {
            let (azimuth, elevation) = (azimuth.angle(), elevation.angle());
            let found = table.correction(azimuth, elevation).unwrap();
            let exact = full.correction(azimuth, elevation).unwrap();
            worst = worst.max(full.miss(azimuth, elevation, found).degrees());
            let across = (found.azimuth - exact.azimuth).abs().degrees();
            let up = (found.elevation - exact.elevation).abs().degrees();
            assert!(
                across <= header.largest_azimuth_error_deg
                    && up <= header.largest_elevation_error_deg,
                "{name}: at {azimuth:?}, {elevation:?} {across} and {up}"
            );
        }
        assert!(
            worst <= header.largest_error_deg,
            "{name}: {worst} is more than the stated {}",
            header.largest_error_deg
        );
        // A statement far too large would be no statement.
        assert!(
            worst >= 0.7 * header.largest_error_deg,
            "{name}: {worst} is far less than the stated {}",
            header.largest_error_deg
        );
    }
}

#[test]
fn both_forms_read_back_to_the_same_table() {
    for Case {
        name,
        full,
        request,
    } in cases()
    {
        let written = table(&full, &request, &provenance()).unwrap().table;
        let csv = written.to_csv();
        let back = read_table("table.csv", csv.as_bytes()).unwrap();
        assert_eq!(back, written, "{name}");
        let crlf = format!("\u{feff}{}", csv.replace('\n', "\r\n"));
        assert_eq!(read_table("table.csv", crlf.as_bytes()).unwrap(), written);
        let json = written.to_json();
        assert_eq!(read_table("table.json", json.as_bytes()).unwrap(), written);
        // At a node the table is the full model to the files' rounding.
        let node = written.nodes.nodes[0];
        let exact = full
            .correction(
                written.nodes.grid.azimuth.first.angle(),
                written.nodes.grid.elevation.first.angle(),
            )
            .unwrap();
        assert!((node.azimuth.degrees() - exact.azimuth.degrees()).abs() < FILE_ROUNDING);
    }
}

fn small_table() -> CorrectionTable {
    let full = full_model(
        &[(Term::Collimation, 0.3), (Term::TiltEast, 0.4)],
        None,
        (-180.0, 540.0),
        (0.0, 90.0),
    );
    table(&full, &TableRequest::for_beam(d(20.0)), &provenance())
        .unwrap()
        .table
}

#[test]
fn the_csv_form_explains_itself() {
    let csv = small_table().to_csv();
    let lines: Vec<&str> = csv.lines().collect();
    assert_eq!(lines[0], "# format: plumbeam correction table 1");
    for wanted in [
        "# demand: apparent",
        "# azimuth_axis: one turn",
        "# keyhole_half_angle_deg: 0.3",
        "# calibration: calibration.json",
        "# calibration_created_utc: 2026-05-01T20:00:00.000Z",
        "# station: Test hill (invented)",
        "# mount_terms: tilt-east 0.4 deg, collimation 0.3 deg",
    ] {
        assert!(lines.contains(&wanted), "{wanted} is missing:\n{csv}");
    }
    let names = lines
        .iter()
        .position(|line| !line.starts_with('#'))
        .unwrap();
    assert_eq!(
        lines[names],
        "azimuth_deg,elevation_deg,azimuth_correction_deg,elevation_correction_deg"
    );
    assert!(lines[names - 1].starts_with("# crc32: "));
}

/// The message of a table that must be refused.
#[track_caller]
fn refused(text: &str) -> String {
    match read_table("t.csv", text.as_bytes()) {
        Err(error @ Error::Input(_)) => error.to_string(),
        other => panic!("not refused: {other:?}"),
    }
}

#[test]
fn an_edited_or_damaged_table_is_refused() {
    let table = small_table();
    let csv = table.to_csv();
    // Every header line counts, not only the rows.
    let other_demand = csv.replace("# demand: apparent", "# demand: geometric");
    assert!(refused(&other_demand).contains("edited or damaged"));
    let last = csv.lines().last().unwrap();
    let other_row = csv.replace(last, &last.replacen("0.", "1.", 1));
    assert_ne!(other_row, csv);
    refused(&other_row);
    // A digit of a correction.
    let row = csv.lines().nth_back(3).unwrap();
    let end = if row.ends_with('1') { "2" } else { "1" };
    let other_digit = csv.replace(row, &format!("{}{end}", &row[..row.len() - 1]));
    assert!(refused(&other_digit).contains("edited or damaged"));
    // Cut short.
    let cut = &csv[..csv.len() * 2 / 3];
    refused(cut);
    let json = table.to_json();
    refused(&json[..json.len() / 2]);
    refused(&json.replace("\"demand\": \"apparent\"", "\"demand\": \"geometric\""));
    refused("");
    refused("{}");
}

#[test]
fn no_single_changed_byte_passes_unseen_and_none_makes_it_panic() {
    let table = small_table();
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(7);
    for form in [table.to_csv(), table.to_json()] {
        for _ in 0..2000 {
            let mut bytes = form.clone().into_bytes();
            let at = rng.random_range(0..bytes.len());
            bytes[at] = rng.random_range(0..=255);
            // White space between the words of a file may change; nothing that counts may.
            if let Ok(read) = read_table("t", &bytes) {
                assert_eq!(read, table, "byte {at} was changed unseen");
            }
        }
    }
}

#[test]
fn faults_of_a_table_file_are_named_with_their_line() {
    let csv = small_table().to_csv();
    let names = csv.lines().position(|l| !l.starts_with('#')).unwrap();
    let spoilt = csv.replacen("0.000000,", "zero,", 1);
    let message = refused(&spoilt);
    assert!(
        message.starts_with(&format!("t.csv:{}:1: the row", names + 2)),
        "{message}"
    );
    let later = csv.replace("table 1", "table 2");
    assert!(
        refused(&later).contains("later version"),
        "{}",
        refused(&later)
    );
    let unknown = csv.replace("# station:", "# statoin:");
    assert!(
        refused(&unknown).contains("perhaps \"station\""),
        "{}",
        refused(&unknown)
    );
    let no_checksum: String = csv
        .lines()
        .filter(|l| !l.starts_with("# crc32"))
        .map(|l| format!("{l}\n"))
        .collect();
    assert!(refused(&no_checksum).contains("crc32"));
}

#[test]
fn near_the_keyhole_a_table_is_cut_back_and_says_so() {
    let full = full_model(
        &[(Term::Collimation, 1.5), (Term::TiltNorth, 1.0)],
        None,
        (-180.0, 540.0),
        (0.0, 90.0),
    );
    let finished = table(&full, &TableRequest::for_beam(d(5.0)), &provenance()).unwrap();
    let top = finished.table.header.elevation_last_deg;
    assert!((60.0..87.5).contains(&top), "{top}");
    assert!(
        finished.notes.iter().any(|n| n.contains("cut back")),
        "{:?}",
        finished.notes
    );
    let above = finished
        .table
        .correction(d(10.0), d(top + 0.5))
        .unwrap_err()
        .to_string();
    assert!(above.contains("keyhole"), "{above}");
    // A top inside of the keyhole cannot be had, nor one that needs an absurd grid.
    let request = TableRequest {
        highest: Some(d(89.9)),
        ..TableRequest::for_beam(d(5.0))
    };
    let refusal = table(&full, &request, &provenance()).unwrap_err();
    assert_eq!(refusal.exit_code(), 4);
}

#[test]
fn with_nothing_but_zeros_the_table_reaches_the_zenith() {
    let full = full_model(
        &[(Term::AzimuthZero, 123.4), (Term::ElevationZero, -2.0)],
        None,
        (-180.0, 540.0),
        (0.0, 92.0),
    );
    let finished = table(&full, &TableRequest::for_beam(d(1.0)), &provenance()).unwrap();
    assert_eq!(finished.table.header.elevation_last_deg, 90.0);
    assert_eq!(finished.table.header.largest_error_deg, 0.0);
    assert!(finished.notes.iter().all(|n| !n.contains("cut back")));
}

#[test]
fn the_users_own_steps_are_kept_and_judged() {
    let full = full_model(
        &[(Term::Collimation, 0.3)],
        None,
        (-180.0, 540.0),
        (0.0, 90.0),
    );
    let ask = |across: f64, up: f64, highest: Option<f64>| {
        let request = TableRequest {
            steps: Some((d(across), d(up))),
            highest: highest.map(d),
            ..TableRequest::for_beam(d(2.0))
        };
        table(&full, &request, &provenance())
    };
    let good = ask(30.0, 2.5, None).unwrap();
    assert_eq!(good.table.header.elevation_step_deg, 2.5);
    assert!(good.table.header.largest_error_deg <= 0.02);
    assert!(good.warnings.is_empty());
    // Named in full, it is written even though it is worse, with a warning.
    let coarse = ask(30.0, 20.0, Some(80.0)).unwrap();
    assert!(coarse.table.header.largest_error_deg > 0.02);
    assert_eq!(coarse.warnings.len(), 1, "{:?}", coarse.warnings);
    // Without a named top there is none that keeps to the tolerance.
    assert_eq!(ask(30.0, 30.0, None).unwrap_err().exit_code(), 4);
    assert_eq!(ask(7.0, 5.0, None).unwrap_err().exit_code(), 2);
    assert_eq!(ask(30.0, 7.0, Some(80.0)).unwrap_err().exit_code(), 2);
    assert_eq!(ask(-30.0, 7.0, None).unwrap_err().exit_code(), 2);
    assert_eq!(ask(30.0, 95.0, None).unwrap_err().exit_code(), 2);
}

#[test]
fn backlash_and_clock_are_stated_not_tabulated() {
    let full = full_model(
        &[(Term::AzimuthBacklash, 0.4), (Term::ClockOffset, 1.5)],
        None,
        (-180.0, 540.0),
        (0.0, 90.0),
    );
    let finished = table(&full, &TableRequest::for_beam(d(2.0)), &provenance()).unwrap();
    assert_eq!(finished.table.header.azimuth_backlash_half_width_deg, 0.2);
    assert_eq!(finished.table.header.elevation_backlash_half_width_deg, 0.0);
    assert_eq!(finished.table.header.clock_offset_s, 1.5);
    assert!(
        finished
            .notes
            .iter()
            .any(|n| n.contains("azimuth-backlash"))
    );
    assert!(finished.warnings.iter().any(|n| n.contains("clock-offset")));
}

#[test]
fn a_scale_error_makes_the_azimuths_of_the_table_unwrapped() {
    let full = full_model(
        &[(Term::AzimuthScale, 0.005), (Term::AzimuthZero, 20.0)],
        None,
        (-180.0, 540.0),
        (0.0, 90.0),
    );
    let table = table(&full, &TableRequest::for_beam(d(2.0)), &provenance())
        .unwrap()
        .table;
    assert_eq!(table.header.azimuth_axis, "unwrapped");
    // Every reading of the encoder's range is reached: -180 stands for -180.9 + 20.
    assert!(table.header.azimuth_first_deg <= -160.9);
    assert!(table.header.azimuth_last_deg >= 562.7);
    let mut readings = Vec::new();
    (table.for_each_reading(d(100.0), d(30.0), |r| readings.push(r))).unwrap();
    let within: Vec<f64> = readings
        .iter()
        .filter(|r| table.header.encoder_range().holds(**r))
        .map(|r| r.azimuth.degrees())
        .collect();
    // The axis must stand at 80 and 440: readings 80 / 1.005 and 440 / 1.005.
    assert_eq!(within.len(), 2, "{within:?}");
    assert!((within[0] - 80.0 / 1.005).abs() < SECOND_ORDER);
    assert!((within[1] - 440.0 / 1.005).abs() < SECOND_ORDER);
}
