//! What stops an observation and what ends it.

use super::events::{Action, Ending};
use super::machine::{ObservationRun, Phase};
use super::safety::STOP_TEST;
use super::state::Errand;
use super::watch::StopCause;
use crate::live::{Drive, Loudness, Refused, reasons};

impl ObservationRun {
    /// Handles the guard's or the mount's refusal of a target.
    pub(super) fn refused(&mut self, reason: &str) {
        let of_the_guard = [
            Refused::GoalNearSun,
            Refused::WayNearSun,
            Refused::OutOfRange,
        ];
        let passing = [
            reasons::STOPPED,
            reasons::NEWER_DEMAND,
            reasons::CONNECTED_ANEW,
            reasons::NO_POSITION,
        ];
        if passing.contains(&reason) {
            return;
        }
        match &self.phase {
            Phase::Testing(_) => self.test_refused(reason),
            Phase::Moving(mv)
                if matches!(mv.errand, Errand::Search(_))
                    && of_the_guard.iter().any(|r| r.to_string() == reason) =>
            {
                // The rest of the row lies where the beam must not go.
                self.next_stretch();
            }
            Phase::Moving(_) if of_the_guard.iter().any(|r| r.to_string() == reason) => {
                self.left_zone();
                self.put_aside(reason);
            }
            Phase::Moving(_) => self.halt(StopCause::Guard(reason.to_owned())),
            _ => {}
        }
    }

    /// Handles a stop by the relay.
    pub(super) fn was_stopped(&mut self, reason: &str) {
        match &self.phase {
            Phase::Held(_) | Phase::Ending(..) | Phase::Ended | Phase::Connecting => {}
            Phase::Testing(_) if reason.starts_with(STOP_TEST) => {}
            Phase::Rehearsed | Phase::Armed => {}
            _ if reason == reasons::POSITIONS_MISSING => self.halt(StopCause::Missing),
            _ if reason == reasons::STOP_FILE => self.halt(StopCause::Person(reason.to_owned())),
            _ => self.halt(StopCause::Guard(reason.to_owned())),
        }
    }

    pub(super) fn disobeyed(&mut self) {
        match &self.phase {
            Phase::Ended => {}
            Phase::Held(StopCause::Disobeyed) => {}
            Phase::Testing(_) => self.test_failed(
                "a stop was acknowledged and the mount went on: cut its power; it must not be driven until \
                 a stop works"
                    .to_owned(),
            ),
            Phase::Held(_) => {
                self.phase = Phase::Held(StopCause::Disobeyed);
            }
            _ => self.halt(StopCause::Disobeyed),
        }
    }

    /// Stops, and waits for the operator.
    pub(super) fn halt(&mut self, cause: StopCause) {
        if matches!(
            self.phase,
            Phase::Held(_) | Phase::Ending(..) | Phase::Ended
        ) {
            return;
        }
        let before = std::mem::replace(&mut self.phase, Phase::Held(cause.clone()));
        self.drive(Drive::Halt(cause.to_string()));
        self.watch.rest();
        self.recorder.forget();
        self.target = None;
        if self.in_zone.take().is_some() {
            self.sun_left = Some(self.now);
            let zone = self.zone_now;
            self.drive(Drive::Zone(zone));
            self.tell(
                Loudness::Alarm,
                "the beam is in the zone round the Sun: move the dish off by hand".to_owned(),
            );
        }
        if let Phase::Moving(mv) = &before {
            self.keep_scan(mv);
        }
        let place = match self.reading {
            Some((axes, at)) => {
                let [one, two] = axes.degrees();
                let old = self.now.saturating_sub(at).as_secs_f64();
                let age = match old > 1.0 {
                    true => format!(", {old:.0} s ago"),
                    false => String::new(),
                };
                format!("the readings were {one:.2} {two:.2}{age}")
            }
            None => "where it stands is not known".to_owned(),
        };
        self.tell(
            Loudness::Alarm,
            format!(
                "stopped: {cause}; {place}. {}. The key c goes on, q ends; what was measured is in the \
                 log",
                cause.advice()
            ),
        );
        self.tell_progress();
    }

    /// Ends: a moving mount is stopped first.
    pub(super) fn end(&mut self, ending: Ending) {
        if matches!(self.phase, Phase::Ended) {
            return;
        }
        if let Phase::Ending(..) = self.phase {
            // A second time: at once.
            self.phase = Phase::Ended;
            self.out.push(Action::End(ending));
            return;
        }
        let before = std::mem::replace(&mut self.phase, Phase::Ending(self.now, ending));
        if let Phase::Moving(mv) = &before {
            self.keep_scan(mv);
        }
        let moves = matches!(before, Phase::Moving(_) | Phase::Testing(_));
        if moves || self.target.is_some() {
            self.drive(Drive::Halt("it ends".to_owned()));
        }
        if self.in_zone.take().is_some() {
            self.tell(
                Loudness::Alarm,
                "the beam is in the zone round the Sun: move the dish off by hand".to_owned(),
            );
        }
        self.watch.rest();
    }
}
