//! Recognises the kind of file that an output would replace, and decides what may be done with it.

use serde::Deserialize;

use super::mark;
use crate::time::Utc;

/// What a verb writes into a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OutputKind {
    /// A log of peaks.
    Log,
    /// A log to fill in.
    Sheet,
    /// A calibration.
    Calibration,
    /// A correction table, in any of its forms.
    Table,
    /// Anything else: a text or a JSON document for reading.
    Text,
}

/// Contents of an existing file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum FileContents {
    /// Empty.
    Nothing,
    /// A log with this many filled rows.
    Log {
        /// Number of filled rows.
        rows: usize,
        /// The verb that wrote it, if it has not been edited since.
        unedited_of: Option<String>,
    },
    /// A log without a filled row.
    Unfilled {
        /// Number of rows to fill in.
        rows: usize,
        /// The verb that wrote it, if it has not been edited since.
        unedited_of: Option<String>,
    },
    /// A calibration, and when it was made if it says so.
    Calibration(Option<Utc>),
    /// A correction table.
    Table,
    /// An input file written by a person or a service, with its description.
    Source(&'static str),
    /// Something else.
    Other,
}

/// What to do with an existing file at the path of an output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Old {
    /// Replace it: it contains nothing worth keeping.
    Goes,
    /// Keep it beside the new one.
    IsKept,
}

impl FileContents {
    /// Decides what to do with the file if `verb` writes an output of this kind in its place.
    ///
    /// # Errors
    /// A description of the file, if it must not be overwritten.
    pub fn replaced_by(&self, kind: OutputKind, verb: &str) -> Result<Old, String> {
        let own = |of: &Option<String>| of.as_deref() == Some(verb);
        match (self, kind) {
            (FileContents::Nothing, _) => Ok(Old::Goes),
            // A log without any rows has not been started.
            (FileContents::Unfilled { rows, unedited_of }, OutputKind::Sheet | OutputKind::Log)
                if *rows == 0 || own(unedited_of) =>
            {
                Ok(Old::Goes)
            }
            (FileContents::Log { unedited_of, .. }, OutputKind::Log) if own(unedited_of) => {
                Ok(Old::IsKept)
            }
            (FileContents::Unfilled { .. }, OutputKind::Sheet | OutputKind::Log)
            | (FileContents::Calibration(_), OutputKind::Calibration)
            | (FileContents::Table, OutputKind::Table)
            | (FileContents::Other, _) => Ok(Old::IsKept),
            (FileContents::Log { rows, .. }, _) => Err(match rows {
                1 => "a log with a filled row".to_owned(),
                rows => format!("a log with {rows} filled rows"),
            }),
            (FileContents::Unfilled { .. }, _) => Err("a log to fill in".to_owned()),
            (FileContents::Calibration(_), _) => Err("a calibration".to_owned()),
            (FileContents::Table, _) => Err("a correction table".to_owned()),
            (FileContents::Source(what), _) => Err((*what).to_owned()),
        }
    }

    /// Recognises a file by its contents.
    pub fn of(bytes: &[u8]) -> FileContents {
        let text = String::from_utf8_lossy(bytes);
        let text = text.trim_start_matches('\u{feff}');
        if text.trim().is_empty() {
            return FileContents::Nothing;
        }
        let start = text.trim_start();
        // A JSON list contains objects; anything else in brackets is a TOML section heading.
        let list = start.strip_prefix('[').map(str::trim_start);
        if start.starts_with('{') || list.is_some_and(|first| first.starts_with(['{', ']'])) {
            return of_json(start);
        }
        let head: Vec<&str> = text.lines().take(LINES_LOOKED_AT).collect();
        let has = |words: &[&str]| head.iter().any(|line| words.contains(&line.trim()));
        if start.starts_with("/* Correction table") || start.starts_with("# format: plumbeam corr")
        {
            FileContents::Table
        } else if has(&["[site]", "[mount]", "[dish]", "[[emitter]]"]) {
            FileContents::Source("a station file")
        } else if has(&["[session]", "[terms]", "[noise]"]) {
            FileContents::Source("a truth file")
        } else if head.windows(2).any(|pair| is_element_set(pair[0], pair[1])) {
            FileContents::Source("a file of orbit elements")
        } else {
            of_rows(text)
        }
    }
}

/// Number of lines examined to recognise a file: more than any comment at its beginning has.
const LINES_LOOKED_AT: usize = 400;

fn of_json(text: &str) -> FileContents {
    #[derive(Deserialize)]
    struct Start {
        created_utc: Option<Utc>,
    }
    // Not parsed as JSON, because a damaged calibration must also be recognised.
    let head: String = text.chars().take(4000).collect();
    if head.contains("\"plumbeam calibration ") {
        let start: Option<Start> = serde_json::from_str(text).ok();
        FileContents::Calibration(start.and_then(|s| s.created_utc))
    } else if head.contains("\"plumbeam correction table ") {
        FileContents::Table
    } else if head.contains("\"NORAD_CAT_ID\"") {
        FileContents::Source("a file of orbit elements")
    } else {
        FileContents::Other
    }
}

/// Whether two lines are those of a two-line element set.
fn is_element_set(first: &str, second: &str) -> bool {
    /// Columns of such a line without its checksum, the last, which may be missing.
    const COLUMNS: usize = 68;
    let is = |line: &str, number: &str| line.starts_with(number) && line.trim().len() >= COLUMNS;
    is(first, "1 ") && is(second, "2 ")
}

/// Treats a table of rows with a header as a log: rows with a reading or a time count as filled. It
/// may come from another program, with other column names.
fn of_rows(text: &str) -> FileContents {
    /// Minimum number of columns of a log: a time, an emitter and a reading.
    const LEAST_COLUMNS: usize = 3;
    let mut lines = text.lines().filter(|l| !l.starts_with('#'));
    let Some(header) = lines.find(|l| !l.trim().is_empty()) else {
        return FileContents::Other;
    };
    let separator = [b',', b';', b'\t', b'|']
        .into_iter()
        .max_by_key(|s| header.bytes().filter(|b| b == s).count())
        .unwrap_or(b',');
    let mut rows = csv::ReaderBuilder::new()
        .delimiter(separator)
        .flexible(true)
        .comment(Some(b'#'))
        .has_headers(false)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut records = rows.byte_records().filter_map(Result::ok);
    let Some(header) = records.next() else {
        return FileContents::Other;
    };
    let is_number = |cell: &[u8]| {
        let text = String::from_utf8_lossy(cell).replace(',', ".");
        text.parse::<f64>().is_ok_and(f64::is_finite)
    };
    if header.len() < LEAST_COLUMNS || header.iter().any(is_number) {
        return FileContents::Other;
    }
    let readings: Vec<usize> = (header.iter().enumerate())
        .filter(|(_, name)| {
            let name = name.to_ascii_lowercase();
            [&b"time_utc"[..], b"azimuth_deg", b"elevation_deg"].contains(&name.as_slice())
        })
        .map(|(i, _)| i)
        .collect();
    let is_filled = |row: &csv::ByteRecord| match readings.as_slice() {
        [] => row.len() == header.len() && row.iter().any(is_number),
        columns => (columns.iter()).any(|i| row.get(*i).is_some_and(|cell| !cell.is_empty())),
    };
    let (mut rows, mut filled) = (0, 0);
    for record in records.filter(|row| row.iter().any(|cell| !cell.is_empty())) {
        rows += 1;
        filled += usize::from(is_filled(&record));
    }
    let unedited_of = mark::unedited_of(text);
    match filled {
        0 => FileContents::Unfilled { rows, unedited_of },
        rows => FileContents::Log { rows, unedited_of },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEADER: &str = "time_utc,emitter,azimuth_deg,elevation_deg,note\n";

    fn of(text: &str) -> FileContents {
        FileContents::of(text.as_bytes())
    }
    fn log(rows: usize) -> FileContents {
        FileContents::Log {
            rows,
            unedited_of: None,
        }
    }

    #[test]
    fn logs_are_recognised_by_their_filled_rows() {
        let row = "2026-09-12T06:25:45Z,sun,168.08,30.67,\n";
        let empty = ",sun,,,\"planned 2026-09-12; expect azimuth 168.1\"\n";
        let unfilled = |rows| FileContents::Unfilled {
            rows,
            unedited_of: None,
        };
        assert_eq!(of(HEADER), unfilled(0));
        assert_eq!(of(&format!("# a comment\n{HEADER}\n,,,,\n")), unfilled(0));
        assert_eq!(
            of(&format!("# a comment\n{HEADER}{empty}{empty}")),
            unfilled(2)
        );
        assert_eq!(of(&format!("{HEADER}{empty}{row}{row}")), log(2));
        // One reading is enough, or a time.
        assert_eq!(of(&format!("{HEADER},sun,,30.67,\n")), log(1));
        assert_eq!(
            of(&format!("{HEADER}2026-09-12T06:25:45Z,sun,,,\n")),
            log(1)
        );
        assert_eq!(
            of("\u{feff}Date Time;Source;AZ;EL\r\n12.09.2026 06:25;sun;168,08;30,67\r\n"),
            log(1)
        );
        assert_eq!(of("t\taz\tel\n9:25\t168.1\t30.7\n"), log(1));
    }

    #[test]
    fn files_that_plumbeam_reads_or_writes_are_recognised() {
        let calibration = include_str!("../../tests/data/invented/calibration.json");
        let created = Utc::parse("2026-04-04T20:00:00.000Z").ok();
        assert_eq!(of(calibration), FileContents::Calibration(created));
        let cut = &calibration[..calibration.len() / 2];
        assert_eq!(of(cut), FileContents::Calibration(None));
        assert_eq!(
            of("# format: plumbeam correction table 1\n"),
            FileContents::Table
        );
        // A heading in the first line is not a list of JSON.
        assert_eq!(of("[site]\n"), FileContents::Source("a station file"));
        assert_eq!(
            of("[terms]\n[session]\n"),
            FileContents::Source("a truth file")
        );
        let elements = FileContents::Source("a file of orbit elements");
        assert_eq!(of("[\n {\"NORAD_CAT_ID\": 1}]"), elements);
        let demo = |text| match of(text) {
            FileContents::Source(what) => what,
            other => panic!("{other:?}"),
        };
        let station = include_str!("../../demo-data/station.toml");
        assert_eq!(demo(station), "a station file");
        let truth = include_str!("../../demo-data/truth.toml");
        assert_eq!(demo(truth), "a truth file");
        let elements = include_str!("../../demo-data/satellites.tle");
        assert_eq!(demo(elements), "a file of orbit elements");
        assert_eq!(demo("[{\"NORAD_CAT_ID\": 1}]"), "a file of orbit elements");
        for other in [
            "some words\n",
            "{\"a\": 1}",
            "1.0 2.0\n3.0 4.0\n",
            "\u{fffd}\0",
        ] {
            assert_eq!(of(other), FileContents::Other, "{other}");
        }
        assert_eq!(of(" \r\n"), FileContents::Nothing);
    }

    #[test]
    fn only_files_without_content_worth_keeping_are_replaced() {
        use OutputKind::{Calibration, Log, Sheet, Table, Text};
        let mine = |rows| {
            let unedited_of = Some("reduce".to_owned());
            match rows {
                0 => FileContents::Unfilled {
                    rows: 2,
                    unedited_of,
                },
                rows => FileContents::Log { rows, unedited_of },
            }
        };
        let unfilled = |rows| FileContents::Unfilled {
            rows,
            unedited_of: None,
        };
        let may = |found: &FileContents, kind| found.replaced_by(kind, "reduce").ok();
        let all = [Calibration, Log, Sheet, Table, Text];
        for kind in all {
            assert_eq!(may(&FileContents::Nothing, kind), Some(Old::Goes));
            assert_eq!(may(&FileContents::Other, kind), Some(Old::IsKept));
            assert_eq!(may(&log(3), kind), None);
            assert_eq!(may(&FileContents::Source("a station file"), kind), None);
            let same = |wanted: &[OutputKind]| wanted.contains(&kind).then_some(Old::IsKept);
            assert_eq!(
                may(&FileContents::Calibration(None), kind),
                same(&[Calibration])
            );
            assert_eq!(may(&FileContents::Table, kind), same(&[Table]));
            assert_eq!(may(&unfilled(2), kind), same(&[Log, Sheet]));
            assert_eq!(may(&mine(3), kind), same(&[Log]));
            let own = [Log, Sheet].contains(&kind).then_some(Old::Goes);
            assert_eq!(may(&mine(0), kind), own);
            assert_eq!(may(&unfilled(0), kind), own);
        }
        // A log written by another verb is not its own.
        assert!(mine(3).replaced_by(Log, "simulate").is_err());
        assert_eq!(
            log(1).replaced_by(Text, "sky"),
            Err("a log with a filled row".to_owned())
        );
    }
}
