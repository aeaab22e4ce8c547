//! Corrections by hand for what has moved: the remedies of a solve, for the present values of the
//! terms.

use super::answer::{Recheck, RecheckVerdict};
use crate::angle::Angle;
use crate::logbook::Calibration;
use crate::mount::{Group, Term};
use crate::problem::Error;
use crate::solve::record::model_of;
use crate::solve::{NoiseSource, Outcome, Remedy, TermEstimate, remedies};
use crate::station::Station;

/// Remedies for the mount errors that moved, with their present sizes, from old and new peaks
/// together. Empty unless the verdict is that the mount moved.
///
/// # Errors
/// When the joined calibration is invalid.
pub fn mend(found: &Recheck, station: &Station) -> Result<Vec<Remedy>, Error> {
    match (&found.verdict, &found.joined) {
        (RecheckVerdict::Moved, Some(joined)) => {
            let moved: Vec<Term> = found.moved_terms.iter().map(|m| m.term).collect();
            Ok(remedies(&outcome_of(joined, &moved)?, station))
        }
        _ => Ok(Vec::new()),
    }
}

/// The part of a solve's outcome that its remedies need: the values of a calibration, for the
/// groups of the `wanted` terms, or for all when none is given.
fn outcome_of(calibration: &Calibration, wanted: &[Term]) -> Result<Outcome, Error> {
    let model = model_of(calibration)?;
    let groups = Group::ALL
        .into_iter()
        .filter(|group| wanted.is_empty() || group.terms().any(|term| wanted.contains(&term)));
    let estimate = |term: Term| {
        let record = calibration.term(term)?;
        let sigma = record.sigma_deg.or(record.sigma).or(record.sigma_s);
        Some(TermEstimate {
            term,
            value: model.terms().inside(term),
            sigma: sigma.map(|shown| term.unit().inward(shown)),
            state: record.state,
            prior_sigma: None,
        })
    };
    Ok(Outcome {
        terms: (groups.flat_map(|group| group.terms()))
            .filter_map(estimate)
            .collect(),
        model,
        correlations: Vec::new(),
        peaks: Vec::new(),
        rms_before: Angle::from_degrees(calibration.rms_before_deg),
        before_note: None,
        rms_after: Angle::from_degrees(calibration.rms_after_deg),
        degrees_of_freedom: calibration.degrees_of_freedom,
        noise: NoiseSource::Logged,
        decisions: Vec::new(),
        not_separable: Vec::new(),
        warnings: Vec::new(),
        sky_error: None,
        misread: None,
        explanation: None,
    })
}
