//! Observations and relays running beside the desk: found by their records, followed by the last
//! lines of their logs, stopped by their stop files.

use std::fs::{File, OpenOptions};
use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use serde::Serialize;

use crate::number;
use crate::outputs::{Run, runs_in};
use crate::problem::{Error, printable};
use crate::time::Utc;

/// Log lines that a page shows.
const SHOWN: usize = 5;
/// Bytes read from the end of a log.
const END: u64 = 16 << 10;

/// A run as a page shows it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RunView {
    /// Its id for `/api/stop`.
    pub id: String,
    title: String,
    state: String,
    lines: Vec<String>,
    can_stop: bool,
}

/// The folders searched for runs.
#[derive(Clone, Debug)]
pub struct Watched {
    folders: Vec<PathBuf>,
}

impl Watched {
    /// The session's folder, and those named on the command line.
    pub fn new(session: &Path, more: &[PathBuf]) -> Watched {
        let mut folders: Vec<PathBuf> = Vec::new();
        for folder in std::iter::once(session).chain(more.iter().map(PathBuf::as_path)) {
            let whole = std::fs::canonicalize(folder).unwrap_or_else(|_| folder.to_owned());
            if !folders.contains(&whole) {
                folders.push(whole);
            }
        }
        Watched { folders }
    }

    /// Whether a file is directly in one of the folders: a record must not point elsewhere.
    fn holds(&self, path: &Path) -> bool {
        let folder = path
            .parent()
            .and_then(|folder| std::fs::canonicalize(folder).ok());
        let plain = std::fs::symlink_metadata(path).map_or(true, |there| there.is_file());
        plain && folder.is_some_and(|folder| self.folders.contains(&folder))
    }

    /// Runs in progress, and finished ones that left a record.
    fn found(&self) -> Vec<(String, Run, bool)> {
        let mut found = Vec::new();
        for (i, folder) in self.folders.iter().enumerate() {
            for (run, runs) in runs_in(folder) {
                let id = match i {
                    0 => run.verb.clone(),
                    i => format!("{}-{}", run.verb, i + 1),
                };
                found.push((id, run, runs));
            }
        }
        found
    }

    /// All runs, for a page.
    pub fn views(&self, now: Utc) -> Vec<RunView> {
        let found = self.found();
        found
            .iter()
            .map(|(id, run, runs)| self.view(id, run, *runs, now))
            .collect()
    }

    fn view(&self, id: &str, run: &Run, runs: bool, now: Utc) -> RunView {
        let log = run.log.as_deref();
        let readable = log.filter(|log| self.holds(log));
        let lines = readable.map_or_else(Vec::new, last_lines);
        let started = since(run.started_utc, now);
        let stopped = run.stop_file.exists();
        let mut state = match (runs, stopped) {
            (true, false) => format!("runs, begun {started}"),
            (true, true) => format!(
                "was told to stop by {}; whether the mount stands is to be seen at the mount and in \
                 its log",
                shown(&run.stop_file)
            ),
            (false, _) => format!(
                "ended without saying so, as by a kill or a power cut; begun {started}: look at the \
                 mount"
            ),
        };
        match (log, readable) {
            (None, _) => state.push_str("; it writes no log, so no more is known of it"),
            (Some(log), None) => {
                state.push_str(&format!(
                    "; its log {} is not in a watched folder",
                    shown(log)
                ));
            }
            (Some(_), Some(log)) => {
                let age = std::fs::metadata(log).ok().and_then(|m| m.modified().ok());
                let age = age
                    .and_then(|at| at.elapsed().ok())
                    .map(|age| age.as_secs_f64());
                if let Some(age) = age.filter(|_| runs) {
                    state.push_str(&format!("; last written {} ago", stretch(age)));
                }
            }
        }
        let can_stop = runs && !stopped && self.holds(&run.stop_file);
        if runs && !stopped && !can_stop {
            state.push_str(&format!(
                "; the desk cannot stop it, because its stop file {} is not in a watched folder",
                shown(&run.stop_file)
            ));
        }
        RunView {
            id: id.to_owned(),
            title: format!(
                "{} with the mount's daemon at {}",
                run.verb,
                printable(&run.rotator)
            ),
            state,
            lines,
            can_stop,
        }
    }

    /// Stops a run by creating its stop file. The run itself decides how the mount stops.
    ///
    /// # Errors
    /// If no run has that name, or if its stop file lies outside the watched folders or cannot be
    /// created.
    pub fn stop(&self, id: &str) -> Result<String, Error> {
        let found = self.found();
        let run = found.iter().find(|(known, _, runs)| known == id && *runs);
        let Some((_, run, _)) = run else {
            return Err(Error::Usage(format!(
                "nothing called {} runs here\n  help: stop the mount by its own switch",
                crate::text::quoted(id)
            )));
        };
        if !self.holds(&run.stop_file) {
            return Err(Error::Usage(format!(
                "the stop file {} is not in a watched folder\n  help: make it yourself, or press a \
                 key where {} runs",
                shown(&run.stop_file),
                run.verb
            )));
        }
        let made = OpenOptions::new()
            .write(true)
            .create(true)
            .truncate(false)
            .open(&run.stop_file);
        made.map_err(|e| Error::io(&run.stop_file.display().to_string(), "make", e))?;
        Ok(format!(
            "{} was told to stop by the file {}; watch the mount, and use its switch if it does not \
             stand at once",
            run.verb,
            shown(&run.stop_file)
        ))
    }
}

fn shown(path: &Path) -> String {
    let name = path.file_name().unwrap_or(path.as_os_str());
    printable(&name.to_string_lossy())
}

/// `3 minutes ago`.
fn since(then: Utc, now: Utc) -> String {
    format!("{} ago", stretch(now.seconds_since(then).max(0.0)))
}

/// `12 s`, `3 min`, `2.5 h`.
fn stretch(seconds: f64) -> String {
    match seconds {
        s if s < 120.0 => format!("{} s", number::fixed(s, 0)),
        s if s < 7200.0 => format!("{} min", number::fixed(s / 60.0, 0)),
        s => format!("{} h", number::fixed(s / 3600.0, 1)),
    }
}

/// The last complete lines of a log, without comments.
fn last_lines(path: &Path) -> Vec<String> {
    let read = || -> std::io::Result<Vec<u8>> {
        let mut file = File::open(path)?;
        let length = file.metadata()?.len();
        file.seek(SeekFrom::Start(length.saturating_sub(END)))?;
        let mut bytes = Vec::new();
        file.take(END).read_to_end(&mut bytes)?;
        Ok(bytes)
    };
    let Ok(bytes) = read() else {
        return Vec::new();
    };
    let text = String::from_utf8_lossy(&bytes);
    // A line being written has no end yet, and the first one may be cut at its start.
    let whole = text.rsplit_once('\n').map_or("", |(whole, _)| whole);
    let skip = usize::from(bytes.len() as u64 == END);
    let lines: Vec<&str> = (whole.lines().skip(skip))
        .filter(|line| !line.starts_with('#') && !line.trim().is_empty())
        .collect();
    let first = lines.len().saturating_sub(SHOWN);
    lines[first..].iter().map(|line| printable(line)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outputs::RunRecord;

    #[test]
    fn a_run_is_seen_and_stopped_by_its_file() {
        let folder = tempfile::tempdir().unwrap();
        let at = std::fs::canonicalize(folder.path()).unwrap();
        let watched = Watched::new(&at, &[]);
        assert!(watched.views(Utc::now()).is_empty());
        assert!(watched.stop("observe").is_err());
        let log = at.join("scans.csv");
        let record = RunRecord::begin("observe", &at, "dish:4533", Some(&log), None).unwrap();
        std::fs::write(
            &log,
            "# plumbeam observe 1\nhead\n1,a\n2,b\n3,\x1b[31m\n4,d\n5,e\n6,torn",
        )
        .unwrap();
        let view = &watched.views(Utc::now())[0];
        assert_eq!((view.id.as_str(), view.can_stop), ("observe", true));
        assert_eq!(view.lines, ["1,a", "2,b", "3,\\u{1b}[31m", "4,d", "5,e"]);
        assert!(
            view.state.starts_with("runs, begun 0 s ago"),
            "{}",
            view.state
        );
        assert!(watched.stop("relay").is_err());
        assert!(
            watched
                .stop("observe")
                .unwrap()
                .contains("observe-run.stop")
        );
        assert!(record.stop_file().exists());
        let view = &watched.views(Utc::now())[0];
        assert!(
            !view.can_stop && view.state.contains("told to stop"),
            "{view:?}"
        );
        drop(record);
        assert!(watched.views(Utc::now()).is_empty());
    }

    #[test]
    fn a_record_leads_nowhere_else() {
        let (folder, other) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let (at, other) = (folder.path(), other.path());
        std::fs::write(other.join("secret"), "a secret line\n").unwrap();
        let (log, stop) = (other.join("secret"), other.join("halt"));
        let record = RunRecord::begin("relay", at, "dish:4533", Some(&log), Some(&stop)).unwrap();
        let watched = Watched::new(at, &[]);
        let view = &watched.views(Utc::now())[0];
        assert!(view.lines.is_empty() && !view.can_stop, "{view:?}");
        assert!(
            view.state.contains("not in a watched folder"),
            "{}",
            view.state
        );
        assert!(watched.stop("relay").is_err());
        assert!(!stop.exists());
        // Allowed if named on the command line.
        let watched = Watched::new(at, &[other.to_owned()]);
        let view = &watched.views(Utc::now())[0];
        assert_eq!(view.lines, ["a secret line"]);
        assert!(view.can_stop);
        drop(record);
    }
}
