//! The Levenberg-Marquardt solver, as a solver of the argmin framework.

use super::least_squares::LeastSquares;
use super::model::Model;
use super::options::Precision;
use super::pass::PassError;
use super::step::{self, TrialStep};
use super::triangle::{Triangle, positive};
use super::tuned::{FIRST_RADIUS, GAIN_TO_EXPECT_ANOTHER, MOST_POLISH_STEPS, POLISH_GAIN};
use argmin::core::{
    Error as FrameworkError, IterState, KV, Problem, Solver, TerminationReason, TerminationStatus,
};
use nalgebra::{DMatrix, DVector};
use std::fmt;

/// Why the iteration ended. That it converged proves no minimum, let alone the right one:
/// rank, condition and cosine are reported beside it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// All residuals are zero.
    Exact,
    /// The residuals are orthogonal to all columns of the Jacobian.
    Stationary,
    /// Neither the expected nor the real fall of the sum of squares matters any more.
    NoFurtherFall,
    /// The radius has shrunk to nothing against the parameters.
    NoFurtherStep,
    /// There is nothing to fit: no parameters, or none that the data determine.
    NothingFree,
    /// The budget of evaluations was spent first.
    BudgetSpent,
}

impl Ending {
    /// Whether the iteration ended by itself.
    pub fn converged(self) -> bool {
        self != Ending::BudgetSpent
    }
}

impl fmt::Display for Ending {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Ending::Exact => "all residuals are zero",
            Ending::Stationary => "the residuals are orthogonal to every parameter's effect",
            Ending::NoFurtherFall => "the sum of squares falls no further",
            Ending::NoFurtherStep => "the parameters move no further",
            Ending::NothingFree => "there was nothing to fit",
            Ending::BudgetSpent => "the budget of evaluations was spent before convergence",
        })
    }
}

/// Radius over the scaled length of the parameters at which iterating ends: a few dozen roundings
/// of double precision.
const STEP_TOLERANCE: f64 = 1e-14;
/// Largest gradient cosine that counts as zero: a few roundings of double precision (2.2e-16).
const COSINE_TOLERANCE: f64 = 1e-15;
/// A sum of squares grown by this factor (ten in the residuals) tells nothing about the size of the
/// next step; as in MINPACK (Moré 1978).
const BLOWN_UP: f64 = 100.0;
/// A step is accepted from this ratio of real to expected fall on (Moré 1978).
const LEAST_GAIN: f64 = 1e-4;
/// What a first step leaves to be gained, over what it was before, as long as no step has shown it.
/// Near the end of a fit to noisy data it is less than a hundredth.
const UNKNOWN_SHRINKAGE: f64 = 0.1;
/// A polish step of less than this fraction of the scaled parameters is not tried.
const POLISH_STEP: f64 = 1e-14;

/// Levenberg-Marquardt with column scaling, on triangles streamed from the data.
///
/// The method of Moré, The Levenberg-Marquardt algorithm (1978), as in MINPACK's lmder: a
/// radius in scaled parameters changed by the ratio of real to expected fall. Different
/// from there: rows are reduced in blocks and never kept; the first radius is infinite when
/// the start is zero; and after convergence Gauss-Newton steps are taken as long as they
/// lessen the gradient.
#[derive(Clone)]
pub(crate) struct LevenbergMarquardt {
    /// Columns span the directions that may move; none means all.
    basis: Option<DMatrix<f64>>,
    /// Takes parameters to their coordinates in the basis.
    coordinates: Option<DMatrix<f64>>,
    parameters: Vec<f64>,
    /// Over all parameters, at `parameters`.
    whole: Triangle,
    /// Over the free directions; none when all are.
    free: Option<Triangle>,
    scale: Vec<f64>,
    radius: f64,
    /// The last gain, to guess whether the next step will be accepted.
    gain: f64,
    iterations: usize,
    ending: Option<Ending>,
    precision: Precision,
}

/// What argmin carries between iterations: the parameters and the cost, for observers.
pub(crate) type State = IterState<Vec<f64>, (), (), (), (), f64>;

impl LevenbergMarquardt {
    /// From a start whose reduction is `whole`.
    pub fn new(
        start: &[f64],
        whole: Triangle,
        basis: Option<DMatrix<f64>>,
        precision: Precision,
    ) -> LevenbergMarquardt {
        let free = restricted(&whole, basis.as_ref());
        let scale = positive(free.as_ref().unwrap_or(&whole).column_norms());
        let inverse = |basis: &DMatrix<f64>| match basis.ncols() {
            0 => Ok(basis.transpose()),
            _ => basis.clone().pseudo_inverse(0.0),
        };
        let mut solver = LevenbergMarquardt {
            coordinates: basis.as_ref().and_then(|basis| inverse(basis).ok()),
            parameters: start.to_vec(),
            whole,
            free,
            scale,
            radius: f64::INFINITY,
            gain: 1.0,
            iterations: 0,
            ending: None,
            basis,
            precision,
        };
        let length = solver.scaled_length();
        if length > 0.0 {
            solver.radius = FIRST_RADIUS * length;
        }
        solver.ending = (solver.ending_here()).or_else(|| solver.last_step(UNKNOWN_SHRINKAGE));
        solver
    }
    /// The parameters reached, their reduction, why it ended, and the iterations made.
    pub fn into_parts(self) -> (Vec<f64>, Triangle, Ending, usize) {
        let ending = self.ending.unwrap_or(Ending::BudgetSpent);
        (self.parameters, self.whole, ending, self.iterations)
    }

    /// Over the free directions.
    fn triangle(&self) -> &Triangle {
        self.free.as_ref().unwrap_or(&self.whole)
    }
    /// Length of the parameters in scaled units: of all, or of the free directions' share.
    fn scaled_length(&self) -> f64 {
        let length = |free: &[f64]| -> f64 {
            let squares = free.iter().zip(&self.scale).map(|(x, d)| (x * d).powi(2));
            squares.sum::<f64>().sqrt()
        };
        match &self.coordinates {
            None => length(&self.parameters),
            Some(coordinates) => {
                let p = DVector::from_column_slice(&self.parameters);
                length((coordinates * p).as_slice())
            }
        }
    }
    fn ending_here(&self) -> Option<Ending> {
        if self.triangle().parameters() == 0 {
            Some(Ending::NothingFree)
        } else if self.triangle().squares() == 0.0 {
            Some(Ending::Exact)
        } else if self.triangle().largest_cosine() <= COSINE_TOLERANCE {
            Some(Ending::Stationary)
        } else {
            None
        }
    }
    /// As [`Self::last_step`], after a step that was accepted and expected this relative fall.
    fn last_step_after(&mut self, expected: f64) -> Option<Ending> {
        let left = self.triangle().z().norm_squared() / self.triangle().squares();
        (self.gain >= LEAST_GAIN && expected > 0.0)
            .then(|| left / expected)
            .and_then(|shrinkage| self.last_step(shrinkage))
    }
    /// Ends with the step of the linearised problem where another pass over the data would tell
    /// nothing more. What a step leaves to be gained is taken to be `shrinkage` times what it was
    /// before.
    fn last_step(&mut self, shrinkage: f64) -> Option<Ending> {
        let left = self.triangle().z().norm_squared() / self.triangle().squares();
        if left * shrinkage > self.precision.rest_tolerance() {
            return None;
        }
        let step = step::full(self.triangle(), &self.scale);
        if step.length > self.radius {
            return None;
        }
        let parameters = self.moved(&step);
        let moves = parameters
            .iter()
            .zip(&self.parameters)
            .map(|(to, from)| to - from);
        let change = DVector::from_iterator(parameters.len(), moves);
        self.whole = self.whole.moved(&change);
        self.free = restricted(&self.whole, self.basis.as_ref());
        self.parameters = parameters;
        Some(Ending::NoFurtherFall)
    }
    fn moved(&self, step: &TrialStep) -> Vec<f64> {
        let change = match &self.basis {
            None => step.change.clone(),
            Some(basis) => basis * &step.change,
        };
        (self.parameters.iter())
            .zip(change.iter())
            .map(|(p, d)| p + d)
            .collect()
    }
    fn accept(&mut self, parameters: Vec<f64>, whole: Triangle) {
        self.free = restricted(&whole, self.basis.as_ref());
        self.whole = whole;
        self.parameters = parameters;
        let norms = self.triangle().column_norms();
        for (d, norm) in self.scale.iter_mut().zip(norms) {
            *d = d.max(norm);
        }
    }

    /// One accepted or refused step.
    fn iterate<M: Model + ?Sized>(&mut self, problem: &LeastSquares<'_, M>) {
        let step = step::within(self.triangle(), &self.scale, self.radius);
        if self.iterations == 0 {
            self.radius = self.radius.min(step.length);
        }
        self.iterations += 1;
        let before = self.triangle().squares();
        let trial = self.moved(&step);
        let tried = if self.gain >= GAIN_TO_EXPECT_ANOTHER {
            (problem.reduce(&trial)).map(|triangle| (triangle.squares(), Some(triangle)))
        } else {
            problem
                .sum_of_squares(&trial)
                .map(|squares| (squares, None))
        };
        let (after, triangle) = match tried {
            Ok(tried) => tried,
            Err(PassError::Unevaluable(_)) => (f64::INFINITY, None),
            Err(PassError::BudgetSpent) => {
                self.ending = Some(Ending::BudgetSpent);
                return;
            }
        };
        let fall = if after < BLOWN_UP * before {
            1.0 - after / before
        } else {
            f64::NEG_INFINITY
        };
        let expected = (step.linear + 2.0 * step.damped) / before;
        let slope = -(step.linear + step.damped) / before;
        self.gain = if expected > 0.0 { fall / expected } else { 0.0 };
        if self.gain <= 0.25 {
            let shrink = if fall >= 0.0 {
                0.5
            } else {
                // The minimum of the parabola through both values and the slope.
                (0.5 * slope / (slope + 0.5 * fall)).max(0.1)
            };
            self.radius = shrink * self.radius.min(step.length / 0.1);
        } else if step.damped == 0.0 || self.gain >= 0.75 {
            self.radius = step.length / 0.5;
        }
        let tolerance = self.precision.fall_tolerance();
        let settled = fall.abs() <= tolerance && expected <= tolerance;
        let mut reduced = Ok(());
        if self.gain >= LEAST_GAIN {
            reduced = match triangle {
                Some(triangle) => Ok(triangle),
                None => problem.reduce(&trial),
            }
            .map(|triangle| self.accept(trial, triangle));
        } else if let Some(whole) = triangle.filter(|_| settled && step.damped == 0.0) {
            // Between two sums of squares that differ by roundings the gradient decides.
            self.accept_if_flatter(trial, whole);
        }
        self.ending = if let Err(PassError::BudgetSpent) = reduced {
            Some(Ending::BudgetSpent)
        } else if let Err(PassError::Unevaluable(_)) = reduced {
            // Finite residuals, derivatives not: treat the point as forbidden ground.
            self.radius *= 0.25;
            None
        } else if let Some(ending) = self.ending_here() {
            Some(ending)
        } else if let Some(ending) = self.last_step_after(expected) {
            Some(ending)
        } else if settled {
            Some(Ending::NoFurtherFall)
        } else if self.radius <= STEP_TOLERANCE * self.scaled_length() || self.radius == 0.0 {
            Some(Ending::NoFurtherStep)
        } else {
            None
        };
    }

    /// Gauss-Newton steps for the last digits, judged by the gradient: at this distance the
    /// sum of squares no longer changes in double precision.
    fn polish<M: Model + ?Sized>(&mut self, problem: &LeastSquares<'_, M>) {
        for _ in 0..MOST_POLISH_STEPS {
            let step = step::full(self.triangle(), &self.scale);
            if step.length <= POLISH_STEP * self.scaled_length() {
                break;
            }
            let trial = self.moved(&step);
            let Ok(whole) = problem.reduce(&trial) else {
                break;
            };
            if !self.accept_if_flatter(trial, whole) {
                break;
            }
        }
    }

    /// Goes to parameters where the gradient is clearly less.
    fn accept_if_flatter(&mut self, parameters: Vec<f64>, whole: Triangle) -> bool {
        let slope = |triangle: &Triangle| -> f64 {
            let gradient = triangle.gradient();
            let parts = gradient.iter().zip(&self.scale);
            parts.map(|(g, d)| (g / d).powi(2)).sum::<f64>().sqrt()
        };
        let free = restricted(&whole, self.basis.as_ref());
        // The sum of squares may tremble by roundings, not more.
        let no_worse = whole.squares() <= self.whole.squares() * (1.0 + 1e-8);
        let flatter = no_worse
            && slope(free.as_ref().unwrap_or(&whole)) <= POLISH_GAIN * slope(self.triangle());
        if flatter {
            self.parameters = parameters;
            self.whole = whole;
            self.free = free;
        }
        flatter
    }
}

fn restricted(whole: &Triangle, basis: Option<&DMatrix<f64>>) -> Option<Triangle> {
    basis.map(|basis| whole.restricted(basis))
}

impl<'a, M: Model + ?Sized> Solver<&LeastSquares<'a, M>, State> for LevenbergMarquardt {
    fn name(&self) -> &str {
        "Levenberg-Marquardt on streamed triangles"
    }
    fn init(
        &mut self,
        _problem: &mut Problem<&LeastSquares<'a, M>>,
        state: State,
    ) -> Result<(State, Option<KV>), FrameworkError> {
        let cost = self.whole.squares();
        Ok((state.param(self.parameters.clone()).cost(cost), None))
    }
    fn next_iter(
        &mut self,
        problem: &mut Problem<&LeastSquares<'a, M>>,
        state: State,
    ) -> Result<(State, Option<KV>), FrameworkError> {
        problem.problem("steps", |least_squares| {
            if self.ending.is_none() {
                self.iterate(least_squares);
            }
            if self.ending.is_some_and(Ending::converged) && self.precision == Precision::LastDigits
            {
                self.polish(least_squares);
            }
            Ok(())
        })?;
        let cost = self.whole.squares();
        Ok((state.param(self.parameters.clone()).cost(cost), None))
    }
    fn terminate(&mut self, _state: &State) -> TerminationStatus {
        match self.ending {
            None => TerminationStatus::NotTerminated,
            Some(ending) if ending.converged() => {
                TerminationStatus::Terminated(TerminationReason::SolverConverged)
            }
            Some(ending) => {
                TerminationStatus::Terminated(TerminationReason::SolverExit(ending.to_string()))
            }
        }
    }
}
