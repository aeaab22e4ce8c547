//! What each edit does, against what the command line gives.

use serde_json::{Value, json};

use super::client::{Desk, folder};
use crate::command::TestFolder;

/// A value that went through text twice.
const THROUGH_TEXT: f64 = 1e-9;

/// The words of a command line as a POSIX shell would part them; no test has quotes in its names.
fn words(command: &str) -> Vec<String> {
    command.split(' ').skip(1).map(str::to_owned).collect()
}

/// Exports the log and runs the command that the desk prints; the calibration that it gives.
fn by_command(folder: &TestFolder, desk: &Desk, state: &Value) -> Value {
    let command = state["commands"][0].as_str().unwrap();
    if command.contains("desk-peaks") {
        desk.post("/api/export", &json!({ "ids": ["log"] }))
            .json(200);
    }
    let mut arguments = words(command.split(" --report").next().unwrap());
    arguments.push("--json".to_owned());
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    serde_json::from_str(&folder.gives(&arguments)).unwrap()
}

/// The findings that the command line gives.
fn findings_by_command(folder: &TestFolder, state: &Value) -> Value {
    let command = state["commands"][1].as_str().unwrap();
    let mut arguments = words(command.split(" --report").next().unwrap());
    arguments.push("--json".to_owned());
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    serde_json::from_str(&folder.gives(&arguments)).unwrap()
}

/// Checks that the desk shows what the command line gives: values, peaks, findings.
#[track_caller]
fn same_as_command(folder: &TestFolder, desk: &Desk) -> Value {
    let state = desk.state();
    let calibration = by_command(folder, desk, &state);
    for term in state["terms"].as_array().unwrap() {
        let name = term["name"].as_str().unwrap();
        let record = &calibration["terms"][name];
        let number = |key: &str| {
            let keys = ["_deg", "", "_s"].map(|unit| format!("{key}{unit}"));
            keys.iter().find_map(|key| record[key].as_f64())
        };
        assert_eq!(
            record.is_null(),
            term["state"] == "left out",
            "{name}: {record}"
        );
        for (shown, wanted) in [("value", number("value")), ("sigma", number("sigma"))] {
            match (term[shown].as_f64(), wanted) {
                (Some(a), Some(b)) => {
                    let close = (a - b).abs() <= THROUGH_TEXT * (1.0 + b.abs());
                    assert!(close, "{name} {shown}: {a} and {b}");
                }
                (a, b) => assert_eq!(a, b, "{name} {shown}"),
            }
        }
    }
    let used = |peaks: &Value| -> Vec<bool> {
        let peaks = peaks.as_array().unwrap().iter();
        peaks.map(|p| p["used"].as_bool().unwrap()).collect()
    };
    assert_eq!(used(&state["peaks"]), used(&calibration["peaks"]));
    let rms = |key: &str| {
        (
            state[key].as_f64().unwrap(),
            calibration[key].as_f64().unwrap(),
        )
    };
    let (a, b) = rms("rms_after_deg");
    assert!((a - b).abs() < THROUGH_TEXT, "rms {a} and {b}");
    let expected = calibration["expected_pointing_error"]["rms_deg"].as_f64();
    let shown = state["expected"]["rms_deg"].as_f64();
    assert!((expected.unwrap() - shown.unwrap()).abs() < THROUGH_TEXT);
    let names = |findings: &Value| -> Vec<String> {
        let findings = findings.as_array().unwrap().iter();
        findings
            .map(|f| f["headline"].as_str().unwrap().to_owned())
            .collect()
    };
    let found = findings_by_command(folder, &state);
    assert_eq!(names(&state["findings"]), names(&found["findings"]));
    state
}

#[track_caller]
fn term<'a>(state: &'a Value, name: &str) -> &'a Value {
    let terms = state["terms"].as_array().unwrap();
    terms.iter().find(|t| t["name"] == name).unwrap()
}

#[test]
fn the_state_is_what_the_command_line_gives_after_each_kind_of_edit() {
    let folder = folder();
    let desk = Desk::on(&folder);
    let first = same_as_command(&folder, &desk);
    assert_eq!(first["version"], 0);
    assert!(first["expected_before"].is_null());
    assert!(
        first["commands"][0]
            .as_str()
            .unwrap()
            .contains("solve peaks.csv"),
        "{}",
        first["commands"]
    );

    desk.edit(&json!({ "kind": "use", "row": 5, "use": false }));
    let state = same_as_command(&folder, &desk);
    let peak = &state["peaks"][4];
    assert_eq!(
        (&peak["used"], &peak["ticked"], &peak["edited"]),
        (&json!(false), &json!(false), &json!(true))
    );
    assert_eq!(peak["why"], "left out by hand");
    assert!(
        peak["size_shown"].is_string(),
        "a left-out peak is still measured: {peak}"
    );
    assert_eq!(state["expected_before"], first["expected"]);

    desk.edit(&json!({ "kind": "term", "term": "azimuth-scale", "asked": "add" }));
    let state = same_as_command(&folder, &desk);
    assert_eq!(term(&state, "azimuth-scale")["state"], "fitted");
    assert_eq!(term(&state, "azimuth-scale")["asked"], "add");

    desk.edit(&json!({ "kind": "term", "term": "axis-skew", "asked": "leave-out" }));
    let state = same_as_command(&folder, &desk);
    assert_eq!(term(&state, "axis-skew")["state"], "left out");

    desk.edit(&json!({ "kind": "hold", "term": "collimation", "value": 0.125 }));
    let state = same_as_command(&folder, &desk);
    assert_eq!(term(&state, "collimation")["state"], "held");
    assert_eq!(
        term(&state, "collimation")["hold_value"].as_f64(),
        Some(0.125)
    );

    desk.edit(&json!({ "kind": "noise", "choice": "given", "given_deg": 0.2 }));
    let state = same_as_command(&folder, &desk);
    assert_eq!(state["noise"]["choice"], "given");

    desk.edit(&json!({ "kind": "noise", "choice": "scatter" }));
    same_as_command(&folder, &desk);

    desk.edit(&json!({ "kind": "add_peak", "time_utc": "2026-09-12T12:00:00Z", "emitter": "sun",
        "azimuth": "188.9", "elevation": "42.5", "azimuth_approach": "+", "note": "by hand, \"quoted\", a comma" }));
    let state = same_as_command(&folder, &desk);
    let added = state["peaks"].as_array().unwrap().last().unwrap();
    assert_eq!((&added["added"], &added["row"]), (&json!(true), &json!(25)));
    assert_eq!(added["note"], "by hand, \"quoted\", a comma");

    desk.edit(&json!({ "kind": "term", "term": "axis-skew", "asked": "data" }));
    let state = same_as_command(&folder, &desk);
    assert_eq!(term(&state, "axis-skew")["asked"], "data");

    desk.edit(&json!({ "kind": "reset" }));
    let state = same_as_command(&folder, &desk);
    assert_eq!(state["peaks"], first["peaks"]);
    assert_eq!(state["terms"], first["terms"]);
}

/// A small stream of numbers that is the same in every run.
struct Random(u64);

impl Random {
    fn below(&mut self, n: u64) -> u64 {
        // Knuth's linear congruence of 64 bits; from memory.
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % n
    }
}

fn any_edit(random: &mut Random) -> Value {
    let terms = [
        "axis-skew",
        "droop",
        "collimation",
        "azimuth-scale",
        "tilt-north",
        "clock-offset",
    ];
    let term = terms[random.below(6) as usize];
    match random.below(6) {
        0 | 1 => json!({ "kind": "use", "row": 1 + random.below(24), "use": random.below(3) == 0 }),
        2 => {
            let asked = ["add", "leave-out", "data"][random.below(3) as usize];
            json!({ "kind": "term", "term": term, "asked": asked })
        }
        3 => json!({ "kind": "hold", "term": term, "value": random.below(10) as f64 / 64.0 }),
        4 => {
            let choice = ["logged", "scatter", "given"][random.below(3) as usize];
            json!({ "kind": "noise", "choice": choice, "given_deg": 0.1 })
        }
        _ => {
            json!({ "kind": "add_peak", "time_utc": format!("2026-09-12T12:00:{:02}Z", random.below(60)),
            "emitter": "sun", "azimuth": format!("18{}.5", random.below(10)), "elevation": "42.5" })
        }
    }
}

/// What of a state an undo must bring back.
fn essence(mut state: Value) -> Value {
    let map = state.as_object_mut().unwrap();
    for passing in ["version", "edits", "can_redo", "redo_words", "emitters"] {
        map.remove(passing);
    }
    state
}

#[test]
fn undoing_any_edits_gives_the_states_before_and_redoing_those_after() {
    let folder = folder();
    let desk = Desk::on(&folder);
    let mut random = Random(7);
    let mut states = vec![essence(desk.state())];
    while states.len() < 7 {
        let edit = any_edit(&mut random);
        let answer = desk.post("/api/edit", &json!({ "edit": edit }));
        // The same peak twice is refused.
        if answer.status == 200 {
            states.push(essence(desk.state()));
        }
    }
    // After any edits it is what the command line gives, where there is a solution.
    if states.last().unwrap()["problem"].is_null() {
        same_as_command(&folder, &desk);
    }
    for state in states.iter().rev().skip(1) {
        desk.edit(&json!({ "kind": "undo" }));
        assert_eq!(&essence(desk.state()), state);
    }
    assert!(
        desk.refused(&json!({ "kind": "undo" }))
            .contains("nothing to take back")
    );
    for state in states.iter().skip(1) {
        desk.edit(&json!({ "kind": "redo" }));
        assert_eq!(&essence(desk.state()), state);
    }
    assert!(
        desk.refused(&json!({ "kind": "redo" }))
            .contains("nothing was taken back")
    );
    // A reset is an edit like any other.
    let last = essence(desk.state());
    desk.edit(&json!({ "kind": "reset" }));
    assert_eq!(desk.state()["peaks"], states[0]["peaks"]);
    desk.edit(&json!({ "kind": "undo" }));
    assert_eq!(essence(desk.state()), last);
}

#[test]
fn edits_that_make_no_sense_are_refused_and_change_nothing() {
    let folder = folder();
    let desk = Desk::on(&folder);
    let before = desk.state();
    let refused = |edit: Value| desk.refused(&edit);
    assert!(refused(json!({ "kind": "use", "row": 99, "use": false })).contains("no row 99"));
    assert!(
        refused(json!({ "kind": "term", "term": "drop", "asked": "add" })).contains("did you mean")
    );
    assert!(
        refused(json!({ "kind": "term", "term": "azimuth-zero", "asked": "leave-out" }))
            .contains("every fit needs")
    );
    assert!(
        refused(json!({ "kind": "hold", "term": "droop", "value": 99.0 }))
            .contains("from -45 to 45")
    );
    assert!(
        refused(json!({ "kind": "noise", "choice": "given", "given_deg": -1.0 }))
            .contains("above 0")
    );
    assert!(refused(json!({ "kind": "noise", "choice": "given" })).contains("to be given"));
    let peak = |key: &str, value: &str| {
        let mut edit = json!({ "kind": "add_peak", "time_utc": "2026-09-12T12:00:00Z", "emitter": "sun",
            "azimuth": "1", "elevation": "2" });
        edit[key] = json!(value);
        edit
    };
    assert!(refused(peak("emitter", "mars")).contains("mars"));
    assert!(refused(peak("time_utc", "yesterday")).contains("yesterday"));
    assert!(refused(peak("elevation", "400")).contains("400"));
    assert!(refused(peak("note", "two\nlines")).contains("line end"));
    assert!(
        !refused(peak("emitter", "mars")).contains(":2"),
        "no line where fields were typed"
    );
    let first = before["peaks"][0].clone();
    let again = json!({ "kind": "add_peak", "time_utc": first["time_utc"], "emitter": first["emitter"],
        "azimuth": first["azimuth_deg"].to_string(), "elevation": first["elevation_deg"].to_string() });
    assert!(refused(again).contains("there already"));
    for senseless in [
        "",
        "{",
        "[]",
        "{\"edit\":{\"kind\":\"fly\"}}",
        "{\"edit\":{\"kind\":\"use\",\"row\":-1,\"use\":true}}",
    ] {
        let answer = desk.post_bytes("/api/edit", "application/json", senseless.as_bytes());
        assert_eq!(answer.status, 400, "{senseless}");
        assert!(
            answer.json(400)["problem"]
                .as_str()
                .unwrap()
                .contains("not understood")
        );
    }
    assert_eq!(desk.state()["version"], 0);
    assert_eq!(folder.read("desk-edits.jsonl").lines().count(), 2);
}

#[test]
fn an_edit_on_an_older_state_counts_while_it_makes_sense() {
    let folder = folder();
    let desk = Desk::on(&folder);
    desk.edit(&json!({ "kind": "use", "row": 3, "use": false }));
    let post = |version: u64, edit: Value| {
        desk.post("/api/edit", &json!({ "version": version, "edit": edit }))
    };
    assert_eq!(
        post(0, json!({ "kind": "use", "row": 4, "use": false })).status,
        200
    );
    // Nobody takes back what he has not seen.
    assert_eq!(post(0, json!({ "kind": "undo" })).status, 409);
    assert_eq!(
        post(99, json!({ "kind": "use", "row": 4, "use": true })).status,
        409
    );
    let added = json!({ "kind": "add_peak", "time_utc": "2026-09-12T12:00:00Z", "emitter": "sun", "azimuth": "188.9", "elevation": "42.5" });
    assert_eq!(post(2, added).status, 200);
    desk.edit(&json!({ "kind": "undo" }));
    // Its row is gone.
    assert_eq!(
        post(3, json!({ "kind": "use", "row": 25, "use": false })).status,
        409
    );
}

#[test]
fn a_log_that_cannot_be_solved_still_shows_its_peaks() {
    let folder = folder();
    let desk = Desk::on(&folder);
    for row in 2..=24 {
        desk.edit(&json!({ "kind": "use", "row": row, "use": false }));
    }
    let state = desk.state();
    assert!(
        state["problem"]["problem"].is_string(),
        "{}",
        state["problem"]
    );
    assert_eq!(state["peaks"].as_array().unwrap().len(), 24);
    assert!(state["expected"].is_null() && state["pictures"].as_array().unwrap().is_empty());
    assert_eq!(desk.get("/api/picture/sky.svg").status, 404);
    assert_eq!(desk.get("/api/map.svg").status, 404);
    desk.edit(&json!({ "kind": "reset" }));
    assert!(desk.state()["problem"].is_null());
}

#[test]
fn a_session_may_begin_without_a_log() {
    let folder = TestFolder::with_demo(&["station.toml", "satellites.tle"]);
    let desk = Desk::on(&folder);
    let state = desk.state();
    assert_eq!(state["headline"], "No peaks yet.");
    assert!(
        state["problem"]["help"]
            .as_str()
            .unwrap()
            .contains("drop a log")
    );
    desk.edit(&json!({ "kind": "add_peak", "time_utc": "2026-09-12T12:00:00Z", "emitter": "sun", "azimuth": "188.9", "elevation": "42.5" }));
    let state = desk.state();
    assert_eq!(state["peaks"][0]["row"], 1);
    let written = desk
        .post("/api/export", &json!({ "ids": ["log"] }))
        .json(200);
    assert_eq!(written["written"], json!(["desk-peaks.csv"]));
    assert!(
        folder
            .read("desk-peaks.csv")
            .contains("2026-09-12T12:00:00.000Z,sun,188.9,42.5")
    );
}

#[test]
fn two_windows_stay_in_step() {
    let folder = folder();
    let desk = Desk::on(&folder);
    let peak = desk.state()["peaks"][2].clone();
    let (mut one, mut other) = (desk.events(), desk.events());
    assert_eq!(one.next("changed")["version"], 0);
    assert_eq!(other.next("changed")["version"], 0);
    let version = desk.edit(&json!({ "kind": "use", "row": 3, "use": false }));
    assert_eq!(one.next("changed")["version"], version);
    assert_eq!(other.next("changed")["version"], version);
    let words = format!(
        "leave out row 3 ({}, {})",
        peak["emitter"].as_str().unwrap(),
        &peak["time_utc"].as_str().unwrap()[11..16]
    );
    assert_eq!(desk.state()["edits"][0]["words"], words);
}

#[test]
fn the_newest_edit_wins() {
    let folder = folder();
    let desk = Desk::on(&folder);
    desk.state();
    let mut events = desk.events();
    events.next("changed");
    for row in 1..=20 {
        desk.edit(&json!({ "kind": "use", "row": row, "use": row % 2 == 0 }));
    }
    let mut told = Vec::new();
    while told.last() != Some(&20) {
        told.push(events.next("changed")["version"].as_u64().unwrap());
    }
    assert!(
        told.len() < 20,
        "edits that were overtaken are not explained: {told:?}"
    );
    assert!(told.is_sorted());
}

#[test]
fn pictures_the_map_passes_and_the_next_peaks_come() {
    let folder = folder();
    let desk = Desk::on(&folder);
    let state = desk.state();
    for picture in state["pictures"].as_array().unwrap() {
        let stem = picture["stem"].as_str().unwrap();
        let answer = desk.get(&format!("/api/picture/{stem}.svg?v=0"));
        assert_eq!(answer.status, 200, "{stem}");
        assert!(answer.head.contains("content-type: image/svg+xml"));
        assert!(answer.text().starts_with("<svg"), "{stem}");
    }
    assert_eq!(desk.get("/api/picture/none.svg").status, 404);
    assert_eq!(desk.get("/api/map.svg?which=before").status, 404);
    assert!(desk.get("/api/map.svg").text().starts_with("<svg"));
    desk.edit(&json!({ "kind": "use", "row": 3, "use": false }));
    desk.state();
    let (now, before) = (
        desk.get("/api/map.svg?which=now"),
        desk.get("/api/map.svg?which=before"),
    );
    assert!(now.status == 200 && before.status == 200 && now.text() != before.text());
    let passes = desk.get("/api/passes?emitter=sun").json(200);
    let passes = passes.as_array().unwrap();
    assert!(!passes.is_empty(), "the Sun rises");
    assert!(
        passes[0]["worst_loss_shown"]
            .as_str()
            .unwrap()
            .ends_with("dB")
    );
    assert!(passes[0]["rises_utc"].as_str() < passes[0]["sets_utc"].as_str());
    let plain = desk.get("/api/map.svg").text();
    let drawn = desk.get("/api/map.svg?emitter=sun&pass=0").text();
    assert!(drawn.len() > plain.len(), "the pass is drawn");
    assert_eq!(desk.get("/api/map.svg?emitter=sun&pass=99").status, 404);
    assert_eq!(desk.get("/api/passes?emitter=mars").status, 404);
    let mut events = desk.events();
    let next = desk.get("/api/next").json(200);
    assert_eq!(next["ready"], false);
    events.next("next");
    let next = desk.get("/api/next").json(200);
    assert_eq!(
        (&next["ready"], &next["version"]),
        (&json!(true), &json!(1))
    );
    let steps = next["steps"].as_array().unwrap();
    assert!(!steps.is_empty() || next["problem"].is_object(), "{next}");
}
