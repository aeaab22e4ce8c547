//! A desk that is served for a test.

use std::io::{BufRead, BufReader};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use crate::{Browser, PATIENCE, View, free_port, plumbeam};

/// A program that ends with the test.
struct Ended(Child);

impl Drop for Ended {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// plumbeam, to be started in a folder; it hears nothing, and what it says is thrown away.
fn quiet(folder: &Path) -> Command {
    let mut command = Command::new(plumbeam());
    command
        .current_dir(folder)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    command
}

/// A running `plumbeam desk`; ended when dropped.
pub struct Desk {
    _child: Ended,
    port: u16,
}

impl Desk {
    /// Serves the session in a folder.
    pub fn serve(folder: &Path) -> Desk {
        Desk::serve_at(folder, free_port(), &[])
    }

    /// Serves it at a port, with further arguments.
    pub fn serve_at(folder: &Path, port: u16, more: &[&str]) -> Desk {
        let child = quiet(folder)
            .args([
                "desk",
                "peaks.csv",
                "--no-browser",
                "--port",
                &port.to_string(),
            ])
            .args(more)
            .spawn()
            .expect("plumbeam can be started");
        let begun = Instant::now();
        while TcpStream::connect(("127.0.0.1", port)).is_err() {
            assert!(begun.elapsed() < PATIENCE, "the desk never served");
            std::thread::sleep(Duration::from_millis(20));
        }
        Desk {
            _child: Ended(child),
            port,
        }
    }

    /// Opens it to the network; with the address on this machine that it prints, token and all.
    pub fn open_to_the_network(folder: &Path) -> (Desk, String) {
        let mut child = quiet(folder)
            .args(["desk", "peaks.csv", "--no-browser", "--lan"])
            .stderr(Stdio::piped())
            .spawn()
            .expect("plumbeam can be started");
        let mut lines = BufReader::new(child.stderr.take().unwrap()).lines();
        let address = (lines.by_ref().map_while(Result::ok))
            .find_map(|line| Some(line.split_once("the desk is at ")?.1.to_owned()))
            .expect("the desk says where it is");
        let port = url::Url::parse(&address).unwrap().port().unwrap();
        // A full pipe would hold the desk up.
        std::thread::spawn(move || lines.for_each(drop));
        let desk = Desk {
            _child: Ended(child),
            port,
        };
        (desk, address)
    }

    /// Where it is served.
    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}/", self.port)
    }

    /// Its port.
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Ends it as a fall of the power would: with nothing said.
    pub fn kill(self) {}

    /// A browser at it, with the peaks there.
    pub async fn open(&self, view: View) -> Browser {
        let browser = Browser::open(view).await;
        browser.page.goto(&self.address()).await.unwrap();
        browser
            .until("document.querySelectorAll('#peaks-table tbody tr').length > 0")
            .await;
        browser
    }
}

/// A pretended mount and receiver; ended when dropped.
pub struct Dish {
    _child: Ended,
    /// Where its mount listens.
    pub rotator: String,
    /// Where its receiver's power comes from.
    pub power: String,
}

impl Dish {
    /// That of the session's truth file.
    pub fn pretend(folder: &Path) -> Dish {
        let mut child = quiet(folder)
            .args(["simulate", "--truth", "truth.toml"])
            .args(["--rotator-port", "0", "--power-port", "0"])
            .stdout(Stdio::piped())
            .spawn()
            .expect("plumbeam can be started");
        let mut line = String::new();
        let mut said = BufReader::new(child.stdout.take().unwrap());
        said.read_line(&mut line).unwrap();
        let ports: serde_json::Value = serde_json::from_str(&line).expect("the ports as JSON");
        Dish {
            _child: Ended(child),
            rotator: format!("127.0.0.1:{}", ports["rotator"]),
            power: format!("tcp:127.0.0.1:{}", ports["power"]),
        }
    }
}

/// A relay before a dish; ended when dropped.
pub struct Relay {
    _child: Ended,
}

impl Relay {
    /// Starts it in a session's folder that has a calibration.
    pub fn before(folder: &Path, dish: &Dish) -> Relay {
        let child = quiet(folder)
            .args(["relay", "--calibration", "calibration.json"])
            .args(["--rotator", &dish.rotator])
            .args(["--listen", "127.0.0.1:0", "--log", "relay.csv"])
            .spawn()
            .expect("plumbeam can be started");
        Relay {
            _child: Ended(child),
        }
    }
}
