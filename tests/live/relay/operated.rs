//! The whole command as somebody at it sees it: keys of its terminal, the keyhole, the Sun.

#![cfg(any(target_os = "linux", target_vendor = "apple"))]

use std::io::Write;
use std::process::{Command, Stdio};
use std::time::Instant;

use rustix::termios::{LocalModes, tcgetattr};

use super::command::{Daemon, PATIENCE, RESOLUTION, Running, StationFolder, point};
use super::mount::Mount;
use crate::terminal::terminal;

#[test]
fn keys_stop_acknowledge_take_a_calibration_and_end() {
    let folder = StationFolder::new();
    let daemon = Daemon::new(Mount::new(100.0, 30.0));
    let (mut keys, tty) = terminal();
    let stdin = Stdio::from(tty.try_clone().unwrap());
    let mut relay = folder.start_at(&daemon, &["--sun", "off"], stdin);
    let mut tracker = relay.client();
    let mut press = |relay: &mut Running, key: &str, words: &str| {
        relay.heard.clear();
        keys.write_all(key.as_bytes()).unwrap();
        relay.hears(words);
    };
    // Any key stops, without the end of a line, and demands wait.
    for key in ["x", " ", "\r"] {
        assert_eq!(tracker.ask("P 250 30\n"), "RPRT 0\n");
        daemon.wait_for("it moves", |mount| !mount.stands());
        let before = daemon.look(|mount| mount.stops.len());
        press(&mut relay, key, "stopped by a key");
        daemon.wait_for("the stop is there", |mount| mount.stops.len() > before);
        daemon.wait_for("it stands", |mount| mount.stands());
        assert_eq!(tracker.ask("P 250 30\n"), "RPRT -9\n");
        press(&mut relay, "a", "acknowledged: demands are taken again");
    }
    press(&mut relay, "a", "there was nothing to acknowledge");
    // A jump of the reading waits for the same key.
    daemon.look(|mount| mount.jump(20.0));
    relay.hears("off the way");
    assert_eq!(tracker.ask("P 250 30\n"), "RPRT -9\n");
    press(&mut relay, "A", "acknowledged: demands are taken again");
    assert_eq!(tracker.ask("P 250 30\n"), "RPRT 0\n");
    // A calibration that was held back.
    folder.set_zero(20.0);
    relay.hears("the key c accepts it anyway");
    press(&mut relay, "c", "calibration.json was read again");
    // Its end, and the terminal is as it was.
    press(&mut relay, "q", "the key q: stopping the mount");
    assert_eq!(relay.ended().0, 0);
    daemon.wait_for("it stands", |mount| mount.stands());
    let modes = tcgetattr(&tty).unwrap().local_modes;
    assert!(modes.contains(LocalModes::ICANON | LocalModes::ECHO));
}

/// The collimation of this calibration keeps the beam 0.85 degrees from the axis.
#[test]
fn in_the_keyhole_it_holds_or_refuses_as_it_was_told() {
    for (what, reply, moves) in [("hold", "RPRT 0\n", true), ("refuse", "RPRT -9\n", false)] {
        let folder = StationFolder::new();
        let daemon = Daemon::new(Mount::new(100.0, 85.0));
        let relay = folder.start(&daemon, &["--keyhole", what, "--log", "relay.csv"]);
        let mut tracker = relay.client();
        assert_eq!(tracker.ask("P 100 89.9\n"), reply, "{what}");
        assert_eq!(daemon.look(|mount| !mount.targets.is_empty()), moves);
        // What is outside of it is taken all the same.
        assert_eq!(tracker.ask("P 100 88\n"), "RPRT 0\n", "{what}");
        relay.end("TERM");
        let log = folder.read("relay.csv");
        let row = log.lines().find(|row| row.contains("P 100 89.9"));
        assert!(row.unwrap().contains("keyhole"), "{log}");
    }
}

/// A program that knows only azimuth and elevation drives a mount of other axes.
#[test]
fn a_polar_mount_is_driven_by_azimuth_and_elevation() {
    let folder = StationFolder::new();
    let data = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/reference/mounts/polar-north");
    for name in ["station.toml", "peaks.csv", "satellites.tle"] {
        std::fs::copy(data.join(name), folder.path(name)).unwrap();
    }
    let solved = Command::new(env!("CARGO_BIN_EXE_plumbeam"))
        .args(["solve", "peaks.csv"])
        .current_dir(folder.0.path())
        .output()
        .unwrap();
    assert_eq!(solved.status.code(), Some(0));
    let wanted = point(&folder, "0,20", "200", "40");
    let daemon = Daemon::new(Mount::new(0.0, 20.0));
    let relay = folder.start(&daemon, &["--log", "relay.csv"]);
    let mut tracker = relay.client();
    assert_eq!(tracker.ask("P 200 40\n"), "RPRT 0\n");
    daemon.wait_for("the mount is where point says", |mount| {
        let at = mount.reading();
        (0..2).all(|axis| (at[axis] - wanted[axis]).abs() < RESOLUTION)
    });
    daemon.wait_for("it stands", |mount| mount.stands());
    let away = |at: &[f64]| (at[0] - 200.0).abs().max((at[1] - 40.0).abs());
    let until = Instant::now() + PATIENCE;
    while away(&tracker.position()) > 2.0 * RESOLUTION {
        assert!(
            Instant::now() < until,
            "the tracker sees where the beam points"
        );
    }
    relay.end("TERM");
    assert!(folder.read("relay.csv").contains("\n# kind = polar\n"));
}

/// Makes the place one at which the Sun stands high in the south, whatever the time: its longitude
/// is that of noon. Gives where the Sun is.
fn at_noon(folder: &StationFolder) -> (f64, f64) {
    let since_midnight = std::time::SystemTime::now()
        .duration_since(std::time::UNIX_EPOCH)
        .unwrap()
        .as_secs_f64()
        % 86_400.0;
    let longitude = 180.0 - since_midnight / 240.0;
    let text = folder.read("station.toml");
    let (text, _) = text.split_once("[[emitter]]\nname = \"moon\"").unwrap();
    let text = text
        .replace(
            "longitude_deg = 9.25",
            &format!("longitude_deg = {longitude:.3}"),
        )
        .replace("latitude_deg = 50.5", "latitude_deg = 30.0");
    std::fs::write(folder.path("station.toml"), text).unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_plumbeam"))
        .args(["sky", "sun", "--json"])
        .current_dir(folder.0.path())
        .output()
        .unwrap();
    let sky: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let degrees = |key: &str| sky["rows"][0][key].as_f64().unwrap();
    (
        degrees("apparent_azimuth_deg"),
        degrees("apparent_elevation_deg"),
    )
}

#[test]
fn the_beam_is_not_led_into_the_sun() {
    let folder = StationFolder::new();
    let (azimuth, elevation) = at_noon(&folder);
    assert!(elevation > 30.0);
    let daemon = Daemon::new(Mount::new(60.0, 20.0));
    let mut relay = folder.start_at(&daemon, &["--log", "relay.csv"], Stdio::null());
    relay.hears("deg from the Sun");
    let mut tracker = relay.client();
    assert_eq!(
        tracker.ask(&format!("P {azimuth:.2} {elevation:.2}\n")),
        "RPRT -9\n"
    );
    assert!(daemon.look(|mount| mount.targets.is_empty()));
    // Elsewhere it goes.
    assert_eq!(tracker.ask("P 80 25\n"), "RPRT 0\n");
    daemon.wait_for("it has moved", |mount| mount.reading()[0] > 65.0);
    relay.end("TERM");
    let log = folder.read("relay.csv");
    let row = log.lines().find(|row| row.contains("RPRT -9"));
    assert!(row.is_some_and(|row| row.contains("Sun")), "{log}");
    // With --sun off nothing keeps it out, which is said.
    let daemon = Daemon::new(Mount::new(azimuth - 12.0, elevation));
    let mut relay = folder.start(&daemon, &[]);
    relay.hears("the Sun is not guarded against");
    let asked = format!("P {azimuth:.2} {elevation:.2}\n");
    assert_eq!(relay.client().ask(&asked), "RPRT 0\n");
}
