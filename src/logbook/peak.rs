//! One peak: where the encoders stood when an emitter's signal was strongest.

use super::axes::Axes;
use crate::angle::Angle;
use crate::station::Sensor;
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
    /// From which of the logs that were read together, counted from 0: an index into
    /// [`PeakLog::files`].
    pub log: usize,
    /// Data row, counted from 1 (comments, headers and blank rows do not count), and on through
    /// all logs that were read together.
    pub row: usize,
    /// Line in its file, counted from 1.
    pub line: usize,
    /// When.
    pub time: Utc,
    /// Which emitter, as named in the station file.
    pub emitter: String,
    /// With which feed, by its place among the station's.
    pub feed: usize,
    /// Azimuth encoder reading, unwrapped; none when not measured.
    pub azimuth: Option<Angle>,
    /// Elevation encoder reading; none when not measured.
    pub elevation: Option<Angle>,
    /// One standard deviation in cross-elevation, on the sky.
    pub azimuth_sigma: Option<Angle>,
    /// One standard deviation in elevation.
    pub elevation_sigma: Option<Angle>,
    /// What one standard deviation of the lag that was taken off, the same in all rows of a log, moves
    /// each reading by, with its sign; none where no lag was taken off.
    pub by_lag: [Option<Angle>; 2],
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
    /// What is filled in of the user's own columns: the place in [`PeakLog::extra_columns`], in
    /// that order, and the text.
    pub extra: Vec<(usize, String)>,
}

/// What the readings of a log are.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Readings {
    /// The log does not say.
    #[default]
    Unsaid,
    /// What the mount's own encoders showed.
    Encoder,
    /// Directions corrected by the calibration with this checksum.
    Corrected(String),
}

impl Readings {
    /// Reads `encoder` or `corrected:CHECKSUM`.
    ///
    /// # Errors
    /// Any other text, with what is expected.
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
    /// The comment line of a log that says so; none when nothing is known.
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
    /// Its file as the user named it, or the names of several, parted by blanks.
    pub file: String,
    /// What each of the logs is called: its file, with the line from which it runs when one file
    /// holds several, each below a header of its own.
    pub files: Vec<String>,
    /// What the readings of each of the logs are.
    pub readings: Vec<Readings>,
    /// What the two readings are called.
    pub axes: Axes,
    /// Names of the station's feeds, when there are several.
    pub feeds: Vec<String>,
    /// Sensors in whose readings it is written, of each axis where that is not done in degrees.
    pub sensors: [Option<Sensor>; 2],
    /// Its peaks, in file order.
    pub peaks: Vec<Peak>,
    /// Names of the user's own columns.
    pub extra_columns: Vec<String>,
    /// Things the reader accepted but the user should know, with their lines.
    pub warnings: Vec<String>,
    /// What the reader took otherwise than the page of formats writes it, one line a kind.
    pub taken: Vec<String>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_readings_are_is_read_and_written() {
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
