//! Folders written atomically: either all files of a run, or all of the previous run.

use std::fs::{File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};

use super::whole::{PREFIX, SUFFIX, link_end, sweep};
use crate::problem::{Error, Problem};

/// The file in a report folder that lists what belongs to the report.
pub const FOLDER_RECORD: &str = ".plumbeam-report.json";

/// A temporary folder that replaces the old one in a single step when it is finished; if dropped
/// before, it leaves the old one untouched.
#[derive(Debug)]
pub struct WholeFolder {
    /// Final path.
    path: PathBuf,
    making: tempfile::TempDir,
    /// Its record file, locked while the folder is being written.
    record: File,
}

impl WholeFolder {
    /// Creates a temporary folder beside `path`, or beside its link target. Leftovers of killed
    /// runs there are removed.
    ///
    /// # Errors
    /// If nothing can be created there.
    pub fn create(path: &Path) -> Result<WholeFolder, Error> {
        let failed = |e| Error::io(&path.display().to_string(), "write", e);
        let end = link_end(path);
        let beside = match end.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        std::fs::create_dir_all(beside).map_err(failed)?;
        sweep(beside);
        let mut builder = tempfile::Builder::new();
        builder.prefix(PREFIX).suffix(SUFFIX);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            // Temporary folders are private by default; the permissions of a report follow the
            // umask.
            builder.permissions(std::fs::Permissions::from_mode(0o777));
        }
        let making = builder.tempdir_in(beside).map_err(failed)?;
        let mut record = File::create(making.path().join(FOLDER_RECORD)).map_err(failed)?;
        // The lock ends with the process, however that ends. A folder that is not empty and still
        // being written is locked.
        let _ = record.try_lock();
        record.write_all(b"\n").map_err(failed)?;
        Ok(WholeFolder {
            path: end,
            making,
            record,
        })
    }

    /// The temporary folder to write into.
    pub fn making(&self) -> &Path {
        self.making.path()
    }

    /// Writes its record, flushes everything to disk and moves it to its final path. An existing
    /// folder there is removed, or moved to `keep`.
    ///
    /// # Errors
    /// If the disk is full or fails, or the folder cannot be moved; the old one is then untouched.
    pub fn finish(mut self, record: &str, keep: Option<&Path>) -> Result<(), Error> {
        let failed = |e| Error::io(&self.path.display().to_string(), "write", e);
        (self.record.write_all(record.as_bytes()))
            .and_then(|()| flush(self.making.path()))
            .map_err(failed)?;
        // On some systems an open file prevents its folder from being renamed.
        #[cfg(windows)]
        drop(self.record);
        let made = self.making.path();
        let Ok(old) = std::fs::metadata(&self.path) else {
            std::fs::rename(made, &self.path).map_err(failed)?;
            let _ = self.making.keep();
            return Ok(());
        };
        std::fs::set_permissions(made, old.permissions()).map_err(failed)?;
        if let Some(keep) = keep {
            std::fs::rename(&self.path, keep).map_err(|e| busy(&self.path, &e))?;
            if let Err(e) = std::fs::rename(made, &self.path) {
                std::fs::rename(keep, &self.path).map_err(failed)?;
                return Err(failed(e));
            }
            let _ = self.making.keep();
        } else {
            exchange(made, &self.path)?;
            // The old folder is now at the temporary path: it is removed when `making` is dropped.
        }
        Ok(())
    }
}

/// Flushes all files of a folder to disk, many at a time: the disk can then write them together,
/// instead of each waiting for the one before.
fn flush(folder: &Path) -> std::io::Result<()> {
    /// Number of files flushed at once.
    const AT_ONCE: usize = 16;
    let entries: Vec<_> = std::fs::read_dir(folder)?.collect::<Result<_, _>>()?;
    let (mut files, mut folders) = (Vec::new(), Vec::new());
    for entry in entries {
        let kind = entry.file_type()?;
        match (kind.is_dir(), kind.is_file()) {
            (true, _) => folders.push(entry.path()),
            (_, true) => files.push(entry.path()),
            _ => {}
        }
    }
    // On some systems a file opened only for reading cannot be flushed.
    let one = |path: &PathBuf| OpenOptions::new().write(true).open(path)?.sync_all();
    let share = files.len().div_ceil(AT_ONCE).max(1);
    std::thread::scope(|scope| {
        let all = |paths: &[PathBuf]| paths.iter().try_for_each(one);
        let waiting: Vec<_> = (files.chunks(share))
            .map(|paths| scope.spawn(move || all(paths)))
            .collect();
        let ended = |thread: std::thread::ScopedJoinHandle<'_, _>| {
            thread
                .join()
                .unwrap_or_else(|_| Err(std::io::Error::other("a thread has died")))
        };
        waiting.into_iter().try_for_each(ended)
    })?;
    folders.iter().try_for_each(|folder| flush(folder))
}

/// Exchanges two folders, in a single step if the system can.
fn exchange(made: &Path, place: &Path) -> Result<(), Error> {
    #[cfg(any(target_os = "linux", target_vendor = "apple"))]
    {
        use rustix::fs::{CWD, RenameFlags, renameat_with};
        if renameat_with(CWD, made, CWD, place, RenameFlags::EXCHANGE).is_ok() {
            return Ok(());
        }
    }
    let aside = made.with_extension("old");
    std::fs::rename(place, &aside).map_err(|e| busy(place, &e))?;
    if let Err(e) = std::fs::rename(made, place) {
        let back = std::fs::rename(&aside, place);
        back.map_err(|e| busy(place, &e))?;
        return Err(busy(place, &e));
    }
    std::fs::rename(&aside, made).map_err(|e| busy(place, &e))
}

/// Error for a folder that cannot be moved.
fn busy(path: &Path, error: &std::io::Error) -> Error {
    Problem::of_file(
        &path.display().to_string(),
        format!("this folder cannot be replaced: {error}"),
        "a folder that nothing else uses",
    )
    .mend("name a new folder, for example one inside it")
    .into()
}
