//! Files of orbit elements: two-line element sets (of two or three lines) and CCSDS orbit
//! mean-elements messages in JSON.

mod message;
mod two_line;

use std::collections::BTreeMap;
use std::path::Path;

use super::satellite::Orbit;
use crate::files::{FileToRead, read_bytes};
use crate::problem::{Error, Problem, Problems};
use crate::text;

/// All that is in orbit, several sets of each.
const EXPECTED: FileToRead = FileToRead::mebibytes("a file of orbit elements", 128);

/// Radians per minute in a turn per day.
const TURN_PER_DAY: f64 = std::f64::consts::TAU / 1440.0;

/// Element sets by catalogue number.
type Orbits = BTreeMap<u64, Vec<Orbit>>;

/// All element sets of one file, those of each satellite ascending in epoch.
#[derive(Clone, Debug, Default)]
pub(super) struct ElementFile {
    pub name: String,
    pub orbits: Orbits,
}

/// Reads a file of either form, told apart by its first character.
pub(super) fn read(path: &Path) -> Result<ElementFile, Problems> {
    let (name, bytes) = read_bytes(path, EXPECTED).map_err(|e| match e {
        Error::Input(problems) => problems,
        other => Problem::of_file(
            &path.display().to_string(),
            format!("cannot be read: {}", reason(&other)),
            "a file of orbit elements, as named by the station file",
        )
        .mend("give the path in the station file relative to its folder, or put the file there")
        .into(),
    })?;
    parse(&name, &bytes)
}

/// The catalogue numbers of the satellites whose orbit elements a file of either form holds.
///
/// # Errors
/// All that is wrong with it.
pub fn satellites_in(file: &str, bytes: &[u8]) -> Result<Vec<u64>, Error> {
    Ok(parse(file, bytes)?.orbits.into_keys().collect())
}

fn reason(error: &Error) -> String {
    match error {
        Error::Io { source, .. } => source.to_string(),
        other => other.to_string(),
    }
}

/// Reads the contents of a file of either form.
pub(super) fn parse(name: &str, bytes: &[u8]) -> Result<ElementFile, Problems> {
    let text = text::decode(name, bytes).map_err(|e| match e {
        Error::Input(problems) => problems,
        other => Problem::of_file(name, other.to_string(), "").into(),
    })?;
    let mut file = ElementFile {
        name: name.to_owned(),
        ..ElementFile::default()
    };
    let mut problems = Problems::new();
    match text.trim_start().chars().next() {
        Some('{' | '[') => message::read(name, text, &mut file.orbits, &mut problems),
        Some('<') => problems.push(
            Problem::of_file(
                name,
                "a web page or XML",
                "two-line element sets, or orbit mean-elements messages in JSON",
            )
            .at(1, 1)
            .mend("open the file: it may be an error page; otherwise fetch TLE or JSON"),
        ),
        _ => two_line::read(name, text, &mut file.orbits, &mut problems),
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

#[cfg(test)]
mod tests;
