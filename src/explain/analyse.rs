//! The analysis, from a log to its explanation.

use std::collections::HashSet;

use nalgebra::DMatrix;

use crate::angle::Angle;
use crate::fit::robust::LEAST_OBSERVATIONS;
use crate::logbook::{PeakLog, TermState};
use crate::mount::{Group, MountModel, Term, TermValues};
use crate::problem::Error;
use crate::sky::Sky;
use crate::station::Station;

use super::admission::{Admission, Context, Inquiry, admit, is_usual, price, settled};
use super::alike::alike;
use super::bad_peaks::{bad_peaks, leverage_of, settle_bad_peaks};
use super::candidates::all_terms;
use super::compass::compass;
use super::explanation::{
    Cause, ComputedPositions, Decision, Explanation, Grounds, Misread, Numbers, Remark,
    TermEstimate,
};
use super::hypothesis::Hypothesis;
use super::joint_fit::{JointFit, TOO_FEW};
use super::loose_joint::loose_joint;
use super::misreading::{LogReading, Misreading};
use super::misreading_search::{Beginning, beginnings};
use super::observe::{Observations, observe};
use super::plausibility::{absurd, falls_apart, too_good};
use super::prior_size::is_weakly_held;
use super::rivals::rivals;
use super::row_causes::named;
use super::separability::{Vague, sensitivity, told_instead, vague_directions, what_would_tell};
use super::session::{Session, TermChoice, both_sides, session_peaks};
use super::sky_error::{allowed_for, sky_error, term_covariance};
use super::start::start;
use super::two_places::two_places;
use super::uncertainty::{contradicted_holds, noise_of, poorly_told, standard_deviations};
use super::usual::weigh_usual_errors;

/// What to explain a session by, and how.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Exactly these mount terms; none means the usual ones and whatever the data ask for.
    pub terms: Option<Vec<Term>>,
    /// Terms held at an inside value.
    pub holds: Vec<(Term, f64)>,
    /// Seed of everything random.
    pub seed: u64,
    /// Use every peak: look for no bad ones.
    pub trust_all: bool,
    /// Where to begin; none finds its own start.
    pub begin: Option<TermValues>,
}

/// Fewer coordinates leave hardly any freedom beside the terms of a healthy mount: their scatter
/// is then near nothing by any reading that shrinks them, and the likelihood of such a reading
/// without bound.
pub const LEAST_COORDINATES: usize = 12;
/// Another reading of the log must be so improbable to look better by chance.
const FALSE_READING: f64 = 0.003;
/// Readings whose criterion is worse by less than this are about as good.
const ABOUT: f64 = 6.0;
/// From this elevation zero on the readings may mean something else.
const ABSURD_ZERO: Angle = Angle::from_degrees(45.0);
/// When more peaks than this share look bad, a missing term may be what is wrong, and the search
/// is made again with more terms in.
const SUSPICIOUS_SHARE: f64 = 0.1;
/// A bad peak at which the fit of the others is so uncertain, in units of a peak's variance, may
/// be good and alone in its part of the sky: the search is made again with more terms in.
const HIGH_LEVERAGE: f64 = 0.5;
/// With more bad peaks than this share it is said loudly.
const MANY_BAD: f64 = 0.2;
/// Causes are looked for on at most so many peaks; the fit is that of all.
const MOST_SEARCHED: usize = 2000;

/// Explains a log.
///
/// # Errors
/// [`Error::Unsupported`] when the peaks cannot tell anything useful.
pub fn explain(
    station: &Station,
    sky: &Sky,
    log: &PeakLog,
    options: &Options,
) -> Result<Explanation, Error> {
    let clock_s = held_values(options).inside(Term::ClockOffset);
    let found = observe(station, sky, log, clock_s);
    let reading = LogReading {
        station,
        sky,
        log,
        clock_s,
    };
    analyse(station, &found, Some(reading), options)
}

/// Explains observations whose places are known already: without the sky. A clock offset is then
/// taken along the straight line of each target's rate.
///
/// # Errors
/// As [`explain`].
pub fn explain_observed(
    station: &Station,
    found: &Observations,
    options: &Options,
) -> Result<Explanation, Error> {
    analyse(station, found, None, options)
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
    found: &Observations,
    reading: Option<LogReading<'_>>,
    options: &Options,
) -> Result<Explanation, Error> {
    if found.usable.is_empty() {
        return Err(Error::Unsupported(match found.unusable.first() {
            Some(first) => format!(
                "none of the {} peaks can be used; the first (row {}): {}",
                found.unusable.len(),
                first.peak.row,
                first.why
            ),
            None => "the log has no peaks".to_owned(),
        }));
    }
    let mut remarks: Vec<Remark> = found.notices.iter().cloned().map(Remark::Sky).collect();
    let held_terms: Vec<Term> = options.holds.iter().map(|(t, _)| *t).collect();
    let choice = wanted(options, &held_terms, &mut remarks);
    let sigmas = standard_deviations(&found.usable, station, &mut remarks);
    let session = Session::new(
        session_peaks(station, reading.map(|r| r.sky), &found.usable),
        sigmas,
        station.dish.beamwidth,
        (held_values(options), held_terms),
        (choice, options.trust_all),
        options.seed,
    );
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
                // Too few to weigh them; what they may do is in the uncertainties.
                session.base.retain(|h| !is_usual(h));
            }
        }
        without_causes(context, session, options)?
    } else {
        with_causes(context, session, options, &mut remarks)?
    };
    finished(context, found, chosen, computed, remarks)
}

/// The terms always fitted.
fn wanted(options: &Options, held: &[Term], remarks: &mut Vec<Remark>) -> TermChoice {
    let Some(listed) = &options.terms else {
        return TermChoice::ByTheData;
    };
    let mut terms = listed.clone();
    for term in listed {
        for partner in term.group().terms() {
            if !terms.contains(&partner) && !held.contains(&partner) {
                remarks.push(Remark::FittedToo {
                    term: partner,
                    with: *term,
                });
                terms.push(partner);
            }
        }
    }
    if terms.contains(&Term::Droop) && terms.contains(&Term::ElevationRunoutCos) {
        // The same function to first order: the user named the runout, so it is that.
        remarks.push(Remark::DroopHeldForRunout);
        terms.retain(|t| *t != Term::Droop);
    }
    TermChoice::Listed(terms)
}

/// What was chosen to explain a session.
struct Chosen {
    session: Session,
    admission: Admission,
    misread: Option<Misread>,
}

fn without_causes(
    context: Context<'_>,
    mut session: Session,
    options: &Options,
) -> Result<Chosen, Error> {
    let fit = match first_fit(&session, options) {
        Ok(fit) => fit,
        // Too few to tell good from bad: all are used.
        Err(_) => session
            .fit_to_all()
            .ok_or_else(|| Error::Unsupported(TOO_FEW.to_owned()))?,
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
) -> Result<Chosen, Error> {
    let all = session.peaks.len();
    if all > MOST_SEARCHED {
        let stride = all.div_ceil(MOST_SEARCHED);
        let places: Vec<usize> = (0..all).step_by(stride).collect();
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
            peaks: all,
        });
        return on_all(context, session, chosen);
    }
    search(context, session, options)
}

/// What was chosen on some of the peaks, fitted to all.
fn on_all(context: Context<'_>, mut session: Session, chosen: Chosen) -> Result<Chosen, Error> {
    let few = chosen.admission;
    let kept = vec![true; session.peaks.len()];
    let fit = session
        .refit(
            &few.fit.hypotheses,
            &few.fit.parameters,
            &kept,
            few.fit.variance,
        )
        .ok_or_else(|| Error::Unsupported(TOO_FEW.to_owned()))?;
    let fit = settled(context, &mut session, fit);
    Ok(Chosen {
        session,
        admission: Admission { fit, ..few },
        misread: None,
    })
}

fn search(context: Context<'_>, session: Session, options: &Options) -> Result<Chosen, Error> {
    let plain = match &options.begin {
        None => session.plain_fit(),
        Some(_) => None,
    };
    let (as_logged, mut elsewhere) = match plain {
        Some((fit, true)) => (Ok(fit), Vec::new()),
        plain => whole_or_elsewhere(context, &session, options, plain.map(|(fit, _)| fit)),
    };
    if let (Some(reading), Ok(fit)) = (context.reading, &as_logged) {
        elsewhere.extend(from_the_zenith(reading, &session, fit));
    }
    let begins: Vec<Beginning> = (as_logged.iter())
        .map(|fit| Beginning {
            misreading: None,
            session: session.clone(),
            fit: fit.clone(),
        })
        .chain(elsewhere)
        .collect();
    let Some(chosen) = best_of(context, begins, as_logged.as_ref().ok(), &session) else {
        return Err(as_logged
            .err()
            .unwrap_or_else(|| Error::Unsupported("the peaks cannot be fitted".to_owned())));
    };
    if absurd(&chosen.session, &chosen.admission.fit) {
        return Err(Error::Unsupported(makes_no_sense(&chosen.admission.fit)));
    }
    Ok(chosen)
}

/// Why nothing is named in a session that nothing explains.
fn makes_no_sense(fit: &JointFit) -> String {
    format!(
        "these peaks scatter by {:.2} deg about the best of all explanations tried, and do not hold \
         together even so: no number and no name would mean anything.\n  help: check the site, the times, the emitters' \
         names and the units of the readings; several of them may be wrong together",
        fit.scatter().degrees()
    )
}

/// The healthy mount as logged when it is not plain to see, and where else an explanation may
/// begin. The search for it is costly: it is left out when another reading makes sense at once.
fn whole_or_elsewhere(
    context: Context<'_>,
    session: &Session,
    options: &Options,
    plain: Option<JointFit>,
) -> (Result<JointFit, Error>, Vec<Beginning>) {
    let Some(reading) = context.reading else {
        return (first_fit(session, options), Vec::new());
    };
    let apart = plain.as_ref().is_some_and(|f| falls_apart(session, f));
    if let Some(plain) = plain.filter(|_| apart) {
        let elsewhere = beginnings(&reading, session);
        if elsewhere.iter().any(|b| !falls_apart(&b.session, &b.fit)) {
            return (Ok(plain), elsewhere);
        }
        return (first_fit(session, options), elsewhere);
    }
    let searched = first_fit(session, options);
    match &searched {
        Ok(fit) if !falls_apart(session, fit) => (searched, Vec::new()),
        _ => (searched, beginnings(&reading, session)),
    }
}

/// Elevations from the zenith fit as well as those of a dish carried over the top with a zero of
/// 90 degrees: the reading with the smaller zero is meant.
fn from_the_zenith(
    reading: LogReading<'_>,
    session: &Session,
    fit: &JointFit,
) -> Option<Beginning> {
    let zero = |fit: &JointFit| fit.value_of(Term::ElevationZero).map(f64::abs);
    if zero(fit)? < ABSURD_ZERO.radians() {
        return None;
    }
    let misreading = Misreading::FromTheZenith;
    let other = session.with_peaks(misreading.peaks(&reading)?)?;
    let fit = other.robust_base_fit().ok()?;
    (zero(&fit)? < ABSURD_ZERO.radians()).then_some(Beginning {
        misreading: Some(misreading),
        session: other,
        fit,
    })
}

/// The healthy mount as logged, from the given start if that is the better one.
fn first_fit(session: &Session, options: &Options) -> Result<JointFit, Error> {
    let own = session.robust_base_fit();
    let Some(begin) = &options.begin else {
        return own;
    };
    let values: Vec<f64> = (session.base_terms().iter())
        .map(|t| begin.inside(*t))
        .collect();
    match (own, session.robust_base_fit_from(&values)) {
        (Ok(own), Ok(given)) if given.cost < own.cost => Ok(given),
        (Ok(own), _) => Ok(own),
        (Err(_), given) => given,
    }
}

/// Where admission begins: from the healthy mount; and when many peaks look bad, or one that is
/// alone in its part of the sky, also from a mount with every term in, and with each alone.
fn starts(context: Context<'_>, session: &Session, first: &JointFit) -> Vec<JointFit> {
    let mut found = vec![first.clone()];
    let bad: Vec<usize> = (0..first.kept.len()).filter(|i| !first.kept[*i]).collect();
    let many = bad.len() as f64 > SUSPICIOUS_SHARE * first.kept.len() as f64;
    let alone = || (bad.iter()).any(|i| leverage_of(session, first, *i) > HIGH_LEVERAGE);
    if bad.is_empty() || !(many || alone()) {
        return found;
    }
    let more = all_terms(context.station, session);
    let together: Vec<Hypothesis> = more.clone();
    let sets = std::iter::once(together)
        .chain(more.into_iter().map(|one| vec![one]))
        .filter(|set| !set.is_empty());
    let mut seen: HashSet<Vec<bool>> = HashSet::from([first.kept.clone()]);
    for set in sets {
        let hypotheses: Vec<Hypothesis> = first
            .hypotheses
            .iter()
            .cloned()
            .chain(set.clone())
            .collect();
        let mut begin = first.parameters.clone();
        begin.resize(session.columns_of(&hypotheses).len(), 0.0);
        if let Ok(fit) = session.robust_fit_of(&hypotheses, &begin)
            && seen.insert(fit.kept.clone())
        {
            found.push(fit);
        }
    }
    found
}

/// Admits from every beginning and takes the best explanation of all.
fn best_of(
    context: Context<'_>,
    begins: Vec<Beginning>,
    as_logged: Option<&JointFit>,
    logged: &Session,
) -> Option<Chosen> {
    let readings = Misreading::all().len() as f64;
    struct Ended {
        total: f64,
        misreading: Option<Misreading>,
        session: Session,
        admission: Admission,
    }
    let mut ended: Vec<Ended> = begins
        .into_iter()
        .map(|begin| {
            let mut session = begin.session;
            let context = match begin.misreading {
                None => context,
                // Its log is not the one that was given.
                Some(_) => Context {
                    reading: None,
                    ..context
                },
            };
            let fit = settled(context, &mut session, begin.fit);
            let starts = starts(context, &session, &fit);
            let admission = admit(context, &mut session, starts);
            Ended {
                total: admission.fit.cost + price(&session, &admission.fit),
                misreading: begin.misreading,
                session,
                admission,
            }
        })
        .collect();
    let total_as_logged = (ended.iter())
        .filter(|e| e.misreading.is_none())
        .map(|e| e.total)
        .fold(f64::INFINITY, f64::min);
    // A wrong explanation is K times as likely as the right one with probability 1/K at most
    // (Markov's inequality on the likelihood ratio; Royall, Statistical Evidence, 1997; from
    // memory), here of the best of all readings.
    let chance = |total: f64| (-(total_as_logged - total) / 2.0).exp() * readings;
    ended.retain(|e| {
        let makes_sense =
            || chance(e.total) <= FALSE_READING && !absurd(&e.session, &e.admission.fit);
        match e.misreading {
            None | Some(Misreading::FromTheZenith) => true,
            Some(_) => makes_sense(),
        }
    });
    ended.sort_by(|a, b| a.total.total_cmp(&b.total));
    // The reading with a zero that a mount can have, where both fit about as well.
    let place = (ended.iter())
        .position(|e| {
            e.misreading == Some(Misreading::FromTheZenith) && e.total < ended[0].total + ABOUT
        })
        .unwrap_or(0);
    let total = ended.get(place)?.total;
    let as_good = (ended.iter().enumerate())
        .filter(|(k, e)| *k != place && e.total < total + ABOUT)
        .filter_map(|(_, e)| e.misreading.clone())
        .collect();
    let Ended {
        misreading,
        session,
        admission,
        ..
    } = ended.swap_remove(place);
    let misread = misreading.map(|misreading| Misread {
        as_logged: as_logged.map(|f| (f.scatter(), f.kept.iter().filter(|k| !**k).count())),
        misses_as_logged: as_logged.map(|f| f.misses(logged)),
        p_value: match misreading {
            Misreading::FromTheZenith => 0.0,
            _ => chance(total).min(1.0),
        },
        misreading,
        as_good,
    });
    Some(Chosen {
        session,
        admission,
        misread,
    })
}

/// Everything that is said once the hypotheses are chosen.
fn finished(
    context: Context<'_>,
    found: &Observations,
    chosen: Chosen,
    computed: Option<ComputedPositions>,
    mut remarks: Vec<Remark>,
) -> Result<Explanation, Error> {
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
    let mut loose = loose_joint(&session, &fit, &[]);
    if loose.is_some() && !session.trusts_all {
        // Peaks that stand off alike are displaced, not loose.
        let judged = bad_peaks(&session, &fit, None);
        let bad = named(station, context.sky, &session, &fit, judged);
        if let Some(group) = alike(&session, &fit, &bad) {
            let apart: Vec<usize> = group.members.iter().map(|p| bad[*p].index).collect();
            loose = loose_joint(&session, &fit, &apart);
        }
        if let Some(joint) = &loose {
            let mut kept = vec![true; session.peaks.len()];
            for judged in bad_peaks(&session, &fit, Some(&joint.louder)) {
                kept[judged.index] = false;
            }
            if kept != fit.kept
                && let Some(next) = session.refit_kept(&fit, &kept)
            {
                fit = next;
            }
        }
    }
    // Terms that the data do not tell are held at zero.
    let vague = vague_directions(&session, &fit);
    let not_told: Vec<Term> = vague.iter().flat_map(|(_, held)| held.clone()).collect();
    if !not_told.is_empty() {
        fit = fit
            .without_terms(&session, &not_told)
            .ok_or_else(|| Error::Unsupported(TOO_FEW.to_owned()))?;
        session.base = (session.base.iter())
            .filter_map(|h| h.without_terms(&not_told))
            .collect();
        if session.base.is_empty() {
            return Err(Error::Unsupported(
                "the peaks cannot tell any of the terms asked for; log peaks of emitters in \
                 other parts of the sky"
                    .to_owned(),
            ));
        }
    }
    if let TermChoice::Listed(listed) = &session.choice {
        // What the user asks for is fitted to the data alone.
        for column in &mut fit.columns {
            if column.constant_term().is_some_and(|t| listed.contains(&t)) {
                column.spread *= PRACTICALLY_FREE;
            }
        }
        let kept = fit.kept.clone();
        if let Some(next) = session.refit_kept(&fit, &kept) {
            fit = next;
        }
    }
    let (mut fit, doubt) = weigh_usual_errors(&session, fit);
    let Some(mut noise) = noise_of(&session, &fit, &mut remarks) else {
        let rows: usize = (session.peaks.iter().zip(&fit.kept))
            .filter(|(_, k)| **k)
            .map(|(p, _)| p.sighting.coordinates())
            .sum();
        return Err(Error::Unsupported(format!(
            "{rows} measured coordinates for {} terms leave nothing to judge the uncertainty by; \
             log more peaks, at least six, or their standard deviations (azimuth_sigma_deg, \
             elevation_sigma_deg)",
            fit.count()
        )));
    };
    fit.variance = noise.factor * noise.factor;
    noise.covariance += doubt;
    let model = wrapped(&fit.mount_at_the_end(&session));
    let allowed = allowed_for(&session, &fit, &not_told);
    let spread = term_covariance(&session, &fit, &noise.covariance, &allowed)
        .ok_or_else(|| Error::Unsupported(TOO_FEW.to_owned()))?;
    let sky_error = sky_error(
        station,
        &session,
        &fit,
        &model,
        &spread,
        (noise.freedom, &allowed),
    );
    if !session.held_terms.is_empty() {
        // About the mount without causes: they would bend to make up for a wrong hold.
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
    let causes = match computed {
        Some(_) => Vec::new(),
        None => causes(context, &session, &fit, &noise.covariance, tried),
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
        true => two_places(&session, &fit),
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
    let decisions = decisions(context, &session, &fit, tried);
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
        correlations: correlations(&spread.terms[..spread.fitted], &spread.of_fitted),
        covariance: noise.covariance,
        freedom: noise.freedom,
        noise_factor: noise.factor,
        unusable: found.unusable.clone(),
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

/// By so much the spread of a listed term is widened for the last fit.
const PRACTICALLY_FREE: f64 = 1e4;

fn causes_play(causes: &[Cause]) -> bool {
    use super::fault::Fault::{AzimuthBacklash, ElevationBacklash};
    causes
        .iter()
        .any(|c| matches!(c.fault(), AzimuthBacklash | ElevationBacklash))
}

/// What is said of how many peaks are bad, and of those without a name.
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
    let out = fit.kept.iter().filter(|k| !**k).count();
    if out as f64 > MANY_BAD * peaks as f64 {
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

/// What was found beside the errors that every mount has, and of those the ones that convince by
/// themselves: the best-supported first.
fn causes(
    context: Context<'_>,
    session: &Session,
    fit: &JointFit,
    covariance: &DMatrix<f64>,
    tried: usize,
) -> Vec<Cause> {
    let inquiry = Inquiry::new(context, session, fit);
    let admitted = fit.admitted(session);
    let mut found: Vec<Cause> = (0..fit.hypotheses.len())
        .filter(|k| fit.hypotheses[*k].fault().is_some())
        .filter_map(|index| {
            let answer = inquiry.speaks_for(index, tried)?;
            (admitted.contains(&index) || answer.convinces()).then_some(())?;
            let own = fit.columns_of(session, index);
            let values = fit.parameters[own.clone()].to_vec();
            let own_covariance: Vec<Vec<f64>> = (own.clone())
                .map(|i| own.clone().map(|j| covariance[(i, j)]).collect())
                .collect();
            let hypothesis = fit.hypotheses[index].clone();
            Some(Cause {
                size: hypothesis.size(&values, &own_covariance),
                rivals: rivals(context, session, fit, index),
                index,
                hypothesis,
                values,
                p_value: answer.p_value,
                bic_fall: answer.bic_fall,
                evidence: answer.evidence,
            })
        })
        .collect();
    found.sort_by(|a, b| b.bic_fall.total_cmp(&a.bic_fall));
    found
}

/// What was decided of every group of mount terms and of every cause.
fn decisions(
    context: Context<'_>,
    session: &Session,
    fit: &JointFit,
    tried: usize,
) -> Vec<Decision> {
    let inquiry = Inquiry::new(context, session, fit);
    let listed = session.choice != TermChoice::ByTheData;
    let numbers = |answer: &super::admission::Answer| Numbers {
        p_value: answer.p_value,
        bic_fall: answer.bic_fall,
        cross_validation: answer.evidence.cross_validation,
    };
    let mut found = Vec::new();
    for index in 0..fit.hypotheses.len() {
        let hypothesis = &fit.hypotheses[index];
        let always = index < session.base.len();
        if always && !listed && !is_usual(hypothesis) {
            continue;
        }
        let answer = inquiry.speaks_for(index, tried);
        let grounds = match (always, listed, &answer) {
            (true, true, _) => Grounds::Asked,
            (true, false, answer) => Grounds::Usual(answer.as_ref().map(numbers)),
            (false, _, Some(answer)) => Grounds::Evidence(numbers(answer)),
            (false, _, None) => Grounds::NotTold,
        };
        found.push(Decision {
            hypothesis: hypothesis.clone(),
            fitted: true,
            grounds,
        });
    }
    let mut asked: Vec<Hypothesis> = Vec::new();
    for answer in inquiry.ask_all() {
        if answer.hypothesis.group().is_none() && !answer.convinces() && asked.len() > 60 {
            continue;
        }
        asked.push(answer.hypothesis.clone());
        found.push(Decision {
            hypothesis: answer.hypothesis.clone(),
            fitted: false,
            grounds: Grounds::Evidence(numbers(&answer)),
        });
    }
    if !listed {
        for hypothesis in super::candidates::candidates(context.station, session) {
            let known = |h: &Hypothesis| h.same_kind(&hypothesis);
            if !asked.iter().any(known) && !fit.hypotheses.iter().any(known) {
                found.push(Decision {
                    hypothesis,
                    fitted: false,
                    grounds: Grounds::NotTold,
                });
            }
        }
        for (group, sign) in [
            (
                Group::AzimuthBacklash,
                (|p: &super::session::SessionPeak| p.sighting.approach.azimuth)
                    as fn(&super::session::SessionPeak) -> f64,
            ),
            (Group::ElevationBacklash, |p| p.sighting.approach.elevation),
        ] {
            let terms: Vec<Term> = (group.terms())
                .filter(|t| !session.held_terms.contains(t))
                .collect();
            if terms.is_empty() || both_sides(&session.peaks, sign) {
                continue;
            }
            let any = session.peaks.iter().any(|p| sign(p) != 0.0);
            found.push(Decision {
                hypothesis: Hypothesis::Terms(terms),
                fitted: false,
                grounds: if any {
                    Grounds::OneSide
                } else {
                    Grounds::SidesNotLogged
                },
            });
        }
    }
    found
}

fn by_compass(
    station: &Station,
    session: &Session,
    fit: &JointFit,
    covariance: &DMatrix<f64>,
) -> Option<super::compass::Compass> {
    let place = fit.place_of(Term::AzimuthZero)?;
    // A zero that is confounded with other causes says nothing.
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
    MountModel::new(terms)
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
            } else if session.held_terms.contains(&term) {
                TermState::Held
            } else if not_told.contains(&term) {
                TermState::NotSeparable
            } else {
                return None;
            };
            let zero = matches!(term.group(), Group::AzimuthZero | Group::ElevationZero);
            let prior_sigma = (fitted && !listed && !zero)
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
