//! Present positions of the emitters, and the passes of one of them.

use serde::Serialize;

use crate::angle::Angle;
use crate::ephemeris::{Pass, passes};
use crate::explain::{ErrorField, SkyError};
use crate::number;
use crate::problem::printable;
use crate::report::{SUN_CAUTION, loss_words, minute_words};
use crate::sky::Sky;
use crate::station::{Emitter, EmitterKind, Station};
use crate::time::Utc;

/// Most emitters whose rising and setting are worked out; with more, a page would wait.
const MOST_FOLLOWED: usize = 100;

/// An emitter as a page lists it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct EmitterView {
    name: String,
    kind: &'static str,
    up: bool,
    /// Its position now; `None` if unknown.
    azimuth_shown: Option<String>,
    elevation_shown: Option<String>,
    sets: Option<String>,
    rises: Option<String>,
    problem: Option<String>,
    /// The warning about pointing a dish at the Sun.
    caution: Option<&'static str>,
}

/// A pass as a page lists it.
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

/// Returns the type of an emitter in a word.
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

/// Returns all emitters with their positions at `now`.
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
    if emitter.kind.stands_still() || station.emitters.len() > MOST_FOLLOWED {
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

/// Returns passes as a page lists them, with the greatest loss along each if the expected error
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
