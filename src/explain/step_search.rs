//! Where a step is: every place at once.
//!
//! A slip may have happened between any two peaks, a dish may flop over at any elevation. For
//! each place the gain of a step there is worked out from running sums, and the chance that the
//! best of all places gains so much without any step is bounded by how fast the statistic turns
//! from place to place.

use nalgebra::{DMatrix, DVector};

use super::linearised::{Linearised, Weighted};
use crate::fit::quantile;

/// A step must have so many peaks on either side: with fewer it is their own error.
pub const LEAST_SIDE: usize = 3;

/// The gains of a step at all places of an order.
#[derive(Clone, Debug)]
pub struct StepSearch {
    /// For each place the number of groups before it and the fall of the sum of squares.
    places: Vec<(usize, f64)>,
    /// Angles by which the statistic turns from each place to the next, radians.
    turns: Vec<f64>,
    /// How many coefficients the step has.
    coefficients: f64,
}

/// Running sums over all peaks from a place on.
struct Sums {
    /// Base columns times step columns, p by q.
    along: DMatrix<f64>,
    /// Step columns times the residuals that the base leaves, q.
    product: DVector<f64>,
    /// Step columns times step columns, q by q.
    square: DMatrix<f64>,
}

impl StepSearch {
    /// Steps of the columns `probes` beside the columns `base`, over the peaks `kept`, at a noise
    /// of `variance`. `order` holds groups of peaks in ascending order of what is searched; a
    /// step lies between groups. None when the base leaves no freedom.
    pub fn new(
        linearised: &Linearised,
        base: &[usize],
        probes: &[usize],
        kept: &[bool],
        variance: f64,
        order: &[Vec<usize>],
    ) -> Option<StepSearch> {
        let (p, q) = (base.len(), probes.len());
        let fitted = linearised.solve(base, &Weighted::Kept(kept), variance)?;
        (fitted.freedom > 2.0).then_some(())?;
        let mut sums = Sums {
            along: DMatrix::zeros(p, q),
            product: DVector::zeros(q),
            square: DMatrix::zeros(q, q),
        };
        let counted = |group: &Vec<usize>| group.iter().filter(|i| kept[**i]).count();
        let total: usize = order.iter().map(counted).sum();
        let mut after = 0;
        let mut places = Vec::new();
        let mut turns = Vec::new();
        let mut last: Option<Place> = None;
        for place in (1..order.len()).rev() {
            let group = &order[place];
            for i in group.iter().filter(|i| kept[**i]) {
                for row in linearised.rows_of(*i) {
                    let left = linearised.residual(row)
                        + (base.iter().zip(fitted.step.iter()))
                            .map(|(j, s)| s * linearised.value(row, *j))
                            .sum::<f64>();
                    for (c, probe) in probes.iter().enumerate() {
                        let step = linearised.value(row, *probe);
                        for (b, j) in base.iter().enumerate() {
                            sums.along[(b, c)] += linearised.value(row, *j) * step;
                        }
                        sums.product[c] += step * left;
                        for (d, other) in probes.iter().enumerate() {
                            sums.square[(c, d)] += step * linearised.value(row, *other);
                        }
                    }
                }
            }
            after += counted(group);
            if after < LEAST_SIDE || total - after < LEAST_SIDE {
                continue;
            }
            // Half of the base's inverse times `along`: its square is what the base takes up.
            let taken = fitted.inverse.tr_mul(&sums.along);
            let free = &sums.square - taken.tr_mul(&taken);
            let told = (0..q).all(|c| free[(c, c)] > LEAST_FREE * sums.square[(c, c)]);
            let Some(root) = free.cholesky().filter(|_| told) else {
                continue;
            };
            let fall = sums.product.dot(&root.solve(&sums.product));
            places.push((place, fall));
            let now = Place {
                taken,
                square: sums.square.clone(),
                root: root.l(),
            };
            turns.extend(last.as_ref().and_then(|before| before.turn_to(&now)));
            last = Some(now);
        }
        Some(StepSearch {
            places,
            turns,
            coefficients: q as f64,
        })
    }

    /// The best place: the number of groups before it.
    pub fn best(&self) -> Option<usize> {
        (self.places.iter())
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map(|p| p.0)
    }

    /// By how much the probability at one place must be multiplied for the best of all: after
    /// Davies, Hypothesis testing when a nuisance parameter is present only under the
    /// alternative, Biometrika 74 (1987) 33, with the discrete turns in the place of the integral
    /// and never more than the number of places (from memory). For one coefficient and for two
    /// the factor a turn is the root of the statistic over that of 2 pi.
    pub fn multiplicity(&self, probability: f64) -> f64 {
        let statistic = quantile::chi_square_tail(probability.clamp(1e-15, 1.0), self.coefficients);
        let crossing = (statistic / std::f64::consts::TAU).sqrt();
        let turned: f64 = self.turns.iter().map(|t| (t * crossing).min(1.0)).sum();
        1.0 + turned
    }
}

/// The statistic at one place.
struct Place {
    taken: DMatrix<f64>,
    square: DMatrix<f64>,
    /// Lower root of what is free, q by q.
    root: DMatrix<f64>,
}

impl Place {
    /// The largest angle by which the step's columns turn from this place to `next`, which lies
    /// before it in the order: the later step lies wholly inside the earlier one.
    fn turn_to(&self, next: &Place) -> Option<f64> {
        let common = &self.square - self.taken.tr_mul(&next.taken);
        let half = self.root.solve_lower_triangular(&common)?;
        let cosines = next.root.solve_lower_triangular(&half.transpose())?;
        let least = (cosines.singular_values().iter()).fold(1.0_f64, |a, b| a.min(*b));
        Some(least.clamp(-1.0, 1.0).acos())
    }
}

/// A step that keeps less than this share of its square beside the other columns tells nothing.
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
        // At right angles the upcrossings are as many as the places, and the bound says so.
        let many = of(vec![std::f64::consts::FRAC_PI_2; 99]).multiplicity(1e-4);
        assert!((many - 100.0).abs() < 1e-9, "{many}");
        let smooth = of(vec![0.1; 99]).multiplicity(1e-4);
        assert!(smooth < 20.0 && smooth > 10.0, "{smooth}");
    }
}
