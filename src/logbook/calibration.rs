//! The calibration file: what a solve found, complete enough to rebuild the mount model.

use std::collections::BTreeMap;
use std::fmt;

use serde::de::{Error as _, MapAccess, SeqAccess, Unexpected, Visitor};
use serde::{Deserialize, Deserializer, Serialize};

use super::calibration_trust::{CauseRecord, ExpectedPointingError, Trust, null_or_number};
use crate::time::Utc;

/// The value of `format` that this version writes and reads.
pub const FORMAT: &str = "plumbeam calibration 1";

/// The checksum by which logs name a calibration: CRC-32 (IEEE 802.3, as in gzip and PNG) of its file,
/// eight hexadecimal digits.
pub fn checksum(file: &[u8]) -> String {
    format!("{:08x}", crc32fast::hash(file))
}

/// How a term came by its value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum TermState {
    /// Found by the fit.
    #[serde(rename = "fitted")]
    Fitted,
    /// Held by the user.
    #[serde(rename = "held")]
    Held,
    /// The data cannot tell it from other terms; held at zero or at its prior.
    #[serde(rename = "not separable")]
    NotSeparable,
}

/// One term: exactly one of the value keys and at most one of the sigma keys is there, by the
/// term's unit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TermRecord {
    /// Value of an angle term, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub value_deg: Option<f64>,
    /// Value of a scale term, a fraction.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub value: Option<f64>,
    /// Value of a time term, seconds.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub value_s: Option<f64>,
    /// One standard deviation, degrees; none when it cannot be said.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sigma_deg: Option<f64>,
    /// One standard deviation of a scale term.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sigma: Option<f64>,
    /// One standard deviation of a time term, seconds.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sigma_s: Option<f64>,
    /// One standard deviation of what was taken to be known of an angle term before any peak,
    /// degrees; only of a term that was fitted under it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub prior_sigma_deg: Option<f64>,
    /// The same of a scale term.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub prior_sigma: Option<f64>,
    /// The same of a time term, seconds.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub prior_sigma_s: Option<f64>,
    /// How it came by its value.
    pub state: TermState,
}

/// Correlation of two fitted terms.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Correlation {
    /// The two terms' names.
    pub terms: (String, String),
    /// -1 to 1.
    pub value: f64,
}

/// What became of one peak.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CalibrationPeak {
    /// Data row in the peaks file, counted from 1.
    pub row: usize,
    /// When.
    pub time_utc: Utc,
    /// Which emitter.
    pub emitter: String,
    /// Emitter minus modelled beam, toward increasing azimuth, on the sky; null when not measured.
    #[serde(deserialize_with = "null_or_number")]
    pub cross_elevation_residual_deg: Option<f64>,
    /// Emitter minus modelled beam, up; null when not measured.
    #[serde(deserialize_with = "null_or_number")]
    pub elevation_residual_deg: Option<f64>,
    /// Whether the fit used it.
    pub used: bool,
    /// Why not; empty when used.
    pub why: String,
}

/// The document `calibration.json`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Calibration {
    /// [`FORMAT`].
    pub format: String,
    /// When it was written.
    pub created_utc: Utc,
    /// Name of the site.
    pub station: String,
    /// By term name; every term not listed is zero.
    #[serde(deserialize_with = "each_term_once")]
    pub terms: BTreeMap<String, TermRecord>,
    /// Between every pair of fitted terms.
    #[serde(deserialize_with = "list_or_empty")]
    pub correlations: Vec<Correlation>,
    /// All peaks of the log, in file order.
    pub peaks: Vec<CalibrationPeak>,
    /// Rms of the whole offset on the sky with encoder readings taken at their word.
    pub rms_before_deg: f64,
    /// Rms of the whole offset on the sky after the fit.
    pub rms_after_deg: f64,
    /// Measured coordinates less fitted terms.
    pub degrees_of_freedom: usize,
    /// What pointing error the corrected mount is expected to have; none when it was not found
    /// out, as in files of before.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub expected_pointing_error: Option<ExpectedPointingError>,
    /// How far the numbers can be trusted.
    #[serde(default)]
    pub trust: Trust,
    /// Why no further, one sentence each.
    #[serde(default)]
    pub reasons: Vec<String>,
    /// What changed while the peaks were taken.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub causes: Vec<CauseRecord>,
    /// What the user should know.
    pub warnings: Vec<String>,
}

/// A map that refuses to hold a term twice, of which the last would silently win.
fn each_term_once<'de, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<BTreeMap<String, TermRecord>, D::Error> {
    struct Terms;
    impl<'de> Visitor<'de> for Terms {
        type Value = BTreeMap<String, TermRecord>;
        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("terms by their names")
        }
        fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
            let mut terms = BTreeMap::new();
            while let Some(name) = map.next_key::<String>()? {
                if terms.contains_key(&name) {
                    return Err(A::Error::custom(format!("the term {name} appears again")));
                }
                let record = map.next_value()?;
                terms.insert(name, record);
            }
            Ok(terms)
        }
    }
    deserializer.deserialize_map(Terms)
}

/// A list; no correlations at all may also be written as `{}` by others.
fn list_or_empty<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<Correlation>, D::Error> {
    struct Correlations;
    impl<'de> Visitor<'de> for Correlations {
        type Value = Vec<Correlation>;
        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("a list of correlations")
        }
        fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Self::Value, A::Error> {
            let mut correlations = Vec::new();
            while let Some(correlation) = list.next_element()? {
                correlations.push(correlation);
            }
            Ok(correlations)
        }
        fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
            match map.next_key::<String>()? {
                None => Ok(Vec::new()),
                Some(_) => Err(A::Error::invalid_type(Unexpected::Map, &self)),
            }
        }
    }
    deserializer.deserialize_any(Correlations)
}
