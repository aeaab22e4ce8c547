//! `peaks.csv`, read strictly and written so that nothing is lost.

use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::io::BufRead;
use std::path::Path;

use super::columns::{Cell, Columns};
use super::peak::{Approach, Peak, PeakLog};
use super::rows::{Row, RowReader};
use crate::angle::Angle;
use crate::files;
use crate::problem::{Error, Problems, Wrong, nearest_name};
use crate::quantity::Quantity;
use crate::station::Station;
use crate::text::{from_cell, quoted, to_cell};
use crate::time::Utc;

/// The columns, the required ones first.
const COLUMNS: [&str; 12] = [
    "time_utc",
    "emitter",
    "azimuth_deg",
    "elevation_deg",
    "azimuth_sigma_deg",
    "elevation_sigma_deg",
    "azimuth_approach",
    "elevation_approach",
    "peak_db",
    "temperature_c",
    "use",
    "note",
];
const REQUIRED: usize = 4;
/// Places in [`COLUMNS`].
const TIME: usize = 0;
const EMITTER: usize = 1;
const AZIMUTH: usize = 2;
const ELEVATION: usize = 3;
const AZIMUTH_SIGMA: usize = 4;
const ELEVATION_SIGMA: usize = 5;
const AZIMUTH_APPROACH: usize = 6;
const ELEVATION_APPROACH: usize = 7;
const PEAK_DB: usize = 8;
const TEMPERATURE: usize = 9;
const USE: usize = 10;
const NOTE: usize = 11;

/// An azimuth reading may have any number of turns in it, but not any number of digits.
pub const AZIMUTH_READING: Quantity =
    Quantity::new(-100_000.0, 100_000.0, "degrees from -100000 to 100000").hint(slipped);
/// An elevation reading; above 90 degrees the dish is over the top.
pub const ELEVATION_READING: Quantity =
    Quantity::new(-90.0, 270.0, "degrees from -90 to 270").hint(slipped);
fn slipped(_: f64) -> Option<String> {
    Some("look for a slipped digit or exchanged columns".to_owned())
}
/// A standard deviation; the smallest number above zero stands for "above zero".
const SIGMA: Quantity = Quantity::new(
    f64::MIN_POSITIVE,
    90.0,
    "one standard deviation in degrees, above 0 and at most 90",
)
.hint(|value| (value <= 0.0).then(|| "leave it empty if it is not known".to_owned()));
const DECIBELS: Quantity = Quantity::new(-1000.0, 1000.0, "decibels from -1000 to 1000");
const CELSIUS: Quantity =
    Quantity::new(-100.0, 100.0, "degrees Celsius from -100 to 100").hint(|value| {
        (150.0..400.0)
            .contains(&value)
            .then(|| format!("if that is kelvin, write {:.1}", value - 273.15))
    });

/// So many emitters are listed when a row names an unknown one.
const MOST_EMITTERS_LISTED: usize = 12;
/// So many readings outside the encoder ranges are told one by one; the rest are counted.
const MOST_RANGE_WARNINGS: usize = 10;

impl PeakLog {
    /// Reads a peaks file, or standard input when `path` is `-`.
    ///
    /// # Errors
    /// When it cannot be read, and all that is wrong with it.
    pub fn read(path: &Path, station: &Station) -> Result<PeakLog, Error> {
        let (name, input) = files::open(path)?;
        PeakLog::from_reader(&name, input, station)
    }

    /// The same for a diagnosis, which can tell readings in another unit or in each other's
    /// column: it takes any elevation reading, however absurd.
    ///
    /// # Errors
    /// As [`PeakLog::read`].
    pub fn read_as_written(path: &Path, station: &Station) -> Result<PeakLog, Error> {
        let (name, input) = files::open(path)?;
        PeakLog::from_rows(&name, input, station, &AZIMUTH_READING)
    }

    /// Reads a peaks file from its bytes; messages call it `file`.
    ///
    /// # Errors
    /// All that is wrong with it.
    pub fn parse(file: &str, bytes: &[u8], station: &Station) -> Result<PeakLog, Error> {
        PeakLog::from_reader(file, bytes, station)
    }

    /// Reads a peaks file from anything; messages call it `file`.
    ///
    /// # Errors
    /// When it cannot be read, and all that is wrong with it.
    pub fn from_reader(
        file: &str,
        input: impl BufRead,
        station: &Station,
    ) -> Result<PeakLog, Error> {
        PeakLog::from_rows(file, input, station, &ELEVATION_READING)
    }

    fn from_rows(
        file: &str,
        input: impl BufRead,
        station: &Station,
        elevation: &Quantity,
    ) -> Result<PeakLog, Error> {
        let mut problems = Problems::new();
        let mut rows = RowReader::new(file, input);
        let header = rows.header()?;
        let header_line = header.line;
        let columns = Columns::find(&header, &COLUMNS, REQUIRED, &mut problems)?;
        let mut log = PeakLog {
            file: file.to_owned(),
            extra_columns: columns.own_names().to_vec(),
            ..PeakLog::default()
        };
        let mut earlier = HashMap::new();
        while let Some(row) = rows.next(&mut problems)? {
            let Some(peak) = peak_of(&row, &columns, station, elevation, &mut problems) else {
                continue;
            };
            match earlier.entry(fingerprint(&peak, station)) {
                Entry::Vacant(place) => {
                    place.insert(row.line);
                }
                Entry::Occupied(first) => {
                    let wrong = Wrong::new(
                        format!(
                            "this row repeats line {}: the same time, emitter and readings",
                            first.get()
                        ),
                        "each peak once",
                    )
                    .mend("delete one of the two");
                    problems.push(columns.cell(&row, TIME).problem(wrong));
                }
            }
            // A faulty file gives no log, so its other peaks need not be kept.
            if problems.is_empty() {
                log.peaks.push(peak);
            }
        }
        if problems.is_empty() && log.peaks.is_empty() {
            let wrong = Wrong::new(
                "the file has a header but no rows",
                "a row for each peak below it",
            );
            problems.push(wrong.at(file, header_line, 1));
        }
        log.warnings = range_warnings(&log, station);
        problems.or_value(log)
    }

    /// The log as CSV, with the optional columns that are used and the user's own.
    /// [`PeakLog::parse`] reads the same peaks from it; comments are not kept.
    pub fn to_csv(&self) -> String {
        let used = |column: usize| match column {
            AZIMUTH_SIGMA => self.peaks.iter().any(|p| p.azimuth_sigma.is_some()),
            ELEVATION_SIGMA => self.peaks.iter().any(|p| p.elevation_sigma.is_some()),
            AZIMUTH_APPROACH => known(self.peaks.iter().map(|p| p.azimuth_approach)),
            ELEVATION_APPROACH => known(self.peaks.iter().map(|p| p.elevation_approach)),
            PEAK_DB => self.peaks.iter().any(|p| p.peak_db.is_some()),
            TEMPERATURE => self.peaks.iter().any(|p| p.temperature_c.is_some()),
            USE => self.peaks.iter().any(|p| !p.use_it),
            NOTE => self.peaks.iter().any(|p| !p.note.is_empty()),
            _ => true,
        };
        let columns: Vec<usize> = (0..COLUMNS.len()).filter(|c| used(*c)).collect();
        let mut csv = String::new();
        let names = columns.iter().map(|c| COLUMNS[*c].to_owned());
        let cell = |text: &String| to_cell(text).into_owned();
        push_row(&mut csv, names.chain(self.extra_columns.iter().map(cell)));
        for peak in &self.peaks {
            let known = columns.iter().map(|c| text_of(peak, *c));
            push_row(&mut csv, known.chain(peak.extra.iter().map(cell)));
        }
        csv
    }
}

/// The peak in a row; none when something is wrong with it, which is told.
fn peak_of(
    row: &Row<'_>,
    columns: &Columns,
    station: &Station,
    elevation: &Quantity,
    problems: &mut Problems,
) -> Option<Peak> {
    let cell = |column| columns.cell(row, column);
    let before = problems.count();
    let to_measure = [TIME, AZIMUTH, ELEVATION];
    if (to_measure.iter()).all(|c| columns.has(*c) && cell(*c).is_empty()) {
        // A row of a planned log that was left as it was: one message says all.
        let wrong = Wrong::new(
            "this row is not filled in: time_utc, azimuth_deg and elevation_deg are empty",
            "the time of the peak and the encoder readings",
        )
        .mend("delete the row if nothing was measured");
        problems.push(cell(TIME).problem(wrong));
        return None;
    }
    let time = cell(TIME).time(problems);
    let emitter = emitter(&cell(EMITTER), station, problems);
    let azimuth = cell(AZIMUTH).angle(&AZIMUTH_READING, problems);
    let elevation = cell(ELEVATION).angle(elevation, problems);
    let both = columns.has(AZIMUTH) && columns.has(ELEVATION);
    if both && cell(AZIMUTH).is_empty() && cell(ELEVATION).is_empty() {
        let wrong = Wrong::new(
            "azimuth_deg and elevation_deg are both empty",
            "a reading of at least one axis",
        )
        .mend("delete the row if nothing was measured");
        problems.push(cell(AZIMUTH).problem(wrong));
    }
    let peak = Peak {
        row: row.number,
        line: row.line,
        time: time?,
        emitter: emitter?,
        azimuth,
        elevation,
        azimuth_sigma: cell(AZIMUTH_SIGMA).angle(&SIGMA, problems),
        elevation_sigma: cell(ELEVATION_SIGMA).angle(&SIGMA, problems),
        azimuth_approach: approach(&cell(AZIMUTH_APPROACH), problems),
        elevation_approach: approach(&cell(ELEVATION_APPROACH), problems),
        peak_db: cell(PEAK_DB).number(&DECIBELS, problems),
        temperature_c: cell(TEMPERATURE).number(&CELSIUS, problems),
        use_it: use_it(&cell(USE), problems),
        note: from_cell(cell(NOTE).text).to_owned(),
        extra: columns.own(row).map(|t| from_cell(t).to_owned()).collect(),
    };
    (problems.count() == before).then_some(peak)
}

/// The emitter's name if the station knows it.
pub(super) fn emitter(
    cell: &Cell<'_>,
    station: &Station,
    problems: &mut Problems,
) -> Option<String> {
    let name = cell.required("the name of an emitter in the station file", problems)?;
    let name = match station.emitter(name) {
        Some(_) => name,
        None => from_cell(name),
    };
    if station.emitter(name).is_some() {
        return Some(name.to_owned());
    }
    let known = || station.emitters.iter().map(|e| e.name.as_str());
    let some: Vec<&str> = known().take(MOST_EMITTERS_LISTED).collect();
    let expected = match known().count() {
        0 => "an emitter, but the station file lists none".to_owned(),
        n if n > some.len() => format!("one of its {n}: {}, …", some.join(", ")),
        _ => format!("one of {}", some.join(", ")),
    };
    let wrong = Wrong::new(
        format!("the station file has no emitter {}", quoted(name)),
        expected,
    );
    problems.push(cell.problem(match nearest_name(name, known()) {
        Some(near) => wrong.mend(format!("write {near} if that is what was meant")),
        None => wrong.mend("add it to the station file as an [[emitter]]"),
    }));
    None
}

fn approach(cell: &Cell<'_>, problems: &mut Problems) -> Approach {
    match cell.text.trim() {
        "" => Approach::Unknown,
        "+" => Approach::Increasing,
        "-" => Approach::Decreasing,
        text => {
            let wrong = Wrong::new(format!("{} is {}", cell.name, quoted(text)), "+ or -").mend(
                "+ if the reading was increasing when the axis arrived, - if decreasing; empty if it is not known",
            );
            problems.push(cell.problem(wrong));
            Approach::Unknown
        }
    }
}

fn use_it(cell: &Cell<'_>, problems: &mut Problems) -> bool {
    match cell.text.trim() {
        "" | "yes" => true,
        "no" => false,
        text => {
            let wrong = Wrong::new(
                format!("{} is {}", cell.name, quoted(text)),
                "yes or no, in small letters, or nothing, which means yes",
            );
            problems.push(cell.problem(wrong));
            true
        }
    }
}

/// What makes two rows the same peak: time, emitter (by its place in the station file) and
/// readings.
fn fingerprint(peak: &Peak, station: &Station) -> (Utc, Option<usize>, [Option<u64>; 2]) {
    let bits = |angle: Option<Angle>| angle.map(|a| a.radians().to_bits());
    let emitter = station.emitters.iter().position(|e| e.name == peak.emitter);
    (
        peak.time,
        emitter,
        [bits(peak.azimuth), bits(peak.elevation)],
    )
}

/// Readings that the encoders should not be able to show.
fn range_warnings(log: &PeakLog, station: &Station) -> Vec<String> {
    let mount = &station.mount;
    let mut warnings = Vec::new();
    let mut more = 0;
    for peak in &log.peaks {
        for (axis, reading, (low, high)) in [
            ("azimuth", peak.azimuth, mount.azimuth_range),
            ("elevation", peak.elevation, mount.elevation_range),
        ] {
            let Some(reading) = reading.filter(|r| *r < low || *r > high) else {
                continue;
            };
            if warnings.len() == MOST_RANGE_WARNINGS {
                more += 1;
                continue;
            }
            warnings.push(format!(
                "{}:{}: {axis} reading {} is outside the encoder range of the station file, {} to {} degrees",
                log.file,
                peak.line,
                degrees_text(reading),
                degrees_text(low),
                degrees_text(high),
            ));
        }
    }
    if more > 0 {
        warnings.push(format!(
            "{}: {more} more readings are outside the encoder ranges of the station file",
            log.file
        ));
    }
    warnings
}

fn known(mut approaches: impl Iterator<Item = Approach>) -> bool {
    approaches.any(|a| a != Approach::Unknown)
}

/// A peak's field in the known column of that index, as it is written.
fn text_of(peak: &Peak, column: usize) -> String {
    let angle = |angle: Option<Angle>| angle.map(degrees_text).unwrap_or_default();
    let number = |value: Option<f64>| value.map(|v| v.to_string()).unwrap_or_default();
    match column {
        TIME => peak.time.to_exact_text(),
        EMITTER => to_cell(&peak.emitter).into_owned(),
        AZIMUTH => angle(peak.azimuth),
        ELEVATION => angle(peak.elevation),
        AZIMUTH_SIGMA => angle(peak.azimuth_sigma),
        ELEVATION_SIGMA => angle(peak.elevation_sigma),
        AZIMUTH_APPROACH => peak.azimuth_approach.symbol().to_owned(),
        ELEVATION_APPROACH => peak.elevation_approach.symbol().to_owned(),
        PEAK_DB => number(peak.peak_db),
        TEMPERATURE => number(peak.temperature_c),
        USE => if peak.use_it { "yes" } else { "no" }.to_owned(),
        _ => to_cell(&peak.note).into_owned(),
    }
}

/// The shortest decimal number of degrees that reads back as the same angle: an angle is
/// kept in radians, so its degrees are off by a rounding error.
pub(super) fn degrees_text(angle: Angle) -> String {
    let degrees = angle.degrees();
    let rounded = (0..=12).map(|decimals| {
        let scale = 10f64.powi(decimals);
        (degrees * scale).round() / scale
    });
    let neighbours = [degrees, degrees.next_up(), degrees.next_down()];
    rounded
        .chain(neighbours)
        .find(|candidate| Angle::from_degrees(*candidate) == angle)
        // No number of degrees gives this very angle: it was not read from a file.
        .unwrap_or(degrees)
        .to_string()
}

/// Appends a row, with quotes where a field needs them.
fn push_row(csv: &mut String, fields: impl Iterator<Item = String>) {
    for (i, field) in fields.enumerate() {
        if i > 0 {
            csv.push(',');
        }
        if field.contains(['"', ',', '\n', '\r']) || field.trim() != field {
            csv.push('"');
            csv.push_str(&field.replace('"', "\"\""));
            csv.push('"');
        } else {
            csv.push_str(&field);
        }
    }
    csv.push('\n');
}
