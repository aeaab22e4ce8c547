//! Where a contest may begin when the session as logged does not hold together: in another
//! world, at another scale, with another clock.

use crate::angle::Angle;
use crate::mount::Term;
use crate::solve::start::{Start, start};

use super::case::{Case, cases};
use super::cause::Cause;
use super::ground::{Ground, State};
use super::look::Look;
use super::name::Axis;
use super::sound::falls_apart;
use super::worlds::{Setting, World};

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

/// Peaks on which worlds are screened, at most.
const SCREENED: usize = 40;
/// A world must make the session more likely by this fall of -2 ln likelihood to be fitted whole,
const CLEARLY: f64 = 12.0;
/// and be among so many.
const FITTED: usize = 4;

/// Other places from which a contest may begin, the most promising first; only those that hold
/// together when there are such.
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
    let grounds: Vec<(World, Ground)> = promising
        .into_iter()
        .take(FITTED)
        .filter_map(|(_, world)| {
            let (observations, station, sky) = world.observe(setting)?;
            let mut other = ground.clone();
            other.cases = cases(&station, &sky, &observations);
            (other.cases.len() == other.sigmas.len()).then_some((world, other))
        })
        .collect();
    // The right world holds together by itself, and then no other needs a costly search.
    let mut found: Vec<Beginning> = (grounds.iter())
        .filter_map(|(world, ground)| match ground.plain()? {
            (state, true) => Some(Beginning {
                world: Some(world.clone()),
                ground: ground.clone(),
                state,
            }),
            _ => None,
        })
        .collect();
    if !found.is_empty() {
        return found;
    }
    let far = far_scale(ground, &few, limit).into_iter();
    found.extend(far.chain(far_clock(setting, ground, &few, limit)));
    if found.iter().any(|b| !falls_apart(&b.ground, &b.state)) {
        return found;
    }
    found.extend(grounds.into_iter().filter_map(|(world, ground)| {
        let state = ground.healthy().ok()?;
        Some(Beginning {
            world: Some(world),
            ground,
            state,
        })
    }));
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
