//! Where a live stream can come from besides standard input: a TCP port of this machine, or a
//! serial line.

use std::io::{self, ErrorKind, Read, Write};
use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use crate::problem::Error;

use super::connection::{Connection, Patience};

/// Connections at the same time: far more than one station's programs need, few enough that no
/// thread is short of memory.
const MOST_CONNECTIONS: usize = 16;
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
            "--listen {address} is refused: the stream has no password, and whoever reaches it \
             controls a moving mount. It listens on this machine only: --listen \
             127.0.0.1:{}; from another machine use a tunnel that authenticates you (ssh -L)",
            address.port()
        ))),
        None => Err(Error::Usage(format!(
            "--listen \"{}\" is not an address; expected 127.0.0.1:PORT",
            crate::problem::printable(text)
        ))),
    }
}

/// Listens and answers every connection on its own, for ever. `ready` is told the address, whose
/// port the system chose if 0 was given; `answer` serves one connection; `farewell` makes the
/// last line of one that is closed, out of the reason. When all places are taken the one that has
/// been silent longest gives up its own, one that never spoke first.
///
/// # Errors
/// When the port cannot be had.
pub fn listen(
    address: SocketAddr,
    ready: &mut dyn FnMut(SocketAddr),
    patience: Patience,
    farewell: &(dyn Fn(&str) -> String + Sync),
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
                        connection.close(&farewell("too many connections"));
                        continue;
                    };
                    open.remove(silent).close(&farewell(
                        "silent for so long that another connection takes the place",
                    ));
                }
                open.push(Arc::clone(&connection));
            }
            scope.spawn(move || {
                // One that breaks concerns nobody else.
                let last = match answer(&connection) {
                    Err(e) if e.kind() == ErrorKind::TimedOut => farewell("silent for too long"),
                    _ => String::new(),
                };
                connection.close(&last);
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

/// Reads on when nothing came for a while: on a serial line that is not a fault.
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
    use std::net::TcpStream;

    use super::super::connection::PATIENCE;
    use super::*;

    /// A server that sends every piece back, and its address.
    fn echoing(patience: Patience) -> SocketAddr {
        let (tell, told) = std::sync::mpsc::channel();
        std::thread::spawn(move || {
            let ready = &mut |address| tell.send(address).unwrap();
            let local = loopback("127.0.0.1:0").unwrap();
            let farewell = &|why: &str| format!("closed: {why}\n");
            listen(local, ready, patience, farewell, &|mut connection| {
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
    fn a_silent_connection_is_closed_with_a_word() {
        let long = PATIENCE.between;
        let at_once = Duration::from_millis(1);
        let silent = TcpStream::connect(echoing(Patience {
            first: at_once,
            between: long,
        }));
        assert_eq!(rest(&silent.unwrap()), "closed: silent for too long\n");
        let spoken = TcpStream::connect(echoing(Patience {
            first: long,
            between: at_once,
        }));
        let spoken = spoken.unwrap();
        (&spoken).write_all(b"1\n").unwrap();
        assert_eq!(rest(&spoken), "1\nclosed: silent for too long\n");
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
        assert_eq!(rest(&connect()), "closed: too many connections\n");
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
