//! Why there is no direction.

use std::fmt;

use crate::problem::Error;
use crate::text::some_of;
use crate::time::Utc;

/// Why an emitter has no direction.
#[derive(Clone, Debug, PartialEq)]
pub enum EmitterError {
    /// The station file has no emitter of that name.
    UnknownEmitter {
        /// As asked for.
        name: String,
        /// The most similar name that there is.
        nearest: Option<String>,
        /// All names that there are, in file order.
        known: Vec<String>,
    },
    /// SGP4 gives no position at that time.
    NoOrbit {
        /// As the station file calls it.
        emitter: String,
        /// Asked for.
        time: Utc,
        /// In words.
        why: String,
    },
    /// Outside the years 1900 to 2100.
    OutsideEphemeris {
        /// Asked for.
        time: Utc,
    },
}

impl fmt::Display for EmitterError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            EmitterError::UnknownEmitter {
                name,
                nearest,
                known,
            } => {
                write!(f, "the station file has no emitter {name:?}")?;
                if let Some(nearest) = nearest {
                    write!(f, "; did you mean {nearest:?}?")?;
                }
                match known.as_slice() {
                    [] => write!(f, "\n  help: it has no emitter at all: add an [[emitter]]"),
                    known => write!(f, "\n  help: it has {}", some_of(known)),
                }
            }
            EmitterError::NoOrbit { emitter, time, why } => {
                write!(f, "{emitter} has no position at {time}: {why}")
            }
            EmitterError::OutsideEphemeris { time } => write!(
                f,
                "{time} is outside the years 1900 to 2100, for which the positions of Sun, Moon \
                 and stars can be computed"
            ),
        }
    }
}

impl std::error::Error for EmitterError {}

impl From<EmitterError> for Error {
    fn from(error: EmitterError) -> Error {
        match error {
            EmitterError::UnknownEmitter { .. } => Error::Usage(error.to_string()),
            EmitterError::NoOrbit { .. } | EmitterError::OutsideEphemeris { .. } => {
                Error::Because(Box::new(error))
            }
        }
    }
}
