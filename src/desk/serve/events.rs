//! What is told to every page that watches.

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

/// Events that a page may be behind; one that is further behind hears only the last ones, each of
/// which stands for itself.
const BEHIND: usize = 64;
/// So often a sign of life goes to pages that hear nothing, to notice those that are gone.
const SIGN_OF_LIFE: Duration = Duration::from_secs(15);

/// Something that happened.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    name: &'static str,
    data: String,
}

impl Event {
    /// Of that name with plain values.
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
    /// What happens at the mount.
    pub fn live(news: &News) -> Event {
        match news {
            News::MountReading(reading) => Event::new("reading", reading),
            News::Power(power) => Event::new("power", power),
            News::Runs(runs) => Event::new("runs", runs),
        }
    }
    /// What a desk tells.
    pub fn of(happened: Happened) -> Event {
        match happened {
            Happened::Changed(version) => Event::changed(version),
            Happened::Next(version) => {
                Event::new("next", &serde_json::json!({ "version": version }))
            }
        }
    }
}

/// Where events go to reach every page.
#[derive(Clone, Debug)]
pub struct Bus(broadcast::Sender<Event>);

impl Default for Bus {
    fn default() -> Bus {
        Bus(broadcast::Sender::new(BEHIND))
    }
}

impl Bus {
    /// Tells every page that watches; nobody may.
    pub fn tell(&self, event: Event) {
        let _ = self.0.send(event);
    }
    /// How many pages watch.
    pub fn watchers(&self) -> usize {
        self.0.receiver_count()
    }
}

/// The stream of a page: where the desk stands, then whatever happens.
pub async fn events(
    State(shared): State<Shared>,
) -> Sse<impl Stream<Item = Result<Sent, Infallible>>> {
    let receiver = shared.bus.0.subscribe();
    // Where everything stands, then whatever happens.
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
