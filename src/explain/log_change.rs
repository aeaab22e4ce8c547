//! Changes of an encoder zero, and between which peaks and logs they occurred.

use std::collections::HashMap;

use crate::mount::Term;

use super::fault::FaultAxis;
use super::options::TermChoice;
use super::peak::SessionPeak;

/// Some of the logs, by their places among the logs that were read together.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LogSet(u64);

/// A set of logs is one machine word, a bit for each log.
pub const MOST_LOGS: usize = u64::BITS as usize;

impl LogSet {
    /// The same with one more log.
    pub fn with(self, log: usize) -> LogSet {
        match log < MOST_LOGS {
            true => LogSet(self.0 | 1 << log),
            false => self,
        }
    }
    /// Whether a log is in the set.
    pub fn holds(self, log: usize) -> bool {
        log < MOST_LOGS && self.0 >> log & 1 == 1
    }
}

/// Time of a sudden change: between two peaks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LogInstant {
    /// Hours after the first peak, halfway between the two.
    pub hours: f64,
    /// Rows of the last peak before and the first after it.
    pub between: (usize, usize),
}

/// A change of an axis zero from one log to the next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ZeroChange {
    /// The axis.
    pub axis: FaultAxis,
    /// The log before and the one after.
    pub logs: (usize, usize),
    /// All logs up to the change.
    pub before: LogSet,
    /// The peaks between which it lies.
    pub instant: LogInstant,
}

/// The logs that have peaks, in the order in which they begin.
pub fn logs_in_order(peaks: &[SessionPeak]) -> Vec<usize> {
    order_of(peaks.iter())
}

/// The logs of some peaks, in the order in which they begin.
pub fn order_of<'a>(peaks: impl Iterator<Item = &'a SessionPeak>) -> Vec<usize> {
    let mut begins: HashMap<usize, f64> = HashMap::new();
    for peak in peaks {
        let first = begins.entry(peak.log).or_insert(peak.hours);
        *first = first.min(peak.hours);
    }
    let mut order: Vec<(f64, usize)> = begins.into_iter().map(|(log, h)| (h, log)).collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    order.into_iter().map(|(_, log)| log).collect()
}

/// Whether an axis was measured at a peak.
pub fn measured(peak: &SessionPeak, axis: FaultAxis) -> bool {
    match axis {
        FaultAxis::Azimuth => peak.sighting.azimuth.is_some(),
        _ => peak.sighting.elevation.is_some(),
    }
}

/// The zero of an axis.
pub fn zero_of(axis: FaultAxis) -> Term {
    match axis {
        FaultAxis::Azimuth => Term::AzimuthZero,
        _ => Term::ElevationZero,
    }
}

/// The changes of an axis zero that these peaks may show: one from each log to the next in which
/// the axis was measured.
fn changes_of(peaks: &[SessionPeak], axis: FaultAxis) -> Vec<ZeroChange> {
    let of_log = |log: usize| {
        (peaks.iter()).filter(move |p: &&SessionPeak| p.log == log && measured(p, axis))
    };
    let order = order_of(peaks.iter().filter(|p| measured(p, axis)));
    let mut before = LogSet::default();
    (order.windows(2))
        .filter_map(|pair| {
            before = before.with(pair[0]);
            let last = of_log(pair[0]).max_by(|a, b| a.hours.total_cmp(&b.hours))?;
            let first = of_log(pair[1]).min_by(|a, b| a.hours.total_cmp(&b.hours))?;
            Some(ZeroChange {
                axis,
                logs: (pair[0], pair[1]),
                before,
                instant: LogInstant {
                    hours: 0.5 * (last.hours + first.hours),
                    between: (last.row, first.row),
                },
            })
        })
        .collect()
}

/// Every change of a zero that is free to be fitted.
pub fn zero_changes(
    peaks: &[SessionPeak],
    choice: &TermChoice,
    held_terms: &[Term],
) -> Vec<ZeroChange> {
    if peaks.iter().any(|p| p.log >= MOST_LOGS) {
        return Vec::new();
    }
    let free = |term: Term| match choice {
        TermChoice::ByTheData => !held_terms.contains(&term),
        TermChoice::Listed(listed) => listed.contains(&term) && !held_terms.contains(&term),
    };
    [FaultAxis::Azimuth, FaultAxis::Elevation]
        .into_iter()
        .filter(|axis| free(zero_of(*axis)))
        .flat_map(|axis| changes_of(peaks, axis))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_set_contains_the_logs_added_to_it() {
        let set = LogSet::default().with(0).with(63);
        assert!(set.holds(0) && set.holds(63));
        assert!(!set.holds(1) && !set.holds(64));
        assert_eq!(set.with(64), set);
    }
}
