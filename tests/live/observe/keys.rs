//! Keys and the progress display on a terminal, over sockets, against the pretended dish of simulate.

#![cfg(any(target_os = "linux", target_vendor = "apple"))]

use std::io::{Read, Write};
use std::process::{Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use rustix::termios::{LocalModes, tcgetattr};

use crate::dish::{Ended, pretended_dish};
use crate::terminal::terminal;

/// Far longer than anything takes; only a failure waits so long.
const PATIENCE: Duration = Duration::from_secs(120);

/// What the person sees until these words come.
#[track_caller]
fn sees(screen: &Receiver<Vec<u8>>, seen: &mut String, words: &str) {
    let until = Instant::now() + PATIENCE;
    while !seen.contains(words) {
        let left = until.saturating_duration_since(Instant::now());
        match screen.recv_timeout(left) {
            Ok(bytes) => seen.push_str(&String::from_utf8_lossy(&bytes)),
            Err(_) => panic!("no \"{words}\" in: {seen}"),
        }
    }
}

#[test]
fn at_a_terminal_words_begin_any_key_stops_c_goes_on_q_ends_and_the_cut_is_drawn() {
    let folder = super::verb::folder();
    let truth = "[terms]\nazimuth-zero = 0.4\n[session]\nfrom = \"2026-09-12T06:00:00Z\"\nto = \
                 \"2026-09-12T16:00:00Z\"\npeaks = 20\n[scans]\nsignal_to_noise = 300.0\n[practice]\n\
                 speed_deg_s = 20.0\nbraking_deg_s2 = 20.0\n";
    std::fs::write(folder.path().join("truth.toml"), truth).unwrap();
    let program = env!("CARGO_BIN_EXE_plumbeam");
    // With a calibration the first emitter need not be searched for.
    for arguments in [
        "simulate --truth truth.toml --out known.csv",
        "solve known.csv --out known.json",
    ] {
        let done = Command::new(program)
            .args(arguments.split(' '))
            .current_dir(folder.path())
            .output()
            .unwrap();
        assert!(done.status.success(), "{done:?}");
    }
    let (_dish, ports) = pretended_dish(folder.path());
    let (mut person, tty) = terminal();
    let mut observe = Ended(
        Command::new(program)
            .args("observe --calibration known.json --error 0.001 --sun off".split(' '))
            .arg("--rotator")
            .arg(format!("127.0.0.1:{}", ports["rotator"]))
            .arg("--power")
            .arg(format!("tcp:127.0.0.1:{}", ports["power"]))
            .env("TERM", "xterm")
            .current_dir(folder.path())
            .stdin(Stdio::from(tty.try_clone().unwrap()))
            .stdout(Stdio::null())
            .stderr(Stdio::from(tty.try_clone().unwrap()))
            .spawn()
            .unwrap(),
    );
    let (send, screen) = channel();
    let mut reads = person.try_clone().unwrap();
    std::thread::spawn(move || {
        let mut bytes = [0; 4096];
        while let Ok(count) = reads.read(&mut bytes) {
            if count == 0 || send.send(bytes[..count].to_vec()).is_err() {
                return;
            }
        }
    });
    let mut seen = String::new();
    sees(&screen, &mut seen, "type arm and Enter");
    person.write_all(b"arm\r").unwrap();
    sees(&screen, &mut seen, "type go and Enter");
    person.write_all(b"go\r").unwrap();
    // Bars of a cut, and how far it is.
    sees(&screen, &mut seen, "█");
    sees(&screen, &mut seen, "min left");
    sees(&screen, &mut seen, "cut 2 of 4");
    for key in [b"x", b" "] {
        seen.clear();
        person.write_all(key).unwrap();
        // The alarm rings.
        sees(&screen, &mut seen, "ALARM: stopped: ");
        sees(
            &screen,
            &mut seen,
            "c goes on, q ends; what was measured is in the log\u{7}",
        );
        seen.clear();
        person.write_all(b"c").unwrap();
        sees(&screen, &mut seen, "min left");
    }
    person.write_all(b"q").unwrap();
    let until = Instant::now() + PATIENCE;
    let code = loop {
        if let Some(status) = observe.0.try_wait().unwrap() {
            break status.code();
        }
        assert!(Instant::now() < until, "{seen}");
        std::thread::sleep(Duration::from_millis(20));
    };
    assert_eq!(code, Some(1));
    // The terminal is as it was, and what was measured is in the log.
    let modes = tcgetattr(&tty).unwrap().local_modes;
    assert!(modes.contains(LocalModes::ICANON | LocalModes::ECHO));
    let log = std::fs::read_to_string(folder.path().join("scans.csv")).unwrap();
    assert!(log.lines().count() > 20, "{log}");
}
