//! What goes to which stream.

#![allow(clippy::print_stderr)] // this file is the one place that prints

use std::io::{IsTerminal, Write};
use std::path::Path;

use indicatif::{ProgressBar, ProgressStyle};
use serde::Serialize;

use super::excerpt::excerpt;
use crate::files;
use crate::number::counted;
use crate::outputs::{Output, OutputFolder};
use crate::problem::{Error, is_obeyed, printable, printable_lines};
use crate::report::{Colour, ESCAPE_CODES};

/// Standard output for results, standard error for everything else.
#[derive(Debug)]
pub struct Console {
    quiet: bool,
}

impl Console {
    /// With `quiet`, [`Console::note`] says nothing.
    pub fn new(quiet: bool) -> Console {
        Console { quiet }
    }

    /// Whether results may be coloured: only on a terminal that wants it (no `NO_COLOR`, no
    /// `TERM=dumb`).
    pub fn colour(&self) -> Colour {
        let unwanted = std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty())
            || std::env::var_os("TERM").is_some_and(|v| v == "dumb");
        if unwanted || !std::io::stdout().is_terminal() {
            Colour::Never
        } else {
            Colour::Always
        }
    }

    /// A result for reading, to standard output: what a terminal would obey is shown, but for the
    /// colours.
    ///
    /// # Errors
    /// When standard output cannot be written to; a closed pipe ends the command quietly.
    pub fn result(&mut self, text: &str) -> Result<(), Error> {
        write_out(&printable_lines(text, &self.own_codes()))
    }

    /// A result for programs, to standard output: as it is, because it must be read back, but on a
    /// terminal what that would obey is shown.
    ///
    /// # Errors
    /// As [`Console::result`].
    pub fn data(&mut self, text: &str) -> Result<(), Error> {
        match std::io::stdout().is_terminal() {
            _ if text.starts_with('{') => write_out(&harmless_json(text)),
            true => self.result(text),
            false => write_out(text),
        }
    }

    /// What sets headings off, when anything does.
    fn own_codes(&self) -> Vec<&'static str> {
        match self.colour() {
            Colour::Always => ESCAPE_CODES.to_vec(),
            Colour::Never => Vec::new(),
        }
    }

    /// A result as one JSON document on standard output.
    ///
    /// # Errors
    /// As [`Console::result`].
    pub fn json(&mut self, document: &impl Serialize) -> Result<(), Error> {
        let text = serde_json::to_string_pretty(document)
            .map_err(|e| Error::io("standard output", "write", e.into()))?;
        write_out(&(harmless_json(&text) + "\n"))
    }

    /// A result where it was requested: in a file, or else on standard output. It is printed too
    /// when the file cannot be written.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn deliver(&mut self, text: &str, out: Option<&Output>) -> Result<(), Error> {
        let Some(out) = out else {
            return self.data(text);
        };
        match out.write(text.as_bytes()) {
            Ok(kept) => {
                self.note(&format!("written to {}", out.path().display()));
                self.kept(out.path(), kept.as_deref());
                Ok(())
            }
            Err(error) => {
                self.data(text)?;
                self.note("what could not be written was printed");
                Err(error)
            }
        }
    }

    /// Something beside the result goes into a file, and is called `what` when that is said.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn save(&mut self, what: &str, contents: &str, out: &Output) -> Result<(), Error> {
        let kept = out.write(contents.as_bytes())?;
        self.note(&format!("{what} written to {}", out.path().display()));
        self.kept(out.path(), kept.as_deref());
        Ok(())
    }

    /// A report goes into its folder; `page` is the file in it to open first, if it has one.
    ///
    /// # Errors
    /// Those of `write`; when the folder cannot be written.
    pub fn fill(
        &mut self,
        folder: &OutputFolder,
        page: Option<&str>,
        write: impl FnOnce(&Path) -> Result<(), Error>,
    ) -> Result<(), Error> {
        let done = folder.write(write)?;
        let path = folder.path();
        let open = page.map(|page| format!("; open {} in a browser", path.join(page).display()));
        self.note(&format!(
            "{} written to {}{}",
            counted(done.files, "file"),
            path.display(),
            open.unwrap_or_default()
        ));
        self.kept(path, done.kept.as_deref());
        Ok(())
    }

    /// Says where an older result went.
    pub fn kept(&mut self, path: &Path, kept: Option<&Path>) {
        if let Some(kept) = kept {
            self.note(&format!(
                "the earlier {} is kept as {}",
                path.display(),
                kept.display()
            ));
        }
    }

    /// A progress bar of `length` steps on standard error: only on a terminal, and not when
    /// quiet.
    pub fn progress(&self, length: u64, doing: &'static str) -> ProgressBar {
        if self.quiet || !std::io::stderr().is_terminal() {
            return ProgressBar::hidden();
        }
        let bar = ProgressBar::new(length).with_message(doing);
        // The template is a constant; should it not parse, the plain bar serves.
        if let Ok(style) = ProgressStyle::with_template("{msg} {bar:40} {pos}/{len}, {eta} left") {
            bar.set_style(style);
        }
        bar
    }

    /// Something worth knowing, in one line: an assumption, where a file went. Quiet leaves it out.
    pub fn note(&mut self, text: &str) {
        if !self.quiet {
            eprintln!("plumbeam: {}", printable(text));
        }
    }

    /// Something the user must know even with `--quiet`, in one line.
    pub fn warning(&mut self, text: &str) {
        eprintln!("plumbeam: warning: {}", printable(text));
    }

    /// Something the user must act on at once, in one line; a terminal rings.
    pub fn alarm(&mut self, text: &str) {
        let bell = match std::io::stderr().is_terminal() {
            true => "\u{7}",
            false => "",
        };
        eprintln!("plumbeam: ALARM: {}{bell}", printable(text));
    }

    /// What a log says: how it was read, and what the user must know of it.
    pub fn log(&mut self, taken: &[String], warnings: &[String]) {
        for line in taken {
            self.note(&format!("read {line}"));
        }
        for warning in warnings {
            self.warning(warning);
        }
    }

    /// Why the command failed.
    pub fn error(&mut self, error: &Error) {
        let said = match error {
            Error::Input(problems) => problems.said_with(excerpt),
            other => other.to_string(),
        };
        eprintln!("plumbeam: {}", printable_lines(&said, &[]));
        if let Some(help) = help_of(error) {
            eprintln!("  help: {}", printable(&help));
        }
    }

    /// What the reader of the command line has to say, all on standard error.
    pub fn refusal(&mut self, refusal: &clap::Error) {
        eprint!("{}", printable_lines(&refusal.render().to_string(), &[]));
    }
}

/// What there is instead of a file that could not be read because it is not there.
fn help_of(error: &Error) -> Option<String> {
    match error {
        Error::Io {
            file,
            doing: "read",
            source,
        } if source.kind() == std::io::ErrorKind::NotFound => files::instead_of(Path::new(file)),
        _ => None,
    }
}

fn write_out(text: &str) -> Result<(), Error> {
    let mut out = std::io::stdout().lock();
    out.write_all(text.as_bytes())
        .and_then(|()| out.flush())
        .map_err(|e| Error::io("standard output", "write", e))
}

/// A JSON document in which what a terminal would obey stands as its own escape: another way to
/// write the same text. Between texts JSON has line ends only, and those stay.
pub fn harmless_json(json: &str) -> String {
    let mut safe = String::with_capacity(json.len());
    for c in json.chars() {
        if c == '\n' || !is_obeyed(c) {
            safe.push(c);
            continue;
        }
        for unit in c.encode_utf16(&mut [0; 2]) {
            safe.push_str(&format!("\\u{unit:04x}"));
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn json_says_the_same_without_what_a_terminal_would_obey() {
        let text = "a\u{202e}b\u{9b}c\u{e0041}d\n\u{1b}e";
        let document = serde_json::json!({ "name": text });
        let json = harmless_json(&serde_json::to_string_pretty(&document).unwrap());
        assert!(json.chars().all(|c| c == '\n' || !is_obeyed(c)), "{json}");
        let back: serde_json::Value = serde_json::from_str(&json).unwrap();
        assert_eq!(back["name"], text);
    }
}
