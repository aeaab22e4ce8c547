//! Nothing moves before it may, and whoever stops it is obeyed.

use plumbeam::observe::{Ending, Knowledge, StopCause};

use super::rig::{Owner, Rig, deg, nearest_to_sun, spells_near_sun, station, truth};

const TERMS: &str = "azimuth-zero = 1.4\nelevation-zero = -0.8";

fn rig() -> Rig {
    rig_with_guess("station-plain.toml", 2.0)
}

/// At a station, with the zeros known to so many degrees.
fn rig_with_guess(file: &str, zeros_deg: f64) -> Rig {
    let mut rig = Rig::new(
        station(file),
        truth(TERMS, "[scans]\nsignal_to_noise = 300.0\n"),
    );
    rig.settings.prior = Knowledge::guess(
        deg(zeros_deg),
        rig.station.dish.beamwidth,
        rig.station.mount.geometry,
    );
    rig.settings.uncalibrated = false;
    rig
}

#[test]
fn a_rehearsal_moves_nothing_and_tells_every_move() {
    let mut rig = rig();
    rig.settings.rehearse = true;
    let (owner, took, dish) = rig.run();
    assert_eq!(owner.ending, Some(Ending::Rehearsed));
    assert_eq!(dish.first_motion(), None);
    assert!(took.as_secs() < 10);
    assert!(
        owner.says("a cross both ways along each axis"),
        "{:?}",
        owner.told
    );
    assert!(owner.says("expected pointing error over the sky"));
}

#[test]
fn nothing_moves_before_arm_and_only_the_test_before_go() {
    let rig = rig();
    let mut owner = Owner {
        silent: true,
        script: vec![
            (5.0, b"go\n"),
            (10.0, b"harm\n"),
            (20.0, b"arm\n"),
            (120.0, b"q\n"),
        ],
        ..Owner::default()
    };
    let (_, dish) = rig.run_for(&mut owner);
    let moved = dish.first_motion().expect("the test").as_secs_f64();
    assert!((20.0..21.0).contains(&moved), "{moved}");
    assert!(owner.says("axis 1 moves as told") && owner.says("axis 2 moves as told"));
    assert!(owner.rows.is_empty());
    assert!(dish.is_standing());
    assert_eq!(
        owner.ending,
        Some(Ending::BrokenOff("the key q".to_owned()))
    );
}

#[test]
fn any_key_stops_c_goes_on_and_q_ends() {
    let rig = rig();
    let mut owner = Owner {
        patience: 1,
        script: vec![(150.0, b"x"), (400.0, b"q")],
        ..Owner::default()
    };
    let (took, dish) = rig.run_for(&mut owner);
    assert_eq!(owner.stops.len(), 1, "{:?}", owner.stops);
    assert!(matches!(owner.stops[0].1, StopCause::Person(_)));
    let rows_after = owner.rows.len();
    assert!(rows_after > 500);
    assert!(dish.is_standing());
    assert!((400.0..404.0).contains(&took.as_secs_f64()));
    assert!(matches!(owner.ending, Some(Ending::BrokenOff(_))));
}

#[test]
fn what_was_measured_counts_when_it_is_taken_up_again() {
    let mut rig = rig();
    let mut owner = Owner {
        script: vec![(330.0, b"q")],
        ..Owner::default()
    };
    rig.run_for(&mut owner);
    let before = owner.looked.len();
    assert!(before >= 3);
    // As the log gives them back.
    let mut bytes = Vec::new();
    let unit = plumbeam::logbook::PowerUnit::Decibels;
    let mut journal =
        plumbeam::observe::Journal::begin(&mut bytes, plumbeam::mount::Kind::AzEl, unit, false)
            .unwrap();
    journal.append(&owner.rows).unwrap();
    let options = plumbeam::logbook::ScanOptions::default();
    let mut reader =
        plumbeam::logbook::ScanReader::new("scans.csv", &bytes[..], &rig.station, &options)
            .unwrap();
    while let Some(scan) = reader.next_scan().unwrap() {
        rig.settings.scans.push(scan);
    }
    let (again, _, _) = rig.run();
    assert_eq!(again.ending, Some(Ending::Reached), "{:?}", again.alarms());
    // Names go on, and no scan is made twice at two speeds.
    let first: usize = again.looked[0].name.parse().unwrap();
    assert_eq!(first, rig.settings.scans.len() + 1);
    assert!(!again.says("half the speed"));
    assert!(again.peaks_csv.lines().count() > again.looked.len());
}

#[test]
fn ranges_that_the_daemon_does_not_have_end_it() {
    let mut rig = rig();
    let mut wider = (*rig.station).clone();
    wider.mount.azimuth_range = (deg(-180.0), deg(540.0));
    let dish_station = std::mem::replace(&mut rig.station, std::sync::Arc::new(wider));
    rig.dish_station = Some(dish_station);
    let (owner, _, dish) = rig.run();
    assert!(owner.says("narrower than those of the station file"));
    assert_eq!(dish.first_motion(), None);
}

#[test]
fn the_sun_is_kept_clear_of() {
    let mut rig = rig();
    // Long enough for many ways across the sky.
    rig.settings.wanted = deg(0.001);
    let (owner, _, dish) = rig.run();
    let nearest = nearest_to_sun(&dish).expect("the Sun is up");
    assert!(nearest > deg(14.5), "{nearest:?}");
    assert!(owner.looked.len() > 8);
}

#[test]
fn the_sun_as_the_emitter_is_cut_in_twenty_seconds_with_pauses_of_sixty() {
    let mut rig = rig_with_guess("station-sun.toml", 1.0);
    rig.settings.for_s = 1800.0;
    let (owner, _, dish) = rig.run();
    assert!(!owner.looked.is_empty(), "{:?}", owner.told);
    assert!(owner.looked[0].found.is_some(), "{:?}", owner.looked[0]);
    let spells = spells_near_sun(&dish, deg(15.0));
    assert!(spells.len() >= 4, "{spells:?}");
    for (from, to) in &spells {
        assert!(to - from <= 20.0, "{from} to {to}");
    }
    for pair in spells.windows(2) {
        assert!(pair[1].0 - pair[0].1 >= 58.0, "{pair:?}");
    }
}
