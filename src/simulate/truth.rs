//! The truth file: what the made-up mount is like and what is observed with it.

use std::collections::BTreeMap;
use std::path::Path;

use serde::Deserialize;

use super::ranges;
use super::spoil::Spoil;
use crate::angle::Angle;
use crate::files::{self, FileToRead};
use crate::mount::{FeedOffset, Geometry, Kind, MountModel, TermValues};
use crate::problem::{Error, Problem, Problems, nearest_name};
use crate::station::Station;
use crate::time::Utc;

/// Whole nights take a thousandth of that.
const EXPECTED: FileToRead = FileToRead::mebibytes("a truth file", 1);

/// The truth of a practice when none is given: an invented mount with the errors of a first
/// evening.
pub const PRACTICE: &str = "\
[terms]
azimuth-zero = 7.3
elevation-zero = -4.1
tilt-north = 0.42
tilt-east = -0.63
collimation = 0.35
droop = 0.2
azimuth-backlash = 0.3
[noise]
resolution_deg = 0.1
[session]
from = \"2026-09-12T06:00:00Z\"
to = \"2026-09-12T16:00:00Z\"
peaks = 1
[scans]
signal_to_noise = 300.0
lag_s = 0.2
[practice]
spikes_per_minute = 0.5
";

/// Everything a made-up session is made from.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Truth {
    /// Terms by the names of docs/files.md, in degrees, fractions or seconds.
    #[serde(default)]
    pub terms: BTreeMap<String, f64>,
    /// How well a peak is found.
    #[serde(default)]
    pub noise: PeakNoise,
    /// What is observed, when.
    pub session: SessionPlan,
    /// How scans are made, when scans are requested.
    #[serde(default)]
    pub scans: Scans,
    /// What a pretended dish is like apart from its errors, when there is one.
    #[serde(default)]
    pub practice: Practice,
    /// What is spoilt on purpose.
    #[serde(default)]
    pub spoil: Vec<Spoil>,
}

/// One standard deviation of a peak.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct PeakNoise {
    /// On the sky, across.
    pub cross_elevation_deg: f64,
    /// In elevation.
    pub elevation_deg: f64,
    /// Write the standard deviations into the log.
    pub logged: bool,
    /// Encoder readings are rounded to this step.
    pub resolution_deg: f64,
}

impl Default for PeakNoise {
    fn default() -> PeakNoise {
        PeakNoise {
            cross_elevation_deg: 0.05,
            elevation_deg: 0.05,
            logged: false,
            resolution_deg: 0.001,
        }
    }
}

/// What is observed, when.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SessionPlan {
    /// First peak, ISO 8601 with zone.
    pub from: Utc,
    /// Last peak.
    pub to: Utc,
    /// How many peaks.
    pub peaks: usize,
    /// Which emitters; all of the station when empty.
    #[serde(default)]
    pub emitters: Vec<String>,
    /// Nothing below this apparent elevation, beside the station's own horizon; beacons and
    /// marks are exempt.
    #[serde(default = "ten")]
    pub lowest_elevation_deg: f64,
    /// Whether the log says from which side the axes arrived.
    #[serde(default)]
    pub approach_logged: bool,
}

/// How scans are made.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Scans {
    /// How the mount moves.
    pub way: ScanWay,
    /// From the middle of each pass to its ends, beamwidths.
    pub half_length: f64,
    /// In each pass.
    pub samples: usize,
    /// From its first sample to its last.
    pub seconds_a_pass: f64,
    /// This many times as long passes take in about every other scan: two speeds tell lag from
    /// backlash. One: all scans at one speed.
    pub slower: f64,
    /// Passes along each axis of a cut or cross, there and back in turn.
    pub repeats: usize,
    /// Of a raster.
    pub rows: usize,
    /// Height of the peak over the standard deviation of a sample.
    pub signal_to_noise: f64,
    /// The power is logged this many seconds late.
    pub lag_s: f64,
    /// So far beside the emitter the middle of a scan may lie along each axis, beamwidths.
    pub beside: f64,
}

/// How the mount moves, in a truth file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ScanWay {
    /// Along azimuth, then along elevation.
    #[default]
    Cross,
    /// Along azimuth only.
    Azimuth,
    /// Along elevation only.
    Elevation,
    /// Rows along azimuth, upward.
    Raster,
}

impl Default for Scans {
    fn default() -> Scans {
        Scans {
            way: ScanWay::Cross,
            half_length: 1.6,
            samples: 61,
            seconds_a_pass: 20.0,
            slower: 2.0,
            repeats: 2,
            rows: 9,
            signal_to_noise: 30.0,
            lag_s: 0.0,
            beside: 0.2,
        }
    }
}

impl Scans {
    /// What is wrong with a value and what it may be; none when all are sound.
    fn fault(&self) -> Option<(&'static str, &'static str)> {
        let above_zero = |v: f64| v.is_finite() && v > 0.0;
        let or_zero = |v: f64| v.is_finite() && v >= 0.0;
        [
            (
                above_zero(self.half_length) && self.half_length <= 10.0,
                "half_length",
                "beamwidths above 0 and at most 10",
            ),
            (
                (5..=100_000).contains(&self.samples),
                "samples",
                "5 to 100000 in each pass",
            ),
            (
                above_zero(self.seconds_a_pass),
                "seconds_a_pass",
                "seconds above 0",
            ),
            (
                self.slower >= 1.0 && self.slower <= 100.0,
                "slower",
                "a factor from 1 to 100",
            ),
            (
                (1..=100).contains(&self.repeats),
                "repeats",
                "1 to 100 passes",
            ),
            ((2..=1000).contains(&self.rows), "rows", "2 to 1000 rows"),
            (
                or_zero(self.signal_to_noise),
                "signal_to_noise",
                "a number of 0 (no signal) or more",
            ),
            (self.lag_s.is_finite(), "lag_s", "seconds"),
            (
                or_zero(self.beside) && self.beside <= 1.0,
                "beside",
                "beamwidths from 0 to 1",
            ),
        ]
        .into_iter()
        .find(|(sound, ..)| !sound)
        .map(|(_, key, expected)| (key, expected))
    }
}

/// What a pretended dish is like apart from its errors.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Practice {
    /// Of each axis.
    pub speed_deg_s: f64,
    /// By which each axis gathers speed and brakes.
    pub braking_deg_s2: f64,
    /// Readings at the beginning.
    pub start_deg: [f64; 2],
    /// Powers that the receiver tells.
    pub lines_a_second: f64,
    /// Scatter of a power over its size: 1 / sqrt(bandwidth x time).
    pub scatter: f64,
    /// The gain rises by this much.
    pub drift_db_per_hour: f64,
    /// Single powers that are too large.
    pub spikes_per_minute: f64,
}

impl Default for Practice {
    fn default() -> Practice {
        Practice {
            speed_deg_s: 6.0,
            braking_deg_s2: 6.0,
            start_deg: [0.0, 10.0],
            lines_a_second: 10.0,
            scatter: 0.01,
            drift_db_per_hour: 0.1,
            spikes_per_minute: 0.0,
        }
    }
}

impl Practice {
    /// What is wrong with a value and what it may be; none when all are sound.
    fn fault(&self) -> Option<(&'static str, &'static str)> {
        let within = |v: f64, low: f64, high: f64| (low..=high).contains(&v);
        [
            (
                within(self.speed_deg_s, 0.05, 60.0),
                "speed_deg_s",
                "0.05 to 60",
            ),
            (
                within(self.braking_deg_s2, 0.05, 200.0),
                "braking_deg_s2",
                "0.05 to 200",
            ),
            (
                self.start_deg.iter().all(|v| within(*v, -720.0, 720.0)),
                "start_deg",
                "two readings, degrees",
            ),
            (
                within(self.lines_a_second, 0.2, 200.0),
                "lines_a_second",
                "0.2 to 200",
            ),
            (
                within(self.scatter, 1e-6, 0.3),
                "scatter",
                "0.000001 to 0.3",
            ),
            (
                within(self.drift_db_per_hour, -20.0, 20.0),
                "drift_db_per_hour",
                "-20 to 20",
            ),
            (
                within(self.spikes_per_minute, 0.0, 600.0),
                "spikes_per_minute",
                "0 to 600",
            ),
        ]
        .into_iter()
        .find(|(sound, ..)| !sound)
        .map(|(_, key, expected)| (key, expected))
    }
}

fn ten() -> f64 {
    10.0
}

impl Truth {
    /// Reads a truth file.
    ///
    /// # Errors
    /// When it cannot be read, is no such TOML, or names an unknown term.
    pub fn read(path: &Path) -> Result<Truth, Error> {
        let (name, bytes) = files::read_bytes(path, EXPECTED)?;
        let text = String::from_utf8(bytes).map_err(|_| {
            Problem::of_file(&name, "text that is not UTF-8", "a truth file in UTF-8")
        })?;
        Truth::parse(&name, &text)
    }

    /// Reads the text of a truth file called `name`.
    ///
    /// # Errors
    /// When it is no such TOML, or names an unknown term.
    pub fn parse(name: &str, text: &str) -> Result<Truth, Error> {
        let numbers = ranges::faults(name, text);
        let read: Result<Truth, toml_edit::de::Error> = toml_edit::de::from_str(text);
        if read.is_err() {
            // What a number should be says more than what it is not.
            numbers.clone().or_value(())?;
        }
        let truth = read.map_err(|e| {
            let problem = Problem::of_file(name, e.message(), "a truth file");
            match e.span() {
                Some(span) => {
                    let before = &text[..span.start.min(text.len())];
                    let line = before.matches('\n').count() + 1;
                    let column = before.chars().rev().take_while(|c| *c != '\n').count() + 1;
                    problem.at(line, column)
                }
                None => problem,
            }
        })?;
        let mut problems = Problems::new();
        for term in truth
            .terms
            .keys()
            .filter(|t| Kind::term_of_any(t).is_none() && FeedOffset::part_of(t).is_none())
        {
            let names = Kind::names_of_any();
            let problem = Problem::of_file(
                name,
                format!("unknown term {term:?} in [terms]"),
                "a term of the mount model",
            );
            problems.push(match nearest_name(term, names.iter().copied()) {
                Some(near) => problem.mend(format!("did you mean {near:?}?")),
                None => problem.mend(format!("the terms are {}", names.join(", "))),
            });
        }
        problems.append(numbers);
        if truth.session.to < truth.session.from {
            problems.push(Problem::of_file(
                name,
                "[session] ends before it begins",
                "a time `to` that is later than `from`",
            ));
        }
        if let Some((key, expected)) = truth.scans.fault() {
            let found = format!("a {key} in [scans] that makes no scan");
            problems.push(Problem::of_file(name, found, expected));
        }
        if let Some((key, expected)) = truth.practice.fault() {
            let found = format!("a {key} in [practice] that no dish has");
            problems.push(Problem::of_file(name, found, expected));
        }
        problems.or_value(truth)
    }

    /// The same errors by the names of another kind of mount than az-el.
    #[must_use]
    pub fn named_for(mut self, mount: Kind) -> Truth {
        self.terms = (self.terms.into_iter())
            .filter_map(|(name, value)| {
                let term = Kind::AzEl.term_by_name(&name)?;
                mount
                    .has(term)
                    .then(|| (mount.term_name(term).to_owned(), value))
            })
            .collect();
        self
    }

    /// The mount as it points with each feed of a station, of which the first is the mount itself.
    ///
    /// # Errors
    /// As [`Truth::model`], and a feed that the station does not have.
    pub fn models(&self, station: &Station) -> Result<Vec<MountModel>, Error> {
        let model = self.model(&station.mount.geometry)?;
        let mut offsets = vec![FeedOffset::default(); station.feeds.len().max(1)];
        for (name, value) in &self.terms {
            let Some((feed, part)) = FeedOffset::part_of(name) else {
                continue;
            };
            let Some(place) = station.feed(feed).filter(|place| *place > 0) else {
                return Err(Error::Usage(format!(
                    "the truth file has the term {name}, and the station file has no further feed {feed}\n  \
                     help: add [[feed]] sections to the station file, that of [dish] first"
                )));
            };
            let angle = Angle::from_degrees(*value);
            match part {
                0 => offsets[place].right = angle,
                _ => offsets[place].up = angle,
            }
        }
        Ok(offsets
            .into_iter()
            .map(|offset| model.with_feed(offset))
            .collect())
    }

    /// The mount model of the truth, for a mount that stands so.
    ///
    /// # Errors
    /// A term that mounts of that kind do not have.
    pub fn model(&self, geometry: &Geometry) -> Result<MountModel, Error> {
        let kind = geometry.kind();
        let mut values = TermValues::ZERO;
        for (name, value) in &self.terms {
            if FeedOffset::part_of(name).is_some() {
                continue;
            }
            let Some(term) = kind.term_by_name(name) else {
                return Err(Error::Usage(format!(
                    "the truth file has the term {name}, which mounts of kind {kind} do not have\n  \
                     help: their terms are {}",
                    kind.term_names().join(", ")
                )));
            };
            values.set_shown(term, *value);
        }
        Ok(MountModel::new(*geometry, values))
    }
}
