//! A model of one variable from a closure: samples y at x.

use super::block::Block;
use super::model::{Model, Unevaluable};
use std::cell::RefCell;

/// Samples of a curve with a closure for the modelled value.
///
/// The closure takes the n parameters and x, writes the n derivatives of the modelled value
/// into the slice and returns the modelled value. A non-finite value means that the curve is
/// not defined there.
pub struct Curve<'a, F> {
    x: &'a [f64],
    y: &'a [f64],
    sigma: Option<&'a [f64]>,
    parameters: usize,
    function: F,
    slopes: RefCell<Vec<f64>>,
}

impl<'a, F> Curve<'a, F>
where
    F: Fn(&[f64], f64, &mut [f64]) -> f64,
{
    /// Samples of equal, unknown noise: fit with [`super::Noise::Scatter`].
    ///
    /// # Panics
    /// When `x` and `y` differ in length.
    pub fn new(x: &'a [f64], y: &'a [f64], parameters: usize, function: F) -> Curve<'a, F> {
        assert_eq!(x.len(), y.len(), "one y for each x");
        Curve {
            x,
            y,
            sigma: None,
            parameters,
            function,
            slopes: RefCell::new(vec![0.0; parameters]),
        }
    }
    /// With the standard deviation of each sample, above zero.
    ///
    /// # Panics
    /// When there is not one for each sample.
    pub fn with_sigmas(mut self, sigma: &'a [f64]) -> Self {
        assert_eq!(sigma.len(), self.y.len(), "one sigma for each y");
        self.sigma = Some(sigma);
        self
    }
}

impl<F> Model for Curve<'_, F>
where
    F: Fn(&[f64], f64, &mut [f64]) -> f64,
{
    fn parameters(&self) -> usize {
        self.parameters
    }
    fn observations(&self) -> usize {
        self.x.len()
    }
    fn evaluate(&self, parameters: &[f64], block: &mut Block) -> Result<(), Unevaluable> {
        let mut slopes = self.slopes.borrow_mut();
        for i in block.range() {
            let value = (self.function)(parameters, self.x[i], &mut slopes);
            let sigma = self.sigma.map_or(1.0, |s| s[i]);
            slopes.iter_mut().for_each(|d| *d /= -sigma);
            block.push(i, (self.y[i] - value) / sigma, &slopes);
        }
        Ok(())
    }
}
