//! The station and the log of a desk, and the log as all edits make it.

use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError, RwLock};

use super::edit::{Addition, Choices, NoiseChoice, PeakName, Typed};
use super::import::Told;
use crate::angle::Angle;
use crate::corrected::encoder_readings;
use crate::explain::Options;
use crate::files::{self, Expected, Stamp};
use crate::logbook::{Axes, Peak, PeakLog};
use crate::problem::{Error, Problem, Problems};
use crate::sky::Sky;
use crate::station::Station;
use crate::time::Utc;

/// A session's log: that of a long survey. A larger one is not for a page.
const EXPECTED: Expected = Expected::mebibytes("a log of peaks", 64);
/// What a peak without a log is called to stand in.
const NEW_LOG: &str = "peaks added at the desk";

/// What a desk works on.
#[derive(Debug)]
pub struct Session {
    /// Nothing outside it is read or written, except what the command line named.
    pub folder: PathBuf,
    /// The station file.
    pub station_file: PathBuf,
    /// What it says.
    pub station: Arc<Station>,
    /// Its sky.
    pub sky: Arc<Sky>,
    /// Where the log of peaks stands, or would.
    pub log_path: PathBuf,
    base: RwLock<Arc<Base>>,
    imports: Mutex<HashMap<(String, Told), Arc<PeakLog>>>,
}

/// The log of peaks as it stands in its file.
#[derive(Debug)]
pub struct Base {
    /// Its peaks; none without a file.
    pub log: PeakLog,
    /// Its bytes, of which an edit log keeps size and checksum; none without a file.
    pub bytes: Option<Vec<u8>>,
    stamp: Option<Stamp>,
}

impl Base {
    fn read(path: &Path, folder: &Path, station: &Station) -> Result<Base, Error> {
        // Looked at before it is read: a change in between is seen the next time.
        let stamp = Stamp::of(path);
        let (name, bytes) = files::read_bytes(path, EXPECTED)?;
        let mut log = PeakLog::parse(&name, &bytes, station)?;
        let beside = path.parent().filter(|p| !p.as_os_str().is_empty());
        let folders = [folder, beside.unwrap_or(Path::new("."))];
        encoder_readings_of(&mut log, station, &folders)?;
        Ok(Base {
            log,
            bytes: Some(bytes),
            stamp,
        })
    }
    /// Whether there is a file.
    pub fn is_there(&self) -> bool {
        self.bytes.is_some()
    }
}

/// The log and the options as all edits make them.
#[derive(Clone, Debug)]
pub struct Effective {
    /// All peaks: those of the log, and those that were added and imported behind them.
    pub log: PeakLog,
    /// What each is called, in the same order.
    pub names: Arc<Vec<(usize, PeakName)>>,
    /// Of each, whether its log says to use it.
    pub said: Vec<bool>,
    /// With what to explain them.
    pub options: Options,
    /// Whether the logs give the standard deviation of any peak.
    pub sigmas_logged: bool,
    /// Whether the peaks are still those of the log's own file, as they stand there.
    pub as_logged: bool,
    /// What must be said of edits that could not be carried over.
    pub warnings: Vec<String>,
}

impl Session {
    /// Reads a station and a log: the one named, or `peaks.csv` beside the station file where there
    /// is one.
    ///
    /// # Errors
    /// As the readers of both.
    pub fn open(
        station_file: &Path,
        station: Station,
        log_file: Option<&Path>,
    ) -> Result<Session, Error> {
        let folder = match station_file.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder.to_owned(),
            _ => PathBuf::from("."),
        };
        let beside = match folder == Path::new(".") {
            true => PathBuf::from("peaks.csv"),
            false => folder.join("peaks.csv"),
        };
        let named = log_file.is_some();
        let log_path = log_file.map_or(beside, Path::to_path_buf);
        if log_path.as_os_str() == "-" {
            return Err(Error::Usage(
                "desk reads a file: standard input could not be read again\n  help: name the log"
                    .to_owned(),
            ));
        }
        let sky = Sky::new(&station)?;
        let base = match named || log_path.is_file() {
            true => Base::read(&log_path, &folder, &station)?,
            false => Base {
                log: empty(&station),
                bytes: None,
                stamp: None,
            },
        };
        Ok(Session {
            folder,
            station_file: station_file.to_owned(),
            station: Arc::new(station),
            sky: Arc::new(sky),
            log_path,
            base: RwLock::new(Arc::new(base)),
            imports: Mutex::default(),
        })
    }

    /// The log as it was last read.
    pub fn base(&self) -> Arc<Base> {
        self.base
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    /// Reads the log again when its file changed since. Gives the new one; none when nothing
    /// changed. One that cannot be read counts as seen, and the old one stays.
    ///
    /// # Errors
    /// As its reader.
    pub fn read_again(&self) -> Result<Option<Arc<Base>>, Error> {
        let old = self.base();
        let stamp = Stamp::of(&self.log_path);
        if stamp.is_none() || stamp == old.stamp {
            return Ok(None);
        }
        let put = |base: Base| {
            let base = Arc::new(base);
            *self.base.write().unwrap_or_else(PoisonError::into_inner) = base.clone();
            base
        };
        match Base::read(&self.log_path, &self.folder, &self.station) {
            Ok(new) if new.bytes == old.bytes => {
                put(new);
                Ok(None)
            }
            Ok(new) => Ok(Some(put(new))),
            Err(error) => {
                put(Base {
                    log: old.log.clone(),
                    bytes: old.bytes.clone(),
                    stamp,
                });
                Err(error)
            }
        }
    }

    /// What the log is called in the file of edits; empty without one.
    pub fn log_name(&self) -> String {
        let name = self.log_path.file_name().filter(|_| self.base().is_there());
        name.map_or_else(String::new, |n| n.to_string_lossy().into_owned())
    }

    /// The peak in cells as typed, read as a log is.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn typed_peak(&self, typed: &Typed) -> Result<Peak, Error> {
        let axes = Axes::of(&self.station);
        let names = axes.kinds().map(|kind| kind.key());
        // A mount whose sensors do not count degrees is typed as they show it.
        let unit = |axis: usize| match self.station.mount.sensors[axis] {
            Some(_) => "sensor",
            None => "deg",
        };
        let mut columns = vec![
            "time_utc".to_owned(),
            "emitter".to_owned(),
            format!("{}_{}", names[0], unit(0)),
            format!("{}_{}", names[1], unit(1)),
            format!("{}_approach", names[0]),
            format!("{}_approach", names[1]),
            "peak_db".to_owned(),
            "note".to_owned(),
        ];
        let mut cells = vec![
            &typed.time_utc,
            &typed.emitter,
            &typed.azimuth,
            &typed.elevation,
            &typed.azimuth_approach,
            &typed.elevation_approach,
            &typed.peak_db,
            &typed.note,
        ];
        if !typed.feed.is_empty() {
            columns.push("feed".to_owned());
            cells.push(&typed.feed);
        }
        let quoted = |cell: &str| format!("\"{}\"", cell.replace('"', "\"\""));
        // A line end would begin another row.
        if cells.iter().any(|c| c.contains(['\n', '\r', '\0'])) {
            let wrong = Problem::of_file(ADDED, "a line end in one of the fields", "one line");
            return Err(wrong.into());
        }
        let row: Vec<String> = cells.iter().map(|cell| quoted(cell.trim())).collect();
        let text = format!("{}\n{}\n", columns.join(","), row.join(","));
        let log = PeakLog::parse(ADDED, text.as_bytes(), &self.station).map_err(without_place)?;
        match log.peaks.as_slice() {
            [one] => Ok(one.clone()),
            _ => Err(Problem::of_file(ADDED, "no peak", "one peak").into()),
        }
    }

    /// A log in the session's folder, read as was said of it. One that was read already is not read
    /// again: it is what it was when it was imported.
    ///
    /// # Errors
    /// As [`PeakLog::read_all`].
    pub fn imported(&self, file: &str, told: &Told) -> Result<Arc<PeakLog>, Error> {
        let key = (file.to_owned(), told.clone());
        let mut known = self.imports.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(log) = known.get(&key) {
            return Ok(log.clone());
        }
        let path = super::import::inside(&self.folder, file)?;
        let (_, bytes) = files::read_bytes(&path, EXPECTED)?;
        let options = told.options().map_err(Error::Usage)?;
        let mut log = PeakLog::parse_with(file, &bytes, &self.station, &options)?;
        encoder_readings_of(&mut log, &self.station, &[&self.folder])?;
        let log = Arc::new(log);
        /// Logs kept in memory: far more than anyone imports in a session.
        const MOST_KEPT: usize = 64;
        if known.len() >= MOST_KEPT {
            known.clear();
        }
        known.insert(key, log.clone());
        Ok(log)
    }

    /// The log and the options as the choices make them.
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

/// A line and a column mean nothing where fields were typed.
fn without_place(error: Error) -> Error {
    let Error::Input(problems) = error else {
        return error;
    };
    let mut plain = Problems::new();
    plain.extend(problems.as_slice().iter().map(|problem| Problem {
        line: None,
        column: None,
        ..problem.clone()
    }));
    Error::Input(plain)
}

/// What messages call a peak that is typed.
const ADDED: &str = "the new peak";

/// Turns directions back into encoder readings where a log says that it holds such.
pub fn encoder_readings_of(
    log: &mut PeakLog,
    station: &Station,
    folders: &[&Path],
) -> Result<(), Error> {
    let folders: Vec<PathBuf> = folders.iter().map(|folder| folder.to_path_buf()).collect();
    let done = encoder_readings(log, station, &[], &folders)?;
    log.taken.extend(done);
    // That they are directions was said before they were turned back.
    log.warnings
        .retain(|text| !text.contains("but directions corrected by the calibration"));
    Ok(())
}

fn empty(station: &Station) -> PeakLog {
    PeakLog {
        axes: Axes::of(station),
        feeds: station.feeds.iter().map(|f| f.name.clone()).collect(),
        sensors: station.mount.sensors.clone(),
        ..PeakLog::default()
    }
}

/// A log being put together.
struct Making {
    log: PeakLog,
    names: Vec<(usize, PeakName)>,
    last_row: usize,
    warnings: Vec<String>,
    touched: bool,
    said: Vec<bool>,
}

/// What makes two rows the same peak, as for the readers: time, emitter and readings.
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
    fn of(session: &Session) -> Making {
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

    /// Adds a peak to the last of the logs: it is taken with the zeros of now.
    fn add(&mut self, n: u64, peak: &Peak) {
        if self.log.files.is_empty() {
            self.log.files.push(NEW_LOG.to_owned());
            self.log.readings.push(crate::logbook::Readings::Encoder);
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

    /// Adds a log behind the others; peaks that stand in one of them already are left out.
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

    /// Uses and leaves out what was chosen, and sets the noise.
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

    fn finish(self, session: &Session, choices: &Choices) -> Effective {
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
    /// The peak that the page shows in that row.
    pub fn in_row(&self, row: usize) -> Option<(&PeakName, &Peak)> {
        let at = self.log.peaks.iter().position(|p| p.row == row)?;
        Some((&self.names[at].1, &self.log.peaks[at]))
    }
    /// Whether a peak of that time, emitter and readings stands in it.
    pub fn has(&self, peak: &Peak) -> bool {
        let wanted = fingerprint(peak);
        self.log.peaks.iter().any(|p| fingerprint(p) == wanted)
    }
    /// Whether all these peaks stand in it.
    pub fn has_all(&self, peaks: &[Peak]) -> bool {
        let there: HashSet<Fingerprint> = self.log.peaks.iter().map(fingerprint).collect();
        peaks.iter().all(|peak| there.contains(&fingerprint(peak)))
    }
    /// The logs one by one, each as a file that reads back as it: what to call it and its peaks.
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

/// `12:31` of that day.
pub fn clock(time: Utc) -> String {
    let text = time.to_string();
    text.get(11..16).unwrap_or(&text).to_owned()
}
