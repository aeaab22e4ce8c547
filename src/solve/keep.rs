//! Which peaks to keep: bad ones are found, and kept out.
//!
//! Terms and peaks are chosen together, because each can pass for the other: play in a gear,
//! not modelled, makes half of the peaks look bad; a few bad peaks alike can pass for a term.
//! So there are several beginnings: the peaks that fit the basic terms alone, all peaks, and,
//! when many look bad, those that fit with every term that the data could tell (small by a
//! prior). Terms are then chosen on what each keeps, and the better explanation of *all* peaks wins: one in which a peak is
//! either good, with Gaussian noise, or bad, and then anywhere on the sky.

use std::collections::HashMap;

use rayon::prelude::*;

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
/// When more peaks than this share look bad, a missing term may be what is wrong, and the search
/// is made again with more terms in. A few wild peaks are no reason: the beginning with all
/// peaks would show a term that explains them.
const SUSPICIOUS_SHARE: f64 = 0.1;
/// With every term in, a search needs so many peaks for each term.
const PEAKS_A_TERM: f64 = 1.5;

/// Chooses terms and peaks together; without a `seed`, only terms, and keeps every peak.
///
/// # Errors
/// As [`choose`].
pub fn choose_and_keep(
    night: &Night,
    basic: &[Term],
    offered: &[Group],
    start: &TermValues,
    seed: Option<u64>,
) -> Result<(Choice, Kept), Error> {
    let Some(seed) = seed else {
        let flags = vec![true; night.observations.len()];
        let choice = choose(night, basic, offered, &flags, start)?;
        let warnings = Vec::new();
        return Ok((choice, Kept { flags, warnings }));
    };
    let mut searches = Searches {
        night,
        seed,
        found: HashMap::new(),
    };
    let everyone = vec![true; night.observations.len()];
    let plain = searches.kept(basic, start)?;
    let mut best: Option<(f64, Choice, Vec<bool>)> = None;
    let mut refusal = None;
    let mut consider = |first: Vec<bool>, searches: &mut Searches| -> Result<f64, Error> {
        let (choice, flags) = match settle(searches, basic, offered, start, first) {
            Ok(settled) => settled,
            // With all the bad peaks in, the noise may drown every term; another beginning
            // may still do.
            Err(Error::Unsupported(why)) => {
                refusal = Some(why);
                return Ok(1.0);
            }
            Err(other) => return Err(other),
        };
        let cost = cost(night, &choice, &flags);
        let lost = flags.iter().filter(|k| !**k).count() as f64 / flags.len().max(1) as f64;
        if best.as_ref().is_none_or(|(least, _, _)| cost < *least) {
            best = Some((cost, choice, flags));
        }
        Ok(lost)
    };
    let lost = consider(plain.clone(), &mut searches)?;
    if plain != everyone {
        consider(everyone, &mut searches)?;
        if lost > SUSPICIOUS_SHARE {
            for guess in with_more_terms(&searches, basic, offered, start, &plain)? {
                consider(guess, &mut searches)?;
            }
        }
    }
    let Some((_, choice, flags)) = best else {
        return Err(Error::Unsupported(
            refusal.unwrap_or_else(|| "there are no peaks to choose from".to_owned()),
        ));
    };
    let warnings = warnings(&flags);
    Ok((choice, Kept { flags, warnings }))
}

/// What searches keep that have more terms in: every term that could be told where there are
/// peaks enough, else each group by itself.
fn with_more_terms(
    searches: &Searches,
    basic: &[Term],
    offered: &[Group],
    start: &TermValues,
    plain: &[bool],
) -> Result<Vec<Vec<bool>>, Error> {
    let (night, seed) = (searches.night, searches.seed);
    let everyone = vec![true; night.observations.len()];
    let rough = night.fit(basic, plain, start)?;
    let groups: Vec<Group> = (offered.iter().copied())
        .filter(|g| can_be_tried(night, &rough, &everyone, *g))
        .collect();
    let terms = basic.len() + groups.iter().map(|g| g.terms().count()).sum::<usize>();
    let enough = night.observations.len() as f64 >= PEAKS_A_TERM * terms as f64;
    let sets: Vec<Vec<Term>> = if groups.is_empty() {
        Vec::new()
    } else if enough {
        vec![groups.iter().flat_map(|g| g.terms()).collect()]
    } else {
        groups.iter().map(|g| g.terms().collect()).collect()
    };
    let mut guesses: Vec<Vec<bool>> = sets
        .par_iter()
        .map(|extra| {
            let all: Vec<Term> = basic.iter().chain(extra).copied().collect();
            search(night, &all, extra, start, seed)
        })
        .collect::<Result<_, _>>()?;
    guesses.sort();
    guesses.dedup();
    guesses.retain(|g| g != plain && *g != everyone);
    Ok(guesses)
}

/// Searches made already, by the terms fitted: which peaks fit them does not depend on where the
/// search began.
struct Searches<'a> {
    night: &'a Night<'a>,
    seed: u64,
    found: HashMap<Vec<Term>, Vec<bool>>,
}

impl Searches<'_> {
    /// The peaks that a robust fit of `free` keeps.
    fn kept(&mut self, free: &[Term], start: &TermValues) -> Result<Vec<bool>, Error> {
        let mut key = free.to_vec();
        key.sort_unstable();
        if let Some(known) = self.found.get(&key) {
            return Ok(known.clone());
        }
        let kept = search(self.night, free, &[], start, self.seed)?;
        self.found.insert(key, kept.clone());
        Ok(kept)
    }
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
    searches: &mut Searches,
    basic: &[Term],
    offered: &[Group],
    start: &TermValues,
    first: Vec<bool>,
) -> Result<(Choice, Vec<bool>), Error> {
    let night = searches.night;
    let mut flags = first;
    let mut choice = choose(night, basic, offered, &flags, start)?;
    for _ in 0..MOST_ROUNDS {
        let fitted = &choice.told.fitted;
        let next = searches.kept(&fitted.free, &fitted.terms)?;
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
