//! What a triangle says about subsets of its columns, to first order, without another pass
//! over the data.

use nalgebra::{DMatrix, DVector};

use crate::fit::Triangle;

/// The least-squares problem in some of a triangle's columns.
#[derive(Clone, Debug)]
pub struct Subset {
    /// R of the chosen columns, k by k, in their order.
    r: DMatrix<f64>,
    /// The first k components of Q'r.
    z: DVector<f64>,
    /// Sum of squares after the step that minimises it.
    pub squares: f64,
}

impl Subset {
    /// Of the columns `chosen`, in that order; none when they are dependent.
    pub fn of(triangle: &Triangle, chosen: &[usize]) -> Option<Subset> {
        let columns: Vec<_> = chosen.iter().map(|j| triangle.r().column(*j)).collect();
        let k = chosen.len();
        if k == 0 {
            return Some(Subset {
                r: DMatrix::zeros(0, 0),
                z: DVector::zeros(0),
                squares: triangle.squares(),
            });
        }
        let qr = DMatrix::from_columns(&columns).qr();
        let (q, r) = (qr.q(), qr.r());
        let z = q.transpose() * triangle.z();
        let largest = r.diagonal().amax();
        if r.diagonal().iter().any(|d| d.abs() <= largest * 1e-13) {
            return None;
        }
        Some(Subset {
            squares: (triangle.squares() - z.norm_squared()).max(0.0),
            r,
            z,
        })
    }

    /// What the data say of the last q columns once the first k - q are free.
    pub fn sensitivity(&self, q: usize) -> Option<Sensitivity> {
        let first = self.r.ncols().checked_sub(q)?;
        let head = self.r.view((0, 0), (first, first)).into_owned();
        let cross = self.r.view((0, first), (first, q)).into_owned();
        let tail = self.r.view((first, first), (q, q)).into_owned();
        let moved = -head.solve_upper_triangular(&cross)?;
        let pull = -tail.transpose() * self.z.rows(first, q);
        Some(Sensitivity {
            moved,
            information: tail.transpose() * tail,
            pull,
        })
    }
}

/// What the data say of q columns beside p others, in the units of the triangle's rows.
#[derive(Clone, Debug)]
pub struct Sensitivity {
    /// How the others' answers move for a unit of each of the q values, p by q.
    pub moved: DMatrix<f64>,
    /// The information on the q values once the others are free, q by q.
    pub information: DMatrix<f64>,
    /// The information times the q values that the data would give, q.
    pub pull: DVector<f64>,
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows [J | r] to a triangle.
    fn triangle(rows: &[[f64; 4]]) -> Triangle {
        let mut triangle = Triangle::new(3);
        for row in rows {
            triangle.absorb_row(row[3], &row[..3]);
        }
        triangle
    }

    const ROWS: [[f64; 4]; 5] = [
        [1.0, 0.2, 0.3, 1.0],
        [0.9, 1.0, -0.5, 0.3],
        [1.1, -0.4, 0.8, -0.2],
        [1.0, 0.7, 0.1, 0.9],
        [0.8, -0.9, -0.6, 0.4],
    ];

    #[test]
    fn a_subset_is_the_fit_of_those_columns_alone() {
        let subset = Subset::of(&triangle(&ROWS), &[2, 0]).unwrap();
        let (step, squares) = normal_equations(&ROWS, &[2, 0]);
        assert_eq!(step.len(), 2);
        assert!((subset.squares - squares).abs() < 1e-12);
    }

    #[test]
    fn sensitivity_is_how_the_fit_answers_a_held_value() {
        let subset = Subset::of(&triangle(&ROWS), &[0, 1, 2]).unwrap();
        let Sensitivity {
            moved,
            information,
            pull,
        } = subset.sensitivity(1).unwrap();
        // Hold the third at one: the residuals change by its column, and the fit of the
        // first two answers.
        let held = ROWS.map(|r| [r[0], r[1], r[2], r[3] + r[2]]);
        let change = normal_equations(&held, &[0, 1]).0 - normal_equations(&ROWS, &[0, 1]).0;
        assert!((change - moved.column(0)).norm() < 1e-12);
        let full = triangle(&ROWS);
        let n = full.r().transpose() * full.r();
        let variance = n.try_inverse().unwrap()[(2, 2)];
        assert!((information[(0, 0)] * variance - 1.0).abs() < 1e-10);
        let third = normal_equations(&ROWS, &[0, 1, 2]).0[2];
        assert!((pull[0] / information[(0, 0)] - third).abs() < 1e-10);
    }

    /// The step and the sum of squares after it, by the normal equations.
    fn normal_equations(rows: &[[f64; 4]; 5], columns: &[usize]) -> (DVector<f64>, f64) {
        let j = DMatrix::from_fn(5, columns.len(), |i, c| rows[i][columns[c]]);
        let r = DVector::from_fn(5, |i, _| rows[i][3]);
        let step = -(j.transpose() * &j).try_inverse().unwrap() * j.transpose() * &r;
        let squares = (r + j * &step).norm_squared();
        (step, squares)
    }
}
