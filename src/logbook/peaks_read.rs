//! Reads logs of peaks in any supported dialect.

use std::collections::HashMap;
use std::collections::hash_map::Entry;
use std::path::{Path, PathBuf};

use super::axes::AZIMUTH_READING;
use super::log_options::LogOptions;
use super::peak::{Peak, PeakLog, Readings};
use super::peak_rows::ReadingRules;
use super::peaks_csv::TIME;
use super::peaks_write::degrees_text;
use super::table::{Columns, Line, Question, Questions, Survey, Table, TakenKind, Told};
use crate::angle::Angle;
use crate::files::{self, FileToRead};
use crate::problem::{Error, Problems, Wrong};
use crate::station::Station;
use crate::text::{from_cell, quoted};
use crate::time::Utc;

/// Enough for several million peaks.
const EXPECTED: FileToRead = FileToRead::mebibytes("a log of peaks", 512).or_piped();
/// Far more than any spreadsheet has, however many headers are pasted into it.
const MOST_OWN_COLUMNS: usize = 1000;
/// Number of readings outside the encoder ranges that are reported individually; the rest are
/// counted, to keep the warnings readable.
const MOST_RANGE_WARNINGS: usize = 10;

/// What a sheet of planned steps must have filled in.
const FILLED: &str = "the time of the peak and the encoder readings in one row at least";

impl PeakLog {
    /// Reads a peaks file, or standard input when `path` is `-`.
    ///
    /// # Errors
    /// If it cannot be read, or everything that is wrong with it.
    pub fn read(path: &Path, station: &Station) -> Result<PeakLog, Error> {
        PeakLog::read_all(&[path.to_owned()], station, &LogOptions::default())
    }

    /// Reads one or several peaks files together.
    ///
    /// # Errors
    /// If one cannot be read, if ambiguities must be resolved (all asked at once), or everything
    /// that is wrong with them.
    pub fn read_all(
        paths: &[PathBuf],
        station: &Station,
        options: &LogOptions,
    ) -> Result<PeakLog, Error> {
        read_files(paths, &ReadingRules::new(station, options))
    }

    /// As [`PeakLog::read_all`], for a diagnosis, which can recognise readings in another unit or
    /// in swapped columns: accepts any reading of the second axis, however absurd.
    ///
    /// # Errors
    /// As [`PeakLog::read_all`].
    pub fn read_as_written(
        paths: &[PathBuf],
        station: &Station,
        options: &LogOptions,
    ) -> Result<PeakLog, Error> {
        let mut reading = ReadingRules::new(station, options);
        reading.quantities[1] = AZIMUTH_READING;
        read_files(paths, &reading)
    }

    /// Reads a peaks file from its bytes; messages call it `file`.
    ///
    /// # Errors
    /// Everything that is wrong with it.
    pub fn parse(file: &str, bytes: &[u8], station: &Station) -> Result<PeakLog, Error> {
        PeakLog::parse_with(file, bytes, station, &LogOptions::default())
    }

    /// As [`PeakLog::parse`], with options.
    ///
    /// # Errors
    /// As [`PeakLog::read_all`].
    pub fn parse_with(
        file: &str,
        bytes: &[u8],
        station: &Station,
        options: &LogOptions,
    ) -> Result<PeakLog, Error> {
        read_logs(
            &[(file.to_owned(), bytes.to_owned())],
            &ReadingRules::new(station, options),
        )
    }
}

/// Returns the questions that the text of a log of peaks leaves open, given these options.
///
/// # Errors
/// If it is not a log at all.
pub fn questions(
    file: &str,
    bytes: &[u8],
    station: &Station,
    options: &LogOptions,
) -> Result<Vec<Question>, Error> {
    let reading = ReadingRules::new(station, options);
    reading.check_options()?;
    Ok(reading.survey(file, bytes)?.asked.open)
}

fn read_files(paths: &[PathBuf], reading: &ReadingRules<'_>) -> Result<PeakLog, Error> {
    let files: Vec<(String, Vec<u8>)> = (paths.iter())
        .map(|path| files::read_bytes(path, EXPECTED))
        .collect::<Result<_, _>>()?;
    read_logs(&files, reading)
}

fn read_logs(files: &[(String, Vec<u8>)], reading: &ReadingRules<'_>) -> Result<PeakLog, Error> {
    reading.check_options()?;
    if files.is_empty() {
        return Err(Error::Usage("no log of peaks is given".to_owned()));
    }
    for (i, (file, bytes)) in files.iter().enumerate() {
        if let Some((earlier, _)) = files[..i].iter().find(|(_, other)| other == bytes) {
            let what = match earlier == file {
                true => format!("{file} is named twice"),
                false => format!("{file} holds the same as {earlier}"),
            };
            return Err(Error::Usage(format!("{what}\n  help: name each log once")));
        }
    }
    let mut gathered = Gathered::new(reading);
    let mut asked = Questions::default();
    let mut rows_known = true;
    let mut surveys = Vec::new();
    for (file, bytes) in files {
        let found = reading.survey(file, bytes)?;
        rows_known &= found.columns_known;
        surveys.push(found);
    }
    for found in &mut surveys {
        asked.extend(std::mem::take(&mut found.asked));
    }
    gathered.supposed = !asked.is_empty();
    let mut problems = asked.problems();
    // If the columns are only guessed, faults in the rows would only reflect a wrong guess.
    if rows_known {
        for ((file, bytes), survey) in files.iter().zip(&surveys) {
            gathered.read(file, bytes, survey)?;
        }
        gathered.check_names(files, &mut problems);
        problems.append(std::mem::take(&mut gathered.problems));
    }
    problems.or_value(())?;
    gathered.finish(files)
}

/// The content read so far.
struct Gathered<'a> {
    reading: &'a ReadingRules<'a>,
    log: PeakLog,
    problems: Problems,
    /// First occurrence of each peak: its log and line.
    earlier: HashMap<Fingerprint, (usize, usize)>,
    /// Headers named by an option, for each file those that are absent from it.
    unmatched: Vec<Vec<(String, String)>>,
    /// Which of the user's own columns have no name.
    unnamed: Vec<bool>,
    /// Index of each own column among those of all logs.
    own: HashMap<String, usize>,
    /// Position of each log.
    places: Vec<LogPlace>,
    /// Data rows of the files before this one; numbering continues from them.
    rows_before: usize,
    /// First and last row of each file.
    spans: Vec<(String, usize, usize)>,
    /// Rows without readings.
    not_taken: usize,
    /// Whether something must still be asked, so that rows are only checked for other faults.
    supposed: bool,
}

/// Position of a log.
struct LogPlace {
    file: String,
    header_line: usize,
    /// Line of the comment that says what its readings are.
    readings_line: Option<usize>,
}

/// Two rows are the same peak if they agree in this: time, emitter (by its index in the station
/// file) and readings.
type Fingerprint = (Utc, Option<usize>, [Option<u64>; 2]);

/// Index of each of a log's own columns among those of all logs.
type OwnPlaces = Vec<usize>;

impl<'a> Gathered<'a> {
    fn new(reading: &'a ReadingRules<'a>) -> Gathered<'a> {
        Gathered {
            reading,
            log: PeakLog {
                axes: reading.axes,
                feeds: (reading.station.feeds.iter())
                    .map(|f| f.name.clone())
                    .collect(),
                ..PeakLog::default()
            },
            problems: Problems::new(),
            earlier: HashMap::new(),
            unmatched: Vec::new(),
            unnamed: Vec::new(),
            own: HashMap::new(),
            places: Vec::new(),
            rows_before: 0,
            spans: Vec::new(),
            not_taken: 0,
            supposed: false,
        }
    }

    /// Reads all rows of a file.
    fn read(&mut self, file: &str, bytes: &[u8], survey: &Survey) -> Result<(), Error> {
        let reading = self.reading;
        let names = &reading.options.columns;
        let mut told = Told::default();
        let mut table = Table::open(
            file,
            bytes,
            survey.dialect,
            &reading.schema,
            names,
            TIME,
            &mut told,
        )?;
        self.unmatched.push(table.columns().unmatched().to_vec());
        self.begin(file, table.first_line(), false);
        if let Some(wrong) = reading.readings.without_sensor(table.columns()) {
            told.problems.push(wrong.at(file, table.first_line(), 1));
        }
        let mut own = self.own_places(table.columns())?;
        let before = self.log.peaks.len();
        while let Some(line) = table.next(&mut told)? {
            if let Some(at) = line.header_again {
                self.begin(file, at, true);
                own = self.own_places(line.columns)?;
                told.taken.at(TakenKind::HeaderAgain, at, || {
                    "the header appears again: what is below it is read as a separate log,"
                        .to_owned()
                });
            }
            if let Some((at, said)) = &line.readings {
                self.say_readings(*at, said);
            }
            self.take(&line, survey, &own, &mut told);
        }
        if let Some((at, said)) = table.take_readings() {
            self.say_readings(at, &said);
        }
        let rows = table.rows().numbered();
        if rows > 0 {
            let before = self.rows_before;
            self.spans
                .push((file.to_owned(), before + 1, before + rows));
            self.rows_before += rows;
        }
        let blank = table.rows().blank_rows();
        if blank > 0 {
            told.taken.whole(TakenKind::Blank, || match blank {
                1 => "1 blank row skipped".to_owned(),
                _ => format!("{blank} blank rows skipped"),
            });
        }
        self.not_taken += told.taken.count(&TakenKind::NotTaken);
        if self.log.peaks.len() == before && told.problems.is_empty() {
            self.log
                .warnings
                .push(format!("{file}: no row of it is a peak"));
        }
        self.problems.append(told.problems);
        self.log.taken.extend(told.taken.told(file));
        Ok(())
    }

    /// Begins a log below a header on that line.
    fn begin(&mut self, file: &str, line: usize, again: bool) {
        let index = self.log.files.len();
        let name = if again {
            format!("{file} from line {line}")
        } else {
            file.to_owned()
        };
        let place = LogPlace {
            file: file.to_owned(),
            header_line: line,
            readings_line: None,
        };
        // A header directly below another does not begin a new log.
        let last_is_empty = index > 0 && self.log.peaks.last().is_none_or(|p| p.log + 1 < index);
        if again && last_is_empty {
            self.places[index - 1] = place;
            return;
        }
        self.log.files.push(name);
        self.log
            .readings
            .push(self.reading.options.readings.clone().unwrap_or_default());
        self.places.push(place);
    }

    /// Handles a comment that says what the readings of the current log are.
    fn say_readings(&mut self, line: usize, said: &str) {
        let (Some(place), Some(readings)) = (self.places.last_mut(), self.log.readings.last_mut())
        else {
            return;
        };
        let wrong = match Readings::parse(said) {
            Err(expected) => Wrong::new(format!("readings = {}", quoted(said)), expected),
            Ok(new) if *readings == Readings::Unsaid || *readings == new => {
                *readings = new;
                place.readings_line = Some(line);
                return;
            }
            Ok(_) => Wrong::new(
                format!(
                    "readings = {said}, but {}",
                    match place.readings_line {
                        Some(line) => format!("line {line} says otherwise"),
                        None => "--readings says otherwise".to_owned(),
                    }
                ),
                "one kind of readings below each header",
            ),
        };
        self.problems.push(wrong.at(&place.file, line, 1));
    }

    /// Returns the index of each own column of the current log among those of all logs.
    fn own_places(&mut self, columns: &Columns) -> Result<OwnPlaces, Error> {
        let names = columns.own_names().iter().zip(columns.unnamed());
        let places = names.map(|(name, unnamed)| {
            *self.own.entry(name.clone()).or_insert_with(|| {
                self.log.extra_columns.push(name.clone());
                self.unnamed.push(*unnamed);
                self.unnamed.len() - 1
            })
        });
        let places = places.collect();
        let count = self.log.extra_columns.len();
        match self.places.last() {
            Some(place) if count > MOST_OWN_COLUMNS => {
                let wrong = Wrong::new(
                    format!(
                        "with this header there are {count} columns with names unknown in a log of \
                         peaks"
                    ),
                    format!("at most {MOST_OWN_COLUMNS} of them in all logs together"),
                )
                .mend("delete the columns that are not needed, or read the logs one by one");
                Err(wrong.at(&place.file, place.header_line, 1).into())
            }
            _ => Ok(places),
        }
    }

    /// Handles a row: a peak, a planned step that was not done, or a row that is not a peak.
    fn take(&mut self, line: &Line<'_>, survey: &Survey, own: &OwnPlaces, told: &mut Told) {
        let Line { row, columns, .. } = line;
        if self.reading.is_total(row, columns) {
            told.taken.at(TakenKind::Totals, row.line, || {
                format!(
                    "without time and without emitter skipped: {}",
                    quoted(row.raw().trim())
                )
            });
            return;
        }
        if (0..2).all(|axis| self.reading.readings.is_empty(axis, row, columns)) {
            told.taken.at(TakenKind::NotTaken, row.line, || {
                "without readings skipped: steps not taken".to_owned()
            });
            return;
        }
        let Some(mut peak) = self.reading.peak(row, columns, &survey.decided, told) else {
            return;
        };
        peak.log = self.log.files.len() - 1;
        peak.row += self.rows_before;
        let own = columns.own(row).map(from_cell).zip(own);
        let filled = own.filter(|(text, _)| !text.is_empty());
        peak.extra = filled.map(|(text, at)| (*at, text.to_owned())).collect();
        peak.extra.sort_unstable_by_key(|(at, _)| *at);
        // While the zone is only assumed, times that look equal may differ.
        if self.supposed {
            return;
        }
        match self.earlier.entry(fingerprint(&peak, self.reading.station)) {
            Entry::Vacant(place) => {
                place.insert((peak.log, row.line));
            }
            Entry::Occupied(first) => {
                let (log, line) = *first.get();
                let file = &self.places[log].file;
                let other = *file != self.places[peak.log].file;
                let of = if other {
                    format!("{file} ")
                } else {
                    String::new()
                };
                let wrong = Wrong::new(
                    format!(
                        "this row repeats {of}line {line}: the same time, emitter and readings"
                    ),
                    "each peak once",
                )
                .mend("delete one of the two");
                told.problems.push(columns.cell(row, TIME).problem(wrong));
            }
        }
        // A faulty file yields no log, so its other peaks need not be stored.
        if told.problems.is_empty() && self.problems.is_empty() {
            self.log.peaks.push(peak);
        }
    }

    /// Reports headers named by an option that are in none of the files.
    fn check_names(&self, files: &[(String, Vec<u8>)], problems: &mut Problems) {
        let Some(first) = self.unmatched.first() else {
            return;
        };
        for (column, header) in first {
            let pair = (column.clone(), header.clone());
            if !self.unmatched.iter().all(|u| u.contains(&pair)) {
                continue;
            }
            let wrong = if self.reading.schema.known.contains(&column.as_str()) {
                Wrong::new(
                    format!(
                        "--columns says that {} is {column}, but no header is that",
                        quoted(header)
                    ),
                    "a header of this file, as it is written there",
                )
            } else {
                Wrong::new(
                    format!("--columns names {column}, which a log of peaks does not have"),
                    format!("one of {}", self.reading.schema.known.join(", ")),
                )
            };
            problems.push(wrong.of_file(&files[0].0));
        }
    }

    /// Returns the log if nothing is wrong.
    fn finish(mut self, files: &[(String, Vec<u8>)]) -> Result<PeakLog, Error> {
        if self.log.peaks.is_empty() {
            let place = &self.places[0];
            let wrong = match self.not_taken {
                0 => Wrong::new(
                    "the file has a header but no rows",
                    "a row for each peak below it",
                ),
                1 => Wrong::new(
                    "its only row is not filled in: both readings are empty",
                    FILLED,
                ),
                n => Wrong::new(
                    format!("none of its {n} rows is filled in: all readings are empty"),
                    FILLED,
                ),
            };
            return Err(wrong.at(&place.file, place.header_line, 1).into());
        }
        self.drop_empty_columns();
        let names: Vec<&str> = files.iter().map(|(name, _)| name.as_str()).collect();
        self.log.file = names.join(" ");
        if files.len() > 1 {
            let spans: Vec<String> = (self.spans.iter())
                .map(|(file, first, last)| format!("{first} to {last} in {file}"))
                .collect();
            self.log.taken.push(format!(
                "row numbers continue through the logs: {}",
                spans.join(", ")
            ));
        }
        let ranges = self.range_warnings();
        self.log.warnings.extend(ranges);
        for (file, readings) in self.log.files.iter().zip(&self.log.readings) {
            if let Readings::Corrected(sum) = readings {
                self.log.warnings.push(format!(
                    "{file}: its readings are not those of the encoders but directions corrected by the calibration with checksum {sum}"
                ));
            }
        }
        Ok(self.log)
    }

    /// Drops empty columns without a name, which only separate others in the spreadsheet.
    fn drop_empty_columns(&mut self) {
        let mut kept: Vec<bool> = self.unnamed.iter().map(|unnamed| !unnamed).collect();
        for (at, _) in self.log.peaks.iter().flat_map(|peak| &peak.extra) {
            kept[*at] = true;
        }
        let before = |at: usize| kept[..at].iter().filter(|kept| **kept).count();
        let moved: Vec<usize> = (0..kept.len()).map(before).collect();
        for (at, _) in self.log.peaks.iter_mut().flat_map(|peak| &mut peak.extra) {
            *at = moved[*at];
        }
        let mut kept = kept.into_iter();
        (self.log.extra_columns).retain(|_| kept.next().unwrap_or_default());
    }

    /// Warns about readings outside the range of the encoders.
    fn range_warnings(&self) -> Vec<String> {
        let mount = &self.reading.station.mount;
        let [first, second] = self.log.axes.kinds().map(|kind| kind.words());
        let mut warnings = Vec::new();
        let mut more = 0;
        for peak in &self.log.peaks {
            // If the axis was unbolted to peak by hand, any declination is possible.
            let by_motor = peak.elevation.filter(|_| mount.fixed_declination.is_none());
            for (axis, reading, (low, high)) in [
                (first, peak.azimuth, mount.azimuth_range),
                (second, by_motor, mount.elevation_range),
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
                    self.places[peak.log].file,
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
                self.log.file
            ));
        }
        warnings
    }
}

fn fingerprint(peak: &Peak, station: &Station) -> Fingerprint {
    let bits = |angle: Option<Angle>| angle.map(|a| a.radians().to_bits());
    let emitter = station.emitters.iter().position(|e| e.name == peak.emitter);
    (
        peak.time,
        emitter,
        [bits(peak.azimuth), bits(peak.elevation)],
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logbook::Approach::{Decreasing, Increasing, Unknown};
    use crate::logbook::Axes;

    const STATION: &[u8] = include_bytes!("../../tests/data/invented/station.toml");
    const HOURS: &[u8] = include_bytes!("../../tests/data/logs/hour-angle-hours.csv");
    const OWN_HEADERS: &[u8] = include_bytes!("../../tests/data/logs/hour-angle-own-headers.csv");

    fn polar(bytes: &[u8], options: &LogOptions) -> Result<PeakLog, Error> {
        let station = Station::parse("station.toml", Path::new(""), STATION)?;
        let reading = ReadingRules::of_axes(&station, options, Axes::HourAngleDeclination);
        read_logs(&[("polar.csv".to_owned(), bytes.to_owned())], &reading)
    }

    /// 15 degrees an hour; west positive, so that the reading increases westward.
    #[test]
    fn a_polar_mount_reads_its_hour_angle_in_hours() {
        let log = polar(HOURS, &LogOptions::default()).unwrap();
        let degrees = |angle: Option<Angle>| (angle.unwrap().degrees() * 1e6).round() / 1e6;
        let found: Vec<_> = (log.peaks.iter())
            .map(|p| {
                let sides = (p.azimuth_approach, p.elevation_approach);
                (degrees(p.azimuth), degrees(p.elevation), sides)
            })
            .collect();
        assert_eq!(
            found,
            [
                (-72.653, 8.226, (Increasing, Increasing)),
                (-69.6465, 8.308, (Decreasing, Decreasing)),
                (8.0, -0.502778, (Increasing, Decreasing)),
                (48.875, 41.5, (Unknown, Increasing)),
            ]
        );
        insta::assert_snapshot!(log.taken.join("\n"), @r#"
        polar.csv: cells separated by semicolons
        polar.csv: decimal commas: "41,5" is 41.5 (line 5)
        polar.csv: degrees, minutes and seconds: "8°13'33.6"" is 8.226 degrees (2 times, first in line 2)
        polar.csv: hours of 15 degrees each: "-4h50m36.72s" is -72.653 degrees (4 times, first in line 2)
        polar.csv: approaches by compass points: "from E" is + (5 times, first in line 2)
        "#);
        assert!(
            log.to_csv()
                .starts_with("time_utc,emitter,hour_angle_deg,declination_deg,hour_angle_approach")
        );
    }

    #[test]
    fn hours_may_stand_under_a_header_of_ones_own() {
        let asked = polar(OWN_HEADERS, &LogOptions::default()).unwrap_err();
        insta::assert_snapshot!(asked, @r"
        polar.csv:1:1: the header has no column hour_angle_deg and no declination_deg; expected the columns time_utc, emitter, hour_angle_deg, declination_deg
          help: if these are meant, add --columns hour_angle_deg=HA,declination_deg=Dec
        ");
        let options = LogOptions {
            columns: super::super::ColumnNames::parse("hour_angle_deg=HA,declination_deg=Dec")
                .unwrap(),
            ..LogOptions::default()
        };
        let log = polar(OWN_HEADERS, &options).unwrap();
        let first = log.peaks[0].azimuth.unwrap().degrees();
        assert!((first + 72.653).abs() < 1e-9, "{first}");
    }
}
