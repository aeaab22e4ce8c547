//! Why a log has no explanation.

use std::fmt;

use crate::angle::Angle;
use crate::fit::FitError;
use crate::problem::Error;

/// Why a log has no explanation.
#[derive(Clone, Debug)]
pub enum Unexplained {
    /// The log has no peaks.
    NoPeaks,
    /// None of its peaks can be used.
    NothingUsable {
        /// How many there are.
        peaks: usize,
        /// Data row of the first.
        row: usize,
        /// Why that one cannot be used.
        why: String,
    },
    /// No peak was taken with the first feed.
    NoFirstFeed,
    /// Too few peaks for any conclusion.
    TooFew,
    /// The fit failed.
    NotFitted(FitError),
    /// The peaks determine none of the requested terms.
    NothingTold,
    /// No degrees of freedom are left to estimate the uncertainty.
    NoFreedom {
        /// Measured coordinates of the peaks used.
        coordinates: usize,
        /// Terms fitted.
        terms: usize,
    },
    /// Even the best of all explanations is absurd.
    Implausible {
        /// Causes that it needs in addition to the mount's own errors.
        causes: usize,
        /// Peaks that it leaves out.
        bad: usize,
        /// Peaks of the log.
        peaks: usize,
        /// One standard deviation of a coordinate of the other peaks about it.
        scatter: Angle,
    },
}

impl fmt::Display for Unexplained {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Unexplained::NoPeaks => f.write_str("the log has no peaks"),
            Unexplained::NothingUsable { peaks, row, why } => write!(
                f,
                "none of the {peaks} peaks can be used; the first (row {row}): {why}"
            ),
            Unexplained::NoFirstFeed => f.write_str(
                "no peak was taken with the first feed of the station file, from which the others are \
                 counted: take some peaks with it too",
            ),
            Unexplained::TooFew => f.write_str(
                "too few peaks to judge anything: log more peaks, at least six, in different \
                 parts of the sky",
            ),
            Unexplained::NotFitted(why) => write!(f, "the peaks cannot be fitted: {why}"),
            Unexplained::NothingTold => f.write_str(
                "the peaks determine none of the terms requested; log peaks of emitters in other \
                 parts of the sky",
            ),
            Unexplained::NoFreedom { coordinates, terms } => write!(
                f,
                "{coordinates} measured coordinates for {terms} terms leave no way to estimate the \
                 uncertainty; log more peaks, at least six, or their standard deviations \
                 (azimuth_sigma_deg, elevation_sigma_deg)"
            ),
            Unexplained::Implausible {
                causes,
                bad,
                peaks,
                scatter,
            } => write!(
                f,
                "nothing explains these peaks: even the best explanation needs \
                 {causes} causes beside the mount's own errors, leaves out {bad} of {peaks} peaks, \
                 and the others scatter by {:.2} deg about it. Any value or diagnosis would be \
                 meaningless.\n  help: check the site, the times, the emitters' names and the units of \
                 the readings; several of them may be wrong together",
                scatter.degrees()
            ),
        }
    }
}

impl std::error::Error for Unexplained {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Unexplained::NotFitted(why) => Some(why),
            _ => None,
        }
    }
}

impl From<Unexplained> for Error {
    fn from(why: Unexplained) -> Error {
        Error::Because(Box::new(why))
    }
}
