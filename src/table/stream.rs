//! A stream of demands, line by line, in constant memory and without delay.
//!
//! Each line with a demand gets exactly one line back, in order; a bad line gets an error line.
//! Answers are gathered while input is at hand and pushed out before waiting for more, so a
//! person at a keyboard sees each at once and a file runs at full speed.

use std::io::{self, BufRead, BufReader, Read, Write};

use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};

use crate::angle::{Angle, EncoderReading};
use crate::mount::{AxisKind, Kind};
use crate::text::is_of_the_web;

use super::demand::Demand;
use super::pointer::{Pointer, Source};
use super::refusal::Refusal;
use super::watch::{CalibrationWatch, Loaded};

/// What comes in and goes out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StreamForm {
    /// Readings in and demands out, instead of the other way round.
    pub inverse: bool,
    /// How answers are written.
    pub writing: Writing,
    /// Whether anybody who reaches a port may speak: what is not a demand then ends the stream.
    pub open_to_all: bool,
}

/// How answers are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Writing {
    /// Two numbers a line.
    Plain,
    /// One JSON object a line.
    JsonLines,
    /// One JSON document with the objects as its `rows`.
    JsonDocument,
}

/// How a stream went.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Lines answered with a direction.
    pub answered: u64,
    /// Lines that could not be read.
    pub unreadable: u64,
    /// Lines with a demand that cannot be met.
    pub refused: u64,
}

/// An answer as machines read it: encoder reading, the demand, and what was assumed where it is
/// not said once for all.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// Line of the input, in a stream.
    pub line: Option<u64>,
    /// The kind of mount, whose axes name the readings.
    pub mount: Kind,
    /// Whether the demand is in the mount's own coordinates.
    pub in_axes: bool,
    /// Reading of the first axis.
    pub azimuth_deg: f64,
    /// Reading of the second.
    pub elevation_deg: f64,
    /// What the sensors of the axes show there; none of an axis that counts degrees.
    pub sensors: [Option<f64>; 2],
    /// With a second axis that has no motor: by how much the beam passes south of the demand.
    pub miss_deg: Option<f64>,
    /// Which demand: `geometric` or `apparent`.
    pub demand: &'static str,
    /// Demanded azimuth, or first coordinate.
    pub demand_azimuth_deg: f64,
    /// Demanded elevation, or second coordinate.
    pub demand_elevation_deg: f64,
    /// Assumptions in words.
    pub assumed: Vec<String>,
}

impl Serialize for Answer {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let [one, two] = self.mount.axes().map(AxisKind::key);
        let [demand_one, demand_two] = match self.in_axes {
            true => [one, two],
            false => ["azimuth", "elevation"],
        };
        let mut map = serializer.serialize_map(None)?;
        if let Some(line) = self.line {
            map.serialize_entry("line", &line)?;
        }
        map.serialize_entry(&format!("{one}_deg"), &self.azimuth_deg)?;
        map.serialize_entry(&format!("{two}_deg"), &self.elevation_deg)?;
        for (axis, shown) in [one, two].into_iter().zip(self.sensors) {
            if let Some(shown) = shown {
                map.serialize_entry(&format!("{axis}_sensor"), &shown)?;
            }
        }
        if let Some(miss) = self.miss_deg {
            map.serialize_entry("declination_miss_deg", &miss)?;
        }
        map.serialize_entry("demand", self.demand)?;
        map.serialize_entry(
            &format!("demand_{demand_one}_deg"),
            &self.demand_azimuth_deg,
        )?;
        map.serialize_entry(
            &format!("demand_{demand_two}_deg"),
            &self.demand_elevation_deg,
        )?;
        if !self.assumed.is_empty() {
            map.serialize_entry("assumed", &self.assumed)?;
        }
        map.end()
    }
}

#[derive(Serialize)]
struct ErrorAnswer<'a> {
    line: u64,
    error: &'a str,
}

/// What became of a changed calibration file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reload {
    /// The new one is in use.
    Taken(String),
    /// The new one is bad, and the old one stays in use.
    Kept(String),
    /// What must be known of the new one.
    Caveat(String),
}

/// Longer lines are refused: they are not demands, and memory stays constant.
const LONGEST_LINE: usize = 4096;

/// Two numbers of one line or argument pair as a demand or reading goes through the pointer.
///
/// # Errors
/// [`Refusal`].
pub fn answer(
    pointer: &mut Pointer,
    first: Angle,
    second: Angle,
    inverse: bool,
) -> Result<Answer, Refusal> {
    let (reading, demand) = if inverse {
        let reading = EncoderReading {
            azimuth: first,
            elevation: second,
        };
        (reading, pointer.demand_at(reading)?)
    } else {
        let demand = Demand {
            azimuth: first,
            elevation: second,
        };
        (pointer.command(demand)?, demand)
    };
    let (reading, miss) = match inverse {
        true => (reading, None),
        false => pointer.within_motors(reading),
    };
    Ok(Answer {
        line: None,
        mount: pointer.source().mount(),
        in_axes: pointer.takes_axes(),
        azimuth_deg: tidy(reading.azimuth),
        elevation_deg: tidy(reading.elevation),
        sensors: pointer.shown(reading),
        miss_deg: miss.map(tidy),
        demand: pointer.source().demand().name(),
        demand_azimuth_deg: tidy(demand.azimuth),
        demand_elevation_deg: tidy(demand.elevation),
        assumed: Vec::new(),
    })
}

/// Degrees without the dust of rounding: ten decimals, a hundredth of what the inverse of the mount
/// model is good for.
pub(super) fn tidy(angle: Angle) -> f64 {
    /// Ten decimals: far finer than any encoder, and rounding does not show.
    const DECIMALS: f64 = 1e10;
    (angle.degrees() * DECIMALS).round() / DECIMALS
}

impl Answer {
    /// The two numbers of the plain form: the reading, with what the sensors show behind it, or
    /// inverse the demand.
    pub fn plain(&self, inverse: bool) -> String {
        let (azimuth, elevation) = self.pair(inverse);
        let shown = if inverse { [None, None] } else { self.sensors };
        format!("{azimuth:.6} {elevation:.6}{}\n", behind(shown))
    }

    /// The whole as one indented JSON document.
    pub fn json(&self) -> String {
        // A plain struct of numbers and texts always serialises.
        serde_json::to_string_pretty(self).unwrap_or_default() + "\n"
    }

    fn pair(&self, inverse: bool) -> (f64, f64) {
        if inverse {
            (self.demand_azimuth_deg, self.demand_elevation_deg)
        } else {
            (self.azimuth_deg, self.elevation_deg)
        }
    }
}

/// What sensors show, as it stands behind two readings in degrees.
pub fn behind(shown: [Option<f64>; 2]) -> String {
    shown
        .iter()
        .flatten()
        .map(|shown| format!(" {shown}"))
        .collect()
}

/// What a line of the stream asks for.
enum Asked {
    Nothing,
    Reload,
    Confirm,
    Pair(Angle, Angle),
}

/// Whether a line is of a request of the web or of another protocol: what comes behind must not be
/// heard.
fn is_of_another_trade(line: &[u8]) -> bool {
    // An encrypted request begins with bytes that no line holds.
    let Ok(text) = std::str::from_utf8(line) else {
        return true;
    };
    is_of_the_web(text) || text.contains(|c: char| c.is_control() && !matches!(c, '\t' | '\r'))
}

/// An error as a line of its own, with the end of the line.
pub fn error_line(writing: Writing, line: u64, why: &str) -> String {
    match writing {
        Writing::Plain => format!("error line {line}: {why}\n"),
        Writing::JsonLines | Writing::JsonDocument => {
            // A number and a text always serialise.
            let object = ErrorAnswer { line, error: why };
            serde_json::to_string(&object).unwrap_or_default() + "\n"
        }
    }
}

/// Two numbers with blanks or a comma between them; `#` begins a comment.
fn parse(line: &[u8]) -> Result<Asked, String> {
    let text = std::str::from_utf8(line).map_err(|_| "no UTF-8 text".to_owned())?;
    let text = text.split('#').next().unwrap_or("");
    let text = text.trim_start_matches('\u{feff}').trim();
    if text.is_empty() {
        return Ok(Asked::Nothing);
    }
    if text.eq_ignore_ascii_case("reload") {
        return Ok(Asked::Reload);
    }
    if text.eq_ignore_ascii_case("confirm") {
        return Ok(Asked::Confirm);
    }
    let mut numbers = text
        .split(|c: char| c.is_whitespace() || c == ',')
        .filter(|word| !word.is_empty());
    let (first, second, more) = (numbers.next(), numbers.next(), numbers.count());
    let (Some(first), Some(second), 0) = (first, second, more) else {
        let count = more + usize::from(first.is_some()) + usize::from(second.is_some());
        let hint = if count == 4 && text.contains(',') {
            "; decimals take a point, not a comma"
        } else {
            ""
        };
        let numbers = if count == 1 { "number" } else { "numbers" };
        return Err(format!(
            "{count} {numbers} found; expected azimuth and elevation in degrees{hint}"
        ));
    };
    let number = |word: &str| match word.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(Angle::from_degrees(value)),
        _ => Err(format!(
            "\"{}\" is not a number of degrees; expected azimuth and elevation, such as 135.2 41.8",
            crate::problem::printable(word)
        )),
    };
    Ok(Asked::Pair(number(first)?, number(second)?))
}

/// The running state of a stream.
struct LineSession<'a, W: Write> {
    output: W,
    pointer: &'a mut Pointer,
    form: StreamForm,
    line: u64,
    rows: u64,
    tally: Tally,
    /// Whether nothing more is heard.
    ended: bool,
}

/// Answers every line of `input` until it ends. With a [`CalibrationWatch`] the calibration is read
/// again when its file changes or a line says `reload`; what comes of the former is passed to
/// `note`. One that would make the readings jump is taken only when a line says `confirm`.
///
/// # Errors
/// When input or output fails.
pub fn serve(
    input: impl Read,
    output: impl Write,
    pointer: &mut Pointer,
    form: StreamForm,
    mut watch: Option<&mut CalibrationWatch<'_>>,
    note: &mut dyn FnMut(Reload),
) -> io::Result<Tally> {
    let mut input = BufReader::with_capacity(1 << 16, input);
    let mut session = LineSession {
        output: io::BufWriter::with_capacity(1 << 16, output),
        pointer,
        form,
        line: 0,
        rows: 0,
        tally: Tally::default(),
        ended: false,
    };
    session.begin()?;
    // The beginning of a line whose end has not come yet.
    let mut part: Vec<u8> = Vec::new();
    let mut too_long = false;
    loop {
        if input.buffer().is_empty() {
            // Reading may wait now: nothing answered must wait with it.
            session.output.flush()?;
        }
        let bytes = match input.fill_buf() {
            Ok(bytes) => bytes,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
            Err(e) => return Err(e),
        };
        if bytes.is_empty() {
            if !part.is_empty() || too_long {
                session.line(&part, too_long, &mut watch, note)?;
            }
            session.end()?;
            return Ok(session.tally);
        }
        let end = bytes.iter().position(|b| *b == b'\n');
        let piece = &bytes[..end.unwrap_or(bytes.len())];
        let used = piece.len() + usize::from(end.is_some());
        if part.is_empty() && !too_long && end.is_some() && piece.len() <= LONGEST_LINE {
            // The usual case needs no copy.
            session.line(piece, false, &mut watch, note)?;
        } else {
            if part.len() + piece.len() > LONGEST_LINE {
                too_long = true;
                part.clear();
            }
            if !too_long {
                part.extend_from_slice(piece);
            }
            if end.is_some() {
                session.line(&part, too_long, &mut watch, note)?;
                part.clear();
                too_long = false;
            }
        }
        input.consume(used);
        if session.ended {
            session.end()?;
            return Ok(session.tally);
        }
    }
}

impl<W: Write> LineSession<'_, W> {
    fn line(
        &mut self,
        line: &[u8],
        too_long: bool,
        watch: &mut Option<&mut CalibrationWatch<'_>>,
        note: &mut dyn FnMut(Reload),
    ) -> io::Result<()> {
        self.line += 1;
        if let Some(watch) = watch
            && let Some(result) = watch.changed(self.pointer.source(), self.pointer.present())
        {
            match result {
                Ok(loaded) => {
                    note(Reload::Taken(format!("{} was read again", watch.name())));
                    self.take(loaded, note);
                }
                Err(error) => note(Reload::Kept(format!(
                    "the old calibration stays in use: {error}"
                ))),
            }
        }
        if self.form.open_to_all && (too_long || is_of_another_trade(line)) {
            self.tally.unreadable += 1;
            self.ended = true;
            return self.error(
                "this is not a web server; a line holds two numbers, `reload` or `confirm`: closed",
            );
        }
        if too_long {
            self.tally.unreadable += 1;
            return self.error(&format!("more than {LONGEST_LINE} bytes in one line"));
        }
        match parse(line) {
            Ok(Asked::Nothing) => Ok(()),
            Ok(Asked::Reload) => self.reload(watch, "reload", CalibrationWatch::read, note),
            Ok(Asked::Confirm) => self.reload(watch, "confirm", CalibrationWatch::confirm, note),
            Ok(Asked::Pair(first, second)) => {
                match answer(self.pointer, first, second, self.form.inverse) {
                    Ok(answer) => {
                        self.tally.answered += 1;
                        self.write(answer)
                    }
                    Err(refusal) => {
                        self.tally.refused += 1;
                        self.error(&refusal.to_string())
                    }
                }
            }
            Err(why) => {
                self.tally.unreadable += 1;
                self.error(&why)
            }
        }
    }

    /// Reads the calibration again as a line of the stream asks, and answers that line.
    fn reload<'w>(
        &mut self,
        watch: &mut Option<&mut CalibrationWatch<'w>>,
        asked: &str,
        read: impl Fn(
            &mut CalibrationWatch<'w>,
            &Source,
            Option<EncoderReading>,
        ) -> Result<Loaded, String>,
        note: &mut dyn FnMut(Reload),
    ) -> io::Result<()> {
        let Some(watch) = watch else {
            self.tally.unreadable += 1;
            return self.error(&format!(
                "{asked} is understood with --stream, --listen and --serial only"
            ));
        };
        match read(watch, self.pointer.source(), self.pointer.present()) {
            Ok(loaded) => {
                self.take(loaded, note);
                match self.form.writing {
                    Writing::Plain => writeln!(self.output, "reloaded"),
                    Writing::JsonLines | Writing::JsonDocument => {
                        self.json(&serde_json::json!({"line": self.line, "reloaded": true}))
                    }
                }
            }
            Err(why) => {
                self.tally.unreadable += 1;
                self.error(&format!("the old calibration stays in use: {why}"))
            }
        }
    }

    /// Computes with what was loaded from now on, and says what must be known of it.
    fn take(&mut self, loaded: Loaded, note: &mut dyn FnMut(Reload)) {
        for caveat in &loaded.caveats {
            note(Reload::Caveat(caveat.clone()));
        }
        self.pointer.replace_source(loaded.source, loaded.caveats);
    }

    fn write(&mut self, mut answer: Answer) -> io::Result<()> {
        match self.form.writing {
            Writing::Plain => self
                .output
                .write_all(answer.plain(self.form.inverse).as_bytes()),
            Writing::JsonLines | Writing::JsonDocument => {
                answer.line = Some(self.line);
                self.json(&answer)
            }
        }
    }

    fn error(&mut self, why: &str) -> io::Result<()> {
        match self.form.writing {
            Writing::Plain => {
                let line = error_line(self.form.writing, self.line, why);
                self.output.write_all(line.as_bytes())
            }
            Writing::JsonLines | Writing::JsonDocument => {
                let line = self.line;
                self.json(&ErrorAnswer { line, error: why })
            }
        }
    }

    /// One object in its place.
    fn json(&mut self, object: &impl Serialize) -> io::Result<()> {
        let document = self.form.writing == Writing::JsonDocument;
        if document && self.rows > 0 {
            self.output.write_all(b",\n")?;
        }
        self.rows += 1;
        serde_json::to_writer(&mut self.output, object)?;
        if document {
            Ok(())
        } else {
            self.output.write_all(b"\n")
        }
    }

    fn begin(&mut self) -> io::Result<()> {
        if self.form.writing != Writing::JsonDocument {
            return Ok(());
        }
        let mut assumed = self.pointer.caveats().to_vec();
        assumed.extend(self.pointer.assumptions(!self.form.inverse));
        self.output.write_all(b"{\"assumed\":")?;
        serde_json::to_writer(&mut self.output, &assumed)?;
        self.output.write_all(b",\n\"rows\":[\n")
    }

    fn end(&mut self) -> io::Result<()> {
        if self.form.writing == Writing::JsonDocument {
            self.output.write_all(b"\n]}\n")?;
        }
        self.output.flush()
    }
}
