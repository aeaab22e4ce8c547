//! What is known before the data: extra rows of the least-squares problem.

/// A linear combination of the parameters known beforehand as `mean` with the standard
/// deviation `sigma`; also the soft bound of a parameter.
///
/// It enters as one row, (coefficients . parameters - mean) / sigma, exactly as a datum
/// would.
#[derive(Clone, Debug, PartialEq)]
pub struct Prior {
    coefficients: Vec<(usize, f64)>,
    mean: f64,
    sigma: f64,
}

impl Prior {
    /// Parameter number `parameter` is `mean`, give or take `sigma`.
    pub fn on(parameter: usize, mean: f64, sigma: f64) -> Prior {
        Prior::on_combination(vec![(parameter, 1.0)], mean, sigma)
    }
    /// The sum of coefficient times parameter over the pairs (parameter, coefficient) is
    /// `mean`, give or take `sigma`.
    pub fn on_combination(coefficients: Vec<(usize, f64)>, mean: f64, sigma: f64) -> Prior {
        Prior {
            coefficients,
            mean,
            sigma,
        }
    }
    /// Whether it can be used with n parameters: each named parameter exists, all numbers
    /// are finite, sigma is above zero.
    pub fn fits(&self, parameters: usize) -> bool {
        let known = |(j, c): &(usize, f64)| *j < parameters && c.is_finite();
        self.coefficients.iter().all(known)
            && self.mean.is_finite()
            && self.sigma.is_finite()
            && self.sigma > 0.0
    }
    /// The row's residual.
    pub fn residual(&self, parameters: &[f64]) -> f64 {
        let value: f64 = (self.coefficients.iter())
            .map(|(j, c)| c * parameters[*j])
            .sum();
        (value - self.mean) / self.sigma
    }
    /// The row's n derivatives.
    pub fn derivatives(&self, parameters: usize) -> Vec<f64> {
        let mut row = vec![0.0; parameters];
        for (j, c) in &self.coefficients {
            row[*j] += c / self.sigma;
        }
        row
    }
}
