//! Reads files as bytes.

use std::io::{BufRead, BufReader, Read};
use std::path::Path;

use crate::problem::{Error, Problem};

/// Describes a file to be read in one piece: its name in messages, and its maximum size.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FileToRead {
    /// Such as `a station file`.
    pub what: &'static str,
    /// Maximum size; a file that grows without end would fill the memory.
    pub most_bytes: u64,
    /// Whether it may come through a pipe.
    pub piped: bool,
}

impl FileToRead {
    /// A file of at most this many mebibytes.
    pub const fn mebibytes(what: &'static str, most: u64) -> FileToRead {
        FileToRead {
            what,
            most_bytes: most << 20,
            piped: false,
        }
    }
    /// The same, but a pipe is also accepted: no running stream is held up by this read.
    pub const fn or_piped(self) -> FileToRead {
        FileToRead {
            piped: true,
            ..self
        }
    }
}

/// What a path leads to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Found {
    File,
    Folder,
    Pipe,
    Device,
}

impl Found {
    fn of(path: &Path) -> std::io::Result<Found> {
        let there = std::fs::metadata(path)?;
        #[cfg(unix)]
        if std::os::unix::fs::FileTypeExt::is_fifo(&there.file_type()) {
            return Ok(Found::Pipe);
        }
        Ok(match (there.is_file(), there.is_dir()) {
            (true, _) => Found::File,
            (_, true) => Found::Folder,
            _ => Found::Device,
        })
    }
    fn words(self) -> &'static str {
        match self {
            Found::File => "a file",
            Found::Folder => "a folder",
            Found::Pipe => "a pipe",
            Found::Device => "a device",
        }
    }
}

/// Reads a whole file, or standard input if `path` is `-`, and returns the name to use in messages
/// with the bytes. Pipes, which could block a running stream for ever, and devices, which could be
/// endless, are not accepted as files.
///
/// # Errors
/// If it cannot be read, is not a regular file, or is too large. Bytes are returned unchanged: the
/// caller checks the encoding.
pub fn read_bytes(path: &Path, expected: FileToRead) -> Result<(String, Vec<u8>), Error> {
    let (name, input): (String, Box<dyn Read>) = if path.as_os_str() == "-" {
        let name = "standard input".to_owned();
        (name, Box::new(std::io::stdin().lock()))
    } else {
        let name = path.display().to_string();
        let failed = |e| Error::io(&name, "read", e);
        let found = Found::of(path).map_err(failed)?;
        if found != Found::File && !(expected.piped && found == Found::Pipe) {
            return Err(Problem::of_file(
                &name,
                format!("this is {}", found.words()),
                format!("{} in a regular file", expected.what),
            )
            .mend("write it into a file first, or give - where standard input is read")
            .into());
        }
        let file = std::fs::File::open(path).map_err(failed)?;
        (name, Box::new(file))
    };
    let mut bytes = Vec::new();
    input
        .take(expected.most_bytes + 1)
        .read_to_end(&mut bytes)
        .map_err(|e| Error::io(&name, "read", e))?;
    if bytes.len() as u64 > expected.most_bytes {
        return Err(Problem::of_file(
            &name,
            format!(
                "this holds more than {} megabytes",
                expected.most_bytes >> 20
            ),
            format!("{}, which is never that large", expected.what),
        )
        .mend("is it the right file?")
        .into());
    }
    Ok((name, bytes))
}

/// Opens a log, or standard input if `path` is `-`, for streaming, and returns the name to use in
/// messages with the reader. Pipes are accepted.
///
/// # Errors
/// If it cannot be opened, or is a folder or a device.
pub fn open(path: &Path) -> Result<(String, Box<dyn BufRead + Send>), Error> {
    if path.as_os_str() == "-" {
        return Ok((
            "standard input".to_owned(),
            Box::new(BufReader::with_capacity(READ_BUFFER, std::io::stdin())),
        ));
    }
    let name = path.display().to_string();
    let failed = |e| Error::io(&name, "read", e);
    let found = Found::of(path).map_err(failed)?;
    if !matches!(found, Found::File | Found::Pipe) {
        return Err(
            Problem::of_file(&name, format!("this is {}", found.words()), "a log")
                .mend("give - to read standard input")
                .into(),
        );
    }
    let file = std::fs::File::open(path).map_err(failed)?;
    Ok((name, Box::new(BufReader::with_capacity(READ_BUFFER, file))))
}

/// Bytes read at once: large enough to make the cost of the system call negligible.
const READ_BUFFER: usize = 1 << 16;

/// Identifies a state of a file without reading it: time of the last write, length, and file
/// identity (a file renamed into its place is a different one).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    modified: Option<std::time::SystemTime>,
    length: u64,
    identity: u64,
}

impl Stamp {
    /// Stamp of the file as it is now; `None` if there is no file.
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

#[cfg(test)]
mod tests {
    use super::*;

    const SMALL: FileToRead = FileToRead {
        what: "a small file",
        most_bytes: 4,
        piped: false,
    };

    #[test]
    fn only_regular_files_of_sensible_size_are_read() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("f");
        std::fs::write(&path, "1234").unwrap();
        assert_eq!(read_bytes(&path, SMALL).unwrap().1, b"1234");
        std::fs::write(&path, "12345").unwrap();
        let told = |path: &Path| {
            let error = read_bytes(path, SMALL).unwrap_err();
            assert_eq!(error.exit_code(), 3);
            error.to_string()
        };
        assert!(told(&path).contains("holds more than 0 megabytes"));
        assert!(told(folder.path()).contains("this is a folder; expected a small file"));
        assert!(told(&folder.path().join("none")).contains("cannot read"));
        #[cfg(unix)]
        {
            assert!(told(Path::new("/dev/zero")).contains("this is a device"));
            assert!(open(Path::new("/dev/zero")).is_err());
        }
        assert!(open(folder.path()).is_err());
    }
}
