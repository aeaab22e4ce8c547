//! One scan by itself: from its samples to encoder offsets with their uncertainty, and reasons to
//! doubt them.

pub(crate) mod analyse;
pub(crate) mod beam;
pub(crate) mod beam_frame;
pub(crate) mod curve;
pub(crate) mod error_changes;
mod examine;
mod find;
pub(crate) mod fitted;
mod judge;
mod model;
pub(crate) mod noise;
pub(crate) mod passes;
pub(crate) mod point;
pub(crate) mod settle;
pub(crate) mod setup;
mod start;
mod thin;
mod tuned;
