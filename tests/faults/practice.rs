//! Practice sessions with known faults, made and diagnosed by the command itself.

use std::path::Path;

use serde_json::Value;

use super::{assert_size, findings, json, package, plumbeam, reference};

/// A made-up session: what is wrong with it, and what must be found.
#[derive(Default)]
pub struct Practice {
    /// Lines of the truth's table of terms beside the healthy ones.
    pub terms: &'static str,
    /// The spoil tables.
    pub spoil: &'static str,
    /// The station's folder; the demo's when empty.
    pub station: &'static str,
    /// Lines for the station's mount.
    pub mount: &'static str,
    pub peaks: Option<usize>,
    pub hours: Option<u32>,
    pub noise: Option<f64>,
    pub lowest: Option<f64>,
    /// Readings as they are, and not rounded to 0.01 deg.
    pub unrounded: bool,
}

impl Practice {
    /// Makes the session in `folder` and diagnoses it.
    pub fn diagnose(&self, folder: &Path) -> Value {
        self.make(folder);
        json(folder, &["faults", "peaks.csv", "--json"])
    }

    pub fn make(&self, folder: &Path) {
        let from = match self.station {
            "" => package().join("demo-data"),
            name => reference(name),
        };
        std::fs::copy(from.join("satellites.tle"), folder.join("satellites.tle")).expect("a copy");
        let station = std::fs::read_to_string(from.join("station.toml")).expect("a station");
        let station = station.replacen("[dish]", &format!("{}\n[dish]", self.mount), 1);
        std::fs::write(folder.join("station.toml"), station).expect("a file");
        let day = if self.station.is_empty() {
            "2026-09-12T06:10:00Z"
        } else {
            "2026-08-26T05:00:00Z"
        };
        let begin = plumbeam::time::Utc::parse(day).expect("a time");
        let end = begin.plus_seconds(3600.0 * f64::from(self.hours.unwrap_or(10)));
        let truth = format!(
            "[terms]\nazimuth-zero = 137.2\nelevation-zero = -0.87\ntilt-north = 0.3\n\
             tilt-east = -0.5\ncollimation = 0.4\ndroop = 0.2\n{}\n\
             [noise]\ncross_elevation_deg = {noise}\nelevation_deg = {noise}\nresolution_deg = {}\n\
             [session]\nfrom = \"{begin}\"\nto = \"{end}\"\npeaks = {}\n\
             lowest_elevation_deg = {}\napproach_logged = true\n{}",
            self.terms,
            if self.unrounded { 0.0 } else { 0.01 },
            self.peaks.unwrap_or(60),
            self.lowest.unwrap_or(10.0),
            self.spoil,
            noise = self.noise.unwrap_or(0.07),
        );
        std::fs::write(folder.join("truth.toml"), truth).expect("a file");
        let simulate = [
            "simulate",
            "--truth",
            "truth.toml",
            "--seed",
            "7",
            "--out",
            "peaks.csv",
        ];
        plumbeam(folder, &simulate, 0);
    }
}

/// Diagnoses a practice session and checks the first finding's name, and its size if one is
/// given.
#[track_caller]
pub fn expect(practice: &Practice, fault: &str, size: Option<f64>) -> Value {
    let folder = tempfile::tempdir().expect("a folder");
    let found = practice.diagnose(folder.path());
    let first = findings(&found).first().cloned();
    let first = first.unwrap_or_else(|| panic!("{fault} is not found"));
    assert_eq!(first["fault"], fault, "{found:#}");
    assert_eq!(findings(&found).len(), 1, "{found:#}");
    if let Some(size) = size {
        assert_size(&first, size);
    }
    first
}

pub fn spoilt(spoil: &'static str) -> Practice {
    Practice {
        spoil,
        ..Practice::default()
    }
}

pub fn with_terms(terms: &'static str) -> Practice {
    Practice {
        terms,
        ..Practice::default()
    }
}
