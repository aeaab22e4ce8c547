//! Where a receiver's lines come from: a thread reads them and hands them on.

use std::io::Read;
use std::net::{TcpStream, UdpSocket};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use super::power::{Power, PowerLines, PowerSource};
use crate::problem::Error;

/// What the thread receives.
#[derive(Clone, Debug, PartialEq)]
pub enum FromReceiver {
    /// A power.
    Power(Power),
    /// An invalid line, or the loss of the source, in words.
    Nothing(String),
}

/// A receiver that is listened to; a command that was started for it ends with this.
#[derive(Debug, Default)]
pub struct Listening {
    child: Option<Child>,
}

impl Drop for Listening {
    fn drop(&mut self) {
        if let Some(child) = &mut self.child {
            // It may have ended by itself.
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

/// Time after which a lost source is tried again.
const AGAIN: Duration = Duration::from_secs(2);
/// No line is longer; sweeps are long.
const LONGEST: usize = 1 << 20;

/// Listens to a receiver in a thread of its own; `tell` is called there.
///
/// # Errors
/// A serial line or an address that cannot be opened, or a command that cannot be started.
pub fn listen(
    source: &PowerSource,
    mut lines: PowerLines,
    mut tell: impl FnMut(FromReceiver) + Send + 'static,
) -> Result<Listening, Error> {
    let mut listening = Listening::default();
    let mut hear = move |line: &str| match lines.read(line) {
        Ok(Some(power)) => tell(FromReceiver::Power(power)),
        Ok(None) => {}
        Err(why) => tell(FromReceiver::Nothing(why)),
    };
    match source.clone() {
        PowerSource::Standard => {
            std::thread::spawn(move || {
                let _ = pump(std::io::stdin().lock(), &mut hear);
            });
        }
        PowerSource::Tcp(place) => {
            std::thread::spawn(move || {
                loop {
                    if let Ok(stream) = TcpStream::connect(&place) {
                        let _ = pump(stream, &mut hear);
                    }
                    std::thread::sleep(AGAIN);
                }
            });
        }
        PowerSource::Udp(place) => {
            let socket = UdpSocket::bind(&place).map_err(|e| Error::io(&place, "listen", e))?;
            std::thread::spawn(move || {
                let mut bytes = vec![0; 1 << 16];
                while let Ok(n) = socket.recv(&mut bytes) {
                    for line in String::from_utf8_lossy(&bytes[..n]).lines() {
                        hear(line);
                    }
                }
            });
        }
        PowerSource::Serial(device, baud) => {
            let failed = |e: serialport::Error| Error::io(&device, "open", e.into());
            let port = serialport::new(&device, baud)
                .timeout(Duration::from_secs(1))
                .open()
                .map_err(failed)?;
            std::thread::spawn(move || {
                let _ = pump(port, &mut hear);
            });
        }
        PowerSource::Command(words) => {
            let mut child = shell(&words)
                .stdin(Stdio::null())
                .stdout(Stdio::piped())
                .stderr(Stdio::inherit())
                .spawn()
                .map_err(|e| Error::io(&words, "start", e))?;
            if let Some(out) = child.stdout.take() {
                std::thread::spawn(move || {
                    let _ = pump(out, &mut hear);
                });
            }
            listening.child = Some(child);
        }
    }
    Ok(listening)
}

#[cfg(unix)]
fn shell(words: &str) -> Command {
    let mut command = Command::new("sh");
    // Without `exec` only the shell would be killed, and the command would go on.
    command.arg("-c").arg(format!("exec {words}"));
    command
}

#[cfg(not(unix))]
fn shell(words: &str) -> Command {
    let mut command = Command::new("cmd");
    command.arg("/C").arg(words);
    command
}

/// Cuts what comes in into lines, until it ends.
fn pump(mut from: impl Read, hear: &mut impl FnMut(&str)) -> std::io::Result<()> {
    let mut bytes = [0; 4096];
    let mut part: Vec<u8> = Vec::new();
    loop {
        let n = match from.read(&mut bytes) {
            Ok(0) => return Ok(()),
            Ok(n) => n,
            Err(e) if e.kind() == std::io::ErrorKind::Interrupted => continue,
            // A serial line that is silent for a while.
            Err(e) if e.kind() == std::io::ErrorKind::TimedOut => continue,
            Err(e) => return Err(e),
        };
        for byte in &bytes[..n] {
            match byte {
                b'\n' | b'\r' if part.is_empty() => {}
                b'\n' | b'\r' => {
                    hear(&String::from_utf8_lossy(&part));
                    part.clear();
                }
                byte if part.len() < LONGEST => part.push(*byte),
                _ => {}
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::io::Write;
    use std::sync::mpsc::channel;

    use super::*;
    use crate::logbook::PowerUnit;
    use crate::observe::PowerForm;

    fn lines() -> PowerLines {
        PowerLines::new(PowerForm::Line, PowerUnit::Decibels)
    }

    #[test]
    fn lines_are_cut_over_packets_and_ends_of_every_kind() {
        let mut heard = Vec::new();
        pump(&b"-1.5\r\n-2.5\n\n-3"[..], &mut |line: &str| {
            heard.push(line.to_owned())
        })
        .unwrap();
        // The last has no end yet and may go on.
        assert_eq!(heard, ["-1.5", "-2.5"]);
    }

    #[test]
    fn a_tcp_server_a_datagram_and_a_command_are_heard() {
        let server = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let place = server.local_addr().unwrap().to_string();
        let (sender, receiver) = channel();
        let of_tcp = sender.clone();
        let _tcp = listen(&PowerSource::Tcp(place), lines(), move |heard| {
            let _ = of_tcp.send(heard);
        })
        .unwrap();
        server.accept().unwrap().0.write_all(b"-71.5\n").unwrap();
        let power = |value: f64| FromReceiver::Power(Power { time: None, value });
        assert_eq!(receiver.recv().unwrap(), power(-71.5));
        if cfg!(unix) {
            let command = PowerSource::Command("echo -72.5".to_owned());
            let _command = listen(&command, lines(), move |heard| {
                let _ = sender.send(heard);
            })
            .unwrap();
            assert_eq!(receiver.recv().unwrap(), power(-72.5));
        }
    }
}
