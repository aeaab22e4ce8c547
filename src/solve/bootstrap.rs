//! A second opinion on the uncertainties: the spread of fits to resampled peaks.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rayon::prelude::*;

use crate::angle::Angle;
use crate::explain::Explanation;
use crate::fit::{Noise, Options, fit};
use crate::mount::{Term, TermUnit};
use crate::problem::Error;

/// With fewer resamplings a standard deviation is not known to 10 %.
pub const LEAST_RESAMPLINGS: usize = 50;
/// More take hours without benefit: a standard deviation is then known to 0.07 %.
pub const MOST_RESAMPLINGS: usize = 1_000_000;

/// Standard deviation of each fitted term over fits to `resamplings` samples of the used peaks,
/// each drawn with replacement (Efron and Tibshirani, An Introduction to the Bootstrap, 1993). The
/// terms fitted and the peaks used stay as the explanation chose them, so errors from that choice
/// are not included. `done` is called after each.
///
/// # Errors
/// When too few resamplings are requested, or too many of them cannot be fitted.
pub fn bootstrap(
    explanation: &Explanation,
    resamplings: usize,
    seed: u64,
    done: &(dyn Fn() + Sync),
) -> Result<Vec<(Term, f64)>, Error> {
    if !(LEAST_RESAMPLINGS..=MOST_RESAMPLINGS).contains(&resamplings) {
        return Err(Error::Usage(format!(
            "--bootstrap {resamplings}: a spread needs {LEAST_RESAMPLINGS} to {MOST_RESAMPLINGS} \
             resamplings"
        )));
    }
    let (session, joint) = (&explanation.session, &explanation.fit);
    let problem = joint.problem(session);
    let used: Vec<usize> = (0..session.peaks.len())
        .filter(|i| explanation.is_used(*i))
        .collect();
    let samples: Vec<Vec<f64>> = (0..resamplings as u64)
        .into_par_iter()
        .filter_map(|number| {
            let mut random = ChaCha12Rng::seed_from_u64(seed);
            random.set_stream(number);
            let mut weights = vec![0.0; session.peaks.len()];
            for _ in &used {
                weights[used[random.random_range(0..used.len())]] += 1.0;
            }
            let options = Options {
                priors: problem.priors(),
                weights: Some(weights),
                noise: Noise::Scatter,
                ..Options::default()
            };
            let fitted = fit(&problem, &joint.parameters, &options);
            done();
            let fitted = fitted.ok()?;
            (fitted.rank() == joint.count()).then_some(fitted.parameters)
        })
        .collect();
    if samples.len() * 10 < resamplings * 9 {
        return Err(Error::Unsupported(format!(
            "{} of {resamplings} resamplings leave a term undetermined: there are too few peaks for \
             a bootstrap",
            resamplings - samples.len()
        )));
    }
    Ok((joint.columns.iter().enumerate())
        .filter_map(|(i, column)| {
            let term = column.constant_term()?;
            Some((term, spread(term, samples.iter().map(|s| s[i]))))
        })
        .collect())
}

/// Standard deviation of the samples; angles are taken relative to the first, so that none is a
/// turn away.
fn spread(term: Term, samples: impl Iterator<Item = f64> + Clone) -> f64 {
    let first = samples.clone().next().unwrap_or(0.0);
    let from_first = samples.map(|s| match term.unit() {
        TermUnit::Angle => Angle::from_radians(s - first).wrapped_signed().radians(),
        TermUnit::Fraction | TermUnit::Seconds => s - first,
    });
    let (mut n, mut mean, mut squares) = (0.0, 0.0, 0.0);
    // Welford's running mean and sum of squares.
    for value in from_first {
        n += 1.0;
        let before = value - mean;
        mean += before / n;
        squares += before * (value - mean);
    }
    if n > 1.0 {
        f64::sqrt(squares / (n - 1.0))
    } else {
        0.0
    }
}
