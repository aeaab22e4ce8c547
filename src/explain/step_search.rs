//! The place of a step: every place at once.
//!
//! A slip may have happened between any two peaks, a dish may drop over at any elevation. For each
//! place the gain of a step there is computed from running sums, and the probability that the best
//! of all places gains as much without any step is bounded by how fast the statistic's direction
//! turns from place to place.

use nalgebra::{Matrix2, Vector2};

use super::linearised::{Linearised, Weighted, sum_of_products};
use crate::fit::quantile;

/// A step must have this many peaks on either side: fewer could be off by their own error.
pub const LEAST_SIDE: usize = 3;

/// The gains of a step at all places of an order.
#[derive(Clone, Debug)]
pub struct StepSearch {
    /// For each place the number of groups before it and the fall of the sum of squares.
    places: Vec<(usize, f64)>,
    /// Angles by which the direction of the statistic turns from each place to the next, radians.
    turns: Vec<f64>,
    /// Number of coefficients of the step.
    coefficients: f64,
}

/// A fit of some columns to some peaks, to which steps are added in a search.
pub struct Beside<'a> {
    linearised: &'a Linearised,
    kept: &'a [bool],
    /// Number of fitted columns.
    count: usize,
    /// Row by row, the fitted columns times half the inverse: the square of a sum of rows is the
    /// part of it that the fit absorbs.
    halves: Vec<f64>,
    /// By row, the residual of the fit.
    left: Vec<f64>,
}

impl<'a> Beside<'a> {
    /// Fits the columns `base` to the peaks `kept`, at a noise of `variance`. `None` when the base
    /// leaves no degrees of freedom.
    pub fn new(
        linearised: &'a Linearised,
        base: &[usize],
        kept: &'a [bool],
        variance: f64,
    ) -> Option<Beside<'a>> {
        let fitted = linearised.solve(base, &Weighted::Kept(kept), variance)?;
        (fitted.freedom > 2.0).then_some(())?;
        let p = base.len();
        let mut halves = Vec::new();
        let mut left = Vec::new();
        let mut values = vec![0.0; p];
        for row in (0..linearised.peaks()).flat_map(|i| linearised.rows_of(i)) {
            for (value, j) in values.iter_mut().zip(base) {
                *value = linearised.value(row, *j);
            }
            // The inverse is upper triangular.
            let columns = fitted.inverse.as_slice().chunks_exact(p).enumerate();
            halves.extend(columns.map(|(c, column)| sum_of_products(&values[..=c], &column[..=c])));
            let change = sum_of_products(&values, fitted.step.as_slice());
            left.push(linearised.residual(row) + change);
        }
        Some(Beside {
            linearised,
            kept,
            count: p,
            halves,
            left,
        })
    }
}

/// A step has at most this many coefficients, one per axis or direction of tilt.
const MOST_COEFFICIENTS: usize = 2;

/// Running sums over all peaks from a place on; those of a coefficient that the step lacks are set
/// to one.
#[derive(Clone)]
struct Sums {
    /// Half the base's inverse times base columns times step columns: its square is the part that
    /// the base absorbs.
    taken: [Vec<f64>; MOST_COEFFICIENTS],
    /// Step columns times the residuals of the base.
    product: Vector2<f64>,
    /// Step columns times step columns.
    square: Matrix2<f64>,
}

impl Sums {
    /// Sums over no peaks, for this many columns of the base and coefficients of the step.
    fn new(base: usize, coefficients: usize) -> Sums {
        let mut square = Matrix2::zeros();
        for absent in coefficients..MOST_COEFFICIENTS {
            square[(absent, absent)] = 1.0;
        }
        Sums {
            taken: [vec![0.0; base], vec![0.0; base]],
            product: Vector2::zeros(),
            square,
        }
    }
    fn add(&mut self, step: &[f64], half: &[f64], left: f64) {
        for (c, value) in step.iter().enumerate() {
            for (sum, x) in self.taken[c].iter_mut().zip(half) {
                *sum += x * value;
            }
            self.product[c] += value * left;
            for (d, other) in step.iter().enumerate() {
                self.square[(c, d)] += value * other;
            }
        }
    }
    /// The part of the product of these steps and others that the base absorbs.
    fn taken_of(&self, other: &Sums) -> Matrix2<f64> {
        Matrix2::from_fn(|c, d| sum_of_products(&self.taken[c], &other.taken[d]))
    }
}

impl StepSearch {
    /// Steps of the columns `probes`, at most two, added to a fit. `order` holds groups of peaks in
    /// ascending order of the searched quantity; a step lies between groups.
    pub fn new(beside: &Beside<'_>, probes: &[usize], order: &[Vec<usize>]) -> StepSearch {
        let (linearised, kept, p) = (beside.linearised, beside.kept, beside.count);
        let q = probes.len().min(MOST_COEFFICIENTS);
        let probes = &probes[..q];
        let mut sums = Sums::new(p, q);
        let counted = |group: &Vec<usize>| group.iter().filter(|i| kept[**i]).count();
        let total: usize = order.iter().map(counted).sum();
        let mut after = 0;
        let mut places = Vec::new();
        let mut turns = Vec::new();
        let mut last: Option<StepStatistic> = None;
        let mut step = [0.0; MOST_COEFFICIENTS];
        for place in (1..order.len()).rev() {
            let group = &order[place];
            for i in group.iter().filter(|i| kept[**i]) {
                for row in linearised.rows_of(*i) {
                    for (value, probe) in step.iter_mut().zip(probes) {
                        *value = linearised.value(row, *probe);
                    }
                    let half = &beside.halves[row * p..(row + 1) * p];
                    sums.add(&step[..q], half, beside.left[row]);
                }
            }
            after += counted(group);
            if after < LEAST_SIDE || total - after < LEAST_SIDE {
                continue;
            }
            let free = sums.square - sums.taken_of(&sums);
            let told = (0..q).all(|c| free[(c, c)] > LEAST_FREE * sums.square[(c, c)]);
            let Some(root) = free.cholesky().filter(|_| told) else {
                continue;
            };
            let fall = sums.product.dot(&root.solve(&sums.product));
            places.push((place, fall));
            let now = StepStatistic {
                sums: sums.clone(),
                root: root.l(),
            };
            turns.extend(last.as_ref().and_then(|before| before.turn_to(&now)));
            last = Some(now);
        }
        StepSearch {
            places,
            turns,
            coefficients: q as f64,
        }
    }

    /// The best place: the number of groups before it.
    pub fn best(&self) -> Option<usize> {
        (self.places.iter())
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map(|p| p.0)
    }

    /// Factor from the probability at one place to that of the best of all: after Davies,
    /// Hypothesis testing when a nuisance parameter is present only under the alternative,
    /// Biometrika 74 (1987) 33, with the discrete turns instead of the integral and never more than
    /// the number of places (from memory). For one coefficient and for two the factor per turn is
    /// the root of the statistic over that of 2 pi.
    pub fn multiplicity(&self, probability: f64) -> f64 {
        let statistic = quantile::chi_square_tail(probability.clamp(1e-15, 1.0), self.coefficients);
        let crossing = (statistic / std::f64::consts::TAU).sqrt();
        let turned: f64 = self.turns.iter().map(|t| (t * crossing).min(1.0)).sum();
        1.0 + turned
    }
}

/// The statistic at one place.
struct StepStatistic {
    sums: Sums,
    /// Lower root of what is left free.
    root: Matrix2<f64>,
}

impl StepStatistic {
    /// The largest angle by which the step's columns turn from this place to `next`, which comes
    /// before it in the order: the later step lies entirely inside the earlier one.
    fn turn_to(&self, next: &StepStatistic) -> Option<f64> {
        let common = self.sums.square - self.sums.taken_of(&next.sums);
        let half = self.root.solve_lower_triangular(&common)?;
        let cosines = next.root.solve_lower_triangular(&half.transpose())?;
        let least = (cosines.singular_values().iter()).fold(1.0_f64, |a, b| a.min(*b));
        Some(least.clamp(-1.0, 1.0).acos())
    }
}

/// A step with a smaller share of its square left beside the other columns is one of them, apart
/// from rounding.
const LEAST_FREE: f64 = 1e-6;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn independent_places_count_fully_and_one_place_once() {
        let of = |turns: Vec<f64>| StepSearch {
            places: Vec::new(),
            turns,
            coefficients: 1.0,
        };
        assert_eq!(of(vec![]).multiplicity(1e-4), 1.0);
        // At right angles there are as many upcrossings as places, and the bound equals that.
        let many = of(vec![std::f64::consts::FRAC_PI_2; 99]).multiplicity(1e-4);
        assert!((many - 100.0).abs() < 1e-9, "{many}");
        let smooth = of(vec![0.1; 99]).multiplicity(1e-4);
        assert!(smooth < 20.0 && smooth > 10.0, "{smooth}");
    }
}
