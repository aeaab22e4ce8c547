//! Lines of a log as text, one at a time, with checks of their encoding.

use std::io::{BufRead, Read};

use crate::problem::{Error, Problems, Wrong};
use crate::text;

/// A file with a longer line is not a log, and reading stops: a binary file must not fill the
/// memory.
const LONGEST_LINE: u64 = 1 << 20;

/// Reads and counts the lines of a file.
pub(in crate::logbook) struct Lines<R> {
    pub(in crate::logbook) file: String,
    input: R,
    /// Whether its lines end in carriage returns alone.
    returns: bool,
    bytes: Vec<u8>,
    /// Lines given back, to be read again.
    returned: String,
    /// Lines given so far.
    pub(in crate::logbook) count: usize,
    encoding_told: bool,
}

impl<R: BufRead> Lines<R> {
    pub(in crate::logbook) fn new(file: &str, input: R, returns: bool) -> Lines<R> {
        Lines {
            file: file.to_owned(),
            input,
            returns,
            bytes: Vec::new(),
            returned: String::new(),
            count: 0,
            encoding_told: false,
        }
    }

    /// Appends the next line with a trailing line feed to `text`; returns false at the end of the
    /// file. The last line may have no line end. A line that is not UTF-8 is skipped; only the
    /// first is reported, because saving the file as UTF-8 fixes all of them.
    ///
    /// # Errors
    /// If reading fails, if a line is too long, or if the beginning of the file shows that it is
    /// not text.
    pub(in crate::logbook) fn append(
        &mut self,
        text: &mut String,
        problems: &mut Problems,
    ) -> Result<bool, Error> {
        if !self.returned.is_empty() {
            let end = self
                .returned
                .find('\n')
                .map_or(self.returned.len(), |i| i + 1);
            text.extend(self.returned.drain(..end));
            self.count += 1;
            return Ok(true);
        }
        loop {
            self.bytes.clear();
            let end = if self.returns { b'\r' } else { b'\n' };
            (&mut self.input)
                .take(LONGEST_LINE)
                .read_until(end, &mut self.bytes)
                .map_err(|e| Error::io(&self.file, "read", e))?;
            if self.returns
                && let Some(last @ b'\r') = self.bytes.last_mut()
            {
                *last = b'\n';
            }
            if self.bytes.is_empty() {
                return Ok(false);
            }
            let first = self.count == 0;
            self.count += 1;
            let mut line = self.bytes.as_slice();
            if first {
                line = text::without_mark(line);
                if let Some(wrong) = text::foreign(line) {
                    return Err(wrong.of_file(&self.file).into());
                }
            }
            if line.len() as u64 >= LONGEST_LINE && !line.ends_with(b"\n") {
                let wrong = Wrong::new("this line has no end", "rows of a few hundred characters")
                    .mend("is this a log at all?");
                return Err(wrong.at(&self.file, self.count, 1).into());
            }
            match text::utf8(line) {
                Ok(line) => {
                    text.push_str(line);
                    return Ok(true);
                }
                Err((at, wrong)) => {
                    if !self.encoding_told {
                        self.encoding_told = true;
                        let (_, column) = text::line_and_column(line, at);
                        problems.push(wrong.at(&self.file, self.count, column));
                    }
                }
            }
        }
    }

    /// Passes the text from the next line on, as buffered by the reader, to `read`, which returns
    /// how many bytes it consumed: one line with its line feed, or none. Repeats until it consumes
    /// none; returns the number of lines consumed.
    ///
    /// # Errors
    /// If reading fails.
    pub(in crate::logbook) fn while_taken(
        &mut self,
        mut read: impl FnMut(&[u8]) -> Option<usize>,
    ) -> Result<usize, Error> {
        let mut taken = 0;
        if !self.returned.is_empty() || self.count == 0 || self.returns {
            return Ok(taken);
        }
        let buffer = self
            .input
            .fill_buf()
            .map_err(|e| Error::io(&self.file, "read", e))?;
        let mut used = 0;
        while let Some(length) = read(&buffer[used..]) {
            used += length;
            taken += 1;
        }
        self.input.consume(used);
        self.count += taken;
        Ok(taken)
    }

    /// Puts whole lines back, to be read again.
    pub(in crate::logbook) fn give_back(&mut self, lines: &str) {
        self.count -= lines.lines().count();
        self.returned.insert_str(0, lines);
    }
}
