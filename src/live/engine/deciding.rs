//! From a request to what is sent: asks the guard, and follows the path step by step.

use super::super::reasons;
use super::{Action, Driven, MOTION, Pending, Relay, SunPlace, WaitingFor, Wire, Wish};
use crate::live::aim::NoAim;
use crate::live::axes::Axes;
use crate::live::daemon::Question;
use crate::live::guard::{Goal, GuardDecision, Refused, Rules, Situation, decide};
use crate::live::messages::Loudness;
use crate::live::protocol::{Code, Way};
use crate::live::record::{RELAY, RelayRow};
use crate::live::zone::SunZone;
use crate::table::Refusal;

impl Relay {
    pub(super) fn rules(&self) -> Rules {
        Rules {
            range: self.aim.range(),
            leash: self.settings.leash,
            deadband: self.settings.deadband,
        }
    }

    pub(super) fn zone(&self) -> Result<Option<SunZone>, ()> {
        let Some(radius) = self.settings.zone else {
            return Ok(None);
        };
        match self.sun {
            Some((SunPlace::Up(sun), _)) => Ok(Some(SunZone {
                sun,
                radius: radius + self.aim.play(),
                rate: self.aim.rate(),
            })),
            Some((SunPlace::Down, _)) => Ok(None),
            Some((SunPlace::Unknown, _)) | None => Err(()),
        }
    }

    pub(super) fn decide(&mut self, pending: &Pending) {
        let Some(here) = self.fresh() else {
            self.settle(pending.number, Code::Timeout, reasons::NO_POSITION);
            return;
        };
        self.look_for_sun();
        let mut demand = None;
        let mut aimed = None;
        let goal = match pending.wish {
            Wish::Demand(asked) => {
                match self.aim.aim(asked, here, self.sent, self.settings.deadband) {
                    Ok(found) => {
                        demand = Some(asked);
                        aimed = Some(found);
                        found.goal
                    }
                    Err(why) => {
                        let code = match why {
                            NoAim::Refusal(Refusal::Keyhole(_)) => Code::Rejected,
                            _ => Code::Invalid,
                        };
                        self.guard = why.to_string();
                        self.settle(pending.number, code, &why.to_string());
                        return;
                    }
                }
            }
            Wish::Readings(goal) => goal,
            Wish::Park => match self.settings.park {
                Some(park) => park,
                None => return,
            },
            Wish::Move(way) => {
                let range = self.aim.range();
                let mut goal = range.nearest(here);
                match way {
                    Way::Left => goal.0[0] = range.low.0[0],
                    Way::Right => goal.0[0] = range.high.0[0],
                    Way::Down => goal.0[1] = range.low.0[1],
                    Way::Up => goal.0[1] = range.high.0[1],
                }
                goal
            }
        };
        let decision = self.judge(
            here,
            Goal {
                at: goal,
                new: true,
            },
        );
        if let GuardDecision::Refuse(refused) = decision {
            let code = match refused {
                Refused::NoNumber | Refused::OutOfRange => Code::Invalid,
                _ => Code::Rejected,
            };
            self.guard = refused.to_string();
            self.settle(pending.number, code, &refused.to_string());
            return;
        }
        self.goal = Some(goal);
        self.demand = demand;
        self.demanded_at = Some(self.now);
        self.guard = String::new();
        if let Some(off) = aimed.and_then(|a| a.held_off) {
            let loss = 12.0 * (off / self.settings.beamwidth).powi(2);
            self.guard = format!(
                "in the keyhole: held {:.3} deg beside the demand, {loss:.1} dB lost",
                off.degrees()
            );
        }
        match decision {
            GuardDecision::Send(to) => {
                if let Some(aimed) = &aimed {
                    self.aim.sent(aimed);
                }
                if to != goal && self.guard.is_empty() {
                    self.guard = "on the way".to_owned();
                }
                self.set_waiting(pending.number, WaitingFor::Acknowledgement);
                self.send(to, pending.number);
            }
            _ => {
                let why = self.guard.clone();
                self.settle(pending.number, Code::Done, &why);
            }
        }
    }

    pub(super) fn judge(&self, here: Axes, goal: Goal) -> GuardDecision {
        let Ok(zone) = self.zone() else {
            // The place of the Sun is unknown: nothing may be moved.
            return GuardDecision::Refuse(Refused::WayNearSun);
        };
        let situation = Situation {
            here,
            // A target that may not have been accepted is sent again if it is demanded again while
            // the mount stands still.
            sent: self.sent.filter(|_| !self.doubtful || self.moves()),
            zone,
        };
        decide(&self.rules(), &self.aim, &situation, goal)
    }

    pub(super) fn send(&mut self, to: Axes, number: u64) {
        self.sent = Some(to);
        self.doubtful = false;
        let here = self.reading().unwrap_or(to);
        self.ways.push((here, to, self.now));
        self.moved_at = Some(self.now);
        self.stopping = None;
        self.hear(Driven::Sent(to));
        self.ask(Question::Target(number), Some(to));
    }

    pub(super) fn ask(&mut self, question: Question, target: Option<Axes>) {
        let now = self.now;
        if let Some(talk) = self.main.conversation() {
            let text = talk.ask(question, target, now);
            self.out.push(Action::Write(Wire::Main, text));
        }
    }

    /// Cancels the present goal.
    pub(super) fn cancel(&mut self, why: &str) {
        self.goal = None;
        self.demand = None;
        self.sent = None;
        self.doubtful = false;
        if let Some(pending) = self.pending.take() {
            self.settle(pending.number, Code::Rejected, why);
        }
    }

    /// Continues the present move.
    pub(super) fn pursue(&mut self, here: Axes) {
        let Some(goal) = self.goal else {
            return;
        };
        match self.judge(
            here,
            Goal {
                at: goal,
                new: false,
            },
        ) {
            GuardDecision::Send(to) => {
                self.send(to, 0);
                let row = RelayRow::new(self.utc, RELAY, "P", &self.guard);
                self.log(row.told(Some(to)).reading(Some(here)));
            }
            GuardDecision::Keep => {}
            GuardDecision::Refuse(refused) => {
                self.stop(&refused.to_string());
                self.tell(Loudness::Warning, format!("stopped on the way: {refused}"));
                return;
            }
        }
        if self
            .sent
            .is_some_and(|sent| sent.way_to(goal) <= self.settings.deadband)
            && here.way_to(goal) < self.settings.deadband.max(MOTION)
        {
            self.goal = None;
        }
    }
}
