//! The mount's side: connections made and lost, answers, and checks of readings.

use super::super::reasons;
use super::{
    ALARM_AGAIN, Action, BRAKING, Driven, MOTION, NOT_CONNECTED, Relay, SUN_EVERY, SunPlace,
    WaitingFor, Wire,
};
use crate::angle::{Angle, angle_between};
use crate::live::axes::Axes;
use crate::live::daemon::{DaemonAnswer, Question};
use crate::live::guard::strayed;
use crate::live::messages::Loudness;
use crate::live::protocol::Code;
use std::time::Duration;

impl Relay {
    pub(super) fn wire_up(&mut self, wire: Wire) {
        match wire {
            Wire::Main => {
                self.main.opened();
                self.asked_at = None;
                self.cancel(reasons::CONNECTED_ANEW);
                self.tell(Loudness::Note, "the mount is connected".to_owned());
                if self.owed_stop {
                    self.stop("it was asked for while the mount was away");
                }
            }
            Wire::Stop => {
                self.stop_wire.opened();
                self.stop_opened = Some(self.now);
                self.stop_proven = false;
                // A daemon that serves only one connection leaves this unanswered.
                let now = self.now;
                if let Some(talk) = self.stop_wire.conversation() {
                    let text = talk.ask(Question::Position, None, now);
                    self.out.push(Action::Write(Wire::Stop, text));
                }
                if self.owed_stop {
                    self.stop("it was asked for while the mount was away");
                }
            }
        }
    }

    pub(super) fn wire_down(&mut self, wire: Wire, why: &str) {
        let now = self.now;
        match wire {
            Wire::Stop => {
                let _ = self.stop_wire.closed(now);
                self.one_door_only();
            }
            Wire::Main => {
                let was_up = self.main.is_up();
                self.hear(Driven::Lost(why.to_owned()));
                self.main_answers = false;
                // A stop that may not have arrived is sent first when it is back.
                self.owed_stop |= self.stopping.is_some_and(|stopping| !stopping.acknowledged);
                let wait = self.main.closed(now);
                self.tell(
                    Loudness::Warning,
                    format!(
                        "the mount is not connected ({why}); tried again in {} s",
                        wait.as_secs()
                    ),
                );
                let lost: Vec<u64> = self.waiting.iter().map(|w| w.number).collect();
                self.pending = None;
                for number in lost {
                    self.settle(number, Code::Broken, NOT_CONNECTED);
                }
                self.goal = None;
                self.demand = None;
                self.sent = None;
                if was_up {
                    self.one_door_only();
                }
            }
        }
    }

    /// Called when the connection for stops, or the other soon after it, is lost. A daemon that
    /// accepts only one connection does so each time; then stops go over the other.
    pub(super) fn one_door_only(&mut self) {
        /// A daemon that takes one connection closes the second at once.
        const SOON: Duration = Duration::from_secs(2);
        /// Once or twice may be an accident.
        const OFTEN: u32 = 3;
        let Some(opened) = self.stop_opened.take() else {
            return;
        };
        let lived = self.now.saturating_sub(opened);
        if self.stop_proven && lived > SOON {
            self.short_lives = 0;
            return;
        }
        self.short_lives += 1;
        if self.short_lives >= OFTEN {
            self.stop_wire.give_up();
            self.out.push(Action::Drop(Wire::Stop));
            self.tell(
                Loudness::Note,
                "the daemon takes one connection only: stops go over the same as everything else"
                    .to_owned(),
            );
        }
    }

    pub(super) fn wire_bytes(&mut self, wire: Wire, bytes: &[u8]) {
        let now = self.now;
        let connection = match wire {
            Wire::Main => &mut self.main,
            Wire::Stop => &mut self.stop_wire,
        };
        let Some(talk) = connection.conversation() else {
            return;
        };
        let answers = talk.feed(bytes, now);
        if !answers.is_empty() {
            connection.answers();
            match wire {
                Wire::Main => self.main_answers = true,
                Wire::Stop => self.stop_proven = true,
            }
        }
        for answer in answers {
            match answer {
                DaemonAnswer::Position(..) if wire == Wire::Stop => {}
                DaemonAnswer::Position(axes, asked) => self.position(axes, asked),
                DaemonAnswer::Limits(limits) => self.hear(Driven::Limits(Some(limits))),
                DaemonAnswer::Code(Question::Limits, _) => self.hear(Driven::Limits(None)),
                DaemonAnswer::Code(Question::Position, code) => {
                    self.guard = format!("the mount answers {code} when asked where it stands");
                }
                DaemonAnswer::Code(Question::Stop, code) => {
                    if let Some(stopping) = &mut self.stopping {
                        stopping.acknowledged |= code == Code::Done;
                    }
                }
                DaemonAnswer::Code(Question::Target(number), code) => {
                    self.target_answered(number, code)
                }
                DaemonAnswer::Code(Question::Reset(number), code) => self.settle(number, code, ""),
                DaemonAnswer::Garbled if wire == Wire::Stop => self.stop_proven = false,
                DaemonAnswer::Garbled => {
                    self.guard = "the mount's answer makes no sense".to_owned();
                    let lost: Vec<u64> = (self.waiting.iter())
                        .filter(|w| w.kind == WaitingFor::Acknowledgement)
                        .map(|w| w.number)
                        .collect();
                    for number in lost {
                        self.settle(number, Code::Protocol, "the mount's answer makes no sense");
                    }
                    // Nothing is sent again automatically; the next demand is sent, since this
                    // one may not have been accepted.
                    self.doubtful |= self.goal.take().is_some();
                }
            }
        }
        // A demand that waited for a stop to be acknowledged.
        if self.can_decide()
            && let Some(pending) = self.pending.take()
        {
            self.decide(&pending);
        }
    }

    pub(super) fn target_answered(&mut self, number: u64, code: Code) {
        if code != Code::Done {
            self.goal = None;
            self.sent = None;
            self.guard = format!("the mount answers {code} to its target");
            if number == 0 {
                let text = self.guard.clone();
                self.tell(Loudness::Warning, text);
            }
        }
        let why = self.guard.clone();
        self.settle(number, code, &why);
    }

    /// Handles a reading.
    pub(super) fn position(&mut self, axes: Axes, asked: Duration) {
        let before = self.reading;
        let moved = before.map_or(Angle::ZERO, |(last, _)| last.way_to(axes));
        if moved >= MOTION {
            self.moved_at = Some(self.now);
        }
        if let Some((last, _)) = before {
            // Without any, the mount stays where it was.
            let mut way: Vec<Axes> = (self.ways.iter())
                .flat_map(|(from, to, _)| [*from, *to])
                .collect();
            if way.is_empty() {
                way.push(last);
            }
            if let Some(off) = strayed(&way, axes) {
                self.strayed(last, axes, off);
            }
        }
        self.reading = Some((axes, asked));
        let between = self.now.saturating_sub(asked) / 2;
        self.hear(Driven::At(axes, asked + between));
        // The latest way always counts; those before it as long as an axis may brake on them.
        let now = self.now;
        let keep = self.ways.len().saturating_sub(1);
        let mut k = 0;
        self.ways.retain(|(.., sent)| {
            k += 1;
            k > keep || now.saturating_sub(*sent) < BRAKING
        });
        self.obeys(moved);
        self.look_for_sun();
        self.warn_of_sun(axes);
        self.warn_of_range(axes);
        if self.pending.is_none() {
            self.pursue(axes);
        }
        let due: Vec<u64> = (self.waiting.iter())
            .filter(|w| w.kind == WaitingFor::Position)
            .map(|w| w.number)
            .collect();
        for number in due {
            self.settle_position(number);
        }
        self.tell_status(axes);
    }

    pub(super) fn strayed(&mut self, last: Axes, axes: Axes, off: Angle) {
        let ([was_1, was_2], [is_1, is_2]) = (last.degrees(), axes.degrees());
        // So that the same jump is reported once.
        self.ways.clear();
        if self.goal.is_some() || self.sent.is_some() {
            self.stop("the reading is off its way");
        }
        self.holds.jump = true;
        self.tell(
            Loudness::Alarm,
            format!(
                "the reading went from {was_1:.2}, {was_2:.2} to {is_1:.2}, {is_2:.2} deg, {:.2} deg \
                 off the way that it was told: demands are refused until acknowledged (key a). Look \
                 whether the mount stands where its encoders say",
                off.degrees()
            ),
        );
    }

    pub(super) fn look_for_sun(&mut self) {
        let old = match self.sun {
            Some((_, at)) => self.now.saturating_sub(at) >= SUN_EVERY,
            None => true,
        };
        if old {
            self.sun = Some(((self.sun_at)(self.utc), self.now));
        }
    }

    pub(super) fn sun_distance(&self, axes: Axes) -> Option<Angle> {
        match self.sun {
            Some((SunPlace::Up(sun), _)) => {
                let beam = self.aim.direction(axes).east_north_up();
                Some(angle_between(&beam, &sun))
            }
            _ => None,
        }
    }

    /// Warns of the Sun in the beam of a mount at rest, which is not moved.
    pub(super) fn warn_of_sun(&mut self, axes: Axes) {
        let Ok(Some(zone)) = self.zone() else {
            if self.zone().is_err() {
                self.guard = "where the Sun is is not known: nothing is moved".to_owned();
            }
            return;
        };
        if !zone.holds(&self.aim, axes) {
            if self.sun_told.take().is_some() {
                self.tell(
                    Loudness::Note,
                    "the beam is clear of the Sun again".to_owned(),
                );
            }
            return;
        }
        let again = self
            .sun_told
            .is_none_or(|at| self.now.saturating_sub(at) >= ALARM_AGAIN);
        if again {
            self.sun_told = Some(self.now);
            let distance = zone.distance(&self.aim, axes);
            self.tell(
                Loudness::Alarm,
                format!(
                    "the beam is {:.1} deg from the Sun, within the zone of {:.1}: the feed can be \
                     burnt. Only moves that lead out are taken; else move the dish off by hand",
                    distance.degrees(),
                    zone.radius.degrees()
                ),
            );
        }
    }

    pub(super) fn warn_of_range(&mut self, axes: Axes) {
        /// Rounding of readings at the range's ends.
        const ROUNDING: Angle = Angle::from_degrees(0.2);
        let beyond = self.aim.range().beyond(axes);
        if beyond <= ROUNDING {
            self.outside_told = false;
        } else if !self.outside_told {
            self.outside_told = true;
            self.tell(
                Loudness::Warning,
                format!(
                    "the mount stands {:.2} deg outside the ranges of the station file: it may only \
                     return",
                    beyond.degrees()
                ),
            );
        }
    }
}
