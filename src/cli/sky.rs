//! `plumbeam sky`: where the emitters are.

use clap::Args as ClapArgs;

use super::{Common, Console, Verdict};
use crate::ephemeris::{Reach, Times, ephemeris, table};
use crate::mount::MountModel;
use crate::outputs::{Guard, OutputKind};
use crate::problem::Error;
use crate::sky::{EmitterId, Sky};
use crate::station::Station;
use crate::time::{Utc, parse_duration_s};

const EXAMPLE: &str = "\
Example:
  plumbeam sky
  plumbeam sky --at 2026-09-12T09:30:00Z sun
  plumbeam sky --from 2026-09-12T09:00:00Z --to 2026-09-12T12:00:00Z --every 15m sun moon";

/// Say where the emitters are
///
/// Prints where the beam must point for each emitter of the station file, now, at an instant
/// or over a span, how fast it moves, how far it is from the Sun, and whether the mount can
/// reach it. Reach is judged for a faultless mount within the encoder ranges and above the
/// horizon mask of the station file.
#[derive(ClapArgs, Clone, Debug)]
#[command(after_help = EXAMPLE)]
pub struct Args {
    /// The instant (ISO 8601 with Z or an offset); now, if nothing is given
    #[arg(long, value_name = "T", value_parser = Utc::parse, conflicts_with_all = ["from", "to"])]
    pub at: Option<Utc>,
    /// First instant of a span
    #[arg(long, value_name = "T", value_parser = Utc::parse, requires = "to")]
    pub from: Option<Utc>,
    /// Last instant of the span
    #[arg(long, value_name = "T", value_parser = Utc::parse, requires = "from")]
    pub to: Option<Utc>,
    /// Step through the span: 30s, 10m, 1h30m
    #[arg(long, value_name = "STEP", value_parser = parse_duration_s, default_value = "10m", requires = "from", allow_hyphen_values = true)]
    pub every: f64,
    /// Emitters by name; all, if none is given
    #[arg(value_name = "EMITTER")]
    pub emitters: Vec<String>,
}

impl Args {
    fn times(&self) -> Times {
        match (self.from, self.to) {
            (Some(from), Some(to)) => Times::Span {
                from,
                to,
                every_s: self.every,
            },
            _ => Times::At(self.at.unwrap_or_else(Utc::now)),
        }
    }
}

/// Prints the table.
///
/// # Errors
/// Faulty files, unknown emitters, or a span that makes no sense.
pub fn run(args: &Args, common: &Common, console: &mut Console) -> Result<Verdict, Error> {
    let station = Station::read(&common.station)?;
    let mut guard = Guard::new("sky").reads_station(&common.station, &station);
    guard.standard_output()?;
    let out = guard.optional_file("--out", common.out.as_ref(), OutputKind::Text)?;
    let sky = Sky::new(&station)?;
    let emitters: Vec<EmitterId> = match args.emitters.is_empty() {
        true => sky.emitters().collect(),
        false => args
            .emitters
            .iter()
            .map(|name| sky.emitter_named(name))
            .collect::<Result<_, _>>()?,
    };
    let reach = Reach::new(&station, MountModel::default());
    let found = ephemeris(&station, &sky, &reach, &emitters, args.times())?;
    for assumption in &station.site.assumptions {
        console.note(assumption);
    }
    console.note("reach is judged for a faultless mount within the encoder ranges and the mask");
    for warning in &found.warnings {
        console.warning(warning);
    }
    let text = match common.json {
        true => found.to_json(),
        false => table(&found),
    };
    console.deliver(&text, out.as_ref())?;
    Ok(Verdict::Good)
}
