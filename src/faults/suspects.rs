//! Which causes a session can be suspected of: what its log and its station file allow to ask.

use std::sync::Arc;

use nalgebra::Vector3;

use crate::sky::Sky;
use crate::station::{EmitterKind, GearTeeth, Station};

use super::case::Case;
use super::cause::Cause;
use super::ground::{Ground, State};
use super::look::{Look, generous_misfit};
use super::name::Axis;

/// A drift in time needs a session of so many hours.
const LEAST_HOURS: f64 = 0.5;
/// A daily cycle needs a good part of a day, or it is no other than a drift.
const LEAST_CYCLE_HOURS: f64 = 12.0;
/// Temperatures must differ by so much, kelvin, and be logged for nearly all peaks.
const LEAST_KELVIN: f64 = 3.0;
const MOST_UNLOGGED: f64 = 0.1;
/// With one peak from a side, play could be that peak's own error.
const LEAST_APPROACHES: usize = 2;
/// A satellite with one peak only is judged by that peak alone.
const LEAST_OF_EMITTER: usize = 2;

/// All causes that this session can be asked for, beside those whose place must be searched.
pub fn suspects(station: &Station, ground: &Ground) -> Vec<Cause> {
    let cases = ground.cases.as_slice();
    let mut found = Vec::new();
    for axis in [Axis::Azimuth, Axis::Elevation] {
        if both_sides(cases, axis) {
            found.push(Cause::Backlash(axis));
        }
        found.push(Cause::Runout(axis));
        found.push(Cause::Scale(axis));
        found.push(Cause::Grads(axis));
        found.push(Cause::LooseDish(axis));
    }
    found.extend([2, 3].map(|times| Cause::Warp { times }));
    let hours = cases.iter().map(|c| c.hours);
    let (first, last) = (
        hours.clone().fold(f64::INFINITY, f64::min),
        hours.fold(0.0, f64::max),
    );
    if last - first >= LEAST_HOURS {
        let middle = 0.5 * (first + last);
        found.extend([Axis::Azimuth, Axis::Elevation].map(|axis| Cause::Creep { axis, middle }));
        found.push(Cause::Settling { middle });
    }
    if let Some(mean_c) = logged_temperature(cases) {
        found.extend(
            [Axis::Azimuth, Axis::Elevation].map(|axis| Cause::Temperature { axis, mean_c }),
        );
    } else if last - first >= LEAST_CYCLE_HOURS {
        found.extend([Axis::Azimuth, Axis::Elevation].map(Cause::DayCycle));
    }
    found.extend(teeth(Axis::Azimuth, station.mount.azimuth_teeth));
    found.extend(teeth(Axis::Elevation, station.mount.elevation_teeth));
    found.push(Cause::Clock);
    found.extend([0.0, 2.0].map(|times| Cause::Air { times }));
    for (emitter, e) in station.emitters.iter().enumerate() {
        let count = cases.iter().filter(|c| c.emitter == emitter).count();
        if matches!(e.kind, EmitterKind::Satellite { .. }) && count >= LEAST_OF_EMITTER {
            found.push(Cause::Stale {
                emitter,
                name: e.name.clone(),
            });
        }
    }
    found
}

fn both_sides(cases: &[Case], axis: Axis) -> bool {
    let sign = |c: &Case| match axis {
        Axis::Azimuth => c.observation.approach().azimuth,
        _ => c.observation.approach().elevation,
    };
    let up = cases.iter().filter(|c| sign(c) > 0.0).count();
    let down = cases.iter().filter(|c| sign(c) < 0.0).count();
    up.min(down) >= LEAST_APPROACHES
}

/// The mean of the logged temperatures, when they are worth asking.
fn logged_temperature(cases: &[Case]) -> Option<f64> {
    let logged: Vec<f64> = (cases.iter())
        .filter_map(|c| c.observation.peak.temperature_c)
        .collect();
    let missing = cases.len() - logged.len();
    if missing as f64 > MOST_UNLOGGED * cases.len() as f64 {
        return None;
    }
    let low = logged.iter().copied().fold(f64::INFINITY, f64::min);
    let high = logged.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    (high - low >= LEAST_KELVIN).then(|| logged.iter().sum::<f64>() / logged.len() as f64)
}

/// Once per tooth of the big gear, once per turn of the pinion.
fn teeth(axis: Axis, gear: Option<GearTeeth>) -> Vec<Cause> {
    let Some(gear) = gear else {
        return Vec::new();
    };
    let tooth = Cause::Teeth {
        axis,
        per_turn: f64::from(gear.gear),
        pinion: false,
    };
    let pinion = gear.pinion.filter(|p| *p > 0).map(|pinion| Cause::Teeth {
        axis,
        per_turn: f64::from(gear.gear) / f64::from(pinion),
        pinion: true,
    });
    std::iter::once(tooth).chain(pinion).collect()
}

/// How far typical peaks of an emitter must lie off, in squared sigmas, before another emitter
/// is tried in its place.
const SUSPICIOUS: f64 = 9.0;
/// Another emitter must bring them nearer by this factor, squared.
const NEARER: f64 = 0.25;

/// For each emitter whose peaks mostly lie off, the one other (of the station or of its
/// element files) that fits them best, if any fits better.
pub fn relabelled(station: &Station, sky: &Sky, ground: &Ground, state: &State) -> Vec<Cause> {
    let look = ground.look(state, &[]);
    let mut found = Vec::new();
    for (emitter, logged) in station.emitters.iter().enumerate() {
        let members: Vec<usize> = (0..ground.cases.len())
            .filter(|i| ground.cases[*i].emitter == emitter)
            .collect();
        if members.len() < LEAST_OF_EMITTER {
            continue;
        }
        let now = members.iter().map(|i| square(&look, *i) / state.variance);
        let before = median(now.collect());
        if before < SUSPICIOUS {
            continue;
        }
        if let Some((after, really, steps)) =
            best_other(station, sky, ground, state, emitter, &members)
            && after < NEARER * before
        {
            found.push(Cause::Relabelled {
                emitter,
                logged: logged.name.clone(),
                really,
                steps: Arc::new(steps),
            });
        }
    }
    found
}

/// The other emitter that leaves the members' median square smallest, its name, and the steps.
fn best_other(
    station: &Station,
    sky: &Sky,
    ground: &Ground,
    state: &State,
    emitter: usize,
    members: &[usize],
) -> Option<(f64, String, Vec<Vector3<f64>>)> {
    let explanation = ground.explanation(&state.columns, &state.sigmas);
    let own = station.emitters.len();
    let names: Vec<String> = (station.emitters.iter().map(|e| e.name.clone()))
        .chain(sky.catalogue().map(catalogue_name))
        .collect();
    let mut targets: Vec<Vec<Option<Vector3<f64>>>> = vec![Vec::new(); names.len()];
    for i in members {
        let o = &ground.cases[*i].observation;
        let moment = sky.at(o.peak.time.plus_seconds(o.clock_offset_s));
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
                let mut at = explanation.at(*i, &state.parameters);
                at.target = *target;
                let o = &ground.cases[*i].observation;
                let off = generous_misfit(&at, o.approach());
                let sigma = state.sigmas[*i];
                let x = o
                    .peak
                    .azimuth
                    .map_or(0.0, |_| off.cross_elevation / sigma[0]);
                let y = o.peak.elevation.map_or(0.0, |_| off.elevation / sigma[1]);
                (x * x + y * y) / state.variance
            })
            .collect();
        let after = median(squares);
        if best.is_none_or(|(least, _)| after < least) {
            best = Some((after, k));
        }
    }
    let (after, k) = best?;
    let mut steps = vec![Vector3::zeros(); ground.cases.len()];
    for (i, target) in members.iter().zip(&targets[k]) {
        steps[*i] = (*target)? - ground.cases[*i].observation.target;
    }
    Some((after, names[k].clone(), steps))
}

/// How a satellite that is not in the station file is called.
pub fn catalogue_name(norad_id: u64) -> String {
    format!("satellite {norad_id} of the elements file")
}

fn square(look: &Look, peak: usize) -> f64 {
    look.rows_of(peak)
        .map(|r| look.residuals()[r].powi(2))
        .sum()
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}
