//! The options of `plumbeam relay`, and what they name.

use std::path::{Path, PathBuf};

use clap::{Args as ClapArgs, ValueEnum};

use crate::angle::Angle;
use crate::cli::calibration::refuse;
use crate::cli::demand::DemandOption;
use crate::cli::value::above_zero;
use crate::live::ReportTurn;
use crate::logbook::Calibration;
use crate::problem::{Error, printable};
use crate::station::Station;

const EXAMPLE: &str = "\
Examples:
  plumbeam relay --calibration calibration.json --rotator 127.0.0.1:4535
  plumbeam relay --calibration calibration.json --rotator dish.local:4533 --log relay.csv
  plumbeam relay --summary relay.csv --report pass

The mount's daemon listens on another port than before (here 4535); the tracking program stays as it
is and talks to the relay on 127.0.0.1:4533 as if that were the mount. What it demands is corrected;
what it reads is where the beam truly points. docs/relay.md says how, with all deadlines.

Keys: a acknowledges a jump of the reading or a stop made here, c takes a new calibration that was
held back, q stops the mount and ends; any other key stops the mount. SIGINT (Ctrl-C) and SIGTERM stop
the mount and end. A file named with --stop-file stops it when it appears.

Caution: the relay moves metal and is no emergency stop. Keep the isolating switch in reach and people
clear of the axes and counterweights; stow it in wind; transmitters off while anybody is near the
feed. The Sun in the beam burns the feed: the guard keeps the beam out of a zone round the Sun, but
a mount that has lost its encoders cannot be guarded. Never look along the dish at the Sun. The protocol has no
password: whoever reaches the port steers the mount. Local codes and licensed practice go first.

Exit code 2 for wrong use, 3 for bad input, 4 when the calibration must not be used.";

/// Correct a tracking program's demands on their way to the mount
///
/// Listens where the tracking program expects the mount's rotator daemon, corrects each demand with
/// the full model of a calibration, passes it to the real daemon under a guard, and answers
/// positions turned back, so that the program shows where the beam truly points.
#[derive(ClapArgs, Clone, Debug)]
#[command(after_help = EXAMPLE)]
pub struct Args {
    /// The calibration that solve wrote; it may be replaced while the relay runs
    #[arg(long, value_name = "FILE", required_unless_present = "summary")]
    pub calibration: Option<PathBuf>,
    /// The mount's daemon
    #[arg(long, value_name = "HOST:PORT", required_unless_present = "summary")]
    pub rotator: Option<String>,
    /// Where to listen for the tracking program
    #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:4533")]
    pub listen: String,
    /// Listen for other machines too, if --listen names such an address: there is no password
    #[arg(long)]
    pub allow_network: bool,
    #[command(flatten)]
    pub demand: DemandOption,
    /// Changes of a reading below this are not sent on [default: a fiftieth of the beamwidth: 0.005
    /// dB]
    #[arg(long, value_name = "DEG", value_parser = zero_or_more, allow_hyphen_values = true)]
    pub deadband: Option<f64>,
    /// Half-angle of the zone round the Sun that the beam stays out of, or off [default: the larger
    /// of 10 and 3 beamwidths, and 3 sigma of the expected pointing error]
    #[arg(long, value_name = "DEG|off", value_parser = sun_zone, allow_hyphen_values = true)]
    pub sun: Option<SunOption>,
    /// No reading is sent farther ahead of where the mount is than this
    #[arg(long, value_name = "DEG", default_value_t = 10.0, value_parser = above_zero, allow_hyphen_values = true)]
    pub leash: f64,
    /// In the keyhole: hold the nearest reading that the mount can reach, or refuse
    #[arg(long, value_enum, value_name = "WHAT", default_value_t = Keyhole::Hold)]
    pub keyhole: Keyhole,
    /// When the client that commands goes away: its move ends, or the mount stops
    #[arg(long, value_enum, value_name = "WHAT", default_value_t = Gone::Finish)]
    pub on_disconnect: Gone,
    /// Append each command and reading to this log
    #[arg(long, value_name = "FILE")]
    pub log: Option<PathBuf>,
    /// Let moves until told otherwise through, under the same guard
    #[arg(long)]
    pub allow_move: bool,
    /// Let resets of the mount's controller through
    #[arg(long)]
    pub allow_reset: bool,
    /// Stop the mount when this file appears; demands are refused while it is there
    #[arg(long, value_name = "FILE")]
    pub stop_file: Option<PathBuf>,
    /// Acknowledge, as the key a does, when this file appears or is rewritten
    #[arg(long, value_name = "FILE")]
    pub ack_file: Option<PathBuf>,
    /// Send stops over the same connection as everything else, for a daemon that takes only one
    #[arg(long)]
    pub one_connection: bool,
    /// Summarise the passes in a log, and draw them with --report; nothing is moved
    #[arg(long, value_name = "LOG", conflicts_with_all = ["calibration", "rotator", "log"])]
    pub summary: Option<PathBuf>,
    /// With --summary: the folder for a page with pictures
    #[arg(long, value_name = "DIR", allow_hyphen_values = true)]
    pub report: Option<PathBuf>,
    /// On which turn azimuths are reported: 0..360, -180..180 or as-asked [default: as-asked]
    #[arg(long, value_name = "RANGE", allow_hyphen_values = true)]
    pub azimuths: Option<String>,
}

/// `--keyhole`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Keyhole {
    /// The nearest reachable reading is held, and the loss reported
    Hold,
    /// The demand is refused
    Refuse,
}

/// `--on-disconnect`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Gone {
    /// The guarded move ends
    Finish,
    /// The mount is stopped
    Stop,
}

/// `--sun`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SunOption {
    /// The zone is so large.
    Radius(Angle),
    /// There is none.
    Off,
}

pub(in crate::cli) fn sun_zone(text: &str) -> Result<SunOption, String> {
    /// A larger radius, degrees, leaves hardly any sky.
    const LARGEST: f64 = 60.0;
    if text == "off" {
        return Ok(SunOption::Off);
    }
    match text.parse::<f64>() {
        Ok(v) if v > 0.0 && v <= LARGEST => Ok(SunOption::Radius(Angle::from_degrees(v))),
        _ => Err(format!(
            "expected degrees above 0 and up to {LARGEST}, or off"
        )),
    }
}

fn zero_or_more(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(v) if v.is_finite() && v >= 0.0 => Ok(v),
        _ => Err("expected degrees, 0 or more".to_owned()),
    }
}

/// The turn on which azimuths are reported. Before `--azimuths` it stood behind `--report`, which
/// names a folder and has nothing else to say to a running relay.
pub(super) fn turn(azimuths: Option<&str>, report: Option<&Path>) -> Result<ReportTurn, Error> {
    let range = |text: &str| match text {
        "as-asked" => Some(ReportTurn::AsAsked),
        "0..360" => Some(ReportTurn::Positive),
        "-180..180" => Some(ReportTurn::Signed),
        _ => None,
    };
    let expected = "expected 0..360, -180..180 or as-asked";
    match (azimuths, report) {
        (None, None) => Ok(ReportTurn::AsAsked),
        (Some(text), None) => range(text).ok_or_else(|| {
            Error::Usage(format!(
                "--azimuths \"{}\" is not a range of azimuths; {expected}",
                printable(text)
            ))
        }),
        (None, Some(folder)) => folder.to_str().and_then(range).ok_or_else(|| {
            Error::Usage(format!(
                "--report names the folder for the pages of --summary; for the turn on which \
                 azimuths are reported, --azimuths: {expected}"
            ))
        }),
        (Some(_), Some(_)) => Err(Error::Usage(
            "--report names the folder for the pages of --summary".to_owned(),
        )),
    }
}

/// What else can be done about a calibration that is refused.
const ALONE: &str = "a relay takes no other, and has no --anyway: nobody reads its messages while a mount \
                     moves";

/// A calibration that may be used, and its checksum.
pub(super) fn read(path: &Path, station: &Station) -> Result<(Calibration, String), Error> {
    let (calibration, checksum) = Calibration::read_with_checksum(path)?;
    refuse(
        path,
        &calibration.standing(&station.site.name, station.mount.kind()),
        ALONE,
    )?;
    Ok((calibration, checksum))
}
