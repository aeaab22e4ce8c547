//! The machine-readable form of a reduction.

use serde::Serialize;
use serde_json::Value;

use super::ScanAxis;
use super::all_scans::timing::Timing;
use super::outcome::{ReducedScan, Reduction};
use crate::angle::Angle;
use crate::logbook::keyed;
use crate::time::Utc;

/// The JSON document of a reduction.
#[derive(Clone, Debug, Serialize)]
struct Document {
    scans: Vec<ScanRecord>,
    azimuth: TimingRecord,
    elevation: TimingRecord,
    noise: &'static str,
    beam_over_station: Option<f64>,
    warnings: Vec<String>,
}

/// A scan's name: a number if it is one in the log.
#[derive(Clone, Debug, Serialize)]
#[serde(untagged)]
enum Name {
    Number(u64),
    Text(String),
}

impl Name {
    fn of(text: &str) -> Name {
        match text.parse::<u64>() {
            Ok(number) if number.to_string() == text => Name::Number(number),
            _ => Name::Text(text.to_owned()),
        }
    }
}

#[derive(Clone, Debug, Serialize)]
struct ScanRecord {
    scan: Name,
    emitter: String,
    time_utc: Utc,
    shape: &'static str,
    verdict: &'static str,
    why: String,
    azimuth_deg: Option<f64>,
    elevation_deg: Option<f64>,
    azimuth_sigma_deg: Option<f64>,
    elevation_sigma_deg: Option<f64>,
    azimuth_as_arrived_deg: Option<f64>,
    elevation_as_arrived_deg: Option<f64>,
    width_deg: Option<f64>,
    signal_to_noise: Option<f64>,
    peak_db: Option<f64>,
    direction: Directions,
}

#[derive(Clone, Debug, Serialize)]
struct Directions {
    azimuth: Option<&'static str>,
    elevation: Option<&'static str>,
}

#[derive(Clone, Debug, Serialize)]
struct TimingRecord {
    lag_s: Option<f64>,
    lag_sigma_s: Option<f64>,
    backlash_deg: Option<f64>,
    backlash_sigma_deg: Option<f64>,
    why: Option<String>,
}

fn rounded(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}
fn degrees(angle: Option<Angle>) -> Option<f64> {
    angle.map(|a| rounded(a.degrees()))
}

impl TimingRecord {
    fn of(timing: &Timing) -> TimingRecord {
        TimingRecord {
            lag_s: timing.lag_s.map(|e| rounded(e.value)),
            lag_sigma_s: timing.lag_s.map(|e| rounded(e.sigma)),
            backlash_deg: timing.backlash_deg.map(|e| rounded(e.value)),
            backlash_sigma_deg: timing.backlash_deg.map(|e| rounded(e.sigma)),
            why: (!timing.why.is_empty()).then(|| timing.why.clone()),
        }
    }
}

impl ScanRecord {
    fn of(scan: &ReducedScan) -> ScanRecord {
        let reading = |axis| degrees(scan.axis(axis).map(|p| p.reading));
        let sigma = |axis| degrees(scan.axis(axis).map(|p| p.sigma));
        let arrived = |axis| degrees(scan.axis(axis).map(|p| p.arrived));
        ScanRecord {
            scan: Name::of(&scan.name),
            emitter: scan.emitter.clone(),
            time_utc: scan.time,
            shape: scan.shape.word(),
            verdict: scan.verdict.word(),
            why: scan.why(),
            azimuth_deg: reading(ScanAxis::Azimuth),
            elevation_deg: reading(ScanAxis::Elevation),
            azimuth_sigma_deg: sigma(ScanAxis::Azimuth),
            elevation_sigma_deg: sigma(ScanAxis::Elevation),
            azimuth_as_arrived_deg: arrived(ScanAxis::Azimuth),
            elevation_as_arrived_deg: arrived(ScanAxis::Elevation),
            width_deg: degrees(scan.width.map(|(width, _)| width)),
            signal_to_noise: scan.signal_to_noise.map(|s| (s * 100.0).round() / 100.0),
            peak_db: scan.peak_db.map(|db| (db * 1e3).round() / 1e3),
            direction: Directions {
                azimuth: scan.directions[0],
                elevation: scan.directions[1],
            },
        }
    }
}

impl Reduction {
    /// The JSON document of the verb `reduce`, with keys named after the mount's axes.
    pub fn document(&self) -> Value {
        let document = Document {
            scans: self.scans.iter().map(ScanRecord::of).collect(),
            azimuth: TimingRecord::of(&self.azimuth),
            elevation: TimingRecord::of(&self.elevation),
            noise: self.noise_law.words(),
            beam_over_station: self.beam_over_station.map(rounded),
            warnings: self.remarks.clone(),
        };
        // Serialisation cannot fail: there are no maps and no foreign types.
        keyed(
            self.mount,
            serde_json::to_value(document).unwrap_or_default(),
        )
    }
}
