//! Where a step is: every place at once.
//!
//! A slip may have happened between any two peaks, a dish may flop over at any elevation. For
//! each place the gain of a step there is worked out from running sums, and the chance that the
//! best of all places gains so much without any step is bounded by how fast the statistic turns
//! from place to place.

use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ContinuousCDF, Normal};

use super::look::Look;

/// A step must have so many peaks on either side: with fewer it is their own error.
pub const LEAST_SIDE: usize = 3;

/// The gains of a step at all places of an order.
#[derive(Clone, Debug)]
pub struct Scan {
    /// For each place the number of groups before it and the fall of the sum of squares.
    pub places: Vec<(usize, f64)>,
    /// Angles by which the statistic turns from each place to the next, radians.
    turns: Vec<f64>,
}

impl Scan {
    /// Steps of the column `probe` beside the columns `base`, over the peaks `kept`. `order`
    /// holds groups of peaks in ascending order of what is scanned; a step lies between groups.
    pub fn new(
        look: &Look,
        base: &[usize],
        probe: usize,
        kept: &[bool],
        order: &[Vec<usize>],
    ) -> Option<Scan> {
        let rows: Vec<usize> = (0..look.peaks())
            .filter(|i| kept[*i])
            .flat_map(|i| look.rows_of(i))
            .collect();
        if rows.len() <= base.len() + 2 {
            return None;
        }
        let basis = orthonormal(look, base, &rows);
        let column = look.column(probe);
        let residuals = look.residuals();
        // Of all rows from a place on: Q'c, c.r, c.c; r is left perpendicular to Q first.
        let row_place: std::collections::HashMap<usize, usize> =
            rows.iter().enumerate().map(|(k, r)| (*r, k)).collect();
        let r = DVector::from_fn(rows.len(), |k, _| residuals[rows[k]]);
        let r = &r - &basis * basis.tr_mul(&r);
        let mut along = DVector::zeros(basis.ncols());
        let (mut product, mut square) = (0.0, 0.0);
        let counted = |group: &Vec<usize>| group.iter().filter(|i| kept[**i]).count();
        let total: usize = order.iter().map(counted).sum();
        let mut after = 0;
        let mut places = Vec::new();
        let mut turns = Vec::new();
        let mut last: Option<(DVector<f64>, f64)> = None;
        for place in (1..order.len()).rev() {
            let group = &order[place];
            for i in group.iter().filter(|i| kept[**i]) {
                for row in look.rows_of(*i) {
                    let (k, c) = (row_place[&row], column[row]);
                    along += basis.row(k).transpose() * c;
                    product += c * r[k];
                    square += c * c;
                }
            }
            after += counted(group);
            if after < LEAST_SIDE || total - after < LEAST_SIDE {
                continue;
            }
            let free = square - along.norm_squared();
            if free < LEAST_FREE * square {
                continue;
            }
            places.push((place, product * product / free));
            if let Some((before, before_square)) = &last {
                // The later step lies wholly inside the earlier one.
                let common = before_square - along.dot(before);
                let norms = free * (before_square - before.norm_squared());
                let cosine = (common / norms.max(1e-300).sqrt()).clamp(-1.0, 1.0);
                turns.push(cosine.acos());
            }
            last = Some((along.clone(), square));
        }
        Some(Scan { places, turns })
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
    /// and never more than the number of places (from memory).
    pub fn multiplicity(&self, probability: f64) -> f64 {
        let two_sided = probability.clamp(1e-300, 1.0);
        let z = -Normal::standard().inverse_cdf(0.5 * two_sided.max(1e-15));
        // exp(-z^2/2)/pi over the probability: 2 Q(z) = sqrt(2/pi) exp(-z^2/2)/z about.
        let crossing = (z * (0.5 * std::f64::consts::PI).sqrt()) / std::f64::consts::PI;
        1.0 + self
            .turns
            .iter()
            .map(|t| (t * crossing).min(1.0))
            .sum::<f64>()
    }
}

/// A step that keeps less than this share of its square beside the other columns tells nothing.
const LEAST_FREE: f64 = 1e-6;

/// An orthonormal basis of the base columns over some rows. Directions that the rows do not
/// tell are left out.
fn orthonormal(look: &Look, base: &[usize], rows: &[usize]) -> DMatrix<f64> {
    let mut vectors: Vec<DVector<f64>> = Vec::new();
    for j in base {
        let column = look.column(*j);
        let mut v = DVector::from_fn(rows.len(), |k, _| column[rows[k]]);
        let norm = v.norm();
        // Twice is enough (Golub and Van Loan, Matrix Computations: Gram-Schmidt with
        // reorthogonalisation).
        for _ in 0..2 {
            for u in &vectors {
                v -= u * u.dot(&v);
            }
        }
        let left = v.norm();
        if left > 1e-6 * norm {
            vectors.push(v / left);
        }
    }
    match vectors.as_slice() {
        [] => DMatrix::zeros(rows.len(), 0),
        vectors => DMatrix::from_columns(vectors),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn independent_places_count_fully_and_one_place_once() {
        let of = |turns: Vec<f64>| Scan {
            places: Vec::new(),
            turns,
        };
        assert_eq!(of(vec![]).multiplicity(1e-4), 1.0);
        // At right angles the upcrossings are as many as the places, and the bound says so.
        let many = of(vec![std::f64::consts::FRAC_PI_2; 99]).multiplicity(1e-4);
        assert!((many - 100.0).abs() < 1e-9, "{many}");
        let smooth = of(vec![0.1; 99]).multiplicity(1e-4);
        assert!(smooth < 20.0 && smooth > 10.0, "{smooth}");
    }
}
