//! Mount errors from peaks.

mod calibration;
mod keep;
mod linear;
pub mod loss;
pub mod misfit;
mod night;
pub mod observe;
mod outcome;
pub mod plausible;
mod problem;
pub mod record;
pub mod remedy;
mod run;
mod select;
mod separate;
pub mod start;
pub mod words;

pub use calibration::calibration;
pub use outcome::{Decision, Inseparable, NoiseSource, Outcome, PeakOutcome, TermEstimate};
pub use run::{Options, solve};
