//! Quantiles for intervals and cut-offs.

use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor, Normal, StudentsT};

/// How many standard deviations to each side hold the probability `level` (between 0 and 1)
/// under the normal law: 1.96 for 0.95.
pub fn normal_two_sided(level: f64) -> f64 {
    Normal::standard().inverse_cdf(0.5 + 0.5 * level)
}

/// Half the width of the interval about zero that holds the probability `level` of a bell of
/// unit width whose middle lies `away` from zero: [`normal_two_sided`] without a shift, the
/// one-sided quantile more than `away` far out.
pub fn shifted_two_sided(level: f64, away: f64) -> f64 {
    let (bell, away) = (Normal::standard(), away.abs());
    let held = |c: f64| bell.cdf(c - away) - bell.cdf(-c - away);
    // What is held grows with c, and is less than half where c is the shift.
    let mut low = away;
    let mut high = away + normal_two_sided(level);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if held(middle) < level {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// As [`normal_two_sided`], for Student's t with `freedom` degrees of freedom; infinite without any.
pub fn student_two_sided(level: f64, freedom: f64) -> f64 {
    match StudentsT::new(0.0, 1.0, freedom) {
        Ok(law) if freedom > 0.0 => law.inverse_cdf(0.5 + 0.5 * level),
        _ => f64::INFINITY,
    }
}

/// The value that chi-square with `freedom` degrees of freedom exceeds with probability
/// `tail`.
pub fn chi_square_tail(tail: f64, freedom: f64) -> f64 {
    match ChiSquared::new(freedom) {
        Ok(law) => law.inverse_cdf(1.0 - tail),
        Err(_) => 0.0,
    }
}

/// The probability that chi-square with `freedom` degrees of freedom exceeds `value`.
pub fn chi_square_exceeds(value: f64, freedom: f64) -> f64 {
    match ChiSquared::new(freedom) {
        Ok(law) => law.sf(value.max(0.0)),
        Err(_) => 1.0,
    }
}

/// The value that F with the degrees of freedom of numerator and denominator exceeds with
/// probability `tail`; infinite without degrees of freedom.
pub fn f_tail(tail: f64, numerator: f64, denominator: f64) -> f64 {
    match FisherSnedecor::new(numerator, denominator) {
        Ok(law) => law.inverse_cdf(1.0 - tail),
        Err(_) => f64::INFINITY,
    }
}

/// The probability that F exceeds `value`.
pub fn f_exceeds(value: f64, numerator: f64, denominator: f64) -> f64 {
    match FisherSnedecor::new(numerator, denominator) {
        Ok(law) => law.sf(value.max(0.0)),
        Err(_) => 1.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Tables print four decimals or so.
    const TABLE: f64 = 6e-4;

    const SHIFTED: [(f64, f64); 4] = [
        (0.25, 2.01971),
        (0.5, 2.18148),
        (1.0, 2.64615),
        (2.0, 3.64485),
    ];

    #[test]
    fn quantiles_agree_with_printed_tables() {
        // NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.7, tables of
        // critical values (from memory).
        assert!((normal_two_sided(0.95) - 1.95996).abs() < TABLE);
        assert!((student_two_sided(0.95, 10.0) - 2.228).abs() < TABLE);
        assert!((student_two_sided(0.99, 1.0) - 63.657).abs() < TABLE);
        assert!((chi_square_tail(0.05, 3.0) - 7.815).abs() < TABLE);
        assert!((f_tail(0.05, 2.0, 10.0) - 4.103).abs() < TABLE);
        assert!((f_exceeds(4.103, 2.0, 10.0) - 0.05).abs() < TABLE);
        assert!((chi_square_exceeds(7.815, 3.0) - 0.05).abs() < TABLE);
        assert_eq!(student_two_sided(0.95, 0.0), f64::INFINITY);
    }

    #[test]
    fn a_shifted_bell_needs_a_wider_interval() {
        assert!((shifted_two_sided(0.95, 0.0) - 1.95996).abs() < TABLE);
        // The root of the 95 % point of chi-square with one degree of freedom and the shift
        // squared as its non-centrality, by scipy 1.17.
        for (away, half_width) in SHIFTED {
            assert!((shifted_two_sided(0.95, away) - half_width).abs() < TABLE);
            assert_eq!(
                shifted_two_sided(0.95, -away),
                shifted_two_sided(0.95, away)
            );
        }
        assert!((shifted_two_sided(0.95, 1e6) - 1e6 - 1.64485).abs() < TABLE);
    }
}
