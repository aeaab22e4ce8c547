//! Older results, kept beside the new ones with their own time in the name.

use std::io::{ErrorKind, Read};
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use super::kind::FileContents;
use crate::files::{PREFIX, SUFFIX};
use crate::problem::Error;
use crate::time::Utc;

/// Name under which a file or folder is kept: `calibration.2026-09-12T163400Z.json`, or
/// `calibration.2026-09-12T163400Z-2.json` if that is taken.
fn name(path: &Path, time: Utc, attempt: usize) -> PathBuf {
    let (year, month, day, hour, minute, second) = time.calendar();
    let mut kept = path.file_stem().unwrap_or_default().to_owned();
    // Some systems do not allow colons in file names.
    kept.push(format!(
        ".{year:04}-{month:02}-{day:02}T{hour:02}{minute:02}{:02}Z",
        second.floor()
    ));
    if attempt > 1 {
        kept.push(format!("-{attempt}"));
    }
    if let Some(extension) = path.extension() {
        kept.push(".");
        kept.push(extension);
    }
    path.with_file_name(kept)
}

/// Time of the last change of a file or folder; the current time if the system does not give it.
fn changed(path: &Path) -> Utc {
    let modified = || std::fs::metadata(path).ok()?.modified().ok();
    let since = modified().and_then(|t| t.duration_since(UNIX_EPOCH).ok());
    since
        .and_then(|d| i64::try_from(d.as_nanos()).ok())
        .map_or_else(Utc::now, Utc::from_unix_nanos)
}

/// Maximum number of results kept for the same second: far more than a script writes.
const MOST_OF_A_SECOND: usize = 1000;

/// Keeps a file under its own time: the time of creation stated in it, otherwise that of its last
/// change. Kept files are never replaced; if an identical copy exists, no other is made.
///
/// # Errors
/// If it cannot be kept; nothing has been changed then.
pub fn keep_file(path: &Path, found: &FileContents) -> Result<PathBuf, Error> {
    let failed = |e| Error::io(&path.display().to_string(), "keep a copy of", e);
    let time = match found {
        FileContents::Calibration(Some(created)) => *created,
        _ => changed(path),
    };
    for attempt in 1..=MOST_OF_A_SECOND {
        let kept = name(path, time, attempt);
        match std::fs::hard_link(path, &kept) {
            Ok(()) => return Ok(kept),
            Err(e) if e.kind() == ErrorKind::AlreadyExists => {
                if same_contents(path, &kept).map_err(failed)? {
                    return Ok(kept);
                }
            }
            // A file system without hard links.
            Err(_) => match copy(path, &kept) {
                Ok(()) => return Ok(kept),
                Err(e) if e.kind() == ErrorKind::AlreadyExists => {
                    if same_contents(path, &kept).map_err(failed)? {
                        return Ok(kept);
                    }
                }
                Err(e) => return Err(failed(e)),
            },
        }
    }
    Err(failed(ErrorKind::AlreadyExists.into()))
}

/// Finds an unused name under which a folder can be kept.
///
/// # Errors
/// If there is none.
pub fn free_name(path: &Path) -> Result<PathBuf, Error> {
    let time = changed(path);
    (1..=MOST_OF_A_SECOND)
        .map(|attempt| name(path, time, attempt))
        .find(|kept| std::fs::symlink_metadata(kept).is_err())
        .ok_or_else(|| {
            let taken = ErrorKind::AlreadyExists.into();
            Error::io(&path.display().to_string(), "keep", taken)
        })
}

/// Copies atomically to an unused name.
fn copy(path: &Path, kept: &Path) -> std::io::Result<()> {
    let folder = match kept.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let mut builder = tempfile::Builder::new();
    let part = builder.prefix(PREFIX).suffix(SUFFIX).tempfile_in(folder)?;
    let _ = part.as_file().try_lock();
    std::io::copy(&mut std::fs::File::open(path)?, &mut part.as_file())?;
    part.as_file()
        .set_permissions(std::fs::metadata(path)?.permissions())?;
    part.as_file().sync_all()?;
    part.persist_noclobber(kept).map_err(|e| e.error)?;
    Ok(())
}

/// Whether two files have the same contents.
fn same_contents(one: &Path, other: &Path) -> std::io::Result<bool> {
    let open = |path: &Path| std::fs::File::open(path).map(std::io::BufReader::new);
    if std::fs::metadata(one)?.len() != std::fs::metadata(other)?.len() {
        return Ok(false);
    }
    let (one, mut other) = (open(one)?, open(other)?);
    for byte in one.bytes() {
        let mut against = [0];
        if other.read(&mut against)? == 0 || byte? != against[0] {
            return Ok(false);
        }
    }
    Ok(true)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_carry_the_time_and_no_colon() {
        let time = Utc::parse("2026-09-12T16:34:00.9Z").unwrap();
        let of = |path: &str, attempt| {
            let kept = name(Path::new(path), time, attempt);
            kept.display().to_string().replace('\\', "/")
        };
        assert_eq!(
            of("a/calibration.json", 1),
            "a/calibration.2026-09-12T163400Z.json"
        );
        assert_eq!(of("readings", 1), "readings.2026-09-12T163400Z");
        assert_eq!(of("c.old.json", 3), "c.old.2026-09-12T163400Z-3.json");
    }

    #[test]
    fn kept_results_are_never_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("c.json");
        let time = Utc::parse("2026-09-12T16:34:00Z").unwrap();
        let found = FileContents::Calibration(Some(time));
        let write = |text: &str| {
            // Written as a new file.
            let _ = std::fs::remove_file(&path);
            std::fs::write(&path, text).unwrap();
        };
        write("one");
        let first = keep_file(&path, &found).unwrap();
        assert!(first.ends_with("c.2026-09-12T163400Z.json"));
        assert_eq!(keep_file(&path, &found).unwrap(), first);
        write("two");
        let second = keep_file(&path, &found).unwrap();
        assert!(second.ends_with("c.2026-09-12T163400Z-2.json"));
        let read = |path: &Path| std::fs::read_to_string(path).unwrap();
        assert_eq!((read(&first), read(&second)), ("one".into(), "two".into()));
        assert!(copy(&path, &first).is_err());
        assert_eq!(read(&first), "one");
        let third = folder.path().join("third");
        copy(&path, &third).unwrap();
        assert_eq!(read(&third), "two");
    }
}
