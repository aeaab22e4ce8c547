//! Why a demand or a reading has no answer.

use std::fmt;

use crate::angle::EncoderReading;
use crate::mount::{AxisKind, Keyhole, Kind};

use super::correction_table::{OffTable, short};
use super::full::EncoderRange;

/// Why there is no answer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Refusal {
    /// The numbers are no direction.
    NoDirection,
    /// No reading puts the beam there.
    Keyhole(Keyhole),
    /// Outside of the table.
    OffTable(OffTable, Kind),
    /// The reading that would be needed, and what the encoders can read.
    OutOfRange(EncoderReading, EncoderRange, Kind),
    /// The table cannot be read backward there.
    NoInverse,
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Refusal::NoDirection => f.write_str(
                "not a direction: the elevation must lie within -90 to 90 deg (an encoder's within \
                 -360 to 360) and the azimuth be a sensible number of degrees",
            ),
            Refusal::Keyhole(keyhole) => keyhole.fmt(f),
            Refusal::OffTable(off, mount) => f.write_str(&off.words_on(*mount)),
            Refusal::OutOfRange(reading, range, mount) => {
                let [one, two] = mount.axes().map(AxisKind::words);
                write!(f, "out of reach: it needs ")?;
                let mut first = true;
                for (axis, value, (low, high)) in [
                    (one, reading.azimuth, range.azimuth),
                    (two, reading.elevation, range.elevation),
                ] {
                    if value < low || value > high {
                        let and = if first { "" } else { " and " };
                        write!(
                            f,
                            "{and}{} {axis} reading of {:.4} deg, and the encoder's range is {} \
                             to {}",
                            if axis.starts_with(['a', 'e', 'X']) {
                                "an"
                            } else {
                                "a"
                            },
                            value.degrees(),
                            short(low),
                            short(high)
                        )?;
                        first = false;
                    }
                }
                if first {
                    write!(f, "a reading beyond the encoders' range")?;
                }
                Ok(())
            }
            Refusal::NoInverse => {
                f.write_str("the table cannot be read backward there; use the full model")
            }
        }
    }
}

impl std::error::Error for Refusal {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Refusal::Keyhole(keyhole) => Some(keyhole),
            Refusal::OffTable(off, _) => Some(off),
            Refusal::NoDirection | Refusal::OutOfRange(..) | Refusal::NoInverse => None,
        }
    }
}
