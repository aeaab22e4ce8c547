//! Rows of a log, one at a time in constant memory, each field with its line and column.
//!
//! The format is RFC 4180 with comment lines (`#` first), empty lines skipped, and the delimiter
//! and line ends of the file's dialect. Fields are split here and not by a general CSV reader,
//! because a message needs the column at which a field starts, and an unclosed quote must not
//! swallow the rest of a night's log.

use std::io::BufRead;

use super::dialect::Dialect;
use super::lines::Lines;
use crate::problem::{Error, Problem, Problems, Wrong};
use crate::text::{self, quoted};

/// More than any log has; each is compared with all known names, so the run time grows with their
/// number.
const MOST_COLUMNS: usize = 1000;
/// Longest quoted note, in lines; in a longer one the closing quote was forgotten. Common practice,
/// no source.
const MOST_LINES_IN_QUOTES: usize = 30;

/// Reads rows from bytes.
pub struct RowReader<R> {
    lines: Lines<R>,
    dialect: Dialect,
    /// Line on which the current row starts.
    line: usize,
    /// Its number; the header is row 0.
    number: usize,
    /// Its text, without its line end.
    raw: String,
    /// Unquoted copies of its quoted fields, concatenated.
    unquoted: String,
    fields: Vec<Field>,
    /// Number of fields each row should have; `None` before the header is read.
    expected: Option<usize>,
    /// Whether the current row ends in a line feed.
    has_line_end: bool,
    /// Rows of empty fields so far.
    blank: usize,
    /// The latest comment that says what the readings are, with its line.
    readings: Option<(usize, String)>,
    /// Lines above the header with one field each, which are not a header.
    titles: Vec<(usize, String)>,
}

/// Location of a field's text: in the row's text, or in the unquoted copies.
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
    dialect: Dialect,
}

impl<'a> Row<'a> {
    /// Number of fields, not counting empty ones at the end.
    pub fn count(&self) -> usize {
        let last = (0..self.fields.len()).rfind(|i| !self.text(*i).is_empty());
        last.map_or(0, |i| i + 1)
    }
    /// A field's text: verbatim if quoted, otherwise trimmed; empty beyond the end of the row.
    pub fn text(&self, index: usize) -> &'a str {
        let Some(field) = self.fields.get(index) else {
            return "";
        };
        let source = if field.quoted {
            self.unquoted
        } else {
            self.raw
        };
        &source[field.start..field.end]
    }
    /// Number of fields, including empty ones at the end.
    pub fn fields(&self) -> usize {
        self.fields.len()
    }
    /// Whether commas separate its fields.
    pub fn parts_by_comma(&self) -> bool {
        self.dialect.parts_by_comma()
    }
    /// Whether a field is in quotes.
    pub fn quoted(&self, index: usize) -> bool {
        self.fields.get(index).is_some_and(|field| field.quoted)
    }
    /// The text of each field.
    pub fn texts(&self) -> impl Iterator<Item = &'a str> {
        (0..self.fields.len()).map(|i| self.text(i))
    }
    /// The whole row as it is in the file.
    pub fn raw(&self) -> &'a str {
        self.raw
    }
    /// A problem at a field.
    pub fn problem(&self, index: usize, wrong: Wrong) -> Problem {
        let at = self.fields.get(index).map_or(self.raw.len(), |f| f.at);
        self.problem_at(at, wrong)
    }
    /// A problem at a byte of the row.
    fn problem_at(&self, byte: usize, wrong: Wrong) -> Problem {
        let (line, column) = text::line_and_column(self.raw.as_bytes(), byte);
        wrong.at(self.file, self.line + line - 1, column)
    }
    /// Whether it ends in a line feed. The last row of a truncated file does not, and its last
    /// field may then be truncated too.
    pub fn has_line_end(&self) -> bool {
        self.has_line_end
    }
    /// Reports a number of fields that differs from the header's.
    pub fn miscounted(&self, expected: usize) -> Problem {
        let dialect = self.dialect;
        // Empty fields count if there are too few.
        let found = self.count().max(self.fields.len().min(expected));
        let plural = |n: usize| if n == 1 { "field" } else { "fields" };
        let wrong = Wrong::new(
            format!("this row has {found} {}", plural(found)),
            format!("{expected} {} as in the header", plural(expected)),
        );
        let delimiter = dialect.delimiter_word();
        if found < expected {
            return self.problem_at(
                self.raw.len(),
                wrong.mend(format!(
                    "a {delimiter} is missing, or the row was cut short"
                )),
            );
        }
        let all_digits = |i: usize| {
            let text = self.text(i);
            !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit())
        };
        let whole = |i: usize| self.text(i).parse::<i64>().is_ok();
        let split = (1..found).any(|i| whole(i - 1) && all_digits(i));
        let remedy = if split && dialect.parts_by_comma() {
            "a decimal comma cuts a number in two: write 123.45, not 123,45, or put the number in double quotes".to_owned()
        } else {
            format!(
                "put a text that holds a {delimiter} in double quotes, or name the column in the header"
            )
        };
        self.problem(expected, wrong.mend(remedy))
    }
}

impl<R: BufRead> RowReader<R> {
    /// Reads from `input`, which messages call `file`.
    pub fn new(file: &str, input: R, dialect: Dialect) -> RowReader<R> {
        RowReader {
            lines: Lines::new(file, input, dialect.returns),
            dialect,
            line: 0,
            number: 0,
            raw: String::new(),
            unquoted: String::new(),
            fields: Vec::new(),
            expected: None,
            has_line_end: true,
            blank: 0,
            readings: None,
            titles: Vec::new(),
        }
    }

    /// How its lines and fields are split.
    pub fn dialect(&self) -> Dialect {
        self.dialect
    }

    /// Number of rows of empty fields so far; they are skipped and not counted as rows.
    pub fn blank_rows(&self) -> usize {
        self.blank
    }

    /// Lines above the header that hold a single text, with their line numbers.
    pub fn titles(&self) -> &[(usize, String)] {
        &self.titles
    }

    /// What the latest comment `# readings = …` says, with its line; returned only once.
    pub fn take_readings(&mut self) -> Option<(usize, String)> {
        self.readings.take()
    }

    /// Expects this many fields in each row from here on.
    pub fn expect(&mut self, fields: usize) {
        self.expected = Some(fields);
    }

    /// The file as the user named it.
    pub fn file(&self) -> &str {
        &self.lines.file
    }

    /// How many lines have been read so far.
    pub fn lines_read(&self) -> usize {
        self.lines.count
    }

    /// Reads the header: the first row with more than one field. Every later row should have as
    /// many fields.
    ///
    /// # Errors
    /// If the file is empty, in another encoding, not text, or not split into fields: nothing after
    /// it would make sense.
    pub fn header(&mut self) -> Result<Row<'_>, Error> {
        let mut problems = Problems::new();
        loop {
            let found = self.advance(&mut problems)?;
            problems.clone().or_value(())?;
            if !found {
                return Err(self.no_header());
            }
            let row = self.row();
            if let Some(wrong) = foreign_separator(&row) {
                return Err(row.problem_at(0, wrong).into());
            }
            match row.count() {
                0 => {}
                1 => self
                    .titles
                    .push((self.line, self.row().raw.trim().to_owned())),
                count if count > MOST_COLUMNS => {
                    let wrong = Wrong::new(
                        format!("this row has {count} fields"),
                        format!("a log of at most {MOST_COLUMNS} columns"),
                    );
                    return Err(row.problem_at(0, wrong).into());
                }
                count => {
                    self.expected = Some(count);
                    return Ok(self.row());
                }
            }
        }
    }

    fn no_header(&self) -> Error {
        let expected = "a first line that names the columns";
        let wrong = |found: String| Wrong::new(found, expected);
        match self.titles.first() {
            Some((line, text)) => {
                let found = format!("the first line has one field, {}", quoted(text));
                wrong(found).at(self.file(), *line, 1).into()
            }
            None if self.lines.count == 0 => wrong("the file is empty".to_owned())
                .of_file(self.file())
                .into(),
            None => wrong("the file has no header line, only comments or empty lines".to_owned())
                .of_file(self.file())
                .into(),
        }
    }

    /// Passes the text from the next line on to `read`, which returns how many bytes it consumed:
    /// one line with its line feed, or none, and then the line is the next row. The text may end
    /// within a line. Returns the number of lines consumed.
    ///
    /// # Errors
    /// If reading fails.
    pub fn while_taken(
        &mut self,
        read: impl FnMut(&[u8]) -> Option<usize>,
    ) -> Result<usize, Error> {
        let taken = self.lines.while_taken(read)?;
        self.number += taken;
        Ok(taken)
    }

    /// Returns the next row that is not blank, or `None` at the end. Its number of fields may
    /// differ from the header's. Rows with malformed quotes are reported in `problems` and skipped.
    ///
    /// # Errors
    /// If reading fails.
    pub fn next(&mut self, problems: &mut Problems) -> Result<Option<Row<'_>>, Error> {
        loop {
            if !self.advance(problems)? {
                return Ok(None);
            }
            if self.row().count() == 0 {
                self.blank += 1;
                continue;
            }
            self.number += 1;
            return Ok(Some(self.row()));
        }
    }

    /// Number of rows of data so far.
    pub fn numbered(&self) -> usize {
        self.number
    }

    /// Removes the latest row from the count: it was not a row of data.
    pub fn uncount(&mut self) {
        self.number = self.number.saturating_sub(1);
    }

    /// Counts the first row as one of data, in a file without a header.
    pub(super) fn count_first(&mut self) {
        self.number = 1;
        self.expected = None;
    }

    /// The latest row.
    pub(super) fn row(&self) -> Row<'_> {
        Row {
            dialect: self.dialect,
            file: &self.lines.file,
            line: self.line,
            number: self.number,
            raw: &self.raw,
            unquoted: &self.unquoted,
            fields: &self.fields,
            has_line_end: self.has_line_end,
        }
    }

    /// Reads the next row with well-formed quotes and splits it into fields; false at the end.
    fn advance(&mut self, problems: &mut Problems) -> Result<bool, Error> {
        loop {
            self.raw.clear();
            if !self.lines.append(&mut self.raw, problems)? {
                return Ok(false);
            }
            self.line = self.lines.count;
            if let Some(comment) = self.raw.strip_prefix('#') {
                if let Some(said) = readings_of(comment) {
                    self.readings = Some((self.line, said.to_owned()));
                }
                continue;
            }
            if self.raw.trim().is_empty() {
                continue;
            }
            let first_line = self.raw.len();
            let mut quotes = self.cut();
            for _ in 1..MOST_LINES_IN_QUOTES {
                let open = matches!(quotes, Err(QuoteFault::Open(_)));
                let end = self.raw.len();
                if !open || !self.lines.append(&mut self.raw, problems)? {
                    break;
                }
                // Only another quote can close it.
                if self.raw[end..].contains('"') {
                    quotes = self.cut();
                }
            }
            let fits = |n: usize| self.fields.len() >= n && self.row().count() <= n;
            let miscounted = self.expected.is_some_and(|n| !fits(n));
            if self.raw.len() > first_line && (quotes.is_err() || miscounted) {
                // A quote was left open on the first line; the other lines are separate rows.
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

    /// Splits the row's text into fields.
    fn cut(&mut self) -> Result<(), QuoteFault> {
        self.fields.clear();
        self.unquoted.clear();
        let line = without_line_end(&self.raw);
        let delimiter = self.dialect.delimiter;
        let is_blank = |c: char| c.is_whitespace() && c != delimiter;
        let mut at = 0;
        loop {
            let rest = &line[at..];
            let blanks = rest.len() - rest.trim_start_matches(is_blank).len();
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
                let next = close + behind.len() - behind.trim_start_matches(is_blank).len();
                if next < line.len() && !line[next..].starts_with(delimiter) {
                    return Err(QuoteFault::Behind(next, delimiter));
                }
                next
            } else {
                let end = rest.find(delimiter).unwrap_or(rest.len());
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
            at = after + delimiter.len_utf8();
        }
    }
}

/// What a comment says about the readings.
fn readings_of(comment: &str) -> Option<&str> {
    let (key, said) = comment.split_once('=')?;
    (key.trim().eq_ignore_ascii_case("readings")).then(|| said.trim())
}

/// A text without `\n` or `\r\n` at its end.
fn without_line_end(text: &str) -> &str {
    let text = text.strip_suffix('\n').unwrap_or(text);
    text.strip_suffix('\r').unwrap_or(text)
}

/// Appends the text between the quote at `open` and its closing one to `text`, with doubled quotes
/// reduced to one, and returns the offset of the byte after the closing one.
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

/// A fault in the quotes, with its byte offset in the row.
#[derive(Clone, Copy, Debug)]
enum QuoteFault {
    /// Opened and never closed.
    Open(usize),
    /// The closing quote is followed by something other than this delimiter.
    Behind(usize, char),
}

impl QuoteFault {
    fn byte(self) -> usize {
        match self {
            QuoteFault::Open(byte) | QuoteFault::Behind(byte, _) => byte,
        }
    }
    fn wrong(self) -> Wrong {
        match self {
            QuoteFault::Open(_) => Wrong::new(
                "a double quote is opened here and never closed",
                "a closing double quote before the next field",
            )
            .mend("close it, or delete it; a double quote inside a quoted text is written twice"),
            QuoteFault::Behind(_, delimiter) => Wrong::new(
                "text behind a closing double quote",
                match delimiter {
                    ';' => "a semicolon or the end of the row",
                    '\t' => "a tab or the end of the row",
                    _ => "a comma or the end of the row",
                },
            )
            .mend("a double quote inside a quoted text is written twice"),
        }
    }
}

/// Reports a header separated by something that no dialect supports.
fn foreign_separator(header: &Row<'_>) -> Option<Wrong> {
    if header.fields.len() > 1 {
        return None;
    }
    let text = header.raw;
    let words = text.split_whitespace();
    let separator = match () {
        () if text.contains('|') => "vertical bars",
        // A title is made of plain words; column names have underscores between theirs.
        () if words.filter(|w| w.contains('_')).count() > 2 => "blanks",
        () => return None,
    };
    Some(
        Wrong::new(
            format!("the columns are separated by {separator}"),
            "commas, semicolons or tabs",
        )
        .mend("export the sheet again with one of these between fields"),
    )
}
