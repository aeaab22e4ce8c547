//! Rows of a CSV log, one at a time in constant memory, each field with its line and column.
//!
//! The format is that of RFC 4180 with comment lines (`#` first), empty lines skipped and line
//! ends of either kind. Fields are cut here and not by a general reader, because a message
//! needs the column at which a field starts, and a quote left open must not swallow the rest of
//! a night's log.

use std::io::BufRead;

use super::lines::Lines;
use crate::problem::{Error, Problem, Problems, Wrong};
use crate::text;

/// A quoted note may run over so many lines; a quote open for longer was forgotten.
const MOST_LINES_IN_QUOTES: usize = 30;

/// Reads rows from bytes.
pub struct RowReader<R> {
    lines: Lines<R>,
    /// Line on which the present row starts.
    line: usize,
    /// Its number; the header is row 0.
    number: usize,
    /// Its text, without its line end.
    raw: String,
    /// Unquoted copies of its quoted fields, one behind the other.
    unquoted: String,
    fields: Vec<Field>,
    /// How many fields each row must have; none before the header is read.
    expected: Option<usize>,
    /// Whether the present row ends in a line feed.
    has_line_end: bool,
}

/// Where a field's text stands: in the row's text, or in the unquoted copies.
#[derive(Clone, Copy, Debug)]
struct Field {
    /// Byte of the row's text at which the field starts.
    at: usize,
    start: usize,
    end: usize,
    quoted: bool,
}

/// One row.
#[derive(Clone, Copy)]
pub struct Row<'a> {
    /// The file as the user named it.
    pub file: &'a str,
    /// Line on which the row starts, counted from 1.
    pub line: usize,
    /// Data row, counted from 1; the header is row 0.
    pub number: usize,
    raw: &'a str,
    unquoted: &'a str,
    fields: &'a [Field],
    has_line_end: bool,
}

impl<'a> Row<'a> {
    /// How many fields it has; at least one.
    pub fn count(&self) -> usize {
        self.fields.len()
    }
    /// A field's text: as it stands between quotes, else without the blanks around it.
    pub fn text(&self, index: usize) -> &'a str {
        let field = self.fields[index];
        let source = if field.quoted {
            self.unquoted
        } else {
            self.raw
        };
        &source[field.start..field.end]
    }
    /// A problem at a field.
    pub fn problem(&self, index: usize, wrong: Wrong) -> Problem {
        self.problem_at(self.fields[index].at, wrong)
    }
    /// A problem at a byte of the row.
    fn problem_at(&self, byte: usize, wrong: Wrong) -> Problem {
        let (line, column) = text::place(self.raw.as_bytes(), byte);
        wrong.at(self.file, self.line + line - 1, column)
    }
    /// Whether it ends in a line feed. The last row of a file that was cut off does not, and then
    /// its last field may be cut short too.
    pub fn has_line_end(&self) -> bool {
        self.has_line_end
    }
    fn is_blank(&self) -> bool {
        (0..self.count()).all(|i| self.text(i).is_empty())
    }
    /// What is wrong if the row was cut into another number of fields than the header.
    fn miscounted(&self, expected: usize) -> Problem {
        let found = self.count();
        let plural = |n: usize| if n == 1 { "field" } else { "fields" };
        let wrong = Wrong::new(
            format!("this row has {found} {}", plural(found)),
            format!("{expected} {} as in the header", plural(expected)),
        );
        if found < expected {
            return self.problem_at(
                self.raw.len(),
                wrong.mend("a comma is missing, or the row was cut short"),
            );
        }
        let all_digits = |i: usize| {
            let text = self.text(i);
            !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit())
        };
        let whole = |i: usize| self.text(i).parse::<i64>().is_ok();
        let split = (1..found).any(|i| whole(i - 1) && all_digits(i));
        let remedy = if split {
            "a decimal comma cuts a number in two: write 123.45, not 123,45"
        } else if self.text(found - 1).is_empty() {
            "delete the comma at the end of the row"
        } else {
            "put a text that holds a comma in double quotes"
        };
        self.problem(expected, wrong.mend(remedy))
    }
}

impl<R: BufRead> RowReader<R> {
    /// Reads from `input`, which messages call `file`.
    pub fn new(file: &str, input: R) -> RowReader<R> {
        RowReader {
            lines: Lines::new(file, input),
            line: 0,
            number: 0,
            raw: String::new(),
            unquoted: String::new(),
            fields: Vec::new(),
            expected: None,
            has_line_end: true,
        }
    }

    /// The file as the user named it.
    pub fn file(&self) -> &str {
        &self.lines.file
    }

    /// How many lines have been read so far.
    pub fn lines_read(&self) -> usize {
        self.lines.count
    }

    /// The header. Every later row must have as many fields.
    ///
    /// # Errors
    /// A file that is empty, in another encoding, no text, or not separated by commas: nothing
    /// after it would make sense.
    pub fn header(&mut self) -> Result<Row<'_>, Error> {
        let mut problems = Problems::new();
        let found = self.advance(&mut problems)?;
        problems.or_value(())?;
        if !found {
            let what = if self.lines.count == 0 {
                "the file is empty"
            } else {
                "the file has no header line, only comments or empty lines"
            };
            let wrong = Wrong::new(what, "a first line that names the columns");
            return Err(wrong.of_file(self.file()).into());
        }
        let row = self.row();
        if let Some(wrong) = foreign_separator(&row) {
            return Err(row.problem_at(0, wrong).into());
        }
        self.expected = Some(self.fields.len());
        Ok(self.row())
    }

    /// Hands the text from the next line on to `read`, which says how many bytes it took: one
    /// line with its line feed, or none, and then the line is the next row. The text may end
    /// within a line. Gives how many lines were taken.
    ///
    /// # Errors
    /// When reading fails.
    pub fn while_taken(
        &mut self,
        read: impl FnMut(&[u8]) -> Option<usize>,
    ) -> Result<usize, Error> {
        let taken = self.lines.while_taken(read)?;
        self.number += taken;
        Ok(taken)
    }

    /// The next row, or none at the end. Rows that cannot be cut into the header's fields are
    /// told in `problems` and left out.
    ///
    /// # Errors
    /// When reading fails.
    pub fn next(&mut self, problems: &mut Problems) -> Result<Option<Row<'_>>, Error> {
        loop {
            if !self.advance(problems)? {
                return Ok(None);
            }
            self.number += 1;
            match self.expected {
                Some(expected) if expected != self.fields.len() => {
                    problems.push(self.row().miscounted(expected));
                }
                _ if self.row().is_blank() => {
                    let wrong = Wrong::new("every field of this row is empty", "a measurement")
                        .mend("delete the row");
                    problems.push(self.row().problem_at(0, wrong));
                }
                _ => return Ok(Some(self.row())),
            }
        }
    }

    fn row(&self) -> Row<'_> {
        Row {
            file: &self.lines.file,
            line: self.line,
            number: self.number,
            raw: &self.raw,
            unquoted: &self.unquoted,
            fields: &self.fields,
            has_line_end: self.has_line_end,
        }
    }

    /// Reads the next row whose quotes are in order and cuts it into fields; false at the end.
    fn advance(&mut self, problems: &mut Problems) -> Result<bool, Error> {
        loop {
            self.raw.clear();
            if !self.lines.append(&mut self.raw, problems)? {
                return Ok(false);
            }
            self.line = self.lines.count;
            if self.raw.starts_with('#') || self.raw.trim().is_empty() {
                continue;
            }
            let first_line = self.raw.len();
            let mut quotes = self.cut();
            for _ in 1..MOST_LINES_IN_QUOTES {
                let open = matches!(quotes, Err(QuoteFault::Open(_)));
                if !open || !self.lines.append(&mut self.raw, problems)? {
                    break;
                }
                quotes = self.cut();
            }
            let miscounted = self.expected.is_some_and(|n| n != self.fields.len());
            if self.raw.len() > first_line && (quotes.is_err() || miscounted) {
                // A quote was left open on the first line; the others are rows of their own.
                self.lines.give_back(&self.raw[first_line..]);
                self.raw.truncate(first_line);
                quotes = self.cut();
            }
            self.has_line_end = self.raw.ends_with('\n');
            self.raw.truncate(without_line_end(&self.raw).len());
            match quotes {
                Ok(()) => return Ok(true),
                Err(fault) => problems.push(self.row().problem_at(fault.byte(), fault.wrong())),
            }
        }
    }

    /// Cuts the row's text into fields.
    fn cut(&mut self) -> Result<(), QuoteFault> {
        self.fields.clear();
        self.unquoted.clear();
        let line = without_line_end(&self.raw);
        let mut at = 0;
        loop {
            let rest = &line[at..];
            let blanks = rest.len() - rest.trim_start().len();
            let after = if rest[blanks..].starts_with('"') {
                let open = at + blanks;
                let start = self.unquoted.len();
                let close = unquote(line, open, &mut self.unquoted)?;
                self.fields.push(Field {
                    at: open,
                    start,
                    end: self.unquoted.len(),
                    quoted: true,
                });
                let behind = &line[close..];
                let next = close + behind.len() - behind.trim_start().len();
                if next < line.len() && !line[next..].starts_with(',') {
                    return Err(QuoteFault::Behind(next));
                }
                next
            } else {
                let end = rest.find(',').unwrap_or(rest.len());
                let blanks = blanks.min(end);
                self.fields.push(Field {
                    at: at + blanks,
                    start: at + blanks,
                    end: at + blanks + rest[blanks..end].trim_end().len(),
                    quoted: false,
                });
                at + end
            };
            if after == line.len() {
                return Ok(());
            }
            at = after + 1;
        }
    }
}

/// A text without `\n` or `\r\n` at its end.
fn without_line_end(text: &str) -> &str {
    let text = text.strip_suffix('\n').unwrap_or(text);
    text.strip_suffix('\r').unwrap_or(text)
}

/// Appends what stands between the quote at `open` and its closing one to `text`, doubled quotes
/// halved, and gives the byte behind the closing one.
fn unquote(line: &str, open: usize, text: &mut String) -> Result<usize, QuoteFault> {
    let mut at = open + 1;
    loop {
        let Some(length) = line[at..].find('"') else {
            return Err(QuoteFault::Open(open));
        };
        text.push_str(&line[at..at + length]);
        at += length + 1;
        if !line[at..].starts_with('"') {
            return Ok(at);
        }
        text.push('"');
        at += 1;
    }
}

/// What can be wrong with quotes, and at which byte of the row.
#[derive(Clone, Copy, Debug)]
enum QuoteFault {
    /// Opened and never closed.
    Open(usize),
    /// Something other than a comma stands behind the closing one.
    Behind(usize),
}

impl QuoteFault {
    fn byte(self) -> usize {
        match self {
            QuoteFault::Open(byte) | QuoteFault::Behind(byte) => byte,
        }
    }
    fn wrong(self) -> Wrong {
        match self {
            QuoteFault::Open(_) => Wrong::new(
                "a double quote is opened here and never closed",
                "a closing double quote before the next comma",
            )
            .mend("close it, or delete it; a double quote inside a quoted text is written twice"),
            QuoteFault::Behind(_) => Wrong::new(
                "text behind a closing double quote",
                "a comma or the end of the row",
            )
            .mend("a double quote inside a quoted text is written twice"),
        }
    }
}

/// What is wrong if a header is separated by something other than commas.
fn foreign_separator(header: &Row<'_>) -> Option<Wrong> {
    const EXPORT: &str =
        "export the sheet again with a comma between fields and a point in numbers";
    let text = header.raw;
    if text.contains('\r') {
        return Some(
            Wrong::new(
                "the lines end in carriage returns alone",
                "line feeds, with or without a carriage return before them",
            )
            .mend("save the file again with Unix or Windows line ends"),
        );
    }
    if header.count() > 1 {
        return None;
    }
    let separator = match () {
        () if text.contains(';') => "semicolons",
        () if text.contains('\t') => "tabs",
        () if text.contains('|') => "vertical bars",
        () if text.split_whitespace().count() > 2 => "blanks",
        () => return None,
    };
    Some(
        Wrong::new(
            format!("the columns are separated by {separator}"),
            "commas",
        )
        .mend(EXPORT),
    )
}
