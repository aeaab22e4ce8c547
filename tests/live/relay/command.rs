//! The whole command between a tracker and a pretended daemon, over loopback sockets: what its tests
//! share.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use super::mount::Mount;

/// Sockets and processes are waited for, and what never comes would hold up the whole run for ever.
/// This only ends such a wait: it is far longer than anything takes, and no outcome of a sound run
/// depends on it.
pub const PATIENCE: Duration = Duration::from_secs(60);

/// A pretended daemon at a port of its own.
pub struct Daemon {
    pub mount: Arc<Mutex<Mount>>,
    start: Instant,
    port: u16,
}

impl Daemon {
    pub fn new(mount: Mount) -> Daemon {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let mount = Arc::new(Mutex::new(mount));
        let start = Instant::now();
        let shared = Arc::clone(&mount);
        std::thread::spawn(move || {
            for (number, stream) in (0u8..).zip(listener.incoming()) {
                let (shared, stream) = (Arc::clone(&shared), stream.unwrap());
                std::thread::spawn(move || talk(&shared, stream, number, start));
            }
        });
        Daemon { mount, start, port }
    }

    /// Looks at the mount as it is now.
    pub fn look<T>(&self, at: impl FnOnce(&mut Mount) -> T) -> T {
        let mut mount = self.mount.lock().unwrap();
        mount.advance(self.start.elapsed());
        at(&mut mount)
    }

    pub fn wait_for(&self, what: &str, mut true_of: impl FnMut(&mut Mount) -> bool) {
        let until = Instant::now() + PATIENCE;
        while !self.look(&mut true_of) {
            assert!(Instant::now() < until, "waited in vain until {what}");
            std::thread::sleep(Duration::from_millis(10));
        }
    }
}

fn talk(mount: &Mutex<Mount>, mut stream: TcpStream, number: u8, start: Instant) {
    let mut reader = BufReader::new(stream.try_clone().unwrap());
    let mut line = String::new();
    while reader.read_line(&mut line).is_ok_and(|n| n > 0) {
        let mut mount = mount.lock().unwrap();
        mount.advance(start.elapsed());
        mount.command(number, &line);
        // Everything but silence is answered at once, and on this connection: its own time may be
        // ahead by the answers on another.
        let soon = mount.now() + Duration::from_millis(2);
        mount.advance(soon);
        while let Some((_, text)) = mount.take_reply() {
            let _ = stream.write_all(text.as_bytes());
        }
        line.clear();
    }
}

/// A folder with a station and its calibration.
pub struct StationFolder(pub tempfile::TempDir);

impl StationFolder {
    pub fn new() -> StationFolder {
        let folder = StationFolder(tempfile::tempdir().unwrap());
        let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/invented");
        for name in ["station.toml", "calibration.json"] {
            std::fs::copy(data.join(name), folder.path(name)).unwrap();
        }
        folder
    }
    pub fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }
    pub fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).unwrap()
    }
    /// Changes the calibration: a term's value.
    pub fn set_zero(&self, degrees: f64) {
        let text = self.read("calibration.json");
        let mut document: serde_json::Value = serde_json::from_str(&text).unwrap();
        document["terms"]["azimuth-zero"]["value_deg"] = degrees.into();
        let temporary = self.path("new.json");
        std::fs::write(&temporary, document.to_string()).unwrap();
        std::fs::rename(temporary, self.path("calibration.json")).unwrap();
    }
    pub fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_plumbeam"));
        command.arg("relay").args(arguments);
        command.current_dir(self.0.path()).stdin(Stdio::null());
        command
    }
    pub fn run(&self, arguments: &[&str]) -> Output {
        self.command(arguments).output().unwrap()
    }
    /// Starts the relay in front of a daemon; the Sun is let alone, for it is where it is.
    pub fn start(&self, daemon: &Daemon, more: &[&str]) -> Running {
        self.start_at(daemon, &[&["--sun", "off"], more].concat(), Stdio::null())
    }
    /// The same with another standard input, guarded against the Sun if nothing else is said.
    pub fn start_at(&self, daemon: &Daemon, more: &[&str], input: Stdio) -> Running {
        let rotator = format!("127.0.0.1:{}", daemon.port);
        let mut arguments = vec![
            "--calibration",
            "calibration.json",
            "--rotator",
            &rotator,
            "--listen",
            "127.0.0.1:0",
        ];
        arguments.extend(more);
        let mut child = self
            .command(&arguments)
            .stdin(input)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let (sender, said) = channel();
        let errors = BufReader::new(child.stderr.take().unwrap());
        std::thread::spawn(move || {
            for line in errors.lines().map_while(Result::ok) {
                if sender.send(line).is_err() {
                    return;
                }
            }
        });
        let mut running = Running {
            child,
            said,
            heard: Vec::new(),
            port: 0,
        };
        let line = running.hears("listening on 127.0.0.1:");
        let port = line.split("127.0.0.1:").nth(1).unwrap();
        running.port = port.split(',').next().unwrap().parse().unwrap();
        running.hears("the mount is connected");
        running
    }
}

/// A relay that runs.
pub struct Running {
    child: Child,
    said: Receiver<String>,
    pub heard: Vec<String>,
    port: u16,
}

impl Running {
    /// Waits until it says something with these words.
    pub fn hears(&mut self, words: &str) -> String {
        if let Some(line) = self.heard.iter().find(|line| line.contains(words)) {
            return line.clone();
        }
        loop {
            let line = self.said.recv_timeout(PATIENCE);
            let line = line.unwrap_or_else(|_| panic!("not said: {words:?}; but {:?}", self.heard));
            self.heard.push(line.clone());
            if line.contains(words) {
                return line;
            }
        }
    }
    pub fn client(&self) -> Client {
        let stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        stream.set_nodelay(true).unwrap();
        Client(stream)
    }
    pub fn signal(&self, name: &str) {
        let id = self.child.id().to_string();
        let done = Command::new("kill")
            .args(["-s", name, &id])
            .status()
            .unwrap();
        assert!(done.success());
    }
    /// Ends it, and gives its exit code and what it printed.
    pub fn end(self, signal: &str) -> (i32, String) {
        self.signal(signal);
        self.ended()
    }
    /// Waits for its end.
    pub fn ended(mut self) -> (i32, String) {
        let mut text = String::new();
        self.child
            .stdout
            .take()
            .unwrap()
            .read_to_string(&mut text)
            .unwrap();
        let code = self.child.wait().unwrap().code().unwrap();
        (code, text)
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

pub struct Client(pub TcpStream);

impl Client {
    pub fn send(&mut self, text: &str) {
        self.0.write_all(text.as_bytes()).unwrap();
    }
    /// One receive of 128 bytes, as common trackers take it.
    pub fn receive(&mut self) -> String {
        let mut bytes = [0; 128];
        let n = self.0.read(&mut bytes).expect("a reply");
        String::from_utf8(bytes[..n].to_vec()).unwrap()
    }
    pub fn ask(&mut self, text: &str) -> String {
        self.send(text);
        self.receive()
    }
    pub fn position(&mut self) -> Vec<f64> {
        let reply = self.ask("p\n");
        let lines: Vec<f64> = reply.lines().map(|l| l.parse().unwrap()).collect();
        assert_eq!(lines.len(), 2, "both lines in one receive: {reply:?}");
        lines
    }
}

/// What the encoders must read for a demand, by the verb `point`.
pub fn point(folder: &StationFolder, present: &str, azimuth: &str, elevation: &str) -> Vec<f64> {
    let output = Command::new(env!("CARGO_BIN_EXE_plumbeam"))
        .args([
            "point",
            "--calibration",
            "calibration.json",
            "--present",
            present,
        ])
        .args([azimuth, elevation])
        .current_dir(folder.0.path())
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    text.split_whitespace()
        .map(|n| n.parse().unwrap())
        .collect()
}

/// The pretended encoders tell hundredths of a degree.
pub const RESOLUTION: f64 = 0.02;
