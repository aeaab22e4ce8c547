//! All scans of a log together: what each alone cannot tell.

pub(crate) mod join;
pub(crate) mod timing;
pub(crate) mod trend;
mod tuned;
