//! Files that are whole or not there.

use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;

use crate::problem::Error;

/// Writes `contents` to `path` so that at every instant the path holds either the old file
/// or the whole new one: a temporary file beside the target is written, flushed to disk
/// and renamed over it.
///
/// # Errors
/// When the folder cannot be written to or the disk is full; the old file is then untouched.
pub fn write_whole(path: &Path, contents: &[u8]) -> Result<(), Error> {
    let name = path.display().to_string();
    let failed = |e| Error::io(&name, "write", e);
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let mut builder = tempfile::Builder::new();
    builder.prefix(".plumbeam-").suffix(".part");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // Temporary files are private by default; a result is for others to read too.
        builder.permissions(std::fs::Permissions::from_mode(0o644));
    }
    let mut file = builder.tempfile_in(folder).map_err(failed)?;
    file.write_all(contents).map_err(failed)?;
    file.as_file().sync_all().map_err(failed)?;
    file.persist(path).map_err(|e| failed(e.error))?;
    Ok(())
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
pub fn open(path: &Path) -> Result<(String, Box<dyn BufRead>), Error> {
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
