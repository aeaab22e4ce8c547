//! The mount, the receiver and runs beside the desk.

use std::io::{BufRead, BufReader, Write};
use std::net::{TcpListener, TcpStream};
use std::process::Stdio;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use serde_json::{Value, json};

use super::client::{Desk, folder};
use crate::command::TestFolder;
use crate::dish::{Ended, pretended_dish};

/// A mount's daemon that stands where the test says and keeps every line that it is sent, and a
/// receiver on the dish.
#[derive(Clone)]
struct Dish {
    at: Arc<Mutex<[f64; 2]>>,
    received: Arc<Mutex<Vec<String>>>,
    rotator: String,
    power: String,
}

/// Half-power width of the beam of the demo's dish, and where the emitter is.
const BEAM: f64 = 5.15;
const PEAK: [f64; 2] = [120.4, 31.7];

impl Dish {
    fn new(at: [f64; 2]) -> Dish {
        let (rotator, power) = (bind(), bind());
        let dish = Dish {
            at: Arc::new(Mutex::new(at)),
            received: Arc::default(),
            rotator: rotator.local_addr().unwrap().to_string(),
            power: format!("tcp:{}", power.local_addr().unwrap()),
        };
        let own = dish.clone();
        std::thread::spawn(move || {
            for stream in rotator.incoming().flatten() {
                let own = own.clone();
                std::thread::spawn(move || own.answer(stream));
            }
        });
        let own = dish.clone();
        std::thread::spawn(move || {
            for mut stream in power.incoming().flatten() {
                let own = own.clone();
                std::thread::spawn(move || {
                    while stream
                        .write_all(format!("{:.3}\n", own.power_db()).as_bytes())
                        .is_ok()
                    {
                        std::thread::sleep(Duration::from_millis(50));
                    }
                });
            }
        });
        dish
    }

    fn answer(&self, mut stream: TcpStream) {
        let lines = BufReader::new(stream.try_clone().unwrap()).lines();
        for line in lines.map_while(Result::ok) {
            let answer = match line.as_str() {
                "p" => {
                    let [a, b] = *self.at.lock().unwrap();
                    format!("{a:.6}\n{b:.6}\n")
                }
                "S" => "RPRT 0\n".to_owned(),
                _ => "RPRT -11\n".to_owned(),
            };
            self.received.lock().unwrap().push(line);
            if stream.write_all(answer.as_bytes()).is_err() {
                return;
            }
        }
    }

    fn power_db(&self) -> f64 {
        let [a, b] = *self.at.lock().unwrap();
        let across = (a - PEAK[0]) * PEAK[1].to_radians().cos() / BEAM;
        let along = (b - PEAK[1]) / BEAM;
        -60.0 - 12.0 * (across * across + along * along)
    }

    fn stand(&self, at: [f64; 2]) {
        *self.at.lock().unwrap() = at;
    }
}

fn bind() -> TcpListener {
    TcpListener::bind("127.0.0.1:0").unwrap()
}

#[test]
fn a_reading_is_taken_at_its_instant_and_nothing_else_is_asked_of_the_mount() {
    let folder = folder();
    let dish = Dish::new([-12.25, 33.5]);
    let mut desk = Desk::with(
        folder.root(),
        &["--rotator", &dish.rotator, "--power", &dish.power],
    );
    let taken = desk.post("/api/reading", &json!({})).json(200);
    assert_eq!(taken["azimuth_shown"], "-12.250");
    assert_eq!(taken["elevation_shown"], "33.500");
    assert!(taken["problem"].is_null());
    // As it stands now, not a moment ago.
    dish.stand([100.0, 20.0]);
    let taken = desk.post("/api/reading", &json!({})).json(200);
    assert_eq!(taken["azimuth_shown"], "100.000");
    // It is typed into a peak as it is.
    desk.edit(
        &json!({ "kind": "add_peak", "time_utc": taken["time_utc"], "emitter": "sun",
        "azimuth": taken["azimuth_shown"], "elevation": taken["elevation_shown"] }),
    );
    let state = desk.state();
    assert_eq!(state["live"]["rotator"], true);
    assert_eq!(state["live"]["power"], true);
    let mut events = desk.events();
    let reading = events.next("reading");
    assert_eq!(reading["azimuth_deg"].as_f64(), Some(100.0));
    assert_eq!(reading["elevation_shown"], "20.000");
    events.next("power");
    desk.kill();
    let received = dish.received.lock().unwrap();
    // Two were asked for; the stream may tell the last of them.
    assert!(received.len() >= 2);
    assert!(received.iter().all(|line| line == "p"), "{received:?}");
}

#[test]
fn without_a_mount_or_with_one_that_is_away_the_time_is_taken() {
    let folder = folder();
    let desk = Desk::on(&folder);
    let taken = desk.post("/api/reading", &json!({})).json(200);
    assert!(taken["time_utc"].as_str().unwrap().ends_with('Z'));
    assert!(taken["azimuth_shown"].is_null() && taken["problem"].is_null());
    let away = bind().local_addr().unwrap().to_string();
    let other = super::client::folder();
    let desk = Desk::with(other.root(), &["--rotator", &away]);
    let taken = desk.post("/api/reading", &json!({})).json(200);
    assert!(taken["azimuth_shown"].is_null());
    assert!(
        taken["problem"].as_str().unwrap().contains(&away),
        "{taken}"
    );
    let reading = desk.events().next("reading");
    assert!(
        reading["problem"]
            .as_str()
            .unwrap()
            .contains("does not answer"),
        "{reading}"
    );
}

#[test]
fn coaching_names_the_way_to_a_peak_that_nobody_stood_on() {
    let folder = folder();
    let dish = Dish::new([117.0, 30.5]);
    let desk = Desk::with(
        folder.root(),
        &["--rotator", &dish.rotator, "--power", &dish.power],
    );
    let step = |at: [f64; 2]| -> Value {
        // As a mount goes: not from one place to the next at once.
        const PARTS: u32 = 20;
        let from = *dish.at.lock().unwrap();
        for part in 1..=PARTS {
            let share = f64::from(part) / f64::from(PARTS);
            dish.stand([0, 1].map(|i| from[i] + (at[i] - from[i]) * share));
            std::thread::sleep(Duration::from_millis(20));
        }
        // So that the readings and powers of this place are heard.
        std::thread::sleep(Duration::from_millis(600));
        // A new stream begins with how it stands.
        desk.events().next("power")
    };
    let first = step([117.0, 30.5]);
    assert_eq!(first["unit"], "dB");
    assert!(
        first["value_shown"].as_str().unwrap().starts_with('−'),
        "{first}"
    );
    // To the best so far: from farther off it is to the right.
    let behind = step([115.5, 30.5]);
    assert!(behind["right_deg"].as_f64().unwrap() > 1.0, "{behind}");
    let mut told = behind;
    for i in 0..6 {
        told = step([116.0 + 0.64 * f64::from(i), 30.5]);
    }
    for i in 0..5 {
        told = step([119.2, 29.5 + 0.44 * f64::from(i)]);
    }
    let advice = told["advice"].as_str().unwrap();
    assert!(advice.contains("by a parabola through"), "{told}");
    assert!(
        advice.contains("clockwise") && advice.contains("up"),
        "{advice}"
    );
    let [a, b] = *dish.at.lock().unwrap();
    let found = [
        a + told["right_deg"].as_f64().unwrap(),
        b + told["up_deg"].as_f64().unwrap(),
    ];
    for axis in 0..2 {
        assert!((found[axis] - PEAK[axis]).abs() < 0.3, "{found:?} {told}");
    }
    // There it says so.
    let there = step(PEAK);
    assert!(
        there["advice"]
            .as_str()
            .unwrap()
            .contains("this is the peak"),
        "{there}"
    );
    // A new peak begins anew.
    desk.post("/api/peaking", &json!({ "emitter": "sun" }))
        .json(200);
    assert_eq!(
        desk.post("/api/peaking", &json!({ "emitter": "mars" }))
            .status,
        422
    );
}

#[test]
fn the_pretended_dish_of_simulate_is_read() {
    let folder =
        TestFolder::with_demo(&["station.toml", "satellites.tle", "peaks.csv", "truth.toml"]);
    let (_dish, ports) = pretended_dish(folder.root());
    let rotator = format!("127.0.0.1:{}", ports["rotator"]);
    let power = format!("tcp:127.0.0.1:{}", ports["power"]);
    let desk = Desk::with(folder.root(), &["--rotator", &rotator, "--power", &power]);
    let taken = desk.post("/api/reading", &json!({})).json(200);
    let azimuth: f64 = taken["azimuth_shown"]
        .as_str()
        .expect("a reading")
        .parse()
        .unwrap();
    assert!(azimuth.is_finite());
    let mut events = desk.events();
    let heard = events.next("power");
    assert!(
        heard["problem"].is_null() || heard["value"].is_f64(),
        "{heard}"
    );
}

#[test]
fn a_relay_is_watched_and_stopped_by_its_file() {
    let folder = folder();
    let dish = Dish::new([100.0, 30.0]);
    folder.gives(&["solve", "peaks.csv", "--out", "calibration.json"]);
    let desk = Desk::on(&folder);
    let mut events = desk.events();
    assert_eq!(events.next("runs"), json!([]));
    assert_eq!(
        desk.post("/api/stop", &json!({ "id": "relay" })).status,
        422
    );
    let arguments = [
        "relay",
        "--calibration",
        "calibration.json",
        "--rotator",
        &dish.rotator,
        "--listen",
        "127.0.0.1:0",
        "--log",
        "relay.csv",
        "--sun",
        "off",
    ];
    let relay = folder
        .command(&arguments)
        .stderr(Stdio::null())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let relay = Ended(relay);
    let runs = events.next("runs");
    assert_eq!(
        (&runs[0]["id"], &runs[0]["can_stop"]),
        (&json!("relay"), &json!(true)),
        "{runs}"
    );
    assert!(runs[0]["title"].as_str().unwrap().contains(&dish.rotator));
    assert!(!dish.received.lock().unwrap().iter().any(|line| line == "S"));
    let said = desk.post("/api/stop", &json!({ "id": "relay" })).json(200);
    assert!(
        said["said"].as_str().unwrap().contains("relay-run.stop"),
        "{said}"
    );
    assert!(folder.path("relay-run.stop").exists());
    // The relay passes a stop on to the mount.
    while !dish.received.lock().unwrap().iter().any(|line| line == "S") {
        std::thread::sleep(Duration::from_millis(20));
    }
    let state = desk.state();
    let run = &state["live"]["runs"][0];
    assert_eq!(run["can_stop"], false);
    assert!(
        run["state"]
            .as_str()
            .unwrap()
            .contains("whether the mount stands"),
        "{run}"
    );
    // Killed, it leaves its record behind, and that is said.
    drop(relay);
    loop {
        let runs = events.next("runs");
        if runs[0]["state"]
            .as_str()
            .unwrap()
            .contains("ended without saying so")
        {
            break;
        }
    }
}
