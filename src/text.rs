//! Decodes bytes to text, and converts a byte offset in a text to line and column.

use std::borrow::Cow;

use crate::problem::{Error, MOST_PROBLEMS_SHOWN, Problems, Wrong, printable};

/// The UTF-8 byte-order mark, accepted and dropped.
const BYTE_ORDER_MARK: &[u8] = b"\xEF\xBB\xBF";

/// The same bytes without a UTF-8 byte-order mark.
pub fn without_mark(bytes: &[u8]) -> &[u8] {
    bytes.strip_prefix(BYTE_ORDER_MARK).unwrap_or(bytes)
}

/// Recognises by the first bytes a file that is not UTF-8 text, and says what it is.
pub fn foreign(start: &[u8]) -> Option<Wrong> {
    let utf16 = |how: &str| {
        Wrong::new(format!("this file is in UTF-16{how}"), "UTF-8").mend(
            "save it again as UTF-8 (in a spreadsheet: \"CSV UTF-8\"; in an editor: \"Save as\", encoding UTF-8)",
        )
    };
    if start.starts_with(b"\xFF\xFE") || start.starts_with(b"\xFE\xFF") {
        return Some(utf16(""));
    }
    // Each ASCII letter in UTF-16 has a zero byte.
    let head = &start[..start.len().min(64)];
    let zeros = head.iter().filter(|b| **b == 0).count();
    if head.len() >= 4 && (head.len() / 3..=head.len() / 2 + 1).contains(&zeros) {
        return Some(utf16(", without its mark"));
    }
    if start.starts_with(b"PK\x03\x04") {
        return Some(
            Wrong::new(
                "this file is a spreadsheet workbook or a zip archive",
                "plain text",
            )
            .mend("open it and export the sheet as CSV in UTF-8"),
        );
    }
    if start.starts_with(b"\x1F\x8B") {
        return Some(
            Wrong::new("this file is compressed with gzip", "plain text")
                .mend("unpack it first, or pipe it in: gzip -dc FILE | plumbeam … -"),
        );
    }
    None
}

/// Returns the bytes as text, or the first invalid byte and why.
///
/// # Errors
/// The offset of a zero byte or of a byte that is not UTF-8, and what is wrong.
pub fn utf8(bytes: &[u8]) -> Result<&str, (usize, Wrong)> {
    let text = std::str::from_utf8(bytes).map_err(|e| {
        let at = e.valid_up_to();
        let byte = bytes[at];
        let mut found = format!("byte 0x{byte:02X} is not UTF-8");
        // The upper half of Latin-1 has the same code points as Unicode.
        if byte >= 0xA0 {
            found.push_str(&format!(" (in Latin-1 it is \"{}\")", char::from(byte)));
        }
        let wrong = Wrong::new(found, "UTF-8 text").mend(
            "save the file again as UTF-8 (in a spreadsheet: \"CSV UTF-8\"; in an editor: \"Save as\", encoding UTF-8)",
        );
        (at, wrong)
    })?;
    if !bytes.contains(&0) {
        return Ok(text);
    }
    match bytes.iter().position(|b| *b == 0) {
        None => Ok(text),
        Some(at) => Err((
            at,
            Wrong::new("a zero byte stands here", "plain text").mend(
                "the file may be damaged, for example by a card pulled out while it was written; delete the damaged rows",
            ),
        )),
    }
}

/// Decodes a whole file as text, without byte-order mark.
///
/// # Errors
/// If the file is in another encoding or not text, with line and column.
pub fn decode<'a>(file: &str, bytes: &'a [u8]) -> Result<&'a str, Error> {
    let bytes = without_mark(bytes);
    if let Some(wrong) = foreign(bytes) {
        return Err(wrong.of_file(file).into());
    }
    utf8(bytes).map_err(|(at, wrong)| {
        let (line, column) = line_and_column(bytes, at);
        wrong.at(file, line, column).into()
    })
}

/// Line and column of a byte offset, both counted from 1, the column in characters. An offset
/// beyond the end counts as the end.
pub fn line_and_column(bytes: &[u8], offset: usize) -> (usize, usize) {
    let before = &bytes[..offset.min(bytes.len())];
    let line_start = before
        .iter()
        .rposition(|b| *b == b'\n')
        .map_or(0, |i| i + 1);
    let line = 1 + before.iter().filter(|b| **b == b'\n').count();
    let column = 1 + String::from_utf8_lossy(&before[line_start..])
        .chars()
        .count();
    (line, column)
}

/// Converts faults with byte offsets in a text to problems in file order; those of the whole file
/// come first. Positions are computed only for the problems that are shown: each takes a pass
/// through the text.
pub fn problems_at(file: &str, text: &str, mut faults: Vec<(Option<usize>, Wrong)>) -> Problems {
    faults.sort_by_key(|(at, _)| *at);
    let mut problems = Problems::new();
    for (i, (at, wrong)) in faults.into_iter().enumerate() {
        problems.push(match at.filter(|_| i < MOST_PROBLEMS_SHOWN) {
            Some(at) => {
                let (line, column) = line_and_column(text.as_bytes(), at);
                wrong.at(file, line, column)
            }
            None => wrong.of_file(file),
        });
    }
    problems
}

/// A text in quotes for a message, safe to print, truncated if long.
pub fn quoted(text: &str) -> String {
    /// Maximum number of characters: enough to recognise a cell, and a message stays on one line.
    const MOST: usize = 40;
    // The rest of a text of megabytes is not shown, and need not be examined.
    let start = text.char_indices().nth(MOST + 1);
    let text = printable(start.map_or(text, |(end, _)| &text[..end]));
    if text.chars().count() <= MOST {
        format!("\"{text}\"")
    } else {
        let head: String = text.chars().take(MOST).collect();
        format!("\"{head}…\"")
    }
}

/// Whether a line belongs to an HTTP request, which a web page can send to any port of this machine
/// (request methods: RFC 9110, section 9; `PRI`: RFC 9113; from memory).
pub fn is_of_the_web(line: &str) -> bool {
    const METHODS: [&str; 10] = [
        "GET ", "HEAD ", "POST ", "PUT ", "DELETE ", "CONNECT ", "OPTIONS ", "TRACE ", "PATCH ",
        "PRI ",
    ];
    METHODS.iter().any(|method| line.starts_with(method)) || line.contains("HTTP/")
}

/// Characters that, at the beginning of a cell, make a spreadsheet run it as a formula.
const RUNS: [char; 6] = ['=', '+', '-', '@', '\t', '\r'];

/// Whether a spreadsheet would run the text, ignoring any apostrophes before it.
fn would_run(text: &str) -> bool {
    text.trim_start_matches('\'').starts_with(RUNS)
}

/// Converts a text to a cell of a log: one that a spreadsheet would run is prefixed with an
/// apostrophe, which makes it plain text there. [`from_cell`] removes it again.
pub fn to_cell(text: &str) -> Cow<'_, str> {
    match would_run(text) {
        true => Cow::Owned(format!("'{text}")),
        false => Cow::Borrowed(text),
    }
}

/// The text of a cell, without the apostrophe that keeps a spreadsheet from running it.
pub fn from_cell(cell: &str) -> &str {
    match cell.strip_prefix('\'') {
        Some(text) if would_run(text) => text,
        _ => cell,
    }
}

/// Lists names as `a, b, c`; for many names, the first few and the number of the rest.
pub fn some_of<T: AsRef<str>>(names: &[T]) -> String {
    /// Maximum number of names listed, to keep the text readable.
    const MOST: usize = 8;
    // A single remaining name is shown rather than counted.
    let shown = if names.len() <= MOST + 1 {
        names.len()
    } else {
        MOST
    };
    let mut text = (names[..shown].iter())
        .map(AsRef::as_ref)
        .collect::<Vec<&str>>()
        .join(", ");
    if names.len() > shown {
        text.push_str(&format!(" and {} more", names.len() - shown));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_many_names_some_are_shown_and_the_rest_counted() {
        assert_eq!(some_of::<&str>(&[]), "");
        assert_eq!(some_of(&["a", "b"]), "a, b");
        let many: Vec<String> = (0..12).map(|i| i.to_string()).collect();
        assert_eq!(some_of(&many[..9]), "0, 1, 2, 3, 4, 5, 6, 7, 8");
        assert_eq!(some_of(&many), "0, 1, 2, 3, 4, 5, 6, 7 and 4 more");
    }

    fn told(bytes: &[u8]) -> String {
        decode("f.csv", bytes).unwrap_err().to_string()
    }

    #[test]
    fn no_cell_is_a_spreadsheet_formula_and_each_reads_back() {
        for (text, cell) in [
            ("=1+1", "'=1+1"),
            ("+SUM(A1)", "'+SUM(A1)"),
            ("-2", "'-2"),
            ("@cmd", "'@cmd"),
            ("\t=1", "'\t=1"),
            ("'=1", "''=1"),
            ("calm, 'dusk'", "calm, 'dusk'"),
            ("'tis", "'tis"),
            ("a=b", "a=b"),
            ("", ""),
        ] {
            assert_eq!(to_cell(text), cell);
            assert_eq!(from_cell(cell), text);
            assert!(!cell.starts_with(RUNS));
        }
    }

    #[test]
    fn a_byte_order_mark_is_dropped() {
        assert_eq!(decode("f.csv", b"\xEF\xBB\xBFname").unwrap(), "name");
        assert_eq!(decode("f.csv", b"").unwrap(), "");
    }

    #[test]
    fn utf_16_is_named_with_and_without_its_mark() {
        for marked in [&b"\xFF\xFEt\0i\0"[..], b"\xFE\xFF\0t\0i"] {
            assert!(
                told(marked)
                    .starts_with("f.csv: this file is in UTF-16; expected UTF-8\n  help: save")
            );
        }
        assert!(told(b"t\0i\0m\0e\0_\0u\0t\0c\0").contains("UTF-16, without its mark"));
    }

    #[test]
    fn latin_1_is_reported_with_line_column_and_letter() {
        let told = told(
            "größe\ngr"
                .as_bytes()
                .iter()
                .copied()
                .chain(*b"\xF6\xDFe")
                .collect::<Vec<_>>()
                .as_slice(),
        );
        assert!(
            told.starts_with("f.csv:2:3: byte 0xF6 is not UTF-8 (in Latin-1 it is \"ö\"); expected UTF-8 text\n  help: save"),
            "{told}"
        );
    }

    #[test]
    fn a_zero_byte_is_reported_with_its_position() {
        let told = told(b"time_utc,emitter,azimuth_deg\n2026,s\0n");
        assert!(
            told.starts_with("f.csv:2:7: a zero byte stands here; expected plain text"),
            "{told}"
        );
    }

    #[test]
    fn workbooks_and_compressed_files_are_recognised() {
        assert!(told(b"PK\x03\x04....").contains("spreadsheet workbook"));
        assert!(told(b"\x1F\x8B\x08....").contains("gzip"));
    }

    #[test]
    fn columns_count_characters_not_bytes() {
        let text = "äß,x\nü=1".as_bytes();
        assert_eq!(line_and_column(text, 5), (1, 4));
        assert_eq!(line_and_column(text, 9), (2, 2));
        assert_eq!(line_and_column(text, 1000), (2, 4));
    }
}
