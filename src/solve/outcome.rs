//! What a solve found, whole: the one value that reports, files and checks are made from.

use crate::angle::{Angle, Apparent, Direction, EncoderReading, Offset};
use crate::logbook::TermState;
use crate::mount::{MountModel, Term};
use crate::time::Utc;

/// What a solve found.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// The mount model with the values found and held.
    pub model: MountModel,
    /// Every term asked for or admitted, in the order of [`Term::ALL`].
    pub terms: Vec<TermEstimate>,
    /// Correlation of each pair of fitted terms.
    pub correlations: Vec<(Term, Term, f64)>,
    /// All peaks of the log, in file order.
    pub peaks: Vec<PeakOutcome>,
    /// Rms of the whole offset on the sky over the used peaks with readings taken at their word.
    pub rms_before: Angle,
    /// What was set right before `rms_before` could be computed, if anything (a whole-turn
    /// and zero offset); in words.
    pub before_note: Option<String>,
    /// Rms of the whole offset on the sky over the used peaks after the fit.
    pub rms_after: Angle,
    /// Measured coordinates of used peaks less fitted terms.
    pub degrees_of_freedom: usize,
    /// Where the uncertainties come from.
    pub noise: NoiseSource,
    /// Which terms were admitted or left out, and why.
    pub decisions: Vec<Decision>,
    /// Directions among the terms that the data cannot tell apart.
    pub not_separable: Vec<Inseparable>,
    /// What was assumed and what the user should know.
    pub warnings: Vec<String>,
}

/// One term's value.
#[derive(Clone, Copy, Debug)]
pub struct TermEstimate {
    /// Which.
    pub term: Term,
    /// Inside value: radians, fraction or seconds.
    pub value: f64,
    /// One standard deviation, in the same unit; none when held or not separable.
    pub sigma: Option<f64>,
    /// How it came by its value.
    pub state: TermState,
}

impl TermEstimate {
    /// The value as files and screens show it.
    pub fn shown(&self) -> f64 {
        self.term.unit().outward(self.value)
    }
    /// The standard deviation as files and screens show it.
    pub fn shown_sigma(&self) -> Option<f64> {
        self.sigma.map(|s| self.term.unit().outward(s))
    }
}

/// What became of one peak.
#[derive(Clone, Debug)]
pub struct PeakOutcome {
    /// Data row in the log, counted from 1.
    pub row: usize,
    /// Line in the log, counted from 1.
    pub line: usize,
    /// When.
    pub time: Utc,
    /// Which emitter.
    pub emitter: String,
    /// Where the beam should have pointed.
    pub target: Direction<Apparent>,
    /// The encoder reading; an axis that was not measured is filled from the model.
    pub reading: EncoderReading,
    /// Emitter minus the encoder's word, on the sky, before any correction (after the
    /// whole-turn and zero offset, if one was needed).
    pub before: Offset,
    /// Emitter minus modelled beam, on the sky.
    pub residual: Offset,
    /// Whether the azimuth was measured: else the cross-elevation parts mean nothing.
    pub azimuth_measured: bool,
    /// Whether the elevation was measured.
    pub elevation_measured: bool,
    /// One standard deviation in cross-elevation as used by the fit (or from the scatter).
    pub cross_elevation_sigma: Angle,
    /// One standard deviation in elevation as used by the fit (or from the scatter).
    pub elevation_sigma: Angle,
    /// Whether the fit used it.
    pub used: bool,
    /// Why not; empty when used.
    pub why: String,
}

/// Where the uncertainties come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoiseSource {
    /// From the standard deviations in the log.
    Logged,
    /// From the scatter of the residuals.
    Scatter,
}

/// Whether a group of terms was admitted.
#[derive(Clone, Debug)]
pub struct Decision {
    /// The terms that stood or fell together.
    pub terms: Vec<Term>,
    /// Admitted to the fit.
    pub admitted: bool,
    /// In words, with the numbers.
    pub reason: String,
}

/// A direction among the terms that the data cannot tell apart.
#[derive(Clone, Debug)]
pub struct Inseparable {
    /// The terms in it, those with the largest part first, with their parts.
    pub terms: Vec<(Term, f64)>,
    /// What it means, in words.
    pub meaning: String,
    /// Which observation would separate them, in words.
    pub remedy: String,
}
