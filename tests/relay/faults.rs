//! What the relay does when the mount or its daemon misbehaves.

use plumbeam::live::{Loudness, Operator, Settings, Wire};
use plumbeam::table::DemandKind;

use crate::mount::{Fault, Mount};
use crate::world::{World, deg, model, seconds, settings};

fn world() -> World {
    let full = model(&[], DemandKind::Apparent);
    let mut world = World::new(settings(), full, Mount::new(100.0, 30.0)).ready();
    world.open(1);
    world
}

/// On its way to azimuth 180.
fn moving() -> World {
    let mut world = world();
    assert_eq!(world.ask(1, "P 180 30\n"), "RPRT 0\n");
    world.run(2.0);
    world
}

#[test]
fn a_position_that_is_old_is_never_told() {
    let mut world = world();
    world.mount.faults = vec![Fault::Slow(seconds(3.0))];
    world.run(4.0);
    let asked = world.now;
    assert_eq!(world.ask(1, "p\n"), "RPRT -5\n");
    assert!(
        world.now - asked < seconds(2.0),
        "before the tracker gives up"
    );
    // Nor is anything decided by it.
    assert_eq!(world.ask(1, "P 101 30\n"), "RPRT -5\n");
    assert!(world.mount.targets.is_empty());
    // A stop is written all the same, at once.
    let now = world.now;
    world.send(1, "S\n");
    assert!(world.stops_written.contains(&(now, Wire::Stop)));
    world.mount.faults.clear();
    world.run(4.0);
    world.read(1);
    assert_eq!(world.ask(1, "p\n"), "100.000000\n30.000000\n");
}

#[test]
fn a_mount_that_moves_and_tells_no_position_is_stopped() {
    for fault in [
        Fault::Slow(seconds(5.0)),
        Fault::NanPosition,
        Fault::Garbage,
    ] {
        let mut world = moving();
        let sent = world.mount.targets.len();
        world.mount.faults = vec![fault];
        world.run(3.6);
        assert!(!world.mount.stops.is_empty(), "{fault:?}");
        assert!(world.was_told(Loudness::Warning, "has not told its position"));
        world.run(10.0);
        assert!(world.mount.stands());
        // It went on to what it was told before, and no farther.
        assert!(world.mount.targets.len() <= sent + 1);
        assert!(world.mount.reading()[0] < 140.0);
        assert_eq!(world.ask(1, "P 180 30\n"), "RPRT -5\n", "{fault:?}");
        world.mount.faults.clear();
        world.run(6.0);
        world.read(1);
        assert_eq!(world.ask(1, "P 180 30\n"), "RPRT 0\n", "{fault:?}");
    }
}

#[test]
fn a_daemon_that_is_gone_is_tried_again_and_nothing_is_sent_by_itself() {
    let mut world = moving();
    let sent = world.mount.targets.len();
    world.break_wires();
    assert_eq!(world.ask(1, "p\n"), "RPRT -6\n");
    assert_eq!(world.ask(1, "P 180 30\n"), "RPRT -6\n");
    let broke = world.now;
    world.run(120.0);
    let tries: Vec<f64> = (world.tries.iter())
        .filter(|(at, wire)| *wire == Wire::Main && *at >= broke)
        .map(|(at, _)| (*at - broke).as_secs_f64())
        .collect();
    let waits: Vec<f64> = tries
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).round())
        .collect();
    assert!((tries[0] - 1.0).abs() < 0.3, "{tries:?}");
    assert_eq!(waits[..5], [2.0, 4.0, 8.0, 16.0, 30.0]);
    world.reachable = true;
    world.run(31.0);
    assert!(world.was_told(Loudness::Note, "the mount is connected"));
    assert_eq!(world.mount.targets.len(), sent);
    assert_eq!(world.ask(1, "P 180 30\n"), "RPRT 0\n");
}

#[test]
fn a_stop_that_could_not_be_sent_is_sent_first_when_the_daemon_is_back() {
    let mut world = moving();
    world.break_wires();
    assert_eq!(world.ask(1, "S\n"), "RPRT -6\n");
    assert!(world.mount.stops.is_empty());
    world.reachable = true;
    world.run(31.0);
    assert!(!world.mount.stops.is_empty());
    assert!(world.mount.stands());
}

#[test]
fn a_daemon_that_never_answers_is_connected_anew() {
    let mut world = world();
    world.mount.faults = vec![Fault::Mute];
    world.run(8.0);
    assert!(world.was_told(Loudness::Warning, "does not answer"));
    world.mount.faults.clear();
    world.run(15.0);
    assert_eq!(world.ask(1, "p\n"), "100.000000\n30.000000\n");
}

#[test]
fn a_daemon_of_one_connection_is_noticed() {
    let full = model(&[], DemandKind::Apparent);
    let mut world = World::new(settings(), full, Mount::new(100.0, 30.0));
    world.two_doors = false;
    let mut world = world.ready();
    world.open(1);
    assert_eq!(world.ask(1, "P 105 30\n"), "RPRT 0\n");
    let now = world.now;
    world.send(1, "S\n");
    assert_eq!(world.stops_written, [(now, Wire::Main)]);
}

#[test]
fn a_stop_that_is_ignored_is_an_alarm_and_repeated() {
    let long = Settings {
        leash: deg(60.0),
        ..settings()
    };
    let full = model(&[], DemandKind::Apparent);
    let mut world = World::new(long, full, Mount::new(100.0, 30.0)).ready();
    world.open(1);
    assert_eq!(world.ask(1, "P 180 30\n"), "RPRT 0\n");
    world.run(2.0);
    world.mount.faults = vec![Fault::DeafStop];
    world.send(1, "S\n");
    world.run(2.9);
    assert!(world.was_told(Loudness::Alarm, "still moves"));
    assert!(world.mount.stops.len() >= 2);
}

#[test]
fn a_reading_that_jumps_is_told_and_demands_wait_for_an_acknowledgement() {
    let mut world = moving();
    world.mount.jump(15.0);
    world.run(0.5);
    assert!(world.was_told(Loudness::Alarm, "off the way"));
    assert_eq!(world.mount.stops.len(), 1);
    assert_eq!(world.ask(1, "P 180 30\n"), "RPRT -9\n");
    world.run(30.0);
    assert!(world.mount.stands());
    assert_eq!(world.ask(1, "P 180 30\n"), "RPRT -9\n");
    // Positions go on, and stops.
    world.position(1);
    assert_eq!(world.ask(1, "S\n"), "RPRT 0\n");
    world.operator(Operator::Acknowledge);
    assert_eq!(world.ask(1, "P 170 30\n"), "RPRT 0\n");
    // Told once.
    let alarms = world.told.iter().filter(|t| t.loudness == Loudness::Alarm);
    assert_eq!(alarms.count(), 1);
}

#[test]
fn a_mount_that_runs_the_wrong_way_is_stopped() {
    let mut world = world();
    world.mount.faults = vec![Fault::Runaway];
    world.send(1, "P 140 30\n");
    world.run(3.0);
    assert!(!world.mount.stops.is_empty());
    assert!(
        world.mount.reading()[0] > 92.0,
        "{:?}",
        world.mount.reading()
    );
    assert!(world.was_told(Loudness::Alarm, "off the way"));
}

#[test]
fn a_reversal_at_full_speed_is_no_jump() {
    let mut world = moving();
    assert_eq!(world.ask(1, "P 90 30\n"), "RPRT 0\n");
    world.run(30.0);
    assert!((world.mount.reading()[0] - 90.0).abs() < 0.01);
    assert!(world.told.iter().all(|t| t.loudness < Loudness::Alarm));
}

#[test]
fn a_stuck_axis_keeps_its_leash() {
    let mut world = world();
    world.mount.faults = vec![Fault::Stuck];
    world.send(1, "P 180 30\n");
    world.run(60.0);
    assert_eq!(world.mount.targets.len(), 1);
}

#[test]
fn a_mount_outside_its_ranges_may_only_return() {
    let full = model(&[], DemandKind::Apparent);
    let mut world = World::new(settings(), full, Mount::new(545.0, 30.0)).ready();
    world.open(1);
    assert!(world.was_told(Loudness::Warning, "outside the ranges"));
    assert_eq!(world.ask(1, "P 170 30\n"), "RPRT 0\n");
    world.run(10.0);
    assert!((world.mount.reading()[0] - 530.0).abs() < 0.01);
}
