//! Stops: written first, watched, repeated; and the blocks on demands until they are acknowledged.

use super::super::reasons;
use super::{
    Action, Driven, MOTION, Operator, Relay, STOP_IGNORED, STOP_UNANSWERED, Stopping, Wire,
};
use crate::angle::Angle;
use crate::live::daemon::Question;
use crate::live::messages::Loudness;
use crate::live::record::{RELAY, RelayRow};

impl Relay {
    /// Stops the mount: written before anything else, on every connection on which a move might
    /// still overtake it.
    pub(super) fn stop(&mut self, why: &str) {
        let now = self.now;
        self.hear(Driven::Stopped(why.to_owned()));
        let mut written = false;
        if let Some(talk) = self.stop_wire.conversation() {
            let text = talk.ask(Question::Stop, None, now);
            self.out.push(Action::Write(Wire::Stop, text));
            written = true;
        }
        let alone = self.stop_proven && written;
        if let Some(talk) = self.main.conversation()
            && (!alone || talk.awaits_target())
        {
            // A target in transit might be obeyed after a stop sent over the other connection.
            let text = talk.ask(Question::Stop, None, now);
            self.out.push(Action::Write(Wire::Main, text));
            written = true;
        }
        self.owed_stop = !written;
        self.stopping = written.then_some(Stopping {
            since: now,
            acknowledged: false,
            doubled: false,
            told_at: now,
        });
        self.moved_at = Some(now);
        self.cancel(reasons::STOPPED);
        self.guard = format!("stopped: {why}");
        let reply = match written {
            true => "sent",
            false => "owed: the mount is not connected",
        };
        let row = RelayRow::new(self.utc, RELAY, "S", &format!("{reply}; {why}"));
        self.log(row);
    }

    pub(super) fn look_after_stop(&mut self) {
        let now = self.now;
        let Some(mut stopping) = self.stopping else {
            return;
        };
        let since = now.saturating_sub(stopping.since);
        if !stopping.acknowledged && !stopping.doubled && since >= STOP_UNANSWERED {
            stopping.doubled = true;
            self.stop_again();
        }
        self.stopping = Some(stopping);
    }

    /// The same stop once more, over both connections.
    pub(super) fn stop_again(&mut self) {
        let now = self.now;
        for (wire, connection) in [
            (Wire::Stop, &mut self.stop_wire),
            (Wire::Main, &mut self.main),
        ] {
            if let Some(talk) = connection.conversation() {
                let text = talk.ask(Question::Stop, None, now);
                self.out.push(Action::Write(wire, text));
            }
        }
    }

    /// Checks by a reading after a stop whether the mount obeys.
    pub(super) fn obeys(&mut self, moved: Angle) {
        let Some(mut stopping) = self.stopping else {
            return;
        };
        let since = self.now.saturating_sub(stopping.since);
        if moved < MOTION {
            if since > STOP_IGNORED {
                self.stopping = None;
            }
            return;
        }
        if self.now.saturating_sub(stopping.told_at) >= STOP_IGNORED {
            stopping.told_at = self.now;
            self.hear(Driven::Disobeyed);
            self.stopping = Some(stopping);
            self.tell(
                Loudness::Alarm,
                format!(
                    "the mount still moves {:.0} s after a stop: cut its power",
                    since.as_secs_f64()
                ),
            );
            self.stop_again();
        }
    }

    pub(super) fn operator(&mut self, what: Operator, how: &'static str) {
        match what {
            Operator::Stop => {
                self.holds.operator = true;
                self.stop(how);
                self.tell(
                    Loudness::Warning,
                    format!("stopped by {how}; demands are refused until acknowledged (key a)"),
                );
            }
            Operator::Acknowledge => {
                let held = self.holds.jump || self.holds.operator;
                self.holds.jump = false;
                self.holds.operator = false;
                let text = match (held, self.holds.file) {
                    (_, true) => "the stop file is still there: demands stay refused",
                    (true, false) => "acknowledged: demands are taken again",
                    (false, false) => "there was nothing to acknowledge",
                };
                self.tell(Loudness::Note, text.to_owned());
            }
            Operator::End => {
                if self.ending.is_some() {
                    self.end();
                    return;
                }
                self.stop(how);
                self.ending = Some(self.now);
                self.tell(Loudness::Note, format!("{how}: stopping the mount"));
            }
        }
    }

    pub(super) fn stop_file(&mut self, there: bool) {
        if there && !self.holds.file {
            self.holds.file = true;
            self.stop(reasons::STOP_FILE);
            self.tell(
                Loudness::Warning,
                "stopped by the stop file; demands are refused while it is there".to_owned(),
            );
        } else if !there && self.holds.file {
            self.holds.file = false;
            self.tell(Loudness::Note, "the stop file is gone".to_owned());
        }
    }

    pub(super) fn end(&mut self) {
        if !self.ended {
            self.ended = true;
            self.out.push(Action::End);
        }
    }
}
