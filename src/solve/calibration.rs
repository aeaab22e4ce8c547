//! An outcome as the calibration document.

use crate::angle::Angle;
use crate::logbook::{Calibration, CalibrationPeak, Correlation, FORMAT, Trust};
use crate::mount::Term;
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
    let (trust, reasons) = trust(outcome, station);
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
        expected_pointing_error: None,
        trust,
        reasons,
        causes: Vec::new(),
        warnings,
    }
}

/// An elevation zero beyond this is one of readings that mean something else.
const ABSURD_ZERO: Angle = Angle::from_degrees(45.0);

/// How far the numbers of an outcome can be trusted, and why no further.
fn trust(outcome: &Outcome, station: &Station) -> (Trust, Vec<String>) {
    let mut meaningless = Vec::new();
    let mut limiting = Vec::new();
    let zero = outcome.model.terms().angle(Term::ElevationZero);
    if zero.abs() > ABSURD_ZERO {
        meaningless.push(format!(
            "the elevation zero is {:.1} deg: elevations may be logged from the zenith, or over the \
             top",
            zero.degrees()
        ));
    }
    if outcome.rms_after > station.dish.beamwidth {
        meaningless.push(format!(
            "the used peaks are still off by {:.2} deg (rms), more than the beamwidth of {:.2} deg: \
             the terms explain nothing",
            outcome.rms_after.degrees(),
            station.dish.beamwidth.degrees()
        ));
    }
    limiting.extend((outcome.not_separable.iter()).map(|i| i.meaning.clone()));
    let trust = match (meaningless.is_empty(), limiting.is_empty()) {
        (false, _) => Trust::None,
        (true, false) => Trust::Limited,
        (true, true) => Trust::Good,
    };
    meaningless.extend(limiting);
    (trust, meaningless)
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
