//! The calibration file: the result of a solve, complete enough to rebuild the mount model.

use std::collections::BTreeMap;
use std::fmt;

use serde::de::{Error as _, MapAccess, SeqAccess, Unexpected, Visitor};
use serde::ser::SerializeStruct;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::calibration_trust::{CauseRecord, ExpectedPointingError, Trust, null_or_number};
use crate::angle::{Angle, Apparent, Direction};
use crate::mount::{AxisKind, FeedOffset, Geometry, Kind, LowerAxis, Pole, Term};
use crate::time::Utc;

/// Value of `format` that this version writes and reads.
pub const FORMAT: &str = "plumbeam calibration 1";

/// Checksum by which logs name a calibration: CRC-32 (IEEE 802.3, as in gzip and PNG) of its file,
/// eight hexadecimal digits.
pub fn checksum(file: &[u8]) -> String {
    format!("{:08x}", crc32fast::hash(file))
}

/// How the value of a term was obtained.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum TermState {
    /// Fitted.
    #[serde(rename = "fitted")]
    Fitted,
    /// Held fixed by the user.
    #[serde(rename = "held")]
    Held,
    /// The data cannot separate it from other terms; held at zero or at its prior.
    #[serde(rename = "not separable")]
    NotSeparable,
}

/// One term: exactly one of the value keys and at most one of the sigma keys is present, according
/// to the term's unit.
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
    /// One standard deviation, degrees; `None` if unknown.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sigma_deg: Option<f64>,
    /// One standard deviation of a scale term.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sigma: Option<f64>,
    /// One standard deviation of a time term, seconds.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sigma_s: Option<f64>,
    /// One standard deviation of the prior of an angle term, degrees; only for a term that was
    /// fitted with a prior.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub prior_sigma_deg: Option<f64>,
    /// The same of a scale term.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub prior_sigma: Option<f64>,
    /// The same of a time term, seconds.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub prior_sigma_s: Option<f64>,
    /// How its value was obtained.
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

/// The kind of mount, with the data that give the direction of its first axis.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", deny_unknown_fields)]
pub enum MountRecord {
    /// Azimuth and elevation.
    #[default]
    #[serde(rename = "az-el")]
    AzEl,
    /// Hour angle and declination.
    #[serde(rename = "polar")]
    Polar {
        /// Latitude of the site: the nominal elevation of the polar axis.
        latitude_deg: f64,
    },
    /// X and y.
    #[serde(rename = "x-y")]
    XY {
        /// `north-south` or `east-west`.
        lower_axis: LowerAxisRecord,
    },
    /// Azimuth and elevation on a deliberately tilted base.
    #[serde(rename = "slant")]
    Slant {
        /// Tilt of the azimuth axis.
        axis_tilt_deg: f64,
        /// Azimuth toward which it is tilted.
        axis_tilt_azimuth_deg: f64,
    },
}

/// Orientation of the lower axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LowerAxisRecord {
    /// Its outer end is the north end.
    NorthSouth,
    /// Its outer end is the east end.
    EastWest,
}

impl MountRecord {
    /// Record of a mount with this geometry.
    pub fn of(geometry: &Geometry) -> MountRecord {
        let at = Direction::<Apparent>::from_east_north_up(&geometry.axis_1());
        // The value in the station file, without rounding errors of the conversion.
        let whole = |a: Angle| (a.degrees() * 1e9).round() / 1e9;
        match geometry.kind() {
            Kind::AzEl => MountRecord::AzEl,
            Kind::Polar(Pole::North) => MountRecord::Polar {
                latitude_deg: whole(at.elevation()),
            },
            Kind::Polar(Pole::South) => MountRecord::Polar {
                latitude_deg: -whole(at.elevation()),
            },
            Kind::XY(LowerAxis::NorthSouth) => MountRecord::XY {
                lower_axis: LowerAxisRecord::NorthSouth,
            },
            Kind::XY(LowerAxis::EastWest) => MountRecord::XY {
                lower_axis: LowerAxisRecord::EastWest,
            },
            Kind::Slant => MountRecord::Slant {
                axis_tilt_deg: whole(Angle::RIGHT - at.elevation()),
                axis_tilt_azimuth_deg: whole(at.azimuth()),
            },
        }
    }

    fn is_az_el(&self) -> bool {
        *self == MountRecord::AzEl
    }

    /// Geometry of the mount.
    pub fn geometry(&self) -> Geometry {
        match self {
            MountRecord::AzEl => Geometry::AZ_EL,
            MountRecord::Polar { latitude_deg } => {
                Geometry::polar(Angle::from_degrees(*latitude_deg))
            }
            MountRecord::XY { lower_axis } => Geometry::x_y(match lower_axis {
                LowerAxisRecord::NorthSouth => LowerAxis::NorthSouth,
                LowerAxisRecord::EastWest => LowerAxis::EastWest,
            }),
            MountRecord::Slant {
                axis_tilt_deg,
                axis_tilt_azimuth_deg,
            } => Geometry::slant(
                Angle::from_degrees(*axis_tilt_deg),
                Angle::from_degrees(*axis_tilt_azimuth_deg),
            ),
        }
    }
}

/// The result for one peak. The keys of the residuals depend on the mount's axes: for example
/// `cross_declination_residual_deg` and `declination_residual_deg`.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CalibrationPeak {
    /// Data row in the peaks file, counted from 1.
    pub row: usize,
    /// Time of the peak.
    pub time_utc: Utc,
    /// Name of the emitter.
    pub emitter: String,
    /// Emitter minus modelled beam, toward increasing reading of the first axis, on the sky; null
    /// when not measured.
    #[serde(
        alias = "cross_declination_residual_deg",
        alias = "cross_y_residual_deg",
        deserialize_with = "null_or_number"
    )]
    pub cross_elevation_residual_deg: Option<f64>,
    /// Emitter minus modelled beam, toward increasing reading of the second axis; null when not
    /// measured.
    #[serde(
        alias = "declination_residual_deg",
        alias = "y_residual_deg",
        deserialize_with = "null_or_number"
    )]
    pub elevation_residual_deg: Option<f64>,
    /// Whether the fit used this peak.
    pub used: bool,
    /// Why it was not used; empty if it was.
    pub why: String,
    /// Kind of the second axis, which determines the names of the residuals.
    #[serde(skip, default = "elevation")]
    pub axis_2: AxisKind,
}

fn elevation() -> AxisKind {
    AxisKind::Elevation
}

/// Keys of the residuals across and along the second axis, by its kind.
pub fn residual_keys(axis_2: AxisKind) -> [&'static str; 2] {
    match axis_2 {
        AxisKind::Declination => ["cross_declination_residual_deg", "declination_residual_deg"],
        AxisKind::Y => ["cross_y_residual_deg", "y_residual_deg"],
        _ => ["cross_elevation_residual_deg", "elevation_residual_deg"],
    }
}

impl Serialize for CalibrationPeak {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let [cross, along] = residual_keys(self.axis_2);
        let mut peak = serializer.serialize_struct("CalibrationPeak", 7)?;
        peak.serialize_field("row", &self.row)?;
        peak.serialize_field("time_utc", &self.time_utc)?;
        peak.serialize_field("emitter", &self.emitter)?;
        peak.serialize_field(cross, &self.cross_elevation_residual_deg)?;
        peak.serialize_field(along, &self.elevation_residual_deg)?;
        peak.serialize_field("used", &self.used)?;
        peak.serialize_field("why", &self.why)?;
        peak.end()
    }
}

/// The calibration that a joined one continues.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct JoinedFrom {
    /// When that calibration was made.
    pub created_utc: Utc,
    /// Names of the terms that the new peaks alone determine, because moving the mount may have
    /// changed them; all other terms are determined by old and new peaks together.
    pub set_free: Vec<String>,
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
    /// Kind and geometry of the mount; an az-el mount if missing.
    #[serde(skip_serializing_if = "MountRecord::is_az_el", default)]
    pub mount: MountRecord,
    /// Terms by name; every term not listed is zero.
    #[serde(deserialize_with = "each_term_once")]
    pub terms: BTreeMap<String, TermRecord>,
    /// Correlation of every pair of fitted terms.
    #[serde(deserialize_with = "list_or_empty")]
    pub correlations: Vec<Correlation>,
    /// All peaks of the log, in file order.
    pub peaks: Vec<CalibrationPeak>,
    /// Rms of the total offset on the sky using the raw encoder readings.
    pub rms_before_deg: f64,
    /// Rms of the total offset on the sky after the fit.
    pub rms_after_deg: f64,
    /// Number of measured coordinates minus number of fitted terms.
    pub degrees_of_freedom: usize,
    /// Expected pointing error of the corrected mount; `None` if it was not computed, as in older
    /// files.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub expected_pointing_error: Option<ExpectedPointingError>,
    /// How far the numbers can be trusted.
    #[serde(default)]
    pub trust: Trust,
    /// Why they cannot be trusted further, one sentence each.
    #[serde(default)]
    pub reasons: Vec<String>,
    /// What changed while the peaks were taken.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub causes: Vec<CauseRecord>,
    /// The calibration it was joined from; `None` if it comes from a solve alone.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub joined_from: Option<JoinedFrom>,
    /// Warnings to the user.
    pub warnings: Vec<String>,
}

impl Calibration {
    /// Kind of the calibrated mount.
    pub fn kind(&self) -> Kind {
        self.mount.geometry().kind()
    }
    /// Beam offset of a further feed from the first feed, if it is listed.
    pub fn feed(&self, name: &str) -> Option<FeedOffset> {
        let part = |want: usize| {
            (self.terms.iter()).find_map(|(term, record)| {
                let (feed, part) = FeedOffset::part_of(term)?;
                let own = part == want && feed.eq_ignore_ascii_case(name);
                own.then(|| record.value_deg.map(Angle::from_degrees))?
            })
        };
        Some(FeedOffset {
            right: part(0)?,
            up: part(1)?,
        })
    }
    /// Record of a term, if it is listed.
    pub fn term(&self, term: Term) -> Option<&TermRecord> {
        self.terms.get(self.kind().term_name(term))
    }
}

/// Deserializes a map and rejects duplicate terms, of which the last would otherwise silently win.
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

/// A list; other programs may write `{}` for no correlations.
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
