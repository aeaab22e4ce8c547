//! The log of scans as it grows: each sample is on the disk before the next comes, in the form that
//! `reduce` reads.

use std::io::Write;

use super::events::Row;
use crate::logbook::PowerUnit;
use crate::mount::{AxisKind, Kind};
use crate::text::to_cell;

/// The first line of a log that an observation writes.
pub const FORMAT: &str = "# plumbeam observe 1\n";

/// Decimals of readings, degrees, and of powers.
const READING: usize = 5;

/// Writes rows.
#[derive(Debug)]
pub struct Journal<W> {
    to: W,
}

impl<W: Write> Journal<W> {
    /// To a log that is empty still, or goes on.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn begin(
        mut to: W,
        kind: Kind,
        unit: PowerUnit,
        goes_on: bool,
    ) -> std::io::Result<Journal<W>> {
        let [one, two] = kind.axes().map(AxisKind::key);
        if !goes_on {
            let head = format!(
                "{FORMAT}# readings = encoder\nscan,time_utc,emitter,{one}_deg,{two}_deg,{}\n",
                unit.column()
            );
            to.write_all(head.as_bytes())?;
            to.flush()?;
        }
        Ok(Journal { to })
    }

    /// Appends samples, in one write.
    ///
    /// # Errors
    /// When they cannot be written.
    pub fn append(&mut self, rows: &[Row]) -> std::io::Result<()> {
        let mut text = String::new();
        for row in rows {
            let [one, two] = row.axes.degrees();
            text.push_str(&format!(
                "{},{},{},{one:.READING$},{two:.READING$},{}\n",
                cell(&row.scan),
                row.time,
                cell(&row.emitter),
                row.value
            ));
        }
        self.to.write_all(text.as_bytes())?;
        self.to.flush()
    }
}

/// A name in a row, quoted where it must be.
fn cell(text: &str) -> String {
    let text = to_cell(text);
    match text.contains([',', '"', '\n', '\r']) {
        true => format!("\"{}\"", text.replace('"', "\"\"")),
        false => text.into_owned(),
    }
}
