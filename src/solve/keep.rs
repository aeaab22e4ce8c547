//! Which peaks to keep: bad ones are found, and kept out.
//!
//! Terms and peaks are chosen together, because each can pass for the other: play in a gear,
//! not modelled, makes half of the peaks look bad; a few bad peaks alike can pass for a term.
//! So the search for bad peaks is made twice, once with the basic terms alone and once with
//! every term that the data could tell (small by a prior); terms are then chosen on what each
//! search keeps, and the better explanation of *all* peaks wins: one in which a peak is
//! either good, with Gaussian noise, or bad, and then anywhere on the sky.

use crate::fit::robust::{BAD_SHARE, LEAST_OBSERVATIONS, robust_fit};
use crate::fit::{Hold, Noise, Options, Prior};
use crate::mount::{Group, Term, TermValues};
use crate::problem::Error;

use super::night::Night;
use super::plausible::{careful, glaring};
use super::select::{Choice, can_be_tried, choose};

/// Which peaks the fit uses.
#[derive(Clone, Debug)]
pub struct Kept {
    /// For each usable peak, whether it is used.
    pub flags: Vec<bool>,
    /// What the user should know about the bad ones.
    pub warnings: Vec<String>,
}

/// Rounds of choosing terms and peaks in turn.
const MOST_ROUNDS: usize = 5;
/// A share of bad peaks as the explanation of a session expects it.
const EXPECTED_BAD: f64 = 0.05;
/// With every term in, a search needs so many peaks for each term.
const PEAKS_A_TERM: f64 = 1.5;

/// Chooses terms and peaks together.
///
/// # Errors
/// As [`choose`].
pub fn choose_and_keep(
    night: &Night,
    basic: &[Term],
    offered: &[Group],
    start: &TermValues,
    seed: u64,
) -> Result<(Choice, Kept), Error> {
    let mut firsts = vec![search(night, basic, &[], start, seed)?];
    let mut all = basic.to_vec();
    let everyone = vec![true; night.observations.len()];
    let rough = night.fit(basic, &firsts[0], start)?;
    for group in offered {
        if can_be_tried(night, &rough, &everyone, *group) {
            all.extend(group.terms());
        }
    }
    let enough = night.observations.len() as f64 >= PEAKS_A_TERM * all.len() as f64;
    if all.len() > basic.len() && enough {
        let extra = &all[basic.len()..];
        let second = search(night, &all, extra, start, seed)?;
        if !firsts.contains(&second) {
            firsts.push(second);
        }
    }
    let mut best: Option<(f64, Choice, Vec<bool>)> = None;
    for first in firsts {
        let (choice, flags) = settle(night, basic, offered, start, first, seed)?;
        let cost = cost(night, &choice, &flags);
        if best.as_ref().is_none_or(|(least, _, _)| cost < *least) {
            best = Some((cost, choice, flags));
        }
    }
    let Some((_, choice, flags)) = best else {
        return Err(Error::Unsupported(
            "there are no peaks to choose from".to_owned(),
        ));
    };
    let warnings = warnings(&flags);
    Ok((choice, Kept { flags, warnings }))
}

/// The peaks that a robust fit of `free` keeps; `extra` terms are kept small by a prior.
fn search(
    night: &Night,
    free: &[Term],
    extra: &[Term],
    start: &TermValues,
    seed: u64,
) -> Result<Vec<bool>, Error> {
    let problem = night.problem(free);
    let priors = (free.iter().enumerate())
        .filter(|(_, t)| extra.contains(t))
        .map(|(i, t)| Prior::on(i, start.inside(*t), careful(*t, night.beamwidth)))
        .collect();
    let options = Options {
        priors,
        noise: night.noise,
        hold: Hold::VaguerThan(free.iter().map(|t| glaring(*t)).collect()),
        ..Options::default()
    };
    let found = robust_fit(&problem, &problem.parameters_of(start), &options, seed)
        .map_err(|e| Error::Unsupported(format!("the fit could not be made: {e}")))?;
    Ok(found.weights.iter().map(|w| *w > 0.0).collect())
}

/// Terms for the peaks, peaks for the terms, until neither changes.
fn settle(
    night: &Night,
    basic: &[Term],
    offered: &[Group],
    start: &TermValues,
    first: Vec<bool>,
    seed: u64,
) -> Result<(Choice, Vec<bool>), Error> {
    let mut flags = first;
    let mut choice = choose(night, basic, offered, &flags, start)?;
    for _ in 0..MOST_ROUNDS {
        let fitted = &choice.told.fitted;
        let next = search(night, &fitted.free, &[], &fitted.terms, seed)?;
        if next == flags {
            break;
        }
        flags = next;
        choice = choose(night, basic, offered, &flags, start)?;
    }
    Ok((choice, flags))
}

/// Minus twice the log likelihood of all peaks, each good or bad, plus the price of the terms
/// (Schwarz's criterion).
fn cost(night: &Night, choice: &Choice, flags: &[bool]) -> f64 {
    let fitted = &choice.told.fitted;
    let solution = &fitted.solution;
    let rows = night.rows(flags).max(1) as f64;
    let noise = match night.noise {
        Noise::Logged => solution.scatter.unwrap_or(1.0).max(1.0),
        Noise::Scatter => solution.scatter.unwrap_or(1.0),
    }
    .max(1e-9);
    let mut cost = solution.chi_square / (noise * noise) + fitted.free.len() as f64 * rows.ln();
    let sky = (4.0 * std::f64::consts::PI).ln();
    for (i, observation) in night.observations.iter().enumerate() {
        let coordinates = observation.coordinates() as f64;
        if flags[i] {
            let spread: f64 = (night.sigmas[i].iter())
                .map(|s| (s.radians() * noise).ln())
                .sum::<f64>()
                * coordinates
                / 2.0;
            cost += 2.0 * spread + coordinates * std::f64::consts::TAU.ln()
                - 2.0 * (1.0 - EXPECTED_BAD).ln();
        } else {
            cost += coordinates * sky - 2.0 * EXPECTED_BAD.ln();
        }
    }
    cost
}

fn warnings(flags: &[bool]) -> Vec<String> {
    let (all, bad) = (flags.len(), flags.iter().filter(|k| !**k).count());
    let mut said = Vec::new();
    if all < LEAST_OBSERVATIONS {
        said.push(format!(
            "only {all} peaks: bad ones among them cannot be told reliably; log at least \
             {LEAST_OBSERVATIONS}"
        ));
    }
    if bad as f64 > BAD_SHARE * all as f64 {
        said.push(format!(
            "{bad} of {all} peaks do not fit the rest: with so many it is not certain which are \
             the bad ones"
        ));
    }
    said
}
