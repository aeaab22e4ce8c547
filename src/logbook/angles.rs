//! Rotator angles by time, from a separate file, for power logs without angle columns.

use std::path::Path;

use super::axes::Axes;
use super::axis_reading::{AxisReadings, Places};
use super::log_options::LogOptions;
use super::table::{Questions, Request, Schema, Table, Told, survey};
use crate::angle::Angle;
use crate::files::{self, FileToRead};
use crate::problem::{Error, Problems, Wrong};
use crate::station::Station;
use crate::time::Utc;

/// Indices into the columns.
const TIME: usize = 0;
const FIRST: usize = 1;
const SECOND: usize = 2;
/// Columns of the readings of the two axes.
const PLACES: [Places; 2] = [
    Places {
        degrees: FIRST,
        sensor: 3,
        hours: None,
    },
    Places {
        degrees: SECOND,
        sensor: 4,
        hours: None,
    },
];

/// A gap between two rows is interpolated over if it is no longer than this many usual steps;
/// common practice, no source.
const LONGEST_GAP_STEPS: f64 = 10.0;
/// A gap this short, in seconds, is interpolated over whatever the usual step is: many controllers
/// report only once a second.
const SHORT_GAP_S: f64 = 2.0;

/// Position of the mount as a function of time.
#[derive(Clone, Debug)]
pub struct Angles {
    /// The file as the user named it.
    pub file: String,
    /// What was read differently from how it is written.
    pub taken: Vec<String>,
    /// Headers named by an option but absent from the file, with their columns.
    pub(super) unmatched: Vec<(String, String)>,
    /// In order of time, no two at the same time.
    rows: Vec<(Utc, Angle, Angle)>,
    longest_gap_s: f64,
    /// What must be asked before the file can be read; while there are questions, there are no
    /// rows.
    pub(super) asked: Questions,
}

/// A reading a second for a month.
const EXPECTED: FileToRead = FileToRead::mebibytes("a log of angles", 256).or_piped();

/// Why no angles are available at a time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum NoAngles {
    /// Before the first row or after the last.
    Outside,
    /// In a gap between two rows.
    Gap,
}

impl Angles {
    /// Reads `time_utc, azimuth_deg, elevation_deg` from a file in any supported dialect. Questions
    /// about ambiguous content go into one message with those about the log itself.
    ///
    /// # Errors
    /// If the file cannot be read, or everything that is wrong with it.
    pub fn read(path: &Path, station: &Station, options: &LogOptions) -> Result<Angles, Error> {
        let (file, bytes) = files::read_bytes(path, EXPECTED)?;
        Angles::parse(&file, &bytes, station, options)
    }

    /// Reads the angles from the bytes of a file that messages call `file`.
    ///
    /// # Errors
    /// Everything that is wrong with it.
    pub fn parse(
        file: &str,
        bytes: &[u8],
        station: &Station,
        options: &LogOptions,
    ) -> Result<Angles, Error> {
        let axes = Axes::of(station);
        let readings = AxisReadings::new(station, axes, PLACES);
        let schema = Schema {
            known: columns_of(axes),
            required: [vec![TIME], readings.required_columns()].concat(),
            instead: readings.instead(),
            one_of: Vec::new(),
        };
        let found = survey(
            &Request {
                file,
                schema: &schema,
                time: TIME,
                emitter: None,
                approaches: Vec::new(),
                station,
                options,
                or_else: None,
            },
            bytes,
            bytes,
        )?;
        let mut angles = Angles {
            file: file.to_owned(),
            taken: Vec::new(),
            unmatched: Vec::new(),
            rows: Vec::new(),
            longest_gap_s: SHORT_GAP_S,
            asked: found.asked,
        };
        if !angles.asked.is_empty() {
            return Ok(angles);
        }
        let mut told = Told::default();
        let names = &options.columns;
        let mut table = Table::open(file, bytes, found.dialect, &schema, names, TIME, &mut told)?;
        angles.unmatched = table.columns().unmatched().to_vec();
        if let Some(wrong) = readings.without_sensor(table.columns()) {
            told.problems.push(wrong.at(file, table.first_line(), 1));
        }
        while let Some(line) = table.next(&mut told)? {
            let cell = |column| line.columns.cell(&line.row, column);
            let decided = &found.decided;
            let time = cell(TIME).time(decided, &mut told);
            let row = (&line.row, line.columns);
            let mut angle = |axis| readings.required(axis, row, decided, &mut told);
            let both = (angle(0), angle(1));
            if let (Some(time), (Some(a), Some(b))) = (time, both) {
                angles.rows.push((time, a, b));
            }
        }
        told.problems.or_value(())?;
        angles.rows.sort_by_key(|row| row.0);
        angles.rows.dedup_by_key(|row| row.0);
        if angles.rows.len() < 2 {
            let wrong = Wrong::new(
                "there are no two rows to go between",
                "a row for each position of the mount, with its time",
            );
            return Err(wrong.of_file(file).into());
        }
        let times: Vec<Utc> = angles.rows.iter().map(|row| row.0).collect();
        if let Some(step) = usual_step_s(&times) {
            angles.longest_gap_s = (LONGEST_GAP_STEPS * step).max(SHORT_GAP_S);
        }
        angles.taken = told.taken.told(file);
        Ok(angles)
    }

    /// Times of the first and the last row.
    pub fn span(&self) -> (Utc, Utc) {
        let ends = (self.rows.first(), self.rows.last());
        match ends {
            (Some(first), Some(last)) => (first.0, last.0),
            // A file of angles has at least two rows.
            _ => (Utc::from_unix_nanos(0), Utc::from_unix_nanos(0)),
        }
    }

    /// Returns the two readings at a time, interpolated linearly between the rows before and after
    /// it. An encoder that wraps from 360 to 0 is followed through the wrap.
    ///
    /// # Errors
    /// If the time is outside the rows or in a gap much longer than the usual step.
    pub(crate) fn at(&self, time: Utc) -> Result<(Angle, Angle), NoAngles> {
        let next = self.rows.partition_point(|row| row.0 < time);
        let after = self.rows.get(next).ok_or(NoAngles::Outside)?;
        if after.0 == time {
            return Ok((after.1, after.2));
        }
        let before = next.checked_sub(1).and_then(|i| self.rows.get(i));
        let before = before.ok_or(NoAngles::Outside)?;
        let gap = after.0.seconds_since(before.0);
        if gap > self.longest_gap_s {
            return Err(NoAngles::Gap);
        }
        let part = time.seconds_since(before.0) / gap;
        let between = |a: Angle, b: Angle| a + (b - a).wrapped_signed() * part;
        Ok((between(before.1, after.1), between(before.2, after.2)))
    }

    /// Reports that none of a log's times lies within these rows.
    pub(super) fn elsewhere(&self, file: &str, first: Utc, last: Utc) -> Problems {
        let (from, to) = self.span();
        let hours = (from.seconds_since(first) / 3600.0).round();
        let mut wrong = Wrong::new(
            format!(
                "this log runs from {first} to {last}, the angles of {} from {from} to {to}",
                self.file
            ),
            "angles for the time of the log: nothing is guessed beyond them",
        );
        if hours != 0.0 && hours.abs() <= 14.0 {
            wrong = wrong.mend(format!(
                "they begin {:.0} h apart: is the zone of one of the two another?",
                hours.abs()
            ));
        }
        Problems::from(wrong.of_file(file))
    }
}

const AZIMUTH_ELEVATION: [&str; 5] = [
    "time_utc",
    "azimuth_deg",
    "elevation_deg",
    "azimuth_sensor",
    "elevation_sensor",
];
const HOUR_ANGLE_DECLINATION: [&str; 5] = [
    "time_utc",
    "hour_angle_deg",
    "declination_deg",
    "hour_angle_sensor",
    "declination_sensor",
];
const XY: [&str; 5] = ["time_utc", "x_deg", "y_deg", "x_sensor", "y_sensor"];

fn columns_of(axes: Axes) -> &'static [&'static str] {
    match axes {
        Axes::AzimuthElevation => &AZIMUTH_ELEVATION,
        Axes::HourAngleDeclination => &HOUR_ANGLE_DECLINATION,
        Axes::Xy => &XY,
    }
}

/// Median time between successive rows, ignoring steps that do not advance.
pub(super) fn usual_step_s(times: &[Utc]) -> Option<f64> {
    let steps = times.windows(2).map(|w| w[1].seconds_since(w[0]));
    let mut steps: Vec<f64> = steps.filter(|s| *s > 0.0).collect();
    steps.sort_by(f64::total_cmp);
    steps.get(steps.len() / 2).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    const STATION: &[u8] = include_bytes!("../../tests/data/invented/station.toml");

    fn angles(rows: &str) -> Angles {
        let station = Station::parse("s", Path::new(""), STATION).unwrap();
        let text = format!("time_utc,azimuth_deg,elevation_deg\n{rows}");
        let options = LogOptions::default();
        let angles = Angles::parse("a.csv", text.as_bytes(), &station, &options).unwrap();
        assert!(angles.asked.is_empty());
        angles
    }
    fn at(angles: &Angles, second: &str) -> Result<(f64, f64), NoAngles> {
        let time = Utc::parse(&format!("2026-04-04T05:00:{second}Z")).unwrap();
        let rounded = |a: Angle| (a.degrees() * 1e9).round() / 1e9;
        angles.at(time).map(|(a, b)| (rounded(a), rounded(b)))
    }

    #[test]
    fn angles_are_interpolated_linearly_between_two_rows() {
        let rows =
            "2026-04-04T05:00:01Z,10,20\n2026-04-04T05:00:00Z,8,20.5\n2026-04-04T05:00:02Z,12,19\n";
        let found = angles(rows);
        assert_eq!(at(&found, "00"), Ok((8.0, 20.5)));
        assert_eq!(at(&found, "00.5"), Ok((9.0, 20.25)));
        assert_eq!(at(&found, "02"), Ok((12.0, 19.0)));
        assert_eq!(at(&found, "02.001"), Err(NoAngles::Outside));
        let early = Utc::parse("2026-04-04T04:59:59.9Z").unwrap();
        assert_eq!(found.at(early), Err(NoAngles::Outside));
    }

    #[test]
    fn interpolation_follows_an_encoder_through_north() {
        let found = angles("2026-04-04T05:00:00Z,359,20\n2026-04-04T05:00:02Z,1,20\n");
        assert_eq!(at(&found, "00.5"), Ok((359.5, 20.0)));
        assert_eq!(at(&found, "01.5"), Ok((360.5, 20.0)));
    }

    #[test]
    fn long_gaps_are_not_interpolated() {
        let rows: String = (0..20)
            .map(|i| format!("2026-04-04T05:00:{i:02}Z,{i},30\n"))
            .collect();
        let found = angles(&format!("{rows}2026-04-04T05:00:45Z,45,30\n"));
        assert_eq!(at(&found, "18.5"), Ok((18.5, 30.0)));
        assert_eq!(at(&found, "30"), Err(NoAngles::Gap));
    }
}
