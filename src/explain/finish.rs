//! Builds the report once the hypotheses are chosen.

use nalgebra::DMatrix;

use crate::angle::Angle;
use crate::fit::robust::LEAST_OBSERVATIONS;
use crate::logbook::TermState;
use crate::mount::{FeedOffset, Group, MountModel, Term};
use crate::station::Station;

use super::alike::alike;
use super::bad_peaks::{bad_peaks, settle_bad_peaks};
use super::compass::compass;
use super::decided::{causes, decisions};
use super::explanation::{
    Cause, ComputedPositions, Explanation, FeedEstimate, Remark, TermEstimate,
};
use super::hypothesis::Hypothesis;
use super::inquiry::{Context, Inquiry};
use super::joint_fit::JointFit;
use super::log_zeros::zeros_of_logs;
use super::loose_joint::{LooseJoint, loose_joint};
use super::observe::Unusable;
use super::options::TermChoice;
use super::plausibility::ABSURD_ZERO;
use super::plausibility::many_bad;
use super::prior_size::is_weakly_held;
use super::row_causes::named;
use super::sample::sample;
use super::search::Chosen;
use super::separability::{Vague, sensitivity, told_instead, vague_directions, what_would_tell};
use super::session::{Session, both_sides};
use super::sky_error::{allowed_for, sky_error, term_covariance};
use super::start::start;
use super::two_places::two_places;
use super::uncertainty::{contradicted_holds, noise_of, poorly_told};
use super::unexplained::Unexplained;
use super::usual::weigh_usual_errors;

/// Factor by which the prior of a term listed by the user is widened for the last fit: too wide to
/// affect any session, and the equations can still be solved.
const PRACTICALLY_FREE: f64 = 1e4;

/// Beam offsets of further feeds.
fn feeds(session: &Session, fit: &JointFit, covariance: &DMatrix<f64>) -> Vec<FeedEstimate> {
    let sense = session.geometry.second_sense();
    let offset = |right: f64, up: f64| FeedOffset {
        right: Angle::from_radians(right),
        up: Angle::from_radians(up),
    };
    (fit.hypotheses.iter().enumerate())
        .filter_map(|(index, hypothesis)| {
            let Hypothesis::Feed(feed) = hypothesis else {
                return None;
            };
            let at = fit.columns_of(session, index).start;
            let sigma = |i: usize| covariance[(i, i)].max(0.0).sqrt();
            Some(FeedEstimate {
                feed: *feed,
                offset: offset(fit.parameters[at], fit.parameters[at + 1] * sense),
                sigma: offset(sigma(at), sigma(at + 1)),
            })
        })
        .collect()
}

/// Builds the report once the hypotheses are chosen.
///
/// # Errors
/// When no degrees of freedom are left to estimate the uncertainty, or none of the requested terms
/// is determined.
pub fn finished(
    context: Context<'_>,
    unusable: Vec<Unusable>,
    chosen: Chosen,
    computed: Option<ComputedPositions>,
    mut remarks: Vec<Remark>,
) -> Result<Explanation, Unexplained> {
    let station = context.station;
    let Chosen {
        mut session,
        admission,
        misread,
    } = chosen;
    let tried = admission.tried;
    let dropped = admission.dropped;
    let begin = start(&session);
    let mut fit = if session.trusts_all {
        admission.fit
    } else {
        settle_bad_peaks(&session, admission.fit)
    };
    // The fits compared so far were only as exact as needed; the final one converges fully.
    if let Some(exact) = session.refit_as_held(&fit, &fit.kept) {
        fit = exact;
    }
    let mut loose = settle_loose_joint(context, &session, &mut fit);
    // Terms that the data do not determine are held at zero.
    let vague = vague_directions(&session, &fit);
    let not_told: Vec<Term> = vague.iter().flat_map(|(_, held)| held.clone()).collect();
    if !not_told.is_empty() {
        fit = fit
            .without_terms(&session, &not_told)
            .ok_or(Unexplained::TooFew)?;
        session.base = (session.base.iter())
            .filter_map(|h| h.without_terms(&not_told))
            .collect();
        if session.base.is_empty() {
            return Err(Unexplained::NothingTold);
        }
    }
    free_listed_terms(&session, &mut fit);
    let (mut fit, doubt) = weigh_usual_errors(&session, fit);
    let Some(mut noise) = noise_of(&session, &fit, &mut remarks) else {
        let rows: usize = (session.peaks.iter().zip(&fit.kept))
            .filter(|(_, k)| **k)
            .map(|(p, _)| p.sighting.coordinates())
            .sum();
        return Err(Unexplained::NoFreedom {
            coordinates: rows,
            terms: fit.count(),
        });
    };
    fit.variance = noise.factor * noise.factor;
    noise.covariance += doubt;
    let model = wrapped(&fit.mount_at_the_end(&session));
    let allowed = allowed_for(&session, &fit, &not_told);
    let spread =
        term_covariance(&session, &fit, &noise.covariance, &allowed).ok_or(Unexplained::TooFew)?;
    let sky_error = sky_error(
        station,
        &session,
        &fit,
        &model,
        &spread,
        (noise.freedom, &allowed),
    );
    if !session.held_terms.is_empty() {
        // Against the mount without causes: causes would bend to compensate for a wrong hold.
        let plain = session.plain_fit().map(|(plain, _)| plain);
        contradicted_holds(&session, plain.as_ref().unwrap_or(&fit), &mut remarks);
    }
    remarks.extend(poorly_told(&session, &fit));
    let zero = model.terms().angle(Term::ElevationZero);
    if zero.abs() > ABSURD_ZERO {
        remarks.push(Remark::ElevationZeroAbsurd { zero });
    }
    let sigmas: Vec<f64> = (0..fit.count())
        .map(|i| noise.covariance[(i, i)].max(0.0).sqrt())
        .collect();
    let told = match not_told.is_empty() {
        true => Vec::new(),
        false => sensitivity(&session, &fit, &not_told).map_or_else(Vec::new, |said| {
            told_instead(&fit, &sigmas, &said, &not_told)
        }),
    };
    let vague = (vague.into_iter())
        .map(|(shares, held)| Vague {
            advice: what_would_tell(&session, &fit, &held),
            shares,
            held,
        })
        .collect();
    // Weighed on the peaks on which they were searched for.
    let some = sample(session.peaks.len()).and_then(|places| {
        let some = session.thinned(&places);
        let fit = fit.thinned(&some, &places)?;
        Some((some, fit))
    });
    let (searched, fit_there) = (some.as_ref()).map_or((&session, &fit), |(s, f)| (s, f));
    let inquiry = Inquiry::new(context, searched, fit_there);
    let causes = match computed {
        Some(_) => Vec::new(),
        None => causes(&inquiry, &session, &fit, &noise.covariance, tried),
    };
    let bad = match session.trusts_all {
        true => Vec::new(),
        false => {
            let judged = bad_peaks(&session, &fit, loose.as_ref().map(|j| j.louder.as_slice()))
                .into_iter()
                .filter(|j| !fit.kept[j.index])
                .collect();
            named(station, context.sky, &session, &fit, judged)
        }
    };
    let alike = alike(&session, &fit, &bad);
    said_of_bad(&session, &fit, &bad, alike.as_ref(), &mut remarks);
    let sides_unknown = !both_sides(&session.peaks, |p| p.sighting.approach.azimuth)
        && !both_sides(&session.peaks, |p| p.sighting.approach.elevation);
    let none_logged = (session.peaks.iter())
        .all(|p| p.sighting.approach.azimuth == 0.0 && p.sighting.approach.elevation == 0.0);
    if none_logged {
        remarks.push(Remark::SidesNotLogged);
    }
    let two_places = match computed.is_none() && sides_unknown && !causes_play(&causes) {
        true => two_places(searched, fit_there),
        false => Vec::new(),
    };
    if !two_places.is_empty() {
        loose = None;
    }
    for (k, cause) in causes.iter().enumerate() {
        let columns = fit.columns_of(&session, cause.index);
        let stays = |j: usize| fit.columns[j].shape.at_the_end(0.0).is_none();
        if columns.clone().any(stays) {
            remarks.push(Remark::NotCorrected { cause: k });
        }
    }
    remarks.extend(zeros_of_logs(&session, &fit, &noise.covariance));
    let decisions = decisions(&inquiry, &session, &fit, tried);
    let compass = by_compass(station, &session, &fit, &noise.covariance);
    Ok(Explanation {
        terms: estimates(
            &session,
            &fit,
            &model,
            &spread.of_fitted,
            &spread.terms[..spread.fitted],
            &not_told,
        ),
        feeds: feeds(&session, &fit, &noise.covariance),
        correlations: correlations(&spread.terms[..spread.fitted], &spread.of_fitted),
        covariance: noise.covariance,
        freedom: noise.freedom,
        noise_factor: noise.factor,
        unusable,
        start: begin,
        misread,
        computed,
        model,
        causes,
        decisions,
        dropped,
        tried,
        not_told: vague,
        told_instead: told,
        bad_peaks: bad,
        alike,
        loose_joint: loose,
        two_places,
        compass,
        sky_error,
        remarks,
        session,
        fit,
    })
}

/// Searches for a loose joint, and takes back the bad peaks that its scatter allows.
fn settle_loose_joint(
    context: Context<'_>,
    session: &Session,
    fit: &mut JointFit,
) -> Option<LooseJoint> {
    let mut loose = loose_joint(session, fit, &[]);
    if loose.is_some() && !session.trusts_all {
        // Peaks that share the same offset are displaced, not loose.
        let judged = bad_peaks(session, fit, None);
        let bad = named(context.station, context.sky, session, fit, judged);
        if let Some(group) = alike(session, fit, &bad) {
            let apart: Vec<usize> = group.members.iter().map(|p| bad[*p].index).collect();
            loose = loose_joint(session, fit, &apart);
        }
        if let Some(joint) = &loose {
            let mut kept = vec![true; session.peaks.len()];
            for judged in bad_peaks(session, fit, Some(&joint.louder)) {
                kept[judged.index] = false;
            }
            if kept != fit.kept
                && let Some(next) = session.refit_kept(fit, &kept)
            {
                *fit = next;
            }
        }
    }
    loose
}

/// Fits the terms requested by the user to the data alone, without a prior.
fn free_listed_terms(session: &Session, fit: &mut JointFit) {
    if session.choice == TermChoice::ByTheData && session.also.is_empty() {
        return;
    }
    for column in &mut fit.columns {
        if column.constant_term().is_some_and(|t| session.asks_for(t)) {
            column.spread *= PRACTICALLY_FREE;
        }
    }
    let kept = fit.kept.clone();
    if let Some(next) = session.refit_kept(fit, &kept) {
        *fit = next;
    }
}

fn causes_play(causes: &[Cause]) -> bool {
    use super::fault::Fault::{AzimuthBacklash, ElevationBacklash};
    causes
        .iter()
        .any(|c| matches!(c.fault(), AzimuthBacklash | ElevationBacklash))
}

/// Remarks on the number of bad peaks and on those without a name.
fn said_of_bad(
    session: &Session,
    fit: &JointFit,
    bad: &[super::row_causes::BadPeak],
    alike: Option<&super::alike::Alike>,
    remarks: &mut Vec<Remark>,
) {
    let peaks = session.peaks.len();
    if peaks < LEAST_OBSERVATIONS && !session.trusts_all {
        remarks.push(Remark::FewPeaks {
            peaks,
            needed: LEAST_OBSERVATIONS,
        });
    }
    if many_bad(fit) {
        let out = fit.kept.iter().filter(|k| !**k).count();
        remarks.push(Remark::ManyBad { bad: out, peaks });
    }
    for (place, b) in bad.iter().enumerate() {
        let told = alike.is_some_and(|a| a.members.contains(&place));
        if b.kind.is_none() && !told {
            remarks.push(Remark::UnnamedBadPeak {
                row: b.row,
                off: b.off.size(),
            });
        }
    }
}

fn by_compass(
    station: &Station,
    session: &Session,
    fit: &JointFit,
    covariance: &DMatrix<f64>,
) -> Option<super::compass::Compass> {
    if !session.kind().has_track() {
        // A compass does not determine the rotation of a polar axis or of a horizontal lower axis.
        return None;
    }
    let place = fit.place_of(Term::AzimuthZero)?;
    // A zero that is confounded with other causes is no evidence.
    let scaled = (fit.hypotheses.iter())
        .any(|h| matches!(h, Hypothesis::Grads(_)) || h.group() == Some(Group::AzimuthScale));
    if scaled {
        return None;
    }
    compass(
        &station.site,
        session.peaks.first()?.time,
        Angle::from_radians(fit.parameters[place]),
        Angle::from_radians(covariance[(place, place)].max(0.0).sqrt()),
    )
}

/// The same model with the azimuth zero in (-180, 180] degrees.
fn wrapped(model: &MountModel) -> MountModel {
    let mut terms = *model.terms();
    let zero = terms.angle(Term::AzimuthZero).wrapped_signed();
    terms.set_inside(Term::AzimuthZero, zero.radians());
    model.with_terms(terms)
}

fn estimates(
    session: &Session,
    fit: &JointFit,
    model: &MountModel,
    covariance: &DMatrix<f64>,
    terms: &[Term],
    not_told: &[Term],
) -> Vec<TermEstimate> {
    let listed = session.choice != TermChoice::ByTheData;
    Term::ALL
        .into_iter()
        .filter_map(|term| {
            let value = model.terms().inside(term);
            let place = terms.iter().position(|t| *t == term);
            let fitted = fit.place_of(term).is_some();
            let sigma = place
                .filter(|_| fitted)
                .map(|i| covariance[(i, i)].max(0.0).sqrt());
            let state = if fitted {
                TermState::Fitted
            } else if session.left_out.contains(&term) {
                return None;
            } else if session.held_terms.contains(&term) {
                TermState::Held
            } else if not_told.contains(&term) {
                TermState::NotSeparable
            } else {
                return None;
            };
            let zero = matches!(term.group(), Group::AzimuthZero | Group::ElevationZero);
            let prior_sigma = (fitted && !listed && !zero && !session.asks_for(term))
                .then(|| fit.place_of(term).map(|j| fit.columns[j].spread))
                .flatten()
                .filter(|_| {
                    is_weakly_held(term) || term.group() == Group::Tilt || term == Term::Collimation
                });
            Some(TermEstimate {
                term,
                value,
                sigma,
                state,
                prior_sigma,
            })
        })
        .collect()
}

fn correlations(terms: &[Term], covariance: &DMatrix<f64>) -> Vec<(Term, Term, f64)> {
    let mut found = Vec::new();
    for i in 0..terms.len() {
        for j in i + 1..terms.len() {
            let product = covariance[(i, i)] * covariance[(j, j)];
            if product > 0.0 {
                let value = (covariance[(i, j)] / product.sqrt()).clamp(-1.0, 1.0);
                found.push((terms[i], terms[j], value));
            }
        }
    }
    found
}
