//! `plumbeam faults`: residuals to named faults.

use std::path::{Path, PathBuf};

use clap::Args as ClapArgs;

use super::calibration::TrustOption;
use super::log_options::SeveralLogs;
use super::readings::encoder_readings;
use super::terms::TermOptions;
use super::value::whole;
use super::{Common, Console, Verdict};
use crate::faults::{Options, diagnose};
use crate::logbook::{Calibration, PeakLog, Standing};
use crate::outputs::{Guard, OutputKind};
use crate::problem::Error;
use crate::report::{FAULTS_PAGE, faults_json, faults_text, write_faults};
use crate::sky::Sky;
use crate::solve::record::{held_of, model_of};

const EXAMPLE: &str = "\
Example:
  plumbeam faults peaks.csv --station station.toml --report faults
  plumbeam faults peaks.csv --calibration calibration.json
  plumbeam faults peaks.csv --json --strict

Exit code 1 with --strict when a fault is found.";

/// Name the mechanical faults and the mistakes behind a log of peaks
///
/// Fits named causes together with the mount errors, lets them compete, and lists those that the
/// peaks support, the best-supported first: how large, on what evidence, how to confirm each by
/// hand, how to mend it, and what would be seen if it were something else. Causes that these
/// peaks cannot tell apart are named together, with the observation that would tell.
#[derive(ClapArgs, Clone, Debug)]
#[command(after_help = EXAMPLE)]
pub struct Args {
    /// The log of peaks, or several of one mount; - reads standard input
    #[arg(required = true, value_name = "PEAKS")]
    pub peaks: Vec<PathBuf>,
    #[command(flatten)]
    pub logs: SeveralLogs,
    /// Begin from this calibration and hold what it holds; without it the mount errors are found
    /// first
    #[arg(long, value_name = "FILE")]
    pub calibration: Option<PathBuf>,
    #[command(flatten)]
    pub trust: TrustOption,
    /// Exit with code 1 when a fault is found
    #[arg(long)]
    pub strict: bool,
    #[command(flatten)]
    pub terms: TermOptions,
    /// Write a page and a picture for each fault into this folder
    #[arg(long, value_name = "DIR")]
    pub report: Option<PathBuf>,
    /// Seed of everything random
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = whole::<u64>, allow_negative_numbers = true)]
    pub seed: u64,
}

/// Diagnoses and says what was found.
///
/// # Errors
/// Faulty input, or too few peaks to judge anything.
pub fn run(args: &Args, common: &Common, console: &mut Console) -> Result<Verdict, Error> {
    let station = common.read_station()?;
    let mut options = Options {
        seed: args.seed,
        zeros_per_log: args.logs.zeros_per_log,
        ..args.terms.options(station.mount.kind())?
    };
    let mut guard = Guard::new("faults")
        .reads_station(&common.station, &station)
        .reads_all("the log", &args.peaks);
    if let Some(path) = &args.calibration {
        guard = guard.reads("the calibration", path);
    }
    guard.standard_output()?;
    let out = guard.optional_file("--out", common.out.as_ref(), OutputKind::Text)?;
    let report = guard.optional_folder("--report", args.report.as_ref())?;
    let sky = Sky::new(&station)?;
    if let Some(path) = &args.calibration {
        let calibration = Calibration::read(path)?;
        let standing = calibration.standing(&station.site.name, station.mount.kind());
        // One that means nothing may still be examined: this is where to find out why.
        let foreign = Standing {
            foreign: standing.foreign,
            ..Standing::default()
        };
        args.trust.allow(path, &foreign, console)?;
        options.begin = Some(*model_of(&calibration)?.terms());
        for (term, value) in held_of(&calibration)? {
            if !options.holds.iter().any(|(t, _)| *t == term) {
                options.holds.push((term, value));
            }
        }
    }
    let mut log = PeakLog::read_as_written(&args.peaks, &station, &args.logs.log.options())?;
    let named: Vec<&Path> = (args.peaks.iter().chain(&args.calibration))
        .map(PathBuf::as_path)
        .collect();
    encoder_readings(&mut log, &station, &named, console)?;
    console.log(&log.taken, &log.warnings);
    args.logs.check(&log, console)?;
    let diagnosis = diagnose(&station, &sky, &log, &options)?;
    if common.json {
        console.json(&faults_json(&diagnosis))?;
    } else {
        console.result(&faults_text(&diagnosis))?;
    }
    if let Some(out) = &out {
        let text = format!("{:#}\n", faults_json(&diagnosis));
        console.save("findings", &text, out)?;
    }
    if let Some(folder) = &report {
        console.fill(folder, Some(FAULTS_PAGE), |dir| {
            write_faults(dir, &diagnosis, &station, &log.file).map(drop)
        })?;
    }
    Ok(if args.strict && !diagnosis.findings.is_empty() {
        Verdict::Bad
    } else {
        Verdict::Good
    })
}
