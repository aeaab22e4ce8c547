//! Other starting points for an explanation when the session as logged is inconsistent: another
//! reading of the log, another scale, another clock offset.

use rayon::prelude::*;

use crate::angle::Angle;
use crate::mount::Term;

use super::fault::FaultAxis;
use super::hypothesis::Hypothesis;
use super::joint_fit::JointFit;
use super::linearised::Linearised;
use super::misreading::{LogReading, Misreading};
use super::peak::SessionPeak;
use super::plausibility::falls_apart;
use super::problem::JointProblem;
use super::session::Session;
use super::start::{StartingZeros, start};
use super::tuned::{
    FALL_TO_FIT_A_MISREADING, MOST_MISREADINGS_FITTED, MOST_STEPS_OF_SCALES_TRIED,
    PEAKS_TO_SCREEN_MISREADINGS, STEP_OF_SCALES_TRIED,
};

/// A starting point for an explanation.
#[derive(Clone, Debug)]
pub struct Beginning {
    /// How the log was misread; `None` for the session as logged.
    pub misreading: Option<Misreading>,
    /// The session under that reading.
    pub session: Session,
    /// Its first fit.
    pub fit: JointFit,
}

/// Other starting points for an explanation, the most promising first; only consistent ones if
/// there are any.
pub fn beginnings(setting: &LogReading<'_>, session: &Session) -> Vec<Beginning> {
    let stride = setting
        .log
        .peaks
        .len()
        .div_ceil(PEAKS_TO_SCREEN_MISREADINGS)
        .max(1);
    let mut thin_log = setting.log.clone();
    thin_log.peaks = thin_log.peaks.into_iter().step_by(stride).collect();
    let thin = LogReading {
        log: &thin_log,
        ..*setting
    };
    let rows: Vec<usize> = thin_log.peaks.iter().map(|p| p.row).collect();
    let places: Vec<usize> = (0..session.peaks.len())
        .filter(|i| rows.contains(&session.peaks[*i].row))
        .collect();
    let few = session.thinned(&places);
    let limit = screen(&few).map_or(f64::INFINITY, |s| s.cost) - FALL_TO_FIT_A_MISREADING;
    let mut promising: Vec<(f64, Misreading)> = Misreading::all()
        .into_par_iter()
        .filter_map(|misreading| {
            let other = misreading.placed(&few, &thin)?;
            let cost = screen(&other)?.cost;
            (cost < limit).then_some((cost, misreading))
        })
        .collect();
    promising.sort_by(|a, b| a.0.total_cmp(&b.0));
    let read: Vec<(Misreading, Session)> = promising
        .into_iter()
        .take(MOST_MISREADINGS_FITTED)
        .filter_map(|(_, misreading)| {
            let other = misreading.applied(session, setting)?;
            Some((misreading, other))
        })
        .collect();
    // The right reading is consistent by itself, and then no other needs a costly search.
    let mut found: Vec<Beginning> = (read.iter())
        .filter_map(|(misreading, session)| match session.plain_fit()? {
            (fit, true) => Some(Beginning {
                misreading: Some(misreading.clone()),
                session: session.clone(),
                fit,
            }),
            _ => None,
        })
        .collect();
    if !found.is_empty() {
        return found;
    }
    let far = far_scale(session, &few, limit).into_iter();
    found.extend(far.chain(far_clock(setting, session, &few, limit)));
    if found.iter().any(|b| !falls_apart(&b.session, &b.fit)) {
        return found;
    }
    found.extend(read.into_iter().filter_map(|(misreading, session)| {
        let fit = session.robust_base_fit().ok()?;
        Some(Beginning {
            misreading: Some(misreading),
            session,
            fit,
        })
    }));
    found
}

/// Result of a first-order fit of a session from the zeros alone.
struct Screened {
    /// -2 ln likelihood with all healthy terms, up to a constant of the peaks.
    cost: f64,
    from: StartingZeros,
}

fn screen(session: &Session) -> Option<Screened> {
    let from = start(session);
    let begin = session.beginning_from(&session.base, &from);
    let columns: Vec<_> = (session.base.iter())
        .flat_map(|h| h.columns(session.beamwidth))
        .collect();
    let spreads: Vec<f64> = columns.iter().map(|c| c.spread).collect();
    let all = vec![true; session.peaks.len()];
    let linearised = Linearised::at(
        &JointProblem::new(&session.peaks, &session.sigmas, &columns, session.mount()),
        (&session.peaks, &session.sigmas),
        &begin,
        &[],
        (&all, session.trust()),
        &spreads,
    );
    let chosen: Vec<usize> = (0..begin.len()).collect();
    let fit = linearised.fit(&chosen, &all, 1.0)?;
    Some(Screened {
        cost: linearised.cost(&fit),
        from,
    })
}

/// A scale so wrong that the zeros alone give no start: tried in steps of 2 %.
fn far_scale(session: &Session, few: &Session, limit: f64) -> Option<Beginning> {
    let mut best: Option<(Screened, FaultAxis, f64)> = None;
    for axis in [FaultAxis::Azimuth, FaultAxis::Elevation] {
        for k in (-MOST_STEPS_OF_SCALES_TRIED..=MOST_STEPS_OF_SCALES_TRIED).filter(|k| *k != 0) {
            let factor = STEP_OF_SCALES_TRIED.powi(k);
            let mut other = few.clone();
            for peak in &mut other.peaks {
                let read = &mut peak.sighting;
                match axis {
                    FaultAxis::Azimuth => read.azimuth = read.azimuth.map(|a| a * factor),
                    _ => read.elevation = read.elevation.map(|e| e * factor),
                }
            }
            let nearer = |b: &Option<(Screened, FaultAxis, f64)>, cost: f64| {
                b.as_ref().is_none_or(|(b, _, _)| cost < b.cost)
            };
            if let Some(found) = screen(&other)
                && found.cost < limit
                && nearer(&best, found.cost)
            {
                best = Some((found, axis, factor));
            }
        }
    }
    let (found, axis, factor) = best?;
    let term = match axis {
        FaultAxis::Azimuth => Term::AzimuthScale,
        _ => Term::ElevationScale,
    };
    beginning_with(session.clone(), &found.from, term, factor - 1.0)
}

/// The session's fit with one more term, which starts at `value`.
fn beginning_with(
    session: Session,
    from: &StartingZeros,
    term: Term,
    value: f64,
) -> Option<Beginning> {
    if session.held_terms.contains(&term) || session.base_terms().contains(&term) {
        return None;
    }
    let mut begin = session.beginning_from(&session.base, from);
    begin.push(value);
    let mut hypotheses = session.base.clone();
    hypotheses.push(Hypothesis::Terms(vec![term]));
    let all = vec![true; session.peaks.len()];
    let fit = session.refit(&hypotheses, &begin, &all, 1.0)?;
    Some(Beginning {
        misreading: None,
        session,
        fit,
    })
}

/// A clock so wrong that satellites are nowhere near: tried up to half an hour either way. Beyond
/// that it is a time zone.
fn far_clock(
    setting: &LogReading<'_>,
    session: &Session,
    few: &Session,
    limit: f64,
) -> Option<Beginning> {
    /// Emitters faster than this, degrees per second, need the finer step: these are low
    /// satellites; all others move with the sky (0.004) or slower.
    const FAST: Angle = Angle::from_degrees(0.01);
    /// Half an hour: beyond it a wrong clock is a time zone.
    const MOST_S: f64 = 1800.0;
    let is_satellite =
        |p: &SessionPeak| p.along_orbit.norm_squared() > 0.0 && p.sighting.target_rate.norm() > 0.0;
    let fast = |p: &SessionPeak| is_satellite(p) && p.sighting.target_rate.norm() > FAST.radians();
    let step_s = if session.peaks.iter().any(fast) {
        10.0
    } else {
        60.0
    };
    let most_steps = (MOST_S / step_s) as i32;
    let tried: Vec<f64> = (-most_steps..=most_steps)
        .filter(|k| *k != 0)
        .map(|k| step_s * f64::from(k))
        .collect();
    let (found, clock_s) = tried
        .into_par_iter()
        .filter_map(|clock_s| {
            let mut other = few.clone();
            for peak in &mut other.peaks {
                let satellite = is_satellite(peak);
                let read = &mut peak.sighting;
                if satellite {
                    let time = peak.time.plus_seconds(read.clock_offset_s + clock_s);
                    let name = &setting.station.emitters.get(peak.emitter)?.name;
                    read.target = setting.sky.apparent(name, time).ok()?.east_north_up();
                } else {
                    read.target = (read.target + read.target_rate * clock_s).normalize();
                }
            }
            let found = screen(&other)?;
            (found.cost < limit).then_some((found, clock_s))
        })
        .min_by(|a, b| a.0.cost.total_cmp(&b.0.cost))?;
    let clock_s = setting.clock_s + clock_s;
    let other = session.with_peaks(setting.peaks_at(clock_s))?;
    beginning_with(other, &found.from, Term::ClockOffset, clock_s)
}
