//! Peaks as a page shows them, including those left out.

use std::collections::HashMap;

use serde::Serialize;

use crate::angle::{Angle, Offset};
use crate::explain::misfit::misfit;
use crate::explain::observe::Sighting;
use crate::logbook::Peak;
use crate::mount::{ApproachSigns, Term};
use crate::number;
use crate::problem::printable;
use crate::report::minute_words;
use crate::solve::PeakOutcome;

use super::session::DeskSession;
use super::solved::{SessionFindings, SolvedSession};

/// A peak as a page shows it.
#[derive(Clone, Debug, Serialize)]
pub struct PeakView {
    row: usize,
    line: usize,
    log: String,
    time_utc: String,
    time_shown: String,
    emitter: String,
    azimuth_deg: Option<f64>,
    elevation_deg: Option<f64>,
    azimuth_shown: Option<String>,
    elevation_shown: Option<String>,
    cross_residual_deg: Option<f64>,
    cross_residual_shown: Option<String>,
    elevation_residual_deg: Option<f64>,
    elevation_residual_shown: Option<String>,
    size_shown: Option<String>,
    used: bool,
    why: String,
    ticked: bool,
    added: bool,
    edited: bool,
    note: String,
    peak_db: Option<f64>,
}

/// Returns all peaks of a state, in row order.
pub fn peaks(session: &DeskSession, solved: &SolvedSession) -> Vec<PeakView> {
    let effective = &solved.effective;
    let outcomes: HashMap<usize, &PeakOutcome> = (solved.found.iter())
        .flat_map(|f| &f.outcome.peaks)
        .map(|p| (p.row, p))
        .collect();
    let base = session.log_name();
    (effective.log.peaks.iter())
        .zip(effective.names.iter().zip(&effective.said))
        .map(|(peak, ((_, name), said))| {
            let outcome = outcomes.get(&peak.row).copied();
            let edited = peak.use_it != *said;
            let view = peak_view(peak, outcome);
            let view = match solved
                .found
                .as_ref()
                .ok()
                .filter(|_| view.size_shown.is_none())
            {
                Some(found) => with_residual(view, session, found, peak),
                None => view,
            };
            PeakView {
                why: match edited && !peak.use_it {
                    true => "left out by hand".to_owned(),
                    false => view.why.clone(),
                },
                log: match (name.file.is_empty(), name.file == base) {
                    (true, _) => "added here".to_owned(),
                    (false, _) => printable(&name.file),
                },
                added: name.file.is_empty(),
                edited,
                ..view
            }
        })
        .collect()
}

fn peak_view(peak: &Peak, outcome: Option<&PeakOutcome>) -> PeakView {
    let reading = |angle: Option<Angle>| {
        let degrees = angle.map(Angle::degrees);
        (
            degrees,
            degrees.map(|d| number::typographic(&number::fixed(d, 2))),
        )
    };
    let residual = |measured: bool, angle: Angle, sigma: Angle| {
        let degrees = measured.then(|| angle.degrees());
        let shown = |d: f64| number::typographic(&number::by_sigma(d, sigma.degrees()));
        (degrees, degrees.map(shown))
    };
    let (azimuth_deg, azimuth_shown) = reading(peak.azimuth);
    let (elevation_deg, elevation_shown) = reading(peak.elevation);
    let (cross, elevation) = match outcome {
        None => ((None, None), (None, None)),
        Some(p) => (
            residual(
                p.azimuth_measured,
                p.residual.cross_elevation,
                p.cross_elevation_sigma,
            ),
            residual(
                p.elevation_measured,
                p.residual.elevation,
                p.elevation_sigma,
            ),
        ),
    };
    let size = (cross.0.is_some() || elevation.0.is_some())
        .then(|| cross.0.unwrap_or(0.0).hypot(elevation.0.unwrap_or(0.0)));
    let sigma = outcome.map_or(0.0, |p| {
        (p.cross_elevation_sigma.degrees()).max(p.elevation_sigma.degrees())
    });
    PeakView {
        row: peak.row,
        line: peak.line,
        log: String::new(),
        time_utc: peak.time.to_exact_text(),
        time_shown: minute_words(peak.time),
        emitter: printable(&peak.emitter),
        azimuth_deg,
        elevation_deg,
        azimuth_shown,
        elevation_shown,
        cross_residual_deg: cross.0,
        cross_residual_shown: cross.1,
        elevation_residual_deg: elevation.0,
        elevation_residual_shown: elevation.1,
        size_shown: size.map(|s| number::by_sigma(s, sigma)),
        used: outcome.map_or(peak.use_it, |p| p.used),
        why: outcome.map_or_else(String::new, |p| printable(&p.why)),
        ticked: peak.use_it,
        added: false,
        edited: false,
        note: printable(&peak.note),
        peak_db: peak.peak_db,
    }
}

/// Adds to a peak that the fit did not use its residual from the fitted model, so that the effect
/// of including it can be judged before it is ticked.
fn with_residual(
    view: PeakView,
    session: &DeskSession,
    found: &SessionFindings,
    peak: &Peak,
) -> PeakView {
    let Some(offset) = residual(session, found, peak) else {
        return view;
    };
    let e = found.outcome.explanation.as_ref();
    let sigma = e.map_or(0.0, |e| e.scatter().degrees());
    let shown = |measured: bool, angle: Angle| {
        let degrees = measured.then(|| angle.degrees());
        let text = |d: f64| number::typographic(&number::by_sigma(d, sigma));
        (degrees, degrees.map(text))
    };
    let cross = shown(peak.azimuth.is_some(), offset.cross_elevation);
    let elevation = shown(peak.elevation.is_some(), offset.elevation);
    let size = cross.0.unwrap_or(0.0).hypot(elevation.0.unwrap_or(0.0));
    PeakView {
        cross_residual_deg: cross.0,
        cross_residual_shown: cross.1,
        elevation_residual_deg: elevation.0,
        elevation_residual_shown: elevation.1,
        size_shown: Some(number::by_sigma(size, sigma)),
        ..view
    }
}

/// Returns emitter minus modelled beam; `None` if the emitter's position is unknown, if no axis was
/// measured, or for any feed but the first, whose beam is the only one modelled here.
fn residual(session: &DeskSession, found: &SessionFindings, peak: &Peak) -> Option<Offset> {
    let model = &found.outcome.model;
    if peak.feed != 0 || (peak.azimuth.is_none() && peak.elevation.is_none()) {
        return None;
    }
    let clock_s = model.terms().inside(Term::ClockOffset);
    let time = peak.time.plus_seconds(clock_s);
    let direction = session.sky.apparent(&peak.emitter, time).ok()?;
    let sighting = Sighting {
        azimuth: peak.azimuth,
        elevation: peak.elevation,
        approach: ApproachSigns {
            azimuth: peak.azimuth_approach.sign(),
            elevation: peak.elevation_approach.sign(),
        },
        target: direction.east_north_up(),
        target_rate: nalgebra::Vector3::zeros(),
        clock_offset_s: clock_s,
    };
    Some(misfit(model, &sighting).offset)
}
