//! Passes over many observations, made in parts that threads share.

use crate::sky::{Sky, Spread, random, truth};
use plumbeam::fit::{
    Block, LeastSquares, Model, Options, PassError, Prior, Solution, Triangle, Unevaluable, fit,
};

/// Roundings of a well-conditioned fit.
const ROUNDING: f64 = 1e-11;
/// Several parts, the last of them not full.
const MANY: usize = 40_001;

fn sky() -> Sky {
    let mut random = random(7);
    let truth = truth(&mut random);
    Sky::new(MANY, 7, Spread::Whole, &truth, &mut random)
}

/// The same model, not to be shared.
struct Alone<'a>(&'a Sky);

impl Model for Alone<'_> {
    fn parameters(&self) -> usize {
        self.0.parameters()
    }
    fn observations(&self) -> usize {
        self.0.observations()
    }
    fn most_rows(&self) -> usize {
        2
    }
    fn evaluate(&self, parameters: &[f64], block: &mut Block) -> Result<(), Unevaluable> {
        self.0.evaluate(parameters, block)
    }
}

fn with_threads<T: Send>(threads: usize, job: impl FnOnce() -> T + Send) -> T {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads);
    pool.build().unwrap().install(job)
}

#[test]
fn the_number_of_threads_changes_no_bit() {
    let sky = sky();
    let weights: Vec<f64> = (0..MANY).map(|i| (i % 4) as f64).collect();
    let options = Options {
        weights: Some(weights),
        priors: vec![Prior::on(3, 0.0, 1e-3)],
        ..Options::default()
    };
    let bits = |solution: Solution| {
        let parameters = solution.parameters.iter().map(|p| p.to_bits());
        let mut bits: Vec<u64> = parameters.collect();
        bits.push(solution.chi_square.to_bits());
        bits.extend(solution.sigmas().iter().map(|s| s.to_bits()));
        bits
    };
    let one = with_threads(1, || bits(fit(&sky, &[0.0; 7], &options).unwrap()));
    for threads in 2..=5 {
        let several = with_threads(threads, || bits(fit(&sky, &[0.0; 7], &options).unwrap()));
        assert_eq!(one, several, "{threads} threads");
    }
    assert_eq!(one, bits(fit(&Alone(&sky), &[0.0; 7], &options).unwrap()));
}

#[test]
fn parts_give_what_one_stream_gives() {
    let sky = sky();
    let there = [0.001; 7];
    let parts = LeastSquares::new(&sky, 2);
    let whole = parts.reduce(&there).unwrap();
    let squares = parts.sum_of_squares(&there).unwrap();
    assert_eq!(parts.spent(), 2);
    let mut stream = Triangle::new(7);
    let mut slopes = [[0.0; crate::sky::MOST_TERMS]; 2];
    for peak in &sky.peaks {
        let value = crate::sky::modelled(peak, &there, Some(&mut slopes));
        for axis in 0..2 {
            let row = slopes[axis].map(|d| -d / sky.noise);
            stream.absorb_row((peak.seen[axis] - value[axis]) / sky.noise, &row[..7]);
        }
    }
    assert_eq!(whole.rows(), stream.rows());
    assert!((whole.squares() / stream.squares() - 1.0).abs() < ROUNDING);
    assert!((whole.squares() / squares - 1.0).abs() < ROUNDING);
    assert!((whole.least_squares() / stream.least_squares() - 1.0).abs() < ROUNDING);
    let (a, b) = (whole.r().tr_mul(whole.r()), stream.r().tr_mul(stream.r()));
    assert!((&a - &b).norm() < ROUNDING * b.norm());
    let (a, b) = (whole.gradient(), stream.gradient());
    assert!((&a - &b).norm() < ROUNDING * b.norm());
}

#[test]
fn observations_of_no_weight_and_not_chosen_are_left_out_of_every_part() {
    let sky = sky();
    let there = [0.001; 7];
    let weights: Vec<f64> = (0..MANY).map(|i| f64::from(u8::from(i % 3 != 1))).collect();
    let chosen: Vec<usize> = (0..MANY).filter(|i| i % 3 != 1).collect();
    let weighted = LeastSquares::new(&sky, 1).with_weights(Some(&weights));
    let listed = LeastSquares::new(&sky, 1).choosing(&chosen);
    let (a, b) = (
        weighted.reduce(&there).unwrap(),
        listed.reduce(&there).unwrap(),
    );
    assert_eq!(a.rows(), 2 * chosen.len());
    assert_eq!(a.rows(), b.rows());
    assert!((a.squares() / b.squares() - 1.0).abs() < ROUNDING);
    assert!((a.gradient() - b.gradient()).norm() < ROUNDING * a.gradient().norm());
}

#[test]
fn the_first_observation_without_a_value_is_named() {
    for bad in [0, 130, 9_000, MANY - 1] {
        let mut sky = sky();
        sky.peaks[bad].seen[1] = f64::NAN;
        // Another later on is not the first.
        sky.peaks[MANY - 1].seen[0] = f64::INFINITY;
        let problem = LeastSquares::new(&sky, usize::MAX);
        let expected = PassError::Unevaluable(Unevaluable { observation: bad });
        assert_eq!(problem.reduce(&[0.0; 7]).unwrap_err(), expected);
        assert_eq!(problem.sum_of_squares(&[0.0; 7]).unwrap_err(), expected);
    }
}
