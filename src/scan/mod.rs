//! From raw signal scans to peaks.
mod beam;
mod model;
mod passes;
mod place;
mod point;
mod reason;
mod start;
mod thin;

use std::fmt;

pub use passes::Shape;
pub use reason::{Reason, Verdict};

/// One of the mount's two axes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Axis {
    /// The lower one.
    Azimuth,
    /// The upper one.
    Elevation,
}

impl fmt::Display for Axis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Axis::Azimuth => "azimuth",
            Axis::Elevation => "elevation",
        })
    }
}
