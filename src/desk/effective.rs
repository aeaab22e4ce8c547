//! The log and the options after all edits.

use std::collections::HashSet;
use std::sync::Arc;

use super::edit::{Addition, Choices, NoiseChoice, PeakName};
use super::session::DeskSession;
use crate::angle::Angle;
use crate::explain::Options;
use crate::logbook::{Peak, PeakLog, Readings};
use crate::time::Utc;

/// Log name for peaks added without a log.
const NEW_LOG: &str = "peaks added at the desk";

/// The log and the options after all edits.
#[derive(Clone, Debug)]
pub struct Effective {
    /// All peaks: those of the log, followed by those added and imported.
    pub log: PeakLog,
    /// The name of each, in the same order.
    pub names: Arc<Vec<(usize, PeakName)>>,
    /// For each peak, whether its log says to use it.
    pub said: Vec<bool>,
    /// Options to explain them with.
    pub options: Options,
    /// Whether the logs give the standard deviation of any peak.
    pub sigmas_logged: bool,
    /// Whether the peaks are exactly those of the log's own file.
    pub as_logged: bool,
    /// Warnings about edits that could not be carried over.
    pub warnings: Vec<String>,
}

impl DeskSession {
    /// Applies the choices to the log and the options.
    pub fn effective(&self, choices: &Choices) -> Effective {
        let mut made = Making::of(self);
        made.warnings.extend(choices.lost.iter().cloned());
        for addition in &choices.added {
            match addition {
                Addition::Peak(n, peak) => made.add(*n, peak),
                Addition::Log(file, told) => match self.imported(file, told) {
                    Ok(log) => made.append(file, &log),
                    Err(error) => made.warnings.push(format!(
                        "{file}, which was imported, cannot be read any more: {error}"
                    )),
                },
            }
        }
        made.choose(choices);
        made.finish(self, choices)
    }
}

/// A log under construction.
struct Making {
    log: PeakLog,
    names: Vec<(usize, PeakName)>,
    last_row: usize,
    warnings: Vec<String>,
    touched: bool,
    said: Vec<bool>,
}

/// What identifies two rows as the same peak, as for the readers: time, emitter and readings.
type Fingerprint<'a> = (Utc, &'a str, [Option<u64>; 2]);

fn fingerprint(peak: &Peak) -> Fingerprint<'_> {
    let bits = |angle: Option<Angle>| angle.map(|a| a.radians().to_bits());
    (
        peak.time,
        &peak.emitter,
        [bits(peak.azimuth), bits(peak.elevation)],
    )
}

impl Making {
    fn of(session: &DeskSession) -> Making {
        let file = session.log_name();
        let log = session.base().log.clone();
        Making {
            names: (log.peaks.iter())
                .map(|p| (p.row, PeakName::new(&file, p.row, p)))
                .collect(),
            last_row: log.peaks.iter().map(|p| p.row).max().unwrap_or(0),
            log,
            warnings: Vec::new(),
            touched: false,
            said: Vec::new(),
        }
    }

    /// Adds a peak to the last log; it was taken with the present encoder zeros.
    fn add(&mut self, n: u64, peak: &Peak) {
        if self.log.files.is_empty() {
            self.log.files.push(NEW_LOG.to_owned());
            self.log.readings.push(Readings::Encoder);
        }
        self.last_row += 1;
        let mut peak = peak.clone();
        peak.log = self.log.files.len() - 1;
        peak.row = self.last_row;
        peak.line = 0;
        let row = usize::try_from(n).unwrap_or(usize::MAX);
        self.names.push((peak.row, PeakName::new("", row, &peak)));
        self.log.peaks.push(peak);
        self.touched = true;
    }

    /// Appends a log; peaks that are already in another are left out.
    fn append(&mut self, file: &str, more: &PeakLog) {
        let (logs, row_before) = (self.log.files.len(), self.last_row);
        let columns = self.log.extra_columns.clone();
        let places: Vec<usize> = (more.extra_columns.iter())
            .map(|name| match columns.iter().position(|c| c == name) {
                Some(at) => at,
                None => {
                    self.log.extra_columns.push(name.clone());
                    self.log.extra_columns.len() - 1
                }
            })
            .collect();
        let earlier = self.log.peaks.clone();
        let earlier: HashSet<Fingerprint> = earlier.iter().map(fingerprint).collect();
        let mut repeated = 0;
        for peak in &more.peaks {
            self.last_row = self.last_row.max(row_before + peak.row);
            if earlier.contains(&fingerprint(peak)) {
                repeated += 1;
                continue;
            }
            let mut new = peak.clone();
            new.log += logs;
            new.row += row_before;
            for (at, _) in &mut new.extra {
                *at = places[*at];
            }
            new.extra.sort_unstable_by_key(|(at, _)| *at);
            self.names
                .push((new.row, PeakName::new(file, peak.row, peak)));
            self.log.peaks.push(new);
        }
        if repeated > 0 {
            self.warnings.push(format!(
                "{file}: {} of its peaks stand in the session already and are left out",
                repeated
            ));
        }
        self.log.files.extend(more.files.iter().cloned());
        self.log.readings.extend(more.readings.iter().cloned());
        self.log.warnings.extend(more.warnings.iter().cloned());
        self.log.taken.extend(more.taken.iter().cloned());
        for (own, other) in self.log.sensors.iter_mut().zip(&more.sensors) {
            *own = own.take().or_else(|| other.clone());
        }
        self.touched = true;
    }

    /// Applies the chosen uses and the noise.
    fn choose(&mut self, choices: &Choices) {
        self.said = self.log.peaks.iter().map(|p| p.use_it).collect();
        for (name, use_it) in &choices.uses {
            let exact = self.names.iter().position(|(_, n)| n == name);
            let place = exact.or_else(|| self.names.iter().position(|(_, n)| n.is_same_peak(name)));
            match place {
                Some(at) => self.log.peaks[at].use_it = *use_it,
                None => self.warnings.push(format!(
                    "row {} of {} ({}, {}), which was {}, is not in the log any more",
                    name.row,
                    if name.file.is_empty() {
                        "the added peaks"
                    } else {
                        &name.file
                    },
                    name.emitter,
                    name.time_utc,
                    if *use_it { "ticked" } else { "left out" }
                )),
            }
        }
        match choices.noise {
            NoiseChoice::Logged => return,
            NoiseChoice::Scatter => self.all_sigmas(None),
            NoiseChoice::Given(sigma) => self.all_sigmas(Some(sigma)),
        }
        self.touched = true;
    }

    fn all_sigmas(&mut self, sigma: Option<Angle>) {
        for peak in &mut self.log.peaks {
            peak.azimuth_sigma = sigma.filter(|_| peak.azimuth.is_some());
            peak.elevation_sigma = sigma.filter(|_| peak.elevation.is_some());
        }
    }

    fn finish(self, session: &DeskSession, choices: &Choices) -> Effective {
        let logged = |p: &Peak| p.azimuth_sigma.is_some() || p.elevation_sigma.is_some();
        let imports = choices.added.iter().filter_map(|a| match a {
            Addition::Log(file, told) => session.imported(file, told).ok(),
            Addition::Peak(..) => None,
        });
        let sigmas_logged = session.base().log.peaks.iter().any(logged)
            || imports.into_iter().any(|log| log.peaks.iter().any(logged));
        let unticked = self
            .log
            .peaks
            .iter()
            .zip(&self.said)
            .any(|(p, said)| p.use_it != *said);
        Effective {
            log: self.log,
            names: Arc::new(self.names),
            said: self.said,
            options: choices.options(),
            sigmas_logged,
            as_logged: !self.touched && !unticked && session.base().is_there(),
            warnings: self.warnings,
        }
    }
}

impl Effective {
    /// The peak in that row of the page.
    pub fn in_row(&self, row: usize) -> Option<(&PeakName, &Peak)> {
        let at = self.log.peaks.iter().position(|p| p.row == row)?;
        Some((&self.names[at].1, &self.log.peaks[at]))
    }
    /// Whether it holds a peak with that time, emitter and readings.
    pub fn has(&self, peak: &Peak) -> bool {
        let wanted = fingerprint(peak);
        self.log.peaks.iter().any(|p| fingerprint(p) == wanted)
    }
    /// Whether it holds all these peaks.
    pub fn has_all(&self, peaks: &[Peak]) -> bool {
        let there: HashSet<Fingerprint> = self.log.peaks.iter().map(fingerprint).collect();
        peaks.iter().all(|peak| there.contains(&fingerprint(peak)))
    }
    /// The logs one by one, each with a file name and its peaks, so that it reads back unchanged.
    pub fn logs(&self) -> Vec<PeakLog> {
        (0..self.log.files.len())
            .map(|index| {
                let of = |p: &&Peak| p.log == index;
                let peaks: Vec<Peak> = self.log.peaks.iter().filter(of).cloned().collect();
                PeakLog {
                    files: vec![self.log.files[index].clone()],
                    readings: self.log.readings.get(index).cloned().into_iter().collect(),
                    peaks,
                    ..self.log.clone()
                }
            })
            .filter(|log| !log.peaks.is_empty())
            .collect()
    }
}
