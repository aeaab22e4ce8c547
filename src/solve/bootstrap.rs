//! A second opinion on the uncertainties: the spread of fits to resampled peaks.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rayon::prelude::*;

use super::night::Night;
use super::observe::{Observation, observe};
use super::outcome::Outcome;
use crate::angle::Angle;
use crate::fit::Noise;
use crate::logbook::{PeakLog, TermState};
use crate::mount::{Term, TermUnit};
use crate::problem::Error;
use crate::sky::Sky;
use crate::station::Station;

/// Fewer resamplings tell nothing about a spread.
pub const LEAST_RESAMPLINGS: usize = 50;
/// More tell no more, and take hours.
pub const MOST_RESAMPLINGS: usize = 1_000_000;

/// Standard deviation of each fitted term over fits to `resamplings` samples of the used
/// peaks, each drawn with replacement (Efron and Tibshirani, An Introduction to the
/// Bootstrap, 1993). The terms and the peaks used stay as the outcome chose them, so what
/// that choice may hide is not in these numbers. `done` is called after each.
///
/// # Errors
/// When too few resamplings are asked for, or too many of them leave a term untold.
pub fn bootstrap(
    station: &Station,
    sky: &Sky,
    log: &PeakLog,
    outcome: &Outcome,
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
    let clock = outcome.model.terms().inside(Term::ClockOffset);
    let used = |row: usize| outcome.peaks.iter().find(|p| p.row == row && p.used);
    let observations: Vec<Observation> = (observe(station, sky, log, clock).usable.into_iter())
        .filter(|o| used(o.peak.row).is_some())
        .collect();
    let sigmas = (observations.iter())
        .filter_map(|o| used(o.peak.row))
        .map(|p| [p.cross_elevation_sigma, p.elevation_sigma])
        .collect();
    let free: Vec<Term> = (outcome.terms.iter())
        .filter(|t| t.state == TermState::Fitted)
        .map(|t| t.term)
        .collect();
    let night = Night {
        observations: &observations,
        sigmas,
        noise: Noise::Scatter,
        beamwidth: station.dish.beamwidth,
        held: *outcome.model.terms(),
    };
    let samples: Vec<Vec<f64>> = (0..resamplings as u64)
        .into_par_iter()
        .filter_map(|number| {
            let mut random = ChaCha12Rng::seed_from_u64(seed);
            random.set_stream(number);
            let mut weights = vec![0.0; observations.len()];
            for _ in 0..observations.len() {
                weights[random.random_range(0..observations.len())] += 1.0;
            }
            let fitted = night.fit_weighted(&free, weights, outcome.model.terms());
            done();
            let fitted = fitted.ok()?;
            (fitted.solution.rank() == free.len()).then_some(fitted.solution.parameters)
        })
        .collect();
    if samples.len() * 10 < resamplings * 9 {
        return Err(Error::Unsupported(format!(
            "{} of {resamplings} resamplings leave a term untold: there are too few peaks for a \
             bootstrap",
            resamplings - samples.len()
        )));
    }
    Ok((free.iter().enumerate())
        .map(|(i, term)| (*term, spread(*term, samples.iter().map(|s| s[i]))))
        .collect())
}

/// Standard deviation of the samples; angles about the first, so that none is a turn away.
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
