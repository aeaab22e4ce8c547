//! Remarks on a log of scans: the first few of a kind in words, the rest counted.

use super::peaks_csv::degrees_text;
use super::scan::Sample;
use crate::angle::Angle;
use crate::station::Mount;

/// So many remarks of one kind are told one by one; the rest are counted.
const MOST_REMARKS: usize = 5;

/// Remarks of one kind.
#[derive(Default)]
pub(super) struct Remarks {
    kept: Vec<String>,
    more: usize,
}

impl Remarks {
    pub fn push(&mut self, remark: impl FnOnce() -> String) {
        if self.kept.len() < MOST_REMARKS {
            self.kept.push(remark());
        } else {
            self.more += 1;
        }
    }
    /// Those kept, and a line about the rest with what it advises.
    pub fn told(&self, file: &str, advice: &str) -> Vec<String> {
        let mut all = self.kept.clone();
        if self.more > 0 {
            all.push(format!("{file}: and {} more like it{advice}", self.more));
        }
        all
    }
}

/// Watches a scan for readings that the station's encoders should not be able to show.
pub(super) struct RangeWatch {
    ranges: [(&'static str, Range); 2],
    first: Option<Outside>,
    /// Rows with such readings.
    rows: usize,
}

type Range = (Angle, Angle);

/// The first such reading of a scan.
struct Outside {
    line: usize,
    axis: &'static str,
    reading: Angle,
    range: Range,
}

impl RangeWatch {
    pub fn new(mount: &Mount) -> RangeWatch {
        RangeWatch {
            ranges: [
                ("azimuth", mount.azimuth_range),
                ("elevation", mount.elevation_range),
            ],
            first: None,
            rows: 0,
        }
    }
    /// Looks at a row of the scan.
    pub fn see(&mut self, sample: &Sample, line: usize) {
        let readings = [sample.azimuth, sample.elevation];
        let outside = self
            .ranges
            .iter()
            .zip(readings)
            .find(|(of, reading)| *reading < of.1.0 || *reading > of.1.1);
        if let Some((&(axis, range), reading)) = outside {
            self.rows += 1;
            self.first.get_or_insert(Outside {
                line,
                axis,
                reading,
                range,
            });
        }
    }
    /// Ends the scan of that name: what is to be said of it.
    pub fn end(&mut self, file: &str, scan: &str) -> Option<String> {
        let more = std::mem::take(&mut self.rows).saturating_sub(1);
        let Outside {
            line,
            axis,
            reading,
            range: (low, high),
        } = self.first.take()?;
        let rest = match more {
            0 => String::new(),
            1 => ", and so in 1 more row of this scan".to_owned(),
            _ => format!(", and so in {more} more rows of this scan"),
        };
        Some(format!(
            "{file}:{line}: scan {scan}: {axis} reading {} is outside the encoder range of the station file, {} to {} degrees{rest}",
            degrees_text(reading),
            degrees_text(low),
            degrees_text(high),
        ))
    }
}
