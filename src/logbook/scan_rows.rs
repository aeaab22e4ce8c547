//! The rows behind scans: of a table of samples, or of a log of sweeps.

use std::io::BufRead;
use std::path::Path;

use super::angles::usual_step_s;
use super::axis_reading::{AxisReadings, Places};
use super::cell::Cell;
use super::emitter_names::{check_emitter, emitter, one_emitter};
use super::plain_row::{Date, Form};
use super::scan::{PowerUnit, ScanBuilder, from_decibels};
use super::scan_begin::{begin_sweeps, begin_table, first_sweeps};
use super::scans_csv::{ScanOptions, Whole};
use super::scans_remarks::Notes;
use super::sweeps::{self, Sweeps};
use super::table::{Columns, Decided, Kind, Row, RowReader, Table, Told};
use crate::angle::Angle;
use crate::problem::{Error, Problems};
use crate::quantity::Quantity;
use crate::station::Station;
pub(super) use crate::station::limits::DECIBELS;
use crate::text::from_cell;
use crate::time::Utc;

/// Places in the columns.
pub(super) const SCAN: usize = 0;
pub(super) const TIME: usize = 1;
pub(super) const EMITTER: usize = 2;
pub(super) const FIRST: usize = 3;
pub(super) const SECOND: usize = 4;
/// The columns of power, of which a file has exactly one.
pub(super) const POWERS: [(usize, PowerUnit); 3] = [
    (5, PowerUnit::Decibels),
    (6, PowerUnit::Linear),
    (7, PowerUnit::Counts),
];
/// Where the readings of the two axes stand: degrees, what a sensor shows, hours.
pub(super) const PLACES: [Places; 2] = [
    Places {
        degrees: FIRST,
        sensor: 8,
        hours: Some(10),
    },
    Places {
        degrees: SECOND,
        sensor: 9,
        hours: None,
    },
];

pub(super) const LINEAR: Quantity = Quantity::new(-1e30, 1e30, "a power from -1e30 to 1e30");

/// Without a column of scans, a pause of this many seconds begins a new one: longer than a dish
/// takes from one arm of a cross to the other. Common practice, no source.
const USUAL_PAUSE_S: f64 = 30.0;
/// Where samples are further apart, this many of their usual steps; common practice, no source.
const PAUSE_STEPS: f64 = 10.0;

/// A row that can be used.
pub(super) struct Reading {
    pub time: Utc,
    /// Both readings, when the log has them.
    pub angles: Option<(Angle, Angle)>,
    pub power: f64,
    pub line: usize,
    /// Name and emitter of the scan that begins with it.
    pub starts: Option<(String, String)>,
}

/// What comes next.
pub(super) enum Next {
    Reading(Reading),
    /// A line that is not a reading.
    Nothing,
    End,
}

/// Rows of either kind.
pub(super) struct ScanRows<R> {
    source: Source<R>,
    /// Tells scans apart that have no names.
    pause: Option<Pause>,
    /// The emitter of all rows.
    emitter: Option<String>,
    /// A scan whose first readings could not be used.
    starts: Option<(String, String)>,
}

pub(super) enum Source<R> {
    Table(Box<Samples<R>>),
    Sweeps(Box<Sweeps<Whole<R>>>),
}

/// A table of samples.
pub(super) struct Samples<R> {
    pub table: Table<Whole<R>>,
    pub decided: Decided,
    pub axes: AxisReadings,
    pub power: (usize, PowerUnit),
    /// What plain rows look like; none when all go the careful way.
    pub form: Option<Form>,
    /// Of the last row that went the careful way.
    pub date: Option<Date>,
    /// The latest emitter as the log writes it, and as the station does.
    pub emitter_text: Option<(String, String)>,
}

/// What it takes to read plain rows.
pub(super) struct Plain<'a, R> {
    pub form: &'a Form,
    pub date: &'a Date,
    /// The present emitter as the log writes it.
    pub emitter: &'a str,
    pub pause: Option<&'a mut Pause>,
    pub rows: &'a mut RowReader<Whole<R>>,
}

/// Watches for pauses.
#[derive(Clone, Debug)]
pub(super) struct Pause {
    longest_s: f64,
    last: Option<Utc>,
    scans: usize,
}

impl Pause {
    /// Whether a pause ends at that time.
    pub fn breaks(&self, time: Utc) -> bool {
        (self.last).is_none_or(|last| time.seconds_since(last).abs() > self.longest_s)
    }
    /// Goes on to that time.
    pub fn see(&mut self, time: Utc) {
        self.last = Some(time);
    }
}

impl<R: BufRead> ScanRows<R> {
    /// Looks at the beginning of a file and asks what must be asked.
    pub fn begin(
        file: &str,
        head: Vec<u8>,
        input: R,
        station: &Station,
        options: &ScanOptions,
        again: Option<&Path>,
        notes: &mut Notes,
    ) -> Result<ScanRows<R>, Error> {
        check_emitter(station, &options.log)?;
        let mut told = Told::default();
        let (mut source, times) = match sweeps::beginning(&head) {
            Some(beginning) => {
                let times = first_sweeps(file, &head, &beginning, options);
                let source =
                    begin_sweeps(file, head, input, &beginning, station, options, &mut told)?;
                (source, times)
            }
            None => begin_table(file, head, input, station, options, again, &mut told)?,
        };
        let has = |source: &Source<R>, column| match source {
            Source::Table(samples) => samples.table.columns().has(column),
            Source::Sweeps(_) => false,
        };
        let emitter = match has(&source, EMITTER) {
            true => None,
            false => one_emitter(station, &options.log, &mut told),
        };
        if let (Source::Table(samples), Some(name)) = (&mut source, &emitter) {
            samples.emitter_text = Some((String::new(), name.clone()));
        }
        let pause = (!has(&source, SCAN)).then(|| {
            let usual = usual_step_s(&times).map_or(0.0, |step| PAUSE_STEPS * step);
            let longest_s = options.pause_s.unwrap_or(usual.max(USUAL_PAUSE_S));
            told.taken.whole(Kind::Pauses, || {
                format!(
                    "no column names the scans: a new one begins after each pause of more than {} s (--pause sets it)",
                    (longest_s * 10.0).round() / 10.0
                )
            });
            Pause {
                longest_s,
                last: None,
                scans: 0,
            }
        });
        notes.told.taken = told.taken;
        told.problems.or_value(())?;
        Ok(ScanRows {
            source,
            pause,
            emitter,
            starts: None,
        })
    }

    pub fn unit(&self) -> PowerUnit {
        match &self.source {
            Source::Table(samples) => samples.power.1,
            Source::Sweeps(_) => PowerUnit::Linear,
        }
    }
    pub fn file(&self) -> &str {
        match &self.source {
            Source::Table(samples) => samples.table.rows().file(),
            Source::Sweeps(sweeps) => sweeps.file(),
        }
    }
    pub fn lines_read(&self) -> usize {
        match &self.source {
            Source::Table(samples) => samples.table.rows().lines_read(),
            Source::Sweeps(sweeps) => sweeps.lines_read(),
        }
    }
    /// Sweeps left out so far because parts of them are missing.
    pub fn incomplete_sweeps(&self) -> usize {
        match &self.source {
            Source::Table(_) => 0,
            Source::Sweeps(sweeps) => sweeps.incomplete(),
        }
    }

    /// The scan that a reading begins which could not be used begins with the next one.
    pub fn starts_later(&mut self, starts: (String, String)) {
        self.starts = Some(starts);
    }

    /// What it takes to read plain rows, when some were read the careful way before.
    pub fn plain(&mut self) -> Option<Plain<'_, R>> {
        if self.starts.is_some() {
            return None;
        }
        let Source::Table(samples) = &mut self.source else {
            return None;
        };
        Some(Plain {
            form: samples.form.as_ref()?,
            date: samples.date.as_ref()?,
            emitter: samples.emitter_text.as_ref().map_or("", |(text, _)| text),
            pause: self.pause.as_mut(),
            rows: samples.table.rows_mut(),
        })
    }

    /// The next row.
    pub fn next(
        &mut self,
        current: Option<&ScanBuilder>,
        station: &Station,
        problems: &mut Problems,
        notes: &mut Notes,
    ) -> Result<Next, Error> {
        let mut next = match &mut self.source {
            Source::Table(samples) => {
                samples.next(current, self.pause.is_none(), station, notes)?
            }
            Source::Sweeps(sweeps) => match sweeps.next(&mut notes.told.problems)? {
                Some(sweep) => Next::Reading(Reading {
                    time: sweep.time,
                    angles: None,
                    power: sweep.power,
                    line: sweep.line,
                    starts: None,
                }),
                None => {
                    if let Some(line) = sweeps.cut_short() {
                        notes.cut_short(line, NO_LINE_END);
                    }
                    Next::End
                }
            },
        };
        problems.append(std::mem::take(&mut notes.told.problems));
        if let Next::Reading(reading) = &mut next {
            self.part(reading, current);
        }
        Ok(next)
    }

    /// Parts scans that have no names at pauses and where the emitter changes.
    fn part(&mut self, reading: &mut Reading, current: Option<&ScanBuilder>) {
        if let Some(pause) = &mut self.pause {
            if pause.breaks(reading.time) || reading.starts.is_some() {
                pause.scans += 1;
                let emitter = (reading.starts.take().map(|(_, emitter)| emitter))
                    .or_else(|| current.map(|c| c.emitter().to_owned()))
                    .or_else(|| self.emitter.clone());
                reading.starts = Some((pause.scans.to_string(), emitter.unwrap_or_default()));
            }
            pause.see(reading.time);
        }
        let waiting = self.starts.take();
        reading.starts = reading.starts.take().or(waiting);
    }
}

/// Of a last row with all its fields.
const NO_LINE_END: &str = "the last line has no line end, so that its last field may be cut short";

impl<R: BufRead> Samples<R> {
    /// The next row.
    fn next(
        &mut self,
        current: Option<&ScanBuilder>,
        named: bool,
        station: &Station,
        notes: &mut Notes,
    ) -> Result<Next, Error> {
        let line = match self.table.next(&mut notes.told)? {
            None => return Ok(Next::End),
            Some(line) => line,
        };
        if let Some(again) = line.header_again {
            notes.header_again(again);
        }
        if let Some((at, said)) = line.readings {
            notes.say_readings(at, &said);
        }
        // A number cut in two is still a number, but another one.
        if !line.row.has_line_end() {
            notes.cut_short(line.row.line, NO_LINE_END);
            return Ok(Next::Nothing);
        }
        let cells = Cells {
            row: line.row,
            columns: line.columns,
            decided: &self.decided,
            axes: &self.axes,
            power: self.power,
        };
        let told = &mut notes.told;
        let before = told.problems.count();
        let starts = cells.starts(current, named, &mut self.emitter_text, station, told);
        let reading = cells.reading(told);
        match (starts, reading) {
            (Some(starts), Some(reading)) if told.problems.count() == before => {
                self.date = Date::of(&line.columns.cell(&line.row, TIME).text);
                Ok(Next::Reading(Reading { starts, ..reading }))
            }
            _ => Ok(Next::Nothing),
        }
    }
}

/// The cells of one row.
struct Cells<'a> {
    row: Row<'a>,
    columns: &'a Columns,
    decided: &'a Decided,
    axes: &'a AxisReadings,
    power: (usize, PowerUnit),
}

impl<'a> Cells<'a> {
    fn cell(&self, column: usize) -> Cell<'a> {
        self.columns.cell(&self.row, column)
    }

    /// Name and emitter of the scan that begins here, or none when the present one goes on. None
    /// of either when something is wrong with them, which is reported.
    #[allow(clippy::option_option)] // wrong, goes on, begins
    fn starts(
        &self,
        current: Option<&ScanBuilder>,
        named: bool,
        emitter_text: &mut Option<(String, String)>,
        station: &Station,
        told: &mut Told,
    ) -> Option<Option<(String, String)>> {
        let scan = self.cell(SCAN);
        let emitter_cell = self.cell(EMITTER);
        let has_emitter = self.columns.has(EMITTER);
        // Most rows go on with the scan of the row before.
        let goes_on = current.is_some_and(|c| {
            let same = emitter_text
                .as_ref()
                .is_some_and(|(text, name)| *text == *emitter_cell.text && c.emitter() == name);
            (!named || c.name() == from_cell(&scan.text)) && (!has_emitter || same)
        });
        if goes_on {
            return Some(None);
        }
        let name = match named {
            true => scan
                .required("the name or number of a scan", told)
                .map(|text| from_cell(text).to_owned()),
            false => Some(String::new()),
        };
        if !has_emitter && !named {
            // Only a pause parts scans then.
            return Some(None);
        }
        let emitter = match has_emitter {
            true => {
                let found = emitter(&emitter_cell, self.row.line, station, told)?;
                *emitter_text = Some((emitter_cell.text.into_owned(), found.clone()));
                found
            }
            false => emitter_text
                .as_ref()
                .map_or(String::new(), |(_, name)| name.clone()),
        };
        Some(Some((name?, emitter)))
    }

    /// The rest of the row; none when something is wrong with it, which is reported.
    fn reading(&self, told: &mut Told) -> Option<Reading> {
        let time = self.cell(TIME).time(self.decided, told);
        let angles = (self.axes.has_both(self.columns)).then(|| self.angles(told));
        let (column, unit) = self.power;
        let cell = self.cell(column);
        let power = match unit {
            // dB are turned into linear power at once: means, baselines and noise are linear.
            PowerUnit::Decibels => self.needed(&cell, &DECIBELS, told).map(from_decibels),
            PowerUnit::Linear | PowerUnit::Counts => self.needed(&cell, &LINEAR, told),
        };
        let angles = match angles {
            None => None,
            Some((first, second)) => Some((first?, second?)),
        };
        Some(Reading {
            time: time?,
            angles,
            power: power?,
            line: self.row.line,
            starts: None,
        })
    }

    fn angles(&self, told: &mut Told) -> (Option<Angle>, Option<Angle>) {
        let row = (&self.row, self.columns);
        let mut read = |axis| self.axes.required(axis, row, self.decided, told);
        (read(0), read(1))
    }

    fn needed(&self, cell: &Cell<'_>, quantity: &Quantity, told: &mut Told) -> Option<f64> {
        cell.required(quantity.words, told)?;
        cell.number(quantity, self.decided, told)
    }
}
