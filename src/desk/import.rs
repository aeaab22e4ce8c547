//! Import of logs from other sources.

use std::fs::OpenOptions;
use std::io::Write;
use std::path::Path;

use serde::Serialize;

use super::foreign::{LogAnswers, inside};
use super::session::{DeskSession, LOG_EXPECTED, encoder_readings_of};
use crate::files;
use crate::logbook::{PeakLog, Question, questions};
use crate::problem::{Error, printable};

/// Result of reading a dropped log; nothing is changed by it yet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Offered {
    /// Its name in the session's folder.
    pub file: String,
    /// Where the readers interpreted the text.
    pub understood: Vec<String>,
    /// Warnings for the user.
    pub warnings: Vec<String>,
    /// Number of peaks in it; 0 while a question is open.
    pub peaks: usize,
    /// The next ambiguity to resolve, one at a time.
    pub question: Option<OpenQuestion>,
    /// Answers given so far.
    pub options: LogAnswers,
    /// The edit that imports it.
    pub edit: Option<ImportEdit>,
}

/// An import edit, as a page posts it back.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ImportEdit {
    kind: &'static str,
    file: String,
    options: LogAnswers,
}

/// A question that only the user can answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OpenQuestion {
    /// The option that answers it.
    pub option: &'static str,
    /// What was found.
    pub text: String,
    /// Answers to choose from; empty if the option's text must be typed.
    pub choices: Vec<Choice>,
    /// Number of open questions, including this one.
    pub open: usize,
}

/// An answer, together with all earlier ones.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Choice {
    label: String,
    options: LogAnswers,
}

/// Longest name of an imported file, bytes: short enough for any file system, with a number
/// appended.
const LONGEST_NAME: usize = 80;

/// Stores a dropped file under `name` and describes it. A file that is not a log is not stored.
///
/// # Errors
/// All errors in it except those that a question can resolve; failure to store it.
pub fn take(session: &DeskSession, name: &str, bytes: &[u8]) -> Result<Offered, Error> {
    let name = stored_name(name);
    let told = LogAnswers::default();
    // Checked before storing: a file that is not a log must leave nothing behind.
    let offered = offer(session, &name, bytes, &told)?;
    let stored = store(&session.folder, &name, bytes)?;
    match stored == name {
        true => Ok(offered),
        false => offer(session, &stored, bytes, &told),
    }
}

/// Describes a stored log, read with the answers given.
///
/// # Errors
/// As [`take`].
pub fn again(session: &DeskSession, file: &str, told: &LogAnswers) -> Result<Offered, Error> {
    let (_, bytes) = files::read_bytes(&inside(&session.folder, file)?, LOG_EXPECTED)?;
    offer(session, file, &bytes, told)
}

fn offer(
    session: &DeskSession,
    file: &str,
    bytes: &[u8],
    told: &LogAnswers,
) -> Result<Offered, Error> {
    let options = told.options().map_err(Error::Usage)?;
    let open = questions(file, bytes, &session.station, &options)?;
    if let Some(question) = open.first() {
        return Ok(Offered {
            file: file.to_owned(),
            understood: Vec::new(),
            warnings: Vec::new(),
            peaks: 0,
            question: Some(asked(question, open.len(), told)),
            options: told.clone(),
            edit: None,
        });
    }
    let mut log = PeakLog::parse_with(file, bytes, &session.station, &options)?;
    encoder_readings_of(&mut log, &session.station, &[&session.folder])?;
    Ok(Offered {
        file: file.to_owned(),
        understood: log.taken,
        warnings: log.warnings,
        peaks: log.peaks.len(),
        question: None,
        options: told.clone(),
        edit: Some(ImportEdit {
            kind: "import",
            file: file.to_owned(),
            options: told.clone(),
        }),
    })
}

fn asked(question: &Question, open: usize, told: &LogAnswers) -> OpenQuestion {
    OpenQuestion {
        option: question.option,
        text: printable(&question.text),
        choices: (question.choices.iter())
            .map(|(label, value)| Choice {
                label: printable(label),
                options: told.with(question.option, value),
            })
            .collect(),
        open,
    }
}

/// A name valid on any system, without path components, that no other reader claims.
fn stored_name(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or_default();
    // A hidden file's name is not an extension.
    let last = last.trim_start_matches('.');
    let (stem, ending) = match last.rsplit_once('.') {
        Some((stem, ending)) => (stem, ending.to_ascii_lowercase()),
        None => (last, String::new()),
    };
    let plain = |c: char| match c {
        c if c.is_ascii_alphanumeric() || c == '-' || c == '_' => c,
        c if c.is_alphanumeric() => c,
        _ => '-',
    };
    let mut safe: String = stem.chars().map(plain).collect();
    while safe.len() > LONGEST_NAME {
        safe.pop();
    }
    let safe = safe.trim_matches('-');
    let ending = match ending.as_str() {
        ending @ ("csv" | "tsv" | "txt" | "log" | "dat") => ending,
        _ => "csv",
    };
    /// Device names on some systems, reserved with any extension.
    const DEVICES: [&str; 6] = ["con", "prn", "aux", "nul", "com", "lpt"];
    let lower = safe.to_lowercase();
    let device = DEVICES
        .iter()
        .any(|d| lower.trim_end_matches(|c: char| c.is_numeric()) == *d);
    match safe.is_empty() || device {
        true => format!("imported-log{safe}.{ending}"),
        false => format!("{safe}.{ending}"),
    }
}

/// Stores bytes under that name, or under the first free numbered one: nothing is overwritten. The
/// same bytes under the same name are not stored again.
fn store(folder: &Path, name: &str, bytes: &[u8]) -> Result<String, Error> {
    let (stem, ending) = name.rsplit_once('.').unwrap_or((name, "csv"));
    let mut number = 1;
    loop {
        let name = match number {
            1 => name.to_owned(),
            n => format!("{stem}-{n}.{ending}"),
        };
        let path = folder.join(&name);
        let failed = |e| Error::io(&path.display().to_string(), "write", e);
        match OpenOptions::new().write(true).create_new(true).open(&path) {
            Ok(mut file) => {
                let written = file.write_all(bytes).and_then(|()| file.sync_all());
                return match written {
                    Ok(()) => Ok(name),
                    Err(e) => {
                        let _ = std::fs::remove_file(&path);
                        Err(failed(e))
                    }
                };
            }
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {
                let same = inside(folder, &name)
                    .ok()
                    .and_then(|path| std::fs::read(path).ok())
                    .is_some_and(|there| there == bytes);
                if same {
                    return Ok(name);
                }
                number += 1;
            }
            Err(e) => return Err(failed(e)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stored_name_leads_nowhere() {
        for (given, stored) in [
            ("night.csv", "night.csv"),
            ("../../etc/passwd", "passwd.csv"),
            ("C:\\logs\\Night 3.TXT", "Night-3.txt"),
            ("station.toml", "station.csv"),
            ("desk-edits.jsonl", "desk-edits.csv"),
            (".bashrc", "bashrc.csv"),
            ("..", "imported-log.csv"),
            ("", "imported-log.csv"),
            ("nul.csv", "imported-lognul.csv"),
            ("COM1.txt", "imported-logCOM1.txt"),
            ("a\0b\nc.csv", "a-b-c.csv"),
            ("<script>.csv", "script.csv"),
            ("Messung_Höhe.csv", "Messung_Höhe.csv"),
        ] {
            assert_eq!(stored_name(given), stored, "{given:?}");
        }
        assert!(stored_name(&"é".repeat(500)).len() <= LONGEST_NAME + 4);
    }

    #[test]
    fn nothing_is_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let store = |bytes: &[u8]| store(folder.path(), "night.csv", bytes).unwrap();
        assert_eq!(store(b"one"), "night.csv");
        assert_eq!(store(b"one"), "night.csv");
        assert_eq!(store(b"two"), "night-2.csv");
        assert_eq!(store(b"two"), "night-2.csv");
        assert_eq!(
            std::fs::read(folder.path().join("night.csv")).unwrap(),
            b"one"
        );
    }

    #[test]
    fn only_files_of_the_folder_itself_are_inside() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("night.csv"), "x").unwrap();
        std::fs::create_dir(folder.path().join("more")).unwrap();
        std::fs::write(folder.path().join("more/other.csv"), "x").unwrap();
        assert!(inside(folder.path(), "night.csv").is_ok());
        for name in [
            "more/other.csv",
            "more",
            "../night.csv",
            "./night.csv",
            "",
            ".",
            "none.csv",
        ] {
            assert!(inside(folder.path(), name).is_err(), "{name}");
        }
        let absolute = folder.path().join("night.csv");
        assert!(inside(folder.path(), absolute.to_str().unwrap()).is_err());
        #[cfg(unix)]
        {
            std::os::unix::fs::symlink("/etc/passwd", folder.path().join("link.csv")).unwrap();
            assert!(inside(folder.path(), "link.csv").is_err());
        }
    }
}
