//! Mount errors from peaks: one view of an [explanation](crate::explain).

mod arc;
mod bootstrap;
mod calibration;
mod inseparable;
mod misaligned;
mod outcome;
pub mod record;
mod remarks;
mod remedy;
mod significant;
pub mod words;

use std::sync::Arc;

use crate::explain::observe::Observations;
use crate::explain::{Explanation, Misreading, explain, explain_observed};
use crate::logbook::PeakLog;
use crate::number;
use crate::problem::Error;
use crate::sky::Sky;
use crate::station::Station;

pub use crate::explain::{Options, TermEstimate};
pub use arc::{ArcAlignment, Miss, arc};
pub use bootstrap::{LEAST_RESAMPLINGS, bootstrap};
pub use calibration::{calibration, trust};
pub use inseparable::Inseparable;
pub use outcome::{Decision, NoiseSource, Outcome, PeakOutcome, Warning};
pub use remarks::{misreading_words, remark_words};
pub use remedy::{Remedy, foot_shims_mm, remedies};

/// Solves for the mount errors of a log.
///
/// # Errors
/// [`Error::Unsupported`] when the peaks determine nothing useful, or when the azimuth axis runs
/// the wrong way round.
pub fn solve(
    station: &Station,
    sky: &Sky,
    log: &PeakLog,
    options: &Options,
) -> Result<Outcome, Error> {
    outcome(Arc::new(explain(station, sky, log, options)?), station)
}

/// Solves for the mount errors from observations whose positions are already known, without the
/// sky. A clock offset is then taken along a straight line at each target's rate.
///
/// # Errors
/// As [`solve`].
pub fn solve_observed(
    station: &Station,
    found: &Observations,
    options: &Options,
) -> Result<Outcome, Error> {
    outcome(
        Arc::new(explain_observed(station, found, options)?),
        station,
    )
}

/// The mount errors of an explanation.
///
/// # Errors
/// [`Error::Unsupported`] when the azimuth axis runs the wrong way round: no calibration can be
/// made from that.
pub fn outcome(explanation: Arc<Explanation>, station: &Station) -> Result<Outcome, Error> {
    if let Some(misread) = &explanation.misread
        && misread.misreading == Misreading::AzimuthReversed
    {
        let before = misread.as_logged.map_or(String::new(), |(scatter, _)| {
            format!(
                ": as logged the peaks scatter by {:.1} deg, with the sign of every azimuth reading \
                 changed by {} deg",
                scatter.degrees(),
                number::two_digits(explanation.scatter().degrees())
            )
        });
        return Err(Error::Unsupported(format!(
            "the azimuth runs the wrong way round{before}.\n  help: swap the azimuth encoder's (or \
             motor's) direction so that readings grow clockwise seen from above, or change the sign \
             of azimuth_deg in the log and of azimuth_approach"
        )));
    }
    Ok(Outcome::of(explanation, station))
}
