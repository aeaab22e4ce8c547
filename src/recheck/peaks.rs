//! The new peaks, and how well their noise is known.

use super::hypothesis::ChangeKind;
use super::old::Old;
use super::tuned::{CHANCE_OF_A_CONTRADICTION, LEAST_PEAKS_TO_BLAME_ONE};
use crate::angle::Angle;
use crate::explain::observe::Observation;
use crate::explain::{JointProblem, SessionPeak, Shape, ShapeColumn, session_peaks};
use crate::fit::{Noise, Options as FitOptions, Solution, fit, quantile};
use crate::problem::Error;
use crate::station::Station;

/// New peaks with their standard deviations.
#[derive(Clone, Debug)]
pub struct Peaks {
    /// In the order of the log.
    pub observations: Vec<Observation>,
    /// The same in the form that the fit needs.
    session: Vec<SessionPeak>,
    /// Cross-elevation and elevation, of each.
    pub sigmas: Vec<[Angle; 2]>,
    /// Degrees of freedom of the noise estimate: those of the old fit when it comes from its
    /// scatter, infinite when the log gives the noise.
    pub freedom: f64,
}

impl Peaks {
    /// Uses the standard deviations of the log; where it has none, the old calibration's scatter.
    pub fn new(
        usable: Vec<Observation>,
        old: &Old,
        station: &Station,
        notes: &mut Vec<String>,
    ) -> Peaks {
        let fallback = if old.peak_sigma > Angle::ZERO {
            old.peak_sigma
        } else {
            station.dish.beamwidth / 50.0
        };
        let missing = usable.iter().filter(|o| o.logged_sigma().is_none()).count();
        if missing > 0 {
            notes.push(format!(
                "{missing} of the new peaks {} no standard deviation in the log: {:.4} deg an \
                 axis is assumed, the scatter of the old calibration's peaks",
                if missing == 1 { "has" } else { "have" },
                fallback.degrees()
            ));
        }
        let sigmas = usable
            .iter()
            .map(|o| {
                let logged = o.logged_sigma().unwrap_or([fallback; 2]);
                logged.map(|s| if s > Angle::ZERO { s } else { fallback })
            })
            .collect();
        Peaks {
            session: session_peaks(station, None, &usable),
            observations: usable,
            sigmas,
            freedom: if missing > 0 {
                (old.calibration.degrees_of_freedom as f64).max(1.0)
            } else {
                f64::INFINITY
            },
        }
    }

    /// Some of them, by index.
    pub fn chosen(&self, which: &[usize]) -> Peaks {
        Peaks {
            observations: which
                .iter()
                .map(|i| self.observations[*i].clone())
                .collect(),
            session: which.iter().map(|i| self.session[*i].clone()).collect(),
            sigmas: which.iter().map(|i| self.sigmas[*i]).collect(),
            freedom: self.freedom,
        }
    }

    /// Measured coordinates.
    pub fn rows(&self) -> f64 {
        let rows: usize = self.observations.iter().map(Observation::coordinates).sum();
        rows as f64
    }

    /// Noise of one coordinate of a typical peak.
    pub fn noise(&self) -> Angle {
        self.sigmas.first().map_or(Angle::ZERO, |s| s[0])
    }

    /// The probability that noise alone makes a sum of squares of this many terms this large.
    pub fn by_chance(&self, squares: f64, terms: f64) -> f64 {
        if self.freedom.is_finite() {
            quantile::f_exceeds(squares / terms, terms, self.freedom)
        } else {
            quantile::chi_square_exceeds(squares, terms)
        }
    }

    /// The reduction of the sum of squares that noise alone causes with that probability when one
    /// more term is freed.
    pub fn price_of_a_term(&self, probability: f64) -> f64 {
        if self.freedom.is_finite() {
            quantile::f_tail(probability, 1.0, self.freedom)
        } else {
            quantile::chi_square_tail(probability, 1.0)
        }
    }

    /// The fit of the old terms to the peaks when the change `kind` may have happened.
    ///
    /// # Errors
    /// When the file's correlations contradict each other or the mount cannot be evaluated.
    pub fn fit(&self, old: &Old, kind: ChangeKind) -> Result<Solution, Error> {
        // The parameters are the full values of the terms.
        let mut held = *old.model.terms();
        let columns: Vec<ShapeColumn> = (old.terms.iter())
            .map(|term| {
                held.set_inside(*term, 0.0);
                ShapeColumn::term(*term, Shape::Always, f64::INFINITY)
            })
            .collect();
        let problem = JointProblem::new(
            &self.session,
            &self.sigmas,
            &columns,
            old.model.with_terms(held),
        );
        let options = FitOptions {
            priors: old.priors(&kind.terms())?,
            noise: Noise::Logged,
            ..FitOptions::default()
        };
        fit(&problem, &old.values(), &options)
            .map_err(|e| Error::Unsupported(format!("the new peaks could not be fitted: {e}")))
    }

    /// Whether the peaks scatter about a fit more than their noise allows.
    pub fn contradict(&self, solution: &Solution) -> bool {
        let freedom = solution.degrees_of_freedom;
        freedom >= 0.5 && self.by_chance(solution.chi_square, freedom) < CHANCE_OF_A_CONTRADICTION
    }

    /// Factor by which the squared noise must be larger for the peaks to agree with a fit; one when
    /// they do not contradict it.
    pub fn excess(&self, solution: &Solution) -> f64 {
        if self.contradict(solution) {
            (solution.chi_square / solution.degrees_of_freedom).max(1.0)
        } else {
            1.0
        }
    }

    /// Which peaks agree with each other under any change, and which do not: with five or more
    /// peaks, those whose removal restores agreement are odd.
    ///
    /// # Errors
    /// As [`Peaks::fit`].
    pub fn consistent(&self, old: &Old) -> Result<(Vec<usize>, Vec<usize>), Error> {
        let count = self.observations.len();
        let mut kept: Vec<usize> = (0..count).collect();
        let mut odd = Vec::new();
        let fit_of = |chosen: &[usize]| self.chosen(chosen).fit(old, ChangeKind::Anything);
        while kept.len() >= LEAST_PEAKS_TO_BLAME_ONE && odd.len() * 3 < count {
            if !self.contradict(&fit_of(&kept)?) {
                break;
            }
            let mut best: Option<(f64, usize)> = None;
            for leave in 0..kept.len() {
                let mut rest = kept.clone();
                rest.remove(leave);
                let chi_square = fit_of(&rest)?.chi_square;
                if best.is_none_or(|(least, _)| chi_square < least) {
                    best = Some((chi_square, leave));
                }
            }
            let Some((_, leave)) = best else { break };
            odd.push(kept.remove(leave));
        }
        Ok((kept, odd))
    }
}
