//! The file of edits: nothing that was acknowledged is lost, nothing torn is taken.

use std::io::Write;

use serde_json::json;

use super::client::{Desk, ask, folder};
use crate::command::{TestFolder, text};

#[test]
fn edits_stand_after_a_kill_at_any_instant() {
    let folder = TestFolder::with_demo(&["station.toml", "satellites.tle"]);
    folder.write(
        "peaks.csv",
        &super::client::first_rows(&TestFolder::with_demo(&["peaks.csv"]).read("peaks.csv"), 6),
    );
    let mut acknowledged = 0;
    for round in 0..12u64 {
        let mut desk = Desk::on(&folder);
        let version = |desk: &Desk| desk.state()["version"].as_u64().unwrap();
        assert!(version(&desk) >= acknowledged, "round {round}");
        acknowledged = version(&desk);
        // A stream of edits from a thread, which the kill cuts anywhere.
        let address = desk.address.clone();
        let sender = std::thread::spawn(move || {
            let origin = format!("http://{address}");
            let headers = [
                ("Host", address.as_str()),
                ("Origin", origin.as_str()),
                ("Content-Type", "application/json"),
                ("X-Desk", "1"),
            ];
            let mut last = None;
            for i in 0.. {
                let row = 1 + i % 6;
                let body = json!({ "edit": { "kind": "use", "row": row, "use": i % 2 == 0 } });
                let sent = std::panic::catch_unwind(|| {
                    ask(
                        &address,
                        "POST /api/edit",
                        &headers,
                        body.to_string().as_bytes(),
                    )
                });
                match sent {
                    Ok(answer) if answer.status == 200 => {
                        last = answer.json(200)["version"].as_u64();
                    }
                    _ => return last,
                }
            }
            last
        });
        std::thread::sleep(std::time::Duration::from_millis(7 * (round + 1)));
        desk.kill();
        acknowledged = acknowledged.max(sender.join().unwrap().unwrap_or(0));
    }
    let mut desk = Desk::on(&folder);
    let state = desk.state();
    let version = state["version"].as_u64().unwrap();
    assert!(
        version >= acknowledged && acknowledged > 0,
        "{version} of {acknowledged}"
    );
    // At most the edit that was in the air is more than was acknowledged.
    assert!(version <= acknowledged + 1, "{version} of {acknowledged}");
    desk.kill();
}

#[test]
fn a_torn_last_line_is_cut_off_and_said() {
    let folder = folder();
    let mut desk = Desk::on(&folder);
    desk.edit(&json!({ "kind": "use", "row": 3, "use": false }));
    desk.edit(&json!({ "kind": "use", "row": 4, "use": false }));
    desk.kill();
    let whole = folder.read("desk-edits.jsonl");
    let last = whole.trim_end().rsplit_once('\n').unwrap().1;
    let before_last = whole.len() - last.len() - 1;
    // Torn anywhere, the newline at its end included; and the zeros that some file systems leave.
    for cut in [1, 2, last.len() / 2, last.len() - 1, last.len()] {
        folder.write("desk-edits.jsonl", &whole.as_bytes()[..before_last + cut]);
        let mut desk = Desk::on(&folder);
        assert!(
            desk.said.iter().any(|line| line.contains("torn off")),
            "{cut}: {:?}",
            desk.said
        );
        assert_eq!(desk.state()["version"], 1, "{cut}");
        desk.kill();
        assert_eq!(folder.read("desk-edits.jsonl"), whole[..before_last]);
    }
    folder.write(
        "desk-edits.jsonl",
        &[&whole.as_bytes()[..before_last], &[0; 40]].concat(),
    );
    let mut desk = Desk::on(&folder);
    assert_eq!(desk.state()["version"], 1);
    // It goes on from there.
    assert_eq!(
        desk.edit(&json!({ "kind": "use", "row": 5, "use": false })),
        2
    );
    desk.kill();
    // Torn in the very first line.
    folder.write("desk-edits.jsonl", &whole.as_bytes()[..10]);
    let desk = Desk::on(&folder);
    assert_eq!(desk.state()["version"], 0);
}

#[test]
fn a_damaged_or_foreign_file_is_not_touched() {
    let folder = folder();
    let mut desk = Desk::on(&folder);
    desk.edit(&json!({ "kind": "use", "row": 3, "use": false }));
    desk.edit(&json!({ "kind": "undo" }));
    desk.kill();
    let whole = folder.read("desk-edits.jsonl");
    let lines: Vec<&str> = whole.lines().collect();
    let without = |n: usize| -> String {
        let kept = lines.iter().enumerate().filter(|(i, _)| *i != n);
        kept.map(|(_, line)| format!("{line}\n")).collect()
    };
    for (contents, line) in [
        ("my notes\n".to_owned(), 1),
        ("{\"some\":\"json\"}\n".to_owned(), 1),
        (without(0), 1),
        (without(2), 3),
        (whole.replace("\"n\":1", "\"n\":7"), 3),
        (whole.replace("\"line\":\"edit\"", "\"line\":\"fly\""), 3),
    ] {
        folder.write("desk-edits.jsonl", &contents);
        let said = folder.said(&["desk", "--no-browser"], 3);
        assert!(
            said.contains(&format!("desk-edits.jsonl:{line}:1")),
            "{said}"
        );
        assert!(said.contains("move the file away"), "{said}");
        assert_eq!(folder.read("desk-edits.jsonl"), contents);
    }
}

#[test]
fn a_second_desk_on_the_session_is_refused_until_the_first_is_gone() {
    let folder = folder();
    let mut desk = Desk::on(&folder);
    desk.edit(&json!({ "kind": "use", "row": 3, "use": false }));
    let said = folder.said(&["desk", "--no-browser"], 2);
    assert!(said.contains("another desk has this session"), "{said}");
    desk.kill();
    assert_eq!(Desk::on(&folder).state()["version"], 1);
}

#[test]
fn a_log_that_changed_meanwhile_is_noticed() {
    let folder = folder();
    let mut desk = Desk::on(&folder);
    desk.edit(&json!({ "kind": "use", "row": 3, "use": false }));
    let row_3 = desk.state()["peaks"][2].clone();
    desk.kill();
    let log = folder.read("peaks.csv");
    // Rows at its end are fine.
    folder.write(
        "peaks.csv",
        &format!("{log}2026-09-12T12:00:00Z,sun,188.9,42.5,+,+\n"),
    );
    let mut desk = Desk::on(&folder);
    assert!(
        desk.said.iter().any(|l| l.contains("has grown at its end")),
        "{:?}",
        desk.said
    );
    assert_eq!(desk.state()["peaks"].as_array().unwrap().len(), 25);
    assert_eq!(desk.state()["peaks"][2]["ticked"], false);
    desk.kill();
    // A row before it: the edit goes with its peak.
    let mut lines: Vec<&str> = log.lines().collect();
    let header = lines
        .iter()
        .position(|l| l.starts_with("time_utc"))
        .unwrap();
    lines.remove(header + 1);
    folder.write("peaks.csv", &(lines.join("\n") + "\n"));
    let mut desk = Desk::on(&folder);
    assert!(
        desk.said.iter().any(|l| l.contains("not only at its end")),
        "{:?}",
        desk.said
    );
    let state = desk.state();
    assert_eq!(state["peaks"][1]["time_utc"], row_3["time_utc"]);
    assert_eq!(state["peaks"][1]["ticked"], false);
    assert_eq!(state["peaks"][2]["ticked"], true);
    desk.kill();
    // And where its peak is gone it is said.
    lines.remove(header + 2);
    folder.write("peaks.csv", &(lines.join("\n") + "\n"));
    let desk = Desk::on(&folder);
    assert!(
        desk.said
            .iter()
            .any(|l| l.contains("is not in the log any more")),
        "{:?}",
        desk.said
    );
    assert!(
        desk.state()["warnings"]
            .to_string()
            .contains("not in the log any more")
    );
}

/// As an observation writes it while the desk looks on.
#[test]
fn a_log_that_grows_while_the_desk_runs_is_followed() {
    let folder = TestFolder::with_demo(&["station.toml", "satellites.tle"]);
    let whole = super::client::folder().read("peaks.csv");
    let mut desk = Desk::on(&folder);
    let mut events = desk.events();
    assert_eq!(events.next("changed")["version"], 0);
    folder.replace("peaks.csv", &super::client::first_rows(&whole, 12));
    // The state without a log may still come in first.
    while events.next("changed")["version"] == 0 {}
    assert_eq!(desk.state()["peaks"].as_array().unwrap().len(), 12);
    desk.edit(&json!({ "kind": "use", "row": 3, "use": false }));
    folder.replace("peaks.csv", &whole);
    while desk.state()["peaks"].as_array().unwrap().len() == 12 {
        events.next("changed");
    }
    let state = desk.state();
    assert_eq!(state["peaks"].as_array().unwrap().len(), 24);
    assert_eq!(state["peaks"][2]["ticked"], false);
    // One that cannot be read leaves the peaks as they were.
    folder.replace("peaks.csv", "nothing of a log\n");
    while !desk.state()["warnings"]
        .to_string()
        .contains("cannot be read again")
    {
        events.next("changed");
    }
    assert_eq!(desk.state()["peaks"].as_array().unwrap().len(), 24);
    folder.replace("peaks.csv", &whole);
    while desk.state()["warnings"]
        .to_string()
        .contains("cannot be read again")
    {
        events.next("changed");
    }
    desk.kill();
    assert_eq!(Desk::on(&folder).state()["peaks"][2]["ticked"], false);
}

#[test]
fn the_log_itself_is_never_changed() {
    let folder = folder();
    let (log, station) = (folder.read("peaks.csv"), folder.read("station.toml"));
    let desk = Desk::on(&folder);
    for row in 1..5 {
        desk.edit(&json!({ "kind": "use", "row": row, "use": false }));
    }
    desk.post("/api/export", &json!({ "ids": ["log", "calibration"] }))
        .json(200);
    assert_eq!(
        (folder.read("peaks.csv"), folder.read("station.toml")),
        (log, station)
    );
}

#[cfg(unix)]
#[test]
fn ctrl_c_ends_it_and_every_edit_stands() {
    let folder = folder();
    let mut desk = Desk::on(&folder);
    desk.edit(&json!({ "kind": "use", "row": 3, "use": false }));
    let mut events = desk.events();
    events.next("changed");
    assert_eq!(desk.end(), Some(0));
    assert_eq!(Desk::on(&folder).state()["version"], 1);
}

#[cfg(unix)]
#[test]
fn a_link_in_the_place_of_the_edits_is_refused() {
    let folder = folder();
    let elsewhere = TestFolder::empty();
    elsewhere.write("precious", "mine");
    std::os::unix::fs::symlink(elsewhere.path("precious"), folder.path("desk-edits.jsonl"))
        .unwrap();
    let output = folder.ends(&["desk", "--no-browser"], 3);
    assert!(
        text(&output.stderr).contains("a link"),
        "{}",
        text(&output.stderr)
    );
    assert_eq!(elsewhere.read("precious"), "mine");
}

/// Bounded history: many edits do not slow the file's replay down nor fill the state.
#[test]
fn a_thousand_edits_replay_and_the_state_stays_small() {
    let folder = TestFolder::with_demo(&["station.toml", "satellites.tle"]);
    let mut desk = Desk::on(&folder);
    desk.kill();
    let mut log = std::fs::OpenOptions::new()
        .append(true)
        .open(folder.path("desk-edits.jsonl"))
        .unwrap();
    for n in 1..=5000 {
        writeln!(
            log,
            "{{\"line\":\"edit\",\"n\":{n},\"at\":\"2026-09-12T12:00:00Z\",\"words\":\"fit droop\",\
             \"edit\":{{\"kind\":\"term\",\"term\":\"droop\",\"asked\":\"add\"}}}}"
        )
        .unwrap();
    }
    let desk = Desk::on(&folder);
    let state = desk.state();
    assert_eq!(state["version"], 5000);
    assert_eq!(state["edits"].as_array().unwrap().len(), 200);
    assert_eq!(state["edits"][199]["n"], 5000);
}
