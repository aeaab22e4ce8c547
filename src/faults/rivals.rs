//! Explanations that these data cannot tell apart, and the observation that would.

use crate::angle::{Angle, Apparent, Direction, EncoderReading, SkyBasis};
use crate::logbook::Approach;
use crate::sky::Sky;
use crate::station::Station;

use super::case::Case;
use super::cause::Cause;
use super::contest::{alone, ask, grow, price};
use super::finding::Rival;
use super::ground::{Ground, State};
use super::name::Fault;
use super::shape::{Column, Lever};

/// An explanation whose information criterion is worse by less than this cannot be ruled out:
/// odds of twenty to one (Kass and Raftery, Bayes factors, 1995, call from there on "strong"; from
/// memory).
const AS_GOOD: f64 = 6.0;

/// So many of the best are refitted.
const REFITTED: usize = 8;

/// What explains the data about as well as cause number `index` of the state.
pub fn rivals(
    station: &Station,
    sky: &Sky,
    ground: &Ground,
    state: &State,
    index: usize,
) -> Vec<Rival> {
    let cause = &state.causes[index];
    let mut causes = state.causes.clone();
    causes.remove(index);
    let own = state.parameters_of(index);
    let begin: Vec<f64> = (state.parameters.iter().enumerate())
        .filter(|(j, _)| !own.contains(j))
        .map(|(_, v)| *v)
        .collect();
    let Some(without) = ground.refit(&causes, &begin, &state.kept, state.variance) else {
        return Vec::new();
    };
    let total = |state: &State| state.cost + price(state);
    let mut answers = ask(station, sky, ground, &without);
    answers.retain(|a| !a.cause.same_kind(cause) && a.criterion > 0.0 && a.fall_is_real());
    answers.sort_by(|a, b| b.criterion.total_cmp(&a.criterion));
    answers.truncate(REFITTED);
    let mut rivals: Vec<(f64, Rival)> = Vec::new();
    for answer in answers {
        let Some(other) = grow(ground, &without, &answer) else {
            continue;
        };
        // To first order a wrong cause may look better or worse than it is: refitted, it is
        // held against the state as it stands.
        let behind = total(&other) - total(state);
        let Some(answer) = alone(ground, &other).filter(|_| behind < AS_GOOD) else {
            continue;
        };
        let size = answer.cause.size(&answer.values, &answer.covariance());
        let rival = Rival {
            fault: answer.cause.fault(),
            axis: answer.cause.axis(),
            size: size.value,
            size_unit: size.unit.to_owned(),
            sigma: size.sigma,
            tell: tell(station, ground, state, index, &other),
        };
        rivals.push((-behind, rival));
    }
    rivals.sort_by(|a, b| b.0.total_cmp(&a.0));
    rivals.into_iter().map(|(_, r)| r).collect()
}

/// Which observation would tell a cause of the state from the last one of the other state.
fn tell(station: &Station, ground: &Ground, state: &State, index: usize, other: &State) -> String {
    let rival = other.causes.last().map(Cause::fault);
    let has = |f: Fault| state.causes[index].fault() == f || rival == Some(f);
    if has(Fault::WrongEmitter) {
        return "peak both emitters anew and note their frequency".to_owned();
    }
    if has(Fault::Clock) {
        return "peak a fast satellite, for which seconds matter, and a beacon or a geostationary \
                one, for which they do not"
            .to_owned();
    }
    if has(Fault::StaleElements) {
        return "peak that satellite again at another part of its orbit, with fresh elements"
            .to_owned();
    }
    if has(Fault::Refraction) {
        return "peak an emitter as low as it can be received, and a beacon or mark at the same \
                elevation, whose rays the air does not bend"
            .to_owned();
    }
    best_look(station, ground, state, other).unwrap_or_else(|| {
        "no reasonable number of peaks would tell; check by hand which of them it is".to_owned()
    })
}

/// Hours after the last peak at which a deciding peak is imagined.
const LATER_HOURS: [f64; 3] = [0.5, 4.0, 12.0];
/// Elevation readings at which it is, as far as the mount reaches, degrees.
const ELEVATIONS: [f64; 10] = [
    3.0, 10.0, 25.0, 45.0, 65.0, 80.0, 100.0, 120.0, 140.0, 165.0,
];
/// Two explanations must differ by so many sigmas of the mean of the peaks taken there,
const TOLD: f64 = 3.0;
/// and nobody takes more than so many.
const MOST_PEAKS: f64 = 40.0;

/// The direction, time and side of arrival at which the two explanations differ most, and how
/// many peaks there would tell.
fn best_look(station: &Station, ground: &Ground, state: &State, other: &State) -> Option<String> {
    let beam_only = |columns: &[Column]| columns.iter().all(|c| matches!(c.lever, Lever::Term(_)));
    if !beam_only(&state.columns) || !beam_only(&other.columns) {
        return None;
    }
    let (lowest, highest) = station.mount.elevation_range;
    let reached = |e: &f64| (lowest..=highest).contains(&Angle::from_degrees(*e));
    let elevations: Vec<f64> = ELEVATIONS.into_iter().filter(reached).collect();
    let last = ground.cases.last()?;
    let mut imagined = Vec::new();
    let mut said = Vec::new();
    let latest = ground.cases.iter().map(|c| c.hours).fold(0.0, f64::max);
    for later in LATER_HOURS {
        for azimuth in (0..360).step_by(30) {
            for elevation in &elevations {
                for approach in [Approach::Increasing, Approach::Decreasing] {
                    let reading = EncoderReading::from_degrees(f64::from(azimuth), *elevation);
                    imagined.push(imagine(last, latest + later, reading, approach));
                    said.push((later, azimuth, *elevation, approach));
                }
            }
        }
    }
    let mut there = ground.clone();
    there.cases = imagined;
    let sigma = super::evidence::typical_sigma(state).radians() * state.variance.sqrt();
    let sigmas = vec![[Angle::from_radians(sigma); 2]; there.cases.len()];
    let ours = there.explanation(&state.columns, &sigmas);
    let theirs = there.explanation(&other.columns, &sigmas);
    let mut best: Option<(f64, usize)> = None;
    for i in 0..there.cases.len() {
        let beam = |e: &super::explain::Explanation<'_>, p: &[f64]| {
            let at = e.at(i, p);
            at.mount
                .beam_vector(at.reading, there.cases[i].observation.approach())
        };
        let (a, b) = (
            beam(&ours, &state.parameters),
            beam(&theirs, &other.parameters),
        );
        let apart = SkyBasis::at(&a).offset_to(&b).size().radians() / sigma;
        // The earlier and simpler look wins unless a later one is clearly better.
        if best.is_none_or(|(most, _)| apart > 1.3 * most) {
            best = Some((apart, i));
        }
    }
    let (apart, i) = best?;
    let peaks = (TOLD / apart).powi(2).ceil().max(1.0);
    if peaks > MOST_PEAKS {
        return None;
    }
    let (later, azimuth, elevation, approach) = said[i];
    let play = |c: &Cause| matches!(c, Cause::Backlash(_));
    let sided = state.causes.iter().chain(&other.causes).any(play);
    Some(format!(
        "{} near azimuth reading {azimuth} deg, elevation {elevation:.0} deg, {later} h after the \
         last one{}: there the two differ by {apart:.1} times the scatter",
        if peaks > 1.0 {
            format!("{peaks} peaks")
        } else {
            "a peak".to_owned()
        },
        if sided {
            format!(", arriving from both sides ({} first)", approach.symbol())
        } else {
            String::new()
        },
    ))
}

/// A case like `last`, but at another time and place.
fn imagine(last: &Case, hours: f64, reading: EncoderReading, approach: Approach) -> Case {
    let mut case = last.clone();
    let ahead = hours - last.hours;
    case.hours = hours;
    case.observation.target =
        Direction::<Apparent>::new(reading.azimuth, reading.elevation).east_north_up();
    case.day_angle = last.day_angle + Angle::TURN * (ahead / 24.0);
    let peak = &mut case.observation.peak;
    peak.azimuth = Some(reading.azimuth);
    peak.elevation = Some(reading.elevation);
    peak.azimuth_approach = approach;
    peak.elevation_approach = approach;
    case
}
