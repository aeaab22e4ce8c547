//! The station and the log of a desk, and the log after all edits.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError, RwLock};

use super::edit::Typed;
use super::foreign::{LogAnswers, inside};
use crate::corrected::encoder_readings;
use crate::files::{self, FileToRead, Stamp};
use crate::logbook::{Axes, Peak, PeakLog};
use crate::problem::{Error, Problem, Problems};
use crate::sky::Sky;
use crate::station::Station;
use crate::time::Utc;

/// Size limit of a session's log: that of a long survey. A larger one is too much for a page.
pub const LOG_EXPECTED: FileToRead = FileToRead::mebibytes("a log of peaks", 64);

/// The station and log that a desk works on.
#[derive(Debug)]
pub struct DeskSession {
    /// The session's folder. Nothing outside it is read or written, except files named on the
    /// command line.
    pub folder: PathBuf,
    /// Path of the station file.
    pub station_file: PathBuf,
    /// The station read from it.
    pub station: Arc<Station>,
    /// Its sky.
    pub sky: Arc<Sky>,
    /// Path of the log of peaks, whether or not it exists.
    pub log_path: PathBuf,
    base: RwLock<Arc<Base>>,
    imports: Mutex<HashMap<(String, LogAnswers), Arc<PeakLog>>>,
}

/// The log of peaks as read from its file.
#[derive(Debug)]
pub struct Base {
    /// Its peaks; empty without a file.
    pub log: PeakLog,
    /// Its bytes, whose size and checksum go into the edit log; `None` without a file.
    pub bytes: Option<Vec<u8>>,
    stamp: Option<Stamp>,
    /// Whether the file has since changed into something that cannot be read.
    outdated: bool,
}

impl Base {
    fn read(path: &Path, folder: &Path, station: &Station) -> Result<Base, Error> {
        // Stamped before reading, so that a change in between is seen the next time.
        let stamp = Stamp::of(path);
        let (name, bytes) = files::read_bytes(path, LOG_EXPECTED)?;
        let mut log = PeakLog::parse(&name, &bytes, station)?;
        let beside = path.parent().filter(|p| !p.as_os_str().is_empty());
        let folders = [folder, beside.unwrap_or(Path::new("."))];
        encoder_readings_of(&mut log, station, &folders)?;
        Ok(Base {
            log,
            bytes: Some(bytes),
            stamp,
            outdated: false,
        })
    }
    /// Whether the file exists.
    pub fn is_there(&self) -> bool {
        self.bytes.is_some()
    }
}

impl DeskSession {
    /// Reads a station and a log: the one named, or `peaks.csv` beside the station file if it
    /// exists.
    ///
    /// # Errors
    /// As the readers of both.
    pub fn open(
        station_file: &Path,
        station: Station,
        log_file: Option<&Path>,
    ) -> Result<DeskSession, Error> {
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
                outdated: false,
            },
        };
        Ok(DeskSession {
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

    /// Rereads the log if its file has changed. Returns the new one, or `None` if nothing changed.
    /// One that cannot be read counts as seen, and the old one stays in use.
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
            Ok(new) if new.bytes == old.bytes && !old.outdated => {
                put(new);
                Ok(None)
            }
            Ok(new) => Ok(Some(put(new))),
            Err(error) => {
                put(Base {
                    log: old.log.clone(),
                    bytes: old.bytes.clone(),
                    stamp,
                    outdated: true,
                });
                Err(error)
            }
        }
    }

    /// Name of the log in the file of edits; empty without one.
    pub fn log_name(&self) -> String {
        let name = self.log_path.file_name().filter(|_| self.base().is_there());
        name.map_or_else(String::new, |n| n.to_string_lossy().into_owned())
    }

    /// Parses a peak from typed cells, as a row of a log.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn typed_peak(&self, typed: &Typed) -> Result<Peak, Error> {
        let axes = Axes::of(&self.station);
        let names = axes.kinds().map(|kind| kind.key());
        // If the sensors do not count degrees, readings are typed in the sensor's units.
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
        // A line break would start another row.
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

    /// Reads a log in the session's folder with the answers given. A log already read is not read
    /// again: its contents are those at its import.
    ///
    /// # Errors
    /// As [`PeakLog::read_all`].
    pub fn imported(&self, file: &str, told: &LogAnswers) -> Result<Arc<PeakLog>, Error> {
        let key = (file.to_owned(), told.clone());
        let mut known = self.imports.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(log) = known.get(&key) {
            return Ok(log.clone());
        }
        let path = inside(&self.folder, file)?;
        let (_, bytes) = files::read_bytes(&path, LOG_EXPECTED)?;
        let options = told.options().map_err(Error::Usage)?;
        let mut log = PeakLog::parse_with(file, &bytes, &self.station, &options)?;
        encoder_readings_of(&mut log, &self.station, &[&self.folder])?;
        let log = Arc::new(log);
        /// Most logs kept in memory: far more than anyone imports in a session.
        const MOST_KEPT: usize = 64;
        if known.len() >= MOST_KEPT {
            known.clear();
        }
        known.insert(key, log.clone());
        Ok(log)
    }
}

/// Removes line and column, which mean nothing where fields were typed.
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

/// Name of a typed peak in messages.
const ADDED: &str = "the new peak";

/// Converts directions back into encoder readings for a log that says it holds directions.
pub fn encoder_readings_of(
    log: &mut PeakLog,
    station: &Station,
    folders: &[&Path],
) -> Result<(), Error> {
    let folders: Vec<PathBuf> = folders.iter().map(|folder| folder.to_path_buf()).collect();
    let done = encoder_readings(log, station, &[], &folders)?;
    log.taken.extend(done);
    // The warning that they are directions came from before the conversion.
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

/// `12:31`, the time of day.
pub fn clock(time: Utc) -> String {
    let text = time.to_string();
    text.get(11..16).unwrap_or(&text).to_owned()
}
