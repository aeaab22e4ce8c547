//! Suggestions for a file that was not found.

use std::path::Path;

use crate::problem::nearest_name;

/// Maximum number of names listed, to keep a message readable.
const MOST: usize = 6;
/// Maximum number of folder entries examined, so that the message appears without delay.
const MOST_ENTRIES: usize = 10_000;

/// Advice for a file that does not exist: the name that was probably meant, otherwise the files of
/// the same kind in its folder; `None` if there is nothing useful to say.
pub fn instead_of(path: &Path) -> Option<String> {
    let folder = match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Some(format!("there is no folder {}", folder.display()));
    };
    let mut names: Vec<String> = entries
        .take(MOST_ENTRIES)
        .filter_map(|entry| entry.ok())
        .filter(|entry| entry.path().is_file())
        .filter_map(|entry| entry.file_name().into_string().ok())
        .filter(|name| !name.starts_with('.'))
        .collect();
    let asked = path.file_name()?.to_str()?;
    if let Some(name) = nearest_name(asked, names.iter().map(String::as_str)) {
        return Some(format!(
            "did you mean {}?",
            path.with_file_name(name).display()
        ));
    }
    names.retain(|name| Path::new(name).extension() == path.extension());
    names.sort();
    if names.is_empty() {
        return None;
    }
    let more = match names.len() {
        n if n > MOST => format!(" and {} more", n - MOST),
        _ => String::new(),
    };
    names.truncate(MOST);
    Some(format!("that folder has {}{more}", names.join(", ")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_name_that_was_meant_or_what_there_is() {
        let folder = tempfile::tempdir().unwrap();
        let said = |name: &str| instead_of(&folder.path().join(name));
        assert_eq!(said("peaks.csv"), None);
        for name in ["peaks.csv", "scans.csv", "station.toml", ".hidden.csv"] {
            std::fs::write(folder.path().join(name), "").unwrap();
        }
        let meant = said("peeks.csv").unwrap();
        assert!(
            meant.starts_with("did you mean ") && meant.ends_with("peaks.csv?"),
            "{meant}"
        );
        let there = "that folder has peaks.csv, scans.csv";
        assert_eq!(said("2026-11-26-evening.csv").unwrap(), there);
        assert_eq!(said("evening.json"), None);
        let lost = said("none/peaks.csv").unwrap();
        assert!(lost.starts_with("there is no folder "), "{lost}");
        for n in 0..9 {
            std::fs::write(folder.path().join(format!("night-{n}.csv")), "").unwrap();
        }
        assert!(
            said("x-y-z-evening-log.csv")
                .unwrap()
                .ends_with(" and 5 more")
        );
    }
}
