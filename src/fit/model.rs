//! What the engine fits: a [`Model`] that gives whitened rows.

use std::fmt;
use std::ops::Range;

use super::block::{Block, runs};

/// Observations whose rows depend on the same few parameters.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// Which observations.
    pub observations: Range<usize>,
    /// The parameters that their rows may depend on, ascending. The derivatives with respect to
    /// all others are taken as zero, whatever is pushed.
    pub parameters: Vec<usize>,
}

/// A least-squares problem: observations whose whitened residuals depend on parameters.
///
/// An observation is one row or a few rows that stand or fall together: the cross-elevation
/// and the elevation of one peak. The engine asks for the rows of a range of observations at
/// a time and never keeps them, so memory does not grow with their number.
pub trait Model {
    /// Number of parameters, n.
    fn parameters(&self) -> usize;

    /// Number of observations.
    fn observations(&self) -> usize;

    /// The most rows that one observation can have.
    fn most_rows(&self) -> usize {
        1
    }

    /// Evaluates the observations of [`Block::range`] at `parameters` (length n) and pushes
    /// their rows in order, all rows of an observation one after the other.
    ///
    /// A row is a residual divided by its logged standard deviation, and the n derivatives
    /// **of that residual** (not of the modelled value) with respect to the parameters. The
    /// derivatives may be left empty when [`Block::wants_derivatives`] says no. An
    /// observation may have no row; how many it has must not depend on the parameters.
    ///
    /// # Errors
    /// [`Unevaluable`] where the model is not defined. During a fit this only shortens the
    /// step; at the start it ends the fit. The engine finds non-finite rows by itself.
    fn evaluate(&self, parameters: &[f64], block: &mut Block) -> Result<(), Unevaluable>;

    /// The same for the observations of an ascending list instead of [`Block::range`]: worth
    /// its own code where a model prepares something before its first row.
    ///
    /// # Errors
    /// As [`Model::evaluate`].
    fn evaluate_listed(
        &self,
        parameters: &[f64],
        observations: &[usize],
        block: &mut Block,
    ) -> Result<(), Unevaluable> {
        for range in runs(observations) {
            block.ask(range);
            self.evaluate(parameters, block)?;
        }
        Ok(())
    }

    /// Stretches of observations whose rows depend on some of the parameters only: in order, and
    /// together all observations. Where most derivatives are zero they save most of the work; none
    /// means that any row may depend on every parameter. The answer is the same up to rounding.
    fn stretches(&self) -> Vec<Stretch> {
        Vec::new()
    }

    /// The model as several threads can use it at once, if they can: many observations are
    /// then shared among them. The answer does not depend on their number.
    fn shared(&self) -> Option<&(dyn Model + Sync)> {
        None
    }
}

/// The model cannot be evaluated at these parameters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unevaluable {
    /// The observation at which it failed, counted from 0.
    pub observation: usize,
}

impl fmt::Display for Unevaluable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "the model has no finite value at observation {}",
            self.observation + 1
        )
    }
}

impl std::error::Error for Unevaluable {}
