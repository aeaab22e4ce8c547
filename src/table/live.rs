//! Where a live stream can come from besides standard input: a TCP port of this machine, or a
//! serial line.

use std::io::{self, ErrorKind, Read, Write};
use std::net::{Ipv4Addr, Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use crate::problem::Error;

/// So many can be connected at the same time.
const MOST_CONNECTIONS: usize = 16;
/// One that has spoken gives up its place to another only after so long a silence.
const YIELDS_AFTER: Duration = Duration::from_secs(60);
/// One that takes none of its answers for so long is gone.
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

/// The address to listen on, if it is this machine's own.
///
/// # Errors
/// [`Error::Usage`] for anything else: whoever reaches the port steers a mount that moves metal.
pub fn loopback(text: &str) -> Result<SocketAddr, Error> {
    let address = match text.strip_prefix("localhost:") {
        Some(port) => port
            .parse()
            .ok()
            .map(|port| SocketAddr::from((Ipv4Addr::LOCALHOST, port))),
        None => text.parse().ok(),
    };
    match address {
        Some(address) if address.ip().is_loopback() => Ok(address),
        Some(address) => Err(Error::Usage(format!(
            "--listen {address} is refused: the stream has no password, and whoever reaches it has \
             a hand on a moving mount. It listens on this machine only: --listen \
             127.0.0.1:{}; from another machine use a tunnel that asks who you are (ssh -L)",
            address.port()
        ))),
        None => Err(Error::Usage(format!(
            "--listen \"{}\" is no address; expected 127.0.0.1:PORT",
            crate::problem::printable(text)
        ))),
    }
}

/// One connection, which does not wait for ever.
#[derive(Debug)]
pub struct Connection {
    stream: TcpStream,
    patience: Patience,
    heard: Mutex<Heard>,
}

/// What was heard of a connection.
#[derive(Clone, Copy, Debug)]
struct Heard {
    /// Whether a whole line was.
    spoken: bool,
    /// When the last one ended, or the connection began.
    last: Instant,
}

impl Connection {
    fn new(stream: TcpStream, patience: Patience) -> io::Result<Connection> {
        // Answers are single small packets that must not wait for company.
        stream.set_nodelay(true)?;
        stream.set_write_timeout(Some(WRITES_WITHIN))?;
        Ok(Connection {
            stream,
            patience,
            heard: Mutex::new(Heard {
                spoken: false,
                last: Instant::now(),
            }),
        })
    }

    fn heard(&self) -> Heard {
        *self.heard.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Whether it may be closed for another that asks, and how long it has been silent.
    fn yields(&self) -> Option<(bool, Duration)> {
        let heard = self.heard();
        let silent = heard.last.elapsed();
        (!heard.spoken || silent > YIELDS_AFTER).then_some((!heard.spoken, silent))
    }

    /// Says why, and closes it.
    pub fn close(&self, why: &str) {
        let _ = (&self.stream).write_all(format!("error line 0: {why}\n").as_bytes());
        let _ = self.stream.shutdown(Shutdown::Both);
    }
}

impl Read for &Connection {
    /// Waits for what comes, but for no line longer than its patience lasts.
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let heard = self.heard();
        let patience = match heard.spoken {
            true => self.patience.between,
            false => self.patience.first,
        };
        let left = patience.saturating_sub(heard.last.elapsed());
        if left.is_zero() {
            return Err(ErrorKind::TimedOut.into());
        }
        self.stream.set_read_timeout(Some(left))?;
        let count = match (&self.stream).read(buffer) {
            // As some systems call it.
            Err(e) if e.kind() == ErrorKind::WouldBlock => Err(ErrorKind::TimedOut.into()),
            other => other,
        }?;
        if buffer[..count].contains(&b'\n') {
            *self.heard.lock().unwrap_or_else(PoisonError::into_inner) = Heard {
                spoken: true,
                last: Instant::now(),
            };
        }
        Ok(count)
    }
}

impl Write for &Connection {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        (&self.stream).write(bytes)
    }
    fn flush(&mut self) -> io::Result<()> {
        (&self.stream).flush()
    }
}

/// Listens and answers every connection on its own, for ever. `ready` is told the address, whose
/// port the system chose if 0 was asked for; `answer` serves one connection. When all places are
/// taken the one that has been silent longest gives up its own, one that never spoke first.
///
/// # Errors
/// When the port cannot be had.
pub fn listen(
    address: SocketAddr,
    ready: &mut dyn FnMut(SocketAddr),
    patience: Patience,
    answer: &(dyn Fn(&Connection) -> io::Result<()> + Sync),
) -> Result<(), Error> {
    let failed = |e| Error::io(&address.to_string(), "listen", e);
    let listener = TcpListener::bind(address).map_err(failed)?;
    ready(listener.local_addr().map_err(failed)?);
    let open: Mutex<Vec<Arc<Connection>>> = Mutex::new(Vec::new());
    let open = &open;
    let taken = || open.lock().unwrap_or_else(PoisonError::into_inner);
    std::thread::scope(|scope| {
        for stream in listener.incoming() {
            let Ok(connection) = stream.and_then(|s| Connection::new(s, patience)) else {
                // It broke before it began; wait a little lest a lasting fault fills the machine.
                std::thread::sleep(Duration::from_millis(20));
                continue;
            };
            let connection = Arc::new(connection);
            {
                let mut open = taken();
                if open.len() >= MOST_CONNECTIONS {
                    let silent = (open.iter().enumerate())
                        .filter_map(|(i, c)| Some((c.yields()?, i)))
                        .max();
                    let Some((_, silent)) = silent else {
                        connection.close("too many connections");
                        continue;
                    };
                    open.remove(silent)
                        .close("silent for so long that another connection takes the place");
                }
                open.push(Arc::clone(&connection));
            }
            scope.spawn(move || {
                match answer(&connection) {
                    Err(e) if e.kind() == ErrorKind::TimedOut => {
                        connection.close("silent for too long");
                    }
                    // A connection that breaks concerns nobody else.
                    _ => {
                        let _ = connection.stream.shutdown(Shutdown::Both);
                    }
                }
                let mut open = open.lock().unwrap_or_else(PoisonError::into_inner);
                open.retain(|other| !Arc::ptr_eq(other, &connection));
            });
        }
    });
    Ok(())
}

/// Opens a serial line at 8 bits, no parity, one stop bit: what to read from and what to write to.
///
/// # Errors
/// When the device cannot be opened or set so.
pub fn open_serial(device: &str, baud: u32) -> Result<(impl Read, impl Write), Error> {
    let failed = |e: serialport::Error| Error::io(device, "open", e.into());
    let port = serialport::new(device, baud)
        .timeout(Duration::from_millis(500))
        .open()
        .map_err(failed)?;
    let writer = port.try_clone().map_err(failed)?;
    Ok((Patient(port), writer))
}

/// Reads on when nothing came for a while: on a serial line that is no fault.
struct Patient<R>(R);

impl<R: Read> Read for Patient<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        loop {
            match self.0.read(buffer) {
                Err(e) if e.kind() == io::ErrorKind::TimedOut => {}
                // Nothing at all without a time-out: the other end hung up.
                other => return other,
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A server that sends every piece back, and its address.
    fn echoing(patience: Patience) -> SocketAddr {
        let (tell, told) = std::sync::mpsc::channel();
        std::thread::spawn(move || {
            let ready = &mut |address| tell.send(address).unwrap();
            let local = loopback("127.0.0.1:0").unwrap();
            listen(local, ready, patience, &|mut connection| {
                let mut buffer = [0; 64];
                loop {
                    match connection.read(&mut buffer)? {
                        0 => return Ok(()),
                        count => connection.write_all(&buffer[..count])?,
                    }
                }
            })
        });
        told.recv().unwrap()
    }
    fn ask(mut stream: &TcpStream, line: &str) -> String {
        stream.write_all(line.as_bytes()).unwrap();
        let mut buffer = [0; 64];
        let count = stream.read(&mut buffer).unwrap();
        String::from_utf8_lossy(&buffer[..count]).into_owned()
    }
    /// All that comes until it is closed.
    fn rest(mut stream: &TcpStream) -> String {
        let mut text = String::new();
        let _ = stream.read_to_string(&mut text);
        text
    }

    #[test]
    fn silent_connections_end_and_so_do_those_that_never_finish_a_line() {
        let short = Patience {
            first: Duration::from_millis(60),
            between: Duration::from_millis(120),
        };
        let address = echoing(short);
        let silent = TcpStream::connect(address).unwrap();
        assert_eq!(rest(&silent), "error line 0: silent for too long\n");
        let spoken = TcpStream::connect(address).unwrap();
        assert_eq!(ask(&spoken, "1\n"), "1\n");
        assert_eq!(rest(&spoken), "error line 0: silent for too long\n");
        let mut dripping = TcpStream::connect(address).unwrap();
        let began = Instant::now();
        while dripping.write_all(b"1").is_ok() && began.elapsed() < Duration::from_secs(20) {
            std::thread::sleep(Duration::from_millis(10));
        }
        assert!(
            began.elapsed() < Duration::from_secs(20),
            "it was kept for ever"
        );
    }

    #[test]
    fn silent_connections_do_not_lock_others_out() {
        let address = echoing(PATIENCE);
        let connect = || TcpStream::connect(address).unwrap();
        let spoken = connect();
        assert_eq!(ask(&spoken, "1\n"), "1\n");
        let silent: Vec<TcpStream> = (1..MOST_CONNECTIONS).map(|_| connect()).collect();
        // All places are taken: each that comes gets that of one that never spoke.
        let more: Vec<TcpStream> = (1..MOST_CONNECTIONS).map(|_| connect()).collect();
        for stream in &more {
            assert_eq!(ask(stream, "2\n"), "2\n");
        }
        for stream in &silent {
            assert!(rest(stream).contains("another connection takes the place"));
        }
        assert_eq!(ask(&spoken, "3\n"), "3\n");
        // Now all have spoken, and none gives way.
        assert_eq!(rest(&connect()), "error line 0: too many connections\n");
    }

    #[test]
    fn only_this_machine_is_listened_on() {
        for good in ["127.0.0.1:4533", "127.8.8.8:1", "localhost:0", "[::1]:99"] {
            assert!(loopback(good).is_ok(), "{good}");
        }
        for bad in ["0.0.0.0:4533", "192.168.1.7:80", "[::]:80", "8.8.8.8:53"] {
            let message = loopback(bad).unwrap_err().to_string();
            assert!(message.contains("refused"), "{message}");
        }
        for nonsense in ["4533", ":4533", "example.org:80", "localhost:x", ""] {
            let message = loopback(nonsense).unwrap_err().to_string();
            assert!(message.contains("expected 127.0.0.1:PORT"), "{message}");
        }
        assert_eq!(loopback("0.0.0.0:1").unwrap_err().exit_code(), 2);
    }
}
