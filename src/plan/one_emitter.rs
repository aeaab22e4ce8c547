//! A plan for observing a single emitter of the sky, such as the Sun with a small dish.
//!
//! The information from such an emitter comes from its path across the sky: peaks in quick
//! succession give nearly the same information. So the steps are visits of a few peaks, spread over
//! the span; and after them the plan says when to come back, and what even a whole day of it would
//! not determine.

use super::candidates::{Candidate, Judge, Offer};
use super::design::Design;
use super::tuned::{MOST_EMITTERS_LOOKED_AT, MOST_SLOTS_FOR_A_STEP, STEP_OF_THE_DAY_AHEAD_S};
use super::{Known, PlanRequest, Step, told};
use crate::angle::{Angle, Apparent, Direction};
use crate::mount::Term;
use crate::sky::{EmitterId, Sky};
use crate::station::Station;
use crate::time::{DAY_S, Utc};

/// Peaks per visit: among three, a bad one stands out from the other two.
const PEAKS_A_VISIT: usize = 3;
/// Visits are at least an hour apart, in which the sky turns by 15 degrees: several beams of a
/// small dish.
const LEAST_APART_S: f64 = 3600.0;
/// And at most two hours, if there are enough peaks, because a longer wait takes a whole evening.
/// Common practice, no source.
const MOST_APART_S: f64 = 7200.0;
/// Largest number of return visits named: more are not practical in a day.
const MOST_RETURNS: usize = 3;
/// A return visit must leave less than this share of the error to be worthwhile; common practice,
/// no source.
const WORTH_IT: f64 = 0.9;

/// The advice when the steps are all of one emitter.
#[derive(Clone, Debug)]
pub struct Alone {
    /// Its name.
    pub emitter: String,
    /// When to come back in the day after the span, in order of time; empty when that hardly helps.
    pub returns: Vec<Return>,
    /// Pointing error over the reachable sky, rms, that would remain after a whole day of it with a
    /// peak every twenty minutes.
    pub day_error: Angle,
    /// Terms that such a day would not determine.
    pub not_told_in_a_day: Vec<Term>,
}

/// A return visit of a few peaks.
#[derive(Clone, Debug)]
pub struct Return {
    /// When.
    pub time: Utc,
    /// The emitter.
    pub emitter: String,
    /// Its direction then.
    pub direction: Direction<Apparent>,
    /// Number of peaks.
    pub peaks: usize,
    /// Remaining pointing error over the sky, rms, after these and all earlier peaks.
    pub left: Angle,
}

/// The one emitter that can be observed, when it moves with the stars.
pub fn only_one(judge: &Judge<'_>, candidates: &[Candidate]) -> Option<EmitterId> {
    let only = candidates.first()?.emitter;
    (candidates.iter().all(|c| c.emitter == only) && judge.turns_with_the_sky(only)).then_some(only)
}

/// Its steps as visits spread over the span; `None` when it can be observed for so short a time
/// that there is nothing to spread.
pub fn visits(judge: &Judge<'_>, request: &PlanRequest, only: EmitterId) -> Option<Vec<Candidate>> {
    let span_s = request.to.seconds_since(request.from);
    let every_s = request.every_s.max(span_s / MOST_SLOTS_FOR_A_STEP);
    let places = (span_s / every_s + 1e-9).floor() as usize;
    let times: Vec<Utc> = (0..places)
        .map(|i| request.from.plus_seconds((i as f64 + 0.5) * every_s))
        .collect();
    let usable = judge.watch(only, &times).ok()?;
    let chosen = spread(usable.len(), every_s, request.most)?;
    let of_slot = |(slot, place): (usize, usize)| Candidate {
        slot,
        ..usable[place].clone()
    };
    Some(chosen.into_iter().enumerate().map(of_slot).collect())
}

/// Which of this many consecutive places, `every_s` apart, belong to visits.
fn spread(places: usize, every_s: f64, most: usize) -> Option<Vec<usize>> {
    let length_s = places as f64 * every_s;
    // Two places with few peaks are better than one with many.
    let each = PEAKS_A_VISIT.min(most / 2).max(1);
    if length_s < LEAST_APART_S || places < 2 * each {
        return None;
    }
    let apart_s = (length_s / 4.0).clamp(LEAST_APART_S, MOST_APART_S);
    let visits = ((length_s / apart_s).round() as usize + 1)
        .min(most / each)
        .min(places / each);
    let last_start = (places - each) as f64;
    let mut chosen: Vec<usize> = (0..visits)
        .map(|k| (k as f64 * last_start / (visits.max(2) - 1) as f64).round() as usize)
        .flat_map(|start| start..start + each)
        .collect();
    chosen.dedup();
    Some(chosen)
}

/// The advice in addition to the steps.
pub fn outlook(
    station: &Station,
    sky: &Sky,
    known: &Known,
    request: &PlanRequest,
    (terms, sigma): (&[Term], Angle),
    offer: &Offer,
    steps: &[Step],
) -> Option<Alone> {
    let only = steps.first()?.candidate.emitter;
    let whole = (request.from, request.to.plus_seconds(DAY_S));
    let judge = Judge::new(station, sky, known, request, whole);
    let day = renumbered(judge.watch(only, &ahead(request.from)).unwrap_or_default());
    let design = Design::new(station, known, terms, sigma, &day);
    let all: Vec<usize> = (0..day.len()).filter_map(|i| design.side(i, i)).collect();
    let by_peaks = design.covariance_by_peaks(known, &all);
    let untold = (terms.iter().enumerate())
        .filter(|(i, term)| !told(station, known, **term, by_peaks[(*i, *i)].max(0.0).sqrt()))
        .map(|(_, term)| *term);
    Some(Alone {
        emitter: sky.name(only).to_owned(),
        returns: returns(
            &judge,
            known,
            request,
            (terms, sigma),
            offer,
            steps,
            station,
        ),
        day_error: design.error(&design.covariance_of(&all)),
        not_told_in_a_day: untold.collect(),
    })
}

/// When to come back; each time is chosen where a visit helps most.
fn returns(
    judge: &Judge<'_>,
    known: &Known,
    request: &PlanRequest,
    (terms, sigma): (&[Term], Angle),
    offer: &Offer,
    steps: &[Step],
    station: &Station,
) -> Vec<Return> {
    let enough = station.dish.beamwidth / 10.0;
    let taken = steps.iter().map(|s| s.candidate.clone());
    let later = (offer.heard.iter().take(MOST_EMITTERS_LOOKED_AT))
        .flat_map(|id| judge.watch(*id, &ahead(request.to)).unwrap_or_default());
    let all = renumbered(taken.chain(later).collect());
    let design = Design::new(station, known, terms, sigma, &all);
    let left = |chosen: &[usize]| design.error(&design.covariance_of(chosen));
    let mut chosen: Vec<usize> = (steps.iter().enumerate())
        .filter_map(|(i, s)| design.choice(i, s.approach))
        .collect();
    let with = |chosen: &[usize], slot: usize| -> Vec<usize> {
        let visit = (0..PEAKS_A_VISIT).filter_map(|k| design.side(slot, k));
        chosen.iter().copied().chain(visit).collect()
    };
    let mut now = left(&chosen);
    let mut found: Vec<usize> = Vec::new();
    while found.len() < MOST_RETURNS && now > enough {
        let apart = |slot: usize, other: &usize| {
            let between = all[slot].time.seconds_since(all[*other].time).abs();
            between >= LEAST_APART_S
        };
        let best = (steps.len()..all.len())
            .filter(|slot| found.iter().all(|other| apart(*slot, other)))
            .map(|slot| (left(&with(&chosen, slot)), slot))
            .min_by(|a, b| a.0.degrees().total_cmp(&b.0.degrees()));
        let Some((least, slot)) = best.filter(|(least, _)| *least < now * WORTH_IT) else {
            break;
        };
        chosen = with(&chosen, slot);
        now = least;
        found.push(slot);
    }
    // In order of time, so that each gives the remaining error at that time.
    found.sort_by_key(|slot| all[*slot].time);
    chosen.truncate(steps.len());
    (found.into_iter())
        .map(|slot| {
            chosen = with(&chosen, slot);
            let candidate = &all[slot];
            Return {
                time: candidate.time,
                emitter: candidate.name.clone(),
                direction: candidate.direction,
                peaks: PEAKS_A_VISIT,
                left: left(&chosen),
            }
        })
        .collect()
}

/// The day after an instant.
fn ahead(from: Utc) -> Vec<Utc> {
    let steps = (DAY_S / STEP_OF_THE_DAY_AHEAD_S) as usize;
    (1..=steps)
        .map(|i| from.plus_seconds(i as f64 * STEP_OF_THE_DAY_AHEAD_S))
        .collect()
}

/// Gives each a slot of its own.
fn renumbered(candidates: Vec<Candidate>) -> Vec<Candidate> {
    let of_slot = |(slot, candidate)| Candidate { slot, ..candidate };
    candidates.into_iter().enumerate().map(of_slot).collect()
}

/// What can be observed soon after the span, in words; empty when nothing can within a day.
pub fn next_up(judge: &Judge<'_>, request: &PlanRequest, heard: &[EmitterId]) -> String {
    /// Emitters named as next to observe: more than the first few are not needed.
    const MOST_NAMED: usize = 3;
    let mut first: Vec<(Utc, String)> = (heard.iter().take(MOST_EMITTERS_LOOKED_AT))
        .filter_map(|id| judge.watch(*id, &ahead(request.to)).ok())
        .filter_map(|seen| seen.first().map(|c| (c.time, c.name.clone())))
        .collect();
    first.sort();
    let named: Vec<String> = (first.iter().take(MOST_NAMED))
        .map(|(time, name)| format!("{name} from {}", time.to_string().replace(".000Z", "Z")))
        .collect();
    match named.is_empty() {
        true => String::new(),
        false => format!("can be observed next: {}", named.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn visits_are_spread_from_the_first_place_to_the_last() {
        // Ten hours, a place every five minutes.
        let day = spread(120, 300.0, 40).unwrap();
        assert_eq!(day[..3], [0, 1, 2]);
        assert_eq!(day[day.len() - 3..], [117, 118, 119]);
        let starts: Vec<usize> = day.iter().step_by(3).copied().collect();
        assert_eq!(starts.len(), 6);
        for pair in starts.windows(2) {
            let hours = (pair[1] - pair[0]) as f64 / 12.0;
            assert!((1.5..2.5).contains(&hours), "{starts:?}");
        }
        // Two hours: at the beginning, after one and at the end.
        assert_eq!(
            spread(24, 300.0, 40).unwrap(),
            [0, 1, 2, 11, 12, 13, 21, 22, 23]
        );
        // No more peaks than requested, and still at both ends.
        assert_eq!(spread(120, 300.0, 6).unwrap(), [0, 1, 2, 117, 118, 119]);
        assert_eq!(spread(24, 300.0, 2).unwrap(), [0, 23]);
        assert_eq!(spread(24, 300.0, 1).unwrap(), [0]);
        // Half an hour is one visit, which needs no spreading.
        assert_eq!(spread(6, 300.0, 40), None);
    }
}
