//! The step of one iteration: the minimum of the linearised problem within a radius.

use super::triangle::Triangle;
use nalgebra::{DMatrix, DVector, SVD};

/// Below this scaled condition number (an upper bound of it, in the Frobenius norm) the
/// Gauss-Newton step is taken by back substitution, which then keeps 8 digits or more; from
/// there on by singular values.
const SAFE_CONDITION: f64 = 1e8;

/// Singular values of the scaled triangle below this fraction of the largest carry no digit
/// (a few hundred roundings): the step does not move along their directions.
pub(crate) const NO_DIGIT: f64 = 1e-13;

/// The radius is met within this fraction (Moré 1978, section 5).
const RADIUS_SLACK: f64 = 0.1;

/// One step and what the linearised problem expects of it.
#[derive(Clone, Debug)]
pub(crate) struct TrialStep {
    /// The change of the parameters.
    pub change: DVector<f64>,
    /// Its length in scaled units.
    pub length: f64,
    /// |J step|^2.
    pub linear: f64,
    /// Marquardt parameter times the squared scaled length.
    pub damped: f64,
}

/// Minimises |R d + z| subject to |D d| <= radius, with D = diag(`scale`), all above zero.
///
/// The Marquardt parameter comes from the secular equation in the singular values of R/D:
/// Moré, The Levenberg-Marquardt algorithm (1978), section 5, with singular values in the
/// place of repeated factorisations. Directions without digits are left alone, which gives
/// the shortest step of a rank-deficient problem.
pub(crate) fn within(triangle: &Triangle, scale: &[f64], radius: f64) -> TrialStep {
    let scaled = scaled_triangle(triangle, scale);
    let allowed = radius * (1.0 + RADIUS_SLACK);
    if let Some(inverse) = safe_inverse(&scaled) {
        let step = -(&inverse * triangle.z());
        if step.norm() <= allowed {
            // One refinement of the substitution costs nothing and regains a digit.
            let left = triangle.z() + &scaled * &step;
            let step = step - &inverse * left;
            return finish(&scaled, scale, step, 0.0);
        }
    }
    let svd = SVD::new(scaled.clone(), true, true);
    let (Some(u), Some(vt)) = (&svd.u, &svd.v_t) else {
        let zero = DVector::zeros(scale.len());
        return finish(&scaled, scale, zero, 0.0);
    };
    let s = &svd.singular_values;
    let c = u.tr_mul(triangle.z());
    let floor = NO_DIGIT * s.max();
    let along = |lambda: f64| -> DVector<f64> {
        let part = |i: usize| -s[i] * c[i] / (s[i] * s[i] + lambda);
        DVector::from_fn(s.len(), |i, _| if s[i] > floor { part(i) } else { 0.0 })
    };
    let free = along(0.0);
    if free.norm() <= allowed {
        return finish(&scaled, scale, vt.tr_mul(&free), 0.0);
    }
    // Newton on the secular equation |d(lambda)| = radius, kept between bounds.
    let slope = |lambda: f64, d: &DVector<f64>| -> f64 {
        let parts = (0..s.len())
            .filter(|i| s[*i] > floor)
            .map(|i| d[i] * d[i] / (s[i] * s[i] + lambda));
        -parts.sum::<f64>() / d.norm()
    };
    let mut low = -(free.norm() - radius) / slope(0.0, &free);
    let mut high = c.component_mul(s).norm() / radius;
    let mut lambda = low.max(1e-3 * high);
    let mut d = along(lambda);
    for _ in 0..MOST_SECULAR_STEPS {
        let excess = d.norm() - radius;
        if excess.abs() <= RADIUS_SLACK * radius {
            break;
        }
        if excess > 0.0 {
            low = low.max(lambda);
        } else {
            high = high.min(lambda);
        }
        let next = lambda - (excess + radius) / radius * excess / slope(lambda, &d);
        lambda = if next > low && next < high {
            next
        } else {
            (low * high).sqrt().max(1e-3 * high)
        };
        d = along(lambda);
    }
    finish(&scaled, scale, vt.tr_mul(&d), lambda)
}

/// The secular equation needs two or three steps (Moré 1978); after this many it cannot be met any
/// better in double precision.
const MOST_SECULAR_STEPS: usize = 20;

/// The Gauss-Newton step, without any radius.
pub(crate) fn full(triangle: &Triangle, scale: &[f64]) -> TrialStep {
    within(triangle, scale, f64::INFINITY)
}

fn finish(scaled: &DMatrix<f64>, scale: &[f64], step: DVector<f64>, lambda: f64) -> TrialStep {
    let length = step.norm();
    TrialStep {
        linear: (scaled * &step).norm_squared(),
        damped: lambda * length * length,
        length,
        change: DVector::from_fn(scale.len(), |j, _| step[j] / scale[j]),
    }
}

/// R D^-1.
pub(crate) fn scaled_triangle(triangle: &Triangle, scale: &[f64]) -> DMatrix<f64> {
    let mut scaled = triangle.r().clone();
    for (j, s) in scale.iter().enumerate() {
        scaled.column_mut(j).unscale_mut(*s);
    }
    scaled
}

/// The inverse of an upper triangle, if its condition is safe.
pub(crate) fn safe_inverse(upper: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let n = upper.nrows();
    let mut inverse = DMatrix::identity(n, n);
    // Column by column back substitution, column by column of the triangle.
    for (j, x) in inverse
        .as_mut_slice()
        .chunks_exact_mut(n.max(1))
        .enumerate()
    {
        for i in (0..=j).rev() {
            let column = &upper.as_slice()[i * n..=i * n + i];
            let Some((diagonal, above)) = column.split_last() else {
                continue;
            };
            if *diagonal == 0.0 {
                return None;
            }
            let here = x[i] / diagonal;
            x[i] = here;
            for (x, u) in x.iter_mut().zip(above) {
                *x -= u * here;
            }
        }
    }
    let condition = upper.norm() * inverse.norm();
    (condition < SAFE_CONDITION).then_some(inverse)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn example() -> Triangle {
        let mut triangle = Triangle::new(3);
        for (i, row) in [
            [1.0, 2.0, 0.5],
            [0.3, -1.0, 2.0],
            [4.0, 0.1, 1.0],
            [0.0, 1.0, 7.0],
        ]
        .iter()
        .enumerate()
        {
            triangle.absorb_row(1.0 + i as f64, row);
        }
        triangle
    }

    #[test]
    fn a_short_radius_is_kept_and_meets_the_damped_equations() {
        let triangle = example();
        let scale = triangle.column_norms();
        let free = full(&triangle, &scale);
        for fraction in [0.9, 0.5, 1e-2, 1e-6] {
            let radius = fraction * free.length / 1.2;
            let step = within(&triangle, &scale, radius);
            assert!((step.length - radius).abs() <= RADIUS_SLACK * radius * 1.0001);
            // (R'R + lambda D^2) d = -R'z
            let lambda = step.damped / step.length.powi(2);
            let r = triangle.r();
            let mut left = r.tr_mul(r) * &step.change + triangle.gradient();
            for j in 0..3 {
                left[j] += lambda * scale[j] * scale[j] * step.change[j];
            }
            assert!(left.norm() < 1e-10 * triangle.gradient().norm());
        }
    }

    #[test]
    fn the_step_of_a_deficient_problem_is_the_shortest() {
        let mut triangle = Triangle::new(2);
        for _ in 0..5 {
            triangle.absorb_row(-2.0, &[1.0, 1.0]);
        }
        let step = full(&triangle, &triangle.column_norms());
        assert!((step.change[0] - 1.0).abs() < 1e-12);
        assert!((step.change[1] - 1.0).abs() < 1e-12);
    }
}
