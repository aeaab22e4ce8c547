//! What a reduction gives: peaks with their uncertainty and a verdict for each scan.

use super::ScanAxis;
use super::all_scans::timing::Timing;
use super::one_scan::curve::FittedCurve;
use super::one_scan::noise::NoiseLaw;
use super::one_scan::passes::ScanShape;
use super::reason::{Reason, ScanVerdict};
use crate::angle::{Angle, Apparent, Direction};
use crate::logbook::{Approach, Axes, Peak, PeakLog, Readings};
use crate::mount::Kind;
use crate::time::Utc;

/// One axis of a peak.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AxisPeak {
    /// What the encoder reads when it stands on the emitter at mid time, freed of lag and, as
    /// far as the file's scans tell it, of backlash.
    pub reading: Angle,
    /// One standard deviation on the sky (cross-elevation or elevation).
    pub sigma: Angle,
    /// What the encoder reads when it arrives as in the scan: freed of lag only.
    pub arrived: Angle,
    /// Its standard deviation on the sky, without that of the lag.
    pub arrived_sigma: Angle,
    /// What one standard deviation of the lag moves the reading by, with its sign: the same lag was
    /// taken off all peaks of the file. None when none was taken off.
    pub by_lag: Option<Angle>,
    /// From which side; unknown when passes both ways were averaged.
    pub approach: Approach,
}

/// What one scan gave.
#[derive(Clone, Debug)]
pub struct ReducedScan {
    /// As the log calls it.
    pub name: String,
    /// As the station file calls it.
    pub emitter: String,
    /// Line of its first row.
    pub line: usize,
    /// Halfway between its first and last sample.
    pub time: Utc,
    /// Where the emitter stood then.
    pub apparent: Direction<Apparent>,
    /// Found from the readings.
    pub shape: ScanShape,
    /// Which ways its passes run, for each axis: `+`, `-`, `both` or nothing.
    pub directions: [Option<&'static str>; 2],
    /// What to think of it.
    pub verdict: ScanVerdict,
    /// Why, and what else was odd.
    pub reasons: Vec<Reason>,
    /// None when not measured or not to be trusted.
    pub azimuth: Option<AxisPeak>,
    /// As `azimuth`.
    pub elevation: Option<AxisPeak>,
    /// Half-power width of the beam as found, with its standard deviation.
    pub width: Option<(Angle, Angle)>,
    /// Height of the signal over the standard deviation of a sample.
    pub signal_to_noise: Option<f64>,
    /// Power at the peak, baseline included, in decibels of the log's unit.
    pub peak_db: Option<f64>,
    /// Samples and fit, when they were to be kept.
    pub(crate) curve: Option<FittedCurve>,
}

impl ReducedScan {
    /// The reasons in words, one after the other; empty when there is nothing to say.
    pub fn why(&self) -> String {
        let mut reasons: Vec<&Reason> = self.reasons.iter().collect();
        reasons.sort_by_key(|r| std::cmp::Reverse(r.verdict()));
        let words: Vec<String> = reasons.iter().map(|r| r.to_string()).collect();
        words.join("; ")
    }
    /// One axis of its peak.
    pub fn axis(&self, axis: ScanAxis) -> Option<&AxisPeak> {
        match axis {
            ScanAxis::Azimuth => self.azimuth.as_ref(),
            ScanAxis::Elevation => self.elevation.as_ref(),
        }
    }
}

/// What all scans of a log gave.
#[derive(Clone, Debug)]
pub struct Reduction {
    /// The kind of mount.
    pub mount: Kind,
    /// In the log's order.
    pub scans: Vec<ReducedScan>,
    /// Lag and backlash of the azimuth axis.
    pub azimuth: Timing,
    /// Lag and backlash of the elevation axis.
    pub elevation: Timing,
    /// The law of the noise that weighted the samples.
    pub noise_law: NoiseLaw,
    /// Width of the beam over the station's, when the good scans agree on it.
    pub beam_over_station: Option<f64>,
    /// What the user should know about the log as a whole.
    pub remarks: Vec<String>,
    /// What the log's readings are.
    pub readings: Readings,
}

impl Reduction {
    /// How many scans ended with a verdict.
    pub fn count(&self, verdict: ScanVerdict) -> usize {
        self.scans.iter().filter(|s| s.verdict == verdict).count()
    }

    /// The peaks as a log for the solve: readings freed of lag, with the side from which each
    /// axis arrived, since the mount model has backlash in it. Refused scans are not in it.
    pub fn peak_log(&self) -> PeakLog {
        let mut log = PeakLog {
            readings: vec![self.readings.clone()],
            axes: Axes::of_kind(self.mount),
            ..PeakLog::default()
        };
        for scan in &self.scans {
            if scan.azimuth.is_none() && scan.elevation.is_none() {
                continue;
            }
            let number =
                |peak: &Option<AxisPeak>, value: fn(&AxisPeak) -> Angle| peak.as_ref().map(value);
            let approach =
                |peak: &Option<AxisPeak>| peak.as_ref().map_or(Approach::Unknown, |p| p.approach);
            let why = scan.why();
            let mut note = format!("scan {}", scan.name);
            if scan.verdict != ScanVerdict::Good {
                note.push_str(&format!(": {}: {why}", scan.verdict.word()));
            }
            log.peaks.push(Peak {
                log: 0,
                row: log.peaks.len() + 1,
                line: log.peaks.len() + 2,
                time: scan.time,
                emitter: scan.emitter.clone(),
                azimuth: number(&scan.azimuth, |p| rounded(p.arrived)),
                elevation: number(&scan.elevation, |p| rounded(p.arrived)),
                azimuth_sigma: number(&scan.azimuth, |p| rounded_sigma(p.arrived_sigma)),
                elevation_sigma: number(&scan.elevation, |p| rounded_sigma(p.arrived_sigma)),
                by_lag: [&scan.azimuth, &scan.elevation].map(|peak| {
                    let by_lag = peak.as_ref()?.by_lag?;
                    Some(rounded(by_lag)).filter(|angle| *angle != Angle::ZERO)
                }),
                azimuth_approach: approach(&scan.azimuth),
                elevation_approach: approach(&scan.elevation),
                peak_db: scan.peak_db.map(|db| (db * 1e3).round() / 1e3),
                temperature_c: None,
                use_it: !scan.reasons.iter().any(Reason::doubts_emitter),
                note,
                feed: 0,
                extra: Vec::new(),
            });
        }
        log
    }

    /// The peaks file, with a comment for each refused scan.
    pub fn to_csv(&self) -> String {
        let mut csv = self.peak_log().to_csv();
        for scan in self
            .scans
            .iter()
            .filter(|s| s.verdict == ScanVerdict::Refused)
        {
            // A comment must stay on its line.
            let comment = format!(
                "scan {} ({}): refused: {}",
                scan.name,
                scan.emitter,
                scan.why()
            );
            csv.push_str(&format!("# {}\n", comment.replace(['\n', '\r'], " ")));
        }
        csv
    }
}

/// A millionth of a degree, far below any encoder.
fn rounded(angle: Angle) -> Angle {
    Angle::from_degrees((angle.degrees() * 1e6).round() / 1e6)
}
fn rounded_sigma(angle: Angle) -> Angle {
    Angle::from_degrees((angle.degrees() * 1e6).round().max(1.0) / 1e6)
}
