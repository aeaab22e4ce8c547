//! Joins old and new into one calibration.

use super::changes::FittedChange;
use super::distance;
use super::hypothesis::ChangeKind;
use super::old::Old;
use crate::angle::Angle;
use crate::explain::misfit::misfit;
use crate::explain::observe::Observation;
use crate::logbook::{Calibration, CalibrationPeak, JoinedFrom, Trust};
use crate::mount::MountModel;
use crate::solve::words;
use crate::station::Station;
use crate::time::Utc;

/// The calibration, by its time of creation, from which another was joined, and the change that was
/// freed; `None` when it was solved.
pub fn lineage(joined: &Calibration) -> Option<(Utc, ChangeKind)> {
    let from = joined.joined_from.as_ref()?;
    let kind = (ChangeKind::ALL.into_iter().chain([ChangeKind::Anything]))
        .find(|kind| kind.term_names(joined.kind()) == from.set_free)?;
    Some((from.created_utc, kind))
}

/// Old and new joined: the fitted terms after the new peaks under a change, the held ones
/// unchanged. When nothing has changed all earlier knowledge stays, so no term becomes less
/// certain. When the peaks cannot decide whether the mount moved (`certain` is false), the terms
/// that a move may have changed are freed, and a remark says so.
pub fn join(
    station: &Station,
    old: &Old,
    change: &FittedChange,
    certain: bool,
    observations: &[Observation],
    kept: &[usize],
) -> Calibration {
    let now = &change.solution;
    let mut joined = old.calibration.clone();
    let model = old.model_with(&now.parameters);
    let covariance = now.covariance();
    old.write_terms(&mut joined, &now.parameters, &covariance);
    let rms = |model: &MountModel| {
        let squares: f64 = (kept.iter())
            .map(|i| distance(model, &observations[*i]).radians().powi(2))
            .sum();
        Angle::from_radians((squares / kept.len().max(1) as f64).sqrt()).degrees()
    };
    joined.created_utc = Utc::now();
    joined.station.clone_from(&station.site.name);
    joined.rms_before_deg = rms(&old.model);
    joined.rms_after_deg = rms(&model);
    joined.degrees_of_freedom = now.degrees_of_freedom.round().max(0.0) as usize;
    // Both belong to the old log.
    joined.expected_pointing_error = None;
    joined.causes.clear();
    let free = change.kind.term_names(old.model.kind());
    joined.joined_from = Some(JoinedFrom {
        created_utc: old.calibration.created_utc,
        set_free: free.iter().map(|name| (*name).to_owned()).collect(),
    });
    joined.warnings.push(format!(
        "joined from the calibration of {} and {} new {}; set free: {}; rms before is that of the \
         new peaks with the old calibration",
        old.calibration.created_utc,
        kept.len(),
        if kept.len() == 1 { "peak" } else { "peaks" },
        change.kind.in_words(old.model.kind()),
    ));
    if !certain {
        let unsure = format!(
            "the new peaks could not tell whether the mount moved: {} are known from them \
             alone; a full session is worth more than this joined calibration",
            words::list(&free)
        );
        joined.warnings.push(unsure.clone());
        joined.distrust(Trust::Limited, unsure);
    }
    joined.peaks = observations
        .iter()
        .enumerate()
        .map(|(i, o)| {
            let left = misfit(&model, &o.sighting()).offset;
            let used = kept.contains(&i);
            CalibrationPeak {
                row: o.peak.row,
                time_utc: o.peak.time,
                emitter: o.peak.emitter.clone(),
                cross_elevation_residual_deg: (o.peak.azimuth.is_some())
                    .then(|| left.cross_elevation.degrees()),
                elevation_residual_deg: (o.peak.elevation.is_some())
                    .then(|| left.elevation.degrees()),
                used,
                axis_2: model.kind().axes()[1],
                why: if used {
                    String::new()
                } else {
                    "contradicts the other new peaks".to_owned()
                },
            }
        })
        .collect();
    joined
}
