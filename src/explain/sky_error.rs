//! The expected pointing error of the corrected mount over the sky that it reaches.
//!
//! With C the covariance of the terms, all correlations included, and J the change of the beam at a
//! direction by the terms, the mean square of the error there is the trace of J C J'. Terms left
//! out may still exist: as large as the data and their plausible size allow, with the probability
//! that such a term exists at all. What the fitted terms absorb of them is in C too. Causes that a
//! mount model cannot correct add their mean square.

use nalgebra::DMatrix;

use crate::angle::{Angle, Apparent, Direction, EncoderReading};
use crate::fit::quantile;
use crate::mount::{ApproachSigns, Group, MountModel, Term};
use crate::station::Station;

use super::even_sky::even_sky;
use super::joint_fit::JointFit;
use super::options::TermChoice;
use super::peak::SessionPeak;
use super::prior_size::{careful, prior};
use super::separability::{rows_from, sensitivity};
use super::session::Session;
use super::shape::{Lever, Shape};

/// The expected pointing error of the corrected mount.
#[derive(Clone, Debug)]
pub struct SkyError {
    /// RMS over the reachable sky, one standard deviation: the whole offset, both axes together.
    pub rms: Angle,
    /// Bound that the rms over the sky stays below in 95 % of cases.
    pub rms_95: Angle,
    /// The largest over the reachable sky, one standard deviation.
    pub largest: Angle,
    /// Where that is.
    pub at: Direction<Apparent>,
    /// Terms left out that were allowed for, with their plausible sizes (internal units) and the
    /// probability that each exists.
    pub allowed_for: Vec<AllowedFor>,
    /// Expected error by direction of the even sky.
    pub map: Vec<(Direction<Apparent>, Angle)>,
}

/// A term that was left out and may exist.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AllowedFor {
    /// The term.
    pub term: Term,
    /// One standard deviation before the data, in internal units.
    pub size: f64,
    /// Probability that it exists at all.
    pub probability: f64,
}

/// Share of mounts with a rare error that was searched for and not found; common practice, no
/// source.
const RARE: f64 = 0.1;
/// The level of the bound: 95 %, as for every interval that is printed.
const LEVEL: f64 = 0.95;

/// Rare errors that are allowed for even if they were not found.
const RARE_GROUPS: [Group; 4] = [
    Group::AzimuthRunout,
    Group::TrackWarp,
    Group::AzimuthScale,
    Group::ElevationScale,
];

/// The terms left out, with the possible size of each.
pub fn allowed_for(session: &Session, fit: &JointFit, not_told: &[Term]) -> Vec<AllowedFor> {
    let held = |t: Term| session.held_terms.contains(&t) && !session.left_out.contains(&t);
    let known = |t: Term| fit.place_of(t).is_some() || held(t);
    let mut found: Vec<AllowedFor> = (not_told.iter())
        .filter(|t| **t != Term::ClockOffset)
        .map(|t| AllowedFor {
            term: *t,
            size: prior(*t, session.beamwidth),
            probability: 1.0,
        })
        .collect();
    let usual = [
        Group::AxisSkew,
        Group::Droop,
        Group::AzimuthBacklash,
        Group::ElevationBacklash,
    ];
    // Terms that the user did not list count as rare: that is the meaning of a list.
    let usually = match session.choice {
        TermChoice::ByTheData => 1.0,
        TermChoice::Listed(_) => RARE,
    };
    for (groups, probability) in [(&usual[..], usually), (&RARE_GROUPS[..], RARE)] {
        for term in groups.iter().flat_map(|g| g.terms()) {
            if session.kind().has(term) && !known(term) && !not_told.contains(&term) {
                found.push(AllowedFor {
                    term,
                    size: careful(term, session.beamwidth).min(hidden_play(session, fit, term)),
                    probability,
                });
            }
        }
    }
    found
}

/// Possible backlash of an axis where the log records no side of arrival, in internal units: it has
/// moved the peaks from side to side as it will move the beam, so half of it is no more than their
/// scatter, as long as the axis goes on arriving as before. No bound for other terms, or where the
/// log records sides: an axis that always arrived from one side hides any backlash.
fn hidden_play(session: &Session, fit: &JointFit, term: Term) -> f64 {
    let axis = match term {
        Term::AzimuthBacklash => 0,
        Term::ElevationBacklash => 1,
        _ => return f64::INFINITY,
    };
    let told = session.peaks.iter().any(|p| {
        let sides = p.sighting.approach;
        [sides.azimuth, sides.elevation][axis] != 0.0
    });
    if told || fit.sigmas.is_empty() {
        return f64::INFINITY;
    }
    let squares: f64 = fit.sigmas.iter().map(|s| s[axis].radians().powi(2)).sum();
    2.0 * (squares / fit.sigmas.len() as f64 * fit.variance).sqrt()
}

/// The covariance of the model's terms (those fitted, then those allowed for) at the end of the
/// log. `noise` is the covariance of the fit's parameters.
pub struct TermCovariance {
    /// Fitted terms, then those allowed for.
    pub terms: Vec<Term>,
    /// How many of them are fitted.
    pub fitted: usize,
    /// In internal units squared.
    pub covariance: DMatrix<f64>,
    /// For the fitted terms alone: the noise, and terms left out that every mount has or that the
    /// data do not determine; rare ones count as absent.
    pub of_fitted: DMatrix<f64>,
}

/// For a fit whose parameters have the covariance `parameters`.
pub fn term_covariance(
    session: &Session,
    fit: &JointFit,
    parameters: &DMatrix<f64>,
    allowed: &[AllowedFor],
) -> Option<TermCovariance> {
    let hours = (session.peaks.iter().map(|p| p.hours)).fold(0.0, f64::max);
    let mut terms: Vec<Term> = (fit.columns.iter())
        .filter_map(|c| match (&c.lever, c.shape.at_the_end(hours)) {
            (Lever::Term(t), Some(_)) => Some(*t),
            _ => None,
        })
        .collect();
    terms.sort();
    terms.dedup();
    let (k, p, q) = (terms.len(), fit.count(), allowed.len());
    // From parameters to terms at the end.
    let mut lead = DMatrix::zeros(k, p);
    for (j, column) in fit.columns.iter().enumerate() {
        if let (Lever::Term(term), Some(pull)) = (&column.lever, column.shape.at_the_end(hours))
            && let Some(i) = terms.iter().position(|t| t == term)
        {
            lead[(i, j)] += pull;
        }
    }
    let from_noise = &lead * parameters * lead.transpose();
    let mut of_fitted = from_noise.clone();
    let mut covariance = DMatrix::zeros(k + q, k + q);
    covariance.view_mut((0, 0), (k, k)).copy_from(&from_noise);
    if q > 0 {
        let out: Vec<Term> = allowed.iter().map(|a| a.term).collect();
        let said = sensitivity(session, fit, &out)?;
        let variance = fit.variance.max(1e-300);
        let mut known = &said.information / variance;
        for (i, a) in allowed.iter().enumerate() {
            known[(i, i)] += a.size.powi(-2);
        }
        let spread = known.try_inverse()?;
        // Includes their likely values as well as their uncertainty: neither is corrected.
        let likely = &spread * &said.pull / variance;
        let mut second = &spread + &likely * likely.transpose();
        for (i, a) in allowed.iter().enumerate() {
            for (j, b) in allowed.iter().enumerate() {
                second[(i, j)] *= if i == j {
                    a.probability
                } else {
                    a.probability * b.probability
                };
            }
        }
        // When left out, a term shifts the others by minus the effect of including it.
        let shift = -(&lead * &said.moved);
        let own = &shift * &second * shift.transpose();
        // The error of a left-out term is minus its value.
        let cross = -(&shift * &second);
        let usual = DMatrix::from_fn(q, q, |i, j| {
            let common = allowed[i].probability.min(allowed[j].probability) >= 1.0;
            if common { spread[(i, j)] } else { 0.0 }
        });
        of_fitted += &shift * usual * shift.transpose();
        for i in 0..k {
            for j in 0..k {
                covariance[(i, j)] += own[(i, j)];
            }
            for j in 0..q {
                covariance[(i, k + j)] = cross[(i, j)];
                covariance[(k + j, i)] = cross[(i, j)];
            }
        }
        covariance.view_mut((k, k), (q, q)).copy_from(&second);
    }
    terms.extend(allowed.iter().map(|a| a.term));
    Some(TermCovariance {
        terms,
        fitted: k,
        covariance,
        of_fitted,
    })
}

/// The expected error over the sky; `None` where the mount reaches nothing.
pub fn sky_error(
    station: &Station,
    session: &Session,
    fit: &JointFit,
    model: &MountModel,
    of: &TermCovariance,
    (freedom, allowed): (f64, &[AllowedFor]),
) -> Option<SkyError> {
    let directions = even_sky(&station.mount, Some(&station.horizon));
    let sides = [1.0, -1.0].map(|sign| ApproachSigns {
        azimuth: sign,
        elevation: sign,
    });
    let n = of.terms.len();
    let mut weights = DMatrix::zeros(n, n);
    let mut map = Vec::new();
    let mut uncorrected = 0.0;
    for direction in directions {
        let both: Vec<DMatrix<f64>> = (sides.iter())
            .filter_map(|side| rows_from(model, &of.terms, &direction, *side))
            .collect();
        if both.len() < sides.len() {
            continue;
        }
        let here = (both.iter()).fold(DMatrix::zeros(n, n), |sum, rows| {
            sum + rows.transpose() * rows * 0.5
        });
        let extra = left_uncorrected(session, fit, model, &direction);
        let square = (&here * &of.covariance).trace().max(0.0) + extra;
        map.push((direction, Angle::from_radians(square.sqrt())));
        weights += here;
        uncorrected += extra;
    }
    let count = map.len() as f64;
    (count > 0.0).then_some(())?;
    weights /= count;
    uncorrected /= count;
    // The error over the sky is a sum of squares: of the eigenvalues of W C, each times a
    // chi-square. Its bound by matching the mean and the variance (Satterthwaite, An approximate
    // distribution of estimates of variance components, 1946), times F where the noise itself
    // is known from the scatter only.
    let product = &weights * &of.covariance;
    let mean = product.trace().max(0.0);
    let squares = (&product * &product).trace().max(1e-300);
    let degrees = (mean * mean / squares).max(1e-3);
    let factor = if session.trusts_logged() {
        quantile::chi_square_tail(1.0 - LEVEL, degrees) / degrees
    } else {
        quantile::f_tail(1.0 - LEVEL, degrees, freedom.max(1.0))
    };
    let (at, largest) = map
        .iter()
        .copied()
        .max_by(|a, b| a.1.radians().total_cmp(&b.1.radians()))?;
    Some(SkyError {
        rms: Angle::from_radians((mean + uncorrected).sqrt()),
        rms_95: Angle::from_radians((mean * factor + uncorrected).sqrt()),
        largest,
        at,
        allowed_for: allowed.to_vec(),
        map,
    })
}

/// Mean square effect at a direction of causes that a mount model cannot correct.
fn left_uncorrected(
    session: &Session,
    fit: &JointFit,
    model: &MountModel,
    direction: &Direction<Apparent>,
) -> f64 {
    let Ok(both) = model.readings(direction, ApproachSigns::UNKNOWN) else {
        return 0.0;
    };
    let reading = both.direct;
    let Some(last) = session.peaks.last() else {
        return 0.0;
    };
    let there = imagine(last, direction, &reading);
    (fit.columns.iter().zip(&fit.parameters))
        .filter(|(column, _)| column.shape.at_the_end(0.0).is_none())
        .filter_map(|(column, value)| {
            let Lever::Term(term) = &column.lever else {
                return None;
            };
            let rows = rows_from(model, &[*term], direction, ApproachSigns::UNKNOWN)?;
            let pull = match column.shape {
                // The future temperature or hour is unknown.
                Shape::WarmerThan(_) | Shape::CosDay | Shape::SinDay => {
                    let squares: f64 = (session.peaks.iter())
                        .map(|p| column.shape.at(p, &reading).powi(2))
                        .sum();
                    (squares / session.peaks.len().max(1) as f64).sqrt()
                }
                shape => shape.at(&there, &reading),
            };
            Some((rows * *value * pull).norm_squared())
        })
        .sum()
}

fn imagine(
    last: &SessionPeak,
    direction: &Direction<Apparent>,
    reading: &EncoderReading,
) -> SessionPeak {
    let mut peak = last.clone();
    peak.sighting.target = direction.east_north_up();
    peak.sighting.azimuth = Some(reading.azimuth);
    peak.sighting.elevation = Some(reading.elevation);
    peak
}
