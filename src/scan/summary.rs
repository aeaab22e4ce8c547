//! Summary of a reduction in a few lines.

use std::collections::HashMap;

use super::all_scans::timing::Timing;
use super::one_scan::noise::NoiseLaw;
use super::outcome::{ReducedScan, Reduction};
use super::reason::{Reason, ScanVerdict};

/// The first five scans with the same remark are named, the rest counted, so that a summary fits a
/// screen.
const MOST_ALIKE: usize = 5;

impl Reduction {
    /// Whether any scan gave a peak.
    pub fn has_peaks(&self) -> bool {
        self.scans
            .iter()
            .any(|s| s.azimuth.is_some() || s.elevation.is_some())
    }

    /// Summary for the user: counts, each scan that is not good or has a fault in its log, lag and
    /// backlash.
    pub fn summary(&self) -> Vec<String> {
        let mut lines = vec![format!(
            "{} {}: {} good, {} poor, {} refused",
            self.scans.len(),
            if self.scans.len() == 1 {
                "scan"
            } else {
                "scans"
            },
            self.count(ScanVerdict::Good),
            self.count(ScanVerdict::Poor),
            self.count(ScanVerdict::Refused)
        )];
        let worth_a_line = |s: &&ReducedScan| {
            s.verdict != ScanVerdict::Good || s.reasons.iter().any(Reason::is_of_the_log)
        };
        let mut times_said: HashMap<String, usize> = HashMap::new();
        let mut more: Vec<String> = Vec::new();
        for scan in self.scans.iter().filter(worth_a_line) {
            let said = format!("{}: {}", scan.verdict.word(), scan.why());
            let times = times_said.entry(said.clone()).or_default();
            *times += 1;
            if *times <= MOST_ALIKE {
                lines.push(format!("scan {} ({}): {said}", scan.name, scan.emitter));
            } else if *times == MOST_ALIKE + 1 {
                more.push(said);
            }
        }
        for said in more {
            let scans = times_said[&said] - MOST_ALIKE;
            lines.push(format!("and {scans} more like it: {said}"));
        }
        for (axis, timing) in [&self.azimuth, &self.elevation]
            .into_iter()
            .zip(self.mount.axes())
            .map(|(t, a)| (a.words(), t))
        {
            lines.extend(told(axis, timing));
        }
        lines.push(match self.noise_law {
            NoiseLaw::Steady => {
                "noise: the same at any power, so all samples have equal weight".to_owned()
            }
            NoiseLaw::Radiometer => {
                "noise: in proportion to the power, so samples on the peak have less weight"
                    .to_owned()
            }
        });
        lines
    }
}

fn told(axis: &str, timing: &Timing) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(lag) = timing.lag_s {
        lines.push(format!(
            "{axis}: the power is logged {:.3} +/- {:.3} s after its position (lag, corrected)",
            lag.value, lag.sigma
        ));
    }
    if let Some(backlash) = timing.backlash_deg {
        lines.push(format!(
            "{axis}: backlash {:.4} +/- {:.4} deg (handed on by the approach column)",
            backlash.value, backlash.sigma
        ));
    }
    if !timing.why.is_empty() {
        lines.push(format!("{axis}: {}", timing.why));
    }
    lines
}
