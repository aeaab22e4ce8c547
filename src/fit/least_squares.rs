//! A model with its weights and priors, reduced in streams, on a budget.

use super::model::{BLOCK_OBSERVATIONS, Block, Model, Unevaluable};
use super::prior::Prior;
use super::triangle::Triangle;
use std::cell::{Cell, RefCell};
use std::fmt;
use std::ops::Range;

/// Why a pass over the data gave nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PassError {
    /// The model is not finite at these parameters.
    Unevaluable(Unevaluable),
    /// The budget of passes is spent.
    BudgetSpent,
}

impl fmt::Display for PassError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PassError::Unevaluable(inner) => inner.fmt(f),
            PassError::BudgetSpent => f.write_str("the budget of evaluations is spent"),
        }
    }
}

impl std::error::Error for PassError {}

/// The sum of squares of a model's rows, each observation times its weight, plus the priors.
///
/// Every pass over the data is counted against a budget, so that no solver can run away;
/// there is no clock.
pub struct LeastSquares<'a, M: Model + ?Sized> {
    model: &'a M,
    priors: &'a [Prior],
    weights: Option<&'a [f64]>,
    chosen: Option<&'a [usize]>,
    data_factor: f64,
    budget: usize,
    spent: Cell<usize>,
    block: RefCell<Block>,
}

impl<'a, M: Model + ?Sized> LeastSquares<'a, M> {
    /// All observations with weight one, without priors, with at most `budget` passes.
    pub fn new(model: &'a M, budget: usize) -> LeastSquares<'a, M> {
        let observations = BLOCK_OBSERVATIONS.min(model.observations());
        let block = Block::new(model.parameters(), observations, model.most_rows());
        LeastSquares {
            model,
            priors: &[],
            weights: None,
            chosen: None,
            data_factor: 1.0,
            budget,
            spent: Cell::new(0),
            block: RefCell::new(block),
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
        self.weights = weights;
        self
    }
    /// Of the observations in this ascending list only.
    pub fn choosing(mut self, chosen: &'a [usize]) -> Self {
        self.chosen = Some(chosen);
        self
    }
    /// With all data rows (not the priors) multiplied by `factor`: one over the noise in
    /// units of the logged sigma.
    pub fn with_data_factor(mut self, factor: f64) -> Self {
        self.data_factor = factor;
        self
    }
    /// Number of parameters.
    pub fn parameters(&self) -> usize {
        self.model.parameters()
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
        let mut triangle = Triangle::new(self.parameters());
        for prior in self.priors {
            triangle.absorb_row(
                prior.residual(parameters),
                &prior.derivatives(self.parameters()),
            );
        }
        self.pass(parameters, true, |block| triangle.absorb(block))?;
        Ok(triangle)
    }

    /// One pass without derivatives: the sum of squares at `parameters`, priors included.
    ///
    /// # Errors
    /// As [`LeastSquares::reduce`].
    pub fn sum_of_squares(&self, parameters: &[f64]) -> Result<f64, PassError> {
        let mut sum = self.sum_of_prior_squares(parameters);
        self.pass(parameters, false, |block| {
            let residuals = block.residuals();
            sum += super::model::dot(residuals, residuals);
            block.clear();
        })?;
        Ok(sum)
    }

    /// The priors' share of the sum of squares.
    pub fn sum_of_prior_squares(&self, parameters: &[f64]) -> f64 {
        let square = |prior: &Prior| prior.residual(parameters).powi(2);
        self.priors.iter().map(square).sum()
    }

    /// One pass over the blocks of weighted rows; `use_rows` must leave each block empty.
    pub(crate) fn pass(
        &self,
        parameters: &[f64],
        derivatives: bool,
        mut use_rows: impl FnMut(&mut Block),
    ) -> Result<(), PassError> {
        if self.spent.get() >= self.budget {
            return Err(PassError::BudgetSpent);
        }
        self.spent.set(self.spent.get() + 1);
        let mut block = self.block.borrow_mut();
        block.clear();
        let mut waiting = 0;
        let weights = self.weights;
        let mut flush = |block: &mut Block| -> Result<(), PassError> {
            if let Some(observation) = block.first_not_finite() {
                return Err(PassError::Unevaluable(Unevaluable { observation }));
            }
            if weights.is_some() || self.data_factor != 1.0 {
                let weight = |i: usize| weights.map_or(1.0, |w| w[i].sqrt());
                block.scale_rows(|i| self.data_factor * weight(i));
            }
            use_rows(block);
            Ok(())
        };
        let mut ask = |range: Range<usize>| -> Result<(), PassError> {
            let mut start = range.start;
            while start < range.end {
                let end = range.end.min(start + BLOCK_OBSERVATIONS - waiting);
                block.ask(start..end, derivatives);
                (self.model.evaluate(parameters, &mut block)).map_err(PassError::Unevaluable)?;
                waiting += end - start;
                start = end;
                if waiting == BLOCK_OBSERVATIONS {
                    flush(&mut block)?;
                    waiting = 0;
                }
            }
            Ok(())
        };
        let wanted = |i: usize| weights.is_none_or(|w| w[i] > 0.0);
        match self.chosen {
            None if weights.is_none() => ask(0..self.model.observations())?,
            None => runs(
                (0..self.model.observations()).filter(|i| wanted(*i)),
                &mut ask,
            )?,
            Some(chosen) => runs(chosen.iter().copied().filter(|i| wanted(*i)), &mut ask)?,
        }
        if block.rows() > 0 {
            flush(&mut block)?;
        }
        Ok(())
    }
}

/// Hands the ascending `indices` on as runs of neighbours.
fn runs(
    indices: impl Iterator<Item = usize>,
    ask: &mut impl FnMut(Range<usize>) -> Result<(), PassError>,
) -> Result<(), PassError> {
    let mut run = 0..0;
    for i in indices {
        if i == run.end && !run.is_empty() {
            run.end += 1;
        } else {
            ask(run)?;
            run = i..i + 1;
        }
    }
    ask(run)
}
