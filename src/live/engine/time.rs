//! Whatever is due by time alone: polls, deadlines, the end.

use super::super::reasons;
use super::{
    ACKNOWLEDGE, Action, FAREWELL, IDLE_POLL, LIVELY, MISSING, PATIENCE, POLL, Relay, WaitingFor,
    Wire,
};
use crate::live::daemon::Question;
use crate::live::messages::Loudness;
use crate::live::protocol::Code;
use std::time::Duration;

impl Relay {
    /// Whether something moves, or is about to.
    pub(super) fn is_lively(&self) -> bool {
        self.goal.is_some() || self.moves()
    }

    /// Whether the mount moved lately or was told to.
    pub(super) fn moves(&self) -> bool {
        self.moved_at
            .is_some_and(|at| self.now.saturating_sub(at) < LIVELY)
    }

    /// Handles whatever is due by time alone.
    pub(super) fn look_after(&mut self) {
        let now = self.now;
        for (wire, connection) in [
            (Wire::Main, &mut self.main),
            (Wire::Stop, &mut self.stop_wire),
        ] {
            let wanted = wire == Wire::Main || self.main_answers;
            if wanted && connection.is_due(now) {
                self.out.push(Action::Connect(wire));
            }
        }
        if self.main.is_silent(now) {
            self.out.push(Action::Drop(Wire::Main));
            self.wire_down(Wire::Main, "it does not answer");
        }
        if self.stop_wire.is_silent(now) {
            self.out.push(Action::Drop(Wire::Stop));
            self.wire_down(Wire::Stop, "it does not answer");
        }
        self.poll();
        self.look_after_stop();
        let missing = self
            .reading
            .is_none_or(|(_, since)| now.saturating_sub(since) > MISSING);
        if missing && (self.goal.is_some() || self.doubtful) {
            self.stop(reasons::POSITIONS_MISSING);
            self.tell(
                Loudness::Warning,
                "stopped: the mount has not reported its position for 3 s".to_owned(),
            );
        }
        self.run_out();
        if let Some(since) = self.ending {
            let stands = self.stopping.is_none() || !self.main.is_up();
            if stands || now.saturating_sub(since) >= FAREWELL {
                self.end();
            }
        }
    }

    /// Time between two polls of the mount's position.
    pub(super) fn poll_every(&self) -> Duration {
        let wanted = self.pending.is_some()
            || self.waiting.iter().any(|w| w.kind == WaitingFor::Position)
            || self.is_lively();
        match wanted {
            true => POLL,
            false => IDLE_POLL,
        }
    }

    /// Asks for the mount's position, if it is due and not asked for already.
    pub(super) fn poll(&mut self) {
        let now = self.now;
        let every = self.poll_every();
        let due = self
            .asked_at
            .is_none_or(|at| now.saturating_sub(at) >= every);
        let Some(talk) = self.main.conversation() else {
            return;
        };
        if due && talk.is_sound(now) && !talk.awaits_position() {
            self.asked_at = Some(now);
            self.ask(Question::Position, None);
        }
    }

    /// Answers commands that have waited too long.
    pub(super) fn run_out(&mut self) {
        let now = self.now;
        if let Some(pending) = self
            .pending
            .take_if(|p| now.saturating_sub(p.since) >= PATIENCE)
        {
            self.settle(pending.number, Code::Timeout, reasons::NO_POSITION);
        }
        let due: Vec<(u64, WaitingFor)> = (self.waiting.iter())
            .filter(|w| {
                let patience = match w.kind {
                    WaitingFor::Position => PATIENCE,
                    WaitingFor::GuardDecision | WaitingFor::Acknowledgement => ACKNOWLEDGE,
                };
                now.saturating_sub(w.since) >= patience
            })
            .map(|w| (w.number, w.kind))
            .collect();
        for (number, kind) in due {
            match kind {
                WaitingFor::Position => self.settle_position(number),
                _ => self.settle(number, Code::Timeout, "the mount has not answered"),
            }
        }
    }
}
