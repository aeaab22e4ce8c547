//! The causes that must end a move, each with its deadline. A function of the commands to the mount
//! and the reports of mount and receiver; no clock of its own.

use std::fmt;
use std::time::Duration;

use crate::angle::Angle;
use crate::live::{Axes, Travel};

/// Why the mount was stopped.
#[derive(Clone, Debug, PartialEq)]
pub enum StopCause {
    /// By the operator: how.
    Person(String),
    /// It does not report its position.
    Missing,
    /// An axis does not move toward its target.
    NoProgress {
        /// Axis 1 or axis 2, counted from 0.
        axis: usize,
        /// For so long.
        seconds: f64,
    },
    /// An axis moves away from its target.
    WrongWay {
        /// Counted from 0.
        axis: usize,
        /// By so much.
        by: Angle,
    },
    /// A reading lies outside the ranges of the station file.
    OutOfRange {
        /// By so much.
        by: Angle,
    },
    /// The reading changes faster than the mount can move.
    TooFast {
        /// Counted from 0.
        axis: usize,
        /// A second.
        speed: Angle,
    },
    /// The receiver sends nothing.
    SilentReceiver {
        /// For so long.
        seconds: f64,
    },
    /// The receiver shows its greatest power where the peak should be.
    Saturated,
    /// The axes are not where their encoders say.
    Slipped {
        /// Which emitter shows it.
        emitter: String,
        /// By so much.
        by: Angle,
    },
    /// A stop was acknowledged but not obeyed.
    Disobeyed,
    /// The connection to the mount is gone.
    Lost(String),
    /// The guard stopped it, or refused the way.
    Guard(String),
    /// Too long in the zone round the Sun.
    SunTooLong,
    /// No emitter was found where several should be.
    NothingHeard {
        /// So many in a row.
        emitters: u32,
    },
}

/// Names of the axes.
pub const fn axis_name(axis: usize) -> &'static str {
    match axis {
        0 => "axis 1",
        _ => "axis 2",
    }
}

impl fmt::Display for StopCause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            StopCause::Person(how) => f.write_str(how),
            StopCause::Missing => f.write_str("the mount has not reported its position for 3 s"),
            StopCause::NoProgress { axis, seconds } => write!(
                f,
                "{} has not moved toward its target for {seconds:.0} s: stuck, its power off, or its \
                 encoder frozen",
                axis_name(*axis)
            ),
            StopCause::WrongWay { axis, by } => write!(
                f,
                "{} is moving away from its target, {:.1} deg so far",
                axis_name(*axis),
                by.degrees()
            ),
            StopCause::OutOfRange { by } => write!(
                f,
                "the mount is {:.1} deg outside the ranges of the station file",
                by.degrees()
            ),
            StopCause::TooFast { axis, speed } => write!(
                f,
                "the reading of {} changes by {:.0} deg a second, faster than the mount can move",
                axis_name(*axis),
                speed.degrees()
            ),
            StopCause::SilentReceiver { seconds } => {
                write!(f, "the receiver has said nothing for {seconds:.0} s")
            }
            StopCause::Saturated => {
                f.write_str("the receiver is saturated on the peak: a flat top")
            }
            StopCause::Slipped { emitter, by } => write!(
                f,
                "{emitter} peaked {:.1} deg from where it peaked before: an axis or the dish has \
                 slipped, or an encoder lost steps",
                by.degrees()
            ),
            StopCause::Disobeyed => f.write_str("the mount does not obey a stop"),
            StopCause::Lost(why) => write!(f, "the connection to the mount is gone ({why})"),
            StopCause::Guard(why) => f.write_str(why),
            StopCause::NothingHeard { emitters } => {
                write!(f, "no signal was found from {emitters} emitters in a row")
            }
            StopCause::SunTooLong => f.write_str("more than 20 s in the zone round the Sun"),
        }
    }
}

impl StopCause {
    /// What to do about it before going on, as sentences without the last full stop.
    pub fn advice(&self) -> &'static str {
        match self {
            StopCause::Person(_) => "Go on when it is safe",
            StopCause::Missing | StopCause::Lost(_) => {
                "Check the daemon, its cable and the controller; wait until it is connected again"
            }
            StopCause::NoProgress { .. } => {
                "Isolate the power before touching gears; check the drive and its fuse, and that the \
                 encoder turns with the axis"
            }
            StopCause::WrongWay { .. } => {
                "Check which way the motor and the encoder turn, and the controller's limits"
            }
            StopCause::OutOfRange { .. } => {
                "Bring the mount back within its ranges by hand, or correct the ranges in the \
                 station file"
            }
            StopCause::TooFast { .. } => {
                "Check that the mount is where its encoders say it is, and check the encoder's cable"
            }
            StopCause::SilentReceiver { .. } => "Start the receiver's stream again",
            StopCause::Saturated => {
                "Lower the gain, switch the automatic gain off, or put an attenuator in"
            }
            StopCause::Slipped { .. } => {
                "Look for a slipping clutch, a loose grub screw, lost steps; what was measured \
                 before stays in the log, and solve finds the row from which it changed"
            }
            StopCause::Disobeyed => "Cut its power; it must not be driven until a stop works",
            StopCause::NothingHeard { .. } => {
                "Check the receiver, its band and its polarisation, the clock and the site, and \
                 whether the zeros are further off than was stated"
            }
            StopCause::Guard(_) | StopCause::SunTooLong => {
                "Make sure that the beam is clear of the Sun; if it is not, move the dish off by hand"
            }
        }
    }
}

/// Longest gap in the positions while an axis moves.
pub const MISSING: Duration = Duration::from_secs(3);
/// Longest time that an axis may stand short of its target,
pub const NO_PROGRESS: Duration = Duration::from_secs(5);
/// or the time for this many steps of its encoder at its usual speed, if that is longer.
const NO_PROGRESS_STEPS: f64 = 4.0;
/// Longest silence of the receiver,
pub const SILENT: Duration = Duration::from_secs(3);
/// or this many of its usual intervals, if that is longer.
const SILENT_LINES: f64 = 6.0;
/// An axis this much farther from its target than its nearest so far goes the wrong way.
const WRONG_WAY: Angle = Angle::from_degrees(1.5);
/// Longest overrun of an axis after a new target.
const RUN_ON: Duration = Duration::from_millis(1500);
/// A target this far from the previous one begins a new move.
const ANOTHER_PLACE: Angle = Angle::from_degrees(1.2);
/// Tolerance for rounding and overrun beyond the ranges.
const OUTSIDE: Angle = Angle::from_degrees(0.5);
/// A reading that changes faster than this multiple of the usual speed, plus a margin, is a fault.
const TOO_FAST: f64 = 2.0;
/// Room for a reading that comes late. Common practice, no source.
const TOO_FAST_MORE: Angle = Angle::from_degrees(4.0);

/// What one axis is doing.
#[derive(Clone, Copy, Debug, Default)]
struct WatchedAxis {
    target: Option<Angle>,
    /// Since when its target is of the same move.
    since: Duration,
    /// Nearest to it so far, and where that was.
    nearest: Option<(Angle, Angle)>,
    /// Where it was when it last moved, and when that was.
    moved: Option<(Angle, Duration)>,
}

/// Watches a mount and a receiver.
#[derive(Clone, Debug)]
pub struct MountWatch {
    range: Travel,
    axes: [WatchedAxis; 2],
    reading: Option<(Axes, Duration)>,
    resolution: Angle,
    usual_speed: Option<Angle>,
    /// Of the move that goes on, when it is slower.
    speed: Option<Angle>,
    /// An axis this near its target may stand.
    near: Angle,
    power: Option<Duration>,
    lines_a_second: f64,
}

impl MountWatch {
    /// Watches a mount with these ranges.
    pub fn new(range: Travel) -> MountWatch {
        MountWatch {
            range,
            axes: [WatchedAxis::default(); 2],
            reading: None,
            resolution: Angle::from_degrees(0.1),
            usual_speed: None,
            speed: None,
            near: Angle::from_degrees(0.3),
            power: None,
            lines_a_second: 10.0,
        }
    }

    /// What the mount was seen to do, the step of its encoders, and how near its target an axis may
    /// stand.
    pub fn usual(&mut self, speed: Angle, resolution: Angle, near: Angle) {
        self.near = near;
        self.usual_speed = Some(speed);
        self.resolution = resolution;
    }

    /// How many lines the receiver usually sends.
    pub fn lines(&mut self, a_second: f64) {
        self.lines_a_second = a_second;
    }

    /// A new move begins, at this speed if it is a slow one: what an axis did before counts no more.
    pub fn begin(&mut self, speed: Option<Angle>, now: Duration) {
        self.speed = speed;
        self.axes = [WatchedAxis {
            since: now,
            ..WatchedAxis::default()
        }; 2];
    }

    /// The mount was told to go here. A target on quite another place is a new way of that axis: round
    /// about something, or farther on.
    pub fn aim(&mut self, target: Axes, now: Duration) {
        for (axis, target) in self.axes.iter_mut().zip(target.0) {
            let leaps = axis
                .target
                .is_none_or(|old| (old - target).abs() > ANOTHER_PLACE);
            if leaps {
                axis.since = now;
                axis.nearest = None;
                // It had nothing to do until now.
                axis.moved = axis.moved.map(|(place, _)| (place, now));
            }
            axis.target = Some(target);
        }
    }

    /// Ends the move: the mount is to stand.
    pub fn rest(&mut self) {
        self.axes = [WatchedAxis::default(); 2];
    }

    /// Notes that the receiver sent something.
    pub fn power(&mut self, now: Duration) {
        self.power = Some(now);
    }

    /// The receiver counts as heard just now: a new wait begins.
    pub fn listen(&mut self, now: Duration) {
        self.power = Some(now);
    }

    /// Checks a reading; returns the cause if the move must end.
    pub fn reading(&mut self, axes: Axes, at: Duration) -> Option<StopCause> {
        let before = self.reading.replace((axes, at));
        let beyond = self.range.beyond(axes);
        let moving = self.axes.iter().any(|axis| axis.target.is_some());
        if beyond > OUTSIDE && moving && before.is_some_and(|(b, _)| self.range.beyond(b) < beyond)
        {
            return Some(StopCause::OutOfRange { by: beyond });
        }
        if let (Some((was, then)), Some(usual)) = (before, self.usual_speed) {
            let seconds = at.saturating_sub(then).as_secs_f64();
            for i in [0, 1] {
                let way = (axes.0[i] - was.0[i]).abs();
                let most = (usual * TOO_FAST + TOO_FAST_MORE) * seconds + self.resolution * 2.0;
                if way > most && seconds > 0.0 {
                    return Some(StopCause::TooFast {
                        axis: i,
                        speed: way / seconds,
                    });
                }
            }
        }
        let room = self.resolution * 2.0;
        let there = room.max(self.near);
        for (i, axis) in self.axes.iter_mut().enumerate() {
            let Some(target) = axis.target else { continue };
            let here = axes.0[i];
            let left = (target - here).abs();
            let moved = match axis.moved {
                Some((place, _)) => (here - place).abs() >= self.resolution * 0.9,
                None => true,
            };
            // At its target it need not move.
            if moved || left <= there {
                axis.moved = Some((here, at));
            }
            let (nearest, place) = match axis.nearest {
                Some((nearest, place)) if nearest <= left => (nearest, place),
                _ => (left, here),
            };
            axis.nearest = Some((nearest, place));
            // A target that runs ahead of a slow axis does not make it go the wrong way.
            let away = (place - here) * (target - here).radians().signum();
            let ran_on = at.saturating_sub(axis.since) < RUN_ON;
            if ran_on {
                axis.nearest = Some((left, here));
            } else if away > WRONG_WAY + room && left > nearest + WRONG_WAY {
                return Some(StopCause::WrongWay { axis: i, by: away });
            }
        }
        None
    }

    /// Checks deadlines; returns the cause if the move must end.
    pub fn time_passes(&mut self, now: Duration, listening: bool) -> Option<StopCause> {
        let moving = self.axes.iter().any(|axis| axis.target.is_some());
        if moving {
            let since = self.axes.iter().map(|a| a.since).max().unwrap_or(now);
            let heard = self.reading.map_or(since, |(_, at)| at.max(since));
            if now.saturating_sub(heard) > MISSING {
                return Some(StopCause::Missing);
            }
        }
        let speed = match (self.usual_speed, self.speed) {
            (Some(usual), Some(slow)) => Some(usual.min(slow)),
            (one, other) => one.or(other),
        };
        let steps = speed.map_or(0.0, |v| NO_PROGRESS_STEPS * (self.resolution / v));
        let patience = NO_PROGRESS.max(Duration::from_secs_f64(steps.clamp(0.0, 600.0)));
        let room = (self.resolution * 2.0).max(self.near);
        if let Some((here, _)) = self.reading {
            for (i, axis) in self.axes.iter().enumerate() {
                let (Some(target), Some((_, at))) = (axis.target, axis.moved) else {
                    continue;
                };
                let left = (target - here.0[i]).abs();
                let stood = now.saturating_sub(at);
                if left > room && stood > patience {
                    return Some(StopCause::NoProgress {
                        axis: i,
                        seconds: stood.as_secs_f64(),
                    });
                }
            }
        }
        if listening && let Some(at) = self.power {
            let usual = Duration::from_secs_f64(SILENT_LINES / self.lines_a_second.max(0.01));
            let silent = now.saturating_sub(at);
            if silent > SILENT.max(usual) {
                return Some(StopCause::SilentReceiver {
                    seconds: silent.as_secs_f64(),
                });
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn deg(d: f64) -> Angle {
        Angle::from_degrees(d)
    }
    fn s(seconds: f64) -> Duration {
        Duration::from_secs_f64(seconds)
    }

    fn watch() -> MountWatch {
        let mut watch = MountWatch::new(Travel {
            low: Axes::from_degrees(-180.0, 0.0),
            high: Axes::from_degrees(540.0, 90.0),
        });
        watch.usual(deg(6.0), deg(0.1), deg(0.3));
        watch
    }

    /// The first cause within so many seconds, when the axes stand at `at` after so long, and when.
    fn first(
        watch: &mut MountWatch,
        most: f64,
        at: impl Fn(f64) -> Option<[f64; 2]>,
    ) -> Option<(f64, StopCause)> {
        let mut t = 0.0;
        while t <= most {
            if let Some([one, two]) = at(t)
                && let Some(cause) = watch.reading(Axes::from_degrees(one, two), s(t))
            {
                return Some((t, cause));
            }
            if let Some(cause) = watch.time_passes(s(t), false) {
                return Some((t, cause));
            }
            t += 0.2;
        }
        None
    }

    #[test]
    fn an_axis_that_stands_is_noticed_within_six_seconds() {
        let mut watch = watch();
        watch.begin(None, s(0.0));
        watch.aim(Axes::from_degrees(50.0, 10.0), s(0.0));
        let stuck = |t: f64| Some([(6.0 * t).min(12.0), 10.0]);
        let (at, cause) = first(&mut watch, 60.0, stuck).unwrap();
        assert!((7.0..8.0).contains(&at), "{at}");
        assert!(
            matches!(cause, StopCause::NoProgress { axis: 0, .. }),
            "{cause:?}"
        );
        // A coarse encoder of a slow mount is given its time.
        let mut slow = super::tests::watch();
        slow.usual(deg(0.05), deg(1.0), deg(0.3));
        slow.begin(None, s(0.0));
        slow.aim(Axes::from_degrees(50.0, 10.0), s(0.0));
        let coarse = |t: f64| Some([(0.05 * t).floor(), 10.0]);
        assert_eq!(first(&mut slow, 200.0, coarse), None);
    }

    #[test]
    fn an_axis_that_goes_the_wrong_way_is_noticed_within_three_seconds() {
        let mut watch = watch();
        watch.begin(None, s(0.0));
        watch.aim(Axes::from_degrees(50.0, 10.0), s(0.0));
        let away = |t: f64| Some([-6.0 * t, 10.0]);
        let (at, cause) = first(&mut watch, 60.0, away).unwrap();
        assert!(at <= 3.0, "{at}");
        assert!(
            matches!(cause, StopCause::WrongWay { axis: 0, .. }),
            "{cause:?}"
        );
    }

    #[test]
    fn missing_positions_end_a_move_after_three_seconds_and_nothing_else() {
        let mut watch = watch();
        watch.begin(None, s(0.0));
        watch.aim(Axes::from_degrees(50.0, 10.0), s(0.0));
        let gone = |t: f64| (t < 1.0).then_some([6.0 * t, 10.0]);
        let (at, cause) = first(&mut watch, 60.0, gone).unwrap();
        assert!((3.5..4.5).contains(&at), "{at}");
        assert_eq!(cause, StopCause::Missing);
        let mut resting = super::tests::watch();
        resting.rest();
        assert_eq!(first(&mut resting, 60.0, gone), None);
    }

    #[test]
    fn readings_outside_the_ranges_and_impossible_speeds_are_noticed_at_once() {
        let mut watch = watch();
        watch.begin(None, s(0.0));
        watch.aim(Axes::from_degrees(50.0, 0.5), s(0.0));
        let falls = |t: f64| Some([50.0, 1.0 - t]);
        let (at, cause) = first(&mut watch, 60.0, falls).unwrap();
        assert!((1.4..2.2).contains(&at), "{at}");
        assert!(matches!(cause, StopCause::OutOfRange { .. }), "{cause:?}");
        let mut watch = super::tests::watch();
        watch.begin(None, s(0.0));
        watch.aim(Axes::from_degrees(50.0, 10.0), s(0.0));
        let leaps = |t: f64| Some([if t < 1.0 { 6.0 * t } else { 6.0 * t + 8.0 }, 10.0]);
        let (at, cause) = first(&mut watch, 60.0, leaps).unwrap();
        assert!((0.9..1.3).contains(&at), "{at}");
        assert!(
            matches!(cause, StopCause::TooFast { axis: 0, .. }),
            "{cause:?}"
        );
    }

    #[test]
    fn a_silent_receiver_is_noticed_after_three_seconds_or_six_of_its_pauses() {
        let mut watch = watch();
        watch.power(s(10.0));
        assert_eq!(watch.time_passes(s(12.9), true), None);
        assert_eq!(watch.time_passes(s(20.0), false), None);
        let cause = watch.time_passes(s(13.2), true);
        assert!(matches!(cause, Some(StopCause::SilentReceiver { .. })));
        watch.lines(0.5);
        assert_eq!(watch.time_passes(s(13.2), true), None);
        assert!(watch.time_passes(s(22.5), true).is_some());
    }

    #[test]
    fn a_good_move_is_left_alone() {
        let mut watch = watch();
        watch.begin(None, s(0.0));
        watch.aim(Axes::from_degrees(50.0, 30.0), s(0.0));
        let good = |t: f64| Some([(6.0 * t).min(50.0), (10.0 + 6.0 * t).min(30.0)]);
        assert_eq!(first(&mut watch, 60.0, good), None);
    }
}
