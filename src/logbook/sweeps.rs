//! Logs of spectra as written by common receiver tools: one line per sweep, or several for its
//! parts, with date, time of day, lowest and highest frequency, bin width, number of samples, and
//! then the power of each bin in decibels.

use std::collections::HashSet;
use std::io::BufRead;

use super::scan::from_decibels;
use super::table::{Decided, Dialect, Lines};
use crate::problem::{Error, Problem, Problems, Wrong};
use crate::quantity::Quantity;
use crate::station::limits::DECIBELS;
use crate::text::quoted;
use crate::time::{DateOrder, Utc, WrittenTime, WrittenZone, ZoneOffset};

/// Up to the boundary between radio and infrared.
const HERTZ: Quantity = Quantity::new(0.0, 1e13, "hertz from 0 to 1e13");
const MEGAHERTZ: Quantity = Quantity::new(0.0, 1e7, "megahertz from 0 to 1e7");
const SAMPLES: Quantity = Quantity::new(0.0, 1e15, "a number of samples, 0 to 1e15");

/// A range of frequencies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    low_hz: f64,
    high_hz: f64,
}

impl Band {
    /// Reads `1694..1702`, in megahertz.
    ///
    /// # Errors
    /// If the text is anything else, with the expected form of a band.
    pub fn parse(text: &str) -> Result<Band, String> {
        let number = |t: &str| MEGAHERTZ.read("", t.trim()).ok();
        (text.split_once("..").or_else(|| text.split_once('-')))
            .and_then(|(low, high)| Some((number(low)?, number(high)?)))
            .filter(|(low, high)| low < high)
            .map(|(low, high)| Band {
                low_hz: low * 1e6,
                high_hz: high * 1e6,
            })
            .ok_or_else(|| "a band is two frequencies in MHz, such as 1694..1702".to_owned())
    }
    /// Whether a frequency in hertz lies in the band.
    pub fn holds(&self, hz: f64) -> bool {
        (self.low_hz..=self.high_hz).contains(&hz)
    }
    fn overlap_hz(&self, low: f64, high: f64) -> f64 {
        (self.high_hz.min(high) - self.low_hz.max(low)).max(0.0)
    }
    fn joined(self, other: Band) -> Band {
        Band {
            low_hz: self.low_hz.min(other.low_hz),
            high_hz: self.high_hz.max(other.high_hz),
        }
    }
}

impl std::fmt::Display for Band {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} to {} MHz", self.low_hz / 1e6, self.high_hz / 1e6)
    }
}

/// One sweep: the power in the band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sweep {
    pub time: Utc,
    /// Linear, in the unit of one bin.
    pub power: f64,
    /// Line of its first part.
    pub line: usize,
}

/// Fraction of the usual band that a sweep must cover; one truncated by the end of recording covers
/// less. Common practice, no source.
const LEAST_COVERED: f64 = 0.9;

/// Reads sweeps from a log.
pub struct Sweeps<R> {
    lines: Lines<R>,
    dialect: Dialect,
    decided: Decided,
    band: Band,
    /// Width of the band covered by the sweeps at the beginning of the file, hertz.
    usual_hz: f64,
    present: Option<Parts>,
    /// Sweeps skipped because parts of them are missing.
    incomplete: usize,
    /// Line number of a last line without a line end.
    cut_short: Option<usize>,
    text: String,
}

/// The parts of a sweep that lie in the band.
#[derive(Clone, Debug)]
struct Parts {
    line: usize,
    first: Utc,
    /// Seconds since the first part, summed over the parts.
    seconds: f64,
    /// Lowest frequencies.
    lows: HashSet<u64>,
    covered_hz: f64,
    /// Power times hertz.
    power_hz: f64,
    step_hz: f64,
}

/// One line.
struct Line<'t> {
    time: WrittenTime,
    span: Band,
    step_hz: f64,
    powers: std::str::Split<'t, char>,
}

/// What is found at the beginning of a log of sweeps.
pub struct Beginning {
    pub dialect: Dialect,
    /// From the lowest to the highest frequency.
    pub span: Band,
    /// The first time, as written, with its line.
    pub first: WrittenTime,
    pub first_text: String,
    pub first_line: usize,
    /// The most that one sweep covers.
    covered: Vec<(Band, f64)>,
}

/// Recognises a log of sweeps by its beginning; `None` if it is another kind of file.
pub fn beginning(head: &[u8]) -> Option<Beginning> {
    let dialect = Dialect::of(head);
    let text = String::from_utf8_lossy(crate::text::without_mark(head));
    let ends: &[char] = if dialect.returns { &['\r'] } else { &['\n'] };
    let mut found: Option<Beginning> = None;
    for (i, line) in text.split(ends).enumerate() {
        let named = line.trim().is_empty()
            || line.starts_with('#')
            || line.starts_with(char::is_alphabetic);
        let Some(cut) = cut(line, dialect) else {
            // There may be a header above, and the last line of the beginning may be truncated.
            if found.is_none() && !named {
                return None;
            }
            continue;
        };
        let usable: Vec<(Band, f64)> = cut
            .bins()
            .map(|(bin, _)| (bin, bin.high_hz - bin.low_hz))
            .collect();
        match &mut found {
            Some(found) => {
                found.span = found.span.joined(cut.span);
                found.covered.extend(usable);
            }
            None => {
                found = Some(Beginning {
                    dialect,
                    span: cut.span,
                    first_text: line
                        .split(dialect.delimiter)
                        .take(2)
                        .map(str::trim)
                        .collect::<Vec<_>>()
                        .join(" "),
                    first: cut.time.clone(),
                    first_line: i + 1,
                    covered: usable,
                });
            }
        }
    }
    found
}

impl Beginning {
    /// Width of the part of a band that one sweep covers, hertz.
    pub fn covers_hz(&self, band: &Band) -> f64 {
        let mut bins: Vec<(u64, f64)> = (self.covered.iter())
            .map(|(bin, _)| {
                (
                    bin.low_hz.to_bits(),
                    band.overlap_hz(bin.low_hz, bin.high_hz),
                )
            })
            .collect();
        bins.sort_by_key(|(low, _)| *low);
        bins.dedup_by_key(|(low, _)| *low);
        bins.iter().map(|(_, hz)| hz).sum()
    }
}

impl<R: BufRead> Sweeps<R> {
    /// Reads sweeps from `input`, which messages call `file`.
    pub fn new(
        file: &str,
        input: R,
        beginning: &Beginning,
        band: Band,
        offset: Option<ZoneOffset>,
        order: Option<DateOrder>,
    ) -> Sweeps<R> {
        Sweeps {
            lines: Lines::new(file, input, beginning.dialect.returns),
            dialect: beginning.dialect,
            decided: Decided {
                offset,
                order,
                ..Decided::default()
            },
            band,
            usual_hz: beginning.covers_hz(&band),
            present: None,
            incomplete: 0,
            cut_short: None,
            text: String::new(),
        }
    }

    /// The file as the user named it.
    pub fn file(&self) -> &str {
        &self.lines.file
    }
    /// How many lines have been read so far.
    pub fn lines_read(&self) -> usize {
        self.lines.count
    }
    /// Sweeps skipped so far because parts of them are missing.
    pub fn incomplete(&self) -> usize {
        self.incomplete
    }
    /// Line number of a last line that was skipped because it has no line end.
    pub fn cut_short(&self) -> Option<usize> {
        self.cut_short
    }

    /// Returns the next sweep, or `None` at the end. Lines that are not part of a sweep are
    /// reported and skipped.
    ///
    /// # Errors
    /// If reading fails.
    pub fn next(&mut self, problems: &mut Problems) -> Result<Option<Sweep>, Error> {
        loop {
            self.text.clear();
            if !self.lines.append(&mut self.text, problems)? {
                let last = self.present.take();
                return Ok(last.and_then(|parts| self.whole(&parts)));
            }
            let line = self.lines.count;
            if self.text.starts_with('#')
                || self.text.trim().is_empty()
                || self.text.starts_with(char::is_alphabetic)
            {
                continue;
            }
            if !self.text.ends_with('\n') {
                self.cut_short = Some(line);
                continue;
            }
            let Some(cut) = cut(&self.text, self.dialect) else {
                problems.push(self.no_sweep(line));
                continue;
            };
            let time = match self.decided.instant(&cut.time) {
                Ok(time) => time,
                Err(why) => {
                    let wrong = Wrong::new(format!("no time: {why}"), "a date and a time of day");
                    problems.push(wrong.at(&self.lines.file, line, 1));
                    continue;
                }
            };
            let mut part = Parts {
                line,
                first: time,
                seconds: 0.0,
                lows: HashSet::from([cut.span.low_hz.to_bits()]),
                covered_hz: 0.0,
                power_hz: 0.0,
                step_hz: cut.step_hz,
            };
            for (bin, decibels) in cut.bins() {
                let hz = self.band.overlap_hz(bin.low_hz, bin.high_hz);
                part.covered_hz += hz;
                part.power_hz += hz * from_decibels(decibels);
            }
            if part.covered_hz == 0.0 {
                continue;
            }
            match &mut self.present {
                Some(present) if present.lows.is_disjoint(&part.lows) => present.add(&part),
                present => {
                    let ended = present.replace(part);
                    if let Some(sweep) = ended.and_then(|parts| self.whole(&parts)) {
                        return Ok(Some(sweep));
                    }
                }
            }
        }
    }

    /// Combines these parts into a sweep; `None`, and counted, if too much of it is missing.
    fn whole(&mut self, parts: &Parts) -> Option<Sweep> {
        if parts.covered_hz < LEAST_COVERED * self.usual_hz {
            self.incomplete += 1;
            return None;
        }
        let mean = parts.power_hz / parts.covered_hz;
        Some(Sweep {
            time: (parts.first).plus_seconds(parts.seconds / parts.lows.len() as f64),
            power: mean * self.usual_hz / parts.step_hz,
            line: parts.line,
        })
    }

    fn no_sweep(&self, line: usize) -> Problem {
        let found = format!("this line is not a sweep: {}", quoted(self.text.trim()));
        let expected = "date, time, lowest and highest frequency, width of a bin, samples, powers";
        Wrong::new(found, expected).at(&self.lines.file, line, 1)
    }
}

impl Parts {
    fn add(&mut self, other: &Parts) {
        self.seconds += other.first.seconds_since(self.first);
        self.lows.extend(&other.lows);
        self.covered_hz += other.covered_hz;
        self.power_hz += other.power_hz;
    }
}

impl Line<'_> {
    /// Iterates over the bins that have a power, in decibels. Receivers write nan or -inf for what
    /// they could not measure.
    fn bins(&self) -> impl Iterator<Item = (Band, f64)> {
        let (low, step) = (self.span.low_hz, self.step_hz);
        self.powers
            .clone()
            .enumerate()
            .filter_map(move |(i, power)| {
                let decibels = DECIBELS.read("", power.trim()).ok()?;
                let low_hz = low + step * i as f64;
                let bin = Band {
                    low_hz,
                    high_hz: low_hz + step,
                };
                Some((bin, decibels))
            })
    }
}

/// Splits a line; `None` if it is not part of a sweep.
fn cut(line: &str, dialect: Dialect) -> Option<Line<'_>> {
    let line = line.trim_end_matches(['\r', '\n']);
    let mut cells = line.split(dialect.delimiter);
    let (date, clock) = (cells.next()?.trim(), cells.next()?.trim());
    let mut number = |quantity: Quantity| quantity.read("", cells.next()?.trim()).ok();
    let (low_hz, high_hz, step_hz) = (number(HERTZ)?, number(HERTZ)?, number(HERTZ)?);
    let _samples = number(SAMPLES)?;
    let sound = low_hz < high_hz && step_hz > 0.0 && step_hz <= high_hz - low_hz + 1.0;
    // Dates and times of day are first recognised by the cheapest test.
    if !sound || !clock.contains(':') {
        return None;
    }
    let time = WrittenTime::parse(&format!("{date} {clock}")).ok()?;
    let powers = cells.clone().filter(|p| !p.trim().is_empty());
    let count = powers.clone().count();
    let readable = powers.clone().all(|p| p.trim().parse::<f64>().is_ok());
    // Some tools write one bin more than fits.
    let fits = count as f64 <= ((high_hz - low_hz) / step_hz).round() + 1.5;
    (count > 0 && readable && fits).then_some(Line {
        time,
        span: Band { low_hz, high_hz },
        step_hz,
        powers: cells,
    })
}

impl Decided {
    /// Converts the time of a sweep to UTC.
    fn instant(&self, written: &WrittenTime) -> Result<Utc, String> {
        let order = match (self.order, written.is_open()) {
            (Some(order), _) => order,
            (None, false) => DateOrder::DayMonthYear,
            (None, true) => return Err("the date may be two; add --dates".to_owned()),
        };
        let offset = match (&written.zone, self.offset) {
            (WrittenZone::Offset(said), _) => *said,
            (_, Some(offset)) => offset,
            _ => return Err("it is without a zone; add --zone".to_owned()),
        };
        written.instant(order, offset).map_err(|e| e.to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two parts of 2 MHz in bins of 1 MHz, every second.
    fn log(change: impl Fn(usize, String) -> String) -> String {
        let mut text = String::new();
        for second in 0..5 {
            for (part, low) in [100, 102].into_iter().enumerate() {
                let line = format!(
                    "2026-04-07, 10:03:0{second}, {low}000000, {}000000, 1000000.0, 64, -10, -20\n",
                    low + 2
                );
                text.push_str(&change(2 * second + part, line));
            }
        }
        text
    }
    fn read(text: &str, band: Option<&str>) -> (Vec<Sweep>, usize, Problems) {
        let beginning = beginning(text.as_bytes()).expect("sweeps");
        let band = band.map_or(beginning.span, |b| Band::parse(b).unwrap());
        let zone = Some(ZoneOffset::from_hours(2));
        let mut sweeps = Sweeps::new("s", text.as_bytes(), &beginning, band, zone, None);
        let mut problems = Problems::new();
        let mut all = Vec::new();
        while let Some(sweep) = sweeps.next(&mut problems).unwrap() {
            all.push(sweep);
        }
        (all, sweeps.incomplete(), problems)
    }
    fn close(a: f64, b: f64) -> bool {
        (a / b - 1.0).abs() < 1e-12
    }

    #[test]
    fn powers_are_summed_over_the_band() {
        let text = log(|_, line| line);
        let (sweeps, _, problems) = read(&text, None);
        assert!(problems.is_empty() && sweeps.len() == 5);
        assert_eq!(sweeps[0].time, Utc::parse("2026-04-07T08:03:00Z").unwrap());
        assert!(close(sweeps[0].power, 0.1 + 0.01 + 0.1 + 0.01));
        // One bin and half of the next.
        let (sweeps, _, _) = read(&text, Some("100..101.5"));
        assert!(close(sweeps[4].power, 0.1 + 0.005), "{}", sweeps[4].power);
        assert_eq!(sweeps[4].line, 9);
    }

    #[test]
    fn an_incomplete_sweep_is_skipped_and_counted() {
        let (sweeps, incomplete, problems) = read(
            &log(|i, line| if i == 3 { String::new() } else { line }),
            None,
        );
        assert_eq!((sweeps.len(), incomplete), (4, 1));
        assert!(problems.is_empty());
        // The missing part lies in the other half of the band.
        let missing = log(|i, line| if i == 3 { String::new() } else { line });
        let (sweeps, incomplete, _) = read(&missing, Some("100..102"));
        assert_eq!((sweeps.len(), incomplete), (5, 0));
    }

    #[test]
    fn bins_without_a_power_are_ignored() {
        let text = log(|_, line| line.replace("64, -10", "64, nan"));
        let (sweeps, incomplete, _) = read(&text, None);
        assert_eq!((sweeps.len(), incomplete), (5, 0));
        assert!(close(sweeps[0].power, 0.02));
    }

    #[test]
    fn a_damaged_line_is_reported_with_its_position() {
        let text = log(|i, line| {
            if i == 4 {
                line.replace("-20", "-2x")
            } else {
                line
            }
        });
        let (sweeps, incomplete, problems) = read(&text, None);
        assert_eq!((sweeps.len(), incomplete), (4, 1));
        let told = problems.to_string();
        assert!(
            told.starts_with("s:5:1: this line is not a sweep"),
            "{told}"
        );
    }

    #[test]
    fn only_sweeps_are_taken_for_sweeps() {
        assert!(beginning(log(|_, line| line).as_bytes()).is_some());
        let header = "date, time, low, high, step, samples, db\n";
        assert!(beginning([header, &log(|_, l| l)].concat().as_bytes()).is_some());
        for other in [
            "",
            "scan,time_utc,emitter,azimuth_deg,elevation_deg,power_db\n1,2026-04-07T08:03:00Z,sun,1,2,3\n",
            "2026-04-07T08:03:00Z,sun,1,2\n",
            "2026-04-07, 10:03:00, 5, 4, 1, 1, -3\n",
        ] {
            assert!(beginning(other.as_bytes()).is_none(), "{other}");
        }
    }

    #[test]
    fn a_band_is_given_by_two_frequencies() {
        let band = Band::parse("1694..1702").unwrap();
        assert!(band.holds(1.7e9) && !band.holds(1.703e9));
        assert_eq!(Band::parse("1694-1702"), Ok(band));
        for text in ["1702..1694", "1700", "a..b", "-1..2", "1..1"] {
            assert!(Band::parse(text).is_err(), "{text}");
        }
    }
}
