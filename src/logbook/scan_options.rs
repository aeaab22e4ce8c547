//! What a user says of a log of scans.

use super::angles::Angles;
use super::log_options::LogOptions;
use super::sweeps::Band;

/// Remarks on a log of scans in addition to those on any log.
#[derive(Clone, Debug, Default)]
pub struct ScanOptions {
    /// Said of any log.
    pub log: LogOptions,
    /// Where the mount stood, for logs that do not say.
    pub angles: Option<Angles>,
    /// The band over which the powers of a sweep are summed; all of it when none is given.
    pub band: Option<Band>,
    /// Without a column of scans, a new scan begins after a pause of this many seconds.
    pub pause_s: Option<f64>,
}
