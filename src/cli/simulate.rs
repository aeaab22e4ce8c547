//! `plumbeam simulate`: a made-up session from a known truth.

use std::path::PathBuf;

use clap::Args as ClapArgs;

use super::value::whole;
use super::{Common, Console, Verdict};
use crate::outputs::{Guard, OutputKind};
use crate::problem::Error;
use crate::report::number::counted;
use crate::simulate::{Truth, session};
use crate::sky::Sky;
use crate::station::Station;

const EXAMPLE: &str = "\
Example:
  plumbeam simulate --truth truth.toml --seed 7 --out peaks.csv

A truth file names the terms of the mount model, the noise and the session:
  [terms]
  azimuth-zero = 3.4
  tilt-north = 0.5
  [noise]
  cross_elevation_deg = 0.05
  elevation_deg = 0.05
  [session]
  from = \"2026-09-12T06:00:00Z\"
  to = \"2026-09-12T16:00:00Z\"
  peaks = 60
  approach_logged = true";

/// Make up a session from a known truth, for practice and tests
///
/// Makes the log of peaks that a mount with the faults of the truth file would give at this
/// station, with noise. The same seed gives the same session.
#[derive(ClapArgs, Clone, Debug)]
#[command(after_help = EXAMPLE)]
pub struct Args {
    /// The truth file (TOML)
    #[arg(long, value_name = "FILE")]
    pub truth: PathBuf,
    /// Seed of the noise
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = whole::<u64>, allow_negative_numbers = true)]
    pub seed: u64,
}

/// Makes up the session and writes it.
///
/// # Errors
/// Faulty files, or a session in which nothing can be observed.
pub fn run(args: &Args, common: &Common, console: &mut Console) -> Result<Verdict, Error> {
    let station = Station::read(&common.station)?;
    let mut guard = Guard::new("simulate")
        .reads_station(&common.station, &station)
        .reads("the truth", &args.truth);
    guard.standard_output()?;
    let out = guard.optional_file("--out", common.out.as_ref(), OutputKind::Log)?;
    let sky = Sky::new(&station)?;
    let truth = Truth::read(&args.truth)?;
    let log = session(&station, &sky, &truth, args.seed)?;
    let text = format!(
        "# An invented session, made by plumbeam simulate with seed {}.\n{}",
        args.seed,
        log.to_csv()
    );
    console.deliver(&text, out.as_ref())?;
    if out.is_some() {
        console.note(&counted(log.peaks.len(), "invented peak"));
    }
    Ok(Verdict::Good)
}
