//! The guard: what may be sent to a mount, as a function of where it stands, where it was last told
//! to go, where the Sun is and what is demanded now. It has no memory and no clock of its own.

use std::fmt;

use super::axes::{Axes, Beam, Travel};
use super::zone::SunZone;
use crate::angle::Angle;

/// What the guard holds to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rules {
    /// Lowest and highest readings.
    pub range: Travel,
    /// No reading is sent farther ahead of the mount than this, on either axis.
    pub leash: Angle,
    /// Smaller changes of the reading are not sent on.
    pub deadband: Angle,
}

/// Where things stand when a reading is asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Situation {
    /// Where the mount stands.
    pub here: Axes,
    /// What was last sent and may still be on its way; none after a stop or a broken connection.
    pub sent: Option<Axes>,
    /// The zone round the Sun; none when the Sun is down, or by the user's wish.
    pub zone: Option<SunZone>,
}

/// A target.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Goal {
    /// The readings in the end.
    pub at: Axes,
    /// Whether it is a new demand; else it is checked again on the way.
    pub new: bool,
}

/// What the guard allows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum GuardDecision {
    /// Send this reading: the goal itself, or a part of the way.
    Send(Axes),
    /// Send nothing: the change is below the deadband, or the mount is still on a safe path.
    Keep,
    /// Not allowed now, not even by a detour.
    Refuse(Refused),
}

/// Why not.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Refused {
    /// The goal or the position of the mount is not a number.
    NoNumber,
    /// The goal lies beyond the encoders' ranges.
    OutOfRange,
    /// The mount stands so far outside its ranges that the way back is longer than the leash.
    TooFarOutside,
    /// The goal lies in the zone round the Sun.
    GoalNearSun,
    /// Every path there enters the zone round the Sun.
    WayNearSun,
    /// The beam is in the zone round the Sun, and no path out leads steadily away from it.
    NoWayOut,
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Refused::NoNumber => "no number",
            Refused::OutOfRange => "beyond the range of the encoders",
            Refused::TooFarOutside => {
                "the mount stands too far outside its range: bring it back by hand"
            }
            Refused::GoalNearSun => "in the zone round the Sun",
            Refused::WayNearSun => "no way there keeps clear of the zone round the Sun",
            Refused::NoWayOut => {
                "the beam is in the zone round the Sun, and no move leads steadily out of it: move \
                 the dish off by hand"
            }
        })
    }
}

/// How far a moving axis may run on in its old direction when it is told to go another way: at six
/// degrees a second with as much braking it is three degrees (common practice, no source).
const OVERRUN: Angle = Angle::from_degrees(3.0);
/// Detours go through readings this far apart.
const VIA_STEP_DEG: f64 = 5.0;

/// What may be sent now. Whatever that is, it is a number, lies within the ranges and no farther ahead
/// than the leash, and no reading between here and there puts the beam into the zone round the Sun;
/// from inside the zone every way there leads ever farther from the Sun.
pub fn decide(rules: &Rules, beam: &dyn Beam, situation: &Situation, goal: Goal) -> GuardDecision {
    let here = situation.here;
    if !(goal.at.is_finite() && here.is_finite()) {
        return GuardDecision::Refuse(Refused::NoNumber);
    }
    if !rules.range.holds(goal.at) {
        return GuardDecision::Refuse(Refused::OutOfRange);
    }
    if rules.range.beyond(here) > rules.leash {
        return GuardDecision::Refuse(Refused::TooFarOutside);
    }
    let next = match &situation.zone {
        None => goal.at,
        Some(zone) => match way(rules, beam, situation, zone, goal.at) {
            Ok(next) => next,
            Err(refused) => return GuardDecision::Refuse(refused),
        },
    };
    if let Some(sent) = situation.sent {
        if sent.way_to(goal.at) < rules.deadband {
            return GuardDecision::Keep;
        }
        // With half the leash left, the mount does not slow down for its target.
        let runs = here.way_to(sent) > rules.leash / 2.0;
        if !goal.new && runs && Travel::between(here, next).holds(sent) {
            return GuardDecision::Keep;
        }
    }
    let step = rules.range.nearest(here.toward(next, rules.leash));
    match situation.sent {
        Some(sent) if sent.way_to(step) < rules.deadband => GuardDecision::Keep,
        _ => GuardDecision::Send(step),
    }
}

/// The first corner of the shortest way that keeps clear of the zone, or out of it.
fn way(
    rules: &Rules,
    beam: &dyn Beam,
    situation: &Situation,
    zone: &SunZone,
    goal: Axes,
) -> Result<Axes, Refused> {
    if zone.holds(beam, goal) {
        return Err(Refused::GoalNearSun);
    }
    let here = situation.here;
    if zone.holds(beam, here) {
        return way_out(rules, beam, zone, here, goal).ok_or(Refused::NoWayOut);
    }
    // A moving axis overruns a little before it turns.
    let start = Travel::at(here);
    let start = match situation.sent {
        Some(sent) => start.and(here.toward(sent, OVERRUN)),
        None => start,
    };
    let clear = |from: Travel, to: Axes| !zone.is_entered_by(beam, from.and(to));
    if clear(start, goal) {
        return Ok(goal);
    }
    // Where the run-on itself would enter, it can only be kept short: by going another way at once.
    let start = match clear(start, here) {
        true => start,
        false => Travel::at(here),
    };
    let mut ways: Vec<[Axes; 2]> = Vec::new();
    for (axis, other) in [(0, 1), (1, 0)] {
        let mut via = vec![here.0[axis], goal.0[axis]];
        via.extend(grid(rules.range.low.0[axis], rules.range.high.0[axis]));
        for via in via {
            let (mut one, mut two) = (here, goal);
            one.0[axis] = via;
            two.0[axis] = via;
            two.0[other] = goal.0[other];
            ways.push([one, two]);
        }
    }
    let length = |[one, two]: &[Axes; 2]| {
        (here.way_to(*one) + one.way_to(*two) + two.way_to(goal)).radians()
    };
    ways.retain(|corners| corners.iter().all(|c| rules.range.holds(*c)));
    ways.sort_by(|p, q| length(p).total_cmp(&length(q)));
    (ways.into_iter())
        .find_map(|[one, two]| {
            // The first corner that is not here already, if all legs are clear.
            let mut first = None;
            let (mut from, mut place) = (start, here);
            for corner in [one, two, goal] {
                if corner == place {
                    continue;
                }
                if !clear(from, corner) {
                    return None;
                }
                first = first.or(Some(corner));
                (from, place) = (Travel::at(corner), corner);
            }
            first
        })
        .ok_or(Refused::WayNearSun)
}

/// The first corner of the shortest way out of the zone.
fn way_out(rules: &Rules, beam: &dyn Beam, zone: &SunZone, here: Axes, goal: Axes) -> Option<Axes> {
    let leads_out = |to: Axes| {
        let step = rules.range.nearest(here.toward(to, rules.leash));
        zone.is_left_by(beam, here, step)
    };
    if leads_out(goal) {
        return Some(goal);
    }
    let mut corners: Vec<Axes> = Vec::new();
    for axis in [0, 1] {
        for via in grid(rules.range.low.0[axis], rules.range.high.0[axis]) {
            let mut corner = rules.range.nearest(here);
            corner.0[axis] = via;
            if !zone.holds(beam, corner) {
                corners.push(corner);
            }
        }
    }
    corners.sort_by(|p, q| (here.way_to(*p).radians()).total_cmp(&here.way_to(*q).radians()));
    corners.into_iter().find(|corner| leads_out(*corner))
}

/// Readings of an axis at equal steps, the ends among them.
fn grid(low: Angle, high: Angle) -> impl Iterator<Item = Angle> {
    let step = Angle::from_degrees(VIA_STEP_DEG);
    let first = (low.degrees() / VIA_STEP_DEG).ceil() as i64;
    let last = (high.degrees() / VIA_STEP_DEG).floor() as i64;
    [low, high]
        .into_iter()
        .chain((first..=last).map(move |k| step * k as f64))
}

/// How far a reading lies off a path, which is everything between the positions it leads through:
/// where the mount was when it was sent somewhere, and where it was sent. `None` if it lies on the
/// path, or within the tolerance for rounding and overrun.
pub fn strayed(way: &[Axes], now: Axes) -> Option<Angle> {
    /// Tolerance for rounding, play and overrun.
    const ROOM: Angle = Angle::from_degrees(2.0);
    let (first, rest) = way.split_first()?;
    let way = rest
        .iter()
        .fold(Travel::at(*first), |way, place| way.and(*place));
    let off = way.beyond(now);
    // NaN has strayed.
    if off <= ROOM && now.is_finite() {
        return None;
    }
    Some(off)
}
