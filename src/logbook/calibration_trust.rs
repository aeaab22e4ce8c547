//! How far the numbers of a calibration can be trusted, as stated in the file.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize};

/// How far the result of a solve can be trusted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Trust {
    /// The numbers are meaningless until a problem is fixed.
    None,
    /// Good for some uses; the reasons say which uses are excluded. Also assumed for files from
    /// before this entry existed.
    #[default]
    Limited,
    /// No reservations.
    Good,
}

impl Trust {
    /// Word used in files.
    pub const fn word(self) -> &'static str {
        match self {
            Trust::None => "none",
            Trust::Limited => "limited",
            Trust::Good => "good",
        }
    }
}

impl fmt::Display for Trust {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// A direction in the sky where an error was evaluated.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SkyPlace {
    /// Azimuth from true north, clockwise.
    pub azimuth_deg: f64,
    /// Elevation above the horizon.
    pub elevation_deg: f64,
}

/// Expected pointing error of the corrected mount over the sky within its reach, with directions
/// distributed uniformly in solid angle.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ExpectedPointingError {
    /// One standard deviation of the total offset on the sky, rms over the sky.
    pub rms_deg: f64,
    /// The rms over the sky that is not exceeded in 95 % of cases.
    pub rms_95_deg: f64,
    /// One standard deviation in the direction where it is largest.
    pub largest_deg: f64,
    /// Direction where it is largest.
    pub at: SkyPlace,
    /// Signal loss at the rms, decibels; null beyond one beamwidth.
    #[serde(deserialize_with = "null_or_number")]
    pub loss_db: Option<f64>,
}

/// Something that changed while the peaks were taken. The terms apply to the end of the log.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CauseRecord {
    /// Name of the fault, as in the findings of `faults`.
    pub fault: String,
    /// Axis concerned, if the name does not say it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub axis: Option<String>,
    /// The first data row after the change, counted from 1; `None` for a gradual change throughout
    /// the log.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub row: Option<usize>,
    /// Size, in `size_unit`; `None` if size has no meaning.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub size: Option<f64>,
    /// `deg`, `deg/h`, `s` ...; empty if there is no size.
    #[serde(skip_serializing_if = "String::is_empty", default)]
    pub size_unit: String,
    /// One standard deviation of the size, in its unit.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sigma: Option<f64>,
}

/// A number or null, but required: without this a missing key would be read as null.
pub(super) fn null_or_number<'de, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<Option<f64>, D::Error> {
    Option::deserialize(deserializer)
}
