//! A scan's samples with the fit to them, for plots.

use super::beam::Beam;
use super::model::ScanModel;
use super::passes::{ScanPass, passes};
use super::point::ScanPoints;
use super::settle::SettledFit;
use super::setup::ExpectedBeam;
use super::thin::{thinned, thinned_points};
use super::tuned::POINTS_A_BEAM;
use crate::scan::ScanAxis;

/// The points with the fit.
#[derive(Clone, Debug, Default)]
pub(crate) struct FittedCurve {
    pub points: Vec<CurvePoint>,
    /// Empty for a map, which has no passes.
    pub passes: Vec<ScanPass>,
    /// The beam's expected width, radians.
    pub width: f64,
    /// The fitted beam; `None` if nothing was fitted.
    pub lobe: Option<Lobe>,
}

/// One point. Offsets are those of the beam on the sky, radians, from the fitted peak or, without a
/// fit, from the middle of the scan.
#[derive(Clone, Copy, Debug)]
pub(crate) struct CurvePoint {
    pub x: f64,
    pub y: f64,
    pub power: f64,
    /// Modelled power, and the baseline included in it; not finite without a fit.
    pub fit: f64,
    pub baseline: f64,
    /// Standard deviation of the point.
    pub noise: f64,
    pub used: bool,
}

/// The fitted beam.
#[derive(Clone, Debug)]
pub(crate) struct Lobe {
    beam: Beam,
    /// Radius of the disc over the width.
    radius: f64,
    /// Half-power width, radians.
    width: f64,
    /// Elliptical stretch along the azimuth axis, and slant.
    ellipse: (f64, f64),
}

impl Lobe {
    /// The contour at which the response is this fraction of that at the centre, as a closed line
    /// of offsets in radians on the sky.
    pub fn contour(&self, level: f64) -> Vec<(f64, f64)> {
        let value = |r: f64| self.beam.response(r * r, self.radius).value;
        let middle = value(0.0);
        let (mut inside, mut outside) = (0.0, 1.2 + self.radius);
        for _ in 0..40 {
            let r = 0.5 * (inside + outside);
            if value(r) > level * middle {
                inside = r;
            } else {
                outside = r;
            }
        }
        let (wide, slant) = self.ellipse;
        (0..=CORNERS)
            .map(|i| {
                let (s, c) = (std::f64::consts::TAU * i as f64 / CORNERS as f64).sin_cos();
                let form = c * c / (wide * wide) + s * s * wide * wide + 2.0 * slant * s * c;
                let r = inside * self.width / form.max(f64::MIN_POSITIVE).sqrt();
                (r * c, r * s)
            })
            .collect()
    }
}

/// Corners of a contour, one every four degrees, so that it looks smooth.
const CORNERS: usize = 90;

impl FittedCurve {
    /// The curve of a fit.
    pub fn of(model: &ScanModel<'_>, settled: &SettledFit, passes: &[ScanPass]) -> FittedCurve {
        let layout = model.layout();
        let p = settled.parameters();
        let mut points = Vec::with_capacity(model.points.len());
        for part in &model.parts {
            let (azimuth, elevation) = model.offsets(part, p);
            points.extend(part.points.clone().map(|i| {
                let (point, at) = (&model.points[i], &settled.at[i]);
                CurvePoint {
                    x: (point.offset(ScanAxis::Azimuth) - azimuth) * point.emitter.cos,
                    y: point.offset(ScanAxis::Elevation) - elevation,
                    power: point.power,
                    fit: at.power(),
                    baseline: at.baseline,
                    noise: model.noise[i] * settled.scatter,
                    used: settled.used[i],
                }
            }));
        }
        let grown = p[layout.width].exp();
        let ellipse = if model.elliptic {
            (p[layout.ellipse].exp(), p[layout.ellipse + 1])
        } else {
            (1.0, 0.0)
        };
        FittedCurve {
            points,
            passes: passes.to_vec(),
            width: model.elevation.unit,
            lobe: Some(Lobe {
                beam: model.beam.clone(),
                radius: model.radius / grown,
                width: model.elevation.unit * grown,
                ellipse,
            }),
        }
    }

    /// The curve of a scan without a fit.
    pub fn bare(points: &ScanPoints, expected: &ExpectedBeam) -> FittedCurve {
        let (_, all) = passes(points, expected.width);
        let (kept, passes) = if all.is_empty() {
            let beams = points.points.len() as f64 / POINTS_A_BEAM;
            (thinned_points(&points.points, beams), all)
        } else {
            thinned(&points.points, &all, expected.width)
        };
        let n = kept.len().max(1) as f64;
        let offset = |p: &super::point::ScanPoint| {
            (
                p.azimuth - p.emitter.azimuth,
                p.elevation - p.emitter.elevation,
            )
        };
        let (azimuth, elevation) = kept
            .iter()
            .map(offset)
            .fold((0.0, 0.0), |sum, o| (sum.0 + o.0 / n, sum.1 + o.1 / n));
        let points = kept
            .iter()
            .map(|point| {
                let (a, e) = offset(point);
                CurvePoint {
                    x: (a - azimuth) * point.emitter.cos,
                    y: e - elevation,
                    power: point.power,
                    fit: f64::NAN,
                    baseline: f64::NAN,
                    noise: f64::NAN,
                    used: true,
                }
            })
            .collect();
        FittedCurve {
            points,
            passes,
            width: expected.width,
            lobe: None,
        }
    }
}
