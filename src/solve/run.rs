//! The solve, from a log to its outcome.

use nalgebra::DMatrix;

use crate::angle::Angle;
use crate::fit::Noise;
use crate::logbook::PeakLog;
use crate::mount::{Group, Term, TermValues};
use crate::problem::Error;
use crate::sky::Sky;
use crate::station::Station;

use super::assemble::outcome;
use super::keep::{self, Kept};
use super::night::{Fitted, Night};
use super::observe::{Observation, Observations, observe};
use super::outcome::Outcome;
use super::select::{Choice, candidates};
use super::start::{Start, start};
use super::uncertainty::{
    contradicted_holds, contradicted_sigmas, covariance, poorly_told, standard_deviations,
};

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
pub(super) struct Solved {
    pub(super) fitted: Fitted,
    pub(super) choice: Choice,
    pub(super) kept: Kept,
    pub(super) start: Start,
    /// By fitted term, in its order: covariance of the inside values, with what the left-out
    /// terms may do; none without a scatter to go by.
    pub(super) covariance: Option<DMatrix<f64>>,
    pub(super) sigmas: Vec<[Angle; 2]>,
    pub(super) noise: Noise,
    pub(super) held: Vec<Term>,
    pub(super) warnings: Vec<String>,
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
    contradicted_holds(&night, &fitted, used, &held_terms, &mut warnings);
    warnings.extend(inverted(&fitted.terms));
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

/// Says so when the elevation zero is so large that the readings must mean something else.
fn inverted(terms: &TermValues) -> Option<String> {
    const ABSURD: Angle = Angle::from_degrees(45.0);
    let zero = terms.angle(Term::ElevationZero);
    (zero.abs() > ABSURD).then(|| {
        format!(
            "the elevation zero is {:.1} deg: either the encoder's zero is really that far off, or \
             elevations are logged from the zenith (90 - elevation), or the dish is carried over the \
             top: look at one emitter and see which",
            zero.degrees()
        )
    })
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
