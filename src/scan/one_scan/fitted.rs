//! Results of a fit: encoder offsets with their uncertainty, width, height and noise.

use nalgebra::DMatrix;

use super::curve::FittedCurve;
use super::examine::{LeftOut, Memory, influence};
use super::model::ScanModel;
use super::noise::{few_samples, inflation};
use super::passes::ScanPass;
use super::settle::SettledFit;
use super::setup::{Group, Groups};
use super::tuned::UNCERTAINTY_OF_A_MISS;
use crate::scan::ScanAxis;

/// The encoder offsets (reading less the emitter's apparent position) of one axis.
#[derive(Clone, Debug)]
pub(crate) struct AxisFit {
    /// One for each group, radians of the axis.
    pub offsets: Vec<f64>,
    /// Their covariance.
    pub covariance: DMatrix<f64>,
    /// Direction and speed of each group, the speed taken at the peak.
    pub groups: Vec<Group>,
    /// Degrees by which each offset shifts per degree of each mount error because the scan covers
    /// part of the sky: one row per group.
    pub pull: DMatrix<f64>,
}

/// What was fitted to a scan.
#[derive(Clone, Debug)]
pub(crate) struct FittedScan {
    pub azimuth: Option<AxisFit>,
    pub elevation: Option<AxisFit>,
    /// Width over that expected, and the standard deviation of its logarithm.
    pub stretch: f64,
    pub stretch_sigma: f64,
    /// The longer of the two half-power widths of an ellipse or a cross over their geometric mean,
    /// and the standard deviation of its logarithm; 1 and 0 if none was fitted.
    pub elongation: f64,
    pub elongation_sigma: f64,
    /// Height of the strongest pass.
    pub height: f64,
    /// Standard deviation of a row at the peak.
    pub noise: f64,
    /// Baseline below the peak.
    pub level: f64,
    /// Log-likelihood of the radiometer law less that of steady noise.
    pub radiometer_evidence: Option<f64>,
    pub curve: FittedCurve,
}

impl FittedScan {
    /// The fit along an axis; `None` if it was not measured.
    pub fn axis(&self, axis: ScanAxis) -> Option<&AxisFit> {
        match axis {
            ScanAxis::Azimuth => self.azimuth.as_ref(),
            ScanAxis::Elevation => self.elevation.as_ref(),
        }
    }
}

#[allow(clippy::too_many_arguments)]
pub(crate) fn gather(
    model: &ScanModel<'_>,
    settled: &SettledFit,
    groups: &Groups,
    passes: &[ScanPass],
    left_out: Option<&LeftOut>,
    left_over: &Memory,
    evidence: Option<f64>,
) -> FittedScan {
    let layout = model.layout();
    let p = settled.parameters();
    let moved = influence(left_out, p.len());
    let sigmas = settled.solution.sigmas();
    let scale = settled.scatter * inflation(left_over) * few_samples(settled);
    let covariance = settled.solution.covariance() * scale.powi(2) + &moved.covariance;
    let axis = |axis: ScanAxis, groups: &[Group], first: usize| -> Option<AxisFit> {
        if groups.is_empty() {
            return None;
        }
        let own = match axis {
            ScanAxis::Azimuth => &model.azimuth,
            ScanAxis::Elevation => &model.elevation,
        };
        // A group of passes that missed the emitter gives no information, whatever its covariance
        // says.
        let sigma = |k: &usize| sigmas[first + k] * settled.scatter;
        let told: Vec<usize> = (0..groups.len())
            .filter(|k| sigma(k) < UNCERTAINTY_OF_A_MISS)
            .collect();
        if told.is_empty() {
            return None;
        }
        let places: Vec<usize> = told.iter().map(|k| first + k).collect();
        let offset = |j: &usize| own.reference + own.unit * (p[*j] + moved.shift[*j]);
        let offsets: Vec<f64> = places.iter().map(offset).collect();
        let own_covariance = covariance.select_rows(&places).select_columns(&places);
        let mut groups: Vec<Group> = told.iter().map(|k| groups[*k].clone()).collect();
        for (group, offset) in groups.iter_mut().zip(&offsets) {
            refine_speed(group, *offset, axis, model, passes);
        }
        Some(AxisFit {
            offsets,
            covariance: own_covariance * (own.unit * own.unit),
            groups,
            pull: moved.pull.select_rows(&places) * own.unit.to_degrees(),
        })
    };
    let azimuth = axis(ScanAxis::Azimuth, &groups.azimuth, layout.azimuth);
    let elevation = axis(ScanAxis::Elevation, &groups.elevation, layout.elevation);
    let curve = FittedCurve::of(model, settled, passes);
    let (stretch, stretch_sigma) = stretch(model, settled);
    let (elongation, elongation_sigma) = elongation(model, settled, left_out);
    let (mut height, mut at_top) = (f64::NEG_INFINITY, 0);
    for h in 0..model.heights {
        if p[layout.heights + h] > height {
            height = p[layout.heights + h];
            let own = model.parts.iter().filter(|part| part.height == h);
            let points = own.flat_map(|part| part.points.clone());
            let responses = points.map(|i| (settled.at[i].response, i));
            // The first of equal ones.
            let nearest = responses.min_by(|a, b| b.0.total_cmp(&a.0));
            at_top = nearest.map_or(0, |(_, i)| i);
        }
    }
    let row_noise = model.noise[at_top] * model.points[at_top].rows.sqrt();
    FittedScan {
        azimuth,
        elevation,
        stretch,
        stretch_sigma,
        elongation,
        elongation_sigma,
        height,
        noise: row_noise * settled.scatter,
        level: settled.at[at_top].baseline,
        radiometer_evidence: evidence,
        curve,
    }
}

/// Width over that expected, and the standard deviation of its logarithm.
pub(crate) fn stretch(model: &ScanModel<'_>, settled: &SettledFit) -> (f64, f64) {
    let j = model.layout().width;
    let variance = settled.solution.covariance()[(j, j)];
    (
        settled.parameters()[j].exp(),
        variance.max(0.0).sqrt() * settled.scatter,
    )
}

/// The longer of the two widths of an ellipse or a cross over their geometric mean, and the
/// standard deviation of its logarithm.
fn elongation(
    model: &ScanModel<'_>,
    settled: &SettledFit,
    left_out: Option<&LeftOut>,
) -> (f64, f64) {
    if !model.elliptic {
        let apart = left_out.and_then(|left_out| left_out.widths_apart(settled));
        return apart.map_or((1.0, 0.0), |(apart, sigma)| (apart.exp(), sigma));
    }
    let j = model.layout().ellipse;
    let p = settled.parameters();
    let (wide2, slant) = ((2.0 * p[j]).exp(), p[j + 1]);
    // The form is x^2 / wide^2 + y^2 wide^2 + 2 slant x y; its smaller eigenvalue is one over
    // the square of the longer axis.
    let half = 0.5 * (wide2 + 1.0 / wide2);
    let least = half - (0.5 * (wide2 - 1.0 / wide2)).hypot(slant);
    let sigmas = settled.solution.sigmas();
    (
        1.0 / least.max(LEAST_FORM).sqrt(),
        sigmas[j].max(0.5 * sigmas[j + 1]) * settled.scatter,
    )
}

/// An ellipse is at most three times (the root of ten) as long as the mean of its widths: only
/// purpose-built dishes have a flatter beam.
const LEAST_FORM: f64 = 0.1;

/// Sets the group's speed at the emitter: zero for a stepped group, otherwise the slope of a
/// straight line through the points within half a beamwidth of it.
fn refine_speed(
    group: &mut Group,
    offset: f64,
    axis: ScanAxis,
    model: &ScanModel<'_>,
    passes: &[ScanPass],
) {
    let unit = match axis {
        ScanAxis::Azimuth => model.azimuth.unit,
        ScanAxis::Elevation => model.elevation.unit,
    };
    let mut speeds = Vec::new();
    for pass in group.passes.iter().map(|i| &passes[*i]) {
        if pass.by_steps {
            speeds.push(0.0);
            continue;
        }
        let near: Vec<(f64, f64)> = model.points[pass.from..pass.to]
            .iter()
            .map(|p| match axis {
                ScanAxis::Azimuth => (p.seconds, p.azimuth - p.emitter.azimuth),
                ScanAxis::Elevation => (p.seconds, p.elevation - p.emitter.elevation),
            })
            .filter(|(_, place)| (place - offset).abs() < 0.5 * unit)
            .collect();
        let n = near.len() as f64;
        let (mt, mx) = near
            .iter()
            .fold((0.0, 0.0), |(t, x), p| (t + p.0 / n, x + p.1 / n));
        let (mut tt, mut tx) = (0.0, 0.0);
        for (t, x) in &near {
            tt += (t - mt) * (t - mt);
            tx += (t - mt) * (x - mx);
        }
        if near.len() >= 3 && tt > 0.0 {
            speeds.push(tx / tt);
        }
    }
    if !speeds.is_empty() {
        group.speed = speeds.iter().sum::<f64>() / speeds.len() as f64;
    }
}
