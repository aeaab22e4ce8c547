//! The uncertainty of the parameters, and contradictions to what was given.

use nalgebra::DMatrix;

use super::explanation::Remark;
use super::joint_fit::JointFit;
use super::linearised::Weighted;
use super::observe::Observation;
use super::separability::{sensitivity, what_would_tell};
use super::session::Session;
use super::tuned::POOR_CONDITION;
use crate::angle::Angle;
use crate::fit::{Noise, quantile};
use crate::mount::Term;
use crate::station::Station;

/// The scatter contradicts the logged sigmas below this probability; common practice, no source.
const CONTRADICTION: f64 = 1e-3;
/// A term that is only determined together with others must also be less certain than this many
/// times a single peak: otherwise the correlation does no harm. Common practice, no source.
const POOR_SIGMA: f64 = 4.0;

/// Noise estimate of a fit.
#[derive(Clone, Debug)]
pub struct NoiseOfFit {
    /// Covariance of the parameters.
    pub covariance: DMatrix<f64>,
    /// Rows minus the effective number of parameters.
    pub freedom: f64,
    /// Factor on the session's sigmas.
    pub factor: f64,
}

/// Noise of a joint fit to its kept peaks; `None` when no degrees of freedom are left to estimate
/// it.
///
/// Logged standard deviations are trusted unless the scatter contradicts them.
pub fn noise_of(
    session: &Session,
    fit: &JointFit,
    remarks: &mut Vec<Remark>,
) -> Option<NoiseOfFit> {
    let linearised = session.linearised(fit, &[]);
    let all: Vec<usize> = (0..fit.count()).collect();
    let sum: f64 = (0..linearised.peaks())
        .filter(|i| fit.kept[*i])
        .map(|i| linearised.square_of(i))
        .sum();
    let step = linearised.solve(&all, &Weighted::Kept(&fit.kept), fit.variance)?;
    let variance = match session.noise {
        Noise::Scatter => {
            (step.freedom > 0.0).then_some(())?;
            sum / step.freedom
        }
        Noise::Logged if step.freedom > 0.0 => {
            let scatter = (sum / step.freedom).sqrt();
            let exceeds = quantile::chi_square_exceeds(sum, step.freedom);
            if exceeds < CONTRADICTION {
                remarks.push(Remark::ScatterContradictsLog {
                    scatter,
                    p_value: exceeds,
                });
                scatter * scatter
            } else {
                if exceeds > 1.0 - CONTRADICTION {
                    remarks.push(Remark::ScatterBelowLog { scatter });
                }
                1.0
            }
        }
        Noise::Logged => 1.0,
    };
    Some(NoiseOfFit {
        covariance: &step.inverse * step.inverse.transpose() * variance,
        freedom: step.freedom,
        factor: variance.sqrt(),
    })
}

/// Adds a remark when the peaks require another value of a term that the user holds.
pub fn contradicted_holds(session: &Session, fit: &JointFit, remarks: &mut Vec<Remark>) {
    /// A held value is contradicted from this many standard deviations on: so far that it never
    /// happens by chance, because a false alarm about given values is unwelcome. Common practice,
    /// no source.
    const CONTRADICTED: f64 = 5.0;
    let noise = fit.variance.sqrt();
    for term in (session.held_terms.iter()).filter(|t| **t != Term::ClockOffset) {
        let Some(said) = sensitivity(session, fit, &[*term]) else {
            continue;
        };
        let sigma = noise / said.information[(0, 0)].max(1e-300).sqrt();
        let off = said.pull[0] / said.information[(0, 0)].max(1e-300);
        if sigma.is_finite() && off.abs() > CONTRADICTED * sigma {
            remarks.push(Remark::HoldContradicted {
                term: *term,
                value: session.held.inside(*term),
                off,
                sigma,
            });
        }
    }
}

/// Names the terms that the data determine well only in combination, if any.
pub fn poorly_told(session: &Session, fit: &JointFit) -> Option<Remark> {
    let linearised = session.linearised(fit, &[]);
    let terms: Vec<usize> = (0..fit.count())
        .filter(|j| fit.columns[*j].constant_term().is_some())
        .collect();
    let information = linearised.information(&terms, &Weighted::Kept(&fit.kept))?;
    let scale: Vec<f64> = (0..terms.len())
        .map(|a| information[(a, a)].max(1e-300).sqrt())
        .collect();
    let unit = DMatrix::from_fn(terms.len(), terms.len(), |a, b| {
        information[(a, b)] / scale[a] / scale[b]
    });
    let eigen = unit.symmetric_eigen();
    let (place, least) = eigen.eigenvalues.argmin();
    let condition = (eigen.eigenvalues.max() / least.max(1e-300)).sqrt();
    if condition < POOR_CONDITION {
        return None;
    }
    let vector = eigen.eigenvectors.column(place);
    let moved: f64 = (vector.iter().zip(&scale))
        .map(|(v, s)| (v / s).powi(2))
        .sum::<f64>()
        .sqrt();
    let sigma = moved * (fit.variance / least.max(1e-300)).sqrt();
    if sigma < POOR_SIGMA * fit.scatter().radians() {
        return None;
    }
    let largest = vector.amax();
    let part: Vec<Term> = (terms.iter().zip(vector.iter()))
        .filter(|(_, share)| share.abs() > 0.3 * largest)
        .filter_map(|(j, _)| fit.columns[*j].constant_term())
        .collect();
    let last = *part.last()?;
    let others: Vec<Term> = last
        .group()
        .terms()
        .filter(|t| fit.place_of(*t).is_some())
        .collect();
    Some(Remark::ToldOnlyTogether {
        terms: part,
        condition,
        advice: what_would_tell(session, fit, &others),
    })
}

/// The standard deviations of all peaks, from the log if it gives them.
pub fn standard_deviations(
    observations: &[Observation],
    station: &Station,
    remarks: &mut Vec<Remark>,
) -> (Vec<[Angle; 2]>, Noise) {
    let logged: Vec<Option<[Angle; 2]>> =
        observations.iter().map(Observation::logged_sigma).collect();
    let given: Vec<[Angle; 2]> = logged.iter().flatten().copied().collect();
    if given.is_empty() {
        // Only their ratio matters; a hundredth of the beam keeps the numbers near one.
        let even = station.dish.beamwidth / 100.0;
        return (vec![[even; 2]; observations.len()], Noise::Scatter);
    }
    let median = |axis: usize| {
        let mut values: Vec<f64> = given
            .iter()
            .map(|s| s[axis].radians())
            .filter(|s| *s > 0.0)
            .collect();
        values.sort_by(f64::total_cmp);
        values
            .get(values.len() / 2)
            .copied()
            .map(Angle::from_radians)
    };
    let (across, up) = (median(0), median(1));
    let either = across.or(up).unwrap_or(station.dish.beamwidth / 100.0);
    let fill = [across.unwrap_or(either), up.unwrap_or(either)];
    let missing = observations.len() - given.len();
    let sigmas = logged
        .into_iter()
        .zip(observations)
        .map(|(s, observation)| {
            let s = s.unwrap_or(fill);
            let floor = (station.emitter(&observation.peak.emitter))
                .map_or(Angle::ZERO, |e| e.kind.place_sigma(station.dish.beamwidth));
            // An unmeasured axis has no sigma and no row; any value will do.
            [0, 1].map(|axis| {
                if s[axis] > Angle::ZERO {
                    s[axis].max(floor)
                } else {
                    fill[axis].max(floor)
                }
            })
        })
        .collect();
    if missing > 0 {
        remarks.push(Remark::SigmasMissing { peaks: missing });
        return (sigmas, Noise::Scatter);
    }
    (sigmas, Noise::Logged)
}
