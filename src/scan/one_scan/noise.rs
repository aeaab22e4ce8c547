//! The noise of a scan's samples: how it depends on the power, how it sets their weights, and how
//! uncertainties grow because it is estimated from the scan itself.

use super::examine::Memory;
use super::model::ScanModel;
use super::settle::{SettledFit, settle};
use super::tuned::{LEAST_POWER_FOR_A_WEIGHT, ROUNDS_OF_WEIGHTS, SIGMAS_OF_ALLOWED_MEMORY};

/// How the noise of a sample depends on its power.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum NoiseLaw {
    /// The same for all samples of a scan, as with detector noise or rounding to the last digit.
    #[default]
    Steady,
    /// Proportional to the total power, as in a total-power receiver: the radiometer equation
    /// (Dicke 1946).
    Radiometer,
}

impl NoiseLaw {
    /// The law in words.
    pub fn words(self) -> &'static str {
        match self {
            NoiseLaw::Steady => "steady",
            NoiseLaw::Radiometer => "in proportion to power",
        }
    }
}

/// Sets the standard deviation of each point: `noise` for one row, times the factor that `law`
/// gives for the point.
pub(crate) fn set_noise(model: &mut ScanModel<'_>, noise: f64, law: impl Fn(usize) -> f64) {
    // Zero noise occurs only in simulated data; the scatter then stays zero.
    let noise = if noise > 0.0 { noise } else { 1.0 };
    model.noise = (0..model.points.len())
        .map(|i| noise * law(i) / model.points[i].rows.sqrt())
        .collect();
}

/// Log-likelihood of noise proportional to the modelled power less that of steady noise, each at
/// its best-fitting size: with the residual d, the modelled power P and the rows m behind each of n
/// points,
///
/// ```text
/// n/2 ( ln sum m d^2 - ln sum m (d / P)^2 ) - sum ln P
/// ```
pub(crate) fn radiometer_evidence(model: &ScanModel<'_>, settled: &SettledFit) -> Option<f64> {
    let (mut steady, mut weighted, mut logs, mut n) = (0.0, 0.0, 0.0, 0.0);
    for i in (0..model.points.len()).filter(|i| settled.used[*i]) {
        let power = settled.at[i].power();
        if power <= 0.0 {
            return None;
        }
        let rows = model.points[i].rows;
        let square = rows * (model.points[i].power - power).powi(2);
        steady += square;
        weighted += square / (power * power);
        logs += power.ln();
        n += 1.0;
    }
    (steady > 0.0).then(|| 0.5 * n * (steady.ln() - weighted.ln()) - logs)
}

pub(crate) fn with_radiometer_noise(
    model: &mut ScanModel<'_>,
    mut settled: SettledFit,
    noise: f64,
    usable: &[bool],
) -> Option<SettledFit> {
    // Weights depend on the fitted power and the fit on the weights.
    for _ in 0..ROUNDS_OF_WEIGHTS {
        let power: Vec<f64> = settled.at.iter().map(|at| at.power()).collect();
        let mean = power.iter().sum::<f64>() / power.len() as f64;
        if mean <= 0.0 {
            return Some(settled);
        }
        // A point with almost zero modelled power must not outweigh all others.
        let least = LEAST_POWER_FOR_A_WEIGHT * mean;
        set_noise(model, noise, |i| power[i].max(least) / mean);
        settled = settle(model, settled.parameters(), usable, &settled.used).ok()?;
    }
    Some(settled)
}

/// Correlated noise carries less information than its number of points: if neighbours have
/// correlation r, the sigma of a mean of many is larger by sqrt((1 + r)/(1 - r)) (an autoregressive
/// process of order one).
pub(crate) fn inflation(left_over: &Memory) -> f64 {
    if left_over.significance < SIGMAS_OF_ALLOWED_MEMORY {
        return 1.0;
    }
    let r = (left_over.correlation - left_over.expected).clamp(0.0, 0.95);
    ((1.0 + r) / (1.0 - r)).sqrt()
}

/// The noise is estimated from the scan's own scatter, so an error over such a sigma follows
/// Student's t distribution; this is its standard deviation (from memory: any textbook on
/// statistics).
pub(crate) fn few_samples(settled: &SettledFit) -> f64 {
    let freedom = settled.solution.degrees_of_freedom.max(FEWEST_FREEDOM);
    (freedom / (freedom - 2.0)).sqrt()
}

/// Fewest degrees of freedom used: with fewer, the factor of Student's distribution would grow
/// without limit.
const FEWEST_FREEDOM: f64 = 4.0;
