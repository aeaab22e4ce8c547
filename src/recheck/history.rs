//! Calibrations over months: which changes are real.

use std::path::{Path, PathBuf};

use super::changes::movement;
use super::join::lineage;
use super::old::Old;
use super::tuned::FALSE_ALARM_OF_A_CHANGE;
use crate::angle::Angle;
use crate::fit::quantile;
use crate::logbook::{Calibration, TermState, Trust};
use crate::mount::{Kind, Term, TermUnit};
use crate::problem::{Error, Problem};
use crate::solve::record::model_of;
use crate::time::Utc;

/// Calibrations in order of creation.
#[derive(Clone, Debug)]
pub struct History {
    /// One per file.
    pub entries: Vec<Entry>,
    /// One per term that at least one calibration fitted.
    pub terms: Vec<TermHistory>,
    /// Remarks.
    pub notes: Vec<String>,
    /// Files that were left out, and what is wrong with each.
    pub left_out: Vec<String>,
}

/// One calibration file.
#[derive(Clone, Debug)]
pub struct Entry {
    /// Its file name without folder.
    pub file: String,
    /// Time of creation.
    pub created: Utc,
    /// Its content.
    pub calibration: Calibration,
}

/// One term over time.
#[derive(Clone, Debug)]
pub struct TermHistory {
    /// The term.
    pub term: Term,
    /// The kind of mount.
    pub mount: Kind,
    /// Its values in order of time; calibrations that did not fit it are left out.
    pub points: Vec<Point>,
    /// Probability that a constant value gives points this far apart; `None` for a single point.
    pub steady: Option<f64>,
    /// Whether it changed although no single step is real: it creeps.
    pub creeps: bool,
}

impl TermHistory {
    /// The values in internal units, with an azimuth unwrapped across 180 degrees.
    pub fn values(&self) -> Vec<f64> {
        let first = self.points.first().map_or(0.0, |p| p.value);
        let steps = (self.points.windows(2))
            .map(|pair| difference(self.term, pair[0].value, pair[1].value));
        std::iter::once(0.0)
            .chain(steps)
            .scan(first, |value, step| {
                *value += step;
                Some(*value)
            })
            .take(self.points.len())
            .collect()
    }
    /// The last value minus the first, with its standard deviation.
    pub fn overall(&self) -> (f64, f64) {
        match (self.points.first(), self.points.last()) {
            (Some(first), Some(last)) => (
                difference(self.term, first.value, last.value),
                first.sigma.hypot(last.sigma),
            ),
            _ => (0.0, 0.0),
        }
    }
}

/// One value of one term.
#[derive(Clone, Debug)]
pub struct Point {
    /// The file that contains it.
    pub file: String,
    /// Time of creation of the file.
    pub created: Utc,
    /// Value in internal units.
    pub value: f64,
    /// One standard deviation.
    pub sigma: f64,
    /// Degrees of freedom of the standard deviation.
    pub freedom: f64,
    /// Change since the previous value; `None` for the first, and for a term that a joined
    /// calibration took as unchanged, where only the uncertainty is smaller.
    pub change: Option<f64>,
    /// Standard deviation of the change.
    pub change_sigma: f64,
    /// Probability of a change this large by chance.
    pub chance: f64,
    /// Whether it is real: the probability, corrected for all changes examined, is below
    /// [`FALSE_ALARM_OF_A_CHANGE`].
    pub real: bool,
}

/// A calibration a day for five years; a folder with more is the wrong folder.
const MOST_FILES: usize = 2000;

/// The calibration files (`*.json`) of a folder, by name.
///
/// # Errors
/// When the folder cannot be read, or contains more of them than any history has.
pub fn calibration_files(folder: &Path) -> Result<Vec<PathBuf>, Error> {
    let name = folder.display().to_string();
    let listed = std::fs::read_dir(folder).map_err(|e| Error::io(&name, "read", e))?;
    let mut files = Vec::new();
    for entry in listed {
        let path = entry.map_err(|e| Error::io(&name, "read", e))?.path();
        if path.extension().is_none_or(|e| e != "json") {
            continue;
        }
        files.push(path);
        if files.len() > MOST_FILES {
            return Err(Problem::of_file(
                &name,
                format!("this folder holds more than {MOST_FILES} files *.json"),
                "a folder of calibrations, as solve writes them",
            )
            .mend("put those to be compared into a separate folder")
            .into());
        }
    }
    files.sort();
    Ok(files)
}

/// Reads all calibration files (`*.json`) of a folder.
///
/// # Errors
/// When the folder cannot be read or contains no readable calibration. A single bad file is left
/// out, and listed in the notes and in [`History::left_out`].
pub fn history(folder: &Path) -> Result<History, Error> {
    let name = folder.display().to_string();
    let files = calibration_files(folder)?;
    let mut entries = Vec::new();
    let mut notes = Vec::new();
    let mut faults: Vec<Error> = Vec::new();
    for path in &files {
        let file = path
            .file_name()
            .map_or_else(String::new, |f| f.to_string_lossy().into_owned());
        match Calibration::read(path) {
            Ok(calibration) => {
                if calibration.trust == Trust::None {
                    notes.push(format!(
                        "{file} states that its numbers mean nothing: a change reported \
                         from or to it may not be real"
                    ));
                }
                entries.push(Entry {
                    file,
                    created: calibration.created_utc,
                    calibration,
                });
            }
            Err(fault) => {
                notes.push(format!(
                    "{file} is left out: it is not a readable calibration"
                ));
                faults.push(fault);
            }
        }
    }
    if entries.is_empty() && !faults.is_empty() {
        return Err(faults.swap_remove(0));
    }
    if entries.is_empty() {
        return Err(Problem::of_file(
            &name,
            "a folder without calibrations",
            "calibration files, *.json, as solve writes them",
        )
        .mend("keep a copy of calibration.json in it after each solve, named by date")
        .into());
    }
    entries.sort_by_key(|e| e.created);
    // The terms of one kind of mount mean nothing on another: only the kind of the last calibration
    // is used.
    if let Some(mount) = entries.last().map(|e| e.calibration.kind()) {
        entries.retain(|e| {
            let same = e.calibration.kind() == mount;
            if !same {
                notes.push(format!(
                    "{} is left out: it is of a mount of kind {}, the last of one of kind {mount}",
                    e.file,
                    e.calibration.kind()
                ));
            }
            same
        });
    }
    let stations: std::collections::BTreeSet<&str> = entries
        .iter()
        .map(|e| e.calibration.station.as_str())
        .collect();
    if stations.len() > 1 {
        let names: Vec<&str> = stations.into_iter().collect();
        notes.push(format!(
            "the calibrations are of different stations: {}",
            names.join(", ")
        ));
    }
    let joins = joins(&entries);
    notes.extend(joins.iter().map(|join| {
        format!(
            "{} was joined by recheck from {}, and shares its errors: its changes are those that \
             the new peaks show, and a term without one was taken to be as before",
            entries[join.child].file,
            entries[join.child - 1].file
        )
    }));
    let mount = entries.last().map_or(Kind::AzEl, |e| e.calibration.kind());
    let mut terms: Vec<TermHistory> = Vec::new();
    for term in Term::ALL {
        let points = points(&entries, term, &joins)?;
        if !points.is_empty() {
            terms.push(TermHistory {
                term,
                mount,
                steady: steady(term, &points),
                points,
                creeps: false,
            });
        }
    }
    let changes = (terms.iter().flat_map(|t| &t.points))
        .filter(|p| p.change.is_some())
        .count();
    let lasting = terms.iter().filter(|t| t.steady.is_some()).count();
    for history in &mut terms {
        for point in &mut history.points {
            point.real =
                point.change.is_some() && point.chance * (changes as f64) < FALSE_ALARM_OF_A_CHANGE;
        }
        history.creeps = history.points.iter().all(|p| !p.real)
            && (history.steady).is_some_and(|p| p * (lasting as f64) < FALSE_ALARM_OF_A_CHANGE);
    }
    notes.extend(other_terms(&entries));
    Ok(History {
        entries,
        terms,
        notes,
        left_out: faults.iter().map(Error::to_string).collect(),
    })
}

/// A calibration that recheck joined from the one before it.
struct Join {
    /// Its place among the entries; the one before it is its parent.
    child: usize,
    /// How far each term moved, with its standard deviation; zero where it was not free.
    moved: Vec<(Term, f64, f64)>,
}

/// Which calibrations were joined from the one before them. The two are not independent: the
/// movement is computed as in recheck, with all correlations.
fn joins(entries: &[Entry]) -> Vec<Join> {
    let of = |child: usize| {
        let (parent, joined) = (&entries[child - 1], &entries[child]);
        let (made, kind) = lineage(&joined.calibration)?;
        if made.to_string() != parent.created.to_string() {
            return None;
        }
        let old = Old::new(parent.calibration.clone(), &parent.file).ok()?;
        let now = Old::new(joined.calibration.clone(), &joined.file).ok()?;
        if old.terms != now.terms {
            return None;
        }
        let moved = movement(&old, kind, &now.values(), &now.covariance)?;
        let moved = (old.terms.iter().zip(moved))
            .map(|(term, (by, sigma))| (*term, by, sigma))
            .collect();
        Some(Join { child, moved })
    };
    (1..entries.len()).filter_map(of).collect()
}

fn points(entries: &[Entry], term: Term, joins: &[Join]) -> Result<Vec<Point>, Error> {
    let mut points: Vec<Point> = Vec::new();
    for (place, entry) in entries.iter().enumerate() {
        let Some(record) = entry.calibration.term(term) else {
            continue;
        };
        let sigma = record.sigma_deg.or(record.sigma).or(record.sigma_s);
        let (TermState::Fitted, Some(sigma)) = (record.state, sigma) else {
            continue;
        };
        let value = model_of(&entry.calibration)?.terms().inside(term);
        let sigma = term.unit().inward(sigma);
        let freedom = (entry.calibration.degrees_of_freedom as f64).max(1.0);
        let before = points.last();
        // Change from an independent calibration, unless this one was joined from the one before.
        let joined = (joins.iter().find(|join| join.child == place))
            .filter(|_| before.is_some_and(|before| before.file == entries[place - 1].file))
            .and_then(|join| join.moved.iter().find(|(t, _, _)| *t == term));
        let (change, change_sigma) = match (before, joined) {
            (None, _) => (None, 0.0),
            (_, Some((_, by, apart))) => ((*apart > 0.0).then_some(*by), *apart),
            (Some(before), None) => (
                Some(difference(term, before.value, value)),
                before.sigma.hypot(sigma),
            ),
        };
        let chance = before.zip(change).map_or(1.0, |(before, change)| {
            let squares = (change / change_sigma.max(f64::MIN_POSITIVE)).powi(2);
            // Student's t with the degrees of freedom of a sum of variances (Welch, The
            // generalization of Student's problem, 1947; from memory). A joined calibration has the
            // noise of its parent.
            let freedom = if joined.is_some() {
                before.freedom
            } else {
                let fourth = before.sigma.powi(4) / before.freedom + sigma.powi(4) / freedom;
                change_sigma.powi(4) / fourth.max(f64::MIN_POSITIVE)
            };
            quantile::f_exceeds(squares, 1.0, freedom.max(1.0))
        });
        points.push(Point {
            file: entry.file.clone(),
            created: entry.created,
            value,
            sigma,
            freedom,
            change,
            change_sigma,
            chance,
            real: false,
        });
    }
    Ok(points)
}

/// Change of a term; for an angle, the shorter way round.
fn difference(term: Term, before: f64, now: f64) -> f64 {
    match term.unit() {
        TermUnit::Angle => Angle::from_radians(now - before).wrapped_signed().radians(),
        _ => now - before,
    }
}

/// The probability that points with a common value are this far from their weighted mean.
fn steady(term: Term, points: &[Point]) -> Option<f64> {
    let first = points.first()?;
    if points.len() < 2 {
        return None;
    }
    let weight = |p: &Point| p.sigma.max(f64::MIN_POSITIVE).powi(-2);
    let weights: f64 = points.iter().map(weight).sum();
    let apart = |p: &Point| difference(term, first.value, p.value);
    let mean = points.iter().map(|p| weight(p) * apart(p)).sum::<f64>() / weights;
    let squares: f64 = (points.iter())
        .map(|p| weight(p) * (apart(p) - mean).powi(2))
        .sum();
    let steps = points.len() as f64 - 1.0;
    let freedom: f64 = points.iter().map(|p| p.freedom).sum();
    Some(quantile::f_exceeds(squares / steps, steps, freedom))
}

/// Consecutive calibrations that fitted different terms: an error that one assigns to a term may be
/// in another term of the other.
fn other_terms(entries: &[Entry]) -> Vec<String> {
    let fitted = |entry: &Entry| -> std::collections::BTreeSet<String> {
        (entry.calibration.terms.iter())
            .filter(|(_, record)| record.state == TermState::Fitted)
            .map(|(name, _)| name.clone())
            .collect()
    };
    (entries.windows(2))
        .filter_map(|pair| {
            let (before, now) = (fitted(&pair[0]), fitted(&pair[1]));
            let names: Vec<&str> = (before.symmetric_difference(&now))
                .map(String::as_str)
                .collect();
            (!names.is_empty()).then(|| {
                format!(
                    "only one of {} and {} fitted {}: a change reported for another term may come \
                     from that; solve both with the same --terms to compare them",
                    pair[0].file,
                    pair[1].file,
                    names.join(", ")
                )
            })
        })
        .collect()
}
