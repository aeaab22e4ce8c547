//! Files that are whole or not there.

use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};

use crate::problem::{Error, Problem};

/// A file in the making: it takes its place in one step when it is finished, and leaves the old
/// one untouched when it is dropped before.
#[derive(Debug)]
pub struct WholeFile {
    path: PathBuf,
    file: tempfile::NamedTempFile,
}

impl WholeFile {
    /// Begins a temporary file beside `path`.
    ///
    /// # Errors
    /// When the folder cannot be written to.
    pub fn create(path: &Path) -> Result<WholeFile, Error> {
        let folder = match path.parent() {
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
        let mut builder = tempfile::Builder::new();
        builder.prefix(".plumbeam-").suffix(".part");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            // Temporary files are private by default; a result is for others to read too.
            builder.permissions(std::fs::Permissions::from_mode(0o644));
        }
        let file = builder
            .tempfile_in(folder)
            .map_err(|e| Error::io(&path.display().to_string(), "write", e))?;
        Ok(WholeFile {
            path: path.to_owned(),
            file,
        })
    }

    /// Flushes it to disk and puts it in its place.
    ///
    /// # Errors
    /// When the disk is full or fails; the old file is then untouched.
    pub fn finish(self) -> Result<(), Error> {
        let failed = |e| Error::io(&self.path.display().to_string(), "write", e);
        self.file.as_file().sync_all().map_err(failed)?;
        self.file.persist(&self.path).map_err(|e| failed(e.error))?;
        Ok(())
    }
}

impl Write for WholeFile {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.file.write(bytes)
    }
    fn flush(&mut self) -> std::io::Result<()> {
        self.file.flush()
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
