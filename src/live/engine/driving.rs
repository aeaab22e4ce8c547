//! A program that owns the relay and drives the mount by readings: it passes the same guard, and
//! gets reports that clients do not.

use std::time::Duration;

use super::{Action, Pending, Relay, Wish};
use crate::angle::Angle;
use crate::live::axes::{Axes, Travel};
use crate::live::daemon::Question;

/// What the owner of the relay wants.
#[derive(Clone, Debug, PartialEq)]
pub enum Drive {
    /// These readings.
    To(Axes),
    /// Stop the mount, for this reason; later demands are not blocked.
    Halt(String),
    /// Another half-angle of the zone round the Sun; `None` suspends it.
    Zone(Option<Angle>),
    /// Ask for the daemon's ranges.
    Limits,
}

/// What the owner of the relay hears.
#[derive(Clone, Debug, PartialEq)]
pub enum Driven {
    /// Where the mount stood, and when: midway between question and answer.
    At(Axes, Duration),
    /// The mount was told to go here: the readings that were wanted, or a part of the way there.
    Sent(Axes),
    /// The readings were refused, by the guard or the mount: the reason.
    Refused(String),
    /// The mount was told to stop: the reason.
    Stopped(String),
    /// A stop was acknowledged but the mount still moves.
    Disobeyed,
    /// The connection to the mount was lost: the reason.
    Lost(String),
    /// The daemon's ranges; `None` if it does not report them.
    Limits(Option<Travel>),
}

impl Relay {
    pub(super) fn drive(&mut self, drive: Drive) {
        match drive {
            Drive::To(goal) => self.wish_of_owner(goal),
            Drive::Halt(why) => self.stop(&why),
            Drive::Zone(radius) => {
                self.settings.zone = radius;
                self.sun_told = None;
            }
            Drive::Limits => self.ask(Question::Limits, None),
        }
    }

    fn wish_of_owner(&mut self, goal: Axes) {
        let refused = match self.held() {
            Some(why) => Some(why),
            None if self.ending.is_some() => Some("it is ending"),
            None if !self.main.is_up() => Some("the mount is not connected"),
            None => None,
        };
        if let Some(why) = refused {
            self.hear(Driven::Refused(why.to_owned()));
            return;
        }
        // The owner's own pending request is replaced without a report.
        if self.pending.as_ref().is_some_and(|p| p.number != 0) {
            self.give_way();
        }
        let pending = Pending {
            number: 0,
            wish: Wish::Readings(goal),
            since: self.now,
        };
        self.pending = None;
        if self.can_decide() {
            self.decide(&pending);
        } else {
            self.pending = Some(pending);
        }
    }

    /// Tells the owner.
    pub(super) fn hear(&mut self, driven: Driven) {
        self.out.push(Action::Driven(driven));
    }
}
