//! The peaks of a session as a least-squares problem, ready to be fitted with any terms.

use crate::angle::Angle;
use crate::fit::{Hold, LeastSquares, Noise, Options, Solution, Triangle, fit};
use crate::mount::{MountModel, Term, TermValues};
use crate::problem::Error;

use super::observe::Observation;
use super::plausible::glaring;
use super::problem::MountProblem;

/// The usable peaks, their standard deviations, and what is held.
#[derive(Clone, Debug)]
pub struct Night<'a> {
    /// The usable peaks.
    pub observations: &'a [Observation],
    /// One standard deviation in cross-elevation and elevation for each; relative weights
    /// when `noise` comes from the scatter.
    pub sigmas: Vec<[Angle; 2]>,
    /// Where the size of the noise comes from.
    pub noise: Noise,
    /// Half-power width of the beam.
    pub beamwidth: Angle,
    /// Values of the terms that are not fitted.
    pub held: TermValues,
}

/// A fit of some terms to the kept peaks.
#[derive(Clone, Debug)]
pub struct Fitted {
    /// The fitted terms, in the order of the solution's parameters.
    pub free: Vec<Term>,
    /// All values, held ones included.
    pub terms: TermValues,
    /// What the fit room says.
    pub solution: Solution,
}

impl Fitted {
    /// The mount model found.
    pub fn model(&self) -> MountModel {
        MountModel::new(self.terms)
    }
}

impl Night<'_> {
    /// The problem with these terms free.
    pub fn problem<'s>(&'s self, free: &'s [Term]) -> MountProblem<'s> {
        MountProblem::new(self.observations, &self.sigmas, free, self.held)
    }

    /// Fits `free` to the kept peaks, starting from `start`. Directions that the data tell
    /// less well than a look at the mount would stay where they started.
    ///
    /// # Errors
    /// Only for faults of the calling code.
    pub fn fit(&self, free: &[Term], kept: &[bool], start: &TermValues) -> Result<Fitted, Error> {
        self.fit_weighted(free, weights(kept), start)
    }

    /// The same with a weight for each peak.
    ///
    /// # Errors
    /// As [`Night::fit`].
    pub fn fit_weighted(
        &self,
        free: &[Term],
        weights: Vec<f64>,
        start: &TermValues,
    ) -> Result<Fitted, Error> {
        let problem = self.problem(free);
        let options = Options {
            weights: Some(weights),
            noise: self.noise,
            hold: Hold::VaguerThan(free.iter().map(|t| glaring(*t)).collect()),
            ..Options::default()
        };
        let solution = fit(&problem, &problem.parameters_of(start), &options)
            .map_err(|e| Error::Unsupported(format!("the fit could not be made: {e}")))?;
        Ok(Fitted {
            terms: *problem.mount(&solution.parameters).terms(),
            free: free.to_vec(),
            solution,
        })
    }

    /// The problem in the terms `all` at the values `terms`, reduced to its triangle over the
    /// kept peaks, in units of the logged sigmas.
    ///
    /// # Errors
    /// When the model has no finite value there.
    pub fn reduce(
        &self,
        all: &[Term],
        kept: &[bool],
        terms: &TermValues,
    ) -> Result<Triangle, Error> {
        let problem = self.problem(all);
        let weights = weights(kept);
        LeastSquares::new(&problem, 1)
            .with_weights(Some(&weights))
            .reduce(&problem.parameters_of(terms))
            .map_err(|e| Error::Unsupported(format!("the fit could not be made: {e}")))
    }

    /// One standard deviation of a typical peak's coordinate on the sky.
    pub fn typical_noise(&self, fitted: &Fitted) -> Angle {
        let mut sigmas: Vec<f64> = (self.sigmas.iter().flatten())
            .map(|s| s.radians())
            .collect();
        sigmas.sort_by(f64::total_cmp);
        let median = sigmas.get(sigmas.len() / 2).copied().unwrap_or(0.0);
        Angle::from_radians(median * fitted.solution.noise_factor())
    }

    /// Number of measured coordinates of the kept peaks.
    pub fn rows(&self, kept: &[bool]) -> usize {
        self.observations
            .iter()
            .zip(kept)
            .filter(|(_, k)| **k)
            .map(|(o, _)| o.coordinates())
            .sum()
    }
}

/// One for a kept peak, zero for another.
pub fn weights(kept: &[bool]) -> Vec<f64> {
    kept.iter().map(|k| f64::from(u8::from(*k))).collect()
}
