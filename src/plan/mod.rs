//! What to observe, when and in which order, and how well each mount error would then be known: the
//! command `plan`.
//!
//! A span is divided into slots of one peak each. Every emitter of the station that can be observed
//! in a slot is a candidate; a search picks one candidate per slot to minimise the pointing error
//! left over the whole reachable sky, with a small penalty on long moves.

mod candidates;
mod design;
mod effect;
mod known;
mod one_emitter;
mod sheet;
mod strength;
#[cfg(test)]
mod tests;
mod tuned;

use crate::angle::Angle;
use crate::mount::{ApproachSigns, Group, Kind, Term};
use crate::problem::Error;
use crate::sky::{EmitterId, Sky};
use crate::station::{Sensor, Station};
use crate::text::some_of;
use crate::time::Utc;

pub use candidates::{Candidate, PassedOver};
use candidates::{Judge, Offer, offer};
use design::Design;
pub use known::Known;
pub use one_emitter::{Alone, Return};
pub use strength::{FAINTEST_DB, SYSTEM_TEMPERATURE_K, Strength, strength};

/// Accuracy of a peak centred by hand as a share of the beamwidth, one standard deviation per axis
/// (common practice, no source).
const BY_HAND: f64 = 1.0 / 20.0;
/// The usual number of peaks in a plan: an evening's work. Twice as many do not halve any error.
/// Common practice, no source.
const USUAL_MOST: usize = 40;
/// A term counts as determined when the peaks leave less than this share of its previous
/// uncertainty; common practice, no source.
const TOLD: f64 = 0.5;

/// Request for a plan.
#[derive(Clone, Debug)]
pub struct PlanRequest {
    /// Beginning of the span.
    pub from: Utc,
    /// Its end.
    pub to: Utc,
    /// Seconds per peak, including the move to it.
    pub every_s: f64,
    /// Largest number of peaks.
    pub most: usize,
    /// Emitters to choose from; named ones are used even if they seem too faint.
    pub emitters: Vec<EmitterId>,
    /// Whether the user named them.
    pub named: bool,
    /// Terms to be determined; `None` for the basic terms with axis skew and droop, and those of
    /// the calibration.
    pub terms: Option<Vec<Term>>,
    /// One standard deviation of a peak per axis on the sky, if known.
    pub sigma: Option<Angle>,
    /// Lowest elevation of a peak.
    pub lowest: Angle,
    /// System noise temperature (receiver, feed and sky), kelvin, if known.
    pub system_temperature_k: Option<f64>,
}

impl PlanRequest {
    /// A request for a span, with defaults for everything else.
    pub fn new(sky: &Sky, from: Utc, to: Utc) -> PlanRequest {
        PlanRequest {
            from,
            to,
            every_s: 300.0,
            most: USUAL_MOST,
            emitters: sky.emitters().collect(),
            named: false,
            terms: None,
            sigma: None,
            lowest: Angle::from_degrees(10.0),
            system_temperature_k: None,
        }
    }
}

/// One peak to take.
#[derive(Clone, Debug)]
pub struct Step {
    /// Time, emitter and its direction.
    pub candidate: Candidate,
    /// Expected encoder readings, as far as the mount is known.
    pub reading: crate::angle::EncoderReading,
    /// Sides from which to arrive; zero where the side does not matter as long as it is always the
    /// same.
    pub approach: ApproachSigns,
    /// The larger of the two axes' moves from the previous step; `None` for the first.
    pub way: Option<Angle>,
    /// Remaining pointing error over the sky, rms, after this step.
    pub left: Angle,
    /// The term that depends most on this peak, and the relative increase of its uncertainty
    /// without the peak (0.2 for a fifth).
    pub tells: (Term, f64),
}

/// Predicted uncertainty of one term.
#[derive(Clone, Copy, Debug)]
pub struct Prediction {
    /// The term.
    pub term: Term,
    /// One standard deviation before the plan, internal units; what anyone would notice by eye when
    /// there is no calibration.
    pub before: f64,
    /// The same after it.
    pub after: f64,
    /// Whether the peaks would determine it.
    pub told: bool,
}

/// The plan.
#[derive(Clone, Debug)]
pub struct Plan {
    /// The kind of mount.
    pub mount: Kind,
    /// Sensors of the axes whose readings are not in degrees.
    pub sensors: [Option<Sensor>; 2],
    /// In order of time.
    pub steps: Vec<Step>,
    /// For each term requested.
    pub predictions: Vec<Prediction>,
    /// Where one more peak would help terms that stay undetermined, in words; empty when all are
    /// determined.
    pub to_tell: String,
    /// Pointing error over the reachable sky, rms, before and after.
    pub error: (Angle, Angle),
    /// One standard deviation of a peak per axis.
    pub sigma: Angle,
    /// Seconds between steps.
    pub every_s: f64,
    /// Emitters without a step, and why.
    pub passed_over: Vec<PassedOver>,
    /// Assumptions.
    pub assumed: Vec<String>,
    /// Warnings about the positions on the sky.
    pub warnings: Vec<String>,
    /// Further advice when only one emitter of the sky can be observed.
    pub alone: Option<Alone>,
}

impl Plan {
    /// Numbers of the steps, counted from 0, at which a new visit starts: the first, and each that
    /// does not follow directly on the previous one.
    pub fn visits(&self) -> Vec<usize> {
        let pause = |i: usize| {
            let time = |k: usize| self.steps[k].candidate.time;
            time(i).seconds_since(time(i - 1)) > 1.5 * self.every_s
        };
        (0..self.steps.len())
            .filter(|i| *i == 0 || pause(*i))
            .collect()
    }

    /// Terms that the planned peaks would not determine.
    pub fn not_separable(&self) -> Vec<Term> {
        (self.predictions.iter())
            .filter(|p| !p.told)
            .map(|p| p.term)
            .collect()
    }
}

/// Makes the plan.
///
/// # Errors
/// A span too short for a single peak, or one in which no emitter can be observed.
pub fn plan(
    station: &Station,
    sky: &Sky,
    known: &Known,
    request: &PlanRequest,
) -> Result<Plan, Error> {
    let mut slots = slots(request)?;
    let mut assumed = Vec::new();
    let terms = terms(station.mount.kind(), known, request, &mut assumed);
    let sigma = sigma(station, known, request, &mut assumed);
    let mut offer = offer(station, sky, known, request, &slots);
    assumed.extend(offer.assumed.iter().cloned());
    if let Some(fixed) = station.mount.fixed_declination {
        assumed.push(format!(
            "the declination axis has no motor and stands at {:.2} deg: what is said of it holds when \
             each peak is found in declination too, by hand on its bolt; leave declination_deg empty \
             where it is not",
            fixed.degrees()
        ));
    }
    let judge = Judge::new(station, sky, known, request, (request.from, request.to));
    if offer.candidates.is_empty() {
        let next = one_emitter::next_up(&judge, request, &offer.heard);
        return Err(Error::Unsupported(nothing_to_observe(
            request, &offer, &next,
        )));
    }
    let only = one_emitter::only_one(&judge, &offer.candidates);
    if let Some(spread) = only.and_then(|only| one_emitter::visits(&judge, request, only)) {
        offer.candidates = spread;
        slots.every_s = request.every_s;
    }
    let design = Design::new(station, known, &terms, sigma, &offer.candidates);
    let chosen = design.search();
    let steps = design.steps(&chosen);
    let after = design.covariance_of(&chosen);
    let by_peaks = design.covariance_by_peaks(known, &chosen);
    let predictions: Vec<Prediction> = (terms.iter().enumerate())
        .map(|(i, term)| {
            let before = known.spread(*term, station.dish.beamwidth);
            let after = by_peaks[(i, i)].max(0.0).sqrt();
            Prediction {
                term: *term,
                before,
                // The limit from visual inspection still holds when the peaks give a larger one.
                after: after.min(before),
                told: told(station, known, *term, after),
            }
        })
        .collect();
    let untold: Vec<usize> = (0..terms.len()).filter(|i| !predictions[*i].told).collect();
    let alone = only.and_then(|_| {
        one_emitter::outlook(
            station,
            sky,
            known,
            request,
            (&terms, sigma),
            &offer,
            &steps,
        )
    });
    Ok(Plan {
        mount: station.mount.kind(),
        sensors: station.mount.sensors.clone(),
        alone,
        to_tell: design.what_would_tell(&after, &untold),
        predictions,
        error: (
            design.error(&design.prior_covariance()),
            design.error(&after),
        ),
        sigma,
        every_s: slots.every_s,
        passed_over: offer.passed_over(sky, &steps, request),
        steps,
        assumed,
        warnings: offer.warnings,
    })
}

/// Whether peaks that leave a term uncertain by `after` determine it.
fn told(station: &Station, known: &Known, term: Term, after: f64) -> bool {
    after < TOLD * known.spread(term, station.dish.beamwidth) || known.tells(term)
}

/// The middles of the slots.
struct Slots {
    times: Vec<Utc>,
    every_s: f64,
}

fn slots(request: &PlanRequest) -> Result<Slots, Error> {
    let span = request.to.seconds_since(request.from);
    if span <= 0.0 {
        return Err(Error::Usage(format!(
            "the span ends ({}) no later than it begins ({}): choose a later --to or an earlier \
             --from",
            request.to, request.from
        )));
    }
    if request.every_s.is_nan() || request.every_s <= 0.0 {
        return Err(Error::Usage(format!(
            "a peak takes {} s: choose a longer --each",
            request.every_s
        )));
    }
    let fit = (span / request.every_s + 1e-9).floor() as usize;
    if fit == 0 {
        return Err(Error::Usage(format!(
            "the span of {:.0} minutes is shorter than one peak takes ({:.1} minutes): choose a \
             longer span or a shorter --each",
            span / 60.0,
            request.every_s / 60.0
        )));
    }
    let count = fit.min(request.most);
    let every_s = if count < fit {
        span / count as f64
    } else {
        request.every_s
    };
    let times = (0..count)
        .map(|i| request.from.plus_seconds((i as f64 + 0.5) * every_s))
        .collect();
    Ok(Slots { times, every_s })
}

fn terms(
    mount: Kind,
    known: &Known,
    request: &PlanRequest,
    assumed: &mut Vec<String>,
) -> Vec<Term> {
    if let Some(terms) = &request.terms {
        return terms.clone();
    }
    let mut terms: Vec<Term> = Term::BASIC.to_vec();
    terms.extend(Group::AxisSkew.terms().chain(Group::Droop.terms()));
    terms.extend(known.terms());
    terms.sort();
    terms.dedup();
    assumed.push(format!(
        "the plan is made for the terms below; --terms chooses others, such as +{}",
        mount.term_name(Term::AzimuthBacklash)
    ));
    terms
}

fn sigma(
    station: &Station,
    known: &Known,
    request: &PlanRequest,
    assumed: &mut Vec<String>,
) -> Angle {
    if let Some(sigma) = request.sigma {
        return sigma;
    }
    let (sigma, why) = match known.peak_sigma() {
        Some(sigma) => (sigma, "as those of the calibration"),
        None => (
            station.dish.beamwidth * BY_HAND,
            "a twentieth of the beamwidth",
        ),
    };
    assumed.push(format!(
        "a peak is good to {:.3} deg an axis, {why} (give --sigma)",
        sigma.degrees()
    ));
    sigma
}

fn nothing_to_observe(request: &PlanRequest, offer: &Offer, next: &str) -> String {
    let mut alike: Vec<(&str, Vec<&str>)> = Vec::new();
    for over in &offer.reasons {
        match alike.iter_mut().find(|(why, _)| *why == over.why) {
            Some((_, names)) => names.push(&over.emitter),
            None => alike.push((&over.why, vec![&over.emitter])),
        }
    }
    let reasons: Vec<String> = (alike.iter())
        .map(|(why, names)| format!("{} ({why})", some_of(names)))
        .collect();
    let reasons = match reasons.is_empty() {
        true => "the station file has no emitter".to_owned(),
        false => reasons.join("; "),
    };
    let help = match next.is_empty() {
        true => String::new(),
        false => format!("\n  help: {next}"),
    };
    format!(
        "nothing can be observed from {} to {}: {reasons}{help}",
        request.from, request.to
    )
}
