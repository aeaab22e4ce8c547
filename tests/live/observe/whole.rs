//! Whole observations: from a mount of which nothing is known to a calibration that is true.

use plumbeam::logbook::PeakLog;
use plumbeam::observe::{Ending, Manner};
use plumbeam::solve::{Options, solve};
use plumbeam::station::Station;

use super::rig::{Owner, Rig, apart, deg, station, truth};

const PLAIN: &str = "azimuth-zero = 1.4\nelevation-zero = -0.8\ntilt-north = 0.25\ntilt-east = \
                     -0.15\ncollimation = 0.2";

/// The random error of one observation may be so many times what is promised in 95 % of cases.
const UNLUCKY: f64 = 1.5;

/// Runs it, and holds the calibration against the truth.
#[track_caller]
fn calibrated(rig: &Rig) -> Owner {
    let (owner, took, _) = rig.run();
    assert_eq!(owner.ending, Some(Ending::Reached), "{:#?}", owner.told);
    let log = PeakLog::parse("peaks.csv", owner.peaks_csv.as_bytes(), &rig.station).unwrap();
    let outcome = solve(&rig.station, &rig.sky, &log, &Options::default()).unwrap();
    let truth = rig.truth.model(&rig.station.mount.geometry).unwrap();
    let off = apart(&outcome.model, &truth);
    let promised = outcome.sky_error.as_ref().unwrap().rms_95;
    assert!(off < promised * UNLUCKY, "{off:?} {promised:?}");
    assert!(took.as_secs_f64() <= rig.settings.for_s);
    owner
}

#[test]
fn a_mount_with_small_errors_is_calibrated() {
    calibrated(&Rig::new(
        station("station-plain.toml"),
        truth(PLAIN, "[scans]\nsignal_to_noise = 300.0\n"),
    ));
}

/// The plain station with other axes.
fn of_kind(mount: &str) -> Station {
    let folder = tempfile::tempdir().unwrap();
    let plain =
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/rig/station-plain.toml");
    let text = std::fs::read_to_string(plain).unwrap();
    let (before, rest) = text.split_once("[mount]").unwrap();
    let (_, after) = rest.split_once("[dish]").unwrap();
    let path = folder.path().join("station.toml");
    std::fs::write(&path, format!("{before}[mount]\n{mount}\n[dish]{after}")).unwrap();
    Station::read(&path).unwrap()
}

#[test]
fn polar_and_x_y_mounts_are_calibrated_too() {
    for (kind, mount) in [
        (
            "polar",
            "kind = \"polar\"\nhour_angle_range_deg = [-125.0, 125.0]\ndeclination_range_deg = [-60.0, 85.0]\n",
        ),
        (
            "x-y",
            "kind = \"x-y\"\nlower_axis = \"north-south\"\nx_range_deg = [-90.0, 90.0]\ny_range_deg = [-85.0, 85.0]\n",
        ),
    ] {
        let station = of_kind(mount);
        let named = station.mount.kind();
        assert_eq!(named.name(), kind);
        let truth = truth(PLAIN, "[scans]\nsignal_to_noise = 300.0\n").named_for(named);
        let mut rig = Rig::new(station, truth);
        rig.settings.for_s = 7200.0;
        // A polar mount reaches few of these emitters.
        rig.settings.wanted = deg(0.5);
        calibrated(&rig);
    }
}

#[test]
fn by_steps_a_late_receiver_does_no_harm() {
    let mut rig = Rig::new(
        station("station-plain.toml"),
        truth(PLAIN, "[scans]\nsignal_to_noise = 300.0\nlag_s = 0.6\n"),
    );
    rig.settings.manner = Manner::Dwell;
    rig.settings.for_s = 7200.0;
    let owner = calibrated(&rig);
    assert!(!owner.says("half the speed"));
    // Nothing is sampled while the mount steps: the readings of a cut stand in few places.
    let cut: Vec<f64> = (owner.rows.iter().filter(|row| row.scan == "1"))
        .map(|row| row.axes.degrees()[0])
        .collect();
    let moves = cut.windows(2).filter(|w| (w[1] - w[0]).abs() > 0.3).count();
    assert!(moves < cut.len() / 3, "{moves} of {}", cut.len());
    // No lag was taken off.
    assert!(!owner.peaks_csv.contains("by_lag"), "{}", owner.peaks_csv);
}

#[test]
fn emitters_that_were_taken_for_their_neighbours_get_their_names() {
    // In this array another is found first, and others stand where more of them should be.
    let terms = "azimuth-zero = -4.57\nelevation-zero = 9.73\ntilt-north = 0.2\ntilt-east = -0.3";
    let mut station = station("station-narrow.toml");
    station.dish.beamwidth = deg(1.0);
    let mut truth = truth(
        terms,
        "[scans]\nsignal_to_noise = 100.0\n[practice]\nspeed_deg_s = 3.0\nstart_deg = [0.0, 30.0]\n",
    );
    truth.noise.resolution_deg = 0.01;
    let mut rig = Rig::new(station, truth);
    rig.settings.for_s = 7200.0;
    let owner = calibrated(&rig);
    assert!(
        owner.says("others than they were taken for"),
        "{:#?}",
        owner.told
    );
    // The log has the names by which the calibration was made.
    let said: Vec<&str> = owner
        .peaks_csv
        .lines()
        .filter(|l| l.contains("scan 1"))
        .collect();
    let row = owner.rows.iter().find(|row| row.scan == "1").unwrap();
    assert!(
        said.iter().any(|line| line.contains(&row.emitter)),
        "{said:?}"
    );
}
