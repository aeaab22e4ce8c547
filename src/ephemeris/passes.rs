//! Passes of an emitter above the horizon of a station, and its path during each.

use crate::angle::{Apparent, Direction};
use crate::sky::{EmitterId, Sky};
use crate::station::{EmitterKind, Station};
use crate::time::Utc;

/// Time ahead that is searched for passes, seconds: a whole day and night.
const AHEAD_S: f64 = 24.0 * 3600.0;
/// Step of the search, seconds: the shortest pass worth a peak is longer.
const LOOK_S: f64 = 60.0;
/// Step of the search for emitters that turn with the sky, seconds: their passes last for hours.
const SLOW_LOOK_S: f64 = 600.0;
/// Precision of rising and setting, seconds.
const FINE_S: f64 = 1.0;
/// Number of points with which a pass is drawn.
const POINTS: usize = 120;

/// A span of time in which an emitter is above the horizon of the station.
#[derive(Clone, Debug, PartialEq)]
pub struct Pass {
    /// Time of rising, or start of the search.
    pub rises: Utc,
    /// Time of setting, or end of the search.
    pub sets: Utc,
    /// Path from rising to setting.
    pub points: Vec<(Utc, Direction<Apparent>)>,
    /// Whether it was above the horizon at the start of the search.
    pub up_at_first: bool,
    /// Whether it is above the horizon at the end of the search.
    pub up_at_last: bool,
}

/// Returns the passes of an emitter from `now` on; a stationary emitter has a single pass, of an
/// hour.
pub fn passes(station: &Station, sky: &Sky, id: EmitterId, now: Utc) -> Vec<Pass> {
    let emitter = station.emitter(sky.name(id));
    let still = emitter.is_some_and(|e| e.kind.stands_still());
    let satellite = emitter.is_some_and(|e| matches!(e.kind, EmitterKind::Satellite { .. }));
    let (ahead, look) = match (still, satellite) {
        (true, _) => (3600.0, 600.0),
        (false, true) => (AHEAD_S, LOOK_S),
        (false, false) => (AHEAD_S, SLOW_LOOK_S),
    };
    let end = now.plus_seconds(ahead);
    let track = sky.track_of(id, now, end);
    let up = |time: Utc| {
        // An emitter without a direction counts as down.
        let direction = track.apparent(time).ok();
        direction.filter(|d| d.elevation() > station.horizon.lowest(d.azimuth()))
    };
    let steps = (ahead / look).ceil() as usize;
    let at = |i: usize| now.plus_seconds((i as f64 * look).min(ahead));
    let mut found = Vec::new();
    let mut rises: Option<(Utc, bool)> = None;
    for i in 0..=steps {
        let is_up = up(at(i)).is_some();
        match (is_up, rises) {
            (true, None) => {
                let rise = match i {
                    0 => (now, true),
                    _ => (edge(&up, at(i - 1), at(i)), false),
                };
                rises = Some(rise);
            }
            (false, Some((rise, first))) => {
                let sets = edge(&up, at(i), at(i - 1));
                found.push(pass(&up, rise, sets, (first, false)));
                rises = None;
            }
            _ => {}
        }
    }
    if let Some((rise, first)) = rises {
        found.push(pass(&up, rise, end, (first, true)));
    }
    found
}

/// Returns the time of a crossing of the horizon, between a time at which the emitter is down and
/// one at which it is up: the first or last second at which it is up.
fn edge(up: &dyn Fn(Utc) -> Option<Direction<Apparent>>, down: Utc, is_up: Utc) -> Utc {
    let (mut down, mut is_up) = (down, is_up);
    while is_up.seconds_since(down).abs() > FINE_S {
        let middle = down.midpoint(is_up);
        match up(middle) {
            Some(_) => is_up = middle,
            None => down = middle,
        }
    }
    is_up
}

fn pass(
    up: &dyn Fn(Utc) -> Option<Direction<Apparent>>,
    rises: Utc,
    sets: Utc,
    (up_at_first, up_at_last): (bool, bool),
) -> Pass {
    let length = sets.seconds_since(rises);
    let points = (0..=POINTS)
        .map(|i| rises.plus_seconds(length * i as f64 / POINTS as f64))
        .filter_map(|time| Some((time, up(time)?)))
        .collect();
    Pass {
        rises,
        sets,
        points,
        up_at_first,
        up_at_last,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Seconds, twice the precision of an edge: this long before rising the emitter is surely down.
    const JUST: f64 = 2.0 * FINE_S;

    #[test]
    fn a_pass_begins_and_ends_at_the_horizon() {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/station.toml");
        let station = Station::read(&path).unwrap();
        let sky = Sky::new(&station).unwrap();
        let now = Utc::parse("2026-09-12T06:00:00Z").unwrap();
        let (mut rose, mut set) = (0, 0);
        for emitter in &station.emitters {
            let id = sky.emitter(&emitter.name).unwrap();
            let up = |time: Utc| {
                let direction = sky.apparent_of(id, time).unwrap();
                direction.elevation() > station.horizon.lowest(direction.azimuth())
            };
            let found = passes(&station, &sky, id, now);
            for pass in &found {
                let name = &emitter.name;
                assert!(up(pass.rises) && up(pass.sets), "{name}");
                assert!(pass.points.len() > POINTS / 2, "{name}");
                assert!(pass.points.iter().all(|(time, _)| up(*time)), "{name}");
                if !pass.up_at_first {
                    assert!(!up(pass.rises.plus_seconds(-JUST)), "{name} rose before");
                    rose += 1;
                }
                if !pass.up_at_last {
                    assert!(!up(pass.sets.plus_seconds(JUST)), "{name} sets later");
                    set += 1;
                }
            }
            if emitter.kind.stands_still() {
                assert!(found.len() <= 1);
            }
        }
        assert!(
            rose > 2 && set > 2,
            "{rose} rises and {set} sets were tried"
        );
    }
}
