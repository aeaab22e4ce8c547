//! Uncertainties against many seeded simulations.

use crate::sky::{MOST_TERMS, Sky, Spread, random, truth};
use plumbeam::fit::{Noise, Options, fit};

/// Sessions simulated: enough to tell five per cent in a standard deviation.
const SESSIONS: usize = 1500;
/// Four standard errors of an estimated standard deviation, 4/sqrt(2 x sessions).
const SCATTER_TOLERANCE: f64 = 0.075;
/// Four standard errors of a coverage of 95 % over all terms of all sessions, which are
/// correlated within a session; taken as if only one term a session counted.
const COVERAGE_TOLERANCE: f64 = 0.0225;

/// Scatter over the Cramér-Rao bound for each term, the mean chi-square over its degrees of
/// freedom, and the coverage of 95 % intervals.
fn study(count: usize, terms: usize, spread: Spread, noise: Noise) {
    let options = Options {
        noise,
        ..Options::default()
    };
    let mut squares = vec![0.0; terms];
    let (mut chi_square, mut covered) = (0.0, 0);
    for session in 0..SESSIONS {
        let mut random = random(session as u64);
        let truth = truth(&mut random);
        let sky = Sky::new(count, terms, spread, &truth, &mut random);
        let solution = fit(&sky, &vec![0.0; terms], &options).unwrap();
        // The bound: the inverse information at the truth, with the true noise.
        let bound = fit(&sky, &truth[..terms], &Options::default())
            .unwrap()
            .covariance();
        let sigmas = solution.sigmas();
        let factor = solution.interval_factor(0.95);
        for j in 0..terms {
            let error = solution.parameters[j] - truth[j];
            squares[j] += error * error / bound[(j, j)];
            covered += usize::from(error.abs() < factor * sigmas[j]);
        }
        chi_square += solution.chi_square / solution.degrees_of_freedom;
    }
    let sessions = SESSIONS as f64;
    for (j, square) in squares.iter().enumerate() {
        let ratio = (square / sessions).sqrt();
        assert!(
            (ratio - 1.0).abs() < SCATTER_TOLERANCE,
            "{count} peaks, {terms} terms, term {j}: {ratio} of the bound"
        );
    }
    assert!((chi_square / sessions - 1.0).abs() < SCATTER_TOLERANCE);
    let coverage = covered as f64 / (sessions * terms as f64);
    assert!(
        (coverage - 0.95).abs() < COVERAGE_TOLERANCE,
        "{count} peaks, {terms} terms: coverage {coverage}"
    );
}

#[test]
fn scatter_meets_the_bound_and_intervals_cover() {
    for noise in [Noise::Logged, Noise::Scatter] {
        study(8, 5, Spread::Whole, noise);
        study(20, 7, Spread::Whole, noise);
        study(60, 11, Spread::Patch([0.0, 200.0], [15.0, 70.0]), noise);
    }
    study(120, MOST_TERMS, Spread::Whole, Noise::Logged);
}
