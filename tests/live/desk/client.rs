//! A running desk, and a browser that says what a test wants it to say.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Stdio};

use serde_json::{Value, json};

use crate::command::TestFolder;

/// A desk on a session of its own; it is killed with the test.
pub struct Desk {
    child: Child,
    pub address: String,
    /// What it said before its address.
    pub said: Vec<String>,
    pub token: Option<String>,
}

impl Drop for Desk {
    fn drop(&mut self) {
        self.kill();
    }
}

/// The session of the demo, cut to its first rows so that a plain build explains it quickly.
pub fn folder() -> TestFolder {
    let folder = TestFolder::with_demo(&["station.toml", "satellites.tle", "peaks.csv"]);
    folder.write("peaks.csv", &first_rows(&folder.read("peaks.csv"), 24));
    folder
}

/// A log with so many rows.
pub fn first_rows(log: &str, rows: usize) -> String {
    let comments = log.lines().filter(|l| l.starts_with('#')).count();
    let kept: Vec<&str> = log.lines().take(comments + 1 + rows).collect();
    kept.join("\n") + "\n"
}

impl Desk {
    /// Starts one in a place.
    pub fn on(folder: &TestFolder) -> Desk {
        Desk::with(folder.root(), &[])
    }

    /// Starts one with more arguments and waits for its address.
    pub fn with(folder: &Path, arguments: &[&str]) -> Desk {
        let all = [&["desk", "--no-browser"], arguments].concat();
        let mut child = crate::command::command(folder, &all)
            .stderr(Stdio::piped())
            .spawn()
            .expect("the desk starts");
        let mut lines = BufReader::new(child.stderr.take().expect("its errors")).lines();
        let mut said = Vec::new();
        let url = loop {
            let line = match lines.next() {
                Some(line) => line.expect("text"),
                None => panic!("the desk ended: {said:?}"),
            };
            match line.split_once("the desk is at http://") {
                Some((_, rest)) => break rest.to_owned(),
                None => said.push(line),
            }
        };
        // Nothing more must wait for a reader.
        std::thread::spawn(move || for _ in lines {});
        let (address, query) = url.split_once('/').expect("an address");
        Desk {
            child,
            address: address.to_owned(),
            said,
            token: query.strip_prefix("?token=").map(str::to_owned),
        }
    }

    /// Ends it at once, as a power cut would.
    pub fn kill(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }

    /// Asks it to end, as Ctrl-C does, and waits; its exit code.
    #[cfg(unix)]
    pub fn end(&mut self) -> Option<i32> {
        let pid = rustix::process::Pid::from_raw(self.child.id() as i32).expect("a process");
        rustix::process::kill_process(pid, rustix::process::Signal::INT).expect("a signal");
        self.child.wait().expect("it ends").code()
    }

    /// A request with these headers besides the host, and its answer.
    pub fn ask(&self, line: &str, headers: &[(&str, &str)], body: &[u8]) -> Answer {
        ask(&self.address, line, headers, body)
    }

    /// What a page gets.
    pub fn get(&self, path: &str) -> Answer {
        let host = self.address.clone();
        let mut headers = vec![("Host", host.as_str())];
        if let Some(token) = &self.token {
            headers.push(("X-Desk-Token", token));
        }
        self.ask(&format!("GET {path}"), &headers, b"")
    }

    /// What a page sends.
    pub fn post_bytes(&self, path: &str, kind: &str, body: &[u8]) -> Answer {
        let origin = format!("http://{}", self.address);
        let mut headers = vec![
            ("Host", self.address.as_str()),
            ("Origin", origin.as_str()),
            ("Content-Type", kind),
            ("X-Desk", "1"),
        ];
        if let Some(token) = &self.token {
            headers.push(("X-Desk-Token", token));
        }
        self.ask(&format!("POST {path}"), &headers, body)
    }

    pub fn post(&self, path: &str, body: &Value) -> Answer {
        self.post_bytes(path, "application/json", body.to_string().as_bytes())
    }

    /// The state, once the newest edit is explained.
    pub fn state(&self) -> Value {
        loop {
            let answer = self.get("/api/state");
            // A plain build on a busy machine may take longer than a page waits.
            if answer.status == 503 {
                continue;
            }
            let state = answer.json(200);
            if state["solving"] == false {
                return state;
            }
        }
    }

    /// Makes an edit; the version after it.
    #[track_caller]
    pub fn edit(&self, edit: &Value) -> u64 {
        let answer = self.post("/api/edit", &json!({ "edit": edit }));
        answer.json(200)["version"].as_u64().expect("a version")
    }

    /// Makes an edit that is refused; what is said.
    #[track_caller]
    pub fn refused(&self, edit: &Value) -> String {
        let answer = self.post("/api/edit", &json!({ "edit": edit }));
        assert_eq!(answer.status, 422, "{edit}: {}", answer.text());
        answer.json(422)["problem"]
            .as_str()
            .expect("a problem")
            .to_owned()
    }

    /// Its stream of events.
    pub fn events(&self) -> Events {
        let mut stream = TcpStream::connect(&self.address).expect("a connection");
        let token = match &self.token {
            Some(token) => format!("?token={token}"),
            None => String::new(),
        };
        let request = format!(
            "GET /api/events{token} HTTP/1.1\r\nHost: {}\r\nAccept: text/event-stream\r\n\r\n",
            self.address
        );
        stream.write_all(request.as_bytes()).expect("a request");
        Events(BufReader::new(stream))
    }
}

/// Asks and reads the answer to its end.
pub fn ask(address: &str, line: &str, headers: &[(&str, &str)], body: &[u8]) -> Answer {
    let mut stream = TcpStream::connect(address).expect("a connection");
    let mut request = format!("{line} HTTP/1.1\r\nConnection: close\r\n");
    for (name, value) in headers {
        request.push_str(&format!("{name}: {value}\r\n"));
    }
    request.push_str(&format!("Content-Length: {}\r\n\r\n", body.len()));
    stream.write_all(request.as_bytes()).expect("a request");
    // One that is refused may not be read to its end.
    let _ = stream.write_all(body);
    let mut bytes = Vec::new();
    let _ = stream.read_to_end(&mut bytes);
    let cut = bytes
        .windows(4)
        .position(|w| w == b"\r\n\r\n")
        .expect("a head");
    let head = String::from_utf8_lossy(&bytes[..cut]).into_owned();
    let status = head
        .split(' ')
        .nth(1)
        .and_then(|s| s.parse().ok())
        .expect("a status");
    Answer {
        status,
        head: head.to_ascii_lowercase(),
        body: bytes[cut + 4..].to_vec(),
    }
}

/// An answer.
pub struct Answer {
    pub status: u16,
    /// In small letters.
    pub head: String,
    pub body: Vec<u8>,
}

impl Answer {
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }
    #[track_caller]
    pub fn json(&self, status: u16) -> Value {
        assert_eq!(self.status, status, "{}\n{}", self.head, self.text());
        serde_json::from_slice(&self.body).unwrap_or_else(|e| panic!("{e}: {}", self.text()))
    }
}

/// A stream of events.
pub struct Events(BufReader<TcpStream>);

impl Events {
    /// The next event of that name.
    pub fn next(&mut self, wanted: &str) -> Value {
        let mut name = String::new();
        let mut line = String::new();
        loop {
            line.clear();
            let read = self.0.read_line(&mut line).expect("a line");
            assert!(read > 0, "the stream ended");
            if let Some(event) = line.strip_prefix("event: ") {
                event.trim().clone_into(&mut name);
            } else if let Some(data) = line.strip_prefix("data: ")
                && name == wanted
            {
                return serde_json::from_str(data).expect("JSON");
            }
        }
    }
}
