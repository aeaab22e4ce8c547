//! Mount errors from peaks.

mod assemble;
mod bootstrap;
mod calibration;
mod even_sky;
mod gross;
mod keep;
mod linear;
pub mod misfit;
mod night;
pub mod observe;
mod outcome;
pub mod plausible;
mod problem;
pub mod record;
mod remedy;
pub(crate) mod run;
mod select;
mod separate;
pub mod start;
pub(crate) mod uncertainty;
pub mod words;

pub use bootstrap::{LEAST_RESAMPLINGS, bootstrap};
pub use calibration::calibration;
pub use even_sky::{even_sky, sky_weights};
pub use outcome::{Decision, Inseparable, NoiseSource, Outcome, PeakOutcome, TermEstimate};
pub use plausible::glaring;
pub use problem::MountProblem;
pub use remedy::{Remedy, foot_shims_mm, remedies};
pub use run::{Options, solve, solve_observed};
pub use separate::rows_at;
