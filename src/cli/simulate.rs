//! `plumbeam simulate`: a made-up session from a known truth.

use std::net::{Ipv4Addr, TcpListener};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use clap::{Args as ClapArgs, ValueEnum};

use super::value::whole;
use super::{Common, Console, Verdict};
use crate::logbook::{Axes, scans_csv};
use crate::number::counted;
use crate::outputs::{Guard, OutputKind};
use crate::problem::Error;
use crate::simulate::{Dish, Fault, Truth, scan_session, serve, session};
use crate::sky::Sky;
use crate::station::Station;
use crate::time::Utc;

const EXAMPLE: &str = "\
Example:
  plumbeam simulate --truth truth.toml --seed 7 --out peaks.csv
  plumbeam simulate --truth truth.toml --kind scans --out scans.csv
  plumbeam simulate --truth truth.toml --kind scans | plumbeam reduce - | plumbeam solve -
  plumbeam simulate --truth truth.toml --rotator-port 4535 --power-port 4600

A truth file names the terms of the mount model, the noise and the session:
  [terms]
  azimuth-zero = 3.4
  tilt-north = 0.5
  [noise]
  cross_elevation_deg = 0.05
  elevation_deg = 0.05
  [session]
  from = \"2026-09-12T06:00:00Z\"
  to = \"2026-09-12T16:00:00Z\"
  peaks = 60
  approach_logged = true
  [scans]                      # for --kind scans; every line may be left out
  way = \"cross\"                # also raster, azimuth, elevation
  half_length = 1.6            # from the middle of a pass to its ends, beamwidths
  samples = 61                 # in each pass
  seconds_a_pass = 20.0
  slower = 2.0                 # about every other scan takes this many times as long
  repeats = 2                  # passes along each axis, there and back
  rows = 9                     # of a raster
  signal_to_noise = 30.0       # height of the peak over the deviation of a sample
  lag_s = 0.0                  # delay of the logged power, seconds
  beside = 0.2                 # how far off the middle of a scan may lie, beamwidths
  [practice]                   # of the pretended mount and receiver; every line may be left out
  speed_deg_s = 6.0
  braking_deg_s2 = 6.0
  start_deg = [0.0, 10.0]      # readings at the beginning
  lines_a_second = 10.0        # of the receiver
  scatter = 0.01               # of a power, over its size
  drift_db_per_hour = 0.1
  spikes_per_minute = 0.0";

/// Make up a session from a known truth, for practice and tests
///
/// Makes the log of peaks that a mount with the faults of the truth file would give at this
/// station, with noise; or, with --kind scans, the log of raw signal of scans, for reduce. The same
/// seed gives the same session.
#[derive(ClapArgs, Clone, Debug)]
#[command(after_help = EXAMPLE)]
pub struct Args {
    /// The truth file (TOML)
    #[arg(long, value_name = "FILE")]
    pub truth: PathBuf,
    /// Offer the pretended mount of the truth file to other programs, in real time, by the open
    /// rotator protocol on this port of this machine; 0 takes a free one
    #[arg(long, value_name = "PORT", requires = "power_port", value_parser = whole::<u16>, allow_negative_numbers = true)]
    pub rotator_port: Option<u16>,
    /// And the pretended receiver's powers, a line each, on this one
    #[arg(long, value_name = "PORT", requires = "rotator_port", value_parser = whole::<u16>, allow_negative_numbers = true)]
    pub power_port: Option<u16>,
    /// Simulate this fault, NAME[=SIZE]@SECONDS[+SECONDS] after the first motion
    #[arg(long, value_name = "FAULT", requires = "rotator_port", value_parser = Fault::parse)]
    pub fault: Vec<Fault>,
    /// What to log: peaks, for solve; or scans, for reduce
    #[arg(long, value_enum, value_name = "KIND", default_value_t = Kind::Peaks)]
    pub kind: Kind,
    /// Seed of the noise
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = whole::<u64>, allow_negative_numbers = true)]
    pub seed: u64,
}

/// What is logged.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Kind {
    /// Encoder readings at which the signal peaked
    Peaks,
    /// Raw signal while the dish moves over each emitter
    Scans,
}

/// Offers a pretended dish until a signal ends it.
fn offer(
    (station, sky, truth): (&Station, &Sky, &Truth),
    (rotator, power): (u16, u16),
    args: &Args,
    console: &mut Console,
) -> Result<Verdict, Error> {
    let listen = |port: u16| {
        let failed = |e| Error::io(&format!("port {port}"), "listen", e);
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port)).map_err(failed)?;
        let port = listener.local_addr().map_err(failed)?.port();
        Ok::<_, Error>((listener, port))
    };
    let (rotator, rotator_port) = listen(rotator)?;
    let (power, power_port) = listen(power)?;
    let start = (Utc::now(), args.seed);
    let dish = Dish::new(station, sky, truth, args.fault.clone(), start)?;
    let ends = Arc::new(AtomicBool::new(false));
    let of_signals = Arc::clone(&ends);
    ctrlc::set_handler(move || of_signals.store(true, Ordering::SeqCst))
        .map_err(|e| Error::io("signals", "listen to", std::io::Error::other(e)))?;
    let ports = serde_json::json!({ "rotator": rotator_port, "power": power_port });
    console.data(&format!("{ports}\n"))?;
    console.note("an invented dish; a signal (Ctrl-C) ends it");
    serve(dish, rotator, power, &ends);
    Ok(Verdict::Good)
}

/// Makes up the session and writes it.
///
/// # Errors
/// Faulty files, or a session in which nothing can be observed.
pub fn run(args: &Args, common: &Common, console: &mut Console) -> Result<Verdict, Error> {
    let station = common.read_station()?;
    let mut guard = Guard::new("simulate")
        .reads_station(&common.station, &station)
        .reads("the truth", &args.truth);
    guard.standard_output()?;
    let out = guard.optional_file("--out", common.out.as_ref(), OutputKind::Log)?;
    let sky = Sky::new(&station)?;
    let truth = Truth::read(&args.truth)?;
    if let (Some(rotator), Some(power)) = (args.rotator_port, args.power_port) {
        if out.is_some() {
            return Err(Error::Usage(
                "a pretended dish writes no log: leave --out out".to_owned(),
            ));
        }
        return offer((&station, &sky, &truth), (rotator, power), args, console);
    }
    let (what, csv) = match args.kind {
        Kind::Peaks => {
            let log = session(&station, &sky, &truth, args.seed)?;
            (counted(log.peaks.len(), "invented peak"), log.to_csv())
        }
        Kind::Scans => {
            let scans = scan_session(&station, &sky, &truth, args.seed)?;
            let missing = truth.session.peaks - scans.len();
            if missing > 0 {
                console.note(&format!(
                    "{} left out: nothing that can be scanned is up then within the encoder ranges \
                     and below 80 deg",
                    counted(missing, "scan")
                ));
            }
            (
                counted(scans.len(), "invented scan"),
                scans_csv(Axes::of(&station), &scans),
            )
        }
    };
    let text = format!(
        "# An invented session, made by plumbeam simulate with seed {}.\n{csv}",
        args.seed,
    );
    console.deliver(&text, out.as_ref())?;
    if out.is_some() {
        console.note(&what);
    }
    Ok(Verdict::Good)
}
