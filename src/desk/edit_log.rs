//! The file of edits: one line each, append-only.
//!
//! Each line is on disk before its edit takes effect. A line torn by a power cut is the last, and
//! was never acknowledged: it is removed at the next start.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::edit::Edit;
use crate::problem::{Error, Problem, printable};
use crate::time::Utc;

/// Name of the file in the session's folder.
pub const EDIT_LOG: &str = "desk-edits.jsonl";
/// Format name in its first line.
const FORMAT: &str = "plumbeam desk edits 1";
/// Largest file accepted, bytes: about a million edits.
const LARGEST: u64 = 512 << 20;

/// Identifies a log by its size and checksum.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LogMark {
    /// Its name in the session's folder, or as the command line named it.
    pub file: String,
    /// Its length.
    pub bytes: u64,
    /// Its checksum.
    pub checksum: String,
}

/// A line of the file.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(tag = "line", rename_all = "snake_case")]
enum Line {
    /// The first line.
    Desk {
        format: String,
    },
    /// The log that the following edits apply to, as it was then.
    Log(LogMark),
    Edit(Box<Kept>),
    Undo {
        n: u64,
        at: Utc,
    },
    Redo {
        n: u64,
        at: Utc,
    },
}

/// An edit that was made.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Kept {
    /// Its number, counted from 1 over the lines for edits, undos and redos.
    pub n: u64,
    /// When it was made.
    pub at: Utc,
    /// Its description.
    pub words: String,
    /// The edit itself.
    pub edit: Edit,
}

/// Edits made and undone.
#[derive(Clone, Debug, Default)]
pub struct History {
    /// Edits made, in order; includes those before a reset, which undoing the reset brings back.
    pub done: Vec<Arc<Kept>>,
    /// Edits undone, the latest last.
    pub undone: Vec<Arc<Kept>>,
    /// Number of lines so far: edits, undos and redos.
    pub version: u64,
}

impl History {
    /// Returns the edits that make up the present state: those after the last reset.
    pub fn in_force(&self) -> &[Arc<Kept>] {
        let reset = self.done.iter().rposition(|k| k.edit == Edit::Reset);
        &self.done[reset.map_or(0, |at| at + 1)..]
    }

    /// Applies a line; returns false if it is not valid here.
    fn take(&mut self, line: Line) -> bool {
        let n = match &line {
            Line::Desk { .. } | Line::Log(_) => return true,
            Line::Edit(kept) => kept.n,
            Line::Undo { n, .. } | Line::Redo { n, .. } => *n,
        };
        if n != self.version + 1 {
            return false;
        }
        self.version = n;
        match line {
            Line::Edit(kept) => {
                self.undone.clear();
                self.done.push(Arc::new(*kept));
                true
            }
            Line::Undo { .. } => match self.done.pop() {
                Some(kept) => {
                    self.undone.push(kept);
                    true
                }
                None => false,
            },
            Line::Redo { .. } => match self.undone.pop() {
                Some(kept) => {
                    self.done.push(kept);
                    true
                }
                None => false,
            },
            Line::Desk { .. } | Line::Log(_) => true,
        }
    }
}

/// The open file of edits, locked for one desk at a time.
#[derive(Debug)]
pub struct EditLog {
    path: PathBuf,
    file: File,
    /// Length of its complete lines.
    length: u64,
    /// Its edits so far.
    pub history: History,
    /// The log that its edits apply to, as last noted.
    mark: Option<LogMark>,
}

impl EditLog {
    /// Opens or creates the file in a session's folder. Also returns warnings for the user.
    ///
    /// # Errors
    /// If another desk has it open; if it is not a file of edits, or is damaged before its
    /// last line; if it cannot be read or written.
    pub fn open(folder: &Path) -> Result<(EditLog, Vec<String>), Error> {
        let path = folder.join(EDIT_LOG);
        let name = path.display().to_string();
        let io = |doing: &'static str| move |e| Error::io(&path_name(folder), doing, e);
        if std::fs::symlink_metadata(&path).is_ok_and(|m| !m.is_file()) {
            let wrong = Problem::of_file(
                &name,
                "this is no file but a link or a folder",
                "the file of the desk's edits, in the session's folder itself",
            );
            return Err(wrong.mend("move it away").into());
        }
        let mut file = OpenOptions::new()
            .read(true)
            .append(true)
            .create(true)
            .open(&path)
            .map_err(io("open"))?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                return Err(Error::Usage(format!(
                    "another desk has this session: {} is in use\n  help: work in that one (a second \
                     window of the browser may show it too), or end it with Ctrl-C first",
                    printable(&name)
                )));
            }
            Err(TryLockError::Error(e)) => return Err(io("lock")(e)),
        }
        let length = file.metadata().map_err(io("read"))?.len();
        if length > LARGEST {
            let wrong = Problem::of_file(&name, "a very large file", "the desk's edits");
            return Err(wrong.mend("move it away: the desk begins another").into());
        }
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).map_err(io("read"))?;
        let replayed = replay(&name, &bytes)?;
        let said = replayed.said;
        let mut log = EditLog {
            path,
            file,
            length: replayed.length as u64,
            history: replayed.history,
            mark: replayed.mark,
        };
        if bytes.len() as u64 > log.length {
            log.file.set_len(log.length).map_err(io("write"))?;
            log.file.sync_all().map_err(io("write"))?;
        }
        if log.length == 0 {
            let format = FORMAT.to_owned();
            log.append(&Line::Desk { format })?;
            // Sync the folder entry too: otherwise a power cut could lose the whole file.
            if let Ok(folder) = File::open(folder) {
                let _ = folder.sync_all();
            }
        }
        Ok((log, said))
    }

    /// Records which log the edits are about. Returns a warning if it has changed since.
    ///
    /// # Errors
    /// If it cannot be written.
    pub fn note_log(&mut self, file: &str, bytes: &[u8]) -> Result<Option<String>, Error> {
        let mark = LogMark {
            file: file.to_owned(),
            bytes: bytes.len() as u64,
            checksum: crate::logbook::checksum(bytes),
        };
        if self.mark.as_ref() == Some(&mark) {
            return Ok(None);
        }
        let said = self.mark.as_ref().and_then(|old| {
            let file = printable(file);
            if self.history.version == 0 {
                return None;
            }
            if old.file != mark.file {
                return Some(format!(
                    "the edits in {EDIT_LOG} were made on {}, and this is {file}: what does not \
                     belong to a peak of it is left out",
                    printable(&old.file)
                ));
            }
            let same = usize::try_from(old.bytes)
                .ok()
                .and_then(|n| bytes.get(..n))
                .is_some_and(|start| crate::logbook::checksum(start) == old.checksum);
            Some(match same {
                true => format!("{file} has grown at its end since the last edit"),
                false => format!(
                    "{file} was changed since the last edit, not only at its end: edits are carried \
                     over to the peaks of the same time and emitter"
                ),
            })
        });
        self.append(&Line::Log(mark.clone()))?;
        self.mark = Some(mark);
        Ok(said)
    }

    /// Makes an edit.
    ///
    /// # Errors
    /// If it cannot be written; the edit then has no effect.
    pub fn edit(&mut self, edit: Edit, words: String, at: Utc) -> Result<(), Error> {
        self.step(Line::Edit(Box::new(Kept {
            n: self.history.version + 1,
            at,
            words,
            edit,
        })))
    }

    /// Undoes the last edit; there must be one.
    ///
    /// # Errors
    /// As [`EditLog::edit`].
    pub fn undo(&mut self, at: Utc) -> Result<(), Error> {
        let n = self.history.version + 1;
        self.step(Line::Undo { n, at })
    }

    /// Redoes the edit undone last; there must be one.
    ///
    /// # Errors
    /// As [`EditLog::edit`].
    pub fn redo(&mut self, at: Utc) -> Result<(), Error> {
        let n = self.history.version + 1;
        self.step(Line::Redo { n, at })
    }

    fn step(&mut self, line: Line) -> Result<(), Error> {
        self.append(&line)?;
        self.history.take(line);
        Ok(())
    }

    /// Writes a line and syncs it to disk. A line that could not be written completely is removed
    /// again.
    fn append(&mut self, line: &Line) -> Result<(), Error> {
        let mut text = serde_json::to_vec(line).expect("plain values are written as JSON");
        text.push(b'\n');
        // First remove whatever an earlier failure left behind.
        let written = (self.file.set_len(self.length))
            .and_then(|()| self.file.write_all(&text))
            .and_then(|()| self.file.sync_data());
        match written {
            Ok(()) => {
                self.length += text.len() as u64;
                Ok(())
            }
            Err(e) => {
                let _ = self.file.set_len(self.length);
                Err(Error::io(&self.path.display().to_string(), "write", e))
            }
        }
    }
}

/// Contents of a file of edits.
#[derive(Clone, Debug, Default)]
pub struct Replayed {
    /// Its edits.
    pub history: History,
    /// The log they apply to.
    pub mark: Option<LogMark>,
    /// Length of its complete lines, bytes.
    pub length: usize,
    /// Warnings for the user.
    pub said: Vec<String>,
}

/// Parses a file of edits from its bytes; messages call it `name`.
///
/// # Errors
/// If it is not a file of edits, or is damaged before its last line.
pub fn replay(name: &str, bytes: &[u8]) -> Result<Replayed, Error> {
    let mut replayed = Replayed::default();
    let mut number = 0;
    let mut rest = bytes;
    while let Some(end) = rest.iter().position(|b| *b == b'\n') {
        number += 1;
        let line = serde_json::from_slice::<Line>(&rest[..end]);
        let sound = match (number, line) {
            (1, Ok(Line::Desk { format })) => format == FORMAT,
            (1, _) | (_, Err(_)) => false,
            (_, Ok(Line::Log(mark))) => {
                replayed.mark = Some(mark);
                true
            }
            (_, Ok(line)) => replayed.history.take(line),
        };
        if !sound {
            let (found, expected) = match number {
                1 => ("this is no file of the desk's edits", "that, or no file"),
                _ => ("a damaged line", "an edit, whole and in its place"),
            };
            let wrong = Problem::of_file(name, found, expected).at(number, 1);
            let help = "move the file away: the desk begins another, and the log of peaks is as \
                            it was";
            return Err(wrong.mend(help).into());
        }
        replayed.length += end + 1;
        rest = &rest[end + 1..];
    }
    if !rest.is_empty() {
        if number == 0 && !torn_first(rest) {
            let wrong = Problem::of_file(
                name,
                "this is no file of the desk's edits",
                "that, or no file",
            );
            return Err(wrong.at(1, 1).mend("move the file away").into());
        }
        replayed.said.push(format!(
            "{}: the last line was torn off in the middle, as by a power cut, and never counted: \
                 it is cut off",
            printable(name)
        ));
    }
    Ok(replayed)
}

fn path_name(folder: &Path) -> String {
    folder.join(EDIT_LOG).display().to_string()
}

/// Whether these bytes are the beginning of a first line cut short.
fn torn_first(bytes: &[u8]) -> bool {
    let first = Line::Desk {
        format: FORMAT.to_owned(),
    };
    serde_json::to_vec(&first)
        .is_ok_and(|whole| whole.starts_with(bytes) || bytes.iter().all(|b| *b == 0))
}
