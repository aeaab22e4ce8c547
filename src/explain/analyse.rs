//! The analysis, from a log to its explanation.

use std::borrow::Cow;

use crate::logbook::PeakLog;
use crate::mount::{Kind, Term, TermValues};
use crate::sky::Sky;
use crate::station::Station;

use super::admission::{Admission, is_usual, settled};
use super::explanation::{ComputedPositions, Explanation, Remark};
use super::finish::finished;
use super::hypothesis::Hypothesis;
use super::inquiry::Context;
use super::misreading::LogReading;
use super::observe::{Observations, observe};
use super::options::{Options, TermChoice};
use super::plausibility::too_good;
use super::sample::sample;
use super::search::{Chosen, first_fit, search};
use super::session::{Session, session_peaks};
use super::uncertainty::standard_deviations;
use super::unexplained::Unexplained;

/// With fewer coordinates hardly any degrees of freedom are left once the terms of a healthy mount
/// are fitted. Any misreading of the log that shrinks the angles then leaves almost no scatter, and
/// its likelihood grows without bound. Twelve are six peaks of two coordinates (docs/faults.md).
pub const LEAST_COORDINATES: usize = 12;
/// Explains a log.
///
/// # Errors
/// When the peaks determine nothing useful.
pub fn explain(
    station: &Station,
    sky: &Sky,
    log: &PeakLog,
    options: &Options,
) -> Result<Explanation, Unexplained> {
    let clock_s = held_values(options).inside(Term::ClockOffset);
    let found = observe(station, sky, log, clock_s);
    let reading = LogReading {
        station,
        sky,
        log,
        clock_s,
    };
    analyse(station, Cow::Owned(found), Some(reading), options)
}

/// Explains observations whose positions are already known, without the sky. A clock offset is then
/// taken along a straight line at each target's rate.
///
/// # Errors
/// As [`explain`].
pub fn explain_observed(
    station: &Station,
    found: &Observations,
    options: &Options,
) -> Result<Explanation, Unexplained> {
    analyse(station, Cow::Borrowed(found), None, options)
}

fn held_values(options: &Options) -> TermValues {
    let mut held = TermValues::ZERO;
    for (term, value) in &options.holds {
        held.set_inside(*term, *value);
    }
    held
}

fn analyse(
    station: &Station,
    found: Cow<'_, Observations>,
    reading: Option<LogReading<'_>>,
    options: &Options,
) -> Result<Explanation, Unexplained> {
    if found.usable.is_empty() {
        return Err(match found.unusable.first() {
            Some(first) => Unexplained::NothingUsable {
                peaks: found.unusable.len(),
                row: first.peak.row,
                why: first.why.clone(),
            },
            None => Unexplained::NoPeaks,
        });
    }
    let first_feed = found.usable.iter().filter(|o| o.peak.feed == 0).count();
    if first_feed == 0 {
        return Err(Unexplained::NoFirstFeed);
    }
    let mut remarks: Vec<Remark> = found.notices.iter().cloned().map(Remark::Sky).collect();
    let held = options.holds.iter().map(|(t, _)| *t);
    let held_terms: Vec<Term> = held.chain(options.without.iter().copied()).collect();
    let choice = wanted(station.mount.kind(), options, &held_terms, &mut remarks);
    let also = match choice {
        TermChoice::ByTheData => {
            let kind = station.mount.kind();
            let also = with_partners(kind, &options.also, &held_terms, &mut remarks);
            if kind.has_track() && also.contains(&Term::ElevationRunoutCos) {
                remarks.push(Remark::DroopHeldForRunout);
            }
            also
        }
        TermChoice::Listed(_) => Vec::new(),
    };
    let sigmas = standard_deviations(&found.usable, station, &mut remarks);
    let mut session = Session::new(
        session_peaks(station, reading.map(|r| r.sky), &found.usable),
        sigmas,
        (station.dish.beamwidth, station.mount.geometry),
        (held_values(options), held_terms),
        (choice, options.trust_all),
        options.seed,
    );
    session.left_out.clone_from(&options.without);
    session = session.with_also(also).with_feeds();
    session.logs.clone_from(&found.logs);
    let unusable = found.unusable.clone();
    // The observations of a long log take memory.
    drop(found);
    if options.zeros_per_log {
        session = session.with_zeros_per_log();
    }
    let context = Context {
        station,
        sky: reading.map(|r| r.sky),
        reading,
    };
    let computed = too_good(&session).map(|(rms, airless)| ComputedPositions { rms, airless });
    let coordinates: usize = session.peaks.iter().map(|p| p.sighting.coordinates()).sum();
    let chosen = if computed.is_some() || coordinates < LEAST_COORDINATES {
        let mut session = session;
        if computed.is_none() {
            remarks.push(Remark::NoCausesAsked);
            if session.choice == TermChoice::ByTheData {
                // Too few to weigh them; their possible effect is in the uncertainties.
                let also = session.also.clone();
                (session.base)
                    .retain(|h| !is_usual(h) || h.terms().iter().any(|t| also.contains(t)));
            }
        }
        without_causes(context, session, options)?
    } else {
        with_causes(context, session, options, &mut remarks)?
    };
    finished(context, unusable, chosen, computed, remarks)
}

/// The terms always fitted.
fn wanted(kind: Kind, options: &Options, held: &[Term], remarks: &mut Vec<Remark>) -> TermChoice {
    let Some(listed) = &options.terms else {
        return TermChoice::ByTheData;
    };
    let mut listed = listed.clone();
    listed.extend(&options.also);
    let mut terms = with_partners(kind, &listed, held, remarks);
    if kind.has_track() && terms.contains(&Term::Droop) && terms.contains(&Term::ElevationRunoutCos)
    {
        // The two are the same function to first order: the user named the runout, so it is fitted
        // as that.
        remarks.push(Remark::DroopHeldForRunout);
        terms.retain(|t| *t != Term::Droop);
    }
    TermChoice::Listed(terms)
}

/// The same terms plus those that must be fitted together with one of them.
fn with_partners(
    kind: Kind,
    listed: &[Term],
    held: &[Term],
    remarks: &mut Vec<Remark>,
) -> Vec<Term> {
    let mut terms = listed.to_vec();
    for term in listed {
        for partner in term.group().terms() {
            if kind.has(partner) && !terms.contains(&partner) && !held.contains(&partner) {
                remarks.push(Remark::FittedToo {
                    term: partner,
                    with: *term,
                });
                terms.push(partner);
            }
        }
    }
    terms
}

fn without_causes(
    context: Context<'_>,
    mut session: Session,
    options: &Options,
) -> Result<Chosen, Unexplained> {
    let fit = match first_fit(&session, options) {
        Ok(fit) => fit,
        // Too few to separate good from bad: all are used.
        Err(_) => session.fit_to_all().ok_or(Unexplained::TooFew)?,
    };
    let fit = settled(context, &mut session, fit);
    Ok(Chosen {
        session,
        admission: Admission {
            fit,
            tried: 0,
            dropped: Vec::new(),
        },
        misread: None,
    })
}

fn with_causes(
    context: Context<'_>,
    session: Session,
    options: &Options,
    remarks: &mut Vec<Remark>,
) -> Result<Chosen, Unexplained> {
    if let Some(places) = sample(session.peaks.len()) {
        let some = session.thinned(&places);
        let chosen = search(
            Context {
                reading: None,
                ..context
            },
            some,
            options,
        )?;
        remarks.push(Remark::ChosenOnSome {
            used: places.len(),
            peaks: session.peaks.len(),
        });
        return on_all(context, session, chosen);
    }
    search(context, session, options)
}

/// Refits to all peaks what was chosen on some of them.
fn on_all(
    context: Context<'_>,
    mut session: Session,
    chosen: Chosen,
) -> Result<Chosen, Unexplained> {
    let few = chosen.admission;
    let kept = vec![true; session.peaks.len()];
    let hypotheses: Vec<Hypothesis> = (few.fit.hypotheses.iter())
        .map(|h| h.everywhere(context, &session))
        .collect();
    let fit = session
        .refit(&hypotheses, &few.fit.parameters, &kept, few.fit.variance)
        .ok_or(Unexplained::TooFew)?;
    let fit = settled(context, &mut session, fit);
    Ok(Chosen {
        session,
        admission: Admission { fit, ..few },
        misread: None,
    })
}
