//! The reasons, in words, by which whoever drives through a relay tells one end from another. They stand
//! here once, since both sides read them.

/// Somebody or something stopped the mount.
pub const STOPPED: &str = "stopped";
/// A demand was overtaken.
pub const NEWER_DEMAND: &str = "a newer demand came";
/// The connection to the mount broke and stands again.
pub const CONNECTED_ANEW: &str = "the mount was connected anew";
/// Nobody knows where the mount stands.
pub const NO_POSITION: &str = "no position of the mount";
/// The mount moves and no longer tells where it is.
pub const POSITIONS_MISSING: &str = "positions are missing";
/// The stop file is there.
pub const STOP_FILE: &str = "the stop file appeared";
