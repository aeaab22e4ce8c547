//! Tests of a hypothesis on the session: one that is not in a joint fit, to first order in one pass
//! over the peaks, or one that is in it. P-values are corrected for the places of a step, the rates
//! of a ripple and the number of causes tested.

use crate::sky::Sky;
use crate::station::Station;

use super::candidates::{candidates, patterns, relabelled};
use super::evidence::Evidence;
use super::hypothesis::Hypothesis;
use super::joint_fit::JointFit;
use super::linearised::{LinearFit, Linearised, Pulled, Weighted};
use super::misreading::LogReading;
use super::session::Session;
use super::shape::ShapeColumn;
use super::step::StepKind;
use super::step_search::{Beside, StepSearch};
use super::tuned::{
    CHANCE_WITHOUT_THE_BEST_PEAK, FALSE_ALARM_OF_A_SESSION, MOST_CROSS_VALIDATED, MOST_PAIRS_TESTED,
};

/// A pattern without a name must be this improbable by chance: it is reported only when it is
/// certainly present. Common practice, no source.
const CERTAINLY_THERE: f64 = 1e-4;
/// A coefficient that the data determine no better than this share of its plausible size is not
/// tested: the result would come from the prior alone. Common practice, no source.
const LEAST_TOLD: f64 = 0.5;

/// What a test needs.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Context<'a> {
    /// The station.
    pub station: &'a Station,
    /// Its sky; without one, other emitters and clock offsets cannot be tried.
    pub sky: Option<&'a Sky>,
    /// The log, to compute its directions again at another clock offset; `None` when it was
    /// misread.
    pub reading: Option<LogReading<'a>>,
}

/// A hypothesis that was tested, and the result.
#[derive(Clone, Debug)]
pub struct TestedHypothesis {
    /// The hypothesis.
    pub hypothesis: Hypothesis,
    /// Fitted coefficients of its columns.
    pub values: Vec<f64>,
    /// The evidence for it.
    pub evidence: Evidence,
    /// The probability of as strong an effect by chance, corrected for the places tried and the
    /// number of causes tested; at most one.
    pub p_value: f64,
    /// For a ripple, whose rate is one of very many: the same without the tenth of the peaks that
    /// contribute most; zero for others.
    spread_p_value: f64,
    /// Fall of the information criterion.
    pub bic_fall: f64,
    /// The fit to first order.
    pub(super) fit: LinearFit,
}

impl TestedHypothesis {
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
    /// Whether the data determine its size.
    fn is_told(&self, columns: &[ShapeColumn]) -> bool {
        let own = self.fit.sigmas[self.fit.chosen.len() - columns.len()..].iter();
        // For a coefficient known beforehand the question is whether it is present at all.
        self.hypothesis.is_of_known_size()
            || own.zip(columns).all(|(s, c)| *s < LEAST_TOLD * c.spread)
    }
    /// Whether it explains anything by itself, in one trial.
    pub fn fall_is_real(&self) -> bool {
        self.evidence.p_value() < CHANCE_WITHOUT_THE_BEST_PEAK
    }
    /// Whether it is admitted.
    pub fn convinces(&self) -> bool {
        let limit = match self.hypothesis {
            // Without a name it must be certainly present.
            Hypothesis::Pattern { .. } => CERTAINLY_THERE,
            _ => FALSE_ALARM_OF_A_SESSION,
        };
        self.p_value <= limit
            && self.bic_fall > 0.0
            && self.evidence.p_value_without_one() <= CHANCE_WITHOUT_THE_BEST_PEAK
            && self.spread_p_value <= FALSE_ALARM_OF_A_SESSION
    }
}

/// Tests of the hypotheses that are in a joint fit and of those that are not.
pub struct Inquiry<'a> {
    context: Context<'a>,
    session: &'a Session,
    about: &'a JointFit,
    linearised: Linearised,
    /// The hypotheses that may be tested, with the number of their first column.
    open: Vec<(Hypothesis, usize)>,
    /// Kinds of step, with the number of their first column.
    steps: Vec<(StepKind, usize)>,
}

impl<'a> Inquiry<'a> {
    /// Prepares tests relative to a joint fit.
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

    /// Prepares tests of only the hypotheses that are in a joint fit.
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
        let mut columns: Vec<ShapeColumn> = Vec::new();
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
        // An effect that the mount's own terms can take up is not a separate cause, even if they
        // are then larger than on a carefully built mount.
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

    /// The station.
    pub fn station(&self) -> &'a Station {
        self.context.station
    }

    /// The context of the tests.
    pub fn context(&self) -> Context<'a> {
        self.context
    }

    /// The session whose peaks are used.
    pub fn session(&self) -> &'a Session {
        self.session
    }

    /// The joint fit relative to which they are tested.
    pub fn about(&self) -> &'a JointFit {
        self.about
    }

    /// The linearised peaks.
    pub fn linearised(&self) -> &Linearised {
        &self.linearised
    }

    fn base(&self) -> Vec<usize> {
        (0..self.about.count()).collect()
    }

    /// Tests every hypothesis that is not in the joint fit and whose size the data determine.
    /// P-values are corrected for all that were tested.
    pub fn ask_all(&self) -> Vec<TestedHypothesis> {
        let mut answers = self.ask();
        answers.retain(|a| a.is_told(&a.hypothesis.columns(self.session.beamwidth)));
        let tried = kinds(&answers);
        for answer in &mut answers {
            answer.p_value = (answer.p_value * tried).min(1.0);
        }
        answers
    }

    /// The same with uncorrected p-values.
    pub fn ask(&self) -> Vec<TestedHypothesis> {
        let mut answers: Vec<TestedHypothesis> = (self.open.iter())
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
    ) -> Option<TestedHypothesis> {
        let base = self.base();
        let count = hypothesis.columns(self.session.beamwidth).len();
        let chosen: Vec<usize> = base.iter().copied().chain(first..first + count).collect();
        let fit = self
            .linearised
            .fit(&chosen, &self.about.kept, self.about.variance)?;
        let evidence = self.linearised.evidence(&base, &fit)?;
        let p_value = evidence.p_value();
        Some(TestedHypothesis {
            values: fit.values[base.len()..].to_vec(),
            p_value: p_value * places(p_value),
            spread_p_value: 0.0,
            bic_fall: evidence.bic_fall(hypothesis.parameters()),
            evidence,
            fit,
            hypothesis,
        })
    }

    /// Tests steps in time and in elevation, each at the place that fits best.
    fn ask_steps(&self) -> Vec<TestedHypothesis> {
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

    /// Pairs of hypotheses that may hide each other: the best few by the sums over the peaks now
    /// explained, each with the pair's result. P-values are corrected for all pairs.
    pub(super) fn ask_pairs(&self) -> Vec<(Hypothesis, TestedHypothesis)> {
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
        (ranked.into_iter().take(MOST_PAIRS_TESTED))
            .filter_map(|(_, one, other)| {
                let chosen: Vec<usize> = (base.iter().copied())
                    .chain(columns(one))
                    .chain(columns(other))
                    .collect();
                let fit = (self.linearised).fit(&chosen, &self.about.kept, self.about.variance)?;
                let evidence = self.linearised.evidence(&base, &fit)?;
                let p_value = (evidence.p_value() * pairs).min(1.0);
                let parameters = open[one].0.parameters() + open[other].0.parameters();
                let answer = TestedHypothesis {
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

    /// The evidence for hypothesis number `index` of the joint fit, given all others in it.
    pub fn speaks_for(&self, index: usize, tried: usize) -> Option<TestedHypothesis> {
        let linearised = &self.linearised;
        let own = self.about.columns_of(self.session, index);
        let small: Vec<usize> = (0..self.about.count())
            .filter(|j| !own.contains(j))
            .collect();
        // The evidence is for the large set over the small one: its columns must come last.
        let chosen: Vec<usize> = small.iter().copied().chain(own).collect();
        let fit = linearised.fit(&chosen, &self.about.kept, self.about.variance)?;
        let mut evidence = linearised.evidence(&small, &fit)?;
        evidence.cross_validation = (self.session.peaks.len() <= MOST_CROSS_VALIDATED)
            .then(|| linearised.cross_validation(&small, &fit))
            .flatten();
        let hypothesis = self.about.hypotheses[index].clone();
        let places = self.places_of(&small, &hypothesis, evidence.p_value());
        Some(TestedHypothesis {
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

    /// Factor on the p-value for the search over places or rates.
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

    /// For a joint fit whose last hypothesis is a step: the better place now that the good peaks
    /// are known, if there is one.
    pub(super) fn better_place(&self) -> Option<Hypothesis> {
        let last = self.about.hypotheses.last()?;
        let kind = StepKind::of(last)?;
        // Relative to the fit without the step: its coefficients are taken out of the residuals.
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

/// Number of independent tests: several places of one step count once, because their number is in
/// the search's own correction.
fn kinds(answers: &[TestedHypothesis]) -> f64 {
    let mut kinds: Vec<&Hypothesis> = Vec::new();
    for answer in answers {
        if !kinds.iter().any(|k| k.same_kind(&answer.hypothesis)) {
            kinds.push(&answer.hypothesis);
        }
    }
    kinds.len() as f64
}
