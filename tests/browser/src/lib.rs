//! What the tests of pages share: a browser without a window, driven over WebDriver (a standard of
//! the World Wide Web Consortium), the built plumbeam, and the accessibility checker.
//!
//! The environment says where things are: `PLUMBEAM` the binary, `AXE` the checker's script.

pub mod desk;

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use fantoccini::wd::WebDriverCompatibleCommand;
use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Map, Value, json};

/// How long anything may take before a test gives up on it; a loaded machine takes its time.
pub const PATIENCE: Duration = Duration::from_secs(60);

/// Keys by the characters that WebDriver gives them (W3C WebDriver, section 17.4.2).
pub mod keys {
    /// To the next stop.
    pub const TAB: &str = "\u{e004}";
    /// Presses what has the focus.
    pub const ENTER: &str = "\u{e007}";
    /// Leaves a dialog.
    pub const ESCAPE: &str = "\u{e00c}";
    /// Ticks what has the focus.
    pub const SPACE: &str = " ";
    /// To the last.
    pub const END: &str = "\u{e010}";
    /// To the right.
    pub const RIGHT: &str = "\u{e014}";
    /// Down.
    pub const DOWN: &str = "\u{e015}";
}

/// How a page is looked at.
#[derive(Clone, Copy, Debug)]
pub struct View {
    /// Width of the screen, CSS pixels.
    pub width: u32,
    /// Height of the screen.
    pub height: u32,
    /// Whether the reader's screen is dark.
    pub dark: bool,
    /// Whether scripts run.
    pub scripts: bool,
}

/// A laptop in the light.
pub const LAPTOP: View = View {
    width: 1280,
    height: 900,
    dark: false,
    scripts: true,
};

/// A telephone.
pub const TELEPHONE: View = View {
    width: 390,
    height: 844,
    ..LAPTOP
};

/// A browser with one window; closed when dropped.
pub struct Browser {
    /// The window.
    pub page: Client,
    driver: Child,
    /// Keeps the browser's own files until it is closed.
    _profile: tempfile::TempDir,
}

impl Browser {
    /// Starts one. Whatever it asks for beyond this machine is refused by a name lookup that knows
    /// no names, so that a page that needs the network shows it.
    pub async fn open(view: View) -> Browser {
        let port = free_port();
        let driver = Command::new("chromedriver")
            .arg(format!("--port={port}"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver is not installed: .ci/browser says how");
        let profile = tempfile::tempdir().unwrap();
        let mut arguments = vec![
            "--headless".to_owned(),
            "--no-sandbox".to_owned(),
            "--disable-gpu".to_owned(),
            "--disable-background-networking".to_owned(),
            "--disable-component-update".to_owned(),
            "--disable-sync".to_owned(),
            "--no-first-run".to_owned(),
            "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost"
                .to_owned(),
            format!("--window-size={},{}", view.width, view.height),
            format!("--user-data-dir={}", profile.path().display()),
        ];
        if view.dark {
            arguments.push("--blink-settings=preferredColorScheme=0".to_owned());
        }
        if !view.scripts {
            arguments.push("--blink-settings=scriptEnabled=false".to_owned());
        }
        let mut wanted = Map::new();
        wanted.insert(
            "goog:chromeOptions".to_owned(),
            json!({ "args": arguments }),
        );
        wanted.insert(
            "goog:loggingPrefs".to_owned(),
            json!({ "browser": "ALL", "performance": "ALL" }),
        );
        let address = format!("http://127.0.0.1:{port}");
        let begun = std::time::Instant::now();
        let page = loop {
            let mut builder = ClientBuilder::new(HttpConnector::new());
            match builder.capabilities(wanted.clone()).connect(&address).await {
                Ok(page) => break page,
                Err(_) if begun.elapsed() < PATIENCE => {
                    tokio::time::sleep(Duration::from_millis(100)).await;
                }
                Err(e) => panic!("no browser: {e}"),
            }
        };
        let browser = Browser {
            page,
            driver,
            _profile: profile,
        };
        // A window cannot be narrower than its frame; the screen of a telephone can.
        browser
            .devtools(
                "Emulation.setDeviceMetricsOverride",
                json!({"width": view.width, "height": view.height, "deviceScaleFactor": 1, "mobile": false}),
            )
            .await;
        browser
    }

    /// Opens a file.
    pub async fn file(&self, path: &Path) {
        let url = url::Url::from_file_path(path.canonicalize().unwrap()).unwrap();
        self.page.goto(url.as_str()).await.unwrap();
    }

    /// What an expression gives on the page.
    pub async fn eval(&self, script: &str) -> Value {
        let script = format!("return ({script});");
        (self.page.execute(&script, Vec::new()).await).unwrap_or_else(|e| panic!("{script}\n{e}"))
    }

    /// The head of a table stands on each printed sheet, which browsers see to only while there are
    /// no buttons in it; on the screen there are.
    pub async fn prints_without_buttons(&self, head: &str) {
        let head = format!("document.querySelector({})", json!(head));
        let words = self.eval(&format!("{head}.innerText.split(/\\s+/)")).await;
        for (event, buttons) in [("beforeprint", false), ("afterprint", true)] {
            self.eval(&format!("dispatchEvent(new Event('{event}'))"))
                .await;
            let some = self
                .eval(&format!("{head}.querySelector('button') !== null"))
                .await;
            assert_eq!(some, json!(buttons), "{event}");
            let same = self.eval(&format!("{head}.innerText.split(/\\s+/)")).await;
            assert_eq!(same, words, "{event}");
        }
    }

    /// Waits until an expression is true.
    pub async fn until(&self, script: &str) {
        let begun = std::time::Instant::now();
        while self.eval(script).await != Value::Bool(true) {
            assert!(begun.elapsed() < PATIENCE, "never became true: {script}");
            tokio::time::sleep(Duration::from_millis(25)).await;
        }
    }

    /// A command of the browser's own tools.
    pub async fn devtools(&self, command: &str, parameters: Value) -> Value {
        let raw = Raw {
            path: "goog/cdp/execute",
            body: json!({"cmd": command, "params": parameters}),
        };
        self.page.issue_cmd(raw).await.unwrap()
    }

    /// What the browser logged since the last question: `browser` for errors of the page,
    /// `performance` for what it asked for.
    pub async fn log(&self, kind: &str) -> Vec<Value> {
        let raw = Raw {
            path: "se/log",
            body: json!({"type": kind}),
        };
        let entries = self.page.issue_cmd(raw).await.unwrap();
        entries.as_array().cloned().unwrap_or_default()
    }

    /// What the page complained of; refusals by a server are no faults of the page.
    pub async fn complaints(&self) -> Vec<String> {
        let log = self.log("browser").await;
        (log.iter())
            .filter(|e| e["level"] == "SEVERE" && e["source"] != "network")
            .map(|e| e["message"].to_string())
            .collect()
    }

    /// Every address that was asked for since the last question, but for those inside the page.
    pub async fn asked_for(&self) -> Vec<String> {
        let events = self.log("performance").await;
        let messages = (events.iter())
            .filter_map(|e| serde_json::from_str::<Value>(e["message"].as_str()?).ok());
        messages
            .filter(|m| m["message"]["method"] == "Network.requestWillBeSent")
            .filter_map(|m| {
                let url = &m["message"]["params"]["request"]["url"];
                url.as_str().map(str::to_owned)
            })
            .filter(|url| !url.starts_with("data:"))
            .collect()
    }

    /// What the accessibility checker holds against the page; `rule: element` each.
    pub async fn violations(&self) -> Vec<String> {
        let axe = std::env::var("AXE").expect("AXE names the accessibility checker's script");
        let script = std::fs::read_to_string(axe).unwrap();
        // Past the page's own policy: the checker is no part of it.
        self.devtools("Page.setBypassCSP", json!({"enabled": true}))
            .await;
        self.devtools("Runtime.evaluate", json!({ "expression": script }))
            .await;
        let found = self
            .devtools(
                "Runtime.evaluate",
                json!({
                    "expression": "axe.run(document, {resultTypes: ['violations']}).then(r => r.violations.flatMap(v => v.nodes.map(n => `${v.id}: ${n.target.join(' ')}: ${n.failureSummary}`)))",
                    "awaitPromise": true,
                    "returnByValue": true,
                }),
            )
            .await;
        let list = found["result"]["value"].as_array();
        (list
            .unwrap_or_else(|| panic!("the checker gave {found}"))
            .iter())
        .map(|v| v.as_str().unwrap_or_default().to_owned())
        .collect()
    }

    /// Presses keys: one or more of the names that the WebDriver standard gives as characters.
    pub async fn press(&self, keys: &str) {
        let active = self.page.active_element().await.unwrap();
        active.send_keys(keys).await.unwrap();
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

/// A command that the standard leaves to the browser.
#[derive(Debug)]
struct Raw {
    path: &'static str,
    body: Value,
}

impl WebDriverCompatibleCommand for Raw {
    fn endpoint(
        &self,
        base: &url::Url,
        session: Option<&str>,
    ) -> Result<url::Url, url::ParseError> {
        base.join(&format!(
            "session/{}/{}",
            session.unwrap_or_default(),
            self.path
        ))
    }
    fn method_and_body(&self, _: &url::Url) -> (http::Method, Option<String>) {
        (http::Method::POST, Some(self.body.to_string()))
    }
}

/// The mean of a colour's three parts, 0 to 255.
pub fn light(colour: &Value) -> f64 {
    let numbers: Vec<f64> = (colour.as_str().unwrap())
        .split(|c: char| !c.is_ascii_digit() && c != '.')
        .filter_map(|n| n.parse().ok())
        .collect();
    numbers[..3].iter().sum::<f64>() / 3.0
}

/// A port that nobody listens on.
pub fn free_port() -> u16 {
    let socket = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    socket.local_addr().unwrap().port()
}

/// The built plumbeam.
pub fn plumbeam() -> PathBuf {
    std::env::var_os("PLUMBEAM")
        .map(PathBuf::from)
        .expect("PLUMBEAM names the built binary")
}

/// A folder with the invented session of the demo.
pub fn session() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-data");
    for entry in std::fs::read_dir(demo).unwrap() {
        let path = entry.unwrap().path();
        std::fs::copy(&path, folder.path().join(path.file_name().unwrap())).unwrap();
    }
    folder
}

/// Runs plumbeam in a folder; `ends` are the exit codes that are well.
pub fn run(folder: &Path, arguments: &[&str], ends: &[i32]) {
    let output = Command::new(plumbeam())
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap();
    let code = output.status.code();
    assert!(
        code.is_some_and(|c| ends.contains(&c)),
        "plumbeam {} ended with {code:?}\n{}",
        arguments.join(" "),
        String::from_utf8_lossy(&output.stderr)
    );
}
