//! `plumbeam relay`: corrects a tracking program's demands on their way to the mount.

mod args;
mod summary;
mod watchers;
mod writer;

use std::net::{SocketAddr, TcpListener, ToSocketAddrs};
use std::path::Path;
use std::sync::{Arc, Mutex};

use crossbeam_channel::unbounded;

pub(super) use self::args::sun_zone;
pub use self::args::{Args, SunOption};
use self::args::{Gone, Keyhole, read, turn};
use self::summary::{Ended, summary};
use self::watchers::{end_on_signals, listen_to_keys, watch_calibration, watch_files};
use self::writer::{Writer, line};
use super::calibration::full_model;
use super::readings::GEOMETRIC;
use super::run_record::run_record;
use super::{Common, Console, Verdict};
use crate::angle::Angle;
use crate::files::Stamp;
use crate::live::{self, About, Aim, Axes, InKeyhole, OnDisconnect, Relay, RelaySettings};
use crate::logbook::Calibration;
use crate::observe::sun_place;
use crate::outputs::{Growing, Guard};
use crate::problem::{Error, printable};
use crate::report::pass_text;
use crate::sky::Sky;
use crate::station::Station;
use crate::table::{DemandKind, Source};

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
    let azimuths = turn(args.azimuths.as_deref(), args.report.as_deref())?;
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
    let aim = Aim::new(full, keyhole, azimuths);
    let settings = RelaySettings {
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
