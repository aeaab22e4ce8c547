//! Reads `scans.csv` and power logs as a stream: one scan at a time, in constant memory.
//!
//! A log of raw signal is long and often slightly damaged: a header repeated by a restart, a
//! truncated last line, a corrupt row. Unusable rows are skipped, each with a message, as long as
//! they are few; a file that cannot be understood at all is an error.

use std::collections::HashSet;
use std::io::{BufRead, Read};
use std::path::Path;

use super::angles::NoAngles;
use super::plain_row;
use super::scan::{PowerUnit, Sample, Scan, ScanBuilder};
use super::scan_options::ScanOptions;
use super::scan_rows::{Plain, ScanRows};
use super::scan_source::{Next, UsableRow};
use super::scans_remarks::{Notes, RangeWatch};
use crate::files;
use crate::problem::{Error, Problems, Wrong};
use crate::station::Station;
use crate::time::Utc;

/// A log with a larger fraction of unusable rows is rejected as a whole; common practice, no
/// source.
const MOST_UNUSABLE: f64 = 0.1;
/// Unusable rows allowed in any log, however short: a repeated header and a truncated last line.
const FEW: usize = 2;
/// After this many rows the fraction is checked before the end too, so that a wrong file of
/// gigabytes fails early.
const EARLY: usize = 10_000;

/// Bytes at the beginning of a log that are examined before it is read: several hundred rows.
const HEAD_BYTES: u64 = 1 << 16;

/// Reads scans from a log.
pub struct ScanReader<'s, R> {
    rows: ScanRows<R>,
    station: &'s Station,
    options: &'s ScanOptions,
    /// The scan being read.
    current: Option<ScanBuilder>,
    /// Names of the scans that have ended.
    ended: HashSet<String>,
    usable: usize,
    /// First and last time over all rows.
    span: Option<(Utc, Utc)>,
    notes: Notes,
    /// Range check of the scan being read.
    range: RangeWatch,
}

impl<'s, R: BufRead> ScanReader<'s, R> {
    /// Reads the beginning of a log that messages call `file`.
    ///
    /// # Errors
    /// If it cannot be read, if ambiguities must be resolved (all asked at once), or everything
    /// that is wrong with the header.
    pub fn new(
        file: &str,
        input: R,
        station: &'s Station,
        options: &'s ScanOptions,
    ) -> Result<ScanReader<'s, R>, Error> {
        ScanReader::begin(file, input, station, options, None)
    }

    /// As [`ScanReader::new`], for the file of that name; `wrap` may monitor the reading. If its
    /// beginning leaves the order of its dates open, the whole file is searched.
    ///
    /// # Errors
    /// As [`ScanReader::new`].
    pub fn open(
        path: &Path,
        station: &'s Station,
        options: &'s ScanOptions,
        wrap: impl FnOnce(Box<dyn BufRead + Send>) -> R,
    ) -> Result<ScanReader<'s, R>, Error> {
        let (file, input) = files::open(path)?;
        let again = path.is_file().then_some(path);
        ScanReader::begin(&file, wrap(input), station, options, again)
    }

    fn begin(
        file: &str,
        mut input: R,
        station: &'s Station,
        options: &'s ScanOptions,
        again: Option<&Path>,
    ) -> Result<ScanReader<'s, R>, Error> {
        let mut head = Vec::new();
        (&mut input)
            .take(HEAD_BYTES)
            .read_to_end(&mut head)
            .map_err(|e| Error::io(file, "read", e))?;
        let mut notes = Notes::new(file);
        let rows = ScanRows::begin(file, head, input, station, options, again, &mut notes)?;
        Ok(ScanReader {
            rows,
            station,
            options,
            current: None,
            ended: HashSet::new(),
            usable: 0,
            span: None,
            notes,
            range: RangeWatch::new(&station.mount),
        })
    }

    /// Unit of the file's powers.
    pub fn power_unit(&self) -> PowerUnit {
        self.rows.unit()
    }

    /// Kind of the log's readings.
    pub fn readings(&self) -> super::Readings {
        self.notes.readings(&self.options.log)
    }

    /// Returns the next scan, or `None` at the end. A scan ends where the name or the emitter
    /// changes, or at a pause if scans have no names.
    ///
    /// # Errors
    /// If reading fails, if the file contains no scan, or if too much of it is unusable.
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
            let Some((sample, line)) = self.sample(&reading) else {
                continue;
            };
            self.usable += 1;
            let Some((name, emitter)) = reading.starts else {
                self.range.see(&sample, line);
                if let Some(scan) = &mut self.current {
                    scan.push(sample);
                }
                continue;
            };
            let mut next = ScanBuilder::new(&name, &emitter, line);
            next.push(sample);
            let ended = self.current.replace(next);
            self.end_range(ended.as_ref());
            self.range.see(&sample, line);
            if let Some(before) = &ended {
                self.ended.insert(before.name().to_owned());
            }
            if self.ended.contains(&name) {
                let same = ended.as_ref().is_some_and(|before| before.name() == name);
                self.notes
                    .returns(line, &name, same.then_some(emitter.as_str()));
            }
            if let Some(scan) = ended {
                return Ok(Some(scan.finish()));
            }
        }
    }

    /// Builds the sample of a reading; `None` if the file of angles has no position for its time.
    fn sample(&mut self, reading: &UsableRow) -> Option<(Sample, usize)> {
        let (first, last) = self.span.get_or_insert((reading.time, reading.time));
        *first = reading.time.min(*first);
        *last = reading.time.max(*last);
        let angles = match (reading.angles, &self.options.angles) {
            (Some(own), _) => Ok(own),
            (None, Some(angles)) => angles.at(reading.time),
            (None, None) => Err(NoAngles::Outside),
        };
        match angles {
            Ok((azimuth, elevation)) => Some((
                Sample {
                    time: reading.time,
                    azimuth,
                    elevation,
                    power: reading.power,
                },
                reading.line,
            )),
            Err(why) => {
                self.notes.without_angles(why);
                // A scan that should begin here begins with the next usable reading.
                if let Some(starts) = &reading.starts {
                    self.rows.starts_later(starts.clone());
                }
                None
            }
        }
    }

    /// Records readings outside the encoder ranges in a scan that has ended.
    fn end_range(&mut self, scan: Option<&ScanBuilder>) {
        let name = scan.map_or("", ScanBuilder::name);
        if let Some(remark) = self.range.end(self.rows.file(), name) {
            self.notes.outside(remark);
        }
    }

    /// Reads on as long as plain rows continue the current scan.
    fn read_plain_rows(&mut self) -> Result<(), Error> {
        let Some(scan) = &mut self.current else {
            return Ok(());
        };
        let name = scan.name().to_owned();
        let Some(Plain {
            form,
            date,
            emitter,
            mut pause,
            rows,
        }) = self.rows.plain()
        else {
            return Ok(());
        };
        let mut line = rows.lines_read();
        self.usable += rows.while_taken(|text| {
            let (sample, length) = plain_row::read(text, form, &name, emitter, date)?;
            if let Some(pause) = &mut pause {
                if pause.breaks(sample.time) {
                    return None;
                }
                pause.see(sample.time);
            }
            line += 1;
            self.range.see(&sample, line);
            scan.push(sample);
            Some(length)
        })?;
        Ok(())
    }

    /// Reads the next usable row.
    fn next_reading(&mut self) -> Result<Option<UsableRow>, Error> {
        loop {
            let mut problems = Problems::new();
            let next = self.rows.next(
                self.current.as_ref(),
                self.station,
                &mut problems,
                &mut self.notes,
            )?;
            let at_end = matches!(next, Next::End);
            self.notes
                .leave_out(problems, at_end.then(|| self.rows.lines_read()));
            if self.notes.unusable() + self.usable > EARLY {
                self.check_usable(false)?;
            }
            match next {
                Next::End => return Ok(None),
                Next::Nothing => {}
                Next::UsableRow(reading) => return Ok(Some(reading)),
            }
        }
    }

    /// Checks that enough of the file was usable so far.
    fn check_usable(&self, at_end: bool) -> Result<(), Error> {
        let unusable = self.notes.unusable();
        let all = (self.usable + unusable) as f64;
        if unusable > FEW && unusable as f64 > MOST_UNUSABLE * all {
            return Err(self.notes.problems().clone().into());
        }
        if at_end && self.usable == 0 {
            if unusable > 0 {
                return Err(self.notes.problems().clone().into());
            }
            if let (Some(angles), Some((first, last))) = (&self.options.angles, self.span) {
                return Err(angles.elsewhere(self.rows.file(), first, last).into());
            }
            let wrong = Wrong::new(
                if self.notes.is_cut_short() {
                    "the file's only row is cut short, or lacks its line end"
                } else {
                    "the file has a header but no rows"
                },
                "a row for each sample of the signal below it",
            );
            return Err(wrong.of_file(self.rows.file()).into());
        }
        Ok(())
    }

    /// Remarks for the user on anything odd so far.
    pub fn remarks(&self) -> Vec<String> {
        self.notes.remarks(self.rows.incomplete_sweeps())
    }

    /// What was read from a form other than the documented one, one line per kind.
    pub fn taken(&self) -> Vec<String> {
        let mut all = self.notes.taken();
        if let Some(angles) = &self.options.angles {
            all.extend(angles.taken.iter().cloned());
        }
        all
    }
}

#[cfg(test)]
mod tests;
