//! Writes `scans.csv`.

use super::axes::Axes;
use super::scan::Scan;
use crate::text::to_cell;

/// Decimals of a reading, degrees: finer than any encoder.
const READING: usize = 6;
/// Decimals of a power: finer than any receiver.
const POWER: usize = 6;

/// Writes scans of a mount with these axes as a log of raw signal, one row per sample, with linear
/// power. Reading the log gives the same scans, to the millisecond and the decimals written.
pub fn scans_csv(axes: Axes, scans: &[Scan]) -> String {
    let [one, two] = axes.kinds();
    let mut rows = csv::Writer::from_writer(Vec::new());
    let mut write = |cells: [&str; 6]| {
        // Writing to a vector cannot fail.
        let _ = rows.write_record(cells);
    };
    write([
        "scan",
        "time_utc",
        "emitter",
        &format!("{}_deg", one.key()),
        &format!("{}_deg", two.key()),
        "power_linear",
    ]);
    for scan in scans {
        for sample in &scan.samples {
            write([
                &to_cell(&scan.name),
                &sample.time.to_string(),
                &to_cell(&scan.emitter),
                &format!("{:.READING$}", sample.azimuth.degrees()),
                &format!("{:.READING$}", sample.elevation.degrees()),
                &format!("{:.POWER$}", sample.power),
            ]);
        }
    }
    let bytes = rows.into_inner().unwrap_or_default();
    String::from_utf8_lossy(&bytes).into_owned()
}
