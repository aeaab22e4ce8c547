//! Hypotheses that these data cannot separate, and the observation that would.

use crate::angle::{Angle, Direction, EncoderReading, SkyBasis};
use crate::logbook::Approach;
use crate::station::Station;

use super::admission::{grow, price, without};
use super::evidence::STRONG_EVIDENCE;
use super::fault::{Fault, FaultAxis};
use super::hypothesis::{Hypothesis, Size};
use super::inquiry::{Context, Inquiry};
use super::joint_fit::JointFit;
use super::peak::SessionPeak;
use super::problem::JointProblem;
use super::session::Session;
use super::shape::{Lever, ShapeColumn};
use super::tuned::RIVALS_REFITTED;

/// Another hypothesis that these data cannot separate from an admitted one.
#[derive(Clone, Debug)]
pub struct RivalHypothesis {
    /// The fault that it would be.
    pub fault: Fault,
    /// The axis in which it would show.
    pub axis: FaultAxis,
    /// How large it would be.
    pub size: Size,
    /// The observation that would separate the two.
    pub tell: Tell,
}

/// The observation that would separate two hypotheses.
#[derive(Clone, Debug, PartialEq)]
pub enum Tell {
    /// The peaks of both emitters again, with their frequencies.
    BothEmitters,
    /// A fast satellite, for which seconds matter, and a stationary emitter.
    FastAndStill,
    /// The same satellite at another part of its orbit, with fresh elements.
    AnotherPass,
    /// An emitter as low as it can be received, and a terrestrial one close to it.
    LowEmitters,
    /// Peaks where the two differ most.
    Peaks {
        /// How many.
        count: f64,
        /// Azimuth reading.
        azimuth: Angle,
        /// Elevation reading.
        elevation: Angle,
        /// How long after the last peak.
        hours_later: f64,
        /// From both sides, starting with this one, where the side of arrival matters.
        first_side: Option<Approach>,
        /// Difference between the two there, in units of the scatter.
        apart: f64,
    },
    /// No reasonable number of peaks.
    ByHand,
}

/// Hypotheses that explain the data about as well as hypothesis number `index` of the fit, searched
/// for on the peaks of `inquiry`; where those are a sample of a long log, each is checked on all
/// peaks.
pub fn rivals(
    inquiry: &Inquiry<'_>,
    session: &Session,
    fit: &JointFit,
    index: usize,
) -> Vec<RivalHypothesis> {
    let (context, some, fit_there) = (inquiry.context(), inquiry.session(), inquiry.about());
    let hypothesis = &fit_there.hypotheses[index];
    let Some(without) = without(some, fit_there, index) else {
        return Vec::new();
    };
    let base = Session {
        base: (some.base.iter())
            .filter(|h| *h != hypothesis)
            .cloned()
            .collect(),
        ..some.clone()
    };
    let mut answers = Inquiry::new(context, &base, &without).ask();
    // A jump of the same zero is the same hypothesis, wherever its place is found.
    let same = |h: &Hypothesis| {
        let jumps = h.is_jump_of_a_zero() && hypothesis.is_jump_of_a_zero();
        h.same_kind(hypothesis) || jumps && h.axis() == hypothesis.axis()
    };
    answers.retain(|a| !same(&a.hypothesis) && a.bic_fall > 0.0 && a.fall_is_real());
    answers.sort_by(|a, b| b.bic_fall.total_cmp(&a.bic_fall));
    answers.truncate(RIVALS_REFITTED);
    let mut rivals: Vec<(f64, RivalHypothesis)> = Vec::new();
    for answer in answers {
        let Some(fault) = answer.hypothesis.fault() else {
            continue;
        };
        let Some(other) = grow(context, &base, &without, &answer) else {
            continue;
        };
        // To first order a wrong hypothesis may look better or worse than it is: it is refitted and
        // then compared with the fit.
        let behind = behind(some, fit_there, index, &other);
        if behind >= STRONG_EVIDENCE || told_by_all(context, (some, session), fit, index, &other) {
            continue;
        }
        let there = Inquiry::of_fitted(context, &base, &other);
        let Some(answer) = there.speaks_for(other.hypotheses.len() - 1, 1) else {
            continue;
        };
        let rival = RivalHypothesis {
            fault,
            axis: answer.hypothesis.axis(),
            size: answer.hypothesis.size(&answer.values, &answer.covariance()),
            tell: tell(context.station, some, fit_there, index, &other),
        };
        rivals.push((behind, rival));
    }
    rivals.sort_by(|a, b| a.0.total_cmp(&b.0));
    rivals.into_iter().map(|(_, r)| r).collect()
}

/// How much worse another fit of the same peaks, with its last hypothesis instead of number
/// `index`, is than the fit, by Schwarz's criterion.
fn behind(session: &Session, fit: &JointFit, index: usize, other: &JointFit) -> f64 {
    let total = |fit: &JointFit| fit.cost + price(session, fit);
    // A hypothesis that is always fitted has no cost of its own; it is compared with the others as
    // if it had.
    let own_price = if index < session.base.len() {
        let rows = 2.0 * fit.kept.iter().filter(|k| **k).count() as f64;
        fit.hypotheses[index].parameters() * rows.max(2.0).ln()
    } else {
        0.0
    };
    total(other) - total(fit) - own_price
}

/// Whether all peaks separate a rival that was found on some of them from what is in the fit.
fn told_by_all(
    context: Context<'_>,
    (some, all): (&Session, &Session),
    fit: &JointFit,
    index: usize,
    other: &JointFit,
) -> bool {
    if some.peaks.len() == all.peaks.len() {
        return false;
    }
    let hypotheses: Vec<Hypothesis> = (other.hypotheses.iter())
        .map(|h| h.everywhere(context, all))
        .collect();
    all.refit(&hypotheses, &other.parameters, &fit.kept, fit.variance)
        .is_none_or(|other| behind(all, fit, index, &other) >= STRONG_EVIDENCE)
}

/// The observation that would separate a hypothesis of the fit from the last one of the other fit.
fn tell(
    station: &Station,
    session: &Session,
    fit: &JointFit,
    index: usize,
    other: &JointFit,
) -> Tell {
    let rival = other.hypotheses.last().and_then(Hypothesis::fault);
    let has = |f: Fault| fit.hypotheses[index].fault() == Some(f) || rival == Some(f);
    if has(Fault::WrongEmitter) {
        return Tell::BothEmitters;
    }
    if has(Fault::Clock) {
        return Tell::FastAndStill;
    }
    if has(Fault::StaleElements) {
        return Tell::AnotherPass;
    }
    if has(Fault::Refraction) {
        return Tell::LowEmitters;
    }
    best_peak(station, session, fit, index, other).unwrap_or(Tell::ByHand)
}

/// Hours after the last peak at which a deciding peak is simulated: at once, the same day, the
/// other half of the day.
const LATER_HOURS: [f64; 3] = [0.5, 4.0, 12.0];
/// Elevation readings at which it is simulated, within the range of the mount, degrees: from the
/// horizon over the top, closer near the ends where terms differ most.
const ELEVATIONS: [f64; 10] = [
    3.0, 10.0, 25.0, 45.0, 65.0, 80.0, 100.0, 120.0, 140.0, 165.0,
];
/// Two explanations must differ by this many sigmas of the mean of the peaks taken there: the usual
/// three.
const TOLD: f64 = 3.0;
/// More peaks than this are not practical for one question; common practice, no source.
const MOST_PEAKS: f64 = 40.0;

/// The direction, time and side of arrival at which the two explanations differ most, and the
/// number of peaks there that would separate them.
fn best_peak(
    station: &Station,
    session: &Session,
    fit: &JointFit,
    index: usize,
    other: &JointFit,
) -> Option<Tell> {
    let beam_only =
        |columns: &[ShapeColumn]| columns.iter().all(|c| matches!(c.lever, Lever::Term(_)));
    if !beam_only(&fit.columns) || !beam_only(&other.columns) {
        return None;
    }
    let (lowest, highest) = station.mount.elevation_range;
    let reached = |e: &f64| (lowest..=highest).contains(&Angle::from_degrees(*e));
    let elevations: Vec<f64> = ELEVATIONS.into_iter().filter(reached).collect();
    let last = session.peaks.last()?;
    let latest = session.peaks.iter().map(|p| p.hours).fold(0.0, f64::max);
    let mut imagined = Vec::new();
    let mut said = Vec::new();
    for later in LATER_HOURS {
        for azimuth in (0..360).step_by(30) {
            for elevation in &elevations {
                for approach in [Approach::Increasing, Approach::Decreasing] {
                    let reading = EncoderReading::from_degrees(f64::from(azimuth), *elevation);
                    imagined.push(imagine(last, latest + later, reading, approach));
                    said.push((later, reading, approach));
                }
            }
        }
    }
    let sigma = fit.scatter().radians();
    let sigmas = vec![[Angle::from_radians(sigma); 2]; imagined.len()];
    let ours = JointProblem::new(&imagined, &sigmas, &fit.columns, session.mount());
    let theirs = JointProblem::new(&imagined, &sigmas, &other.columns, session.mount());
    let mut best: Option<(f64, usize)> = None;
    for (i, peak) in imagined.iter().enumerate() {
        let beam = |problem: &JointProblem<'_>, p: &[f64]| {
            let at = problem.at(i, p);
            at.mount.beam_vector(at.reading, peak.sighting.approach)
        };
        let (a, b) = (
            beam(&ours, &fit.parameters),
            beam(&theirs, &other.parameters),
        );
        let apart = SkyBasis::at(&a).offset_to(&b).size().radians() / sigma;
        // The earlier and simpler peak is preferred unless a later one is clearly better.
        if best.is_none_or(|(most, _)| apart > 1.3 * most) {
            best = Some((apart, i));
        }
    }
    let (apart, i) = best?;
    let count = (TOLD / apart).powi(2).ceil().max(1.0);
    if count > MOST_PEAKS {
        return None;
    }
    let (hours_later, reading, approach) = said[i];
    let play = |h: &Hypothesis| {
        matches!(
            h.fault(),
            Some(Fault::AzimuthBacklash | Fault::ElevationBacklash)
        )
    };
    let sided = play(&fit.hypotheses[index]) || other.hypotheses.last().is_some_and(play);
    Some(Tell::Peaks {
        count,
        azimuth: reading.azimuth,
        elevation: reading.elevation,
        hours_later,
        first_side: sided.then_some(approach),
        apart,
    })
}

/// A simulated peak like `last`, but at another time and place.
fn imagine(
    last: &SessionPeak,
    hours: f64,
    reading: EncoderReading,
    approach: Approach,
) -> SessionPeak {
    let mut peak = last.clone();
    let ahead = hours - last.hours;
    peak.hours = hours;
    peak.day_angle = last.day_angle + Angle::TURN * (ahead / 24.0);
    let read = &mut peak.sighting;
    read.target = Direction::apparent(reading.azimuth, reading.elevation).east_north_up();
    read.azimuth = Some(reading.azimuth);
    read.elevation = Some(reading.elevation);
    read.approach.azimuth = approach.sign();
    read.approach.elevation = approach.sign();
    peak
}
