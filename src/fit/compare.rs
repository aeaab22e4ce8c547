//! Which of several models the data prefer.

use super::influence::deviations;
use super::least_squares::LeastSquares;
use super::model::Model;
use super::options::Noise;
use super::pass::PassError;
use super::quantile;
use super::solution::Solution;
use super::step;
use super::triangle::positive;
use nalgebra::DVector;

/// How well a model with this many parameters fits this many rows: all that comparing needs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Goodness {
    /// Sum of the squared whitened residuals.
    pub chi_square: f64,
    /// Rows of data.
    pub rows: usize,
    /// Parameters that the data determined (the rank).
    pub parameters: usize,
    /// Whether the noise is known (the logged sigmas are trusted) or comes from the scatter.
    pub noise: Noise,
}

impl Goodness {
    /// Of a fit.
    pub fn of(solution: &Solution, noise: Noise) -> Goodness {
        Goodness {
            chi_square: solution.chi_square,
            rows: solution.rows,
            parameters: solution.rank(),
            noise,
        }
    }
    /// Twice the negative logarithm of the likelihood, less a constant common to all models
    /// of the same rows.
    fn deviance(&self) -> f64 {
        let rows = self.rows as f64;
        match self.noise {
            Noise::Logged => self.chi_square,
            Noise::Scatter => rows * (self.chi_square / rows).ln(),
        }
    }
    /// Parameters, the unknown noise counting as one.
    fn unknowns(&self) -> f64 {
        let noise = usize::from(self.noise == Noise::Scatter);
        (self.parameters + noise) as f64
    }
    /// The Bayesian information criterion; the model with the smaller one is preferred, and
    /// a difference of 10 is overwhelming (Schwarz 1978; Kass and Raftery 1995, from
    /// memory).
    pub fn bic(&self) -> f64 {
        self.deviance() + self.unknowns() * (self.rows as f64).ln()
    }
    /// Akaike's information criterion, for unknown noise corrected for few rows (Hurvich and
    /// Tsai 1989, from memory); infinite when the rows do not suffice for the correction.
    pub fn aicc(&self) -> f64 {
        let (rows, k) = (self.rows as f64, self.unknowns());
        let correction = match self.noise {
            Noise::Logged => 0.0,
            Noise::Scatter if rows > k + 1.0 => 2.0 * k * (k + 1.0) / (rows - k - 1.0),
            Noise::Scatter => f64::INFINITY,
        };
        self.deviance() + 2.0 * k + correction
    }
    /// The probability that the fall of chi-square from this model to a `larger` one, which
    /// contains it, is chance: an F test when the noise comes from the scatter, a likelihood
    /// ratio (chi-square) test when it is known. One when nothing was added.
    pub fn chance_of_gain(&self, larger: &Goodness) -> f64 {
        let added = larger.parameters.saturating_sub(self.parameters) as f64;
        if added == 0.0 {
            return 1.0;
        }
        let fall = (self.chi_square - larger.chi_square).max(0.0);
        match self.noise {
            Noise::Logged => quantile::chi_square_exceeds(fall, added),
            Noise::Scatter => {
                let left = larger.rows.saturating_sub(larger.parameters) as f64;
                if left == 0.0 {
                    return 1.0;
                }
                if larger.chi_square == 0.0 {
                    return if fall > 0.0 { 0.0 } else { 1.0 };
                }
                let f = fall / added / (larger.chi_square / left);
                quantile::f_exceeds(f, added, left)
            }
        }
    }
}

/// How well observations are predicted by fits that did not see them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CrossValidation {
    /// Sum of the squared whitened errors of prediction.
    pub press: f64,
    /// Rows predicted.
    pub rows: usize,
}

impl CrossValidation {
    /// Root of the mean square error of prediction of a row, in units of the logged sigma.
    pub fn rms(&self) -> f64 {
        (self.press / self.rows.max(1) as f64).sqrt()
    }
}

/// Leave-one-out cross-validation: each observation (with all its rows) predicted from the
/// others, by the deletion formula with the hat matrix, linearised at the solution. `weights`
/// are those of the fit; observations of weight zero are not predicted.
///
/// # Errors
/// When the model is not finite at the solution.
pub fn leave_one_out<M: Model + ?Sized>(
    model: &M,
    solution: &Solution,
    weights: Option<&[f64]>,
) -> Result<CrossValidation, PassError> {
    let ones;
    let all = match weights {
        Some(weights) => weights,
        None => {
            ones = vec![1.0; model.observations()];
            &ones
        }
    };
    let deviations = deviations(model, solution, weights, all)?;
    Ok(CrossValidation {
        press: deviations.iter().map(|d| d.press).sum(),
        rows: deviations.iter().map(|d| d.rows).sum(),
    })
}

/// Cross-validation by folds: the observations of each fold predicted from those of all
/// others, linearised at the solution, in the directions that it determines. `fold_of` says
/// for each observation which fold it belongs to, counted from 0.
///
/// # Errors
/// When the model is not finite at the solution.
pub fn by_folds<M: Model + ?Sized>(
    model: &M,
    solution: &Solution,
    weights: Option<&[f64]>,
    fold_of: &[usize],
) -> Result<CrossValidation, PassError> {
    let own = |i: usize| weights.map_or(1.0, |w| w[i]);
    let basis = solution.basis();
    let folds = fold_of.iter().max().map_or(0, |last| last + 1);
    let mut total = CrossValidation {
        press: 0.0,
        rows: 0,
    };
    for fold in 0..folds {
        let side = |inside: bool| -> Vec<f64> {
            (fold_of.iter().enumerate())
                .map(|(i, f)| if (*f == fold) == inside { own(i) } else { 0.0 })
                .collect()
        };
        let (inside, outside) = (side(true), side(false));
        let others = LeastSquares::new(model, usize::MAX).with_weights(Some(&outside));
        let whole = others.reduce(&solution.parameters)?;
        let triangle = match &basis {
            None => whole,
            Some(basis) => whole.restricted(basis),
        };
        let step = step::full(&triangle, &positive(triangle.column_norms())).change;
        let change: DVector<f64> = match &basis {
            None => step,
            Some(basis) => basis * step,
        };
        let these = LeastSquares::new(model, usize::MAX).with_weights(Some(&inside));
        these.pass(&solution.parameters, true, |block| {
            for row in 0..block.rows() {
                let shift: f64 = (change.iter().enumerate())
                    .map(|(j, d)| d * block.derivative(row, j))
                    .sum();
                total.press += (block.residual(row) + shift).powi(2);
            }
            total.rows += block.rows();
        })?;
    }
    Ok(total)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn goodness(chi_square: f64, parameters: usize, noise: Noise) -> Goodness {
        Goodness {
            chi_square,
            rows: 20,
            parameters,
            noise,
        }
    }

    #[test]
    fn useless_parameters_are_punished_and_useful_ones_admitted() {
        for noise in [Noise::Logged, Noise::Scatter] {
            let small = goodness(20.0, 2, noise);
            let useless = goodness(19.5, 3, noise);
            let useful = goodness(5.0, 3, noise);
            assert!(useless.bic() > small.bic() && useless.aicc() > small.aicc());
            assert!(useful.bic() < small.bic() && useful.aicc() < small.aicc());
            assert!(small.chance_of_gain(&useless) > 0.3);
            assert!(small.chance_of_gain(&useful) < 1e-3);
            assert_eq!(small.chance_of_gain(&small), 1.0);
        }
    }

    #[test]
    fn the_tests_agree_with_printed_tables() {
        // F(1, 17) = 4.45 and chi-square(1) = 3.84 at 5 % (printed tables, from memory).
        let larger = goodness(17.0, 3, Noise::Scatter);
        let p = goodness(17.0 + 4.45, 2, Noise::Scatter).chance_of_gain(&larger);
        assert!((p - 0.05).abs() < 1e-4);
        let larger = goodness(17.0, 3, Noise::Logged);
        let p = goodness(17.0 + 3.841, 2, Noise::Logged).chance_of_gain(&larger);
        assert!((p - 0.05).abs() < 1e-4);
    }
}
