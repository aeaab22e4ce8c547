//! The fit of a model, and what it says about parameters and their uncertainty.

use super::least_squares::{LeastSquares, PassError};
use super::marquardt::{Ending, LevenbergMarquardt, State};
use super::model::{Model, Unevaluable};
use super::prior::Prior;
use super::quantile;
use super::spectrum::{Direction, Hold, Spectrum};
use super::triangle::Triangle;
use argmin::core::{Executor, State as _};
use nalgebra::{DMatrix, DVector};
use std::fmt;

/// Where the size of the noise comes from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Noise {
    /// The logged sigmas are trusted: whitened residuals have unit variance.
    #[default]
    Logged,
    /// The logged sigmas are relative weights only; the noise comes from the scatter.
    Scatter,
}

/// How to fit. `Options::default()` fits all observations with weight one, without priors,
/// trusting the logged sigmas.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Extra rows.
    pub priors: Vec<Prior>,
    /// A weight for each observation, zero or more; its rows are multiplied by the root.
    pub weights: Option<Vec<f64>>,
    /// Where the size of the noise comes from.
    pub noise: Noise,
    /// Which directions are left where they started.
    pub hold: Hold,
    /// The most passes over the data; none means 500 times (n + 1).
    pub budget: Option<usize>,
}

/// Why there is no solution.
#[derive(Clone, Debug, PartialEq)]
pub enum FitError {
    /// The model is not finite at the start.
    Start(Unevaluable),
    /// Start, weights, priors or sizes do not suit the model: a fault of the calling code.
    Misfit(&'static str),
}

impl fmt::Display for FitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            FitError::Start(inner) => write!(f, "at the start of the fit, {inner}"),
            FitError::Misfit(what) => write!(f, "the fit was called with {what}"),
        }
    }
}

impl std::error::Error for FitError {}

/// What a fit found. Shapes: n parameters.
#[derive(Clone, Debug)]
pub struct Solution {
    /// The parameters, n.
    pub parameters: Vec<f64>,
    /// Why the iteration ended.
    pub ending: Ending,
    /// Steps tried, refused ones included.
    pub iterations: usize,
    /// Passes over the data.
    pub evaluations: usize,
    /// Sum of the squared whitened (and weighted) residuals of the data, without priors.
    pub chi_square: f64,
    /// Sum of the squared prior rows.
    pub prior_chi_square: f64,
    /// Rows of data used.
    pub rows: usize,
    /// Rows of data less the parameters that the data had to pay for: `rows` minus the rank
    /// without priors, a little more with them.
    pub degrees_of_freedom: f64,
    /// Noise in units of the logged sigma, root of chi-square over degrees of freedom; none
    /// without degrees of freedom.
    pub scatter: Option<f64>,
    /// The largest cosine between residuals and the effect of a parameter that may move.
    pub largest_cosine: f64,
    /// Rank, condition and directions, columns scaled as [`Options::hold`] says.
    pub spectrum: Spectrum,
    /// The condition number with columns of unit length, whatever `hold` says.
    pub condition: f64,
    /// The reduced problem at the solution, priors included.
    pub triangle: Triangle,
    noise: Noise,
    /// Factor on the covariance of `spectrum`.
    variance: f64,
    /// Standard deviation of the data rows by which the triangle was divided.
    divided_by: f64,
}

impl Solution {
    /// Number of directions that the data (and priors) tell.
    pub fn rank(&self) -> usize {
        self.spectrum.rank()
    }
    /// The directions that they do not tell: left where the fit started.
    pub fn undetermined(&self) -> Vec<Direction> {
        self.spectrum.undetermined()
    }
    /// Covariance of the parameters, n by n, the untold directions counting as known.
    pub fn covariance(&self) -> DMatrix<f64> {
        self.spectrum.covariance() * self.variance
    }
    /// Columns that span the determined directions; none when all are.
    pub(crate) fn basis(&self) -> Option<DMatrix<f64>> {
        self.spectrum.basis()
    }
    /// n by rank; times its own transpose it is the covariance for data rows of variance one
    /// (in units of the logged sigma).
    pub(crate) fn half_covariance(&self) -> DMatrix<f64> {
        self.spectrum.half_covariance() / self.divided_by
    }
    /// Standard deviation of each parameter; infinite where untold directions dominate it.
    pub fn sigmas(&self) -> Vec<f64> {
        let covariance = self.covariance();
        (0..self.parameters.len())
            .map(|j| {
                let mut unit = vec![0.0; self.parameters.len()];
                unit[j] = 1.0;
                if self.spectrum.is_vague(&unit) {
                    f64::INFINITY
                } else {
                    covariance[(j, j)].sqrt()
                }
            })
            .collect()
    }
    /// Standard deviation of a linear combination of the parameters (n coefficients);
    /// infinite where untold directions dominate it.
    pub fn sigma_of(&self, combination: &[f64]) -> f64 {
        if self.spectrum.is_vague(combination) {
            return f64::INFINITY;
        }
        let c = DVector::from_column_slice(combination);
        (self.covariance() * &c).dot(&c).sqrt()
    }
    /// Correlations, n by n, ones on the diagonal; the untold directions counting as known.
    pub fn correlations(&self) -> DMatrix<f64> {
        let covariance = self.covariance();
        let n = covariance.nrows();
        DMatrix::from_fn(n, n, |i, j| {
            let product = covariance[(i, i)] * covariance[(j, j)];
            if i == j {
                1.0
            } else if product > 0.0 {
                (covariance[(i, j)] / product.sqrt()).clamp(-1.0, 1.0)
            } else {
                0.0
            }
        })
    }
    /// By how many sigmas an interval of probability `level` (0.95, say) reaches to each
    /// side: Student's t when the noise comes from the scatter, else the normal law.
    pub fn interval_factor(&self, level: f64) -> f64 {
        match self.noise {
            Noise::Logged => quantile::normal_two_sided(level),
            Noise::Scatter => quantile::student_two_sided(level, self.degrees_of_freedom),
        }
    }
    /// The noise by which uncertainties are scaled, in units of the logged sigma: one when
    /// the logged sigmas are trusted.
    pub fn noise_factor(&self) -> f64 {
        self.variance.sqrt() * self.divided_by
    }
}

/// Most rounds of fitting when the size of the noise or the set of held directions depends
/// on the answer.
const MOST_ROUNDS: usize = 12;
/// The noise is settled when it changes by less than this fraction.
const SETTLED: f64 = 1e-6;

/// Fits `model` by weighted least squares, from `start` (length n).
///
/// # Errors
/// When the model is not finite at the start, or the options do not suit the model. A fit
/// that does not converge is no error: [`Solution::ending`] says so.
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
    for _ in 0..MOST_ROUNDS {
        let Some(scatter) = solution.scatter.filter(|s| *s > 0.0 && depends_on_noise) else {
            break;
        };
        let settled = (scatter / noise - 1.0).abs() < SETTLED;
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

fn check<M: Model + ?Sized>(model: &M, start: &[f64], options: &Options) -> Result<(), FitError> {
    let n = model.parameters();
    let say = |ok: bool, what| {
        if ok {
            Ok(())
        } else {
            Err(FitError::Misfit(what))
        }
    };
    say(start.len() == n, "a start of the wrong length")?;
    say(start.iter().all(|p| p.is_finite()), "a start not finite")?;
    let fits = options.priors.iter().all(|prior| prior.fits(n));
    say(fits, "a prior not finite or on no parameter")?;
    if let Some(weights) = &options.weights {
        let all = weights.len() == model.observations();
        say(all, "a wrong number of weights")?;
        let fine = weights.iter().all(|w| w.is_finite() && *w >= 0.0);
        say(fine, "a weight negative or not finite")?;
    }
    match &options.hold {
        Hold::BelowRatio(ratio) => say((0.0..1.0).contains(ratio), "a ratio not in 0 to 1"),
        Hold::VaguerThan(sizes) => say(
            sizes.len() == n && sizes.iter().all(|s| s.is_finite() && *s > 0.0),
            "plausible sizes not above zero or not one each",
        ),
    }
}

fn fit_with_noise<M: Model + ?Sized>(
    model: &M,
    start: &[f64],
    options: &Options,
    noise: f64,
) -> Result<Solution, FitError> {
    let n = model.parameters();
    let budget = options.budget.unwrap_or(BUDGET * (n + 1));
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
    let mut spectrum = Spectrum::of(&first, &options.hold);
    let mut iterations = 0;
    let mut rounds = 0;
    let (parameters, triangle, ending, basis) = loop {
        let basis = spectrum.basis();
        let held_rank = spectrum.rank();
        let solver = LevenbergMarquardt::new(start, first.clone(), basis.clone());
        let (parameters, triangle, ending, steps) = run(&problem, solver);
        iterations += steps;
        rounds += 1;
        spectrum = Spectrum::of(&triangle, &options.hold);
        if spectrum.rank() == held_rank || rounds == MOST_RANK_ROUNDS || !ending.converged() {
            break (parameters, triangle, ending, basis);
        }
    };
    let free = match &basis {
        None => triangle.clone(),
        Some(basis) => triangle.restricted(basis),
    };
    let prior_chi_square = problem.sum_of_prior_squares(&parameters);
    let chi_square = (triangle.squares() - prior_chi_square).max(0.0) * noise * noise;
    let rows = triangle.rows() - options.priors.len();
    let covariance = spectrum.covariance();
    let paid_by_priors: f64 = (options.priors.iter())
        .map(|prior| {
            let row = DVector::from_vec(prior.derivatives(n));
            (&covariance * &row).dot(&row)
        })
        .sum();
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
        largest_cosine: free.largest_cosine(),
        condition: Spectrum::of(&triangle, &Hold::default()).condition(),
        spectrum,
        triangle,
        noise: options.noise,
        variance: 1.0,
        divided_by: noise,
        parameters,
    })
}

/// Default passes for each parameter and once more: the slowest of the NIST runs (Bennett5,
/// MGH17 from start 1) take about 1,000 in all, mount-like problems 5 to 20.
const BUDGET: usize = 500;
/// Most fits with a changed set of held directions.
const MOST_RANK_ROUNDS: usize = 4;
/// Fewer degrees of freedom than this are roundings of none.
const LEAST_FREEDOM: f64 = 1e-6;

/// Runs the solver under argmin to its end.
fn run<M: Model + ?Sized>(
    problem: &LeastSquares<'_, M>,
    solver: LevenbergMarquardt,
) -> (Vec<f64>, Triangle, Ending, usize) {
    let fallback = solver.clone();
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
        Err(_) => fallback.into_parts(),
    }
}
