//! How to fit, and why it cannot be done.

use super::model::{Model, Unevaluable};
use super::prior::Prior;
use super::spectrum::Hold;
use std::fmt;

/// Where the size of the noise comes from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Noise {
    /// The logged sigmas are trusted: whitened residuals have unit variance.
    #[default]
    Logged,
    /// The logged sigmas are relative weights only; the noise comes from the scatter.
    Scatter,
}

/// How to fit. `Options::default()` fits all observations with weight one, without priors,
/// trusting the logged sigmas.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Extra rows.
    pub priors: Vec<Prior>,
    /// A weight for each observation, zero or more; its rows are multiplied by the root.
    pub weights: Option<Vec<f64>>,
    /// Where the size of the noise comes from.
    pub noise: Noise,
    /// Which directions are left where they started.
    pub hold: Hold,
    /// The most passes over the data; none means 500 times (n + 1).
    pub budget: Option<usize>,
}

/// Why there is no solution.
#[derive(Clone, Debug, PartialEq)]
pub enum FitError {
    /// The model is not finite at the start.
    Start(Unevaluable),
    /// Start, weights, priors or sizes do not suit the model: a fault of the calling code.
    Misfit(&'static str),
}

impl fmt::Display for FitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            FitError::Start(inner) => write!(f, "at the start of the fit, {inner}"),
            FitError::Misfit(what) => write!(f, "the fit was called with {what}"),
        }
    }
}

impl std::error::Error for FitError {}

/// Whether start and options suit the model.
pub(crate) fn check<M: Model + ?Sized>(
    model: &M,
    start: &[f64],
    options: &Options,
) -> Result<(), FitError> {
    let n = model.parameters();
    let say = |ok: bool, what| {
        if ok {
            Ok(())
        } else {
            Err(FitError::Misfit(what))
        }
    };
    say(start.len() == n, "a start of the wrong length")?;
    say(start.iter().all(|p| p.is_finite()), "a start not finite")?;
    let fits = options.priors.iter().all(|prior| prior.fits(n));
    say(fits, "a prior not finite or on no parameter")?;
    if let Some(weights) = &options.weights {
        let all = weights.len() == model.observations();
        say(all, "a wrong number of weights")?;
        let fine = weights.iter().all(|w| w.is_finite() && *w >= 0.0);
        say(fine, "a weight negative or not finite")?;
    }
    match &options.hold {
        Hold::BelowRatio(ratio) => say((0.0..1.0).contains(ratio), "a ratio not in 0 to 1"),
        Hold::VaguerThan(sizes) => say(
            sizes.len() == n && sizes.iter().all(|s| s.is_finite() && *s > 0.0),
            "plausible sizes not above zero or not one each",
        ),
    }
}
