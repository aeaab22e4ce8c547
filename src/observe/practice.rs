//! Runs an observation on a simulated dish with a simulated clock: an hour takes seconds.

use std::time::Duration;

use super::evaluation::evaluate;
use super::events::{Action, Event};
use super::machine::ObservationRun;
use super::power::PowerLines;
use super::watch::StopCause;
use crate::live::Wire;
use crate::simulate::Dish;
use crate::time::Utc;

/// Callbacks of a practice run.
pub trait Practised {
    /// Takes an action other than wires and jobs, at this time since the start.
    fn action(&mut self, action: Action, at: Duration);
    /// The observation waits for a word, or is stopped: keys to press now, if any.
    fn keys(&mut self, observation: &ObservationRun, at: Duration) -> Option<&'static [u8]> {
        let _ = at;
        match observation.waits_for() {
            Some("arm") => Some(b"arm\n"),
            Some(_) => Some(b"go\n"),
            None => None,
        }
    }
    /// Whether the observation is given up after this stop.
    fn gives_up(&mut self, cause: &StopCause) -> bool;
}

/// Longest step of the clock.
const STEP: Duration = Duration::from_millis(50);
/// Time for which the mount is watched after a stop, to see that it obeys.
const LOOKS_ON: Duration = Duration::from_secs(6);
/// Longest run.
const MOST: Duration = Duration::from_secs(24 * 3600);

/// Runs it to its end, or until its owner gives up. Returns the simulated time it took.
pub fn practise(
    mut observation: ObservationRun,
    dish: &mut Dish,
    mut lines: PowerLines,
    start: Utc,
    owner: &mut dyn Practised,
) -> Duration {
    let mut now = Duration::ZERO;
    let mut up = [false; 2];
    let mut given_up: Option<Duration> = None;
    let mut pending = observation.handle(Event::Tick, now, start);
    loop {
        let mut ended = false;
        let mut events: Vec<Inner> = Vec::new();
        for action in pending {
            match action {
                Action::Connect(wire) => {
                    up[link(wire) as usize] = dish.is_reachable();
                    events.push(match dish.is_reachable() {
                        true => Inner::Up(wire),
                        false => Inner::Down(wire),
                    });
                }
                Action::Write(wire, text) if up[link(wire) as usize] => {
                    dish.hear(link(wire), text.as_bytes());
                }
                Action::Write(..) => {}
                Action::Drop(wire) => {
                    up[link(wire) as usize] = false;
                    dish.close(link(wire));
                }
                Action::Think(job) => events.push(Inner::Evaluated(Box::new(evaluate(&job)))),
                Action::End(ending) => {
                    ended = true;
                    owner.action(Action::End(ending), now);
                }
                other => owner.action(other, now),
            }
        }
        if ended || now > MOST {
            return now;
        }
        let utc = start.plus_seconds(now.as_secs_f64());
        pending = Vec::new();
        for event in events {
            pending.extend(match event {
                Inner::Up(wire) => observation.handle(Event::WireUp(wire), now, utc),
                Inner::Down(wire) => {
                    observation.handle(Event::WireDown(wire, "refused".to_owned()), now, utc)
                }
                Inner::Evaluated(answer) => observation.handle(Event::Evaluated(answer), now, utc),
            });
        }
        if let Some(keys) = owner.keys(&observation, now) {
            for key in keys {
                pending.extend(observation.handle(Event::Key(*key), now, utc));
            }
        }
        if given_up.is_some_and(|at| now >= at + LOOKS_ON) {
            return now;
        }
        if given_up.is_none()
            && let Some(cause) = observation.is_held().cloned()
            && owner.gives_up(&cause)
        {
            given_up = Some(now);
        }
        if !pending.is_empty() {
            continue;
        }
        let next = observation.next_tick().min(dish.next()).min(now + STEP);
        now = next.max(now + Duration::from_millis(1));
        dish.advance(now);
        let utc = start.plus_seconds(now.as_secs_f64());
        if !dish.is_reachable() {
            for (i, wire) in [Wire::Main, Wire::Stop].into_iter().enumerate() {
                if std::mem::take(&mut up[i]) {
                    dish.close(link(wire));
                    let gone = Event::WireDown(wire, "the daemon closed it".to_owned());
                    pending.extend(observation.handle(gone, now, utc));
                }
            }
        }
        while let Some((of, text)) = dish.take_reply() {
            let wire = if of == 0 { Wire::Main } else { Wire::Stop };
            pending.extend(observation.handle(Event::WireBytes(wire, text.as_bytes()), now, utc));
        }
        if let Some(line) = dish.take_power() {
            let event = match lines.read(&line) {
                Ok(Some(power)) => Some(Event::Power(power)),
                Ok(None) => None,
                Err(why) => Some(Event::NoPower(why)),
            };
            if let Some(event) = event {
                pending.extend(observation.handle(event, now, utc));
            }
        }
        if observation.next_tick() <= now {
            pending.extend(observation.handle(Event::Tick, now, utc));
        }
    }
}

enum Inner {
    Up(Wire),
    Down(Wire),
    Evaluated(Box<super::evaluation::Answer>),
}

const fn link(wire: Wire) -> u64 {
    match wire {
        Wire::Main => 0,
        Wire::Stop => 1,
    }
}
