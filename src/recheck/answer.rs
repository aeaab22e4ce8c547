//! The question of a recheck, and its answer.

use super::hypothesis::ChangeKind;
use crate::angle::Angle;
use crate::logbook::Calibration;
use crate::mount::{Kind as Mount, Term};
use crate::station::Station;

/// Criteria of the decision.
#[derive(Clone, Copy, Debug)]
pub struct RecheckRequest {
    /// The calibration counts as valid while its rms error over the sky stays within this.
    pub limit: Angle,
    /// Seed of the sampling.
    pub seed: u64,
}

/// The limit when none is given: a tenth of the beamwidth, which costs 0.12 dB.
pub fn usual_limit(station: &Station) -> Angle {
    station.dish.beamwidth / 10.0
}

/// The answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RecheckVerdict {
    /// Within the limit.
    True,
    /// Beyond the limit, and not by chance.
    Moved,
    /// The peaks do not decide.
    CannotTell(Doubt),
}

/// Why there is no answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Doubt {
    /// The peaks are too few or too similar: the error may be on either side of the limit.
    Between,
    /// The error is likely beyond the limit, but peaks of an unmoved mount might look the same.
    Accident,
    /// The peaks contradict each other under any change.
    Contradiction,
    /// The error over the sky comes out within the limit, but the peaks themselves are far beyond
    /// it, and not because of noise.
    PeaksOff,
}

impl RecheckVerdict {
    /// Its name in the machine-readable form.
    pub fn name(self) -> &'static str {
        match self {
            RecheckVerdict::True => "true",
            RecheckVerdict::Moved => "moved",
            RecheckVerdict::CannotTell(_) => "cannot tell",
        }
    }
}

/// One term that moved.
#[derive(Clone, Copy, Debug)]
pub struct Moved {
    /// The term.
    pub term: Term,
    /// Value before, in internal units.
    pub before: f64,
    /// Value now, in internal units.
    pub now: f64,
    /// One standard deviation of the change.
    pub sigma: f64,
}

/// Result of the new peaks.
#[derive(Clone, Debug)]
pub struct Recheck {
    /// The kind of mount.
    pub mount: Mount,
    /// The answer.
    pub verdict: RecheckVerdict,
    /// Probability that the error over the sky exceeds the limit.
    pub probability: f64,
    /// Probability that the peaks of an unmoved mount would be as far off by chance.
    pub chance: f64,
    /// Error of the old calibration now, rms over the reachable sky.
    pub error: Angle,
    /// One standard deviation of `error`.
    pub error_sigma: Angle,
    /// Loss from that error on this beam, in decibels; `None` beyond the main lobe, for an error of
    /// more than a beamwidth, where the signal is lost.
    pub loss_db: Option<f64>,
    /// The limit requested.
    pub limit: Angle,
    /// The change that explains the peaks best.
    pub kind: ChangeKind,
    /// The other changes, with how much worse they explain the peaks.
    pub rivals: Vec<(ChangeKind, f64)>,
    /// Terms that moved by more than three standard deviations of their change.
    pub moved_terms: Vec<Moved>,
    /// Rows of new peaks that contradict all others, and their distances.
    pub odd_rows: Vec<(usize, Angle)>,
    /// Distance of each usable peak from the old calibration's beam, by row.
    pub distances: Vec<(usize, Angle)>,
    /// What to observe to get a clear answer; empty when the answer is clear.
    pub advice: String,
    /// Assumptions and remarks.
    pub notes: Vec<String>,
    /// Old and new joined into one calibration; `None` when the peaks contradict each other or the
    /// answer.
    pub joined: Option<Calibration>,
}

impl Recheck {
    /// Whether it remains open if anything has changed at all, so that a joined calibration had to
    /// free the terms that a move may change.
    pub fn leaves_open(&self) -> bool {
        matches!(self.verdict, RecheckVerdict::CannotTell(_)) && self.kind == ChangeKind::Unmoved
    }
}
