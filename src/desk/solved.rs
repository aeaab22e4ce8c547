//! The edited log, explained in the same way as by the command line.

use std::sync::Arc;

use crate::explain::explain;
use crate::faults::Diagnosis;
use crate::logbook::Calibration;
use crate::problem::Error;
use crate::report::{Report, unsolved};
use crate::solve::{Outcome, Remedy, calibration, outcome, remedies};
use crate::station::Station;
use crate::time::Utc;

use super::effective::Effective;
use super::session::DeskSession;

/// A state of the session with its explanation.
#[derive(Debug)]
pub struct SolvedSession {
    /// Its version, from [`History::version`](super::edit_log::History::version).
    pub version: u64,
    /// The log and the options.
    pub effective: Arc<Effective>,
    /// The results, or why there are none.
    pub found: Result<SessionFindings, Error>,
    /// The station.
    pub station: Arc<Station>,
}

/// Results of an explanation.
#[derive(Debug)]
pub struct SessionFindings {
    /// The mount errors.
    pub outcome: Outcome,
    /// Faults and mistakes; `None` with too few peaks to diagnose.
    pub diagnosis: Option<Diagnosis>,
    /// Remedies to carry out by hand.
    pub remedies: Vec<Remedy>,
    /// The calibration file.
    pub document: Calibration,
}

impl SolvedSession {
    /// Explains a state. `now` becomes the date of the calibration.
    pub fn of(
        session: &DeskSession,
        version: u64,
        effective: Arc<Effective>,
        now: Utc,
    ) -> SolvedSession {
        SolvedSession {
            version,
            found: found(session, &effective, now),
            effective,
            station: session.station.clone(),
        }
    }

    /// Returns the contents of a report, if there are results; the files by the user's names.
    pub fn report<'a>(&'a self, log_name: &'a str, calibration: &'a str) -> Option<Report<'a>> {
        let found = self.found.as_ref().ok()?;
        Some(Report {
            outcome: &found.outcome,
            station: &self.station,
            remedies: &found.remedies,
            diagnosis: found.diagnosis.as_ref(),
            log_name,
            calibration_name: calibration,
            explain: false,
            created: found.document.created_utc,
        })
    }
}

fn found(session: &DeskSession, effective: &Effective, now: Utc) -> Result<SessionFindings, Error> {
    let station = &session.station;
    if effective.log.peaks.is_empty() {
        return Err(Error::Unsupported(
            "there are no peaks yet\n  help: add peaks, or drop a log of them here".to_owned(),
        ));
    }
    let explanation = Arc::new(explain(
        station,
        &session.sky,
        &effective.log,
        &effective.options,
    )?);
    let diagnosis = Diagnosis::of(explanation.clone(), station).ok();
    let outcome = match outcome(explanation, station) {
        Err(Error::Unsupported(why)) => {
            return Err(Error::Unsupported(unsolved(&why, diagnosis.as_ref())));
        }
        other => other?,
    };
    let mut document = calibration(&outcome, station, now);
    document.sensible()?;
    document.warnings.extend(outcome.misread.clone());
    Ok(SessionFindings {
        remedies: remedies(&outcome, station),
        outcome,
        diagnosis,
        document,
    })
}
