//! Remarks on a log of scans: the first few of each kind in words, the rest counted.

use super::angles::NoAngles;
use super::log_options::LogOptions;
use super::peak::Readings;
use super::peaks_write::degrees_text;
use super::scan::Sample;
use super::table::Told;
use crate::angle::Angle;
use crate::problem::{Problem, Problems, Wrong};
use crate::station::Mount;
use crate::text::quoted;

/// Number of remarks of one kind that are printed individually; the rest are counted, to keep the
/// output readable.
const MOST_REMARKS: usize = 5;

/// Remarks of one kind.
#[derive(Default)]
pub(super) struct Remarks {
    kept: Vec<String>,
    more: usize,
}

impl Remarks {
    pub fn push(&mut self, remark: impl FnOnce() -> String) {
        if self.kept.len() < MOST_REMARKS {
            self.kept.push(remark());
        } else {
            self.more += 1;
        }
    }
    /// The stored remarks, and a line about the rest with the advice.
    pub fn told(&self, file: &str, advice: &str) -> Vec<String> {
        let mut all = self.kept.clone();
        if self.more > 0 {
            all.push(format!("{file}: and {} more like it{advice}", self.more));
        }
        all
    }
}

/// Advice for a log in which many scans reappear.
const MIXED: &str = ": are rows of several scans or emitters mixed? Sort the log so that the rows of each scan stand together, and give each scan one emitter";
/// Message for a last row with missing fields.
const CUT: &str = "the last line is cut short";

/// Everything noted about a log while it is read.
pub(super) struct Notes {
    file: String,
    /// What was read differently from how it is written; faults stay here only until they are moved
    /// to the unusable rows.
    pub told: Told,
    /// Rows left out.
    unusable: Problems,
    headers_again: Vec<usize>,
    /// Line of a last row that is, or may be, truncated, and the message about it.
    cut_short: Option<(usize, &'static str)>,
    /// Remarks on scans that reappear or change their emitter.
    returns: Remarks,
    /// Remarks on scans with readings outside the encoder ranges.
    outside: Remarks,
    /// Number of rows at times without angles: outside the angle file, and in its gaps.
    no_angles: [usize; 2],
    /// What a comment says the readings are, with its line.
    readings: Option<(usize, Readings)>,
}

impl Notes {
    pub fn new(file: &str) -> Notes {
        Notes {
            file: file.to_owned(),
            told: Told::default(),
            unusable: Problems::new(),
            headers_again: Vec::new(),
            cut_short: None,
            returns: Remarks::default(),
            outside: Remarks::default(),
            no_angles: [0; 2],
            readings: None,
        }
    }

    /// Records unusable rows. Problems on the line `last`, if given, may only be due to truncation.
    pub fn leave_out(&mut self, problems: Problems, last: Option<usize>) {
        let cut = |p: &Problem| last.is_some() && p.line == last;
        if let (Some(last), true) = (last, problems.as_slice().iter().any(cut)) {
            self.cut_short = Some((last, CUT));
        } else {
            self.unusable.append(problems);
        }
    }
    /// Records a last line that may be truncated.
    pub fn cut_short(&mut self, line: usize, words: &'static str) {
        self.cut_short = Some((line, words));
    }
    pub fn is_cut_short(&self) -> bool {
        self.cut_short.is_some()
    }
    /// Number of unusable rows.
    pub fn unusable(&self) -> usize {
        self.unusable.count()
    }
    /// Why rows are unusable.
    pub fn problems(&self) -> &Problems {
        &self.unusable
    }
    /// Records a repeated header.
    pub fn header_again(&mut self, line: usize) {
        self.headers_again.push(line);
    }
    /// Records a row at a time without angles.
    pub fn without_angles(&mut self, why: NoAngles) {
        self.no_angles[match why {
            NoAngles::Outside => 0,
            NoAngles::Gap => 1,
        }] += 1;
    }
    /// Records readings outside the encoder ranges.
    pub fn outside(&mut self, remark: String) {
        self.outside.push(|| remark);
    }
    /// Records a scan whose name occurred before; with the emitter if only that differs.
    pub fn returns(&mut self, line: usize, name: &str, other_emitter: Option<&str>) {
        let file = &self.file;
        self.returns.push(|| match other_emitter {
            Some(emitter) => format!(
                "{file}:{line}: scan {name} changes to emitter {emitter}: it is taken as two scans of that name"
            ),
            None => format!(
                "{file}:{line}: scan {name} comes back after other scans: the rows from here on are taken as a separate scan"
            ),
        });
    }
    /// Handles a comment that says what the readings are.
    pub fn say_readings(&mut self, line: usize, said: &str) {
        let wrong = match (Readings::parse(said), &self.readings) {
            (Ok(readings), None) => {
                self.readings = Some((line, readings));
                return;
            }
            (Ok(readings), Some((_, before))) if readings == *before => return,
            (Ok(_), Some((before, _))) => Wrong::new(
                format!("readings = {said}, but line {before} says otherwise"),
                "one kind of readings in a log of scans",
            ),
            (Err(expected), _) => Wrong::new(format!("readings = {}", quoted(said)), expected),
        };
        self.unusable.push(wrong.at(&self.file, line, 1));
    }
    /// What the readings are.
    pub fn readings(&self, options: &LogOptions) -> Readings {
        let said = self.readings.as_ref().map(|(_, readings)| readings.clone());
        said.or_else(|| options.readings.clone())
            .unwrap_or_default()
    }

    /// What was read differently from how it is written.
    pub fn taken(&self) -> Vec<String> {
        self.told.taken.told(&self.file)
    }

    /// Remarks on anything odd so far.
    pub fn remarks(&self, incomplete_sweeps: usize) -> Vec<String> {
        let file = &self.file;
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
                "{file}:{line}: the header appears again; this line was left out"
            )),
            [line, again] => all.push(format!(
                "{file}:{line}: the header appears again, and in line {again}; both were left out"
            )),
            [line, ..] => all.push(format!(
                "{file}:{line}: the header appears again, and {} times more; all were left out",
                self.headers_again.len() - 1
            )),
        }
        if let Some((line, words)) = self.cut_short {
            all.push(format!("{file}:{line}: {words}; it was left out"));
        }
        if incomplete_sweeps > 0 {
            all.push(format!(
                "{file}: {incomplete_sweeps} sweeps left out that lack a part of the band"
            ));
        }
        for (rows, where_to) in self.no_angles.iter().zip([
            "before the first or after the last of the angles, which are not extrapolated",
            "in a gap of the angles, too long to be bridged",
        ]) {
            if *rows > 0 {
                all.push(format!("{file}: {rows} samples left out {where_to}"));
            }
        }
        all.extend(self.returns.told(file, MIXED));
        all.extend(self.outside.told(file, ""));
        all
    }
}

/// Checks a scan for readings outside the range of the station's encoders.
pub(super) struct RangeWatch {
    ranges: [(&'static str, Range); 2],
    first: Option<Outside>,
    /// Rows with such readings.
    rows: usize,
}

type Range = (Angle, Angle);

/// The first such reading of a scan.
struct Outside {
    line: usize,
    axis: &'static str,
    reading: Angle,
    range: Range,
}

impl RangeWatch {
    pub fn new(mount: &Mount) -> RangeWatch {
        RangeWatch {
            ranges: [
                (mount.kind().axes()[0].words(), mount.azimuth_range),
                (mount.kind().axes()[1].words(), mount.elevation_range),
            ],
            first: None,
            rows: 0,
        }
    }
    /// Checks a row of the scan.
    pub fn see(&mut self, sample: &Sample, line: usize) {
        let readings = [sample.azimuth, sample.elevation];
        let outside = self
            .ranges
            .iter()
            .zip(readings)
            .find(|(of, reading)| *reading < of.1.0 || *reading > of.1.1);
        if let Some((&(axis, range), reading)) = outside {
            self.rows += 1;
            self.first.get_or_insert(Outside {
                line,
                axis,
                reading,
                range,
            });
        }
    }
    /// Ends the scan of that name; returns the remark on it, if any.
    pub fn end(&mut self, file: &str, scan: &str) -> Option<String> {
        let more = std::mem::take(&mut self.rows).saturating_sub(1);
        let Outside {
            line,
            axis,
            reading,
            range: (low, high),
        } = self.first.take()?;
        let rest = match more {
            0 => String::new(),
            1 => ", and so in 1 more row of this scan".to_owned(),
            _ => format!(", and so in {more} more rows of this scan"),
        };
        Some(format!(
            "{file}:{line}: scan {scan}: {axis} reading {} is outside the encoder range of the station file, {} to {} degrees{rest}",
            degrees_text(reading),
            degrees_text(low),
            degrees_text(high),
        ))
    }
}
