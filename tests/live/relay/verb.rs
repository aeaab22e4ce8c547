//! The whole command between a tracker and a pretended daemon, over loopback sockets.

#![cfg(unix)] // signals

use std::io::{Read, Write};
use std::time::{Duration, Instant};

use super::command::{Daemon, PATIENCE, RESOLUTION, StationFolder, point};
use super::mount::{Fault, Mount};

#[test]
fn a_tracker_drives_the_mount_through_the_relay_and_the_log_tells_of_it() {
    let folder = StationFolder::new();
    let wanted = point(&folder, "100,30", "110", "35");
    let daemon = Daemon::new(Mount::new(100.0, 30.0));
    let mut relay = folder.start(&daemon, &["--log", "relay.csv"]);
    // What is limited is said.
    relay.hears("could not tell clock-offset apart");
    relay.hears("no emergency stop");
    let checksum = relay.hears("# readings = corrected:");
    let mut tracker = relay.client();
    assert_eq!(tracker.ask("P 110.00 35.00\n"), "RPRT 0\n");
    let there = |mount: &mut Mount| {
        let at = mount.reading();
        (at[0] - wanted[0]).abs() < RESOLUTION && (at[1] - wanted[1]).abs() < RESOLUTION
    };
    daemon.wait_for("the mount is where point says", there);
    let until = Instant::now() + PATIENCE;
    loop {
        let at = tracker.position();
        if (at[0] - 110.0).abs() < RESOLUTION && (at[1] - 35.0).abs() < RESOLUTION {
            break;
        }
        assert!(
            Instant::now() < until,
            "the tracker sees where the beam points: {at:?}"
        );
    }
    let (code, text) = relay.end("TERM");
    assert_eq!(code, 0);
    assert!(
        daemon.look(|mount| !mount.stops.is_empty()),
        "stopped at the end"
    );
    assert!(text.contains("On target"), "{text}");

    let log = folder.read("relay.csv");
    assert!(log.starts_with("# plumbeam relay log 1\n# station = Mill meadow\n"));
    assert!(log.contains("\n# readings = encoder\n"));
    let checksum = checksum.rsplit(':').next().unwrap().to_owned();
    assert!(log.contains(&format!("\n# calibration = {checksum}\n")));
    assert!(log.contains(",P 110.00 35.00,110,35,"), "{log}");

    let summary = folder.run(&["--summary", "relay.csv", "--report", "pass"]);
    assert_eq!(summary.status.code(), Some(0));
    let text = String::from_utf8(summary.stdout).unwrap();
    assert!(
        text.contains("On target") && text.contains("without it"),
        "{text}"
    );
    assert!(folder.read("pass/passes.html").contains("<svg"));
    assert!(folder.path("pass/pass-1.png").is_file());
    let json = folder.run(&["--summary", "relay.csv", "--json"]);
    let json: serde_json::Value = serde_json::from_slice(&json.stdout).unwrap();
    assert!(json["summary"][0]["on_target_s"].as_f64().unwrap() > 0.0);

    // Begun again, the same log grows.
    let relay = folder.start(&daemon, &["--log", "relay.csv"]);
    relay.end("INT");
    assert!(folder.read("relay.csv").starts_with(&log));
}

#[test]
fn a_web_page_cannot_move_the_mount() {
    let folder = StationFolder::new();
    let daemon = Daemon::new(Mount::new(100.0, 30.0));
    let relay = folder.start(&daemon, &[]);
    let long = "a".repeat(600);
    for request in [
        "POST / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\nP 150 30\n",
        "GET /P HTTP/1.1\r\n\r\nP 150 30\n",
        &format!("POST /{long} HTTP/1.1\r\n\r\nP 150 30\n"),
    ] {
        let mut page = relay.client();
        // It may be closed before all is written.
        let _ = page.0.write_all(request.as_bytes());
        let mut said = String::new();
        let _ = page.0.read_to_string(&mut said);
        assert!(!said.contains("RPRT 0"), "{request:?}: {said}");
    }
    // A tracker is answered as before, and finds the mount where it was.
    let at = relay.client().position();
    assert!((at[0] - 150.0).abs() > 10.0, "{at:?}");
    assert!(daemon.look(|mount| mount.stands()));
}

#[test]
fn a_stop_is_written_though_the_daemon_is_silent() {
    let folder = StationFolder::new();
    let daemon = Daemon::new(Mount::new(100.0, 30.0));
    let relay = folder.start(&daemon, &[]);
    let (mut tracker, mut other) = (relay.client(), relay.client());
    assert_eq!(tracker.ask("P 150 30\n"), "RPRT 0\n");
    daemon.wait_for("it moves", |mount| !mount.stands());
    // It hears, but no answer comes back.
    daemon.look(|mount| mount.faults = vec![Fault::Slow(Duration::from_secs(3600))]);
    tracker.send("P 152 30\np\np\n");
    assert_eq!(other.ask("S\n"), "RPRT 0\n");
    daemon.wait_for("the stop is there", |mount| !mount.stops.is_empty());
    daemon.wait_for("it stands", |mount| mount.stands());
}

#[test]
fn files_and_signals_stop_the_mount() {
    for signal in ["TERM", "INT"] {
        let folder = StationFolder::new();
        let daemon = Daemon::new(Mount::new(100.0, 30.0));
        let mut relay = folder.start(
            &daemon,
            &["--stop-file", "stop", "--ack-file", "seen", "--json"],
        );
        let mut tracker = relay.client();
        assert_eq!(tracker.ask("P 250 30\n"), "RPRT 0\n");
        daemon.wait_for("it moves", |mount| !mount.stands());
        std::fs::write(folder.path("stop"), "").unwrap();
        relay.hears("stopped by the stop file");
        daemon.wait_for("the stop is there", |mount| !mount.stops.is_empty());
        assert_eq!(tracker.ask("P 250 30\n"), "RPRT -9\n");
        std::fs::remove_file(folder.path("stop")).unwrap();
        relay.hears("the stop file is gone");
        // A jump of the reading waits for the other file.
        daemon.wait_for("it stands", |mount| mount.stands());
        daemon.look(|mount| mount.jump(20.0));
        let alarm = relay.hears("off the way");
        // Only a terminal rings; in a file the bell would be a strange character.
        assert!(alarm.starts_with("plumbeam: ALARM: "), "{alarm}");
        assert!(
            !alarm.contains("u{7}") && !alarm.contains('\u{7}'),
            "{alarm}"
        );
        assert_eq!(tracker.ask("P 250 30\n"), "RPRT -9\n");
        std::fs::write(folder.path("seen"), "").unwrap();
        relay.hears("acknowledged: demands are taken again");
        assert_eq!(tracker.ask("P 250 30\n"), "RPRT 0\n");
        daemon.wait_for("it moves", |mount| !mount.stands());
        let (code, text) = relay.end(signal);
        assert_eq!(code, 0);
        daemon.wait_for("it stands", |mount| mount.stands());
        // Every line is an object, the last one the summary.
        let lines: Vec<serde_json::Value> = text
            .lines()
            .map(|l| serde_json::from_str(l).unwrap())
            .collect();
        assert!(lines.last().unwrap()["summary"].is_array());
        assert!(lines.iter().any(|l| l["told"] == "alarm"));
        assert!(lines.iter().any(|l| l["command"] == "P 250 30"));
    }
}

#[test]
fn the_calibration_may_be_replaced_with_the_rules_of_the_stream() {
    let folder = StationFolder::new();
    let daemon = Daemon::new(Mount::new(100.0, 30.0));
    let mut relay = folder.start(&daemon, &["--ack-file", "seen"]);
    folder.set_zero(8.31);
    relay.hears("calibration.json was read again");
    let wanted = point(&folder, "100,30", "110", "30");
    let mut tracker = relay.client();
    assert_eq!(tracker.ask("P 110 30\n"), "RPRT 0\n");
    daemon.wait_for("the new one is used", |mount| {
        (mount.reading()[0] - wanted[0]).abs() < RESOLUTION
    });
    // More than a beamwidth at once is held back.
    folder.set_zero(20.0);
    relay.hears("the key c accepts it anyway");
    std::fs::write(folder.path("seen"), "").unwrap();
    relay.heard.clear();
    relay.hears("calibration.json was read again");
    // One that means nothing, or of another station, is never taken.
    let text = folder
        .read("calibration.json")
        .replace("Mill meadow", "Hill");
    std::fs::write(folder.path("calibration.json"), text).unwrap();
    relay.hears("\"Hill\"");
}

#[test]
fn what_must_not_be_used_is_refused() {
    let folder = StationFolder::new();
    let refused = |arguments: &[&str], code: i32, words: &str| {
        let output = folder.run(arguments);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(code), "{arguments:?}: {said}");
        assert!(said.contains(words), "{arguments:?}: {said}");
    };
    let usual = [
        "--calibration",
        "calibration.json",
        "--rotator",
        "127.0.0.1:1",
    ];
    let with = |more: &[&'static str]| -> Vec<&str> {
        usual.iter().copied().chain(more.iter().copied()).collect()
    };
    refused(&with(&["--listen", "0.0.0.0:0"]), 2, "no password");
    refused(&with(&["--listen", "here"]), 2, "is not an address");
    refused(&with(&["--anyway"]), 2, "--anyway");
    refused(&with(&["--azimuths", "180"]), 2, "as-asked");
    refused(&with(&["--sun", "120"]), 2, "or off");
    refused(&with(&["--leash", "0"]), 2, "above zero");
    refused(&with(&["--deadband", "-1"]), 2, "0 or more");
    refused(
        &with(&["--log", "calibration.json"]),
        2,
        "will not overwrite it",
    );
    refused(
        &with(&["--log", "station.toml"]),
        2,
        "will not overwrite it",
    );
    std::fs::write(folder.path("mine.csv"), "time_utc,emitter\n").unwrap();
    refused(&with(&["--log", "mine.csv"]), 2, "not a log of relay");
    refused(&with(&["--out", "x"]), 2, "--out");
    refused(&["--rotator", "127.0.0.1:1"], 2, "--calibration");
    refused(
        &["--calibration", "calibration.json", "--rotator", "dish"],
        2,
        "has no port",
    );
    refused(&["--summary", "mine.csv"], 3, "log of a relay");
    refused(&["--summary", "missing.csv"], 3, "missing.csv");
    let text = folder.read("calibration.json");
    std::fs::write(
        folder.path("calibration.json"),
        text.replace("Mill meadow", "Hill"),
    )
    .unwrap();
    refused(&with(&[]), 4, "a relay takes no other");
}

#[test]
fn clients_that_misbehave_harm_nobody() {
    let folder = StationFolder::new();
    let daemon = Daemon::new(Mount::new(100.0, 30.0));
    let relay = folder.start(&daemon, &[]);
    let mut bad = Vec::new();
    for k in 0..50 {
        let mut client = relay.client();
        match k % 5 {
            0 => client.send("P 1"),
            1 => client.send(&"x".repeat(10_000)),
            2 => client.send(&"_\n".repeat(500)),
            3 => client.send("\u{0}\u{1}\n\n\n;;;\n\\\n"),
            _ => client.send(&"p\n".repeat(300)),
        }
        // Some go at once, some never read.
        if k % 2 == 0 {
            bad.push(client);
        }
    }
    let mut tracker = relay.client();
    assert_eq!(tracker.ask("P 105 30\n"), "RPRT 0\n");
    let at = tracker.position();
    assert!(at.iter().all(|v| v.is_finite()));
    assert_eq!(tracker.ask("S\n"), "RPRT 0\n");
    daemon.wait_for("it stands", |mount| mount.stands());
}
