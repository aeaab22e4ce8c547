//! `plumbeam reduce`: raw signal scans to peaks.

use std::io::{BufReader, IsTerminal, Read};
use std::path::{Path, PathBuf};

use clap::{Args as ClapArgs, ValueEnum};
use indicatif::{ProgressBar, ProgressStyle};

use super::log_options::LogArgs;
use super::value::stretch_s;
use super::{Common, Console, Verdict};
use crate::logbook::{Angles, Band, ScanOptions, ScanReader};
use crate::outputs::{Guard, OutputKind};
use crate::problem::Error;
use crate::report;
use crate::scan::{self, AssumedNoise, NoiseLaw, ReduceOptions, Reduction};
use crate::sky::Sky;
use crate::station::Station;

const EXAMPLE: &str = "\
Example:
  plumbeam reduce scans.csv --station station.toml --out peaks.csv
  plumbeam reduce scans.csv --report scans-report | plumbeam solve -
  plumbeam reduce power.txt --emitter sun --zone +02:00 --out peaks.csv
  plumbeam reduce sweeps.csv --angles angles.csv --band 1697..1699 --emitter sun --zone +02:00";

/// Find the peaks in raw signal scans
///
/// Reads the power that was logged while the dish moved over known emitters (cuts along one
/// axis, crosses, rasters), fits the beam to each scan and writes the peaks: encoder readings
/// with their uncertainties, to standard output or --out. Lag between position and power is
/// found and corrected where passes both ways at two speeds determine it from backlash, which is
/// handed on by the approach columns. Scans without a trustworthy peak are refused, and said
/// why.
#[derive(ClapArgs, Clone, Debug)]
#[command(after_help = EXAMPLE)]
pub struct Args {
    /// The log of scans, or of power with the mount's angles, or of sweeps; - reads standard input
    pub scans: PathBuf,
    #[command(flatten)]
    pub log: LogArgs,
    /// A file with the angles of the mount by time, for logs of power that have none
    #[arg(long, value_name = "FILE")]
    pub angles: Option<PathBuf>,
    /// Sum the powers of a sweep over this band, in MHz; all of it when not given
    #[arg(long, value_name = "LOW..HIGH", value_parser = Band::parse)]
    pub band: Option<Band>,
    /// Where no column names the scans: a pause of this length begins a new one
    #[arg(long, value_name = "TIME", value_parser = stretch_s, allow_hyphen_values = true)]
    pub pause: Option<f64>,
    /// Write pictures of every scan and one sheet of all into this folder
    #[arg(long, value_name = "DIR")]
    pub report: Option<PathBuf>,
    /// How the noise of a sample depends on its power; found from the scans when not given
    #[arg(long, value_name = "LAW")]
    pub noise: Option<NoiseChoice>,
}

/// How the noise depends on the power.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum NoiseChoice {
    /// The same whatever the power
    Steady,
    /// In proportion to the whole power, as in a total-power receiver
    Radiometer,
}

impl NoiseChoice {
    fn law(self) -> NoiseLaw {
        match self {
            NoiseChoice::Steady => NoiseLaw::Steady,
            NoiseChoice::Radiometer => NoiseLaw::Radiometer,
        }
    }
}

/// Reduces and writes what was requested.
///
/// # Errors
/// Faulty input.
pub fn run(args: &Args, common: &Common, console: &mut Console) -> Result<Verdict, Error> {
    let station = common.read_station()?;
    let mut guard = Guard::new("reduce")
        .reads_station(&common.station, &station)
        .reads("the log of scans", &args.scans);
    guard.standard_output()?;
    let out = guard.optional_file("--out", common.out.as_ref(), OutputKind::Log)?;
    let pictures = guard.optional_folder("--report", args.report.as_ref())?;
    let sky = Sky::new(&station)?;
    let options = ReduceOptions {
        noise: args.noise.map_or(AssumedNoise::Found, |choice| {
            AssumedNoise::Given(choice.law())
        }),
        keep_curves: args.report.is_some(),
    };
    let log = args.log.options();
    let angles = (args.angles.as_deref())
        .map(|path| Angles::read(path, &station, &log))
        .transpose()?;
    let reading = ScanOptions {
        log,
        angles,
        band: args.band,
        pause_s: args.pause,
    };
    let (reduction, taken) = read_and_reduce(
        &args.scans,
        &reading,
        common.quiet,
        &station,
        &sky,
        &options,
    )?;
    console.log(&taken, &reduction.remarks);
    for line in reduction.summary() {
        console.note(&line);
    }
    if common.json {
        console.json(&reduction.document())?;
    }
    if out.is_some() || !common.json {
        console.deliver(&reduction.to_csv(), out.as_ref())?;
    }
    if let Some(folder) = &pictures {
        console.fill(folder, Some(report::SCANS_PAGE), |dir| {
            report::write_scans(dir, &reduction, &station).map(drop)
        })?;
    }
    Ok(if reduction.has_peaks() {
        Verdict::Good
    } else {
        Verdict::Unsupported
    })
}

fn read_and_reduce(
    path: &Path,
    reading: &ScanOptions,
    quiet: bool,
    station: &Station,
    sky: &Sky,
    options: &ReduceOptions,
) -> Result<(Reduction, Vec<String>), Error> {
    let bar = progress(path, quiet);
    let counted = |input| BufReader::with_capacity(READ_BUFFER, bar.wrap_read(Plain(input)));
    let mut reader = ScanReader::open(path, station, reading, counted)?;
    let reduction = scan::reduce(&mut reader, station, sky, options);
    bar.finish_and_clear();
    Ok((reduction?, reader.taken()))
}

/// Bytes read at once, so that calls to the system cost little beside the parsing.
const READ_BUFFER: usize = 1 << 18;

/// A reader and nothing more.
struct Plain(Box<dyn std::io::BufRead + Send>);

impl Read for Plain {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        self.0.read(buffer)
    }
}

/// A bar on standard error, only where someone can see it.
fn progress(path: &Path, quiet: bool) -> ProgressBar {
    if quiet || !std::io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let template = "{spinner} {bytes} of {total_bytes} {wide_bar} {eta}";
    match std::fs::metadata(path) {
        Ok(file) if file.is_file() => match ProgressStyle::with_template(template) {
            Ok(style) => ProgressBar::new(file.len()).with_style(style),
            Err(_) => ProgressBar::new(file.len()),
        },
        _ => ProgressBar::new_spinner(),
    }
}
