//! The mount problem as the fit room sees it: free terms as parameters, peaks as
//! observations of one or two rows.

use crate::angle::Angle;
use crate::fit::{Block, Model, Unevaluable};
use crate::mount::{MountModel, Term, TermValues};

use super::misfit::{misfit, misfit_with_derivatives};
use super::observe::Observation;

/// Peaks to be explained by some free terms, the others held.
#[derive(Clone, Debug)]
pub struct MountProblem<'a> {
    observations: &'a [Observation],
    sigmas: &'a [[Angle; 2]],
    free: &'a [Term],
    held: TermValues,
}

impl<'a> MountProblem<'a> {
    /// `sigmas` holds, for each observation, one standard deviation in cross-elevation and in
    /// elevation; `held` the values of all terms that are not `free`.
    pub fn new(
        observations: &'a [Observation],
        sigmas: &'a [[Angle; 2]],
        free: &'a [Term],
        held: TermValues,
    ) -> MountProblem<'a> {
        MountProblem {
            observations,
            sigmas,
            free,
            held,
        }
    }
    /// The mount model at given parameters: inside values of the free terms, in their order.
    pub fn mount(&self, parameters: &[f64]) -> MountModel {
        let mut terms = self.held;
        for (term, value) in self.free.iter().zip(parameters) {
            terms.set_inside(*term, *value);
        }
        MountModel::new(terms)
    }
    /// The parameters that a set of term values amounts to.
    pub fn parameters_of(&self, terms: &TermValues) -> Vec<f64> {
        self.free.iter().map(|t| terms.inside(*t)).collect()
    }
}

impl Model for MountProblem<'_> {
    fn parameters(&self) -> usize {
        self.free.len()
    }
    fn observations(&self) -> usize {
        self.observations.len()
    }
    fn most_rows(&self) -> usize {
        2
    }
    fn evaluate(&self, parameters: &[f64], block: &mut Block) -> Result<(), Unevaluable> {
        let mount = self.mount(parameters);
        let mut derivatives = [[0.0; Term::COUNT]; 2];
        for i in block.range() {
            let observation = &self.observations[i];
            let sigma = self.sigmas[i].map(Angle::radians);
            let found = if block.wants_derivatives() {
                misfit_with_derivatives(&mount, observation, self.free, |column, change| {
                    derivatives[0][column] = change[0] / sigma[0];
                    derivatives[1][column] = change[1] / sigma[1];
                })
            } else {
                misfit(&mount, observation)
            };
            let offset = [found.offset.cross_elevation, found.offset.elevation];
            let measured = [observation.peak.azimuth, observation.peak.elevation];
            for axis in 0..2 {
                if measured[axis].is_some() {
                    block.push(
                        i,
                        offset[axis].radians() / sigma[axis],
                        &derivatives[axis][..self.free.len()],
                    );
                }
            }
        }
        Ok(())
    }
}
