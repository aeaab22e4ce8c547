//! What is asked of every reader, whatever bytes it is given: no panic, a message that says where
//! and that no terminal obeys, and of what is taken that it holds finite numbers and reads back as
//! it was written. The long run (`cargo fuzz`) and the tests use the same functions.

use std::path::Path;
use std::sync::OnceLock;

use plumbeam::angle::{Angle, EncoderReading};
use plumbeam::logbook::{
    Angles, Calibration, ColumnNames, CompassMeaning, LogOptions, Peak, PeakLog, PowerUnit,
    ScanOptions, ScanReader,
};
use plumbeam::observe::{PowerForm, PowerLines};
use plumbeam::outputs::{Found, OutputKind};
use plumbeam::problem::{Error, is_obeyed};
use plumbeam::simulate::{Truth, session};
use plumbeam::sky::Sky;
use plumbeam::station::Station;
use plumbeam::table::{
    ApproachChoice, CorrectionTable, Demand, Loaded, Pointer, Source, StreamForm, Watch, Writing,
    read_table, serve,
};
use plumbeam::time::{DateOrder, Offset};

/// Reads the bytes; whether they were taken for what they should be.
pub type Target = fn(&[u8]) -> bool;

/// One for each reader. Each has a binary of its name and a folder of good files in `corpus`.
pub const TARGETS: [(&str, Target); 14] = [
    ("station", station),
    ("peaks", peaks),
    ("logs", logs),
    ("scans", scans),
    ("powers", powers),
    ("angles", angles),
    ("calibration", calibration),
    ("table", table),
    ("truth", truth),
    ("elements", elements),
    ("outputs", outputs),
    ("stream", stream),
    ("receiver", receiver),
    ("arguments", arguments),
];

/// Gives the bytes to the target of that name.
#[allow(dead_code)] // the tests walk the list
pub fn run(name: &str, bytes: &[u8]) {
    let target = TARGETS.iter().find(|(known, _)| *known == name);
    let (_, target) = target.expect("a target of that name");
    target(bytes);
}

const FILE: &str = "file";

/// That a refusal is one of the input, names the file, is short, and is obeyed by no terminal.
fn refused(error: &Error) {
    let said = error.to_string();
    assert!(said.starts_with(FILE), "{said}");
    assert_eq!(error.exit_code(), 3, "{said}");
    /// Of twenty problems that each show a line and name what they know.
    const LONGEST: usize = 100_000;
    assert!(said.len() < LONGEST, "{} bytes are said", said.len());
    shown(&said);
}

/// That no terminal obeys it.
fn shown(said: &str) {
    let obeyed = said.chars().find(|c| is_obeyed(*c) && *c != '\n');
    assert_eq!(obeyed, None, "{said:?}");
}

fn finite(values: impl IntoIterator<Item = f64>) {
    for value in values {
        assert!(value.is_finite(), "{value} was taken");
    }
}

/// Emitters of every kind that needs no other file.
fn some_station() -> &'static Station {
    static STATION: OnceLock<Station> = OnceLock::new();
    STATION.get_or_init(|| {
        let text = include_bytes!("corpus/station/small.toml");
        Station::parse(FILE, Path::new(""), text).expect("a good station file")
    })
}

fn some_sky() -> &'static Sky {
    static SKY: OnceLock<Sky> = OnceLock::new();
    SKY.get_or_init(|| Sky::new(some_station()).expect("no other file is needed"))
}

fn some_table() -> &'static CorrectionTable {
    static TABLE: OnceLock<CorrectionTable> = OnceLock::new();
    TABLE.get_or_init(|| {
        let text = include_bytes!("corpus/table/small.csv");
        read_table(FILE, text).expect("a good table")
    })
}

fn station(bytes: &[u8]) -> bool {
    match Station::parse(FILE, Path::new(""), bytes) {
        Ok(station) => {
            let site = &station.site;
            finite([
                site.latitude.degrees(),
                site.longitude.degrees(),
                site.height_m,
                station.dish.beamwidth.degrees(),
                station.dish.frequency_mhz,
            ]);
            true
        }
        Err(error) => {
            refused(&error);
            false
        }
    }
}

/// The peaks without their places in the file.
fn placeless(log: &PeakLog) -> Vec<Peak> {
    let placeless = |p: &Peak| Peak {
        log: 0,
        row: 0,
        line: 0,
        ..p.clone()
    };
    log.peaks.iter().map(placeless).collect()
}

fn peaks(bytes: &[u8]) -> bool {
    peaks_with(bytes, &LogOptions::default())
}

/// Logs as others write them, with all said that they may leave open.
fn logs(bytes: &[u8]) -> bool {
    let sheets = [
        (
            "Az reading",
            "time_utc=When,emitter=What,azimuth_deg=Az reading,elevation_deg=El reading",
        ),
        (
            "Datum Uhrzeit",
            "time_utc=Datum Uhrzeit,emitter=Quelle,azimuth_deg=Azimut,elevation_deg=H\u{f6}he",
        ),
    ];
    let holds = |header: &str| bytes.windows(header.len()).any(|w| w == header.as_bytes());
    let columns = (sheets.iter().find(|(header, _)| holds(header)))
        .map(|(_, columns)| ColumnNames::parse(columns).expect("headers for columns"));
    peaks_with(
        bytes,
        &LogOptions {
            columns: columns.unwrap_or_default(),
            ..all_said()
        },
    )
}

fn all_said() -> LogOptions {
    LogOptions {
        zone: Some(Offset::from_hours(2)),
        dates: Some(DateOrder::DayMonthYear),
        emitter: Some("sun".to_owned()),
        approach: Some(CompassMeaning::From),
        ..LogOptions::default()
    }
}

fn peaks_with(bytes: &[u8], options: &LogOptions) -> bool {
    let log = match PeakLog::parse_with(FILE, bytes, some_station(), options) {
        Ok(log) => log,
        Err(error) => {
            refused(&error);
            return false;
        }
    };
    for peak in &log.peaks {
        let angles = [
            peak.azimuth,
            peak.elevation,
            peak.azimuth_sigma,
            peak.elevation_sigma,
        ];
        finite(angles.into_iter().flatten().map(Angle::degrees));
        finite([peak.peak_db, peak.temperature_c].into_iter().flatten());
    }
    let csv = log.to_csv();
    let again = PeakLog::parse(FILE, csv.as_bytes(), some_station());
    let again = again.unwrap_or_else(|e| panic!("{e}\n{csv}"));
    assert_eq!(placeless(&again), placeless(&log), "{csv}");
    assert_eq!(again.to_csv(), csv);
    true
}

fn scans(bytes: &[u8]) -> bool {
    scans_with(bytes, &ScanOptions::default())
}

/// Logs of power and of sweeps, with angles from a log of their own.
fn powers(bytes: &[u8]) -> bool {
    static SWEEPS: OnceLock<ScanOptions> = OnceLock::new();
    // A log of sweeps has no header, and its angles stand in a log of their own.
    if bytes.first().is_some_and(u8::is_ascii_digit) {
        let options = SWEEPS.get_or_init(|| {
            let text = include_bytes!("corpus/angles/plain.csv");
            let angles = Angles::parse(FILE, text, some_station(), &LogOptions::default());
            ScanOptions {
                log: all_said(),
                angles: Some(angles.expect("a good log of angles")),
                ..ScanOptions::default()
            }
        });
        return scans_with(bytes, options);
    }
    let own_headers = bytes.starts_with(b"Zeit");
    let columns = "time_utc=Zeit,azimuth_deg=Az,elevation_deg=El,power_db=Pegel dBm";
    let columns = own_headers.then(|| ColumnNames::parse(columns).expect("headers for columns"));
    let options = ScanOptions {
        log: LogOptions {
            columns: columns.unwrap_or_default(),
            ..all_said()
        },
        ..ScanOptions::default()
    };
    scans_with(bytes, &options)
}

fn angles(bytes: &[u8]) -> bool {
    match Angles::parse(FILE, bytes, some_station(), &all_said()) {
        Ok(_) => true,
        Err(error) => {
            refused(&error);
            false
        }
    }
}

fn scans_with(bytes: &[u8], options: &ScanOptions) -> bool {
    let mut reader = match ScanReader::new(FILE, bytes, some_station(), options) {
        Ok(reader) => reader,
        Err(error) => {
            refused(&error);
            return false;
        }
    };
    loop {
        match reader.next_scan() {
            Ok(Some(scan)) => finite(scan.samples.iter().flat_map(|s| {
                let readings = [s.azimuth, s.elevation];
                readings.map(Angle::degrees).into_iter().chain([s.power])
            })),
            Ok(None) => return true,
            Err(error) => {
                refused(&error);
                return false;
            }
        }
    }
}

fn calibration(bytes: &[u8]) -> bool {
    let read = match Calibration::parse(FILE, bytes) {
        Ok(read) => read,
        Err(error) => {
            refused(&error);
            return false;
        }
    };
    for name in [read.station.as_str(), "another"] {
        let standing = read.standing(name, plumbeam::mount::Kind::AzEl);
        standing.refusal().iter().for_each(|said| shown(said));
        standing.caveats().iter().for_each(|said| shown(said));
    }
    let json = read.to_json();
    let again = Calibration::parse(FILE, json.as_bytes());
    assert_eq!(again.unwrap_or_else(|e| panic!("{e}\n{json}")), read);
    true
}

/// Directions all over the sky, readings all over the range.
const DIRECTIONS: [(f64, f64); 6] = [
    (0.0, 0.0),
    (180.0, 35.0),
    (359.9, 89.9),
    (-100.0, 45.0),
    (720.0, -5.0),
    (1e18, 1e18),
];

fn table(bytes: &[u8]) -> bool {
    let read = match read_table(FILE, bytes) {
        Ok(read) => read,
        Err(error) => {
            refused(&error);
            // A wrong checksum hides all that may be behind it.
            let said = error.to_string();
            return match said.split_once("the checksum of the contents is ") {
                Some((_, right)) => with_checksum(bytes, &right[..8]).is_some_and(|b| table(&b)),
                None => false,
            };
        }
    };
    let source = Source::Table(Box::new(read));
    let mut pointer = Pointer::new(source, ApproachChoice::FromMove, None);
    for (azimuth, elevation) in DIRECTIONS {
        let (azimuth, elevation) = (Angle::from_degrees(azimuth), Angle::from_degrees(elevation));
        if let Ok(reading) = pointer.command(Demand { azimuth, elevation }) {
            finite([reading.azimuth.degrees(), reading.elevation.degrees()]);
        }
        if let Ok(demand) = pointer.demand_at(EncoderReading { azimuth, elevation }) {
            finite([demand.azimuth.degrees(), demand.elevation.degrees()]);
        }
    }
    true
}

/// The table with the right checksum in the place of the one that it has, unless that is right.
fn with_checksum(bytes: &[u8], right: &str) -> Option<Vec<u8>> {
    let text = std::str::from_utf8(bytes).ok()?;
    let (before, behind) = ["# crc32: ", "\"crc32\": \""]
        .iter()
        .find_map(|key| text.split_at_checked(text.find(key)? + key.len()))?;
    let found = behind.get(..8)?;
    (found != right).then(|| format!("{before}{right}{}", &behind[8..]).into_bytes())
}

fn truth(bytes: &[u8]) -> bool {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return false;
    };
    let truth = match Truth::parse(FILE, text) {
        Ok(truth) => truth,
        Err(error) => {
            refused(&error);
            return false;
        }
    };
    /// More take long, and tell no more.
    const MOST_PEAKS: usize = 4;
    if truth.session.peaks > MOST_PEAKS {
        return true;
    }
    match session(some_station(), some_sky(), &truth, 1) {
        Ok(log) => {
            for peak in &log.peaks {
                let angles = [peak.azimuth, peak.elevation];
                finite(angles.into_iter().flatten().map(Angle::degrees));
            }
        }
        Err(error) => shown(&error.to_string()),
    }
    true
}

fn elements(bytes: &[u8]) -> bool {
    match plumbeam::sky::satellites_in(FILE, bytes) {
        Ok(numbers) => {
            assert!(!numbers.is_empty());
            true
        }
        Err(error) => {
            refused(&error);
            false
        }
    }
}

/// What stands where an output should go.
fn outputs(bytes: &[u8]) -> bool {
    let found = Found::of(bytes);
    for kind in [
        OutputKind::Log,
        OutputKind::Sheet,
        OutputKind::Calibration,
        OutputKind::Table,
        OutputKind::Text,
    ] {
        if let Err(what) = found.replaced_by(kind, "reduce") {
            shown(&what);
        }
    }
    // A log with rows is never taken for what may be written over by another verb's output.
    if let Found::Log { rows, .. } = &found {
        assert!(*rows > 0 && found.replaced_by(OutputKind::Text, "reduce").is_err());
    }
    !matches!(found, Found::Nothing | Found::Other)
}

/// The live stream. The first byte chooses its form, the rest comes in.
fn stream(bytes: &[u8]) -> bool {
    let Some((form, input)) = bytes.split_first() else {
        return false;
    };
    let writing = match form % 3 {
        0 => Writing::Plain,
        1 => Writing::JsonLines,
        _ => Writing::JsonDocument,
    };
    let form = StreamForm {
        inverse: form & 4 != 0,
        writing,
        open_to_all: form & 8 != 0,
    };
    let source = Source::Table(Box::new(some_table().clone()));
    let mut pointer = Pointer::new(source.clone(), ApproachChoice::FromMove, None);
    let load = || {
        Ok(Loaded {
            source: source.clone(),
            beamwidth: None,
            caveats: Vec::new(),
        })
    };
    let mut watch = Watch::new(Path::new("no file"), None, &load);
    let mut said = Vec::new();
    let note = &mut |_| {};
    let tally = serve(input, &mut said, &mut pointer, form, Some(&mut watch), note);
    let tally = tally.expect("nothing fails in memory");
    let said = String::from_utf8(said).expect("answers are text");
    shown(&said);
    let lines = input.split(|b| *b == b'\n').count();
    let answers = match form.writing {
        Writing::Plain => said.lines().count(),
        Writing::JsonLines => {
            for line in said.lines() {
                serde_json::from_str::<serde_json::Value>(line).expect(line);
            }
            said.lines().count()
        }
        Writing::JsonDocument => {
            let document: serde_json::Value = serde_json::from_str(&said).expect(&said);
            document["rows"].as_array().expect("a list of rows").len()
        }
    };
    assert!(answers <= lines, "{answers} answers to {lines} lines");
    // Those to `reload` are not counted.
    let counted = tally.answered + tally.unreadable + tally.refused;
    assert!(answers as u64 >= counted, "{answers} answers, {tally:?}");
    tally.answered > 0
}

/// Lines of a receiver, in every form and unit.
fn receiver(bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(bytes);
    let mut taken = false;
    for form in [PowerForm::Line, PowerForm::Sweep] {
        for unit in [PowerUnit::Decibels, PowerUnit::Linear, PowerUnit::Counts] {
            let mut lines = PowerLines::new(form, unit);
            let mut all = true;
            for line in text.lines() {
                match lines.read(line) {
                    Ok(Some(power)) => finite([power.value].into_iter()),
                    Ok(None) => {}
                    Err(why) => {
                        assert!(!why.is_empty() && why.len() < 1000, "{why}");
                        all = false;
                    }
                }
            }
            taken |= all;
        }
    }
    taken
}

/// The command line: an argument a line.
fn arguments(bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(bytes);
    match plumbeam::understands(text.lines()) {
        Ok(()) => true,
        Err(said) => {
            shown(&said);
            false
        }
    }
}
