//! What a user should know about a position, in plain words.

use std::fmt;

use super::timescale::LeapSeconds;
use crate::time::Utc;

/// Something about a position that a user should know.
#[derive(Clone, Debug, PartialEq)]
pub enum Notice {
    /// The orbit elements' epoch is more than [`OLD_ORBIT_DAYS`] days from the time.
    OldOrbit {
        /// As the station file calls it.
        emitter: String,
        /// Time less epoch, days: negative when the elements are younger than the time.
        days: f64,
    },
    /// The emitter is below the horizontal at the time.
    BelowHorizon {
        /// As the station file calls it.
        emitter: String,
        /// Of the log or the table.
        time: Utc,
        /// Apparent, degrees.
        elevation_deg: f64,
    },
    /// The emitter is above the horizontal, but below the station's horizon mask.
    BelowMask {
        /// As the station file calls it.
        emitter: String,
        /// Of the log or the table.
        time: Utc,
        /// Apparent, degrees.
        elevation_deg: f64,
        /// Lowest usable elevation at that azimuth, degrees.
        lowest_deg: f64,
    },
    /// The leap-second table says nothing about the time.
    OutsideLeapSecondTable {
        /// Of the log or the table.
        time: Utc,
        /// On which side of the table it lies.
        knowledge: LeapSeconds,
        /// What was taken for TAI minus UTC, seconds.
        assumed_s: f64,
    },
    /// The receiver's frequency is so low that the ionosphere, which is not in the refraction, matters.
    IonosphereLeftOut {
        /// Of the receiver.
        frequency_mhz: f64,
    },
}

/// Beyond this age of its elements an orbit is called old. Positions of a low satellite drift by
/// kilometres a day (common practice, no source).
pub const OLD_ORBIT_DAYS: f64 = 14.0;

/// Below this frequency the ionosphere's bend is mentioned.
pub const IONOSPHERE_BELOW_MHZ: f64 = 1000.0;
/// That bend at an elevation of 10 degrees by day, 69 arcsec; it falls with the square of the
/// frequency (size by a common daytime electron content, no source).
const IONOSPHERE_DEG_AT_400_MHZ: f64 = 69.0 / 3600.0;

impl Notice {
    /// What it is about, without times and numbers: a fixed word and the emitter (empty where none
    /// is meant). Of the notices on one topic a log of many peaks needs to show only the first.
    pub fn topic(&self) -> (&'static str, &str) {
        match self {
            Notice::OldOrbit { emitter, .. } => ("old orbit", emitter),
            Notice::BelowHorizon { emitter, .. } => ("below the horizon", emitter),
            Notice::BelowMask { emitter, .. } => ("below the mask", emitter),
            Notice::OutsideLeapSecondTable { .. } => ("leap seconds", ""),
            Notice::IonosphereLeftOut { .. } => ("ionosphere", ""),
        }
    }
}

impl fmt::Display for Notice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Notice::OldOrbit { emitter, days } => write!(
                f,
                "{emitter}: its orbit elements are {:.1} days {} than the time asked for (more than \
                 {OLD_ORBIT_DAYS:.0}); a low satellite may be degrees away by now: fetch elements \
                 of about that date",
                days.abs(),
                if *days > 0.0 { "older" } else { "younger" },
            ),
            Notice::BelowHorizon {
                emitter,
                time,
                elevation_deg,
            } => write!(
                f,
                "{emitter}: below the horizon at {time} (elevation {elevation_deg:.2} deg): check \
                 the clock, the time zone, the site and the emitter's name"
            ),
            Notice::BelowMask {
                emitter,
                time,
                elevation_deg,
                lowest_deg,
            } => write!(
                f,
                "{emitter}: at {time} its elevation of {elevation_deg:.2} deg is below the \
                 station's horizon mask ({lowest_deg:.2} deg there)"
            ),
            Notice::OutsideLeapSecondTable {
                time,
                knowledge,
                assumed_s,
            } => {
                let why = match knowledge {
                    LeapSeconds::BeforeTable => {
                        "before 1972, when UTC was not yet kept by leap seconds"
                    }
                    LeapSeconds::AfterTable => {
                        "later than this version's leap-second table can be trusted"
                    }
                    LeapSeconds::Known => "inside the leap-second table",
                };
                write!(
                    f,
                    "{time} is {why}: TAI-UTC was taken as {assumed_s:.3} s; each second that it is \
                     off moves the Moon by 0.5 arcsec and the Sun by 0.04"
                )
            }
            Notice::IonosphereLeftOut { frequency_mhz } => write!(
                f,
                "at {frequency_mhz} MHz the ionosphere, which is not in the refraction, raises an emitter \
                 at elevation 10 deg by some {:.2} deg by day: prefer high ones",
                IONOSPHERE_DEG_AT_400_MHZ * (400.0 / frequency_mhz).powi(2)
            ),
        }
    }
}
