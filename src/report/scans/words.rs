//! Names and words that the pictures of scans share.

use crate::number;
use crate::plot::{Colour, Marker, colours};
use crate::scan::{AxisPeak, ReducedScan, ScanVerdict};

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

pub(super) fn shape_words(scan: &ReducedScan) -> String {
    let verdict = match scan.verdict {
        ScanVerdict::Good => String::new(),
        other => format!(" ({})", other.word()),
    };
    let shape = match scan.shape.word() {
        word @ ("azimuth" | "elevation") => format!("a cut along {word}"),
        "cross" => "a cross".to_owned(),
        "slanting" => "along both axes at once".to_owned(),
        "still" => "standing".to_owned(),
        word => format!("a {word}"),
    };
    format!("{shape}{verdict}")
}

/// Lowest and highest finite value with a margin of this part of their distance.
pub(super) fn range(values: impl Iterator<Item = f64>, margin: f64) -> (f64, f64) {
    let (low, high) = values
        .filter(|v| v.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
            (a.min(v), b.max(v))
        });
    if low > high {
        return (0.0, 1.0);
    }
    let pad = (high - low) * margin;
    (low - pad, high + pad)
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
        ScanVerdict::Good => "Good",
        ScanVerdict::Poor => "Poor",
        ScanVerdict::Refused => "Refused",
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
pub(super) fn mark(verdict: ScanVerdict) -> (Marker, Colour) {
    match verdict {
        ScanVerdict::Good => (Marker::Disc, colours::BLUE),
        ScanVerdict::Poor => (Marker::Diamond, colours::ORANGE),
        ScanVerdict::Refused => (Marker::Cross, colours::VERMILLION),
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
