//! Faults of an input, reported so that a tired person can fix them.
//!
//! A [`Problem`] is one fault in one place: file, line, column, what was found, what was expected,
//! how to fix it. Readers collect [`Problems`], so that all faults of a file are reported at once.
//! [`Error`] is what the verbs return.

use std::fmt;

/// At most this many problems of one file are shown; the rest are counted.
pub const MOST_PROBLEMS_SHOWN: usize = 20;

/// One fault in one place of an input.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// The file as the user named it; `standard input` for a pipe.
    pub file: String,
    /// Line, counted from 1; `None` for the whole file.
    pub line: Option<usize>,
    /// Column in characters, counted from 1.
    pub column: Option<usize>,
    /// What was found.
    pub found: String,
    /// What was expected in its place.
    pub expected: String,
    /// How to fix it; may be empty.
    pub remedy: String,
}

impl Problem {
    /// A fault of a whole file.
    pub fn of_file(file: &str, found: impl Into<String>, expected: impl Into<String>) -> Problem {
        Problem {
            file: file.to_owned(),
            line: None,
            column: None,
            found: cut(found.into(), MOST_FOUND),
            expected: cut(expected.into(), MOST_SAID),
            remedy: String::new(),
        }
    }
    /// The same fault at a line and column, both counted from 1.
    pub fn at(mut self, line: usize, column: usize) -> Problem {
        self.line = Some(line);
        self.column = Some(column);
        self
    }
    /// The same fault with a remedy.
    pub fn mend(mut self, remedy: impl Into<String>) -> Problem {
        self.remedy = cut(remedy.into(), MOST_SAID);
        self
    }
}

/// Maximum length of quoted file text: a text may be as long as the file, and its beginning is
/// enough.
const MOST_FOUND: usize = 400;
/// Maximum length of the other parts, which may list all known names.
const MOST_SAID: usize = 2000;

fn cut(text: String, most: usize) -> String {
    match text.char_indices().nth(most) {
        None => text,
        Some((end, _)) => format!("{}…", &text[..end]),
    }
}

/// What is wrong with one value, before its place is known.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wrong {
    /// What was found.
    pub found: String,
    /// What was expected in its place.
    pub expected: String,
    /// How to fix it; may be empty.
    pub remedy: String,
}

impl Wrong {
    /// Found this, expected that.
    pub fn new(found: impl Into<String>, expected: impl Into<String>) -> Wrong {
        Wrong {
            found: found.into(),
            expected: expected.into(),
            remedy: String::new(),
        }
    }
    /// The same with a remedy.
    pub fn mend(mut self, remedy: impl Into<String>) -> Wrong {
        self.remedy = remedy.into();
        self
    }
    /// Places the fault at a line and column of a file, both counted from 1.
    pub fn at(self, file: &str, line: usize, column: usize) -> Problem {
        self.of_file(file).at(line, column)
    }
    /// Places the fault in a file as a whole.
    pub fn of_file(self, file: &str) -> Problem {
        Problem::of_file(file, self.found, self.expected).mend(self.remedy)
    }
}

impl Problem {
    /// Writes the message with an excerpt of the file between the fault and its remedy; each line
    /// of the excerpt ends with a line feed.
    fn write_with(&self, excerpt: &str, f: &mut impl fmt::Write) -> fmt::Result {
        write!(f, "{}", printable(&self.file))?;
        if let Some(line) = self.line {
            write!(f, ":{line}")?;
            if let Some(column) = self.column {
                write!(f, ":{column}")?;
            }
        }
        write!(f, ": {}", printable(&self.found))?;
        if !self.expected.is_empty() {
            write!(f, "; expected {}", printable(&self.expected))?;
        }
        if !excerpt.is_empty() {
            write!(f, "\n{}", excerpt.trim_end_matches('\n'))?;
        }
        if !self.remedy.is_empty() {
            write!(f, "\n  help: {}", printable(&self.remedy))?;
        }
        Ok(())
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.write_with("", f)
    }
}

/// Whether a terminal would act on the character instead of showing it: control characters, those
/// that change the direction of the following text, and those that invisibly break or annotate
/// lines (Unicode Standard, sections 23.1, 23.2 and 9.2.8 of the bidirectional algorithm; from
/// memory).
pub fn is_obeyed(c: char) -> bool {
    c.is_control()
        || matches!(
            c,
            '\u{061C}'
                | '\u{200E}'..='\u{200F}'
                | '\u{2028}'..='\u{202E}'
                | '\u{2066}'..='\u{206F}'
                | '\u{FEFF}'
                | '\u{FFF9}'..='\u{FFFB}'
                | '\u{E0000}'..='\u{E007F}'
        )
}

/// Text from a file or an argument, safe to print in a line: characters that a terminal would act
/// on are shown escaped.
pub fn printable(text: &str) -> String {
    shown(text, &[])
}

/// The same for a text of several lines, in which the `allowed` sequences are left unchanged.
pub fn printable_lines(text: &str, allowed: &[&str]) -> String {
    let lines = text.split('\n').map(|line| shown(line, allowed));
    lines.collect::<Vec<_>>().join("\n")
}

fn shown(text: &str, allowed: &[&str]) -> String {
    if !text.contains(is_obeyed) {
        return text.to_owned();
    }
    let mut safe = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(c) = rest.chars().next() {
        if let Some(own) = allowed.iter().find(|own| rest.starts_with(**own)) {
            safe.push_str(own);
            rest = &rest[own.len()..];
            continue;
        }
        match is_obeyed(c) {
            true => safe.extend(c.escape_default()),
            false => safe.push(c),
        }
        rest = &rest[c.len_utf8()..];
    }
    safe
}

/// The faults of one or several inputs, in the order found. The first
/// [`MOST_PROBLEMS_SHOWN`] are kept, the rest counted, so that a log of ten million bad
/// rows does not fill the memory.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Problems {
    kept: Vec<Problem>,
    more: usize,
}

impl Problems {
    /// An empty list.
    pub fn new() -> Problems {
        Problems::default()
    }
    /// Adds a problem.
    pub fn push(&mut self, problem: Problem) {
        if self.kept.len() < MOST_PROBLEMS_SHOWN {
            self.kept.push(problem);
        } else {
            self.more += 1;
        }
    }
    /// Adds all problems of another list, including those that were only counted.
    pub fn append(&mut self, other: Problems) {
        self.extend(other.kept);
        self.more += other.more;
    }
    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.kept.is_empty()
    }
    /// Number of problems, stored or only counted.
    pub fn count(&self) -> usize {
        self.kept.len() + self.more
    }
    /// The stored problems.
    pub fn as_slice(&self) -> &[Problem] {
        &self.kept
    }
    /// `Ok(value)` if there are none, otherwise all of them as an error.
    pub fn or_value<T>(self, value: T) -> Result<T, Error> {
        if self.is_empty() {
            Ok(value)
        } else {
            Err(Error::Input(self))
        }
    }
}

impl Extend<Problem> for Problems {
    fn extend<I: IntoIterator<Item = Problem>>(&mut self, problems: I) {
        problems.into_iter().for_each(|p| self.push(p));
    }
}

impl From<Problem> for Problems {
    fn from(problem: Problem) -> Problems {
        Problems {
            kept: vec![problem],
            more: 0,
        }
    }
}

impl Problems {
    /// All messages, each with the `excerpt` for its position.
    pub fn said_with(&self, excerpt: impl Fn(&Problem) -> String) -> String {
        let mut said = String::new();
        self.write_with(excerpt, &mut said)
            .expect("a string takes all that is written");
        said
    }

    fn write_with(
        &self,
        excerpt: impl Fn(&Problem) -> String,
        f: &mut impl fmt::Write,
    ) -> fmt::Result {
        for (i, problem) in self.kept.iter().enumerate() {
            if i > 0 {
                writeln!(f)?;
            }
            problem.write_with(&excerpt(problem), f)?;
        }
        if self.more > 0 {
            write!(f, "\n… and {} more", self.more)?;
        }
        Ok(())
    }
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.write_with(|_| String::new(), f)
    }
}

/// Why a verb failed.
#[derive(Debug)]
pub enum Error {
    /// The command was used wrongly (exit code 2).
    Usage(String),
    /// The input is faulty (exit code 3).
    Input(Problems),
    /// The input is well formed but cannot support what was asked (exit code 4).
    Unsupported(String),
    /// The same for a reason that the caller can inspect: the type of [`std::error::Error::source`]
    /// is documented by the function that failed.
    Because(Box<dyn std::error::Error + Send + Sync>),
    /// Reading or writing failed (exit code 3).
    Io {
        /// The file or stream.
        file: String,
        /// What was being done: `read`, `write`.
        doing: &'static str,
        /// The system's reason.
        source: std::io::Error,
    },
}

impl Error {
    /// The documented exit code for this kind of failure.
    pub fn exit_code(&self) -> u8 {
        match self {
            Error::Usage(_) => 2,
            Error::Input(_) | Error::Io { .. } => 3,
            Error::Unsupported(_) | Error::Because(_) => 4,
        }
    }
    /// A failure to read or write `file`.
    pub fn io(file: &str, doing: &'static str, source: std::io::Error) -> Error {
        Error::Io {
            file: file.to_owned(),
            doing,
            source,
        }
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Error::Usage(text) | Error::Unsupported(text) => f.write_str(text),
            Error::Because(reason) => reason.fmt(f),
            Error::Input(problems) => problems.fmt(f),
            Error::Io {
                file,
                doing,
                source,
            } => write!(f, "{}: cannot {doing}: {source}", printable(file)),
        }
    }
}

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Error::Io { source, .. } => Some(source),
            Error::Because(reason) => Some(&**reason),
            Error::Usage(_) | Error::Input(_) | Error::Unsupported(_) => None,
        }
    }
}

impl From<Problem> for Error {
    fn from(problem: Problem) -> Error {
        Error::Input(problem.into())
    }
}
impl From<Problems> for Error {
    fn from(problems: Problems) -> Error {
        Error::Input(problems)
    }
}

/// The known name nearest to `given`, if any is near enough to be the one meant.
pub fn nearest_name<'a>(given: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let fold = |name: &str| name.to_lowercase().replace(['_', ' '], "-");
    // A name more than twice as long cannot be near enough, and would take long to compare.
    const LONGEST: usize = 200;
    if given.len() > LONGEST {
        return None;
    }
    let folded = fold(given);
    known
        .into_iter()
        .filter(|name| name.len() <= 2 * LONGEST)
        .map(|name| {
            let score = strsim::normalized_damerau_levenshtein(&folded, &fold(name));
            (score, name)
        })
        .filter(|(score, _)| *score >= 0.5)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn control_characters_are_shown_escaped() {
        for (raw, safe) in [
            (
                "plain, größe, \u{5e9}\u{5dc}",
                "plain, größe, \u{5e9}\u{5dc}",
            ),
            ("\u{1b}[31mred", "\\u{1b}[31mred"),
            ("a\nb\tc\rd", "a\\nb\\tc\\rd"),
            ("\u{9b}31m", "\\u{9b}31m"),
            ("\u{202e}gpj.exe", "\\u{202e}gpj.exe"),
            (
                "\u{2066}\u{2069}\u{200f}\u{61c}",
                "\\u{2066}\\u{2069}\\u{200f}\\u{61c}",
            ),
            ("one\u{2028}two", "one\\u{2028}two"),
            ("\u{7f}", "\\u{7f}"),
        ] {
            assert_eq!(printable(raw), safe);
            assert!(!safe.contains(is_obeyed));
        }
    }

    #[test]
    fn lines_and_what_is_allowed_stay() {
        let bold = "\u{1b}[1m";
        let text = format!("{bold}one\n\u{1b}[2Jtwo\r");
        assert_eq!(
            printable_lines(&text, &[bold]),
            format!("{bold}one\n\\u{{1b}}[2Jtwo\\r")
        );
    }
}
