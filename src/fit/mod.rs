//! The least-squares engine. It knows nothing of mounts.
//!
//! A [`Model`] gives whitened residuals and their derivatives, a block of observations at a
//! time; [`fit`] minimises their sum of squares and returns a [`Solution`] that says how well
//! each parameter, and each combination of them, is known. Rows are reduced to a small
//! [`Triangle`] as they come and never kept, so memory does not grow with the data.

mod compare;
mod curve;
mod influence;
mod least_squares;
mod linear;
mod marquardt;
mod model;
mod prior;
pub mod quantile;
pub mod robust;
mod solution;
mod spectrum;
mod step;
mod triangle;

pub use compare::{CrossValidation, Goodness, by_folds, leave_one_out};
pub use curve::Curve;
pub use influence::{Deviation, deviations};
pub use least_squares::{LeastSquares, PassError};
pub use linear::{Linear, LinearSolution};
pub use marquardt::Ending;
pub use model::{BLOCK_OBSERVATIONS, Block, Model, Unevaluable};
pub use prior::Prior;
pub use solution::{FitError, Noise, Options, Solution, fit};
pub use spectrum::{Direction, Hold, NEAR_RANK, Spectrum};
pub use triangle::Triangle;
