//! Which hypotheses are admitted beside those always fitted.
//!
//! Each is asked for to first order in one pass over the peaks; the best few that convince are
//! fitted in full, and the best of those is admitted. Then the weakest of those admitted that is
//! no longer needed is dropped, and everything is asked again, what was dropped included, until
//! nothing changes. Where no single hypothesis convinces, pairs are tried, of which each may hide
//! the other, and at last ripples of any rate.

use std::collections::HashSet;

use crate::mount::Term;
use crate::sky::Sky;
use crate::station::Station;

use super::candidates::{candidates, patterns, relabelled};
use super::displaced::saved_by_displacement;
use super::evidence::Evidence;
use super::hypothesis::Hypothesis;
use super::joint_fit::JointFit;
use super::linearised::{LinearFit, Linearised, Pulled, Weighted};
use super::misreading::LogReading;
use super::plausibility::absurd;
use super::prior_size::is_weakly_held;
use super::ripple::ripples;
use super::session::Session;
use super::shape::Column;
use super::step::StepKind;
use super::step_search::{Beside, StepSearch};

/// The probability that a healthy session is accused of anything, shared among all causes that
/// it can be asked for.
pub const FALSE_ALARM: f64 = 0.01;
/// A pattern that fits no name must be so improbable by chance.
const CERTAINLY_THERE: f64 = 1e-4;
/// Without the peak that contributes most a cause must still be so improbable by chance.
const WITHOUT_ONE: f64 = 1e-3;
/// How many of the best are refitted in full each round.
const REFITTED: usize = 3;
/// No session has more independent causes than this that data could tell.
const MOST_ADMITTED: usize = 12;
/// After so many rounds an explanation that still makes no sense is given up.
const ENOUGH: usize = 4;
/// Rounds of admitting and dropping.
const MOST_ROUNDS: usize = 3 * MOST_ADMITTED;
/// A coefficient that the data tell no better than this share of its plausible size is not
/// asked for.
const LEAST_TOLD: f64 = 0.5;

/// What is needed to ask.
#[derive(Clone, Copy, Debug)]
pub struct Context<'a> {
    /// The station.
    pub station: &'a Station,
    /// Its sky; without one no other emitters and clocks can be tried.
    pub sky: Option<&'a Sky>,
    /// The log, to observe it anew at another clock; none when it was misread.
    pub reading: Option<LogReading<'a>>,
}

/// A hypothesis that was asked for, and the answer.
#[derive(Clone, Debug)]
pub struct Answer {
    /// What was asked for.
    pub hypothesis: Hypothesis,
    /// Fitted coefficients of its columns.
    pub values: Vec<f64>,
    /// What speaks for it.
    pub evidence: Evidence,
    /// The probability of so much by chance, corrected for the places tried and the number of
    /// causes asked for; at most one.
    pub p_value: f64,
    /// Of a ripple, whose rate is one of very many: the same without the tenth of the peaks that
    /// contribute most; zero for others.
    spread_p_value: f64,
    /// Fall of the information criterion.
    pub bic_fall: f64,
    /// The fit to first order.
    pub(super) fit: LinearFit,
}

impl Answer {
    /// Covariance of its own coefficients, row by row.
    pub fn covariance(&self) -> Vec<Vec<f64>> {
        let first = self.fit.chosen.len() - self.values.len();
        (first..self.fit.chosen.len())
            .map(|i| {
                (first..self.fit.chosen.len())
                    .map(|j| self.fit.covariance(i, j))
                    .collect()
            })
            .collect()
    }
    /// Whether the data say anything of its size.
    fn is_told(&self, columns: &[Column]) -> bool {
        let own = self.fit.sigmas[self.fit.chosen.len() - columns.len()..].iter();
        // A coefficient that is known beforehand is asked whether it is there at all.
        self.hypothesis.is_of_known_size()
            || own.zip(columns).all(|(s, c)| *s < LEAST_TOLD * c.spread)
    }
    /// Whether it explains anything by itself, in one trial.
    pub fn fall_is_real(&self) -> bool {
        self.evidence.p_value() < WITHOUT_ONE
    }
    /// Whether it is admitted.
    pub fn convinces(&self) -> bool {
        let limit = match self.hypothesis {
            // Without a name to fit it must be certainly there.
            Hypothesis::Pattern { .. } => CERTAINLY_THERE,
            _ => FALSE_ALARM,
        };
        self.p_value <= limit
            && self.bic_fall > 0.0
            && self.evidence.p_value_without_one() <= WITHOUT_ONE
            && self.spread_p_value <= FALSE_ALARM
    }
}

/// What the session says of the hypotheses that are in a joint fit and of those that are not.
pub struct Inquiry<'a> {
    context: Context<'a>,
    session: &'a Session,
    about: &'a JointFit,
    linearised: Linearised,
    /// What may be asked for, with the number of its first column.
    open: Vec<(Hypothesis, usize)>,
    /// Kinds of step, with the number of their first column.
    steps: Vec<(StepKind, usize)>,
}

impl<'a> Inquiry<'a> {
    /// About a joint fit.
    pub fn new(context: Context<'a>, session: &'a Session, about: &'a JointFit) -> Inquiry<'a> {
        let mut hypotheses = candidates(context.station, session);
        hypotheses.extend(patterns());
        hypotheses.retain(|h| !about.hypotheses.iter().any(|k| k.same_kind(h)));
        if let Some(sky) = context.sky {
            let plain = session.linearised(about, &[]);
            hypotheses.extend(relabelled(context.station, sky, session, about, &plain));
        }
        Inquiry::of((context, session, about), hypotheses, &StepKind::ALL)
    }

    /// About a joint fit, to ask for nothing but what is in it.
    pub fn of_fitted(
        context: Context<'a>,
        session: &'a Session,
        about: &'a JointFit,
    ) -> Inquiry<'a> {
        let steps: Vec<StepKind> = about.hypotheses.iter().filter_map(StepKind::of).collect();
        Inquiry::of((context, session, about), Vec::new(), &steps)
    }

    fn of(
        (context, session, about): (Context<'a>, &'a Session, &'a JointFit),
        hypotheses: Vec<Hypothesis>,
        kinds: &[StepKind],
    ) -> Inquiry<'a> {
        let mut columns: Vec<Column> = Vec::new();
        let mut open = Vec::new();
        let own = about.count();
        for hypothesis in hypotheses {
            let first = own + columns.len();
            columns.extend(hypothesis.columns(session.beamwidth));
            open.push((hypothesis, first));
        }
        let mut steps = Vec::new();
        for kind in kinds {
            steps.push((*kind, own + columns.len()));
            columns.extend(kind.probes());
        }
        // What the mount's own terms can take up is no other cause, although they be larger than a
        // careful builder leaves them.
        let loose = session.loose_spreads(about);
        Inquiry {
            linearised: session.linearised(about, &columns).with_spreads(&loose),
            context,
            session,
            about,
            open,
            steps,
        }
    }

    /// The station that it is asked for.
    pub fn station(&self) -> &'a Station {
        self.context.station
    }

    /// What it is asked from.
    pub fn context(&self) -> Context<'a> {
        self.context
    }

    /// The peaks to first order.
    pub fn linearised(&self) -> &Linearised {
        &self.linearised
    }

    fn base(&self) -> Vec<usize> {
        (0..self.about.count()).collect()
    }

    /// Asks for every hypothesis that is not in the joint fit and whose size the data tell.
    /// P-values are corrected for all that were asked for.
    pub fn ask_all(&self) -> Vec<Answer> {
        let mut answers = self.ask();
        answers.retain(|a| a.is_told(&a.hypothesis.columns(self.session.beamwidth)));
        let tried = kinds(&answers);
        for answer in &mut answers {
            answer.p_value = (answer.p_value * tried).min(1.0);
        }
        answers
    }

    /// The same with the p-value of each by itself.
    pub fn ask(&self) -> Vec<Answer> {
        let mut answers: Vec<Answer> = (self.open.iter())
            .filter_map(|(hypothesis, first)| self.answer(hypothesis.clone(), *first, |_| 1.0))
            .collect();
        answers.extend(self.ask_steps());
        answers
    }

    fn answer(
        &self,
        hypothesis: Hypothesis,
        first: usize,
        places: impl Fn(f64) -> f64,
    ) -> Option<Answer> {
        let base = self.base();
        let count = hypothesis.columns(self.session.beamwidth).len();
        let chosen: Vec<usize> = base.iter().copied().chain(first..first + count).collect();
        let fit = self
            .linearised
            .fit(&chosen, &self.about.kept, self.about.variance)?;
        let evidence = self.linearised.evidence(&base, &fit)?;
        let p_value = evidence.p_value();
        Some(Answer {
            values: fit.values[base.len()..].to_vec(),
            p_value: p_value * places(p_value),
            spread_p_value: 0.0,
            bic_fall: evidence.bic_fall(hypothesis.parameters()),
            evidence,
            fit,
            hypothesis,
        })
    }

    /// Steps in time and in elevation, each at the place that fits best.
    fn ask_steps(&self) -> Vec<Answer> {
        let base = self.base();
        let peaks = self.session.peaks.as_slice();
        let mut sets = vec![self.about.kept.clone()];
        let all = vec![true; peaks.len()];
        if self.about.kept != all {
            let near = self.linearised.near_by_slow_loss(&base);
            sets.extend(near.map(|(near, _)| near));
            sets.push(all);
            sets.dedup();
        }
        let beside: Vec<Beside<'_>> = (sets.iter())
            .filter_map(|kept| Beside::new(&self.linearised, &base, kept, self.about.variance))
            .collect();
        let [in_time, raised] = [StepKind::AzimuthSlip, StepKind::Flop].map(|k| k.order(peaks));
        let mut found: Vec<(Hypothesis, StepSearch)> = Vec::new();
        let mut pulled: Vec<Pulled> = Vec::new();
        for (kind, first) in &self.steps {
            let order = match kind.is_at_elevation() {
                true => &raised,
                false => &in_time,
            };
            let probes: Vec<usize> = (*first..first + kind.probes().len()).collect();
            for beside in &beside {
                let search = StepSearch::new(beside, &probes, order);
                let Some(place) = search.best() else {
                    continue;
                };
                let hypothesis = kind.at(peaks, order, place);
                if found.iter().any(|(known, _)| *known == hypothesis) {
                    continue;
                }
                let columns = hypothesis.columns(self.session.beamwidth);
                pulled.extend(
                    columns
                        .into_iter()
                        .zip(&probes)
                        .map(|(column, from)| Pulled {
                            from: *from,
                            pull: peaks.iter().map(|p| column.shape.step_at(p)).collect(),
                            column,
                        }),
                );
                found.push((hypothesis, search));
            }
        }
        let there = Inquiry {
            linearised: self.linearised.pulled(self.about.count(), &pulled),
            open: Vec::new(),
            steps: Vec::new(),
            ..*self
        };
        let mut first = self.about.count();
        let mut answers = Vec::new();
        for (hypothesis, search) in found {
            let count = hypothesis.columns(self.session.beamwidth).len();
            answers.extend(there.answer(hypothesis, first, |p| search.multiplicity(p)));
            first += count;
        }
        answers
    }

    /// Pairs of hypotheses of which each may hide the other: the best few by the sums over the
    /// peaks now explained, each with the pair's answer. P-values are corrected for all pairs.
    fn ask_pairs(&self) -> Vec<(Hypothesis, Answer)> {
        let base = self.base();
        let open: Vec<&(Hypothesis, usize)> = (self.open.iter())
            .filter(|(h, _)| !h.is_of_known_size())
            .collect();
        let mut ranked: Vec<(f64, usize, usize)> = Vec::new();
        let columns = |k: usize| {
            let (hypothesis, first) = open[k];
            *first..first + hypothesis.columns(self.session.beamwidth).len()
        };
        for one in 0..open.len() {
            for other in one + 1..open.len() {
                let chosen: Vec<usize> = (base.iter().copied())
                    .chain(columns(one))
                    .chain(columns(other))
                    .collect();
                let step = self.linearised.solve(
                    &chosen,
                    &Weighted::Kept(&self.about.kept),
                    self.about.variance,
                );
                if let Some(fall) = step.map(|s| s.fall) {
                    let parameters = open[one].0.parameters() + open[other].0.parameters();
                    ranked.push((fall / self.about.variance - 4.0 * parameters, one, other));
                }
            }
        }
        let pairs = ranked.len().max(1) as f64;
        ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
        (ranked.into_iter().take(REFITTED))
            .filter_map(|(_, one, other)| {
                let chosen: Vec<usize> = (base.iter().copied())
                    .chain(columns(one))
                    .chain(columns(other))
                    .collect();
                let fit = (self.linearised).fit(&chosen, &self.about.kept, self.about.variance)?;
                let evidence = self.linearised.evidence(&base, &fit)?;
                let p_value = (evidence.p_value() * pairs).min(1.0);
                let parameters = open[one].0.parameters() + open[other].0.parameters();
                let answer = Answer {
                    hypothesis: open[other].0.clone(),
                    values: fit.values[base.len()..].to_vec(),
                    p_value,
                    spread_p_value: 0.0,
                    bic_fall: evidence.bic_fall(parameters),
                    evidence,
                    fit,
                };
                Some((open[one].0.clone(), answer))
            })
            .collect()
    }

    /// What speaks for hypothesis number `index` of the joint fit beside all others in it.
    pub fn speaks_for(&self, index: usize, tried: usize) -> Option<Answer> {
        let linearised = &self.linearised;
        let own = self.about.columns_of(self.session, index);
        let small: Vec<usize> = (0..self.about.count())
            .filter(|j| !own.contains(j))
            .collect();
        // The evidence is for the large set over the small: its columns must come last.
        let chosen: Vec<usize> = small.iter().copied().chain(own).collect();
        let fit = linearised.fit(&chosen, &self.about.kept, self.about.variance)?;
        let mut evidence = linearised.evidence(&small, &fit)?;
        evidence.cross_validation = (self.session.peaks.len() <= MOST_CROSS_VALIDATED)
            .then(|| linearised.cross_validation(&small, &fit))
            .flatten();
        let hypothesis = self.about.hypotheses[index].clone();
        let places = self.places_of(&small, &hypothesis, evidence.p_value());
        Some(Answer {
            values: fit.values[small.len()..].to_vec(),
            p_value: (evidence.p_value() * places * tried.max(1) as f64).min(1.0),
            spread_p_value: match hypothesis {
                Hypothesis::Ripple { .. } => {
                    evidence.p_value_without_a_tenth() * places * tried.max(1) as f64
                }
                _ => 0.0,
            },
            bic_fall: evidence.bic_fall(hypothesis.parameters()),
            evidence,
            fit,
            hypothesis,
        })
    }

    /// By how much the search for a place or a rate multiplies the p-value.
    fn places_of(&self, small: &[usize], hypothesis: &Hypothesis, p_value: f64) -> f64 {
        if let Hypothesis::Ripple { axis, .. } = hypothesis {
            let rates = super::candidates::ripple_rates(self.context.station, self.session, *axis);
            return 2.0 * rates.map_or(1, |r| r.len()) as f64;
        }
        let Some(kind) = StepKind::of(hypothesis) else {
            return 1.0;
        };
        self.search_of(kind, small, &self.linearised)
            .map_or(1.0, |(search, _)| search.multiplicity(p_value))
    }

    fn search_of(
        &self,
        kind: StepKind,
        base: &[usize],
        linearised: &Linearised,
    ) -> Option<(StepSearch, Vec<Vec<usize>>)> {
        let (_, first) = self.steps.iter().find(|(k, _)| *k == kind)?;
        let probes: Vec<usize> = (*first..first + kind.probes().len()).collect();
        let order = kind.order(&self.session.peaks);
        let beside = Beside::new(linearised, base, &self.about.kept, self.about.variance)?;
        Some((StepSearch::new(&beside, &probes, &order), order))
    }

    /// For a joint fit whose last hypothesis is a step: the place that is better now that the good
    /// peaks are known, if there is one.
    fn better_place(&self) -> Option<Hypothesis> {
        let last = self.about.hypotheses.last()?;
        let kind = StepKind::of(last)?;
        // About the fit without the step: its coefficients taken out of the residuals.
        let own = self
            .about
            .columns_of(self.session, self.about.hypotheses.len() - 1);
        let base: Vec<usize> = (0..own.start).collect();
        let without = self.linearised.without(&own.collect::<Vec<_>>());
        let (search, order) = self.search_of(kind, &base, &without)?;
        let found = kind.at(&self.session.peaks, &order, search.best()?);
        (found != *last).then_some(found)
    }
}

/// Cross-validation visits every peak; with so many the p-value and the criterion suffice.
const MOST_CROSS_VALIDATED: usize = 5_000;

/// How many independent questions were put: several places of one step count once, for their
/// number is in the search's own correction.
fn kinds(answers: &[Answer]) -> f64 {
    let mut kinds: Vec<&Hypothesis> = Vec::new();
    for answer in answers {
        if !kinds.iter().any(|k| k.same_kind(&answer.hypothesis)) {
            kinds.push(&answer.hypothesis);
        }
    }
    kinds.len() as f64
}

/// What the admission came to.
#[derive(Clone, Debug)]
pub struct Admission {
    /// The joint fit with everything admitted.
    pub fit: JointFit,
    /// How many causes were asked for in the first round.
    pub tried: usize,
    /// What was admitted on the way and dropped again, in order.
    pub dropped: Vec<Hypothesis>,
}

/// Admits what convinces, from every beginning, and takes the best explanation of all peaks.
/// `session` is observed anew when a clock offset is found.
pub fn admit(context: Context<'_>, session: &mut Session, begins: Vec<JointFit>) -> Admission {
    let logged = session.clone();
    let mut best: Option<(f64, Admission, Session)> = None;
    let consider = |from: &JointFit,
                    barred: &[Hypothesis],
                    been: &mut HashSet<State>,
                    best: &mut Option<(f64, Admission, Session)>| {
        let mut own = logged.clone();
        let Some(found) = admit_from(context, &mut own, from.clone(), barred, been) else {
            return;
        };
        let total = worth(&own, &found.fit);
        if best.as_ref().is_none_or(|(least, _, _)| total < *least) {
            *best = Some((total, found, own));
        }
    };
    // Several beginnings soon come to the same explanation: the way on from there is gone once.
    let mut been = HashSet::new();
    for begin in &begins {
        consider(begin, &[], &mut been, &mut best);
    }
    if (best.as_ref()).is_some_and(|(_, found, own)| absurd(own, &found.fit)) {
        // Without one of its causes it makes no more sense.
        return taken(best, session);
    }
    // A stair of slips looks like a drift, and once the drift is in, no single slip beside it
    // convinces: so it is also tried without.
    let drifts: Vec<Hypothesis> = (best.iter())
        .flat_map(|(_, found, _)| found.fit.hypotheses.clone())
        .filter(Hypothesis::is_drift)
        .collect();
    for drift in drifts {
        if let Some(begin) = begins.first() {
            consider(begin, &[drift], &mut HashSet::new(), &mut best);
        }
    }
    // Where some of the bad peaks stand off alike, a knock or a slip before the last few of them
    // looks like the cause: so it is also tried without.
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

/// The best admission, with the session as it was observed for it.
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

/// Admits and drops from one beginning; nothing of the kinds in `barred`. None when it comes to where
/// an earlier one has been.
fn admit_from(
    context: Context<'_>,
    session: &mut Session,
    begin: JointFit,
    barred: &[Hypothesis],
    been: &mut HashSet<State>,
) -> Option<Admission> {
    // A zero that changed between two logs needs no search to be found, and would else be let in
    // as if nothing else had been asked for.
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
        // What still makes no sense after so many rounds makes none after more.
        if admitted >= MOST_ADMITTED || (round >= ENOUGH && absurd(session, &fit)) {
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

/// What is in a joint fit, and which peaks it explains.
type State = (Vec<String>, Vec<bool>);

/// What is in a joint fit, whatever the order.
fn signature(fit: &JointFit) -> Vec<String> {
    let mut names: Vec<String> = fit.hypotheses.iter().map(|h| format!("{h:?}")).collect();
    names.sort();
    names
}

/// The joint fit with the best hypothesis more, or the best pair, if any convinces; and how many
/// were asked for at most, now or before.
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
    let single = (answers.iter().take(REFITTED))
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

/// So many bad peaks beside a knock or a slip may be the same displacement.
const LEAST_BAD_BESIDE: usize = 2;

/// By what explanations of the same peaks are compared; less is better.
///
/// What peaks displaced alike save counts only where no knock or slip is in: beside one of the same
/// size, one displacement would be paid for and used twice.
pub fn worth(session: &Session, fit: &JointFit) -> f64 {
    let total = fit.cost + price(session, fit);
    let admitted = &fit.hypotheses[session.base.len().min(fit.hypotheses.len())..];
    if admitted.iter().any(|h| StepKind::of(h).is_some()) {
        return total;
    }
    total - saved_by_displacement(session, fit)
}

/// What the admitted hypotheses cost by Schwarz's criterion.
pub fn price(session: &Session, fit: &JointFit) -> f64 {
    let rows: usize = (session.peaks.iter().zip(&fit.kept))
        .filter(|(_, k)| **k)
        .map(|(p, _)| p.sighting.coordinates())
        .sum();
    let admitted = &fit.hypotheses[session.base.len().min(fit.hypotheses.len())..];
    let parameters: f64 = admitted.iter().map(Hypothesis::parameters).sum();
    parameters * (rows as f64).max(2.0).ln()
}

/// The joint fit with one hypothesis more, fitted in full; a step is moved to its best place.
pub fn grow(
    context: Context<'_>,
    session: &Session,
    fit: &JointFit,
    answer: &Answer,
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

/// A joint fit without hypothesis number `index`.
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

/// A clock offset is linear only near by: the sky is looked up again there until it settles.
fn settle_clock(context: Context<'_>, session: &mut Session, fit: JointFit) -> JointFit {
    const SETTLED_S: f64 = 1e-3;
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

/// Settles a clock that is fitted from the beginning.
pub fn settled(context: Context<'_>, session: &mut Session, fit: JointFit) -> JointFit {
    settle_clock(context, session, fit)
}

/// Takes out again what is no longer needed now that other hypotheses are in, the weakest first.
/// All of it may come back.
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
                let worth =
                    |a: &Option<Answer>| a.as_ref().map_or(f64::NEG_INFINITY, |a| a.bic_fall);
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

/// Whether a hypothesis is one that every mount has a little of, fitted always.
pub fn is_usual(hypothesis: &Hypothesis) -> bool {
    hypothesis
        .terms()
        .first()
        .is_some_and(|t| is_weakly_held(*t))
}
