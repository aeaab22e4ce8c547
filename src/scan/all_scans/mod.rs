//! Compares all scans of a log: finds what no single scan can show.

pub(crate) mod join;
pub(crate) mod timing;
pub(crate) mod trend;
mod tuned;
