//! What must hold whatever is fitted.

use crate::sky::{Sky, Spread, random, truth};
use crate::{Table, difference};
use nalgebra::{DMatrix, DVector};
use plumbeam::fit::{
    Block, Curve, Ending, FitError, Hold, LeastSquares, Linear, Model, Noise, Options, Prior,
    Unevaluable, by_folds, deviations, fit, leave_one_out,
};
use proptest::prelude::*;
use rand::seq::SliceRandom;

/// Roundings of a well-conditioned fit.
const ROUNDING: f64 = 1e-9;

fn sky(count: usize, terms: usize, seed: u64) -> Sky {
    let mut random = random(seed);
    let truth = truth(&mut random);
    Sky::new(count, terms, Spread::Whole, &truth, &mut random)
}

/// The same model in parameters p = scale x q.
struct Scaled<'a> {
    sky: &'a Sky,
    scale: &'a [f64],
}

impl Model for Scaled<'_> {
    fn parameters(&self) -> usize {
        self.sky.parameters()
    }
    fn observations(&self) -> usize {
        self.sky.observations()
    }
    fn most_rows(&self) -> usize {
        2
    }
    fn evaluate(&self, q: &[f64], block: &mut Block) -> Result<(), Unevaluable> {
        let p: Vec<f64> = q.iter().zip(self.scale).map(|(a, b)| a * b).collect();
        for i in block.range() {
            let one = Sky {
                peaks: vec![self.sky.peaks[i]],
                ..*self.sky
            };
            for (residual, mut slopes) in rows(&one, &p) {
                for (d, s) in slopes.iter_mut().zip(self.scale) {
                    *d *= s;
                }
                block.push(i, residual, &slopes);
            }
        }
        Ok(())
    }
}

/// All rows of a sky, written down.
fn rows(sky: &Sky, p: &[f64]) -> Vec<(f64, Vec<f64>)> {
    let mut rows = Vec::new();
    for peak in &sky.peaks {
        let mut slopes = [[0.0; crate::sky::MOST_TERMS]; 2];
        let value = crate::sky::modelled(peak, p, Some(&mut slopes));
        for axis in 0..2 {
            let slopes = slopes[axis][..p.len()].iter();
            rows.push((
                (peak.seen[axis] - value[axis]) / sky.noise,
                slopes.map(|d| -d / sky.noise).collect(),
            ));
        }
    }
    rows
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn scaling_the_parameters_scales_the_answer(
        seed in 0u64..1000,
        powers in prop::collection::vec(-6.0..6.0_f64, 7),
    ) {
        let sky = sky(30, 7, seed);
        let scale: Vec<f64> = powers.iter().map(|p| 10_f64.powf(*p)).collect();
        let plain = fit(&sky, &[0.0; 7], &Options::default()).unwrap();
        let scaled = fit(&Scaled { sky: &sky, scale: &scale }, &[0.0; 7], &Options::default()).unwrap();
        let back: Vec<f64> = scaled.parameters.iter().zip(&scale).map(|(q, s)| q * s).collect();
        prop_assert!(difference(&plain.parameters, &back) < ROUNDING);
        let sigmas: Vec<f64> = scaled.sigmas().iter().zip(&scale).map(|(q, s)| q * s).collect();
        prop_assert!(difference(&plain.sigmas(), &sigmas) < ROUNDING);
        prop_assert!((plain.condition() / scaled.condition() - 1.0).abs() < ROUNDING);
    }

    #[test]
    fn the_order_of_observations_does_not_matter(seed in 0u64..1000, count in 5usize..400) {
        let mut sky = sky(count, 7, seed);
        let before = fit(&sky, &[0.0; 7], &Options::default()).unwrap();
        sky.peaks.shuffle(&mut random(seed + 1));
        let after = fit(&sky, &[0.0; 7], &Options::default()).unwrap();
        prop_assert!(difference(&before.parameters, &after.parameters) < ROUNDING);
        prop_assert!((before.chi_square / after.chi_square - 1.0).abs() < ROUNDING);
    }

    #[test]
    fn a_prior_is_one_more_row(seed in 0u64..1000, mean in -0.1..0.1_f64, sigma in 1e-5..1.0_f64) {
        let sky = sky(20, 7, seed);
        let mut table = Table { rows: rows(&sky, &[0.0; 7]).into_iter()
            .map(|(r, d)| vec![(r, d.iter().map(|x| -x).collect())]).collect() };
        let prior = Prior::on_combination(vec![(2, 1.0), (4, -2.0)], mean, sigma);
        let options = Options { priors: vec![prior], ..Options::default() };
        let with_prior = fit(&table, &[0.0; 7], &options).unwrap();
        let mut row = vec![0.0; 7];
        row[2] = 1.0 / sigma;
        row[4] = -2.0 / sigma;
        table.rows.push(vec![(mean / sigma, row)]);
        let with_row = fit(&table, &[0.0; 7], &Options::default()).unwrap();
        prop_assert!(difference(&with_prior.parameters, &with_row.parameters) < ROUNDING);
        prop_assert!(difference(&with_prior.sigmas(), &with_row.sigmas()) < ROUNDING);
        let total = with_prior.chi_square + with_prior.prior_chi_square;
        prop_assert!((total / with_row.chi_square - 1.0).abs() < ROUNDING);
    }

    #[test]
    fn a_weight_of_two_is_the_observation_twice(seed in 0u64..1000) {
        let mut sky = sky(20, 7, seed);
        let mut weights = vec![1.0; 20];
        weights[3] = 2.0;
        weights[7] = 0.0;
        let options = Options { weights: Some(weights), ..Options::default() };
        let weighted = fit(&sky, &[0.0; 7], &options).unwrap();
        sky.peaks.push(sky.peaks[3]);
        sky.peaks.remove(7);
        let twice = fit(&sky, &[0.0; 7], &Options::default()).unwrap();
        prop_assert!(difference(&weighted.parameters, &twice.parameters) < ROUNDING);
        prop_assert_eq!(weighted.rows + 2, twice.rows);
    }

    #[test]
    fn blocks_give_what_one_decomposition_gives(seed in 0u64..1000, count in 1usize..700) {
        let sky = sky(count, 5, seed);
        let triangle = LeastSquares::new(&sky, 1).reduce(&[0.001; 5]).unwrap();
        let rows = rows(&sky, &[0.001; 5]);
        let j = DMatrix::from_fn(rows.len(), 5, |i, k| rows[i].1[k]);
        let r = DVector::from_fn(rows.len(), |i, _| rows[i].0);
        let whole = j.tr_mul(&j);
        let blocked = triangle.r().tr_mul(triangle.r());
        prop_assert!((&whole - &blocked).norm() < ROUNDING * whole.norm());
        prop_assert!((j.tr_mul(&r) - triangle.gradient()).norm() < ROUNDING * j.norm() * r.norm());
        prop_assert!((triangle.squares() / r.norm_squared() - 1.0).abs() < ROUNDING);
        let split = triangle.z().norm_squared() + triangle.least_squares();
        prop_assert!((triangle.squares() / split - 1.0).abs() < ROUNDING);
    }

    #[test]
    fn deletion_formulas_agree_with_deleting(seed in 0u64..1000, which in 0usize..14) {
        // A linear problem with observations of one and two rows, for which they are exact.
        let sky = sky(14, 5, seed);
        let mut all = rows(&sky, &[0.0; 5]).into_iter().map(|(r, d)| (r, d.iter().map(|x| -x).collect::<Vec<f64>>()));
        let mut table = Table { rows: Vec::new() };
        for i in 0..14 {
            let pair: Vec<_> = all.by_ref().take(2).collect();
            table.rows.push(if i % 3 == 0 { pair[..1].to_vec() } else { pair });
        }
        let options = |weights: &[f64]| Options { weights: Some(weights.to_vec()), noise: Noise::Scatter, ..Options::default() };
        let ones = vec![1.0; 14];
        let whole = fit(&table, &[0.0; 5], &options(&ones)).unwrap();
        let mut without = ones.clone();
        without[which] = 0.0;
        let rest = fit(&table, &[0.0; 5], &options(&without)).unwrap();
        let inside = deviations(&table, &whole, None, &ones).unwrap()[which];
        let outside = deviations(&table, &rest, None, &without).unwrap()[which];
        prop_assert!(inside.in_fit && !outside.in_fit);
        prop_assert!((inside.square / outside.square - 1.0).abs() < 1e-6);
        prop_assert!((inside.press / outside.residual_square - 1.0).abs() < 1e-6);
        prop_assert!(((whole.chi_square - rest.chi_square) / inside.square - 1.0).abs() < 1e-6);
        let leverages: f64 = deviations(&table, &whole, None, &ones).unwrap().iter().map(|d| d.leverage).sum();
        prop_assert!((leverages - 5.0).abs() < 1e-9);
        // Leave-one-out by formula and by folds of one.
        let formula = leave_one_out(&table, &whole, None).unwrap();
        let folds: Vec<usize> = (0..14).collect();
        let refitted = by_folds(&table, &whole, None, &folds).unwrap();
        prop_assert!((formula.press / refitted.press - 1.0).abs() < 1e-6);
        prop_assert_eq!(formula.rows, refitted.rows);
    }
}

#[test]
fn noise_from_the_scatter_and_priors_are_weighed_against_each_other() {
    // Logged sigmas ten times too small must not drown the prior: the answer with the noise
    // from the scatter is that of the true sigmas.
    let sky = sky(200, 7, 5);
    let narrow = Sky {
        noise: sky.noise / 10.0,
        ..sky.clone()
    };
    let options = |noise| Options {
        priors: vec![Prior::on(4, 0.0, 1e-5)],
        noise,
        ..Options::default()
    };
    let right = fit(&sky, &[0.0; 7], &options(Noise::Scatter)).unwrap();
    let scattered = fit(&narrow, &[0.0; 7], &options(Noise::Scatter)).unwrap();
    let trusted = fit(&narrow, &[0.0; 7], &options(Noise::Logged)).unwrap();
    assert!(difference(&right.parameters, &scattered.parameters) < 1e-6);
    assert!(difference(&right.sigmas(), &scattered.sigmas()) < 1e-5);
    assert!(difference(&right.parameters, &trusted.parameters) > 1e-4);
    let ratio = scattered.scatter.unwrap() / right.scatter.unwrap();
    assert!((ratio - 10.0).abs() < 1e-4);
    assert!((scattered.noise_factor() / scattered.scatter.unwrap() - 1.0).abs() < 1e-12);
}

#[test]
fn a_spent_budget_is_said() {
    let sky = sky(30, 7, 1);
    let options = Options {
        budget: Some(2),
        ..Options::default()
    };
    let solution = fit(&sky, &[0.0; 7], &options).unwrap();
    assert_eq!(solution.ending, Ending::BudgetSpent);
    assert!(!solution.ending.converged());
}

#[test]
fn a_model_undefined_at_the_start_is_an_error_and_elsewhere_a_shorter_step() {
    let x = [1.0, 2.0, 3.0, 4.0];
    let y = [0.0, 0.7, 1.1, 1.4];
    // ln(p x): undefined for negative p; the first full step from 0.02 overshoots.
    let log = |p: &[f64], x: f64, slope: &mut [f64]| {
        slope[0] = 1.0 / p[0];
        (p[0] * x).ln()
    };
    let curve = Curve::new(&x, &y, 1, log);
    let bad = fit(&curve, &[-1.0], &Options::default());
    assert!(matches!(bad, Err(FitError::Start(at)) if at.observation == 0));
    let good = fit(&curve, &[50.0], &Options::default()).unwrap();
    assert!((good.parameters[0] - 1.0).abs() < 0.05, "{good:?}");
    let good = fit(&curve, &[0.02], &Options::default()).unwrap();
    assert!((good.parameters[0] - 1.0).abs() < 0.05, "{good:?}");
}

#[test]
fn calls_that_make_no_sense_are_refused() {
    let sky = sky(10, 5, 2);
    let refused = |start: &[f64], options: Options| {
        assert!(matches!(
            fit(&sky, start, &options),
            Err(FitError::Misfit(_))
        ));
    };
    refused(&[0.0; 4], Options::default());
    refused(&[f64::NAN; 5], Options::default());
    let priors = |prior| Options {
        priors: vec![prior],
        ..Options::default()
    };
    refused(&[0.0; 5], priors(Prior::on(5, 0.0, 1.0)));
    refused(&[0.0; 5], priors(Prior::on(0, 0.0, 0.0)));
    refused(
        &[0.0; 5],
        Options {
            weights: Some(vec![1.0; 9]),
            ..Options::default()
        },
    );
    refused(
        &[0.0; 5],
        Options {
            weights: Some(vec![-1.0; 10]),
            ..Options::default()
        },
    );
    refused(
        &[0.0; 5],
        Options {
            hold: Hold::VaguerThan(vec![1.0; 4]),
            ..Options::default()
        },
    );
}

#[test]
fn a_problem_without_parameters_or_residuals_ends_at_once() {
    let table = Table {
        rows: vec![vec![(1.0, vec![])], vec![(2.0, vec![])]],
    };
    let solution = fit(&table, &[], &Options::default()).unwrap();
    assert_eq!(solution.ending, Ending::NothingFree);
    assert_eq!(solution.chi_square, 5.0);
    assert_eq!(solution.degrees_of_freedom, 2.0);
    let table = Table {
        rows: vec![vec![(0.0, vec![1.0])]; 3],
    };
    let solution = fit(&table, &[0.0], &Options::default()).unwrap();
    assert_eq!(solution.ending, Ending::Exact);
}

#[test]
fn linear_least_squares_agree_with_the_fit() {
    let sky = sky(40, 7, 3);
    let rows = rows(&sky, &[0.0; 7]);
    let mut linear = Linear::new(7);
    let table = Table {
        rows: (rows.iter())
            .map(|(r, d)| vec![(*r, d.iter().map(|x| -x).collect())])
            .collect(),
    };
    let mut weights = Vec::new();
    for (i, row) in table.rows.iter().enumerate() {
        weights.push(0.5 + i as f64);
        linear.add(row[0].0, &row[0].1, weights[i]);
    }
    let found = linear.solve();
    let options = Options {
        weights: Some(weights),
        ..Options::default()
    };
    let fitted = fit(&table, &[0.0; 7], &options).unwrap();
    assert!(difference(&found.coefficients, &fitted.parameters) < ROUNDING);
    assert!((found.sum_of_squares / fitted.chi_square - 1.0).abs() < ROUNDING);
    assert!((&found.covariance - fitted.covariance()).norm() < ROUNDING * found.covariance.norm());
    assert_eq!((found.rank, found.degrees_of_freedom), (7, 73));
}
