//! Old and new joined into one calibration.

use super::changes::FittedChange;
use super::distance;
use super::hypothesis::ChangeKind;
use super::old::Old;
use crate::angle::Angle;
use crate::explain::misfit::misfit;
use crate::explain::observe::Observation;
use crate::logbook::{Calibration, CalibrationPeak, Trust};
use crate::mount::MountModel;
use crate::solve::words;
use crate::station::Station;
use crate::time::Utc;

/// The beginning of the warning that tells where a joined calibration comes from.
const JOINED: &str = "joined from the calibration of ";

/// From which calibration, by the time it was made, another was joined, and the change that was
/// set free; none when it was solved.
pub fn lineage(joined: &Calibration) -> Option<(Utc, ChangeKind)> {
    // A calibration joined twice tells of the last time last.
    let said = (joined.warnings.iter().rev()).find_map(|w| w.strip_prefix(JOINED))?;
    let parent = Utc::parse(said.split(' ').next()?).ok()?;
    let kind = ChangeKind::ALL
        .into_iter()
        .chain([ChangeKind::Anything])
        .find(|kind| said.contains(&format!("; set free: {}; ", kind.in_words(joined.kind()))))?;
    Some((parent, kind))
}

/// Old and new joined: the fitted terms after the new peaks under a change, the held ones as they
/// were. When nothing has changed all that was known stays, so that no term gets worse known.
/// When the peaks cannot tell whether the mount moved (`certain` is false), what a move may have
/// changed is set free, and that is said.
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
    // Both are of the old log.
    joined.expected_pointing_error = None;
    joined.causes.clear();
    joined.warnings.push(format!(
        "{JOINED}{} and {} new {}; set free: {}; rms before is that of the new peaks with the old \
         calibration",
        old.calibration.created_utc,
        kept.len(),
        if kept.len() == 1 { "peak" } else { "peaks" },
        change.kind.in_words(old.model.kind()),
    ));
    if !certain {
        let terms: Vec<&str> = (change.kind.terms().iter())
            .map(|c| old.model.kind().term_name(c.term))
            .collect();
        let unsure = format!(
            "the new peaks could not tell whether the mount moved: {} are known from them \
             alone; a full session is worth more than this joined calibration",
            words::list(&terms)
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
