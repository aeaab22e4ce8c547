//! Mount errors from peaks.

mod outcome;
pub mod record;

pub use outcome::{Decision, Inseparable, NoiseSource, Outcome, PeakOutcome, TermEstimate};
