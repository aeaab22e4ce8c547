//! Decides which hypotheses are fitted in addition to the usual ones.
//!
//! Each is tested to first order in one pass over the peaks; the best few that convince are fitted
//! in full, and the best of those is admitted. Then the weakest admitted hypothesis that is no
//! longer needed is dropped, and everything is tested again, including what was dropped, until
//! nothing changes. Where no single hypothesis convinces, pairs that may hide each other are tried,
//! and last of all ripples of any rate.

use std::collections::HashSet;

use crate::mount::Term;

use super::displaced::saved_by_displacement;
use super::hypothesis::Hypothesis;
use super::inquiry::{Context, Inquiry, TestedHypothesis};
use super::joint_fit::JointFit;
use super::plausibility::absurd;
use super::prior_size::is_weakly_held;
use super::ripple::ripples;
use super::session::Session;
use super::step::StepKind;
use super::tuned::CAUSES_REFITTED;

/// More independent causes than this cannot be separated in a session of usual length; common
/// practice, no source.
const MOST_ADMITTED: usize = 12;
/// Rounds of admitting and dropping: each cause may come, go and come back.
const MOST_ROUNDS: usize = 3 * MOST_ADMITTED;

/// Result of the admission.
#[derive(Clone, Debug)]
pub struct Admission {
    /// The joint fit with everything admitted.
    pub fit: JointFit,
    /// How many causes were tested in the first round.
    pub tried: usize,
    /// Hypotheses admitted on the way and dropped again, in order.
    pub dropped: Vec<Hypothesis>,
}

/// Admits the hypotheses that convince, from every starting point, and returns the best explanation
/// of all peaks. `session` is computed again when a clock offset is found. A start that is still
/// absurd after `enough` rounds is given up.
pub fn admit(
    context: Context<'_>,
    session: &mut Session,
    begins: Vec<JointFit>,
    enough: usize,
) -> Admission {
    let logged = session.clone();
    let mut best: Option<(f64, Admission, Session)> = None;
    let consider = |from: &JointFit,
                    barred: &[Hypothesis],
                    been: &mut HashSet<State>,
                    best: &mut Option<(f64, Admission, Session)>| {
        let mut own = logged.clone();
        let Some(found) = admit_from(context, &mut own, from.clone(), (barred, enough), been)
        else {
            return;
        };
        let total = worth(&own, &found.fit);
        if best.as_ref().is_none_or(|(least, _, _)| total < *least) {
            *best = Some((total, found, own));
        }
    };
    // Several starting points soon lead to the same explanation: the rest of that path is taken
    // once.
    let mut been = HashSet::new();
    for begin in &begins {
        consider(begin, &[], &mut been, &mut best);
    }
    if (best.as_ref()).is_some_and(|(_, found, own)| absurd(own, &found.fit)) {
        // Removing one of its causes does not make it any more sensible.
        return taken(best, session);
    }
    // A series of slips looks like a drift, and once the drift is in, no single slip convinces in
    // addition: so it is also tried without the drift.
    let drifts: Vec<Hypothesis> = (best.iter())
        .flat_map(|(_, found, _)| found.fit.hypotheses.clone())
        .filter(Hypothesis::is_drift)
        .collect();
    for drift in drifts {
        if let Some(begin) = begins.first() {
            consider(begin, &[drift], &mut HashSet::new(), &mut best);
        }
    }
    // Where some of the bad peaks share the same offset, a knock or a slip before the last few of
    // them looks like the cause: so it is also tried without.
    let steps: Vec<Hypothesis> = (best.iter())
        .filter(|(_, found, _)| found.fit.kept.iter().filter(|k| !**k).count() >= LEAST_BAD_BESIDE)
        .flat_map(|(_, found, _)| found.fit.hypotheses.clone())
        .filter(|h| StepKind::of(h).is_some())
        .collect();
    if let Some(begin) = begins.first().filter(|_| !steps.is_empty()) {
        consider(begin, &steps, &mut HashSet::new(), &mut best);
    }
    taken(best, session)
}

/// The best admission; `session` becomes the session as observed for it.
fn taken(best: Option<(f64, Admission, Session)>, session: &mut Session) -> Admission {
    match best {
        Some((_, found, own)) => {
            *session = own;
            found
        }
        None => Admission {
            fit: JointFit {
                hypotheses: session.base.clone(),
                columns: Vec::new(),
                parameters: Vec::new(),
                kept: vec![true; session.peaks.len()],
                variance: 1.0,
                sigmas: session.sigmas.clone(),
                cost: f64::INFINITY,
            },
            tried: 0,
            dropped: Vec::new(),
        },
    }
}

/// Admits and drops from one starting point, but nothing of the kinds in `barred`. `None` when it
/// reaches a state where an earlier start has been.
fn admit_from(
    context: Context<'_>,
    session: &mut Session,
    begin: JointFit,
    (barred, enough): (&[Hypothesis], usize),
    been: &mut HashSet<State>,
) -> Option<Admission> {
    // A zero that changed between two logs is known without a search, and would otherwise be
    // admitted without correction for the number of hypotheses tested.
    let by_log = (begin.admitted(session)).any(|k| begin.hypotheses[k].is_jump_of_a_zero());
    let mut tried = match by_log {
        true => Inquiry::new(context, session, &begin)
            .ask_all()
            .len()
            .max(1),
        false => 1,
    };
    let mut dropped = Vec::new();
    let mut fit = if begin.hypotheses.len() > session.base.len() {
        drop_unneeded(context, session, begin, tried, &mut dropped)
    } else {
        begin
    };
    let mut visited: HashSet<Vec<String>> = HashSet::new();
    let mut states = Vec::new();
    for round in 0..MOST_ROUNDS {
        let state = (signature(&fit), fit.kept.clone());
        if been.contains(&state) {
            return None;
        }
        states.push(state);
        let admitted = fit.hypotheses.len() - session.base.len();
        // A fit that is still absurd after this many rounds does not recover in more.
        if admitted >= MOST_ADMITTED || (round >= enough && absurd(session, &fit)) {
            break;
        }
        let (grown, asked) = best_addition(context, session, &fit, tried, barred, &visited);
        tried = asked;
        let Some(grown) = grown else {
            been.extend(states);
            return Some(Admission {
                fit,
                tried,
                dropped,
            });
        };
        let grown = settle_clock(context, session, grown);
        fit = drop_unneeded(context, session, grown, tried, &mut dropped);
        if !visited.insert(signature(&fit)) {
            break;
        }
    }
    been.extend(states);
    tried = tried.max(Inquiry::new(context, session, &fit).ask_all().len());
    Some(Admission {
        fit,
        tried,
        dropped,
    })
}

/// The hypotheses in a joint fit, and which peaks it explains.
type State = (Vec<String>, Vec<bool>);

/// The hypotheses in a joint fit, regardless of order.
fn signature(fit: &JointFit) -> Vec<String> {
    let mut names: Vec<String> = fit.hypotheses.iter().map(|h| format!("{h:?}")).collect();
    names.sort();
    names
}

/// The joint fit with the best further hypothesis, or the best pair, if any convinces; and the
/// largest number tested, now or before.
fn best_addition(
    context: Context<'_>,
    session: &Session,
    fit: &JointFit,
    tried: usize,
    barred: &[Hypothesis],
    visited: &HashSet<Vec<String>>,
) -> (Option<JointFit>, usize) {
    let inquiry = Inquiry::new(context, session, fit);
    let mut answers = inquiry.ask_all();
    let asked = tried.max(answers.len());
    let allowed = |h: &Hypothesis| !barred.iter().any(|b| b.same_kind(h));
    answers.retain(|a| a.convinces() && allowed(&a.hypothesis));
    answers.sort_by(|a, b| b.bic_fall.total_cmp(&a.bic_fall));
    let confirm = |grown: Option<JointFit>, new: usize| -> Option<JointFit> {
        let grown = grown.filter(|g| !visited.contains(&signature(g)))?;
        let there = Inquiry::of_fitted(context, session, &grown);
        let count = grown.hypotheses.len();
        (count - new..count)
            .all(|k| (there.speaks_for(k, asked)).is_some_and(|a| a.convinces()))
            .then_some(grown)
    };
    let best = |found: Vec<JointFit>| {
        let total = |f: &JointFit| f.cost + price(session, f);
        (found.into_iter()).min_by(|a, b| total(a).total_cmp(&total(b)))
    };
    let single = (answers.iter().take(CAUSES_REFITTED))
        .filter_map(|answer| confirm(grow(context, session, fit, answer), 1))
        .collect();
    if let Some(found) = best(single) {
        return (Some(found), asked);
    }
    let with = |more: Vec<Hypothesis>| -> Vec<Hypothesis> {
        fit.hypotheses.iter().cloned().chain(more).collect()
    };
    let pairs = (inquiry.ask_pairs().into_iter())
        .filter(|(first, answer)| {
            answer.convinces() && allowed(first) && allowed(&answer.hypothesis)
        })
        .filter_map(|(first, answer)| {
            let hypotheses = with(vec![first, answer.hypothesis.clone()]);
            let linear = &answer.fit;
            let grown = session.refit(&hypotheses, &linear.values, &linear.kept, linear.variance);
            confirm(grown, 2)
        })
        .collect();
    if let Some(found) = best(pairs) {
        return (Some(found), asked);
    }
    let rippled = ripples(context.station, session, fit, inquiry.linearised())
        .into_iter()
        .filter(|h| allowed(h) && !fit.hypotheses.iter().any(|k| k.same_kind(h)))
        .filter_map(|hypothesis| {
            let mut begin = fit.parameters.clone();
            begin.extend([0.0; 2]);
            let hypotheses = with(vec![hypothesis]);
            confirm(
                session.refit(&hypotheses, &begin, &fit.kept, fit.variance),
                1,
            )
        })
        .collect();
    (best(rippled), asked)
}

/// From this many bad peaks on, a knock or a slip that leaves them out may be the displacement that
/// explains them: one alone is just a bad peak.
const LEAST_BAD_BESIDE: usize = 2;

/// The quantity by which explanations of the same peaks are compared; less is better.
///
/// The saving from peaks with the same displacement counts only if no knock or slip is in the fit:
/// next to a step of the same size, one displacement would be paid for once and used twice.
pub fn worth(session: &Session, fit: &JointFit) -> f64 {
    let total = fit.cost + price(session, fit);
    let admitted = &fit.hypotheses[session.base.len().min(fit.hypotheses.len())..];
    if admitted.iter().any(|h| StepKind::of(h).is_some()) {
        return total;
    }
    total - saved_by_displacement(session, fit)
}

/// Cost of the admitted hypotheses by Schwarz's criterion.
pub fn price(session: &Session, fit: &JointFit) -> f64 {
    let rows: usize = (session.peaks.iter().zip(&fit.kept))
        .filter(|(_, k)| **k)
        .map(|(p, _)| p.sighting.coordinates())
        .sum();
    let admitted = &fit.hypotheses[session.base.len().min(fit.hypotheses.len())..];
    let parameters: f64 = admitted.iter().map(Hypothesis::parameters).sum();
    parameters * (rows as f64).max(2.0).ln()
}

/// Adds one hypothesis to the joint fit, fitted in full; a step is moved to its best place.
pub fn grow(
    context: Context<'_>,
    session: &Session,
    fit: &JointFit,
    answer: &TestedHypothesis,
) -> Option<JointFit> {
    let mut hypotheses = fit.hypotheses.clone();
    hypotheses.push(answer.hypothesis.clone());
    let linear = &answer.fit;
    let mut grown = session.refit(&hypotheses, &linear.values, &linear.kept, linear.variance)?;
    if StepKind::of(&answer.hypothesis).is_none() {
        return Some(grown);
    }
    for _ in 0..3 {
        let Some(moved) = Inquiry::of_fitted(context, session, &grown).better_place() else {
            break;
        };
        let mut hypotheses = grown.hypotheses.clone();
        *hypotheses.last_mut()? = moved;
        let again = session.refit(&hypotheses, &grown.parameters, &grown.kept, grown.variance)?;
        if again.cost >= grown.cost {
            break;
        }
        grown = again;
    }
    Some(grown)
}

/// The joint fit without hypothesis number `index`.
pub fn without(session: &Session, fit: &JointFit, index: usize) -> Option<JointFit> {
    let mut hypotheses = fit.hypotheses.clone();
    hypotheses.remove(index);
    let own = fit.columns_of(session, index);
    let begin: Vec<f64> = (fit.parameters.iter().enumerate())
        .filter(|(j, _)| !own.contains(j))
        .map(|(_, v)| *v)
        .collect();
    session.refit(&hypotheses, &begin, &fit.kept, fit.variance)
}

/// The effect of a clock offset is linear only for small changes: the sky is looked up again at the
/// new offset until it settles.
fn settle_clock(context: Context<'_>, session: &mut Session, fit: JointFit) -> JointFit {
    /// A clock offset, seconds, known to a millisecond: a low satellite moves by less than 0.001
    /// degrees in it.
    const SETTLED_S: f64 = 1e-3;
    /// Rounds of looking up the sky again: each leaves about the square of the error before, so a
    /// few suffice.
    const MOST_ROUNDS: usize = 8;
    let Some(reading) = context.reading else {
        return fit;
    };
    let mut fit = fit;
    for _ in 0..MOST_ROUNDS {
        let Some(found) = fit.value_of(Term::ClockOffset) else {
            return fit;
        };
        if (found - session.clock_s()).abs() < SETTLED_S {
            return fit;
        }
        let Some(moved) = session.with_peaks(reading.peaks_at(found)) else {
            return fit;
        };
        let Some(next) = moved.refit(&fit.hypotheses, &fit.parameters, &fit.kept, fit.variance)
        else {
            return fit;
        };
        *session = moved;
        fit = next;
    }
    fit
}

/// Settles a clock offset that is fitted from the start.
pub fn settled(context: Context<'_>, session: &mut Session, fit: JointFit) -> JointFit {
    settle_clock(context, session, fit)
}

/// Removes hypotheses no longer needed now that others are in, the weakest first. Any of them may
/// be admitted again.
fn drop_unneeded(
    context: Context<'_>,
    session: &Session,
    mut fit: JointFit,
    tried: usize,
    dropped: &mut Vec<Hypothesis>,
) -> JointFit {
    loop {
        let inquiry = Inquiry::of_fitted(context, session, &fit);
        let weakest = (fit.admitted(session))
            .map(|k| (k, inquiry.speaks_for(k, tried)))
            .filter(|(_, answer)| answer.as_ref().is_none_or(|a| !a.convinces()))
            .min_by(|(_, a), (_, b)| {
                let worth = |a: &Option<TestedHypothesis>| {
                    a.as_ref().map_or(f64::NEG_INFINITY, |a| a.bic_fall)
                };
                worth(a).total_cmp(&worth(b))
            });
        let Some((index, _)) = weakest else {
            return fit;
        };
        let Some(smaller) = without(session, &fit, index) else {
            return fit;
        };
        dropped.push(fit.hypotheses[index].clone());
        fit = smaller;
    }
}

/// Whether a hypothesis is an error that every mount has a little of, and so always fitted.
pub fn is_usual(hypothesis: &Hypothesis) -> bool {
    hypothesis
        .terms()
        .first()
        .is_some_and(|t| is_weakly_held(*t))
}
