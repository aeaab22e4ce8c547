//! Two-line element sets.

use std::ops::Range;

use super::{Orbits, TURN_PER_DAY};
use crate::problem::{Problem, Problems};
use crate::sky::satellite::{MeanElements, Orbit};
use crate::station::limits;
use crate::text::quoted;
use crate::time::Utc;

/// Characters in each of the two lines, as the format has it.
const LINE_LENGTH: usize = 69;
/// Places in line 1 and line 2 of what SGP4 makes no use of.
const TYPE: Range<usize> = 62..63;
const SET_NUMBER: Range<usize> = 64..68;
const REVOLUTION: Range<usize> = 63..68;
const DEGREES: f64 = std::f64::consts::PI / 180.0;

const FETCH_AGAIN: &str = "a character was changed; fetch the elements again";

/// Reads all sets, each with or without a title line; lines that begin with # are comments.
pub(super) fn read(name: &str, text: &str, orbits: &mut Orbits, problems: &mut Problems) {
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
                        format!("{} without an element set behind it", quoted(line)),
                        "line 1 of a two-line element set, or a title before one",
                    )
                    .at(at, 1)
                    .mend("copy all lines of the set, each with its blanks"),
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
            Ok((norad_id, orbit)) => orbits.entry(norad_id).or_default().push(orbit),
            Err(found) => problems.append(found),
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
    let (number, other) = (&first.1[2..7], &second.1[2..7]);
    if number != other {
        return Err(Problem::of_file(
            name,
            format!("catalogue number {}", other.trim()),
            format!("{}, as in line 1 of the set", number.trim()),
        )
        .at(second.0, 3)
        .mend("lines of two satellites were mixed up; copy the set again")
        .into());
    }
    let elements = sgp4::Elements::from_tle(
        None,
        zero_for_blank(first.1, &[TYPE, SET_NUMBER]).as_bytes(),
        zero_for_blank(second.1, &[REVOLUTION]).as_bytes(),
    )
    .map_err(|e| of_set(name, first, second, &e.to_string()))?;
    let epoch = elements
        .datetime
        .and_utc()
        .timestamp_nanos_opt()
        .map(Utc::from_unix_nanos)
        .ok_or_else(|| of_set(name, first, second, "an epoch that is not a date"))?;
    for (called, value, quantity) in [
        ("the inclination", elements.inclination, limits::INCLINATION),
        ("the mean motion", elements.mean_motion, limits::MEAN_MOTION),
    ] {
        let checked = quantity.check(called, &value.to_string(), value);
        checked.map_err(|wrong| wrong.mend(FETCH_AGAIN).at(name, second.0, 1))?;
    }
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
    .map_err(|e| of_set(name, second, second, &e))?;
    Ok((elements.norad_id, orbit))
}

/// The line with the last column of each wholly blank field set to zero. Some issuers leave the
/// ephemeris type, the set number or the revolution number blank; SGP4 makes no use of them.
fn zero_for_blank(line: &str, fields: &[Range<usize>]) -> String {
    let mut bytes = line.as_bytes().to_vec();
    for field in fields {
        if bytes[field.clone()].iter().all(|b| *b == b' ') {
            bytes[field.end - 1] = b'0';
        }
    }
    bytes.into_iter().map(char::from).collect()
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
            format!("{LINE_LENGTH} characters"),
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
        .mend(FETCH_AGAIN)
        .into());
    }
    Ok(())
}

/// A fault that the reader of the fields found. Its words name the line and, as "between
/// characters S and E", the place, counted from zero and without the last.
fn of_set(name: &str, first: (usize, &str), second: (usize, &str), words: &str) -> Problems {
    let (at, line) = if words.contains("line 2") {
        second
    } else {
        first
    };
    let place = words
        .split_once(" between characters ")
        .and_then(|(_, place)| {
            let (start, end) = place.split_once(" and ")?;
            let (start, end) = (start.parse::<usize>().ok()?, end.parse::<usize>().ok()?);
            Some((start, line.get(start..end)?))
        });
    let (column, found) = match place {
        Some((start, field)) => (start + 1, format!("{field:?}")),
        None => (1, words.to_owned()),
    };
    let expected = if words.contains("non-space") {
        "a blank between two fields"
    } else if place.is_some() {
        "a number"
    } else {
        "elements of an orbit"
    };
    Problem::of_file(name, found, expected)
        .at(at, column)
        .mend(
            "columns matter: copy the line again with all its blanks, or fetch the elements again",
        )
        .into()
}
