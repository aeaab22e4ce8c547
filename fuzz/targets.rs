//! What is asked of every reader, whatever bytes it is given: no panic, a message that says where
//! and that no terminal obeys, and of what is taken that it holds finite numbers and reads back as
//! it was written. The long run (`cargo fuzz`) and the tests use the same functions.

use std::collections::VecDeque;
use std::path::Path;
use std::sync::OnceLock;
use std::time::Duration;

use plumbeam::angle::{Angle, EncoderReading};
use plumbeam::desk::{DeskSession, EditRequest, edit_log as edits};
use plumbeam::live::protocol::{Code, Command, DaemonLine, DaemonRequest, DemandLimits, Lines};
use plumbeam::live::{
    About, Action, Aim, Axes, Event, InKeyhole, OnDisconnect, Operator, Relay, RelaySettings,
    ReportTurn, SunPlace, Wire, head, parse_log,
};
use plumbeam::logbook::{
    Angles, Calibration, ColumnNames, CompassMeaning, LogOptions, Peak, PeakLog, PowerUnit,
    ScanOptions, ScanReader,
};
use plumbeam::mount::{MountModel, Term, TermValues};
use plumbeam::observe::{PowerForm, PowerLines};
use plumbeam::outputs::{FileContents, OutputKind};
use plumbeam::problem::{Error, is_obeyed};
use plumbeam::simulate::{Truth, session};
use plumbeam::sky::Sky;
use plumbeam::station::Station;
use plumbeam::table::{
    Air, ApproachChoice, CalibrationWatch, CorrectionTable, Demand, DemandKind, EncoderRange,
    FullModel, Loaded, Pointer, Source, StreamForm, Writing, read_table, serve,
};
use plumbeam::time::{DateOrder, Utc, ZoneOffset};

/// Reads the bytes; whether they were taken for what they should be.
pub type Target = fn(&[u8]) -> bool;

/// One for each reader. Each has a binary of its name and a folder of good files in `corpus`.
pub const TARGETS: [(&str, Target); 19] = [
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
    ("protocol", protocol),
    ("relay", relay),
    ("relay_log", relay_log),
    ("edit", edit),
    ("edit_log", edit_log),
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
        zone: Some(ZoneOffset::from_hours(2)),
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
    let source = Source::from(read);
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
    let found = FileContents::of(bytes);
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
    if let FileContents::Log { rows, .. } = &found {
        assert!(*rows > 0 && found.replaced_by(OutputKind::Text, "reduce").is_err());
    }
    !matches!(found, FileContents::Nothing | FileContents::Other)
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
    let source = Source::from(some_table().clone());
    let mut pointer = Pointer::new(source.clone(), ApproachChoice::FromMove, None);
    let load = || {
        Ok(Loaded {
            source: source.clone(),
            beamwidth: None,
            caveats: Vec::new(),
        })
    };
    let mut watch = CalibrationWatch::new(Path::new("no file"), None, &load);
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
                    Ok(Some(power)) => finite([power.value]),
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

/// What clients of the relay send: commands read and replies written.
fn protocol(bytes: &[u8]) -> bool {
    let mut lines = Vec::new();
    Lines::default().feed(bytes, |line| lines.push(line));
    let mut known = !lines.is_empty();
    for line in &lines {
        let DaemonLine::Text(text) = line else {
            known = false;
            continue;
        };
        let Some(request) = DaemonRequest::parse(text) else {
            continue;
        };
        known &= !matches!(request.command, Command::Faulty | Command::Unknown);
        if let Command::SetPosition { azimuth, elevation } = request.command {
            finite([azimuth, elevation]);
        }
        let limits = DemandLimits {
            azimuth: (-180.0, 540.0),
            elevation: (0.0, 90.0),
        };
        for reply in [
            request.answer(Code::Rejected),
            request.position(1.5, -0.0),
            request.info("who"),
            request.state(&limits),
        ] {
            assert!(reply.ends_with('\n'), "{reply:?}");
            shown(&reply);
        }
    }
    known
}

/// The lowest and highest reading of each axis of the pretended mount.
const RANGES: [(f64, f64); 2] = [(-180.0, 540.0), (0.0, 90.0)];

/// A relay on a clock of its own, between clients and a mount that both do as the lines say: the
/// first letter says who does something, the rest what.
fn relay(bytes: &[u8]) -> bool {
    let mut scene = Scene::new();
    // The connections are made and the mount has told where it stands.
    scene.wait(Duration::from_millis(1000));
    for line in bytes.split(|b| *b == b'\n') {
        let Some((who, rest)) = line.split_first() else {
            continue;
        };
        match who {
            b'a' => scene.client(1, rest),
            b'b' => scene.client(2, rest),
            // Answers out of turn.
            b'm' => scene.answers(Wire::Main, rest),
            b's' => scene.answers(Wire::Stop, rest),
            b'd' => scene.handle(Event::WireDown(Wire::Main, "gone".to_owned())),
            b'e' => scene.handle(Event::WireDown(Wire::Stop, "gone".to_owned())),
            b'q' => scene.silent = !scene.silent,
            b'j' => scene.jump(rest),
            b'o' => scene.operator(rest),
            b'f' => scene.handle(Event::StopFile(rest.is_empty())),
            b't' => {
                let tenths = std::str::from_utf8(rest).ok().and_then(|t| t.parse().ok());
                scene.wait(Duration::from_millis(100) * tenths.unwrap_or(1u32).min(100));
            }
            _ => {}
        }
    }
    let log = parse_log(FILE, scene.log.as_bytes());
    let log = log.unwrap_or_else(|e| panic!("its own log is not read: {e}"));
    for pass in &log.passes {
        finite([pass.figures.followed_s, pass.figures.on_target_s]);
        finite(pass.samples.iter().map(|sample| sample.miss.degrees()));
    }
    scene.targets > 0
}

struct Scene {
    relay: Relay,
    now: Duration,
    splits: [Lines; 2],
    lines: u64,
    /// Answers of the mount that are on their way.
    answers: VecDeque<(Wire, String)>,
    at: [f64; 2],
    /// Whether the mount answers nothing.
    silent: bool,
    /// Whether a stop was the last that came, and no demand since.
    stopped: bool,
    targets: usize,
    log: String,
}

impl Scene {
    fn new() -> Scene {
        let values = [(Term::AzimuthZero, 3.0), (Term::TiltNorth, 0.5)];
        let values = (values.into_iter()).fold(TermValues::ZERO, |values, (term, degrees)| {
            values.with_shown(term, degrees)
        });
        let range = RANGES.map(|(low, high)| (Angle::from_degrees(low), Angle::from_degrees(high)));
        let full = FullModel {
            mount: MountModel::az_el(values),
            air: Air::for_demand(DemandKind::Geometric, some_station().site.weather),
            range: EncoderRange {
                azimuth: range[0],
                elevation: range[1],
            },
        };
        let sun = full.mount.beam_vector(
            EncoderReading::from_degrees(180.0, 35.0),
            plumbeam::mount::ApproachSigns::UNKNOWN,
        );
        let settings = RelaySettings {
            leash: Angle::from_degrees(10.0),
            deadband: Angle::from_degrees(0.05),
            zone: Some(Angle::from_degrees(10.0)),
            beamwidth: Angle::from_degrees(2.0),
            on_disconnect: OnDisconnect::Stop,
            park: Some(Axes::from_degrees(0.0, 80.0)),
            allow_move: true,
            allow_reset: true,
            own_stop: true,
            who: "relay".to_owned(),
        };
        let aim = Aim::new(Box::new(full), InKeyhole::Hold, ReportTurn::AsAsked);
        let about = About {
            station: "Mill meadow".to_owned(),
            mount_kind: "az-el".to_owned(),
            beamwidth_deg: 2.0,
            demand: "geometric".to_owned(),
            checksum: "0badcafe".to_owned(),
        };
        let mut scene = Scene {
            relay: Relay::new(settings, aim, Box::new(move |_| SunPlace::Up(sun))),
            now: Duration::ZERO,
            splits: Default::default(),
            lines: 0,
            answers: VecDeque::new(),
            at: [100.0, 30.0],
            silent: false,
            stopped: false,
            targets: 0,
            log: head(&about),
        };
        for id in [1, 2] {
            scene.handle(Event::Opened(id, format!("client {id}")));
        }
        scene
    }

    fn handle(&mut self, event: Event<'_>) {
        /// Some day.
        const START: i64 = 1_789_000_000_000_000_000;
        let time = Utc::from_unix_nanos(START).plus_seconds(self.now.as_secs_f64());
        for action in self.relay.handle(event, self.now, time) {
            match action {
                Action::Write(wire, text) => self.mount(wire, &text),
                Action::Connect(wire) => self.handle(Event::WireUp(wire)),
                Action::Send(_, text) => {
                    assert!(text.ends_with('\n'), "{text:?}");
                    shown(&text);
                }
                Action::Log(row) => self.log.push_str(&row.line()),
                _ => {}
            }
        }
    }

    /// The mount hears something: goes there at once, and answers.
    fn mount(&mut self, wire: Wire, text: &str) {
        let reply = match text.split_whitespace().collect::<Vec<&str>>()[..] {
            ["p"] => format!("{:.2}\n{:.2}\n", self.at[0], self.at[1]),
            ["S"] | ["R", "1"] => "RPRT 0\n".to_owned(),
            ["P", first, second] => {
                assert!(!self.stopped, "after a stop: {text:?}");
                let target = [first, second].map(|n| n.parse::<f64>().expect("a number"));
                for (target, (low, high)) in target.iter().zip(RANGES) {
                    assert!((low..=high).contains(target), "out of range: {text:?}");
                }
                self.targets += 1;
                self.at = target;
                "RPRT 0\n".to_owned()
            }
            _ => panic!("the mount is told {text:?}"),
        };
        if !self.silent {
            self.answers.push_back((wire, reply));
        }
    }

    fn answers(&mut self, wire: Wire, bytes: &[u8]) {
        self.handle(Event::WireBytes(wire, &[bytes, b"\n"].concat()));
    }

    fn jump(&mut self, rest: &[u8]) {
        let far = std::str::from_utf8(rest).ok().and_then(|t| t.parse().ok());
        self.at[0] += far.filter(|far: &f64| far.is_finite()).unwrap_or(5.0);
    }

    fn operator(&mut self, rest: &[u8]) {
        let what = match rest.first() {
            Some(b'a') => Operator::Acknowledge,
            Some(b'q') => Operator::End,
            _ => Operator::Stop,
        };
        self.stopped |= what != Operator::Acknowledge;
        self.handle(Event::Operator(what, "a key"));
    }

    fn client(&mut self, id: u64, bytes: &[u8]) {
        let mut came = Vec::new();
        let split = &mut self.splits[id as usize - 1];
        split.feed(&[bytes, b"\n"].concat(), |line| came.push(line));
        for line in came {
            let request = match &line {
                DaemonLine::Text(text) => DaemonRequest::parse(text),
                DaemonLine::TooLong => None,
            };
            match request.map(|request| request.command) {
                Some(Command::Stop) => self.stopped = true,
                Some(Command::SetPosition { .. } | Command::Park | Command::Move { .. }) => {
                    self.stopped = false;
                }
                _ => {}
            }
            self.lines += 1;
            self.handle(Event::Line(id, line, self.lines));
        }
    }

    /// Time goes by, and what the mount said arrives.
    fn wait(&mut self, time: Duration) {
        let until = self.now + time;
        loop {
            while let Some((wire, text)) = self.answers.pop_front() {
                self.handle(Event::WireBytes(wire, text.as_bytes()));
            }
            if self.now >= until {
                return;
            }
            self.now = until.min(self.relay.next_tick().max(self.now));
            self.handle(Event::Tick);
        }
    }
}

/// The log of a relay, read back.
fn relay_log(bytes: &[u8]) -> bool {
    let log = match parse_log(FILE, bytes) {
        Ok(log) => log,
        Err(error) => {
            refused(&error);
            return false;
        }
    };
    finite([log.beamwidth.degrees()]);
    for pass in &log.passes {
        let figures = &pass.figures;
        finite([figures.followed_s, figures.on_target_s]);
        let others = [
            figures.largest_lag_deg,
            figures.lost_db,
            figures.lost_without_correction_db,
        ];
        finite(others.into_iter().flatten());
        finite(pass.samples.iter().map(|sample| sample.miss.degrees()));
    }
    true
}

/// An edit as a page sends it: read, and its peak read as a log is.
fn edit(bytes: &[u8]) -> bool {
    static SESSION: OnceLock<DeskSession> = OnceLock::new();
    let Ok(asked) = serde_json::from_slice::<EditRequest>(bytes) else {
        return false;
    };
    match asked {
        EditRequest::AddPeak(typed) => {
            let session = SESSION.get_or_init(|| {
                // A folder that is not there holds no log.
                let place = Path::new("no-such-folder/station.toml");
                DeskSession::open(place, some_station().clone(), None).expect("a session")
            });
            match session.typed_peak(&typed) {
                Ok(peak) => finite(
                    [peak.azimuth, peak.elevation]
                        .into_iter()
                        .flatten()
                        .map(Angle::degrees),
                ),
                Err(error) => {
                    shown(&error.to_string());
                    return false;
                }
            }
        }
        EditRequest::Import { options, .. } => {
            if let Err(wrong) = options.options() {
                shown(&plumbeam::problem::printable(&wrong));
                return false;
            }
        }
        _ => {}
    }
    true
}

/// The file of edits, replayed.
fn edit_log(bytes: &[u8]) -> bool {
    match edits::replay(FILE, bytes) {
        Ok(replayed) => {
            assert!(replayed.length <= bytes.len());
            let whole = edits::replay(FILE, &bytes[..replayed.length]).expect("what was whole");
            assert_eq!(whole.history.version, replayed.history.version);
            assert!(whole.said.is_empty());
            true
        }
        Err(error) => {
            refused(&error);
            false
        }
    }
}
