//! Handles the commands of clients.

use super::super::reasons;
use super::{Action, NOT_CONNECTED, OnDisconnect, POLL, Pending, Relay, STALE, WaitingFor, Wish};
use crate::angle::Angle;
use crate::live::aim::AskedDirection;
use crate::live::axes::Axes;
use crate::live::clients::ClientId;
use crate::live::daemon::Question;
use crate::live::protocol::{Code, Command, DaemonLine, DaemonRequest};

impl Relay {
    pub(super) fn line(&mut self, id: ClientId, line: DaemonLine, count: u64) {
        self.clients.heard(id, self.now);
        let text = match line {
            DaemonLine::Text(text) => text,
            DaemonLine::TooLong => {
                self.reply_plain(id, Code::Protocol, "a line that is too long");
                return;
            }
        };
        let Some(request) = DaemonRequest::parse(&text) else {
            return;
        };
        match request.command.clone() {
            Command::Stop => {
                // Already sent by the time its line is handled, unless it was not seen as urgent.
                if self.stopped_at < count {
                    self.stopped_at = count;
                    let who = self.clients.name(id).to_owned();
                    self.stop(&format!("{who} asked for a stop"));
                }
                let code = match self.owed_stop {
                    true => Code::Broken,
                    false => Code::Done,
                };
                self.answer(id, &request, &text, code, "");
            }
            Command::SetPosition { azimuth, elevation } => {
                let asked = AskedDirection {
                    azimuth: Angle::from_degrees(azimuth),
                    elevation: Angle::from_degrees(elevation),
                };
                self.wish(id, request, text, count, Wish::Demand(asked));
            }
            Command::Park if self.settings.park.is_none() => {
                self.answer(
                    id,
                    &request,
                    &text,
                    Code::Unavailable,
                    "the station file has no park = [axis 1, axis 2] in [mount]",
                );
            }
            Command::Park => self.wish(id, request, text, count, Wish::Park),
            Command::Move { .. } if !self.settings.allow_move => {
                self.answer(id, &request, &text, Code::Unavailable, "needs --allow-move");
            }
            Command::Move { way } => self.wish(id, request, text, count, Wish::Move(way)),
            Command::Reset if !self.settings.allow_reset => {
                self.answer(
                    id,
                    &request,
                    &text,
                    Code::Unavailable,
                    "needs --allow-reset",
                );
            }
            Command::Reset => self.reset(id, request, text, count),
            Command::Raw => {
                self.answer(
                    id,
                    &request,
                    &text,
                    Code::Unavailable,
                    "raw commands pass no guard",
                );
            }
            Command::GetPosition => self.get_position(id, request, text),
            Command::Info => {
                let reply = request.info(&self.settings.who);
                self.clients.reply(id, reply);
                self.log_command(id, &text, None, "");
            }
            Command::DumpState => {
                let reply = request.state(&self.aim.demand_limits());
                self.clients.reply(id, reply);
                self.log_command(id, &text, None, "");
            }
            Command::Quit => {
                self.log_command(id, &text, None, "");
                for (id, text) in self.clients.ready() {
                    self.out.push(Action::Send(id, text));
                }
                self.out.push(Action::Close(id));
            }
            Command::Faulty => self.answer(id, &request, &text, Code::Invalid, ""),
            Command::Unknown => self.answer(id, &request, &text, Code::Unknown, ""),
        }
    }

    pub(super) fn closed(&mut self, id: ClientId) {
        if self.clients.count() == 0 {
            return;
        }
        let name = self.clients.name(id).to_owned();
        self.waiting.retain(|w| w.client != id);
        let lost_pending = self
            .pending
            .as_ref()
            .is_some_and(|p| !self.waiting.iter().any(|w| w.number == p.number));
        if lost_pending {
            self.pending = None;
        }
        if !self.clients.close(id) {
            return;
        }
        if self.settings.on_disconnect == OnDisconnect::Stop {
            self.stop(&format!("{name}, which commanded, is gone"));
        }
    }

    /// Handles a client's request to move the mount.
    pub(super) fn wish(
        &mut self,
        id: ClientId,
        request: DaemonRequest,
        text: String,
        count: u64,
        wish: Wish,
    ) {
        if let Wish::Demand(asked) = wish {
            // Positions are reported on the turn of this demand, even if it is refused.
            self.clients.demanded(id, asked);
        }
        if let Some((code, why)) = self.refusal(id, count) {
            self.answer(id, &request, &text, code, why);
            return;
        }
        self.give_way();
        let number = self.wait(id, request, text, WaitingFor::GuardDecision);
        let pending = Pending {
            number,
            wish,
            since: self.now,
        };
        if self.can_decide() {
            self.decide(&pending);
        } else {
            self.pending = Some(pending);
        }
    }

    /// Why a client's request of any kind is refused; `None` if it is accepted: then this client
    /// commands from now on.
    fn refusal(&mut self, id: ClientId, count: u64) -> Option<(Code, &'static str)> {
        if count < self.stopped_at {
            Some((Code::Rejected, "overtaken by a stop"))
        } else if let Some(why) = self.held() {
            Some((Code::Rejected, why))
        } else if self.ending.is_some() {
            Some((Code::Rejected, "the relay is ending"))
        } else if !self.clients.may_command(id, self.now) {
            Some((Code::Rejected, "another client commands"))
        } else {
            self.away()
        }
    }

    /// Why the mount cannot be asked anything; `None` if it can.
    fn away(&self) -> Option<(Code, &'static str)> {
        (!self.main.is_up()).then_some((Code::Broken, NOT_CONNECTED))
    }

    /// Drops the request that waits for a position, for a newer one.
    pub(super) fn give_way(&mut self) {
        if let Some(pending) = self.pending.take() {
            self.settle(pending.number, Code::Rejected, reasons::NEWER_DEMAND);
        }
    }

    pub(super) fn held(&self) -> Option<&'static str> {
        if self.holds.file {
            Some("the stop file is there")
        } else if self.holds.jump {
            Some("the reading jumped: waits for the key a, or the acknowledge file")
        } else if self.holds.operator {
            Some("stopped at the relay: waits for the key a, or the acknowledge file")
        } else {
            None
        }
    }

    /// The reading, if it is recent enough to decide by.
    pub(super) fn fresh(&self) -> Option<Axes> {
        let (axes, since) = self.reading?;
        (self.now.saturating_sub(since) <= STALE).then_some(axes)
    }

    /// Whether a demand can be decided now: the position is known, and no stop is on its way that might
    /// arrive behind the new target by the other connection.
    pub(super) fn can_decide(&self) -> bool {
        let stop_on_its_way = self.main.awaits_stop() || self.stop_wire.awaits_stop();
        self.fresh().is_some() && !stop_on_its_way
    }

    pub(super) fn get_position(&mut self, id: ClientId, request: DaemonRequest, text: String) {
        if let Some((code, why)) = self.away() {
            self.answer(id, &request, &text, code, why);
            return;
        }
        let number = self.wait(id, request, text, WaitingFor::Position);
        let young = self
            .reading
            .is_some_and(|(_, since)| self.now.saturating_sub(since) <= POLL);
        if young {
            self.settle_position(number);
        }
    }

    pub(super) fn reset(&mut self, id: ClientId, request: DaemonRequest, text: String, count: u64) {
        if let Some((code, why)) = self.refusal(id, count) {
            self.answer(id, &request, &text, code, why);
            return;
        }
        self.cancel("a reset was asked for");
        let number = self.wait(id, request, text, WaitingFor::Acknowledgement);
        // Where it goes, and its zeros afterwards, are unknown.
        self.ways.clear();
        self.reading = None;
        self.ask(Question::Reset(number), None);
    }
}
