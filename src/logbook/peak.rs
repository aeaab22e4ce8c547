//! One peak: the encoder readings when an emitter's signal was strongest.

use super::axes::Axes;
use crate::angle::Angle;
use crate::station::Sensor;
use crate::time::Utc;

/// Side from which an axis arrived.
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
    /// The same approach for an encoder that counts in the opposite sense.
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
    /// Which of the logs read together it comes from, counted from 0: an index into
    /// [`PeakLog::files`].
    pub log: usize,
    /// Data row, counted from 1 (comments, headers and blank rows do not count), continuing through
    /// all logs that were read together.
    pub row: usize,
    /// Line in its file, counted from 1.
    pub line: usize,
    /// Time of the peak.
    pub time: Utc,
    /// Emitter, as named in the station file.
    pub emitter: String,
    /// Index of the feed among the station's.
    pub feed: usize,
    /// Azimuth encoder reading, unwrapped; `None` if not measured.
    pub azimuth: Option<Angle>,
    /// Elevation encoder reading; `None` if not measured.
    pub elevation: Option<Angle>,
    /// One standard deviation in cross-elevation, on the sky.
    pub azimuth_sigma: Option<Angle>,
    /// One standard deviation in elevation.
    pub elevation_sigma: Option<Angle>,
    /// Signed change of each reading for one standard deviation of the lag that was subtracted,
    /// which is common to all rows of a log; `None` if no lag was subtracted.
    pub by_lag: [Option<Angle>; 2],
    /// Side from which the azimuth axis arrived.
    pub azimuth_approach: Approach,
    /// Side from which the elevation axis arrived.
    pub elevation_approach: Approach,
    /// Signal strength.
    pub peak_db: Option<f64>,
    /// Temperature at the time, degrees Celsius.
    pub temperature_c: Option<f64>,
    /// Whether the log says to use it.
    pub use_it: bool,
    /// Free text.
    pub note: String,
    /// Filled cells of the user's own columns: the index into [`PeakLog::extra_columns`],
    /// ascending, and the text.
    pub extra: Vec<(usize, String)>,
}

/// What the readings of a log are.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Readings {
    /// The log does not say.
    #[default]
    Unsaid,
    /// Raw readings of the mount's encoders.
    Encoder,
    /// Directions corrected by the calibration with this checksum.
    Corrected(String),
}

impl Readings {
    /// Reads `encoder` or `corrected:CHECKSUM`.
    ///
    /// # Errors
    /// If the text is anything else, with what is expected.
    pub fn parse(text: &str) -> Result<Readings, String> {
        let text = text.trim();
        match text.split_once(':') {
            None if text.eq_ignore_ascii_case("encoder") => Ok(Readings::Encoder),
            Some((word, checksum))
                if word.trim().eq_ignore_ascii_case("corrected") && !checksum.trim().is_empty() =>
            {
                Ok(Readings::Corrected(checksum.trim().to_owned()))
            }
            _ => Err(
                "expected encoder, or corrected: with the checksum of the calibration behind it"
                    .to_owned(),
            ),
        }
    }
    /// The comment line of a log that states this; `None` if it is not known.
    pub fn comment(&self) -> Option<String> {
        match self {
            Readings::Unsaid => None,
            Readings::Encoder => Some("# readings = encoder\n".to_owned()),
            Readings::Corrected(sum) => Some(format!("# readings = corrected:{sum}\n")),
        }
    }
}

/// One or several logs of peaks as read.
#[derive(Clone, Debug, Default)]
pub struct PeakLog {
    /// Its file as the user named it, or the names of several, separated by blanks.
    pub file: String,
    /// Name of each log: its file, with its first line if one file holds several logs, each below
    /// its own header.
    pub files: Vec<String>,
    /// What the readings of each of the logs are.
    pub readings: Vec<Readings>,
    /// Which two axes the readings belong to.
    pub axes: Axes,
    /// Names of the station's feeds, when there are several.
    pub feeds: Vec<String>,
    /// For each axis, the sensor in whose raw readings it is written; `None` if written in degrees.
    pub sensors: [Option<Sensor>; 2],
    /// Its peaks, in file order.
    pub peaks: Vec<Peak>,
    /// Names of the user's own columns.
    pub extra_columns: Vec<String>,
    /// Things that were accepted but that the user should know about, with their lines.
    pub warnings: Vec<String>,
    /// What was read from a form other than the documented one, one line per kind.
    pub taken: Vec<String>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_kind_of_readings_is_read_and_written() {
        for text in ["encoder", "corrected:1a2b3c"] {
            let readings = Readings::parse(text).unwrap();
            assert_eq!(readings.comment(), Some(format!("# readings = {text}\n")));
        }
        assert_eq!(Readings::parse(" Encoder "), Ok(Readings::Encoder));
        for text in ["", "corrected", "corrected:", "raw", "encoder:1"] {
            assert!(Readings::parse(text).is_err(), "{text}");
        }
    }
}
