//! Files of orbit elements: two-line element sets (of two or three lines) and CCSDS orbit
//! mean-elements messages in JSON.

use std::collections::BTreeMap;
use std::path::Path;

use serde_json::Value;

use super::satellite::{MeanElements, Orbit};
use crate::angle::Angle;
use crate::files::read_bytes;
use crate::problem::{Problem, Problems};
use crate::time::{TimeTextError, Utc};

/// Bytes in each of the two lines.
const LINE_LENGTH: usize = 69;
const DEGREES: f64 = std::f64::consts::PI / 180.0;
/// Radians per minute in a turn per day.
const TURN_PER_DAY: f64 = std::f64::consts::TAU / 1440.0;

/// All element sets of one file: by catalogue number, each list ascending in epoch.
#[derive(Clone, Debug, Default)]
pub(super) struct ElementFile {
    pub name: String,
    pub orbits: BTreeMap<u64, Vec<Orbit>>,
}

/// Reads a file of either form, told apart by its first character.
pub(super) fn read(path: &Path) -> Result<ElementFile, Problems> {
    let (name, bytes) = read_bytes(path).map_err(|e| {
        Problem::of_file(
            &path.display().to_string(),
            format!("cannot be read: {}", reason(&e)),
            "a file of orbit elements, as named by the station file",
        )
        .mend("elements is relative to the station file's folder")
    })?;
    parse(&name, &bytes)
}

fn reason(error: &crate::problem::Error) -> String {
    match error {
        crate::problem::Error::Io { source, .. } => source.to_string(),
        other => other.to_string(),
    }
}

/// Reads the contents of a file of either form.
pub(super) fn parse(name: &str, bytes: &[u8]) -> Result<ElementFile, Problems> {
    let text = std::str::from_utf8(bytes).map_err(|e| {
        let line = 1 + bytes[..e.valid_up_to()]
            .iter()
            .filter(|b| **b == b'\n')
            .count();
        Problem::of_file(name, "bytes that are not UTF-8", "plain text").at(line, 1)
    })?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut file = ElementFile {
        name: name.to_owned(),
        ..ElementFile::default()
    };
    let mut problems = Problems::new();
    if text.trim_start().starts_with(['{', '[']) {
        read_messages(name, text, &mut file, &mut problems);
    } else {
        read_lines(name, text, &mut file, &mut problems);
    }
    if problems.is_empty() && file.orbits.is_empty() {
        problems.push(
            Problem::of_file(
                name,
                "no orbit elements",
                "two-line element sets, or orbit mean-elements messages in JSON",
            )
            .mend("fetch the elements again; the download may have failed"),
        );
    }
    for sets in file.orbits.values_mut() {
        sets.sort_by_key(|o| o.epoch);
    }
    if problems.is_empty() {
        Ok(file)
    } else {
        Err(problems)
    }
}

// ---------------------------------------------------------------- two-line element sets

fn read_lines(name: &str, text: &str, file: &mut ElementFile, problems: &mut Problems) {
    let mut lines = text
        .lines()
        .enumerate()
        .map(|(i, line)| (i + 1, line.trim_end()))
        .filter(|(_, line)| !line.is_empty() && !line.starts_with('#'))
        .peekable();
    while let Some((at, line)) = lines.next() {
        if line.starts_with("2 ") && line.len() == LINE_LENGTH {
            problems.push(
                Problem::of_file(
                    name,
                    "a second line without its first",
                    "a line beginning with 1",
                )
                .at(at, 1)
                .mend("copy all lines of the set"),
            );
            continue;
        }
        if !line.starts_with("1 ") {
            // A title; the set begins on the next line.
            match lines.peek() {
                Some((_, next)) if next.starts_with("1 ") => {}
                _ => problems.push(
                    Problem::of_file(
                        name,
                        format!("{:?}", shortened(line)),
                        "a title followed by line 1 of a set, or line 1 itself",
                    )
                    .at(at, 1)
                    .mend("copy all lines of the set; each line keeps its blanks"),
                ),
            }
            continue;
        }
        let second = match lines.peek() {
            Some((_, next)) if next.starts_with("2 ") => lines.next(),
            _ => None,
        };
        let Some((second_at, second)) = second else {
            problems.push(
                Problem::of_file(
                    name,
                    "line 1 of a set without its line 2",
                    "a line beginning with 2",
                )
                .at(at + 1, 1)
                .mend("copy all lines of the set"),
            );
            continue;
        };
        match read_set(name, (at, line), (second_at, second)) {
            Ok((norad_id, orbit)) => file.orbits.entry(norad_id).or_default().push(orbit),
            Err(found) => problems.extend(found.as_slice().iter().cloned()),
        }
    }
}

fn read_set(
    name: &str,
    first: (usize, &str),
    second: (usize, &str),
) -> Result<(u64, Orbit), Problems> {
    for (at, line) in [first, second] {
        check_line(name, at, line)?;
    }
    let elements = sgp4::Elements::from_tle(None, first.1.as_bytes(), second.1.as_bytes())
        .map_err(|e| of_set(name, first.0, second.0, &e.to_string()))?;
    let epoch = elements
        .datetime
        .and_utc()
        .timestamp_nanos_opt()
        .map(Utc::from_unix_nanos)
        .ok_or_else(|| of_set(name, first.0, second.0, "the epoch is no date"))?;
    let orbit = Orbit::new(&MeanElements {
        epoch,
        inclination: elements.inclination * DEGREES,
        right_ascension: elements.right_ascension * DEGREES,
        eccentricity: elements.eccentricity,
        argument_of_perigee: elements.argument_of_perigee * DEGREES,
        mean_anomaly: elements.mean_anomaly * DEGREES,
        mean_motion: elements.mean_motion * TURN_PER_DAY,
        drag_term: elements.drag_term,
    })
    .map_err(|e| of_set(name, second.0, second.0, &e))?;
    Ok((elements.norad_id, orbit))
}

/// Length, characters and checksum, with the column: what the reader of the fields takes for
/// granted.
fn check_line(name: &str, at: usize, line: &str) -> Result<(), Problems> {
    if let Some(column) = line
        .chars()
        .position(|c| !c.is_ascii() || c.is_ascii_control())
    {
        return Err(Problem::of_file(
            name,
            format!("{:?}", line.chars().nth(column).unwrap_or(' ')),
            "letters, digits, signs and blanks only",
        )
        .at(at, column + 1)
        .into());
    }
    if line.len() != LINE_LENGTH {
        return Err(Problem::of_file(
            name,
            format!("a line of {} characters", line.len()),
            format!("{LINE_LENGTH}"),
        )
        .at(at, line.len().min(LINE_LENGTH) + 1)
        .mend("copy the line again with all its blanks; columns count")
        .into());
    }
    let (body, last) = line.split_at(LINE_LENGTH - 1);
    let sum = body
        .bytes()
        .map(|b| match b {
            b'-' => 1,
            b'0'..=b'9' => u32::from(b - b'0'),
            _ => 0,
        })
        .sum::<u32>()
        % 10;
    if last != sum.to_string() {
        return Err(Problem::of_file(
            name,
            format!("checksum {last}"),
            format!("{sum}, by the other characters of the line"),
        )
        .at(at, LINE_LENGTH)
        .mend("a character was changed; fetch the elements again")
        .into());
    }
    Ok(())
}

/// A fault that the element reader found. Its words name the line and, as "between
/// characters S and E", the place.
fn of_set(name: &str, first: usize, second: usize, words: &str) -> Problems {
    let line = if words.contains("line 2") {
        second
    } else {
        first
    };
    let mut column = 1;
    let mut found = words.trim_start_matches("TLE parse error: ");
    if let Some((what, place)) = found.split_once(" between characters ") {
        let start = place
            .split(' ')
            .next()
            .and_then(|s| s.parse::<usize>().ok());
        column = start.map_or(1, |s| s + 1);
        found = what.split(" on TLE line").next().unwrap_or(what);
    }
    Problem::of_file(name, found, "a two-line element set")
        .at(line, column)
        .mend("fetch the elements again; columns count")
        .into()
}

fn shortened(line: &str) -> String {
    const MOST: usize = 24;
    if line.chars().count() <= MOST {
        line.to_owned()
    } else {
        line.chars().take(MOST).chain(['…']).collect()
    }
}

// ---------------------------------------------------------------- messages in JSON

fn read_messages(name: &str, text: &str, file: &mut ElementFile, problems: &mut Problems) {
    let document: Value = match serde_json::from_str(text) {
        Ok(document) => document,
        Err(e) => {
            problems.push(
                Problem::of_file(
                    name,
                    without_place(&e.to_string()),
                    "one orbit mean-elements message or a list of them, in JSON",
                )
                .at(e.line(), e.column().max(1)),
            );
            return;
        }
    };
    let messages = match document {
        Value::Array(list) => list,
        one => vec![one],
    };
    let starts = object_lines(text);
    for (i, message) in messages.iter().enumerate() {
        let line = starts.get(i).copied().unwrap_or(1);
        match read_message(message) {
            Ok((norad_id, orbit)) => file.orbits.entry(norad_id).or_default().push(orbit),
            Err((found, expected)) => {
                problems.push(Problem::of_file(name, found, expected).at(line, 1));
            }
        }
    }
}

fn without_place(words: &str) -> String {
    words.split(" at line ").next().unwrap_or(words).to_owned()
}

/// The lines on which the outermost objects begin. The text is known to be JSON.
fn object_lines(text: &str) -> Vec<usize> {
    let (mut lines, mut depth, mut line) = (Vec::new(), 0usize, 1);
    let (mut in_string, mut escaped) = (false, false);
    for byte in text.bytes() {
        match byte {
            b'\n' => line += 1,
            _ if escaped => escaped = false,
            b'\\' if in_string => escaped = true,
            b'"' => in_string = !in_string,
            b'{' if !in_string => {
                if depth == 0 {
                    lines.push(line);
                }
                depth += 1;
            }
            b'}' if !in_string => depth = depth.saturating_sub(1),
            _ => {}
        }
    }
    lines
}

type Fault = (String, String);

/// One message. Keys that SGP4 has no use for are not asked for; those which say that the
/// elements are of another kind are heeded.
fn read_message(message: &Value) -> Result<(u64, Orbit), Fault> {
    let Value::Object(message) = message else {
        return Err((
            format!("{message}"),
            "an orbit mean-elements message, in braces".to_owned(),
        ));
    };
    let text = |key: &str| message.get(key).and_then(Value::as_str).map(str::trim);
    for (key, wanted) in [
        ("TIME_SYSTEM", &["UTC"][..]),
        ("REF_FRAME", &["TEME"][..]),
        ("CENTER_NAME", &["EARTH"][..]),
        ("MEAN_ELEMENT_THEORY", &["SGP4", "SGP/SGP4"][..]),
    ] {
        if let Some(given) = text(key)
            && !wanted.iter().any(|w| given.eq_ignore_ascii_case(w))
        {
            return Err((format!("{key} {given:?}"), wanted[0].to_owned()));
        }
    }
    let norad_id = number(message, "NORAD_CAT_ID")?;
    if norad_id < 0.0 || norad_id.fract() != 0.0 {
        return Err((
            format!("NORAD_CAT_ID {norad_id}"),
            "a whole number".to_owned(),
        ));
    }
    let epoch_text = text("EPOCH").ok_or_else(|| missing("EPOCH"))?;
    let epoch = match Utc::parse(epoch_text) {
        // The standard writes the epoch without a zone; TIME_SYSTEM says that it is UTC.
        Err(TimeTextError::NoZone) => Utc::parse(&format!("{epoch_text}Z")),
        other => other,
    }
    .map_err(|e| {
        (
            format!("EPOCH {epoch_text:?} {e}"),
            "a time in UTC".to_owned(),
        )
    })?;
    let angle = |key| number(message, key).map(|d| Angle::from_degrees(d).radians());
    let orbit = Orbit::new(&MeanElements {
        epoch,
        inclination: angle("INCLINATION")?,
        right_ascension: angle("RA_OF_ASC_NODE")?,
        eccentricity: number(message, "ECCENTRICITY")?,
        argument_of_perigee: angle("ARG_OF_PERICENTER")?,
        mean_anomaly: angle("MEAN_ANOMALY")?,
        mean_motion: number(message, "MEAN_MOTION")? * TURN_PER_DAY,
        drag_term: number(message, "BSTAR")?,
    })
    .map_err(|e| (e, "elements of an orbit".to_owned()))?;
    Ok((norad_id as u64, orbit))
}

fn missing(key: &str) -> Fault {
    (format!("no {key}"), format!("{key} in every message"))
}

/// A number, which some issuers write as text.
fn number(message: &serde_json::Map<String, Value>, key: &str) -> Result<f64, Fault> {
    let given = message.get(key).ok_or_else(|| missing(key))?;
    let value = match given {
        Value::Number(n) => n.as_f64(),
        Value::String(s) => s.trim().parse().ok(),
        _ => None,
    };
    value
        .filter(|x: &f64| x.is_finite())
        .ok_or_else(|| (format!("{key} {given}"), "a number".to_owned()))
}
