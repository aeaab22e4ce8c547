//! Calibrations over months: which changes are real.

use std::path::Path;

use crate::angle::Angle;
use crate::fit::quantile;
use crate::logbook::{Calibration, TermState};
use crate::mount::{Term, TermUnit};
use crate::problem::{Error, Problem};
use crate::solve::record::model_of;
use crate::time::Utc;

/// Calibrations in the order of their making.
#[derive(Clone, Debug)]
pub struct History {
    /// One for each file.
    pub entries: Vec<Entry>,
    /// One for each term that at least one calibration fitted.
    pub terms: Vec<TermHistory>,
    /// What should be known.
    pub notes: Vec<String>,
}

/// One calibration file.
#[derive(Clone, Debug)]
pub struct Entry {
    /// Its name without folder.
    pub file: String,
    /// When it was made.
    pub created: Utc,
    /// Its content.
    pub calibration: Calibration,
}

/// One term through time.
#[derive(Clone, Debug)]
pub struct TermHistory {
    /// Which.
    pub term: Term,
    /// Its values, in time; calibrations that did not fit it are left out.
    pub points: Vec<Point>,
}

/// One value of one term.
#[derive(Clone, Debug)]
pub struct Point {
    /// The file it stands in.
    pub file: String,
    /// When that was made.
    pub created: Utc,
    /// Inside value.
    pub value: f64,
    /// One standard deviation.
    pub sigma: f64,
    /// Change since the value before it.
    pub change: Option<f64>,
    /// Standard deviation of the change.
    pub change_sigma: f64,
    /// Probability of so large a change by chance.
    pub chance: f64,
    /// Whether it is real: the chance, shared among all changes looked at, is below
    /// [`REAL_BELOW`].
    pub real: bool,
}

/// Of all changes in a history together, one is called real by chance this often.
pub const REAL_BELOW: f64 = 0.02;

/// Reads all calibration files (`*.json`) of a folder.
///
/// # Errors
/// When the folder cannot be read or holds no calibration; a file that is none is an error too,
/// so that nothing is left out unseen.
pub fn history(folder: &Path) -> Result<History, Error> {
    let name = folder.display().to_string();
    let listed = std::fs::read_dir(folder).map_err(|e| Error::io(&name, "read", e))?;
    let mut files: Vec<_> = listed
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|e| e == "json"))
        .collect();
    files.sort();
    let mut entries = Vec::new();
    for path in &files {
        let calibration = Calibration::read(path)?;
        entries.push(Entry {
            file: path
                .file_name()
                .map_or_else(String::new, |f| f.to_string_lossy().into_owned()),
            created: calibration.created_utc,
            calibration,
        });
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
    let mut notes = Vec::new();
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
    let mut terms: Vec<TermHistory> = Vec::new();
    for term in Term::ALL {
        let points = points(&entries, term)?;
        if !points.is_empty() {
            terms.push(TermHistory { term, points });
        }
    }
    let changes = terms
        .iter()
        .map(|t| t.points.len().saturating_sub(1))
        .sum::<usize>();
    for point in terms.iter_mut().flat_map(|t| &mut t.points) {
        point.real = point.change.is_some() && point.chance * (changes as f64) < REAL_BELOW;
    }
    Ok(History {
        entries,
        terms,
        notes,
    })
}

fn points(entries: &[Entry], term: Term) -> Result<Vec<Point>, Error> {
    let mut points: Vec<Point> = Vec::new();
    for entry in entries {
        let Some(record) = entry.calibration.terms.get(term.name()) else {
            continue;
        };
        let sigma = record.sigma_deg.or(record.sigma).or(record.sigma_s);
        let (TermState::Fitted, Some(sigma)) = (record.state, sigma) else {
            continue;
        };
        let value = model_of(&entry.calibration)?.terms().inside(term);
        let sigma = term.unit().inward(sigma);
        let before = points.last().map(|p| (p.value, p.sigma));
        let change = before.map(|(before, _)| {
            let change = value - before;
            match term.unit() {
                TermUnit::Angle => Angle::from_radians(change).wrapped_signed().radians(),
                _ => change,
            }
        });
        let change_sigma = before.map_or(0.0, |(_, s)| s.hypot(sigma));
        let chance = change.map_or(1.0, |c| {
            quantile::chi_square_exceeds((c / change_sigma.max(1e-300)).powi(2), 1.0)
        });
        points.push(Point {
            file: entry.file.clone(),
            created: entry.created,
            value,
            sigma,
            change,
            change_sigma,
            chance,
            real: false,
        });
    }
    Ok(points)
}
