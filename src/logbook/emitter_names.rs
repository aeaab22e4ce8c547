//! Names of emitters in logs.

use super::cell::Cell;
use super::log_options::LogOptions;
use super::table::{TakenKind, Told, is};
use crate::problem::{Error, MOST_PROBLEMS_SHOWN, Wrong, nearest_name};
use crate::station::Station;
use crate::text::{from_cell, quoted};

/// Maximum number of emitters listed when a row names an unknown one, to keep the message readable.
const MOST_EMITTERS_LISTED: usize = 12;

/// Checks that the station has the emitter named by an option.
///
/// # Errors
/// If it has not.
pub(super) fn check_emitter(station: &Station, options: &LogOptions) -> Result<(), Error> {
    match &options.emitter {
        Some(name) if find_emitter(station, name).is_none() => {
            let known = station.emitters.iter().map(|e| e.name.as_str());
            let near = nearest_name(name, known);
            let near = near.map_or(String::new(), |n| format!("; is it {n}?"));
            Err(Error::Usage(format!(
                "--emitter: the station file has no emitter {}{near}",
                quoted(name)
            )))
        }
        _ => Ok(()),
    }
}

/// Returns the emitter of a log without an emitter column: the one named by an option, or the
/// station's only one.
pub(super) fn one_emitter(
    station: &Station,
    options: &LogOptions,
    told: &mut Told,
) -> Option<String> {
    let (name, why) = match (&options.emitter, &station.emitters[..]) {
        (Some(name), _) => (find_emitter(station, name)?, "as --emitter says"),
        (None, [only]) => (only.name.clone(), "the only one of the station"),
        (None, _) => return None,
    };
    told.taken.whole(TakenKind::OneEmitter, || {
        format!("all rows are of {name}, {why}")
    });
    Some(name)
}

/// Finds the station's emitter of that name, ignoring case: no two emitters of a station differ
/// only in case.
pub(super) fn find_emitter(station: &Station, name: &str) -> Option<String> {
    let name = name.trim();
    if station.emitter(name).is_some() {
        return Some(name.to_owned());
    }
    let lower = name.to_lowercase();
    let names = station.emitters.iter().map(|e| e.name.as_str());
    let mut alike = names.filter(|n| n.to_lowercase() == lower);
    alike.next().map(str::to_owned)
}

/// Returns the emitter's name if the station has it.
pub(super) fn emitter(
    cell: &Cell<'_>,
    line: usize,
    station: &Station,
    told: &mut Told,
) -> Option<String> {
    let text = (cell.required("the name of an emitter in the station file", told)?).trim();
    let bare = from_cell(text);
    let found = find_emitter(station, text).or_else(|| find_emitter(station, bare));
    if let Some(name) = found {
        if name != text && name != bare {
            told.taken.at(TakenKind::EmitterCase, line, || {
                format!("emitters in other capitals: {}", is(text, &name))
            });
        }
        return Some(name);
    }
    // Faults that are only counted need no words, and finding them takes a search through all
    // names.
    if told.problems.count() >= MOST_PROBLEMS_SHOWN {
        told.problems.push(cell.problem(Wrong::default()));
        return None;
    }
    let known = || station.emitters.iter().map(|e| e.name.as_str());
    let some: Vec<&str> = known().take(MOST_EMITTERS_LISTED).collect();
    let expected = match known().count() {
        0 => "an emitter, but the station file lists none".to_owned(),
        n if n > some.len() => format!("one of its {n}: {}, …", some.join(", ")),
        _ => format!("one of {}", some.join(", ")),
    };
    let wrong = Wrong::new(
        format!("the station file has no emitter {}", quoted(text)),
        expected,
    );
    told.problems
        .push(cell.problem(match nearest_name(text, known()) {
            Some(near) => wrong.mend(format!("write {near} if that is what was meant")),
            None => wrong.mend("add it to the station file as an [[emitter]]"),
        }));
    None
}
