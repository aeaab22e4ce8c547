//! Bounded and slow-growing losses, by the length of an observation's whole offset.

/// Rows of an observation up to which the constants below are tabulated: two of a peak, and room to
/// spare.
const TABULATED: usize = 4;

/// How an observation's weight falls with its offset u (length of its whitened residual
/// vector over the scale). What is minimised is the sum of rho(u) over the observations, of which
/// the weight is rho'(u) / u up to a factor; with t = u / c
///
/// ```text
/// Huber   rho = t^2 up to t = 1, then 2 t - 1
/// Cauchy  rho = ln(1 + t^2)
/// Tukey   rho = 1 - (1 - t^2)^3 up to t = 1, then 1
/// ```
///
/// The tuning constants give 95 % efficiency on normal noise, for observations of one, two,
/// three and four rows; they were computed for this table from the asymptotic variance of a
/// radial location estimate (Huber and Ronchetti, Robust Statistics, 2nd edition) and are
/// recomputed in the tests.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Loss {
    /// One up to c, then c/u: mild, one minimum.
    Huber,
    /// 1/(1 + (u/c)^2): never zero.
    Cauchy,
    /// (1 - (u/c)^2)^2, zero from c on: far ones do not count at all.
    Tukey,
}

impl Loss {
    /// The tuning constant c for observations of `rows` rows.
    pub fn constant(self, rows: usize) -> f64 {
        let table: [f64; TABULATED] = match self {
            Loss::Huber => [1.34500, 1.50114, 1.62799, 1.73107],
            Loss::Cauchy => [2.38495, 2.54864, 2.66557, 2.75158],
            Loss::Tukey => [4.68506, 5.12299, 5.49025, 5.81032],
        };
        table[rows.clamp(1, TABULATED) - 1]
    }
    /// The weight at offset `u` of an observation of `rows` rows, 0 to 1.
    pub fn weight(self, u: f64, rows: usize) -> f64 {
        let t = u / self.constant(rows);
        match self {
            Loss::Huber => 1.0 / t.max(1.0),
            Loss::Cauchy => 1.0 / (1.0 + t * t),
            Loss::Tukey => (1.0 - (t * t).min(1.0)).powi(2),
        }
    }
    /// The loss whose derivative is u times the weight, in units of c^2/2 (Huber, Cauchy) or
    /// c^2/6 (Tukey, which then lies between 0 and 1).
    pub fn loss(self, u: f64, rows: usize) -> f64 {
        let t = u / self.constant(rows);
        match self {
            Loss::Huber if t <= 1.0 => t * t,
            Loss::Huber => 2.0 * t - 1.0,
            Loss::Cauchy => (t * t).ln_1p(),
            Loss::Tukey => 1.0 - (1.0 - (t * t).min(1.0)).powi(3),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use statrs::function::gamma::ln_gamma;

    /// Asymptotic efficiency of the radial estimate on normal noise in `rows` dimensions:
    /// B^2/A with A = E[(u w)^2]/k and B = E[w + u w'/k], by the midpoint rule.
    fn efficiency(loss: Loss, rows: usize) -> f64 {
        let k = rows as f64;
        let log_norm = (1.0 - k / 2.0) * 2.0_f64.ln() - ln_gamma(k / 2.0);
        let (mut a, mut b) = (0.0, 0.0);
        let step = 1e-4;
        for i in 0..120_000 {
            let u = step * (i as f64 + 0.5);
            let density = (log_norm + (k - 1.0) * u.ln() - 0.5 * u * u).exp() * step;
            let w = loss.weight(u, rows);
            let slope = (loss.weight(u + 1e-6, rows) - loss.weight(u - 1e-6, rows)) / 2e-6;
            a += density * (u * w).powi(2) / k;
            b += density * (w + u * slope / k);
        }
        b * b / a
    }

    #[test]
    fn the_weight_is_the_slope_of_the_loss_over_the_offset() {
        /// Central differences are good to the square of their step.
        const DIFFERENCE: f64 = 1e-8;
        for (loss, unit) in [(Loss::Huber, 2.0), (Loss::Cauchy, 2.0), (Loss::Tukey, 6.0)] {
            for rows in 1..=TABULATED {
                for u in [0.2, 1.0, 2.2, 4.0, 7.0] {
                    let step = 1e-5;
                    let rise = loss.loss(u + step, rows) - loss.loss(u - step, rows);
                    let slope = rise / (2.0 * step) * loss.constant(rows).powi(2) / unit;
                    let weight = loss.weight(u, rows);
                    assert!(
                        (slope / u - weight).abs() < DIFFERENCE,
                        "{loss:?} {rows} {u}"
                    );
                }
            }
        }
    }

    /// The quadrature meets Huber's kink only to its step.
    const QUADRATURE: f64 = 5e-5;

    #[test]
    fn constants_give_95_percent_efficiency() {
        for loss in [Loss::Huber, Loss::Cauchy, Loss::Tukey] {
            for rows in 1..=TABULATED {
                let efficiency = efficiency(loss, rows);
                assert!(
                    (efficiency - 0.95).abs() < QUADRATURE,
                    "{loss:?}, {rows} rows: {efficiency}"
                );
            }
        }
    }

    #[test]
    fn weight_is_the_slope_of_the_loss_over_u() {
        for (loss, unit) in [(Loss::Huber, 2.0), (Loss::Cauchy, 2.0), (Loss::Tukey, 6.0)] {
            for u in [0.1, 1.0, 2.0, 4.0, 7.0] {
                let slope = (loss.loss(u + 1e-6, 2) - loss.loss(u - 1e-6, 2)) / 2e-6;
                let expected = u * loss.weight(u, 2) * unit / loss.constant(2).powi(2);
                assert!((slope - expected).abs() < 1e-7);
            }
        }
    }
}
