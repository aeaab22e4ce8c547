//! From raw signal scans to peaks.
mod analyse;
mod beam;
mod curve;
mod examine;
mod field;
mod find;
mod fitted;
mod judge;
mod model;
mod night;
mod noise;
mod outcome;
mod passes;
mod place;
mod point;
mod reason;
mod record;
mod reduce;
mod settle;
mod setup;
mod start;
mod summary;
mod thin;
mod timing;
mod trend;

use std::fmt;

pub(crate) use beam::Beam;
pub(crate) use curve::{Curve, CurvePoint};
pub use noise::NoiseLaw;
pub use outcome::{AxisPeak, ReducedScan, Reduction};
pub use passes::ScanShape;
pub use reason::{Reason, ScanVerdict};
pub use reduce::{AssumedNoise, ReduceOptions, reduce, reduce_scans};
pub use timing::Timing;
pub use trend::Estimate;

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
