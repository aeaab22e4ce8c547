//! The solve, from a log to its outcome.

use nalgebra::DMatrix;

use crate::angle::{Angle, Offset};
use crate::fit::Noise;
use crate::logbook::{PeakLog, TermState};
use crate::mount::{Group, MountModel, Term, TermValues};
use crate::problem::Error;
use crate::sky::Sky;
use crate::station::Station;

use super::gross;
use super::keep::{self, Kept};
use super::misfit::misfit;
use super::night::{Fitted, Night};
use super::observe::{Observation, Observations, observe};
use super::outcome::{Decision, NoiseSource, Outcome, PeakOutcome, TermEstimate};
use super::plausible::careful;
use super::select::{Choice, candidates};
use super::separate::{sensitivity, what_would_tell};
use super::start::{Start, start};
use super::words;

/// What to solve for, and how.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Exactly these terms; none means the basic ones and whatever the data ask for.
    pub terms: Option<Vec<Term>>,
    /// Terms held at an inside value.
    pub holds: Vec<(Term, f64)>,
    /// Seed of everything random.
    pub seed: u64,
    /// Use every peak: look for no bad ones.
    pub trust_all: bool,
}

/// A clock offset is found when a round changes it by less.
const CLOCK_SETTLED_S: f64 = 1e-3;
/// Most rounds of looking up the sky at a changed clock.
const MOST_CLOCK_ROUNDS: usize = 8;
/// Readings taken at their word mean nothing from this median error on.
const MEANINGLESS: Angle = Angle::from_degrees(30.0);
/// The scatter contradicts the logged sigmas below this probability.
const CONTRADICTION: f64 = 1e-3;

/// Solves for the mount errors of a log.
///
/// # Errors
/// [`Error::Unsupported`] when the peaks cannot tell anything useful, or when the azimuth axis
/// runs the wrong way round.
pub fn solve(
    station: &Station,
    sky: &Sky,
    log: &PeakLog,
    options: &Options,
) -> Result<Outcome, Error> {
    let mut held = TermValues::ZERO;
    for (term, value) in &options.holds {
        held.set_inside(*term, *value);
    }
    let mut clock = held.inside(Term::ClockOffset);
    for _ in 0..MOST_CLOCK_ROUNDS {
        let observations = observe(station, sky, log, clock);
        let solved = solve_observations(station, &observations, &held, options)?;
        let found = solved.fitted.terms.inside(Term::ClockOffset);
        if (found - clock).abs() < CLOCK_SETTLED_S {
            return Ok(outcome(station, Some(sky), &observations, solved));
        }
        clock = found;
    }
    Err(Error::Unsupported(
        "the clock offset runs away; hold it with --hold clock-offset=SECONDS".to_owned(),
    ))
}

/// Solves for the mount errors behind observations whose places are known already: the solve
/// without the sky. A clock offset is then taken along the straight line of each target's rate.
///
/// # Errors
/// As [`solve`].
pub fn solve_observed(
    station: &Station,
    found: &Observations,
    options: &Options,
) -> Result<Outcome, Error> {
    let mut held = TermValues::ZERO;
    for (term, value) in &options.holds {
        held.set_inside(*term, *value);
    }
    let solved = solve_observations(station, found, &held, options)?;
    Ok(outcome(station, None, found, solved))
}

/// A fit with everything that was decided on the way.
struct Solved {
    fitted: Fitted,
    choice: Choice,
    kept: Kept,
    start: Start,
    /// By fitted term, in its order: covariance of the inside values, with what the left-out
    /// terms may do; none without a scatter to go by.
    covariance: Option<DMatrix<f64>>,
    sigmas: Vec<[Angle; 2]>,
    noise: Noise,
    held: Vec<Term>,
    warnings: Vec<String>,
}

fn solve_observations(
    station: &Station,
    found: &Observations,
    held: &TermValues,
    options: &Options,
) -> Result<Solved, Error> {
    let observations = found.usable.as_slice();
    if observations.is_empty() {
        return Err(Error::Unsupported(match found.unusable.first() {
            Some(first) => format!(
                "none of the {} peaks can be used; the first (row {}): {}",
                found.unusable.len(),
                first.peak.row,
                first.why
            ),
            None => "the log has no peaks".to_owned(),
        }));
    }
    let mut warnings = Vec::new();
    let held_terms: Vec<Term> = options.holds.iter().map(|(t, _)| *t).collect();
    let (basic, offered) = wanted(options, &held_terms, &mut warnings);
    let (sigmas, noise) = standard_deviations(observations, station, &mut warnings);
    let night = Night {
        observations,
        sigmas,
        noise,
        beamwidth: station.dish.beamwidth,
        held: *held,
    };
    let start = start(observations, held, &basic);
    refuse_reversed_azimuth(observations, held, &basic, &start)?;
    let mut from = *held;
    from.set_inside(Term::AzimuthZero, start.azimuth_zero.radians());
    from.set_inside(Term::ElevationZero, start.elevation_zero.radians());

    let (choice, kept) = keep::choose_and_keep(
        &night,
        &basic,
        &offered,
        &from,
        (!options.trust_all).then_some(options.seed),
    )?;
    let fitted = choice.told.fitted.clone();
    if !fitted.solution.ending.converged() {
        warnings
            .push("the fit stopped before it had settled: take its numbers with care".to_owned());
    }
    let used = kept.flags.as_slice();
    let covariance = covariance(
        &night,
        &choice,
        used,
        options.terms.is_none(),
        &held_terms,
        &mut warnings,
    );
    if covariance.is_none() {
        return Err(Error::Unsupported(format!(
            "{} measured coordinates for {} terms leave nothing to judge the uncertainty by; log \
             more peaks, or their standard deviations (azimuth_sigma_deg, elevation_sigma_deg)",
            night.rows(used),
            fitted.free.len()
        )));
    }
    contradicted_sigmas(&night, &fitted, &mut warnings);
    warnings.extend(poorly_told(&night, &fitted, used));
    Ok(Solved {
        covariance,
        start,
        kept,
        sigmas: night.sigmas,
        noise,
        held: held_terms,
        warnings,
        fitted,
        choice,
    })
}

/// The terms always fitted, and the groups that the data may add.
fn wanted(options: &Options, held: &[Term], warnings: &mut Vec<String>) -> (Vec<Term>, Vec<Group>) {
    let free = |terms: &[Term]| -> Vec<Term> {
        Term::ALL
            .into_iter()
            .filter(|t| terms.contains(t) && !held.contains(t))
            .collect()
    };
    match &options.terms {
        None => {
            let mut taken = Term::BASIC.to_vec();
            taken.extend_from_slice(held);
            (free(&Term::BASIC), candidates(&taken))
        }
        Some(listed) => {
            let mut terms = listed.clone();
            for term in listed {
                for partner in term.group().terms() {
                    if !terms.contains(&partner) && !held.contains(&partner) {
                        warnings.push(format!(
                            "{} is fitted too: it stands or falls with {}",
                            partner.name(),
                            term.name()
                        ));
                        terms.push(partner);
                    }
                }
            }
            if terms.contains(&Term::Droop) && terms.contains(&Term::ElevationRunoutCos) {
                // The same function to first order: the user named the runout, so it is that.
                warnings.push(
                    "droop and elevation-runout-cos are the same to first order: droop is held \
                     at zero"
                        .to_owned(),
                );
                terms.retain(|t| *t != Term::Droop);
            }
            (free(&terms), Vec::new())
        }
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

/// Refuses to fit through an azimuth axis that counts the wrong way.
fn refuse_reversed_azimuth(
    observations: &[Observation],
    held: &TermValues,
    free: &[Term],
    as_logged: &Start,
) -> Result<(), Error> {
    // Fewer peaks, or a misfit as small as errors of a mount, prove nothing.
    const LEAST_PEAKS: usize = 4;
    const LEAST_MISFIT: Angle = Angle::from_degrees(5.0);
    const CLEARLY_BETTER: f64 = 4.0;
    if observations.len() < LEAST_PEAKS || as_logged.left < LEAST_MISFIT {
        return Ok(());
    }
    let mirrored: Vec<Observation> = observations
        .iter()
        .map(|o| {
            let mut o = o.clone();
            o.peak.azimuth = o.peak.azimuth.map(|a| -a);
            o
        })
        .collect();
    let reversed = start(&mirrored, held, free);
    if reversed.left * CLEARLY_BETTER < as_logged.left {
        return Err(Error::Unsupported(format!(
            "the azimuth runs the wrong way round: as logged the peaks miss their emitters by \
             {:.1} deg, with the sign of every azimuth reading changed by {:.2} deg.\n  help: swap \
             the azimuth encoder's (or motor's) direction so that readings grow clockwise seen \
             from above, or change the sign of azimuth_deg in the log and of azimuth_approach",
            as_logged.left.degrees(),
            reversed.left.degrees()
        )));
    }
    Ok(())
}

/// Covariance of the fitted terms: what the noise does, and what the left-out terms may do.
///
/// A term left out is not known to be zero. Those that the data could not tell apart may be as
/// large as a careful builder leaves them; droop and axis skew, which every mount has a little
/// of, as large as the data and that allow. Their possible effect on the fitted terms is added
/// (a *consider* covariance: Tapley, Schutz and Born, Statistical Orbit Determination, 2004,
/// chapter 6; from memory).
fn covariance(
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
    let mut covariance = fitted.solution.covariance();
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
    // Taken for zero, a term is off by what it is: its likely value counts with its spread.
    let likely = &spread * said.pull / variance;
    let may_be = spread + &likely * likely.transpose();
    let added = &said.moved * may_be * said.moved.transpose();
    let widened: Vec<&str> = (fitted.free.iter().enumerate())
        .filter(|(i, _)| added[(*i, *i)] > WIDENED * covariance[(*i, *i)])
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
    covariance += added;
    Some(covariance)
}

/// A left-out term is told of when its part of a variance is so many times the noise's.
const WIDENED: f64 = 3.0;

/// Says so when the scatter is not what the logged sigmas promise.
fn contradicted_sigmas(night: &Night, fitted: &Fitted, warnings: &mut Vec<String>) {
    let solution = &fitted.solution;
    let Some(scatter) = solution.scatter else {
        return;
    };
    if night.noise != Noise::Logged {
        return;
    }
    let exceeds =
        crate::fit::quantile::chi_square_exceeds(solution.chi_square, solution.degrees_of_freedom);
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

/// From this scaled condition number on the user hears which terms are told only together.
/// Peaks all over the sky give 10 to 20 with the basic terms, a narrow arc 100.
const POOR_CONDITION: f64 = 50.0;
/// ... and if the weakest combination is less certain than so many times a single peak.
const POOR_SIGMA: f64 = 4.0;

/// Says which terms the data tell well only together, if any.
fn poorly_told(night: &Night, fitted: &Fitted, kept: &[bool]) -> Option<String> {
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
fn widening(solved: &Solved) -> f64 {
    let solution = &solved.fitted.solution;
    match (solved.noise, solution.scatter) {
        (Noise::Logged, Some(scatter))
            if scatter > 1.0
                && crate::fit::quantile::chi_square_exceeds(
                    solution.chi_square,
                    solution.degrees_of_freedom,
                ) < CONTRADICTION =>
        {
            scatter
        }
        _ => 1.0,
    }
}

fn outcome(station: &Station, sky: Option<&Sky>, found: &Observations, solved: Solved) -> Outcome {
    let fitted = &solved.fitted;
    let model = fitted.model();
    let widening = widening(&solved);
    let noise_factor = match solved.noise {
        Noise::Logged => widening,
        Noise::Scatter => fitted.solution.noise_factor(),
    };
    let raw = MountModel::new(TermValues::ZERO);
    let distances: Vec<Angle> = found
        .usable
        .iter()
        .map(|o| measured(&misfit(&raw, o).offset, o).size())
        .collect();
    let (before_model, before_note) = if median(distances) > MEANINGLESS {
        let mut terms = TermValues::ZERO;
        terms.set_inside(Term::AzimuthZero, solved.start.azimuth_zero.radians());
        terms.set_inside(Term::ElevationZero, solved.start.elevation_zero.radians());
        let note = format!(
            "the raw readings mean nothing by themselves: the error before is taken after adding \
             {:.1} deg to the azimuth and {:.1} deg to the elevation readings",
            terms.shown(Term::AzimuthZero),
            terms.shown(Term::ElevationZero)
        );
        (MountModel::new(terms), Some(note))
    } else {
        (raw, None)
    };
    let mut peaks: Vec<PeakOutcome> = found
        .usable
        .iter()
        .enumerate()
        .map(|(i, o)| {
            let after = misfit(&model, o);
            let sigma = solved.sigmas[i].map(|s| s * noise_factor);
            let used = solved.kept.flags[i];
            PeakOutcome {
                row: o.peak.row,
                line: o.peak.line,
                time: o.peak.time,
                emitter: o.peak.emitter.clone(),
                target: o.direction(),
                reading: after.reading,
                before: misfit(&before_model, o).offset,
                residual: after.offset,
                azimuth_measured: o.peak.azimuth.is_some(),
                elevation_measured: o.peak.elevation.is_some(),
                cross_elevation_sigma: sigma[0],
                elevation_sigma: sigma[1],
                used,
                why: if used {
                    String::new()
                } else {
                    gross::in_words(station, sky, &model, o, sigma)
                },
            }
        })
        .collect();
    let used = |p: &&PeakOutcome| p.used;
    let rms = |of: &dyn Fn(&PeakOutcome) -> Offset| {
        let squares: Vec<f64> = peaks
            .iter()
            .filter(used)
            .map(|p| of(p).size().radians().powi(2))
            .collect();
        Angle::from_radians((squares.iter().sum::<f64>() / squares.len().max(1) as f64).sqrt())
    };
    let only_measured =
        |p: &PeakOutcome, o: Offset| masked(o, p.azimuth_measured, p.elevation_measured);
    let rms_before = rms(&|p| only_measured(p, p.before));
    let rms_after = rms(&|p| only_measured(p, p.residual));
    let covariance = solved
        .covariance
        .clone()
        .unwrap_or_else(|| fitted.solution.covariance())
        * (widening * widening);
    let rows: usize = found
        .usable
        .iter()
        .zip(&solved.kept.flags)
        .filter(|(_, k)| **k)
        .map(|(o, _)| o.coordinates())
        .sum();
    let mut warnings = found.notices.clone();
    warnings.extend(solved.warnings.iter().cloned());
    warnings.extend(solved.kept.warnings.iter().cloned());
    for unusable in &found.unusable {
        peaks.push(unusable_peak(unusable));
    }
    peaks.sort_by_key(|p| p.row);
    Outcome {
        terms: estimates(&solved, &covariance),
        correlations: correlations(&fitted.free, &covariance),
        peaks,
        rms_before,
        before_note,
        rms_after,
        degrees_of_freedom: rows.saturating_sub(fitted.free.len()),
        noise: match solved.noise {
            Noise::Logged => NoiseSource::Logged,
            Noise::Scatter => NoiseSource::Scatter,
        },
        decisions: decisions(&solved),
        not_separable: solved.choice.told.inseparable.clone(),
        warnings,
        model: wrapped(&model),
    }
}

/// The same model with the azimuth zero in (-180, 180] degrees.
fn wrapped(model: &MountModel) -> MountModel {
    let mut terms = *model.terms();
    let zero = terms.angle(Term::AzimuthZero).wrapped_signed();
    terms.set_inside(Term::AzimuthZero, zero.radians());
    MountModel::new(terms)
}

fn estimates(solved: &Solved, covariance: &DMatrix<f64>) -> Vec<TermEstimate> {
    let fitted = &solved.fitted;
    let model = wrapped(&fitted.model());
    Term::ALL
        .into_iter()
        .filter_map(|term| {
            let value = model.terms().inside(term);
            if let Some(i) = fitted.free.iter().position(|t| *t == term) {
                Some(TermEstimate {
                    term,
                    value,
                    sigma: Some(covariance[(i, i)].max(0.0).sqrt()),
                    state: TermState::Fitted,
                })
            } else if solved.held.contains(&term) {
                Some(TermEstimate {
                    term,
                    value,
                    sigma: None,
                    state: TermState::Held,
                })
            } else if solved.choice.told.left_out.contains(&term) {
                Some(TermEstimate {
                    term,
                    value,
                    sigma: None,
                    state: TermState::NotSeparable,
                })
            } else {
                None
            }
        })
        .collect()
}

fn correlations(free: &[Term], covariance: &DMatrix<f64>) -> Vec<(Term, Term, f64)> {
    let mut found = Vec::new();
    for i in 0..free.len() {
        for j in i + 1..free.len() {
            let product = covariance[(i, i)] * covariance[(j, j)];
            if product > 0.0 {
                let value = (covariance[(i, j)] / product.sqrt()).clamp(-1.0, 1.0);
                found.push((free[i], free[j], value));
            }
        }
    }
    found
}

fn decisions(solved: &Solved) -> Vec<Decision> {
    solved.choice.decisions.clone()
}

fn unusable_peak(unusable: &super::observe::Unusable) -> PeakOutcome {
    let peak = &unusable.peak;
    let reading = crate::angle::EncoderReading {
        azimuth: peak.azimuth.unwrap_or(Angle::ZERO),
        elevation: peak.elevation.unwrap_or(Angle::ZERO),
    };
    PeakOutcome {
        row: peak.row,
        line: peak.line,
        time: peak.time,
        emitter: peak.emitter.clone(),
        // Without a place for the emitter nothing is measured against it.
        target: crate::angle::Direction::new(reading.azimuth, reading.elevation),
        reading,
        before: Offset::default(),
        residual: Offset::default(),
        azimuth_measured: false,
        elevation_measured: false,
        cross_elevation_sigma: Angle::ZERO,
        elevation_sigma: Angle::ZERO,
        used: false,
        why: unusable.why.clone(),
    }
}

/// The offset with unmeasured parts zero.
fn measured(offset: &Offset, observation: &Observation) -> Offset {
    let peak = &observation.peak;
    masked(*offset, peak.azimuth.is_some(), peak.elevation.is_some())
}

fn masked(offset: Offset, azimuth: bool, elevation: bool) -> Offset {
    Offset {
        cross_elevation: if azimuth {
            offset.cross_elevation
        } else {
            Angle::ZERO
        },
        elevation: if elevation {
            offset.elevation
        } else {
            Angle::ZERO
        },
    }
}

fn median(mut angles: Vec<Angle>) -> Angle {
    angles.sort_by(|p, q| p.radians().total_cmp(&q.radians()));
    angles.get(angles.len() / 2).copied().unwrap_or(Angle::ZERO)
}
