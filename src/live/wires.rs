//! The connections to the mount's daemon over sockets: each is made in a thread of its own, which then
//! reads it. Events of a connection that was given up are ignored.

use std::collections::HashMap;
use std::io::{Read, Write};
use std::net::{Shutdown, TcpStream, ToSocketAddrs};
use std::time::Duration;

use super::engine::Wire;

/// A connection to the mount must be established within this time,
const CONNECT: Duration = Duration::from_secs(3);
/// and accept what is written within this one: commands are short.
const WRITE: Duration = Duration::from_millis(50);

/// An event that a thread reports about a connection.
pub struct WireNews {
    wire: Wire,
    generation: u64,
    what: What,
}

enum What {
    Up(TcpStream),
    Bytes(Vec<u8>),
    Down(String),
}

/// An event of a connection.
#[derive(Debug)]
pub enum WireEvent {
    /// It is established.
    Up(Wire),
    /// Bytes came in.
    Bytes(Wire, Vec<u8>),
    /// It was lost, or could not be made: the reason.
    Down(Wire, String),
}

/// Both connections.
pub struct Wires {
    rotator: String,
    /// The current connection of each kind, with its generation.
    open: HashMap<u8, (u64, Option<TcpStream>)>,
    generation: u64,
}

const fn key(wire: Wire) -> u8 {
    match wire {
        Wire::Main => 0,
        Wire::Stop => 1,
    }
}

impl Wires {
    /// To the daemon at `HOST:PORT`.
    pub fn new(rotator: &str) -> Wires {
        Wires {
            rotator: rotator.to_owned(),
            open: HashMap::new(),
            generation: 0,
        }
    }

    /// Makes a connection; `tell` is called with its events, from another thread.
    pub fn connect(&mut self, wire: Wire, tell: impl Fn(WireNews) + Send + 'static) {
        self.generation += 1;
        let generation = self.generation;
        self.open.insert(key(wire), (generation, None));
        let rotator = self.rotator.clone();
        std::thread::spawn(move || {
            let news = |what| {
                tell(WireNews {
                    wire,
                    generation,
                    what,
                });
            };
            let stream = match connect(&rotator) {
                Ok(stream) => stream,
                Err(error) => return news(What::Down(error.to_string())),
            };
            let Ok(mut reader) = stream.try_clone() else {
                return news(What::Down("no second handle of the connection".to_owned()));
            };
            news(What::Up(stream));
            let mut bytes = [0; 4096];
            loop {
                match reader.read(&mut bytes) {
                    Ok(0) => return news(What::Down("the daemon closed it".to_owned())),
                    Ok(n) => news(What::Bytes(bytes[..n].to_vec())),
                    Err(e) if e.kind() == std::io::ErrorKind::Interrupted => {}
                    Err(e) => return news(What::Down(e.to_string())),
                }
            }
        });
    }

    /// Sends at once. Returns an event if that failed, else `None`.
    pub fn write(&mut self, wire: Wire, text: &str) -> Option<WireNews> {
        let (generation, Some(stream)) = self.open.get_mut(&key(wire))? else {
            return None;
        };
        let error = stream.write_all(text.as_bytes()).err()?;
        let _ = stream.shutdown(Shutdown::Both);
        Some(WireNews {
            wire,
            generation: *generation,
            what: What::Down(error.to_string()),
        })
    }

    /// Closes a connection.
    pub fn close(&mut self, wire: Wire) {
        if let Some((_, Some(stream))) = self.open.remove(&key(wire)) {
            let _ = stream.shutdown(Shutdown::Both);
        }
    }

    /// Returns the event if it is of the current connection; `None` if it is of an older one.
    pub fn take(&mut self, news: WireNews) -> Option<WireEvent> {
        let (current, stream) = self.open.get_mut(&key(news.wire))?;
        if *current != news.generation {
            return None;
        }
        Some(match news.what {
            What::Up(up) => {
                *stream = Some(up);
                WireEvent::Up(news.wire)
            }
            What::Bytes(bytes) => WireEvent::Bytes(news.wire, bytes),
            What::Down(why) => {
                self.open.remove(&key(news.wire));
                WireEvent::Down(news.wire, why)
            }
        })
    }
}

/// Connects to the first address of a name that answers.
fn connect(rotator: &str) -> std::io::Result<TcpStream> {
    let mut last = std::io::Error::other("the name has no address");
    for address in rotator.to_socket_addrs()? {
        match TcpStream::connect_timeout(&address, CONNECT) {
            Ok(stream) => {
                // A stop is a single small packet that must not wait for more data.
                stream.set_nodelay(true)?;
                stream.set_write_timeout(Some(WRITE))?;
                return Ok(stream);
            }
            Err(error) => last = error,
        }
    }
    Err(last)
}
