//! Logs that are dropped: what was understood, what is asked, what is refused.

use serde_json::{Value, json};

use super::client::{Desk, folder};
use crate::command::TestFolder;

fn import(desk: &Desk, name: &str, bytes: &[u8]) -> Value {
    desk.post_bytes(
        &format!("/api/import?name={name}"),
        "application/octet-stream",
        bytes,
    )
    .json(200)
}

fn answer(desk: &Desk, offered: &Value, options: &Value) -> Value {
    let body = json!({ "file": offered["file"], "options": options });
    desk.post("/api/import-answer", &body).json(200)
}

/// The log of tests/data/logs of that name.
fn log(name: &str) -> Vec<u8> {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/logs");
    std::fs::read(folder.join(name)).unwrap()
}

#[test]
fn a_log_comes_in_when_its_edit_is_posted_and_goes_with_an_undo() {
    let folder = folder();
    let desk = Desk::on(&folder);
    let night = "time_utc,emitter,azimuth_deg,elevation_deg\n\
                 2026-09-13T06:15:00Z,mill-beacon,302.92,1.97\n2026-09-13T12:00:00Z,sun,188.6,42.2\n";
    let offered = import(&desk, "night%202.csv", night.as_bytes());
    assert_eq!(
        (&offered["file"], &offered["peaks"]),
        (&json!("night-2.csv"), &json!(2))
    );
    assert!(offered["question"].is_null());
    assert_eq!(folder.read("night-2.csv"), night);
    assert_eq!(desk.state()["version"], 0, "nothing changes yet");
    desk.edit(&offered["edit"]);
    let state = desk.state();
    let peaks = state["peaks"].as_array().unwrap();
    assert_eq!(peaks.len(), 26);
    assert_eq!(
        (&peaks[25]["row"], &peaks[25]["log"]),
        (&json!(26), &json!("night-2.csv"))
    );
    assert!(
        state["commands"][0]
            .as_str()
            .unwrap()
            .contains("desk-peaks.csv desk-peaks-2.csv")
    );
    // A peak of it can be left out, and both are explained as the command line does.
    desk.edit(&json!({ "kind": "use", "row": 26, "use": false }));
    let state = desk.state();
    assert_eq!(state["peaks"][25]["ticked"], false);
    let written = desk
        .post("/api/export", &json!({ "ids": ["log"] }))
        .json(200);
    assert_eq!(
        written["written"],
        json!(["desk-peaks.csv", "desk-peaks-2.csv"])
    );
    let solved: Value = serde_json::from_str(&folder.gives(&[
        "solve",
        "desk-peaks.csv",
        "desk-peaks-2.csv",
        "--json",
    ]))
    .unwrap();
    assert_eq!(solved["peaks"].as_array().unwrap().len(), 26);
    let (a, b) = (
        state["rms_after_deg"].as_f64().unwrap(),
        solved["rms_after_deg"].as_f64().unwrap(),
    );
    assert!((a - b).abs() < 1e-9, "{a} and {b}");
    // The same again says so.
    assert!(
        desk.refused(&offered["edit"])
            .contains("in the session already")
    );
    desk.edit(&json!({ "kind": "undo" }));
    desk.edit(&json!({ "kind": "undo" }));
    assert_eq!(desk.state()["peaks"].as_array().unwrap().len(), 24);
    assert!(folder.path("night-2.csv").exists());
}

#[test]
fn dates_that_may_be_two_are_asked() {
    let folder = folder();
    let desk = Desk::on(&folder);
    let mut offered = import(&desk, "sheet.csv", &log("ambiguous-dates.csv"));
    assert_eq!(offered["question"]["open"], 2, "{offered}");
    assert!(offered["edit"].is_null());
    // An edit without the answers is refused with the questions.
    let refused = desk.refused(&json!({ "kind": "import", "file": offered["file"] }));
    assert!(refused.contains("9/12/2026"), "{refused}");
    let mut asked = Vec::new();
    while let Some(question) = offered["question"].as_object().cloned() {
        let option = question["option"].as_str().unwrap().to_owned();
        let choices = question["choices"].as_array().unwrap();
        let label = |c: &Value| c["label"].as_str().unwrap().to_owned();
        let wanted = match option.as_str() {
            "dates" => {
                assert!(
                    question["text"].as_str().unwrap().contains("9/12/2026"),
                    "{question:?}"
                );
                assert!(
                    choices.iter().any(|c| label(c).contains("2026-12-09")),
                    "{choices:?}"
                );
                "2026-09-12"
            }
            _ => "UTC",
        };
        let choice = choices
            .iter()
            .find(|c| label(c).contains(wanted))
            .expect("the choice");
        for before in &asked {
            assert!(
                choice["options"][before].is_string(),
                "what was said stays said: {choice}"
            );
        }
        offered = answer(&desk, &offered, &choice["options"]);
        asked.push(option);
    }
    asked.sort();
    assert_eq!(asked, ["dates", "zone"]);
    desk.edit(&offered["edit"]);
    let state = desk.state();
    let peaks = state["peaks"].as_array().unwrap();
    assert!(peaks.len() > 24);
    assert!(
        peaks[24]["time_utc"]
            .as_str()
            .unwrap()
            .starts_with("2026-09-12T"),
        "{}",
        peaks[24]
    );
}

#[test]
fn a_zone_columns_and_an_emitter_are_asked() {
    let folder = folder();
    let desk = Desk::on(&folder);
    for (name, option) in [
        ("own-headers-local-time.csv", "columns"),
        ("one-emitter.csv", "emitter"),
    ] {
        let mut offered = import(&desk, name, &log(name));
        let mut asked = Vec::new();
        while let Some(question) = offered["question"].as_object() {
            asked.push(question["option"].as_str().unwrap().to_owned());
            assert!(asked.len() < 6, "{asked:?}");
            let choice = question["choices"][0].clone();
            assert!(choice.is_object(), "{question:?}");
            offered = answer(&desk, &offered, &choice["options"]);
        }
        assert!(asked.iter().any(|a| a == option), "{name}: {asked:?}");
        assert!(offered["peaks"].as_u64().unwrap() > 0, "{name}: {offered}");
        assert!(
            !offered["understood"].as_array().unwrap().is_empty(),
            "{name}"
        );
    }
}

#[test]
fn what_is_no_log_is_said_and_not_stored() {
    let folder = folder();
    let desk = Desk::on(&folder);
    let before = std::fs::read_dir(folder.root()).unwrap().count();
    let damaged = "time_utc,emitter,azimuth_deg,elevation_deg\n2026-09-13T06:15:00Z,mill-beacon,many,1.97\n\
                   2026-09-13T06:16:00Z,mars,1,200\n";
    for (bytes, said) in [
        (damaged.as_bytes(), "many"),
        (&b"\x89PNG\r\n\x1a\n0000"[..], ""),
        (&b"PK\x03\x04sheet"[..], ""),
        (&b""[..], ""),
        (&[0xff, 0xfe, 0x00, 0xd8][..], ""),
    ] {
        let answer = desk.post_bytes("/api/import?name=x.csv", "application/octet-stream", bytes);
        let problem = answer.json(422)["problem"].as_str().unwrap().to_owned();
        assert!(!problem.is_empty() && problem.contains(said), "{problem}");
    }
    assert_eq!(std::fs::read_dir(folder.root()).unwrap().count(), before);
}

#[test]
fn a_stored_log_replaces_nothing_and_stays_inside() {
    let folder = folder();
    let desk = Desk::on(&folder);
    let night = "time_utc,emitter,azimuth_deg,elevation_deg\n2026-09-13T12:00:00Z,sun,188.6,42.2\n";
    let (station, peaks) = (folder.read("station.toml"), folder.read("peaks.csv"));
    for (name, stored) in [
        ("peaks.csv", "peaks-2.csv"),
        ("..%2F..%2Fpeaks.csv", "peaks-2.csv"),
        ("station.toml", "station.csv"),
        ("desk-edits.jsonl", "desk-edits.csv"),
        ("%2Fetc%2Fpasswd", "passwd.csv"),
        ("", "imported-log.csv"),
    ] {
        let offered = import(&desk, name, night.as_bytes());
        assert_eq!(offered["file"], stored, "{name}");
        assert_eq!(folder.read(stored), night);
    }
    assert_eq!(
        (folder.read("station.toml"), folder.read("peaks.csv")),
        (station, peaks)
    );
}

#[test]
fn peaks_that_are_there_already_are_not_taken_twice() {
    let folder = folder();
    let desk = Desk::on(&folder);
    let grown = folder.read("peaks.csv") + "2026-09-12T12:00:00Z,sun,188.9,42.5,+,+\n";
    let offered = import(&desk, "grown.csv", grown.as_bytes());
    desk.edit(&offered["edit"]);
    let state = desk.state();
    assert_eq!(state["peaks"].as_array().unwrap().len(), 25);
    assert!(
        state["warnings"].to_string().contains("24 of its peaks"),
        "{}",
        state["warnings"]
    );
    let same = import(&desk, "same.csv", folder.read("peaks.csv").as_bytes());
    assert!(desk.refused(&same["edit"]).contains("all peaks"));
}

#[test]
fn an_imported_file_that_is_gone_at_the_next_start_is_said() {
    let folder = TestFolder::with_demo(&["station.toml", "satellites.tle"]);
    let mut desk = Desk::on(&folder);
    let night = "time_utc,emitter,azimuth_deg,elevation_deg\n2026-09-13T12:00:00Z,sun,188.6,42.2\n";
    desk.edit(&import(&desk, "night.csv", night.as_bytes())["edit"]);
    assert_eq!(desk.state()["peaks"].as_array().unwrap().len(), 1);
    desk.kill();
    std::fs::remove_file(folder.path("night.csv")).unwrap();
    let desk = Desk::on(&folder);
    assert!(
        desk.said
            .iter()
            .any(|l| l.contains("night.csv") && l.contains("cannot be read")),
        "{:?}",
        desk.said
    );
    assert_eq!(desk.state()["peaks"].as_array().unwrap().len(), 0);
}
