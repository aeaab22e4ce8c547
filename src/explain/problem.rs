//! The peaks as one least-squares problem in the coefficients of hypotheses.
//!
//! The residual of a peak is the emitter's apparent direction minus the modelled beam, resolved at
//! the beam across and along the second axis (for az-el mounts cross-elevation and elevation). With
//! the residuals d of peak i and their standard deviations s, the coefficients b of the columns j,
//! and their priors, the fit minimises
//!
//! ```text
//! S(b) = sum_i (d_i,across(b) / s_i,across)^2 + (d_i,along(b) / s_i,along)^2
//!      + sum_j ((b_j - expected_j) / spread_j)^2
//! ```

use std::sync::OnceLock;

use crate::angle::{Angle, EncoderReading, Offset};
use crate::fit::{BLOCK_OBSERVATIONS, Block, Model, Prior, Unevaluable};
use crate::mount::{MountModel, Term};

use super::misfit::{
    LinearisedPeak, expected_reading, filled_reading, misfit, misfit_at_encoders,
    misfit_at_encoders_of,
};
use super::observe::Sighting;
use super::one_mount::{KeptPeaks, OneMount};
use super::peak::SessionPeak;
use super::shape::{Lever, Shape, ShapeColumn};

/// Peaks to be explained by some columns; the parameters are their coefficients.
#[derive(Clone, Debug)]
pub struct JointProblem<'a> {
    peaks: &'a [SessionPeak],
    sigmas: &'a [[Angle; 2]],
    columns: &'a [ShapeColumn],
    held: MountModel,
    /// The term of each coefficient, when all are constant mount terms: then one mount model
    /// applies to all peaks.
    constant: Option<Vec<Term>>,
    /// The data that every pass needs of the peaks, built for the first pass when one mount model
    /// applies to all.
    kept: OnceLock<KeptPeaks>,
    /// Whether some column varies quickly with a reading.
    fast: bool,
}

/// One peak under the hypotheses.
#[derive(Clone, Debug)]
pub(crate) struct ExplainedPeak {
    /// The mount model at that peak.
    pub mount: MountModel,
    /// Readings and emitter position.
    pub sighting: Sighting,
    /// The encoder reading, with an unmeasured axis filled in.
    pub reading: EncoderReading,
    /// The mount model except for what depends on the peak.
    bare: MountModel,
}

impl ExplainedPeak {
    /// The reading that the model expects.
    fn expected(&self) -> EncoderReading {
        expected_reading(&self.bare, &self.sighting, self.reading)
    }
    /// Emitter minus modelled beam.
    pub fn misfit(&self) -> Offset {
        misfit(&self.mount, &self.sighting).offset
    }
    /// The same, at the encoders where it is large.
    pub fn misfit_at_encoders(&self) -> Offset {
        misfit_at_encoders(&self.mount, &self.sighting)
    }
    /// The same for another target (unit vector).
    pub fn misfit_to(&self, target: nalgebra::Vector3<f64>) -> Offset {
        let mut there = self.sighting;
        there.clock_offset_s = self.mount.terms().inside(Term::ClockOffset);
        there.target = target;
        misfit_at_encoders(&self.mount, &there)
    }
    /// The same for another reading.
    pub fn misfit_of_reading(&self, reading: EncoderReading) -> Offset {
        misfit_at_encoders_of(&self.mount, &self.sighting, reading)
    }
    /// Unit vector of the target.
    pub fn target(&self) -> nalgebra::Vector3<f64> {
        self.sighting
            .target_at(self.mount.terms().inside(Term::ClockOffset))
    }
}

impl<'a> JointProblem<'a> {
    /// `sigmas` holds, for each peak, one standard deviation across and along the second axis;
    /// `held` is the mount model with the values of all terms that no column changes.
    pub fn new(
        peaks: &'a [SessionPeak],
        sigmas: &'a [[Angle; 2]],
        columns: &'a [ShapeColumn],
        held: MountModel,
    ) -> JointProblem<'a> {
        JointProblem {
            peaks,
            sigmas,
            columns,
            held,
            constant: (columns.len() <= Term::COUNT)
                .then(|| columns.iter().map(ShapeColumn::constant_term).collect())
                .flatten(),
            kept: OnceLock::new(),
            fast: columns.iter().any(|c| c.shape.is_fast()),
        }
    }

    /// The columns.
    pub fn columns(&self) -> &[ShapeColumn] {
        self.columns
    }

    /// The mount model at some parameters, except for what depends on the peak.
    pub fn mount(&self, parameters: &[f64]) -> MountModel {
        let mut terms = *self.held.terms();
        for (column, value) in self.columns.iter().zip(parameters) {
            if let Some(term) = column.constant_term() {
                terms.set_inside(term, terms.inside(term) + value);
            }
        }
        self.held.with_terms(terms)
    }

    /// Peak number `index` at some parameters.
    pub(crate) fn at(&self, index: usize, parameters: &[f64]) -> ExplainedPeak {
        self.at_about(&self.mount(parameters), index, parameters)
    }

    /// The same, with [`JointProblem::mount`] at those parameters computed once for all peaks.
    pub(crate) fn at_about(
        &self,
        bare: &MountModel,
        index: usize,
        parameters: &[f64],
    ) -> ExplainedPeak {
        let peak = &self.peaks[index];
        let mut sighting = peak.sighting;
        let reading = filled_reading(bare, &sighting);
        if self.constant.is_some() {
            return ExplainedPeak {
                mount: *bare,
                sighting,
                reading,
                bare: *bare,
            };
        }
        let expected = match self.fast {
            true => expected_reading(bare, &sighting, reading),
            false => reading,
        };
        let mut terms = *bare.terms();
        let (mut pulled, mut moved) = (false, false);
        for (column, coefficient) in self.columns.iter().zip(parameters) {
            if column.constant_term().is_some() {
                continue;
            }
            match (&column.lever, column.target_step(index, peak)) {
                (Lever::Term(term), _) => {
                    let at = if column.shape.is_fast() {
                        &expected
                    } else {
                        &reading
                    };
                    let pull = coefficient * column.shape.at(peak, at);
                    terms.set_inside(*term, terms.inside(*term) + pull);
                    pulled = true;
                }
                (_, Some(step)) => {
                    sighting.target += step * *coefficient;
                    moved = true;
                }
                (_, None) => {}
            }
        }
        if moved {
            sighting.target.normalize_mut();
        }
        let mount = if pulled {
            bare.with_terms(terms)
        } else {
            *bare
        };
        ExplainedPeak {
            reading: filled_reading(&mount, &sighting),
            mount,
            sighting,
            bare: *bare,
        }
    }

    /// Emitter minus modelled beam of peak number `index`.
    pub fn misfit(&self, index: usize, parameters: &[f64]) -> Offset {
        self.at(index, parameters).misfit()
    }

    /// The misfit of a peak as in [`JointProblem::at`], with the change of (cross-elevation,
    /// elevation), radians, per unit of each parameter and then of each of `more` columns that are
    /// not in the problem.
    pub(crate) fn misfit_with_derivatives(
        &self,
        index: usize,
        there: &ExplainedPeak,
        more: &[ShapeColumn],
        mut by_parameter: impl FnMut(usize, [f64; 2]),
    ) -> Offset {
        let peak = &self.peaks[index];
        let linear = LinearisedPeak::at(&there.mount, &there.sighting);
        let mut expected = None;
        for (k, column) in self.columns.iter().chain(more).enumerate() {
            let change = match (&column.lever, column.target_step(index, peak)) {
                (Lever::Term(term), _) => {
                    let change = linear.by_term(*term);
                    match column.shape {
                        Shape::Always => change,
                        shape if shape.is_fast() => {
                            let at = expected.get_or_insert_with(|| there.expected());
                            change.map(|c| c * shape.at(peak, at))
                        }
                        shape => change.map(|c| c * shape.at(peak, &there.reading)),
                    }
                }
                (_, Some(step)) if step.norm_squared() > 0.0 => linear.by_target(&step),
                _ => [0.0; 2],
            };
            by_parameter(k, change);
        }
        linear.misfit.offset
    }

    /// The change of (cross-elevation, elevation), radians, per unit of each parameter and then of
    /// each of `more` columns, at the reading that the model expects for a peak.
    ///
    /// The logged reading is not used: a column that depends on a reading, errors included, can
    /// explain those errors where the peaks are in few places.
    pub(crate) fn derivatives_where_expected(
        &self,
        index: usize,
        there: &ExplainedPeak,
        more: &[ShapeColumn],
        by_parameter: impl FnMut(usize, [f64; 2]),
    ) {
        let at = expected_reading(&there.mount, &there.sighting, there.reading);
        let mut expected = there.clone();
        expected.reading = at;
        expected.sighting.azimuth = there.sighting.azimuth.map(|_| at.azimuth);
        expected.sighting.elevation = there.sighting.elevation.map(|_| at.elevation);
        self.misfit_with_derivatives(index, &expected, more, by_parameter);
    }

    /// Pushes the rows of some peaks, in order; several peaks at a time where one mount model
    /// applies to all and both axes were measured.
    fn push_rows(
        &self,
        parameters: &[f64],
        indices: impl Iterator<Item = usize>,
        block: &mut Block,
    ) {
        let bare = self.mount(parameters);
        let mut derivatives = vec![0.0; 2 * parameters.len()];
        let Some(terms) = &self.constant else {
            for i in indices {
                self.push_rows_of(i, &bare, parameters, &mut derivatives, block);
            }
            return;
        };
        let kept = (self.kept).get_or_init(|| KeptPeaks::of(self.peaks, self.sigmas, &self.held));
        let mount = OneMount::new(&bare, self.peaks, kept, terms);
        let mut together = [0; BLOCK_OBSERVATIONS];
        let mut count = 0;
        for i in indices {
            let whole = kept.is_whole(i);
            if !whole || count == together.len() {
                mount.push_rows(&together[..count], block);
                count = 0;
            }
            if whole {
                together[count] = i;
                count += 1;
            } else {
                self.push_rows_of(i, &bare, parameters, &mut derivatives, block);
            }
        }
        mount.push_rows(&together[..count], block);
    }

    /// Pushes the rows of one peak; `derivatives` is a work buffer.
    fn push_rows_of(
        &self,
        index: usize,
        bare: &MountModel,
        parameters: &[f64],
        derivatives: &mut [f64],
        block: &mut Block,
    ) {
        let n = parameters.len();
        let there = self.at_about(bare, index, parameters);
        let sigma = self.sigmas[index].map(Angle::radians);
        let offset = if block.wants_derivatives() {
            self.misfit_with_derivatives(index, &there, &[], |j, change| {
                derivatives[j] = change[0] / sigma[0];
                derivatives[n + j] = change[1] / sigma[1];
            })
        } else {
            there.misfit()
        };
        let parts = [offset.cross_elevation, offset.elevation];
        for (axis, measured) in there.sighting.measured().into_iter().enumerate() {
            if measured {
                let value = parts[axis].radians() / sigma[axis];
                block.push(index, value, &derivatives[axis * n..(axis + 1) * n]);
            }
        }
    }

    /// The priors of the coefficients, as rows for the fit.
    pub fn priors(&self) -> Vec<Prior> {
        let columns = self.columns.iter().enumerate();
        columns
            .map(|(j, c)| Prior::on(j, c.expected, c.spread))
            .collect()
    }
}

impl Model for JointProblem<'_> {
    fn parameters(&self) -> usize {
        self.columns.len()
    }
    fn observations(&self) -> usize {
        self.peaks.len()
    }
    fn most_rows(&self) -> usize {
        2
    }
    fn evaluate(&self, parameters: &[f64], block: &mut Block) -> Result<(), Unevaluable> {
        self.push_rows(parameters, block.range(), block);
        Ok(())
    }
    fn evaluate_listed(
        &self,
        parameters: &[f64],
        observations: &[usize],
        block: &mut Block,
    ) -> Result<(), Unevaluable> {
        self.push_rows(parameters, observations.iter().copied(), block);
        Ok(())
    }
    fn shared(&self) -> Option<&(dyn Model + Sync)> {
        Some(self)
    }
}
