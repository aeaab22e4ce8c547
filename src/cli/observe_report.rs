//! What an observation has to say: on the terminal, in its logs, to machines.

use std::io::Write;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};
use serde_json::{Value, json};

use super::{Common, Console};
use crate::angle::Angle;
use crate::live::{Axes, Loudness, RelayNotice};
use crate::logbook::PowerUnit;
use crate::mount::Kind;
use crate::observe::{Action, Ending, EvaluatedScan, Journal, Progress, Solved, renamed};
use crate::outputs::{Growing, Output};
use crate::problem::Error;
use crate::time::Utc;

/// Takes what an observation wants written and told.
pub struct Reporter {
    log: Growing,
    form: (Kind, PowerUnit),
    journal: Option<Journal<std::fs::File>>,
    peaks: Output,
    /// Whether this run has written them already.
    peaks_written: bool,
    json: bool,
    console: Console,
    bar: ProgressBar,
    at: Option<Duration>,
    ending: Option<Ending>,
    failed: Option<Error>,
}

/// Columns that show the present cut, so that it fits a usual terminal with its figures.
const COLUMNS: usize = 48;

impl Reporter {
    /// Into a log that grows, and a file of peaks that is written anew with each.
    ///
    /// # Errors
    /// When the log cannot be written.
    pub fn new(
        log: &Growing,
        peaks: Output,
        (kind, unit, goes_on): (Kind, PowerUnit, bool),
        common: &Common,
        console: &Console,
    ) -> Result<Reporter, Error> {
        let name = log.path().display().to_string();
        let file = log.open()?;
        let begun = goes_on || file.metadata().is_ok_and(|m| m.len() > 0);
        let journal =
            Journal::begin(file, kind, unit, begun).map_err(|e| Error::io(&name, "write", e))?;
        let bar = console.progress(0, "");
        if let Ok(style) = ProgressStyle::with_template("{msg}") {
            bar.set_style(style);
        }
        Ok(Reporter {
            log: log.clone(),
            form: (kind, unit),
            journal: Some(journal),
            peaks,
            peaks_written: false,
            json: common.json,
            console: Console::new(common.quiet),
            bar,
            at: None,
            ending: None,
            failed: None,
        })
    }

    /// What is taken from now on is of so long after the beginning of a practice.
    pub fn at(&mut self, at: Option<Duration>) {
        self.at = at;
    }

    /// How it ended, if it has.
    pub fn ending(&self) -> Option<Ending> {
        self.ending.clone()
    }

    /// Takes something.
    pub fn take(&mut self, action: Action) {
        match action {
            Action::Rows(rows) => {
                let written = match &mut self.journal {
                    Some(journal) => journal.append(&rows),
                    None => Ok(()),
                };
                if let Err(error) = written {
                    self.journal = None;
                    let text = format!("the log of scans cannot be written and ends here: {error}");
                    self.say(Loudness::Alarm, &text);
                    self.failed = Some(Error::io("the log of scans", "write", error));
                }
            }
            Action::Renamed(scan, emitter) => {
                if let Err(error) = self.rename(&scan, emitter.as_deref()) {
                    self.say(Loudness::Warning, &error.to_string());
                    self.failed = Some(error);
                }
            }
            Action::Peaks(csv) => {
                let written = match std::mem::replace(&mut self.peaks_written, true) {
                    true => self.peaks.rewrite(&csv),
                    false => self.peaks.write(csv.as_bytes()).map(drop),
                };
                if let Err(error) = written {
                    self.say(Loudness::Warning, &error.to_string());
                    self.failed = Some(error);
                }
            }
            Action::EvaluatedScan(looked, solved) => self.scan_evaluated(&looked, solved.as_ref()),
            Action::Tell(RelayNotice { loudness, text }) => self.say(loudness, &text),
            Action::Show(progress) => self.draw_progress(&progress),
            Action::End(ending) => self.ending = Some(ending),
            Action::Connect(_) | Action::Write(..) | Action::Drop(_) | Action::Think(_) => {}
        }
    }

    /// A scan in the log is of another emitter.
    fn rename(&mut self, scan: &str, emitter: Option<&str>) -> Result<(), Error> {
        let name = self.log.path().display().to_string();
        let text =
            std::fs::read_to_string(self.log.path()).map_err(|e| Error::io(&name, "read", e))?;
        self.log.rewrite(&renamed(&text, scan, emitter))?;
        let (kind, unit) = self.form;
        let journal = Journal::begin(self.log.open()?, kind, unit, true);
        self.journal = Some(journal.map_err(|e| Error::io(&name, "write", e))?);
        Ok(())
    }

    fn say(&mut self, loudness: Loudness, text: &str) {
        let clock = self.at.map_or(String::new(), |at| {
            let s = at.as_secs();
            format!("[{:02}:{:02}:{:02}] ", s / 3600, s / 60 % 60, s % 60)
        });
        let text = format!("{clock}{text}");
        let console = &mut self.console;
        self.bar.suspend(|| match loudness {
            Loudness::Note | Loudness::Milestone => console.note(&text),
            Loudness::Warning => console.warning(&text),
            Loudness::Alarm => console.alarm(&text),
        });
        self.line(&json!({ "told": loudness.word(), "text": text }));
    }

    fn scan_evaluated(&mut self, looked: &EvaluatedScan, solved: Option<&Solved>) {
        let degrees = |angle: Angle| angle.degrees();
        let found = looked.found.as_ref();
        self.line(&json!({
            "scan": looked.name,
            "emitter": looked.emitter,
            "verdict": looked.verdict.word(),
            "why": looked.why,
            "azimuth_deg": found.map(|f| degrees(f.reading.azimuth)),
            "elevation_deg": found.map(|f| degrees(f.reading.elevation)),
            "off_deg": looked.off.map(|(off, _)| degrees(off)),
            "signal_to_noise": looked.signal_to_noise,
            "expected_rms_deg": solved.map(|s| degrees(s.rms)),
            "expected_rms_95_deg": solved.map(|s| degrees(s.rms_95)),
        }));
    }

    /// A line for machines.
    fn line(&mut self, value: &Value) {
        if !self.json {
            return;
        }
        let mut value = value.clone();
        if let Value::Object(map) = &mut value {
            match self.at {
                Some(at) => map.insert("seconds".to_owned(), json!(at.as_secs_f64())),
                None => map.insert("time_utc".to_owned(), json!(Utc::now())),
            };
        }
        // A reader that has gone does not stop the mount's observation.
        let _ = self.console.data(&format!("{value}\n"));
    }

    fn draw_progress(&mut self, progress: &Progress) {
        if self.bar.is_hidden() {
            return;
        }
        self.bar.set_message(picture(progress));
    }

    /// In a word or two.
    pub fn words(ending: &Ending) -> String {
        match ending {
            Ending::Reached => "the pointing error that was asked for is reached".to_owned(),
            Ending::Over(why) => format!("it is over: {why}"),
            Ending::BrokenOff(why) => format!("it was broken off: {why}"),
            Ending::Rehearsed => "that was the rehearsal: nothing was moved".to_owned(),
        }
    }

    /// Says how it ended.
    ///
    /// # Errors
    /// What could not be written meanwhile.
    pub fn finish(&mut self, ending: &Ending) -> Result<(), Error> {
        self.bar.finish_and_clear();
        self.say(Loudness::Note, &Reporter::words(ending));
        let _ = std::io::stdout().flush();
        match self.failed.take() {
            Some(error) => Err(error),
            None => Ok(()),
        }
    }
}

/// Two lines: what is done and how far it is, and the present cut.
fn picture(progress: &Progress) -> String {
    let mut parts = vec![progress.doing.clone()];
    if let Some(Axes([one, two])) = progress.reading {
        parts.push(format!("reading {:.2} {:.2}", one.degrees(), two.degrees()));
    }
    parts.push(format!("{} peaks", progress.peaks));
    if let (Some(error), wanted) = progress.error {
        parts.push(format!(
            "error {:.2} of {:.2} deg",
            error.degrees(),
            wanted.degrees()
        ));
    }
    parts.push(format!("{:.0} min left", progress.left_s / 60.0));
    let cut = cut(&progress.cut);
    match cut.is_empty() {
        true => parts.join(" | "),
        false => format!("{cut}\n{}", parts.join(" | ")),
    }
}

/// The present cut as a row of bars, from its lowest offset to its highest.
fn cut(samples: &[(f64, f64)]) -> String {
    const BARS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    let range = |values: &mut dyn Iterator<Item = f64>| {
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
            (low.min(v), high.max(v))
        })
    };
    let (left, right) = range(&mut samples.iter().map(|s| s.0));
    let (low, high) = range(&mut samples.iter().map(|s| s.1));
    if samples.len() < 3 || right <= left {
        return String::new();
    }
    // The whole cut is three beamwidths and more: the picture grows as it comes.
    let (left, right) = (left.min(-1.5), right.max(1.5));
    let mut columns: Vec<Option<f64>> = vec![None; COLUMNS];
    for (offset, power) in samples {
        let place = (offset - left) / (right - left) * (COLUMNS - 1) as f64;
        let column = &mut columns[(place as usize).min(COLUMNS - 1)];
        *column = Some(column.map_or(*power, |p: f64| p.max(*power)));
    }
    let bars: String = (columns.iter())
        .map(|column| match column {
            None => ' ',
            Some(power) => {
                let share = (power - low) / (high - low).max(0.05);
                BARS[((share * 7.99) as usize).min(7)]
            }
        })
        .collect();
    format!("{bars} {:.1} dB", high - low)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cut_is_drawn_with_its_peak_in_place() {
        let samples: Vec<(f64, f64)> = (-30..=30)
            .map(|i| {
                let x = f64::from(i) / 20.0;
                (x, 10.0 * (1.0 + 9.0 * 2f64.powf(-4.0 * x * x)).log10())
            })
            .collect();
        let drawn = cut(&samples);
        let bars: Vec<char> = drawn.chars().take(COLUMNS).collect();
        assert_eq!(bars[COLUMNS / 2], '█', "{drawn}");
        assert_eq!(bars[0], '▁');
        assert!(drawn.ends_with(" dB"));
        assert_eq!(cut(&samples[..2]), "");
    }
}
