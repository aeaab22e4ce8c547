//! The reasons, as text, by which a program that drives through a relay distinguishes how a move
//! ended. They are defined here once, since both sides read them.

/// Somebody or something stopped the mount.
pub const STOPPED: &str = "stopped";
/// A demand was overtaken.
pub const NEWER_DEMAND: &str = "a newer demand came";
/// The connection to the mount was lost and made again.
pub const CONNECTED_ANEW: &str = "the mount was connected anew";
/// The position of the mount is unknown.
pub const NO_POSITION: &str = "no position of the mount";
/// The mount moves and no longer reports its position.
pub const POSITIONS_MISSING: &str = "positions are missing";
/// The stop file is there.
pub const STOP_FILE: &str = "the stop file appeared";
