//! One scan: the raw signal that was logged while the dish moved over an emitter.

use crate::angle::Angle;
use crate::time::Utc;

/// What the power column of a scans file holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PowerUnit {
    /// `power_db`: decibels with an arbitrary zero.
    Decibels,
    /// `power_linear`: proportional to power.
    Linear,
    /// `counts`: output of a detector that is proportional to power.
    Counts,
}

/// Converts decibels to linear power: 10^(dB/10).
pub(super) fn from_decibels(db: f64) -> f64 {
    (db * (std::f64::consts::LN_10 / 10.0)).exp()
}

impl PowerUnit {
    /// Converts a power in this unit to that of [`Sample::power`].
    pub fn proportional(self, value: f64) -> f64 {
        match self {
            PowerUnit::Decibels => from_decibels(value),
            PowerUnit::Linear | PowerUnit::Counts => value,
        }
    }

    /// Column of a scans file with this unit.
    pub const fn column(self) -> &'static str {
        match self {
            PowerUnit::Decibels => "power_db",
            PowerUnit::Linear => "power_linear",
            PowerUnit::Counts => "counts",
        }
    }
}

/// One row of a scans file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// Time of the sample.
    pub time: Utc,
    /// Azimuth encoder reading.
    pub azimuth: Angle,
    /// Elevation encoder reading.
    pub elevation: Angle,
    /// Linear power in arbitrary units, whatever the unit of the log.
    pub power: f64,
}

/// The rows of one scan, in the file's order.
#[derive(Clone, Debug, PartialEq)]
pub struct Scan {
    /// Name in the log.
    pub name: String,
    /// Emitter, as named in the station file.
    pub emitter: String,
    /// Line of its first row, counted from 1.
    pub line: usize,
    /// At most [`MOST_SAMPLES`].
    pub samples: Vec<Sample>,
    /// Number of rows averaged into each sample: more than one if the scan is longer than
    /// [`MOST_SAMPLES`].
    pub rows_per_sample: usize,
    /// Remarks on anything odd in its rows.
    pub remarks: Vec<String>,
}

/// Maximum number of samples in a scan. Longer scans are decimated while being read, by averaging
/// pairs of neighbours each time the number is reached, so that memory stays constant.
pub const MOST_SAMPLES: usize = 1 << 13;

impl Scan {
    /// Starts an empty scan.
    pub fn new(name: &str, emitter: &str, line: usize) -> Scan {
        Scan {
            name: name.to_owned(),
            emitter: emitter.to_owned(),
            line,
            samples: Vec::new(),
            rows_per_sample: 1,
            remarks: Vec::new(),
        }
    }
}

/// Builds a [`Scan`] row by row.
#[derive(Clone, Debug)]
pub struct ScanBuilder {
    scan: Scan,
    /// Rows not yet averaged into a sample.
    waiting: Vec<Sample>,
}

impl ScanBuilder {
    /// Starts an empty scan.
    pub fn new(name: &str, emitter: &str, line: usize) -> ScanBuilder {
        ScanBuilder {
            scan: Scan::new(name, emitter, line),
            waiting: Vec::new(),
        }
    }
    /// The scan's name.
    pub fn name(&self) -> &str {
        &self.scan.name
    }
    /// The scan's emitter.
    pub fn emitter(&self) -> &str {
        &self.scan.emitter
    }
    /// Adds a row.
    pub fn push(&mut self, sample: Sample) {
        if self.scan.rows_per_sample == 1 {
            self.scan.samples.push(sample);
        } else {
            self.waiting.push(sample);
            if self.waiting.len() < self.scan.rows_per_sample {
                return;
            }
            self.scan.samples.push(average(&self.waiting));
            self.waiting.clear();
        }
        if self.scan.samples.len() == MOST_SAMPLES {
            let halves = self.scan.samples.chunks(2).map(average).collect();
            self.scan.samples = halves;
            self.scan.rows_per_sample *= 2;
        }
    }
    /// Returns the finished scan.
    pub fn finish(mut self) -> Scan {
        if !self.waiting.is_empty() {
            self.scan.samples.push(average(&self.waiting));
        }
        self.scan
    }
}

/// Mean of a few neighbouring samples; azimuths are unwrapped to the turn of the first.
fn average(samples: &[Sample]) -> Sample {
    let n = samples.len() as f64;
    let first = samples[0];
    let mean = |value: &dyn Fn(&Sample) -> f64| samples.iter().map(value).sum::<f64>() / n;
    let azimuth = |s: &Sample| (s.azimuth - first.azimuth).wrapped_signed().radians();
    Sample {
        time: first
            .time
            .plus_seconds(mean(&|s| s.time.seconds_since(first.time))),
        azimuth: first.azimuth + Angle::from_radians(mean(&azimuth)),
        elevation: Angle::from_radians(mean(&|s| s.elevation.radians())),
        power: mean(&|s| s.power),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_scan_is_decimated_evenly_and_loses_no_row() {
        let rows = 5 * MOST_SAMPLES + 3;
        let start = Utc::parse("2026-01-01T00:00:00Z").unwrap();
        let mut builder = ScanBuilder::new("1", "sun", 2);
        for i in 0..rows {
            builder.push(Sample {
                time: start.plus_seconds(i as f64),
                // Crosses the wrap of an encoder that shows 0 to 360.
                azimuth: Angle::from_degrees(350.0 + i as f64 * 1e-4).wrapped_positive(),
                elevation: Angle::from_degrees(30.0),
                power: i as f64,
            });
        }
        let scan = builder.finish();
        assert!(scan.samples.len() <= MOST_SAMPLES);
        assert_eq!(scan.rows_per_sample, 8);
        for (i, sample) in scan.samples.iter().take(rows / 8).enumerate() {
            assert_eq!(sample.power, 8.0 * i as f64 + 3.5);
            assert_eq!(sample.time, start.plus_seconds(sample.power));
            let azimuth = Angle::from_degrees(350.0 + sample.power * 1e-4);
            assert!((sample.azimuth - azimuth).wrapped_signed().abs().degrees() < 1e-9);
        }
    }
}
