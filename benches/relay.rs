//! Proves the guard on many random cases, and runs a relay for simulated days:
//! `cargo bench --bench relay -- guard 1000000` and `-- hours 24`.

#![allow(clippy::print_stdout)]

#[path = "../tests/live/relay/guard.rs"]
#[allow(dead_code, unused_imports)] // its tests are not run here
mod guard;
#[path = "../tests/live/relay/mount.rs"]
mod mount;
#[path = "../tests/live/relay/rig.rs"]
mod rig;

use std::time::Instant;

use plumbeam::live::{RelaySettings, SunPlace};
use plumbeam::mount::Term;
use plumbeam::table::DemandKind;

use mount::Mount;
use rig::{Rig, deg, model, settings};

fn main() {
    let arguments: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| !a.starts_with("--"))
        .collect();
    let number = |usual: u64| {
        arguments
            .get(1)
            .map_or(usual, |n| n.parse().expect("a whole number"))
    };
    match arguments.first().map(String::as_str) {
        Some("guard") => guard_cases(number(1_000_000)),
        Some("hours") => hours(number(24)),
        _ => {
            guard_cases(number(1_000_000));
            hours(24);
        }
    }
}

fn guard_cases(cases: u64) {
    let start = Instant::now();
    let met = guard::prove(cases, 7);
    println!("guard: {cases} cases keep every promise: {met:?}");
    println!("       {:.1} s", start.elapsed().as_secs_f64());
}

/// Passes one after the other, a demand a second, a position asked for four times a second.
fn hours(hours: u64) {
    let full = model(
        &[
            (Term::AzimuthZero, 3.0),
            (Term::TiltNorth, 0.5),
            (Term::AzimuthBacklash, 0.2),
        ],
        DemandKind::Apparent,
    );
    let sun = full.mount.beam_vector(
        plumbeam::angle::EncoderReading::from_degrees(180.0, 35.0),
        plumbeam::mount::ApproachSigns::UNKNOWN,
    );
    let guarded = RelaySettings {
        zone: Some(deg(10.0)),
        ..settings()
    };
    let mut rig = Rig::under(
        guarded,
        full,
        Mount::new(100.0, 30.0),
        plumbeam::live::ReportTurn::AsAsked,
        SunPlace::Up(sun),
    )
    .ready();
    rig.open(1);
    let start = Instant::now();
    let mut commands = 0u64;
    for hour in 0..hours {
        for second in 0..3600u32 {
            // A pass of ten minutes and five of rest, each in another azimuth.
            let within = f64::from(second % 900);
            if within < 600.0 {
                let t = within / 600.0;
                let azimuth =
                    40.0 + 37.0 * f64::from(second / 900) + 25.0 * hour as f64 + 160.0 * t;
                let elevation = 5.0 + 70.0 * (std::f64::consts::PI * t).sin();
                rig.send(1, &format!("P {:.2} {elevation:.2}\n", azimuth % 360.0));
                commands += 1;
            }
            for _ in 0..4 {
                rig.send(1, "p\n");
                rig.run(0.25);
                commands += 1;
            }
            rig.read(1);
        }
        // What the relay gave away is the test's, not its own.
        rig.rows = Vec::new();
        rig.told = Vec::new();
        rig.mount.targets = Vec::new();
        rig.mount.polls = Vec::new();
        println!("hour {:2}: {commands} commands, {}", hour + 1, memory());
    }
    println!(
        "hours: {hours} simulated in {:.1} s",
        start.elapsed().as_secs_f64()
    );
}

/// What this process holds, where the system says.
fn memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    status
        .lines()
        .find(|line| line.starts_with("VmRSS"))
        .map_or_else(
            || "memory not told".to_owned(),
            |line| line.replace('\t', " "),
        )
}
