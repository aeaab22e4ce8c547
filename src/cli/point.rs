//! `plumbeam point`: demands to encoder readings, one or a stream, and back.

use std::path::{Path, PathBuf};
use std::str::FromStr;

use clap::Args as ClapArgs;

use super::calibration::{FeedOption, TrustOption, full_model, refuse};
use super::demand::{DemandAs, DemandOption, Pair};
use super::follow::{self, FollowOptions};
use super::{Common, Console, Verdict};
use crate::angle::Angle;
use crate::files::{self, Stamp};
use crate::logbook::{Calibration, ExpectedPointingError};
use crate::mount::ApproachSigns;
use crate::number::counted;
use crate::outputs::{Guard, Output, OutputKind};
use crate::problem::{Error, printable};
use crate::report::expected_words;
use crate::station::Station;
use crate::table::{
    self, ApproachChoice, CalibrationWatch, Connection, CorrectionTable, DemandKind, Loaded,
    PATIENCE, Pointer, Reload, Source, StreamForm, Tally, Writing, answer, error_line, listen,
    loopback, open_serial, read_table, serve,
};

const EXAMPLE: &str = "\
Examples:
  plumbeam point --calibration calibration.json 135.2 41.8
  plumbeam point --calibration calibration.json sun
  plumbeam point --calibration calibration.json sun --every 1s --for 10m
  plumbeam point --calibration calibration.json --demand geometric --present 500,40 135.2 41.8
  plumbeam point --calibration calibration.json --inverse 134.9 42.1
  plumbeam point --table corrections.csv < demands.txt > readings.txt
  plumbeam point --calibration calibration.json --stream
  plumbeam point --calibration calibration.json --listen 127.0.0.1:4700

An emitter of the station file gets the readings that put the beam on it now, or --at an instant, in
one line; with --every a line each time, the time before the readings, or `error: why`.

A line of demands is `azimuth elevation` in degrees, with blanks or a comma between; # begins a
comment. Each demand gets one line back: the two readings, or `error line N: why`. Behind two
readings in degrees stands what the sensors of the axes show, where the station file gives them some
that do not count degrees. In a stream the last answer is where the mount is taken to stand, and so
decides the cable wrap. With --stream,
--listen and --serial a changed calibration file is read again by itself, or at once on a line
`reload`; a bad one, or one of another station, is reported and the old one kept, and one that moves the
readings by more than a beamwidth is taken only after a line `confirm`.

Exit code 3 when a line of a file could not be read, 4 when a demand could not be met or an emitter
not be pointed at; a live stream (--stream, --listen, --serial) ends with 0.

Caution: feeding these readings to a mount moves metal. Keep a hand on the stop, keep people
clear of the axes, and never bring the beam near the Sun without a plan: it heats the feed.";

/// Turn demanded directions into encoder readings, and back
///
/// One demand AZ EL, an emitter of the station file, or a stream of demands on standard input,
/// through the full mount model of a calibration or through a correction table.
#[derive(ClapArgs, Clone, Debug)]
#[command(after_help = EXAMPLE)]
pub struct Args {
    /// One demand: azimuth and elevation, degrees; or the name of an emitter; without either, or
    /// with -, standard input is read
    #[arg(value_name = "AZ EL|EMITTER", num_args = 0..=2, allow_negative_numbers = true)]
    pub values: Vec<String>,
    #[command(flatten)]
    pub follow: FollowOptions,
    /// The calibration that solve wrote
    #[arg(
        long,
        value_name = "FILE",
        required_unless_present = "table",
        conflicts_with = "table"
    )]
    pub calibration: Option<PathBuf>,
    /// Use a correction table (CSV or JSON) instead of the full model
    #[arg(long, value_name = "FILE")]
    pub table: Option<PathBuf>,
    #[command(flatten)]
    pub feed: FeedOption,
    #[command(flatten)]
    pub trust: TrustOption,
    #[command(flatten)]
    pub demand: DemandOption,
    /// In which coordinates demands are given, and directions told with --inverse
    #[arg(long, value_enum, value_name = "WAY", default_value_t = DemandAs::Sky)]
    pub demand_as: DemandAs,
    /// Encoder readings in, directions out
    #[arg(long)]
    pub inverse: bool,
    /// Where the mount stands (encoder readings, degrees): the nearest cable wrap is chosen
    #[arg(long, value_name = "AZ,EL", allow_hyphen_values = true)]
    pub present: Option<Pair>,
    /// From which side the axes arrive: + increasing reading, - decreasing, 0 not known, as AZ,EL;
    /// or auto: from the move from the present position
    #[arg(
        long,
        value_name = "SIGNS",
        default_value = "0,0",
        allow_hyphen_values = true
    )]
    pub approach: Approach,
    /// A live stream on standard input and output
    #[arg(long, conflicts_with_all = ["listen", "serial", "values"])]
    pub stream: bool,
    /// A live stream on a TCP port of this machine
    #[arg(long, value_name = "127.0.0.1:PORT", conflicts_with_all = ["serial", "values"])]
    pub listen: Option<String>,
    /// A live stream on a serial line (8 bits, no parity, 1 stop bit)
    #[arg(long, value_name = "DEVICE", conflicts_with = "values")]
    pub serial: Option<String>,
    /// Speed of the serial line
    #[arg(long, value_name = "N", default_value_t = 9600, requires = "serial")]
    pub baud: u32,
}

/// `--approach`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Approach(ApproachChoice);

impl FromStr for Approach {
    type Err = String;
    fn from_str(text: &str) -> Result<Approach, String> {
        if text == "auto" {
            return Ok(Approach(ApproachChoice::FromMove));
        }
        let sign = |part: &str| match part.trim() {
            "+" => Some(1.0),
            "-" => Some(-1.0),
            "0" => Some(0.0),
            _ => None,
        };
        text.split_once(',')
            .and_then(|(azimuth, elevation)| sign(azimuth).zip(sign(elevation)))
            .map(|(azimuth, elevation)| {
                Approach(ApproachChoice::Fixed(ApproachSigns { azimuth, elevation }))
            })
            .ok_or_else(|| "expected +, - or 0 for each axis, such as +,-; or auto".to_owned())
    }
}

/// Answers the demand or the stream.
///
/// # Errors
/// Faulty input, a single demand that cannot be met, or a stream that breaks.
pub fn run(args: &Args, common: &Common, console: &mut Console) -> Result<Verdict, Error> {
    let address = args.listen.as_deref().map(loopback).transpose()?;
    let asked = asked(args)?;
    let live = args.stream || args.listen.is_some() || args.serial.is_some();
    if live && args.trust.anyway {
        return Err(Error::Usage(
            "a live stream has no --anyway: nobody reads its messages while a mount moves"
                .to_owned(),
        ));
    }
    if live && common.out.is_some() {
        return Err(Error::Usage(
            "a live stream answers on its own connection: leave --out out".to_owned(),
        ));
    }
    if args.table.is_some() && args.feed.feed.is_some() {
        return Err(Error::Usage(
            "--feed goes with --calibration; a table is of one feed already: plumbeam table --feed NAME"
                .to_owned(),
        ));
    }
    let emitter = match &asked {
        Asked::Emitter(name) => Some(name),
        _ => None,
    };
    if emitter.is_none() && args.follow.any() {
        return Err(Error::Usage(
            "--at, --every and --zone go with the name of an emitter, such as plumbeam point sun"
                .to_owned(),
        ));
    }
    if emitter.is_some() && args.inverse {
        return Err(Error::Usage(
            "--inverse takes two readings, not an emitter".to_owned(),
        ));
    }
    if asked == Asked::Stream && [&args.calibration, &args.table].iter().any(|f| is_dash(f)) {
        return Err(Error::Usage(
            "a stream of demands needs the calibration or table in a file, not on standard input"
                .to_owned(),
        ));
    }
    // A table stands for itself; the full model needs the station's encoders and weather, and an
    // emitter its place.
    let station = match args.calibration.is_some() || emitter.is_some() {
        true => Some(common.read_station()?),
        false => None,
    };
    let mut guard = Guard::new("point").reads("the demands", Path::new("-"));
    if let Some(station) = &station {
        guard = guard.reads_station(&common.station, station);
    }
    if let Some(path) = &args.calibration {
        guard = guard.reads("the calibration", path);
    }
    if let Some(path) = &args.table {
        guard = guard.reads("the table", path);
    }
    guard.standard_output()?;
    let out = guard.optional_file("--out", common.out.as_ref(), OutputKind::Text)?;
    let Some(path) = args.calibration.as_ref().or(args.table.as_ref()) else {
        return Err(Error::Usage(
            "--calibration or --table is needed".to_owned(),
        ));
    };
    // Looked at before it is read: a change in between is seen the next time.
    let seen = Stamp::of(path);
    let named = args.demand.demand.map(|_| args.demand.kind());
    // With a table the station only says where emitters stand.
    let of_model = station.as_ref().filter(|_| args.calibration.is_some());
    let loaded = match of_model {
        Some(station) => {
            let calibration = Calibration::read(path)?;
            let standing = calibration.standing(&station.site.name, station.mount.kind());
            args.trust.allow(path, &standing, console)?;
            say_expected(calibration.expected_pointing_error.as_ref(), console);
            model_of(&calibration, station, args.demand.kind(), &args.feed)?
        }
        None => {
            let table = table_of(path, named)?;
            args.trust.allow(path, &table.header.standing(), console)?;
            say_expected(table.header.expected_pointing_error().as_ref(), console);
            loaded_table(table)
        }
    };
    // Whoever feeds the stream knows which demands it takes: a new file must take the same. And
    // what is worth nothing, or is another station's, is never taken while a mount moves.
    let kind = loaded.source.demand();
    let load = || match of_model {
        Some(station) => {
            let calibration = Calibration::read(path)?;
            refuse(
                path,
                &calibration.standing(&station.site.name, station.mount.kind()),
                ALONE,
            )?;
            model_of(&calibration, station, kind, &args.feed)
        }
        None => {
            let table = table_of(path, Some(kind))?;
            refuse(path, &table.header.standing(), ALONE)?;
            Ok(loaded_table(table))
        }
    };
    let present = args.present.map(Pair::reading);
    let mut pointer =
        Pointer::new(loaded.source, args.approach.0, present).with_caveats(loaded.caveats);
    if let Some(station) = &station {
        pointer = pointer.of_mount(&station.mount);
    }
    if emitter.is_none() {
        pointer = pointer.with_demands_in_axes(args.demand_as == DemandAs::Axes);
    }
    if let (Some(name), Some(station)) = (emitter, &station) {
        return follow::run(
            name,
            &args.follow,
            (station, pointer),
            (common.json, out.as_ref()),
            console,
        )
        .map_err(|e| not_a_demand(name, e));
    }
    let assumed = pointer.assumptions(!args.inverse);
    if let Asked::Demand(azimuth, elevation) = asked {
        return single(
            args,
            (common.json, out.as_ref()),
            console,
            &mut pointer,
            assumed,
            (azimuth, elevation),
        );
    }
    for sentence in &assumed {
        console.note(sentence);
    }
    if let Some(address) = address {
        let note_address = &mut |at| console.note(&format!("listening on {at}"));
        let form = StreamForm {
            open_to_all: true,
            ..form(
                args,
                match common.json {
                    true => Writing::JsonLines,
                    false => Writing::Plain,
                },
            )
        };
        let farewell = &|why: &str| error_line(form.writing, 0, why);
        listen(address, note_address, PATIENCE, farewell, &|connection| {
            let watch = CalibrationWatch::new(path, seen, &load);
            connected(connection, &pointer, form, watch, common.quiet)
        })?;
        return Ok(Verdict::Good);
    }
    let writing = match (common.json, live) {
        (false, _) => Writing::Plain,
        (true, true) => Writing::JsonLines,
        (true, false) => Writing::JsonDocument,
    };
    let form = form(args, writing);
    if let Some(device) = &args.serial {
        let (input, output) = open_serial(device, args.baud)?;
        console.note(&format!("answering on {device} at {} baud", args.baud));
        let mut watch = CalibrationWatch::new(path, seen, &load);
        let note = &mut |reload| tell(reload, console);
        serve(input, output, &mut pointer, form, Some(&mut watch), note)
            .map_err(|e| Error::io(device, "serve", e))?;
        return Ok(Verdict::Good);
    }
    let failed = |e| Error::io("standard input or output", "serve", e);
    let input = std::io::stdin().lock();
    if live {
        let mut watch = CalibrationWatch::new(path, seen, &load);
        let output = std::io::stdout().lock();
        let note = &mut |reload| tell(reload, console);
        serve(input, output, &mut pointer, form, Some(&mut watch), note).map_err(failed)?;
        return Ok(Verdict::Good);
    }
    let note = &mut |_| {};
    let tally = match &out {
        Some(out) => {
            let mut whole = out.begin()?;
            let tally = serve(input, &mut whole, &mut pointer, form, None, note).map_err(failed)?;
            let kept = whole.finish()?;
            console.kept(out.path(), kept.as_deref());
            tally
        }
        None => {
            let output = std::io::stdout().lock();
            serve(input, output, &mut pointer, form, None, note).map_err(failed)?
        }
    };
    verdict(tally, console)
}

fn say_expected(expected: Option<&ExpectedPointingError>, console: &mut Console) {
    if let Some(expected) = expected {
        console.note(&expected_words(expected));
    }
}

fn is_dash(file: &Option<PathBuf>) -> bool {
    file.as_deref().is_some_and(|path| path.as_os_str() == "-")
}

/// What the command line requests.
#[derive(Clone, Debug, PartialEq)]
enum Asked {
    /// What comes on standard input.
    Stream,
    /// One demand.
    Demand(Angle, Angle),
    /// An emitter of the station file, by name.
    Emitter(String),
}

const TWO_NUMBERS: &str = "a demand is two numbers: AZ EL, such as 135.2 41.8";

fn asked(args: &Args) -> Result<Asked, Error> {
    let number = |word: &str| match word.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(Angle::from_degrees(value)),
        _ => Err(Error::Usage(format!(
            "\"{}\" is not a number of degrees; expected AZ EL, such as 135.2 41.8, or one emitter (a \
             name with blanks in quotes)",
            printable(word)
        ))),
    };
    match args.values.as_slice() {
        [] => Ok(Asked::Stream),
        [dash] if dash == "-" => Ok(Asked::Stream),
        [name] => Ok(Asked::Emitter(name.clone())),
        [azimuth, elevation] => Ok(Asked::Demand(number(azimuth)?, number(elevation)?)),
        _ => Err(Error::Usage(TWO_NUMBERS.to_owned())),
    }
}

/// A single number that is not an emitter was meant for half a demand.
fn not_a_demand(name: &str, error: Error) -> Error {
    match error {
        Error::Usage(_) if name.parse::<f64>().is_ok() => Error::Usage(TWO_NUMBERS.to_owned()),
        other => other,
    }
}

/// What else can be done about a file that a live stream refuses.
const ALONE: &str = "a live stream takes no other";

/// The full model of a calibration.
fn model_of(
    calibration: &Calibration,
    station: &Station,
    kind: DemandKind,
    feed: &FeedOption,
) -> Result<Loaded, Error> {
    let full = feed.of(
        full_model(calibration, station, kind)?,
        calibration,
        station,
    )?;
    Ok(Loaded {
        source: Source::Full(Box::new(full)),
        beamwidth: Some(station.dish.beamwidth),
        caveats: calibration
            .standing(&station.site.name, station.mount.kind())
            .caveats(),
    })
}

/// The table, if it takes the demands that are wanted.
fn table_of(path: &Path, wanted: Option<DemandKind>) -> Result<CorrectionTable, Error> {
    let (name, bytes) = files::read_bytes(path, table::EXPECTED)?;
    let table = read_table(&name, &bytes)?;
    match wanted {
        Some(kind) if kind != table.demand() => Err(Error::Usage(format!(
            "{name} takes {} demands, not {kind} ones; make a table for them, or leave --demand out",
            table.demand()
        ))),
        _ => Ok(table),
    }
}

fn loaded_table(table: CorrectionTable) -> Loaded {
    Loaded {
        beamwidth: table.header.beamwidth_deg.map(Angle::from_degrees),
        caveats: table.header.standing().caveats(),
        source: table.into(),
    }
}

fn form(args: &Args, writing: Writing) -> StreamForm {
    StreamForm {
        inverse: args.inverse,
        writing,
        open_to_all: false,
    }
}

fn single(
    args: &Args,
    (json, out): (bool, Option<&Output>),
    console: &mut Console,
    pointer: &mut Pointer,
    assumed: Vec<String>,
    (first, second): (Angle, Angle),
) -> Result<Verdict, Error> {
    let mut found = answer(pointer, first, second, args.inverse)
        .map_err(|refusal| Error::Because(Box::new(refusal)))?;
    if !json {
        for sentence in &assumed {
            console.note(sentence);
        }
        if let Some(miss) = found.miss_deg {
            console.note(&table::miss_words(Angle::from_degrees(miss)));
        }
    }
    let text = if json {
        found.assumed = pointer.caveats().to_vec();
        found.assumed.extend(assumed);
        found.json()
    } else {
        found.plain(args.inverse)
    };
    console.deliver(&text, out)?;
    Ok(Verdict::Good)
}

/// One connection: its own present position, its own eye on the file.
fn connected(
    connection: &Connection,
    pointer: &Pointer,
    form: StreamForm,
    mut watch: CalibrationWatch<'_>,
    quiet: bool,
) -> std::io::Result<()> {
    let mut console = Console::new(quiet);
    let mut pointer = pointer.clone();
    let note = &mut |reload| tell(reload, &mut console);
    serve(
        connection,
        connection,
        &mut pointer,
        form,
        Some(&mut watch),
        note,
    )
    .map(drop)
}

/// Says what became of a changed file.
fn tell(reload: Reload, console: &mut Console) {
    match reload {
        Reload::Taken(text) => console.note(&text),
        Reload::Kept(text) | Reload::Caveat(text) => console.warning(&text),
    }
}

/// A stream from a file is done, but what it could not answer shows in the exit code.
fn verdict(tally: Tally, console: &mut Console) -> Result<Verdict, Error> {
    if tally.unreadable > 0 {
        return Err(Error::Input(
            crate::problem::Problem::of_file(
                "standard input",
                format!(
                    "{} could not be read",
                    counted(tally.unreadable as usize, "line")
                ),
                "azimuth and elevation in degrees on each line",
            )
            .mend("the answers say which: look for \"error line\"")
            .into(),
        ));
    }
    if tally.refused > 0 {
        console.warning(&format!(
            "{} could not be met; the answers say which and why",
            counted(tally.refused as usize, "demand")
        ));
        return Ok(Verdict::Unsupported);
    }
    Ok(Verdict::Good)
}
