//! Where a live stream can come from besides standard input: a TCP port of this machine, or a
//! serial line.

use std::io::{self, Read, Write};
use std::net::{Ipv4Addr, SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use crate::problem::Error;

/// So many can be connected at the same time.
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

/// Listens and answers every connection on its own, for ever. `ready` is told the address, whose
/// port the system chose if 0 was asked for; `answer` serves one connection.
///
/// # Errors
/// When the port cannot be had.
pub fn listen(
    address: SocketAddr,
    ready: &mut dyn FnMut(SocketAddr),
    answer: &(dyn Fn(&TcpStream) + Sync),
) -> Result<(), Error> {
    let failed = |e| Error::io(&address.to_string(), "listen", e);
    let listener = TcpListener::bind(address).map_err(failed)?;
    ready(listener.local_addr().map_err(failed)?);
    let open = AtomicUsize::new(0);
    std::thread::scope(|scope| {
        for connection in listener.incoming() {
            let Ok(mut connection) = connection else {
                // It broke before it began; wait a little lest a lasting fault fills the machine.
                std::thread::sleep(Duration::from_millis(20));
                continue;
            };
            if open.fetch_add(1, Ordering::SeqCst) >= MOST_CONNECTIONS {
                open.fetch_sub(1, Ordering::SeqCst);
                let _ = connection.write_all(b"error line 0: too many connections\n");
                continue;
            }
            let open = &open;
            scope.spawn(move || {
                // Answers are single small packets that must not wait for company.
                let _ = connection.set_nodelay(true);
                answer(&connection);
                open.fetch_sub(1, Ordering::SeqCst);
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
