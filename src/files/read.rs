//! Files as they are.

use std::io::{BufRead, BufReader, Read};
use std::path::Path;

use crate::problem::Error;

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
