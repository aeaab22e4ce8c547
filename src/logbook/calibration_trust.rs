//! How far the numbers of a calibration can be trusted, as the file states it.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize};

/// How far what a solve found can be trusted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Trust {
    /// The numbers mean nothing until something is put right.
    None,
    /// Good for some of what they may be used for: the reasons say for what not. Files that were
    /// written before a calibration said it are taken so.
    #[default]
    Limited,
    /// Nothing is held against them.
    Good,
}

impl Trust {
    /// The word in files.
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

/// A direction in the sky where an error was looked at.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SkyPlace {
    /// From true north, clockwise.
    pub azimuth_deg: f64,
    /// Above the horizon.
    pub elevation_deg: f64,
}

/// What pointing error is to be expected of the corrected mount over the sky that it reaches, the
/// place in it uniform over the solid angle.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ExpectedPointingError {
    /// One standard deviation of the whole offset on the sky, rms over the sky.
    pub rms_deg: f64,
    /// The rms over the sky that is kept in 95 % of cases.
    pub rms_95_deg: f64,
    /// One standard deviation where it is largest.
    pub largest_deg: f64,
    /// Where it is largest.
    pub at: SkyPlace,
    /// Loss at the rms, decibels; null beyond one beamwidth.
    #[serde(deserialize_with = "null_or_number")]
    pub loss_db: Option<f64>,
}

/// Something that changed while the peaks were taken. The terms are those of the end of the log.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CauseRecord {
    /// Name of the fault, as the findings of `faults` have it.
    pub fault: String,
    /// Which axis, where the name does not say it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub axis: Option<String>,
    /// The first data row after the change, counted from 1; none for a change all along.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub row: Option<usize>,
    /// How large, in `size_unit`; none where size has no meaning.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub size: Option<f64>,
    /// `deg`, `deg/h`, `s` ...; empty where there is no size.
    #[serde(skip_serializing_if = "String::is_empty", default)]
    pub size_unit: String,
    /// One standard deviation of the size, in its unit.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sigma: Option<f64>,
}

/// A number or null, but not nothing: without this a missing key would pass for a null.
pub(super) fn null_or_number<'de, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<Option<f64>, D::Error> {
    Option::deserialize(deserializer)
}
