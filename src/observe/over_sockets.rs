//! Runs an observation over sockets, on the clock of the machine. One thread owns it; the mount's
//! connections, the receiver, keys and jobs each have their own. Events of the operator and the
//! mount take precedence over those of the receiver.

use std::time::Instant;

use crossbeam_channel::{Receiver, Sender, select_biased, unbounded};

use super::evaluation::{Answer, evaluate};
use super::events::{Action, Event};
use super::machine::ObservationRun;
use super::source::FromReceiver;
use crate::live::{WireEvent, WireNews, Wires};
use crate::time::Utc;

/// Urgent events.
enum Urgent {
    Key(u8),
    Signal,
    StopFile(bool),
    Wire(WireNews),
    Evaluated(Box<Answer>),
}

/// Sends events to a running observation.
#[derive(Clone)]
pub struct Inlet {
    urgent: Sender<Urgent>,
    heard: Sender<FromReceiver>,
}

impl Inlet {
    /// A key was pressed.
    pub fn key(&self, key: u8) {
        // The observation may have ended already.
        let _ = self.urgent.send(Urgent::Key(key));
    }
    /// A signal to end.
    pub fn signal(&self) {
        let _ = self.urgent.send(Urgent::Signal);
    }
    /// The stop file appeared or is gone.
    pub fn stop_file(&self, there: bool) {
        let _ = self.urgent.send(Urgent::StopFile(there));
    }
    /// Passes on an event of the receiver.
    pub fn heard(&self, heard: FromReceiver) {
        let _ = self.heard.send(heard);
    }
}

/// What comes in through an [`Inlet`].
pub struct Inbox {
    urgent: Receiver<Urgent>,
    heard: Receiver<FromReceiver>,
}

/// Returns both ends of the channel.
pub fn inlet() -> (Inlet, Inbox) {
    let (urgent, urgent_in) = unbounded();
    let (heard, heard_in) = unbounded();
    (
        Inlet { urgent, heard },
        Inbox {
            urgent: urgent_in,
            heard: heard_in,
        },
    )
}

/// Runs an observation with the daemon at `rotator` (`HOST:PORT`) until it ends. What is to be
/// recorded, told and shown goes to `report`, which must not take long.
pub fn observe(
    mut observation: ObservationRun,
    rotator: &str,
    (inlet, inbox): (Inlet, Inbox),
    report: &mut dyn FnMut(Action),
) {
    let mut wires = Wires::new(rotator);
    let start = Instant::now();
    let take = |observation: &mut ObservationRun, event: Event<'_>| {
        observation.handle(event, start.elapsed(), Utc::now())
    };
    let mut actions = take(&mut observation, Event::Tick);
    loop {
        let mut ended = false;
        // A stop is written before anything else is done.
        for action in actions {
            match action {
                Action::Write(wire, text) => {
                    if let Some(news) = wires.write(wire, &text) {
                        let _ = inlet.urgent.send(Urgent::Wire(news));
                    }
                }
                Action::Connect(wire) => {
                    let urgent = inlet.urgent.clone();
                    wires.connect(wire, move |news| drop(urgent.send(Urgent::Wire(news))));
                }
                Action::Drop(wire) => wires.close(wire),
                Action::Think(job) => {
                    let urgent = inlet.urgent.clone();
                    std::thread::spawn(move || {
                        let answer = Box::new(evaluate(&job));
                        let _ = urgent.send(Urgent::Evaluated(answer));
                    });
                }
                Action::End(ending) => {
                    ended = true;
                    report(Action::End(ending));
                }
                other => report(other),
            }
        }
        if ended {
            return;
        }
        let wait = observation.next_tick().saturating_sub(start.elapsed());
        actions = select_biased! {
            recv(inbox.urgent) -> urgent => match urgent {
                Ok(Urgent::Key(key)) => take(&mut observation, Event::Key(key)),
                Ok(Urgent::Signal) => take(&mut observation, Event::Signal),
                Ok(Urgent::StopFile(there)) => take(&mut observation, Event::StopFile(there)),
                Ok(Urgent::Evaluated(answer)) => take(&mut observation, Event::Evaluated(answer)),
                Ok(Urgent::Wire(news)) => match wires.take(news) {
                    Some(WireEvent::Up(wire)) => take(&mut observation, Event::WireUp(wire)),
                    Some(WireEvent::Bytes(wire, bytes)) => {
                        take(&mut observation, Event::WireBytes(wire, &bytes))
                    }
                    Some(WireEvent::Down(wire, why)) => {
                        take(&mut observation, Event::WireDown(wire, why))
                    }
                    None => Vec::new(),
                },
                // The inlet holds a sender itself.
                Err(_) => Vec::new(),
            },
            recv(inbox.heard) -> heard => match heard {
                Ok(FromReceiver::Power(power)) => take(&mut observation, Event::Power(power)),
                Ok(FromReceiver::Nothing(what)) => take(&mut observation, Event::NoPower(what)),
                Err(_) => Vec::new(),
            },
            default(wait) => take(&mut observation, Event::Tick),
        };
    }
}
