//! `plumbeam recheck`: is the mount still true?

use std::path::{Path, PathBuf};

use clap::Args as ClapArgs;

use super::calibration::TrustOption;
use super::log_options::LogArgs;
use super::readings::encoder_readings;
use super::value::{above_zero, whole};
use super::{Common, Console, Verdict};
use crate::angle::Angle;
use crate::logbook::PeakLog;
use crate::outputs::{Guard, OutputKind};
use crate::problem::Error;
use crate::recheck::{self, Old, RecheckRequest, calibration_files, history, mend, recheck};
use crate::report::{
    AfterMove, HISTORY_PAGE, RECHECK_PAGE, history_json, history_text, recheck_json, recheck_text,
    write_history, write_recheck,
};
use crate::sky::Sky;

const EXAMPLE: &str = "\
Example:
  plumbeam recheck --against calibration.json new-peaks.csv
  plumbeam recheck --against calibration.json new-peaks.csv --limit 0.2 --out joined.json
  plumbeam recheck --history calibrations/ --report history

Exit code 1 when the mount is no longer true within the limit.";

/// Check a few new peaks against an old calibration
///
/// Three peaks are enough to ask: says with which probability the old calibration is off by more
/// than the limit, what it costs, which terms moved, and whether it looks like a move of the whole
/// mount, a slip of one axis or a change in the dish; and, when it moved, what can be done by hand
/// and which command comes next. With --out it writes a calibration that joins old and new. With
/// --history it shows the calibrations in a folder through time, tells which changes are real, and
/// with --report draws them.
#[derive(ClapArgs, Clone, Debug)]
#[command(after_help = EXAMPLE)]
pub struct Args {
    /// The log of new peaks, or several; - reads standard input
    #[arg(required_unless_present = "history", value_name = "PEAKS")]
    pub peaks: Vec<PathBuf>,
    #[command(flatten)]
    pub log: LogArgs,
    /// The old calibration
    #[arg(long, value_name = "FILE", required_unless_present = "history")]
    pub against: Option<PathBuf>,
    #[command(flatten)]
    pub trust: TrustOption,
    /// The mount counts as true while its error over the sky stays within this many degrees
    /// (default: a tenth of the beamwidth)
    #[arg(long, value_name = "DEGREES", value_parser = above_zero, allow_negative_numbers = true)]
    pub limit: Option<f64>,
    /// Show the calibrations in a folder over time, and which changes are real
    #[arg(long, value_name = "DIR", conflicts_with_all = ["against", "peaks", "limit"])]
    pub history: Option<PathBuf>,
    /// Write a page into this folder, with --history one with pictures
    #[arg(long, value_name = "DIR")]
    pub report: Option<PathBuf>,
    /// Seed of everything random
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = whole::<u64>, allow_negative_numbers = true)]
    pub seed: u64,
}

/// Rechecks, or shows the history.
///
/// # Errors
/// Faulty files, or new peaks that cannot be used.
pub fn run(args: &Args, common: &Common, console: &mut Console) -> Result<Verdict, Error> {
    if let Some(folder) = &args.history {
        let mut guard = Guard::new("recheck").reads("the folder of calibrations", folder);
        for path in calibration_files(folder)? {
            guard = guard.reads("a calibration of the history", &path);
        }
        guard.standard_output()?;
        let out = guard.optional_file("--out", common.out.as_ref(), OutputKind::Text)?;
        let report = guard.optional_folder("--report", args.report.as_ref())?;
        let history = history(folder)?;
        for fault in &history.left_out {
            console.warning(&format!("left out: {}", fault.replace("\n  ", "; ")));
        }
        if common.json {
            console.json(&history_json(&history))?;
        } else {
            console.result(&history_text(&history))?;
        }
        if let Some(out) = &out {
            let text = format!("{:#}\n", history_json(&history));
            console.save("history", &text, out)?;
        }
        if let Some(folder) = &report {
            console.fill(folder, Some(HISTORY_PAGE), |dir| {
                write_history(dir, &history).map(drop)
            })?;
        }
        return Ok(Verdict::Good);
    }
    let (false, Some(against)) = (args.peaks.is_empty(), &args.against) else {
        return Err(Error::Usage(
            "recheck needs --against FILE and a log of new peaks, or --history DIR".to_owned(),
        ));
    };
    let station = common.read_station()?;
    let mut guard = Guard::new("recheck")
        .reads_station(&common.station, &station)
        .reads("the old calibration", against)
        .reads_all("the log of new peaks", &args.peaks);
    guard.standard_output()?;
    let out = guard.optional_file("--out", common.out.as_ref(), OutputKind::Calibration)?;
    let report = guard.optional_folder("--report", args.report.as_ref())?;
    let sky = Sky::new(&station)?;
    let calibration = args.trust.read(against, &station, console)?;
    let old = Old::new(calibration, &against.display().to_string())?;
    let mut log = PeakLog::read_all(&args.peaks, &station, &args.log.options())?;
    console.log(&log.taken, &log.warnings);
    let mut named: Vec<&Path> = args.peaks.iter().map(PathBuf::as_path).collect();
    named.push(against);
    encoder_readings(&mut log, &station, &named, console)?;
    let request = RecheckRequest {
        limit: args
            .limit
            .map_or(recheck::usual_limit(&station), Angle::from_degrees),
        seed: args.seed,
    };
    let found = recheck(&station, &sky, &old, &log, &request)?;
    let joined = (common.out.as_ref()).map(|path| path.display().to_string());
    let log_name = match args.peaks.as_slice() {
        [one] if one.as_os_str() == "-" => "new-peaks.csv".to_owned(),
        several => (several.iter().map(|p| p.display().to_string()))
            .collect::<Vec<_>>()
            .join(" "),
    };
    let after = AfterMove {
        remedies: &mend(&found, &station)?,
        against: &against.display().to_string(),
        log: &log_name,
        joined: joined.as_deref(),
    };
    if common.json {
        console.json(&recheck_json(&found, &after))?;
    } else {
        console.result(&recheck_text(&found, &station, &after))?;
    }
    if let Some(folder) = &report {
        console.fill(folder, Some(RECHECK_PAGE), |dir| {
            write_recheck(dir, &found, &station, &after).map(drop)
        })?;
    }
    if let Some(out) = &out {
        match &found.joined {
            Some(joined) => {
                console.save("old and new joined,", &joined.checked_json(out.path())?, out)?;
                if found.leaves_open() {
                    console.warning(
                        "the joined calibration leaves open whether the mount moved, and knows \
                         azimuth zero, tilt or what else a move may change from the new peaks alone",
                    );
                } else if matches!(found.verdict, recheck::RecheckVerdict::CannotTell(_)) {
                    console.note(
                        "it takes the change that the peaks show; whether the old calibration is \
                         beyond the limit stays open",
                    );
                }
            }
            None => console.warning(&format!(
                "{} is not written: peaks that contradict each other or the answer make no calibration",
                out.path().display()
            )),
        }
    }
    Ok(match found.verdict {
        recheck::RecheckVerdict::True => Verdict::Good,
        recheck::RecheckVerdict::Moved => Verdict::Bad,
        recheck::RecheckVerdict::CannotTell(_) => Verdict::Unsupported,
    })
}
