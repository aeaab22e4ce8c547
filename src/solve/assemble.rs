//! From a finished fit to the outcome that reports and files are made from.

use nalgebra::DMatrix;

use super::gross;
use super::misfit::misfit;
use super::observe::{Observation, Observations};
use super::outcome::{NoiseSource, Outcome, PeakOutcome, TermEstimate};
use super::run::Solved;
use super::uncertainty::widening;
use crate::angle::{Angle, Offset};
use crate::fit::Noise;
use crate::logbook::TermState;
use crate::mount::{MountModel, Term, TermValues};
use crate::sky::Sky;
use crate::station::Station;

/// Readings taken at their word mean nothing from this median error on.
const MEANINGLESS: Angle = Angle::from_degrees(30.0);

pub(super) fn outcome(
    station: &Station,
    sky: Option<&Sky>,
    found: &Observations,
    solved: Solved,
) -> Outcome {
    let fitted = &solved.fitted;
    let model = fitted.model();
    let widening = widening(&solved);
    let noise_factor = match solved.noise {
        Noise::Logged => widening,
        Noise::Scatter => fitted.solution.noise_factor(),
    };
    let raw = MountModel::new(TermValues::ZERO);
    let distances: Vec<Angle> = found
        .usable
        .iter()
        .map(|o| measured(&misfit(&raw, o).offset, o).size())
        .collect();
    let (before_model, before_note) = if median(distances) > MEANINGLESS {
        let mut terms = TermValues::ZERO;
        terms.set_inside(Term::AzimuthZero, solved.start.azimuth_zero.radians());
        terms.set_inside(Term::ElevationZero, solved.start.elevation_zero.radians());
        let note = format!(
            "the raw readings mean nothing by themselves: the error before is taken after adding \
             {:.1} deg to the azimuth and {:.1} deg to the elevation readings",
            terms.shown(Term::AzimuthZero),
            terms.shown(Term::ElevationZero)
        );
        (MountModel::new(terms), Some(note))
    } else {
        (raw, None)
    };
    let mut peaks: Vec<PeakOutcome> = found
        .usable
        .iter()
        .enumerate()
        .map(|(i, o)| {
            let after = misfit(&model, o);
            let sigma = solved.sigmas[i].map(|s| s * noise_factor);
            let used = solved.kept.flags[i];
            PeakOutcome {
                row: o.peak.row,
                line: o.peak.line,
                time: o.peak.time,
                emitter: o.peak.emitter.clone(),
                target: o.direction(),
                reading: after.reading,
                before: misfit(&before_model, o).offset,
                residual: after.offset,
                azimuth_measured: o.peak.azimuth.is_some(),
                elevation_measured: o.peak.elevation.is_some(),
                cross_elevation_sigma: sigma[0],
                elevation_sigma: sigma[1],
                used,
                why: if used {
                    String::new()
                } else {
                    gross::in_words(station, sky, &model, o, sigma)
                },
            }
        })
        .collect();
    let used = |p: &&PeakOutcome| p.used;
    let rms = |of: &dyn Fn(&PeakOutcome) -> Offset| {
        let squares: Vec<f64> = peaks
            .iter()
            .filter(used)
            .map(|p| of(p).size().radians().powi(2))
            .collect();
        Angle::from_radians((squares.iter().sum::<f64>() / squares.len().max(1) as f64).sqrt())
    };
    let only_measured =
        |p: &PeakOutcome, o: Offset| masked(o, p.azimuth_measured, p.elevation_measured);
    let rms_before = rms(&|p| only_measured(p, p.before));
    let rms_after = rms(&|p| only_measured(p, p.residual));
    let covariance = solved
        .covariance
        .clone()
        .unwrap_or_else(|| fitted.solution.covariance())
        * (widening * widening);
    let rows: usize = found
        .usable
        .iter()
        .zip(&solved.kept.flags)
        .filter(|(_, k)| **k)
        .map(|(o, _)| o.coordinates())
        .sum();
    let mut warnings = found.notices.clone();
    warnings.extend(solved.warnings.iter().cloned());
    warnings.extend(solved.kept.warnings.iter().cloned());
    for unusable in &found.unusable {
        peaks.push(unusable_peak(unusable));
    }
    peaks.sort_by_key(|p| p.row);
    Outcome {
        terms: estimates(&solved, &covariance),
        correlations: correlations(&fitted.free, &covariance),
        peaks,
        rms_before,
        before_note,
        rms_after,
        degrees_of_freedom: rows.saturating_sub(fitted.free.len()),
        noise: match solved.noise {
            Noise::Logged => NoiseSource::Logged,
            Noise::Scatter => NoiseSource::Scatter,
        },
        decisions: solved.choice.decisions.clone(),
        not_separable: solved.choice.told.inseparable.clone(),
        warnings,
        model: wrapped(&model),
    }
}

/// The same model with the azimuth zero in (-180, 180] degrees.
fn wrapped(model: &MountModel) -> MountModel {
    let mut terms = *model.terms();
    let zero = terms.angle(Term::AzimuthZero).wrapped_signed();
    terms.set_inside(Term::AzimuthZero, zero.radians());
    MountModel::new(terms)
}

fn estimates(solved: &Solved, covariance: &DMatrix<f64>) -> Vec<TermEstimate> {
    let fitted = &solved.fitted;
    let model = wrapped(&fitted.model());
    Term::ALL
        .into_iter()
        .filter_map(|term| {
            let value = model.terms().inside(term);
            if let Some(i) = fitted.free.iter().position(|t| *t == term) {
                Some(TermEstimate {
                    term,
                    value,
                    sigma: Some(covariance[(i, i)].max(0.0).sqrt()),
                    state: TermState::Fitted,
                })
            } else if solved.held.contains(&term) {
                Some(TermEstimate {
                    term,
                    value,
                    sigma: None,
                    state: TermState::Held,
                })
            } else if solved.choice.told.left_out.contains(&term) {
                Some(TermEstimate {
                    term,
                    value,
                    sigma: None,
                    state: TermState::NotSeparable,
                })
            } else {
                None
            }
        })
        .collect()
}

fn correlations(free: &[Term], covariance: &DMatrix<f64>) -> Vec<(Term, Term, f64)> {
    let mut found = Vec::new();
    for i in 0..free.len() {
        for j in i + 1..free.len() {
            let product = covariance[(i, i)] * covariance[(j, j)];
            if product > 0.0 {
                let value = (covariance[(i, j)] / product.sqrt()).clamp(-1.0, 1.0);
                found.push((free[i], free[j], value));
            }
        }
    }
    found
}

fn unusable_peak(unusable: &super::observe::Unusable) -> PeakOutcome {
    let peak = &unusable.peak;
    let reading = crate::angle::EncoderReading {
        azimuth: peak.azimuth.unwrap_or(Angle::ZERO),
        elevation: peak.elevation.unwrap_or(Angle::ZERO),
    };
    PeakOutcome {
        row: peak.row,
        line: peak.line,
        time: peak.time,
        emitter: peak.emitter.clone(),
        // Without a place for the emitter nothing is measured against it.
        target: crate::angle::Direction::new(reading.azimuth, reading.elevation),
        reading,
        before: Offset::default(),
        residual: Offset::default(),
        azimuth_measured: false,
        elevation_measured: false,
        cross_elevation_sigma: Angle::ZERO,
        elevation_sigma: Angle::ZERO,
        used: false,
        why: unusable.why.clone(),
    }
}

/// The offset with unmeasured parts zero.
fn measured(offset: &Offset, observation: &Observation) -> Offset {
    let peak = &observation.peak;
    masked(*offset, peak.azimuth.is_some(), peak.elevation.is_some())
}

fn masked(offset: Offset, azimuth: bool, elevation: bool) -> Offset {
    Offset {
        cross_elevation: if azimuth {
            offset.cross_elevation
        } else {
            Angle::ZERO
        },
        elevation: if elevation {
            offset.elevation
        } else {
            Angle::ZERO
        },
    }
}

fn median(mut angles: Vec<Angle>) -> Angle {
    angles.sort_by(|p, q| p.radians().total_cmp(&q.radians()));
    angles.get(angles.len() / 2).copied().unwrap_or(Angle::ZERO)
}
