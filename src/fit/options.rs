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

/// How far a fit is taken.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Precision {
    /// To the last digits that double precision gives.
    #[default]
    LastDigits,
    /// Far enough to compare it with other fits: to a small share of the standard deviations.
    Comparison,
    /// Far enough to see which observations stand out: to a fraction of the standard deviations.
    Draft,
}

impl Precision {
    /// Relative fall of the sum of squares, expected and real, at which iterating ends.
    ///
    /// To the last digits: below it the sum of squares begins to drown in its own roundings, so the
    /// polish, which is judged by the gradient, takes over; from 1e-12 down, steps were refused for
    /// noise (Lanczos3 of the NIST sets). For a comparison: of a sum of squares of 1,000 a
    /// ten-thousandth, where explanations differ by units.
    pub(crate) const fn fall_tolerance(self) -> f64 {
        match self {
            Precision::LastDigits => 1e-11,
            Precision::Comparison => 1e-7,
            Precision::Draft => 1e-4,
        }
    }
    /// Relative fall of the sum of squares that the step after next may leave undone: from there on
    /// the step of the linearised problem is taken without another pass over the data.
    ///
    /// For a comparison: with 1,000 rows the parameters are then within some ten-thousandths of their
    /// standard deviations, for a draft within a tenth. To the last digits: never.
    pub(crate) const fn rest_tolerance(self) -> f64 {
        match self {
            Precision::LastDigits => 0.0,
            Precision::Comparison => 2e-11,
            Precision::Draft => 1e-5,
        }
    }
    /// The noise is settled when it changes by less than this fraction.
    pub(crate) const fn noise_settled(self) -> f64 {
        match self {
            Precision::LastDigits => 1e-6,
            Precision::Comparison | Precision::Draft => 1e-3,
        }
    }
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
    /// How far it is taken.
    pub precision: Precision,
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

impl std::error::Error for FitError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            FitError::Start(inner) => Some(inner),
            FitError::Misfit(_) => None,
        }
    }
}

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
