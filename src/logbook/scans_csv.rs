//! `scans.csv`, read as a stream: a scan at a time, in constant memory.
//!
//! A log of raw signal is long and often a little spoilt: a header repeated by a restart, a last
//! line cut short, a damaged row. Rows that cannot be used are left out, each with its message,
//! as long as they are few; what cannot be understood at all is an error.

use std::collections::HashSet;
use std::io::BufRead;

use super::columns::Columns;
use super::peaks_csv::{AZIMUTH_READING, ELEVATION_READING, emitter};
use super::plain_row::{self, Date, Field, Form};
use super::rows::{Row, RowReader};
use super::scan::{PowerUnit, Sample, Scan, ScanBuilder};
use super::scans_remarks::{RangeWatch, Remarks};
use crate::angle::Angle;
use crate::problem::{Error, Problem, Problems, Wrong};
use crate::quantity::Quantity;
use crate::station::Station;

/// The columns, the required ones first.
const COLUMNS: [&str; 8] = [
    "scan",
    "time_utc",
    "emitter",
    "azimuth_deg",
    "elevation_deg",
    "power_db",
    "power_linear",
    "counts",
];
const REQUIRED: usize = 5;
/// Places in [`COLUMNS`].
const SCAN: usize = 0;
const TIME: usize = 1;
const EMITTER: usize = 2;
const AZIMUTH: usize = 3;
const ELEVATION: usize = 4;
/// The columns of power, of which a file has exactly one.
const POWERS: [(usize, PowerUnit); 3] = [
    (5, PowerUnit::Decibels),
    (6, PowerUnit::Linear),
    (7, PowerUnit::Counts),
];

const DECIBELS: Quantity = Quantity::new(-400.0, 400.0, "decibels from -400 to 400");
const LINEAR: Quantity = Quantity::new(-1e30, 1e30, "a power from -1e30 to 1e30");

/// More than this share of unusable rows is no log with a few faults, but a faulty log.
const MOST_UNUSABLE: f64 = 0.1;
/// So many unusable rows are allowed in any log, however short.
const FEW: usize = 2;
/// After so many rows the share is looked at even before the end.
const EARLY: usize = 10_000;

/// To a log in which many scans come back.
const MIXED: &str = ": are rows of several scans or emitters mixed? Sort the log so that the rows of each scan stand together, and give each scan one emitter";
/// Of a last row with fields missing.
const CUT: &str = "the last line is cut short";
/// Of a last row with all its fields.
const NO_LINE_END: &str = "the last line has no line end, so that its last field may be cut short";

/// Reads scans from a log.
pub struct ScanReader<'s, R> {
    rows: RowReader<R>,
    columns: Columns,
    station: &'s Station,
    power: (usize, PowerUnit),
    form: Form,
    /// Of the last row that went the careful way.
    date: Option<Date>,
    /// The scan being read.
    current: Option<ScanBuilder>,
    /// Names of the scans that have ended.
    ended: HashSet<String>,
    /// Rows left out.
    unusable: Problems,
    usable: usize,
    headers_again: Vec<usize>,
    /// Line of a last row that is cut short, or may be, and what to say of it.
    cut_short: Option<(usize, &'static str)>,
    /// Of scans that come back or change their emitter.
    returns: Remarks,
    /// Of the scan being read.
    range: RangeWatch,
    /// Of scans with readings outside the encoder ranges.
    outside: Remarks,
}

/// A row that can be used.
struct Reading {
    sample: Sample,
    line: usize,
    starts: Option<(String, String)>,
}

impl<'s, R: BufRead> ScanReader<'s, R> {
    /// Reads the header of a log that messages call `file`.
    ///
    /// # Errors
    /// When it cannot be read, and all that is wrong with the header.
    pub fn new(file: &str, input: R, station: &'s Station) -> Result<ScanReader<'s, R>, Error> {
        let mut problems = Problems::new();
        let mut rows = RowReader::new(file, input);
        let header = rows.header()?;
        let fields = header.count();
        let columns = Columns::find(&header, &COLUMNS, REQUIRED, &mut problems)?;
        let powers: Vec<_> = POWERS.iter().filter(|(c, _)| columns.has(*c)).collect();
        let power = match powers[..] {
            [one] => *one,
            _ => {
                let names: Vec<&str> = powers.iter().map(|(c, _)| COLUMNS[*c]).collect();
                let found = match names.len() {
                    0 => "no column of power".to_owned(),
                    _ => format!("the columns {} together", names.join(" and ")),
                };
                let wrong = Wrong::new(found, "exactly one of power_db, power_linear and counts")
                    .mend("rename a column you want to keep so that it begins with x_");
                problems.push(wrong.at(file, header.line, 1));
                POWERS[0]
            }
        };
        problems.or_value(())?;
        let power_limits = match power.1 {
            PowerUnit::Decibels => DECIBELS,
            PowerUnit::Linear | PowerUnit::Counts => LINEAR,
        };
        let field = |i: usize| match (0..COLUMNS.len()).find(|c| columns.place(*c) == Some(i)) {
            Some(SCAN) => Field::Scan,
            Some(TIME) => Field::Time,
            Some(EMITTER) => Field::Emitter,
            Some(AZIMUTH) => Field::Azimuth,
            Some(ELEVATION) => Field::Elevation,
            Some(_) => Field::Power,
            None => Field::Own,
        };
        let limits = |q: Quantity| (q.low, q.high);
        let form = Form {
            fields: (0..fields).map(field).collect(),
            unit: power.1,
            azimuth: limits(AZIMUTH_READING),
            elevation: limits(ELEVATION_READING),
            power: limits(power_limits),
        };
        Ok(ScanReader {
            rows,
            columns,
            station,
            power,
            form,
            date: None,
            current: None,
            ended: HashSet::new(),
            unusable: Problems::new(),
            usable: 0,
            headers_again: Vec::new(),
            cut_short: None,
            returns: Remarks::default(),
            range: RangeWatch::new(&station.mount),
            outside: Remarks::default(),
        })
    }

    /// What the file's power column holds.
    pub fn power_unit(&self) -> PowerUnit {
        self.power.1
    }

    /// The next scan, or none at the end. A scan ends where the name or the emitter changes.
    ///
    /// # Errors
    /// When reading fails, when the file holds no scan, or when too much of it is unusable.
    pub fn next_scan(&mut self) -> Result<Option<Scan>, Error> {
        loop {
            self.read_plain_rows()?;
            let Some(reading) = self.next_reading()? else {
                let last = self.current.take();
                self.end_range(last.as_ref());
                if last.is_none() {
                    self.check_usable(true)?;
                }
                return Ok(last.map(ScanBuilder::finish));
            };
            self.usable += 1;
            let Some((name, emitter)) = reading.starts else {
                self.range.see(&reading.sample, reading.line);
                if let Some(scan) = &mut self.current {
                    scan.push(reading.sample);
                }
                continue;
            };
            let mut next = ScanBuilder::new(&name, &emitter, reading.line);
            next.push(reading.sample);
            let ended = self.current.replace(next);
            self.end_range(ended.as_ref());
            self.range.see(&reading.sample, reading.line);
            if let Some(before) = &ended {
                self.ended.insert(before.name().to_owned());
            }
            if self.ended.contains(&name) {
                let file = self.rows.file();
                let same = ended.as_ref().is_some_and(|before| before.name() == name);
                self.returns.push(|| {
                    if same {
                        format!(
                            "{file}:{}: scan {name} goes over to emitter {emitter}: it is taken as two scans of that name",
                            reading.line
                        )
                    } else {
                        format!(
                            "{file}:{}: scan {name} comes back after other scans: the rows from here on are taken as a scan of their own",
                            reading.line
                        )
                    }
                });
            }
            if let Some(scan) = ended {
                return Ok(Some(scan.finish()));
            }
        }
    }

    /// Notes what was outside the encoder ranges in a scan that has ended.
    fn end_range(&mut self, scan: Option<&ScanBuilder>) {
        let name = scan.map_or("", ScanBuilder::name);
        if let Some(remark) = self.range.end(self.rows.file(), name) {
            self.outside.push(|| remark);
        }
    }

    /// Reads on as long as plain rows go on with the present scan.
    fn read_plain_rows(&mut self) -> Result<(), Error> {
        let (Some(scan), Some(date)) = (&mut self.current, &self.date) else {
            return Ok(());
        };
        let (name, emitter) = (scan.name().to_owned(), scan.emitter().to_owned());
        let mut line = self.rows.lines_read();
        self.usable += self.rows.while_taken(|text| {
            let (sample, length) = plain_row::read(text, &self.form, &name, &emitter, date)?;
            line += 1;
            self.range.see(&sample, line);
            scan.push(sample);
            Some(length)
        })?;
        Ok(())
    }

    /// The next row that can be used.
    fn next_reading(&mut self) -> Result<Option<Reading>, Error> {
        loop {
            let mut problems = Problems::new();
            let Some(row) = self.rows.next(&mut problems)? else {
                let last = self.rows.lines_read();
                let cut = |p: &&Problem| p.line == Some(last);
                if problems.as_slice().iter().any(|p| cut(&p)) {
                    self.cut_short = Some((last, CUT));
                } else {
                    self.unusable.extend(problems.as_slice().iter().cloned());
                }
                return Ok(None);
            };
            let line = row.line;
            if self.columns.cell(&row, TIME).text == COLUMNS[TIME] {
                self.headers_again.push(line);
                continue;
            }
            // A number cut in two is still a number, but another one.
            if !row.has_line_end() {
                self.cut_short = Some((line, NO_LINE_END));
                continue;
            }
            let reading = read(
                &row,
                &self.columns,
                self.station,
                self.power,
                self.current.as_ref(),
                &mut problems,
            );
            let date = Date::of(self.columns.cell(&row, TIME).text);
            if !problems.is_empty() {
                self.unusable.extend(problems.as_slice().iter().cloned());
                if self.unusable.count() + self.usable > EARLY {
                    self.check_usable(false)?;
                }
            }
            if reading.is_some() {
                self.date = date;
                return Ok(reading);
            }
        }
    }

    /// Whether enough of the file could be used so far.
    fn check_usable(&self, at_end: bool) -> Result<(), Error> {
        let unusable = self.unusable.count();
        let all = (self.usable + unusable) as f64;
        if unusable > FEW && unusable as f64 > MOST_UNUSABLE * all {
            return Err(self.unusable.clone().into());
        }
        if at_end && self.usable == 0 {
            if unusable > 0 {
                return Err(self.unusable.clone().into());
            }
            let wrong = Wrong::new(
                match self.cut_short {
                    Some(_) => "the file's only row is cut short, or lacks its line end",
                    None => "the file has a header but no rows",
                },
                "a row for each sample of the signal below it",
            );
            return Err(wrong.of_file(self.rows.file()).into());
        }
        Ok(())
    }

    /// What was odd so far, for the user to know.
    pub fn remarks(&self) -> Vec<String> {
        let file = self.rows.file();
        let mut all = Vec::new();
        for problem in self.unusable.as_slice() {
            all.push(format!("row left out: {problem}"));
        }
        let shown = self.unusable.as_slice().len();
        if self.unusable.count() > shown {
            all.push(format!(
                "{file}: {} more rows left out",
                self.unusable.count() - shown
            ));
        }
        match self.headers_again[..] {
            [] => {}
            [line] => all.push(format!(
                "{file}:{line}: the header stands here again; this line was left out"
            )),
            [line, again] => all.push(format!(
                "{file}:{line}: the header stands here again, and in line {again}; both were left out"
            )),
            [line, ..] => all.push(format!(
                "{file}:{line}: the header stands here again, and {} times more; all were left out",
                self.headers_again.len() - 1
            )),
        }
        if let Some((line, words)) = self.cut_short {
            all.push(format!("{file}:{line}: {words}; it was left out"));
        }
        all.extend(self.returns.told(file, MIXED));
        all.extend(self.outside.told(file, ""));
        all
    }
}

/// The reading in a row; none when something is wrong with it, which is told.
fn read(
    row: &Row<'_>,
    columns: &Columns,
    station: &Station,
    (power, unit): (usize, PowerUnit),
    current: Option<&ScanBuilder>,
    problems: &mut Problems,
) -> Option<Reading> {
    let cell = |column| columns.cell(row, column);
    let (name, emitter_name) = (cell(SCAN).text, cell(EMITTER).text);
    // Most rows go on with the scan of the row before.
    let goes_on = current.is_some_and(|c| c.name() == name && c.emitter() == emitter_name);
    let starts = if goes_on {
        None
    } else {
        let name = cell(SCAN)
            .required("the name or number of a scan", problems)
            .map(str::to_owned);
        let emitter = emitter(&cell(EMITTER), station, problems);
        Some((name?, emitter?))
    };
    let time = cell(TIME).time(problems);
    let needed = |column: usize, quantity: &Quantity, problems: &mut Problems| {
        let cell = cell(column);
        if cell.is_empty() {
            cell.required(quantity.words, problems);
            return None;
        }
        cell.number(quantity, problems)
    };
    let azimuth = needed(AZIMUTH, &AZIMUTH_READING, problems);
    let elevation = needed(ELEVATION, &ELEVATION_READING, problems);
    let power = match unit {
        // dB are turned into linear power at once: means, baselines and noise are linear.
        PowerUnit::Decibels => needed(power, &DECIBELS, problems).map(plain_row::from_decibels),
        PowerUnit::Linear | PowerUnit::Counts => needed(power, &LINEAR, problems),
    };
    Some(Reading {
        sample: Sample {
            time: time?,
            azimuth: Angle::from_degrees(azimuth?),
            elevation: Angle::from_degrees(elevation?),
            power: power?,
        },
        line: row.line,
        starts,
    })
}

#[cfg(test)]
mod tests;
