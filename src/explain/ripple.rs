//! Ripples of an unknown rate: teeth, belts, steppers. Every whole number of waves per turn is
//! tried on the residuals of the joint fit.

use std::ops::RangeInclusive;

use nalgebra::{DVector, Matrix2, Vector2};

use crate::station::Station;

use super::candidates::ripple_rates;
use super::fault::FaultAxis;
use super::hypothesis::Hypothesis;
use super::joint_fit::JointFit;
use super::linearised::{Linearised, Weighted, sum_of_products};
use super::misfit::{expected_reading, filled_reading};
use super::session::Session;

use super::tuned::{MOST_PEAKS_FOR_A_RIPPLE, VARIANCES_TO_FIT_A_RIPPLE};
use crate::mount::Term;

/// For each axis the ripple that explains most, where one explains enough to be worth a fit.
pub fn ripples(
    station: &Station,
    session: &Session,
    about: &JointFit,
    linearised: &Linearised,
) -> Vec<Hypothesis> {
    [
        (FaultAxis::Azimuth, Term::AzimuthZero),
        (FaultAxis::Elevation, Term::ElevationZero),
    ]
    .into_iter()
    .filter_map(|(axis, zero)| {
        let rates = ripple_rates(station, session, axis)?;
        let column = about.place_of(zero)?;
        best_rate(session, about, linearised, axis, column, rates)
    })
    .collect()
}

fn best_rate(
    session: &Session,
    about: &JointFit,
    linearised: &Linearised,
    axis: FaultAxis,
    zero: usize,
    rates: RangeInclusive<u16>,
) -> Option<Hypothesis> {
    let (first_rate, last_rate) = (*rates.start(), *rates.end());
    let base: Vec<usize> = (0..about.count()).collect();
    let fitted = linearised.solve(&base, &Weighted::Kept(&about.kept), about.variance)?;
    let stride = session.peaks.len().div_ceil(MOST_PEAKS_FOR_A_RIPPLE).max(1);
    let p = base.len();
    let mut rows: Vec<Row> = Vec::new();
    // Row by row.
    let mut own: Vec<f64> = Vec::new();
    let problem = about.problem(session);
    let bare = problem.mount(&about.parameters);
    for i in (0..session.peaks.len())
        .step_by(stride)
        .filter(|i| about.kept[*i])
    {
        let sighting = &session.peaks[i].sighting;
        let measured = match axis {
            FaultAxis::Azimuth => sighting.azimuth.is_some(),
            _ => sighting.elevation.is_some(),
        };
        if !measured {
            continue;
        }
        let expected = expected_reading(&bare, sighting, filled_reading(&bare, sighting));
        let reading = match axis {
            FaultAxis::Azimuth => expected.azimuth.radians(),
            _ => expected.elevation.radians(),
        };
        let turn = reading.sin_cos();
        for row in linearised.rows_of(i) {
            let effect = linearised.value(row, zero);
            if effect == 0.0 {
                continue;
            }
            let first = own.len();
            own.extend(base.iter().map(|j| linearised.value(row, *j)));
            let change = sum_of_products(&own[first..], fitted.step.as_slice());
            rows.push(Row {
                effect,
                left: linearised.residual(row) + change,
                turn,
                wave: (reading * f64::from(first_rate)).sin_cos(),
            });
        }
    }
    let mut best: Option<(f64, u16)> = None;
    for rate in first_rate..=last_rate {
        let mut square = Matrix2::zeros();
        let mut product = Vector2::zeros();
        let mut along = [DVector::zeros(p), DVector::zeros(p)];
        // As slices: to go along a vector of nalgebra number by number takes several times as long.
        let [along_cosine, along_sine] = along.each_mut().map(|a| a.as_mut_slice());
        for (row, own) in rows.iter_mut().zip(own.chunks_exact(p)) {
            let (s, c) = row.wave;
            let wave = Vector2::new(row.effect * c, row.effect * s);
            square += wave * wave.transpose();
            product += wave * row.left;
            let sums = along_cosine.iter_mut().zip(along_sine.iter_mut());
            for ((cosine, sine), x) in sums.zip(own) {
                *cosine += wave[0] * x;
                *sine += wave[1] * x;
            }
            row.wave = turned(row.wave, row.turn);
        }
        let taken = along.map(|a| fitted.inverse.tr_mul(&a) * (stride as f64).sqrt());
        let free = Matrix2::from_fn(|i, j| square[(i, j)] - taken[i].dot(&taken[j]));
        let Some(root) = free.cholesky() else {
            continue;
        };
        let fall = product.dot(&root.solve(&product)) / about.variance;
        if best.is_none_or(|(most, _)| fall > most) {
            best = Some((fall, rate));
        }
    }
    let (_, per_turn) = best.filter(|(fall, _)| *fall > VARIANCES_TO_FIT_A_RIPPLE)?;
    Some(Hypothesis::Ripple { axis, per_turn })
}

/// A row of the search.
struct Row {
    /// Effect of a unit of the axis zero on it.
    effect: f64,
    /// Residual of the fit.
    left: f64,
    /// Sine and cosine of the reading.
    turn: (f64, f64),
    /// Sine and cosine of the reading times the current rate.
    wave: (f64, f64),
}

/// Sine and cosine of the sum of two angles.
fn turned((s, c): (f64, f64), (by_s, by_c): (f64, f64)) -> (f64, f64) {
    (s * by_c + c * by_s, c * by_c - s * by_s)
}
