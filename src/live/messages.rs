//! What a relay reports to its operator.

use super::aim::AskedDirection;
use super::axes::Axes;
use crate::angle::Angle;

/// Severity of a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Loudness {
    /// Worth knowing.
    Note,
    /// A note that shows the overall progress, for those who want only that.
    Milestone,
    /// Must be known.
    Warning,
    /// Needs action now.
    Alarm,
}

impl Loudness {
    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Loudness::Note | Loudness::Milestone => "note",
            Loudness::Warning => "warning",
            Loudness::Alarm => "alarm",
        }
    }
}

/// A message.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RelayNotice {
    /// Its severity.
    pub loudness: Loudness,
    /// A sentence.
    pub text: String,
}

/// What the relay sees and does at one time: the status line.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RelayStatus {
    /// What is demanded.
    pub demand: Option<AskedDirection>,
    /// Where the beam points, in the tracker's coordinates.
    pub beam: Option<AskedDirection>,
    /// Readings of the mount.
    pub reading: Option<Axes>,
    /// Angle between beam and demand.
    pub miss: Option<Angle>,
    /// Angle from the beam to the Sun; `None` unless it is up.
    pub sun: Option<Angle>,
    /// What the guard did last, or what prevents motion.
    pub guard: String,
}
