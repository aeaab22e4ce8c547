//! Judges a fit by itself.

use super::examine::Memory;
use super::fitted::FittedScan;
use super::model::ScanModel;
use super::noise::inflation;
use super::passes::{ScanPass, ScanShape};
use super::point::median;
use super::settle::SettledFit;
use super::setup::is_area;
use super::tuned::{
    CORRELATION_OF_ANOTHER_SHAPE, HEIGHT_OF_A_SECOND_SIGNAL, HEIGHTS_OF_A_DRIFT,
    INSIDE_FOR_TWO_FLANKS, LEFT_OVER_OF_ANOTHER_SHAPE, NEAR_THE_END, SIGMAS_OF_REPORTED_MEMORY,
    USUAL_STEPS_OF_A_GAP,
};
use crate::scan::ScanAxis;
use crate::scan::reason::{Reason, VAGUE};

/// Fewest samples within half a beamwidth of the peak, each axis: one each for position and height,
/// and one to spare.
const FEWEST_ON_PEAK: usize = 3;
/// A step between samples that is longer than this, in beamwidths, and [`USUAL_STEPS_OF_A_GAP`]
/// times as long as usual is a gap: four samples per beamwidth are the common minimum (common
/// practice, no source).
const HOLE: f64 = 0.3;
/// If more than this share of the samples is left out, there is interference; common practice, no
/// source.
const INTERFERENCE: f64 = 0.15;
/// This many samples left out in a row are not spikes; common practice, no source.
const IN_A_ROW: usize = 4;

/// Adds the reasons that follow from the fit alone; widths and positions are compared with the
/// other scans later.
pub(crate) fn add_reasons(
    model: &ScanModel<'_>,
    settled: &SettledFit,
    fitted: &FittedScan,
    left_over: &Memory,
    passes: &[ScanPass],
    shape: ScanShape,
    reasons: &mut Vec<Reason>,
) {
    flanks(fitted, passes, shape, reasons);
    let span = |values: &mut dyn Iterator<Item = f64>| {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for value in values {
            low = low.min(value);
            high = high.max(value);
        }
        (high - low).max(0.0)
    };
    let drift = span(&mut fitted.curve.points.iter().map(|p| p.baseline)) / fitted.height;
    if drift > HEIGHTS_OF_A_DRIFT {
        reasons.push(Reason::Drift { ratio: drift });
    }
    let smooth = left_over.smooth / fitted.height;
    let another =
        smooth > LEFT_OVER_OF_ANOTHER_SHAPE && left_over.correlation > CORRELATION_OF_ANOTHER_SHAPE;
    if left_over.significance > SIGMAS_OF_REPORTED_MEMORY && another {
        reasons.push(Reason::ScanShape { ratio: smooth });
    } else if left_over.significance > SIGMAS_OF_REPORTED_MEMORY {
        let factor = inflation(left_over);
        reasons.push(Reason::Correlated { factor });
    }
    spikes(model, settled, fitted, reasons);
    for axis in [ScanAxis::Azimuth, ScanAxis::Elevation] {
        vague(model, settled, fitted, axis, reasons);
    }
}

/// Whether the position along an axis is determined at all.
fn vague(
    model: &ScanModel<'_>,
    settled: &SettledFit,
    fitted: &FittedScan,
    axis: ScanAxis,
    reasons: &mut Vec<Reason>,
) {
    let layout = model.layout();
    let (unit, own) = match axis {
        ScanAxis::Azimuth => (model.azimuth.unit, layout.azimuth..layout.elevation),
        ScanAxis::Elevation => (model.elevation.unit, layout.elevation..layout.width),
    };
    let least = |sigmas: &mut dyn Iterator<Item = f64>| sigmas.fold(f64::INFINITY, f64::min);
    let sigma = match fitted.axis(axis) {
        Some(fit) => {
            let variance = (0..fit.offsets.len()).map(|k| fit.covariance[(k, k)]);
            least(&mut variance.map(|v| v.sqrt() / unit))
        }
        // All groups of passes missed the emitter.
        None if !own.is_empty() => {
            let sigmas = settled.solution.sigmas();
            least(&mut own.map(|j| sigmas[j] * settled.scatter))
        }
        None => return,
    };
    if sigma > VAGUE {
        reasons.push(Reason::Vague { axis, sigma });
    }
}

/// Checks that the peak has both flanks and enough samples along each measured axis.
fn flanks(fitted: &FittedScan, passes: &[ScanPass], shape: ScanShape, reasons: &mut Vec<Reason>) {
    let width = fitted.curve.width;
    for (axis, fit) in [
        (ScanAxis::Azimuth, &fitted.azimuth),
        (ScanAxis::Elevation, &fitted.elevation),
    ] {
        if fit.is_none() {
            continue;
        }
        let place = |i: usize| {
            let p = &fitted.curve.points[i];
            match axis {
                ScanAxis::Azimuth => p.x / width,
                ScanAxis::Elevation => p.y / width,
            }
        };
        let own: Vec<usize> = if is_area(shape) {
            (0..fitted.curve.points.len()).collect()
        } else {
            let along = passes.iter().filter(|p| p.axis == axis);
            along.flat_map(|p| p.from..p.to).collect()
        };
        let used = || own.iter().filter(|i| fitted.curve.points[**i].used);
        // Samples left out as a flat top also count: the scan extended over them.
        let low = own.iter().map(|i| place(*i)).fold(f64::INFINITY, f64::min);
        let high = own
            .iter()
            .map(|i| place(*i))
            .fold(f64::NEG_INFINITY, f64::max);
        let (before, behind) = (-low, high);
        let inside = before.min(behind);
        let beyond_end = behind < before;
        if inside < INSIDE_FOR_TWO_FLANKS {
            reasons.push(Reason::OneFlank {
                axis,
                inside,
                beyond_end,
            });
        } else if inside < NEAR_THE_END {
            reasons.push(Reason::NearEnd { axis, inside });
        }
        let on_flank =
            |from: f64, to: f64| used().filter(|i| (from..to).contains(&place(**i))).count();
        let (left, right) = (on_flank(-0.8, 0.0), on_flank(0.0, 0.8));
        let few = inside >= INSIDE_FOR_TWO_FLANKS
            && (left == 0 || right == 0 || left + right < FEWEST_ON_PEAK);
        let along = passes.iter().filter(|p| p.axis == axis);
        let holes: Vec<Option<Hole>> = along.map(|p| hole(p, place)).collect();
        let over_peak = |h: &Option<Hole>| h.is_some_and(|h| h.over_peak);
        let passed_over = !is_area(shape) && !holes.is_empty() && holes.iter().all(over_peak);
        if few || passed_over {
            reasons.push(Reason::Gap { axis });
        } else {
            let widest = holes.iter().flatten().map(|h| h.beams);
            let widest = widest.max_by(f64::total_cmp);
            reasons.extend(widest.map(|beams| Reason::Hole { axis, beams }));
        }
    }
}

/// A stretch of a pass without samples.
#[derive(Clone, Copy)]
struct Hole {
    beams: f64,
    /// Whether the peak lies in it.
    over_peak: bool,
}

/// The widest step between neighbouring samples of a pass, if samples are missing there.
fn hole(pass: &ScanPass, place: impl Fn(usize) -> f64) -> Option<Hole> {
    let steps: Vec<(f64, f64)> = (pass.from + 1..pass.to)
        .map(|i| (place(i - 1), place(i)))
        .collect();
    let length = |(from, to): &(f64, f64)| (to - from).abs();
    let usual = median(steps.iter().map(length).collect());
    let widest = steps
        .iter()
        .max_by(|a, b| length(a).total_cmp(&length(b)))?;
    let beams = length(widest);
    (beams > HOLE && beams > USUAL_STEPS_OF_A_GAP * usual).then_some(Hole {
        beams,
        over_peak: widest.0 * widest.1 < 0.0,
    })
}

/// Classifies the samples left out: single ones are spikes, many are interference, and several high
/// ones in a row are another signal.
fn spikes(
    model: &ScanModel<'_>,
    settled: &SettledFit,
    fitted: &FittedScan,
    reasons: &mut Vec<Reason>,
) {
    let top = reasons.iter().any(|r| matches!(r, Reason::FlatTop { .. }));
    let residuals: Vec<f64> = (0..model.points.len())
        .map(|i| settled.left(model, i))
        .collect();
    let limit = |i: usize| 4.0 * model.noise[i] * settled.scatter;
    // Samples left out as a flat top lie below the fit.
    let out: Vec<bool> = (0..residuals.len())
        .map(|i| !settled.used[i] && residuals[i].abs() > limit(i) && !(top && residuals[i] < 0.0))
        .collect();
    let count = out.iter().filter(|o| **o).count();
    if count == 0 {
        return;
    }
    let mut longest = (0, 0.0);
    let mut run = (0, 0.0);
    for (i, o) in out.iter().enumerate() {
        run = match o {
            true if run.0 > 0 && (run.1 > 0.0) == (residuals[i] > 0.0) => {
                (run.0 + 1, run.1 + residuals[i])
            }
            true => (1, residuals[i]),
            false => (0, 0.0),
        };
        if run.0 > longest.0 {
            longest = run;
        }
    }
    let ratio = longest.1 / longest.0.max(1) as f64 / fitted.height;
    if longest.0 >= IN_A_ROW && ratio > HEIGHT_OF_A_SECOND_SIGNAL {
        reasons.push(Reason::SecondSignal {
            samples: longest.0,
            ratio,
        });
    } else if count as f64 > INTERFERENCE * out.len() as f64 {
        reasons.push(Reason::Interference {
            samples: count,
            of: out.len(),
        });
    } else {
        reasons.push(Reason::Spikes { samples: count });
    }
}
