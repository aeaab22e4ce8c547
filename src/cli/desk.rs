//! `plumbeam desk`: the session in a browser.

use std::path::PathBuf;
use std::sync::Arc;

use clap::Args as ClapArgs;

use super::observe_args::{Form, Unit};
use super::value::whole;
use super::{Common, Console, Verdict};
use crate::desk::serve::{Bound, Bus, Event};
use crate::desk::{Desk, DeskSession, Live, Wanted};
use crate::observe::PowerSource;
use crate::problem::{Error, printable};

const EXAMPLE: &str = "\
Examples:
  plumbeam desk
  plumbeam desk peaks.csv --station station.toml
  plumbeam desk --lan --no-browser

End it with Ctrl-C: every edit is on the disk already, and nothing that moves is touched.";

/// Work on a session in the browser: edits, pictures and findings follow at once
///
/// Opens the station and its log of peaks on a page that this computer alone can see. Leave out a
/// peak, add, hold or release a term, choose the noise, add a peak, import a log: the solution, the
/// expected pointing error, the pictures and the findings follow. Every edit is kept in
/// desk-edits.jsonl beside the station file and can be taken back; the log itself is never changed.
#[derive(ClapArgs, Clone, Debug)]
#[command(after_help = EXAMPLE)]
pub struct Args {
    /// The log of peaks [default: peaks.csv beside the station file, if it is there]
    #[arg(value_name = "PEAKS")]
    pub peaks: Option<PathBuf>,
    /// The port to serve; 0 lets the system choose
    #[arg(long, value_name = "PORT", default_value_t = 0, value_parser = whole::<u16>, allow_negative_numbers = true)]
    pub port: u16,
    /// Do not open a browser; print the address only
    #[arg(long)]
    pub no_browser: bool,
    /// Ask the mount's daemon where it stands: readings for peaks, and coaching with a receiver. Nothing
    /// else is sent to it
    #[arg(long, value_name = "HOST:PORT")]
    pub rotator: Option<String>,
    /// Where the receiver's power comes from: tcp:HOST:PORT, udp:ADDRESS:PORT, serial:DEVICE@BAUD or
    /// command:WORDS; each line a power, or a time and a power
    #[arg(long, value_name = "SOURCE", value_parser = PowerSource::parse, allow_hyphen_values = true)]
    pub power: Option<PowerSource>,
    /// What a power is
    #[arg(long, value_enum, value_name = "UNIT", default_value_t = Unit::Db)]
    pub power_unit: Unit,
    /// How lines are written: a power, or sweeps
    #[arg(long, value_enum, value_name = "FORM", default_value_t = Form::Line)]
    pub power_form: Form,
    /// Look for a running observe or relay in this folder too; may be given again
    #[arg(long, value_name = "DIR")]
    pub watch: Vec<PathBuf>,
    /// Let other computers of the network see it too, with the token in the address that is printed
    #[arg(long)]
    pub lan: bool,
}

/// Serves the session until Ctrl-C.
///
/// # Errors
/// Faulty input, a session that another desk has, a port that is not to be had.
pub fn run(args: &Args, common: &Common, console: &mut Console) -> Result<Verdict, Error> {
    if common.json || common.out.is_some() {
        return Err(Error::Usage(
            "desk prints no result: leave --json and --out out, and export from the page"
                .to_owned(),
        ));
    }
    if let Some(place) = args.rotator.as_ref().filter(|place| !place.contains(':')) {
        return Err(Error::Usage(format!(
            "--rotator \"{}\" has no port; expected HOST:PORT, such as 127.0.0.1:4533",
            printable(place)
        )));
    }
    if let Some(folder) = args.watch.iter().find(|folder| !folder.is_dir()) {
        return Err(Error::Usage(format!(
            "--watch {}: there is no such folder",
            printable(&folder.display().to_string())
        )));
    }
    let station = common.read_station()?;
    let session = DeskSession::open(&common.station, station, args.peaks.as_deref())?;
    let base = session.base();
    console.log(&base.log.taken, &base.log.warnings);
    let bound = Bound::new(args.port, args.lan)?;
    let bus = Bus::default();
    let told = bus.clone();
    let tell = Box::new(move |happened| told.tell(Event::of(happened)));
    let (desk, said) = Desk::open(session, tell)?;
    for text in said {
        console.warning(&text);
    }
    let wanted = Wanted {
        rotator: args.rotator.clone(),
        power: args.power.clone(),
        unit: args.power_unit.unit(),
        form: args.power_form.form(),
        watch: args.watch.clone(),
    };
    let told = bus.clone();
    let live = Live::begin(
        &desk,
        &wanted,
        Arc::new(move |news| told.tell(Event::live(&news))),
    )?;
    let ended = Arc::new(tokio::sync::Notify::new());
    let end = ended.clone();
    ctrlc::set_handler(move || end.notify_one())
        .map_err(|e| Error::Unsupported(format!("signals cannot be caught: {e}")))?;
    console.note(&format!("the desk is at {}", bound.url()));
    if let Some(url) = bound.lan_url() {
        console.note(&format!("from other computers of the network: {url}"));
    }
    if !args.no_browser && open::that_detached(bound.url()).is_err() {
        console.warning("no browser could be started: open the address in one");
    }
    bound.serve(
        (desk.clone(), live),
        bus,
        async move { ended.notified().await },
    )?;
    desk.end();
    Ok(Verdict::Good)
}
