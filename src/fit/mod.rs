//! The least-squares engine. It knows nothing of mounts.
//!
//! A [`Model`] gives whitened residuals and their derivatives, a block of observations at a
//! time; [`fit`] minimises their sum of squares and returns a [`Solution`] that says how well
//! each parameter, and each combination of them, is known. Rows are reduced to a small
//! [`Triangle`] as they come and never kept, so memory does not grow with the data.
//!
//! With the whitened residuals r of observation i (several rows, each over its standard deviation),
//! its weight w and priors of mean m and standard deviation s on combinations c of the parameters p,
//! what is minimised is
//!
//! ```text
//! S(p) = sum_i w_i |r_i(p)|^2 + sum_k ((c_k . p - m_k) / s_k)^2
//! ```
//!
//! and where the size of the noise comes from the scatter ([`Noise::Scatter`]), the first sum stands
//! over v = sum_i w_i |r_i|^2 / (rows - parameters determined by the data).
//!
//! | for | use |
//! | --- | --- |
//! | samples of a curve | [`Curve`] with a closure |
//! | parameters that enter linearly | [`Linear`] |
//! | soft bounds and earlier knowledge | [`Prior`] in [`Options::priors`] |
//! | data that may not tell all parameters apart | [`Hold`] and [`Solution::undetermined`] |
//! | bad observations | [`robust::robust_fit`] |
//! | rows that depend on few of many parameters | [`Model::stretches`] |
//! | choosing among models | [`Goodness`], [`leave_one_out`], [`by_folds`] |
//!
//! Sources: Moré, The Levenberg-Marquardt algorithm (1978); Nocedal and Wright, Numerical
//! Optimization, chapter 10; Golub and Van Loan, Matrix Computations. Measured agreement with
//! the certified NIST regressions: `tests/nist`.

mod block;
mod compare;
mod curve;
mod fitting;
mod householder;
mod influence;
mod least_squares;
mod linear;
mod marquardt;
mod model;
mod options;
mod pass;
mod prior;
pub mod quantile;
pub mod robust;
mod solution;
mod spectrum;
mod step;
mod tile;
mod triangle;
mod tuned;

pub use block::{Block, LANES};
pub use compare::{CrossValidation, Goodness, by_folds, leave_one_out};
pub use curve::Curve;
pub use fitting::fit;
pub use influence::{Deviation, deviations};
pub use least_squares::LeastSquares;
pub use linear::{Linear, LinearSolution};
pub use marquardt::Ending;
pub use model::{Model, Stretch, Unevaluable};
pub use options::{FitError, Noise, Options, Precision};
pub use pass::PassError;
pub use prior::Prior;
pub use solution::Solution;
pub use spectrum::{Hold, NEAR_RANK, ParameterDirection, Spectrum};
pub use triangle::Triangle;
pub use tuned::BLOCK_OBSERVATIONS;
