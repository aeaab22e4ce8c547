//! The log of scans as it grows: each sample is on the disk before the next comes, in the form that
//! `reduce` reads.

use std::io::Write;

use super::events::ScanRow;
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
    /// Begins a new log, or continues one.
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
    pub fn append(&mut self, rows: &[ScanRow]) -> std::io::Result<()> {
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

/// Rewrites a log with another emitter for a scan; with `None` (emitter unknown) the rows of the
/// scan become comments.
pub fn renamed(log: &str, scan: &str, emitter: Option<&str>) -> String {
    let mut text = String::with_capacity(log.len() + 64);
    for line in log.lines() {
        let mut reader = (csv::ReaderBuilder::new())
            .has_headers(false)
            .comment(Some(b'#'))
            .from_reader(line.as_bytes());
        let record = reader.records().next().and_then(Result::ok);
        match (record.filter(|r| r.get(0) == Some(scan)), emitter) {
            (None, _) => text.push_str(line),
            (Some(_), None) => {
                text.push_str("# not known of which emitter: ");
                text.push_str(line);
            }
            (Some(record), Some(emitter)) => {
                let cells = (record.iter().enumerate()).map(|(i, old)| match i {
                    2 => cell(emitter),
                    _ => quoted(old),
                });
                text.push_str(&cells.collect::<Vec<_>>().join(","));
            }
        }
        text.push('\n');
    }
    text
}

/// A name in a row, quoted where it must be.
fn cell(text: &str) -> String {
    quoted(&to_cell(text))
}

/// Quoted where it must be.
fn quoted(text: &str) -> String {
    match text.contains([',', '"', '\n', '\r']) {
        true => format!("\"{}\"", text.replace('"', "\"\"")),
        false => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scan_gets_another_emitter_or_none_and_the_others_stay() {
        let log = format!(
            "{FORMAT}scan,time_utc,emitter,azimuth_deg,elevation_deg,power_db\n\
             1,2026-09-12T10:00:00Z,\"mill, old\",10.00000,20.00000,-60\n\
             2,2026-09-12T10:00:01Z,sun,11.00000,20.00000,-61\n"
        );
        let named = renamed(&log, "1", Some("church, new"));
        assert!(named.contains("\n1,2026-09-12T10:00:00Z,\"church, new\",10.00000,20.00000,-60\n"));
        assert!(
            named.starts_with(FORMAT)
                && named.ends_with("2,2026-09-12T10:00:01Z,sun,11.00000,20.00000,-61\n")
        );
        let unknown = renamed(&log, "2", None);
        assert!(
            unknown.contains("\n# not known of which emitter: 2,2026"),
            "{unknown}"
        );
        assert_eq!(renamed(&log, "3", None), log);
    }
}
