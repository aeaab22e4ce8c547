//! Each fault of the pretended dish ends in a stop within its stated time, with the right words, and
//! nothing that was measured before is lost.

use plumbeam::logbook::{ScanOptions, ScanReader};
use plumbeam::observe::{FORMAT, Journal, StopCause};

use super::rig::{Owner, Rig, station, truth};

const TERMS: &str = "azimuth-zero = 1.4\nelevation-zero = -0.8\ntilt-north = 0.25";

fn rig(fault: &str) -> Rig {
    let mut rig = Rig::new(
        station("station-plain.toml"),
        truth(TERMS, "[scans]\nsignal_to_noise = 300.0\n"),
    )
    .fault(fault);
    // Known well enough that no search is needed: the faults come among scans.
    rig.settings.prior = plumbeam::observe::Knowledge::guess(
        plumbeam::angle::Angle::from_degrees(2.0),
        rig.station.dish.beamwidth,
        rig.station.mount.geometry,
    );
    rig.settings.uncalibrated = false;
    // Never good enough: it goes on until the fault.
    rig.settings.wanted = plumbeam::angle::Angle::from_degrees(0.001);
    rig
}

/// Runs it, and gives the cause of the stop with the seconds since the fault began.
#[track_caller]
fn stopped(fault: &str, at: f64) -> (Owner, StopCause, f64, bool) {
    let rig = rig(fault);
    let (owner, _, dish) = rig.run();
    let Some((time, cause)) = owner.stopped.clone() else {
        panic!("{fault}: no stop; {:?}", owner.ending);
    };
    let began = dish.first_motion().expect("a motion").as_secs_f64() + at;
    let seconds = time.as_secs_f64() - began;
    let alarm = owner.alarms().join("\n");
    assert!(
        alarm.contains("the readings were") && alarm.contains("c goes on, q ends"),
        "{fault}: {alarm}"
    );
    let standing = dish.is_standing();
    (owner, cause, seconds, standing)
}

/// Everything that was measured before is in the log, readable.
#[track_caller]
fn nothing_is_lost(owner: &Owner) {
    let station = station("station-plain.toml");
    let mut bytes = Vec::new();
    let unit = plumbeam::logbook::PowerUnit::Decibels;
    let mut journal = Journal::begin(&mut bytes, plumbeam::mount::Kind::AzEl, unit, false).unwrap();
    journal.append(&owner.rows).unwrap();
    let text = String::from_utf8(bytes).unwrap();
    assert!(text.starts_with(FORMAT));
    let options = ScanOptions::default();
    let mut reader = ScanReader::new("scans.csv", text.as_bytes(), &station, &options).unwrap();
    let mut samples = 0;
    while let Some(scan) = reader.next_scan().unwrap() {
        samples += scan.samples.len();
    }
    assert_eq!(samples, owner.rows.len());
    assert!(samples > 300, "{samples}");
}

#[test]
fn a_stuck_axis() {
    for (fault, expected) in [("stuck-axis-1@200", 0), ("stuck-axis-2@200", 1)] {
        let (owner, cause, seconds, _) = stopped(fault, 200.0);
        // Five seconds, and until the axis has a way to go at all.
        assert!(seconds < 40.0, "{fault}: {seconds}");
        assert!(
            matches!(cause, StopCause::NoProgress { axis, seconds } if axis == expected && seconds < 6.0),
            "{cause:?}"
        );
        nothing_is_lost(&owner);
    }
}

#[test]
fn an_axis_that_runs_away() {
    for (fault, expected) in [("runaway-axis-1@200", 0), ("runaway-axis-2@200", 1)] {
        let (owner, cause, seconds, standing) = stopped(fault, 200.0);
        assert!(seconds < 40.0, "{fault}: {seconds}");
        let of_axis = match &cause {
            StopCause::WrongWay { axis, by } => *axis == expected && by.degrees() < 8.0,
            // The relay sees a reading off its way.
            StopCause::Guard(why) => why.contains("off its way"),
            StopCause::OutOfRange { .. } => true,
            _ => false,
        };
        assert!(of_axis, "{fault}: {cause:?}");
        assert!(standing);
        nothing_is_lost(&owner);
    }
}

#[test]
fn readings_that_freeze_or_jump() {
    let (owner, cause, seconds, standing) = stopped("freeze-reading@200", 200.0);
    assert!(seconds < 40.0, "{seconds}");
    assert!(matches!(cause, StopCause::NoProgress { .. }), "{cause:?}");
    assert!(standing);
    nothing_is_lost(&owner);
    let (owner, cause, seconds, standing) = stopped("jump-reading=5@200", 200.0);
    assert!(seconds < 3.0, "{seconds}");
    assert!(
        matches!(&cause, StopCause::TooFast { .. })
            || matches!(&cause, StopCause::Guard(why) if why.contains("off its way")),
        "{cause:?}"
    );
    assert!(standing);
    nothing_is_lost(&owner);
}

#[test]
fn an_axis_that_slips_behind_its_encoder() {
    let (owner, cause, seconds, standing) = stopped("slip-axis-1=6@400", 400.0);
    assert!(matches!(cause, StopCause::Slipped { .. }), "{cause:?}");
    // By the third cross after it: the one that shows it, centred anew, and the one before again.
    assert!(seconds < 420.0, "{seconds}");
    assert!(standing);
    nothing_is_lost(&owner);
}

#[test]
fn a_stop_that_is_not_obeyed_lets_nothing_begin() {
    let rig = rig("deaf-stop@0");
    let (owner, _, _) = rig.run();
    assert!(
        matches!(&owner.ending, Some(plumbeam::observe::Ending::BrokenOff(why)) if why.contains("cut its power")),
        "{:?}",
        owner.ending
    );
    assert!(owner.rows.is_empty());
}

#[test]
fn a_receiver_that_is_silent_or_saturated() {
    let (owner, cause, seconds, standing) = stopped("silent-receiver@200", 200.0);
    assert!(seconds < 8.0, "{seconds}");
    assert!(
        matches!(cause, StopCause::SilentReceiver { .. }),
        "{cause:?}"
    );
    assert!(standing);
    nothing_is_lost(&owner);
    let (owner, cause, _, standing) = stopped("saturate@200", 200.0);
    assert!(matches!(cause, StopCause::Saturated), "{cause:?}");
    assert!(standing);
    nothing_is_lost(&owner);
}

#[test]
fn a_daemon_that_goes_or_talks_nonsense() {
    let (owner, cause, seconds, _) = stopped("drop-rotator@200", 200.0);
    assert!(seconds < 3.0, "{seconds}");
    assert!(matches!(cause, StopCause::Lost(_)), "{cause:?}");
    nothing_is_lost(&owner);
    for fault in ["garbage@200", "nan-position@200", "slow=8@200"] {
        let (owner, cause, seconds, _) = stopped(fault, 200.0);
        // Three seconds, and until something moves.
        assert!(seconds < 12.0, "{fault}: {seconds}");
        assert!(
            matches!(
                &cause,
                StopCause::Missing | StopCause::Lost(_) | StopCause::Guard(_)
            ),
            "{fault}: {cause:?}"
        );
        nothing_is_lost(&owner);
    }
}
