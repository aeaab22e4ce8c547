//! The fit of a model from start to solution.

use super::least_squares::LeastSquares;
use super::marquardt::{Ending, LevenbergMarquardt, State};
use super::model::Model;
use super::options::{FitError, Noise, Options, Precision, check};
use super::pass::PassError;
use super::prior::Prior;
use super::solution::Solution;
use super::spectrum::{Hold, Spectrum};
use super::triangle::Triangle;
use super::tuned::{MOST_ROUNDS_OF_NOISE, MOST_ROUNDS_OF_RANK, PASSES_A_PARAMETER};
use argmin::core::{Executor, State as _};
use nalgebra::{DMatrix, DVector};

/// Fits `model` by weighted least squares, from `start` (length n).
///
/// # Errors
/// When the model is not finite at the start, or the options do not suit the model. A fit
/// that does not converge is not an error: [`Solution::ending`] says so.
///
/// # Example
/// ```
/// use plumbeam::fit::{Curve, Options, fit};
/// // A straight line: value and derivatives with respect to the two parameters.
/// let line = |p: &[f64], x: f64, slope: &mut [f64]| {
///     slope.copy_from_slice(&[1.0, x]);
///     p[0] + p[1] * x
/// };
/// let curve = Curve::new(&[0.0, 1.0, 2.0], &[1.0, 3.0, 5.0], 2, line);
/// let solution = fit(&curve, &[0.0, 0.0], &Options::default())?;
/// assert!((solution.parameters[1] - 2.0).abs() < 1e-12);
/// # Ok::<(), plumbeam::fit::FitError>(())
/// ```
pub fn fit<M: Model + ?Sized>(
    model: &M,
    start: &[f64],
    options: &Options,
) -> Result<Solution, FitError> {
    check(model, start, options)?;
    let depends_on_noise =
        !options.priors.is_empty() || matches!(options.hold, Hold::VaguerThan(_));
    let mut noise = 1.0;
    let mut solution = fit_with_noise(model, start, options, noise)?;
    if options.noise == Noise::Logged {
        return Ok(solution);
    }
    // Priors have their own sigma, so the scatter must be known before they can be weighed
    // against the data, and the other way round.
    for _ in 0..MOST_ROUNDS_OF_NOISE {
        let Some(scatter) = solution.scatter.filter(|s| *s > 0.0 && depends_on_noise) else {
            break;
        };
        let settled = (scatter / noise - 1.0).abs() < options.precision.noise_settled();
        noise = scatter;
        if settled {
            break;
        }
        let spent = solution.evaluations;
        solution = fit_with_noise(
            model,
            &start_again(&solution, start, options),
            options,
            noise,
        )?;
        solution.evaluations += spent;
    }
    let scatter = solution.scatter.unwrap_or(f64::INFINITY);
    solution.variance = (scatter / solution.divided_by).powi(2);
    Ok(solution)
}

/// Where to go on from: held directions must stay at the very start.
fn start_again(solution: &Solution, start: &[f64], options: &Options) -> Vec<f64> {
    match options.hold {
        Hold::VaguerThan(_) if solution.rank() < start.len() => start.to_vec(),
        _ => solution.parameters.clone(),
    }
}

fn fit_with_noise<M: Model + ?Sized>(
    model: &M,
    start: &[f64],
    options: &Options,
    noise: f64,
) -> Result<Solution, FitError> {
    let n = model.parameters();
    let budget = options.budget.unwrap_or(PASSES_A_PARAMETER * (n + 1));
    let problem = LeastSquares::new(model, budget)
        .with_priors(&options.priors)
        .with_weights(options.weights.as_deref())
        .with_data_factor(1.0 / noise);
    let first = problem.reduce(start).map_err(|error| match error {
        PassError::Unevaluable(inner) => FitError::Start(inner),
        PassError::BudgetSpent => FitError::Misfit("a budget of no evaluation"),
    })?;
    // The rank at the start decides what may move; should it differ at the solution, the fit
    // is made again with that one.
    let mut basis = Spectrum::of(&first, &options.hold).basis();
    let mut iterations = 0;
    let mut rounds = 0;
    let (parameters, triangle, ending, spectrum) = loop {
        let (parameters, triangle, ending, steps) =
            run(&problem, start, &first, &basis, options.precision);
        iterations += steps;
        rounds += 1;
        let spectrum = Spectrum::of(&triangle, &options.hold);
        let held_rank = basis.as_ref().map_or(n, |basis| basis.ncols());
        if spectrum.rank() == held_rank || rounds == MOST_ROUNDS_OF_RANK || !ending.converged() {
            break (parameters, triangle, ending, spectrum);
        }
        basis = spectrum.basis();
    };
    let largest_cosine = match &basis {
        None => triangle.largest_cosine(),
        Some(basis) => triangle.restricted(basis).largest_cosine(),
    };
    let prior_chi_square = problem.sum_of_prior_squares(&parameters);
    let chi_square = (triangle.squares() - prior_chi_square).max(0.0) * noise * noise;
    let rows = triangle.rows() - options.priors.len();
    let paid_by_priors = match options.priors.as_slice() {
        [] => 0.0,
        priors => {
            let half = spectrum.half_covariance();
            let paid = |prior: &Prior| {
                let row = DVector::from_vec(prior.derivatives(n));
                half.tr_mul(&row).norm_squared()
            };
            priors.iter().map(paid).sum()
        }
    };
    let degrees_of_freedom = rows as f64 - (spectrum.rank() as f64 - paid_by_priors);
    let scatter =
        (degrees_of_freedom > LEAST_FREEDOM).then(|| (chi_square / degrees_of_freedom).sqrt());
    Ok(Solution {
        ending,
        iterations,
        evaluations: problem.spent(),
        chi_square,
        prior_chi_square,
        rows,
        degrees_of_freedom: degrees_of_freedom.max(0.0),
        scatter,
        largest_cosine,
        spectrum,
        triangle,
        noise: options.noise,
        variance: 1.0,
        divided_by: noise,
        parameters,
    })
}

/// Fewer degrees of freedom than this are none, apart from rounding.
const LEAST_FREEDOM: f64 = 1e-6;

/// Runs the solver under argmin to its end, from a start and its reduction.
fn run<M: Model + ?Sized>(
    problem: &LeastSquares<'_, M>,
    start: &[f64],
    first: &Triangle,
    basis: &Option<DMatrix<f64>>,
    precision: Precision,
) -> (Vec<f64>, Triangle, Ending, usize) {
    let solver = LevenbergMarquardt::new(start, first.clone(), basis.clone(), precision);
    let result = Executor::new(problem, solver)
        .configure(|state: State| state.max_iters(u64::MAX))
        .timer(false)
        .ctrlc(false)
        .run();
    // The solver never fails: its errors are endings. argmin's best parameters go by the sum
    // of squares, which the polish may raise by a rounding; the solver's own are the answer.
    match result {
        Ok(result) => {
            debug_assert!(result.state.terminated());
            result.solver.into_parts()
        }
        Err(_) => (start.to_vec(), first.clone(), Ending::BudgetSpent, 0),
    }
}
