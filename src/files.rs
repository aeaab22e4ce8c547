//! Files that are whole or not there.

use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};

use crate::problem::{Error, Problem};

/// A file in the making: it takes its place in one step when it is finished, and leaves the old
/// one untouched when it is dropped before.
#[derive(Debug)]
pub struct WholeFile {
    path: PathBuf,
    into: Target,
}

/// Where the bytes go before the file is whole.
#[derive(Debug)]
enum Target {
    /// Beside the target, to be renamed over it.
    Beside(tempfile::NamedTempFile),
    /// Straight to the target, which is no file that could be replaced: a device or a pipe.
    Straight(std::fs::File),
}

const PREFIX: &str = ".plumbeam-";
const SUFFIX: &str = ".part";
/// A temporary file that has not grown for so long belongs to no process that still writes.
const ABANDONED: std::time::Duration = std::time::Duration::from_secs(24 * 3600);

impl WholeFile {
    /// Begins a temporary file beside `path`, or beside what it links to. Temporary files in that
    /// folder that a killed run left there more than a day ago are removed.
    ///
    /// # Errors
    /// When the folder cannot be written to.
    pub fn create(path: &Path) -> Result<WholeFile, Error> {
        let failed = |e| Error::io(&path.display().to_string(), "write", e);
        let path_to_replace = match std::fs::metadata(path) {
            Ok(there) if there.is_file() => std::fs::canonicalize(path).map_err(failed)?,
            Ok(there) if !there.is_dir() => {
                let file = std::fs::OpenOptions::new()
                    .write(true)
                    .open(path)
                    .map_err(failed)?;
                return Ok(WholeFile {
                    path: path.to_owned(),
                    into: Target::Straight(file),
                });
            }
            _ => path.to_owned(),
        };
        let folder = match path_to_replace.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        if !folder.is_dir() {
            return Err(Problem::of_file(
                &path.display().to_string(),
                "cannot be written",
                format!("a folder {}, which does not exist", folder.display()),
            )
            .mend("make the folder, or name another place")
            .into());
        }
        sweep(folder);
        let mut builder = tempfile::Builder::new();
        builder.prefix(PREFIX).suffix(SUFFIX);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            // Temporary files are private by default; a result is for others to read too.
            builder.permissions(std::fs::Permissions::from_mode(0o644));
        }
        let file = builder.tempfile_in(folder).map_err(failed)?;
        Ok(WholeFile {
            path: path_to_replace,
            into: Target::Beside(file),
        })
    }

    /// Flushes it to disk and puts it in its place.
    ///
    /// # Errors
    /// When the disk is full or fails; the old file is then untouched.
    pub fn finish(self) -> Result<(), Error> {
        let failed = |e| Error::io(&self.path.display().to_string(), "write", e);
        match self.into {
            Target::Beside(file) => {
                file.as_file().sync_all().map_err(failed)?;
                file.persist(&self.path).map_err(|e| failed(e.error))?;
            }
            Target::Straight(mut file) => file.flush().map_err(failed)?,
        }
        Ok(())
    }
}

/// Removes what killed runs left in a folder. What cannot be seen or removed stays: it harms
/// nobody.
fn sweep(folder: &Path) {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return;
    };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let ours = (name.to_str()).is_some_and(|n| n.starts_with(PREFIX) && n.ends_with(SUFFIX));
        let age = || entry.metadata().ok()?.modified().ok()?.elapsed().ok();
        if ours && age().is_some_and(|age| age > ABANDONED) {
            let _ = std::fs::remove_file(entry.path());
        }
    }
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

/// Writes `contents` to `path` so that at every instant the path holds either the old file
/// or the whole new one: a temporary file beside the target is written, flushed to disk
/// and renamed over it.
///
/// # Errors
/// When the folder cannot be written to or the disk is full; the old file is then untouched.
pub fn write_whole(path: &Path, contents: &[u8]) -> Result<(), Error> {
    let mut whole = WholeFile::create(path)?;
    whole
        .write_all(contents)
        .map_err(|e| Error::io(&path.display().to_string(), "write", e))?;
    whole.finish()
}

/// The whole text of a file, or of standard input when `path` is `-`, with the name to call it by
/// in messages.
///
/// # Errors
/// When it cannot be read. Bytes are returned as they are: encoding is the reader's business.
pub fn read_bytes(path: &Path) -> Result<(String, Vec<u8>), Error> {
    if path.as_os_str() == "-" {
        let name = "standard input".to_owned();
        let mut bytes = Vec::new();
        std::io::stdin()
            .lock()
            .read_to_end(&mut bytes)
            .map_err(|e| Error::io(&name, "read", e))?;
        return Ok((name, bytes));
    }
    let name = path.display().to_string();
    let bytes = std::fs::read(path).map_err(|e| Error::io(&name, "read", e))?;
    Ok((name, bytes))
}

/// Opens a file, or standard input when `path` is `-`, to be read piece by piece, with the name
/// to call it by in messages.
///
/// # Errors
/// When it cannot be opened.
pub fn open(path: &Path) -> Result<(String, Box<dyn BufRead + Send>), Error> {
    if path.as_os_str() == "-" {
        return Ok((
            "standard input".to_owned(),
            Box::new(BufReader::with_capacity(READ_BUFFER, std::io::stdin())),
        ));
    }
    let name = path.display().to_string();
    let file = std::fs::File::open(path).map_err(|e| Error::io(&name, "read", e))?;
    Ok((name, Box::new(BufReader::with_capacity(READ_BUFFER, file))))
}

/// Bytes read at once: large enough that the system call does not count.
const READ_BUFFER: usize = 1 << 16;

/// What tells one state of a file from another without reading it: when it was last written, how
/// long it is, and which file it is (a renamed one is another).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    modified: Option<std::time::SystemTime>,
    length: u64,
    identity: u64,
}

impl Stamp {
    /// Of the file now; none when there is none.
    pub fn of(path: &Path) -> Option<Stamp> {
        let metadata = std::fs::metadata(path).ok()?;
        #[cfg(unix)]
        let identity = std::os::unix::fs::MetadataExt::ino(&metadata);
        #[cfg(not(unix))]
        let identity = 0;
        Some(Stamp {
            modified: metadata.modified().ok(),
            length: metadata.len(),
            identity,
        })
    }
}
