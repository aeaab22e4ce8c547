//! A log form to fill in at the mount.

use super::Plan;
use crate::angle::Angle;
use crate::mount::AxisKind;
use crate::station::Sensor;
use crate::text::to_cell;
use crate::time::ZoneOffset;

/// Columns of the sheet: those of a peaks file of a mount with azimuth and elevation.
const COLUMNS: [&str; 8] = [
    "time_utc",
    "emitter",
    "azimuth_deg",
    "elevation_deg",
    "azimuth_approach",
    "elevation_approach",
    "temperature_c",
    "note",
];

/// The expected display of an axis.
fn expected(angle: Angle, sensor: &Option<Sensor>) -> String {
    let degrees = format!("{:.1}", angle.degrees());
    match sensor.as_ref().and_then(|s| s.shown_words(angle)) {
        Some(shown) => format!("{degrees} (the sensor shows {shown})"),
        None => degrees,
    }
}

impl Plan {
    /// A peaks file with a row for each step, to be filled in: the measured values are empty, also
    /// the time (the moment of the peak counts, not the planned one); the expected values are in
    /// the note, with local time when a zone is given.
    pub fn sheet(&self, zone: Option<ZoneOffset>) -> String {
        let mut text = String::from(
            "# readings = encoder\n# Fill in the time at which the signal peaked (UTC, such as \
             2026-09-12T09:30:00Z) and both encoder readings.\n# Leave the rows empty that were \
             not measured. Then: plumbeam solve THIS-FILE\n",
        );
        let mut rows = csv::Writer::from_writer(Vec::new());
        let mut write = |cells: [&str; 8]| {
            // Writing to a vector cannot fail.
            let _ = rows.write_record(cells);
        };
        let named = COLUMNS.map(|column| {
            let column = match (column, &self.sensors) {
                ("azimuth_deg", [Some(_), _]) => "azimuth_sensor",
                ("elevation_deg", [_, Some(_)]) => "elevation_sensor",
                _ => column,
            };
            self.mount.key_of(column)
        });
        write(named.each_ref().map(String::as_str));
        let [one, two] = self.mount.axes().map(AxisKind::words);
        for step in &self.steps {
            let time = step.candidate.time;
            let local = zone.map_or(String::new(), |z| format!(" ({} at {z})", z.clock(time)));
            let note = format!(
                "planned {}{local}; expect {one} {} and {two} {}",
                time.to_string().replace(".000Z", "Z"),
                expected(step.reading.azimuth, &self.sensors[0]),
                expected(step.reading.elevation, &self.sensors[1])
            );
            // With the sign of the value to be written in the same row.
            let side = |sign: f64, sensor: &Option<Sensor>| {
                let falls = sensor.as_ref().is_some_and(|s| !s.rises());
                match if falls { -sign } else { sign } {
                    s if s > 0.0 => "+",
                    s if s < 0.0 => "-",
                    _ => "",
                }
            };
            let (azimuth, elevation) = (
                side(step.approach.azimuth, &self.sensors[0]),
                side(step.approach.elevation, &self.sensors[1]),
            );
            write([
                "",
                &to_cell(&step.candidate.name),
                "",
                "",
                azimuth,
                elevation,
                "",
                &note,
            ]);
        }
        let bytes = rows.into_inner().unwrap_or_default();
        text.push_str(&String::from_utf8_lossy(&bytes));
        text
    }
}
