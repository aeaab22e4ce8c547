//! The reading of an axis in a row: degrees, hours of an hour angle, or the raw sensor reading.

use super::axes::{Axes, reading_of};
use super::cell::{Cell, Unit};
use super::peak::Approach;
use super::table::{Columns, Decided, Row, TakenKind, Told};
use crate::angle::Angle;
use crate::mount::AxisKind;
use crate::problem::Wrong;
use crate::quantity::Quantity;
use crate::station::limits::SENSOR;
use crate::station::{Sensor, Station};

/// Columns that may hold the reading of an axis, as indices into the columns of a log.
#[derive(Clone, Copy, Debug)]
pub struct Places {
    /// Column of degrees.
    pub degrees: usize,
    /// Column of raw sensor readings.
    pub sensor: usize,
    /// Column of hours, if the axis may read an hour angle.
    pub hours: Option<usize>,
}

/// The two axes of a log, with what is needed to interpret their readings.
#[derive(Clone, Debug)]
pub struct AxisReadings {
    axes: [AxisKind; 2],
    places: [Places; 2],
    sensors: [Option<Sensor>; 2],
    /// Constant reading of the second axis, if it has no motor.
    fixed: Option<Angle>,
}

impl AxisReadings {
    /// Readings of a station's log that has these axes in these columns.
    pub fn new(station: &Station, axes: Axes, places: [Places; 2]) -> AxisReadings {
        let mut places = places;
        if axes != Axes::HourAngleDeclination {
            places[0].hours = None;
        }
        AxisReadings {
            axes: axes.kinds(),
            places,
            sensors: station.mount.sensors.clone(),
            fixed: station.mount.fixed_declination,
        }
    }

    /// Columns that a log must have: those in degrees, except of an axis without a motor.
    pub fn required_columns(&self) -> Vec<usize> {
        let motors = if self.fixed.is_some() { 1 } else { 2 };
        (self.places[..motors].iter()).map(|p| p.degrees).collect()
    }

    /// Pairs of a column in degrees and a column that can replace it.
    pub fn instead(&self) -> Vec<(usize, usize)> {
        let mut instead = Vec::new();
        for place in &self.places {
            instead.extend(place.hours.map(|hours| (place.degrees, hours)));
            // Added even without a sensor: the missing sensor is then what is reported.
            instead.push((place.degrees, place.sensor));
        }
        instead
    }

    /// Whether a log has columns for both readings.
    pub fn has_both(&self, columns: &Columns) -> bool {
        (self.places.iter().enumerate()).all(|(axis, place)| {
            let fixed = axis == 1 && self.fixed.is_some();
            let sensor = columns.has(place.sensor) || fixed;
            columns.has(place.degrees) || sensor || place.hours.is_some_and(|c| columns.has(c))
        })
    }

    /// Whether a log has a column of raw sensor readings.
    pub fn has_sensor(&self, columns: &Columns) -> bool {
        self.places.iter().any(|place| columns.has(place.sensor))
    }

    /// Reports a log whose header names a column of raw sensor readings when the station has no
    /// sensor.
    pub fn without_sensor(&self, columns: &Columns) -> Option<Wrong> {
        let axis = [0, 1]
            .into_iter()
            .find(|i| columns.has(self.places[*i].sensor) && self.sensors[*i].is_none())?;
        let key = self.axes[axis].key();
        Some(
            Wrong::new(
                format!("the column {key}_sensor, and the station file gives that axis no sensor"),
                format!("[mount.axis_{}.sensor] in the station file", axis + 1),
            )
            .mend(format!(
                "add it; or, if the column counts degrees, call it {key}_deg"
            )),
        )
    }

    /// Whether the reading of an axis is blank.
    pub fn is_empty(&self, axis: usize, row: &Row<'_>, columns: &Columns) -> bool {
        let place = self.places[axis];
        [Some(place.degrees), Some(place.sensor), place.hours]
            .into_iter()
            .flatten()
            .all(|column| columns.cell(row, column).is_empty())
    }

    /// Reads an axis, within `degrees`; `None` if the cell is empty, or invalid and reported.
    pub fn read(
        &self,
        axis: usize,
        degrees: &Quantity,
        (row, columns): (&Row<'_>, &Columns),
        decided: &Decided,
        told: &mut Told,
    ) -> Option<Angle> {
        let place = self.places[axis];
        let shown = columns.cell(row, place.sensor);
        if let (Some(sensor), false) = (&self.sensors[axis], shown.is_empty()) {
            let angle = of_sensor(&shown, sensor, degrees, decided, told)?;
            if !columns.cell(row, place.degrees).is_empty() {
                told.taken.at(TakenKind::BesideSensor, row.line, || {
                    format!(
                        "degrees beside what the sensor shows left out: {}_deg",
                        self.axes[axis].key()
                    )
                });
            }
            return Some(angle);
        }
        let hours = place.hours.map(|column| columns.cell(row, column));
        let (cell, unit) = match hours.filter(|cell| !cell.is_empty()) {
            Some(cell) => (cell, Unit::Hours),
            None => (columns.cell(row, place.degrees), Unit::Degrees),
        };
        cell.reading(self.axes[axis], unit, degrees, decided, told)
    }

    /// As `read`, for an axis whose reading is required; an axis without a motor has its fixed
    /// reading.
    pub fn required(
        &self,
        axis: usize,
        row: (&Row<'_>, &Columns),
        decided: &Decided,
        told: &mut Told,
    ) -> Option<Angle> {
        let degrees = reading_of(self.axes[axis]);
        if self.is_empty(axis, row.0, row.1) {
            if let (1, Some(fixed)) = (axis, self.fixed) {
                return Some(fixed);
            }
            let place = self.places[axis];
            let columns = [Some(place.degrees), place.hours, Some(place.sensor)];
            let there = columns.into_iter().flatten().find(|c| row.1.has(*c));
            let cell = row.1.cell(row.0, there.unwrap_or(place.degrees));
            cell.required(degrees.words, told);
            return None;
        }
        self.read(axis, &degrees, row, decided, told)
    }

    /// Side from which an axis arrived, in the sense of its degrees. In a log of raw sensor
    /// readings, + means that the sensor reading increased.
    pub fn approach(
        &self,
        axis: usize,
        approach: usize,
        reading: Option<Angle>,
        (row, columns): (&Row<'_>, &Columns),
        decided: &Decided,
        told: &mut Told,
    ) -> Approach {
        let cell = columns.cell(row, approach);
        let by_sensor = !columns.cell(row, self.places[axis].sensor).is_empty();
        let falls = self.sensors[axis].as_ref().is_some_and(|s| !s.rises());
        let found = cell.approach(self.axes[axis], reading, decided, told);
        if !(by_sensor && falls && found != Approach::Unknown && cell.says_reading()) {
            return found;
        }
        told.taken.at(TakenKind::FallingSensor, row.line, || {
            format!(
                "the sensor shows less as the {} grows: {} is {} of the axis",
                self.axes[axis].words(),
                crate::text::quoted(&cell.text),
                found.reversed().symbol()
            )
        });
        found.reversed()
    }
}

fn of_sensor(
    cell: &Cell<'_>,
    sensor: &Sensor,
    degrees: &Quantity,
    decided: &Decided,
    told: &mut Told,
) -> Option<Angle> {
    let shown = cell.number(&SENSOR, decided, told)?;
    let checked = sensor.angle(shown).and_then(|angle| {
        let text = format!("{:.3} degrees", angle.degrees());
        (degrees.check(
            cell.name,
            &format!("{shown}, which is {text}"),
            angle.degrees(),
        ))
        .map(|_| angle)
    });
    match checked {
        Ok(angle) => {
            told.taken.at(TakenKind::Sensor, cell.line(), || {
                format!(
                    "what the sensor shows turned into degrees: {} {} is {:.3}",
                    shown,
                    sensor.unit,
                    angle.degrees()
                )
                .replace("  ", " ")
            });
            Some(angle)
        }
        Err(wrong) => {
            told.problems.push(cell.problem(Wrong {
                found: format!("{}: {}", cell.name, wrong.found),
                ..wrong
            }));
            None
        }
    }
}
