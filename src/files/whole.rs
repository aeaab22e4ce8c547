//! Files written atomically.

use std::fs::{File, TryLockError};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::Duration;

use crate::problem::{Error, Problem};

/// A temporary file that replaces the old one in a single step when it is finished; if dropped
/// before, it leaves the old one untouched.
#[derive(Debug)]
pub struct WholeFile {
    path: PathBuf,
    into: Target,
}

/// Where the bytes go until the file is complete.
#[derive(Debug)]
enum Target {
    /// To a temporary file beside the target, to be renamed over it.
    Beside(tempfile::NamedTempFile),
    /// Directly to the target, if it cannot be replaced: a device or a pipe.
    Straight(File),
}

/// Prefix of the names of temporary files and folders.
pub const PREFIX: &str = ".plumbeam-";
/// Suffix of those names.
pub const SUFFIX: &str = ".part";
/// If the file system has no locks, or nothing has been written yet, a temporary file that has not
/// changed for this long is taken as abandoned.
const ABANDONED: Duration = Duration::from_secs(24 * 3600);

impl WholeFile {
    /// Creates a temporary file beside `path`, or beside its link target. Leftovers of killed runs
    /// in that folder are removed.
    ///
    /// # Errors
    /// If the folder cannot be written to.
    pub fn create(path: &Path) -> Result<WholeFile, Error> {
        let failed = |e| Error::io(&path.display().to_string(), "write", e);
        let end = link_end(path);
        let there = std::fs::metadata(&end).ok();
        if there.as_ref().is_some_and(|t| !t.is_file() && !t.is_dir()) {
            let file = std::fs::OpenOptions::new()
                .write(true)
                .open(path)
                .map_err(failed)?;
            return Ok(WholeFile {
                path: path.to_owned(),
                into: Target::Straight(file),
            });
        }
        let folder = folder_of(&end);
        if !folder.is_dir() {
            return Err(no_folder(path, folder));
        }
        sweep(folder);
        let mut builder = tempfile::Builder::new();
        builder.prefix(PREFIX).suffix(SUFFIX);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            // Temporary files are private by default; the permissions of a result follow the umask.
            builder.permissions(std::fs::Permissions::from_mode(0o666));
        }
        let file = builder.tempfile_in(folder).map_err(failed)?;
        // The lock ends with the process, however that ends; without locks, age decides.
        let _ = file.as_file().try_lock();
        if let Some(there) = there {
            file.as_file()
                .set_permissions(there.permissions())
                .map_err(failed)?;
        }
        Ok(WholeFile {
            path: end,
            into: Target::Beside(file),
        })
    }

    /// Flushes the file to disk and moves it to its final path.
    ///
    /// # Errors
    /// If the disk is full or fails; the old file is then untouched.
    pub fn finish(self) -> Result<(), Error> {
        self.finish_after(|_| Ok(()))
    }

    /// The same; once the bytes are on disk, if there is an existing file, `before` is called with
    /// its path before it is replaced.
    ///
    /// # Errors
    /// As [`WholeFile::finish`], and errors of `before`.
    pub fn finish_after(
        self,
        before: impl FnOnce(&Path) -> Result<(), Error>,
    ) -> Result<(), Error> {
        let failed = |e| Error::io(&self.path.display().to_string(), "write", e);
        match self.into {
            Target::Beside(file) => {
                // The files of a temporary folder are all flushed when it is finished.
                if !is_in_the_making(folder_of(&self.path)) {
                    file.as_file().sync_all().map_err(failed)?;
                }
                if self.path.is_file() {
                    before(&self.path)?;
                }
                file.persist(&self.path).map_err(|e| failed(e.error))?;
            }
            Target::Straight(mut file) => file.flush().map_err(failed)?,
        }
        Ok(())
    }
}

/// Whether a folder is an unfinished [`WholeFolder`](super::WholeFolder).
fn is_in_the_making(folder: &Path) -> bool {
    let name = folder.file_name().unwrap_or_default().to_string_lossy();
    folder.is_dir() && name.starts_with(PREFIX) && name.ends_with(SUFFIX)
}

/// The folder that contains a file.
fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// Error for a file in a folder that does not exist.
fn no_folder(path: &Path, folder: &Path) -> Error {
    Problem::of_file(
        &path.display().to_string(),
        "cannot be written",
        format!("a folder {}, which does not exist", folder.display()),
    )
    .mend("make the folder, or name another place")
    .into()
}

/// The path with all links followed, whether or not anything exists there.
pub fn link_end(path: &Path) -> PathBuf {
    /// Maximum number of links followed, as on common systems, from memory (Linux: 40).
    const MOST_LINKS: usize = 40;
    let mut end = path.to_owned();
    for _ in 0..MOST_LINKS {
        let Ok(next) = std::fs::read_link(&end) else {
            break;
        };
        end = folder_of(&end).join(next);
    }
    std::fs::canonicalize(&end).unwrap_or(end)
}

/// Removes what killed runs left in a folder: temporary files and folders that no process is
/// writing any more. Entries that cannot be examined or removed are left; they do no harm.
pub fn sweep(folder: &Path) {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return;
    };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let ours = (name.to_str()).is_some_and(|n| n.starts_with(PREFIX) && n.ends_with(SUFFIX));
        // A link is never followed.
        let Some(kind) = entry.file_type().ok().filter(|_| ours) else {
            continue;
        };
        let path = entry.path();
        if kind.is_file() && abandoned(&path) {
            let _ = std::fs::remove_file(&path);
        } else if kind.is_dir() && abandoned(&path.join(super::FOLDER_RECORD)) {
            let _ = std::fs::remove_dir_all(&path);
        }
    }
}

/// Whether the writer of a temporary file is gone: its lock is released or, if that cannot be
/// determined, the file has not changed for a day.
pub fn abandoned(path: &Path) -> bool {
    let Ok(file) = File::open(path) else {
        return old(path);
    };
    match file.try_lock_shared() {
        // An empty file may not have been locked yet.
        Ok(()) => file.metadata().is_ok_and(|m| m.len() > 0) || old(path),
        Err(TryLockError::WouldBlock) => false,
        Err(TryLockError::Error(_)) => old(path),
    }
}

/// Whether a file, or the folder that should contain it, has not changed for a day.
fn old(path: &Path) -> bool {
    let metadata = std::fs::metadata(path).or_else(|_| std::fs::metadata(folder_of(path)));
    let age = || metadata.ok()?.modified().ok()?.elapsed().ok();
    age().is_some_and(|age| age > ABANDONED)
}

impl Write for WholeFile {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        match &mut self.into {
            Target::Beside(file) => file.write(bytes),
            Target::Straight(file) => file.write(bytes),
        }
    }
    fn flush(&mut self) -> std::io::Result<()> {
        match &mut self.into {
            Target::Beside(file) => file.flush(),
            Target::Straight(file) => file.flush(),
        }
    }
}

/// Writes `contents` to `path` so that at every instant the path holds either the old file or the
/// complete new one: a temporary file beside the target is written, flushed to disk and renamed
/// over it. Output of verbs goes through [`crate::outputs`], which first checks that writing is
/// allowed.
///
/// # Errors
/// If the folder cannot be written to or the disk is full; the old file is then untouched.
pub fn write_whole(path: &Path, contents: &[u8]) -> Result<(), Error> {
    let mut whole = WholeFile::create(path)?;
    whole
        .write_all(contents)
        .map_err(|e| Error::io(&path.display().to_string(), "write", e))?;
    whole.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn links_are_followed_to_a_missing_target() {
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| folder.path().join(name);
        assert_eq!(link_end(&path("new")), path("new"));
        #[cfg(unix)]
        {
            std::os::unix::fs::symlink("two", path("one")).unwrap();
            std::os::unix::fs::symlink("three", path("two")).unwrap();
            assert_eq!(link_end(&path("one")), path("three"));
            // A circular link must not cause an endless loop.
            std::os::unix::fs::symlink("circle", path("circle")).unwrap();
            assert_eq!(link_end(&path("circle")), path("circle"));
        }
    }

    #[test]
    fn a_file_is_abandoned_when_its_writer_is_gone() {
        let folder = tempfile::tempdir().unwrap();
        let name = |n: &str| folder.path().join(format!("{PREFIX}{n}{SUFFIX}"));
        let writing = File::create(name("writing")).unwrap();
        writing.lock().unwrap();
        std::fs::write(name("writing"), "half").unwrap();
        std::fs::write(name("killed"), "half").unwrap();
        // It may belong to a run that has not locked it yet.
        std::fs::write(name("empty"), "").unwrap();
        std::fs::write(folder.path().join(".other.part"), "half").unwrap();
        sweep(folder.path());
        assert!(name("writing").exists() && name("empty").exists());
        assert!(folder.path().join(".other.part").exists());
        assert!(!name("killed").exists());
        drop(writing);
        sweep(folder.path());
        assert!(!name("writing").exists());
    }
}
