//! Checks before anything is measured: the ranges, the rehearsal, arming, and the test that each
//! axis moves and stops as commanded.

use std::time::Duration;

use super::events::Ending;
use super::machine::{ObservationRun, Phase, Purpose};
use super::state::StopTest;
use super::watch::{StopCause, axis_name};
use crate::angle::Angle;
use crate::live::{Axes, Drive, Loudness, Operator};

/// Why the mount is stopped while its stop is tested.
pub(super) const STOP_TEST: &str = "the test of the stop";

/// An axis is moved for this long, or by `MOVED_BY`, before it is stopped.
const MOVED_FOR: Duration = Duration::from_secs(3);
/// Enough of a move to be sure of its speed, and little enough for any room around the mount. Common
/// practice, no source.
const MOVED_BY: Angle = Angle::from_degrees(5.0);
/// Distance commanded, so that the stop comes in the middle of the move.
const TOLD: Angle = Angle::from_degrees(20.0);
/// It must be at rest within this time after the stop.
const HALTS_WITHIN: Duration = Duration::from_secs(2);
/// A poll and its answer may be late by this.
const POLL_ROOM: Duration = Duration::from_millis(500);
/// Ranges of daemon and station may differ by this.
const SAME_RANGE: Angle = Angle::from_degrees(0.5);
/// The other axis may move by no more than this meanwhile.
const OTHER_STANDS: Angle = Angle::from_degrees(0.5);

impl ObservationRun {
    /// Handles the first reports of the mount.
    pub(super) fn connected(&mut self) {
        if !matches!(self.phase, Phase::Connecting) || self.reading.is_none() {
            return;
        }
        if !std::mem::replace(&mut self.limits_asked, true) {
            self.drive(Drive::Limits);
            return;
        }
        let Some(limits) = self.limits else { return };
        match limits {
            None => self.tell(
                Loudness::Warning,
                "the daemon does not tell its ranges: see yourself that those of the station file are \
                 the mount's"
                    .to_owned(),
            ),
            Some(limits) => {
                let apart = [
                    (limits.low, self.range.low),
                    (limits.high, self.range.high),
                ];
                // A daemon may allow more than the station file, never less.
                let short = (0..2).any(|i| {
                    limits.low.0[i] > self.range.low.0[i] + SAME_RANGE
                        || limits.high.0[i] < self.range.high.0[i] - SAME_RANGE
                });
                if short {
                    let [low_1, low_2] = limits.low.degrees();
                    let [high_1, high_2] = limits.high.degrees();
                    self.tell(
                        Loudness::Warning,
                        format!(
                            "the daemon's ranges are {low_1} to {high_1} and {low_2} to {high_2} deg, \
                             narrower than those of the station file: readings beyond them are refused \
                             by the daemon. Put right azimuth_range_deg or elevation_range_deg, or the \
                             daemon's limits"
                        ),
                    );
                    self.out
                        .push(super::events::Action::End(Ending::BrokenOff(
                            "daemon and station file do not agree on the ranges".to_owned(),
                        )));
                    self.phase = Phase::Ended;
                    return;
                }
                if apart.iter().any(|(one, other)| one.way_to(*other) > SAME_RANGE) {
                    self.note(
                        "the daemon's ranges are wider than the station file's, which count".to_owned(),
                    );
                }
            }
        }
        self.start_on_hand();
        self.evaluate(Purpose::Rehearsal);
    }

    /// Sets the zeros by the emitter that was put in the beam by hand.
    fn start_on_hand(&mut self) {
        let (Some(id), Some((here, _))) = (self.settings.start_on, self.reading) else {
            return;
        };
        let Ok(direction) = self.sky.apparent_of(id, self.utc) else {
            return;
        };
        let beamwidth = self.station.dish.beamwidth;
        self.prior = super::knowledge::Knowledge::on_emitter(
            here.into(),
            direction,
            beamwidth,
            self.station.mount.geometry,
        );
        self.knowledge = self.prior.clone();
        self.settings.uncalibrated = false;
        self.note(format!(
            "taken from {} in the beam: the zeros, to half a beam",
            self.sky.name(id)
        ));
        self.replace_model();
    }

    /// Handles the end of the rehearsal, once the plan is shown.
    pub(super) fn rehearsed(&mut self) {
        if self.settings.rehearse {
            self.phase = Phase::Ended;
            self.out.push(super::events::Action::End(Ending::Rehearsed));
            return;
        }
        self.phase = Phase::Rehearsed;
        self.note(format!(
            "this machine's clock says {}: if that is right, nobody is near the axes, and the isolating \
             switch is in reach, type arm and Enter: each axis is then moved some degrees and stopped",
            self.utc
        ));
    }

    /// Handles a key: a letter of the word that is waited for, or a stop.
    pub(super) fn key(&mut self, key: u8) {
        if let Some(word) = self.waits_for() {
            match key {
                b'\r' | b'\n' => {
                    let typed = std::mem::take(&mut self.words);
                    let typed = typed.trim();
                    if typed.eq_ignore_ascii_case(word) {
                        self.word(word);
                    } else if typed.eq_ignore_ascii_case("q") {
                        self.end(Ending::BrokenOff("the key q".to_owned()));
                    } else if !typed.is_empty() {
                        self.note(format!(
                            "type {word} and Enter to go on, or q and Enter to end"
                        ));
                    }
                }
                0x7f | 0x08 => drop(self.words.pop()),
                key => self.words.push(char::from(key)),
            }
            return;
        }
        let held = matches!(self.phase, Phase::Held(_));
        match key {
            b'q' | b'Q' => self.end(Ending::BrokenOff("the key q".to_owned())),
            b'c' | b'C' if held => self.go_on(),
            // The ends of lines that words were typed on, and what is typed into a halt.
            b'\r' | b'\n' => {}
            _ if held => {
                self.note("stopped already; c goes on, q ends".to_owned());
            }
            _ => self.halt(StopCause::Person("a key".to_owned())),
        }
    }

    fn word(&mut self, word: &str) {
        match word {
            "arm" => self.begin_test(0, 1.0),
            _ => {
                self.until = Some(self.utc.plus_seconds(self.settings.for_s));
                self.evaluate(Purpose::Choice);
            }
        }
    }

    /// Tests an axis to one side.
    fn begin_test(&mut self, axis: usize, side: f64) {
        let Some((here, _)) = self.reading else {
            self.halt(StopCause::Missing);
            return;
        };
        let room = |side: f64| match side > 0.0 {
            true => self.range.high.0[axis] - here.0[axis],
            false => here.0[axis] - self.range.low.0[axis],
        };
        // To where there is more room, unless that was refused already.
        let first = if room(1.0) >= room(-1.0) { 1.0 } else { -1.0 };
        let way = first * side;
        let far = TOLD.min(room(way) - Angle::from_degrees(1.0));
        if far < MOVED_BY {
            self.test_failed(format!(
                "{} has no room to be tested in: bring the mount away from its limits by hand",
                axis_name(axis)
            ));
            return;
        }
        let mut target = here;
        target.0[axis] += far * way;
        self.phase = Phase::Testing(StopTest {
            axis,
            side,
            from: here,
            target,
            moved: None,
            stopped: None,
            fastest: Angle::ZERO,
            began: self.now,
            refused: false,
        });
        self.watch.begin(None, self.now);
        self.target = Some(target);
        self.drive(Drive::To(target));
    }

    /// Handles the guard's refusal of a test in that direction.
    pub(super) fn test_refused(&mut self, why: &str) {
        let Phase::Testing(test) = &mut self.phase else {
            return;
        };
        if std::mem::replace(&mut test.refused, true) {
            return;
        }
        let (axis, side) = (test.axis, test.side);
        match side > 0.0 {
            true => self.begin_test(axis, -1.0),
            false => self.test_failed(format!("{} cannot be tested: {why}", axis_name(axis))),
        }
    }

    /// Handles a reading while an axis is tested.
    pub(super) fn test_position(&mut self, axes: Axes) {
        let speed = self.speed_lately();
        let resolution = self.resolution_lately();
        let (now, sent) = (self.now, self.last_sent);
        let Phase::Testing(test) = &mut self.phase else {
            return;
        };
        let axis = test.axis;
        let way = axes.0[axis] - test.from.0[axis];
        let wanted = (test.target.0[axis] - test.from.0[axis]).radians().signum();
        let along = way * wanted;
        test.fastest = test.fastest.max(speed[axis]);
        let clear = (resolution * 4.0).max(Angle::from_degrees(0.3));
        let other = (axes.0[1 - axis] - test.from.0[1 - axis]).abs();
        if other > OTHER_STANDS.max(clear) {
            let text = format!(
                "{} moved by {:.1} deg when {} was told to: the axes are exchanged, or coupled",
                axis_name(1 - axis),
                other.degrees(),
                axis_name(axis)
            );
            self.test_failed(text);
            return;
        }
        if let Some((at, place)) = test.stopped {
            let since = now.saturating_sub(at);
            let told = sent.unwrap_or(test.target);
            let left = (told.0[axis] - axes.0[axis]).abs();
            if self.stands() && since > Duration::from_millis(500) {
                if left < clear {
                    self.test_failed(format!(
                        "{} went on to its target though it was told to stop: cut its power; it must not \
                         be driven until a stop works",
                        axis_name(axis)
                    ));
                    return;
                }
                self.test_passed();
            } else if since > HALTS_WITHIN + POLL_ROOM {
                let on = (axes.0[axis] - place.0[axis]).abs();
                self.test_failed(format!(
                    "{} still moves {:.1} s after a stop, {:.1} deg on: cut its power; it must not be \
                     driven until a stop works",
                    axis_name(axis),
                    since.as_secs_f64(),
                    on.degrees()
                ));
            }
            return;
        }
        if along < -clear {
            self.test_failed(format!(
                "the reading of {} {} when it was told to {}: its sense is reversed",
                axis_name(axis),
                if way > Angle::ZERO { "grew" } else { "fell" },
                if wanted > 0.0 { "grow" } else { "fall" },
            ));
            return;
        }
        if along > clear && test.moved.is_none() {
            test.moved = Some(now);
        }
        let long = test
            .moved
            .is_some_and(|at| now.saturating_sub(at) >= MOVED_FOR);
        if along >= MOVED_BY || long {
            test.stopped = Some((now, axes));
            self.watch.rest();
            self.target = None;
            self.drive(Drive::Halt(STOP_TEST.to_owned()));
        }
    }

    fn test_passed(&mut self) {
        let Phase::Testing(test) = &self.phase else {
            return;
        };
        let (axis, fastest, since) = (test.axis, test.fastest, test.began);
        let resolution = self.resolution_lately();
        self.milestone(format!(
            "{} moves as told, {:.1} deg/s, and stops when told ({:.0} s)",
            axis_name(axis),
            fastest.degrees(),
            self.now.saturating_sub(since).as_secs_f64()
        ));
        if axis == 0 {
            self.fastest = fastest;
            self.begin_test(1, 1.0);
            return;
        }
        self.fastest = self.fastest.min(fastest);
        self.resolution = resolution;
        let near = (self.station.dish.beamwidth * 0.15).max(resolution * 2.0);
        self.watch
            .usual(self.fastest.max(fastest), resolution, near);
        self.phase = Phase::Armed;
        self.note(format!(
            "the encoders step by {} deg; type go and Enter to begin, q and Enter to end",
            resolution.degrees()
        ));
    }

    pub(super) fn test_failed(&mut self, why: String) {
        self.watch.rest();
        self.target = None;
        self.drive(Drive::Halt(format!("{STOP_TEST} failed")));
        self.tell(Loudness::Alarm, why.clone());
        self.phase = Phase::Ending(self.now, Ending::BrokenOff(why));
    }

    /// Speeds of both axes between the last readings, per second.
    fn speed_lately(&self) -> [Angle; 2] {
        let mut last = self.lately.iter().rev();
        match (last.next(), last.nth(1)) {
            (Some((at, axes)), Some((then, was))) if at > then => {
                let seconds = (*at - *then).as_secs_f64();
                [0, 1].map(|i| (axes.0[i] - was.0[i]).abs() / seconds)
            }
            _ => [Angle::ZERO; 2],
        }
    }

    /// The step of the encoders: the largest common one of which all recent readings are multiples.
    pub(super) fn resolution_lately(&self) -> Angle {
        /// Degrees; steps that protocols and encoders have.
        const USUAL: [f64; 10] = [1.0, 0.5, 0.25, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.001];
        let multiple = |step: f64| {
            self.lately.iter().all(|(_, axes)| {
                axes.degrees()
                    .iter()
                    .all(|v| (v / step - (v / step).round()).abs() < 1e-4 / step.min(1.0))
            })
        };
        let step = USUAL.into_iter().find(|step| multiple(*step));
        Angle::from_degrees(step.unwrap_or(0.001))
    }

    pub(super) fn stop_file(&mut self, there: bool) {
        self.relay(crate::live::Event::StopFile(there));
    }

    /// Goes on after the operator has acknowledged a stop.
    fn go_on(&mut self) {
        self.operator(Operator::Acknowledge, "the key c");
        self.recorder.forget();
        self.failures = 0;
        match self.until {
            Some(_) => self.evaluate(Purpose::Choice),
            // The test of the stops was broken off: from its beginning.
            None => self.begin_test(0, 1.0),
        }
    }
}
