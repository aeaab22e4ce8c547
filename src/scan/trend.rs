//! How the encoder offsets of a file's scans hang together: how they change over the sky, with
//! speed (lag) and with direction (backlash).
//!
//! To first order in the mount errors, an axis's offset (encoder less sky) at azimuth a and
//! elevation e, from the design page's mount model, is
//!
//! - azimuth, on the sky: z_a cos e + sin e (t_n sin a - t_e cos a) - c + s sin e
//!   plus cos e (v lag - half the backlash x sign);
//! - elevation: z_e + t_n cos a + t_e sin a + d cos e + v lag - half the backlash x sign,
//!
//! with zeros z, tilts t, collimation c, skew s, droop d and the axis's speed v against the
//! emitter. What the mount does beyond that is one more random offset for each scan, whose
//! size comes from the scatter.

use std::collections::HashMap;

use nalgebra::{DMatrix, DVector};

use super::Axis;
use super::analyse::{Analysis, AxisFit};
use super::point::median;
use crate::angle::Angle;
use crate::fit::{Block, FitError, Model, Options, Prior, Unevaluable, fit};

/// Parameters: angles in degrees, lags in seconds.
const AZIMUTH_ZERO: usize = 0;
const ELEVATION_ZERO: usize = 1;
const TILT_NORTH: usize = 2;
const TILT_EAST: usize = 3;
/// Minus the collimation.
const CONSTANT: usize = 4;
const SKEW: usize = 5;
const DROOP: usize = 6;
const AZIMUTH_LAG: usize = 7;
const AZIMUTH_BACKLASH: usize = 8;
const ELEVATION_LAG: usize = 9;
const ELEVATION_BACKLASH: usize = 10;
const COUNT: usize = 11;

/// What home-made mounts are like before anything is measured, one standard deviation, in the
/// order above (common practice, no source). The data override all of it but where they are
/// silent.
const USUAL: [f64; COUNT] = [1e4, 1e4, 2.0, 2.0, 0.5, 0.3, 0.5, 1e3, 1e2, 1e3, 1e2];

/// The place of an axis's lag, with its backlash behind it.
fn lag_of(axis: Axis) -> usize {
    match axis {
        Axis::Azimuth => AZIMUTH_LAG,
        Axis::Elevation => ELEVATION_LAG,
    }
}

/// The offsets of one axis in one scan.
#[derive(Clone, Debug)]
struct Measured {
    scan: usize,
    axis: Axis,
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
    /// Scatter of scans beyond their own noise, degrees on the sky.
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
    /// Of the scans that `count`; none when there is nothing to go by.
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
        for _ in 0..ROUNDS {
            trend.fit(&weights).ok()?;
            trend.scatter = trend.scatter_beyond_noise();
            let outside: Vec<f64> = trend.measured.iter().map(|m| trend.deviation(m)).collect();
            weights = outside
                .iter()
                .map(|u| (1.0 - (u / BIWEIGHT).powi(2)).max(0.0).powi(2))
                .collect();
        }
        // In the end those that belong count fully.
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
        let model = Whitened {
            measured: &self.measured,
            scatter: self.scatter,
        };
        let solution = fit(&model, &self.parameters, &options)?;
        self.covariance = solution.covariance();
        self.parameters = solution.parameters;
        Ok(())
    }

    /// The mean of a scan's offsets in an axis less that expected, and its variance without
    /// scatter.
    fn mean_residual(&self, m: &Measured) -> (f64, f64) {
        let left = &m.values - &m.rows * DVector::from_column_slice(&self.parameters);
        let n = left.len() as f64;
        (left.mean(), m.covariance.sum() / (n * n))
    }

    /// The same in standard deviations.
    fn deviation(&self, m: &Measured) -> f64 {
        let (mean, variance) = self.mean_residual(m);
        mean.abs()
            / (variance + self.scatter.powi(2))
                .sqrt()
                .max(f64::MIN_POSITIVE)
    }

    /// The scatter that makes the middle deviation what normal noise makes it; what the
    /// parameters took up is given back.
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

    /// How far a scan's axis lies from the trend of the others, degrees on the sky, and in
    /// standard deviations; none when it was not measured.
    pub fn departure(&self, scan: usize, axis: Axis) -> Option<(f64, f64)> {
        let m = self.find(scan, axis)?;
        Some((self.mean_residual(m).0, self.deviation(m)))
    }

    fn find(&self, scan: usize, axis: Axis) -> Option<&Measured> {
        self.measured
            .iter()
            .find(|m| m.scan == scan && m.axis == axis)
    }

    /// The axis's lag in seconds, as far as data and common sense tell.
    pub fn lag(&self, axis: Axis) -> Estimate {
        self.estimate(lag_of(axis))
    }
    /// The axis's backlash in degrees, as far as data and common sense tell.
    pub fn backlash(&self, axis: Axis) -> Estimate {
        self.estimate(lag_of(axis) + 1)
    }
    fn estimate(&self, j: usize) -> Estimate {
        Estimate {
            value: self.parameters[j],
            sigma: self.covariance[(j, j)].max(0.0).sqrt(),
        }
    }

    /// The shift by lag and backlash at a speed (degrees a second) and a direction, degrees.
    pub fn shift(&self, axis: Axis, speed: f64, sign: f64) -> Estimate {
        self.combination(lag_of(axis), speed, -0.5 * sign)
    }

    /// How much encoders' offsets on one axis change along the other, degrees a degree on the
    /// sky, where the emitter is at this elevation (radians): by collimation and skew. Tilts
    /// and zeros only turn and move the whole.
    pub fn shear(&self, elevation: f64) -> Estimate {
        let (tan, sec) = (elevation.tan(), 1.0 / elevation.cos());
        let found = self.combination(CONSTANT, -tan, -sec);
        Estimate {
            value: found.value.to_radians(),
            sigma: found.sigma.to_radians(),
        }
    }

    /// Of two neighbouring parameters.
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

    /// The variance of a weighted mean (weights `w`) of a scan's offsets in an axis after
    /// `take` of each has been taken off them: `take` lists, for each group, the factors of lag
    /// and backlash. In degrees of the axis, squared. The scan's own part in the estimates of
    /// lag and backlash is reckoned with.
    pub fn variance_after(
        &self,
        scan: usize,
        axis: Axis,
        fit: &AxisFit,
        w: &DVector<f64>,
        take: &DMatrix<f64>,
        on_sky: f64,
    ) -> f64 {
        let degrees = 180.0 / std::f64::consts::PI;
        let own = &fit.covariance * (degrees * degrees);
        let alone = (w.transpose() * &own * w)[(0, 0)];
        let first = lag_of(axis);
        let pair = self.covariance.view((first, first), (2, 2));
        let taken = take.transpose() * w;
        let by_pair = (taken.transpose() * pair * &taken)[(0, 0)];
        let Some(m) = self.find(scan, axis) else {
            return alone + by_pair;
        };
        // Covariance of the estimates with this scan's noise: V X' (C + T)^-1 C.
        let n = m.values.len();
        let whole = &m.covariance + DMatrix::from_element(n, n, self.scatter.powi(2));
        let Some(cholesky) = whole.cholesky() else {
            return alone + by_pair;
        };
        let with_noise =
            &self.covariance * m.rows.transpose() * cholesky.solve(&m.covariance) / on_sky;
        let rows = with_noise.rows(first, 2);
        let shared = (taken.transpose() * rows * w)[(0, 0)];
        (alone + by_pair - 2.0 * shared).max(0.25 * alone)
    }
}

/// The middle of the sizes of normal deviates.
const MIDDLE_OF_NORMAL: f64 = 0.674_489_75;
const BIWEIGHT: f64 = 4.685;
const ROUNDS: usize = 6;

/// All rows, whitened scan by scan.
struct Whitened<'a> {
    measured: &'a [Measured],
    scatter: f64,
}

impl Model for Whitened<'_> {
    fn parameters(&self) -> usize {
        COUNT
    }
    fn observations(&self) -> usize {
        self.measured.len()
    }
    fn most_rows(&self) -> usize {
        self.measured
            .iter()
            .map(|m| m.values.len())
            .max()
            .unwrap_or(1)
    }
    fn evaluate(&self, p: &[f64], block: &mut Block) -> Result<(), Unevaluable> {
        let p = DVector::from_column_slice(p);
        for i in block.range() {
            let m = &self.measured[i];
            let n = m.values.len();
            let whole = &m.covariance + DMatrix::from_element(n, n, self.scatter.powi(2));
            let failed = Unevaluable { observation: i };
            let l = whole.cholesky().ok_or(failed)?.l();
            let left = &m.values - &m.rows * &p;
            let left = l.solve_lower_triangular(&left).ok_or(failed)?;
            let rows = l.solve_lower_triangular(&m.rows).ok_or(failed)?;
            for k in 0..n {
                let slopes: Vec<f64> = rows.row(k).iter().map(|x| -x).collect();
                block.push(i, left[k], &slopes);
            }
        }
        Ok(())
    }
}

fn measured(scans: &[(&Analysis, bool)]) -> Vec<Measured> {
    let mut all = Vec::new();
    let mut near: HashMap<Axis, Angle> = HashMap::new();
    for (i, (analysis, counts)) in scans.iter().enumerate() {
        let Some(fitted) = analysis.fitted.as_ref().filter(|_| *counts) else {
            continue;
        };
        let axes = [
            (Axis::Azimuth, &fitted.azimuth),
            (Axis::Elevation, &fitted.elevation),
        ];
        for (axis, fit) in axes.into_iter().filter_map(|(a, f)| Some((a, f.as_ref()?))) {
            let offset = |k: usize| Angle::from_radians(fit.offsets[k]);
            // Turns of the cable do not matter here.
            let turn = *near.entry(axis).or_insert(offset(0));
            let (sa, ca) = analysis.emitter.azimuth.sin_cos();
            let (se, ce) = (analysis.emitter.sin, analysis.emitter.cos);
            let (on_sky, n) = match axis {
                Axis::Azimuth => (ce, fit.offsets.len()),
                Axis::Elevation => (1.0, fit.offsets.len()),
            };
            let mut rows = DMatrix::zeros(n, COUNT);
            // Passes beside the emitter are shifted by the shear: see `Trend::shear`.
            let beside = fit.across;
            for (k, group) in fit.groups.iter().enumerate() {
                match axis {
                    Axis::Azimuth => {
                        rows[(k, AZIMUTH_ZERO)] = ce;
                        rows[(k, TILT_NORTH)] = se * sa;
                        rows[(k, TILT_EAST)] = -se * ca;
                        rows[(k, CONSTANT)] = 1.0 + beside * se / ce;
                        rows[(k, SKEW)] = se + beside / ce;
                    }
                    Axis::Elevation => {
                        rows[(k, ELEVATION_ZERO)] = 1.0;
                        rows[(k, TILT_NORTH)] = ca;
                        rows[(k, TILT_EAST)] = sa;
                        rows[(k, DROOP)] = ce;
                        rows[(k, CONSTANT)] = beside * se / ce;
                        rows[(k, SKEW)] = beside / ce;
                    }
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
                    offset(k).nearest_turn_to(turn).degrees() * on_sky
                }),
                covariance: &fit.covariance * (degrees * degrees),
            });
        }
    }
    all
}
