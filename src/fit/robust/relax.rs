//! Single Gauss-Newton steps on chosen or weighted observations: the moves of the search.

use super::loss::Loss;
use super::offsets::{Medians, Offset, offsets, ratio};
use crate::fit::block::Block;
use crate::fit::least_squares::LeastSquares;
use crate::fit::model::Model;
use crate::fit::options::Options;
use crate::fit::spectrum::Spectrum;
use crate::fit::step;
use crate::fit::triangle::Triangle;
use crate::fit::triangle::positive;
use nalgebra::DMatrix;
use std::cell::Cell;

/// A model with what stays the same during a robust search.
pub(crate) struct Relax<'a, M: Model + ?Sized> {
    pub model: &'a M,
    pub options: &'a Options,
    /// The directions that may move; none means all.
    pub basis: Option<DMatrix<f64>>,
    pub medians: Medians,
    /// The observations searched, ascending.
    pub pool: Vec<usize>,
    /// Room for rows, used by one step after the other.
    room: Cell<Option<Block>>,
}

impl<'a, M: Model + ?Sized> Relax<'a, M> {
    /// Of the observations in `pool`; directions that even all of them do not tell at
    /// `start` are held.
    pub fn new(model: &'a M, options: &'a Options, start: &[f64], pool: Vec<usize>) -> Self {
        let mut relax = Relax {
            model,
            options,
            basis: None,
            medians: Medians::new(),
            pool,
            room: Cell::new(None),
        };
        relax.basis = (relax.reduce(start, &relax.pool, None))
            .and_then(|whole| Spectrum::of(&whole, &options.hold).basis());
        relax
    }
    fn with_problem<T>(
        &self,
        chosen: &[usize],
        weights: Option<&[f64]>,
        ask: impl FnOnce(&LeastSquares<'_, M>) -> T,
    ) -> T {
        let problem = LeastSquares::new(self.model, usize::MAX)
            .with_priors(&self.options.priors)
            .with_weights(weights.or(self.options.weights.as_deref()))
            .choosing(chosen)
            .with_room(self.room.take());
        let answer = ask(&problem);
        self.room.set(problem.into_room());
        answer
    }
    /// The offsets of the pool; none where the model is not finite.
    pub fn offsets(&self, parameters: &[f64]) -> Option<Vec<Offset>> {
        self.with_problem(&self.pool, None, |problem| {
            offsets(problem, parameters).ok()
        })
    }
    /// The reduction in the directions that may move.
    pub fn reduce(
        &self,
        parameters: &[f64],
        chosen: &[usize],
        weights: Option<&[f64]>,
    ) -> Option<Triangle> {
        let whole =
            self.with_problem(chosen, weights, |problem| problem.reduce(parameters).ok())?;
        Some(match &self.basis {
            None => whole,
            Some(basis) => whole.restricted(basis),
        })
    }
    /// The parameters after one Gauss-Newton step on `chosen` observations.
    pub fn step(
        &self,
        parameters: &[f64],
        chosen: &[usize],
        weights: Option<&[f64]>,
    ) -> Option<Vec<f64>> {
        let triangle = self.reduce(parameters, chosen, weights)?;
        self.step_of(parameters, &triangle)
    }
    /// The same from a reduction already made.
    pub fn step_of(&self, parameters: &[f64], triangle: &Triangle) -> Option<Vec<f64>> {
        let step = step::full(triangle, &positive(triangle.column_norms()));
        let change = match &self.basis {
            None => step.change,
            Some(basis) => basis * step.change,
        };
        let moved: Vec<f64> = (parameters.iter())
            .zip(change.iter())
            .map(|(p, d)| p + d)
            .collect();
        moved.iter().all(|p| p.is_finite()).then_some(moved)
    }
    /// A weight for each observation by its offset, its own weight included; zero outside
    /// the pool.
    pub fn weights(&self, offsets: &[Offset], scale: f64, loss: Loss) -> Vec<f64> {
        let own = |i: usize| self.options.weights.as_ref().map_or(1.0, |w| w[i]);
        let mut weights = vec![0.0; self.model.observations()];
        for o in offsets {
            let weight = loss.weight(ratio(o.radius(), scale), o.rows);
            weights[o.observation] = own(o.observation) * weight;
        }
        weights
    }
    /// The number of unknowns that may move.
    pub fn unknowns(&self) -> usize {
        self.basis
            .as_ref()
            .map_or(self.model.parameters(), |basis| basis.ncols())
    }
}

/// An upper bound of the scaled condition number of a reduction (in the Frobenius norm);
/// infinite when it is deficient.
pub(crate) fn condition(triangle: &Triangle) -> f64 {
    let scaled = step::scaled_triangle(triangle, &positive(triangle.column_norms()));
    match step::safe_inverse(&scaled) {
        Some(inverse) => scaled.norm() * inverse.norm(),
        None => f64::INFINITY,
    }
}
