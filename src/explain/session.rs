//! A session: the peaks with everything that a hypothesis may depend on, their noise, and what is
//! always fitted.

use std::collections::HashMap;
use std::sync::Arc;

use nalgebra::Vector3;

use crate::angle::{Angle, SkyBasis};
use crate::fit::Noise;
use crate::mount::{Geometry, Group, Kind as MountKind, MountModel, Term, TermValues};
use crate::sky::Sky;
use crate::station::{EmitterKind, Station};
use crate::time::{DAY_S, Utc};

use super::fault::FaultAxis;
use super::hypothesis::Hypothesis;
use super::log_change::zero_changes;
use super::observe::Observation;
use super::options::TermChoice;
use super::peak::SessionPeak;

/// The peaks of a session with everything that stays fixed while they are explained.
#[derive(Clone, Debug)]
pub struct Session {
    /// The usable peaks.
    pub peaks: Vec<SessionPeak>,
    /// One standard deviation of each in cross-elevation and elevation; relative when `noise` comes
    /// from the scatter.
    pub sigmas: Vec<[Angle; 2]>,
    /// Where the size of the noise comes from.
    pub noise: Noise,
    /// Half-power width of the beam.
    pub beamwidth: Angle,
    /// Type and orientation of the mount.
    pub geometry: Geometry,
    /// Values of terms that the user holds.
    pub held: TermValues,
    /// The terms held.
    pub held_terms: Vec<Term>,
    /// Of these, the ones only left out: they are not known to be zero.
    pub left_out: Vec<Term>,
    /// Which mount terms are fitted.
    pub choice: TermChoice,
    /// Terms fitted because the user requests them, in addition to those that the choice takes.
    pub also: Vec<Term>,
    /// Fitted always: the terms of every mount, or those listed.
    pub base: Vec<Hypothesis>,
    /// Whether every peak is used, without a search for bad ones.
    pub trusts_all: bool,
    /// Seed of everything random.
    pub seed: u64,
    /// Names of the logs.
    pub logs: Vec<String>,
}

/// With a single peak from a side, backlash could be that peak's own error.
pub const LEAST_APPROACHES: usize = 2;

/// Errors that every mount has a little of; backlash is tested where the log gives the sides of
/// arrival.
const USUAL: [Group; 8] = [
    Group::AzimuthZero,
    Group::ElevationZero,
    Group::Tilt,
    Group::Collimation,
    Group::AxisSkew,
    Group::Droop,
    Group::AzimuthBacklash,
    Group::ElevationBacklash,
];

impl Session {
    /// Creates the session of some peaks.
    pub fn new(
        peaks: Vec<SessionPeak>,
        (sigmas, noise): (Vec<[Angle; 2]>, Noise),
        (beamwidth, geometry): (Angle, Geometry),
        (held, held_terms): (TermValues, Vec<Term>),
        (choice, trusts_all): (TermChoice, bool),
        seed: u64,
    ) -> Session {
        let free = |group: Group| -> Option<Hypothesis> {
            let wanted = |t: &Term| match &choice {
                TermChoice::ByTheData => true,
                TermChoice::Listed(listed) => listed.contains(t),
            };
            let terms: Vec<Term> = (group.terms())
                .filter(|t| geometry.kind().has(*t) && wanted(t) && !held_terms.contains(t))
                .collect();
            (!terms.is_empty()).then_some(Hypothesis::Terms(terms))
        };
        let lags = lags(&peaks);
        let base: Vec<Hypothesis> = match &choice {
            TermChoice::ByTheData => (USUAL.into_iter())
                .filter(|g| match g {
                    Group::AzimuthBacklash => both_sides(&peaks, |p| p.sighting.approach.azimuth),
                    Group::ElevationBacklash => {
                        both_sides(&peaks, |p| p.sighting.approach.elevation)
                    }
                    _ => true,
                })
                .filter_map(free)
                .collect(),
            TermChoice::Listed(_) => Group::ALL.into_iter().filter_map(free).collect(),
        };
        Session {
            base: base.into_iter().chain(lags).collect(),
            peaks,
            sigmas,
            noise,
            beamwidth,
            geometry,
            held,
            held_terms,
            left_out: Vec::new(),
            choice,
            also: Vec::new(),
            trusts_all,
            seed,
            logs: Vec::new(),
        }
    }

    /// The same session with some terms always fitted, without their usual priors.
    pub fn with_also(mut self, also: Vec<Term>) -> Session {
        let kind = self.kind();
        if kind.has_track() && also.contains(&Term::ElevationRunoutCos) {
            // The two are the same function to first order: the user named the runout, so it is
            // fitted as that.
            self.base.retain(|h| !h.terms().contains(&Term::Droop));
        }
        for group in Group::ALL {
            let terms: Vec<Term> = (group.terms())
                .filter(|t| kind.has(*t) && also.contains(t) && !self.held_terms.contains(t))
                .collect();
            let taken = self.base_terms();
            if !terms.is_empty() && !terms.iter().any(|t| taken.contains(t)) {
                self.base.push(Hypothesis::Terms(terms));
            }
        }
        self.also = also;
        self
    }

    /// Whether the user requests a term by name.
    pub fn asks_for(&self, term: Term) -> bool {
        let listed = match &self.choice {
            TermChoice::ByTheData => false,
            TermChoice::Listed(listed) => listed.contains(&term),
        };
        listed || self.also.contains(&term)
    }

    /// The mount model with the terms that the user holds.
    pub fn mount(&self) -> MountModel {
        MountModel::new(self.geometry, self.held)
    }

    /// The kind of mount.
    pub fn kind(&self) -> MountKind {
        self.geometry.kind()
    }

    /// The same session with separate encoder zeros for each log, always fitted.
    pub fn with_zeros_per_log(mut self) -> Session {
        let changes = zero_changes(&self.peaks, &self.choice, &self.held_terms);
        self.base
            .extend(changes.into_iter().map(Hypothesis::LogZero));
        self
    }

    /// The same session with the offset of every further feed used for its peaks, always fitted.
    pub fn with_feeds(mut self) -> Session {
        let mut feeds: Vec<usize> = self.peaks.iter().map(|p| p.feed).collect();
        feeds.sort_unstable();
        feeds.dedup();
        let further = feeds.into_iter().filter(|feed| *feed > 0);
        self.base.extend(further.map(Hypothesis::Feed));
        self
    }

    /// Name of a log.
    pub fn log_name(&self, log: usize) -> String {
        (self.logs.get(log)).map_or_else(|| format!("log {}", log + 1), Clone::clone)
    }

    /// The same session with its peaks replaced one for one: the log under another reading.
    pub fn with_peaks(&self, peaks: Vec<SessionPeak>) -> Option<Session> {
        (peaks.len() == self.peaks.len()).then(|| Session {
            peaks,
            ..self.clone()
        })
    }

    /// The same for another mount geometry.
    pub fn read_otherwise(&self, peaks: Vec<SessionPeak>, geometry: Geometry) -> Option<Session> {
        let read = self.with_peaks(peaks)?;
        Some(Session { geometry, ..read })
    }

    /// Whether logged standard deviations count.
    pub fn trusts_logged(&self) -> bool {
        self.noise == Noise::Logged
    }

    /// Seconds added to the logged times for the targets.
    pub fn clock_s(&self) -> f64 {
        (self.peaks.first()).map_or(0.0, |p| p.sighting.clock_offset_s)
    }

    /// The mount terms that are always fitted.
    pub fn base_terms(&self) -> Vec<Term> {
        self.base.iter().flat_map(Hypothesis::terms).collect()
    }
}

/// The lags removed from the scans of the logs, where they are uncertain.
fn lags(peaks: &[SessionPeak]) -> Vec<Hypothesis> {
    let mut found: Vec<Hypothesis> = Vec::new();
    for peak in peaks {
        for (axis, by_lag) in [FaultAxis::Azimuth, FaultAxis::Elevation]
            .into_iter()
            .zip(peak.by_lag)
        {
            let lag = Hypothesis::Lag {
                log: peak.log,
                axis,
            };
            if by_lag != Angle::ZERO && !found.contains(&lag) {
                found.push(lag);
            }
        }
    }
    found
}

/// Whether some peaks arrived from each side.
pub fn both_sides(peaks: &[SessionPeak], sign: impl Fn(&SessionPeak) -> f64) -> bool {
    let up = peaks.iter().filter(|p| sign(p) > 0.0).count();
    let down = peaks.iter().filter(|p| sign(p) < 0.0).count();
    up.min(down) >= LEAST_APPROACHES
}

/// Half the step over which a satellite's motion along its orbit is taken, seconds: short compared
/// with the minutes of a pass, long enough to avoid rounding errors.
const ORBIT_STEP_S: f64 = 1.0;

/// The session's peaks from observations; without a sky, orbits and refraction are unknown.
pub fn session_peaks(
    station: &Station,
    sky: Option<&Sky>,
    observations: &[Observation],
) -> Vec<SessionPeak> {
    let first: Option<Utc> = observations.iter().map(|o| o.peak.time).min();
    let numbers: HashMap<&str, usize> = (station.emitters.iter().enumerate())
        .map(|(k, e)| (e.name.as_str(), k))
        .collect();
    let mut names: HashMap<&str, Arc<str>> = HashMap::new();
    observations
        .iter()
        .map(|o| {
            let mut name = |text| names.entry(text).or_insert_with(|| Arc::from(text)).clone();
            let time = o.peak.time;
            let emitter = numbers.get(o.peak.emitter.as_str()).copied();
            let emitter = emitter.unwrap_or(usize::MAX);
            let day = Angle::TURN * (time.seconds_of_day() / DAY_S) + station.site.longitude;
            SessionPeak {
                sighting: o.sighting(),
                log: o.peak.log,
                feed: o.peak.feed,
                row: o.peak.row,
                line: o.peak.line,
                time,
                emitter_name: name(&o.peak.emitter),
                emitter,
                hours: first.map_or(0.0, |f| time.seconds_since(f) / 3600.0),
                day_angle: day.wrapped_positive(),
                by_lag: o.peak.by_lag.map(|by_lag| by_lag.unwrap_or(Angle::ZERO)),
                temperature_c: o.peak.temperature_c,
                place_sigma: station
                    .emitters
                    .get(emitter)
                    .map_or(Angle::ZERO, |e| e.kind.place_sigma(station.dish.beamwidth)),
                along_orbit: sky
                    .map_or_else(Vector3::zeros, |sky| along_orbit(sky, station, emitter, o)),
                bend: sky.map_or_else(Vector3::zeros, |sky| bend(sky, station, emitter, o)),
            }
        })
        .collect()
}

fn along_orbit(
    sky: &Sky,
    station: &Station,
    emitter: usize,
    observation: &Observation,
) -> Vector3<f64> {
    let kind = station.emitters.get(emitter).map(|e| &e.kind);
    if !matches!(kind, Some(EmitterKind::Satellite { .. })) {
        return Vector3::zeros();
    }
    let peak = &observation.peak;
    let moment = sky.at(peak.time.plus_seconds(observation.clock_offset_s));
    let at = |seconds: f64| {
        let id = sky.emitter(&peak.emitter)?;
        let direction = moment.ahead(id, seconds).ok()??;
        Some(direction.east_north_up())
    };
    match (at(ORBIT_STEP_S), at(-ORBIT_STEP_S)) {
        (Some(after), Some(before)) => (after - before) / (2.0 * ORBIT_STEP_S),
        _ => Vector3::zeros(),
    }
}

fn bend(sky: &Sky, station: &Station, emitter: usize, observation: &Observation) -> Vector3<f64> {
    let kind = station.emitters.get(emitter).map(|e| &e.kind);
    if matches!(
        kind,
        Some(EmitterKind::Beacon { .. } | EmitterKind::Mark { .. })
    ) {
        return Vector3::zeros();
    }
    let apparent = observation.direction();
    let airless = sky.refraction().unrefract(&apparent);
    let raised = apparent.elevation() - airless.elevation();
    SkyBasis::at(&observation.target).upward * raised.radians()
}
