//! What a relay tells the person who looks after it.

use super::aim::AskedDirection;
use super::axes::Axes;
use crate::angle::Angle;

/// How loud it is said.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Loudness {
    /// Worth knowing.
    Note,
    /// The same of what shows how the whole goes, for whoever wants nothing else.
    Milestone,
    /// Must be known.
    Warning,
    /// Someone must do something now.
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

/// Something told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RelayNotice {
    /// How loud.
    pub loudness: Loudness,
    /// A sentence.
    pub text: String,
}

/// What the relay sees and does at one time: the status line.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RelayStatus {
    /// What is demanded.
    pub demand: Option<AskedDirection>,
    /// Where the beam points, as the tracker counts.
    pub beam: Option<AskedDirection>,
    /// Where the mount stands.
    pub reading: Option<Axes>,
    /// How far the beam is from the demand.
    pub miss: Option<Angle>,
    /// From the beam to the Sun, when it is up.
    pub sun: Option<Angle>,
    /// What the guard did last, or what stands in the way.
    pub guard: String,
}
