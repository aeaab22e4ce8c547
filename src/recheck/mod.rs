//! Is the calibration still valid? A few new peaks against an old calibration.
//!
//! The old calibration is the prior: its values, with their covariance. If the mount was moved, its
//! placement (azimuth zero and tilt) and whatever else a hypothesis frees may have changed by any
//! amount; all other terms are unchanged. Both are priors of the same form, so three peaks are
//! enough to weigh one against the other, and what three peaks cannot determine shows as an
//! uncertainty.

mod advice;
mod answer;
mod changes;
mod history;
mod hypothesis;
mod join;
mod mend;
mod old;
mod peaks;
mod sky_error;
mod tuned;

use nalgebra::Rotation3;

use crate::angle::Angle;
use crate::explain::misfit::{filled_reading, misfit};
use crate::explain::observe::{Observation, Observations, observe};
use crate::logbook::PeakLog;
use crate::mount::{MountModel, Term};
use crate::problem::Error;
use crate::sky::Sky;
use crate::solve::words;
use crate::station::Station;

use advice::advice;
pub use answer::{Doubt, Moved, Recheck, RecheckRequest, RecheckVerdict, usual_limit};
use changes::Changes;
pub use history::{Entry, History, Point, TermHistory, calibration_files, history};
pub use hypothesis::{Change, ChangeKind};
use join::join;
pub use mend::mend;
pub use old::Old;
use peaks::Peaks;
use sky_error::OldSkyError;
pub use tuned::FALSE_ALARM_OF_A_CHANGE;
use tuned::{CERTAIN, FALSE_ALARM_OF_MOVED, LIMITS_THAT_PEAKS_MAY_BE_OFF};

/// Compares new peaks with an old calibration.
///
/// # Errors
/// When no new peak can be used, or the calibration has no uncertainties to compare with, or the
/// mount that it describes reaches no part of the sky.
pub fn recheck(
    station: &Station,
    sky: &Sky,
    old: &Old,
    log: &PeakLog,
    request: &RecheckRequest,
) -> Result<Recheck, Error> {
    let clock = old.model.terms().inside(Term::ClockOffset);
    recheck_observed(station, observe(station, sky, log, clock), old, request)
}

/// The same for peaks whose emitter positions are already known, without the sky.
///
/// # Errors
/// As [`recheck`].
pub fn recheck_observed(
    station: &Station,
    found: Observations,
    old: &Old,
    request: &RecheckRequest,
) -> Result<Recheck, Error> {
    if found.usable.is_empty() {
        return Err(Error::Unsupported(match found.unusable.first() {
            Some(first) => format!(
                "none of the new peaks can be used; the first (row {}): {}",
                first.peak.row, first.why
            ),
            None => "the log has no peaks".to_owned(),
        }));
    }
    let mut found = found;
    for observation in &mut found.usable {
        by_the_first_feed(observation, old, station)?;
    }
    let mut notes: Vec<String> = (found.notices.iter())
        .map(|n| format!("{} ({})", n.text, words::rows(&n.rows)))
        .collect();
    let all = Peaks::new(found.usable, old, station, &mut notes);
    let (kept, odd) = all.consistent(old)?;
    let peaks = all.chosen(&kept);
    let row = |i: usize| all.observations[i].peak.row;
    if !odd.is_empty() {
        let rows: Vec<usize> = odd.iter().map(|i| row(*i)).collect();
        notes.push(format!(
            "{} left out: the other peaks agree without {}",
            words::rows(&rows),
            if rows.len() == 1 { "it" } else { "them" }
        ));
    }

    let changes = Changes::weigh(old, &peaks)?;
    let suspected = changes.suspected();
    let contradictory = peaks.contradict(&suspected.solution);
    let error = OldSkyError::of(station, old, &suspected.solution, &peaks, request)?;
    let by_accident = changes.by_accident(suspected, &peaks);
    let chance = peaks.by_chance(changes.of(ChangeKind::Unmoved).cost(), peaks.rows());
    let verdict = if error.beyond > CERTAIN && by_accident < FALSE_ALARM_OF_MOVED {
        RecheckVerdict::Moved
    } else if contradictory {
        RecheckVerdict::CannotTell(Doubt::Contradiction)
    } else if error.beyond < 1.0 - CERTAIN {
        // The fitted error over the sky must be consistent with the distances of the peaks
        // themselves.
        if chance < FALSE_ALARM_OF_MOVED
            && peaks_off(old, &peaks) > request.limit * LIMITS_THAT_PEAKS_MAY_BE_OFF
        {
            RecheckVerdict::CannotTell(Doubt::PeaksOff)
        } else {
            RecheckVerdict::True
        }
    } else if error.beyond > CERTAIN {
        RecheckVerdict::CannotTell(Doubt::Accident)
    } else {
        RecheckVerdict::CannotTell(Doubt::Between)
    };
    if contradictory && verdict == RecheckVerdict::Moved {
        notes.push(
            "it certainly moved, but no change explains the peaks to within their noise: \
             a peak may be bad, or more has changed than is named here"
                .to_owned(),
        );
    }
    // The change that explains the peaks best is named only if chance is not as good an
    // explanation.
    let (kind, rivals) = if verdict == RecheckVerdict::Moved || by_accident < FALSE_ALARM_OF_MOVED {
        changes.best()
    } else {
        (ChangeKind::Unmoved, Vec::new())
    };
    let answer = match kind {
        // No change is visible and none is suspected: the old values stay.
        ChangeKind::Unmoved if verdict == RecheckVerdict::True => changes.of(ChangeKind::Unmoved),
        ChangeKind::Unmoved => suspected,
        _ => changes.of(kind),
    };
    Ok(Recheck {
        mount: old.model.kind(),
        verdict,
        probability: error.beyond,
        chance,
        error: error.rms,
        error_sigma: error.sigma,
        loss_db: (error.rms <= station.dish.beamwidth).then(|| station.dish.loss_db(error.rms)),
        limit: request.limit,
        kind,
        rivals,
        moved_terms: changes::moved_terms(old, answer, peaks.freedom),
        odd_rows: (odd.iter())
            .map(|i| (row(*i), distance(&old.model, &all.observations[*i])))
            .collect(),
        distances: (all.observations.iter())
            .map(|o| (o.peak.row, distance(&old.model, o)))
            .collect(),
        advice: match verdict {
            RecheckVerdict::CannotTell(_) => advice(
                station,
                old,
                &suspected.solution,
                peaks.noise(),
                request.limit,
            ),
            _ => String::new(),
        },
        notes,
        joined: match verdict {
            RecheckVerdict::CannotTell(Doubt::Contradiction | Doubt::PeaksOff) => None,
            _ => Some(join(
                station,
                old,
                answer,
                kind != ChangeKind::Unmoved || verdict == RecheckVerdict::True,
                &all.observations,
                &kept,
            )),
        },
    })
}

/// RMS distance of the peaks from the old calibration's beam.
fn peaks_off(old: &Old, peaks: &Peaks) -> Angle {
    let squares: f64 = (peaks.observations.iter())
        .map(|o| distance(&old.model, o).radians().powi(2))
        .sum();
    Angle::from_radians((squares / peaks.observations.len().max(1) as f64).sqrt())
}

/// Moves the position of an emitter that was peaked with a further feed by the offset of that
/// feed's beam from the first: there it would have been in the first feed's beam.
fn by_the_first_feed(
    observation: &mut Observation,
    old: &Old,
    station: &Station,
) -> Result<(), Error> {
    let Some(feed) = station.feeds.get(observation.peak.feed) else {
        return Ok(());
    };
    if observation.peak.feed == 0 {
        return Ok(());
    }
    let Some(offset) = old.calibration.feed(&feed.name) else {
        return Err(Error::Unsupported(format!(
            "row {} was peaked with the feed {}, and the calibration does not tell where its beam lies: \
             take peaks with the feed {}, or solve a log of both",
            observation.peak.row, feed.name, station.feeds[0].name
        )));
    };
    let sighting = observation.sighting();
    let reading = filled_reading(&old.model, &sighting);
    let beam = |model: &MountModel| model.beam_vector(reading, sighting.approach);
    let (own, first) = (beam(&old.model.with_feed(offset)), beam(&old.model));
    if let Some(turn) = Rotation3::rotation_between(&own, &first) {
        observation.target = turn * observation.target;
        observation.target_rate = turn * observation.target_rate;
    }
    Ok(())
}

/// Distance of the old calibration's beam from the emitter, on the sky.
fn distance(model: &MountModel, observation: &Observation) -> Angle {
    let mut offset = misfit(model, &observation.sighting()).offset;
    if observation.peak.azimuth.is_none() {
        offset.cross_elevation = Angle::ZERO;
    }
    if observation.peak.elevation.is_none() {
        offset.elevation = Angle::ZERO;
    }
    offset.size()
}
