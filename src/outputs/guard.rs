//! Checks every output before it is written.

use std::io::{Read, Write};
use std::path::{Path, PathBuf};

use same_file::Handle;

use super::kind::{FileContents, Old, OutputKind};
use super::mark;
use super::older_results;
use crate::files::{WholeFile, link_end, write_whole};
use crate::problem::{Error, printable};
use crate::station::{EmitterKind, Station};

/// Keeps track of what a verb reads, so that its output does not destroy any of it.
#[derive(Debug)]
pub struct Guard {
    verb: &'static str,
    inputs: Vec<NamedPath>,
    /// Outputs so far: no two of them may go to the same place.
    outputs: Vec<NamedPath>,
    /// Those outputs that are folders.
    folders: Vec<NamedPath>,
}

/// A file or folder that is read or written.
#[derive(Clone, Debug)]
struct NamedPath {
    /// Description for the user: `the station file`, `--sheet`.
    what: String,
    /// Path as given by the user.
    path: PathBuf,
    /// The path with all links followed.
    end: PathBuf,
}

impl NamedPath {
    fn new(what: &str, path: &Path) -> NamedPath {
        NamedPath {
            what: what.to_owned(),
            path: path.to_owned(),
            end: absolute(&link_end(path)),
        }
    }
    /// Whether two paths are the same: by name, or because the system reports the same file, as for
    /// hard links and for names that differ only in case on a case-insensitive file system.
    fn is(&self, other: &NamedPath) -> bool {
        let named = !self.is_standard_input() && !other.is_standard_input();
        (named && self.end == other.end)
            || matches!((self.handle(), other.handle()), (Some(a), Some(b)) if a == b)
    }
    fn is_standard_input(&self) -> bool {
        self.path.as_os_str() == "-"
    }
    /// The system's identity of the file or folder. Nothing else is opened for this: opening a pipe
    /// would wait for its other end.
    fn handle(&self) -> Option<Handle> {
        if self.is_standard_input() {
            let stdin = Handle::stdin().ok()?;
            let is_file = stdin.as_file().metadata().is_ok_and(|m| m.is_file());
            return is_file.then_some(stdin);
        }
        let there = std::fs::metadata(&self.end).ok()?;
        (there.is_file() || there.is_dir()).then(|| Handle::from_path(&self.end).ok())?
    }
    /// Text for a message.
    fn shown(&self) -> String {
        match self.is_standard_input() {
            true => "standard input".to_owned(),
            false => shown(&self.path),
        }
    }
}

/// The path with the links of its folder followed, even if nothing exists there yet.
fn absolute(path: &Path) -> PathBuf {
    match (std::fs::canonicalize(folder_of(path)), path.file_name()) {
        (Ok(folder), Some(name)) => folder.join(name),
        _ => path.to_owned(),
    }
}

/// The folder that contains a file.
pub(super) fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// Text of a path for a message.
pub(super) fn shown(path: &Path) -> String {
    printable(&path.display().to_string())
}

impl Guard {
    /// Guard of a verb that reads nothing yet.
    pub fn new(verb: &'static str) -> Guard {
        Guard {
            verb,
            inputs: Vec::new(),
            outputs: Vec::new(),
            folders: Vec::new(),
        }
    }

    /// The verb that writes.
    pub fn verb(&self) -> &'static str {
        self.verb
    }

    /// Registers a file or folder as read; `what` describes it to the user. `-` is standard input,
    /// which may also be a file.
    #[must_use]
    pub fn reads(mut self, what: &str, path: &Path) -> Guard {
        self.inputs.push(NamedPath::new(what, path));
        self
    }

    /// Registers several files as read.
    #[must_use]
    pub fn reads_all(self, what: &str, paths: &[PathBuf]) -> Guard {
        (paths.iter()).fold(self, |guard, path| guard.reads(what, path))
    }

    /// Registers a station file and the orbit element files named in it as read.
    #[must_use]
    pub fn reads_station(mut self, path: &Path, station: &Station) -> Guard {
        self = self.reads("the station file", path);
        for emitter in &station.emitters {
            if let EmitterKind::Satellite { elements, .. } = &emitter.kind {
                self = self.reads("a file of orbit elements", elements);
            }
        }
        self
    }

    /// Requests the path named by `option` for an output file. Call it before the work is done.
    ///
    /// # Errors
    /// [`Error::Usage`] if writing there would destroy something, or if it cannot be a file.
    pub fn file(&mut self, option: &str, path: &Path, kind: OutputKind) -> Result<Output, Error> {
        let output = Output {
            verb: self.verb,
            option: option.to_owned(),
            path: path.to_owned(),
            kind,
        };
        if path.as_os_str() == "-" || path.as_os_str().is_empty() {
            return Err(Error::Usage(format!(
                "{option} takes the name of a file; leave it out to print on standard output"
            )));
        }
        let place = NamedPath::new(option, path);
        self.refuse_inputs(&place)?;
        if let Some(folder) = self.folders.iter().find(|f| place.end.starts_with(&f.end)) {
            return Err(inside_of(&place, folder));
        }
        output.judge()?;
        self.outputs.push(place);
        Ok(output)
    }

    /// Requests a file if the option was given.
    ///
    /// # Errors
    /// As [`Guard::file`].
    pub fn optional_file(
        &mut self,
        option: &str,
        path: Option<&PathBuf>,
        kind: OutputKind,
    ) -> Result<Option<Output>, Error> {
        path.map(|path| self.file(option, path, kind)).transpose()
    }

    /// Requests the path named by `option` for a log that is appended to. An existing file must
    /// begin with `own` or be empty.
    ///
    /// # Errors
    /// [`Error::Usage`] if it is something else, is also read, or cannot be a file.
    pub fn growing(&mut self, option: &str, path: &Path, own: &str) -> Result<Growing, Error> {
        let place = NamedPath::new(option, path);
        self.refuse_inputs(&place)?;
        let output = Output {
            verb: self.verb,
            option: option.to_owned(),
            path: path.to_owned(),
            kind: OutputKind::Text,
        };
        let start = std::fs::File::open(link_end(path)).map(|file| {
            let mut start = Vec::new();
            file.take(own.len() as u64)
                .read_to_end(&mut start)
                .map(|_| start)
        });
        match start {
            Ok(Ok(start)) if start.is_empty() || start == own.as_bytes() => {}
            Ok(Ok(_)) => {
                return Err(Error::Usage(format!(
                    "{option} {} is not a log of {}, so nothing is appended to it\n  help: name \
                     another file with {option}",
                    shown(path),
                    self.verb
                )));
            }
            // Faults of the path are reported as for any other output.
            _ => drop(output.judge()?),
        }
        self.outputs.push(place);
        Ok(Growing(path.to_owned()))
    }

    /// Refuses standard output if it is redirected to a file that is read.
    ///
    /// # Errors
    /// [`Error::Usage`].
    pub fn standard_output(&self) -> Result<(), Error> {
        let Ok(out) = Handle::stdout() else {
            return Ok(());
        };
        if !out.as_file().metadata().is_ok_and(|m| m.is_file()) {
            return Ok(());
        }
        let is_out = |input: &&NamedPath| input.handle().is_some_and(|handle| handle == out);
        match self.inputs.iter().find(is_out) {
            None => Ok(()),
            Some(input) => Err(Error::Usage(format!(
                "standard output is redirected to {}, {}, which {} reads\n  help: redirect it to another \
                 file",
                input.shown(),
                input.what,
                self.verb
            ))),
        }
    }

    /// Registers an output folder, and refuses it if it is, or contains, something that is read or
    /// another output.
    pub(super) fn folder_place(&mut self, option: &str, path: &Path) -> Result<(), Error> {
        let place = NamedPath::new(option, path);
        self.refuse_inputs(&place)?;
        let inside =
            |other: &&NamedPath| !other.is_standard_input() && other.end.starts_with(&place.end);
        if let Some(input) = self.inputs.iter().find(inside) {
            return Err(Error::Usage(format!(
                "{option} {} would be replaced as a whole, and it holds {}, {}\n  help: name a \
                 separate folder",
                shown(path),
                input.shown(),
                input.what
            )));
        }
        if let Some(other) = self.outputs.iter().find(inside) {
            return Err(inside_of(other, &place));
        }
        self.folders.push(place.clone());
        self.outputs.push(place);
        Ok(())
    }

    fn refuse_inputs(&self, place: &NamedPath) -> Result<(), Error> {
        let option = &place.what;
        if let Some(input) = self.inputs.iter().find(|input| place.is(input)) {
            let by = match input.path == place.path {
                true => String::new(),
                false => format!(" is the same as {}, and that", input.shown()),
            };
            return Err(Error::Usage(format!(
                "{option} {}{by} is {}: {} reads it and will not overwrite it\n  help: name another \
                 place with {option}",
                shown(&place.path),
                input.what,
                self.verb
            )));
        }
        if let Some(other) = self.outputs.iter().find(|other| place.is(other)) {
            return Err(Error::Usage(format!(
                "{} and {option} both name {}\n  help: name two places",
                other.what,
                shown(&place.path)
            )));
        }
        Ok(())
    }
}

/// Error for an output that would be lost when the folder of another is replaced.
fn inside_of(output: &NamedPath, folder: &NamedPath) -> Error {
    Error::Usage(format!(
        "{} {} lies in the folder of {}, which is replaced as a whole\n  help: name a place outside \
         of it",
        output.what,
        shown(&output.path),
        folder.what
    ))
}

/// A path approved for an output file.
#[derive(Clone, Debug)]
pub struct Output {
    verb: &'static str,
    option: String,
    path: PathBuf,
    kind: OutputKind,
}

impl Output {
    /// Path as given by the user.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Examines the existing file and decides what to do with it.
    fn judge(&self) -> Result<(FileContents, Old), Error> {
        let failed = |e| Error::io(&self.path.display().to_string(), "look at", e);
        let end = link_end(&self.path);
        let option = &self.option;
        let Ok(there) = std::fs::metadata(&end) else {
            let parent = folder_of(&end);
            if !parent.is_dir() {
                return Err(Error::Usage(format!(
                    "{option} {}: there is no folder {}\n  help: make it, or name another place",
                    shown(&self.path),
                    shown(parent)
                )));
            }
            return Ok((FileContents::Nothing, Old::Goes));
        };
        if there.is_dir() {
            return Err(Error::Usage(format!(
                "{option} {} is a folder\n  help: name a file, for example one inside it",
                shown(&self.path)
            )));
        }
        if !there.is_file() {
            // A device or a pipe has no contents that could be lost.
            return Ok((FileContents::Nothing, Old::Goes));
        }
        let mut start = Vec::new();
        std::fs::File::open(&end)
            .and_then(|file| file.take(MOST_LOOKED_AT).read_to_end(&mut start))
            .map_err(failed)?;
        let found = FileContents::of(&start);
        let old = found.replaced_by(self.kind, self.verb).map_err(|what| {
            Error::Usage(format!(
                "{option} {} is {what}, and {} will not overwrite it\n  help: name another file \
                 with {option}, or move this one away",
                shown(&self.path),
                self.verb
            ))
        })?;
        Ok((found, old))
    }

    /// Starts writing the file piece by piece.
    ///
    /// # Errors
    /// As [`Guard::file`], because it checks again; or if the folder cannot be written to.
    pub fn begin(&self) -> Result<Pending<'_>, Error> {
        self.judge()?;
        Ok(Pending {
            output: self,
            whole: WholeFile::create(&self.path)?,
        })
    }

    /// Writes the file atomically. Returns where the older file is kept, if it is.
    ///
    /// # Errors
    /// As [`Output::begin`], or if the disk is full or fails.
    pub fn write(&self, contents: &[u8]) -> Result<Option<PathBuf>, Error> {
        let text = std::str::from_utf8(contents);
        let marked = match (self.kind, text) {
            (OutputKind::Log | OutputKind::Sheet, Ok(text)) => {
                mark::marked(self.verb, text).into_bytes()
            }
            _ => contents.to_vec(),
        };
        let there = (self.path.is_file()).then(|| std::fs::read(&self.path).ok());
        if there.flatten().is_some_and(|there| there == marked) {
            // Identical contents: there is nothing to keep, and a program that watches the file
            // still sees it change.
            self.judge()?;
            let mut whole = WholeFile::create(&self.path)?;
            self.put(&mut whole, &marked)?;
            return whole.finish().map(|()| None);
        }
        let mut pending = self.begin()?;
        self.put(&mut pending, &marked)?;
        pending.finish()
    }

    /// Rewrites a log that this run wrote earlier, without keeping the old one.
    ///
    /// # Errors
    /// As [`Output::write`].
    pub fn rewrite(&self, log: &str) -> Result<(), Error> {
        self.judge()?;
        let mut whole = WholeFile::create(&self.path)?;
        self.put(&mut whole, mark::marked(self.verb, log).as_bytes())?;
        whole.finish()
    }

    fn put(&self, into: &mut impl Write, contents: &[u8]) -> Result<(), Error> {
        into.write_all(contents)
            .map_err(|e| Error::io(&self.path.display().to_string(), "write", e))
    }
}

/// A log that is appended to.
#[derive(Clone, Debug)]
pub struct Growing(PathBuf);

impl Growing {
    /// Opens it for appending.
    ///
    /// # Errors
    /// If it cannot be opened.
    pub fn open(&self) -> Result<std::fs::File, Error> {
        std::fs::OpenOptions::new()
            .append(true)
            .create(true)
            .open(&self.0)
            .map_err(|e| Error::io(&self.0.display().to_string(), "write", e))
    }

    /// Rewrites it atomically; handles opened earlier still refer to the old file.
    ///
    /// # Errors
    /// If it cannot be written.
    pub fn rewrite(&self, contents: &str) -> Result<(), Error> {
        write_whole(&link_end(&self.0), contents.as_bytes())
    }

    /// Terminates an incomplete last line, so that the next row starts on a new line.
    ///
    /// # Errors
    /// If it cannot be read or written.
    pub fn end_last_line(&self) -> Result<(), Error> {
        let failed = |e| Error::io(&self.0.display().to_string(), "write", e);
        let text = std::fs::read(link_end(&self.0)).map_err(failed)?;
        match text.last() {
            None | Some(b'\n') => Ok(()),
            Some(_) => self.open()?.write_all(b"\n").map_err(failed),
        }
    }

    /// Path as given by the user.
    pub fn path(&self) -> &Path {
        &self.0
    }
}

/// Maximum number of bytes of an older file that are examined: more than any log of one session.
const MOST_LOOKED_AT: u64 = 256 << 20;

/// A file that is being written.
#[derive(Debug)]
pub struct Pending<'a> {
    output: &'a Output,
    whole: WholeFile,
}

impl Pending<'_> {
    /// Moves the file to its final path, after keeping the older file if necessary. Returns where
    /// that is kept.
    ///
    /// # Errors
    /// If the disk is full or fails, or the existing file has changed in the meantime; the old file
    /// is then untouched.
    pub fn finish(self) -> Result<Option<PathBuf>, Error> {
        let mut kept = None;
        let output = self.output;
        self.whole.finish_after(|old| {
            // It may have changed since the work began.
            if let (found, Old::IsKept) = output.judge()? {
                kept = Some(older_results::keep_file(old, &found)?);
            }
            Ok(())
        })?;
        Ok(kept)
    }
}

impl Write for Pending<'_> {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.whole.write(bytes)
    }
    fn flush(&mut self) -> std::io::Result<()> {
        self.whole.flush()
    }
}
