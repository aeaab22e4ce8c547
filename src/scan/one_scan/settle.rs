//! The fit of a scan's model: start values, rejection of spikes, final weights.

use nalgebra::{DMatrix, DVector};

use super::model::{Extended, Extra, Modelled, ScanModel};
use super::point::{SIGMA_OF_MEDIAN, median};
use super::tuned::{
    MOST_BAD_POINTS, MOST_PASSES_OF_A_FIT, MOST_ROUNDS_OF_GOOD_POINTS, SIGMAS_OF_AN_OUTLIER,
};
use crate::fit::{FitError, LeastSquares, Options, Precision, Prior, Solution, Triangle, fit};

/// Prior standard deviation of the logarithm of the width: a factor of 1.65, which covers the
/// effect of feeds on the beam. It matters only for the faintest scans. Common practice, no source.
const WIDTH_SIGMA: f64 = 0.5;
/// The same for a beam's ellipticity and slant, which are a few per cent for a usual dish. Common
/// practice, no source.
const ELLIPSE_SIGMA: f64 = 0.2;

/// While the fit is still pulled by bad points, weights fall off by Tukey's biweight with this
/// constant (95 % efficient; Huber and Ronchetti, Robust Statistics, 2nd edition).
pub(crate) const BIWEIGHT: f64 = 4.685;

/// A fit and the points it used.
#[derive(Clone, Debug)]
pub(crate) struct SettledFit {
    pub solution: Solution,
    pub used: Vec<bool>,
    /// Standard deviation of a point in units of the model's noise.
    pub scatter: f64,
    /// The modelled value at each point.
    pub at: Vec<Modelled>,
}

impl SettledFit {
    pub fn parameters(&self) -> &[f64] {
        &self.solution.parameters
    }
    /// The residual of a point, in units of power.
    pub fn left(&self, model: &ScanModel<'_>, i: usize) -> f64 {
        model.points[i].power - self.at[i].power()
    }
}

/// Priors that keep the fit of a faint scan within reason.
pub(crate) fn priors(model: &ScanModel<'_>) -> Vec<Prior> {
    let layout = model.layout();
    let mut priors = vec![Prior::on(layout.width, 0.0, WIDTH_SIGMA)];
    if model.elliptic {
        priors.push(Prior::on(layout.ellipse, 0.0, ELLIPSE_SIGMA));
        priors.push(Prior::on(layout.ellipse + 1, 0.0, ELLIPSE_SIGMA));
    }
    priors
}

/// Solves for heights and baselines linearly, at zero offsets and the given logarithm of the width.
pub(crate) fn start(model: &ScanModel<'_>, power: &[f64], width: f64, usable: &[bool]) -> Vec<f64> {
    let layout = model.layout();
    let mut p = vec![0.0; layout.count];
    p[layout.width] = width;
    // Heights and baselines come first.
    let m = layout.azimuth;
    let (mut normal, mut right) = (DMatrix::<f64>::zeros(m, m), DVector::<f64>::zeros(m));
    let mut row: Vec<(usize, f64)> = Vec::with_capacity(m);
    for part in &model.parts {
        let setting = model.setting(part, &p);
        for i in part.points.clone().filter(|i| usable[*i]) {
            row.clear();
            row.push((part.height, model.at(i, &setting).response));
            row.extend(setting.columns(i).map(|(k, x)| (model.heights + k, x)));
            let weight = model.noise[i].powi(-2);
            for (a, x) in &row {
                for (b, y) in &row {
                    normal[(*a, *b)] += weight * x * y;
                }
                right[*a] += weight * x * power[i];
            }
        }
    }
    // A touch of damping keeps a pass without signal solvable.
    for a in 0..m {
        normal[(a, a)] *= 1.0 + 1e-9;
        normal[(a, a)] += f64::MIN_POSITIVE;
    }
    if let Some(cholesky) = normal.cholesky() {
        let solved = cholesky.solve(&right);
        p[..m].copy_from_slice(solved.as_slice());
    }
    p
}

/// Fits the `usable` points, at first only the `trusted` ones among them; outliers are then left
/// out and the rest fitted again until the set no longer changes.
///
/// # Errors If the model has no finite value at the start.
pub(crate) fn settle(
    model: &ScanModel<'_>,
    start: &[f64],
    usable: &[bool],
    trusted: &[bool],
) -> Result<SettledFit, FitError> {
    let weight = |u: &bool| if *u { 1.0 } else { 0.0 };
    let mut used: Vec<bool> = usable.iter().zip(trusted).map(|(u, t)| *u && *t).collect();
    let mut options = Options {
        priors: priors(model),
        weights: Some(used.iter().map(weight).collect()),
        budget: Some(MOST_PASSES_OF_A_FIT),
        precision: Precision::Draft,
        ..Options::default()
    };
    // Whether the last fit used exactly the points in `used` with full weight, and whether it was
    // more precise than a draft.
    let (mut plain, mut fine) = (true, false);
    let mut solution = fit(model, start, &options)?;
    let mut at = model.everywhere(&solution.parameters);
    let parameters = model.layout().count as f64;
    for round in 0..MOST_ROUNDS_OF_GOOD_POINTS {
        let whitened: Vec<f64> = (0..at.len())
            .map(|i| (model.points[i].power - at[i].power()) / model.noise[i])
            .collect();
        let own = |i: &usize| usable[*i];
        let sizes: Vec<f64> = (0..whitened.len())
            .filter(own)
            .map(|i| whitened[i].abs())
            .collect();
        let n = sizes.len() as f64;
        let freedom = (n - parameters).max(1.0);
        let scale = SIGMA_OF_MEDIAN * median(sizes) * (n / freedom).sqrt();
        if scale <= 0.0 {
            break;
        }
        let now: Vec<bool> = (0..whitened.len())
            .map(|i| usable[i] && whitened[i].abs() <= SIGMAS_OF_AN_OUTLIER * scale)
            .collect();
        let bad = n - now.iter().filter(|u| **u).count() as f64;
        if (plain && fine && now == used) || bad > MOST_BAD_POINTS * n {
            break;
        }
        // If bad points were distrusted from the start, they did not pull the first fit.
        let pulled = plain && round == 0 && used == usable && now != used;
        options.weights = Some(
            (0..whitened.len())
                .map(|i| match usable[i] {
                    true if pulled => {
                        let t = whitened[i] / (BIWEIGHT * scale);
                        (1.0 - (t * t).min(1.0)).powi(2)
                    }
                    _ => weight(&now[i]),
                })
                .collect(),
        );
        if !pulled {
            // The error of the offset is then less than a thousandth of its standard deviation.
            options.precision = Precision::Comparison;
        }
        solution = fit(model, &solution.parameters, &options)?;
        fine = !pulled;
        at = model.everywhere(&solution.parameters);
        plain = !pulled;
        if plain {
            used = now;
        }
    }
    let scatter = solution.scatter.unwrap_or(f64::INFINITY);
    Ok(SettledFit {
        solution,
        used,
        scatter,
        at,
    })
}

/// Reduces the problem at a fit with extra columns after its own: one pass over the data.
pub(crate) fn reduced(
    model: &ScanModel<'_>,
    settled: &SettledFit,
    extras: &[Extra],
) -> Option<Triangle> {
    let mut p = settled.solution.parameters.clone();
    p.resize(p.len() + extras.len(), 0.0);
    let weights: Vec<f64> = settled
        .used
        .iter()
        .map(|u| if *u { 1.0 } else { 0.0 })
        .collect();
    let priors = priors(model);
    LeastSquares::new(&Extended { model, extras }, 1)
        .with_priors(&priors)
        .with_weights(Some(&weights))
        .reduce(&p)
        .ok()
}
