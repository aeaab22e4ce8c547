//! The rows from which scans are built: of a table of samples, or of a log of sweeps.

use std::io::BufRead;
use std::path::Path;

use super::angles::usual_step_s;
use super::emitter_names::{check_emitter, one_emitter};
use super::plain_row::{Date, Form};
use super::scan::{PowerUnit, ScanBuilder};
use super::scan_begin::{begin_sweeps, begin_table, first_sweeps};
use super::scan_columns::{EMITTER, SCAN};
use super::scan_options::ScanOptions;
use super::scan_source::{NO_LINE_END, Next, Source, UsableRow, Whole};
use super::scans_remarks::Notes;
use super::sweeps;
use super::table::{RowReader, TakenKind, Told};
use crate::problem::{Error, Problems};
use crate::station::Station;
use crate::time::Utc;

/// In a log without a scan column, a pause of this many seconds begins a new scan: longer than a
/// dish takes to move from one arm of a cross to the other. Common practice, no source.
const USUAL_PAUSE_S: f64 = 30.0;
/// If samples are spaced more widely, a pause of this many usual steps; common practice, no source.
const PAUSE_STEPS: f64 = 10.0;

/// Rows of either kind.
pub(super) struct ScanRows<R> {
    source: Source<R>,
    /// Separates scans that have no names.
    pause: Option<Pause>,
    /// The emitter of all rows.
    emitter: Option<String>,
    /// Name and emitter of a scan whose first readings could not be used.
    starts: Option<(String, String)>,
}

/// What is needed to read plain rows.
pub(super) struct Plain<'a, R> {
    pub form: &'a Form,
    pub date: &'a Date,
    /// Current emitter as written in the log.
    pub emitter: &'a str,
    pub pause: Option<&'a mut Pause>,
    pub rows: &'a mut RowReader<Whole<R>>,
}

/// Detects pauses.
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
    /// Advances to that time.
    pub fn see(&mut self, time: Utc) {
        self.last = Some(time);
    }
}

impl<R: BufRead> ScanRows<R> {
    /// Examines the beginning of a file and asks what must be asked.
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
            told.taken.whole(TakenKind::Pauses, || {
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
    /// Sweeps skipped so far because parts of them are missing.
    pub fn incomplete_sweeps(&self) -> usize {
        match &self.source {
            Source::Table(_) => 0,
            Source::Sweeps(sweeps) => sweeps.incomplete(),
        }
    }

    /// Lets a scan whose first reading could not be used begin with the next reading.
    pub fn starts_later(&mut self, starts: (String, String)) {
        self.starts = Some(starts);
    }

    /// Returns what is needed to read plain rows, if a row has already been read by the general
    /// path.
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
                Some(sweep) => Next::UsableRow(UsableRow {
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
        if let Next::UsableRow(reading) = &mut next {
            self.part(reading, current);
        }
        Ok(next)
    }

    /// Separates scans without names at pauses and where the emitter changes.
    fn part(&mut self, reading: &mut UsableRow, current: Option<&ScanBuilder>) {
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
