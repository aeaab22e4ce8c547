//! Ripples of an unknown rate: teeth, belts, steppers. Every whole number of waves per turn is
//! tried on what the joint fit leaves over.

use nalgebra::{DVector, Matrix2, Vector2};

use crate::station::Station;

use super::candidates::ripple_rates;
use super::fault::Axis;
use super::hypothesis::Hypothesis;
use super::joint_fit::JointFit;
use super::linearised::{Linearised, Weighted};
use super::misfit::{expected_reading, filled_reading};
use super::session::Session;

use crate::mount::Term;

/// A ripple is worth a full fit when the sum of squares falls by so many variances: chi-square
/// with two degrees of freedom exceeds it with a probability of 1e-6.
const WORTH_FITTING: f64 = 27.6;
/// The search takes no more than so many peaks.
const MOST_SEARCHED: usize = 1000;

/// For each axis the ripple that explains most, where one explains enough to be worth a fit.
pub fn ripples(
    station: &Station,
    session: &Session,
    about: &JointFit,
    linearised: &Linearised,
) -> Vec<Hypothesis> {
    [
        (Axis::Azimuth, Term::AzimuthZero),
        (Axis::Elevation, Term::ElevationZero),
    ]
    .into_iter()
    .filter_map(|(axis, zero)| {
        let rates = ripple_rates(station, session, axis);
        let column = about.place_of(zero)?;
        best_rate(session, about, linearised, axis, column, &rates)
    })
    .collect()
}

fn best_rate(
    session: &Session,
    about: &JointFit,
    linearised: &Linearised,
    axis: Axis,
    zero: usize,
    rates: &[u16],
) -> Option<Hypothesis> {
    if rates.is_empty() {
        return None;
    }
    let base: Vec<usize> = (0..about.count()).collect();
    let fitted = linearised.solve(&base, &Weighted::Kept(&about.kept), about.variance)?;
    let stride = session.peaks.len().div_ceil(MOST_SEARCHED).max(1);
    // Per row: the effect of the axis's zero, what the fit leaves, the reading, the base columns.
    let mut rows: Vec<(f64, f64, f64, DVector<f64>)> = Vec::new();
    let problem = about.problem(session);
    let bare = problem.mount(&about.parameters);
    for i in (0..session.peaks.len())
        .step_by(stride)
        .filter(|i| about.kept[*i])
    {
        let sighting = &session.peaks[i].sighting;
        let measured = match axis {
            Axis::Azimuth => sighting.azimuth.is_some(),
            _ => sighting.elevation.is_some(),
        };
        if !measured {
            continue;
        }
        let expected = expected_reading(&bare, sighting, filled_reading(&bare, sighting));
        let reading = match axis {
            Axis::Azimuth => expected.azimuth,
            _ => expected.elevation,
        };
        for row in linearised.rows_of(i) {
            let effect = linearised.value(row, zero);
            let own = DVector::from_fn(base.len(), |k, _| linearised.value(row, base[k]));
            let left = linearised.residual(row) + own.dot(&fitted.step);
            rows.push((effect, left, reading.radians(), own));
        }
    }
    let mut best: Option<(f64, u16)> = None;
    for rate in rates {
        let mut square = Matrix2::zeros();
        let mut product = Vector2::zeros();
        let mut along = [DVector::zeros(base.len()), DVector::zeros(base.len())];
        for (effect, left, reading, own) in &rows {
            let (s, c) = (reading * f64::from(*rate)).sin_cos();
            let wave = Vector2::new(effect * c, effect * s);
            square += wave * wave.transpose();
            product += wave * *left;
            for (sum, w) in along.iter_mut().zip(wave.iter()) {
                sum.axpy(*w, own, 1.0);
            }
        }
        let taken = along.map(|a| fitted.inverse.tr_mul(&a) * (stride as f64).sqrt());
        let free = Matrix2::from_fn(|i, j| square[(i, j)] - taken[i].dot(&taken[j]));
        let Some(root) = free.cholesky() else {
            continue;
        };
        let fall = product.dot(&root.solve(&product)) / about.variance;
        if best.is_none_or(|(most, _)| fall > most) {
            best = Some((fall, *rate));
        }
    }
    let (_, per_turn) = best.filter(|(fall, _)| *fall > WORTH_FITTING)?;
    Some(Hypothesis::Ripple { axis, per_turn })
}
