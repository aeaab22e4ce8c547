//! Whole observations: from a mount of which nothing is known to a calibration that is true.

use plumbeam::logbook::PeakLog;
use plumbeam::observe::Ending;
use plumbeam::solve::{Options, solve};

use crate::world::{World, apart, station, truth};

const PLAIN: &str = "azimuth-zero = 1.4\nelevation-zero = -0.8\ntilt-north = 0.25\ntilt-east = \
                     -0.15\ncollimation = 0.2";

#[test]
fn a_mount_with_small_errors_is_calibrated() {
    let world = World::new(
        station("station-plain.toml"),
        truth(PLAIN, "[scans]\nsignal_to_noise = 300.0\n"),
    );
    let (owner, took, _) = world.run();
    assert_eq!(owner.ending, Some(Ending::Reached), "{:?}", owner.alarms());
    let log = PeakLog::parse("peaks.csv", owner.peaks_csv.as_bytes(), &world.station).unwrap();
    let outcome = solve(&world.station, &world.sky, &log, &Options::default()).unwrap();
    let off = apart(
        &outcome.model,
        &world.truth.model(&world.station.mount.geometry).unwrap(),
    );
    let promised = outcome.sky_error.as_ref().unwrap().rms_95;
    assert!(off < promised * 1.5, "{off:?} {promised:?}");
    assert!(took.as_secs() < 3600);
}
