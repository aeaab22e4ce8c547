//! The noise of a scan's samples: how it depends on the power, how it weights them, and how it
//! affects uncertainties that it is known from the scan alone.

use super::examine::Memory;
use super::model::ScanModel;
use super::settle::{SettledFit, settle};
use super::tuned::{LEAST_POWER_FOR_A_WEIGHT, ROUNDS_OF_WEIGHTS, SIGMAS_OF_ALLOWED_MEMORY};

/// How the noise of a sample depends on its power.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum NoiseLaw {
    /// The same for all samples of a scan, as of a detector or of a reading's last digit.
    #[default]
    Steady,
    /// In proportion to the whole power, as of a total-power receiver: the radiometer equation
    /// (Dicke 1946).
    Radiometer,
}

impl NoiseLaw {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            NoiseLaw::Steady => "steady",
            NoiseLaw::Radiometer => "in proportion to power",
        }
    }
}

/// Sets the standard deviation of each point: `noise` for a row, times the factor of its law.
pub(crate) fn set_noise(model: &mut ScanModel<'_>, noise: f64, law: impl Fn(usize) -> f64) {
    // Noise of zero is possible in made-up data only; the scatter then stays zero.
    let noise = if noise > 0.0 { noise } else { 1.0 };
    model.noise = (0..model.points.len())
        .map(|i| noise * law(i) / model.points[i].rows.sqrt())
        .collect();
}

/// Log-likelihood of noise in proportion to the modelled power less that of steady noise, each with
/// the size that suits it best: with the residual d, the modelled power P and the rows m behind each
/// of n points,
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
    // Weights need the power and the power weights.
    for _ in 0..ROUNDS_OF_WEIGHTS {
        let power: Vec<f64> = settled.at.iter().map(|at| at.power()).collect();
        let mean = power.iter().sum::<f64>() / power.len() as f64;
        if mean <= 0.0 {
            return Some(settled);
        }
        // A modelled power that is nearly nothing must not outweigh all others.
        let least = LEAST_POWER_FOR_A_WEIGHT * mean;
        set_noise(model, noise, |i| power[i].max(least) / mean);
        settled = settle(model, settled.parameters(), usable, &settled.used).ok()?;
    }
    Some(settled)
}

/// Noise with a memory says less than it has points: for neighbours of correlation r the mean
/// of many is uncertain by sqrt((1 + r)/(1 - r)) more (an autoregressive process of order one).
pub(crate) fn inflation(left_over: &Memory) -> f64 {
    if left_over.significance < SIGMAS_OF_ALLOWED_MEMORY {
        return 1.0;
    }
    let r = (left_over.correlation - left_over.expected).clamp(0.0, 0.95);
    ((1.0 + r) / (1.0 - r)).sqrt()
}

/// The noise is known from the scan's own scatter only: an error over such a sigma follows
/// Student's distribution, whose standard deviation this is (from memory: any textbook on
/// statistics).
pub(crate) fn few_samples(settled: &SettledFit) -> f64 {
    let freedom = settled.solution.degrees_of_freedom.max(FEWEST_FREEDOM);
    (freedom / (freedom - 2.0)).sqrt()
}

/// With less freedom than this Student's factor would grow without limit; it is that of four
/// degrees.
const FEWEST_FREEDOM: f64 = 4.0;
