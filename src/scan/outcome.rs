//! Results of a reduction: peaks with their uncertainty, and a verdict for each scan.

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
    /// The encoder's reading when pointing at the emitter at mid time, corrected for lag and, as
    /// far as the file's scans determine it, for backlash.
    pub reading: Angle,
    /// One standard deviation on the sky (cross-elevation or elevation).
    pub sigma: Angle,
    /// The encoder's reading when it approaches as in the scan: corrected for lag only.
    pub arrived: Angle,
    /// Its standard deviation on the sky, without that of the lag.
    pub arrived_sigma: Angle,
    /// Change of the reading for one standard deviation of the lag, with its sign: the same lag was
    /// subtracted from all peaks of the file. `None` if none was subtracted.
    pub by_lag: Option<Angle>,
    /// Side of approach; unknown if passes in both directions were averaged.
    pub approach: Approach,
}

/// The result of one scan.
#[derive(Clone, Debug)]
pub struct ReducedScan {
    /// Its name in the log.
    pub name: String,
    /// The emitter's name in the station file.
    pub emitter: String,
    /// Line of its first row.
    pub line: usize,
    /// Halfway between its first and last sample.
    pub time: Utc,
    /// The emitter's direction at that time.
    pub apparent: Direction<Apparent>,
    /// Shape of the track, found from the readings.
    pub shape: ScanShape,
    /// Directions of its passes along each axis: `+`, `-`, `both` or `None`.
    pub directions: [Option<&'static str>; 2],
    /// The verdict.
    pub verdict: ScanVerdict,
    /// Reasons for the verdict, and anything else unusual.
    pub reasons: Vec<Reason>,
    /// `None` if not measured or not trustworthy.
    pub azimuth: Option<AxisPeak>,
    /// As `azimuth`.
    pub elevation: Option<AxisPeak>,
    /// Measured half-power width of the beam, with its standard deviation.
    pub width: Option<(Angle, Angle)>,
    /// Height of the signal over the standard deviation of a sample.
    pub signal_to_noise: Option<f64>,
    /// Power at the peak, baseline included, in decibels of the log's unit.
    pub peak_db: Option<f64>,
    /// Samples and fit, if they were kept.
    pub(crate) curve: Option<FittedCurve>,
}

impl ReducedScan {
    /// The reasons in words, one after the other; empty if there are none.
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

/// The result of all scans of a log.
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
    /// The noise law by which the samples were weighted.
    pub noise_law: NoiseLaw,
    /// Ratio of the beamwidth to the station's; `None` if the good scans do not agree on it.
    pub beam_over_station: Option<f64>,
    /// What the user should know about the log as a whole.
    pub remarks: Vec<String>,
    /// What the log's readings mean (encoder or other).
    pub readings: Readings,
}

impl Reduction {
    /// Number of scans with a verdict.
    pub fn count(&self, verdict: ScanVerdict) -> usize {
        self.scans.iter().filter(|s| s.verdict == verdict).count()
    }

    /// The peaks as a log for the solve: readings corrected for lag, with the side from which each
    /// axis approached, since the mount model includes backlash. Refused scans are left out.
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
            // A comment must not break over lines.
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

/// Rounds to a millionth of a degree, far below any encoder's resolution.
fn rounded(angle: Angle) -> Angle {
    Angle::from_degrees((angle.degrees() * 1e6).round() / 1e6)
}
fn rounded_sigma(angle: Angle) -> Angle {
    Angle::from_degrees((angle.degrees() * 1e6).round().max(1.0) / 1e6)
}
