//! Which hypotheses can be tested on a session, in addition to those always fitted: what its log
//! and its station file allow.

use std::ops::RangeInclusive;
use std::sync::Arc;

use nalgebra::Vector3;

use crate::angle::Angle;
use crate::mount::{Group, Term};
use crate::sky::{Moment, Sky};
use crate::station::{EmitterKind, GearTeeth, Station};

use super::fault::FaultAxis;
use super::hypothesis::Hypothesis;
use super::joint_fit::JointFit;
use super::linearised::Linearised;
use super::log_change::zero_changes;
use super::options::TermChoice;
use super::peak::SessionPeak;
use super::session::Session;
use super::tuned::{LEAST_PEAKS_FOR_A_RIPPLE, SQUARED_SIGMAS_TO_TRY_ANOTHER_EMITTER};

/// A drift in time needs a session of this many hours: over a shorter one it cannot be separated
/// from a step. Common practice, no source.
const LEAST_HOURS: f64 = 0.5;
/// A daily cycle needs half a period, or it looks like a drift.
const LEAST_CYCLE_HOURS: f64 = 12.0;
/// Logged temperatures must differ by this much, kelvin: less moves a steel mount by no more than a
/// peak's noise. Common practice, no source.
const LEAST_KELVIN: f64 = 3.0;
/// At most this share of peaks may lack a temperature; common practice, no source.
const MOST_UNLOGGED: f64 = 0.1;
/// An emitter with a single peak is judged by that peak alone.
const LEAST_OF_EMITTER: usize = 2;
/// Patterns without a name are tested up to this many times per turn: beyond that nothing can be
/// named by its count. Common practice, no source.
const MOST_PATTERN_TIMES: u8 = 6;
/// Ripples are tested from there up to the tooth count of a large gear; common practice, no source.
const MOST_RIPPLES_PER_TURN: u16 = 400;

/// Returns everything that can be tested on this session, except steps, whose place must be
/// searched for, and ripples, whose rate must be.
pub fn candidates(station: &Station, session: &Session) -> Vec<Hypothesis> {
    let peaks = session.peaks.as_slice();
    let taken = session.base_terms();
    let kind = session.kind();
    let by_the_data = session.choice == TermChoice::ByTheData;
    let mut found = Vec::new();
    let mut term = |terms: &[Term]| {
        let free: Vec<Term> = (terms.iter().copied())
            .filter(|t| kind.has(*t) && !session.held_terms.contains(t) && !taken.contains(t))
            .collect();
        if by_the_data && free.len() == terms.len() {
            found.push(Hypothesis::Terms(free));
        }
    };
    term(&[Term::AzimuthRunoutCos, Term::AzimuthRunoutSin]);
    match kind.has_track() {
        // Its cosine part is droop.
        true => term(&[Term::ElevationRunoutSin]),
        false => term(&[Term::ElevationRunoutCos, Term::ElevationRunoutSin]),
    }
    term(&[Term::TrackWarpCos, Term::TrackWarpSin]);
    term(&[Term::AzimuthScale]);
    term(&[Term::ElevationScale]);
    term(&[Term::ClockOffset]);
    for axis in [FaultAxis::Azimuth, FaultAxis::Elevation] {
        found.push(Hypothesis::Grads(axis));
        found.push(Hypothesis::LooseDish(axis));
    }
    if kind.has_track() {
        found.push(Hypothesis::WarpThrice);
    }
    let (first, last) = span(peaks);
    if last - first >= LEAST_HOURS {
        let middle = 0.5 * (first + last);
        found.extend(
            [FaultAxis::Azimuth, FaultAxis::Elevation]
                .map(|axis| Hypothesis::Creep { axis, middle }),
        );
        found.push(Hypothesis::Settling { middle });
    }
    if let Some(mean_c) = logged_temperature(peaks) {
        found.extend(
            [FaultAxis::Azimuth, FaultAxis::Elevation]
                .map(|axis| Hypothesis::Temperature { axis, mean_c }),
        );
    } else if last - first >= LEAST_CYCLE_HOURS {
        found.extend([FaultAxis::Azimuth, FaultAxis::Elevation].map(Hypothesis::DayCycle));
    }
    let changes = zero_changes(peaks, &session.choice, &session.held_terms);
    found.extend(changes.into_iter().map(Hypothesis::LogZero));
    found.extend(teeth(FaultAxis::Azimuth, station.mount.azimuth_teeth));
    found.extend(teeth(FaultAxis::Elevation, station.mount.elevation_teeth));
    found.extend([0.0, 2.0].map(|times| Hypothesis::Air { times }));
    for (emitter, e) in station.emitters.iter().enumerate() {
        let count = peaks.iter().filter(|p| p.emitter == emitter).count();
        if matches!(e.kind, EmitterKind::Satellite { .. }) && count >= LEAST_OF_EMITTER {
            found.push(Hypothesis::Stale { emitter });
        }
    }
    found
}

/// Unnamed patterns, of each axis as a function of each reading.
pub fn patterns() -> Vec<Hypothesis> {
    let pattern = |axis, with, times| Hypothesis::Pattern { axis, with, times };
    // Twice and three times per turn of azimuth, in elevation, belong to the track; the elevation
    // reading covers only part of a turn, where twice per turn looks like a dish that flexes.
    let azimuth =
        (2..=MOST_PATTERN_TIMES).map(|k| pattern(FaultAxis::Azimuth, FaultAxis::Azimuth, k));
    let track =
        (4..=MOST_PATTERN_TIMES).map(|k| pattern(FaultAxis::Elevation, FaultAxis::Azimuth, k));
    let raised = [FaultAxis::Azimuth, FaultAxis::Elevation]
        .into_iter()
        .flat_map(|axis| [4, 6].map(|k| pattern(axis, FaultAxis::Elevation, k)));
    azimuth.chain(track).chain(raised).collect()
}

/// Rates per turn at which a ripple of an axis is searched for; empty when the gears are known or
/// the peaks are too few.
pub fn ripple_rates(
    station: &Station,
    session: &Session,
    axis: FaultAxis,
) -> Option<RangeInclusive<u16>> {
    let known = match axis {
        FaultAxis::Azimuth => station.mount.azimuth_teeth.is_some(),
        _ => station.mount.elevation_teeth.is_some(),
    };
    let least = u16::from(MOST_PATTERN_TIMES) + 1;
    (!known && session.peaks.len() >= LEAST_PEAKS_FOR_A_RIPPLE)
        .then_some(least..=MOST_RIPPLES_PER_TURN)
}

/// First and last hour of some peaks.
pub fn span(peaks: &[SessionPeak]) -> (f64, f64) {
    peaks
        .iter()
        .map(|p| p.hours)
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), hours| {
            (low.min(hours), high.max(hours))
        })
}

/// Mount terms that these peaks might need and that are not always fitted: with all of them in, no
/// good peak is rejected because its term is missing.
pub fn all_terms(station: &Station, session: &Session) -> Vec<Hypothesis> {
    (candidates(station, session).into_iter())
        .filter(|h| {
            h.group().is_some_and(|g| {
                matches!(
                    g,
                    Group::AzimuthRunout | Group::TrackWarp | Group::ElevationRunout
                )
            })
        })
        .collect()
}

/// The mean of the logged temperatures, if they vary enough to be used.
fn logged_temperature(peaks: &[SessionPeak]) -> Option<f64> {
    let logged: Vec<f64> = peaks.iter().filter_map(|p| p.temperature_c).collect();
    let missing = peaks.len() - logged.len();
    if missing as f64 > MOST_UNLOGGED * peaks.len() as f64 {
        return None;
    }
    let low = logged.iter().copied().fold(f64::INFINITY, f64::min);
    let high = logged.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    (high - low >= LEAST_KELVIN).then(|| logged.iter().sum::<f64>() / logged.len() as f64)
}

/// Once per tooth of the big gear, once per turn of the pinion.
fn teeth(axis: FaultAxis, gear: Option<GearTeeth>) -> Vec<Hypothesis> {
    let Some(gear) = gear else {
        return Vec::new();
    };
    let tooth = Hypothesis::Teeth {
        axis,
        per_turn: f64::from(gear.gear),
        pinion: false,
    };
    let pinion = gear
        .pinion
        .filter(|p| *p > 0)
        .map(|pinion| Hypothesis::Teeth {
            axis,
            per_turn: f64::from(gear.gear) / f64::from(pinion),
            pinion: true,
        });
    std::iter::once(tooth).chain(pinion).collect()
}

/// Another emitter must reduce the squared distance of the peaks by this factor: to less than half
/// the distance. Common practice, no source; the refit decides.
const NEARER: f64 = 0.25;

/// For each emitter whose peaks mostly lie off, returns the one other emitter (of the station or of
/// its element files) that fits them best, if any fits better.
pub fn relabelled(
    station: &Station,
    sky: &Sky,
    session: &Session,
    about: &JointFit,
    linearised: &Linearised,
) -> Vec<Hypothesis> {
    let mut found = Vec::new();
    for emitter in 0..station.emitters.len() {
        let members: Vec<usize> = (0..session.peaks.len())
            .filter(|i| session.peaks[*i].emitter == emitter)
            .collect();
        if members.len() < LEAST_OF_EMITTER {
            continue;
        }
        let now = members
            .iter()
            .map(|i| linearised.square_of(*i) / about.variance);
        let before = median(now.collect());
        if before < SQUARED_SIGMAS_TO_TRY_ANOTHER_EMITTER {
            continue;
        }
        if let Some((after, really, steps)) =
            best_other(station, sky, session, about, emitter, &members)
            && after < NEARER * before
        {
            found.push(Hypothesis::Relabelled {
                emitter,
                really,
                steps: Arc::new(steps),
            });
        }
    }
    found
}

/// The other emitter with the smallest median square over the members, its name, and the steps.
fn best_other(
    station: &Station,
    sky: &Sky,
    session: &Session,
    about: &JointFit,
    emitter: usize,
    members: &[usize],
) -> Option<(f64, String, Vec<Vector3<f64>>)> {
    let problem = about.problem(session);
    let own = station.emitters.len();
    let names: Vec<String> = (station.emitters.iter().map(|e| e.name.clone()))
        .chain(sky.catalogue().map(catalogue_name))
        .collect();
    let mut targets: Vec<Vec<Option<Vector3<f64>>>> = vec![Vec::new(); names.len()];
    for i in members {
        let peak = &session.peaks[*i];
        let moment = sky.at(peak.time.plus_seconds(peak.sighting.clock_offset_s));
        for (k, name) in names.iter().take(own).enumerate() {
            let there = (k != emitter)
                .then(|| sky.emitter(name))
                .flatten()
                .and_then(|id| moment.apparent(id).ok());
            targets[k].push(there.map(|d| d.east_north_up()));
        }
        for (k, there) in moment.catalogued().enumerate() {
            targets[own + k].push(there.map(|d| d.east_north_up()));
        }
    }
    let mut best: Option<(f64, usize)> = None;
    for (k, there) in targets.iter().enumerate() {
        let Some(there) = there.iter().copied().collect::<Option<Vec<_>>>() else {
            continue;
        };
        let squares: Vec<f64> = (members.iter().zip(&there))
            .map(|(i, target)| {
                let at = problem.at(*i, &about.parameters);
                let off = at.misfit_to(*target);
                let sigma = about.sigmas[*i];
                let [azimuth, elevation] = at.sighting.measured();
                let size = |measured: bool, off: Angle, sigma: Angle| {
                    if measured { off / sigma } else { 0.0 }
                };
                let x = size(azimuth, off.cross_elevation, sigma[0]);
                let y = size(elevation, off.elevation, sigma[1]);
                (x * x + y * y) / about.variance
            })
            .collect();
        let after = median(squares);
        if best.is_none_or(|(least, _)| after < least) {
            best = Some((after, k));
        }
    }
    let (after, k) = best?;
    let mut steps = vec![Vector3::zeros(); session.peaks.len()];
    for (i, target) in members.iter().zip(&targets[k]) {
        steps[*i] = (*target)? - session.peaks[*i].sighting.target;
    }
    Some((after, names[k].clone(), steps))
}

/// Name used for a satellite that is not in the station file.
pub fn catalogue_name(norad_id: u64) -> String {
    format!("satellite {norad_id} of the elements file")
}

/// Direction at some moment of the emitter of that name, or of a satellite of [`catalogue_name`].
pub fn direction_of(sky: &Sky, moment: &Moment<'_>, name: &str) -> Option<Vector3<f64>> {
    let there = match sky.emitter(name) {
        Some(id) => moment.apparent(id).ok(),
        None => (sky.catalogue().zip(moment.catalogued()))
            .find(|(id, _)| catalogue_name(*id) == name)
            .and_then(|(_, there)| there),
    };
    there.map(|d| d.east_north_up())
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}
