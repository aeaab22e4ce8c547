//! Cuts across the Sun: in, across and out of its zone within seconds.

use super::machine::{ObservationRun, Phase};
use super::pattern::Stretch;
use super::state::Stage;
use super::watch::StopCause;
use crate::angle::Angle;
use crate::live::{Drive, Loudness};

/// Longest time of a cut in the zone round the Sun, seconds.
pub(super) const SUN_CUT_S: f64 = 20.0;
/// Time in the zone that raises an alarm, seconds: a third more than a cut may take cannot be a
/// delay of the daemon.
const SUN_ALARM_S: f64 = 27.0;
/// Time out of the zone before the next cut, seconds.
pub(super) const SUN_PAUSE_S: f64 = 60.0;

impl ObservationRun {
    /// Prepares a cut across the Sun, which begins and ends where the beam is clear of it.
    pub(super) fn prepare_sun_cut(&mut self, mut stretch: Stretch) {
        let radius = self.zone_now.unwrap_or(Angle::ZERO) + Angle::from_degrees(2.0);
        let Phase::Moving(mv) = &mut self.phase else {
            return;
        };
        let axis = usize::from(stretch.from[1] != stretch.to[1]);
        let side = (stretch.to[axis] - stretch.from[axis]).radians().signum();
        let place = |far: f64| {
            let mut offset = stretch.from;
            offset[axis] = radius.max(stretch.from[axis].abs()) * far;
            offset
        };
        let within = |offset: [Angle; 2]| self.range.holds(mv.at(offset));
        let (before, behind) = (place(-side), place(side));
        let clear = match (within(before), within(behind)) {
            (true, true) => [before, behind],
            (true, false) => [before, before],
            (false, true) => [behind, behind],
            (false, false) => return self.put_aside("no way in and out of the zone round the Sun"),
        };
        if clear[0] == clear[1] && clear[0] == behind {
            std::mem::swap(&mut stretch.from, &mut stretch.to);
        }
        let run = |one: [Angle; 2], other: [Angle; 2]| {
            (one[axis] - other[axis]).abs() / (self.fastest * mv.rates[axis])
        };
        let runs = run(clear[0], stretch.from) + run(stretch.to, clear[1]);
        // Speeding up, braking and the pauses between readings.
        const TURNS_S: f64 = 5.0;
        let left = SUN_CUT_S - runs - TURNS_S;
        let most = self.fastest * mv.rates[axis] * 0.9;
        let needed = match left > 0.5 {
            true => stretch.speed.max(stretch.length() / left),
            false => most * 2.0,
        };
        if needed > most {
            return self.put_aside(
                "the mount is too slow to pass the zone round the Sun within 20 s: give --sun a \
                 smaller zone, or leave the Sun out",
            );
        }
        stretch.speed = needed;
        mv.stretch = Some(stretch);
        mv.clear = Some(clear);
        self.watch.begin(None, self.now);
    }

    /// Suspends the guard round the Sun for a cut.
    pub(super) fn enter_zone(&mut self) {
        self.in_zone = Some(self.now);
        self.drive(Drive::Zone(None));
        let Phase::Moving(mv) = &mut self.phase else {
            return;
        };
        mv.stage = Stage::In;
        self.watch.begin(None, self.now);
    }

    pub(super) fn leave_zone(&mut self) {
        let Phase::Moving(mv) = &mut self.phase else {
            return;
        };
        mv.stage = Stage::Out;
        self.watch.begin(None, self.now);
    }

    /// Restores the guard once the beam is clear of the Sun.
    pub(super) fn left_zone(&mut self) {
        if self.in_zone.take().is_some() {
            self.sun_left = Some(self.now);
            let zone = self.zone_now;
            self.drive(Drive::Zone(zone));
        }
    }

    /// Breaks off a cut across the Sun that takes too long.
    pub(super) fn look_at_sun_time(&mut self) {
        let Some(since) = self.in_zone else { return };
        let seconds = self.now.saturating_sub(since).as_secs_f64();
        if seconds > SUN_ALARM_S {
            self.halt(StopCause::SunTooLong);
            return;
        }
        let Phase::Moving(mv) = &self.phase else {
            return;
        };
        if seconds > SUN_CUT_S - 4.0 && !matches!(mv.stage, Stage::Out) {
            self.leave_zone();
            self.tell(
                Loudness::Warning,
                "the cut across the Sun took too long and is cut short".to_owned(),
            );
        }
    }
}
