//! Names and words that the pictures of scans share.

use crate::report::chart::{Colour, Marker, colours};
use crate::report::number;
use crate::scan::{AxisPeak, ReducedScan, Verdict};
use crate::station::Station;

/// The name of a scan's files: its place in the log, and its own name as far as it is safe.
pub(super) fn file_stem(index: usize, name: &str) -> String {
    let number = index + 1;
    let safe: String = name
        .chars()
        .map(|c| match c {
            c if c.is_ascii_alphanumeric() => c,
            '-' | '_' => c,
            _ => '-',
        })
        .take(40)
        .collect();
    if name == number.to_string() {
        format!("scan-{number:04}")
    } else {
        format!("scan-{number:04}-{safe}")
    }
}

/// What stands at the right of a scan's heading.
pub(super) fn stamp(scan: &ReducedScan, station: &Station) -> String {
    format!("{}, {}", station.site.name, scan.time)
}

/// A scan's peak and verdict in a few sentences.
pub(super) fn caption(scan: &ReducedScan) -> String {
    let mut parts = Vec::new();
    for (axis, peak) in [("azimuth", &scan.azimuth), ("elevation", &scan.elevation)] {
        parts.extend(peak.as_ref().map(|p| reading(axis, p)));
    }
    let mut text = match parts.is_empty() {
        true => "No peak.".to_owned(),
        false => format!("Peak at {}.", parts.join(", ")),
    };
    if let Some(ratio) = scan.signal_to_noise.filter(|_| !parts.is_empty()) {
        text.push_str(&format!(
            " Signal to noise {}.",
            number::significant(ratio, 2)
        ));
    }
    let verdict = match scan.verdict {
        Verdict::Good => "Good",
        Verdict::Poor => "Poor",
        Verdict::Refused => "Refused",
    };
    let why = scan.why();
    match why.is_empty() {
        true => text.push_str(&format!(" {verdict}.")),
        false => text.push_str(&format!(" {verdict}: {why}.")),
    }
    text
}

fn reading(axis: &str, peak: &AxisPeak) -> String {
    let (value, sigma) = number::with_sigma(peak.reading.degrees(), peak.sigma.degrees());
    format!("{axis} {value} deg (± {sigma} on the sky)")
}

/// The mark of a verdict.
pub(super) fn mark(verdict: Verdict) -> (Marker, Colour) {
    match verdict {
        Verdict::Good => (Marker::Disc, colours::BLUE),
        Verdict::Poor => (Marker::Diamond, colours::ORANGE),
        Verdict::Refused => (Marker::Cross, colours::VERMILLION),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn file_names_are_safe_and_tell_scans_apart() {
        assert_eq!(file_stem(6, "7"), "scan-0007");
        assert_eq!(file_stem(7, "7"), "scan-0008-7");
        assert_eq!(file_stem(0, "../a b"), "scan-0001----a-b");
    }
}
