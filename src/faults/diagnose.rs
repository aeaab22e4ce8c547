//! The diagnosis: an explanation expressed as findings.

use std::sync::Arc;

use crate::explain::{
    COMPASS_FALSE_ALARM, Explanation, LEAST_COORDINATES, Options, Remark, explain,
};
use crate::logbook::PeakLog;
use crate::problem::Error;
use crate::sky::Sky;
use crate::solve::{misreading_words, remark_words};
use crate::station::Station;

use super::evidence;
use super::finding::Finding;

/// The findings of a session, and the explanation they come from.
#[derive(Clone, Debug)]
pub struct Diagnosis {
    /// Named faults, the best-supported first; empty when the session is healthy.
    pub findings: Vec<Finding>,
    /// Other remarks for the user: what could not be tested, bad peaks without a name.
    pub notes: Vec<String>,
    /// The explanation it is based on.
    pub explanation: Arc<Explanation>,
}

/// Names the faults of a session.
///
/// False alarms are counted: docs/faults.md gives the rate at which a healthy session is reported
/// with a fault.
///
/// # Errors
/// [`Error::Unsupported`] when there are too few usable peaks for any conclusion.
pub fn diagnose(
    station: &Station,
    sky: &Sky,
    log: &PeakLog,
    options: &Options,
) -> Result<Diagnosis, Error> {
    Diagnosis::of(Arc::new(explain(station, sky, log, options)?), station)
}

impl Diagnosis {
    /// The findings of an explanation.
    ///
    /// # Errors
    /// [`Error::Unsupported`] when there are too few peaks for any conclusion.
    pub fn of(explanation: Arc<Explanation>, station: &Station) -> Result<Diagnosis, Error> {
        let e = explanation.as_ref();
        let coordinates: usize = (e.session.peaks.iter())
            .map(|p| p.sighting.coordinates())
            .sum();
        if coordinates < LEAST_COORDINATES {
            return Err(Error::Unsupported(format!(
                "too few peaks to judge anything ({} that can be used): log at least six, in \
                 different parts of the sky, or twelve where only one axis is read",
                e.session.peaks.len()
            )));
        }
        let mut notes: Vec<String> = (e.remarks.iter())
            .filter(|r| {
                matches!(
                    r,
                    Remark::Sky(_)
                        | Remark::SigmasMissing { .. }
                        | Remark::SidesNotLogged
                        | Remark::UnnamedBadPeak { .. }
                        | Remark::ChosenOnSome { .. }
                        | Remark::ManyBad { .. }
                        | Remark::NotCorrected { .. }
                        | Remark::ZerosOfLogs { .. }
                )
            })
            .map(|r| remark_words(r, e, station))
            .collect();
        let mount = station.mount.kind();
        let mut findings = Vec::new();
        if let Some(computed) = &e.computed {
            findings.push(evidence::of_computed(e, computed));
            return Ok(Diagnosis {
                findings,
                notes,
                explanation,
            });
        }
        if let Some(misread) = &e.misread {
            findings.push(evidence::of_misreading(e, misread, station));
            if !misread.as_good.is_empty() {
                let others: Vec<String> = (misread.as_good.iter())
                    .map(|m| misreading_words(m, station))
                    .collect();
                notes.push(format!(
                    "these peaks fit as well with {}: satellites and beacons would tell",
                    others.join(" or ")
                ));
            }
        }
        findings.extend((0..e.causes.len()).map(|k| evidence::of_cause(e, station, k)));
        findings.extend(evidence::of_rows(e, station));
        findings.extend((e.loose_joint.as_ref()).map(|joint| evidence::of_scatter(mount, joint)));
        findings.extend((e.two_places.iter()).map(|two| evidence::of_two_places(mount, two)));
        match &e.compass {
            Some(c) if c.p_value <= COMPASS_FALSE_ALARM => findings.push(evidence::of_compass(c)),
            Some(c) => notes.push(evidence::hint_of_compass(c)),
            None => {}
        }
        findings.sort_by(|a, b| b.strength.total_cmp(&a.strength));
        Ok(Diagnosis {
            findings,
            notes,
            explanation,
        })
    }
}
