//! Where the emitters are now, and the passes of one.

use serde::Serialize;

use crate::angle::{Angle, Apparent, Direction};
use crate::explain::{ErrorField, SkyError};
use crate::number;
use crate::problem::printable;
use crate::report::{SUN_CAUTION, loss_words, minute_words};
use crate::sky::{EmitterId, Sky};
use crate::station::{Emitter, EmitterKind, Station};
use crate::time::Utc;

/// So far ahead passes are looked for, seconds: a night and the next one.
const AHEAD_S: f64 = 24.0 * 3600.0;
/// Between looks at where an emitter is: the shortest pass worth a peak is longer.
const LOOK_S: f64 = 60.0;
/// Rising and setting are told to the second.
const FINE_S: f64 = 1.0;
/// Points of a pass that is drawn.
const POINTS: usize = 120;
/// What turns with the sky is followed for its whole way; its looks may be farther apart.
const SLOW_LOOK_S: f64 = 600.0;

/// An emitter as a page lists it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct EmitterView {
    name: String,
    kind: &'static str,
    up: bool,
    /// Where it stands now; none where its place is not known.
    azimuth_shown: Option<String>,
    elevation_shown: Option<String>,
    sets: Option<String>,
    rises: Option<String>,
    problem: Option<String>,
    /// The Sun's, before a dish is brought to it.
    caution: Option<&'static str>,
}

/// A stretch of time in which an emitter stands above the horizon of the station.
#[derive(Clone, Debug, PartialEq)]
pub struct Pass {
    /// When it rises, or when the look ahead began.
    pub rises: Utc,
    /// When it sets, or when the look ahead ended.
    pub sets: Utc,
    /// Where it goes, from rise to set.
    pub points: Vec<(Utc, Direction<Apparent>)>,
    /// Whether it stood above the horizon at the beginning.
    up_at_first: bool,
    /// Whether it does at the end.
    up_at_last: bool,
}

/// The same as a page lists it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PassView {
    index: usize,
    rises_utc: String,
    rises_shown: String,
    sets_utc: String,
    sets_shown: String,
    highest_deg: f64,
    highest_shown: String,
    worst_loss_db: Option<f64>,
    worst_loss_shown: String,
}

/// What an emitter is, for a page.
fn kind_word(kind: &EmitterKind) -> &'static str {
    match kind {
        EmitterKind::Sun => "sun",
        EmitterKind::Moon => "moon",
        EmitterKind::Satellite { .. } => "satellite",
        EmitterKind::RadioSource { .. } => "radio source",
        EmitterKind::Beacon { .. } => "beacon",
        EmitterKind::Geostationary { .. } => "geostationary satellite",
        EmitterKind::Mark { .. } => "mark",
    }
}

/// All emitters, and where they are at `now`.
pub fn emitters(station: &Station, sky: &Sky, now: Utc) -> Vec<EmitterView> {
    (station.emitters.iter())
        .map(|emitter| emitter_view(station, sky, emitter, now))
        .collect()
}

fn emitter_view(station: &Station, sky: &Sky, emitter: &Emitter, now: Utc) -> EmitterView {
    let mut view = EmitterView {
        name: printable(&emitter.name),
        kind: kind_word(&emitter.kind),
        up: false,
        azimuth_shown: None,
        elevation_shown: None,
        sets: None,
        rises: None,
        problem: None,
        caution: matches!(emitter.kind, EmitterKind::Sun).then_some(SUN_CAUTION),
    };
    let Some(id) = sky.emitter(&emitter.name) else {
        return view;
    };
    match sky.apparent_of(id, now) {
        Ok(direction) => {
            let shown = |angle: Angle| number::typographic(&number::fixed(angle.degrees(), 1));
            view.up = direction.elevation() > station.horizon.lowest(direction.azimuth());
            view.azimuth_shown = Some(shown(direction.azimuth()));
            view.elevation_shown = Some(shown(direction.elevation()));
        }
        Err(why) => view.problem = Some(printable(&why.to_string())),
    }
    if stands_still(&emitter.kind) {
        return view;
    }
    let passes = passes(station, sky, id, now);
    if let Some(first) = passes.first() {
        match first.up_at_first {
            true if first.up_at_last => {}
            true => view.sets = Some(minute_words(first.sets)),
            false => view.rises = Some(minute_words(first.rises)),
        }
    }
    view
}

/// Whether an emitter never rises or sets.
fn stands_still(kind: &EmitterKind) -> bool {
    matches!(
        kind,
        EmitterKind::Beacon { .. } | EmitterKind::Geostationary { .. } | EmitterKind::Mark { .. }
    )
}

/// The passes of an emitter from `now` on. One that stands still has a single one, of an hour.
pub fn passes(station: &Station, sky: &Sky, id: EmitterId, now: Utc) -> Vec<Pass> {
    let emitter = station.emitter(sky.name(id));
    let still = emitter.is_some_and(|e| stands_still(&e.kind));
    let satellite = emitter.is_some_and(|e| matches!(e.kind, EmitterKind::Satellite { .. }));
    let (ahead, look) = match (still, satellite) {
        (true, _) => (3600.0, 600.0),
        (false, true) => (AHEAD_S, LOOK_S),
        (false, false) => (AHEAD_S, SLOW_LOOK_S),
    };
    let end = now.plus_seconds(ahead);
    let track = sky.track_of(id, now, end);
    let up = |time: Utc| {
        // Of one whose place cannot be told nothing is promised.
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

/// When it crosses the horizon, between a time at which it is down and one at which it is up: the
/// first or last second at which it is up.
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

/// Passes as a page lists them, with what is lost along them at most, as far as the expected error
/// is known.
pub fn pass_views(
    station: &Station,
    passes: &[Pass],
    expected: Option<&SkyError>,
) -> Vec<PassView> {
    let field = expected.map(ErrorField::of);
    (passes.iter().enumerate())
        .map(|(index, pass)| {
            let highest = (pass.points.iter())
                .map(|(_, d)| d.elevation())
                .fold(Angle::from_degrees(-90.0), Angle::max);
            let errors = pass.points.iter();
            let worst = errors
                .filter_map(|(_, d)| field.as_ref()?.towards(d))
                .fold(None, |worst: Option<Angle>, e| {
                    Some(worst.map_or(e, |w| w.max(e)))
                });
            let loss = worst.map(|error| {
                let words = loss_words(&station.dish, error);
                (words.is_some().then(|| station.dish.loss_db(error)), words)
            });
            PassView {
                index,
                rises_utc: pass.rises.to_string(),
                rises_shown: minute_words(pass.rises),
                sets_utc: pass.sets.to_string(),
                sets_shown: minute_words(pass.sets),
                highest_deg: highest.degrees(),
                highest_shown: number::typographic(&number::fixed(highest.degrees(), 0)),
                worst_loss_db: loss.as_ref().and_then(|(db, _)| *db),
                worst_loss_shown: match loss {
                    None => "not known".to_owned(),
                    Some((_, Some(words))) => format!("{words} dB"),
                    Some((_, None)) => "beyond the main beam".to_owned(),
                },
            }
        })
        .collect()
}
