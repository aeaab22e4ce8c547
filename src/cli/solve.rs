//! `plumbeam solve`: peaks to a calibration.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::Args as ClapArgs;

use super::log_options::SeveralLogs;
use super::readings::{encoder_readings, suspicion};
use super::terms::TermOptions;
use super::value::whole;
use super::{Common, Console, Verdict};
use crate::explain::explain;
use crate::faults::Diagnosis;
use crate::logbook::{PeakLog, Trust};
use crate::outputs::{Guard, OutputKind};
use crate::problem::Error;
use crate::report::{PAGE_NAME, Report, bootstrap_text, paragraph, text, unsolved, write_report};
use crate::sky::Sky;
use crate::solve::{Options, bootstrap, calibration, outcome, remedies};
use crate::time::Utc;

const EXAMPLE: &str = "\
Example:
  plumbeam solve peaks.csv --station station.toml --report report
  plumbeam solve peaks.csv --terms +axis-skew,+droop
  plumbeam reduce scans.csv | plumbeam solve -";

/// Find the mount errors that explain a log of peaks
///
/// Reads the encoder readings at which known emitters peaked, finds the mount errors that
/// explain them, with uncertainties, and writes calibration.json (or --out). With --json the
/// calibration goes to standard output and only what --out or --report ask for is written.
#[derive(ClapArgs, Clone, Debug)]
#[command(after_help = EXAMPLE)]
pub struct Args {
    /// The log of peaks, or several of one mount; - reads standard input
    #[arg(required = true, value_name = "PEAKS")]
    pub peaks: Vec<PathBuf>,
    #[command(flatten)]
    pub logs: SeveralLogs,
    #[command(flatten)]
    pub terms: TermOptions,
    /// List every decision behind the fit: p-values, information criterion, cross-validation
    #[arg(long)]
    pub explain: bool,
    /// Use every peak: do not look for bad ones
    #[arg(long)]
    pub trust_all: bool,
    /// Write pictures and a page into this folder
    #[arg(long, value_name = "DIR")]
    pub report: Option<PathBuf>,
    /// Check the uncertainties by fits to N resamplings of the peaks
    #[arg(long, value_name = "N", value_parser = whole::<usize>, allow_negative_numbers = true)]
    pub bootstrap: Option<usize>,
    /// Seed of everything random
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = whole::<u64>, allow_negative_numbers = true)]
    pub seed: u64,
}

/// Solves and writes what was requested.
///
/// # Errors
/// Faulty input, or peaks that cannot tell anything useful.
pub fn run(args: &Args, common: &Common, console: &mut Console) -> Result<Verdict, Error> {
    let station = common.read_station()?;
    let options = Options {
        seed: args.seed,
        trust_all: args.trust_all,
        zeros_per_log: args.logs.zeros_per_log,
        ..args.terms.options(station.mount.kind())?
    };
    let mut guard = Guard::new("solve")
        .reads_station(&common.station, &station)
        .reads_all("the log", &args.peaks);
    guard.standard_output()?;
    let usual = (!common.json).then(|| PathBuf::from("calibration.json"));
    let path = common.out.clone().or(usual);
    let out = guard.optional_file("--out", path.as_ref(), OutputKind::Calibration)?;
    let folder = guard.optional_folder("--report", args.report.as_ref())?;
    let sky = Sky::new(&station)?;
    let mut log = PeakLog::read_all(&args.peaks, &station, &args.logs.log.options())?;
    console.log(&log.taken, &log.warnings);
    let named: Vec<&Path> = (args.peaks.iter().chain(&path))
        .map(PathBuf::as_path)
        .collect();
    encoder_readings(&mut log, &station, &named, console)?;
    args.logs.check(&log, console)?;
    let explanation = Arc::new(explain(&station, &sky, &log, &options)?);
    let diagnosis = Diagnosis::of(explanation.clone(), &station).ok();
    let outcome = match outcome(explanation.clone(), &station) {
        Err(Error::Unsupported(why)) => {
            return Err(Error::Unsupported(unsolved(&why, diagnosis.as_ref())));
        }
        other => other?,
    };
    let mut document = calibration(&outcome, &station, Utc::now());
    document.sensible()?;
    let resampled = match args.bootstrap {
        None => None,
        Some(n) => {
            let bar = console.progress(n as u64, "resampling");
            let done = || bar.inc(1);
            let spread = bootstrap(&explanation, n, args.seed, &done)?;
            bar.finish_and_clear();
            Some(bootstrap_text(&outcome, &spread, n))
        }
    };
    document.warnings.extend(resampled.clone());
    if let Some(misread) = &outcome.misread {
        document.warnings.push(misread.clone());
    }
    if let Some(suspicion) = path.as_ref().and_then(|p| suspicion(&log, &document, p)) {
        console.warning(&suspicion);
    }
    let remedies = remedies(&outcome, &station);
    let report = Report {
        diagnosis: diagnosis.as_ref(),
        outcome: &outcome,
        station: &station,
        remedies: &remedies,
        log_name: &log.file,
        calibration_name: &path
            .as_ref()
            .map_or_else(String::new, |p| p.display().to_string()),
        explain: args.explain,
        created: document.created_utc,
    };
    if common.json {
        console.json(&document)?;
    } else {
        console.result(&text(&report, console.colour()))?;
        if let Some(words) = &resampled {
            console.result(&format!("\n{}", paragraph(words)))?;
        }
    }
    if document.trust == Trust::None {
        console.warning(
            "this calibration states that its numbers mean nothing; table, point, recheck \
             and plan refuse it unless told --anyway",
        );
    }
    // A disk that fails for one of them may serve for the other.
    let saved = out.as_ref().map_or(Ok(()), |out| {
        let text = document.checked_json(out.path())?;
        console.save("calibration", &text, out)
    });
    if let Some(folder) = &folder {
        console.fill(folder, Some(PAGE_NAME), |dir| {
            write_report(dir, &report).map(drop)
        })?;
    }
    saved.map(|()| Verdict::Good)
}
