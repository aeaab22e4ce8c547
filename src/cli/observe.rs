//! `plumbeam observe`: drives a mount through what tells most, scans, records and solves.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use serde_json::json;

pub use super::observe_args::Args;
use super::observe_args::{Scan, Shape};
use super::observe_report::Reporter;
use super::observe_run::{practice, real};
use super::relay::SunOption;
use super::run_record::run_record;
use super::{Common, Console, Verdict, run_again};
use crate::angle::Angle;
use crate::files::{self, FileToRead};
use crate::logbook::{self, PowerUnit, ScanOptions, ScanReader};
use crate::observe::{
    Ending, FORMAT, Knowledge, Manner, ObservationRun, ObserveSettings, Pattern, PowerLines,
};
use crate::outputs::{Growing, Guard, OutputKind};
use crate::problem::{Error, Problem, printable};
use crate::sky::{EmitterId, Sky};
use crate::station::Station;

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
    let observation = ObservationRun::under(settings, &station, &sky);
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
) -> Result<ObserveSettings, Error> {
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
    let usual = ObserveSettings::usual(station, sky, Angle::from_degrees(args.zeros));
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
    Ok(ObserveSettings {
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
    const EXPECTED: FileToRead = FileToRead::mebibytes("a plan", 16);
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
