//! The search for the best explanation: where it starts, and which result is best.

use std::collections::HashSet;

use crate::mount::Term;

use super::admission::{Admission, admit, settled, worth};
use super::bad_peaks::leverages;
use super::candidates::all_terms;
use super::evidence::STRONG_EVIDENCE;
use super::explanation::Misread;
use super::hypothesis::Hypothesis;
use super::inquiry::Context;
use super::joint_fit::JointFit;
use super::log_zeros;
use super::misreading::{LogReading, Misreading};
use super::misreading_search::{Beginning, beginnings};
use super::options::Options;
use super::plausibility::ABSURD_ZERO;
use super::plausibility::{absurd, falls_apart};
use super::session::Session;
use super::tuned::{
    BAD_SHARE_TO_SEARCH_AGAIN, ROUNDS_FOR_THE_ABSURD, ROUNDS_FOR_THE_ABSURD_BESIDE_ANOTHER,
};
use super::unexplained::Unexplained;

/// A misreading of the log must be this improbable to look better by chance: stricter than for
/// causes, because it changes every peak. Common practice, no source.
const FALSE_READING: f64 = 0.003;
/// A bad peak where the fit of the others is this uncertain, in units of a peak's variance, may be
/// good but alone in its part of the sky; the search is repeated with more terms in. Common
/// practice, no source.
const HIGH_LEVERAGE: f64 = 0.5;

/// The explanation chosen for a session.
pub struct Chosen {
    /// The session under the chosen reading of the log.
    pub session: Session,
    /// The admitted hypotheses.
    pub admission: Admission,
    /// How the log was misread, if it was.
    pub misread: Option<Misread>,
}

/// Admits hypotheses from every starting point, and takes the best explanation.
///
/// # Errors
/// When the peaks cannot be fitted, or nothing explains them.
pub fn search(
    context: Context<'_>,
    session: Session,
    options: &Options,
) -> Result<Chosen, Unexplained> {
    let plain = match &options.begin {
        None => session.plain_fit(),
        Some(_) => None,
    };
    let whole = |fit: &JointFit| !falls_apart(&session, fit);
    let (as_logged, mut elsewhere) = match (plain, log_zeros::apart(&session)) {
        (Some((fit, true)), by_log) => (Ok(fit), Vec::from_iter(by_log)),
        // Each log is consistent by itself, and no costly search is needed.
        (Some((plain, _)), Some(by_log)) if !whole(&plain) && whole(&by_log.fit) => {
            (Ok(by_log.fit), Vec::new())
        }
        (plain, by_log) => {
            let plain = plain.map(|(fit, _)| fit);
            let (logged, mut others) = whole_or_elsewhere(context, &session, options, plain);
            others.extend(by_log);
            (logged, others)
        }
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
        return Err(as_logged.err().unwrap_or(Unexplained::TooFew));
    };
    if absurd(&chosen.session, &chosen.admission.fit) {
        let fit = &chosen.admission.fit;
        return Err(Unexplained::Implausible {
            causes: fit.admitted(&chosen.session).len(),
            bad: fit.kept.iter().filter(|k| !**k).count(),
            peaks: fit.kept.len(),
            scatter: fit.scatter(),
        });
    }
    Ok(chosen)
}

/// The healthy mount as logged when it is not obvious, and other starting points for an
/// explanation. The search for it is costly: it is skipped when another reading is consistent at
/// once.
fn whole_or_elsewhere(
    context: Context<'_>,
    session: &Session,
    options: &Options,
    plain: Option<JointFit>,
) -> (Result<JointFit, Unexplained>, Vec<Beginning>) {
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

/// Elevations from the zenith fit as well as those of a dish driven over the top with a zero of 90
/// degrees: the reading with the smaller zero is chosen.
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
    let other = misreading.applied(session, &reading)?;
    let fit = other.robust_base_fit().ok()?;
    (zero(&fit)? < ABSURD_ZERO.radians()).then_some(Beginning {
        misreading: Some(misreading),
        session: other,
        fit,
    })
}

/// The healthy mount as logged, starting from the given values if they are better.
///
/// # Errors
/// When the peaks do not suffice for a fit.
pub fn first_fit(session: &Session, options: &Options) -> Result<JointFit, Unexplained> {
    let own = session.robust_base_fit();
    let Some(begin) = &options.begin else {
        return own;
    };
    let values: Vec<f64> = (session.columns_of(&session.base).iter())
        .map(|c| c.constant_term().map_or(0.0, |t| begin.inside(t)))
        .collect();
    match (own, session.robust_base_fit_from(&values)) {
        (Ok(own), Ok(given)) if given.cost < own.cost => Ok(given),
        (Ok(own), _) => Ok(own),
        (Err(_), given) => given,
    }
}

/// Starting points of the admission: the healthy mount; and when that is not consistent, or one
/// peak that looks bad is alone in its part of the sky, also a mount with every term in, and with
/// each alone.
fn starts(
    context: Context<'_>,
    session: &Session,
    first: &JointFit,
    as_logged: bool,
) -> Vec<JointFit> {
    let mut found = vec![first.clone()];
    let bad: Vec<usize> = (0..first.kept.len()).filter(|i| !first.kept[*i]).collect();
    let many = bad.len() as f64 > BAD_SHARE_TO_SEARCH_AGAIN * first.kept.len() as f64;
    let alone = || {
        let leverages = leverages(session, first);
        bad.iter().any(|i| leverages[*i] > HIGH_LEVERAGE)
    };
    // If a term is missing, all peaks may scatter instead of a few being bad.
    if !(many || (as_logged && falls_apart(session, first)) || (!bad.is_empty() && alone())) {
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

/// Admits from every starting point and takes the best explanation of all.
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
    // Where another reading is consistent at once, the log as given is not searched as widely.
    let another_is_whole =
        (begins.iter()).any(|b| b.misreading.is_some() && !falls_apart(&b.session, &b.fit));
    let mut ended: Vec<Ended> = begins
        .into_iter()
        .filter(|b| {
            let needless = another_is_whole && falls_apart(&b.session, &b.fit);
            b.misreading.is_none() || !needless
        })
        .map(|begin| {
            let mut session = begin.session;
            let context = match begin.misreading {
                None => context,
                // The reread log differs from the given one.
                Some(_) => Context {
                    reading: None,
                    ..context
                },
            };
            let fit = settled(context, &mut session, begin.fit);
            let as_logged = begin.misreading.is_none();
            let (starts, enough) = match as_logged && another_is_whole {
                true => (vec![fit], ROUNDS_FOR_THE_ABSURD_BESIDE_ANOTHER),
                false => (
                    starts(context, &session, &fit, as_logged),
                    ROUNDS_FOR_THE_ABSURD,
                ),
            };
            let admission = admit(context, &mut session, starts, enough);
            Ended {
                total: worth(&session, &admission.fit),
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
    // The reading with a realistic zero, where both fit about as well.
    let place = (ended.iter())
        .position(|e| {
            e.misreading == Some(Misreading::FromTheZenith)
                && e.total < ended[0].total + STRONG_EVIDENCE
        })
        .unwrap_or(0);
    let total = ended.get(place)?.total;
    let as_good = (ended.iter().enumerate())
        .filter(|(k, e)| *k != place && e.total < total + STRONG_EVIDENCE)
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
