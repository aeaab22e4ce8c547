//! Weighted least squares in some of the columns, to first order.

use nalgebra::{DMatrix, DVector, Matrix2};

use super::{Linearised, Weighted};

/// A weighted least-squares step.
#[derive(Clone, Debug)]
pub(crate) struct LinearStep {
    /// By chosen column.
    pub step: DVector<f64>,
    /// This times its own transpose is the covariance at unit noise.
    pub inverse: DMatrix<f64>,
    /// Rows minus the effective number of parameters.
    pub freedom: f64,
    /// The fall of the sum of squares, including that of the priors.
    pub fall: f64,
}

impl Linearised {
    /// Weighted least squares in `chosen` columns, with the noise's variance for the priors.
    pub fn solve(
        &self,
        chosen: &[usize],
        weights: &Weighted<'_>,
        variance: f64,
    ) -> Option<LinearStep> {
        let p = chosen.len();
        let (mut matrix, mut right, count) = self.sums(chosen, weights);
        for (a, j) in chosen.iter().enumerate() {
            let known = &self.known[*j];
            let held = variance / known.spread.powi(2);
            matrix[(a, a)] += held;
            right[a] += (known.value - known.expected) * held;
        }
        // Columns of very different size: first scaled to a unit diagonal.
        let scale = DVector::from_fn(p, |a, _| 1.0 / matrix[(a, a)].max(1e-300).sqrt());
        // Column by column, as slices, which are gone along fastest.
        let scales = scale.as_slice();
        for (column, b) in matrix.as_mut_slice().chunks_exact_mut(p.max(1)).zip(scales) {
            for (value, a) in column.iter_mut().zip(scales) {
                *value *= a * b;
            }
        }
        // inverse = D L^-T, so that inverse times its transpose is the inverse of the matrix.
        let mut inverse = inverse_of_root(matrix.cholesky()?.unpack_dirty())?;
        for mut column in inverse.column_iter_mut() {
            column.component_mul_assign(&scale);
        }
        let step = -(&inverse * inverse.tr_mul(&right));
        // The priors account for their share of the parameters.
        let by_priors: f64 = (chosen.iter().enumerate())
            .map(|(a, j)| inverse.row(a).norm_squared() * variance / self.known[*j].spread.powi(2))
            .sum();
        Some(LinearStep {
            freedom: count - (p as f64 - by_priors),
            fall: -right.dot(&step),
            inverse,
            step,
        })
    }

    /// Sum of squares of each peak's residuals after a step.
    pub fn squares(&self, chosen: &[usize], step: &DVector<f64>) -> Vec<f64> {
        // Those of the joint fit itself come first and are contiguous.
        let lead = (chosen.iter().enumerate()).take_while(|(a, j)| a == *j);
        let (own, more) = step.as_slice().split_at(lead.count());
        let more: Vec<(usize, f64)> = (chosen[own.len()..].iter().copied())
            .zip(more.iter().copied())
            .collect();
        let after = |row: usize| -> f64 {
            let values = self.row(row);
            let own = sum_of_products(own, &values[..own.len()]);
            let more: f64 = more.iter().map(|(j, s)| s * values[*j]).sum();
            self.residuals[row] + own + more
        };
        (0..self.peaks())
            .map(|peak| self.rows_of(peak).map(|row| after(row).powi(2)).sum())
            .collect()
    }

    /// The values of some columns after a step.
    pub fn values(&self, chosen: &[usize], step: &DVector<f64>) -> Vec<f64> {
        (chosen.iter().enumerate())
            .map(|(c, j)| self.known[*j].value + step[c])
            .collect()
    }

    /// For each peak of a fit of `chosen` to `kept` at a noise of `variance`: the contribution of
    /// the fit's own uncertainty, J C J' of its rows at unit noise; zeros for a missing row. Also
    /// returns the degrees of freedom of the fit.
    pub fn leverages(
        &self,
        chosen: &[usize],
        kept: &[bool],
        variance: f64,
    ) -> Option<(Vec<Matrix2<f64>>, f64)> {
        let solved = self.solve(chosen, &Weighted::Kept(kept), variance)?;
        let p = chosen.len();
        let mut values = vec![0.0; p];
        let mut half = [vec![0.0; p], vec![0.0; p]];
        let each = (0..self.peaks())
            .map(|i| {
                let rows = self.rows_of(i);
                for (row, half) in rows.clone().zip(&mut half) {
                    let full = self.row(row);
                    for (value, j) in values.iter_mut().zip(chosen) {
                        *value = full[*j];
                    }
                    // The inverse is upper triangular.
                    for (c, (sum, column)) in (half.iter_mut())
                        .zip(solved.inverse.as_slice().chunks_exact(p))
                        .enumerate()
                    {
                        *sum = sum_of_products(&values[..=c], &column[..=c]);
                    }
                }
                let product = |r: usize, c: usize| match r.max(c) < rows.len() {
                    true => sum_of_products(&half[r], &half[c]),
                    false => 0.0,
                };
                Matrix2::from_fn(product)
            })
            .collect();
        Some((each, solved.freedom))
    }
}

/// Sum of products of two slices of equal length.
pub fn sum_of_products(a: &[f64], b: &[f64]) -> f64 {
    /// Separate partial sums, so that none waits for the one before it.
    const APART: usize = 4;
    let (a_parts, b_parts) = (a.chunks_exact(APART), b.chunks_exact(APART));
    let rest = a_parts.remainder().iter().zip(b_parts.remainder());
    let rest: f64 = rest.map(|(x, y)| x * y).sum();
    let mut sums = [0.0; APART];
    for (x, y) in a_parts.zip(b_parts) {
        for (sum, (x, y)) in sums.iter_mut().zip(x.iter().zip(y)) {
            *sum += x * y;
        }
    }
    (sums[0] + sums[2]) + (sums[1] + sums[3]) + rest
}

/// The transpose of the inverse of a lower triangular matrix, which is upper triangular. Elements
/// above the diagonal of `root` are not read.
fn inverse_of_root(root: DMatrix<f64>) -> Option<DMatrix<f64>> {
    let p = root.nrows();
    let mut inverse = DMatrix::zeros(p, p);
    // Row by row of the inverse of L, which is column by column here: from L X = 1.
    for i in 0..p {
        let (before, here) = inverse.as_mut_slice().split_at_mut(i * p);
        for (k, column) in before.chunks_exact(p).enumerate() {
            let factor = root[(i, k)];
            for (sum, x) in here.iter_mut().zip(&column[..=k]) {
                *sum -= factor * x;
            }
        }
        here[i] = 1.0;
        let pivot = 1.0 / root[(i, i)];
        pivot.is_finite().then_some(())?;
        for x in &mut here[..=i] {
            *x *= pivot;
        }
    }
    Some(inverse)
}
