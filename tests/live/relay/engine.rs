//! The relay between a tracker and a pretended mount: each promise of docs/relay.md.

use plumbeam::live::protocol::Code;
use plumbeam::live::{
    Axes, Loudness, OnDisconnect, Operator, RelaySettings, ReportTurn, SunPlace, Wire,
};
use plumbeam::mount::Term;
use plumbeam::table::DemandKind;

use super::mount::Mount;
use super::rig::{Rig, deg, model, seconds, settings};

/// The pretended encoders tell hundredths of a degree.
const RESOLUTION: f64 = 0.006;
const DONE: &str = "RPRT 0\n";

fn near(got: [f64; 2], want: [f64; 2], within: f64) {
    let off = (got[0] - want[0]).abs().max((got[1] - want[1]).abs());
    assert!(off < within, "{got:?}, expected {want:?}");
}

/// An azimuth zero of 3 degrees: the axis stands further clockwise than its encoder says, so the
/// encoder must read less.
fn off_by_three() -> Rig {
    let full = model(
        &[(Term::AzimuthZero, 3.0), (Term::ElevationZero, -1.0)],
        DemandKind::Apparent,
    );
    Rig::new(settings(), full, Mount::new(97.0, 31.0)).ready()
}

fn plain_with(settings: RelaySettings) -> Rig {
    let full = model(&[], DemandKind::Apparent);
    let mut rig = Rig::new(settings, full, Mount::new(100.0, 30.0)).ready();
    rig.open(1);
    rig
}

fn plain() -> Rig {
    plain_with(settings())
}

#[test]
fn demands_are_corrected_and_positions_turned_back() {
    let mut rig = off_by_three();
    rig.open(1);
    near(rig.position(1), [100.0, 30.0], RESOLUTION);
    assert_eq!(rig.ask(1, "P 104.00 32.00\n"), DONE);
    rig.run(5.0);
    near(rig.mount.reading(), [101.0, 33.0], RESOLUTION);
    near(rig.position(1), [104.0, 32.0], RESOLUTION);
}

#[test]
fn geometric_demands_get_the_bending_of_the_air() {
    let full = model(&[], DemandKind::Geometric);
    let mut rig = Rig::new(settings(), full, Mount::new(100.0, 5.0)).ready();
    rig.open(1);
    assert_eq!(rig.ask(1, "P 100 5\n"), DONE);
    rig.run(3.0);
    // At five degrees the air bends by about a sixth of a degree.
    let up = rig.mount.reading()[1] - 5.0;
    assert!((0.13..0.2).contains(&up), "{up}");
    near(rig.position(1), [100.0, 5.0], RESOLUTION);
}

#[test]
fn a_far_demand_is_reached_on_the_leash() {
    let mut rig = plain();
    assert_eq!(rig.ask(1, "P 190 60\n"), DONE);
    rig.run(40.0);
    near(rig.mount.reading(), [190.0, 60.0], RESOLUTION);
    for target in &rig.mount.targets {
        let ahead = (target.target[0] - target.from[0])
            .abs()
            .max((target.target[1] - target.from[1]).abs());
        // The reading by which it was decided is up to a poll old.
        assert!(ahead < 10.0 + RESOLUTION, "{target:?}");
    }
    assert!(rig.mount.targets.len() < 60, "{}", rig.mount.targets.len());
}

#[test]
fn the_mount_is_asked_at_most_five_times_a_second_whoever_asks() {
    let mut rig = plain();
    rig.open(2);
    let before = rig.mount.polls.len();
    for _ in 0..100 {
        rig.send(1, "p\np\n");
        rig.send(2, "p\n");
        rig.run(0.05);
    }
    let polls = rig.mount.polls.len() - before;
    rig.run(0.5);
    assert!((20..=26).contains(&polls), "{polls} in 5 s");
    assert_eq!(rig.read(2).lines().count(), 200);
}

#[test]
fn changes_below_the_deadband_from_what_was_last_sent_are_not_sent() {
    let mut rig = plain();
    assert_eq!(rig.ask(1, "P 101 30\n"), DONE);
    rig.run(3.0);
    let sent = rig.mount.targets.len();
    for step in 1..=4 {
        let demand = format!("P {} 30\n", 101.0 + 0.01 * f64::from(step));
        assert_eq!(rig.ask(1, &demand), DONE);
    }
    assert_eq!(rig.mount.targets.len(), sent);
    // A slow creep is sent once it has added up.
    assert_eq!(rig.ask(1, "P 101.06 30\n"), DONE);
    assert_eq!(rig.mount.targets.len(), sent + 1);
}

#[test]
fn a_stop_is_written_at_once_and_cancels_what_is_pending() {
    let mut rig = plain();
    rig.open(2);
    assert_eq!(rig.ask(1, "P 180 60\n"), DONE);
    rig.run(2.0);
    // Any client may stop.
    let now = rig.now;
    rig.send(2, "S\n");
    assert_eq!(rig.stops_written, [(now, Wire::Stop)]);
    assert_eq!(rig.ask(2, ""), DONE);
    let sent = rig.mount.targets.len();
    rig.run(20.0);
    assert_eq!(
        rig.mount.targets.len(),
        sent,
        "nothing moves until a new demand"
    );
    assert!(rig.mount.stands());
    assert_eq!(rig.stops_written.len(), 1);
    // The same demand again is a new one.
    assert_eq!(rig.ask(1, "P 180 60\n"), DONE);
    assert!(rig.mount.targets.len() > sent);
}

#[test]
fn a_target_on_its_way_cannot_overtake_a_stop() {
    let mut rig = plain();
    rig.mount.faults = vec![super::mount::Fault::Slow(seconds(1.0))];
    let now = rig.now;
    rig.send(1, "P 105 30\nS\n");
    // Over its own connection, and behind the target over the other.
    assert_eq!(rig.stops_written, [(now, Wire::Stop), (now, Wire::Main)]);
    rig.run(3.0);
    assert!(rig.mount.stands());
    assert!(rig.mount.reading()[0] < 105.0 - 1.0);
}

#[test]
fn a_stop_needs_no_line_end() {
    let mut rig = plain();
    let now = rig.now;
    rig.send(1, "S");
    assert_eq!(rig.stops_written, [(now, Wire::Stop)]);
}

#[test]
fn with_one_connection_the_stop_goes_over_it() {
    let mut rig = plain_with(RelaySettings {
        own_stop: false,
        ..settings()
    });
    rig.send(1, "P 180 60\nS\n");
    assert_eq!(rig.stops_written.len(), 1);
    assert_eq!(rig.stops_written[0].1, Wire::Main);
    rig.run(5.0);
    assert!(rig.mount.stands());
}

#[test]
fn one_client_commands_and_the_others_may_only_look_and_stop() {
    let mut rig = plain();
    rig.open(2);
    assert_eq!(rig.ask(1, "P 105 30\n"), DONE);
    assert_eq!(rig.ask(2, "P 90 30\n"), "RPRT -9\n");
    rig.position(2);
    assert_eq!(rig.ask(2, "S\n"), DONE);
    rig.run(5.0);
    assert_eq!(rig.ask(2, "P 90 30\n"), "RPRT -9\n");
    rig.run(5.5);
    assert_eq!(rig.ask(2, "P 95 30\n"), DONE);
    assert_eq!(rig.ask(1, "P 105 30\n"), "RPRT -9\n");
    rig.close(2);
    assert_eq!(rig.ask(1, "P 105 30\n"), DONE);
}

#[test]
fn when_the_commander_goes_its_move_ends_or_the_mount_stops() {
    let mut rig = plain();
    rig.send(1, "P 140 30\n");
    rig.run(0.5);
    rig.close(1);
    rig.run(20.0);
    near(rig.mount.reading(), [140.0, 30.0], RESOLUTION);

    let mut rig = plain_with(RelaySettings {
        on_disconnect: OnDisconnect::Stop,
        ..settings()
    });
    rig.open(2);
    rig.send(1, "P 140 30\n");
    rig.run(0.5);
    rig.close(2);
    assert!(rig.stops_written.is_empty(), "it did not command");
    rig.close(1);
    assert_eq!(rig.stops_written.len(), 1);
    rig.run(5.0);
    assert!(rig.mount.reading()[0] < 120.0);
}

#[test]
fn wrong_demands_are_refused_and_every_command_is_answered() {
    let mut rig = plain();
    for (asked, answered) in [
        ("P nan nan\n", "RPRT -1\n"),
        ("P 1\n", "RPRT -1\n"),
        ("P 1 2 3\n", "RPRT -1\n"),
        ("P 10 -91\n", "RPRT -1\n"),
        ("P 10 -5\n", "RPRT -1\n"),
        ("P 99999999 5\n", "RPRT -1\n"),
        ("K\n", "RPRT -11\n"),
        ("R 1\n", "RPRT -11\n"),
        ("M 2 50\n", "RPRT -11\n"),
        ("w AB\n", "RPRT -11\n"),
        ("\\send_cmd AB\n", "RPRT -11\n"),
        ("\\chk_vfo\n", "RPRT -4\n"),
        ("zzz\n", "RPRT -4\n"),
        ("_\n", "relay under test\n"),
        ("+S\n", "stop:\nRPRT 0\n"),
    ] {
        assert_eq!(rig.ask(1, asked), answered, "{asked}");
    }
    assert!(rig.mount.targets.is_empty());
    assert!(rig.mount.other.is_empty());
    // Two in one packet, one in two, a decimal comma.
    rig.run(0.1);
    rig.send(1, "P 100,5 30,25\nP 101 3");
    rig.send(1, "1\n");
    rig.run(0.2);
    assert_eq!(rig.read(1), "RPRT 0\nRPRT 0\n");
    rig.send(1, &format!("{}\n", "x".repeat(5000)));
    assert_eq!(rig.ask(1, "_\n"), "RPRT -8\nrelay under test\n");
}

#[test]
fn replies_come_in_the_order_of_the_commands() {
    let mut rig = plain();
    rig.mount.faults = vec![super::mount::Fault::Slow(seconds(0.3))];
    rig.run(1.5);
    rig.send(1, "P 101 30\n+p\n_\nS\n");
    rig.run(2.5);
    let reply = rig.read(1);
    let kinds: Vec<&str> = reply.lines().collect();
    assert_eq!(kinds[0], "RPRT 0");
    assert_eq!(kinds[1], "get_pos:");
    assert_eq!(
        &kinds[4..],
        ["RPRT 0", "relay under test", "RPRT 0"],
        "{reply}"
    );
}

#[test]
fn elevations_beyond_the_zenith_are_the_other_side_of_the_sky() {
    let mut rig = plain();
    assert_eq!(rig.ask(1, "P 280 150\n"), DONE);
    rig.run(5.0);
    near(rig.mount.reading(), [100.0, 30.0], RESOLUTION);
    // And it is answered as it was asked.
    near(rig.position(1), [280.0, 150.0], RESOLUTION);
}

#[test]
fn positions_are_told_on_the_turn_that_was_asked_for() {
    for (report, asked, told) in [
        (ReportTurn::AsAsked, "P -260 30\n", -260.0),
        (ReportTurn::AsAsked, "P 460 30\n", 460.0),
        (ReportTurn::Positive, "P -260 30\n", 100.0),
        (ReportTurn::Signed, "P 460 30\n", 100.0),
    ] {
        let full = model(&[], DemandKind::Apparent);
        let mount = Mount::new(100.0, 30.0);
        let mut rig = Rig::under(settings(), full, mount, report, SunPlace::Down).ready();
        rig.open(1);
        assert_eq!(rig.ask(1, asked), DONE);
        near(rig.position(1), [told, 30.0], RESOLUTION);
        near(rig.mount.reading(), [100.0, 30.0], RESOLUTION);
    }
}

#[test]
fn the_turn_of_the_cable_is_that_of_the_mount() {
    let full = model(&[], DemandKind::Apparent);
    let mut rig = Rig::new(settings(), full, Mount::new(380.0, 30.0)).ready();
    rig.open(1);
    near(rig.position(1), [20.0, 30.0], RESOLUTION);
    assert_eq!(rig.ask(1, "P 10 30\n"), DONE);
    rig.run(5.0);
    near(rig.mount.reading(), [370.0, 30.0], RESOLUTION);
}

#[test]
fn limits_are_told_as_the_tracker_counts() {
    let mut rig = off_by_three();
    rig.open(1);
    let reply = rig.ask(1, "\\dump_state\n");
    let value = |key: &str| -> f64 {
        let line = reply.lines().find_map(|line| line.strip_prefix(key));
        line.expect(key).parse().expect("a number")
    };
    near([value("min_az="), value("max_az=")], [-177.0, 543.0], 1e-6);
    near([value("min_el="), value("max_el=")], [-1.0, 89.0], 1e-6);
    assert!(reply.ends_with("done\n"));
}

#[test]
fn parking_goes_where_the_station_file_says() {
    let mut rig = plain_with(RelaySettings {
        park: Some(Axes::from_degrees(120.0, 85.0)),
        ..settings()
    });
    assert_eq!(rig.ask(1, "K\n"), DONE);
    rig.run(30.0);
    near(rig.mount.reading(), [120.0, 85.0], RESOLUTION);
    assert!(rig.mount.other.is_empty(), "never the daemon's own parking");
}

#[test]
fn moves_that_are_allowed_are_under_the_same_guard() {
    let mut rig = plain_with(RelaySettings {
        allow_move: true,
        ..settings()
    });
    assert_eq!(rig.ask(1, "M 2 100\n"), DONE);
    rig.run(4.0);
    assert!(rig.mount.reading()[1] > 40.0);
    let ahead = rig.mount.targets.iter().map(|t| t.target[1] - t.from[1]);
    assert!(ahead.fold(0.0, f64::max) <= 10.0 + RESOLUTION);
    rig.run(30.0);
    near(rig.mount.reading(), [100.0, 90.0], RESOLUTION);
    assert_eq!(rig.ask(1, "M 8 100\n"), DONE);
    rig.run(1.0);
    assert_eq!(rig.ask(1, "S\n"), DONE);
    rig.run(5.0);
    assert!(rig.mount.stands());
    assert!(rig.mount.other.is_empty());
}

#[test]
fn a_reset_that_is_allowed_cancels_and_is_passed_on() {
    let mut rig = plain_with(RelaySettings {
        allow_reset: true,
        ..settings()
    });
    rig.send(1, "P 180 30\n");
    rig.run(1.0);
    rig.read(1);
    assert_eq!(rig.ask(1, "R 1\n"), DONE);
    assert_eq!(rig.mount.other, ["R 1"]);
    let sent = rig.mount.targets.len();
    rig.run(5.0);
    assert_eq!(rig.mount.targets.len(), sent);
}

#[test]
fn in_the_keyhole_the_nearest_place_is_held_and_the_loss_logged() {
    let full = model(&[(Term::Collimation, 1.0)], DemandKind::Apparent);
    let mut rig = Rig::new(settings(), full, Mount::new(100.0, 85.0)).ready();
    rig.open(1);
    assert_eq!(rig.ask(1, "P 100 90\n"), DONE);
    rig.run(20.0);
    assert!(rig.mount.stands());
    let row = rig
        .rows
        .iter()
        .find(|row| row.command == "P 100 90")
        .unwrap();
    // The beam is a degree off, half the beamwidth: 3 dB.
    assert!(
        row.reply.contains("keyhole") && row.reply.contains("3.0 dB"),
        "{row:?}"
    );
    let miss = rig.shown.clone().unwrap().miss.unwrap().degrees();
    assert!((miss - 1.0).abs() < 0.02, "{miss}");
}

#[test]
fn axes_come_from_the_side_from_which_they_came() {
    let backlash = 0.6;
    let full = model(&[(Term::AzimuthBacklash, backlash)], DemandKind::Apparent);
    let mut rig = Rig::new(settings(), full, Mount::new(100.0, 30.0)).ready();
    rig.open(1);
    // Arriving with increasing reading the axis stands half the backlash further on.
    rig.ask(1, "P 110 30\n");
    rig.run(6.0);
    near(
        rig.mount.reading(),
        [110.0 - backlash / 2.0, 30.0],
        RESOLUTION,
    );
    near(rig.position(1), [110.0, 30.0], RESOLUTION);
    // Trembling below the deadband is no change of side.
    let sent = rig.mount.targets.len();
    for azimuth in [109.99, 110.01, 109.98] {
        rig.ask(1, &format!("P {azimuth} 30\n"));
    }
    assert_eq!(rig.mount.targets.len(), sent);
    rig.ask(1, "P 105 30\n");
    rig.run(6.0);
    near(
        rig.mount.reading(),
        [105.0 + backlash / 2.0, 30.0],
        RESOLUTION,
    );
}

#[test]
fn a_stop_at_the_relay_holds_until_acknowledged() {
    let mut rig = plain();
    rig.send(1, "P 180 30\n");
    rig.run(1.0);
    rig.read(1);
    rig.operator(Operator::Stop);
    assert_eq!(rig.stops_written.len(), 1);
    assert_eq!(rig.ask(1, "P 180 30\n"), "RPRT -9\n");
    rig.run(5.0);
    assert!(rig.mount.stands());
    rig.operator(Operator::Acknowledge);
    assert_eq!(rig.ask(1, "P 180 30\n"), DONE);
}

#[test]
fn the_stop_file_stops_and_holds_while_it_is_there() {
    let mut rig = plain();
    rig.send(1, "P 180 30\n");
    rig.run(1.0);
    rig.read(1);
    rig.handle(plumbeam::live::Event::StopFile(true));
    assert_eq!(rig.stops_written.len(), 1);
    rig.operator(Operator::Acknowledge);
    assert_eq!(rig.ask(1, "P 180 30\n"), "RPRT -9\n");
    rig.handle(plumbeam::live::Event::StopFile(false));
    assert_eq!(rig.ask(1, "P 180 30\n"), DONE);
}

#[test]
fn at_the_end_the_mount_is_stopped_first() {
    let mut rig = plain();
    rig.send(1, "P 180 30\n");
    rig.run(1.0);
    rig.operator(Operator::End);
    assert_eq!(rig.stops_written.len(), 1);
    assert!(!rig.ended);
    assert_eq!(rig.ask(1, "P 180 30\n").lines().last(), Some("RPRT -9"));
    rig.run(3.5);
    assert!(rig.ended && rig.mount.stands());
}

#[test]
fn each_row_of_the_log_says_what_was_and_what_was_done() {
    let mut rig = off_by_three();
    rig.open(1);
    rig.ask(1, "P 104 32\n");
    rig.run(3.0);
    rig.position(1);
    let row = rig
        .rows
        .iter()
        .find(|row| row.command == "P 104 32")
        .unwrap();
    assert_eq!(row.client, "client 1");
    assert_eq!(row.reply, Code::Done.to_string());
    let close = |value: Option<f64>, want: f64| {
        assert!((value.unwrap() - want).abs() < RESOLUTION, "{row:?}");
    };
    close(row.demand_azimuth_deg, 104.0);
    close(row.command_1_deg, 101.0);
    close(row.command_2_deg, 33.0);
    close(row.reading_1_deg, 97.0);
    let asked = rig
        .rows
        .iter()
        .rfind(|row| row.client == "client 1")
        .unwrap();
    assert_eq!(asked.command, "p");
    assert!(asked.reply.starts_with("104.0"), "{asked:?}");
    // And the relay's own looks while it moves.
    assert!(rig.rows.iter().filter(|row| row.client == "relay").count() > 10);
}

#[test]
fn the_sun_is_gone_round_and_a_parked_dish_is_warned_of() {
    let sun = model(&[], DemandKind::Apparent).mount.beam_vector(
        plumbeam::angle::EncoderReading::from_degrees(120.0, 30.0),
        plumbeam::mount::ApproachSigns::UNKNOWN,
    );
    let guarded = RelaySettings {
        zone: Some(deg(10.0)),
        ..settings()
    };
    let full = || model(&[], DemandKind::Apparent);
    let up = SunPlace::Up(sun);
    let rig = |mount| Rig::under(guarded.clone(), full(), mount, ReportTurn::AsAsked, up).ready();
    let mut round = rig(Mount::new(100.0, 30.0));
    round.open(1);
    assert_eq!(round.ask(1, "P 122 31\n"), "RPRT -9\n");
    assert_eq!(round.ask(1, "P 140 30\n"), DONE);
    let mut nearest: f64 = 180.0;
    for _ in 0..600 {
        round.run(0.1);
        let beam = full()
            .mount
            .beam_vector(round.reading(), plumbeam::mount::ApproachSigns::UNKNOWN);
        nearest = nearest.min(plumbeam::angle::angle_between(&beam, &sun).degrees());
    }
    near(round.mount.reading(), [140.0, 30.0], RESOLUTION);
    assert!(nearest > 10.0 - 0.2, "{nearest}");
    assert!(round.told.iter().all(|t| t.loudness < Loudness::Alarm));

    // Parked in it: an alarm, no motion of the relay's own, and only ways out are taken.
    let mut parked = rig(Mount::new(124.0, 33.0));
    parked.open(1);
    assert!(parked.was_told(Loudness::Alarm, "from the Sun"));
    parked.run(30.0);
    assert!(parked.mount.targets.is_empty());
    assert_eq!(parked.ask(1, "P 118 28\n"), "RPRT -9\n");
    assert_eq!(parked.ask(1, "P 160 60\n"), DONE);
    parked.run(20.0);
    near(parked.mount.reading(), [160.0, 60.0], RESOLUTION);
    assert!(parked.was_told(Loudness::Note, "clear of the Sun again"));
}

#[test]
fn a_sun_that_comes_into_the_way_stops_the_mount() {
    use std::sync::atomic::{AtomicBool, Ordering};
    static IN_THE_WAY: AtomicBool = AtomicBool::new(false);
    let at = |first| {
        model(&[], DemandKind::Apparent).mount.beam_vector(
            plumbeam::angle::EncoderReading::from_degrees(first, 30.0),
            plumbeam::mount::ApproachSigns::UNKNOWN,
        )
    };
    let sun = Box::new(move |_| {
        SunPlace::Up(at(if IN_THE_WAY.load(Ordering::SeqCst) {
            175.0
        } else {
            300.0
        }))
    });
    let guarded = RelaySettings {
        zone: Some(deg(10.0)),
        ..settings()
    };
    let full = model(&[], DemandKind::Apparent);
    let mount = Mount::new(100.0, 30.0);
    let mut rig = Rig::with_sky(guarded, full, mount, ReportTurn::AsAsked, sun).ready();
    rig.open(1);
    assert_eq!(rig.ask(1, "P 170 30\n"), DONE);
    rig.run(3.0);
    IN_THE_WAY.store(true, Ordering::SeqCst);
    rig.run(2.0);
    assert_eq!(rig.stops_written.len(), 1);
    assert!(rig.was_told(Loudness::Warning, "Sun"));
    rig.run(5.0);
    assert!(rig.mount.stands());
}

#[test]
fn where_the_sun_is_unknown_nothing_moves() {
    let guarded = RelaySettings {
        zone: Some(deg(10.0)),
        ..settings()
    };
    let full = model(&[], DemandKind::Apparent);
    let mount = Mount::new(100.0, 30.0);
    let mut rig = Rig::under(guarded, full, mount, ReportTurn::AsAsked, SunPlace::Unknown).ready();
    rig.open(1);
    assert_eq!(rig.ask(1, "P 110 30\n"), "RPRT -9\n");
    rig.run(1.0);
    assert!(rig.mount.targets.is_empty());
}

#[test]
fn another_calibration_is_used_from_the_next_demand_on() {
    let mut rig = plain();
    assert_eq!(rig.ask(1, "P 104 30\n"), DONE);
    rig.run(4.0);
    let sent = rig.mount.targets.len();
    let other = model(&[(Term::AzimuthZero, 1.0)], DemandKind::Apparent);
    rig.handle(plumbeam::live::Event::Calibration(
        other,
        vec!["good within limits only".to_owned()],
    ));
    assert!(rig.was_told(Loudness::Warning, "within limits"));
    rig.run(3.0);
    assert_eq!(
        rig.mount.targets.len(),
        sent,
        "nothing is sent again by itself"
    );
    near(rig.position(1), [105.0, 30.0], RESOLUTION);
    assert_eq!(rig.ask(1, "P 104 30\n"), DONE);
    rig.run(3.0);
    near(rig.mount.reading(), [103.0, 30.0], RESOLUTION);
}
