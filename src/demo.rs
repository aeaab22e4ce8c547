//! Runs every step of a calibration on an invented session that is built into the program.

use std::path::{Path, PathBuf};

use std::sync::Arc;
use std::time::Duration;

use crate::explain::explain;
use crate::faults::Diagnosis;
use crate::files::write_whole;
use crate::live::Loudness;
use crate::logbook::{Calibration, PeakLog, PowerUnit};
use crate::observe::{
    Action, Ending, ObservationRun, ObserveSettings, PowerForm, PowerLines, Practised, StopCause,
    USUAL_ZEROS, practise,
};
use crate::problem::{Error, Problem};
use crate::report::{Colour, PAGE_NAME, Report, text, write_report};
use crate::simulate::{Dish, PRACTICE, Truth};
use crate::sky::Sky;
use crate::solve::{self, Options, calibration, remedies};
use crate::station::Station;
use crate::table::{Air, DemandKind, EncoderRange, FullModel, Provenance, TableRequest, table};
use crate::time::Utc;

const FILES: [(&str, &str); 4] = [
    ("station.toml", include_str!("../demo-data/station.toml")),
    (
        "satellites.tle",
        include_str!("../demo-data/satellites.tle"),
    ),
    ("peaks.csv", include_str!("../demo-data/peaks.csv")),
    ("truth.toml", include_str!("../demo-data/truth.toml")),
];

/// Result of the demo.
#[derive(Clone, Debug)]
pub struct Demo {
    /// A few lines: what it found, where the pictures are, what to try next.
    pub summary: String,
    /// The calibration that was written.
    pub calibration: Calibration,
}

/// Returns `wish`, or if that exists the first free of `wish-2`, `wish-3` …
pub fn new_folder(wish: &Path) -> PathBuf {
    let name = wish.as_os_str().to_string_lossy().into_owned();
    std::iter::once(wish.to_path_buf())
        .chain((2..).map(|n| PathBuf::from(format!("{name}-{n}"))))
        .find(|path| !path.exists())
        .unwrap_or_else(|| wish.to_path_buf())
}

/// Runs every step of a calibration in a new folder.
///
/// # Errors
/// When the folder exists already or cannot be written.
pub fn demo(folder: &Path) -> Result<Demo, Error> {
    let shown = folder.display().to_string();
    if folder.exists() {
        return Err(Problem::of_file(&shown, "exists already", "a new folder")
            .mend("name another with --into, or remove it")
            .into());
    }
    std::fs::create_dir_all(folder).map_err(|e| Error::io(&shown, "make", e))?;
    for (name, content) in FILES {
        write_whole(&folder.join(name), content.as_bytes())?;
    }
    let station = Station::read(&folder.join("station.toml"))?;
    let sky = Sky::new(&station)?;
    let log = PeakLog::read(&folder.join("peaks.csv"), &station)?;
    let explanation = Arc::new(explain(&station, &sky, &log, &Options::default())?);
    let outcome = solve::outcome(explanation.clone(), &station)?;
    let document = calibration(&outcome, &station, Utc::now());
    document.write(&folder.join("calibration.json"))?;
    let remedies = remedies(&outcome, &station);
    let diagnosis = Diagnosis::of(explanation, &station).ok();
    let report = Report {
        outcome: &outcome,
        station: &station,
        remedies: &remedies,
        diagnosis: diagnosis.as_ref(),
        log_name: "peaks.csv",
        calibration_name: "calibration.json",
        explain: false,
        created: document.created_utc,
    };
    write_whole(
        &folder.join("report.txt"),
        text(&report, Colour::Never).as_bytes(),
    )?;
    write_report(&folder.join("report"), &report)?;
    let made = table(
        &FullModel {
            mount: outcome.model,
            air: Air::for_demand(DemandKind::Geometric, station.site.weather),
            range: EncoderRange {
                azimuth: station.mount.azimuth_range,
                elevation: station.mount.elevation_range,
            },
        },
        &TableRequest::for_beam(station.dish.beamwidth),
        &Provenance {
            calibration: "calibration.json".to_owned(),
            created_utc: document.created_utc.to_string(),
            station: station.site.name.clone(),
            calibration_rms: Some(outcome.rms_after),
            beamwidth: Some(station.dish.beamwidth),
            trust: document.trust,
            reasons: document.reasons.clone(),
            expected: document.expected_pointing_error,
        },
    )?;
    write_whole(
        &folder.join("corrections.csv"),
        made.table.to_csv().as_bytes(),
    )?;
    let diameter = station.dish.diameter_m;
    let practice = practice(station, sky)?;
    let unused = outcome.peaks.iter().filter(|p| !p.used).count();
    let summary = format!(
        "\
An invented dish of {diameter} m at an invented place, {peaks} invented peaks ({unused} of them
spoilt on purpose and kept out). Pointing error, rms: {before:.2} deg before, {after:.3} deg after.

{findings}
The same dish once more, as the program calibrates it by itself (`plumbeam observe`; everything is
pretended here, minutes take seconds):
{practice}
What it wrote into {shown}:
  {page:<28} the report with its pictures: open it in a browser
  report.txt                   the same for the terminal, with what to do by hand
  calibration.json             every mount error with its uncertainty
  corrections.csv              the correction table for the mount's software
  truth.toml                   the truth behind it all, to compare

Try next, in that folder:
  plumbeam sky --at 2026-09-12T12:00:00Z
  plumbeam plan --from 2026-09-12T06:00:00Z --for 2h
  plumbeam solve peaks.csv --report report
  plumbeam faults peaks.csv
  plumbeam point --calibration calibration.json 180 35
  plumbeam desk
  plumbeam observe --practice --at 2026-09-12T08:00:00Z --out observed.csv --peaks observed-peaks.csv --result observed.json
",
        peaks = log.peaks.len(),
        before = outcome.rms_before.degrees(),
        after = outcome.rms_after.degrees(),
        findings = remedies
            .iter()
            .map(|r| format!("  {}\n", r.title))
            .collect::<String>(),
        page = format!("report/{PAGE_NAME}"),
    );
    Ok(Demo {
        summary,
        calibration: document,
    })
}

/// Start of the simulated observation.
const PRACTISED_AT: &str = "2026-09-12T08:00:00Z";

/// Lines shown of a practice: the search, how the error falls, the end.
#[derive(Default)]
struct Shown {
    lines: Vec<String>,
}

impl Practised for Shown {
    fn action(&mut self, action: Action, at: Duration) {
        let text = match action {
            Action::Tell(told) if told.loudness == Loudness::Milestone => told.text,
            Action::End(Ending::Reached) => {
                "the pointing error that was asked for is reached".to_owned()
            }
            Action::End(ending) => format!("{ending:?}"),
            _ => return,
        };
        let (seconds, text) = (at.as_secs(), text.trim_end_matches('.'));
        self.lines.push(format!(
            "  {:02}:{:02}  {text}\n",
            seconds / 60,
            seconds % 60
        ));
    }
    fn gives_up(&mut self, cause: &StopCause) -> bool {
        self.lines.push(format!("  stopped: {cause}\n"));
        true
    }
}

/// Runs an observation on a simulated dish of this station and returns the lines to show.
fn practice(station: Station, sky: Sky) -> Result<String, Error> {
    let truth = Truth::parse("the invented truth", PRACTICE)?.named_for(station.mount.kind());
    let start = Utc::parse(PRACTISED_AT).map_err(|error| Error::Unsupported(error.to_string()))?;
    let mut dish = Dish::new(&station, &sky, &truth, Vec::new(), (start, 1))?;
    let settings = ObserveSettings::usual(&station, &sky, USUAL_ZEROS);
    let (station, sky) = (Arc::new(station), Arc::new(sky));
    let observation = ObservationRun::under(settings, &station, &sky);
    let lines = PowerLines::new(PowerForm::Line, PowerUnit::Decibels);
    let mut shown = Shown::default();
    practise(observation, &mut dish, lines, start, &mut shown);
    Ok(shown.lines.concat())
}
