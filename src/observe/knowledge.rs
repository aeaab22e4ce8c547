//! What is known of the mount between one peak and the next: its errors with their covariance, from
//! a mere guess of their sizes to many peaks. It determines where to look next and how widely.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, DVector};

use super::tuned::{LEAST_UNMODELLED, MOST_ROUNDS_OF_A_FIT, UNMODELLED_SHARE};
use crate::angle::{Angle, Apparent, Direction, EncoderReading};
use crate::explain::glaring;
use crate::explain::prior_size::careful;
use crate::logbook::{Calibration, Correlation, FORMAT, MountRecord, TermState, Trust};
use crate::mount::{ApproachSigns, Geometry, MountModel, Term, TermValues};
use crate::problem::Error;
use crate::recheck::Old;
use crate::solve::record::record;
use crate::station::Station;
use crate::time::Utc;

/// A peak that was found: where the axes stood and where the beam had to point.
#[derive(Clone, Debug, PartialEq)]
pub struct FoundEmitter {
    /// Readings on the emitter.
    pub reading: EncoderReading,
    /// Where it stood.
    pub target: Direction<Apparent>,
    /// One standard deviation across and up; `None` for an axis that was not measured.
    pub sigma: [Option<Angle>; 2],
}

/// The mount as far as it is known.
#[derive(Clone, Debug)]
pub struct Knowledge {
    terms: Vec<Term>,
    /// Inside values before any peak, and their covariance.
    mean: DVector<f64>,
    spread: DMatrix<f64>,
    values: DVector<f64>,
    covariance: DMatrix<f64>,
    base: TermValues,
    geometry: Geometry,
}

/// The terms that any mount has.
const TERMS: [Term; 7] = [
    Term::AzimuthZero,
    Term::ElevationZero,
    Term::TiltNorth,
    Term::TiltEast,
    Term::Collimation,
    Term::AxisSkew,
    Term::Droop,
];

impl Knowledge {
    /// An unmeasured mount whose zeros are good to `zeros` either way.
    pub fn guess(zeros: Angle, beamwidth: Angle, geometry: Geometry) -> Knowledge {
        let kind = geometry.kind();
        let terms: Vec<Term> = TERMS.into_iter().filter(|term| kind.has(*term)).collect();
        // The standard deviation of a uniform distribution.
        let zero = zeros.radians() / 3f64.sqrt();
        let spread = terms.iter().map(|term| match *term {
            Term::AzimuthZero | Term::ElevationZero => zero,
            // Half of what anyone would see.
            term @ (Term::TiltNorth | Term::TiltEast | Term::Collimation) => 0.5 * glaring(term),
            term => careful(term, beamwidth),
        });
        let variances: Vec<f64> = spread.map(|s| s * s).collect();
        Knowledge::about(
            terms,
            DVector::zeros(variances.len()),
            DMatrix::from_diagonal(&DVector::from_vec(variances)),
            TermValues::ZERO,
            geometry,
        )
    }

    fn about(
        terms: Vec<Term>,
        mean: DVector<f64>,
        spread: DMatrix<f64>,
        base: TermValues,
        geometry: Geometry,
    ) -> Knowledge {
        Knowledge {
            terms,
            values: mean.clone(),
            covariance: spread.clone(),
            mean,
            spread,
            base,
            geometry,
        }
    }

    /// From an earlier calibration and the name of its file.
    ///
    /// # Errors
    /// A calibration from which nothing can be taken.
    pub fn of(calibration: Calibration, file: &str) -> Result<Knowledge, Error> {
        let old = Old::new(calibration, file)?;
        let values = DVector::from_vec(old.values());
        Ok(Knowledge::about(
            old.terms.clone(),
            values,
            old.covariance.clone(),
            *old.model.terms(),
            *old.model.geometry(),
        ))
    }

    /// An unmeasured mount whose beam was put on an emitter by hand, to half a beam.
    #[must_use]
    pub fn on_emitter(
        reading: EncoderReading,
        target: Direction<Apparent>,
        beamwidth: Angle,
        geometry: Geometry,
    ) -> Knowledge {
        let mut guess = Knowledge::guess(Angle::HALF_TURN, beamwidth, geometry);
        // The difference to the readings of an ideal mount is the zeros.
        if let Ok(ideal) = MountModel::ideal(geometry).readings(&target, ApproachSigns::UNKNOWN) {
            let off = [
                (ideal.direct.azimuth - reading.azimuth).wrapped_signed(),
                ideal.direct.elevation - reading.elevation,
            ];
            for (term, off) in [Term::AzimuthZero, Term::ElevationZero].iter().zip(off) {
                if let Some(place) = guess.terms.iter().position(|t| t == term) {
                    guess.mean[place] = off.radians();
                }
            }
        }
        let sigma = Some(beamwidth / 2.0);
        let known = guess.with(&[FoundEmitter {
            reading,
            target,
            sigma: [sigma, sigma],
        }]);
        Knowledge::about(
            known.terms,
            known.values,
            known.covariance,
            known.base,
            geometry,
        )
    }

    /// Combines peaks with the prior: the most probable values, by Gauss-Newton steps on the sum of
    /// squares of peaks and prior, which has a single minimum at these sizes.
    #[must_use]
    pub fn with(&self, peaks: &[FoundEmitter]) -> Knowledge {
        let mut next = self.clone();
        next.values = self.mean.clone();
        let Some(prior) = self.spread.clone().try_inverse() else {
            return next;
        };
        let n = self.terms.len();
        for _ in 0..MOST_ROUNDS_OF_A_FIT {
            let mut squares = prior.clone();
            let mut right = &prior * (&self.mean - &next.values);
            let model = next.model();
            for peak in peaks {
                let beam = model.beam_with_derivatives(peak.reading, ApproachSigns::UNKNOWN);
                let basis = self.geometry.basis_at(&beam.vector);
                let off = basis.offset_to(&peak.target.east_north_up());
                let off = [off.cross_elevation.radians(), off.elevation.radians()];
                for (i, along) in [basis.rightward, basis.upward].iter().enumerate() {
                    let Some(sigma) = peak.sigma[i] else { continue };
                    let row = DVector::from_iterator(
                        n,
                        (self.terms.iter()).map(|t| along.dot(&beam.by_term[*t as usize])),
                    );
                    let weight = sigma.radians().powi(-2);
                    squares += &row * row.transpose() * weight;
                    right += row * (weight * off[i]);
                }
            }
            let Some(factor) = squares.cholesky() else {
                return self.clone();
            };
            let step = factor.solve(&right);
            next.values += &step;
            next.covariance = factor.inverse();
            if step.amax() < 1e-10 {
                break;
            }
        }
        next
    }

    /// Cost of the present values by these peaks and the prior: minus twice the logarithm of their
    /// probability, up to a constant.
    pub fn cost(&self, peaks: &[FoundEmitter]) -> f64 {
        let off = &self.values - &self.mean;
        let prior = self.spread.clone().try_inverse();
        let mut cost = prior.map_or(0.0, |prior| off.dot(&(prior * &off)));
        let model = self.model();
        for peak in peaks {
            let beam = model.beam_vector(peak.reading, ApproachSigns::UNKNOWN);
            let offset = (self.geometry.basis_at(&beam)).offset_to(&peak.target.east_north_up());
            for (off, sigma) in [offset.cross_elevation, offset.elevation]
                .iter()
                .zip(peak.sigma)
            {
                cost += sigma.map_or(0.0, |sigma| (*off / sigma).powi(2));
            }
        }
        cost
    }

    /// The model with the values so far.
    pub fn model(&self) -> MountModel {
        let mut terms = self.base;
        for (term, value) in self.terms.iter().zip(self.values.iter()) {
            terms.set_inside(*term, *value);
        }
        MountModel::new(self.geometry, terms)
    }

    /// One standard deviation of where the beam points at a reading, across and up.
    pub fn spread_at(&self, reading: EncoderReading) -> [Angle; 2] {
        let beam = (self.model()).beam_with_derivatives(reading, ApproachSigns::UNKNOWN);
        let basis = self.geometry.basis_at(&beam.vector);
        [basis.rightward, basis.upward].map(|along| {
            let row = DVector::from_iterator(
                self.terms.len(),
                (self.terms.iter()).map(|t| along.dot(&beam.by_term[*t as usize])),
            );
            Angle::from_radians(row.dot(&(&self.covariance * &row)).max(0.0).sqrt())
        })
    }

    /// Pointing error, one standard deviation: the rms over a grid of readings across the ranges.
    pub fn pointing_error(&self, station: &Station) -> Angle {
        /// Along each axis: the errors change slowly over the ranges.
        const PLACES: usize = 6;
        let mount = &station.mount;
        let share = |i: usize| (i as f64 + 0.5) / PLACES as f64;
        let between = |(low, high): (Angle, Angle), s: f64| low + (high - low) * s;
        let mut sum = 0.0;
        let mut weights = 0.0;
        for i in 0..PLACES {
            for j in 0..PLACES {
                let reading = EncoderReading {
                    azimuth: between(mount.azimuth_range, share(i)),
                    elevation: between(mount.elevation_range, share(j)),
                };
                let [across, up] = self.spread_at(reading).map(Angle::radians);
                let beam = (self.model()).beam_with_derivatives(reading, ApproachSigns::UNKNOWN);
                // Where the first axis moves the beam little there is little sky.
                let weight = beam.by_azimuth.norm();
                sum += weight * (across * across + up * up);
                weights += weight;
            }
        }
        Angle::from_radians((sum / weights.max(1e-9)).sqrt())
    }

    /// As a calibration, for a plan that starts from it; it never reaches a file.
    pub fn calibration(&self, station: &Station, now: Utc) -> Calibration {
        let kind = self.geometry.kind();
        let sigma = |i: usize| self.covariance[(i, i)].max(0.0).sqrt();
        let mut terms = BTreeMap::new();
        for (i, term) in self.terms.iter().enumerate() {
            terms.insert(
                kind.term_name(*term).to_owned(),
                record(*term, self.values[i], Some(sigma(i)), TermState::Fitted),
            );
        }
        let mut correlations = Vec::new();
        for i in 0..self.terms.len() {
            for j in i + 1..self.terms.len() {
                correlations.push(Correlation {
                    terms: (
                        kind.term_name(self.terms[i]).to_owned(),
                        kind.term_name(self.terms[j]).to_owned(),
                    ),
                    value: (self.covariance[(i, j)] / (sigma(i) * sigma(j))).clamp(-1.0, 1.0),
                });
            }
        }
        Calibration {
            format: FORMAT.to_owned(),
            created_utc: now,
            station: station.site.name.clone(),
            mount: MountRecord::of(&station.mount.geometry),
            terms,
            correlations,
            peaks: Vec::new(),
            rms_before_deg: 0.0,
            rms_after_deg: 0.0,
            degrees_of_freedom: 0,
            expected_pointing_error: None,
            trust: Trust::Limited,
            reasons: Vec::new(),
            causes: Vec::new(),
            joined_from: None,
            warnings: Vec::new(),
        }
    }
}

/// Standard deviation of a peak for the fit of these terms, from its own `sigma`.
pub fn weighed(sigma: Angle, beamwidth: Angle) -> Angle {
    let unmodelled = (beamwidth * UNMODELLED_SHARE).max(LEAST_UNMODELLED);
    Angle::from_radians(sigma.radians().hypot(unmodelled.radians()))
}

#[cfg(test)]
mod tests {
    use super::*;

    const BEAM: Angle = Angle::from_degrees(5.0);

    fn truth() -> MountModel {
        MountModel::new(
            Geometry::AZ_EL,
            TermValues::ZERO
                .with_shown(Term::AzimuthZero, 8.0)
                .with_shown(Term::ElevationZero, -6.0)
                .with_shown(Term::TiltNorth, 0.7)
                .with_shown(Term::Collimation, 0.4),
        )
    }

    fn peak(azimuth: f64, elevation: f64) -> FoundEmitter {
        let reading = EncoderReading::from_degrees(azimuth, elevation);
        let sigma = Some(Angle::from_degrees(0.05));
        FoundEmitter {
            reading,
            target: truth().beam(reading, ApproachSigns::UNKNOWN),
            sigma: [sigma, sigma],
        }
    }

    #[test]
    fn every_peak_narrows_the_next_search() {
        let guess = Knowledge::guess(Angle::from_degrees(10.0), BEAM, Geometry::AZ_EL);
        let there = EncoderReading::from_degrees(200.0, 40.0);
        let widest = guess.spread_at(there);
        assert!(widest[0] > Angle::from_degrees(4.0) && widest[1] > Angle::from_degrees(5.0));
        let mut before = widest;
        let mut peaks = Vec::new();
        for (azimuth, elevation) in [(20.0, 30.0), (110.0, 50.0), (300.0, 25.0), (60.0, 65.0)] {
            peaks.push(peak(azimuth, elevation));
            let known = guess.with(&peaks);
            let now = known.spread_at(there);
            assert!(
                now[0] < before[0] && now[1] < before[1],
                "{now:?} {before:?}"
            );
            before = now;
            let off = (known.model().beam(there, ApproachSigns::UNKNOWN))
                .separation(&truth().beam(there, ApproachSigns::UNKNOWN));
            let sigma = now[0].radians().hypot(now[1].radians());
            assert!(off.radians() < 4.0 * sigma, "{off:?} {now:?}");
        }
        assert!(before[0] < Angle::from_degrees(0.5));
    }

    #[test]
    fn an_emitter_in_the_beam_by_hand_tells_the_zeros_from_any_start() {
        let reading = EncoderReading::from_degrees(-140.0, 38.0);
        let target = Direction::apparent(Angle::from_degrees(95.0), Angle::from_degrees(33.0));
        let known = Knowledge::on_emitter(reading, target, BEAM, Geometry::AZ_EL);
        let beam = known.model().beam(reading, ApproachSigns::UNKNOWN);
        assert!(
            beam.separation(&target) < Angle::from_degrees(0.2),
            "{beam:?}"
        );
        let [across, up] = known.spread_at(reading);
        assert!(across <= BEAM / 1.9 && up <= BEAM / 1.9);
    }

    #[test]
    fn as_a_calibration_it_can_be_planned_from() {
        let station = Station::read(std::path::Path::new("demo-data/station.toml")).unwrap();
        let known = Knowledge::guess(Angle::from_degrees(10.0), BEAM, Geometry::AZ_EL)
            .with(&[peak(20.0, 30.0)]);
        let now = Utc::parse("2026-09-12T10:00:00Z").unwrap();
        let again = Knowledge::of(known.calibration(&station, now), "so far").unwrap();
        let there = EncoderReading::from_degrees(70.0, 30.0);
        let (one, other) = (known.spread_at(there), again.spread_at(there));
        assert!((one[0] - other[0]).abs() < Angle::from_degrees(0.01));
    }
}
