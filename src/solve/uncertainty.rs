//! How uncertain the terms are: the noise of the peaks, and what left-out terms may do.

use nalgebra::{DMatrix, DVector};

use super::night::{Fitted, Night};
use super::observe::Observation;
use super::plausible::careful;
use super::run::Solved;
use super::select::Choice;
use super::separate::{sensitivity, what_would_tell};
use super::words;
use crate::angle::Angle;
use crate::fit::{Noise, quantile};
use crate::mount::Term;
use crate::station::Station;

/// The scatter contradicts the logged sigmas below this probability.
const CONTRADICTION: f64 = 1e-3;

/// What the widened sigmas are made to hold.
const LEVEL: f64 = 0.95;

/// A left-out term is told of when its part of a variance is so many times the noise's.
const WIDENED: f64 = 3.0;

/// From this scaled condition number on the user hears which terms are told only together.
/// Peaks all over the sky give 10 to 20 with the basic terms, a narrow arc 100.
const POOR_CONDITION: f64 = 50.0;

/// ... and if the weakest combination is less certain than so many times a single peak.
const POOR_SIGMA: f64 = 4.0;

/// Covariance of the fitted terms: what the noise does, and what the left-out terms may do.
///
/// A term left out is not known to be zero. Those that the data could not tell apart may be as
/// large as a careful builder leaves them; droop and axis skew, which every mount has a little
/// of, as large as the data and that allow. Their possible effect on the fitted terms is added
/// (a *consider* covariance: Tapley, Schutz and Born, Statistical Orbit Determination, 2004,
/// chapter 6; from memory), its likely part as a shift whose interval is widened no more than
/// the probability asks (as in Armstrong and Kolesar, Simple and honest confidence intervals
/// in nonparametric regression, 2020, section 2; from memory).
pub(super) fn covariance(
    night: &Night,
    choice: &Choice,
    kept: &[bool],
    chosen_by_data: bool,
    held: &[Term],
    warnings: &mut Vec<String>,
) -> Option<DMatrix<f64>> {
    let fitted = &choice.told.fitted;
    let noise = fitted.solution.noise_factor();
    if !noise.is_finite() {
        return None;
    }
    let covariance = fitted.solution.covariance();
    let mut considered = choice.told.left_out.clone();
    if chosen_by_data {
        for term in [Term::AxisSkew, Term::Droop] {
            let known = fitted.free.contains(&term) || held.contains(&term);
            if !known && !considered.contains(&term) {
                considered.push(term);
            }
        }
    }
    considered.retain(|t| *t != Term::ClockOffset);
    if considered.is_empty() {
        return Some(covariance);
    }
    let said = sensitivity(night, fitted, kept, &considered)?;
    let variance = (noise * noise).max(1e-300);
    let mut known = said.information / variance;
    for (k, term) in considered.iter().enumerate() {
        known[(k, k)] += careful(*term, night.beamwidth).powi(-2);
    }
    let spread = known.try_inverse()?;
    // Taken for zero, a term is off by what it likely is, and spreads about that: a bell with its
    // middle off zero. The sigma is the one whose usual 95 % interval holds as much of it.
    let likely = &said.moved * (&spread * said.pull / variance);
    let whole = &covariance + &said.moved * spread * said.moved.transpose();
    let usual = quantile::normal_two_sided(LEVEL);
    let sigmas = DVector::from_fn(likely.len(), |i, _| {
        let sigma = whole[(i, i)].max(0.0).sqrt();
        sigma * quantile::shifted_two_sided(LEVEL, likely[i] / sigma.max(f64::MIN_POSITIVE)) / usual
    });
    let widened: Vec<&str> = (fitted.free.iter().enumerate())
        .filter(|(i, _)| sigmas[*i].powi(2) - covariance[(*i, *i)] > WIDENED * covariance[(*i, *i)])
        .map(|(_, term)| term.name())
        .collect();
    if !widened.is_empty() {
        let names: Vec<&str> = considered.iter().map(|t| t.name()).collect();
        warnings.push(format!(
            "the uncertainty of {} is mostly what {}, left out, may do; pointing within the \
             sky of these peaks is better known than that. To tell: {}",
            words::list(&widened),
            words::list(&names),
            what_would_tell(night, fitted, kept, &considered)
        ));
    }
    let correlated = &whole + &likely * likely.transpose();
    let scale = DVector::from_fn(likely.len(), |i, _| {
        sigmas[i] / correlated[(i, i)].sqrt().max(f64::MIN_POSITIVE)
    });
    let widen = DMatrix::from_diagonal(&scale);
    Some(&widen * correlated * &widen)
}

/// Says so when the scatter is not what the logged sigmas promise.
pub(super) fn contradicted_sigmas(night: &Night, fitted: &Fitted, warnings: &mut Vec<String>) {
    let solution = &fitted.solution;
    let Some(scatter) = solution.scatter else {
        return;
    };
    if night.noise != Noise::Logged {
        return;
    }
    let exceeds = quantile::chi_square_exceeds(solution.chi_square, solution.degrees_of_freedom);
    if exceeds < CONTRADICTION {
        warnings.push(format!(
            "the peaks scatter {scatter:.1} times as much as their logged standard deviations say \
             (by chance with probability {}): the uncertainties below are widened by as much",
            words::probability(exceeds)
        ));
    } else if exceeds > 1.0 - CONTRADICTION {
        warnings.push(format!(
            "the peaks scatter only {scatter:.2} times as much as their logged standard \
             deviations say: those are too cautious, and so are the uncertainties below"
        ));
    }
}

/// Says so when the peaks ask for another value of a term that the user holds.
pub(super) fn contradicted_holds(
    night: &Night,
    fitted: &Fitted,
    kept: &[bool],
    held: &[Term],
    warnings: &mut Vec<String>,
) {
    /// From so many standard deviations on.
    const CONTRADICTED: f64 = 5.0;
    let noise = fitted.solution.noise_factor();
    for term in held.iter().filter(|t| **t != Term::ClockOffset) {
        let Some(said) = sensitivity(night, fitted, kept, &[*term]) else {
            continue;
        };
        let sigma = noise / said.information[(0, 0)].sqrt();
        let off = said.pull[0] / said.information[(0, 0)];
        if sigma.is_finite() && off.abs() > CONTRADICTED * sigma {
            let unit = term.unit();
            warnings.push(format!(
                "{} is held at {} {}, but the peaks ask for {} {} more, {:.0} of its standard \
                 deviations: the other terms bend to make up for it",
                term.name(),
                words::two_digits(unit.outward(fitted.terms.inside(*term))),
                unit.symbol(),
                words::two_digits(unit.outward(off)),
                unit.symbol(),
                off.abs() / sigma,
            ));
        }
    }
}

/// Says which terms the data tell well only together, if any.
pub(super) fn poorly_told(night: &Night, fitted: &Fitted, kept: &[bool]) -> Option<String> {
    if fitted.solution.condition < POOR_CONDITION {
        return None;
    }
    let weakest = fitted.solution.spectrum.directions().pop()?;
    let moved: f64 = weakest.change.iter().map(|c| c * c).sum::<f64>().sqrt();
    let noise = night.typical_noise(fitted);
    if moved * fitted.solution.noise_factor() / weakest.strength < POOR_SIGMA * noise.radians() {
        return None;
    }
    let part: Vec<Term> = fitted
        .free
        .iter()
        .zip(&weakest.shares)
        .filter(|(_, share)| share.abs() > 0.3)
        .map(|(term, _)| *term)
        .collect();
    let last = *part.last()?;
    let others: Vec<Term> = last.group().terms().collect();
    let mut rest = fitted.clone();
    rest.free.retain(|t| !others.contains(t));
    let names: Vec<&str> = part.iter().map(|t| t.name()).collect();
    Some(format!(
        "{} are told well only together, each by itself poorly (condition number {:.0}): {}",
        words::list(&names),
        fitted.solution.condition,
        what_would_tell(night, &rest, kept, &others)
    ))
}

/// By how much logged sigmas are widened when the scatter contradicts them.
pub(super) fn widening(solved: &Solved) -> f64 {
    let solution = &solved.fitted.solution;
    match (solved.noise, solution.scatter) {
        (Noise::Logged, Some(scatter))
            if scatter > 1.0
                && quantile::chi_square_exceeds(
                    solution.chi_square,
                    solution.degrees_of_freedom,
                ) < CONTRADICTION =>
        {
            scatter
        }
        _ => 1.0,
    }
}

/// The standard deviations of all peaks, from the log if it gives them.
pub(crate) fn standard_deviations(
    observations: &[Observation],
    station: &Station,
    warnings: &mut Vec<String>,
) -> (Vec<[Angle; 2]>, Noise) {
    let logged: Vec<Option<[Angle; 2]>> =
        observations.iter().map(Observation::logged_sigma).collect();
    let given: Vec<[Angle; 2]> = logged.iter().flatten().copied().collect();
    if given.is_empty() {
        // Only their ratio matters; a hundredth of the beam keeps numbers near one.
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
        .map(|s| {
            let s = s.unwrap_or(fill);
            // An unmeasured axis has no sigma and no row; any value serves.
            [0, 1].map(|axis| {
                if s[axis] > Angle::ZERO {
                    s[axis]
                } else {
                    fill[axis]
                }
            })
        })
        .collect();
    if missing > 0 {
        warnings.push(format!(
            "{missing} peaks have no standard deviation in the log: the median of the others is \
             taken for them, and the size of the noise from the scatter"
        ));
        return (sigmas, Noise::Scatter);
    }
    (sigmas, Noise::Logged)
}
