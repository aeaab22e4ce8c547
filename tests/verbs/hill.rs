//! An invented hill with a dish and a calibration of it, for the tests of `point`.

use std::process::Output;

use serde_json::Value;

use crate::command::TestFolder;

/// An invented station.
pub const STATION: &str = r#"
[site]
name = "Test hill"
latitude_deg = 47.0
longitude_deg = 8.0
height_m = 500.0
pressure_hpa = 955.0
temperature_c = 10.0
relative_humidity = 0.6
[mount]
kind = "az-el"
azimuth_range_deg = [-180.0, 540.0]
elevation_range_deg = [0.0, 90.0]
[dish]
diameter_m = 1.5
frequency_mhz = 1700.0
"#;

/// A printed answer has six decimals; this is a unit of the last.
pub const PRINTED: f64 = 1e-6;

/// With a calibration of these terms, in degrees.
pub fn calibrated(terms: &[(&str, f64)]) -> TestFolder {
    let folder = TestFolder::empty();
    folder.write("station.toml", STATION);
    folder.put_calibration(terms);
    folder
}

impl TestFolder {
    pub fn put_calibration(&self, terms: &[(&str, f64)]) {
        self.replace("calibration.json", &calibration(terms));
    }
    pub fn point(&self, arguments: &[&str]) -> Output {
        self.run(&[&["point"], arguments].concat())
    }
}

pub fn calibration(terms: &[(&str, f64)]) -> String {
    let terms: serde_json::Map<String, Value> = terms
        .iter()
        .map(|(name, value)| {
            let record = serde_json::json!({"value_deg": value, "state": "held"});
            ((*name).to_owned(), record)
        })
        .collect();
    serde_json::json!({
        "format": "plumbeam calibration 1",
        "created_utc": "2026-05-01T20:00:00.000Z",
        "station": "Test hill",
        "terms": terms,
        "correlations": [],
        "peaks": [],
        "rms_before_deg": 1.0,
        "rms_after_deg": 0.1,
        "degrees_of_freedom": 10,
        "trust": "good",
        "warnings": []
    })
    .to_string()
}
