//! Source of the samples of scans: the rows of a table, one by one, or a log of sweeps.

use std::io::{BufRead, Chain, Cursor};

use super::axis_reading::AxisReadings;
use super::cell::Cell;
use super::emitter_names::emitter;
use super::plain_row::{Date, Form};
use super::scan::{PowerUnit, ScanBuilder, from_decibels};
use super::scan_columns::{DECIBELS, EMITTER, LINEAR, SCAN, TIME};
use super::scans_remarks::Notes;
use super::sweeps::Sweeps;
use super::table::{Columns, Decided, Row, Table, Told};
use crate::angle::Angle;
use crate::problem::Error;
use crate::quantity::Quantity;
use crate::station::Station;
use crate::text::from_cell;
use crate::time::Utc;

/// A log with its examined beginning put back in front.
pub(super) type Whole<R> = Chain<Cursor<Vec<u8>>, R>;

/// A usable row.
pub(super) struct UsableRow {
    pub time: Utc,
    /// Both readings, if the log has them.
    pub angles: Option<(Angle, Angle)>,
    pub power: f64,
    pub line: usize,
    /// Name and emitter of the scan that begins with it.
    pub starts: Option<(String, String)>,
}

/// The next item of a source.
pub(super) enum Next {
    UsableRow(UsableRow),
    /// A line that is not a reading.
    Nothing,
    End,
}

/// A log of samples or of sweeps.
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
    /// Layout of plain rows; `None` if all rows take the general path.
    pub form: Option<Form>,
    /// Date of the last row that took the general path.
    pub date: Option<Date>,
    /// The latest emitter as written in the log, and as named in the station file.
    pub emitter_text: Option<(String, String)>,
}

/// Message for a last row that has all its fields.
pub(super) const NO_LINE_END: &str =
    "the last line has no line end, so that its last field may be cut short";

impl<R: BufRead> Samples<R> {
    /// The next row.
    pub fn next(
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
        // A truncated number is still a number, but a wrong one.
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
                Ok(Next::UsableRow(UsableRow { starts, ..reading }))
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

    /// Name and emitter of the scan that begins here, or `Some(None)` if the current one continues.
    /// `None` if something is wrong with them, which is reported.
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
        // Most rows continue the scan of the previous row.
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
            // Then scans are separated only by pauses.
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

    /// Reads the rest of the row; `None` if something is wrong with it, which is reported.
    fn reading(&self, told: &mut Told) -> Option<UsableRow> {
        let time = self.cell(TIME).time(self.decided, told);
        let angles = (self.axes.has_both(self.columns)).then(|| self.angles(told));
        let (column, unit) = self.power;
        let cell = self.cell(column);
        let power = match unit {
            // Decibels are converted to linear power at once: means, baselines and noise are
            // computed in linear power.
            PowerUnit::Decibels => self.needed(&cell, &DECIBELS, told).map(from_decibels),
            PowerUnit::Linear | PowerUnit::Counts => self.needed(&cell, &LINEAR, told),
        };
        let angles = match angles {
            None => None,
            Some((first, second)) => Some((first?, second?)),
        };
        Some(UsableRow {
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
