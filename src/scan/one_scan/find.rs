//! A rough search for the emitter, and a test whether it is in the scan at all.

use super::passes::{ScanPass, ScanShape};
use super::point::ScanPoint;
use super::setup::{ExpectedBeam, is_area};
use super::start::{FoundBeam, along, over};
use super::tuned::SIGMAS_OF_A_SIGNAL;
use crate::scan::ScanAxis;
use crate::scan::reason::Reason;

/// Finds the emitter roughly; `None` if no emitter is found. `clean` is the power without spikes.
pub(crate) fn find(
    points: &[ScanPoint],
    clean: &[f64],
    shape: ScanShape,
    passes: &[ScanPass],
    expected: &ExpectedBeam,
    reasons: &mut Vec<Reason>,
) -> Option<FoundBeam> {
    let beam = expected.beam();
    let width = expected.chord();
    let beam = (&beam, expected.radius());
    let seen = |found: &Option<FoundBeam>| {
        let significance = found.map_or(0.0, |f| f.significance);
        (significance >= SIGMAS_OF_A_SIGNAL, significance)
    };
    if is_area(shape) {
        let found = over(points, width, beam);
        let (yes, significance) = seen(&found);
        if !yes {
            reasons.push(Reason::NoSignal {
                axis: None,
                significance,
            });
        }
        return found.filter(|_| yes);
    }
    let azimuth = along(points, clean, passes, ScanAxis::Azimuth, width, beam);
    let elevation = along(points, clean, passes, ScanAxis::Elevation, width, beam);
    let ((a_seen, a), (e_seen, e)) = (seen(&azimuth), seen(&elevation));
    if !a_seen && !e_seen {
        reasons.push(Reason::NoSignal {
            axis: None,
            significance: a.max(e),
        });
        return None;
    }
    if shape == ScanShape::Cross && !(a_seen && e_seen) {
        let (axis, significance) = if a_seen {
            (ScanAxis::Elevation, e)
        } else {
            (ScanAxis::Azimuth, a)
        };
        reasons.push(Reason::NoSignal {
            axis: Some(axis),
            significance,
        });
    }
    let azimuth = azimuth.filter(|_| a_seen);
    let elevation = elevation.filter(|_| e_seen);
    // In the other axis of a cut the beam is assumed to have crossed the emitter as it passed.
    let beside = |along: ScanAxis, place: f64, axis: ScanAxis| {
        let nearest = points.iter().min_by(|p, q| {
            let away = |p: &ScanPoint| (p.offset(along) - place).abs();
            away(p).total_cmp(&away(q))
        });
        nearest.map_or(0.0, |p| p.offset(axis))
    };
    let strongest = match (azimuth, elevation) {
        (Some(a), Some(e)) if a.significance >= e.significance => a,
        (_, Some(e)) => e,
        (Some(a), None) => a,
        (None, None) => return None,
    };
    let by_elevation = || beside(ScanAxis::Elevation, strongest.elevation, ScanAxis::Azimuth);
    let by_azimuth = || beside(ScanAxis::Azimuth, strongest.azimuth, ScanAxis::Elevation);
    Some(FoundBeam {
        azimuth: azimuth.map_or_else(by_elevation, |f| f.azimuth),
        elevation: elevation.map_or_else(by_azimuth, |f| f.elevation),
        ..strongest
    })
}

/// The points and passes, leaving out the passes along an axis.
pub(crate) fn without(
    points: &[ScanPoint],
    passes: &[ScanPass],
    axis: ScanAxis,
) -> (Vec<ScanPoint>, Vec<ScanPass>) {
    let mut kept = Vec::new();
    let mut moved = Vec::new();
    for pass in passes.iter().filter(|p| p.axis != axis) {
        let from = kept.len();
        kept.extend_from_slice(&points[pass.from..pass.to]);
        moved.push(ScanPass {
            from,
            to: kept.len(),
            ..*pass
        });
    }
    (kept, moved)
}
