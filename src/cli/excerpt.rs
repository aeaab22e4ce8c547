//! The line of a file in which a fault is, with a mark under the place.

use std::io::{BufRead, BufReader, Read};
use std::path::Path;

use crate::problem::{Problem, is_obeyed};

/// A place beyond this many bytes of its file is not looked up, so that a message comes at once; it
/// then has no excerpt.
const MOST_BYTES: u64 = 8 << 20;
/// Characters of a line that are shown: a usual terminal.
const WIDTH: usize = 80;
/// Of these, characters before the place, so that most of what is shown leads up to it.
const BEFORE: usize = 50;

/// The line with a mark under the place, each indented and ended by a line end; empty when the
/// fault is in no one place, or its line cannot be read again.
pub fn excerpt(problem: &Problem) -> String {
    let (Some(number), Some(column)) = (problem.line, problem.column) else {
        return String::new();
    };
    line_of(Path::new(&problem.file), number)
        .and_then(|line| marked(&line, number, column))
        .unwrap_or_default()
}

/// A line of a regular file, counted from 1.
fn line_of(path: &Path, number: usize) -> Option<String> {
    // A pipe was read already, and would now wait.
    if !std::fs::metadata(path).ok()?.is_file() {
        return None;
    }
    line_in(std::fs::File::open(path).ok()?, number)
}

fn line_in(input: impl Read, number: usize) -> Option<String> {
    let mut input = BufReader::new(input.take(MOST_BYTES));
    let mut line = Vec::new();
    for _ in 0..number {
        line.clear();
        if input.read_until(b'\n', &mut line).ok()? == 0 {
            return None;
        }
    }
    let ended = line.strip_suffix(b"\n").or(match line.len() as u64 {
        MOST_BYTES.. => None,
        _ => Some(&line[..]),
    })?;
    let ended = ended.strip_suffix(b"\r").unwrap_or(ended);
    // Old line ends, and texts of two bytes a letter, are counted by their reader otherwise.
    if ended.contains(&b'\r') || ended.contains(&0) {
        return None;
    }
    let text = String::from_utf8_lossy(ended).into_owned();
    Some(text.strip_prefix('\u{FEFF}').unwrap_or(&text).to_owned())
}

/// A line in which what a terminal would obey takes one place and is not obeyed.
fn marked(line: &str, number: usize, column: usize) -> Option<String> {
    let letters: Vec<char> = line
        .chars()
        .map(|c| match c {
            '\t' => ' ',
            c if is_obeyed(c) => '?',
            c => c,
        })
        .collect();
    let place = column.checked_sub(1).filter(|p| *p <= letters.len())?;
    if letters.iter().all(|c| c.is_whitespace()) {
        return None;
    }
    let start = place.saturating_sub(BEFORE);
    let end = letters.len().min(start + WIDTH);
    let dots = |cut: bool| if cut { "…" } else { "" };
    let shown: String = letters[start..end].iter().collect();
    let before = place - start + dots(start > 0).chars().count();
    let number = number.to_string();
    Some(format!(
        "  {number} | {}{shown}{}\n  {} | {}^\n",
        dots(start > 0),
        dots(end < letters.len()),
        " ".repeat(number.len()),
        " ".repeat(before)
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mark_stands_under_the_place() {
        assert_eq!(
            marked("azimuth_deg = \"x\"", 12, 15).unwrap(),
            "  12 | azimuth_deg = \"x\"\n     |               ^\n"
        );
        // Behind the last letter, where something is missing.
        assert_eq!(marked("a,b", 3, 4).unwrap(), "  3 | a,b\n    |    ^\n");
        assert_eq!(marked("a,b", 3, 5), None);
        assert_eq!(marked("", 3, 1), None);
    }

    #[test]
    fn a_long_line_is_cut_round_the_place() {
        let line = format!("{}X{}", "a".repeat(300), "b".repeat(300));
        let said = marked(&line, 1, 301).unwrap();
        let mut lines = said.lines();
        let (shown, mark) = (lines.next().unwrap(), lines.next().unwrap());
        let place = mark.chars().position(|c| c == '^').unwrap();
        assert_eq!(shown.chars().nth(place), Some('X'));
        assert!(shown.chars().count() < 100 && shown.ends_with('…'));
    }

    #[test]
    fn nothing_in_a_line_is_obeyed() {
        assert!(
            !marked("a\u{1b}[31m\u{202e}b\tc", 1, 2)
                .unwrap()
                .contains(['\u{1b}', '\u{202e}', '\t'])
        );
    }

    #[test]
    fn lines_are_counted_from_one_whatever_ends_them() {
        let text = "\u{FEFF}one\r\ntwo\nthree".as_bytes();
        assert_eq!(line_in(text, 1).as_deref(), Some("one"));
        assert_eq!(line_in(text, 2).as_deref(), Some("two"));
        assert_eq!(line_in(text, 3).as_deref(), Some("three"));
        assert_eq!(line_in(text, 4), None);
        assert_eq!(line_of(Path::new("."), 1), None);
    }
}
