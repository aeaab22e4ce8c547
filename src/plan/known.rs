//! What is known of the mount before the planned peaks.

use nalgebra::DMatrix;

use crate::angle::Angle;
use crate::explain::{glaring, prior_size::careful};
use crate::logbook::Calibration;
use crate::mount::{MountModel, Term};
use crate::problem::Error;
use crate::recheck::Old;
use crate::station::Station;

/// The mount as far as it is known.
#[derive(Clone, Debug, Default)]
pub struct Known {
    old: Option<Old>,
}

impl Known {
    /// Takes a calibration and the name of its file.
    ///
    /// # Errors
    /// When it determines nothing.
    pub fn of(calibration: Calibration, file: &str) -> Result<Known, Error> {
        Ok(Known {
            old: Some(Old::new(calibration, file)?),
        })
    }

    /// The model for pointing: an ideal mount of the station when nothing is known.
    pub fn model(&self, station: &Station) -> MountModel {
        (self.old.as_ref()).map_or_else(
            || MountModel::ideal(station.mount.geometry),
            |old| old.model,
        )
    }

    /// Whether there is a calibration.
    pub fn is_calibrated(&self) -> bool {
        self.old.is_some()
    }

    /// Scatter of the calibration's own peaks, one standard deviation per axis.
    pub fn peak_sigma(&self) -> Option<Angle> {
        (self.old.as_ref())
            .map(|old| old.peak_sigma)
            .filter(|sigma| *sigma > Angle::ZERO)
    }

    /// The terms that the calibration has.
    pub fn terms(&self) -> Vec<Term> {
        self.old.as_ref().map_or_else(Vec::new, |o| o.terms.clone())
    }

    /// Whether the calibration determines a term better than visual inspection.
    pub fn tells(&self, term: Term) -> bool {
        let place = |old: &Old| old.terms.iter().position(|t| *t == term);
        (self.old.as_ref())
            .and_then(|old| place(old).map(|i| old.covariance[(i, i)].sqrt()))
            .is_some_and(|sigma| sigma < 0.5 * glaring(term))
    }

    /// One standard deviation of a term, internal units: that of the calibration; for a term that
    /// it leaves out, what a careful builder achieves; without a calibration, what anyone would
    /// notice by eye.
    pub fn spread(&self, term: Term, beamwidth: Angle) -> f64 {
        match &self.old {
            None => glaring(term),
            Some(old) => match old.terms.iter().position(|t| *t == term) {
                Some(i) => old.covariance[(i, i)].sqrt(),
                None => careful(term, beamwidth),
            },
        }
    }

    /// Covariance of some terms, in their order.
    pub fn covariance(&self, terms: &[Term], beamwidth: Angle) -> DMatrix<f64> {
        let n = terms.len();
        DMatrix::from_fn(n, n, |i, j| {
            let place = |old: &Old, k: usize| old.terms.iter().position(|t| *t == terms[k]);
            let both = self.old.as_ref().and_then(|old| {
                let (p, q) = (place(old, i)?, place(old, j)?);
                Some(old.covariance[(p, q)])
            });
            match both {
                Some(value) => value,
                None if i == j => self.spread(terms[i], beamwidth).powi(2),
                None => 0.0,
            }
        })
    }
}
