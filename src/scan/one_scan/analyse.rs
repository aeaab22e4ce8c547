//! Analysis of one scan: from its points to encoder offsets with their uncertainty, and reasons to
//! doubt them.

use super::beam_frame::Fixed;
use super::curve::FittedCurve;
use super::examine::{LeftOut, below, flat_top, memory, stands_above};
use super::find::{find, without};
use super::fitted::{FittedScan, gather, stretch};
use super::judge;
use super::model::{Column, ScanModel};
use super::noise::{NoiseLaw, radiometer_evidence, set_noise, with_radiometer_noise};
use super::passes::{ScanPass, ScanShape, passes};
use super::point::{ScanPoint, ScanPoints};
use super::settle::{SettledFit, settle, start};
use super::setup::{ExpectedBeam, Groups, curvatures, model};
use super::start::without_spikes;
use super::thin::{thinned, thinned_points};
use super::tuned::POINTS_A_BEAM;
use crate::scan::ScanAxis;
use crate::scan::reason::Reason;
use crate::time::Utc;

/// The analysis of one scan by itself.
#[derive(Clone, Debug)]
pub(crate) struct Analysis {
    pub mid: Utc,
    /// The emitter's position at mid time.
    pub emitter: Fixed,
    pub shape: ScanShape,
    /// An encoder reading near the middle of the scan, radians: it fixes the turn of the azimuth.
    pub near: (f64, f64),
    pub reasons: Vec<Reason>,
    pub fitted: Option<FittedScan>,
    /// The samples if nothing was fitted, for plots.
    pub bare: Option<FittedCurve>,
}

/// Too few points to fit below this: a beam and its baseline have five parameters, which leaves
/// three for the noise.
const FEWEST: usize = 8;

/// Analyses one scan.
pub(crate) fn analyse(points: &ScanPoints, expected: &ExpectedBeam, law: NoiseLaw) -> Analysis {
    let mut analysis = Analysis {
        mid: points.mid,
        emitter: points.emitter,
        shape: ScanShape::Still,
        near: near(&points.points),
        reasons: points.reasons.clone(),
        fitted: None,
        bare: None,
    };
    if points.points.len() < FEWEST {
        analysis.reasons.push(Reason::TooFew {
            samples: points.points.len(),
        });
        return analysis;
    }
    let (shape, all) = passes(points, expected.width);
    analysis.shape = shape;
    if let Some(beams) = unfollowed(points, expected.width) {
        analysis.reasons.push(Reason::Unfollowed { beams });
    }
    if let Some(beams) = unmoved(points, expected.width) {
        analysis.shape = ScanShape::Still;
        analysis.reasons.push(Reason::Unmoved { beams });
        return analysis;
    }
    if timeless(points, &all) {
        analysis.reasons.push(Reason::NoTime);
    }
    match shape {
        ScanShape::Still => analysis.reasons.push(Reason::Still),
        ScanShape::Slanting => analysis.reasons.push(Reason::Slanting),
        _ => {
            analysis.fitted = fit_scan(points, shape, &all, expected, law, &mut analysis.reasons);
        }
    }
    analysis
}

/// How many beamwidths the emitter moved away from a mount that did not follow it; `None` if they
/// are few.
fn unfollowed(points: &ScanPoints, width: f64) -> Option<f64> {
    let first = points.points.first()?;
    let last = points.points.last()?;
    let step = |from: (f64, f64), to: (f64, f64)| {
        let cross = (to.0 - from.0) * points.emitter.cos;
        cross.hypot(to.1 - from.1) / width
    };
    let emitter = |p: &ScanPoint| (p.emitter.azimuth, p.emitter.elevation);
    let offset = |p: &ScanPoint| (p.offset(ScanAxis::Azimuth), p.offset(ScanAxis::Elevation));
    let moved = step(emitter(first), emitter(last));
    let away = step(offset(first), offset(last));
    (moved.min(away) > FAR_AWAY).then_some(moved)
}

/// Whether all samples of every pass, or of a scan without passes, have the same time. (One advance
/// of time is allowed: it may be that from the previous pass.)
fn timeless(points: &ScanPoints, passes: &[ScanPass]) -> bool {
    let all = &points.points;
    let stands = |from: usize, to: usize| {
        let advances = all[from..to]
            .windows(2)
            .filter(|w| w[1].seconds > w[0].seconds);
        advances.count() < 2
    };
    stands(0, all.len()) || (!passes.is_empty() && passes.iter().all(|p| stands(p.from, p.to)))
}

/// Range of the encoder readings in beamwidths, if too small to be motion; otherwise `None`. An
/// emitter drifting through the beam of a parked dish looks the same as one scanned with both
/// encoders stuck, in which case the readings are not the dish's position.
fn unmoved(points: &ScanPoints, width: f64) -> Option<f64> {
    let extent = |reading: fn(&ScanPoint) -> f64| {
        let readings = || points.points.iter().map(reading);
        let high = readings().fold(f64::NEG_INFINITY, f64::max);
        high - readings().fold(f64::INFINITY, f64::min)
    };
    let cross = extent(|p| p.azimuth) * points.emitter.cos;
    let beams = cross.hypot(extent(|p| p.elevation)) / width;
    (beams < JITTER).then_some(beams)
}

/// Encoders that move less than this, in beamwidths, stand still: this is jitter. Common practice,
/// no source.
const JITTER: f64 = 0.05;

/// An emitter that moves this many beamwidths has left a stationary mount's beam: the main lobe and
/// three sidelobes have passed.
const FAR_AWAY: f64 = 5.0;

/// A reading near the middle of the scan.
fn near(points: &[ScanPoint]) -> (f64, f64) {
    points
        .get(points.len() / 2)
        .map_or((0.0, 0.0), |p| (p.azimuth, p.elevation))
}

fn fit_scan(
    all: &ScanPoints,
    shape: ScanShape,
    passes: &[ScanPass],
    expected: &ExpectedBeam,
    law: NoiseLaw,
    reasons: &mut Vec<Reason>,
) -> Option<FittedScan> {
    let (mut points, mut passes) = if shape == ScanShape::Map {
        let beams = all.points.len() as f64 / POINTS_A_BEAM;
        (thinned_points(&all.points, beams), Vec::new())
    } else {
        thinned(&all.points, passes, expected.width)
    };
    if points.len() < FEWEST {
        reasons.push(Reason::TooFew {
            samples: points.len(),
        });
        return None;
    }
    let smooth = |points: &[ScanPoint], passes: &[ScanPass]| {
        let ranges: Vec<(usize, usize)> = passes.iter().map(|p| (p.from, p.to)).collect();
        without_spikes(points, &ranges)
    };
    let mut clean = smooth(&points, &passes);
    let found = find(&points, &clean, shape, &passes, expected, reasons)?;
    for axis in [ScanAxis::Azimuth, ScanAxis::Elevation] {
        let unseen = reasons
            .iter()
            .any(|r| matches!(r, Reason::NoSignal { axis: Some(a), .. } if *a == axis));
        if unseen {
            (points, passes) = without(&points, &passes, axis);
            clean = smooth(&points, &passes);
        }
    }
    if points.len() < FEWEST {
        reasons.push(Reason::TooFew {
            samples: points.len(),
        });
        return None;
    }
    let groups = Groups::of(shape, &passes);
    let emitter = all.emitter;
    let mut model = model(
        &points,
        shape,
        &passes,
        &groups,
        expected,
        &emitter,
        (found.azimuth, found.elevation),
    );
    set_noise(&mut model, found.noise, |_| 1.0);
    let usable = vec![true; points.len()];
    let first = start(&model, &clean, found.stretch.ln(), &usable);
    // A fit that starts with spikes included may take one for the beam.
    let no_spike: Vec<bool> = points
        .iter()
        .zip(&clean)
        .map(|(p, c)| p.power == *c)
        .collect();
    let mut settled = settle(&model, &first, &usable, &no_spike).ok()?;
    let mut evidence = None;
    // The noise law, curvature and a flat top each change the model; each is tried once, in this
    // order.
    evidence = radiometer_evidence(&model, &settled).or(evidence);
    if law == NoiseLaw::Radiometer {
        settled = with_radiometer_noise(&mut model, settled, found.noise, &usable)?;
    }
    let left_out = |model: &ScanModel<'_>, settled: &SettledFit, curvatures: Vec<Column>| {
        LeftOut::of(model, settled, shape, &passes, &emitter, curvatures)
    };
    let possible = curvatures(&points, shape, &passes, model.elevation.unit);
    let mut beside = left_out(&model, &settled, possible);
    let asked = (beside.as_ref()).map_or(&[][..], |beside| beside.curvatures_asked(&settled));
    if !asked.is_empty() {
        settled = with_columns(&mut model, &settled, asked.to_vec(), &usable)?;
        beside = left_out(&model, &settled, Vec::new());
    }
    let mut left_over = memory(&model, &settled, &passes);
    let (stretch, stretch_sigma) = stretch(&model, &settled);
    let suspicious = left_over.significance > 3.0 || stretch > 1.05 + 2.0 * stretch_sigma;
    if let Some(suspect) = flat_top(&model, &settled, suspicious) {
        let fit =
            |keep: &[bool]| settle(&model, &start(&model, &clean, 0.0, keep), keep, &no_spike).ok();
        let flat = fit(&suspect.keep).filter(|without| {
            suspect.certain || stands_above(&model, without, &suspect.keep, &settled.used)
        });
        if let Some(without) = flat {
            // Near the limit the noise is clipped on one side, so which points to leave out is
            // decided by the fit and not by the power.
            let keep = below(&model, &without, suspect.top);
            let again = fit(&keep).filter(|_| keep.iter().filter(|k| **k).count() > FEWEST);
            settled = again.unwrap_or(without);
            let samples = keep.iter().filter(|k| !**k).count();
            reasons.push(Reason::FlatTop { samples });
            left_over = memory(&model, &settled, &passes);
            beside = left_out(&model, &settled, Vec::new());
        }
    }
    let fitted = gather(
        &model,
        &settled,
        &groups,
        &passes,
        beside.as_ref(),
        &left_over,
        evidence,
    );
    judge::add_reasons(
        &model, &settled, &fitted, &left_over, &passes, shape, reasons,
    );
    Some(fitted)
}

/// Refits with additional baseline columns; `None` if the fit fails.
fn with_columns(
    model: &mut ScanModel<'_>,
    settled: &SettledFit,
    columns: Vec<Column>,
    usable: &[bool],
) -> Option<SettledFit> {
    let mut p = settled.parameters().to_vec();
    let behind = model.layout().azimuth;
    p.splice(behind..behind, columns.iter().map(|_| 0.0));
    model.baseline.extend(columns);
    settle(model, &p, usable, &settled.used).ok()
}
