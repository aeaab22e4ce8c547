//! Against the `levenberg-marquardt` crate (MINPACK's algorithm in its own code), which
//! shares nothing with the engine but the model.

use crate::difference;
use crate::sky::{MOST_TERMS, Sky, Spread, modelled, random, truth};
use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, Owned};
use plumbeam::fit::{Options, fit};

struct Other<'a> {
    sky: &'a Sky,
    p: DVector<f64>,
}

impl Other<'_> {
    fn rows(&self) -> (DVector<f64>, DMatrix<f64>) {
        let n = self.sky.terms;
        let count = self.sky.peaks.len();
        let mut r = DVector::zeros(2 * count);
        let mut j = DMatrix::zeros(2 * count, n);
        for (i, peak) in self.sky.peaks.iter().enumerate() {
            let mut slopes = [[0.0; MOST_TERMS]; 2];
            let value = modelled(peak, self.p.as_slice(), Some(&mut slopes));
            for axis in 0..2 {
                r[2 * i + axis] = (peak.seen[axis] - value[axis]) / self.sky.noise;
                for k in 0..n {
                    j[(2 * i + axis, k)] = -slopes[axis][k] / self.sky.noise;
                }
            }
        }
        (r, j)
    }
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Other<'_> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;
    fn set_params(&mut self, p: &DVector<f64>) {
        self.p.copy_from(p);
    }
    fn params(&self) -> DVector<f64> {
        self.p.clone()
    }
    fn residuals(&self) -> Option<DVector<f64>> {
        Some(self.rows().0)
    }
    fn jacobian(&self) -> Option<DMatrix<f64>> {
        Some(self.rows().1)
    }
}

/// Both converge to roundings of the sum of squares; parameters then agree to its root.
const AGREEMENT: f64 = 1e-7;

#[test]
fn both_solvers_find_the_same_minimum() {
    for (seed, (count, terms)) in [(12, 5), (40, 7), (200, 11), (300, MOST_TERMS)]
        .into_iter()
        .enumerate()
    {
        let mut random = random(seed as u64);
        let truth = truth(&mut random);
        let sky = Sky::new(count, terms, Spread::Whole, &truth, &mut random);
        let ours = fit(&sky, &vec![0.0; terms], &Options::default()).unwrap();
        let other = Other {
            sky: &sky,
            p: DVector::zeros(terms),
        };
        let (theirs, report) = LevenbergMarquardt::new().minimize(other);
        assert!(report.termination.was_successful());
        assert!(difference(&ours.parameters, theirs.p.as_slice()) < AGREEMENT);
        let chi_square = 2.0 * report.objective_function;
        assert!((ours.chi_square / chi_square - 1.0).abs() < AGREEMENT);
    }
}
