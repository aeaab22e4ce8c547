//! Converts an outcome to the calibration document.

use crate::explain::{ABSURD_ZERO, FaultAxis, Remark};
use crate::logbook::{
    Calibration, CalibrationPeak, CauseRecord, Correlation, ExpectedPointingError, FORMAT,
    MountRecord, SkyPlace, TermRecord, TermState, Trust,
};
use crate::mount::{AxisKind, FeedOffset, Group, Kind, Term};
use crate::station::Station;
use crate::time::Utc;

use super::outcome::{Outcome, PeakOutcome};
use super::record::{record, with_prior};
use super::remarks::remark_words;

/// The calibration document of an outcome, with the time of its creation.
pub fn calibration(outcome: &Outcome, station: &Station, created: Utc) -> Calibration {
    let mut warnings = station.site.assumptions.clone();
    warnings.extend(outcome.warnings.iter().map(|w| w.words.clone()));
    warnings.extend(outcome.before_note.iter().cloned());
    warnings.extend((outcome.not_separable.iter()).map(|i| format!("{}. {}", i.meaning, i.remedy)));
    let (trust, reasons) = trust(outcome, station);
    let kind = station.mount.kind();
    let [_, axis_2] = kind.axes();
    Calibration {
        format: FORMAT.to_owned(),
        created_utc: created,
        station: station.site.name.clone(),
        mount: MountRecord::of(&station.mount.geometry),
        terms: (outcome.terms.iter())
            .map(|t| {
                let name = kind.term_name(t.term).to_owned();
                let written = record(t.term, t.value, t.sigma, t.state);
                (name, with_prior(t.term, written, t.prior_sigma))
            })
            .chain(feeds(outcome, station))
            .collect(),
        correlations: (outcome.correlations.iter())
            .map(|(one, other, value)| Correlation {
                terms: (
                    kind.term_name(*one).to_owned(),
                    kind.term_name(*other).to_owned(),
                ),
                value: *value,
            })
            .collect(),
        peaks: outcome.peaks.iter().map(|p| peak(p, axis_2)).collect(),
        rms_before_deg: outcome.rms_before.degrees(),
        rms_after_deg: outcome.rms_after.degrees(),
        degrees_of_freedom: outcome.degrees_of_freedom,
        expected_pointing_error: expected(outcome, station),
        trust,
        reasons,
        causes: causes(outcome, kind),
        joined_from: None,
        warnings,
    }
}

/// The pairs of terms of further feeds.
fn feeds(outcome: &Outcome, station: &Station) -> Vec<(String, TermRecord)> {
    let found = outcome.explanation.iter().flat_map(|e| &e.feeds);
    found
        .filter_map(|found| Some((found, station.feeds.get(found.feed)?)))
        .flat_map(|(found, feed)| {
            let names = FeedOffset::term_names(&feed.name);
            let values = found.offset.parts().into_iter().zip(found.sigma.parts());
            (names.into_iter().zip(values)).map(|(name, (value, sigma))| {
                // All are angles, like the collimation.
                let (value, sigma) = (value.radians(), Some(sigma.radians()));
                (
                    name,
                    record(Term::Collimation, value, sigma, TermState::Fitted),
                )
            })
        })
        .collect()
}

/// The expected error in the form used by files.
fn expected(outcome: &Outcome, station: &Station) -> Option<ExpectedPointingError> {
    let sky = outcome.sky_error.as_ref()?;
    let within = sky.rms <= station.dish.beamwidth;
    Some(ExpectedPointingError {
        rms_deg: sky.rms.degrees(),
        rms_95_deg: sky.rms_95.degrees(),
        largest_deg: sky.largest.degrees(),
        at: SkyPlace {
            azimuth_deg: sky.at.azimuth().wrapped_positive().degrees(),
            elevation_deg: sky.at.elevation().degrees(),
        },
        loss_db: within.then(|| station.dish.loss_db(sky.rms)),
    })
}

/// Causes found apart from the mount errors, in the form used by files.
fn causes(outcome: &Outcome, kind: Kind) -> Vec<CauseRecord> {
    let explanation = outcome.explanation.as_ref();
    (explanation.iter())
        .flat_map(|e| &e.causes)
        .filter(|c| c.hypothesis.group().is_none())
        .map(|c| CauseRecord {
            fault: c.fault().name_on(kind),
            axis: match c.hypothesis.axis() {
                FaultAxis::Both => None,
                axis => Some(axis.words_on(kind).to_owned()),
            },
            row: c.instant().map(|i| i.between.1),
            size: Some(c.size.value),
            size_unit: c.size.unit.to_owned(),
            sigma: Some(c.size.sigma),
        })
        .collect()
}

/// A bound on the pointing error beyond this share of the beamwidth limits the use of the numbers:
/// it costs 3 dB.
const LIMITING_ERROR: f64 = 0.5;

/// How far the numbers of an outcome can be trusted, and the reasons for any limit. The thresholds
/// are in docs/accuracy.md.
pub fn trust(outcome: &Outcome, station: &Station) -> (Trust, Vec<String>) {
    let mut meaningless = Vec::new();
    let mut limiting = Vec::new();
    // Readings that equal the computed positions of the emitters could also come from a mount
    // without any error.
    let computed = (outcome.explanation.as_ref()).is_some_and(|e| e.computed.is_some());
    match computed {
        true => limiting.extend(outcome.misread.clone()),
        false => meaningless.extend(outcome.misread.clone()),
    }
    let zero = outcome.model.terms().angle(Term::ElevationZero);
    if zero.abs() > ABSURD_ZERO {
        let kind = station.mount.kind();
        let may = match kind.has_track() {
            true => "elevations may be logged from the zenith, or over the top",
            false => "the dish may be driven over the top",
        };
        meaningless.push(format!(
            "the {} is {:.1} deg: {may}",
            kind.group_words(Group::ElevationZero),
            zero.degrees()
        ));
    }
    let beam = station.dish.beamwidth;
    if outcome.rms_after > beam {
        meaningless.push(format!(
            "the used peaks are still off by {:.2} deg (rms), more than the beamwidth of {:.2} deg: \
             the terms explain nothing",
            outcome.rms_after.degrees(),
            beam.degrees()
        ));
    }
    if let Some(sky) = &outcome.sky_error
        && sky.rms_95 > beam * LIMITING_ERROR
    {
        limiting.push(format!(
            "the corrected mount may be off by {:.2} deg (rms over the sky, 95 %), more than half a \
             beamwidth",
            sky.rms_95.degrees()
        ));
    }
    if let Some(e) = &outcome.explanation {
        for remark in &e.remarks {
            if matches!(
                remark,
                Remark::ManyBad { .. } | Remark::NotCorrected { .. } | Remark::FewPeaks { .. }
            ) {
                limiting.push(remark_words(remark, e, station));
            }
        }
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

fn peak(peak: &PeakOutcome, axis_2: AxisKind) -> CalibrationPeak {
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
        axis_2,
    }
}
