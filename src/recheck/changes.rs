//! The changes that may have happened, weighed with the new peaks.

use nalgebra::{DMatrix, DVector};

use super::answer::Moved;
use super::hypothesis::ChangeKind;
use super::old::Old;
use super::peaks::Peaks;
use super::tuned::FALSE_ALARM_OF_A_CHANGE;
use crate::angle::Angle;
use crate::fit::{Solution, quantile};
use crate::mount::Term;
use crate::problem::Error;

/// One change, fitted.
#[derive(Clone, Debug)]
pub struct FittedChange {
    /// The kind.
    pub kind: ChangeKind,
    /// The terms now, if it happened.
    pub solution: Solution,
}

impl FittedChange {
    /// Squared residuals of the peaks and of the prior: with the new peaks' whitened residuals r,
    /// the terms t, the old values m with their covariance P, and the covariance D that the change
    /// allows them,
    ///
    /// ```text
    /// sum |r_i(t)|^2 + (t - m)' (P + D)^-1 (t - m)
    /// ```
    pub fn cost(&self) -> f64 {
        self.solution.chi_square + self.solution.prior_chi_square
    }
}

/// All changes, fitted.
#[derive(Clone, Debug)]
pub struct Changes {
    fitted: Vec<FittedChange>,
    /// Indices into `fitted` with the cost of each, including that of its terms; the best first.
    ranked: Vec<(f64, usize)>,
}

/// A moved term is named from the usual three standard deviations on, when the noise is well known.
const NAMED_LEVEL: f64 = 0.9973;

/// Changes on which the verdict may be based, by whose number its p-value is multiplied: of the
/// placement, of the elevation axis, of the dish.
const CHANCES: f64 = 3.0;

impl Changes {
    /// Fits them all.
    ///
    /// # Errors
    /// As [`Peaks::fit`].
    pub fn weigh(old: &Old, peaks: &Peaks) -> Result<Changes, Error> {
        let mut fitted = Vec::new();
        for kind in ChangeKind::ALL {
            fitted.push(FittedChange {
                kind,
                solution: peaks.fit(old, kind)?,
            });
        }
        let price = peaks.price_of_a_term(FALSE_ALARM_OF_A_CHANGE);
        let mut ranked: Vec<(f64, usize)> = (fitted.iter().enumerate())
            .map(|(i, f)| (f.cost() + price * f.kind.terms().len() as f64, i))
            .collect();
        ranked.sort_by(|p, q| p.0.total_cmp(&q.0));
        // Several changes at once are considered only when no single one suffices; single changes
        // are then not rivals, because the peaks contradict them.
        if (fitted.iter()).all(|f| peaks.contradict(&f.solution)) {
            let solution = peaks.fit(old, ChangeKind::Anything)?;
            if !peaks.contradict(&solution) {
                ranked = vec![(0.0, fitted.len())];
                fitted.push(FittedChange {
                    kind: ChangeKind::Anything,
                    solution,
                });
            }
        }
        Ok(Changes { fitted, ranked })
    }

    /// The fit for a kind that was weighed.
    pub fn of(&self, kind: ChangeKind) -> &FittedChange {
        (self.fitted.iter().find(|f| f.kind == kind)).unwrap_or(&self.fitted[0])
    }

    /// The change on which the verdict is based: the widest one that a move of the mount can cause,
    /// or the best one when that frees more. The apparent kind of change must not make the verdict
    /// look more certain than it is.
    pub fn suspected(&self) -> &FittedChange {
        let best = &self.fitted[self.ranked[0].1];
        if best.kind.frees_more_than_placement() {
            best
        } else {
            self.of(ChangeKind::WholeMount)
        }
    }

    /// The probability that noise alone makes a change explain the peaks this much better than no
    /// change does, whichever change it favours.
    pub fn by_accident(&self, change: &FittedChange, peaks: &Peaks) -> f64 {
        let gain =
            (self.of(ChangeKind::Unmoved).cost() - change.cost()) / peaks.excess(&change.solution);
        let once = peaks.by_chance(gain.max(0.0), change.kind.terms().len().max(1) as f64);
        (CHANCES * once).min(1.0)
    }

    /// The best change other than none, and the others with how much worse they are.
    pub fn best(&self) -> (ChangeKind, Vec<(ChangeKind, f64)>) {
        let mut real = (self.ranked.iter())
            .map(|(cost, i)| (self.fitted[*i].kind, *cost))
            .filter(|(kind, _)| *kind != ChangeKind::Unmoved);
        match real.next() {
            Some((kind, least)) => (kind, real.map(|(k, cost)| (k, cost - least)).collect()),
            None => (ChangeKind::Unmoved, Vec::new()),
        }
    }
}

/// How far each term moved if the change `kind` has happened, with its standard deviation; in the
/// order of the old terms, zero for those that the change does not affect. `None` when the
/// covariances cannot be inverted.
///
/// With the old values `m` and their covariance `P`, the covariance `D` of the change and the
/// fitted terms `t` with covariance `C`, the change is `S (t - m)` with `S = D (P + D)^-1` and has
/// the covariance `S C S' + S P`: the distribution of a Gaussian part given its sum. The
/// uncertainty of a term that did not move is common to both and does not count.
pub fn movement(
    old: &Old,
    kind: ChangeKind,
    now: &[f64],
    covariance: &DMatrix<f64>,
) -> Option<Vec<(f64, f64)>> {
    let n = old.terms.len();
    let mut may_be = DMatrix::<f64>::zeros(n, n);
    for freed in kind.terms() {
        if let Some(i) = old.terms.iter().position(|t| *t == freed.term) {
            may_be[(i, i)] = freed.may_be.powi(2);
        }
    }
    let share = &may_be * (&old.covariance + &may_be).try_inverse()?;
    let apart = DVector::from_fn(n, |i, _| {
        let apart = now[i] - old.model.terms().inside(old.terms[i]);
        match old.terms[i] {
            Term::AzimuthZero => Angle::from_radians(apart).wrapped_signed().radians(),
            _ => apart,
        }
    });
    let by = &share * apart;
    let spread = &share * covariance * share.transpose() + &share * &old.covariance;
    Some(
        (0..n)
            .map(|i| (by[i], spread[(i, i)].max(0.0).sqrt()))
            .collect(),
    )
}

/// The terms that moved significantly under a change.
pub fn moved_terms(old: &Old, change: &FittedChange, freedom: f64) -> Vec<Moved> {
    let now = &change.solution;
    let moved = movement(old, change.kind, &now.parameters, &now.covariance());
    let reach = if freedom.is_finite() {
        quantile::student_two_sided(NAMED_LEVEL, freedom)
    } else {
        quantile::normal_two_sided(NAMED_LEVEL)
    };
    (old.terms.iter().zip(moved.unwrap_or_default()))
        .filter_map(|(term, (by, sigma))| {
            let before = old.model.terms().inside(*term);
            (sigma > 0.0 && by.abs() > reach * sigma).then_some(Moved {
                term: *term,
                before,
                now: before + by,
                sigma,
            })
        })
        .collect()
}
