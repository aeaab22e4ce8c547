//! Writes peaks as CSV without loss.

use super::peak::{Approach, Peak, PeakLog, Readings};
use super::peaks_csv::{
    EMITTER, FEED, FIRST, FIRST_APPROACH, FIRST_BY_LAG, FIRST_SENSOR, FIRST_SIGMA, NOTE, PEAK_DB,
    SECOND, SECOND_APPROACH, SECOND_BY_LAG, SECOND_SENSOR, SECOND_SIGMA, TEMPERATURE, TIME, USE,
    WRITTEN, columns_of,
};
use crate::angle::Angle;
use crate::station::Sensor;
use crate::text::to_cell;

impl PeakLog {
    /// Returns the log as CSV, with the kind of its readings, the optional columns in use and the
    /// user's own columns. [`PeakLog::parse`] reads the same peaks from it; other comments are not
    /// kept.
    pub fn to_csv(&self) -> String {
        let used = |column: usize| match column {
            FIRST_SIGMA => self.peaks.iter().any(|p| p.azimuth_sigma.is_some()),
            SECOND_SIGMA => self.peaks.iter().any(|p| p.elevation_sigma.is_some()),
            FIRST_APPROACH => known(self.peaks.iter().map(|p| p.azimuth_approach)),
            SECOND_APPROACH => known(self.peaks.iter().map(|p| p.elevation_approach)),
            PEAK_DB => self.peaks.iter().any(|p| p.peak_db.is_some()),
            TEMPERATURE => self.peaks.iter().any(|p| p.temperature_c.is_some()),
            USE => self.peaks.iter().any(|p| !p.use_it),
            NOTE => self.peaks.iter().any(|p| !p.note.is_empty()),
            FEED => self.feeds.len() > 1,
            FIRST_BY_LAG => self.peaks.iter().any(|p| p.by_lag[0].is_some()),
            SECOND_BY_LAG => self.peaks.iter().any(|p| p.by_lag[1].is_some()),
            _ => true,
        };
        let optional = [FEED, FIRST_BY_LAG, SECOND_BY_LAG];
        let columns: Vec<usize> = (0..WRITTEN).chain(optional).filter(|c| used(*c)).collect();
        let known_names = columns_of(self.axes);
        let mut csv = String::new();
        if let Some(readings) = self.readings.first().and_then(Readings::comment) {
            csv.push_str(&readings);
        }
        let cell = |text: &String| to_cell(text).into_owned();
        let written_as = |column: usize| match (column, &self.sensors) {
            (FIRST, [Some(_), _]) => FIRST_SENSOR,
            (SECOND, [_, Some(_)]) => SECOND_SENSOR,
            _ => column,
        };
        let names = (columns.iter()).map(|c| known_names[written_as(*c)].to_owned());
        push_row(&mut csv, names.chain(self.extra_columns.iter().map(cell)));
        for peak in &self.peaks {
            let known = columns.iter().map(|c| self.text_of(peak, *c));
            let mut filled = peak.extra.iter().peekable();
            let own = (0..self.extra_columns.len()).map(|place| {
                let here = filled.next_if(|(at, _)| *at == place);
                here.map_or_else(String::new, |(_, text)| cell(text))
            });
            push_row(&mut csv, known.chain(own));
        }
        csv
    }

    /// Text of a peak's field in the known column of that index; raw sensor readings for axes that
    /// have a sensor.
    fn text_of(&self, peak: &Peak, column: usize) -> String {
        let sensors = &self.sensors;
        let angle = |angle: Option<Angle>| angle.map(degrees_text).unwrap_or_default();
        let number = |value: Option<f64>| value.map(|v| v.to_string()).unwrap_or_default();
        let reading = |degrees: Option<Angle>, sensor: &Option<Sensor>| match sensor {
            Some(sensor) => number(degrees.and_then(|d| sensor.shown(d))),
            None => angle(degrees),
        };
        // In the sense of the reading written in the same row.
        let symbol = |approach: Approach, sensor: &Option<Sensor>| match sensor {
            Some(sensor) if !sensor.rises() => approach.reversed().symbol().to_owned(),
            _ => approach.symbol().to_owned(),
        };
        match column {
            TIME => peak.time.to_exact_text(),
            EMITTER => to_cell(&peak.emitter).into_owned(),
            FIRST => reading(peak.azimuth, &sensors[0]),
            SECOND => reading(peak.elevation, &sensors[1]),
            FIRST_SIGMA => angle(peak.azimuth_sigma),
            SECOND_SIGMA => angle(peak.elevation_sigma),
            FIRST_APPROACH => symbol(peak.azimuth_approach, &sensors[0]),
            SECOND_APPROACH => symbol(peak.elevation_approach, &sensors[1]),
            PEAK_DB => number(peak.peak_db),
            TEMPERATURE => number(peak.temperature_c),
            USE => if peak.use_it { "yes" } else { "no" }.to_owned(),
            FIRST_BY_LAG => angle(peak.by_lag[0]),
            SECOND_BY_LAG => angle(peak.by_lag[1]),
            FEED => self.feeds.get(peak.feed).cloned().unwrap_or_default(),
            _ => to_cell(&peak.note).into_owned(),
        }
    }
}

fn known(mut approaches: impl Iterator<Item = Approach>) -> bool {
    approaches.any(|a| a != Approach::Unknown)
}

/// Shortest decimal number of degrees that reads back as the same angle: an angle is stored in
/// radians, so its degrees have a rounding error.
pub(super) fn degrees_text(angle: Angle) -> String {
    let degrees = angle.degrees();
    let rounded = (0..=12).map(|decimals| {
        let scale = 10f64.powi(decimals);
        (degrees * scale).round() / scale
    });
    let neighbours = [degrees, degrees.next_up(), degrees.next_down()];
    rounded
        .chain(neighbours)
        .find(|candidate| Angle::from_degrees(*candidate) == angle)
        // No number of degrees gives exactly this angle: it was not read from a file.
        .unwrap_or(degrees)
        .to_string()
}

/// Appends a row, quoting fields where needed.
fn push_row(csv: &mut String, fields: impl Iterator<Item = String>) {
    for (i, field) in fields.enumerate() {
        if i > 0 {
            csv.push(',');
        }
        if field.contains(['"', ',', '\n', '\r']) || field.trim() != field {
            csv.push('"');
            csv.push_str(&field.replace('"', "\"\""));
            csv.push('"');
        } else {
            csv.push_str(&field);
        }
    }
    csv.push('\n');
}
