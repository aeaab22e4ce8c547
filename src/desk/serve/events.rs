//! Events sent to every open page.

use std::collections::VecDeque;
use std::convert::Infallible;
use std::time::Duration;

use axum::extract::State;
use axum::response::Sse;
use axum::response::sse::{Event as Sent, KeepAlive};
use futures_util::{Stream, stream};
use serde::Serialize;
use tokio::sync::broadcast::{self, error::RecvError};

use super::Shared;
use crate::desk::live::News;
use crate::desk::state::Happened;

/// Events buffered per page; a page further behind gets only the latest ones, each of
/// which is complete in itself.
const BEHIND: usize = 64;
/// Interval of keep-alive messages on idle connections, to notice pages that are gone.
const SIGN_OF_LIFE: Duration = Duration::from_secs(15);

/// Something that happened.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    name: &'static str,
    data: String,
}

impl Event {
    /// Makes an event of that name from serializable data.
    pub fn new(name: &'static str, data: &impl Serialize) -> Event {
        Event {
            name,
            data: serde_json::to_string(data).unwrap_or_default(),
        }
    }
    /// A state is ready to be shown.
    pub fn changed(version: u64) -> Event {
        Event::new("changed", &serde_json::json!({ "version": version }))
    }
    /// News from the mount, the receiver or a run.
    pub fn live(news: &News) -> Event {
        match news {
            News::MountReading(reading) => Event::new("reading", reading),
            News::Power(power) => Event::new("power", power),
            News::Runs(runs) => Event::new("runs", runs),
        }
    }
    /// Converts a notification of the desk.
    pub fn of(happened: Happened) -> Event {
        match happened {
            Happened::Changed(version) => Event::changed(version),
            Happened::Next(version) => {
                Event::new("next", &serde_json::json!({ "version": version }))
            }
        }
    }
}

/// The channel to every open page.
#[derive(Clone, Debug)]
pub struct Bus(broadcast::Sender<Event>);

impl Default for Bus {
    fn default() -> Bus {
        Bus(broadcast::Sender::new(BEHIND))
    }
}

impl Bus {
    /// Sends an event to every open page; there may be none.
    pub fn tell(&self, event: Event) {
        let _ = self.0.send(event);
    }
    /// Returns the number of open pages.
    pub fn watchers(&self) -> usize {
        self.0.receiver_count()
    }
}

/// Streams events to a page: the current state first, then every event.
pub async fn events(
    State(shared): State<Shared>,
) -> Sse<impl Stream<Item = Result<Sent, Infallible>>> {
    let receiver = shared.bus.0.subscribe();
    // The current state first, then every event.
    let live = &shared.live;
    let mut first = VecDeque::from([Event::changed(shared.desk.version())]);
    first.extend(
        live.reading()
            .map(|reading| Event::new("reading", &reading)),
    );
    first.extend(live.power().map(|power| Event::new("power", &power)));
    first.push_back(Event::new("runs", &live.runs()));
    let told = stream::unfold((first, receiver), |(mut first, mut receiver)| async {
        let event = match first.pop_front() {
            Some(event) => event,
            None => loop {
                match receiver.recv().await {
                    Ok(event) => break event,
                    Err(RecvError::Lagged(_)) => {}
                    Err(RecvError::Closed) => return None,
                }
            },
        };
        let sent = Sent::default().event(event.name).data(event.data);
        Some((Ok(sent), (first, receiver)))
    });
    Sse::new(told).keep_alive(KeepAlive::new().interval(SIGN_OF_LIFE))
}
