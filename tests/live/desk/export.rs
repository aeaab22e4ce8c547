//! Every file of the command line, by its guard.

use serde_json::{Value, json};

use super::client::{Desk, folder};

#[test]
fn everything_is_written_and_reads_back() {
    let folder = folder();
    let desk = Desk::on(&folder);
    let state = desk.state();
    let ids: Vec<&str> = state["exports"]
        .as_array()
        .unwrap()
        .iter()
        .map(|e| e["id"].as_str().unwrap())
        .collect();
    let done = desk.post("/api/export", &json!({ "ids": ids })).json(200);
    assert_eq!(
        done["written"].as_array().unwrap().len(),
        ids.len(),
        "{done}"
    );
    for export in state["exports"].as_array().unwrap() {
        assert!(
            folder.path(export["file"].as_str().unwrap()).exists(),
            "{export}"
        );
        assert!(
            export["label"]
                .as_str()
                .unwrap()
                .contains(export["file"].as_str().unwrap())
        );
    }
    assert!(
        folder.path("report/report.html").exists() && folder.path("faults/faults.html").exists()
    );
    // Other verbs take them.
    folder.gives(&[
        "point",
        "--calibration",
        "calibration.json",
        "--at",
        "2026-09-12T12:00:00Z",
        "sun",
    ]);
    folder.gives(&["table", "--calibration", "calibration.json"]);
    let again: Value =
        serde_json::from_str(&folder.gives(&["solve", "peaks.csv", "--json"])).unwrap();
    let written: Value = serde_json::from_str(&folder.read("calibration.json")).unwrap();
    assert_eq!(again["terms"], written["terms"]);
    assert!(folder.read("corrections.h").contains("/* Correction table"));
}

#[test]
fn an_older_result_is_kept_and_nothing_of_another_kind_is_replaced() {
    let folder = folder();
    let desk = Desk::on(&folder);
    let export = |ids: &[&str]| desk.post("/api/export", &json!({ "ids": ids }));
    export(&["calibration"]).json(200);
    let first = folder.read("calibration.json");
    desk.edit(&json!({ "kind": "use", "row": 3, "use": false }));
    let done = export(&["calibration"]).json(200);
    assert!(done["said"].to_string().contains("is kept as"), "{done}");
    let kept = std::fs::read_dir(folder.root()).unwrap().any(|entry| {
        let path = entry.unwrap().path();
        path.file_name().unwrap() != "calibration.json"
            && std::fs::read_to_string(&path).is_ok_and(|t| t == first)
    });
    assert!(kept, "the first is still there");
    let mine = "[site]\nname = \"mine\"\n";
    folder.write("corrections.csv", mine);
    let refused = export(&["table"]);
    assert_eq!(refused.status, 422);
    assert!(
        refused.text().contains("will not overwrite"),
        "{}",
        refused.text()
    );
    assert_eq!(folder.read("corrections.csv"), mine);
    std::fs::create_dir(folder.path("report")).unwrap();
    folder.write("report/holiday.jpg", "mine");
    assert_eq!(export(&["report"]).status, 422);
    assert_eq!(folder.read("report/holiday.jpg"), "mine");
    assert!(
        export(&["all"]).json(422)["problem"]
            .as_str()
            .unwrap()
            .contains("nothing to export")
    );
}

#[test]
fn nothing_is_written_from_a_log_without_a_solution_or_through_a_link() {
    let folder = folder();
    let desk = Desk::on(&folder);
    for row in 2..=24 {
        desk.edit(&json!({ "kind": "use", "row": row, "use": false }));
    }
    let answer = desk.post("/api/export", &json!({ "ids": ["calibration"] }));
    assert!(
        answer.json(422)["problem"]
            .as_str()
            .unwrap()
            .contains("cannot be written")
    );
    assert!(!folder.path("calibration.json").exists());
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink("/tmp", folder.path("desk-peaks.csv")).unwrap();
        let answer = desk.post("/api/export", &json!({ "ids": ["log"] }));
        assert!(
            answer.json(422)["problem"]
                .as_str()
                .unwrap()
                .contains("is a link")
        );
    }
}
