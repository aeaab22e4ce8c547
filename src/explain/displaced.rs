//! Bad peaks with the same displacement, as from a side lobe: one displacement explains them all.
//!
//! A bad peak may lie anywhere, which costs likelihood. Where several are off by the same
//! displacement, only the displacement is free: the others must lie where it puts them. Without
//! this a knock that happens to come just before the last of them would seem the better
//! explanation.

use crate::angle::Offset;

use super::joint_fit::JointFit;
use super::linearised::{BadCost, OF_BAD};
use super::session::Session;

/// Two bad peaks can agree by chance; three are a group.
const LEAST: usize = 3;
/// Two belong together when they differ by at most this many squared standard deviations:
/// chi-square with two degrees of freedom exceeds it once in 20,000.
const TOGETHER: f64 = 20.0;
/// The displacement's two parameters, one per axis.
const PARAMETERS: f64 = 2.0;

/// The fall in the cost of a fit when its bad peaks with the same displacement are explained by
/// that displacement; zero when there are none, or it explains nothing.
pub fn saved_by_displacement(session: &Session, fit: &JointFit) -> f64 {
    let problem = fit.problem(session);
    let bad: Vec<(usize, Offset)> = (0..fit.kept.len())
        .filter(|i| !fit.kept[*i] && session.peaks[*i].sighting.coordinates() == 2)
        .map(|i| (i, problem.at(i, &fit.parameters).misfit_at_encoders()))
        .collect();
    if bad.len() < LEAST {
        return 0.0;
    }
    let square = |i: usize, off: Offset, from: Offset| {
        let [across, along] = fit.sigmas[i];
        ((off.cross_elevation - from.cross_elevation) / across).powi(2)
            + ((off.elevation - from.elevation) / along).powi(2)
    };
    let groups = bad.iter().map(|(_, centre)| {
        let near =
            |(i, off): &&(usize, Offset)| square(*i, *off, *centre) < 2.0 * TOGETHER * fit.variance;
        bad.iter().filter(near).copied().collect::<Vec<_>>()
    });
    let Some(group) = groups.max_by_key(Vec::len).filter(|g| g.len() >= LEAST) else {
        return 0.0;
    };
    let count = group.len() as f64;
    let mean = (group.iter()).fold(Offset::default(), |sum, (_, off)| Offset {
        cross_elevation: sum.cross_elevation + off.cross_elevation / count,
        elevation: sum.elevation + off.elevation / count,
    });
    let rows: usize = (session.peaks.iter())
        .map(|p| p.sighting.coordinates())
        .sum();
    let saved: f64 = (group.iter())
        .map(|(i, off)| {
            let sigma = fit.sigmas[*i].map(crate::angle::Angle::radians);
            let anywhere =
                BadCost::new(sigma, 2, session.beamwidth).at(square(*i, *off, Offset::default()))
                    - 2.0 * fit.variance.ln();
            anywhere - (square(*i, *off, mean) / fit.variance + OF_BAD.ln() * 2.0)
        })
        .sum();
    (saved - PARAMETERS * (rows as f64).max(2.0).ln()).max(0.0)
}
