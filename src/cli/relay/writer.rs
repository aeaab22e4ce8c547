//! What a running relay says: its log, the lines for machines, the status line, what is reported.

use std::io::Write;
use std::sync::Mutex;

use crossbeam_channel::Receiver;
use indicatif::{ProgressBar, ProgressStyle};
use serde::Serialize;

use crate::angle::{Angle, EncoderReading};
use crate::cli::{Common, Console};
use crate::live::{
    self, About, Axes, Figures, Loudness, PassSample, PassTally, RelayNotice, RelayRow, RelayStatus,
};
use crate::outputs::Growing;
use crate::problem::Error;
use crate::time::Utc;

#[derive(Serialize)]
struct TellLine<'a> {
    time_utc: Utc,
    told: &'static str,
    text: &'a str,
}

/// A document of one line.
pub fn line(value: &impl Serialize) -> String {
    // Plain structs of numbers and texts always serialise.
    serde_json::to_string(value).unwrap_or_default() + "\n"
}

/// Writes the log, the machine lines and the status line, and counts how the passes go.
pub struct Writer {
    log: Option<std::io::BufWriter<std::fs::File>>,
    json: bool,
    console: Console,
    bar: ProgressBar,
    beamwidth: Angle,
    az_el: bool,
    tally: PassTally,
    passes: Vec<Figures>,
}

impl Writer {
    /// Begins the log, if there is to be one.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn new(
        log: Option<&Growing>,
        about: &About,
        common: &Common,
        console: &Console,
    ) -> Result<Writer, Error> {
        let log = match log {
            None => None,
            Some(log) => {
                let mut file = log.open()?;
                file.write_all(live::head(about).as_bytes())
                    .map_err(|e| Error::io(&log.path().display().to_string(), "write", e))?;
                Some(std::io::BufWriter::new(file))
            }
        };
        let bar = console.progress(0, "");
        if let Ok(style) = ProgressStyle::with_template("{wide_msg}") {
            bar.set_style(style);
        }
        let beamwidth = Angle::from_degrees(about.beamwidth_deg);
        Ok(Writer {
            log,
            json: common.json,
            console: Console::new(common.quiet),
            bar,
            beamwidth,
            az_el: about.mount_kind == "az-el",
            tally: PassTally::new(beamwidth),
            passes: Vec::new(),
        })
    }

    /// Until there is nothing more to come; how the passes went.
    pub fn run(
        mut self,
        reported: &Receiver<live::RelayReport>,
        present: &Mutex<Option<EncoderReading>>,
    ) -> Vec<Figures> {
        for report in reported {
            match report {
                live::RelayReport::Log(row) => self.row(&row),
                live::RelayReport::Tell(told) => self.tell(&told),
                live::RelayReport::Show(status) => {
                    if let Ok(mut present) = present.lock() {
                        *present = status.reading.map(EncoderReading::from);
                    }
                    self.bar.set_message(status_line(&status, self.beamwidth));
                }
            }
            // What is measured survives a kill at any instant.
            if reported.is_empty()
                && let Some(log) = &mut self.log
            {
                let _ = log.flush();
            }
        }
        self.bar.finish_and_clear();
        self.passes.extend(self.tally.figures());
        self.passes
    }

    fn row(&mut self, row: &RelayRow) {
        if let Some(sample) = PassSample::of(row, self.az_el) {
            if self.tally.is_over(sample.time) {
                self.passes.extend(self.tally.figures());
                self.tally = PassTally::new(self.beamwidth);
            }
            self.tally.add(&sample);
        }
        let written = match &mut self.log {
            Some(log) => log.write_all(row.line().as_bytes()),
            None => Ok(()),
        };
        if let Err(error) = written {
            self.log = None;
            self.console
                .warning(&format!("the log cannot be written and ends here: {error}"));
        }
        if self.json {
            // A reader that has gone does not stop the relay.
            let _ = self.console.result(&line(row));
        }
    }

    fn tell(&mut self, told: &RelayNotice) {
        let console = &mut self.console;
        self.bar.suspend(|| match told.loudness {
            Loudness::Note | Loudness::Milestone => console.note(&told.text),
            Loudness::Warning => console.warning(&told.text),
            Loudness::Alarm => console.alarm(&told.text),
        });
        if self.json {
            let _ = self.console.result(&line(&TellLine {
                time_utc: Utc::now(),
                told: told.loudness.word(),
                text: &told.text,
            }));
        }
    }
}

/// Demand, beam, reading, loss and what the guard does, in one line.
fn status_line(status: &RelayStatus, beamwidth: Angle) -> String {
    let pair = |one: Angle, two: Angle| format!("{:.2} {:.2}", one.degrees(), two.degrees());
    let mut parts = Vec::new();
    parts.push(match status.demand {
        Some(asked) => format!("demand {}", pair(asked.azimuth, asked.elevation)),
        None => "no demand".to_owned(),
    });
    if let Some(beam) = status.beam {
        parts.push(format!("beam {}", pair(beam.azimuth, beam.elevation)));
    }
    if let Some(Axes([one, two])) = status.reading {
        parts.push(format!("reading {}", pair(one, two)));
    }
    if let Some(miss) = status.miss {
        parts.push(match live::loss_db(miss, beamwidth) {
            Some(db) => format!("{db:.1} dB lost"),
            None => format!("{:.1} deg off", miss.degrees()),
        });
    }
    if let Some(sun) = status.sun {
        parts.push(format!("Sun {:.0} deg away", sun.degrees()));
    }
    if !status.guard.is_empty() {
        parts.push(status.guard.clone());
    }
    parts.join(" | ")
}
