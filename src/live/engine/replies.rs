//! Replies in their order, rows of the log, and messages and status for the operator.

use super::{Action, Driven, FOLLOWED, Relay, Waiting, WaitingFor};
use crate::angle::Angle;
use crate::live::aim::AskedDirection;
use crate::live::axes::Axes;
use crate::live::clients::ClientId;
use crate::live::messages::{Loudness, RelayNotice, RelayStatus};
use crate::live::protocol::{Code, Command, DaemonRequest};
use crate::live::record::{RELAY, RelayRow};

impl Relay {
    pub(super) fn wait(
        &mut self,
        id: ClientId,
        request: DaemonRequest,
        text: String,
        kind: WaitingFor,
    ) -> u64 {
        self.numbers += 1;
        let number = self.numbers;
        self.clients.reply_later(id, number);
        self.waiting.push(Waiting {
            number,
            client: id,
            request,
            text,
            at: self.utc,
            since: self.now,
            kind,
        });
        number
    }

    pub(super) fn set_waiting(&mut self, number: u64, kind: WaitingFor) {
        for waiting in &mut self.waiting {
            if waiting.number == number {
                waiting.kind = kind;
            }
        }
    }

    pub(super) fn take_waiting(&mut self, number: u64) -> Option<Waiting> {
        let at = self.waiting.iter().position(|w| w.number == number)?;
        Some(self.waiting.remove(at))
    }

    /// Answers the command of that number.
    pub(super) fn settle(&mut self, number: u64, code: Code, why: &str) {
        let Some(waiting) = self.take_waiting(number) else {
            if number == 0 && code != Code::Done {
                self.hear(Driven::Refused(why.to_owned()));
            }
            return;
        };
        let reply = waiting.request.answer(code);
        self.clients.settle(waiting.client, number, reply);
        let asked = match waiting.request.command {
            Command::SetPosition { .. } => self.clients.asked(waiting.client),
            _ => None,
        };
        let name = self.clients.name(waiting.client).to_owned();
        let row = RelayRow::new(waiting.at, &name, &waiting.text, &worded(code, why)).demand(asked);
        let told = self.sent;
        self.log(row.told(told));
    }

    /// Answers a query of the position with the last reading.
    pub(super) fn settle_position(&mut self, number: u64) {
        let Some(axes) = self.fresh() else {
            self.settle(number, Code::Timeout, "no position younger than 2 s");
            return;
        };
        let Some(waiting) = self.take_waiting(number) else {
            return;
        };
        let seen = self.aim.seen(axes, self.clients.asked(waiting.client));
        let reply = waiting
            .request
            .position(seen.azimuth.degrees(), seen.elevation.degrees());
        self.clients.settle(waiting.client, number, reply);
        let name = self.clients.name(waiting.client).to_owned();
        let row = RelayRow::new(waiting.at, &name, &waiting.text, &pair(seen)).demand(self.demand);
        let told = self.sent;
        self.log(row.told(told));
    }

    /// Answers at once.
    pub(super) fn answer(
        &mut self,
        id: ClientId,
        request: &DaemonRequest,
        text: &str,
        code: Code,
        why: &str,
    ) {
        self.clients.reply(id, request.answer(code));
        let asked = match request.command {
            Command::SetPosition { azimuth, elevation } => Some(AskedDirection {
                azimuth: Angle::from_degrees(azimuth),
                elevation: Angle::from_degrees(elevation),
            }),
            _ => None,
        };
        self.log_command(id, text, asked, &worded(code, why));
    }

    pub(super) fn reply_plain(&mut self, id: ClientId, code: Code, what: &str) {
        self.clients.reply(id, format!("{code}\n"));
        self.log_command(id, what, None, &worded(code, ""));
    }

    pub(super) fn log_command(
        &mut self,
        id: ClientId,
        text: &str,
        asked: Option<AskedDirection>,
        reply: &str,
    ) {
        let name = self.clients.name(id).to_owned();
        let row = RelayRow::new(self.utc, &name, text, reply).demand(asked);
        self.log(row);
    }

    /// Logs a row with the mount's reading and the beam's distance from the Sun.
    pub(super) fn log(&mut self, row: RelayRow) {
        let reading = self.reading();
        let sun = reading.and_then(|axes| self.sun_distance(axes));
        self.out.push(Action::Log(row.reading(reading).sun(sun)));
    }

    pub(super) fn tell(&mut self, loudness: Loudness, text: String) {
        if loudness == Loudness::Alarm {
            let row = RelayRow::new(self.utc, RELAY, "alarm", &text);
            self.log(row);
        }
        self.out.push(Action::Tell(RelayNotice { loudness, text }));
    }

    pub(super) fn tell_status(&mut self, axes: Axes) {
        let beam = self.aim.seen(axes, self.demand);
        let direction = self.aim.direction(axes);
        let miss = self.demand.and_then(|asked| {
            let wanted = self.aim.wanted(asked)?;
            Some(direction.separation(&wanted))
        });
        let status = RelayStatus {
            demand: self.demand,
            beam: Some(beam),
            reading: Some(axes),
            miss,
            sun: self.sun_distance(axes),
            guard: self
                .held()
                .map_or_else(|| self.guard.clone(), str::to_owned),
        };
        let demanded = self
            .demanded_at
            .is_some_and(|at| self.now.saturating_sub(at) < FOLLOWED);
        if self.demand.is_some() && demanded || self.is_lively() {
            let row = RelayRow::new(self.utc, RELAY, "p", &pair(beam)).demand(self.demand);
            let told = self.sent;
            self.log(row.told(told));
        }
        self.out.push(Action::Show(status));
    }
}

/// A direction as the log writes it.
pub(super) fn pair(asked: AskedDirection) -> String {
    format!(
        "{:.4} {:.4}",
        asked.azimuth.degrees(),
        asked.elevation.degrees()
    )
}

/// A code with its reason.
pub(super) fn worded(code: Code, why: &str) -> String {
    match why.is_empty() {
        true => code.to_string(),
        false => format!("{code}; {why}"),
    }
}
