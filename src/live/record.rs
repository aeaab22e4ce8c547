//! The log of a relay: a row for each command and each reading.

use std::fmt::Write as _;

use serde::Serialize;

use super::aim::AskedDirection;
use super::axes::Axes;
use crate::angle::Angle;
use crate::time::Utc;

/// The columns.
pub const COLUMNS: &str = "time_utc,client,command,demand_azimuth_deg,demand_elevation_deg,\
command_1_deg,command_2_deg,reading_1_deg,reading_2_deg,sun_distance_deg,reply";

/// First line of a log, with the version of the format.
pub const FORMAT: &str = "# plumbeam relay log 1";

/// The entry in the column of clients for what the relay does by itself.
pub const RELAY: &str = "relay";

/// A row.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RelayRow {
    /// When the command came, or the reading.
    pub time_utc: Utc,
    /// Who commanded: an address, or `relay`.
    pub client: String,
    /// What, as it came.
    pub command: String,
    /// Demanded azimuth, in the tracker's coordinates.
    pub demand_azimuth_deg: Option<f64>,
    /// The same.
    pub demand_elevation_deg: Option<f64>,
    /// Reading last commanded, axis 1.
    pub command_1_deg: Option<f64>,
    /// The same.
    pub command_2_deg: Option<f64>,
    /// Reading of the mount, axis 1.
    pub reading_1_deg: Option<f64>,
    /// The same.
    pub reading_2_deg: Option<f64>,
    /// Angle from the beam to the Sun; `None` unless it is up.
    pub sun_distance_deg: Option<f64>,
    /// The reply; for a position, the direction of the beam.
    pub reply: String,
}

impl RelayRow {
    /// A row with a command and its reply; everything else is empty.
    pub fn new(time: Utc, client: &str, command: &str, reply: &str) -> RelayRow {
        RelayRow {
            time_utc: time,
            client: client.to_owned(),
            command: command.to_owned(),
            demand_azimuth_deg: None,
            demand_elevation_deg: None,
            command_1_deg: None,
            command_2_deg: None,
            reading_1_deg: None,
            reading_2_deg: None,
            sun_distance_deg: None,
            reply: reply.to_owned(),
        }
    }
    /// Adds the demand.
    #[must_use]
    pub fn demand(mut self, asked: Option<AskedDirection>) -> RelayRow {
        self.demand_azimuth_deg = asked.map(|a| tidy(a.azimuth));
        self.demand_elevation_deg = asked.map(|a| tidy(a.elevation));
        self
    }
    /// Adds the readings that were commanded.
    #[must_use]
    pub fn told(mut self, sent: Option<Axes>) -> RelayRow {
        self.command_1_deg = sent.map(|a| tidy(a.0[0]));
        self.command_2_deg = sent.map(|a| tidy(a.0[1]));
        self
    }
    /// Adds the readings of the mount.
    #[must_use]
    pub fn reading(mut self, reading: Option<Axes>) -> RelayRow {
        self.reading_1_deg = reading.map(|a| tidy(a.0[0]));
        self.reading_2_deg = reading.map(|a| tidy(a.0[1]));
        self
    }
    /// Adds the angle between beam and Sun.
    #[must_use]
    pub fn sun(mut self, distance: Option<Angle>) -> RelayRow {
        self.sun_distance_deg = distance.map(tidy);
        self
    }

    /// As a line of the log.
    pub fn line(&self) -> String {
        let mut line = self.time_utc.to_string();
        for text in [&self.client, &self.command] {
            line.push(',');
            line.push_str(&quoted(text));
        }
        for number in [
            self.demand_azimuth_deg,
            self.demand_elevation_deg,
            self.command_1_deg,
            self.command_2_deg,
            self.reading_1_deg,
            self.reading_2_deg,
            self.sun_distance_deg,
        ] {
            line.push(',');
            if let Some(number) = number {
                // Writing to a string cannot fail.
                let _ = write!(line, "{number}");
            }
        }
        line.push(',');
        line.push_str(&quoted(&self.reply));
        line.push('\n');
        line
    }
}

/// Rounds to a millionth of a degree, finer than any encoder.
fn tidy(angle: Angle) -> f64 {
    let tidy = (angle.degrees() * 1e6).round() / 1e6;
    // Avoids "-0".
    if tidy == 0.0 { 0.0 } else { tidy }
}

/// Makes a client's text safe in a cell: control characters are escaped, and a leading sign that a
/// spreadsheet would take for a formula gets a quote before it.
fn quoted(text: &str) -> String {
    let shown: String = crate::problem::printable(text).chars().take(120).collect();
    if shown.contains([',', '"']) {
        format!("\"{}\"", shown.replace('"', "\"\""))
    } else {
        shown
    }
}

/// Returns the head of a log: its format, and the station and calibration it was made with.
pub fn head(about: &About) -> String {
    let About {
        station,
        mount_kind,
        beamwidth_deg,
        demand,
        checksum,
    } = about;
    format!(
        "{FORMAT}\n# station = {station}\n# kind = {mount_kind}\n# beamwidth_deg = {beamwidth_deg}\n\
         # demand = {demand}\n# calibration = {checksum}\n# readings = encoder\n{COLUMNS}\n",
        station = crate::problem::printable(station),
    )
}

/// The station and calibration of a log.
#[derive(Clone, Debug, PartialEq)]
pub struct About {
    /// Name of the site.
    pub station: String,
    /// Kind of mount.
    pub mount_kind: String,
    /// Half-power width of the beam.
    pub beamwidth_deg: f64,
    /// `geometric` or `apparent`.
    pub demand: String,
    /// Checksum of the calibration.
    pub checksum: String,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_is_a_line_of_the_columns() {
        let time = Utc::parse("2026-09-12T10:00:00.25Z").unwrap();
        let row = RelayRow::new(time, "127.0.0.1:5", "P 1, \"2\u{1b}", "RPRT -1")
            .demand(Some(AskedDirection {
                azimuth: Angle::from_degrees(10.0),
                elevation: Angle::from_degrees(-0.0),
            }))
            .reading(Some(Axes::from_degrees(12.3456789, 5.0)));
        assert_eq!(
            row.line(),
            "2026-09-12T10:00:00.250Z,127.0.0.1:5,\"P 1, \"\"2\\u{1b}\",10,0,,,12.345679,5,,RPRT -1\n"
        );
        assert_eq!(COLUMNS.split(',').count(), 11);
    }
}
