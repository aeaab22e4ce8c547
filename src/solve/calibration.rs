//! An outcome as the calibration document.

use crate::logbook::{Calibration, CalibrationPeak, Correlation, FORMAT};
use crate::station::Station;
use crate::time::Utc;

use super::outcome::{Outcome, PeakOutcome};
use super::record::record;

/// The calibration document of an outcome, stamped with the time it is written.
pub fn calibration(outcome: &Outcome, station: &Station, created: Utc) -> Calibration {
    let mut warnings = station.site.assumptions.clone();
    warnings.extend(outcome.warnings.iter().cloned());
    warnings.extend(outcome.before_note.iter().cloned());
    warnings.extend((outcome.not_separable.iter()).map(|i| format!("{}. {}", i.meaning, i.remedy)));
    Calibration {
        format: FORMAT.to_owned(),
        created_utc: created,
        station: station.site.name.clone(),
        terms: (outcome.terms.iter())
            .map(|t| {
                let name = t.term.name().to_owned();
                (name, record(t.term, t.value, t.sigma, t.state))
            })
            .collect(),
        correlations: (outcome.correlations.iter())
            .map(|(one, other, value)| Correlation {
                terms: (one.name().to_owned(), other.name().to_owned()),
                value: *value,
            })
            .collect(),
        peaks: outcome.peaks.iter().map(peak).collect(),
        rms_before_deg: outcome.rms_before.degrees(),
        rms_after_deg: outcome.rms_after.degrees(),
        degrees_of_freedom: outcome.degrees_of_freedom,
        warnings,
    }
}

fn peak(peak: &PeakOutcome) -> CalibrationPeak {
    CalibrationPeak {
        row: peak.row,
        time_utc: peak.time,
        emitter: peak.emitter.clone(),
        cross_elevation_residual_deg: (peak.azimuth_measured)
            .then(|| peak.residual.cross_elevation.degrees()),
        elevation_residual_deg: (peak.elevation_measured)
            .then(|| peak.residual.elevation.degrees()),
        used: peak.used,
        why: peak.why.clone(),
    }
}
