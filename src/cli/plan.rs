//! `plumbeam plan`: what to measure.

use std::path::{Path, PathBuf};

use clap::Args as ClapArgs;

use super::calibration::TrustOption;
use super::log_options::LogHabits;
use super::readings::encoder_readings;
use super::terms::TermOptions;
use super::value::{above_zero, stretch_s};
use super::zone::{Instant, ZoneOption};
use super::{Common, Console, Verdict};
use crate::angle::Angle;
use crate::logbook::{Calibration, PeakLog};
use crate::outputs::{Guard, OutputKind};
use crate::plan::{Known, PlanRequest, plan};
use crate::problem::Error;
use crate::report::{Colour, PLAN_PAGE, plan_json, plan_text, write_plan};
use crate::sky::Sky;
use crate::solve::{Options, calibration, solve};
use crate::station::Station;
use crate::time::Utc;

const EXAMPLE: &str = "\
Example:
  plumbeam plan --from 2026-09-12T09:00:00Z --to 2026-09-12T11:00:00Z
  plumbeam plan --for 1h --each 4m --sheet sheet.csv
  plumbeam plan --from 2026-09-12T08:00 --for 10h --zone +11:00
  plumbeam plan --for 1h --peaks peaks.csv --peaks 6
  plumbeam plan --for 2h --calibration calibration.json --terms +azimuth-backlash";

/// Say what to measure, when and in which order
///
/// Chooses, among all that the station's emitters offer over a span, the peaks that together tell
/// the mount errors best, and says how well each would then be known, which would stay untold, and
/// what would tell them. When one emitter of the sky is all that can be heard, such as the Sun on a
/// small dish, the peaks are visits spread over the span, and the plan says when to come back. With
/// --calibration, or --peaks and a log, it starts from what is known already: what to measure next.
/// With --sheet it writes a log to fill in.
#[derive(ClapArgs, Clone, Debug)]
#[command(after_help = EXAMPLE)]
pub struct Args {
    /// Beginning of the span (ISO 8601 with Z or an offset, or by the clock of --zone); the next
    /// full minute, if not given
    #[arg(long, value_name = "T")]
    pub from: Option<Instant>,
    /// End of the span
    #[arg(long, value_name = "T", conflicts_with = "span")]
    pub to: Option<Instant>,
    /// Length of the span in place of its end: 45m, 2h
    #[arg(long = "for", value_name = "TIME", value_parser = stretch_s, default_value = "2h", allow_hyphen_values = true)]
    pub span: f64,
    #[command(flatten)]
    pub zone: ZoneOption,
    /// Time that one peak takes, with the move to it
    #[arg(long, value_name = "TIME", value_parser = stretch_s, default_value = "5m", allow_hyphen_values = true)]
    pub each: f64,
    /// At most this many peaks, spread over the span (40, unless told otherwise); or a log of peaks
    /// that are taken already, to plan what adds most to them. May be given for each
    #[arg(long, value_name = "N|FILE", value_parser = Peaks::parse, allow_hyphen_values = true)]
    pub peaks: Vec<Peaks>,
    #[command(flatten)]
    pub habits: LogHabits,
    /// Emitters to choose from; all that are strong enough, if none is given
    #[arg(value_name = "EMITTER")]
    pub emitters: Vec<String>,
    /// Start from what is known from this calibration
    #[arg(long, value_name = "FILE")]
    pub calibration: Option<PathBuf>,
    #[command(flatten)]
    pub trust: TrustOption,
    /// Plan for exactly these terms, separated by commas; with a + before each name, for these
    /// in addition to the two zeros, tilt and collimation
    #[arg(long, value_name = "TERMS", value_delimiter = ',')]
    pub terms: Vec<String>,
    /// One standard deviation of a peak, degrees an axis on the sky (default: the
    /// scatter of the calibration's peaks, else a twentieth of the beamwidth)
    #[arg(long, value_name = "DEGREES", value_parser = above_zero, allow_negative_numbers = true)]
    pub sigma: Option<f64>,
    /// No peaks below this elevation, except of beacons and marks
    #[arg(long, value_name = "DEGREES", default_value_t = 10.0, value_parser = elevation, allow_negative_numbers = true)]
    pub lowest: f64,
    /// Noise of receiver, feed and sky together
    #[arg(long, value_name = "KELVIN", value_parser = above_zero, allow_negative_numbers = true)]
    pub system_temperature: Option<f64>,
    /// Write a log to fill in to this file
    #[arg(long, value_name = "FILE")]
    pub sheet: Option<PathBuf>,
    /// Write pictures of the plan into this folder
    #[arg(long, value_name = "DIR")]
    pub report: Option<PathBuf>,
}

fn elevation(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(v) if (0.0..90.0).contains(&v) => Ok(v),
        _ => Err("expected degrees from 0 to below 90".to_owned()),
    }
}

/// What `--peaks` says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Peaks {
    /// This many at most.
    Most(u16),
    /// A log of those taken already.
    Taken(PathBuf),
}

impl Peaks {
    /// Peaks in a plan unless told otherwise: an evening's work, as in the library.
    const USUAL: u16 = 40;
    /// Peaks in a plan at most; far beyond what anyone observes in a night.
    const LIMIT: u16 = 2000;

    /// A number, or else the name of a file.
    fn parse(text: &str) -> Result<Peaks, String> {
        let Ok(number) = text.parse::<i128>() else {
            return Ok(Peaks::Taken(PathBuf::from(text)));
        };
        (u16::try_from(number).ok())
            .filter(|n| (1..=Peaks::LIMIT).contains(n))
            .map(Peaks::Most)
            .ok_or_else(|| format!("{number} is not in 1..={}", Peaks::LIMIT))
    }
}

/// The calibration that peaks taken already give.
fn calibration_of(
    logs: &[PathBuf],
    args: &Args,
    (station, sky): (&Station, &Sky),
    console: &mut Console,
) -> Result<Calibration, Error> {
    let mut log = PeakLog::read_all(logs, station, &args.habits.options(args.zone.zone))?;
    console.log(&log.taken, &log.warnings);
    let named: Vec<&Path> = logs.iter().map(PathBuf::as_path).collect();
    encoder_readings(&mut log, station, &named, console)?;
    let outcome = solve(station, sky, &log, &Options::default())?;
    let calibration = calibration(&outcome, station, Utc::now());
    let standing = calibration.standing(&station.site.name, station.mount.kind());
    args.trust.allow(Path::new(&log.file), &standing, console)?;
    Ok(calibration)
}

/// Makes the plan and says it.
///
/// # Errors
/// Faulty files, unknown names, or a span in which nothing can be observed.
pub fn run(args: &Args, common: &Common, console: &mut Console) -> Result<Verdict, Error> {
    let zone = args.zone.zone;
    let from = match args.zone.instant("--from", &args.from)? {
        Some(from) => from,
        None => Utc::now().next_minute(),
    };
    let to = (args.zone.instant("--to", &args.to)?).unwrap_or_else(|| from.plus_seconds(args.span));
    let station = common.read_station()?;
    let mut guard = Guard::new("plan").reads_station(&common.station, &station);
    if let Some(path) = &args.calibration {
        guard = guard.reads("the calibration", path);
    }
    let logs: Vec<PathBuf> = (args.peaks.iter())
        .filter_map(|p| match p {
            Peaks::Taken(path) => Some(path.clone()),
            Peaks::Most(_) => None,
        })
        .collect();
    guard = guard.reads_all("the log of peaks taken already", &logs);
    if args.calibration.is_some() && !logs.is_empty() {
        return Err(Error::Usage(
            "--calibration and a log with --peaks: the plan starts from one of them\n  help: \
             plumbeam recheck --against CALIBRATION LOG --out JOINED joins the two, for --calibration"
                .to_owned(),
        ));
    }
    guard.standard_output()?;
    let sheet = guard.optional_file("--sheet", args.sheet.as_ref(), OutputKind::Sheet)?;
    let out = guard.optional_file("--out", common.out.as_ref(), OutputKind::Text)?;
    let pictures = guard.optional_folder("--report", args.report.as_ref())?;
    let sky = Sky::new(&station)?;
    let known = match &args.calibration {
        Some(path) => {
            let calibration = args.trust.read(path, &station, console)?;
            Known::of(calibration, &path.display().to_string())?
        }
        None if logs.is_empty() => Known::default(),
        None => {
            let calibration = calibration_of(&logs, args, (&station, &sky), console)?;
            Known::of(calibration, &logs[0].display().to_string())?
        }
    };
    let terms = TermOptions {
        terms: args.terms.clone(),
        ..TermOptions::default()
    };
    let mut numbers = (args.peaks.iter()).filter_map(|p| match p {
        Peaks::Most(number) => Some(*number),
        Peaks::Taken(_) => None,
    });
    let most = numbers.next_back().unwrap_or(Peaks::USUAL);
    let mut request = PlanRequest {
        every_s: args.each,
        most: most.into(),
        terms: terms.options(station.mount.kind())?.terms,
        sigma: args.sigma.map(Angle::from_degrees),
        lowest: Angle::from_degrees(args.lowest),
        system_temperature_k: args.system_temperature,
        ..PlanRequest::new(&sky, from, to)
    };
    if !args.emitters.is_empty() {
        request.named = true;
        request.emitters = (args.emitters.iter())
            .map(|name| sky.emitter_named(name))
            .collect::<Result<_, _>>()?;
    }
    let mut plan = plan(&station, &sky, &known, &request)?;
    plan.assumed
        .extend(station.site.assumptions.iter().cloned());
    let text = match (common.json, &out) {
        (true, _) => format!("{:#}\n", plan_json(&plan)),
        (false, Some(_)) => plan_text(&plan, &station, Colour::Never, zone),
        (false, None) => plan_text(&plan, &station, console.colour(), zone),
    };
    console.deliver(&text, out.as_ref())?;
    if let Some(sheet) = &sheet {
        console.save("log to fill in", &plan.sheet(zone), sheet)?;
    }
    if let Some(folder) = &pictures {
        console.fill(folder, Some(PLAN_PAGE), |dir| {
            write_plan(dir, &plan, &station, zone).map(drop)
        })?;
    }
    Ok(Verdict::Good)
}
