//! The verb faults as a whole command: the reference sessions, and one made-up session for each
//! fault that can be named.

#[path = "../common/command.rs"]
mod command;
mod data;
mod independent;
mod mechanics;
mod practice;
mod references;

use std::path::{Path, PathBuf};

use serde_json::Value;

use command::plumbeam;

fn package() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

#[track_caller]
fn json(folder: &Path, arguments: &[&str]) -> Value {
    let output = plumbeam(folder, arguments, 0);
    serde_json::from_slice(&output.stdout).expect("one JSON document")
}

fn names(document: &Value) -> Vec<String> {
    findings(document)
        .iter()
        .map(|f| f["fault"].as_str().expect("a name").to_owned())
        .collect()
}

fn findings(document: &Value) -> &[Value] {
    document["findings"].as_array().expect("a list")
}

/// The folder of a reference session.
fn reference(name: &str) -> PathBuf {
    package().join("tests/data/reference/sessions").join(name)
}

/// A size may lie so many of its own sigmas from the truth.
const MOST_SIGMAS: f64 = 4.0;

#[track_caller]
fn assert_size(finding: &Value, truth: f64) {
    let (size, sigma) = (finding["size"].as_f64(), finding["sigma"].as_f64());
    let (size, sigma) = (size.expect("a size"), sigma.expect("a sigma"));
    assert!(
        (size - truth).abs() <= MOST_SIGMAS * sigma + 1e-9,
        "{} +/- {sigma} is not {truth}: {finding}",
        size
    );
}
