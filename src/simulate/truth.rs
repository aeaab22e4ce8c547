//! The truth file: the simulated mount and what is observed with it.

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

/// The file of a whole night takes a thousandth of this.
const EXPECTED: FileToRead = FileToRead::mebibytes("a truth file", 1);

/// The truth of a practice when none is given: an invented mount with the errors of one that was
/// never calibrated.
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

/// Contents of a truth file: everything that a simulated session is made from.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Truth {
    /// Terms by their names in docs/files.md, in degrees, fractions or seconds.
    #[serde(default)]
    pub terms: BTreeMap<String, f64>,
    /// Noise and resolution of a peak.
    #[serde(default)]
    pub noise: PeakNoise,
    /// What is observed and when.
    pub session: SessionPlan,
    /// How scans are made, when scans are requested.
    #[serde(default)]
    pub scans: Scans,
    /// Drives and receiver of a simulated dish, if there is one.
    #[serde(default)]
    pub practice: Practice,
    /// Faults put in on purpose.
    #[serde(default)]
    pub spoil: Vec<Spoil>,
}

/// Noise of a peak: one standard deviation of each coordinate.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct PeakNoise {
    /// Across, on the sky.
    pub cross_elevation_deg: f64,
    /// In elevation.
    pub elevation_deg: f64,
    /// Whether the standard deviations are written into the log.
    pub logged: bool,
    /// Step to which encoder readings are rounded.
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

/// What is observed and when.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SessionPlan {
    /// First peak, ISO 8601 with zone.
    pub from: Utc,
    /// Last peak.
    pub to: Utc,
    /// Number of peaks.
    pub peaks: usize,
    /// Emitters to observe; all of the station when empty.
    #[serde(default)]
    pub emitters: Vec<String>,
    /// Lowest apparent elevation, in addition to the station's own horizon; beacons and marks are
    /// exempt.
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
    /// Number of samples in each pass.
    pub samples: usize,
    /// Seconds from the first sample of a pass to its last.
    pub seconds_a_pass: f64,
    /// Factor by which passes take longer in about every other scan: two speeds separate lag from
    /// backlash. One: all scans at one speed.
    pub slower: f64,
    /// Passes along each axis of a cut or cross, alternately there and back.
    pub repeats: usize,
    /// Number of rows of a raster.
    pub rows: usize,
    /// Height of the peak over the standard deviation of a sample.
    pub signal_to_noise: f64,
    /// The power is logged this many seconds late.
    pub lag_s: f64,
    /// Largest offset of the middle of a scan from the emitter along each axis, beamwidths.
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
    /// Returns the key of a bad value and what the value may be; `None` if all are good.
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

/// Drives and receiver of a simulated dish, apart from its pointing errors.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Practice {
    /// Top speed of each axis.
    pub speed_deg_s: f64,
    /// Acceleration and braking of each axis.
    pub braking_deg_s2: f64,
    /// Readings at the start.
    pub start_deg: [f64; 2],
    /// Powers that the receiver reports per second.
    pub lines_a_second: f64,
    /// Relative scatter of a power: 1 / sqrt(bandwidth x time).
    pub scatter: f64,
    /// Rise of the gain.
    pub drift_db_per_hour: f64,
    /// Rate of single powers that are too large.
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
    /// Returns the key of a bad value and what the value may be; `None` if all are good.
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
    /// When the file cannot be read, is not a valid truth file, or names an unknown term.
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
    /// When the text is not a valid truth file, or names an unknown term.
    pub fn parse(name: &str, text: &str) -> Result<Truth, Error> {
        let numbers = ranges::faults(name, text);
        let read: Result<Truth, toml_edit::de::Error> = toml_edit::de::from_str(text);
        if read.is_err() {
            // The allowed range of a number says more than the error of its type.
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

    /// Renames the terms for another kind of mount than az-el; drops those it does not have.
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

    /// Returns the mount model for each feed of a station; the first feed has no offset.
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

    /// Returns the mount model of the truth for a mount of this geometry.
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
