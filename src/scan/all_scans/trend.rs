//! How the encoder offsets of a file's scans are related: how they change over the sky, with
//! speed (lag) and with direction (backlash).
//!
//! An axis's offset (encoder less sky) is the sum of its zero, the effect of the mount's errors at
//! the emitter's position (see [`error_changes`]) and the axis's speed relative to the emitter
//! times the lag, less half the backlash times the direction. Whatever else the mount does is
//! treated as one more random offset for each scan, whose size is estimated from the scatter. With
//! the offsets o of a scan's axis, the design matrix A of the parameters p, the covariance C of the
//! offsets and the additional scatter t, the fit minimises
//!
//! ```text
//! sum over scans (o - A p)' (C + t^2 1 1')^-1 (o - A p) + sum_j (p_j / usual_j)^2
//! ```

use nalgebra::{DMatrix, DVector};

use super::tuned::ROUNDS_OF_WEIGHTS;
use crate::angle::Angle;
use crate::fit::{Block, FitError, Model, Options, Prior, Unevaluable, fit};
use crate::scan::ScanAxis;
use crate::scan::one_scan::analyse::Analysis;
use crate::scan::one_scan::error_changes::{self, ERRORS};
use crate::scan::one_scan::fitted::AxisFit;
use crate::scan::one_scan::point::{SIGMA_OF_MEDIAN, median};
use crate::scan::one_scan::settle::BIWEIGHT;

/// Indices of the parameters (angles in degrees, lags in seconds): first the two zeros,
const AZIMUTH_ZERO: usize = 0;
/// in this order,
const ELEVATION_ZERO: usize = 1;
/// then the errors of [`error_changes`], in its order,
const FIRST_ERROR: usize = 2;
/// then the lag of each axis with its backlash behind it.
const AZIMUTH_LAG: usize = FIRST_ERROR + ERRORS;
/// As for azimuth.
const ELEVATION_LAG: usize = AZIMUTH_LAG + 2;
/// How many parameters there are.
const COUNT: usize = ELEVATION_LAG + 2;

/// Prior standard deviations for a home-made mount, in the order above: zeros may be anything,
/// tilts a degree, collimation and droop half a degree, skew less; lags a few seconds, backlash a
/// few degrees (common practice, no source). They matter only for parameters that the data do not
/// determine.
const USUAL: [f64; COUNT] = [1e4, 1e4, 1.0, 1.0, 0.5, 0.3, 0.5, 5.0, 3.0, 5.0, 3.0];

/// Number of corrections to an axis's offset: lag (its factor is the speed, degrees of the axis per
/// second), backlash, and the errors of [`error_changes`].
pub(crate) const TAKEN: usize = 2 + ERRORS;

/// Index of an axis's lag; its backlash follows.
fn lag_of(axis: ScanAxis) -> usize {
    match axis {
        ScanAxis::Azimuth => AZIMUTH_LAG,
        ScanAxis::Elevation => ELEVATION_LAG,
    }
}

/// Indices of the parameters of the [`TAKEN`] corrections.
fn taken_of(axis: ScanAxis) -> [usize; TAKEN] {
    std::array::from_fn(|j| match j {
        0 | 1 => lag_of(axis) + j,
        _ => FIRST_ERROR + j - 2,
    })
}

/// The offsets of one axis in one scan.
#[derive(Clone, Debug)]
struct Measured {
    scan: usize,
    axis: ScanAxis,
    /// One row for each group.
    rows: DMatrix<f64>,
    values: DVector<f64>,
    covariance: DMatrix<f64>,
}

/// The trend of a file.
#[derive(Clone, Debug)]
pub(crate) struct Trend {
    parameters: Vec<f64>,
    covariance: DMatrix<f64>,
    /// Scatter between scans beyond their own noise, degrees on the sky.
    pub scatter: f64,
    measured: Vec<Measured>,
}

/// A value with its standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// One standard deviation.
    pub sigma: f64,
}

impl Trend {
    /// Fits the trend to the scans marked as usable; `None` if none has a fitted peak or the fit
    /// fails.
    pub fn of(scans: &[(&Analysis, bool)]) -> Option<Trend> {
        let measured = measured(scans);
        if measured.is_empty() {
            return None;
        }
        let mut trend = Trend {
            parameters: vec![0.0; COUNT],
            covariance: DMatrix::zeros(COUNT, COUNT),
            scatter: 0.0,
            measured,
        };
        let mut weights = vec![1.0; trend.measured.len()];
        // Starting with all scans equally uncertain keeps a few outliers with small sigmas from
        // dominating the fit.
        trend.scatter = trend.spread();
        for _ in 0..ROUNDS_OF_WEIGHTS {
            trend.fit(&weights).ok()?;
            trend.scatter = trend.scatter_beyond_noise();
            let outside: Vec<f64> = trend.measured.iter().map(|m| trend.deviation(m)).collect();
            weights = outside
                .iter()
                .map(|u| (1.0 - (u / BIWEIGHT).powi(2)).max(0.0).powi(2))
                .collect();
        }
        // In the final fit every scan that is not rejected has full weight.
        let belongs = |w: &f64| if *w > 0.0 { 1.0 } else { 0.0 };
        let weights: Vec<f64> = weights.iter().map(belongs).collect();
        trend.fit(&weights).ok()?;
        Some(trend)
    }

    fn fit(&mut self, weights: &[f64]) -> Result<(), FitError> {
        let options = Options {
            priors: USUAL
                .iter()
                .enumerate()
                .map(|(j, sigma)| Prior::on(j, 0.0, *sigma))
                .collect(),
            weights: Some(weights.to_vec()),
            ..Options::default()
        };
        let model = Whitened::of(&self.measured, self.scatter);
        let solution = fit(&model, &self.parameters, &options)?;
        self.covariance = solution.covariance();
        self.parameters = solution.parameters;
        Ok(())
    }

    /// Robust standard deviation of the offsets of an axis on the sky; the larger of the two axes.
    fn spread(&self) -> f64 {
        let spread = |axis: ScanAxis| {
            let all = self.measured.iter().filter(|m| m.axis == axis);
            let means: Vec<f64> = all.map(|m| m.values.mean()).collect();
            let middle = median(means.clone());
            SIGMA_OF_MEDIAN * median(means.iter().map(|m| (m - middle).abs()).collect())
        };
        spread(ScanAxis::Azimuth).max(spread(ScanAxis::Elevation))
    }

    /// The mean of a scan's offsets in an axis less its expected value, and its variance without
    /// the scatter between scans.
    fn mean_residual(&self, m: &Measured) -> (f64, f64) {
        let left = &m.values - &m.rows * DVector::from_column_slice(&self.parameters);
        let n = left.len() as f64;
        (left.mean(), m.covariance.sum() / (n * n))
    }

    /// The absolute mean residual in standard deviations, scatter included.
    fn deviation(&self, m: &Measured) -> f64 {
        let (mean, variance) = self.mean_residual(m);
        mean.abs()
            / (variance + self.scatter.powi(2))
                .sqrt()
                .max(f64::MIN_POSITIVE)
    }

    /// The scatter at which the median deviation is that of normal noise, corrected for the degrees
    /// of freedom that the parameters use.
    fn scatter_beyond_noise(&self) -> f64 {
        let all: Vec<(f64, f64)> = self
            .measured
            .iter()
            .map(|m| self.mean_residual(m))
            .collect();
        let n = all.len() as f64;
        let told = USUAL.iter().enumerate();
        let paid: f64 = told
            .map(|(j, usual)| 1.0 - self.covariance[(j, j)] / (usual * usual))
            .sum();
        let correction = (n / (n - paid).max(1.0)).sqrt();
        let middle = |scatter: f64| {
            let sizes = all
                .iter()
                .map(|(r, v)| r.abs() / (v + scatter * scatter).sqrt());
            correction * median(sizes.collect()) / MIDDLE_OF_NORMAL
        };
        if middle(0.0) <= 1.0 {
            return 0.0;
        }
        let (mut low, mut high) = (0.0, 360.0);
        for _ in 0..60 {
            let scatter = 0.5 * (low + high);
            if middle(scatter) > 1.0 {
                low = scatter;
            } else {
                high = scatter;
            }
        }
        high
    }

    /// How far a scan's axis lies from the trend of the others, degrees on the sky, and in standard
    /// deviations; `None` if it was not measured.
    pub fn departure(&self, scan: usize, axis: ScanAxis) -> Option<(f64, f64)> {
        let m = self.find(scan, axis)?;
        Some((self.mean_residual(m).0, self.deviation(m)))
    }

    fn find(&self, scan: usize, axis: ScanAxis) -> Option<&Measured> {
        // They are sorted by scan.
        let first = self.measured.partition_point(|m| m.scan < scan);
        let own = self.measured[first..].iter().take_while(|m| m.scan == scan);
        own.into_iter().find(|m| m.axis == axis)
    }

    /// The axis's lag in seconds, from the data and the prior.
    pub fn lag(&self, axis: ScanAxis) -> Estimate {
        self.estimate(lag_of(axis))
    }
    /// The axis's backlash in degrees, from the data and the prior.
    pub fn backlash(&self, axis: ScanAxis) -> Estimate {
        self.estimate(lag_of(axis) + 1)
    }
    fn estimate(&self, j: usize) -> Estimate {
        Estimate {
            value: self.parameters[j],
            sigma: self.covariance[(j, j)].max(0.0).sqrt(),
        }
    }

    /// The shift due to lag and backlash at a speed (degrees per second) and a direction, degrees.
    pub fn shift(&self, axis: ScanAxis, speed: f64, sign: f64) -> Estimate {
        self.combination(lag_of(axis), speed, -0.5 * sign)
    }

    /// Linear combination of two consecutive parameters, with factors `a` and `b`.
    fn combination(&self, first: usize, a: f64, b: f64) -> Estimate {
        let c = &self.covariance;
        let second = first + 1;
        let variance = a * a * c[(first, first)]
            + 2.0 * a * b * c[(first, second)]
            + b * b * c[(second, second)];
        Estimate {
            value: a * self.parameters[first] + b * self.parameters[second],
            sigma: variance.max(0.0).sqrt(),
        }
    }

    /// The correction to the offsets for these factors (one row per group), degrees of the axis.
    pub fn taken(&self, axis: ScanAxis, take: &DMatrix<f64>) -> DVector<f64> {
        take * DVector::from_iterator(TAKEN, taken_of(axis).map(|j| self.parameters[j]))
    }

    /// The variance of a weighted mean (weights `w`) of a scan's offsets in an axis after
    /// [`Trend::taken`] has been subtracted from them, in degrees of the axis squared. It allows
    /// for the scan's own contribution to the estimated corrections.
    pub fn variance_after(
        &self,
        scan: usize,
        axis: ScanAxis,
        fit: &AxisFit,
        w: &DVector<f64>,
        take: &DMatrix<f64>,
        on_sky: f64,
    ) -> f64 {
        let degrees = 180.0 / std::f64::consts::PI;
        let own = &fit.covariance * (degrees * degrees);
        let alone = (w.transpose() * &own * w)[(0, 0)];
        let parameters = taken_of(axis);
        let part = DMatrix::from_fn(TAKEN, TAKEN, |i, j| {
            self.covariance[(parameters[i], parameters[j])]
        });
        let taken = take.transpose() * w;
        let by_trend = (taken.transpose() * part * &taken)[(0, 0)];
        let Some(m) = self.find(scan, axis) else {
            return alone + by_trend;
        };
        // Covariance of the estimates with this scan's noise: V X' (C + T)^-1 C.
        let n = m.values.len();
        let whole = &m.covariance + DMatrix::from_element(n, n, self.scatter.powi(2));
        let Some(cholesky) = whole.cholesky() else {
            return alone + by_trend;
        };
        let with_noise =
            &self.covariance * m.rows.transpose() * cholesky.solve(&m.covariance) / on_sky;
        let rows = with_noise.select_rows(&parameters);
        let shared = (taken.transpose() * rows * w)[(0, 0)];
        (alone + by_trend - 2.0 * shared).max(0.25 * alone)
    }
}

/// The median absolute value of unit normal noise, a property of the distribution.
const MIDDLE_OF_NORMAL: f64 = 0.674_489_75;

/// Whitened values and design rows, scan by scan; `None` where the covariance is not positive
/// definite.
struct Whitened(Vec<Option<(DVector<f64>, DMatrix<f64>)>>);

impl Whitened {
    fn of(measured: &[Measured], scatter: f64) -> Whitened {
        let whitened = |m: &Measured| {
            let n = m.values.len();
            let whole = &m.covariance + DMatrix::from_element(n, n, scatter.powi(2));
            let l = whole.cholesky()?.l();
            Some((
                l.solve_lower_triangular(&m.values)?,
                l.solve_lower_triangular(&m.rows)?,
            ))
        };
        Whitened(measured.iter().map(whitened).collect())
    }
}

impl Model for Whitened {
    fn parameters(&self) -> usize {
        COUNT
    }
    fn observations(&self) -> usize {
        self.0.len()
    }
    fn most_rows(&self) -> usize {
        let rows = self.0.iter().flatten().map(|(values, _)| values.len());
        rows.max().unwrap_or(1)
    }
    fn evaluate(&self, p: &[f64], block: &mut Block) -> Result<(), Unevaluable> {
        for i in block.range() {
            let (values, rows) = (self.0[i].as_ref()).ok_or(Unevaluable { observation: i })?;
            for (k, value) in values.iter().enumerate() {
                let slopes: [f64; COUNT] = std::array::from_fn(|j| -rows[(k, j)]);
                let change: f64 = slopes.iter().zip(p).map(|(slope, p)| slope * p).sum();
                block.push(i, value + change, &slopes);
            }
        }
        Ok(())
    }
}

/// The mean direction of the azimuth offsets, about which they are unwrapped: whole turns of the
/// cable do not matter here.
fn middle_turn(scans: &[(&Analysis, bool)]) -> Angle {
    let fits = scans.iter().filter(|(_, counts)| *counts);
    let offsets = fits.filter_map(|(a, _)| Some(a.fitted.as_ref()?.azimuth.as_ref()?.offsets[0]));
    let (s, c) = offsets.fold((0.0, 0.0), |sum, o| (sum.0 + o.sin(), sum.1 + o.cos()));
    Angle::from_radians(s.atan2(c))
}

fn measured(scans: &[(&Analysis, bool)]) -> Vec<Measured> {
    let mut all = Vec::new();
    let turn = middle_turn(scans);
    for (i, (analysis, counts)) in scans.iter().enumerate() {
        let Some(fitted) = analysis.fitted.as_ref().filter(|_| *counts) else {
            continue;
        };
        let axes = [
            (ScanAxis::Azimuth, &fitted.azimuth),
            (ScanAxis::Elevation, &fitted.elevation),
        ];
        for (axis, fit) in axes.into_iter().filter_map(|(a, f)| Some((a, f.as_ref()?))) {
            let offset = |k: usize| Angle::from_radians(fit.offsets[k]);
            let n = fit.offsets.len();
            let (on_sky, zero) = match axis {
                ScanAxis::Azimuth => (analysis.emitter.cos, AZIMUTH_ZERO),
                ScanAxis::Elevation => (1.0, ELEVATION_ZERO),
            };
            let errors = error_changes::offsets(axis, &analysis.emitter);
            let mut rows = DMatrix::zeros(n, COUNT);
            for (k, group) in fit.groups.iter().enumerate() {
                rows[(k, zero)] = on_sky;
                for (j, error) in errors.iter().enumerate() {
                    rows[(k, FIRST_ERROR + j)] = on_sky * (error + fit.pull[(k, j)]);
                }
                rows[(k, lag_of(axis))] = on_sky * group.speed.to_degrees();
                rows[(k, lag_of(axis) + 1)] = -0.5 * on_sky * group.sign;
            }
            let degrees = on_sky * 180.0 / std::f64::consts::PI;
            all.push(Measured {
                scan: i,
                axis,
                rows,
                values: DVector::from_fn(n, |k, _| {
                    let near = match axis {
                        ScanAxis::Azimuth => turn,
                        ScanAxis::Elevation => Angle::ZERO,
                    };
                    offset(k).nearest_turn_to(near).degrees() * on_sky
                }),
                covariance: &fit.covariance * (degrees * degrees),
            });
        }
    }
    all
}
