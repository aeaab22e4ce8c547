//! What the pictures need to know about the peaks.

use crate::angle::{Angle, Offset};
use crate::number;
use crate::report::Report;
use crate::solve::PeakOutcome;

/// An offset in degrees, an axis that was not measured left out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// Cross-elevation, degrees.
    pub cross_elevation: Option<f64>,
    /// Elevation, degrees.
    pub elevation: Option<f64>,
}

impl Measured {
    /// The measured parts of a peak's offset.
    pub fn of(peak: &PeakOutcome, offset: Offset) -> Measured {
        let part =
            |measured: bool, angle: Angle| (measured && angle.is_finite()).then(|| angle.degrees());
        Measured {
            cross_elevation: part(peak.azimuth_measured, offset.cross_elevation),
            elevation: part(peak.elevation_measured, offset.elevation),
        }
    }
    /// Length of the measured parts.
    pub fn size(&self) -> f64 {
        self.cross_elevation
            .unwrap_or(0.0)
            .hypot(self.elevation.unwrap_or(0.0))
    }
    /// Both parts, when both were measured.
    pub fn both(&self) -> Option<(f64, f64)> {
        self.cross_elevation.zip(self.elevation)
    }
}

/// The value below which a share of `values` lies; none without values.
pub fn quantile(values: &mut [f64], share: f64) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let at = ((values.len() - 1) as f64 * share).round() as usize;
    let (_, value, _) = values.select_nth_unstable_by(at, f64::total_cmp);
    Some(*value)
}

/// Half the height of a residual axis: room for all `sizes`, and never so fine that nothing
/// matters any more (a thousandth of the beam).
pub fn half_range(sizes: impl Iterator<Item = f64>, beamwidth: Angle) -> f64 {
    let largest = sizes.filter(|s| s.is_finite()).fold(0.0, f64::max);
    (largest * 1.12).max(beamwidth.degrees() * 1e-3).max(1e-6)
}

/// The largest share of `from` that leaves at most `most` of them: every how-manyth to show.
pub fn thinning(count: usize, most: usize) -> usize {
    count.div_ceil(most.max(1)).max(1)
}

/// What stands in the corner of every picture: the site and its days.
pub fn stamp(report: &Report) -> String {
    stamp_of(&report.station.site.name, &report.outcome.peaks)
}

/// The same, of a site and its peaks.
pub fn stamp_of(site: &str, peaks: &[PeakOutcome]) -> String {
    let mut times = peaks.iter().map(|p| p.time);
    let site = crate::problem::printable(site);
    let Some(first) = times.next() else {
        return site;
    };
    let (first, last) = times.fold((first, first), |(a, b), t| (a.min(t), b.max(t)));
    let day = |t: crate::time::Utc| t.to_string().chars().take(10).collect::<String>();
    let (from, to) = (day(first), day(last));
    if from == to {
        format!("{site}, {from}")
    } else {
        format!("{site}, {from} to {to}")
    }
}

/// How many peaks are shown and how many of them the fit used.
pub fn used_words(report: &Report) -> (String, String) {
    let all = report.outcome.peaks.len();
    let used = report.outcome.peaks.iter().filter(|p| p.used).count();
    (
        format!("used ({})", number::count(used)),
        format!("not used ({})", number::count(all - used)),
    )
}

/// What a shaded cell means, behind the count of peaks.
pub fn shaded_words(count_words: &str, most: u32) -> String {
    let most = number::count(most as usize);
    format!("{count_words}: up to {most} in a cell, the darker the more")
}
