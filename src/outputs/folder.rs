//! The folder of a report, replaced as a whole: the files of two runs never mix.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::guard::{Guard, shown};
use super::older_results;
use crate::files::{FOLDER_RECORD, WholeFolder, link_end};
use crate::problem::Error;
use crate::time::Utc;

/// Value of `format` in the record of a folder.
const FORMAT: &str = "plumbeam report 1";

/// Files that operating systems create in folders.
const OF_THE_SYSTEM: [&str; 3] = [".DS_Store", "Thumbs.db", "desktop.ini"];

/// The record of a folder: which files the verb wrote into it.
#[derive(Debug, Serialize, Deserialize)]
struct Record {
    format: String,
    verb: String,
    created_utc: Utc,
    /// Checksum of each file, by name.
    crc32: BTreeMap<String, String>,
}

/// A path approved for a folder.
#[derive(Clone, Debug)]
pub struct OutputFolder {
    verb: &'static str,
    option: String,
    path: PathBuf,
}

/// A folder that was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Delivered {
    /// Number of files in it.
    pub files: usize,
    /// Where the previous folder is kept, if it contained more than a report.
    pub kept: Option<PathBuf>,
}

/// What to do with an existing folder.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Old {
    /// Replace it: it contains nothing worth keeping.
    Goes,
    /// Keep it: a report with files of the user's own, or an edited one.
    IsKept,
}

impl Guard {
    /// Requests the folder named by `option` for a report. Call it before the work is done, and
    /// after all files have been requested.
    ///
    /// # Errors
    /// [`Error::Usage`] if replacing the existing folder would lose something.
    pub fn folder(&mut self, option: &str, path: &Path) -> Result<OutputFolder, Error> {
        self.folder_place(option, path)?;
        let folder = OutputFolder {
            verb: self.verb(),
            option: option.to_owned(),
            path: path.to_owned(),
        };
        folder.judge()?;
        Ok(folder)
    }

    /// Requests a folder if the option was given.
    ///
    /// # Errors
    /// As [`Guard::folder`].
    pub fn optional_folder(
        &mut self,
        option: &str,
        path: Option<&PathBuf>,
    ) -> Result<Option<OutputFolder>, Error> {
        path.map(|path| self.folder(option, path)).transpose()
    }
}

impl OutputFolder {
    /// Path as given by the user.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Lets `write` write all its files into a temporary folder, then moves that to its final path.
    ///
    /// # Errors
    /// Errors of `write`; as [`Guard::folder`], because it checks again; or if the disk is full or
    /// fails. The old folder is then untouched.
    pub fn write(
        &self,
        write: impl FnOnce(&Path) -> Result<(), Error>,
    ) -> Result<Delivered, Error> {
        let folder = WholeFolder::create(&self.path)?;
        write(folder.making())?;
        let failed = |e| Error::io(&self.path.display().to_string(), "write", e);
        let crc32 = checksums(folder.making()).map_err(failed)?;
        let files = crc32.len();
        let record = Record {
            format: FORMAT.to_owned(),
            verb: self.verb.to_owned(),
            created_utc: Utc::now(),
            crc32,
        };
        // A plain struct of strings always serialises.
        let record = serde_json::to_string_pretty(&record).unwrap_or_default() + "\n";
        let kept = match self.judge()? {
            Old::Goes => None,
            Old::IsKept => Some(older_results::free_name(&link_end(&self.path))?),
        };
        folder.finish(&record, kept.as_deref())?;
        Ok(Delivered { files, kept })
    }

    /// Decides what to do with the existing folder.
    fn judge(&self) -> Result<Old, Error> {
        let failed = |e| Error::io(&self.path.display().to_string(), "look at", e);
        let refused = |what: &str| {
            Err(Error::Usage(format!(
                "{} {} {what}\n  help: name a separate folder with {}",
                self.option,
                shown(&self.path),
                self.option
            )))
        };
        let end = link_end(&self.path);
        let Ok(there) = std::fs::metadata(&end) else {
            return Ok(Old::Goes);
        };
        if !there.is_dir() {
            return refused("is not a folder");
        }
        if std::env::current_dir().is_ok_and(|here| here.starts_with(&end)) {
            return refused(
                "is the folder in which you work, or holds it; it would be replaced as a whole",
            );
        }
        let record = std::fs::read(end.join(FOLDER_RECORD)).ok();
        let record: Option<Record> = record.and_then(|bytes| serde_json::from_slice(&bytes).ok());
        let mut names = Vec::new();
        for entry in std::fs::read_dir(&end).map_err(failed)? {
            let name = entry.map_err(failed)?.file_name();
            let name = name.to_string_lossy().into_owned();
            if name != FOLDER_RECORD && !OF_THE_SYSTEM.contains(&name.as_str()) {
                names.push(name);
            }
        }
        names.sort();
        let Some(record) = record.filter(|r| r.format == FORMAT) else {
            return match names.first() {
                None => Ok(Old::Goes),
                Some(name) => refused(&format!(
                    "holds {}, which no report put there, and a report replaces its folder as a \
                     whole",
                    shown(Path::new(name))
                )),
            };
        };
        if record.verb != self.verb {
            return refused(&format!(
                "is the report of {}, and the report of {} would replace it",
                shown(Path::new(&record.verb)),
                self.verb
            ));
        }
        let own = |name: &String| {
            let wanted = record.crc32.get(name);
            wanted.is_some() && wanted == checksum(&end.join(name)).ok().as_ref()
        };
        Ok(match names.iter().all(own) {
            true => Old::Goes,
            false => Old::IsKept,
        })
    }
}

/// Checksum of each file in a folder.
fn checksums(folder: &Path) -> std::io::Result<BTreeMap<String, String>> {
    let mut all = BTreeMap::new();
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        if name != FOLDER_RECORD {
            all.insert(name, checksum(&entry.path())?);
        }
    }
    Ok(all)
}

fn checksum(path: &Path) -> std::io::Result<String> {
    let crc = crc32fast::hash(&std::fs::read(path)?);
    Ok(format!("{crc:08x}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn write(folder: &OutputFolder, files: &[(&str, &str)]) -> Result<Delivered, Error> {
        folder.write(|making| {
            for (name, text) in files {
                std::fs::write(making.join(name), text).unwrap();
            }
            Ok(())
        })
    }
    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = std::fs::read_dir(folder)
            .unwrap()
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn files_of_two_runs_never_mix() {
        let place = tempfile::tempdir().unwrap();
        let path = place.path().join("report");
        let ask = || Guard::new("solve").folder("--report", &path);
        let first = write(&ask().unwrap(), &[("page", "1"), ("a", "1")]).unwrap();
        assert_eq!((first.files, first.kept), (2, None));
        let second = write(&ask().unwrap(), &[("page", "2"), ("b", "2")]).unwrap();
        assert_eq!((second.files, second.kept), (2, None));
        assert_eq!(names(&path), [FOLDER_RECORD, "b", "page"]);
        assert_eq!(names(place.path()), ["report"]);
        // A failed run changes nothing.
        let failed = ask().unwrap().write(|making| {
            std::fs::write(making.join("page"), "3").unwrap();
            Err(Error::Usage("it failed".to_owned()))
        });
        assert!(failed.is_err());
        assert_eq!(std::fs::read_to_string(path.join("page")).unwrap(), "2");
        assert_eq!(names(place.path()), ["report"]);
    }

    #[test]
    fn folders_with_more_than_a_report_are_kept_or_refused() {
        let place = tempfile::tempdir().unwrap();
        let path = place.path().join("report");
        let ask = |verb| Guard::new(verb).folder("--report", &path);
        std::fs::create_dir(&path).unwrap();
        // An empty folder counts as none.
        write(&ask("solve").unwrap(), &[("page", "1")]).unwrap();
        let said = ask("faults").unwrap_err().to_string();
        assert!(said.contains("is the report of solve"), "{said}");
        // A file of the user's own, and one that was edited.
        for own in ["my notes", "page"] {
            std::fs::write(path.join(own), "mine").unwrap();
            let kept = write(&ask("solve").unwrap(), &[("page", "2")])
                .unwrap()
                .kept;
            let kept = kept.unwrap();
            assert_eq!(std::fs::read_to_string(kept.join(own)).unwrap(), "mine");
            assert_eq!(names(&path), [FOLDER_RECORD, "page"]);
        }
        // A folder that was not made by a report.
        let said = Guard::new("solve").folder("--report", place.path());
        let said = said.unwrap_err();
        assert_eq!(said.exit_code(), 2);
        assert!(
            said.to_string().contains("which no report put there"),
            "{said}"
        );
    }

    #[test]
    fn a_folder_with_an_input_or_an_output_is_refused() {
        let place = tempfile::tempdir().unwrap();
        let path = place.path().join("report");
        write(
            &Guard::new("solve").folder("--report", &path).unwrap(),
            &[("page", "1")],
        )
        .unwrap();
        let log = path.join("peaks.csv");
        std::fs::write(&log, "mine").unwrap();
        let mut guard = Guard::new("solve").reads("the log", &log);
        let said = guard.folder("--report", &path).unwrap_err().to_string();
        assert!(said.contains("it holds"), "{said}");
        let mut guard = Guard::new("solve");
        let out = path.join("new.json");
        guard
            .file("--out", &out, super::super::OutputKind::Text)
            .unwrap();
        let said = guard.folder("--report", &path).unwrap_err().to_string();
        assert!(said.contains("lies in the folder of --report"), "{said}");
    }

    #[cfg(unix)]
    #[test]
    fn a_link_and_the_file_mode_are_preserved() {
        use std::os::unix::fs::PermissionsExt;
        let place = tempfile::tempdir().unwrap();
        let real = place.path().join("real");
        let link = place.path().join("link");
        std::fs::create_dir(&real).unwrap();
        std::fs::set_permissions(&real, PermissionsExt::from_mode(0o750)).unwrap();
        std::os::unix::fs::symlink("real", &link).unwrap();
        let folder = Guard::new("solve").folder("--report", &link).unwrap();
        write(&folder, &[("page", "1")]).unwrap();
        assert!(std::fs::symlink_metadata(&link).unwrap().is_symlink());
        assert_eq!(names(&real), [FOLDER_RECORD, "page"]);
        let mode = std::fs::metadata(&real).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o750);
    }
}
