//! Backlash without logged sides of arrival: an axis that rests in two positions.
//!
//! Where the side of arrival is not logged, half of the peaks are off by half the backlash to one
//! side, the others to the other side. That shows as a scatter with two humps. The likelihood of
//! two humps is compared with that of one with as many free parameters, a scatter of the axis of
//! any size: with the residuals r of the rows, the effect e of a unit of the axis on each, half the
//! backlash x and the noise v,
//!
//! ```text
//! two humps  L = product of ( N(r - e x; v) + N(r + e x; v) ) / 2
//! one        L = product of N(r; v + (e x)^2)
//! ```
//!
//! where N(r; v) is the normal density of mean zero and variance v.

use std::ops::Range;

use crate::angle::Angle;

use super::explanation::TwoPlaces;
use super::fault::FaultAxis;
use super::joint_fit::JointFit;
use super::session::Session;
use super::tuned::{
    CLIMBS_OF_TWO_PLACES, COARSE_LINES_OF_TWO_PLACES, FALSE_ALARM_OF_A_TEST_OF_SCATTER,
    LEAST_PEAKS_FOR_TWO_GROUPS, SIZES_OF_TWO_PLACES,
};
use crate::mount::Term;

/// Axes tested; the p-value is multiplied by this.
const TRIED: f64 = 2.0;

/// The axes that rest in two positions.
pub fn two_places(session: &Session, fit: &JointFit) -> Vec<TwoPlaces> {
    [
        (FaultAxis::Azimuth, Term::AzimuthZero),
        (FaultAxis::Elevation, Term::ElevationZero),
    ]
    .into_iter()
    .filter_map(|(axis, zero)| of_axis(session, fit, axis, zero))
    .collect()
}

fn of_axis(session: &Session, fit: &JointFit, axis: FaultAxis, zero: Term) -> Option<TwoPlaces> {
    let column = fit.place_of(zero)?;
    let linearised = session.linearised(fit, &[]);
    // For each row the residual and the effect of a unit of the axis on it; rows without an effect
    // determine only the noise.
    let rows: Vec<(f64, f64)> = (0..linearised.peaks())
        .filter(|i| fit.kept[*i])
        .flat_map(|i| linearised.rows_of(i))
        .map(|r| (linearised.residual(r), linearised.value(r, column)))
        .collect();
    let peaks = fit.kept.iter().filter(|k| **k).count();
    (peaks >= LEAST_PEAKS_FOR_TWO_GROUPS).then_some(())?;
    let moved: Vec<(f64, f64)> = rows
        .iter()
        .copied()
        .filter(|(_, effect)| effect.abs() > 1e-9)
        .collect();
    // In units of the axis: the scatter that one hump would have.
    let weight: f64 = moved.iter().map(|(_, e)| e * e).sum();
    let scatter = (moved.iter().map(|(r, e)| r * e).map(|x| x * x).sum::<f64>()
        / moved
            .iter()
            .map(|(_, e)| e.powi(4))
            .sum::<f64>()
            .max(1e-300))
    .sqrt();
    (weight > 0.0 && scatter > 0.0).then_some(())?;
    let noises: Vec<f64> = (1..=SIZES_OF_TWO_PLACES)
        .map(|k| fit.variance.sqrt() * 1.1 * k as f64 / SIZES_OF_TWO_PLACES as f64)
        .collect();
    let sizes: Vec<f64> = (0..=SIZES_OF_TWO_PLACES)
        .map(|k| 1.5 * scatter * k as f64 / SIZES_OF_TWO_PLACES as f64)
        .collect();
    let one = |size: f64, noise: f64| -> f64 {
        let variances = Product::of(
            moved
                .iter()
                .map(|(_, e)| noise * noise + (size * e).powi(2)),
        );
        let squares = moved
            .iter()
            .map(|(r, e)| r * r / (noise * noise + (size * e).powi(2)));
        -0.5 * (variances.ln() + squares.sum::<f64>())
    };
    let squares: f64 = moved.iter().map(|(r, _)| r * r).sum();
    let two = |size: f64, noise: f64| -> f64 {
        // The mean of the densities about x and -x is that about 0, times exp(-x^2/2) cosh(r x).
        let over = size / (noise * noise);
        let beyond = |(r, e): &(f64, f64)| (r * e * over).abs();
        let common: f64 = moved.iter().map(beyond).sum();
        let cosines = Product::of(moved.iter().map(|m| 1.0 + (-2.0 * beyond(m)).exp()));
        let all = moved.len() as f64;
        common + cosines.ln()
            - all * (2.0_f64.ln() + noise.ln())
            - 0.5 * (squares + size * size * weight) / (noise * noise)
    };
    let best = |of: &dyn Fn(f64, f64) -> f64| {
        let (value, [size, noise]) = highest([sizes.len(), noises.len()], |[size, noise]| {
            of(sizes[size], noises[noise])
        });
        (value, sizes[size], noises[noise])
    };
    let (single, _, _) = best(&one);
    let (double, size, noise) = best(&two);
    // A wrong explanation is K times as likely as the right one with probability 1/K at most
    // (Markov's inequality on the likelihood ratio; Royall, Statistical Evidence, 1997; from
    // memory), with Schwarz's price for the size that was fitted.
    let gain = double - single - 0.5 * (peaks as f64).ln();
    let p_value = (TRIED * (-gain).exp()).min(1.0);
    (p_value <= FALSE_ALARM_OF_A_TEST_OF_SCATTER).then(|| TwoPlaces {
        axis,
        apart: Angle::from_radians(2.0 * size),
        sigma: Angle::from_radians(2.0 * noise / weight.sqrt()),
        p_value,
    })
}

/// The highest value of a smooth function on a grid, and where: on a coarse grid first, then uphill
/// from the best few places.
fn highest(lengths: [usize; 2], of: impl Fn([usize; 2]) -> f64) -> (f64, [usize; 2]) {
    let mut known = vec![f64::NAN; lengths[0] * lengths[1]];
    let mut value = |[i, j]: [usize; 2]| {
        let known = &mut known[i * lengths[1] + j];
        if known.is_nan() {
            *known = of([i, j]);
        }
        *known
    };
    let mut best_of = |lines: Range<usize>, across: Range<usize>, step: usize| {
        let places = lines.step_by(step).map(|i| {
            let across = across.clone().step_by(step).map(move |j| [i, j]);
            (across.map(|at| (value(at), at))).fold((f64::NEG_INFINITY, [i, 0]), |a, b| {
                if b.0 > a.0 { b } else { a }
            })
        });
        let mut lines: Vec<(f64, [usize; 2])> = places.collect();
        lines.sort_by(|a, b| b.0.total_cmp(&a.0));
        lines
    };
    let coarse = best_of(0..lengths[0], 0..lengths[1], COARSE_LINES_OF_TWO_PLACES);
    let near = |at: usize, length: usize| {
        at.saturating_sub(COARSE_LINES_OF_TWO_PLACES)
            ..length.min(at + COARSE_LINES_OF_TWO_PLACES + 1)
    };
    (coarse.into_iter().take(CLIMBS_OF_TWO_PLACES))
        .map(|mut here| {
            loop {
                let [i, j] = here.1;
                let around = best_of(near(i, lengths[0]), near(j, lengths[1]), 1);
                if around[0].0 <= here.0 {
                    return here;
                }
                here = around[0];
            }
        })
        .fold(
            (f64::NEG_INFINITY, [0, 0]),
            |a, b| if b.0 > a.0 { b } else { a },
        )
}

/// A product of many positive numbers, stored in pieces that neither overflow nor underflow.
struct Product {
    ln: f64,
    rest: f64,
}

impl Product {
    fn of(factors: impl Iterator<Item = f64>) -> Product {
        /// Still far from where one more factor would leave the range of double precision.
        const WITHIN: std::ops::Range<f64> = 1e-100..1e100;
        let mut product = Product { ln: 0.0, rest: 1.0 };
        for factor in factors {
            product.rest *= factor;
            if !WITHIN.contains(&product.rest) {
                product.ln += product.rest.ln();
                product.rest = 1.0;
            }
        }
        product
    }
    fn ln(&self) -> f64 {
        self.ln + self.rest.ln()
    }
}
