//! Directions of emitters at an instant or over a span, and whether the mount can reach them: the
//! rows of the verb `sky`.

mod passes;
mod reach;
#[cfg(test)]
mod tests;
mod text;

use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};

use crate::angle::{Angle, Apparent, Direction, Geometric};
use crate::mount::AxisKind;
use crate::problem::Error;
use crate::sky::{EmitterError, EmitterId, Moment, Notices, Sky, Track};
use crate::station::Station;
use crate::text::some_of;
use crate::time::Utc;

pub use passes::{Pass, passes};
pub use reach::{Obstacle, Reach};
pub use text::table;

/// Within this many beamwidths of the Sun the user is warned of its noise (common practice, no
/// source).
const NEAR_SUN_BEAMWIDTHS: f64 = 3.0;
/// Limits of the distance for warnings of the Sun: always within two degrees, for its heat, and
/// never beyond ten, where the focused spot has left the feed (common practice, no source).
const NEAR_SUN_BOUNDS: (Angle, Angle) = (Angle::from_degrees(2.0), Angle::from_degrees(10.0));
/// Warning, printed after a name and a colon, when a dish is brought to the Sun or near it.
pub const SUN_CAUTION: &str = " a dish on the Sun gathers its heat at the feed, a shiny one enough to \
    burn, and the Sun's noise hides weak signals: do not leave it pointed there, and never look along \
    the dish or through a sight at the Sun";
/// Largest number of rows: a request for more is taken for a mistake.
const MOST_ROWS: f64 = 1e6;

/// Times of the table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Times {
    /// One instant.
    At(Utc),
    /// From the first time, in steps, up to and including the last.
    Span {
        /// First time.
        from: Utc,
        /// Last time; need not fall on a step.
        to: Utc,
        /// Step, seconds.
        every_s: f64,
    },
}

/// One line of the table. Angles are degrees; the keys are those that `sky --json` prints.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// Name of the emitter in the station file.
    pub emitter: String,
    /// Time of the row.
    pub time_utc: Utc,
    /// Azimuth without refraction.
    pub geometric_azimuth_deg: f64,
    /// Elevation without refraction.
    pub geometric_elevation_deg: f64,
    /// Azimuth at which the beam must point.
    pub apparent_azimuth_deg: f64,
    /// Elevation at which the beam must point.
    pub apparent_elevation_deg: f64,
    /// Angular rate on the sky.
    pub rate_deg_per_min: f64,
    /// Separation of emitter and Sun, without refraction.
    pub sun_distance_deg: f64,
    /// Whether the mount can point its beam there.
    pub reachable: bool,
    /// Reason why it is not reachable; empty if it is.
    pub why: String,
    /// Readings of the mount's own axes; `None` for an az-el mount, whose readings are the azimuth
    /// and elevation above.
    #[serde(flatten, skip_serializing_if = "Option::is_none")]
    pub readings: Option<Readings>,
}

/// Readings of the axes of a mount, serialized under keys with their names.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Readings {
    /// Kind of each axis.
    pub axes: [AxisKind; 2],
    /// Reading of each axis, degrees.
    pub degrees: [f64; 2],
}

impl Serialize for Readings {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(2))?;
        for (axis, degrees) in self.axes.iter().zip(self.degrees) {
            // The suffix separates a slant mount's readings from the directions of the row.
            map.serialize_entry(&format!("{}_reading_deg", axis.key()), &degrees)?;
        }
        map.end()
    }
}

/// The table: all rows of the first emitter, then of the second, and so on.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Ephemeris {
    /// Ordered by emitter, then by time.
    pub rows: Vec<Row>,
    /// Warnings for the user.
    pub warnings: Vec<String>,
}

impl Ephemeris {
    /// Returns the table as one JSON document.
    pub fn to_json(&self) -> String {
        // Serializing cannot fail: every type in it is plain.
        serde_json::to_string_pretty(self).unwrap_or_default() + "\n"
    }
}

/// Computes the table for emitters of a station.
///
/// # Errors
/// No emitter, a span that ends before it begins, steps that are not positive, too many rows, or no
/// direction at all.
pub fn ephemeris(
    station: &Station,
    sky: &Sky,
    reach: &Reach<'_>,
    emitters: &[EmitterId],
    times: Times,
) -> Result<Ephemeris, Error> {
    let count = row_count(emitters.len(), times)?;
    let mut made = Making {
        reach,
        warnings: Warnings::of(station, sky),
        rows: Vec::with_capacity(count),
    };
    match times {
        Times::At(time) => {
            let moment = sky.at(time);
            for id in emitters {
                made.add(*id, time, Seen::at(sky, &moment, *id));
            }
        }
        Times::Span { from, to, .. } => {
            let sun = sky.track_of(sky.sun(), from, to);
            for id in emitters {
                let track = sky.track_of(*id, from, to);
                for time in times.iter() {
                    made.add(*id, time, Seen::on(&track, &sun, time));
                }
            }
        }
    }
    let warnings = made.warnings.in_words();
    match made.rows.is_empty() {
        true => Err(Error::Unsupported(warnings.join("\n"))),
        false => Ok(Ephemeris {
            rows: made.rows,
            warnings,
        }),
    }
}

fn row_count(emitters: usize, times: Times) -> Result<usize, Error> {
    if emitters == 0 {
        return Err(Error::Unsupported(
            "the station file has no emitter: add an [[emitter]] section, for example name = \
             \"sun\", kind = \"sun\""
                .to_owned(),
        ));
    }
    let steps = match times {
        Times::At(_) => 1.0,
        Times::Span { from, to, every_s } => {
            if to < from {
                return Err(Error::Usage(format!(
                    "the span ends ({to}) before it begins ({from}): exchange --from and --to"
                )));
            }
            if every_s.is_nan() || every_s < 0.001 {
                return Err(Error::Usage(
                    "--every is too short: a millisecond is the least".to_owned(),
                ));
            }
            (to.seconds_since(from) / every_s).floor() + 1.0
        }
    };
    let count = steps * emitters as f64;
    if count > MOST_ROWS {
        return Err(Error::Usage(format!(
            "that would be {count:.0} rows, more than {MOST_ROWS:.0}: choose a longer --every, a \
             shorter span or fewer emitters"
        )));
    }
    Ok(count as usize)
}

impl Times {
    fn iter(self) -> impl Iterator<Item = Utc> {
        let (from, to, every_s) = match self {
            Times::At(time) => (time, time, 1.0),
            Times::Span { from, to, every_s } => (from, to, every_s),
        };
        (0..)
            .map(move |i| from.plus_seconds(f64::from(i) * every_s))
            .take_while(move |time| *time <= to)
    }
}

/// Direction and motion of an emitter.
struct Seen {
    geometric: Direction<Geometric>,
    apparent: Direction<Apparent>,
    rate_deg_per_min: f64,
    sun_distance: Angle,
}

impl Seen {
    fn at(sky: &Sky, moment: &Moment<'_>, id: EmitterId) -> Result<Seen, EmitterError> {
        Ok(Seen {
            geometric: moment.geometric(id)?,
            apparent: moment.apparent(id)?,
            rate_deg_per_min: sky.rate_of(id, moment.time())?,
            sun_distance: moment.sun_distance(id)?,
        })
    }

    fn on(track: &Track<'_>, sun: &Track<'_>, time: Utc) -> Result<Seen, EmitterError> {
        let geometric = track.geometric(time)?;
        Ok(Seen {
            geometric,
            apparent: track.apparent(time)?,
            rate_deg_per_min: track.rate(time)?,
            sun_distance: geometric.separation(&sun.geometric(time)?),
        })
    }
}

/// A table being built.
struct Making<'a> {
    reach: &'a Reach<'a>,
    warnings: Warnings<'a>,
    rows: Vec<Row>,
}

impl Making<'_> {
    fn add(&mut self, id: EmitterId, time: Utc, seen: Result<Seen, EmitterError>) {
        let seen = match seen {
            Ok(seen) => seen,
            Err(error) => return self.warnings.no_direction(id, error),
        };
        self.warnings.about(id, time, &seen);
        let obstacle = self.reach.obstacle(&seen.apparent);
        let mount = self.reach.mount();
        // For an az-el mount without errors the readings would repeat azimuth and elevation.
        let readings = (!mount.is_az_el())
            .then(|| self.reach.readings(&seen.apparent))
            .flatten()
            .map(|r| Readings {
                axes: mount.axes(),
                degrees: [r.azimuth.degrees(), r.elevation.degrees()],
            });
        self.rows.push(Row {
            emitter: self.warnings.sky.name(id).to_owned(),
            time_utc: time,
            geometric_azimuth_deg: seen.geometric.azimuth().degrees(),
            geometric_elevation_deg: seen.geometric.elevation().degrees(),
            apparent_azimuth_deg: seen.apparent.azimuth().degrees(),
            apparent_elevation_deg: seen.apparent.elevation().degrees(),
            rate_deg_per_min: seen.rate_deg_per_min,
            sun_distance_deg: seen.sun_distance.degrees(),
            reachable: obstacle.is_none(),
            why: obstacle.map_or_else(String::new, |o| o.words_on(mount)),
            readings,
        });
    }
}

/// Distance from the Sun within which its noise spoils a peak or its heat the feed.
pub fn near_sun(station: &Station) -> Angle {
    let (least, most) = NEAR_SUN_BOUNDS;
    (station.dish.beamwidth * NEAR_SUN_BEAMWIDTHS)
        .max(least)
        .min(most)
}

/// Warnings for the user, each once, grouped by kind.
struct Warnings<'a> {
    sky: &'a Sky,
    near_sun_within: Angle,
    notices: Notices,
    /// Emitters near the Sun, with the first separation and its time; `None` for the Sun itself.
    near_sun: Vec<(EmitterId, Option<(Angle, Utc)>)>,
    /// Reasons why there is no direction, with the emitters concerned.
    nowhere: Vec<(EmitterError, Vec<EmitterId>)>,
}

impl<'a> Warnings<'a> {
    fn of(station: &Station, sky: &'a Sky) -> Warnings<'a> {
        Warnings {
            sky,
            near_sun_within: near_sun(station),
            notices: Notices::default(),
            near_sun: Vec::new(),
            nowhere: Vec::new(),
        }
    }

    fn about(&mut self, id: EmitterId, time: Utc, seen: &Seen) {
        self.notices.add(self.sky.at(time).notices_on_data(id));
        let beside = seen.sun_distance < self.near_sun_within;
        // Rows are grouped by emitter.
        let told = (self.near_sun.last()).is_some_and(|(last, _)| *last == id);
        if beside && !told && seen.apparent.elevation() > Angle::ZERO {
            let place = (id != self.sky.sun()).then_some((seen.sun_distance, time));
            self.near_sun.push((id, place));
        }
    }

    fn no_direction(&mut self, id: EmitterId, error: EmitterError) {
        let same = (self.nowhere.iter_mut()).find(|(known, _)| alike(known, &error));
        match same {
            Some((_, emitters)) if emitters.last() == Some(&id) => {}
            Some((_, emitters)) => emitters.push(id),
            None => self.nowhere.push((error, vec![id])),
        }
    }

    fn in_words(&self) -> Vec<String> {
        let mut said = self.notices.in_words();
        if !self.near_sun.is_empty() {
            let places: Vec<String> = (self.near_sun.iter())
                .map(|(id, place)| match place {
                    None => self.sky.name(*id).to_owned(),
                    Some((distance, time)) => format!(
                        "{} ({:.1} deg from the Sun at {time})",
                        self.sky.name(*id),
                        distance.degrees()
                    ),
                })
                .collect();
            said.push(format!("{}:{SUN_CAUTION}", some_of(&places)));
        }
        for (error, emitters) in &self.nowhere {
            let others: Vec<&str> = emitters[1..].iter().map(|id| self.sky.name(*id)).collect();
            said.push(match (others.is_empty(), error) {
                (false, EmitterError::NoOrbit { .. }) => {
                    format!("{error}; likewise {}", some_of(&others))
                }
                _ => error.to_string(),
            });
        }
        said
    }
}

/// Whether two errors are the same apart from emitter and time.
fn alike(one: &EmitterError, other: &EmitterError) -> bool {
    match (one, other) {
        (EmitterError::NoOrbit { why, .. }, EmitterError::NoOrbit { why: same, .. }) => why == same,
        (EmitterError::OutsideEphemeris { .. }, EmitterError::OutsideEphemeris { .. }) => true,
        _ => one == other,
    }
}
