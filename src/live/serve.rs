//! Runs a [`Relay`] over sockets, with plain threads: one that accepts, two for each client, one for
//! each connection to the mount, and this one, which alone owns the relay. Urgent events have a
//! queue of their own, so that no client can delay them.

use std::collections::HashMap;
use std::io::{Read, Write};
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, bounded, select_biased, unbounded};

use super::clients::ClientId;
use super::engine::{Action, Event, Operator, Relay};
use super::messages::{RelayNotice, RelayStatus};
use super::protocol::{Code, Command, DaemonLine, DaemonRequest, Lines};
use super::record::RelayRow;
use super::wires::{WireEvent, WireNews, Wires};
use crate::problem::Error;
use crate::table::FullModel;
use crate::text::is_of_the_web;
use crate::time::Utc;

/// Most clients at the same time.
const MOST_CLIENTS: usize = 64;
/// Most lines of clients that wait; beyond that, reading from clients pauses.
const MOST_LINES: usize = 256;
/// A client that leaves this many replies unread is closed.
const MOST_REPLIES: usize = 256;
/// A client that accepts nothing for this long is closed.
const CLIENT_WRITE: Duration = Duration::from_secs(2);

/// What the relay has to say while it runs.
#[derive(Clone, Debug)]
pub enum RelayReport {
    /// A row of the log.
    Log(RelayRow),
    /// To the person.
    Tell(RelayNotice),
    /// Where things stand.
    Show(RelayStatus),
}

/// What comes from clients.
enum FromClient {
    Opened(ClientId, String, Sender<String>, TcpStream),
    Line(ClientId, DaemonLine, u64),
    Closed(ClientId),
}

/// Events that must not wait behind those of clients.
enum Urgent {
    Stop(ClientId, u64),
    Operator(Operator, &'static str),
    StopFile(bool),
    Calibration(Box<FullModel>, Vec<String>),
    Tell(RelayNotice),
    Wire(WireNews),
}

/// Sends events to a running relay from everything except clients.
#[derive(Clone)]
pub struct Inlet(Sender<Urgent>);

impl Inlet {
    /// Passes on an action of the operator; `how` is its wording in messages.
    pub fn operator(&self, what: Operator, how: &'static str) {
        // The relay may have ended already.
        let _ = self.0.send(Urgent::Operator(what, how));
    }
    /// The stop file appeared or is gone.
    pub fn stop_file(&self, there: bool) {
        let _ = self.0.send(Urgent::StopFile(there));
    }
    /// Another calibration is to be used.
    pub fn calibration(&self, full: Box<FullModel>, caveats: Vec<String>) {
        let _ = self.0.send(Urgent::Calibration(full, caveats));
    }
    /// Something to tell.
    pub fn tell(&self, told: RelayNotice) {
        let _ = self.0.send(Urgent::Tell(told));
    }
}

/// What comes in through an [`Inlet`].
pub struct Inbox(Receiver<Urgent>);

/// Returns both ends of the channel.
pub fn inlet() -> (Inlet, Inbox) {
    let (sender, receiver) = unbounded();
    (Inlet(sender), Inbox(receiver))
}

/// Runs a relay for the clients of `listener` and the daemon at `rotator` (`HOST:PORT`) until it is
/// told to end. What it has to say goes to `reports`, which must be read.
///
/// # Errors
/// When the listener cannot be used.
pub fn serve(
    mut relay: Relay,
    listener: TcpListener,
    rotator: &str,
    (inlet, inbox): (Inlet, Inbox),
    reports: &Sender<RelayReport>,
) -> Result<(), Error> {
    let (lines_in, lines) = bounded(MOST_LINES);
    accept(listener, lines_in, inlet.0.clone());
    let mut shell = Shell {
        urgent: inlet.0,
        clients: HashMap::new(),
        wires: Wires::new(rotator),
        reports,
    };
    let start = Instant::now();
    let take =
        |relay: &mut Relay, event: Event<'_>| relay.handle(event, start.elapsed(), Utc::now());
    let mut actions = take(&mut relay, Event::Tick);
    loop {
        let mut ended = false;
        for action in actions {
            if action == Action::End {
                ended = true;
            } else {
                shell.act(action);
            }
        }
        if ended {
            return Ok(());
        }
        let wait = relay.next_tick().saturating_sub(start.elapsed());
        actions = select_biased! {
            recv(inbox.0) -> urgent => match urgent {
                Ok(urgent) => shell.urgent(urgent, &mut |event| take(&mut relay, event)),
                // The shell holds a sender itself.
                Err(_) => Vec::new(),
            },
            recv(lines) -> line => match line {
                Ok(FromClient::Opened(id, name, replies, stream)) => {
                    shell.clients.insert(id, (replies, stream));
                    take(&mut relay, Event::Opened(id, name))
                }
                Ok(FromClient::Line(id, line, count)) => {
                    take(&mut relay, Event::Line(id, line, count))
                }
                Ok(FromClient::Closed(id)) => {
                    shell.clients.remove(&id);
                    take(&mut relay, Event::Closed(id))
                }
                Err(_) => take(&mut relay, Event::Tick),
            },
            default(wait) => take(&mut relay, Event::Tick),
        };
    }
}

/// The sockets of a running relay.
struct Shell<'a> {
    urgent: Sender<Urgent>,
    clients: HashMap<ClientId, (Sender<String>, TcpStream)>,
    wires: Wires,
    reports: &'a Sender<RelayReport>,
}

impl Shell<'_> {
    fn act(&mut self, action: Action) {
        match action {
            Action::Write(wire, text) => {
                if let Some(news) = self.wires.write(wire, &text) {
                    let _ = self.urgent.send(Urgent::Wire(news));
                }
            }
            Action::Send(id, text) => {
                let full = match self.clients.get(&id) {
                    Some((replies, _)) => replies.try_send(text).is_err(),
                    None => false,
                };
                if full {
                    self.close(id);
                }
            }
            Action::Close(id) => {
                // The writer ends when its queue does, after what is in it.
                if let Some((replies, stream)) = self.clients.remove(&id) {
                    drop(replies);
                    let _ = stream.shutdown(Shutdown::Read);
                }
            }
            Action::Connect(wire) => {
                let urgent = self.urgent.clone();
                self.wires
                    .connect(wire, move |news| drop(urgent.send(Urgent::Wire(news))));
            }
            Action::Drop(wire) => self.wires.close(wire),
            // Whoever reads the reports may have gone; the mount comes first.
            Action::Log(row) => drop(self.reports.send(RelayReport::Log(row))),
            Action::Tell(told) => drop(self.reports.send(RelayReport::Tell(told))),
            Action::Show(status) => drop(self.reports.send(RelayReport::Show(status))),
            Action::Driven(_) | Action::End => {}
        }
    }

    fn close(&mut self, id: ClientId) {
        if let Some((_, stream)) = self.clients.remove(&id) {
            let _ = stream.shutdown(Shutdown::Both);
        }
    }

    fn urgent(
        &mut self,
        urgent: Urgent,
        take: &mut dyn FnMut(Event<'_>) -> Vec<Action>,
    ) -> Vec<Action> {
        match urgent {
            Urgent::Stop(id, count) => take(Event::Urgent(id, count)),
            Urgent::Operator(what, how) => take(Event::Operator(what, how)),
            Urgent::StopFile(there) => take(Event::StopFile(there)),
            Urgent::Calibration(full, caveats) => take(Event::Calibration(full, caveats)),
            Urgent::Tell(told) => take(Event::Tell(told)),
            Urgent::Wire(news) => match self.wires.take(news) {
                Some(WireEvent::Up(wire)) => take(Event::WireUp(wire)),
                Some(WireEvent::Bytes(wire, bytes)) => take(Event::WireBytes(wire, &bytes)),
                Some(WireEvent::Down(wire, why)) => take(Event::WireDown(wire, why)),
                None => Vec::new(),
            },
        }
    }
}

/// Accepts clients without end.
fn accept(listener: TcpListener, lines: Sender<FromClient>, urgent: Sender<Urgent>) {
    let open = Arc::new(AtomicUsize::new(0));
    let count = Arc::new(AtomicU64::new(0));
    std::thread::spawn(move || {
        for (id, connection) in (1..).zip(listener.incoming()) {
            let Ok(mut stream) = connection else {
                // The connection failed at once; wait, so that a lasting fault loads no CPU.
                std::thread::sleep(Duration::from_millis(20));
                continue;
            };
            if open.load(Ordering::SeqCst) >= MOST_CLIENTS {
                let _ = stream.write_all(format!("{}\n", Code::Unavailable).as_bytes());
                continue;
            }
            let _ = stream.set_nodelay(true);
            let _ = stream.set_write_timeout(Some(CLIENT_WRITE));
            let name = stream
                .peer_addr()
                .map_or_else(|_| "a client".to_owned(), |a: SocketAddr| a.to_string());
            let (Ok(reader), Ok(writer)) = (stream.try_clone(), stream.try_clone()) else {
                continue;
            };
            let (replies_in, replies) = bounded(MOST_REPLIES);
            if lines
                .send(FromClient::Opened(id, name, replies_in, stream))
                .is_err()
            {
                return;
            }
            open.fetch_add(1, Ordering::SeqCst);
            std::thread::spawn(move || write_replies(writer, &replies));
            let (lines, urgent) = (lines.clone(), urgent.clone());
            let (open, count) = (Arc::clone(&open), Arc::clone(&count));
            std::thread::spawn(move || {
                read_lines(reader, id, &lines, &urgent, &count);
                open.fetch_sub(1, Ordering::SeqCst);
                let _ = lines.send(FromClient::Closed(id));
            });
        }
    });
}

/// Writes replies until there are no more, each in one piece.
fn write_replies(mut writer: TcpStream, replies: &Receiver<String>) {
    for text in replies {
        if writer.write_all(text.as_bytes()).is_err() {
            break;
        }
    }
    let _ = writer.shutdown(Shutdown::Both);
}

/// Reads the lines of a client until it closes. A stop is sent on at once, ahead of the queue.
fn read_lines(
    mut reader: TcpStream,
    id: ClientId,
    lines: &Sender<FromClient>,
    urgent: &Sender<Urgent>,
    count: &AtomicU64,
) {
    let mut split = Lines::default();
    let mut bytes = [0; 4096];
    loop {
        let n = match reader.read(&mut bytes) {
            Ok(0) => return,
            Ok(n) => n,
            Err(e) if e.kind() == std::io::ErrorKind::Interrupted => continue,
            Err(_) => return,
        };
        let mut came = Vec::new();
        split.feed(&bytes[..n], |line| {
            came.push((line, count.fetch_add(1, Ordering::SeqCst) + 1));
        });
        // A page in a browser can reach this port too: what its request carries is not heard, nor
        // what comes behind a line that no tracker sends.
        let foreign = came.iter().position(|(line, _)| match line {
            DaemonLine::Text(text) => is_of_the_web(text),
            DaemonLine::TooLong => true,
        });
        if let Some(first) = foreign {
            let too_long = matches!(came[first].0, DaemonLine::TooLong);
            came.truncate(first + usize::from(too_long));
        }
        // All stops of the packet before any of its other lines.
        for (line, number) in &came {
            if is_stop(line) {
                let _ = urgent.send(Urgent::Stop(id, *number));
            }
        }
        for (line, number) in came {
            if lines.send(FromClient::Line(id, line, number)).is_err() {
                return;
            }
        }
        if foreign.is_some() {
            return;
        }
    }
}

fn is_stop(line: &DaemonLine) -> bool {
    match line {
        DaemonLine::Text(text) => {
            DaemonRequest::parse(text).is_some_and(|request| request.command == Command::Stop)
        }
        DaemonLine::TooLong => false,
    }
}
