//! The question of a recheck and its answer.

use super::hypothesis::ChangeKind;
use crate::angle::Angle;
use crate::logbook::Calibration;
use crate::mount::{Kind as Mount, Term};
use crate::station::Station;

/// What to decide by.
#[derive(Clone, Copy, Debug)]
pub struct RecheckRequest {
    /// The mount counts as true while its error over the sky, rms, stays within this.
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
    /// Beyond the limit, and no accident.
    Moved,
    /// The peaks do not say.
    CannotTell(Doubt),
}

/// Why there is no answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Doubt {
    /// The peaks are too few or too alike: the error may lie on either side of the limit.
    Between,
    /// The error is likely beyond the limit, but peaks of an unmoved mount might look the same.
    Accident,
    /// The peaks contradict each other whatever has changed.
    Contradiction,
    /// The error over the sky comes out within the limit, but the peaks themselves lie far beyond
    /// it and noise is no reason.
    PeaksOff,
}

impl RecheckVerdict {
    /// As the machine-readable form says it.
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
    /// Which.
    pub term: Term,
    /// Inside value before.
    pub before: f64,
    /// Inside value now.
    pub now: f64,
    /// One standard deviation of the change.
    pub sigma: f64,
}

/// What the new peaks say.
#[derive(Clone, Debug)]
pub struct Recheck {
    /// The kind of mount.
    pub mount: Mount,
    /// The answer.
    pub verdict: RecheckVerdict,
    /// Probability that the error over the sky exceeds the limit.
    pub probability: f64,
    /// Probability that unmoved peaks would lie as far off by chance.
    pub chance: f64,
    /// Error of the old calibration now, rms over the reachable sky; with its standard
    /// deviation.
    pub error: Angle,
    /// One standard deviation of `error`.
    pub error_sigma: Angle,
    /// What that costs on this beam, in decibels; none beyond the main lobe, an error of more than
    /// a beamwidth, where the beam's shape says nothing and the signal is lost.
    pub loss_db: Option<f64>,
    /// The limit asked for.
    pub limit: Angle,
    /// The change that explains the peaks best, and what it looks like.
    pub kind: ChangeKind,
    /// The other changes, with how much worse they explain the peaks.
    pub rivals: Vec<(ChangeKind, f64)>,
    /// Terms that moved, those beyond three standard deviations of their change.
    pub moved_terms: Vec<Moved>,
    /// New peaks that contradict all others, by row, with how far off they are.
    pub odd_rows: Vec<(usize, Angle)>,
    /// Distance of each usable peak from the old calibration's beam, by row.
    pub distances: Vec<(usize, Angle)>,
    /// What to observe so that the answer becomes clear; empty when it is.
    pub advice: String,
    /// What was assumed and should be known.
    pub notes: Vec<String>,
    /// Old and new joined into one calibration; none when the peaks contradict each other or the
    /// answer.
    pub joined: Option<Calibration>,
}

impl Recheck {
    /// Whether it stays open if anything has changed at all, so that a joined calibration had to
    /// set free what a move may change.
    pub fn leaves_open(&self) -> bool {
        matches!(self.verdict, RecheckVerdict::CannotTell(_)) && self.kind == ChangeKind::Unmoved
    }
}
