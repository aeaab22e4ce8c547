//! One peak: where the encoders stood when an emitter's signal was strongest.

use crate::angle::Angle;
use crate::time::Utc;

/// From which side an axis arrived.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Approach {
    /// With increasing reading.
    Increasing,
    /// With decreasing reading.
    Decreasing,
    /// Not logged.
    #[default]
    Unknown,
}

impl Approach {
    /// +1 when arriving with increasing reading, -1 with decreasing, 0 when not logged.
    pub fn sign(self) -> f64 {
        match self {
            Approach::Increasing => 1.0,
            Approach::Decreasing => -1.0,
            Approach::Unknown => 0.0,
        }
    }
    /// The same arrival for an encoder that counts the other way.
    pub fn reversed(self) -> Approach {
        match self {
            Approach::Increasing => Approach::Decreasing,
            Approach::Decreasing => Approach::Increasing,
            Approach::Unknown => Approach::Unknown,
        }
    }
    /// As written in a log; empty when not logged.
    pub fn symbol(self) -> &'static str {
        match self {
            Approach::Increasing => "+",
            Approach::Decreasing => "-",
            Approach::Unknown => "",
        }
    }
}

/// One row of a peaks file.
#[derive(Clone, Debug, PartialEq)]
pub struct Peak {
    /// Data row in its file, counted from 1 (comments and the header do not count).
    pub row: usize,
    /// Line in its file, counted from 1.
    pub line: usize,
    /// When.
    pub time: Utc,
    /// Which emitter, as named in the station file.
    pub emitter: String,
    /// Azimuth encoder reading, unwrapped; none when not measured.
    pub azimuth: Option<Angle>,
    /// Elevation encoder reading; none when not measured.
    pub elevation: Option<Angle>,
    /// One standard deviation in cross-elevation, on the sky.
    pub azimuth_sigma: Option<Angle>,
    /// One standard deviation in elevation.
    pub elevation_sigma: Option<Angle>,
    /// From which side the azimuth axis arrived.
    pub azimuth_approach: Approach,
    /// From which side the elevation axis arrived.
    pub elevation_approach: Approach,
    /// Signal strength.
    pub peak_db: Option<f64>,
    /// Temperature at the time, degrees Celsius.
    pub temperature_c: Option<f64>,
    /// Whether the log says to use it.
    pub use_it: bool,
    /// Free text.
    pub note: String,
    /// The user's own `x_` columns, in the order of [`PeakLog::extra_columns`].
    pub extra: Vec<String>,
}

/// A peaks file as read.
#[derive(Clone, Debug, Default)]
pub struct PeakLog {
    /// The file as the user named it.
    pub file: String,
    /// Its peaks, in file order.
    pub peaks: Vec<Peak>,
    /// Names of the user's own columns.
    pub extra_columns: Vec<String>,
    /// Things the reader accepted but the user should know, with their lines.
    pub warnings: Vec<String>,
}
