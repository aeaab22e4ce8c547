//! Mount errors from peaks.

mod outcome;
pub mod record;
mod remedy;

pub use outcome::{Decision, Inseparable, NoiseSource, Outcome, PeakOutcome, TermEstimate};
pub use remedy::Remedy;
