//! `plumbeam table`: a calibration to correction tables.

use std::path::PathBuf;

use clap::{Args as ClapArgs, ValueEnum};

use super::calibration::{FeedOption, TrustOption, full_model};
use super::demand::{DemandOption, Pair};
use super::value::whole;
use super::{Common, Console, Verdict};
use crate::angle::Angle;
use crate::outputs::{Guard, OutputKind};
use crate::problem::Error;
use crate::report::expected_words;
use crate::table::{Provenance, TableRequest, c_header, firmware_table, table};

const EXAMPLE: &str = "\
Examples:
  plumbeam table --calibration calibration.json --out corrections.csv
  plumbeam table --calibration calibration.json --demand geometric --format json
  plumbeam table --calibration calibration.json --format c-header --max-bytes 2000 --out table.h

The correction is what is ADDED to a demanded direction to get the encoder reading to command.
Near the zenith the azimuth correction grows without bound; the table ends below that and says
where. Above its end firmware must refuse, or use `plumbeam point`.

Caution: a wrong table drives the dish where it should not go. Try it at low speed with a hand on
the stop, and never bring the beam near the Sun without a plan: it heats the feed.";

/// How the table is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// Rows of text with a header of comments
    Csv,
    /// One JSON document
    Json,
    /// A C header for firmware: scaled integers and their look-up
    CHeader,
}

/// Write the correction table that the mount's software applies
///
/// Turns a calibration into corrections on a regular grid of demands. The grid is as coarse as
/// the tolerance allows, by default a hundredth of the beam; the largest error against the full
/// model is measured and written into the header. The table goes to standard output, or --out.
#[derive(ClapArgs, Clone, Debug)]
#[command(after_help = EXAMPLE)]
pub struct Args {
    /// The calibration that solve wrote; - reads standard input
    #[arg(long, value_name = "FILE")]
    pub calibration: PathBuf,
    #[command(flatten)]
    pub feed: FeedOption,
    #[command(flatten)]
    pub trust: TrustOption,
    #[command(flatten)]
    pub demand: DemandOption,
    /// How to write it [default: csv, or json with --json]
    #[arg(long, value_enum)]
    pub format: Option<Format>,
    /// Largest interpolation error allowed, degrees on the sky [default: beamwidth / 100]
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    pub tolerance: Option<f64>,
    /// Lowest demanded elevation, degrees [default: what the mount reaches, not below the horizon]
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    pub lowest: Option<f64>,
    /// Highest demanded elevation, degrees [default: as high as the tolerance can be kept]
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    pub highest: Option<f64>,
    /// Your own grid steps in azimuth and elevation, degrees
    #[arg(long, value_name = "AZ,EL", allow_hyphen_values = true)]
    pub step: Option<Pair>,
    /// Most bytes for the constants of a C header; the error that results is stated
    #[arg(long, value_name = "N", value_parser = whole::<usize>, allow_negative_numbers = true)]
    pub max_bytes: Option<usize>,
}

/// Makes the table and writes it.
///
/// # Errors
/// Faulty input, or a tolerance that no sensible table can keep.
pub fn run(args: &Args, common: &Common, console: &mut Console) -> Result<Verdict, Error> {
    let format = match (args.format, common.json) {
        (None, false) => Format::Csv,
        (None, true) | (Some(Format::Json), _) => Format::Json,
        (Some(other), false) => other,
        (Some(_), true) => {
            return Err(Error::Usage(
                "--json and another --format contradict each other; leave one out".to_owned(),
            ));
        }
    };
    if args.max_bytes.is_some() && format != Format::CHeader {
        return Err(Error::Usage(
            "--max-bytes is for --format c-header only".to_owned(),
        ));
    }
    let station = common.read_station()?;
    let mut guard = Guard::new("table")
        .reads_station(&common.station, &station)
        .reads("the calibration", &args.calibration);
    guard.standard_output()?;
    let out = guard.optional_file("--out", common.out.as_ref(), OutputKind::Table)?;
    let calibration = args.trust.read(&args.calibration, &station, console)?;
    let full = full_model(&calibration, &station, args.demand.kind())?;
    let full = args.feed.of(full, &calibration, &station)?;
    let usual = TableRequest::for_beam(station.dish.beamwidth);
    let request = TableRequest {
        tolerance: args.tolerance.map_or(usual.tolerance, Angle::from_degrees),
        lowest: args.lowest.map(Angle::from_degrees),
        highest: args.highest.map(Angle::from_degrees),
        steps: args.step.map(Pair::angles),
    };
    let file = match &args.feed.feed {
        Some(feed) => format!("{}, feed {feed}", args.calibration.display()),
        None => args.calibration.display().to_string(),
    };
    let provenance = Provenance::of(&calibration, &file, &station);
    let (text, notes, warnings) = match format {
        Format::CHeader => {
            let done = firmware_table(&full, &request, &provenance, args.max_bytes)?;
            (c_header(&done.table), done.notes, done.warnings)
        }
        Format::Csv => {
            let done = table(&full, &request, &provenance)?;
            (done.table.to_csv(), done.notes, done.warnings)
        }
        Format::Json => {
            let done = table(&full, &request, &provenance)?;
            (done.table.to_json(), done.notes, done.warnings)
        }
    };
    if let Some(expected) = &calibration.expected_pointing_error {
        console.note(&expected_words(expected));
    }
    for note in notes {
        console.note(&note);
    }
    if station.mount.fixed_declination.is_some() {
        console.warning(
            "the declination axis has no motor: its corrections cannot be commanded, they say how far \
             the beam passes beside",
        );
    }
    for warning in warnings {
        console.warning(&warning);
    }
    console.deliver(&text, out.as_ref())?;
    Ok(Verdict::Good)
}
