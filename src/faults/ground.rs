//! What a diagnosis stands on: the peaks, their noise, and what is known of the mount.

use crate::angle::Angle;
use crate::fit::robust::robust_fit;
use crate::fit::{Noise, Options, fit, quantile};
use crate::mount::{Term, TermValues};
use crate::problem::Error;
use crate::solve::observe::Observation;
use crate::solve::plausible::{careful, glaring};
use crate::solve::start::start;

use super::case::Case;
use super::cause::Cause;
use super::explain::Explanation;
use super::look::Look;
use super::shape::Column;
use super::sound::falls_apart;

/// The terms of a healthy mount: any mount has a little of each.
pub const HEALTHY: [Term; 7] = [
    Term::AzimuthZero,
    Term::ElevationZero,
    Term::TiltNorth,
    Term::TiltEast,
    Term::Collimation,
    Term::AxisSkew,
    Term::Droop,
];

/// The peaks of a session with what does not change while they are diagnosed.
#[derive(Clone, Debug)]
pub struct Ground {
    /// The usable peaks.
    pub cases: Vec<Case>,
    /// One standard deviation of each in cross-elevation and elevation; relative when `noise`
    /// comes from the scatter.
    pub sigmas: Vec<[Angle; 2]>,
    /// Where the size of the noise comes from.
    pub noise: Noise,
    /// Half-power width of the beam.
    pub beamwidth: Angle,
    /// Values of terms that the user holds.
    pub held: TermValues,
    /// The healthy terms that are not held.
    pub free: Vec<Term>,
    /// What each plausibly is, one standard deviation, inside.
    pub spreads: Vec<f64>,
    /// What each may be in a mount that was built with less care: a cause must convince although
    /// the mount's own terms may take up as much as this.
    pub loose: Vec<f64>,
    /// Seconds that are already in the cases' targets beside the logged times and held offset.
    pub clock_s: f64,
    /// Seed of everything random.
    pub seed: u64,
}

/// An explanation with its fit.
#[derive(Clone, Debug)]
pub struct State {
    /// The causes in it, in the order found.
    pub causes: Vec<Cause>,
    /// Their columns.
    pub columns: Vec<Column>,
    /// The fitted parameters: healthy terms, then the columns' coefficients.
    pub parameters: Vec<f64>,
    /// By peak, whether it is explained.
    pub kept: Vec<bool>,
    /// Variance of the noise in units of the sigmas below.
    pub variance: f64,
    /// The sigmas used: the ground's, with the two axes weighed by their own scatter.
    pub sigmas: Vec<[Angle; 2]>,
    /// -2 ln likelihood, up to a constant of the peaks.
    pub cost: f64,
}

impl State {
    /// The columns of cause number `index`, as numbers of parameters.
    pub fn parameters_of(&self, index: usize) -> std::ops::Range<usize> {
        let before: usize = self.causes[..index].iter().map(|c| c.columns().len()).sum();
        let healthy = self.parameters.len() - self.columns.len();
        let first = healthy + before;
        first..first + self.causes[index].columns().len()
    }
    /// How many parameters there are.
    pub fn count(&self) -> usize {
        self.parameters.len()
    }
}

/// Rounds in which the good peaks of a refit must settle.
const MOST_ROUNDS: usize = 6;
/// The two axes get noises of their own when equal ones would differ so by chance only with
/// this probability.
const UNEQUAL: f64 = 1e-3;
/// And when each has so many rows.
const LEAST_ROWS: usize = 8;

impl Ground {
    /// What is known of the healthy terms beforehand.
    pub fn new(
        cases: Vec<Case>,
        (sigmas, noise): (Vec<[Angle; 2]>, Noise),
        beamwidth: Angle,
        held: TermValues,
        held_terms: &[Term],
        seed: u64,
    ) -> Ground {
        /// A zero may be anything.
        const ANY: f64 = 10.0;
        let free: Vec<Term> = (HEALTHY.into_iter())
            .filter(|t| !held_terms.contains(t))
            .collect();
        let spreads = free.iter().map(|term| match term {
            Term::AzimuthZero | Term::ElevationZero => ANY,
            Term::AxisSkew | Term::Droop => careful(*term, beamwidth),
            other => glaring(*other),
        });
        let loose = free.iter().map(|term| match term {
            Term::AzimuthZero | Term::ElevationZero => ANY,
            other => glaring(*other),
        });
        Ground {
            spreads: spreads.collect(),
            loose: loose.collect(),
            cases,
            sigmas,
            noise,
            beamwidth,
            held,
            free,
            clock_s: 0.0,
            seed,
        }
    }

    /// The explanation by some columns.
    pub fn explanation<'a>(
        &'a self,
        columns: &'a [Column],
        sigmas: &'a [[Angle; 2]],
    ) -> Explanation<'a> {
        Explanation {
            cases: &self.cases,
            sigmas,
            free: &self.free,
            spreads: &self.spreads,
            held: self.held,
            columns,
            clock_s: self.clock_s,
        }
    }

    /// Whether logged standard deviations count.
    pub fn trust_logged(&self) -> bool {
        self.noise == Noise::Logged
    }

    /// The observations of the cases.
    pub fn observations(&self) -> Vec<Observation> {
        self.cases.iter().map(|c| c.observation.clone()).collect()
    }

    /// Where the mount without faults is looked for: the zeros that most peaks agree on.
    fn beginning(&self) -> Vec<f64> {
        let mut begin = vec![0.0; self.free.len()];
        let from = start(&self.observations(), &self.held, &self.free);
        for (j, term) in self.free.iter().enumerate() {
            match term {
                Term::AzimuthZero => begin[j] = from.azimuth_zero.radians(),
                Term::ElevationZero => begin[j] = from.elevation_zero.radians(),
                _ => {}
            }
        }
        begin
    }

    /// The mount without faults, fitted to all peaks but for those that are plainly bad; and
    /// whether the peaks hold together so. If they do, a search for what only most of them
    /// agree on would find the same, at a hundred times the cost.
    pub fn plain(&self) -> Option<(State, bool)> {
        self.plain_from(&self.beginning())
    }

    fn plain_from(&self, begin: &[f64]) -> Option<(State, bool)> {
        let all = vec![true; self.cases.len()];
        let state = self.refit(&[], begin, &all, 1.0)?;
        let sound = !falls_apart(self, &state) && self.all_agree(&state);
        Some((state, sound))
    }

    /// The mount without faults, fitted to what most peaks agree on.
    ///
    /// # Errors
    /// When the peaks do not suffice for a fit.
    pub fn healthy(&self) -> Result<State, Error> {
        self.healthy_from(&self.beginning())
    }

    /// The same from given values of the free terms.
    ///
    /// # Errors
    /// As [`Ground::healthy`].
    pub fn healthy_from(&self, begin: &[f64]) -> Result<State, Error> {
        if let Some((plain, true)) = self.plain_from(begin) {
            return Ok(plain);
        }
        let explanation = self.explanation(&[], &self.sigmas);
        let options = Options {
            priors: explanation.priors(),
            noise: self.noise,
            ..Options::default()
        };
        let found = robust_fit(&explanation, begin, &options, self.seed)
            .map_err(|e| Error::Unsupported(format!("the peaks cannot be fitted: {e}")))?;
        let kept: Vec<bool> = found.weights.iter().map(|w| *w > 0.0).collect();
        let variance = found.scale.powi(2).max(1e-300);
        self.refit(&[], &found.solution.parameters, &kept, variance)
            .ok_or_else(|| {
                Error::Unsupported(
                    "too few peaks to judge anything by: log at least six, in different parts \
                     of the sky"
                        .to_owned(),
                )
            })
    }

    /// Whether no peak stands out of a fit, but for the few that it calls bad: then there is
    /// nothing to search for that only most of them agree on, which takes most of the time of a
    /// diagnosis.
    fn all_agree(&self, plain: &State) -> bool {
        /// The probability that a peak of so many good ones stands out by chance.
        const STANDS_OUT: f64 = 0.05;
        let look = self.look(plain, &[]);
        // Of a pair of coordinates: chi-square with two degrees of freedom exceeds x with
        // probability exp(-x/2).
        let most = 2.0 * (self.cases.len() as f64 / STANDS_OUT).ln() * plain.variance;
        (0..look.peaks()).filter(|i| plain.kept[*i]).all(|i| {
            let square: f64 = look.rows_of(i).map(|r| look.residuals()[r].powi(2)).sum();
            square <= most
        })
    }

    /// Fits the healthy terms and some causes together, from `begin`, to the peaks `kept` and
    /// then to those that the fit explains; none when the peaks do not suffice.
    pub fn refit(
        &self,
        causes: &[Cause],
        begin: &[f64],
        kept: &[bool],
        variance: f64,
    ) -> Option<State> {
        let columns: Vec<Column> = causes.iter().flat_map(Cause::columns).collect();
        let mut parameters = begin.to_vec();
        let mut kept = kept.to_vec();
        let mut variance = variance;
        let mut sigmas = self.sigmas.clone();
        let chosen: Vec<usize> = (0..parameters.len()).collect();
        let mut round = 0;
        loop {
            let explanation = self.explanation(&columns, &sigmas);
            let options = Options {
                priors: explanation.priors(),
                weights: Some(kept.iter().map(|k| f64::from(u8::from(*k))).collect()),
                noise: self.noise,
                ..Options::default()
            };
            parameters = fit(&explanation, &parameters, &options).ok()?.parameters;
            let look = Look::at(&explanation, &parameters, &[], self.trust_logged());
            let found = look.fit(&chosen, &kept, variance)?;
            let same = found.kept == kept;
            variance = found.variance;
            kept = found.kept.clone();
            round += 1;
            if !same && round < MOST_ROUNDS {
                continue;
            }
            if round < MOST_ROUNDS
                && let Some(factors) = self.axis_factors(&look, &found.squares, &kept)
            {
                let now = self.weighed(factors);
                if (now[0][0] / sigmas[0][0] - 1.0).abs() > 0.05
                    || (now[0][1] / sigmas[0][1] - 1.0).abs() > 0.05
                {
                    sigmas = now;
                    variance = 1.0;
                    continue;
                }
            }
            // The cost must be comparable between states: in the ground's own sigmas.
            let own = self.explanation(&columns, &self.sigmas);
            let plain = Look::at(&own, &parameters, &[], self.trust_logged());
            let cost = plain.cost(&plain.fit(&chosen, &kept, found.variance)?);
            return Some(State {
                causes: causes.to_vec(),
                columns,
                parameters,
                kept,
                variance,
                sigmas,
                cost,
            });
        }
    }

    /// The scatter of each axis in units of the ground's sigmas, when the two clearly differ;
    /// ones when they do not.
    fn axis_factors(&self, look: &Look, squares: &[f64], kept: &[bool]) -> Option<[f64; 2]> {
        let _ = squares;
        if self.noise == Noise::Logged || self.cases.is_empty() {
            return None;
        }
        let residuals = look.residuals();
        let mut sums = [0.0; 2];
        let mut counts = [0usize; 2];
        // The look was made with the sigmas now in force: back to those of the ground.
        for (i, case) in self.cases.iter().enumerate().filter(|(i, _)| kept[*i]) {
            let peak = &case.observation.peak;
            let axes = [peak.azimuth.is_some(), peak.elevation.is_some()];
            for (row, axis) in look.rows_of(i).zip((0..2).filter(|a| axes[*a])) {
                let r = residuals[row] * look.sigma_of(row) / self.sigmas[i][axis].radians();
                sums[axis] += r * r;
                counts[axis] += 1;
            }
        }
        let rows = (counts[0] + counts[1]) as f64;
        if counts.iter().any(|c| *c < LEAST_ROWS) {
            return None;
        }
        // Each axis pays for the parameters in proportion to its rows.
        let share = (1.0 - look.width() as f64 / rows).max(0.1);
        let freedom = counts.map(|c| c as f64 * share);
        let variance = [0, 1].map(|a| (sums[a] / freedom[a]).max(1e-300));
        let (large, small) = if variance[0] > variance[1] {
            (0, 1)
        } else {
            (1, 0)
        };
        let ratio = variance[large] / variance[small];
        let chance = 2.0 * quantile::f_exceeds(ratio, freedom[large], freedom[small]);
        Some(if chance < UNEQUAL {
            // Only the ratio matters.
            let mean = (variance[0] * variance[1]).sqrt();
            variance.map(|v| (v / mean).sqrt())
        } else {
            [1.0; 2]
        })
    }

    fn weighed(&self, factors: [f64; 2]) -> Vec<[Angle; 2]> {
        (self.sigmas.iter())
            .map(|s| [s[0] * factors[0], s[1] * factors[1]])
            .collect()
    }

    /// The look about a state, with the mount's own terms as free as they are in a mount that was
    /// built with less care.
    pub fn loose_look(&self, state: &State) -> Look {
        let explanation = Explanation {
            spreads: &self.loose,
            ..self.explanation(&state.columns, &state.sigmas)
        };
        Look::at(&explanation, &state.parameters, &[], self.trust_logged())
    }

    /// The look about a state with more columns.
    pub fn look(&self, state: &State, more: &[Column]) -> Look {
        let explanation = self.explanation(&state.columns, &state.sigmas);
        Look::at(&explanation, &state.parameters, more, self.trust_logged())
    }
}
