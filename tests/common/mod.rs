//! Reference sessions for whole-solve tests.

#![allow(dead_code)] // each test file uses its own part

use std::path::PathBuf;

use plumbeam::logbook::{PeakLog, TermState};
use plumbeam::mount::{Kind, Term};
use plumbeam::sky::Sky;
use plumbeam::solve::{Options, Outcome, solve};
use plumbeam::station::Station;
use serde_json::Value;

/// One reference session with its truth.
pub struct Reference {
    pub name: String,
    pub folder: PathBuf,
    truth: Value,
}

fn folder(kind: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/reference")
        .join(kind)
}

/// The session of that name.
pub fn session(name: &str) -> Reference {
    of("sessions", name)
}

/// One of another kind: `knocks`, `choice`. Its truth is null when it has none.
pub fn of(kind: &str, name: &str) -> Reference {
    let folder = folder(kind).join(name);
    let truth = match std::fs::read_to_string(folder.join("truth.json")) {
        Ok(text) => serde_json::from_str(&text).expect("a truth file in JSON"),
        Err(_) => Value::Null,
    };
    Reference {
        name: name.to_owned(),
        folder,
        truth,
    }
}

/// All sessions, by name.
pub fn sessions() -> Vec<Reference> {
    let mut names: Vec<String> = std::fs::read_dir(folder("sessions"))
        .expect("the reference sessions")
        .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
        .collect();
    names.sort();
    assert!(names.len() >= 9, "the reference sessions are there");
    names.iter().map(|name| session(name)).collect()
}

impl Reference {
    pub fn fit_terms(&self) -> Vec<Term> {
        let listed = self.truth["fit_terms"].as_array().expect("fit_terms");
        (listed.iter())
            .map(|t| self.term(t.as_str().expect("a name")))
            .collect()
    }
    /// As files show it; zero when the truth does not list it.
    pub fn truth_of(&self, term: Term) -> f64 {
        let name = self.kind().term_name(term);
        self.truth["terms"][name].as_f64().unwrap_or(0.0)
    }
    /// The term that this kind of mount calls so.
    pub fn term(&self, name: &str) -> Term {
        self.kind()
            .term_by_name(name)
            .expect("a term of this mount")
    }
    /// The kind of its mount.
    pub fn kind(&self) -> Kind {
        self.station().mount.kind()
    }
    /// A part of its truth.
    pub fn truth(&self, key: &str) -> &Value {
        &self.truth[key]
    }
    pub fn noise_deg(&self) -> f64 {
        self.truth["noise_deg"].as_f64().expect("noise_deg")
    }
    /// Rows spoilt on purpose, ascending.
    pub fn bad_rows(&self) -> Vec<usize> {
        let rows = self.truth["bad_rows"].as_object().expect("bad_rows");
        let mut rows: Vec<usize> = rows.keys().map(|r| r.parse().expect("a row")).collect();
        rows.sort_unstable();
        rows
    }
    pub fn station(&self) -> Station {
        Station::read(&self.folder.join("station.toml")).expect("a sound station file")
    }
    /// Station, sky and log.
    pub fn read(&self) -> (Station, Sky, PeakLog) {
        let station = self.station();
        let sky = Sky::new(&station).expect("sound elements");
        let log = PeakLog::read(&self.folder.join("peaks.csv"), &station).expect("sound peaks");
        (station, sky, log)
    }
    pub fn solve(&self, options: &Options) -> Outcome {
        let (station, sky, log) = self.read();
        solve(&station, &sky, &log, options).unwrap_or_else(|e| panic!("{}: {e}", self.name))
    }
}

/// A fitted term may lie so many of its own sigmas from the truth: of the about 100 terms in
/// these tests the farthest of an honest fit lies near 2.6; beyond 4 something is wrong.
pub const MOST_SIGMAS: f64 = 4.0;

/// Every fitted term lies within [`MOST_SIGMAS`] of its own sigmas of the truth.
#[track_caller]
pub fn assert_terms_near_truth(reference: &Reference, outcome: &Outcome) {
    for estimate in &outcome.terms {
        if estimate.state != TermState::Fitted {
            continue;
        }
        let truth = reference.truth_of(estimate.term);
        let sigma = estimate.shown_sigma().expect("a fitted term has a sigma");
        assert!(
            (estimate.shown() - truth).abs() <= MOST_SIGMAS * sigma,
            "{}: {} is {} +/- {sigma}, the truth {truth}",
            reference.name,
            reference.kind().term_name(estimate.term),
            estimate.shown()
        );
    }
}
