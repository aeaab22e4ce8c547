//! `plumbeam observe`: drives a mount through what tells most, scans, records and solves.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::{Args as ClapArgs, ValueEnum};
use serde_json::json;

use super::calibration::TrustOption;
use super::observe_report::Reporter;
use super::observe_run::{practice, real};
use super::relay::{SunOption, sun_zone};
use super::run_record::run_record;
use super::value::{above_zero, stretch_s, whole};
use super::zone::{Instant, ZoneOption};
use super::{Common, Console, Verdict, run_again};
use crate::angle::Angle;
use crate::files::{self, Expected};
use crate::logbook::{self, PowerUnit, ScanOptions, ScanReader};
use crate::observe::{
    Ending, FORMAT, Knowledge, Manner, Observation, Pattern, PowerForm, PowerLines, PowerSource,
    Settings,
};
use crate::outputs::{Growing, Guard, OutputKind};
use crate::problem::{Error, Problem, printable};
use crate::simulate::Fault;
use crate::sky::{EmitterId, Sky};
use crate::station::Station;

const EXAMPLE: &str = "\
Examples:
  plumbeam observe --practice
  plumbeam observe --rotator 127.0.0.1:4533 --power tcp:127.0.0.1:4600 --for 1h
  plumbeam observe --rotator dish.local:4533 --power serial:/dev/ttyUSB1@9600 --start-on sun
  plumbeam observe --rotator 127.0.0.1:4533 --power 'command:my-meter' --rehearse

It connects, tells everything that it would do, and waits for arm and Enter; then it moves each axis
some degrees and stops it in the middle of the move; then it waits for go and Enter. From then on any
key stops the mount; c goes on, q ends, as SIGINT (Ctrl-C) and SIGTERM do. A file named with --stop-file
stops it when it appears. docs/observe.md lists every cause of a stop with its deadline.

Caution: this moves metal by itself and is no emergency stop. Keep the isolating switch in reach and
nobody near the axes and counterweights; set a wind limit and stow in time; transmitters off. The Sun in
the beam burns the feed: never look along the dish at it. Isolate the power before touching gears. Local
codes and licensed practice go first.

Exit code 0 when the pointing error that was asked for is reached, 1 when it was broken off, 4 when the
time was over before; 2 for wrong use, 3 for bad input.";

/// Drive the mount through a calibration: scan, record, solve
///
/// Drives the mount by the open rotator protocol through the emitters that tell most, scans each both
/// ways while its place is computed anew at every sample, reads the receiver's power, judges each scan at
/// once, and ends with the calibration and the report. An uncalibrated mount is searched for on its
/// strongest emitter first. What was measured is in the logs at once; the same command takes a started
/// observation up again.
#[derive(ClapArgs, Clone, Debug)]
#[command(after_help = EXAMPLE)]
pub struct Args {
    /// The mount's daemon
    #[arg(long, value_name = "HOST:PORT", required_unless_present = "practice")]
    pub rotator: Option<String>,
    /// Where the receiver's power comes from: -, tcp:HOST:PORT, udp:ADDRESS:PORT, serial:DEVICE@BAUD or
    /// command:WORDS; each line a power, or a time and a power
    #[arg(long, value_name = "SOURCE", value_parser = PowerSource::parse, required_unless_present = "practice", allow_hyphen_values = true)]
    pub power: Option<PowerSource>,
    /// What a power is
    #[arg(long, value_enum, value_name = "UNIT", default_value_t = Unit::Db)]
    pub power_unit: Unit,
    /// How lines are written: a power, or sweeps
    #[arg(long, value_enum, value_name = "FORM", default_value_t = Form::Line)]
    pub power_form: Form,
    /// How emitters are scanned
    #[arg(long, value_enum, value_name = "PATTERN", default_value_t = Shape::Cross)]
    pub pattern: Shape,
    /// How the mount goes along each cut
    #[arg(long, value_enum, value_name = "HOW", default_value_t = Scan::Sweep)]
    pub scan: Scan,
    /// Emitters to choose from; all that are strong enough, if none is given
    #[arg(value_name = "EMITTER")]
    pub emitters: Vec<String>,
    /// Choose from the emitters of this plan (plan --json)
    #[arg(long, value_name = "FILE", conflicts_with = "emitters")]
    pub plan: Option<PathBuf>,
    /// How long it may take
    #[arg(long = "for", value_name = "TIME", value_parser = stretch_s, default_value = "1h", allow_hyphen_values = true)]
    pub span: f64,
    /// Stop when the pointing error is expected to be below this in 95 % of cases [default: a twentieth of
    /// the beamwidth]
    #[arg(long, value_name = "DEG", value_parser = above_zero, allow_hyphen_values = true)]
    pub error: Option<f64>,
    /// Start from what this calibration knows
    #[arg(long, value_name = "FILE")]
    pub calibration: Option<PathBuf>,
    #[command(flatten)]
    pub trust: TrustOption,
    /// Without a calibration: the encoders' zeros are off by no more than this
    #[arg(long, value_name = "DEG", value_parser = above_zero, default_value_t = 10.0, allow_hyphen_values = true)]
    pub zeros: f64,
    /// Without a calibration: this emitter is in the beam now, by hand
    #[arg(long, value_name = "EMITTER", conflicts_with = "calibration")]
    pub start_on: Option<String>,
    /// Without a calibration: search for this emitter first
    #[arg(long, value_name = "EMITTER")]
    pub search_on: Option<String>,
    /// The log of peaks that it writes
    #[arg(long, value_name = "FILE", default_value = "peaks.csv")]
    pub peaks: PathBuf,
    /// The calibration that it writes
    #[arg(long, value_name = "FILE", default_value = "calibration.json")]
    pub result: PathBuf,
    /// Write the report with its pictures into this folder
    #[arg(long, value_name = "DIR")]
    pub report: Option<PathBuf>,
    /// Half-angle of the zone round the Sun, or off; 3 sigma of the pointing error are added [default: the
    /// larger of 10 and 3 beamwidths]
    #[arg(long, value_name = "DEG|off", value_parser = sun_zone, allow_hyphen_values = true)]
    pub sun: Option<SunOption>,
    /// No reading is sent farther ahead of where the mount is than this
    #[arg(long, value_name = "DEG", default_value_t = 10.0, value_parser = above_zero, allow_hyphen_values = true)]
    pub leash: f64,
    /// Tell everything that would be done, and end without motion
    #[arg(long)]
    pub rehearse: bool,
    /// Stop the mount when this file appears
    #[arg(long, value_name = "FILE")]
    pub stop_file: Option<PathBuf>,
    /// Send stops over the same connection as everything else, for a daemon that takes only one
    #[arg(long)]
    pub one_connection: bool,
    /// Practise on a pretended mount and receiver inside the program: an hour takes seconds
    #[arg(long, conflicts_with_all = ["rotator", "power", "stop_file"])]
    pub practice: bool,
    /// Practice: the truth behind the pretended mount, as for simulate [default: an invented one]
    #[arg(long, value_name = "FILE", requires = "practice")]
    pub truth: Option<PathBuf>,
    /// Practice: let this go wrong, NAME[=SIZE]@SECONDS[+SECONDS] after the first motion, such as
    /// stuck-axis-1@300; may be given again
    #[arg(long, value_name = "FAULT", requires = "practice", value_parser = Fault::parse)]
    pub fault: Vec<Fault>,
    /// Practice: seed of the noise
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = whole::<u64>, allow_negative_numbers = true)]
    pub seed: u64,
    /// Practice: when it begins [default: now]
    #[arg(long, value_name = "T", requires = "practice")]
    pub at: Option<Instant>,
    #[command(flatten)]
    pub zone: ZoneOption,
}

/// `--power-unit`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Unit {
    /// Decibels, from any zero
    Db,
    /// In proportion to power
    Linear,
    /// Counts of a detector, in proportion to power
    Counts,
}

impl Unit {
    /// The same for the readers.
    pub fn unit(self) -> PowerUnit {
        match self {
            Unit::Db => PowerUnit::Decibels,
            Unit::Linear => PowerUnit::Linear,
            Unit::Counts => PowerUnit::Counts,
        }
    }
}

/// `--power-form`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Form {
    /// `power`, or `time_utc,power`
    Line,
    /// Date, time, lowest and highest frequency, step, samples, powers in decibels
    Sweep,
}

impl Form {
    /// The same for the readers.
    pub fn form(self) -> PowerForm {
        match self {
            Form::Line => PowerForm::Line,
            Form::Sweep => PowerForm::Sweep,
        }
    }
}

/// `--scan`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Scan {
    /// Steadily, sampled on the way: quick; passes at two speeds tell lag from backlash
    Sweep,
    /// By steps, sampled while the mount stands: some four times as long; for a mount that does not move
    /// steadily or a receiver that answers late
    Dwell,
}

/// `--pattern`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Shape {
    /// Both ways along each axis
    Cross,
    /// Rows
    Raster,
}

/// Runs it.
///
/// # Errors
/// Faulty files, unknown names, a receiver that cannot be had.
pub fn run(args: &Args, common: &Common, console: &mut Console) -> Result<Verdict, Error> {
    let station = Arc::new(common.read_station()?);
    let mut guard = Guard::new("observe").reads_station(&common.station, &station);
    for (what, file) in [
        ("the plan", &args.plan),
        ("the calibration", &args.calibration),
        ("the truth", &args.truth),
        ("the stop file", &args.stop_file),
    ] {
        if let Some(file) = file {
            guard = guard.reads(what, file);
        }
    }
    guard.standard_output()?;
    let scans_path = common
        .out
        .clone()
        .unwrap_or_else(|| PathBuf::from("scans.csv"));
    let log = guard.growing("--out", &scans_path, FORMAT)?;
    let peaks = guard.file("--peaks", &args.peaks, OutputKind::Log)?;
    guard.file("--result", &args.result, OutputKind::Calibration)?;
    guard.optional_folder("--report", args.report.as_ref())?;
    if args.stop_file.as_ref().is_some_and(|file| file.exists()) {
        return Err(Error::Usage(
            "the stop file is there already: remove it first".to_owned(),
        ));
    }
    for assumption in &station.site.assumptions {
        console.note(assumption);
    }
    let sky = Arc::new(Sky::new(&station)?);
    let (earlier, unit) = started(&log, &station, args, console)?;
    let settings = settings(args, (&station, &sky), earlier, unit, console)?;
    let lines = PowerLines::new(args.power_form.form(), unit);
    let goes_on = !settings.scans.is_empty();
    let observation = Observation::under(settings, &station, &sky);
    caution(args, console);
    let kind = station.mount.geometry.kind();
    let stop_file = args.stop_file.as_deref();
    let record = (args.rotator.as_deref())
        .filter(|_| !args.rehearse)
        .and_then(|rotator| {
            let about = (rotator, Some(log.path()), stop_file);
            run_record("observe", common, about, console)
        });
    let mut reporter = Reporter::new(&log, peaks, (kind, unit, goes_on), common, console)?;
    let ending = match args.practice {
        true => practice(args, (&station, &sky), observation, lines, &mut reporter)?,
        false => real(args, record, observation, lines, &mut reporter)?,
    };
    reporter.finish(&ending)?;
    finish(args, common, console, &ending, &log)
}

/// What is said before anything moves.
fn caution(args: &Args, console: &mut Console) {
    if args.practice {
        console.note("practice: everything is pretended, nothing moves");
        return;
    }
    console.warning(
        "this moves metal by itself and is no emergency stop: isolating switch within reach, nobody near \
         the axes and counterweights, a wind limit set, transmitters off",
    );
}

/// The scans of an observation that was started before, and what powers are.
fn started(
    log: &Growing,
    station: &Station,
    args: &Args,
    console: &mut Console,
) -> Result<(Vec<logbook::Scan>, PowerUnit), Error> {
    let path = log.path();
    let unit = args.power_unit.unit();
    let empty = std::fs::metadata(path).map_or(true, |m| m.len() == 0);
    if empty {
        return Ok((Vec::new(), unit));
    }
    log.end_last_line()?;
    let text = std::fs::read_to_string(path)
        .map_err(|e| Error::io(&path.display().to_string(), "read", e))?;
    let rows = text.lines().filter(|line| !line.starts_with('#')).count();
    // A header and nothing below it.
    if rows < 2 {
        return Ok((Vec::new(), unit));
    }
    let options = ScanOptions::default();
    let name = path.display().to_string();
    let mut reader = ScanReader::new(&name, text.as_bytes(), station, &options)?;
    let written = reader.power_unit();
    let mut scans = Vec::new();
    while let Some(scan) = reader.next_scan()? {
        scans.push(scan);
    }
    if written != unit {
        return Err(Error::Usage(format!(
            "--out {} holds {}, and --power-unit says {}: name another log, or the same unit",
            printable(&name),
            written.column(),
            unit.column()
        )));
    }
    for remark in reader.remarks() {
        console.warning(&remark);
    }
    console.note(&format!(
        "{} is taken up where it stopped: {} scans",
        printable(&name),
        scans.len()
    ));
    Ok((scans, unit))
}

fn settings(
    args: &Args,
    (station, sky): (&Arc<Station>, &Arc<Sky>),
    scans: Vec<logbook::Scan>,
    unit: PowerUnit,
    console: &mut Console,
) -> Result<Settings, Error> {
    let named = |name: &String| -> Result<EmitterId, Error> { Ok(sky.emitter_named(name)?) };
    let mut names = args.emitters.clone();
    if let Some(plan) = &args.plan {
        names = emitters_of(plan)?;
    }
    let emitters: Vec<EmitterId> = match names.is_empty() {
        true => sky.emitters().collect(),
        false => names.iter().map(named).collect::<Result<_, _>>()?,
    };
    if emitters.is_empty() {
        return Err(Error::Unsupported(
            "the station file has no emitter".to_owned(),
        ));
    }
    let usual = Settings::usual(station, sky, Angle::from_degrees(args.zeros));
    let prior = match &args.calibration {
        None => usual.prior.clone(),
        Some(path) => {
            let calibration = args.trust.read(path, station, console)?;
            Knowledge::of(calibration, &path.display().to_string())?
        }
    };
    let zone = match args.sun {
        Some(SunOption::Off) => {
            console.warning("the Sun is not guarded against (--sun off): it burns the feed");
            None
        }
        Some(SunOption::Radius(radius)) => Some(radius),
        None => usual.zone,
    };
    let wanted = (args.error).map_or(usual.wanted, Angle::from_degrees);
    console.note(&format!(
        "it ends when the pointing error is expected to be below {:.3} deg in 95 % of cases, or after {:.0} \
         minutes",
        wanted.degrees(),
        args.span / 60.0
    ));
    Ok(Settings {
        zone,
        leash: Angle::from_degrees(args.leash),
        wanted,
        for_s: args.span,
        named: !names.is_empty(),
        emitters,
        search_on: args.search_on.as_ref().map(named).transpose()?,
        start_on: args.start_on.as_ref().map(named).transpose()?,
        unit,
        uncalibrated: args.calibration.is_none(),
        zeros: (args.calibration.is_none() && args.start_on.is_none())
            .then(|| Angle::from_degrees(args.zeros)),
        prior,
        pattern: match args.pattern {
            Shape::Cross => Pattern::Cross,
            Shape::Raster => Pattern::Raster,
        },
        manner: match args.scan {
            Scan::Sweep => Manner::Sweep,
            Scan::Dwell => Manner::Dwell,
        },
        rehearse: args.rehearse,
        own_stop: !args.one_connection,
        scans,
        ..usual
    })
}

/// The emitters of a plan, each once.
fn emitters_of(path: &Path) -> Result<Vec<String>, Error> {
    const EXPECTED: Expected = Expected::mebibytes("a plan", 16);
    let (name, bytes) = files::read_bytes(path, EXPECTED)?;
    let no_plan = || {
        Error::from(
            Problem::of_file(&name, "no plan", "what plumbeam plan --json prints")
                .mend("plumbeam plan --for 1h --json --out plan.json"),
        )
    };
    let document: serde_json::Value = serde_json::from_slice(&bytes).map_err(|_| no_plan())?;
    let steps = document["steps"].as_array().ok_or_else(no_plan)?;
    let mut names: Vec<String> = Vec::new();
    for step in steps {
        let name = step["emitter"].as_str().ok_or_else(no_plan)?;
        if !names.iter().any(|known| known == name) {
            names.push(name.to_owned());
        }
    }
    match names.is_empty() {
        true => Err(no_plan()),
        false => Ok(names),
    }
}

/// The calibration and the report, as `solve` makes them of the log.
fn finish(
    args: &Args,
    common: &Common,
    console: &mut Console,
    ending: &Ending,
    log: &Growing,
) -> Result<Verdict, Error> {
    let verdict = match ending {
        Ending::Reached | Ending::Rehearsed => Verdict::Good,
        Ending::Over(_) => Verdict::Unsupported,
        Ending::BrokenOff(_) => Verdict::Bad,
    };
    if matches!(ending, Ending::Rehearsed) || !args.peaks.exists() {
        if common.json {
            console.json(&json!({ "ended": Reporter::words(ending) }))?;
        }
        return Ok(verdict);
    }
    if !matches!(ending, Ending::Reached) {
        console.note(&format!(
            "the same command goes on where {} stops",
            log.path().display()
        ));
    }
    let mut arguments: Vec<std::ffi::OsString> = vec![
        "plumbeam".into(),
        "--station".into(),
        common.station.clone().into(),
        "--out".into(),
        args.result.clone().into(),
    ];
    if common.json {
        arguments.push("--json".into());
    }
    if common.quiet {
        arguments.push("--quiet".into());
    }
    arguments.push("solve".into());
    if let Some(folder) = &args.report {
        arguments.push("--report".into());
        arguments.push(folder.clone().into());
    }
    arguments.push("--".into());
    arguments.push(args.peaks.clone().into());
    match run_again(arguments, console) {
        Ok(_) => Ok(verdict),
        // Too few peaks are no fault of a file: what was measured is there for the next time.
        Err(why @ (Error::Unsupported(_) | Error::Because(_))) => {
            console.warning(&why.to_string());
            Ok(match verdict {
                Verdict::Good => Verdict::Unsupported,
                other => other,
            })
        }
        Err(other) => Err(other),
    }
}
