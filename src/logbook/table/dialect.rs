//! How a file is split into lines and cells, determined once from its beginning.

use crate::text;

/// Cell delimiter and line end of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Dialect {
    /// Cell delimiter: a comma, a semicolon or a tab.
    pub delimiter: char,
    /// Whether lines end in carriage returns alone, as on old Macintoshes.
    pub returns: bool,
}

impl Default for Dialect {
    /// The dialect of files written by this program.
    fn default() -> Dialect {
        Dialect {
            delimiter: ',',
            returns: false,
        }
    }
}

/// In a tie the first wins: a tab or a semicolon is rarely in a text by chance, but a comma is in
/// many numbers.
const DELIMITERS: [char; 3] = ['\t', ';', ','];
/// A log holds at least a time and two readings.
const FEWEST_CELLS: usize = 3;
/// Number of lines examined at the beginning: enough to get past any preamble.
const MOST_LINES: usize = 200;

impl Dialect {
    /// Dialect of a file with this beginning: the delimiter that splits the most lines into at
    /// least the minimum number of cells of a log.
    pub fn of(head: &[u8]) -> Dialect {
        let head = text::without_mark(head);
        let returns = !head.contains(&b'\n') && head.contains(&b'\r');
        let end = if returns { b'\r' } else { b'\n' };
        let lines: Vec<&[u8]> = (head.split(|b| *b == end))
            .filter(|line| !line.starts_with(b"#") && !line.trim_ascii().is_empty())
            .take(MOST_LINES)
            .collect();
        // A file written by this program is recognised by its header, whatever its notes contain.
        let own = |d: &char| {
            lines
                .first()
                .is_some_and(|line| has_own_header(line, *d as u8))
        };
        if let Some(delimiter) = DELIMITERS.into_iter().find(own) {
            return Dialect { delimiter, returns };
        }
        let cut = |delimiter: &char| {
            let enough = |line: &&&[u8]| cells(line, *delimiter as u8) >= FEWEST_CELLS;
            lines.iter().filter(enough).count()
        };
        let most = DELIMITERS.iter().map(cut).max().unwrap_or(0);
        let delimiter = (DELIMITERS.into_iter())
            .find(|d| most > 0 && cut(d) == most)
            .unwrap_or(',');
        Dialect { delimiter, returns }
    }

    /// Whether a comma within a number can only be a decimal comma.
    pub fn parts_by_comma(&self) -> bool {
        self.delimiter == ','
    }

    /// The delimiter in words, plural.
    pub fn delimiters(&self) -> &'static str {
        match self.delimiter {
            ';' => "semicolons",
            '\t' => "tabs",
            _ => "commas",
        }
    }

    /// The delimiter in words, singular.
    pub fn delimiter_word(&self) -> &'static str {
        match self.delimiter {
            ';' => "semicolon",
            '\t' => "tab",
            _ => "comma",
        }
    }
}

/// Whether a line split by this delimiter has a cell `time_utc`.
fn has_own_header(line: &[u8], delimiter: u8) -> bool {
    line.contains(&delimiter)
        && line.split(|b| *b == delimiter).any(|cell| {
            let cell = cell.trim_ascii();
            let bare = cell.strip_prefix(b"\"").and_then(|c| c.strip_suffix(b"\""));
            bare.unwrap_or(cell).eq_ignore_ascii_case(b"time_utc")
        })
}

/// Number of cells in a line; delimiters within quotes do not count.
fn cells(line: &[u8], delimiter: u8) -> usize {
    let (mut count, mut quoted) = (1, false);
    for byte in line {
        if *byte == b'"' {
            quoted = !quoted;
        } else if *byte == delimiter && !quoted {
            count += 1;
        }
    }
    count
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str) -> (char, bool) {
        let Dialect { delimiter, returns } = Dialect::of(text.as_bytes());
        (delimiter, returns)
    }

    #[test]
    fn the_delimiter_that_splits_most_lines_is_used() {
        assert_eq!(of("a,b,c\n1,2,3\n"), (',', false));
        assert_eq!(of("a;b;c\n1,5;2,5;3,5\n1,5;2,5;3,5\n"), (';', false));
        assert_eq!(of("a\tb\tc\n1,5\t2;5\t3,5\n"), ('\t', false));
        // Notes and titles may contain anything.
        assert_eq!(
            of("a,b,c,note\n1,2,3,x; y; z\n1,2,3,\"p; q; r\"\n"),
            (',', false)
        );
        assert_eq!(of("Log, by hand, cold\n\na;b;c\n1;2;3\n"), (';', false));
        assert_eq!(of("\u{feff}# x;y;z\na,b,c\n"), (',', false));
    }

    #[test]
    fn tabs_lost_at_the_end_of_rows_do_not_mislead() {
        let rows = "26-9-2026 08:15\tsun\t302,92\t1,97\n".repeat(9);
        assert_eq!(
            of(&format!("Tijd\tBron\tAz\tEl\tOpm\n{rows}")),
            ('\t', false)
        );
    }

    #[test]
    fn comma_is_the_default_delimiter() {
        for text in ["", "a", "a;b\n1;2\n", "a b c\n1 2 3\n"] {
            assert_eq!(of(text), (',', false), "{text}");
        }
    }

    #[test]
    fn returns_alone_end_lines_only_without_feeds() {
        assert_eq!(of("a;b;c\r1;2;3\r"), (';', true));
        assert_eq!(of("a;b;c\r\n1;2;3\r\n"), (';', false));
        assert_eq!(of("a,b,c\n\"1\r2\",3,4\n"), (',', false));
    }
}
