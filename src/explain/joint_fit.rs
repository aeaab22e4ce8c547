//! Hypotheses fitted together, and which peaks they explain.

use crate::angle::Angle;
use crate::fit::robust::robust_fit;
use crate::fit::{Noise, Options, Precision, fit, quantile};
use crate::mount::{MountModel, Term, TermValues};

use super::hypothesis::Hypothesis;
use super::linearised::{Linearised, Trust, Weighted};
use super::prior_size::{is_weakly_held, listed_prior, loose_prior};
use super::problem::JointProblem;
use super::session::Session;
use super::shape::{Lever, ShapeColumn};
use super::tuned::{MOST_PASSES_OF_A_FIT, MOST_ROUNDS_OF_GOOD_PEAKS, WEIGHTS_SETTLED};
use super::unexplained::Unexplained;

/// Hypotheses with their joint fit.
#[derive(Clone, Debug)]
pub struct JointFit {
    /// The session's own first, then those admitted, in the order found.
    pub hypotheses: Vec<Hypothesis>,
    /// Their columns, with the spreads that the fit used.
    pub columns: Vec<ShapeColumn>,
    /// The fitted coefficients.
    pub parameters: Vec<f64>,
    /// By peak, whether it is explained.
    pub kept: Vec<bool>,
    /// Variance of the noise in units of the sigmas below.
    pub variance: f64,
    /// The sigmas used: the session's, with the two axes weighed by their own scatter.
    pub sigmas: Vec<[Angle; 2]>,
    /// -2 ln likelihood, up to a constant of the peaks.
    pub cost: f64,
}

/// The two axes get different noises when equal ones would differ by this much with at most this
/// probability; common practice, no source.
const UNEQUAL: f64 = 1e-3;
/// Rows that each axis then needs: the standard deviation of eight values is known to a quarter.
const LEAST_ROWS: usize = 8;
/// With fewer degrees of freedom the scatter says nothing about the noise.
const LEAST_FREEDOM: f64 = 0.2;

impl JointFit {
    /// The columns of hypothesis number `index`.
    pub fn columns_of(&self, session: &Session, index: usize) -> std::ops::Range<usize> {
        let count = |h: &Hypothesis| h.columns(session.beamwidth).len();
        let first: usize = self.hypotheses[..index].iter().map(count).sum();
        first..first + count(&self.hypotheses[index])
    }

    /// How many parameters there are.
    pub fn count(&self) -> usize {
        self.parameters.len()
    }

    /// Hypotheses that were admitted in addition to those always fitted, by number.
    pub fn admitted(&self, session: &Session) -> std::ops::Range<usize> {
        session.base.len()..self.hypotheses.len()
    }

    /// The problem that it solves.
    pub fn problem<'a>(&'a self, session: &'a Session) -> JointProblem<'a> {
        JointProblem::new(&session.peaks, &self.sigmas, &self.columns, session.mount())
    }

    /// The mount at the end of the log, including all changes during it.
    pub fn mount_at_the_end(&self, session: &Session) -> MountModel {
        let hours = (session.peaks.iter().map(|p| p.hours)).fold(0.0, f64::max);
        let mut terms: TermValues = session.held;
        for (column, value) in self.columns.iter().zip(&self.parameters) {
            if let (Lever::Term(term), Some(pull)) = (&column.lever, column.shape.at_the_end(hours))
            {
                terms.set_inside(*term, terms.inside(*term) + value * pull);
            }
        }
        session.mount().with_terms(terms)
    }

    /// One standard deviation of a typical coordinate in the units that the variance multiplies.
    pub fn typical_sigma(&self) -> Angle {
        let mut all: Vec<f64> = (self.sigmas.iter().flatten())
            .map(|s| s.radians())
            .collect();
        if all.is_empty() {
            return Angle::ZERO;
        }
        let middle = all.len() / 2;
        let (_, median, _) = all.select_nth_unstable_by(middle, f64::total_cmp);
        Angle::from_radians(*median)
    }

    /// Standard deviation of a typical coordinate about the fit.
    pub fn scatter(&self) -> Angle {
        self.typical_sigma() * self.variance.sqrt()
    }

    /// The same fit with some constant mount terms held at zero; `None` when there are too few
    /// peaks.
    pub fn without_terms(&self, session: &Session, held: &[Term]) -> Option<JointFit> {
        let stays = |c: &ShapeColumn| c.constant_term().is_none_or(|t| !held.contains(&t));
        let hypotheses: Vec<Hypothesis> = (self.hypotheses.iter())
            .filter_map(|h| h.without_terms(held))
            .collect();
        let begin: Vec<f64> = (self.columns.iter().zip(&self.parameters))
            .filter(|(c, _)| stays(c))
            .map(|(_, v)| *v)
            .collect();
        let columns = session.columns_of(&hypotheses);
        let fewer = JointFit {
            hypotheses,
            columns,
            parameters: begin,
            ..self.clone()
        };
        session.refit_kept(&fewer, &self.kept)
    }

    /// The value of a constant mount term among its parameters.
    pub fn value_of(&self, term: Term) -> Option<f64> {
        let place = self.place_of(term)?;
        Some(self.parameters[place])
    }

    /// The parameter that is a constant mount term.
    pub fn place_of(&self, term: Term) -> Option<usize> {
        (self.columns.iter()).position(|c| c.constant_term() == Some(term))
    }

    /// Distance of each peak from the beam on the sky; an axis that was not measured does not
    /// count.
    pub fn misses(&self, session: &Session) -> Vec<Angle> {
        let problem = self.problem(session);
        let bare = problem.mount(&self.parameters);
        (session.peaks.iter().enumerate())
            .map(|(i, peak)| {
                let mut off = problem.at_about(&bare, i, &self.parameters).misfit();
                let [azimuth, elevation] = peak.sighting.measured();
                if !azimuth {
                    off.cross_elevation = Angle::ZERO;
                }
                if !elevation {
                    off.elevation = Angle::ZERO;
                }
                off.size()
            })
            .collect()
    }
}

impl Session {
    /// What the fit trusts without checking.
    pub(crate) fn trust(&self) -> Trust {
        Trust {
            logged: self.trusts_logged(),
            all: self.trusts_all,
            beamwidth: self.beamwidth,
        }
    }

    /// The peaks linearised about a joint fit, with `more` columns after its own.
    pub(crate) fn linearised(&self, about: &JointFit, more: &[ShapeColumn]) -> Linearised {
        let base: Vec<f64> = (self.columns_of(&about.hypotheses).iter())
            .map(|c| c.spread)
            .collect();
        Linearised::at(
            &about.problem(self),
            (&self.peaks, &about.sigmas),
            &about.parameters,
            more,
            (&about.kept, self.trust()),
            &base,
        )
    }

    /// The prior spreads of a joint fit's columns for a mount that was built with less care.
    pub fn loose_spreads(&self, about: &JointFit) -> Vec<f64> {
        (about.columns.iter())
            .map(|c| match c.constant_term() {
                Some(term) if is_weakly_held(term) => {
                    c.spread.max(loose_prior(term, self.beamwidth))
                }
                _ => c.spread,
            })
            .collect()
    }

    /// Some hypotheses, fitted to what most peaks agree on.
    ///
    /// # Errors
    /// When the peaks do not suffice for a fit.
    pub fn robust_fit_of(
        &self,
        hypotheses: &[Hypothesis],
        begin: &[f64],
    ) -> Result<JointFit, Unexplained> {
        let columns = self.columns_of(hypotheses);
        let problem = JointProblem::new(&self.peaks, &self.sigmas, &columns, self.mount());
        let options = Options {
            priors: problem.priors(),
            noise: self.noise,
            ..Options::default()
        };
        let found =
            robust_fit(&problem, begin, &options, self.seed).map_err(Unexplained::NotFitted)?;
        let kept: Vec<bool> = found.weights.iter().map(|w| *w > 0.0).collect();
        let variance = found.scale.powi(2).max(1e-300);
        self.refit(hypotheses, &found.solution.parameters, &kept, variance)
            .ok_or(Unexplained::TooFew)
    }

    /// The columns of some hypotheses. Terms listed by the user have no prior except one wide
    /// enough to keep the search within bounds.
    pub fn columns_of(&self, hypotheses: &[Hypothesis]) -> Vec<ShapeColumn> {
        let mut columns: Vec<ShapeColumn> = (hypotheses.iter())
            .flat_map(|h| h.columns(self.beamwidth))
            .collect();
        for column in &mut columns {
            if let Some(term) = column.constant_term().filter(|t| self.asks_for(*t)) {
                column.spread = column.spread.max(listed_prior(term));
            }
        }
        columns
    }

    /// Fits some hypotheses together, from `begin`, to the peaks `kept` and then to those that the
    /// fit explains, as precisely as a comparison with others needs; `None` when there are too few
    /// peaks.
    pub fn refit(
        &self,
        hypotheses: &[Hypothesis],
        begin: &[f64],
        kept: &[bool],
        variance: f64,
    ) -> Option<JointFit> {
        let plausible = self.columns_of(hypotheses);
        let mut columns = plausible.clone();
        let mut parameters = begin.to_vec();
        let mut kept = kept.to_vec();
        let mut variance = variance;
        let mut sigmas = self.sigmas.clone();
        let chosen: Vec<usize> = (0..parameters.len()).collect();
        let base: Vec<f64> = plausible.iter().map(|c| c.spread).collect();
        let about = |columns: &[ShapeColumn], sigmas: &[[Angle; 2]], at: &[f64], kept: &[bool]| {
            Linearised::at(
                &JointProblem::new(&self.peaks, sigmas, columns, self.mount()),
                (&self.peaks, sigmas),
                at,
                &[],
                (kept, self.trust()),
                &base,
            )
        };
        let mut round = 0;
        loop {
            let problem = JointProblem::new(&self.peaks, &sigmas, &columns, self.mount());
            let options = Options {
                priors: problem.priors(),
                weights: Some(kept.iter().map(|k| f64::from(u8::from(*k))).collect()),
                noise: self.noise,
                precision: Precision::Comparison,
                budget: Some(MOST_PASSES_OF_A_FIT),
                ..Options::default()
            };
            parameters = fit(&problem, &parameters, &options).ok()?.parameters;
            let linearised = about(&columns, &sigmas, &parameters, &kept);
            let found = linearised.fit(&chosen, &kept, variance)?;
            let same = found.kept == kept;
            variance = found.variance;
            kept = found.kept.clone();
            round += 1;
            if round < MOST_ROUNDS_OF_GOOD_PEAKS {
                if !same || widen(&plausible, &mut columns, &parameters) {
                    continue;
                }
                if let Some(factors) = self.axis_factors(&linearised, &kept) {
                    let now = self.weighed(factors);
                    let off = |axis: usize| (now[0][axis] / sigmas[0][axis] - 1.0).abs();
                    if off(0) > WEIGHTS_SETTLED || off(1) > WEIGHTS_SETTLED {
                        sigmas = now;
                        variance = 1.0;
                        continue;
                    }
                }
            }
            // The cost must be comparable between fits: in the session's own sigmas.
            let cost = if sigmas == self.sigmas {
                linearised.cost(&found)
            } else {
                let own = about(&columns, &self.sigmas, &parameters, &kept);
                own.cost(&own.fit(&chosen, &kept, variance)?)
            };
            return Some(JointFit {
                hypotheses: hypotheses.to_vec(),
                columns,
                parameters,
                kept,
                variance,
                sigmas,
                cost,
            });
        }
    }

    /// The same hypotheses fitted to exactly the peaks `kept`; `None` when these are too few.
    pub fn refit_kept(&self, fit: &JointFit, kept: &[bool]) -> Option<JointFit> {
        self.refit_to(fit, kept, true)
    }

    /// The same with the prior spreads that its columns have.
    pub fn refit_as_held(&self, fit: &JointFit, kept: &[bool]) -> Option<JointFit> {
        self.refit_to(fit, kept, false)
    }

    fn refit_to(&self, fit: &JointFit, kept: &[bool], widening: bool) -> Option<JointFit> {
        let plausible = self.columns_of(&fit.hypotheses);
        let mut next = JointFit {
            kept: kept.to_vec(),
            ..fit.clone()
        };
        let chosen: Vec<usize> = (0..next.count()).collect();
        for _ in 0..MOST_ROUNDS_OF_GOOD_PEAKS {
            let problem = next.problem(self);
            let options = Options {
                priors: problem.priors(),
                weights: Some(kept.iter().map(|k| f64::from(u8::from(*k))).collect()),
                noise: self.noise,
                budget: Some(MOST_PASSES_OF_A_FIT),
                ..Options::default()
            };
            next.parameters = crate::fit::fit(&problem, &next.parameters, &options)
                .ok()?
                .parameters;
            let linearised = self.linearised(&next, &[]);
            let step = linearised.solve(&chosen, &Weighted::Kept(kept), next.variance)?;
            (step.freedom > LEAST_FREEDOM || self.trusts_logged()).then_some(())?;
            let sum: f64 = (0..self.peaks.len())
                .filter(|i| kept[*i])
                .map(|i| linearised.square_of(i))
                .sum();
            let scatter = sum / step.freedom.max(LEAST_FREEDOM);
            next.variance = if self.trusts_logged() {
                scatter.max(1.0)
            } else {
                scatter.max(1e-300)
            };
            let parameters = next.parameters.clone();
            if !(widening && widen(&plausible, &mut next.columns, &parameters)) {
                break;
            }
        }
        Some(next)
    }

    /// The scatter of each axis in units of the session's sigmas, when the two clearly differ;
    /// ones when they do not.
    fn axis_factors(&self, linearised: &Linearised, kept: &[bool]) -> Option<[f64; 2]> {
        if self.noise == Noise::Logged || self.peaks.is_empty() {
            return None;
        }
        let mut sums = [0.0; 2];
        let mut counts = [0usize; 2];
        // Computed with the current sigmas: converted back to those of the session.
        for (i, peak) in self.peaks.iter().enumerate().filter(|(i, _)| kept[*i]) {
            let axes = peak.sighting.measured();
            for (row, axis) in (linearised.rows_of(i)).zip((0..2).filter(|a| axes[*a])) {
                let r = linearised.residual(row) * linearised.sigma_of(row)
                    / self.sigmas[i][axis].radians();
                sums[axis] += r * r;
                counts[axis] += 1;
            }
        }
        let rows = (counts[0] + counts[1]) as f64;
        if counts.iter().any(|c| *c < LEAST_ROWS) {
            return None;
        }
        // Each axis is charged for the parameters in proportion to its rows.
        let share = (1.0 - linearised.width() as f64 / rows).max(0.1);
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
}

/// An error larger than plausible is not constrained: its spread becomes its own size (an empirical
/// prior). Returns whether a spread changed by more than a tenth.
fn widen(plausible: &[ShapeColumn], columns: &mut [ShapeColumn], parameters: &[f64]) -> bool {
    let mut changed = false;
    for ((known, column), value) in plausible.iter().zip(columns).zip(parameters) {
        let Some(term) = known.constant_term() else {
            continue;
        };
        if !is_weakly_held(term) || known.expected != 0.0 {
            continue;
        }
        let spread = known.spread.max(value.abs());
        changed |= (spread / column.spread - 1.0).abs() > 0.1;
        column.spread = spread;
    }
    changed
}
