//! The old calibration as the prior.

use nalgebra::DMatrix;

use super::hypothesis::Change;
use crate::angle::Angle;
use crate::explain::glaring;
use crate::fit::Prior;
use crate::logbook::{Calibration, Correlation, TermState};
use crate::mount::{MountModel, Term};
use crate::problem::{Error, Problem};
use crate::solve::record;

/// The old calibration with its covariance.
#[derive(Clone, Debug)]
pub struct Old {
    /// As read.
    pub calibration: Calibration,
    /// The mount model that it describes.
    pub model: MountModel,
    /// The terms whose values may differ from its values: the fitted ones, and the basic ones that
    /// it does not determine.
    pub terms: Vec<Term>,
    /// Covariance of their values, internal units.
    pub covariance: DMatrix<f64>,
    /// One standard deviation of a peak's coordinate, from the scatter after the fit.
    pub peak_sigma: Angle,
}

/// No term is known better than this, whatever the file says, so that its covariance can be
/// inverted: an angle of 1e-9 radians is 0.0002 seconds of arc.
const KNOWN: f64 = 1e-9;

impl Old {
    /// Reads a calibration file's content; messages call it `file`.
    ///
    /// # Errors
    /// When it has no fitted term with an uncertainty, or its correlations contradict each other.
    pub fn new(calibration: Calibration, file: &str) -> Result<Old, Error> {
        let model = record::model_of(&calibration)?;
        let listed = |term: Term| calibration.term(term);
        let terms: Vec<Term> = Term::ALL
            .into_iter()
            .filter(|t| *t != Term::ClockOffset)
            .filter(|t| match listed(*t).map(|r| r.state) {
                Some(TermState::Fitted | TermState::NotSeparable) => true,
                Some(TermState::Held) => false,
                None => Term::BASIC.contains(t),
            })
            .collect();
        let sigma = |term: Term| {
            listed(term)
                .and_then(|r| r.sigma_deg.or(r.sigma).or(r.sigma_s))
                .map_or_else(|| glaring(term), |shown| term.unit().inward(shown))
        };
        if !terms
            .iter()
            .any(|t| listed(*t).is_some_and(|r| r.sigma_deg.is_some()))
        {
            return Err(Error::Unsupported(
                "the calibration gives no uncertainty for any term: there is nothing to compare \
                 new peaks with"
                    .to_owned(),
            ));
        }
        let n = terms.len();
        let mut covariance =
            DMatrix::from_fn(
                n,
                n,
                |i, j| {
                    if i == j { sigma(terms[i]).powi(2) } else { 0.0 }
                },
            );
        for Correlation { terms: pair, value } in &calibration.correlations {
            let kind = calibration.kind();
            let place = |name: &str| terms.iter().position(|t| kind.term_name(*t) == name);
            if let (Some(i), Some(j)) = (place(&pair.0), place(&pair.1)) {
                let both = value * sigma(terms[i]) * sigma(terms[j]);
                covariance[(i, j)] = both;
                covariance[(j, i)] = both;
            }
        }
        // Printed correlations are rounded: a part in a million on the diagonal keeps the matrix
        // positive definite.
        for i in 0..n {
            covariance[(i, i)] = covariance[(i, i)] * (1.0 + 1e-6) + KNOWN.powi(2);
        }
        if covariance.clone().cholesky().is_none() {
            return Err(Problem::of_file(
                file,
                "the correlations contradict each other: no set of errors can be correlated like \
                 that",
                "correlations as solve writes them",
            )
            .mend("they were edited or mixed up: run solve again")
            .into());
        }
        let rows = 2.0 * calibration.peaks.iter().filter(|p| p.used).count() as f64;
        let freedom = calibration.degrees_of_freedom as f64;
        let unbias = if freedom > 0.0 && rows > 0.0 {
            (rows / freedom).sqrt()
        } else {
            1.0
        };
        let peak_sigma =
            Angle::from_degrees(calibration.rms_after_deg / std::f64::consts::SQRT_2 * unbias);
        Ok(Old {
            calibration,
            model,
            terms,
            covariance,
            peak_sigma,
        })
    }

    /// The values of the terms in internal units, in their order.
    pub fn values(&self) -> Vec<f64> {
        self.terms
            .iter()
            .map(|t| self.model.terms().inside(*t))
            .collect()
    }

    /// The model with other values of the terms.
    pub fn model_with(&self, values: &[f64]) -> MountModel {
        let mut terms = *self.model.terms();
        for (term, value) in self.terms.iter().zip(values) {
            terms.set_inside(*term, *value);
        }
        self.model.with_terms(terms)
    }

    /// The prior when the changes may have happened.
    ///
    /// # Errors
    /// When the prior covariance cannot be inverted.
    pub fn priors(&self, changes: &[Change]) -> Result<Vec<Prior>, Error> {
        let mut covariance = self.covariance.clone();
        for change in changes {
            if let Some(i) = self.terms.iter().position(|t| *t == change.term) {
                covariance[(i, i)] += change.may_be.powi(2);
            }
        }
        priors_of(&self.values(), &covariance).ok_or_else(|| {
            Error::Unsupported(
                "the calibration's uncertainties cannot be used: they differ too much in size"
                    .to_owned(),
            )
        })
    }

    /// Writes new values and covariance into a calibration.
    pub fn write_terms(&self, into: &mut Calibration, values: &[f64], covariance: &DMatrix<f64>) {
        let kind = self.model.kind();
        let sigma = |i: usize| covariance[(i, i)].max(0.0).sqrt();
        for (i, term) in self.terms.iter().enumerate() {
            let value = if *term == Term::AzimuthZero {
                Angle::from_radians(values[i]).wrapped_signed().radians()
            } else {
                values[i]
            };
            into.terms.insert(
                kind.term_name(*term).to_owned(),
                record::record(*term, value, Some(sigma(i)), TermState::Fitted),
            );
        }
        into.correlations.clear();
        for i in 0..self.terms.len() {
            for j in i + 1..self.terms.len() {
                let product = sigma(i) * sigma(j);
                if product > 0.0 {
                    into.correlations.push(Correlation {
                        terms: (
                            kind.term_name(self.terms[i]).to_owned(),
                            kind.term_name(self.terms[j]).to_owned(),
                        ),
                        value: (covariance[(i, j)] / product).clamp(-1.0, 1.0),
                    });
                }
            }
        }
    }
}

/// Prior rows for parameters with a mean and a covariance, n by n: the rows of the inverse of its
/// Cholesky factor.
fn priors_of(mean: &[f64], covariance: &DMatrix<f64>) -> Option<Vec<Prior>> {
    let n = mean.len();
    let inverse = covariance.clone().cholesky()?.l().try_inverse()?;
    Some(
        (0..n)
            .map(|i| {
                let row: Vec<(usize, f64)> = (0..=i).map(|j| (j, inverse[(i, j)])).collect();
                let at: f64 = row.iter().map(|(j, c)| c * mean[*j]).sum();
                Prior::on_combination(row, at, 1.0)
            })
            .collect(),
    )
}
