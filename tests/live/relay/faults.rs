//! What the relay does when the mount or its daemon misbehaves.

use plumbeam::live::{Loudness, Operator, RelaySettings, Wire};
use plumbeam::table::DemandKind;

use super::mount::{Fault, Mount};
use super::rig::{Rig, deg, model, seconds, settings};

fn rig() -> Rig {
    let full = model(&[], DemandKind::Apparent);
    let mut rig = Rig::new(settings(), full, Mount::new(100.0, 30.0)).ready();
    rig.open(1);
    rig
}

/// On its way to azimuth 180.
fn moving() -> Rig {
    let mut rig = rig();
    assert_eq!(rig.ask(1, "P 180 30\n"), "RPRT 0\n");
    rig.run(2.0);
    rig
}

#[test]
fn a_position_that_is_old_is_never_told() {
    let mut rig = rig();
    rig.mount.faults = vec![Fault::Slow(seconds(3.0))];
    rig.run(4.0);
    let asked = rig.now;
    assert_eq!(rig.ask(1, "p\n"), "RPRT -5\n");
    assert!(
        rig.now - asked < seconds(2.0),
        "before the tracker gives up"
    );
    // Nor is anything decided by it.
    assert_eq!(rig.ask(1, "P 101 30\n"), "RPRT -5\n");
    assert!(rig.mount.targets.is_empty());
    // A stop is written all the same, at once.
    let now = rig.now;
    rig.send(1, "S\n");
    assert!(rig.stops_written.contains(&(now, Wire::Stop)));
    rig.mount.faults.clear();
    rig.run(4.0);
    rig.read(1);
    assert_eq!(rig.ask(1, "p\n"), "100.000000\n30.000000\n");
}

#[test]
fn a_mount_that_moves_and_tells_no_position_is_stopped() {
    for fault in [
        Fault::Slow(seconds(5.0)),
        Fault::NanPosition,
        Fault::Garbage,
    ] {
        let mut rig = moving();
        let sent = rig.mount.targets.len();
        rig.mount.faults = vec![fault];
        rig.run(3.6);
        assert!(!rig.mount.stops.is_empty(), "{fault:?}");
        assert!(rig.was_told(Loudness::Warning, "has not reported its position"));
        rig.run(10.0);
        assert!(rig.mount.stands());
        // It went on to what it was told before, and no farther.
        assert!(rig.mount.targets.len() <= sent + 1);
        assert!(rig.mount.reading()[0] < 140.0);
        assert_eq!(rig.ask(1, "P 180 30\n"), "RPRT -5\n", "{fault:?}");
        rig.mount.faults.clear();
        rig.run(6.0);
        rig.read(1);
        assert_eq!(rig.ask(1, "P 180 30\n"), "RPRT 0\n", "{fault:?}");
    }
}

#[test]
fn a_daemon_that_is_gone_is_tried_again_and_nothing_is_sent_by_itself() {
    let mut rig = moving();
    let sent = rig.mount.targets.len();
    rig.break_wires();
    assert_eq!(rig.ask(1, "p\n"), "RPRT -6\n");
    assert_eq!(rig.ask(1, "P 180 30\n"), "RPRT -6\n");
    let broke = rig.now;
    rig.run(120.0);
    let tries: Vec<f64> = (rig.tries.iter())
        .filter(|(at, wire)| *wire == Wire::Main && *at >= broke)
        .map(|(at, _)| (*at - broke).as_secs_f64())
        .collect();
    let waits: Vec<f64> = tries
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).round())
        .collect();
    assert!((tries[0] - 1.0).abs() < 0.3, "{tries:?}");
    assert_eq!(waits[..5], [2.0, 4.0, 8.0, 16.0, 30.0]);
    rig.reachable = true;
    rig.run(31.0);
    assert!(rig.was_told(Loudness::Note, "the mount is connected"));
    assert_eq!(rig.mount.targets.len(), sent);
    assert_eq!(rig.ask(1, "P 180 30\n"), "RPRT 0\n");
}

#[test]
fn a_stop_that_could_not_be_sent_is_sent_first_when_the_daemon_is_back() {
    let mut rig = moving();
    rig.break_wires();
    assert_eq!(rig.ask(1, "S\n"), "RPRT -6\n");
    assert!(rig.mount.stops.is_empty());
    rig.reachable = true;
    rig.run(31.0);
    assert!(!rig.mount.stops.is_empty());
    assert!(rig.mount.stands());
}

#[test]
fn a_daemon_that_never_answers_is_connected_anew() {
    let mut rig = rig();
    rig.mount.faults = vec![Fault::Mute];
    rig.run(8.0);
    assert!(rig.was_told(Loudness::Warning, "does not answer"));
    rig.mount.faults.clear();
    rig.run(15.0);
    assert_eq!(rig.ask(1, "p\n"), "100.000000\n30.000000\n");
}

#[test]
fn a_daemon_of_one_connection_is_noticed() {
    let full = model(&[], DemandKind::Apparent);
    let mut rig = Rig::new(settings(), full, Mount::new(100.0, 30.0));
    rig.two_doors = false;
    let mut rig = rig.ready();
    rig.open(1);
    assert_eq!(rig.ask(1, "P 105 30\n"), "RPRT 0\n");
    let now = rig.now;
    rig.send(1, "S\n");
    assert_eq!(rig.stops_written, [(now, Wire::Main)]);
}

#[test]
fn a_stop_that_is_ignored_is_an_alarm_and_repeated() {
    let long = RelaySettings {
        leash: deg(60.0),
        ..settings()
    };
    let full = model(&[], DemandKind::Apparent);
    let mut rig = Rig::new(long, full, Mount::new(100.0, 30.0)).ready();
    rig.open(1);
    assert_eq!(rig.ask(1, "P 180 30\n"), "RPRT 0\n");
    rig.run(2.0);
    rig.mount.faults = vec![Fault::DeafStop];
    rig.send(1, "S\n");
    rig.run(2.9);
    assert!(rig.was_told(Loudness::Alarm, "still moves"));
    assert!(rig.mount.stops.len() >= 2);
}

#[test]
fn a_reading_that_jumps_is_told_and_demands_wait_for_an_acknowledgement() {
    let mut rig = moving();
    rig.mount.jump(15.0);
    rig.run(0.5);
    assert!(rig.was_told(Loudness::Alarm, "off the way"));
    assert_eq!(rig.mount.stops.len(), 1);
    assert_eq!(rig.ask(1, "P 180 30\n"), "RPRT -9\n");
    rig.run(30.0);
    assert!(rig.mount.stands());
    assert_eq!(rig.ask(1, "P 180 30\n"), "RPRT -9\n");
    // Positions go on, and stops.
    rig.position(1);
    assert_eq!(rig.ask(1, "S\n"), "RPRT 0\n");
    rig.operator(Operator::Acknowledge);
    assert_eq!(rig.ask(1, "P 170 30\n"), "RPRT 0\n");
    // Told once.
    let alarms = rig.told.iter().filter(|t| t.loudness == Loudness::Alarm);
    assert_eq!(alarms.count(), 1);
}

#[test]
fn a_mount_that_runs_the_wrong_way_is_stopped() {
    let mut rig = rig();
    rig.mount.faults = vec![Fault::Runaway];
    rig.send(1, "P 140 30\n");
    rig.run(3.0);
    assert!(!rig.mount.stops.is_empty());
    assert!(rig.mount.reading()[0] > 92.0, "{:?}", rig.mount.reading());
    assert!(rig.was_told(Loudness::Alarm, "off the way"));
}

#[test]
fn a_reversal_at_full_speed_is_no_jump() {
    let mut rig = moving();
    assert_eq!(rig.ask(1, "P 90 30\n"), "RPRT 0\n");
    rig.run(30.0);
    assert!((rig.mount.reading()[0] - 90.0).abs() < 0.01);
    assert!(rig.told.iter().all(|t| t.loudness < Loudness::Alarm));
}

#[test]
fn a_stuck_axis_keeps_its_leash() {
    let mut rig = rig();
    rig.mount.faults = vec![Fault::Stuck];
    rig.send(1, "P 180 30\n");
    rig.run(60.0);
    assert_eq!(rig.mount.targets.len(), 1);
}

#[test]
fn a_mount_outside_its_ranges_may_only_return() {
    let full = model(&[], DemandKind::Apparent);
    let mut rig = Rig::new(settings(), full, Mount::new(545.0, 30.0)).ready();
    rig.open(1);
    assert!(rig.was_told(Loudness::Warning, "outside the ranges"));
    assert_eq!(rig.ask(1, "P 170 30\n"), "RPRT 0\n");
    rig.run(10.0);
    assert!((rig.mount.reading()[0] - 530.0).abs() < 0.01);
}
