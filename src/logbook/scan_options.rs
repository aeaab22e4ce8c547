//! Options for a log of scans.

use super::angles::Angles;
use super::log_options::LogOptions;
use super::sweeps::Band;

/// Options for a log of scans in addition to those for any log.
#[derive(Clone, Debug, Default)]
pub struct ScanOptions {
    /// Options for any log.
    pub log: LogOptions,
    /// Positions of the mount, for logs without them.
    pub angles: Option<Angles>,
    /// Band over which the powers of a sweep are summed; the whole sweep if `None`.
    pub band: Option<Band>,
    /// In a log without a scan column, a new scan begins after a pause of this many seconds.
    pub pause_s: Option<f64>,
}
