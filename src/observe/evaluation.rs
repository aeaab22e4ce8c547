//! Computed between two scans: the new scan, all scans together, the mount, and what to measure
//! next. A pure function that may take a while: the caller runs it in another thread, so that a
//! stop never waits for it.

use std::sync::Arc;

use super::identity::{Inquiry, Missed, NamedEmitter, Names};
use super::knowledge::{FoundEmitter, Knowledge, weighed};
use super::tuned::SIGMAS_COVERED;
use crate::angle::{Angle, EncoderReading};
use crate::ephemeris::{Reach, near_sun};
use crate::logbook::{Scan, Trust};
use crate::mount::ApproachSigns;
use crate::plan::{Known, PlanRequest, SYSTEM_TEMPERATURE_K, plan, strength};
use crate::scan::{self, Reason, ReducedScan, ScanVerdict, reduce_scans};
use crate::sky::{EmitterId, Sky};
use crate::solve::{Options, calibration, solve};
use crate::station::Station;
use crate::time::Utc;

/// Input of an evaluation.
#[derive(Clone, Debug)]
pub struct Job {
    /// The station.
    pub station: Arc<Station>,
    /// Its sky.
    pub sky: Arc<Sky>,
    /// All scans so far.
    pub scans: Arc<Vec<Scan>>,
    /// How many of the last scans are new.
    pub new: usize,
    /// Scans before this one do not apply to the mount as it is now: something slipped.
    pub since: usize,
    /// Knowledge of the mount before any scan.
    pub prior: Knowledge,
    /// When it is asked.
    pub now: Utc,
    /// When the time is over.
    pub until: Utc,
    /// What one peak takes, seconds.
    pub each_s: f64,
    /// Emitters that may be chosen.
    pub emitters: Vec<EmitterId>,
    /// Whether the user named them.
    pub named: bool,
    /// Emitters excluded for now.
    pub aside: Vec<EmitterId>,
    /// To be searched for first; else the strongest.
    pub search_on: Option<EmitterId>,
    /// Half-angle of the zone round the Sun, if it is guarded.
    pub zone: Option<Angle>,
    /// Whether the whole plan is to be listed.
    pub rehearse: bool,
    /// Whether the mount may be searched for: nothing is known of it yet.
    pub uncalibrated: bool,
    /// Largest error of the zeros; `None` if it is not given.
    pub zeros: Option<Angle>,
    /// Emitters not found where they should have been.
    pub missed: Vec<Missed>,
}

/// What a new scan gave.
#[derive(Clone, Debug)]
pub struct EvaluatedScan {
    /// As the log calls it.
    pub name: String,
    /// Its emitter.
    pub emitter: String,
    /// The verdict on it.
    pub verdict: ScanVerdict,
    /// Why, in words.
    pub why: String,
    /// The peak, when both axes were measured.
    pub found: Option<FoundEmitter>,
    /// How far it lies from where it was expected, and one standard deviation of that.
    pub off: Option<(Angle, Angle)>,
    /// Whether it shows only a flank of the peak, or less.
    pub one_flank: bool,
    /// Whether it has a flat top.
    pub saturated: bool,
    /// Height over the scatter of a sample.
    pub signal_to_noise: Option<f64>,
}

/// What solve says of all peaks so far.
#[derive(Clone, Debug)]
pub struct Solved {
    /// Expected pointing error over the reachable sky, rms.
    pub rms: Angle,
    /// The bound that it keeps in 95 % of cases.
    pub rms_95: Angle,
    /// How reliable the numbers are.
    pub trust: Trust,
}

/// What to do next.
#[derive(Clone, Debug, PartialEq)]
pub enum NextMove {
    /// This emitter, not before that time.
    Measure(EmitterId, Utc),
    /// Nothing can be measured: the reason.
    Nothing(String),
}

/// Result of an evaluation.
#[derive(Clone, Debug)]
pub struct Answer {
    /// Of the new scans.
    pub looked: Vec<EvaluatedScan>,
    /// The mount as known now.
    pub knowledge: Knowledge,
    /// Peaks that can be used.
    pub peaks: usize,
    /// The peaks file.
    pub peaks_csv: String,
    /// Solution from all peaks; `None` while there are too few.
    pub solved: Option<Solved>,
    /// Expected pointing error over the sky, now and at the end of the plan.
    pub expected: Option<(Angle, Angle)>,
    /// What to do next.
    pub next: NextMove,
    /// Scans that belong to other emitters than stated, by their index in the job's scans.
    pub renamed: Vec<(usize, EmitterId)>,
    /// Whether the identities of the emitters found are in doubt.
    pub doubtful: bool,
    /// The whole plan, a line per step, if it was asked for.
    pub rehearsal: Vec<String>,
}

/// Fewer peaks than these are not solved: no degrees of freedom would be left.
const FEWEST_SOLVED: usize = 6;
/// Distance from the emitter to which the beam runs in a scan, beamwidths.
const SCANNED: f64 = 2.0;

/// Evaluates a job.
pub fn evaluate(job: &Job) -> Answer {
    let (station, sky) = (job.station.as_ref(), job.sky.as_ref());
    let reduction = reduce_scans(&job.scans, station, sky, &scan::ReduceOptions::default());
    let beamwidth = station.dish.beamwidth;
    let found: Vec<Option<FoundEmitter>> = (reduction.scans.iter())
        .map(|scan| found(scan, beamwidth))
        .collect();
    let usable = |range: std::ops::Range<usize>| -> Vec<FoundEmitter> {
        found[range].iter().flatten().cloned().collect()
    };
    let count = found.len();
    let since = job.since.min(count);
    let knowledge = job.prior.with(&usable(since..count));
    let first_new = count - job.new.min(count);
    let before = job.prior.with(&usable(since..first_new.max(since)));
    let looked: Vec<EvaluatedScan> = (first_new..count)
        .map(|i| evaluated(&reduction.scans[i], found[i].clone(), &before))
        .collect();
    let peaks = found.iter().flatten().count();
    let mut log = reduction.peak_log();
    let solved = (log.peaks.len() >= FEWEST_SOLVED)
        .then(|| {
            log.file = "peaks so far".to_owned();
            log.files = vec![log.file.clone()];
            let outcome = solve(station, sky, &log, &Options::default()).ok()?;
            let error = outcome.sky_error.as_ref()?;
            Some(Solved {
                rms: error.rms,
                rms_95: error.rms_95,
                trust: calibration(&outcome, station, job.now).trust,
            })
        })
        .flatten();
    let searching = job.uncalibrated && usable(since..count).is_empty();
    let (next, expected) = match searching {
        true => (strongest(job, &knowledge), None),
        false => planned(job, &knowledge),
    };
    let (renamed, doubt) = names(job, &reduction.scans, &found);
    let next = match &doubt {
        Some(other) => telling(job, &knowledge, other).unwrap_or(next),
        None => next,
    };
    let rehearsal = match job.rehearse {
        true => rehearsal(job, &knowledge, &next),
        false => Vec::new(),
    };
    Answer {
        looked,
        knowledge,
        peaks,
        peaks_csv: reduction.to_csv(),
        solved,
        expected,
        next,
        renamed,
        doubtful: doubt.is_some(),
        rehearsal,
    }
}

/// Scans whose emitters differ from the stated ones; or, if that is not clear, the mount by the
/// other names.
fn names(
    job: &Job,
    scans: &[ReducedScan],
    found: &[Option<FoundEmitter>],
) -> (Vec<(usize, EmitterId)>, Option<Knowledge>) {
    let Some(zeros) = job.zeros.filter(|_| job.uncalibrated) else {
        return (Vec::new(), None);
    };
    let sky = job.sky.as_ref();
    let mut sightings: Vec<NamedEmitter> = Vec::new();
    for (scan, found) in scans.iter().zip(found).skip(job.since).rev() {
        let Ok(emitter) = sky.emitter_named(&scan.emitter) else {
            continue;
        };
        if let Some(found) = found
            && sightings.iter().all(|s| s.emitter != emitter)
        {
            sightings.push(NamedEmitter {
                emitter,
                time: scan.time,
                found: found.clone(),
            });
        }
    }
    let inquiry = Inquiry {
        sky,
        prior: &job.prior,
        zeros,
        beamwidth: job.station.dish.beamwidth,
        sightings,
        missed: &job.missed,
    };
    let others = match inquiry.names() {
        Names::Right => return (Vec::new(), None),
        Names::Doubtful(other) => return (Vec::new(), Some(*other)),
        Names::Others(others) => others,
    };
    let renamed = (job.scans.iter().enumerate().skip(job.since))
        .filter_map(|(i, scan)| {
            let middle = scan.samples.get(scan.samples.len() / 2)?;
            let reading = match &found[i] {
                Some(found) => found.reading,
                None => EncoderReading {
                    azimuth: middle.azimuth,
                    elevation: middle.elevation,
                },
            };
            let room = job.station.dish.beamwidth * SCANNED;
            let really = inquiry.stands_at(&others, reading, middle.time, room)?;
            (sky.name(really) != scan.emitter).then_some((i, really))
        })
        .collect();
    (renamed, None)
}

/// Picks an emitter whose expected place differs between the two sets of names.
fn telling(job: &Job, knowledge: &Knowledge, other: &Knowledge) -> Option<NextMove> {
    let sky = job.sky.as_ref();
    let beamwidth = job.station.dish.beamwidth;
    let reach = Reach::new(&job.station, knowledge.model());
    let inquiry = Inquiry {
        sky,
        prior: &job.prior,
        zeros: Angle::ZERO,
        beamwidth,
        sightings: Vec::new(),
        missed: &[],
    };
    let measured = |id: &EmitterId| job.scans.iter().any(|scan| scan.emitter == sky.name(*id));
    (job.emitters.iter().copied())
        .filter(|id| !measured(id) && !job.aside.contains(id) && *id != sky.sun())
        .filter(|id| is_clear_of_sun(job, *id, beamwidth * SCANNED))
        .find(|id| {
            let Ok(direction) = sky.apparent_of(*id, job.now) else {
                return false;
            };
            let reading = (knowledge.model()).readings(&direction, ApproachSigns::UNKNOWN);
            let Ok(reading) = reading.map(|both| both.direct) else {
                return false;
            };
            let room = beamwidth * 2.0 + Angle::from_degrees(2.0);
            reach.obstacle(&direction).is_none()
                && inquiry.stands_at(other, reading, job.now, room).is_none()
        })
        .map(|id| NextMove::Measure(id, job.now))
}

/// The peak of a scan, when both axes were measured and it can be trusted.
fn found(scan: &ReducedScan, beamwidth: Angle) -> Option<FoundEmitter> {
    let (one, other) = (scan.azimuth.as_ref()?, scan.elevation.as_ref()?);
    if scan.verdict == ScanVerdict::Refused || scan.reasons.iter().any(Reason::doubts_emitter) {
        return None;
    }
    Some(FoundEmitter {
        reading: EncoderReading {
            azimuth: one.reading,
            elevation: other.reading,
        },
        target: scan.apparent,
        sigma: [one, other].map(|axis| Some(weighed(axis.sigma, beamwidth))),
    })
}

fn evaluated(scan: &ReducedScan, found: Option<FoundEmitter>, before: &Knowledge) -> EvaluatedScan {
    let off = found.as_ref().map(|found| {
        let beam = (before.model()).beam(found.reading, ApproachSigns::UNKNOWN);
        let off = beam.separation(&found.target);
        let [across, up] = before.spread_at(found.reading).map(Angle::radians);
        let own = found.sigma.map(|s| s.map_or(0.0, Angle::radians));
        let variance = across * across + up * up + own[0] * own[0] + own[1] * own[1];
        (off, Angle::from_radians(variance.sqrt()))
    });
    let is = |test: fn(&Reason) -> bool| scan.reasons.iter().any(test);
    EvaluatedScan {
        name: scan.name.clone(),
        emitter: scan.emitter.clone(),
        verdict: scan.verdict,
        why: scan.why(),
        found,
        off,
        one_flank: is(|r| {
            matches!(
                r,
                Reason::OneFlank { .. }
                    | Reason::NearEnd { .. }
                    | Reason::NoSignal { axis: Some(_), .. }
            )
        }),
        saturated: is(|r| matches!(r, Reason::FlatTop { .. })),
        signal_to_noise: scan.signal_to_noise,
    }
}

/// Whether scans of an emitter keep clear of the zone round the Sun.
fn is_clear_of_sun(job: &Job, id: EmitterId, room: Angle) -> bool {
    let Some(zone) = job.zone else { return true };
    let up =
        (job.sky.apparent_of(job.sky.sun(), job.now)).is_ok_and(|s| s.elevation() > Angle::ZERO);
    let sun = job.sky.at(job.now).sun_distance(id).unwrap_or(Angle::ZERO);
    !up || id == job.sky.sun() || sun > zone + room
}

/// The most informative measurement, by the plan.
fn planned(job: &Job, knowledge: &Knowledge) -> (NextMove, Option<(Angle, Angle)>) {
    let (station, sky) = (job.station.as_ref(), job.sky.as_ref());
    let left_s = job.until.seconds_since(job.now);
    if left_s < job.each_s {
        return (NextMove::Nothing("the time is over".to_owned()), None);
    }
    let known = Known::of(
        knowledge.calibration(station, job.now),
        "what is known so far",
    );
    let known = match known {
        Ok(known) => known,
        Err(error) => return (NextMove::Nothing(error.to_string()), None),
    };
    let room = station.dish.beamwidth * SCANNED;
    let offered: Vec<EmitterId> = (job.emitters.iter().copied())
        .filter(|id| !job.aside.contains(id) && is_clear_of_sun(job, *id, room))
        .collect();
    let without_sun: Vec<EmitterId> = (offered.iter().copied())
        .filter(|id| *id != sky.sun())
        .collect();
    // The Sun takes long: each cut with its pause.
    let choices = match job.named || without_sun.is_empty() {
        true => vec![offered],
        false => vec![without_sun, offered],
    };
    let mut why = String::new();
    for emitters in choices {
        let request = PlanRequest {
            every_s: job.each_s,
            most: 1,
            emitters,
            named: job.named,
            sigma: Some(weighed(
                station.dish.beamwidth * 0.01,
                station.dish.beamwidth,
            )),
            ..PlanRequest::new(sky, job.now, job.now.plus_seconds(1.01 * job.each_s))
        };
        match plan(station, sky, &known, &request) {
            Ok(plan) => {
                let Some(step) = plan.steps.first() else {
                    continue;
                };
                let at = step.candidate.time.plus_seconds(-0.5 * job.each_s);
                return (
                    NextMove::Measure(step.candidate.emitter, at),
                    Some(plan.error),
                );
            }
            Err(error) => why = error.to_string(),
        }
    }
    (NextMove::Nothing(why), None)
}

/// All steps from now on, with their times and their readings as far as they are known.
fn rehearsal(job: &Job, knowledge: &Knowledge, next: &NextMove) -> Vec<String> {
    let (station, sky) = (job.station.as_ref(), job.sky.as_ref());
    let mut lines = Vec::new();
    let between = |(low, high): (Angle, Angle)| (low + high) / 2.0;
    let middle = EncoderReading {
        azimuth: between(station.mount.azimuth_range),
        elevation: between(station.mount.elevation_range),
    };
    if let (true, NextMove::Measure(id, at)) = (job.uncalibrated, next) {
        lines.push(format!(
            "{at} search for {}, within some {:.0} deg of its place, until it is found",
            sky.name(*id),
            knowledge.spread_at(middle)[1].degrees() * SIGMAS_COVERED
        ));
    }
    let known = match Known::of(
        knowledge.calibration(station, job.now),
        "what is known so far",
    ) {
        Ok(known) => known,
        Err(error) => return vec![error.to_string()],
    };
    let emitters: Vec<EmitterId> = (job.emitters.iter().copied())
        .filter(|id| job.named || *id != sky.sun())
        .collect();
    let request = PlanRequest {
        every_s: job.each_s,
        emitters,
        named: job.named,
        sigma: Some(weighed(
            station.dish.beamwidth * 0.01,
            station.dish.beamwidth,
        )),
        ..PlanRequest::new(sky, job.now, job.until)
    };
    match plan(station, sky, &known, &request) {
        Ok(plan) => {
            for step in &plan.steps {
                let [one, two] = [step.reading.azimuth, step.reading.elevation].map(Angle::degrees);
                lines.push(format!(
                    "{} {}: readings about {one:.1} {two:.1}, a cross both ways along each axis; \
                     then {:.2} deg are left of the pointing error",
                    step.candidate.time,
                    step.candidate.name,
                    step.left.degrees()
                ));
            }
            lines.push(format!(
                "expected pointing error over the sky: {:.2} deg now, {:.2} deg after all this; after \
                 each peak the rest is planned anew",
                plan.error.0.degrees(),
                plan.error.1.degrees()
            ));
        }
        Err(error) => lines.push(error.to_string()),
    }
    lines
}

/// The strongest emitter that the mount reaches, to be searched for.
fn strongest(job: &Job, knowledge: &Knowledge) -> NextMove {
    /// Here a search is neither cut off by the ranges nor as wide as near the zenith.
    const GOOD: (f64, f64) = (20.0, 60.0);
    let (station, sky) = (job.station.as_ref(), job.sky.as_ref());
    let reach = Reach::new(station, knowledge.model());
    let mut best: Option<(f64, EmitterId)> = None;
    let mut why = Vec::new();
    for id in job
        .emitters
        .iter()
        .copied()
        .filter(|id| !job.aside.contains(id))
    {
        let name = sky.name(id);
        let Ok(direction) = sky.apparent_of(id, job.now) else {
            continue;
        };
        if let Some(obstacle) = reach.obstacle(&direction) {
            let words = obstacle.words_on(station.mount.geometry.kind());
            why.push(format!("{name} ({words})"));
            continue;
        }
        let sun = sky.at(job.now).sun_distance(id).unwrap_or(Angle::ZERO);
        if id != sky.sun() && sun < near_sun(station) {
            why.push(format!("{name} (near the Sun)"));
            continue;
        }
        let elevation = direction.elevation().degrees();
        let rate = sky.rate_of(id, job.now).unwrap_or(0.0) / station.dish.beamwidth.degrees();
        let mut worth = match station.emitter(name) {
            _ if job.search_on == Some(id) => 1e6,
            Some(emitter) => match strength(&station.dish, emitter, SYSTEM_TEMPERATURE_K) {
                Some(strength) => strength.decibels,
                // A transmitter built to be received is strong.
                None => 15.0,
            },
            None => 0.0,
        };
        // A search round it would be cut off by the zone round the Sun.
        let reading = (knowledge.model()).readings(&direction, ApproachSigns::UNKNOWN);
        let half = reading.map_or([Angle::ZERO; 2], |r| knowledge.spread_at(r.direct));
        if !is_clear_of_sun(job, id, half[0].max(half[1]) * 2.0) {
            worth -= 40.0;
        }
        // The Sun may only be passed over for seconds at a time; what runs is harder to search for.
        if id == sky.sun() {
            worth -= 30.0;
        }
        worth -= 10.0 * rate.min(3.0);
        if elevation < GOOD.0 {
            worth -= 0.5 * (GOOD.0 - elevation);
        }
        if elevation > GOOD.1 {
            worth -= 0.5 * (elevation - GOOD.1);
        }
        if best.is_none_or(|(most, _)| worth > most) {
            best = Some((worth, id));
        }
    }
    match best {
        Some((_, id)) => NextMove::Measure(id, job.now),
        None => NextMove::Nothing(format!(
            "no emitter can be searched for now: {}",
            match why.is_empty() {
                true => "all that are up were tried".to_owned(),
                false => why.join(", "),
            }
        )),
    }
}
