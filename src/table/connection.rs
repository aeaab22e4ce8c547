//! One connection of the live stream: when nothing comes through it, it is not kept for ever.

use std::io::{self, ErrorKind, Read, Write};
use std::net::{Shutdown, TcpStream};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

/// A client that has spoken gives up its place to another only after this long a silence; programs
/// that track ask every second or so.
const YIELDS_AFTER: Duration = Duration::from_secs(60);
/// A client that takes none of its answers for this long is gone.
const WRITES_WITHIN: Duration = Duration::from_secs(30);

/// How long a silent connection is kept.
#[derive(Clone, Copy, Debug)]
pub struct Patience {
    /// Until its first line.
    pub first: Duration,
    /// Between two lines.
    pub between: Duration,
}

/// A tracking program says something at once; between two passes it may be silent for a while.
pub const PATIENCE: Patience = Patience {
    first: Duration::from_secs(60),
    between: Duration::from_secs(600),
};

/// Where the bytes of a connection come from, with a clock that never goes back.
pub trait Wire {
    /// Since the connection began.
    fn now(&self) -> Duration;
    /// Waits for bytes, but no longer than `patience`, which is above zero.
    ///
    /// # Errors
    /// [`ErrorKind::TimedOut`] when none came, and when the connection broke.
    fn read_within(&self, patience: Duration, buffer: &mut [u8]) -> io::Result<usize>;
}

/// A TCP connection on the clock of the machine.
#[derive(Debug)]
pub struct Socket {
    stream: TcpStream,
    began: Instant,
}

impl Wire for Socket {
    fn now(&self) -> Duration {
        self.began.elapsed()
    }
    fn read_within(&self, patience: Duration, buffer: &mut [u8]) -> io::Result<usize> {
        self.stream.set_read_timeout(Some(patience))?;
        match (&self.stream).read(buffer) {
            // As some systems call it.
            Err(e) if e.kind() == ErrorKind::WouldBlock => Err(ErrorKind::TimedOut.into()),
            other => other,
        }
    }
}

/// When the last whole line was heard.
#[derive(Clone, Copy, Debug, Default)]
struct Heard {
    /// Whether any was.
    spoken: bool,
    /// Or when the connection began.
    last: Duration,
}

/// One connection, which does not wait for ever.
#[derive(Debug)]
pub struct Connection<W = Socket> {
    wire: W,
    patience: Patience,
    heard: Mutex<Heard>,
}

impl<W: Wire> Connection<W> {
    /// Over a wire whose clock begins now.
    pub fn over(wire: W, patience: Patience) -> Connection<W> {
        Connection {
            wire,
            patience,
            heard: Mutex::default(),
        }
    }

    fn heard(&self) -> Heard {
        *self.heard.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Whether it may be closed for another that asks: whether it never spoke, and how long it has
    /// been silent. The greatest of several goes first.
    pub(super) fn yields(&self) -> Option<(bool, Duration)> {
        let heard = self.heard();
        let silent = self.wire.now().saturating_sub(heard.last);
        (!heard.spoken || silent > YIELDS_AFTER).then_some((!heard.spoken, silent))
    }
}

impl Connection {
    /// Over a TCP connection that was just made.
    ///
    /// # Errors
    /// When it is broken already.
    pub fn new(stream: TcpStream, patience: Patience) -> io::Result<Connection> {
        // Answers are single small packets that must not wait for company.
        stream.set_nodelay(true)?;
        stream.set_write_timeout(Some(WRITES_WITHIN))?;
        let began = Instant::now();
        Ok(Connection::over(Socket { stream, began }, patience))
    }

    /// Closes it with a last line.
    pub fn close(&self, line: &str) {
        let _ = (&self.wire.stream).write_all(line.as_bytes());
        let _ = self.wire.stream.shutdown(Shutdown::Both);
    }
}

impl<W: Wire> Read for &Connection<W> {
    /// Waits for what comes, but for no line longer than its patience lasts.
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let heard = self.heard();
        let patience = match heard.spoken {
            true => self.patience.between,
            false => self.patience.first,
        };
        let left = (heard.last + patience).saturating_sub(self.wire.now());
        if left.is_zero() {
            return Err(ErrorKind::TimedOut.into());
        }
        let count = self.wire.read_within(left, buffer)?;
        if buffer[..count].contains(&b'\n') {
            *self.heard.lock().unwrap_or_else(PoisonError::into_inner) = Heard {
                spoken: true,
                last: self.wire.now(),
            };
        }
        Ok(count)
    }
}

impl Write for &Connection {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        (&self.wire.stream).write(bytes)
    }
    fn flush(&mut self) -> io::Result<()> {
        (&self.wire.stream).flush()
    }
}

#[cfg(test)]
mod tests {
    use std::cell::{Cell, RefCell};
    use std::collections::VecDeque;

    use super::*;

    /// Pieces that come after so many seconds each, on a clock that only waiting moves.
    struct Script {
        now: Cell<Duration>,
        pieces: RefCell<VecDeque<(Duration, &'static [u8])>>,
    }

    impl Wire for Script {
        fn now(&self) -> Duration {
            self.now.get()
        }
        fn read_within(&self, patience: Duration, buffer: &mut [u8]) -> io::Result<usize> {
            let mut pieces = self.pieces.borrow_mut();
            match pieces.front_mut() {
                Some((after, bytes)) if *after <= patience => {
                    self.now.set(self.now.get() + *after);
                    buffer[..bytes.len()].copy_from_slice(bytes);
                    let count = bytes.len();
                    pieces.pop_front();
                    Ok(count)
                }
                next => {
                    self.now.set(self.now.get() + patience);
                    if let Some((after, _)) = next {
                        *after -= patience;
                    }
                    Err(ErrorKind::TimedOut.into())
                }
            }
        }
    }

    fn connection(pieces: &[(u64, &'static [u8])]) -> Connection<Script> {
        let pieces = (pieces.iter())
            .map(|(after, bytes)| (Duration::from_secs(*after), *bytes))
            .collect();
        let script = Script {
            now: Cell::default(),
            pieces: RefCell::new(pieces),
        };
        Connection::over(script, PATIENCE)
    }
    /// Reads until it gives up: how many pieces came, and after how many seconds it did.
    fn given_up(pieces: &[(u64, &'static [u8])]) -> (usize, u64) {
        let connection = connection(pieces);
        let mut count = 0;
        loop {
            let mut piece = [0; 64];
            match (&connection).read(&mut piece) {
                Ok(0) => panic!("the script has no end of stream"),
                Ok(_) => count += 1,
                Err(e) => {
                    assert_eq!(e.kind(), ErrorKind::TimedOut);
                    return (count, connection.wire.now().as_secs());
                }
            }
        }
    }

    #[test]
    fn a_silent_connection_is_given_up() {
        assert_eq!(given_up(&[]), (0, 60));
        assert_eq!(given_up(&[(61, b"1 2\n")]), (0, 60));
        // One that has spoken may be silent between two passes, but not for ever.
        assert_eq!(given_up(&[(59, b"1 2\n")]), (1, 59 + 600));
        let busy = [(59, b"1 2\n" as &[u8]), (599, b"3 4\n"), (599, b"\n")];
        assert_eq!(given_up(&busy), (3, 59 + 599 + 599 + 600));
    }

    #[test]
    fn so_is_one_that_never_ends_a_line() {
        let drops: Vec<(u64, &'static [u8])> = vec![(7, b"1"); 1000];
        assert_eq!(given_up(&drops), (8, 60));
        let after_a_line = [&[(1, b"1 2\n" as &[u8])], &drops[..]].concat();
        assert_eq!(given_up(&after_a_line), (1 + 85, 1 + 600));
    }

    #[test]
    fn who_never_spoke_gives_way_first_then_who_was_silent_longest() {
        let at = |pieces: &[(u64, &'static [u8])], now: u64| {
            let connection = connection(pieces);
            for _ in pieces {
                let read = (&connection).read(&mut [0; 64]).unwrap();
                assert!(read > 0);
            }
            connection.wire.now.set(Duration::from_secs(now));
            connection.yields()
        };
        let never = at(&[], 100).unwrap();
        let part = at(&[(50, b"1")], 99).unwrap();
        let long_ago = at(&[(1, b"1 2\n")], 590).unwrap();
        let longer_ago = at(&[(1, b"1 2\n")], 591).unwrap();
        assert!(never > part && part > longer_ago && longer_ago > long_ago);
        assert_eq!(at(&[(40, b"1 2\n")], 100), None);
    }
}
