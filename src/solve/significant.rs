//! A mount error known well enough to correct by hand: its size in units and digits that are
//! practical to work with.

use crate::angle::Angle;
use crate::mount::{Group, Term};
use crate::number::{by_sigma, two_digits, with_sigma};

use super::outcome::Outcome;

/// A term is worth correcting when it is this many of its sigmas from zero: the usual three.
const SIGNIFICANT: f64 = 3.0;

pub(super) const KEEP_CLEAR: &str = "Isolate the drive's power first and keep clear of moving axes and \
    counterweights; support the dish before any bolt is loosened.";
/// A title, the steps, and the caution.
pub(super) type Words = (String, Vec<String>, &'static str);

/// The values of a group's terms when at least one is significant.
pub(super) struct Significant {
    pub(super) terms: Vec<Term>,
    pub(super) values: Vec<f64>,
    /// The largest of their standard deviations.
    pub(super) sigma: f64,
    /// The standard deviation of each.
    pub(super) sigmas: Vec<f64>,
    /// The standard deviation of a pair's length, in the unit of files.
    length_sigma: f64,
}

impl Significant {
    pub(super) fn of(outcome: &Outcome, group: Group) -> Option<Significant> {
        let terms: Vec<Term> = group.terms().collect();
        let mut values = Vec::new();
        let mut sigmas = Vec::new();
        let mut significant = false;
        for term in &terms {
            let estimate = outcome.terms.iter().find(|t| t.term == *term)?;
            values.push(estimate.value);
            sigmas.push(estimate.sigma.unwrap_or(0.0));
            significant |= estimate
                .sigma
                .is_some_and(|s| estimate.value.abs() > SIGNIFICANT * s);
        }
        let sigma = sigmas.iter().copied().fold(0.0, f64::max);
        let estimate = |term: &Term| outcome.terms.iter().find(|t| t.term == *term);
        let length_sigma = match terms.as_slice() {
            [x, y] => outcome.size_and_direction(estimate(x)?, estimate(y)?).1,
            _ => None,
        };
        significant.then_some(Significant {
            length_sigma: length_sigma.unwrap_or_else(|| terms[0].unit().outward(sigma)),
            terms,
            values,
            sigma,
            sigmas,
        })
    }
    /// The size of a part of the pair in degrees, with its own standard deviation.
    pub(super) fn part(&self, index: usize) -> String {
        let degrees = |radians: f64| Angle::from_radians(radians).degrees();
        let (value, sigma) = with_sigma(
            degrees(self.values[index]).abs(),
            degrees(self.sigmas[index]),
        );
        format!("{value} +/- {sigma}")
    }
    /// The first term's value in the unit of files.
    pub(super) fn shown(&self) -> f64 {
        self.terms[0].unit().outward(self.values[0])
    }
    /// A value derived from the term by `factor`, with its standard deviation.
    pub(super) fn digits(&self, value: f64, factor: f64) -> String {
        let sigma = self.terms[0].unit().outward(self.sigma) * factor;
        format!("{} +/- {}", by_sigma(value, sigma), two_digits(sigma))
    }
    /// A value with the digits that its standard deviation supports, to be entered somewhere.
    pub(super) fn plain(&self, value: f64, factor: f64) -> String {
        by_sigma(value, self.terms[0].unit().outward(self.sigma) * factor)
    }
    /// The absolute value of the first term, with its standard deviation.
    pub(super) fn size(&self) -> String {
        self.digits(self.shown().abs(), 1.0)
    }
    /// Millimetres of shim per 100 mm, with the digits that the standard deviation supports.
    pub(super) fn per_100_mm(&self) -> String {
        self.millimetres(100.0 * self.values[0].abs().tan(), 100.0)
    }
    /// Millimetres at `radius_mm` from the pivot, with their standard deviation; a hundredth is
    /// finer than any shim.
    pub(super) fn millimetres(&self, value: f64, radius_mm: f64) -> String {
        let sigma = (self.sigma * radius_mm).max(0.01);
        format!(
            "{} +/- {}",
            by_sigma(value, sigma.max(0.1)),
            two_digits(sigma)
        )
    }
    /// Length of the pair of terms in degrees, with its standard deviation.
    pub(super) fn length_words(&self) -> String {
        let (length, sigma) = with_sigma(self.length().degrees(), self.length_sigma);
        format!("{length} +/- {sigma}")
    }
    /// Length of the pair of terms, as an angle.
    pub(super) fn length(&self) -> Angle {
        Angle::from_radians(self.values[0].hypot(self.values[1]))
    }
    /// Direction of the pair: first term toward zero, second toward ninety degrees.
    pub(super) fn heading(&self) -> Angle {
        Angle::from_radians(self.values[1].atan2(self.values[0])).wrapped_positive()
    }
}

/// Simulated sizes, for tests.
#[cfg(test)]
pub(super) mod made {
    use super::*;

    pub fn of(term: Term, degrees: f64) -> Significant {
        Significant {
            terms: vec![term],
            values: vec![term.unit().inward(degrees)],
            sigma: term.unit().inward(0.01),
            sigmas: vec![term.unit().inward(0.01)],
            length_sigma: 0.01,
        }
    }

    pub fn pair(terms: [Term; 2], degrees: [f64; 2]) -> Significant {
        Significant {
            terms: terms.to_vec(),
            values: degrees.map(f64::to_radians).to_vec(),
            sigma: 0.01_f64.to_radians(),
            sigmas: vec![0.01_f64.to_radians(); 2],
            length_sigma: 0.01,
        }
    }
}
