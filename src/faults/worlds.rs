//! What if the log or the station file meant something else: another time zone, another site,
//! exchanged columns, another unit. Each such world is observed anew and fitted whole; it is
//! costly, and asked for only when the session as logged does not hold together.

use crate::angle::{Angle, Direction, EncoderReading};
use crate::logbook::{Approach, PeakLog};
use crate::mount::Term;
use crate::sky::Sky;
use crate::solve::observe::{Observation, observe};
use crate::solve::plausible::glaring;
use crate::solve::start::{Start, start};
use crate::station::Station;

use super::case::{Case, cases};
use super::cause::Cause;
use super::ground::{Ground, State};
use super::look::Look;
use super::name::{Axis, Fault};
use super::rows::UNITS;

/// Another meaning of a session.
#[derive(Clone, Debug, PartialEq)]
pub enum World {
    /// So many hours to add to the logged times.
    Hours(f64),
    /// The longitude with the other sign.
    LongitudeSign,
    /// Latitude and longitude exchanged.
    SiteSwapped,
    /// The azimuth counted the other way.
    AzimuthReversed,
    /// Azimuth and elevation exchanged.
    Exchanged,
    /// Readings of an axis in another unit.
    Unit {
        /// Which axis.
        axis: Axis,
        /// The unit's name.
        unit: &'static str,
        /// One of it in degrees.
        degrees: f64,
    },
    /// Minutes of arc written behind a decimal point: 12.30 for 12 degrees 30 minutes.
    PointedMinutes(Axis),
}

/// Where a contest may begin.
#[derive(Clone, Debug)]
pub struct Beginning {
    /// The world; none for the session as logged.
    pub world: Option<World>,
    /// Its ground.
    pub ground: Ground,
    /// Its first state.
    pub state: State,
}

/// What worlds are made from.
#[derive(Clone, Copy, Debug)]
pub struct Setting<'a> {
    /// The station as given.
    pub station: &'a Station,
    /// Its sky.
    pub sky: &'a Sky,
    /// The log as given.
    pub log: &'a PeakLog,
    /// Clock offset held by the user, seconds.
    pub clock_s: f64,
}

impl World {
    /// The fault that it is.
    pub fn fault(&self) -> Fault {
        match self {
            World::Hours(_) => Fault::TimeZone,
            World::LongitudeSign => Fault::LongitudeSign,
            World::SiteSwapped => Fault::SiteSwapped,
            World::AzimuthReversed => Fault::AzimuthReversed,
            World::Exchanged => Fault::ColumnsExchanged,
            World::Unit { .. } | World::PointedMinutes(_) => Fault::WrongUnit,
        }
    }

    /// All worlds that are asked for.
    pub fn all() -> Vec<World> {
        let whole = (1..=14).map(f64::from);
        let mut found: Vec<World> = (whole.chain(BROKEN))
            .flat_map(|h| [World::Hours(h), World::Hours(-h)])
            .collect();
        found.extend([
            World::LongitudeSign,
            World::SiteSwapped,
            World::AzimuthReversed,
            World::Exchanged,
        ]);
        for axis in [Axis::Both, Axis::Azimuth, Axis::Elevation] {
            found.extend(UNITS.map(|(unit, degrees)| World::Unit {
                axis,
                unit,
                degrees,
            }));
            found.push(World::PointedMinutes(axis));
        }
        found
    }

    /// The observations of this world; none when it makes no sense.
    fn observe(&self, setting: &Setting<'_>) -> Option<(Vec<Observation>, Station, Sky)> {
        let mut station = setting.station.clone();
        let mut sky = None;
        let mut log = setting.log.clone();
        let mut clock_s = setting.clock_s;
        match self {
            World::Hours(hours) => clock_s += hours * 3600.0,
            World::LongitudeSign => station.site.longitude = -station.site.longitude,
            World::SiteSwapped => {
                if station.site.longitude.abs() > Angle::RIGHT {
                    return None;
                }
                std::mem::swap(&mut station.site.latitude, &mut station.site.longitude);
            }
            World::AzimuthReversed => {
                for peak in &mut log.peaks {
                    peak.azimuth = peak.azimuth.map(|a| -a);
                    peak.azimuth_approach = match peak.azimuth_approach {
                        Approach::Increasing => Approach::Decreasing,
                        Approach::Decreasing => Approach::Increasing,
                        Approach::Unknown => Approach::Unknown,
                    };
                }
            }
            World::Exchanged => {
                for peak in &mut log.peaks {
                    std::mem::swap(&mut peak.azimuth, &mut peak.elevation);
                }
            }
            World::Unit { axis, degrees, .. } => {
                for peak in &mut log.peaks {
                    if *axis != Axis::Elevation {
                        peak.azimuth = peak.azimuth.map(|a| a * *degrees);
                    }
                    if *axis != Axis::Azimuth {
                        peak.elevation = peak.elevation.map(|e| e * *degrees);
                    }
                }
            }
            World::PointedMinutes(axis) => {
                for peak in &mut log.peaks {
                    if *axis != Axis::Elevation {
                        peak.azimuth = unpointed(peak.azimuth)?;
                    }
                    if *axis != Axis::Azimuth {
                        peak.elevation = unpointed(peak.elevation)?;
                    }
                }
            }
        }
        if matches!(self, World::LongitudeSign | World::SiteSwapped) {
            sky = Some(setting.sky.seen_from(&station));
        }
        let sky = sky.unwrap_or_else(|| setting.sky.clone());
        let found = observe(&station, &sky, &log, clock_s);
        Some((found.usable, station, sky))
    }
}

impl Setting<'_> {
    /// The cases with another clock offset, seconds to add beside the held one; none when an
    /// orbit does not reach there.
    pub fn look_again(&self, clock_s: f64) -> Vec<Case> {
        let found = observe(self.station, self.sky, self.log, self.clock_s + clock_s);
        cases(self.station, self.sky, &found.usable)
    }
}

/// Zones that are not whole hours from UTC, hours.
const BROKEN: [f64; 9] = [3.5, 4.5, 5.5, 5.75, 6.5, 8.75, 9.5, 10.5, 12.75];

/// The time zone, in hours, that a clock offset amounts to: within a minute, for nobody sets a
/// clock so far off by chance.
pub fn zone_of(clock_s: f64) -> Option<f64> {
    const NEAR_S: f64 = 60.0;
    let hours = (1..=14).map(f64::from).chain(BROKEN);
    hours
        .flat_map(|h| [h, -h])
        .find(|h| (clock_s - h * 3600.0).abs() < NEAR_S)
}

/// The unit that a scale error (a fraction, with its standard deviation) amounts to, and how many
/// degrees one of it is.
pub fn unit_of(scale: f64, sigma: f64) -> Option<(&'static str, f64)> {
    const NEAR: f64 = 3.0;
    /// However well it is measured, a gear is seldom exact.
    const LEAST: f64 = 5e-4;
    UNITS
        .into_iter()
        .find(|(_, degrees)| (1.0 + scale - degrees).abs() < (NEAR * sigma).max(LEAST))
}

/// 12.30 as 12 degrees 30 minutes; none when it cannot be that.
fn unpointed(reading: Option<Angle>) -> Option<Option<Angle>> {
    let Some(reading) = reading else {
        return Some(None);
    };
    let degrees = reading.degrees().abs();
    let minutes = (degrees.fract() * 1e6).round() / 1e4;
    if minutes >= 60.0 {
        return None;
    }
    let value = degrees.trunc() + minutes / 60.0;
    Some(Some(Angle::from_degrees(
        value * reading.degrees().signum(),
    )))
}

/// The session does not hold together when this share of the peaks is bad,
const MANY_BAD: f64 = 0.2;
/// or emitters are missed at every one of their peaks, with so many peaks and this share of all:
/// what is wrong with the log as a whole is wrong with emitters as a whole,
const LEAST_MISSED: usize = 2;
const MISSED_SHARE: f64 = 0.05;
/// or the scatter is so large a share of the beamwidth: nobody peaks a signal that badly,
const MOST_SCATTER: f64 = 0.12;
/// or a term is so many times the size that anybody would see.
const TIMES_GLARING: f64 = 1.2;

/// Whether the session as logged fails to hold together.
pub fn falls_apart(ground: &Ground, state: &State) -> bool {
    let peaks = state.kept.len() as f64;
    let bad = state.kept.iter().filter(|k| !**k).count();
    let missed = wholly_missed(ground, state);
    let many = bad as f64 > MANY_BAD * peaks
        || (missed >= LEAST_MISSED && missed as f64 >= MISSED_SHARE * peaks);
    let mut sigmas: Vec<f64> = (state.sigmas.iter().flatten())
        .map(|s| s.radians())
        .collect();
    sigmas.sort_by(f64::total_cmp);
    let typical = sigmas.get(sigmas.len() / 2).copied().unwrap_or(0.0);
    let scatter = Angle::from_radians(typical * state.variance.sqrt());
    let absurd = (ground.free.iter().zip(&state.parameters)).any(|(term, value)| match term {
        Term::AzimuthZero | Term::ElevationZero => false,
        _ => value.abs() > TIMES_GLARING * glaring(*term),
    });
    many || absurd || scatter > ground.beamwidth * MOST_SCATTER
}

/// Peaks of emitters of which not one peak is explained.
fn wholly_missed(ground: &Ground, state: &State) -> usize {
    let emitter_of = |i: usize| ground.cases[i].emitter;
    let explained: Vec<usize> = (0..state.kept.len())
        .filter(|i| state.kept[*i])
        .map(emitter_of)
        .collect();
    (0..state.kept.len())
        .filter(|i| !explained.contains(&emitter_of(*i)))
        .count()
}

/// Peaks on which worlds are screened, at most.
const SCREENED: usize = 40;
/// A world must make the session more likely by this fall of -2 ln likelihood to be fitted whole,
const CLEARLY: f64 = 12.0;
/// and be among so many.
const FITTED: usize = 4;

/// Other places from which a contest may begin, the most promising first.
pub fn beginnings(setting: &Setting<'_>, ground: &Ground) -> Vec<Beginning> {
    let stride = setting.log.peaks.len().div_ceil(SCREENED).max(1);
    let mut thin_log = setting.log.clone();
    thin_log.peaks = thin_log.peaks.into_iter().step_by(stride).collect();
    let thin = Setting {
        log: &thin_log,
        ..*setting
    };
    let rows: Vec<usize> = thin_log.peaks.iter().map(|p| p.row).collect();
    let few = thinned(ground, &rows);
    let limit = screen(&few).map_or(f64::INFINITY, |s| s.cost) - CLEARLY;
    let mut promising: Vec<(f64, World)> = Vec::new();
    for world in World::all() {
        let seen = world.observe(&thin);
        let cost = seen.and_then(|(observations, station, sky)| {
            let mut other = few.clone();
            other.cases = cases(&station, &sky, &observations);
            (other.cases.len() == other.sigmas.len()).then_some(())?;
            Some(screen(&other)?.cost)
        });
        if let Some(cost) = cost.filter(|c| *c < limit) {
            promising.push((cost, world));
        }
    }
    promising.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut found: Vec<Beginning> = promising
        .into_iter()
        .take(FITTED)
        .filter_map(|(_, world)| {
            let (observations, station, sky) = world.observe(setting)?;
            let mut other = ground.clone();
            other.cases = cases(&station, &sky, &observations);
            (other.cases.len() == other.sigmas.len()).then_some(())?;
            let state = other.healthy().ok()?;
            Some(Beginning {
                world: Some(world),
                ground: other,
                state,
            })
        })
        .collect();
    found.extend(far_scale(ground, &few, limit));
    found.extend(far_clock(setting, ground, &few, limit));
    found
}

/// The ground with the peaks of some rows only.
fn thinned(ground: &Ground, rows: &[usize]) -> Ground {
    let mut few = ground.clone();
    let keep: Vec<bool> = (ground.cases.iter())
        .map(|c| rows.contains(&c.observation.peak.row))
        .collect();
    let mut kept = keep.iter();
    few.cases.retain(|_| kept.next().is_some_and(|k| *k));
    let mut kept = keep.iter();
    few.sigmas.retain(|_| kept.next().is_some_and(|k| *k));
    few
}

/// What a look from the zeros alone says of a session.
struct Screened {
    /// -2 ln likelihood with all healthy terms, up to a constant of the peaks.
    cost: f64,
    from: Start,
}

fn screen(ground: &Ground) -> Option<Screened> {
    let from = start(&ground.observations(), &ground.held, &ground.free);
    let begin = zeros(ground, &from);
    let explanation = ground.explanation(&[], &ground.sigmas);
    let look = Look::at(&explanation, &begin, &[], ground.trust_logged());
    let chosen: Vec<usize> = (0..begin.len()).collect();
    let fit = look.fit(&chosen, &vec![true; ground.cases.len()], 1.0)?;
    Some(Screened {
        cost: look.cost(&fit),
        from,
    })
}

/// A scale so wrong that the zeros alone find no start: tried in steps of 2 %.
fn far_scale(ground: &Ground, few: &Ground, limit: f64) -> Option<Beginning> {
    const STEP: f64 = 1.02;
    const MOST_STEPS: i32 = 70;
    let mut best: Option<(Screened, Axis, f64)> = None;
    for axis in [Axis::Azimuth, Axis::Elevation] {
        for k in (-MOST_STEPS..=MOST_STEPS).filter(|k| *k != 0) {
            let factor = STEP.powi(k);
            let mut other = few.clone();
            for case in &mut other.cases {
                let peak = &mut case.observation.peak;
                match axis {
                    Axis::Azimuth => peak.azimuth = peak.azimuth.map(|a| a * factor),
                    _ => peak.elevation = peak.elevation.map(|e| e * factor),
                }
            }
            let nearer = |b: &Option<(Screened, Axis, f64)>, cost: f64| {
                b.as_ref().is_none_or(|(b, _, _)| cost < b.cost)
            };
            if let Some(found) = screen(&other)
                && found.cost < limit
                && nearer(&best, found.cost)
            {
                best = Some((found, axis, factor));
            }
        }
    }
    let (found, axis, factor) = best?;
    let mut begin = zeros(ground, &found.from);
    begin.push(factor - 1.0);
    let kept = vec![true; ground.cases.len()];
    let state = ground.refit(&[Cause::Scale(axis)], &begin, &kept, 1.0)?;
    Some(Beginning {
        world: None,
        ground: ground.clone(),
        state,
    })
}

/// A clock so wrong that satellites are nowhere near: tried up to half an hour either way. Beyond
/// that it is a time zone.
fn far_clock(
    setting: &Setting<'_>,
    ground: &Ground,
    few: &Ground,
    limit: f64,
) -> Option<Beginning> {
    /// Emitters that move faster, a second, need the finer step.
    const FAST: Angle = Angle::from_degrees(0.01);
    const MOST_S: f64 = 1800.0;
    let is_satellite =
        |c: &Case| c.along_orbit.norm_squared() > 0.0 && c.observation.target_rate.norm() > 0.0;
    let fast = |c: &Case| is_satellite(c) && c.observation.target_rate.norm() > FAST.radians();
    let step_s = if ground.cases.iter().any(fast) {
        10.0
    } else {
        60.0
    };
    let most_steps = (MOST_S / step_s) as i32;
    let mut best: Option<(Screened, f64)> = None;
    for k in (-most_steps..=most_steps).filter(|k| *k != 0) {
        let clock_s = step_s * f64::from(k);
        let mut other = few.clone();
        let moved = other.cases.iter_mut().all(|c| {
            let satellite = is_satellite(c);
            let o = &mut c.observation;
            if satellite {
                let time = o.peak.time.plus_seconds(o.clock_offset_s + clock_s);
                let Ok(there) = setting.sky.apparent(&o.peak.emitter, time) else {
                    return false;
                };
                o.target = there.east_north_up();
            } else {
                o.target = (o.target + o.target_rate * clock_s).normalize();
            }
            true
        });
        if !moved {
            continue;
        }
        if let Some(found) = screen(&other)
            && found.cost < limit
            && best.as_ref().is_none_or(|(b, _)| found.cost < b.cost)
        {
            best = Some((found, clock_s));
        }
    }
    let (found, clock_s) = best?;
    let mut other = ground.clone();
    other.cases = setting.look_again(clock_s);
    other.clock_s = clock_s;
    if other.cases.len() != ground.cases.len() {
        return None;
    }
    let mut begin = zeros(&other, &found.from);
    begin.push(clock_s);
    let kept = vec![true; other.cases.len()];
    let state = other.refit(&[Cause::Clock], &begin, &kept, 1.0)?;
    Some(Beginning {
        world: None,
        ground: other,
        state,
    })
}

fn zeros(ground: &Ground, from: &Start) -> Vec<f64> {
    (ground.free.iter())
        .map(|term| match term {
            Term::AzimuthZero => from.azimuth_zero.radians(),
            Term::ElevationZero => from.elevation_zero.radians(),
            _ => 0.0,
        })
        .collect()
}

/// Readings that equal the computed sky positions to less than this share of the beamwidth are
/// no readings: no peak is found so well.
const TOO_GOOD: f64 = 1.0 / 500.0;
/// Peaks needed to say so.
const LEAST_TOO_GOOD: usize = 5;

/// Rms distance between the raw readings and the emitters' directions, when it is so small
/// that the log must hold the sky's positions in the place of readings. The second tells
/// whether the directions are those without air.
pub fn too_good(ground: &Ground) -> Option<(Angle, bool)> {
    let both: Vec<&Case> = (ground.cases.iter())
        .filter(|c| c.observation.coordinates() == 2)
        .collect();
    if both.len() < LEAST_TOO_GOOD {
        return None;
    }
    let rms = |airless: bool| {
        let squares: f64 = both
            .iter()
            .filter_map(|c| {
                let peak = &c.observation.peak;
                let reading = EncoderReading {
                    azimuth: peak.azimuth?,
                    elevation: peak.elevation?,
                };
                let bend = if airless {
                    c.bend
                } else {
                    nalgebra::Vector3::zeros()
                };
                let target = (c.observation.target - bend).normalize();
                let read =
                    Direction::<crate::angle::Apparent>::new(reading.azimuth, reading.elevation);
                let there = Direction::from_east_north_up(&target);
                Some(read.separation(&there).radians().powi(2))
            })
            .sum();
        Angle::from_radians((squares / both.len() as f64).sqrt())
    };
    let (apparent, airless) = (rms(false), rms(true));
    let (least, without_air) = if airless < apparent {
        (airless, true)
    } else {
        (apparent, false)
    };
    (least < ground.beamwidth * TOO_GOOD).then_some((least, without_air))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pointed_minutes_are_read_as_minutes() {
        let value = unpointed(Some(Angle::from_degrees(-12.30)))
            .unwrap()
            .unwrap();
        assert!((value.degrees() + 12.5).abs() < 1e-9, "{value:?}");
        assert!(unpointed(Some(Angle::from_degrees(12.75))).is_none());
    }
}
