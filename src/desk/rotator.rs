//! Polls the mount's daemon for its position. Nothing else is ever sent to it: the desk moves
//! nothing and stops nothing.

use std::io::{Read, Write};
use std::net::{TcpStream, ToSocketAddrs};
use std::sync::{Arc, Condvar, Mutex, PoisonError, Weak};
use std::time::{Duration, Instant};

use crate::live::Axes;
use crate::live::daemon::{Conversation, DaemonAnswer, Question};
use crate::time::Utc;

/// Time between queries: several readings for each glance at the screen.
const OFTEN: Duration = Duration::from_millis(200);
/// A daemon that is silent this long is not answering.
const SILENT: Duration = Duration::from_secs(3);
/// Time between attempts to reach a daemon that is gone.
const AGAIN: Duration = Duration::from_millis(1500);

/// A reading of the mount.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MountReading {
    /// Both axes.
    pub axes: Axes,
    /// Time of the reading by this computer's clock: half-way between query and reply.
    pub time: Utc,
    /// The same on a monotonic clock.
    pub at: Instant,
}

/// Last known position of the mount.
#[derive(Clone, Debug, Default)]
pub struct KnownPosition {
    /// The newest reading.
    pub reading: Option<MountReading>,
    /// The one before it.
    pub before: Option<MountReading>,
    /// Why there is no newer reading.
    pub problem: Option<String>,
    /// Number of readings so far.
    pub count: u64,
}

impl KnownPosition {
    /// Interpolates the position between the last two readings; `None` outside that interval.
    pub fn place_at(&self, at: Instant) -> Option<Axes> {
        let (last, before) = (self.reading?, self.before?);
        if at < before.at || at > last.at {
            return None;
        }
        let whole = (last.at - before.at).as_secs_f64().max(1e-9);
        let share = (at - before.at).as_secs_f64() / whole;
        Some(before.axes.with(last.axes, |a, b| a + (b - a) * share))
    }
}

/// Polls the mount's position until dropped.
#[derive(Debug)]
pub struct Rotator {
    shared: Arc<Shared>,
}

#[derive(Debug, Default)]
struct Shared {
    seen: Mutex<KnownPosition>,
    news: Condvar,
}

impl Rotator {
    /// Starts polling the daemon at `HOST:PORT`; calls `tell` on every new reading or problem.
    pub fn watch(place: &str, mut tell: impl FnMut() + Send + 'static) -> Rotator {
        let shared = Arc::new(Shared::default());
        let weak = Arc::downgrade(&shared);
        let place = place.to_owned();
        std::thread::spawn(move || {
            while weak.strong_count() > 0 {
                if let Err(why) = ask_on(&place, &weak, &mut tell) {
                    note(&weak, |seen| seen.problem = Some(why));
                    tell();
                    std::thread::sleep(AGAIN);
                }
            }
        });
        Rotator { shared }
    }

    /// Returns what is known now.
    pub fn seen(&self) -> KnownPosition {
        self.shared.lock().clone()
    }

    /// Waits for a reading requested after this call; returns what is known if none comes in time.
    pub fn fresh(&self, patience: Duration) -> KnownPosition {
        let called = Instant::now();
        let mut seen = self.shared.lock();
        loop {
            let new = seen.reading.is_some_and(|reading| reading.at >= called);
            let waited = called.elapsed();
            if new || waited >= patience {
                return seen.clone();
            }
            seen = (self.shared.news)
                .wait_timeout(seen, patience - waited)
                .unwrap_or_else(PoisonError::into_inner)
                .0;
        }
    }
}

impl Shared {
    fn lock(&self) -> std::sync::MutexGuard<'_, KnownPosition> {
        self.seen.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn note(weak: &Weak<Shared>, change: impl FnOnce(&mut KnownPosition)) {
    if let Some(shared) = weak.upgrade() {
        change(&mut shared.lock());
        shared.news.notify_all();
    }
}

/// Polls on one connection until it fails or the [`Rotator`] is dropped.
fn ask_on(place: &str, weak: &Weak<Shared>, tell: &mut impl FnMut()) -> Result<(), String> {
    let gone = |what: &str| format!("the mount's daemon at {place} {what}");
    let address = (place.to_socket_addrs())
        .map_err(|e| gone(&format!("is not found: {e}")))?
        .next()
        .ok_or_else(|| gone("is not found"))?;
    let mut stream = TcpStream::connect_timeout(&address, SILENT)
        .map_err(|e| gone(&format!("does not answer: {e}")))?;
    let failed = |e: std::io::Error| gone(&format!("went away: {e}"));
    stream.set_nodelay(true).map_err(failed)?;
    stream.set_read_timeout(Some(OFTEN)).map_err(failed)?;
    let start = Instant::now();
    let mut talk = Conversation::default();
    let mut bytes = [0; 512];
    while weak.strong_count() > 0 {
        let (asked, asked_utc) = (Instant::now(), Utc::now());
        // The only query ever sent here.
        let question = talk.ask(Question::Position, None, start.elapsed());
        stream.write_all(question.as_bytes()).map_err(failed)?;
        loop {
            if asked.elapsed() > SILENT {
                return Err(gone("is silent"));
            }
            let read = match stream.read(&mut bytes) {
                Ok(0) => return Err(gone("closed the connection")),
                Ok(read) => read,
                Err(e) if is_waiting(&e) => continue,
                Err(e) => return Err(failed(e)),
            };
            let answers = talk.feed(&bytes[..read], start.elapsed());
            let Some(answer) = answers.into_iter().next() else {
                continue;
            };
            let half = asked.elapsed() / 2;
            match answer {
                DaemonAnswer::Position(axes, _) if axes.makes_sense() => {
                    let reading = MountReading {
                        axes,
                        time: asked_utc.plus_seconds(half.as_secs_f64()),
                        at: asked + half,
                    };
                    note(weak, |seen| {
                        seen.before = seen.reading.replace(reading);
                        seen.problem = None;
                        seen.count += 1;
                    });
                    tell();
                }
                _ => return Err(gone("gives no position that makes sense")),
            }
            break;
        }
        std::thread::sleep(OFTEN.saturating_sub(asked.elapsed()));
    }
    Ok(())
}

fn is_waiting(e: &std::io::Error) -> bool {
    use std::io::ErrorKind::{Interrupted, TimedOut, WouldBlock};
    matches!(e.kind(), Interrupted | TimedOut | WouldBlock)
}
