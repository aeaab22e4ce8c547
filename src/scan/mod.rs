//! From raw signal scans to peaks.
mod all_scans;
mod one_scan;
mod outcome;
mod reason;
mod record;
mod reduce;
mod summary;

use std::fmt;

pub use all_scans::timing::Timing;
pub use all_scans::trend::Estimate;
pub(crate) use one_scan::beam::Beam;
pub(crate) use one_scan::curve::{CurvePoint, FittedCurve};
pub use one_scan::noise::NoiseLaw;
pub use one_scan::passes::ScanShape;
pub use outcome::{AxisPeak, ReducedScan, Reduction};
pub use reason::{Reason, ScanVerdict};
pub use reduce::{AssumedNoise, ReduceOptions, reduce, reduce_scans};

/// One of the mount's two axes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ScanAxis {
    /// The lower one.
    Azimuth,
    /// The upper one.
    Elevation,
}

impl fmt::Display for ScanAxis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            ScanAxis::Azimuth => "azimuth",
            ScanAxis::Elevation => "elevation",
        })
    }
}
