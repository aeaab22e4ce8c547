//! The contest of causes: each is fitted jointly with the mount terms, the best that convinces
//! is admitted, and the rest are asked again beside it.

use crate::sky::Sky;
use crate::station::Station;

use super::cause::Cause;
use super::gain::Gain;
use super::ground::{Ground, State};
use super::look::LookFit;
use super::scan::Scan;
use super::searched::Searched;
use super::shape::Column;
use super::suspects::{relabelled, suspects};

/// The probability that a healthy session is accused of anything by this contest, shared among
/// all causes that it can be asked for.
pub const FALSE_ALARM: f64 = 0.01;
/// Without the peak that speaks loudest a cause must still be so improbable by chance.
const WITHOUT_ONE: f64 = 1e-3;
/// How many of the best are refitted in full each round.
const REFITTED: usize = 3;
/// No session has more independent faults than this that data could tell.
const MOST_CAUSES: usize = 12;
/// A coefficient that the data tell no better than this share of its plausible size is not
/// asked for.
const LEAST_TOLD: f64 = 0.5;

/// A cause that was asked for, and the answer.
#[derive(Clone, Debug)]
pub struct Answer {
    /// What was asked for.
    pub cause: Cause,
    /// Fitted coefficients of its columns.
    pub values: Vec<f64>,
    /// What speaks for it.
    pub gain: Gain,
    /// The probability of so much by chance, corrected for the places tried and the number of
    /// causes asked for; at most one.
    pub false_alarm: f64,
    /// Fall of the information criterion.
    pub criterion: f64,
    /// The fit to first order.
    fit: LookFit,
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
    fn is_told(&self) -> bool {
        let columns = self.cause.columns();
        let own = self.fit.sigmas[self.fit.chosen.len() - columns.len()..].iter();
        // A coefficient that is known beforehand is asked whether it is there at all.
        let known = matches!(
            self.cause,
            Cause::Air { .. } | Cause::Relabelled { .. } | Cause::Grads(_)
        );
        known || own.zip(&columns).all(|(s, c)| *s < LEAST_TOLD * c.spread)
    }
    /// Whether it explains anything by itself, in one trial.
    pub fn fall_is_real(&self) -> bool {
        self.gain.probability() < WITHOUT_ONE
    }
    fn convinces(&self) -> bool {
        self.false_alarm <= FALSE_ALARM
            && self.criterion > 0.0
            && self.gain.probability_without_one() <= WITHOUT_ONE
    }
}

/// What the contest found.
#[derive(Clone, Debug)]
pub struct Verdict {
    /// The explanation with all causes admitted.
    pub state: State,
    /// For each cause of the state, what speaks for it beside the others.
    pub answers: Vec<Answer>,
    /// How many causes were asked for in the first round.
    pub tried: usize,
}

/// Holds the contest from `state` on. `look_again` gives the cases anew for another clock
/// offset, in seconds to add to the logged times.
pub fn contest(
    station: &Station,
    sky: &Sky,
    ground: &mut Ground,
    begin: State,
    look_again: &dyn Fn(f64) -> Option<Vec<super::case::Case>>,
) -> Verdict {
    let mut tried = 0;
    let mut run = |ground: &mut Ground, barred: &[Cause]| {
        admit(
            station,
            sky,
            ground,
            begin.clone(),
            barred,
            look_again,
            &mut tried,
        )
    };
    let logged = ground.clone();
    let mut state = run(ground, &[]);
    // A stair of slips looks like a drift, and once the drift is in, no single slip beside it
    // convinces: so it is also tried without.
    let drifts: Vec<Cause> = state
        .causes
        .iter()
        .filter(|c| is_drift(c))
        .cloned()
        .collect();
    for drift in drifts {
        let mut other_ground = logged.clone();
        let other = run(&mut other_ground, &[drift]);
        if other.cost + price(&other) < state.cost + price(&state) {
            state = other;
            *ground = other_ground;
        }
    }
    let answers = (0..state.causes.len())
        .filter_map(|k| speaks_for(ground, &state, k, tried))
        .collect();
    Verdict {
        state,
        answers,
        tried,
    }
}

fn is_drift(cause: &Cause) -> bool {
    matches!(
        cause,
        Cause::Creep { .. }
            | Cause::Temperature { .. }
            | Cause::DayCycle(_)
            | Cause::Settling { .. }
    )
}

/// Admits cause after cause, the best first, as long as they convince; none of the kinds in
/// `barred`.
fn admit(
    station: &Station,
    sky: &Sky,
    ground: &mut Ground,
    mut state: State,
    barred: &[Cause],
    look_again: &dyn Fn(f64) -> Option<Vec<super::case::Case>>,
    tried: &mut usize,
) -> State {
    let mut retired: Vec<Cause> = barred.to_vec();
    while state.causes.len() < MOST_CAUSES {
        let mut answers = ask_all(station, sky, ground, &state);
        *tried = (*tried).max(answers.len());
        answers.retain(|a| a.convinces() && !retired.iter().any(|r| r.same_kind(&a.cause)));
        answers.sort_by(|a, b| b.criterion.total_cmp(&a.criterion));
        let mut next: Option<State> = None;
        for answer in answers.iter().take(REFITTED) {
            let Some(grown) = grow(ground, &state, answer) else {
                continue;
            };
            let confirmed = speaks_for(ground, &grown, grown.causes.len() - 1, *tried)
                .is_some_and(|a| a.convinces());
            let better = next
                .as_ref()
                .is_none_or(|best| price(&grown) + grown.cost < price(best) + best.cost);
            if confirmed && better {
                next = Some(grown);
            }
        }
        let Some(grown) = next else {
            break;
        };
        state = settle_clock(ground, grown, look_again);
        state = drop_idle(ground, state, *tried, &mut retired);
    }
    state
}

/// What the state's causes cost by Schwarz's criterion.
pub fn price(state: &State) -> f64 {
    let rows = 2.0 * state.kept.iter().filter(|k| **k).count() as f64;
    let parameters: f64 = state.causes.iter().map(Cause::parameters).sum();
    parameters * rows.max(2.0).ln()
}

/// Asks for every cause beside those of the state whose size the data tell. False alarms are
/// corrected for all that were asked for.
fn ask_all(station: &Station, sky: &Sky, ground: &Ground, state: &State) -> Vec<Answer> {
    let mut answers = ask(station, sky, ground, state);
    answers.retain(Answer::is_told);
    let tried = tries(&answers);
    for answer in &mut answers {
        answer.false_alarm = (answer.false_alarm * tried).min(1.0);
    }
    answers
}

/// Asks for every cause beside those of the state; false alarms are those of each by itself.
pub fn ask(station: &Station, sky: &Sky, ground: &Ground, state: &State) -> Vec<Answer> {
    let mut causes = suspects(station, ground);
    causes.retain(|c| !state.causes.iter().any(|k| k.same_kind(c)));
    causes.extend(relabelled(station, sky, ground, state));
    let fixed = causes.len();
    let scans = scanned(ground, state);
    causes.extend(scans.iter().map(|(cause, _)| cause.clone()));
    let columns: Vec<Column> = causes.iter().flat_map(Cause::columns).collect();
    let look = ground.look(state, &columns);
    let base: Vec<usize> = (0..state.count()).collect();
    let mut answers = Vec::new();
    let mut first = state.count();
    for (k, cause) in causes.iter().enumerate() {
        let count = cause.columns().len();
        let own: Vec<usize> = (first..first + count).collect();
        first += count;
        let chosen: Vec<usize> = base.iter().copied().chain(own.iter().copied()).collect();
        let Some(fit) = look.fit(&chosen, &state.kept, state.variance) else {
            continue;
        };
        let Some(gain) = look.gain(&base, &fit) else {
            continue;
        };
        let places = k
            .checked_sub(fixed)
            .map_or(1.0, |s| scans[s].1.multiplicity(gain.probability()));
        answers.push(Answer {
            cause: cause.clone(),
            values: fit.values[base.len()..].to_vec(),
            false_alarm: gain.probability() * places,
            criterion: gain.criterion(cause.parameters()),
            gain,
            fit,
        });
    }
    answers
}

/// How many independent questions were put: several places of one scan count once, for their
/// number is in the scan's own correction.
fn tries(answers: &[Answer]) -> f64 {
    let mut kinds: Vec<&Cause> = Vec::new();
    for answer in answers {
        if !kinds.iter().any(|k| k.same_kind(&answer.cause)) {
            kinds.push(&answer.cause);
        }
    }
    kinds.len() as f64
}

/// Steps in time and in elevation, each at the place that speaks loudest.
fn scanned(ground: &Ground, state: &State) -> Vec<(Cause, Scan)> {
    let probes = Searched::ALL.map(Searched::probe);
    let look = ground.look(state, &probes);
    let base: Vec<usize> = (0..state.count()).collect();
    let cases = ground.cases.as_slice();
    let mut sets = vec![state.kept.clone()];
    sets.extend(look.near_by_slow_loss(&base).map(|(near, _)| near));
    sets.push(vec![true; cases.len()]);
    sets.dedup();
    let mut found: Vec<(Cause, Scan)> = Vec::new();
    for (k, searched) in Searched::ALL.into_iter().enumerate() {
        let order = searched.order(cases);
        for kept in &sets {
            let scan = Scan::new(&look, &base, state.count() + k, kept, &order);
            let Some((scan, place)) = scan.and_then(|s| s.best().map(|b| (s, b))) else {
                continue;
            };
            let cause = searched.at(cases, &order, place);
            if !found.iter().any(|(known, _)| *known == cause) {
                found.push((cause, scan));
            }
        }
    }
    found
}

/// The state with one cause more, fitted in full; a step is moved to its best place.
pub fn grow(ground: &Ground, state: &State, answer: &Answer) -> Option<State> {
    let mut causes = state.causes.clone();
    causes.push(answer.cause.clone());
    let begin: Vec<f64> = answer.fit.values.clone();
    let mut grown = ground.refit(&causes, &begin, &answer.fit.kept, answer.fit.variance)?;
    for _ in 0..3 {
        let Some(moved) = better_place(ground, &grown) else {
            break;
        };
        let mut causes = grown.causes.clone();
        *causes.last_mut()? = moved;
        let again = ground.refit(&causes, &grown.parameters, &grown.kept, grown.variance)?;
        if again.cost >= grown.cost {
            break;
        }
        grown = again;
    }
    Some(grown)
}

/// For a state whose last cause is a step: the place that is better now that the good peaks are
/// known, if there is one.
fn better_place(ground: &Ground, state: &State) -> Option<Cause> {
    let last = state.causes.last()?;
    let searched = Searched::of(last)?;
    // About the state without the step: its coefficient taken out of the residuals.
    let mut without = state.clone();
    let place = state.parameters_of(state.causes.len() - 1).start;
    without.parameters[place] = 0.0;
    let look = ground.look(&without, &[searched.probe()]);
    let base: Vec<usize> = (0..place).collect();
    let order = searched.order(&ground.cases);
    let scan = Scan::new(&look, &base, state.count(), &state.kept, &order)?;
    let cause = searched.at(&ground.cases, &order, scan.best()?);
    (cause != *last).then_some(cause)
}

/// What speaks for the last cause of a state beside the others, one trial only.
pub fn alone(ground: &Ground, state: &State) -> Option<Answer> {
    speaks_for(ground, state, state.causes.len().checked_sub(1)?, 1)
}

/// What speaks for cause number `index` of a state beside all others in it.
///
/// It must convince although axis skew and droop may be larger than a careful builder leaves
/// them: what they can take up is no other cause.
fn speaks_for(ground: &Ground, state: &State, index: usize, tried: usize) -> Option<Answer> {
    let look = ground.loose_look(state);
    let all: Vec<usize> = (0..state.count()).collect();
    let own = state.parameters_of(index);
    let small: Vec<usize> = all.iter().copied().filter(|j| !own.contains(j)).collect();
    // The gain is of the large set over the small: its columns must come last.
    let chosen: Vec<usize> = small.iter().copied().chain(own.clone()).collect();
    let fit = look.fit(&chosen, &state.kept, state.variance)?;
    let gain = look.gain(&small, &fit)?;
    let cause = state.causes[index].clone();
    let places = places_of(ground, state, &small, &cause, gain.probability());
    Some(Answer {
        values: fit.values[small.len()..].to_vec(),
        false_alarm: (gain.probability() * places * tried.max(1) as f64).min(1.0),
        criterion: gain.criterion(cause.parameters()),
        gain,
        fit,
        cause,
    })
}

/// By how much the search for a place multiplies the probability.
fn places_of(
    ground: &Ground,
    state: &State,
    small: &[usize],
    cause: &Cause,
    probability: f64,
) -> f64 {
    let Some(searched) = Searched::of(cause) else {
        return 1.0;
    };
    let look = ground.look(state, &[searched.probe()]);
    let order = searched.order(&ground.cases);
    Scan::new(&look, small, state.count(), &state.kept, &order)
        .map_or(1.0, |scan| scan.multiplicity(probability))
}

/// A clock offset is linear only near by: look at the sky again there until it settles.
fn settle_clock(
    ground: &mut Ground,
    state: State,
    look_again: &dyn Fn(f64) -> Option<Vec<super::case::Case>>,
) -> State {
    const SETTLED_S: f64 = 1e-3;
    const MOST_ROUNDS: usize = 8;
    let mut state = state;
    for _ in 0..MOST_ROUNDS {
        let Some(index) = state.causes.iter().position(|c| *c == Cause::Clock) else {
            return state;
        };
        let place = state.parameters_of(index).start;
        let found = state.parameters[place];
        if (found - ground.clock_s).abs() < SETTLED_S {
            return state;
        }
        let Some(cases) = look_again(found) else {
            return state;
        };
        if cases.len() != ground.cases.len() {
            return state;
        }
        let mut moved = ground.clone();
        moved.cases = cases;
        moved.clock_s = found;
        let begin = &state.parameters;
        let Some(next) = moved.refit(&state.causes, begin, &state.kept, state.variance) else {
            return state;
        };
        *ground = moved;
        state = next;
    }
    state
}

/// Takes out again causes that are no longer needed now that others are in.
fn drop_idle(ground: &Ground, mut state: State, tried: usize, retired: &mut Vec<Cause>) -> State {
    let mut k = 0;
    while state.causes.len() > 1 && k < state.causes.len() {
        let needed = speaks_for(ground, &state, k, tried).is_some_and(|a| a.convinces());
        if needed {
            k += 1;
            continue;
        }
        let mut causes = state.causes.clone();
        let gone = causes.remove(k);
        let own = state.parameters_of(k);
        let begin: Vec<f64> = (state.parameters.iter().enumerate())
            .filter(|(j, _)| !own.contains(j))
            .map(|(_, v)| *v)
            .collect();
        let Some(smaller) = ground.refit(&causes, &begin, &state.kept, state.variance) else {
            break;
        };
        state = smaller;
        // A slip elsewhere may come; the others may not come back, or two could take turns.
        if !matches!(gone, Cause::Slip { .. }) {
            retired.push(gone);
        }
        k = 0;
    }
    state
}
