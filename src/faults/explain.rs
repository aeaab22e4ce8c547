//! The peaks as a least-squares problem in mount terms and fault columns together.

use nalgebra::Vector3;

use crate::angle::{Angle, EncoderReading, Offset, SkyBasis};
use crate::fit::{Block, Model, Prior, Unevaluable};
use crate::mount::{MountModel, Term, TermValues};
use crate::solve::misfit::filled_reading;

use super::case::Case;
use super::shape::{Column, Lever};

/// An explanation of some cases: which terms are free, which are held, and which faults there
/// are. Its parameters are the inside values of the free terms, then a coefficient a column.
#[derive(Clone, Debug)]
pub struct Explanation<'a> {
    /// The peaks.
    pub cases: &'a [Case],
    /// One standard deviation of each in cross-elevation and elevation.
    pub sigmas: &'a [[Angle; 2]],
    /// Free mount terms.
    pub free: &'a [Term],
    /// What is known of them beforehand: mean zero and this standard deviation, inside.
    pub spreads: &'a [f64],
    /// Values of the other terms.
    pub held: TermValues,
    /// The faults' columns.
    pub columns: &'a [Column],
    /// Seconds that are already in the cases' targets beside the logged times and held offset: a
    /// clock column counts from there.
    pub clock_s: f64,
}

/// One peak under an explanation.
#[derive(Clone, Debug)]
pub struct Explained {
    /// The mount as it stood at that peak.
    pub mount: MountModel,
    /// The encoder reading, an unmeasured axis filled in.
    pub reading: EncoderReading,
    /// Where the emitter stood.
    pub target: Vector3<f64>,
}

impl Explanation<'_> {
    /// The mount terms at some parameters, faults left out.
    pub fn terms(&self, parameters: &[f64]) -> TermValues {
        let mut terms = self.held;
        for (term, value) in self.free.iter().zip(parameters) {
            terms.set_inside(*term, *value);
        }
        terms
    }

    /// The mount at some parameters, faults left out.
    pub fn bare(&self, parameters: &[f64]) -> MountModel {
        MountModel::new(self.terms(parameters))
    }

    /// Case number `index` at some parameters.
    pub fn at(&self, index: usize, parameters: &[f64]) -> Explained {
        self.at_about(&self.bare(parameters), index, parameters)
    }

    /// The same, with the bare mount at those parameters worked out once for all cases.
    pub fn at_about(&self, bare: &MountModel, index: usize, parameters: &[f64]) -> Explained {
        let case = &self.cases[index];
        let mut terms = *bare.terms();
        let reading = filled_reading(bare, &case.observation);
        let mut target = case.observation.target;
        let mut pulled = false;
        let coefficients = &parameters[self.free.len()..];
        target -= case.observation.target_rate * self.clock_s;
        for (column, coefficient) in self.columns.iter().zip(coefficients) {
            match (&column.lever, column.target_step(index, case)) {
                (Lever::Term(term), _) => {
                    let pull = coefficient * column.shape.at(case, &reading);
                    terms.set_inside(*term, terms.inside(*term) + pull);
                    pulled = true;
                }
                (_, Some(step)) => target += step * *coefficient,
                (_, None) => {}
            }
        }
        let target = target.normalize();
        if !pulled {
            return Explained {
                reading,
                target,
                mount: *bare,
            };
        }
        let mount = MountModel::new(terms);
        Explained {
            reading: filled_reading(&mount, &case.observation),
            target,
            mount,
        }
    }

    /// Emitter minus modelled beam of case number `index`.
    pub fn misfit(&self, index: usize, parameters: &[f64]) -> Offset {
        self.misfit_of(index, &self.at(index, parameters))
    }

    fn misfit_of(&self, index: usize, there: &Explained) -> Offset {
        let approach = self.cases[index].observation.approach();
        let beam = there.mount.beam_vector(there.reading, approach);
        SkyBasis::at(&beam).offset_to(&there.target)
    }

    /// The same of a case as [`Explanation::at`] has it, with the change of (cross-elevation, elevation), radians, for a unit of each
    /// parameter and then of each of `more` columns that are not in the explanation.
    pub fn misfit_with_derivatives(
        &self,
        index: usize,
        there: &Explained,
        more: &[Column],
        mut by_parameter: impl FnMut(usize, [f64; 2]),
    ) -> Offset {
        let case = &self.cases[index];
        let beam = (there.mount).beam_with_derivatives(there.reading, case.observation.approach());
        let basis = SkyBasis::at(&beam.vector);
        let resolve = |v: Vector3<f64>| [basis.rightward.dot(&v), basis.upward.dot(&v)];
        for (j, term) in self.free.iter().enumerate() {
            by_parameter(j, resolve(-beam.by_term[*term as usize]));
        }
        for (k, column) in self.columns.iter().chain(more).enumerate() {
            let change = match (&column.lever, column.target_step(index, case)) {
                (Lever::Term(term), _) => {
                    -beam.by_term[*term as usize] * column.shape.at(case, &there.reading)
                }
                (_, Some(step)) => step,
                (_, None) => Vector3::zeros(),
            };
            by_parameter(self.free.len() + k, resolve(change));
        }
        basis.offset_to(&there.target)
    }

    /// What is known of each parameter before the data, as (mean, standard deviation).
    pub fn known(&self) -> Vec<(f64, f64)> {
        let terms = self.spreads.iter().map(|s| (0.0, *s));
        let columns = self.columns.iter().map(|c| (c.expected, c.spread));
        terms.chain(columns).collect()
    }

    /// The same as rows for the fit.
    pub fn priors(&self) -> Vec<Prior> {
        let known = self.known().into_iter().enumerate();
        known.map(|(j, (m, s))| Prior::on(j, m, s)).collect()
    }
}

impl Model for Explanation<'_> {
    fn parameters(&self) -> usize {
        self.free.len() + self.columns.len()
    }
    fn observations(&self) -> usize {
        self.cases.len()
    }
    fn most_rows(&self) -> usize {
        2
    }
    fn evaluate(&self, parameters: &[f64], block: &mut Block) -> Result<(), Unevaluable> {
        let n = self.parameters();
        let mut derivatives = vec![0.0; 2 * n];
        let bare = self.bare(parameters);
        for i in block.range() {
            let there = self.at_about(&bare, i, parameters);
            let sigma = self.sigmas[i].map(Angle::radians);
            let offset = if block.wants_derivatives() {
                self.misfit_with_derivatives(i, &there, &[], |j, change| {
                    derivatives[j] = change[0] / sigma[0];
                    derivatives[n + j] = change[1] / sigma[1];
                })
            } else {
                self.misfit_of(i, &there)
            };
            let peak = &self.cases[i].observation.peak;
            if peak.azimuth.is_some() {
                let value = offset.cross_elevation.radians() / sigma[0];
                block.push(i, value, &derivatives[..n]);
            }
            if peak.elevation.is_some() {
                let value = offset.elevation.radians() / sigma[1];
                block.push(i, value, &derivatives[n..]);
            }
        }
        Ok(())
    }
}
