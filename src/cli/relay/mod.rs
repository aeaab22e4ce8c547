//! `plumbeam relay`: corrects a tracking program's demands on their way to the mount.

mod summary;
mod watchers;
mod writer;

use std::net::{SocketAddr, TcpListener, ToSocketAddrs};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use clap::{Args as ClapArgs, ValueEnum};
use crossbeam_channel::unbounded;

use self::summary::{Ended, summary};
use self::watchers::{end_on_signals, listen_to_keys, watch_calibration, watch_files};
use self::writer::{Writer, line};
use super::calibration::{full_model, refuse};
use super::demand::DemandOption;
use super::readings::GEOMETRIC;
use super::run_record::run_record;
use super::value::above_zero;
use super::{Common, Console, Verdict};
use crate::angle::Angle;
use crate::files::Stamp;
use crate::live::{self, About, Aim, Axes, InKeyhole, OnDisconnect, Relay, ReportTurn, Settings};
use crate::logbook::Calibration;
use crate::observe::sun_place;
use crate::outputs::{Growing, Guard};
use crate::problem::{Error, printable};
use crate::report::pass_text;
use crate::sky::Sky;
use crate::station::Station;
use crate::table::{DemandKind, Source};

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
    /// On which turn azimuths are reported: 0..360, -180..180 or as-asked [default: as-asked]. With
    /// --summary: the folder for a page with pictures
    #[arg(long, value_name = "RANGE|DIR", allow_hyphen_values = true)]
    pub report: Option<String>,
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

pub(super) fn sun_zone(text: &str) -> Result<SunOption, String> {
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

fn turn(text: Option<&str>) -> Result<ReportTurn, Error> {
    match text {
        None | Some("as-asked") => Ok(ReportTurn::AsAsked),
        Some("0..360") => Ok(ReportTurn::Positive),
        Some("-180..180") => Ok(ReportTurn::Signed),
        Some(other) => Err(Error::Usage(format!(
            "--report \"{}\" is not a range of azimuths; expected 0..360, -180..180 or as-asked",
            printable(other)
        ))),
    }
}

/// Runs the relay, or tells of a log.
///
/// # Errors
/// Faulty files, a calibration that must not be used, a port that cannot be had.
pub fn run(args: &Args, common: &Common, console: &mut Console) -> Result<Verdict, Error> {
    if common.out.is_some() {
        return Err(Error::Usage(
            "relay writes no result: leave --out out (--log names its log)".to_owned(),
        ));
    }
    match (&args.summary, &args.calibration, &args.rotator) {
        (Some(log), ..) => summary(log, args, common, console),
        (None, Some(calibration), Some(rotator)) => {
            relay(calibration, rotator, args, common, console)
        }
        _ => Err(Error::Usage(
            "--calibration and --rotator are needed, or --summary".to_owned(),
        )),
    }
}

/// What else can be done about a calibration that is refused.
const ALONE: &str = "a relay takes no other, and has no --anyway: nobody reads its messages while a mount \
                     moves";

fn relay(
    path: &Path,
    rotator: &str,
    args: &Args,
    common: &Common,
    console: &mut Console,
) -> Result<Verdict, Error> {
    if !rotator.contains(':') {
        return Err(Error::Usage(format!(
            "--rotator \"{}\" has no port; expected HOST:PORT, such as 127.0.0.1:4535",
            printable(rotator)
        )));
    }
    let address = listen_address(&args.listen, args.allow_network)?;
    let report = turn(args.report.as_deref())?;
    let station = Arc::new(common.read_station()?);
    let mut guard = Guard::new("relay")
        .reads_station(&common.station, &station)
        .reads("the calibration", path);
    for (what, file) in [
        ("the stop file", &args.stop_file),
        ("the file that acknowledges", &args.ack_file),
    ] {
        if let Some(file) = file {
            guard = guard.reads(what, file);
        }
    }
    guard.standard_output()?;
    let log = (args.log.as_ref())
        .map(|log| guard.growing("--log", log, live::FORMAT))
        .transpose()?;
    if args.stop_file.as_ref().is_some_and(|file| file.exists()) {
        console.warning("the stop file is there: demands are refused until it is gone");
    }
    // Looked at before it is read: a change in between is seen the next time.
    let seen = Stamp::of(path);
    let kind = args.demand.kind();
    let (calibration, checksum) = read(path, &station)?;
    for caveat in calibration
        .standing(&station.site.name, station.mount.kind())
        .caveats()
    {
        console.warning(&caveat);
    }
    for assumption in &station.site.assumptions {
        console.note(assumption);
    }
    let zone = zone(args.sun, &calibration, &station, console);
    let full = Box::new(full_model(&calibration, &station, kind)?);
    let source = Source::Full(full.clone());
    let deadband = (args.deadband).map_or(station.dish.beamwidth / 50.0, Angle::from_degrees);
    let keyhole = match args.keyhole {
        Keyhole::Hold => InKeyhole::Hold,
        Keyhole::Refuse => InKeyhole::Refuse,
    };
    let aim = Aim::new(full, keyhole, report);
    let settings = Settings {
        leash: Angle::from_degrees(args.leash),
        deadband,
        zone,
        beamwidth: station.dish.beamwidth,
        on_disconnect: match args.on_disconnect {
            Gone::Finish => OnDisconnect::Finish,
            Gone::Stop => OnDisconnect::Stop,
        },
        park: station.mount.park.map(Axes::from),
        allow_move: args.allow_move,
        allow_reset: args.allow_reset,
        own_stop: !args.one_connection,
        who: format!("plumbeam relay {}", env!("CARGO_PKG_VERSION")),
    };
    // Of all emitters only the Sun matters here: a missing file of orbits is no reason to stay
    // away.
    let mut bare = (*station).clone();
    bare.emitters.clear();
    let sky = Sky::new(&bare)?;
    let relay = Relay::new(settings, aim, Box::new(move |time| sun_place(&sky, time)));
    let listener =
        TcpListener::bind(address).map_err(|e| Error::io(&address.to_string(), "listen", e))?;
    let address = listener
        .local_addr()
        .map_err(|e| Error::io(&address.to_string(), "listen", e))?;
    say_how(args, &station, kind, deadband, zone, &checksum, console);
    let about = About {
        station: station.site.name.clone(),
        mount_kind: station.mount.kind().name().to_owned(),
        beamwidth_deg: station.dish.beamwidth.degrees(),
        demand: kind.name().to_owned(),
        checksum,
    };
    let writer = Writer::new(log.as_ref(), &about, common, console)?;
    console.note(&format!(
        "listening on {address}, the mount's daemon at {rotator}"
    ));
    let (inlet, inbox) = live::inlet();
    let present = Arc::new(Mutex::new(None));
    let (confirm, confirmed) = unbounded();
    end_on_signals(&inlet)?;
    watch_calibration(
        (path.to_owned(), seen),
        Arc::clone(&station),
        (kind, source),
        (Arc::clone(&present), confirmed),
        inlet.clone(),
    );
    let about = (
        rotator,
        log.as_ref().map(Growing::path),
        args.stop_file.as_deref(),
    );
    let record = run_record("relay", common, about, console);
    let stop_file = match &record {
        Some(record) => Some(record.stop_file()),
        None => args.stop_file.as_deref(),
    };
    watch_files(stop_file, args.ack_file.as_deref(), &inlet, &confirm);
    let keys = listen_to_keys(&inlet, confirm);
    let (reports, reported) = unbounded();
    let figures = std::thread::scope(|scope| {
        let writing = scope.spawn(move || writer.run(&reported, &present));
        let served = live::serve(relay, listener, rotator, (inlet, inbox), &reports);
        drop(reports);
        let figures = writing.join().unwrap_or_default();
        served.map(|()| figures)
    })?;
    drop(keys);
    drop(record);
    if common.json {
        console.result(&line(&Ended { summary: &figures }))?;
    } else {
        console.result(&pass_text(&figures, station.dish.beamwidth))?;
    }
    Ok(Verdict::Good)
}

/// A calibration that may be used, and its checksum.
fn read(path: &Path, station: &Station) -> Result<(Calibration, String), Error> {
    let (calibration, checksum) = Calibration::read_with_checksum(path)?;
    refuse(
        path,
        &calibration.standing(&station.site.name, station.mount.kind()),
        ALONE,
    )?;
    Ok((calibration, checksum))
}

/// The address to listen on.
fn listen_address(text: &str, network: bool) -> Result<SocketAddr, Error> {
    let bad = || {
        Error::Usage(format!(
            "--listen \"{}\" is not an address; expected ADDRESS:PORT, such as 127.0.0.1:4533",
            printable(text)
        ))
    };
    let address = text
        .to_socket_addrs()
        .ok()
        .and_then(|mut all| all.next())
        .ok_or_else(bad)?;
    if !address.ip().is_loopback() && !network {
        return Err(Error::Usage(format!(
            "--listen {address} is refused: the protocol has no password, and whoever reaches the \
             port steers a mount that moves metal\n  help: leave it at 127.0.0.1 and use a tunnel \
             that authenticates you (ssh -L), or say --allow-network on a network that is yours alone"
        )));
    }
    Ok(address)
}

/// The half-angle of the zone round the Sun, if it is guarded against.
fn zone(
    asked: Option<SunOption>,
    calibration: &Calibration,
    station: &Station,
    console: &mut Console,
) -> Option<Angle> {
    /// One sigma of a mount of which nothing is known: what anybody would see.
    const PRIOR: Angle = Angle::from_degrees(3.0);
    match asked {
        Some(SunOption::Off) => {
            console.warning("the Sun is not guarded against (--sun off): it burns the feed");
            None
        }
        Some(SunOption::Radius(radius)) => Some(radius),
        None => {
            let expected = calibration.expected_pointing_error.as_ref();
            let sigma = match expected {
                Some(expected) => Angle::from_degrees(expected.rms_deg),
                None => {
                    console.note(
                        "the calibration does not say its expected pointing error: 3 deg is taken \
                         for the zone round the Sun",
                    );
                    PRIOR
                }
            };
            Some(live::usual_radius(station.dish.beamwidth, sigma))
        }
    }
}

/// Everything that is assumed, and the cautions.
fn say_how(
    args: &Args,
    station: &Station,
    kind: DemandKind,
    deadband: Angle,
    zone: Option<Angle>,
    checksum: &str,
    console: &mut Console,
) {
    console.note(&match kind {
        DemandKind::Apparent => {
            "demands are apparent directions, which already hold the bending of \
                                 the air (--demand geometric adds it)"
                .to_owned()
        }
        DemandKind::Geometric => {
            let w = &station.site.weather;
            format!(
                "demands are geometric directions; refraction is added for {:.1} hPa, {:.1} deg C, \
                 relative humidity {:.2}",
                w.pressure_hpa, w.temperature_c, w.relative_humidity
            )
        }
    });
    let sun = match zone {
        Some(radius) => format!("the beam stays {:.1} deg from the Sun", radius.degrees()),
        None => "the Sun is not guarded against".to_owned(),
    };
    console.note(&format!(
        "{sun}; never more than {} deg ahead of the mount; changes below {:.3} deg are not sent on",
        args.leash,
        deadband.degrees()
    ));
    let behind = match kind {
        DemandKind::Apparent => "",
        DemandKind::Geometric => GEOMETRIC,
    };
    console.note(&format!(
        "a log of positions read through this relay begins with the line: # readings = \
         corrected:{checksum}{behind}"
    ));
    console.note(
        "this is no emergency stop: keep the isolating switch in reach and people clear of the axes",
    );
}
