//! The record of an unattended run, an observation or a relay: a small file beside the station file
//! by which another program can find the run, see whether it is still running, and stop it.

use std::fs::{File, OpenOptions, TryLockError};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::files::write_whole;
use crate::problem::{Error, printable};
use crate::time::Utc;

/// Value of `format` in the record.
const FORMAT: &str = "plumbeam run 1";
/// Maximum size of a record, bytes.
const LARGEST: u64 = 64 << 10;
/// The verbs that run unattended.
pub const RUNNING_VERBS: [&str; 2] = ["observe", "relay"];

/// Description of a run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Run {
    format: String,
    /// `observe` or `relay`.
    pub verb: String,
    /// When it began.
    pub started_utc: Utc,
    /// Full path of the log that it writes.
    pub log: Option<PathBuf>,
    /// Full path of the stop file; the mount stops when this file appears.
    pub stop_file: PathBuf,
    /// Address of the rotator daemon.
    pub rotator: String,
}

/// The record of the current run: removed when this is dropped; if the process is killed, at least
/// its lock is released.
#[derive(Debug)]
pub struct RunRecord {
    run: Run,
    paths: Paths,
    /// Held while the run lasts.
    _lock: File,
}

#[derive(Clone, Debug)]
struct Paths {
    record: PathBuf,
    lock: PathBuf,
    stop: PathBuf,
}

impl Paths {
    fn of(folder: &Path, verb: &str) -> Paths {
        Paths {
            record: folder.join(format!("{verb}-run.json")),
            lock: folder.join(format!("{verb}-run.lock")),
            stop: folder.join(format!("{verb}-run.stop")),
        }
    }
}

impl RunRecord {
    /// Creates the record of a run in the folder of its station file. If the user gives no stop
    /// file, one beside the record is used.
    ///
    /// # Errors
    /// If another run of the verb uses the folder, or nothing can be written there: the run itself
    /// may continue without a record.
    pub fn begin(
        verb: &str,
        folder: &Path,
        rotator: &str,
        log: Option<&Path>,
        stop_file: Option<&Path>,
    ) -> Result<RunRecord, Error> {
        let folder = match folder.as_os_str().is_empty() {
            true => Path::new("."),
            false => folder,
        };
        let paths = Paths::of(folder, verb);
        let name = paths.lock.display().to_string();
        let lock = OpenOptions::new()
            .create(true)
            .truncate(false)
            .write(true)
            .open(&paths.lock)
            .map_err(|e| Error::io(&name, "write", e))?;
        match lock.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                return Err(Error::Usage(format!(
                    "another {verb} runs in {}",
                    printable(&folder.display().to_string())
                )));
            }
            Err(TryLockError::Error(e)) => return Err(Error::io(&name, "lock", e)),
        }
        // Left behind by a killed run.
        let _ = std::fs::remove_file(&paths.stop);
        let whole = |path: &Path| std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
        let run = Run {
            format: FORMAT.to_owned(),
            verb: verb.to_owned(),
            started_utc: Utc::now(),
            log: log.map(whole),
            stop_file: whole(stop_file.unwrap_or(&paths.stop)),
            rotator: rotator.to_owned(),
        };
        let text = serde_json::to_string_pretty(&run).unwrap_or_default() + "\n";
        write_whole(&paths.record, text.as_bytes())?;
        Ok(RunRecord {
            run,
            paths,
            _lock: lock,
        })
    }

    /// The file that stops it.
    pub fn stop_file(&self) -> &Path {
        &self.run.stop_file
    }
}

impl Drop for RunRecord {
    fn drop(&mut self) {
        // Errors are ignored: if the folder is gone, so are these files.
        for path in [&self.paths.record, &self.paths.stop, &self.paths.lock] {
            let _ = std::fs::remove_file(path);
        }
    }
}

/// Returns the runs recorded in a folder, each with whether it is still running.
pub fn runs_in(folder: &Path) -> Vec<(Run, bool)> {
    (RUNNING_VERBS.iter())
        .filter_map(|verb| {
            let paths = Paths::of(folder, verb);
            let there = std::fs::symlink_metadata(&paths.record).ok()?;
            if !there.is_file() || there.len() > LARGEST {
                return None;
            }
            let bytes = std::fs::read(&paths.record).ok()?;
            let run: Run = serde_json::from_slice(&bytes).ok()?;
            (run.format == FORMAT && run.verb == *verb).then(|| (run, is_held(&paths.lock)))
        })
        .collect()
}

/// Whether a process holds the lock.
fn is_held(path: &Path) -> bool {
    let Ok(file) = File::open(path) else {
        return false;
    };
    matches!(file.try_lock_shared(), Err(TryLockError::WouldBlock))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_record_exists_while_its_run_lasts() {
        let folder = tempfile::tempdir().unwrap();
        let at = folder.path();
        assert!(runs_in(at).is_empty());
        let log = at.join("scans.csv");
        let record = RunRecord::begin("observe", at, "127.0.0.1:4533", Some(&log), None).unwrap();
        assert_eq!(record.stop_file(), at.join("observe-run.stop"));
        let found = runs_in(at);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].0.log.as_deref(), Some(log.as_path()));
        assert!(found[0].1, "it runs");
        // A second run must not use the mount at the same time.
        assert!(RunRecord::begin("observe", at, "127.0.0.1:4533", None, None).is_err());
        let own = at.join("halt");
        let relay = RunRecord::begin("relay", at, "127.0.0.1:4533", None, Some(&own)).unwrap();
        assert_eq!(relay.stop_file(), own);
        assert_eq!(runs_in(at).len(), 2);
        drop(record);
        drop(relay);
        assert!(runs_in(at).is_empty());
        assert_eq!(std::fs::read_dir(at).unwrap().count(), 0);
    }

    #[test]
    fn leftovers_of_a_killed_run_do_not_count_as_running() {
        let folder = tempfile::tempdir().unwrap();
        let at = folder.path();
        let record = RunRecord::begin("relay", at, "h:1", None, None).unwrap();
        let text = std::fs::read(at.join("relay-run.json")).unwrap();
        drop(record);
        std::fs::write(at.join("relay-run.json"), &text).unwrap();
        std::fs::write(at.join("relay-run.lock"), "").unwrap();
        std::fs::write(at.join("relay-run.stop"), "").unwrap();
        assert!(!runs_in(at)[0].1);
        // A stop file of the previous run does not stop the next one.
        let record = RunRecord::begin("relay", at, "h:1", None, None).unwrap();
        assert!(!record.stop_file().exists());
        std::fs::write(at.join("observe-run.json"), "{}").unwrap();
        assert_eq!(runs_in(at).len(), 1, "something else is no record");
    }
}
