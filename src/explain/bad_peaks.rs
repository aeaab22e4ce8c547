//! Decides which peaks cannot belong to an explanation of the others; no other file does.

use nalgebra::{Matrix2, Vector2};

use crate::angle::Offset;
use crate::fit::quantile;

use super::joint_fit::JointFit;
use super::session::Session;
use super::tuned::{FALSE_ALARM_OF_BAD_PEAKS, MOST_ROUNDS_OF_GOOD_PEAKS};

/// A peak that lies too far from what the others predict for it.
#[derive(Clone, Debug)]
pub struct Judged {
    /// Its place among the session's peaks.
    pub index: usize,
    /// Emitter minus modelled beam; in encoder coordinates where it is large.
    pub off: Offset,
    /// Standard deviation of that in cross-elevation and elevation, radians: noise and prediction
    /// together.
    pub sigma: [f64; 2],
    /// Distance off in its own standard deviations, including that of the prediction.
    pub deviations: f64,
    /// The probability that any good peak of the session lies this far out by chance.
    pub p_value: f64,
}

/// Returns the peaks that cannot belong. `louder` gives the scatter of each in units of the common
/// noise, where a loose joint has been found.
///
/// Each is compared with the fit of the others (deletion residuals: Belsley, Kuh and Welsch,
/// Regression Diagnostics, 1980; from memory) by an F test, or chi-square where standard
/// deviations were logged, with the false-alarm probability shared among all peaks.
pub fn bad_peaks(session: &Session, fit: &JointFit, louder: Option<&[f64]>) -> Vec<Judged> {
    let linearised = session.linearised(fit, &[]);
    let chosen: Vec<usize> = (0..fit.count()).collect();
    let Some((leverages, freedom)) = linearised.leverages(&chosen, &fit.kept, fit.variance) else {
        return Vec::new();
    };
    let kept = || (0..linearised.peaks()).filter(|i| fit.kept[*i]);
    let sum: f64 = kept().map(|i| linearised.square_of(i)).sum();
    let problem = fit.problem(session);
    let bare = problem.mount(&fit.parameters);
    let mut found = Vec::new();
    for (i, hat) in leverages.iter().enumerate() {
        let rows = linearised.rows_of(i);
        let k = rows.len();
        if k == 0 {
            continue;
        }
        let mut residual = Vector2::zeros();
        for (value, row) in residual.iter_mut().zip(rows) {
            *value = linearised.residual(row);
        }
        let kept = fit.kept[i];
        let spread = Matrix2::identity() + hat * if kept { -1.0 } else { 1.0 };
        let Some(root) = spread.cholesky() else {
            continue;
        };
        let louder = louder.map_or(1.0, |l| l[i].max(1.0));
        let square = residual.dot(&root.solve(&residual)) / (louder * louder);
        let (rest, left) = if kept {
            ((sum - square).max(0.0), freedom - k as f64)
        } else {
            (sum, freedom)
        };
        if left < 1.0 {
            continue;
        }
        let mut variance = (rest / left).max(1e-300);
        let mut chance = quantile::f_exceeds(square / k as f64 / variance, k as f64, left);
        if session.trusts_logged() {
            chance = chance.max(quantile::chi_square_exceeds(square, k as f64));
            variance = variance.max(1.0);
        }
        let p_value = chance * linearised.peaks() as f64;
        if p_value > FALSE_ALARM_OF_BAD_PEAKS {
            continue;
        }
        let there = problem.at_about(&bare, i, &fit.parameters);
        let widened = louder * (variance * (1.0 + hat.trace() / k as f64)).sqrt();
        found.push(Judged {
            index: i,
            off: there.misfit_at_encoders(),
            sigma: fit.sigmas[i].map(|s| s.radians() * widened),
            deviations: (square / variance).sqrt(),
            p_value,
        });
    }
    found
}

/// Refits without the peaks that cannot belong and judges again: each judgement changes the fit a
/// little, so both are repeated until they agree.
pub fn settle_bad_peaks(session: &Session, fit: JointFit) -> JointFit {
    let mut fit = fit;
    for _ in 0..MOST_ROUNDS_OF_GOOD_PEAKS {
        let mut kept = vec![true; session.peaks.len()];
        for judged in bad_peaks(session, &fit, None) {
            kept[judged.index] = false;
        }
        if kept == fit.kept {
            break;
        }
        match session.refit_kept(&fit, &kept) {
            Some(next) => fit = next,
            None => break,
        }
    }
    fit
}

/// The uncertainty of the prediction at each peak from the others, in units of a peak's noise: from
/// one on, that peak is determined by itself alone.
pub fn leverages(session: &Session, fit: &JointFit) -> Vec<f64> {
    let linearised = session.linearised(fit, &[]);
    let chosen: Vec<usize> = (0..fit.count()).collect();
    let Some((hats, _)) = linearised.leverages(&chosen, &fit.kept, fit.variance) else {
        return vec![0.0; session.peaks.len()];
    };
    (hats.iter().enumerate())
        .map(|(i, hat)| hat.trace() / linearised.rows_of(i).len().max(1) as f64)
        .collect()
}
