//! A model with its weights and priors, reduced in streams, on a budget.

use super::block::Block;
use super::model::{Model, Unevaluable};
use super::pass::{PassError, Rows};
use super::prior::Prior;
use super::triangle::Triangle;
use std::cell::{Cell, RefCell};

/// The sum of squares of a model's rows, each observation times its weight, plus the priors: with
/// the data factor f,
///
/// ```text
/// S(p) = f^2 sum_i w_i |r_i(p)|^2 + sum_k ((c_k . p - m_k) / s_k)^2
/// ```
///
/// Every pass over the data is counted against a budget, so that no solver can run away;
/// there is no clock.
pub struct LeastSquares<'a, M: Model + ?Sized> {
    rows: Rows<'a, M>,
    priors: &'a [Prior],
    budget: usize,
    spent: Cell<usize>,
    block: RefCell<Option<Block>>,
}

impl<'a, M: Model + ?Sized> LeastSquares<'a, M> {
    /// All observations with weight one, without priors, with at most `budget` passes.
    pub fn new(model: &'a M, budget: usize) -> LeastSquares<'a, M> {
        LeastSquares {
            rows: Rows::of(model),
            priors: &[],
            budget,
            spent: Cell::new(0),
            block: RefCell::new(None),
        }
    }
    /// With priors as extra rows.
    pub fn with_priors(mut self, priors: &'a [Prior]) -> Self {
        self.priors = priors;
        self
    }
    /// With a weight for each observation (its rows are multiplied by the root); those of
    /// weight zero are not evaluated and do not count.
    pub fn with_weights(mut self, weights: Option<&'a [f64]>) -> Self {
        self.rows.weights = weights;
        self
    }
    /// Of the observations in this ascending list only.
    pub fn choosing(mut self, chosen: &'a [usize]) -> Self {
        self.rows.chosen = Some(chosen);
        self
    }
    /// With all data rows (not the priors) multiplied by `factor`: one over the noise in
    /// units of the logged sigma.
    pub fn with_data_factor(mut self, factor: f64) -> Self {
        self.rows.data_factor = factor;
        self
    }
    /// In room that was used before.
    pub(crate) fn with_room(self, room: Option<Block>) -> Self {
        self.block.replace(room);
        self
    }
    /// The room, to be used again.
    pub(crate) fn into_room(self) -> Option<Block> {
        self.block.into_inner()
    }
    /// How many observations a pass goes through at most.
    pub(crate) fn items(&self) -> usize {
        self.rows.items()
    }
    /// Number of parameters.
    pub fn parameters(&self) -> usize {
        self.rows.model.parameters()
    }
    /// Passes made so far.
    pub fn spent(&self) -> usize {
        self.spent.get()
    }

    /// One pass: R, Q'r and the sum of squares at `parameters`. The priors come first, since
    /// Householder reflections lose least when large rows stand at the top.
    ///
    /// # Errors
    /// [`PassError`] when the model is not finite there or the budget is spent.
    pub fn reduce(&self, parameters: &[f64]) -> Result<Triangle, PassError> {
        self.spend()?;
        let mut triangle = Triangle::new(self.parameters());
        for prior in self.priors {
            triangle.absorb_row(
                prior.residual(parameters),
                &prior.derivatives(self.parameters()),
            );
        }
        self.rows
            .reduce(parameters, triangle, &mut self.block.borrow_mut())
    }

    /// One pass without derivatives: the sum of squares at `parameters`, priors included.
    ///
    /// # Errors
    /// As [`LeastSquares::reduce`].
    pub fn sum_of_squares(&self, parameters: &[f64]) -> Result<f64, PassError> {
        self.spend()?;
        let sum = self.sum_of_prior_squares(parameters);
        let squares = (self.rows).sum_of_squares(parameters, &mut self.block.borrow_mut())?;
        Ok(sum + squares)
    }

    /// The priors' share of the sum of squares.
    pub fn sum_of_prior_squares(&self, parameters: &[f64]) -> f64 {
        let square = |prior: &Prior| prior.residual(parameters).powi(2);
        self.priors.iter().map(square).sum()
    }

    /// One pass over the blocks of weighted rows, in order.
    ///
    /// # Errors
    /// As [`LeastSquares::reduce`].
    pub(crate) fn pass(
        &self,
        parameters: &[f64],
        derivatives: bool,
        mut use_rows: impl FnMut(&Block),
    ) -> Result<(), PassError> {
        self.spend()?;
        let mut block = self.block.borrow_mut();
        let items = 0..self.rows.items();
        (self.rows).pass(items, parameters, derivatives, &mut block, |block| {
            if !block.is_finite() {
                let observation = block.first_not_finite();
                return Err(PassError::Unevaluable(Unevaluable { observation }));
            }
            use_rows(block);
            Ok(())
        })
    }

    fn spend(&self) -> Result<(), PassError> {
        if self.spent.get() >= self.budget {
            return Err(PassError::BudgetSpent);
        }
        self.spent.set(self.spent.get() + 1);
        Ok(())
    }
}
