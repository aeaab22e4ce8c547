//! A program that owns the relay and drives the mount by readings: it passes the same guard, and
//! hears what a client never does.

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
    /// The mount to stand, for this reason; nothing is held back afterwards.
    Halt(String),
    /// Another half-angle of the zone round the Sun; none suspends it.
    Zone(Option<Angle>),
    /// To know the ranges that the daemon has.
    Limits,
}

/// What the owner of the relay hears.
#[derive(Clone, Debug, PartialEq)]
pub enum Driven {
    /// Where the mount stood, and when: midway between question and answer.
    At(Axes, Duration),
    /// The mount was told to go here: the readings that were wanted, or a part of the way there.
    Sent(Axes),
    /// The readings are refused, or the mount does not take them: why.
    Refused(String),
    /// The mount was told to stop: why.
    Stopped(String),
    /// A stop was acknowledged and the mount goes on all the same.
    Disobeyed,
    /// The connection to the mount is gone: why.
    Lost(String),
    /// The ranges that the daemon has; none when it does not say.
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
        // What waited from the owner itself makes room without a word.
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
