//! `plumbeam sky`: where the emitters are.

use clap::Args as ClapArgs;

use super::zone::{Instant, ZoneOption};
use super::{Common, Console, Verdict};
use crate::ephemeris::{Reach, Times, ephemeris, table};
use crate::mount::MountModel;
use crate::outputs::{Guard, OutputKind};
use crate::problem::Error;
use crate::sky::{EmitterId, Sky};
use crate::time::{Utc, parse_duration_s};

const EXAMPLE: &str = "\
Example:
  plumbeam sky
  plumbeam sky --at 2026-09-12T09:30:00Z sun
  plumbeam sky --from 2026-09-12T09:00:00Z --to 2026-09-12T12:00:00Z --every 15m sun moon
  plumbeam sky --from 2026-09-12T20:00 --to 2026-09-12T23:00 --zone +11:00";

/// Say where the emitters are
///
/// Prints where the beam must point for each emitter of the station file, now, at an instant
/// or over a span, how fast it moves, how far it is from the Sun, and whether the mount can
/// reach it. Reach is judged for a faultless mount within the encoder ranges and above the
/// horizon mask of the station file.
#[derive(ClapArgs, Clone, Debug)]
#[command(after_help = EXAMPLE)]
pub struct Args {
    /// The instant (ISO 8601 with Z or an offset, or by the clock of --zone); now, if nothing is
    /// given
    #[arg(long, value_name = "T", conflicts_with_all = ["from", "to"])]
    pub at: Option<Instant>,
    /// First instant of a span
    #[arg(long, value_name = "T", requires = "to")]
    pub from: Option<Instant>,
    /// Last instant of the span
    #[arg(long, value_name = "T", requires = "from")]
    pub to: Option<Instant>,
    /// Step through the span: 30s, 10m, 1h30m
    #[arg(long, value_name = "STEP", value_parser = parse_duration_s, default_value = "10m", requires = "from", allow_hyphen_values = true)]
    pub every: f64,
    #[command(flatten)]
    pub zone: ZoneOption,
    /// Emitters by name; all, if none is given
    #[arg(value_name = "EMITTER")]
    pub emitters: Vec<String>,
}

impl Args {
    fn times(&self) -> Result<Times, Error> {
        let from = self.zone.instant("--from", &self.from)?;
        let to = self.zone.instant("--to", &self.to)?;
        let at = self.zone.instant("--at", &self.at)?;
        Ok(match (from, to) {
            (Some(from), Some(to)) => Times::Span {
                from,
                to,
                every_s: self.every,
            },
            _ => Times::At(at.unwrap_or_else(Utc::now)),
        })
    }
}

/// Prints the table.
///
/// # Errors
/// Faulty files, unknown emitters, or a span that makes no sense.
pub fn run(args: &Args, common: &Common, console: &mut Console) -> Result<Verdict, Error> {
    let times = args.times()?;
    let station = common.read_station()?;
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
    let reach = Reach::new(&station, MountModel::ideal(station.mount.geometry));
    let found = ephemeris(&station, &sky, &reach, &emitters, times)?;
    for assumption in &station.site.assumptions {
        console.note(assumption);
    }
    console.note("reach is judged for a faultless mount within the encoder ranges and the mask");
    for warning in &found.warnings {
        console.warning(warning);
    }
    let text = match common.json {
        true => found.to_json(),
        false => table(&found, args.zone.zone),
    };
    console.deliver(&text, out.as_ref())?;
    Ok(Verdict::Good)
}
