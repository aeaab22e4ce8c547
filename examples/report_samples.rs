//! Reports on several kinds of invented session, to look at: `cargo run --release --example
//! report_samples` writes them below `target/report-samples` and says how long each took.

#![allow(clippy::print_stdout)] // an example says what it does

use std::path::Path;
use std::time::Instant;

use plumbeam::report::{Report, write_report};
use plumbeam::simulate::{Truth, session};
use plumbeam::{Options, Sky, Station, Utc, calibration, diagnose, remedies, solve};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
    let station = Station::read(&demo.join("station.toml"))?;
    let sky = Sky::new(&station)?;
    let usual = Truth::read(&demo.join("truth.toml"))?;
    let changed = |change: &dyn Fn(&mut Truth)| {
        let mut truth = usual.clone();
        change(&mut truth);
        truth
    };
    let sessions = [
        ("usual", usual.clone()),
        (
            "unknown-north",
            changed(&|t| {
                t.terms.insert("azimuth-zero".to_owned(), -143.2);
            }),
        ),
        ("few", changed(&|t| t.session.peaks = 8)),
        ("many", changed(&|t| t.session.peaks = 2000)),
        (
            "coarse",
            changed(&|t| {
                t.noise.cross_elevation_deg = 0.8;
                t.noise.elevation_deg = 0.8;
            }),
        ),
        (
            "healthy",
            changed(&|t| {
                t.terms.clear();
                t.spoil.clear();
            }),
        ),
    ];
    for (name, truth) in sessions {
        let log = session(&station, &sky, &truth, 1)?;
        let options = Options::default();
        let outcome = solve(&station, &sky, &log, &options)?;
        let remedies = remedies(&outcome, &station);
        let diagnosis = diagnose(&station, &sky, &log, &options).ok();
        let report = Report {
            outcome: &outcome,
            station: &station,
            remedies: &remedies,
            diagnosis: diagnosis.as_ref(),
            log_name: "an invented session",
            calibration_name: "calibration.json",
            explain: true,
            created: calibration(&outcome, &station, Utc::now()).created_utc,
        };
        let folder = Path::new("target/report-samples").join(name);
        let begun = Instant::now();
        write_report(&folder, &report)?;
        println!(
            "{}: {} peaks, {:.0} ms",
            folder.display(),
            log.peaks.len(),
            begun.elapsed().as_secs_f64() * 1e3
        );
    }
    Ok(())
}
