//! Play without logged sides of arrival: an axis that rests in two places.
//!
//! Where the side of arrival is not logged, half of the peaks stand half the play to one side and
//! half to the other. That shows as a scatter with two humps. The likelihood of two humps is held
//! against that of one with the same freedom, a scatter of the axis of any size.

use crate::angle::Angle;

use super::explanation::TwoPlaces;
use super::fault::Axis;
use super::joint_fit::JointFit;
use super::session::Session;
use crate::mount::Term;

/// The probability that a single resting place is taken for two.
const FALSE_ALARM: f64 = 0.002;
/// With fewer peaks humps cannot be told.
const LEAST_PEAKS: usize = 16;
/// Axes asked for.
const TRIED: f64 = 2.0;
/// Sizes tried, as a share of the scatter.
const STEPS: usize = 60;

/// The axes that rest in two places.
pub fn two_places(session: &Session, fit: &JointFit) -> Vec<TwoPlaces> {
    [
        (Axis::Azimuth, Term::AzimuthZero),
        (Axis::Elevation, Term::ElevationZero),
    ]
    .into_iter()
    .filter_map(|(axis, zero)| of_axis(session, fit, axis, zero))
    .collect()
}

fn of_axis(session: &Session, fit: &JointFit, axis: Axis, zero: Term) -> Option<TwoPlaces> {
    let column = fit.place_of(zero)?;
    let linearised = session.linearised(fit, &[]);
    // Of each row the residual and what a unit of the axis does to it; rows of no effect tell the
    // noise alone.
    let rows: Vec<(f64, f64)> = (0..linearised.peaks())
        .filter(|i| fit.kept[*i])
        .flat_map(|i| linearised.rows_of(i))
        .map(|r| (linearised.residual(r), linearised.value(r, column)))
        .collect();
    let peaks = fit.kept.iter().filter(|k| **k).count();
    (peaks >= LEAST_PEAKS).then_some(())?;
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
    let noises: Vec<f64> = (1..=STEPS)
        .map(|k| fit.variance.sqrt() * 1.1 * k as f64 / STEPS as f64)
        .collect();
    let sizes: Vec<f64> = (0..=STEPS)
        .map(|k| 1.5 * scatter * k as f64 / STEPS as f64)
        .collect();
    let one = |size: f64, noise: f64| -> f64 {
        (moved.iter())
            .map(|(r, e)| {
                let variance = noise * noise + (size * e).powi(2);
                -0.5 * (variance.ln() + r * r / variance)
            })
            .sum()
    };
    let two = |size: f64, noise: f64| -> f64 {
        (moved.iter())
            .map(|(r, e)| {
                let hump = |at: f64| (-0.5 * ((r - at) / noise).powi(2)).exp();
                let density = 0.5 * (hump(size * e) + hump(-size * e));
                density.max(1e-300).ln() - noise.ln()
            })
            .sum()
    };
    let best = |of: &dyn Fn(f64, f64) -> f64| {
        let mut best = (f64::NEG_INFINITY, 0.0, 1.0);
        for size in &sizes {
            for noise in &noises {
                let value = of(*size, *noise);
                if value > best.0 {
                    best = (value, *size, *noise);
                }
            }
        }
        best
    };
    let (single, _, _) = best(&one);
    let (double, size, noise) = best(&two);
    // A wrong explanation is K times as likely as the right one with probability 1/K at most
    // (Markov's inequality on the likelihood ratio; Royall, Statistical Evidence, 1997; from
    // memory), with Schwarz's price for the size that was fitted.
    let gain = double - single - 0.5 * (peaks as f64).ln();
    let p_value = (TRIED * (-gain).exp()).min(1.0);
    (p_value <= FALSE_ALARM).then(|| TwoPlaces {
        axis,
        apart: Angle::from_radians(2.0 * size),
        sigma: Angle::from_radians(2.0 * noise / weight.sqrt()),
        p_value,
    })
}
